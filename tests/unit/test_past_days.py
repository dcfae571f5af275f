"""What earlier fields of an outfit teach the next one: how far things move, what has begun to wander; made again, never kept as history."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

import replay_farm as farm
from evenstand.base.clock import FixedClock
from evenstand.book import Book, JobReading, View
from evenstand.check import DaySeen
from evenstand.desk import past_days
from evenstand.desk.checking import check_job, reading_of
from evenstand.desk.past_days import Past, job_check, past_from, past_of, readings_now, spread_findings
from evenstand.desk.recording import record_reading
from evenstand.solve.scales import learned_scale

AREA_HA = 60.0


def season(folder: Path, offs: Sequence[float]) -> tuple[Book, FixedClock]:
    """A field a day, each with the bin's mass off by so much [share]."""
    clock = FixedClock(datetime(2027, 5, 1, 6, tzinfo=UTC))
    book = farm.new_book(folder, clock)
    with book.batch("catches"):
        farm._catch(book, clock, ["A", "wheat", "5.00", "4"])
        farm._catch(book, clock, ["B", "urea", "4.70", "4"])
    for i, off in enumerate(offs):
        field(book, clock, f"f{i}", off)
    return book, clock


def field(book: Book, clock: FixedClock, key: str, off: float) -> None:
    book.put(replace(farm.JOB, key=key, field_key="", area_ha=AREA_HA))
    clock.advance(hours=20)
    used = 120.0 * AREA_HA * (1 + off)
    with book.batch("readings"):
        for name, value in {
            "area_counter": AREA_HA * 1.01, "boundary_area": AREA_HA, "put:A": used + 300, "level:A": 300.0, "shown_mass:A": 120.0 * AREA_HA * 1.01,
            "distance_shown": 37_000.0, "distance_gnss": 37_000.0,
        }.items():  # fmt: skip
            kind, _, letter = name.partition(":")
            record_reading(book, job=key, reading=reading_of(kind, value, bin=letter), clock=clock)


def test_a_field_is_taught_by_those_before_it_and_not_by_itself_or_later_ones(tmp_path: Path) -> None:
    book, _ = season(tmp_path / "b", [0.01, -0.005, 0.004, 0.0])
    with book:
        view = View(book)
        assert past_of(view, "f0") == Past()
        assert past_of(view, "f2").days == ("2027-05-02", "2027-05-02")
        assert len(past_of(view, "f3").rows) == 3
        assert past_of(view, farm.JOB.key) == Past(), "nothing was read on it"


def factor_findings(book: Book, key: str) -> list[str]:
    return [f.state for f in check_job(book, key) if f.about == "bin A" and f.suspects[:1] == (("factor:A",),)]


def test_a_meter_that_has_always_moved_is_given_more_room_than_one_that_never_did(tmp_path: Path) -> None:
    quiet, restless = [0.002, -0.002, 0.003, -0.001, 0.002, -0.003], [0.04, -0.045, 0.05, -0.04, 0.035, -0.05]
    scales = {}
    for name, offs in (("quiet", quiet), ("restless", restless)):
        book, clock = season(tmp_path / name, offs)
        with book:
            field(book, clock, "next", 0.0)
            scales[name] = past_of(View(book), "next").values()["factor"]
    assert scales["quiet"] < 1.0 < scales["restless"] and scales["restless"] > 1.4 * scales["quiet"], scales


def test_the_scales_reach_the_check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    given = []
    real: Callable[..., object] = past_days._check

    def spy(view, key, scales, profile):
        given.append((key, dict(scales)))
        return real(view, key, scales, profile)

    monkeypatch.setattr(past_days, "_check", spy)
    book, _ = season(tmp_path / "b", [0.01, -0.02, 0.015])
    with book:
        check_job(book, "f2")
    assert [k for k, _ in given] == ["f0", "f1", "f2"]
    assert given[0][1] == {} and given[1][1] and given[2][1]["factor"] != given[1][1]["factor"]


def test_a_field_that_is_put_right_teaches_anew(tmp_path: Path) -> None:
    book, clock = season(tmp_path / "b", [0.03, 0.0, 0.0])
    with book:
        before = past_of(View(book), "f2").rows[0].gains["factor:A"][0]
        record_reading(
            book, job="f0", reading=reading_of("put", 120.0 * AREA_HA + 300, bin="A", at="2027-05-02T02:00:01.000Z"), clock=clock
        )
        after = past_of(View(book), "f2").rows[0].gains["factor:A"][0]
        assert abs(before - 0.02) < 0.012 and abs(after) < abs(before)
        assert not {e.kind for e in book.history()} - {
            "Farm",
            "Product",
            "Outfit",
            "Boundary",
            "Job",
            "CatchRecord",
            "MeterFactor",
            "JobReading",
        }


def test_what_was_worked_out_once_is_not_worked_out_again_until_something_changes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book, clock = season(tmp_path / "b", [0.01, -0.005])
    with book:
        first = check_job(book, "f1")
        dump = book.dump()
        monkeypatch.setattr(past_days, "_check", lambda *_: pytest.fail("checked again"))
        assert check_job(book, "f1") == first
        assert book.dump() == dump
        monkeypatch.undo()
        record_reading(book, job="f1", reading=reading_of("level", 350.0, bin="A"), clock=clock)
        assert check_job(book, "f1") != first
        assert sum(1 for row in book.dump()["derived"] if row[1] == "JobCheck") == 2, "the older result of a job gives way"


