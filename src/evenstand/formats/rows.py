"""From cells to a trail: rows judged one by one, put in time order, and accounted for."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.base.errors import CrsError, FileError
from evenstand.formats.columns import ColumnUse, factor_of
from evenstand.formats.layouts import Layout, lines_at
from evenstand.formats.recipes import Recipe
from evenstand.formats.times import start_ms, zone_offset_ms
from evenstand.model.place import FloatArray, Frame, IntArray
from evenstand.model.trail import FLAGS, BoolArray, SetAside, Trail

if TYPE_CHECKING:
    from evenstand.formats.delimited import Table

MOST_TEXTS = 500
MOST_SHARE_ASIDE = 0.5
FASTEST_M_S = 14.0
LAST_MS = 4.1e12  # the year 2099
COARSE_SHARE = 0.3
MOST_STUTTER = 50
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
    _ragged(layout, ledger)
    t_ms = _times(recipe, table, ledger, notes)
    place = _positions(recipe, table, ledger)
    values = _values(recipe, table, ledger)
    _negatives(recipe, values, ledger)
    _duplicates(t_ms, place, values, table, ledger, layout)
    _enough(name, layout, ledger)
    order, t_ordered = _order(t_ms, place, bool(recipe.use("lat")), ledger, notes)
    t_sorted = _spread(t_ordered, notes)
    frame, xy = _framed(place[order], recipe, name, notes)
    columns = _columns(recipe, values, table, order, ledger, layout, notes)
    flags = _flags(t_sorted, xy, ledger, order, layout, notes)
    texts = lines_at(layout, sorted(int(layout.line[r]) for r in [*ledger.aside, *ledger.mended])[:MOST_TEXTS])
    blank = int(layout.blank.sum())
    if blank:
        notes.append(f"{blank} empty line{'s' if blank > 1 else ''} passed over.")
    return Trail(
        frame=frame,
        t_ms=_fixed(t_sorted),
        xy_m=_fixed(xy),
        flags=_fixed(flags),
        rows=layout.rows,
        kept=layout.rows - len(ledger.aside) - len(ledger.mended),
        repaired=_listed(ledger.mended, layout, texts),
        set_aside=_listed({r: [text] for r, text in ledger.aside.items()}, layout, texts),
        notes=tuple(notes),
        file_hash=layout.file_hash,
        **columns,
    )


def _fixed(array: Any) -> Any:
    """The array, read-only."""
    array.flags.writeable = False
    return array


def _listed(rows: dict[int, list[str]], layout: Layout, texts: dict[int, str]) -> tuple[SetAside, ...]:
    return tuple(
        SetAside(line=int(layout.line[r]), reason="; ".join(reasons), text=texts.get(int(layout.line[r]), ""))
        for r, reasons in sorted(rows.items())
    )


def _ragged(layout: Layout, ledger: Ledger) -> None:
    """Rows with too few or too many fields; one empty field too many in every row is a habit of some writers, not a fault."""
    want = len(layout.header)
    usual = Counter(layout.fields[ledger.keep][:2000].tolist()).most_common(1)
    most = max(want, usual[0][0]) if usual and usual[0][0] == want + 1 else want
    short = np.flatnonzero(ledger.keep & (layout.fields < want))
    ledger.set_aside(short, [f"{layout.fields[r]} of {want} fields" for r in short])
    long = np.flatnonzero(ledger.keep & (layout.fields > most))
    ledger.set_aside(long, [f"{layout.fields[r]} fields where the header has {want}" for r in long])


def _one(recipe: Recipe, *roles: str) -> ColumnUse | None:
    found = recipe.use(*roles)
    return found[0] if found else None


def _times(recipe: Recipe, table: Table, ledger: Ledger, notes: list[str]) -> FloatArray:
    """UTC milliseconds of every row; rows without a time are set aside. [ms]"""
    use = _one(recipe, "time", "clock")
    if use is None:
        raise FileError("no time column", where="recipe", cure="Give one column the role time.")
    ms = table.number[use.name] * {"epoch_s": 1000.0, "s": 1000.0, "": 1000.0}.get(use.unit, 1.0)
    bad = table.bad.get(use.name, np.zeros(0, dtype=np.int64))
    ledger.set_aside(bad, f"'{use.name}' is not understood as a time")
    ledger.set_aside(np.flatnonzero(ledger.keep & ~np.isfinite(ms)), f"no time in '{use.name}'")
    ledger.set_aside(np.flatnonzero(ledger.keep & (np.abs(ms) > LAST_MS)), f"'{use.name}' is beyond any calendar")
    if use.unit in ("s", "ms", "", "clock"):
        if use.unit == "clock":
            ms = _past_midnight(ms, ledger, notes)
        if recipe.start:
            begin = start_ms(recipe.start, recipe.zone)
            day = begin - (begin % 86_400_000) if use.unit == "clock" else begin
            return np.asarray(ms + day - (0 if use.unit != "clock" else zone_offset_ms(recipe.zone)))
        return ms
    if use.unit == "text" and "%z" not in recipe.time_form:
        return np.asarray(ms - zone_offset_ms(recipe.zone))
    return ms


def _past_midnight(ms: FloatArray, ledger: Ledger, notes: list[str]) -> FloatArray:
    """Clock times with a day added after each midnight. [ms]"""
    day0 = 946_684_800_000.0  # the date that stands in for the unknown one
    ms = ms - day0
    good = np.flatnonzero(ledger.keep)
    falls = np.diff(ms[good]) < -43_200_000
    if falls.any():
        ms = ms.copy()
        ms[good] += np.concatenate([[0], np.cumsum(falls)]) * 86_400_000.0
        notes.append(f"The clock passes midnight {int(falls.sum())} time(s): a day is added each time.")
    return ms


def _positions(recipe: Recipe, table: Table, ledger: Ledger) -> FloatArray:
    """Positions (n,2) as in the file, first east or longitude; rows without one are set aside."""
    degrees = bool(recipe.use("lat"))
    first, second = (_one(recipe, "lon"), _one(recipe, "lat")) if degrees else (_one(recipe, "east"), _one(recipe, "north"))
    if first is None or second is None:
        raise FileError("no position columns", where="recipe", cure="Give lon and lat, or east and north.")
    for use in (first, second):
        ledger.set_aside(table.bad[use.name], f"'{use.name}' is no number")
    place = np.column_stack([table.number[first.name], table.number[second.name]])
    ledger.set_aside(np.flatnonzero(ledger.keep & ~np.isfinite(place).all(axis=1)), "no position")
    ledger.set_aside(np.flatnonzero(ledger.keep & (place == 0).all(axis=1)), "no fix: the position is 0, 0")
    if degrees:
        wild = np.flatnonzero(ledger.keep & ((np.abs(place[:, 0]) > 180) | (np.abs(place[:, 1]) > 90)))
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
        scale = factor_of(use.role, use.unit) if use.role not in ("extra", "heading", "turns", "section", "run", "work", "lifted") else 1.0
        out[use] = table.number[use.name] * scale
        if use.role not in ("section", "run", "work", "lifted"):
            ledger.repair(table.bad[use.name], f"'{use.name}' is no number: left empty")
    return out


def _negatives(recipe: Recipe, values: dict[ColumnUse, FloatArray], ledger: Ledger) -> None:
    for use, numbers in values.items():
        if use.role in NEVER_NEGATIVE:
            rows = np.flatnonzero(ledger.keep & (numbers < 0))
            ledger.set_aside(rows, [f"{NAMES[use.role]} '{use.name}' is {_back(use, numbers[r])}, below 0" for r in rows])


def _back(use: ColumnUse, metric: float) -> str:
    return f"{metric / factor_of(use.role, use.unit):g}"


def _duplicates(
    t_ms: FloatArray, place: FloatArray, values: dict[ColumnUse, FloatArray], table: Table, ledger: Ledger, layout: Layout
) -> None:
    """Rows that repeat an earlier one in every column used."""
    row = np.flatnonzero(ledger.keep)
    row = row[np.lexsort((row, place[row, 1], place[row, 0], t_ms[row]))]
    same = (t_ms[row[1:]] == t_ms[row[:-1]]) & (place[row[1:]] == place[row[:-1]]).all(axis=1)
    if not same.any():
        return
    at = np.flatnonzero(same)
    equal = np.ones(at.size, dtype=np.bool_)
    for numbers in values.values():
        a, b = numbers[row[at + 1]], numbers[row[at]]
        equal &= (a == b) | (np.isnan(a) & np.isnan(b))
    at = at[equal]
    ledger.set_aside(row[at + 1], [f"repeats line {int(layout.line[row[i]])}" for i in at])


def _enough(name: str, layout: Layout, ledger: Ledger) -> None:
    left, rows = int(ledger.keep.sum()), layout.rows
    if left >= 2 and left >= MOST_SHARE_ASIDE * rows:
        return
    kinds = Counter(reason.split(":")[0] for reason in ledger.aside.values()).most_common(4)
    reasons = ", ".join(f"{n} x {reason}" for reason, n in kinds)
    raise FileError(
        f"only {left} of {rows} rows can be used ({reasons or 'too few rows'})",
        where=name,
        limit="at least 2 rows and half of all",
        cure="Check that the columns are what they are taken for: evenstand trail read shows it.",
    )


def _order(t_ms: FloatArray, place: FloatArray, degrees: bool, ledger: Ledger, notes: list[str]) -> tuple[IntArray, FloatArray]:
    """Kept rows in time order, and their times. A row whose time runs backwards while the way runs on has a wrong time; else it stands
    in the wrong place. Both are noted."""
    row = np.flatnonzero(ledger.keep)
    t = t_ms[row].copy()
    late = t < np.maximum.accumulate(t)
    if not late.any():
        return row, t
    if late.mean() > 0.9:
        notes.append("The file runs backwards in time; its rows are turned round.")
        back = np.argsort(t, kind="stable")
        return row[back], t[back]
    shrink = np.array([np.cos(np.radians(np.median(place[row, 1]))), 1.0]) if degrees else np.ones(2)
    xy = place[row] * shrink
    begin = np.flatnonzero(late & ~np.concatenate([[False], late[:-1]]))
    end = np.flatnonzero(late & ~np.concatenate([late[1:], [False]])) + 1
    for a, b in zip(begin.tolist(), end.tolist(), strict=True):
        before = float(t[:a].max())
        amount = [(before - v) / 1e3 for v in t[a:b]]
        if b - a <= MOST_STUTTER and _way_runs_on(t, xy, a, b):
            after = float(t[b]) if b < t.size else before + float(np.median(np.diff(t)))
            t[a:b] = before + (after - before) * np.arange(1, b - a + 1) / (b - a + 1)
            ledger.repair(
                row[a:b], [f"out of time order by {v:g} s though the way runs on: its time is put between its neighbours'" for v in amount]
            )
        else:
            ledger.repair(row[a:b], [f"out of time order by {v:g} s: moved to its place" for v in amount])
    order = np.argsort(t, kind="stable")
    return row[order], t[order]


def _way_runs_on(t: FloatArray, xy: FloatArray, a: int, b: int) -> bool:
    """Whether rows a to b lie along the way where they stand, rather than where their times would put them."""
    low = max(0, int(np.searchsorted(np.maximum.accumulate(t[:a]), t[a:b].min())) - 1)
    window = slice(low, min(b + 1, t.size))
    here = xy[window]
    there = here[np.argsort(t[window], kind="stable")]
    return bool(_way(here) <= 1.001 * _way(there))


def _way(xy: FloatArray) -> float:
    return float(np.hypot(*np.diff(xy, axis=0).T).sum())


def _spread(t: FloatArray, notes: list[str]) -> IntArray:
    """Whole milliseconds; where many rows share a second, they are spread evenly over it."""
    same = np.diff(t) == 0
    if same.mean() > COARSE_SHARE:
        begin = np.concatenate([[0], np.flatnonzero(~same) + 1])
        count = np.diff(np.concatenate([begin, [t.size]]))
        gap = np.diff(t[begin])
        width = np.concatenate([gap, [np.median(gap) if gap.size else 1000.0]])
        width = np.minimum(width, np.median(gap) if gap.size else 1000.0)
        group = np.repeat(np.arange(begin.size), count)
        t = t + (np.arange(t.size) - begin[group]) * (width / count)[group]
        notes.append("Several rows share each time; they are spread evenly up to the next one.")
    return np.rint(t).astype(np.int64)


def _framed(place: FloatArray, recipe: Recipe, name: str, notes: list[str]) -> tuple[Frame, FloatArray]:
    """The trail's own frame, centred on it, and metres in it."""
    from pyproj import CRS, Transformer

    source = CRS.from_user_input(recipe.crs or "EPSG:4326")
    lon, lat = place[:, 0], place[:, 1]
    if source != CRS.from_epsg(4326):
        change = Transformer.from_crs(source, "EPSG:4326", always_xy=True)
        lon, lat = change.transform(lon, lat)
        datum = (source.datum.name if source.datum is not None else "").lower()
        if "1927" in datum:
            notes.append("The positions are on the 1927 datum; without its grid files the shift is good to about 20 m only.")
        if not (np.isfinite(lon).all() and np.isfinite(lat).all()):
            raise CrsError(
                f"the positions do not lie where {recipe.crs} is defined",
                where=name,
                cure="Give the coordinate system the file was written in.",
            )
    frame = Frame(lon_deg=round(float(lon.min() + lon.max()) / 2, 6), lat_deg=round(float(lat.min() + lat.max()) / 2, 6))
    x, y = Transformer.from_crs("EPSG:4326", frame.proj, always_xy=True).transform(lon, lat)
    xy = np.column_stack([x, y])
    span = np.ptp(xy, axis=0).max() if np.isfinite(xy).all() else np.inf
    if span > 200_000:
        notes.append(f"The trail spans {span / 1e3:.0f} km; far from its middle, lengths and areas are distorted.")
    return frame, xy


