"""Numbers and states taken from the table at once are those taken from its text."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from evenstand.formats import cells as parsing
from evenstand.formats.layouts import layout_of
from evenstand.trail import read_trail

STATES = ["1", "0", " 1", "01", "+1", "", "0", "00", "-0", "1"]
SPEEDS = ["9.0", " 9.1", "+9.2", "9.", ".93e1", "", "-9999", "0009.5", " 9.25", "9.300000000000001"]


def written(path, *, last_speed="9.1", last_state="1"):
    rows = ["time,longitude,latitude,speed_km_h,section 1,section 2"]
    for k in range(60):
        speed, state = (last_speed, last_state) if k == 59 else (SPEEDS[k % 10], STATES[k % 10] if k >= 50 else str(k % 2))
        rows.append(f"2027-05-04T14:00:{k:02d}Z,{-105 + k * 3.5e-5:.9f},51.0,{speed},{state},1")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "last",
    [{}, {"last_state": "on"}, {"last_state": "2"}, {"last_speed": "fast"}, {"last_speed": "9.25 "}],
    ids=["clean", "word", "two", "no number", "a space behind"],
)
def test_both_ways_give_the_same_trail(tmp_path, monkeypatch, last):
    path = written(tmp_path / "log.csv", **last)
    monkeypatch.setattr(parsing, "SAMPLE_ROWS", 50)  # what comes last is not known when the columns are told apart
    asked = []
    cells = parsing._cells
    monkeypatch.setattr(parsing, "_cells", lambda *a: asked.append(cells(*a)) or asked[-1])
    quick = read_trail(path)
    kinds = set(asked[0].dtypes)
    assert kinds == ({pl.String, pl.Float64, pl.Int8} if not last else {pl.String})
    slow = _by_text(path, monkeypatch)
    assert slow.kept == quick.kept and slow.repaired == quick.repaired and slow.set_aside == quick.set_aside
    assert np.array_equal(slow.sections, quick.sections)
    assert quick.sections[50:54, 0].tolist() == [True, False, True, True]
    assert np.array_equal(slow.speed_m_s, quick.speed_m_s, equal_nan=True)
    assert np.array_equal(slow.xy_m, quick.xy_m) and np.array_equal(slow.t_ms, quick.t_ms)


def _by_text(path, monkeypatch):
    """The trail with every cell taken as text first."""
    monkeypatch.setattr(
        parsing,
        "_cells",
        lambda layout, used, label: parsing._scan(layout).select(list(dict.fromkeys(label[c.name] for c in used))).collect(),
    )
    return read_trail(path)


def test_only_the_beginning_is_looked_at_for_what_the_columns_are(tmp_path):
    layout = layout_of(written(tmp_path / "log.csv"))
    some = parsing._beginning(layout, 7)
    assert some.source.count(b"\n") == 8
    assert parsing._beginning(layout, 1000).source == layout.source
