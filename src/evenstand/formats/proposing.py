"""What a file's columns are taken for. Names first, then units, then what the numbers themselves say; asked where they do not say it."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from evenstand.formats.angles import DEGREES_MINUTES, LETTERED, degrees_of
from evenstand.formats.columns import (
    BINNED,
    LENGTHS,
    NUMBERED,
    QUANTITY,
    ColumnGuess,
    ColumnUse,
    Named,
    Question,
    Sure,
    factor_of,
    understand_name,
    valid_unit,
)
from evenstand.formats.layouts import Layout
from evenstand.formats.recipes import Proposal, Recipe
from evenstand.formats.times import TimeGuess, guess_time
from evenstand.model.place import FloatArray

MATCH = 0.06  # a unit fits if the data agree within 6 %
CLEAR = 0.20  # and no other unit comes nearer than 20 %
CONTRADICTS = 0.30
WRITTEN_ROWS = 300
SPEEDS = ("m/s", "km/h", "mph", "ft/min")
FILE_SUFFIX = re.compile(r"\.[A-Za-z0-9]+$")


@dataclass(slots=True)
class Sample:
    """The first rows of a file. number: every column as numbers; head: the text of some; cells: a column's text; words: its different
    words in lower case; step_m, dt_s: steps between rows, once positions and times are understood."""

    number: dict[str, FloatArray]
    head: dict[str, list[str | None]]
    cells: Callable[[str], list[str | None]]
    words: Callable[[str], set[str]]
    step_m: FloatArray | None = None
    dt_s: FloatArray | None = None


def propose_from(
    layout: Layout, sample: Sample, name: str, *, crs: str | None = None, start: str | None = None, zone: str | None = None
) -> Proposal:
    """What each column is taken for, why, and how sure that is; and what must be asked.

    Parameters
    ----------
    layout : Layout
        Where things are. [-]
    sample : Sample
        The first rows. [-]
    name : str
        The file's name. [-]
    crs, start, zone : str or None
        Answers already given. [-]

    Returns
    -------
    Proposal
        Guesses, questions, and a recipe of what is sure or likely. [-]
    """
    named = {c: understand_name(c, u) for c, u in zip(layout.header, layout.units, strict=True)}
    asked: list[Question] = []
    guesses: dict[str, ColumnGuess] = {}
    _positions(named, sample, guesses, asked, crs)
    times = _times(named, sample, guesses, asked, start, zone)
    _reference(sample, guesses, times, crs)
    for column, word in named.items():
        if column not in guesses:
            guesses[column] = _other(column, word, sample, asked)
    _one_each(guesses, asked)
    columns = tuple(replace(guesses[c], examples=_examples(sample, c)) for c in layout.header)
    kept = tuple(g.use for g in columns if g.sure != "unsure" and g.use.role != "ignore")
    recipe = Recipe(
        name=FILE_SUFFIX.sub("", name), columns=kept, crs=crs or "", zone=zone or times.zone, start=start or "", time_form=times.form,
        decimal=layout.decimal,
    )  # fmt: skip
    return Proposal(
        file=name, rows=layout.rows, encoding=layout.encoding, decimal=layout.decimal,
        delimiter={"\t": "tab"}.get(layout.delimiter, layout.delimiter),
        header_line=layout.header_line, columns=columns, questions=tuple(asked), recipe=recipe, notes=layout.notes,
    )  # fmt: skip


def _examples(sample: Sample, column: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(t for t in sample.head.get(column, ()) if t))[:3]


def _guess(column: str, role: str, sure: Sure, why: str, *, unit: str = "", named: Named | None = None) -> ColumnGuess:
    bin_, number = (named.bin, named.number) if named and role in (*BINNED, *NUMBERED) else ("", 0)
    return ColumnGuess(use=ColumnUse(name=column, role=role, unit=unit, bin=bin_, number=number), sure=sure, why=why)


def _of_role(named: dict[str, Named], role: str) -> list[str]:
    return [c for c, n in named.items() if n.role == role]


def _finite(sample: Sample, column: str) -> FloatArray:
    values = sample.number.get(column, np.zeros(0))
    out: FloatArray = values[np.isfinite(values)]
    return out


# positions


def _positions(named: dict[str, Named], sample: Sample, guesses: dict[str, ColumnGuess], asked: list[Question], crs: str | None) -> None:
    lat, lon = _of_role(named, "lat"), _of_role(named, "lon")
    north, east = _of_role(named, "north"), _of_role(named, "east")
    if lat and lon:
        _degrees(lat[0], lon[0], sample, guesses, asked)
    elif east and north:
        _projected(east[0], north[0], sample, guesses, asked, crs)
    else:
        have = ", ".join(named) or "none"
        half = "longitude" if lat else "latitude" if lon else "position"
        asked.append(
            Question(
                kind="column",
                text=f"no {half} column is recognised among: {have}",
                cure="Name the columns lon and lat (or easting and northing), or give a recipe.",
            )
        )
    for role in ("lat", "lon", "north", "east"):
        for spare in _of_role(named, role):
            if spare not in guesses:
                guesses[spare] = _guess(spare, "ignore", "likely", "another position column is used")


def _degrees(lat: str, lon: str, sample: Sample, guesses: dict[str, ColumnGuess], asked: list[Question]) -> None:
    a, o = _finite(sample, lat), _finite(sample, lon)
    good = a.size and o.size and np.percentile(np.abs(a), 95) <= 90 and np.percentile(np.abs(o), 95) <= 180
    if good:
        guesses[lat] = _guess(lat, "lat", "sure", "name, and values within -90 to 90", unit="deg")
        guesses[lon] = _guess(lon, "lon", "sure", "name, and values within -180 to 180", unit="deg")
        return
    if _written_degrees(lat, lon, sample):
        guesses[lat] = _guess(lat, "lat", "sure", "name, and degrees written out within -90 to 90", unit=LETTERED)
        guesses[lon] = _guess(lon, "lon", "sure", "name, and degrees written out within -180 to 180", unit=LETTERED)
        return
    if a.size and o.size and _run_together(a, o) and (np.any(a < 0) or np.any(o < 0)):
        why = "name, and degrees and minutes run together: no value ends in 60 minutes or more"
        guesses[lat] = _guess(lat, "lat", "likely", why, unit=DEGREES_MINUTES)
        guesses[lon] = _guess(lon, "lon", "likely", why, unit=DEGREES_MINUTES)
        return
    for column, role in ((lat, "lat"), (lon, "lon")):
        guesses[column] = _guess(column, role, "unsure", "the name says so, the values do not", unit="deg")
    if not a.size or not o.size:
        text = f"'{lat}' and '{lon}' hold neither numbers nor degrees written out"
        cure = "Export decimal degrees, or degrees with minutes and the letter of the hemisphere."
    elif np.percentile(np.abs(o), 95) <= 90 and np.percentile(np.abs(a), 95) <= 180:
        text, cure = f"'{lat}' holds values beyond 90: latitude and longitude look swapped", "Swap the two names, or give a recipe."
    elif _run_together(a, o):
        text = f"'{lat}' and '{lon}' look like degrees and minutes run together (4355.6 for 43° 55.6'), without a sign for south or west"
        cure = "Export decimal degrees, or give a recipe with the unit ddmm if they lie north and east."
    else:
        text = f"'{lat}' and '{lon}' are no degrees: values reach {np.max(np.abs(a)):.0f} and {np.max(np.abs(o)):.0f}; they look projected"
        cure = "Name them northing and easting and give the coordinate system, for example --crs EPSG:32615."
    asked.append(Question(kind="crs", text=text, cure=cure, column=lat))


def _run_together(a: FloatArray, o: FloatArray) -> bool:
    """Whether numbers can be degrees and minutes run together: minutes below 60, places on earth, and more than degrees alone."""
    minutes = np.all((np.abs(a) % 100) < 60) and np.all((np.abs(o) % 100) < 60)
    return bool(minutes and np.percentile(np.abs(a), 95) <= 9000 and 180 < np.percentile(np.abs(o), 95) <= 18000)


def _written_degrees(lat: str, lon: str, sample: Sample) -> bool:
    """Whether nearly all cells are degrees written out, within their ranges."""
    for column, most in ((lat, 90), (lon, 180)):
        cells = [c for c in sample.cells(column)[:WRITTEN_ROWS] if c and c.strip()]
        found = [d for c in cells if math.isfinite(d := degrees_of(c))]
        if not cells or len(found) < 0.9 * len(cells) or any(abs(d) > most for d in found):
            return False
    return True


def _projected(east: str, north: str, sample: Sample, guesses: dict[str, ColumnGuess], asked: list[Question], crs: str | None) -> None:
    e, n = _finite(sample, east), _finite(sample, north)
    sure: Sure = "sure" if crs else "unsure"
    for column, role in ((east, "east"), (north, "north")):
        guesses[column] = _guess(column, role, sure, "name" + (f", and the coordinate system {crs} was given" if crs else ""))
    if crs:
        return
    if e.size and n.size and np.percentile(np.abs(e), 95) <= 180 and np.percentile(np.abs(n), 95) <= 90:
        text = f"'{east}' and '{north}' have no coordinate system; these look like degrees"
        cure = "If they are longitude and latitude, give --crs EPSG:4326; if they are metres, name the projected system."
    else:
        text = f"'{east}' and '{north}' are projected numbers and the file does not say in which coordinate system"
        cure = "Give it, for example --crs EPSG:32615 (UTM zone 15 north); the program that wrote the file knows it."
    asked.append(Question(kind="crs", text=text, cure=cure, column=east))


# times


def _times(
    named: dict[str, Named], sample: Sample, guesses: dict[str, ColumnGuess], asked: list[Question], start: str | None, zone: str | None
) -> TimeGuess:
    times, dates, clocks = _of_role(named, "time"), _of_role(named, "date"), _of_role(named, "clock")
    chosen = times[0] if times else clocks[0] if clocks else dates[0] if dates else None
    for spare in [*times, *clocks]:
        if spare != chosen:
            guesses[spare] = _guess(spare, "ignore", "likely", "another time column is used")
    if chosen is None:
        asked.append(Question(kind="column", text="no time column is recognised", cure="Name it time, or give a recipe."))
        return TimeGuess()
    guess = guess_time(sample.cells(chosen), sample.cells(dates[0]) if dates and dates[0] != chosen else None, named[chosen].unit)
    if dates and dates[0] != chosen:
        guesses[dates[0]] = _guess(dates[0], "date", "sure", "name; joined with the time of day") if guess.uses_date else _guess(
            dates[0], "ignore", "likely", "the time column carries its own date"
        )  # fmt: skip
    sure: Sure = "unsure" if guess.question else "sure" if guess.certain else "likely"
    guesses[chosen] = _guess(chosen, "time", sure, guess.why, unit=guess.unit)
    if guess.question:
        asked.append(Question(kind="time", text=f"'{chosen}': {guess.question}", cure=guess.cure, column=chosen))
    elif guess.unit in ("s", "ms", "clock") and not start:
        asked.append(
            Question(
                kind="time",
                text=f"'{chosen}' counts from a start that the file does not name; times are counted from 1970-01-01 until it is given",
                cure="Give --start, for example 2027-05-04T08:12:00-06:00.",
                column=chosen,
                blocking=False,
            )
        )
    elif guess.unit == "text" and not guess.zone and not zone:
        asked.append(
            Question(
                kind="time",
                text=f"'{chosen}' does not say its offset from UTC; it is taken as UTC until it is given",
                cure="Give --zone, for example -06:00.",
                column=chosen,
                blocking=False,
            )
        )
    return guess


def _reference(sample: Sample, guesses: dict[str, ColumnGuess], times: TimeGuess, crs: str | None) -> None:
    """Steps in metres and seconds from positions and times, to hold other columns against."""
    roles = {g.use.role: c for c, g in guesses.items()}
    if "lat" in roles and "lon" in roles:
        lat, lon = sample.number[roles["lat"]], sample.number[roles["lon"]]
        if crs and not _geographic(crs):
            return
        here = np.radians(np.nanmedian(lat)) if np.isfinite(lat).any() else 0.0
        x, y = np.radians(lon) * 6378137.0 * math.cos(here), np.radians(lat) * 6363000.0
    elif "east" in roles and "north" in roles and not (crs and _geographic(crs)):
        x, y = sample.number[roles["east"]], sample.number[roles["north"]]
    else:
        return
    sample.step_m = np.hypot(np.diff(x), np.diff(y))
    if times.seconds is not None:
        sample.dt_s = np.diff(times.seconds)


def _geographic(crs: str) -> bool:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        return bool(CRS.from_user_input(crs).is_geographic)
    except CRSError:
        return False


# everything else


def _other(column: str, named: Named, sample: Sample, asked: list[Question]) -> ColumnGuess:
    role = named.role
    values = _finite(sample, column)
    if role == "ignore":
        return _guess(column, "ignore", "sure", "a row number")
    if role in ("section", "run", "work", "lifted", "sections"):
        return _state(column, named, sample, asked)
    if values.size == 0:
        return _guess(column, "ignore", "likely", "holds no numbers" if sample.words(column) else "empty")
    if role == "speed":
        return _measured(column, named, sample, asked, SPEEDS, _speed_ratio(sample, column))
    if role in ("step", "distance"):
        return _distance(column, named, sample, asked)
    if role == "interval":
        return _interval(column, named, sample)
    if role == "heading":
        fits = values.min() >= -180 and values.max() <= 360
        return _guess(column, "heading" if fits else "extra", "likely", "name and range" if fits else "no angle in degrees", unit="deg")
    if role == "fix":
        whole = bool(np.all(values == np.round(values)) and values.min() >= 0 and values.max() <= 9)
        return _guess(
            column,
            "fix" if whole and named.certain else "extra",
            "likely",
            "name, and whole numbers from 0 to 9" if whole else "no fix codes",
        )
    if role == "turns":
        grows = _growing(values)
        if grows:
            return _guess(column, "turns", "likely", "name, and it only grows", unit="turns", named=named)
        return _guess(column, "extra", "likely", "no counter of turns: it does not grow", unit=named.unit)
    if role in QUANTITY or role == "mass_rate":
        return _with_unit(column, named, values, asked)
    return _guess(column, "extra", "sure", "kept under its own name", unit=named.unit)


def _state(column: str, named: Named, sample: Sample, asked: list[Question]) -> ColumnGuess:
    from evenstand.formats.states import WORDS, is_states

    words = sample.words(column)
    if named.role == "sections":
        if words and all(re.fullmatch(r"[01]+", w) for w in words) and len({len(w) for w in words}) == 1 and len(next(iter(words))) > 1:
            return _guess(column, "sections", "likely", "name, and ones and zeros of one length, left first")
        asked.append(
            Question(
                kind="column",
                text=f"'{column}' may pack sections in one number; the order is not known",
                cure="Export one column a section.",
                column=column,
                blocking=False,
            )
        )
        return _guess(column, "sections", "unsure", "packed in an unknown order")
    if words and is_states(words):
        sure: Sure = "sure" if named.certain else "likely"
        return _guess(column, named.role, sure, f"name, and only {' / '.join(sorted(words)[:4])}", named=named)
    if named.role == "run" and words and _finite(sample, column).size:
        return _guess(column, "extra", "likely", "numbers of a run that are no yes or no", unit=named.unit)
    return _guess(column, "ignore", "likely", f"its words are none of {', '.join(sorted(WORDS)[:6])} ..." if words else "empty")


def _speed_ratio(sample: Sample, column: str) -> float | None:
    """The column's numbers over the speed the positions show; None where that cannot be told. [unit/(m/s)]"""
    if sample.step_m is None or sample.dt_s is None:
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        real = sample.step_m / sample.dt_s
    return _ratio(sample.number[column][1:], real, (sample.dt_s > 0) & (real > 0.4) & (real < 15))


