"""Slips of typing by ratio and by digits."""

from __future__ import annotations

import pytest

from evenstand.base.errors import RangeError
from evenstand.check import typing_slip

RATIOS = {
    2.205: "kg and lb", 1.121: "lb/ac and kg/ha", 0.892: "lb/ac and kg/ha", 2.471: "ha and ac", 1.609: "km and miles", 0.5: "second rate",
    2.0: "second rate", 1.102: "t and short tons", 1.201: "gallons", 2.291: "P and P₂O₅", 60.0: "60 lb/bu", 56.0: "56 lb/bu",
    50.0: "50 lb/bu", 48.0: "48 lb/bu",
}  # fmt: skip


@pytest.mark.parametrize(("ratio", "name"), RATIOS.items())
def test_each_ratio_people_make_is_known(ratio: float, name: str) -> None:
    """Ratios follow from definitions (pound, acre, mile, ton, gallon); the nutrient's from atomic weights."""
    assert name in [s.name for s in typing_slip(100, 100 * ratio, sd=0.002)]


def test_the_likeliest_reading_of_1_12_is_the_unit_not_the_bushel() -> None:
    found = typing_slip(120, 120 * 1.1208, sd=0.005)
    assert [s.kind for s in found] == ["unit", "bushel"]
    assert found[0].text == "lb/ac typed where kg/ha was meant."
    assert sum(s.weight for s in found) == pytest.approx(1)


def test_digits_that_changed_places_differ_by_a_multiple_of_nine() -> None:
    found = typing_slip(127, 172, sd=0.001)
    assert found[0].kind == "digits"
    assert (172 - 127) % 9 == 0
    assert "172 for 127" in found[0].text


def test_a_decimal_keeps_its_point_when_digits_change_places() -> None:
    assert any("12.5 for 15.2" in s.text or "12.5" in s.text for s in typing_slip(15.2, 12.5, sd=0.001))


@pytest.mark.parametrize(("rows", "typed"), [(64, 63), (64, 65), (39, 37)])
def test_a_row_too_few_or_too_many_is_found_when_the_rows_are_known(rows: int, typed: int) -> None:
    found = typing_slip(rows * 0.254, typed * 0.254, sd=0.001, rows=rows)
    assert found[0].kind == "rows"
    assert str(typed) in found[0].name
    assert all(s.kind != "rows" for s in typing_slip(rows * 0.254, typed * 0.254, sd=0.001))


def test_numbers_that_agree_are_no_slip() -> None:
    assert typing_slip(120, 120.1, sd=0.002) == ()


def test_a_ratio_nobody_makes_is_no_slip() -> None:
    assert typing_slip(100, 137.7, sd=0.002) == ()


def test_a_match_lies_within_two_combined_sds() -> None:
    assert typing_slip(100, 112.09 * 1.015, sd=0.005) == ()
    assert all(s.z <= 2 for s in typing_slip(100, 112.09 * 1.015, sd=0.01))


def test_every_slip_says_where_to_look() -> None:
    assert all(s.look and s.text.endswith(".") for s in typing_slip(100, 200, sd=0.05))


@pytest.mark.parametrize(("asked", "seen", "sd"), [(0, 1, 0.01), (1, -1, 0.01), (1, 2, 1.5), (1, 2, -0.1)])
def test_impossible_arguments_are_refused(asked: float, seen: float, sd: float) -> None:
    with pytest.raises(RangeError):
        typing_slip(asked, seen, sd=sd)
