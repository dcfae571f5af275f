"""Logs written from the wording of the wish alone, before the reader was looked at: what is understood without a question, what is asked,
and that nothing is taken for what it is not. EVENSTAND_FOREIGN_LOGS names another folder of such logs with their truths; the form of a
truth is told in tests/foreign_logs/score.py, and `python -m tests.foreign_logs.score` prints the table."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyproj import Transformer
from tests.foreign_logs import score as scoring

from evenstand.base.errors import EvenstandError
from evenstand.formats.opening import propose_columns
from evenstand.formats.parquet import read_trail_parquet
from evenstand.formats.streaming import stream_log
from evenstand.model import Trail
from evenstand.trail import read_trail

LOGS = scoring.truths(scoring.folder())
NAMES = [path.name for path, _ in LOGS]
HELD_OUT = scoring.truths(scoring.HERE / "held_out") if scoring.folder() == scoring.HERE else []
NEAR_M = 0.05
SETTLED = 0.80


def places(trail: Trail) -> tuple[np.ndarray, np.ndarray]:
    """Longitudes and latitudes of the rows."""
    lon, lat = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True).transform(trail.xy_m[:, 0], trail.xy_m[:, 1])
    return np.asarray(lon), np.asarray(lat)


def wrongs(trail: Trail, truth: dict[str, Any]) -> list[str]:
    """What a trail says that is not so, at the rows whose truth is known."""
    out = []
    lon, lat = places(trail)
    speeds = [scoring.roles_of(c) for c in truth["column"] if "speed" in scoring.roles_of(c)]
    told = trail.speed_m_s if speeds == [["speed"]] else None  # a wheel's speed is not the one driven
    for point in truth["point"]:
        i = point["row"]
        late_s = trail.t_ms[i] / 1e3 - datetime.fromisoformat(point["utc"]).timestamp()
        east_m = (lon[i] - point["lon"]) * 111_320 * np.cos(np.radians(point["lat"]))
        off_m = float(np.hypot(east_m, (lat[i] - point["lat"]) * 111_320))
        if abs(late_s) > 0.05:
            out.append(f"row {i}: {late_s:+.1f} s")
        if off_m > NEAR_M:
            out.append(f"row {i}: {off_m:.2f} m off")
        if told is not None and abs(told[i] - point["speed_m_s"]) > 0.05:
            out.append(f"row {i}: speed {told[i]:.2f} for {point['speed_m_s']:.2f} m/s")
        if trail.lifted is not None and bool(trail.lifted[i]) == point["in_work"]:
            out.append(f"row {i}: {'lifted' if trail.lifted[i] else 'at work'}")
    return out


def test_there_are_a_dozen_foreign_logs_or_those_of_another_folder():
    assert len(LOGS) >= (12 if scoring.folder() == scoring.HERE else 1)


@pytest.mark.parametrize(("path", "truth"), [*LOGS, *HELD_OUT], ids=[*NAMES, *(p.name for p, _ in HELD_OUT)])
def test_no_column_is_taken_for_what_it_is_not(path, truth):
    assert scoring.score(path, truth).wrong == []


def test_four_columns_of_five_are_settled_without_a_question():
    scores = [scoring.score(path, truth) for path, truth in LOGS]
    settled, columns = sum(len(s.settled) for s in scores), sum(s.columns for s in scores)
    assert settled >= SETTLED * columns, scoring.report(scoring.folder())


@pytest.mark.parametrize(("path", "truth"), [*LOGS, *HELD_OUT], ids=[*NAMES, *(p.name for p, _ in HELD_OUT)])
def test_with_its_questions_answered_a_log_is_read_as_it_was_driven(path, truth):
    trail = read_trail(path, **scoring.answered(path, truth))
    assert trail.n == truth["rows"]
    assert trail.kept + len(trail.repaired) == truth["rows"]
    assert len(trail.set_aside) == sum(what != "row of units" for what in truth["not_rows"])
    assert wrongs(trail, truth) == []


@pytest.mark.parametrize(("path", "truth"), LOGS, ids=NAMES)
def test_what_a_log_does_not_say_is_asked_for(path, truth):
    """Without an answer a log is refused, or read with a question, or the file itself told (a line above its header, say)."""
    proposal = propose_columns(path)
    assert proposal is not None
    kinds = {"zone": "offset from UTC", "start": "start", "crs": "crs", "date order": "can be", "unit of speed": "against the positions"}
    told = " ".join(f"{q.kind} {q.text} {q.cure}" for q in proposal.questions)
    for what in truth["open"]:
        settled = what == "crs" and proposal.recipe.crs == truth["crs"]
        clock_only = what == "zone" and "time of day without a date" in told
        order_first = what == "zone" and "can be" in told
        assert settled or clock_only or order_first or kinds[what] in told, what
    if proposal.ready:
        return
    with pytest.raises(EvenstandError):
        read_trail(path)


@pytest.mark.parametrize(("path", "truth"), LOGS, ids=NAMES)
def test_read_in_blocks_a_log_is_the_same(tmp_path, path, truth):
    answers = scoring.answered(path, truth)
    told = stream_log(path, tmp_path / "o.parquet", block_bytes=3000, held_rows=64, **answers)
    assert told.blocks > 2
    whole, back = read_trail(path, **answers), read_trail_parquet(tmp_path / "o.parquet")
    assert np.array_equal(whole.t_ms, back.t_ms)
    assert np.allclose(whole.xy_m, back.xy_m, atol=1e-6)
    assert whole.notes == back.notes
    assert whole.set_aside == back.set_aside


def test_the_logs_are_those_that_the_script_writes(tmp_path):
    if scoring.folder() != scoring.HERE:
        pytest.skip("NOT RUN HERE: another folder's logs have no script here")
    import runpy

    made = runpy.run_path(str(scoring.HERE / "make.py"))
    for shape in made["SHAPES"]:
        shape(tmp_path)
    names = sorted(p.name for p in tmp_path.iterdir())
    assert len(names) == 24
    assert [n for n in names if (tmp_path / n).read_bytes() != (Path(scoring.HERE) / n).read_bytes()] == []
