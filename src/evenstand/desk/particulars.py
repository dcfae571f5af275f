"""What is typed about an outfit, a job, a product or a lot once it is there: what the value card asks for. Each change has its history."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, TypeVar

from evenstand.base.clock import Clock, iso
from evenstand.base.errors import Fault, InputError, MissingError
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, read_quantity
from evenstand.model import Job, Lot, Outfit, Product
from evenstand.reference import default

if TYPE_CHECKING:
    from evenstand.book import Book

_K = TypeVar("_K", Job, Lot, Outfit, Product)

RANGES: dict[str, tuple[float, float]] = {
    "stand_in_m_s": (0, 10), "pulse_m": (0, 5), "fan_turns_s": (0, 200), "temperature_c": (-45, 60), "relative_humidity": (0, 1),
    "height_m": (-500, 5000), "load_kg_s": (0, 20), "on_m": (0, 100), "off_m": (0, 100), "speed_m_s": (0, 10), "fuel_l_ha": (0, 200),
    "fuel_price_l": (0, 1000), "wage_h": (0, 100_000), "flutes": (1, 500), "caught_kg": (0, 500), "survival": (0, 1),
    "survival_sd": (0, 0.5),
    "day_hours": (0, 24), "workable": (0, 1), "soil_temperature_c": (-20, 50), "price_kg": (0, 100_000), "sow_within_h": (0, 10_000),
    "step_kg_ha": (0, 1000), "second_rate_kg_ha": (0, 5000),
    "antenna_ahead_m": (-15, 40), "hitch_m": (0, 40),
}  # fmt: skip
"""Bounds of what can be typed, metric; the low one of a length, speed, mass or price is not allowed itself."""
_MAY_BE_LOW = frozenset(
    {"temperature_c", "relative_humidity", "height_m", "soil_temperature_c", "workable", "survival_sd", "flutes", "hitch_m"}
)


def change_outfit(book: Book, key: str, values: Mapping[str, float | str | None], *, clock: Clock) -> Outfit:
    """Keep what is typed about an outfit; what is None stays as it is.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    key : str
        Of the outfit. [-]
    values : mapping
        Names of fields to values: "stand_in_m_s", "pulse_m", "fan_turns_s", those of `FanProof`, `FlagTest` and `Costs`, "flutes:B" for
        the meter of bin B, "caught_kg:E" for head E; "antenna_ahead_m", and "hitch_m", 0 of which means no drawbar. [metric]
    clock : Clock
        Gives the day of a test that was typed without one. [UTC]

    Returns
    -------
    Outfit
        As kept. [metric]

    Raises
    ------
    MissingError
        If there is no such outfit, bin or head.
    InputError
        Listing every value outside its range.
    """
    known = {k: v for k, v in values.items() if v is not None and v != ""}
    _check(known)
    kept = _the(book, Outfit, key)
    today = iso(clock.now())[:10]
    changes: dict[str, Any] = {name: known[name] for name in ("stand_in_m_s",) if name in known}
    if "antenna_ahead_m" in known:
        changes["antenna_ahead_m"] = _number(known["antenna_ahead_m"])
    if "hitch_m" in known:
        changes["hitch_m"] = _number(known["hitch_m"]) or None
    for name, sd in (("pulse_m", default("wheel-loaded-to-empty").low), ("fan_turns_s", default("fan-as-read").value)):
        if name in known:
            value = _number(known[name])
            changes[name] = Est(value=value, sd=sd * value, basis="measured", source="typed on the site")
    parts: dict[str, Any] = {"fan_proof": kept.fan_proof, "flag": kept.flag, "costs": kept.costs}
    for part, thing in parts.items():
        names = [f.name for f in dataclasses.fields(thing)]
        own: dict[str, Any] = {name: known[f"{part}.{name}"] for name in names if f"{part}.{name}" in known}
        if part == "flag":
            own = {k: _taped(v) if k in {"on_m", "off_m"} else v for k, v in own.items()}
        if own and "at" in names:
            own.setdefault("at", today)
        if own:
            changes[part] = dataclasses.replace(thing, **own)
    flutes = {k.partition(":")[2]: v for k, v in known.items() if k.startswith("flutes:")}
    if flutes:
        changes["bins"] = tuple(
            dataclasses.replace(b, meter=dataclasses.replace(b.meter, flutes=round(_number(flutes[b.letter])))) if b.letter in flutes else b
            for b in kept.bins
        )
    caught = {k.partition(":")[2]: v for k, v in known.items() if k.startswith("caught_kg:")}
    unknown = [letter for letter in caught if letter not in {h.letter for h in kept.heads}]
    if unknown:
        raise MissingError(
            f"no head '{unknown[0]}'", where="caught", cure=f"Heads: {', '.join(h.letter for h in kept.heads) or 'none known yet'}."
        )
    if caught:
        changes["heads"] = tuple(
            dataclasses.replace(h, caught_kg=_number(caught[h.letter])) if h.letter in caught else h for h in kept.heads
        )
    return _keep(book, kept, changes, "typed on the outfit")


def change_job(book: Book, key: str, values: Mapping[str, float | str | None], *, clock: Clock) -> Job:
    """Keep what is typed about a job; what is None stays as it is.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    key : str
        Of the job. [-]
    values : mapping
        Names of fields of `Job`; "weather.relative_humidity" and the like; "step_kg_ha:PRODUCT", "second_rate_kg_ha:PRODUCT". [metric]
    clock : Clock
        Gives the moment a weather reading was typed. [UTC]

    Returns
    -------
    Job
        As kept. [metric]

    Raises
    ------
    MissingError
        If there is no such job.
    InputError
        Listing every value outside its range.
    """
    known = {k: v for k, v in values.items() if v is not None and v != ""}
    _check(known)
    kept = _the(book, Job, key)
    changes: dict[str, Any] = {f.name: known[f.name] for f in dataclasses.fields(kept) if f.name in known}
    weather = {k.partition(".")[2]: v for k, v in known.items() if k.startswith("weather.")}
    if weather:
        changes["weather"] = dataclasses.replace(kept.weather, at=iso(clock.now()), **weather)  # type: ignore[arg-type]
    asks = []
    for ask in kept.asks:
        own = {name: known[f"{name}:{ask.product}"] for name in ("step_kg_ha", "second_rate_kg_ha") if f"{name}:{ask.product}" in known}
        asks.append(dataclasses.replace(ask, **own))  # type: ignore[arg-type]
    if tuple(asks) != kept.asks:
        changes["asks"] = tuple(asks)
    return _keep(book, kept, changes, "typed on the job")


def change_price(book: Book, key: str, price_kg: float) -> Product:
    """Keep the price of a product. [money/kg]

    Raises
    ------
    MissingError
        If there is no such product.
    RangeError
        If the price is not above zero.
    """
    _check({"price_kg": price_kg})
    return _keep(book, _the(book, Product, key), {"price_kg": price_kg}, "price")


def by_letter(text: str, quantity: str, profile: Profile, *, where: str) -> dict[str, float]:
    """'A=0.60, B=0.59 kg' as numbers by letter. [metric unit of the quantity]

    Raises
    ------
    UnitError
        If a part has no number, or another unit.
    InputError
        If a part has no letter.
    """
    out: dict[str, float] = {}
    for piece in (p for p in re.split(r"[;,]\s*(?=[A-Za-z])|;", text) if p.strip()):
        letter, joint, value = piece.partition("=")
        if not joint or not letter.strip():
            raise InputError(f"'{piece.strip()}' says no letter", where=where, cure="Write A=0.60, B=0.59.")
        out[letter.strip().upper()] = read_quantity(value, quantity, profile, where=where)
    return out


def _check(known: Mapping[str, float | str]) -> None:
    faults = []
    for name, value in known.items():
        kind = name.partition(":")[0].rpartition(".")[2]
        if kind not in RANGES or isinstance(value, str):
            continue
        low, high = RANGES[kind]
        if not (low <= value <= high) or (value == low and kind not in _MAY_BE_LOW):
            faults.append(Fault(where=name, what=f"{value:g} is out of range", limit=f"{low:g} to {high:g}", cure="Correct the value."))
    if faults:
        raise InputError(faults)


def _number(value: float | str) -> float:
    return float(value)


def _taped(value: float | str) -> Est:
    """A distance dug and taped: seeds lie scattered, so half a metre either way. [m]"""
    return Est(value=_number(value), sd=default("flag-reading").value, basis="measured", source="flag test")


def _the(book: Book, kind: type[_K], key: str) -> _K:
    found = next((x for x in book.all(kind) if x.key == key), None)
    if found is None:
        raise MissingError(f"no {kind.__name__.lower()} '{key}'", where=kind.__name__.lower(), cure="Choose one of the book's.")
    return found


def _keep(book: Book, kept: _K, changes: Mapping[str, Any], why: str) -> _K:
    changed: _K = dataclasses.replace(kept, **changes)
    book.put(changed, why=why)
    return changed
