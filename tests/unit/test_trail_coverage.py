"""Covered, twice covered, repeated and skipped ground on trails that can be worked out by hand."""

from __future__ import annotations

import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from evenstand.base.errors import GeometryError, MissingError, RangeError
from evenstand.model import Frame, Outfit
from evenstand.trail import coverage
from made_trails import passes_trail, square, tool, trail_of

BOTH = pytest.mark.parametrize("method", ["shapes", "outlines"])


@BOTH
def test_ten_passes_of_ten_metres_cover_a_hectare(method):
    covered = coverage(passes_trail(), tool(10.0), method=method)
    assert covered.covered_m2 == pytest.approx(10_000, abs=1e-3)
    assert covered.twice_m2 == pytest.approx(0, abs=1e-3)
    assert covered.repeat_m2 == pytest.approx(0, abs=1e-3)
    assert covered.skipped_m2 is None


@BOTH
def test_a_wider_tool_covers_the_seams_twice(method):
    covered = coverage(passes_trail(), tool(10.5), method=method)
    assert covered.covered_m2 == pytest.approx(100.5 * 100, abs=1e-3)
    assert covered.twice_m2 == pytest.approx(9 * 0.5 * 100, abs=1e-3)
    assert covered.repeat_m2 == pytest.approx(450, abs=1e-3)
    assert covered.overlap == pytest.approx(450 / 10_050)


@BOTH
def test_ground_driven_three_times_is_repeated_twice_but_covered_twice_once(method):
    line = np.column_stack([np.zeros(51), np.arange(51) * 2.0])
    xy = np.concatenate([line, line[::-1] + [0.0, 0.0], line])
    lifted = np.zeros(len(xy), dtype=bool)
    lifted[[50, 101]] = True
    covered = coverage(trail_of(xy, lifted=lifted), tool(8.0), method=method)
    assert covered.covered_m2 == pytest.approx(800, abs=1e-3)
    assert covered.twice_m2 == pytest.approx(800, abs=1e-3)
    assert covered.repeat_m2 == pytest.approx(1600, abs=1e-3)


@BOTH
def test_skipped_ground_is_the_field_less_what_was_covered(method):
    trail = passes_trail(spacing_m=10.0)
    covered = coverage(trail, tool(9.0), square(100.0, hole_m=20.0), method=method)
    # 400 m² hole in the middle: passes 5 and 6 (x 40.5-49.5 and 50.5-59.5) cross it for 20 m
    in_hole = 2 * 9.0 * 20.0
    inside = 9_000 - in_hole
    assert covered.skipped_m2 == pytest.approx(10_000 - 400 - inside, abs=1e-3)
    assert covered.outside_m2 == pytest.approx(in_hole, abs=1e-3)
    assert set(covered.bounds_m2) == {"covered", "twice", "repeat", "skipped"}


@BOTH
def test_a_full_circle_covers_its_ring(method):
    angle = np.linspace(0, 2 * math.pi, 2001)
    radius, width = 60.0, 16.0
    xy = radius * np.column_stack([np.sin(angle), np.cos(angle)])
    ring = 2 * math.pi * radius * width
    covered = coverage(trail_of(xy), tool(width), method=method)
    # the chord at either end of the log is the only difference from the closed ring
    assert covered.covered_m2 == pytest.approx(ring, rel=1e-3)
    flat = coverage(trail_of(xy), tool(width), ends="flat")
    assert flat.covered_m2 < ring * 0.985  # rectangles of their own leave wedges


@BOTH
def test_sections_shut_off_leave_their_ground_out(method):
    xy = np.column_stack([np.zeros(51), np.arange(51) * 2.0])
    sections = np.ones((51, 4), dtype=bool)
    sections[10:20, 0] = False
    sections[30:35, 1:3] = False
    covered = coverage(trail_of(xy, sections=sections), tool(16.0, 4), method=method)
    assert covered.covered_m2 == pytest.approx(16 * 100 - 10 * 2 * 4 - 5 * 2 * 8, abs=1e-3)
    assert covered.switching_m2 == pytest.approx(2 * (2 * 4) + 2 * (2 * 8))
    assert covered.repeat_m2 == pytest.approx(0, abs=1e-3)


def test_the_left_section_is_on_the_left_of_the_way():
    xy = np.column_stack([np.zeros(51), np.arange(51) * 2.0])  # northwards: left is west, negative x
    sections = np.zeros((51, 2), dtype=bool)
    sections[:, 0] = True
    west = square(100.0, x_m=-100.0)
    covered = coverage(trail_of(xy, sections=sections), tool(10.0, 2), west)
    assert covered.outside_m2 == pytest.approx(0, abs=1e-3)
    assert covered.covered_m2 == pytest.approx(500, abs=1e-3)


def test_reversing_keeps_left_on_the_left():
    north = np.column_stack([np.zeros(31), np.arange(31) * 2.0])
    back = north[-2:14:-1] + [0.0, 0.0]
    xy = np.concatenate([north, back])
    sections = np.zeros((len(xy), 2), dtype=bool)
    sections[:, 0] = True
    covered = coverage(trail_of(xy, sections=sections), tool(10.0, 2), square(200.0, x_m=-200.0, y_m=-50.0))
    assert covered.outside_m2 == pytest.approx(0, abs=1e-3)
    assert covered.twice_m2 == pytest.approx(5 * 30, abs=1e-3)


