"""What was typed at the field edge comes home once, by file or by code read out."""

from __future__ import annotations

import pytest

from evenstand.base.clock import FixedClock
from evenstand.base.errors import InputError
from evenstand.book import Book, JobReading
from evenstand.desk.demo import MORNING, build_book
from evenstand.desk.merging import merge_entries
from evenstand.desk.pocketing import decode, encode
from evenstand.model import Fill, MeterFactor

JOB = "home-wheat"


@pytest.fixture
def book(tmp_path):
    build_book(tmp_path / "book")
    with Book.open(tmp_path / "book", write=True, who="test", clock=FixedClock(MORNING)) as opened:
        yield opened


def fill(nonce, **values):
    typed = {"area_since_ha": 33.0, "put_kg": 4000.0, "level_kg": 60.0, **values}
    return encode("fill", typed, minutes=3_900_000 + nonce, nonce=nonce, bin="D", how=("ticket", "glance"))


def take(book, *codes):
    return merge_entries(book, decode("\n".join(codes)), job=JOB, source="phone", clock=FixedClock(MORNING))


def test_the_same_entry_comes_in_once_however_often_it_is_read(book):
    before = len(book.all(Fill, job=JOB))
    take(book, fill(1), fill(1))
    dump = book.dump()
    take(book, fill(1))
    assert len(book.all(Fill, job=JOB)) == before + 1
    assert book.dump() == dump


def test_put_in_belongs_to_the_fill_before_and_the_counter_to_now(book):
    take(book, fill(1, counter_ha=33.0), fill(2, counter_ha=70.0, area_since_ha=37.0))
    fills = [f for f in book.all(Fill, job=JOB) if f.bin == "D"]
    assert [f.area_ha for f in fills] == [0.0, 33.0]
    counters = [r.reading.value for r in book.all(JobReading, job=JOB) if r.reading.quantity == "area_counter"]
    assert counters == [33.0, 70.0]


def test_a_second_fill_without_the_counter_makes_none_up(book):
    take(book, fill(1), fill(2))
    counters = [r.reading.value for r in book.all(JobReading, job=JOB) if r.reading.quantity == "area_counter"]
    assert counters == [33.0]


def test_a_catch_read_out_becomes_the_factor_in_force(book):
    code = encode("catch", {"turns": 4.0, "tare_kg": 0.2, "mass_kg": 5.24}, minutes=3_900_000, nonce=5, bin="D")
    take(book, code.lower().replace("-", " "))
    newest = max((f for f in book.all(MeterFactor) if f.bin == "D" and f.outfit == "A"), key=lambda f: f.at)
    assert newest.kg_turn.value == pytest.approx(5.04 / 4, rel=1e-4)


def test_one_wrong_letter_is_refused_and_nothing_is_kept(book):
    code = fill(1)
    at = len(code) // 2
    wrong = code[:at] + ("7" if code[at] != "7" else "8") + code[at + 1 :]
    dump = book.dump()
    with pytest.raises(InputError):
        take(book, wrong)
    assert book.dump() == dump


def test_an_entry_of_another_book_is_not_taken_for_ones_own(tmp_path):
    from evenstand.model import Ask, Bin, Job, Outfit, Product

    own = Book.create(tmp_path / "one-job", farm="One job", profile="si", who="test")
    own.put(Outfit(key="o", name="O", bins=(Bin(letter="D"),)))
    own.put(Product(key="wheat", name="Wheat", kind="seed"))
    own.put(Job(key="j", crop="wheat", season=2027, outfit="o", asks=(Ask(product="wheat", rate_kg_ha=100),)))
    code = encode("fill", {"area_since_ha": 20, "put_kg": 4000}, minutes=3_600_000, nonce=7, bin="D", mark="5f2", how=("ticket", "glance"))
    with pytest.raises(InputError, match="another book"):
        merge_entries(own, decode(code), clock=FixedClock(MORNING))
    assert own.all(Fill) == ()
    assert len(merge_entries(own, decode(code), job="j", clock=FixedClock(MORNING)).taken) == 1  # the owner says that it belongs here
    assert merge_entries(own, decode(code), job="j", clock=FixedClock(MORNING)).taken == ()
    own.close()
