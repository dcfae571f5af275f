"""Reading in blocks gives what reading the whole file gives, wherever the blocks end; it goes on where it was stopped."""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from tests.hard_logs import LOGS, mixed, plain, row

from evenstand.base.errors import ColumnError, FileError, LockedError
from evenstand.formats import streaming
from evenstand.formats.columns import ColumnUse
from evenstand.formats.delimited import propose
from evenstand.formats.parquet import frame_of, head_of, read_trail_parquet
from evenstand.formats.streaming import parts_of, stream_log
from evenstand.formats.tallies import MOST_DISTINCT, Tally
from evenstand.model import Trail
from evenstand.trail import read_trail

FAR = 400


def written(path: Path, lines: list[str], *, end: str = "\n", encoding: str = "utf-8") -> Path:
    path.write_bytes((end.join(lines) + end).encode(encoding))
    return path


def accounts(trail: Trail) -> dict:
    """What the metadata says. A row that repeats a repeat may name either of the two before it."""
    aside = {row.line for row in trail.set_aside}
    data = json.loads(json.dumps(head_of(trail)))
    for entry in data["set_aside"]:
        first = re.fullmatch(r"repeats line (\d+)", entry[1])
        if first and (int(first[1]) in aside or entry[0] - int(first[1]) > FAR):
            entry[1] = "repeats a repeat"
    return data


def assert_same(path: Path, out: Path, block_bytes: int, held_rows: int = 64, **said: object) -> None:
    """The same rows, columns, counts, reasons and notes."""
    told = stream_log(path, out, block_bytes=block_bytes, held_rows=held_rows, **said)
    whole = read_trail(path, **said)
    back = read_trail_parquet(out)
    assert told.blocks > 3
    assert accounts(back) == accounts(whole)
    left, right = frame_of(back), frame_of(whole)
    assert left.columns == right.columns
    for name in left.columns:
        assert left[name].equals(right[name], null_equal=True), name
    assert back.kept + back.repaired_rows + back.set_aside_rows == back.rows
    assert (told.points, told.start_ms, told.end_ms) == (whole.n, int(whole.t_ms[0]), int(whole.t_ms[-1]))
    assert not parts_of(out).exists()


@pytest.mark.parametrize("block_bytes", [2500, 7001])
@pytest.mark.parametrize("name", LOGS)
def test_blocks_give_what_the_whole_file_gives(tmp_path, name, block_bytes):
    path = written(tmp_path / "log.csv", LOGS[name](560))
    said: dict = {"start": "2027-05-04T00:00:00Z", "zone": "-06:00"} if name == "midnight" else {}
    assert_same(path, tmp_path / "out.parquet", block_bytes, **said)


@pytest.mark.parametrize("block_bytes", [2500, 7001])
@pytest.mark.parametrize(("name", "use"), [
    ("mixed", ColumnUse(name="section 2", role="section", number=2)),
    ("packed", ColumnUse(name="sections", role="sections")),
])  # fmt: skip
def test_states_that_are_none_by_a_recipe(tmp_path, name, use, block_bytes):
    """Columns that are not sure by themselves, as some of their cells are no states."""
    path = written(tmp_path / "log.csv", LOGS[name](560))
    found = propose(path).recipe
    recipe = replace(found, columns=(*(c for c in found.columns if c.name != use.name), use))
    assert_same(path, tmp_path / "out.parquet", block_bytes, recipe=recipe)
    trail = read_trail_parquet(tmp_path / "out.parquet")
    assert trail.sections.shape[1] == (2 if name == "mixed" else 4)
    assert any("the last known state is kept" in r.reason for r in trail.repaired)


@pytest.mark.parametrize("seed", range(11, 17))
def test_faults_elsewhere_and_other_blocks(tmp_path, seed):
    assert_same(written(tmp_path / "log.csv", mixed(400, seed=seed)), tmp_path / "out.parquet", 1500 + 317 * (seed - 11))


@pytest.mark.parametrize(("end", "encoding"), [("\r\n", "utf-8"), ("\n", "utf-16"), ("\n", "utf-8-sig"), ("\r", "utf-8"), ("\n", "cp1252")])
def test_line_ends_and_encodings(tmp_path, end, encoding):
    lines = [line.replace("text", "Körner") for line in plain(300)]
    assert_same(written(tmp_path / "log.csv", lines, end=end, encoding=encoding), tmp_path / "out.parquet", 4000)


