"""Which columns say where: degrees in their several writings, projected numbers and their coordinate system."""

from __future__ import annotations

import math
import re

import numpy as np

from evenstand.formats.angles import DEGREES_MINUTES, LETTERED, degrees_of, from_run_together, writing_of
from evenstand.formats.bydata import no_unit_of
from evenstand.formats.columns import ColumnGuess, Question, Sure
from evenstand.formats.naming import Named
from evenstand.formats.sampling import Sample, finite, guess_of, of_role
from evenstand.formats.times import TimeGuess
from evenstand.model.place import FloatArray

WRITTEN_ROWS = 300
TEN_MILLION = 1e7
SIDE = {"w": "west of Greenwich", "s": "south of the equator"}
UNSIGNED = {"w": "lon deg west", "s": "lat deg south"}
FOOT_M = {"ft": 0.3048, "us-ft": 1200 / 3937, "m": 1.0}
HEMISPHERES = {"lat": {"n", "s"}, "lon": {"e", "w", "o"}}
"""Letters of the hemisphere; o stands for Ost and Ouest alike and is asked for."""
_CODE = re.compile(r"\bEPSG\s*[:# ]\s*(\d{4,6})\b", re.IGNORECASE)
_ZONE = re.compile(r"\bWGS\s?_?84\b.*\bUTM\b\D*(\d{1,2})\s?N\b", re.IGNORECASE)


def told_system(preamble: tuple[str, ...]) -> tuple[str, int]:
    """A coordinate system named in the lines above the header, and the number of that line; "" if there is none or more than one.

    >>> told_system(("field 7", "# grid: WGS 84 / UTM zone 13N"))
    ('EPSG:32613', 2)
    """
    found: dict[str, int] = {}
    for number, line in enumerate(preamble, start=1):
        found |= {f"EPSG:{m[1]}": number for m in _CODE.finditer(line)}
        zone = _ZONE.search(line)
        if zone and 1 <= int(zone[1]) <= 60 and not _CODE.search(line):
            found[f"EPSG:{32600 + int(zone[1])}"] = number
    return next(iter(found.items())) if len(found) == 1 else ("", 0)


def propose_positions(
    named: dict[str, Named], sample: Sample, guesses: dict[str, ColumnGuess], asked: list[Question], crs: str | None, above: str = ""
) -> None:
    """Position columns. crs: told; above: the line above the header that names it, if that is where it comes from."""
    lat, lon = _fitting(named, sample, "lat"), _fitting(named, sample, "lon")
    north, east = _fitting(named, sample, "north"), _fitting(named, sample, "east")
    if not (lat and lon) and not (east and north):
        lat, lon = lat or _with_letters(named, sample, "NS"), lon or _with_letters(named, sample, "EW")
    if lat and lon:
        _degrees(lat[0], lon[0], named, sample, guesses, asked)
    elif east and north:
        _projected(east[0], north[0], named, sample, guesses, asked, crs, above)
    else:
        have = ", ".join(named) or "none"
        half = "longitude" if lat else "latitude" if lon else "position"
        cure = "Name the columns lon and lat (or easting and northing), or give a recipe."
        asked.append(Question(kind="column", text=f"no {half} column is recognised among: {have}", cure=cure))
    for spare in of_role(named, "lat", "lon", "north", "east"):
        if spare not in guesses:
            guesses[spare] = guess_of(spare, "ignore", "likely", "another position column is used")
    for letter in of_role(named, "hemisphere"):
        guesses.setdefault(letter, guess_of(letter, "extra", "likely", "kept under its own name"))


def _fitting(named: dict[str, Named], sample: Sample, role: str) -> list[str]:
    """Columns of a role of place, those first whose numbers can be one; a name partly known counts only if they can."""
    found = [c for c in of_role(named, role) if not no_unit_of(named[c], "lat", "lon", "east", "north")]
    most = {"lat": 90.0, "lon": 180.0}.get(role, 0.0)

    def unfit(column: str) -> bool:
        values = finite(sample, column)
        if not values.size:
            return not _with_letters({column: named[column]}, sample, "NSEW")
        step = np.abs(np.diff(values))
        still = not bool((step > 0).any())
        return still or (
            most > 0 and not named[column].certain and float(np.percentile(np.abs(values), 95)) > most and not _run_together_alone(values)
        )

    fit = [c for c in found if not (named[c].soft and unfit(c))]
    return sorted(fit, key=lambda c: (not named[c].certain, unfit(c)))


