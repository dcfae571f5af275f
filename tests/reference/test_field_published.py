"""Published values: a public test of Dubins paths, geodesics and geodesic polygons, a ring wound the other way."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import shapely

from evenstand.field import boundary_from_rings, boundary_geojson, dubins_length, frame_for, to_frame
from evenstand.field.outlines import geodesic_area_of_degrees, polygons_of


def test_dubins_path_of_a_public_library_test() -> None:
    """Dubins.jl, test/test1.jl: (0, 0, 0) to (5, 0, 3), radius 1: 8.2725."""
    assert dubins_length((0, 0, 0), (5, 0, 3), 1.0) == pytest.approx(8.2725, abs=0.00005)


def _area(*latlon: tuple[float, float]) -> float:
    return geodesic_area_of_degrees(shapely.Polygon([(lon, lat) for lat, lon in latlon]))


@pytest.mark.parametrize(
    ("corners", "printed", "delta"),
    [
        (((0, -1), (-1, 0), (0, 1), (1, 0)), 24619419146.0, 1),
        (((90, 0), (0, 0), (0, 90)), 63758202715511.0, 1),
        (((2, 1), (1, 2), (3, 3)), 18454562325.45119, 0.5),
    ],
)
def test_planimeter_values_of_geographiclib(corners: tuple[tuple[float, float], ...], printed: float, delta: float) -> None:
    """geographiclib 2.1, test_geodesic.py, Planimeter0 and Planimeter15; latitude first, tolerance as printed there."""
    assert _area(*corners) == pytest.approx(printed, abs=delta)


def test_field_sized_polygons_agree_with_geographiclib_itself() -> None:
    """A second library on 60 made-up fields."""
    from geographiclib.geodesic import Geodesic

    rng = np.random.default_rng(3)
    for _ in range(60):
        lon, lat = rng.uniform(-179, 179), rng.uniform(-60, 70)
        angle = np.sort(rng.uniform(0, 2 * np.pi, 7))
        ring = [(lon + 0.004 * math.cos(a) / math.cos(math.radians(lat)), lat + 0.003 * math.sin(a)) for a in angle]
        polygon = Geodesic.WGS84.Polygon()
        for x, y in ring:
            polygon.AddPoint(y, x)
        _, _, expected = polygon.Compute(False, True)
        boundary = boundary_from_rings(ring)
        assert boundary.geodesic_m2 == pytest.approx(abs(expected), abs=0.05)
        assert boundary.area_m2 == pytest.approx(abs(expected), rel=2e-6)


def test_distances_in_a_frame_agree_with_geographiclib() -> None:
    """Ground distances up to 2 km, against a second library: scale 1 within 1e-7 near the middle."""
    from geographiclib.geodesic import Geodesic

    rng = np.random.default_rng(4)
    for _ in range(40):
        lon, lat = rng.uniform(-179, 179), rng.uniform(-60, 70)
        frame = frame_for(lon, lat)
        east, north = rng.uniform(-0.01, 0.01, 2), rng.uniform(-0.008, 0.008, 2)
        xy = to_frame(frame, lon + east, lat + north)
        apart = math.hypot(*(xy[1] - xy[0]))
        expected = Geodesic.WGS84.Inverse(lat + north[0], lon + east[0], lat + north[1], lon + east[1])["s12"]
        assert apart == pytest.approx(expected, rel=2e-7, abs=1e-6)


def test_a_clockwise_ring_is_wound_as_rfc_7946_asks() -> None:
    """The worked example of geojson-rewind."""
    ring = [(100, 0), (100, 1), (101, 1), (101, 0), (100, 0)]
    assert polygons_of(shapely.Polygon(ring))[0].outside == ((100, 0), (101, 0), (101, 1), (100, 1), (100, 0))


def test_the_fiji_box_of_rfc_7946_is_one_place_not_the_rest_of_the_world(tmp_path: Path) -> None:
    """RFC 7946, section 5.2: the box [177, -20, -178, -16] spans five degrees across the date line; a field inside it, cut at the line."""
    from evenstand.field import read_boundary

    east = [[179.997, -18.003], [180.0, -18.003], [180.0, -18.0], [179.997, -18.0], [179.997, -18.003]]
    west = [[-180.0, -18.003], [-179.997, -18.003], [-179.997, -18.0], [-180.0, -18.0], [-180.0, -18.003]]
    feature = {"type": "Feature", "properties": {}, "geometry": {"type": "MultiPolygon", "coordinates": [[east], [west]]}}
    path = tmp_path / "fiji.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    boundary = read_boundary(path)
    assert boundary.area_ha == pytest.approx(21.1, abs=0.2)
    width = np.ptp([x for p in boundary.polygons for x, _ in p.outside])
    assert width == pytest.approx(635.4, abs=1)
    assert "FeatureCollection" in boundary_geojson(boundary)
