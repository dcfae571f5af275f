"""Ground and kilograms by day, zone, part, pass, bin and product add up; who sowed first; dose where passes repeat and in turns."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from evenstand.base.errors import RangeError
from evenstand.machine import turn_dose
from evenstand.model import Boundary, Trail
from evenstand.trail import coverage
from evenstand.trail.days import days_of, zone_of
from evenstand.trail.doses import turns_of
from evenstand.trail.places import places_of, who_sowed
from evenstand.trail.stepping import steps_of
from made_trails import FRAME, passes_trail, square, tool, trail_of


def box(name: str, x0: float, y0: float, x1: float, y1: float) -> Boundary:
    from evenstand.model import Polygon

    ring = ((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0))
    area = (x1 - x0) * (y1 - y0)
    return Boundary(key=name, name=name, frame=FRAME, polygons=(Polygon(outside=ring),), area_m2=area, geodesic_m2=area)


def two_days(spacing_m: float = 8.0) -> Trail:
    """Six passes of a 10 m tool, the last three a day later; bin A gives 100, B gives 50 on the first half of the passes only."""
    trail = passes_trail(spacing_m=spacing_m, passes=6)
    late = np.arange(trail.n) >= trail.n // 2
    t = 1_800_000_000_000 + trail.t_ms + np.where(late, 86_400_000, 0)
    rate = np.column_stack([np.full(trail.n, 100.0), np.where(late, 0.0, 50.0)])
    return replace(trail, t_ms=t, bins=("A", "B"), echoed_kg_ha=rate)


DIVISIONS = ("days", "zones", "parts", "passes")


@pytest.fixture(scope="module")
def places():
    zones = (box("west", -5, 0, 20, 100), box("north", 10, 50, 60, 100))
    return places_of(two_days(), tool(10.0), square(60.0, -6, 20), zones=zones, day_zone="-06:00", products={"A": "wheat", "B": "urea"})


@pytest.mark.parametrize("division", DIVISIONS)
def test_parts_add_up_to_the_whole(places, division):
    parts = getattr(places, division)
    assert len(parts) >= 2
    for name in ("sown_m2", "covered_m2", "twice_m2", "repeat_m2"):
        assert sum(getattr(p, name) for p in parts) == pytest.approx(getattr(places.whole, name), rel=1e-12)
    for letter in "AB":
        assert sum(p.mass_kg[letter] for p in parts) == pytest.approx(places.whole.mass_kg[letter], rel=1e-5)
    if division in ("zones", "parts"):
        assert sum(p.skipped_m2 or 0.0 for p in parts) == pytest.approx(places.whole.skipped_m2, rel=1e-12)
    assert all(p.repeat_m2 >= p.twice_m2 - 1e-9 for p in parts) or division in ("days", "passes")


def test_the_whole_is_what_coverage_says(places):
    covered = coverage(two_days(), tool(10.0), square(60.0, -6, 20))
    assert places.whole.covered_m2 == pytest.approx(covered.covered_m2, rel=1e-3)
    assert places.whole.repeat_m2 == pytest.approx(covered.repeat_m2, rel=3e-3)
    assert places.whole.skipped_m2 == pytest.approx(covered.skipped_m2, rel=3e-2, abs=3)


def test_a_day_has_the_ground_it_sowed_first(places):
    first, second = places.days
    assert (first.name, second.name) == ("2027-01-15", "2027-01-16")
    assert first.covered_m2 == pytest.approx(26 * 100, rel=2e-3)  # three passes of 10 m on 8 m
    assert second.covered_m2 == pytest.approx(24 * 100, rel=2e-3)  # the first of them lies 2 m over yesterday's ground
    assert second.repeat_m2 == pytest.approx(3 * 200, rel=2e-2)
    assert first.twice_m2 == pytest.approx(3 * 200, rel=2e-2)  # two seams of its own and the one sown over next day


def test_bins_and_products_have_their_own_ground_and_kilograms(places):
    a, b = places.bins
    assert a.covered_m2 == pytest.approx(places.whole.covered_m2)
    assert b.covered_m2 == pytest.approx(26 * 100, rel=2e-3)
    assert b.mass_kg == pytest.approx({"B": 50 * 0.3}, rel=2e-3)  # three passes of 0.1 ha
    assert a.mass_kg["A"] == pytest.approx(places.whole.mass_kg["A"], rel=1e-5)
    inside = 60.0 * 60.0
    assert a.skipped_m2 == pytest.approx(places.whole.skipped_m2)
    assert b.skipped_m2 == pytest.approx(inside - 26 * 60, rel=1e-2)  # from the field's 20 m on, 60 m of three passes
    wheat, urea = places.products
    assert urea.skipped_m2 == pytest.approx(b.skipped_m2)
    assert (wheat.name, urea.name) == ("wheat", "urea")
    assert sum(m for p in places.products for m in p.mass_kg.values()) == pytest.approx(sum(places.whole.mass_kg.values()), rel=1e-5)
    assert any("as the controller reported" in note for note in places.notes)


def test_the_earlier_of_two_zones_has_the_ground_they_share(places):
    west, north, elsewhere = places.zones
    assert west.covered_m2 == pytest.approx(21 * 100, rel=1e-2)
    assert north.covered_m2 == pytest.approx(29 * 50, rel=1e-2)
    assert elsewhere.name == "elsewhere"
    assert west.covered_m2 + north.covered_m2 + elsewhere.covered_m2 == pytest.approx(places.whole.covered_m2)


def test_who_sowed_a_place_first_and_when(places):
    trail = two_days()
    one, seam, again, nobody = who_sowed(places, trail, np.array([[4.0, 50.0], [8.0, 50.0], [24.0, 50.0], [300.0, 0.0]]))
    assert (one.pass_number, one.times) == (1, 1)
    assert (seam.pass_number, seam.times) == (1, 2)
    assert (again.pass_number, again.times) == (3, 2)
    assert again.t_ms < trail.t_ms[trail.n // 2]
    assert abs(trail.xy_m[one.row, 1] - 50) <= 2.1
    assert nobody is None


def test_dose_where_passes_repeat(places):
    classes = places.repeats["A"]
    assert sum(c.once_m2 + c.again_m2 for c in classes) == pytest.approx(places.whole.covered_m2)
    double = next(c for c in classes if c.low == 1.9)
    assert double.again_m2 == pytest.approx(places.whole.twice_m2)
    single = next(c for c in classes if c.low == 0.9)
    assert single.once_m2 == pytest.approx(places.whole.covered_m2 - places.whole.twice_m2)
    assert places.spots
    spot = places.spots[0]
    assert spot.times == 2
    assert spot.dose_kg_ha["A"] == pytest.approx(200, rel=1e-3)
    assert sum(s.area_m2 for s in places.spots) <= places.whole.twice_m2 + 1e-6
    assert all(a.area_m2 >= b.area_m2 for a, b in zip(places.spots[:-1], places.spots[1:], strict=True))


def test_a_field_of_two_outlines_has_two_parts_and_what_lies_outside():
    both = replace(square(40.0), polygons=(*square(40.0).polygons, *square(40.0, 0, 60).polygons))
    found = places_of(passes_trail(), tool(10.0), both, cell_m=0.2)
    assert [p.name for p in found.parts] == ["square 1", "square 2", "outside"]
    assert found.parts[0].covered_m2 == pytest.approx(1600, rel=5e-3)
    assert found.whole.skipped_m2 == pytest.approx(0, abs=1)
    assert found.parts[2].skipped_m2 is None


def test_without_rates_there_are_no_kilograms_and_it_says_so():
    found = places_of(passes_trail(), tool(10.0))
    assert found.bins == ()
    assert found.whole.mass_kg == {}
    assert found.whole.skipped_m2 is None
    assert "reports no rates" in found.notes[0]


def test_a_bin_that_gave_nothing_left_out_the_whole_field():
    trail = passes_trail()
    none = replace(trail, bins=("C",), echoed_kg_ha=np.zeros((trail.n, 1)))
    (c,) = places_of(none, tool(10.0), square(100.0), cell_m=0.5).bins
    assert (c.covered_m2, c.mass_kg) == (0.0, {"C": 0.0})
    assert c.skipped_m2 == pytest.approx(10_000, rel=1e-2)


def test_nothing_sown_is_no_ground():
    trail = passes_trail()
    found = places_of(replace(trail, lifted=np.ones(trail.n, dtype=bool)), tool(10.0), square(100))
    assert found.whole.covered_m2 == 0
    assert found.map is None
    assert who_sowed(found, trail, np.zeros((2, 2))) == [None, None]


@pytest.mark.parametrize(("zone", "hours"), [("UTC", 0.0), ("-06:00", -6.0), ("+0530", 5.5), ("+10", 10.0)])
def test_a_day_ends_at_the_told_zones_midnight(zone, hours):
    t = np.array([0, 1, 2]) * 1000 + int((24 - hours) * 3600_000) - 1000  # a second before midnight, midnight, a second after
    trail = replace(trail_of(np.zeros((3, 2))), t_ms=t.astype(np.int64))
    names, day = days_of(trail, zone)
    assert names == ("1970-01-01", "1970-01-02")
    assert day.tolist() == [0, 1, 1]


def test_a_named_zone_follows_its_summer_time():
    pytest.importorskip("zoneinfo")
    try:
        zone_of("America/Regina")
    except RangeError:
        pytest.skip("NOT RUN HERE: no time zone data on this machine")
    t = np.array([1_800_000_000_000], dtype=np.int64)
    assert days_of(replace(trail_of(np.zeros((1, 2))), t_ms=t), "America/Regina")[0] == ("2027-01-15",)


@pytest.mark.parametrize("zone", ["", "06:00", "+25:00", "Nowhere/Else", "../x"])
def test_a_zone_that_is_none_is_refused(zone):
    with pytest.raises(RangeError, match="time zone"):
        zone_of(zone)


@pytest.mark.parametrize(("radius", "width"), [(25.0, 16.3), (40.0, 12.0), (30.0, 24.0)])
def test_the_dose_at_the_ends_of_the_tool_in_a_turn(radius, width):
    straight = np.column_stack([np.full(30, radius), np.arange(-30.0, 0.0)])
    angle = np.arange(0, np.pi, 1.0 / radius)
    arc = radius * np.column_stack([np.cos(angle), np.sin(angle)])
    trail = trail_of(np.concatenate([straight, arc]))
    (turn,) = turns_of(trail, tool(width), steps_of(trail))
    inner, outer = turn_dose(radius, width)
    assert turn.radius_m == pytest.approx(radius, rel=0.05)
    assert turn.inner == pytest.approx(inner, rel=0.06)
    assert turn.outer == pytest.approx(outer, rel=0.03)
    assert turn.length_m == pytest.approx(math.pi * radius, rel=0.2)
    assert turn.first_row >= 20


def test_a_turn_tighter_than_half_the_tool_has_no_inner_dose_and_a_straight_pass_no_turn():
    angle = np.arange(0, np.pi, 0.5 / 6.0)
    arc = 6.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    trail = trail_of(arc, dt_s=0.5)
    (turn,) = turns_of(trail, tool(16.0), steps_of(trail))
    assert turn.inner is None
    assert 0.3 < turn.outer < 0.6
    one = passes_trail(passes=3)
    assert turns_of(one, tool(10.0), steps_of(one)) == ()
