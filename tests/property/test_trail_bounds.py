"""Bounds of covered, twice, repeat and skipped on 300 random fields; the oracle is plain Shapely, one polygon a step."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks import logs
from benchmarks.bounds import KINDS, Apart, apart, field, table

from evenstand.base.errors import RangeError
from evenstand.trail import coverage
from evenstand.trail.bounds import cell_bounds, check_cells, map_bounds
from evenstand.trail.cells import cells_of
from evenstand.trail.stepping import steps_of
from evenstand.trail.strips import strips_of
from made_trails import passes_trail, tool

FIELDS = 300


@pytest.fixture(scope="module")
def found() -> list[Apart]:
    return [a for seed in range(FIELDS) for a in apart(seed)]


def test_every_total_of_every_field_lies_within_its_bound(found):
    print("\n" + "\n".join(table(found)))  # shown by pytest -s: the median of bound over error stands in it
    outside = [a for a in found if not a.error_m2 <= a.bound_m2]
    assert not outside
    assert len({a.seed for a in found}) == FIELDS
    assert {a.kind for a in found} == set(KINDS)
    assert {a.method for a in found} == {"outlines", "shapes", "cells"}


def test_bounds_are_not_there_for_show(found):
    """A bound that is never nearly reached proves little: the error comes within a thousandth of it somewhere, and it is small."""
    outlines = [a for a in found if a.method == "outlines" and a.name != "skipped"]
    assert max(a.error_m2 / a.bound_m2 for a in outlines) > 1e-3
    area = {a.seed: a.plain_m2 for a in found if a.name == "covered"}
    assert all(a.bound_m2 <= 1e-5 * area[a.seed] for a in outlines if area[a.seed] > 100)


def test_the_fields_have_sections_holes_gaps_and_ground_sown_twice(found):
    some = [field(seed) for seed in range(60)]
    assert any(f.trail.sections is not None for f in some) and any(f.trail.sections is None for f in some)
    assert any(f.boundary.polygons[0].holes for f in some)
    assert {f.outfit.width_m for f in some} == {1.2, 4.0, 9.0, 16.3, 24.0}
    assert any(not steps_of(f.trail).whole.all() for f in some if f.kind == "lost fixes")
    assert sum(a.plain_m2 > 1 for a in found if a.name == "twice" and a.method == "outlines") > FIELDS / 2


@pytest.mark.parametrize("log", ["straight", "curved", "headland"])
@pytest.mark.parametrize("seed", [1, 2])
def test_cells_and_outlines_agree_on_a_log_and_check_themselves(log, seed):
    trail = getattr(logs, log)(20_000, seed)
    covered = coverage(trail, logs.outfit(), method="outlines", check=True)
    check = covered.check
    assert check is not None
    assert check.agree and check.usual
    limit = (1e-5 if log == "straight" else 1e-4) * covered.covered_m2
    assert abs(check.apart_m2["covered"]) <= limit
    assert covered.bounds_m2["covered"] <= limit
    for name, proven in check.proven_m2.items():
        assert proven is not None
        assert abs(check.apart_m2[name]) <= proven
        assert check.likely_m2[name] < proven


@pytest.mark.parametrize("change", ["fewer", "shifted"])
def test_the_check_can_fail(change):
    """Totals that do not belong to the strips are told apart."""
    trail = passes_trail(passes=6)
    strips = strips_of(trail, tool(10.5), steps_of(trail))
    right = coverage(trail, tool(10.5))
    totals = {"covered": right.covered_m2, "twice": right.twice_m2, "repeat": right.repeat_m2}
    assert check_cells(strips, totals, right.bounds_m2).agree
    wrong = {**totals, "covered": totals["covered"] * (0.9 if change == "fewer" else 1.01)}
    assert not check_cells(strips, wrong, right.bounds_m2).usual
    if change == "fewer":
        assert not check_cells(strips, wrong, right.bounds_m2).agree


def test_the_proven_bound_of_one_strip_is_the_cells_its_outline_crosses():
    """100 m x 10 m upright on cells of 1 m whose lines it follows: every cell is in or out, and only half of the outline's can be off."""
    trail = passes_trail(passes=1)
    strips = strips_of(trail, tool(10.0), steps_of(trail))
    cells = cells_of(strips, cell_m=1.0, keep=True, upright=True).map
    assert cells is not None
    found = map_bounds(strips, cells)
    outline = 2 * (100 + 10)
    assert outline / 2 <= found.cells["covered"] <= 3 * outline
    assert found.proven_m2["covered"] <= found.cells["covered"]
    assert found.likely_m2["covered"] == pytest.approx(np.sqrt(found.cells["covered"] / 12))
    assert int((cells.count == 1).sum()) == 1000


def test_a_map_of_other_strips_is_refused():
    trail = passes_trail(passes=2)
    small = cells_of(strips_of(trail, tool(4.0), steps_of(trail)), keep=True).map
    with pytest.raises(RangeError, match="beyond the map"):
        map_bounds(strips_of(trail, tool(10.0), steps_of(trail)), small)


@pytest.mark.parametrize("seed", range(0, 60, 4))
@pytest.mark.parametrize("cell_m", [0.05, 0.25])
def test_block_by_block_is_the_same_as_all_at_once(seed, cell_m):
    one = field(seed)
    strips = strips_of(one.trail, one.outfit, steps_of(one.trail))
    whole = cells_of(strips, cell_m=cell_m, keep=True)
    assert whole.map is not None
    assert cell_bounds(strips, cell_m=cell_m) == map_bounds(strips, whole.map)
    assert cell_bounds(strips, cell_m=cell_m).totals_m2["repeat"] == pytest.approx(whole.repeat_m2)


def test_a_cell_sown_hundreds_of_times_is_counted_as_many_and_says_so():
    line = np.column_stack([np.zeros(6), np.arange(6) * 2.0])
    xy = np.concatenate([line if k % 2 == 0 else line[::-1] for k in range(300)])
    from made_trails import trail_of

    lifted = np.zeros(len(xy), dtype=bool)
    lifted[5::6] = True
    trail = trail_of(xy, lifted=lifted)
    covered = coverage(trail, tool(3.0), method="outlines", check=True)
    assert covered.covered_m2 == pytest.approx(30, abs=0.01)
    assert covered.check is not None
    assert covered.check.proven_m2["repeat"] is None
    assert covered.check.cells_m2["covered"] == pytest.approx(30, abs=2)
    assert "255" in covered.check.notes[0]
