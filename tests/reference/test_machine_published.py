"""Published cases of machine, named after their source, in the unit system they were printed in and in metric."""

from __future__ import annotations

import math

import pytest

from evenstand import machine
from evenstand.base.units import ACRE_M2, FOOT_M, INCH_M, LB_KG, US_GALLON_L, from_metric, read_quantity, to_metric

IOWA_STATE = [  # width ft, mph, efficiency, ac/h: A3-24 (13 cells), PM-696 of April 2001 (4 cells)
    (40, 6, 0.70, 20.4), (60, 6, 0.68, 29.7), (80, 6, 0.68, 39.6), (60, 12, 0.68, 59.3), (80, 12, 0.68, 79.1), (15, 5, 0.63, 5.7),
    (20, 6, 0.63, 9.2), (30, 6, 0.60, 13.1), (36, 5, 0.60, 13.1), (45, 5, 0.60, 16.4), (37.5, 6, 0.65, 17.7), (42.5, 6, 0.63, 19.5),
    (57.5, 5, 0.63, 22.0), (50, 6, 0.70, 25.5), (22.5, 5, 0.65, 8.9), (32.5, 5, 0.65, 12.8), (42.5, 5, 0.63, 16.2),
]  # fmt: skip


@pytest.mark.parametrize(("width_ft", "mph", "efficiency", "printed"), IOWA_STATE)
def test_iowa_state_field_capacity(width_ft: float, mph: float, efficiency: float, printed: float) -> None:
    ha_h = machine.field_capacity(to_metric(mph, "speed", "mph"), width_ft * FOOT_M, efficiency)
    assert from_metric(ha_h, "capacity", "ac/h") == pytest.approx(printed, abs=0.05)
    assert ha_h == pytest.approx(printed * ACRE_M2 / 1e4, abs=0.05 * ACRE_M2 / 1e4)


def test_kentucky_aen_73_divides_by_exactly_8_25() -> None:
    """Effective field capacity in ac/h = mph x ft x efficiency / 8.25 (University of Kentucky, 1991)."""
    ha_h = machine.field_capacity(to_metric(5.3, "speed", "mph"), 41 * FOOT_M, 0.71)
    assert from_metric(ha_h, "capacity", "ac/h") == pytest.approx(5.3 * 41 * 0.71 / 8.25, rel=1e-12)


def test_icar_lesson_6_5_km_h_over_20_m_are_10_ha_h_and_9_25_with_three_quarters_of_an_hour_lost() -> None:
    assert machine.field_capacity(read_quantity("5 km/h", "speed"), 20, 1) == pytest.approx(10)
    assert machine.field_efficiency(9.25, 0.75) == pytest.approx(0.925)
    assert machine.field_capacity(5 / 3.6, 20, 0.925) == pytest.approx(9.25)


def test_iowa_state_a3_25_1600_acres_in_8_3_days_of_14_hours_need_13_8_acres_an_hour() -> None:
    need = machine.needed_capacity(1600 * ACRE_M2 / 1e4, 8.3, 14)
    assert from_metric(need, "capacity", "ac/h") == pytest.approx(13.8, abs=0.05)


def test_gate_examination_2_7_m_at_4_5_km_h_and_72_per_cent_sow_15_ha_in_17_14_h() -> None:
    capacity = machine.field_capacity(4.5 / 3.6, 2.7, 0.72)
    assert capacity == pytest.approx(0.875, abs=0.0005)
    assert machine.work_hours(15, 0.875) == pytest.approx(17.14, abs=0.005)


def test_kentucky_50_ft_are_10_turns_of_a_60_inch_wheel() -> None:
    assert machine.wheel_turns(50 * FOOT_M, 60 * INCH_M) == pytest.approx(10)


def test_southeast_extension_text_24_openers_on_7_5_inch_drive_145_2_ft_for_a_twentieth_of_an_acre() -> None:
    width = 24 * 7.5 * INCH_M
    assert width / FOOT_M == pytest.approx(15.0, abs=0.05)
    assert pytest.approx(2178, abs=0.5) == ACRE_M2 / 20 / FOOT_M**2
    assert machine.distance_for_area(ACRE_M2 / 20 / 1e4, width) / FOOT_M == pytest.approx(145.2, abs=0.05)


