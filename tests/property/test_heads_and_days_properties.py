"""Laws of heads, lags, days, power and money: mass is kept, order is kept, scale drops out, the way back leads back."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand import machine
from evenstand.base.estimate import Est
from evenstand.model import Head, Outfit, Run

quick = settings(deadline=None, derandomize=True)
rates = st.floats(1, 400)
speeds = st.floats(0.5, 5)
outlets = st.lists(st.integers(1, 12), min_size=1, max_size=9)
shares = st.floats(0.05, 0.95)


def outfit(outlets: list[int], shut: frozenset[int] = frozenset(), spacing: float = 0.25) -> Outfit:
    heads, runs = [], []
    for i, count in enumerate(outlets):
        letter = "ABCDEFGHI"[i]
        heads.append(Head(letter=letter, outlets=count, segment=i + 1))
        for outlet in range(1, count + 1):
            number = len(runs) + 1
            runs.append(Run(number=number, head=letter, outlet=outlet, offset_m=number * spacing, shut=number in shut))
    return Outfit(key="o", name="o", rows=len(runs), row_spacing_m=spacing, heads=tuple(heads), runs=tuple(runs))


@st.composite
def outfits(draw: st.DrawFn) -> Outfit:
    counts = draw(outlets)
    total = sum(counts)
    shut = draw(st.frozensets(st.integers(1, total), max_size=total - 1))
    return outfit(counts, shut)


@quick
@given(outfits(), rates, speeds)
def test_what_the_meters_give_is_what_the_rows_get(made: Outfit, rate: float, speed: float) -> None:
    loads = machine.head_loads(made, rate, speed)
    by_rows = sum(h.run_kg_s * h.open_runs for h in loads.heads)
    assert by_rows == pytest.approx(loads.total_kg_s, rel=1e-9)
    assert sum(h.solids_kg_s for h in loads.heads) == pytest.approx(rate * speed * made.rows * 0.25 / 1e4, rel=1e-9)
    assert sum(h.row_ratio * h.open_runs for h in loads.heads) == pytest.approx(loads.open_runs, rel=1e-9)


@quick
@given(outfits(), rates, speeds, st.floats(0.1, 10))
def test_rate_and_speed_scale_every_load_and_no_ratio(made: Outfit, rate: float, speed: float, times: float) -> None:
    one, more = machine.head_loads(made, rate, speed), machine.head_loads(made, rate * times, speed)
    assert more.worst == pytest.approx(one.worst, rel=1e-9, abs=1e-12)
    for a, b in zip(one.heads, more.heads, strict=True):
        assert b.run_kg_s == pytest.approx(times * a.run_kg_s, rel=1e-9)
        assert b.row_ratio == pytest.approx(a.row_ratio, rel=1e-9)


@quick
@given(outfits(), st.data())
def test_a_plugged_run_takes_nothing_from_the_mass_its_siblings_share_it(made: Outfit, data: st.DataObject) -> None:
    number = data.draw(st.integers(1, len(made.runs)))
    lost = machine.rows_affected(made, run=number)
    assert lost.rows <= 1
    if lost.siblings:
        assert len(lost.siblings) * lost.sibling_ratio == pytest.approx(len(lost.siblings) + lost.rows)
        assert not lost.backs_up
    else:
        assert lost.sibling_ratio == 1.0
        assert lost.backs_up == (lost.rows == 1)


@quick
@given(outfits())
def test_heads_together_are_the_whole_tool_and_a_segment_is_its_heads(made: Outfit) -> None:
    parts = [machine.rows_affected(made, head=h.letter) for h in made.heads]
    assert sum(p.rows for p in parts) == sum(not r.shut for r in made.runs)
    assert sum(p.share for p in parts) == pytest.approx(1)
    for head, part in zip(made.heads, parts, strict=True):
        assert machine.rows_affected(made, segment=head.segment).openers == part.openers
        assert part.gap_m is not None
        assert part.width_m is not None
        assert part.gap_m <= part.width_m + 1e-12


@quick
@given(outfits())
def test_a_map_made_by_the_rules_never_contradicts_itself(made: Outfit) -> None:
    assert [f.claim for f in machine.check_run_map(made) if f.state == "does-not-hold"] == []


@quick
@given(outlets.filter(lambda counts: sum(counts) > 1), st.data())
def test_one_wrong_head_letter_is_always_found(counts: list[int], data: st.DataObject) -> None:
    made = outfit(counts)
    at = data.draw(st.integers(0, len(made.runs) - 1))
    runs = tuple(replace(r, head="Z") if i == at else r for i, r in enumerate(made.runs))
    found = machine.check_run_map(replace(made, runs=runs))
    assert any(f.about == "run-map:head-unknown" and at + 1 in f.place.runs for f in found)


@quick
@given(st.lists(st.floats(1, 30), min_size=2, max_size=8), speeds, st.floats(0.2, 5))
def test_a_lag_knows_no_scale_of_length(distances: list[float], speed: float, times: float) -> None:
    """All lengths and the speed times as large: the same seconds."""
    one = machine.flag_test(distances, speed)
    other = machine.flag_test([d * times for d in distances], speed * times)
    assert other.lag_s == pytest.approx(one.lag_s, rel=1e-9)
    assert other.sd_s == pytest.approx(one.sd_s, rel=1e-6, abs=1e-9)


@quick
@given(st.floats(1, 30), speeds, speeds)
def test_a_flag_at_one_speed_gives_the_way_at_another_and_back(strip: float, speed: float, other: float) -> None:
    there = machine.switch_point(machine.lag_from_strip(Est(value=strip), speed), other)
    back = machine.switch_point(machine.lag_from_strip(Est(value=there.before_m), other), speed)
    assert back.before_m == pytest.approx(strip, rel=1e-9)
    assert machine.switch_point(machine.lag_from_strip(Est(value=strip), speed), speed).before_m == pytest.approx(strip, rel=1e-9)


@quick
@given(st.floats(0.5, 10), st.floats(0.5, 10), speeds, st.floats(1, 30), st.integers(0, 200))
def test_areas_at_the_ends_grow_with_starts_and_width(on: float, off: float, speed: float, width: float, starts: int) -> None:
    points = (
        machine.switch_point(machine.lag_from_strip(Est(value=on * speed), speed), speed),
        machine.switch_point(machine.lag_from_strip(Est(value=off * speed), speed, switch="off"), speed),
    )
    cost = machine.start_stop_cost(*points, width, starts=starts)
    twice = machine.start_stop_cost(*points, 2 * width, starts=starts)
    assert cost.skip_ha == pytest.approx(on * speed * width * starts / 1e4, rel=1e-9)
    assert twice.double_ha == pytest.approx(2 * cost.double_ha, rel=1e-9)


@quick
@given(st.floats(0.5, 40), st.floats(0.02, 0.2), st.floats(300, 1400), st.floats(0.001, 1))
def test_a_hose_fills_in_its_mass_over_the_flow(length: float, bore: float, bulk: float, flow: float) -> None:
    time = machine.plug_fill_time(length, bore, bulk, flow)
    assert time * flow == pytest.approx(machine.hose_mass(length, bore, bulk), rel=1e-9)
    assert machine.plug_fill_time(length, 2 * bore, bulk, flow) == pytest.approx(4 * time, rel=1e-9)


@quick
@given(st.integers(0, 40), st.integers(0, 60), shares, st.floats(0, 0.99))
def test_more_days_or_fewer_needed_never_lower_the_chance(needed: int, days: int, share: float, part: float) -> None:
    sd = part * (share * (1 - share)) ** 0.5 * 0.9
    chance = machine.chance_of_days(needed, days, share, year_sd=sd)
    assert -1e-12 <= chance <= 1 + 1e-12
    assert machine.chance_of_days(needed, days + 1, share, year_sd=sd) >= chance - 1e-9
    assert machine.chance_of_days(needed + 1, days, share, year_sd=sd) <= chance + 1e-9


@quick
@given(st.floats(1, 3000), st.floats(5, 300), st.integers(1, 60), shares, st.floats(0.1, 10))
def test_a_deadline_knows_no_unit_of_area(area: float, day: float, days: int, share: float, times: float) -> None:
    one, other = machine.deadline(area, day, days, share), machine.deadline(area * times, day * times, days, share)
    assert other.short_day_ha == pytest.approx(times * one.short_day_ha, rel=1e-6, abs=1e-6)
    if one.days_needed == other.days_needed:
        assert other.chance == pytest.approx(one.chance)
        assert other.middle_day == one.middle_day


@quick
@given(st.floats(1, 2000), st.floats(5, 300), st.integers(1, 60), shares)
def test_what_is_needed_a_day_just_finishes(area: float, day: float, days: int, share: float) -> None:
    left = machine.deadline(area, day, days, share)
    assert left.needed_day_ha is not None
    assert left.needed_day_ha * left.days_expected == pytest.approx(area, rel=1e-9)
    assert machine.deadline(area, left.needed_day_ha, days, share).undone_ha == pytest.approx(0, abs=1e-6)


@quick
@given(st.floats(0, 1), st.floats(0, 1))
def test_more_load_takes_more_diesel_an_hour_by_every_edition(a: float, b: float) -> None:
    low, high = sorted((a, b))
    for use in (machine.diesel_d497_7, machine.diesel_d497_4):
        assert use(high) >= use(low) - 1e-12


@quick
@given(st.floats(0, 0.5), st.floats(1, 40), st.floats(0, 1e6), st.floats(0, 1))
def test_owning_repays_the_machine(interest: float, years: float, price: float, left: float) -> None:
    """Present worth of the yearly payments and of the sale is the price."""
    whole = round(years)
    yearly = machine.owning_cost(price, price * left, interest, whole)
    worth = sum(yearly / (1 + interest) ** k for k in range(1, whole + 1)) + price * left / (1 + interest) ** whole
    assert worth == pytest.approx(price, rel=1e-6, abs=1e-6)


@quick
@given(st.floats(1, 2000), speeds, st.floats(1, 40), st.floats(0, 5), st.floats(0, 5))
def test_time_lost_is_capacity_lost(area: float, speed: float, width: float, turning: float, filling: float) -> None:
    some = machine.field_times(area, speed, width, turning_h=turning)
    more = machine.field_times(area, speed, width, turning_h=turning, filling_h=filling)
    assert more.efficiency <= some.efficiency
    assert more.capacity_ha_h * more.total_h == pytest.approx(area, rel=1e-9)
    assert set(some.missing) - set(more.missing) == {"filling"}
