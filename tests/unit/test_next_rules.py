"""The rules one family at a time: what opens a line, what it costs to wait, what closes it, and that no number comes from nowhere."""

from __future__ import annotations

import dataclasses
from datetime import UTC, date, datetime

import pytest
from test_nextup import JOB, PRODUCTS, PROVEN, facts, plan, wrong

from evenstand.base.estimate import Est
from evenstand.model import CardLine, Costs, Fill, Finding, Head, Job, Load, Lot, Order, Place, Product, Stop, Weather
from evenstand.nextup import StockFacts, next_steps, ordering_steps
from evenstand.nextup.commissioning import Measured, ProofFacts
from evenstand.nextup.unproven import open_items
from step_numbers import strays, unknown_quantities

STOPS = (
    Stop(after_pass=14, latest_pass=16, at_ha=36.0, at_h=4.0, left_kg={"A": 480.0, "B": 520.0}, add_kg={"A": 4320.0, "B": 4280.0}),
    Stop(after_pass=28, latest_pass=30, at_ha=72.0, at_h=8.0, left_kg={"A": 400.0, "B": 500.0}, add_kg={"A": 3000.0, "B": 2500.0}),
)
AT = "2027-05-04T08:00:00.000Z"
NOON = datetime(2027, 5, 4, 12, tzinfo=UTC)


def one(family: str, **changes):
    """The only step of a family."""
    (step,) = [s for s in next_steps(facts(**changes)) if s.family == family]
    return step


def none(family: str, **changes) -> bool:
    return not [s for s in next_steps(facts(**changes)) if s.family == family]


# fills and the truck ----------------------------------------------------------------------------------------------------
def test_a_fill_is_due_by_pass_and_between_two_hours():
    step = one("filling", plan=plan(stops=STOPS), done_ha=20.0, done_at=AT, done_pass=8, now=NOON.replace(hour=8, minute=30))
    assert "after pass 14, no later than pass 16: A 4\u202f320 kg, B 4\u202f280 kg" in step.do
    assert "between 09:52 and 10:00 UTC" in step.because, "16 ha at 8.5 and at 8.0 ha/h from 08:00 on"
    assert step.rank < 60


def test_an_empty_bin_costs_its_whole_rate_over_one_pass():
    cost = one("filling", plan=plan(stops=STOPS), done_pass=8).cost_of_waiting
    assert cost.ha == pytest.approx(36.0 / 14)
    assert cost.kg == pytest.approx(120 * 36.0 / 14)
    assert cost.money == pytest.approx(0.5 * 120 * 36.0 / 14)


def test_a_fill_climbs_as_its_hour_comes_and_passes():
    given = {"plan": plan(stops=STOPS), "done_ha": 20.0, "done_at": AT, "done_pass": 8}
    early, soon, late = (one("filling", **given, now=NOON.replace(hour=h, minute=m)).rank for h, m in ((8, 10), (9, 30), (10, 30)))
    assert early < soon < late
    assert "it was due between" in one("filling", **given, now=NOON.replace(hour=10, minute=30)).because


def test_over_night_the_clock_stands_still():
    given = {"plan": plan(stops=STOPS), "done_ha": 20.0, "done_at": AT, "done_pass": 8}
    step = one("filling", **given, now=datetime(2027, 5, 5, 6, tzinfo=UTC))
    assert step.rank == one("filling", **given, now=NOON.replace(hour=8, minute=1)).rank
    assert "UTC" not in step.because and "2027-05-04" in step.because


def test_the_fill_check_closes_when_hectares_are_read_after_the_fill():
    fill = Fill(key="f", outfit="a", bin="A", product="wheat", put_kg=4000, put_sd_kg=8, at=AT)
    assert one("filling", fills=(fill,), done_at="2027-05-04T07:00:00.000Z").about == "fill check"
    assert none("filling", fills=(fill,), done_at="2027-05-04T09:00:00.000Z")


