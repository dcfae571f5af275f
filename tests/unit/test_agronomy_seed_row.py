"""Fertilizer in the seed row: the rule of matching a printed utilisation, and silence where nothing is printed."""

from __future__ import annotations

import math

import pytest

from evenstand.agronomy import guidelines, seed_row_limit, seedbed_utilisation
from evenstand.base.errors import InputError, RangeError
from evenstand.base.units import to_metric


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
        (("manitoba", "wheat", "medium", 0.2), {"nutrient": "K2O"}, "N, P2O5"),
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


def test_the_guidelines_are_listed() -> None:
    assert guidelines() == ("manitoba",)
