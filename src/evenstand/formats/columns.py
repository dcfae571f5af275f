"""What a column of a log is: by its name, its unit, and what its own numbers say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from evenstand.base.errors import UnitError
from evenstand.base.units import to_metric, unit_of
from evenstand.formats.naming import Named, understand_name
from evenstand.formats.unitwords import LENGTHS, tidy_unit

__all__ = [
    "BINNED", "LENGTHS", "NUMBERED", "PART_ROLES", "QUANTITY", "ROLES", "ColumnGuess", "ColumnUse", "Named", "Question", "Sure",
    "factor_of", "tidy_unit", "understand_name", "use_from", "valid_unit",
]  # fmt: skip

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
    "sections": "all sections as ones and zeros, left first, or as the bits of a number, lowest first",
    "turns": "meter turns since the start, of one bin",
    "asked": "rate asked for, of one bin",
    "echoed": "rate the display reports, of one bin",
    "run": "flow seen in one run",
    "fan": "fan speed",
    "mass_rate": "mass a second",
    "interval": "seconds the row stands for",
    "fix": "the receiver's fix quality, 0 being none",
    "extra": "kept as it is, used for nothing yet",
    "hemisphere": "letter of the hemisphere, of latitude or longitude",
    "ignore": "not read",
}
PART_ROLES = {"bin": "a bin"}
"""What a part of a machine can be besides a section, in task data."""
BINNED = ("turns", "asked", "echoed")
NUMBERED = ("section", "run")
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
