"""Inverses, monotony and round trips of agronomy; units against an independent library."""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand import agronomy
from evenstand.base.units import from_metric, to_metric

quick = settings(max_examples=80, deadline=None, derandomize=True)

plants = st.floats(1, 2000)
kernels = st.floats(0.5, 600)
shares = st.floats(0.05, 1.0)
rows = st.floats(0.05, 1.0)
rates = st.floats(0.5, 400)


@quick
@given(plants, kernels, shares)
def test_sowing_for_a_stand_and_reading_it_back_is_a_round_trip(target: float, tkw: float, alive: float) -> None:
    rate = agronomy.seeding_rate(target, tkw, alive)
    assert agronomy.expected_stand(rate, tkw, alive) == pytest.approx(target)


@quick
@given(plants, kernels, shares)
def test_the_rate_is_the_seeds_needed_by_weight(target: float, tkw: float, alive: float) -> None:
    seeds = agronomy.seeds_needed(target, alive)
    assert agronomy.seed_mass_rate(seeds, tkw) == pytest.approx(agronomy.seeding_rate(target, tkw, alive))
    assert agronomy.seeds_sown(agronomy.seed_mass_rate(seeds, tkw), tkw) == pytest.approx(seeds)


@quick
@given(plants, kernels, shares, st.floats(1.001, 3))
def test_a_rate_rises_with_plants_and_kernels_and_falls_with_survival(target: float, tkw: float, alive: float, factor: float) -> None:
    base = agronomy.seeding_rate(target, tkw, alive)
    assert agronomy.seeding_rate(target * factor, tkw, alive) == pytest.approx(base * factor)
    assert agronomy.seeding_rate(target, tkw * factor, alive) == pytest.approx(base * factor)
    assert agronomy.seeding_rate(target, tkw, alive / factor) == pytest.approx(base * factor)


@quick
@given(st.floats(0.3, 1), st.floats(0, 0.25), st.sampled_from(agronomy.METHODS))
def test_survival_stays_a_share_and_falls_with_mortality(germination: float, mortality: float, method: str) -> None:
    alive = agronomy.survival(germination, mortality, method=method)  # type: ignore[arg-type]
    worse = agronomy.survival(germination, mortality + 0.01, method=method)  # type: ignore[arg-type]
    assert 0 < worse < alive <= 1


@quick
@given(plants, rows)
def test_row_and_area_densities_are_inverses(density: float, spacing: float) -> None:
    assert agronomy.stand_from_row(agronomy.seeds_per_metre(density, spacing), spacing) == pytest.approx(density)


@quick
@given(st.floats(0.05, 3))
def test_a_hoop_by_its_width_and_by_its_girth_is_one_hoop(diameter: float) -> None:
    assert agronomy.hoop_area_from_girth(math.pi * diameter) == pytest.approx(agronomy.hoop_area(diameter))


@quick
@given(kernels)
def test_seeds_in_a_kilogram_and_kernel_weight_are_inverses(tkw: float) -> None:
    assert agronomy.tkw_from_seeds_per_kg(agronomy.seeds_per_kg(tkw)) == pytest.approx(tkw)


@quick
@given(rates, st.floats(1, 500), rows, st.integers(1, 40))
def test_what_is_caught_from_rows_gives_back_the_rate(rate: float, length: float, spacing: float, count: int) -> None:
    area_m2 = agronomy.row_length_for_area(length * spacing, spacing) * spacing * count
    assert agronomy.rate_from_row_catch(rate * area_m2 / 1e4, length, spacing, count) == pytest.approx(rate)


@quick
@given(rates, st.floats(0.01, 1))
def test_nutrient_and_product_are_inverses(nutrient: float, fraction: float) -> None:
    assert agronomy.nutrient_in_product(agronomy.product_for_nutrient(nutrient, fraction), fraction) == pytest.approx(nutrient)


