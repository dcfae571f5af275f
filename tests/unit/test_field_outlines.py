"""Outlines from rings: frames, areas, mending, limits, obstacles."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenstand.base.errors import CrsError, GeometryError, RangeError
from evenstand.field import add_obstacles, boundary_from_rings, boundary_from_shape, frame_for, from_frame, sown_shape, to_frame
from evenstand.model import Frame, Hazard

FRAME = Frame(lon_deg=-104.6, lat_deg=50.4)
HECTARE = [(0, 0), (100, 0), (100, 100), (0, 100)]


def test_a_square_of_100_m_has_one_hectare() -> None:
    boundary = boundary_from_rings(HECTARE, frame=FRAME, name="Square")
    assert boundary.area_ha == pytest.approx(1.0, rel=1e-12)
    assert boundary.geodesic_m2 == pytest.approx(10_000, rel=1e-6)
    assert boundary.key == "square"
    assert boundary.repairs == ()


def test_rings_come_out_closed_outside_counter_clockwise_holes_clockwise() -> None:
    hole = [(20, 20), (40, 20), (40, 40), (20, 40)]
    boundary = boundary_from_rings(HECTARE[::-1], holes=[hole], frame=FRAME)
    (polygon,) = boundary.polygons

    def signed(ring: tuple[tuple[float, float], ...]) -> float:
        x, y = np.array(ring).T
        return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) / 2)

    assert polygon.outside[0] == polygon.outside[-1]
    assert signed(polygon.outside) == pytest.approx(10_000)
    assert signed(polygon.holes[0]) == pytest.approx(-400)
    assert boundary.area_m2 == pytest.approx(9_600)


def test_degrees_become_metres_that_agree_with_the_ellipsoid() -> None:
    from pyproj import Geod

    ring = [(-104.605, 50.397), (-104.595, 50.397), (-104.595, 50.403), (-104.605, 50.403)]
    boundary = boundary_from_rings(ring)
    expected = abs(Geod(ellps="WGS84").polygon_area_perimeter(*zip(*ring, strict=True))[0])
    assert boundary.geodesic_m2 == pytest.approx(expected, rel=1e-9)
    assert boundary.area_m2 == pytest.approx(expected, rel=1e-6)
    assert (boundary.frame.lon_deg, boundary.frame.lat_deg) == pytest.approx((-104.6, 50.4))
    side = Geod(ellps="WGS84").inv(*ring[0], *ring[1])[2]
    (x0, y0), (x1, y1) = boundary.polygons[0].outside[:2]
    assert math.hypot(x1 - x0, y1 - y0) == pytest.approx(side, rel=1e-6)


def test_a_field_700_m_up_is_larger_on_its_ground_than_on_the_ellipsoid() -> None:
    ring = [(-104.605, 50.397), (-104.595, 50.397), (-104.595, 50.403), (-104.605, 50.403)]
    low, high = boundary_from_rings(ring), boundary_from_rings(ring, height_m=700)
    assert high.area_m2 / low.area_m2 == pytest.approx((1 + 700 / 6_371_000) ** 2, rel=1e-9)


def test_a_field_across_the_date_line_is_one_field() -> None:
    ring = [(179.995, -16.5), (-179.995, -16.5), (-179.995, -16.495), (179.995, -16.495)]
    boundary = boundary_from_rings(ring)
    assert boundary.area_ha == pytest.approx(59.1, abs=0.3)
    assert abs(boundary.frame.lon_deg) == pytest.approx(180)


def test_a_frame_takes_positions_there_and_back() -> None:
    frame = frame_for(11.5, 48.1, 500)
    lon, lat = np.array([11.49, 11.5, 11.52]), np.array([48.09, 48.1, 48.11])
    xy = to_frame(frame, lon, lat)
    assert xy[1] == pytest.approx([0, 0], abs=1e-6)
    assert xy[2][0] > 0
    assert xy[2][1] > 0
    back = from_frame(frame, xy)
    assert back[0] == pytest.approx(lon, abs=1e-11)
    assert back[1] == pytest.approx(lat, abs=1e-11)


def test_positions_far_from_the_frame_are_refused() -> None:
    with pytest.raises(CrsError, match="too far"):
        to_frame(frame_for(11.5, 48.1), [13.5], [48.1])
    with pytest.raises(RangeError, match="lat_deg"):
        frame_for(11.5, 89.9)
    with pytest.raises(RangeError, match="lon_deg"):
        frame_for(500_000, 48.1)


def test_a_bow_tie_is_mended_to_both_its_lobes_and_said() -> None:
    tie = [(0, 0), (200, 200), (200, 0), (0, 200)]
    boundary = boundary_from_rings(tie, frame=FRAME, name="Tie")
    assert boundary.area_ha == pytest.approx(2.0)
    assert len(boundary.polygons) == 2
    (note,) = boundary.repairs
    assert "self-intersection" in note
    assert "0.000 ha as drawn, 2.000 ha now" in note


def test_an_outline_with_a_small_loop_where_it_was_closed_keeps_its_area() -> None:
    loop = [(0, 0), (300, 0), (300, 300), (0, 300), (0, -5), (5, -5), (5, 5), (-5, 5)]
    boundary = boundary_from_rings(loop, frame=FRAME)
    assert boundary.area_ha == pytest.approx(9.0, abs=0.02)
    assert boundary.repairs


@pytest.mark.parametrize(
    ("ring", "what"),
    [
        ([(0, 0), (100, 0), (0, 0)], "three different corners"),
        ([(0, 0), (100, 0), (200, 0)], "no area"),
        ([(0, 0), (100, 0), (math.nan, 5)], "no number"),
        ([(0, 0), (20, 0), (20, 20), (0, 20)], "too small for a field"),
        ([(0, 0), (9000, 0), (9000, 9000), (0, 9000)], "8,100 ha is no single field"),
    ],
)
def test_what_is_no_field_is_refused(ring: list[tuple[float, float]], what: str) -> None:
    with pytest.raises(GeometryError, match=what):
        boundary_from_rings(ring, frame=FRAME)


def test_the_limits_of_size_are_stated() -> None:
    with pytest.raises(GeometryError, match=r"at most 5,000 ha"):
        boundary_from_rings([(0, 0), (9000, 0), (9000, 9000), (0, 9000)], frame=FRAME)
    with pytest.raises(GeometryError, match=r"at least 0\.05 ha"):
        boundary_from_rings([(0, 0), (20, 0), (20, 20), (0, 20)], frame=FRAME)


def test_metres_given_for_degrees_are_refused_with_the_cure() -> None:
    with pytest.raises(CrsError, match=r"no degrees.*the frame in which the numbers are metres"):
        boundary_from_rings([(512_000, 5_580_000), (512_800, 5_580_000), (512_800, 5_580_800)])


def test_a_country_is_refused_before_it_is_projected() -> None:
    with pytest.raises(GeometryError, match="km across"):
        boundary_from_rings([(-110, 49), (-101, 49), (-101, 60), (-110, 60)])


def test_obstacles_are_taken_off_the_area_and_cut_at_the_outline() -> None:
    pond = [(40, 40), (60, 40), (60, 60), (40, 60)]
    over_the_edge = [(90, 0), (110, 0), (110, 10), (90, 10)]
    boundary = boundary_from_rings(HECTARE, obstacles=[pond, over_the_edge], frame=FRAME)
    assert boundary.area_m2 == pytest.approx(10_000 - 400 - 100)
    assert boundary.geodesic_m2 == pytest.approx(boundary.area_m2, rel=1e-6)
    assert len(boundary.obstacles) == 2
    assert any("reaches beyond the field" in note and "100 m²" in note for note in boundary.repairs)
    assert sown_shape(boundary).area == pytest.approx(9_500)


def test_obstacles_that_overlap_are_taken_off_once() -> None:
    import shapely

    boundary = boundary_from_rings(HECTARE, frame=FRAME)
    boundary = add_obstacles(boundary, [shapely.box(10, 10, 30, 30)])
    boundary = add_obstacles(boundary, [shapely.box(20, 10, 40, 30)])
    assert boundary.area_m2 == pytest.approx(10_000 - 600)


def test_an_obstacle_that_leaves_nothing_is_refused() -> None:
    with pytest.raises(GeometryError, match="without its obstacles"):
        boundary_from_rings(HECTARE, obstacles=[[(-1, -1), (101, -1), (101, 101), (-1, 101)]], frame=FRAME)


def test_gates_fill_points_and_hazards_are_kept() -> None:
    hazard = Hazard(kind="line", note="low over the gate", x_m=0, y_m=10)
    boundary = boundary_from_rings(HECTARE, frame=FRAME, entries=[(0, 50)], fill_points=[(5, 50)], hazards=[hazard])
    assert boundary.entries == ((0.0, 50.0),)
    assert boundary.fill_points == ((5.0, 50.0),)
    assert boundary.hazards == (hazard,)


def test_parts_of_one_field_stay_parts() -> None:
    import shapely

    boundary = boundary_from_shape(shapely.MultiPolygon([shapely.box(0, 0, 100, 100), shapely.box(150, 0, 250, 100)]), FRAME, name="Two")
    assert len(boundary.polygons) == 2
    assert boundary.area_ha == pytest.approx(2.0)
