"""`evenstand verify`: enough published figures, from enough sources, and sharp enough to notice one per cent."""

from __future__ import annotations

import json
import time
from collections import Counter
from pathlib import Path

import pytest
from click.testing import CliRunner

from evenstand import agronomy
from evenstand.base.errors import InputError
from evenstand.cli import cli
from evenstand.reference import source
from evenstand.verify import Independent, Pair, collect, mutate, run
from evenstand.verify.metric import known_unit, metric_unit
from evenstand.verify.mutation import LABELS, public_functions
from evenstand.verify.pairs import half_last_digit, printed_value
from evenstand.verify.running import run_pair
from evenstand.verify.topics import TOPICS, topic_of

PAIRS, INDEPENDENT = collect()


def _pair(**changes: object) -> Pair:
    given: dict[str, object] = {
        "function": "agronomy.seeding_rate",
        "case": "barley",
        "published": "183",
        "unit": "kg/ha",
        "compute": lambda: agronomy.seeding_rate(300, 51.9, 0.85),
        "source": "irish-barley",
        "where": "example",
    }
    return Pair(**(given | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize("pair", PAIRS, ids=[f"{p.function}, {p.source}, {p.case}" for p in PAIRS])
def test_a_published_case_agrees(pair: Pair) -> None:
    check = run_pair(pair)
    red = [value for value in check.values if not value.ok]
    assert red == []


@pytest.mark.parametrize("check", INDEPENDENT, ids=[f"{c.function}, {c.case}" for c in INDEPENDENT])
def test_an_independent_check_agrees(check: Independent) -> None:
    ours, other = check.compute()
    assert check.holds(), (ours, other)


def test_there_are_a_hundred_pairs_from_many_sources_and_none_of_these_rules_the_count() -> None:
    report = run()
    pairs = {(c.pair.function, c.pair.source) for c in report.checks}
    of_source = Counter(key for _, key in pairs)
    assert len(pairs) == report.counts["pairs"] >= 100
    assert len(of_source) == report.counts["sources"] >= 25
    assert sum(source(key).seen == "read" for key in of_source) >= 15
    assert {key: n for key, n in of_source.items() if n > 10} == {}
    assert 2 * report.counts["read"] >= report.counts["pairs"]
    assert report.counts["traps"] >= 12
    assert report.counts["red"] == 0


def test_every_unit_is_metric_or_has_a_way_to_it() -> None:
    assert {pair.unit for pair in PAIRS if pair.kind != "unit" and not known_unit(pair.unit)} == set()


@pytest.mark.parametrize(
    ("unit", "value", "metric"),
    [
        ("lb/ac", 1, 1.1208511562),
        ("°F", -28, -33.333333333),
        ("ac/h", 10, 4.0468564224),
        ("hp", 1, 0.74569987158),
        ("gal/hp-h", 1, 5.0763205),
        ("cfm", 2118.88, 1.0),
        ("kg/ha", 7, 7),
    ],
)
def test_a_printed_unit_leads_to_its_metric_one(unit: str, value: float, metric: float) -> None:
    assert metric_unit(unit).of(value) == pytest.approx(metric, rel=1e-6)


def test_every_check_has_a_topic_of_its_own_package() -> None:
    assert {topic_of(pair.function) for pair in PAIRS} <= set(TOPICS)
    assert topic_of("agronomy.seeding_rate") == "Seeding rate and stand"
    assert topic_of("machine.field_capacity") == "Capacity, power and cost"
    assert [pair.function for pair in PAIRS if topic_of(pair.function) == "Other"] == []


def test_the_same_values_in_metric_units_differ_by_as_much() -> None:
    for check in run().to_dict()["checks"]:
        assert abs(check["metric_difference"]) <= check["metric_tolerance"] * (1 + 1e-9), check["case"]
        for value in check["values"]:
            assert value["metric_difference"] == pytest.approx(value["metric_computed"] - value["metric_published"])


def test_a_pair_is_one_function_with_one_source_however_many_cases() -> None:
    twice = run(pairs=(_pair(), _pair(case="again")), independent=())
    assert twice.counts["pairs"] == 1
    assert twice.counts["checks"] == 2


def test_conversions_and_traps_are_no_pairs() -> None:
    report = run()
    keys = {(c.pair.function, c.pair.source) for c in report.checks}
    assert not any(function.startswith("units.") for function, _ in keys)
    assert all(c.pair.trap for c in report.traps)
    assert not any(c.pair.trap for c in report.checks)


def test_every_source_of_a_check_was_read_or_quoted() -> None:
    assert {source(pair.source).seen for pair in PAIRS} <= {"read", "second-hand"}


@pytest.mark.parametrize("key", ["common-practice", "atomic-weights", "definition"])
def test_practice_memory_and_definitions_are_refused_as_checks(key: str) -> None:
    with pytest.raises(InputError, match=key):
        run(pairs=(_pair(source=key),), independent=())


@pytest.mark.parametrize(("text", "half"), [("183", 0.5), ("7.7", 0.05), ("7.70", 0.005), (".78", 0.005), ("-28", 0.5), ("16.0", 0.05)])
def test_the_tolerance_is_half_the_last_digit_printed(text: str, half: float) -> None:
    assert half_last_digit(text) == pytest.approx(half)


@pytest.mark.parametrize("text", ["", "1,200", "12 lb", ".", "1e3", "1."])
def test_only_plain_printed_numbers_are_taken(text: str) -> None:
    with pytest.raises(InputError):
        printed_value(text)


def test_a_value_just_inside_passes_and_just_outside_is_red() -> None:
    assert run_pair(_pair(compute=lambda: 183.499)).ok
    assert not run_pair(_pair(compute=lambda: 183.501)).ok
    assert not run_pair(_pair(compute=lambda: 183.001, exact=True)).ok


def test_a_function_that_fails_or_gives_no_number_is_red_not_a_crash() -> None:
    failed = run_pair(_pair(compute=lambda: 1 / 0))
    assert not failed.ok
    assert "ZeroDivisionError" in failed.worst.error
    assert not run_pair(_pair(compute=lambda: float("nan"))).ok


def test_a_trap_is_red_when_ours_falls_into_it() -> None:
    trap = {"trap": True, "instead": "152.5", "why": "misprint", "published": "150"}
    assert run_pair(_pair(compute=lambda: 152.46, **trap)).ok
    assert not run_pair(_pair(compute=lambda: 150.0, **trap)).ok
    assert not run_pair(_pair(compute=lambda: 160.0, **trap)).ok


def test_a_short_cut_trap_wants_exactly_the_known_gap() -> None:
    trap = {"trap": True, "gap": 0.0413, "why": "constant 10", "published": "244"}
    assert run_pair(_pair(compute=lambda: 234.5, **trap)).ok
    assert not run_pair(_pair(compute=lambda: 240.0, **trap)).ok


@pytest.mark.parametrize(
    "wrong",
    [
        {"cells": (("a", "1", lambda: 1.0),)},
        {"compute": None},
        {"trap": True, "why": "x"},
        {"instead": "3"},
        {"half_digits": 3.0},
    ],
)
def test_a_pair_that_says_two_things_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(InputError):
        _pair(**wrong)


def test_nearly_every_number_made_one_per_cent_too_large_turns_a_check_red_and_soon() -> None:
    start = time.monotonic()
    sharpness = mutate()
    assert time.monotonic() - start < 120
    missed = [f"{m.function}.{m.field}" for m in sharpness.mutants if m.caught == "missed"]
    assert sharpness.untouched == (), "no check calls these"
    assert sharpness.share("published", "independent") >= 0.95, missed
    assert sharpness.share("published") >= 0.2


def test_every_function_of_the_calculation_api_is_caught_by_some_check() -> None:
    sharpness = mutate()
    caught = {m.function for m in sharpness.mutants if m.caught != "missed"}
    assert set(public_functions()) - caught == set()


def test_names_and_places_in_a_list_are_no_numbers() -> None:
    fields = {step for m in mutate().mutants for step in m.field.split(".")}
    assert fields.isdisjoint(LABELS)


def test_a_mutant_of_a_function_that_nobody_checks_is_missed() -> None:
    sharpness = mutate(pairs=(), independent=())
    assert sharpness.mutants == ()
    assert "agronomy.seeding_rate" in sharpness.untouched
    assert sharpness.share("published") == 0


def test_mutating_leaves_the_functions_as_they_were() -> None:
    before = agronomy.seeding_rate
    mutate(pairs=PAIRS[:5], independent=())
    assert agronomy.seeding_rate is before
    assert round(agronomy.seeding_rate(300, 51.9, 0.85)) == 183


def test_the_json_validates_against_its_schema(root: Path) -> None:
    import jsonschema

    result = CliRunner().invoke(cli, ["verify", "--json", "--mutate"], prog_name="evenstand")
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout)
    jsonschema.validate(document, json.loads((root / "docs" / "schemas" / "verify.json").read_text(encoding="utf-8")))
    for check in document["checks"]:
        assert abs(check["published"] - check["computed"]) <= check["tolerance"]
    for trap in document["traps"]:
        assert abs(trap["published"] - trap["computed"]) > trap["tolerance"]


def test_a_red_check_makes_exit_code_1(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(agronomy, "seeding_rate", lambda *_: 1.0)
    result = CliRunner().invoke(cli, ["verify"], prog_name="evenstand")
    assert result.exit_code == 1
    assert "RED" in result.output


def test_in_a_pipe_the_table_is_plain_text() -> None:
    result = CliRunner().invoke(cli, ["verify"], prog_name="evenstand")
    assert result.exit_code == 0
    assert "\x1b" not in result.output
    assert "seeding_rate" in result.output
    assert "Nothing is red." in result.output


def test_the_table_fits_a_hundred_columns_is_grouped_by_topic_and_ends_in_the_summary() -> None:
    lines = CliRunner().invoke(cli, ["verify"], prog_name="evenstand").output.splitlines()
    assert [line for line in lines if len(line) > 100] == []
    topics = [line for line in lines if line in TOPICS]
    assert topics == [topic for topic in TOPICS if topic in topics]
    assert len(topics) >= 8
    assert lines[-1] == "Nothing is red."
    assert " pairs of " in lines[-4]


def test_the_page_is_written_where_asked(tmp_path: Path) -> None:
    target = tmp_path / "verification.md"
    result = CliRunner().invoke(cli, ["verify", "--page", str(target)], prog_name="evenstand")
    assert result.exit_code == 0
    text = target.read_text(encoding="utf-8")
    assert text.startswith("<!-- Made by")
    assert "## Seeding rate and stand\n\n### Read" in text
    assert "7.7 lb/ac | 8.63 kg/ha | 8.61 | -0.02 (0.06)" in text
    assert "## Known misprints and short-cuts" in text
