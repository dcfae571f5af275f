"""Outlines of strips as closed rings, cut into pieces of about eight metres, each in a narrow box along its own chord.

Outlines run side by side far more than they cross: only pieces whose boxes meet need to be looked at edge by edge. A piece all of whose
edges run within 45 degrees of its chord cannot cross itself, nor the next one, if that runs within a right angle of it. Steps in pieces
that turn back are taken out of their strip and made rings of their own.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import BoolArray

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """How the work on outlines is done: by compiled loops, or by numpy on whole arrays. Both do the same and find the same crossings.

    lay: fills vertices, pieces and slabs of the chains; boxes: the box of every piece, and which are wild; reach: from the middle of a box,
    long ones in parts, to its farthest corner [m]; crossings: each twice, where and what is entered; depths: how many other rings lie
    around the first vertex of each; sums: repeated, twice-sown and skipped ground [m²], and how many rings do not come out even.
    """

    lay: Callable[[FloatArray, FloatArray, IntArray, IntArray, IntArray, FloatArray, Outlines], None]
    boxes: Callable[[Outlines], None]
    reach: Callable[[FloatArray], float]
    crossings: Callable[[Outlines, float, int, int], tuple[IntArray, FloatArray]]
    depths: Callable[[Outlines, int, float, int, int], IntArray]
    sums: Callable[[Outlines, int, IntArray, IntArray, FloatArray], tuple[FloatArray, int]]


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
    form: Form, left: FloatArray, right: FloatArray, first: IntArray, last: IntArray, rings: list[FloatArray], low: FloatArray, most: int
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
    form.lay(left, right, first, last, parts, low, lines)
    piece = int(of_chain[-1])
    for k, ring in enumerate(rings):
        a = int(begin[chains + k])
        lines.node[a : a + ring.shape[0]] = np.rint((ring - low) / UNIT_M) * UNIT_M
        size = ring.shape[0] - 1
        lines.piece[piece : piece + size] = np.column_stack([np.arange(a, a + size), np.ones(size), np.full(size, ACROSS)])
        lines.of[piece : piece + size] = chains + k
        piece += size
    form.boxes(lines)
    return lines


def grid_of(form: Form, lines: Outlines, span: FloatArray) -> tuple[float, int, int]:
    """Side of the cells that boxes are sorted into, so that boxes that meet have their middles in neighbouring cells [m]; columns; rows."""
    cell = max(2.0 * form.reach(lines.box) + 2 * MARGIN_M, float(np.sqrt((span.prod() + 1.0) / MOST_CELLS)), float(span.max()) / 30_000)
    columns, rows = (int(v) + 3 for v in span / cell)
    return cell, columns, rows


def taken_apart(first: IntArray, last: IntArray, lines: Outlines) -> tuple[IntArray, IntArray]:
    """Chains, as first and last nodes, cut so that every step in a wild piece stands alone."""
    slab_of = np.full(lines.piece.shape[0], -1, dtype=np.int64)
    slab_of[lines.slabs[:, 0]] = slab_of[lines.slabs[:, 1]] = np.arange(lines.slabs.shape[0])
    across = np.flatnonzero(slab_of < 0)
    slab_of[across] = slab_of[across - 1]  # the ends of a strip belong to the steps they end
    node, count = lines.slabs[np.unique(slab_of[lines.wild])][:, 2:].T
    alone = np.zeros(int(last.max()) + 1, dtype=np.bool_)
    alone[runs_from(node, count)] = True
    step, chain = runs_from(first, last - first), np.repeat(np.arange(first.size), last - first)
    new = np.ones(step.size, dtype=np.bool_)
    new[1:] = (chain[1:] != chain[:-1]) | alone[step[1:]] | alone[step[:-1]]
    begin = np.flatnonzero(new)
    return step[begin], step[np.concatenate([begin[1:] - 1, [step.size - 1]])] + 1


def runs_from(first: IntArray, count: IntArray) -> IntArray:
    """Whole numbers from each first one on, so many each."""
    out: IntArray = np.repeat(first - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))
    return out
