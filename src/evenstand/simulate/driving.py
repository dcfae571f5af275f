"""The path really driven: a line aimed at, steered with error, at a speed that takes time to change."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from evenstand.model import Boundary, Drive, Outfit
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import BoolArray
from evenstand.simulate.faults import SimulationError
from evenstand.simulate.worlds import Dice, World

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

CELL_M = 1.0
TURN_SPEED_SHARE = 0.72
SLOWEST_M_S = 0.4
SECTION_MARGIN = 0.25
COARSE_CELLS = 6
OUT_CELLS = 30
THIN_M = 0.03
THIN_SHARE = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """The path of the openers' middle, cut into cells between nodes.

    xy_m (n+1,2): nodes [m]; heading (n,2): unit vectors of the cells; length_m (n,): of the cells [m]; pass_id (n,): pass, 0 between
    passes; down (n,): openers in the ground; sections (n,k): sections at work, k 0 without sections; share (n,): share of
    the width at work [-]; speed_m_s (n,) [m/s]; width_m: spacing of the passes aimed at [m].
    """

    xy_m: FloatArray
    heading: FloatArray
    length_m: FloatArray
    pass_id: IntArray
    down: BoolArray
    sections: BoolArray
    share: FloatArray
    speed_m_s: FloatArray
    width_m: float
    complete: bool


def serpentine(area_ha: float, width_m: float, turn_radius_m: float) -> Drive:
    """A plain rectangle driven to and fro, for a job that has no line yet.

    Parameters
    ----------
    area_ha : float
        Area to cover. [ha]
    width_m : float
        Spacing of the passes. [m]
    turn_radius_m : float
        Radius of the turns. [m]

    Returns
    -------
    Drive
        Passes along north in a frame whose origin is the south-west corner. [-]
    """
    area = area_ha * 1e4
    passes = max(1, round(np.sqrt(area) / width_m))
    ends = (0.0, area / (passes * width_m))
    return _to_and_fro([((k + 0.5) * width_m, *ends) for k in range(passes)], width_m, turn_radius_m)


def across(boundary: Boundary, width_m: float, turn_radius_m: float) -> Drive:
    """Passes along north over a field that has no line yet, each from its outermost edge to the other, straight over holes.

    Parameters
    ----------
    boundary : Boundary
        The field. [m]
    width_m : float
        Spacing of the passes. [m]
    turn_radius_m : float
        Radius of the turns. [m]

    Returns
    -------
    Drive
        In the field's frame, without headland rounds. [-]
    """
    import shapely

    shape = field_shape(boundary)
    left, low, right, high = shape.bounds
    lanes = []
    for k in range(int(np.ceil((right - left) / width_m))):
        strip = shapely.box(left + k * width_m, low, left + (k + 1) * width_m, high).intersection(shape)
        if strip.area > 1.0:
            lanes.append((left + (k + 0.5) * width_m, strip.bounds[1], strip.bounds[3]))
    return _to_and_fro(lanes, width_m, turn_radius_m)


def _to_and_fro(lanes: list[tuple[float, float, float]], width_m: float, turn_radius_m: float) -> Drive:
    """Lanes (x, lower y, upper y) driven up and down in turn, with square turns beyond both ends."""
    points: list[tuple[float, float]] = []
    kinds: list[int] = []
    ids: list[int] = []
    reach = max(turn_radius_m, width_m / 2)
    for k, (x, low, high) in enumerate(lanes):
        start, end = (low, high) if k % 2 == 0 else (high, low)
        if k:
            beyond = (max if k % 2 else min)(points[-1][1], start) + (reach if k % 2 else -reach)
            points += [(points[-1][0], beyond), (x, beyond)]
            kinds += [2, 2]
            ids += [0, 0]
        points += [(x, start), (x, end)]
        kinds += [1, 1]
        ids += [k + 1, k + 1]
    xy = np.array(points, dtype=np.float64)
    station = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    return Drive(
        xy_m=xy, station_m=station, t_s=station / 2.0, kind=np.array(kinds, dtype=np.int64), pass_id=np.array(ids, dtype=np.int64),
        width_m=width_m, direction_deg=0.0, headland_rounds=0, passes=len(lanes), notes=("passes to and fro, no headland",),
    )  # fmt: skip


def follow(
    drive: Drive,
    outfit: Outfit,
    boundary: Boundary | None,
    *,
    width_m: float,
    speed_m_s: float,
    max_area_ha: float | None,
    world: World,
    dice: Dice,
) -> Path:
    """Drive the line: steering error, speed, openers up and down, sections over ground that is to be sown."""
    node_s, cell_pass, cell_kind, complete = _cells(drive, max_area_ha)
    aimed = np.column_stack([np.interp(node_s, _stations(drive), drive.xy_m[:, i]) for i in (0, 1)])
    length = np.diff(node_s)
    n = length.size
    aside = dice.lasting("steering", n + 1, world.steer_reach_m / CELL_M, world.steer_sd_m)
    direction = _unit(np.gradient(_smooth(aimed, 3), axis=0)) if n > 1 else _unit(np.diff(aimed, axis=0).repeat(2, axis=0))
    xy = aimed + aside[:, None] * np.column_stack([direction[:, 1], -direction[:, 0]])
    down = _lowered(cell_pass, length, world, dice)
    heading = _unit(np.diff(xy, axis=0), spare=direction[:-1])
    sections = _sections(outfit, boundary, drive, (xy[1:] + xy[:-1]) / 2, heading, down, cell_kind, cell_pass, world)
    share = _share(outfit, sections, down, width_m)
    return Path(
        xy_m=xy, heading=heading, length_m=length, pass_id=cell_pass, down=down, sections=sections, share=share,
        speed_m_s=_speed(down, length, speed_m_s, world, dice), width_m=drive.width_m,
        complete=complete,
    )  # fmt: skip


def _stations(drive: Drive) -> FloatArray:
    step = np.hypot(np.diff(drive.xy_m[:, 0]), np.diff(drive.xy_m[:, 1]))
    out: FloatArray = np.concatenate([[0.0], np.cumsum(step)])
    return out


def _cells(drive: Drive, max_area_ha: float | None) -> tuple[FloatArray, IntArray, IntArray, bool]:
    """Nodes along the line: every metre and every vertex, so that passes begin and end exactly; pass and kind of each cell;
    whether every pass is in it."""
    if drive.xy_m.shape[0] < 2:
        raise SimulationError("the plan's line has fewer than two points: nothing can be driven.")
    station = _stations(drive)
    node = np.unique(np.concatenate([np.arange(0.0, station[-1], CELL_M), station]))
    node = node[np.concatenate([[True], np.diff(node) > 1e-6])]
    edge = np.clip(np.searchsorted(station, (node[1:] + node[:-1]) / 2, side="right") - 1, 0, station.size - 2)
    same = drive.pass_id[edge] == drive.pass_id[edge + 1]
    cell_pass = np.where(same, drive.pass_id[edge], 0).astype(np.int64)
    cell_kind = drive.kind[edge].astype(np.int64)
    if not (cell_pass > 0).any():
        raise SimulationError("the plan's line has no pass: pass numbers start at 1.")
    stop = int(np.flatnonzero(cell_pass > 0)[-1]) + 1
    complete = True
    if max_area_ha is not None:
        done = np.cumsum(np.diff(node) * (cell_pass > 0)) * drive.width_m / 1e4
        reached = int(np.searchsorted(done, max_area_ha)) + 1
        complete = reached >= stop
        stop = min(stop, reached)
    stop = min(cell_pass.size, stop + OUT_CELLS) if complete else stop
    return node[: stop + 1], cell_pass[:stop], cell_kind[:stop], complete


def _smooth(xy: FloatArray, half: int) -> FloatArray:
    kernel = np.ones(2 * half + 1) / (2 * half + 1)
    padded = np.pad(xy, ((half, half), (0, 0)), mode="edge")
    return np.column_stack([np.convolve(padded[:, i], kernel, mode="valid") for i in (0, 1)])


def _unit(vector: FloatArray, spare: FloatArray | None = None) -> FloatArray:
    size = np.hypot(vector[:, 0], vector[:, 1])
    flat = size < 1e-9
    out: FloatArray = vector / np.where(flat, 1.0, size)[:, None]
    if flat.any():
        out[flat] = spare[flat] if spare is not None else (0.0, 1.0)
    return out


def pass_ends(pass_id: IntArray) -> tuple[IntArray, IntArray]:
    """First cell and one past the last cell of every stretch of one pass."""
    change = np.flatnonzero(np.diff(pass_id)) + 1
    start = np.concatenate([[0], change])
    stop = np.concatenate([change, [pass_id.size]])
    sown = pass_id[start] > 0
    return start[sown].astype(np.int64), stop[sown].astype(np.int64)


def _lowered(cell_pass: IntArray, length: FloatArray, world: World, dice: Dice) -> BoolArray:
    """Openers down: inside the passes, and a little past their ends, as the driver is never early."""
    down = cell_pass > 0
    if world.overrun_m == 0:
        return down
    start, stop = pass_ends(cell_pass)
    late = dice.of("overrun").exponential(world.overrun_m, size=(stop.size, 2))
    for k in range(stop.size):
        past = np.cumsum(length[stop[k] : stop[k] + 40])
        down[stop[k] : stop[k] + int(np.searchsorted(past, late[k, 0]))] = True
        before = np.cumsum(length[max(0, start[k] - 40) : start[k]][::-1])
        down[start[k] - int(np.searchsorted(before, late[k, 1])) : start[k]] = True
    return down


def _sections(
    outfit: Outfit,
    boundary: Boundary | None,
    drive: Drive,
    middle: FloatArray,
    heading: FloatArray,
    down: BoolArray,
    kind: IntArray,
    pass_id: IntArray,
    world: World,
) -> BoolArray:
    """Which sections are at work: down, and over ground that this pass is meant to sow."""
    k = len(outfit.sections)
    if k == 0:
        return np.zeros((down.size, 0), dtype=np.bool_)
    on = np.repeat(down[:, None], k, axis=1)
    if boundary is None:
        return on
    test = _worth_testing(down, pass_id)
    on[:] = False
    across = np.array([(s.left_m + s.right_m) / 2 for s in outfit.sections])
    narrow = min(abs(s.right_m - s.left_m) for s in outfit.sections)
    right = np.column_stack([heading[:, 1], -heading[:, 0]])
    field, inner = _zones(boundary, drive, narrow * SECTION_MARGIN)
    for zone, chosen in ((field, kind == 0), (inner, kind != 0)):
        here = test & chosen
        spot = middle[here][:, None, :] + across[None, :, None] * right[here][:, None, :]
        on[here] = _inside(zone, spot.reshape(-1, 2)).reshape(-1, k)
    index = np.maximum.accumulate(np.where(test, np.arange(down.size), 0))
    on = _longer(on[index], round(world.section_late_m / CELL_M))
    on[~down] = False
    return on


def _longer(on: BoolArray, cells: int) -> BoolArray:
    """The same states, on some cells earlier and off as many later."""
    if cells == 0:
        return on
    padded = np.pad(np.cumsum(on, axis=0, dtype=np.int64), ((cells + 1, cells), (0, 0)), mode="edge")
    padded[: cells + 1] = 0
    out: BoolArray = padded[2 * cells + 1 :] > padded[: -2 * cells - 1]
    return out


def _worth_testing(down: BoolArray, pass_id: IntArray) -> BoolArray:
    """Every cell near a change, else one in a few: section edges are sharp where passes begin and end."""
    n = down.size
    change = np.flatnonzero(np.diff(down.astype(np.int8)) != 0) + 1
    near = np.zeros(n, dtype=np.bool_)
    for shift in range(-18, 19):
        near[np.clip(change + shift, 0, n - 1)] = True
    near[::COARSE_CELLS] = True
    near[0] = True
    first: BoolArray = near & down
    first[np.flatnonzero(np.diff(np.concatenate([[False], down]).astype(np.int8)) == 1)] = True
    return first


def _zones(boundary: Boundary, drive: Drive, margin: float) -> tuple[BaseGeometry, BaseGeometry]:
    """Ground for headland rounds (the whole field) and for passes (what the rounds leave), both widened by a margin."""
    whole = field_shape(boundary)
    inner = whole.buffer(-drive.headland_rounds * drive.width_m, join_style="mitre") if drive.headland_rounds else whole
    if inner.is_empty:
        inner = whole
    return whole.buffer(margin, join_style="mitre"), inner.buffer(margin, join_style="mitre")


def _inside(zone: BaseGeometry, spot: FloatArray) -> BoolArray:
    import shapely

    shapely.prepare(zone)
    out: BoolArray = shapely.contains_xy(zone, spot[:, 0], spot[:, 1])
    return out


def field_shape(boundary: Boundary) -> BaseGeometry:
    """The sown ground of a boundary as one shape: outlines less their holes and the obstacles."""
    import shapely

    shape = shapely.union_all([shapely.Polygon(p.outside, p.holes) for p in boundary.polygons])
    if boundary.obstacles:
        shape = shape.difference(shapely.union_all([shapely.Polygon(p.outside) for p in boundary.obstacles]))
    return shape


def _share(outfit: Outfit, sections: BoolArray, down: BoolArray, width_m: float) -> FloatArray:
    if sections.shape[1] == 0:
        return down.astype(np.float64)
    widths = np.array([abs(s.right_m - s.left_m) for s in outfit.sections])
    share: FloatArray = sections @ (widths / widths.sum())
    return share


def _speed(down: BoolArray, length: FloatArray, aim: float, world: World, dice: Dice) -> FloatArray:
    """Speed by place: the aim, slower in turns, taken up over some metres, with its own unrest. [m/s]"""
    target = np.where(down, aim, aim * TURN_SPEED_SHARE)
    reach = max(world.speed_lag_m / CELL_M, 0.2)
    kernel = np.exp(-np.arange(int(np.ceil(6 * reach)) + 1) / reach)
    kernel /= kernel.sum()
    padded = np.concatenate([np.full(kernel.size - 1, target[0]), target])
    slow = np.convolve(padded, kernel, mode="valid")
    unrest = dice.lasting("speed", down.size, world.speed_reach_m / CELL_M, world.speed_sd)
    out: FloatArray = np.maximum(slow * (1 + unrest), SLOWEST_M_S)
    return out


def covered_m2(path: Path, width_m: float, boundary: Boundary | None, world: World) -> float:
    """Ground under the tool at least once: the union of the passes' strips, inside the boundary if there is one. [m²]

    Lines are thinned to less than the steering error, which moves strips' edges to and fro but not their area.
    """
    import shapely

    strips = []
    thin = THIN_M + THIN_SHARE * world.steer_sd_m
    change = np.flatnonzero(np.diff(path.down.astype(np.int8))) + 1
    edges = np.concatenate([[0], change, [path.down.size]])
    for a, b in pairwise(edges):
        if path.down[a]:
            line = shapely.LineString(path.xy_m[a : b + 1]).simplify(thin, preserve_topology=False)
            strips.append(line.buffer(width_m / 2, cap_style="flat", join_style="mitre", quad_segs=4))
    ground = shapely.union_all(strips, grid_size=0.001)
    if boundary is not None:
        ground = ground.intersection(field_shape(boundary))
    return float(ground.area)
