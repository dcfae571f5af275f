"""Seeding rates, kernels, nutrients, grain: ranges, refusals, and what the words mean."""

from __future__ import annotations

import math

import pytest

from evenstand import agronomy
from evenstand.base.errors import InputError, MissingError, RangeError


def test_included_mortality_already_counts_dead_seed() -> None:
    assert agronomy.survival(0.80, 0.15, method="included") == pytest.approx(0.85)


def test_product_takes_the_share_of_those_that_germinate() -> None:
    assert agronomy.survival(0.90, 0.10, method="product") == pytest.approx(0.81)


def test_points_are_taken_off_the_germination() -> None:
    assert agronomy.survival(0.95, 0.10, method="points") == pytest.approx(0.85)


def test_points_can_never_leave_more_than_the_product_does() -> None:
    for germination in (0.6, 0.8, 0.95, 1.0):
        for mortality in (0.0, 0.1, 0.3):
            by_points = agronomy.survival(germination, mortality, method="points")
            assert by_points <= agronomy.survival(germination, mortality, method="product") + 1e-12


def test_no_method_of_survival_is_assumed() -> None:
    with pytest.raises(TypeError):
        agronomy.survival(0.9, 0.1)  # type: ignore[call-arg]
    with pytest.raises(InputError, match="included, product, points"):
        agronomy.survival(0.9, 0.1, method="sum")  # type: ignore[arg-type]


@pytest.mark.parametrize(("germination", "mortality"), [(0.0, 0.1), (1.1, 0.1), (0.9, -0.1), (0.9, 1.0), (math.nan, 0.1), (0.9, math.nan)])
@pytest.mark.parametrize("method", agronomy.METHODS)
def test_a_share_outside_its_range_is_refused(germination: float, mortality: float, method: str) -> None:
    with pytest.raises(RangeError):
        agronomy.survival(germination, mortality, method=method)  # type: ignore[arg-type]


def test_points_that_leave_nothing_are_refused_with_the_limit() -> None:
    with pytest.raises(RangeError, match="mortality < germination"):
        agronomy.survival(0.3, 0.3, method="points")


@pytest.mark.parametrize(
    ("function", "good"),
    [
        (agronomy.seeding_rate, (300, 40, 0.8)),
        (agronomy.expected_stand, (120, 40, 0.8)),
        (agronomy.seeds_needed, (300, 0.8)),
        (agronomy.seed_mass_rate, (300, 40)),
        (agronomy.seeds_sown, (120, 40)),
        (agronomy.seeds_per_kg, (40,)),
        (agronomy.tkw_from_seeds_per_kg, (25_000,)),
        (agronomy.tkw_from_count, (500, 20)),
        (agronomy.hoop_area, (0.56,)),
        (agronomy.hoop_area_from_girth, (1.77,)),
        (agronomy.row_length_for_area, (1, 0.25)),
        (agronomy.bushels_per_tonne, (27.2,)),
    ],
)
def test_zero_negative_and_no_number_are_refused_everywhere(function, good: tuple[float, ...]) -> None:  # type: ignore[no-untyped-def]
    assert function(*good) > 0
    for place in range(len(good)):
        for bad in (0.0, -1.0, math.nan):
            with pytest.raises(RangeError):
                function(*good[:place], bad, *good[place + 1 :])


def test_the_message_names_argument_value_and_range() -> None:
    with pytest.raises(RangeError, match=r"survival: 1\.2 is out of range \(0 < survival <= 1\)"):
        agronomy.seeding_rate(300, 40, 1.2)


def test_per_cent_typed_for_a_share_is_refused_not_divided() -> None:
    with pytest.raises(RangeError):
        agronomy.seeding_rate(300, 40, 85)


def test_a_quarter_of_coating_makes_kernels_a_third_heavier() -> None:
    assert agronomy.coated_tkw(6.0, 0.25) == pytest.approx(8.0)
    with pytest.raises(RangeError):
        agronomy.coated_tkw(6.0, 1.0)


