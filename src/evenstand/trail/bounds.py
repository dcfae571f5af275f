"""How far totals of cells can be off, proven and likely, and whether they agree with the totals by shapes or outlines.

A cell counts by its middle. Within one cell the number of times the ground was sown changes only where the outline of a strip crosses it,
by one at each outline edge. So with c at the middle, and the edges in the cell sorted by the side the middle lies on, every place of it
was sown at least c - (edges with the middle on their ground's side) and at most c + (edges with it on the other side) times. A cell in
which both give the same is exact; any other can be off by its whole area, or by half of it where one edge alone crosses it, because the
middle then lies in the larger part. The sum of these is the proven bound. The likely size takes each such cell as off by
anything between plus and minus half of it, no two alike: it is what one sees, and proves nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from evenstand.base.errors import RangeError
from evenstand.model.place import FloatArray, IntArray
from evenstand.trail.cell_loops import MOST_TIMES, certify_cells, doubt_of, touch_cells
from evenstand.trail.cells import CellMap, laid_out
from evenstand.trail.strips import Strips

NAMES = ("covered", "twice", "repeat")
CHECK_CELLS = 100_000_000
CHECK_CELL_M = 0.05
LIKELY_SDS = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CellBounds:
    """How far the totals of cells can be off, by name: covered, twice, repeat [m²].

    totals_m2: the totals themselves; proven_m2: no more off than this, by geometry; None for repeat where a cell was sown 255 times or
    more; likely_m2: standard deviation if the cells that can be off were so independently; cells: how many cells can be off.
    """

    totals_m2: dict[str, float]
    proven_m2: dict[str, float | None]
    likely_m2: dict[str, float]
    cells: dict[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class CellCheck:
    """Totals of cells beside the totals by shapes or outlines.

    cell_m: side of the cells [m]; cells_m2: totals of cells by name [m²]; apart_m2: those less the others [m²]; proven_m2: how far apart
    both can lie, the bounds of both together [m²]; likely_m2: standard deviation of what one sees [m²]; agree: no total is farther apart
    than proven; usual: none is farther apart than six likely sizes, half a cell being allowed to a short trail.
    """

    cell_m: float
    cells_m2: dict[str, float]
    apart_m2: dict[str, float]
    proven_m2: dict[str, float | None]
    likely_m2: dict[str, float]
    agree: bool
    usual: bool
    notes: tuple[str, ...] = field(default=())


def cell_bounds(strips: Strips, *, cell_m: float) -> CellBounds:
    """Totals in cells as `cells_of` counts them, and how far they can be off; block by block, so that no map is held.

    Parameters
    ----------
    strips : Strips
        What was sown. [m]
    cell_m : float
        Side of a cell. [m]

    Returns
    -------
    CellBounds
        Totals, proven and likely bounds. [m²]

    Raises
    ------
    RangeError
        If the cell is smaller than 0.02 m or larger than 10 m.
    """
    if strips.start.size <= 1:
        none = dict.fromkeys(NAMES, 0.0)
        return CellBounds(totals_m2=none, proven_m2={**none}, likely_m2=none, cells=dict.fromkeys(NAMES, 0))
    left, right, rows, columns, _, _ = laid_out(strips, cell_m)
    inner = np.ones(left.shape[0], dtype=np.bool_)
    inner[strips.start[1:] - 1] = False
    begins, ends = np.zeros(left.shape[0], dtype=np.bool_), np.zeros(left.shape[0], dtype=np.bool_)
    begins[strips.start[:-1]], ends[strips.start[1:] - 2] = True, True
    counts, weight, number, full = certify_cells(left, right, np.flatnonzero(inner), begins, ends, rows, columns)
    return _bounds(counts, weight, number, bool(full), cell_m * cell_m)


def map_bounds(strips: Strips, cells: CellMap) -> CellBounds:
    """The same for a map of cells at hand, all at once: the plain twin of `cell_bounds`.

    Parameters
    ----------
    strips : Strips
        The strips the map was made of. [m]
    cells : CellMap
        The map. [-]

    Raises
    ------
    RangeError
        If the map does not hold the strips.
    """
    turn = np.column_stack([cells.across, cells.along])
    left, right = ((side - cells.origin_m) @ turn / cells.cell_m - 0.5 for side in (strips.left, strips.right))
    rows, columns = cells.count.shape
    both = np.concatenate([left, right])
    if both.size and (both.min() < -0.5 - 1e-6 or both[:, 0].max() > columns - 0.5 + 1e-6 or both[:, 1].max() > rows - 0.5 + 1e-6):
        raise RangeError("the strips reach beyond the map", where="cells", limit="the map made of these strips", cure="Make it anew.")
    ground, other, lone = (np.zeros(cells.count.shape, np.uint8) for _ in range(3))
    begin, end = _outlines(left, right, strips.start)
    for k in range(begin.shape[0]):
        touch_cells(begin[k, 0], begin[k, 1], end[k, 0], end[k, 1], 0, 0, rows, columns, ground, other, lone)
    weight, number = doubt_of(cells.count, ground, other, lone, MOST_TIMES)
    n = cells.count.astype(np.int64)
    counts = np.array([(n > 0).sum(), (n > 1).sum(), np.maximum(n - 1, 0).sum()])
    return _bounds(counts, weight, number, bool((cells.count == MOST_TIMES).any()), cells.cell_m2)


def _bounds(counts: IntArray, weight: FloatArray, number: IntArray, full: bool, area: float) -> CellBounds:
    """Cells as areas. [m²]"""
    return CellBounds(
        totals_m2={n: float(c) * area for n, c in zip(NAMES, counts, strict=True)},
        proven_m2={n: (None if full and n == "repeat" else float(w) * area) for n, w in zip(NAMES, weight[0], strict=True)},
        likely_m2={n: math.sqrt(float(w) / 12.0) * area for n, w in zip(NAMES, weight[1], strict=True)},
        cells={n: int(k) for n, k in zip(NAMES, number, strict=True)},
    )


def check_cells(strips: Strips, totals_m2: dict[str, float], bounds_m2: dict[str, float], *, cell_m: float | None = None) -> CellCheck:
    """Hold totals by shapes or outlines against totals of cells.

    Parameters
    ----------
    strips : Strips
        What was sown. [m]
    totals_m2, bounds_m2 : dict
        covered, twice and repeat with the bound of each. [m²]
    cell_m : float or None
        Side of a cell; None: 0.05 m, larger where that would need too many. [m]

    Returns
    -------
    CellCheck
        How far apart, and how far apart they can be. [m²]
    """
    size = cell_m if cell_m is not None else _check_cell(strips)
    found = cell_bounds(strips, cell_m=size)
    apart = {n: found.totals_m2[n] - totals_m2[n] for n in NAMES}
    proven = {n: (None if (p := found.proven_m2[n]) is None else p + bounds_m2[n]) for n in NAMES}
    full = found.proven_m2["repeat"] is None
    return CellCheck(
        cell_m=size,
        cells_m2=found.totals_m2,
        apart_m2=apart,
        proven_m2=proven,
        likely_m2=found.likely_m2,
        agree=all((p := proven[n]) is None or abs(apart[n]) <= p for n in NAMES),
        usual=all(abs(apart[n]) <= LIKELY_SDS * found.likely_m2[n] + 0.5 * size * size + bounds_m2[n] for n in NAMES),
        notes=("A cell was sown 255 times or more: repeated ground in cells is at least what is shown.",) if full else (),
    )


def _check_cell(strips: Strips) -> float:
    """Five centimetres, or as much more as keeps the ground within so many cells. [m]"""
    return min(max(CHECK_CELL_M, math.ceil(20 * math.sqrt(strips.sum_m2 / CHECK_CELLS)) / 20), 10.0)


def usual_cell(strips: Strips, *, most: int, reach_m: FloatArray | None = None) -> float:
    """A quarter of a metre, or as much more as keeps a map within so many cells. [m]"""
    sides = [side for side in (strips.left, strips.right, reach_m) if side is not None and side.size]
    if not sides:
        return 0.25
    low, high = np.min([s.min(axis=0) for s in sides], axis=0), np.max([s.max(axis=0) for s in sides], axis=0)
    span = float(np.hypot(*(high - low)))  # a turned map may need the square around the diagonal
    return float(min(max(0.25, math.ceil(20 * span / math.sqrt(most)) / 20), 10.0))


def _outlines(left: FloatArray, right: FloatArray, start: IntArray) -> tuple[FloatArray, FloatArray]:
    """Begin and end of every outline edge, ground on the left: up the right side, across, down the left side, across."""
    inner = np.ones(left.shape[0], dtype=np.bool_)
    inner[start[1:] - 1] = False
    i = np.flatnonzero(inner)
    first, last = start[:-1], start[1:] - 1
    begin = np.concatenate([right[i], right[last], left[i + 1], left[first]])
    end = np.concatenate([right[i + 1], left[last], left[i], right[first]])
    return begin, end
