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
    assert {"ratios", "findings", "likely", "ask", "say", "never", "kept"} == set(data)
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
    data = json.loads(run(call, "--dead-runs", "17-18, 37", "--json"))
    assert data["likely"] == ["run:17", "run:18", "run:37"]
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


# the words of a call -----------------------------------------------------------------------------------------------------
def said(*arguments: str) -> tuple[str, dict[str, Any]]:
    data = json.loads(run(call, *arguments, "--json"))
    return " ".join(data["say"]), data


def test_three_neighbours_that_give_nothing_are_a_head_and_worth_stopping_for() -> None:
    text, data = said("--dead-runs", "17-24, 40")
    assert data["likely"] == ["head", "run:40"]
    assert "Runs 17 to 24 give nothing" in text and "Worth stopping for" in text
    assert "Run 40 gives nothing" in text


def test_a_counter_above_its_outline_is_told_as_ground_sown_twice_before_anything_else() -> None:
    text, data = said("--area-counter", "66.5 ha", "--boundary", "62 ha")
    assert "4.50 ha more than the field has" in text and "1 to 4 %" in text and "3 to 8 %" in text
    assert "Do not change width" in text
    assert "sections shut off" in data["ask"] and data["likely"] == []
    far, _ = said("--area-counter", "69 ha", "--boundary", "62 ha")
    assert "wants a tape" in far


def test_more_gone_than_the_rate_makes_is_told_in_kilograms_first() -> None:
    text, data = said("--put", "4000 kg", "--left", "90 kg", "--left-how", "light", "--area-counter", "30 ha", "--rate", "121 kg/ha")
    assert data["say"][0].startswith("3\u202f910 kg are gone: 280 kg more than 121 kg/ha over 30.00 ha makes")
    assert "It may also be: " in text and "on record" not in text  # a caller has no record
    assert data["ask"].startswith("Can you do a catch test of bin A")


def test_a_target_that_is_met_proves_nothing_and_a_thin_stand_is_dug_for() -> None:
    text, data = said("--rate", "121", "--rate-seen", "121", "--thin-stand")
    assert "it weighs nothing" in text and "Dig in the thinnest place" in text
    assert "How deep" in data["ask"]
    alone, _ = said("--thin-stand")
    assert "Nothing to compare" not in alone


def test_two_bins_together_show_half_the_rate() -> None:
    text, _ = said("--rate", "121 kg/ha", "--rate-seen", "60.5 kg/ha")
    assert "one of two bins" in text


def test_numbers_that_cannot_all_be_right_are_read_back_before_a_machine_is_accused() -> None:
    text, data = said("--area-counter", "10 ac", "--put", "12000 lb", "--rate", "108 lb/ac", "--left", "0", "--left-how", "empty")
    assert "cannot all be right" in text and data["likely"] == []
    assert data["ask"].startswith("Read back")


def test_a_taped_distance_is_told_with_its_size_and_taped_again() -> None:
    text, data = said("--distance-shown", "104 m", "--distance-taped", "100 m")
    assert "4.0 %" in text
    assert "taped" in f"{data['ask']} {text}"


# the call kept -----------------------------------------------------------------------------------------------------------
def test_a_call_is_kept_as_a_file_and_goes_into_a_book_once(tmp_path) -> None:
    from evenstand.book import Book, CallNote
    from evenstand.desk.demo import JOB, build_book

    build_book(tmp_path / "book")
    note = tmp_path / "kim.json"
    text = run(call, "--rate", "120", "--rate-seen", "134.5", "--caller", "Kim", "--note", "wet morning", "--keep", str(note))
    assert f"Kept: {note}" in text
    with pytest.raises(InputError, match="is there already"):
        run(call, "--rate", "120", "--keep", str(note))
    attached = run(call, "--attach", str(note), "--book", str(tmp_path / "book"), "--job", JOB)
    assert JOB in attached
    with pytest.raises(InputError, match="in the book already"):
        run(call, "--attach", str(note), "--book", str(tmp_path / "book"), "--job", JOB)
    with pytest.raises(MissingError, match="no job 'moon'"):
        run(call, "--attach", str(note), "--book", str(tmp_path / "book"), "--job", "moon")
    with pytest.raises(MissingError, match="no book"):
        run(call, "--attach", str(note))
    with Book.open(tmp_path / "book") as book:
        (kept,) = [c for c in book.all(CallNote) if c.caller == "Kim"]
    assert (kept.job, kept.outfit, kept.note) == (JOB, "A", "wet morning")
    assert [(r.quantity, r.value) for r in kept.readings] == [("typed_rate:A", 134.5)]
    assert "slip:A" in kept.causes and "Asked next" in kept.advice
    listed = run(call, "--list", "--book", str(tmp_path / "book"), "--job", JOB)
    assert "Kim" in listed and "wet morning" in listed


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", '{"format": "other"}', '{"format": "evenstand-call", "version": 1}', "[" * 100_000, "x" * 300_000,
     '{"format": "evenstand-call", "version": 1, "at": "", "caller": "", "readings": [{"quantity": "a", "value": "nan", "sd": 1, "at": "", '
     '"instrument": "", "derived_from": []}], "causes": [], "asked": "", "advice": "", "note": ""}'],
)  # fmt: skip
def test_what_is_no_kept_call_is_refused_with_a_cure(tmp_path, text) -> None:
    from evenstand.desk.calls import read_call

    path = tmp_path / "call.json"
    path.write_text(text)
    with pytest.raises(InputError, match="no kept call"):
        read_call(path)
    with pytest.raises(InputError, match="cannot be read"):
        read_call(tmp_path / "none.json")
