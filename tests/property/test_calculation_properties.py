"""Inverses, order and scale of calculations that have no property test of their own elsewhere."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand import agronomy, machine, tally

quick = settings(max_examples=60, deadline=None, derandomize=True)
POSITIVE = st.floats(1e-2, 1e3)
SPEED = st.floats(0.3, 6.0)
WIDTH = st.floats(2.0, 30.0)
RATE = st.floats(1.0, 400.0)
FACTOR = st.floats(0.02, 5.0)
TIMES = st.floats(1.01, 20.0)


def same(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-12)


@quick
@given(RATE, SPEED, WIDTH, FACTOR)
def test_meter_speed_and_meter_rate_are_inverses(rate: float, speed: float, width: float, factor: float) -> None:
    turns = machine.meter_speed(rate, speed, width, factor)
    assert same(machine.meter_rate(turns, speed, width, factor), rate)


@quick
@given(RATE, WIDTH, FACTOR, st.floats(0.01, 0.3), st.floats(0.4, 2.0))
def test_at_the_ends_of_its_window_a_meter_turns_at_its_limits(rate: float, width: float, factor: float, low: float, high: float) -> None:
    slow, fast = machine.speed_window(rate, width, factor, low, high)
    assert slow < fast
    assert same(machine.meter_speed(rate, slow, width, factor), low)
    assert same(machine.meter_speed(rate, fast, width, factor), high)


@quick
@given(RATE, SPEED, WIDTH, FACTOR, st.integers(1, 40), TIMES)
def test_the_lumps_of_a_roller_lie_as_far_apart_at_any_speed(
    rate: float, speed: float, width: float, factor: float, flutes: int, times: float
) -> None:
    def spacing(v: float) -> float:
        return machine.pulse_spacing(v, machine.meter_speed(rate, v, width, factor), flutes)

    assert same(spacing(speed), spacing(speed * times))
    assert machine.pulse_spacing(speed, 0.5, flutes + 1) < machine.pulse_spacing(speed, 0.5, flutes)


@quick
@given(SPEED, WIDTH, st.floats(0.1, 1.0), TIMES)
def test_twice_the_width_or_the_speed_is_twice_the_hectares(speed: float, width: float, efficiency: float, times: float) -> None:
    once = machine.field_capacity(speed, width, efficiency)
    assert same(machine.field_capacity(speed * times, width, efficiency), once * times)
    assert same(machine.field_capacity(speed, width * times, efficiency), once * times)
    assert machine.field_capacity(speed, width, efficiency) <= machine.field_capacity(speed, width, 1.0)


@quick
@given(st.floats(1, 5000), st.floats(0.5, 60), st.floats(1, 24))
def test_the_capacity_needed_does_the_area_in_the_hours_there_are(area: float, days: float, hours: float) -> None:
    assert same(machine.work_hours(area, machine.needed_capacity(area, days, hours)), days * hours)


@quick
@given(st.floats(0.1, 100), st.floats(0, 100))
def test_lost_time_only_lowers_the_efficiency(working: float, lost: float) -> None:
    share = machine.field_efficiency(working, lost)
    assert 0 < share <= 1
    assert same(share * (working + lost), working)


@quick
@given(st.floats(1.0, 200.0), st.floats(0.05, 0.95))
def test_in_a_turn_inner_and_outer_dose_are_about_the_middle(radius: float, part: float) -> None:
    inner, outer = machine.turn_dose(radius, 2 * radius * part)
    assert outer < 1 < inner
    assert math.isclose(1 / inner + 1 / outer, 2, rel_tol=1e-12)  # dose is one over the way travelled


@quick
@given(st.floats(1, 60), st.floats(5, 40), st.floats(0.1, 1.0), SPEED, TIMES)
def test_lag_grows_with_the_hose_and_falls_with_the_air(length: float, air: float, slip: float, speed: float, times: float) -> None:
    lag = machine.transport_lag(length, air, slip=slip)
    assert same(machine.transport_lag(length * times, air, slip=slip), lag * times)
    assert same(machine.transport_lag(length, air * times, slip=slip), lag / times)
    assert same(machine.lag_distance(lag, speed) / speed, lag)


@quick
@given(st.floats(-500, 10_000), st.floats(1, 900))
def test_higher_up_the_air_is_thinner(height: float, more: float) -> None:
    assert machine.standard_pressure(height + more) < machine.standard_pressure(height)
    assert machine.standard_temperature(height + more) < machine.standard_temperature(height)
    assert machine.geopotential_height(abs(height)) <= abs(height) * (1 + 1e-12)


@quick
@given(st.floats(0.1, 20), st.floats(200, 1500), st.floats(0.1, 1.0), RATE)
def test_a_bin_lasts_as_long_as_its_mass(volume: float, density: float, share: float, rate: float) -> None:
    mass = machine.bin_mass(volume, density, share)
    assert same(machine.area_per_fill(mass, rate) * rate, mass)
    assert same(machine.bin_mass(volume, 2 * density, share), 2 * mass)


@quick
@given(st.floats(500, 2000), TIMES)
def test_four_times_the_density_is_twice_the_water_factor(density: float, times: float) -> None:
    assert same(machine.water_factor(density * 1.4) / machine.water_factor(density), math.sqrt(1.4))
    assert machine.water_factor(density + times) > machine.water_factor(density)


@quick
@given(st.floats(10, 500), SPEED, st.floats(0.1, 1.0), st.integers(1, 200))
def test_all_nozzles_together_pour_the_rate_of_the_whole_width(rate: float, speed: float, spacing: float, nozzles: int) -> None:
    hectares_a_minute = machine.field_capacity(speed, nozzles * spacing, 1.0) / 60
    assert math.isclose(nozzles * machine.nozzle_flow(rate, speed, spacing), rate * hectares_a_minute, rel_tol=1e-9)


@quick
@given(st.floats(0.5, 100), st.floats(5, 40))
def test_a_tonne_in_bushels_holds_what_the_tonne_holds(content: float, bushel: float) -> None:
    assert same(agronomy.content_per_bushel(content, bushel) * agronomy.bushels_per_tonne(bushel), content)


@quick
@given(st.lists(st.floats(1, 50), min_size=2, max_size=8), TIMES)
def test_replicates_in_another_unit_vary_as_much(masses: list[float], times: float) -> None:
    once, scaled = agronomy.kernel_weight(masses), agronomy.kernel_weight([m * times for m in masses])
    assert math.isclose(scaled.cv, once.cv, rel_tol=1e-9, abs_tol=1e-9)
    assert math.isclose(scaled.tkw_g, once.tkw_g * times, rel_tol=1e-9)
    assert once.low <= once.tkw_g <= once.high


@quick
@given(st.integers(1, 50))
def test_what_germinates_and_what_does_not_may_vary_alike(average: int) -> None:
    for found in (agronomy.replicate_tolerance, agronomy.two_test_tolerance):
        assert found(average) == found(101 - average)


@quick
@given(st.integers(71, 98))
def test_nearer_to_half_more_is_allowed(average: int) -> None:
    assert agronomy.replicate_tolerance(average) >= agronomy.replicate_tolerance(average + 1)
    assert agronomy.two_test_tolerance(average) >= agronomy.two_test_tolerance(average + 1)


@quick
@given(st.integers(0, 29))
def test_more_seeds_stated_allow_more_but_never_two_for_each_more(stated: int) -> None:
    now, after = agronomy.seed_count_tolerance(stated), agronomy.seed_count_tolerance(stated + 1)
    assert stated < now < after <= now + 2


@quick
@given(st.floats(0.01, 1.0), st.integers(2, 60), st.floats(0.02, 0.5), TIMES)
def test_counts_needed_go_with_the_square(cv: float, counts: int, precision: float, times: float) -> None:
    once = agronomy.counts_needed(cv, counts, precision=precision)
    assert math.isclose(agronomy.counts_needed(cv * times, counts, precision=precision), once * times**2, rel_tol=1e-9)
    assert agronomy.counts_needed(cv, counts, precision=precision * times) < once
    assert agronomy.counts_needed(cv, counts, confidence=0.99, precision=precision) > once


@quick
@given(st.lists(st.integers(0, 30), min_size=3, max_size=10), st.floats(1, 30))
def test_counting_days_from_another_day_moves_the_mean_and_not_the_spread(new: list[int], later: float) -> None:
    standing = [sum(new[: i + 1]) for i in range(len(new))]
    if standing[-1] < 2:
        return
    days = [5.0 + i for i in range(len(new))]
    once = agronomy.emergence_spread(days, standing)
    moved = agronomy.emergence_spread([d + later for d in days], standing)
    assert math.isclose(moved.mean_days, once.mean_days + later, rel_tol=1e-9)
    assert math.isclose(moved.sd_days, once.sd_days, rel_tol=1e-6, abs_tol=1e-6)


@quick
@given(POSITIVE, st.floats(1, 500), st.floats(0.1, 0.5), st.integers(1, 12))
def test_a_catch_from_rows_and_from_their_width_is_one_rate(mass: float, length: float, spacing: float, rows: int) -> None:
    assert same(agronomy.rate_from_row_catch(mass, length, spacing, rows), machine.caught_rate(mass, length, rows * spacing))


@quick
@given(FACTOR, st.floats(1, 1e4), st.floats(0.5, 2.0))
def test_a_factor_corrected_by_what_was_weighed_shows_the_weight(factor: float, shown: float, off: float) -> None:
    corrected = tally.factor_from_shown(factor, shown, shown * off)
    assert same(corrected, factor * off)
    assert same(tally.factor_from_turns(shown * off, shown / factor), corrected)


@pytest.mark.parametrize("times", [0.001, 1000.0])
@quick
@given(RATE, SPEED, WIDTH, FACTOR)
def test_a_meter_does_not_care_for_the_unit_of_mass(times: float, rate: float, speed: float, width: float, factor: float) -> None:
    assert same(machine.meter_speed(rate * times, speed, width, factor * times), machine.meter_speed(rate, speed, width, factor))
