"""How far totals of cells can be off, proven and likely, and whether they agree with the totals by shapes or tiles.

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
from evenstand.trail.cells import BLOCK, MOST_TIMES, CellMap, _convex, _put, laid_out
from evenstand.trail.strips import Strips
from evenstand.trail.tiles import _jit

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
    """Totals of cells beside the totals by shapes or tiles.

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
    counts, weight, number, full = _certify(left, right, np.flatnonzero(inner), begins, ends, rows, columns)
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
        _touch(begin[k, 0], begin[k, 1], end[k, 0], end[k, 1], 0, 0, rows, columns, ground, other, lone)
    weight, number = _doubt(cells.count, ground, other, lone, MOST_TIMES)
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
    """Hold totals by shapes or tiles against totals of cells.

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


@_jit
def _touch(x0, y0, x1, y1, row0, column0, last_row, last_column, ground, other, lone):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Mark the cells of a window that an edge touches: with their middle on its ground's side, on the other, and in all; a middle within
    rounding of the edge counts as on both."""
    dx, dy = x1 - x0, y1 - y0
    size = math.sqrt(dx * dx + dy * dy)
    if size == 0.0:
        return
    ly, hy = min(y0, y1), max(y0, y1)
    lx, hx = min(x0, x1), max(x0, x1)
    slack = 1e-9 * (1.0 + abs(hx) + abs(hy) + abs(lx) + abs(ly))
    r0, r1 = max(math.floor(ly + 0.5 - slack), row0), min(math.floor(hy + 0.5 + slack), last_row - 1)
    for r in range(r0, r1 + 1):
        a, b = lx, hx
        if dy != 0.0:
            ta, tb = (max(r - 0.5 - slack, ly) - y0) / dy, (min(r + 0.5 + slack, hy) - y0) / dy
            xa, xb = x0 + ta * dx, x0 + tb * dx
            a, b = max(min(xa, xb), lx), min(max(xa, xb), hx)
        c0, c1 = max(math.floor(a + 0.5 - slack), column0), min(math.floor(b + 0.5 + slack), last_column - 1)
        for c in range(c0, c1 + 1):
            side = (dx * (r - y0) - dy * (c - x0)) / size
            i, j = r - row0, c - column0
            if side >= -slack and ground[i, j] != 255:
                ground[i, j] += 1
            if side <= slack and other[i, j] != 255:
                other[i, j] += 1
            if lone[i, j] != 255:
                lone[i, j] += 1


