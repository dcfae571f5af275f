"""The parts of the bench of faults that need thousands of days: power beside the ideal test, intervals over seasons, two faults on a day,
worlds that break the rules, and looks through the day."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import asdict
from typing import Any

from benchmarks import hardships, power, seasons
from benchmarks.plain_days import KINDS, SETS


def arguments(parser: argparse.ArgumentParser) -> None:
    """How many of each."""
    parser.add_argument("--power", type=int, default=24, help="plain days for each cause and reading set, beside the ideal test")
    parser.add_argument("--seasons", type=int, default=40, help="seasons in each of the nominal and the rough world")
    parser.add_argument("--learn", type=int, default=seasons.CLEAN_DAYS, help="clean days of each season to learn from")
    parser.add_argument("--pairs", type=int, default=10, help="plain days with two faults, for each reading set and world")
    parser.add_argument("--quiet", type=int, default=150, help="clean plain days, for each of three worlds")
    parser.add_argument("--watched", type=int, default=3, help="days looked at after every fill, for each fault; clean ones 8 times that")


Part = Callable[[str, Any, Callable[[], Any]], Any]
WORLDS = ("nominal", "rough", "hostile")


def run(pool: Executor, base: int, options: argparse.Namespace, part: Part) -> dict[str, Any]:
    """All of it on a pool of processes, as plain data; `part` keeps each part when it is done."""
    from benchmarks.faults import KINDS as FIELD_KINDS

    def beside_the_ideal() -> dict[str, Any]:
        trials = list(pool.map(power.trial, power.tasks(base + 100_000, options.power), chunksize=8))
        of = {(s, k): [t for t in trials if (t.kind, t.reading_set) == (k, s)] for s in SETS for k in KINDS}
        return {
            "power": {s: {k: power.power_cell(of[s, k]) for k in KINDS if of[s, k]} for s in SETS},
            "sizes": {k: power.size_errors([t for t in trials if t.kind == k]) for k in KINDS},
            "confusion_plain": power.first_named(trials),
            "wrong_plain": [asdict(t) for t in trials if t.score == "wrong"],
        }

    def over_seasons() -> Any:
        tasks = [(base + 200_000 + i, w, options.learn) for w in WORLDS[:2] for i in range(options.seasons)]
        runs = list(pool.map(seasons.season, tasks, chunksize=4))
        return seasons.season_table(runs) if runs else {}

    def in_pairs() -> Any:
        tasks = [t for w in WORLDS for t in hardships.pair_tasks(base + 300_000, options.pairs, w)]
        pairs = list(pool.map(hardships.pair_run, tasks, chunksize=16))
        return {w: hardships.pair_table([r for r in pairs if r.world == w]) for w in WORLDS}

    def in_quiet() -> Any:
        tasks = [t for w in WORLDS for t in hardships.quiet_tasks(base + 400_000, options.quiet, w)]
        return hardships.quiet_table(list(pool.map(hardships.quiet_run, tasks, chunksize=32)))

    def through_the_day() -> Any:
        days = [(base + 6000 + i, k, "nominal") for k in FIELD_KINDS for i in range(options.watched)]
        days += [(base + 7000 + i, "", "nominal") for i in range(8 * options.watched)]
        return hardships.watched_table(list(pool.map(hardships.watched, days, chunksize=2)))

    return {
        **part("power", options.power, beside_the_ideal),
        "seasons": part("seasons", (options.seasons, options.learn), over_seasons),
        "pairs": part("pairs", options.pairs, in_pairs),
        "quiet_plain": part("quiet", options.quiet, in_quiet),
        "watched": part("watched", options.watched, through_the_day),
    }


def text_of(result: Mapping[str, Any]) -> str:
    """The tables as text."""
    lines = ["\npower beside the ideal test, plain days: size found nine in ten, ours / ideal (bar: 1.5 times)"]
    lines.append(f"{'fault':14}" + "".join(f"{s:>26}" for s in SETS))
    for kind in KINDS:
        row = [_power(kind, result["power"][s][kind]) if kind in result["power"][s] else "-" for s in SETS]
        lines.append(f"{kind:14}" + "".join(f"{c:>26}" for c in row))
    lines.append("\nstated 95 % intervals over seasons (held, of those named alone; with learned scales; with the cause given)")
    for world, t in result["seasons"].items():
        cells = ", ".join(f"{k} {_share(t[k])}" for k in ("named", "named_learned", "given", "given_learned"))
        scales = ", ".join(f"{k} {v:.2f}" for k, v in t["scales"].items())
        lines.append(f"{world:10}{t['seasons']} seasons: {cells}; scales learned: {scales}")
    lines.append("\ntwo faults on one day")
    for world, sets in result["pairs"].items():
        for s, rows in sets.items():
            told = rows["told"]
            ends = ", ".join(f"{k} {v}" for k, v in told["scores"].items() if v)
            lines.append(f"{world:10}{s:10}{rows['all']['n']:>4} days, {told['n']:>4} told: {ends}")
    lines.append("\nclean plain days with an alarm")
    for world, q in result["quiet_plain"].items():
        low, high = q["share_95"]
        well = f"{q['clean_alarms']} of the {q['clean_days']} really clean; {q['off_found']} found of {q['off_days']} with something off"
        lines.append(f"{world:10}{q['alarms']} of {q['days']} (95 %: {100 * low:.2f} to {100 * high:.2f} %), {well}")
        for ill, row in q["ills"].items():
            lines.append(f"{'':10}{ill}: " + ", ".join(f"{k} {v}" for k, v in sorted(row.items(), key=lambda p: -p[1])))
    lines.append("\nlooks after every fill: looks until the fault was named, median by Kaplan and Meier")
    for kind, w in result["watched"].items():
        if kind == "clean":
            plain = f"{w['alarms_plain_limit']} with the limit of a single look"
            lines.append(f"clean: {w['alarms']} of {w['days']} days alarm at some of {w['looks_a_day']:.1f} looks; {plain}")
        else:
            named = f"named on {w['found']} of {w['n']} days, wrong at some look on {w['wrong_at_some_look']}"
            lines.append(f"{kind:14}{w['median_looks']} of {w['looks_a_day']:.1f} looks; {named}")
    return "\n".join(lines)


def _power(kind: str, c: Mapping[str, Any]) -> str:
    unit, times = ("kg", 1.0) if kind.startswith("fill") else ("%", 100.0)

    def size(value: float | None) -> str:
        return "-" if value is None else (f"{value * times:.0f}" if unit == "kg" else f"{value * times:.1f}")

    return f"{size(c['ours'])} / {size(c['ideal'])} {unit} {c['verdict'] if c['ratio'] is None else format(c['ratio'], '.2f')}"


def _share(c: Mapping[str, Any]) -> str:
    if c["share"] is None:
        return "-"
    low, high = c["share_95"]
    return f"{100 * c['share']:.1f} % ({100 * low:.1f} to {100 * high:.1f}, n {c['n']})"
