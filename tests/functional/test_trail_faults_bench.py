"""The bench of the trail's detectors on a few days: that it scores, waits and tells apart as it says."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from benchmarks.breaking import BREAKERS
from benchmarks.scoring import SCORES
from benchmarks.trail_faults import KINDS, STRIPPED, Run, cell, looked_again, made_day, one_run, tables, waiting
from benchmarks.trail_tables import MARKS, text_of, write_page

from evenstand.trail.detecting import DETECTORS

SEED = 700_000


@pytest.fixture(scope="module")
def runs() -> list[Run]:
    """Two days with each kind of fault."""
    return [one_run((SEED + i, kind, "nominal")) for kind in KINDS for i in range(2)]


def test_every_detector_is_measured() -> None:
    measured = {"lost-flow" if k in ("run", "head", "run-stretch") else k for k in KINDS}
    assert measured | {"lane-gap"} == {d.kind for d in DETECTORS}  # row to row is measured once, against guidance
    assert set(STRIPPED) <= {d.kind for d in DETECTORS}


def test_most_faults_are_named_and_nearly_nobody_else(runs: list[Run]) -> None:
    assert all(r.score in SCORES for r in runs)
    assert sum(r.score == "right alone" for r in runs) >= 0.8 * len(runs)
    assert sum(r.score == "wrong" for r in runs) <= 1


def test_without_its_columns_every_detector_says_so(runs: list[Run]) -> None:
    asked = [r for r in runs if r.blind is not None]
    assert asked
    assert all(r.blind for r in asked), [r.kind for r in asked if not r.blind]


def test_what_is_found_is_found_within_the_passes_there_are(runs: list[Run]) -> None:
    found = [r for r in runs if r.passes is not None]
    assert found
    assert all(1 <= r.passes <= r.left for r in found)


def test_a_fault_moves_only_its_own_columns() -> None:
    clean = made_day(SEED, "", "nominal")[1].trail
    outfit = made_day(SEED, "", "nominal")[0]
    moves = {"fan-sag": {"fan_turns_s"}, "fan-droop": {"fan_turns_s"}, "counted-lifted": {"area_ha"}, "section-on": {"sections"}}
    for kind, columns in moves.items():
        broken = BREAKERS[kind](clean, outfit, np.random.default_rng(1)).trail
        changed = {
            f.name
            for f in dataclasses.fields(clean)
            if isinstance(getattr(clean, f.name), np.ndarray) and not np.array_equal(getattr(clean, f.name), getattr(broken, f.name))
        }
        assert changed == columns, kind


def test_clean_days_are_quiet() -> None:
    quiet = [one_run((SEED + 50 + i, "", "nominal")) for i in range(6)]
    assert [r.named for r in quiet] == [()] * 6


def run(passes: int | None, left: int) -> Run:
    return Run(
        kind="k", world="nominal", size=0.1, score="right alone" if passes else "silent", named=(), blind=None, start_within=None,
        size_error_sd=None, size_error_share=None, passes=passes, left=left, seconds=0.0,
    )  # fmt: skip


def test_waiting_counts_silent_days_as_still_waiting() -> None:
    assert waiting([run(2, 9), run(3, 9), run(4, 9)]) == 3
    assert waiting([run(2, 9), run(None, 9), run(None, 9)]) is None
    assert waiting([run(2, 9), run(None, 1), run(5, 9)]) == 2


def test_the_tables_hold_every_world_and_print(runs: list[Run]) -> None:
    result = tables(runs, [])
    assert result["cells"]["nominal"]["run"]["n"] == 2
    assert cell([])["right"] is None
    assert "false alarms on clean days" in text_of(result)


def test_a_clean_day_looked_at_again_and_again_stays_quiet() -> None:
    looks, spoke = looked_again((SEED + 90, "nominal"))
    assert looks >= 2
    assert spoke == ()


def test_the_table_goes_into_a_page_between_its_marks(runs: list[Run], tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text(f"before\n{MARKS[0]}\nold\n{MARKS[1]}\nafter\n")
    again = {"days": 1, "looks": 5, "every": 4, "days_with_alarm": 0, "share_95": (0.0, 0.8), "named": []}
    write_page({**tables(runs, []), "command": "x", "date": "2026-11-25", "repeated_looks": again}, page)
    text = page.read_text()
    assert text.startswith(f"before\n{MARKS[0]}\n")
    assert text.endswith(f"{MARKS[1]}\nafter\n")
    assert "old" not in text
    assert all(f"| {kind} | " in text for kind in KINDS)


def test_days_are_of_every_way_to_drive_and_made_fields_are_whole() -> None:
    from benchmarks.trail_days import WAYS, made_day, made_field

    for seed in range(4):
        field = made_field(np.random.default_rng(seed))
        assert 19 < field.area_ha < 71
        assert field.polygons[0].outside[0] == field.polygons[0].outside[-1]
    ways = {bool(made_day(SEED + i, "", "nominal", thin=True)[1].clean.get("guidance-width")) for i in range(8)}
    assert ways == {True, False}  # lanes due north, and headland rounds
    assert set(WAYS) == {"rectangle", "to and fro", "planned"}


def test_the_ideal_test_knows_the_scatter_of_clean_days_and_no_more() -> None:
    from benchmarks.trail_ideal import NINE, TWO_SIDED, smallest_ideal

    roll = np.random.default_rng(1)
    days = [{"distance-scale": float(v)} for v in roll.normal(0, 0.004, 400)]
    found = smallest_ideal(days, usual_fan_rpm=4000)
    assert set(found) == {"distance-scale"}
    assert found["distance-scale"]["smallest"] == pytest.approx((TWO_SIDED + NINE) * 0.004, rel=0.1)
    assert found["distance-scale"]["beyond_limit"] >= found["distance-scale"]["limit"]
    assert smallest_ideal(days[:5], usual_fan_rpm=4000) == {}


def test_the_tables_say_what_spoke_and_what_is_blind(runs: list[Run]) -> None:
    from benchmarks.trail_tables import blind_lines, ideal_lines, mixed_lines

    result = tables(runs, [])
    mixed = "\n".join(mixed_lines(result["confusion"]))
    assert "| fan-sag | fan-sag 2" in mixed
    blind = "\n".join(blind_lines())
    assert "| flow at the runs | lost-flow |" in blind
    row = {"sd": 0.004, "smallest": 0.02, "limit": 0.03, "beyond_limit": 0.035, "ours": None, "times": None}
    assert "no fit" in ideal_lines({"nominal": {"distance-scale": row}})[-1]


def test_the_docs_have_the_marks(root: Path) -> None:
    page = (root / "docs" / "trails.md").read_text()
    assert page.index(MARKS[0]) < page.index(MARKS[1])
