"""The inputs of the benchmarks of smoother, reconciled day and Next list: fresh, seeded, and really doing the work that is timed."""

from __future__ import annotations

from pathlib import Path

import pytest
from benchmarks.desk_times import big_book, long_day, next_once, reconcile_once

from evenstand.base.clock import FixedClock
from evenstand.book import Book
from evenstand.check import reconcile
from evenstand.desk.demo import MORNING
from evenstand.desk.nexts import current_jobs, done_ha_of, done_of, next_list
from evenstand.model import Job


def test_the_long_day_has_its_readings_and_its_heavy_meter_is_named() -> None:
    relations, readings = long_day(7)
    assert len(readings) == 200
    assert [r.value for r in readings] != [r.value for r in long_day(8)[1]]
    small = long_day(7, 80)
    assert reconcile_once(small) == len(small[1]) == 80, "the same looks in each of five bins"
    (named,) = reconcile(*small).suspects
    assert named == ("factor:C",), "a leak makes a meter look light, and this one is heavy"
    assert len(relations) == 65


def test_the_smoother_and_both_forms_of_its_peer_agree() -> None:
    pytest.importorskip("statsmodels", reason="NOT RUN HERE: statsmodels is not installed")
    from benchmarks import smoothing

    case = smoothing.season(5)
    assert smoothing.ours(case) == pytest.approx(smoothing.usual(case), rel=1e-10)
    assert smoothing.ours(case) == pytest.approx(smoothing.lean(case), rel=1e-10)
    assert smoothing.ours(case) != pytest.approx(smoothing.ours(smoothing.season(6)), rel=1e-6)


def test_a_book_of_more_jobs_lists_the_begun_ones_and_reads_hectares_in_one_go(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    big_book(folder, 3, 10)
    with Book.open(folder) as book:
        jobs = book.all(Job)
        assert len(jobs) == 10
        done = done_of(book)
        assert done == {j.key: done_ha_of(book, j.key) for j in jobs}
        assert sum(v is not None for v in done.values()) >= 2
        assert current_jobs(book) == current_jobs(book, done)
        steps = next_list(book, clock=FixedClock(MORNING))
        assert {s.job for s in steps} & {j.key for j in jobs if j.key.startswith("job-")}
    assert next_once(folder) == len(steps)
