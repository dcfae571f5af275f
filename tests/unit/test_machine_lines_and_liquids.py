"""Lines, floating grains, liquids and ammonia: by hand, and what is refused."""

from __future__ import annotations

import math

import pytest

from evenstand import machine
from evenstand.base.errors import InputError, RangeError


def test_air_alone_in_a_smooth_pipe_is_darcy_with_blasius():
    drop = machine.line_pressure_drop(10, 0.05, 25, 1.2, viscosity_pa_s=1.8e-5)
    reynolds = 1.2 * 25 * 0.05 / 1.8e-5
    assert drop.air_pa == pytest.approx(0.3164 / reynolds**0.25 * 10 / 0.05 * 1.2 * 625 / 2)
    assert drop.total_pa == pytest.approx(drop.air_pa + 1.2 * 625 / 2)
    assert (drop.solids_pa, drop.solids_start_pa, drop.lift_pa, drop.loading) == (0, 0, 0, 0)


def test_the_k_method_and_the_friction_form_are_what_they_say():
    given = {"length_m": 10, "bore_m": 0.05, "air_speed_m_s": 25, "gas_kg_m3": 1.2, "solids_kg_s": 0.05}
    plain = machine.line_pressure_drop(**given)
    by_k = machine.line_pressure_drop(**given, solids_k=0.5)
    assert by_k.solids_pa == pytest.approx(0.5 * plain.loading * plain.air_pa)
    by_factor = machine.line_pressure_drop(**given, solids_friction=plain.friction_factor)
    assert by_factor.solids_pa == pytest.approx(plain.solids_pa)
    with pytest.raises(InputError, match="solids_k"):
        machine.line_pressure_drop(**given, solids_k=0.5, solids_friction=0.01)


def test_parts_add_up_and_hose_counts_five_times():
    drop = machine.line_pressure_drop(8, 0.064, 25, 1.2, solids_kg_s=0.08, lift_m=1, bends=1.5, hose_m=2)
    parts = drop.air_pa + drop.solids_pa + drop.air_start_pa + drop.solids_start_pa + drop.lift_pa
    assert drop.total_pa == pytest.approx(parts)
    assert drop.hose_pa / drop.straight_pa == pytest.approx(5 * 2 / 8)
    assert drop.bends_pa / drop.straight_pa == pytest.approx(1.5 * 20 * 0.3048 / 8)
    wide = machine.line_pressure_drop(8, 0.2, 25, 1.2, bends=1)
    assert wide.bends_pa / wide.straight_pa == pytest.approx(40 * 0.2 / 8)  # forty bores are more than 20 ft


def test_what_is_weak_is_said():
    good = machine.line_pressure_drop(8, 0.064, 25, 1.2, solids_kg_s=0.08)
    assert len(good.warnings) == 1
    assert "no setting" in good.warnings[0]
    bad = " ".join(machine.line_pressure_drop(8, 0.064, 10, 1.2, solids_kg_s=0.7, slip=0.5, product="pea").warnings)
    for word in ("18 m/s", "no longer dilute", "slip", "floating speed of pea"):
        assert word in bad


@pytest.mark.parametrize(
    "wrong",
    [
        {"length_m": -1}, {"bore_m": 0}, {"air_speed_m_s": 0}, {"air_speed_m_s": 300}, {"gas_kg_m3": 0}, {"solids_kg_s": -1},
        {"slip": 0}, {"slip": 1.1}, {"bends": -1}, {"hose_m": -1}, {"roughness_m": 0.2}, {"viscosity_pa_s": 0}, {"solids_k": -1},
    ],
)  # fmt: skip
def test_a_line_that_cannot_be_is_refused_by_name(wrong):
    given = {"length_m": 8, "bore_m": 0.064, "air_speed_m_s": 25, "gas_kg_m3": 1.2, **wrong}
    with pytest.raises(RangeError, match=next(iter(wrong))):
        machine.line_pressure_drop(**given)


