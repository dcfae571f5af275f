"""The tally of bins from a book: the command, its JSON, the page and several bins on one product tell the same."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from evenstand.base.clock import FixedClock
from evenstand.base.estimate import Est
from evenstand.book import Book, JobReading
from evenstand.cli import cli
from evenstand.desk.tallies import bin_lines, bin_rows, product_lines, product_rows
from evenstand.model import Ask, Fill, MeterFactor, Reading
from evenstand.web.site import create_app
from replay_farm import JOB, new_book

TYPED, TRUE, RATE = 1.25, 1.30, 120.0
CLOCK = FixedClock(datetime(2027, 5, 4, 12, tzinfo=UTC))


def filled(folder, *, bins: tuple[str, ...] = ("A",), lost: int | None = None, blind: bool = False) -> None:
    """Six weighed fills of wheat, sown down to the light at 200 kg each time and read there; the meter gives 4 % more than is typed."""
    book = new_book(folder, CLOCK)
    with book:
        asks = (Ask(product="wheat", rate_kg_ha=RATE, bins=bins), JOB.asks[1]) if len(bins) == 1 else (
            Ask(product="wheat", rate_kg_ha=RATE, bins=bins),
        )  # fmt: skip
        book.put(replace(JOB, asks=asks))
        for a in bins:
            book.put(
                MeterFactor(
                    outfit="drill", bin=a, product="wheat", kg_turn=Est(value=TYPED, sd=0.02, basis="catch"), at="2027-05-01", how="catch"
                )
            )
            at, left = 0.0, 0.0
            part = RATE * TRUE / TYPED / len(bins)
            for k in range(6):
                if k:
                    light = at + (left - 200.0) / part
                    at, left = light + 0.2, 200.0 - 0.2 * part
                if k != lost:
                    book.put(
                        Fill(
                            key=f"{a}{k}", outfit="drill", bin=a, product="wheat", job=JOB.key, at=f"2027-05-04T{6 + k:02d}:00:00Z", put_kg=3600.0,
                            put_sd_kg=7.0, how="truck-scale", area_ha=None if blind and k == 3 else at,
                            level_before_kg=None if k else 0.0, low_light_at_ha=light if k else None,
                        )
                    )  # fmt: skip
                left += 3600.0
        book.put(
            JobReading(key="c", job=JOB.key, reading=Reading(quantity="area_counter", value=at + 10.0, sd=0.01, at="2027-05-04T14:00:00Z"))
        )


def shown_by_command(folder, *more: str) -> str:
    result = CliRunner().invoke(cli, ["tally", "--book", str(folder), *more])
    assert result.exit_code in (0, 1), result.output
    return result.output


def test_the_command_finds_what_a_turn_truly_gives_and_where_the_bin_runs_empty(tmp_path) -> None:
    filled(tmp_path / "b")
    told = json.loads(shown_by_command(tmp_path / "b", "--json"))
    (row,) = told["bins"]
    assert row["factor"]["value"] == pytest.approx(TRUE, abs=2.5 * row["factor"]["sd"])
    assert row["factor"]["sd"] < 0.015
    left = 200 - 0.2 * RATE * TRUE / TYPED + 3600 - 10 * RATE * TRUE / TYPED
    assert row["left"]["value"] == pytest.approx(left, abs=2.5 * row["left"]["sd"])
    assert row["to_empty"]["low_ha"] < (left - 60) / (RATE * TRUE / TYPED) < row["to_empty"]["high_ha"]
    assert row["to_light"]["ha"] < row["to_empty"]["ha"]
    assert (row["looks"], row["holds"], row["odd"]) == (5, True, [])
    assert 1.01 < row["ratio"]["value"] < TRUE / TYPED, "the field gives 4 % more than the catch: half believed of the next lot"
    assert row["ratio"]["sd"] < 0.02
    assert row["place"] is None or row["place"]["pass_id"] >= 1
    text = shown_by_command(tmp_path / "b")
    assert "the drill, bin A, wheat" in text
    assert "% more than typed" in text
    assert "runs empty after" in text


def test_page_and_command_say_the_same(tmp_path) -> None:
    filled(tmp_path / "b")
    with Book.open(tmp_path / "b") as book:
        (row,) = bin_rows(book)
    with TestClient(create_app(tmp_path / "b"), base_url="http://127.0.0.1") as site:
        page = site.get("/after/tally")
    assert page.status_code == 200
    text = " ".join(page.text.split())
    for line in bin_lines(row, "si"):
        assert " ".join(line[1:].split()) in text


def test_a_fill_left_off_the_record_is_told_as_something_unrecorded(tmp_path) -> None:
    filled(tmp_path / "b", lost=3)
    (row,) = json.loads(shown_by_command(tmp_path / "b", "--json"))["bins"]
    assert row["holds"] is False
    (odd,) = row["odd"]
    assert "3\u202f6" in odd or "3\u202f5" in odd, "about the mass of one fill"


def test_two_bins_on_one_product_are_taken_together(tmp_path) -> None:
    filled(tmp_path / "b", bins=("A", "B"))
    with Book.open(tmp_path / "b") as book:
        rows = bin_rows(book)
    (group,) = product_rows(rows)
    assert (group.bins, group.use) == (("A", "B"), "together")
    assert group.to_empty.ha <= min(r.to_empty.ha for r in rows)
    assert group.left.value == pytest.approx(sum(r.left.value for r in rows))
    assert " ".join(product_lines((group,), "si")[0].split()) in " ".join(shown_by_command(tmp_path / "b").split())
    assert json.loads(shown_by_command(tmp_path / "b", "--json"))["together"][0]["bins"] == ["A", "B"]
    turn = product_rows(rows, in_turn=["wheat"])[0]
    assert turn.to_empty.ha > group.to_empty.ha


def test_bins_in_turn_have_a_tally_once_their_turns_are_read(tmp_path) -> None:
    book = new_book(tmp_path / "b", CLOCK)
    turns = {"A": 3000.0, "B": 1000.0}
    with book:
        book.put(replace(JOB, asks=(Ask(product="wheat", rate_kg_ha=RATE, bins=("A", "B"), in_turn=True),)))
        for a in turns:
            book.put(
                MeterFactor(
                    outfit="drill", bin=a, product="wheat", kg_turn=Est(value=TYPED, sd=0.02, basis="catch"), at="2027-05-01", how="catch"
                )
            )
            book.put(
                Fill(
                    key=a, outfit="drill", bin=a, product="wheat", job=JOB.key, at="2027-05-04T06:00:00Z", put_kg=3700.0, put_sd_kg=7.0,
                    how="truck-scale", area_ha=0.0, level_before_kg=0.0,
                )
            )  # fmt: skip
    said = " ".join(shown_by_command(tmp_path / "b").split())
    assert "Read the turns of each." in said
    assert json.loads(shown_by_command(tmp_path / "b", "--json"))["together"] == []
    with Book.open(tmp_path / "b", write=True, who="test") as book:
        for a, n in turns.items():
            book.put(
                JobReading(key=f"t{a}", job=JOB.key, reading=Reading(quantity=f"turns:{a}", value=n, sd=0.5, at="2027-05-04T10:00:00Z"))
            )
        rows = bin_rows(book)
    assert [r.in_turn for r in rows] == [True, True]
    for r in rows:
        assert r.left.value == pytest.approx(3700 - turns[r.bin] * r.factor.value, rel=1e-6)
        assert r.turns_ha == pytest.approx(RATE / TYPED), "the whole rate while it is on"
        assert r.place is None
    (group,) = product_rows(rows)
    assert group.use == "in-turn"
    assert group.to_empty.ha == pytest.approx(sum(r.to_empty.ha for r in rows))
    said = " ".join(shown_by_command(tmp_path / "b").split())
    assert "the last of them is empty after" in said
    assert "while it runs" in said
    with TestClient(create_app(tmp_path / "b"), base_url="http://127.0.0.1") as site:
        assert "the last of them is empty after" in " ".join(site.get("/after/tally").text.split())
    with Book.open(tmp_path / "b", write=True, who="test") as book:
        later = replace(book.get(Fill, "A"), key="A2", at="2027-05-04T11:00:00Z", level_before_kg=300.0)
        book.put(later)
        assert any("Read the turns of each again" in n for r in bin_rows(book) for n in r.notes)


def test_a_fill_without_hectares_is_said_and_a_bin_without_a_factor_says_what_to_do(tmp_path) -> None:
    filled(tmp_path / "b", blind=True)
    (row,) = json.loads(shown_by_command(tmp_path / "b", "--json"))["bins"]
    assert any("without the hectares" in n for n in row["notes"])
    with Book.open(tmp_path / "b", write=True, who="test") as book:
        book.put(
            Fill(
                key="u",
                outfit="drill",
                bin="B",
                product="urea",
                job=JOB.key,
                at="2027-05-04T06:00:00Z",
                put_kg=3000.0,
                put_sd_kg=9.0,
                area_ha=0.0,
            )
        )
    rows = json.loads(shown_by_command(tmp_path / "b", "--json"))["bins"]
    urea = next(r for r in rows if r["product"] == "urea")
    assert urea["left"] is None
    assert "Catch or type one" in urea["notes"][0]


def test_an_empty_book_has_no_bins(tmp_path) -> None:
    with new_book(tmp_path / "b", CLOCK) as book:
        assert bin_rows(book) == ()
        assert product_rows(()) == ()
