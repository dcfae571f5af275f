"""How well the detectors of a trail find faults: `python -m benchmarks.trail_faults --seed 7` writes bench-out/trail-faults.json.

Simulated logs (1 row a second) of many outfits with one fault each, and clean days for false alarms, in a nominal, a rough and a hostile
world. The hostile world is the rough one with rows lost, sensors that drop out more, and a second fault of another kind.
Seeds start at 10,000 times the seed given: limits were set on seeds below 10,000.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.breaking import Broken, rows_of
from benchmarks.faults import smallest_found
from benchmarks.scoring import SCORES, Score, wilson
from benchmarks.trail_days import KINDS, WORLDS, made_day
from benchmarks.trail_ideal import smallest_ideal
from benchmarks.trail_tables import text_of, write_page

DETECTOR = {"run": "lost-flow", "head": "lost-flow", "run-stretch": "lost-flow"}
LOOK_EVERY = 4
BATCH = 16
USUAL_FAN_RPM = 4050.0  # middle of the outfits made for the bench
STRIPPED: dict[str, tuple[str, ...]] = {
    "lost-flow": ("run_present",), "fan-sag": ("fan_turns_s",), "fan-droop": ("fan_turns_s",), "speed-frozen": ("speed_m_s", "step_m"),
    "distance-scale": ("speed_m_s", "step_m"), "distance-drift": ("speed_m_s", "step_m"), "counted-lifted": ("area_ha",),
    "metered-lifted": ("revs",), "uncounted-work": ("area_ha",), "section-on": ("sections",), "section-off": ("sections",),
    "work-stuck": ("sections", "lifted"), "no-fall": ("revs",),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One day and its score. size: as drawn; named: causes named; blind: without its columns the detector says it cannot be seen, None if
    it needs none; passes: passes from the start of the fault to the first in which it is found, None if silent; left: passes there were;
    clean: figures of the ideal tests on a clean day; told: detectors that spoke."""

    kind: str
    world: str
    size: float
    score: Score
    named: tuple[str, ...]
    blind: bool | None
    start_within: bool | None
    size_error_sd: float | None
    size_error_share: float | None
    passes: int | None
    left: int
    seconds: float
    clean: dict[str, float] = dataclasses.field(default_factory=dict)
    told: tuple[str, ...] = ()


def one_run(task: tuple[int, str, str]) -> Run:
    """Simulate, look, score. task: (seed, kind, world); kind "" is a clean day."""
    from evenstand.trail.detecting import trail_faults

    seed, kind, world = task
    outfit, broken, also = made_day(seed, kind, world, thin=not kind)
    began = time.perf_counter()
    told = trail_faults(broken.trail, outfit)
    took = time.perf_counter() - began
    named = tuple(f.cause for f in told.found)
    detector = DETECTOR.get(kind, kind)
    mine = min((f for f in told.found if f.cause == broken.cause), key=lambda f: f.kind != detector, default=None)
    score = (
        _score(named, broken.cause, also, blind=any(u.kind == detector for u in told.unseen)) if kind else ("wrong" if named else "silent")
    )
    passes, left = _delay(broken, outfit, detector, found=mine is not None) if kind else (None, 0)
    return Run(
        kind=kind,
        world=world,
        size=broken.drawn if kind else 0.0,
        score=score,
        named=named if kind else tuple(f"{f.kind}:{f.cause}" for f in told.found),
        blind=_says_blind(broken, outfit, detector) if kind and world == "nominal" else None,
        start_within=None if mine is None or broken.onset_s is None else mine.since_low_s - 15 <= broken.onset_s <= mine.since_high_s + 15,
        size_error_sd=None
        if mine is None or broken.size is None or mine.size is None or mine.kind != detector or mine.size.sd <= 0
        else (mine.size.value - broken.size) / mine.size.sd,
        size_error_share=None
        if mine is None or not broken.size or mine.size is None or mine.kind != detector
        else mine.size.value / broken.size - 1,
        passes=passes,
        left=left,
        seconds=took,
        clean=broken.clean,
        told=tuple(f.kind for f in told.found),
    )


def looked_again(task: tuple[int, str]) -> tuple[int, tuple[str, ...]]:
    """A clean day looked at after every fourth pass: how many looks, and which detectors ever spoke. task: (seed, world)."""
    from evenstand.trail.detecting import trail_faults
    from evenstand.trail.passes import passes_of
    from evenstand.trail.stepping import steps_of

    outfit, made, _ = made_day(task[0], "", task[1], thin=True)
    ends = [p.last_row for p in passes_of(made.trail, steps_of(made.trail))][3::LOOK_EVERY]
    spoke: set[str] = set()
    for end in ends:
        part = rows_of(made.trail, slice(0, min(end + 2, made.trail.n)))
        spoke |= {f.kind for f in trail_faults(part, outfit).found}
    return len(ends), tuple(sorted(spoke))


