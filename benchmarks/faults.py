"""How well faults are found: `python -m benchmarks.faults --seed 7` prints the tables and writes bench-out/faults.json.

Simulated days of the demo farm's outfit with one fault each, clean days for false alarms, and the published 28-stream network.
Seeds start at 10,000 times the seed given: thresholds were set on seeds below 10,000.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks import finding
from benchmarks.page import write_page
from benchmarks.power import nine_in_ten
from benchmarks.scoring import SCORES, TOLD_Z, Score, named_sets, score, wilson
from benchmarks.streams import stream_table

KINDS = ("factor", "distance", "width", "fill-missed", "fill-doubled", "slip", "lid", "bridge", "run", "head")
BRIDGED_SHARE = 0.3  # a bridge stands for some third of the interval between two looks
RATIOS = (2.205, 1.121, 0.892, 0.5, 2.0, 1.25)
SETS: dict[str, dict[str, Any]] = {
    "few": {"optional": "none", "level_how": "glance"},
    "usual": {"optional": "sometimes"},
    "all": {"optional": "all", "level_how": "weighed", "fill_how": "truck-scale"},
}
JOBS = ("home-wheat", "sloughs-canola", "dogleg-pea")


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One simulated day and its score. size: as a share, in kg or a ratio; told: the signatures say it can be told."""

    kind: str
    cause: str
    size: float
    reading_set: str
    world: str
    score: Score
    told: bool
    named: tuple[str, ...]
    start_within: bool | None
    size_error_sd: float | None
    seconds: float


def drawn_fault(
    kind: str, roll: np.random.Generator, bins: dict[str, float], runs: int, heads: str, width_m: float
) -> tuple[str, str, float]:
    """(text of the fault, name of its cause, size as a share or kg); sizes uniform in 1 to 15 %, both signs. bins: full bin [kg]."""
    share = float(roll.uniform(0.01, 0.15)) * float(roll.choice([-1.0, 1.0]))
    letter = str(roll.choice(sorted(bins)))
    if kind == "factor":
        return f"factor:{letter}={100 * share:.4f}", f"factor:{letter}", share
    if kind == "lid":
        return f"lid:{letter}={-100 * (abs(share) * 2):.4f}", f"lid:{letter}", -2 * abs(share)
    if kind == "bridge":
        stopped = float(roll.uniform(0.1, 1.0))
        return f"bridge:{letter}={100 * stopped:.2f}", f"bridge:{letter}", stopped
    if kind == "distance":
        return f"distance={100 * share:.4f}", "distance", share
    if kind == "width":
        return f"width={share * width_m:.4f}", "width", share
    if kind in ("fill-missed", "fill-doubled"):
        kg = float(roll.uniform(0.25, 0.8)) * bins[letter]
        return f"{kind}:{letter}={kg:.0f}", f"{kind}:{letter}", kg
    if kind == "slip":
        ratio = float(roll.choice(RATIOS))
        return f"slip:{letter}={ratio}", f"slip:{letter}", ratio
    if kind == "run":
        number = int(roll.integers(1, runs + 1))
        return f"run={number}", f"run:{number}", 1.0
    letter = str(roll.choice(list(heads)))
    return f"head={letter}", f"head:{letter}", 1.0


