"""The Next list under any facts: what waiting costs is a dose error times ground times price, and no number comes from nowhere."""

from __future__ import annotations

import dataclasses
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand.base.estimate import Est
from evenstand.model import (
    Bin,
    BinPlan,
    CardLine,
    Cost,
    Costs,
    Fill,
    Finding,
    Job,
    Lot,
    MeterFactor,
    Outfit,
    Place,
    Plan,
    Product,
    Step,
    Stop,
    Weather,
    Widths,
)
from evenstand.nextup import Facts, next_steps
from evenstand.nextup.facts import cost
from step_numbers import strays, unknown_quantities

share = st.floats(0.005, 0.3)
price = st.floats(0.05, 20.0)
rate = st.floats(1.0, 300.0)
area = st.floats(2.0, 400.0)
DAY = datetime(2027, 5, 4, tzinfo=UTC)


def plan_of(
    rates: tuple[float, float], ground: float, fill_ha: float, stops: tuple[Stop, ...] = (), card: tuple[CardLine, ...] = ()
) -> Plan:
    bins = tuple(
        BinPlan(bin=b, product=p, rate_kg_ha=r, ha_per_fill=Est(value=fill_ha))
        for b, p, r in zip("AB", ("wheat", "urea"), rates, strict=True)
    )
    return Plan(
        job="w", crop="wheat", outfit="a", field_name="Home", area_ha=ground, width_m=16.0, speed_m_s=2.0, in_work_ha_h=12.0, efficiency_low=0.6,
        efficiency_high=0.7, low_ha_h=8.0, high_ha_h=9.0, hours_in_work=None, hours_low=None, hours_high=None, bins=bins, stops=stops, card=card,
    )  # fmt: skip


def wrong(letter: str, size: float) -> Finding:
    return Finding(
        claim=f"Bin {letter} is off.", state="does-not-hold", suspects=((f"factor:{letter}",),), size=Est(value=size), confirm_by="Catch it.",
        worth_stopping=True, about=f"bin {letter}",
    )  # fmt: skip


def facts_of(
    rates: tuple[float, float], prices: tuple[float, float], ground: float, fill_ha: float, *, found: tuple[Finding, ...]
) -> Facts:
    products = {k: Product(key=k, name=k, kind="seed", price_kg=p) for k, p in zip(("wheat", "urea"), prices, strict=True)}
    return Facts(job=Job(key="w", crop="wheat", season=2027), plan=plan_of(rates, ground, fill_ha), products=products, findings=found)


def money_of(facts: Facts, letter: str) -> float:
    found = next(s.cost_of_waiting.money for s in next_steps(facts) if s.key == f"doubt:w:bin {letter}")
    assert found is not None
    return found


@given(size=share, per_ha=rate, kg_price=price, ground=area, fill_ha=area)
def test_waiting_costs_the_dose_error_times_the_ground_until_the_next_chance_times_the_price(
    size: float, per_ha: float, kg_price: float, ground: float, fill_ha: float
) -> None:
    facts = facts_of((per_ha, 50.0), (kg_price, 1.0), ground, fill_ha, found=(wrong("A", size),))
    assert money_of(facts, "A") == pytest.approx(size * per_ha * min(ground, fill_ha) * kg_price)


@given(size=share, per_ha=rate, kg_price=price, ground=area)
def test_double_the_hectares_and_it_doubles(size: float, per_ha: float, kg_price: float, ground: float) -> None:
    once, twice = (facts_of((per_ha, 50.0), (kg_price, 1.0), g, g, found=(wrong("A", size),)) for g in (ground, 2 * ground))
    assert money_of(twice, "A") == pytest.approx(2 * money_of(once, "A"))


@given(size=share, per_ha=rate, one=price, other=price, ground=area)
def test_swap_two_prices_and_the_order_swaps(size: float, per_ha: float, one: float, other: float, ground: float) -> None:
    if abs(one - other) < 0.01 * max(one, other):
        other = one * 1.5
    found = (wrong("A", size), wrong("B", size))

    def order(prices: tuple[float, float]) -> list[str]:
        return [s.key for s in next_steps(facts_of((per_ha, per_ha), prices, ground, ground, found=found)) if s.family == "doubting"]

    assert order((one, other)) == list(reversed(order((other, one))))


@given(sizes=st.tuples(share, share), ground=area)
def test_the_larger_error_of_two_alike_stands_first(sizes: tuple[float, float], ground: float) -> None:
    facts = facts_of((100.0, 100.0), (1.0, 1.0), ground, ground, found=(wrong("A", sizes[0]), wrong("B", sizes[1])))
    keys = [s.key for s in next_steps(facts) if s.family == "doubting"]
    larger = "A" if sizes[0] >= sizes[1] else "B"
    assert keys[0] == f"doubt:w:bin {larger}"


@given(size=share, parts=st.lists(rate, min_size=1, max_size=6), ground=area)
def test_the_cost_of_several_bins_is_the_sum_of_each(size: float, parts: list[float], ground: float) -> None:
    bins = [BinPlan(bin=str(i), product="wheat", rate_kg_ha=r, ha_per_fill=Est(value=ground)) for i, r in enumerate(parts)]
    facts = facts_of((1.0, 1.0), (2.0, 1.0), ground, ground, found=())
    whole: Cost = cost(facts, size, bins)
    assert whole.money == pytest.approx(sum(cost(facts, size, [b]).money or 0.0 for b in bins))
    assert whole.kg == pytest.approx(size * sum(parts) * ground)


