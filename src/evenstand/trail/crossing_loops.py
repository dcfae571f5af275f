"""The fast loops over crossings of outlines: finding them, what lies around the start of every ring, the sums.

As in every file of compiled code, none of these loops takes in anything from another file: see `trail/compiled.py`.
"""

from __future__ import annotations

import math

import numpy as np

from evenstand.model.place import FloatArray, IntArray
from evenstand.trail import piece_loops
from evenstand.trail.compiled import jit
from evenstand.trail.pieces import MARGIN_M, MOST_EDGES, PIECE_M, UNIT_M, Form, Outlines

SIDE = 0  # as in `trail/pieces.py`; a test holds them equal
INSIDE = 1 << 20


def _lay(left: FloatArray, right: FloatArray, first: IntArray, last: IntArray, parts: IntArray, low: FloatArray, lines: Outlines) -> None:
    of_chain = np.concatenate([[0], np.cumsum(2 * parts + 2)]).astype(np.int64)
    piece_loops.lay(left, right, first, last, parts, of_chain, low, UNIT_M, lines.node, lines.begin, lines.piece, lines.of, lines.slabs)


def _boxes(lines: Outlines) -> None:
    piece_loops.boxes(lines.node, lines.piece, lines.of, lines.plain, lines.box, lines.sum_m2, lines.wild, PIECE_M / 2)


def _crossings(lines: Outlines, cell: float, columns: int, rows: int) -> tuple[IntArray, FloatArray]:
    cells = piece_loops.sorted_into_cells(lines.box, PIECE_M, cell, rows, columns)
    at, place = _find(
        lines.node, lines.begin, lines.piece, lines.of, lines.box, lines.plain, *cells, PIECE_M, rows, columns, MOST_EDGES, MARGIN_M,
        lines.wild,
    )  # fmt: skip
    return at, place


def _depths(lines: Outlines, chains: int, cell: float, columns: int, rows: int) -> IntArray:
    out: IntArray = _starts(lines.node, lines.begin, lines.piece, lines.of, lines.box, lines.slabs, chains, cell, rows, columns)
    return out


def _sums(lines: Outlines, chains: int, depth: IntArray, at: IntArray, place: FloatArray) -> tuple[FloatArray, int]:
    order = np.lexsort((place[:, 0], at[:, 0]))
    sums, wrong = _sum(lines.node, lines.begin, lines.piece, lines.of, lines.sum_m2, chains, MOST_EDGES, depth, at, place, order)
    return sums, wrong


def _far(box: FloatArray) -> float:
    return float(piece_loops.reach(box, PIECE_M))


FORM = Form(lay=_lay, boxes=_boxes, reach=_far, crossings=_crossings, depths=_depths, sums=_sums)


@jit
def _product(a, b):  # type: ignore[no-untyped-def]  # pragma: no cover
    """A product and what rounding took from it, exactly."""
    p = a * b
    c = 134217729.0 * a
    ah = c - (c - a)
    al = a - ah
    c = 134217729.0 * b
    bh = c - (c - b)
    bl = b - bh
    return p, ((ah * bh - p) + ah * bl + al * bh) + al * bl


@jit
def _turn(ax, ay, bx, by):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Cross product of two vectors on the grid, its sign exact."""
    p, q = ax * by, ay * bx
    d = p - q
    if abs(d) > 4e-16 * (abs(p) + abs(q)):
        return d
    p, pe = _product(ax, by)
    q, qe = _product(ay, bx)
    return (p - q) + (pe - qe)


@jit
def _left_of(px, py, qx, qy, rx, ry, later):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Whether r lies left of the edge from p to q; where it lies on it, as if r's ring were moved, ahead if it is the later one."""
    ex, ey = qx - px, qy - py
    d = _turn(ex, ey, rx - px, ry - py)
    if d != 0.0:
        return d > 0.0
    moved = -ey if ey != 0.0 else ex
    return (moved > 0.0) == later


