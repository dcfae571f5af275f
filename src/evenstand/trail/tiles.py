"""Union of very many strips by tiles: exact winding counts at the corners of a grid, and exact integration in the tiles edges pass.

Every strip is a closed ring with its ground on the left. The number of rings around a point is the number of times it was sown. Ring edges
are snapped to a fine grid whose lines lie between the tile lines, so that no vertex is on a tile line and every "left or right of
a corner" is decided once, by exact arithmetic. Tiles without edges have one count throughout. In the others the edges cut
horizontal slabs in which every edge is straight; where two edges cross inside a slab it is cut again at the crossing.
The ground inside a boundary rides along as a ring of weight `INSIDE`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np

from evenstand.model.place import FloatArray, IntArray

INSIDE = 1 << 20
LARGEST_TILES = 24_000_000
BITS = 24
TAME = 0.4
_ADDING = 2.0**-52  # what adding one term can lose of a sum


def _jit(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compiled, single-threaded, kept on disk where the machine lets us."""
    try:
        out: Callable[..., Any] = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # no place to keep it
        out = numba.njit(nogil=True, error_model="numpy")(function)
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """repeat_m2: ground counted once for every time after the first; twice_m2: sown two times or more; skipped_m2: inside the
    boundary and not sown; bound_m2: how far each can be off, by snapping and rounding. [m²]"""

    repeat_m2: float
    twice_m2: float
    skipped_m2: float
    bound_m2: float


def count_strips(left: FloatArray, right: FloatArray, start: IntArray, rings: list[FloatArray], *, tile_m: float | None = None) -> Counts:
    """Repeated, twice-sown and skipped ground of chains of node pairs.

    Parameters
    ----------
    left, right : array (m, 2)
        Edges of the chains; every step has positive area. [m]
    start : array (c + 1,)
        Chain j holds nodes start[j] to start[j + 1]. [-]
    rings : list of array (k, 2)
        Boundary rings, closed, ground on the left: outlines counter-clockwise, holes clockwise. [m]
    tile_m : float or None
        Size of a tile; None chooses. [m]

    Returns
    -------
    Counts
        Areas and their bound. [m²]
    """
    cut = [_cut(r) for r in rings]
    corners = [a for a in (left, right, *cut) if a.size]
    low = np.min([a.min(axis=0) for a in corners], axis=0) - 1.0
    high = np.max([a.max(axis=0) for a in corners], axis=0) + 1.0
    tile = tile_m or _tile_size(left, high - low)
    unit = 2.0**-BITS
    half = max(2, round(tile / unit / 2))
    tile = 2 * half * unit
    columns, rows = (int(v) for v in np.ceil((high - low) / tile) + 2)
    edge, weight, chain, length = _edges(left, right, start, low - tile, unit)
    for k, ring in enumerate(cut):
        e, w, c = _ring_edges(ring, low - tile, unit, start.size + k)
        length += float(np.hypot(e[:, 2] - e[:, 0], e[:, 3] - e[:, 1]).sum())
        edge, weight, chain = np.concatenate([edge, e]), np.concatenate([weight, w]), np.concatenate([chain, c])
    corner, offset, entry = _sorted_into_tiles(edge, weight, tile, unit, rows, columns)
    # snapping moves a point by less than 1.5 units, so an edge sweeps less than that times its length; half a unit more is for rounding
    repeat, twice, skipped = _uniform(corner, offset, rows, columns, tile)
    sums = _tiles(edge, weight, chain, corner, offset, entry, tile, unit, rows, columns, bool(rings))
    return Counts(
        repeat_m2=repeat + sums[0],
        twice_m2=twice + sums[1],
        skipped_m2=skipped + sums[2],
        bound_m2=length * unit * 2.0 + _ADDING * (sums[3] + 8) * max(repeat + sums[0], twice + sums[1], skipped + sums[2]),
    )


def _tile_size(left: FloatArray, span: FloatArray) -> float:
    """About eight steps a tile, but no more tiles than memory likes. [m]"""
    some = np.linspace(0, left.shape[0] - 2, 2001).astype(np.int64)
    usual = float(np.median(np.hypot(*(left[some + 1] - left[some]).T))) if left.shape[0] > 1 else 1.0
    return float(max(min(max(8.0 * usual, 2.0), 8.0), np.sqrt(float(span.prod()) / LARGEST_TILES), float(span.max()) / 50_000))


