"""What a log's detectors saw, as lines of evidence of the findings of the readings: where it bears, and never a verdict of its own."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from evenstand.base.estimate import Est
from evenstand.check import with_log
from evenstand.desk.days import check_day, demo_day
from evenstand.model import Finding, Trail, Widths
from made_trails import passes_trail, tool

WIDTH = 10.0


def said(*causes: str, state: str = "doubtful", size: float | None = None) -> Finding:
    est = None if size is None else Est(value=size, sd=0.01)
    return Finding(claim="c", state=state, suspects=(causes,), size=est, evidence=("by the outline",))  # type: ignore[arg-type]


def counting_in_turns(*, up: bool = True) -> Trail:
    """A counter that goes on while the tool is lifted, or not."""
    trail = passes_trail(passes=12, length_m=300.0, turn_rows=30)
    way = np.concatenate([[0.0], np.hypot(*np.diff(trail.xy_m, axis=0).T)])
    assert trail.lifted is not None
    grows = np.ones(trail.n, dtype=bool) if up else np.concatenate([[False], ~trail.lifted[:-1]])
    return dataclasses.replace(trail, area_ha=np.cumsum(np.where(grows, way, 0.0)) * WIDTH / 1e4)


def lines(finding: Finding, trail: Trail, width_m: float = WIDTH) -> tuple[str, ...]:
    outfit = dataclasses.replace(tool(WIDTH), widths=Widths(rate_m=WIDTH, guidance_m=WIDTH, true_m=Est(value=width_m, sd=0.01)))
    (one,) = with_log((finding,), trail, outfit)
    assert dataclasses.replace(one, evidence=finding.evidence) == finding, "a line of evidence changes nothing else"
    assert one.evidence[: len(finding.evidence)] == finding.evidence
    return one.evidence[len(finding.evidence) :]


@pytest.mark.parametrize("causes", [("overlap",), ("width", "distance"), ("distance",)])
@pytest.mark.parametrize("state", ["doubtful", "does-not-hold", "cannot-tell"])
def test_counting_while_lifted_bears_on_whatever_makes_the_counter_read_high(causes: tuple[str, ...], state: str) -> None:
    (line,) = lines(said(*causes, state=state, size=0.05), counting_in_turns())
    assert line.startswith("the log: About ")
    assert "counted while turning" in line


def test_it_bears_on_nothing_of_the_other_sign_nor_on_other_causes_nor_on_what_holds() -> None:
    trail = counting_in_turns()
    assert lines(said("width", size=-0.3), trail) == ()
    assert lines(said("factor:A", "lid:A", size=0.05), trail) == ()
    assert lines(said("overlap", state="holds"), trail) == ()
    assert lines(said("overlap", size=0.05), counting_in_turns(up=False)) == ()


def test_passes_that_lie_closer_than_the_tool_is_wide_bear_on_overlap_and_wider_ones_do_not() -> None:
    trail = counting_in_turns(up=False)
    (line,) = lines(said("overlap", size=0.05), trail, 12.0)
    assert "closer than the tool is wide" in line
    assert lines(said("overlap", size=0.05), trail, 8.5) == ()


def test_without_a_log_or_anything_open_the_findings_come_back_as_they_are() -> None:
    findings = (said("overlap"), said("width", state="holds"))
    assert with_log(findings, None, tool(WIDTH)) == findings
    assert with_log(findings, counting_in_turns(), None) == findings
    assert with_log(findings[1:], counting_in_turns(), tool(WIDTH)) == findings[1:]


def test_the_days_check_carries_the_line_and_names_no_more_than_before() -> None:
    """A counter 6 % high because it goes on in the turns, held against the outline."""
    day, plan, outfit, kinds = demo_day(11, optional="all", max_area_ha=20.0)
    assert day.trail is not None
    assert day.trail.area_ha is not None
    assert day.trail.lifted is not None
    extra = np.cumsum(np.where(day.trail.lifted, 0.5, 0.0)) / day.trail.lifted.sum() * 0.3 * day.trail.area_ha[-1]
    seen = {"fills": day.fills, "events": day.events, "typed": day.typed, "kinds": kinds}
    counter = next(r for r in day.readings if r.quantity == "area_counter")
    high = dataclasses.replace(counter, value=counter.value * 1.15)
    readings = tuple(high if r.quantity == "area_counter" else r for r in day.readings if not r.quantity.startswith(("width", "distance")))
    plain = check_day(outfit, plan, readings=readings, trail=day.trail, **seen)
    told = check_day(outfit, plan, readings=readings, trail=dataclasses.replace(day.trail, area_ha=day.trail.area_ha + extra), **seen)
    blamed = [
        f
        for f in told
        if f.state in ("doubtful", "does-not-hold") and {"overlap", "width", "distance"} & {c for g in f.suspects for c in g}
    ]
    assert blamed
    assert all(any("counted while turning" in e for e in f.evidence) for f in blamed)
    assert not any("counted while turning" in e for f in plain for e in f.evidence)
