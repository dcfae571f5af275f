"""Meters: product per turn from several sources, segments, windows, small seed, two bins on one product."""

from __future__ import annotations

import math

import pytest

from evenstand import machine
from evenstand.base.errors import MissingError, RangeError
from evenstand.base.estimate import Est
from evenstand.machine import FactorChange, FactorSource, MeterCase, ProductBin, SegmentSet
from evenstand.model import MeterFactor

WHEAT_1 = MeterCase(meter="A", product="wheat", lot="L1", setting="coarse")
WHEAT_2 = MeterCase(meter="A", product="wheat", lot="L2", setting="coarse")


def caught(value: float, *, case: MeterCase = WHEAT_1, at: str = "2026-05-01T06:00", sd: float = 0.01) -> FactorSource:
    return machine.factor_from_catch(case, Est(value=value, sd=sd), at=at)


def shown(value: float, *, case: MeterCase = WHEAT_1, at: str = "2026-05-01T18:00") -> FactorSource:
    return machine.factor_from_shown_mass(case, 1.25, Est(value=4000.0, sd=0.5), Est(value=4000 * value / 1.25, sd=12.0), at=at)


# --- one source


def test_a_size_of_one_to_three_per_cent_with_either_sign_is_an_sd_of_2_1_per_cent() -> None:
    assert machine.usual_sd("factor-field-against-standing") == pytest.approx(math.sqrt(13 / 3) / 100)


def test_more_catches_do_not_take_the_bias_of_standing_away() -> None:
    exact = caught(1.25, sd=1e-9)
    assert exact.kg_turn.relative_sd == pytest.approx(0.0208, abs=5e-5)
    assert exact.shared_sd == pytest.approx(exact.kg_turn.sd)


def test_a_learned_ratio_of_field_to_standing_moves_the_value_and_takes_the_place_of_the_usual_bias() -> None:
    s = machine.factor_from_catch(WHEAT_1, Est(value=1.25, sd=0.01), field_ratio=Est(value=0.98, sd=0.004))
    assert s.kg_turn.value == pytest.approx(1.225)
    assert s.kg_turn.sd == pytest.approx(math.hypot(0.0098, 0.005))


def test_a_shown_mass_carries_the_scale_and_no_bias_of_standing() -> None:
    s = shown(1.2875)
    assert s.kg_turn.value == pytest.approx(1.2875)
    assert s.shared_sd == 0
    assert s.kg_turn.relative_sd == pytest.approx(math.hypot(12 / 4120, 0.5 / 4000), rel=1e-3)


def test_displacement_times_density_is_wide() -> None:
    s = machine.factor_from_displacement(WHEAT_1, Est(value=1.6, sd=0.016), Est(value=780, sd=15.6))
    assert s.kg_turn.value == pytest.approx(1.6 * 0.78 * 0.95)
    assert s.kg_turn.relative_sd == pytest.approx(math.sqrt(0.01**2 + 0.02**2 + (0.1 / math.sqrt(12) / 0.95) ** 2), rel=1e-3)


def test_a_record_of_the_book_becomes_the_same_source_as_a_catch() -> None:
    record = MeterFactor(
        outfit="o",
        bin="A",
        product="wheat",
        lot="L1",
        setting="coarse",
        kg_turn=Est(value=1.25, sd=0.01),
        at="2026-05-01T06:00",
        how="catch",
    )
    assert machine.factor_from_record(record) == caught(1.25)
    typed = machine.factor_from_record(MeterFactor(outfit="o", bin="A", product="wheat", kg_turn=Est(value=1.2)))
    assert typed.how == "typed"
    with pytest.raises(RangeError, match="how"):
        machine.factor_from_record(MeterFactor(outfit="o", bin="A", product="wheat", kg_turn=Est(value=1.2), how="guess"))


def test_seventeen_turns_of_the_wheel_stand_for_a_tenth_of_a_hectare_and_seven_for_a_tenth_of_an_acre() -> None:
    common = {"width_m": 11.895, "rolled_m": 4.92, "gear": 0.8}
    assert machine.crank_test([11.4], area_ha=0.1, **common).crank_turns == pytest.approx(17.1, abs=0.05)
    assert machine.crank_test([11.4], area_ha=0.04046856, **common).crank_turns == pytest.approx(6.9, abs=0.05)


