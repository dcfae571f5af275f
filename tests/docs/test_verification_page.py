"""docs/verification.md is what the checks give today."""

from __future__ import annotations

from pathlib import Path

from evenstand.verify import mutate, page, run


def test_the_verification_page_is_current(root: Path) -> None:
    written = (root / "docs" / "verification.md").read_text(encoding="utf-8")
    assert written == page(run(), mutate()), "make it again: make docs"
