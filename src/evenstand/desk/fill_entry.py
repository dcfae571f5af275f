"""Entering a fill: what went in by weight or by the conveyor's time, out of which load, and when the low-level light had come on."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock
from evenstand.base.errors import InputError, MissingError
from evenstand.base.units import Profile, shown
from evenstand.desk.fill_sources import conveyed, load_for
from evenstand.desk.recording import product_in, record_fill
from evenstand.model import Fill, HowKnown, Job

if TYPE_CHECKING:
    from evenstand.book import Book


def enter_fill(
    book: Book,
    *,
    job: str,
    bin: str,
    put_kg: float | None,
    how: HowKnown,
    clock: Clock,
    ran_s: float | None = None,
    delivery_kg_s: float | None = None,
    area_ha: float | None = None,
    level_before_kg: float | None = None,
    load: str = "",
    low_light_at_ha: float | None = None,
) -> Fill:
    """Keep a fill; where no mass is given, it is what the conveyor put in while it ran.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    job, bin : str
        Key of the job, letter of the bin. [-]
    put_kg : float or None
        What went in; None: by the conveyor's time. [kg]
    how : str
        How the mass is known, as in `model.HowKnown`. [-]
    clock : Clock
        When. [UTC]
    ran_s : float or None
        How long the conveyor ran; beside a weighed mass its delivery is learned from it. [s]
    delivery_kg_s : float or None
        What the conveyor delivers, as typed; None: as learned. [kg/s]
    area_ha, level_before_kg, load, low_light_at_ha
        As for `record_fill`. [ha, kg]

    Raises
    ------
    MissingError
        If neither a mass nor minutes are given, or the conveyor's delivery is not known.
    InputError, RangeError
        As `record_fill` does.
    """
    if put_kg is not None:
        return record_fill(
            book, job=job, bin=bin, put_kg=put_kg, how=how, area_ha=area_ha, level_before_kg=level_before_kg, load=load,
            low_light_at_ha=low_light_at_ha, ran_s=ran_s, clock=clock,
        )  # fmt: skip
    if ran_s is None:
        raise MissingError("what went in is missing", where="put", cure="Type its mass, or the minutes the conveyor ran.")
    known = book.get(Job, job)
    if known is None:
        raise MissingError(f"no job '{job}'", where="job", cure="Choose a bin of a job.")
    if how not in ("conveyor", "ticket"):  # the first of the list is what stands there when nobody chose
        raise InputError(
            f"a mass known by {how.replace('-', ' ')} is not given", where="put", cure="Type it, or choose minutes of conveyor."
        )
    found = conveyed(book, product_in(book, known, bin), ran_s, typed_kg_s=delivery_kg_s)
    return record_fill(
        book, job=job, bin=bin, put_kg=found.value, put_sd_kg=found.sd, how="conveyor", area_ha=area_ha, level_before_kg=level_before_kg,
        load=load, low_light_at_ha=low_light_at_ha, ran_s=ran_s, clock=clock,
    )  # fmt: skip


def name_load(book: Book, *, job: str, bin: str, load: str) -> bool:
    """Say which load the last fill of a bin came out of; False where there is no fill, or it is said already.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    job, bin, load : str
        Keys, and letter of the bin. [-]

    Raises
    ------
    InputError, MissingError
        As `load_for` does.
    """
    mine = [f for f in book.all(Fill, job=job) if f.bin == bin]
    last = max(mine, key=lambda f: (f.at, f.key), default=None)
    if last is None or last.load == load:
        return False
    source = load_for(book, load, last.product)
    if source is None:
        return False
    book.put(replace(last, load=load, lot=last.lot or source.lot), why="load of a fill")
    return True


def kept_words(fill: Fill, *, profile: Profile) -> str:
    """'3,960 kg (± 140) into bin D, by the conveyor's time'. [text]

    Parameters
    ----------
    fill : Fill
        As kept. [kg]
    profile : str
        Units. [-]
    """
    mass = shown(fill.put_kg, "mass", profile)
    if fill.how != "conveyor":
        return f"{mass} into bin {fill.bin}"
    return f"{mass} (± {shown(1.96 * fill.put_sd_kg, 'mass', profile)}) into bin {fill.bin}, by the conveyor's time"
