"""Parallel passes: a lattice of strips one width wide, and how far each has to be driven."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from evenstand.model.place import FloatArray

_SLIVER = 0.02  # widths: a strip with less than this to sow over its length is not driven for


@dataclass(frozen=True, slots=True, kw_only=True)
class Axes:
    """Axes along and across the passes. along, across: unit vectors, across to the right; origin_m: where a strip begins [m]."""

    along: tuple[float, float]
    across: tuple[float, float]
    origin_m: float

    def to_lanes(self, xy: FloatArray) -> FloatArray:
        """Places as (along, across), shape (n, 2). [m]"""
        return np.asarray(xy @ np.array([self.along, self.across]).T, dtype=np.float64)

    def to_field(self, uv: FloatArray) -> FloatArray:
        """Places of the frame, shape (n, 2). [m]"""
        return np.asarray(uv @ np.array([self.along, self.across]), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One straight pass. strip: number of the strip across; from_m, to_m: along; middle_m: across. [m]"""

    strip: int
    from_m: float
    to_m: float
    middle_m: float


def direction_of(axes: Axes) -> float:
    """Direction of the passes, clockwise from the frame's north, 0 to 180. [deg]"""
    angle = float(np.degrees(np.arctan2(axes.along[0], axes.along[1]))) % 180.0
    return 0.0 if 180.0 - angle < 1e-9 else angle


def axes_along(direction_deg: float, through: FloatArray | None, origin_m: float = 0.0) -> Axes:
    """Axes for a direction, clockwise from north; a strip begins `origin_m` to the right of `through`. [deg, m, m]"""
    angle = np.radians(direction_deg)
    along, across = (float(np.sin(angle)), float(np.cos(angle))), (float(np.cos(angle)), float(-np.sin(angle)))
    base = 0.0 if through is None else float(np.dot(through, across))
    return Axes(along=along, across=across, origin_m=base + origin_m)


def longest_edge(outline: Any, tolerance_m: float) -> FloatArray:
    """Both ends of the longest straight side of a field, corners within the tolerance taken for straight, shape (2, 2). [m]"""
    best, length = np.zeros((2, 2)), -1.0
    for polygon in shapely.get_parts(shapely.simplify(outline, tolerance_m)):
        xy = shapely.get_coordinates(polygon.exterior)
        steps = np.hypot(*np.diff(xy, axis=0).T)
        k = int(steps.argmax())
        if steps[k] > length * (1 + 1e-9):
            best, length = xy[k : k + 2], float(steps[k])
    return best


def lanes(interiors: Sequence[Any], drivable: Any, axes: Axes, width_m: float, *, fill_ends: bool) -> tuple[list[Lane], float]:
    """The passes that sow the interiors.

    Parameters
    ----------
    interiors : sequence of shapely Polygon
        What they must sow. [m]
    drivable : shapely geometry
        Where the tool's middle may go. [m]
    axes : Axes
        Direction and place of the strips. [-]
    width_m : float
        Width of a strip. [m]
    fill_ends : bool
        Drive on at slanted ends until the whole strip is sown (there is a headland to run into); else stop where the middle of
        the tool meets the edge. [-]

    Returns
    -------
    tuple
        The lanes from left to right, and the area given up as too thin. [m²]
    """
    if not interiors:
        return [], 0.0
    turned = shapely.transform(np.array(interiors, dtype=object), axes.to_lanes)
    ground = shapely.transform(drivable, axes.to_lanes)
    u0, v0, u1, v1 = shapely.total_bounds(turned)
    first, last = _strip_range(v0, v1, axes.origin_m, width_m)
    strips = np.arange(first, last)
    lows = np.asarray(axes.origin_m + strips * width_m, dtype=np.float64)
    pieces, owner = _pieces(turned, lows, width_m, u0, u1)
    bounds, areas = shapely.bounds(pieces), shapely.area(pieces)
    worth = areas >= _SLIVER * width_m * np.maximum(bounds[:, 2] - bounds[:, 0], width_m)
    if not fill_ends:
        worth = areas > 0
    found: list[Lane] = []
    for k, strip in enumerate(strips):
        mine = worth & (owner == k)
        if not mine.any():
            continue
        middle = float(lows[k] + width_m / 2)
        if not fill_ends and v1 - v0 >= width_m:  # the last strip is moved inwards, so that its middle is on the field
            middle = min(max(middle, v0 + width_m / 2), v1 - width_m / 2)
        spans = _chords(ground, middle, u0 - 1, u1 + 1, extra=width_m)
        if fill_ends:
            spans = _common(_merged(bounds[mine][:, [0, 2]]), spans)
        found += [Lane(strip=int(strip), from_m=a, to_m=b, middle_m=middle) for a, b in spans if b - a > _SLIVER * width_m]
    return found, float(areas[~worth].sum())


def _strip_range(v0: float, v1: float, origin: float, width: float) -> tuple[int, int]:
    """Numbers of the strips between two bounds; dust beyond a strip's edge opens no new one. [-]"""
    first = int(np.floor((v0 - origin) / width + _SLIVER / 2))
    last = int(np.ceil((v1 - origin) / width - _SLIVER / 2))
    return first, max(last, first + 1)


def _pieces(
    shapes: npt.NDArray[np.object_], lows: FloatArray, width: float, u0: float, u1: float
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.int64]]:
    """Connected pieces of the shapes in each strip, and the place of their strip in `lows`."""
    left, right = np.full_like(lows, u0 - 1), np.full_like(lows, u1 + 1)
    boxes = np.asarray(shapely.box(left, lows, right, lows + width), dtype=object)
    cut = shapely.intersection(boxes[:, None], shapes[None, :])
    parts, index = shapely.get_parts(cut.ravel(), return_index=True)
    areal = (shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 0)
    return parts[areal], (index[areal] // len(shapes)).astype(np.int64)


def _chords(ground: Any, middle: float, u0: float, u1: float, *, extra: float) -> list[tuple[float, float]]:
    """Where a line across the ground runs on it. [m]"""
    line = shapely.LineString([(u0 - extra, middle), (u1 + extra, middle)])
    parts = shapely.get_parts(shapely.intersection(line, ground))
    spans = [(float(b[0]), float(b[2])) for b in shapely.bounds(parts) if b[2] > b[0]]
    return _merged(np.array(spans)) if spans else []


def _merged(spans: npt.ArrayLike) -> list[tuple[float, float]]:
    """Spans with those that touch made one, from left to right. [m]"""
    out: list[tuple[float, float]] = []
    for a, b in sorted((float(a), float(b)) for a, b in np.asarray(spans, dtype=float).reshape(-1, 2)):
        if out and a <= out[-1][1] + 1e-9:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return out


def _common(one: list[tuple[float, float]], other: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """What two lists of spans have in common. [m]"""
    both = [(max(a, c), min(b, d)) for a, b in one for c, d in other]
    return [(a, b) for a, b in both if b > a]
