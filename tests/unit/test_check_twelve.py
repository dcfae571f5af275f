"""The twelve commonest faults of practice, with bridging, leaks, a wrong roller, unequal heads and slips: each has its sentence, its
evidence, an act that confirms it, and what it must not be taken for; what looks alike is one class."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import numpy as np
import pytest

from evenstand.check import BinDay, Look, PutIn, check_readings, logged_findings, placement_finding, run_findings
from evenstand.check.causes import KINDS, OF_BIN, words
from evenstand.check.masses import Window, stop_evidence
from evenstand.check.runs import RunLoss
from evenstand.desk.days import demo_day
from evenstand.model import Finding, Head, Outfit, Reading, Run, Stream, Trail

ASKED, FIELD_HA, WIDTH = 120.0, 60.0, 16.3
TRUE = {"factor": 0.0, "lid": 0.0, "distance": 0.0, "width": 0.0, "slip": 0.0, "bridge": 0.0, "missed": 0.0, "fan": 0.0, "lost": 0.0}


def day(*names: str, **wrong: float) -> tuple[Finding, ...]:
    """Readings of one bin over a day in four intervals, one thing wrong by a natural logarithm, a share or kilograms, checked.

    names: witnesses beside the fills, the looks and the display.
    """
    t = TRUE | wrong
    counter = FIELD_HA * 1.02 * math.exp(t["width"] + t["distance"])
    rate = ASKED * math.exp(t["slip"])
    shown, metres = rate * counter, FIELD_HA * 1.02e4 / WIDTH
    looks, puts, level = [], [], 0.0
    for i in range(4):
        puts.append(PutIn(machine_kg=shown * i / 4, put_kg=2000.0, put_sd_kg=10))
        stays = t["bridge"] if i == 1 else 0.0
        level += 2000.0 + (t["missed"] if i == 2 else 0.0) - shown / 4 * math.exp(t["factor"] + t["lid"]) * (1 - stays)
        looks.append(Look(machine_kg=shown * (i + 1) / 4, level_kg=level, level_sd_kg=20))
    put = 8000.0
    every = {
        "area_counter": Reading(quantity="area_counter", value=counter, sd=0.01, derived_from=("W", "V")),
        "distance_shown": Reading(quantity="distance_shown", value=metres * math.exp(t["distance"]), sd=1, derived_from=("V",)),
        "shown_mass:A": Reading(quantity="shown_mass:A", value=shown, sd=1, derived_from=("F:A", "turns:A")),
        "typed_rate:A": Reading(quantity="typed_rate:A", value=rate, sd=0.05, derived_from=("rate:A",)),
        "put:A": Reading(quantity="put:A", value=put, sd=20, instrument="truck-scale"),
        "catch_factor:A": Reading(quantity="catch_factor:A", value=1.25 * math.exp(t["factor"]), sd=0.012),
        "delivered:A": Reading(quantity="delivered:A", value=put + t["missed"], sd=25),
        "boundary_area": Reading(quantity="boundary_area", value=FIELD_HA, sd=0.4),
        "width_tape": Reading(quantity="width_tape", value=WIDTH * math.exp(-t["width"]), sd=0.015),
        "distance_taped": Reading(quantity="distance_taped", value=math.exp(t["distance"]), sd=0.003),
        "distance_gnss": Reading(quantity="distance_gnss", value=metres * math.exp(-t["lost"]), sd=0.003 * metres),
        "fan_shown": Reading(quantity="fan_shown", value=71.7 * math.exp(t["fan"]), sd=0.2),
        "fan_proven": Reading(quantity="fan_proven", value=71.7, sd=0.2),
        "fixes_lost": Reading(quantity="fixes_lost", value=0.05, sd=0.01),
    }  # fmt: skip
    always = ("area_counter", "distance_shown", "shown_mass:A", "typed_rate:A", "put:A")
    kept = [r for n, r in every.items() if n in (*always, *names)]
    bin_day = BinDay(bin="A", looks=tuple(looks), puts=tuple(puts), start_sd_kg=2, by=("F:A", "turns:A"))
    return check_readings(
        kept, asked={"A": ASKED}, typed={"W": WIDTH, "F:A": 1.25}, bin_days=[bin_day], kinds={"A": "seed"}, overlap=(0.01, 0.04)
    ).findings


def accused(found: tuple[Finding, ...]) -> list[Finding]:
    return [f for f in found if f.state in ("doubtful", "does-not-hold")]


def plugged(*numbers: int) -> tuple[Finding, ...]:
    """Sensors lost on an outfit of two heads of eight."""
    runs = tuple(Run(number=i + 1, head="AB"[i // 8], outlet=i % 8 + 1, offset_m=0.25 * i, sensor=i + 1) for i in range(16))
    outfit = Outfit(key="o", name="o", rows=16, row_spacing_m=0.25, runs=runs, heads=tuple(Head(letter=h, outlets=8) for h in "AB"))
    losses = [
        RunLoss(run=n, head=runs[n - 1].head, since_s=600, earliest_s=590, latest_s=610, until_s=5000, strength=99, seen=1, looked=900, back=False)
        for n in numbers
    ]  # fmt: skip
    return run_findings(losses, outfit)


def log_of(change: Callable[[Trail], Trail]) -> tuple[Finding, ...]:
    """A simulated log with something done to it, looked at by the detectors that feed the day's check."""
    made, _, outfit, _ = demo_day(11, world="still", max_area_ha=20.0)
    return logged_findings(change(made.trail), outfit)