def test_a_reader_hands_what_it_worked_out_to_the_book_and_changes_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book, _ = season(tmp_path / "b", [0.01, -0.005])
    book.close()
    with Book.open(tmp_path / "b") as reader:
        before = reader.dump()
        first = check_job(reader, "f1")
        assert reader.dump() == before, "a reader writes nothing while it reads"
    with Book.open(tmp_path / "b") as reader:
        after = reader.dump()
        assert {k: v for k, v in after.items() if k not in ("derived", "sqlite_sequence")} == {
            k: v for k, v in before.items() if k not in ("derived", "sqlite_sequence")
        }
        monkeypatch.setattr(past_days, "_check", lambda *_: pytest.fail("checked again"))
        assert check_job(reader, "f1") == first


def test_a_reader_beside_a_writer_keeps_quiet(tmp_path: Path) -> None:
    book, _ = season(tmp_path / "b", [0.01])
    with book:
        with Book.open(tmp_path / "b") as reader:
            found = check_job(reader, "f0")
        assert found and not [row for row in book.dump()["derived"] if row[1] == "JobCheck"]


def test_a_kept_result_of_another_shape_is_made_again(tmp_path: Path) -> None:
    book, _ = season(tmp_path / "b", [0.01])
    with book:
        first = check_job(book, "f0")
        with book._transaction() as connection:
            connection.exec_driver_sql("UPDATE derived SET body = '{\"findings\": 3}' WHERE kind = 'JobCheck'")
        assert check_job(book, "f0") == first


def test_an_older_counter_gives_way_to_a_later_fill_that_carries_one(tmp_path: Path) -> None:
    clock = FixedClock(datetime(2027, 5, 4, 6, tzinfo=UTC))
    with farm.new_book(tmp_path / "b", clock) as book:
        record_reading(book, job="home-wheat", reading=reading_of("area_counter", 10.0), clock=clock)
        clock.advance(hours=2)
        farm._fill(book, clock, ["A", "wheat", "3100", "pads", "26.0"])
        assert readings_now(View(book), "home-wheat")["area_counter"].value == 26.0
        clock.advance(hours=1)
        record_reading(book, job="home-wheat", reading=reading_of("area_counter", 30.0), clock=clock)
        assert readings_now(View(book), "home-wheat")["area_counter"].value == 30.0
        assert len(book.all(JobReading)) == 2, "nothing is written for it"


def test_a_scale_that_scatters_is_said_in_numbers_once_enough_days_show_it() -> None:
    def past(n: int) -> Past:
        rows = tuple(DaySeen(gains={}, instruments={"pads": (2.6 * (-1) ** i,)}) for i in range(n))
        return past_from(rows, [f"2027-05-{i + 1:02d}" for i in range(n)])

    assert spread_findings(past(3)) == ()
    many = past(9)
    (said,) = spread_findings(many)
    expected = learned_scale([2.6 * (-1) ** i for i in range(9)])
    assert said.state == "holds" and f"{expected.value:.2f} times the stated spread, over 9 earlier fields" in said.claim
    assert "counts less" in said.claim and f"{expected.low:.2f}" in said.evidence[0]
    steady = past_from(tuple(DaySeen(gains={}, instruments={"pads": (0.9 * (-1) ** i,)}) for i in range(9)), ("x",) * 9)
    assert spread_findings(steady) == (), "what reads as stated is not talked about"


def test_a_slow_drift_is_said_though_no_single_field_shows_it(tmp_path: Path) -> None:
    book, _ = season(tmp_path / "b", [0.0, 0.001, *([0.03] * 10)])
    with book:
        alone = job_check(View(book), "f11", {}, "si")
        assert alone is not None and not [f for f in alone.findings if f.state == "does-not-hold"]
        over_days = [f for f in check_job(book, "f11") if f.about.endswith("over days")]
    assert over_days and over_days[0].state == "doubtful" and over_days[0].suspects == (("factor:A",),)


def test_a_field_under_way_asks_for_more_evidence_and_is_no_day_of_its_own_yet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One budget of false alarms for the whole day, however often it is looked at."""
    asked: list[float | None] = []
    real = past_days._check

    def spy(view, key, scales, profile):
        found = real(view, key, scales, profile)
        asked.append(found.share_done)
        return found

    monkeypatch.setattr(past_days, "_check", spy)
    counted: list[int] = []
    monkeypatch.setattr(past_days, "wandering", lambda rows, **_: counted.append(len(rows)) or ())
    book, clock = season(tmp_path / "b", [0.0, 0.01])
    with book:
        check_job(book, "f1")
        book.put(replace(farm.JOB, key="under-way", field_key="", area_ha=AREA_HA))
        clock.advance(hours=1)
        for area in (6.0, 30.0, 60.0):
            record_reading(book, job="under-way", reading=reading_of("area_counter", area), clock=clock)
            record_reading(book, job="under-way", reading=reading_of("distance_gnss", 600.0 * area), clock=clock)
            record_reading(book, job="under-way", reading=reading_of("distance_shown", 600.0 * area), clock=clock)
            check_job(book, "under-way")
            clock.advance(hours=2)
    assert asked[-3:] == [pytest.approx(0.1), pytest.approx(0.5), 1.0]
    assert counted == [2, 2, 2, 3]