def test_spaces_and_lines_before_the_header_and_a_unit_row(tmp_path):
    rows = [f"{i} {51 + i * 2.0 / 111_259.0:.9f}   -105.0 {7.2 + i % 3}" for i in range(400)]
    lines = ["machine 7", "", "time lat lon speed", "s deg deg km/h", *rows]
    path = written(tmp_path / "log.txt", lines)
    assert_same(path, tmp_path / "out.parquet", 1500, start="2027-05-04T00:00:00Z")


def test_projected_positions_and_decimal_commas(tmp_path):
    rows = [f"{1_809_000_000 + i};{500_000 + i / 3:.3f};{5_650_000 + 2 * i}".replace(".", ",") for i in range(400)]
    path = written(tmp_path / "log.csv", ["epoch;easting;northing", *rows])
    assert_same(path, tmp_path / "out.parquet", 2000, crs="EPSG:32613")


def test_a_broken_last_row_is_refused_or_set_aside(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("\n".join(mixed(400))[:-30])
    with pytest.raises(FileError, match="breaks off within line") as streamed:
        stream_log(path, tmp_path / "out.parquet", block_bytes=3000)
    with pytest.raises(FileError) as whole:
        read_trail(path)
    assert str(streamed.value) == str(whole.value)
    assert not parts_of(tmp_path / "out.parquet").exists()
    assert_same(path, tmp_path / "out.parquet", 3000, truncated_ok=True)


def test_a_quotation_mark_that_is_never_closed_holds_nothing_together(tmp_path):
    lines = plain(300)
    lines[150] = row(149, note='5" auger')
    assert_same(written(tmp_path / "log.csv", lines), tmp_path / "out.parquet", 3000)


def test_what_cannot_be_read_is_refused_as_ever(tmp_path):
    out = tmp_path / "out.parquet"
    for lines, error in ((["time,speed", *("2027-05-04T14:00:00Z,1",) * 99], ColumnError), ([], FileError)):
        path = tmp_path / "bad.csv"
        path.write_text("\n".join(lines))
        with pytest.raises(error):
            stream_log(path, out)
        assert not out.exists() and not parts_of(out).exists()
    lines = [plain(1)[0], *(row(i, lon=0, lat=0) if i % 3 else row(i) for i in range(300))]
    with pytest.raises(FileError, match="only 100 of 300 rows"):
        stream_log(written(tmp_path / "bad.csv", lines), out, block_bytes=3000)
    other = ",".join(reversed(plain(1)[0].split(",")))
    path = written(tmp_path / "bad.csv", [*plain(200), other, *plain(100)[1:]])
    with pytest.raises(FileError, match="line 202: another header") as streamed:
        stream_log(path, out, block_bytes=3000)
    with pytest.raises(FileError) as whole:
        read_trail(path)
    assert str(streamed.value) == str(whole.value)
    assert not out.exists() and not parts_of(out).exists()


class StoppedError(Exception):
    """Stands for a kill: nothing of ours catches it."""


def stopped_after(blocks: int):
    seen = [0]

    def tell(what: str, share: float) -> None:
        seen[0] += what == "reading"
        if seen[0] > blocks:
            raise StoppedError

    return tell


def test_it_goes_on_where_it_was_stopped_and_gives_the_same_bytes(tmp_path):
    path = written(tmp_path / "log.csv", mixed(500))
    straight, stopped = tmp_path / "straight.parquet", tmp_path / "stopped.parquet"
    stream_log(path, straight, block_bytes=4000, held_rows=64)
    for blocks in (3, 4, 2):
        with pytest.raises(StoppedError):
            stream_log(path, stopped, block_bytes=4000, held_rows=64, progress=stopped_after(blocks))
        assert not stopped.exists() and parts_of(stopped).exists()
    told = stream_log(path, stopped, block_bytes=4000, held_rows=64)
    assert told.resumed == 9
    assert stopped.read_bytes() == straight.read_bytes()


def test_reading_twice_changes_nothing(tmp_path):
    path, out = written(tmp_path / "log.csv", mixed(300)), tmp_path / "out.parquet"
    stream_log(path, out, block_bytes=4000)
    first = out.read_bytes()
    stream_log(path, out, block_bytes=4000)
    assert out.read_bytes() == first


@pytest.mark.parametrize("how", ["other rows", "the same size and time", "a part is missing", "a state half written", "other answers"])
def test_parts_that_no_longer_fit_are_not_used(tmp_path, how):
    path, out = written(tmp_path / "log.csv", plain(400)), tmp_path / "out.parquet"
    with pytest.raises(StoppedError):
        stream_log(path, out, block_bytes=4000, progress=stopped_after(4))
    said = {}
    if how == "other rows":
        written(path, [plain(1)[0], *(row(i, speed=9.9) for i in range(400))])
    elif how == "the same size and time":
        before = path.stat()
        written(path, [plain(1)[0], *(row(i, speed=7.1) for i in range(400))])
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    elif how == "a part is missing":
        next(parts_of(out).glob("block-*")).unlink()
    elif how == "a state half written":
        state = parts_of(out) / "state.json"
        state.write_bytes(state.read_bytes()[:200])
    else:
        said = {"zone": "-06:00"}
    told = stream_log(path, out, block_bytes=4000, **said)
    assert told.resumed == 0
    assert told.account.file_hash == hashlib.sha256(path.read_bytes()).hexdigest()
    assert read_trail_parquet(out).speed_m_s == pytest.approx(read_trail(path).speed_m_s, abs=0, nan_ok=True)


def test_a_damaged_part_is_named_and_the_next_call_reads_anew(tmp_path):
    path, out = written(tmp_path / "log.csv", plain(400)), tmp_path / "out.parquet"
    with pytest.raises(StoppedError):
        stream_log(path, out, block_bytes=4000, progress=stopped_after(4))
    part = parts_of(out) / "block-000002.parquet"
    part.write_bytes(part.read_bytes()[:300])
    with pytest.raises(FileError, match="a part written by an earlier call is damaged"):
        stream_log(path, out, block_bytes=4000)
    assert not out.exists()
    assert stream_log(path, out, block_bytes=4000).resumed == 0
    assert read_trail_parquet(out).n == 400


def test_a_log_that_is_written_to_meanwhile_is_refused(tmp_path):
    path, out = written(tmp_path / "log.csv", plain(400)), tmp_path / "out.parquet"

    def tell(what: str, share: float) -> None:
        if what == "reading" and share > 0.5:
            with path.open("a") as file:
                file.write(row(401) + "\n")

    with pytest.raises(FileError, match="changed while it was read"):
        stream_log(path, out, block_bytes=4000, progress=tell)
    assert not out.exists()
    assert stream_log(path, out, block_bytes=4000).points > 400


def test_two_processes_do_not_write_one_file(tmp_path):
    from filelock import FileLock

    path, out = written(tmp_path / "log.csv", plain(100)), tmp_path / "out.parquet"
    parts_of(out).mkdir()
    with FileLock(parts_of(out) / "lock"), pytest.raises(LockedError, match="another process"):
        stream_log(path, out)


def test_rows_beyond_the_lists_are_counted(tmp_path, monkeypatch):
    lines = [plain(1)[0], *(row(i, speed=-1 if i % 5 == 0 else "fast" if i % 5 == 1 else 7.2) for i in range(400))]
    path, out = written(tmp_path / "log.csv", lines), tmp_path / "out.parquet"
    monkeypatch.setattr(streaming, "MOST_LISTED", 30)
    monkeypatch.setattr("evenstand.formats.blocks.MOST_LISTED", 30)
    monkeypatch.setattr("evenstand.formats.merging.MOST_LISTED", 30)
    stream_log(path, out, block_bytes=4000)
    back, whole = read_trail_parquet(out), read_trail(path)
    assert back.set_aside == whole.set_aside[:30] and back.repaired == whole.repaired[:30]
    assert (back.set_aside_rows, back.repaired_rows, back.kept) == (80, 80, 240)


def test_a_line_without_end_is_refused(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("\n".join(plain(30)) + "\n" + "x" * 30_000_000)
    with pytest.raises(FileError, match="no line end"):
        stream_log(path, tmp_path / "out.parquet", block_bytes=100_000, truncated_ok=True)


def test_the_parts_are_tables_of_the_schema_with_absent_cells_null(tmp_path):
    path, out = written(tmp_path / "log.csv", mixed(300)), tmp_path / "out.parquet"
    stream_log(path, out, block_bytes=4000)
    table = pl.read_parquet(out)
    assert table["extra:moisture"].null_count() > 20
    assert not any(table[c].is_nan().any() for c in table.columns if table[c].dtype == pl.Float64)


def test_a_tally_has_the_median_of_all_it_was_given():
    rng = np.random.default_rng(3)
    exact, coarse = Tally(), Tally()
    few = rng.integers(1, 40, 5001).astype(np.float64)
    many = np.exp(rng.normal(0.5, 1.0, 3 * MOST_DISTINCT))
    for part in np.array_split(few, 7):
        exact.add(part)
    for part in np.array_split(many, 9):
        coarse.add(part)
    assert exact.median(0.0) == np.median(few)
    assert coarse.coarse and coarse.n == many.size
    assert coarse.median(0.0) == pytest.approx(float(np.median(many)), rel=1 / 4000)
    assert coarse.values.size < MOST_DISTINCT
    assert Tally().median(7.0) == 7.0
