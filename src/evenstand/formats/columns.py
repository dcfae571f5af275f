"""What a column of a log is: by its name, its unit, and what its own numbers say."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any, Literal

from evenstand.base.errors import UnitError
from evenstand.base.units import to_metric, unit_of

Sure = Literal["sure", "likely", "unsure"]

QUANTITY = {
    "speed": "speed",
    "step": "distance",
    "distance": "distance",
    "area": "area",
    "asked": "rate",
    "echoed": "rate",
    "fan": "fan",
    "interval": "time",
}
ROLES: dict[str, str] = {
    "time": "date and time, or seconds since the start",
    "date": "date alone",
    "clock": "time of day alone",
    "lon": "longitude",
    "lat": "latitude",
    "east": "easting, projected",
    "north": "northing, projected",
    "speed": "speed over the ground as the machine has it",
    "step": "distance since the row before, as the machine counted it",
    "distance": "distance since the start, as the machine counted it",
    "area": "the machine's area counter",
    "heading": "heading, clockwise from north",
    "lifted": "tool lifted",
    "work": "tool at work",
    "section": "one section on or off",
    "sections": "all sections as ones and zeros, left first",
    "turns": "meter turns since the start, of one bin",
    "asked": "rate asked for, of one bin",
    "echoed": "rate the display reports, of one bin",
    "run": "flow seen in one run",
    "fan": "fan speed",
    "mass_rate": "mass a second",
    "interval": "seconds the row stands for",
    "fix": "the receiver's fix quality, 0 being none",
    "extra": "kept as it is, used for nothing yet",
    "ignore": "not read",
}
BINNED = ("turns", "asked", "echoed")
NUMBERED = ("section", "run")
TWO_PART = {
    ("m", "s"): "m/s", ("km", "h"): "km/h", ("km", "hr"): "km/h", ("mi", "h"): "mph", ("ft", "min"): "ft/min", ("kg", "ha"): "kg/ha",
    ("lb", "ac"): "lb/ac", ("lbs", "ac"): "lb/ac", ("lb", "acre"): "lb/ac", ("lbs", "acre"): "lb/ac", ("kg", "s"): "kg/s", ("lb",
    "s"): "lb/s",
    ("lbs", "s"): "lb/s", ("kg", "h"): "kg/h", ("t", "h"): "t/h", ("kg", "min"): "kg/min", ("lb", "min"): "lb/min", ("turns", "s"):
    "turns/s",
    ("r", "min"): "rpm", ("g", "s"): "g/s",
}  # fmt: skip
ONE_PART = {
    "deg": "deg", "degrees": "deg", "degree": "deg", "m": "m", "metres": "m", "meters": "m", "ft": "ft", "feet": "ft", "in": "in",
    "inches": "in",
    "km": "km", "mi": "mi", "miles": "mi", "cm": "cm", "yd": "yd", "kmh": "km/h", "kph": "km/h", "mph": "mph", "ha": "ha", "ac":
    "ac", "acres": "ac",
    "hectares": "ha", "rpm": "rpm", "s": "s", "sec": "s", "secs": "s", "ms": "ms", "utc": "utc", "min": "min", "pct": "%", "percent": "%",
    "hz": "turns/s", "kg": "kg", "lb": "lb", "turns": "turns", "revs": "turns",
}  # fmt: skip
LENGTHS = ("m", "ft", "in", "km", "mi", "yd", "cm")
PER_TIME = {"s": 1 / 3600, "sec": 1 / 3600, "min": 1 / 60, "h": 1.0, "hr": 1.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnUse:
    """One column of a recipe: its name in the file, what it is (a key of `ROLES`), its unit, and whose: bin letter, section or run."""

    name: str
    role: str
    unit: str = ""
    bin: str = ""
    number: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnGuess:
    """What a column is taken for, why, and how sure that is."""

    use: ColumnUse
    sure: Sure
    why: str
    examples: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Something the file does not say. kind: "column", "crs", "unit", "time"; blocking: without an answer the file cannot be read."""

    kind: str
    text: str
    cure: str
    column: str = ""
    options: tuple[str, ...] = ()
    blocking: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """What the name alone says."""

    role: str
    unit: str = ""
    bin: str = ""
    number: int = 0
    certain: bool = True
    words: tuple[str, ...] = field(default=())