def test_the_truck_is_asked_for_once_sowing_has_begun_until_it_is_loaded():
    given = {"plan": plan(stops=STOPS), "done_ha": 20.0, "done_at": AT, "done_pass": 8}
    step = one("hauling", **given)
    assert "4\u202f320 kg wheat, 4\u202f280 kg urea" in step.do
    assert step.cost_of_waiting.ha == pytest.approx(8.0) and step.cost_of_waiting.money is None
    assert none("hauling", **{**given, "done_ha": None, "done_pass": None})
    loaded = Load(key="t", kind="truck", product="wheat", at="2027-05-04T08:30:00.000Z", job="w")
    assert none("hauling", **given, trucks=(loaded,))
    used = Fill(key="f", outfit="a", bin="A", product="wheat", put_kg=4000, put_sd_kg=8, at="2027-05-04T10:00:00.000Z")
    assert not none("hauling", **given, trucks=(loaded,), fills=(used,)), "what it brought is in the bins: the next load is asked for"


def test_a_waiting_outfit_is_priced_only_where_wages_are_typed():
    paid = dataclasses.replace(PROVEN, costs=Costs(wage_h=60.0))
    step = one("hauling", plan=plan(stops=STOPS), done_ha=20.0, done_at=AT, done_pass=8, outfit=paid)
    assert step.cost_of_waiting.money == 60.0


def test_what_is_short_for_the_rest_of_the_job_is_weighed_with_what_is_in_the_bins():
    stock = {"wheat": 15_000.0, "urea": 50_000.0}
    left = {"A": Est(value=1600.0), "B": Est(value=100.0)}
    step = one("hauling", stock_kg=stock, left_kg=left)
    assert step.cost_of_waiting.kg == pytest.approx(120 * 180 - 15_000 - 1600)
    assert step.cost_of_waiting.ha == pytest.approx((120 * 180 - 16_600) / 120)
    assert none("hauling", stock_kg={**stock, "wheat": 20_000.0}, left_kg=left)
    assert none("hauling", stock_kg=stock), "what is in the bins cannot be told: nothing is called short"


# heads, alarms, nights --------------------------------------------------------------------------------------------------
DEAD = Finding(
    claim="Head C is dead.", state="does-not-hold", suspects=(("head:C",),), place=Place(area_ha=0.6, since_s=900.0, runs=tuple(range(17, 25))),
    settle_by="look into head C", confirm_by="Look into head C.", worth_stopping=True, about="head C",
)  # fmt: skip


def test_a_dead_head_is_sown_again_and_a_run_never_is():
    step = one("resowing", findings=(DEAD,))
    assert step.by_word and "0.60 ha" in step.do and "8 runs" in step.because
    assert step.cost_of_waiting.kg == pytest.approx(0.6 * (120 + 120))
    assert step.cost_of_waiting.money == pytest.approx(0.6 * (120 * 0.5 + 120 * 1.0))
    run = dataclasses.replace(DEAD, suspects=(("run:17",),), about="run 17")
    assert none("resowing", findings=(run,))
    assert none("resowing", findings=(dataclasses.replace(DEAD, state="holds"),))


def test_only_the_bins_of_the_heads_stream_are_counted():
    bins = tuple(dataclasses.replace(b, stream=s) for b, s in zip(plan().bins, ("1", "2"), strict=True))
    outfit = dataclasses.replace(PROVEN, heads=(Head(letter="C", outlets=8, stream="1"),))
    assert one("resowing", findings=(DEAD,), plan=plan(bins=bins), outfit=outfit).cost_of_waiting.kg == pytest.approx(0.6 * 120)


def test_a_head_found_dead_again_later_is_another_line():
    later = dataclasses.replace(DEAD, place=dataclasses.replace(DEAD.place, since_s=5000.0))
    assert one("resowing", findings=(DEAD,)).key != one("resowing", findings=(later,)).key


def alarm(value: float) -> CardLine:
    return CardLine(
        key="low-alarm:A",
        group="bin",
        label="Low-bin alarm",
        quantity="mass",
        state="known",
        value=value,
        bin="A",
        product="wheat",
        role="alarm",
    )


def test_alarms_are_set_for_another_product_and_another_limit_opens_the_line_again():
    given = {"done_ha": None, "held": {"A": "urea", "B": "urea"}}
    step = one("setting", **given, plan=plan(card=(alarm(360.0),), stops=STOPS))
    assert "A, wheat: low bin 360 kg" in step.because and "A held urea" in step.because and step.by_word
    assert step.cost_of_waiting.kg == pytest.approx(120 * 36.0 / 14)
    assert one("setting", **given, plan=plan(card=(alarm(400.0),), stops=STOPS)).key != step.key
    assert none("setting", **{**given, "held": {"A": "wheat"}}, plan=plan(card=(alarm(360.0),)))
    assert none("setting", **{**given, "done_ha": 5.0}, plan=plan(card=(alarm(360.0),)))


