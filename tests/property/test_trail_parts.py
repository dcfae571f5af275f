"""Parts of a trail on random fields: they add up, and each is what plain Shapely says within the cells its outlines cross."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from benchmarks.bounds import Field, field
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand.model import Boundary, Polygon
from evenstand.trail.covering import strip_shapes
from evenstand.trail.places import places_of, strips_at
from evenstand.trail.stepping import steps_of
from evenstand.trail.strips import strips_of

CELL_M = 0.25
FIELDS = 40


def with_rates(one: Field, seed: int) -> Field:
    """The field sown from two bins over three days, one of them giving nothing for a while."""
    rng = np.random.default_rng(seed + 9000)
    n = one.trail.n
    day = np.sort(rng.integers(0, 3, n)) * 86_400_000
    rate = np.column_stack([np.full(n, 100.0), np.where(np.arange(n) % 20 < 12, rng.uniform(40, 90, n), 0.0)])
    return replace(one, trail=replace(one.trail, t_ms=one.trail.t_ms + day, bins=("A", "B"), echoed_kg_ha=rate))


def halves(boundary: Boundary) -> list[Boundary]:
    """Two zones: the parts of the plane around the field left and right of its middle."""
    x0, y0, x1, y1 = shapely.Polygon(boundary.polygons[0].outside).bounds
    middle = (x0 + x1) / 2 + 1.234

    def box(a: float, b: float, name: str) -> Boundary:
        ring = ((a, y0 - 5), (b, y0 - 5), (b, y1 + 5), (a, y1 + 5), (a, y0 - 5))
        return replace(boundary, key=name, name=name, polygons=(Polygon(outside=ring),))

    return [box(x0 - 60, middle, "left"), box(middle, x1 + 60, "right")]


@given(st.integers(0, 10**4))
@settings(max_examples=FIELDS, deadline=None, derandomize=True)
def test_every_division_adds_up_to_the_whole(seed):
    one = with_rates(field(seed), seed)
    found = places_of(one.trail, one.outfit, one.boundary, zones=halves(one.boundary), cell_m=CELL_M)
    for parts in (found.days, found.zones, found.parts, found.passes):
        for name in ("sown_m2", "covered_m2", "twice_m2", "repeat_m2"):
            assert sum(getattr(p, name) for p in parts) == pytest.approx(getattr(found.whole, name), abs=1e-6)
        for letter in "AB":
            assert sum(p.mass_kg[letter] for p in parts) == pytest.approx(found.whole.mass_kg[letter], rel=1e-4, abs=1e-6)
        for p in parts:
            assert p.covered_m2 >= 0 and p.repeat_m2 >= 0
    assert sum(p.skipped_m2 or 0.0 for p in found.zones) == pytest.approx(found.whole.skipped_m2, abs=1e-6)
    for b in found.bins:
        assert b.mass_kg[b.name] == pytest.approx(found.whole.mass_kg[b.name], rel=1e-4, abs=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_ground_of_zones_and_days_is_what_plain_shapely_says(seed):
    one = with_rates(field(seed), seed)
    zones = halves(one.boundary)
    found = places_of(one.trail, one.outfit, one.boundary, zones=zones, cell_m=CELL_M)
    strips = strips_of(one.trail, one.outfit, steps_of(one.trail))
    union = shapely.union_all(strip_shapes(strips), grid_size=1e-7)
    ground = shapely.Polygon(one.boundary.polygons[0].outside, one.boundary.polygons[0].holes)
    # a cell can be off by no more than its area, and no more cells than the outlines cross
    edges = shapely.length(strip_shapes(strips)).sum() + ground.length
    for part, zone in zip(found.zones[:2], zones, strict=True):
        shape = shapely.Polygon(zone.polygons[0].outside)
        limit = 3 * CELL_M * (edges + shape.length)
        assert part.covered_m2 == pytest.approx(union.intersection(shape).area, abs=min(limit, 0.02 * union.area + 2))
        assert part.skipped_m2 == pytest.approx(ground.intersection(shape).difference(union).area, abs=0.02 * ground.area + 2)
    day = one.trail.t_ms // 86_400_000
    sown = shapely.Polygon()
    for part, number in zip(found.days, sorted(set(day[strips.row].tolist())), strict=True):
        mine = shapely.union_all(strip_shapes(strips_at(strips, day == number)), grid_size=1e-7)
        assert part.covered_m2 == pytest.approx(mine.difference(sown, grid_size=1e-7).area, abs=0.02 * union.area + 2)
        sown = shapely.union_all([sown, mine], grid_size=1e-7)