@pytest.mark.parametrize(("row_in", "feet"), [(48, 85), (46, 89), (44, 93), (42, 97)])
def test_north_carolina_row_length_of_a_128th_of_an_acre(row_in: float, feet: float) -> None:
    assert machine.distance_for_area(ACRE_M2 / 128 / 1e4, row_in * INCH_M) / FOOT_M == pytest.approx(feet, abs=0.5)


def test_the_short_cut_of_twelve_overstates_a_catch_by_4_1_per_cent() -> None:
    """Canola Council 2010: 18.75 g from five runs 9 in apart over 100 ft, printed 5.0 lb/ac; exact 4.80."""
    rate = machine.caught_rate(0.01875, 100 * FOOT_M, 5 * 9 * INCH_M)
    assert from_metric(rate, "rate", "lb/ac") == pytest.approx(4.80, abs=0.005)
    assert 5.0 / from_metric(rate, "rate", "lb/ac") == pytest.approx(1.041, abs=0.0005)


@pytest.mark.parametrize(
    ("lb_gal", "root"),
    [(6.6, 0.89), (7.0, 0.92), (8.0, 0.98), (8.34, 1.00), (9.0, 1.04), (10.0, 1.10), (10.65, 1.13), (11.0, 1.15), (11.06, 1.15),
     (11.4, 1.17), (11.5, 1.17), (11.6, 1.18), (12.0, 1.20), (14, 1.30), (16, 1.39)],
)  # fmt: skip
def test_nebraska_and_georgia_root_of_the_specific_gravity(lb_gal: float, root: float) -> None:
    """University of Nebraska 2016 and University of Georgia (14 and 16 lb/gal); the sheets round SG first, hence 0.01."""
    assert machine.water_factor(lb_gal * LB_KG / (US_GALLON_L / 1e3)) == pytest.approx(root, abs=0.01)


def test_an_extension_sheet_30_3_gal_ac_at_4_mph_on_30_inch_are_0_61_gallons_a_minute() -> None:
    """The constant 5940 of that sheet is exact: 43560 x 12 x 60 / 5280."""
    per_ha = 30.3 * US_GALLON_L / (ACRE_M2 / 1e4)
    flow = machine.nozzle_flow(per_ha, to_metric(4, "speed", "mph"), 30 * INCH_M) / US_GALLON_L
    assert flow == pytest.approx(0.61, abs=0.005)
    assert flow == pytest.approx(30.3 * 4 * 30 / 5940, rel=1e-12)


@pytest.mark.parametrize(
    ("height", "density"),
    [(0, 1.2250), (300, 1.19011), (500, 1.16727), (600, 1.15598), (700, 1.14478), (1000, 1.11166), (1500, 1.05810), (2000, 1.00655)],
)
def test_standard_atmosphere_density_by_height(height: float, density: float) -> None:
    """ISO 2533 as tabulated by the open library fluids (geometric heights)."""
    h = machine.geopotential_height(height)
    assert machine.air_density(machine.standard_temperature(h), machine.standard_pressure(h)) == pytest.approx(density, abs=1e-5)


def test_fluids_gives_the_same_standard_atmosphere_a_port_check() -> None:
    atmosphere = pytest.importorskip("fluids.atmosphere", reason="NOT RUN HERE: fluids is not installed")
    for height in (-200.0, 350.0, 1234.0, 4000.0):
        theirs = atmosphere.ATMOSPHERE_1976(height)
        h = machine.geopotential_height(height)
        assert machine.standard_pressure(h) == pytest.approx(theirs.P, rel=1e-7)
        assert machine.standard_temperature(h) + 273.15 == pytest.approx(theirs.T, rel=1e-9)
        assert machine.air_density(theirs.T - 273.15, theirs.P) == pytest.approx(theirs.rho, rel=2e-6)


