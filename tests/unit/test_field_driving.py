"""The line to drive: fields that can be checked by hand, odd shapes, and what is refused."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest
import shapely

from evenstand.base.errors import GeometryError, RangeError
from evenstand.field import boundary_from_rings, boundary_from_shape, drive_strips, plan_passes, sown_shape, turn_length
from evenstand.field.driving import GRID_M
from evenstand.model import Boundary, Drive, Frame

FRAME = Frame(lon_deg=-104.6, lat_deg=50.4)
WIDTH = 16.256


def square(side: float, height: float | None = None, **more: object) -> Boundary:
    height = side if height is None else height
    return boundary_from_rings([(0, 0), (side, 0), (side, height), (0, height)], frame=FRAME, **more)  # type: ignore[arg-type]


def field_of(ring: Sequence[tuple[float, float]], **more: object) -> Boundary:
    return boundary_from_rings(ring, frame=FRAME, **more)  # type: ignore[arg-type]


def covered(boundary: Boundary, drive: Drive) -> float:
    """Share of what is to be sown that the strips cover."""
    union = shapely.union_all(drive_strips(drive), grid_size=GRID_M)
    sown = sown_shape(boundary)
    return float(shapely.area(shapely.intersection(union, sown)) / shapely.area(sown))


def parts(drive: Drive) -> list[np.ndarray]:
    return [drive.xy_m[drive.pass_id == k] for k in range(1, drive.passes + 1)]


def turns(drive: Drive) -> list[np.ndarray]:
    """Every stretch between two passes, with the pass ends."""
    ids = drive.pass_id
    firsts = [int(np.flatnonzero(ids == k)[0]) for k in range(1, drive.passes + 1)]
    lasts = [int(np.flatnonzero(ids == k)[-1]) for k in range(1, drive.passes + 1)]
    return [drive.xy_m[a : b + 1] for a, b in zip(lasts[:-1], firsts[1:], strict=True)]


def test_ten_passes_of_a_10_m_tool_sow_100_m_by_100_m_exactly() -> None:
    drive = plan_passes(square(100), 10, headland_rounds=0)
    assert drive.passes == 10
    assert drive.pass_lengths_m() == pytest.approx(np.full(10, 100.0))
    assert drive.pass_lengths_m().sum() * 10 / 1e4 == pytest.approx(1.0)
    assert covered(square(100), drive) == pytest.approx(1.0)


def test_two_square_rounds_and_six_passes_sow_the_same_hectare() -> None:
    drive = plan_passes(square(100), 10)
    lengths = drive.pass_lengths_m()
    assert lengths[:2] == pytest.approx([4 * 90, 4 * 70])
    assert lengths[2:] == pytest.approx(np.full(6, 60.0))
    assert lengths.sum() * 10 / 1e4 == pytest.approx(1.0)
    assert list(drive.kind[[0, -1]]) == [Drive.KINDS.index("sow-headland"), Drive.KINDS.index("sow-pass")]


def test_the_length_is_the_passes_and_nine_turns_of_the_closed_form() -> None:
    drive = plan_passes(square(100), 10, headland_rounds=0, turn_radius_m=7)
    turned = [float(np.hypot(*np.diff(t, axis=0).T).sum()) for t in turns(drive)]
    assert turned == pytest.approx([turn_length(10, 7)] * 9, rel=3e-3)  # arcs are drawn in pieces of ten degrees
    assert drive.station_m[-1] == pytest.approx(1000 + sum(turned))
    assert drive.station_m[0] == 0


def test_times_follow_from_the_speeds() -> None:
    slow = plan_passes(square(100), 10, speed_m_s=2.0, turn_speed_m_s=1.0, turn_radius_m=6)
    sown = slow.pass_lengths_m().sum()
    assert slow.t_s[-1] == pytest.approx(sown / 2 + (slow.station_m[-1] - sown) / 1)
    assert bool((np.diff(slow.t_s) >= 0).all())
    even = plan_passes(square(100), 10, speed_m_s=2.0, turn_radius_m=6)
    assert even.t_s[-1] == pytest.approx(even.station_m[-1] / 2)


def test_without_a_speed_the_times_are_unknown_not_nought() -> None:
    assert bool(np.isnan(plan_passes(square(100), 10).t_s).all())


def test_passes_are_numbered_in_the_order_driven_and_turns_have_no_number() -> None:
    drive = plan_passes(square(400), WIDTH, turn_radius_m=12)
    firsts = [int(np.flatnonzero(drive.pass_id == k)[0]) for k in range(1, drive.passes + 1)]
    assert firsts == sorted(firsts)
    assert set(drive.kind[drive.pass_id == 0]) <= {2, 3}
    assert set(drive.kind[drive.pass_id > 0]) == {0, 1}
    assert not drive.xy_m.flags.writeable


def test_passes_lie_one_width_apart_and_alternate() -> None:
    drive = plan_passes(square(400), WIDTH, direction_deg=0)
    straight = [
        p
        for p, kind in zip(parts(drive), [drive.kind[drive.pass_id == k][0] for k in range(1, drive.passes + 1)], strict=True)
        if kind == 1
    ]
    x = np.array([p[0, 0] for p in straight])
    assert np.abs(np.diff(x)) == pytest.approx(np.full(len(x) - 1, WIDTH))
    ups = [p[1, 1] > p[0, 1] for p in straight]
    assert all(a != b for a, b in pairwise(ups))


def test_passes_follow_the_longest_side_by_default() -> None:
    assert plan_passes(square(300, 800), WIDTH).direction_deg == pytest.approx(0)
    assert plan_passes(square(800, 300), WIDTH).direction_deg == pytest.approx(90)


def test_a_long_side_made_of_many_corners_is_still_the_longest() -> None:
    bottom = [(x, 0.2 * math.sin(x)) for x in range(0, 801, 20)]
    drive = plan_passes(field_of([*bottom, (700, 600), (100, 600)]), WIDTH)
    assert drive.direction_deg == pytest.approx(90, abs=0.1)


@pytest.mark.parametrize("direction", [0.0, 30.0, 90.0, 135.0, 200.0, -20.0])
def test_the_given_direction_is_kept(direction: float) -> None:
    drive = plan_passes(square(500), WIDTH, direction_deg=direction)
    assert drive.direction_deg == pytest.approx(direction % 180)
    last = parts(drive)[-1]
    dx, dy = last[-1] - last[0]
    assert math.degrees(math.atan2(dx, dy)) % 180 == pytest.approx(direction % 180)


def test_one_pass_lies_on_the_given_line_and_a_nudge_shifts_it_to_the_right() -> None:
    line = ((123.4, 0.0), (123.4, 50.0))
    for nudge in (0.0, 0.127, -0.5):
        drive = plan_passes(square(500), WIDTH, line=line, nudge_m=nudge)
        x = [p[0, 0] for p in parts(drive) if len(p) == 2]
        off = (np.array(x) - 123.4 - nudge) / WIDTH
        assert off == pytest.approx(np.round(off), abs=1e-9)
        assert np.abs(off).min() == pytest.approx(0, abs=1e-9)


def test_a_line_driven_southward_has_its_right_in_the_west() -> None:
    drive = plan_passes(square(500), WIDTH, line=((123.4, 50.0), (123.4, 0.0)), nudge_m=1.0)
    x = np.array([p[0, 0] for p in parts(drive) if len(p) == 2])
    assert np.abs(x - 122.4).min() == pytest.approx(0, abs=1e-9)


CONVEX = {
    "section": [(0, 0), (804.67, 0), (804.67, 804.67), (0, 804.67)],
    "triangle": [(0, 0), (800, 0), (250, 700)],
    "pentagon": [(0, 0), (500, -80), (820, 300), (420, 700), (-60, 400)],
    "long": [(0, 0), (1600, 100), (1600, 300), (0, 200)],
    "round": [(400 * math.cos(a), 400 * math.sin(a)) for a in np.linspace(0, 2 * math.pi, 90, endpoint=False)],
}


@pytest.mark.parametrize("radius", [None, 12.0])
@pytest.mark.parametrize("name", list(CONVEX))
def test_strips_cover_99_hundredths_of_a_convex_field(name: str, radius: float | None) -> None:
    boundary = field_of(CONVEX[name])
    drive = plan_passes(boundary, WIDTH, turn_radius_m=radius)
    assert covered(boundary, drive) >= 0.99
    strips = sum(shapely.area(s) for s in drive_strips(drive))
    assert 0.985 * boundary.area_m2 < strips < 1.06 * boundary.area_m2
    driven = drive.pass_lengths_m().sum() * WIDTH
    assert driven == pytest.approx(strips, rel=0.01)
    outside = shapely.area(shapely.difference(shapely.union_all(drive_strips(drive), grid_size=GRID_M), sown_shape(boundary)))
    assert outside < 0.001 * boundary.area_m2


@pytest.mark.parametrize("direction", [0, 17, 45, 90, 120])
def test_any_direction_covers_a_field_with_holes(direction: float) -> None:
    boundary = square(600, holes=[[(200, 200), (330, 180), (300, 330)]], obstacles=[[(450, 400), (460, 400), (460, 410), (450, 410)]])
    drive = plan_passes(boundary, WIDTH, direction_deg=direction, turn_radius_m=10)
    assert covered(boundary, drive) >= 0.985


def test_no_strip_touches_a_hole_or_an_obstacle() -> None:
    hole, pole = [(200, 200), (330, 180), (300, 330)], [(450, 400), (460, 400), (460, 410), (450, 410)]
    boundary = square(600, holes=[hole], obstacles=[pole])
    for rounds in (0, 1, 2):
        for strip in drive_strips(plan_passes(boundary, WIDTH, headland_rounds=rounds, direction_deg=20)):
            for out in (hole, pole):
                assert shapely.area(shapely.intersection(strip, shapely.Polygon(out))) < 0.5


def test_rounds_go_around_holes_too() -> None:
    boundary = square(600, holes=[[(200, 200), (330, 180), (300, 330)]])
    drive = plan_passes(boundary, WIDTH, headland_rounds=2)
    rings = [p for p in parts(drive) if len(p) > 2]
    assert len(rings) == 4
    assert all(ring[0] == pytest.approx(ring[-1]) for ring in rings)
    hole = shapely.Polygon([(200, 200), (330, 180), (300, 330)])
    away = sorted(shapely.distance(shapely.LineString(ring), hole) for ring in rings)
    assert away[:2] == pytest.approx([WIDTH / 2, 1.5 * WIDTH], rel=0.01)


def test_passes_are_split_at_a_hole() -> None:
    plain = plan_passes(square(600), WIDTH, direction_deg=0)
    holed = plan_passes(square(600, holes=[[(200, 200), (330, 180), (300, 330)]]), WIDTH, direction_deg=0)
    assert holed.passes > plain.passes + 6


def test_moves_go_round_a_hole_not_through_it() -> None:
    hole = [(150, 200), (450, 200), (450, 400), (150, 400)]
    boundary = square(600, holes=[hole])
    drive = plan_passes(boundary, WIDTH, turn_radius_m=10, direction_deg=0)
    inside = shapely.Polygon(hole).buffer(-1)
    assert not any(shapely.intersects(shapely.LineString(t), inside) for t in turns(drive) if len(t) > 1)


def test_turns_start_and_end_along_the_passes_and_keep_their_radius() -> None:
    drive = plan_passes(square(500), WIDTH, turn_radius_m=12, direction_deg=0)
    for turn in turns(drive):
        steps = np.diff(turn, axis=0)
        lengths = np.hypot(*steps.T)
        headings = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
        bend = np.abs(np.diff(headings)) / np.maximum(np.minimum(lengths[1:], lengths[:-1]), 0.3)
        assert bend.max(initial=0) < 2.2 / 12


def test_corners_are_rounded_to_a_known_radius_and_square_while_it_is_not_known() -> None:
    square_corners = plan_passes(square(400), WIDTH, headland_rounds=1)
    rounded = plan_passes(square(400), WIDTH, headland_rounds=1, turn_radius_m=12)
    lost = 8 * 12 - 2 * math.pi * 12  # four corners of a square, each shorter by 2 r - pi r / 2
    first = [float(d.pass_lengths_m()[0]) for d in (square_corners, rounded)]
    assert first[0] == pytest.approx(4 * (400 - WIDTH))
    assert first[0] - first[1] == pytest.approx(lost, rel=0.02)
    assert any("stand-in" in note for note in square_corners.notes)
    assert not any("stand-in" in note for note in rounded.notes)


def test_a_sharp_corner_is_driven_out_and_said() -> None:
    drive = plan_passes(field_of(CONVEX["triangle"]), WIDTH, turn_radius_m=14)
    assert any("lift and swing" in note for note in drive.notes)


def test_parts_of_a_field_are_all_sown() -> None:
    boundary = boundary_from_shape(shapely.MultiPolygon([shapely.box(0, 0, 300, 300), shapely.box(330, 0, 700, 200)]), FRAME)
    drive = plan_passes(boundary, WIDTH, turn_radius_m=10)
    assert covered(boundary, drive) >= 0.985


def test_a_neck_narrower_than_the_tool_is_said_to_stay_unsown() -> None:
    halves = [
        (0, 0),
        (600, 0),
        (600, 300),
        (310, 300),
        (310, 310),
        (600, 310),
        (600, 600),
        (0, 600),
        (0, 310),
        (300, 310),
        (300, 300),
        (0, 300),
    ]
    boundary = field_of(halves)
    drive = plan_passes(boundary, WIDTH, turn_radius_m=12)
    assert any("narrower than the tool" in note for note in drive.notes)
    assert covered(boundary, drive) >= 0.99


def test_a_field_narrower_than_the_tool_is_refused_with_its_width() -> None:
    with pytest.raises(GeometryError, match=r"nowhere wider than 15\.0 m \(the tool is 16\.256 m wide\)"):
        plan_passes(square(800, 15), WIDTH)
    with pytest.raises(GeometryError, match="nowhere wider"):
        plan_passes(square(800, 15), WIDTH, headland_rounds=0)


@pytest.mark.parametrize("height", [16.3, 17, 24, 33, 46, 50, 66, 70])
def test_a_narrow_strip_of_land_is_sown_all_the_same(height: float) -> None:
    boundary = square(900, height)
    drive = plan_passes(boundary, WIDTH)
    assert covered(boundary, drive) >= 0.98
    assert drive.headland_rounds >= 1


def test_more_rounds_than_fit_are_cut_down_and_said() -> None:
    drive = plan_passes(square(300, 200), WIDTH, headland_rounds=12)
    assert drive.headland_rounds < 12
    assert any(f"Only {drive.headland_rounds} of 12 headland rounds fit" in note for note in drive.notes)
    assert covered(square(300, 200), drive) >= 0.99


def test_the_last_strip_without_a_headland_is_moved_onto_the_field() -> None:
    boundary = square(100)
    drive = plan_passes(boundary, 15, headland_rounds=0)
    assert drive.passes == 7
    assert covered(boundary, drive) == pytest.approx(1.0)
    y = np.concatenate([p[:, 1] for p in parts(drive)])
    assert y.max() == pytest.approx(92.5)
    assert y.min() == pytest.approx(7.5)


def test_turns_beyond_the_field_are_counted() -> None:
    tight = plan_passes(square(400), WIDTH, headland_rounds=0, turn_radius_m=12)
    assert any("turns reach beyond the field" in note for note in tight.notes)
    roomy = plan_passes(square(400), WIDTH, headland_rounds=2, turn_radius_m=12)
    assert not any("reach beyond" in note for note in roomy.notes)


def test_the_headland_can_come_last() -> None:
    drive = plan_passes(square(400), WIDTH, headland_last=True, turn_radius_m=12)
    kinds = [int(drive.kind[drive.pass_id == k][0]) for k in range(1, drive.passes + 1)]
    assert kinds[-2:] == [0, 0]
    assert kinds[0] == 1
    first = plan_passes(square(400), WIDTH, turn_radius_m=12)
    assert drive.pass_lengths_m().sum() == pytest.approx(first.pass_lengths_m().sum())


def test_the_work_begins_at_the_gate() -> None:
    drive = plan_passes(square(400, entries=[(400, 250)]), WIDTH)
    assert np.hypot(*(drive.xy_m[0] - (400, 250))) < WIDTH


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        ({"width_m": 0.0}, "width_m"),
        ({"width_m": math.nan}, "width_m"),
        ({"width_m": 10, "headland_rounds": -1}, "headland_rounds"),
        ({"width_m": 10, "turn_radius_m": 0.0}, "turn_radius_m"),
        ({"width_m": 10, "speed_m_s": -1.0}, "speed_m_s"),
        ({"width_m": 10, "direction_deg": math.inf}, "direction_deg"),
        ({"width_m": 10, "direction_deg": 10.0, "line": ((0, 0), (0, 50))}, "both a line and a direction"),
        ({"width_m": 10, "line": ((5, 5), (5, 5))}, "two places at least 1 m apart"),
        ({"width_m": 10, "line": ((5, 5, 5), (5, 5, 6))}, "two places"),
    ],
)
def test_arguments_out_of_range_are_named(arguments: dict[str, object], what: str) -> None:
    with pytest.raises(RangeError, match=what):
        plan_passes(square(200), **arguments)  # type: ignore[arg-type]


def test_a_field_of_65_ha_is_planned_well_under_half_a_second() -> None:
    boundary = square(804.67, holes=[[(300, 300), (400, 280), (420, 380), (310, 420)]])
    plan_passes(boundary, WIDTH, turn_radius_m=12)  # imports
    begin = time.perf_counter()
    plan_passes(boundary, WIDTH, turn_radius_m=12, speed_m_s=2.1)
    assert time.perf_counter() - begin < 0.5
