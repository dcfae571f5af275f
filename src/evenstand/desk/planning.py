"""Plans: from a few typed words with no book, or for a job in a book."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from evenstand.base.errors import Fault, InputError, MissingError, UnitError
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, read_quantity, recognise
from evenstand.model import Ask, Bin, Boundary, Job, Lot, Meter, MeterFactor, Outfit, Plan, Product, Widths
from evenstand.reference import default

if TYPE_CHECKING:
    from evenstand.book import Book, View
    from evenstand.expect import PlanInputs

LETTERS = "ABCDEFGH"
_BY_UNIT = ("area", "rate", "speed", "width", "factor", "volume", "density", "kernel", "stand")


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What was typed for a quick plan, still as text where it carries a unit.

    words: free text such as "62 ha, wheat, 120 kg/ha, 16.3 m, 7.5 km/h"; also: further products as "urea=150";
    factor, bins, density: "1.25" or "A=1.25,B=1.18"; turns: of the catch; boundary: path of a field's outline.
    """

    words: tuple[str, ...] = ()
    crop: str = ""
    area: str = ""
    rate: str = ""
    width: str = ""
    speed: str = ""
    rows: str = ""
    spacing: str = ""
    spread: str = ""
    factor: str = ""
    bins: str = ""
    density: str = ""
    tkw: str = ""
    survival: str = ""
    target: str = ""
    turns: str = ""
    meter_range: str = ""
    fan: str = ""
    texture: str = ""
    guideline: str = ""
    boundary: str = ""
    field: str = ""
    crs: str = ""
    also: tuple[str, ...] = ()


@dataclass(slots=True)
class _Reader:
    """Reads texts into numbers and gathers every fault before anything is refused."""

    profile: Profile
    faults: list[Fault] = field(default_factory=list)

    def number(self, text: str, quantity: str, where: str) -> float | None:
        if not text.strip():
            return None
        try:
            return read_quantity(text, quantity, self.profile, where=where)
        except UnitError as error:
            self.faults += error.faults
            return None

    def share(self, text: str, where: str) -> float | None:
        """'85 %', '85%' or '0.85' as a share. [-]"""
        if not text.strip():
            return None
        try:
            value = float(text.replace("%", "").replace(",", ".").strip())
        except ValueError:
            self.faults.append(Fault(where=where, what=f"'{text}' is no number", cure="Write 85 % or 0.85."))
            return None
        value = value / 100 if "%" in text or value > 1 else value
        if not 0 < value <= 1:
            self.faults.append(Fault(where=where, what=f"{text.strip()} is no share", limit="above 0 to 100 %", cure="Correct the value."))
            return None
        return value

    def by_key(self, text: str, quantity: str, where: str, keys: Sequence[str]) -> dict[str, float]:
        """'1.25' for the first key, or 'A=1.25,B=1.18'. [metric]"""
        out: dict[str, float] = {}
        for i, piece in enumerate(p for p in re.split(r"[;,]\s*(?=[A-Za-z])|;|,\s+", text) if p.strip()):
            key, _, value = piece.rpartition("=")
            chosen = key.strip() or (keys[i] if i < len(keys) else "")
            number = self.number(value, quantity, where)
            if number is not None and chosen:
                out[chosen] = number
        return out

    def done(self) -> None:
        if self.faults:
            raise InputError(self.faults)