def test_eight_even_replicates_need_no_repeat() -> None:
    weighed = agronomy.kernel_weight([3.81, 3.79, 3.84, 3.80, 3.78, 3.83, 3.82, 3.81])
    assert weighed.tkw_g == pytest.approx(38.1, abs=0.01)
    assert weighed.low < weighed.tkw_g < weighed.high
    assert (weighed.n, weighed.repeat) == (8, False)


def test_replicates_that_differ_much_are_to_be_weighed_again() -> None:
    assert agronomy.kernel_weight([3.5, 3.9, 4.2, 3.6]).repeat


def test_one_replicate_is_no_test() -> None:
    with pytest.raises(InputError, match="two or more"):
        agronomy.kernel_weight([3.8])


def test_replicates_of_another_count_are_scaled() -> None:
    assert agronomy.kernel_weight([11.0, 11.0], seeds=50).tkw_g == pytest.approx(220)


def test_nutrients_of_a_set_of_products_add_up() -> None:
    supplied = agronomy.nutrients_supplied(
        {"urea": 150, "map": 75, "sulphate": 60},
        {"urea": {"N": 0.46}, "map": {"N": 0.11, "P2O5": 0.52}, "sulphate": {"N": 0.21, "S": 0.24}},
    )
    assert supplied == pytest.approx({"N": 150 * 0.46 + 75 * 0.11 + 60 * 0.21, "P2O5": 39.0, "S": 14.4})
    assert list(supplied) == ["N", "P2O5", "S"]


def test_every_product_without_analysis_is_named() -> None:
    with pytest.raises(InputError, match="pulse mix, starter"):
        agronomy.nutrients_supplied({"pulse mix": 20, "urea": 50, "starter": 30}, {"urea": {"N": 0.46}})


def test_an_analysis_over_one_is_refused() -> None:
    with pytest.raises(RangeError, match="urea"):
        agronomy.nutrients_supplied({"urea": 50}, {"urea": {"N": 46}})


@pytest.mark.parametrize(("formula", "mass"), [("NH3", 17.031), ("K2SO4", 174.252), ("KCl", 74.548), ("P2O5", 141.943)])
def test_molar_masses_add_up(formula: str, mass: float) -> None:
    assert agronomy.molar_mass(formula) == pytest.approx(mass, abs=0.003)


@pytest.mark.parametrize("formula", ["", "k2o", "NaCl", "Ca(OH)2", "P2 O5"])
def test_a_formula_that_is_not_understood_is_refused(formula: str) -> None:
    with pytest.raises(InputError, match="not understood"):
        agronomy.molar_mass(formula)


def test_compounds_without_a_common_nutrient_are_refused() -> None:
    with pytest.raises(InputError, match="share no nutrient"):
        agronomy.nutrient_factor("P2O5", "K2O")
    with pytest.raises(InputError, match="share K and S"):
        agronomy.nutrient_factor("K2SO4", "K2SO4")


def test_a_bushel_is_asked_for_by_grain_and_unknown_grain_is_missing() -> None:
    assert agronomy.bushel_weight("wheat") == pytest.approx(27.2155, abs=1e-4)
    with pytest.raises(MissingError, match="canola"):
        agronomy.bushel_weight("quinoa")


def test_test_weight_of_380_g_of_wheat_is_close_to_the_volume_rule() -> None:
    """The publisher's equation bends away from grams over half a litre by under 3 %."""
    by_equation = agronomy.grain_test_weight("wheat", 380)
    assert by_equation == pytest.approx(10 * (1.4767 + 0.2012 * 380))
    assert by_equation == pytest.approx(380 / 0.5, rel=0.03)
    with pytest.raises(MissingError, match="hulless-barley"):
        agronomy.grain_test_weight("quinoa", 380)
    with pytest.raises(RangeError):
        agronomy.grain_test_weight("wheat", 0)


def test_content_of_a_bushel_has_a_range() -> None:
    with pytest.raises(RangeError):
        agronomy.content_per_bushel(1200, 27.2)
