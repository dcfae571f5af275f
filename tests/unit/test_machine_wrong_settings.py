"""Wrong factor, width, distance and stand-in speed; three widths; distance per pulse by state; turns; shut runs."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenstand import machine
from evenstand.base.errors import MissingError, RangeError
from evenstand.machine import WheelRun, WrongSetting

# --- wrong settings


def test_a_factor_5_per_cent_high_sows_light_shows_right_and_ends_with_product_in_the_bin() -> None:
    c = machine.wrong_setting_cost(121, 62, typed_factor_kg_rev=1.05 * 1.25, true_factor_kg_rev=1.25, price_kg=0.5)
    assert c.dose_ratio == pytest.approx(1 / 1.05)
    assert c.needed_kg == pytest.approx(7502)
    assert c.used_kg == pytest.approx(7502 / 1.05)
    assert c.shown_kg == pytest.approx(7502)  # the display says what was asked
    assert c.left_error_kg == pytest.approx(7502 / 1.05 - 7502)
    assert c.money == pytest.approx(c.error_kg * 0.5)
    assert c.area_error_ha == 0


def test_a_width_one_row_narrow_sows_light_and_counts_few_hectares_but_shows_the_true_mass() -> None:
    c = machine.wrong_setting_cost(121, 62, typed_width_m=63 * 0.254, true_width_m=64 * 0.254, overlap=0.03)
    assert c.dose_ratio == pytest.approx(63 / 64)
    assert c.area_shown_ha == pytest.approx(62 * 63 / 64)
    assert c.left_error_kg == pytest.approx(0)
    assert c.counter_ratio == pytest.approx(63 / 64 * 1.03)


def test_a_ground_drive_errs_alike_and_shows_no_mass() -> None:
    motor = machine.wrong_setting_cost(121, 62, distance_ratio=1.04)
    ground = machine.wrong_setting_cost(121, 62, distance_ratio=1.04, drive="ground")
    assert ground.dose_ratio == motor.dose_ratio == pytest.approx(1.04)
    assert (ground.shown_mass_ratio, ground.shown_kg, ground.left_error_kg) == (None, None, None)
    wheel_true = machine.ground_drive_rate(1.25, machine.ground_drive_gearing(121, 1.25, 1.04 * 4.92, 11.895), 4.92, 11.895)
    assert wheel_true / 121 == pytest.approx(1.04)  # geared by a rolled distance 4 % too long


def test_a_table_of_single_faults_keeps_their_order() -> None:
    rows = machine.wrong_settings(
        121, 62,
        [
            WrongSetting(what="factor", typed=1.25, true=1.18, label="another lot"),
            WrongSetting(what="width", typed=16.0, true=16.256),
            WrongSetting(what="distance", typed=0.2, true=0.1923),
            WrongSetting(what="speed", typed=5, true=6),
        ],
        price_kg=0.4,
    )  # fmt: skip
    assert [round(c.dose_ratio, 3) for _, c in rows] == [0.944, 0.984, 1.04, 0.833]
    assert rows[0][0].label == "another lot"
    assert all(c.money == pytest.approx(0.4 * c.error_kg) for _, c in rows)


def test_a_stand_in_speed_does_not_act_on_a_ground_drive() -> None:
    with pytest.raises(RangeError, match="follows its wheel"):
        machine.wrong_settings(121, 62, [WrongSetting(what="speed", typed=5, true=6)], drive="ground")
    with pytest.raises(RangeError, match="factor, width"):
        machine.wrong_settings(121, 62, [WrongSetting(what="fan", typed=5, true=6)])  # type: ignore[arg-type]
    with pytest.raises(RangeError, match="drive"):
        machine.wrong_setting_cost(121, 62, drive="wind")  # type: ignore[arg-type]


def test_a_stand_in_speed_over_a_day_of_speeds() -> None:
    """Six hours at 7, three at 8, one at 5 km/h, 7 typed: 71 km, 10 h x 7 = 70 km metered."""
    s = machine.stand_in_speed_cost(120, 7 / 3.6, np.array([7, 8, 5]) / 3.6, hours=[6, 3, 1], area_ha=71, price_kg=1.0)
    assert s.dose_ratio == pytest.approx(70 / 71)
    assert s.error_kg == pytest.approx(-120)
    assert s.money == pytest.approx(-120)
    assert s.ground_share.tolist() == pytest.approx([42 / 71, 24 / 71, 5 / 71])
    assert s.dose_kg_ha.tolist() == pytest.approx([120, 105, 168])
    assert (s.low_kg_ha, s.high_kg_ha) == (pytest.approx(105), pytest.approx(168))
    assert s.outside_share == pytest.approx(29 / 71)
    assert s.misplaced_kg == pytest.approx(5 * 48)
    assert s.counter_ratio == s.dose_ratio
    assert s.shown_mass_ratio == 1


def test_a_profile_with_standing_in_it_is_refused() -> None:
    with pytest.raises(RangeError, match="standing"):
        machine.stand_in_speed_cost(120, 2, [0.0, 2.0])
    with pytest.raises(RangeError, match="pair"):
        machine.stand_in_speed_cost(120, 2, [1.0, 2.0], hours=[1.0])


# --- three widths


def test_three_widths_and_what_each_pair_does() -> None:
    w = machine.three_widths(true_m=16.256, rate_m=16.0, guidance_m=16.15, area_ha=62, rate_kg_ha=121, row_spacing_m=0.254)
    assert [p.pair for p in w.pairs] == ["rate-true", "guidance-true", "rate-guidance"]
    assert "too thin" in w.pairs[0].does
    assert "sown twice" in w.pairs[1].does
    assert w.dose_ratio == pytest.approx(16 / 16.256)
    assert w.field_ratio == pytest.approx(16 / 16.15)
    assert w.extra_kg == pytest.approx((16 / 16.15 - 1) * 62 * 121)
    assert w.rows_off == pytest.approx(0.106 / 0.254)
    assert (w.skip_m, w.skipped_ha) == (0, 0)


def test_a_guidance_width_too_wide_leaves_a_strip() -> None:
    w = machine.three_widths(true_m=16.256, guidance_m=16.5, area_ha=66)
    assert w.skip_m == pytest.approx(0.244)
    assert w.skipped_ha == pytest.approx(0.244 / 16.5 * 66)
    assert w.twice_ha == 0
    assert "left out" in w.pairs[0].does
    assert (w.dose_ratio, w.extra_kg) == (None, None)


def test_equal_widths_agree_and_unknown_ones_say_nothing() -> None:
    assert machine.three_widths(true_m=12, rate_m=12).pairs[0].does == "The two agree."
    assert machine.three_widths(true_m=12).pairs == ()
    with pytest.raises(RangeError):
        machine.three_widths(true_m=0)


# --- travel


def runs() -> list[WheelRun]:
    return [
        WheelRun(distance_m=100, pulses=520, load="empty", ground="yard"),
        WheelRun(distance_m=100, pulses=530, load="full", ground="yard"),
        WheelRun(distance_m=100, pulses=512, load="full", ground="tilled"),
    ]


def test_runs_in_three_states_tell_both_effects_and_the_state_never_run() -> None:
    p = machine.pulse_distance(runs(), "empty", "tilled")
    assert p.runs_here == 0
    assert p.load_effect.value == pytest.approx(520 / 530 - 1, abs=0.004)
    assert p.ground_effect.value == pytest.approx(530 / 512 - 1, abs=0.006)
    assert p.pulse_m.value == pytest.approx(100 / 520 * 530 / 512, rel=0.006)
    assert p.measured == ("load", "ground")
    assert machine.pulse_distance(runs(), "full", "stubble").measured == ("load",)
    assert machine.pulse_distance(runs()[1:], "full", "tilled").measured == ("ground",)
    assert (p.low_m, p.high_m) == (pytest.approx(100 / 530), pytest.approx(100 / 512))
    assert "No run" in p.why


def test_half_full_lies_between_full_and_empty() -> None:
    empty, half, full = (machine.pulse_distance(runs(), load, "yard").pulse_m.value for load in ("empty", "half", "full"))
    assert half == pytest.approx(math.sqrt(empty * full))
    assert full < half < empty


def test_one_run_in_the_yard_is_wider_in_the_field_by_what_usually_moves() -> None:
    one = [WheelRun(distance_m=100, pulses=520, load="half", ground="yard")]
    here, there, loaded = (machine.pulse_distance(one, *state) for state in (("half", "yard"), ("half", "tilled"), ("full", "yard")))
    assert here.pulse_m.relative_sd < 0.006
    assert there.pulse_m.relative_sd == pytest.approx(
        math.hypot(here.pulse_m.relative_sd, machine.usual_sd("wheel-yard-to-field")), rel=1e-6
    )
    assert loaded.pulse_m.relative_sd == pytest.approx(math.hypot(here.pulse_m.relative_sd, machine.usual_sd("wheel-loaded-to-empty") / 2))
    assert there.pulse_m.value == pytest.approx(here.pulse_m.value)


def test_a_yard_value_left_on_in_the_field_sows_by_its_ratio() -> None:
    p = machine.pulse_distance(runs(), "full", "tilled", typed_pulse_m=100 / 530)
    assert p.dose_ratio is not None
    assert p.dose_ratio.value == pytest.approx(512 / 530, abs=0.006)
    assert p.runs_here == 1


def test_a_distance_per_pulse_covers_the_truth_in_states_run_and_not_run() -> None:
    """Effects of the usual size with either sign, three runs in random states, asked for any: the interval holds as often as it says."""
    rng = np.random.default_rng(7)
    load_sd, ground_sd = machine.usual_sd("wheel-loaded-to-empty"), machine.usual_sd("wheel-yard-to-field")
    loads, grounds = ("empty", "half", "full"), ("yard", "stubble", "tilled")
    inside = {True: [0, 0], False: [0, 0]}
    for _ in range(1500):
        effect = {"yard": 0.0, "stubble": ground_sd * rng.standard_normal(), "tilled": ground_sd * rng.standard_normal()}
        slope = load_sd * rng.standard_normal()

        def true(load: int, ground: str, slope: float = slope, effect: dict[str, float] = effect) -> float:
            return 0.1923 * math.exp(slope * (load - 1) / 2 + effect[ground])

        made = []
        for _ in range(3):
            i, g = int(rng.integers(3)), grounds[rng.integers(3)]
            counts = math.floor(100 * (1 + 0.005 * rng.standard_normal()) / true(i, g) + rng.random())
            made.append(WheelRun(distance_m=100, pulses=counts, load=loads[i], ground=g))  # type: ignore[arg-type]
        i, g = int(rng.integers(3)), grounds[rng.integers(3)]
        p = machine.pulse_distance(made, loads[i], g)  # type: ignore[arg-type]
        low, high = p.pulse_m.interval()
        tally = inside[p.runs_here > 0]
        tally[0] += low <= true(i, g) <= high
        tally[1] += 1
    assert all(0.92 <= hits / of <= 0.985 for hits, of in inside.values()), inside


def test_each_state_by_its_own_runs() -> None:
    table = machine.pulse_by_state([*runs(), WheelRun(distance_m=100, pulses=510, load="full", ground="tilled")])
    assert [(load, ground, n) for load, ground, n, _ in table] == [("empty", "yard", 1), ("full", "yard", 1), ("full", "tilled", 2)]
    assert table[2][3].value == pytest.approx((100 / 512 + 100 / 510) / 2)


def test_bad_runs_are_named_all_at_once() -> None:
    bad = [WheelRun(distance_m=0, pulses=5, load="full", ground="yard"), WheelRun(distance_m=9, pulses=5, load="full", ground="moon")]  # type: ignore[arg-type]
    with pytest.raises(RangeError) as caught:
        machine.pulse_distance(bad, "full", "yard")
    assert [f.where for f in caught.value.faults] == ["run 1", "run 2"]
    with pytest.raises(MissingError):
        machine.pulse_distance([], "full", "yard")
    with pytest.raises(RangeError, match="asked for"):
        machine.pulse_distance(runs(), "full", "road")  # type: ignore[arg-type]


def test_slip_is_what_the_loaded_wheel_advances_less() -> None:
    assert machine.wheel_slip(50, 45) == pytest.approx(0.1)
    assert machine.wheel_slip(50, 50) == 0
    assert machine.wheel_slip(50, 51) < 0


def test_gnss_that_feeds_the_speed_is_no_witness() -> None:
    assert machine.speed_trust("gnss").witness == "nothing"
    assert machine.speed_trust("gnss").lag_s == 1
    assert machine.speed_trust("unknown").witness == "nothing"
    assert machine.speed_trust("radar").witness == "distance"
    wheel = machine.speed_trust("wheel")
    assert wheel.sd == pytest.approx(math.hypot(math.sqrt(13) / 100, math.sqrt(13 / 3) / 100))
    with pytest.raises(RangeError):
        machine.speed_trust("sun")


def test_a_second_of_lag_leaves_two_metres_short_at_each_start() -> None:
    s = machine.start_lag(7.6 / 3.6, 16.256, 10, rate_kg_ha=121, area_ha=62)
    assert s.distance_m == pytest.approx(7.6 / 3.6)
    assert s.area_ha == pytest.approx(10 * 16.256 * 7.6 / 3.6 / 1e4)
    assert s.short_kg == pytest.approx(121 * s.area_ha)
    assert s.share == pytest.approx(s.area_ha / 62)


def test_the_missing_distance_does_not_depend_on_how_the_tool_pulls_away() -> None:
    """Integral of true speed less the speed a second ago, for two ways of pulling away."""
    t = np.linspace(0, 30, 30_001)
    for speed in (np.minimum(t, 2.0), 2.0 * (1 - np.exp(-t))):
        late = np.interp(t - 1.0, t, speed, left=0.0)
        assert np.trapezoid(speed - late, t) == pytest.approx(machine.start_lag(2.0, 1.0, 1, lag_s=1.0).distance_m, abs=2e-3)


# --- turns


def test_rows_in_a_turn_keep_the_mean_and_shift_kilograms_inwards() -> None:
    p = machine.turn_profile(25, 0.254, 64, rate_kg_ha=121)
    assert p.mean_ground == pytest.approx(1)
    assert p.mean_rows > 1
    assert p.too_much_kg == pytest.approx(p.too_little_kg)
    assert p.too_much_kg == pytest.approx(machine.turn_shift(121, 64 * 0.254, math.pi), rel=1e-3)
    assert p.put_kg == pytest.approx(121 * p.area_ha)
    assert p.area_ha == pytest.approx(math.pi * 25 * 64 * 0.254 / 1e4)
    inner, outer = machine.turn_dose(25, 64 * 0.254)
    assert outer < p.outer < 1 < p.inner < inner
    assert p.outside_rows == sum(abs(r - 1) > 0.1 for r in p.dose_ratio)
    assert p.outside_share == p.outside_rows / 64


def test_a_speed_wheel_on_the_outer_side_sows_too_much_everywhere() -> None:
    p = machine.turn_profile(25, 0.254, 64, sensor_offset_m=5.0, rate_kg_ha=121)
    assert p.mean_ground == pytest.approx(30 / 25)
    assert p.put_kg == pytest.approx(1.2 * 121 * p.area_ha)


def test_rows_may_stand_anywhere() -> None:
    p = machine.turn_profile(20, 0.3, offsets_m=[2.0, -2.0, 0.0])
    assert p.offset_m.tolist() == [-2, 0, 2]
    assert p.dose_ratio.tolist() == pytest.approx([20 / 18, 1, 20 / 22])
    assert (p.put_kg, p.too_much_kg) == (None, None)


def test_a_turn_as_tight_as_the_tool_is_refused() -> None:
    with pytest.raises(RangeError, match="Lift the openers"):
        machine.turn_profile(8.0, 0.254, 64)
    with pytest.raises(RangeError):
        machine.turn_profile(25, 0.254)
    with pytest.raises(RangeError):
        machine.turn_profile(25, 0.254, 3, offsets_m=[0.0])


def test_the_tightest_turn_within_a_band_just_reaches_it() -> None:
    radius = machine.tightest_radius(16.256, 0.1)
    assert machine.turn_dose(radius, 16.256)[0] == pytest.approx(1.1)
    assert machine.turn_profile(radius, 0.254, 64, band=0.1).outside_rows == 0


# --- shut runs


def test_a_plugged_run_of_eight_raises_its_siblings_by_a_seventh_and_the_mass_stays() -> None:
    s = machine.shut_runs([8] * 8, [0, 0, 0, 0, 1, 0, 0, 0], rate_kg_ha=121, area_ha=62)
    assert s.row_ratio[4] == pytest.approx(8 / 7)
    assert (s.rows_shut, s.rows_changed) == (1, 7)
    assert s.put_ratio == pytest.approx(1)
    assert s.extra_kg == pytest.approx(s.missed_kg)
    assert s.shut_ha == pytest.approx(62 / 64)
    assert s.changed_ha == pytest.approx(62 * 7 / 64)
    assert s.spread_kg_ha is not None
    assert s.spread_kg_ha[4] == pytest.approx(121 * 8 / 7)


def test_with_the_segment_shut_in_step_the_siblings_stay_right_and_the_mass_falls() -> None:
    s = machine.shut_runs([8, 8], [1, 0], segment_off=[1 / 8, 0.0])
    assert s.row_ratio == (pytest.approx(1), 1)
    assert s.rows_changed == 0
    assert s.put_ratio == pytest.approx(15 / 16)


def test_a_whole_head_off_is_its_rows_and_nothing_else() -> None:
    s = machine.shut_runs([8, 8], [8, 0], segment_off=[1.0, 0.0], rate_kg_ha=100, area_ha=10)
    assert (s.rows_shut, s.rows_changed, s.put_ratio) == (8, 0, 0.5)
    assert s.missed_kg == pytest.approx(500)
    assert s.extra_kg == 0
    still = machine.shut_runs([8, 8], [0, 0], segment_off=[1.0, 0.0])
    assert still.rows_shut == 8


def test_tramlines_weigh_only_on_their_passes() -> None:
    s = machine.shut_runs([8] * 8, [1, 1, 0, 0, 0, 0, 0, 0], segment_off=[1 / 8, 1 / 8, 0, 0, 0, 0, 0, 0], every_passes=3, area_ha=60)
    assert s.shut_share == pytest.approx(2 / 64 / 3)
    assert s.put_ratio == pytest.approx(1 - 2 / 64 / 3)


def test_product_has_to_go_somewhere() -> None:
    with pytest.raises(RangeError, match="go somewhere"):
        machine.shut_runs([8], [8])
    with pytest.raises(RangeError, match="pair"):
        machine.shut_runs([8, 8], [1])
    with pytest.raises(RangeError, match="head 1"):
        machine.shut_runs([8], [9])


def test_one_row_over_a_pass_of_800_m_is_a_fiftieth_of_a_hectare() -> None:
    assert machine.row_area(1, 0.254, 800) == pytest.approx(0.02, abs=0.0005)
