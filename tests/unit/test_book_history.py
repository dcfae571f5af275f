"""Every change of a value is history; undo is a new change and is refused where the row has moved."""

from __future__ import annotations

import dataclasses
import threading

import pytest

from book_samples import THINGS, put_all
from book_things import AT, BOUNDARY, FILL, JOB, OUTFIT, TRUCK, UREA, WHEAT, clock, est, put_field_work
from evenstand.base.errors import BookError, ConflictError, InputError
from evenstand.book import Book, StepState
from evenstand.model import Bin, Boundary, Fill, Job, Outfit, Product


@pytest.fixture
def time():
    return clock()


@pytest.fixture
def book(tmp_path, time):
    with Book.create(tmp_path / "book", farm="Willow Bend", who="Kim", clock=time) as made:
        yield made


def test_a_changed_value_is_one_row_with_when_who_why_before_and_after(book, time):
    book.put(OUTFIT)
    count = len(book.history())
    time.advance(hours=1)
    change = book.put(dataclasses.replace(OUTFIT, speed_m_s=2.3), why="firmer soil")
    (entry,) = book.history()[count:]
    assert (entry.at, entry.who, entry.why) == ("2027-05-04T13:00:00.000Z", "Kim", "firmer soil")
    assert (entry.kind, entry.key, entry.table, entry.row, entry.field) == ("Outfit", "big-drill", "outfits", ("big-drill",), "speed_m_s")
    assert (entry.before, entry.after, entry.id, entry.undoes) == (2.1, 2.3, change, None)
    assert (entry.what, entry.before_text, entry.after_text) == ("Outfit big-drill, speed_m_s", "2.1", "2.3")


def test_a_change_within_a_part_names_the_part(book):
    book.put(OUTFIT)
    count = len(book.history())
    first = dataclasses.replace(OUTFIT.bins[0], low_light_kg=est(140.0))
    book.put(dataclasses.replace(OUTFIT, bins=(first, OUTFIT.bins[1])))
    entries = book.history()[count:]
    assert {(e.table, e.row, e.field) for e in entries} == {
        ("outfit_bins", ("big-drill", "B"), "low_light_kg"),
        ("outfit_bins", ("big-drill", "B"), "low_light_kg_sd"),
    }
    assert entries[0].what == "Outfit big-drill, B, low_light_kg"


def test_history_of_one_thing_leaves_the_others_out(book):
    put_all(book)
    assert {e.key for e in book.history(Outfit, "big-drill")} == {"big-drill"}
    assert {e.kind for e in book.history("Job")} == {"Job"}
    assert len(book.history()) > len(book.history(Outfit)) + len(book.history(Job))


def test_undo_takes_a_change_back_by_a_new_one_and_undo_of_that_does_it_again(book):
    book.put(OUTFIT)
    change = book.put(dataclasses.replace(OUTFIT, speed_m_s=2.3, bins=OUTFIT.bins[:1]))
    back = book.undo(change)
    assert book.get(Outfit, "big-drill") == OUTFIT
    assert back > change
    assert {e.undoes for e in book.history() if e.id == back} == {change}
    assert {e.why for e in book.history() if e.id == back} == {f"undo of change {change}"}
    book.undo(back)
    assert book.get(Outfit, "big-drill") == dataclasses.replace(OUTFIT, speed_m_s=2.3, bins=OUTFIT.bins[:1])


def test_undo_of_a_first_put_takes_the_thing_out_and_undo_of_a_removal_brings_it_back(book):
    change = book.put(OUTFIT)
    book.undo(change)
    assert book.get(Outfit, "big-drill") is None
    book.put(OUTFIT)
    gone = book.remove(Outfit, "big-drill", why="sold")
    assert book.get(Outfit, "big-drill") is None
    book.undo(gone)
    assert book.get(Outfit, "big-drill") == OUTFIT