_BIN = r"(?:(?:bin|tank|product|prod|hopper|channel)\s*)?([a-h]|\d{1,2})"
_PATTERNS: tuple[tuple[str, str], ...] = (
    (r"^(?:sec|sect|section|boom)\s*(?:state|status)?\s*(\d+)(?:\s*(?:state|status|on|off))?$", "section"),
    (r"^(?:run|opener|hose|tube|row|blockage)\s*(?:flow|present|state|sensor)?\s*(\d+)(?:\s*(?:flow|present|seen|state|ok))?$", "run"),
    (rf"^(?:meter\s*)?(?:turns|revs|revolutions)\s*{_BIN}$", "turns"),
    (rf"^{_BIN}\s*(?:meter\s*)?(?:turns|revs|revolutions)$", "turns"),
    (r"^(?:meter\s*)?(?:turns|revs|revolutions)$", "turns"),
    (rf"^(?:rate\s*)?(?:asked|target|tgt|prescribed|desired|setpoint|planned)(?:\s*rate)?(?:\s*{_BIN})?(?:\s*rate)?$", "asked"),
    (rf"^{_BIN}\s*(?:rate\s*)?(?:asked|target|tgt|prescribed|desired|setpoint|planned)(?:\s*rate)?$", "asked"),
    (rf"^(?:rate\s*)?(?:echoed|applied|actual|reported|shown|as applied)(?:\s*rate)?(?:\s*{_BIN})?(?:\s*rate)?$", "echoed"),
    (rf"^{_BIN}\s*(?:rate\s*)?(?:echoed|applied|actual|reported|shown|as applied)(?:\s*rate)?$", "echoed"),
    (rf"^(?:rate)\s*(?:{_BIN})?$", "rate?"),
    (rf"^{_BIN}\s*rate$", "rate?"),
)
_WORDS: dict[str, tuple[str, ...]] = {
    "lat": ("lat", "latitude", "gps lat", "gps latitude", "y lat"),
    "lon": ("lon", "long", "lng", "longitude", "gps lon", "gps long", "gps longitude", "x lon"),
    "east": ("easting", "east", "utm e", "utm x", "utm easting", "x"),
    "north": ("northing", "north", "utm n", "utm y", "utm northing", "y"),
    "time": ("time", "timestamp", "datetime", "date time", "time stamp", "gps time", "utc time", "local time", "epoch", "unix time",
    "iso time", "utc", "unix"),
    "date": ("date", "day", "local date", "gps date"),
    "clock": ("clock", "time of day"),
    "speed": ("speed", "velocity", "gps speed", "ground speed", "vehicle speed", "true ground speed", "wheel speed"),
    "heading": ("heading", "course", "bearing", "cog", "track", "gps heading", "direction"),
    "step": ("dist", "distance", "step", "travel", "distance travelled", "distance traveled", "trip"),
    "distance": ("total distance", "odometer", "distance total", "cumulative distance"),
    "area": ("area", "total area", "area counter", "area total", "hectares", "acres", "worked area", "field area"),
    "work": ("work", "work state", "working", "work status", "implement state", "engaged", "seeding", "sowing", "at work", "openers down"),
    "lifted": ("lifted", "lift", "raised", "openers up", "tool lifted", "lift state"),
    "sections": ("sections", "section states", "section state", "section mask"),
    "fan": ("fan", "fan speed", "fan rpm", "blower", "blower speed", "fan turns"),
    "mass_rate": ("mass", "mass flow", "flow", "flow rate", "mass rate", "mass flow rate"),
    "interval": ("seconds", "interval", "cycle", "duration", "dt", "cycle time", "logging interval"),
    "fix": ("fix", "fix quality", "gps quality", "quality", "fix type", "gps fix"),
    "ignore": ("id", "row", "index", "record", "no", "nr", "fid", "objectid", "row id", "record id", "n"),
}  # fmt: skip
_BY_WORD = {words: role for role, many in _WORDS.items() for words in many}
UNSURE_WORDS = ("x", "y", "track", "mass", "flow", "day", "quality", "direction", "work", "track", "seconds", "duration", "boom")


