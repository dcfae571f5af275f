"""Whether the fill check's bands hold: thousands of simulated fills for every way of knowing what went in.

For each way, fills on which nothing is wrong: the band of what was to be expected must hold what is said to have gone out 93 to 97 times in
100. Then fills on which the meter is off by up to 12 %: the stated interval must hold that error as often. And the running total: how many
more fills it says until an error of 2 % can be seen, against when the simulated totals really are that sharp. The simulator has spreads and
tails of its own; sizes are ours, not published.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.scoring import wilson
from evenstand.base.errors import RangeError
from evenstand.check import FillTaken, fill_check, fill_series
from evenstand.check.fills import DOUBT_Z
from evenstand.reference import fill_sd

WORLDS = ("nominal", "rough", "hostile")
BAR = (0.93, 0.97)
WAYS = {
    "truck-scale": 0.002, "tote": 0.005, "cart-scale": 0.01, "pads": 0.01, "share": 0.04, "brim": 0.04, "conveyor": 0.07, "glance": 0.10,
}  # fmt: skip
"""True spread of a fill by how it is known, as shares of it; of a glance as a share of the full bin. [-]"""
LEFT = {"light": 30.0, "weighed": 0.01, "glance": 0.10}
"""True spread of what is left: by the learned light [kg], weighed as a share, by eye as a share of the full bin."""
FINE = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """A world of fills. honest: real over stated spread [-]; tails: freedom of Student's t; dose: real over stated spread of the proven
    dose [-]; beyond: chance that a fill's overlap lies outside its band; swapped: chance that two digits of a fill change places."""

    honest: float = 1.0
    tails: float = math.inf
    dose: float = 1.0
    beyond: float = 0.0
    swapped: float = 0.0


