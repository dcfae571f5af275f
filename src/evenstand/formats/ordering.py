"""Rows in time order, and what the order shows: clocks that stutter, rows in the wrong place, gaps, leaps."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import FLAGS, BoolArray

if TYPE_CHECKING:
    from evenstand.formats.layouts import Layout
    from evenstand.formats.rows import Ledger

FASTEST_M_S = 14.0
COARSE_SHARE = 0.3
MOST_STUTTER = 50
BACKWARDS_SHARE = 0.9
BACKWARDS = "The file runs backwards in time; its rows are turned round."
SPREAD = "Several rows share each time; they are spread evenly up to the next one."


def in_order(t_ms: FloatArray, place: FloatArray, degrees: bool, ledger: Ledger, notes: list[str]) -> tuple[IntArray, FloatArray]:
    """Kept rows in time order, and their times. A row whose time runs backwards while the way runs on has a wrong time; else it stands
    in the wrong place. Both are noted."""
    row = np.flatnonzero(ledger.keep)
    t = t_ms[row].copy()
    late = t < np.maximum.accumulate(t)
    if not late.any():
        return row, t
    if late.mean() > BACKWARDS_SHARE:
        notes.append(BACKWARDS)
        back = np.argsort(t, kind="stable")
        return row[back], t[back]
    shrink = np.array([np.cos(np.radians(np.median(place[row, 1]))), 1.0]) if degrees else np.ones(2)
    xy = place[row] * shrink
    for a, b in zip(*stretches(late), strict=True):
        before = float(t[:a].max())
        after = float(t[b]) if b < t.size else before + float(np.median(np.diff(t)))
        _, reasons = mend(t, xy, a, b, before, after)
        ledger.repair(row[a:b], reasons)
    order = np.argsort(t, kind="stable")
    return row[order], t[order]


def stretches(mask: BoolArray) -> tuple[list[int], list[int]]:
    """First index of each run of true values, and the index after its last."""
    edge = np.diff(np.concatenate([[0], mask.astype(np.int8), [0]]))
    return np.flatnonzero(edge == 1).tolist(), np.flatnonzero(edge == -1).tolist()


def mend(t: FloatArray, xy: FloatArray, a: int, b: int, before: float, after: float, *, longer: bool = False) -> tuple[bool, list[str]]:
    """Judge the late rows a to b. Where the way runs on, their times in `t` are put between `before` and `after`; else they are left to
    be moved. longer: they go on with others that were moved. Whether they are moved, and the reason of each row."""
    amount = [(before - v) / 1e3 for v in t[a:b].tolist()]
    if not longer and b - a <= MOST_STUTTER and _way_runs_on(t, xy, a, b):
        t[a:b] = before + (after - before) * np.arange(1, b - a + 1) / (b - a + 1)
        return False, [f"out of time order by {v:g} s though the way runs on: its time is put between its neighbours'" for v in amount]
    return True, [f"out of time order by {v:g} s: moved to its place" for v in amount]


def _way_runs_on(t: FloatArray, xy: FloatArray, a: int, b: int) -> bool:
    """Whether rows a to b lie along the way where they stand, rather than where their times would put them."""
    low = max(0, int(np.searchsorted(np.maximum.accumulate(t[:a]), t[a:b].min())) - 1)
    window = slice(low, min(b + 1, t.size))
    here = xy[window]
    there = here[np.argsort(t[window], kind="stable")]
    return bool(_way(here) <= 1.001 * _way(there))


def _way(xy: FloatArray) -> float:
    return float(np.hypot(*np.diff(xy, axis=0).T).sum())


def spread(t: FloatArray, notes: list[str]) -> IntArray:
    """Whole milliseconds; where many rows share a second, they are spread evenly over it."""
    same = np.diff(t) == 0
    if same.mean() > COARSE_SHARE:
        gap = np.diff(t[np.concatenate([[True], ~same])])
        t = spread_over(t, None, float(np.median(gap)) if gap.size else 1000.0)
        notes.append(SPREAD)
    return np.rint(t).astype(np.int64)


def spread_over(t: FloatArray, following: float | None, usual_ms: float) -> FloatArray:
    """Rows that share a time, spread evenly up to the next one, at most `usual_ms`; following: the time after the last. [ms]"""
    begin = np.concatenate([[0], np.flatnonzero(np.diff(t) != 0) + 1])
    count = np.diff(np.concatenate([begin, [t.size]]))
    width = np.concatenate([np.diff(t[begin]), [usual_ms if following is None else following - t[-1]]])
    width = np.minimum(width, usual_ms)
    group = np.repeat(np.arange(begin.size), count)
    return np.asarray(t + (np.arange(t.size) - begin[group]) * (width / count)[group])


def gap_limit_s(usual_s: float) -> float:
    """Longest time between two rows that is no gap. [s]"""
    return max(3.0, usual_s * 4 / 3)


def leap_limit_m_s(usual_m_s: float) -> float:
    """Fastest a machine of this usual speed is believed to move. [m/s]"""
    return max(FASTEST_M_S, 3 * usual_m_s)


def steps_of_rows(t: IntArray, xy: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Seconds and speed from row to row; no speed where no time passes. [s], [m/s]"""
    dt = np.diff(t) / 1e3
    length = np.hypot(*np.diff(xy, axis=0).T)
    with np.errstate(divide="ignore", invalid="ignore"):
        return dt, length / np.where(dt > 0, dt, np.nan)


def flags_of(t: IntArray, xy: FloatArray, ledger: Ledger, order: IntArray, layout: Layout, notes: list[str]) -> IntArray:
    """Gaps, impossible jumps and moved rows, as bits."""
    flags = np.zeros(t.size, dtype=np.int64)
    dt, speed = steps_of_rows(t, xy)
    usual_s = float(np.median(dt[dt > 0])) if (dt > 0).any() else 1.0
    flags[1:][dt > gap_limit_s(usual_s)] |= FLAGS["gap"]
    usual = float(np.nanmedian(speed[speed > 0.2])) if (speed > 0.2).any() else 0.0
    jumped, _ = jumpers(np.nan_to_num(speed, nan=0.0) > leap_limit_m_s(usual))
    flags[1:][jumped] |= FLAGS["jump"]
    if jumped.any():
        lines = layout.line[order[np.flatnonzero(jumped) + 1]]
        notes.append(jump_note(lines.size, lines[:5].tolist()))
    moved = (
        np.array([any("time order" in r for r in ledger.mended.get(int(i), ())) for i in order])
        if ledger.mended
        else np.zeros(t.size, dtype=np.bool_)
    )
    flags[moved] |= FLAGS["reordered"]
    return flags


def jump_note(count: int, lines: list[int]) -> str:
    """What is said of positions that leap."""
    shown = ", ".join(str(v) for v in lines) + (" ..." if count > len(lines) else "")
    return f"{count} position{'s' if count > 1 else ''} farther off than a machine can move (line {shown}): kept and flagged."


def jumpers(wild: BoolArray, open_run: int = 0) -> tuple[BoolArray, int]:
    """Steps that reach a row flagged as a leap: every other one of a run of impossible steps, as there and back only the row between is
    wrong. open_run: how many impossible steps went right before. Also gives how many stand at the end."""
    at = np.arange(wild.size)
    calm = np.maximum.accumulate(np.where(wild, -1 - open_run, at)) if wild.size else at
    place = at - calm - 1  # how many impossible steps stand before this one in its run
    return np.asarray(wild & (place % 2 == 0)), int(place[-1] + 1) if wild.size and wild[-1] else 0 if wild.size else open_run
