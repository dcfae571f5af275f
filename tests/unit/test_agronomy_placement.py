"""A whole placement: what is added up, what is counted apart, what is refused, and what is said when something is missing."""

from __future__ import annotations

import pytest

from evenstand.agronomy import NutrientLine, Placed, PlacementVerdict, judge_placement, nitrogen_form, reference_key, salt_order
from evenstand.base.errors import InputError, RangeError
from evenstand.base.units import INCH_M, to_metric

MAP = Placed(product="MAP", rate_kg_ha=75, analysis={"N": 0.11, "P2O5": 0.52}, placement="seed-row")
UREA = Placed(product="urea", rate_kg_ha=30, analysis={"N": 0.46}, placement="seed-row")
SULPHATE = Placed(product="AS", rate_kg_ha=60, analysis={"N": 0.21, "S": 0.24}, placement="seed-row")
POTASH = Placed(product="potash", rate_kg_ha=40, analysis={"K2O": 0.60}, placement="seed-row")
BANDED = Placed(product="banded urea", rate_kg_ha=150, analysis={"N": 0.46}, placement="side-band", distance_m=0.05)
AMMONIA = Placed(product="NH3", rate_kg_ha=80, analysis={"N": 0.822}, placement="mid-row", distance_m=0.1)
WHEAT = {"guideline": "manitoba", "crop": "wheat", "texture": "medium", "spread_m": 2 * INCH_M, "row_spacing_m": 6 * INCH_M}


def judge(*products: Placed, **more: object) -> PlacementVerdict:
    return judge_placement(products, **(WHEAT | more))  # type: ignore[arg-type]


def line(verdict: PlacementVerdict, nutrient: str, place: str = "seed-row") -> NutrientLine:
    return next(entry for entry in verdict.lines if (entry.nutrient, entry.placement) == (nutrient, place))


def moved(product: Placed, /, **changes: object) -> Placed:
    given = {name: getattr(product, name) for name in Placed.__slots__}
    return Placed(**(given | changes))


def test_all_sources_of_nitrogen_beside_the_seed_are_added() -> None:
    verdict = judge(UREA, SULPHATE)
    assert line(verdict, "N").asked_kg_ha == pytest.approx(30 * 0.46 + 60 * 0.21)
    assert line(verdict, "N").state == "within"
    assert any("henry-1996" in note for note in verdict.notes)
    assert not any("henry-1996" in note for note in judge(UREA).notes)


def test_over_the_limit_says_what_rate_of_one_product_would_meet_it() -> None:
    found = line(judge(moved(UREA, rate_kg_ha=80), SULPHATE), "N")
    assert found.state == "over"
    urea, sulphate = found.changes
    limit = to_metric(30, "rate", "lb/ac")
    assert urea.rate_kg_ha * 0.46 + 60 * 0.21 == pytest.approx(limit)  # type: ignore[operator]
    assert urea.change_kg_ha == pytest.approx(urea.rate_kg_ha - 80)  # type: ignore[operator]
    assert (sulphate.rate_kg_ha, sulphate.change_kg_ha) == (None, None)  # the urea alone is over
    assert found.scale == pytest.approx(limit / found.asked_kg_ha)


def test_a_band_is_counted_apart_and_no_guideline_is_made_up_for_it() -> None:
    verdict = judge(UREA, BANDED)
    assert line(verdict, "N").asked_kg_ha == pytest.approx(13.8)
    band = line(verdict, "N", "side-band")
    assert (band.asked_kg_ha, band.limit_kg_ha, band.state) == (pytest.approx(69), None, "not-published")
    assert "50 mm from the seed" in band.note
    assert band.needs == ()
    assert line(judge(moved(BANDED, distance_m=None)), "N", "side-band").needs == ("the distance of banded urea from the seed",)


