"""From what a log's clock says to UTC: its zone, its midnights, hours that come twice, clocks that are hours off."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from evenstand.base.errors import FileError, InputError
from evenstand.formats.recipes import Recipe
from evenstand.formats.times import SERIAL_ZERO, start_ms
from evenstand.formats.zones import NO_OFFSET, comes_twice, is_named, utc_ms, zone_offset_ms
from evenstand.model.place import FloatArray

if TYPE_CHECKING:
    from evenstand.formats.cells import Table
    from evenstand.formats.rows import Ledger
    from evenstand.model.place import IntArray

DAY_MS = 86_400_000.0
HOUR_MS = 3_600_000.0
QUARTER_MS = 900_000.0
LAST_MS = 4.1e12  # the year 2099
CLOCK_ZERO_MS = 946_684_800_000.0  # the date that stands in for the unknown one
TYPED_MS = 90_000.0
LEAP_MS = 1_500_000.0
MOST_HOURS = 26
MOST_LEAPS = 200
FASTEST_M_S = 15.0
DEGREE_M = 111_320.0


@dataclass(slots=True)
class Clock:
    """What a log's clock did so far, to be carried from one part of it to the next.

    last_ms, days: last clock time without a date and midnights passed; day_ms: the day it began; shift_ms: hours put on since; told_ms:
    what was put on to meet the start that was told; last: time, east and north of the last row [ms, m, m]; usual_ms, usual_m: the usual
    step; said: notes.
    """

    last_ms: float | None = None
    days: int = 0
    day_ms: float | None = None
    shift_ms: float = 0.0
    told_ms: float | None = None
    last: tuple[float, float, float] | None = None
    usual_ms: float = 0.0
    said: list[str] = field(default_factory=list)

    def notes(self) -> list[str]:
        """What is said of it."""
        midnights = [f"The clock passes midnight {self.days} time(s): a day is added each time."] if self.days else []
        return [*midnights, *self.said]


def read_times(recipe: Recipe, table: Table, ledger: Ledger, clock: Clock) -> FloatArray:
    """UTC milliseconds of every row; rows without a time are set aside. [ms]"""
    found = recipe.use("time") or recipe.use("clock")
    if not found:
        raise FileError("no time column", where="recipe", cure="Give one column the role time.")
    use = found[0]
    ms = table.number[use.name] * {"epoch_s": 1000.0, "s": 1000.0, "": 1000.0, "days": DAY_MS}.get(use.unit, 1.0)
    if use.unit == "days":
        ms = np.rint(ms - SERIAL_ZERO * DAY_MS)
    bad = table.bad.get(use.name, np.zeros(0, dtype=np.int64))
    ledger.set_aside(bad, f"'{use.name}' is not understood as a time")
    ledger.set_aside(np.flatnonzero(ledger.keep & ~np.isfinite(ms)), f"no time in '{use.name}'")
    ledger.set_aside(np.flatnonzero(ledger.keep & (np.abs(ms) > LAST_MS)), f"'{use.name}' is beyond any calendar")
    if use.unit == "clock":
        return _of_day(_past_midnight(ms, ledger, clock), recipe, ledger, clock)
    if use.unit in ("s", "ms", ""):
        return np.asarray(ms + start_ms(recipe.start, recipe.zone)) if recipe.start else ms
    if use.unit == "days" or (use.unit == "text" and "%z" not in recipe.time_form):
        ms = utc_ms(ms, recipe.zone)
    return _as_told(ms, recipe, ledger, clock) if recipe.start else ms


def _past_midnight(ms: FloatArray, ledger: Ledger, clock: Clock) -> FloatArray:
    """Clock times with a day added after each midnight. [ms]"""
    ms = ms - CLOCK_ZERO_MS
    good = np.flatnonzero(ledger.keep)
    if good.size:
        seen = ms[good]
        falls = np.diff(seen, prepend=seen[0] if clock.last_ms is None else clock.last_ms) < -DAY_MS / 2
        ms[good] = seen + (clock.days + np.cumsum(falls)) * DAY_MS
        clock.last_ms, clock.days = float(seen[-1]), clock.days + int(falls.sum())
    return ms


def _of_day(ms: FloatArray, recipe: Recipe, ledger: Ledger, clock: Clock) -> FloatArray:
    """Clock times on the day that was told: the day on which the first of them lies nearest to the start. [ms]"""
    if not recipe.start:
        return ms
    zone = recipe.zone or _own_offset(recipe.start)
    if clock.day_ms is None:
        begin = start_ms(recipe.start, zone)
        local = begin + _offset_near(begin, zone)
        good = np.flatnonzero(ledger.keep)
        day = math.floor(local / DAY_MS) * DAY_MS
        if good.size and not _is_day(recipe.start):
            day += DAY_MS * round((local - day - float(ms[good[0]])) / DAY_MS)
        clock.day_ms = day
    return utc_ms(ms + clock.day_ms, zone)


def _offset_near(at_ms: float, zone: str) -> float:
    if not is_named(zone):
        return float(zone_offset_ms(zone))
    first = at_ms - float(utc_ms(np.array([float(at_ms)]), zone)[0])
    return at_ms + first - float(utc_ms(np.array([at_ms + first]), zone)[0])


def _own_offset(start: str) -> str:
    """The offset a start carries itself, "" if none."""
    try:
        offset = datetime.fromisoformat(start.strip()).utcoffset()
    except ValueError:
        return ""
    if offset is None:
        return ""
    minutes = round(abs(offset.total_seconds()) / 60)
    return f"{'-' if offset.total_seconds() < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def _is_day(start: str) -> bool:
    return len(start.strip()) <= 10


def _as_told(ms: FloatArray, recipe: Recipe, ledger: Ledger, clock: Clock) -> FloatArray:
    """Times moved by whole quarters of an hour to the start that was told; a told day is only compared. [ms]

    Raises
    ------
    InputError
        If the start differs from the log by no whole quarters of an hour.
    """
    good = np.flatnonzero(ledger.keep)
    if clock.told_ms is None and good.size:
        first = float(ms[good[0]])
        begin = float(start_ms(recipe.start, recipe.zone))
        clock.told_ms = 0.0
        if _is_day(recipe.start):
            day = math.floor((first - begin) / DAY_MS)
            if day:
                way = "after" if day > 0 else "before"
                clock.said.append(f"By its own clock the log begins {abs(day)} day(s) {way} {recipe.start}: one of them is wrong.")
        elif abs(begin - first) > TYPED_MS:
            off = begin - first
            move = round(off / QUARTER_MS) * QUARTER_MS
            if abs(off - move) > TYPED_MS:
                own = np.datetime64(round(first), "ms").astype(str)[:19]
                raise InputError(
                    f"the log begins at {own}Z by its own clock, {abs(off) / HOUR_MS:.2f} h from the start that was told", where="start",
                    limit="a clock that is off by whole quarters of an hour", cure="Leave the start out, or give it to the minute.",
                )  # fmt: skip
            clock.told_ms = move
            way = "behind" if move > 0 else "ahead of"
            clock.said.append(f"The log's clock is {abs(move) / HOUR_MS:g} h {way} the start that was told: all its times are moved.")
    return ms + (clock.told_ms or 0.0)


def whole_hours(
    t_ms: FloatArray, place: FloatArray, degrees: bool, recipe: Recipe, ledger: Ledger, clock: Clock, line: IntArray
) -> FloatArray:
    """Times of a local clock that is put back or ahead by whole hours while the way runs on: put on or taken off again from there, so that
    no row is lost and the order is kept; said in a note. [ms]

    Parameters
    ----------
    t_ms : array (n,)
        UTC by the zone told; of an hour that comes twice, the first. [ms]
    place : array (n, 2)
        Positions as in the file. [deg or m]
    degrees : bool
        Whether they are degrees. [-]
    recipe : Recipe
        Its zone and the kind of its times. [-]
    ledger : Ledger
        Which rows are kept. [-]
    clock : Clock
        What was seen before, changed by this. [-]
    line : array (n,)
        Line number of each row. [-]
    """
    row = np.flatnonzero(ledger.keep)
    local = _is_local(recipe)
    if row.size == 0 or not (local or recipe.use("date")):
        return t_ms
    xy = place[row] * (np.array([np.cos(np.radians(np.median(place[row, 1]))), 1.0]) * DEGREE_M if degrees else 1.0)
    t = t_ms[row]
    before = clock.last
    if before is not None:
        t, xy = np.concatenate([[before[0]], t]), np.vstack([[before[1], before[2]], xy])
    extra = int(before is not None)
    dt = np.diff(t)
    steady = dt[(dt > 0) & (dt < LEAP_MS)]
    usual = float(np.median(steady)) if steady.size else clock.usual_ms
    clock.usual_ms, clock.last = usual or clock.usual_ms, (float(t[-1]), float(xy[-1, 0]), float(xy[-1, 1]))
    leaps = np.flatnonzero(np.abs(dt) > LEAP_MS)
    if leaps.size == 0 or leaps.size > MOST_LEAPS or usual <= 0:
        return t_ms + clock.shift_ms if clock.shift_ms else t_ms
    shift = np.full(t.size, clock.shift_ms)
    for i in leaps.tolist():
        hours = _hours(dt, xy, i, usual)
        if hours == 0 or not (local or abs(hours) == 24):
            continue
        at = int(line[row[i + 1 - extra]])
        if is_named(recipe.zone) and hours > 0 and shift[i] == 0.0:
            _second_from_the_start(t, shift, i, recipe, clock, at, hours)
            continue
        shift[i + 1 :] -= hours * HOUR_MS
        clock.said.append(_said(hours, at, recipe.zone, bool(shift[i + 1] == 0.0)))
    clock.shift_ms = float(shift[-1])
    out = t_ms.copy()
    out[row] += shift[extra:]
    return out


def _is_local(recipe: Recipe) -> bool:
    use = (recipe.use("time") or recipe.use("clock"))[0]
    return use.unit in ("clock", "days") or (use.unit == "text" and "%z" not in recipe.time_form and recipe.zone not in NO_OFFSET[1:])


def _hours(dt: FloatArray, xy: FloatArray, i: int, usual: float) -> int:
    """Whole hours by which the clock is put ahead (or back, below 0) between rows i and i + 1; 0 where it is no such thing."""
    hours = round((dt[i] - usual) / HOUR_MS)
    left = float(dt[i] - usual - hours * HOUR_MS)
    step = float(np.hypot(*(xy[i + 1] - xy[i])))
    passed = (usual + max(left, 0.0)) / 1e3
    if not 0 < abs(hours) <= MOST_HOURS or step > FASTEST_M_S * passed + 5.0:
        return 0
    if hours < 0:
        return hours if abs(left) <= max(60_000.0, 3 * usual) else 0
    if abs(left) > max(3_000.0, 1.5 * usual) or i == 0 or i + 2 >= xy.shape[0]:
        return 0
    pace = step / passed
    others = [float(np.hypot(*(xy[j + 1] - xy[j]))) / (float(dt[j]) / 1e3) for j in (i - 1, i + 1) if 0 < dt[j] < LEAP_MS]
    moving = len(others) == 2 and all(v > 0.3 and 0.5 < pace / v < 2.0 for v in others)
    return hours if moving else 0


def _second_from_the_start(t: FloatArray, shift: FloatArray, i: int, recipe: Recipe, clock: Clock, line: int, hours: int) -> None:
    """A log that begins within the second of two like hours: seen only when that hour ends. Its rows are put an hour later."""
    twice = comes_twice(t[: i + 1] + _offset_near(float(t[i]), recipe.zone), recipe.zone)
    if hours == 1 and bool(twice.all()):
        shift[: i + 1] += HOUR_MS
        clock.said.append(f"Up to line {line} the hour is the second of the two that the clock shows as daylight saving ends.")


def _said(hours: int, line: int, zone: str, over: bool) -> str:
    if is_named(zone) and hours < 0:
        return f"An hour comes twice, the second time from line {line} on, as daylight saving ends: all rows and their order are kept."
    if over:
        return f"From line {line} on the clock runs as before."
    size = "an hour" if abs(hours) == 1 else "a day" if abs(hours) == 24 else f"{abs(hours)} hours"
    if hours == -1:
        what, done = "daylight saving ends, or the clock was put right", "added from there on"
    elif hours == -24:
        what, done = "its date was not turned at midnight", "added from there on"
    elif hours < 0:
        what, done = "it was put right; whether the times before or after are right the log does not say", "added from there on"
    else:
        what = (
            "daylight saving begins, or the clock was put right"
            if hours == 1
            else "it was put right; which part is right the log does not say"
        )
        done = "taken off from there on"
    way = "back" if hours < 0 else "ahead"
    return f"At line {line} the clock goes {way} {size} while the way runs on ({what}): it is {done}, all rows are kept."