def one_run(task: tuple[int, str, str, str], *, step_s: float = 1.0) -> Run:
    """Simulate, check, score. task: (seed, kind, reading set, world)."""
    from evenstand.desk import days
    from evenstand.desk.demo_farm import demo_farm
    from evenstand.simulate import simulate_day

    seed, kind, reading_set, world = task
    farm = demo_farm()
    outfit, plan = farm.outfit("A"), days.demo_plan(farm, JOBS[seed % len(JOBS)])
    full = {b.bin: b.full_kg.value for b in plan.bins if b.full_kg is not None}
    roll = np.random.default_rng([seed, KINDS.index(kind) if kind else 99])
    text, cause, size = drawn_fault(kind, roll, full, len(outfit.runs), "ABCDEFGH", outfit.width_m or 1.0) if kind else ("", "", 0.0)
    day = simulate_day(outfit, plan, seed=seed, faults=(text,) if text else (), world=world, step_s=step_s, **SETS[reading_set])
    began = time.perf_counter()
    seen: dict[str, Any] = {"readings": day.readings, "fills": day.fills, "events": day.events, "typed": day.typed, "trail": day.trail}
    kinds = days.kinds_of(farm, plan)
    findings, checked = days.day_and_check(outfit, plan, kinds=kinds, **seen)
    seconds = time.perf_counter() - began
    return Run(
        kind=kind,
        cause=cause,
        size=size,
        reading_set=reading_set,
        world=world,
        score=score(findings, cause) if kind else ("wrong" if named_sets(findings) else "silent"),
        told=_told(kind, cause, size, checked.verdict.spreads),
        named=tuple("|".join(g) for g in named_sets(findings)),
        start_within=_start_within(findings, cause, day.truth.since_s.get(cause)),
        size_error_sd=_size_error(findings, cause, real_size(day, cause, size)),
        seconds=seconds,
    )


def _told(kind: str, cause: str, size: float, spreads: Mapping[str, float]) -> bool:
    """Whether the signatures say that the fault can be told, before anything is tested."""
    if kind in ("run", "head"):
        return True
    if kind == "slip":
        return cause in spreads
    if kind == "bridge":
        size = size * BRIDGED_SHARE
    return abs(size) >= TOLD_Z * spreads.get(cause, math.inf)


def _start_within(findings: Sequence[Any], cause: str, since_s: float | None) -> bool | None:
    if since_s is None:
        return None
    mine = [f for f in findings if (cause,) in f.suspects and f.low is not None]
    return bool(mine) and mine[0].low <= since_s <= mine[0].high


def real_size(day: Any, cause: str, size: float) -> float:
    """How large the thing really was on that day, usual change included, in the unit in which the check says it.

    A factor fault of 6 % on a meter that was 1 % light anyway gave 5 % too much, and that is what "gives 5 % more per turn" claims. Of a
    fill entered twice it is the mass on record too much, of a width the metres typed too many.
    """
    kind, _, a = cause.partition(":")
    if kind == "factor":
        return float(day.truth.factors[a] / day.typed[f"F:{a}"] - 1)
    if kind == "distance":
        return float(day.truth.distance_ratio - 1)
    if kind in ("lid", "bridge"):
        return math.nan
    if kind == "width":
        return float(day.typed["W"] - day.truth.width_m)
    if kind == "fill-doubled":
        seen: set[tuple[float, float | None]] = set()
        for fill in day.fills:
            key = (fill.put_kg, fill.area_ha)
            if fill.bin == a and key in seen:
                return float(fill.put_kg)
            seen |= {key} if fill.bin == a else set()
    return size


def _size_error(findings: Sequence[Any], cause: str, real: float) -> float | None:
    """(found - real) / stated sd, where the cause was named alone."""
    for said in findings:
        if (
            math.isfinite(real)
            and said.suspects == ((cause,),)
            and said.state in ("doubtful", "does-not-hold")
            and said.size is not None
            and said.size.sd > 0
        ):
            return float((said.size.value - real) / said.size.sd) if said.size_unit in ("%", "kg", "m") else None
    return None


def smallest_found(runs: Sequence[Run]) -> float | None:
    """Size found nine times in ten, by a logistic fit over the logarithm of size; None if the fit has no foot or top, or lies beyond."""
    return nine_in_ten([r.size for r in runs], [r.score in ("right alone", "right in class") for r in runs]).size


