"""`python -m benchmarks.bounds`: how far our totals are from plain Shapely on random fields, and how far they may be."""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass

import numpy as np

from evenstand.model import Boundary, Frame, Outfit, Polygon, Section, Trail, Widths
from evenstand.trail import coverage
from evenstand.trail.bounds import check_cells
from evenstand.trail.stepping import steps_of
from evenstand.trail.strips import Strips, strips_of

FRAME = Frame(lon_deg=-105.0, lat_deg=51.0)
KINDS = ("straight", "curved", "headland", "reversing", "lost fixes", "tangle")
WIDTHS_M = (1.2, 4.0, 9.0, 16.3, 24.0)
ORACLE_GRID_M = 1e-8
CELL_M = 0.1
NAMES = ("covered", "twice", "repeat", "skipped")


@dataclass(frozen=True)
class Field:
    """A random field: what was driven, with what, inside what; its kind in words."""

    kind: str
    trail: Trail
    outfit: Outfit
    boundary: Boundary


@dataclass(frozen=True)
class Apart:
    """One total of one field: ours by a method, plain Shapely's, and the bound. [m²]"""

    seed: int
    kind: str
    method: str
    name: str
    ours_m2: float
    plain_m2: float
    bound_m2: float

    @property
    def error_m2(self) -> float:
        return abs(self.ours_m2 - self.plain_m2)


