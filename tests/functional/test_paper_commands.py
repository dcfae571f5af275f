"""`evenstand card` and `evenstand sheet`: from typed words and from a book, text, JSON and files, and what is refused."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result

from evenstand.base.clock import FixedClock
from evenstand.base.errors import InputError, MissingError
from evenstand.cli import cli
from evenstand.desk.pocketing import decode, encode
from evenstand.desk.sheets import book_context
from evenstand.paper import KEYS, write_sheets

ASKED = "62 ha, wheat, 120 kg/ha, 16.3 m, 7.5 km/h"
KNOWN = ("--factor", "1.25", "--bins", "6.6", "--density", "780")


def run(*args: str) -> Result:
    """A command through the front door; a designed error is raised as such."""
    result = CliRunner().invoke(cli, list(args), standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result


def schema(root: Path, name: str) -> Any:
    """One of the published shapes."""
    return json.loads((root / "docs" / "schemas" / f"{name}.json").read_text())


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo farm."""
    from evenstand.desk.demo import build_book

    folder = tmp_path_factory.mktemp("paper") / "book"
    build_book(folder)
    return folder


def test_the_card_prints_what_is_known_and_asks_for_the_rest() -> None:
    text = run("card", ASKED).output
    assert "A  Rate, wheat seed: 120 kg/ha" in text
    assert "A  Product per turn: ______ kg/turn" in text
    assert "needs product per turn of the meter. Catch test" in text
    assert text.count("turns into a tared bag") <= 2  # how to get it is told once for each thing, not on every line
    assert ": 0 " not in text


def test_a_factor_fills_the_lines_that_waited_for_it() -> None:
    text = run("card", ASKED, *KNOWN).output
    assert "A  Product per turn: 1.250 kg/turn" in text
    assert "A  Meter speed to expect: 19.6 rpm" in text  # 120 kg/ha x 7.5/3.6 m/s x 16.3 m / 10,000 / 1.25 kg x 60


def test_the_card_as_json_has_the_published_shape(root: Path, tmp_path: Path) -> None:
    data = json.loads(run("card", ASKED, "--json", "--out", str(tmp_path / "card.pdf")).output)
    jsonschema.validate(data, schema(root, "card"))
    assert data["file"] == str(tmp_path / "card.pdf")
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF-")


def test_sheets_of_typed_words_are_written_and_listed(root: Path, tmp_path: Path) -> None:
    data = json.loads(run("sheet", ASKED, *KNOWN, "--out", str(tmp_path / "a folder"), "--json").output)
    jsonschema.validate(data, schema(root, "sheet"))
    assert [Path(f).stem for f in data["files"]] == list(KEYS)
    assert all(Path(f).exists() for f in data["files"])
    text = run("sheet", ASKED, "--out", str(tmp_path), "--only", "fill-slip", "--paper", "us-letter").output
    assert text == f"Written:\n  {tmp_path / 'fill-slip.pdf'}\n"
    assert b"/MediaBox" in (tmp_path / "fill-slip.pdf").read_bytes()


def test_sheets_of_a_job_in_a_book(book: Path, tmp_path: Path) -> None:
    text = run("sheet", "--book", str(book), "--job", "home-wheat", "--out", str(tmp_path), "--units", "prairie").output
    assert text.count("\n") == 1 + len(KEYS)
    page = (tmp_path / "pocket-page.html").read_text(encoding="utf-8")
    assert "lb/ac" in page
    assert "by pass " in page


def test_what_the_display_calls_a_line_is_on_the_card(book: Path, tmp_path: Path) -> None:
    from evenstand.book import Book
    from evenstand.desk.recording import remark_card

    clock = FixedClock(datetime(2027, 5, 1, 6, tzinfo=UTC))
    with Book.open(book, write=True, who="test", clock=clock) as opened:
        context = book_context(opened, "home-wheat", profile="si", made_at="2027-05-01T06:00:00.000Z", who="K. Berg")
        letter = context.plan.bins[0].bin
        remark_card(opened, outfit=context.job.outfit, line=f"factor:{letter}", yours="Cal factor 1", clock=clock)
        again = book_context(opened, "home-wheat", profile="si", made_at="", who="")
    assert again.farm
    assert [line.yours for line in again.plan.card if line.key == f"factor:{letter}"] == ["Cal factor 1"]
    assert write_sheets(again, tmp_path, only=["value-card"])
    assert "your display: Cal factor 1" in run("card", "--book", str(book), "--job", "home-wheat").output


def test_a_book_without_a_job_or_an_unknown_job_is_refused(book: Path, tmp_path: Path) -> None:
    with pytest.raises(MissingError, match="which job is meant is not said"):
        run("sheet", "--book", str(book), "--out", str(tmp_path))
    with pytest.raises(MissingError, match="home-wheat"):
        run("card", "--book", str(book), "--job", "nowhere")


def test_a_wrong_unit_or_an_unknown_sheet_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is no unit of"):
        run("sheet", "--rate", "120 kg/m", "--out", str(tmp_path / "x"))
    with pytest.raises(InputError, match="'poster' is no sheet"):
        run("sheet", ASKED, "--out", str(tmp_path / "x"), "--only", "poster")
    assert not (tmp_path / "x").exists()


def test_a_card_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="Name a file that can be written"):
        run("card", ASKED, "--out", str(tmp_path / "no" / "card.pdf"))


def test_a_code_of_the_page_can_be_told_apart_from_every_other() -> None:
    codes = {encode("slip", {"asked": 1.0, "seen": 2.0}, minutes=100, nonce=n) for n in range(4096)}
    assert len(codes) == 4096
    assert len({decode(c)[0].id for c in sorted(codes)[:200]}) == 200
