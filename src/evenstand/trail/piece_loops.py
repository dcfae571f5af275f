"""The fast loops over pieces of outlines: laying them down, their boxes, the cells these lie in.

As in every file of compiled code, none of these loops takes in anything from another file: see `trail/compiled.py`.
"""

from __future__ import annotations

import math

import numpy as np

from evenstand.trail.compiled import jit

SIDE, ACROSS = 0, 1  # as in `trail/pieces.py`; a test holds them equal


@jit
def lay(left, right, first, last, parts, of_chain, low, unit, node, begin, piece, of, slabs):  # type: ignore[no-untyped-def]  # pragma: no cover
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
def boxes(node, piece, of, plain, box, sum_m2, wild, thick):  # type: ignore[no-untyped-def]  # pragma: no cover
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
def reach(box, long):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Largest distance from the middle of a box, long ones in parts, to its corner."""
    most = 0.0
    for g in range(box.shape[0]):
        half = box[g, 4] / max(1, math.ceil(2.0 * box[g, 4] / long))
        most = max(most, half * half + box[g, 5] * box[g, 5])
    return math.sqrt(most)