@quick
@given(st.dictionaries(st.sampled_from(["a", "b", "c", "d"]), rates, min_size=1))
def test_all_that_is_spread_is_somewhere_in_the_sum(amounts: dict[str, float]) -> None:
    """Products whose shares add up to one supply as much as was spread."""
    analyses = {name: {"N": 0.3, "P2O5": 0.2, "rest": 0.5} for name in amounts}
    assert sum(agronomy.nutrients_supplied(amounts, analyses).values()) == pytest.approx(sum(amounts.values()))


@pytest.mark.parametrize(("a", "b"), [("P", "P2O5"), ("K", "K2O"), ("S", "SO4"), ("Mg", "MgO"), ("N", "NH3"), ("KCl", "K2O")])
def test_nutrient_factors_there_and_back_are_one(a: str, b: str) -> None:
    assert agronomy.nutrient_factor(a, b) * agronomy.nutrient_factor(b, a) == pytest.approx(1)


@quick
@given(st.lists(st.integers(0, 200), min_size=2, max_size=12), st.floats(0.1, 2), st.floats(0.5, 0.99))
def test_a_stand_lies_within_its_interval_and_scales_with_the_area(counts: list[int], area: float, confidence: float) -> None:
    stand = agronomy.stand_from_counts(counts, area, confidence=confidence)
    assert 0 <= stand.low <= stand.plants_m2 * (1 + 1e-12)
    assert stand.plants_m2 <= stand.high * (1 + 1e-12)
    double = agronomy.stand_from_counts(counts, 2 * area, confidence=confidence)
    assert (double.plants_m2, double.low, double.high) == (
        pytest.approx(stand.plants_m2 / 2),
        pytest.approx(stand.low / 2),
        pytest.approx(stand.high / 2),
    )


@quick
@given(st.lists(st.integers(1, 200), min_size=2, max_size=12))
def test_more_confidence_makes_a_wider_interval(counts: list[int]) -> None:
    narrow = agronomy.stand_from_counts(counts, 0.25, confidence=0.8)
    wide = agronomy.stand_from_counts(counts, 0.25, confidence=0.95)
    assert wide.low <= narrow.low
    assert wide.high > narrow.high
    assert wide.counts_needed >= narrow.counts_needed


@quick
@given(st.floats(0.01, 1), st.floats(0.05, 1))
def test_seedbed_utilisation_is_a_share_of_the_row(part: float, spacing: float) -> None:
    assert agronomy.seedbed_utilisation(min(part * spacing, spacing), spacing) == pytest.approx(part)


@quick
@given(plants, kernels, shares)
def test_pint_gives_the_same_pounds_an_acre(target_ft2: float, tkw: float, alive: float) -> None:
    """The independent library's acre is the US survey acre: areas go through metres on both sides."""
    registry = _registry()
    seeds = registry.Quantity(target_ft2, "1/foot**2") / alive
    metric = (seeds * registry.Quantity(tkw / 1000, "gram")).to("kilogram/meter**2").magnitude
    yard = registry.Quantity(1, "yard").to("meter").magnitude
    pounds_acre = metric * 4840 * yard**2 / registry.Quantity(1, "pound").to("kilogram").magnitude
    ours = from_metric(agronomy.seeding_rate(to_metric(target_ft2, "stand", "plants/ft²"), tkw, alive), "rate", "lb/ac")
    assert ours == pytest.approx(pounds_acre, rel=1e-12)


@quick
@given(plants, rows)
def test_pint_gives_the_same_plants_a_foot_of_row(density: float, spacing: float) -> None:
    registry = _registry()
    theirs = (registry.Quantity(density, "1/meter**2") * registry.Quantity(spacing, "meter")).to("1/foot").magnitude
    assert from_metric(agronomy.seeds_per_metre(density, spacing), "seeds_row", "seeds/ft") == pytest.approx(theirs, rel=1e-12)


def _registry() -> pint.UnitRegistry:
    global _REGISTRY
    if _REGISTRY is None:
        _REGISTRY = pint.UnitRegistry()
    return _REGISTRY


_REGISTRY: pint.UnitRegistry | None = None