def _cut(ring: FloatArray) -> FloatArray:
    """A ring with no side longer than 40 m, so that exact arithmetic has room."""
    length = np.hypot(*np.diff(ring, axis=0).T)
    parts = np.maximum(1, np.ceil(length / 40.0)).astype(np.int64)
    begin = np.repeat(np.arange(length.size), parts)
    share = (np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)) / np.repeat(parts, parts)
    inner = ring[begin] + (ring[begin + 1] - ring[begin]) * share[:, None]
    return np.concatenate([inner, inner[:1]])


def _ring_edges(ring: FloatArray, origin: FloatArray, unit: float, chain: int) -> tuple[FloatArray, IntArray, IntArray]:
    """Edges of a boundary ring, low end first, with the weight that entering it from the left adds."""
    snapped = 2 * np.round((ring - origin) / (2 * unit)) * unit
    a, b = snapped[:-1], snapped[1:]
    down = (b[:, 1] < a[:, 1]) | ((b[:, 1] == a[:, 1]) & (b[:, 0] < a[:, 0]))
    keep = (a != b).any(axis=1)
    edge = np.where(down[:, None], np.concatenate([b, a], axis=1), np.concatenate([a, b], axis=1))[keep]
    return edge, np.where(down, INSIDE, -INSIDE)[keep], np.full(int(keep.sum()), chain)


@_jit
def _edges(left, right, start, origin, unit):  # type: ignore[no-untyped-def]  # pragma: no cover
    """All ring edges (low x, low y, high x, high y), snapped; +1 where the ring goes down, so that its ground is to the right."""
    chains = start.size - 1
    most = 2 * left.shape[0] + 2 * chains
    edge = np.empty((most, 4))
    weight = np.empty(most, np.int64)
    chain = np.empty(most, np.int64)
    n = 0
    length = 0.0
    quantum = 2.0 * unit
    for j in range(chains):
        a, b = start[j], start[j + 1]
        size = b - a
        tame = True  # both edges run well ahead in every step, so that the chain cannot lie over itself
        for k in range(a, b - 1 if size > 2 else a):
            lx, ly = left[k + 1, 0] - left[k, 0], left[k + 1, 1] - left[k, 1]
            rx, ry = right[k + 1, 0] - right[k, 0], right[k + 1, 1] - right[k, 1]
            mx, my = 0.5 * (lx + rx), 0.5 * (ly + ry)
            if min(lx * mx + ly * my, rx * mx + ry * my) < TAME * (mx * mx + my * my):
                tame = False
                break
        x1 = np.rint((left[a, 0] - origin[0]) / quantum) * quantum
        y1 = np.rint((left[a, 1] - origin[1]) / quantum) * quantum
        for k in range(2 * size):
            x0, y0 = x1, y1
            if k < size:
                x1, y1 = right[a + k, 0], right[a + k, 1]
            else:
                x1, y1 = left[b - 1 - (k - size), 0], left[b - 1 - (k - size), 1]
            x1 = np.rint((x1 - origin[0]) / quantum) * quantum
            y1 = np.rint((y1 - origin[1]) / quantum) * quantum
            if y0 == y1 and x0 == x1:
                continue
            if y1 > y0 or (y1 == y0 and x1 > x0):  # a level edge counts as rising to the right
                edge[n, 0], edge[n, 1], edge[n, 2], edge[n, 3] = x0, y0, x1, y1
                weight[n] = -1
            else:
                edge[n, 0], edge[n, 1], edge[n, 2], edge[n, 3] = x1, y1, x0, y0
                weight[n] = 1
            chain[n] = j if tame else -1 - n
            length += np.hypot(x1 - x0, y1 - y0)
            n += 1
    return edge[:n], weight[:n], chain[:n], length


