"""A small invented farm whose days are replayed: a script of what people enter, hour by hour, and the Next list after each entry.

A line that begins with a day and an hour (UTC) is an entry; the indented lines under it are the whole list as it must stand then, most
urgent first: key | what to do | because | what waiting costs. Lines that begin with # explain.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from book_things import square
from evenstand.base.clock import FixedClock, iso
from evenstand.base.estimate import Est
from evenstand.book import Book, ProofRecord, StepState
from evenstand.desk.checking import reading_of
from evenstand.desk.nexts import next_list
from evenstand.desk.ordering import add_order, close_order
from evenstand.desk.recording import add_load, record_catch, record_fill, record_reading
from evenstand.model import Ask, Bin, Boundary, Frame, Job, Lot, Meter, Outfit, Polygon, Product, Weather, Widths

DRILL = Outfit(
    key="drill",
    name="the drill",
    drive="motor",
    speed_source="gnss",
    rows=64,
    row_spacing_m=0.254,
    widths=Widths(true_m=Est(value=16.256, sd=0.015), rate_m=16.256),
    speed_m_s=2.1,
    fan_turns_s=Est(value=72.0),
    bins=(
        Bin(letter="A", capacity_m3=Est(value=5.0, sd=0.05), meter=Meter(roller="coarse")),
        Bin(letter="B", capacity_m3=Est(value=5.0, sd=0.05), meter=Meter(roller="coarse")),
    ),
)
WHEAT = Product(key="wheat", name="wheat", kind="seed", crop="wheat", density_kg_m3=Est(value=780.0, sd=8.0), price_kg=0.5)
UREA = Product(
    key="urea", name="urea", kind="fertilizer", analysis={"N": 0.46}, density_kg_m3=Est(value=740.0, sd=8.0), price_kg=0.8
)  # fmt: skip
FIELD = Boundary(
    key="home", name="Home", frame=Frame(lon_deg=-106.0, lat_deg=52.0), polygons=(Polygon(outside=square(0.0, 0.0, 800.0)),),
    area_m2=640_000.0, geodesic_m2=640_000.0,
)  # fmt: skip
JOB = Job(
    key="home-wheat", crop="wheat", season=2027, field_key="home", outfit="drill", area_ha=64.0,
    asks=(Ask(product="wheat", rate_kg_ha=120.0, bins=("A",)), Ask(product="urea", rate_kg_ha=100.0, bins=("B",))),
)  # fmt: skip


def new_book(folder: Path, clock: FixedClock) -> Book:
    """The farm on the evening before, with nothing entered yet but what it has and wants."""
    book = Book.create(folder, farm="Replay", who="Kim", clock=clock)
    with book.batch("the farm"):
        for thing in (WHEAT, UREA, DRILL, FIELD, JOB):
            book.put(thing)
    return book


@dataclass(frozen=True)
class Entry:
    """One entry of a script, and the list expected after it."""

    at: str
    said: str
    expected: tuple[str, ...]


def read_script(path: Path) -> list[Entry]:
    """The entries of a script."""
    entries: list[Entry] = []
    for line in path.read_text(encoding="utf-8").splitlines():
        if not line.strip() or line.startswith("#"):
            continue
        if line.startswith("  "):
            last = entries[-1]
            entries[-1] = replace(last, expected=(*last.expected, line.strip()))
        else:
            day, hour, said = line.split(" ", 2)
            entries.append(Entry(at=f"{day}T{hour}", said=said, expected=()))
    return entries


def replay(entries: list[Entry], folder: Path) -> list[list[str]]:
    """The list after each entry."""
    clock = FixedClock(_at(entries[0].at))
    out = []
    with new_book(folder, clock) as book:
        for entry in entries:
            clock.advance(seconds=(_at(entry.at) - clock.now()).total_seconds())
            verb, *words = entry.said.split()
            _ENTRIES[verb](book, clock, words)
            out.append([as_line(s) for s in next_list(book, clock=clock)])
    return out


def as_line(step: Any) -> str:
    """A step as a script writes it; what the check says and sizes is held by its own tests, so that of its steps the key stands alone."""
    parts = (step.key,) if step.family == "doubting" else (step.key, step.do, step.because, step.cost_of_waiting.text)
    return " | ".join(parts).replace("\N{NARROW NO-BREAK SPACE}", " ").replace("\N{NO-BREAK SPACE}", " ")


def _at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


# what people enter ----------------------------------------------------------------------------------------------------
def _look(book: Book, clock: FixedClock, words: list[str]) -> None:
    """look: nothing is entered, time has passed."""


def _catch(book: Book, clock: FixedClock, words: list[str]) -> None:
    """catch A wheat 5.02 4 [lot]: weighed [kg] over turns."""
    letter, product, mass, turns, *lot = words
    record_catch(
        book, outfit="drill", bin=letter, product=product, masses_kg=(float(mass),), turns=float(turns), clock=clock, lot="".join(lot)
    )


def _fill(book: Book, clock: FixedClock, words: list[str]) -> None:
    """fill A wheat 3700 pads 0 [left]: put in [kg], how it is known, the area counter [ha], what was left [kg]."""
    letter, _, mass, how, area, *left = words
    record_fill(
        book, job=JOB.key, bin=letter, put_kg=float(mass), how=how, area_ha=float(area),
        level_before_kg=float(left[0]) if left else None, clock=clock,
    )  # fmt: skip


def _read(book: Book, clock: FixedClock, words: list[str]) -> None:
    """read area_counter 12.4, read level:A 500: a reading in its metric unit."""
    kind, _, letter = words[0].partition(":")
    record_reading(book, job=JOB.key, reading=reading_of(kind, float(words[1]), bin=letter), clock=clock)


def _undo(book: Book, clock: FixedClock, words: list[str]) -> None:
    """undo: the newest change that was not an undo is taken back."""
    taken = {int(e.why.rpartition(" ")[2]) for e in book.history() if e.why.startswith("undo of change")}
    book.undo(max(e.id for e in book.history() if not e.why.startswith("undo of change") and e.id not in taken))


def _load(book: Book, clock: FixedClock, words: list[str]) -> None:
    """load delivery wheat 20000 [order], load truck wheat 3700."""
    kind, product, mass, *order = words
    add_load(
        book, kind=kind, product=product, mass_kg=float(mass), how="truck-scale", clock=clock, order="".join(order),
        job=JOB.key if kind == "truck" else "",
    )  # fmt: skip


def _order(book: Book, clock: FixedClock, words: list[str]) -> None:
    """order urea 9000 2027-05-06: ordered [kg], wanted by that day."""
    add_order(book, product=words[0], quantity_kg=float(words[1]), wanted_by=words[2], clock=clock)


def _close(book: Book, clock: FixedClock, words: list[str]) -> None:
    """close KEY: no more is to come of an order."""
    close_order(book, words[0], clock=clock)


def _humid(book: Book, clock: FixedClock, words: list[str]) -> None:
    """humid 0.9: relative humidity forecast for the night."""
    job = book.get(Job, JOB.key)
    book.put(replace(job, weather=Weather(relative_humidity=float(words[0]), at=iso(clock.now()))))


def _done(book: Book, clock: FixedClock, words: list[str]) -> None:
    """done KEY: somebody says that it is done."""
    book.put(StepState(key=words[0], state="closed", at=iso(clock.now()), by="Kim"))


def _put_off(book: Book, clock: FixedClock, words: list[str]) -> None:
    """put-off KEY DAY."""
    book.put(StepState(key=words[0], state="deferred", at=iso(clock.now()), until=words[1], by="Kim"))


def _lot(book: Book, clock: FixedClock, words: list[str]) -> None:
    """lot wheat lot-2: another lot is to be sown."""
    product, key = words
    job = book.get(Job, JOB.key)
    with book.batch("another lot"):
        book.put(Lot(key=key, product=product, label=key))
        book.put(replace(job, asks=tuple(replace(a, lot=key) if a.product == product else a for a in job.asks)))


def _prove(book: Book, clock: FixedClock, words: list[str]) -> None:
    """prove distance 1.0, prove lid:A tight, prove all: what was measured on the outfit."""
    from evenstand.desk.proofs import keep_proof, proof_facts
    from evenstand.nextup.commissioning import items

    facts = proof_facts(book, "drill", clock=clock)
    chosen = [i for i in items(facts) if words[0] in ("all", i.key)]
    for item in chosen:
        if not item.quantity:
            keep_proof(book, "drill", item.key, text=words[1] if len(words) > 1 else item.good[0] if item.good else "seen", clock=clock)
            continue
        value = float(words[1]) if len(words) > 1 else _inside(item.low, item.high)
        book.put(
            ProofRecord(
                key=f"drill-{item.key}-{iso(clock.now())}", outfit="drill", item=item.key, value=value, at=iso(clock.now()), by="Kim"
            )
        )


def _inside(low: float | None, high: float | None) -> float:
    if low is not None and high is not None:
        return (low + high) / 2
    return low if low is not None else high if high is not None else 70.0


def _date(book: Book, clock: FixedClock, words: list[str]) -> None:
    """date 2027-05-05: to be finished by."""
    book.put(replace(book.get(Job, JOB.key), finish_by=words[0]))


_ENTRIES: dict[str, Callable[[Book, FixedClock, list[str]], None]] = {
    "look": _look, "catch": _catch, "fill": _fill, "read": _read, "undo": _undo, "load": _load, "order": _order, "close": _close,
    "humid": _humid, "done": _done, "put-off": _put_off, "lot": _lot, "prove": _prove, "date": _date,
}  # fmt: skip