AIRS = {
    "nominal": Air(),
    "rough": Air(honest=1.3, tails=4.0, dose=1.3, beyond=0.1),
    "hostile": Air(honest=1.3, tails=4.0, dose=1.3, beyond=0.2, swapped=0.02),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One simulated fill as it is read, and the error of the meter that was put in. [kg, ha, share]"""

    area_ha: float
    put_kg: float
    put_sd_kg: float
    before_kg: float
    before_sd_kg: float
    level_kg: float
    level_sd_kg: float
    dose_kg_ha: float
    dose_sd: float
    overlap: tuple[float, float]
    error: float


class Errors:
    """Standardised errors of a world."""

    def __init__(self, rng: np.random.Generator, air: Air) -> None:
        self.rng, self.air = rng, air

    def __call__(self) -> float:
        if math.isinf(self.air.tails):
            return float(self.rng.standard_normal())
        return float(self.rng.standard_t(self.air.tails) * math.sqrt((self.air.tails - 2) / self.air.tails))


def shot(seed: int, way: str, world: str, *, wrong: bool) -> Shot:
    """One fill."""
    air = AIRS[world]
    rng = np.random.default_rng([seed, list(WAYS).index(way), WORLDS.index(world), int(wrong)])
    noise = Errors(rng, air)
    full = float(rng.uniform(2500, 7000))
    dose_sd = float(rng.choice([0.005, 0.01, 0.02]))
    overlap = [(0.0, 0.0), (0.0, 0.03), (0.01, 0.04), (0.03, 0.08)][int(rng.integers(4))]
    twice = float(rng.uniform(*overlap)) if rng.random() >= air.beyond else overlap[1] + float(rng.uniform(0, 0.04))
    dose = float(rng.choice([5.0, 60.0, 121.0, 150.0]))
    error = float(rng.uniform(-0.12, 0.12)) if wrong else 0.0
    left_by = str(rng.choice(list(LEFT)))
    before, before_sd = _left("light" if left_by == "glance" else left_by, float(rng.uniform(0.04, 0.1)) * full, full)
    put = float(rng.uniform(0.7, 0.9)) * full - before
    left, left_sd = _left(left_by, float(rng.uniform(0.35, 0.5) if left_by == "glance" else rng.uniform(0.04, 0.2)) * full, full)
    gone = before + put - left
    area = gone / (dose * (1 + error) * (1 + twice) * (1 + dose_sd * air.dose * noise()))
    own = WAYS[way] * (full if way == "glance" else put)
    read = max(put + own * air.honest * noise(), 1.0)
    if rng.random() < air.swapped:
        text = f"{read:04.0f}"
        read = float(text[1] + text[0] + text[2:])
    return Shot(
        area_ha=area, put_kg=read, put_sd_kg=fill_sd(way, read, bin_full_kg=full),
        before_kg=max(before + before_sd * air.honest * noise(), 0.0), before_sd_kg=before_sd,
        level_kg=max(left + left_sd * air.honest * noise(), 0.0), level_sd_kg=left_sd, dose_kg_ha=dose,
        dose_sd=dose_sd, overlap=overlap, error=error,
    )  # fmt: skip


def _left(by: str, mass: float, full: float) -> tuple[float, float]:
    return mass, LEFT["light"] if by == "light" else LEFT[by] * (full if by == "glance" else mass)


def held(s: Shot) -> tuple[bool, bool, str]:
    """Whether the band held what went out, whether the interval held the error, and the state; a fill that is refused as impossible held
    neither, and is no false alarm."""
    try:
        found = fill_check(
            s.area_ha, s.put_kg, s.level_kg, s.dose_kg_ha, level_before_kg=s.before_kg, put_sd_kg=s.put_sd_kg, level_sd_kg=s.level_sd_kg,
            level_before_sd_kg=s.before_sd_kg, dose_sd=s.dose_sd, overlap=s.overlap, worth=1.0,
        )  # fmt: skip
    except RangeError:
        return False, False, "refused"
    assert found.low is not None
    assert found.high is not None
    assert found.size is not None
    # the band of what was to be expected is the same interval about the middle of the expected instead of about what was seen
    reach = (found.high - found.low) / 2
    return abs(found.size.value) <= reach, found.low <= s.error <= found.high, found.state


def way_row(way: str, world: str, fills: int, seed: int) -> dict[str, Any]:
    """One way of knowing in one world."""
    good = [held(shot(seed + k, way, world, wrong=False)) for k in range(fills)]
    bad = [held(shot(seed + k, way, world, wrong=True)) for k in range(fills)]
    band, size = sum(g[0] for g in good), sum(b[1] for b in bad)
    return {
        "fills": fills, "band": band / fills, "band_95": wilson(band, fills), "size": size / fills, "size_95": wilson(size, fills),
        "false": sum(g[2] == "does-not-hold" for g in good) / fills,
    }  # fmt: skip


def more_rows(seed: int, runs: int = 2000) -> list[dict[str, Any]]:
    """How many more fills the total says until 2 % can be seen, and the spread that simulated totals have then and one fill before."""
    rows = []
    for way, light in (("truck-scale", 60.0), ("pads", 30.0), ("share", 60.0), ("conveyor", 60.0), ("brim", 60.0)):
        rng = np.random.default_rng([seed, 5, len(rows)])
        put, sd, dose = 4000.0, WAYS[way] * 4000.0, 120.0

        def total(n: int, way: str = way, sd: float = sd, light: float = light, put: float = put, dose: float = dose) -> Any:
            one = FillTaken(area_ha=put / dose, put_kg=put, put_sd_kg=sd, level_kg=200.0, level_sd_kg=light, how=way)
            return fill_series([one] * n, dose, level_before_kg=200.0, level_before_sd_kg=light, dose_sd=0.003, overlap=(0.0, 0.0))

        def spread(n: int, way: str = way, sd: float = sd, light: float = light, put: float = put, rng: np.random.Generator = rng) -> float:
            shared = sd * rng.standard_normal(runs) * n if way == "brim" else sd * rng.standard_normal((runs, n)).sum(axis=1)
            ends = light * (rng.standard_normal(runs) - rng.standard_normal(runs))
            return float(((shared + ends) / (n * put) + 0.003 * rng.standard_normal(runs)).std())

        more = total(1).more_fills
        rows.append(
            {
                "way": way, "more": more, "sd_then": None if more is None else spread(1 + more),
                "sd_before": None if not more else spread(more), "goal": FINE / DOUBT_Z,
                "sd_after_40": spread(40) if more is None else None,
            }
        )  # fmt: skip
    return rows


def text_of(result: dict[str, Any]) -> str:
    """The tables as text."""
    lines = ["how often the fill check's 95 % bands held: what went out where nothing was wrong / the error that was put in"]
    lines.append(f"{'known by':14}" + "".join(f"{w:>44}" for w in result["worlds"]))
    for way in WAYS:
        cells = []
        for world, rows in result["worlds"].items():
            r = rows[way]
            (a, b), (c, d) = r["band_95"], r["size_95"]
            ok = b >= BAR[0] and a <= BAR[1] and d >= BAR[0] and c <= BAR[1]
            mark = "" if world != "nominal" else (" ok" if ok else " OUT")
            cells.append(f"{100 * r['band']:.1f} ({100 * a:.1f}-{100 * b:.1f}) / {100 * r['size']:.1f} ({100 * c:.1f}-{100 * d:.1f}){mark}")
        lines.append(f"{way:14}" + "".join(f"{c:>44}" for c in cells))
    lines.append("\nmore fills until 2 % can be seen, said after one; spread of simulated totals then, and one fill before (goal: 1 %)")
    for r in result["more"]:
        if r["more"] is None:
            lines.append(f"{r['way']:14} never by fills alone; after 40 the spread is still {100 * r['sd_after_40']:.2f} %")
        else:
            before = "-" if r["sd_before"] is None else f"{100 * r['sd_before']:.2f} %"
            lines.append(f"{r['way']:14}{r['more']:>4}{100 * r['sd_then']:>8.2f} %{before:>10}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run it and write the table; 1 if a band of the nominal world is surely outside the bar."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.fill_bands", description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--fills", type=int, default=2000, help="for each way of knowing and world, right and wrong ones each")
    parser.add_argument("--out", type=Path, default=Path("bench-out"))
    options = parser.parse_args(arguments)
    base, began = 3_000_000 + 100_000 * options.seed, time.perf_counter()
    worlds = {w: {way: way_row(way, w, options.fills, base) for way in WAYS} for w in WORLDS}
    result = {"worlds": worlds, "more": more_rows(options.seed), "seed": options.seed, "date": date.today().isoformat()}
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "fill_bands.json").write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    print(text_of(result))
    print(f"{time.perf_counter() - began:.1f} s; written to {options.out / 'fill_bands.json'}")
    rows = worlds["nominal"].values()
    inside = [r[k][0] <= BAR[1] and r[k][1] >= BAR[0] for r in rows for k in ("band_95", "size_95")]
    return 0 if all(inside) else 1


if __name__ == "__main__":
    raise SystemExit(main())
