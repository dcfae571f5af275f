"""An import is killed at random moments: the book holds the whole trail with its original, or nothing of it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

KILLS = 50
STOPS = 24
FIRST = 3
SEED = 20270505
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def kills(tmp_path_factory):
    """One record a kill."""
    if not hasattr(os, "fork"):
        pytest.skip("NOT RUN HERE: this system cannot fork")
    script = Path(__file__).parent.parent / "killing_import.py"
    folder = tmp_path_factory.mktemp("kill-import")
    ran = subprocess.run([sys.executable, str(script), str(folder), str(KILLS), str(SEED)], capture_output=True, text=True, timeout=280)
    assert ran.returncode == 0, ran.stderr[-3000:]
    return [json.loads(line) for line in ran.stdout.splitlines()]


def test_every_kill_was_looked_at_and_fell_amid_the_work(kills):
    assert len(kills) == KILLS
    assert not any("error" in k for k in kills)
    assert sum(k["killed"] for k in kills) >= KILLS // 4
    assert all(k["ended"] in (False, 0) for k in kills)


def test_kills_fell_before_and_after_the_trail_was_kept(kills):
    assert sum(k["there"] == 0 for k in kills) >= 5
    assert sum(k["there"] == 1 for k in kills) >= 3
    assert sum(k["killed"] and k["there"] == 0 for k in kills if k["number"] % 2 == 0) >= 3  # while it was written


def test_a_trail_is_there_whole_with_its_original_or_not_at_all(kills):
    assert all(k["there"] in (0, 1) and k["whole"] and k["original"] for k in kills)
    assert all(k["there"] == 1 for k in kills if not k["killed"])
    counted = FIRST
    for k in kills:
        counted += k["there"]
        assert (k["records"], k["originals"]) == (counted, counted)


def test_the_book_holds_together_after_every_kill(kills):
    assert all(k["integrity"] == ["ok"] and k["references"] == [] for k in kills)
    assert {fault for k in kills for fault in k["faults"]} == set()
    remembered = 2 + 1  # of the imports nobody killed: two tables and one set of task data
    for k in kills:
        remembered += k["there"] if k["kind"] in ("csv", "zip") else 0
        assert k["remembered"] == remembered  # what each log's columns are, with its trail or not at all


def test_kills_fell_amid_every_form_of_log_by_the_command_and_by_the_sites_way(kills):
    for kind in ("csv", "zip", "gpkg", "nmea", "parquet"):
        for site in (0, 1):
            mine = [k for k in kills if k["kind"] == kind and k["number"] // 10 % 2 == site]
            assert len(mine) >= 3
            assert any(k["killed"] for k in mine), (kind, site)


@pytest.fixture(scope="module")
def stops(tmp_path_factory):
    """One record a kill of a reading in blocks."""
    if not hasattr(os, "fork"):
        pytest.skip("NOT RUN HERE: this system cannot fork")
    script = Path(__file__).parent.parent / "killing_stream.py"
    folder = tmp_path_factory.mktemp("kill-stream")
    ran = subprocess.run([sys.executable, str(script), str(folder), str(STOPS), str(SEED)], capture_output=True, text=True, timeout=280)
    assert ran.returncode == 0, ran.stderr[-3000:]
    return [json.loads(line) for line in ran.stdout.splitlines()]


def test_a_reading_in_blocks_survives_kills_at_any_moment(stops):
    assert len(stops) == STOPS
    assert not any(k["failed"] for k in stops)
    assert all(k["whole"] for k in stops)
    assert sum(k["killed"] for k in stops) >= STOPS // 2
    assert len({k["parts"] for k in stops}) >= 4
    went_on = [k for k in stops if "ended" in k]
    assert len(went_on) >= 5
    assert all(k["ended"] and k["same"] and not k["left"] for k in went_on)
