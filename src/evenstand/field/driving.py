"""The line to drive over a field: headland rounds, passes, and the turns between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from evenstand.base.errors import GeometryError, RangeError, require_range
from evenstand.field.detours import Ground
from evenstand.field.headlands import headland
from evenstand.field.lanes import Axes, axes_along, direction_of, lanes, longest_edge
from evenstand.field.ordering import Pass, lanes_in_order, rounds_in_order
from evenstand.field.outlines import sown_shape
from evenstand.field.turning import Pose
from evenstand.model import Boundary, Drive
from evenstand.model.place import FloatArray, IntArray

STAND_IN_RADIUS = 0.75
"""Turning radius over width, used for turns while the radius is not known: a stand-in, said in the notes. [-]"""

GRID_M = 1e-4
"""Grid on which strips are united. Without one, GEOS 3.14 silently loses whole strips that abut within rounding. [m]"""

_STRAIGHT_M = 0.5  # corners of an outline within this are one straight side
_SAID_SHARE = 0.005  # unsown share of a field above which it is said
_ROUND, _PASS, _TURN, _MOVE = (Drive.KINDS.index(k) for k in ("sow-headland", "sow-pass", "turn", "move"))


def plan_passes(
    boundary: Boundary,
    width_m: float,
    *,
    direction_deg: float | None = None,
    line: Sequence[Sequence[float]] | None = None,
    headland_rounds: int = 2,
    turn_radius_m: float | None = None,
    speed_m_s: float | None = None,
    turn_speed_m_s: float | None = None,
    nudge_m: float = 0.0,
    headland_last: bool = False,
) -> Drive:
    """Headland rounds and parallel passes over a field, in an order that can be driven.

    Rounds lie at half a width, one and a half widths ... inside the outline and around holes and obstacles. Passes lie one
    width apart, along the given line, in the given direction, or else along the longest side; they are split where a hole
    parts them, and run into the headland until the whole strip is sown. Neighbours are driven side by side, the nearest
    block next. This is a good order, not a proven best one.

    Parameters
    ----------
    boundary : Boundary
        The field. [m]
    width_m : float
        Spacing of passes: the width of the tool, less any overlap wanted. [m]
    direction_deg : float or None
        Direction of the passes, clockwise from the frame's north. [deg]
    line : two places (x, y) or None
        A line of the guidance, in the frame; one pass lies on it. [m]
    headland_rounds : int
        Rounds along the edge; 0 stops passes where the middle of the tool meets the edge. [-]
    turn_radius_m : float or None
        Smallest radius the tool's middle can follow. None: corners of rounds stay square, and turns use `STAND_IN_RADIUS`
        widths, which the notes say. [m]
    speed_m_s : float or None
        Speed on passes; None leaves the times unknown (not-a-number). [m/s]
    turn_speed_m_s : float or None
        Speed in turns; None: the same. [m/s]
    nudge_m : float
        Shift of all passes to the right of their direction, for instance half a row. [m]
    headland_last : bool
        Sow the headland after the passes. [-]

    Returns
    -------
    Drive
        Passes numbered from 1 in the order driven, each headland round being one pass; a stretch is sown where both its ends
        carry the same number. Turns are arcs and lines a wheel can follow. [m, s]

    Raises
    ------
    GeometryError
        If the field is nowhere as wide as the tool.
    RangeError
        If an argument is outside its range, or both direction and line are given.

    References
    ----------
    definition: plane geometry of strips one width apart. dubins-open-test: the turns between them, first test.
    """
    _check(width_m, direction_deg, line, headland_rounds, turn_radius_m, speed_m_s, turn_speed_m_s, nudge_m)
    sown = sown_shape(boundary)
    laid = headland(sown, width_m, headland_rounds, turn_radius_m)
    axes = _axes(boundary, laid.interiors, width_m, direction_deg, line, nudge_m)
    drivable = _drivable(boundary, sown, width_m, rounds=laid.deepest)
    straight, given_up_m2 = lanes(laid.interiors, drivable, axes, width_m, fill_ends=laid.deepest > 0)
    radius = turn_radius_m if turn_radius_m is not None else STAND_IN_RADIUS * width_m
    ground = Ground(allowed=sown, kept_off=drivable, width_m=width_m, radius_m=radius)
    begin = np.asarray(boundary.entries[0], dtype=float) if boundary.entries else _first_place(sown, width_m, radius)
    arriving: Pose | None = None
    if not headland_last or not straight:
        passes = rounds_in_order(laid.rounds, arriving, begin, ground, inwards=True)
        passes += lanes_in_order(straight, axes, passes[-1].end if passes else _standing(boundary), ground)
    else:
        passes = lanes_in_order(straight, axes, _standing(boundary), ground)
        passes += rounds_in_order(laid.rounds, passes[-1].end, begin, ground, inwards=False)
    if not passes:
        raise GeometryError(
            "no pass fits into the field", where=boundary.name, limit=f"the tool is {width_m:g} m wide", cure="Check the width."
        )
    track = _joined(passes, ground)
    notes = (*laid.notes, *_turn_notes(track, turn_radius_m, radius), *_sown_notes(passes, sown, width_m, given_up_m2))
    return _drive(track, passes, width_m, axes, laid.deepest, speed_m_s, turn_speed_m_s or speed_m_s, notes)


def drive_strips(drive: Drive) -> tuple[Any, ...]:
    """The strip of ground that each pass sows, square at its ends.

    Parameters
    ----------
    drive : Drive
        A planned drive. [m]

    Returns
    -------
    tuple of shapely geometry
        One a pass, in the order of pass numbers. [m]

    References
    ----------
    definition: a strip is its line widened by half the spacing to both sides.
    """
    order = [drive.xy_m[drive.pass_id == k] for k in range(1, drive.passes + 1)]
    return tuple(_strips(order, drive.width_m))


def _check(
    width_m: float,
    direction_deg: float | None,
    line: Sequence[Sequence[float]] | None,
    headland_rounds: int,
    turn_radius_m: float | None,
    speed_m_s: float | None,
    turn_speed_m_s: float | None,
    nudge_m: float,
) -> None:
    require_range("width_m", width_m, 0.3, 100, unit="m")
    require_range("headland_rounds", headland_rounds, 0, 20)
    require_range("nudge_m", nudge_m, -100, 100, unit="m")
    if direction_deg is not None:
        require_range("direction_deg", direction_deg, -360, 360, unit="deg")
    for name, value, high, unit in (
        ("turn_radius_m", turn_radius_m, 200, "m"),
        ("speed_m_s", speed_m_s, 20, "m/s"),
        ("turn_speed_m_s", turn_speed_m_s, 20, "m/s"),
    ):
        if value is not None:
            require_range(name, value, 0, high, low_open=True, unit=unit)
    if line is None:
        return
    if direction_deg is not None:
        raise RangeError("both a line and a direction are given", where="line", cure="Give one of them.")
    ends = np.asarray(line, dtype=float)
    if ends.shape != (2, 2) or not bool(np.isfinite(ends).all()) or np.hypot(*(ends[1] - ends[0])) < 1.0:
        raise RangeError("the line needs two places at least 1 m apart", where="line", cure="Give ((x, y), (x, y)) in metres of the frame.")


def _axes(
    boundary: Boundary,
    interiors: Sequence[Any],
    width_m: float,
    direction_deg: float | None,
    line: Sequence[Sequence[float]] | None,
    nudge_m: float,
) -> Axes:
    """Direction of the passes and where a strip begins: half a width beside the given line, else at the edge it follows."""
    if line is not None:
        ends = np.asarray(line, dtype=float)
        return axes_along(_bearing(ends), ends[0], nudge_m - width_m / 2)
    if direction_deg is None:
        edge = longest_edge(shapely.union_all([shapely.Polygon(p.outside) for p in boundary.polygons]), _STRAIGHT_M)
        return axes_along(_bearing(edge), edge[0], nudge_m)
    axes = axes_along(direction_deg, None, 0.0)
    if interiors:
        left = float(axes.to_lanes(shapely.get_coordinates(list(interiors)))[:, 1].min())
        axes = axes_along(direction_deg, None, left + nudge_m)
    return axes


def _bearing(ends: FloatArray) -> float:
    dx, dy = ends[1] - ends[0]
    return float(np.degrees(np.arctan2(dx, dy)))


def _drivable(boundary: Boundary, sown: Any, width_m: float, *, rounds: int) -> Any:
    """Where the tool's middle may go on a pass: half a width off every edge; without a headland only off holes and obstacles."""
    if rounds:
        return shapely.buffer(sown, -width_m / 2 * (1 - 1e-9))
    outline = shapely.union_all([shapely.Polygon(p.outside) for p in boundary.polygons])
    off = [shapely.Polygon(hole) for p in boundary.polygons for hole in p.holes]
    off += [shapely.Polygon(p.outside) for p in boundary.obstacles]
    if not off:
        return outline
    return shapely.difference(outline, shapely.buffer(shapely.union_all(off), width_m / 2 * (1 - 1e-9)))


