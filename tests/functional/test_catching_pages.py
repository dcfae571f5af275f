"""A catch with a book: what the scale should show before it does, what it means after, drift, and which proofs are stale since when."""

from __future__ import annotations

import dataclasses
import re
from datetime import UTC, datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from evenstand.base.clock import FixedClock
from evenstand.base.errors import MissingError, RangeError
from evenstand.book import Book, CatchRecord
from evenstand.desk.catching import CatchSaid, answer_catch, catch_now, crank_text, expected_text, keep_catch, rows_answer, shown_text
from evenstand.desk.demo import build_book
from evenstand.desk.proof_changes import keep_change
from evenstand.desk.proofs import keep_proof, open_proofs, proof_lines
from evenstand.desk.sheets import book_context
from evenstand.model import Job, Lot, Outfit
from evenstand.paper.catches import catch_data
from evenstand.web.site import create_app

D = "home-wheat|D"
DAY = datetime(2027, 5, 20, 6, 0, tzinfo=UTC)


def at(hours: float) -> FixedClock:
    return FixedClock(DAY + timedelta(hours=hours))


@pytest.fixture
def book(tmp_path):
    build_book(tmp_path / "book")
    with Book.open(tmp_path / "book", write=True, who="test", clock=at(0)) as opened:
        yield opened


@pytest.fixture
def site(tmp_path):
    build_book(tmp_path / "book")
    with TestClient(create_app(tmp_path / "book", clock=at(0)), base_url="http://127.0.0.1") as client:
        client.headers["Origin"] = "http://127.0.0.1"
        yield client


def line(book, key, hours=0.0):
    return next(x for x in proof_lines(book, "A", clock=at(hours)) if x.item.key == key)


def test_what_the_scale_should_show_is_told_before_the_bag_is_on_it(book):
    now = catch_now(book, D, clock=at(0))
    # five turns of 1.200 kg and a bag of 0.18 kg
    told = expected_text(now, CatchSaid(tare_kg=0.18, division_kg=0.02))
    assert told.startswith("Over 5 turns bag and product should weigh 6.180 kg; ")
    assert "of 25.0% of the meter" in expected_text(now, CatchSaid(share=0.25)) or "of 25" in expected_text(now, CatchSaid(share=0.25))
    low, high = (float(x) for x in re.search(r"; ([\d.]+) to ([\d.]+) kg is good", told).groups())
    coarse = expected_text(now, CatchSaid(tare_kg=0.18, division_kg=1.0))
    wide = [float(x) for x in re.search(r"; ([\d.]+) to ([\d.]+) kg is good", coarse).groups()]
    assert wide[0] < low < high < wide[1]
    assert expected_text(dataclasses.replace(now, believed=None), CatchSaid()).startswith("Nothing is known yet")


def test_good_longer_and_find_out_why_are_those_of_the_card(book):
    now = catch_now(book, D, clock=at(0))
    words = {kg: answer_catch(now, CatchSaid(turns=5, masses_kg=(kg,))).verdict for kg in (6.0, 6.7, 9.0)}
    assert words == {6.0: "good", 6.7: "longer", 9.0: "find out why"}
    alone = answer_catch(None, CatchSaid(turns=5, masses_kg=(6.0,)))
    assert alone.verdict == "longer"
    with pytest.raises(MissingError):
        answer_catch(now, CatchSaid(turns=5))


def test_drift_is_told_against_the_last_catch(book):
    first = CatchSaid(turns=5, masses_kg=(6.0,))
    now = catch_now(book, D, clock=at(0))
    assert answer_catch(now, first).drift == ""
    keep_catch(book, now, first, by="Kim", clock=at(0))
    then = catch_now(book, D, clock=at(1))
    assert "within what two catches differ by" in answer_catch(then, CatchSaid(turns=5, masses_kg=(6.05,))).drift
    assert "it has moved" in answer_catch(then, CatchSaid(turns=5, masses_kg=(6.9,))).drift
    (kept,) = book.all(CatchRecord, outfit="A")
    assert (kept.by, kept.lot) == ("Kim", then.lot)
    assert then.lot


def test_a_catch_is_due_after_another_roller(book):
    b = planned(book)[0]
    caught = CatchSaid(turns=5, masses_kg=(6.0,))
    keep_catch(book, catch_now(book, f"{current(book)}|{b.bin}", clock=at(-2)), caught, clock=at(-2))
    assert line(book, f"catch:{b.bin}", 1).state != "due"
    outfit = book.get(Outfit, "A")
    bins = tuple(
        dataclasses.replace(x, meter=dataclasses.replace(x.meter, roller="another")) if x.letter == b.bin else x for x in outfit.bins
    )
    book.put(dataclasses.replace(outfit, bins=bins))  # the book's clock stands at 06:00
    told = line(book, f"catch:{b.bin}", 2)
    assert (told.state, told.due, told.since[:16]) == ("due", "the roller changed on 2027-05-20", "2027-05-20T06:00")


