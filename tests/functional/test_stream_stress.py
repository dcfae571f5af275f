"""Logs of 300 and 600 MB through the command in little memory: the peak does not grow with the log; a kill costs nothing but time.

`make stress` runs the same with 5 GB (EVENSTAND_STRESS_MB). About a minute on two cores.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from benchmarks.streaming import LIMIT_MB, export, rows_in, write_log

SIZES_MB = (300, 600)
ROOM_MB = 2000
pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """Both logs exported; of each: rows written to the log, the process, rows of the Parquet file and its accounts."""
    if not Path("/proc/self/status").exists():
        pytest.skip("NOT RUN HERE: this system does not tell what memory a process uses (/proc)")
    folder = tmp_path_factory.mktemp("stress")
    if shutil.disk_usage(folder).free < ROOM_MB * 1e6:
        pytest.skip(f"NOT RUN HERE: less than {ROOM_MB} MB free in {folder}")
    done = {}
    for size in SIZES_MB:
        log, out = folder / f"{size}.csv", folder / f"{size}.parquet"
        rows = write_log(log, size)
        done[size] = (rows, export(log, out), *rows_in(out))
        if size != SIZES_MB[0]:
            log.unlink()
    yield folder, done
    shutil.rmtree(folder, ignore_errors=True)


def test_peaks_are_within_ten_percent_of_each_other_and_below_the_limit(ran):
    peaks = [process.peak_mb for _, process, _, _ in ran[1].values()]
    assert max(peaks) < 1.10 * min(peaks)
    assert 100 < max(peaks) < LIMIT_MB


def test_every_row_is_accounted_for(ran):
    for rows, process, points, told in ran[1].values():
        assert process.code == 0, process.said
        assert told["rows"] == rows == told["kept"] + told["repaired"] + told["set_aside"]
        assert points == told["kept"] + told["repaired"]
        assert told["repaired"] > 100 and told["set_aside"] > 100


def test_a_kill_leaves_no_half_of_a_file_and_the_same_call_goes_on(ran):
    folder, _ = ran
    log, out = folder / f"{SIZES_MB[0]}.csv", folder / "killed.parquet"
    first = export(log, out, kill_after_blocks=4)
    assert first.killed and not out.exists()
    kept = {p.name for p in (folder / "killed.parquet.parts").glob("block-*.parquet")}
    assert len(kept) >= 4
    second = export(log, out)
    assert second.code == 0, second.said
    assert out.read_bytes() == (folder / f"{SIZES_MB[0]}.parquet").read_bytes()
    assert not (folder / "killed.parquet.parts").exists()


def test_nothing_is_shown_but_the_end_where_there_is_no_terminal(ran):
    for _, process, _, _ in ran[1].values():
        assert [line for line in process.said.splitlines() if not line.startswith("peak kB")] == []
