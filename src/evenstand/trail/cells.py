"""Ground in small square cells: how often each was sown, which row of the trail sowed it first, and what it received.

A cell belongs to a strip if its middle lies in it, the left and lower edge counting; so neighbouring steps share no cell and lose none. The
grid is turned nearly to the usual heading, so that the tool's width lies along the rows of cells; not quite, so that the edges of passes
cut the cells at every place and rounding to whole cells evens out. Cells are counted block by block, each small
enough for the processor's nearest memory; a map is kept only where it is asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import RangeError, require_range
from evenstand.model.place import FloatArray, IntArray
from evenstand.trail.strips import Strips
from evenstand.trail.tiles import _jit

BLOCK = 256
MOST_TIMES = 255
TILT_RAD = 0.03
DoseArray = npt.NDArray[np.float32]
NEVER = np.iinfo(np.int32).max
MOST_CELLS = 400_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class CellMap:
    """A map of cells. origin_m (2,): its corner in the trail's frame [m]; along (2,), across (2,): unit vectors of its rows and columns in
    that frame; count (rows, columns): times sown, 255 standing for that or more; first (rows, columns): row of the trail that sowed it
    first, -1 never; laid (trail rows,): cells each row of the trail passed over; dose_kg_ha (rows, columns): product received in all,
    None where no rates were given [kg/ha]."""

    cell_m: float
    origin_m: FloatArray
    across: FloatArray
    along: FloatArray
    count: npt.NDArray[np.uint8]
    first: npt.NDArray[np.int32]
    laid: IntArray
    dose_kg_ha: DoseArray | None

    def middle_m(self, rows: IntArray, columns: IntArray) -> FloatArray:
        """Middles of cells in the trail's frame, shape (n, 2). [m]"""
        out: FloatArray = (
            self.origin_m + np.outer((columns + 0.5) * self.cell_m, self.across) + np.outer((rows + 0.5) * self.cell_m, self.along)
        )
        return out

    def cell_of(self, xy_m: FloatArray) -> tuple[IntArray, IntArray]:
        """Row and column of the cell each place (n, 2) lies in; -1 in both outside the map. [-]"""
        away = np.asarray(xy_m, dtype=np.float64).reshape(-1, 2) - self.origin_m
        row = np.floor(away @ self.along / self.cell_m).astype(np.int64)
        column = np.floor(away @ self.across / self.cell_m).astype(np.int64)
        outside = (row < 0) | (column < 0) | (row >= self.count.shape[0]) | (column >= self.count.shape[1])
        row[outside], column[outside] = -1, -1
        return row, column

    @property
    def cell_m2(self) -> float:
        """Area of one cell. [m²]"""
        return self.cell_m * self.cell_m


@dataclass(frozen=True, slots=True, kw_only=True)
class CellTotals:
    """Totals of cells. covered_m2: sown once or more; twice_m2: two times or more; repeat_m2: every time after the first [m²];
    mass_kg: product in all cells, None where no rates were given [kg]; map: None where none was asked for."""

    cell_m: float
    covered_m2: float
    twice_m2: float
    repeat_m2: float
    mass_kg: float | None
    map: CellMap | None


def cells_of(
    strips: Strips,
    *,
    cell_m: float = 0.25,
    rate_kg_ha: FloatArray | None = None,
    keep: bool = False,
    upright: bool = False,
    reach_m: FloatArray | None = None,
    like: CellMap | None = None,
) -> CellTotals:
    """Count the ground of strips in cells.

    Parameters
    ----------
    strips : Strips
        Chains of node pairs with the rows they came from. [m]
    cell_m : float
        Side of a cell. [m]
    rate_kg_ha : array (n,) or None
        Rate in each row of the trail; not a number counts as none. [kg/ha]
    keep : bool
        Keep the map. [-]
    upright : bool
        Rows of cells along x and columns along y, as files for a GIS want them. [-]
    reach_m : array (k, 2) or None
        Places the map should reach too, such as the corners of a field. [m]
    like : CellMap or None
        Take the same cells as this map, its size included. [-]

    Returns
    -------
    CellTotals
        Areas as whole cells. [m²]

    Raises
    ------
    RangeError
        If the cell is smaller than 0.02 m or larger than 10 m, or the map would hold more than `MOST_CELLS`.
    """
    cell_m = like.cell_m if like is not None else cell_m
    require_range("cell_m", cell_m, 0.02, 10.0, unit="m")
    if strips.start.size <= 1:
        none = None if rate_kg_ha is None else 0.0
        return CellTotals(cell_m=cell_m, covered_m2=0.0, twice_m2=0.0, repeat_m2=0.0, mass_kg=none, map=None)
    place, other, rows, columns, turn, low = laid_out(strips, cell_m, upright=upright, reach_m=reach_m, like=like)
    if keep and rows * columns > MOST_CELLS:
        raise RangeError(f"{rows} x {columns} cells", where="cell_m", limit=f"at most {MOST_CELLS:,}", cure="Take larger cells for a map.")
    shape = (rows, columns) if keep else (0, 0)
    count, first = np.zeros(shape, np.uint8), np.full(shape, -1, np.int32)
    weigh = rate_kg_ha is not None
    rate = np.nan_to_num(np.asarray(rate_kg_ha, dtype=np.float64)) if rate_kg_ha is not None else np.zeros(1)
    dose = np.zeros(shape if weigh else (0, 0), np.float32)
    laid = np.zeros(int(strips.row.max()) + 1 if keep else 0, np.int64)
    node = _quads(strips.start)
    once, twice, more, mass = _count(place, other, node, strips.row, rate, weigh, rows, columns, keep, count, first, dose, laid)
    area = cell_m * cell_m
    kept = CellMap(
        cell_m=cell_m, origin_m=turn @ low, across=turn[:, 0], along=turn[:, 1], count=count, first=first, laid=laid,
        dose_kg_ha=dose if weigh else None,
    )  # fmt: skip
    return CellTotals(
        cell_m=cell_m, covered_m2=once * area, twice_m2=twice * area, repeat_m2=more * area, mass_kg=mass * area / 1e4 if weigh else None,
        map=kept if keep else None,
    )  # fmt: skip


