"""What is wrong on paper, as lines of the Next list."""

from __future__ import annotations

import re

from evenstand.base.estimate import Est
from evenstand.model import Cost, Finding, Product, Step
from evenstand.nextup import PaperFacts, accounting_steps

WHEAT = Product(key="wheat", name="Wheat, Home", kind="seed", price_kg=0.5)


def finding(state="does-not-hold", kg=3300.0, suspects=("fill-doubled:A",), about="Wheat, Home"):
    return Finding(
        claim=f"{about}: most likely a fill is entered twice.", state=state, suspects=(suspects,) if suspects else (),
        size=None if kg is None else Est(value=kg, sd=30.0), size_unit="kg", evidence=("delivered 9 000 kg",),
        settle_by="Lay the two entries side by side: one load, or two?", about=about,
    )  # fmt: skip


def steps(*found, said=(), profile="si"):
    return list(accounting_steps(PaperFacts(findings=found, products={"wheat": WHEAT}, said=tuple(said), profile=profile)))


def test_a_line_has_reason_evidence_cost_and_a_way_to_confirm():
    (step,) = steps(finding())
    assert (step.key, step.family) == ("paper:wheat", "accounting")
    assert step.do.startswith("Lay the two entries")
    assert step.because == finding().claim
    assert step.evidence == ("delivered 9 000 kg",)
    assert (step.cost_of_waiting.kg, step.cost_of_waiting.money) == (3300.0, 1650.0)
    assert step.confirm_by and step.closes_when


def test_its_numbers_are_stated_and_come_in_the_readers_units():
    (step,) = steps(finding(), profile="prairie")
    assert {(s.quantity, s.value) for s in step.stated} == {("mass", 3300.0), ("money", 1650.0)}
    (us,) = steps(finding(), profile="us")
    assert "lb" in us.cost_of_waiting.text
    assert re.search(r"7.275", us.cost_of_waiting.text)  # 3,300 kg / 0.45359237


def test_without_a_size_or_a_price_nothing_is_made_up():
    (step,) = steps(finding(kg=None))
    assert (step.cost_of_waiting.kg, step.cost_of_waiting.money) == (None, None)
    (other,) = steps(finding(about="canola"))
    assert other.cost_of_waiting.money is None
    assert "no price is known" in other.cost_of_waiting.text


def test_what_holds_or_cannot_be_told_is_no_line_and_two_wrongs_are_two():
    assert steps(finding("holds"), finding("cannot-tell")) == []
    both = steps(finding(), finding("doubtful", suspects=()))
    assert [s.key for s in both] == ["paper:wheat", "paper:wheat:2"]
    assert both[0].rank > both[1].rank


def test_what_a_jobs_own_readings_say_is_not_said_twice():
    own = Step(
        key="doubt:j:fills A", do="-", because="-", cost_of_waiting=Cost(), confirm_by="-", closes_when="-", family="doubting",
        about="fill-missed:A, fill-doubled:A",
    )  # fmt: skip
    assert steps(finding(), said=[own]) == []
    assert len(steps(finding(suspects=("fill-doubled:B",)), said=[own])) == 1
    assert len(steps(finding(suspects=()), said=[own])) == 1
