"""`evenstand call` and `evenstand fill` on the command line: text, JSON, units, exit codes, errors."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

import pytest
from click.testing import CliRunner

from evenstand.base.errors import InputError, MissingError, UnitError
from evenstand.cli.call import command as call
from evenstand.cli.fill import command as fill

FILL = ["--area", "29.6", "--put", "4000", "--dose", "121"]


def run(command: Any, *arguments: str) -> str:
    result = CliRunner().invoke(command, list(arguments), catch_exceptions=False, standalone_mode=False)
    return result.output


def code(command: Any, *arguments: str) -> object:
    return CliRunner().invoke(command, list(arguments), catch_exceptions=False, standalone_mode=False).return_value


def test_the_telephone_answers_with_causes_words_and_the_next_question() -> None:
    text = run(call, "--rate", "120", "--rate-seen", "134.5")
    for part in ("The numbers side by side", "Likely", "Say", "Ask next", "Do not say", "lb/ac typed where kg/ha was meant"):
        assert part in text


def test_every_line_fits_a_terminal() -> None:
    for arguments in (
        ("--area-counter", "75", "--boundary", "62", "--width-typed", "16.3"),
        ("--put", "4000", "--left", "900", "--area-counter", "29.6", "--rate", "121"),
    ):
        assert max(len(line) for line in run(call, *arguments).splitlines()) <= 100


def test_json_of_a_call_is_whole() -> None:
    data = json.loads(run(call, "--width-typed", "16.0", "--rows", "64", "--spacing", "254 mm", "--json"))
    assert data["likely"] == ["width"]
    assert {"ratios", "findings", "likely", "ask", "say", "never"} == set(data)
    assert data["findings"][0]["state"] in ("doubtful", "does-not-hold")


def test_a_caller_speaks_in_acres_pounds_and_feet() -> None:
    metric = json.loads(
        run(call, "--area-counter", "29.6 ha", "--rate", "121", "--put", "4000 kg", "--left", "900 kg", "--left-how", "light", "--json")
    )
    other = json.loads(
        run(
            call,
            "--units",
            "us",
            "--area-counter",
            "73.14 ac",
            "--rate",
            "107.95",
            "--put",
            "8818",
            "--left",
            "1984",
            "--left-how",
            "light",
            "--json",
        )
    )
    assert metric["likely"] == other["likely"]
    assert metric["ratios"][0]["off"] == pytest.approx(other["ratios"][0]["off"], abs=0.002)


def test_something_that_does_not_hold_ends_with_1() -> None:
    assert code(call, "--rate", "120", "--rate-seen", "134.5") == 1
    assert code(call, "--rate", "120", "--rate-seen", "120") == 0


def test_asking_one_by_one_takes_an_empty_line_for_not_known() -> None:
    result = CliRunner().invoke(call, ["--ask"], input="66\n62\n120\n120\n\n\n16.0\n", catch_exceptions=False, standalone_mode=False)
    assert "area counter against the outline" in result.output


def test_all_wrong_values_of_a_call_are_named_at_once() -> None:
    with pytest.raises(InputError) as caught:
        run(call, "--rate", "-5", "--put", "4 bu", "--width-typed", "wide")
    text = str(caught.value)
    assert all(option in text for option in ("--rate", "mass", "--width-typed"))


def test_runs_are_read_as_numbers_and_ranges() -> None:
    data = json.loads(run(call, "--dead-runs", "17-19, 37", "--json"))
    assert data["likely"] == ["run:17", "run:18", "run:19", "run:37"]
    with pytest.raises(InputError, match="no run number"):
        run(call, "--dead-runs", "left one")


def test_the_fill_check_is_one_sentence_and_what_it_rests_on() -> None:
    text = run(fill, *FILL, "--left", "400", "--left-how", "light", "--bin", "A")
    assert text.startswith("Bin A holds: 3\u202f600 kg went out;")
    assert "known to (1 sd)" in text


def test_a_glance_says_that_it_cannot_tell_and_what_would() -> None:
    text = run(fill, *FILL, "--left", "400")
    assert "cannot be told yet" in text
    assert "What would settle it" in text


def test_a_fill_that_does_not_hold_ends_with_1() -> None:
    assert code(fill, *FILL, "--left", "1200", "--left-how", "weighed") == 1
    assert code(fill, *FILL, "--left", "400", "--left-how", "weighed") == 0


def test_several_fills_make_a_running_total() -> None:
    text = run(
        fill,
        "--dose",
        "121",
        "--dose-sd",
        "0.5 %",
        "--fill",
        "29 ha; 3600 kg; -",
        "--fill",
        "31 ha; 3900 kg; 240 kg",
        "--left-how",
        "weighed",
    )
    assert "in all" in text
    assert "2 %" in text
    data = json.loads(run(fill, "--dose", "121", "--fill", "29; 3600", "--fill", "31; 3900; 240", "--json"))
    assert data["series"]["used_kg"] == pytest.approx(7260)


def test_field_area_expects_overlap_and_a_counter_none() -> None:
    field = json.loads(run(fill, *FILL, "--left", "400", "--left-how", "light", "--area-from", "field", "--json"))["finding"]
    counter = json.loads(run(fill, *FILL, "--left", "400", "--left-how", "light", "--json"))["finding"]
    assert field["size"]["value"] < counter["size"]["value"]


def test_what_is_missing_is_named_at_once() -> None:
    with pytest.raises(MissingError) as caught:
        run(fill, "--area", "29.6")
    assert all(option in str(caught.value) for option in ("--put", "--left", "--dose"))


@pytest.mark.parametrize("arguments", [("--area", "29.6 kg"), ("--area", "wide")])
def test_a_wrong_unit_is_refused(arguments: tuple[str, str]) -> None:
    with pytest.raises((UnitError, InputError)):
        run(fill, *arguments, "--put", "4000", "--left", "400", "--dose", "121")


@pytest.mark.parametrize("text", ["29 ha", "a; b; c; d"])
def test_a_fill_that_is_not_three_parts_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="AREA; PUT; LEFT"):
        run(fill, "--dose", "121", "--fill", text)


def test_an_error_ends_the_process_with_2_and_a_line_on_standard_error() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "evenstand", "fill", "--area", "29.6", "--put", "4000", "--left", "x", "--dose", "121"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "has no number" in done.stderr
    assert "Traceback" not in done.stderr
