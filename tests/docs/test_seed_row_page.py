"""docs/seed-row.md says of each guideline what the tables hold, in the same words."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenstand.agronomy import guideline_name, guidelines, holdings, opener_utilisation, openers
from evenstand.base.errors import InputError
from evenstand.reference import source

START, END = "<!-- held: begin -->", "<!-- held: end -->"


def section() -> str:
    """The part of the page that follows from the tables."""
    lines = []
    for guideline in guidelines():
        lines += ["", f"### {guideline_name(guideline)} (`{guideline}`)", ""]
        for held in holdings(guideline):
            kind = "" if held.usable else " *Told, no limit.*"
            lines.append(f"- {held.text}{kind} [{held.seen}: {source(held.source)}]")
    lines += ["", "### Usual seedbed utilisation by opener", ""]
    for opener in openers():
        usual = opener_utilisation(opener)
        lines.append(f"- {opener}: {100 * usual.low:g} to {100 * usual.high:g} % [{usual.seen}: {source(usual.source)}]")
    return "\n".join([*lines, ""])


def test_the_page_holds_what_the_tables_hold(root: Path) -> None:
    page = (root / "docs" / "seed-row.md").read_text(encoding="utf-8")
    assert page.partition(START)[2].partition(END)[0].strip() == section().strip()


def test_every_guideline_says_something_and_names_a_source() -> None:
    for guideline in guidelines():
        assert holdings(guideline), guideline
        assert all(held.source for held in holdings(guideline))


def test_an_unknown_guideline_holds_nothing() -> None:
    with pytest.raises(InputError):
        holdings("elsewhere")