def field(seed: int) -> Field:
    """A field of about 60 to 120 rows; every kind in turn, every width, with and without sections and a hole."""
    rng = np.random.default_rng(seed)
    kind = KINDS[seed % len(KINDS)]
    width = WIDTHS_M[int(rng.integers(len(WIDTHS_M)))]
    sections = int(rng.choice([0, 0, 2, 5, 8]))
    xy, lifted = _driven(kind, width, rng)
    n = xy.shape[0]
    on = np.repeat(rng.random((n // 4 + 1, sections)) < 0.8, 4, axis=0)[:n] if sections else None
    t = (np.arange(n) * 1000).astype(np.int64)
    if kind == "lost fixes":
        keep = np.ones(n, dtype=np.bool_)
        for _ in range(3):
            a = int(rng.integers(2, n - 8))
            keep[a : a + int(rng.integers(4, 8))] = False
        xy, lifted, t = xy[keep], lifted[keep], t[keep]
        on = on[keep] if on is not None else None
    turn = rng.uniform(0, 2 * np.pi)
    c, s = np.cos(turn), np.sin(turn)
    xy = xy @ np.array([[c, s], [-s, c]]) + rng.uniform(-3000, 3000, 2)
    trail = Trail(frame=FRAME, t_ms=t, xy_m=xy, lifted=lifted, sections=on, rows=len(t), kept=len(t))
    cuts = np.sort(rng.uniform(-width / 2, width / 2, sections - 1)) if sections else np.zeros(0)
    cuts = np.concatenate([[-width / 2], cuts, [width / 2]])
    parts = tuple(Section(number=i + 1, left_m=float(cuts[i]), right_m=float(cuts[i + 1])) for i in range(sections))
    outfit = Outfit(
        key="r", name="random", widths=Widths(rate_m=width), sections=parts, antenna_ahead_m=float(rng.choice([0.0, 0.0, 3.5, 9.0]))
    )
    return Field(kind, trail, outfit, _around(xy, rng))


def _driven(kind: str, width: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """The way, and where the openers were up. [m]"""
    spacing = width * float(rng.choice([0.9, 0.98, 1.0, 1.05]))
    if kind == "headland":
        half = rng.uniform(1.2, 2.2, 2) * width + 15
        out = [_ring(np.maximum(half - k * spacing, width / 3), width / 2, 40) for k in range(2)]
        xy = np.concatenate(out)
        lifted = np.zeros(len(xy), dtype=np.bool_)
        lifted[[39, 40, 79]] = True
    elif kind == "tangle":
        n = 60
        heading = np.cumsum(rng.normal(0, float(rng.choice([0.1, 0.4])), n))
        xy = np.cumsum(rng.uniform(0.5, 3.0, n)[:, None] * np.column_stack([np.sin(heading), np.cos(heading)]), axis=0)
        lifted = np.zeros(n, dtype=np.bool_)
    else:
        xy, lifted = _to_and_fro(kind, spacing, rng)
    return xy + rng.normal(0, float(rng.choice([0.0, 0.015, 0.05])), xy.shape), lifted


def _to_and_fro(kind: str, spacing: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Some passes with turns between; bent for a curved field, with a piece driven back for a reversing one."""
    points, up = [], []
    y = np.arange(0.0, 50.0, float(rng.uniform(1.5, 3.0)))
    bend = 0.0 if kind in ("straight", "lost fixes") else float(rng.uniform(3, 12))
    for k in range(4):
        along = y if k % 2 == 0 else y[::-1]
        if kind == "reversing" and k == 1:
            half = along.size // 2
            along = np.concatenate([along[:half], along[half - 6 : half - 1][::-1], along[half - 5 :]])
        points.append(np.column_stack([k * spacing + bend * np.sin(along / 18.0), along]))
        state = np.zeros(along.size, dtype=np.bool_)
        state[-1] = True
        up.append(state)
        angle = np.linspace(0, np.pi, 5)[1:-1]
        end = points[-1][-1]
        sign = 1 if k % 2 == 0 else -1
        points.append(np.column_stack([end[0] + spacing / 2 * (1 - np.cos(angle)), end[1] + sign * spacing / 2 * np.sin(angle)]))
        up.append(np.ones(3, dtype=np.bool_))
    return np.concatenate(points), np.concatenate(up)


def _ring(half: np.ndarray, radius: float, n: int) -> np.ndarray:
    """A round along a rectangle with corners cut round, in n points. [m]"""
    angle = np.linspace(0, 2 * np.pi, n)
    power = 2.0 / max(2.0, 8.0 - radius / 4)
    x = np.sign(np.cos(angle)) * np.abs(np.cos(angle)) ** power
    y = np.sign(np.sin(angle)) * np.abs(np.sin(angle)) ** power
    return np.column_stack([half[0] * x, half[1] * y])


def _around(xy: np.ndarray, rng: np.random.Generator) -> Boundary:
    """An outline of many sides about the way, most times with a hole in it."""
    middle, reach = xy.mean(axis=0), float(np.abs(xy - xy.mean(axis=0)).max())
    angle = (np.arange(9) + rng.uniform(0, 0.8, 9)) * 2 * np.pi / 9

    def ring(size: float, back: bool) -> tuple[tuple[float, float], ...]:
        a = angle[::-1] if back else angle
        out = [(float(middle[0] + size * np.cos(v)), float(middle[1] + size * np.sin(v))) for v in a]
        return (*out, out[0])

    holes = (ring(0.3 * reach, True),) if rng.random() < 0.7 else ()
    one = Polygon(outside=ring(1.1 * reach, False), holes=holes)
    return Boundary(key="f", name="random", frame=FRAME, polygons=(one,), area_m2=0.0, geodesic_m2=0.0)


def plain(case: Strips, boundary: Boundary) -> dict[str, float]:
    """Covered, twice, repeat and skipped by plain Shapely: one polygon a step, their union, and what pairs have in common. [m²]

    On a fine grid: without one that union is off by square metres on strips that cross at all angles.
    """
    import shapely

    inner = np.ones(case.left.shape[0], dtype=np.bool_)
    inner[case.start[1:] - 1] = False
    i = np.flatnonzero(inner)
    quads = shapely.polygons(np.stack([case.right[i], case.right[i + 1], case.left[i + 1], case.left[i], case.right[i]], axis=1))
    quads = shapely.make_valid(quads)
    union = shapely.union_all(quads, grid_size=ORACLE_GRID_M)
    tree = shapely.STRtree(quads)
    one, other = tree.query(quads, predicate="intersects")
    common = shapely.intersection(quads[one[one < other]], quads[other[one < other]], grid_size=ORACLE_GRID_M)
    twice = shapely.union_all(common[shapely.area(common) > 0], grid_size=ORACLE_GRID_M)
    ground = shapely.union_all([shapely.Polygon(p.outside, p.holes) for p in boundary.polygons])
    skipped = shapely.difference(ground, union, grid_size=ORACLE_GRID_M)
    return {
        "covered": float(union.area), "twice": float(twice.area), "repeat": float(shapely.area(quads).sum() - union.area),
        "skipped": float(skipped.area),
    }  # fmt: skip


def apart(seed: int) -> list[Apart]:
    """Every total of a field by outlines, by shapes and in cells, beside plain Shapely's."""
    one = field(seed)
    strips = strips_of(one.trail, one.outfit, steps_of(one.trail))
    want = plain(strips, one.boundary)
    out = []
    for method in ("outlines", "shapes"):
        got = coverage(one.trail, one.outfit, one.boundary, method=method)  # type: ignore[arg-type]
        ours = {"covered": got.covered_m2, "twice": got.twice_m2, "repeat": got.repeat_m2, "skipped": got.skipped_m2 or 0.0}
        out += [Apart(seed, one.kind, method, n, ours[n], want[n], got.bounds_m2[n]) for n in NAMES]
    cells = check_cells(strips, want, dict.fromkeys(NAMES, 0.0), cell_m=CELL_M)
    for n in NAMES[:3]:
        bound = cells.proven_m2[n]
        out.append(Apart(seed, one.kind, "cells", n, cells.cells_m2[n], want[n], float("inf") if bound is None else bound))
    return out


def table(found: list[Apart]) -> list[str]:
    """For each method and total: fields within the bound, largest error, median of bound over error, largest bound over area. [text]"""
    out = [f"{'':8s} {'':8s} {'within':>9s} {'worst error':>12s} {'median bound/error':>19s} {'largest bound/area':>19s}"]
    for method in ("outlines", "shapes", "cells"):
        for name in NAMES:
            rows = [a for a in found if a.method == method and a.name == name]
            if not rows:
                continue
            area = {a.seed: a.plain_m2 for a in found if a.name == "covered"}
            within = sum(a.error_m2 <= a.bound_m2 for a in rows)
            ratio = float(np.median([a.bound_m2 / a.error_m2 if a.error_m2 > 0 else np.inf for a in rows]))
            share = max(a.bound_m2 / max(area[a.seed], 1.0) for a in rows)
            worst = max(a.error_m2 for a in rows)
            out.append(f"{method:8s} {name:8s} {within:4d}/{len(rows):4d} {worst:9.1e} m² {ratio:19.1f} {share:19.1e}")
    return out


def main() -> int:
    """Print the table; 1 if any total lies outside its bound."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.bounds", description=__doc__)
    parser.add_argument("--fields", type=int, default=300, help="how many random fields")
    parser.add_argument("--seed", type=int, default=0, help="first seed")
    said = parser.parse_args()
    begin = time.perf_counter()
    found = [a for seed in range(said.seed, said.seed + said.fields) for a in apart(seed)]
    print(f"{said.fields} random fields ({', '.join(KINDS)}) against plain Shapely, {time.perf_counter() - begin:.0f} s")
    print("\n".join(table(found)))
    outside = [a for a in found if a.error_m2 > a.bound_m2]
    for a in outside[:20]:
        print(f"OUTSIDE: seed {a.seed}, {a.kind}, {a.method} {a.name}: {a.error_m2:.3e} m² apart, bound {a.bound_m2:.3e} m²")
    return 1 if outside else 0


if __name__ == "__main__":
    sys.exit(main())