def current(book):
    from evenstand.desk.nexts import current_jobs

    return next(j.key for j in current_jobs(book) if j.outfit == "A")


def planned(book):
    from evenstand.desk.planning import plan_job

    return plan_job(book, current(book)).bins


def test_another_lot_and_a_treatment_make_the_catch_due(book):
    job = current(book)
    b = next(x for x in planned(book) if any(lot.product == x.product for lot in book.all(Lot)))
    keep_catch(book, catch_now(book, f"{job}|{b.bin}", clock=at(0)), CatchSaid(turns=5, masses_kg=(6.0,)), clock=at(0))
    assert line(book, f"catch:{b.bin}", 1).state != "due"
    lot = [x for x in book.all(Lot) if x.product == b.product][-1]
    book.put(dataclasses.replace(lot, treated_at="2027-05-20T08:00:00.000Z"))
    told = line(book, f"catch:{b.bin}", 3)
    assert (told.state, told.due, told.since) == ("due", "the treatment changed on 2027-05-20", "2027-05-20T08:00:00.000Z")
    record = book.all(CatchRecord, outfit="A")[0]
    book.put(dataclasses.replace(record, lot=lot.key, at="2027-05-20T09:00:00.000Z"))
    assert line(book, f"catch:{b.bin}", 4).state != "due"
    book.put(dataclasses.replace(lot, key="zz-new", label="New lot"))
    sown = book.get(Job, job)
    asks = tuple(dataclasses.replace(a, lot="zz-new") if a.product == b.product else a for a in sown.asks)
    book.put(dataclasses.replace(sown, asks=asks))
    assert "the lot changed on " in line(book, f"catch:{b.bin}", 5).due


def test_tyres_and_soil_are_said_and_the_distance_is_due_since_then(book):
    keep_proof(book, "A", "distance", value=1.002, clock=at(0))
    assert line(book, "distance").state == "inside"
    keep_change(book, "A", "tyres", by="Kim", clock=at(2))
    keep_change(book, "A", "soil", clock=at(5))
    told = line(book, "distance", 6)
    assert (told.state, told.since) == ("due", "2027-05-20T08:00:00.000Z")
    assert told.due == "tyres or their pressure changed on 2027-05-20"
    assert [x.item.key for x in catch_now(book, D, clock=at(6)).stale] == ["distance"]
    context = book_context(book, "home-wheat", profile="si", made_at="2027-05-20T12:00:00.000Z", who="")
    assert catch_data(context)["stale"] == "Distance counted over a taped one: tyres or their pressure changed on 2027-05-20"
    flagged = [c.key for c in context.plan.card if "yres or their pressure" in c.stale_now]
    assert flagged == ["pulse"]
    keep_proof(book, "A", "distance", value=1.003, clock=at(7))
    assert line(book, "distance", 8).state == "inside"
    with pytest.raises(MissingError, match="tyres, soil"):
        keep_change(book, "A", "wings", clock=at(9))


def test_a_catch_leaves_its_door_to_be_looked_at(book):
    keep_proof(book, "A", "door:D", text="tight", clock=at(0))
    keep_catch(book, catch_now(book, D, clock=at(1)), CatchSaid(turns=5, masses_kg=(6.0,)), clock=at(1))
    assert line(book, "door:D", 2).due == "a catch was made on 2027-05-20"


def test_open_proofs_carry_what_the_next_list_needs(book):
    keep_proof(book, "A", "distance", value=1.04, clock=at(0))
    found = open_proofs(book, "A", clock=at(1))
    assert [x.state for x in found] == sorted((x.state for x in found), key=("outside", "due", "open").index)
    distance = next(x for x in found if x.key == "distance")
    # counted 4 % too long is 4 % too much of everything
    assert distance.share == pytest.approx(0.04)
    assert set(distance.bins) == {"A", "B", "C", "D"}
    assert distance.step == "distance"
    catch = next(x for x in found if x.key == "catch:D")
    assert (catch.bins, catch.share, catch.state) == (("D",), None, "open")
    assert 0 < catch.usual_low < catch.usual_high
    assert next(x for x in found if x.key == "level").moment == "first-metres"
    assert all(x.because.endswith(".") and x.do.endswith(".") for x in found)


def test_a_mass_shown_and_a_mass_weighed_give_the_new_value():
    assert shown_text(1.25, 50, 53) == "Type 1.325 kg/turn: a turn gives 6.0 % more than is typed."
    assert "agrees and may stay" in shown_text(1.25, 50, 50.1, division_kg=0.5)
    with pytest.raises(RangeError):
        shown_text(1.25, 0, 53)


