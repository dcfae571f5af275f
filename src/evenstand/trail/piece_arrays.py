"""Pieces of outlines laid down, and their boxes, by numpy on whole arrays: the same as `trail/piece_loops.py`, with nothing to load."""

from __future__ import annotations

import numpy as np

from evenstand.model.place import FloatArray, IntArray
from evenstand.trail.pieces import ACROSS, PIECE_M, SIDE, UNIT_M, Outlines, runs_from


def lay(left: FloatArray, right: FloatArray, first: IntArray, last: IntArray, parts: IntArray, low: FloatArray, lines: Outlines) -> None:
    """Vertices and pieces of chains: up the right side, across, down the left side, across."""
    steps = last - first
    chains, size = first.size, 2 * steps + 3
    ring = np.repeat(np.arange(chains), size)
    n, begin = steps[ring], lines.begin[:chains]
    k = np.arange(ring.size) - begin[ring]
    on_left = (k > n) & (k < 2 * n + 2)
    k = np.where(on_left, 2 * n + 1 - k, np.where(k > n, 0, k)) + first[ring]
    both = np.concatenate([right, left])
    np.rint((both - low) / UNIT_M, out=both)
    both *= UNIT_M
    np.take(both, k + on_left * right.shape[0], axis=0, out=lines.node[: ring.size])
    count = 2 * parts + 2
    c = np.repeat(np.arange(chains), count)
    g = np.arange(c.size)
    k = g - (np.cumsum(count) - count)[c]
    q, n, v = parts[c], steps[c], begin[c]
    back = k > q
    j = np.where(back, 2 * q - k, k)
    i0, i1 = n * j // q, n * (j + 1) // q
    side = (k != q) & (k != 2 * q + 1)
    lines.piece[: c.size, 0] = v + np.where(side, np.where(back, 2 * n + 1 - i1, i0), np.where(back, 2 * n + 1, n))
    lines.piece[: c.size, 1] = np.where(side, i1 - i0, 1)
    lines.piece[: c.size, 2] = np.where(side, SIDE, ACROSS)
    lines.of[: c.size] = c
    up = k < q
    lines.slabs[:, 0], lines.slabs[:, 1] = g[up], (g + 2 * (q - j))[up]
    lines.slabs[:, 2], lines.slabs[:, 3] = (first[c] + i0)[up], (i1 - i0)[up]


def boxes(lines: Outlines) -> None:
    """The narrow box around every piece; a piece whose edges do not all run within 45 degrees of its chord is wild."""
    node, piece, of, box = lines.node, lines.piece, lines.of, lines.box
    v, k = piece[:, 0], piece[:, 1]
    start = node[v]
    chord = node[v + k] - start
    size = np.sqrt(chord[:, 0] ** 2 + chord[:, 1] ** 2)
    long = size > 0.0
    ux = np.divide(chord[:, 0], size, out=np.ones_like(size), where=long)
    uy = np.divide(chord[:, 1], size, out=np.zeros_like(size), where=long)
    mine = np.repeat(np.arange(v.size), k + 1)
    x, y = (node[runs_from(v, k + 1)] - start[mine]).T
    ahead, off = x * ux[mine] + y * uy[mine], y * ux[mine] - x * uy[mine]
    head = np.cumsum(k + 1) - (k + 1)
    low, high = np.minimum.reduceat(off, head), np.maximum.reduceat(off, head)
    forward, aside = np.diff(ahead), np.diff(off)
    forward[head[1:] - 1] = aside[head[1:] - 1] = 0.0  # from one piece to the next
    area = np.add.reduceat(np.append(ahead[:-1] * aside - off[:-1] * forward, 0.0), head)
    straight = np.logical_and.reduceat(np.append(np.abs(aside) <= forward, True), head)
    mid = 0.5 * (low + high)
    box[:, 0] = start[:, 0] + 0.5 * chord[:, 0] - mid * uy
    box[:, 1] = start[:, 1] + 0.5 * chord[:, 1] + mid * ux
    box[:, 2], box[:, 3], box[:, 4], box[:, 5] = ux, uy, 0.5 * size, 0.5 * (high - low)
    lines.sum_m2[:] = 0.5 * (area + start[:, 0] * chord[:, 1] - start[:, 1] * chord[:, 0])
    side = piece[:, 2] == SIDE
    loose = side & ~lines.plain[of]
    lines.wild |= loose & (((k > 1) & ~straight) | (box[:, 5] > PIECE_M / 2))
    back = side[:-1] & loose[1:] & (of[1:] == of[:-1]) & (ux[1:] * ux[:-1] + uy[1:] * uy[:-1] <= 0.0)
    lines.wild[1:] |= back
    lines.wild[:-1] |= back


def parts_of(box: FloatArray) -> IntArray:
    """In how many parts a long box is taken. [-]"""
    return np.maximum(1, np.ceil(2.0 * box[:, 4] / PIECE_M)).astype(np.int64)


def reach(box: FloatArray) -> float:
    """Largest distance from the middle of a box, long ones in parts, to its corner. [m]"""
    half = box[:, 4] / parts_of(box)
    return float(np.sqrt((half * half + box[:, 5] * box[:, 5]).max()))


def sorted_into_cells(box: FloatArray, cell: float, columns: int) -> tuple[IntArray, IntArray, IntArray, FloatArray]:
    """Boxes, long ones in parts, in the order of the cells their middles lie in: the cell, the piece, the part, the part's box."""
    parts = parts_of(box)
    g = np.repeat(np.arange(parts.size), parts)
    k = runs_from(np.zeros_like(parts), parts)
    half = (box[:, 4] / parts)[g]
    shift = (2 * k + 1) * half - box[g, 4]
    part = box[g]
    part[:, 0] += shift * part[:, 2]
    part[:, 1] += shift * part[:, 3]
    part[:, 4] = half
    where = cells_of(part[:, :2], cell, columns)
    order = np.argsort(where, kind="stable")
    return where[order], g[order], k[order], part[order]


def cells_of(place: FloatArray, cell: float, columns: int) -> IntArray:
    """The cell of every place, counted along the rows; the first row and column stay empty. [-]"""
    out: IntArray = ((place[:, 1] / cell).astype(np.int64) + 1) * columns + (place[:, 0] / cell).astype(np.int64) + 1
    return out
