"""How long the desk takes: a day of 200 readings reconciled, and the Next list of a book of 200 jobs. Times, without a peer.

`python -m benchmarks.desk_times --against FOLDER` puts beside them the times of an older checkout of the project, on the same machine in
the same run: both make their own book from the same seed.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
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
    from evenstand.base.clock import FixedClock, iso
    from evenstand.book import Book, JobReading
    from evenstand.desk.checking import reading_of
    from evenstand.desk.demo import MORNING, build_book

    build_book(folder)
    rng = np.random.default_rng([seed, 6])
    first = MORNING - timedelta(days=JOBS)
    with Book.open(folder, write=True, who="bench", clock=FixedClock(MORNING)) as book, book.batch("many jobs"):
        known = sorted(book.all(Job), key=lambda j: j.key)
        for i in range(len(known), jobs):
            job = replace(known[i % len(known)], key=f"job-{i:03d}")
            book.put(job)
            at = iso(first + timedelta(days=i))  # a field a day: each learns from those before it
            if i % 2 == 0:
                area = round(float(rng.uniform(0.2, 0.8)) * (job.area_ha or 50.0), 2)
                book.put(JobReading(key=f"{job.key}-area", job=job.key, reading=reading_of("area_counter", area, at=at), by="bench"))
                for ask in job.asks:
                    for a in ask.bins:
                        used = ask.rate_kg_ha / len(ask.bins) * area
                        for kind, kg in (("put", used + 400), ("level", 400.0)):
                            one = reading_of(kind, round(kg, 0), bin=a, at=at)
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


def one_reading_more(folder: Path) -> None:
    """Somebody reads the area counter of the job that was begun last."""
    from evenstand.base.clock import FixedClock, iso
    from evenstand.book import Book, JobReading
    from evenstand.desk.checking import reading_of
    from evenstand.desk.demo import MORNING
    from evenstand.desk.nexts import done_ha_of

    with Book.open(folder, write=True, who="bench", clock=FixedClock(MORNING)) as book:
        last = max((r for r in book.all(JobReading) if r.job.startswith("job-")), key=lambda r: (r.reading.at, r.key))
        one = reading_of("area_counter", 1.0 + (done_ha_of(book, last.job) or 0.0))
        book.put(JobReading(key=f"{last.job}-again", job=last.job, reading=replace(one, at=iso(MORNING)), by="bench"))


def results(*, seed: int, turns: int = 3) -> list[dict[str, Any]]:
    """All times, as plain data: the list of a book that was never looked at, of one in which nothing changed, and after one reading."""
    case = long_day(seed)
    took = timed_often(lambda: reconcile_once(case), turns)
    cpu = cpu_of(lambda: reconcile_once(case))
    out = [
        {
            "name": "reconcile_day",
            "size": reconcile_once(case),
            "relations": len(case[0]),
            "median_s": took[0],
            "worst_s": took[1],
            "cpu_s": cpu,
        }
    ]
    with tempfile.TemporaryDirectory() as where:
        small, folder = Path(where) / "small", Path(where) / "book"
        big_book(small, seed, 8)
        next_once(small)  # everything is loaded and compiled before the clock runs
        big_book(folder, seed)
        out.append(_list_time("next_list", folder, 1))  # once: a second look finds what the first has left
        out.append(_list_time("next_list_again", folder, turns))
        one_reading_more(folder)
        out.append(_list_time("next_list_after_a_reading", folder, 1))
    return out


def _list_time(name: str, folder: Path, turns: int) -> dict[str, Any]:
    steps: list[int] = []
    began = time.process_time()
    median, worst = timed_often(lambda: steps.append(next_once(folder)), turns)
    cpu = (time.process_time() - began) / turns
    return {"name": name, "size": JOBS, "steps": steps[-1], "median_s": median, "worst_s": worst, "cpu_s": cpu}


def cpu_of(function: Callable[[], Any]) -> float:
    """Seconds of processor that one call takes: on a busy machine the steadier figure."""
    began = time.process_time()
    function()
    return time.process_time() - began


_OLDER = """
import json, tempfile, time
from pathlib import Path
from benchmarks.desk_times import big_book, long_day, next_once, reconcile_once
def took(name, function):
    wall, cpu = time.perf_counter(), time.process_time()
    function()
    return {{"name": name, "median_s": time.perf_counter() - wall, "cpu_s": time.process_time() - cpu}}
case = long_day({seed})
reconcile_once(case)
out = [took("reconcile_day", lambda: reconcile_once(case))]
with tempfile.TemporaryDirectory() as where:
    small, folder = Path(where) / "small", Path(where) / "book"
    big_book(small, {seed}, 8)
    next_once(small)
    big_book(folder, {seed})
    out.append(took("next_list", lambda: next_once(folder)))
print(json.dumps(out))
"""


def results_of(checkout: Path, *, seed: int) -> list[dict[str, Any]]:
    """The times of another checkout of the project, by its own code in a process of its own.

    Raises
    ------
    RuntimeError
        With what that process said, if it failed.
    """
    here = os.environ | {"PYTHONPATH": os.pathsep.join((str(checkout / "src"), str(checkout)))}
    code = _OLDER.format(seed=seed)
    ran = subprocess.run([sys.executable, "-c", code], cwd=checkout, env=here, capture_output=True, text=True, check=False)
    if ran.returncode != 0:
        raise RuntimeError(ran.stderr.strip()[-2000:])
    found: list[dict[str, Any]] = json.loads(ran.stdout.splitlines()[-1])
    return found


def main() -> None:
    """Print the times, and beside them those of an older checkout where one is named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--turns", type=int, default=3)
    parser.add_argument("--against", type=Path, help="Folder of an older checkout.")
    said = parser.parse_args()
    before = {r["name"]: r for r in results_of(said.against.resolve(), seed=said.seed)} if said.against else {}
    before.setdefault("next_list_again", before.get("next_list", {}))  # an older one that keeps nothing takes as long every time
    for row in results(seed=said.seed, turns=said.turns):
        then = before.get(row["name"]) or {}
        beside = (
            f"; before {then['median_s']:.3f} s, of processor {then['cpu_s']:.3f} s: {then['cpu_s'] / row['cpu_s']:.1f} times less"
            if then
            else ""
        )
        print(f"{row['name']}: {row['median_s']:.3f} s, worst {row['worst_s']:.3f} s, of processor {row['cpu_s']:.3f} s{beside}")


if __name__ == "__main__":
    main()