def _run_together_alone(values: FloatArray) -> bool:
    return bool(np.all((np.abs(values) % 100) < 60) and np.percentile(np.abs(values), 95) <= 18000)


def _with_letters(named: dict[str, Named], sample: Sample, letters: str) -> list[str]:
    """Columns whose cells are degrees written out with one of these letters, whatever they are called."""
    out = []
    for column in named:
        cells = [c.strip() for c in sample.head.get(column, ()) if c and c.strip()]
        hits = [
            c for c in cells if re.search(rf"^[{letters}]|[{letters}]$", c) and math.isfinite(degrees_of(c)) and re.search(r"\d\D+\d", c)
        ]
        if cells and len(hits) >= 0.9 * len(cells):
            out.append(column)
    return out


def _degrees(lat: str, lon: str, named: dict[str, Named], sample: Sample, guesses: dict[str, ColumnGuess], asked: list[Question]) -> None:
    a, o = finite(sample, lat), finite(sample, lon)
    letters = _hemispheres(named, sample, guesses)
    scale = TEN_MILLION if named[lat].unit == "e7" and named[lon].unit == "e7" else 1.0
    a, o = a / scale, o / scale
    inside = a.size and o.size and np.percentile(np.abs(a), 95) <= 90 and np.percentile(np.abs(o), 95) <= 180
    unsigned = [c for c, v in ((lat, a), (lon, o)) if named[c].letter in ("s", "w") and v.size and bool((v > 0).all())]
    if unsigned:
        for column, role in ((lat, "lat"), (lon, "lon")):
            guesses[column] = guess_of(column, role, "unsure", "a letter in the name, and no sign in the numbers", unit="deg")
        letter = named[unsigned[0]].letter
        cure = f"If all of it lies {SIDE[letter]}, say so: --column '{unsigned[0]}={UNSIGNED[letter]}'; else export signed degrees."
        text = f"the name of '{unsigned[0]}' says {named[unsigned[0]].letter.upper()}, and its numbers carry no sign"
        asked.append(Question(kind="crs", text=text, cure=cure, column=unsigned[0]))
        return
    plain: Sure = "sure" if named[lat].certain and named[lon].certain else "likely"
    if inside and (plain == "sure" or _moves_as_degrees(sample.number[lat] / scale, sample.number[lon] / scale)):
        unit, as_written = ("deg", "") if scale == 1.0 else ("e7", ", in ten-millionths of a degree")
        guesses[lat] = guess_of(lat, "lat", plain, "name, and values within -90 to 90" + as_written, unit=unit)
        guesses[lon] = guess_of(lon, "lon", plain, "name, and values within -180 to 180" + as_written, unit=unit)
        return
    if _written_degrees(lat, lon, sample):
        guesses[lat] = guess_of(lat, "lat", "sure", "name, and degrees written out within -90 to 90", unit=LETTERED)
        guesses[lon] = guess_of(lon, "lon", "sure", "name, and degrees written out within -180 to 180", unit=LETTERED)
        return
    signed = bool(np.any(a < 0) or np.any(o < 0)) or {"lat", "lon"} <= letters
    if a.size and o.size and _run_together(a, o) and signed:
        why = "name, and degrees and minutes run together: no value ends in 60 minutes or more"
        guesses[lat] = guess_of(lat, "lat", "likely", why, unit=DEGREES_MINUTES)
        guesses[lon] = guess_of(lon, "lon", "likely", why, unit=DEGREES_MINUTES)
        return
    for column, role in ((lat, "lat"), (lon, "lon")):
        guesses[column] = guess_of(column, role, "unsure", "the name says so, the values do not", unit="deg")
    text, cure = _why_no_degrees(lat, lon, a, o)
    asked.append(Question(kind="crs", text=text, cure=cure, column=lat))