@_jit
def _right_of(x0, y0, x1, y1, cx, cy, unit):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Whether the corner lies on or right of the edge at its height; decided exactly. Low end first, y0 < y1."""
    p = (x1 - x0) * (cy - y0)
    q = (cx - x0) * (y1 - y0)
    if abs(q - p) > 1e-14 * (abs(p) + abs(q)):
        return p < q
    ex, ey = np.int64(np.rint((x1 - x0) / unit)), np.int64(np.rint((y1 - y0) / unit))
    dx, dy = np.int64(np.rint((cx - x0) / unit)), np.int64(np.rint((cy - y0) / unit))
    return ex * dy <= dx * ey


@_jit
def _column(x0, y0, x1, y1, cy, tile, unit):  # type: ignore[no-untyped-def]  # pragma: no cover
    """The tile column in which an edge crosses the line y = cy."""
    xf = (x0 + (x1 - x0) * (cy - y0) / (y1 - y0) - unit) / tile
    c = int(np.floor(xf))
    f = xf - c
    if f < 1e-6 and not _right_of(x0, y0, x1, y1, (c + 1) * tile + unit, cy, unit):
        return c + 1
    if f < 1e-6 and _right_of(x0, y0, x1, y1, c * tile + unit, cy, unit):
        return c - 1
    if f > 1.0 - 1e-6 and not _right_of(x0, y0, x1, y1, (c + 1) * tile + unit, cy, unit):
        return c + 1
    return c


@_jit
def _sorted_into_tiles(edge, weight, tile, unit, rows, columns):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Counts at the lower left corner of every tile, and which edges pass each tile: 4 * edge + 2 * (through right) + (through left)."""
    n = edge.shape[0]
    corner = np.zeros((rows + 1, columns + 1), np.int32)
    offset = np.zeros(rows * columns + 1, np.int64)
    entry = np.empty(0, np.int64)
    only = np.empty(n, np.int64)
    for turn in range(2):
        if turn == 1:
            for q in range(rows * columns):
                offset[q + 1] += offset[q]
            entry = np.empty(offset[rows * columns], np.int64)
        for k in range(n):
            if turn == 1 and only[k] >= 0:
                offset[only[k] + 1] -= 1
                entry[offset[only[k] + 1]] = 4 * k
                continue
            x0, y0, x1, y1 = edge[k, 0], edge[k, 1], edge[k, 2], edge[k, 3]
            r0, r1 = int((y0 - unit) / tile), int((y1 - unit) / tile)
            ca = int((x0 - unit) / tile)
            last = int((x1 - unit) / tile)
            if turn == 0:
                only[k] = r0 * columns + ca if r0 == r1 and ca == last else -1
            for r in range(r0, r1 + 1):
                if r < r1:
                    cb = _column(x0, y0, x1, y1, (r + 1) * tile + unit, tile, unit)
                    if turn == 0:
                        corner[r + 1, cb + 1] += weight[k]
                else:
                    cb = last
                lo, hi = (ca, cb) if ca <= cb else (cb, ca)
                for c in range(lo, hi + 1):
                    q = r * columns + c
                    if turn == 0:
                        offset[q + 1] += 1
                    else:
                        offset[q + 1] -= 1
                        entry[offset[q + 1]] = 4 * k + (2 if c < hi else 0) + (1 if c > lo else 0)
                ca = cb
    # after filling downwards offset[q + 1] is where tile q begins
    out = np.empty(rows * columns + 1, np.int64)
    for q in range(rows * columns):
        out[q] = offset[q + 1]
    out[rows * columns] = entry.size
    for r in range(rows + 1):
        for c in range(columns):
            corner[r, c + 1] += corner[r, c]
    return corner, out, entry


