"""Whether stated intervals hold: thousands of independent seasons on plain days.

A season is an outfit, its world and its habits: some clean days, from which the spread of its meters, its distance count and its
instruments is learned, then a day with one fault. The 95 % interval of its size must hold what was really so on that day 93 to 97 times
in 100. It is counted once for every fault that was named alone, as a farm reads it, and once with the cause given, whether or not it was
named: the first is open to luck in the choosing, the second is not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from benchmarks.plain_days import SETS, plain_day
from benchmarks.power import as_said, check_plain, drawn
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
    roll = np.random.default_rng([seed, 4])
    kind = KINDS[int(roll.integers(len(KINDS)))]
    sets = [s for s in SETS if s in ("tape", "all")] if kind in ("distance", "width") else ["tickets", "catch", "log", "all"]
    reading_set = str(roll.choice(sets))
    seen = []
    for k in range(days):
        clean = plain_day(1_000 * seed + k + 1, reading_set, world)
        seen.append(day_seen(check_plain(clean).verdict, clean.readings))
    scales = {name: s.value for name, s in learned_scales(seen).items()}
    cause, size = drawn(kind, roll, least=0.03)
    day = plain_day(1_000 * seed, reading_set, world, {cause: size})
    real = as_said(cause, day.real[cause])
    plain, learned = check_plain(day), check_plain(day, scales)
    return Season(
        world=world, kind=kind, reading_set=reading_set, size=size, error=_alone(plain, cause, real),
        learned_error=_alone(learned, cause, real),
        given=_given(plain, cause, real, day.variant), learned_given=_given(learned, cause, real, day.variant),
        score=score(plain.findings, cause), learned_score=score(learned.findings, cause), scales=scales,
    )  # fmt: skip


def _alone(checked: Any, cause: str, real: float) -> float | None:
    found = next((f for f in checked.verdict.found if f.cause_class == (cause,)), None)
    return None if found is None else float((found.size - real) / found.sd)


def _given(checked: Any, cause: str, real: float, variant: str) -> float | None:
    """The interval of a cause that is given, in its true interval, by the same code that states it."""
    import math

    from evenstand.check.sizing import whole_sizes
    from evenstand.check.verdicts import USUAL_OVERLAP, size_hypotheses

    system = checked.verdict.system
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
