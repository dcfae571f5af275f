"""Covered ground of straight, curved and headland logs: ours against the union by GEOS of run-length strips, and of one quad a step.

Both get the same node pairs (left and right edge of every strip); building them from the log is common to both and left out. The peers
are timed with the building of their polygons. The peer's union runs without a grid, its fastest form; where its answer is off, its own
union on a grid of a tenth of a micrometre, several times slower, is the referee.
"""

from __future__ import annotations

import subprocess
import sys
from functools import partial

import numpy as np
import shapely

from benchmarks.logs import curved, headland, outfit, straight
from benchmarks.timing import Result, compare
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
    """Covered ground by winding counts on tiles, one thread; twice-covered ground comes with it. [m²]"""
    from evenstand.trail.tiles import count_strips

    return case.sum_m2 - count_strips(case.left, case.right, case.start, []).repeat_m2


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


FORMS = {"ours": ours, "run-length": run_length, "quads": quads}


def peak_mb(form: str, rows: int, seed: int, log: str) -> float | None:
    """What a form adds to the memory of a process that holds the strips; None where the system does not tell. [MB]"""
    code = (
        "import ctypes; from pathlib import Path; from benchmarks.covering import FORMS, strips; "
        "read = lambda key: int(Path('/proc/self/status').read_text().split(key)[1].split()[0]); "
        f"case = strips({rows}, {seed}, {log!r}); FORMS[{form!r}](strips({WARM_ROWS}, 1)); "
        "ctypes.CDLL(None).malloc_trim(0); Path('/proc/self/clear_refs').write_text('5'); a = read('VmRSS:'); "
        f"FORMS[{form!r}](case); print((read('VmHWM:') - a) / 1024)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    return float(done.stdout) if done.returncode == 0 and done.stdout else None


def results(*, seed: int, turns: int, quick: bool) -> list[Result]:
    """coverage_straight, _curved and _headland at 100 thousand and a million rows against run-length strips, and once against quads."""
    ours(strips(WARM_ROWS, seed))  # compiled before the clock runs
    shared = "same node pairs for both, polygons of the peer built inside its time, one thread each, compilation left out"
    sizes = (100_000,) if quick else (1_000_000, 100_000)
    plan = [(log, "run-length", rows) for log in LOGS for rows in sizes] + [("straight", "quads", 100_000)]
    out = []
    for log, form, rows in plan:
        memory = (peak_mb("ours", rows, seed, log), peak_mb(form, rows, seed, log))
        note = f"{rows} rows; {shared}; ours gives ground covered twice in the same pass"
        label = "GEOS union of run-length strips" if form == "run-length" else "GEOS union of one quad a step (a weak peer, for scale)"
        make = partial(strips, rows, log=log)
        out.append(
            compare(
                f"coverage_{log}", label, make, ours, FORMS[form], seed=seed, turns=turns, tolerance=TOLERANCE, size=rows, note=note,
                referee=gridded, memory=memory,
            )
        )  # fmt: skip
    return out
