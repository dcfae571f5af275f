"""How long the desk takes: a day of 200 readings reconciled, and the Next list of a book of 200 jobs. Times, without a peer."""

from __future__ import annotations

import math
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from evenstand.model import Job, Reading

READINGS, JOBS = 200, 200


def long_day(seed: int, count: int = READINGS) -> tuple[list[Any], list[Reading]]:
    """Relations and readings of a day with `count` readings: five bins, each looked into again and again, and one meter 6 % heavy."""
    from evenstand.check import BinDay, Look, PutIn, relations_for

    rng = np.random.default_rng([seed, 5])
    letters = "ABCDE"
    each = (count // len(letters) - 1) // 3
    days = []
    for a in letters:
        gain = 1.06 if a == "C" else 1 + 0.01 * float(rng.normal())
        level, looks, puts = 3000.0, [], []
        for i in range(1, each + 1):
            at = 900.0 * i
            level -= 900.0 * gain * (1 + 0.005 * float(rng.normal()))
            looks.append(Look(machine_kg=at, level_kg=level + 30 * float(rng.normal()), level_sd_kg=30.0))
            put = 900.0 + 100 * float(rng.random())
            puts.append(PutIn(machine_kg=at, put_kg=put + 9 * float(rng.normal()), put_sd_kg=9.0))
            level += put
        days.append(BinDay(bin=a, looks=tuple(looks), puts=tuple(puts), start_kg=3000.0, start_sd_kg=15.0))
    relations, readings = relations_for([], bin_days=days)
    return list(relations), list(readings)


def reconcile_once(case: tuple[list[Any], list[Reading]]) -> int:
    """Reconcile the day; the number of readings that took part."""
    from evenstand.check import reconcile

    found = reconcile(*case)
    if not math.isfinite(found.chi2):
        raise AssertionError("the day was not reconciled")
    return len(found.names)


def big_book(folder: Path, seed: int, jobs: int = JOBS) -> None:
    """The demo farm's book with its jobs repeated under other names until there are `jobs`; every second one is begun: it has a counter
    reading, a fill and a level."""
    from evenstand.base.clock import FixedClock
    from evenstand.book import Book, JobReading
    from evenstand.desk.checking import reading_of
    from evenstand.desk.demo import MORNING, build_book

    build_book(folder)
    rng = np.random.default_rng([seed, 6])
    with Book.open(folder, write=True, who="bench", clock=FixedClock(MORNING)) as book, book.batch("many jobs"):
        known = sorted(book.all(Job), key=lambda j: j.key)
        for i in range(len(known), jobs):
            job = replace(known[i % len(known)], key=f"job-{i:03d}")
            book.put(job)
            if i % 2 == 0:
                area = round(float(rng.uniform(0.2, 0.8)) * (job.area_ha or 50.0), 2)
                book.put(JobReading(key=f"{job.key}-area", job=job.key, reading=reading_of("area_counter", area), by="bench"))
                for ask in job.asks:
                    for a in ask.bins:
                        used = ask.rate_kg_ha / len(ask.bins) * area
                        for kind, kg in (("put", used + 400), ("level", 400.0)):
                            one = reading_of(kind, round(kg, 0), bin=a)
                            book.put(JobReading(key=f"{job.key}-{kind}-{a}", job=job.key, reading=one, by="bench"))


def next_once(folder: Path) -> int:
    """Open the book, make the list; the number of its steps."""
    from evenstand.base.clock import FixedClock
    from evenstand.book import Book
    from evenstand.desk.demo import MORNING
    from evenstand.desk.nexts import next_list

    with Book.open(folder) as book:
        return len(next_list(book, clock=FixedClock(MORNING)))


def timed_often(function: Callable[[], Any], turns: int) -> tuple[float, float]:
    """(median, worst) seconds."""
    seconds = []
    for _ in range(turns):
        began = time.perf_counter()
        function()
        seconds.append(time.perf_counter() - began)
    return statistics.median(seconds), max(seconds)


def results(*, seed: int, turns: int = 3) -> list[dict[str, Any]]:
    """Both times, as plain data."""
    case = long_day(seed)
    took = timed_often(lambda: reconcile_once(case), turns)
    out = [{"name": "reconcile_day", "size": reconcile_once(case), "relations": len(case[0]), "median_s": took[0], "worst_s": took[1]}]
    with tempfile.TemporaryDirectory() as where:
        small, folder = Path(where) / "small", Path(where) / "book"
        big_book(small, seed, 8)
        next_once(small)  # everything is loaded and compiled before the clock runs
        big_book(folder, seed)
        began = time.perf_counter()
        steps = next_once(folder)
        took_s = time.perf_counter() - began  # once: it takes long enough not to need a median
        out.append({"name": "next_list", "size": JOBS, "steps": steps, "median_s": took_s, "worst_s": took_s})
    return out
