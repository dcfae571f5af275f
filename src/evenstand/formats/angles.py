"""Degrees as logs write them: with minutes, with seconds, with the letter of the hemisphere, or run together."""

from __future__ import annotations

import math
import re
from typing import Any

_NUMBER = r"\d+(?:[.,]\d+)?"
FORM = (
    r"^\s*([NSEWnsew])?\s*([-+−])?\s*(\d{1,3}(?:[.,]\d+)?)\s*(?:°|º|deg|d|:|\s)?\s*"
    rf"(?:({_NUMBER})\s*(?:'|′|’|min|m|:|\s)?\s*)?(?:({_NUMBER})\s*(?:\"|″|”|''|sec|s)?)?\s*([NSEWnsew])?\s*$"
)
"""Letter, sign, degrees, minutes, seconds, letter; all but the degrees may be missing."""
_FORM = re.compile(FORM)
DEGREES_MINUTES = "ddmm"
LETTERED = "dms"
WRITINGS = ("", "deg", "e7", DEGREES_MINUTES, LETTERED)
"""How degrees can be written: plain, in ten-millionths, with minutes run together, written out."""
SIDES = ("west", "south")


def writing_of(unit: str) -> tuple[str, str]:
    """How degrees are written, and the side they all lie on where the numbers carry no sign; a writing we do not know as it is. [-]

    >>> writing_of("deg west"), writing_of("ddmm"), writing_of("south")
    (('deg', 'west'), ('ddmm', ''), ('', 'south'))
    """
    first, _, last = unit.rpartition(" ")
    return (first, last) if last in SIDES else (unit, "")


def is_writing(role: str, unit: str) -> bool:
    """Whether a latitude or longitude can be written so. [-]"""
    written, side = writing_of(unit)
    return written in WRITINGS and side in ("", "south" if role == "lat" else "west")


def degrees_of(text: str) -> float:
    """Decimal degrees of a written angle; not a number if it is none. [deg]

    >>> degrees_of("50° 12' 30\\" N"), degrees_of("W105 30.6"), degrees_of("-105,51")
    (50.208333333333336, -105.51, -105.51)
    """
    match = _FORM.match(text)
    if match is None:
        return math.nan
    before, sign, whole, minutes, seconds, after = match.groups()
    if before and after:
        return math.nan
    parts = [float((p or "0").replace(",", ".")) for p in (whole, minutes, seconds)]
    if parts[1] >= 60 or parts[2] >= 60 or (minutes and whole.replace(",", ".") != whole.split(",")[0].split(".")[0]):
        return math.nan
    value = parts[0] + parts[1] / 60 + parts[2] / 3600
    south = (before or after or "").upper() in ("S", "W")
    if south and sign in ("-", "−"):
        return math.nan
    return -value if south or sign in ("-", "−") else value


def degrees_column(text: Any) -> Any:
    """The same as a column expression: decimal degrees, null where a cell is no angle. [deg]"""
    import polars as pl

    def group(k: int) -> Any:
        return text.str.extract(FORM, k)

    def number(k: int) -> Any:
        return group(k).str.replace(",", ".", literal=True).cast(pl.Float64, strict=False).fill_null(0.0)

    before, sign, after = group(1), group(2), group(6)
    letter = pl.coalesce(before, after).str.to_uppercase()
    south, minus = letter.is_in(["S", "W"]).fill_null(False), sign.is_in(["-", "−"]).fill_null(False)
    broken = (before.is_not_null() & after.is_not_null()) | (number(4) >= 60) | (number(5) >= 60) | (south & minus)
    broken = broken | (group(4).is_not_null() & group(3).str.contains(r"[.,]"))
    value = number(3) + number(4) / 60 + number(5) / 3600
    return pl.when(group(3).is_null() | broken).then(None).when(south | minus).then(-value).otherwise(value)


def from_run_together(value: Any) -> Any:
    """Degrees of degrees and minutes run together, 4355.6 being 43° 55.6'; for numbers, arrays and column expressions. [deg]"""
    size = abs(value) if not hasattr(value, "abs") else value.abs()
    whole = size // 100
    return (whole + (size - 100 * whole) / 60) * ((value >= 0) * 2.0 - 1.0)
