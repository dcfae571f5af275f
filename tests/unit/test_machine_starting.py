"""Flag tests, lags, and what it costs to switch at the line."""

from __future__ import annotations

import math

import pytest

from evenstand import machine
from evenstand.base.errors import RangeError
from evenstand.base.estimate import Est

SPEED = 7.6 / 3.6


def test_three_flags_give_a_lag_with_its_interval():
    lag = machine.flag_test([8.4, 9.1, 8.8], SPEED, product="wheat")
    assert lag.lag_s == pytest.approx(8.7667 / SPEED, rel=1e-3)
    assert lag.low_s < lag.lag_s < lag.high_s
    assert lag.flags == 3
    assert lag.product == "wheat"
    assert lag.note == ""
    assert lag.est == Est(value=lag.lag_s, sd=lag.sd_s, basis="measured", source="flag test")


def test_one_flag_does_not_know_its_own_spread():
    lag = machine.flag_test([8.4], SPEED)
    assert (lag.sd_s, lag.low_s, lag.high_s, lag.spread_s, lag.est) == (None,) * 5
    assert "Set two more" in lag.note
    assert machine.switch_point(lag, SPEED).low_m is None
    read = machine.flag_test([8.4], SPEED, reading_sd_m=0.5)
    assert read.sd_s == pytest.approx(0.5 / SPEED)


def test_flags_that_agree_by_chance_are_no_better_than_the_tape():
    lag = machine.flag_test([8.0, 8.0, 8.0], SPEED, reading_sd_m=0.3)
    assert lag.sd_s == pytest.approx(0.3 / SPEED / math.sqrt(3))


def test_a_speed_error_does_not_shrink_with_more_flags():
    many = machine.flag_test([8.0, 8.1] * 50, SPEED, speed_cv=0.05)
    assert many.sd_s >= 0.05 * many.lag_s


def test_runs_at_several_speeds_agree_in_time_not_in_distance():
    lag = machine.flag_test([8.0, 12.0], [2.0, 3.0])
    assert lag.lag_s == 4.0
    assert lag.spread_s == 0.0


def test_a_flag_dropped_at_the_seat_is_ahead_of_the_openers():
    assert machine.flag_test([2.0, 2.0], 2.0, flag_ahead_m=6.0).lag_s == 4.0
    assert machine.flag_test([-2.0, -2.0], 2.0, flag_ahead_m=10.0).lag_s == 4.0


def test_impossible_flags_are_refused_all_at_once():
    with pytest.raises(RangeError) as caught:
        machine.flag_test([8.0, -1.0, 0.0], SPEED)
    assert [f.where for f in caught.value.faults] == ["flag 2", "flag 3"]
    with pytest.raises(RangeError, match="pair"):
        machine.flag_test([8.0, 9.0], [2.0])
    with pytest.raises(RangeError, match="pair"):
        machine.flag_test([], 2.0)
    with pytest.raises(RangeError, match="switch"):
        machine.flag_test([8.0], 2.0, switch="half")  # type: ignore[arg-type]


def test_the_measured_lag_wins_over_hoses_and_practice():
    measured = machine.flag_test([8.4, 9.1, 8.8], SPEED)
    hoses, usual = machine.lag_from_hoses(16, 25), machine.usual_lag("on")
    assert machine.believed_lag(measured, hoses, practice=usual) == measured
    assert machine.believed_lag(None, hoses, practice=usual) == usual
    assert machine.believed_lag(None, hoses) == hoses
    assert machine.believed_lag() is None


def test_a_lag_shorter_than_the_air_could_carry_is_doubted_not_changed():
    quick = machine.flag_test([0.5, 0.5], 2.0)
    told = machine.believed_lag(quick, machine.lag_from_hoses(30, 20))
    assert told is not None
    assert told.lag_s == quick.lag_s
    assert "Shorter than the air" in told.note


def test_hoses_give_a_weak_prior_and_say_so():
    prior = machine.lag_from_hoses(16, Est(value=25, sd=2))
    assert prior.low_s < 0.8 < prior.high_s
    assert prior.basis == "computed"
    assert "on top" in prior.note
    with pytest.raises(RangeError):
        machine.lag_from_hoses(16, 25, slip_low=0.9, slip_high=0.8)


def test_a_usual_lag_is_common_practice_and_never_yours():
    on, off = machine.usual_lag("on"), machine.usual_lag("off")
    assert (on.low_s, on.high_s) == (3, 6)
    assert (off.low_s, off.high_s) == (4, 8)
    assert on.basis == on.source == "common-practice"
    assert "not yours" in on.note


def test_three_to_eight_seconds_are_six_to_seventeen_metres():
    """Common practice at 7.6 km/h."""
    on = machine.switch_point(machine.usual_lag("on"), SPEED)
    off = machine.switch_point(machine.usual_lag("off"), SPEED)
    assert on.low_m == pytest.approx(6.3, abs=0.1)
    assert off.high_m == pytest.approx(16.9, abs=0.1)


def test_a_typed_strip_with_its_spread_is_a_lag():
    lag = machine.lag_from_strip(Est(value=9.0, sd=0.5), 2.0, switch="off")
    assert (lag.switch, lag.lag_s) == ("off", 4.5)
    assert lag.high_s == pytest.approx(5.0)
    assert machine.lag_from_strip(Est(value=9.0), 2.0).sd_s is None
    with pytest.raises(RangeError):
        machine.lag_from_strip(Est(value=0.0), 2.0)


def test_a_ramp_lengthens_the_skip_and_shortens_the_tail_by_half_of_it():
    on, off = machine.flag_test([8.0, 8.0], 2.0), machine.flag_test([12.0, 12.0], 2.0, switch="off")
    assert machine.switch_point(on, 2.0, ramp_s=1.0).before_m == pytest.approx(9.0)
    assert machine.switch_point(off, 2.0, ramp_s=1.0).before_m == pytest.approx(11.0)
    with pytest.raises(RangeError, match="ramp_s"):
        machine.switch_point(off, 2.0, ramp_s=20.0)


def points(on_m=10.0, off_m=14.0, speed=2.0):
    on = machine.switch_point(machine.flag_test([on_m, on_m], speed), speed)
    return on, machine.switch_point(machine.flag_test([off_m, off_m], speed, switch="off"), speed)


def test_the_price_of_switching_at_the_line_is_made_of_both_ends():
    cost = machine.start_stop_cost(
        *points(), 16.0, starts=50, rates_kg_ha={"wheat": 120, "urea": 100}, prices_kg={"wheat": 0.5, "urea": 0.8}, margin_ha=400
    )
    assert cost.skip_ha == pytest.approx(0.8)
    assert cost.double_ha == pytest.approx(1.12)
    assert cost.money == pytest.approx(0.8 * 400 + 1.12 * (60 + 80))
    assert cost.missing == ()


def test_money_stays_unknown_while_a_price_is_missing():
    cost = machine.start_stop_cost(*points(), 16.0, starts=50, rates_kg_ha={"wheat": 120, "urea": 100}, prices_kg={"wheat": 0.5})
    assert (cost.double_money, cost.skip_money, cost.money) == (None, None, None)
    assert cost.missing == ("price of urea", "margin of a hectare")
    assert cost.wasted_kg["urea"] == pytest.approx(112)
    assert machine.start_stop_cost(*points(), 16.0, starts=50).missing == ("rates of the products", "margin of a hectare")


def test_start_and_stop_are_not_taken_for_each_other():
    on, off = points()
    with pytest.raises(RangeError, match="start first"):
        machine.start_stop_cost(off, on, 16.0, starts=50)
