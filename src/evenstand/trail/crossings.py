"""Union of very many strips by the crossings of their outlines.

Every strip is a closed ring with its ground on the left; the number of rings around a place is the number of times it was sown. Along a
ring that number changes only where another ring crosses it. So it is enough to know it at one place of every ring, and where rings cross;
the ground sown once or more, twice or more, is then the sum along those stretches of outline to whose right it was sown never, once.

Outlines run side by side far more than they cross. They are cut into pieces of about eight metres, each in a narrow box along its own
chord, and only pieces whose boxes meet are looked at edge by edge. Coordinates are snapped to a fine grid, and every "left or right of
an edge" is decided exactly. Where a point lies on an edge, ring k counts as moved by k times (e, e squared), e being smaller than any
number: so no point ever lies on an edge of another ring, and what is entered is always left again.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import Literal

import numpy as np

from evenstand.base.errors import RangeError
from evenstand.model.place import FloatArray, IntArray
from evenstand.trail.pieces import UNIT_M, Form, extent_of, grid_of, laid_out, steps_of_piece, taken_apart

Way = Literal["auto", "compiled", "arrays"]
LOADED = "evenstand.trail.crossing_loops"
REPAID_BY_NODES = 2_000_000  # so many node pairs take the arrays twice as long as loading the loops
ADDING = 2.0**-52  # what adding one term can lose of a sum
PLACING = 2.0**-46  # how far a crossing can lie from where it is computed, as a share of the extent


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """repeat_m2: ground counted once for every time after the first; twice_m2: sown two times or more; skipped_m2: inside the
    boundary and not sown; bound_m2: how far each can be off, by snapping and rounding. [m²] crossings: how many were found."""

    repeat_m2: float
    twice_m2: float
    skipped_m2: float
    bound_m2: float
    crossings: int


class UnevenError(Exception):
    """Rings that are not left as often as they are entered."""


def count_strips(left: FloatArray, right: FloatArray, start: IntArray, rings: list[FloatArray], *, way: Way = "auto") -> Counts:
    """Repeated, twice-sown and skipped ground of chains of node pairs.

    Parameters
    ----------
    left, right : array (m, 2)
        Edges of the chains; every step has positive area. [m]
    start : array (c + 1,)
        Chain j holds nodes start[j] to start[j + 1]. [-]
    rings : list of array (k, 2)
        Boundary rings, closed, ground on the left: outlines counter-clockwise, holes clockwise. [m]
    way : str
        "compiled": loops, some 0.4 s to load; "arrays": numpy on whole arrays, eight times slower; "auto": the loops if they are loaded, or
        if what this process was asked for so far repays loading them, else arrays. Both find the same crossings. [-]

    Returns
    -------
    Counts
        Areas and their bound. [m²]

    Raises
    ------
    UnevenError
        If a ring is not left as often as it is entered.
    RangeError
        If `way` is none of these words.
    """
    form = _form(way, left.shape[0])
    low, span = extent_of([a for a in (left, right, *rings) if a.size])
    low, span = np.floor(low), span + 1.0
    first, last = start[:-1].astype(np.int64), start[1:].astype(np.int64) - 1
    most = steps_of_piece(left)
    while True:
        lines = laid_out(form, left, right, first, last, rings, low, most)
        if not lines.wild.any():
            cell, columns, rows = grid_of(form, lines, span)
            at, place = form.crossings(lines, cell, columns, rows)
            if not lines.wild.any():
                break
        first, last = taken_apart(first, last, lines)
    depth = form.depths(lines, first.size, cell, columns, rows)
    sums, wrong = form.sums(lines, first.size, depth, at, place)
    if wrong:
        raise UnevenError(f"{wrong} of {lines.begin.size - 1} rings")
    return Counts(
        repeat_m2=float(sums[0]),
        twice_m2=float(sums[1]),
        skipped_m2=float(sums[2]),
        bound_m2=_bound_m2(lines.length_m, at.shape[0], float(span.sum())),
        crossings=at.shape[0] // 2,
    )


_asked: list[int] = []  # node pairs this process was asked for while the loops were not loaded


def _form(way: Way, nodes: int) -> Form:
    """Loops or arrays."""
    if way not in ("auto", "compiled", "arrays"):
        raise RangeError(f"'{way}' is no way to count", where="way", limit="auto, compiled or arrays")
    if way == "auto":
        _asked.append(nodes)
    if way == "compiled" or (way == "auto" and (LOADED in sys.modules or sum(_asked) >= REPAID_BY_NODES)):
        from evenstand.trail import crossing_loops

        _asked.clear()  # from now on they are loaded
        return crossing_loops.FORM
    from evenstand.trail import crossing_arrays

    return crossing_arrays.FORM


def _bound_m2(length_m: float, events: int, extent_m: float) -> float:
    """How far a total can be off [m²].

    Snapping moves a vertex by at most 0.71 units, so an outline edge sweeps less than one unit times its length. A stretch of outline that
    ends at a crossing ends where it was computed, the same for both rings; that moves it by no more than `PLACING` of the extent, and
    crossings nearer to one another than that may be taken in the wrong order, which shifts a stretch of that length to the wrong sum.
    Every term of a sum is rounded in proportion to the extent times its length; the sums carry what rounding took.
    """
    return UNIT_M * length_m + events * (PLACING * extent_m) * extent_m + 8 * ADDING * extent_m * length_m
