"""Times as logs write them: ISO, local dates, clock times, epochs, seconds since a start."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

import numpy as np

from evenstand.base.errors import InputError
from evenstand.model.place import FloatArray

_ISO = re.compile(r"^(\d{4})([-/.])(\d{1,2})\2(\d{1,2})([T ])(\d{1,2}):(\d{2})(:\d{2})?([.,]\d+)?\s*(Z|[+-]\d{2}:?\d{2})?$")
_LOCAL = re.compile(r"^(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})[ T]+(\d{1,2}):(\d{2})(:\d{2})?([.,]\d+)?\s*([AaPp][Mm])?$")
_CLOCK = re.compile(r"^(\d{1,2}):(\d{2}):(\d{2})([.,]\d+)?\s*([AaPp][Mm])?$")
_ZONE = re.compile(r"^([+-])(\d{1,2}):?(\d{2})$")


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeGuess:
    """How a time column is written.

    unit: "text", "epoch_s", "epoch_ms", "s", "ms", "clock" or ""; form: for strptime; zone: offset in the text, "Z" or "";
    question: what must be asked, "" if nothing; seconds: of the sample, from any zero [s]."""

    unit: str = ""
    form: str = ""
    zone: str = ""
    why: str = ""
    certain: bool = True
    uses_date: bool = False
    question: str = ""
    cure: str = ""
    seconds: FloatArray | None = None


def guess_time(text: Sequence[str | None], date: Sequence[str | None] | None, unit: str) -> TimeGuess:
    """How the times of a column are written.

    Parameters
    ----------
    text : sequence of str or None
        The column's first cells. [-]
    date : sequence of str or None
        Cells of a date column, if there is one. [-]
    unit : str
        Unit in the name: "s", "ms", "utc" or "". [-]

    Returns
    -------
    TimeGuess
        With a question where it can be read two ways. [-]
    """
    cells = [c.strip() for c in text if c and c.strip()]
    if not cells:
        return TimeGuess(question="it is empty", cure="Export the log with times.")
    numbers = _numbers(text)
    if np.isfinite(numbers).sum() >= 0.9 * len(cells):
        return _numeric(numbers, unit)
    if date is not None and _CLOCK.match(cells[0]):
        joined = [f"{d.strip()} {c.strip()}" if d and c else None for d, c in zip(date, text, strict=True)]
        return _textual(joined, uses_date=True, unit=unit)
    return _textual(text, uses_date=False, unit=unit)


def _numbers(text: Sequence[str | None]) -> FloatArray:
    out = np.full(len(text), np.nan)
    for i, cell in enumerate(text):
        try:
            out[i] = float(cell.strip().replace(",", ".")) if cell else np.nan
        except ValueError:
            continue
    return out


def _numeric(numbers: FloatArray, unit: str) -> TimeGuess:
    good = numbers[np.isfinite(numbers)]
    low, high = float(good.min()), float(good.max())
    grows = float((np.diff(good) >= 0).mean()) if good.size > 1 else 1.0
    if low > 8e8 and high < 5e9:
        return TimeGuess(unit="epoch_s", why="seconds since 1970 by their size", zone="Z", seconds=numbers)
    if low > 8e11 and high < 5e12:
        return TimeGuess(unit="epoch_ms", why="milliseconds since 1970 by their size", zone="Z", seconds=numbers / 1e3)
    whole = np.floor(good)
    if high >= 10_000 and high < 240_000 and bool(np.all((whole % 100 < 60) & (whole // 100 % 100 < 60))) and good.size > 60:
        return TimeGuess(
            question="it may be a clock time run together (123803 for 12:38:03) or seconds", cure="Export times as 12:38:03 or as ISO 8601."
        )
    if low > 30_000 and high < 60_000 and high - low < 2:
        return TimeGuess(
            question="it looks like the day numbers of a spreadsheet", cure="Format the column as date and time before export."
        )
    if grows < 0.9:
        return TimeGuess(question="its numbers do not grow from row to row", cure="Name the right column time, or give a recipe.")
    if unit == "ms":
        return TimeGuess(unit="ms", why="name, and growing numbers: milliseconds since a start", seconds=numbers / 1e3)
    if unit not in ("", "s", "utc"):
        return TimeGuess(question=f"'{unit}' is no unit we read times in", cure="Export seconds, or ISO 8601.")
    step = np.diff(good)
    usual = float(np.median(step[step > 0])) if (step > 0).any() else 0.0
    if unit == "" and usual >= 100:
        return TimeGuess(
            question="its numbers grow by 100 or more a row: seconds or milliseconds?", cure="Write the unit in the header: time (ms)."
        )
    return TimeGuess(unit="s", why="growing numbers: seconds since a start", certain=unit == "s", seconds=numbers)


def _textual(text: Sequence[str | None], *, uses_date: bool, unit: str) -> TimeGuess:
    cells = [c.strip() for c in text if c and c.strip()]
    for match, build in ((_ISO, _iso_form), (_LOCAL, _local_form), (_CLOCK, _clock_form)):
        hits = [m for c in cells if (m := match.match(c))]
        if len(hits) < 0.9 * len(cells):
            continue
        guess = build(hits, uses_date, unit)
        if guess.question:
            return guess
        return _timed(guess, text)
    shown = cells[0][:30]
    return TimeGuess(question=f"times like '{shown}' are not understood", cure="Export them as ISO 8601, such as 2027-05-04T14:03:00Z.")


def _iso_form(hits: list[re.Match[str]], uses_date: bool, unit: str) -> TimeGuess:
    m = hits[0]
    form = f"%Y{m[2]}%m{m[2]}%d{m[5]}%H:%M" + (":%S" if m[8] else "") + ("%.f" if any(h[9] for h in hits) else "")
    zone = m[10] or ("Z" if unit == "utc" else "")
    tail = "" if not m[10] else "Z" if m[10] == "Z" else "%z"
    return TimeGuess(unit="text", form=form + tail, zone=zone, why="ISO 8601" + ("" if zone else " without an offset"), uses_date=uses_date)


def _local_form(hits: list[re.Match[str]], uses_date: bool, unit: str) -> TimeGuess:
    first, second = {int(m[1]) for m in hits}, {int(m[3]) for m in hits}
    day_first = max(first) > 12 or hits[0][2] == "."
    month_first = max(second) > 12
    if day_first == month_first:
        shown = hits[0][0]
        return TimeGuess(
            question=f"'{shown}' can be day or month first" if not day_first else f"dates like '{shown}' make no sense either way",
            cure='Export times as ISO 8601, or name the form in a recipe (time_form = "%d/%m/%Y %H:%M:%S").',
        )
    m = hits[0]
    year = "%Y" if len(m[4]) == 4 else "%y"
    day, month = ("%d", "%m") if day_first else ("%m", "%d")
    clock = (
        ("%I" if m[9] else "%H") + ":%M" + (":%S" if m[7] else "") + ("%.f" if any(h[8] for h in hits) else "") + (" %p" if m[9] else "")
    )
    return TimeGuess(
        unit="text", form=f"{day}{m[2]}{month}{m[2]}{year} {clock}", zone="Z" if unit == "utc" else "", uses_date=uses_date,
        why="local dates, " + ("day" if day_first else "month") + " first, since the other way some do not exist",
    )  # fmt: skip


def _clock_form(hits: list[re.Match[str]], uses_date: bool, unit: str) -> TimeGuess:
    if any(m[5] for m in hits):
        return TimeGuess(question="clock times with am and pm and no date", cure="Export times with their date, as ISO 8601.")
    return TimeGuess(unit="clock", why="time of day without a date", certain=False)


def _timed(guess: TimeGuess, text: Sequence[str | None]) -> TimeGuess:
    """Seconds of the sample, by the plain library."""
    out = np.full(len(text), np.nan)
    for i, cell in enumerate(text):
        if not cell:
            continue
        try:
            out[i] = seconds_of(cell.strip(), guess)
        except ValueError:
            continue
    return TimeGuess(
        unit=guess.unit, form=guess.form, zone=guess.zone, why=guess.why, certain=guess.certain, uses_date=guess.uses_date, seconds=out
    )


def seconds_of(cell: str, guess: TimeGuess) -> float:
    """One cell as seconds from any fixed zero; `ValueError` if it does not fit. [s]"""
    if guess.unit == "clock":
        m = _CLOCK.match(cell)
        if not m:
            raise ValueError(cell)
        return int(m[1]) * 3600 + int(m[2]) * 60 + int(m[3]) + float((m[4] or "0").replace(",", "."))
    if guess.form.startswith("%Y-%m-%d"):
        at = datetime.fromisoformat(cell.replace(",", "."))
        return (at.replace(tzinfo=UTC) if at.tzinfo is None else at).timestamp()
    form = guess.form.replace("%.f", "")
    cell = cell.replace(",", ".")
    fraction = re.search(r":\d{2}(\.\d+)", cell)
    if fraction and "%.f" in guess.form:
        cell = cell.replace(fraction[1], "", 1)
    at = datetime.strptime(cell, form)
    at = at.replace(tzinfo=UTC) if at.tzinfo is None else at
    return at.timestamp() + (float(fraction[1]) if fraction and "%.f" in guess.form else 0.0)


def zone_offset_ms(zone: str, *, where: str = "zone") -> int:
    """Offset from UTC of "-06:00", "+0930" or "Z". [ms]

    Raises
    ------
    InputError
        If it is no offset.
    """
    if zone in ("", "Z", "UTC"):
        return 0
    m = _ZONE.match(zone)
    if m is None or int(m[2]) > 14 or int(m[3]) > 59:
        raise InputError(f"'{zone}' is no offset from UTC", where=where, cure="Write it as -06:00.")
    return (1 if m[1] == "+" else -1) * (int(m[2]) * 60 + int(m[3])) * 60_000


def start_ms(start: str, zone: str, *, where: str = "start") -> int:
    """An ISO time as UTC milliseconds; without an offset of its own the zone's is used. [ms]

    Raises
    ------
    InputError
        If it is no ISO time.
    """
    try:
        at = datetime.fromisoformat(start.strip())
    except ValueError as error:
        raise InputError(f"'{start}' is no ISO time", where=where, cure="Write it as 2027-05-04T08:12:00-06:00.") from error
    if at.tzinfo is None:
        at = at.replace(tzinfo=timezone(timedelta(milliseconds=zone_offset_ms(zone, where="zone"))))
    return round(at.timestamp() * 1000)