def _why_no_degrees(lat: str, lon: str, a: FloatArray, o: FloatArray) -> tuple[str, str]:
    if not a.size or not o.size:
        text = f"'{lat}' and '{lon}' hold neither numbers nor degrees written out"
        return text, "Export decimal degrees, or degrees with minutes and the letter of the hemisphere."
    if np.percentile(np.abs(o), 95) <= 90 and 90 < np.percentile(np.abs(a), 95) <= 180:
        return f"'{lat}' holds values beyond 90: latitude and longitude look swapped", "Swap the two names, or give a recipe."
    if _run_together(a, o):
        text = f"'{lat}' and '{lon}' look like degrees and minutes run together (4355.6 for 43° 55.6'), without a sign for south or west"
        return text, "Export decimal degrees, or give a recipe with the unit ddmm if they lie north and east."
    if np.max(np.abs(a)) <= 90 and np.max(np.abs(o)) <= 180:
        return f"'{lat}' and '{lon}' may be no place: their values do not move as a machine does", "Give a recipe that names the positions."
    text = f"'{lat}' and '{lon}' are no degrees: values reach {np.max(np.abs(a)):.0f} and {np.max(np.abs(o)):.0f}; they look projected"
    return text, "Name them northing and easting and give the coordinate system, for example --crs EPSG:32615."


def _moves_as_degrees(lat: FloatArray, lon: FloatArray) -> bool:
    """Whether numbers move from row to row as a machine on a field does: by metres, and not always by nothing."""
    step = np.hypot(*_metres(lat, lon)[:2])
    good = step[np.isfinite(step)]
    return bool(good.size > 2 and 0.0 < np.median(good) < 200.0)


