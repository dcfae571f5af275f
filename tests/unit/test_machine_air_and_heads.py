"""Turns, heads, lag, air and liquids."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenstand import machine
from evenstand.base.errors import InputError, RangeError


@given(st.floats(1, 60), st.floats(1.01, 20))
def test_the_tool_takes_as_much_inside_as_it_saves_outside(width, times):
    """Product per turn of the circle is the same: 1/inner + 1/outer = 2 (length inside plus outside is twice the middle)."""
    inner, outer = machine.turn_dose(width / 2 * times, width)
    assert 1 / inner + 1 / outer == pytest.approx(2)
    assert inner > 1 > outer


def test_a_turn_tighter_than_half_the_tool_is_refused():
    with pytest.raises(RangeError, match="Lift"):
        machine.turn_dose(8, 16.3)


def test_equal_heads_on_equal_segments_are_even_and_matched_segments_make_unequal_heads_even():
    assert machine.head_balance([8] * 8).worst == pytest.approx(0)
    assert machine.head_balance([7, 6, 7, 6], [7, 6, 7, 6]).worst == pytest.approx(0)
    assert machine.head_balance([7, 6, 7, 6]).worst == pytest.approx(1 / 6)
    with pytest.raises(RangeError, match="head 2"):
        machine.head_balance([7, 0])


def test_mass_flow_of_air_at_equal_speed_falls_with_height():
    """Standard atmosphere, ISO 2533 as tabulated by fluids: 1.2250 / 1.11166 = 1.102 at 1,000 m."""
    here = machine.air_density(15, machine.standard_pressure(0))
    up = machine.air_density(15 - 6.5, machine.standard_pressure(1000))
    assert here / up == pytest.approx(1.102, abs=0.0005)


def test_fluids_gives_the_same_saltation_velocity():
    """A port check against the open library fluids, not an independent source."""
    saltation = pytest.importorskip("fluids.saltation", reason="NOT RUN HERE: fluids is not installed")
    ours = machine.saltation_velocity(0.25, 1e-4, 1.2, 0.078)
    assert ours == pytest.approx(saltation.Rizk(mp=0.25, dp=1e-4, rhog=1.2, D=0.078), rel=1e-9)
    assert ours.warning == ""


def test_a_seed_is_out_of_range_of_a_correlation_made_for_fines():
    assert "weak opinion" in machine.saltation_velocity(0.25, 4e-3, 1.2, 0.064).warning
    with pytest.raises(InputError):
        machine.saltation_velocity(0.25, 1e-4, 1.2, 0.078, method="other")  # type: ignore[arg-type]


def test_moist_air_is_lighter_than_dry():
    assert machine.air_density(30, 94_000, 1.0) < machine.air_density(30, 94_000, 0.0)
    for bad in ({"temperature_c": 90}, {"pressure_pa": 94}, {"relative_humidity": 50}):
        with pytest.raises(RangeError):
            machine.air_density(**{"temperature_c": 20, "pressure_pa": 94_000, "relative_humidity": 0.5, **bad})


def test_lag_and_distance_multiply():
    assert machine.lag_distance(machine.transport_lag(16, 25), 2.1) == pytest.approx(0.8 * 2.1)
    assert math.isclose(machine.lag_distance(5, 7.6 / 3.6), 10.56, abs_tol=0.01)


def test_a_bin_holds_and_lasts():
    mass = machine.bin_mass(6.6, 780, 0.95)
    assert machine.area_per_fill(mass, 121) == pytest.approx(40.4, abs=0.05)  # 40 ha: common practice, no source
    with pytest.raises(RangeError):
        machine.bin_mass(6.6, 0, 0.95)


@given(st.floats(1, 300), st.floats(0.5, 5), st.floats(1, 30), st.floats(0.05, 3))
def test_meter_speed_and_rate_are_inverse_and_the_window_contains_the_speed(rate, speed, width, factor):
    shaft = machine.meter_speed(rate, speed, width, factor)
    assert machine.meter_rate(shaft, speed, width, factor) == pytest.approx(rate, rel=1e-9)
    low, high = machine.speed_window(rate, width, factor, shaft * 0.5, shaft * 2)
    assert low == pytest.approx(speed / 2)
    assert high == pytest.approx(speed * 2)
