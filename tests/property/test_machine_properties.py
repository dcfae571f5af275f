"""Laws that hold for any meter, width, wheel and head."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand import machine

quick = settings(deadline=None, derandomize=True)
rates = st.floats(1, 400)
speeds = st.floats(0.3, 6)
widths = st.floats(0.2, 40)
factors = st.floats(0.01, 5)
ratios = st.floats(0.5, 2)


@quick
@given(rates, factors, widths, st.floats(0.5, 8))
def test_ground_drive_gearing_and_rate_are_inverse_and_do_not_know_the_speed(
    rate: float, factor: float, width: float, rolled: float
) -> None:
    gear = machine.ground_drive_gearing(rate, factor, rolled, width)
    assert machine.ground_drive_rate(factor, gear, rolled, width) == pytest.approx(rate, rel=1e-9)


@quick
@given(rates, speeds, widths, factors, st.floats(0.5, 8))
def test_a_wheel_and_a_motor_turn_the_meter_alike(rate: float, speed: float, width: float, factor: float, rolled: float) -> None:
    """Wheel turns a second times the gearing are the meter speed a motor needs."""
    gear = machine.ground_drive_gearing(rate, factor, rolled, width)
    assert machine.wheel_turns(speed, rolled) * gear == pytest.approx(machine.meter_speed(rate, speed, width, factor), rel=1e-9)


@quick
@given(rates, speeds, widths, factors)
def test_flow_over_factor_is_meter_speed_and_over_capacity_is_the_rate(rate: float, speed: float, width: float, factor: float) -> None:
    flow = machine.mass_flow(rate, speed, width)
    assert flow / factor == pytest.approx(machine.meter_speed(rate, speed, width, factor), rel=1e-9)
    assert flow * 3600 / machine.field_capacity(speed, width, 1.0) == pytest.approx(rate, rel=1e-9)


@quick
@given(st.floats(0.01, 500), widths, st.floats(0.5, 8))
def test_turns_for_an_area_are_its_distance_over_the_rolled_distance(area: float, width: float, rolled: float) -> None:
    turns = machine.turns_for_area(area, rolled, width)
    assert turns == pytest.approx(machine.wheel_turns(machine.distance_for_area(area, width), rolled), rel=1e-9)


@quick
@given(st.floats(0.01, 20), st.floats(10, 1000), widths)
def test_a_catch_over_an_area_is_mass_over_that_area(mass: float, distance: float, width: float) -> None:
    assert machine.caught_rate(mass, distance, width) * distance * width / 1e4 == pytest.approx(mass, rel=1e-9)


@quick
@given(rates, st.floats(1, 500), ratios, ratios, ratios)
def test_mass_over_true_area_is_the_true_dose_and_what_is_shown_hides_the_factor(
    rate: float, area: float, factor: float, width: float, distance: float
) -> None:
    """The display divides its own mass by its own area and always finds the rate asked: F, W and V cancel."""
    cost = machine.wrong_setting_cost(
        rate, area, typed_factor_kg_rev=factor, true_factor_kg_rev=1.0, typed_width_m=width, true_width_m=1.0, distance_ratio=distance
    )
    true_mass = cost.sown_kg_ha * area
    shown = true_mass * cost.shown_mass_ratio / cost.area_shown_ha
    assert shown == pytest.approx(rate, rel=1e-9)
    assert true_mass - rate * area == pytest.approx(cost.error_kg, abs=1e-6)
    assert cost.dose_ratio == pytest.approx(width * distance / factor, rel=1e-9)


@quick
@given(st.lists(st.integers(1, 16), min_size=1, max_size=12), st.lists(st.floats(0.2, 5), min_size=12, max_size=12), st.floats(0, 20))
def test_heads_share_out_what_there_is(outlets: list[int], segments: list[float], flow: float) -> None:
    given_ = segments[: len(outlets)]
    b = machine.head_balance(outlets, given_, flow_kg_s=flow)
    assert sum(b.share) == pytest.approx(1)
    assert b.load_kg_s is not None
    assert sum(b.load_kg_s) == pytest.approx(flow)
    mean_row = sum(r * n for r, n in zip(b.row_ratio, outlets, strict=True)) / sum(outlets)
    assert mean_row == pytest.approx(1)
    assert b.worst >= -1e-12


@quick
@given(st.floats(50, 400), st.floats(0.05, 0.4), st.integers(1, 6))
def test_distance_per_pulse_is_found_again_and_more_runs_make_it_sharper(distance: float, pulse: float, runs: int) -> None:
    counts = [distance / pulse] * runs
    one, all_ = machine.wheel_calibration(distance, counts[:1]), machine.wheel_calibration(distance, counts)
    assert all_.pulse_m == pytest.approx(pulse, rel=1e-9)
    assert all_.pulse_m * all_.pulses_m == pytest.approx(1)
    assert all_.high - all_.low <= (one.high - one.low) * (1 + 1e-9)
    assert 0 <= all_.counting_share <= 1


@quick
@given(st.floats(-30, 45), st.floats(60e3, 105e3), st.floats(0, 1), st.floats(0, 1))
def test_air_grows_lighter_with_heat_and_damp_and_heavier_with_pressure(t: float, p: float, h: float, more: float) -> None:
    here = machine.air_density(t, p, h)
    assert machine.air_density(t + 5, p, h) < here
    assert machine.air_density(t, p + 1000, h) > here
    assert machine.air_density(t, p, h + (1 - h) * more) <= here + 1e-12


@quick
@given(st.floats(0.001, 0.05), st.floats(1, 5000), st.floats(0.9, 1.4), st.floats(0.5, 1))
def test_four_times_the_pressure_drives_twice_the_air_through_a_leak(bore: float, drop: float, density: float, cd: float) -> None:
    one = machine.orifice_flow(bore, drop, density, coefficient=cd)
    assert machine.orifice_flow(bore, 4 * drop, density, coefficient=cd) == pytest.approx(2 * one, rel=1e-9)
    assert machine.orifice_flow(bore, drop, density, coefficient=cd, duct_m=2 * bore) > one


@quick
@given(st.floats(0.5, 2), st.floats(0.8, 1.2))
def test_fan_laws_there_and_back(ratio: float, density: float) -> None:
    there = machine.fan_laws(10.0, 3.0, 2.0, speed_ratio=ratio, density_ratio=density)
    back = machine.fan_laws(there.flow, there.pressure, there.power, speed_ratio=1 / ratio, density_ratio=1 / density)
    assert (back.flow, back.pressure, back.power) == (pytest.approx(10), pytest.approx(3), pytest.approx(2))
    assert math.isclose(there.flow * there.pressure / (10 * 3), there.power / 2, rel_tol=1e-9)  # power is flow times pressure


@quick
@given(st.floats(0.05, 2), st.floats(1.2, 2.5))
def test_more_product_in_a_pipe_asks_for_more_air(load: float, times: float) -> None:
    common = {"particle_kg_m3": 1300.0, "terminal_m_s": 8.0, "viscosity_pa_s": 1.8e-5}
    for method in ("rizk", "matsumoto-1974", "matsumoto-1975", "matsumoto-1977", "schade", "weber", "geldart-ling"):
        few = machine.saltation_velocity(load, 1e-3, 1.2, 0.064, method=method, **common)
        many = machine.saltation_velocity(load * times, 1e-3, 1.2, 0.064, method=method, **common)
        assert many > few, method
