"""Outlines of strips as closed rings, cut into pieces of about eight metres, each in a narrow box along its own chord.

Outlines run side by side far more than they cross: only pieces whose boxes meet need to be looked at edge by edge. A piece all of whose
edges run within 45 degrees of its chord cannot cross itself, nor the next one, if that runs within a right angle of it. Steps in pieces
that turn back are taken out of their strip and made rings of their own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import BoolArray
from evenstand.trail.compiled import jit

UNIT_M = 2.0**-24
PIECE_M = 8.0
MOST_EDGES = 16
MOST_CELLS = 16_000_000
MARGIN_M = 1e-6
SIDE, ACROSS = 0, 1


@dataclass(slots=True, kw_only=True)
class Outlines:
    """Rings as one row of vertices, each closed, and their pieces in order.

    node (v,2): vertices [m]; begin (r+1,): where each ring's begin; piece (p,3): first vertex, edges, `SIDE` or `ACROSS`; of (p,): its
    ring; box (p,6): middle, direction, half length, half width [m]; sum_m2 (p,): half the cross products along it [m²]; wild (p,): it
    may cross itself or others of its ring; slabs (s,4): right and left piece of the same steps, their first node and how many they are;
    plain (r,): the ring cannot cross itself.
    """

    node: FloatArray
    begin: IntArray
    piece: IntArray
    of: IntArray
    box: FloatArray
    sum_m2: FloatArray
    wild: BoolArray
    slabs: IntArray
    plain: BoolArray

    @property
    def length_m(self) -> float:
        """No outline is longer than this: an edge within 45 degrees of its piece's chord is at most the root of two longer than it. [m]"""
        return 2.0 * math.sqrt(2.0) * float(self.box[:, 4].sum())


