"""The bench of faults writes its own tables into a page, keeps its parts, and takes up again where it stopped."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from benchmarks.faults import main
from benchmarks.page import BEGIN, END, write_page
from benchmarks.streams import stream_table

SMALL = ("--seed", "3", "--days", "1", "--clean", "3", "--rough", "1", "--streams", "2", "--power", "1", "--seasons", "1", "--learn", "2")
SIZES = (*SMALL, "--pairs", "1", "--quiet", "7", "--watched", "1", "--workers", "1")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    out = tmp_path_factory.mktemp("bench")
    page = out / "page.md"
    page.write_text(f"# Kept\n\n{BEGIN}\nstale words\n{END}\n\nafter\n", encoding="utf-8")
    assert main([*SIZES, "--out", str(out), "--page", str(page)]) == 0
    return out, page


def test_the_tables_stand_between_the_markers_and_the_rest_is_kept(made: tuple[Path, Path]) -> None:
    text = made[1].read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    inside, _, after = rest.partition(END)
    assert before == "# Kept\n\n"
    assert after == "\n\nafter\n"
    assert "stale words" not in inside
    for title in (
        "False alarms",
        "nine times in ten",
        "Time to detection",
        "Two faults",
        "breaks the rules",
        "28-stream",
        "cannot be seen",
    ):
        assert title in inside
    for fault in ("factor", "lid", "bridge", "fan", "fixes", "head"):
        assert f"| {fault}" in inside
    widths = [{line.count("|") for line in block.splitlines()} for block in inside.split("\n\n") if block.startswith("|")]
    assert len(widths) >= 9
    assert all(len(w) == 1 for w in widths), "every row of a table has as many cells as its head"


def test_parts_that_were_made_are_not_made_again(made: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object) -> None:
        raise AssertionError("made again")

    monkeypatch.setattr("benchmarks.faults.tables", never)
    monkeypatch.setattr("benchmarks.power.power_cell", never)
    first = json.loads((made[0] / "faults.json").read_text(encoding="utf-8"))
    assert main([*SIZES, "--out", str(made[0]), "--resume"]) == 0
    again = json.loads((made[0] / "faults.json").read_text(encoding="utf-8"))
    assert {k: v for k, v in again.items() if k != "minutes"} == {k: v for k, v in first.items() if k != "minutes"}


def test_a_page_without_markers_gets_the_tables_at_its_end(made: tuple[Path, Path]) -> None:
    page = made[0] / "other.md"
    page.write_text("# Other\n", encoding="utf-8")
    write_page(json.loads((made[0] / "faults.json").read_text(encoding="utf-8")), page)
    text = page.read_text(encoding="utf-8")
    assert text.startswith("# Other\n\n" + BEGIN)
    assert text.endswith(END + "\n")


def test_streams_do_not_hang_on_how_they_are_shared_out() -> None:
    assert stream_table(5, 3) == stream_table(5, 3)
    assert {r["errors"] for r in stream_table(5, 1)} == set(range(6))
