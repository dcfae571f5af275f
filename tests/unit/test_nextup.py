"""The Next list: order, price of waiting, no invented numbers."""

from __future__ import annotations

import dataclasses
from datetime import date

import pytest

from evenstand.base.estimate import Est
from evenstand.model import Ask, Bin, BinPlan, Finding, Job, Lot, MeterFactor, Outfit, Plan, Product, Stop, Widths
from evenstand.nextup import Facts, next_steps


def bin_plan(letter: str, product: str, rate: float, ha_per_fill: float) -> BinPlan:
    return BinPlan(bin=letter, product=product, rate_kg_ha=rate, ha_per_fill=Est(value=ha_per_fill), full_kg=Est(value=rate * ha_per_fill))


def plan(**changes) -> Plan:
    base = {
        "job": "w",
        "crop": "wheat",
        "outfit": "a",
        "field_name": "",
        "area_ha": 200.0,
        "width_m": 16.3,
        "speed_m_s": 2.1,
        "in_work_ha_h": 12.0,
        "efficiency_low": 0.65,
        "efficiency_high": 0.7,
        "low_ha_h": 8.0,
        "high_ha_h": 8.5,
        "hours_in_work": 16.0,
        "hours_low": 23.0,
        "hours_high": 25.0,
        "bins": (bin_plan("A", "wheat", 120, 40), bin_plan("B", "urea", 120, 40)),
    }
    return Plan(**{**base, **changes})


PRODUCTS = {
    "wheat": Product(key="wheat", name="wheat", kind="seed", price_kg=0.5),
    "urea": Product(key="urea", name="urea", kind="fertilizer", price_kg=1.0),
}
JOB = Job(key="w", crop="wheat", season=2027, asks=(Ask(product="wheat", rate_kg_ha=120), Ask(product="urea", rate_kg_ha=120)))
PROVEN = Outfit(
    key="a", name="A", widths=Widths(true_m=Est(value=16.3)), pulse_m=Est(value=0.19), fan_turns_s=Est(value=72), bins=(Bin(letter="A"),)
)


def wrong(letter: str, share: float) -> Finding:
    return Finding(
        claim=f"Bin {letter} gives more per turn than typed.",
        state="does-not-hold",
        suspects=((f"factor:{letter}",),),
        size=Est(value=share, sd=0.005),
        confirm_by=f"Catch bin {letter}.",
        worth_stopping=True,
        about=f"bin {letter}",
    )


def facts(**changes) -> Facts:
    caught = tuple(
        MeterFactor(outfit="a", bin=b, product=p, kg_turn=Est(value=1.2, sd=0.01), how="catch") for b, p in (("A", "wheat"), ("B", "urea"))
    )
    base = {"job": JOB, "plan": plan(), "outfit": PROVEN, "products": PRODUCTS, "factors": caught, "done_ha": 20.0}
    return Facts(**{**base, **changes})


def money(steps, letter):
    return next(s.cost_of_waiting.money for s in steps if s.about == f"factor:{letter}")


def test_nothing_wrong_and_everything_proven_is_an_empty_list():
    assert next_steps(facts()) == ()


def test_the_price_of_waiting_is_dose_error_times_rate_times_hectares_times_price():
    steps = next_steps(facts(findings=(wrong("A", 0.06),)))
    assert money(steps, "A") == pytest.approx(0.06 * 120 * 40 * 0.5)
    assert steps[0].cost_of_waiting.kg == pytest.approx(0.06 * 120 * 40)


def test_double_the_hectares_and_it_doubles():
    twice = plan(bins=(bin_plan("A", "wheat", 120, 80), bin_plan("B", "urea", 120, 80)))
    one = money(next_steps(facts(findings=(wrong("A", 0.06),))), "A")
    two = money(next_steps(facts(plan=twice, findings=(wrong("A", 0.06),))), "A")
    assert two == pytest.approx(2 * one)


