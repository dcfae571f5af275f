"""Laws of meters, windows, bins, widths, turns and shut runs, for any numbers."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from evenstand import machine
from evenstand.base.estimate import Est
from evenstand.machine import FactorSource, MeterCase, ProductBin, SegmentSet, WheelRun

quick = settings(deadline=None, derandomize=True)
rates = st.floats(1, 400)
speeds = st.floats(0.3, 6)
widths = st.floats(0.2, 40)
factors = st.floats(0.01, 5)
ratios = st.floats(0.5, 2)
revs = st.floats(0.02, 1.5)
spans = st.tuples(st.floats(0.1, 10), st.floats(1, 3)).map(lambda pair: (pair[0], pair[0] * pair[1]))
CASE = MeterCase(meter="A", product="wheat", lot="L", setting="coarse")


# --- windows


@quick
@given(rates, speeds, widths, factors)
def test_meter_speed_and_rate_and_ground_speed_are_inverse(rate: float, speed: float, width: float, factor: float) -> None:
    turns = machine.meter_speed(rate, speed, width, factor)
    assert machine.meter_rate(turns, speed, width, factor) == pytest.approx(rate, rel=1e-9)
    assert machine.window_speed(rate, width, factor, turns) == pytest.approx(speed, rel=1e-9)
    assert machine.smallest_rate(speed, width, factor, turns) == pytest.approx(rate, rel=1e-9)
    assert machine.narrowest_width(rate, speed, factor, turns) == pytest.approx(width, rel=1e-9)


@quick
@given(rates, speeds, widths, factors, st.floats(0.25, 4))
def test_twice_the_width_and_half_the_factor_is_four_times_the_turns(
    rate: float, speed: float, width: float, factor: float, times: float
) -> None:
    once = machine.meter_speed(rate, speed, width, factor)
    assert machine.meter_speed(rate, speed, width * times, factor / times) == pytest.approx(once * times**2, rel=1e-9)
    assert machine.meter_speed(rate, speed, width * times, factor * times) == pytest.approx(once, rel=1e-9)


@quick
@given(spans, widths, factors, revs, st.floats(1.05, 20))
def test_a_window_is_never_left_from_the_rates_and_speeds_it_allows(
    rate: tuple[float, float], width: float, factor: float, low: float, wide: float
) -> None:
    limits = (low, low * wide)
    w = machine.operating_window(width, factor, rate_kg_ha=rate, rev_s=limits)
    if w.possible:
        needed = machine.rev_window(rate, w.speed_m_s, width, factor)
        assert needed[0] == pytest.approx(limits[0], rel=1e-9)
        assert needed[1] == pytest.approx(limits[1], rel=1e-9)
        assert machine.speed_window(rate[0], width, factor, *limits)[0] == pytest.approx(w.speed_m_s[0], rel=1e-9)
        assert machine.speed_window(rate[1], width, factor, *limits)[1] == pytest.approx(w.speed_m_s[1], rel=1e-9)
    else:
        assert rate[1] / rate[0] > wide * (1 - 1e-9)
        assert w.why


@quick
@given(speeds, widths, factors, revs, st.floats(1.05, 20), ratios)
def test_driving_faster_lowers_both_ends_of_the_rates_in_step(
    speed: float, width: float, factor: float, low: float, wide: float, times: float
) -> None:
    here = machine.rate_window(speed, width, factor, low, low * wide)
    there = machine.rate_window(speed * times, width, factor, low, low * wide)
    assert there == (pytest.approx(here[0] / times), pytest.approx(here[1] / times))
    assert here[1] / here[0] == pytest.approx(wide)


@quick
@given(rates, speeds, revs, st.integers(1, 60), st.floats(0.5, 400), st.floats(0.1, 0.6))
def test_seeds_a_pulse_are_the_meters_seeds_shared_among_rows(
    rate: float, speed: float, rev: float, flutes: int, tkw: float, spacing: float
) -> None:
    """Seeds of one row and pulse: seeds a second on that row over pulses a second."""
    p = machine.seed_pulses(rate, speed, rev, flutes, tkw_g=tkw, row_spacing_m=spacing)
    seeds_s = machine.mass_flow(rate, speed, spacing) * 1e6 / tkw
    assert p.seeds_pulse == pytest.approx(seeds_s / (rev * flutes), rel=1e-9)


@quick
@given(rates, factors, st.floats(0.0001, 0.01))
def test_one_count_up_and_what_was_typed_give_the_dose_back(rate: float, factor: float, count: float) -> None:
    step = machine.setting_steps(rate, factor=(factor, count))[0]
    after = rate + step.change_kg_ha
    assert after == pytest.approx(rate * machine.dose_ratio(typed_factor_kg_rev=factor + count, true_factor_kg_rev=factor), rel=1e-9)
    assert -1 < step.share < 0


# --- product per turn


@quick
@given(st.lists(st.tuples(st.floats(0.5, 2), st.floats(0.001, 0.1), st.booleans()), min_size=1, max_size=6), st.floats(0, 0.05))
def test_a_pool_lies_among_its_sources_and_one_more_never_widens_it(given_: list[tuple[float, float, bool]], between: float) -> None:
    sources = [
        machine.factor_from_catch(CASE, Est(value=1.25 * v, sd=1.25 * s), at="2026-05-01") if standing
        else FactorSource(case=CASE, kg_turn=Est(value=1.25 * v, sd=1.25 * s), how="shown-mass", at="2026-05-01")
        for v, s, standing in given_
    ]  # fmt: skip
    p = machine.pool_factors(sources, CASE, between_cv=between)
    assert p.kg_turn is not None
    values = [s.kg_turn.value for s in sources]
    assert min(values) * (1 - 1e-9) <= p.kg_turn.value <= max(values) * (1 + 1e-9)
    assert sum(r.weight for r in p.ranked) == pytest.approx(1)
    assert all(r.weight > 0 for r in p.ranked)
    same = [FactorSource(case=CASE, kg_turn=Est(value=1.25, sd=s.kg_turn.sd), how=s.how, at=s.at, shared_sd=s.shared_sd) for s in sources]
    sds = [machine.pool_factors(same[:n], CASE, between_cv=between).kg_turn for n in range(1, len(same) + 1)]
    for wider, narrower in pairwise(sds):
        assert wider is not None
        assert narrower is not None
        assert narrower.sd <= wider.sd * (1 + 1e-9)


@quick
@given(st.floats(0.5, 2), st.floats(0.001, 0.1), st.floats(0.1, 10))
def test_a_pool_does_not_care_for_the_unit_of_mass(value: float, share: float, times: float) -> None:
    def pooled(scale: float) -> Est | None:
        sources = [machine.factor_from_catch(CASE, Est(value=scale * v, sd=scale * share)) for v in (value, 1.1 * value)]
        return machine.pool_factors(sources, CASE).kg_turn

    one, other = pooled(1.0), pooled(times)
    assert one is not None
    assert other is not None
    assert (other.value, other.sd) == (pytest.approx(times * one.value), pytest.approx(times * one.sd))


@quick
@given(st.lists(st.floats(0.2, 30), min_size=1, max_size=4), st.floats(2, 40), st.floats(1, 6), st.floats(0.1, 3), st.floats(0.01, 1))
def test_a_crank_test_over_an_area_is_the_mean_mass_over_that_area(
    masses: list[float], width: float, rolled: float, gear: float, area: float
) -> None:
    c = machine.crank_test(masses, width_m=width, rolled_m=rolled, gear=gear, area_ha=area)
    assert c.rate_kg_ha == pytest.approx(math.fsum(masses) / len(masses) / area, rel=1e-9)
    assert machine.ground_drive_rate(c.factor_kg_rev, gear, rolled, width) == pytest.approx(c.rate_kg_ha, rel=1e-9)
    assert c.low_kg_ha <= c.rate_kg_ha <= c.high_kg_ha


@quick
@given(factors, st.integers(1, 12), st.integers(1, 12), ratios, ratios)
def test_segments_and_gears_there_and_back(factor: float, then: int, now: int, gear: float, other: float) -> None:
    there = machine.rescaled_factor(factor, then, now, gear, other)
    assert machine.rescaled_factor(there, now, then, other, gear) == pytest.approx(factor, rel=1e-9)


@quick
@given(
    st.lists(st.tuples(st.integers(1, 4), st.integers(1, 12), st.floats(0.8, 1.2)), min_size=1, max_size=6), factors,
    st.floats(0.1, 0.5), st.integers(0, 3),
)  # fmt: skip
def test_sets_of_segments_share_out_the_shaft(given_: list[tuple[int, int, float]], factor: float, spacing: float, shut: int) -> None:
    sets = [SegmentSet(label=str(i), segments=n, rows=r, gear=g, shut=min(shut, n)) for i, (n, r, g) in enumerate(given_)]
    assume(any(s.shut < s.segments for s in sets))
    m = machine.meter_feed(sets, factor, spacing)
    assert sum(s.share for s in m.sets) == pytest.approx(1)
    assert sum(s.factor_kg_rev for s in m.sets) == pytest.approx(m.factor_kg_rev)
    assert sum(s.width_m for s in m.sets) == pytest.approx(m.width_m)
    assert sum(s.dose_ratio * s.rows for s in m.sets) == pytest.approx(m.width_m / spacing)
    assert m.width_m / spacing + m.rows_without == pytest.approx(sum(r for _, r, _ in given_))


# --- two bins


@quick
@given(st.lists(st.floats(10, 6000), min_size=1, max_size=4), rates, speeds, widths, st.lists(st.floats(0.1, 5), min_size=4, max_size=4))
def test_bins_together_or_in_turn_do_the_same_area(
    contents: list[float], rate: float, speed: float, width: float, per_turn: list[float]
) -> None:
    bins = [ProductBin(letter=chr(65 + i), factor_kg_rev=per_turn[i], content_kg=c) for i, c in enumerate(contents)]
    together = machine.bins_together(bins, rate, speed, width)
    in_turn = machine.bins_together(bins, rate, speed, width, mode="in-turn")
    assert together.area_ha == pytest.approx(sum(contents) / rate, rel=1e-9)
    assert in_turn.area_ha == pytest.approx(together.area_ha, rel=1e-9)
    assert in_turn.area_ha == pytest.approx(sum(b.lasts_ha for b in in_turn.bins), rel=1e-9)
    assert sum(b.rate_kg_ha for b in together.bins) == pytest.approx(rate)
    used = sum(contents) - sum(b.left_kg for b in together.bins)
    assert used == pytest.approx(rate * together.first_empty_ha, rel=1e-6)
    assert sum(b.rev_s * b.alone_rev_s**-1 for b in together.bins) == pytest.approx(1)


# --- wrong settings and widths


@quick
@given(rates, st.floats(1, 500), ratios, ratios, ratios)
def test_two_wrong_settings_multiply_and_the_mass_shown_is_asked_times_the_counter(
    rate: float, area: float, factor: float, width: float, distance: float
) -> None:
    c = machine.wrong_setting_cost(rate, area, typed_factor_kg_rev=factor, typed_width_m=width, distance_ratio=distance)
    alone = [
        machine.wrong_setting_cost(rate, area, typed_factor_kg_rev=factor),
        machine.wrong_setting_cost(rate, area, typed_width_m=width),
        machine.wrong_setting_cost(rate, area, distance_ratio=distance),
    ]
    assert c.dose_ratio == pytest.approx(math.prod(a.dose_ratio for a in alone), rel=1e-9)
    assert c.shown_kg == pytest.approx(rate * c.area_shown_ha, rel=1e-9)  # the display's rate is the one asked
    assert c.used_kg - c.needed_kg == pytest.approx(c.error_kg, rel=1e-9, abs=1e-6)


@quick
@given(rates, speeds, st.lists(st.tuples(st.floats(0.5, 5), st.floats(0.1, 10)), min_size=1, max_size=8), st.floats(1, 500))
def test_a_stand_in_speed_puts_down_its_own_distance(rate: float, typed: float, profile: list[tuple[float, float]], area: float) -> None:
    speeds_m_s, hours = [v for v, _ in profile], [h for _, h in profile]
    s = machine.stand_in_speed_cost(rate, typed, speeds_m_s, hours=hours, area_ha=area)
    assert s.dose_ratio == pytest.approx(typed * sum(hours) / sum(v * h for v, h in profile), rel=1e-9)
    assert s.misplaced_kg is not None
    assert s.error_kg is not None
    assert s.misplaced_kg >= max(s.error_kg, 0.0) - 1e-9 * rate * area
    assert s.low_kg_ha <= s.dose_ratio * rate * (1 + 1e-12)
    assert s.dose_kg_ha[0] == pytest.approx(machine.stand_in_dose(rate, typed, speeds_m_s[0]))


@quick
@given(widths, ratios, ratios, st.floats(1, 500), rates)
def test_three_widths_dose_times_joints_is_product_per_field_hectare(
    true: float, rate_ratio: float, guidance_ratio: float, area: float, rate: float
) -> None:
    w = machine.three_widths(true_m=true, rate_m=true * rate_ratio, guidance_m=true * guidance_ratio, area_ha=area, rate_kg_ha=rate)
    assert w.dose_ratio is not None
    assert w.field_ratio is not None
    assert w.twice_ha is not None
    assert w.skipped_ha is not None
    sown_ha = area + w.twice_ha - w.skipped_ha
    assert w.dose_ratio * sown_ha == pytest.approx(w.field_ratio * area, rel=1e-9)
    assert min(w.twice_ha, w.skipped_ha) == 0


@quick
@given(st.floats(0.5, 2), st.floats(-0.05, 0.05), st.floats(-0.05, 0.05))
def test_exact_runs_in_every_state_are_found_again(pulse: float, load: float, ground: float) -> None:
    """Many long runs: the prior on the effects no longer matters."""
    runs = [
        WheelRun(distance_m=1e5 * pulse * math.exp(load * x + ground * (g == "tilled")), pulses=1e5, load=name, ground=g)  # type: ignore[arg-type]
        for name, x in (("empty", -0.5), ("half", 0.0), ("full", 0.5))
        for g in ("yard", "tilled")
    ] * 30
    p = machine.pulse_distance(runs, "full", "tilled", run_cv=1e-4)
    assert p.pulse_m.value == pytest.approx(pulse * math.exp(load / 2 + ground), rel=1e-5)
    assert p.load_effect.value == pytest.approx(math.exp(load) - 1, abs=1e-5)
    assert p.ground_effect.value == pytest.approx(math.exp(ground) - 1, abs=1e-5)


@quick
@given(
    st.lists(
        st.tuples(st.sampled_from(["empty", "half", "full"]), st.sampled_from(["yard", "stubble", "tilled"]), st.floats(0.95, 1.05)),
        min_size=1, max_size=5,
    ),
    st.sampled_from(["empty", "half", "full"]), st.sampled_from(["yard", "stubble", "tilled"]), st.floats(0.2, 5),
)  # fmt: skip
def test_one_more_run_never_widens_and_the_unit_of_length_does_not_matter(
    given_: list[tuple[str, str, float]], load: str, ground: str, times: float
) -> None:
    runs = [WheelRun(distance_m=100 * x, pulses=500, load=a, ground=g) for a, g, x in given_]  # type: ignore[arg-type]
    sds = [machine.pulse_distance(runs[:n], load, ground, tape_sd_m=0).pulse_m.relative_sd for n in range(1, len(runs) + 1)]  # type: ignore[arg-type]
    assert all(later <= before * (1 + 1e-9) for before, later in pairwise(sds))
    scaled = [WheelRun(distance_m=times * r.distance_m, pulses=r.pulses, load=r.load, ground=r.ground) for r in runs]
    one, other = (machine.pulse_distance(rs, load, ground, tape_sd_m=0).pulse_m for rs in (runs, scaled))  # type: ignore[arg-type]
    assert other.value == pytest.approx(times * one.value, rel=1e-9)
    assert other.relative_sd == pytest.approx(one.relative_sd, rel=1e-9)


@quick
@given(rates, speeds, widths, factors, st.floats(1.01, 3))
def test_more_of_anything_moves_the_meter_the_way_it_should(rate: float, speed: float, width: float, factor: float, more: float) -> None:
    turns = machine.meter_speed(rate, speed, width, factor)
    assert machine.meter_speed(rate * more, speed, width, factor) > turns
    assert machine.meter_speed(rate, speed * more, width, factor) > turns
    assert machine.meter_speed(rate, speed, width * more, factor) > turns
    assert machine.meter_speed(rate, speed, width, factor * more) < turns
    assert machine.smallest_rate(speed * more, width, factor, 0.1) < machine.smallest_rate(speed, width, factor, 0.1)
    assert machine.smallest_rate(speed, width, factor * more, 0.1) > machine.smallest_rate(speed, width, factor, 0.1)


# --- turns and shut runs


@quick
@given(st.integers(1, 90), st.floats(0.1, 0.6), st.floats(1.05, 20), st.floats(0, 7), rates)
def test_mean_dose_over_the_ground_of_a_turn_is_one(rows: int, spacing: float, times: float, angle: float, rate: float) -> None:
    width = rows * spacing
    radius = width / 2 * times
    p = machine.turn_profile(radius, spacing, rows, angle_rad=angle, rate_kg_ha=rate)
    assert p.mean_ground == pytest.approx(1, rel=1e-9)
    assert p.mean_rows >= 1 - 1e-12
    assert p.put_kg == pytest.approx(rate * p.area_ha, rel=1e-9)
    assert p.too_much_kg == pytest.approx(p.too_little_kg, rel=1e-6, abs=1e-9)
    assert list(p.dose_ratio) == sorted(p.dose_ratio, reverse=True)
    inner, outer = machine.turn_dose(radius, width)
    assert outer <= p.outer <= p.inner <= inner
    assert p.too_much_kg <= machine.turn_shift(rate, width, angle) * (1 + 1e-9)


@quick
@given(st.lists(st.integers(1, 12), min_size=1, max_size=8), st.data())
def test_siblings_conserve_mass_unless_the_segment_is_shut_too(outlets: list[int], data: st.DataObject) -> None:
    shut = [data.draw(st.integers(0, n - 1)) for n in outlets]
    s = machine.shut_runs(outlets, shut, rate_kg_ha=100, area_ha=10)
    assert s.put_ratio == pytest.approx(1)
    assert s.extra_kg == pytest.approx(s.missed_kg)
    in_step = machine.shut_runs(outlets, shut, segment_off=[k / n for k, n in zip(shut, outlets, strict=True)])
    assert in_step.row_ratio == pytest.approx([1.0] * len(outlets))
    assert in_step.put_ratio == pytest.approx(1 - sum(shut) / sum(outlets))
    balance = machine.head_balance(outlets)
    for n, k, ratio, sibling in zip(outlets, shut, s.row_ratio, balance.when_one_shut, strict=True):
        if k == 1:
            assert ratio - 1 == pytest.approx(sibling)
        assert ratio == pytest.approx(n / (n - k))