def extent_of(places: list[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Lower corner of some places, and how far they reach from it; column by column, which is far faster than both at once. [m]"""
    low = np.array([min(float(a[:, i].min()) for a in places) for i in (0, 1)])
    high = np.array([max(float(a[:, i].max()) for a in places) for i in (0, 1)])
    return low, high - low


def steps_of_piece(left: FloatArray) -> int:
    """How many steps make a piece of about eight metres. [-]"""
    if left.shape[0] < 2:
        return 1
    some = np.linspace(0, left.shape[0] - 2, 2001).astype(np.int64)
    usual = float(np.median(np.hypot(*(left[some + 1] - left[some]).T)))
    return int(min(max(round(PIECE_M / max(usual, 1e-3)), 1), MOST_EDGES))


def laid_out(
    left: FloatArray, right: FloatArray, first: IntArray, last: IntArray, rings: list[FloatArray], low: FloatArray, most: int
) -> Outlines:
    """Rings, snapped, and their pieces: chains first, then the rings of the boundary."""
    steps = last - first
    parts = -(-steps // most)
    chains, outside = first.size, np.array([r.shape[0] for r in rings], dtype=np.int64)
    begin = np.concatenate([[0], np.cumsum(np.concatenate([2 * steps + 3, outside]))]).astype(np.int64)
    of_chain = np.concatenate([[0], np.cumsum(2 * parts + 2)]).astype(np.int64)
    total = int(of_chain[-1] + (outside - 1).sum())
    lines = Outlines(
        node=np.empty((int(begin[-1]), 2)), begin=begin, piece=np.empty((total, 3), np.int64), of=np.empty(total, np.int64),
        box=np.empty((total, 6)), sum_m2=np.empty(total), wild=np.zeros(total, np.bool_),
        slabs=np.empty((int(parts.sum()), 4), np.int64), plain=np.concatenate([steps == 1, np.ones(len(rings), np.bool_)]),
    )  # fmt: skip
    _lay(left, right, first, last, parts, of_chain, low, UNIT_M, lines.node, lines.begin, lines.piece, lines.of, lines.slabs)
    piece = int(of_chain[-1])
    for k, ring in enumerate(rings):
        a = int(begin[chains + k])
        lines.node[a : a + ring.shape[0]] = np.rint((ring - low) / UNIT_M) * UNIT_M
        size = ring.shape[0] - 1
        lines.piece[piece : piece + size] = np.column_stack([np.arange(a, a + size), np.ones(size), np.full(size, ACROSS)])
        lines.of[piece : piece + size] = chains + k
        piece += size
    _box(lines.node, lines.piece, lines.of, lines.plain, lines.box, lines.sum_m2, lines.wild, PIECE_M / 2)
    return lines


@jit
def _lay(left, right, first, last, parts, of_chain, low, unit, node, begin, piece, of, slabs):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Vertices and pieces of chains: up the right side, across, down the left side, across."""
    s = 0
    for c in range(first.size):
        a, n, q = first[c], last[c] - first[c], parts[c]
        v = begin[c]
        for i in range(n + 1):
            node[v + i, 0] = np.rint((right[a + i, 0] - low[0]) / unit) * unit
            node[v + i, 1] = np.rint((right[a + i, 1] - low[1]) / unit) * unit
            node[v + 2 * n + 1 - i, 0] = np.rint((left[a + i, 0] - low[0]) / unit) * unit
            node[v + 2 * n + 1 - i, 1] = np.rint((left[a + i, 1] - low[1]) / unit) * unit
        node[v + 2 * n + 2, 0], node[v + 2 * n + 2, 1] = node[v, 0], node[v, 1]
        g = of_chain[c]
        for j in range(q):
            i0, i1 = n * j // q, n * (j + 1) // q
            piece[g + j, 0], piece[g + j, 1], piece[g + j, 2] = v + i0, i1 - i0, SIDE
            other = g + 2 * q - j
            piece[other, 0], piece[other, 1], piece[other, 2] = v + 2 * n + 1 - i1, i1 - i0, SIDE
            slabs[s, 0], slabs[s, 1], slabs[s, 2], slabs[s, 3] = g + j, other, a + i0, i1 - i0
            s += 1
        piece[g + q, 0], piece[g + q, 1], piece[g + q, 2] = v + n, 1, ACROSS
        piece[g + 2 * q + 1, 0], piece[g + 2 * q + 1, 1], piece[g + 2 * q + 1, 2] = v + 2 * n + 1, 1, ACROSS
        of[g : g + 2 * q + 2] = c


@jit
def _box(node, piece, of, plain, box, sum_m2, wild, thick):  # type: ignore[no-untyped-def]  # pragma: no cover
    """The narrow box around every piece; a piece whose edges do not all run within 45 degrees of its chord is wild."""
    for g in range(piece.shape[0]):
        v, k = piece[g, 0], piece[g, 1]
        x0, y0 = node[v, 0], node[v, 1]
        dx, dy = node[v + k, 0] - x0, node[v + k, 1] - y0
        size = math.sqrt(dx * dx + dy * dy)
        ux, uy = (dx / size, dy / size) if size > 0.0 else (1.0, 0.0)
        low, high, area = 0.0, 0.0, 0.0
        ahead0, off0 = 0.0, 0.0
        straight = True
        for i in range(1, k + 1):
            x, y = node[v + i, 0] - x0, node[v + i, 1] - y0
            ahead, off = x * ux + y * uy, y * ux - x * uy
            straight &= abs(off - off0) <= ahead - ahead0
            low, high = min(low, off), max(high, off)
            area += ahead0 * (off - off0) - off0 * (ahead - ahead0)
            ahead0, off0 = ahead, off
        mid = 0.5 * (low + high)
        box[g, 0] = x0 + 0.5 * dx - mid * uy
        box[g, 1] = y0 + 0.5 * dy + mid * ux
        box[g, 2], box[g, 3], box[g, 4], box[g, 5] = ux, uy, 0.5 * size, 0.5 * (high - low)
        sum_m2[g] = 0.5 * (area + x0 * dy - y0 * dx)
        if piece[g, 2] == ACROSS or plain[of[g]]:
            continue
        if (k > 1 and not straight) or box[g, 5] > thick:
            wild[g] = True
        if (
            piece[g, 2] == SIDE
            and g > 0
            and piece[g - 1, 2] == SIDE
            and of[g - 1] == of[g]
            and box[g - 1, 2] * ux + box[g - 1, 3] * uy <= 0.0
        ):
            wild[g] = True
            wild[g - 1] = True


def grid_of(lines: Outlines, span: FloatArray) -> tuple[float, int, int]:
    """Side of the cells that boxes are sorted into, so that boxes that meet have their middles in neighbouring cells [m]; columns; rows."""
    cell = max(
        2.0 * float(_reach(lines.box, PIECE_M)) + 2 * MARGIN_M, float(np.sqrt((span.prod() + 1.0) / MOST_CELLS)), float(span.max()) / 30_000
    )
    columns, rows = (int(v) + 3 for v in span / cell)
    return cell, columns, rows


@jit
def sorted_into_cells(box, long, cell, rows, columns):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Boxes, long ones in parts, in the order of the cells their middles lie in: where each cell begins, the boxes, piece and part."""
    n = 0
    for g in range(box.shape[0]):
        n += max(1, math.ceil(2.0 * box[g, 4] / long))
    offset = np.zeros(rows * columns + 1, np.int64)
    where = np.empty(n, np.int64)
    entry = np.empty((n, 2), np.int64)
    part_box = np.empty((n, 6))
    for turn in range(2):
        m = 0
        for g in range(box.shape[0]):
            parts = max(1, math.ceil(2.0 * box[g, 4] / long))
            half = box[g, 4] / parts
            for k in range(parts):
                shift = (2 * k + 1) * half - box[g, 4]
                x, y = box[g, 0] + shift * box[g, 2], box[g, 1] + shift * box[g, 3]
                if turn == 0:
                    q = (int(y / cell) + 1) * columns + int(x / cell) + 1
                    where[m] = q
                    offset[q + 1] += 1
                else:
                    q = where[m]
                    offset[q + 1] -= 1
                    z = offset[q + 1]
                    entry[z, 0], entry[z, 1] = g, k
                    part_box[z, 0], part_box[z, 1], part_box[z, 2], part_box[z, 3] = x, y, box[g, 2], box[g, 3]
                    part_box[z, 4], part_box[z, 5] = half, box[g, 5]
                m += 1
        if turn == 0:
            for q in range(rows * columns):
                offset[q + 1] += offset[q]
    # after filling downwards offset[q + 1] is where cell q begins
    for q in range(rows * columns):
        offset[q] = offset[q + 1]
    offset[rows * columns] = n
    return offset, entry, part_box


@jit
def _reach(box, long):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Largest distance from the middle of a box, long ones in parts, to its corner."""
    most = 0.0
    for g in range(box.shape[0]):
        half = box[g, 4] / max(1, math.ceil(2.0 * box[g, 4] / long))
        most = max(most, half * half + box[g, 5] * box[g, 5])
    return math.sqrt(most)


def taken_apart(first: IntArray, last: IntArray, lines: Outlines) -> tuple[IntArray, IntArray]:
    """Chains, as first and last nodes, cut so that every step in a wild piece stands alone."""
    slab_of = np.full(lines.piece.shape[0], -1, dtype=np.int64)
    slab_of[lines.slabs[:, 0]] = slab_of[lines.slabs[:, 1]] = np.arange(lines.slabs.shape[0])
    across = np.flatnonzero(slab_of < 0)
    slab_of[across] = slab_of[across - 1]  # the ends of a strip belong to the steps they end
    node, count = lines.slabs[np.unique(slab_of[lines.wild])][:, 2:].T
    alone = np.zeros(int(last.max()) + 1, dtype=np.bool_)
    alone[_runs_from(node, count)] = True
    step, chain = _runs_from(first, last - first), np.repeat(np.arange(first.size), last - first)
    new = np.ones(step.size, dtype=np.bool_)
    new[1:] = (chain[1:] != chain[:-1]) | alone[step[1:]] | alone[step[:-1]]
    begin = np.flatnonzero(new)
    return step[begin], step[np.concatenate([begin[1:] - 1, [step.size - 1]])] + 1


def _runs_from(first: IntArray, count: IntArray) -> IntArray:
    """Whole numbers from each first one on, so many each."""
    out: IntArray = np.repeat(first - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))
    return out
