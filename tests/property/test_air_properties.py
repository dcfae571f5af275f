"""Laws that hold for any fan, line, grain and liquid."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand import machine

quick = settings(deadline=None, derandomize=True, max_examples=150)
speeds = st.floats(20, 120)
loads = st.floats(0.05, 3)
air = st.floats(0.8, 1.4)
lifts = st.floats(4, 15)
ratios = st.floats(0.4, 2.5)


def window(speed, then, now, air_then, air_now, **more):
    return machine.air_window(speed, proven_solids_kg_s=then, solids_kg_s=now, proven_density_kg_m3=air_then, density_kg_m3=air_now, **more)


@quick
@given(speeds, loads, air)
def test_the_proven_point_gives_itself_back(speed, load, density):
    same = window(speed, load, load, density, density, proven_lift_m_s=8.0, lift_m_s=8.0)
    assert [same.low_rev_s, same.rev_s, same.high_rev_s] == pytest.approx([speed] * 3)


@quick
@given(speeds, loads, ratios, st.floats(1.01, 1.5), air)
def test_more_load_asks_for_more_speed(speed, load, ratio, more, density):
    less_w, more_w = (window(speed, load, load * ratio * m, density, density) for m in (1.0, more))
    assert more_w.rev_s > less_w.rev_s


@quick
@given(speeds, loads, air, st.floats(0.7, 1.4), st.floats(1.01, 1.3))
def test_thinner_air_asks_for_more_speed(speed, load, density, ratio, thinner):
    thick, thin = (window(speed, load, load, density, density * ratio / t) for t in (1.0, thinner))
    assert thin.rev_s > thick.rev_s
    assert thin.air_mass_ratio < thick.air_mass_ratio


@quick
@given(speeds, loads, air, lifts, st.floats(1.01, 2))
def test_a_grain_harder_to_lift_asks_for_more_speed(speed, load, density, lift, more):
    easy, hard = (window(speed, load, load, density, density, proven_lift_m_s=lift, lift_m_s=lift * m) for m in (1.0, more))
    assert hard.rev_s > easy.rev_s


@quick
@given(speeds, loads, ratios, air, air, lifts, lifts, st.floats(0.2, 1), st.floats(0.2, 1))
def test_the_ends_enclose_the_setting_and_the_alarms_stand_around_it(speed, load, ratio, then, now, lift_then, lift_now, part, other):
    w = window(speed, load, load * ratio, then, now, proven_lift_m_s=lift_then, lift_m_s=lift_now, proven_split=part, split=other)
    assert w.low_rev_s <= w.rev_s * (1 + 1e-12)
    assert w.rev_s <= w.high_rev_s * (1 + 1e-12)
    assert w.alarm_low_rev_s < w.rev_s < w.alarm_high_rev_s
    assert w.rev_s == pytest.approx(speed * math.prod(i.factor for i in w.mattered))


@quick
@given(speeds, loads, ratios, air, air, st.floats(0.1, 10))
def test_only_ratios_count(speed, load, ratio, then, now, scale):
    """The same in other units of load and of speed, and of one line or the whole stream."""
    once = window(speed, load, load * ratio, then, now)
    again = window(speed * scale, load * scale, load * ratio * scale, then, now)
    assert again.rev_s == pytest.approx(once.rev_s * scale)
    assert [i.factor for i in again.mattered] == pytest.approx([i.factor for i in once.mattered])


@quick
@given(speeds, loads, ratios)
def test_slopes_are_the_slopes(speed, load, ratio):
    w = window(speed, load, load * ratio, 1.2, 1.1)
    bumped = window(speed, load, load * ratio * 1.0001, 1.2, 1.1)
    slope = next(i.slope for i in w.mattered if i.name == "load")
    assert (bumped.rev_s / w.rev_s - 1) / 0.0001 == pytest.approx(slope, rel=1e-3)


@quick
@given(speeds, loads, st.floats(1.2, 3), st.floats(0, 1))
def test_the_own_exponent_reproduces_the_second_proven_speed(speed, load, ratio, exponent):
    second = machine.scaled_fan_speed(speed, load_ratio=ratio, load_exponent=exponent)
    found = machine.own_load_exponent(speed, load, second, load * ratio)
    assert found == pytest.approx(exponent, abs=1e-9)


@quick
@given(st.floats(1, 30), st.floats(0.02, 0.2), st.floats(8, 40), air, st.floats(0, 1), st.floats(0, 3), st.floats(0, 4), st.floats(0, 10))
def test_parts_of_a_line_are_not_negative_add_up_and_vanish_with_the_product(length, bore, speed, density, load, lift, bends, hose):
    drop = machine.line_pressure_drop(length, bore, speed, density, solids_kg_s=load, lift_m=lift, bends=bends, hose_m=hose)
    empty = machine.line_pressure_drop(length, bore, speed, density, lift_m=lift, bends=bends, hose_m=hose)
    parts = (drop.air_pa, drop.solids_pa, drop.air_start_pa, drop.solids_start_pa, drop.lift_pa)
    assert min(parts) >= 0
    assert drop.total_pa == pytest.approx(sum(parts))
    assert drop.low_pa < drop.total_pa < drop.high_pa
    assert empty.air_pa == pytest.approx(drop.air_pa)
    assert (empty.solids_pa, empty.solids_start_pa) == (0, 0)
    assert drop.total_pa >= empty.total_pa


@quick
@given(st.floats(1, 30), st.floats(0.03, 0.1), st.floats(15, 30), st.floats(0.01, 0.2), st.floats(1.05, 2))
def test_a_longer_or_fuller_or_faster_line_takes_more_pressure(length, bore, speed, load, more):
    base = machine.line_pressure_drop(length, bore, speed, 1.2, solids_kg_s=load).total_pa
    assert machine.line_pressure_drop(length * more, bore, speed, 1.2, solids_kg_s=load).total_pa > base
    assert machine.line_pressure_drop(length, bore, speed, 1.2, solids_kg_s=load * more).total_pa > base
    assert (
        machine.line_pressure_drop(length, bore, speed * more, 1.2).total_pa > machine.line_pressure_drop(length, bore, speed, 1.2).total_pa
    )


@quick
@given(st.floats(4e3, 1e7), st.floats(1e-6, 0.016), st.floats(1.1, 3))
def test_friction_falls_with_reynolds_and_rises_with_roughness(reynolds, rough, more):
    for method in ("swamee-jain", "haaland", "colebrook"):
        here = machine.friction_factor(reynolds, rough, method=method)
        assert machine.friction_factor(reynolds * more, rough, method=method) < here
        assert machine.friction_factor(reynolds, rough * more, method=method) > here


@quick
@given(st.floats(1e-5, 8e-3), st.floats(500, 2000), st.floats(1.05, 2))
def test_larger_and_heavier_balls_float_faster(size, density, more):
    here = machine.terminal_velocity(size, density, 1.2, 1.8e-5)
    assert machine.terminal_velocity(size * more, density, 1.2, 1.8e-5) > here
    assert machine.terminal_velocity(size, density * more, 1.2, 1.8e-5) > here


@quick
@given(st.floats(-33, 37), st.floats(0.1, 5))
def test_warmer_ammonia_is_lighter_and_presses_harder(celsius, more):
    warmer = min(celsius + more, 37.7)
    if warmer > celsius:
        assert machine.ammonia_density(warmer) < machine.ammonia_density(celsius)
        assert machine.ammonia_pressure(warmer) > machine.ammonia_pressure(celsius)


@quick
@given(st.floats(1, 500), st.floats(0.5, 5), st.floats(0.2, 40), st.integers(1, 100))
def test_liquid_flow_and_rate_are_inverse(rate, speed, width, outlets):
    flow = machine.liquid_flow(rate, speed, width, outlets=outlets) * outlets
    assert machine.liquid_rate(flow, speed, width) == pytest.approx(rate)
    assert machine.liquid_flow(rate, speed, width / outlets) == pytest.approx(machine.nozzle_flow(rate, speed, width / outlets))


@quick
@given(st.floats(0.01, 100), st.floats(500, 2000))
def test_water_factor_and_fluid_flow_are_inverse(flow, density):
    assert machine.fluid_flow(flow * machine.water_factor(density), density) == pytest.approx(flow)