def _columns(
    recipe: Recipe, values: dict[ColumnUse, FloatArray], table: Table, order: IntArray, ledger: Ledger, layout: Layout, notes: list[str]
) -> dict[str, Any]:
    """The trail's columns, in time order; absent ones None."""

    def single(role: str) -> FloatArray | None:
        found = [v for u, v in values.items() if u.role == role]
        return _fixed(found[0][order]) if found else None

    bins = tuple(dict.fromkeys(u.bin for u in values if u.role in ("turns", "asked", "echoed")))
    runs = tuple(sorted(u.number for u in values if u.role == "run"))

    def grid(role: str) -> FloatArray | None:
        found = {u.bin: v for u, v in values.items() if u.role == role}
        if not found:
            return None
        none = np.full(order.size, np.nan)
        out: FloatArray = _fixed(np.column_stack([found[b][order] if b in found else none for b in bins]))
        return out

    total = next((v for u, v in values.items() if u.role == "distance"), None)
    step = single("step")
    if step is None and total is not None:
        step = _fixed(_differences(total[order], notes))
    states = {
        u: _states(u, v[order], order, table, ledger, notes) for u, v in values.items() if u.role in ("section", "run", "work", "lifted")
    }
    sections = sorted((u for u in states if u.role == "section"), key=lambda u: u.number)
    present = sorted((u for u in states if u.role == "run"), key=lambda u: u.number)
    lifted = next((s for u, s in states.items() if u.role == "lifted"), None)
    work = next((s for u, s in states.items() if u.role == "work"), None)
    return {
        "speed_m_s": single("speed"),
        "step_m": step,
        "area_ha": single("area"),
        "fan_turns_s": single("fan"),
        "mass_rate_kg_s": single("mass_rate"),
        "revs": grid("turns"),
        "asked_kg_ha": grid("asked"),
        "echoed_kg_ha": grid("echoed"),
        "sections": _fixed(np.column_stack([states[u] for u in sections])) if sections else _packed(recipe, table, order, ledger),
        "run_present": _fixed(np.column_stack([states[u] for u in present])) if present else None,
        "lifted": _fixed(lifted) if lifted is not None else _fixed(~work) if work is not None else None,
        "bins": bins,
        "runs": runs,
        "extra": {_extra_name(u): _fixed(v[order]) for u, v in values.items() if u.role in ("extra", "heading", "interval")},
    }


