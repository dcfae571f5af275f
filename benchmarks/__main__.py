"""`python -m benchmarks --seed 7`: heavy parts against general-purpose libraries; writes bench-out/results.json.

Ours and the peer take turns on fresh seeded inputs, in one process, single-threaded; equal results are the gate. The shipped path chooses
by length: shapely below 150,000 steps, our tile kernel above.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from evenstand.model import Frame, Outfit, Section, Trail
from evenstand.trail import coverage
from evenstand.trail.covering import strip_shapes
from evenstand.trail.stepping import steps_of
from evenstand.trail.strips import strips_of

SAME = 1e-6
WIDTH_M, SECTIONS, STEP_M = 18.0, 12, 0.5


def straight_log(points: int, seed: int) -> tuple[Trail, Outfit]:
    """A log of straight passes at a slant, sections shut at wavy ends, 0.3 m nominal overlap, 1.5 cm position noise, turns with all off."""
    rng = np.random.default_rng(seed)
    section = WIDTH_M / SECTIONS
    middle = (np.arange(SECTIONS) + 0.5) * section - WIDTH_M / 2
    length = float(np.sqrt(points * STEP_M * WIDTH_M * 0.86))
    paths: list[np.ndarray] = []
    states: list[np.ndarray] = []
    made, k, across = 0, 0, WIDTH_M / 2
    while made < points:
        along = np.arange(-60.0, length + 110.0, STEP_M)
        x = across + rng.normal(0, 0.08) + 0.05 * np.sin(along / 35 + k) + rng.normal(0, 0.015, along.size)
        y = along + rng.normal(0, 0.015, along.size)
        place = x[:, None] + middle
        on = (y[:, None] >= 40 * np.sin(place / 170)) & (y[:, None] <= length + 25 * np.sin(place / 90))
        radius = (WIDTH_M - 0.3) / 2
        bend = np.linspace(0, np.pi, max(2, int(np.pi * radius / STEP_M)))
        turn = np.column_stack([across + radius - radius * np.cos(bend), np.zeros(bend.size)])
        if k % 2:
            x, y, on = x[::-1], y[::-1], on[::-1, ::-1]
        turn[:, 1] = y[-1] + (-1 if k % 2 else 1) * radius * np.sin(bend)
        paths += [np.column_stack([x, y]), turn]
        states += [on, np.zeros((bend.size, SECTIONS), dtype=bool)]
        made += x.size + bend.size
        across += WIDTH_M - 0.3
        k += 1
    slant = np.radians(7.0)
    turned = np.concatenate(paths)[:points] @ np.array([[np.cos(slant), np.sin(slant)], [-np.sin(slant), np.cos(slant)]])
    trail = Trail(
        frame=Frame(lon_deg=-105.0, lat_deg=51.0),
        t_ms=(np.arange(points) * 200).astype(np.int64),
        xy_m=turned,
        sections=np.concatenate(states)[:points],
    )
    sections = tuple(
        Section(number=i + 1, left_m=i * section - WIDTH_M / 2, right_m=(i + 1) * section - WIDTH_M / 2) for i in range(SECTIONS)
    )
    return trail, Outfit(key="bench", name="bench", rows=60, row_spacing_m=0.3, sections=sections)


def geos_run_length(trail: Trail, outfit: Outfit) -> float:
    """The peer: one polygon for each stretch of constant sections, then one union. Only the covered area. [m²]"""
    import shapely

    strips = strips_of(trail, outfit, steps_of(trail))
    return float(shapely.union_all(strip_shapes(strips), grid_size=1e-7).area)


def geos_quads(trail: Trail, outfit: Outfit) -> float:
    """The plain peer: one polygon a step and section run, then one union. [m²]"""
    import shapely

    strips = strips_of(trail, outfit, steps_of(trail))
    inner = np.ones(strips.left.shape[0] - 1, dtype=bool)
    inner[strips.start[1:-1] - 1] = False
    quads = np.stack([strips.right[:-1], strips.right[1:], strips.left[1:], strips.left[:-1], strips.right[:-1]], axis=1)[inner]
    return float(shapely.union_all(shapely.polygons(quads), grid_size=1e-7).area)


def tiles(trail: Trail, outfit: Outfit) -> float:
    """Ours: the tile kernel; covered, twice and bounds in the same time. [m²]"""
    return coverage(trail, outfit, method="tiles").covered_m2


def timed(work: Callable[[], float]) -> tuple[float, float]:
    """Seconds and the result."""
    began = time.perf_counter()
    value = work()
    return time.perf_counter() - began, value


def compare(name: str, peer_name: str, peer: Callable[..., float], points: int, seed: int, repeats: int) -> dict[str, Any]:
    """One row of the results; ratio is peer over ours."""
    ours_s, peer_s, worst_gap = [], [], 0.0
    for i in range(repeats):
        trail, outfit = straight_log(points, seed * 1000 + i)
        pairs = {}
        for who in ("ours", "peer") if i % 2 == 0 else ("peer", "ours"):
            pairs[who] = timed(lambda w=who, t=trail, o=outfit: tiles(t, o) if w == "ours" else peer(t, o))
        ours_s.append(pairs["ours"][0])
        peer_s.append(pairs["peer"][0])
        worst_gap = max(worst_gap, abs(pairs["ours"][1] / pairs["peer"][1] - 1))
    ratios = [p / o for o, p in zip(ours_s, peer_s, strict=True)]
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "name": name,
        "peer": peer_name,
        "ours_s": statistics.median(ours_s),
        "peer_s": statistics.median(peer_s),
        "ratio": statistics.median(ratios),
        "ratio_min": min(ratios),
        "same_result": worst_gap <= SAME,
        "note": f"{points} points, {repeats} fresh logs, largest difference {worst_gap:.1e}, peak memory so far {memory:.0f} MB",
    }


def main(arguments: Sequence[str] | None = None) -> int:
    """Run, print, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--repeats", type=int, default=7)
    parser.add_argument("--large", action="store_true", help="a million points too (some minutes)")
    parser.add_argument("--out", type=Path, default=Path("bench-out"))
    given = parser.parse_args(arguments)
    cold, _ = timed(lambda: tiles(*straight_log(20_000, 1)))  # compiles, or loads what was compiled
    print(f"cold start of the kernel, once: {cold:.2f} s")
    rows = [
        compare("coverage_straight", "GEOS union of run-length strips", geos_run_length, 100_000, given.seed, given.repeats),
        compare("coverage_straight", "GEOS union of one quad a step", geos_quads, 30_000, given.seed, 3),
    ]
    if given.large:
        rows.append(compare("coverage_straight", "GEOS union of run-length strips", geos_run_length, 1_000_000, given.seed, given.repeats))
    given.out.mkdir(parents=True, exist_ok=True)
    (given.out / "results.json").write_text(json.dumps(rows, indent=2) + "\n", encoding="utf-8")
    for row in rows:
        same = "same result" if row["same_result"] else "RESULTS DIFFER"
        print(f"{row['name']}: {row['ratio']:.2f} x (worst {row['ratio_min']:.2f}) against {row['peer']}, {same}; {row['note']}")
    return 0 if all(row["same_result"] for row in rows) else 1


if __name__ == "__main__":
    raise SystemExit(main())