@jit
def _find(  # type: ignore[no-untyped-def]  # pragma: no cover
    node, begin, piece, of, box, plain, offset, entry, part_box, long, rows, columns, edges, margin, wild
):
    """Every crossing of two rings, twice: for each of both, at which edge, what is entered (the other ring, counted from 1, below 0 if
    it is left), where along the edge, and the place. Pieces of a ring that cross or touch others of it are marked as wild."""
    room, n = 1024, 0
    at, place = np.empty((room, 2), np.int64), np.empty((room, 3))
    some_at, some_place = np.empty((2 * edges * edges, 2), np.int64), np.empty((2 * edges * edges, 3))
    for row in range(rows):
        for column in range(1, columns - 1):  # no box has its middle in the outer cells
            cell = row * columns + column
            for p in range(offset[cell], offset[cell + 1]):
                x, y, ux, uy, f, w = part_box[p, 0], part_box[p, 1], part_box[p, 2], part_box[p, 3], part_box[p, 4], part_box[p, 5]
                for above in range(2 if row + 1 < rows else 1):
                    z0 = offset[cell + columns - 1] if above else p + 1
                    z1 = offset[cell + columns + 2] if above else offset[cell + 2]
                    for z in range(z0, z1):
                        dx, dy = part_box[z, 0] - x, part_box[z, 1] - y
                        if _boxes_apart(dx, dy, ux, uy, f, w, part_box[z, 2], part_box[z, 3], part_box[z, 4], part_box[z, 5], margin):
                            continue
                        one, other = (p, z) if entry[p, 0] < entry[z, 0] else (z, p)
                        g, h = entry[one, 0], entry[other, 0]
                        if of[g] == of[h]:
                            if not (plain[of[g]] or g == h or (h == g + 1 and piece[g, 2] == SIDE and piece[h, 2] == SIDE)):
                                _touch_itself(node, begin[of[g]], begin[of[g] + 1] - 2, piece, box, g, h, margin, wild)
                            continue
                        m = _cross(node, piece, of, box, g, h, entry[one, 1], entry[other, 1], long, edges, margin, some_at, some_place)
                        if n + m > room:
                            more_at, more_place = np.empty((2 * room, 2), np.int64), np.empty((2 * room, 3))
                            more_at[:n], more_place[:n] = at[:n], place[:n]
                            at, place, room = more_at, more_place, 2 * room
                        for k in range(m):
                            at[n, 0], at[n, 1] = some_at[k, 0], some_at[k, 1]
                            place[n, 0], place[n, 1], place[n, 2] = some_place[k, 0], some_place[k, 1], some_place[k, 2]
                            n += 1
    return at[:n], place[:n]


@jit
def _boxes_apart(dx, dy, ux, uy, f, w, vx, vy, g, h, margin):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Whether two boxes so far from middle to middle do not meet: a line along or across one of them parts them."""
    along, across = abs(ux * vx + uy * vy), abs(ux * vy - uy * vx)
    return (
        abs(ux * dy - uy * dx) > w + h * along + g * across + margin
        or abs(vx * dy - vy * dx) > h + w * along + f * across + margin
        or abs(ux * dx + uy * dy) > f + g * along + h * across + margin
        or abs(vx * dx + vy * dy) > g + f * along + w * across + margin
    )


@jit
def _outside(x, y, ux, uy, f, w, px, py, qx, qy):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Whether an edge lies beyond one side of a box, or has no length."""
    lp, lq = ux * (py - y) - uy * (px - x), ux * (qy - y) - uy * (qx - x)
    fp, fq = ux * (px - x) + uy * (py - y), ux * (qx - x) + uy * (qy - y)
    return min(lp, lq) > w or max(lp, lq) < -w or min(fp, fq) > f or max(fp, fq) < -f or (px == qx and py == qy)


@jit
def _cross(  # type: ignore[no-untyped-def]  # pragma: no cover
    node, piece, of, box, g, h, part_g, part_h, long, edges, margin, at, place
):
    """Crossings of two pieces of different rings in these parts of them, g before h; how many lines of `at` and `place` they take."""
    n = 0
    later = of[h] > of[g]
    x, y, ux, uy, f, w = box[h, 0], box[h, 1], box[h, 2], box[h, 3], box[h, 4] + margin, box[h, 5] + margin
    for i in range(piece[g, 0], piece[g, 0] + piece[g, 1]):
        px, py, qx, qy = node[i, 0], node[i, 1], node[i + 1, 0], node[i + 1, 1]
        if _outside(x, y, ux, uy, f, w, px, py, qx, qy):
            continue
        x_lo, x_hi, y_lo, y_hi = min(px, qx), max(px, qx), min(py, qy), max(py, qy)
        for j in range(piece[h, 0], piece[h, 0] + piece[h, 1]):
            rx, ry, sx, sy = node[j, 0], node[j, 1], node[j + 1, 0], node[j + 1, 1]
            if max(rx, sx) < x_lo or min(rx, sx) > x_hi or max(ry, sy) < y_lo or min(ry, sy) > y_hi or (rx == sx and ry == sy):
                continue
            r_left, s_left = _left_of(px, py, qx, qy, rx, ry, later), _left_of(px, py, qx, qy, sx, sy, later)
            if r_left == s_left:
                continue
            p_left, q_left = _left_of(rx, ry, sx, sy, px, py, not later), _left_of(rx, ry, sx, sy, qx, qy, not later)
            if p_left == q_left:
                continue
            turn = _turn(qx - px, qy - py, sx - rx, sy - ry)  # not 0: parallel edges never cross
            t = min(max(_turn(rx - px, ry - py, sx - rx, sy - ry) / turn, 0.0), 1.0)
            u = min(max(_turn(rx - px, ry - py, qx - px, qy - py) / turn, 0.0), 1.0)
            at_x, at_y = px + t * (qx - px), py + t * (qy - py)
            if not (_in_part(box, g, at_x, at_y, long, part_g) and _in_part(box, h, at_x, at_y, long, part_h)):
                continue
            at[n, 0], at[n, 1] = g * edges + i - piece[g, 0], of[h] + 1 if q_left else -of[h] - 1
            at[n + 1, 0], at[n + 1, 1] = h * edges + j - piece[h, 0], of[g] + 1 if s_left else -of[g] - 1
            place[n, 0], place[n, 1], place[n, 2] = t, at_x, at_y
            place[n + 1, 0], place[n + 1, 1], place[n + 1, 2] = u, at_x, at_y
            n += 2
    return n


