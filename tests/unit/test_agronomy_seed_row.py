"""Fertilizer in the seed row: the rule of matching a printed utilisation, and silence where nothing is printed."""

from __future__ import annotations

import math
import re
import tomllib
from importlib import resources

import pytest

from evenstand.agronomy import (
    NUTRIENTS,
    cut_limit,
    guideline_name,
    guidelines,
    opener_kind,
    opener_utilisation,
    openers,
    published_nutrients,
    row_dose,
    seed_row_limit,
    seedbed_utilisation,
)
from evenstand.base.errors import InputError, MissingError, RangeError
from evenstand.base.units import INCH_M, to_metric


def lb(value: float) -> float:
    return to_metric(value, "rate", "lb/ac")


def test_a_band_wider_than_the_rows_is_refused() -> None:
    assert seedbed_utilisation(0.3, 0.3) == 1
    with pytest.raises(RangeError):
        seedbed_utilisation(0.31, 0.30)


@pytest.mark.parametrize(
    ("sbu", "printed"), [(1 / 6, 0.17), (0.165, 0.17), (0.175, 0.17), (1 / 3, 0.33), (1 / 12, 0.08), (0.5, 0.5), (0.075, 0.08)]
)
def test_within_half_a_point_it_is_the_printed_one(sbu: float, printed: float) -> None:
    limit = seed_row_limit("manitoba", "wheat", "medium", sbu)
    assert limit.printed_sbu == pytest.approx(printed)
    assert limit.policy == ""


@pytest.mark.parametrize(
    ("sbu", "printed", "pounds"), [(0.1642, 0.11, 15), (0.20, 0.17, 20), (0.30, 0.25, 25), (0.44, 0.33, 30), (0.9, 0.5, 40)]
)
def test_between_printed_ones_the_lower_is_taken_and_called_our_policy(sbu: float, printed: float, pounds: float) -> None:
    limit = seed_row_limit("manitoba", "wheat", "medium", sbu)
    assert limit.printed_sbu == pytest.approx(printed)
    assert limit.kg_ha == pytest.approx(lb(pounds))
    assert "our policy" in limit.policy


def test_below_the_lowest_printed_there_is_no_limit() -> None:
    limit = seed_row_limit("manitoba", "wheat", "heavy", 0.0749)
    assert (limit.kg_ha, limit.printed_sbu) == (None, None)
    assert "not published" in limit.policy
    assert "8 %" in limit.note


def test_more_of_the_ground_never_allows_less() -> None:
    for crop in ("wheat", "canola"):
        for texture in ("light", "medium", "heavy"):
            found = [seed_row_limit("manitoba", crop, texture, s / 1000).kg_ha for s in range(75, 1001)]
            known = [f for f in found if f is not None]
            assert known == sorted(known)


def test_heavier_soil_never_allows_less_with_cereals() -> None:
    for sbu in (0.08, 0.11, 0.17, 0.22, 0.25, 0.33, 0.5):
        rates = [seed_row_limit("manitoba", "oat", texture, sbu).kg_ha for texture in ("light", "medium", "heavy")]
        assert rates == sorted(rates)  # type: ignore[type-var]


@pytest.mark.parametrize("crop", ["wheat", "barley", "oats", "Oat", "winter wheat", "rye", "durum"])
def test_cereals_share_one_table(crop: str) -> None:
    assert seed_row_limit("manitoba", crop, "light", 1 / 6).kg_ha == pytest.approx(lb(10))


@pytest.mark.parametrize(
    ("word", "texture"), [("clay loam", "medium"), ("Loam", "medium"), ("sandy_loam", "light"), ("heavy clay", "heavy"), ("clay", "heavy")]
)
def test_soil_words_are_understood(word: str, texture: str) -> None:
    assert seed_row_limit("manitoba", "wheat", word, 0.5) == seed_row_limit("manitoba", "wheat", texture, 0.5)


def test_a_dry_seedbed_halves_urea_and_says_so() -> None:
    good = seed_row_limit("manitoba", "wheat", "medium", 1 / 6)
    dry = seed_row_limit("manitoba", "wheat", "medium", 1 / 6, moisture="dry")
    assert dry.kg_ha == pytest.approx(good.kg_ha / 2)  # type: ignore[operator]
    assert "Halved" in dry.note
    assert seed_row_limit("manitoba", "wheat", "medium", 1 / 6, moisture="excellent") == good


def test_zero_is_a_limit_not_a_gap() -> None:
    limit = seed_row_limit("manitoba", "wheat", "light", 1 / 12)
    assert limit.kg_ha == 0
    assert limit.policy == ""


