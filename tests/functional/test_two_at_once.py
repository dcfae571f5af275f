"""Two people at once: one served book takes both, a second process is told who holds it, and a reader is never kept out."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from starlette.testclient import TestClient

import replay_farm as farm
from evenstand.base.clock import FixedClock
from evenstand.base.errors import LockedError
from evenstand.book import Book, JobReading, StepState
from evenstand.web.site import create_app

ORIGIN = {"origin": "http://testserver"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    farm.new_book(tmp_path / "book", FixedClock(farm._at("2027-05-03T18:00"))).close()
    return tmp_path / "book"


def command(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "evenstand", *words], capture_output=True, text=True, env=dict(os.environ), check=False)


def test_posts_that_come_at_the_same_moment_are_all_kept(folder: Path) -> None:
    """The clock stands still, so that every key would be the same if two could come between looking for a free one and taking it."""
    each, people = 6, 4
    with TestClient(create_app(folder, clock=FixedClock(farm._at("2027-05-04T08:00"))), headers=ORIGIN) as client:
        gate, answers = threading.Barrier(people), []

        def person(n: int) -> None:
            gate.wait()
            for i in range(each):
                sent = {"job": farm.JOB.key, "area_counter": f"{n}.{i}"}
                answers.append(client.post("/after/check", data=sent, follow_redirects=False).status_code)
                answers.append(client.get("/").status_code)

        threads = [threading.Thread(target=person, args=(n,)) for n in range(1, people + 1)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
    assert set(answers) <= {200, 303} and len(answers) == 2 * each * people
    with Book.open(folder) as book:
        kept = sorted(r.reading.value for r in book.all(JobReading))
        assert kept == sorted(float(f"{n}.{i}") for n in range(1, people + 1) for i in range(each))
        assert book.check().ok


def test_a_second_writer_is_told_who_holds_the_book_and_nothing_is_lost(folder: Path) -> None:
    with TestClient(create_app(folder, who="Kim at the office"), headers=ORIGIN) as client:
        assert client.get("/").status_code == 200
        with pytest.raises(LockedError, match="Kim at the office.*Close it there, or open it for reading only"):
            Book.open(folder, write=True, who="Robin")
        ran = command("check", "--book", str(folder), "--job", farm.JOB.key, "--read", "area_counter=10")
        assert ran.returncode == 2 and "Kim at the office" in ran.stderr and "Traceback" not in ran.stderr
        assert client.post("/after/check", data={"job": farm.JOB.key, "area_counter": "11"}, follow_redirects=False).status_code == 303
    with Book.open(folder) as book:
        assert [r.reading.value for r in book.all(JobReading)] == [11.0]


def test_a_reader_beside_the_served_book_sees_what_was_kept(folder: Path) -> None:
    with TestClient(create_app(folder), headers=ORIGIN) as client:
        client.post("/after/check", data={"job": farm.JOB.key, "area_counter": "12"})
        ran = command("next", "--book", str(folder), "--json")
        assert ran.returncode == 0 and "12.00 ha sown" in ran.stdout
        assert client.get("/").status_code == 200


def test_what_nothing_entered_shows_is_done_by_word_and_taken_up_again(folder: Path) -> None:
    with TestClient(create_app(folder, clock=FixedClock(farm._at("2027-05-03T18:00")), who="Kim"), headers=ORIGIN) as client:
        with_alarm = client.get("/").text
        key = with_alarm.split('value="alarm:', 1)[1].split('"', 1)[0]
        assert client.post("/next/done", data={"key": f"alarm:{key}", "what": "Set the alarms."}, follow_redirects=False).status_code == 303
        page = client.get("/").text
        assert (
            "Done, by word" in page and "by Kim" in page and f'name="key" value="alarm:{key}"><input type="hidden" name="what"' not in page
        )
        client.post("/next/reopen", data={"key": f"alarm:{key}"})
        assert f'name="key" value="alarm:{key}"><input type="hidden" name="what"' in client.get("/").text


def test_the_command_takes_a_word_only_where_no_evidence_could_close_the_line(folder: Path) -> None:
    with Book.open(folder) as book:
        from evenstand.desk.nexts import next_list

        steps = next_list(book, clock=FixedClock(farm._at("2027-05-03T18:00")))
    alarm, catch = (next(s.key for s in steps if s.key.startswith(start)) for start in ("alarm:", "catch:"))
    refused = command("next", "--book", str(folder), "--done", catch, "--done", "nothing")
    assert refused.returncode == 2 and "closes by evidence" in refused.stderr and "'nothing' is no open line" in refused.stderr
    assert command("next", "--book", str(folder), "--done", alarm).returncode == 0
    with Book.open(folder) as book:
        assert book.get(StepState, alarm).state == "closed" and book.get(StepState, catch) is None
