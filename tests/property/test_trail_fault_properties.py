"""Detectors on any part of a day, with any columns gone, with rubbish in them: every detector answers once, and place does not matter."""

from __future__ import annotations

import dataclasses
import math
from functools import cache

import numpy as np
from benchmarks.breaking import BREAKERS, rows_of
from benchmarks.trail_faults import made_day
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand.model import Outfit, Trail
from evenstand.trail import trail_faults
from evenstand.trail.detecting import DETECTORS

COLUMNS = ("speed_m_s", "sections", "revs", "area_ha", "step_m", "run_present", "fan_turns_s", "lifted", "extra")
NUMBERS = ("speed_m_s", "revs", "area_ha", "step_m", "fan_turns_s")
ALL = {d.kind for d in DETECTORS}


@cache
def day() -> tuple[Outfit, Trail]:
    """A few passes of a simulated day, with every column."""
    outfit, made, _ = made_day(810_000, "", "nominal")
    return outfit, rows_of(made.trail, slice(0, 2400))


def answered(trail: Trail, outfit: Outfit) -> None:
    told = trail_faults(trail, outfit)
    kinds = {f.kind for f in told.found} | {c.kind for c in told.clear} | {u.kind for u in told.unseen}
    assert kinds == ALL
    assert not {c.kind for c in told.clear} & ({f.kind for f in told.found} | {u.kind for u in told.unseen})
    for fault in told.found:
        assert math.isfinite(fault.since_s)
        assert 0 <= fault.first_row <= fault.last_row < trail.n
        assert fault.claim.endswith((".", "?"))
        assert fault.size is None or (math.isfinite(fault.size.value) and math.isfinite(fault.size.sd))


@settings(max_examples=20, deadline=None)
@given(start=st.integers(0, 2000), length=st.integers(0, 1500), gone=st.sets(st.sampled_from(COLUMNS)))
def test_any_part_of_a_day_with_any_columns_gone_is_answered_by_every_detector(start: int, length: int, gone: set[str]) -> None:
    outfit, trail = day()
    part = rows_of(trail, slice(start, start + length))
    answered(dataclasses.replace(part, **{name: {} if name == "extra" else None for name in gone}), outfit)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), share=st.floats(0.0, 1.0), kind=st.sampled_from(sorted(BREAKERS)))
def test_cells_that_are_no_number_stop_nobody(seed: int, share: float, kind: str) -> None:
    outfit, trail = day()
    roll = np.random.default_rng(seed)
    broken = BREAKERS[kind](trail, outfit, roll).trail
    for name in NUMBERS:
        values = np.array(getattr(broken, name), dtype=np.float64)
        values[roll.random(values.shape[0]) < share] = np.nan
        broken = dataclasses.replace(broken, **{name: values})
    answered(broken, outfit)


@settings(max_examples=10, deadline=None)
@given(angle=st.floats(0, 2 * math.pi), east=st.floats(-5e4, 5e4), north=st.floats(-5e4, 5e4), kind=st.sampled_from(sorted(BREAKERS)))
def test_where_a_field_lies_and_which_way_it_faces_changes_no_finding(angle: float, east: float, north: float, kind: str) -> None:
    outfit, trail = day()
    broken = BREAKERS[kind](trail, outfit, np.random.default_rng(5)).trail
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    moved = dataclasses.replace(broken, xy_m=broken.xy_m @ turn.T + np.array([east, north]))
    here, there = trail_faults(broken, outfit).found, trail_faults(moved, outfit).found
    assert [(f.kind, f.cause) for f in here] == [(f.kind, f.cause) for f in there]
    for one, other in zip(here, there, strict=True):
        assert one.size is not None
        assert other.size is not None
        assert math.isclose(one.size.value, other.size.value, rel_tol=0.03, abs_tol=0.03)