def test_a_crank_test_gives_rate_factor_and_the_gearing_for_the_rate_asked() -> None:
    c = machine.crank_test([11.3, 11.5], width_m=11.895, rolled_m=4.92, gear=0.8, area_ha=0.1, asked_kg_ha=121, scale_division_kg=0.05)
    assert c.rate_kg_ha == pytest.approx(114)
    assert c.change == pytest.approx(114 / 121)
    assert c.gear_needed is not None
    assert machine.ground_drive_rate(c.factor_kg_rev, c.gear_needed, 4.92, 11.895) == pytest.approx(121)
    assert c.low_kg_ha < 114 < c.high_kg_ha
    assert c.catches == 2
    assert c.odd is not None and c.odd > 0.2
    assert c.factor_sd / c.factor_kg_rev == pytest.approx(0.0113, abs=0.001)


def test_slip_of_the_drive_wheel_lowers_what_a_standing_catch_promises() -> None:
    common = {"width_m": 11.895, "rolled_m": 4.92, "gear": 0.8, "crank_turns": 17.0}
    still, slipping = machine.crank_test(11.4, **common), machine.crank_test(11.4, slip=0.05, **common)
    assert slipping.rate_kg_ha == pytest.approx(0.95 * still.rate_kg_ha)
    assert slipping.factor_kg_rev == pytest.approx(still.factor_kg_rev)


def test_a_crank_geared_to_the_wheel_turns_the_meter_more() -> None:
    c = machine.crank_test(5.0, width_m=12.0, rolled_m=5.0, gear=0.5, crank_turns=20, crank_to_wheel=2.0)
    assert c.factor_kg_rev == pytest.approx(5.0 / (20 * 2 * 0.5))
    assert c.rate_kg_ha == pytest.approx(machine.ground_drive_rate(c.factor_kg_rev, 0.5, 5.0, 12.0))


def test_a_crank_test_wants_either_the_area_or_the_turns() -> None:
    with pytest.raises(RangeError, match="one of the two"):
        machine.crank_test(5.0, width_m=12, rolled_m=5, gear=0.5)
    with pytest.raises(RangeError, match="one of the two"):
        machine.crank_test(5.0, width_m=12, rolled_m=5, gear=0.5, area_ha=0.1, crank_turns=17)
    with pytest.raises(RangeError, match="catch 2"):
        machine.crank_test([5.0, 0.0], width_m=12, rolled_m=5, gear=0.5, area_ha=0.1)


# --- several sources


def test_two_catches_and_a_field_weighing_pull_by_their_precision() -> None:
    p = machine.pool_factors([caught(1.25), caught(1.27), shown(1.22)], WHEAT_1, between_cv=0.01)
    assert p.kg_turn is not None
    by_field = next(r for r in p.ranked if r.source.how == "shown-mass")
    assert by_field.weight > 0.5  # the catches share the bias of standing
    assert sum(r.weight for r in p.ranked) == pytest.approx(1.0)
    assert p.kg_turn.value == pytest.approx(sum(r.weight * r.source.kg_turn.value for r in p.ranked))
    assert p.missing == ""


def test_pooling_is_the_least_squares_answer_with_the_shared_bias_as_a_covariance() -> None:
    import numpy as np

    sources = [caught(1.25), caught(1.25, at="2026-05-02T06:00", sd=0.03), shown(1.25)]
    p = machine.pool_factors(sources, WHEAT_1, between_cv=0.015)
    shared = np.array([s.shared_sd for s in sources])
    own = np.array([s.kg_turn.sd**2 - s.shared_sd**2 + (0.015 * 1.25) ** 2 for s in sources])
    inverse = np.linalg.inv(np.diag(own) + np.outer(shared, shared))
    assert p.kg_turn is not None
    assert p.kg_turn.sd == pytest.approx(math.sqrt(1 / inverse.sum()), rel=1e-9)
    weights = {id(r.source): r.weight for r in p.ranked}
    assert [weights[id(s)] for s in sources] == pytest.approx((inverse.sum(axis=0) / inverse.sum()).tolist(), rel=1e-9)


def test_a_newer_lot_voids_the_older_and_says_so() -> None:
    p = machine.pool_factors([caught(1.25), caught(1.18, case=WHEAT_2, at="2026-05-03T06:00")], MeterCase(meter="A"))
    assert p.kg_turn is not None
    assert p.kg_turn.value == pytest.approx(1.18)
    assert p.case == WHEAT_2
    assert [(r.state, r.why) for r in p.ranked[1:]] == [("stale", "made with lot L1; lot L2 is in the bin")]


