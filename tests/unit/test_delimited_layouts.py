"""Layouts of delimited files, rows kept, repaired and set aside, and the errors of files that are something else."""

from __future__ import annotations

import numpy as np
import pytest

from evenstand.base.errors import ColumnError, FileError
from evenstand.formats.delimited import propose
from evenstand.trail import read_trail
from made_trails import HEADER, log_lines, write_log


def adds_up(trail) -> bool:
    return trail.kept + len(trail.repaired) + len(trail.set_aside) == trail.rows


def test_a_plain_log_is_read_whole(tmp_path):
    trail = read_trail(write_log(tmp_path / "a.csv", log_lines()))
    assert (trail.rows, trail.kept, trail.n) == (60, 60, 60)
    assert np.allclose(trail.speed_m_s, 2.0)
    assert trail.bins == ("A",)
    assert np.allclose(trail.echoed_kg_ha, 120.0)
    assert np.hypot(*np.diff(trail.xy_m, axis=0).T).mean() == pytest.approx(2.0, rel=1e-3)
    assert trail.t_ms[0] == 1_809_439_200_000  # 2027-05-04T14:00:00Z


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_encodings_and_line_ends_make_no_difference(tmp_path, encoding, end):
    lines = [line.replace("speed", "spé") if encoding == "latin-1" and i < 0 else line for i, line in enumerate(log_lines())]
    if encoding == "latin-1":
        lines = [lines[0] + ",Größe", *(f"{line},1" for line in lines[1:])]
    trail = read_trail(write_log(tmp_path / "a.csv", lines, encoding=encoding, end=end))
    assert (trail.rows, trail.kept) == (60, 60)
    assert np.allclose(trail.speed_m_s, 2.0)


@pytest.mark.parametrize("mark", [";", "\t", "|"])
def test_decimal_commas_are_understood(tmp_path, mark):
    lines = [mark.join(cell.replace(".", ",") for cell in line.split(",")) for line in log_lines()]
    path = write_log(tmp_path / "a.txt", lines)
    trail = read_trail(path)
    assert np.allclose(trail.speed_m_s, 2.0)
    assert propose(path).decimal == ","


def test_columns_split_by_spaces_are_read(tmp_path):
    lines = ["time   lon      lat      speed_km_h", *(f"{i}  -105.0   {51 + i * 1.8e-5:.7f}   7.2" for i in range(40))]
    trail = read_trail(write_log(tmp_path / "a.txt", lines), start="2027-05-04T14:00:00Z")
    assert trail.kept == 40
    assert trail.t_ms[1] - trail.t_ms[0] == 1000


def test_lines_before_the_header_and_a_unit_row_are_passed_over(tmp_path):
    body = log_lines()
    lines = ["Farm: Stonefield", "Exported 2027-05-05", "", "time,lon,lat,speed,rate applied A", "UTC,deg,deg,km/h,kg/ha", *body[1:]]
    trail = read_trail(write_log(tmp_path / "a.csv", lines))
    assert (trail.rows, trail.kept) == (60, 60)
    assert np.allclose(trail.speed_m_s, 2.0)
    assert any("before the header" in note for note in trail.notes)


def test_every_row_is_accounted_for_with_its_line_and_reason(tmp_path):
    lines = log_lines()
    lines[5] = lines[5].rsplit(",", 1)[0]  # line 6: one field short
    lines[10] += ",9"  # line 11: one too many
    lines[15] = HEADER  # line 16
    lines[20] = lines[19]  # line 21 repeats line 20
    lines[25] = lines[25].replace("-105.0000000", "0").replace("51.00", "0*").split(",")[0] + ",0,0,7.2,120"  # line 26
    lines[30] = lines[30].replace(",7.2,", ",-7.2,")  # line 31
    lines[35] = lines[35].replace(",120.0", ",-4")  # line 36
    lines[40] = lines[40].replace(",7.2,", ",fast,")  # line 41
    lines[45] = "," + lines[45].split(",", 1)[1]  # line 46
    lines.insert(50, "")  # line 51 is empty
    trail = read_trail(write_log(tmp_path / "a.csv", lines))
    assert adds_up(trail)
    assert trail.rows == 60
    aside = {r.line: r.reason for r in trail.set_aside}
    assert sorted(aside) == [6, 11, 16, 21, 26, 31, 36, 46]
    assert "4 of 5 fields" in aside[6]
    assert "6 fields" in aside[11]
    assert "repeats line 20" in aside[21]
    assert "no fix" in aside[26]
    assert "'speed (km/h)' is -7.2, below 0" in aside[31]
    assert "-4, below 0" in aside[36]
    assert [(r.line, "is no number" in r.reason) for r in trail.repaired] == [(41, True)]
    assert np.isnan(trail.speed_m_s).sum() == 1
    assert trail.set_aside[0].text.startswith("2027-05-04T14:00:04Z")
    assert any("1 empty line" in note for note in trail.notes)


def test_a_row_in_the_wrong_place_is_moved_and_listed(tmp_path):
    lines = log_lines()
    lines.append(lines.pop(30))
    trail = read_trail(write_log(tmp_path / "a.csv", lines))
    assert adds_up(trail)
    assert [r.line for r in trail.repaired] == [61]
    assert "moved to its place" in trail.repaired[0].reason
    assert np.all(np.diff(trail.xy_m[:, 1]) > 0)


