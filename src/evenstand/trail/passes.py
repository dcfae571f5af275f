"""Passes: stretches driven at work, cut at sharp turns, with what was not as it should be; and the distance between neighbours."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from evenstand.base.estimate import Est
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import BoolArray, Trail
from evenstand.trail.stepping import Steps, at_work_rows, runs_of

ExceptionKind = Literal["no-data", "stop", "off-rate", "run-dead", "sections-off"]
LEAST_PASS_M = 15.0
JOIN_M = 60.0
STOP_M = 6.0
TURN_RAD = math.radians(50.0)
TURN_REACH_M = 8.0
OFF_RATE = 0.05
OFF_RATE_ROWS = 3
STRAIGHT_M = 50.0
STRAIGHT_RMS_M = 2.0
PARALLEL_RAD = math.radians(4.0)
STATION_M = 10.0
END_M = 15.0
MOST_SCATTER = 0.25
MOST_LANES = 3
WIDEST_M = 60.0
WALKED = 0.8
MOST_OFF = 0.2
LANES_KNOWN = 3
USUAL_LANE_SD_M = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class PassException:
    """One stretch of a pass that is not as it should be. from_m, to_m along the pass [m]; note: what is seen there, in words."""

    kind: ExceptionKind
    from_m: float
    to_m: float
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PassFacts:
    """One pass. first_row, last_row of the trail; start_ms, end_ms UTC; start_s, end_s from the trail's first row [s]; length_m [m];
    speed_m_s: mean while moving [m/s]; heading_deg: clockwise from the frame's north [deg]; off_share: share of the sections that was off,
    None without sections [-]; exceptions along it."""

    number: int
    first_row: int
    last_row: int
    start_ms: int
    end_ms: int
    start_s: float
    end_s: float
    length_m: float
    speed_m_s: float
    heading_deg: float
    off_share: float | None
    exceptions: tuple[PassException, ...] = ()


def passes_of(trail: Trail, steps: Steps) -> tuple[PassFacts, ...]:
    """The passes of a trail in the order driven.

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    steps : Steps
        Its steps. [-]

    Returns
    -------
    tuple of PassFacts
        Pieces shorter than 15 m are no pass. [-]

    References
    ----------
    definition: a pass is a stretch at work between two turns or lifts.
    """
    at_work, _ = at_work_rows(trail)
    along = np.concatenate([[0.0], np.cumsum(np.where(steps.whole | (steps.length_m <= JOIN_M), steps.length_m, 0.0))])
    out: list[PassFacts] = []
    for first, last in _pieces(trail, steps, at_work, along):
        if along[last] - along[first] >= LEAST_PASS_M:
            out.append(_pass(trail, steps, along, first, last, len(out) + 1))
    return tuple(out)


def _pieces(trail: Trail, steps: Steps, at_work: BoolArray, along: FloatArray) -> list[tuple[int, int]]:
    """First and last row of every stretch at work; a halt on the spot does not end one, a sharp turn does."""
    begin, end = runs_of(at_work)
    joined: list[list[int]] = []
    for a, b in zip(begin.tolist(), end.tolist(), strict=True):
        # the step after the last row at work is still sown, so the next row ends the stretch
        z = min(b, trail.n - 1)
        if joined and _same_spot(trail, joined[-1][1], a):
            joined[-1][1] = z
        else:
            joined.append([a, z])
    cut: list[tuple[int, int]] = []
    far = np.flatnonzero(steps.length_m > JOIN_M)
    for a, z in joined:
        for p, q in _at_breaks(a, z, far):
            cut += _at_turns(trail, along, p, q)
    return cut


def _same_spot(trail: Trail, one: int, other: int) -> bool:
    move = trail.xy_m[other] - trail.xy_m[one]
    return bool(np.hypot(*move) <= STOP_M) and other - one > 1


def _at_breaks(first: int, last: int, far: IntArray) -> list[tuple[int, int]]:
    """Cut where the trail leaps."""
    out, begin = [], first
    for step in far[(far >= first) & (far < last)].tolist():
        if step > begin:
            out.append((begin, step))
        begin = step + 1
    if last > begin:
        out.append((begin, last))
    return out


def _at_turns(trail: Trail, along: FloatArray, first: int, last: int) -> list[tuple[int, int]]:
    """Cut in the middle of every turn by more than 50 degrees within 16 m."""
    s = along[first : last + 1]
    if last - first < 4 or s[-1] - s[0] < 4 * TURN_REACH_M:
        return [(first, last)]
    xy = trail.xy_m[first : last + 1]

    def at(where: FloatArray) -> FloatArray:
        held = np.clip(where, s[0], s[-1])
        return np.column_stack([np.interp(held, s, xy[:, i]) for i in (0, 1)])

    before, here, after = at(s - 2 * TURN_REACH_M), at(s), at(s + 2 * TURN_REACH_M)
    one, other = here - before, after - here
    turn = np.abs(np.arctan2(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0], (one * other).sum(axis=1)))
    inner = (s > s[0] + TURN_REACH_M) & (s < s[-1] - TURN_REACH_M)
    begin, end = runs_of((turn > TURN_RAD) & inner)
    cuts = [first + a + int(np.argmax(turn[a:b])) for a, b in zip(begin.tolist(), end.tolist(), strict=True)]
    points = [first, *cuts, last]
    return [(a, b) for a, b in itertools.pairwise(points) if b > a]


def _pass(trail: Trail, steps: Steps, along: FloatArray, first: int, last: int, number: int) -> PassFacts:
    rows = slice(first, last)
    moving = steps.whole[rows] & (steps.length_m[rows] > 0.05)
    seconds = float(steps.dt_s[rows][moving].sum())
    move = trail.xy_m[last] - trail.xy_m[first]
    origin = int(trail.t_ms[0])
    off = None if trail.sections is None or not trail.sections.shape[1] else 1.0 - float(trail.sections[rows].mean())
    return PassFacts(
        number=number,
        first_row=first,
        last_row=last,
        start_ms=int(trail.t_ms[first]),
        end_ms=int(trail.t_ms[last]),
        start_s=(int(trail.t_ms[first]) - origin) / 1e3,
        end_s=(int(trail.t_ms[last]) - origin) / 1e3,
        length_m=float(along[last] - along[first]),
        speed_m_s=float(steps.length_m[rows][moving].sum()) / seconds if seconds > 0 else math.nan,
        heading_deg=math.degrees(math.atan2(move[0], move[1])) % 360.0,
        off_share=off,
        exceptions=_exceptions(trail, steps, along - along[first], first, last),
    )


def _exceptions(trail: Trail, steps: Steps, s: FloatArray, first: int, last: int) -> tuple[PassException, ...]:
    out: list[PassException] = []
    for i in first + np.flatnonzero(~steps.whole[first:last] | (steps.dt_s[first:last] > steps.limits.gap_s)):
        still = steps.length_m[i] <= STOP_M
        note = f"{steps.dt_s[i]:.0f} s without a row" if not still else f"stood {steps.dt_s[i]:.0f} s"
        out.append(PassException(kind="stop" if still else "no-data", from_m=float(s[i]), to_m=float(s[i + 1]), note=note))
    out += _halts(trail, steps, s, first, last)
    if trail.asked_kg_ha is not None and trail.echoed_kg_ha is not None:
        for j, letter in enumerate(trail.bins):
            out += _off_rate(trail.asked_kg_ha[first:last, j], trail.echoed_kg_ha[first:last, j], s[first : last + 1], letter)
    if trail.sections is not None and trail.sections.shape[1]:
        out += _sections_off(trail.sections[first:last], s[first : last + 1])
    return tuple(sorted(out, key=lambda e: e.from_m))


def _halts(trail: Trail, steps: Steps, s: FloatArray, first: int, last: int) -> list[PassException]:
    """Halts of 20 s or more that rows were written through."""
    slow = steps.whole[first:last] & (steps.length_m[first:last] < 0.2 * np.maximum(steps.dt_s[first:last], 1e-3))
    out = []
    for a, b in zip(*(v.tolist() for v in runs_of(slow)), strict=True):
        stood = float(steps.dt_s[first + a : first + b].sum())
        if stood >= 20:
            out.append(PassException(kind="stop", from_m=float(s[first + a]), to_m=float(s[first + b]), note=f"stood {stood:.0f} s"))
    return out


def _off_rate(asked: FloatArray, echoed: FloatArray, s: FloatArray, letter: str) -> list[PassException]:
    """Reported rate more than 5 % off the rate asked for, on three rows or more; as the controller reported."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(asked > 0, echoed / asked, np.nan)
    off = np.nan_to_num(np.abs(ratio - 1), nan=0.0) > OFF_RATE
    out = []
    for a, b in zip(*(v.tolist() for v in runs_of(off)), strict=True):
        if b - a >= OFF_RATE_ROWS:
            size = 100 * (float(np.median(ratio[a:b])) - 1)
            out.append(
                PassException(
                    kind="off-rate", from_m=float(s[a]), to_m=float(s[b]), note=f"bin {letter} {size:+.0f} % as the controller reported"
                )
            )
    return out