def test_a_mid_row_band_between_two_rows_holds_twice_as_much_and_has_its_own_share_of_the_ground() -> None:
    """100 mm rows for easy sums: 69 kg/ha is 0.69 g on a metre of row; a band for two rows holds 1.38 g."""
    shared = moved(BANDED, placement="mid-row", spread_m=0.03, rows_per_band=2)
    found = line(judge(shared, row_spacing_m=0.1, spread_m=0.05), "N", "mid-row")
    assert found.asked_kg_m == pytest.approx(0.00138)
    assert found.sbu == pytest.approx(0.03 / 0.2)
    assert line(judge(BANDED), "N", "side-band").sbu is None
    assert line(judge(UREA), "N").sbu == pytest.approx(1 / 3)
    narrow = moved(shared, product="narrow", spread_m=0.02)
    assert line(judge(shared, narrow, row_spacing_m=0.1, spread_m=0.05), "N", "mid-row").sbu == pytest.approx(0.1)


@pytest.mark.parametrize("guideline", ["manitoba", "canola-council", "ndsu-2002", ""])
@pytest.mark.parametrize("placement", ["seed-row", None])
def test_ammonia_in_the_seed_row_is_refused_whatever_the_guideline(guideline: str, placement: str | None) -> None:
    verdict = judge(moved(AMMONIA, placement=placement), guideline=guideline, own_limits_kg_ha={"N": 500.0})
    assert verdict.state == "over"
    assert "never" in verdict.refused[0]
    assert "canola-council-ammonia" in verdict.refused[0]


def test_ammonia_in_a_band_is_told_the_published_distances() -> None:
    far, near = judge(AMMONIA), judge(moved(AMMONIA, distance_m=0.04))
    assert far.refused == near.refused == ()
    assert line(far, "N", "mid-row").state == "not-published"
    assert "3 to 4 in" in line(far, "N", "mid-row").note
    assert line(near, "N", "mid-row").state == "over"
    assert "nearer" in line(near, "N", "mid-row").note


def test_a_stream_that_ends_nobody_knows_where_counts_beside_the_seed() -> None:
    verdict = judge(moved(BANDED, placement=None))
    found = line(verdict, "N")
    assert found.asked_kg_ha == pytest.approx(69)
    assert found.state == "cannot-tell"  # over if it is the seed row, within if not
    assert "where each stream ends" in found.needs
    sure = line(judge(moved(BANDED, placement=None), moved(UREA, rate_kg_ha=90)), "N")
    assert sure.state == "over"  # over without it too


def test_nitrogen_that_comes_with_the_phosphate_is_not_counted_twice() -> None:
    """Canola on light soil may have no urea nitrogen but 20 lb of P2O5 as 11-52-0, which brings nitrogen."""
    case = {"crop": "canola", "texture": "light", "spread_m": 1 * INCH_M}
    small = moved(MAP, rate_kg_ha=40)
    alone = judge(small, **case)
    assert (line(alone, "N").state, line(alone, "P2O5").state, alone.state) == ("within", "within", "within")
    assert "comes with the phosphate" in line(alone, "N").note
    assert line(judge(small, UREA, **case), "N").state == "over"
    assert line(judge(small, **(case | {"row_spacing_m": 12 * INCH_M})), "N").state == "over"  # no phosphate limit there


def test_whether_the_phosphates_nitrogen_counts_too_is_left_open_where_it_decides() -> None:
    limit = to_metric(30, "rate", "lb/ac")
    found = line(judge(moved(UREA, rate_kg_ha=(limit - 2) / 0.46), MAP), "N")
    assert found.asked_kg_ha > limit
    assert found.state == "cannot-tell"
    assert "not published" in found.note