def damp(**changes):
    line = CardLine(
        key="humid:urea", group="keep", label="urea takes up water from", quantity="share", state="known", value=0.7, product="urea",
        role="limit", stale_now="Empty or run this bin out tonight",
    )  # fmt: skip
    base = {
        "plan": plan(card=(line,)),
        "job": dataclasses.replace(JOB, weather=Weather(relative_humidity=0.9, at=AT)),
        "today": date(2027, 5, 4),
        "left_kg": {"B": Est(value=1500.0, sd=100.0)},
    }
    return {**base, **changes}


def test_a_damp_night_empties_only_bins_that_hold_something_tonight():
    step = one("keeping", **damp())
    assert "bin B" in step.do and "1\u202f500 kg" in step.do and "70.0%" in step.because and "90.0%" in step.because
    assert (step.cost_of_waiting.kg, step.cost_of_waiting.money) == (1500.0, 1500.0)
    assert none("keeping", **damp(left_kg={"B": Est(value=100.0, sd=100.0)})), "what may as well be nothing"
    assert none("keeping", **damp(left_kg={}))
    assert none("keeping", **damp(today=date(2027, 5, 5))), "that was last night's air"
    assert none("keeping", **damp(job=JOB))


def test_treated_seed_is_sown_before_its_labels_hours_end():
    lots = {"wheat": Lot(key="l", product="wheat", label="L 7", treated_at="2027-05-04T00:00:00Z", sow_within_h=30.0)}
    step = one("keeping", lots=lots, now=NOON)
    assert step.cost_of_waiting.ha == pytest.approx(180 - 8.0 * 18)
    assert step.cost_of_waiting.kg == pytest.approx(120 * (180 - 8.0 * 18))
    assert "2027-05-05 at 06:00 UTC" in step.do
    assert none("keeping", lots={"wheat": dataclasses.replace(lots["wheat"], sow_within_h=48.0)}, now=NOON)
    assert one("keeping", lots=lots, now=datetime(2027, 5, 6, tzinfo=UTC)).do.startswith("Ask the label")


# dates and orders -------------------------------------------------------------------------------------------------------
def test_a_date_counts_other_fields_of_the_outfit_and_says_what_comes_after_it():
    late = dataclasses.replace(JOB, finish_by="2027-05-11")
    step = one("dating", job=late, today=date(2027, 5, 10), day_ha=80.0, left_ha_other=20.0)
    assert "100.00 ha a day" in step.do and "20.00 ha a day more" in step.do
    assert step.cost_of_waiting.ha == pytest.approx(200.0 - 160.0)
    passed = one("dating", job=late, today=date(2027, 5, 12), day_ha=80.0)
    assert "has passed with 180.00 ha left" in passed.do and passed.cost_of_waiting.ha == 180.0


SOWS = Job(key="w", crop="wheat", season=2027, start_on="2027-05-06", asks=JOB.asks)
ORDER = Order(key="o", product="urea", quantity_kg=9000.0, supplier="the co-op", wanted_by="2027-05-08")


def stock(**changes) -> StockFacts:
    base = {
        "orders": (ORDER,),
        "owed_kg": {"o": 9000.0},
        "on_hand_kg": {"urea": 2000.0},
        "jobs": (SOWS,),
        "need_kg": {("w", "urea"): 6000.0},
        "products": PRODUCTS,
        "today": date(2027, 5, 4),
    }
    return StockFacts(**{**base, **changes})


def test_an_order_that_comes_after_the_first_day_it_is_missed():
    (step,) = ordering_steps(stock())
    assert "come sooner" in step.do and "the co-op" in step.do
    assert step.cost_of_waiting.kg == pytest.approx(4000.0)
    assert step.cost_of_waiting.ha == pytest.approx(4000.0 / 120)
    assert step.cost_of_waiting.money == pytest.approx(4000.0)
    assert not strays(stock(), step)


def test_an_order_in_time_or_not_needed_or_delivered_is_no_line():
    assert not list(ordering_steps(stock(orders=(dataclasses.replace(ORDER, wanted_by="2027-05-05"),))))
    assert not list(ordering_steps(stock(on_hand_kg={"urea": 6000.0})))
    assert not list(ordering_steps(stock(owed_kg={"o": 0.0})))


