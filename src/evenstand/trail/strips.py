"""Strips of ground the tool passed over: one for each stretch driven with the same sections on.

A strip is a chain of node pairs, left and right edge, in the order driven. Neighbouring steps share their node pair, so a curve
leaves neither wedge nor gap. Where a step turns so tightly that the inner edge runs backwards, that step becomes two triangles.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from evenstand.base.errors import MissingError, RangeError
from evenstand.model.outfit import Outfit
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import BoolArray, Trail
from evenstand.trail.stepping import Steps, runs_of
from evenstand.trail.towing import towed

LEAST_STEP_M = 0.2
LEAST_BASE_M = 1.5
CUSP_COS = -0.5
MOST_TURN_RAD = 1.0
TOUCH_M = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Strips:
    """Chains of node pairs.

    left, right (m,2): edges [m]; start (c+1,): chain j holds nodes start[j] to start[j+1]; area_m2 (c,): ground each chain passes
    over [m²]; row (m,): the trail's row whose step begins at a node, the one before for the last node of a chain;
    switching_m2: ground of the steps at whose ends the sections differ [m²]; steps: how many steps are in it; notes.
    """

    left: FloatArray
    right: FloatArray
    start: IntArray
    area_m2: FloatArray
    row: IntArray
    switching_m2: float
    steps: int
    notes: tuple[str, ...] = ()

    @property
    def sum_m2(self) -> float:
        """Sum of all strips, ground sown twice counted twice. [m²]"""
        return float(self.area_m2.sum())


@dataclass(frozen=True, slots=True)
class ToolPath:
    """The openers' middle at the m rows kept. xy (m,2) [m]; right (m,2): unit vector to the right; turn (m,): unwrapped direction it faces,
    counter-clockwise from x [rad]; row (m,) of the trail; joined (m-1,): whether nothing is missing up to the next."""

    xy: FloatArray
    right: FloatArray
    turn: FloatArray
    row: IntArray
    joined: BoolArray


def section_edges(trail: Trail, outfit: Outfit, *, width_m: float | None = None) -> tuple[FloatArray, tuple[str, ...]]:
    """Left and right edge of every section column, shape (k,2), left negative; one row for the whole tool without sections.

    Parameters
    ----------
    trail : Trail
        The trail. [-]
    outfit : Outfit
        Its width and sections. [-]
    width_m : float or None
        Width to use in place of the outfit's. [m]

    Returns
    -------
    (array (k,2), notes)
        Edges from the tool's middle. [m]

    Raises
    ------
    MissingError
        If no width is known.
    RangeError
        If the width is not above 0.
    """
    width = outfit.width_m if width_m is None else width_m
    k = 1 if trail.sections is None or trail.sections.shape[1] == 0 else int(trail.sections.shape[1])
    if width_m is None and len(outfit.sections) == k and (k > 1 or outfit.sections):
        return np.array([sorted((s.left_m, s.right_m)) for s in outfit.sections], dtype=np.float64), ()
    if width is None:
        raise MissingError(
            "the tool's width is not known", where=outfit.name or "outfit", cure="Tape it, or give rows and row spacing, or --outfit-width."
        )
    if not (math.isfinite(width) and width > 0):
        raise RangeError(f"{width:g} m is no width", where="width_m", limit="0 < width_m", cure="Correct the value.")
    if k == 1 and trail.sections is None:
        return np.array([[-width / 2, width / 2]]), ()
    cuts = np.linspace(-width / 2, width / 2, k + 1)
    notes = () if k == 1 else (f"The log has {k} sections whose edges are not known: {k} equal parts of {width:.2f} m are taken.",)
    return np.column_stack([cuts[:-1], cuts[1:]]), notes


def strips_of(trail: Trail, outfit: Outfit, steps: Steps, *, width_m: float | None = None, ends: str = "shared") -> Strips:
    """The strips of a trail.

    Parameters
    ----------
    trail : Trail
        The trail, n rows; xy_m is where the antenna was. [m]
    outfit : Outfit
        Width, sections and where the antenna sits. [-]
    steps : Steps
        Steps of the trail. [-]
    width_m : float or None
        Width to use in place of the outfit's. [m]
    ends : str
        "shared": neighbouring steps share their node pair; "flat": every step is a rectangle of its own. [-]

    Returns
    -------
    Strips
        Chains of node pairs. [m]

    Raises
    ------
    MissingError
        If no width is known.
    RangeError
        If `ends` is neither word.
    """
    edges, notes = section_edges(trail, outfit, width_m=width_m)
    if ends not in ("shared", "flat"):
        raise RangeError(f"'{ends}' is no way to end a step", where="ends", limit="shared or flat")
    patterns, code = _patterns(trail, edges)
    if ends == "flat":
        return _flat(trail, outfit, steps, patterns, code, notes)
    path = _path(trail, outfit, steps, float(edges[:, 1].max() - edges[:, 0].min()), code)
    state = np.where(_sowing_kept(path, steps), code[path.row[:-1]], -1)
    left, right, start, row = _chains(path, state, patterns)
    area = _areas(left, right, start)
    return Strips(
        left=left,
        right=right,
        start=start,
        area_m2=area,
        row=row,
        switching_m2=_switching(path, state, patterns),
        steps=int(steps.sowing.sum()),
        notes=notes,
    )


def tool_path(trail: Trail, outfit: Outfit, steps: Steps, width_m: float) -> ToolPath:
    """The way of the openers' middle.

    Parameters
    ----------
    trail : Trail
        The trail. [-]
    outfit : Outfit
        Where the antenna sits, and how the tool is drawn. [-]
    steps : Steps
        Steps of the trail. [-]
    width_m : float
        Of the tool. [m]
    """
    _, code = _patterns(trail, section_edges(trail, outfit, width_m=width_m)[0])
    return _path(trail, outfit, steps, width_m, code)


def _patterns(trail: Trail, edges: FloatArray) -> tuple[list[FloatArray], IntArray]:
    """Every combination of sections that occurs as its runs (r,2) of ground across the tool, and each row's combination (n,)."""
    if trail.sections is None or trail.sections.shape[1] == 0:
        return [edges], np.zeros(trail.n, dtype=np.int64)
    packed = np.packbits(trail.sections, axis=1)
    if packed.shape[1] <= 7:
        weights = 256 ** np.arange(packed.shape[1], dtype=np.int64)
        _, first, code = np.unique(packed @ weights, return_index=True, return_inverse=True)
    else:
        _, first, code = np.unique(packed, axis=0, return_index=True, return_inverse=True)
    return [_merged(edges[trail.sections[i]]) for i in first], np.asarray(code, dtype=np.int64).reshape(-1)


