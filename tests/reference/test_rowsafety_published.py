"""Published cases of fertilizer with the seed, in the unit they were printed in and in metric."""

from __future__ import annotations

import pytest

from evenstand.agronomy import Placed, judge_placement, product_for_nutrient, row_dose, seed_row_limit
from evenstand.base.units import INCH_M, from_metric, to_metric


def test_canola_council_20_lb_of_phosphate_are_22_kg_ha() -> None:
    limit = seed_row_limit("canola-council", "canola", "medium", 1 / 8, nutrient="P2O5").kg_ha
    assert limit == pytest.approx(22, abs=0.5)
    assert from_metric(limit, "rate", "lb/ac") == pytest.approx(20)  # type: ignore[arg-type]
    assert product_for_nutrient(limit, 0.52) == pytest.approx(to_metric(38.5, "rate", "lb/ac"), rel=0.001)  # type: ignore[arg-type]


def test_canola_council_double_the_row_double_the_nitrogen_in_the_row() -> None:
    """50 lb N an acre on 9 and on 18 inch rows; pounds on a foot of row, kilograms on a metre."""
    near, far = (row_dose(to_metric(50, "rate", "lb/ac"), rows * INCH_M) for rows in (9, 18))
    assert far / near == pytest.approx(2)
    assert near * 0.3048 / 0.45359237 == pytest.approx(50 * (9 / 12) / 43560)


def test_wide_openers_70_lb_of_nitrogen_are_152_lb_of_urea() -> None:
    assert product_for_nutrient(70, 0.46) == pytest.approx(152, abs=0.5)
    assert product_for_nutrient(to_metric(70, "rate", "lb/ac"), 0.46) == pytest.approx(to_metric(152.2, "rate", "lb/ac"), rel=0.001)


@pytest.mark.parametrize(("spread", "row", "pounds"), [(1, 6, 20), (2, 12, 20), (2, 6, 30), (3, 9, 30), (3, 6, 40)])
def test_manitoba_geometries_of_the_same_utilisation_carry_the_same_rate(spread: int, row: int, pounds: int) -> None:
    """Manitoba Agriculture, cereals on medium soil; a placement of exactly that much urea nitrogen is within, a pound more is over."""

    def judged(lb: float) -> str:
        urea = Placed(product="urea", rate_kg_ha=to_metric(lb / 0.46, "rate", "lb/ac"), analysis={"N": 0.46}, placement="seed-row")
        verdict = judge_placement(
            [urea], guideline="manitoba", crop="barley", texture="loam", spread_m=spread * INCH_M, row_spacing_m=row * INCH_M
        )
        return verdict.lines[0].state

    assert (judged(pounds), judged(pounds + 1)) == ("within", "over")


def test_western_canada_1995_40_lb_of_nitrogen_and_potash_together() -> None:
    limit = seed_row_limit("western-canada-1995", "wheat", "", 1 / 6, nutrient="N+K2O").kg_ha
    assert limit == pytest.approx(44.8, abs=0.05)
    assert from_metric(limit, "rate", "lb/ac") == pytest.approx(40)  # type: ignore[arg-type]


def test_saskatchewan_sulphur_20_to_30_kg_ha_is_83_to_125_kg_of_ammonium_sulphate() -> None:
    found = seed_row_limit("saskatchewan-sulphur-2011", "canola", "", 0.15, nutrient="S")
    assert (found.kg_ha, found.high_kg_ha) == (20, 30)
    assert product_for_nutrient(20, 0.24) == pytest.approx(83.3, abs=0.05)
    assert from_metric(20, "rate", "lb/ac") == pytest.approx(17.8, abs=0.05)
