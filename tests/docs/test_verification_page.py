"""docs/verification.md is what the checks give today, and docs/api.md says of each function how it is held."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from evenstand.verify import Sharpness, mutate, page, run


@pytest.fixture(scope="module")
def sharpness() -> Sharpness:
    return mutate()


def test_the_verification_page_is_current(root: Path, sharpness: Sharpness) -> None:
    written = (root / "docs" / "verification.md").read_text(encoding="utf-8")
    assert written == page(run(), sharpness), "make it again: make docs"


def test_the_api_page_lists_the_two_ways_a_function_is_held(root: Path, sharpness: Sharpness) -> None:
    text = (root / "docs" / "api.md").read_text(encoding="utf-8").partition("## How each function is held")[2]
    first, second = text.partition("By an inverse, a closed form or a second library only")[::2]
    published = {m.function for m in sharpness.mutants if m.caught == "published"}
    dotted = re.compile(r"`((?:agronomy|machine|tally|field|supply|trail|check)\.\w+)`")
    assert set(dotted.findall(first)) == published
    assert set(dotted.findall(second)) == set(sharpness.only_independent)
