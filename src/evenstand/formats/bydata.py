"""Columns whose names say little or nothing: taken for something only where their own numbers bear it out, else kept or asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from evenstand.formats.columns import ColumnGuess, Question, valid_unit
from evenstand.formats.measuring import STEPS, distance_guess, growing, heading_guess, speed_guess
from evenstand.formats.naming import FLOW_UNITS, RATE_UNITS, Named
from evenstand.formats.sampling import Sample, finite, guess_of
from evenstand.formats.unitwords import is_unit
from evenstand.model.place import FloatArray

FEW_VALUES = 12
STEADY_SHARE = 0.05
SPREAD_DEG = 90.0
SPEED_UNITS = ("km/h", "mph", "m/s", "ft/min", "ft/s", "kn", "cm/s", "mm/s")
Bools = np.ndarray[tuple[int], np.dtype[np.bool_]]


def confirmed(column: str, named: Named, sample: Sample, sowing: Bools | None) -> ColumnGuess | None:
    """A column whose name is only partly known, or not at all, if its numbers leave no doubt; None where they do."""
    values = finite(sample, column)
    if values.size < 3:
        return None
    role, unit = named.role if named.soft else "", named.unit
    if role == "speed" or (not role and unit in SPEED_UNITS):
        return _if_sure(speed_guess(column, replace(named, role="speed"), sample, []), of_data=True)
    if role in ("step", "distance") or (not role and unit in STEPS):
        return _if_sure(distance_guess(column, replace(named, role="step"), sample, []), of_data=True)
    if role == "heading" or (not role and unit in ("", "deg") and float(np.ptp(values)) > SPREAD_DEG):
        return _if_sure(heading_guess(column, named, sample), of_data=False)
    if role == "area" or (not role and unit in ("ha", "ac", "m2")):
        still = _still(sample.number[column], sowing)
        if valid_unit("area", unit) and unit and growing(values) and still is not False and (role or still):
            return guess_of(
                column, "area", "likely", "unit, and it grows only where product flows" if still else "name, unit, and it grows", unit=unit
            )
    if role == "turns" and growing(values) and _still(sample.number[column], sowing):
        return guess_of(column, "turns", "likely", "name, and it grows only where product flows", unit="turns", named=named)
    if role == "mass_rate" and unit in FLOW_UNITS and _zero_when_not(sample.number[column], sowing):
        return guess_of(column, "mass_rate", "likely", "name and unit, and none where no product flows", unit=unit)
    if role == "fan" and unit == "rpm":
        return guess_of(column, "fan", "likely", "name and unit", unit=unit)
    return None


def _if_sure(guess: ColumnGuess, *, of_data: bool) -> ColumnGuess | None:
    """A guess that the positions bore out; without that a name cut short counts for nothing."""
    borne = guess.sure == "sure" or (of_data and guess.sure == "likely" and "within" in guess.why)
    return replace(guess, sure="likely") if borne and guess.use.role != "extra" else None


def _still(values: FloatArray, sowing: Bools | None) -> bool | None:
    """Whether a counter stands still where no product flows and moves where it does; None where that is not known."""
    if sowing is None or not 0.02 < float(sowing.mean()) < 0.98:
        return None
    step = np.diff(values)
    off = ~sowing[1:] & ~sowing[:-1] & np.isfinite(step)
    on = sowing[1:] & sowing[:-1] & np.isfinite(step)
    if off.sum() < 3 or on.sum() < 3:
        return None
    return bool(float((step[off] == 0).mean()) > 0.9 and float((step[on] > 0).mean()) > 0.5)


def _zero_when_not(values: FloatArray, sowing: Bools | None) -> bool:
    """Whether a reading is nothing where no product flows, and something where it does."""
    if sowing is None or not 0.02 < float(sowing.mean()) < 0.98:
        return False
    off, on = values[~sowing & np.isfinite(values)], values[sowing & np.isfinite(values)]
    return bool(off.size > 2 and on.size > 2 and float((off == 0).mean()) > 0.9 and float((on > 0).mean()) > 0.9)


def rate_guess(column: str, named: Named, sample: Sample, asked: list[Question], sowing: Bools | None) -> ColumnGuess:
    """A rate whose name does not say, or not surely, whether it is asked for or reported: one asked for is one of a few values and stands
    while the tool is up; one reported wavers, or is nothing where no product flows."""
    values = sample.number[column]
    good = values[np.isfinite(values)]
    if named.unit and not valid_unit("asked", named.unit):
        return guess_of(column, "extra", "likely", f"'{named.unit}' is no unit of a rate", unit=named.unit)
    few = np.unique(good).size <= max(2, min(FEW_VALUES, int(STEADY_SHARE * good.size)))
    stands = few and good.size > 2 and bool((good > 0).all()) and float(np.ptp(good)) >= 0
    wavers = np.unique(good[good > 0]).size > max(FEW_VALUES, STEADY_SHARE * good.size)
    told = named.role if named.role in ("asked", "echoed") else ""
    stands = stands and (sowing is not None or told == "asked")
    seen = "echoed" if wavers or (not stands and _zero_when_not(values, sowing)) else "asked" if stands else ""
    if named.unit and named.bin and seen and seen == (told or seen):
        what = "stays the same" if seen == "asked" else "wavers as a reading does"
        return guess_of(column, seen, "likely", f"name and unit, and it {what}", unit=named.unit, named=replace(named, role=seen))
    text = f"'{column}' is a rate: asked for or reported?" if named.unit else f"'{column}' has no unit"
    cure = "Name it target or applied with its unit, or give a recipe; until then it is left out."
    asked.append(
        Question(kind="column" if named.unit else "unit", column=column, text=text, cure=cure, options=("asked", "echoed"), blocking=False)
    )
    return guess_of(
        column,
        told or "echoed",
        "unsure",
        "asked for or reported is not known",
        unit=named.unit,
        named=replace(named, role=told or "echoed"),
    )


def is_bare_rate(named: Named) -> bool:
    """Whether a name that says nothing else has the unit of a rate."""
    return named.role == "extra" and not named.known and named.unit in RATE_UNITS


def no_unit_of(named: Named, *roles: str) -> bool:
    """Whether a name of a place carries a unit that no place has."""
    return named.role in roles and is_unit(named.unit) and named.unit not in ("deg", "e7", "m", "ft", "us-ft", "km")
