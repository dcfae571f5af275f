"""Whether the tally of a bin can be believed: thousands of simulated seasons, and how often its 95 % intervals hold.

A season is a bin with two or three lots, some fifteen fills known in one way or another, looks by eye, by the low-level light, by
the scale, and once in a while a bin run empty. It ends somewhere between two fills; then it is asked what is left, what the meter gives,
where and when the bin runs empty, and, where a fill was left out of the record, how large it was. The simulator shares the data types
with the tally and nothing else: its factors move by another law, its fresh product settles along a straight line, its errors have other
tails in the rough world. Sizes are ours, not published.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.scoring import wilson
from evenstand.base.estimate import Est
from evenstand.tally import BinPrior, BinStep, run_out, tally_bin

WORLDS = ("nominal", "rough", "hostile")
WHAT = ("factor", "lot factors", "mass left", "light level", "run-out place", "run-out time", "missed fill")
BAR = (0.93, 0.97)


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """A world of bins. lot: spread of factors about what a catch said [-]; wander, back: step of a factor from fill to fill and the share
    of it that is lost again [-]; stretch: change without memory [-]; fresh: spread of what a fresh fill gives more [-]; light: how well
    the light repeats [kg]; honest: real over stated spread of all that is read [-]; tails: freedom of Student's t; ill: chance, each
    season, of each thing nobody knows of."""

    lot: float = 0.02
    wander: float = 0.006
    back: float = 0.2
    stretch: float = 0.006
    fresh: float = 0.008
    light: float = 10.0
    honest: float = 1.0
    tails: float = math.inf
    ill: float = 0.0


AIRS = {  # from fill to fill as in the worlds of `plain_days`: 1 % in a day in the nominal one
    "nominal": Air(),
    "rough": Air(wander=0.009, stretch=0.012, fresh=0.015, light=18.0, honest=1.3, tails=4.0),
    "hostile": Air(wander=0.009, stretch=0.012, fresh=0.015, light=18.0, honest=1.3, tails=4.0, ill=0.25),
}
WAYS: Mapping[str, tuple[float, float]] = {  # own and shared spread of a fill, as shares
    "truck-scale": (0.002, 0.0), "tote": (0.005, 0.0), "pads": (0.01, 0.0), "cart-scale": (0.01, 0.0), "brim": (0.01, 0.035),
}  # fmt: skip
ILLS = ("digits swapped in a fill", "a look read off by a whole mark", "a lot that is not the one written down")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """A simulated season and its truth, kept apart. missed_kg: of the fill that was left out, None without one."""

    steps: tuple[BinStep, ...]
    prior: BinPrior
    turns_ha: float
    pace_ha_h: Est
    way: str
    factor: float
    lots: Mapping[str, float]
    left_kg: float
    light_kg: float
    run_out_ha: float
    run_out_h: float
    missed_kg: float | None
    ills: tuple[str, ...]


def bin_season(seed: int, world: str = "nominal", *, missed: bool = False) -> Bin:
    """One season of one bin."""
    air, rng = AIRS[world], np.random.default_rng([seed, 71])

    def noise() -> float:
        if math.isinf(air.tails):
            return float(rng.standard_normal())
        return float(rng.standard_t(air.tails) * math.sqrt((air.tails - 2) / air.tails))

    full = float(rng.uniform(2500, 6000))
    way = str(rng.choice(list(WAYS)))
    own, shared = WAYS[way]
    bias = shared * noise()
    light, rest = float(rng.uniform(80, 300)), float(rng.uniform(20, 100))
    fresh = air.fresh * noise()
    usual = float(rng.uniform(0.4, 1.5))
    fills, lots = int(rng.integers(12, 22)), int(rng.integers(2, 4))
    change = sorted(rng.choice(np.arange(3, fills - 2), lots - 1, replace=False).tolist())
    ills = tuple(i for i in ILLS if rng.random() < air.ill)
    caught, true = {}, {}
    for k in range(lots):
        value = usual * math.exp(0.03 * rng.standard_normal())
        caught[f"lot {k}"] = Est(value=value, sd=0.025 * value)
        true[f"lot {k}"] = value * math.exp(math.hypot(air.lot, 0.015) * noise())
    if ILLS[2] in ills:
        true["lot 1"] *= 1.06
    steps: list[BinStep] = []
    given: dict[str, list[tuple[float, float]]] = {name: [] for name in true}
    mass, lot, wander, lost = 0.0, 0, 0.0, None
    lose = int(rng.integers(2, fills - 1)) if missed else -1

    def sow(target: float, since: float) -> tuple[float, float, float]:
        """Turns until the mass is down to a target, the factor without what is fresh or chance, and mass now."""
        chance = math.exp(air.stretch * noise())
        f = true[f"lot {lot}"] * math.exp(wander) * chance
        whole = max(mass - target, 0.0)
        parts = np.full(100, whole / 100)
        fade = np.maximum(0.0, 1.0 - (since + np.cumsum(parts)) / (0.5 * full))
        gone, turns = whole, float((parts / (f * (1 + fresh * fade))).sum())
        given[f"lot {lot}"].append((turns, gone / chance))
        return turns, f / chance, mass - gone

    for k in range(fills):
        name = f"lot {lot}"
        if k:
            wander = (1 - air.back) * wander + air.wander * noise()
            low = rng.random()
            if low < 0.6:  # down to the light, then a little on
                turns, _, mass = sow(light + air.light * noise(), 0.0)
                steps.append(BinStep(turns=turns, event="low-light", level_sd_kg=10.0, meter=name))
                turns, _, mass = sow(max(mass - rng.uniform(0, 40), rest), full)
                steps.append(BinStep(turns=turns, meter=name))
            elif low < 0.7:
                turns, _, mass = sow(rest + abs(8 * noise()), 0.0)
                steps.append(BinStep(turns=turns, event="run-empty", level_sd_kg=10.0, meter=name))
            else:
                turns, _, mass = sow(float(rng.uniform(0.06, 0.3)) * full, 0.0)
                weighed = rng.random() < 0.2
                sd = max(10.0, 0.02 * mass) if weighed else 0.1 * full
                seen = mass + sd * air.honest * noise() * (0.5 if not weighed else 1.0)
                if ILLS[1] in ills and k == fills // 2:
                    seen += 0.25 * full
                steps.append(BinStep(turns=turns, level_kg=max(seen, 0.0), level_sd_kg=sd if weighed else 0.05 * full, meter=name))
            if k in change:
                lot += 1
                wander = 0.0
        put = float(rng.uniform(0.7, 0.95)) * full - (mass if mass < 0.3 * full else 0.0)
        mass += put
        read = put * (1 - bias) - own * put * air.honest * noise()
        if ILLS[0] in ills and k == fills // 3:
            text = f"{read:04.0f}"
            read = float(text[1] + text[0] + text[2:])
        if k == lose:
            lost = put
            continue
        steps.append(BinStep(turns=0.0, put_kg=read, put_sd_kg=own * read, put_shared_kg=shared * read, meter=f"lot {lot}"))
    turns, now, mass = sow(mass - float(rng.uniform(0.1, 0.8)) * (mass - light), 0.0)
    steps.append(BinStep(turns=turns, meter=f"lot {lot}"))
    turns_ha = float(rng.uniform(60, 160))
    pace = float(rng.uniform(6, 12))
    used = mass
    wander = (1 - air.back / 4) * wander + air.wander / 2 * noise()
    ahead, _, _ = sow(rest + 8 * noise(), full * 0.9 - mass)
    ha = ahead / turns_ha
    given[f"lot {lot}"].pop()
    return Bin(
        steps=tuple(steps), prior=BinPrior(mass_kg=0.0, mass_sd_kg=5.0, factors=caught), turns_ha=turns_ha,
        pace_ha_h=Est(value=pace, sd=0.08 * pace), way=way, factor=now,
        lots={n: sum(g for _, g in v) / sum(t for t, _ in v) for n, v in given.items() if v}, left_kg=used, light_kg=light,
        run_out_ha=ha, run_out_h=ha / (pace * math.exp(0.08 * air.honest * noise())), missed_kg=lost, ills=ills,
    )  # fmt: skip


def judged(task: tuple[int, str]) -> dict[str, Any]:
    """Standardised errors of one season, by what is asked: below -1.96 or above 1.96 the interval missed; None: not asked or not said."""
    seed, world = task
    missed = seed % 4 == 0
    real = bin_season(seed, world, missed=missed)
    began = time.perf_counter()
    found = tally_bin(real.steps, real.prior, compiled=True)
    out = run_out(found, real.turns_ha, pace_ha_h=real.pace_ha_h)
    seconds = time.perf_counter() - began
    errors: dict[str, float | None] = dict.fromkeys(WHAT)
    errors["factor"] = (found.factor.value - real.factor) / found.factor.sd
    errors["mass left"] = (found.left.value - real.left_kg) / found.left.sd
    errors["light level"] = (found.light.value - real.light_kg) / found.light.sd
    errors["run-out place"] = _within(real.run_out_ha, out.ha, out.low_ha, out.high_ha)
    errors["run-out time"] = _within(real.run_out_h, out.hours, out.low_h, out.high_h)
    name = sorted(real.lots)[seed % len(real.lots)]
    mean = found.factors[name]
    errors["lot factors"] = (mean.value - real.lots[name]) / mean.sd
    fills = [t for t in found.bad_tickets if t.kind in ("fill", "unrecorded") and t.size_kg > 0]
    if real.missed_kg is not None and len(fills) == 1 == len(found.bad_tickets):
        errors["missed fill"] = (fills[0].size_kg - real.missed_kg) / fills[0].sd_kg
    ended = found.left.sd / (real.left_kg or 1.0)
    return {
        "world": world, "way": real.way, "missed": missed, "ills": bool(real.ills), "errors": errors, "alarm": bool(found.bad_tickets),
        "named": errors["missed fill"] is not None, "holds": found.test.holds, "factor_sd": found.factor.relative_sd, "left_sd": ended,
        "run_out_half_ha": None if out.high_ha is None else (out.high_ha - out.low_ha) / 2, "seconds": seconds,
    }  # fmt: skip


def _within(real: float, middle: float | None, low: float | None, high: float | None) -> float | None:
    """How far the truth lies from the middle, in shares of the side it lies on, times 1.96; at an edge that is open it is inside."""
    if middle is None or low is None:
        return None
    if real >= middle:
        return 0.0 if high is None or high <= middle else -1.96 * (real - middle) / (high - middle)
    return math.inf if low >= middle else 1.96 * (middle - real) / (middle - low)


def table(seasons: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """How often each interval held, by world; alarms on seasons with nothing wrong; how often a missed fill was named."""
    out: dict[str, Any] = {}
    for world in WORLDS:
        mine = [s for s in seasons if s["world"] == world]
        if not mine:
            continue
        rows = {}
        for what in WHAT:
            z = np.array([s["errors"][what] for s in mine if s["errors"][what] is not None])
            inside = int((np.abs(z) <= 1.96).sum())
            rows[what] = {
                "n": int(z.size), "share": inside / z.size if z.size else None, "share_95": wilson(inside, int(z.size)),
                "bias_sd": float(np.median(z)) if z.size else None,
            }  # fmt: skip
        clean = [s for s in mine if not s["missed"] and not s["ills"]]
        gone = [s for s in mine if s["missed"]]
        out[world] = {
            "seasons": len(mine), "held": rows,
            "alarms": sum(s["alarm"] for s in clean), "clean": len(clean), "missed": len(gone), "named": sum(s["named"] for s in gone),
            "factor_sd": float(np.median([s["factor_sd"] for s in mine])), "left_sd": float(np.median([s["left_sd"] for s in mine])),
            "run_out_half_ha": float(np.median([s["run_out_half_ha"] for s in mine if s["run_out_half_ha"] is not None])),
            "median_s": float(np.median([s["seconds"] for s in mine])),
        }  # fmt: skip
    return out


def text_of(result: Mapping[str, Any]) -> str:
    """The table as text; in the nominal world each row says whether it is within the bar."""
    lines = ["how often the 95 % intervals of a bin's season held"]
    lines.append(f"{'':16}" + "".join(f"{w:>30}" for w in result["worlds"]))
    for what in WHAT:
        cells = []
        for world, t in result["worlds"].items():
            c = t["held"][what]
            if c["share"] is None:
                cells.append("-")
                continue
            low, high = c["share_95"]
            mark = "" if world != "nominal" else (" ok" if low <= BAR[1] and high >= BAR[0] else " OUT")
            cells.append(f"{100 * c['share']:.1f} ({100 * low:.1f}-{100 * high:.1f}) n {c['n']}{mark}")
        lines.append(f"{what:16}" + "".join(f"{c:>30}" for c in cells))
    for world, t in result["worlds"].items():
        lines.append(
            f"{world}: {t['seasons']} seasons; alarm on {t['alarms']} of {t['clean']} with nothing wrong; missed fill named on "
            f"{t['named']} of {t['missed']}; factor known to {100 * t['factor_sd']:.2f} %, run-out to ± {t['run_out_half_ha']:.2f} ha; "
            f"{1e3 * t['median_s']:.0f} ms each"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the seasons and write the table; 1 if an interval of the nominal world is outside the bar."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.tally_seasons", description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--seasons", type=int, default=2000, help="in each world")
    parser.add_argument("--worlds", default=",".join(WORLDS))
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("bench-out"))
    options = parser.parse_args(arguments)
    base, began = 1_000_000 + 100_000 * options.seed, time.perf_counter()
    tasks = [(base + 10_000 * i + k, w) for i, w in enumerate(WORLDS) if w in options.worlds.split(",") for k in range(options.seasons)]
    with ProcessPoolExecutor(options.workers) as pool:
        seasons = list(pool.map(judged, tasks, chunksize=20))
    worlds = table(seasons)
    result = {"worlds": worlds, "seed": options.seed, "date": date.today().isoformat(), "seconds": round(time.perf_counter() - began, 1)}
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "tally_seasons.json").write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    print(text_of(result))
    print(f"{result['seconds']} s; written to {options.out / 'tally_seasons.json'}")
    rows = worlds.get("nominal", {"held": {}})["held"].values()
    return 0 if all(r["share"] is None or (r["share_95"][0] <= BAR[1] and r["share_95"][1] >= BAR[0]) for r in rows) else 1


if __name__ == "__main__":
    raise SystemExit(main())
