"""Days replayed from a script: after every entry the whole Next list is compared, line by line, with the list written beside it."""

from __future__ import annotations

from pathlib import Path

import pytest

from replay_farm import Entry, read_script, replay

SCRIPTS = sorted((Path(__file__).parents[1] / "replays").glob("*.txt"))


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: p.stem)
def test_after_every_entry_the_list_is_the_one_written_in_the_script(path: Path, tmp_path: Path) -> None:
    entries = read_script(path)
    assert entries
    for entry, found in zip(entries, replay(entries, tmp_path / "book"), strict=True):
        assert found == list(entry.expected), f"{path.name}, {entry.at}: {entry.said}"


def keys(entry: Entry) -> set[str]:
    return {line.partition(" | ")[0] for line in entry.expected}


def test_the_scripts_hold_what_they_are_there_for() -> None:
    """Lines that close by evidence, reopen when it goes, and come back at midnight: so that a script cannot quietly become a still life."""
    by_name = {path.stem: read_script(path) for path in SCRIPTS}
    for name, key in (
        ("fault_mended", "doubt:home-wheat:fills A"),
        ("other_lot", "catch:home-wheat:A"),
        ("orders", "order:order-urea-2027-05-03:over"),
        ("paper", "paper:wheat"),
    ):
        there = [key in keys(e) for e in by_name[name]]
        changes = "".join("1" if a else "0" for a, b in zip(there, [None, *there], strict=False) if a != b)
        assert "101" in changes, f"{name}: {key} never closed and reopened"
        assert not there[-1], f"{name}: {key} is still open at the end"
    damp = [{k for k in keys(e) if k.startswith("damp:")} for e in by_name["midnight"]]
    assert {"damp:home-wheat:B:2027-05-04"} in damp and {"damp:home-wheat:B:2027-05-05"} in damp and damp[-1] == set()
    before, after = (next(e for e in by_name["midnight"] if e.at == at) for at in ("2027-05-04T23:50", "2027-05-05T00:10"))
    assert keys(after) - keys(before) == {"date:home-wheat"}
    truck = [any(k.startswith("truck:") for k in keys(e)) for e in by_name["seeding_day"]]
    assert True in truck and truck[-1] is False
    assert by_name["seeding_day"][-1].expected == ()
