"""Rate and stand with their uncertainty, lots in a bin, tests of a lot, late seeding, and numbers that look mistyped."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from evenstand import agronomy
from evenstand.base.errors import InputError, MissingError, RangeError
from evenstand.base.estimate import Est
from evenstand.base.units import from_metric, to_metric

TKW, ALIVE = Est(value=38, sd=0.4), Est(value=0.85, sd=0.05)


# rate and stand -----------------------------------------------------------------------------------------------------


def test_a_rate_for_a_stand_gives_that_stand_back() -> None:
    plan = agronomy.seeding_plan(TKW, ALIVE, plants_m2=270)
    assert plan.rate_kg_ha.value == pytest.approx(270 * 38 / 0.85 / 100)
    assert plan.stand.value == pytest.approx(270)
    assert plan.seeds_m2.value == pytest.approx(270 / 0.85)
    assert plan.wanted_m2 == 270


def test_the_survival_hangs_over_the_stand_most_and_the_shares_add_up() -> None:
    plan = agronomy.seeding_plan(TKW, ALIVE, plants_m2=270, rate_sd_share=0.02)
    assert plan.most == "the survival"
    assert [c.name for c in plan.contributions] == ["survival", "rate_kg_ha", "tkw_g"]
    assert sum(c.share for c in plan.contributions) == pytest.approx(1)
    assert math.hypot(*(c.sd for c in plan.contributions)) == pytest.approx(plan.stand.sd)


def test_the_spread_of_the_stand_is_that_of_many_drawn_at_random() -> None:
    plan = agronomy.seeding_plan(TKW, ALIVE, rate_kg_ha=Est(value=120, sd=3))
    draw = np.random.default_rng(7)
    drawn = draw.normal(120, 3, 200_000) * 100 / draw.normal(38, 0.4, 200_000) * draw.normal(0.85, 0.05, 200_000)
    assert plan.stand.sd == pytest.approx(drawn.std(), rel=0.01)
    assert plan.stand.value == pytest.approx(drawn.mean(), rel=0.002)


def test_seeds_along_a_row_and_bushels_follow_where_their_sizes_are_known() -> None:
    sixty = Est(value=to_metric(60, "density", "lb/bu (US)"))
    plan = agronomy.seeding_plan(TKW, ALIVE, rate_kg_ha=Est(value=to_metric(120, "rate", "lb/ac")), row_spacing_m=0.25, density_kg_m3=sixty)
    assert plan.seeds_m is not None
    assert plan.seeds_m.value == pytest.approx(plan.seeds_m2.value * 0.25)
    assert plan.seeds_m.sd == pytest.approx(plan.seeds_m2.sd * 0.25)
    assert plan.volume_m3_ha is not None
    assert from_metric(plan.volume_m3_ha.value, "volume_rate", "bu (US)/ac") == pytest.approx(2)
    bare = agronomy.seeding_plan(TKW, ALIVE, plants_m2=250)
    assert bare.seeds_m is None
    assert bare.volume_m3_ha is None


def test_what_is_taken_as_certain_is_said() -> None:
    plan = agronomy.seeding_plan(Est(value=38), Est(value=0.85), plants_m2=250)
    assert plan.stand.sd == 0
    assert plan.most == ""
    assert "the kernel weight" in plan.note
    assert "the survival" in plan.note
    assert agronomy.seeding_plan(TKW, ALIVE, rate_kg_ha=Est(value=120, sd=2)).note == ""


def test_neither_stand_nor_rate_is_refused() -> None:
    with pytest.raises(MissingError, match="neither"):
        agronomy.seeding_plan(TKW, ALIVE)
    with pytest.raises(RangeError):
        agronomy.seeding_plan(TKW, ALIVE, plants_m2=0)
    with pytest.raises(RangeError):
        agronomy.seeding_plan(TKW, ALIVE, plants_m2=250, row_spacing_m=0)
    with pytest.raises(RangeError):
        agronomy.seeding_plan(TKW, ALIVE, plants_m2=250, rate_sd_share=-0.1)


def test_the_chance_of_a_stand_is_a_half_at_the_stand_expected() -> None:
    plan = agronomy.seeding_plan(TKW, ALIVE, plants_m2=270)
    assert agronomy.chance_of_stand(plan, 270) == pytest.approx(0.5)
    assert agronomy.chance_of_stand(plan, 200) == pytest.approx(stats.norm.sf(200, 270, plan.stand.sd))
    certain = agronomy.seeding_plan(Est(value=38), Est(value=0.85), plants_m2=250)
    assert agronomy.chance_of_stand(certain, 249) == 1
    assert agronomy.chance_of_stand(certain, 251) == 0


@pytest.mark.parametrize(
    ("method", "value", "sd"),
    [
        ("included", 0.60, 0.05),
        ("product", 0.88 * 0.6, math.hypot(0.02 * 0.6, 0.88 * 0.05)),
        ("points", 0.48, math.hypot(0.02, 0.05)),
    ],
)
def test_survival_carries_the_spread_its_method_uses(method, value: float, sd: float) -> None:  # type: ignore[no-untyped-def]
    alive = agronomy.survival_estimate(Est(value=0.88, sd=0.02), Est(value=0.40, sd=0.05), method=method)
    assert alive.value == pytest.approx(value)
    assert alive.sd == pytest.approx(sd, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "quantity", "unit", "metric"),
    [
        (1, "rate", "lb/ac", 1.1208511),
        (1, "seeds_area", "seeds/ft²", 10.7639104),
        (1e6, "seeds_area", "seeds/ac", 247.105381),
        (250, "seeds_area", "seeds/ha", 0.025),
        (10, "seeds_row", "seeds/ft", 32.8083990),
        (12_000, "seeds_mass", "seeds/lb", 26_455.4715),
        (2, "volume_rate", "bu (US)/ac", 2 * 0.03523907016688 / 0.40468564224),
        (2, "volume_rate", "bu (imp)/ac", 2 * 0.03636872 / 0.40468564224),
        (150, "volume_rate", "L/ha", 0.15),
    ],
)
def test_every_conversion_of_seed_is_offered_at_the_edge(value: float, quantity: str, unit: str, metric: float) -> None:
    assert to_metric(value, quantity, unit) == pytest.approx(metric, rel=1e-7)
    assert from_metric(to_metric(value, quantity, unit), quantity, unit) == pytest.approx(value)


# lots ---------------------------------------------------------------------------------------------------------------


def lot(kg: float, g: float, germinates: float | None = None, survives: float | None = None, **sds: float) -> agronomy.LotPart:
    return agronomy.LotPart(
        mass_kg=Est(value=kg, sd=sds.get("mass", 0.0)),
        tkw_g=Est(value=g, sd=sds.get("tkw", 0.0)),
        germination=None if germinates is None else Est(value=germinates, sd=sds.get("germination", 0.0)),
        survival=None if survives is None else Est(value=survives, sd=sds.get("survival", 0.0)),
    )


def test_a_mixture_counts_seeds_not_kilograms() -> None:
    """900 kg of 30 g seed and 600 kg of 60 g seed: 30 and 10 million seeds."""
    mixed = agronomy.mix_lots([lot(900, 30, 0.95, 0.9), lot(600, 60, 0.55, 0.5)])
    assert mixed.tkw_g.value == pytest.approx(1500 / 40)
    assert mixed.seed_shares == pytest.approx((0.75, 0.25))
    assert mixed.mass_shares == pytest.approx((0.6, 0.4))
    assert mixed.germination is not None
    assert mixed.germination.value == pytest.approx(0.85)  # by mass it would be 0.79
    assert mixed.survival is not None
    assert mixed.survival.value == pytest.approx(0.8)


def test_the_rate_for_a_mixture_gives_the_plants_of_its_lots() -> None:
    parts = [lot(900, 30, None, 0.9), lot(600, 60, None, 0.5)]
    mixed = agronomy.mix_lots(
        [agronomy.LotPart(mass_kg=p.mass_kg, tkw_g=p.tkw_g, germination=p.survival, survival=p.survival) for p in parts]
    )
    assert mixed.survival is not None
    together = agronomy.expected_stand(150, mixed.tkw_g.value, mixed.survival.value)
    assert together == pytest.approx(agronomy.expected_stand(90, 30, 0.9) + agronomy.expected_stand(60, 60, 0.5))


def test_the_spread_of_a_mixture_is_that_of_many_drawn_at_random() -> None:
    parts = [
        lot(900, 36, 0.95, 0.9, mass=20, tkw=0.7, germination=0.02, survival=0.03),
        lot(600, 44, 0.80, 0.7, mass=30, tkw=0.9, survival=0.05),
    ]
    mixed = agronomy.mix_lots(parts)
    draw = np.random.default_rng(3)
    masses = [draw.normal(p.mass_kg.value, p.mass_kg.sd, 100_000) for p in parts]
    tkws = [draw.normal(p.tkw_g.value, p.tkw_g.sd, 100_000) for p in parts]
    alive = [draw.normal(p.survival.value, p.survival.sd, 100_000) for p in parts if p.survival]
    seeds = [m / t for m, t in zip(masses, tkws, strict=True)]
    assert mixed.tkw_g.sd == pytest.approx((sum(masses) / sum(seeds)).std(), rel=0.02)
    assert mixed.survival is not None
    drawn = sum(n * a for n, a in zip(seeds, alive, strict=True)) / sum(seeds)
    assert mixed.survival.sd == pytest.approx(drawn.std(), rel=0.02)
    assert mixed.mass_kg.sd == pytest.approx(math.hypot(20, 30))


def test_what_one_lot_does_not_know_the_mixture_does_not_know() -> None:
    mixed = agronomy.mix_lots([lot(900, 36, 0.95), lot(600, 44)])
    assert mixed.germination is None
    assert mixed.survival is None
    assert mixed.missing == ("lot 1", "lot 2")


@pytest.mark.parametrize(
    ("masses", "tkws", "error"),
    [
        ([], [], InputError),
        ([1.0], [30.0, 40.0], InputError),
        ([-1.0, 2.0], [30.0, 40.0], RangeError),
        ([0.0], [30.0], RangeError),
        ([1.0], [0.0], RangeError),
    ],
)
def test_lots_that_cannot_be_are_refused(masses, tkws, error) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(error):
        agronomy.mixed_tkw(masses, tkws)


def test_shares_of_a_mixture_are_one_a_lot_and_no_more_than_all() -> None:
    with pytest.raises(InputError):
        agronomy.mixed_share([1, 1], [30, 40], [0.9])
    with pytest.raises(RangeError):
        agronomy.mixed_share([1, 1], [30, 40], [0.9, 1.2])


# tests of a lot -----------------------------------------------------------------------------------------------------


def test_a_germination_test_has_the_binomial_spread_and_the_exact_interval() -> None:
    test = agronomy.germination_test([92, 95, 90, 94])
    assert test.germination.value == pytest.approx(371 / 400)
    assert test.germination.sd == pytest.approx(math.sqrt(0.9275 * 0.0725 / 400))
    exact = stats.binomtest(371, 400).proportion_ci(0.95)
    assert (test.low, test.high) == (pytest.approx(exact.low), pytest.approx(exact.high))
    assert (test.spread_percent, test.allowed_percent, test.within, test.overspread) == (5, 10, True, False)
    assert test.note == ""


def test_replicates_further_apart_than_the_table_allows_are_tested_again() -> None:
    test = agronomy.germination_test([98, 84, 92, 95])
    assert test.within is False
    assert test.overspread is True
    assert "test again" in test.note
    assert test.germination.sd > math.sqrt(test.germination.value * (1 - test.germination.value) / 400)


def test_a_test_without_a_published_verdict_says_so() -> None:
    assert agronomy.germination_test([45, 47], seeds=50).within is None
    assert "100 seeds" in agronomy.germination_test([45, 47], seeds=50).note
    assert agronomy.germination_test([60, 61, 59, 62]).within is None
    assert "not read" in agronomy.germination_test([60, 61, 59, 62]).note
    assert agronomy.germination_test([90]).overspread is None
    assert "One replicate" in agronomy.germination_test([90]).note


def test_all_or_none_germinated_is_still_not_certain() -> None:
    full, empty = agronomy.germination_test([100, 100]), agronomy.germination_test([0, 0])
    assert full.germination.value == 1
    assert full.high == 1
    assert full.germination.sd > 0
    assert empty.low == 0
    assert empty.high == pytest.approx(1 - 0.025 ** (1 / 200))


@pytest.mark.parametrize(("counts", "error"), [([], InputError), ([101], InputError), ([-1], RangeError), ([90.5], InputError)])
def test_seedlings_that_cannot_be_are_refused(counts, error) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(error):
        agronomy.germination_test(counts)


def test_two_tests_that_agree_are_put_together() -> None:
    both = agronomy.two_germination_tests(agronomy.germination_test([92, 95, 90, 94]), agronomy.germination_test([90, 92, 93, 91]))
    assert both.agree is True
    assert both.germination.value == pytest.approx((371 + 366) / 800)
    assert both.germination.sd == pytest.approx(math.hypot(0.012967, 0.013946) / 2, rel=1e-3)


def test_two_tests_that_do_not_agree_widen_what_is_known() -> None:
    both = agronomy.two_germination_tests(agronomy.germination_test([96, 95, 97, 96]), agronomy.germination_test([86, 85, 87, 88]))
    assert both.agree is False
    assert both.germination.sd > 0.045
    assert "third" in both.note
    small = agronomy.two_germination_tests(agronomy.germination_test([96]), agronomy.germination_test([86]))
    assert small.agree is None
    assert "No published verdict" in small.note


def test_a_kernel_weight_carries_the_error_of_its_mean() -> None:
    weight = agronomy.kernel_weight([3.80, 3.85, 3.78, 3.83, 3.81, 3.79, 3.84, 3.82])
    masses = np.array([3.80, 3.85, 3.78, 3.83, 3.81, 3.79, 3.84, 3.82])
    assert weight.est.value == pytest.approx(10 * masses.mean())
    assert weight.est.sd == pytest.approx(10 * masses.std(ddof=1) / math.sqrt(8))


def test_a_weighed_sample_adds_kernels_scale_and_miscount() -> None:
    tkw = agronomy.weighed_sample(400, 16.0, kernel_cv=0.2, scale_division_g=0.1, miscounted=2)
    shares = (0.2 / 20, 0.1 / math.sqrt(12) / 16, 2 / 400)
    assert tkw.value == pytest.approx(40)
    assert tkw.sd == pytest.approx(40 * math.hypot(*shares))
    assert agronomy.weighed_sample(400, 16.0).sd == 0


def test_a_coating_comes_off_again() -> None:
    assert agronomy.bare_tkw(agronomy.coated_tkw(4.0, 0.3), 0.3) == pytest.approx(4.0)
    with pytest.raises(RangeError):
        agronomy.bare_tkw(4.0, 1.0)


# late seeding -------------------------------------------------------------------------------------------------------


def test_a_day_late_counts_of_the_first_rate_or_of_the_day_before_and_both_are_said() -> None:
    late = agronomy.late_seeding("spring wheat", 14, 300)
    assert late.always_of_first_m2 == pytest.approx(300 * 1.14)
    assert late.day_on_day_m2 == pytest.approx(300 * 1.01**14)
    assert late.loss == pytest.approx(0.21)
    assert late.loss_day_on_day == pytest.approx(1 - 0.985**14)
    assert "does not say" in late.note
    assert not late.capped


def test_the_raise_stops_at_the_cap() -> None:
    cap = to_metric(1.6e6, "seeds_area", "seeds/ac")
    late = agronomy.late_seeding("barley", 40, 350)
    assert late.capped
    assert late.cap_m2 == pytest.approx(cap)
    assert late.day_on_day_m2 == pytest.approx(cap)
    assert late.always_of_first_m2 == pytest.approx(cap)


def test_a_rate_above_the_cap_is_not_lowered_by_it() -> None:
    late = agronomy.late_seeding("oats", 10, 450)
    assert late.day_on_day_m2 == late.always_of_first_m2 == 450
    assert "no further" in late.note


def test_a_crop_without_a_published_loss_gets_none() -> None:
    late = agronomy.late_seeding("canola", 10, 100)
    assert late.loss is None
    assert late.day_on_day_m2 is None
    assert "Not published for canola" in late.note


def test_a_hundred_days_late_loses_no_more_than_all() -> None:
    assert agronomy.late_seeding("barley", 100).loss == 1


def test_publishers_of_late_seeding_are_kept_apart() -> None:
    assert agronomy.late_seeding("wheat", 1, publisher="ndsu-2002").loss == pytest.approx(0.01)
    assert agronomy.late_seeding("wheat", 1, 300, publisher="ndsu-2002").day_on_day_m2 is None
    with pytest.raises(InputError, match="ndsu"):
        agronomy.late_seeding("wheat", 1, publisher="neighbour")
    with pytest.raises(RangeError):
        agronomy.late_seeding("wheat", -1)


def test_dates_of_seeding_stand_in_the_publishers_own_places() -> None:
    dates = agronomy.start_dates()
    assert dates[0] == ("south of Highway 13", "second week of April")
    assert len(dates) == 4
    assert agronomy.start_dates("ndsu-2002") == ()
    assert ("chickpea", "before 25 May") in agronomy.start_dates("spg")


# doubts -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("wheat", "wheat"),
        ("Spring Wheat", "wheat"),
        ("oats", "oat"),
        ("Peas", "pea"),
        ("red lentil", "lentil"),
        ("winter-wheat", "winter-wheat"),
        ("quinoa", None),
    ],
)
def test_a_crop_is_found_by_its_usual_names(text: str, key: str | None) -> None:
    assert agronomy.find_crop(text) == key


@pytest.mark.parametrize(
    ("typed", "slip"),
    [
        ({"plants_m2": 25.0}, "plants/ft²"),
        ({"plants_m2": 2700.0}, "decimal"),
        ({"tkw_g": 3.8}, "decimal"),
        ({"tkw_g": 12_000.0}, "Seeds in a pound"),
        ({"survival": 85.0}, "per cent"),
        ({"depth_m": 0.0015}, "inches"),
        ({"rate_kg_ha": 12.0}, "decimal"),
        ({"rate_kg_ha": 210.0}, "lb/ac"),
        ({"plants_m2": 3.0}, ""),
    ],
)
def test_a_slip_of_typing_is_named_where_one_would_explain_it(typed: dict[str, float], slip: str) -> None:
    found = agronomy.doubtful_numbers("wheat", **typed)
    (doubt,) = found.doubts
    assert slip in doubt.slip
    assert doubt.below == (next(iter(typed.values())) < doubt.nearest.low)
    assert "spring wheat" in doubt.text
    assert doubt.nearest.publisher in doubt.text


def test_usual_numbers_raise_no_doubt() -> None:
    found = agronomy.doubtful_numbers("wheat", plants_m2=260, tkw_g=36, survival=0.85, depth_m=0.045, rate_kg_ha=120)
    assert found.doubts == ()
    assert len(found.inside) == 5


def test_the_only_range_read_is_no_sharp_edge() -> None:
    """Barley kernels are published here for Irish spring varieties alone, 48 to 52.6 g: 42 g is no slip, 4.2 g is."""
    assert agronomy.doubtful_numbers("barley", tkw_g=42).inside == ("tkw_g",)
    assert "decimal" in agronomy.doubtful_numbers("barley", tkw_g=4.2).doubts[0].slip


def test_practice_alone_raises_no_doubt() -> None:
    """Durum kernels and rye stands are known from common practice only: nothing is said of them."""
    assert agronomy.doubtful_numbers("durum", tkw_g=400).unpublished == ("tkw_g",)
    assert agronomy.doubtful_numbers("rye", plants_m2=9000).unpublished == ("plants_m2",)
    assert agronomy.doubtful_numbers("quinoa", plants_m2=9000).unpublished == ("plants_m2",)


def test_a_published_rate_goes_before_one_worked_out() -> None:
    (flax,) = agronomy.crop_ranges("flax", "rate_kg_ha")
    assert not flax.computed
    (doubt,) = agronomy.doubtful_numbers("wheat", rate_kg_ha=900).doubts
    assert doubt.nearest.computed
    assert "worked out here" in doubt.text


def test_a_doubt_speaks_in_the_readers_units() -> None:
    (doubt,) = agronomy.doubtful_numbers("wheat", depth_m=0.1).doubts
    assert "100 mm" in doubt.said()
    assert "3.94 in" in doubt.said("prairie")


def test_publishers_stay_apart_and_their_ranges_metric() -> None:
    depths = agronomy.depth_windows("pea")
    assert len({r.source for r in depths}) == len(depths) == 2
    assert (depths[0].low, depths[0].high) == (pytest.approx(1.2 * 0.0254), pytest.approx(3.2 * 0.0254))
    south = next(r for r in agronomy.soil_temperatures("wheat") if r.source == "sd-soil-temperature")
    assert south.low == pytest.approx((40 - 32) / 1.8)
    kinds = {r.where.split(",")[0]: r.low for r in agronomy.soil_temperatures("chickpea")}
    assert kinds == {"desi": 7, "kabuli": 10}


def test_unknown_quantities_and_numbers_that_cannot_be_are_refused() -> None:
    with pytest.raises(InputError, match="depth_m"):
        agronomy.crop_ranges("wheat", "colour")
    with pytest.raises(RangeError):
        agronomy.doubtful_numbers("wheat", depth_m=0)


def test_every_crop_with_a_depth_has_it_between_ten_and_ninety_millimetres() -> None:
    for crop in agronomy.crop_keys():
        for window in agronomy.depth_windows(crop):
            assert 0.01 < window.low <= window.high < 0.09, crop
