"""Time use by its rules, hectares an hour, and start and stop distances from measured delays only."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from evenstand.base.errors import RangeError
from evenstand.desk.demo_farm import demo_farm
from evenstand.model import Plan, Trail
from evenstand.trail import start_stop_distance, trail_facts
from evenstand.trail.stepping import steps_of
from evenstand.trail.timeuse import BY_LENGTH, BY_LEVEL, BY_PLACE, time_use, work_rate
from made_trails import passes_trail, square, tool, trail_of


def with_stand(seconds: int, *, at: int = 0) -> Trail:
    """Twelve passes of 300 m with one stand of so many seconds after the first pass, tool up."""
    trail = passes_trail(passes=12, length_m=300.0, turn_rows=7)
    row = int(np.flatnonzero(trail.lifted)[at]) + 1
    xy = np.concatenate([trail.xy_m[:row], np.repeat(trail.xy_m[row : row + 1], seconds, axis=0), trail.xy_m[row:]])
    lifted = np.concatenate([trail.lifted[:row], np.ones(seconds, dtype=bool), trail.lifted[row:]])
    return trail_of(xy, lifted=lifted)


def used(trail: Trail, **more: object):
    return time_use(trail, steps_of(trail), **more)


def test_every_second_is_in_one_state() -> None:
    use = used(with_stand(900))
    assert use.total_s == pytest.approx(12 * 150 + 11 * 8 + 900, abs=3)
    assert use.sowing_s == pytest.approx(12 * 150, abs=2)
    assert use.turning_s == pytest.approx(10 * 8, abs=12)
    assert use.standing_s == pytest.approx(900, abs=2)
    assert use.filling_s + use.idle_s == pytest.approx(use.standing_s)
    assert use.missing_s == 0


def test_a_long_stand_with_the_tool_up_is_a_fill_by_its_length_and_says_so() -> None:
    use = used(with_stand(900))
    assert (use.fills, use.filling_by) == (1, BY_LENGTH)
    assert use.filling_s == pytest.approx(900, abs=2)
    short = used(with_stand(300))
    assert (short.fills, short.filling_s, short.stops) == (0, 0.0, 1)
    assert short.idle_s == pytest.approx(300, abs=2)


def test_with_fill_points_only_a_stand_near_one_is_a_fill() -> None:
    trail = with_stand(300)
    field = square(400.0, -50.0, -50.0)
    near = dataclasses.replace(field, fill_points=((5.0, 320.0),))
    far = dataclasses.replace(field, fill_points=((5.0, -320.0),))
    assert used(trail, boundary=near).fills == 1
    assert used(trail, boundary=near).filling_by == BY_PLACE
    assert used(trail, boundary=far).fills == 0
    assert used(with_stand(900), boundary=far).idle_s == pytest.approx(900, abs=2)


def test_fill_points_count_in_the_trails_own_frame() -> None:
    trail = with_stand(300)
    east = dataclasses.replace(trail.frame, lon_deg=trail.frame.lon_deg - 0.01)  # its middle lies some 700 m to the west
    field = dataclasses.replace(square(400.0, -50.0, -50.0), frame=east)
    ahead = 0.01 * 111_320 * np.cos(np.radians(trail.frame.lat_deg))
    near = dataclasses.replace(field, fill_points=((5.0 + float(ahead), 320.0),))
    assert used(trail, boundary=near).fills == 1
    assert used(trail, boundary=dataclasses.replace(field, fill_points=((5.0, 320.0),))).fills == 0


def test_with_a_level_only_a_stand_in_which_it_rises_is_a_fill() -> None:
    trail = with_stand(900)
    stand = int(np.flatnonzero((np.diff(trail.xy_m, axis=0) == 0).all(axis=1))[0])
    rising = np.concatenate([np.linspace(2000, 1500, stand + 400), np.linspace(4000, 1000, trail.n - stand - 400)])
    assert used(dataclasses.replace(trail, extra={"level A": rising})).fills == 1
    assert used(dataclasses.replace(trail, extra={"level A": rising})).filling_by == BY_LEVEL
    assert used(dataclasses.replace(trail, extra={"level A": np.linspace(4000, 1000, trail.n)})).fills == 0


def test_hectares_an_hour_and_field_efficiency_are_area_over_time() -> None:
    trail = with_stand(900)
    steps = steps_of(trail)
    rate = work_rate(trail, tool(10.0), steps, driven_m2=36_000.0)
    assert rate is not None
    hours = (12 * 150 + 11 * 8 + 900) / 3600
    assert rate.field_h == pytest.approx(hours, abs=0.002)
    assert rate.at_work_ha_h == pytest.approx(7.2, rel=0.01)
    assert rate.over_all_ha_h == pytest.approx(3.6 / hours, rel=0.01)
    assert rate.in_theory_ha_h == pytest.approx(7.2, rel=0.01)
    assert rate.efficiency == pytest.approx(1800 / (3600 * hours), rel=0.01)
    assert (rate.published_low, rate.published_high) == (0.65, 0.70)
    assert rate.against_published == "below"
    assert rate.against_plan == ""


def test_ground_covered_counts_overlap_as_lost() -> None:
    trail = with_stand(900)
    rate = work_rate(trail, tool(10.0), steps_of(trail), driven_m2=36_000.0, covered_m2=34_000.0)
    assert rate is not None
    assert rate.area_by == "ground covered"
    assert rate.area_ha == pytest.approx(3.4)


def test_rows_that_are_missing_are_left_out_and_told() -> None:
    trail = passes_trail(passes=12, length_m=300.0, turn_rows=7)
    keep = ~trail.lifted | (np.arange(trail.n) % 200 == 0)
    part = trail_of(trail.xy_m[keep], lifted=trail.lifted[keep])
    part = dataclasses.replace(part, t_ms=trail.t_ms[keep])
    rate = work_rate(part, tool(10.0), steps_of(part), driven_m2=36_000.0)
    assert rate is not None
    assert rate.missing_h > 0
    assert rate.field_h + rate.missing_h == pytest.approx((part.t_ms[-1] - part.t_ms[0]) / 3.6e6, abs=0.005)


def plan(low_ha_h: float, high_ha_h: float) -> Plan:
    outfit = demo_farm().outfit("A")
    return Plan(
        job="j", crop="wheat", outfit=outfit.key, field_name="f", area_ha=3.6, width_m=10.0, speed_m_s=2.0, in_work_ha_h=7.2, efficiency_low=0.65,
        efficiency_high=0.7, low_ha_h=low_ha_h, high_ha_h=high_ha_h, hours_in_work=0.5, hours_low=0.7, hours_high=0.8,
    )  # fmt: skip


@pytest.mark.parametrize(("low", "high", "says"), [(4.0, 5.0, "within"), (5.0, 6.0, "below"), (2.0, 3.0, "above")])
def test_hectares_an_hour_are_held_against_the_plan(low: float, high: float, says: str) -> None:
    facts = trail_facts(with_stand(900), tool(10.0), plan=plan(low, high))
    assert facts.work_rate is not None
    assert facts.work_rate.against_plan == says
    assert facts.work_rate.plan_low == 0.65


def test_without_a_width_there_are_no_hectares_an_hour() -> None:
    bare = dataclasses.replace(tool(10.0), widths=dataclasses.replace(tool(10.0).widths, rate_m=None))
    assert trail_facts(with_stand(900), bare).work_rate is None


def test_start_and_stop_distances_come_from_measured_delays_only() -> None:
    assert start_stop_distance(2.0) == (None, None)
    assert start_stop_distance(2.0, on_s=4.0, off_s=6.0) == (8.0, 12.0)
    with pytest.raises(RangeError):
        start_stop_distance(2.0, on_s=-1.0)
