"""Proving an outfit: each item has a band where one can be had, words count, and what changed or is of last year is due again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from book_things import OUTFIT
from evenstand.model import Outfit
from evenstand.nextup.commissioning import Item, Measured, ProofFacts, items, record_lines

TODAY = date(2027, 5, 4)


def facts(*measured: Measured, **more) -> ProofFacts:
    return ProofFacts(**{"outfit": OUTFIT, "factors": {"B": 1.18}, "measured": measured, "today": TODAY} | more)


def line(key: str, made: ProofFacts):
    return next(x for x in record_lines(made) if x.item.key == key)


def test_an_outfit_of_which_nothing_is_known_still_has_its_list():
    found = record_lines(ProofFacts(outfit=Outfit(key="o", name="o")))
    assert {"width", "typed-width", "distance", "puff", "runs", "hoses", "level"} <= {x.item.key for x in found}
    assert all(x.state == "open" for x in found)
    width = next(x.item for x in found if x.item.key == "width")
    assert (width.low, width.high, width.band("si")) == (None, None, "")


def test_every_item_says_how_and_has_its_own_key():
    made = list(items(facts()))
    assert len({i.key for i in made}) == len(made)
    assert all(i.how.endswith(".") and i.title and i.stale for i in made)
    assert all(i.band_from for i in made if i.low is not None or i.high is not None or i.good)
    assert {"catch:B", "roller:B", "lid:B", "door:B", "catch:A", "stream:side", "heads", "sensors"} <= {i.key for i in made}


def test_the_width_is_held_against_openers_times_spacing():
    # 64 x 254 mm = 16.256 m; half a per cent either way
    width = line("width", facts()).item
    assert (width.low, width.high) == pytest.approx((16.256 * 0.995, 16.256 * 1.005))
    assert line("width", facts(Measured(item="width", value=16.26, at="2027-05-03"))).state == "inside"
    assert line("width", facts(Measured(item="width", value=16.51, at="2027-05-03"))).state == "outside"


def test_the_typed_width_is_held_against_the_tape_where_there_is_one():
    taped = Measured(item="width", value=16.00, at="2027-05-03")
    assert line("typed-width", facts(taped)).item.high == pytest.approx(16.00 * 1.005)
    assert line("typed-width", facts()).item.high == pytest.approx(16.256 * 1.005)


def test_a_catch_is_held_against_the_product_per_turn_that_is_typed():
    item = line("catch:B", facts()).item
    assert (item.low, item.high) == pytest.approx((1.18 * 0.97, 1.18 * 1.03))
    assert line("catch:A", facts()).item.low is None  # nothing is typed for that bin
    assert line("catch:A", facts(Measured(item="catch:A", value=1.3, at="2027-05-03"))).state == "noted"


def test_the_fan_with_product_is_held_against_the_fan_without():
    idle = Measured(item="fan-idle", value=70.0, at="2027-05-03")
    item = line("fan-load", facts(idle)).item
    assert item.high == 70.0
    assert item.low == pytest.approx(70.0 - 200 / 60)
    assert line("fan-idle", facts(idle)).state == "noted"


def test_words_count_where_there_is_no_number():
    assert line("lid:B", facts(Measured(item="lid:B", text="Tight", at="2027-05-03"))).state == "inside"
    assert line("lid:B", facts(Measured(item="lid:B", text="leaks", at="2027-05-03"))).state == "outside"
    assert line("roller:B", facts(Measured(item="roller:B", text="coarse", at="2027-05-03"))).state == "inside"
    assert line("roller:A", facts(Measured(item="roller:A", text="fine", at="2027-05-03"))).state == "noted"


def test_as_delivered_stays_beside_what_was_found_last():
    was = Measured(item="puff", value=2.0, phase="as-delivered", at="2027-04-01")
    now = Measured(item="puff", value=4.5, at="2027-05-03")
    found = line("puff", facts(was, now))
    assert (found.delivered, found.latest, found.state) == (was, now, "outside")


def test_it_is_due_again_when_what_it_rests_on_has_changed_or_the_season_has():
    taped = Measured(item="width", value=16.26, at="2027-05-01T08:00:00.000Z")
    later = line("width", facts(taped, changed={"rows": "2027-05-02T08:00:00.000Z"}))
    assert later.state == "due"
    assert later.due == "the number of openers changed on 2027-05-02"
    assert line("width", facts(taped, changed={"rows": "2027-04-02T08:00:00.000Z"})).state == "inside"
    old = line("width", facts(Measured(item="width", value=16.26, at="2026-05-01")))
    assert old.due == "measured in 2026: once each season"
    roller = {"meter_roller:B": "2027-05-03T00:00:00.000Z"}
    assert line("catch:B", facts(Measured(item="catch:B", value=1.18, at="2027-05-01"), changed=roller)).state == "due"
    assert line("catch:A", facts(Measured(item="catch:A", value=1.18, at="2027-05-01"), changed=roller)).state == "noted"


def test_what_was_outside_stays_outside_until_it_is_measured_again():
    leak = Measured(item="lid:B", text="leaks", at="2026-05-01")
    found = line("lid:B", facts(leak))
    assert (found.state, found.due) == ("outside", "measured in 2026: once each season")
    assert line("lid:B", facts(leak, Measured(item="lid:B", text="tight", at="2027-05-02"))).state == "inside"


def test_bands_are_shown_in_the_readers_units():
    item = Item(key="x", title="x", how="x.", quantity="width", low=16.0, high=16.5)
    assert item.band("si") == "16.00 to 16.50 m"
    assert item.band("us") == "52.49 to 54.13 ft"
    assert replace(item, low=None).band("si") == "at most 16.50 m"
    assert replace(item, high=None).band("si") == "at least 16.00 m"
    assert replace(item, quantity="", good=("tight",)).band("si") == "tight"


def test_a_band_holds_its_own_edges():
    item = Item(key="x", title="x", how="x.", quantity="width", low=16.0, high=16.5)
    assert item.fits(16.0, "") and item.fits(16.5, "")
    assert item.fits(15.99, "") is False
    assert item.fits(None, "") is None