def test_an_order_past_its_day_is_asked_for_whether_it_is_missed_yet_or_not():
    (missed,) = ordering_steps(stock(today=date(2027, 5, 10)))
    (idle,) = ordering_steps(stock(today=date(2027, 5, 10), need_kg={}))
    assert "2 days past its day" in missed.do and missed.rank > idle.rank
    assert idle.cost_of_waiting.kg == 0.0


def test_an_agreed_price_goes_before_the_products():
    (step,) = ordering_steps(stock(orders=(dataclasses.replace(ORDER, price_kg=2.0),)))
    assert step.cost_of_waiting.money == pytest.approx(8000.0) and "order's price" in step.cost_of_waiting.text


def test_what_is_on_hand_goes_to_the_first_job_first():
    second = dataclasses.replace(SOWS, key="x", start_on="2027-05-20")
    (step,) = ordering_steps(
        stock(
            jobs=(second, SOWS),
            need_kg={("w", "urea"): 2000.0, ("x", "urea"): 3000.0},
            orders=(dataclasses.replace(ORDER, wanted_by="2027-05-25"),),
        )
    )
    assert step.job == "x" and step.cost_of_waiting.kg == pytest.approx(3000.0)


# proving the outfit -----------------------------------------------------------------------------------------------------
def proofs():
    return open_items(ProofFacts(outfit=PROVEN, factors={"A": 1.2}, products={"A": "wheat"}, today=date(2027, 5, 4)))


def test_what_was_never_measured_is_one_line_before_the_first_hectare():
    step = one("readying", proofs=proofs(), done_ha=None)
    asked_elsewhere = {"catch", "tape", "distance", "fan", "dig"}
    count = sum(1 for p in proofs() if p.step not in asked_elsewhere or p.step in {"catch", "tape", "distance", "fan"})
    assert step.key == "prove:a" and f"{count} things" in step.do
    assert none("readying", proofs=proofs(), done_ha=5.0)
    assert none("readying", proofs=None, done_ha=None)


def test_an_item_outside_its_band_costs_what_was_measured():
    item = next(p for p in proofs() if p.key == "distance")
    long = dataclasses.replace(item, state="outside", share=0.04, step="")
    step = one("readying", proofs=(long,))
    assert step.cost_of_waiting.kg == pytest.approx(0.04 * 120 * 40)
    assert step.key == "prove:a:distance"


def test_an_item_outside_its_band_says_what_was_found_and_what_it_should_be():
    item = next(p for p in proofs() if p.key == "distance")
    found = Measured(item="distance", value=1.04, at="2027-05-03T06:00:00Z")
    step = one("readying", proofs=(dataclasses.replace(item, state="outside", share=0.04, step="", found=found),))
    assert step.because.startswith("Found on 2027-05-03: 104.0%. It should be 99.0% to 101.0%")
    assert {1.04, item.item.low, item.item.high} <= {s.value for s in step.stated if s.quantity == item.item.quantity}
    lid = next(p for p in proofs() if p.key == "lid:A")
    leaks = Measured(item="lid:A", text="leaks")
    step = one("readying", proofs=(dataclasses.replace(lid, state="outside", step="", found=leaks),))
    assert step.because.startswith("Found: leaks. It should be tight")


def test_what_proving_asks_for_already_stands_once():
    unproven = dataclasses.replace(PROVEN, pulse_m=None, drive="ground")
    item = dataclasses.replace(next(p for p in proofs() if p.key == "distance"), state="due")
    steps = next_steps(facts(outfit=unproven, proofs=(item,)))
    assert [s.key for s in steps if "distance" in s.key] == ["distance:a"]


def test_the_dig_closes_with_its_record():
    dig = dataclasses.replace(proofs()[0], key="stream:1", step="dig")
    assert "dig:w" in {s.key for s in next_steps(facts(done_ha=None, proofs=(dig,)))}
    assert "dig:w" not in {s.key for s in next_steps(facts(done_ha=None, proofs=()))}


