"""Proving an outfit, with a book: what was measured, by whom, and what has changed since. The rules are `nextup.commissioning`."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock, iso
from evenstand.base.errors import MissingError, require_range
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, read_quantity
from evenstand.desk.proof_changes import SAID, changes
from evenstand.model import CardLine, FlagTest, Lot, MeterFactor, Outfit, Product
from evenstand.nextup.commissioning import Item, Line, Measured, Phase, ProofFacts, items, record_lines
from evenstand.nextup.unproven import OpenItem, open_items
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


def open_proofs(book: Book, outfit: str, *, clock: Clock) -> tuple[OpenItem, ...]:
    """What is still to be proven on an outfit, as data for the Next list.

    Each item carries the reason in words (`because`), when it went stale (`since`), the bins whose dose it moves (`bins`), and what is
    known of the size: `share`, the dose error as measured, for an item outside its band; `usual_low` and `usual_high`, how far off it
    usually is while nobody has measured it (common practice). A rule hands `share` and the plan's bins of those letters to `cost`.
    `step` names the step of `nextup.proving` that asks for the same thing already, so that nothing is listed twice.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    outfit : str
        Its key. [-]
    clock : Clock
        For what is due with the year. [UTC]

    Returns
    -------
    tuple of OpenItem
        Outside its band first, then due again, then never measured; the yard before the first metres. [-]

    Raises
    ------
    MissingError
        If there is no such outfit.
    """
    return open_items(proof_facts(book, outfit, clock=clock))


_ON_CARD = {"distance": ("pulse",), "width": ("width-true",), "typed-width": ("width-rate",), "catch": ("factor",)}


def card_with_proofs(card: Sequence[CardLine], lines: Sequence[Line]) -> tuple[CardLine, ...]:
    """A value card that says which of its values rest on a proof that is stale, and since when.

    Parameters
    ----------
    card : sequence of CardLine
        As planned. [metric]
    lines : sequence of Line
        From `proof_lines`. [-]
    """
    stale = {x.item.key: f"{x.due[:1].upper()}{x.due[1:]}" for x in lines if x.state == "due"}

    def told(line: CardLine) -> str:
        name, _, letter = line.key.partition(":")
        for kind, names in _ON_CARD.items():
            key = f"catch:{letter}" if kind == "catch" else kind
            if name in names and key in stale and (kind == "catch" or not letter):
                return stale[key]
        return ""

    return tuple(dataclasses.replace(x, stale_now=told(x)) if not x.stale_now and x.state != "needs" and told(x) else x for x in card)


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
    records = [_measured(r) for r in book.all(ProofRecord, outfit=outfit) if not r.item.startswith(SAID)]
    holds, lots = _products_of(book, outfit)
    known = _known(book, found, holds)
    factors = [f for f in book.all(MeterFactor) if f.outfit == outfit and holds.get(f.bin, f.product) == f.product]
    names = {p.key: p.name for p in book.all(Product)}
    return ProofFacts(
        outfit=found,
        factors=_typed_factors(factors),
        products={b: names.get(p, p) for b, p in holds.items()},
        measured=tuple(sorted([*known, *records], key=lambda m: m.at)),
        changed=changes(book, outfit, factors, holds, lots, clock=clock),
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


def _products_of(book: Book, outfit: str) -> tuple[dict[str, str], Mapping[str, Lot]]:
    """What each bin is to hold for the job that comes first: product by bin, lot in use by product."""
    from evenstand.desk.nexts import current_jobs
    from evenstand.desk.planning import job_inputs
    from evenstand.expect import plan_for

    job = next((j for j in current_jobs(book) if j.outfit == outfit), None)
    if job is None:
        return {}, {}
    inputs = dataclasses.replace(job_inputs(book, job.key), drive=False)  # no proof rests on the line to drive
    return {b.bin: b.product for b in plan_for(inputs).bins}, inputs.lots


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


def read_found(item: Item, text: str, profile: Profile) -> float | None:
    """What was found, in the metric unit of the item; None for an item in words. A ratio typed for a share near one is taken as one:
    1.004 is 100.4 %.

    Parameters
    ----------
    item : Item
        What was measured. [-]
    text : str
        As typed, with or without its unit. [-]
    profile : str
        Units of a bare number. [-]

    Raises
    ------
    UnitError
        If it is no number, or in a unit of something else.
    """
    if not item.quantity:
        return None
    value = read_quantity(text, item.quantity, profile, where=item.key)
    near_one = item.quantity == "share" and item.low is not None and item.low > 0.5
    return value * 100 if near_one and "%" not in text and 0.005 < value < 0.02 else value


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
