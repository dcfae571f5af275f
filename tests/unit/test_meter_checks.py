"""The checks on meters are sharp: every number they see, made 1 % too large, turns one of them red."""

from __future__ import annotations

import pytest

from evenstand.verify import mutation, on_meters
from evenstand.verify.running import run_independent, run_pair

NAMES = tuple(dict.fromkeys(check.function.removeprefix("machine.") for check in (*on_meters.PAIRS, *on_meters.INDEPENDENT)))


def test_all_checks_hold() -> None:
    assert [p.case for p in on_meters.PAIRS if not run_pair(p).ok] == []
    assert [c.case for c in on_meters.INDEPENDENT if not run_independent(c)] == []


def test_no_number_can_be_one_per_cent_too_large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mutation, "PUBLIC", {"machine": NAMES})
    found = mutation.mutate(on_meters.PAIRS, on_meters.INDEPENDENT)
    assert len(NAMES) > 35
    assert len(found.mutants) > 200
    assert found.untouched == ()
    assert [f"{m.function}: {m.field}" for m in found.mutants if m.caught == "missed"] == []