def test_the_openers_follow_the_antenna():
    trail = passes_trail(passes=1)
    rear = coverage(trail, tool(10.0, antenna_ahead_m=8.0), square(92.0, y_m=0.0))
    front = coverage(trail, tool(10.0), square(92.0, y_m=0.0))
    assert front.outside_m2 == pytest.approx(8 * 10, abs=1e-3)
    assert rear.outside_m2 == pytest.approx(8 * 10, abs=1e-3)  # the same length, begun eight metres further back
    assert rear.skipped_m2 == pytest.approx(front.skipped_m2, abs=1e-3)


def test_a_gap_in_the_rows_is_not_driven_over():
    xy = np.column_stack([np.zeros(101), np.arange(101) * 2.0])
    whole = trail_of(xy)
    keep = np.r_[0:40, 60:101]
    holed = trail_of(xy[keep])
    holed = type(holed)(frame=holed.frame, t_ms=whole.t_ms[keep], xy_m=xy[keep])
    covered = coverage(holed, tool(10.0))
    assert covered.covered_m2 == pytest.approx((39 + 40) * 2 * 10, abs=1e-3)
    assert covered.gaps == 1


def test_standing_with_the_openers_down_does_not_paint_a_star():
    rng = np.random.default_rng(5)
    xy = np.column_stack([np.zeros(51), np.arange(51) * 2.0])
    stand = xy[25] + rng.normal(0, 0.02, (600, 2))
    covered = coverage(trail_of(np.concatenate([xy[:26], stand, xy[26:]])), tool(16.0))
    assert covered.covered_m2 == pytest.approx(1600, rel=2e-3)
    assert covered.repeat_m2 < 10


def test_noise_of_two_centimetres_at_five_a_second_leaves_hardly_any_repeat():
    rng = np.random.default_rng(6)
    y = np.arange(0, 400, 0.4)
    xy = np.column_stack([np.zeros(y.size), y]) + rng.normal(0, 0.02, (y.size, 2))
    covered = coverage(trail_of(xy, dt_s=0.2), tool(16.0))
    assert covered.covered_m2 == pytest.approx(16 * 399.6, rel=2e-3)
    assert covered.repeat_m2 < 0.005 * covered.covered_m2


def test_a_turn_tighter_than_half_the_tool_is_still_counted_right():
    angle = np.linspace(0, math.pi, 60)
    xy = 5.0 * np.column_stack([1 - np.cos(angle), np.sin(angle)])
    shapes = coverage(trail_of(xy), tool(16.0), method="shapes")
    outlines = coverage(trail_of(xy), tool(16.0), method="outlines")
    assert outlines.covered_m2 == pytest.approx(shapes.covered_m2, rel=1e-7)
    assert outlines.twice_m2 == pytest.approx(shapes.twice_m2, abs=1e-3)
    assert shapes.twice_m2 > 1.0


def test_a_boundary_in_another_frame_is_brought_over():
    near = square(100.0)
    moved = type(near)(**{f: getattr(near, f) for f in near.__slots__} | {"frame": Frame(lon_deg=-105.001, lat_deg=51.0)})
    covered = coverage(passes_trail(), tool(10.0), moved)
    assert covered.skipped_m2 == pytest.approx(100 * 70.2, rel=0.01)  # 0.001 degrees of longitude at 51 north is 70.2 m


def test_a_boundary_of_another_place_is_refused():
    near = square(100.0)
    far = type(near)(**{f: getattr(near, f) for f in near.__slots__} | {"frame": Frame(lon_deg=-100.0, lat_deg=51.0)})
    with pytest.raises(GeometryError, match="km from the trail"):
        coverage(passes_trail(), tool(10.0), far)


def test_without_a_width_nothing_is_guessed():
    with pytest.raises(MissingError, match="width is not known"):
        coverage(passes_trail(), Outfit(key="o", name="o"))


@pytest.mark.parametrize("wrong", [{"method": "fast"}, {"ends": "round"}, {"gap_s": 0.0}, {"width_m": -1.0}, {"fastest_m_s": -2.0}])
def test_options_out_of_range_are_named(wrong):
    with pytest.raises(RangeError):
        coverage(passes_trail(), tool(10.0), **wrong)


def test_a_trail_without_work_covers_nothing():
    trail = passes_trail()
    idle = type(trail)(frame=trail.frame, t_ms=trail.t_ms, xy_m=trail.xy_m, lifted=np.ones(trail.n, dtype=bool))
    covered = coverage(idle, tool(10.0), square(100.0))
    assert covered.covered_m2 == 0
    assert covered.skipped_m2 == pytest.approx(10_000)
    assert covered.overlap is None


def test_short_logs_never_load_the_compiler():
    code = "import sys; from made_trails import *; from evenstand.trail import coverage, trail_facts; t = passes_trail(); o = tool(10.0); coverage(t, o, square(100.0)); trail_facts(t, o); assert 'numba' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parents[1])