# doubts -----------------------------------------------------------------------------------------------------------------
def test_what_cannot_be_told_is_one_line_with_the_reading_that_settles_most():
    def untold(about: str, act: str) -> Finding:
        return Finding(claim=f"{about} cannot be told.", state="cannot-tell", suspects=(("factor:A",),), settle_by=act, about=about)

    step = one("doubting", findings=(untold("rate A", "read the rate"), untold("bin A", "weigh it"), untold("fills A", "weigh it")))
    assert step.do == "Weigh it." and "rate A, bin A, fills A" in step.because and step.evidence == ("Then: Read the rate.",)


def test_two_things_wrong_at_one_place_are_two_lines():
    leak = dataclasses.replace(wrong("A", -0.05), suspects=(("lid:A",),))
    keys = [s.key for s in next_steps(facts(findings=(wrong("A", 0.06), leak))) if s.family == "doubting"]
    assert sorted(keys) == ["doubt:w:bin A", "doubt:w:bin A:lid:A"]


def test_a_mass_that_is_not_accounted_for_is_priced_as_such():
    missing = dataclasses.replace(wrong("A", 0.0), suspects=(("fill-missed:A",),), size=Est(value=1900.0, sd=80.0), size_unit="kg")
    cost = one("doubting", findings=(missing,)).cost_of_waiting
    assert (cost.kg, cost.money) == (1900.0, 950.0) and "not accounted for" in cost.text


# the whole --------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("profile", ["si", "prairie", "us"])
def test_no_number_stands_in_a_text_that_is_not_in_the_facts(profile):
    fills = (Fill(key="f", outfit="a", bin="A", product="wheat", put_kg=4000, put_sd_kg=8, at="2027-05-04T09:00:00.000Z"),)
    job = dataclasses.replace(JOB, finish_by="2027-05-06", workable=0.7, weather=Weather(relative_humidity=0.9, at=AT))
    lots = {"wheat": Lot(key="l", product="wheat", label="L 7", treated_at="2027-05-04T00:00:00Z", sow_within_h=30.0)}
    base = {
        **damp(),
        "findings": (wrong("A", 0.06), DEAD), "fills": fills, "done_at": AT, "done_pass": 8, "now": NOON, "day_ha": 40.0, "left_ha_other": 7.5,
        "job": job, "lots": lots, "stock_kg": {"wheat": 3000.0, "urea": 2000.0}, "held": {"A": "urea"}, "profile": profile,
        "plan": plan(stops=STOPS, card=(alarm(360.0), *damp()["plan"].card)), "proofs": proofs(), "factors": (),
        "outfit": dataclasses.replace(PROVEN, fan_turns_s=None, pulse_m=None, drive="ground", costs=Costs(wage_h=61.0)),
        "left_kg": {"A": Est(value=700.0, sd=60.0), "B": Est(value=1500.0, sd=100.0)},
    }  # fmt: skip
    seen = set()
    for changes in (
        {},
        {"done_ha": None, "done_at": "", "done_pass": None, "fills": ()},
        {"now": datetime(2027, 5, 7, tzinfo=UTC), "today": date(2027, 5, 7)},
    ):
        snapshot = facts(**{**base, **changes})
        for step in next_steps(snapshot):
            assert not strays(snapshot, step)
            assert not unknown_quantities(step)
            seen.add(step.family)
    assert seen == {"doubting", "resowing", "keeping", "proving", "readying", "setting", "filling", "hauling", "dating"}


def test_the_reader_of_numbers_finds_one_that_comes_from_nowhere():
    """So that the test above is known to be able to fail."""
    snapshot = facts(findings=(wrong("A", 0.06),))
    (step, *_) = next_steps(snapshot)
    assert not strays(snapshot, step)
    assert strays(snapshot, dataclasses.replace(step, because="About 17 % too much."))
    assert strays(snapshot, dataclasses.replace(step, stated=()))


def test_every_line_says_how_it_is_confirmed_and_what_closes_it():
    snapshot = facts(findings=(wrong("A", 0.06), DEAD), factors=(), plan=plan(stops=STOPS), done_at=AT, now=NOON, proofs=proofs())
    for step in next_steps(snapshot):
        assert step.do and step.because and step.confirm_by and step.closes_when and step.cost_of_waiting.text


def test_products_without_a_price_are_never_given_one():
    unpriced = {k: Product(key=k, name=k, kind=p.kind) for k, p in PRODUCTS.items()}
    for step in next_steps(facts(**damp(products=unpriced, findings=(wrong("A", 0.06), DEAD)), factors=())):
        assert step.cost_of_waiting.money is None