def test_going_back_to_a_lot_finds_its_catch_again() -> None:
    p = machine.pool_factors([caught(1.25), caught(1.18, case=WHEAT_2, at="2026-05-03T06:00")], WHEAT_1)
    assert p.kg_turn is not None
    assert p.kg_turn.value == pytest.approx(1.25)


def test_with_nothing_that_holds_the_old_value_is_carried_for_planning_only_and_wider() -> None:
    p = machine.pool_factors([caught(1.25)], WHEAT_2)
    assert p.kg_turn is None
    assert p.carried is not None
    assert p.carried.value == 1.25
    assert p.carried.relative_sd > 0.05
    assert "lot L2" in p.missing
    assert "planning only" in p.missing


def test_a_value_of_another_roller_is_not_even_carried() -> None:
    p = machine.pool_factors([caught(1.25)], MeterCase(meter="A", product="wheat", lot="L2", setting="fine"))
    assert p.kg_turn is None
    assert p.carried is None
    assert "setting coarse, asked for fine" in p.ranked[0].why
    assert "nothing is known" in p.missing


def test_products_on_the_same_meter_are_not_mixed() -> None:
    urea = machine.factor_from_catch(MeterCase(meter="A", product="urea"), Est(value=1.18, sd=0.01), at="2026-05-09T06:00")
    p = machine.pool_factors([caught(1.25), urea], MeterCase(meter="A"))
    assert p.kg_turn is not None
    assert p.kg_turn.value == pytest.approx(1.18)
    assert len(p.ranked) == 1


def test_a_leaking_lid_or_a_treatment_voids_what_was_caught_before() -> None:
    changes = [FactorChange(at="2026-05-02T00:00", what="lid seal replaced"), FactorChange(at="2026-04-01T00:00", what="new rollers")]
    old, new, undated = caught(1.25), caught(1.21, at="2026-05-02T08:00"), caught(1.3, at="")
    p = machine.pool_factors([old, new, undated], WHEAT_1, changes=changes)
    assert p.kg_turn is not None
    assert p.kg_turn.value == pytest.approx(1.21)
    assert {r.why for r in p.ranked if r.state == "stale"} == {
        "made before: lid seal replaced", "its time is not known, so it may be older than: lid seal replaced",
    }  # fmt: skip


def test_a_value_without_a_lot_is_stale_once_the_new_lot_was_measured_after_it() -> None:
    loose = caught(1.25, case=MeterCase(meter="A", product="wheat"), at="2026-04-20T06:00")
    p = machine.pool_factors([loose, caught(1.18, case=WHEAT_2, at="2026-05-03T06:00")], WHEAT_2)
    assert p.ranked[-1].state == "stale"
    assert "lot is not known" in p.ranked[-1].why


def test_displacement_stands_by_while_a_catch_holds_and_serves_when_none_does() -> None:
    guess = machine.factor_from_displacement(WHEAT_1, Est(value=1.6), Est(value=780, sd=16))
    typed = FactorSource(case=WHEAT_1, kg_turn=Est(value=1.2), how="typed")
    p = machine.pool_factors([guess, typed, caught(1.25)], WHEAT_1)
    assert [r.state for r in p.ranked] == ["used", "stands by", "stands by"]
    alone = machine.pool_factors([guess, typed], WHEAT_1)
    assert alone.kg_turn is not None
    assert alone.kg_turn.value == pytest.approx(guess.kg_turn.value)
    assert "no weighed value" in alone.missing


def test_sources_that_disagree_are_called_so() -> None:
    p = machine.pool_factors([caught(1.25), shown(1.05)], WHEAT_1)
    assert p.odd is not None
    assert p.odd < 0.01
    assert "disagree" in p.missing


def test_of_no_source_nothing_is_known() -> None:
    p = machine.pool_factors([], WHEAT_1)
    assert (p.kg_turn, p.ranked, p.carried) == (None, (), None)
    assert "nothing is known" in p.missing