@jit
def _touch_itself(node, first, last, piece, box, g, h, margin, wild):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Mark two pieces of one ring as wild if they cross or touch, other than where they follow one another. first, last: its edges."""
    x, y, ux, uy, f, w = box[h, 0], box[h, 1], box[h, 2], box[h, 3], box[h, 4] + margin, box[h, 5] + margin
    for i in range(piece[g, 0], piece[g, 0] + piece[g, 1]):
        px, py, qx, qy = node[i, 0], node[i, 1], node[i + 1, 0], node[i + 1, 1]
        if _outside(x, y, ux, uy, f, w, px, py, qx, qy):
            continue
        x_lo, x_hi, y_lo, y_hi = min(px, qx), max(px, qx), min(py, qy), max(py, qy)
        for j in range(piece[h, 0], piece[h, 0] + piece[h, 1]):
            rx, ry, sx, sy = node[j, 0], node[j, 1], node[j + 1, 0], node[j + 1, 1]
            if max(rx, sx) < x_lo or min(rx, sx) > x_hi or max(ry, sy) < y_lo or min(ry, sy) > y_hi or (rx == sx and ry == sy):
                continue
            if j == i + 1 or (i == first and j == last):
                continue
            a, b = _turn(qx - px, qy - py, rx - px, ry - py), _turn(qx - px, qy - py, sx - px, sy - py)
            c, d = _turn(sx - rx, sy - ry, px - rx, py - ry), _turn(sx - rx, sy - ry, qx - rx, qy - ry)
            if min(a, b) <= 0.0 <= max(a, b) and min(c, d) <= 0.0 <= max(c, d):
                wild[g] = True
                wild[h] = True


@jit
def _in_part(box, g, x, y, long, part):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Whether a place belongs to this part of a long box."""
    parts = max(1, math.ceil(2.0 * box[g, 4] / long))
    if parts == 1:
        return True
    along = box[g, 4] + box[g, 2] * (x - box[g, 0]) + box[g, 3] * (y - box[g, 1])
    return min(max(int(along * parts / (2.0 * box[g, 4])), 0), parts - 1) == part


@jit
def _around(node, v, k, px, py, later):  # type: ignore[no-untyped-def]  # pragma: no cover
    """How often k edges from vertex v on wind around a point, counted where they pass to its right; later: theirs is the later ring."""
    wind = 0
    was = node[v, 1] > py or (node[v, 1] == py and later)
    for i in range(v, v + k):
        above = node[i + 1, 1] > py or (node[i + 1, 1] == py and later)
        if above != was:
            left = _left_of(node[i, 0], node[i, 1], node[i + 1, 0], node[i + 1, 1], px, py, not later)
            if left == above:
                wind += 1 if above else -1
        was = above
    return wind


@jit
def _closing(node, a, b, px, py, later):  # type: ignore[no-untyped-def]  # pragma: no cover
    """The same for the one edge from vertex a to vertex b."""
    was = node[a, 1] > py or (node[a, 1] == py and later)
    above = node[b, 1] > py or (node[b, 1] == py and later)
    if above == was or _left_of(node[a, 0], node[a, 1], node[b, 0], node[b, 1], px, py, not later) != above:
        return 0
    return 1 if above else -1