def _merged(edges: FloatArray) -> FloatArray:
    """Touching or overlapping intervals as one, shape (r,2)."""
    out: list[list[float]] = []
    for lo, hi in edges[np.argsort(edges[:, 0])] if edges.size else ():
        if out and lo <= out[-1][1] + TOUCH_M:
            out[-1][1] = max(out[-1][1], float(hi))
        else:
            out.append([float(lo), float(hi)])
    return np.array(out, dtype=np.float64).reshape(-1, 2)


def _kept_rows(trail: Trail, steps: Steps, code: IntArray) -> IntArray:
    """Rows that moved at least `LEAST_STEP_M` since the last kept one; changes of state and ends of movements are kept too."""
    n = trail.n
    small = np.flatnonzero(steps.whole & (steps.length_m < LEAST_STEP_M))
    if small.size == 0:
        return np.arange(n)
    sowing = np.concatenate([steps.sowing, [False]])
    changed = (code[1:] != code[:-1]) | (sowing[1:] != sowing[:-1])
    keep = np.concatenate([[True], changed | ~steps.whole])
    keep[:-1] |= ~steps.whole
    keep[-1] = True
    moved = np.ones(n, dtype=np.bool_)
    moved[small + 1] = False
    keep |= moved
    x, y = trail.xy_m[:, 0], trail.xy_m[:, 1]
    last, least2 = 0, LEAST_STEP_M**2
    for i in (small + 1).tolist():
        if keep[i - 1]:
            last = i - 1
        if not keep[i]:
            keep[i] = (x[i] - x[last]) ** 2 + (y[i] - y[last]) ** 2 >= least2
    return np.flatnonzero(keep)


