"""Totals of ground in cells of 0.25 m: ours against the general rasterizer of GDAL, on the same cells, cell for cell."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from benchmarks.covering import WARM_ROWS, strips
from benchmarks.timing import Result, compare, first_call_s, peak_of_call_mb
from evenstand.trail.cells import cells_of
from evenstand.trail.strips import Strips

CELL_M = 0.25


@dataclass(frozen=True)
class Case:
    """Strips, and their steps as polygons in the same turned grid."""

    strips: Strips
    polygons: np.ndarray
    shape: tuple[int, int]


def case_of(rows: int, seed: int, log: str = "straight") -> Case:
    """A case; the polygons of the peer are built outside its time."""
    import shapely

    one = strips(rows, seed, log)
    grid = cells_of(one, cell_m=CELL_M, keep=True).map
    assert grid is not None
    turn = np.column_stack([grid.across, grid.along])
    left, right = ((side - grid.origin_m) @ turn / CELL_M for side in (one.left, one.right))
    inner = np.ones(left.shape[0], dtype=np.bool_)
    inner[one.start[1:] - 1] = False
    i = np.flatnonzero(inner)
    ring = np.stack([right[i], right[i + 1], left[i + 1], left[i], right[i]], axis=1)
    return Case(one, shapely.polygons(ring), (int(grid.count.shape[0]), int(grid.count.shape[1])))


def ours(case: Case) -> float:
    """Ground sown, in whole cells. [m²]"""
    return cells_of(case.strips, cell_m=CELL_M).covered_m2


def gdal(case: Case) -> float:
    """The same from the rasterizer, adding one for every step over a cell. [m²]"""
    import rasterio
    from rasterio import features

    counts = features.rasterize(
        case.polygons, out_shape=case.shape, fill=0, transform=rasterio.Affine.identity(), merge_alg=rasterio.enums.MergeAlg.add,
        dtype="uint8",
    )  # fmt: skip
    return float(np.count_nonzero(counts)) * CELL_M**2


def results(*, seed: int, turns: int, quick: bool) -> list[Result]:
    """raster at 100 thousand and a million rows; nothing where rasterio is not installed."""
    try:
        import rasterio  # noqa: F401
    except ImportError:
        print("\nraster: NOT RUN, it needs rasterio (pip install 'evenstand[raster]')")
        return []
    cells_of(strips(WARM_ROWS, seed))
    out = []
    for rows in (100_000,) if quick else (1_000_000, 100_000):
        note = f"{rows} rows; cells of {CELL_M} m turned to the passes; one thread each; polygons of the peer built outside its time"
        ready = f"from benchmarks.rastering import case_of, gdal, ours; case = case_of({rows}, {seed})"
        small = f"{ready}; small = case_of({WARM_ROWS}, {seed}); ours(small); gdal(small)"
        memory = (peak_of_call_mb(small, "ours(case)"), peak_of_call_mb(small, "gdal(case)"))
        cold = (first_call_s(ready, "ours(case)"), first_call_s(ready, "gdal(case)"))
        out.append(
            compare(
                "raster", "GDAL rasterizer by rasterio, adding", partial(case_of, rows), ours, gdal, seed=seed, turns=turns,
                tolerance=1e-6, size=rows, note=note, memory=memory, cold=cold,
            )
        )  # fmt: skip
    return out