def _sections_off(sections: BoolArray, s: FloatArray) -> list[PassException]:
    """Some sections off, others on, away from the ends of the pass."""
    count = sections.sum(axis=1)
    some = (count > 0) & (count < sections.shape[1])
    out = []
    for a, b in zip(*(v.tolist() for v in runs_of(some)), strict=True):
        if s[b] - s[a] >= 5.0:
            which = np.flatnonzero(~sections[a:b].all(axis=0)) + 1
            shown = (
                f"{which[0]} to {which[-1]}"
                if which.size > 2 and which[-1] - which[0] == which.size - 1
                else ", ".join(map(str, which[:6]))
            )
            out.append(PassException(kind="sections-off", from_m=float(s[a]), to_m=float(s[b]), note=f"section {shown} off"))
    return out


def with_exceptions(passes: tuple[PassFacts, ...], more: dict[int, list[PassException]]) -> tuple[PassFacts, ...]:
    """The passes with further exceptions by pass number."""
    return tuple(
        replace(p, exceptions=tuple(sorted((*p.exceptions, *more[p.number]), key=lambda e: e.from_m))) if p.number in more else p
        for p in passes
    )


def pass_of_row(passes: tuple[PassFacts, ...], row: int) -> int | None:
    """Number of the pass a row lies in, or of the next one; None after the last. [-]"""
    for p in passes:
        if row <= p.last_row:
            return p.number
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class RowToRow:
    """Distance between neighbouring passes: what guidance steered by, not the tool's width. distance_m with the sd of its median [m];
    scatter_m: of single neighbours [m]; neighbours: how many pairs."""

    distance_m: Est
    scatter_m: float
    neighbours: int


