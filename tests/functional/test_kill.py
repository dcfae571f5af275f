"""A writing process is killed a hundred times at random moments: what was acknowledged is there, and the book hangs together."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

KILLS = 100
SEED = 20270504


@pytest.fixture(scope="module")
def kills(tmp_path_factory):
    """One record a kill."""
    if not hasattr(os, "fork"):
        pytest.skip("NOT RUN HERE: this system cannot fork")
    script = Path(__file__).parent.parent / "killing.py"
    folder = tmp_path_factory.mktemp("kill") / "book"
    ran = subprocess.run([sys.executable, str(script), str(folder), str(KILLS), str(SEED)], capture_output=True, text=True, timeout=280)
    assert ran.returncode == 0, ran.stderr[-3000:]
    return [json.loads(line) for line in ran.stdout.splitlines()]


pytestmark = pytest.mark.slow


def test_every_kill_was_survived_and_looked_at(kills):
    assert [k["kill"] for k in kills] == list(range(KILLS))


def test_the_kills_fell_on_different_moments(kills):
    """Amid opening, amid writing, and with a write under way: else the rest proves little."""
    assert sum(k["acknowledged"] == 0 for k in kills) >= 5
    assert sum(k["acknowledged"] > 0 for k in kills) >= 50
    assert sum(k["journal"] for k in kills) >= 5
    assert sum(k["acknowledged"] for k in kills) >= 200


def test_every_acknowledged_id_is_there(kills):
    assert {key for k in kills for key in k["lost"]} == set()


def test_no_more_than_the_change_under_way_was_kept_unacknowledged(kills):
    """A trail and the original it was read from are one change with two names."""
    assert all(k["acknowledged"] <= k["kept"] <= k["acknowledged"] + 2 for k in kills)


def test_a_change_of_two_fills_is_never_half_kept(kills):
    assert {key for k in kills for key in k["widowed"]} == set()


def test_pages_references_and_history_hold_after_every_kill(kills):
    assert all(k["integrity"] == ["ok"] for k in kills)
    assert all(k["references"] == [] for k in kills)
    assert all(k["silent"] == 0 for k in kills)


def test_every_file_a_row_names_is_whole(kills):
    assert {fault for k in kills for fault in k["files"]} == set()
    assert sum(k["kill"] % 10 == 9 for k in kills) == KILLS // 10
