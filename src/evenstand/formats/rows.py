"""From cells to a trail: rows judged one by one, put in time order, and accounted for."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from evenstand.base.errors import CrsError, FileError
from evenstand.formats.assembling import STATES, columns_of, fixed, taken
from evenstand.formats.clocks import Clock, read_times, whole_hours
from evenstand.formats.columns import ColumnUse, factor_of
from evenstand.formats.layouts import Layout, lines_at
from evenstand.formats.nonrows import better_reason, refuse_other_header
from evenstand.formats.ordering import flags_of, in_order, spread
from evenstand.formats.placing import is_geographic
from evenstand.formats.recipes import Recipe
from evenstand.model.place import FloatArray, Frame, IntArray
from evenstand.model.trail import BoolArray, SetAside, Trail

if TYPE_CHECKING:
    from evenstand.formats.cells import Table

MOST_TEXTS = 500
MOST_SHARE_ASIDE = 0.5
NEVER_NEGATIVE = ("speed", "step", "asked", "echoed", "fan", "mass_rate", "interval")
NAMES = {
    "speed": "speed", "step": "distance since the row before", "asked": "rate asked for", "echoed": "reported rate", "fan": "fan speed",
    "mass_rate": "mass a second", "interval": "seconds of the row",
}  # fmt: skip


class Ledger:
    """Which rows are kept, repaired or set aside, and why; the first reason to set a row aside counts."""

    def __init__(self, rows: int) -> None:
        self.aside: dict[int, str] = {}
        self.mended: dict[int, list[str]] = {}
        self.keep: BoolArray = np.ones(rows, dtype=np.bool_)

    def set_aside(self, rows: IntArray, reason: str | list[str]) -> None:
        """Set rows aside that are still kept."""
        reasons = [reason] * rows.size if isinstance(reason, str) else reason
        for row, text in zip(rows.tolist(), reasons, strict=True):
            if self.keep[row]:
                self.aside[row] = text
        self.keep[rows] = False

    def repair(self, rows: IntArray, reason: str | list[str]) -> None:
        """Note a repair of rows that are kept."""
        reasons = [reason] * rows.size if isinstance(reason, str) else reason
        for row, text in zip(rows.tolist(), reasons, strict=True):
            if self.keep[row]:
                self.mended.setdefault(row, []).append(text)

    def settle(self) -> None:
        """Forget repairs of rows that were set aside after all: each row counts once."""
        self.mended = {row: reasons for row, reasons in self.mended.items() if self.keep[row]}


def build_trail(name: str, layout: Layout, recipe: Recipe, table: Table, notes: list[str], *, aside: dict[int, str] | None = None) -> Trail:
    """A trail from the cells of a file.

    Parameters
    ----------
    name : str
        The file's name. [-]
    layout : Layout
        Line numbers, fields a record. [-]
    recipe : Recipe
        What each column is. [-]
    table : Table
        The cells. [-]
    notes : list of str
        What has been noted so far. [-]
    aside : dict or None
        Rows the reader has set aside already, with the reason. [-]

    Returns
    -------
    Trail
        In time order; kept + repaired + set aside = rows read. [-]

    Raises
    ------
    FileError
        If fewer than two rows, or less than half of them, can be used.
    """
    ledger = Ledger(layout.line.size)
    ledger.keep[layout.blank] = False
    for row, reason in (aside or {}).items():
        ledger.set_aside(np.array([row]), reason)
    clock = Clock()
    t_ms, place, values = judged(layout, recipe, table, ledger, clock, most_fields(layout, ledger.keep))
    notes += clock.notes()
    _duplicates(t_ms, place, values, ledger, layout)
    enough(name, layout.rows, int(ledger.keep.sum()), Counter(map(kind_of_reason, ledger.aside.values())))
    ledger.settle()
    order, t_ordered = in_order(t_ms, place, bool(recipe.use("lat")), ledger, notes)
    t_sorted = spread(t_ordered, notes)
    frame, xy = _framed(taken(place, order), recipe, name, notes)
    columns = columns_of(recipe, values, table, order, ledger, notes)
    flags = flags_of(t_sorted, xy, ledger, order, layout, notes)
    texts = lines_at(layout, sorted(int(layout.line[r]) for r in [*ledger.aside, *ledger.mended])[:MOST_TEXTS])
    for r in ledger.aside if layout.delimiter else ():
        text = texts.get(int(layout.line[r]), "")
        refuse_other_header(text, layout.header, layout.delimiter, name, int(layout.line[r]))
        ledger.aside[r] = better_reason(ledger.aside[r], text, layout.header, layout.delimiter, layout.units)
    blank = int(layout.blank.sum())
    if blank:
        notes.append(f"{blank} empty line{'s' if blank > 1 else ''} passed over.")
    return Trail(
        frame=frame,
        t_ms=fixed(t_sorted),
        xy_m=fixed(xy),
        flags=fixed(flags),
        rows=layout.rows,
        kept=layout.rows - len(ledger.aside) - len(ledger.mended),
        repaired=_listed(ledger.mended, layout, texts),
        set_aside=_listed({r: [text] for r, text in ledger.aside.items()}, layout, texts),
        notes=tuple(notes),
        file_hash=layout.file_hash,
        **columns,
    )


def judged(
    layout: Layout, recipe: Recipe, table: Table, ledger: Ledger, clock: Clock, most: int
) -> tuple[FloatArray, FloatArray, dict[ColumnUse, FloatArray]]:
    """Rows judged one by one: times [ms], positions as in the file, metric numbers of every other column. most: fields a row may have."""
    _ragged(layout, ledger, most)
    t_ms = read_times(recipe, table, ledger, clock)
    place = _positions(recipe, table, ledger)
    t_ms = whole_hours(t_ms, place, bool(recipe.use("lat")), recipe, ledger, clock, layout.line)
    values = _values(recipe, table, ledger)
    _negatives(recipe, values, ledger)
    return t_ms, place, values


def _listed(rows: dict[int, list[str]], layout: Layout, texts: dict[int, str]) -> tuple[SetAside, ...]:
    return tuple(
        SetAside(line=int(layout.line[r]), reason="; ".join(reasons), text=texts.get(int(layout.line[r]), ""))
        for r, reasons in sorted(rows.items())
    )


def most_fields(layout: Layout, keep: BoolArray) -> int:
    """Most fields a row may have; one empty field too many in every row is a habit of some writers, not a fault."""
    want = len(layout.header)
    usual = Counter(layout.fields[keep][:2000].tolist()).most_common(1)
    return max(want, usual[0][0]) if usual and usual[0][0] == want + 1 else want


def _ragged(layout: Layout, ledger: Ledger, most: int) -> None:
    """Rows with too few or too many fields."""
    want = len(layout.header)
    short = np.flatnonzero(ledger.keep & (layout.fields < want))
    ledger.set_aside(short, [f"{layout.fields[r]} of {want} fields" for r in short])
    long = np.flatnonzero(ledger.keep & (layout.fields > most))
    ledger.set_aside(long, [f"{layout.fields[r]} fields where the header has {want}" for r in long])


def _one(recipe: Recipe, *roles: str) -> ColumnUse | None:
    found = recipe.use(*roles)
    return found[0] if found else None


def _positions(recipe: Recipe, table: Table, ledger: Ledger) -> FloatArray:
    """Positions (n,2) as in the file, first east or longitude; rows without one are set aside."""
    degrees = bool(recipe.use("lat"))
    first, second = (_one(recipe, "lon"), _one(recipe, "lat")) if degrees else (_one(recipe, "east"), _one(recipe, "north"))
    if first is None or second is None:
        raise FileError("no position columns", where="recipe", cure="Give lon and lat, or east and north.")
    for use in (first, second):
        ledger.set_aside(table.bad[use.name], f"'{use.name}' is no number")
    east, north = table.number[first.name], table.number[second.name]
    place = np.column_stack([east, north])
    ledger.set_aside(np.flatnonzero(ledger.keep & ~(np.isfinite(east) & np.isfinite(north))), "no position")
    ledger.set_aside(np.flatnonzero(ledger.keep & (east == 0) & (north == 0)), "no fix: the position is 0, 0")
    if degrees or (recipe.crs and is_geographic(recipe.crs)):
        wild = np.flatnonzero(ledger.keep & ((np.abs(east) > 180) | (np.abs(north) > 90)))
        ledger.set_aside(wild, [f"no place on earth: {place[r, 0]:g}, {place[r, 1]:g}" for r in wild])
    fix = _one(recipe, "fix")
    if fix is not None:
        ledger.set_aside(np.flatnonzero(ledger.keep & (table.number[fix.name] == 0)), f"no fix: '{fix.name}' is 0")
    return place


def _values(recipe: Recipe, table: Table, ledger: Ledger) -> dict[ColumnUse, FloatArray]:
    """Metric numbers of every other column; cells that are no number are left empty, which repairs the row."""
    out: dict[ColumnUse, FloatArray] = {}
    for use in recipe.columns:
        if use.name not in table.number or use.role in ("time", "clock", "date", "lat", "lon", "east", "north", "fix"):
            continue
        scale = factor_of(use.role, use.unit) if use.role not in ("extra", "heading", "turns", *STATES) else 1.0
        out[use] = table.number[use.name] if scale == 1.0 else table.number[use.name] * scale
        if use.role not in STATES:
            ledger.repair(table.bad[use.name], f"'{use.name}' is no number: left empty")
    return out


def _negatives(recipe: Recipe, values: dict[ColumnUse, FloatArray], ledger: Ledger) -> None:
    for use, numbers in values.items():
        if use.role in NEVER_NEGATIVE:
            rows = np.flatnonzero(ledger.keep & (numbers < 0))
            ledger.set_aside(rows, [f"{NAMES[use.role]} '{use.name}' is {_back(use, numbers[r])}, below 0" for r in rows])


def _back(use: ColumnUse, metric: float) -> str:
    return f"{metric / factor_of(use.role, use.unit):g}"


def _duplicates(t_ms: FloatArray, place: FloatArray, values: dict[ColumnUse, FloatArray], ledger: Ledger, layout: Layout) -> None:
    """Rows that repeat an earlier one in every column used."""
    row = np.flatnonzero(ledger.keep)
    t = taken(t_ms, row)
    if row.size < 2 or bool((t[1:] > t[:-1]).all()):  # no two rows share a time
        return
    second, first = repeats(t, taken(place, row), [taken(v, row) for v in values.values()])
    ledger.set_aside(row[second], [f"repeats line {int(layout.line[row[i]])}" for i in first])


def repeats(t_ms: FloatArray, place: FloatArray, values: list[FloatArray]) -> tuple[IntArray, IntArray]:
    """Rows that equal an earlier one, and the first they equal; rows in file order."""
    row = np.lexsort((place[:, 1], place[:, 0], t_ms))
    same = (t_ms[row[1:]] == t_ms[row[:-1]]) & (place[row[1:]] == place[row[:-1]]).all(axis=1)
    at = np.flatnonzero(same)
    equal = np.ones(at.size, dtype=np.bool_)
    for numbers in values:
        a, b = numbers[row[at + 1]], numbers[row[at]]
        equal &= (a == b) | (np.isnan(a) & np.isnan(b))
    again = np.zeros(row.size, dtype=np.bool_)
    again[at[equal] + 1] = True
    first = np.maximum.accumulate(np.where(again, 0, np.arange(row.size)))
    return row[again], row[first[again]]


def kind_of_reason(reason: str) -> str:
    """A reason without what differs from row to row."""
    return reason.split(":")[0]


def enough(name: str, rows: int, left: int, kinds: Counter[str]) -> None:
    """Refuse a file of which less than half can be used.

    Raises
    ------
    FileError
        With the commonest reasons.
    """
    if left >= 2 and left >= MOST_SHARE_ASIDE * rows:
        return
    reasons = ", ".join(f"{n} x {reason}" for reason, n in kinds.most_common(4))
    raise FileError(
        f"only {left} of {rows} rows can be used ({reasons or 'too few rows'})",
        where=name,
        limit="at least 2 rows and half of all",
        cure="Check that the columns are what they are taken for: evenstand trail read shows it.",
    )


def _framed(place: FloatArray, recipe: Recipe, name: str, notes: list[str]) -> tuple[Frame, FloatArray]:
    """The trail's own frame, centred on it, and metres in it."""
    lon, lat = degrees_of_place(place, recipe, name)
    frame = frame_over(float(lon.min()), float(lon.max()), float(lat.min()), float(lat.max()))
    xy = metres_in(frame, lon, lat)
    span = max(float(np.ptp(xy[:, i])) for i in (0, 1)) if np.isfinite(xy).all() else math.inf
    notes += place_notes(recipe, span)
    return frame, xy


