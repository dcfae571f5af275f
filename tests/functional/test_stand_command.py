"""`evenstand stand` as a person uses it: counts in, stand, survival, keep or reseed and the likely cause out."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from evenstand import agronomy
from evenstand.base.errors import EvenstandError
from evenstand.base.units import from_metric, to_metric
from evenstand.cli.stand import command


def run(*arguments: str) -> str:
    return CliRunner().invoke(command, list(arguments), catch_exceptions=False, standalone_mode=False).output


def answer(*arguments: str) -> dict:
    return json.loads(run(*arguments, "--json"))


def code(*arguments: str) -> int:
    return CliRunner().invoke(command, list(arguments), catch_exceptions=False, standalone_mode=False).return_value


ROW = ("--row", "1 m", "--spacing", "25 cm")
BARLEY = ("--rate", "120 kg/ha", "--tkw", "38 ± 0.5", "--survival", "85 % ± 5 %")


def test_counts_along_a_row_become_a_stand():
    stand = answer("25", "28", "22", "25", *ROW)["stand"]
    assert stand["plants_m2"] == pytest.approx(100)  # 25 plants/m on 25 cm rows
    assert stand["low"] < 100 < stand["high"]
    assert stand["method"] == "quasi-poisson"


def test_rows_counted_side_by_side_share_the_ground():
    assert answer("50", "50", *ROW, "--rows", "2")["stand"]["plants_m2"] == pytest.approx(100)


@pytest.mark.parametrize(("way", "size"), [("--hoop", "56 cm"), ("--hoop-round", "177 cm")])
def test_a_hoop_by_its_width_or_its_girth(way, size):
    assert answer("25", "25", way, size)["stand"]["plants_m2"] == pytest.approx(100, rel=0.02)  # a quarter of a square metre, nearly


def test_the_wheel_counts_150_plants_unless_told_otherwise():
    there = answer("--wheel", "24 m", "--wheel", "26 m", "--spacing", "30 cm")
    assert there["stand"]["plants_m2"] == pytest.approx(300 / (50 * 0.30))
    assert answer("--wheel", "24 m", "--plants", "75", "--spacing", "30 cm")["stand"]["plants_m2"] == pytest.approx(75 / 7.2)


def test_every_interval_can_be_asked_for():
    for interval in ("t", "poisson", "quasi-poisson", "negative-binomial"):
        assert answer("25", "38", "12", "25", *ROW, "--interval", interval)["stand"]["method"] == interval


def test_prairie_units_are_read_and_shown():
    text = run("25", "28", "22", "25", "--row", "3.28084", "--spacing", "9.8425", "--units", "prairie")
    assert text.startswith("9.3 plants/ft²")
    assert "plants/m²" not in text


def test_the_rate_gives_what_to_expect_and_the_survival_achieved():
    got = answer("51", "45", "60", "48", "56", "--hoop", "56 cm", *BARLEY)
    assert got["expected"]["stand"]["value"] == pytest.approx(120 * 100 / 38 * 0.85)
    assert got["expected"]["most"] == "the survival"
    assert got["achieved"]["survival"]["value"] == pytest.approx(got["stand"]["plants_m2"] / (12_000 / 38))
    text = run("51", "45", "60", "48", "56", "--hoop", "56 cm", *BARLEY)
    assert "hangs most on the survival" in text
    assert "Survival achieved" in text


def test_spreads_are_typed_in_the_units_of_the_value_or_in_per_cent():
    plan = answer("51", "45", "--hoop", "56 cm", "--rate", "107 lb/ac ± 2", "--tkw", "38 ± 2 %", "--survival", "85 % ± 5 %")["expected"]
    assert plan["rate_kg_ha"]["sd"] == pytest.approx(to_metric(2, "rate", "lb/ac"))
    assert plan["tkw_g"]["sd"] == pytest.approx(0.76)
    assert plan["survival"]["sd"] == pytest.approx(0.05)


def test_seeds_in_a_pound_are_a_kernel_weight():
    plan = answer("51", "45", "--hoop", "56 cm", "--rate", "120 kg/ha", "--tkw", "12000 seeds/lb", "--survival", "85 %")["expected"]
    assert plan["tkw_g"]["value"] == pytest.approx(453_592.37 / 12_000)
    assert answer("51", "--hoop", "56 cm", "--rate", "120", "--tkw", "38 g")["achieved"] is not None


def test_a_proven_rate_goes_before_the_rate_asked():
    got = answer("51", "45", "--hoop", "56 cm", *BARLEY, "--proven", "100 kg/ha ± 1")
    assert got["achieved"]["survival"]["value"] == pytest.approx(got["stand"]["plants_m2"] / (10_000 / 38))
    assert got["expected"]["rate_kg_ha"]["value"] == pytest.approx(120)


def test_each_publisher_speaks_for_itself():
    text = run("40", "42", "39", "41", "--hoop", "56 cm", "--crop", "barley", "--days-late", "10")
    assert "University of Minnesota Extension" in text
    assert "North Dakota State University Extension" in text
    assert "17%" in text
    assert "Penn State" not in text
    only = answer("40", "42", "39", "41", "--hoop", "56 cm", "--crop", "barley", "--publisher", "umn")["keep"]["advice"]
    assert [a["source"] for a in only] == ["umn-stand-2021"]


def test_a_crop_nobody_speaks_of_says_so():
    assert "Not published for lentil" in run("30", "31", "--hoop", "56 cm", "--crop", "lentil")


def test_a_thin_stand_is_an_exit_code_of_one_and_a_good_one_of_nought():
    assert code("38", "41", "36", "40", "37", "39", "--hoop", "56 cm", *BARLEY) == 1
    assert code("66", "64", "67", "65", "68", "66", "--hoop", "56 cm", *BARLEY) == 0
    assert code("25", "28", *ROW) == 0


def test_a_thin_stand_names_the_next_reading_and_does_not_blame_the_meter():
    got = answer("38", "41", "36", "40", "37", "39", "--hoop", "56 cm", *BARLEY)
    assert got["thin"]["state"] == "cannot-tell"
    assert "meter" in got["thin"]["not_claimed"]
    text = run("38", "41", "36", "40", "37", "39", "--hoop", "56 cm", *BARLEY, "--moisture", "dry")
    assert "a dry seedbed" in text
    assert "Next: " in text


def test_evidence_is_told_in_the_readers_units():
    thin = ("38", "41", "36", "40", "37", "39", "--hoop", "56 cm", *BARLEY, "--proven", "119 kg/ha ± 2")
    assert "119 kg/ha proven against 120 kg/ha asked" in " ".join(run(*thin).split())
    prairie = " ".join(run(*thin, "--units", "prairie").split())
    assert "106 lb/ac proven against 107 lb/ac asked" in prairie
    assert "kg/ha" not in prairie


def test_depth_by_wing_says_what_to_set():
    dug = [part for d in (31, 29, 33, 30) for part in ("--depth", f"{d} mm; left")]
    dug += [part for d in (40, 39, 41, 38) for part in ("--depth", f"{d} mm; right")]
    text = run("25", "28", *ROW, *dug, "--shallowest", "38 mm", "--deepest", "50 mm", "--turn", "3 mm")
    assert "The left wing is 9 mm shallower than the right wing" in " ".join(text.split())
    assert "turns deeper by what you typed" in " ".join(text.split())
    assert "50% in the window" in text
    inches = run("25", "28", *ROW, *dug, "--shallowest", "38 mm", "--deepest", "50 mm", "--units", "us")
    assert " in shallower" in " ".join(inches.split())


def test_depth_without_a_window_asks_for_one():
    got = answer("25", "28", *ROW, "--depth", "31 mm; rank 1; track", "--depth", "40 mm; rank 2; between")
    assert got["depth"]["share_in"] is None
    assert any("--shallowest" in line for line in got["missing"])


def test_what_is_missing_is_named():
    lines = answer("25", "28", *ROW)["missing"]
    assert any("--tkw" in line and "--survival" in line for line in lines)
    assert any("--crop" in line for line in lines)
    assert "Still needed for" in run("25", "28", *ROW)


def test_a_mistyped_number_is_doubted():
    doubts = answer("25", "28", *ROW, "--crop", "wheat", "--tkw", "3.8", "--rate", "120 kg/ha", "--survival", "85%")["doubts"]
    assert [d["quantity"] for d in doubts] == ["tkw_g"]
    assert "decimal" in doubts[0]["slip"]


def test_volunteers_are_taken_off():
    base = answer("60", "61", "--hoop", "56 cm", *BARLEY)["achieved"]["survival"]["value"]
    less = answer("60", "61", "--hoop", "56 cm", *BARLEY, "--volunteers", "20 plants/m²")["achieved"]["survival"]["value"]
    assert base - less == pytest.approx(20 / (12_000 / 38))


def test_nothing_found_is_a_stand_of_nought_with_a_bound():
    stand = answer("0", "0", "0", "--hoop", "56 cm")["stand"]
    assert (stand["plants_m2"], stand["low"]) == (0, 0)
    assert stand["high"] > 0


def test_one_count_says_how_little_it_is_worth():
    assert "Count more places" in run("60", "--hoop", "56 cm")


def test_the_command_and_the_function_say_the_same():
    got = answer("25", "38", "12", "25", *ROW, "--interval", "t", "--confidence", "90 %")["stand"]
    here = agronomy.stand_from_counts([25, 38, 12, 25], 0.25, confidence=0.9)
    assert (got["low"], got["high"]) == (pytest.approx(here.low), pytest.approx(here.high))
    assert from_metric(got["plants_m2"], "stand", "plants/ft²") == pytest.approx(100 / 10.7639104)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--hoop", "56 cm"), "no counts"),
        (("25",), "ground of one count"),
        (("25", "--row", "1 m"), "--spacing"),
        (("25", "--row", "1 m", "--spacing", "0"), "--spacing"),
        (("25", "--row", "1 m", "--spacing", "25 kg"), "spacing"),
        (("25", "--hoop", "56 cm", *ROW), "two ways"),
        (("many", "--hoop", "56 cm"), "many"),
        (("25.5", "--hoop", "56 cm"), "whole number"),
        (("--hoop", "56 cm", "--", "-5"), "count 1"),
        (("1e400", "--hoop", "56 cm"), "digits"),
        (("1000000", "--hoop", "56 cm"), "count 1"),
        (("25", "--hoop", "-56 cm"), "--hoop"),
        (("25", "--hoop", "nan"), "nan"),
        (("25", "--hoop", "56"), "Say the unit"),
        (("25", "--row", "1 m", "--spacing", "25"), "Say the unit"),
        (("25", "28", *ROW, "--depth", "30 mm", "--depth", "31 mm", "--shallowest", "40 m", "--deepest", "50 m"), "--shallowest"),
        (("25", "--wheel", "24 m", "--spacing", "30 cm"), "two ways"),
        (("--wheel", "24 m"), "--spacing"),
        (("--wheel", "0 m", "--spacing", "30 cm"), "--wheel 1"),
        (("--wheel", "24 m", "--spacing", "30 cm", "--plants", "1"), "--plants"),
        (("25", *ROW, "--rows", "0"), "--rows"),
        (("25", *ROW, "--confidence", "100 %"), "--confidence"),
        (("25", *ROW, "--precision", "0"), "--precision"),
        (("25", *ROW, "--rate", "120 km/h"), "rate"),
        (("25", *ROW, "--rate", "0", "--tkw", "38"), "--rate"),
        (("25", *ROW, "--rate", "120 ± -3", "--tkw", "38"), "--rate"),
        (("25", *ROW, "--tkw", "-38", "--rate", "120"), "--tkw"),
        (("25", *ROW, "--tkw", "0 seeds/lb", "--rate", "120"), "--tkw"),
        (("25", *ROW, "--tkw", "12000 seeds/lb ± 100", "--rate", "120"), "--tkw"),
        (("25", *ROW, "--survival", "120 %", "--tkw", "38", "--rate", "120"), "--survival"),
        (("25", *ROW, "--crop", "wheat", "--publisher", "neighbour"), "publisher"),
        (("25", *ROW, "--crop", "wheat", "--days-late", "-3"), "--days-late"),
        (("25", *ROW, "--depth", "30 mm"), "reading"),
        (("25", *ROW, "--depth", "30 mm", "--depth", "deep"), "--depth 2"),
        (("25", *ROW, "--depth", "30 mm; rank x", "--depth", "31 mm"), "rank"),
        (("25", *ROW, "--depth", "30 mm", "--depth", "31 mm", "--shallowest", "40 mm"), "--deepest"),
        (("25", *ROW, "--depth", "30 mm", "--depth", "31 mm", "--shallowest", "40 mm", "--deepest", "20 mm"), "window"),
        (("25", *ROW, *BARLEY, "--moisture", "soggy"), "soggy"),
        (("25", *ROW, "--volunteers", "-3 plants/m²", *BARLEY), "--volunteers"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_its_name(arguments, says):
    with pytest.raises(EvenstandError, match=says):
        run(*arguments)
