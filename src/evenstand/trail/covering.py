"""Covered, twice-covered, repeated and skipped ground."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from evenstand.base.errors import GeometryError, RangeError
from evenstand.model.outfit import Outfit
from evenstand.model.place import Boundary, FloatArray, Frame
from evenstand.model.trail import Trail
from evenstand.trail.stepping import Limits, limits_of, steps_of
from evenstand.trail.strips import Strips, strips_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from evenstand.trail.bounds import CellCheck

Method = Literal["auto", "shapes", "outlines"]
Totals = tuple[float, float, float | None, float | None, dict[str, float]]
"""Covered, twice, skipped and outside, and their bounds. [m²]"""
OUTLINES_FROM_STEPS = 2_000
GRID_M = 1e-7
LEAST_COMMON_M2 = 1e-9
ADDING = 2.220446049250313e-16  # what adding one term can lose of a sum: 2 to the power -52


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """Ground covered by a trail. [m²]

    covered_m2: once or more; twice_m2: two times or more; repeat_m2: sum of strips less their union; skipped_m2: inside the boundary
    and not covered, None without a boundary; outside_m2: covered outside the boundary, None without one;
    strips_m2: sum of strips; bounds_m2: how far the sums named can be off for the ground as recorded, by rounding and snapping;
    switching_m2: ground of the sections switched within a step, where the log cannot say when;
    width_m: of the whole tool [m]; driven_m: length driven at work [m]; steps: how many; gaps: steps left out because rows are missing
    between them; basis: which columns told when the tool was at work; method: how the union was formed; check: the same totals in
    cells and how far apart they are, None where not asked for; notes: what was taken for granted.
    """

    covered_m2: float
    twice_m2: float
    repeat_m2: float
    skipped_m2: float | None
    bounds_m2: dict[str, float]
    outside_m2: float | None
    strips_m2: float
    switching_m2: float
    width_m: float
    driven_m: float
    steps: int
    gaps: int
    basis: str
    method: str
    limits: Limits
    check: CellCheck | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def overlap(self) -> float | None:
        """Repeated ground as a share of covered ground; None where nothing is covered. [-]"""
        return self.repeat_m2 / self.covered_m2 if self.covered_m2 > 0 else None


def coverage(
    trail: Trail,
    outfit: Outfit,
    boundary: Boundary | None = None,
    *,
    width_m: float | None = None,
    gap_s: float | None = None,
    fastest_m_s: float | None = None,
    ends: str = "shared",
    method: Method = "auto",
    check: bool = False,
) -> Coverage:
    """Ground covered once or more, twice or more, repeatedly, and skipped.

    Parameters
    ----------
    trail : Trail
        Path of the antenna and sections, n rows. [-]
    outfit : Outfit
        True width, section edges, where the antenna sits. [-]
    boundary : Boundary or None
        The field; without it nothing can be said of skipped ground. [-]
    width_m : float or None
        Width to use in place of the outfit's. [m]
    gap_s : float or None
        Longest interval between rows that belong together; None: 3 s or 4/3 of the usual interval. [s]
    fastest_m_s : float or None
        Faster steps are jumps; None: 5 m/s or 2.5 times the usual speed. [m/s]
    ends : str
        "shared": steps share their ends, as a tool moves; "flat": each step its own rectangle. [-]
    method : str
        "auto"; "shapes": union by the general geometry library; "outlines": by the crossings of their outlines. [-]
    check : bool
        Hold the totals against the same in cells. [-]

    Returns
    -------
    Coverage
        Areas in the trail's frame. [m²]

    Raises
    ------
    MissingError
        If no width is known.
    GeometryError
        If trail and boundary are not the same place.
    RangeError
        If an option is out of its range.

    References
    ----------
    definition: areas of strips, of their union, and of what lies in two of them.
    """
    if method not in ("auto", "shapes", "outlines"):
        raise RangeError(f"'{method}' is no method", where="method", limit="auto, shapes or outlines")
    steps = steps_of(trail, limits=limits_of(trail, gap_s=gap_s, fastest_m_s=fastest_m_s))
    strips = strips_of(trail, outfit, steps, width_m=width_m, ends=ends)
    rings = boundary_rings(boundary, trail.frame) if boundary is not None else None
    chosen: Method = method if method != "auto" else ("outlines" if strips.steps >= OUTLINES_FROM_STEPS else "shapes")
    chosen, (covered, twice, skipped, outside, bounds), notes = _formed(chosen, strips, rings)
    width = width_m if width_m is not None else outfit.width_m
    repeat = max(strips.sum_m2 - covered, 0.0)
    return Coverage(
        covered_m2=covered,
        twice_m2=twice,
        repeat_m2=repeat,
        skipped_m2=skipped,
        bounds_m2=bounds,
        outside_m2=outside,
        strips_m2=strips.sum_m2,
        switching_m2=strips.switching_m2,
        width_m=float(width) if width is not None else float("nan"),
        driven_m=float(steps.length_m[steps.sowing].sum()),
        steps=strips.steps,
        gaps=int((~steps.whole).sum()),
        basis=steps.basis,
        method=chosen,
        limits=steps.limits,
        check=_checked(strips, {"covered": covered, "twice": twice, "repeat": repeat}, bounds) if check else None,
        notes=(*strips.notes, *notes),
    )


def _formed(method: Method, strips: Strips, rings: list[FloatArray] | None) -> tuple[Method, Totals, tuple[str, ...]]:
    """The method that gave the totals, the totals, notes; outlines that do not close hand over to the general library."""
    if method == "shapes" or strips.start.size <= 1:
        return method, _by_shapes(strips, rings), ()
    from evenstand.trail.crossings import UnevenError

    try:
        return method, _by_outlines(strips, rings), ()
    except UnevenError as error:
        note = f"Outlines were entered more often than left ({error}): the union was formed by the general geometry library."
        return "shapes", _by_shapes(strips, rings), (note,)


def _checked(strips: Strips, totals_m2: dict[str, float], bounds_m2: dict[str, float]) -> CellCheck:
    """The same in cells; their compiled code is only loaded here."""
    from evenstand.trail.bounds import check_cells

    return check_cells(strips, totals_m2, bounds_m2)


def flat_ended_m2(trail: Trail, outfit: Outfit, *, width_m: float | None = None) -> float:
    """Ground covered if each step is taken as a rectangle of its own: the plain convention, which leaves wedges in curves. [m²]"""
    strips = strips_of(trail, outfit, steps_of(trail), width_m=width_m, ends="flat")
    return float(_union(strip_shapes(strips)).area)


def boundary_rings(boundary: Boundary, frame: Frame) -> list[FloatArray]:
    """Rings of a boundary in another frame, ground on the left, obstacles as holes. [m]

    Raises
    ------
    GeometryError
        If the two frames lie more than 50 km apart, so that the boundary is of another place.
    """
    import shapely
    from shapely.geometry.polygon import orient

    shape = shapely.union_all([shapely.Polygon(p.outside, p.holes) for p in boundary.polygons])
    if boundary.obstacles:
        shape = shape.difference(shapely.union_all([shapely.Polygon(p.outside, p.holes) for p in boundary.obstacles]))
    if boundary.frame != frame:
        shape = _moved(shape, boundary, frame)
    out: list[FloatArray] = []
    for part in shapely.get_parts(shape):
        turned = orient(part)
        out += [np.asarray(r.coords, dtype=np.float64)[:, :2] for r in (turned.exterior, *turned.interiors)]
    return out


def _moved(shape: BaseGeometry, boundary: Boundary, frame: Frame) -> BaseGeometry:
    """A shape from the boundary's frame into the trail's."""
    import shapely
    from pyproj import Transformer

    apart_deg = max(
        abs(boundary.frame.lat_deg - frame.lat_deg), abs(boundary.frame.lon_deg - frame.lon_deg) * np.cos(np.radians(frame.lat_deg))
    )
    if apart_deg * 111_000 > 50_000:
        raise GeometryError(
            f"the boundary '{boundary.name}' lies about {apart_deg * 111:.0f} km from the trail",
            where="boundary",
            limit="the same place",
            cure="Give the boundary of the field the trail was recorded in.",
        )
    change = Transformer.from_crs(boundary.frame.proj, frame.proj, always_xy=True)
    moved: BaseGeometry = shapely.transform(shape, lambda xy: np.column_stack(change.transform(xy[:, 0], xy[:, 1])))
    return moved


def strip_shapes(strips: Strips) -> Any:
    """Each strip as one polygon; a strip that lies over itself as its steps. Array of shape (k,) of polygons. [m]"""
    import shapely

    if strips.start.size <= 1:
        return np.empty(0, dtype=object)
    size = np.diff(strips.start)
    total = int((2 * size + 1).sum())
    coords = np.empty((total, 2))
    ring = np.repeat(np.arange(size.size), 2 * size + 1)
    begin = np.concatenate([[0], np.cumsum(2 * size + 1)])[:-1]
    place = np.arange(total) - begin[ring]
    count = size[ring]
    on_right = (place < count) | (place == 2 * count)
    node = strips.start[:-1][ring] + np.where(place < count, place, np.where(place == 2 * count, 0, 2 * count - 1 - place))
    coords[on_right] = strips.right[node[on_right]]
    coords[~on_right] = strips.left[node[~on_right]]
    shapes: Any = shapely.polygons(shapely.linearrings(coords, indices=ring))
    bad = np.flatnonzero(~shapely.is_valid(shapes))
    if bad.size == 0:
        return shapes
    return np.concatenate([np.delete(shapes, bad), *(_steps_of_chain(strips, int(j)) for j in bad)])


def _steps_of_chain(strips: Strips, j: int) -> Any:
    """A chain as one polygon a step."""
    import shapely

    a, b = int(strips.start[j]), int(strips.start[j + 1])
    left, right = strips.left[a:b], strips.right[a:b]
    quad = np.stack([right[:-1], right[1:], left[1:], left[:-1], right[:-1]], axis=1)
    out: Any = shapely.polygons(quad)
    return _areas_only(np.where(shapely.is_valid(out), out, shapely.make_valid(out)))


def _by_shapes(strips: Strips, rings: list[FloatArray] | None) -> Totals:
    """Union and pairwise intersections by the general geometry library, on a grid of a tenth of a micrometre.

    The library joins shapes two and two, round after round, and moves each edge by less than a grid's width in every round.
    """
    import shapely

    shapes = strip_shapes(strips)
    union = _union(shapes)
    covered = float(union.area)
    summing = _summing_m2(strips)
    twice, common_m, dropped_m2 = _covered_twice(shapes) if strips.sum_m2 > covered + 1e-9 else (0.0, 0.0, 0.0)
    slack = GRID_M * _rounds(len(shapes)) * float(shapely.length(shapes).sum()) + summing
    bounds = {"covered": slack, "twice": GRID_M * _rounds(len(shapes) ** 2) * common_m + dropped_m2 + summing, "repeat": slack}
    if strips.sum_m2 <= covered + 1e-9:
        bounds["twice"] = slack
    if rings is None:
        return covered, twice, None, None, bounds
    ground = ground_of(rings)
    inside = float(shapely.intersection(union, ground, grid_size=GRID_M).area)
    bounds["skipped"] = slack + 4 * GRID_M * (float(ground.length) + float(union.length))
    return covered, twice, max(float(ground.area) - inside, 0.0), max(covered - inside, 0.0), bounds


def _rounds(shapes: int) -> float:
    """In how many rounds so many shapes are joined, the first snapping and the last counted. [-]"""
    return 2.0 + math.ceil(math.log2(max(shapes, 2)))


def _summing_m2(strips: Strips) -> float:
    """What adding up the steps of all strips can lose by rounding. [m²]"""
    return float(ADDING * (strips.left.shape[0] + 8) * strips.sum_m2)


def _union(shapes: Any) -> BaseGeometry:
    """Union of shapes. Without the grid the library loses or adds slivers, unseen, where strips cross each other at all angles."""
    import shapely

    union: BaseGeometry = shapely.union_all(shapes, grid_size=GRID_M)
    return union


def _covered_twice(shapes: Any) -> tuple[float, float, float]:
    """Ground in two strips or more: the union of what pairs have in common [m²]; the outlines of those [m]; what was too small [m²]."""
    import shapely

    tree = shapely.STRtree(shapes)
    one, other = tree.query(shapes, predicate="intersects")
    first = one < other
    common = shapely.intersection(shapes[one[first]], shapes[other[first]], grid_size=GRID_M)
    area = shapely.area(common)
    parts = _areas_only(common[area > LEAST_COMMON_M2])
    return float(_union(parts).area), float(shapely.length(parts).sum()), float(area[area <= LEAST_COMMON_M2].sum())


def _areas_only(shapes: Any) -> Any:
    """Polygons of a mixed lot."""
    import shapely

    parts = shapely.get_parts(shapely.get_parts(shapes))
    return parts[shapely.get_dimensions(parts) == 2]


def ground_of(rings: list[FloatArray]) -> BaseGeometry:
    """Rings, ground on the left, as one shape."""
    import shapely

    solids = [r for r in rings if _signed(r) > 0]
    holes = [r for r in rings if _signed(r) <= 0]
    ground: BaseGeometry = shapely.union_all(shapely.polygons(solids) if len(solids) == 1 else [shapely.Polygon(r) for r in solids])
    return shapely.difference(ground, shapely.union_all([shapely.Polygon(r) for r in holes])) if holes else ground


def _signed(ring: FloatArray) -> float:
    """Area of a ring, positive with the ground on the left. [m²]"""
    x, y = ring[:, 0] - ring[0, 0], ring[:, 1] - ring[0, 1]
    return float(0.5 * (x[:-1] * y[1:] - x[1:] * y[:-1]).sum())


def _by_outlines(strips: Strips, rings: list[FloatArray] | None) -> Totals:
    """By the crossings of the strips' outlines."""
    from evenstand.trail.crossings import count_strips

    counts = count_strips(strips.left, strips.right, strips.start, rings or [])
    covered = strips.sum_m2 - counts.repeat_m2
    whole = counts.bound_m2 + _summing_m2(strips)
    bounds = {"covered": whole, "twice": counts.bound_m2, "repeat": whole}
    if rings is None:
        return covered, counts.twice_m2, None, None, bounds
    bounds["skipped"] = counts.bound_m2
    ground = sum(_signed(r) for r in rings)
    return covered, counts.twice_m2, counts.skipped_m2, max(covered - (ground - counts.skipped_m2), 0.0), bounds