def slow_fan(trail: Trail) -> Trail:
    assert trail.fan_turns_s is not None
    return dataclasses.replace(trail, fan_turns_s=np.where(np.arange(trail.n) > trail.n // 2, 0.88, 1.0) * trail.fan_turns_s)


def leaping(trail: Trail) -> Trail:
    xy, passes = trail.xy_m.copy(), np.flatnonzero(trail.lifted[1:] != trail.lifted[:-1]) if trail.lifted is not None else np.zeros(0, int)
    row = int(passes[2] + passes[3]) // 2
    xy[row : row + 120] += [2.0, 2.0]
    return dataclasses.replace(trail, xy_m=xy)


# number of practice, what is wrong, the class by name, a part of the sentence, a part of the act, a part of what is not claimed
TABLE: list[tuple[str, Callable[[], tuple[Finding, ...]], set[str], str, str, str]] = [
    ("1 stale factor", lambda: day("catch_factor:A", factor=0.07), {"factor:A"}, "more per turn than typed", "Catch bin A", "display showed"),
    ("1 wrong roller", lambda: day("catch_factor:A", factor=math.log(0.4)), {"factor:A"}, "look at the roller", "Catch bin A", "display showed"),
    ("1 wrong roller, no catch", lambda: day(factor=math.log(2.5)), {"factor:A"}, "2.50 times", "Catch bin A", "display showed"),
    ("2 fill not entered", lambda: day("delivered:A", missed=1900), {"fill-missed:A"}, "not on record", "tickets", "meter fault from one fill"),
    ("2 the same without tickets", lambda: day(missed=-1900), {"fill-doubled:A"}, "on record twice", "Lay the tickets", "meter fault from one"),
    ("3 bridging", lambda: day("delivered:A", bridge=0.6), {"bridge:A"}, "a bridge or lumps", "lock out", "From the rate on the display"),
    ("3 the same without tickets", lambda: day(bridge=0.6), {"bridge:A", "fill-missed:A"}, "cannot tell it from", "", ""),
    ("4 one run", lambda: plugged(5), {"run:5"}, "siblings got about 14 % more", "open the hose of run 5", "Any change of kg/ha"),
    ("5 a head", lambda: plugged(*range(9, 17)), {"head:B"}, "Head B is dead", "look into head B", "That the fan caused it"),
    ("6 fan, read", lambda: day("fan_shown", "fan_proven", fan=-0.1), {"fan"}, "below its proven speed", "puff test", "Air speed"),
    ("6 fan, logged", lambda: log_of(slow_fan), {"fan"}, "slower since", "proven speed", "Air speed"),
    ("7 lid or seal", lambda: day("catch_factor:A", lid=-0.08), {"lid:A"}, "right in the bag: look for air leaking", "Soap the lid", "A new factor"),
    ("7 open door", lambda: day("catch_factor:A", lid=0.1), {"lid:A"}, "pile under the cart", "under the cart", "A new factor"),
    ("7 without a catch", lambda: day(lid=-0.08), {"factor:A", "lid:A"}, "cannot tell it from", "", ""),
    ("8 distance", lambda: day("distance_taped", distance=0.05), {"distance"}, "too much of everything", "taped 100 m", "unless the width was taped"),
    ("9 width", lambda: day("width_tape", width=-0.016), {"width"}, "is typed; the tool is", "Tape the tool", "from the outline alone"),
    ("8 or 9 by the outline", lambda: day("boundary_area", width=-0.1), {"width", "distance"}, "cannot tell it from", "", ""),
    ("10 slip", lambda: day(slip=math.log(1.1208)), {"slip:A"}, "lb/ac typed where kg/ha was meant", "digit by digit", "Certainty"),
    ("fixes", lambda: day("distance_gnss", "distance_taped", "fixes_lost", lost=0.06), {"fixes"}, "short by that", "fix quality", "wrong distance"),
    ("fixes, no tape", lambda: day("distance_gnss", "fixes_lost", lost=0.06), {"fixes", "distance"}, "cannot tell it from", "", ""),
    ("fixes, logged", lambda: log_of(leaping), {"fixes"}, "Positions leap", "fix quality", ""),
]  # fmt: skip


@pytest.mark.parametrize(("make", "cause", "says", "act", "never"), [t[1:] for t in TABLE], ids=[t[0] for t in TABLE])
def test_each_common_fault_is_named_with_evidence_an_act_and_what_it_does_not_claim(
    make: Callable[[], tuple[Finding, ...]], cause: set[str], says: str, act: str, never: str
) -> None:
    (said,) = accused(make())
    assert len(said.suspects) == 1
    assert set(said.suspects[0]) == cause
    assert says in said.claim
    assert said.evidence
    assert act in said.confirm_by
    assert said.confirm_by
    assert never in said.not_claimed
    assert said.not_claimed
    assert bool(said.settle_by) or len(cause) == 1


def test_the_reading_that_parts_a_class_is_the_one_that_would_have_done_so() -> None:
    (lid,) = accused(day(lid=-0.08))
    assert any(way in lid.settle_by for way in ("soap the lid", "catch test of bin A"))
    (bridge,) = accused(day(bridge=0.6))
    assert any(way in bridge.settle_by for way in ("look into bin A", "tickets"))


def test_a_stop_says_less_for_a_missing_fill_the_longer_the_interval() -> None:
    """Likelihood ratio by hand: stops of other kinds come 0.3 times an hour, one missing fill in five was put in beside another."""

    def said(hours: float, stop: bool) -> float:
        window = Window(index=1, machine_kg=1, put_kg=1, from_s=0, to_s=3600 * hours, stop_s=(900, 1800) if stop else None)
        return stop_evidence(window)

    assert said(2, True) == pytest.approx(math.log((1 - 0.2 * math.exp(-0.6)) / (1 - math.exp(-0.6))))
    assert said(1, True) > said(3, True) > said(9, True) > 0
    assert said(1, False) == said(9, False) == pytest.approx(math.log(0.2))
    assert said(0.1, False) < math.log(0.2), "no fill goes in while there is no time for one"


def test_a_good_day_accuses_nobody_whatever_is_read() -> None:
    found = day(
        "catch_factor:A", "delivered:A", "boundary_area", "width_tape", "distance_taped", "distance_gnss", "fan_shown", "fan_proven",
        "fixes_lost",
    )  # fmt: skip
    assert accused(found) == []
    assert "Fan speed holds" in " ".join(f.claim for f in found)


def test_11_a_switch_that_stays_on_is_left_to_the_log_and_no_reading_is_blamed() -> None:
    """What a counter gains while lifted looks like overlap, width or distance to the outline: one class, and the log parts it."""
    found = accused(day("boundary_area", distance=0.12))
    assert {c for f in found for group in f.suspects for c in group} >= {"width", "distance", "overlap"}


@pytest.mark.parametrize(("outlets", "says"), [((8, 8), "cannot be told from any reading."), ((7, 6), "differ by 17 % from row to row")])
def test_12_swapped_streams_and_unequal_heads_say_dig(outlets: tuple[int, int], says: str) -> None:
    outfit = Outfit(
        key="o", name="o", streams=(Stream(key="a", label="seed"), Stream(key="b", label="fertilizer")),
        heads=tuple(Head(letter="AB"[i], outlets=n) for i, n in enumerate(outlets)),
    )  # fmt: skip
    (said,) = placement_finding(outfit)
    assert (said.state, said.suspects) == ("cannot-tell", ())
    assert says in said.claim
    assert "dig one opener on each stream before the first hectare" in said.settle_by
    assert "because all numbers hold" in said.not_claimed


def test_a_tool_of_one_stream_and_head_has_nothing_to_swap() -> None:
    assert placement_finding(Outfit(key="o", name="o")) == ()


@pytest.mark.parametrize("kind", KINDS)
def test_every_cause_has_a_name_an_act_and_a_never(kind: str) -> None:
    said = words(f"{kind}:A" if kind in (*OF_BIN, "run", "head") else kind)
    assert all((said.name, said.act, said.never))
    assert "{" not in said.act
