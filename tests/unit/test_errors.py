"""Errors say where, what, the limit, and what to do."""

from __future__ import annotations

import math

import pytest

from evenstand.base.errors import Fault, InputError, RangeError, require_range


def test_all_faults_stand_in_the_message_and_in_the_data():
    error = InputError(
        [
            Fault(where="a.csv, row 2", what="-4 is below 0", limit="0 <= speed", cure="Correct it."),
            Fault(where="a.csv, row 9", what="empty"),
        ]
    )
    assert str(error).splitlines() == ["a.csv, row 2: -4 is below 0 (0 <= speed). Correct it.", "a.csv, row 9: empty."]
    assert error.to_dict()["error"] == "InputError"
    assert len(error.to_dict()["faults"]) == 2
    assert error.exit_code == 2


@pytest.mark.parametrize("value", [0.0, -1.0, 101.0, math.nan, math.inf])
def test_a_range_refuses_what_lies_outside(value):
    with pytest.raises(RangeError, match="width"):
        require_range("width", value, 0, 100, low_open=True, unit="m")


def test_a_range_accepts_its_closed_end():
    require_range("share", 1.0, 0, 1, low_open=True)
    with pytest.raises(RangeError):
        require_range("share", 1.0, 0, 1, high_open=True)
