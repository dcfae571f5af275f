"""Crossings of outlines by numpy on whole arrays: the same as `trail/crossing_loops.py`, with nothing to load.

Pairs are made and thinned out in bulk: boxes in neighbouring cells, then edges not beyond the other's box, then edges whose extents
meet, then the exact test. Lists of pairs are taken so many at a time, so that tangles of strips do not fill the memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import BoolArray
from evenstand.trail.piece_arrays import boxes, cells_of, lay, parts_of, reach, sorted_into_cells
from evenstand.trail.pieces import MARGIN_M, MOST_EDGES, SIDE, Form, Outlines, runs_from

INSIDE = 1 << 20
AT_ONCE = 1_000_000  # pairs


def crossings(lines: Outlines, cell: float, columns: int, rows: int) -> tuple[IntArray, FloatArray]:
    """Every crossing of two rings, twice: for each of both, at which edge, what is entered (the other ring, counted from 1, below 0 if
    it is left), where along the edge, and the place. Pieces of a ring that cross or touch others of it are marked as wild."""
    of, piece = lines.of, lines.piece
    where, entry, part, part_box = sorted_into_cells(lines.box, cell, columns)
    ats, places = [np.zeros((0, 2), np.int64)], [np.zeros((0, 3))]
    sides = part_box.T.copy()
    for p, z in _neighbours(where, columns):
        p, z = _meeting(sides, p, z)
        later = entry[p] >= entry[z]
        p, z = np.where(later, z, p), np.where(later, p, z)
        g, h = entry[p], entry[z]
        same = of[g] == of[h]
        touching = same & ~lines.plain[of[g]] & (g != h) & ~((h == g + 1) & (piece[g, 2] == SIDE) & (piece[h, 2] == SIDE))
        for q, i, j in _edges_near(lines, g[touching], h[touching]):
            _touch(lines, g[touching][q], h[touching][q], i, j)
        p, z, g, h = p[~same], z[~same], g[~same], h[~same]
        for q, i, j in _edges_near(lines, g, h):
            at, place = _cross(lines, g[q], h[q], part[p[q]], part[z[q]], i, j)
            ats.append(at)
            places.append(place)
    return np.concatenate(ats), np.concatenate(places)


def _neighbours(where: IntArray, columns: int) -> Iterator[tuple[IntArray, IntArray]]:
    """Pairs of boxes in the same cell or neighbouring ones, each pair once, so many at a time."""
    n = where.size
    own = np.arange(n)
    beside = np.searchsorted(where, where + 2)
    below, above = np.searchsorted(where, where + columns - 1), np.searchsorted(where, where + columns + 2)
    first, count = np.concatenate([own + 1, below]), np.concatenate([beside - own - 1, above - below])
    for a, z in _lots(count):
        yield np.repeat(np.arange(a, z) % n, count[a:z]), runs_from(first[a:z], count[a:z])


def _lots(count: IntArray) -> Iterator[tuple[int, int]]:
    """Stretches of a list of counts, none of which adds up to much more than `AT_ONCE`."""
    total = np.cumsum(count)
    a = 0
    while a < count.size:
        done = int(total[a - 1]) if a else 0
        z = max(int(np.searchsorted(total, done + AT_ONCE, side="right")), a + 1)
        yield a, z
        a = z


def _meeting(sides: FloatArray, p: IntArray, z: IntArray) -> tuple[IntArray, IntArray]:
    """Pairs of boxes that meet: no circle around them and no line along or across one of them parts them. sides (6,n): their columns."""
    x, y, ux, uy, f, w = sides
    far = f + w
    dx, dy = x[z] - x[p], y[z] - y[p]
    near = np.flatnonzero(dx * dx + dy * dy <= (far[p] + far[z] + MARGIN_M) ** 2)
    p, z, dx, dy = p[near], z[near], dx[near], dy[near]
    for turned in (False, True):
        one, other = (z, p) if turned else (p, z)
        along, across = np.abs(ux[one] * ux[other] + uy[one] * uy[other]), np.abs(ux[one] * uy[other] - uy[one] * ux[other])
        off, ahead = np.abs(ux[one] * dy - uy[one] * dx), np.abs(ux[one] * dx + uy[one] * dy)
        near = np.flatnonzero(
            (off <= w[one] + w[other] * along + f[other] * across + MARGIN_M)
            & (ahead <= f[one] + f[other] * along + w[other] * across + MARGIN_M)
        )
        p, z, dx, dy = p[near], z[near], dx[near], dy[near]
    return p, z


def _edges_near(lines: Outlines, g: IntArray, h: IntArray) -> Iterator[tuple[IntArray, IntArray, IntArray]]:
    """Edges of two pieces whose extents meet: which pair of pieces they are of, the edge of the first, of the second."""
    node = lines.node
    for a, z in _lots(lines.piece[g, 1] + lines.piece[h, 1]):
        pair, i = _not_outside(lines, g[a:z], h[a:z])
        other, j = _not_outside(lines, h[a:z], g[a:z])
        count = np.bincount(other, minlength=z - a)
        first = np.cumsum(count) - count
        for b, y in _lots(count[pair]):
            some = count[pair[b:y]]
            one, two = np.repeat(i[b:y], some), j[runs_from(first[pair[b:y]], some)]
            p, q, r, s = node[one], node[one + 1], node[two], node[two + 1]
            meet = np.ones(one.size, np.bool_)
            for k in (0, 1):
                meet &= np.maximum(r[:, k], s[:, k]) >= np.minimum(p[:, k], q[:, k])
                meet &= np.minimum(r[:, k], s[:, k]) <= np.maximum(p[:, k], q[:, k])
            yield np.repeat(pair[b:y], some)[meet] + a, one[meet], two[meet]


def _not_outside(lines: Outlines, g: IntArray, h: IntArray) -> tuple[IntArray, IntArray]:
    """Edges of pieces g that have length and are not beyond one side of the boxes of h: which of g they are of, and the edge."""
    v, k = lines.piece[g, 0], lines.piece[g, 1]
    pair = np.repeat(np.arange(g.size), k + 1)
    at = runs_from(v, k + 1)
    x, y, ux, uy, f, w = lines.box[h][pair].T
    dx, dy = lines.node[at, 0] - x, lines.node[at, 1] - y
    off, ahead = ux * dy - uy * dx, ux * dx + uy * dy
    f, w = f + MARGIN_M, w + MARGIN_M
    beyond = [off > w, off < -w, ahead > f, ahead < -f]
    keep = pair[1:] == pair[:-1]
    for side in beyond:
        keep &= ~(side[1:] & side[:-1])
    keep &= (lines.node[at[:-1]] != lines.node[at[1:]]).any(axis=1)
    return pair[:-1][keep], at[:-1][keep]


def _cross(
    lines: Outlines, g: IntArray, h: IntArray, part_g: IntArray, part_h: IntArray, i: IntArray, j: IntArray
) -> tuple[IntArray, FloatArray]:
    """Crossings among pairs of edges i of pieces g and j of pieces h, of different rings, where they lie in these parts."""
    node, of = lines.node, lines.of
    later = of[h] > of[g]
    p, q, r, s = node[i], node[i + 1], node[j], node[j + 1]
    s_left = _left_of(p, q, s, later)
    some = np.flatnonzero(_left_of(p, q, r, later) != s_left)
    p, q, r, s, later, s_left = p[some], q[some], r[some], s[some], later[some], s_left[some]
    q_left = _left_of(r, s, q, ~later)
    both = _left_of(r, s, p, ~later) != q_left
    some, p, q, r, s, s_left, q_left = some[both], p[both], q[both], r[both], s[both], s_left[both], q_left[both]
    turn = _turn(q - p, s - r)
    t = np.clip(_turn(r - p, s - r) / turn, 0.0, 1.0)
    u = np.clip(_turn(r - p, q - p) / turn, 0.0, 1.0)
    spot = p + t[:, None] * (q - p)
    mine = _in_part(lines.box[g[some]], spot, part_g[some]) & _in_part(lines.box[h[some]], spot, part_h[some])
    some, t, u, spot, s_left, q_left = some[mine], t[mine], u[mine], spot[mine], s_left[mine], q_left[mine]
    g, h, i, j = g[some], h[some], i[some], j[some]
    one = np.column_stack([g * MOST_EDGES + i - lines.piece[g, 0], np.where(q_left, of[h] + 1, -of[h] - 1)])
    other = np.column_stack([h * MOST_EDGES + j - lines.piece[h, 0], np.where(s_left, of[g] + 1, -of[g] - 1)])
    return np.concatenate([one, other]), np.concatenate([np.column_stack([t, spot]), np.column_stack([u, spot])])


def _touch(lines: Outlines, g: IntArray, h: IntArray, i: IntArray, j: IntArray) -> None:
    """Mark pieces of one ring as wild if they cross or touch, other than where they follow one another."""
    node, begin, ring = lines.node, lines.begin, lines.of[g]
    apart = ~((j == i + 1) | ((i == begin[ring]) & (j == begin[ring + 1] - 2)))
    g, h, p, q, r, s = g[apart], h[apart], node[i[apart]], node[i[apart] + 1], node[j[apart]], node[j[apart] + 1]
    a, b = _turn(q - p, r - p), _turn(q - p, s - p)
    c, d = _turn(s - r, p - r), _turn(s - r, q - r)
    meet = (np.minimum(a, b) <= 0.0) & (np.maximum(a, b) >= 0.0) & (np.minimum(c, d) <= 0.0) & (np.maximum(c, d) >= 0.0)
    lines.wild[g[meet]] = lines.wild[h[meet]] = True


def _in_part(box: FloatArray, spot: FloatArray, part: IntArray) -> BoolArray:
    """Whether a place belongs to this part of a long box."""
    parts = parts_of(box)
    along = box[:, 4] + box[:, 2] * (spot[:, 0] - box[:, 0]) + box[:, 3] * (spot[:, 1] - box[:, 1])
    long = parts > 1
    share = np.divide(along * parts, 2.0 * box[:, 4], out=np.zeros(part.size), where=long)
    out: BoolArray = ~long | (np.clip(share.astype(np.int64), 0, parts - 1) == part)
    return out


def _product(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A product and what rounding took from it, exactly."""
    p = a * b
    c = 134217729.0 * a
    ah = c - (c - a)
    al = a - ah
    c = 134217729.0 * b
    bh = c - (c - b)
    bl = b - bh
    return p, ((ah * bh - p) + ah * bl + al * bh) + al * bl