def degrees_of_place(place: FloatArray, recipe: Recipe, name: str) -> tuple[FloatArray, FloatArray]:
    """Longitude and latitude on WGS 84 of positions as in the file. [deg]

    Raises
    ------
    CrsError
        If they do not lie where the coordinate system is defined.
    """
    from pyproj import CRS, Transformer

    lon, lat = place[:, 0], place[:, 1]
    source = CRS.from_user_input(recipe.crs or "EPSG:4326")
    if source != CRS.from_epsg(4326):
        lon, lat = Transformer.from_crs(source, "EPSG:4326", always_xy=True).transform(lon, lat)
        if not (np.isfinite(lon).all() and np.isfinite(lat).all()):
            raise CrsError(
                f"the positions do not lie where {recipe.crs} is defined",
                where=name,
                cure="Give the coordinate system the file was written in.",
            )
    return lon, lat


def frame_over(west: float, east: float, south: float, north: float) -> Frame:
    """The frame in the middle of what positions span. [deg]"""
    return Frame(lon_deg=round((west + east) / 2, 6), lat_deg=round((south + north) / 2, 6))


def metres_in(frame: Frame, lon: FloatArray, lat: FloatArray) -> FloatArray:
    """Positions (n,2) in a frame. [m]"""
    from pyproj import Transformer

    return np.column_stack(Transformer.from_crs("EPSG:4326", frame.proj, always_xy=True).transform(lon, lat))


def place_notes(recipe: Recipe, span_m: float) -> list[str]:
    """What is to be said of the coordinate system and of a trail that spans so much."""
    from pyproj import CRS

    source = CRS.from_user_input(recipe.crs or "EPSG:4326")
    out = []
    if "1927" in (source.datum.name if source.datum is not None else ""):
        out.append("The positions are on the 1927 datum; without its grid files the shift is good to about 20 m only.")
    if span_m > 200_000:
        out.append(f"The trail spans {span_m / 1e3:.0f} km; far from its middle, lengths and areas are distorted.")
    return out
