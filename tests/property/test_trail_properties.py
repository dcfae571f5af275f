"""Our coverage against its slow, plain twin: the union of one polygon a step, by the general geometry library."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evenstand.model import Trail
from evenstand.trail import coverage
from evenstand.trail.stepping import limits_of, steps_of
from evenstand.trail.strips import strips_of
from made_trails import FRAME, square, tool

QUIET = settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])


@st.composite
def wandering(draw) -> tuple[Trail, int]:
    """A small log that turns, wanders, reverses, stands, jumps and switches sections."""
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    n = draw(st.integers(12, 90))
    bend = draw(st.sampled_from([0.0, 0.03, 0.2, 0.6]))
    noise = draw(st.sampled_from([0.0, 0.02]))
    heading = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, bend, n))
    step = rng.uniform(0.4, 3.0, n)
    if draw(st.booleans()):
        step[n // 2 :] *= -1  # driven back
    xy = np.cumsum(step[:, None] * np.column_stack([np.sin(heading), np.cos(heading)]), axis=0) + rng.normal(0, noise, (n, 2))
    k = draw(st.sampled_from([0, 1, 3, 6]))
    sections = None
    if k:
        sections = np.repeat(rng.random((n // 5 + 1, k)) < 0.8, 5, axis=0)[:n]
    t = np.arange(n) * 1000
    if draw(st.booleans()):
        t[n // 3 :] += 30_000
    return Trail(frame=FRAME, t_ms=t.astype(np.int64), xy_m=xy, sections=sections), k


def plain(trail: Trail, width: float, k: int) -> tuple[float, float, list]:
    """Union, area covered twice or more, and the polygons: one a step and run of sections."""
    outfit = tool(width, k)
    strips = strips_of(trail, outfit, steps_of(trail, limits=limits_of(trail)))
    polygons = []
    for a, b in zip(strips.start[:-1], strips.start[1:], strict=True):
        for i in range(a, b - 1):
            ring = [strips.right[i], strips.right[i + 1], strips.left[i + 1], strips.left[i]]
            polygons.append(shapely.make_valid(shapely.Polygon(ring)))
    # on a grid: without it the library's own union is off by square metres on strips that cross at all angles
    union = shapely.union_all(polygons, grid_size=1e-8)
    common = [shapely.intersection(p, q, grid_size=1e-8) for i, p in enumerate(polygons) for q in polygons[:i] if p.intersects(q)]
    return union.area, shapely.union_all([c for c in common if c.area > 0], grid_size=1e-8).area, polygons


@given(wandering(), st.sampled_from([3.0, 9.0, 16.0]))
@QUIET
@pytest.mark.parametrize("method", ["shapes", "outlines"])
def test_coverage_is_the_plain_union_of_one_polygon_a_step(method, case, width):
    trail, k = case
    union, twice, polygons = plain(trail, width, k)
    covered = coverage(trail, tool(width, k), method=method)
    slack = 1e-6 * max(union, 1.0)
    assert covered.covered_m2 == pytest.approx(union, abs=slack)
    assert covered.twice_m2 == pytest.approx(twice, abs=10 * slack)
    assert covered.strips_m2 == pytest.approx(sum(p.area for p in polygons), abs=slack)
    assert covered.repeat_m2 == pytest.approx(covered.strips_m2 - union, abs=2 * slack)


@given(wandering(), st.floats(-40, 40), st.floats(-40, 40), st.sampled_from([0.0, 15.0]))
@QUIET
def test_both_methods_agree_on_skipped_and_outside_ground(case, x, y, hole):
    trail, k = case
    field = square(60.0, x, y, hole)
    shapes, outlines = (coverage(trail, tool(9.0, k), field, method=m) for m in ("shapes", "outlines"))
    assert outlines.skipped_m2 == pytest.approx(shapes.skipped_m2, abs=1e-3)
    assert outlines.outside_m2 == pytest.approx(shapes.outside_m2, abs=1e-3)
    assert shapes.skipped_m2 + shapes.covered_m2 - shapes.outside_m2 == pytest.approx(3600 - hole**2, abs=1e-3)


@given(wandering(), st.floats(0, 6.28), st.floats(-5000, 5000))
@QUIET
def test_turning_and_moving_the_ground_changes_nothing(case, angle, shift):
    trail, k = case
    c, s = np.cos(angle), np.sin(angle)
    moved = Trail(frame=trail.frame, t_ms=trail.t_ms, xy_m=trail.xy_m @ np.array([[c, s], [-s, c]]) + shift, sections=trail.sections)
    one, other = (coverage(t, tool(9.0, k), method="outlines") for t in (trail, moved))
    assert other.covered_m2 == pytest.approx(one.covered_m2, rel=1e-6, abs=1e-4)
    assert other.twice_m2 == pytest.approx(one.twice_m2, rel=1e-5, abs=1e-3)


@given(wandering())
@QUIET
def test_covered_twice_is_never_more_than_repeated_and_more_width_never_covers_less(case):
    trail, _ = case
    bare = Trail(frame=trail.frame, t_ms=trail.t_ms, xy_m=trail.xy_m)
    narrow, wide = coverage(bare, tool(6.0), method="outlines"), coverage(bare, tool(6.0), method="shapes")
    assert narrow.twice_m2 <= narrow.repeat_m2 + 1e-6
    assert wide.twice_m2 <= wide.covered_m2 + 1e-6
