"""Covered ground of straight, curved and headland logs: ours against the union by GEOS of run-length strips, and of one quad a step.

Both get the same node pairs (left and right edge of every strip); building them from the log is common to both and left out. The peers
are timed with the building of their polygons. The peer is the quickest of two forms of the union, tried on the first input. It runs without
a grid, its fastest way; where its answer is off, its own union on a grid of a tenth of a micrometre, several times slower, is the referee.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import shapely

from benchmarks.logs import curved, headland, outfit, straight
from benchmarks.timing import Result, compare, first_call_s, peak_of_call_mb, timed
from evenstand.trail.covering import strip_shapes
from evenstand.trail.stepping import steps_of
from evenstand.trail.strips import Strips, strips_of

TOLERANCE = 1e-6
WARM_ROWS = 3_000


LOGS = {"straight": straight, "curved": curved, "headland": headland}


def strips(rows: int, seed: int, log: str = "straight") -> Strips:
    """Strips of a log."""
    trail = LOGS[log](rows, seed)
    return strips_of(trail, outfit(), steps_of(trail))


def ours(case: Strips) -> float:
    """Covered ground by the crossings of outlines, one thread; twice-covered ground comes with it. By loops if they are loaded. [m²]"""
    from evenstand.trail.crossings import count_strips

    return case.sum_m2 - count_strips(case.left, case.right, case.start, []).repeat_m2


def loops(case: Strips) -> float:
    """The same by the compiled loops, which are loaded for it. [m²]"""
    from evenstand.trail.crossings import count_strips

    return case.sum_m2 - count_strips(case.left, case.right, case.start, [], way="compiled").repeat_m2


def arrays(case: Strips) -> float:
    """The same by numpy on whole arrays. [m²]"""
    from evenstand.trail.crossings import count_strips

    return case.sum_m2 - count_strips(case.left, case.right, case.start, [], way="arrays").repeat_m2


def run_length(case: Strips) -> float:
    """Union of one polygon for every stretch with the same sections on. [m²]"""
    return float(shapely.union_all(strip_shapes(case)).area)


def quads(case: Strips) -> float:
    """Union of one polygon for every step. [m²]"""
    inner = np.ones(case.left.shape[0] - 1, dtype=np.bool_)
    inner[case.start[1:-1] - 1] = False
    i = np.flatnonzero(inner)
    ring = np.stack([case.right[i], case.right[i + 1], case.left[i + 1], case.left[i], case.right[i]], axis=1)
    return float(shapely.union_all(shapely.polygons(ring)).area)


def gridded(case: Strips) -> float:
    """The same union on a grid. [m²]"""
    return float(shapely.union_all(strip_shapes(case), grid_size=1e-7).area)


def disjoint(case: Strips) -> float:
    """The same polygons, those that do not touch put together before the union. [m²]"""
    return float(shapely.disjoint_subset_union_all(strip_shapes(case)).area)


def run_length_twice(case: Strips) -> float:
    """Union of run-length strips, and the union of what pairs of them have in common; the area of the latter. [m²]"""
    shapes = strip_shapes(case)
    shapely.union_all(shapes)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    common = shapely.get_parts(shapely.get_parts(shapely.intersection(shapes[one[one < other]], shapes[other[one < other]])))
    return float(shapely.union_all(common[shapely.get_dimensions(common) == 2]).area)


FORMS = {"ours": ours, "loops": loops, "run-length": run_length, "disjoint": disjoint, "quads": quads}
LABELS = {
    "run-length": "GEOS union of run-length strips",
    "disjoint": "GEOS union of run-length strips by disjoint subsets",
    "quads": "GEOS union of one quad a step (a weak peer, for scale)",
}


def quickest(case: Strips) -> str:
    """The quickest form of the union on a case, each tried once."""
    return min(("run-length", "disjoint"), key=lambda form: timed(lambda: FORMS[form](case))[0])


def results(*, seed: int, turns: int, quick: bool) -> list[Result]:
    """coverage_straight, _curved and _headland at 100 thousand and a million rows against run-length strips, and once against quads."""
    loops(strips(WARM_ROWS, seed))  # loaded before the clock runs, as in a process that has counted many logs
    shared = "same node pairs for both, polygons of the peer built inside its time, one thread each, compilation left out"
    sizes = (100_000,) if quick else (1_000_000, 100_000)
    plan = [(log, rows) for log in LOGS for rows in sizes]
    out = []
    for log, rows in plan:
        form = quickest(strips(rows, seed, log))
        out.append(_compared(log, rows, form, seed, turns, f"{rows} rows; {shared}; {_twice_note(log, seed)}"))
    out.append(_compared("straight", 100_000, "quads", seed, turns, f"100000 rows; {shared}"))
    return out


def _compared(log: str, rows: int, form: str, seed: int, turns: int, note: str) -> Result:
    ready = f"from benchmarks.covering import FORMS, strips; case = strips({rows}, {seed}, {log!r})"
    warm = {f: f"{ready}; FORMS[{first!r}](strips({WARM_ROWS}, 1))" for f, first in (("ours", "loops"), (form, form))}
    calls = ("FORMS['ours'](case)", f"FORMS[{form!r}](case)")
    memory = (peak_of_call_mb(warm["ours"], calls[0]), peak_of_call_mb(warm[form], calls[1]))
    cold = (first_call_s(ready, calls[0]), first_call_s(ready, calls[1]))
    return compare(
        f"coverage_{log}", LABELS[form], partial(strips, rows, log=log), ours, FORMS[form], seed=seed, turns=turns, tolerance=TOLERANCE,
        size=rows, note=note, referee=gridded, memory=memory, cold=cold,
    )  # fmt: skip


def _twice_note(log: str, seed: int) -> str:
    """Ours gives ground covered twice in the same pass; what that costs the peer, once, on 100 thousand rows."""
    case = strips(100_000, seed, log)
    own, both, plain = (timed(lambda f=f: f(case))[0] for f in (ours, run_length_twice, arrays))
    alone = f"a process that has not loaded the loops uses arrays, {plain / own:.0f} times as long"
    peer = f"GEOS giving it too took {both / own:.0f} times as long on 100000 rows (once)"
    return f"{alone}; ours gives ground covered twice in the same pass; {peer}"