def _ratio(shown: FloatArray, real: FloatArray, good: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> float | None:
    with np.errstate(invalid="ignore"):
        use = good & np.isfinite(shown) & np.isfinite(real) & (shown > 0) & (real > 0)
    if int(use.sum()) < 20:
        return None
    ratio = shown[use] / real[use]
    middle = float(np.median(ratio))
    spread = float(np.median(np.abs(np.log(ratio / middle))))
    return middle if spread < 0.25 else None


def _measured(
    column: str, named: Named, sample: Sample, asked: list[Question], units: tuple[str, ...], ratio: float | None, role: str = ""
) -> ColumnGuess:
    """A column whose unit the positions can confirm, contradict or supply."""
    role = role or named.role
    seen = _nearest(ratio, role, units)
    if named.unit and valid_unit(role, named.unit):
        if ratio is None:
            return _guess(
                column,
                role,
                "likely" if named.certain else "unsure",
                "name and unit; the positions cannot confirm it here",
                unit=named.unit,
            )
        off = abs(math.log(ratio * factor_of(role, named.unit)))
        if off > CONTRADICTS and seen and seen != named.unit:
            asked.append(
                Question(
                    kind="unit",
                    column=column,
                    text=f"'{column}' says {named.unit}, but against the positions its numbers are {seen}",
                    cure="Correct the unit in the header, or give a recipe that names it.",
                    options=(named.unit, seen),
                )
            )
            return _guess(column, role, "unsure", f"the name says {named.unit}, the positions say {seen}", unit=named.unit)
        why = f"name and unit; {100 * (ratio * factor_of(role, named.unit) - 1):+.1f} % against the positions"
        return _guess(column, role, "sure" if off <= MATCH else "likely" if off <= CONTRADICTS else "unsure", why, unit=named.unit)
    if seen:
        return _guess(column, role, "likely", f"name; against the positions the numbers are {seen} within {100 * MATCH:.0f} %", unit=seen)
    asked.append(
        Question(
            kind="unit", column=column, text=f"'{column}' has no unit and the positions do not settle it", options=units,
            cure=f"Write it in the header, such as '{column} ({units[0]})', or in a recipe.", blocking=False,
        )
    )  # fmt: skip
    return _guess(column, role, "unsure", "the unit is not known")


def _nearest(ratio: float | None, role: str, units: tuple[str, ...]) -> str:
    """The one unit that explains the ratio, "" if none does or two could."""
    if ratio is None:
        return ""
    off = sorted((abs(math.log(ratio * factor_of(role, u))), u) for u in units)
    return off[0][1] if off[0][0] <= MATCH and (len(off) == 1 or off[1][0] >= CLEAR) else ""


def _growing(values: FloatArray) -> bool:
    step = np.diff(values)
    return bool(values.size > 2 and (step >= 0).mean() > 0.98 and values[-1] > values[0])


def _distance(column: str, named: Named, sample: Sample, asked: list[Question]) -> ColumnGuess:
    values = sample.number[column]
    clean = values[np.isfinite(values)]
    total = named.role == "distance" or (
        _growing(clean) and clean.size > 20 and clean[-1] > 20 * max(float(np.median(np.abs(np.diff(clean)))), 1e-9)
    )
    shown = np.diff(values) if total else values[1:]
    ratio = None
    if sample.step_m is not None:
        dt = sample.dt_s if sample.dt_s is not None else np.ones(sample.step_m.size)
        usual = np.median(dt[dt > 0]) if (dt > 0).any() else 1.0
        ratio = _ratio(shown, sample.step_m, (dt > 0) & (dt < 1.5 * usual) & (sample.step_m > 0.3) & (sample.step_m < 15 * usual))
    units = tuple(u for u in LENGTHS if u != "yd")
    return _measured(column, named, sample, asked, units, ratio, role="distance" if total else "step")


def _interval(column: str, named: Named, sample: Sample) -> ColumnGuess:
    values = _finite(sample, column)
    if sample.dt_s is not None:
        shown = sample.number[column][1:]
        dt = sample.dt_s
        good = np.isfinite(shown) & np.isfinite(dt) & (dt > 0)
        if good.sum() > 20 and abs(float(np.median(shown[good] / dt[good])) - 1) < 0.02 and values.min() >= 0:
            return _guess(column, "interval", "sure", "equals the time between rows", unit="s")
    return _guess(column, "extra", "likely", "not the time between rows", unit=named.unit)


def _with_unit(column: str, named: Named, values: FloatArray, asked: list[Question]) -> ColumnGuess:
    unit = named.unit
    role = named.role
    if role == "area" and not _growing(values):
        return _guess(column, "extra", "likely", "no counter: it does not grow", unit=unit)
    if unit and valid_unit(role, unit):
        return _guess(column, role, "sure" if named.certain else "likely", "name and unit", unit=unit, named=named)
    example = {"area": "ha", "mass_rate": "kg/s", "fan": "rpm"}.get(role, "kg/ha")
    asked.append(
        Question(
            kind="unit", column=column, text=f"'{column}' has no unit" if not unit else f"'{unit}' is no unit of '{column}'",
            cure=f"Write it in the header, such as '{column} ({example})', or in a recipe; until then it is left out.", blocking=False,
        )
    )  # fmt: skip
    return _guess(column, role, "unsure", "the unit is not known", unit=unit, named=named)


def _one_each(guesses: dict[str, ColumnGuess], asked: list[Question]) -> None:
    """Two columns for one thing: the first is kept, the rest are asked for."""
    seen: dict[tuple[str, str, int], str] = {}
    for column, guess in list(guesses.items()):
        use = guess.use
        if use.role in ("extra", "ignore") or guess.sure == "unsure":
            continue
        key = (use.role if use.role != "distance" else "step", use.bin, use.number)
        if key not in seen:
            seen[key] = column
            continue
        guesses[column] = replace(guess, sure="unsure", why=f"'{seen[key]}' is already taken for this")
        asked.append(
            Question(
                kind="column", column=column, text=f"'{column}' and '{seen[key]}' both look like {use.role}; '{seen[key]}' is used",
                cure="Name the right one in a recipe.", blocking=False,
            )
        )  # fmt: skip