@pytest.mark.parametrize("thing", THINGS, ids=lambda t: type(t).__name__)
def test_a_removal_of_anything_can_be_undone(book, thing):
    if type(thing).__name__ == "Farm":
        with pytest.raises(BookError, match="cannot be without its farm"):
            book.remove(type(thing), "farm")
        return
    from evenstand.book import key_of

    put_all(book)
    copy = {"Product": UREA, "Load": TRUCK}.get(type(thing).__name__, thing)
    named = {"Product", "Lot", "Outfit", "Boundary", "Job", "Order", "Load", "Original"}
    if type(copy).__name__ in named:
        with pytest.raises(InputError):
            book.remove(type(copy), key_of(copy))
        assert book.get(type(copy), key_of(copy)) == copy
    else:
        change = book.remove(type(copy), key_of(copy))
        assert book.get(type(copy), key_of(copy)) is None
        book.undo(change)
        assert book.get(type(copy), key_of(copy)) == copy
    assert book.check().ok


def test_undo_is_refused_with_both_values_where_the_row_has_moved(book):
    book.put(OUTFIT)
    change = book.put(dataclasses.replace(OUTFIT, speed_m_s=2.3, wheel_m=4.7))
    book.put(dataclasses.replace(OUTFIT, speed_m_s=2.5, wheel_m=4.7))
    before = book.dump()
    with pytest.raises(ConflictError, match=rf"speed_m_s: change {change} left 2.3, now there is 2.5"):
        book.undo(change)
    assert book.dump() == before


def test_undo_is_refused_where_a_thing_put_in_has_changed_since_or_is_gone(book):
    change = book.put(WHEAT)
    book.put(dataclasses.replace(WHEAT, name="Durum"))
    with pytest.raises(ConflictError, match=r"name: change .* left Wheat, now there is Durum"):
        book.undo(change)
    rename = book.put(dataclasses.replace(WHEAT, name="Spelt"))
    book.remove(Product, "wheat")
    with pytest.raises(ConflictError, match="left Spelt, now there is nothing"):
        book.undo(rename)


def test_undo_of_an_older_change_of_another_field_is_allowed(book):
    book.put(OUTFIT)
    change = book.put(dataclasses.replace(OUTFIT, speed_m_s=2.3))
    book.put(dataclasses.replace(OUTFIT, speed_m_s=2.3, wheel_m=4.7))
    book.undo(change)
    assert book.get(Outfit, "big-drill") == dataclasses.replace(OUTFIT, wheel_m=4.7)


def test_undo_of_what_others_name_by_now_is_refused(book):
    change = book.put(WHEAT)
    book.put(dataclasses.replace(THINGS[4]))
    with pytest.raises(InputError, match="names 'wheat', which is not in products"):
        book.undo(change)
    assert book.get(Product, "wheat") == WHEAT


def test_undo_of_a_change_that_never_was_is_refused(book):
    with pytest.raises(BookError, match="there is no change 999"):
        book.undo(999)


def test_a_batch_is_one_change_and_one_undo_takes_all_of_it_back(book):
    put_field_work(book)
    before = book.dump()
    with book.batch("evening"):
        book.put(dataclasses.replace(FILL, load=""), why="fill")
        book.put(dataclasses.replace(JOB, notes="dry"), why="note")
    change = book.history()[-1].id
    assert {e.why for e in book.history() if e.id == change} == {"evening; fill; note"}
    book.undo(change)
    after = book.dump()
    for table in before.keys() - {"changes", "history", "gpkg_contents", "sqlite_sequence"}:
        assert [row[1:] for row in after[table]] == [row[1:] for row in before[table]], table


def test_a_batch_that_fails_keeps_nothing(book):
    before = book.dump()
    with pytest.raises(ZeroDivisionError), book.batch():
        book.put(WHEAT)
        raise ZeroDivisionError
    assert book.dump() == before


def test_a_wrong_thing_within_a_batch_can_be_left_out(book):
    with book.batch():
        book.put(WHEAT)
        with pytest.raises(InputError):
            book.put(dataclasses.replace(UREA, price_kg=float("nan")))
    assert book.all(Product) == (WHEAT,)


def test_a_change_that_failed_half_way_cannot_be_kept_by_swallowing_its_error(book):
    change = book.put(OUTFIT)
    book.put(dataclasses.replace(OUTFIT, name="x"))
    before = book.dump()
    with pytest.raises(BookError, match="failed half way"), book.batch(), pytest.raises(ConflictError):
        book.undo(change)
    assert book.dump() == before


