"""What a day with headland rounds does to the detectors: bends, an antenna ahead of the openers, lanes that were not driven."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from evenstand.model import Trail
from evenstand.trail import row_to_row, trail_facts, trail_faults
from evenstand.trail.facts import distances
from evenstand.trail.passes import passes_of
from evenstand.trail.stepping import steps_of
from made_trails import passes_trail, tool, trail_of

AHEAD_M = 10.0
STEP_M = 2.0


def rounds(
    *, side_m: float = 400.0, count: int = 3, corner_m: float = 25.0, width_m: float = 10.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rounds of a square with round corners, driven by the tool: its places, the way it faces, and where it is up to change rounds."""
    where, facing, up = [], [], []
    for k in range(count):
        inset = (k + 0.5) * width_m
        straight = side_m - 2 * inset - 2 * corner_m
        at, heading = np.array([inset + corner_m, inset]), 0.0
        for share in np.linspace(0, 1, 9)[1:-1] if where else ():
            where.append(where[-1] * (1 - share) + at * share)
            facing.append([1.0, 0.0])
        up += [True] * (len(where) - len(up))
        for _ in range(4):
            for _ in range(int(straight / STEP_M)):
                at = at + STEP_M * np.array([np.cos(heading), np.sin(heading)])
                where.append(at)
                facing.append([np.cos(heading), np.sin(heading)])
            bend = int(np.pi / 2 * corner_m / STEP_M)
            for _ in range(bend):
                heading += np.pi / 2 / bend
                at = at + STEP_M * np.array([np.cos(heading), np.sin(heading)])
                where.append(at)
                facing.append([np.cos(heading), np.sin(heading)])
        up += [False] * (len(where) - len(up))
    return np.array(where), np.array(facing), np.array(up)


def round_trail(ratio: float = 1.0) -> Trail:
    """The rounds as an antenna ten metres ahead records them; the machine counts the tool's own way."""
    where, facing, up = rounds()
    step = np.concatenate([[0.0], np.hypot(*np.diff(where, axis=0).T)]) * ratio
    return trail_of(where + AHEAD_M * facing, lifted=up, step_m=step, speed_m_s=step)


def test_an_antenna_ahead_goes_a_longer_way_in_bends_and_the_ratio_is_of_straight_ground() -> None:
    trail = round_trail(1.0)
    steps = steps_of(trail)
    biased, fair = (distances(trail, steps, ahead_m=a)[2] for a in (0.0, AHEAD_M))
    assert biased is not None
    assert fair is not None
    assert biased.value < 0.99
    assert fair.value == pytest.approx(1.0, abs=2e-3)
    assert abs(fair.value - 1) < 2 * fair.sd
    assert trail_facts(round_trail(1.03), tool(10.0, antenna_ahead_m=AHEAD_M)).distance_ratio.value == pytest.approx(1.03, abs=3e-3)


@pytest.mark.parametrize("kind", ["position-jumps", "speed-frozen", "distance-scale", "distance-drift", "work-stuck"])
def test_rounds_with_an_antenna_ahead_are_no_fault(kind: str) -> None:
    told = trail_faults(round_trail(), tool(10.0, antenna_ahead_m=AHEAD_M), kinds=(kind,))
    assert told.found == ()


def test_a_leap_is_still_found_on_the_straight_between_bends() -> None:
    trail = round_trail()
    xy = trail.xy_m.copy()
    xy[80:] += [0.0, 1.5]
    told = trail_faults(dataclasses.replace(trail, xy_m=xy), tool(10.0, antenna_ahead_m=AHEAD_M), kinds=("position-jumps",))
    assert [f.kind for f in told.found] == ["position-jumps"]
    assert told.found[0].size.value == pytest.approx(1.5, abs=0.3)