def _path(trail: Trail, outfit: Outfit, steps: Steps, width: float, code: IntArray) -> ToolPath:
    """The way of the openers' middle: behind the antenna along the way driven, facing as the way does over half a tool's width; with a
    known hitch, drawn behind it."""
    row = _kept_rows(trail, steps, code)
    missing = np.concatenate([[0], np.cumsum(~steps.whole)])
    joined = missing[row[1:]] == missing[row[:-1]]
    cusp = _cusps(trail.xy_m[row], joined)
    row = np.insert(row, cusp + 1, row[cusp])  # the node at which the machine turned back ends one stretch and begins the next
    joined = np.insert(joined, cusp, False)
    turned = np.zeros(row.size, dtype=np.bool_)
    turned[cusp + np.arange(cusp.size) + 1] = True
    xy = trail.xy_m[row]
    part = np.concatenate([[0], np.cumsum(~joined)])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))]) + part
    first = np.concatenate([[0], np.flatnonzero(~joined) + 1])
    last = np.concatenate([first[1:] - 1, [row.size - 1]])
    sense = np.where(_reversing(trail, row, first, turned)[part], -1.0, 1.0)
    half = max(LEAST_BASE_M, width / 4)
    lo, hi = along[first][part], along[last][part]
    centre = along - outfit.antenna_ahead_m * sense
    begin, end = _sown_span(along, joined & steps.sowing[row[:-1]])
    fore, aft = np.minimum(centre + half, end + centre - along), np.maximum(centre - half, begin + centre - along)
    face = _at(along, xy, fore, lo, hi) - _at(along, xy, aft, lo, hi)
    size = np.hypot(face[:, 0], face[:, 1])
    lone = size < 1e-9
    face = face / np.where(lone, 1.0, size)[:, None] * sense[:, None]
    face[lone] = (0.0, 1.0)
    middle = _at(along, xy, centre, lo, hi) if outfit.antenna_ahead_m else xy
    if outfit.hitch_m:
        hitch = _at(along, xy, along - (outfit.antenna_ahead_m - outfit.hitch_m) * sense, lo, hi)
        pulled, ahead = towed(hitch, outfit.hitch_m, first, face)
        forward = (sense > 0)[:, None]  # a tool pushed back is steered, not drawn
        middle, face = np.where(forward, pulled, middle), np.where(forward, ahead, face)
    right = np.column_stack([face[:, 1], -face[:, 0]])
    return ToolPath(middle, right, np.unwrap(np.arctan2(face[:, 1], face[:, 0])), row, joined)


