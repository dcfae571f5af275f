"""Every detector of a trail on trails made by hand: what it must find, what it must leave alone, and what it must say it cannot see."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from evenstand.base.estimate import Est
from evenstand.model import Outfit, Section, Trail, Widths
from evenstand.trail import TrailFault, TrailFaults, trail_faults
from evenstand.trail.detecting import DETECTORS, columns_of
from evenstand.trail.faults import change_point, numbered
from made_trails import passes_trail, tool, trail_of

WIDTH = 10.0


def day(*, passes: int = 12, length_m: float = 300.0, **columns: object) -> Trail:
    """To and fro at 2 m/s, ten metres apart, ten rows in each turn."""
    return dataclasses.replace(passes_trail(passes=passes, length_m=length_m, turn_rows=30), **columns)


def look(trail: Trail, outfit: Outfit | None = None, *kinds: str) -> TrailFaults:
    return trail_faults(trail, outfit or tool(WIDTH), kinds=kinds or None)


def one(trail: Trail, kind: str, outfit: Outfit | None = None) -> TrailFault:
    found = look(trail, outfit, kind).found
    assert [f.kind for f in found] == [kind]
    return found[0]


def silent(trail: Trail, kind: str, outfit: Outfit | None = None) -> None:
    told = look(trail, outfit, kind)
    assert told.found == ()
    assert [c.kind for c in told.clear] == [kind]


def way(trail: Trail) -> np.ndarray:
    return np.concatenate([[0.0], np.hypot(*np.diff(trail.xy_m, axis=0).T)])


def noise(n: int, size: float, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, size, n)


# what cannot be seen

NEEDED = {
    "lost-flow": ("run_present",),
    "fan-sag": ("fan_turns_s",),
    "fan-droop": ("fan_turns_s",),
    "speed-frozen": ("speed_m_s", "step_m"),
    "distance-scale": ("speed_m_s", "step_m"),
    "distance-drift": ("speed_m_s", "step_m"),
    "counted-lifted": ("area_ha",),
    "metered-lifted": ("revs",),
    "uncounted-work": ("area_ha",),
    "section-on": ("sections",),
    "section-off": ("sections",),
    "no-fall": ("revs",),
}


def full() -> Trail:
    """A clean day with every column."""
    trail = day()
    n, work = trail.n, ~trail.lifted
    step = way(trail)
    counted = np.cumsum(np.where(np.concatenate([[False], work[:-1]]), step, 0.0))
    revs = (counted / 5.0)[:, None]
    weighed = 4000.0 - 2.0 * revs[:, 0] + noise(n, 6.0)
    return dataclasses.replace(
        trail,
        speed_m_s=np.append(step[1:], step[-1]) + noise(n, 0.02),
        step_m=step,
        area_ha=np.floor(counted * WIDTH / 10) / 1000,
        revs=revs,
        bins=("A",),
        fan_turns_s=70.0 + noise(n, 0.3),
        sections=np.repeat(work[:, None], 4, axis=1),
        run_present=np.repeat(work[:, None], 8, axis=1),
        runs=tuple(range(1, 9)),
        extra={"level A": weighed},
    )


def test_a_clean_day_with_every_column_names_nobody_and_every_detector_looked() -> None:
    typed = dataclasses.replace(tool(WIDTH, 4), widths=Widths(rate_m=WIDTH, guidance_m=10.0))
    told = look(full(), typed)
    assert told.found == ()
    assert told.unseen == ()
    assert {c.kind for c in told.clear} == {d.kind for d in DETECTORS}


@pytest.mark.parametrize("kind", sorted(NEEDED))
def test_without_its_columns_a_detector_says_that_this_log_cannot_show_it(kind: str) -> None:
    told = look(dataclasses.replace(full(), **dict.fromkeys(NEEDED[kind])), tool(WIDTH, 4), kind)
    assert told.found == ()
    assert told.clear == ()
    assert [u.kind for u in told.unseen] == [kind]
    assert "cannot be seen in this log" in told.unseen[0].says
    assert told.unseen[0].needs


def test_positions_alone_still_show_lanes_and_jumps() -> None:
    told = look(trail_of(passes_trail(passes=6, length_m=300.0).xy_m))
    assert told.found == ()
    assert {u.kind for u in told.unseen} >= {"fan-sag", "lost-flow", "guidance-width", "work-stuck"}
    assert {c.kind for c in told.clear} == {"lane-gap", "position-jumps"}


def test_an_empty_trail_is_told_to_show_nothing() -> None:
    told = look(trail_of(np.zeros((0, 2))))
    assert told.found == ()
    assert {u.kind for u in told.unseen} == {d.kind for d in DETECTORS}


def test_columns_are_named_only_where_they_are() -> None:
    assert columns_of(day()) == {"lift"}
    assert columns_of(full()) >= {"speed", "distance", "area counter", "sections", "meter turns", "flow at the runs", "fan speed"}


# fan


def fan(trail: Trail, depth: float, seconds: float = 6.0, when: str = "lift") -> Trail:
    work = ~trail.lifted
    edge = np.concatenate([[False], (work[:-1] & ~work[1:]) if when == "lift" else (~work[:-1] & work[1:])])
    since = np.arange(trail.n) - np.maximum.accumulate(np.where(edge, np.arange(trail.n), -(10**6)))
    return dataclasses.replace(trail, fan_turns_s=70.0 - depth * np.exp(-since / seconds) + noise(trail.n, 0.3))


@pytest.mark.parametrize("when", ["lift", "lower"])
def test_a_fan_that_sags_when_lifted_or_lowered_is_named_with_its_size(when: str) -> None:
    fault = one(fan(day(), 14.0, when=when), "fan-sag")
    assert fault.cause == "fan"
    assert fault.interval is not None
    assert fault.interval[0] <= 14.0 * 60 <= fault.interval[1]
    assert f"when you {when}" in fault.claim
    assert fault.worth_stopping
    assert "Air speed" in fault.not_claimed
    assert set(fault.columns) == {"fan speed", "lift"}


def test_a_short_dip_at_the_lift_is_what_fans_do() -> None:
    silent(fan(day(), 6.5, seconds=4.0), "fan-sag")


def every(trail: Trail, step: int, first: int = 0) -> Trail:
    """Every so many rows of a trail, as a log with rows so many seconds apart has them."""
    assert trail.lifted is not None
    assert trail.fan_turns_s is not None
    rows = np.arange(first, trail.n, step)
    return dataclasses.replace(
        trail, t_ms=trail.t_ms[rows], xy_m=trail.xy_m[rows], lifted=trail.lifted[rows], fan_turns_s=trail.fan_turns_s[rows]
    )


@pytest.mark.parametrize("step", [1, 2, 5, 10])
@pytest.mark.parametrize("first", [0, 3])
def test_a_short_dip_is_no_sag_however_far_apart_the_rows_are(step: int, first: int) -> None:
    """Below the alarm for 3 s after each lift: one low row of a coarse log must not count for all of its time."""
    told = look(every(fan(day(), 7.0, seconds=6.0), step, first), None, "fan-sag")
    assert told.found == ()
    assert bool(told.unseen) == (step > 4), "a log too coarse for a sag of 4 s says so"
    assert all(f"{step} s apart" in u.says for u in told.unseen)


@pytest.mark.parametrize(("step", "seconds"), [(1, 6.0), (2, 7.0), (5, 14.0), (10, 24.0)])
def test_a_sag_is_seen_where_low_rows_follow_one_another_for_long_enough(step: int, seconds: float) -> None:
    fault = one(every(fan(day(), 14.0, seconds=seconds), step), "fan-sag")
    true = seconds * np.log(14.0 / (0.06 * 70.0))
    said = float(fault.claim.split("for about ")[1].split(" s:")[0])
    assert max(4.0, true - 2 * step - 1) <= said <= true + 1


def test_fewer_than_five_lifts_show_no_sag() -> None:
    told = look(fan(day(passes=4), 20.0), None, "fan-sag")
    assert told.found == ()
    assert "fewer than 5 lifts" in told.unseen[0].says


def test_a_fan_that_droops_is_dated_and_sized() -> None:
    trail = day()
    speed = 70.0 + noise(trail.n, 0.3)
    speed[trail.n // 2 :] *= 0.92
    fault = one(dataclasses.replace(trail, fan_turns_s=speed), "fan-droop")
    assert fault.interval is not None
    assert fault.interval[0] <= -8.0 <= fault.interval[1]
    assert fault.since_low_s <= trail.n // 2 <= fault.since_high_s
    assert fault.worth_stopping


def test_a_small_droop_is_believed_and_left() -> None:
    trail = day()
    speed = 70.0 + noise(trail.n, 0.3)
    speed[trail.n // 2 :] *= 0.96
    assert not one(dataclasses.replace(trail, fan_turns_s=speed), "fan-droop").worth_stopping


def test_a_fan_far_below_its_proven_speed_all_day_is_named() -> None:
    proven = dataclasses.replace(tool(WIDTH), fan_turns_s=Est(value=78.0, sd=0.5))
    trail = fan(day(), 0.0)
    assert "below its proven" in one(trail, "fan-droop", proven).claim
    silent(trail, "fan-droop", dataclasses.replace(proven, fan_turns_s=Est(value=71.0, sd=0.5)))


# speed and distance


def unsteady(passes: int = 12) -> Trail:
    """Speed wanders between 1.6 and 2.4 m/s; the speed and distance columns follow."""
    rows = passes_trail(passes=passes, length_m=300.0, turn_rows=30)
    along = np.concatenate([[0.0], np.cumsum(way(rows)[1:])])
    pace = 2.0 + 0.4 * np.sin(np.arange(int(along[-1] / 2.0) + 1) / 40)
    at = np.minimum(np.concatenate([[0.0], np.cumsum(pace)]), along[-1])
    at = np.unique(at)
    xy = np.column_stack([np.interp(at, along, rows.xy_m[:, i]) for i in (0, 1)])
    up = rows.lifted[np.clip(np.searchsorted(along, at, side="right") - 1, 0, rows.n - 1)]
    trail = trail_of(xy, lifted=up)
    step = way(trail)
    return dataclasses.replace(trail, step_m=step, speed_m_s=np.round(np.append(step[1:], step[-1]), 2))


def test_a_frozen_speed_is_named_from_when_it_froze() -> None:
    trail = unsteady()
    row = trail.n // 3
    speed = trail.speed_m_s.copy()
    speed[row:] = 2.0
    fault = one(dataclasses.replace(trail, speed_m_s=speed), "speed-frozen")
    assert fault.cause == "distance"
    assert fault.since_low_s <= row <= fault.since_high_s
    assert fault.until_s is None
    assert fault.worth_stopping
    assert "stand-in" in fault.claim
    assert fault.columns == ("positions", "speed")


def test_a_frozen_distance_count_is_named_without_a_speed_column() -> None:
    trail = unsteady()
    step = trail.step_m.copy()
    step[trail.n // 3 :] = 2.0
    fault = one(dataclasses.replace(trail, step_m=step, speed_m_s=None), "speed-frozen")
    assert fault.columns == ("positions", "distance")


def test_a_steady_speed_that_is_true_is_no_frozen_one() -> None:
    trail = passes_trail(passes=12, length_m=300.0, turn_rows=7)  # 2 m/s in the turns too
    silent(dataclasses.replace(trail, speed_m_s=np.full(trail.n, 2.0)), "speed-frozen")


def test_a_speed_that_follows_the_positions_is_no_frozen_one() -> None:
    silent(unsteady(), "speed-frozen")


def test_a_frozen_speed_is_told_once_and_not_as_a_ratio_too() -> None:
    trail = unsteady()
    told = look(dataclasses.replace(trail, step_m=None, speed_m_s=np.full(trail.n, 2.5)))
    assert [f.kind for f in told.found] == ["speed-frozen"]


@pytest.mark.parametrize("share", [-0.06, 0.04])
def test_a_distance_that_reads_long_or_short_is_sized(share: float) -> None:
    trail = unsteady()
    fault = one(dataclasses.replace(trail, step_m=trail.step_m * (1 + share)), "distance-scale")
    assert fault.interval is not None
    assert fault.interval[0] <= 100 * share <= fault.interval[1]
    assert fault.worth_stopping
    assert ("long" if share > 0 else "short") in fault.claim
    assert "width" in fault.not_claimed.lower()


def test_two_per_cent_are_load_and_soil() -> None:
    trail = unsteady()
    silent(dataclasses.replace(trail, step_m=trail.step_m * 1.02), "distance-scale")


def test_a_distance_count_that_changed_in_the_day_is_dated() -> None:
    trail = unsteady()
    row = trail.n // 2
    step = trail.step_m.copy()
    step[row:] *= 1.07
    fault = one(dataclasses.replace(trail, step_m=step), "distance-drift")
    assert fault.interval is not None
    assert fault.interval[0] <= 7.0 <= fault.interval[1]
    assert fault.since_low_s <= row <= fault.since_high_s + 1


def test_agreement_with_the_positions_the_speed_came_from_proves_nothing() -> None:
    by_gnss = dataclasses.replace(tool(WIDTH), speed_source="gnss")
    told = look(unsteady(), by_gnss, "distance-scale", "distance-drift")
    assert (told.found, told.clear) == ((), ())
    assert {u.kind for u in told.unseen} == {"distance-scale", "distance-drift"}
    assert "by themselves" in told.unseen[0].says
    wrong = dataclasses.replace(unsteady(), step_m=unsteady().step_m * 1.06)
    assert [f.kind for f in look(wrong, by_gnss, "distance-scale").found] == ["distance-scale"]


# row to row


def typed_width(guidance_m: float | None, true_m: float = WIDTH) -> Outfit:
    return Outfit(
        key="t", name="t", row_spacing_m=0.25, widths=Widths(true_m=Est(value=true_m, sd=0.01), rate_m=true_m, guidance_m=guidance_m)
    )


def test_passes_that_lie_off_the_guidance_width_typed_are_sized() -> None:
    fault = one(day(), "guidance-width", typed_width(9.8))
    assert fault.size is not None
    assert fault.size.value == pytest.approx(0.2, abs=1e-6)
    assert fault.cause == "guidance"
    assert "tool's width" in fault.not_claimed
    silent(day(), "guidance-width", typed_width(10.02))


def test_passes_farther_apart_than_the_tool_is_wide_leave_strips() -> None:
    fault = one(day(), "lane-gap", typed_width(10.0, 9.5))
    assert "unsown" in fault.claim
    assert fault.worth_stopping
    assert "closer" in one(day(), "lane-gap", typed_width(10.0, 12.0)).claim
    silent(day(), "lane-gap", typed_width(10.0, 10.2))


def test_without_a_typed_guidance_width_the_log_cannot_be_held_against_it() -> None:
    told = look(day(), typed_width(None), "guidance-width")
    assert told.unseen[0].needs == ("the guidance width typed",)


# counting


def counted(trail: Trail, *, up: bool) -> np.ndarray:
    before = np.concatenate([[False], ~trail.lifted[:-1]])
    return np.floor(np.cumsum(np.where(before | up, way(trail), 0.0)) * WIDTH / 10) / 1000


def test_area_counted_while_lifted_is_sized_in_hectares() -> None:
    trail = day()
    extra = (counted(trail, up=True) - counted(trail, up=False))[-1]
    fault = one(dataclasses.replace(trail, area_ha=counted(trail, up=True)), "counted-lifted")
    assert fault.size is not None
    assert fault.size.value == pytest.approx(extra, abs=0.02)
    assert fault.area_ha == fault.size.value
    assert "counted while turning" in fault.claim
    silent(dataclasses.replace(trail, area_ha=counted(trail, up=False)), "counted-lifted")


def test_a_lift_flag_that_lags_by_two_seconds_is_no_counting_while_lifted() -> None:
    trail = day()
    late = np.concatenate([trail.lifted[:2], trail.lifted[:-2]])
    silent(dataclasses.replace(trail, area_ha=counted(trail, up=False), lifted=late), "counted-lifted")


def test_a_meter_that_turns_in_the_air_is_named_by_its_bin() -> None:
    trail = day()
    revs = np.column_stack([counted(trail, up=False), counted(trail, up=True)]) * 20
    fault = one(dataclasses.replace(trail, revs=revs, bins=("A", "B")), "metered-lifted")
    assert fault.cause == "meter:B"
    assert fault.worth_stopping
    assert "mass" in fault.not_claimed


def test_a_counter_that_stands_still_over_passes_is_named_with_them() -> None:
    trail = day()
    area = counted(trail, up=False)
    third, sixth = (int(np.searchsorted(np.cumsum(way(trail)), x)) for x in (700, 1800))
    growth = np.diff(area, prepend=0.0)
    growth[third:sixth] = 0.0
    fault = one(dataclasses.replace(trail, area_ha=np.cumsum(growth)), "uncounted-work")
    assert fault.passes
    assert fault.size is not None
    assert fault.size.value == pytest.approx(len(fault.passes) * 0.3, rel=0.01)
    silent(dataclasses.replace(trail, area_ha=area), "uncounted-work")


# sections


def sections(trail: Trail, k: int = 4) -> np.ndarray:
    return np.repeat(~trail.lifted[:, None], k, axis=1)


def test_a_section_on_through_the_turns_is_named_with_its_ground() -> None:
    trail = day()
    on = sections(trail)
    on[trail.n // 3 :, 2] = True
    fault = one(dataclasses.replace(trail, sections=on), "section-on", tool(WIDTH, 4))
    assert fault.cause == "section:3"
    assert fault.area_ha is not None
    assert fault.area_ha > 0
    assert fault.since_low_s <= trail.n // 3 <= fault.since_high_s + 60
    silent(dataclasses.replace(trail, sections=sections(trail)), "section-on", tool(WIDTH, 4))


def test_a_section_off_over_whole_passes_is_named_with_them() -> None:
    trail = day()
    on = sections(trail)
    on[trail.n // 2 :, 0] = False
    fault = one(dataclasses.replace(trail, sections=on), "section-off", tool(WIDTH, 4))
    assert fault.cause == "section:1"
    assert fault.passes[-1] == 12
    assert fault.until_s is None
    assert fault.area_ha == pytest.approx(len(fault.passes) * 300 * 2.5 / 1e4, rel=0.15)


def test_sections_shut_over_sown_ground_at_the_ends_are_no_fault() -> None:
    trail = day()
    on = sections(trail)
    y = trail.xy_m[:, 1]
    for k in range(4):
        on[(y > 280 - 5 * k), k] = False
    silent(dataclasses.replace(trail, sections=on), "section-off", tool(WIDTH, 4))


def test_a_narrow_last_pass_with_sections_off_is_no_fault() -> None:
    trail = day()
    on = sections(trail)
    on[trail.xy_m[:, 0] > 114, 2:] = False
    told = look(dataclasses.replace(trail, sections=on), tool(WIDTH, 4), "section-off", "section-on")
    assert told.found == ()


def test_two_sections_are_too_few_to_hold_one_against_the_others() -> None:
    trail = day()
    told = look(dataclasses.replace(trail, sections=sections(trail, 2)), tool(WIDTH, 2), "section-off")
    assert "fewer than 3" in told.unseen[0].says


def test_a_work_switch_that_stays_on_through_half_turns_is_named() -> None:
    trail = day()
    fault = one(dataclasses.replace(trail, lifted=np.zeros(trail.n, dtype=bool)), "work-stuck")
    assert fault.cause == "work-state"
    assert not fault.worth_stopping
    silent(trail, "work-stuck")


def test_with_a_stuck_work_state_lost_flow_is_not_told() -> None:
    trail = day()
    machine = Outfit(
        key="t",
        name="t",
        widths=Widths(rate_m=WIDTH),
        sections=tuple(Section(number=k + 1, left_m=-5 + 2.5 * k, right_m=-2.5 + 2.5 * k) for k in range(4)),
    )
    present = np.repeat(~trail.lifted[:, None], 8, axis=1)
    present[trail.n // 2 :, 3] = False
    stuck = dataclasses.replace(
        trail,
        lifted=np.zeros(trail.n, dtype=bool),
        sections=np.ones((trail.n, 4), dtype=bool),
        run_present=present,
        runs=tuple(range(1, 9)),
    )
    told = look(stuck, machine)
    assert [f.kind for f in told.found] == ["work-stuck"]
    assert "lost-flow" in {u.kind for u in told.unseen}


# level


def level(trail: Trail, row: int, share: float, seed: int = 3) -> Trail:
    turned = np.cumsum(np.where(np.concatenate([[False], ~trail.lifted[:-1]]), way(trail), 0.0)) / 4.0
    falls = np.ones(trail.n)
    falls[row : row + trail.n // 6] = 1 - share
    used = np.cumsum(np.diff(turned, prepend=0.0) * falls) * 3.0
    full = used[-1] / 1.5
    return dataclasses.replace(
        trail, revs=turned[:, None], bins=("A",), extra={"weight_A": full - used % full + noise(trail.n, 0.004 * full, seed)}
    )


def test_turns_without_a_fall_of_the_level_are_named_with_the_bin() -> None:
    trail = day(passes=20)
    row = trail.n // 3
    fault = one(level(trail, row, 0.9), "no-fall")
    assert fault.cause == "bridge:A"
    assert fault.since_s == pytest.approx(row, abs=120)
    assert fault.size is not None
    assert fault.size.value == pytest.approx(90, abs=15)
    assert "lock out" in fault.confirm_by
    silent(level(trail, row, 0.0), "no-fall")


def test_a_level_computed_from_the_turns_cannot_show_a_bridge() -> None:
    trail = level(day(passes=20), 0, 0.0)
    computed = dataclasses.replace(trail, extra={"level A": 5000.0 - 2.0 * trail.revs[:, 0]})
    told = look(computed, None, "no-fall")
    assert told.found == ()
    assert "repeats the turns" in told.unseen[0].says


# positions


def test_a_sideways_leap_that_stays_is_placed_and_sized() -> None:
    trail = day()
    xy = trail.xy_m + np.column_stack([noise(trail.n, 0.02), noise(trail.n, 0.02, 4)])
    row = 75
    xy[row : row + 40, 0] += 1.2
    fault = one(dataclasses.replace(trail, xy_m=xy), "position-jumps")
    assert fault.cause == "fixes"
    assert fault.since_s == pytest.approx(row - 1, abs=1)
    assert fault.size is not None
    assert fault.size.value == pytest.approx(1.2, abs=0.1)
    assert not fault.worth_stopping


def test_a_leap_farther_than_a_machine_can_move_is_a_jump() -> None:
    trail = day()
    xy = trail.xy_m.copy()
    xy[60:140, 1] += 25.0
    assert one(dataclasses.replace(trail, xy_m=xy), "position-jumps").size.value == pytest.approx(25, abs=3)


def test_one_bad_fix_is_no_jump_and_several_are() -> None:
    trail = day()
    xy = trail.xy_m.copy()
    xy[60] += (20.0, 0.0)
    silent(dataclasses.replace(trail, xy_m=xy), "position-jumps")
    for k in range(6):
        xy[60 + 180 * k] = trail.xy_m[60 + 180 * k] + (20.0, 0.0)
    assert look(dataclasses.replace(trail, xy_m=xy), None, "position-jumps").found


# what all say


def test_every_fault_carries_evidence_columns_a_confirming_act_and_what_it_must_not_claim() -> None:
    trail = day()
    worst = dataclasses.replace(fan(trail, 20.0), area_ha=counted(trail, up=True))
    found = look(worst).found
    assert {f.kind for f in found} == {"fan-sag", "counted-lifted"}
    for fault in found:
        assert fault.evidence
        assert fault.columns
        assert fault.confirm_by.endswith(".")
        assert fault.not_claimed
        assert fault.since_low_s <= fault.since_s
        assert 0 <= fault.first_row <= fault.last_row < trail.n


def test_sentences_come_in_the_readers_units() -> None:
    trail = dataclasses.replace(day(), area_ha=counted(day(), up=True))
    (metric,) = trail_faults(trail, tool(WIDTH), kinds=("counted-lifted",)).found
    (acres,) = trail_faults(trail, tool(WIDTH), kinds=("counted-lifted",), profile="prairie").found
    assert " ha counted" in metric.claim
    assert " ac counted" in acres.claim


def test_the_change_of_a_level_is_found_where_it_is() -> None:
    values = np.concatenate([np.full(10, 1.0), np.full(12, 1.1)]) + noise(22, 0.004)
    found = change_point(values, sd_floor=0.001)
    assert found is not None
    at, change, sd, z = found
    assert at == 10
    assert abs(change - 0.1) < 4 * sd
    assert z > 20
    assert change_point(np.ones(3), sd_floor=0.1) is None


@pytest.mark.parametrize(
    ("passes", "words"),
    [((), "between passes"), ((4,), "pass 4"), ((3, 4, 5), "passes 3 to 5"), ((2, 5, 9), "passes 2, 5 and 9")],
)
def test_passes_in_words(passes: tuple[int, ...], words: str) -> None:
    assert numbered(passes) == words
