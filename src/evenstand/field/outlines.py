"""Outlines: from rings to a `Boundary`, mended and measured."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import shapely

from evenstand.base.errors import CrsError, Fault, GeometryError
from evenstand.field.frames import frame_for, from_frame, to_frame
from evenstand.model import Boundary, Frame, Hazard, Polygon, Ring
from evenstand.model.place import FloatArray

MOST_HA = 5000.0
"""Largest area taken for one field: more than nineteen square miles. [ha]"""
LEAST_HA = 0.05
"""Smallest area taken for a field. [ha]"""
MOST_SPREAD_M = 50_000.0
"""Farthest apart that parts of one field may lie. [m]"""
NOTED_GAP = 0.001
"""Share by which two areas of one outline may differ before it is said. [-]"""

Positions = Sequence[Sequence[float]] | FloatArray
Shape = Any  # a shapely Polygon or MultiPolygon


def boundary_from_rings(
    outside: Positions,
    *,
    holes: Sequence[Positions] = (),
    obstacles: Sequence[Positions] = (),
    frame: Frame | None = None,
    key: str = "",
    name: str = "",
    height_m: float = 0.0,
    entries: Sequence[Sequence[float]] = (),
    fill_points: Sequence[Sequence[float]] = (),
    hazards: Sequence[Hazard] = (),
) -> Boundary:
    """A field from rings of positions.

    Parameters
    ----------
    outside : sequence of (x, y)
        The outline, closed or not: longitude, latitude where `frame` is None, else metres in that frame. [deg or m]
    holes, obstacles : sequence of rings
        What is not sown, and what must not be driven over, in the same coordinates. [deg or m]
    frame : Frame or None
        The frame the numbers are metres of; None: they are degrees of WGS 84. [-]
    key, name : str
        Identifier and name; the key is made from the name where it is blank. [-]
    height_m : float
        Height of the ground above the ellipsoid, used where the frame is made here. [m]
    entries, fill_points : sequence of (x, y)
        Gates, and where the truck stands, in the same coordinates. [deg or m]
    hazards : sequence of Hazard
        Places to mind, always in metres of the frame. [m]

    Returns
    -------
    Boundary
        Mended where it crossed itself; `repairs` says so. [m, m²]

    Raises
    ------
    GeometryError
        If that is no field: no area, larger than `MOST_HA`, smaller than `LEAST_HA`.
    CrsError
        If the numbers are no degrees, although no frame was given.

    References
    ----------
    geojson-rewind: rings are wound as the flipped square; definition: area of a polygon by its corners.
    """
    label = name or key or "outline"
    shape = shapely.Polygon(_ring(outside, label), [_ring(hole, f"{label}, hole") for hole in holes])
    in_metres: Callable[[FloatArray], FloatArray] = np.asarray
    if frame is None:
        frame, in_metres = frame_and_projection([shape], label, height_m)
    shape = shapely.transform(shape, in_metres)
    boundary = boundary_from_shape(shape, frame, key=key, name=name)
    boundary = replace(
        boundary,
        entries=_places(entries, in_metres),
        fill_points=_places(fill_points, in_metres),
        hazards=tuple(hazards),
    )
    shapes = [shapely.transform(shapely.Polygon(_ring(ring, f"{label}, obstacle")), in_metres) for ring in obstacles]
    return add_obstacles(boundary, shapes) if shapes else boundary


def boundary_from_shape(
    shape: Shape,
    frame: Frame,
    *,
    key: str = "",
    name: str = "",
    crs: str = "EPSG:4326",
    file_hash: str = "",
    repairs: Iterable[str] = (),
) -> Boundary:
    """A field from a shape that is already in its frame.

    Parameters
    ----------
    shape : shapely Polygon or MultiPolygon
        Metres in the frame. [m]
    frame : Frame
        The frame. [-]
    key, name, crs, file_hash : str
        As in `Boundary`. [-]
    repairs : iterable of str
        What has been said of it already. [-]

    Returns
    -------
    Boundary
        With areas, mended. [m, m²]

    Raises
    ------
    GeometryError
        If that is no field.

    References
    ----------
    definition: area of a polygon by its corners.
    """
    label = name or key or "outline"
    mended, notes = mend(shape, label)
    check_size(shapely.area(mended) / 1e4, label)
    planar = float(shapely.area(mended))
    geodesic = planar if crs == "local" else geodesic_area(mended, frame)
    if abs(planar / geodesic - 1) > NOTED_GAP:
        notes = (*notes, f"Flat in its frame the field has {planar / 1e4:.3f} ha, on the ellipsoid {geodesic / 1e4:.3f} ha.")
    return Boundary(
        key=key or slug(name) or "field",
        name=name or key or "field",
        frame=frame,
        polygons=polygons_of(mended),
        area_m2=planar,
        geodesic_m2=geodesic,
        crs=crs,
        file_hash=file_hash,
        repairs=(*repairs, *notes),
    )


def add_obstacles(boundary: Boundary, obstacles: Sequence[Shape]) -> Boundary:
    """The same field with obstacles that are neither sown nor driven over.

    Parameters
    ----------
    boundary : Boundary
        The field. [-]
    obstacles : sequence of shapely Polygon
        In its frame; what lies outside of the field is cut off, and said. [m]

    Returns
    -------
    Boundary
        Areas without the obstacles. [m²]

    Raises
    ------
    GeometryError
        If an obstacle has no area, or if they leave nothing to sow.

    References
    ----------
    definition: area of the outline less that of the obstacles.
    """
    outline = shapely.union_all([_shape_of(p) for p in boundary.polygons])
    kept = list(boundary.obstacles)
    notes: list[str] = []
    for number, shape in enumerate(obstacles, start=1):
        mended, said = mend(shape, f"{boundary.name}, obstacle {number}")
        inside = areas_only(shapely.intersection(mended, outline))
        notes += said
        outside_m2 = float(shapely.area(mended) - shapely.area(inside))
        if outside_m2 > 1e-9 * shapely.area(mended):
            notes.append(f"Obstacle {number} reaches beyond the field; the part outside ({outside_m2:.0f} m²) was cut off.")
        kept += polygons_of(inside)
    changed = replace(boundary, obstacles=tuple(kept), repairs=(*boundary.repairs, *notes))
    shape = sown_shape(changed)
    check_size(shapely.area(shape) / 1e4, f"{boundary.name} without its obstacles")
    geodesic = float(shapely.area(shape)) if boundary.crs == "local" else geodesic_area(shape, boundary.frame)
    return replace(changed, area_m2=float(shapely.area(shape)), geodesic_m2=geodesic)


def sown_shape(boundary: Boundary) -> Shape:
    """What is to be sown: the outline without holes and obstacles.

    Parameters
    ----------
    boundary : Boundary
        The field. [m]

    Returns
    -------
    shapely Polygon or MultiPolygon
        In the field's frame. [m]

    References
    ----------
    definition: the outline less holes and obstacles.
    """
    outline = shapely.union_all([_shape_of(p) for p in boundary.polygons])
    if not boundary.obstacles:
        return outline
    return areas_only(shapely.difference(outline, shapely.union_all([_shape_of(p) for p in boundary.obstacles])))


def polygons_of(shape: Shape) -> tuple[Polygon, ...]:
    """Plain polygons of a shape: rings closed, outside counter-clockwise, holes clockwise. [m]"""
    parts = shapely.get_parts(shapely.orient_polygons(shape))
    return tuple(
        Polygon(outside=_plain_ring(part.exterior), holes=tuple(_plain_ring(ring) for ring in part.interiors))
        for part in parts
        if not part.is_empty
    )


def mend(shape: Shape, label: str) -> tuple[Shape, tuple[str, ...]]:
    """The shape as valid areas, and what was done to it in sentences.

    Parameters
    ----------
    shape : shapely geometry
        In metres. [m]
    label : str
        What to call it. [-]

    Raises
    ------
    GeometryError
        If no area is left.
    """
    if not bool(np.isfinite(shapely.get_coordinates(shape)).all()):
        raise GeometryError("a coordinate is no number", where=label, cure="Export the outline again.")
    notes: list[str] = []
    if not shapely.is_valid(shape):
        reason = str(shapely.is_valid_reason(shape)).split("[")[0].strip().lower()
        before = float(shapely.area(shape)) / 1e4
        shape = shapely.make_valid(shape, method="structure", keep_collapsed=False)
        after = float(shapely.area(areas_only(shape))) / 1e4
        notes.append(
            f"{label}: the outline was mended ({reason}): {before:.3f} ha as drawn, {after:.3f} ha now. Look at it before you drive by it."
        )
    areas = shapely.remove_repeated_points(areas_only(shape))
    if areas.is_empty or not shapely.area(areas) > 0:
        raise GeometryError("the outline encloses no area", where=label, cure="Draw it as a closed area.")
    return areas, tuple(notes)


def check_size(area_ha: float, label: str) -> None:
    """Refuse what is too large or too small for a field.

    Raises
    ------
    GeometryError
        Naming the area and the limit.
    """
    if fault := size_fault(area_ha, label):
        raise GeometryError([fault])


def size_fault(area_ha: float, label: str) -> Fault | None:
    """What is wrong with an area taken for one field [ha]; None if nothing is."""
    if area_ha > MOST_HA:
        return Fault(
            where=label,
            what=f"{area_ha:,.0f} ha is no single field",
            limit=f"at most {MOST_HA:,.0f} ha",
            cure="Give the outline of one field; check the coordinate system if it should be one.",
        )
    if area_ha < LEAST_HA:
        return Fault(
            where=label,
            what=f"{area_ha * 1e4:,.1f} m² is too small for a field",
            limit=f"at least {LEAST_HA:g} ha",
            cure="Give the outline of a whole field; check the coordinate system and its unit if it should be one.",
        )
    return None


def geodesic_area(shape: Shape, frame: Frame) -> float:
    """Area on the WGS 84 ellipsoid of a shape in a frame. [m²]"""

    def degrees(xy: FloatArray) -> FloatArray:
        return np.column_stack(from_frame(frame, xy))

    return geodesic_area_of_degrees(shapely.transform(shape, degrees))


def geodesic_area_of_degrees(shape: Shape) -> float:
    """Area on the WGS 84 ellipsoid of a shape in longitude and latitude; edges are geodesics, holes are taken off. [m²]"""
    from pyproj import Geod

    geod = Geod(ellps="WGS84")
    parts = shapely.get_parts(shapely.orient_polygons(shape))
    return float(sum(geod.geometry_area_perimeter(part)[0] for part in parts))


def frame_and_projection(shapes: Sequence[Shape], label: str, height_m: float = 0.0) -> tuple[Frame, Callable[[FloatArray], FloatArray]]:
    """The frame about shapes in longitude and latitude, and the function that takes their coordinates into it.

    Raises
    ------
    CrsError
        If the numbers are no degrees.
    GeometryError
        If they lie farther apart than one field can.
    """
    xy = shapely.get_coordinates(list(shapes))
    if not xy.size:
        raise GeometryError("the outline encloses no area", where=label, cure="Draw it as a closed area.")
    if not bool((np.abs(xy[:, 0]) <= 180).all() and (np.abs(xy[:, 1]) <= 90).all()):
        (x0, y0), (x1, y1) = xy.min(axis=0), xy.max(axis=0)
        raise CrsError(
            f"x runs from {x0:,.6g} to {x1:,.6g}, y from {y0:,.6g} to {y1:,.6g}: no degrees",
            where=label,
            cure="Give longitude and latitude of WGS 84, or the frame in which the numbers are metres.",
        )
    xy = unwrapped(xy)
    low, high = xy.min(axis=0), xy.max(axis=0)
    lon, lat = (low + high) / 2
    spread = 111_000 * float(np.hypot(*((high - low) * [np.cos(np.radians(lat)), 1.0])))
    if spread > MOST_SPREAD_M:
        raise GeometryError(
            f"the outline is {spread / 1e3:,.0f} km across", where=label, limit=f"at most {MOST_SPREAD_M / 1e3:.0f} km",
            cure="Give the outline of one field.",
        )  # fmt: skip
    frame = frame_for((float(lon) + 180) % 360 - 180, float(lat), height_m)
    return frame, partial(_project, frame)


def unwrapped(lonlat: FloatArray) -> FloatArray:
    """Longitudes without the jump where the count turns from 180 to -180, shape (n, 2). [deg]"""
    if np.ptp(lonlat[:, 0]) <= 180:
        return lonlat
    out = lonlat.copy()
    out[:, 0] = np.where(out[:, 0] < 0, out[:, 0] + 360, out[:, 0])
    return out


def areas_only(shape: Shape) -> Shape:
    """The polygons of a shape as one polygon or multipolygon; lines and points fall away. [m]"""
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    parts = [p for p in shapely.get_parts(shape) if p.geom_type in ("Polygon", "MultiPolygon", "GeometryCollection")]
    flat = [areas_only(p) if p.geom_type == "GeometryCollection" else p for p in parts]
    return shapely.union_all(flat) if flat else shapely.MultiPolygon()


def slug(name: str) -> str:
    """A key made from a name: lower-case letters, digits and hyphens. [-]"""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")


def _project(frame: Frame, lonlat: FloatArray) -> FloatArray:
    return to_frame(frame, lonlat[:, 0], lonlat[:, 1])


def _ring(positions: Positions, label: str) -> FloatArray:
    ring = np.asarray(positions, dtype=float)
    if ring.ndim != 2 or ring.shape[1] < 2 or len(np.unique(ring[:, :2], axis=0)) < 3:
        raise GeometryError("a ring needs three different corners", where=label, cure="Give pairs (x, y) of at least three corners.")
    if not bool(np.isfinite(ring[:, :2]).all()):
        raise GeometryError("a coordinate is no number", where=label, cure="Correct the ring.")
    return ring[:, :2]


def _places(positions: Sequence[Sequence[float]], in_metres: Callable[[FloatArray], FloatArray]) -> tuple[tuple[float, float], ...]:
    if not positions:
        return ()
    return tuple((float(x), float(y)) for x, y in in_metres(np.asarray(positions, dtype=float)[:, :2]))


def _shape_of(polygon: Polygon) -> Shape:
    return shapely.Polygon(polygon.outside, polygon.holes)


def _plain_ring(ring: Any) -> Ring:
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(ring))
