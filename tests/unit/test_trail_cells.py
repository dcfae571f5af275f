"""Ground in cells against hand-made squares, the exact union, and a general rasterizer."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.logs import outfit, straight
from tests.made_trails import passes_trail, tool

from evenstand.base.errors import RangeError
from evenstand.trail.cells import cells_of
from evenstand.trail.covering import coverage
from evenstand.trail.stepping import steps_of
from evenstand.trail.strips import Strips, strips_of


def strips(rows: int = 4000, seed: int = 3) -> Strips:
    trail = straight(rows, seed)
    return strips_of(trail, outfit(), steps_of(trail))


def test_ten_passes_of_ten_metres_are_a_hectare() -> None:
    trail = passes_trail()
    got = cells_of(strips_of(trail, tool(10.0), steps_of(trail)), cell_m=0.1, rate_kg_ha=np.full(trail.n, 120.0))
    assert got.covered_m2 == pytest.approx(10_000, abs=10)
    assert got.repeat_m2 == pytest.approx(0, abs=3)
    assert got.mass_kg == pytest.approx(120, rel=1e-3)


@pytest.mark.parametrize("seed", range(6))
def test_cells_agree_with_the_exact_union(seed: int) -> None:
    trail = straight(6000, seed)
    exact = coverage(trail, outfit(), method="outlines")
    got = cells_of(strips_of(trail, outfit(), steps_of(trail)))
    assert got.covered_m2 == pytest.approx(exact.covered_m2, rel=1e-4)
    assert got.twice_m2 == pytest.approx(exact.twice_m2, abs=3e-4 * exact.covered_m2)


def test_neighbouring_steps_share_no_cell_and_lose_none() -> None:
    one = strips(1500)
    whole = cells_of(one, keep=True)
    assert whole.map is not None
    assert int(whole.map.count.sum()) * 0.25**2 == pytest.approx(whole.covered_m2 + whole.repeat_m2)
    assert whole.covered_m2 + whole.repeat_m2 == pytest.approx(one.sum_m2, rel=2e-4)


def test_the_first_to_sow_a_cell_is_the_earliest_row_over_it() -> None:
    trail = passes_trail(spacing_m=8.0, passes=4)  # 10 m wide on 8 m centres: every pass lies 2 m over the one before
    got = cells_of(strips_of(trail, tool(10.0), steps_of(trail)), cell_m=0.25, keep=True).map
    assert got is not None
    both = np.argwhere(got.count == 2)
    assert both.size
    place = got.middle_m(both[:, 0], both[:, 1])
    first = got.first[both[:, 0], both[:, 1]]
    inner = (place[:, 1] > 4) & (place[:, 1] < 96)
    overlap = np.floor((place[inner, 0] + 1) / 8).astype(int) - 1  # the pass left of each overlap sowed it first
    row = trail.xy_m[first[inner], 0]
    assert np.abs(row - (overlap + 0.5) * 8).max() < 1e-6


def test_the_dose_of_a_cell_is_the_sum_of_its_passes() -> None:
    trail = passes_trail(spacing_m=8.0, passes=4)
    rate = np.where(trail.xy_m[:, 0] < 8, 100.0, 50.0)
    got = cells_of(strips_of(trail, tool(10.0), steps_of(trail)), cell_m=0.25, rate_kg_ha=rate, keep=True).map
    assert got is not None
    assert got.dose_kg_ha is not None
    assert set(np.unique(got.dose_kg_ha[got.count == 1]).tolist()) == {50.0, 100.0}
    assert set(np.unique(got.dose_kg_ha[got.count == 2]).tolist()) == {100.0, 150.0}


def test_the_same_cells_as_a_general_rasterizer() -> None:
    features = pytest.importorskip("rasterio.features", reason="NOT RUN HERE: needs rasterio (pip install 'evenstand[raster]')")
    import rasterio
    import shapely

    one = strips(3000)
    got = cells_of(one, keep=True).map
    assert got is not None
    turn = np.column_stack([got.across, got.along])
    left, right = ((side - got.origin_m) @ turn / got.cell_m for side in (one.left, one.right))
    inner = np.ones(left.shape[0], dtype=bool)
    inner[one.start[1:] - 1] = False
    i = np.flatnonzero(inner)
    shapes = shapely.polygons(np.stack([right[i], right[i + 1], left[i + 1], left[i], right[i]], axis=1))
    want = features.rasterize(
        shapes,
        out_shape=got.count.shape,
        fill=0,
        transform=rasterio.Affine.identity(),
        merge_alg=rasterio.enums.MergeAlg.add,
        dtype="uint8",
    )
    assert int((want != got.count).sum()) <= 2  # a middle exactly on an edge is the library's choice


def test_nothing_sown_is_nothing_counted() -> None:
    trail = passes_trail(passes=1)
    none = strips_of(trail, tool(10.0), steps_of(trail))
    empty = Strips(
        left=none.left[:0], right=none.right[:0], start=np.zeros(1, dtype=np.int64), area_m2=np.zeros(0), row=none.row[:0], switching_m2=0.0,
        steps=0,
    )  # fmt: skip
    assert cells_of(empty, rate_kg_ha=np.ones(3)) == cells_of(empty, rate_kg_ha=np.ones(3))
    assert cells_of(empty).covered_m2 == 0


@pytest.mark.parametrize("cell", [0.0, -1.0, float("nan"), 11.0])
def test_a_cell_that_is_no_size_is_refused(cell: float) -> None:
    with pytest.raises(RangeError, match="cell_m"):
        cells_of(strips(800), cell_m=cell)