def cell(runs: Sequence[Run]) -> dict[str, Any]:
    """One cell of the table."""
    told = [r for r in runs if r.told]
    right = sum(r.score in ("right alone", "right in class") for r in told)
    wrong = sum(r.score == "wrong" for r in told)
    errors = [r.size_error_sd for r in runs if r.size_error_sd is not None]
    starts = [r.start_within for r in runs if r.start_within is not None]
    return {
        "n": len(runs),
        "told": len(told),
        "told_share": len(told) / len(runs) if runs else None,
        "scores": {s: sum(r.score == s for r in runs) for s in SCORES},
        "scores_told": {s: sum(r.score == s for r in told) for s in SCORES},
        "right_told": right / len(told) if told else None,
        "right_told_95": wilson(right, len(told)),
        "wrong_told": wrong / len(told) if told else None,
        "wrong_told_95": wilson(wrong, len(told)),
        "wrong_all": sum(r.score == "wrong" for r in runs) / len(runs) if runs else None,
        "start_within": sum(starts) / len(starts) if starts else None,
        "size_within_95": sum(abs(e) <= 1.96 for e in errors) / len(errors) if errors else None,
        "found_nine_in_ten": smallest_found(runs) if {r.kind for r in runs} in ({"factor"}, {"distance"}, {"width"}) else None,
    }


def confusion(runs: Sequence[Run]) -> dict[str, dict[str, int]]:
    """Kind of the fault against the kind named first, or how the run ended."""
    table: dict[str, dict[str, int]] = {}
    for run in runs:
        first = run.named[0].partition("|")[0].partition(":")[0] if run.named else run.score
        row = table.setdefault(run.kind or "clean", {})
        row[first] = row.get(first, 0) + 1
    return table


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the bench and write its table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.faults", description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--days", type=int, default=20, help="days for each kind of fault and reading set")
    parser.add_argument("--clean", type=int, default=400, help="clean days for false alarms, in the nominal world")
    parser.add_argument("--rough", type=int, default=10, help="days for each kind in the rough world")
    parser.add_argument("--streams", type=int, default=100, help="cases for each number of errors on the 28-stream network")
    finding.arguments(parser)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--resume", action="store_true", help="take parts that were finished with the same seed and sizes from --out")
    parser.add_argument("--only", default="", help="make and keep these parts alone: field, power, seasons, pairs, quiet, watched, streams")
    parser.add_argument("--page", type=Path, default=None, help="write the tables between the markers of this page")
    parser.add_argument("--out", type=Path, default=Path("bench-out"))
    options = parser.parse_args(arguments)
    base = 10_000 * (1 + options.seed)
    tasks = [(base + i, kind, s, "nominal") for s in SETS for kind in KINDS for i in range(options.days)]
    tasks += [(base + 3000 + i, kind, "usual", "rough") for kind in KINDS for i in range(options.rough)]
    clean = [(base + 4000 + i, "", list(SETS)[i % len(SETS)], "nominal") for i in range(options.clean)]
    clean += [(base + 8000 + i, "", "usual", "rough") for i in range(options.clean // 3)]
    began = time.perf_counter()
    part = kept_parts(options)
    with ProcessPoolExecutor(options.workers) as pool:

        def in_the_field() -> dict[str, Any]:
            runs = list(pool.map(one_run, tasks, chunksize=8))
            return tables(runs, list(pool.map(partial(one_run, step_s=5.0), clean, chunksize=16)))

        result = part("field", (options.days, options.clean, options.rough), in_the_field)
        more = finding.run(pool, base, options, part)
        result = result | more | {"streams": part("streams", options.streams, lambda: stream_table(options.seed, options.streams, pool))}
    if options.only:
        return 0
    result |= {"seed": options.seed, "date": date.today().isoformat(), "minutes": round((time.perf_counter() - began) / 60, 2)}
    sizes = ("days", "clean", "rough", "streams", "power", "seasons", "pairs", "quiet", "watched")
    result["days"] = {k: getattr(options, k) for k in sizes}
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "faults.json").write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    print(text_of(result))
    print(finding.text_of(more))
    if options.page is not None:
        write_page(result, options.page)
    print(f"\nwritten to {options.out / 'faults.json'} ({result['minutes']} min)")
    return 0


def kept_parts(options: argparse.Namespace) -> finding.Part:
    """A function that makes a part of the bench, keeps it beside the result, and with --resume takes it from there if seed and sizes are
    the same."""
    folder = options.out / "faults-parts"

    def part(name: str, size: Any, make: Callable[[], Any]) -> Any:
        if options.only and name not in options.only.split(","):
            return {}
        path, key = folder / f"{name}.json", json.dumps([options.seed, size])
        if options.resume and path.exists() and (kept := json.loads(path.read_text(encoding="utf-8")))["key"] == key:
            return kept["result"]
        began = time.perf_counter()
        made = json.loads(json.dumps(make()))
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps({"key": key, "result": made}), encoding="utf-8")
        print(f"{name}: {(time.perf_counter() - began) / 60:.1f} min", flush=True)
        return made

    return part