def test_a_catch_test_and_a_crank_test_lead_to_the_same_kind_of_source() -> None:
    from evenstand.tally import catch_test, learned_ratio

    caught_ = catch_test([5.21], 4, tare_kg=0.18)
    standing = Est(value=caught_.factor_kg_rev, sd=caught_.sd)
    by_catch = machine.factor_from_catch(WHEAT_1, standing)
    cranked = machine.crank_test([11.4], width_m=11.895, rolled_m=4.92, gear=0.8, area_ha=0.1)
    by_crank = machine.factor_from_catch(WHEAT_1, Est(value=cranked.factor_kg_rev, sd=cranked.factor_sd), how="crank")
    assert (by_catch.how, by_crank.how) == ("catch", "crank")
    ratio = learned_ratio(standing, Est(value=1.23, sd=0.004))
    assert machine.factor_from_catch(WHEAT_1, standing, field_ratio=ratio).kg_turn.value == pytest.approx(1.23)
    with pytest.raises(RangeError, match="made standing"):
        machine.factor_from_catch(WHEAT_1, standing, how="typed")


def test_a_pool_covers_the_true_value_as_often_as_it_says() -> None:
    """True field factor 1.25; all standing catches share a bias of 1 to 3 % with either sign; sources differ by 1 % from day to day."""
    import numpy as np

    rng, inside = np.random.default_rng(20261125), 0
    for _ in range(2000):
        bias = rng.choice([-1, 1]) * rng.uniform(0.01, 0.03)
        day = 1 + 0.01 * rng.standard_normal(3)
        noise = 1 + np.array([0.01, 0.02, 0.005]) * rng.standard_normal(3)
        seen = 1.25 * day * noise * np.array([1 + bias, 1 + bias, 1.0])
        sources = [
            caught(seen[0], sd=0.01 * seen[0]),
            caught(seen[1], sd=0.02 * seen[1]),
            FactorSource(case=WHEAT_1, kg_turn=Est(value=seen[2], sd=0.005 * seen[2]), how="shown-mass", at="2026-05-01"),
        ]
        pooled = machine.pool_factors(sources, WHEAT_1, between_cv=0.01).kg_turn
        assert pooled is not None
        low, high = pooled.interval()
        inside += low <= 1.25 <= high
    assert 0.93 <= inside / 2000 <= 0.98


# --- segments


def test_a_shut_segment_takes_its_rows_out_of_the_feeding_width() -> None:
    m = machine.meter_feed(
        [SegmentSet(label="left", segments=4, rows=32, shut=1), SegmentSet(label="right", segments=4, rows=32)], 1.25, 0.254,
        rate_kg_ha=121, speed_m_s=2.0,
    )  # fmt: skip
    assert m.width_m == pytest.approx(56 * 0.254)
    assert m.factor_kg_rev == pytest.approx(1.25 * 7 / 8)
    assert m.rows_without == 8
    assert m.worst == pytest.approx(0)
    assert m.rev_s == pytest.approx(machine.meter_speed(121, 2.0, 64 * 0.254, 1.25))  # both fall alike
    assert m.sets[0].share == pytest.approx(3 / 7)


def test_a_gear_on_one_side_changes_the_dose_there_only() -> None:
    m = machine.meter_feed([SegmentSet(label="L", segments=1, rows=10, gear=1.1), SegmentSet(label="R", segments=1, rows=10)], 1.0, 0.25)
    assert m.worst == pytest.approx(0.1)
    assert m.factor_kg_rev == pytest.approx(1.05)
    assert m.sets[1].dose_ratio == pytest.approx(1 / 1.05)


@pytest.mark.parametrize(
    "sets",
    [
        [SegmentSet(label="L", segments=0, rows=1)],
        [SegmentSet(label="L", segments=2, rows=1, shut=3)],
        [SegmentSet(label="L", segments=2, rows=8, shut=2)],
        [SegmentSet(label="L", segments=2, rows=8, gear=0.0)],
    ],
)
def test_segments_that_cannot_be_are_refused(sets: list[SegmentSet]) -> None:
    with pytest.raises(RangeError):
        machine.meter_feed(sets, 1.0, 0.25)


# --- windows and resolution


def test_a_rate_map_and_the_meters_limits_give_the_speeds_that_suit_every_rate() -> None:
    w = machine.operating_window(16.256, 1.25, rate_kg_ha=(90, 150), rev_s=(4 / 60, 1.0))
    assert w.possible
    assert machine.meter_speed(90, w.speed_m_s[0], 16.256, 1.25) == pytest.approx(4 / 60)
    assert machine.meter_speed(150, w.speed_m_s[1], 16.256, 1.25) == pytest.approx(1.0)