def test_swap_two_prices_and_the_order_swaps():
    found = (wrong("A", 0.06), wrong("B", 0.06))
    swapped = {k: dataclasses.replace(p, price_kg=1.5 - p.price_kg) for k, p in PRODUCTS.items()}
    first = [s.about for s in next_steps(facts(findings=found))]
    second = [s.about for s in next_steps(facts(findings=found, products=swapped))]
    assert first == ["factor:B", "factor:A"]
    assert second == ["factor:A", "factor:B"]


def test_without_a_price_no_amount_is_made_up():
    unpriced = {k: dataclasses.replace(p, price_kg=None) for k, p in PRODUCTS.items()}
    step = next_steps(facts(findings=(wrong("A", 0.06),), products=unpriced))[0]
    assert step.cost_of_waiting.money is None
    assert step.cost_of_waiting.kg == pytest.approx(288)
    assert "no price is known" in step.cost_of_waiting.text


def test_no_more_hectares_are_at_stake_than_are_left():
    step = next_steps(facts(findings=(wrong("A", 0.06),), done_ha=190.0))[0]
    assert step.cost_of_waiting.ha == pytest.approx(10)


def test_a_new_lot_asks_for_a_catch_and_a_catch_with_it_closes_the_line():
    new = {"wheat": Lot(key="lot-2", product="wheat")}
    old = tuple(
        MeterFactor(outfit="a", bin=b, product=p, lot="lot-1" if b == "A" else "", kg_turn=Est(value=1.2), how="catch")
        for b, p in (("A", "wheat"), ("B", "urea"))
    )
    assert [s.key for s in next_steps(facts(factors=old, lots=new))] == ["catch:w:A"]
    caught = (*old, MeterFactor(outfit="a", bin="A", product="wheat", lot="lot-2", kg_turn=Est(value=1.22), how="catch", at="2027-05-10"))
    assert next_steps(facts(factors=caught, lots=new)) == ()
    assert [s.key for s in next_steps(facts(factors=old, lots=new))] == ["catch:w:A"], "and it reopens when the evidence goes"


def test_a_typed_factor_is_no_proof():
    typed = tuple(
        MeterFactor(outfit="a", bin=b, product=p, kg_turn=Est(value=1.2), how="typed") for b, p in (("A", "wheat"), ("B", "urea"))
    )
    assert {s.key for s in next_steps(facts(factors=typed))} == {"catch:w:A", "catch:w:B"}


def test_the_next_fill_names_its_pass_and_the_least_left():
    stops = (
        Stop(after_pass=14, latest_pass=16, at_ha=36.0, at_h=4.0, left_kg={"A": 480.0, "B": 520.0}, add_kg={"A": 4320.0, "B": 4280.0}),
    )
    step = next(s for s in next_steps(facts(plan=plan(stops=stops), done_pass=3)) if s.family == "filling")
    assert "after pass 14, no later than pass 16" in step.do
    assert "bin A, 480 kg" in step.because
    assert [s for s in next_steps(facts(plan=plan(stops=stops), done_pass=14)) if s.family == "filling"] == []


def test_a_date_that_does_not_fit_says_by_how_much():
    late = dataclasses.replace(JOB, finish_by="2027-05-11")
    step = next(s for s in next_steps(facts(job=late, today=date(2027, 5, 10), day_ha=80.0)) if s.family == "dating")
    assert "90.00 ha a day" in step.do
    assert "10.00 ha a day more" in step.do
    assert not [s for s in next_steps(facts(job=late, today=date(2027, 5, 10), day_ha=95.0)) if s.family == "dating"]


def test_a_fault_not_worth_stopping_for_stands_below_a_missing_proof():
    small = dataclasses.replace(wrong("A", 0.01), worth_stopping=False)
    order = [s.family for s in next_steps(facts(findings=(small,), outfit=dataclasses.replace(PROVEN, fan_turns_s=None)))]
    assert order == ["proving", "doubting"]
    assert next_steps(facts(findings=(small,)))[0].do.startswith("Leave it")


def test_the_same_facts_give_the_same_list():
    snapshot = facts(findings=(wrong("A", 0.06), wrong("B", 0.03)))
    assert next_steps(snapshot) == next_steps(snapshot)
