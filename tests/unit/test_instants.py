"""Times read in parts are the times read as a whole, cell by cell, and what is no time is none either way."""

from __future__ import annotations

import random

import polars as pl
import pytest

from evenstand.formats.instants import _apart, _whole, milliseconds

ISO = "%Y-%m-%dT%H:%M:%S%.fZ"
ODD = (
    "2026-05-04T12:34:56Z", "2026-05-04T12:34:56.1Z", "2026-05-04T12:34:56,123Z", "2026-02-30T12:34:56.123Z", "2026-05-04T12:34:60.123Z",
    "2026-05-04T24:00:00.000Z", "2026-05-04 12:34:56.123Z", "", None, " 2026-05-04T12:34:56.123Z", "2026-05-04T12:34:56.+23Z",
    "2026-05-04T12:34:56.-23Z", "2026-05-04T12:34:56.1e3Z", "1969-05-04T12:34:56.123Z", "2026-05-04T12:34:56.12 Z", "2026-05-04T12:34:56.1234",
)  # fmt: skip


def test_a_column_of_thousandths_is_read_in_parts():
    cells = pl.Series(["2026-05-04T12:34:56.123Z", "2026-05-04T12:34:56.999Z", "1969-12-31T23:59:59.250Z"])
    apart = _apart(cells, ISO)
    assert apart is not None
    assert apart.to_list() == milliseconds(cells, ISO).to_list() == [1777898096123, 1777898096999, -750]


@pytest.mark.parametrize("form", ["%H:%M", "%Y-%m-%dT%H:%M:%S%.f%z", "%d.%m.%Y %H:%M:%S"])
def test_other_forms_are_read_as_a_whole(form):
    assert _apart(pl.Series(["2026-05-04T12:34:56.123Z"]), form) is None


@pytest.mark.parametrize("seed", range(4))
def test_any_cell_is_read_the_same_both_ways(seed):
    draw = random.Random(seed)
    cells: list[str | None] = ["2026-05-04T12:34:56.123Z", *ODD]
    for _ in range(3_000):
        text = list(draw.choice(["2026-05-04T12:34:56.123Z", *(c for c in ODD if c)]))
        for _ in range(draw.randint(0, 3)):
            text[draw.randrange(len(text))] = draw.choice("0123456789-:T.Z ,+e/a")
        cells.append("".join(text))
    column = pl.Series(cells)
    got, want = milliseconds(column, ISO), _whole(column, ISO)
    assert got.to_list() == want.to_list()
    assert 0 < got.null_count() < len(cells)


def test_parts_of_other_lengths():
    form = "%d.%m.%Y %H:%M:%S%.f"
    for cells in (["04.05.2026 12:34:56.5", "4.5.2026 1:34:56.7"], ["04.05.2026 12:34:56.123456", "04.05.2026 12:34:56.9"]):
        column = pl.Series(cells)
        assert milliseconds(column, form).to_list() == _whole(column, form).to_list()
        assert milliseconds(column, form).null_count() == 0
