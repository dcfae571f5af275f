"""Which columns say when: one for date and time, or a date and a clock, or a count of seconds; local clocks beside UTC."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from evenstand.formats.columns import ColumnGuess, Question, Sure
from evenstand.formats.naming import Named
from evenstand.formats.recipes import Recipe
from evenstand.formats.sampling import Sample, finite, guess_of, of_role
from evenstand.formats.times import TimeGuess, content_of, guess_time, order_of, seconds_by
from evenstand.formats.zones import is_named
from evenstand.model.place import FloatArray

DAY_S = 86_400.0
QUARTER_S = 900.0
WEST_S, EAST_S = -12.5 * 3600, 14.5 * 3600
"""Offsets from UTC that some place keeps. [s]"""
STEADY_S = 120.0
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}|\d{1,2}[./]\d{1,2}[./]\d{4}|[A-Za-z]{3,9} \d{1,2},? \d{4}|\d{1,2}\.? [A-Za-z]{3,9}\.? \d{4}")
"""A day in a line of text."""
FAR_H = 3.5
"""A clock farther than this from the sun's time is no zone's. [h]"""


def propose_times(
    named: dict[str, Named], sample: Sample, guesses: dict[str, ColumnGuess], asked: list[Question], start: str | None, zone: str | None,
    preamble: tuple[str, ...] = (),
) -> TimeGuess:  # fmt: skip
    """The columns that say when, what is asked of them, and how they are written."""
    chosen, date = _choose(named, sample)
    if chosen is None:
        asked.append(Question(kind="column", text="no time column is recognised", cure="Name it time, or give a recipe."))
        return TimeGuess()
    guess = _guess(chosen, date, named, sample)
    known = zone or ""
    utc_clock = next(
        (c for c in of_role(named, "clock", "time") if c != chosen and named[c].clock == "utc" and _kind(c, named, sample) == "clock"), None
    )
    if utc_clock and guess.seconds is not None and not guess.zone and guess.unit == "text":
        offset = offset_of(guess.seconds, _guess(utc_clock, None, named, sample).seconds)
        if offset is not None:
            known = zone_text(offset)
            why = f"time of day in UTC; the other clock is {spoken(offset)} of it"
            guesses[utc_clock] = guess_of(utc_clock, "clock", "sure", why, unit="utc")
            guess = replace(guess, zone=known)
    sure: Sure = "unsure" if guess.question else "sure" if guess.certain and named[chosen].certain else "likely"
    guesses[chosen] = guess_of(chosen, "time", sure, guess.why, unit=guess.unit)
    if date:
        used: Sure = "unsure" if guess.question else "sure"
        guesses[date] = guess_of(date, "date", used, "name; joined with the time of day")
    _spare(chosen, named, sample, guesses, guess)
    _ask_which(chosen, named, sample, asked)
    days = next((c for c in of_role(named, "date") if c not in (chosen, date)), "")
    _ask(chosen, guess, asked, start, known, preamble, days)
    if date and named[chosen].clock == "utc" != named[date].clock and not guess.question:
        guesses[chosen] = replace(guesses[chosen], sure="likely")
        text = f"'{chosen}' is a time of day in UTC; whether '{date}' is the day in UTC or the local one is not said: it is taken as UTC's"
        cure = "Compare the first time with the field day; a recipe can name another column."
        asked.append(Question(kind="time", text=text, cure=cure, column=date, blocking=False))
    return guess


def _kind(column: str, named: dict[str, Named], sample: Sample) -> str:
    dated = bool(of_role(named, "date"))
    if named[column].role == "date" and all(
        c.strip().isdigit() and len(c.strip()) in (5, 6, 7, 8) for c in sample.head[column] if c and c.strip()
    ):
        return "date"
    return content_of(sample.head[column], clock=named[column].role == "clock" or dated or named[column].clock == "utc")


def _choose(named: dict[str, Named], sample: Sample) -> tuple[str | None, str | None]:
    """The time column, and the date column to join with it if it needs one. UTC comes before local time, a date before none."""
    kind = {c: _kind(c, named, sample) for c in of_role(named, "time", "clock", "date")}
    kind = {c: k for c, k in kind.items() if not (named[c].soft and k in ("other", "counter"))}
    if not any(k in ("full", "clock") for k in kind.values()):
        unknown = [c for c, n in named.items() if n.role == "extra" and not n.known and c not in kind]
        contents = {c: content_of(sample.head[c], clock=False) for c in unknown if _is_text(sample.head[c])}
        kind |= {c: k for c, k in contents.items() if k in ("full", "clock", "date")}
    full = [c for c, k in kind.items() if k == "full"]
    for column in full:
        if named[column].clock == "utc" or named[column].unit == "utc" or _carries_zone(sample.head[column]):
            return column, None
    if not full and not any(k == "date" for k in kind.values()):  # a clock alone: is there a column of days by another name?
        spare = [c for c, n in named.items() if n.role == "extra" and not n.known and c not in kind and _is_text(sample.head[c])]
        kind |= {c: "date" for c in spare if content_of(sample.head[c], clock=False) == "date"}
    dates = [c for c, k in kind.items() if k == "date" or (named[c].role == "date" and k != "full")]
    clocks = [c for c, k in kind.items() if k == "clock"]
    pairs = [(c, d) for c in clocks for d in dates]
    for clock, date in sorted(pairs, key=lambda p: _rank(named[p[0]].clock, named[p[1]].clock)):
        if not full:
            return clock, date
    others = [c for c in kind if c not in dates and c not in full and c not in clocks]
    for column in (*full, *others, *clocks, *dates):
        if named[column].role != "date" or not (kind[column] == "counter" or _is_day(sample.head[column])):
            return column, None
    return _counter(named, sample), None


def _is_day(cells: Sequence[str | None]) -> bool:
    """Whether cells are days run together, 20240925: no time, and no count of seconds."""
    texts = [c.strip() for c in cells if c and c.strip()]
    return bool(texts) and all(t.isdigit() and len(t) in (5, 6, 7, 8) for t in texts)


def _is_text(cells: Sequence[str | None]) -> bool:
    return all(re.search(r"\d\D+\d", c) for c in cells if c and c.strip())


def _rank(clock: str, date: str) -> int:
    """How well a clock and a date go together: both of one kind first, and then those whose date is the local one."""
    if clock == date:
        return 0 if clock == "utc" else 1
    return {("", "local"): 2, ("local", ""): 2, ("utc", ""): 3, ("", "utc"): 4}.get((clock, date), 5)


def _carries_zone(cells: Sequence[str | None]) -> bool:
    first = next((c.strip() for c in cells if c and c.strip()), "")
    return bool(re.search(r"(?:Z|[+-]\d{2}:?\d{2})$", first)) or bool(re.fullmatch(r"\d{10}(?:[.,]\d+)?|\d{13}", first))


def _counter(named: dict[str, Named], sample: Sample) -> str | None:
    """A column of seconds that only grows, where nothing else says when."""
    for column in of_role(named, "interval"):
        values = finite(sample, column)
        if values.size > 2 and bool(np.all(np.diff(values) > 0)) and values[-1] > 10 * float(np.median(np.diff(values))):
            return column
    return None


def _guess(chosen: str, date: str | None, named: dict[str, Named], sample: Sample) -> TimeGuess:
    order = order_of(named[date].unit) if date else order_of(named[chosen].unit)
    unit = "utc" if named[chosen].clock == "utc" else named[chosen].unit
    unit = "" if order_of(unit) or ":" in unit else unit
    clock = named[chosen].role == "clock" or named[chosen].clock == "utc"
    return guess_time(sample.cells(chosen), sample.cells(date) if date else None, unit, order=order, clock=clock)


def _spare(chosen: str, named: dict[str, Named], sample: Sample, guesses: dict[str, ColumnGuess], guess: TimeGuess) -> None:
    """Time columns that are not used, and how far their clock is from the one that is."""
    for column in of_role(named, "time", "clock", "date"):
        if column in guesses:
            continue
        why = "another time column is used"
        if guess.zone in ("Z", "UTC") and guess.seconds is not None and _kind(column, named, sample) == "clock":
            offset = offset_of(_guess(column, None, named, sample).seconds, guess.seconds)
            why += "" if offset is None else f"; this clock is {spoken(offset)} of UTC"
        guesses[column] = guess_of(column, "ignore", "likely", why)


def _ask_which(chosen: str, named: dict[str, Named], sample: Sample, asked: list[Question]) -> None:
    """Two columns of whole times that differ and of which neither name says more: which was meant is asked."""
    own, cells = named[chosen], sample.cells(chosen)
    for column, name in named.items():
        alike = name.role == own.role and name.clock == own.clock and name.certain == own.certain
        if column == chosen or not alike or (name.role == "extra" and name.known) or content_of(sample.head[column], clock=False) != "full":
            continue
        if content_of(sample.head[chosen], clock=False) == "full" and sample.cells(column) != cells:
            text = f"'{chosen}' and '{column}' both say when, and differ: '{chosen}' is used"
            cure = f"If the other is meant: --column '{column}=time'."
            asked.append(Question(kind="time", text=text, cure=cure, column=column, blocking=False))


def _ask(
    chosen: str, guess: TimeGuess, asked: list[Question], start: str | None, zone: str, preamble: tuple[str, ...], date: str = ""
) -> None:
    if guess.question:
        asked.append(Question(kind="time", text=f"'{chosen}': {guess.question}", cure=guess.cure, column=chosen, options=guess.forms))
    elif guess.unit in ("s", "ms", "clock") and not start:
        what = "is a time of day without a date" if guess.unit == "clock" else "counts from a start that the file does not name"
        day = next((m[0] for line in preamble if (m := _DAY.search(line))), "")
        cure = "Give --start, for example 2027-05-04T08:12:00-06:00." + (f" The lines above the header name {day}." if day else "")
        cure += f" If they count from midnight, that is midnight of the day in '{date}'." if date else ""
        text = f"'{chosen}' {what}; times are counted from 1970-01-01 until it is given"
        asked.append(Question(kind="time", text=text, cure=cure, column=chosen, blocking=False))
    elif guess.unit in ("text", "days") and not guess.zone and not zone:
        text = f"'{chosen}' does not say its offset from UTC; it is taken as UTC until it is given"
        cure = "Give --zone, for example -06:00, or America/Regina where clocks change with the season."
        asked.append(Question(kind="time", text=text, cure=cure, column=chosen, blocking=False))


def offset_of(local_s: FloatArray | None, utc_s: FloatArray | None) -> float | None:
    """How far a clock is ahead of UTC, in whole quarters of an hour, from two columns of the same rows; None where it is not steady. [s]

    Days are left out of it: the offset is the one that some place on earth keeps.
    """
    if local_s is None or utc_s is None:
        return None
    ahead = (local_s - utc_s) % DAY_S
    good = ahead[np.isfinite(ahead)]
    if good.size < 3:
        return None
    middle = float(good[0] + np.median((good - good[0] + DAY_S / 2) % DAY_S - DAY_S / 2))
    off = np.abs((good - middle + DAY_S / 2) % DAY_S - DAY_S / 2)
    quarter = round(middle / QUARTER_S) * QUARTER_S
    if float((off < STEADY_S).mean()) < 0.9 or abs(middle - quarter) > STEADY_S:
        return None
    return next((v for v in (quarter, quarter - DAY_S, quarter + DAY_S) if WEST_S < v < EAST_S), None)


def zone_text(offset_s: float) -> str:
    """An offset as it is written, such as "-06:00". [-]"""
    minutes = round(abs(offset_s) / 60)
    return f"{'-' if offset_s < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def spoken(offset_s: float) -> str:
    """An offset in words: "6 h ahead", "5.5 h behind". [-]"""
    return f"{abs(offset_s) / 3600:g} h {'behind' if offset_s < 0 else 'ahead'}"


def far_from_sun(offset_s: float, lon_deg: float) -> bool:
    """Whether no place at this longitude keeps such an offset, so that the clock itself must be off. [-]"""
    return abs(offset_s / 3600 - lon_deg / 15) > FAR_H


def offset_in(recipe: Recipe, sample: Callable[[], Sample], told: str) -> tuple[str, list[str]] | None:
    """The offset of a log's local clock by the UTC clock beside it, and what is said of it; None where a recipe names no such clock.

    Parameters
    ----------
    recipe : Recipe
        What the columns are: a "time" in text, and a "clock" with the unit "utc". [-]
    sample : callable
        Gives the first rows. [-]
    told : str
        The zone that was told, "" if none. [-]
    """
    local, utc, date = recipe.use("time"), [c for c in recipe.use("clock") if c.unit == "utc"], recipe.use("date")
    if not local or not utc or local[0].unit != "text" or "%z" in recipe.time_form:
        return None
    rows = sample()
    if any(c.name not in rows.head for c in (local[0], utc[0], *date[:1])):
        return None
    form = TimeGuess(unit="text", form=recipe.time_form)
    offset = offset_of(
        seconds_by(form, rows.cells(local[0].name), rows.cells(date[0].name) if date else None),
        guess_time(rows.cells(utc[0].name), None, "utc", clock=True).seconds,
    )
    if offset is None:
        return None
    notes = [f"'{local[0].name}' is {spoken(offset)} of UTC, as '{utc[0].name}' shows."]
    if told and zone_text(offset) != told and not is_named(told):
        notes.append(f"That is not the zone {told} that was told: '{utc[0].name}' is believed, and the clock is off.")
    lon = next((finite(rows, c.name) for c in recipe.use("lon") if c.unit in ("", "deg")), None)
    if lon is not None and lon.size and far_from_sun(offset, float(np.median(lon))):
        notes.append(f"No place at {float(np.median(lon)):.0f}° east keeps such a clock: it is hours off. UTC is used.")
    return zone_text(offset), notes