@_jit
def _uniform(corner, offset, rows, columns, tile):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Tiles that no edge passes."""
    repeat = 0
    twice = 0
    skipped = 0
    for r in range(rows):
        for c in range(columns):
            w = corner[r, c]
            if w == 0 or offset[r * columns + c] != offset[r * columns + c + 1]:
                continue
            inside = w >= INSIDE // 2
            count = w - INSIDE if inside else w
            if count > 1:
                repeat += count - 1
                twice += 1
            if inside and count == 0:
                skipped += 1
    return repeat * tile * tile, twice * tile * tile, skipped * tile * tile


@_jit
def _tiles(edge, weight, chain, corner, offset, entry, tile, unit, rows, columns, bounded):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Tiles that edges pass."""
    most = 1
    for q in range(rows * columns):
        most = max(most, offset[q + 1] - offset[q])
    cuts = np.empty(4 * most + 2)
    low, high = np.empty(most), np.empty(most)
    lean = np.empty(most)
    base = np.empty(most)
    gain = np.empty(most, np.int64)
    at = np.empty(most)
    slope = np.empty(most)
    height = np.empty(most)
    plus = np.empty(most, np.int64)
    more = np.empty(most * most + 2)
    side = np.empty(most)
    side_plus = np.empty(most, np.int64)
    side_order = np.empty(most, np.int64)
    repeat = 0.0
    twice = 0.0
    skipped = 0.0
    terms = 0
    for r in range(rows):
        for c in range(columns):
            q = r * columns + c
            p0, p1 = offset[q], offset[q + 1]
            if p0 == p1:
                continue
            m = p1 - p0
            alone = abs(weight[entry[p0] >> 2]) == 1  # one strip by itself repeats nothing; a boundary by itself is skipped ground
            first = chain[entry[p0] >> 2]
            for p in range(p0 + 1, p1):
                if chain[entry[p] >> 2] != first:
                    alone = False
                    break
            if alone and (corner[r, c] == 0 or corner[r, c + 1] == 0 or corner[r + 1, c] == 0 or corner[r + 1, c + 1] == 0):
                continue
            x0, y0 = c * tile + unit, r * tile + unit
            x1, y1 = x0 + tile, y0 + tile
            n = 0
            sides = 0
            cuts[0], cuts[1] = y0, y1
            n = 2
            for i in range(m):
                code = entry[p0 + i]
                k = code >> 2
                ax, ay, bx, by = edge[k, 0], edge[k, 1], edge[k, 2], edge[k, 3]
                lean[i] = (bx - ax) / (by - ay)
                base[i] = ax - ay * lean[i]
                gain[i] = weight[k]
                a, b = max(ay, y0), min(by, y1)
                at_left, at_right = a, b
                if code & 1:
                    at_left = min(max(ay + (x0 - ax) * (by - ay) / (bx - ax), a), b)
                    cuts[n] = at_left
                    n += 1
                    side[sides] = at_left
                    side_plus[sides] = -weight[k] if bx > ax else weight[k]
                    sides += 1
                if code & 2:
                    at_right = min(max(ay + (x1 - ax) * (by - ay) / (bx - ax), a), b)
                    cuts[n] = at_right
                    n += 1
                if bx > ax:
                    low[i] = at_left if code & 1 else a
                    high[i] = at_right if code & 2 else b
                else:
                    low[i] = at_right if code & 2 else a
                    high[i] = at_left if code & 1 else b
                if ay > y0 and low[i] == ay:
                    cuts[n] = ay
                    n += 1
                if by < y1 and high[i] == by:
                    cuts[n] = by
                    n += 1
            for i in range(1, n):  # few and nearly in order
                v = cuts[i]
                j = i
                while j > 0 and cuts[j - 1] > v:
                    cuts[j] = cuts[j - 1]
                    j -= 1
                cuts[j] = v
            for s in range(n - 1):
                ya, yb = cuts[s], cuts[s + 1]
                tall = yb - ya
                if tall <= 0.0:
                    continue
                mid = 0.5 * (ya + yb)
                w0 = corner[r, c]
                for i in range(sides):
                    if side[i] < mid:
                        w0 += side_plus[i]
                t = 0
                for i in range(m):
                    if low[i] < mid and mid < high[i]:
                        g = lean[i]
                        x = base[i] + mid * g
                        x = min(max(x, x0), x1)
                        j = t
                        while j > 0 and at[j - 1] > x:
                            at[j] = at[j - 1]
                            slope[j] = slope[j - 1]
                            plus[j] = plus[j - 1]
                            j -= 1
                        at[j] = x
                        slope[j] = g
                        plus[j] = gain[i]
                        t += 1
                crossed = False
                for i in range(1, t):
                    if (at[i] - at[i - 1]) * 2.0 < abs(slope[i] - slope[i - 1]) * tall:
                        crossed = True
                        break
                pieces = 1
                more[0], more[1] = -0.5 * tall, 0.5 * tall
                if crossed:
                    pieces = 0
                    more[0] = -0.5 * tall
                    z = 1
                    for i in range(t):
                        for j in range(i):
                            d = slope[j] - slope[i]
                            if d != 0.0:
                                v = (at[i] - at[j]) / d
                                if abs(v) < 0.5 * tall:
                                    more[z] = v
                                    z += 1
                    more[z] = 0.5 * tall
                    z += 1
                    inner = np.sort(more[:z])
                    more[:z] = inner
                    pieces = z - 1
                for piece in range(pieces):
                    h = more[piece + 1] - more[piece]
                    if h <= 0.0:
                        continue
                    d = 0.5 * (more[piece] + more[piece + 1])
                    if pieces > 1:  # in order at this height
                        for i in range(t):
                            x = at[i] + d * slope[i]
                            j = i
                            while j > 0 and height[j - 1] > x:
                                height[j] = height[j - 1]
                                side_order[j] = side_order[j - 1]
                                j -= 1
                            height[j] = x
                            side_order[j] = i
                    else:
                        for i in range(t):
                            height[i] = at[i]
                            side_order[i] = i
                    w = w0
                    before = x0
                    for i in range(t + 1):
                        x = height[i] if i < t else x1
                        x = min(max(x, x0), x1)
                        wide = x - before
                        if wide > 0.0 and w != 0:
                            inside = w >= INSIDE // 2
                            count = w - INSIDE if inside else w
                            if count > 1:
                                repeat += (count - 1) * wide * h
                                twice += wide * h
                            if inside and count == 0:
                                skipped += wide * h
                            terms += 1
                        if x > before:
                            before = x
                        if i < t:
                            w += plus[side_order[i]]
    return repeat, twice, skipped, terms