def row_to_row(trail: Trail, passes: tuple[PassFacts, ...]) -> RowToRow | None:
    """Distance between neighbouring straight passes; None with fewer than two such neighbours.

    Parameters
    ----------
    trail : Trail
        Positions. [m]
    passes : tuple of PassFacts
        Its passes. [-]

    Returns
    -------
    RowToRow or None
        The median over pairs of neighbours; None where neighbours lie at no one distance. [m]

    References
    ----------
    definition: distance between two parallel lines, median over neighbours.
    """
    lines = [xy for p in passes if p.length_m >= STRAIGHT_M and _bend(xy := _inner(trail, p)) <= STRAIGHT_RMS_M]
    if len(lines) < 3:
        return None
    chords = np.array([xy[-1] - xy[0] for xy in lines])
    angle = np.arctan2(chords[:, 0], chords[:, 1])
    main = _main_direction(angle, np.hypot(chords[:, 0], chords[:, 1]))
    along_side = np.abs((angle - main + math.pi / 2) % math.pi - math.pi / 2) <= PARALLEL_RAD
    group = [xy for xy, ok in zip(lines, along_side, strict=True) if ok]
    if len(group) < 3:
        return None
    return _spacing(group, main)


def _inner(trail: Trail, p: PassFacts) -> FloatArray:
    """Positions of a pass without its ends, where machines turn in and out. [m]"""
    xy = trail.xy_m[p.first_row : p.last_row + 1]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    inner = xy[(along >= END_M) & (along <= along[-1] - END_M)]
    return inner if inner.shape[0] >= 3 else xy


def _bend(xy: FloatArray) -> float:
    """Root mean square distance of a line from its chord. [m]"""
    chord = xy[-1] - xy[0]
    size = float(np.hypot(*chord))
    if size < 1.0:
        return math.inf
    aside = ((xy - xy[0]) @ np.array([chord[1], -chord[0]])) / size
    return float(np.sqrt(np.mean(aside**2)))


def _main_direction(angle: FloatArray, length: FloatArray) -> float:
    """The direction most of the length was driven in, the two senses being one. [rad]"""
    share = [float(length[np.abs((angle - a + math.pi / 2) % math.pi - math.pi / 2) <= PARALLEL_RAD].sum()) for a in angle]
    best = float(angle[int(np.argmax(share))])
    near = np.abs((angle - best + math.pi / 2) % math.pi - math.pi / 2) <= PARALLEL_RAD
    double = 2 * angle[near]
    return float(np.arctan2((length[near] * np.sin(double)).sum(), (length[near] * np.cos(double)).sum()) / 2)


def _spacing(lines: list[FloatArray], main: float) -> RowToRow | None:
    """The slope of the lanes' places across the field over their numbers: no pair counts twice, and errors of one lane cancel."""
    gaps = {pair: g for pair, g in _neighbour_gaps(lines, main).items() if g <= WIDEST_M}
    if len(gaps) < 2:
        return None
    size = np.array(list(gaps.values()))
    middle = float(np.median(size))
    near = size[(size > 0.3 * middle) & (size < 1.7 * middle)]
    if near.size < 2:
        return None
    middle = float(np.median(near))
    if 1.4826 * float(np.median(np.abs(near - middle))) > MOST_SCATTER * middle:
        return None
    whole = {pair: round(g / middle) for pair, g in gaps.items()}
    used = {p: g for p, g in gaps.items() if 1 <= whole[p] <= MOST_LANES and abs(g - whole[p] * middle) <= MOST_OFF * middle}
    fit = _slope(_placed(used, whole))
    if fit is None:
        return None
    spacing, sd, single = fit
    found = Est(value=spacing, sd=max(sd, 0.005), basis="measured", source="trail: neighbouring passes")
    return RowToRow(distance_m=found, scatter_m=single, neighbours=len(used))