@jit
def _starts(node, begin, piece, of, box, slabs, chains, cell, rows, columns):  # type: ignore[no-untyped-def]  # pragma: no cover
    """How many other rings lie around the first vertex of every ring; INSIDE more if the boundary does."""
    rings = begin.size - 1
    offset = np.zeros(rows * columns + 1, np.int64)
    entry = np.empty(rings, np.int64)
    for turn in range(2):
        for a in range(rings):
            q = (int(node[begin[a], 1] / cell) + 1) * columns + int(node[begin[a], 0] / cell) + 1
            if turn == 0:
                offset[q + 1] += 1
            else:
                offset[q + 1] -= 1
                entry[offset[q + 1]] = a
        if turn == 0:
            for q in range(rows * columns):
                offset[q + 1] += offset[q]
    for q in range(rows * columns):
        offset[q] = offset[q + 1]
    offset[rows * columns] = rings
    depth = np.zeros(rings, np.int64)
    for s in range(slabs.shape[0]):
        g, h = slabs[s, 0], slabs[s, 1]
        b = of[g]
        x_lo, x_hi, y_lo, y_hi = np.inf, -np.inf, np.inf, -np.inf
        for side in (g, h):
            wide = abs(box[side, 2]) * box[side, 4] + abs(box[side, 3]) * box[side, 5] + 1e-6
            tall = abs(box[side, 3]) * box[side, 4] + abs(box[side, 2]) * box[side, 5] + 1e-6
            x_lo, x_hi = min(x_lo, box[side, 0] - wide), max(x_hi, box[side, 0] + wide)
            y_lo, y_hi = min(y_lo, box[side, 1] - tall), max(y_hi, box[side, 1] + tall)
        c0, c1 = int(max(x_lo, 0.0) / cell) + 1, int(x_hi / cell) + 1
        for r in range(int(max(y_lo, 0.0) / cell) + 1, int(y_hi / cell) + 2):
            for p in range(offset[r * columns + c0], offset[r * columns + c1 + 1]):
                a = entry[p]
                x, y = node[begin[a], 0], node[begin[a], 1]
                if a == b or x < x_lo or x > x_hi or y < y_lo or y > y_hi:
                    continue
                vg, kg, vh, kh = piece[g, 0], piece[g, 1], piece[h, 0], piece[h, 1]
                later = b > a
                depth[a] += _around(node, vg, kg, x, y, later) + _around(node, vh, kh, x, y, later)
                depth[a] += _closing(node, vg + kg, vh, x, y, later) + _closing(node, vh + kh, vg, x, y, later)
    for a in range(chains):
        x, y = node[begin[a], 0], node[begin[a], 1]
        for b in range(chains, rings):
            depth[a] += INSIDE * _around(node, begin[b], begin[b + 1] - begin[b] - 1, x, y, True)
    return depth


@jit
def _add(total, lost, k, value):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add to a sum and keep what rounding took."""
    y = value - lost[k]
    t = total[k] + y
    lost[k] = (t - total[k]) - y
    total[k] = t


@jit
def _share(total, lost, value, depth, ground):  # type: ignore[no-untyped-def]  # pragma: no cover
    """What a stretch of outline adds to repeated, twice-sown and skipped ground, by what lies to its right."""
    inside = depth >= INSIDE // 2
    count = depth - INSIDE if inside else depth
    if ground:
        if count == 0:
            _add(total, lost, 2, value)
        return
    if count >= 1:
        _add(total, lost, 0, value)
        if count == 1:
            _add(total, lost, 1, value)
    elif count == 0 and inside:
        _add(total, lost, 2, -value)


@jit
def _sum(node, begin, piece, of, sum_m2, chains, edges, depth, at, place, order):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Sums over all outlines; how many rings were not left as often as entered."""
    total, lost = np.zeros(3), np.zeros(3)
    wrong = 0
    e = 0
    now = 0
    for g in range(piece.shape[0]):
        ring = of[g]
        ground = ring >= chains
        if g == 0 or of[g - 1] != ring:
            now = depth[ring]
        if e == order.size or at[order[e], 0] >= (g + 1) * edges:
            _share(total, lost, sum_m2[g], now, ground)
        else:
            v = piece[g, 0]
            x, y = node[v, 0], node[v, 1]
            for i in range(piece[g, 1]):
                while e < order.size and at[order[e], 0] == g * edges + i:
                    k = order[e]
                    x1, y1 = place[k, 1], place[k, 2]
                    _share(total, lost, 0.5 * (x * (y1 - y) - y * (x1 - x)), now, ground)
                    other = at[k, 1]
                    gain = INSIDE if abs(other) - 1 >= chains else 1
                    if not (ground and gain == INSIDE):
                        now += gain if other > 0 else -gain
                    x, y = x1, y1
                    e += 1
                x1, y1 = node[v + i + 1, 0], node[v + i + 1, 1]
                _share(total, lost, 0.5 * (x * (y1 - y) - y * (x1 - x)), now, ground)
                x, y = x1, y1
        if (g + 1 == piece.shape[0] or of[g + 1] != ring) and now != depth[ring]:
            wrong += 1
    return total, wrong
