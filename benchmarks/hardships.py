"""Two faults on one day, worlds that break the rules, and looks after every fill instead of one in the evening."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from benchmarks.plain_days import PAIRED, SETS, plain_day
from benchmarks.power import check_plain, drawn
from benchmarks.scoring import named_sets, wilson

MEANT = {  # what each ill may be called: the cause it is, or what it looks like to the masses
    "digits swapped in a fill": ("fill-missed:A", "fill-doubled:A"), "a reading lost": (), "a lid that leaks": ("lid:D", "factor:D"),
    "a bin that bridges": ("bridge:A", "fill-missed:A"), "a wrong lot": ("factor:D",), "a fill late by a day": ("fill-missed:A",),
    "hours lost": ("distance",), "a clock that is off": (),
}  # fmt: skip
Pair = Literal["both alone", "both, in a class", "one of two", "wrong", "silent", "cannot tell"]
PAIRS: tuple[Pair, ...] = ("both alone", "both, in a class", "one of two", "wrong", "silent", "cannot tell")


def score_pair(findings: Sequence[Any], truth: frozenset[str], also: frozenset[str] = frozenset()) -> Pair:
    """One day with two faults: a named set with neither in it makes it wrong; two sets for one fault count once. also: what was really ill
    beside them, in a world that breaks the rules; a set that names that is neither right nor wrong."""
    named = [group for group in named_sets(findings) if truth & set(group) or not also & set(group)]
    if any(not truth & set(group) for group in named):
        return "wrong"
    hit = [truth & set(group) for group in named]
    if named and _matched(hit) == len(truth):
        return "both alone" if all(len(group) == 1 for group in named) else "both, in a class"
    if named:
        return "one of two"
    unsure = {c for f in findings if f.state == "cannot-tell" for group in f.suspects for c in group}
    return "cannot tell" if truth & unsure else "silent"


def _matched(hit: Sequence[frozenset[str] | set[str]]) -> int:
    """How many different faults the sets can stand for, each set for one."""
    best = 0
    for first in hit[0] if hit else ():
        rest = [h - {first} for h in hit[1:]]
        best = max(best, 1 + _matched([h for h in rest if h]))
    return max(best, _matched(hit[1:])) if hit else 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PairRun:
    """One day with two faults."""

    kinds: tuple[str, str]
    reading_set: str
    world: str
    score: Pair
    told: bool


def pair_run(task: tuple[int, str, str]) -> PairRun:
    """task: seed, reading set, world. Two different causes, sizes uniform in 3 to 15 %; told: each by itself could be told."""
    seed, reading_set, world = task
    roll = np.random.default_rng([seed, 7])
    first, second = (str(k) for k in roll.choice(PAIRED, 2, replace=False))
    faults: dict[str, float] = {}
    for kind in (first, second):
        cause, size = drawn(kind, roll, least=0.03)
        faults[cause] = size
    day = plain_day(seed, reading_set, world, faults)
    checked = check_plain(day)
    spreads = checked.verdict.spreads
    also = frozenset(c for ill in day.ills for c in MEANT[ill])
    told = all(abs(size) >= 4.3 * spreads.get(cause, np.inf) for cause, size in faults.items())
    return PairRun(
        kinds=(first, second), reading_set=reading_set, world=world, score=score_pair(checked.findings, frozenset(faults), also), told=told
    )


def pair_table(runs: Sequence[PairRun]) -> dict[str, Any]:
    """Counts by reading set, over all runs and over those in which both can be told."""
    out: dict[str, Any] = {}
    for s in sorted({r.reading_set for r in runs}):
        for name, mine in (("all", [r for r in runs if r.reading_set == s]), ("told", [r for r in runs if r.reading_set == s and r.told])):
            n = len(mine)
            good = sum(r.score.startswith("both") for r in mine)
            bad = sum(r.score == "wrong" for r in mine)
            out.setdefault(s, {})[name] = {
                "n": n, "scores": {p: sum(r.score == p for r in mine) for p in PAIRS}, "both_95": wilson(good, n),
                "wrong_95": wilson(bad, n),
            }  # fmt: skip
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietRun:
    """A day without a fault of ours. ills: what broke the rules; named: what was accused; off: what was really off that day by what is
    worth stopping for, though nobody put it in."""

    world: str
    reading_set: str
    ills: tuple[str, ...]
    named: tuple[str, ...]
    off: tuple[str, ...] = ()

    @property
    def rightly(self) -> bool:
        """Whether each set that is accused holds something that was really off."""
        return bool(self.named) and all(set(n.split("|")) & set(self.off) for n in self.named)


def worth_stopping(cause: str, kinds: Mapping[str, str]) -> float:
    """How far off a thing must be before the day is no clean one: of a bin by its product, of distance, width and positions as a seed, of
    the fan its low alarm. Infinite for what the day itself cannot be off by, such as a fill. [share]"""
    from evenstand.reference.figures import figure
    from evenstand.reference.practice import default

    kind, _, a = cause.partition(":")
    if kind == "fan":
        return default("fan-alarm-low").value
    if kind not in ("factor", "lid", "bridge", "distance", "width", "fixes"):
        return math.inf
    found = figure("causes", "stop", kinds.get(a, "seed"))
    return found.low if found.low is not None else found.value


def really_off(real: Mapping[str, float], kinds: Mapping[str, str]) -> tuple[str, ...]:
    """What was off by as much as is worth stopping for, whoever saw it. real: size by cause. [-]"""
    return tuple(sorted(cause for cause, size in real.items() if abs(size) >= worth_stopping(cause, kinds)))


def quiet_run(task: tuple[int, str, str]) -> QuietRun:
    """task: seed, reading set, world."""
    seed, reading_set, world = task
    day = plain_day(seed, reading_set, world)
    named, off = named_sets(check_plain(day).findings), really_off(day.real, day.kinds)
    return QuietRun(world=world, reading_set=reading_set, ills=day.ills, named=tuple("|".join(g) for g in named), off=off)


def quiet_table(runs: Sequence[QuietRun]) -> dict[str, Any]:
    """Days with an alarm by world; in the hostile world by what was ill, alone on its day, and what was accused first.

    A day is clean when nothing was really off by what is worth stopping for. One on which the world itself made a meter 6 % heavy is a
    day with a fault: an alarm that names it is a fault found, one that does not is wrong, and none is a fault that was not seen."""
    out: dict[str, Any] = {}
    for world in sorted({r.world for r in runs}):
        mine = [r for r in runs if r.world == world]
        alarms = sum(bool(r.named) for r in mine)
        ills: dict[str, dict[str, int]] = {}
        rightly: dict[str, int] = {}
        for r in mine:
            if len(r.ills) == 1:
                first = r.named[0].partition("|")[0].partition(":")[0] if r.named else "nothing"
                row = ills.setdefault(r.ills[0], {})
                row[first] = row.get(first, 0) + 1
                causes = {c for group in r.named for c in group.split("|")}
                rightly[r.ills[0]] = rightly.get(r.ills[0], 0) + bool(causes & set(MEANT[r.ills[0]]))
        well = [r for r in mine if not r.ills]
        clean, off = [r for r in well if not r.off], [r for r in well if r.off]
        false = sum(bool(r.named) for r in clean)
        out[world] = {
            "days": len(mine), "alarms": alarms, "share_95": wilson(alarms, len(mine)), "ills": ills,
            "well_days": len(well), "well_alarms": sum(bool(r.named) for r in well),
            "rightly": rightly, "clean_days": len(clean), "clean_alarms": false, "clean_95": wilson(false, len(clean)),
            "off_days": len(off), "off_found": sum(r.rightly for r in off), "off_wrong": sum(bool(r.named) and not r.rightly for r in off),
        }  # fmt: skip
    return out


def day_until(day: Any, at_s: float) -> dict[str, Any]:
    """What is known of a simulated day at one moment: rows, fills and events so far, counters from the log; end-of-day witnesses not yet.

    Witnesses taken in the morning (tape, catch) are there from the start; outline, delivery and last levels come in the evening.
    """
    from evenstand.model import Reading

    trail = day.trail
    t = (trail.t_ms - trail.t_ms[0]) / 1000.0
    n = int(np.searchsorted(t, at_s, side="right"))
    cut = {
        name: getattr(trail, name)[:n]
        for name in (
            "t_ms", "xy_m", "speed_m_s", "sections", "lifted", "revs", "asked_kg_ha", "echoed_kg_ha", "area_ha", "step_m", "run_present",
            "fan_turns_s",
        )
        if getattr(trail, name) is not None
    }  # fmt: skip
    part = replace(trail, **cut, rows=n, kept=n)
    area = float(trail.area_ha[n - 1])
    fills = tuple(f for f in day.fills if (f.area_ha or 0.0) <= area + 1e-6)
    events = tuple(e for e in day.events if e.at_s <= at_s)
    morning = ("width_tape", "distance_taped", "catch_factor", "typed_rate")
    readings = [r for r in day.readings if r.quantity.partition(":")[0] in morning]
    old = {r.quantity: r for r in day.readings}
    readings.append(replace(old["area_counter"], value=area))
    if "distance_shown" in old:
        readings.append(replace(old["distance_shown"], value=max(float(np.nansum(trail.step_m[:n])), 1.0)))
    for i, a in enumerate(trail.bins):
        turns = float(trail.revs[n - 1, i])
        if f"shown_mass:{a}" in old:
            readings.append(replace(old[f"shown_mass:{a}"], value=max(turns * day.typed[f"F:{a}"], 1e-3)))
        mine = [f for f in fills if f.bin == a]
        if mine and f"put:{a}" in old:
            sd = float(np.sqrt(sum(f.put_sd_kg**2 for f in mine)))
            readings.append(Reading(quantity=f"put:{a}", value=sum(f.put_kg for f in mine), sd=sd, instrument=mine[0].how))
    return {"readings": tuple(readings), "fills": fills, "events": events, "typed": day.typed, "trail": part}


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """A day looked at after every fill. kind: "" for a clean day; looks: how many; found_at: number of the look at which the cause was
    first named, None if never; fills_after: the same counted from when it was there; alarm: a set without the truth was named at some
    look; plain_alarm: the same with the limit of a single look at every look."""

    kind: str
    looks: int
    found_at: int | None
    fills_after: int | None
    alarm: bool
    plain_alarm: bool


def watched(task: tuple[int, str, str]) -> Watched:
    """task: seed, kind or "", world. The trail-level simulator, reading set "usual", looks at each fill and in the evening."""
    from benchmarks.faults import JOBS, drawn_fault
    from benchmarks.faults import KINDS as FIELD_KINDS
    from benchmarks.faults import SETS as FIELD_SETS
    from evenstand.desk import days
    from evenstand.desk.demo_farm import demo_farm
    from evenstand.simulate import simulate_day

    seed, kind, world = task
    farm = demo_farm()
    outfit, plan = farm.outfit("A"), days.demo_plan(farm, JOBS[seed % len(JOBS)])
    full = {b.bin: b.full_kg.value for b in plan.bins if b.full_kg is not None}
    roll = np.random.default_rng([seed, FIELD_KINDS.index(kind) if kind else 99])
    text, cause, _ = drawn_fault(kind, roll, full, len(outfit.runs), "ABCDEFGH", outfit.width_m or 1.0) if kind else ("", "", 0.0)
    day = simulate_day(outfit, plan, seed=seed, faults=(text,) if text else (), world=world, step_s=10.0, **FIELD_SETS["usual"])
    end = float((day.trail.t_ms[-1] - day.trail.t_ms[0]) / 1000.0)
    moments = sorted({round(e.at_s + 60.0, 0) for e in day.events if e.kind == "fill" and e.at_s > 60.0})
    kinds = days.kinds_of(farm, plan)
    whole = float(day.trail.area_ha[-1])
    looks: list[tuple[dict[str, Any], float]] = []
    for moment in moments:
        seen = day_until(day, min(moment, end))
        looks.append((seen, float(seen["trail"].area_ha[-1]) / whole))
    evening = {"readings": day.readings, "fills": day.fills, "events": day.events, "typed": day.typed, "trail": day.trail}
    looks.append((evening, 1.0))
    found_at, alarm, plain_alarm = None, False, False
    for number, (seen, share) in enumerate(looks, 1):
        for careful in (True, False):
            checked = days.checked_day(outfit, plan, kinds=kinds, **seen, share_done=min(1.0, max(share, 0.01)) if careful else None)
            findings = (*days.run_part(outfit, seen["trail"]), *checked.findings)
            named = named_sets(findings)
            off = any(cause not in group for group in named)
            if careful:
                alarm = alarm or off
                if found_at is None and named and not off:
                    found_at = number
            else:
                plain_alarm = plain_alarm or off
    since = day.truth.since_s.get(cause, 0.0)
    before = sum(1 for m in moments if m < since)
    return Watched(
        kind=kind, looks=len(looks), found_at=found_at, fills_after=None if found_at is None else max(found_at - before, 1), alarm=alarm,
        plain_alarm=plain_alarm,
    )  # fmt: skip


def kaplan_meier(times: Sequence[float], seen: Sequence[bool]) -> tuple[float | None, list[tuple[float, float]]]:
    """Median time to detection, and the curve (time, share not yet found); days on which it was never found are censored at their end."""
    order = sorted(zip(times, seen, strict=True))
    left, share, median = len(order), 1.0, None
    curve: list[tuple[float, float]] = []
    for time in sorted({t for t, _ in order}):
        found = sum(1 for t, s in order if t == time and s)
        if found:
            share *= 1 - found / left
            curve.append((time, share))
            if median is None and share <= 0.5:
                median = time
        left -= sum(1 for t, _ in order if t == time)
    return median, curve


def watched_table(runs: Sequence[Watched]) -> dict[str, Any]:
    """By kind: median number of looks until it was named, and how often at all; false alarms over clean days, with and without the falling
    limit."""
    out: dict[str, Any] = {}
    for kind in sorted({r.kind for r in runs if r.kind}):
        mine = [r for r in runs if r.kind == kind]
        median, _ = kaplan_meier([r.fills_after or r.looks for r in mine], [r.found_at is not None for r in mine])
        out[kind] = {
            "n": len(mine), "median_looks": median, "found": sum(r.found_at is not None for r in mine),
            "looks_a_day": float(np.mean([r.looks for r in mine])), "wrong_at_some_look": sum(r.alarm for r in mine),
        }  # fmt: skip
    clean = [r for r in runs if not r.kind]
    if clean:
        out["clean"] = {
            "days": len(clean), "looks_a_day": float(np.mean([r.looks for r in clean])), "alarms": sum(r.alarm for r in clean),
            "alarms_95": wilson(sum(r.alarm for r in clean), len(clean)), "alarms_plain_limit": sum(r.plain_alarm for r in clean),
        }  # fmt: skip
    return out


def pair_tasks(base: int, days: int, world: str) -> list[tuple[int, str, str]]:
    """`days` for each reading set but the barest."""
    return [(base + 1000 * k + i, s, world) for k, s in enumerate(SETS) if s not in ("three", "boundary") for i in range(days)]


def quiet_tasks(base: int, days: int, world: str) -> list[tuple[int, str, str]]:
    """`days` clean days over all reading sets in turn."""
    return [(base + i, SETS[i % len(SETS)], world) for i in range(days)]