def _turn(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross products of two vectors each on the grid, their signs exact."""
    p, q = a[:, 0] * b[:, 1], a[:, 1] * b[:, 0]
    d: FloatArray = p - q
    unsure = np.flatnonzero(np.abs(d) <= 4e-16 * (np.abs(p) + np.abs(q)))
    if unsure.size:
        p, pe = _product(a[unsure, 0], b[unsure, 1])
        q, qe = _product(a[unsure, 1], b[unsure, 0])
        d[unsure] = (p - q) + (pe - qe)
    return d


def _left_of(p: FloatArray, q: FloatArray, r: FloatArray, later: BoolArray) -> BoolArray:
    """Whether r lies left of the edge from p to q; where it lies on it, as if r's ring were moved, ahead if it is the later one."""
    edge = q - p
    d = _turn(edge, r - p)
    moved = np.where(edge[:, 1] != 0.0, -edge[:, 1], edge[:, 0])
    out: BoolArray = np.where(d != 0.0, d > 0.0, (moved > 0.0) == later)
    return out


def _winding(node: FloatArray, a: IntArray, b: IntArray, spot: FloatArray, later: BoolArray) -> IntArray:
    """1 or -1 where the edge from vertex a to vertex b passes to the right of a place, upwards or downwards; else 0."""
    one, other, y = node[a], node[b], spot[:, 1]
    was = (one[:, 1] > y) | ((one[:, 1] == y) & later)
    above = (other[:, 1] > y) | ((other[:, 1] == y) & later)
    out = np.zeros(a.size, np.int64)
    k = np.flatnonzero(above != was)
    passes = _left_of(one[k], other[k], spot[k], ~later[k]) == above[k]
    out[k[passes]] = np.where(above[k[passes]], 1, -1)
    return out


def depths(lines: Outlines, chains: int, cell: float, columns: int, rows: int) -> IntArray:
    """How many other rings lie around the first vertex of every ring; INSIDE more if the boundary does."""
    node, begin, box, slabs = lines.node, lines.begin, lines.box, lines.slabs
    start = node[begin[:-1]]
    where = cells_of(start, cell, columns)
    order = np.argsort(where, kind="stable")
    where = where[order]
    low, high = np.full((slabs.shape[0], 2), np.inf), np.full((slabs.shape[0], 2), -np.inf)
    for side in (box[slabs[:, 0]], box[slabs[:, 1]]):
        half = np.abs(side[:, 2:4]) * side[:, 4:5] + np.abs(side[:, 3:1:-1]) * side[:, 5:6] + 1e-6
        low, high = np.minimum(low, side[:, :2] - half), np.maximum(high, side[:, :2] + half)
    c0, r0 = ((np.maximum(low, 0.0) / cell).astype(np.int64) + 1).T
    c1, r1 = ((high / cell).astype(np.int64) + 1).T
    tall = r1 - r0 + 1
    slab, row = np.repeat(np.arange(slabs.shape[0]), tall), runs_from(r0, tall)
    first = np.searchsorted(where, row * columns + c0[slab])
    count = np.searchsorted(where, row * columns + c1[slab], side="right") - first
    out = np.zeros(start.shape[0], np.int64)
    for a, z in _lots(count):
        s, ring = np.repeat(slab[a:z], count[a:z]), order[runs_from(first[a:z], count[a:z])]
        near = (lines.of[slabs[s, 0]] != ring) & ((start[ring] >= low[s]) & (start[ring] <= high[s])).all(axis=1)
        _around_slabs(lines, s[near], ring[near], start, out)
    for b in range(chains, begin.size - 1):
        edges = np.arange(begin[b], begin[b + 1] - 1)
        each = max(AT_ONCE // edges.size, 1)
        for k in range(0, chains, each):
            ring = np.repeat(np.arange(k, min(k + each, chains)), edges.size)
            edge = np.tile(edges, ring.size // edges.size)
            np.add.at(out, ring, INSIDE * _winding(node, edge, edge + 1, start[ring], np.ones(ring.size, np.bool_)))
    return out


def _around_slabs(lines: Outlines, slab: IntArray, ring: IntArray, start: FloatArray, depth: IntArray) -> None:
    """Add to the depth of every ring how often the outline of a slab winds around its first vertex."""
    if slab.size == 0:
        return
    g, h = lines.slabs[slab, 0], lines.slabs[slab, 1]
    (vg, kg), (vh, kh) = lines.piece[g, :2].T, lines.piece[h, :2].T
    # up one side, across, along the other, across: each edge by where it begins and ends
    begin = np.concatenate([runs_from(vg, kg + 1), runs_from(vh, kh + 1)])
    end = begin + 1
    last = np.cumsum(np.concatenate([kg + 1, kh + 1])) - 1
    end[last] = np.concatenate([vh, vg])
    of = np.concatenate([np.repeat(np.arange(slab.size), kg + 1), np.repeat(np.arange(slab.size), kh + 1)])
    who = ring[of]
    wind = _winding(lines.node, begin, end, start[who], who < lines.of[g][of])
    np.add.at(depth, who, wind)


def sums(lines: Outlines, chains: int, depth: IntArray, at: IntArray, place: FloatArray) -> tuple[FloatArray, int]:
    """Repeated, twice-sown and skipped ground, summed exactly; how many rings were not left as often as entered."""
    order = np.lexsort((place[:, 0], at[:, 0]))
    edge, other, spot = at[order, 0], at[order, 1], place[order, 1:]
    of, piece = lines.of, lines.piece
    pieces = np.arange(of.size)
    ring = of[edge // MOST_EDGES]
    boundary = np.abs(other) - 1 >= chains
    gain = np.where(boundary, np.where(ring >= chains, 0, INSIDE), 1) * np.sign(other)
    after = np.concatenate([[0], np.cumsum(gain)])  # before the first crossing, and after each
    head = np.searchsorted(of, np.arange(lines.begin.size - 1))
    before = after[np.searchsorted(edge, head * MOST_EDGES)]
    level = depth - before  # of each ring: what is around at a place is this and `after`
    ended = np.concatenate([before[1:], after[-1:]])
    first = np.searchsorted(edge, pieces * MOST_EDGES)
    count = np.concatenate([first[1:], [edge.size]]) - first
    value, now, ground = [], [], []
    quiet = count == 0
    value.append(lines.sum_m2[quiet])
    now.append(level[of[quiet]] + after[first[quiet]])
    ground.append(of[quiet] >= chains)
    busy = np.flatnonzero(~quiet)
    if busy.size:
        key = runs_from(busy * MOST_EDGES, piece[busy, 1])
        mine = np.repeat(busy, piece[busy, 1])
        end = lines.node[piece[mine, 0] + key - mine * MOST_EDGES + 1]
        passed = np.concatenate([np.arange(edge.size), np.searchsorted(edge, key, side="right")])  # crossings before each place
        sort = np.lexsort((passed, np.concatenate([np.zeros(edge.size), np.ones(key.size)]), np.concatenate([edge, key])))
        to, of_piece = np.concatenate([spot, end])[sort], np.concatenate([edge // MOST_EDGES, mine])[sort]
        came = np.concatenate([to[:1], to[:-1]])
        new = np.concatenate([[True], of_piece[1:] != of_piece[:-1]])
        came[new] = lines.node[piece[of_piece[new], 0]]
        value.append(0.5 * (came[:, 0] * (to[:, 1] - came[:, 1]) - came[:, 1] * (to[:, 0] - came[:, 0])))
        now.append(level[of[of_piece]] + after[passed[sort]])
        ground.append(of[of_piece] >= chains)
    return _shares(np.concatenate(value), np.concatenate(now), np.concatenate(ground)), int((ended != before).sum())


def _shares(value: FloatArray, depth: IntArray, ground: BoolArray) -> FloatArray:
    """What stretches of outline add to repeated, twice-sown and skipped ground, by what lies to their right."""
    inside = depth >= INSIDE // 2
    count = np.where(inside, depth - INSIDE, depth)
    skipped = np.where(ground, value, -value)[(count == 0) & (ground | inside)]
    strip = ~ground
    return np.array([math.fsum(value[strip & (count >= 1)]), math.fsum(value[strip & (count == 1)]), math.fsum(skipped)])


FORM = Form(lay=lay, boxes=boxes, reach=reach, crossings=crossings, depths=depths, sums=sums)