def tables(runs: Sequence[Run], quiet: Sequence[Run]) -> dict[str, Any]:
    """Every cell, the headline, false alarms and the confusion matrix."""
    nominal = [r for r in runs if r.world == "nominal"]
    rough = [r for r in runs if r.world == "rough"]
    alarms = {w: [r for r in quiet if r.world == w] for w in ("nominal", "rough")}
    return {
        "cells": {s: {k: cell([r for r in nominal if (r.kind, r.reading_set) == (k, s)]) for k in KINDS} for s in SETS},
        "rough": {k: cell([r for r in rough if r.kind == k]) for k in KINDS},
        "headline": cell([r for r in nominal if r.reading_set == "usual"]),
        "headline_all_sets": cell(nominal),
        "headline_rough": cell(rough),
        "false_alarms": {
            w: {"days": len(d), "alarms": sum(bool(r.named) for r in d), "share_95": wilson(sum(bool(r.named) for r in d), len(d)),
                "named": sorted({n for r in d for n in r.named})}
            for w, d in alarms.items()
        },
        "confusion": confusion(nominal),
        "slowest_check_s": max(r.seconds for r in runs),
        "runs": [asdict(r) for r in runs if r.score == "wrong"],
    }  # fmt: skip


def text_of(result: dict[str, Any]) -> str:
    """The tables as text."""
    lines = []
    for title, cells in [*result["cells"].items(), ("usual, rough world", result["rough"])]:
        lines.append(f"\nreadings: {title}")
        heads = f"{'right, told':>24}{'wrong, told':>24}{'start in':>10}{'size in 95':>12}{'9 in 10 from':>14}"
        lines.append(f"{'fault':13}{'n':>5}{'told':>6}{heads}   all runs")
        lines += [_line(kind, c) for kind, c in cells.items()]
    for name in ("headline", "headline_all_sets", "headline_rough"):
        lines.append("\n" + name.replace("_", " "))
        lines.append(_line("all", result[name]))
    lines.append("\nfalse alarms on clean days")
    for world, f in result["false_alarms"].items():
        low, high = f["share_95"]
        lines.append(f"{world:13}{f['alarms']} of {f['days']} days (95 %: {100 * low:.2f} to {100 * high:.2f} %) {', '.join(f['named'])}")
    lines.append("\n28 streams, 11 balances (Serth and Heenan 1986), errors of 4 to 20 sd")
    lines.append(f"{'errors':>7}{'method':>28}{'right':>8}{'in set':>8}{'part':>8}{'wrong':>8}{'silent':>8}")
    for row in result["streams"]:
        lines.append(
            f"{row['errors']:>7}{row['method']:>28}" + "".join(f"{row[k]:>8.3f}" for k in ("right", "in_set", "part", "wrong", "silent"))
        )
    return "\n".join(lines)


def _line(kind: str, c: dict[str, Any]) -> str:
    def share(value: float | None, band: Sequence[float] | None = None) -> str:
        if value is None:
            return "-"
        return f"{100 * value:.0f} %" + (f" ({100 * band[0]:.0f} to {100 * band[1]:.0f})" if band else "")

    size = "-" if c["found_nine_in_ten"] is None else f"{100 * c['found_nine_in_ten']:.1f} %"
    ends = ", ".join(f"{s} {n}" for s, n in c["scores"].items() if n)
    return (
        f"{kind:13}{c['n']:>5}{share(c['told_share']):>6}{share(c['right_told'], c['right_told_95']):>24}"
        f"{share(c['wrong_told'], c['wrong_told_95']):>24}{share(c['start_within']):>10}{share(c['size_within_95']):>12}{size:>14}   {ends}"
    )


if __name__ == "__main__":
    raise SystemExit(main())