def test_a_map_wider_than_the_meter_says_what_to_do() -> None:
    w = machine.operating_window(16.256, 1.25, rate_kg_ha=(5, 150), rev_s=(4 / 60, 1.0))
    assert not w.possible
    assert "30.0 times" in w.why
    assert "15.0 times" in w.why
    narrow = machine.operating_window(16.256, 1.25, speed_m_s=(0.1, 3.0), rev_s=(4 / 60, 1.0))
    assert narrow.found == "rate_kg_ha"
    assert not narrow.possible


def test_two_of_three_are_needed() -> None:
    with pytest.raises(MissingError, match="two of three"):
        machine.operating_window(16, 1.25, rate_kg_ha=(90, 150))
    with pytest.raises(MissingError):
        machine.operating_window(16, 1.25, rate_kg_ha=(90, 150), speed_m_s=(1, 2), rev_s=(0.1, 1))
    with pytest.raises(RangeError, match="rate_kg_ha, high"):
        machine.operating_window(16, 1.25, rate_kg_ha=(150, 90), speed_m_s=(1, 2))


def test_a_fine_roller_reaches_down_to_2_6_kg_ha_at_working_speed() -> None:
    assert machine.smallest_rate(7.6 / 3.6, 16.256, 0.132, 4 / 60) == pytest.approx(2.564, abs=0.001)
    assert machine.narrowest_width(2.564, 7.6 / 3.6, 0.132, 4 / 60) == pytest.approx(16.256, abs=0.005)


def test_the_bin_that_sets_each_end_of_the_shared_window_is_named() -> None:
    assert machine.shared_speed_window({"A": (0.6, 5.0), "B": (1.1, 16.0), "C": (0.3, 2.4)}) == ((1.1, 2.4), "B", "C")
    assert machine.shared_speed_window({"A": (0.6, 1.0), "B": (1.1, 16.0)})[0] is None
    with pytest.raises(MissingError):
        machine.shared_speed_window({})


def test_canola_comes_in_lumps_of_eighteen_seeds_before_the_hose_smears_them_and_wheat_too() -> None:
    p = machine.seed_pulses(5, 7.6 / 3.6, 7.8 / 60, 24, tkw_g=4.8, row_spacing_m=0.254)
    assert p.lumpy
    assert p.seeds_pulse == pytest.approx(p.pulse_m / p.seed_m)
    assert machine.pulse_spacing(7.6 / 3.6, p.even_rev_s, 24) == pytest.approx(p.seed_m)
    even = machine.seed_pulses(5, 7.6 / 3.6, p.even_rev_s, 24, tkw_g=4.8, row_spacing_m=0.254)
    assert not even.lumpy
    assert even.seeds_pulse == pytest.approx(1)


def test_each_count_of_a_setting_in_kilograms_and_per_cent() -> None:
    steps = machine.setting_steps(
        121, factor=(1.25, machine.one_count("1.25")), width=(16.26, 0.01), stand_in_speed=(7.6, 0.1), rev=(20, 1), gear=(30, 1),
        rate_step_kg_ha=5,
    )  # fmt: skip
    assert [s.setting for s in steps] == ["factor", "width", "speed", "rev", "gear", "rate"]
    assert [round(100 * s.share, 2) for s in steps] == [-0.79, 0.06, 1.32, 5.0, 3.33, 4.13]
    assert steps[0].change_kg_ha == pytest.approx(121 * (1.25 / 1.26 - 1))
    assert steps[5].change_kg_ha == 5


@pytest.mark.parametrize(("text", "count"), [("1.25", 0.01), ("1.250", 0.001), ("16", 1.0), ("0.1", 0.1), (".132", 0.001)])
def test_one_count_is_the_last_digit(text: str, count: float) -> None:
    assert machine.one_count(text) == pytest.approx(count)


@pytest.mark.parametrize("text", ["", ".", "1,25", "1e3", "-1.5"])
def test_one_count_wants_a_plain_number(text: str) -> None:
    with pytest.raises(RangeError):
        machine.one_count(text)


# --- two bins on one product


def two(share: float | None = None) -> list[ProductBin]:
    rest = None if share is None else 1 - share
    return [
        ProductBin(letter="A", factor_kg_rev=1.25, content_kg=4800, min_rev_s=4 / 60, max_rev_s=1.0, share=share, low_kg=200),
        ProductBin(letter="D", factor_kg_rev=1.25, content_kg=3000, min_rev_s=4 / 60, max_rev_s=1.0, share=rest, low_kg=200),
    ]