def laid_out(
    strips: Strips, cell_m: float, *, upright: bool = False, reach_m: FloatArray | None = None, like: CellMap | None = None
) -> tuple[FloatArray, FloatArray, int, int, FloatArray, FloatArray]:
    """Left and right edges of strips in cells, the middle of cell (0, 0) being (0, 0); how many rows and columns of
    cells; the matrix that turns the frame to the cells, and their lower corner in the turned frame [m].

    Parameters
    ----------
    strips : Strips
        What was sown; not empty. [m]
    cell_m, upright, reach_m, like
        As for `cells_of`.
    """
    require_range("cell_m", cell_m, 0.02, 10.0, unit="m")
    across = like.across if like is not None else np.array([1.0, 0.0]) if upright else _usual_across(strips)
    turn = np.column_stack([across, np.array([-across[1], across[0]])])
    left, right = strips.left @ turn, strips.right @ turn
    if like is not None:
        low, (rows, columns) = like.origin_m @ turn, like.count.shape
    else:
        low, columns, rows = _extent(left, right, None if reach_m is None else np.asarray(reach_m) @ turn, cell_m)
    return (left - low) / cell_m - 0.5, (right - low) / cell_m - 0.5, rows, columns, turn, low


def _extent(left: FloatArray, right: FloatArray, reach: FloatArray | None, cell_m: float) -> tuple[FloatArray, int, int]:
    """Lower corner of the cells [m], and how many columns and rows."""
    corners = [side for side in (left, right, reach) if side is not None and side.size]
    low: FloatArray = np.min([side.min(axis=0) for side in corners], axis=0)
    high = np.max([side.max(axis=0) for side in corners], axis=0)
    size = np.ceil((high - low) / cell_m).astype(np.int64) + 1
    return low, int(size[0]), int(size[1])


def _usual_across(strips: Strips) -> FloatArray:
    """Unit vector a little off across the usual way driven, which is the mean of the strips' widths as directions without sense."""
    wide = strips.right - strips.left
    z = (wide[:, 0] + 1j * wide[:, 1]) ** 2
    angle = math.atan2(float(z.imag.sum()), float(z.real.sum())) / 2 + TILT_RAD
    return np.array([math.cos(angle), math.sin(angle)])


def _quads(start: IntArray) -> IntArray:
    """First node of every step: all nodes but the last of each chain."""
    inner = np.ones(int(start[-1]), dtype=np.bool_)
    inner[start[1:] - 1] = False
    return np.flatnonzero(inner)


