"""ISO 11783-10 task data: bytes, elements, time logs, grids and guidance, and everything that can be wrong with them.

The two-record log was decoded by the npm package isoxml, the type 1 grid bytes stand in the tests of the PyPI package isoxml, the type 2
grid bytes were produced by it (project references, machinery 5.1). The condensed state is derived from the published bit order
(leftmost section lowest, 00 off, 01 on, 11 not installed).
"""

from __future__ import annotations

import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from evenstand.base.errors import FileError, RangeError
from evenstand.formats.iso11783.entities import read_task_data
from evenstand.formats.iso11783.folders import task_files
from evenstand.formats.iso11783.grids import RateGrid, RateLayer, read_grid, write_grid
from evenstand.formats.iso11783.guidance import FieldInfo, GuidanceLine, fields_of
from evenstand.formats.iso11783.markup import Element, parse
from evenstand.formats.iso11783.timelog import LogHeader, LogRecords, decode, encode, read_header
from evenstand.formats.iso11783.writing import TaskSet, write_task_data
from evenstand.trail import read_trail

HEADER = b'<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="0007" B="" C="DET-2"/><DLV A="008D" B="" C="DET-1"/></TIM>'
RECORDS = bytes.fromhex("8062ee01c0400065cd1d80456ac10402002c1a000001010000006866ee01c040c865cd1d80456ac10401005e1a0000")
DEVICE = """<DVC A="DVC-1" B="seeder" C="1" D="A000000000000000" F="31000000000000" G="FF000000006E65">
<DET A="DET-1" B="1" C="1" D="seeder" E="0" F="0"/><DET A="DET-2" B="2" C="3" D="front" E="1" F="1"/></DVC>"""


def write_set(folder: Path, *, tasks: str = "", device: str = DEVICE, header: bytes = HEADER, records: bytes = RECORDS) -> Path:
    tasks = tasks or '<TSK A="TSK-1" B="South" G="4"><PAN A="PDT-1" E="DET-2"/><TLG A="TLG00001" C="1"/></TSK>'
    text = f"""<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="x" DataTransferOrigin="2">
<PDT A="PDT-1" B="wheat"/>{device}{tasks}</ISO11783_TaskData>"""
    (folder / "TaskData.xml").write_text(text, encoding="utf-8")
    (folder / "tlg00001.XML").write_bytes(header)
    (folder / "TLG00001.bin").write_bytes(records)
    return folder


def test_the_open_vector_of_two_records_decodes_exactly() -> None:
    log = decode(read_header(parse(HEADER, "h"), "h"), RECORDS, "b")
    assert log.time_ms.tolist() == [1_747_731_600_000, 1_747_731_601_000]  # 2025-05-20 09:00:00 and a second later
    assert log.position["A"].tolist() == [50.0, 50.00002]
    assert log.position["B"].tolist() == [-105.0, -105.0]
    assert log.position["D"].tolist() == [4, 4]
    assert list(zip(log.value_row.tolist(), log.value_index.tolist(), log.value.tolist(), strict=True)) == [
        (0, 0, 6700),
        (0, 1, 1),
        (1, 0, 6750),
    ]
    assert log.left_over == 0
    assert encode(log.header, log) == RECORDS


def test_every_field_of_a_position_comes_back() -> None:
    letters = tuple("ABCDEFGHI")
    header = LogHeader(binary=letters, fixed={}, values=((6, "DET-1"),), constant={})
    position = {
        "A": np.array([-33.1234567]), "B": np.array([151.7654321]), "C": np.array([-12.345]), "D": np.array([2.0]), "E": np.array([1.7]),
        "F": np.array([0.9]), "G": np.array([17.0]), "H": np.array([86_399_999.0]), "I": np.array([16_576.0]),
    }  # fmt: skip
    none = np.zeros(0, dtype=np.int64)
    log = LogRecords(
        header=header, time_ms=np.array([1_747_731_600_000]), position=position, value_row=none, value_index=none, value=none, left_over=0
    )
    data = encode(header, log)
    assert len(data) == 6 + 4 + 4 + 4 + 1 + 2 + 2 + 1 + 4 + 2 + 1
    back = decode(header, data, "b")
    for letter in letters:
        assert back.position[letter] == pytest.approx(position[letter], abs=1e-9), letter


def test_a_folder_with_names_in_any_case_is_read(tmp_path: Path) -> None:
    trail = read_trail(write_set(tmp_path))
    assert trail.rows == trail.kept == 2
    assert trail.bins == ("A",)
    assert np.asarray(trail.echoed_kg_ha).ravel().tolist() == [67.0, 67.5]
    assert np.asarray(trail.lifted).tolist() == [False, False]  # only changes are logged: the state holds
    assert any("front" in n and "wheat" in n for n in trail.notes)
    assert any("no zone" in n for n in trail.notes)