def test_together_each_bin_turns_at_half_the_speed_and_the_ceiling_doubles() -> None:
    t = machine.bins_together(two(), 215, 7.6 / 3.6, 16.256)
    alone = machine.bins_together(two()[:1], 215, 7.6 / 3.6, 16.256)
    assert t.bins[0].rev_s == pytest.approx(alone.bins[0].rev_s / 2)
    assert t.largest_kg_ha == pytest.approx(2 * alone.largest_kg_ha)  # type: ignore[operator]
    assert t.smallest_kg_ha == pytest.approx(2 * alone.smallest_kg_ha)  # type: ignore[operator]
    assert (t.first_empty, t.first_low) == ("D", "D")
    assert t.first_empty_ha == pytest.approx(3000 / 107.5)
    assert t.first_low_ha == pytest.approx(2800 / 107.5)
    assert t.bins[0].left_kg == pytest.approx(1800)
    assert t.area_ha == pytest.approx(7800 / 215)
    assert t.bins[0].low_ha == pytest.approx((7800 - 200) / 215)


def test_in_turn_each_carries_the_whole_rate_and_the_areas_add_up() -> None:
    t = machine.bins_together(two(), 215, 7.6 / 3.6, 16.256, mode="in-turn")
    assert [b.rate_kg_ha for b in t.bins] == [215, 215]
    assert t.bins[1].from_ha == t.bins[0].to_ha
    assert t.area_ha == pytest.approx(sum(b.lasts_ha for b in t.bins))
    assert t.first_empty == "A"
    assert t.bins[1].left_kg == 3000


def test_shares_by_content_empty_both_at_once() -> None:
    t = machine.bins_together(two(share=4800 / 7800), 215, 7.6 / 3.6, 16.256)
    assert t.bins[0].to_ha == pytest.approx(t.bins[1].to_ha)


def test_a_bin_that_cannot_carry_the_rest_alone_is_named_before_the_first_runs_out() -> None:
    t = machine.bins_together(two(), 215, 4.0, 16.256)
    assert any("bin A cannot carry the whole rate" in w for w in t.warnings)
    assert t.bins[0].speed_m_s is not None
    assert t.bins[0].speed_m_s[1] > 4.0


def test_the_air_line_they_share_is_a_ceiling_too() -> None:
    t = machine.bins_together(two(), 215, 7.6 / 3.6, 16.256, line_limit_kg_s=0.6)
    assert t.largest_kg_ha == pytest.approx(0.6e4 / (7.6 / 3.6 * 16.256))
    assert "drive slower" in t.warnings[-1]


def test_without_steady_ranges_no_window_is_made_up() -> None:
    bare = [ProductBin(letter="A", factor_kg_rev=1.25, content_kg=4800), ProductBin(letter="D", factor_kg_rev=1.25, content_kg=0)]
    t = machine.bins_together(bare, 215, 2.0, 16.256)
    assert (t.speed_m_s, t.smallest_kg_ha, t.largest_kg_ha) == (None, None, None)
    assert "steady range" in t.warnings[0]
    assert "Bin D is empty: the rest carry its part" in t.warnings[1]
    assert t.first_empty == "D"
    assert t.area_ha == pytest.approx(4800 / 215)


@pytest.mark.parametrize(
    ("bins", "mode"),
    [
        (
            [ProductBin(letter="A", factor_kg_rev=1, content_kg=1, share=0.5), ProductBin(letter="B", factor_kg_rev=1, content_kg=1)],
            "together",
        ),
        ([ProductBin(letter="A", factor_kg_rev=1, content_kg=1), ProductBin(letter="A", factor_kg_rev=1, content_kg=1)], "together"),
        ([ProductBin(letter="A", factor_kg_rev=0, content_kg=1)], "in-turn"),
        ([ProductBin(letter="A", factor_kg_rev=1, content_kg=-1)], "in-turn"),
        ([ProductBin(letter="A", factor_kg_rev=1, content_kg=1, min_rev_s=1, max_rev_s=0.5)], "in-turn"),
        ([ProductBin(letter="A", factor_kg_rev=1, content_kg=1)], "by turns"),
    ],
)
def test_bins_that_cannot_be_are_refused(bins: list[ProductBin], mode: str) -> None:
    with pytest.raises(RangeError):
        machine.bins_together(bins, 100, 2, 16, mode=mode)  # type: ignore[arg-type]


def test_no_bin_is_no_answer() -> None:
    with pytest.raises(MissingError):
        machine.bins_together([], 100, 2, 16)