def test_cells_that_were_not_read_give_no_limit_even_between_read_ones() -> None:
    for texture, sbu in (("medium", 0.33), ("medium", 0.08), ("heavy", 0.17)):
        limit = seed_row_limit("manitoba", "canola", texture, sbu)
        assert limit.kg_ha is None
        assert "not been read" in limit.note
        assert limit.source == "manitoba-seed-row-canola"


@pytest.mark.parametrize("crop", ["pea", "flax", "quinoa", "corn"])
def test_crops_without_a_nitrogen_table_give_no_limit(crop: str) -> None:
    limit = seed_row_limit("manitoba", crop, "medium", 0.5)
    assert limit.kg_ha is None
    assert crop in limit.note


def test_phosphate_holds_for_its_own_spread_and_rows() -> None:
    assert seed_row_limit("manitoba", "canola", "medium", 1 / 6, nutrient="P2O5").kg_ha == pytest.approx(lb(20))
    seven = seed_row_limit("manitoba", "canola", "medium", 1 / 7, nutrient="P2O5")
    assert seven.policy == ""
    assert seven.kg_ha == pytest.approx(lb(20))


def test_phosphate_on_more_ground_keeps_the_printed_rate_as_our_policy() -> None:
    wide = seed_row_limit("manitoba", "canola", "medium", 0.33, nutrient="P2O5")
    assert wide.kg_ha == pytest.approx(lb(20))
    assert "our policy" in wide.policy


def test_phosphate_on_less_ground_or_in_dry_soil_is_not_published() -> None:
    assert seed_row_limit("manitoba", "canola", "medium", 0.10, nutrient="P2O5").kg_ha is None
    assert seed_row_limit("manitoba", "canola", "medium", 1 / 6, nutrient="P2O5", moisture="dry").kg_ha is None
    assert seed_row_limit("manitoba", "quinoa", "medium", 1 / 6, nutrient="P2O5").kg_ha is None


def test_soybean_carries_its_warning_about_wide_rows() -> None:
    assert "15 inches" in seed_row_limit("manitoba", "soybean", "medium", 1 / 6, nutrient="P2O5").note


@pytest.mark.parametrize(
    ("arguments", "options", "complaint"),
    [
        (("elsewhere", "wheat", "medium", 0.2), {}, "manitoba"),
        (("manitoba", "wheat", "peat", 0.2), {}, "texture"),
        (("manitoba", "wheat", "", 0.2), {}, "texture"),
        (("manitoba", "wheat", "medium", 0.2), {"nutrient": "Mg"}, "N, urea-N, P2O5, K2O, S"),
        (("manitoba", "wheat", "medium", 0.2), {"moisture": "wet"}, "excellent, good, dry"),
    ],
)
def test_unknown_words_are_refused_with_the_known_ones(arguments, options, complaint: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match=complaint):
        seed_row_limit(*arguments, **options)


@pytest.mark.parametrize("sbu", [0.0, -0.1, 1.01, 17.0, math.nan])
def test_a_utilisation_in_per_cent_is_refused(sbu: float) -> None:
    with pytest.raises(RangeError):
        seed_row_limit("manitoba", "wheat", "medium", sbu)


def test_the_guidelines_are_listed_with_their_publishers() -> None:
    assert guidelines()[0] == "manitoba"
    assert len(guidelines()) == 14
    assert len({guideline_name(g) for g in guidelines()}) == 14
    with pytest.raises(InputError, match="manitoba"):
        guideline_name("elsewhere")


def test_publishers_are_never_mixed() -> None:
    """A crop that only one publisher holds is answered by that one alone, and every answer names a source of its own set."""
    raw = tomllib.loads(resources.files("evenstand.reference").joinpath("seed_row.toml").read_text(encoding="utf-8"))
    for guideline in guidelines():
        own = set(re.findall(r"'source': '([^']+)'", str(raw[guideline])))
        for crop in ("wheat", "canola", "soybean", "corn", "pea", "mustard"):
            for nutrient in NUTRIENTS:
                found = seed_row_limit(guideline, crop, "medium", 0.17, nutrient=nutrient, row_spacing_m=0.15, opener="double-disc")
                assert found.source in {"", *own}
                assert found.note or found.kg_ha is not None


def test_an_answer_outside_the_conditions_is_none_and_quotes_what_is_published() -> None:
    narrow = seed_row_limit("canola-council", "canola", "medium", 0.05, nutrient="P2O5")
    assert narrow.kg_ha is None
    assert "20 to 25 lb/ac (22.4 to 28 kg/ha) P2O5 with canola, a 1 in (25 mm) spread, rows of 7 to 9 in" in narrow.note
    assert "5.0 %, below its 11 %" in narrow.note
    dry = seed_row_limit("canola-council", "canola", "medium", 0.12, nutrient="P2O5", moisture="dry")
    assert dry.kg_ha is None
    assert "dry" in dry.note


