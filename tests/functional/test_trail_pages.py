"""The page of a log: what its detectors say, the same on page, paper and command; a log of another field; antenna and hitch typed."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from evenstand.base.clock import FixedClock
from evenstand.book import Book, TrailRecord
from evenstand.desk.demo import MORNING, build_book
from evenstand.desk.demo_farm import demo_farm
from evenstand.desk.logs import read_log
from evenstand.desk.planning import job_inputs
from evenstand.desk.trails import log_record, trail_view
from evenstand.expect import plan_for
from evenstand.formats.delimited import write_trail_csv
from evenstand.model import Outfit
from evenstand.paper.record import record_data
from evenstand.simulate import simulate_day
from evenstand.web.site import create_app

RIGHT, WRONG, FAR = "sloughs-canola-day", "dogleg-pea-day", "dogleg-pea-far"


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log with a dead head and a long distance count, kept for its job, for a job of another field, and moved three degrees east."""
    folder = tmp_path_factory.mktemp("logs")
    build_book(folder / "book")
    with Book.open(folder / "book", write=True, who="test", clock=FixedClock(MORNING)) as opened:
        inputs = job_inputs(opened, "sloughs-canola")
        day = simulate_day(
            inputs.outfit, plan_for(inputs), inputs.boundary, seed=5, faults=("head=C", "distance=5"), optional="all", max_area_ha=12.0
        )
        far = dataclasses.replace(day.trail.frame, lon_deg=day.trail.frame.lon_deg + 3)
        for name, trail, job in (
            ("day", day.trail, "sloughs-canola"), ("day", day.trail, "dogleg-pea"), ("far", dataclasses.replace(day.trail, frame=far), "dogleg-pea"),
        ):  # fmt: skip
            path = folder / f"{name}.csv"
            write_trail_csv(trail, path)
            read_log(opened, job, path, clock=FixedClock(MORNING))
    return folder / "book"


@pytest.fixture
def site(book: Path) -> Iterator[TestClient]:
    with TestClient(create_app(book), base_url="http://127.0.0.1") as client:
        yield client


def plain(text: str) -> str:
    """Words of a page, without its tags."""
    import html

    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).replace("\u202f", " ").split())


def test_page_paper_and_command_show_the_same_lines(book: Path, site: TestClient) -> None:
    from evenstand.cli.trail import command

    page = plain(site.get(f"/after/trail/{RIGHT}").text)
    with Book.open(book) as opened:
        view = trail_view(opened, RIGHT)
        paper = record_data(log_record(opened, RIGHT), profile="si")
    told = CliRunner().invoke(command, ["report", "sloughs-canola", "--book", str(book), "--no-places"], standalone_mode=False)
    assert told.exception is None
    typed = plain(told.output)
    assert {f.kind for f in view.lines.found} == {"lost-flow", "distance-scale"}
    assert len(paper["faults"]) == len(view.lines.found)
    for line, printed in zip(view.lines.found, paper["faults"], strict=True):
        for text in (line.says, line.where, line.seen, line.worth, line.confirm, line.not_said):
            assert plain(text) in page
            assert plain(text) in typed
        assert printed["says"] == line.says
        assert [list(r) for r in line.rows] == printed["rows"]
    for text in view.lines.unseen:
        assert plain(text) in page
        assert text in paper["unseen"]
    assert plain(view.lines.head) in page
    assert paper["found"] == view.lines.head


def test_a_head_may_be_sown_again_and_one_row_never(book: Path) -> None:
    with Book.open(book) as opened:
        view = trail_view(opened, RIGHT)
    head = next(f for f in view.lines.found if f.kind == "lost-flow")
    assert head.stop
    assert "sowing again" in head.worth
    from evenstand.trail.faults import NEVER_AGAIN

    fault = next(f for f in view.facts.faults.found if f.kind == "lost-flow")
    assert dataclasses.replace(fault, worth_stopping=False).worth == NEVER_AGAIN


@pytest.mark.parametrize(("key", "says"), [(WRONG, "Three sloughs"), (FAR, "It lies in no field of this book.")])
def test_a_log_of_another_field_has_a_page_that_says_where_it_lies(site: TestClient, key: str, says: str) -> None:
    answer = site.get(f"/after/trail/{key}")
    assert answer.status_code == 200
    text = plain(answer.text)
    assert "This log was not driven in Dogleg" in text
    assert says in text
    assert "Nothing is lost" in text
    assert "Not sown inside the outline" not in text
    assert 'id="strips-of-passes"' in answer.text
    pdf = site.get(f"/after/trail/{key}/record.pdf")
    assert pdf.status_code == 200
    assert pdf.content.startswith(b"%PDF-")
    assert site.get(f"/after/trail/{key}/parts").status_code == 200


