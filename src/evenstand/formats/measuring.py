"""Columns that the positions can confirm, contradict or supply a unit for: speed, distance, heading, the time a row stands for."""

from __future__ import annotations

import math

import numpy as np

from evenstand.formats.columns import ColumnGuess, Question, Sure, factor_of, valid_unit
from evenstand.formats.naming import Named
from evenstand.formats.sampling import Sample, finite, guess_of
from evenstand.model.place import FloatArray

MATCH = 0.06  # a unit fits if the data agree within 6 %
CLEAR = 0.20  # and no other unit comes nearer than 20 %
CONTRADICTS = 0.30
SPEEDS = ("m/s", "km/h", "mph", "ft/min")
STEPS = ("m", "ft", "in", "km", "mi", "cm")
FOOT_M = 0.3048
FEWEST = 20
HEADING_DEG, NO_HEADING_DEG = 12.0, 40.0
Bools = np.ndarray[tuple[int], np.dtype[np.bool_]]


def settle_scale(sample: Sample, speeds: list[tuple[str, Named]]) -> None:
    """Whether projected steps of unknown unit are metres or feet, by the speeds: by the one for which a speed has a unit that fits.
    Without that the steps say nothing and are dropped."""
    if sample.metre_known or sample.step_m is None:
        return
    fits: set[float] = set()
    for scale in (1.0, FOOT_M):
        scaled = sample.step_m * scale
        for column, named in speeds:
            ratio = _speed_ratio(sample, column, scaled)
            stated = ratio is not None and bool(named.unit) and valid_unit("speed", named.unit)
            if (stated and abs(math.log(float(ratio or 1.0) * factor_of("speed", named.unit))) <= MATCH) or (
                not stated and nearest(ratio, "speed", SPEEDS)
            ):
                fits.add(scale)
    if len(fits) == 1:
        sample.step_m = sample.step_m * fits.pop()
        sample.metre_known = True
    else:
        sample.step_m = None


def speed_guess(column: str, named: Named, sample: Sample, asked: list[Question]) -> ColumnGuess:
    """A column named as a speed."""
    return _measured(column, named, sample, asked, SPEEDS, _speed_ratio(sample, column, sample.step_m))


def distance_guess(column: str, named: Named, sample: Sample, asked: list[Question]) -> ColumnGuess:
    """A column named as a distance: a step, or a counter if it grows."""
    values = sample.number[column]
    clean = values[np.isfinite(values)]
    total = named.role == "distance" or (
        growing(clean) and clean.size > FEWEST and clean[-1] > 20 * max(float(np.median(np.abs(np.diff(clean)))), 1e-9)
    )
    shown = np.diff(values) if total else values[1:]
    ratio = None
    if sample.step_m is not None:
        dt = sample.dt_s if sample.dt_s is not None else np.ones(sample.step_m.size)
        usual = np.median(dt[dt > 0]) if (dt > 0).any() else 1.0
        ratio = _ratio(shown, sample.step_m, (dt > 0) & (dt < 1.5 * usual) & (sample.step_m > 0.3) & (sample.step_m < 15 * usual))
    return _measured(column, named, sample, asked, STEPS, ratio, role="distance" if total else "step")


def heading_guess(column: str, named: Named, sample: Sample) -> ColumnGuess:
    """A column named as a heading: the way itself says whether it is one."""
    values = finite(sample, column)
    if values.min() < -180 or values.max() > 360:
        return guess_of(column, "extra", "likely", "no angle in degrees", unit="deg")
    off = _off_the_way(sample, column)
    if off is not None and off <= HEADING_DEG:
        return guess_of(column, "heading", "sure", f"name, and within {off:.0f}° of the way", unit="deg")
    if off is not None and off > NO_HEADING_DEG:
        return guess_of(column, "extra", "likely", f"{off:.0f}° from the way in the middle: no heading", unit=named.unit)
    return guess_of(column, "heading", "likely" if named.certain else "unsure", "name and range", unit="deg")


def _off_the_way(sample: Sample, column: str) -> float | None:
    """Middle angle between a column and the way from row to row; None where that cannot be told. [deg]"""
    if sample.bearing_deg is None or sample.step_m is None:
        return None
    shown = sample.number[column][1:]
    good = np.isfinite(shown) & np.isfinite(sample.bearing_deg) & (sample.step_m > 0.5)
    if int(good.sum()) < FEWEST:
        return None
    angle = np.abs((shown[good] - sample.bearing_deg[good] + 180.0) % 360.0 - 180.0)
    return float(np.median(angle))


