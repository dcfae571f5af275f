"""The card laid out: what is typed first, bins side by side, one text said once; sentences in the reader's units."""

from __future__ import annotations

import pytest

from evenstand.base.errors import Fault
from evenstand.base.units import restated, restated_fault
from evenstand.desk.cards import first_and_rest, laid_out, split_sentences, suffix_of, wanted
from evenstand.model import CardLine


def one(key: str, role: str = "set", **more) -> CardLine:
    given = {"group": "bin", "label": "Rate, wheat", "quantity": "rate", "state": "known", "value": 100.0, "role": role}
    return CardLine(key=key, **{**given, **more})


def test_like_lines_of_bins_stand_side_by_side_and_what_is_typed_comes_first():
    card = (
        one("window:A", "expect", bin="A", label="Speeds"), one("bin-rate:A", bin="A"), one("bin-rate:C", bin="C", label="Rate, urea"),
        one("low-alarm:C", "alarm", bin="C", label="Low-bin alarm at"), one("sbu", "know", group="row", label="Seedbed utilisation"),
    )  # fmt: skip
    parts = laid_out(card)
    assert [p.key for p in parts] == ["type", "see", "mind"]
    assert [(r.label, [b for b, _ in r.lines]) for r in parts[0].bin_rows] == [("Rate", ["A", "C"]), ("Low-bin alarm at", ["C"])]
    assert parts[0].bin_rows[1].of("A") is None
    assert parts[2].groups[0][0] == "Seed row"
    assert sum(len(r.lines) for p in parts for r in p.rows()) == len(card)


def test_what_all_bins_say_is_said_once_and_the_rest_behind_its_letter():
    rows = laid_out((one("x:A", bin="A", why="Same. Own a"), one("x:C", bin="C", why="Same. Own c")))[0].bin_rows
    assert rows[0].said("why") == "Same. A: Own a. C: Own c."
    assert rows[0].said("stale") == ""


def test_a_label_says_beyond_its_row_only_what_the_columns_head_does_not():
    row = laid_out(
        (
            one("catch:A", "expect", bin="A", label="Catch, 5 turns", quantity="catch"),
            one("catch:C", "expect", bin="C", label="Catch, 4 turns", quantity="catch"),
        )
    )[0].bin_rows[0]
    assert (row.label, suffix_of(row.of("A"), row)) == ("Catch", "5 turns")
    rate = laid_out((one("bin-rate:A", bin="A"),))[0].bin_rows[0]
    assert suffix_of(rate.line, rate) == ""


def test_one_missing_thing_is_asked_for_once():
    lines = [
        one(f"factor:{b}", bin=b, label="Product per turn", state="needs", value=None, needs=("a catch",), how="Catch it.") for b in "AC"
    ]
    (want,) = wanted((*lines, one("x")))
    assert (want.what, want.how, want.lines) == ("a catch", "Catch it.", ("Product per turn (A, C)",))


def test_sentences_are_cut_where_they_end_and_not_inside_a_number():
    assert split_sentences("About 1.5 ha. At 17.2 m. Then 3") == ["About 1.5 ha.", "At 17.2 m.", "Then 3."]
    assert first_and_rest("") == ("", "")


@pytest.mark.parametrize(
    ("text", "prairie"),
    [
        ("Sown twice: about 0.57 ha (0.9%), without", "Sown twice: about 1.41 ac (0.9%), without"),
        ("passes 16.15 m apart", "passes 52.99 ft apart"),
        ("3.0 to 17.4 km/h", "1.86 to 10.8 mph"),
        ("Asked: 8.2 kg/ha", "Asked: 7.32 lb/ac"),
        ("Published: 20 lb/ac (22.4 kg/ha)", "Published: 20 lb/ac (22.4 kg/ha)"),  # in both units already
        ("'7 kg/ha' is no speed", "'7 kg/ha' is no speed"),  # as somebody typed it
        ("1 902 kg and 3 turns", "1 902 kg and 3 turns"),  # kilograms stay kilograms on the prairie
        ("x 46-0-0, 20 m/s", "x 46-0-0, 20 m/s"),
        ("0 ha", "0 ac"),
    ],
)
def test_a_sentence_is_told_in_the_readers_units(text, prairie):
    assert restated(text, "prairie") == prairie
    assert restated(text, "si") == text


def test_an_errors_bare_limit_follows_the_unit_of_its_value():
    fault = Fault(where="width", what="70 m is out of range", limit="0 < width <= 60", cure="Write it as 16.3 m.")
    told = restated_fault(fault, "us")
    assert str(told) == "width: 230 ft is out of range (0 ft < width <= 197 ft). Write it as 53.5 ft."
    assert restated_fault(fault, "si") is fault