@_jit
def _put(xs, ys, n, row0, column0, span_lo, span_hi, last_row, last_column):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Columns a convex outline takes in each row of a block: from span_lo up to, not with, span_hi. Gives first row and one past last."""
    y_lo, y_hi = ys[0], ys[0]
    for i in range(1, n):
        y_lo, y_hi = min(y_lo, ys[i]), max(y_hi, ys[i])
    a, b = max(math.ceil(y_lo), row0), min(math.ceil(y_hi), last_row)
    if a >= b:
        return a, a
    for r in range(a, b):
        span_lo[r - row0] = 1 << 30
        span_hi[r - row0] = -(1 << 30)
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        x0, y0, x1, y1 = xs[i], ys[i], xs[j], ys[j]
        if y0 > y1 or (y0 == y1 and x0 > x1):
            x0, y0, x1, y1 = x1, y1, x0, y0
        if y0 == y1:
            continue
        lean = (x1 - x0) / (y1 - y0)
        for r in range(max(math.ceil(y0), a), min(math.ceil(y1), b)):
            c = math.ceil(x0 + (r - y0) * lean)
            if c < span_lo[r - row0]:
                span_lo[r - row0] = c
            if c > span_hi[r - row0]:
                span_hi[r - row0] = c
    for r in range(a, b):
        span_lo[r - row0] = max(span_lo[r - row0], column0)
        span_hi[r - row0] = min(span_hi[r - row0], last_column)
    return a, b


@_jit
def _convex(xs, ys):  # type: ignore[no-untyped-def]  # pragma: no cover
    """-1 for a convex quad, else the corner at which it is dented."""
    for i in range(4):
        p, q = (i + 3) % 4, (i + 1) % 4
        if (xs[i] - xs[p]) * (ys[q] - ys[i]) - (ys[i] - ys[p]) * (xs[q] - xs[i]) < 0.0:
            return i
    return -1


@_jit
def _count(  # type: ignore[no-untyped-def]  # pragma: no cover
    left, right, node, row, rate, weigh, rows, columns, keep, count, first, dose, laid
):
    """Totals over blocks; maps are filled where they are kept."""
    down, over = (rows + BLOCK - 1) // BLOCK, (columns + BLOCK - 1) // BLOCK
    begin = np.zeros(down * over + 1, np.int64)
    entry = np.empty(0, np.int64)
    for turn in range(2):
        if turn == 1:
            for q in range(down * over):
                begin[q + 1] += begin[q]
            entry = np.empty(begin[down * over], np.int64)
        for i in range(node.size):
            k = node[i]
            x_lo = min(min(left[k, 0], right[k, 0]), min(left[k + 1, 0], right[k + 1, 0]))
            x_hi = max(max(left[k, 0], right[k, 0]), max(left[k + 1, 0], right[k + 1, 0]))
            y_lo = min(min(left[k, 1], right[k, 1]), min(left[k + 1, 1], right[k + 1, 1]))
            y_hi = max(max(left[k, 1], right[k, 1]), max(left[k + 1, 1], right[k + 1, 1]))
            r0, r1 = math.ceil(y_lo), math.ceil(y_hi) - 1
            c0, c1 = math.ceil(x_lo), math.ceil(x_hi) - 1
            if r0 > r1 or c0 > c1:
                continue
            for br in range(r0 // BLOCK, r1 // BLOCK + 1):
                for bc in range(c0 // BLOCK, c1 // BLOCK + 1):
                    q = br * over + bc
                    if turn == 0:
                        begin[q + 1] += 1
                    else:
                        begin[q + 1] -= 1
                        entry[begin[q + 1]] = k
    # after filling downwards begin[q + 1] is where block q begins
    block = np.zeros((BLOCK, BLOCK), np.uint8)
    who = np.empty((BLOCK, BLOCK), np.int32)
    mass = np.zeros((BLOCK, BLOCK), np.float32)
    span_lo, span_hi = np.empty(BLOCK, np.int64), np.empty(BLOCK, np.int64)
    xs, ys = np.empty(4), np.empty(4)
    tx, ty = np.empty(3), np.empty(3)
    once, twice, more = 0, 0, 0
    total = 0.0
    for br in range(down):
        for bc in range(over):
            q = br * over + bc
            p0 = begin[q + 1]
            p1 = begin[q + 2] if q + 1 < down * over else entry.size
            if p0 == p1:
                continue
            row0, column0 = br * BLOCK, bc * BLOCK
            last_row, last_column = min(row0 + BLOCK, rows), min(column0 + BLOCK, columns)
            block[:] = 0
            if keep:
                who[:] = NEVER
            if weigh:
                mass[:] = 0.0
            for p in range(p0, p1):
                k = entry[p]
                xs[0], ys[0] = right[k, 0], right[k, 1]
                xs[1], ys[1] = right[k + 1, 0], right[k + 1, 1]
                xs[2], ys[2] = left[k + 1, 0], left[k + 1, 1]
                xs[3], ys[3] = left[k, 0], left[k, 1]
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
                        lo, hi = span_lo[r - row0], span_hi[r - row0]
                        if lo >= hi:
                            continue
                        line = block[r - row0]
                        for c in range(lo - column0, hi - column0):
                            line[c] += line[c] != MOST_TIMES
                        if keep:
                            laid[row[k]] += hi - lo
                            mine = who[r - row0]
                            mark = np.int32(row[k])
                            for c in range(lo - column0, hi - column0):
                                mine[c] = min(mine[c], mark)
                        if weigh:
                            heap = mass[r - row0]
                            add = np.float32(rate[row[k]])
                            for c in range(lo - column0, hi - column0):
                                heap[c] += add
            for r in range(last_row - row0):
                for c in range(last_column - column0):
                    n = int(block[r, c])
                    once += int(n > 0)
                    twice += int(n > 1)
                    more += n
            if weigh:
                for r in range(last_row - row0):
                    for c in range(last_column - column0):
                        total += mass[r, c]
            if keep:
                for r in range(last_row - row0):
                    for c in range(last_column - column0):
                        count[row0 + r, column0 + c] = block[r, c]
                        if who[r, c] != NEVER:
                            first[row0 + r, column0 + c] = who[r, c]
                        if weigh:
                            dose[row0 + r, column0 + c] = mass[r, c]
    return once, twice, more - once, total
