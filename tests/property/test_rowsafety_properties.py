"""Seed-row limits, placements, recipes, batches and humidity: monotony, scale, round trips, both unit systems."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand import agronomy
from evenstand.agronomy import Placed
from evenstand.base.estimate import Est
from evenstand.base.units import from_metric, to_metric

quick = settings(max_examples=80, deadline=None, derandomize=True)

guideline = st.sampled_from(agronomy.guidelines())
crop = st.sampled_from(["wheat", "barley", "canola", "pea", "soybean", "corn", "dry bean", "mustard", "flax"])
nutrient = st.sampled_from(agronomy.NUTRIENTS)
soil = st.sampled_from(["light", "medium", "heavy"])
utilisation = st.floats(0.01, 1.0)
rates = st.floats(1, 300)
rows = st.floats(0.1, 1.0)
_ANALYSES = ({"N": 0.46}, {"N": 0.11, "P2O5": 0.52}, {"N": 0.21, "S": 0.24}, {"K2O": 0.60}, {"P2O5": 0.46})
placed = st.lists(
    st.builds(
        Placed,
        product=st.sampled_from(["a", "b", "c"]),
        rate_kg_ha=rates,
        analysis=st.sampled_from(_ANALYSES),
        placement=st.sampled_from(["seed-row", "side-band", "mid-row", None]),
    ),
    min_size=1,
    max_size=5,
)


@quick
@given(guideline, crop, soil, utilisation, utilisation, nutrient, st.sampled_from(["good", "dry"]), rows)
def test_a_limit_never_rises_when_less_of_the_ground_is_used(
    publisher: str, plant: str, texture: str, a: float, b: float, what: str, moisture: str, spacing: float
) -> None:
    few, many = sorted((a, b))
    less, more = (
        agronomy.seed_row_limit(publisher, plant, texture, sbu, nutrient=what, moisture=moisture, row_spacing_m=spacing).kg_ha
        for sbu in (few, many)
    )
    if less is not None and more is not None:
        assert less <= more


@quick
@given(soil, utilisation)
def test_a_dry_seedbed_halves_or_says_nothing(texture: str, sbu: float) -> None:
    good, dry = (agronomy.seed_row_limit("manitoba", "wheat", texture, sbu, moisture=m).kg_ha for m in ("good", "dry"))
    assert (good is None) == (dry is None)
    if good is not None:
        assert dry == pytest.approx(good / 2)


@quick
@given(guideline, crop, soil, utilisation, nutrient, rows)
def test_dry_never_allows_more(publisher: str, plant: str, texture: str, sbu: float, what: str, spacing: float) -> None:
    good, dry = (
        agronomy.seed_row_limit(publisher, plant, texture, sbu, nutrient=what, moisture=m, row_spacing_m=spacing).kg_ha
        for m in ("good", "dry")
    )
    if dry is not None:
        assert good is not None
        assert dry <= good


@quick
@given(guideline, crop, soil, utilisation, nutrient, rows)
def test_every_answer_has_its_source_and_every_none_its_sentence(
    publisher: str, plant: str, texture: str, sbu: float, what: str, spacing: float
) -> None:
    found = agronomy.seed_row_limit(publisher, plant, texture, sbu, nutrient=what, row_spacing_m=spacing)
    assert found.source if found.kg_ha is not None else found.note
    assert found.high_kg_ha is None or found.high_kg_ha > found.kg_ha  # type: ignore[operator]
    assert ("not published" in found.policy) == (found.kg_ha is None)


@quick
@given(placed, st.floats(0.05, 0.95), rows, st.floats(0.1, 10))
def test_rates_a_factor_larger_ask_for_that_factor_more(products: list[Placed], share: float, spacing: float, factor: float) -> None:
    def judged(scale: float) -> agronomy.PlacementVerdict:
        scaled = [Placed(product=p.product, rate_kg_ha=p.rate_kg_ha * scale, analysis=p.analysis, placement=p.placement) for p in products]
        return agronomy.judge_placement(
            scaled, guideline="manitoba", crop="wheat", texture="medium", spread_m=share * spacing, row_spacing_m=spacing
        )

    for one, many in zip(judged(1.0).lines, judged(factor).lines, strict=True):
        assert many.asked_kg_ha == pytest.approx(factor * one.asked_kg_ha)
        assert many.asked_kg_m == pytest.approx(factor * one.asked_kg_m)  # type: ignore[operator]
        assert many.limit_kg_ha == one.limit_kg_ha


@quick
@given(placed, st.floats(0.05, 0.95), rows)
def test_every_kilogram_of_every_nutrient_is_in_one_line(products: list[Placed], share: float, spacing: float) -> None:
    verdict = agronomy.judge_placement(
        products, guideline="manitoba", crop="wheat", texture="medium", spread_m=share * spacing, row_spacing_m=spacing
    )
    for what in ("N", "P2O5", "K2O", "S"):
        total = sum(p.rate_kg_ha * p.analysis.get(what, 0.0) for p in products)
        assert sum(line.asked_kg_ha for line in verdict.lines if line.nutrient == what) == pytest.approx(total)


@quick
@given(placed, st.floats(0.05, 0.95), rows)
def test_at_the_rate_that_meets_the_limit_it_is_within(products: list[Placed], share: float, spacing: float) -> None:
    sure = [p for p in products if p.placement is not None]
    case = {"guideline": "manitoba", "crop": "wheat", "texture": "medium", "spread_m": share * spacing, "row_spacing_m": spacing}
    verdict = agronomy.judge_placement(sure, **case)  # type: ignore[arg-type]
    for line in verdict.lines:
        if line.scale is None or line.scale == 0:
            continue
        scaled = [Placed(product=p.product, rate_kg_ha=p.rate_kg_ha * line.scale, analysis=p.analysis, placement=p.placement) for p in sure]
        again = agronomy.judge_placement(scaled, **case)  # type: ignore[arg-type]
        found = next(entry for entry in again.lines if (entry.nutrient, entry.placement) == (line.nutrient, line.placement))
        assert found.state == "within"
        assert found.asked_kg_ha == pytest.approx(line.limit_kg_ha)


@quick
@given(rates, rows, st.floats(1.1, 4))
def test_a_metre_of_row_scales_with_the_spacing_in_both_unit_systems(rate: float, spacing: float, factor: float) -> None:
    assert agronomy.row_dose(rate, factor * spacing) == pytest.approx(factor * agronomy.row_dose(rate, spacing))
    pounds_ac, feet = from_metric(rate, "rate", "lb/ac"), spacing / 0.3048
    pounds_foot = pounds_ac * feet / 43560
    assert agronomy.row_dose(rate, spacing) == pytest.approx(pounds_foot * 0.45359237 / 0.3048)


@quick
@given(soil, utilisation)
def test_limits_are_whole_pounds_an_acre(texture: str, sbu: float) -> None:
    limit = agronomy.seed_row_limit("manitoba", "oat", texture, sbu).kg_ha
    if limit is not None:
        pounds = from_metric(limit, "rate", "lb/ac")
        assert pounds == pytest.approx(round(pounds))
        assert to_metric(pounds, "rate", "lb/ac") == pytest.approx(limit)


@quick
@given(st.floats(10, 20000), st.floats(1, 1000), st.floats(0, 1000), st.floats(20, 2000))
def test_a_recipe_read_back_gives_its_label_rates(seed: float, dose: float, water: float, batch: float) -> None:
    mix = agronomy.treatment_mix(seed, {"a": dose}, water_ml_100kg=water, batch_kg=batch)
    assert mix.litres["a"] * 1000 / (seed / 100) == pytest.approx(dose)
    assert mix.batches * mix.batch_kg == pytest.approx(seed)
    assert mix.batch_kg <= batch * (1 + 1e-9)
    assert mix.batches * mix.litres_batch["a"] == pytest.approx(mix.litres["a"])
    again = agronomy.treatment_mix(seed, {"a": dose}, slurry_ml_100kg=mix.slurry_ml_100kg)
    assert again.water_l == pytest.approx(mix.water_l, abs=1e-9 * seed)


@quick
@given(st.floats(0.5, 600), st.floats(0, 1), st.floats(20, 300))
def test_treated_seed_at_the_treated_rate_is_as_many_seeds(tkw: float, added: float, rate: float) -> None:
    seeds = agronomy.treated_rate(rate, added) / agronomy.treated_tkw(tkw, added)
    assert seeds == pytest.approx(rate / tkw)


@quick
@given(st.floats(0.01, 2), rows)
def test_granular_inoculant_there_and_back(dose: float, spacing: float) -> None:
    assert agronomy.granular_dose(agronomy.granular_rate(dose, spacing), spacing) == pytest.approx(dose)
    assert agronomy.row_dose(agronomy.granular_rate(dose, spacing), spacing) * 1000 == pytest.approx(dose)


@quick
@given(st.floats(5, 200), st.floats(0, 0.2), st.floats(60, 250), st.floats(0, 0.1), st.floats(0.02, 0.5), st.floats(1.1, 5))
def test_a_farm_a_factor_larger_treats_a_factor_more(
    area: float, area_cv: float, rate: float, rate_cv: float, chance: float, factor: float
) -> None:
    def treated(scale: float) -> agronomy.TreatTonight:
        return agronomy.treat_tonight(
            Est(value=area * scale, sd=area * area_cv * scale), Est(value=rate, sd=rate * rate_cv), chance_short=chance
        )

    one, many = treated(1.0), treated(factor)
    assert many.ideal_kg == pytest.approx(factor * one.ideal_kg)
    assert many.choice.left_kg == pytest.approx(factor * one.choice.left_kg, abs=1e-6)


@quick
@given(st.floats(0.02, 0.3), st.floats(0.31, 0.9))
def test_a_smaller_chance_of_running_short_never_treats_less(small: float, large: float) -> None:
    careful, careless = (
        agronomy.treat_tonight(Est(value=40, sd=3), Est(value=120, sd=3), batch_kg=250, chance_short=c).choice for c in (small, large)
    )
    assert careful.treat_kg >= careless.treat_kg
    assert careful.left_kg >= careless.left_kg


@quick
@given(st.sampled_from(["urea", "map", "potash", "ammonium-nitrate"]), st.floats(0, 1), st.floats(0, 1))
def test_damper_air_never_keeps_better(product: str, a: float, b: float) -> None:
    order = ["holds", "cannot-tell", "doubtful", "does-not-hold"]
    dry, damp = sorted((a, b))
    assert order.index(agronomy.keeps_overnight(product, dry).state) <= order.index(agronomy.keeps_overnight(product, damp).state)


@quick
@given(st.lists(st.floats(0, 1), min_size=1, max_size=24))
def test_a_night_is_judged_by_its_dampest_hour(hours: list[float]) -> None:
    assert agronomy.keeps_overnight("urea", hours).state == agronomy.keeps_overnight("urea", max(hours)).state