# any facts at all -------------------------------------------------------------------------------------------------------
@st.composite
def any_facts(draw: st.DrawFn) -> Facts:
    ground, fill_ha = draw(area), draw(area)
    rates = (draw(rate), draw(rate))
    done = draw(st.none() | st.floats(0.0, ground))
    at = DAY + timedelta(hours=draw(st.floats(0, 23)))
    now = at + timedelta(hours=draw(st.floats(0, 60)))
    passes = draw(st.integers(1, 60))
    stop = Stop(
        after_pass=passes, latest_pass=passes + draw(st.integers(0, 9)), at_ha=draw(st.floats(0.5, ground)), at_h=None,
        left_kg={"A": draw(st.floats(1, 900)), "B": draw(st.floats(1, 900))}, add_kg={"A": draw(st.floats(1, 6000)), "B": draw(st.floats(1, 6000))},
    )  # fmt: skip
    card = (
        CardLine(key="low-alarm:A", group="bin", label="x", quantity="mass", state="known", value=draw(st.floats(20, 900)), bin="A", role="alarm"),
        CardLine(
            key="humid:urea", group="keep", label="x", quantity="share", state="known", value=0.7, product="urea", stale_now="Empty it",
        ),
    )  # fmt: skip
    found = [wrong("A", draw(share))] if draw(st.booleans()) else []
    if draw(st.booleans()):
        place = Place(area_ha=draw(st.floats(0.01, 20)), since_s=draw(st.floats(0, 9000)), runs=(1, 2, 3))
        found.append(dataclasses.replace(wrong("C", 0.1), suspects=(("head:C",),), place=place, about="head C"))
    if draw(st.booleans()):
        found.append(dataclasses.replace(wrong("B", draw(st.floats(10, 5000))), suspects=(("fill-missed:B",),), size_unit="kg"))
    lot = Lot(key="l", product="wheat", treated_at=DAY.isoformat(), sow_within_h=draw(st.floats(1, 200)))
    job = Job(
        key="w", crop="wheat", season=2027, finish_by=(DAY + timedelta(days=draw(st.integers(-3, 30)))).date().isoformat(),
        workable=draw(st.none() | st.floats(0.1, 1.0)), weather=Weather(relative_humidity=draw(st.none() | st.floats(0.2, 1.0))),
    )  # fmt: skip
    known = MeterFactor(
        outfit="a", bin="A", product="wheat", kg_turn=Est(value=draw(st.floats(0.1, 2))), how=draw(st.sampled_from(["typed", "catch"]))
    )
    fill = Fill(key="f", outfit="a", bin="A", product="wheat", put_kg=draw(st.floats(1, 6000)), put_sd_kg=5.0, at=at.isoformat())
    outfit = Outfit(
        key="a", name="A", bins=(Bin(letter="A"), Bin(letter="B")), widths=Widths(), costs=Costs(wage_h=draw(st.none() | st.floats(5, 90)))
    )
    prices = draw(st.tuples(st.none() | price, st.none() | price))
    return Facts(
        job=job, plan=plan_of(rates, ground, fill_ha, (stop,), card), outfit=outfit, lots={"wheat": lot}, factors=(known,), findings=tuple(found),
        products={k: Product(key=k, name=k, kind="seed", price_kg=p) for k, p in zip(("wheat", "urea"), prices, strict=True)},
        fills=(fill,) if draw(st.booleans()) else (), done_ha=done, done_at="" if done is None else at.isoformat(), now=now, today=now.date(),
        left_ha_other=draw(st.just(0.0) | area), day_ha=draw(st.none() | area), held=draw(st.sampled_from([{}, {"A": "urea"}])),
        left_kg={b: Est(value=draw(st.floats(0, 6000)), sd=10.0) for b in draw(st.sampled_from(["", "A", "AB"]))},
        stock_kg={p: draw(st.floats(0, 50_000)) for p in draw(st.sampled_from([(), ("wheat",), ("wheat", "urea")]))},
        profile=draw(st.sampled_from(["si", "prairie", "us"])),
    )  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(facts=any_facts())
def test_whatever_the_facts_no_number_comes_from_nowhere_and_every_line_is_whole(facts: Facts) -> None:
    steps = next_steps(facts)
    assert len({s.key for s in steps}) == len(steps)
    for step in steps:
        assert not strays(facts, step)
        assert not unknown_quantities(step)
        assert step.do and step.because and step.confirm_by and step.closes_when
        assert_cost_is_sound(facts, step)
    assert next_steps(facts) == steps
    assert [s.rank for s in steps] == sorted((s.rank for s in steps), reverse=True)


def assert_cost_is_sound(facts: Facts, step: Step) -> None:
    """Nothing below zero, and no money where a product that is touched has no price."""
    waiting = step.cost_of_waiting
    assert all(v is None or v >= 0 for v in (waiting.kg, waiting.ha, waiting.money))
    if all(p.price_kg is None for p in facts.products.values()) and step.family != "hauling" and not facts.finished:
        assert waiting.money is None


@settings(max_examples=60, deadline=None)
@given(facts=any_facts())
def test_a_finished_job_asks_for_nothing_that_its_sowing_needs(facts: Facts) -> None:
    over = dataclasses.replace(facts, done_ha=facts.plan.area_ha, done_at=facts.done_at or DAY.isoformat())
    assert {s.family for s in next_steps(over)} <= {"doubting", "resowing", "keeping", "filling"}
    assert not [s for s in next_steps(over) if s.family == "dating"]


@settings(max_examples=60, deadline=None)
@given(facts=any_facts(), later=st.integers(1, 20))
def test_the_nearer_the_date_the_more_a_day_is_needed(facts: Facts, later: int) -> None:
    def late_ha(today: date) -> float:
        steps = [s for s in next_steps(dataclasses.replace(facts, today=today, day_ha=10.0)) if s.family == "dating"]
        return steps[0].cost_of_waiting.ha or 0.0 if steps else 0.0

    assert late_ha(DAY.date() + timedelta(days=later)) >= late_ha(DAY.date()) - 1e-9
