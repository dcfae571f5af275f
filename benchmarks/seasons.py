"""Whether stated intervals hold: thousands of independent seasons on plain days.

A season is an outfit, its world and its habits: some clean days, from which the spread of its meters, its distance count and its
instruments is learned, then a day with one fault. The 95 % interval of its size must hold what was really so on that day 93 to 97 times
in 100. It is counted once for every fault that was named alone, as a farm reads it, and once with the cause given, whether or not it was
named: the first is open to luck in the choosing, the second is not. With the cause given no search is needed: 2,000 days take seconds.
The tally of a bin (factor, mass left, run-out, a missed fill) has its own seasons in `tally_seasons`.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.plain_days import SETS, plain_day
from benchmarks.power import as_said, bin_days_of, check_plain, drawn
from benchmarks.scoring import score, wilson

CLEAN_DAYS = 8
KINDS = ("factor", "distance", "width", "fill-missed", "fill-doubled")


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """One season. error, learned_error: (stated - real) / stated sd of a fault named alone, with stated and with learned scales, None
    if it was not; given, learned_given: the same for the cause itself, named or not; scales: what was learned; wrong, learned_wrong:
    whether a cause was accused that was not there."""

    world: str
    kind: str
    reading_set: str
    size: float
    error: float | None
    learned_error: float | None
    given: float | None
    learned_given: float | None
    score: str
    learned_score: str
    scales: dict[str, float]


def season(task: tuple[int, str, int]) -> Season:
    """task: seed, world, clean days to learn from."""
    from evenstand.check import day_seen, learned_scales

    seed, world, days = task
    kind, reading_set, cause, size = _drawn_fault(seed)
    seen = []
    for k in range(days):
        clean = plain_day(1_000 * seed + k + 1, reading_set, world)
        seen.append(day_seen(check_plain(clean).verdict, clean.readings))
    scales = {name: s.value for name, s in learned_scales(seen).items()}
    day = plain_day(1_000 * seed, reading_set, world, {cause: size})
    real = as_said(cause, day.real[cause])
    plain, learned = check_plain(day), check_plain(day, scales)
    return Season(
        world=world, kind=kind, reading_set=reading_set, size=size, error=_alone(plain, cause, real),
        learned_error=_alone(learned, cause, real),
        given=_given(plain, cause, real, day.variant), learned_given=_given(learned, cause, real, day.variant),
        score=score(plain.findings, cause), learned_score=score(learned.findings, cause), scales=scales,
    )  # fmt: skip


def _drawn_fault(seed: int) -> tuple[str, str, str, float]:
    """Kind, reading set, cause and size of a season's fault."""
    roll = np.random.default_rng([seed, 4])
    kind = KINDS[int(roll.integers(len(KINDS)))]
    sets = [s for s in SETS if s in ("tape", "all")] if kind in ("distance", "width") else ["tickets", "catch", "log", "all"]
    reading_set = str(roll.choice(sets))
    cause, size = drawn(kind, roll, least=0.03)
    return kind, reading_set, cause, size


@dataclass(frozen=True, slots=True, kw_only=True)
class Sized:
    """One faulty day. error: (stated - real) / stated sd with the cause given; named: the same where the check named it alone, None else;
    searched: whether it was asked."""

    world: str
    kind: str
    reading_set: str
    error: float | None
    named: float | None
    searched: bool


def sized(task: tuple[int, str, bool]) -> Sized:
    """task: seed, world, whether the check shall search for the cause as well."""
    from evenstand.check.checking import known_readings
    from evenstand.check.expecting import relations_for
    from evenstand.check.relations import assemble

    seed, world, search = task
    kind, reading_set, cause, size = _drawn_fault(seed)
    day = plain_day(1_000 * seed, reading_set, world, {cause: size})
    real = as_said(cause, day.real[cause])
    relations, every = relations_for((*day.readings, *known_readings(None, day.typed)), asked=day.asked, bin_days=bin_days_of(day))
    error = _of_system(assemble(relations, every), cause, real, day.variant)
    named = _alone(check_plain(day), cause, real) if search else None
    return Sized(world=world, kind=kind, reading_set=reading_set, error=error, named=named, searched=search)


def sized_table(days: Sequence[Sized]) -> dict[str, Any]:
    """Coverage by world: with the cause given, by kind and by reading set, and of those named alone."""
    out: dict[str, Any] = {}
    for world in dict.fromkeys(d.world for d in days):
        mine = [d for d in days if d.world == world]
        out[world] = {
            "given": coverage([d.error for d in mine]),
            "named": coverage([d.named for d in mine]),
            "searched": sum(d.searched for d in mine),
            "by_kind": {k: coverage([d.error for d in mine if d.kind == k]) for k in KINDS},
            "by_set": {s: coverage([d.error for d in mine if d.reading_set == s]) for s in SETS if any(d.reading_set == s for d in mine)},
        }
    return out