def quick_inputs(said: Said, profile: Profile = "si", *, at: str = "") -> PlanInputs:
    """The inputs of a plan from what was typed; unknown stays unknown.

    Parameters
    ----------
    said : Said
        Text as typed. Numbers without a unit are read in the profile's unit. [-]
    profile : str
        'si', 'prairie' or 'us'. [-]

    Returns
    -------
    PlanInputs
        In metric units. [metric]

    Raises
    ------
    InputError
        Listing everything that could not be read.
    """
    from evenstand.expect import PlanInputs

    read = _Reader(profile=profile)
    said = _with_words(said, read)
    crop = (said.crop or "").strip().lower()
    area, rate = read.number(said.area, "area", "area"), read.number(said.rate, "rate", "rate")
    seed = f"{crop or 'product'} seed" if crop else "product"
    asks = [Ask(product=seed, rate_kg_ha=rate)] if rate is not None else []
    for more in said.also:
        name, _, value = more.partition("=")
        if not name.strip() or not value.strip():
            read.faults.append(Fault(where="also", what=f"'{more}' is no product with its rate", cure="Write urea=150."))
            continue
        number = read.number(value, "rate", f"also {name}")
        if number is not None:
            asks.append(Ask(product=name.strip(), rate_kg_ha=number))
    letters = [*LETTERS[: max(1, len(asks))]]
    volumes = read.by_key(said.bins, "volume", "bins", LETTERS)
    factors = read.by_key(said.factor, "factor", "factor", LETTERS)
    densities = read.by_key(said.density, "density", "density", [a.product for a in asks] or [seed])
    low, high = _pair(read, said.meter_range, "shaft", "meter-range")
    spacing, rows = read.number(said.spacing, "spacing", "spacing"), read.number(said.rows, "count", "rows")
    width, speed = read.number(said.width, "width", "width"), read.number(said.speed, "speed", "speed")
    tkw, fan = read.number(said.tkw, "kernel", "tkw"), read.number(said.fan, "fan", "fan")
    survival, target = read.share(said.survival, "survival"), read.number(said.target, "stand", "target")
    spread, turns = read.number(said.spread, "spacing", "spread"), read.number(said.turns, "count", "turns")
    read.done()
    used = sorted({*letters, *volumes, *factors})
    bins = tuple(_bin(b, volumes.get(b), low, high) for b in used)
    outfit = Outfit(
        key="typed",
        name="the outfit as typed",
        rows=int(rows) if rows else None,
        row_spacing_m=spacing,
        spread_m=spread,
        widths=Widths(rate_m=width),
        bins=bins,
        speed_m_s=speed,
        fan_turns_s=_typed(fan),
    )
    products = {a.product: _product(a, i, densities) for i, a in enumerate(asks)}
    pinned = tuple(replace(a, bins=(used[i],)) if len(asks) > 1 and i < len(used) else a for i, a in enumerate(asks))
    lots = {seed: Lot(key="typed", product=seed, tkw_g=_typed(tkw))} if tkw else {}
    by_bin = {used[i]: a.product for i, a in enumerate(asks) if i < len(used)}
    in_a_day = default("factor-in-a-day").value
    known = tuple(
        MeterFactor(
            outfit="typed",
            bin=b,
            product=by_bin.get(b, seed),
            kg_turn=Est(value=v, sd=in_a_day * v, basis="typed", source="typed"),
            how="typed",
            at=at,
        )
        for b, v in factors.items()
    )
    boundary = _boundary(said)
    job = Job(
        key="typed",
        crop=crop,
        season=0,
        area_ha=area,
        asks=pinned,
        survival=survival,
        target_plants_m2=target,
        texture=said.texture,
        guideline=said.guideline,
    )
    return PlanInputs(job=job, outfit=outfit, products=products, lots=lots, factors=known, boundary=boundary, turns=turns)


def quick_plan(said: Said, profile: Profile = "si") -> Plan:
    """A plan from what was typed, with no book. [metric]"""
    from evenstand.expect import plan_for

    return plan_for(quick_inputs(said, profile))


def _with_words(said: Said, read: _Reader) -> Said:
    """Free text sorted into the fields by the units in it; what is typed as an option wins."""
    text = ", ".join(said.words)
    if not text.strip():
        return said
    names = {"kernel": "tkw", "volume": "bins", "stand": "target"}
    found: dict[str, str] = {}
    rest = text
    for match in re.finditer(r"[-+]?\d[\d.,]*\d?\s*(?:[^\W\d]|%)[^\s,;]*(?:\s\((?:US|imp)\))?", text):
        piece = match.group(0)
        what = recognise(piece, _BY_UNIT)
        if what is None:
            continue
        found.setdefault(names.get(what[0], what[0]), piece)
        rest = rest.replace(piece, " ", 1)
    stray = [m.group(0).strip() for m in re.finditer(r"[-+]?\d[^\s,;]*(?:\s+[^\W\d][^\s,;]*)?", rest)]
    for piece in stray:
        rest = rest.replace(piece, " ", 1)
    crop = " ".join(w for w in re.split(r"[\s,;]+", rest) if w)
    read.faults += [
        Fault(where=w, what="a number whose unit says nothing known here", cure="Write the unit behind it, as in 62 ha or 120 kg/ha.")
        for w in stray
    ]
    values: dict[str, Any] = {name: getattr(said, name) or text for name, text in found.items()}
    return replace(said, crop=said.crop or crop, **values)


