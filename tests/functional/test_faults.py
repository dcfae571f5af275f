"""Faults on simulated days, scored as the bench scores them: a fast subset of `make bench-faults`."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from benchmarks.faults import KINDS, Run, one_run
from benchmarks.scoring import SCORES, named_sets, score, wilson
from benchmarks.streams import outcome, stream_table

from evenstand.base.errors import InputError
from evenstand.desk.days import check_day, demo_day, demo_run
from evenstand.model import Finding

SEEDS = range(500_000, 500_004)


@pytest.fixture(scope="module")
def runs() -> list[Run]:
    """Four days with each kind of fault, all readings that are sometimes there."""
    return [one_run((seed, kind, "usual", "nominal"), step_s=2.0) for kind in KINDS for seed in SEEDS]


def test_of_the_runs_that_can_be_told_nine_in_ten_are_right_and_few_wrong(runs: list[Run]) -> None:
    told = [r for r in runs if r.told]
    right = sum(r.score in ("right alone", "right in class") for r in told)
    wrong = sum(r.score == "wrong" for r in told)
    assert len(told) >= 0.6 * len(runs)
    assert right >= 0.9 * len(told), [(r.cause, r.size, r.score) for r in told]
    assert wrong <= 0.05 * len(told)


def test_a_plugged_run_or_head_is_named_exactly_with_its_start_within_the_evidence(runs: list[Run]) -> None:
    plugged = [r for r in runs if r.kind in ("run", "head")]
    assert [r.score for r in plugged] == ["right alone"] * len(plugged)
    assert all(r.start_within for r in plugged)


def test_every_run_ends_in_exactly_one_score(runs: list[Run]) -> None:
    assert all(r.score in SCORES for r in runs)


def test_clean_days_are_quiet() -> None:
    quiet = [one_run((seed, "", "usual", "nominal"), step_s=5.0) for seed in range(510_000, 510_030)]
    assert sum(bool(r.named) for r in quiet) <= 1


def test_the_check_never_sees_the_truth() -> None:
    """The same readings give the same findings whatever the truth says: check_day has no argument that could carry it."""
    day, plan, outfit, kinds = demo_day(3, ["factor:D=8"])
    seen = {"readings": day.readings, "fills": day.fills, "events": day.events, "typed": day.typed, "trail": day.trail}
    assert "truth" not in check_day.__kwdefaults__
    assert check_day(outfit, plan, kinds=kinds, **seen) == check_day(outfit, plan, kinds=kinds, **seen)


def test_a_display_only_day_cannot_tell_about_the_meters() -> None:
    day, plan, outfit, kinds = demo_day(4, ["factor:D=8"])
    echoes = tuple(r for r in day.readings if r.nature == "echo" and not r.quantity.startswith("distance_gnss"))
    found = check_day(outfit, plan, readings=echoes, typed=day.typed, kinds=kinds)
    assert named_sets(found) == []
    assert not any(f.state == "holds" and f.about.startswith("bin") for f in found)


def test_a_two_per_cent_factor_error_is_not_claimed_after_glance_levels() -> None:
    """The 2 % cell mostly says that it cannot be seen yet."""
    ends = []
    for seed in range(520_000, 520_006):
        day, plan, outfit, kinds = demo_day(seed, ["factor:D=2"], level_how="glance", optional="none")
        seen = {"readings": day.readings, "fills": day.fills, "events": (), "typed": day.typed, "trail": day.trail}
        ends.append(score(check_day(outfit, plan, kinds=kinds, **seen), "factor:D"))
    assert ends.count("cannot tell") >= 5
    assert "wrong" not in ends


def test_the_demo_prints_seed_truth_and_findings_in_the_shape_of_the_schema(root: Path) -> None:
    data = json.loads(json.dumps(demo_run(7, ["run=37", "slip:D=1.121"])))
    jsonschema.validate(data, json.loads((root / "docs" / "schemas" / "check.json").read_text(encoding="utf-8")))
    assert [t["kind"] for t in data["truth"]] == ["run", "slip"]
    accused = [tuple(g) for f in data["findings"] if f["state"] == "does-not-hold" for g in f["suspects"]]
    assert sorted(accused) == [("run:37",), ("slip:D",)]
    plug = next(f for f in data["findings"] if f["suspects"] == [["run:37"]])
    assert plug["place"]["earliest_s"] <= data["truth"][0]["since_s"] <= plug["place"]["latest_s"]


def test_a_simulated_day_is_checked_as_a_process_of_its_own() -> None:
    program = "import json; from evenstand.desk.days import demo_run; print(json.dumps(demo_run(5, ['factor:D=8'])))"
    began = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    seconds = time.perf_counter() - began
    assert json.loads(done.stdout)["seed"] == 5
    assert seconds < 60, "about a second on a quiet machine; this only guards against a hang"


def test_an_unknown_fault_or_job_is_refused() -> None:
    with pytest.raises(InputError, match="no kind of fault"):
        demo_run(1, ["gremlin=3"])
    with pytest.raises(InputError, match="no job"):
        demo_run(1, [], job_key="nowhere")


def test_a_fill_that_went_in_unrecorded_is_placed_at_the_stop() -> None:
    data = demo_run(1, ["fill-missed:D=1900"])
    said = next(f for f in data["findings"] if ["fill-missed:D"] in f["suspects"])
    assert said["state"] == "does-not-hold"
    assert "no fill entered" in said["claim"]


def finding(state: str, *suspects: tuple[str, ...]) -> Finding:
    return Finding(claim="c", state=state, suspects=suspects)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("findings", "expected"),
    [
        ([finding("does-not-hold", ("width",))], "right alone"),
        ([finding("doubtful", ("width", "distance"))], "right in class"),
        ([finding("does-not-hold", ("distance",))], "wrong"),
        ([finding("does-not-hold", ("width",)), finding("doubtful", ("factor:A",))], "wrong"),
        ([finding("cannot-tell", ("width",))], "cannot tell"),
        ([finding("holds")], "silent"),
        ([], "silent"),
    ],
)
def test_the_score_of_a_run(findings: list[Finding], expected: str) -> None:
    assert score(findings, "width") == expected


def test_the_wilson_interval_of_twelve_in_two_thousand_stays_below_one_per_cent_or_so() -> None:
    low, high = wilson(12, 2000)
    assert low < 0.006 < high < 0.0105
    assert wilson(0, 0) == (0.0, 1.0)


def test_the_network_bench_counts_each_case_once_and_ships_fewer_wrong_names_than_the_classical_tests() -> None:
    rows = stream_table(3, 12)
    assert all(np.isclose(sum(r[k] for k in ("right", "in_set", "part", "wrong", "silent")), 1.0) for r in rows)
    wrong = {m: sum(r["wrong"] for r in rows if r["method"] == m) for m in {r["method"] for r in rows}}
    assert wrong["best small set (ships)"] <= wrong["GLR, serial elimination"] < wrong["measurement test, Sidak"]


def test_the_outcome_of_a_network_case() -> None:
    truth = frozenset({1, 2})
    assert outcome([(1,), (2,)], truth) == "right"
    assert outcome([(1, 5), (2,)], truth) == "in_set"
    assert outcome([(1,)], truth) == "part"
    assert outcome([(1,), (7,)], truth) == "wrong"
    assert outcome([], truth) == "silent"
    assert outcome([], frozenset()) == "silent"
