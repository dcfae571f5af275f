"""Times as logs write them: ISO, local dates, clock times, epochs, seconds since a start."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from evenstand.base.errors import InputError
from evenstand.formats.zones import utc_ms, zone_offset_ms
from evenstand.model.place import FloatArray

__all__ = ["TimeGuess", "guess_time", "seconds_of", "start_ms", "zone_offset_ms"]

_CLOCK_PART = r"(\d{1,2}):(\d{2})(:\d{2})?([.,]\d+)?\s*([AaPp](?:\.?[Mm])?\.?)?"
_ISO = re.compile(rf"^(\d{{4}})([-/.])(\d{{1,2}})\2(\d{{1,2}})([T ])\s*{_CLOCK_PART}\s*(Z|[+-]\d{{2}}:?\d{{2}})?$")
_LOCAL = re.compile(rf"^(\d{{1,2}})([-/.])(\d{{1,2}})\2(\d{{4}}|\d{{2}})[ T]+{_CLOCK_PART}$")
_CLOCK = re.compile(r"^(\d{1,2}):(\d{2}):(\d{2})([.,]\d+)?\s*([AaPp](?:\.?[Mm])?\.?)?$")
_PACKED = re.compile(r"^(\d{5,8})[ T](?:(\d{1,6})|(\d{1,2}:\d{2}:\d{2}))([.,]\d+)?$")
_MONTHS = rf"^(\d{{1,2}})([-/ .])([A-Za-z]{{3,9}})\2(\d{{4}}|\d{{2}})[ T,]+{_CLOCK_PART}$"
_NAMED = re.compile(_MONTHS)
_MONTH_FIRST = re.compile(rf"^([A-Za-z]{{3,9}})( )(\d{{1,2}}),? (\d{{4}})[ T,]+{_CLOCK_PART}$")
_DATE = re.compile(r"^(\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](\d{4}|\d{2}))$")
_ENDS = r"(?=\s*(?:[AaPp][Mm])?\s*(?:Z|[+-]\d{2}:?\d{2}|[A-Z]{3,5}\s?[+-]?[\d:]*)?$)"
_FRACTION = re.compile(rf"(?<=\d)\.\d+{_ENDS}")
_ZONE_WORD = re.compile(r"\s+((?:UTC|GMT|Z)\s?(?:([+-])\s?(\d{1,2})(?::?(\d{2}))?)?|([+-])(\d{2}):?(\d{2})|[A-Z]{3,5})$")
ORDERS = {"dmy": ("%d", "%m", "%y"), "mdy": ("%m", "%d", "%y"), "ymd": ("%y", "%m", "%d")}
YEARS = (1990, 2069)
RUN_CLOCK = "%H%M%S"
SERIAL_ZERO = 25_569.0  # the day number of 1970-01-01
ASK_FORM = 'Export times as ISO 8601, or name the form in a recipe (time_form = "{}").'


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeGuess:
    """How a time column is written.

    unit: "text", "epoch_s", "epoch_ms", "days", "s", "ms", "clock" or ""; form: for strptime; zone: offset in the text, "Z" or "";
    question: what must be asked, "" if nothing; forms: the forms it could be, where that is the question; seconds: of the sample, from
    any zero [s]."""

    unit: str = ""
    form: str = ""
    zone: str = ""
    why: str = ""
    certain: bool = True
    uses_date: bool = False
    question: str = ""
    cure: str = ""
    forms: tuple[str, ...] = ()
    seconds: FloatArray | None = None


def guess_time(
    text: Sequence[str | None], date: Sequence[str | None] | None, unit: str, *, order: str = "", clock: bool = False
) -> TimeGuess:
    """How the times of a column are written.

    Parameters
    ----------
    text : sequence of str or None
        The column's first cells. [-]
    date : sequence of str or None
        Cells of a date column, if there is one. [-]
    unit : str
        Unit in the name: "s", "ms", "utc" or "". [-]
    order : str
        Order of day, month and year where something besides the dates says it: "dmy", "mdy", "ymd". [-]
    clock : bool
        The name says it is a time of day. [-]

    Returns
    -------
    TimeGuess
        With a question where it can be read two ways. [-]
    """
    cells = [c.strip() for c in text if c and c.strip()]
    if not cells:
        return TimeGuess(question="it is empty", cure="Export the log with times.")
    begin = cells[: len(cells) // 10 + 1]  # where none of them is a number, nine in ten cannot be
    numbers = _numbers(text) if np.isfinite(_numbers(begin)).any() else np.full(len(text), np.nan)
    if np.isfinite(numbers).sum() >= 0.9 * len(cells):
        if (date is not None or clock) and _is_run_clock(cells, numbers):
            return _run_clock(text, date, order, unit)
        return _numeric(numbers, unit)
    if date is not None and _CLOCK.match(cells[0]):
        return _textual(_joined(date, text), uses_date=True, unit=unit, order=order)
    return _textual(text, uses_date=False, unit=unit, order=order)


def content_of(cells: Sequence[str | None], *, clock: bool) -> str:
    """What the cells of a time column hold: "full" (a date with a time, or seconds since 1970), "clock", "date", "counter" or "other".

    Parameters
    ----------
    cells : sequence of str or None
        The first cells. [-]
    clock : bool
        Numbers can be a clock run together, 121203 for 12:12:03: the name or a date beside it says so. [-]
    """
    texts = [c.strip() for c in cells if c and c.strip()]
    if not texts:
        return "other"
    tail, _ = _common_tail(texts)
    texts = [t.removesuffix(tail).rstrip() for t in texts]
    for match, kind in ((_ISO, "full"), (_LOCAL, "full"), (_NAMED, "full"), (_MONTH_FIRST, "full"), (_CLOCK, "clock"), (_DATE, "date")):
        if sum(bool(match.match(t)) for t in texts) >= 0.9 * len(texts):
            return kind
    numbers = _numbers(texts)
    if np.isfinite(numbers).sum() < 0.9 * len(texts):
        return "other"
    if clock and _is_run_clock(texts, numbers):
        return "clock"
    low, high = float(np.nanmin(numbers)), float(np.nanmax(numbers))
    if 30_000 < low <= high < 60_000 and high - low < 2 and bool((numbers % 1 > 0).any()):
        return "full"
    return "full" if 8e8 < low < 5e9 or 8e11 < low < 5e12 else "counter"


def order_of(pattern: str) -> str:
    """The order of day, month and year that a pattern such as "jj/mm/aaaa" or "MM/DD/YYYY" stands for, "" if it is none. [-]

    >>> order_of("jj/mm/aaaa"), order_of("mm-dd-yy"), order_of("YYYY-MM-DD hh:mm:ss"), order_of("km/h")
    ('dmy', 'mdy', 'ymd', '')
    """
    groups = re.match(
        r"^\s*([a-z]{1,4})[-/. ]?([a-z]{1,4})[-/. ]?([a-z]{1,4})(?![a-z])", re.sub(r"(?<=([a-z]))(?!\1)(?=[a-z])", " ", pattern.lower())
    )
    if groups is None:
        return ""
    found = "".join(_part_of_date(g) for g in groups.groups())
    return found if found in ORDERS else ""


def _part_of_date(letters: str) -> str:
    """Day, month or year for a group of letters such as "jj" or "aaaa"; four of j are a German year, two a French day."""
    kind, size = set(letters), len(letters)
    if kind == {"m"}:
        return "m"
    if kind in ({"y"}, {"a"}) or (kind == {"j"} and size == 4):
        return "y"
    return "d" if kind in ({"d"}, {"t"}, {"j"}) else ""


def _joined(date: Sequence[str | None], text: Sequence[str | None]) -> list[str | None]:
    return [f"{_date_cell(d.strip())} {c.strip()}" if d and c else None for d, c in zip(date, text, strict=True)]


def _date_cell(text: str) -> str:
    """A date, with the zero a spreadsheet took from the front of one run together."""
    return _whole_date(text) if text.isdigit() and len(text) in (5, 7) else text


def _is_run_clock(cells: list[str], numbers: FloatArray) -> bool:
    """Whether numbers are a clock run together, 121203 for 12:12:03, and no count of seconds: no minute or second of 60 or more, and
    where the minute turns their steps are even only when read so."""
    if not all(re.fullmatch(r"\d{4,6}([.,]\d+)?", c) for c in cells):
        return False
    good = numbers[np.isfinite(numbers)]
    whole = np.floor(good)
    if not bool(np.all((whole % 100 < 60) & (whole // 100 % 100 < 60) & (whole // 10_000 < 24))) or good.size < 3:
        return False
    return bool(np.abs(np.diff(_run_seconds(good))).max() <= np.abs(np.diff(good)).max() + 1e-9)


def _run_seconds(numbers: FloatArray) -> FloatArray:
    whole = np.floor(numbers)
    return np.asarray(whole // 10_000 * 3600 + whole // 100 % 100 * 60 + whole % 100 + (numbers - whole))


def _run_clock(text: Sequence[str | None], date: Sequence[str | None] | None, order: str, unit: str) -> TimeGuess:
    padded = [None if not c else _padded(c.strip()) for c in text]
    if date is not None:
        return _textual(_joined(date, padded), uses_date=True, unit=unit, order=order)
    part = "%.f" if any(c and re.search(r"[.,]", c) for c in padded) else ""
    return _timed(TimeGuess(unit="clock", form=RUN_CLOCK + part, why="a clock run together, without a date", certain=False), padded)


def _padded(cell: str) -> str:
    """A clock run together with the zeros a spreadsheet took from its front."""
    whole, mark, part = cell.replace(",", ".").partition(".")
    return whole.zfill(6) + mark + part


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
    if low > 30_000 and high < 60_000 and high - low < 2:
        return _serial(good, numbers)
    whole = np.floor(good)
    if high >= 10_000 and high < 240_000 and bool(np.all((whole % 100 < 60) & (whole // 100 % 100 < 60))) and good.size > 60:
        return TimeGuess(
            question="it may be a clock time run together (123803 for 12:38:03) or seconds", cure="Export times as 12:38:03 or as ISO 8601."
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


def _serial(good: FloatArray, numbers: FloatArray) -> TimeGuess:
    """Day numbers of a spreadsheet, local; those that count from 1904 would lie four years later and are not thought of."""
    step = np.diff(good)
    if not bool((step >= 0).all()) or float(np.median(step)) * 86_400.0 < 0.05:
        cure = "Format the column as date and time before export."
        return TimeGuess(question="it looks like the day numbers of a spreadsheet, too coarse to tell its rows apart", cure=cure)
    seconds = (numbers - SERIAL_ZERO) * 86_400.0
    return TimeGuess(unit="days", why="day numbers of a spreadsheet that counts from 1900", certain=False, seconds=seconds)


def _textual(text: Sequence[str | None], *, uses_date: bool, unit: str, order: str = "") -> TimeGuess:
    cells = [c.strip() for c in text if c and c.strip()]
    tail, tail_zone = _common_tail(cells)
    cells = [c.removesuffix(tail) for c in cells]
    kinds = (
        (_ISO, _iso_form), (_LOCAL, _local_form), (_NAMED, _named_form), (_MONTH_FIRST, _month_first_form), (_PACKED, _packed_form),
        (_CLOCK, _clock_form),
    )  # fmt: skip
    for match, build in kinds:
        hits = [m for c in cells if (m := match.match(c))]
        if len(hits) < 0.9 * len(cells):
            continue
        guess = build(hits, uses_date, unit, order)
        if guess.question and not guess.forms:
            return guess
        if tail:
            guess = _with_tail(guess, tail, tail_zone)
        form = guess.forms[0] if guess.forms else guess.form
        return replace(guess, seconds=_timed(replace(guess, form=form), text).seconds)
    shown = cells[0][:30] if cells else ""
    return TimeGuess(question=f"times like '{shown}' are not understood", cure="Export them as ISO 8601, such as 2027-05-04T14:03:00Z.")


def _with_tail(guess: TimeGuess, tail: str, zone: str) -> TimeGuess:
    """A guess of times that all end in the same letters."""
    told = f", and {tail.strip()} in each" if zone else f"; the letters {tail.strip()} name no offset"
    form = (guess.form or _clock_form_of(True, False, False)) + tail
    why = guess.why.removesuffix(" without an offset") + told
    return replace(guess, form=form, forms=tuple(f + tail for f in guess.forms), zone=zone or guess.zone, why=why)


def _common_tail(cells: Sequence[str]) -> tuple[str, str]:
    """Letters or an offset that end every cell alike, such as " GMT-3" or " UTC", and the offset they stand for, "" where they name none;
    ("", "") where cells differ, or where the form of ISO 8601 already knows them. [-]

    >>> _common_tail(["21/06/2024 09:15:00 GMT-3"]), _common_tail(["2024-06-21 09:15:00 UTC"]), _common_tail(["09:15:00 CST"])
    ((' GMT-3', '-03:00'), (' UTC', 'Z'), (' CST', ''))
    """
    hit = _ZONE_WORD.search(cells[0]) if cells else None
    if hit is None or not all(c.endswith(hit[0]) for c in cells) or hit[1] in ("AM", "PM") or _ISO.match(cells[0]):
        return "", ""
    sign, hours, minutes = hit[2] or hit[5], hit[3] or hit[6], hit[4] or hit[7]
    if sign:
        return hit[0], f"{sign}{int(hours):02d}:{minutes or '00'}"
    return hit[0], "Z" if hit[1].strip() in ("UTC", "GMT", "Z") else ""


def _clock_form_of(seconds: bool, part: bool, half: bool) -> str:
    return ("%I" if half else "%H") + ":%M" + (":%S" if seconds else "") + ("%.f" if part else "") + (" %p" if half else "")


def _iso_form(hits: list[re.Match[str]], uses_date: bool, unit: str, order: str) -> TimeGuess:
    m = hits[0]
    form = f"%Y{m[2]}%m{m[2]}%d{m[5]}" + _clock_form_of(bool(m[8]), any(h[9] for h in hits), bool(m[10]))
    zone = m[11] or ("Z" if unit == "utc" else "")
    tail = "" if not m[11] else "Z" if m[11] == "Z" else "%z"
    return TimeGuess(unit="text", form=form + tail, zone=zone, why="ISO 8601" + ("" if zone else " without an offset"), uses_date=uses_date)


def _local_form(hits: list[re.Match[str]], uses_date: bool, unit: str, order: str) -> TimeGuess:
    first, second = {int(m[1]) for m in hits}, {int(m[3]) for m in hits}
    day_first = max(first) > 12 or hits[0][2] == "."
    month_first = max(second) > 12
    m = hits[0]
    year = "%Y" if len(m[4]) == 4 else "%y"
    clock = _clock_form_of(bool(m[7]), any(h[8] for h in hits), bool(m[9]))
    why = "local dates, " + ("day" if day_first else "month") + " first, since the other way some do not exist"
    if not day_first and not month_first and order in ("dmy", "mdy"):
        day_first, month_first = order == "dmy", order == "mdy"
        why = "local dates, " + ("day" if day_first else "month") + " first, as the unit says"
    forms = tuple(f"{a}{m[2]}{b}{m[2]}{year} {clock}" for a, b in (("%d", "%m"), ("%m", "%d")))
    if day_first == month_first:
        text = f"dates like '{m[0]}' make no sense either way" if day_first else f"'{m[0]}' can be day or month first"
        return TimeGuess(question=text, cure=ASK_FORM.format(forms[0]), forms=() if day_first else forms, unit="text", uses_date=uses_date,
                         zone="Z" if unit == "utc" else "")  # fmt: skip
    return TimeGuess(unit="text", form=forms[0 if day_first else 1], zone="Z" if unit == "utc" else "", uses_date=uses_date, why=why)


def _named_form(hits: list[re.Match[str]], uses_date: bool, unit: str, order: str) -> TimeGuess:
    """Dates with the month as an English word."""
    m = hits[0]
    try:
        datetime.strptime(m[3][:3], "%b")
    except ValueError:
        return TimeGuess(question=f"the month '{m[3]}' is not understood", cure="Export times as ISO 8601.")
    month = "%b" if all(len(h[3]) == 3 for h in hits) else "%B"
    form = f"%d{m[2]}{month}{m[2]}" + ("%Y" if len(m[4]) == 4 else "%y") + " "
    form += _clock_form_of(bool(m[7]), any(h[8] for h in hits), bool(m[9]))
    return TimeGuess(unit="text", form=form, zone="Z" if unit == "utc" else "", uses_date=uses_date, why="dates with the month as a word")


def _month_first_form(hits: list[re.Match[str]], uses_date: bool, unit: str, order: str) -> TimeGuess:
    """Dates that begin with the month as an English word, such as May 21, 2024."""
    m = hits[0]
    try:
        datetime.strptime(m[1][:3], "%b")
    except ValueError:
        return TimeGuess(question=f"the month '{m[1]}' is not understood", cure="Export times as ISO 8601.")
    comma = "," if m[0][m.end(3)] == "," else ""
    form = ("%b" if all(len(h[1]) == 3 and h[1].lower() != "may" for h in hits) else "%B") + f" %d{comma} %Y "
    form += _clock_form_of(bool(m[7]), any(h[8] for h in hits), bool(m[9]))
    return TimeGuess(unit="text", form=form, zone="Z" if unit == "utc" else "", uses_date=uses_date, why="dates with the month as a word")


def _packed_form(hits: list[re.Match[str]], uses_date: bool, unit: str, order: str) -> TimeGuess:
    """Dates run together: six figures can be read several ways, eight hardly ever."""
    dates = {m[1] for m in hits}
    clock = RUN_CLOCK if hits[0][2] else "%H:%M:%S"
    clock += "%.f" if any(m[4] for m in hits) else ""
    orders = [order] if order else list(ORDERS)
    forms = tuple("".join(ORDERS[o]).replace("%y", "%Y" if len(max(dates, key=len)) > 6 else "%y") for o in orders)
    forms = tuple(f for f in forms if all(_is_date(d, f) for d in dates))
    shown = hits[0][1]
    if not forms:
        return TimeGuess(question=f"'{shown}' is no date run together", cure="Export times as ISO 8601.")
    if len(forms) > 1:
        full = tuple(f"{f} {clock}" for f in forms)
        ways = " or ".join(f"{datetime.strptime(_whole_date(shown), f):%Y-%m-%d}" for f in forms)
        return TimeGuess(
            question=f"the date {shown} can be {ways}", cure=ASK_FORM.format(full[0]), forms=full, unit="text", uses_date=uses_date,
            zone="Z" if unit == "utc" else "",
        )  # fmt: skip
    return TimeGuess(
        unit="text", form=f"{forms[0]} {clock}", zone="Z" if unit == "utc" else "", uses_date=uses_date, why="a date run together"
    )


def _whole_date(text: str) -> str:
    return text.zfill(6 if len(text) <= 6 else 8)


def _is_date(text: str, form: str) -> bool:
    try:
        return YEARS[0] <= datetime.strptime(_whole_date(text), form).year <= YEARS[1]
    except ValueError:
        return False


def _clock_form(hits: list[re.Match[str]], uses_date: bool, unit: str, order: str) -> TimeGuess:
    if any(m[5] for m in hits):
        form = _clock_form_of(True, any(m[4] for m in hits), True)
        return TimeGuess(unit="clock", form=form, why="time of day with am and pm, without a date", certain=False)
    return TimeGuess(unit="clock", why="time of day without a date", certain=False)


def seconds_by(guess: TimeGuess, text: Sequence[str | None], date: Sequence[str | None] | None) -> FloatArray | None:
    """Seconds of cells of a known form, from any fixed zero; not-a-number where a cell does not fit. [s]"""
    if RUN_CLOCK in guess.form:
        text = [None if not c else _padded(c.strip()) for c in text]
    return _timed(guess, text if date is None else _joined(date, text)).seconds


def _timed(guess: TimeGuess, text: Sequence[str | None]) -> TimeGuess:
    """Seconds of the sample, by the plain library."""
    if _is_iso(guess.form) and "," not in guess.form and guess.unit != "clock":
        try:  # most often every cell is one
            at = [datetime.fromisoformat((c or "").strip()) for c in text]
            return replace(guess, seconds=np.array([(v if v.tzinfo else v.replace(tzinfo=UTC)).timestamp() for v in at]))
        except ValueError:
            pass
    out = np.full(len(text), np.nan)
    for i, cell in enumerate(text):
        if not cell:
            continue
        try:
            out[i] = seconds_of(cell.strip(), guess)
        except ValueError:
            continue
    return replace(guess, seconds=out)


def _is_iso(form: str) -> bool:
    """Whether times of a form are those of ISO 8601, date first."""
    return form.startswith("%Y-%m-%d") and "%p" not in form and form[-1] in "MSfzZ"


HALVES = r"\s*([AaPp])(?:\.?\s?[Mm])?\.?(\s+[A-Z+-].*)?$"
"""The half of a day at the end of a time, in its several writings: am, AM, a.m., a."""


def seconds_of(cell: str, guess: TimeGuess) -> float:
    """One cell as seconds from any fixed zero; `ValueError` if it does not fit. [s]"""
    if guess.unit == "clock" and not guess.form:
        m = _CLOCK.match(cell)
        if not m:
            raise ValueError(cell)
        return int(m[1]) * 3600 + int(m[2]) * 60 + int(m[3]) + float((m[4] or "0").replace(",", "."))
    if "%p" in guess.form:
        cell = re.sub(HALVES, lambda m: f" {m[1]}M{m[2] or ''}", cell)
    cell = cell if "," in guess.form else cell.replace(",", ".")
    if _is_iso(guess.form):
        at = datetime.fromisoformat(cell)
        return (at.replace(tzinfo=UTC) if at.tzinfo is None else at).timestamp()
    fraction = _FRACTION.search(cell) if "%.f" in guess.form else None
    if fraction:
        cell = cell[: fraction.start()] + cell[fraction.end() :]
    at = datetime.strptime(cell, guess.form.replace("%.f", ""))
    at = at.replace(tzinfo=UTC) if at.tzinfo is None else at
    return at.timestamp() + (float(fraction[0]) if fraction else 0.0)


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
        local = at.replace(tzinfo=UTC).timestamp() * 1000
        return round(float(utc_ms(np.array([local]), zone)[0]))
    return round(at.timestamp() * 1000)