def _score(named: Sequence[str], cause: str, also: Sequence[str], *, blind: bool) -> Score:
    """A name that is neither the fault nor one that was put in beside it makes the run wrong."""
    if any(n != cause and n not in also for n in named):
        return "wrong"
    if cause in named:
        return "right alone"
    return "cannot tell" if blind else "silent"


def _says_blind(broken: Broken, outfit: Any, detector: str) -> bool | None:
    """Whether the detector says so when its columns are missing, and names nobody."""
    from evenstand.trail.detecting import trail_faults

    gone = STRIPPED.get(detector)
    if gone is None:
        return None
    told = trail_faults(dataclasses.replace(broken.trail, **dict.fromkeys(gone)), outfit, kinds=(detector,))
    return bool(told.unseen) and not told.found


def _delay(broken: Broken, outfit: Any, detector: str, *, found: bool) -> tuple[int | None, int]:
    """Passes from the pass the fault began in to the first at whose end it is found; and how many there were."""
    from evenstand.trail.detecting import trail_faults
    from evenstand.trail.passes import passes_of
    from evenstand.trail.stepping import steps_of

    passes = passes_of(broken.trail, steps_of(broken.trail))
    began = broken.onset_s or 0.0
    later = [p for p in passes if p.end_s >= began]
    if not found or not later:
        return None, len(later)

    def sees(k: int) -> bool:
        part = rows_of(broken.trail, slice(0, min(later[k].last_row + 2, broken.trail.n)))
        return any(f.cause == broken.cause for f in trail_faults(part, outfit, kinds=(detector,)).found)

    low, high = -1, len(later) - 1  # seen by the end; bisect for the first
    while high - low > 1:
        middle = low + (high - low + 1) // 3 if high - low > 3 else (low + high) // 2
        middle = max(low + 1, min(middle, high - 1))
        if sees(middle):
            high = middle
        else:
            low = middle
    return high + 1, len(later)


def waiting(runs: Sequence[Run]) -> int | None:
    """Median number of passes to detection by Kaplan and Meier, silent days censored at their last pass; None if under half are found."""
    at_risk, alive = len(runs), 1.0
    moments = sorted((r.passes if r.passes is not None else r.left, r.passes is None) for r in runs)
    for moment, censored in moments:
        if not censored:
            alive *= 1 - 1 / at_risk
            if alive <= 0.5:
                return moment
        at_risk -= 1
    return None


def cell(runs: Sequence[Run]) -> dict[str, Any]:
    """One cell of the table."""
    right = sum(r.score == "right alone" for r in runs)
    wrong = sum(r.score == "wrong" for r in runs)
    starts = [r.start_within for r in runs if r.start_within is not None]
    errors = [r.size_error_sd for r in runs if r.size_error_sd is not None]
    shares = [r.size_error_share for r in runs if r.size_error_share is not None]
    blind = [r.blind for r in runs if r.blind is not None]
    return {
        "n": len(runs),
        "scores": {s: sum(r.score == s for r in runs) for s in SCORES},
        "right": right / len(runs) if runs else None,
        "right_95": wilson(right, len(runs)),
        "wrong": wrong / len(runs) if runs else None,
        "wrong_95": wilson(wrong, len(runs)),
        "found_nine_in_ten": smallest_found(runs) if len({r.size for r in runs}) > 5 else None,
        "size_of_half": float(np.median([abs(r.size) for r in runs])) if runs else None,
        "start_within": sum(starts) / len(starts) if starts else None,
        "size_within_95": sum(abs(e) <= 1.96 for e in errors) / len(errors) if errors else None,
        "size_bias": float(np.median(shares)) if shares else None,
        "says_blind": sum(blind) / len(blind) if blind else None,
        "passes_to_detection": waiting(runs),
    }


def tables(runs: Sequence[Run], quiet: Sequence[Run]) -> dict[str, Any]:
    """Every cell, false alarms by detector, what was named instead."""
    return {
        "cells": {w: {k: cell([r for r in runs if (r.kind, r.world) == (k, w)]) for k in KINDS} for w in WORLDS},
        "headline": {w: cell([r for r in runs if r.world == w]) for w in WORLDS},
        "ideal": {w: ideal_of([r for r in runs if r.world == w], [r for r in quiet if r.world == w]) for w in ("nominal", "rough")},
        "confusion": {w: confusion([r for r in runs if r.world == w]) for w in WORLDS},
        "false_alarms": {w: _alarms([r for r in quiet if r.world == w]) for w in WORLDS},
        "slowest_look_s": max((r.seconds for r in [*runs, *quiet]), default=None),
        "wrong": [asdict(r) for r in runs if r.score == "wrong"],
    }


def ideal_of(runs: Sequence[Run], quiet: Sequence[Run]) -> dict[str, dict[str, float | None]]:
    """Smallest size found nine times in ten against that of the ideal test on the same clean days."""
    out = smallest_ideal([r.clean for r in quiet], usual_fan_rpm=USUAL_FAN_RPM)
    for kind, row in out.items():
        ours = smallest_found([r for r in runs if r.kind == kind])
        told = row["beyond_limit"]
        row["ours"] = ours
        row["times"] = None if ours is None or not told else ours / told
    return out