def test_a_printed_range_gives_its_lower_end_and_says_so() -> None:
    limit = seed_row_limit("north-dakota-1995", "wheat", "medium", 1 / 6)
    assert (limit.kg_ha, limit.high_kg_ha, limit.printed_sbu) == (pytest.approx(lb(20)), pytest.approx(lb(30)), 0.17)
    assert "lower end" in limit.policy


@pytest.mark.parametrize(("sbu", "pounds"), [(1.0, 80), (0.996, 80), (0.99, 20), (0.5, 20), (0.165, 20), (0.164, None)])
def test_north_dakota_between_its_two_figures_takes_the_lower(sbu: float, pounds: float | None) -> None:
    found = seed_row_limit("north-dakota-1995", "barley", "heavy", sbu).kg_ha
    assert found == (None if pounds is None else pytest.approx(lb(pounds)))


def test_a_figure_without_a_crop_is_used_for_cereals_only() -> None:
    assert seed_row_limit("western-canada-1995", "canola", "medium", 0.5, nutrient="N+K2O").kg_ha is None
    wheat = seed_row_limit("western-canada-1995", "wheat", "medium", 0.5, nutrient="N+K2O")
    assert wheat.kg_ha == pytest.approx(lb(40))
    assert "cereals only" in wheat.note
    assert "our policy" in seed_row_limit("western-canada-1995", "wheat", "medium", 0.1, nutrient="N+K2O").note


@pytest.mark.parametrize(("rows_in", "pounds"), [(6, 10), (6.5, 10), (6.6, None), (15, None), (29.4, None), (29.5, 0), (30, 0), (36, 0)])
def test_soybean_in_north_dakota_goes_by_row_spacing(rows_in: float, pounds: float | None) -> None:
    found = seed_row_limit("ndsu-2002", "soybean", "medium", 0.1, row_spacing_m=rows_in * INCH_M)
    assert found.kg_ha == (None if pounds is None else pytest.approx(lb(pounds)))


def test_a_guideline_by_row_spacing_asks_for_it() -> None:
    found = seed_row_limit("ndsu-2002", "corn", "medium", 0.1, nutrient="N+K2O")
    assert found.kg_ha is None
    assert "give the row spacing" in found.note


def test_no_urea_is_kept_apart_from_some_nitrogen() -> None:
    corn = {"row_spacing_m": 30 * INCH_M}
    assert seed_row_limit("ndsu-2002", "corn", "medium", 0.1, nutrient="urea-N", **corn).kg_ha == 0
    assert seed_row_limit("ndsu-2002", "corn", "medium", 0.1, nutrient="N+K2O", **corn).kg_ha == pytest.approx(lb(10))


def test_wheat_in_north_dakota_is_told_that_the_bulletin_was_not_read() -> None:
    found = seed_row_limit("ndsu-2002", "wheat", "medium", 0.17)
    assert found.kg_ha is None
    assert "EB-62" in found.note


def test_soybean_in_manitoba_takes_nothing_in_wide_rows_whatever_it_is() -> None:
    for nutrient in NUTRIENTS:
        wide = seed_row_limit("manitoba", "soybean", "medium", 0.05, nutrient=nutrient, row_spacing_m=0.762)
        assert wide.kg_ha == 0
        assert wide.source == "manitoba-soybean-row"
    assert seed_row_limit("manitoba", "soybean", "medium", 0.05, nutrient="P2O5", row_spacing_m=0.381).kg_ha == pytest.approx(lb(10))


def test_no_urea_through_double_discs_on_light_soil() -> None:
    assert seed_row_limit("manitoba", "wheat", "light", 0.5, opener="double-disc").kg_ha == 0
    assert seed_row_limit("manitoba", "wheat", "medium", 0.5, opener="double disc").kg_ha == pytest.approx(lb(40))
    assert seed_row_limit("manitoba", "wheat", "light", 0.5, opener="hoe").kg_ha == pytest.approx(lb(30))


def test_the_double_disc_limit_needs_double_discs() -> None:
    assert seed_row_limit("double-disc-cereals", "wheat", "", 0.08, opener="double disc").kg_ha == pytest.approx(lb(20))
    assert "give the opener" in seed_row_limit("double-disc-cereals", "wheat", "", 0.08).note
    assert seed_row_limit("double-disc-cereals", "wheat", "", 0.08, opener="hoe").kg_ha is None