def _extra_name(use: ColumnUse) -> str:
    return {"heading": "heading_deg", "interval": "interval_s"}.get(use.role, use.name)


def _differences(total: FloatArray, notes: list[str]) -> FloatArray:
    """Steps of a counter; where it restarts the step is not known. [m]"""
    step = np.concatenate([[np.nan], np.diff(total)])
    restart = step < 0
    if restart.any():
        notes.append(f"The distance counter restarts {int(restart.sum())} time(s); the step there is left empty.")
        step[restart] = np.nan
    return step


def _states(use: ColumnUse, values: FloatArray, order: IntArray, table: Table, ledger: Ledger, notes: list[str]) -> BoolArray:
    """On or off; where a cell is empty the last known state holds, as machines often write changes only."""
    empty = ~np.isfinite(values)
    if empty.any():
        index = np.maximum.accumulate(np.where(empty, -1, np.arange(values.size)))
        first = int(np.flatnonzero(~empty)[0]) if (~empty).any() else 0
        values = np.where(index >= 0, values[np.maximum(index, 0)], values[first])
        unread = np.isin(order, table.bad[use.name])
        ledger.repair(order[unread], f"'{use.name}' is neither on nor off: the last known state is kept")
        silent = int((empty & ~unread).sum())
        if silent > 0.05 * values.size:
            notes.append(f"'{use.name}' is empty in {silent} rows: the last known state holds until it changes.")
        else:
            ledger.repair(order[empty & ~unread], f"'{use.name}' is empty: the last known state is kept")
    return np.asarray(values > 0.5)