def confusion(runs: Sequence[Run]) -> dict[str, dict[str, int]]:
    """Kind of the fault against what was named: itself, a kind of its own cause beside it, something else, or nothing."""
    table: dict[str, dict[str, int]] = {}
    for run in runs:
        row = table.setdefault(run.kind, {})
        for name in set(run.told) or {"silent"}:
            row[name] = row.get(name, 0) + 1
    return table


def _alarms(days: Sequence[Run]) -> dict[str, Any]:
    by = sorted({n.partition(":")[0] for r in days for n in r.named})
    alarms = sum(bool(r.named) for r in days)
    return {
        "days": len(days),
        "alarms": alarms,
        "share_95": wilson(alarms, len(days)),
        "by_detector": {d: sum(any(n.partition(":")[0] == d for n in r.named) for r in days) for d in by},
    }


Task = tuple[int, str, str]


def interleaved(groups: Sequence[Sequence[Task]]) -> list[Task]:
    """All tasks, so ordered that any beginning of the list holds the same share of every group."""
    placed = [((i + 0.5) / len(group), g, task) for g, group in enumerate(groups) for i, task in enumerate(group)]
    return [task for _, _, task in sorted(placed, key=lambda p: p[:2])]


def one_task(task: Task) -> Run | tuple[int, tuple[str, ...]]:
    """One day of any group."""
    seed, kind, world = task
    return looked_again((seed, world)) if kind == "look" else one_run(task)


def done_within(tasks: Sequence[Task], workers: int, minutes: float | None) -> list[Run | tuple[int, tuple[str, ...]]]:
    """What is done of the tasks, in their order, until the minutes are over."""
    end = math.inf if minutes is None else time.perf_counter() + 60 * minutes
    done: list[Run | tuple[int, tuple[str, ...]]] = []
    with ProcessPoolExecutor(workers) as pool:
        for i in range(0, len(tasks), BATCH):
            done += pool.map(one_task, tasks[i : i + BATCH], chunksize=2)
            if time.perf_counter() > end:
                break
    return done


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the bench and write its table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.trail_faults", description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--days", type=int, default=20, help="days for each kind of fault in the nominal world")
    parser.add_argument("--rough", type=int, default=10, help="days for each kind in the rough world, and as many in the hostile")
    parser.add_argument(
        "--clean", type=int, default=2000, help="clean days of some 10 ha; a quarter as many again in the rough world, and in the hostile"
    )
    parser.add_argument("--looked", type=int, default=40, help="clean days looked at after every fourth pass")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--minutes", type=float, help="stop after so many, with what is done by then; days of every kind come in turn")
    parser.add_argument("--page", type=Path, help="a page to write the table into, between its two marks")
    parser.add_argument("--out", type=Path, default=Path("bench-out"))
    options = parser.parse_args(arguments)
    base = 10_000 * (1 + options.seed)
    groups = [[(base + i, kind, "nominal") for i in range(options.days)] for kind in KINDS]
    groups += [[(base + 1000 + i, kind, w) for i in range(options.rough)] for w in ("rough", "hostile") for kind in KINDS]
    for world, first, count in (
        ("nominal", 2000, options.clean),
        ("rough", 6000, options.clean // 4),
        ("hostile", 8000, options.clean // 4),
    ):
        groups.append([(base + first + i, "", world) for i in range(count)])
    groups.append([(base + 9000 + i, "look", "nominal") for i in range(options.looked)])
    began = time.perf_counter()
    done = done_within(interleaved(groups), options.workers, options.minutes)
    runs = [r for r in done if isinstance(r, Run) and r.kind]
    quiet = [r for r in done if isinstance(r, Run) and not r.kind]
    again = [r for r in done if not isinstance(r, Run)]
    result = tables(runs, quiet)
    spoke = sum(bool(names) for _, names in again)
    result["repeated_looks"] = {
        "days": len(again), "every": LOOK_EVERY, "looks": sum(n for n, _ in again),
        "days_with_alarm": spoke, "share_95": wilson(spoke, len(again)),
        "named": sorted({name for _, names in again for name in names}),
    }  # fmt: skip
    result |= {"seed": options.seed, "date": date.today().isoformat(), "minutes": round((time.perf_counter() - began) / 60, 2)}
    said = {name: getattr(options, name) for name in ("seed", "days", "rough", "clean", "looked")}
    if options.minutes is not None:
        said["minutes"] = options.minutes
    result["command"] = "python -m benchmarks.trail_faults " + " ".join(f"--{name} {value}" for name, value in said.items())
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "trail-faults.json").write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    if options.page is not None:
        write_page(result, options.page)
    print(text_of(result))
    print(f"\nwritten to {options.out / 'trail-faults.json'} ({result['minutes']} min)")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
