"""Orders as a person keeps them, and what the Next list makes of them with the rest of the book."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

import replay_farm as farm
from evenstand.base.clock import FixedClock
from evenstand.base.errors import InputError, MissingError, RangeError
from evenstand.book import Book, View
from evenstand.desk.nexts import stock_facts, stock_of
from evenstand.desk.ordering import add_order, close_order
from evenstand.desk.recording import add_load, record_fill
from evenstand.model import Job, Load, Order


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock(datetime(2027, 5, 4, 6, tzinfo=UTC))


@pytest.fixture
def book(tmp_path: Path, clock: FixedClock):
    with farm.new_book(tmp_path / "b", clock) as made:
        yield made


def test_an_order_is_kept_with_history_closed_and_taken_back(book: Book, clock: FixedClock) -> None:
    order = add_order(book, product="urea", quantity_kg=9000.0, price_kg=0.8, supplier=" the co-op ", wanted_by="2027-05-10", clock=clock)
    assert (order.supplier, order.ordered_at, book.get(Order, order.key)) == ("the co-op", "2027-05-04T06:00:00.000Z", order)
    again = add_order(book, product="urea", quantity_kg=1.0, clock=clock)
    assert again.key != order.key
    closed = close_order(book, order.key, clock=clock)
    assert closed.closed_at == "2027-05-04T06:00:00.000Z"
    book.undo(max(e.id for e in book.history(Order, order.key)))
    assert book.get(Order, order.key) == order


def test_what_is_no_order_is_refused_and_says_why(book: Book, clock: FixedClock) -> None:
    with pytest.raises(RangeError, match="quantity"):
        add_order(book, product="urea", quantity_kg=0.0, clock=clock)
    with pytest.raises(InputError, match="'Monday' is no day"):
        add_order(book, product="urea", quantity_kg=1.0, wanted_by="Monday", clock=clock)
    with pytest.raises(InputError, match="not in products"):
        add_order(book, product="moon dust", quantity_kg=1.0, clock=clock)
    with pytest.raises(MissingError, match="no order 'x'"):
        close_order(book, "x", clock=clock)
    assert book.all(Order) == ()


def test_stock_is_what_came_less_what_went_into_bins_and_nothing_where_more_went_than_came(book: Book, clock: FixedClock) -> None:
    assert stock_of(View(book)) == {}
    add_load(book, kind="delivery", product="wheat", mass_kg=9000.0, how="truck-scale", clock=clock)
    clock.advance(hours=1)
    record_fill(book, job="home-wheat", bin="A", put_kg=3700.0, how="pads", area_ha=0.0, clock=clock)
    assert stock_of(View(book)) == {"wheat": 5300.0}
    clock.advance(hours=1)
    record_fill(book, job="home-wheat", bin="A", put_kg=9000.0, how="pads", area_ha=30.0, clock=clock)
    assert "wheat" not in stock_of(View(book)), "a delivery is not on record: nothing is called short on that"
    add_load(book, kind="delivery", product="urea", mass_kg=None, how="ticket", clock=clock)
    assert "urea" not in stock_of(View(book)), "nobody weighed it"


def test_what_a_job_still_takes_is_less_what_is_in_its_bins(book: Book, clock: FixedClock) -> None:
    record_fill(book, job="home-wheat", bin="A", put_kg=3700.0, how="pads", area_ha=0.0, clock=clock)
    clock.advance(hours=2)
    farm._read(book, clock, ["area_counter", "10"])
    order = add_order(book, product="wheat", quantity_kg=5000.0, clock=clock)
    found = stock_facts(View(book), clock=clock, profile="si")
    assert found.need_kg["home-wheat", "wheat"] == pytest.approx(120 * 54 - (3700 - 1200))
    assert found.need_kg["home-wheat", "urea"] == pytest.approx(100 * 54)
    assert found.owed_kg == {order.key: 5000.0} and found.on_hand_kg == {"wheat": 0.0}
    add_load(book, kind="delivery", product="wheat", mass_kg=2000.0, how="truck-scale", clock=clock, order=order.key)
    assert stock_facts(View(book), clock=clock, profile="si").owed_kg == {order.key: 3000.0}
    close_order(book, order.key, clock=clock)
    assert stock_facts(View(book), clock=clock, profile="si").orders == ()


def test_a_share_of_a_ticket_goes_to_a_field(book: Book, clock: FixedClock) -> None:
    whole = add_load(book, kind="delivery", product="wheat", mass_kg=9000.0, how="ticket", clock=clock, ticket="7")
    part = add_load(
        book, kind="truck", product="wheat", mass_kg=None, how="share", clock=clock, part_of=whole.key, job="home-wheat", share=0.4, share_sd=0.05,
        note="half a box",
    )  # fmt: skip
    assert book.all(Load, job="home-wheat") == (part,) and book.get(Load, part.key) == part
    with pytest.raises(RangeError, match="share"):
        add_load(book, kind="truck", product="wheat", mass_kg=None, how="share", clock=clock, share=1.2)


def test_a_view_reads_each_kind_once_and_gives_what_the_book_gives(book: Book) -> None:
    second = replace(book.get(Job, "home-wheat"), key="second", outfit="")
    book.put(second)
    view = View(book)
    assert view.all(Job) == book.all(Job) and view.all(Job, outfit="drill") == book.all(Job, outfit="drill")
    assert view.get(Job, "second") == second and view.get(Job, "none") is None
    assert view.profile == book.profile
    book.remove(Job, "second")
    assert view.get(Job, "second") == second, "what is put in later is not seen"
