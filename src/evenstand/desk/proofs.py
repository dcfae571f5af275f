"""Proving an outfit, with a book: what was measured, by whom, and what has changed since. The rules are `nextup.commissioning`."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock, iso
from evenstand.base.errors import MissingError, require_range
from evenstand.base.estimate import Est
from evenstand.model import FlagTest, MeterFactor, Outfit, Product
from evenstand.nextup.commissioning import Item, Line, Measured, Phase, ProofFacts, items, record_lines
from evenstand.reference import default

if TYPE_CHECKING:
    from evenstand.book import Book, ProofRecord

TAPE_SD_M = 0.015
"""How far off a taped width usually is, one standard deviation. [m]"""


def proof_lines(book: Book, outfit: str, *, clock: Clock) -> tuple[Line, ...]:
    """The record of an outfit: each item with its band, what was found, and whether it is due again.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    outfit : str
        Its key. [-]
    clock : Clock
        For what is due with the year. [UTC]

    Raises
    ------
    MissingError
        If there is no such outfit.
    """
    return record_lines(proof_facts(book, outfit, clock=clock))


def proof_facts(book: Book, outfit: str, *, clock: Clock) -> ProofFacts:
    """All that the book knows of proofs of an outfit: records, catches, flags, tape. [metric]

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    outfit : str
        Its key. [-]
    clock : Clock
        For today's date. [UTC]
    """
    from evenstand.book import ProofRecord

    found = the_outfit(book, outfit)
    records = [_measured(r) for r in book.all(ProofRecord, outfit=outfit)]
    have = {m.item for m in records}
    known = [m for m in _known(book, found, _products_of(book, outfit)) if m.item not in have]
    holds = _products_of(book, outfit)
    factors = [f for f in book.all(MeterFactor) if f.outfit == outfit and holds.get(f.bin, f.product) == f.product]
    names = {p.key: p.name for p in book.all(Product)}
    return ProofFacts(
        outfit=found,
        factors=_typed_factors(factors),
        products={b: names.get(p, p) for b, p in holds.items()},
        measured=tuple(sorted([*known, *records], key=lambda m: m.at)),
        changed=_changed(book, outfit, factors),
        today=clock.now().date(),
    )


def the_outfit(book: Book, key: str) -> Outfit:
    """The outfit of that key, or the only one for "".

    Raises
    ------
    MissingError
        Listing those there are.
    """
    outfits = book.all(Outfit)
    if not key and len(outfits) == 1:
        return outfits[0]
    found = next((o for o in outfits if o.key == key), None)
    if found is None:
        names = ", ".join(o.key for o in outfits)
        raise MissingError(
            f"no outfit '{key}'" if key else "which outfit is meant is not said", where="outfit", cure=f"Outfits: {names or 'none yet'}."
        )
    return found


def _measured(r: ProofRecord) -> Measured:
    return Measured(item=r.item, value=r.value, text=r.text, phase=r.phase, at=r.at, by=r.by, note=r.note)


def _products_of(book: Book, outfit: str) -> dict[str, str]:
    """What each bin is to hold for the job that comes first: product by bin."""
    from evenstand.desk.nexts import current_jobs
    from evenstand.desk.planning import plan_job

    job = next((j for j in current_jobs(book) if j.outfit == outfit), None)
    return {} if job is None else {b.bin: b.product for b in plan_job(book, job.key).bins}


def _known(book: Book, outfit: Outfit, holds: Mapping[str, str]) -> list[Measured]:
    """What was measured elsewhere: the taped width, catches, flags, heads that were bagged."""
    from evenstand.book import CatchRecord

    out = []
    if outfit.widths.true_m is not None:
        out.append(Measured(item="width", value=outfit.widths.true_m.value, by="the outfit's page"))
    if outfit.widths.rate_m is not None:
        out.append(Measured(item="typed-width", value=outfit.widths.rate_m, by="the outfit's page"))
    for c in book.all(CatchRecord, outfit=outfit.key):
        if c.factor is not None and holds.get(c.bin, c.product) == c.product:
            out.append(Measured(item=f"catch:{c.bin}", value=c.factor.value, at=c.at, by=c.by or "a catch test"))
    flag = outfit.flag
    for key, est in (("flag-on", flag.on_m), ("flag-off", flag.off_m)):
        if est is not None:
            out.append(Measured(item=key, value=est.value, at=flag.at, by="a flag test"))
    per_outlet = [h.caught_kg / h.outlets for h in outfit.heads if h.caught_kg and h.outlets]
    if per_outlet and len(per_outlet) == len(outfit.heads):
        out.append(Measured(item="heads", value=max(per_outlet) / min(per_outlet) - 1, by="the outfit's page"))
    return out


def _typed_factors(factors: list[MeterFactor]) -> dict[str, float]:
    """Product per turn as typed into the display, by bin: the newest that is no catch, else the newest. [kg/turn]"""
    out: dict[str, float] = {}
    for f in sorted(factors, key=lambda f: (f.how != "catch", f.at)):
        out[f.bin] = f.kg_turn.value
    return out


def _changed(book: Book, outfit: str, factors: list[MeterFactor]) -> dict[str, str]:
    """When each watched value last changed, after the outfit was first put in. [ISO 8601]"""
    entries = book.history(Outfit, outfit)
    first = next((e.id for e in entries if e.table == "outfits" and e.field == "*" and e.before is None), None)
    out: dict[str, str] = {}
    for e in entries:
        if e.id == first:
            continue
        part = str(e.row[1]) if len(e.row) > 1 else ""
        name = {"outfit_runs": "runs", "outfit_heads": "heads"}.get(e.table, f"{e.field}:{part}" if e.table == "outfit_bins" else e.field)
        out[name] = max(out.get(name, ""), e.at)
    for f in factors:
        if f.how != "catch" and f.at:
            out[f"factor:{f.bin}"] = max(out.get(f"factor:{f.bin}", ""), f.at)
    return out


def the_item(facts: ProofFacts, key: str) -> Item:
    """The item of that key.

    Raises
    ------
    MissingError
        Listing the items of this outfit.
    """
    known = {i.key: i for i in items(facts)}
    if key not in known:
        raise MissingError(f"no item '{key}'", where="item", cure=f"Items: {', '.join(known)}.")
    return known[key]


def keep_proof(
    book: Book,
    outfit: str,
    item: str,
    *,
    value: float | None = None,
    text: str = "",
    phase: Phase = "as-found",
    by: str = "",
    note: str = "",
    clock: Clock,
) -> ProofRecord:
    """Keep what was measured. A taped width and a flag test become the outfit's own as well, so that nobody types them twice.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    outfit, item : str
        Which outfit, which item. [-]
    value : float or None
        What was found, for an item with a unit. [metric unit of the item]
    text : str
        What was found in words, for an item without. [-]
    phase, by, note : str
        "as-delivered" or "as-found"; who measured; what else. [-]
    clock : Clock
        When. [UTC]

    Raises
    ------
    MissingError
        If outfit or item is unknown, or nothing was found.
    RangeError
        For a number below zero.
    """
    from evenstand.book import ProofRecord
    from evenstand.desk.recording import free_key, slug

    facts = proof_facts(book, outfit, clock=clock)
    outfit = facts.outfit.key
    what = the_item(facts, item)
    if (value is None) if what.quantity else not text.strip():
        raise MissingError(
            "nothing is found",
            where=item,
            cure=f"Give {'a number' if what.quantity else 'words, such as ' + (' or '.join(what.choices) or 'what was seen')}.",
        )
    if value is not None:
        require_range(item, value, 0, math.inf, high_open=True)
    at = iso(clock.now())
    record = ProofRecord(
        key=free_key(book, ProofRecord, slug(f"{outfit} {item} {at}")),
        outfit=outfit,
        item=item,
        value=value if what.quantity else None,
        low=what.low,
        high=what.high,
        text=text.strip() if not what.quantity else "",
        phase=phase,
        at=at,
        by=by.strip(),
        note=note.strip(),
    )
    with book.batch("proof"):
        book.put(record)
        changed = _with_it(facts.outfit, item, value, at)
        if changed != facts.outfit:
            book.put(changed)
    return record


def _with_it(outfit: Outfit, item: str, value: float | None, at: str) -> Outfit:
    """The outfit with what was measured, where it has a place for it."""
    if value is None or value <= 0:
        return outfit
    if item == "width":
        est = Est(value=value, sd=TAPE_SD_M, basis="measured", source="tape")
        return dataclasses.replace(outfit, widths=dataclasses.replace(outfit.widths, true_m=est))
    if item in ("flag-on", "flag-off"):
        est = Est(value=value, sd=default("flag-reading").value, basis="measured", source="tape")
        old = outfit.flag
        parts: Mapping[str, Est | None] = {"on_m": old.on_m, "off_m": old.off_m} | {"on_m" if item == "flag-on" else "off_m": est}
        return dataclasses.replace(
            outfit, flag=FlagTest(on_m=parts["on_m"], off_m=parts["off_m"], speed_m_s=old.speed_m_s or outfit.speed_m_s, at=at[:10])
        )
    return outfit


def counts(lines: tuple[Line, ...]) -> dict[str, int]:
    """How many items are in each state. [-]

    Parameters
    ----------
    lines : tuple of Line
        From `proof_lines`. [-]
    """
    out = {"inside": 0, "outside": 0, "noted": 0, "due": 0, "open": 0}
    for x in lines:
        out[x.state] += 1
    return out