def lanes(places: list[float], *, wander_m: float = 0.0, seed: int = 1) -> Trail:
    """Lanes of 300 m at these places, each as long as it is wide and all to the north, openers up between them."""
    roll = np.random.default_rng(seed)
    y = np.arange(0.0, 300.0, STEP_M)
    points, lifted = [], []
    for k, x in enumerate(places):
        aside = np.full(y.size, x + roll.normal(0, wander_m))
        points.append(np.column_stack([aside, y if k % 2 == 0 else y[::-1]]))
        lifted.append(np.arange(y.size) == y.size - 1)
    return trail_of(np.concatenate(points), lifted=np.concatenate(lifted))


def test_lanes_that_were_left_out_do_not_widen_row_to_row() -> None:
    trail = lanes([0, 10, 20, 40, 50, 80, 90])
    found = row_to_row(trail, passes_of(trail, steps_of(trail)))
    assert found is not None
    assert found.distance_m.value == pytest.approx(10.0, abs=0.01)


def test_far_blocks_are_no_neighbours() -> None:
    trail = lanes([0, 10, 20, 30, 500, 510, 520, 530])
    found = row_to_row(trail, passes_of(trail, steps_of(trail)))
    assert found is not None
    assert found.distance_m.value == pytest.approx(10.0, abs=0.01)
    assert found.neighbours == 6


def test_every_second_lane_alone_is_no_wrong_width() -> None:
    outfit = tool(10.0)
    outfit = dataclasses.replace(outfit, widths=dataclasses.replace(outfit.widths, guidance_m=10.0))
    told = trail_faults(lanes([0, 20, 40, 60, 80]), outfit, kinds=("guidance-width", "lane-gap"))
    assert told.found == ()
    assert {u.kind for u in told.unseen} == {"guidance-width", "lane-gap"}


def test_the_stated_spread_of_row_to_row_holds() -> None:
    off = []
    for seed in range(60):
        trail = lanes([10.0 * k for k in range(14)], wander_m=0.2, seed=seed)
        found = row_to_row(trail, passes_of(trail, steps_of(trail)))
        off.append((found.distance_m.value - 10.0) / found.distance_m.sd)
    assert np.mean(np.abs(off) <= 1.96) >= 0.9
    assert np.max(np.abs(off)) < 4


def stuck_day(**columns: object) -> Trail:
    """To and fro with the work state on all day, witnesses beside it."""
    plain = passes_trail(passes=12, length_m=300.0, turn_rows=30)
    up = plain.lifted
    step = np.concatenate([[0.0], np.hypot(*np.diff(plain.xy_m, axis=0).T)])
    made = {
        "run_present": np.repeat(~up[:, None], 8, axis=1),
        "revs": np.cumsum(np.where(up, 0.0, step) * 0.1)[:, None],
        "area_ha": np.cumsum(np.where(up, 0.0, step) * 1e-3),
    }
    given = {name: made[name] for name in columns}
    more: dict[str, object] = {"runs": tuple(range(1, 9))} if "run_present" in given else {"bins": ("A",)} if "revs" in given else {}
    return dataclasses.replace(plain, lifted=np.zeros(plain.n, dtype=bool), **given, **more)


@pytest.mark.parametrize("witness", ["run_present", "revs", "area_ha"])
def test_a_stuck_work_state_is_told_by_what_stands_still_in_turns(witness: str) -> None:
    told = trail_faults(stuck_day(**{witness: True}), tool(10.0))
    found = [f for f in told.found if f.kind == "work-stuck"]
    assert len(found) == 1
    words = {"run_present": "no run was seen", "revs": "no meter turned", "area_ha": "the area counter stood still"}
    assert any(words[witness] in e for e in found[0].evidence) or "half turns" in found[0].claim
    assert not [f for f in told.found if f.kind in ("lost-flow", "uncounted-work")]


def test_a_counter_in_coarse_steps_bears_no_witness_of_standing_still() -> None:
    trail = passes_trail(passes=12, length_m=300.0, turn_rows=30)
    step = np.concatenate([[0.0], np.hypot(*np.diff(trail.xy_m, axis=0).T)])
    coarse = np.floor(np.cumsum(step * 1e-3) * 10) / 10
    told = trail_faults(dataclasses.replace(trail, area_ha=coarse), tool(10.0), kinds=("work-stuck",))
    assert told.found == ()
