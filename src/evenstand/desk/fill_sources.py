"""What a fill can say of where it came from: the loads it may have come out of, and what the conveyor put in by its time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenstand.base.errors import InputError, MissingError, UnitError
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, read_quantity, shown
from evenstand.model import Fill, Load, Lot, Product
from evenstand.tally import ConveyorRun, conveyor_delivery, conveyor_mass

if TYPE_CHECKING:
    from evenstand.book import Book

MOST_LOADS = 12
USED_UP = 0.02
"""Share of a load that counts as nothing left: a ticket is not known much better. Common practice. [-]"""
WEIGHED_HOW = frozenset({"ticket", "truck-scale", "pads", "cart-scale", "tote"})
_KIND = {"truck": "truck", "delivery": "delivery"}


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadChoice:
    """A load that a fill may have come out of. left_kg: of it not yet put in, by what is written, None where its mass is not known. [kg]"""

    key: str
    product: str
    lot: str
    left_kg: float | None
    text: str


def load_choices(book: Book, *, products: Sequence[str] = (), profile: Profile | None = None) -> tuple[LoadChoice, ...]:
    """Truck loads and deliveries that have something left, newest first, trucks before deliveries.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    products : sequence of str
        Only loads of these; all where none is given. [-]
    profile : str or None
        Units of the texts; those of the book where not given. [-]
    """
    units = profile or book.profile
    loads, fills = book.all(Load), book.all(Fill)
    names, lots = {p.key: p.name for p in book.all(Product)}, {x.key: x.label or x.key for x in book.all(Lot)}
    taken = dict[str, float]()
    for f in fills:
        taken[f.load] = taken.get(f.load, 0.0) + f.put_kg
    for x in loads:
        if x.part_of and x.mass_kg is not None:
            taken[x.part_of] = taken.get(x.part_of, 0.0) + x.mass_kg
    out = []
    for x in sorted((x for x in loads if x.kind in _KIND), key=lambda x: (x.kind == "truck", x.at, x.key), reverse=True):
        left = None if x.mass_kg is None else x.mass_kg - taken.get(x.key, 0.0)
        if (products and x.product not in products) or (left is not None and x.mass_kg and left <= USED_UP * x.mass_kg):
            continue
        mass = "mass not known" if left is None else shown(10.0 * round(left / 10.0), "mass", units) + (" left" if x.key in taken else "")
        parts = (
            names.get(x.product, x.product),
            _KIND[x.kind],
            f"ticket {x.ticket}" if x.ticket else "",
            lots.get(x.lot, x.lot),
            mass,
            x.at[:10],
        )
        out.append(LoadChoice(key=x.key, product=x.product, lot=x.lot, left_kg=left, text=", ".join(p for p in parts if p)))
    return tuple(out[:MOST_LOADS])


def load_for(book: Book, key: str, product: str) -> Load | None:
    """The load a fill of a product is said to have come out of; None for "".

    Raises
    ------
    MissingError
        If there is no such load.
    InputError
        If it carries another product, or is no load that a fill comes out of.
    """
    if not key:
        return None
    load = book.get(Load, key)
    if load is None:
        known = ", ".join(c.key for c in load_choices(book)) or "none"
        raise MissingError(f"no load '{key}'", where="load", cure=f"Loads with something left: {known}.")
    if load.product != product:
        raise InputError(
            f"load '{key}' carries {load.product}", where="load", limit=product, cure="Choose a load of what went into the bin."
        )
    if load.kind not in _KIND:
        raise InputError(
            f"'{key}' is a load of kind {load.kind}", where="load", limit="truck or delivery", cure="Choose what it came out of."
        )
    return load


def read_minutes(text: str, *, where: str = "minutes") -> float | None:
    """'12.5', '12.5 min' or '750 s' as seconds; minutes where no unit is typed, None for "". [s]

    Raises
    ------
    UnitError
        If it is no time.
    """
    if not text.strip():
        return None
    try:
        return read_quantity(text, "seconds", where=where) if any(c.isalpha() for c in text) else read_quantity(f"{text} min", "seconds")
    except UnitError as error:
        raise UnitError(f"'{text}' is no time", where=where, cure="Write 12.5 or 12.5 min.") from error


def conveyor_of(book: Book, product: str) -> Est | None:
    """Delivery of the conveyor for a product, learned from weighed fills for which the minutes were noted; None without one. [kg/s]"""
    from evenstand.book import JobReading

    times = [r for r in book.all(JobReading) if r.reading.quantity.startswith("conveyor_time:")]
    ran = {(r.job, r.reading.quantity.partition(":")[2], r.reading.at): r.reading.value for r in times}
    runs = [
        ConveyorRun(seconds=ran[f.job, f.bin, f.at], put_kg=f.put_kg, put_sd_kg=f.put_sd_kg)
        for f in book.all(Fill)
        if f.product == product and f.how in WEIGHED_HOW and f.put_kg > 0 and (f.job, f.bin, f.at) in ran
    ]
    return conveyor_delivery(runs) if runs else None


def conveyed(book: Book, product: str, seconds: float, *, typed_kg_s: float | None = None) -> Est:
    """What the conveyor put in while it ran, at the delivery typed, else at the one learned.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    product : str
        Its key. [-]
    seconds : float
        It ran. [s]
    typed_kg_s : float or None
        Its delivery as the person knows it. [kg/s]

    Returns
    -------
    Est
        Mass with its standard deviation. [kg]

    Raises
    ------
    MissingError
        If nothing is typed and nothing was learned.
    RangeError
        As `conveyor_mass` does.
    """
    delivery = Est(value=typed_kg_s, sd=0.0, basis="typed", source="typed") if typed_kg_s is not None else conveyor_of(book, product)
    if delivery is None:
        cure = "Type its delivery. Or weigh one fill and note the minutes with it: from then on it is known."
        raise MissingError("what the conveyor delivers in a minute is not known", where="delivery", cure=cure)
    return conveyor_mass(seconds, delivery)