def _packed(recipe: Recipe, table: Table, order: IntArray, ledger: Ledger) -> BoolArray | None:
    """Sections written as one text of ones and zeros, left first."""
    use = _one(recipe, "sections")
    if use is None:
        return None
    cells = [table.text[use.name][i] or "" for i in order.tolist()]
    width = Counter(len(c) for c in cells).most_common(1)[0][0]
    bad = np.array([len(c) != width or bool(set(c) - {"0", "1"}) for c in cells])
    if bad.any():
        ledger.repair(order[bad], f"'{use.name}' is no row of ones and zeros: the last known state is kept")
    last = "0" * width
    out = np.zeros((order.size, width), dtype=np.bool_)
    for i, cell in enumerate(cells):
        last = last if bad[i] else cell
        out[i] = [c == "1" for c in last]
    return np.asarray(_fixed(out))


def _flags(t: IntArray, xy: FloatArray, ledger: Ledger, order: IntArray, layout: Layout, notes: list[str]) -> IntArray:
    """Gaps, impossible jumps and moved rows, as bits."""
    flags = np.zeros(t.size, dtype=np.int64)
    dt = np.diff(t) / 1e3
    length = np.hypot(*np.diff(xy, axis=0).T)
    usual_s = float(np.median(dt[dt > 0])) if (dt > 0).any() else 1.0
    gap = dt > max(3.0, usual_s * 4 / 3)
    flags[1:][gap] |= FLAGS["gap"]
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = length / np.where(dt > 0, dt, np.nan)
    usual = float(np.nanmedian(speed[speed > 0.2])) if (speed > 0.2).any() else 0.0
    wild = np.nan_to_num(speed, nan=0.0) > max(FASTEST_M_S, 3 * usual)
    jumped = _jumpers(wild, xy)
    flags[jumped] |= FLAGS["jump"]
    if jumped.any():
        lines = layout.line[order[np.flatnonzero(jumped)]]
        shown = ", ".join(str(v) for v in lines[:5]) + (" ..." if lines.size > 5 else "")
        notes.append(
            f"{lines.size} position{'s' if lines.size > 1 else ''} farther off than a machine can move (line {shown}): kept and flagged."
        )
    moved = (
        np.array([any("time order" in r for r in ledger.mended.get(int(i), ())) for i in order])
        if ledger.mended
        else np.zeros(t.size, dtype=np.bool_)
    )
    flags[moved] |= FLAGS["reordered"]
    return flags


def _jumpers(wild: BoolArray, xy: FloatArray) -> BoolArray:
    """Rows reached by an impossible step: the lone one between two of them, else the row after it."""
    out = np.zeros(wild.size + 1, dtype=np.bool_)
    at = np.flatnonzero(wild)
    skip = -1
    for i in at.tolist():
        if i == skip:
            continue
        out[i + 1] = True
        if i + 1 < wild.size and wild[i + 1]:
            skip = i + 1  # there and back: only the one between is wrong
    return out