def test_a_zip_gives_the_same_trail_as_its_folder(tmp_path: Path) -> None:
    folder = tmp_path / "set"
    folder.mkdir()
    write_set(folder)
    archive = tmp_path / "set.zip"
    with zipfile.ZipFile(archive, "w") as out:
        for p in folder.iterdir():
            out.write(p, f"some/where/{p.name}")
    a, b = read_trail(folder), read_trail(archive)
    assert a.t_ms.tolist() == b.t_ms.tolist()
    assert a.xy_m.tolist() == b.xy_m.tolist()
    assert a.file_hash == b.file_hash


def test_a_told_zone_moves_the_clock(tmp_path: Path) -> None:
    write_set(tmp_path)
    assert read_trail(tmp_path, zone="-06:00").t_ms[0] - read_trail(tmp_path).t_ms[0] == 6 * 3_600_000


def test_utc_in_the_log_settles_the_clock_by_itself(tmp_path: Path) -> None:
    header = b'<TIM A="" D="4"><PTN A="" B="" H="" I=""/></TIM>'
    made = read_header(parse(header, "h"), "h")
    local = np.array([1_747_731_600_000, 1_747_731_601_000])
    utc = local + 6 * 3_600_000 + 40
    since = utc - 315_532_800_000
    none = np.zeros(0, dtype=np.int64)
    position = {
        "A": np.array([50.0, 50.0001]), "B": np.array([-105.0, -105.0]), "H": (since % 86_400_000).astype(float),
        "I": (since // 86_400_000).astype(float),
    }  # fmt: skip
    log = LogRecords(header=made, time_ms=local, position=position, value_row=none, value_index=none, value=none, left_over=0)
    trail = read_trail(write_set(tmp_path, header=header, records=encode(made, log)))
    assert trail.t_ms.tolist() == [t + 6 * 3_600_000 for t in local.tolist()]


def test_condensed_states_follow_the_published_bit_order(tmp_path: Path) -> None:
    header = b'<TIM A="" D="4"><PTN A="" B=""/><DLV A="00A1" B="" C="DET-1"/></TIM>'
    made = read_header(parse(header, "h"), "h")
    log = LogRecords(
        header=made, time_ms=np.array([1_747_731_600_000, 1_747_731_601_000]),
        position={"A": np.array([50.0, 50.0001]), "B": np.array([-105.0, -105.0])},
        value_row=np.array([0]), value_index=np.array([0]), value=np.array([-47]), left_over=0,
    )  # fmt: skip
    trail = read_trail(write_set(tmp_path, header=header, records=encode(made, log)))
    assert np.asarray(trail.sections).tolist() == [[True, False, True], [True, False, True]]


def test_sections_stand_from_left_to_right_by_their_place_across_the_tool(tmp_path: Path) -> None:
    device = """<DVC A="DVC-1" B="s" C="1" D="A000000000000000" F="31000000000000" G="FF000000006E65">
<DET A="DET-1" B="1" C="1" E="0" F="0"/>
<DET A="DET-2" B="2" C="4" E="1" F="1"><DOR A="20"/></DET><DET A="DET-3" B="3" C="4" E="2" F="1"><DOR A="21"/></DET>
<DPT A="20" B="0087" C="4000"/><DPT A="21" B="0087" C="-4000"/></DVC>"""
    header = b'<TIM A="" D="4"><PTN A="" B=""/><DLV A="008D" B="" C="DET-2"/><DLV A="008D" B="" C="DET-3"/></TIM>'
    made = read_header(parse(header, "h"), "h")
    log = LogRecords(
        header=made, time_ms=np.array([1_747_731_600_000, 1_747_731_601_000]),
        position={"A": np.array([50.0, 50.0001]), "B": np.array([-105.0, -105.0])},
        value_row=np.array([0, 0]), value_index=np.array([0, 1]), value=np.array([0, 1]), left_over=0,
    )  # fmt: skip
    trail = read_trail(write_set(tmp_path, device=device, header=header, records=encode(made, log)))
    assert np.asarray(trail.sections)[0].tolist() == [True, False]  # DET-3 lies left, at -4 m, and is on


def test_a_value_is_shown_as_its_device_presents_it(tmp_path: Path) -> None:
    device = """<DVC A="DVC-1" B="s" C="1" D="A000000000000000" F="31000000000000" G="FF000000006E65">
<DET A="DET-1" B="1" C="1" E="0" F="0"><DOR A="30"/></DET>
<DPD A="30" B="00C1" C="1" D="8" E="pressure" F="40"/><DVP A="40" B="100" C="0.001" D="1" E="kPa"/></DVC>"""
    header = b'<TIM A="" D="4"><PTN A="" B=""/><DLV A="00C1" B="" C="DET-1"/></TIM>'
    made = read_header(parse(header, "h"), "h")
    log = LogRecords(
        header=made, time_ms=np.array([1_747_731_600_000, 1_747_731_601_000]),
        position={"A": np.array([50.0, 50.0001]), "B": np.array([-105.0, -105.0])},
        value_row=np.array([0, 1]), value_index=np.array([0, 0]), value=np.array([3900, 4900]), left_over=0,
    )  # fmt: skip
    trail = read_trail(write_set(tmp_path, device=device, header=header, records=encode(made, log)))
    assert trail.extra["pressure, DET-1, kPa"].tolist() == pytest.approx([4.0, 5.0])


def test_external_files_are_drawn_in(tmp_path: Path) -> None:
    write_set(tmp_path, device='<XFR A="DVC00001" B="1"/>')
    (tmp_path / "dvc00001.xml").write_text(f"<XFC>{DEVICE}</XFC>", encoding="utf-8")
    assert any("front" in n for n in read_trail(tmp_path).notes)
    (tmp_path / "dvc00001.xml").unlink()
    with pytest.raises(FileError, match=r"DVC00001\.XML is named but not there"):
        read_trail(tmp_path)


def test_several_tasks_with_logs_are_listed_and_one_is_chosen(tmp_path: Path) -> None:
    tasks = '<TSK A="TSK-1" B="South" G="4"><TLG A="TLG00001"/></TSK><TSK A="TSK-2" B="North" G="4"><TLG A="TLG00001"/></TSK>'
    write_set(tmp_path, tasks=tasks)
    with pytest.raises(FileError, match=r"TSK-1 'South'.*TSK-2 'North'.*--task"):
        read_trail(tmp_path)
    assert read_trail(tmp_path, task="North").rows == 2
    with pytest.raises(FileError, match="no task 'West'"):
        read_trail(tmp_path, task="West")


@pytest.mark.parametrize(
    ("records", "says"),
    [
        (RECORDS[:-3], "bytes of a broken last record"),
        (RECORDS[:16] + bytes([9]) + RECORDS[17:], "the header names 2"),
        (b"", "too few rows|only 0"),
    ],
)
def test_damaged_records_are_refused(tmp_path: Path, records: bytes, says: str) -> None:
    with pytest.raises(FileError, match=says):
        read_trail(write_set(tmp_path, records=records))


def test_a_broken_last_record_can_be_left_out(tmp_path: Path) -> None:
    three = RECORDS + RECORDS[-21:]
    trail = read_trail(write_set(tmp_path, records=three[:-3]), truncated_ok=True)
    assert trail.rows == 2
    assert any("left out" in n for n in trail.notes)


@pytest.mark.parametrize(
    "text",
    [
        b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><ISO11783_TaskData VersionMajor="4"/>',
        b'<?xml version="1.0"?><!DOCTYPE x SYSTEM "file:///etc/passwd"><ISO11783_TaskData/>',
        b"<ISO11783_TaskData",
        b"",
        b"<html/>",
        b"\xff\xfe<",
        b"<a>" * 5000,
    ],
)
def test_hostile_or_broken_xml_is_refused(tmp_path: Path, text: bytes) -> None:
    write_set(tmp_path)
    (tmp_path / "TaskData.xml").write_bytes(text)
    with pytest.raises(FileError):
        read_trail(tmp_path)


def test_an_archive_that_leads_out_of_itself_is_refused(tmp_path: Path) -> None:
    archive = tmp_path / "bad.zip"
    with zipfile.ZipFile(archive, "w") as out:
        out.writestr("../TASKDATA.XML", "<ISO11783_TaskData/>")
    with pytest.raises(FileError, match="leads out"):
        read_trail(archive)


def test_an_archive_with_two_sets_is_refused(tmp_path: Path) -> None:
    archive = tmp_path / "two.zip"
    with zipfile.ZipFile(archive, "w") as out:
        out.writestr("a/TASKDATA.XML", "<ISO11783_TaskData/>")
        out.writestr("b/TASKDATA.XML", "<ISO11783_TaskData/>")
    with pytest.raises(FileError, match="2 sets of task data"):
        read_trail(archive)


RATES = np.array([[[112.0], [112.0], [0.0]], [[90.0], [134.5], [112.0]]])
GRID = RateGrid(
    south_deg=50.0, west_deg=-105.0, cell_north_deg=0.0001, cell_east_deg=0.00015, rates=RATES, layers=(RateLayer(ddi=6, unit="kg/ha"),)
)  # fmt: skip


def test_a_type_2_grid_has_the_bytes_of_the_open_library() -> None:
    assert write_grid(Element("TSK"), GRID, kind=2).hex() == "c02b0000c02b000000000000282300008a340000c02b0000"


@pytest.mark.parametrize("kind", [1, 2])
@pytest.mark.parametrize("version", [3, 4])
def test_a_grid_and_lines_come_back_as_written(tmp_path: Path, kind: int, version: int) -> None:
    line = GuidanceLine(name="west", kind="AB", lonlat_deg=np.array([[-105.0, 50.0], [-105.0, 50.01]]), width_m=16.15)
    curve = GuidanceLine(name="creek", kind="curve", lonlat_deg=np.array([[-105.0, 50.0], [-104.999, 50.005], [-105.0, 50.01]]))
    ring = np.array([[-105.0, 50.0], [-104.99, 50.0], [-104.99, 50.01], [-105.0, 50.0]])
    field = FieldInfo(key="PFD-1", name="South", area_m2=400_000, polygons=((ring,),), lines=(line, curve))
    path = tmp_path / "set.zip"
    write_task_data(TaskSet(name="sow", field=field, grid=GRID, grid_kind=kind, version=version), path)
    with task_files(path) as files:
        data = read_task_data(files)
        grid = read_grid(files, data.tasks[0])
        back = fields_of(data, "set")[0]
    assert grid is not None
    assert grid.rates == pytest.approx(RATES)
    assert (grid.south_deg, grid.west_deg, grid.cell_north_deg, grid.cell_east_deg) == (50.0, -105.0, 0.0001, 0.00015)
    assert back.polygons[0][0].tolist() == ring.tolist()
    assert [(found.name, found.kind, found.width_m) for found in back.lines] == [("west", "AB", 16.15), ("creek", "curve", None)]
    for found, meant in zip(back.lines, (line, curve), strict=True):
        assert found.lonlat_deg.tolist() == meant.lonlat_deg.tolist()


def test_a_type_1_grid_holds_no_more_than_254_rates() -> None:
    many = replace(GRID, rates=np.arange(300.0).reshape(1, 300, 1))
    with pytest.raises(RangeError, match="300 different rates"):
        write_grid(Element("TSK"), many, kind=1)


def test_a_grid_of_the_wrong_size_is_refused(tmp_path: Path) -> None:
    write_task_data(TaskSet(name="sow", grid=GRID), tmp_path / "set")
    (tmp_path / "set" / "GRD00001.bin").write_bytes(b"\0" * 20)
    with task_files(tmp_path / "set") as files, pytest.raises(FileError, match="20 bytes where rows and columns need 24"):
        read_grid(files, read_task_data(files).tasks[0])


def test_a_trail_written_as_task_data_is_read_back(tmp_path: Path) -> None:
    first = read_trail(write_set(tmp_path))
    write_task_data(TaskSet(name="again", products=("wheat",), trail=first), tmp_path / "out.zip")
    again = read_trail(tmp_path / "out.zip")
    assert again.t_ms.tolist() == first.t_ms.tolist()
    assert np.abs(again.xy_m - first.xy_m).max() < 0.012  # 1e-7 degrees are 1.1 cm
    assert np.asarray(again.echoed_kg_ha).tolist() == np.asarray(first.echoed_kg_ha).tolist()
    assert np.asarray(again.lifted).tolist() == np.asarray(first.lifted).tolist()


def test_a_folder_that_holds_task_data_is_not_written_over(tmp_path: Path) -> None:
    write_set(tmp_path)
    before = (tmp_path / "TaskData.xml").read_bytes()
    with pytest.raises(FileError, match="already"):
        write_task_data(TaskSet(name="x"), tmp_path)
    assert (tmp_path / "TaskData.xml").read_bytes() == before


def test_an_archive_with_a_member_without_a_name_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "set"
    folder.mkdir()
    write_set(folder)
    archive = tmp_path / "set.zip"
    with zipfile.ZipFile(archive, "w") as out:
        for p in sorted(folder.iterdir()):
            out.write(p, p.name)
        out.writestr(zipfile.ZipInfo("x"), b"1")
    data = archive.read_bytes()
    at = data.rindex(b"PK\x01\x02")  # the last member in the list, its name of one letter
    archive.write_bytes(data[: at + 28] + b"\0\0" + data[at + 30 : at + 46] + data[at + 47 :])
    with pytest.raises(FileError):
        read_trail(archive)


@pytest.mark.parametrize("honest", [True, False])
def test_an_archive_that_unpacks_to_more_than_it_may_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, honest: bool) -> None:
    from evenstand.formats import archives
    from evenstand.formats.iso11783 import folders

    folder = tmp_path / "set"
    folder.mkdir()
    write_set(folder, records=bytes(300_000))
    archive = tmp_path / "set.zip"
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as out:
        for p in sorted(folder.iterdir()):
            out.write(p, p.name)
    monkeypatch.setattr(folders, "MOST_BYTES", 100_000)
    monkeypatch.setattr(archives, "MOST_BYTES", 100_000 if honest else 10**9)  # one that states less than it holds passes the first look
    with pytest.raises(FileError, match="unpacks to"):
        read_trail(archive)
