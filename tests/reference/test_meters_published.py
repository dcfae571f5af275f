"""Published cases of meters, rows and wheels, in the units they were printed in and in metric."""

from __future__ import annotations

import pytest

from evenstand import machine
from evenstand.base.units import ACRE_M2, FOOT_M, INCH_M, to_metric
from evenstand.machine import SegmentSet


@pytest.mark.parametrize(("mph", "km_h", "seconds"), [(3, 4.828032, 45), (4, 6.437376, 34), (5, 8.04672, 27), (6, 9.656064, 23)])
def test_a_speed_check_table_seconds_over_200_ft(mph: float, km_h: float, seconds: float) -> None:
    assert machine.course_time(200 * FOOT_M, to_metric(mph, "speed", "mph")) == pytest.approx(seconds, abs=0.5)
    assert machine.course_time(60.96, km_h / 3.6) == pytest.approx(seconds, abs=0.5)


def test_iowa_agronomy_212_200000_seeds_an_acre_on_15_inch_are_5_74_a_foot() -> None:
    seeds_m2 = 200_000 / ACRE_M2
    spacing = machine.seed_spacing(10 * seeds_m2, 1000, 15 * INCH_M)  # seed of a gram each
    assert FOOT_M / spacing == pytest.approx(5.74, abs=0.005)
    assert 1 / spacing == pytest.approx(5.74 / 0.3048, abs=0.02)


def test_gate_examination_100_kg_ha_of_40_g_on_20_cm_are_50_seeds_a_metre() -> None:
    assert machine.seed_spacing(100, 40, 0.20) == pytest.approx(1 / 50)


@pytest.mark.parametrize(("row_in", "feet"), [(48, 85), (46, 89), (44, 93), (42, 97)])
def test_north_carolina_a_row_of_that_length_is_a_128th_of_an_acre(row_in: float, feet: float) -> None:
    area_ha = machine.row_area(1, row_in * INCH_M, feet * FOOT_M)
    assert ACRE_M2 / 1e4 / area_ha == pytest.approx(128, abs=0.5)
    assert area_ha == pytest.approx(0.404686 / 128, rel=0.004)


def test_southeast_extension_text_24_openers_on_7_5_inch_feed_15_feet_and_2178_square_feet() -> None:
    feed = machine.meter_feed([SegmentSet(label="all", segments=1, rows=24)], 1.0, 7.5 * INCH_M)
    assert feed.width_m / FOOT_M == pytest.approx(15.0, abs=0.05)
    assert feed.width_m == pytest.approx(4.572)
    assert machine.row_area(24, 7.5 * INCH_M, 145.2 * FOOT_M) * 1e4 / FOOT_M**2 == pytest.approx(2178, abs=0.5)


def test_a_solved_problem_a_tenth_of_a_hectare_is_354_turns_of_a_1200_mm_wheel() -> None:
    crank = machine.crank_test(1.0, width_m=5 * 0.15, rolled_m=machine.rolled_distance(1.2), gear=1.0, area_ha=0.1)
    assert crank.crank_turns == pytest.approx(354, abs=0.5)


def test_an_examination_planter_turns_its_plate_once_in_1_98_turns_of_the_wheel() -> None:
    """Four rows of 1 m, wheel 0.5 m, ten cells, 8000 seeds/ha. Printed 1.98, cut off from 1.989."""
    gear = machine.ground_drive_gearing(8000, 10, machine.rolled_distance(0.5), 4.0)
    assert int(100 / gear) / 100 == 1.98


def test_an_examination_drill_of_unknown_answer_is_no_check_but_comes_out_as_recomputed() -> None:
    """Nine rows of 200 mm, wheel 400 mm, 6500 mm³ a roller turn, two wheel turns to one of the roller, 850 kg/m³; no answer was printed."""
    one_roller = machine.displacement_factor(6.5e-3, 850, 1.0)
    rate = machine.ground_drive_rate(9 * one_roller, 0.5, machine.rolled_distance(0.4), 9 * 0.2)
    assert rate == pytest.approx(109.92, abs=0.005)


def test_a_run_shut_on_a_head_of_eight_gives_its_siblings_14_per_cent_more_as_computed() -> None:
    """A common-practice case, computed."""
    assert machine.sibling_dose(8, 1) - 1 == pytest.approx(0.14, abs=0.005)


def test_a_fine_roller_of_24_flutes_pulses_each_0_68_m_as_computed() -> None:
    """A common-practice case, computed: 7.8 rpm at 7.6 km/h."""
    p = machine.seed_pulses(5, 7.6 / 3.6, 7.8 / 60, 24, tkw_g=4.8, row_spacing_m=0.254)
    assert p.pulse_m == pytest.approx(0.68, abs=0.005)