def understand_name(header: str, unit_word: str = "") -> Named:
    """What a header says: role, unit, bin or number.

    Parameters
    ----------
    header : str
        The column's name. [-]
    unit_word : str
        Unit from a row of its own, "" if there is none. [-]

    Returns
    -------
    Named
        role "extra" where the name says nothing we know. [-]
    """
    unit = unit_word
    bare = header
    bracket = re.search(r"[\[(]\s*([^\])]*)\s*[\])]", header)
    if bracket:
        unit = unit or bracket.group(1)
        bare = header[: bracket.start()] + " " + header[bracket.end() :]
    bare = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", bare)
    words = [w for w in re.split(r"[^A-Za-z0-9]+", bare) if w]
    words = [p for w in words for p in re.findall(r"[A-Za-z]+|\d+", w)]
    low = [w.lower() for w in words]
    found = _match(low)
    if unit:
        return _with_unit(found or Named(role="extra"), tidy_unit(unit), low)
    for size in (2, 1):
        tail = tuple(low[-size:])
        symbol = TWO_PART.get((tail[0], tail[1])) if len(tail) == 2 else ONE_PART.get(tail[0]) if tail else None
        if symbol is None or len(low) <= size:
            continue
        inner = _match(low[:-size])
        if inner is not None:
            return _with_unit(inner, symbol, low)
        if found is None:
            return _with_unit(Named(role="extra"), symbol, low)
    lone = {
        "acres": ("area", "ac"),
        "hectares": ("area", "ha"),
        "mph": ("speed", "mph"),
        "kmh": ("speed", "km/h"),
        "kph": ("speed", "km/h"),
    }
    if len(low) == 1 and low[0] in lone:
        return Named(role=lone[low[0]][0], unit=lone[low[0]][1], words=tuple(low))
    return _with_unit(found or Named(role="extra"), found.unit if found else "", low)


def _with_unit(named: Named, unit: str, low: list[str]) -> Named:
    return Named(role=named.role, unit=unit, bin=named.bin, number=named.number, certain=named.certain, words=tuple(low))


def _match(low: list[str]) -> Named | None:
    text = " ".join(low)
    for pattern, role in _PATTERNS:
        hit = re.match(pattern, text)
        if hit:
            return _of_pattern(role, hit.group(1) if hit.groups() else None)
    found = _BY_WORD.get(text)
    return None if found is None else Named(role=found, certain=text not in UNSURE_WORDS)


def _of_pattern(role: str, got: str | None) -> Named | None:
    if role in NUMBERED:
        return Named(role=role, number=int(got or 0))
    letter = "" if got is None else (got.upper() if got.isalpha() else chr(64 + int(got)) if 1 <= int(got) <= 26 else "")
    certain = got is not None and got.isalpha() and role != "rate?"
    return Named(role="echoed" if role == "rate?" else role, bin=letter or "A", certain=certain)


def tidy_unit(text: str) -> str:
    """A unit as written by people, as our symbol; unchanged if it is none we know. [-]"""
    low = re.sub(r"\s+", "", text.strip().lower()).replace("²", "2").replace("°", "deg").replace("^", "")
    low = low.replace("per", "/").replace("acre", "ac").replace("hectare", "ha")
    if low in ONE_PART:
        return ONE_PART[low]
    parts = tuple(p for p in re.split(r"[/_*]", low.replace("-1", "")) if p)
    if len(parts) == 2 and (parts[0], parts[1]) in TWO_PART:
        return TWO_PART[parts[0], parts[1]]
    return {"decimaldeg": "deg", "dd": "deg", '"': "in", "'": "ft", "seconds": "s", "inch": "in"}.get(low, text.strip())


def factor_of(role: str, unit: str) -> float:
    """How many of our metric unit one `unit` of a role is. [metric unit of the role]

    Raises
    ------
    UnitError
        If the role has no such unit.
    """
    if role == "mass_rate":
        mass, slash, time = unit.partition("/")
        if not slash or time not in PER_TIME:
            raise UnitError(f"'{unit}' is no mass a time", where=role, cure="Use kg/s, kg/min, kg/h, t/h, lb/s or lb/min.")
        return to_metric(1.0, "mass", mass) / (PER_TIME[time] * 3600.0)
    if role == "interval":
        return to_metric(1.0, "time", unit or "s") * 3600.0
    if role == "distance" or role == "step":
        return to_metric(1.0, "distance", unit) if unit not in ("in", "cm") else to_metric(1.0, "width", unit)
    quantity = QUANTITY.get(role)
    return 1.0 if quantity is None else unit_of(quantity, unit).factor


def valid_unit(role: str, unit: str) -> bool:
    """Whether a role can have this unit. [-]"""
    try:
        factor_of(role, unit)
    except UnitError:
        return False
    return True


def use_from(data: dict[str, Any]) -> ColumnUse:
    """A column use from plain data."""
    return ColumnUse(
        name=str(data["name"]),
        role=str(data["role"]),
        unit=str(data.get("unit", "")),
        bin=str(data.get("bin", "")),
        number=int(data.get("number", 0)),
    )  # fmt: skip