def _neighbour_gaps(lines: list[FloatArray], main: float) -> dict[tuple[int, int], float]:
    """Middle sideways distance of each pair of lines that lie side by side at three stations along the main direction or more. [m]"""
    ahead = np.array([math.sin(main), math.cos(main)])
    aside = np.array([ahead[1], -ahead[0]])
    ends = [(float((xy @ ahead).min()), float((xy @ ahead).max())) for xy in lines]
    station = np.arange(min(a for a, _ in ends), max(b for _, b in ends), STATION_M)
    grid = np.full((len(lines), station.size), np.nan)
    for i, xy in enumerate(lines):
        v, u = xy @ ahead, xy @ aside
        order = np.argsort(v)
        inside = (station >= ends[i][0] + STATION_M) & (station <= ends[i][1] - STATION_M)
        grid[i, inside] = np.interp(station[inside], v[order], u[order])
    seen: dict[tuple[int, int], list[float]] = {}
    for column in grid.T:
        there = np.flatnonzero(np.isfinite(column))
        ranked = there[np.argsort(column[there])].tolist()
        for i, j in itertools.pairwise(ranked):
            seen.setdefault((i, j), []).append(float(column[j] - column[i]))
    return {pair: float(np.median(g)) for pair, g in seen.items() if len(g) >= 3}


def _placed(gaps: dict[tuple[int, int], float], whole: dict[tuple[int, int], int]) -> list[tuple[FloatArray, FloatArray]]:
    """Blocks of lanes that hang together: the number of each lane and its place across the field. [-, m]"""
    links: dict[int, list[tuple[int, int, float]]] = {}
    for (i, j), g in gaps.items():
        links.setdefault(i, []).append((j, whole[i, j], g))
        links.setdefault(j, []).append((i, -whole[i, j], -g))
    placed: dict[int, tuple[int, float]] = {}
    blocks = []
    for first in links:
        if first in placed:
            continue
        placed[first] = (0, 0.0)
        todo, block = [first], []
        while todo:
            i = todo.pop()
            block.append(placed[i])
            for j, number, g in links[i]:
                if j not in placed:
                    placed[j] = (placed[i][0] + number, placed[i][1] + g)
                    todo.append(j)
        if len(block) >= 2:
            both = np.array(block, dtype=np.float64)
            blocks.append((both[:, 0], both[:, 1]))
    return blocks


def _slope(blocks: list[tuple[FloatArray, FloatArray]]) -> tuple[float, float, float] | None:
    """Common slope of all blocks, its sd, and the scatter of one lane about it; lanes that lie far off left out. [m]"""
    keep = [np.ones(n.size, dtype=np.bool_) for n, _ in blocks]
    for _ in range(3):
        n = [a[k] - a[k].mean() for (a, _), k in zip(blocks, keep, strict=True) if k.sum() >= 2]
        u = [b[k] - b[k].mean() for (_, b), k in zip(blocks, keep, strict=True) if k.sum() >= 2]
        if not n:
            return None
        x, y = np.concatenate(n), np.concatenate(u)
        way = float((x**2).sum())
        free = x.size - len(n) - 1
        if way <= 0 or free < 1:
            return None
        slope = float((x * y).sum()) / way
        left = y - slope * x
        # a few lanes tell their own scatter badly: usual steering stands in for LANES_KNOWN more
        scatter = math.sqrt((float((left**2).sum()) + LANES_KNOWN * USUAL_LANE_SD_M**2) / (free + LANES_KNOWN))
        rest = [
            np.abs((b - b[k].mean()) - slope * (a - a[k].mean())) if k.sum() >= 2 else b * 0 for (a, b), k in zip(blocks, keep, strict=True)
        ]
        keep = [k & (r <= 3.5 * scatter) for k, r in zip(keep, rest, strict=True)]
    single = scatter * math.sqrt(2.0)
    # positions drift from lane to lane: errors of pairs add up like steps of a walk, and the slope is no better than they let it be
    walk = WALKED * single / math.sqrt(max(x.size - len(n), 1))
    return slope, max(scatter / math.sqrt(way), walk), single
