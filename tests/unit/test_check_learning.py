"""Sizes with the day's usual change counted in, scales learned from past days, and a check that is made again and again."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenstand.base.errors import InputError, RangeError
from evenstand.check import (
    BinDay,
    Look,
    PutIn,
    check_readings,
    day_seen,
    judge,
    learned_scales,
    relations_for,
    scale_values,
    seen_from_plain,
    seen_plain,
    updated_scales,
    wandering,
    watch_days,
)  # fmt: skip
from evenstand.check.causes import usual
from evenstand.check.learning import DaySeen, scaled_bin_day, scaled_readings, scaled_relations
from evenstand.check.sizing import whole_sizes
from evenstand.check.verdicts import USUAL_OVERLAP, size_hypotheses
from evenstand.model import Reading
from evenstand.solve.scales import learned_spread


def distances(gain: float, *, gnss_sd: float = 0.003) -> list[Reading]:
    shown = Reading(quantity="distance_shown", value=20_000 * math.exp(gain), sd=0.3, instrument="display", derived_from=("V",))
    return [shown, Reading(quantity="distance_gnss", value=20_000.0, sd=20_000 * gnss_sd, instrument="gnss")]


def bin_day(gain: float, wobble: tuple[float, ...] = (0.0,) * 6) -> tuple[BinDay, float]:
    """Fills and weighed levels of six intervals of 1,000 kg; the gain as it really was, over all."""
    level, looks, puts, used = 2000.0, [], [PutIn(machine_kg=0.0, put_kg=2000.0, put_sd_kg=6.0)], 0.0
    for i, w in enumerate(wobble, 1):
        take = 1000 * math.exp(gain + w)
        used, level = used + take, level - take
        looks.append(Look(machine_kg=1000.0 * i, level_kg=level, level_sd_kg=5.0))
        puts.append(PutIn(machine_kg=1000.0 * i, put_kg=take, put_sd_kg=6.0))
        level += take
    return BinDay(bin="A", looks=tuple(looks), puts=tuple(puts), start_sd_kg=2.0), used / (1000 * len(wobble)) - 1


def found(readings: list[Reading], days: tuple[BinDay, ...] = ()):
    relations, every = relations_for(readings, bin_days=days)
    return judge(relations, every, bin_days=days).found


def test_a_size_is_as_well_known_as_its_readings_and_no_worse() -> None:
    """Distance by two readings alone: the spread is that of the readings, not of what moves on a good day."""
    (one,) = found(distances(math.log(1.08)))
    assert one.sd == pytest.approx(1.08 * 0.003, rel=0.02)
    assert one.sd < 0.6 * usual("distance") * 1.08
    assert one.size == pytest.approx(0.08, abs=0.001), "said as a share, not as a logarithm"


@pytest.mark.parametrize("share", [-0.14, -0.05, 0.06, 0.15])
def test_a_heavy_meter_is_sized_right_however_heavy(share: float) -> None:
    """A model that takes masses as linear in the logarithm is off by half the square: a whole per cent at 15 %."""
    day, real = bin_day(math.log1p(share))
    (one,) = found([], (day,))
    assert one.variant == "factor:A"
    assert one.size == pytest.approx(real, abs=0.0015)


def test_the_size_is_of_the_day_as_it_was_not_of_the_fault_alone() -> None:
    day, real = bin_day(math.log(1.07), (0.01, 0.01, -0.004, 0.012, 0.008, 0.01))
    (one,) = found([], (day,))
    assert real == pytest.approx(0.0783, abs=5e-4)
    assert abs(one.size - real) < 2 * one.sd
    assert one.sd < 0.005


def test_whole_sizes_equal_a_joint_estimate_written_out() -> None:
    """Independent: fault and usual change as two unknowns of one normal model, added up afterwards."""
    readings = distances(0.05)
    readings.append(Reading(quantity="distance_taped", value=math.exp(0.045), sd=0.004, instrument="tape"))
    relations, every = relations_for(readings)
    system = judge(relations, every).system
    j = system.variants.index("distance")
    sizes, sds = whole_sizes(system, size_hypotheses(system), (j,), USUAL_OVERLAP)
    f = system.signatures[:, j]
    noise = system.covariance - usual("distance") ** 2 * np.outer(f, f)
    inverse = np.linalg.inv(noise)
    assert sizes[0] == pytest.approx(f @ inverse @ system.residual / (f @ inverse @ f), rel=1e-9)
    assert sds[0] == pytest.approx((f @ inverse @ f) ** -0.5, rel=1e-9)


def test_a_spread_is_learned_through_errors_of_its_own() -> None:
    rng = np.random.default_rng(8)
    s = np.full(400, 0.01)
    for true in (0.5, 1.0, 2.5):
        v = rng.normal(0, 0.01 * true, 400) + rng.normal(0, 0.01, 400)
        learned = learned_spread(v, s, usual=0.01)
        assert learned.value == pytest.approx(true, abs=0.25)
        assert learned.low < true < learned.high


def test_a_spread_without_days_is_the_usual_one_and_bad_input_is_refused() -> None:
    none = learned_spread([], [], usual=0.015)
    assert 1.0 < none.value < 1.4, "root mean square of the prior alone"
    assert (none.n, none.low < 1 < none.high) == (0, True)
    with pytest.raises(InputError, match="pair up"):
        learned_spread([1.0], [1.0, 2.0], usual=1)
    with pytest.raises(RangeError, match="usual"):
        learned_spread([1.0], [1.0], usual=0)


def test_one_missed_fault_does_not_teach_that_the_meter_is_wild() -> None:
    rng = np.random.default_rng(9)
    v, s = rng.normal(0, 0.015, 20), np.full(20, 0.002)
    calm, upset = learned_spread(v, s, usual=0.015), learned_spread([*v, 0.12], [*s, 0.002], usual=0.015)
    assert upset.value < 1.25 * calm.value
    assert upset.set_aside > 0.8


def days_of(rng: np.random.Generator, spread: float, n: int = 12) -> list[DaySeen]:
    out = []
    for _ in range(n):
        relations, every = relations_for(distances(float(rng.normal(0, spread))))
        out.append(day_seen(judge(relations, every), every))
    return out


def test_an_outfit_that_wanders_more_is_believed_less_and_one_that_does_not_more() -> None:
    rng = np.random.default_rng(10)
    calm = learned_scales(days_of(rng, 0.2 * usual("distance"), 40))["distance"].value
    wild = learned_scales(days_of(rng, 2.0 * usual("distance"), 40))["distance"].value
    assert calm < 0.7
    assert wild > 1.4
    off = distances(math.log(1.045))
    surest = [check_readings(off, scales={"distance": s}).verdict.found for s in (calm, 1.0, wild)]
    strengths = [f[0].strength if f else -math.inf for f in surest]
    assert strengths[0] > strengths[1] > strengths[2]


def test_a_day_on_which_a_thing_was_found_wrong_teaches_nothing_of_it() -> None:
    relations, every = relations_for(distances(0.1))
    assert "distance" not in day_seen(judge(relations, every), every).gains


def test_an_instrument_is_learned_from_witnesses_alone() -> None:
    """Delivered against put in: both weighed. What is typed, and what a meter takes part in, teaches nothing of a scale."""
    rng, days = np.random.default_rng(12), []
    for _ in range(60):
        day, _ = bin_day(0.0)
        put = Reading(quantity="put:A", value=6000 + 60 * float(rng.normal()), sd=20, instrument="pads")
        delivered = Reading(quantity="delivered:A", value=6000 + 20 * float(rng.normal()), sd=20, instrument="truck-scale")
        relations, every = relations_for([put, delivered, *distances(0.0)])
        days.append(day_seen(judge(relations, every), every))
        assert day.bin == "A"
    scales = learned_scales(days)
    assert scales["pads"].value > 1.4
    assert "gnss" not in scales
    assert "display" not in scales


def test_scales_reach_readings_fills_and_what_is_usual() -> None:
    pads = Reading(quantity="put:A", value=1000, sd=10, instrument="pads")
    echo = Reading(quantity="area_counter", value=10, sd=0.003, instrument="pads", derived_from=("W",))
    assert [r.sd for r in scaled_readings([pads, echo], {"pads": 2.0})] == [20, 0.003]
    day = BinDay(
        bin="A",
        looks=(Look(machine_kg=1, level_kg=1, level_sd_kg=4, light=True),),
        puts=(PutIn(machine_kg=0, put_kg=9, put_sd_kg=3, how="pads"),),
    )
    wide = scaled_bin_day(day, {"pads": 2.0, "low-light": 3.0})
    assert (wide.puts[0].put_sd_kg, wide.looks[0].level_sd_kg) == (6, 12)
    relations, _ = relations_for(distances(0.0))
    twice = scaled_relations(relations, {"distance": 2.0})
    assert twice[0].gains["usual distance"] == pytest.approx(2 * relations[0].gains["usual distance"])
    with pytest.raises(RangeError, match="scale of distance"):
        scaled_relations(relations, {"distance": 0.0})


def test_what_wanders_slowly_shows_over_days_and_good_days_do_not() -> None:
    rng = np.random.default_rng(13)
    good = days_of(rng, usual("distance"), 60)
    assert watch_days(good, run_days=2000.0)["distance"].alarm_at is None, "at one alarm in 100 days, 60 good ones may well have one"
    drifting = [
        *good[:20],
        *(DaySeen(gains={"distance": (0.012 + float(rng.normal(0, 0.008)), 0.004)}, instruments={}) for _ in range(25)),
    ]
    found_it = watch_days(drifting)["distance"]
    assert found_it.alarm_at is not None
    assert found_it.alarm_at >= 20
    assert found_it.side == 1
    assert watch_days([]) == {}


def test_a_look_in_the_morning_asks_for_more_evidence_than_the_one_in_the_evening() -> None:
    readings = distances(math.log(1.045))
    named = [bool(check_readings(readings, share_done=s).verdict.found) for s in (None, 1.0, 0.1)]
    assert named[0]
    assert not named[2]
    assert check_readings(distances(math.log(1.15)), share_done=0.1).verdict.found, "a large error shows in the morning too"
    with pytest.raises(RangeError, match="share"):
        check_readings(readings, share_done=0.0)


def test_a_day_comes_back_from_plain_numbers_as_it_was() -> None:
    import json

    seen = DaySeen(gains={"factor:A": (0.012, 0.004), "distance": (-0.003, 0.002)}, instruments={"truck-scale": (0.4, -1.2)})
    assert seen_from_plain(json.loads(json.dumps(seen_plain(seen)))) == seen
    assert seen_from_plain({}) == DaySeen(gains={}, instruments={})


@pytest.mark.parametrize(
    "row",
    [
        {"gains": {"distance": [0.1]}},
        {"gains": {"distance": [math.nan, 0.1]}},
        {"gains": {"distance": [0.1, 0.0]}},
        {"gains": [1]},
        {"instruments": {"x": ["a"]}},
    ],
)
def test_a_kept_day_that_is_no_day_is_refused(row: dict) -> None:
    with pytest.raises(InputError, match="kept day"):
        seen_from_plain(row)


def test_scales_from_kept_days_are_those_of_the_days_and_old_days_are_forgotten() -> None:
    rng = np.random.default_rng(5)
    old = [DaySeen(gains={}, instruments={"pads": (float(rng.normal(0, 4)),)}) for _ in range(200)]
    new = [DaySeen(gains={}, instruments={"pads": (float(rng.normal(0, 1)),)}) for _ in range(60)]
    scales = updated_scales([seen_plain(d) for d in (*old, *new)])
    assert scales["pads"] == learned_scales(new)["pads"]
    assert scales["pads"].low < 1 < scales["pads"].high
    assert scale_values(scales) == {"pads": scales["pads"].value}
    assert updated_scales([]) == {}
    with pytest.raises(RangeError):
        updated_scales([], last=0)


def test_a_meter_that_stays_a_little_heavy_is_said_with_its_days_and_one_that_came_back_is_not() -> None:
    rng = np.random.default_rng(8)

    def days(shift: float, n: int) -> list[DaySeen]:
        return [DaySeen(gains={"factor:A": (shift + float(rng.normal(0, 0.004)), 0.004)}, instruments={}) for _ in range(n)]

    heavy = [*days(0.0, 10), *days(0.025, 14)]
    (said,) = wandering([seen_plain(d) for d in heavy], dates=[f"day {i}" for i in range(24)])
    assert said.suspects == (("factor:A",),)
    assert said.size.value == pytest.approx(math.expm1(0.025), abs=0.004)
    assert "Since day " in said.claim and "bin A gives about 2." in said.claim and "more per turn" in said.claim
    assert 8 <= int(said.claim.split("Since day ")[1].split(",")[0]) <= 13
    assert len(said.evidence) >= 4
    assert wandering([*heavy, *days(0.0, 60)]) == ()
    assert wandering(days(0.0, 40)) == ()
    assert wandering([]) == ()
    with pytest.raises(InputError, match="dates"):
        wandering(heavy, dates=["one"])