def _alone(checked: Any, cause: str, real: float) -> float | None:
    found = next((f for f in checked.verdict.found if f.cause_class == (cause,)), None)
    return None if found is None else float((found.size - real) / found.sd)


def _given(checked: Any, cause: str, real: float, variant: str) -> float | None:
    """The interval of a cause that is given, in its true interval, by the same code that states it."""
    return _of_system(checked.verdict.system, cause, real, variant)


def _of_system(system: Any, cause: str, real: float, variant: str) -> float | None:
    from evenstand.check.sizing import whole_sizes
    from evenstand.check.verdicts import USUAL_OVERLAP, size_hypotheses

    if variant not in system.variants:
        return None
    j = system.variants.index(variant)
    sizes, sds = whole_sizes(system, size_hypotheses(system), (j,), USUAL_OVERLAP)
    if not (math.isfinite(sds[0]) and sds[0] > 0):
        return None
    grown = math.exp(sizes[0]) if cause.partition(":")[0] in ("factor", "distance") else 1.0
    return float((as_said(cause, sizes[0]) - real) / (grown * sds[0]))


def coverage(errors: Sequence[float | None]) -> dict[str, Any]:
    """Share of the intervals that hold the truth, with its own Wilson interval; spread of the standardised errors."""
    known = np.array([e for e in errors if e is not None])
    inside = int((np.abs(known) <= 1.96).sum())
    return {
        "n": int(known.size), "share": inside / known.size if known.size else None, "share_95": wilson(inside, int(known.size)),
        "bias_sd": float(known.mean()) if known.size else None, "spread": float(known.std()) if known.size else None,
    }  # fmt: skip


def season_table(seasons: Sequence[Season]) -> dict[str, Any]:
    """Coverage by world: as named and with the cause given, stated and learned; by kind; and the scales learned."""
    out: dict[str, Any] = {}
    for world in sorted({s.world for s in seasons}):
        mine = [s for s in seasons if s.world == world]
        names = sorted({n for s in mine for n in s.scales})
        out[world] = {
            "seasons": len(mine),
            "named": coverage([s.error for s in mine]),
            "named_learned": coverage([s.learned_error for s in mine]),
            "given": coverage([s.given for s in mine]),
            "given_learned": coverage([s.learned_given for s in mine]),
            "by_kind_learned": {k: coverage([s.learned_error for s in mine if s.kind == k]) for k in KINDS},
            "wrong": sum(s.score == "wrong" for s in mine),
            "wrong_learned": sum(s.learned_score == "wrong" for s in mine),
            "scales": {n: float(np.median([s.scales[n] for s in mine if n in s.scales])) for n in names},
        }
    return out


def text_of(result: dict[str, Any]) -> str:
    """The table as text."""
    lines = ["how often the 95 % interval of a fault's size held"]
    lines.append(f"{'':10}{'cause given':>34}{'named alone':>34}")
    for world, t in result["worlds"].items():
        lines.append(f"{world:10}{_cell(t['given']):>34}{_cell(t['named']):>34}")
        lines += [f"    {kind:16}{_cell(c)}" for kind, c in t["by_kind"].items()]
    return "\n".join(lines)


def _cell(c: dict[str, Any]) -> str:
    if c["share"] is None:
        return "-"
    low, high = c["share_95"]
    return f"{100 * c['share']:.1f} % ({100 * low:.1f}-{100 * high:.1f}), n {c['n']}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the sized days and write the table; 1 if the nominal world is outside the bar of 93 to 97 %."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.seasons", description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--seasons", type=int, default=2000, help="in each world")
    parser.add_argument("--named", type=int, default=500, help="of them, in each world, on which the check searches for the cause as well")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("bench-out"))
    options = parser.parse_args(arguments)
    base, began = 5_000_000 + 100_000 * options.seed, time.perf_counter()
    tasks = [
        (base + 10_000 * i + k, w, k < options.named) for i, w in enumerate(("nominal", "rough", "hostile")) for k in range(options.seasons)
    ]
    with ProcessPoolExecutor(options.workers) as pool:
        days = list(pool.map(sized, tasks, chunksize=20))
    result = {"worlds": sized_table(days), "seed": options.seed, "date": date.today().isoformat()}
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "seasons.json").write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    print(text_of(result))
    print(f"{time.perf_counter() - began:.1f} s; written to {options.out / 'seasons.json'}")
    low, high = result["worlds"]["nominal"]["given"]["share_95"]
    return 0 if low <= 0.97 and high >= 0.93 else 1


if __name__ == "__main__":
    raise SystemExit(main())