def _metres(lat: FloatArray, lon: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Steps from row to row, east and north. [m]"""
    here = np.radians(np.nanmedian(lat)) if np.isfinite(lat).any() else 0.0
    with np.errstate(over="ignore", invalid="ignore"):  # absurd numbers are told as such later
        return np.diff(np.radians(lon)) * 6_378_137.0 * math.cos(here), np.diff(np.radians(lat)) * 6_363_000.0


def _hemispheres(named: dict[str, Named], sample: Sample, guesses: dict[str, ColumnGuess]) -> set[str]:
    """Columns of hemisphere letters, by their letters; which of latitude and longitude have one."""
    out: set[str] = set()
    for column in of_role(named, "hemisphere"):
        words = sample.words(column)
        for axis, letters in HEMISPHERES.items():
            if words and words <= letters and "o" not in words and axis not in out:
                shown = " / ".join(sorted(w.upper() for w in words))
                guesses[column] = guess_of(column, "hemisphere", "sure", f"name, and only {shown}: the sign of the {axis}", unit=axis)
                out.add(axis)
    return out


def _run_together(a: FloatArray, o: FloatArray) -> bool:
    """Whether numbers can be degrees and minutes run together: minutes below 60, places on earth, and more than degrees alone."""
    minutes = np.all((np.abs(a) % 100) < 60) and np.all((np.abs(o) % 100) < 60)
    reach = np.percentile(np.abs(a), 95), np.percentile(np.abs(o), 95)
    return bool(minutes and reach[0] <= 9000 and reach[1] <= 18000 and (reach[1] > 180 or reach[0] > 180))


def _written_degrees(lat: str, lon: str, sample: Sample) -> bool:
    """Whether nearly all cells are degrees written out, within their ranges."""
    for column, most in ((lat, 90), (lon, 180)):
        cells = [c for c in sample.cells(column)[:WRITTEN_ROWS] if c and c.strip()]
        found = [d for c in cells if math.isfinite(d := degrees_of(c))]
        if not cells or len(found) < 0.9 * len(cells) or any(abs(d) > most for d in found):
            return False
    return True


def _projected(
    east: str, north: str, named: dict[str, Named], sample: Sample, guesses: dict[str, ColumnGuess], asked: list[Question],
    crs: str | None, above: str,
) -> None:  # fmt: skip
    e, n = finite(sample, east), finite(sample, north)
    sure: Sure = "unsure" if not crs else "likely" if above else "sure"
    said = "" if not crs else f", and the coordinate system {crs} was given" if not above else f", and {above} names {crs}"
    unit = named[east].unit if named[east].unit in FOOT_M else ""
    for column, role in ((east, "east"), (north, "north")):
        guesses[column] = guess_of(column, role, sure, "name" + said, unit=unit)
    own = axis_metres(crs) if crs else 0.0
    if own and unit and abs(FOOT_M[unit] / own - 1) > 0.01:
        for column in (east, north):
            guesses[column] = guess_of(column, guesses[column].use.role, "unsure", f"the name says {unit}, {crs} does not", unit=unit)
        text = f"'{east}' and '{north}' say {unit}, but {crs} does not count in {unit}"
        asked.append(Question(kind="crs", text=text, cure="Give the coordinate system the file was written in.", column=east))
    if crs:
        return
    if e.size and n.size and np.percentile(np.abs(e), 95) <= 180 and np.percentile(np.abs(n), 95) <= 90:
        text = f"'{east}' and '{north}' have no coordinate system; these look like degrees"
        cure = "If they are longitude and latitude, give --crs EPSG:4326; if they are metres, name the projected system."
    else:
        text = f"'{east}' and '{north}' are projected numbers and the file does not say in which coordinate system"
        cure = "Give it, for example --crs EPSG:32615 (UTM zone 15 north); the program that wrote the file knows it."
    asked.append(Question(kind="crs", text=text, cure=cure, column=east))


def axis_metres(crs: str) -> float:
    """Metres in one unit of a projected system; 0 if it is none. [m]"""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        system = CRS.from_user_input(crs)
    except CRSError:
        return 0.0
    return 0.0 if system.is_geographic or not system.axis_info else float(system.axis_info[0].unit_conversion_factor)


def take_reference(sample: Sample, guesses: dict[str, ColumnGuess], times: TimeGuess, crs: str | None) -> None:
    """Steps in metres and seconds and bearings from positions and times, to hold other columns against. Whether the steps are metres is
    known for degrees, and for projected numbers whose system or name says their unit."""
    uses = {g.use.role: g.use for g in guesses.values()}
    if "lat" in uses and "lon" in uses:
        if crs and not is_geographic(crs):
            return
        letters = {g.use.unit: g.use.name for g in guesses.values() if g.use.role == "hemisphere"}
        lat, lon = (_as_degrees(uses[r].name, uses[r].unit, sample, letters.get(r, "")) for r in ("lat", "lon"))
        dx, dy = _metres(lat, lon)
    elif "east" in uses and "north" in uses and not (crs and is_geographic(crs)):
        scale = axis_metres(crs) if crs else FOOT_M.get(uses["east"].unit, 0.0)
        sample.metre_known = scale > 0
        with np.errstate(over="ignore", invalid="ignore"):
            dx, dy = (np.diff(sample.number[uses[r].name]) * (scale or 1.0) for r in ("east", "north"))
    else:
        return
    with np.errstate(over="ignore", invalid="ignore"):
        sample.step_m = np.hypot(dx, dy)
    sample.bearing_deg = np.degrees(np.arctan2(dx, dy)) % 360.0
    if times.seconds is not None:
        sample.dt_s = np.diff(times.seconds)


def _as_degrees(column: str, unit: str, sample: Sample, letters: str) -> FloatArray:
    unit, side = writing_of(unit)
    if unit == LETTERED:
        written = np.array([degrees_of(c) if c else math.nan for c in sample.cells(column)])
        return -np.abs(written) if side else written
    values = np.asarray(from_run_together(sample.number[column]) if unit == DEGREES_MINUTES else sample.number[column])
    values = -np.abs(values) if side else values
    values = values / TEN_MILLION if unit == "e7" else values
    if not letters:
        return values
    below = np.array([(c or "").strip().lower() in ("s", "w") for c in sample.cells(letters)])
    return np.where(below, -np.abs(values), values)


def is_geographic(crs: str) -> bool:
    """Whether a coordinate system counts in degrees; not if it is none."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        return bool(CRS.from_user_input(crs).is_geographic)
    except CRSError:
        return False