@pytest.mark.parametrize(("dp", "bore", "terminal"), [(1e-3, 0.1, 5.24), (4e-3, 0.064, 8.5), (2e-4, 0.06, 0.9), (1e-4, 0.064, 2.9)])
def test_fluids_gives_the_same_saltation_velocities_a_port_check(dp: float, bore: float, terminal: float) -> None:
    """The equations were read in that library's documentation: this proves the port, not the physics."""
    s = pytest.importorskip("fluids.saltation", reason="NOT RUN HERE: fluids is not installed")
    common = {"particle_kg_m3": 1300.0, "terminal_m_s": terminal}
    theirs = {
        "rizk": s.Rizk(0.2, dp, 1.15, bore),
        "matsumoto-1974": s.Matsumoto_1974(0.2, 1300, dp, 1.15, bore, terminal),
        "matsumoto-1975": s.Matsumoto_1975(0.2, 1300, dp, 1.15, bore, terminal),
        "matsumoto-1977": s.Matsumoto_1977(0.2, 1300, dp, 1.15, bore, terminal),
        "schade": s.Schade(0.2, 1300, dp, 1.15, bore),
        "weber": s.Weber_saltation(0.2, 1300, dp, 1.15, bore, terminal),
        "geldart-ling": s.Geldart_Ling(0.2, 1.15, bore, 1.8e-5),
    }
    for method, value in theirs.items():
        ours = machine.saltation_velocity(0.2, dp, 1.15, bore, method=method, viscosity_pa_s=1.8e-5, **common)  # type: ignore[arg-type]
        assert ours == pytest.approx(value, rel=1e-9), method


def test_fluids_gives_the_same_flow_through_an_orifice_a_port_check() -> None:
    meter = pytest.importorskip("fluids.flow_meter", reason="NOT RUN HERE: fluids is not installed")
    theirs = meter.flow_meter_discharge(D=0.0739, Do=0.0222, P1=1e5, P2=9.9e4, rho=1.1646, C=0.5988, expansibility=0.9975)
    ours = machine.orifice_flow(0.0222, 1000, 1.1646, coefficient=0.5988, duct_m=0.0739, expansibility=0.9975)
    assert ours == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize(("temperature", "pressure", "humidity"), [(-10, 95e3, 0.8), (5, 92e3, 0.5), (20, 94e3, 0.5), (35, 100e3, 1.0)])
def test_coolprop_gives_the_same_moist_air(temperature: float, pressure: float, humidity: float) -> None:
    """An independent property library with real-gas moist air; its volume is per kilogram of dry air."""
    coolprop = pytest.importorskip("CoolProp.HumidAirProp", reason="NOT RUN HERE: CoolProp is not installed")
    kelvin = temperature + 273.15
    volume = coolprop.HAPropsSI("V", "T", kelvin, "P", pressure, "R", humidity)
    water = coolprop.HAPropsSI("W", "T", kelvin, "P", pressure, "R", humidity)
    assert machine.air_density(temperature, pressure, humidity) == pytest.approx((1 + water) / volume, rel=1e-3)


def test_a_16_3_m_tool_on_a_25_m_radius_sows_a_quarter_too_little_outside_and_half_too_much_inside() -> None:
    """Computed from the circle; the case is common practice, not a published one."""
    inner, outer = machine.turn_dose(25, 16.3)
    assert outer == pytest.approx(0.75, abs=0.005)
    assert inner == pytest.approx(1.48, abs=0.005)


def test_the_worked_factor_width_and_distance_cases_come_out_as_computed() -> None:
    """Common-practice cases, computed: factor typed 5 % high, 16.00 m typed for 16.256 m, distance 4 % long, 5 mph typed and 6 driven."""
    assert machine.dose_ratio(typed_factor_kg_rev=1.05, true_factor_kg_rev=1.0) - 1 == pytest.approx(-0.048, abs=0.0005)
    assert machine.dose_ratio(typed_width_m=16.0, true_width_m=16.256) - 1 == pytest.approx(-0.016, abs=0.0005)
    assert machine.dose_ratio(distance_ratio=1.04) - 1 == pytest.approx(0.04)
    assert machine.dose_ratio(distance_ratio=5 / 6) - 1 == pytest.approx(-0.17, abs=0.005)


def test_fan_laws_of_an_exercise_whose_author_is_not_known() -> None:
    """6000 cfm, 4 in, 6 hp at 2000 rpm turned down to 1500: 4500, 2.25, 2.53. Not counted as a published figure."""
    point = machine.fan_laws(6000, 4, 6, speed_ratio=0.75)
    assert (point.flow, point.pressure, round(point.power, 2)) == (4500, 2.25, 2.53)


def test_an_examination_option_prints_108_32_for_108_23_kg_ha() -> None:
    """Nine rows of 20 cm, wheel 0.5 m, two wheel turns to a roller turn, 6.8 g a roller turn: two digits are swapped in print."""
    rate = machine.ground_drive_rate(9 * 6.8e-3, 0.5, machine.rolled_distance(0.5), 1.8)
    assert rate == pytest.approx(108.23, abs=0.005)
    assert not math.isclose(rate, 108.32, abs_tol=0.05)