def test_friction_below_turbulence_is_sixty_four_over_reynolds_and_methods_are_named():
    assert machine.friction_factor(1000, 0.01) == pytest.approx(0.064)
    with pytest.raises(InputError, match="Blasius"):
        machine.friction_factor(1e5, 1e-4, method="blasius")
    with pytest.raises(InputError, match="no method"):
        machine.friction_factor(1e5, method="moody")  # type: ignore[arg-type]
    with pytest.raises(RangeError):
        machine.friction_factor(0)


def test_colebrook_solves_its_own_equation():
    f = machine.friction_factor(7.5e4, 3e-3, method="colebrook")
    assert 1 / math.sqrt(f) == pytest.approx(-2 * math.log10(3e-3 / 3.7 + 2.51 / (7.5e4 * math.sqrt(f))), rel=1e-12)


def test_a_ball_that_does_not_sink_is_refused():
    with pytest.raises(RangeError, match="particle_kg_m3"):
        machine.terminal_velocity(1e-3, 900, 1000, 1e-3)
    with pytest.raises(RangeError):
        machine.terminal_velocity(0.1, 20_000, 1.2, 1.8e-6)


def test_opinions_come_side_by_side_only_where_their_inputs_are_known_and_each_says_how_weak_it_is():
    few = machine.saltation_opinions(0.08, 4e-3, 1.2, 0.064)
    assert [o.method for o in few] == ["rizk"]
    every = machine.saltation_opinions(0.08, 4e-3, 1.2, 0.064, particle_kg_m3=1300, terminal_m_s=8, viscosity_pa_s=1.8e-5)
    assert len(every) == 7
    assert all(o.warning for o in every)
    speeds = [o.speed_m_s for o in every]
    assert speeds == sorted(speeds)
    assert speeds[-1] > 1.5 * speeds[0]  # why none of them is a setting


def test_liquids_by_hand():
    assert machine.liquid_flow(60, 2, 16) == pytest.approx(60 * 2 * 16 * 60 / 1e4)
    assert machine.pulse_mass(500, 1250) == pytest.approx(1.25 / 500)
    # a liquid stream is metered like a shaft, with pulses in place of turns
    pulses = machine.meter_speed(75, 2, 16, machine.pulse_mass(500, 1250))
    assert pulses == pytest.approx(75 * 2 * 16 / 1e4 / 0.0025)
    for bad in ({"outlets": 0}, {"rate_l_ha": -1}):
        with pytest.raises(RangeError):
            machine.liquid_flow(**{"rate_l_ha": 60, "speed_m_s": 2, "width_m": 16, **bad})


def test_a_bore_passes_the_flow_it_was_sized_for():
    bore = machine.liquid_orifice_bore(0.5, 2e5, 1280, coefficient=0.65)
    assert machine.orifice_flow(bore, 2e5, 1280, coefficient=0.65) / 1280 * 60_000 == pytest.approx(0.5)
    with pytest.raises(RangeError):
        machine.liquid_orifice_bore(0.5, 0, 1280, coefficient=0.65)


def test_a_coarse_gauge_says_how_far_to_drive():
    step = machine.gauge_step(5678, 617, 122)
    assert step.step_kg == pytest.approx(0.05 * 5.678 * 617)
    assert step.difference_sd_ha / step.area_for_check_ha == pytest.approx(0.05)
    finer = machine.gauge_step(5678, 617, 122, step=0.01)
    assert finer.area_for_check_ha == pytest.approx(step.area_for_check_ha / 5)
    with pytest.raises(RangeError):
        machine.gauge_step(5678, 617, 0)


def test_ammonia_outside_its_table_is_refused():
    for temperature in (-40, 45, float("nan")):
        with pytest.raises(RangeError, match="temperature_c"):
            machine.ammonia_density(temperature)
        with pytest.raises(RangeError, match="temperature_c"):
            machine.ammonia_pressure(temperature)
    with pytest.raises(RangeError):
        machine.ammonia_rate(100, fraction=0)


def test_warm_ammonia_takes_more_litres_and_more_pressure():
    assert machine.ammonia_volume_rate(122, 30) > machine.ammonia_volume_rate(122, 0)
    assert machine.ammonia_pressure(30) > machine.ammonia_pressure(0)
    assert all(len(text) > 40 for text in machine.AMMONIA_CAUTIONS)
