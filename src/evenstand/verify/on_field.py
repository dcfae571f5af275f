"""Outlines: areas on the ellipsoid and the winding of rings, against values that open libraries test themselves by."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from evenstand.field import outlines
from evenstand.verify.pairs import Compute, Pair

Corner = tuple[float, float]


def _area(*corners: Corner) -> Compute:
    """Area of a polygon of latitudes and longitudes, as the source writes them. [m²]"""
    return lambda: outlines.geodesic_area_of_degrees(shapely.Polygon([(lon, lat) for lat, lon in corners]))


def _wound(ring: Sequence[Corner], place: int, axis: int) -> Compute:
    """One coordinate of the outside ring as we wind it. [deg]"""
    return lambda: outlines.polygons_of(shapely.Polygon(ring))[0].outside[place][axis]


_BACKWARDS = ((100.0, 0.0), (100.0, 1.0), (101.0, 1.0), (101.0, 0.0), (100.0, 0.0))
_PRINTED = (("100", "0"), ("101", "0"), ("101", "1"), ("100", "1"), ("100", "0"))

PAIRS: tuple[Pair, ...] = (
    Pair(
        function="field.outlines.geodesic_area_of_degrees",
        case="triangle (2, 1) (1, 2) (3, 3), latitude first",
        published="18454562325.5",
        unit="m²",
        compute=_area((2, 1), (1, 2), (3, 3)),
        half_digits=10.0,
        why="the test itself allows 0.5 m²",
        source="geographiclib-tests",
        where="test_Planimeter15",
    ),
    Pair(
        function="field.outlines.geodesic_area_of_degrees",
        case="square of 2 degrees about (0, 0), standing on its corner; an eighth of the earth",
        unit="m²",
        cells=(
            ("about (0, 0)", "24619419146", _area((0, -1), (-1, 0), (0, 1), (1, 0))),
            ("eighth", "63758202715511", _area((90, 0), (0, 0), (0, 90))),
        ),
        half_digits=2.0,
        why="the test itself allows 1 m²",
        source="geographiclib-tests",
        where="test_Planimeter0",
    ),
    Pair(
        function="field.outlines.polygons_of",
        case="a ring wound clockwise comes out counter-clockwise, as RFC 7946 asks",
        unit="deg",
        cells=tuple(
            (f"corner {place + 1}, {'longitude' if axis == 0 else 'latitude'}", printed, _wound(_BACKWARDS, place, axis))
            for place, corner in enumerate(_PRINTED)
            for axis, printed in enumerate(corner)
        ),
        exact=True,
        kind="table",
        source="geojson-rewind",
        where="flipped square",
    ),
)
