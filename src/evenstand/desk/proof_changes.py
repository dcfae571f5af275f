"""What has changed on an outfit since something was proven: values by the book's history, lots, treatments, and what people said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock, iso
from evenstand.base.errors import MissingError
from evenstand.model import Fill, Lot, MeterFactor, Outfit
from evenstand.nextup.commissioning import NOTED

if TYPE_CHECKING:
    from evenstand.book import Book, CatchRecord, ProofRecord

SAID = "changed:"
"""Beginning of the item of a record that says something changed."""


def changes(
    book: Book, outfit: str, factors: Sequence[MeterFactor], holds: Mapping[str, str], lots: Mapping[str, Lot], *, clock: Clock
) -> dict[str, str]:
    """When each watched value last changed, after the outfit was first put in.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    outfit : str
        Its key. [-]
    factors : sequence of MeterFactor
        Product per turn of this outfit's bins with what they hold. [kg/turn]
    holds : mapping
        Product key by bin letter. [-]
    lots : mapping
        Lot in use by product key. [-]
    clock : Clock
        For a lot that was there before the last catch and of which no fill tells when it went in. [UTC]

    Returns
    -------
    dict
        ISO time by the name of the value; a value of a bin has its letter behind a colon. [UTC]
    """
    out = _values(book, outfit)
    for f in factors:
        if f.how != "catch" and f.at:
            _later(out, f"factor:{f.bin}", f.at)
    _lots(book, outfit, holds, lots, out, clock)
    for record in _said(book, outfit):
        _later(out, record.item.removeprefix(SAID), record.at)
    return out


def _later(out: dict[str, str], name: str, at: str) -> None:
    out[name] = max(out.get(name, ""), at)


def _values(book: Book, outfit: str) -> dict[str, str]:
    """By the history of the outfit itself."""
    entries = book.history(Outfit, outfit)
    first = next((e.id for e in entries if e.table == "outfits" and e.field == "*" and e.before is None), None)
    out: dict[str, str] = {}
    for e in entries:
        if e.id == first:
            continue
        part = str(e.row[1]) if len(e.row) > 1 else ""
        _later(
            out,
            {"outfit_runs": "runs", "outfit_heads": "heads"}.get(e.table, f"{e.field}:{part}" if e.table == "outfit_bins" else e.field),
            e.at,
        )
    return out


def _lots(book: Book, outfit: str, holds: Mapping[str, str], lots: Mapping[str, Lot], out: dict[str, str], clock: Clock) -> None:
    """A catch that was made with another lot, or before the lot was treated; and that a catch opened the door."""
    from evenstand.book import CatchRecord

    newest: dict[str, CatchRecord] = {}
    for c in sorted(book.all(CatchRecord, outfit=outfit), key=lambda c: c.at):
        newest[c.bin] = c
        _later(out, f"caught:{c.bin}", c.at)
    for letter, product in holds.items():
        lot, caught = lots.get(product), newest.get(letter)
        if lot is None or caught is None or caught.product != product:
            continue
        entries = book.history(Lot, lot.key)
        if caught.lot and caught.lot != lot.key:
            _later(out, f"lot:{letter}", _lot_since(book, outfit, letter, lot.key, caught.at, entries[0].at if entries else "", clock))
        elif not caught.lot and entries and entries[0].at > caught.at:
            _later(out, f"lot:{letter}", entries[0].at)
        treated = [lot.treated_at] if lot.treated_at else []
        treated += [e.at for e in entries if e.field == "treatment" and e.id != entries[0].id]
        if treated:
            _later(out, f"treatment:{letter}", max(treated))


def _lot_since(book: Book, outfit: str, letter: str, lot: str, caught_at: str, entered_at: str, clock: Clock) -> str:
    """When another lot than the one caught came into use: its first fill after the catch, else when it was entered, else now."""
    fills = sorted(f.at for f in book.all(Fill) if f.outfit == outfit and f.bin == letter and f.lot == lot and f.at > caught_at)
    return fills[0] if fills else entered_at if entered_at > caught_at else iso(clock.now())


def _said(book: Book, outfit: str) -> list[ProofRecord]:
    from evenstand.book import ProofRecord

    return [r for r in book.all(ProofRecord, outfit=outfit) if r.item.startswith(SAID)]


def keep_change(book: Book, outfit: str, what: str, *, by: str = "", note: str = "", clock: Clock) -> ProofRecord:
    """Keep that something changed which no value of the outfit shows: tyres, soil, hoses; the proofs that rest on it go stale.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    outfit : str
        Its key. [-]
    what : str
        A key of `nextup.commissioning.NOTED`. [-]
    by, note : str
        Who says so; what else. [-]
    clock : Clock
        When. [UTC]

    Raises
    ------
    MissingError
        If nothing of that name can change; those that can are listed.
    """
    from evenstand.book import ProofRecord
    from evenstand.desk.recording import free_key, slug

    if what not in NOTED:
        raise MissingError(f"'{what}' is no change that is kept here", where="changed", cure=f"Use one of: {', '.join(NOTED)}.")
    at = iso(clock.now())
    key = free_key(book, ProofRecord, slug(f"{outfit} changed {what} {at}"))
    record = ProofRecord(key=key, outfit=outfit, item=f"{SAID}{what}", text=NOTED[what], at=at, by=by.strip(), note=note.strip())
    book.put(record, why=NOTED[what])
    return record
