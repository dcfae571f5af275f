"""Distances, passes, row to row, time and lost flow, on made trails with a known answer."""

from __future__ import annotations

import time

import numpy as np
import pytest

from evenstand.model import Head, Run
from evenstand.trail import row_to_row, run_faults, trail_facts
from evenstand.trail.passes import passes_of
from evenstand.trail.stepping import steps_of
from made_trails import passes_trail, tool, trail_of


def with_columns(trail, **columns):
    return type(trail)(**{f: getattr(trail, f) for f in trail.__slots__ if hasattr(trail, f)} | columns)


def outfit(heads: int = 4, outlets: int = 4):
    runs = tuple(
        Run(number=h * outlets + i + 1, head="ABCDEFGH"[h], outlet=i + 1, offset_m=0.25 * (h * outlets + i) - 2.0)
        for h in range(heads)
        for i in range(outlets)
    )
    return tool(
        4.0,
        heads=tuple(Head(letter="ABCDEFGH"[h], outlets=outlets) for h in range(heads)),
        runs=runs,
        rows=heads * outlets,
        row_spacing_m=0.25,
    )


def sown(trail) -> np.ndarray:
    return ~trail.lifted


def test_distance_is_that_of_the_passes_and_the_ratio_is_the_counters():
    trail = passes_trail(length_m=200.0, passes=6)
    step = np.concatenate([[np.nan], np.hypot(*np.diff(trail.xy_m, axis=0).T)]) * 1.04
    facts = trail_facts(with_columns(trail, step_m=step), tool(10.0))
    assert facts.distance_gnss_m.value == pytest.approx(1200, abs=0.01)
    assert facts.distance_shown_m.value == pytest.approx(1248, abs=0.01)
    assert facts.distance_ratio.value == pytest.approx(1.04, abs=1e-6)
    assert 0 < facts.distance_ratio.sd < 0.01
    assert facts.distance_by == "step"


def test_position_noise_does_not_lengthen_the_way():
    rng = np.random.default_rng(3)
    y = np.arange(0, 2000, 0.4)
    clean = np.column_stack([np.zeros(y.size), y])
    facts = trail_facts(trail_of(clean + rng.normal(0, 0.03, clean.shape), dt_s=0.2), tool(10.0))
    assert facts.distance_gnss_m.value == pytest.approx(y[-1], rel=5e-4)


def test_speed_stands_in_for_a_missing_distance_column():
    trail = passes_trail()
    facts = trail_facts(with_columns(trail, speed_m_s=np.full(trail.n, 1.9)), tool(10.0))
    assert facts.distance_by == "speed"
    assert facts.distance_ratio.value == pytest.approx(0.95, abs=1e-3)


def test_passes_are_the_stretches_between_lifts():
    facts = trail_facts(passes_trail(passes=7), tool(10.0))
    assert [p.number for p in facts.passes] == list(range(1, 8))
    assert all(p.length_m == pytest.approx(100) for p in facts.passes)
    assert facts.passes[0].heading_deg == pytest.approx(0, abs=0.1)
    assert facts.passes[1].heading_deg == pytest.approx(180, abs=0.1)
    assert facts.passes[0].speed_m_s == pytest.approx(2.0)


def test_a_headland_round_without_lifting_is_cut_at_its_corners():
    side = np.arange(0, 120, 2.0)
    xy = np.concatenate(
        [
            np.column_stack([np.zeros(60), side]),
            np.column_stack([side, np.full(60, 120.0)]),
            np.column_stack([np.full(60, 120.0), 120 - side]),
        ]
    )
    facts = trail_facts(trail_of(xy), tool(10.0))
    assert len(facts.passes) == 3
    assert [round(p.heading_deg) for p in facts.passes] == [0, 90, 180]


def test_row_to_row_is_the_spacing_driven_not_the_width():
    trail = passes_trail(length_m=300.0, spacing_m=9.85, passes=12)
    facts = trail_facts(trail, tool(10.0))
    assert facts.row_to_row.distance_m.value == pytest.approx(9.85, abs=1e-3)
    assert facts.row_to_row.neighbours == 11
    assert row_to_row(trail, passes_of(trail, steps_of(trail))[:2]) is None


def test_a_stop_inside_a_pass_is_marked_and_does_not_end_it():
    y = np.concatenate([np.arange(0, 100, 2.0), np.full(90, 98.0), np.arange(100, 200, 2.0)])
    facts = trail_facts(trail_of(np.column_stack([np.zeros(y.size), y])), tool(10.0))
    assert len(facts.passes) == 1
    assert [e.kind for e in facts.passes[0].exceptions] == ["stop"]
    assert facts.time_use.standing_s == pytest.approx(91, abs=2)
    assert facts.time_use.stops == 1


def test_time_adds_up_to_the_span_of_the_log():
    trail = passes_trail(passes=5)
    use = trail_facts(trail, tool(10.0)).time_use
    assert use.total_s == pytest.approx((trail.t_ms[-1] - trail.t_ms[0]) / 1e3)
    assert use.turning_s > 0
    assert use.moving_s == 0


