"""Published cases of seeding, depth, lateness and reseeding, named after their source, in the units of the print and in metric."""

from __future__ import annotations

import math

import pytest

from evenstand import agronomy
from evenstand.base.estimate import Est
from evenstand.base.units import from_metric, read_quantity, to_metric


def test_ndsu_wheat_ten_days_late_loses_15_per_cent_and_is_sown_a_tenth_thicker() -> None:
    million = to_metric(1.25e6, "seeds_area", "seeds/ac")
    late = agronomy.late_seeding("wheat", 10, million)
    assert late.loss == pytest.approx(0.15)
    assert late.always_of_first_m2 is not None
    assert from_metric(late.always_of_first_m2, "seeds_area", "seeds/ac") == pytest.approx(1.375e6)
    assert late.always_of_first_m2 == pytest.approx(339.8, abs=0.05)


def test_ndsu_caps_the_rate_at_1_6_million_seeds_an_acre() -> None:
    late = agronomy.late_seeding("barley", 60, to_metric(1.2e6, "seeds_area", "seeds/ac"))
    assert late.day_on_day_m2 is not None
    assert from_metric(late.day_on_day_m2, "seeds_area", "seeds/ac") == pytest.approx(1.6e6)
    assert late.day_on_day_m2 == pytest.approx(395.4, abs=0.05)


def test_saskatchewan_2021_sows_pea_at_1_2_to_3_2_inches() -> None:
    window = next(r for r in agronomy.depth_windows("field pea") if r.source == "sk-depth-2021")
    assert (from_metric(window.low, "depth", "in"), from_metric(window.high, "depth", "in")) == (pytest.approx(1.2), pytest.approx(3.2))
    assert (window.low, window.high) == (pytest.approx(0.0305, abs=5e-5), pytest.approx(0.0813, abs=5e-5))
    assert agronomy.doubtful_numbers("pea", depth_m=read_quantity("2 in", "depth")).doubts == ()


def test_south_dakota_waits_for_40_degrees_fahrenheit() -> None:
    wait = next(r for r in agronomy.soil_temperatures("spring wheat") if r.source == "sd-soil-temperature")
    assert from_metric(wait.low, "temperature", "°F") == pytest.approx(40)
    assert wait.low == pytest.approx(4.44, abs=0.005)


def test_penn_state_20_plants_a_square_foot_keep_90_to_95_per_cent() -> None:
    counts = [20, 20, 20, 20, 20]  # a square foot each: the interval of random scatter is wide, the stand itself is not
    stand = agronomy.stand_from_counts(counts, to_metric(1, "area", "ft2") * 1e4)
    assert from_metric(stand.plants_m2, "stand", "plants/ft²") == pytest.approx(20)
    assert stand.plants_m2 == pytest.approx(215.3, abs=0.05)
    (advice,) = agronomy.keep_or_reseed("wheat", stand, publisher="psu").advice
    assert advice.at_stand == "weigh"
    assert advice.potential_low is not None and advice.potential_low <= 0.90
    assert advice.potential_high is not None and advice.potential_high >= 0.95


def test_canola_council_100_plants_a_square_metre_are_within_the_fall_guides_ideal() -> None:
    """25 plants a metre on 25 cm rows are 100 plants/m², 9.3 a square foot; the fall guide's ideal is 7 to 14."""
    stand = agronomy.stand_from_counts([25, 25, 25, 25, 25, 25, 25, 25], agronomy.row_sample_area(1, 0.25))
    assert stand.plants_m2 == pytest.approx(100)
    assert from_metric(stand.plants_m2, "stand", "plants/ft²") == pytest.approx(9.29, abs=0.005)
    (advice,) = agronomy.keep_or_reseed("canola", stand, publisher="canola-fall").advice
    assert advice.verdict == "keep"


def test_irish_barley_300_plants_hang_on_the_survival() -> None:
    plan = agronomy.seeding_plan(Est(value=51.9, sd=0.5), Est(value=0.85, sd=0.05), plants_m2=300)
    assert plan.rate_kg_ha.value == pytest.approx(183, abs=0.5)
    assert from_metric(plan.rate_kg_ha.value, "rate", "lb/ac") == pytest.approx(163.4, abs=0.05)
    assert plan.stand.sd == pytest.approx(300 * math.hypot(0.5 / 51.9, 0.05 / 0.85), rel=1e-4)
    assert plan.most == "the survival"


def test_colorado_t_of_26_degrees_of_freedom_is_1_315() -> None:
    """Two samples of 16 and 12 as two wings: a pooled two-sample t; the print's own pooling weighs by squared degrees of freedom."""
    left = [21.88 + 4.81 * math.sqrt(15 / 16) * (1 if i % 2 else -1) for i in range(16)]
    right = [22.67 + 4.21 * math.sqrt(11 / 12) * (1 if i % 2 else -1) for i in range(12)]
    readings = [agronomy.DepthReading(depth_m=v / 100, wing="left") for v in left]
    readings += [agronomy.DepthReading(depth_m=v / 100, wing="right") for v in right]
    effect = agronomy.depth_report(readings, confidence=0.80).effects[0]
    assert (effect.high_m - effect.difference_m) / effect.sd_m == pytest.approx(1.315, abs=0.0005)
    assert 100 * effect.sd_m == pytest.approx(1.7436, abs=0.00005)
    assert not effect.told


def test_illinois_wheel_counts_150_plants_and_one_place_to_5_to_10_acres() -> None:
    places = agronomy.places_to_count("wheel", to_metric(100, "area", "ac"))
    assert (places.least, places.most) == (10, 20)
    stand = agronomy.stand_from_wheel([to_metric(100, "distance", "ft")], to_metric(30, "width", "in"))
    assert from_metric(stand.plants_m2, "stand", "plants/ac") == pytest.approx(150 / 100 * 17_424)  # row feet in an acre: Penn State