def _pair(read: _Reader, text: str, quantity: str, where: str) -> tuple[float | None, float | None]:
    """'4-60 rpm' as two numbers. [metric]"""
    if not text.strip():
        return None, None
    match = re.match(r"\s*([\d.]+)\s*(?:-|to|\.\.)\s*([\d.]+)\s*(.*)", text)
    if not match:
        read.faults.append(Fault(where=where, what=f"'{text}' is no range", cure="Write it as 4-60 rpm."))
        return None, None
    low, high, unit = match.groups()
    return read.number(f"{low} {unit}", quantity, where), read.number(f"{high} {unit}", quantity, where)


def _typed(value: float | None) -> Est | None:
    return None if value is None else Est(value=value, sd=0.0, basis="typed", source="typed")


def _bin(letter: str, volume: float | None, low: float | None, high: float | None) -> Bin:
    capacity = None if volume is None else Est(value=volume, sd=default("capacity-as-typed").value * volume, basis="typed", source="typed")
    return Bin(letter=letter, capacity_m3=capacity, meter=Meter(steady_low_turns_s=low, steady_high_turns_s=high))


def _product(ask: Ask, place: int, densities: Mapping[str, float]) -> Product:
    value = densities.get(ask.product, densities.get(LETTERS[place]))
    density = None if value is None else Est(value=value, sd=default("density-as-typed").value * value, basis="typed", source="typed")
    return Product(key=ask.product, name=ask.product, kind="seed" if place == 0 else "fertilizer", density_kg_m3=density)


def _boundary(said: Said) -> Boundary | None:
    if not said.boundary:
        return None
    from evenstand.field import read_boundary

    return read_boundary(said.boundary, field=said.field or None, crs=said.crs or None)


def job_inputs(book: Book | View, job_key: str, *, now: str = "") -> PlanInputs:
    """The inputs of a plan for a job in a book: outfit, products, newest lots, factors, outline; now: ISO moment, for clocks and dates.

    Raises
    ------
    MissingError
        If the book has no such job; the jobs it has are listed.
    """
    from evenstand.expect import PlanInputs

    job = book.get(Job, job_key)
    if job is None:
        known = ", ".join(sorted(j.key for j in book.all(Job)))
        raise MissingError(f"no job '{job_key}'", where="job", cure=f"Jobs in this book: {known or 'none yet'}.")
    outfit = book.get(Outfit, job.outfit) if job.outfit else None
    boundary = book.get(Boundary, job.field_key) if job.field_key else None
    products = {p.key: p for p in book.all(Product)}
    lots = book.all(Lot)
    chosen: dict[str, Lot] = {}
    for ask in job.asks:
        mine = [lot for lot in lots if lot.product == ask.product and (not ask.lot or lot.key == ask.lot)]
        if mine:
            chosen[ask.product] = mine[-1]
    factors = book.all(MeterFactor, outfit=job.outfit) if job.outfit else ()
    return PlanInputs(
        job=job,
        outfit=outfit,
        products={a.product: products[a.product] for a in job.asks if a.product in products},
        lots=chosen,
        factors=factors,
        boundary=boundary,
        now=now,
    )


def plan_job(book: Book, job_key: str, *, now: str = "") -> Plan:
    """The plan of a job in a book; now: ISO moment, for clocks and dates. [metric]"""
    from evenstand.expect import plan_for

    return plan_for(job_inputs(book, job_key, now=now))
