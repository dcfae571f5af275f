"""Entries of a pocket page into a book: each becomes a fill, a catch test or a reading, and is taken in once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, get_args

from evenstand.base.clock import FixedClock, iso
from evenstand.base.errors import EvenstandError, Fault, InputError
from evenstand.desk.pocketing import PocketEntry
from evenstand.desk.recording import free_key, record_catch, record_fill, record_reading, slug
from evenstand.model import Fill, HowKnown, Job, Outfit, Product, Reading

if TYPE_CHECKING:
    from evenstand.base.clock import Clock
    from evenstand.book import Book

_BY = "pocket page"
_TAPE_SD = 0.003  # of a distance taped over 100 m and more, as a share: common practice
_COUNTER_SD_HA = 0.05  # displays show an area to a tenth: common practice
_HOW: dict[str, HowKnown] = {how: how for how in get_args(HowKnown)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """What was taken in, by entry and what it became, and which entries the book had already. change: for undo, 0 if nothing was new."""

    taken: tuple[tuple[str, str], ...]
    already: tuple[str, ...]
    change: int


def merge_entries(book: Book, entries: Sequence[PocketEntry], *, job: str = "", source: str = "", clock: Clock) -> Merged:
    """Put entries in as one change; those the book has are left out, and if one is wrong nothing is put in.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    entries : sequence of PocketEntry
        In order of time. [-]
    job : str
        The job they belong to; "" finds it by the mark of the plan the page was made from. [-]
    source : str
        File or "code", for the record. [-]
    clock : Clock
        Tells when they were taken in. [-]

    Raises
    ------
    InputError
        With a fault for each entry that cannot be placed.
    """
    from evenstand.book import ImportedEntry

    new = [e for e in entries if book.get(ImportedEntry, e.id) is None]
    already = tuple(e.id for e in entries if e not in new)
    if not new:
        return Merged(taken=(), already=already, change=0)
    marks = _jobs_by_mark(book) if not job else {}
    faults: list[Fault] = []
    taken: list[tuple[str, str]] = []
    with book.batch(f"pocket entries from {source}" if source else "pocket entries"):
        for entry in new:
            try:
                _take(book, entry, job or _job_of(entry, marks))
            except EvenstandError as error:
                faults += [Fault(where=f"entry {entry.id}, {f.where}", what=f.what, limit=f.limit, cure=f.cure) for f in error.faults]
                continue
            change = book.put(ImportedEntry(key=entry.id, kind=entry.kind, source=source, at=iso(clock.now())))
            taken.append((entry.id, entry.kind))
        if faults:
            raise InputError(faults)
    return Merged(taken=tuple(taken), already=already, change=change)


def _jobs_by_mark(book: Book) -> dict[str, list[str]]:
    """Jobs by the first three hexadecimal digits of their plan."""
    from evenstand.desk.planning import job_inputs

    marks: dict[str, list[str]] = {}
    for job in book.all(Job):
        marks.setdefault(job_inputs(book, job.key).hash()[:3].lower(), []).append(job.key)
    return marks


def _job_of(entry: PocketEntry, marks: dict[str, list[str]]) -> str:
    found = marks.get(entry.mark.lower(), [])
    every = sorted(key for keys in marks.values() for key in keys)
    if len(found) == 1:
        return found[0]
    what = "no job's plan is the one its page was made from: it is of another book, or the plan has changed since"
    raise InputError(what, where="job", cure=f"If it belongs here, name the job; there are {', '.join(every) or 'none'}.")


def _take(book: Book, entry: PocketEntry, job: str) -> None:
    """Put one entry in."""
    then = FixedClock(datetime.fromisoformat(entry.at))
    known = book.get(Job, job)
    if known is None:
        raise InputError(f"there is no job '{job}'", where="job", cure=f"Jobs: {', '.join(j.key for j in book.all(Job)) or 'none yet'}.")
    if entry.kind == "fill":
        _take_fill(book, entry, known, then)
    elif entry.kind == "catch":
        _take_catch(book, entry, known, then)
    elif entry.kind == "distance":
        _take_distance(book, entry, job, then)
    else:
        _take_slip(book, entry, known)


def _take_fill(book: Book, entry: PocketEntry, job: Job, then: FixedClock) -> None:
    """A fill check: what was put in belongs to the start of the interval, level and area counter to the moment of the entry."""
    values, (how, how_level) = entry.values, entry.how
    if not {"put_kg", "level_kg", "area_since_ha", "counter_ha"} & values.keys():
        raise InputError("the fill has no numbers", where="fill", cure="Enter it again.")
    counter, since = values.get("counter_ha"), values.get("area_since_ha")
    if "put_kg" in values:
        record_fill(
            book,
            job=job.key,
            bin=entry.bin,
            put_kg=values["put_kg"],
            how=_HOW.get(how, "glance"),
            clock=then,
            area_ha=max(0.0, counter - since) if counter is not None and since is not None else None,
            level_before_kg=values.get("level_before_kg"),
        )
    if "level_kg" in values:
        level = values["level_kg"]
        sd = _level_sd(book, job, entry.bin, how_level, level)
        reading = Reading(quantity=f"level:{entry.bin}", value=level, sd=sd, at=entry.at, instrument=how_level or "glance")
        record_reading(book, job=job.key, reading=reading, clock=then, by=_BY)
    area = counter if counter is not None else (since if _first_fill(book, job, entry.bin) else None)
    if area is not None:
        reading = Reading(
            quantity="area_counter", value=area, sd=_COUNTER_SD_HA, at=entry.at, instrument="display", derived_from=("W", "V")
        )
        record_reading(book, job=job.key, reading=reading, clock=then, by=_BY)


def _first_fill(book: Book, job: Job, bin: str) -> bool:
    """Whether the interval began with the job: then the area since the fill is the area counter."""
    return len([f for f in book.all(Fill, job=job.key) if f.bin == bin]) <= 1


def _level_sd(book: Book, job: Job, bin: str, how: str, level_kg: float) -> float:
    """How well a level is known: as the low light has been learned, else as the way it was seen. [kg]"""
    from evenstand.reference import figure, fill_sd

    outfit = book.get(Outfit, job.outfit)
    known = next((b for b in outfit.bins if b.letter == bin), None) if outfit else None
    if how == "low-light":
        if known is not None and known.low_light_kg is not None and known.low_light_kg.sd > 0:
            return known.low_light_kg.sd
        usual = figure("practice", "defaults", "low-light")
        return (usual.high - usual.low) / math.sqrt(12)
    product = book.get(Product, _product_in(book, job, bin))
    full = None
    if known is not None and known.capacity_m3 is not None and product is not None and product.density_kg_m3 is not None:
        full = known.capacity_m3.value * product.density_kg_m3.value
    return fill_sd(_HOW.get(how, "glance"), max(level_kg, 1.0), bin_full_kg=full)


def _take_catch(book: Book, entry: PocketEntry, job: Job, then: FixedClock) -> None:
    values = entry.values
    masses = [values[name] for name in ("mass_kg", "mass_2_kg", "mass_3_kg", "mass_4_kg") if name in values]
    product = _product_in(book, job, entry.bin)
    lacks = "mass" if not masses else "turns" if "turns" not in values else ""
    if not lacks and not product:
        lacks = f"product: the plan puts none in bin '{entry.bin}'"
    if lacks:
        raise InputError(f"the catch has no {lacks}", where="catch", cure="Enter it again with all its numbers, for a bin of the job.")
    tare = values.get("tare_kg", 0.0)
    record_catch(
        book, outfit=job.outfit, bin=entry.bin, product=product, masses_kg=masses, turns=values["turns"], tare_kg=tare, clock=then
    )  # fmt: skip


def _product_in(book: Book, job: Job, bin: str) -> str:
    from evenstand.desk.planning import plan_job

    return next((b.product for b in plan_job(book, job.key).bins if b.bin == bin), "")


def _take_distance(book: Book, entry: PocketEntry, job: str, then: FixedClock) -> None:
    values = entry.values
    taped = values.get("taped_m", 0.0)
    if taped <= 0 or not {"shown_m", "pulses"} & values.keys():
        raise InputError("the distance has no taped length, or nothing to hold it against", where="distance", cure="Enter both.")
    if "shown_m" in values:
        ratio = values["shown_m"] / taped
        reading = Reading(quantity="distance_taped", value=ratio, sd=_TAPE_SD * ratio, at=entry.at, instrument="tape")
        record_reading(book, job=job, reading=reading, clock=then, by=_BY)
    if values.get("pulses"):
        spacing = taped / values["pulses"]
        reading = Reading(quantity="pulse_m", value=spacing, sd=_TAPE_SD * spacing, at=entry.at, instrument="tape")
        record_reading(book, job=job, reading=reading, clock=then, by=_BY)


def _take_slip(book: Book, entry: PocketEntry, job: Job) -> None:
    """A slip is kept as a note: two numbers that did not agree."""
    from evenstand.book import CallNote

    asked, seen = entry.values.get("asked"), entry.values.get("seen")
    told = f"asked for {asked:g}, seen {seen:g}" if asked is not None and seen is not None else "one of two numbers is missing"
    key = free_key(book, CallNote, slug(f"slip {entry.id}"))
    book.put(CallNote(key=key, at=entry.at, caller=_BY, outfit=job.outfit, job=job.key, asked=told))
