"""Several logs of a field as one trail: order, frames, counters, columns that some lack, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from evenstand.base.errors import InputError
from evenstand.model import Frame, SetAside
from evenstand.trail import coverage
from evenstand.trail.joining import joined
from made_trails import FRAME, passes_trail, tool


def later(trail, hours: float):
    return replace(trail, t_ms=trail.t_ms + int(hours * 3600_000))


def test_two_halves_of_a_field_are_its_whole_ground():
    whole = passes_trail(passes=8)
    cut = whole.n // 2
    rows = [slice(0, cut), slice(cut, whole.n)]
    halves = [replace(whole, t_ms=whole.t_ms[r], xy_m=whole.xy_m[r], lifted=whole.lifted[r], rows=cut, kept=cut) for r in rows]
    together = joined(halves[::-1], ["b", "a"])
    assert together.t_ms.tolist() == whole.t_ms.tolist()
    assert together.rows == 2 * cut
    assert coverage(together, tool(10.5)).covered_m2 == pytest.approx(coverage(whole, tool(10.5)).covered_m2)
    assert "2 logs taken together: a, b." in together.notes


def test_positions_come_into_the_frame_of_the_first():
    one = passes_trail(passes=2)
    frame = Frame(lon_deg=FRAME.lon_deg + 0.01, lat_deg=FRAME.lat_deg)
    both = joined([one, replace(later(one, 24), frame=frame)], ["a", "b"])
    assert both.frame == FRAME
    assert both.xy_m[one.n] - one.xy_m[0] == pytest.approx([702.0, 0.0], abs=1.0)  # 0.01 degrees at 51 north


def test_counters_go_on_and_absent_columns_stay_absent():
    one = passes_trail(passes=2)
    count = np.linspace(5.0, 6.0, one.n)
    first = replace(one, area_ha=count, revs=count[:, None] * 10, bins=("A",), extra={"fix": np.ones(one.n)})
    second = replace(later(one, 24), area_ha=count, echoed_kg_ha=np.full((one.n, 1), 80.0), bins=("B",))
    both = joined([first, second], ["a", "b"])
    assert both.bins == ("A", "B")
    assert both.area_ha[-1] - both.area_ha[0] == pytest.approx(2.0)
    assert np.isnan(both.revs[:, 1]).all()
    assert np.isnan(both.echoed_kg_ha[: one.n]).all()
    assert both.echoed_kg_ha[-1, 1] == 80.0
    assert both.speed_m_s is None
    assert np.isnan(both.extra["fix"][-1])


def test_states_that_one_log_lacks_are_left_out_and_said():
    one = passes_trail(passes=2)
    second = replace(later(one, 24), lifted=None, sections=np.ones((one.n, 4), dtype=bool))
    both = joined([one, second], ["a", "b"])
    assert both.lifted is None and both.sections is None
    assert sum("left out" in note for note in both.notes) == 2


def test_what_was_set_aside_is_still_counted():
    one = replace(passes_trail(passes=2), set_aside=(SetAside(line=3, reason="no time"),), set_aside_unlisted=2)
    both = joined([one, later(one, 24)], ["a", "b"])
    assert both.set_aside_rows == 2 * one.set_aside_rows == 6


def test_logs_that_overlap_in_time_are_refused_by_name_and_one_log_is_itself():
    one = passes_trail(passes=2)
    with pytest.raises(InputError, match="begins before 'a.csv' ends"):
        joined([one, later(one, 0.001)], ["a.csv", "b.csv"])
    with pytest.raises(InputError, match="no trail"):
        joined([], [])
    assert joined([one], ["a"]) is one