def interval_guess(column: str, named: Named, sample: Sample) -> ColumnGuess:
    """A column named as the seconds a row stands for."""
    values = finite(sample, column)
    if sample.dt_s is not None:
        shown = sample.number[column][1:]
        dt = sample.dt_s
        good = np.isfinite(shown) & np.isfinite(dt) & (dt > 0)
        if good.sum() > FEWEST and abs(float(np.median(shown[good] / dt[good])) - 1) < 0.02 and values.min() >= 0:
            return guess_of(column, "interval", "sure", "equals the time between rows", unit="s")
    return guess_of(column, "extra", "likely", "not the time between rows", unit=named.unit)


def growing(values: FloatArray) -> bool:
    """Whether a counter: hardly ever less than before, and more at the end."""
    step = np.diff(values)
    return bool(values.size > 2 and (step >= 0).mean() > 0.98 and values[-1] > values[0])


def _speed_ratio(sample: Sample, column: str, step_m: FloatArray | None) -> float | None:
    """The column's numbers over the speed the positions show; None where that cannot be told. [unit/(m/s)]"""
    if step_m is None or sample.dt_s is None:
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        real = step_m / sample.dt_s
    return _ratio(sample.number[column][1:], real, (sample.dt_s > 0) & (real > 0.4) & (real < 15))


def _ratio(shown: FloatArray, real: FloatArray, good: Bools) -> float | None:
    with np.errstate(invalid="ignore"):
        use = good & np.isfinite(shown) & np.isfinite(real) & (shown > 0) & (real > 0)
    if int(use.sum()) < FEWEST:
        return None
    ratio = shown[use] / real[use]
    middle = float(np.median(ratio))
    spread = float(np.median(np.abs(np.log(ratio / middle))))
    return middle if spread < 0.25 else None


def nearest(ratio: float | None, role: str, units: tuple[str, ...]) -> str:
    """The one unit that explains the ratio, "" if none does or two could."""
    if ratio is None:
        return ""
    off = sorted((abs(math.log(ratio * factor_of(role, u))), u) for u in units)
    return off[0][1] if off[0][0] <= MATCH and (len(off) == 1 or off[1][0] >= CLEAR) else ""


def _measured(
    column: str, named: Named, sample: Sample, asked: list[Question], units: tuple[str, ...], ratio: float | None, role: str = ""
) -> ColumnGuess:
    """A column whose unit the positions can confirm, contradict or supply."""
    role = role or named.role
    seen = nearest(ratio, role, units)
    if named.unit and valid_unit(role, named.unit):
        if ratio is None:
            sure: Sure = "likely" if named.certain else "unsure"
            return guess_of(column, role, sure, "name and unit; the positions cannot confirm it here", unit=named.unit)
        off = abs(math.log(ratio * factor_of(role, named.unit)))
        if off > CONTRADICTS and seen and seen != named.unit:
            text = f"'{column}' says {named.unit}, but against the positions its numbers are {seen}"
            told = f"--column '{column}={role} {seen}'"
            cure = f"Correct the unit in the header, say which is right ({told}), or give a recipe that names it."
            asked.append(Question(kind="unit", column=column, text=text, cure=cure, options=(named.unit, seen)))
            return guess_of(column, role, "unsure", f"the name says {named.unit}, the positions say {seen}", unit=named.unit)
        why = f"name and unit; {100 * (ratio * factor_of(role, named.unit) - 1):+.1f} % against the positions"
        return guess_of(column, role, "sure" if off <= MATCH else "likely" if off <= CONTRADICTS else "unsure", why, unit=named.unit)
    if seen:
        return guess_of(column, role, "likely", f"name; against the positions the numbers are {seen} within {100 * MATCH:.0f} %", unit=seen)
    text = f"'{column}' has no unit and the positions do not settle it"
    cure = f"Write it in the header, such as '{column} ({units[0]})', or in a recipe."
    asked.append(Question(kind="unit", column=column, text=text, options=units, cure=cure, blocking=False))
    return guess_of(column, role, "unsure", "the unit is not known")