@pytest.mark.parametrize(("sbu", "limit"), [(0.15, 20), (0.145, 20), (0.144, None), (0.3, 20)])
def test_sulphur_with_canola_holds_from_its_own_utilisation_on(sbu: float, limit: float | None) -> None:
    found = seed_row_limit("saskatchewan-sulphur-2011", "canola", "", sbu, nutrient="S")
    assert found.kg_ha == limit
    assert (found.high_kg_ha is None) == (limit is None)


def test_what_a_trial_found_safe_is_no_ceiling() -> None:
    found = seed_row_limit("saskatchewan-greenhouse-1995", "wheat", "", 1 / 6, nutrient="K2O")
    assert found.kg_ha == pytest.approx(lb(20))
    assert found.found_safe
    assert not seed_row_limit("manitoba", "wheat", "medium", 1 / 6).found_safe


@pytest.mark.parametrize(
    ("guideline", "crop", "nutrient", "told"),
    [
        ("canola-council", "canola", "N", "10 to 15 lb/ac (11.2 to 16.8 kg/ha)"),
        ("saskatchewan", "canola", "N", "0 to 40 lb/ac"),
        ("saskatchewan-canola-2007", "canola", "N", "70 lb/ac (78.5 kg/ha)"),
        ("phosphate-trials", "pea", "P2O5", "44 kg/ha"),
        ("phosphate-trials", "wheat", "P2O5", "20 to 30 kg/ha"),
        ("manitoba-press-2019", "canola", "P2O5", "20 lb/ac"),
        ("saskatchewan-sulphur-2011", "mustard", "S", "juncea"),
        ("south-dakota", "wheat", "N", "40 % when moist"),
    ],
)
def test_a_figure_without_conditions_is_told_and_never_a_limit(guideline: str, crop: str, nutrient: str, told: str) -> None:
    found = seed_row_limit(guideline, crop, "", 0.17, nutrient=nutrient)
    assert found.kg_ha is None
    assert "not published" in found.policy
    assert told in found.note


@pytest.mark.parametrize(
    ("texture", "moisture", "loss", "left"),
    [
        ("medium", "good", None, 1.0), ("coarse", "good", None, 0.6), ("coarse", "dry", None, 0.8), ("medium", "dry", 0.05, 0.5),
        ("coarse", "dry", 0.05, 0.4), ("medium", "good", 0.10, 1.0),
    ],
)  # fmt: skip
def test_a_rate_you_looked_up_is_cut_by_that_publishers_rules(texture: str, moisture: str, loss: float | None, left: float) -> None:
    assert cut_limit(30, texture, moisture, stand_loss=loss).kg_ha == pytest.approx(30 * left)


def test_a_stand_loss_without_a_rule_is_not_made_up() -> None:
    assert cut_limit(30, "medium", "good", stand_loss=0.08).kg_ha is None
    with pytest.raises(InputError, match="south-dakota"):
        cut_limit(30, "medium", "good", guideline="manitoba")


def test_nutrients_a_publisher_has_figures_for() -> None:
    assert published_nutrients("manitoba", "wheat") == ("N", "P2O5")
    assert published_nutrients("manitoba", "pea") == ("P2O5",)
    assert published_nutrients("western-canada-1995", "wheat") == ("urea-N", "N+K2O")
    assert published_nutrients("western-canada-1995", "canola") == ()


def test_openers_have_a_usual_range_or_say_how_to_measure() -> None:
    assert len(openers()) == 7
    assert opener_utilisation("double disc") == opener_utilisation("disc")
    assert opener_utilisation("hoe").seen == "second-hand"
    with pytest.raises(MissingError, match="tape the band"):
        opener_utilisation("harrow")


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("Double disc, 1 inch", "double-disc"), ("disc", "disc"), ("knife 25 mm", "knife"), ("Large sweep", "large-sweep"),
        ("discer", "discer"), ("", ""), ("harrow", ""),
    ],
)  # fmt: skip
def test_an_opener_is_understood_as_the_owner_says_it(said: str, kind: str) -> None:
    assert opener_kind(said) == kind
    if kind == "double-disc":
        assert seed_row_limit("manitoba", "wheat", "light", 0.5, opener=said).kg_ha == 0


def test_a_metre_of_row_holds_twice_as_much_on_rows_twice_as_far_apart() -> None:
    assert row_dose(40, 0.5) == pytest.approx(2 * row_dose(40, 0.25))
    assert row_dose(40, 0.25) == pytest.approx(0.001)