def test_the_crank_test_tells_turns_first_and_the_gearing_after():
    common = {"width_m": 11.895, "rolled_m": 4.92, "gear": 0.8, "crank_turns": None}
    (turns,) = crank_text([], area_ha=0.1, asked_kg_ha=121, **common)
    assert turns.startswith("17.1 turns of the wheel stand for 0.1")
    told = crank_text([11.4], area_ha=0.1, asked_kg_ha=121, **common)
    assert told[0].startswith("114 kg/ha, ")
    # 114 of 121 is 5.8 % less; gear up by 121 / 114 = 6.1 %
    assert "5.8 % less than asked: gear up by 6.1 %" in told[1]
    assert "leave the gearing" in crank_text([12.1], area_ha=0.1, asked_kg_ha=121, **common)[1]


def test_rows_are_told_on_a_stated_divisor_with_a_cited_band():
    found = rows_answer([[100, 104, 96, 100]])
    # squares 16 + 16 = 32; over three, root of 10.667 is 3.27
    assert found.sentence == "Rows spread by 3.3 % (coefficient of variation, divisor n - 1): very good."
    assert found.source
    assert rows_answer([[100, 104, 96, 100]], divisor_n=True).sentence.startswith(
        "Rows spread by 2.8 % (coefficient of variation, divisor n)"
    )
    assert not rows_answer([[100, 140, 60, 100]]).even
    assert "From test to test" in rows_answer([[100, 104, 96], [101, 104, 95]]).lines[2]
    with pytest.raises(RangeError, match="as many rows in each"):
        rows_answer([[1, 2, 3], [1, 2]])


def test_the_catch_page_tells_before_and_after(site):
    before = site.get("/at-the-fill/catch", params={"where": D, "tare": "0.18"}).text
    assert "bag and product should weigh 6.180 kg" in before
    after = site.get("/at-the-fill/catch", params={"where": D, "tare": "0.18", "masses": "6.2"}).text
    assert re.search(r'class="sentence" data-say>1\.204 kg/turn, between', after)
    assert "it agrees, and that value may stay" in after
    kept = site.post("/at-the-fill/catch", data={"where": D, "tare": "0.18", "masses": "6.2"}).text
    assert "Kept for bin D" in kept
    assert "Catches of this product in this bin" in site.get("/at-the-fill/catch", params={"where": D}).text


@pytest.mark.parametrize(
    ("path", "params", "words"),
    [
        ("/at-the-fill/catch", {"masses": "five", "turns": "4"}, "no number"),
        ("/at-the-fill/catch", {"masses": "5.2", "turns": "-4"}, "not above 0"),
        ("/at-the-fill/catch", {"masses": "5.2", "turns": "4", "share": "200 %"}, "more than all of it"),
        ("/at-the-fill/catch", {"masses": "5.2", "turns": "4", "tare": "6"}, "above the bag"),
        ("/at-the-fill/catch", {"masses": "5.2"}, "Turns of the meter is needed"),
        ("/at-the-fill/turns", {"old": "1.25", "shown": "50"}, "Mass weighed, without the bag is needed"),
        ("/at-the-fill/turns", {"old": "1.25", "shown": "0", "weighed": "53"}, "summary"),
        ("/at-the-fill/turns", {"area": "0.1", "rolled": "4.92", "width": "-3"}, "summary"),
        ("/at-the-fill/rows", {"catches": "100 x 3"}, "is no number"),
        ("/at-the-fill/rows", {"catches": "100"}, "3 rows or more"),
    ],
)
def test_bad_numbers_are_told_beside_their_field(site, path, params, words):
    page = site.get(path, params=params)
    assert page.status_code == 422
    assert words in page.text
    assert 'id="summary"' in page.text
    assert next(iter(params.values())) in page.text, "what was typed is still there"


def test_the_other_pages_answer(site):
    turns = site.get("/at-the-fill/turns", params={"old": "1.25", "shown": "50", "weighed": "53"}).text
    assert "Type 1.325 kg/turn" in turns
    rows = site.get("/at-the-fill/rows", params={"catches": "100 104 96 100"}).text
    assert "divisor n - 1" in rows


def test_the_proving_page_takes_a_change_and_shows_since_when(site):
    page = site.post("/machine/A/proving", data={"item": "distance", "found": "1.002", "phase": "as-found"})
    assert "Kept: Distance" in page.text
    assert "100.2" in page.text, "a ratio near one is read as one"
    told = site.post("/machine/A/changed", data={"changed": "tyres"})
    assert "due again" in told.text
    assert site.post("/machine/A/changed", data={"changed": "wings"}).status_code == 422
    chosen = site.get("/machine/A/proving", params={"item": "puff"}).text
    assert re.search(r'<option value="puff" selected', chosen)
    assert "In the first metres" in chosen