def test_a_clock_that_stutters_while_the_way_runs_on_gets_its_time_mended(tmp_path):
    lines = log_lines()
    lines[31] = lines[31].replace("14:00:30Z", "14:00:27Z")
    trail = read_trail(write_log(tmp_path / "a.csv", lines))
    assert "the way runs on" in trail.repaired[0].reason
    assert np.all(np.diff(trail.xy_m[:, 1]) > 0)
    assert np.all(np.diff(trail.t_ms) > 0)


def test_a_leap_is_kept_flagged_and_named(tmp_path):
    lines = log_lines()
    cells = lines[30].split(",")
    cells[1] = "-104.99"
    lines[30] = ",".join(cells)
    trail = read_trail(write_log(tmp_path / "a.csv", lines))
    assert trail.kept == 60
    assert np.flatnonzero(trail.flags & 2).tolist() == [29]
    assert any("line 31" in note for note in trail.notes)


def test_rows_that_share_a_second_are_spread_over_it(tmp_path):
    lines = ["time,lon,lat", *(f"2027-05-04T14:00:{i // 5:02d}Z,-105.0,{51 + i * 4e-6:.8f}" for i in range(100))]
    trail = read_trail(write_log(tmp_path / "a.csv", lines))
    assert set(np.diff(trail.t_ms).tolist()) == {200}
    assert any("spread evenly" in note for note in trail.notes)


def test_states_written_only_when_they_change_hold_until_they_do(tmp_path):
    lines = log_lines()
    lines = [lines[0] + ",section 1", *(line + ("," + {1: "off", 20: "on", 40: "off"}.get(i, "")) for i, line in enumerate(lines[1:], 1))]
    trail = read_trail(write_log(tmp_path / "a.csv", lines))
    assert trail.sections[:, 0].sum() == 20
    assert any("holds until it changes" in note for note in trail.notes)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"\n\n  \n", "blank lines"),
        (b"PK\x03\x04rest", "spreadsheet workbook"),
        (b"\x1f\x8b\x08", "gzip"),
        (b"%PDF-1.7", "a PDF"),
        (b"<?xml version='1.0'?><TASKDATA/>", "XML"),
        (b'{"type": "FeatureCollection"}', "JSON"),
        (b"SQLite format 3\x00rest", "SQLite file"),
        (bytes(range(256)) * 20, "binary"),
        (b"just some words\nand a line that is longer than the first one\nno\n", "no delimiter"),
    ],
)
def test_what_is_no_table_is_called_by_its_name(tmp_path, content, says):
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    with pytest.raises(FileError, match=says):
        read_trail(path)


def test_a_header_without_rows_and_rows_without_a_header_are_refused(tmp_path):
    with pytest.raises(FileError, match="no row under it"):
        read_trail(write_log(tmp_path / "a.csv", [HEADER]))
    with pytest.raises(ColumnError, match="no header"):
        read_trail(write_log(tmp_path / "b.csv", log_lines()[1:]))


def test_a_name_used_twice_is_refused(tmp_path):
    with pytest.raises(ColumnError, match="more than once"):
        read_trail(write_log(tmp_path / "a.csv", [HEADER.replace("lat", "lon"), *log_lines()[1:]]))


def test_a_file_that_breaks_off_is_refused_or_its_last_row_set_aside(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("\n".join(log_lines())[:-25])
    with pytest.raises(FileError, match="breaks off within line 61"):
        read_trail(path)
    trail = read_trail(path, truncated_ok=True)
    assert [r.line for r in trail.set_aside] == [61]
    assert adds_up(trail)


def test_a_file_mostly_of_bad_rows_is_refused_with_the_reasons_counted(tmp_path):
    lines = [line.replace("-105.0000000", "0").replace(",51.", ",0*") if i % 3 else line for i, line in enumerate(log_lines())]
    with pytest.raises(FileError, match=r"only \d+ of 60 rows can be used"):
        read_trail(write_log(tmp_path / "a.csv", lines))


def test_a_missing_file_and_a_folder_are_named(tmp_path):
    with pytest.raises(FileError, match="no such file"):
        read_trail(tmp_path / "none.csv")
    with pytest.raises(FileError, match="folder"):
        read_trail(tmp_path)


def test_quoted_cells_may_hold_the_delimiter_and_line_ends(tmp_path):
    lines = [HEADER + ",note", *(line + (',"wet, soft\nspot"' if i == 10 else ',""') for i, line in enumerate(log_lines()[1:]))]
    lines[40] = lines[40].replace(",7.2,", ",-1,")
    trail = read_trail(write_log(tmp_path / "a.csv", lines))
    assert trail.rows == 60
    assert [r.line for r in trail.set_aside] == [42]  # one line further down for the line end inside quotes


@pytest.mark.parametrize("data", [b"\0", b"\0\0", b"a\0"])
def test_a_file_of_one_or_two_bytes_is_refused_in_plain_words(tmp_path, data):
    path = tmp_path / "log.csv"
    path.write_bytes(data)
    with pytest.raises(FileError):
        read_trail(path)