def _first_place(sown: Any, width_m: float, radius_m: float) -> FloatArray:
    """Where to begin if no gate is known: on the longest side, far enough along for the turn into the second round. [m]"""
    edge = longest_edge(sown, _STRAIGHT_M)
    share = min(0.5, (width_m + 3 * radius_m) / float(np.hypot(*(edge[1] - edge[0]))))
    return np.asarray(edge[0] + share * (edge[1] - edge[0]), dtype=np.float64)


def _standing(boundary: Boundary) -> Pose | None:
    """Where the work begins without a headland: at the gate, heading for the middle of the field."""
    if not boundary.entries:
        return None
    x, y = boundary.entries[0]
    middle = shapely.union_all([shapely.Polygon(p.outside) for p in boundary.polygons]).centroid
    return x, y, float(np.arctan2(middle.y - y, middle.x - x))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Track:
    """The whole line before times are laid on it; strays: how far each turn leaves the field [m]."""

    xy_m: FloatArray
    kind: IntArray
    pass_id: IntArray
    strays: tuple[float, ...]


def _joined(passes: Sequence[Pass], ground: Ground) -> _Track:
    xy: list[FloatArray] = []
    kind: list[IntArray] = []
    number: list[IntArray] = []
    strays = []

    def append(rows: FloatArray, code: int, identity: int) -> None:
        xy.append(rows)
        kind.append(np.full(len(rows), code, dtype=np.int64))
        number.append(np.full(len(rows), identity, dtype=np.int64))

    for k, one in enumerate(passes):
        if k:
            before = passes[k - 1]
            is_turn = before.is_round == one.is_round and before.block == one.block and not one.is_round
            way = ground.way(before.end, one.start, may_detour=not is_turn)
            strays.append(ground.outside_m(way))
            inner = way[1:-1] if len(way) > 2 else way.mean(axis=0, keepdims=True)
            append(inner, _TURN if is_turn else _MOVE, 0)
        append(one.xy_m, _ROUND if one.is_round else _PASS, k + 1)
    return _Track(xy_m=np.vstack(xy), kind=np.concatenate(kind), pass_id=np.concatenate(number), strays=tuple(strays))


