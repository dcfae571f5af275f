"""Published cases of agronomy, named after their source, in the unit system they were printed in and in metric."""

from __future__ import annotations

import math

import pytest

from evenstand import agronomy
from evenstand.base.units import INCH_M, from_metric, read_quantity, to_metric


def test_canola_council_2010_ten_plants_a_foot_need_7_7_lb_ac() -> None:
    plants = read_quantity("10 plants/ft2", "stand")
    rate = agronomy.seeding_rate(plants, 4.0, 0.50)
    assert from_metric(rate, "rate", "lb/ac") == pytest.approx(7.7, abs=0.05)
    assert rate == pytest.approx(8.6, abs=0.06)  # the same in kg/ha


def test_irish_barley_300_plants_need_183_kg_ha() -> None:
    assert agronomy.seeding_rate(300, 51.9, 0.85) == pytest.approx(183, abs=0.5)


def test_kentucky_20_gram_counts_give_seeds_per_pound_and_tkw() -> None:
    """University of Kentucky: seeds/lb = count in 20 g times 22.68."""
    tkw = agronomy.tkw_from_count(600, 20)
    assert tkw == pytest.approx(33.3, abs=0.05)
    assert agronomy.seeds_per_kg(tkw) * to_metric(1, "mass", "lb") == pytest.approx(600 * 22.68, abs=600 * 0.005)


def test_canola_council_2014_25_plants_a_metre_on_25_cm_rows_are_100_a_square_metre() -> None:
    assert agronomy.stand_from_row(25, 0.25) == pytest.approx(100)


def test_manitoba_2_inches_on_6_inch_rows_use_33_per_cent() -> None:
    assert 100 * agronomy.seedbed_utilisation(2 * INCH_M, 6 * INCH_M) == pytest.approx(33, abs=0.5)


def test_manitoba_20_lb_of_urea_nitrogen_with_wheat_are_22_kg_ha() -> None:
    limit = agronomy.seed_row_limit("manitoba", "wheat", "medium", agronomy.seedbed_utilisation(1 * INCH_M, 6 * INCH_M))
    assert limit.kg_ha is not None
    assert from_metric(limit.kg_ha, "rate", "lb/ac") == pytest.approx(20)
    assert limit.kg_ha == pytest.approx(22.4, abs=0.05)
    assert limit.source == "manitoba-seed-row-n"


def test_hultgreen_2007_70_lb_of_nitrogen_are_152_lb_of_urea() -> None:
    assert agronomy.product_for_nutrient(70, 0.46) == pytest.approx(152, abs=0.5)


def test_canola_council_2011_double_the_row_spacing_doubles_the_nitrogen_in_a_row() -> None:
    """The rule in words: at the same rate an area, a row twice as far from the next carries twice as much."""
    narrow, wide = (agronomy.seeds_per_metre(1.0, row * INCH_M) for row in (6, 12))
    assert wide == pytest.approx(2 * narrow)


def test_florida_interval_of_nine_plots_runs_from_4_16_to_4_54() -> None:
    """Mean 4.35, standard error 0.266, 8 degrees of freedom, 50 %; the plots are laid out to have exactly these."""
    sd = 0.266 * math.sqrt(9)
    plots = [4.35 - sd, 4.35 + sd] * 4 + [4.35]  # eight squared distances of one sd over 8 degrees of freedom
    stand = agronomy.stand_from_counts(plots, 1.0, confidence=0.50)
    assert stand.low == pytest.approx(4.16, abs=0.005)
    assert stand.high == pytest.approx(4.54, abs=0.005)


def test_virginia_49_8_per_cent_k_is_60_per_cent_k2o() -> None:
    assert 49.8 * agronomy.nutrient_factor("K", "K2O") == pytest.approx(60, abs=0.5)
