"""The fast loops over cells: counting them, and how far each can be off.

They stand in one file because compiled code is kept by the file it comes from: a loop that took others in from elsewhere would not
notice that they have changed.
"""

from __future__ import annotations

import math

import numpy as np

from evenstand.trail.compiled import jit

DEEP, WIDE = 256, 512  # rows and columns of a block: a tool's width lies along the rows
MOST_TIMES = 255
NEVER = np.iinfo(np.int32).max
TOUCHED = 0.502  # a cell whose middle is nearer to a step than this, along either axis, may touch it [cells]


@jit
def _put(xs, ys, n, row0, column0, span_lo, span_hi, last_row, last_column):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Columns a convex outline takes in each row of a block: from span_lo up to, not with, span_hi. Gives first row and one past last."""
    y_lo, y_hi = ys[0], ys[0]
    for i in range(1, n):
        y_lo, y_hi = min(y_lo, ys[i]), max(y_hi, ys[i])
    a, b = max(math.ceil(y_lo), row0), min(math.ceil(y_hi), last_row)
    if a >= b:
        return a, a
    for r in range(a - row0, b - row0):
        span_lo[r], span_hi[r] = last_column, column0
    x0, y0 = xs[n - 1], ys[n - 1]
    for i in range(n):
        x1, y1 = xs[i], ys[i]
        if y0 != y1:
            low_x, low_y, high_x, high_y = (x0, y0, x1, y1) if y0 < y1 else (x1, y1, x0, y0)
            r0, r1 = max(math.ceil(low_y), a), min(math.ceil(high_y), b)
            if r0 < r1:
                lean = (high_x - low_x) / (high_y - low_y)
                for r in range(r0, r1):
                    c = math.ceil(low_x + (r - low_y) * lean)
                    span_lo[r - row0] = min(span_lo[r - row0], max(c, column0))
                    span_hi[r - row0] = max(span_hi[r - row0], min(c, last_column))
        x0, y0 = x1, y1
    return a, b


@jit
def _convex(xs, ys):  # type: ignore[no-untyped-def]  # pragma: no cover
    """-1 for a convex quad, else the corner at which it is dented."""
    for i in range(4):
        p, q = (i + 3) % 4, (i + 1) % 4
        if (xs[i] - xs[p]) * (ys[q] - ys[i]) - (ys[i] - ys[p]) * (xs[q] - xs[i]) < 0.0:
            return i
    return -1


@jit
def sorted_into_blocks(left, right, node, rows, columns, reach):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Where the steps of each block of cells begin, and which steps come near it, in order; reach: how far from a step the middle of a cell
    may be [cells]."""
    down, over = (rows + DEEP - 1) // DEEP, (columns + WIDE - 1) // WIDE
    begin = np.zeros(down * over + 1, np.int64)
    entry = np.empty(0, np.int64)
    for turn in range(2):
        for i in range(node.size - 1, -1, -1):
            k = node[i]
            x_lo = min(min(left[k, 0], right[k, 0]), min(left[k + 1, 0], right[k + 1, 0])) - reach
            x_hi = max(max(left[k, 0], right[k, 0]), max(left[k + 1, 0], right[k + 1, 0])) + reach
            y_lo = min(min(left[k, 1], right[k, 1]), min(left[k + 1, 1], right[k + 1, 1])) - reach
            y_hi = max(max(left[k, 1], right[k, 1]), max(left[k + 1, 1], right[k + 1, 1])) + reach
            r0, r1 = max(math.ceil(y_lo), 0), min(math.ceil(y_hi), rows) - 1
            c0, c1 = max(math.ceil(x_lo), 0), min(math.ceil(x_hi), columns) - 1
            if r0 > r1 or c0 > c1:
                continue
            for br in range(r0 // DEEP, r1 // DEEP + 1):
                for bc in range(c0 // WIDE, c1 // WIDE + 1):
                    q = br * over + bc
                    if turn == 0:
                        begin[q + 1] += 1
                    else:
                        begin[q + 1] -= 1
                        entry[begin[q + 1]] = k
        if turn == 0:
            for q in range(down * over):
                begin[q + 1] += begin[q]
            entry = np.empty(begin[down * over], np.int64)
    for q in range(down * over):  # after filling downwards begin[q + 1] is where block q begins
        begin[q] = begin[q + 1]
    begin[down * over] = entry.size
    return begin, entry


@jit
def count_cells(  # type: ignore[no-untyped-def]  # pragma: no cover
    left, right, node, row, rate, weigh, rows, columns, keep, count, first, dose, laid
):
    """Totals over blocks; maps are filled where they are kept."""
    down, over = (rows + DEEP - 1) // DEEP, (columns + WIDE - 1) // WIDE
    begin, entry = sorted_into_blocks(left, right, node, rows, columns, 0.0)
    block = np.zeros((DEEP, WIDE), np.uint8)
    who = np.empty((DEEP, WIDE), np.int32)
    mass = np.zeros((DEEP, WIDE), np.float32)
    span_lo, span_hi = np.empty(DEEP, np.int64), np.empty(DEEP, np.int64)
    xs, ys = np.empty(4), np.empty(4)
    tx, ty = np.empty(3), np.empty(3)
    once, twice, more = 0, 0, 0
    total = 0.0
    for br in range(down):
        for bc in range(over):
            p0, p1 = begin[br * over + bc], begin[br * over + bc + 1]
            if p0 == p1:
                continue
            row0, column0 = br * DEEP, bc * WIDE
            last_row, last_column = min(row0 + DEEP, rows), min(column0 + WIDE, columns)
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
                line = block[r]
                for c0 in range(0, last_column - column0, 256):
                    some, again, all_times = np.uint16(0), np.uint16(0), np.uint16(0)  # 256 cells, 255 times each, still fit
                    for c in range(c0, min(c0 + 256, last_column - column0)):
                        some = np.uint16(some + np.uint16(line[c] > 0))
                        again = np.uint16(again + np.uint16(line[c] > 1))
                        all_times = np.uint16(all_times + np.uint16(line[c]))
                    once, twice, more = once + int(some), twice + int(again), more + int(all_times)
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


@jit
def touch_cells(x0, y0, x1, y1, row0, column0, last_row, last_column, ground, other, lone):  # type: ignore[no-untyped-def]  # pragma: no cover
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


@jit
def certify_cells(left, right, node, begins, ends, rows, columns):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Cells covered, covered twice and repeated, their doubt as `doubt_of` gives it, and whether a cell was sown 255 times."""
    down, over = (rows + DEEP - 1) // DEEP, (columns + WIDE - 1) // WIDE
    begin, entry = sorted_into_blocks(left, right, node, rows, columns, TOUCHED)
    block, ground = np.zeros((DEEP, WIDE), np.uint8), np.zeros((DEEP, WIDE), np.uint8)
    other, lone = np.zeros((DEEP, WIDE), np.uint8), np.zeros((DEEP, WIDE), np.uint8)
    span_lo, span_hi = np.empty(DEEP, np.int64), np.empty(DEEP, np.int64)
    xs, ys = np.empty(4), np.empty(4)
    tx, ty = np.empty(3), np.empty(3)
    counts = np.zeros(3, np.int64)
    weight, number = np.zeros((2, 3)), np.zeros(3, np.int64)
    full = False
    for br in range(down):
        for bc in range(over):
            p0, p1 = begin[br * over + bc], begin[br * over + bc + 1]
            if p0 == p1:
                continue
            row0, column0 = br * DEEP, bc * WIDE
            last_row, last_column = min(row0 + DEEP, rows), min(column0 + WIDE, columns)
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
                    touch_cells(xs[side], ys[side], xs[to], ys[to], row0, column0, last_row, last_column, ground, other, lone)
            high, wide = last_row - row0, last_column - column0
            for r in range(high):
                for c in range(wide):
                    n = int(block[r, c])
                    counts[0] += int(n > 0)
                    counts[1] += int(n > 1)
                    counts[2] += max(n - 1, 0)
                    full = full or n == MOST_TIMES
            w, m = doubt_of(block[:high, :wide], ground, other, lone, MOST_TIMES)
            weight += w
            number += m
    return counts, weight, number, full


@jit
def doubt_of(count, ground, other, lone, most):  # type: ignore[no-untyped-def]  # pragma: no cover
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