@pytest.mark.parametrize(
    ("missing", "needs"),
    [
        ({"spread_m": None}, ("the spread of an opener",)),
        ({"row_spacing_m": None, "spread_m": 0.05}, ("the row spacing",)),
        ({"texture": ""}, ("the soil texture",)),
        ({"spread_m": None, "row_spacing_m": None, "texture": ""}, ("the spread of an opener", "the row spacing", "the soil texture")),
        ({"guideline": ""}, ("a guideline, or a limit you looked up",)),
    ],
)
def test_what_is_missing_is_named(missing: dict[str, object], needs: tuple[str, ...]) -> None:
    found = line(judge(UREA, **missing), "N")
    assert (found.state, found.needs, found.limit_kg_ha) == ("cannot-tell", needs, None)


def test_the_usual_spread_of_an_opener_is_never_used_unasked() -> None:
    assert line(judge(UREA, spread_m=None, opener="spoon"), "N").state == "cannot-tell"
    assert judge(UREA, spread_m=None, opener="spoon").sbu_low is None


def test_the_usual_spread_gives_a_range_and_only_over_can_be_told() -> None:
    asked = {"spread_m": None, "opener": "spoon", "usual_spread": True}
    verdict = judge(UREA, **asked)
    assert (verdict.sbu_low, verdict.sbu_high, verdict.usual_spread) == (0.15, 0.30, True)
    found = line(verdict, "N")
    assert (found.limit_kg_ha, found.high_kg_ha) == (
        pytest.approx(to_metric(15, "rate", "lb/ac")),
        pytest.approx(to_metric(25, "rate", "lb/ac")),
    )
    assert found.state == "cannot-tell"
    assert "narrow end" in found.note
    assert line(judge(moved(UREA, rate_kg_ha=70), **asked), "N").state == "over"
    assert line(judge(moved(UREA, rate_kg_ha=50), **asked), "N").state == "cannot-tell"
    assert judge(UREA, spread_m=None, opener="harrow", usual_spread=True).sbu_low is None


def test_your_own_limit_stands_in_for_a_sheet_that_is_not_held() -> None:
    verdict = judge(UREA, guideline="", own_limits_kg_ha={"N": 20.0})
    assert (line(verdict, "N").state, line(verdict, "N").policy) == ("within", "a limit you looked up")
    assert line(judge(UREA, guideline="saskatchewan", crop="canola", own_limits_kg_ha={"N": 10.0}), "N").state == "over"


def test_a_nutrient_that_the_publisher_does_not_hold_is_not_published() -> None:
    found = line(judge(POTASH), "K2O")
    assert (found.state, found.limit_kg_ha, found.scale, found.changes) == ("not-published", None, None, ())


def test_nitrogen_and_potash_are_judged_together_where_the_publisher_does() -> None:
    verdict = judge(UREA, POTASH, guideline="western-canada-1995")
    assert {entry.nutrient for entry in verdict.lines} == {"urea-N", "N+K2O"}
    assert line(verdict, "N+K2O").asked_kg_ha == pytest.approx(13.8 + 24)
    assert line(verdict, "N+K2O").state == "within"
    more = judge(UREA, moved(POTASH, rate_kg_ha=60), guideline="western-canada-1995")
    assert line(more, "N+K2O").state == "over"
    assert line(more, "urea-N").state == "within"


def test_a_guideline_by_rows_alone_needs_no_spread() -> None:
    found = line(judge(POTASH, guideline="ndsu-2002", crop="corn", spread_m=None, row_spacing_m=30 * INCH_M), "N+K2O")
    assert found.state == "over"
    without = line(judge(POTASH, guideline="ndsu-2002", crop="corn", spread_m=None, row_spacing_m=None), "N+K2O")
    assert (without.state, without.needs) == ("cannot-tell", ("the row spacing",))


def test_above_what_a_trial_found_safe_nothing_is_known() -> None:
    case = {"guideline": "saskatchewan-greenhouse-1995", "crop": "canola"}
    assert line(judge(moved(UREA, rate_kg_ha=20), **case), "N").state == "within"
    assert line(judge(UREA, **case), "N").state == "not-published"