def test_the_command_says_it_too(book: Path) -> None:
    from evenstand.cli.trail import command

    words = ["report", "dogleg-pea", "--book", str(book), "--trail", WRONG, "--no-places"]
    told = CliRunner().invoke(command, words, standalone_mode=False)
    assert told.exception is None
    assert "! This log was not driven in Dogleg" in " ".join(told.output.split())


def test_the_command_takes_antenna_and_hitch_for_one_report(book: Path) -> None:
    import json

    from evenstand.cli.trail import command

    def outside(*more: str) -> float:
        words = ["report", "sloughs-canola", "--book", str(book), "--trail", RIGHT, "--no-places", "--json", *more]
        told = CliRunner().invoke(command, words, standalone_mode=False)
        assert told.exception is None, told.exception
        return float(json.loads(told.output)["coverage"]["outside_m2"])

    plain = outside()
    assert outside("--antenna-ahead", "25 m") > plain + 50
    assert outside("--hitch", "7.2 m") != pytest.approx(plain, rel=1e-9)
    refused = CliRunner().invoke(command, ["report", "sloughs-canola", "--book", str(book), "--hitch", "60 m"], standalone_mode=False)
    assert "is no drawbar" in str(refused.exception)


def test_a_log_is_given_to_another_job_or_set_aside_and_keeps_its_rows(book: Path, site: TestClient) -> None:
    with Book.open(book) as opened:
        before = opened.get(TrailRecord, WRONG)
    page = site.post(f"/after/trail/{WRONG}/job", data={"job": "sloughs-canola"})
    assert page.status_code == 200
    assert "Another field" not in page.text
    assert "Not sown inside the outline" in page.text
    assert site.post(f"/after/trail/{WRONG}/job", data={"job": ""}).status_code == 200
    assert site.get(f"/after/trail/{WRONG}/record.pdf").status_code == 200
    assert site.post(f"/after/trail/{WRONG}/job", data={"job": "nobody"}).status_code == 422
    assert site.post(f"/after/trail/{WRONG}/job", data={"job": "dogleg-pea"}).status_code == 200
    with Book.open(book) as opened:
        after = opened.get(TrailRecord, WRONG)
        assert opened.trail(WRONG).n > 1000
    assert before is not None
    assert after is not None
    assert (after.job, after.parquet_hash, after.original_hash) == (before.job, before.parquet_hash, before.original_hash)


def test_antenna_and_hitch_are_typed_on_the_outfit_and_move_the_ground(book: Path, site: TestClient) -> None:
    outfit = demo_farm().outfit("A")
    assert "straight forward to the antenna" in plain(site.get(f"/machine/{outfit.key}").text)

    def sown(ahead: str, hitch: str) -> tuple[float, float]:
        answer = site.post(f"/machine/{outfit.key}", data={"antenna_ahead_m": ahead, "hitch_m": hitch})
        assert answer.status_code == 200, plain(answer.text)[:400]
        with Book.open(book) as opened:
            covered = trail_view(opened, RIGHT).facts.coverage
        assert covered is not None
        assert covered.outside_m2 is not None
        return covered.covered_m2, covered.outside_m2

    right = sown(str(outfit.antenna_ahead_m), "0")
    shifted = sown("25", "0")
    drawn = sown(str(outfit.antenna_ahead_m), "7.2")
    assert shifted[1] > right[1] + 50  # the ground lies ten metres and more behind where it was sown
    assert drawn[0] != pytest.approx(right[0], rel=1e-6)
    with Book.open(book) as opened:
        kept = opened.get(Outfit, outfit.key)
    assert kept is not None
    assert kept.hitch_m == pytest.approx(7.2)
    assert sown(str(outfit.antenna_ahead_m), "0") == pytest.approx(right)
    refused = site.post(f"/machine/{outfit.key}", data={"antenna_ahead_m": "90", "hitch_m": "60"})
    assert refused.status_code == 422
    assert "-15 to 40" in plain(refused.text)