def test_rates_are_named_as_reported_and_off_stretches_are_listed():
    trail = passes_trail()
    echoed = np.full((trail.n, 1), 120.0)
    echoed[10:20] = 96.0
    facts = trail_facts(with_columns(trail, asked_kg_ha=np.full((trail.n, 1), 120.0), echoed_kg_ha=echoed, bins=("A",)), tool(10.0))
    assert facts.rates[0].near_share == pytest.approx(0.98, abs=0.002)
    marks = [e for e in facts.passes[0].exceptions if e.kind == "off-rate"]
    assert len(marks) == 1
    assert "-20 % as the controller reported" in marks[0].note


def test_turns_and_area_grow_over_resets():
    trail = passes_trail(passes=2)
    counter = np.arange(trail.n, dtype=float)
    counter[50:] -= counter[50]
    facts = trail_facts(with_columns(trail, revs=counter[:, None], bins=("A",), area_ha=counter / 100), tool(10.0))
    assert facts.turns["A"] == pytest.approx(49 + trail.n - 51)
    assert facts.area_shown_ha == pytest.approx((49 + trail.n - 51) / 100)


def flow(trail, runs: int, *, seed: int = 1, miss: float = 0.01) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return sown(trail)[:, None] & (rng.random((trail.n, runs)) > miss)


def test_a_plugged_run_is_named_with_the_interval_it_began_in():
    trail = passes_trail(length_m=400.0, passes=8)
    present = flow(trail, 16)
    start = int(np.flatnonzero(sown(trail))[900])
    present[start:, 6] = False
    found = run_faults(with_columns(trail, run_present=present, runs=tuple(range(1, 17))), outfit())
    assert [f.run for f in found] == [7]
    assert found[0].head == "B"
    assert found[0].until_ms is None
    assert found[0].last_seen_ms <= trail.t_ms[start] <= found[0].first_missed_ms + 12_000
    assert found[0].first_missed_ms <= trail.t_ms[start] + 12_000
    metres = (np.hypot(*np.diff(trail.xy_m, axis=0).T) * sown(trail)[:-1])[start:].sum()
    assert found[0].area_ha == pytest.approx(metres * 0.25 / 1e4, rel=0.03)


def test_a_dead_head_is_one_fault_and_not_four_runs():
    trail = passes_trail(length_m=400.0, passes=8)
    present = flow(trail, 16)
    start = int(np.flatnonzero(sown(trail))[700])
    present[start:, 4:8] = False
    found = run_faults(with_columns(trail, run_present=present, runs=tuple(range(1, 17))), outfit())
    assert [(f.run, f.head, f.runs) for f in found] == [(None, "B", (5, 6, 7, 8))]


def test_a_run_that_comes_back_has_an_end():
    trail = passes_trail(length_m=400.0, passes=8)
    present = flow(trail, 16)
    present[600:900, 2] = False
    found = run_faults(with_columns(trail, run_present=present, runs=tuple(range(1, 17))), outfit())
    assert [f.run for f in found] == [3]
    assert abs(found[0].until_ms - trail.t_ms[900]) <= 30_000


def test_everything_gone_at_once_is_no_run_and_no_head():
    trail = passes_trail(length_m=400.0, passes=8)
    present = flow(trail, 16)
    present[600:900] = False  # the fan, a bin or a switch
    assert run_faults(with_columns(trail, run_present=present, runs=tuple(range(1, 17))), outfit()) == ()


@pytest.mark.parametrize("seed", range(8))
def test_clean_days_name_nobody(seed):
    trail = passes_trail(length_m=800.0, passes=10)
    present = flow(trail, 16, seed=seed, miss=0.03)
    assert run_faults(with_columns(trail, run_present=present, runs=tuple(range(1, 17))), outfit()) == ()


def test_a_shut_run_is_not_missed():
    trail = passes_trail(length_m=400.0, passes=4)
    present = flow(trail, 16)
    present[:, 5] = False
    machine = outfit()
    shut = type(machine)(
        **{f: getattr(machine, f) for f in machine.__slots__}
        | {
            "runs": tuple(
                type(r)(number=r.number, head=r.head, outlet=r.outlet, offset_m=r.offset_m, shut=r.number == 6) for r in machine.runs
            )
        }
    )
    seen = with_columns(trail, run_present=present, runs=tuple(range(1, 17)))
    assert [f.run for f in run_faults(seen, machine)] == [6]
    assert run_faults(seen, shut) == ()


def test_a_log_without_flow_columns_says_so():
    facts = trail_facts(passes_trail(), tool(10.0))
    assert facts.run_faults == ()
    assert "cannot be seen in this log" in facts.run_note


def test_ten_thousand_rows_of_sixty_four_runs_take_a_fraction_of_a_second():
    trail = passes_trail(length_m=800.0, passes=24)
    machine = outfit(8, 8)
    full = with_columns(trail, run_present=flow(trail, 64), runs=tuple(range(1, 65)))
    assert full.n > 9_500
    trail_facts(full, machine)
    best = min(_timed(lambda: trail_facts(full, machine)) for _ in range(5))
    assert best < 1.0  # 0.1 s on a quiet machine; the margin is for a busy one


def _timed(function) -> float:
    begin = time.perf_counter()
    function()
    return time.perf_counter() - begin
