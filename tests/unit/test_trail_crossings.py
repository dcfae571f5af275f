"""Ground by the crossings of outlines: cases a hand can check, edges that lie on edges, and random strips on whole metres, counted cell by cell."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely

from evenstand.trail import crossing_arrays, crossing_loops, crossings
from evenstand.trail.crossing_loops import _left_of, _turn
from evenstand.trail.crossings import count_strips
from evenstand.trail.pieces import UNIT_M, laid_out, taken_apart

FORMS = {"compiled": crossing_loops.FORM, "arrays": crossing_arrays.FORM}


@pytest.fixture(params=FORMS, autouse=True)
def form(request, monkeypatch):
    """Every case by the loops and by the arrays."""
    monkeypatch.setattr(crossings, "_form", lambda *_: FORMS[request.param])
    return FORMS[request.param]


def strip(left, right):
    return np.asarray(left, dtype=float), np.asarray(right, dtype=float)


def box(x0, y0, x1, y1):
    """A strip driven north from (x0, y0) to (x1, y1) in steps of a metre or so."""
    y = np.linspace(y0, y1, max(2, round(y1 - y0) + 1))
    return strip(np.column_stack([np.full(y.size, x0), y]), np.column_stack([np.full(y.size, x1), y]))


def counted(*strips, rings=()):
    left, right = (np.concatenate([s[i] for s in strips]) for i in (0, 1))
    start = np.concatenate([[0], np.cumsum([s[0].shape[0] for s in strips])]).astype(np.int64)
    return count_strips(left, right, start, [np.asarray(r, dtype=float) for r in rings])


def square(x0, y0, x1, y1):
    return [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]


def test_two_strips_that_share_two_metres():
    found = counted(box(0, 0, 10, 100), box(8, 0, 18, 100))
    assert found.repeat_m2 == pytest.approx(200, abs=1e-6)
    assert found.twice_m2 == pytest.approx(200, abs=1e-6)


def test_a_strip_across_another_is_entered_and_left():
    across = strip([(-20, 40), (0, 40), (30, 40)], [(-20, 30), (0, 30), (30, 30)])
    found = counted(box(0, 0, 10, 100), across)
    assert found.repeat_m2 == pytest.approx(100, abs=1e-6)
    assert found.crossings == 4


@pytest.mark.parametrize("times", [2, 3, 7])
def test_the_same_strip_again_and_again_lies_wholly_over_itself(times):
    found = counted(*[box(3, 5, 12, 60)] * times)
    assert found.repeat_m2 == pytest.approx((times - 1) * 9 * 55, abs=1e-6)
    assert found.twice_m2 == pytest.approx(9 * 55, abs=1e-6)


@pytest.mark.parametrize(
    "other",
    [box(10, 0, 20, 100), box(0, 100, 10, 200), box(10, 100, 20, 200), box(0, -50, 4, 0), box(10, 20, 20, 30)],
    ids=["side by side", "end to end", "corner to corner", "half an end", "part of a side"],
)
def test_strips_that_only_touch_repeat_nothing(other):
    found = counted(box(0, 0, 10, 100), other)
    assert found.repeat_m2 == pytest.approx(0, abs=1e-6)
    assert found.twice_m2 == pytest.approx(0, abs=1e-6)


def test_a_strip_wholly_within_another_crosses_nothing_and_counts():
    found = counted(box(0, 0, 40, 100), box(10, 20, 20, 70))
    assert found.crossings == 0
    assert found.repeat_m2 == pytest.approx(500, abs=1e-6)


def test_skipped_ground_of_a_field_with_a_hole():
    outline, hole = square(0, 0, 60, 100), square(40, 40, 50, 60)[::-1]
    found = counted(box(0, 0, 20, 100), box(30, 0, 45, 100), rings=[outline, hole])
    # 60 x 100 less the hole of 200; sown inside: 2000 and 1500 less the 100 of the hole it covers
    assert found.skipped_m2 == pytest.approx(6000 - 200 - 2000 - 1400, abs=1e-6)


def test_a_field_nobody_reached_is_skipped_whole():
    found = counted(box(200, 0, 210, 50), rings=[square(0, 0, 30, 40)])
    assert found.skipped_m2 == pytest.approx(1200, abs=1e-6)
    covered = counted(box(-5, -5, 45, 55), rings=[square(0, 0, 30, 40)])
    assert covered.skipped_m2 == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("seed", range(40))
def test_random_strips_on_whole_metres_count_as_their_cells_do(seed):
    """Corners on corners, edges on edges, strips within strips: the counts of the cells between them are the oracle."""
    rng = np.random.default_rng(seed)
    cells = np.zeros((40, 40), dtype=int)
    strips = []
    for _ in range(int(rng.integers(2, 30))):
        x0, y0 = rng.integers(0, 30, 2)
        wide, tall = rng.integers(1, 10, 2)
        x1, y1 = x0 + wide, y0 + tall
        cells[y0:y1, x0:x1] += 1
        strips.append(box(x0, y0, x1, y1) if rng.random() < 0.5 else _east(x0, y0, x1, y1))
    field = np.zeros((40, 40), dtype=bool)
    field[5:25, 8:31] = True
    found = counted(*strips, rings=[square(8, 5, 31, 25)])
    assert found.repeat_m2 == pytest.approx(np.maximum(cells - 1, 0).sum(), abs=1e-5)
    assert found.twice_m2 == pytest.approx((cells > 1).sum(), abs=1e-5)
    assert found.skipped_m2 == pytest.approx((field & (cells == 0)).sum(), abs=1e-5)


def _east(x0, y0, x1, y1):
    x = np.linspace(x0, x1, max(2, round(x1 - x0) + 1))
    return strip(np.column_stack([x, np.full(x.size, y1)]), np.column_stack([x, np.full(x.size, y0)]))


@pytest.mark.parametrize("seed", range(30))
def test_strips_at_every_angle_through_common_points_count_as_shapely_does(seed):
    """Fans of strips through the same few points, some of them twice."""
    rng = np.random.default_rng(seed)
    hubs = rng.integers(-3, 4, (3, 2)) * 8.0
    strips, shapes = [], []
    for _ in range(14):
        a, b = hubs[rng.integers(0, 3)], rng.integers(-40, 41, 2).astype(float)
        if np.hypot(*(b - a)) < 4:
            continue
        along = (b - a) / np.hypot(*(b - a))
        off = np.array([-along[1], along[0]]) * rng.choice([2.0, 5.0])
        line = a + np.linspace(0, 1, 12)[:, None] * (b - a)
        one = strip(line + off, line - off)
        for _ in range(int(rng.integers(1, 3))):
            strips.append(one)
            shapes.append(shapely.Polygon(np.concatenate([one[1], one[0][::-1]])))
    found = counted(*strips)
    union = shapely.union_all(shapes, grid_size=1e-7).area
    assert found.repeat_m2 == pytest.approx(sum(s.area for s in shapes) - union, abs=1e-3)


@pytest.mark.parametrize("turns", [1, 3])
def test_a_strip_that_lies_over_itself_is_taken_apart(turns):
    """A ring driven round as one chain, which no steps of it may notice: once round is covered once, three times round three times."""
    angle = np.linspace(0, 2 * np.pi * turns, 90 * turns + 1)
    face = np.column_stack([np.cos(angle), np.sin(angle)])
    found = counted(strip(20 * face, 30 * face))
    one = shapely.Polygon(30 * face[:91]).difference(shapely.Polygon(20 * face[:91])).area
    assert found.repeat_m2 == pytest.approx((turns - 1) * one, abs=1e-3)


def test_a_path_that_jitters_back_and_forth_is_taken_apart_and_still_adds_up():
    rng = np.random.default_rng(5)
    y = np.cumsum(rng.normal(0.3, 0.5, 400))
    x = np.cumsum(rng.normal(0, 0.4, 400))
    steps = []
    for k in range(399):
        along = np.array([x[k + 1] - x[k], y[k + 1] - y[k]])
        off = np.array([-along[1], along[0]]) / np.hypot(*along) * 2
        pair = np.array([(x[k], y[k]), (x[k + 1], y[k + 1])])
        steps.append(strip(pair + off, pair - off))
    found = counted(*steps)
    shapes = [shapely.Polygon(np.concatenate([s[1], s[0][::-1]])) for s in steps]
    assert found.repeat_m2 == pytest.approx(sum(s.area for s in shapes) - shapely.union_all(shapes, grid_size=1e-7).area, abs=1e-3)


def test_steps_of_a_piece_that_turns_back_stand_alone(form):
    y = np.concatenate([np.arange(0, 20.0), np.arange(19.5, 14, -1.0), np.arange(15, 40.0)])
    left, right = strip(np.column_stack([np.zeros(y.size), y]), np.column_stack([np.full(y.size, 3.0), y]))
    first, last = np.array([0]), np.array([y.size - 1])
    lines = laid_out(form, left, right, first, last, [], np.array([-1.0, -1.0]), 8)
    assert lines.wild.any() and not lines.wild.all()
    begin, end = taken_apart(first, last, lines)
    assert begin[0] == 0 and end[-1] == y.size - 1
    assert (end[:-1] == begin[1:]).all()
    assert (end - begin == 1).sum() >= 8
    assert (end - begin).max() > 8


def test_sides_are_decided_exactly_where_plain_arithmetic_cannot():
    """Points a unit beside an edge of a kilometre, and points on it."""
    x, y = 1000.0, 1000.0 * 3 / 7
    y = round(y / UNIT_M) * UNIT_M
    for k in (1, 3, 5):
        middle = (x * k / 8, y * k / 8)
        assert _turn(x, y, middle[0], middle[1]) == 0.0
        assert _turn(x, y, middle[0], middle[1] + UNIT_M / 8) > 0.0
        assert _turn(x, y, middle[0] + UNIT_M / 8, middle[1]) < 0.0
    assert _left_of(0.0, 0.0, x, y, x / 2, y / 2, True) != _left_of(0.0, 0.0, x, y, x / 2, y / 2, False)
    assert _left_of(0.0, 0.0, x, y, x / 2, y / 2, True) != _left_of(x, y, 0.0, 0.0, x / 2, y / 2, True)


def test_far_apart_fields_and_one_long_step_do_not_slow_or_spoil_it():
    far = box(50_000, 80_000, 50_010, 80_100)
    long = strip([(0, 500), (0, 1500)], [(30, 500), (30, 1500)])
    found = counted(box(0, 0, 10, 100), far, long, box(20, 900, 40, 1000))
    assert found.repeat_m2 == pytest.approx(1000, abs=1e-4)
    assert found.bound_m2 < 0.01


def test_outlines_that_do_not_close_hand_over_to_the_general_library_and_say_so(form, monkeypatch):
    """It has never happened; were the count of entries ever wrong, a wrong area must not come out."""
    from evenstand.trail import coverage
    from made_trails import passes_trail, tool

    trail = passes_trail(passes=4)
    right = coverage(trail, tool(10.5), method="outlines")
    monkeypatch.setattr(crossings, "_form", lambda *_: dataclasses.replace(form, sums=lambda *_: (np.zeros(3), 2)))
    found = coverage(trail, tool(10.5), method="outlines")
    assert found.method == "shapes"
    assert found.covered_m2 == pytest.approx(right.covered_m2, rel=1e-7)
    assert any("general geometry library" in note for note in found.notes)