def test_sulphur_with_phosphate_is_told_of_both_together() -> None:
    case = {"guideline": "saskatchewan-sulphur-2011", "crop": "canola"}
    assert "10 to 15 %" in line(judge(SULPHATE, MAP, **case), "S").note
    assert "10 to 15 %" not in line(judge(SULPHATE, **case), "S").note


def test_elemental_sulphur_is_no_salt_and_is_said_so() -> None:
    elemental = Placed(product="S 90", rate_kg_ha=20, analysis={"S": 0.9}, placement="seed-row")
    verdict = judge(elemental, guideline="saskatchewan-sulphur-2011", crop="canola")
    assert verdict.lines == ()
    assert any("elemental" in note for note in verdict.notes)


def test_south_dakota_says_that_rates_do_not_add_up_in_a_blend() -> None:
    assert "added up for a blend" in line(judge(UREA, SULPHATE, guideline="south-dakota"), "N").note
    assert "added up for a blend" not in line(judge(UREA, guideline="south-dakota"), "N").note


def test_notes_order_crops_and_salts_without_a_limit() -> None:
    notes = judge(UREA, POTASH).notes
    assert any("canola, lentil, wheat, pea, barley, oat" in note for note in notes)
    assert any("potash 116.2, urea 74.4. An order, no limit" in note for note in notes)


def test_a_metre_of_row_is_shown_and_rows_twice_as_far_apart_double_it() -> None:
    near, far = (line(judge(UREA, row_spacing_m=rows, spread_m=0.05), "N") for rows in (0.254, 0.508))
    assert near.asked_kg_m == pytest.approx(13.8 * 0.254 / 10_000)
    assert far.asked_kg_m == pytest.approx(2 * near.asked_kg_m)  # type: ignore[operator]
    assert far.limit_kg_ha < near.limit_kg_ha  # type: ignore[operator]


def test_nothing_in_the_ground_is_nothing_to_judge() -> None:
    assert judge().state == "within"
    assert judge(moved(UREA, rate_kg_ha=0)).lines == ()


@pytest.mark.parametrize(
    ("analysis", "form", "key"),
    [
        ({"N": 0.46}, "urea", "urea"), ({"N": 0.822}, "ammonia", "ammonia"), ({"N": 0.82}, "ammonia", "ammonia"),
        ({"N": 0.34}, "other", "ammonium-nitrate"), ({"N": 0.21, "S": 0.24}, "other", "ammonium-sulphate"),
        ({"N": 0.11, "P2O5": 0.52}, "other", "map"), ({"N": 0.13, "P2O5": 0.33, "S": 0.15}, "other", ""),
    ],
)  # fmt: skip
def test_a_product_is_told_from_its_analysis(analysis: dict[str, float], form: str, key: str) -> None:
    assert nitrogen_form(analysis) == form
    assert reference_key(analysis) == key


def test_products_without_a_salt_index_are_left_out() -> None:
    assert [key for key, _ in salt_order(["map", "potash", "uan", "nothing"])] == ["potash", "map"]


@pytest.mark.parametrize(
    ("products", "more", "error"),
    [
        ((moved(UREA, rate_kg_ha=-1),), {}, RangeError),
        ((moved(UREA, analysis={"N": 1.2}),), {}, RangeError),
        ((moved(UREA, placement="deep"),), {}, InputError),
        ((moved(BANDED, distance_m=-0.1),), {}, RangeError),
        ((moved(BANDED, spread_m=0.5),), {}, RangeError),
        ((moved(BANDED, rows_per_band=0),), {}, RangeError),
        ((UREA,), {"guideline": "elsewhere"}, InputError),
        ((UREA,), {"spread_m": 0.3}, RangeError),
        ((UREA,), {"row_spacing_m": 0.0}, RangeError),
        ((UREA,), {"own_limits_kg_ha": {"N": -1.0}}, RangeError),
    ],
)
def test_wrong_input_is_refused(products: tuple[Placed, ...], more: dict[str, object], error: type[Exception]) -> None:
    with pytest.raises(error):
        judge(*products, **more)