def _drive(
    track: _Track,
    passes: Sequence[Pass],
    width_m: float,
    axes: Axes,
    rounds: int,
    speed_m_s: float | None,
    turn_speed_m_s: float | None,
    notes: tuple[str, ...],
) -> Drive:
    step = np.hypot(*np.diff(track.xy_m, axis=0).T)
    station = np.concatenate([[0.0], np.cumsum(step)])
    t = np.full(len(station), np.nan)
    if speed_m_s is not None and turn_speed_m_s is not None:
        sowing = (track.pass_id[1:] == track.pass_id[:-1]) & (track.pass_id[1:] > 0)
        t = np.concatenate([[0.0], np.cumsum(step / np.where(sowing, speed_m_s, turn_speed_m_s))])
    for array in (track.xy_m, station, t, track.kind, track.pass_id):
        array.setflags(write=False)
    return Drive(
        xy_m=track.xy_m,
        station_m=station,
        t_s=t,
        kind=track.kind,
        pass_id=track.pass_id,
        width_m=width_m,
        direction_deg=direction_of(axes),
        headland_rounds=rounds,
        passes=len(passes),
        notes=notes,
    )


def _turn_notes(track: _Track, typed_m: float | None, radius_m: float) -> tuple[str, ...]:
    notes = []
    if typed_m is None:
        notes.append(
            f"The turning radius is not known: turns are drawn with {radius_m:.1f} m as a stand-in, corners of headland rounds square."
        )
    beyond = [s for s in track.strays if s > 0.1]
    if beyond:
        notes.append(
            f"{len(beyond)} of {len(track.strays)} turns reach beyond the field or over what is left out, by up to {max(beyond):.0f} m: "
            "more headland rounds give room, or swing wider by eye."
        )
    return tuple(notes)


def _sown_notes(passes: Sequence[Pass], sown: Any, width_m: float, given_up_m2: float) -> tuple[str, ...]:
    """What the passes leave unsown and what they sow twice, from the union of their strips."""
    strips = _strips([p.xy_m for p in passes], width_m)
    covered = shapely.union_all(strips, grid_size=GRID_M)
    field_m2 = float(shapely.area(sown))
    missed = float(shapely.area(shapely.difference(sown, covered)))
    driven_m2 = width_m * sum(float(shapely.length(shapely.LineString(p.xy_m))) for p in passes)
    twice = max(driven_m2 - float(shapely.area(covered)), 0.0)
    notes = []
    if missed > _SAID_SHARE * field_m2:
        notes.append(f"About {missed / 1e4:.2f} ha ({missed / field_m2:.1%}) stays unsown: corners, and strips too thin to drive for.")
    notes.append(
        f"Sown twice at ends, corners and the last strip: about {twice / 1e4:.2f} ha ({twice / field_m2:.1%}), without section shut-off."
    )
    return tuple(notes)


def _strips(paths: Sequence[FloatArray], width_m: float) -> Any:
    lines = [shapely.LineString(xy) for xy in paths]
    return shapely.buffer(lines, width_m / 2, cap_style="flat", join_style="mitre", mitre_limit=2.0)
