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
from evenstand.trail.cell_loops import count_cells
from evenstand.trail.pieces import extent_of
from evenstand.trail.strips import Strips

TILT_RAD = 0.03
DoseArray = npt.NDArray[np.float32]
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
    once, twice, more, mass = count_cells(place, other, node, strips.row, rate, weigh, rows, columns, keep, count, first, dose, laid)
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
    left, right = _turned(strips.left, turn), _turned(strips.right, turn)
    if like is not None:
        low, (rows, columns) = like.origin_m @ turn, like.count.shape
    else:
        low, columns, rows = _extent(left, right, None if reach_m is None else _turned(np.asarray(reach_m), turn), cell_m)
    return _in_cells(left, low, cell_m), _in_cells(right, low, cell_m), rows, columns, turn, low


def _turned(places: FloatArray, turn: FloatArray) -> FloatArray:
    """Places in another frame, coordinate by coordinate. [m]"""
    out = np.empty_like(places)
    for i in (0, 1):
        out[:, i] = places[:, 0] * turn[0, i] + places[:, 1] * turn[1, i]
    return out


def _in_cells(places: FloatArray, low: FloatArray, cell_m: float) -> FloatArray:
    """Places counted in cells from the middle of the first; in their own array."""
    for i in (0, 1):
        places[:, i] = (places[:, i] - low[i]) / cell_m - 0.5
    return places


def _extent(left: FloatArray, right: FloatArray, reach: FloatArray | None, cell_m: float) -> tuple[FloatArray, int, int]:
    """Lower corner of the cells [m], and how many columns and rows."""
    corners = [side for side in (left, right, reach) if side is not None and side.size]
    low, span = extent_of(corners)
    size = np.ceil(span / cell_m).astype(np.int64) + 1
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
