"""Inverses, order and scale of seeding plans, mixed lots, counts, depth and survival."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand import agronomy
from evenstand.base.estimate import Est
from evenstand.base.units import from_metric, to_metric

quick = settings(max_examples=60, deadline=None, derandomize=True)

plants = st.floats(5, 1000)
kernels = st.floats(1, 500)
alive = st.floats(0.2, 0.95)
spreads = st.floats(0.005, 0.05)


@st.composite
def lots(draw: st.DrawFn) -> list[agronomy.LotPart]:
    def one() -> agronomy.LotPart:
        share = draw(st.floats(0.3, 0.99))
        return agronomy.LotPart(
            mass_kg=Est(value=draw(st.floats(10, 10_000)), sd=draw(st.floats(0, 5))),
            tkw_g=Est(value=draw(kernels), sd=draw(st.floats(0, 0.5))),
            germination=Est(value=share, sd=draw(st.floats(0, 0.05))),
            survival=Est(value=share * 0.9, sd=draw(st.floats(0, 0.05))),
        )

    return [one() for _ in range(draw(st.integers(1, 5)))]


@quick
@given(plants, kernels, alive, spreads)
def test_the_rate_for_a_stand_gives_the_stand_of_that_rate(target: float, tkw: float, share: float, spread: float) -> None:
    weight, survives = Est(value=tkw, sd=spread * tkw), Est(value=share, sd=spread * share)
    there = agronomy.seeding_plan(weight, survives, plants_m2=target)
    back = agronomy.seeding_plan(weight, survives, rate_kg_ha=Est(value=there.rate_kg_ha.value))
    assert back.stand.value == pytest.approx(target)
    assert back.stand.sd == pytest.approx(there.stand.sd)


@quick
@given(plants, kernels, alive, spreads, st.floats(1.1, 4))
def test_knowing_less_never_makes_the_stand_surer(target: float, tkw: float, share: float, spread: float, worse: float) -> None:
    base = agronomy.seeding_plan(Est(value=tkw, sd=spread * tkw), Est(value=share, sd=spread * share), plants_m2=target)
    wider = agronomy.seeding_plan(Est(value=tkw, sd=spread * tkw), Est(value=share, sd=spread * share * worse), plants_m2=target)
    assert wider.stand.sd > base.stand.sd
    assert wider.stand.value == pytest.approx(base.stand.value)


@quick
@given(plants, kernels, alive, spreads, st.floats(0.1, 10))
def test_a_plan_scales_with_the_stand_wanted(target: float, tkw: float, share: float, spread: float, factor: float) -> None:
    weight, survives = Est(value=tkw, sd=spread * tkw), Est(value=share, sd=spread * share)
    one = agronomy.seeding_plan(weight, survives, plants_m2=target)
    many = agronomy.seeding_plan(weight, survives, plants_m2=target * factor)
    for name in ("rate_kg_ha", "seeds_m2", "stand"):
        assert getattr(many, name).value == pytest.approx(getattr(one, name).value * factor)
        assert getattr(many, name).sd == pytest.approx(getattr(one, name).sd * factor)
    assert [c.share for c in many.contributions] == pytest.approx([c.share for c in one.contributions])


@quick
@given(lots())
def test_a_mixture_lies_between_its_lots_and_its_shares_add_up(parts: list[agronomy.LotPart]) -> None:
    mixed = agronomy.mix_lots(parts)
    tkws = [p.tkw_g.value for p in parts]
    assert min(tkws) * (1 - 1e-9) <= mixed.tkw_g.value <= max(tkws) * (1 + 1e-9)
    assert sum(mixed.seed_shares) == pytest.approx(1)
    assert sum(mixed.mass_shares) == pytest.approx(1)
    assert mixed.germination is not None
    shares = [p.germination.value for p in parts if p.germination]
    assert min(shares) - 1e-9 <= mixed.germination.value <= max(shares) + 1e-9


@quick
@given(lots())
def test_one_lot_alone_and_one_lot_in_two_parts_are_that_lot(parts: list[agronomy.LotPart]) -> None:
    one = parts[0]
    assert one.survival is not None
    for mixed in (
        agronomy.mix_lots([one]),
        agronomy.mix_lots([agronomy.LotPart(mass_kg=Est(value=one.mass_kg.value / 2), tkw_g=one.tkw_g, survival=one.survival)] * 2),
    ):
        assert mixed.tkw_g.value == pytest.approx(one.tkw_g.value)
        assert mixed.survival is not None
        assert mixed.survival.value == pytest.approx(one.survival.value)
    alone = agronomy.mix_lots([one])
    assert alone.tkw_g.sd == pytest.approx(one.tkw_g.sd, abs=1e-12)
    assert alone.survival is not None
    assert alone.survival.sd == pytest.approx(one.survival.sd, abs=1e-12)


@quick
@given(lots(), st.floats(0.1, 10))
def test_a_mixture_does_not_hang_on_how_much_of_it_there_is(parts: list[agronomy.LotPart], factor: float) -> None:
    masses, tkws = [p.mass_kg.value for p in parts], [p.tkw_g.value for p in parts]
    assert agronomy.mixed_tkw([m * factor for m in masses], tkws) == pytest.approx(agronomy.mixed_tkw(masses, tkws))


@quick
@given(kernels, st.floats(0, 0.9))
def test_a_coating_goes_on_and_off(tkw: float, coating: float) -> None:
    assert agronomy.bare_tkw(agronomy.coated_tkw(tkw, coating), coating) == pytest.approx(tkw)


@quick
@given(st.floats(1, 400), st.floats(300, 1500))
def test_a_rate_in_bushels_and_back_is_that_rate(rate: float, density: float) -> None:
    for unit in ("bu (US)/ac", "bu (imp)/ac", "L/ha"):
        volume = from_metric(agronomy.volume_rate(rate, density), "volume_rate", unit)
        assert to_metric(volume, "volume_rate", unit) * density == pytest.approx(rate)


@quick
@given(st.lists(st.integers(0, 100), min_size=4, max_size=4), st.floats(0.5, 0.98))
def test_a_germination_lies_in_its_interval(grown: list[int], confidence: float) -> None:
    test = agronomy.germination_test(grown, confidence=confidence)
    assert 0 <= test.low <= test.germination.value <= test.high <= 1
    assert test.germination.sd > 0


@quick
@given(st.lists(st.floats(0.5, 40), min_size=1, max_size=8), st.floats(0.05, 1), st.floats(0.2, 5))
def test_twice_the_distance_is_half_the_stand(distances: list[float], spacing: float, factor: float) -> None:
    one = agronomy.stand_from_wheel(distances, spacing)
    far = agronomy.stand_from_wheel([d * factor for d in distances], spacing)
    for name in ("plants_m2", "low", "high", "sd"):
        assert getattr(far, name) == pytest.approx(getattr(one, name) / factor)
    assert far.counts_needed == pytest.approx(one.counts_needed, abs=1)


@quick
@given(st.lists(st.integers(1, 120), min_size=2, max_size=10))
def test_no_interval_is_tighter_than_random_scatter_allows(counts: list[int]) -> None:
    low, high = agronomy.quasi_poisson_interval(counts)
    mean, total = sum(counts) / len(counts), sum(counts)
    assert 0 < low < mean < high
    assert math.log(high / low) >= 2 * 1.9599 / math.sqrt(total)  # t is never below the normal


@quick
@given(st.lists(st.integers(1, 120), min_size=3, max_size=8))
def test_the_negative_binomial_interval_holds_the_mean(counts: list[int]) -> None:
    low, high = agronomy.negative_binomial_interval(counts)
    assert 0 <= low < sum(counts) / len(counts) < high


@quick
@given(
    st.lists(st.floats(0.01, 0.09), min_size=3, max_size=12),
    st.lists(st.floats(0.01, 0.09), min_size=3, max_size=12),
    st.floats(-0.005, 0.005),
)
def test_a_deeper_tool_is_deeper_and_its_wings_stay_as_they_were(left: list[float], right: list[float], more: float) -> None:
    def report(by: float) -> agronomy.DepthReport:
        tagged = [("left", d) for d in left] + [("right", d) for d in right]
        return agronomy.depth_report([agronomy.DepthReading(depth_m=d + by, wing=w) for w, d in tagged], window_m=(0.03, 0.05))

    one, two = report(0.0), report(more)
    assert two.mean_m == pytest.approx(one.mean_m + more)
    assert two.sd_m == pytest.approx(one.sd_m, abs=1e-9)
    assert [e.difference_m for e in two.effects] == pytest.approx([e.difference_m for e in one.effects], abs=1e-9)
    assert one.effects[0].difference_m == pytest.approx(-one.effects[1].difference_m, abs=1e-12)
    assert one.share_in is not None and one.shallow is not None and one.deep is not None
    assert one.share_in + one.shallow + one.deep == pytest.approx(1)


@quick
@given(st.lists(st.floats(0.3, 0.95), min_size=0, max_size=6), st.lists(st.floats(0.3, 0.95), min_size=0, max_size=6), st.floats(0, 1))
def test_what_is_planned_lies_between_prior_and_past(own: list[float], others: list[float], share: float) -> None:
    def past(field: str, values: list[float]) -> list[agronomy.FieldSurvival]:
        return [agronomy.FieldSurvival(field=field, season=i, survival=Est(value=v, sd=0.04)) for i, v in enumerate(values)]

    planned = agronomy.next_survival(past("home", own) + past("away", others), "home", Est(value=0.7, sd=0.08), field_share=share)
    seen = [0.7, *own, *others]
    assert min(seen) - 1e-9 <= planned.survival.value <= max(seen) + 1e-9
    assert planned.survival.sd >= 0
    assert 0 <= planned.own_weight <= 1


@quick
@given(st.floats(0, 60), st.floats(0.1, 30), st.floats(50, 400))
def test_later_never_costs_less(days: float, more: float, seeds: float) -> None:
    early, late = agronomy.late_seeding("barley", days, seeds), agronomy.late_seeding("barley", days + more, seeds)
    assert early.loss is not None and late.loss is not None
    assert late.loss >= early.loss
    assert early.day_on_day_m2 is not None and late.day_on_day_m2 is not None
    assert late.day_on_day_m2 >= early.day_on_day_m2 >= seeds * (1 - 1e-12)


@quick
@given(st.sampled_from(["wheat", "canola", "pea", "flax", "barley"]), st.floats(0.001, 50_000))
def test_a_number_is_inside_or_doubted_and_never_both(crop: str, value: float) -> None:
    found = agronomy.doubtful_numbers(crop, plants_m2=value)
    assert bool(found.doubts) != bool(found.inside)
    for doubt in found.doubts:
        assert doubt.below == (value < doubt.nearest.low)


@quick
@given(st.floats(0.05, 0.9), st.floats(0.05, 0.9))
def test_more_plants_missing_never_looks_less_thin(a: float, b: float) -> None:
    fewer, more = sorted((a, b))
    expected = Est(value=250, sd=10)

    def seen(share: float) -> agronomy.ThinStand:
        count = round(250 * share * 0.5)
        return agronomy.weigh_thin_stand(expected, agronomy.stand_from_counts([count] * 4, 0.5, interval="poisson"))

    assert seen(fewer).p_thin >= seen(more).p_thin - 1e-12
    assert seen(fewer).missing.value >= seen(more).missing.value - 1e-12