@_jit
def _certify(left, right, node, begins, ends, rows, columns):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Cells covered, covered twice and repeated, their doubt as `_doubt` gives it, and whether a cell was sown 255 times."""
    down, over = (rows + BLOCK - 1) // BLOCK, (columns + BLOCK - 1) // BLOCK
    offset = np.zeros(down * over + 1, np.int64)
    entry = np.empty(0, np.int64)
    for turn in range(2):
        if turn == 1:
            for q in range(down * over):
                offset[q + 1] += offset[q]
            entry = np.empty(offset[down * over], np.int64)
        for i in range(node.size):
            k = node[i]
            x_lo = min(min(left[k, 0], right[k, 0]), min(left[k + 1, 0], right[k + 1, 0]))
            x_hi = max(max(left[k, 0], right[k, 0]), max(left[k + 1, 0], right[k + 1, 0]))
            y_lo = min(min(left[k, 1], right[k, 1]), min(left[k + 1, 1], right[k + 1, 1]))
            y_hi = max(max(left[k, 1], right[k, 1]), max(left[k + 1, 1], right[k + 1, 1]))
            r0, r1 = max(math.floor(y_lo + 0.499), 0), min(math.floor(y_hi + 0.501), rows - 1)  # every cell the step touches
            c0, c1 = max(math.floor(x_lo + 0.499), 0), min(math.floor(x_hi + 0.501), columns - 1)
            for br in range(r0 // BLOCK, r1 // BLOCK + 1):
                for bc in range(c0 // BLOCK, c1 // BLOCK + 1):
                    q = br * over + bc
                    if turn == 0:
                        offset[q + 1] += 1
                    else:
                        offset[q + 1] -= 1
                        entry[offset[q + 1]] = k
    block, ground = np.zeros((BLOCK, BLOCK), np.uint8), np.zeros((BLOCK, BLOCK), np.uint8)
    other, lone = np.zeros((BLOCK, BLOCK), np.uint8), np.zeros((BLOCK, BLOCK), np.uint8)
    span_lo, span_hi = np.empty(BLOCK, np.int64), np.empty(BLOCK, np.int64)
    xs, ys = np.empty(4), np.empty(4)
    tx, ty = np.empty(3), np.empty(3)
    counts = np.zeros(3, np.int64)
    weight, number = np.zeros((2, 3)), np.zeros(3, np.int64)
    full = False
    for br in range(down):
        for bc in range(over):
            q = br * over + bc
            p0 = offset[q + 1]
            p1 = offset[q + 2] if q + 1 < down * over else entry.size
            if p0 == p1:
                continue
            row0, column0 = br * BLOCK, bc * BLOCK
            last_row, last_column = min(row0 + BLOCK, rows), min(column0 + BLOCK, columns)
            block[:], ground[:], other[:], lone[:] = 0, 0, 0, 0
            for p in range(p0, p1):
                k = entry[p]
                xs[0], ys[0], xs[1], ys[1] = right[k, 0], right[k, 1], right[k + 1, 0], right[k + 1, 1]
                xs[2], ys[2], xs[3], ys[3] = left[k + 1, 0], left[k + 1, 1], left[k, 0], left[k, 1]
                dent = _convex(xs, ys)
                for part in range(1 if dent < 0 else 2):
                    if dent < 0:
                        a, b = _put(xs, ys, 4, row0, column0, span_lo, span_hi, last_row, last_column)
                    else:
                        tx[0], ty[0] = xs[dent], ys[dent]
                        for j in range(2):
                            at = (dent + 1 + part + j) % 4
                            tx[1 + j], ty[1 + j] = xs[at], ys[at]
                        a, b = _put(tx, ty, 3, row0, column0, span_lo, span_hi, last_row, last_column)
                    for r in range(a, b):
                        line = block[r - row0]
                        for c in range(span_lo[r - row0] - column0, span_hi[r - row0] - column0):
                            line[c] += line[c] != MOST_TIMES
                for side in range(4):
                    if (side == 1 and not ends[k]) or (side == 3 and not begins[k]):
                        continue  # the next or the earlier step of the strip lies there
                    to = side + 1 if side < 3 else 0
                    _touch(xs[side], ys[side], xs[to], ys[to], row0, column0, last_row, last_column, ground, other, lone)
            high, wide = last_row - row0, last_column - column0
            for r in range(high):
                for c in range(wide):
                    n = int(block[r, c])
                    counts[0] += int(n > 0)
                    counts[1] += int(n > 1)
                    counts[2] += max(n - 1, 0)
                    full = full or n == MOST_TIMES
            w, m = _doubt(block[:high, :wide], ground, other, lone, MOST_TIMES)
            weight += w
            number += m
    return counts, weight, number, full


@_jit
def _doubt(count, ground, other, lone, most):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Cells by which covered, twice and repeat can be off, summed and squared, and how many they are."""
    weight = np.zeros((2, 3))
    number = np.zeros(3, np.int64)
    for r in range(count.shape[0]):
        for c in range(count.shape[1]):
            touch = lone[r, c]
            if touch == 0:
                continue
            n = int(count[r, c])
            low = 0 if ground[r, c] == 255 else max(n - int(ground[r, c]), 0)
            high = most if other[r, c] == 255 else n + int(other[r, c])
            share = 0.5 if touch == 1 else 1.0
            for which in range(3):
                if which < 2:
                    off = 1 if low < which + 1 <= high else 0
                else:
                    off = max(max(high - 1, 0) - max(n - 1, 0), max(n - 1, 0) - max(low - 1, 0))
                if off:
                    weight[0, which] += share * off
                    weight[1, which] += off * off
                    number[which] += 1
    return weight, number
