"""Outlines as bytes in metres of the field's frame, and the same in longitude and latitude for GIS programs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from evenstand.book.geopackage import geometry_blob
from evenstand.model import Frame, Polygon

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Project = Callable[[Any], Any]


def outline_bytes(polygons: Sequence[Polygon]) -> bytes:
    """Polygons as one WKB MultiPolygon, every coordinate kept to the last bit; `ValueError` for a ring that is not closed."""
    import shapely
    from shapely.geometry import MultiPolygon
    from shapely.geometry import Polygon as Shape

    for ring in (r for p in polygons for r in (p.outside, *p.holes)):
        if len(ring) < 4 or ring[0] != ring[-1]:
            raise ValueError("a ring is not closed or has fewer than three corners")
    many = MultiPolygon([Shape(p.outside, p.holes) for p in polygons])
    wkb: bytes = shapely.to_wkb(many, byte_order=1)
    return wkb


def polygons_of(outline: bytes) -> tuple[Polygon, ...]:
    """The polygons of `outline_bytes`."""
    import shapely

    many: Any = shapely.from_wkb(outline)
    return tuple(Polygon(outside=_ring(part.exterior), holes=tuple(_ring(hole) for hole in part.interiors)) for part in many.geoms)


def to_degrees(frame: Frame) -> Project:
    """A function that turns coordinates (n, 2) in metres of the frame into longitude and latitude (n, 2). [degrees]"""
    import numpy as np
    from pyproj import Transformer

    transformer = Transformer.from_crs(frame.proj, "EPSG:4326", always_xy=True)

    def project(xy: Any) -> Any:
        lon, lat = transformer.transform(xy[:, 0], xy[:, 1])
        return np.column_stack([lon, lat])

    return project


def polygons_blob(outline: bytes, project: Project, *, single: bool = False) -> bytes | None:
    """An outline as GeoPackage geometry in longitude and latitude: a MULTIPOLYGON, or its only part as POLYGON; None without parts."""
    import shapely

    shape: Any = shapely.transform(shapely.from_wkb(outline), project)
    if shape.is_empty:
        return None
    return shape_blob(shape.geoms[0] if single else shape)


def point_blob(x_m: float, y_m: float, project: Project) -> bytes:
    """A place in the frame as GeoPackage POINT in longitude and latitude."""
    import shapely
    from shapely.geometry import Point

    return shape_blob(shapely.transform(Point(x_m, y_m), project))


def shape_blob(shape: BaseGeometry) -> bytes:
    """Any shapely geometry in longitude and latitude as GeoPackage geometry."""
    import shapely

    return geometry_blob(shapely.to_wkb(shape, byte_order=1), None if shape.is_empty else shape.bounds)


def _ring(ring: Any) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in ring.coords)
