"""The order of rounds and passes, and which way each is driven: the nearest next, side by side within a block."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from evenstand.field.detours import Ground
from evenstand.field.headlands import Round
from evenstand.field.lanes import Axes, Lane
from evenstand.field.turning import Pose, dubins_length, dubins_path
from evenstand.model.place import FloatArray

_TRIES = 24  # places along a ring at which it may begin


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass:
    """One pass as driven. xy_m (n, 2) in order [m]; is_round: a headland round; block: passes of one block lie side by side."""

    xy_m: FloatArray
    is_round: bool
    block: int

    @property
    def start(self) -> Pose:
        """Place and heading at its begin. [m, m, rad]"""
        return _pose(self.xy_m[0], self.xy_m[0], self.xy_m[1])

    @property
    def end(self) -> Pose:
        """Place and heading at its end. [m, m, rad]"""
        return _pose(self.xy_m[-1], self.xy_m[-2], self.xy_m[-1])


def rounds_in_order(rounds: Sequence[Round], start: Pose | None, begin_m: FloatArray, ground: Ground, *, inwards: bool) -> list[Pass]:
    """Headland rounds: those along the outline first (or last), then around what is left out, always the nearest next.

    Parameters
    ----------
    rounds : sequence of Round
        All rounds. [m]
    start : pose or None
        Where the machine comes from; None at the begin of the work. [m, m, rad]
    begin_m : ndarray (2,)
        Where the first round begins if the machine comes from nowhere. [m]
    ground : Ground
        Where turns have room. [m]
    inwards : bool
        From the outline inwards, or the other way. [-]
    """
    outside = [r for r in rounds if r.is_outside]
    around = [r for r in rounds if not r.is_outside]
    ordered: list[Pass] = []
    pose = start
    for group in (outside, around) if inwards else (around, outside):
        waiting = list(group)
        while waiting:
            place = np.asarray(pose[:2]) if pose else begin_m
            nearest = min(waiting, key=lambda r: (_distance(r.xy_m, place), r.number if inwards else -r.number))
            waiting = [r for r in waiting if r is not nearest]
            xy = _begun(nearest.xy_m, pose, place, ground)
            ordered.append(Pass(xy_m=xy, is_round=True, block=0))
            pose = ordered[-1].end
    return ordered


def lanes_in_order(lanes: Sequence[Lane], axes: Axes, start: Pose | None, ground: Ground) -> list[Pass]:
    """Straight passes: blocks of neighbours driven side by side, each block entered at the corner that is nearest.

    Parameters
    ----------
    lanes : sequence of Lane
        From left to right. [m]
    axes : Axes
        Their axes. [-]
    start : pose or None
        Where the machine comes from. [m, m, rad]
    ground : Ground
        Where turns have room. [m]
    """
    blocks = _blocks(lanes)
    ordered: list[Pass] = []
    pose = start
    number = 0
    while blocks:
        number += 1
        options = [(k, flip, back) for k in range(len(blocks)) for flip in (False, True) for back in (False, True)]
        entries = [_driven(blocks[k][-1 if flip else 0], axes, back) for k, flip, back in options]
        k, flip, back = options[_soonest(entries, pose, ground)]
        block = blocks.pop(k)
        for lane in reversed(block) if flip else block:
            ordered.append(Pass(xy_m=_driven(lane, axes, back), is_round=False, block=number))
            back = not back
        pose = ordered[-1].end
    return ordered


def _blocks(lanes: Sequence[Lane]) -> list[list[Lane]]:
    """Chains of lanes of which each has one neighbour on either side: split where a hole parts the field."""
    by_strip: dict[int, list[Lane]] = {}
    for lane in lanes:
        by_strip.setdefault(lane.strip, []).append(lane)
    blocks: list[list[Lane]] = []
    open_blocks: dict[int, list[Lane]] = {}  # by identity of their last lane
    for strip in sorted(by_strip):
        before, here = by_strip.get(strip - 1, []), by_strip[strip]
        following: dict[int, list[Lane]] = {}
        for lane in here:
            back = [b for b in before if _side_by_side(b, lane)]
            alone = len(back) == 1 and sum(_side_by_side(back[0], h) for h in here) == 1
            if alone:
                block = open_blocks[id(back[0])]
                block.append(lane)
            else:
                block = [lane]
                blocks.append(block)
            following[id(lane)] = block
        open_blocks = following
    return blocks


def _side_by_side(one: Lane, other: Lane) -> bool:
    return min(one.to_m, other.to_m) > max(one.from_m, other.from_m)


def _soonest(tracks: Sequence[FloatArray], pose: Pose | None, ground: Ground) -> int:
    """Which of several tracks is reached by the shortest turn that stays on the ground; by the shortest, if none does. [-]"""
    if pose is None:
        return 0
    starts = [_pose(xy[0], xy[0], xy[1]) for xy in tracks]
    lengths = [dubins_length(pose, start, ground.radius_m) for start in starts]
    order = sorted(range(len(tracks)), key=lambda k: lengths[k])
    clear = (k for k in order if ground.is_on(dubins_path(pose, starts[k], ground.radius_m, step_m=ground.radius_m / 4)))
    return next(clear, order[0])


def _driven(lane: Lane, axes: Axes, back: bool) -> FloatArray:
    ends = np.array([[lane.from_m, lane.middle_m], [lane.to_m, lane.middle_m]])
    return axes.to_field(ends[::-1].copy() if back else ends)


def _pose(place: FloatArray, before: FloatArray, after: FloatArray) -> Pose:
    return float(place[0]), float(place[1]), math.atan2(after[1] - before[1], after[0] - before[0])


def _distance(ring: FloatArray, place: FloatArray) -> float:
    return float(shapely.distance(shapely.LineString(ring), shapely.Point(place)))


def _begun(ring: FloatArray, pose: Pose | None, place: FloatArray, ground: Ground) -> FloatArray:
    """The ring begun where it is soonest reached, either way round."""
    at = float(shapely.line_locate_point(shapely.LineString(ring), shapely.Point(place)))
    whole = float(np.hypot(*np.diff(ring, axis=0).T).sum())
    if pose is None:
        return _ring_from(ring, at)
    ahead = np.linspace(0.0, min(8 * ground.radius_m, whole / 2), _TRIES)
    tried = [_ring_from(way, (where + a) % whole) for way, where in ((ring, at), (ring[::-1], whole - at)) for a in ahead]
    return tried[_soonest(tried, pose, ground)]


def _ring_from(ring: FloatArray, at: float) -> FloatArray:
    """The closed ring begun at a length along it. [m]"""
    station = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    at = at % station[-1]
    k = min(int(np.searchsorted(station, at, side="right")) - 1, len(ring) - 2)
    share = (at - station[k]) / max(station[k + 1] - station[k], 1e-12)
    place = ring[k] + share * (ring[k + 1] - ring[k])
    turned = np.vstack([place, ring[k + 1 : -1], ring[: k + 1], place])
    keep = np.concatenate([[True], np.hypot(*np.diff(turned, axis=0).T) > 1e-6])
    keep[-1] = True
    out: FloatArray = turned[keep]
    if len(out) > 2 and np.hypot(*(out[-1] - out[-2])) <= 1e-6:
        out = np.vstack([out[:-2], out[-1]])
    return out