def _sown_span(along: FloatArray, sown: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Where the sown stretch of each node begins and ends along the way: a turn with the openers up says nothing of how the tool faced."""
    begin, end = along - np.inf, along + np.inf
    first, last = runs_of(sown)
    size = last - first + 1
    node = np.repeat(first - np.concatenate([[0], np.cumsum(size)[:-1]]), size) + np.arange(int(size.sum()))
    begin[node], end[node] = np.repeat(along[first], size), np.repeat(along[last], size)
    return begin, end


def _cusps(xy: FloatArray, joined: BoolArray) -> IntArray:
    """Nodes at which the machine turned back on its own way."""
    step = np.diff(xy, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    dot = (step[1:] * step[:-1]).sum(axis=1)
    real = (length[1:] >= LEAST_STEP_M) & (length[:-1] >= LEAST_STEP_M)
    back = joined[1:] & joined[:-1] & real & (dot < CUSP_COS * length[1:] * length[:-1])
    return np.flatnonzero(back) + 1


def _reversing(trail: Trail, row: IntArray, first: IntArray, turned: BoolArray) -> BoolArray:
    """Which stretches were driven backwards: every second one from turning back to turning back, or by the log's own heading."""
    back = np.zeros(first.size, dtype=np.bool_)
    if not turned.any():
        return back
    for j in np.flatnonzero(turned[first]):
        back[j] = not back[j - 1]
    heading = trail.extra.get("heading_deg")
    if heading is None:
        return back
    angle = np.radians(heading[row])
    bounds = [*first.tolist(), row.size]
    for k, (begin, end) in enumerate(itertools.pairwise(bounds)):
        if end - begin >= 2:
            move = np.diff(trail.xy_m[row[begin:end]], axis=0)
            agree = move[:, 0] * np.sin(angle[begin : end - 1]) + move[:, 1] * np.cos(angle[begin : end - 1])
            if np.isfinite(agree).any():
                back[k] = float(np.nanmedian(agree)) < 0
    return back


def _at(along: FloatArray, xy: FloatArray, where: FloatArray, lo: FloatArray, hi: FloatArray) -> FloatArray:
    """Positions at distances along the way, held within each stretch and carried on straight beyond its ends."""
    held = np.minimum(np.maximum(where, lo), hi)
    out = np.empty_like(xy)
    for i in (0, 1):
        out[:, i] = np.interp(held, along, xy[:, i])
    over = np.flatnonzero(where != held)
    if over.size == 0:
        return out
    beyond = where[over] - held[over]
    inside = np.clip(held[over] - np.sign(beyond) * LEAST_BASE_M, lo[over], hi[over])
    ray = out[over] - np.column_stack([np.interp(inside, along, xy[:, i]) for i in (0, 1)])
    size = np.hypot(ray[:, 0], ray[:, 1])
    size[size < 1e-9] = np.inf
    out[over] += ray * (np.abs(beyond) / size)[:, None]
    return out


def _sowing_kept(path: ToolPath, steps: Steps) -> BoolArray:
    """Which steps between kept rows were sown."""
    return np.asarray(path.joined & steps.sowing[path.row[:-1]]) if path.row.size > 1 else np.zeros(0, dtype=np.bool_)


def _chains(path: ToolPath, state: IntArray, patterns: list[FloatArray]) -> tuple[FloatArray, FloatArray, IntArray, IntArray]:
    most = max((p.shape[0] for p in patterns), default=0)
    lefts, rights = [np.zeros((0, 2))], [np.zeros((0, 2))]
    counts, rows = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for slot in range(most):
        has = np.array([p.shape[0] > slot for p in patterns] + [False])  # the last entry stands for state -1
        lo = np.array([p[slot, 0] if p.shape[0] > slot else 0.0 for p in patterns] + [0.0])
        hi = np.array([p[slot, 1] if p.shape[0] > slot else 0.0 for p in patterns] + [0.0])
        step = np.flatnonzero(has[state])
        if step.size == 0:
            continue
        for left, right, count, row in _slot(path, state, step, lo, hi):
            lefts.append(left)
            rights.append(right)
            counts.append(count)
            rows.append(row)
    start = np.concatenate([[0], np.cumsum(np.concatenate(counts))]).astype(np.int64)
    return np.concatenate(lefts), np.concatenate(rights), start, np.concatenate(rows)


def _slot(
    path: ToolPath, state: IntArray, step: IntArray, lo: FloatArray, hi: FloatArray
) -> list[tuple[FloatArray, FloatArray, IntArray, IntArray]]:
    """One run of ground across the tool: chains of good steps, and folded steps as triangles."""
    a, b = lo[state[step]][:, None], hi[state[step]][:, None]
    l0, r0 = path.xy[step] + a * path.right[step], path.xy[step] + b * path.right[step]
    l1, r1 = path.xy[step + 1] + a * path.right[step + 1], path.xy[step + 1] + b * path.right[step + 1]
    folded = _folded(l0, r0, l1, r1)
    out: list[tuple[FloatArray, FloatArray, IntArray, IntArray]] = []
    good = ~folded
    if good.any():
        kept = step[good]
        new = np.concatenate([[True], (np.diff(kept) != 1) | (state[kept[1:]] != state[kept[:-1]])])
        new = _turned(path, kept, new)
        left, right, count = _nodes(l0[good], r0[good], l1[good], r1[good], new)
        of_step = path.row[kept]
        last = np.concatenate([np.flatnonzero(new)[1:] - 1, [new.size - 1]])
        out.append((left, right, count, np.insert(of_step, last + 1, of_step[last])))
    if folded.any():
        left, right, count, which = _triangles(l0[folded], r0[folded], l1[folded], r1[folded])
        out.append((left, right, count, np.repeat(path.row[step[folded]][which], 2)))
    return out


def _turned(path: ToolPath, kept: IntArray, new: BoolArray) -> BoolArray:
    """More breaks, so that no chain turns by more than about a right angle and can lie over itself."""
    chain = np.cumsum(new) - 1
    begin = np.flatnonzero(new)
    turn = path.turn[kept]
    spread = np.maximum.reduceat(turn, begin) - np.minimum.reduceat(turn, begin)
    if not (spread > MOST_TURN_RAD).any():
        return new
    level = np.floor((turn - turn[begin][chain]) / MOST_TURN_RAD + 0.5)
    wide = (spread > MOST_TURN_RAD)[chain]
    return np.asarray(new | (wide & np.concatenate([[False], level[1:] != level[:-1]])))


def _nodes(l0: FloatArray, r0: FloatArray, l1: FloatArray, r1: FloatArray, new: BoolArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Node pairs of consecutive steps: one a step, and one more at the end of each chain."""
    chain = np.cumsum(new) - 1
    place = np.arange(new.size) + chain
    size = new.size + int(chain[-1]) + 1
    left, right = np.empty((size, 2)), np.empty((size, 2))
    left[place], right[place] = l0, r0
    end = np.concatenate([np.flatnonzero(new)[1:] - 1, [new.size - 1]])
    left[place[end] + 1], right[place[end] + 1] = l1[end], r1[end]
    return left, right, np.diff(np.concatenate([np.flatnonzero(new), [new.size]])) + 1


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    out: FloatArray = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return out


def _folded(l0: FloatArray, r0: FloatArray, l1: FloatArray, r1: FloatArray) -> BoolArray:
    """Steps whose later node pair is not wholly ahead of the earlier one, seen from either pair, or faces the other way."""
    across0, across1 = r0 - l0, r1 - l1
    ahead = (_cross(across0, l1 - l0) >= 0) & (_cross(across0, r1 - r0) >= 0)
    behind = (_cross(across1, l1 - l0) >= 0) & (_cross(across1, r1 - r0) >= 0)
    left, right = l1 - l0, r1 - r0
    apart = _cross(right, l0 - r0) * _cross(right, l1 - r0) >= 0
    apart |= _cross(left, r0 - l0) * _cross(left, r1 - l0) >= 0
    flipped = ~apart | ((across0 * across1).sum(axis=1) <= 0)
    return np.asarray(~(ahead | behind) | flipped | (_cross(l1 - r0, l0 - r1) <= 0))


def _triangles(l0: FloatArray, r0: FloatArray, l1: FloatArray, r1: FloatArray) -> tuple[FloatArray, FloatArray, IntArray, IntArray]:
    """Each folded step as two triangles, turned so that their area is positive; and which step each is of."""
    lefts, rights, which = [], [], []
    for k, (a, d, b, c) in enumerate(zip(l0, r0, l1, r1, strict=True)):
        for p, q, s in _two(a, b, c, d):
            area = (q[0] - p[0]) * (s[1] - p[1]) - (q[1] - p[1]) * (s[0] - p[0])
            if area == 0:
                continue
            first, second = (p, q) if area < 0 else (q, p)  # the chain first -> second on the left, s on the right
            lefts += [first, second]
            rights += [s, s]
            which.append(k)
    n = len(lefts) // 2
    size = np.full(n, 2, dtype=np.int64)
    return np.array(lefts).reshape(-1, 2), np.array(rights).reshape(-1, 2), size, np.array(which, dtype=np.int64)


def _two(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> tuple[tuple[FloatArray, FloatArray, FloatArray], ...]:
    """The quad a-b-c-d (left edge a-b, right edge d-c) as two triangles that do not lie over each other."""
    for p0, p1, q0, q1, around in ((d, a, c, b, ((a, b), (c, d))), (a, b, d, c, ((a, d), (b, c)))):
        u, v, w = p1 - p0, q1 - q0, q0 - p0
        den = u[0] * v[1] - u[1] * v[0]
        if den == 0:
            continue
        s, t = (w[0] * v[1] - w[1] * v[0]) / den, (w[0] * u[1] - w[1] * u[0]) / den
        if 0 < s < 1 and 0 < t < 1:
            x = p0 + s * u
            return tuple((m, n, x) for m, n in around)
    whole = _area3(a, b, c) + _area3(a, c, d)
    one, other = _area3(a, b, c), _area3(a, c, d)
    if one * other >= 0 and whole != 0:
        return (a, b, c), (a, c, d)
    return (a, b, d), (b, c, d)


def _area3(p: FloatArray, q: FloatArray, r: FloatArray) -> float:
    return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))


def _areas(left: FloatArray, right: FloatArray, start: IntArray) -> FloatArray:
    """Area of each chain, the sum of its steps' areas, shape (c,). [m²]"""
    if start.size <= 1:
        return np.zeros(0)
    quad = 0.5 * _cross(left[1:] - right[:-1], left[:-1] - right[1:])
    inner = np.ones(left.shape[0] - 1, dtype=np.bool_)
    inner[start[1:-1] - 1] = False
    quad = np.where(inner, quad, 0.0)
    out: FloatArray = np.add.reduceat(np.concatenate([quad, [0.0]]), start[:-1])
    return out


def _switching(path: ToolPath, state: IntArray, patterns: list[FloatArray]) -> float:
    """Ground of the parts of the tool that were switched within a step: the log cannot say where in it. [m²]"""
    if state.size < 2:
        return 0.0
    at = np.flatnonzero((state[1:] != state[:-1]) & path.joined[1:] & path.joined[:-1])
    total = 0.0
    length = np.hypot(*np.diff(path.xy, axis=0).T)
    for i in at.tolist():
        total += float(length[i]) * _different(_runs(patterns, int(state[i])), _runs(patterns, int(state[i + 1])))
    return total


def _runs(patterns: list[FloatArray], state: int) -> FloatArray:
    return patterns[state] if state >= 0 else np.zeros((0, 2))


def _different(one: FloatArray, other: FloatArray) -> float:
    """Width on in one but not in the other. [m]"""
    cuts = np.unique(np.concatenate([one.ravel(), other.ravel()]))
    middle = (cuts[1:] + cuts[:-1]) / 2

    def inside(runs: FloatArray) -> BoolArray:
        return np.asarray(((middle[:, None] >= runs[:, 0]) & (middle[:, None] <= runs[:, 1])).any(axis=1))

    return float(((cuts[1:] - cuts[:-1]) * (inside(one) != inside(other))).sum())


def _flat(trail: Trail, outfit: Outfit, steps: Steps, patterns: list[FloatArray], code: IntArray, notes: tuple[str, ...]) -> Strips:
    """Every step a rectangle of its own."""
    row = np.flatnonzero(steps.sowing & (steps.length_m > 0))
    move = trail.xy_m[row + 1] - trail.xy_m[row]
    face = move / steps.length_m[row][:, None]
    right = np.column_stack([face[:, 1], -face[:, 0]])
    begin = trail.xy_m[row] - outfit.antenna_ahead_m * face
    lefts, rights, rows = [], [], [np.zeros(0, dtype=np.int64)]
    for slot in range(max((p.shape[0] for p in patterns), default=0)):
        has = np.array([p.shape[0] > slot for p in patterns])[code[row]]
        lo = np.array([p[slot, 0] if p.shape[0] > slot else 0.0 for p in patterns])[code[row]][has, None]
        hi = np.array([p[slot, 1] if p.shape[0] > slot else 0.0 for p in patterns])[code[row]][has, None]
        pair = np.stack([begin[has], begin[has] + move[has]], axis=1)
        lefts.append((pair + (lo * right[has])[:, None, :]).reshape(-1, 2))
        rights.append((pair + (hi * right[has])[:, None, :]).reshape(-1, 2))
        rows.append(np.repeat(row[has], 2))
    left = np.concatenate(lefts) if lefts else np.zeros((0, 2))
    rgt = np.concatenate(rights) if rights else np.zeros((0, 2))
    start = np.arange(0, left.shape[0] + 1, 2)
    return Strips(
        left=left, right=rgt, start=start, area_m2=_areas(left, rgt, start), row=np.concatenate(rows), switching_m2=0.0,
        steps=int(row.size), notes=notes,
    )  # fmt: skip