def test_an_empty_batch_leaves_no_trace(book):
    before = book.dump()
    with book.batch("nothing"):
        pass
    assert book.dump() == before


def test_put_with_an_old_version_is_refused_with_both_values(book):
    book.put(WHEAT)
    seen = book.version(Product, "wheat")
    book.put(dataclasses.replace(WHEAT, price_kg=0.7), expected=seen)
    with pytest.raises(ConflictError) as caught:
        book.put(dataclasses.replace(WHEAT, price_kg=0.9), expected=seen)
    assert f"version {seen} was expected" in str(caught.value)
    assert "price_kg: yours is 0.9, the book has 0.7" in str(caught.value)
    assert book.get(Product, "wheat").price_kg == 0.7


def test_expecting_none_refuses_what_is_there(book):
    assert book.version(Product, "wheat") == 0
    book.put(WHEAT, expected=0)
    with pytest.raises(ConflictError):
        book.put(WHEAT, expected=0)


def test_a_version_is_never_used_twice_even_after_removal(book):
    book.put(UREA)
    first = book.version(Product, "urea")
    book.remove(Product, "urea")
    assert book.version(Product, "urea") == 0
    book.put(UREA)
    assert book.version(Product, "urea") > first


def test_undoing_an_outline_redraws_it_for_the_map(book):
    from evenstand.book.checking import check_book

    book.put(BOUNDARY)
    change = book.put(dataclasses.replace(BOUNDARY, polygons=BOUNDARY.polygons[:1]))
    book.undo(change)
    assert book.get(Boundary, "north") == BOUNDARY
    assert check_book(book._raw, book.folder).ok


def test_removing_what_is_not_there_is_refused(book):
    with pytest.raises(BookError, match="there is no Product 'nothing'"):
        book.remove(Product, "nothing")


def test_a_reader_can_change_nothing(book, tmp_path):
    with Book.open(tmp_path / "book") as reader:
        for act in (
            lambda: reader.put(WHEAT),
            lambda: reader.undo(1),
            lambda: reader.remove(Product, "x"),
            lambda: reader.put_original(b"x"),
        ):
            with pytest.raises(BookError, match="open for reading only"):
                act()
    assert not (tmp_path / "book" / "originals").exists()


def test_a_reader_sees_what_the_writer_has_kept_and_not_what_is_under_way(book, tmp_path):
    with Book.open(tmp_path / "book") as reader:
        with book.batch():
            book.put(WHEAT)
            assert reader.all(Product) == ()
        assert reader.all(Product) == (WHEAT,)


def test_threads_share_one_open_book(book):
    put_field_work(book)
    failed = []

    def work(number: int) -> None:
        try:
            for i in range(15):
                book.put(dataclasses.replace(FILL, key=f"{number}-{i}", load=""))
                book.all(Fill)
        except Exception as error:
            failed.append(error)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert failed == []
    assert len(book.all(Fill)) == 60
    assert book.check().ok


def test_a_closed_book_says_so(tmp_path):
    book = Book.create(tmp_path / "b", farm="F", clock=clock())
    book.close()
    book.close()
    with pytest.raises(BookError, match="the book is closed"):
        book.all(Job)


def test_step_states_come_and_go_with_their_time(book):
    book.put(StepState(key="catch:A", state="deferred", until=AT))
    book.put(StepState(key="catch:A", state="closed"))
    assert book.get(StepState, "catch:A") == StepState(key="catch:A", state="closed")
    assert [(e.before, e.after) for e in book.history(StepState) if e.field == "until"] == [(AT, None)]


def test_bins_of_an_outfit_that_swap_letters_are_changes_of_their_values(book):
    book.put(Outfit(key="o", name="o", bins=(Bin(letter="A", label="left"), Bin(letter="B", label="right"))))
    change = book.put(Outfit(key="o", name="o", bins=(Bin(letter="B", label="left"), Bin(letter="A", label="right"))))
    assert [(b.letter, b.label) for b in book.get(Outfit, "o").bins] == [("B", "left"), ("A", "right")]
    book.undo(change)
    assert [(b.letter, b.label) for b in book.get(Outfit, "o").bins] == [("A", "left"), ("B", "right")]
