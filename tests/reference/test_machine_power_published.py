"""Published cases of draft, power, fuel, days and money, in the unit system they were printed in and in metric."""

from __future__ import annotations

import pytest

from evenstand import machine
from evenstand.base.units import ACRE_M2, FOOT_M, LB_KG, MILE_M, US_GALLON_L
from evenstand.machine.powering import HORSEPOWER_KW, STANDARD_GRAVITY

POUND_N = LB_KG * STANDARD_GRAVITY
ACRE_HA = ACRE_M2 / 1e4


def test_field_and_solie_chisel_plough_draft_is_right_and_its_power_is_not() -> None:
    """Printed 68,512.5 N and 113 kW at 10 km/h; the power is 190.3 kW."""
    draft = machine.draft_force(0.7, 91, 10 / 3.6, 45, b_n=5.4, depth_cm=15)
    assert draft == pytest.approx(68_512.5, abs=0.05)
    power = machine.drawbar_power(draft, 10 / 3.6)
    assert power == pytest.approx(190.3, abs=0.05)
    pounds, mph = draft / POUND_N, 10 / 3.6 / (MILE_M / 3600)
    assert pounds * mph / 375 == pytest.approx(power / HORSEPOWER_KW, rel=1e-9)


def test_iowa_state_a3_26_and_a_lecture_divide_pounds_times_mph_by_375() -> None:
    watts = machine.drawbar_power(12_000 * POUND_N, 5 * MILE_M / 3600) * 1000
    assert watts / 1000 / HORSEPOWER_KW == pytest.approx(12_000 * 5 / 375, rel=1e-9)
    assert watts == pytest.approx(160 * HORSEPOWER_KW * 1000, rel=1e-9)


@pytest.mark.parametrize(
    ("drive", "surface", "printed"),
    [("two-wheel", "soft", 0.55), ("front-assist", "tilled", 0.73), ("four-wheel", "firm", 0.78), ("tracks", "tilled", 0.80)],
)
def test_arizona_power_transfer(drive: str, surface: str, printed: float) -> None:
    assert machine.drawbar_share(drive, surface) == printed  # type: ignore[arg-type]
    need = machine.power_need(50_000, 2.0, drive=drive, surface=surface)  # type: ignore[arg-type]
    assert need.pto_kw == pytest.approx(100 / printed)
    assert need.pto_kw / need.engine_kw == pytest.approx(0.90)


def test_collins_and_fowler_1995_four_per_cent_a_km_h_and_twenty_a_centimetre() -> None:
    assert machine.opener_draft_ratio(speed_change_m_s=1 / 3.6).ratio == pytest.approx(1.04, abs=0.005)
    assert machine.opener_draft_ratio(depth_change_m=0.01).ratio == pytest.approx(1.20, abs=0.005)
    assert machine.opener_draft_ratio(soil="to-heavy-clay").ratio == pytest.approx(1.24, abs=0.005)
    faster = machine.opener_draft_ratio(speed_change_m_s=MILE_M / 3600)
    assert faster.low < faster.ratio < faster.high


def test_virginia_442_073_average_diesel_is_0_223_l_kwh_or_0_044_gal_hp_h() -> None:
    assert machine.average_diesel(1.0) == pytest.approx(0.223, abs=0.0005)
    assert machine.average_diesel(HORSEPOWER_KW) / US_GALLON_L == pytest.approx(0.044, abs=0.0005)


def test_michigan_state_form_is_the_older_edition_with_rounded_coefficients() -> None:
    """0.52 X + 0.77 - 0.04 sqrt(738 X + 173) gal/hp-h against the metric form: 0.6 % less at 0.6 of the load."""
    assert machine.diesel_us_rounded(0.6) / machine.diesel_d497_4(0.6) == pytest.approx(1 - 0.006, abs=0.0005)


def test_iowa_state_a3_25_1600_acres_in_8_3_days_are_192_8_acres_a_day() -> None:
    need = machine.needed_day_area(1600 * ACRE_HA, 8.3)
    assert need / ACRE_HA == pytest.approx(192.8, abs=0.05)
    place = machine.published_share("iowa-north-west")
    left = machine.deadline(1600 * ACRE_HA, 100.0, 14, place.share)
    assert left.needed_day_ha == pytest.approx(192.8 * ACRE_HA, abs=0.05 * ACRE_HA)


def test_illinois_48_per_cent_of_41_days_are_20() -> None:
    assert machine.suitable_days(41, 0.48) == pytest.approx(20, abs=0.5)


def test_iowa_state_a3_29_salvage_of_180_horsepower() -> None:
    assert machine.salvage_value(150_000, 0.23) == pytest.approx(34_500)


def test_missouri_ammonia_applicator_of_5_5_horsepower_a_foot() -> None:
    applicator = next(f for f in machine.published_power(width_m=40 * FOOT_M) if f.key == "ammonia-applicator")
    assert applicator.low_kw / HORSEPOWER_KW == pytest.approx(40 * 5.5)
