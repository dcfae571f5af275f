"""Check a job of a book: its readings, fills, events and trail against one another; and the account of each product."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock
from evenstand.base.errors import MissingError, require_range
from evenstand.base.units import Profile
from evenstand.model import Fill, Finding, Load, MeterFactor, Outfit, Plan, Product, Reading, Trail
from evenstand.tally import Account, account

if TYPE_CHECKING:
    from evenstand.book import Book, View


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingKind:
    """A reading a person can enter: quantity key, label, unit quantity, hint, whether it belongs to a bin, its usual sd as a share of the
    value and at least in its metric unit, what it repeats ("F" and "turns" get the bin's letter), its usual instrument."""

    key: str
    label: str
    unit: str
    hint: str = ""
    of_bin: bool = False
    sd_share: float = 0.0
    sd_least: float = 0.0
    repeats: tuple[str, ...] = ()
    instrument: str = ""


READINGS: tuple[ReadingKind, ...] = (
    ReadingKind(
        key="area_counter",
        label="Area counter",
        unit="area",
        hint="Since the job began.",
        sd_share=0.001,
        sd_least=0.01,
        repeats=("W", "V"),
        instrument="display",
    ),
    ReadingKind(key="boundary_area", label="Area by outline or papers", unit="area", sd_share=0.01, instrument="outline"),
    ReadingKind(
        key="put",
        label="Put in, all fills",
        unit="mass",
        hint="By tickets or scale.",
        of_bin=True,
        sd_share=0.003,
        sd_least=5,
        instrument="ticket",
    ),
    ReadingKind(
        key="level",
        label="Left now",
        unit="mass",
        hint="Weighed, or emptied and swept.",
        of_bin=True,
        sd_share=0.02,
        sd_least=20,
        instrument="weighed",
    ),
    ReadingKind(
        key="shown_mass",
        label="Mass the display says was sown",
        unit="mass",
        of_bin=True,
        sd_share=0.001,
        sd_least=1,
        repeats=("F", "turns"),
        instrument="display",
    ),
    ReadingKind(
        key="typed_rate",
        label="Rate in force on the display",
        unit="rate",
        of_bin=True,
        sd_least=0.05,
        repeats=("rate",),
        instrument="display",
    ),
    ReadingKind(
        key="distance_shown",
        label="Distance the machine counted",
        unit="distance",
        sd_share=0.001,
        sd_least=1,
        repeats=("V",),
        instrument="display",
    ),
    ReadingKind(
        key="distance_gnss",
        label="The same distance by another receiver",
        unit="distance",
        hint="Not the one that feeds the speed.",
        sd_share=0.003,
        sd_least=2,
        instrument="gnss",
    ),
    ReadingKind(key="width_tape", label="Width by tape", unit="width", sd_least=0.015, instrument="tape"),
    ReadingKind(key="fan_shown", label="Fan speed, steady at work", unit="fan", sd_share=0.003, sd_least=0.2, instrument="display"),
)
_BY_KEY = {r.key: r for r in READINGS}
_ABOVE_ZERO = {"rate", "width", "factor", "fan"}


def reading_of(key: str, value: float, *, bin: str = "", sd: float | None = None, at: str = "") -> Reading:
    """A reading with its provenance and usual standard deviation. [metric unit of its kind]

    Raises
    ------
    MissingError
        For an unknown kind, or a bin reading without a bin.
    """
    if key not in _BY_KEY:
        raise MissingError(f"no reading '{key}'", where="reading", cure=f"Use {', '.join(_BY_KEY)}.")
    kind = _BY_KEY[key]
    if kind.of_bin and not bin:
        raise MissingError(f"{kind.label.lower()} belongs to a bin", where="bin", cure="Say which bin.")
    require_range(f"{key}:{bin}" if bin else key, value, 0, math.inf, low_open=kind.unit in _ABOVE_ZERO, high_open=True)
    tail = f":{bin}" if kind.of_bin else ""
    repeats = tuple(f"{r}:{bin}" if kind.of_bin else r for r in kind.repeats)
    spread = sd if sd is not None else max(kind.sd_share * abs(value), kind.sd_least)
    return Reading(quantity=f"{key}{tail}", value=value, sd=spread, at=at, instrument=kind.instrument, derived_from=repeats)


def keep_readings(book: Book, *, job: str, bin: str, values: Mapping[str, float], clock: Clock, by: str = "") -> None:
    """Keep what was read at the end of a field, each with its provenance. [metric]"""
    from evenstand.desk.recording import record_reading

    readings = [reading_of(key, value, bin=bin) for key, value in values.items()]  # all are checked before any is kept
    with book.batch("readings"):
        for reading in readings:
            record_reading(book, job=job, reading=reading, clock=clock, by=by)


def check_job(book: Book | View, job_key: str, *, profile: Profile | None = None) -> tuple[Finding, ...]:
    """What holds, what does not, what cannot be told yet, from all that the book knows of a job.

    Earlier jobs of the same outfit teach how far its meters and instruments really move and read; the look at a job that is under way asks
    for more evidence the less of it is done, so that the day keeps one budget of false alarms however often it is looked at.

    Parameters
    ----------
    book : Book or View
        Open for reading. [-]
    job_key : str
        Which job. [-]
    profile : str or None
        Units of the sentences; those of the book where not given. [-]

    Returns
    -------
    tuple of Finding
        What does not hold first; empty where nothing has been read yet. [-]
    """
    from evenstand.book import View
    from evenstand.desk.past_days import with_past

    view = book if isinstance(book, View) else View(book)
    return with_past(view, job_key, profile or view.profile)


def share_done(plan: Plan, latest: Mapping[str, Reading], fills: Sequence[Fill]) -> float | None:
    """How much of the job, or of its first day if it takes several, is done: a book is looked at again and again. [share]"""
    from evenstand.reference import default

    areas = [f.area_ha for f in fills if f.area_ha is not None]
    areas += [latest["area_counter"].value] if "area_counter" in latest else []
    day = plan.low_ha_h * default("workday-hours").value if plan.low_ha_h else math.inf
    whole = min(plan.area_ha or math.inf, day)
    done = max(areas, default=0.0)
    return min(1.0, done / whole) if done > 0 and math.isfinite(whole) and whole > 0 else None


def typed_values(outfit: Outfit, plan: Plan, factors: tuple[MeterFactor, ...], latest: Mapping[str, Reading]) -> dict[str, float]:
    """Values in force on the display, as far as the book knows: width, product per turn, rate by bin. [m, kg/turn, kg/ha]"""
    typed: dict[str, float] = {}
    width = outfit.widths.rate_m or outfit.width_m
    if width is not None:
        typed["W"] = width
    for b in plan.bins:
        if b.factor_kg_turn is not None:
            typed[f"F:{b.bin}"] = b.factor_kg_turn.value
        read = latest.get(f"typed_rate:{b.bin}")
        if read is not None:
            typed[f"rate:{b.bin}"] = read.value
    return typed


def newest_trail(book: Book | View, job_key: str) -> Trail | None:
    """The newest trail of a job, if it has one."""
    from evenstand.book import TrailRecord

    records = book.all(TrailRecord, job=job_key)
    return book.trail(records[-1].key) if records else None


@dataclass(frozen=True, slots=True, kw_only=True)
class TallyRow:
    """One product's account with its name, for a list. [kg]"""

    product: str
    delivered_kg: float | None
    put_kg: float
    left_kg: float
    open_kg: float | None
    open_sd_kg: float | None
    meaning: str
    account: Account


def tally_rows(book: Book) -> tuple[TallyRow, ...]:
    """The account of every product that came or went. [kg]"""
    names = {p.key: p.name for p in book.all(Product)}
    loads, fills = book.all(Load), book.all(Fill)
    used = dict.fromkeys([*(x.product for x in loads), *(f.product for f in fills)])
    rows = []
    for key in used:
        a = account(key, loads, fills)
        rows.append(
            TallyRow(
                product=names.get(key, key),
                delivered_kg=a.delivered_kg,
                put_kg=a.put_kg,
                left_kg=a.left_kg,
                open_kg=a.open_kg,
                open_sd_kg=a.open_sd_kg,
                meaning=a.meaning,
                account=a,
            )
        )
    return tuple(rows)
