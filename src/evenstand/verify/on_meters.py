"""Meters, windows, bins, typed values, wheels, turns and shut runs against print and by hand."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from evenstand import machine
from evenstand.base.estimate import Est
from evenstand.base.units import ACRE_M2, FOOT_M, INCH_M, to_metric
from evenstand.machine.wheels import CartLoad, Ground
from evenstand.verify.pairs import Independent, Pair


def _seeds_a_foot(seeds_m2: float, row_in: float) -> float:
    """Seeds along a foot of row, of seed that weighs a gram, so that the rate in kg/ha is ten times the seeds a square metre."""
    return FOOT_M / machine.seed_spacing(10 * seeds_m2, 1000.0, row_in * INCH_M)


def _parts_of_an_acre(row_in: float, length_ft: float) -> float:
    return ACRE_M2 / 1e4 / machine.row_area(1, row_in * INCH_M, length_ft * FOOT_M)


def _seconds(mph: float) -> float:
    return machine.course_time(200 * FOOT_M, to_metric(mph, "speed", "mph"))


_ACRE_SEEDS = 200_000 / ACRE_M2

PAIRS: tuple[Pair, ...] = (
    Pair(
        function="machine.seed_spacing",
        case="seeds a foot of row from 35 and 30 seeds/ft² on rows of 4 to 10 in, 10 cells",
        unit="seeds/ft",
        cells=tuple(
            (f"{row} in, {seeds}/ft²", text, partial(_seeds_a_foot, seeds / FOOT_M**2, row))
            for seeds, texts in ((35, ("12", "18", "20", "23", "29")), (30, ("10", "15", "17", "20", "25")))
            for row, text in zip((4, 6, 7, 8, 10), texts, strict=True)
        ),
        kind="table",
        source="uky-seed-rate",
        where="seeds per row foot",
    ),
    Pair(
        function="machine.seed_spacing",
        case="200,000 seeds/ac on 15 in rows",
        published="5.74",
        unit="seeds/ft",
        compute=lambda: _seeds_a_foot(_ACRE_SEEDS, 15),
        source="iowa-agron-212",
        where="seeds per foot of row",
    ),
    Pair(
        function="machine.seed_spacing",
        case="100 kg/ha of 40 g on 20 cm rows: seeds in a metre",
        published="50",
        unit="seeds/m",
        compute=lambda: 1 / machine.seed_spacing(100, 40, 0.20),
        source="gate-agricultural-engineering",
        where="solution",
    ),
    Pair(
        function="machine.row_area",
        case="part of an acre on one row of 48, 46, 44 and 42 in over 85, 89, 93 and 97 ft",
        unit="1/ac",
        cells=tuple((f"{row} in", "128", partial(_parts_of_an_acre, row, feet)) for row, feet in ((48, 85), (46, 89), (44, 93), (42, 97))),
        kind="table",
        source="ncsu-calibration-2014",
        where="table of row lengths",
    ),
    Pair(
        function="machine.row_area",
        case="24 openers on 7.5 in over 145.2 ft",
        published="2178",
        unit="ft²",
        compute=lambda: machine.row_area(24, 7.5 * INCH_M, 145.2 * FOOT_M) * 1e4 / FOOT_M**2,
        source="southeast-drill-calibration",
        where="worked example",
    ),
    Pair(
        function="machine.row_area",
        case="one row of 7.5 in over 20 turns of a wheel of 8 ft",
        published="100",
        unit="ft²",
        compute=lambda: machine.row_area(1, 7.5 * INCH_M, 160 * FOOT_M) * 1e4 / FOOT_M**2,
        source="soil-health-drill-sheet",
        where="area of one row",
    ),
    Pair(
        function="machine.course_time",
        case="200 ft at 3, 4, 5 and 6 mph",
        unit="s",
        cells=tuple((f"{mph} mph", text, partial(_seconds, mph)) for mph, text in ((3, "45"), (4, "34"), (5, "27"), (6, "23"))),
        kind="table",
        source="speed-check-200-ft",
        where="table",
    ),
    Pair(
        function="machine.meter_feed",
        case="feeding width of 24 openers on 7.5 in",
        published="15.0",
        unit="ft",
        compute=lambda: machine.meter_feed([machine.SegmentSet(label="all", segments=1, rows=24)], 1.0, 7.5 * INCH_M).width_m / FOOT_M,
        source="southeast-drill-calibration",
        where="worked example",
    ),
    Pair(
        function="machine.crank_test",
        case="turns for 0.1 ha with five openers at 150 mm and a wheel of 1,200 mm",
        published="354",
        unit="turns",
        compute=lambda: machine.crank_test(1.0, width_m=0.75, rolled_m=machine.rolled_distance(1.2), gear=1.0, area_ha=0.1).crank_turns,
        source="drill-turns-solution",
        where="solution",
    ),
    Pair(
        function="machine.ground_drive_gearing",
        case="4 rows of 100 cm, wheel 50 cm, 10 cells, 8000 seeds/ha: turns of the wheel for one of the plate",
        published="1.98",
        unit="-",
        compute=lambda: 1 / machine.ground_drive_gearing(8000, 10, machine.rolled_distance(0.5), 4.0),
        half_digits=2,
        why="cut off after two digits, not rounded: 1.989",
        source="exam-drill-problems",
        where="planter of four rows",
    ),
)


def _at(thing: Any, path: str) -> float:
    """A number inside a result, by a path such as "bins.0.rev_s"; "" is the result itself."""
    for step in path.split(".") if path else ():
        thing = thing[int(step)] if step.isdigit() else getattr(thing, step)
    return float(thing)


def _by_hand(function: str, case: str, call: Callable[[], Any], want: Mapping[str, float]) -> tuple[Independent, ...]:
    """One check for each number of a result, worked out beside it."""

    def both(path: str, other: float) -> tuple[float, float]:
        return _at(call(), path), other

    return tuple(
        Independent(
            function=f"machine.{function}", case=f"{case}: {path}".rstrip(": "), how="closed form", compute=partial(both, path, other)
        )
        for path, other in want.items()
    )


_BIAS = math.sqrt((0.01**2 + 0.01 * 0.03 + 0.03**2) / 3)
_T6 = 2.4469118511449692  # Student's t, 6 degrees of freedom, 0.975, as SciPy gives it
_LOTS = math.sqrt((0.03**2 + 0.03 * 0.08 + 0.08**2) / 3)
_CASE = machine.MeterCase(meter="A", product="wheat", lot="L", setting="coarse")


def _tail_of_t6(f: float) -> float:
    """Upper tail of F with 1 and 6 degrees of freedom: both tails of Student's t with 6, which ends in sines and cosines. [-]"""
    angle = math.atan(math.sqrt(f / 6))
    return 1 - math.sin(angle) * (1 + math.cos(angle) ** 2 / 2 + 3 * math.cos(angle) ** 4 / 8)


def _caught(value: float, sd: float = 0.0) -> machine.FactorSource:
    return machine.factor_from_catch(_CASE, Est(value=value, sd=sd), at="2026-05-01")


def _field(value: float, sd: float) -> machine.FactorSource:
    return machine.FactorSource(case=_CASE, kg_turn=Est(value=value, sd=sd), how="shown-mass", at="2026-05-02")


def _pooled() -> machine.PooledFactor:
    """1.20 +- 0.03 and 1.30 +- 0.04 from the field: weights 16/25 and 9/25, 1.236 +- 0.024; chi-square 4 with one degree of freedom."""
    return machine.pool_factors([_field(1.20, 0.03), _field(1.30, 0.04)], _CASE, between_cv=0.0)


def _carried() -> machine.PooledFactor:
    return machine.pool_factors([_field(1.20, 0.03)], machine.MeterCase(meter="A", product="wheat", lot="M"))


_FACTORS = (
    *_by_hand("usual_sd", "3 to 8 %", lambda: machine.usual_sd("factor-between-lots"), {"": _LOTS}),
    *_by_hand(
        "factor_from_catch", "1.25 +- 0.01, bias 1 to 3 %", lambda: _caught(1.25, 0.01),
        {"kg_turn.value": 1.25, "kg_turn.sd": math.hypot(0.01, 1.25 * _BIAS), "shared_sd": 1.25 * _BIAS},
    ),
    *_by_hand(
        "factor_from_shown_mass", "1.25 x 4120 / 4000",
        lambda: machine.factor_from_shown_mass(_CASE, 1.25, Est(value=4000), Est(value=4120, sd=8)),
        {"kg_turn.value": 1.2875, "kg_turn.sd": 0.0025},
    ),
    *_by_hand(
        "factor_from_displacement", "1.6 L x 0.78 kg/L x 0.95",
        lambda: machine.factor_from_displacement(_CASE, Est(value=1.6), Est(value=780, sd=7.8), fill=Est(value=0.95)),
        {"kg_turn.value": 1.1856, "kg_turn.sd": 0.011856},
    ),
    *_by_hand("crank_factor", "12 kg, 20 turns, gear 0.5", lambda: machine.crank_factor(12, 20, 0.5), {"": 1.2}),
    *_by_hand(
        "crank_test", "12 kg over 0.1 ha, wheel 5 m, 10 m wide, gear 0.5, 150 kg/ha asked",
        lambda: machine.crank_test(12.0, width_m=10, rolled_m=5, gear=0.5, area_ha=0.1, asked_kg_ha=150, prior_cv=0.01),
        {
            "crank_turns": 20, "rate_kg_ha": 120, "factor_kg_rev": 1.2, "factor_sd": 0.012, "gear": 0.5, "change": 0.8,
            "gear_needed": 0.625, "catches": 1,
        },
    ),
    *_by_hand(
        "crank_test", "ends by Student's t of SciPy, 6 degrees of freedom",
        lambda: machine.crank_test(12.0, width_m=10, rolled_m=5, gear=0.5, area_ha=0.1, prior_cv=0.01),
        {"low_kg_ha": 120 * (1 - 0.01 * _T6), "high_kg_ha": 120 * (1 + 0.01 * _T6)},
    ),
    *_by_hand(
        "crank_test", "11 and 13 kg, 5 % expected: F(1, 6) = 50/9, its upper tail in closed form",
        lambda: machine.crank_test([11, 13], width_m=10, rolled_m=5, gear=0.5, area_ha=0.1, prior_cv=0.05), {"odd": _tail_of_t6(50 / 9)},
    ),
    *_by_hand("pool_factors", "16/25 and 9/25", _pooled, {
        "kg_turn.value": 1.236, "kg_turn.sd": 0.024, "ranked.0.weight": 0.64, "ranked.1.weight": 0.36, "ranked.0.off": -1.2,
        "ranked.1.off": 1.6, "odd": math.erfc(math.sqrt(2.0)), "ranked.0.source.kg_turn.value": 1.20, "ranked.0.source.kg_turn.sd": 0.03,
        "ranked.1.source.kg_turn.value": 1.30, "ranked.1.source.kg_turn.sd": 0.04,
    }),
    *_by_hand(
        "pool_factors", "two equal catches: the spread is halved, the bias is not",
        lambda: machine.pool_factors([_caught(1.25, 0.02), _caught(1.25, 0.02)], _CASE, between_cv=0.0),
        {
            "kg_turn.sd": math.hypot(0.02 / math.sqrt(2), 1.25 * _BIAS), "ranked.0.source.shared_sd": 1.25 * _BIAS,
            "ranked.1.source.shared_sd": 1.25 * _BIAS,
        },
    ),
    *_by_hand("pool_factors", "another lot", _carried, {"carried.value": 1.20, "carried.sd": math.hypot(0.03, 1.2 * _LOTS)}),
)  # fmt: skip


def _feed() -> machine.MeterFeed:
    sets = [machine.SegmentSet(label="L", segments=1, rows=7), machine.SegmentSet(label="R", segments=1, rows=6, gear=1.2)]
    return machine.meter_feed(sets, 1.0, 0.5, rate_kg_ha=100, speed_m_s=2)


_SEGMENTS = (
    *_by_hand("rescaled_factor", "8 to 7 segments, gear 1 to 1.2", lambda: machine.rescaled_factor(1.6, 8, 7, 1.0, 1.2), {"": 1.68}),
    *_by_hand("meter_feed", "7 rows on 0.5 kg, 6 rows on 0.6 kg a turn", _feed, {
        "width_m": 6.5, "factor_kg_rev": 1.1, "worst": 0.4, "rev_s": 0.13 / 1.1, "sets.0.rows": 7, "sets.0.width_m": 3.5,
        "sets.0.factor_kg_rev": 0.5, "sets.0.share": 5 / 11, "sets.0.dose_ratio": 0.5 / 7 / (1.1 / 13), "sets.0.rev_s": 0.14,
        "sets.1.rows": 6, "sets.1.width_m": 3.0, "sets.1.factor_kg_rev": 0.6, "sets.1.share": 6 / 11,
        "sets.1.dose_ratio": 0.1 / (1.1 / 13), "sets.1.rev_s": 0.1,
    }),
    *_by_hand(
        "meter_feed", "one of two segments shut",
        lambda: machine.meter_feed([machine.SegmentSet(label="L", segments=2, rows=8, shut=1)], 1.0, 0.5),
        {"rows_without": 4, "width_m": 2.0},
    ),
)  # fmt: skip


def _window() -> machine.OperatingWindow:
    return machine.operating_window(10, 1.0, rate_kg_ha=(100, 200), rev_s=(0.1, 0.4))


_WINDOWS = (
    *_by_hand("rate_window", "0.1 to 1 turn a second", lambda: machine.rate_window(2, 10, 1.25, 0.1, 1.0), {"0": 62.5, "1": 625}),
    *_by_hand("smallest_rate", "0.1 turns a second", lambda: machine.smallest_rate(2, 10, 1.25, 0.1), {"": 62.5}),
    *_by_hand("narrowest_width", "62.5 kg/ha", lambda: machine.narrowest_width(62.5, 2, 1.25, 0.1), {"": 10}),
    *_by_hand("rev_window", "100 to 200 kg/ha, 1 to 2 m/s", lambda: machine.rev_window((100, 200), (1, 2), 10, 1.0), {"0": 0.1, "1": 0.4}),
    *_by_hand("operating_window", "100 to 200 kg/ha, 0.1 to 0.4 turns a second: 1 to 2 m/s", _window, {
        "rate_kg_ha.0": 100, "rate_kg_ha.1": 200, "speed_m_s.0": 1, "speed_m_s.1": 2, "rev_s.0": 0.1, "rev_s.1": 0.4,
    }),
    *_by_hand(
        "shared_speed_window", "the latest start and the earliest end",
        lambda: machine.shared_speed_window({"A": (1.0, 3.0), "B": (1.5, 4.0)})[0], {"0": 1.5, "1": 3.0},
    ),
    *_by_hand("seed_spacing", "100 kg/ha of 40 g on 0.25 m: 62.5 seeds a metre", lambda: machine.seed_spacing(100, 40, 0.25), {"": 0.016}),
    *_by_hand(
        "seed_pulses", "2 m/s, half a turn a second, 20 flutes: a pulse each 0.2 m",
        lambda: machine.seed_pulses(100, 2, 0.5, 20, tkw_g=40, row_spacing_m=0.25),
        {"pulse_m": 0.2, "seed_m": 0.016, "seeds_pulse": 12.5, "even_rev_s": 6.25},
    ),
    *_by_hand("one_count", "two decimals", lambda: machine.one_count("1.25"), {"": 0.01}),
    *_by_hand(
        "setting_steps", "0.25 on 1.0 and 1 on 20", lambda: machine.setting_steps(100, factor=(1.0, 0.25), rev=(20, 1)),
        {"0.step": 0.25, "0.share": -0.2, "0.change_kg_ha": -20, "1.step": 1, "1.share": 0.05, "1.change_kg_ha": 5},
    ),
)  # fmt: skip


def _bins() -> machine.BinsTogether:
    """A: 3,000 kg, half the rate of 100 kg/ha; D: 2,000 kg. D is empty after 40 ha, A after ten more."""
    common = {"min_rev_s": 0.05, "max_rev_s": 1.0}
    bins = [
        machine.ProductBin(letter="A", factor_kg_rev=1.0, content_kg=3000, low_kg=100, **common),
        machine.ProductBin(letter="D", factor_kg_rev=2.0, content_kg=2000, low_kg=100, **common),
    ]
    return machine.bins_together(bins, 100, 2, 10)


_BINS = (
    *_by_hand("bins_together", "3,000 and 2,000 kg at 100 kg/ha", _bins, {
        "area_ha": 50, "first_empty_ha": 40, "first_low_ha": 38, "speed_m_s.0": 2.0, "speed_m_s.1": 20, "smallest_kg_ha": 100,
        "largest_kg_ha": 1000,
        "bins.0.rate_kg_ha": 50, "bins.0.rev_s": 0.1, "bins.0.speed_m_s.0": 1.0, "bins.0.speed_m_s.1": 20, "bins.0.lasts_ha": 60,
        "bins.0.to_ha": 50, "bins.0.alone_rev_s": 0.2, "bins.0.alone_speed_m_s.0": 0.5, "bins.0.alone_speed_m_s.1": 10,
        "bins.0.left_kg": 1000, "bins.0.low_ha": 49,
        "bins.1.rate_kg_ha": 50, "bins.1.rev_s": 0.05, "bins.1.speed_m_s.0": 2.0, "bins.1.speed_m_s.1": 40, "bins.1.lasts_ha": 40,
        "bins.1.to_ha": 40, "bins.1.alone_rev_s": 0.1, "bins.1.alone_speed_m_s.0": 1.0, "bins.1.alone_speed_m_s.1": 20, "bins.1.low_ha": 38,
    }),
    *_by_hand(
        "bins_together", "in turn: the second from where the first is empty",
        lambda: machine.bins_together(
            [machine.ProductBin(letter=x, factor_kg_rev=1.0, content_kg=1000) for x in "AD"], 100, 2, 10, mode="in-turn"
        ),
        {"bins.1.from_ha": 10, "bins.1.to_ha": 20, "bins.1.left_kg": 1000, "area_ha": 20},
    ),
)  # fmt: skip


def _wrong() -> machine.SettingCost:
    """Factor 1.25 typed for 1.0, 12 m for 10: dose 0.8 x 1.2 = 0.96."""
    return machine.wrong_setting_cost(
        100, 50, typed_factor_kg_rev=1.25, true_factor_kg_rev=1.0, typed_width_m=12, true_width_m=10, price_kg=0.5, overlap=0.05
    )


def _table() -> tuple[tuple[machine.WrongSetting, machine.SettingCost], ...]:
    return machine.wrong_settings(100, 50, [machine.WrongSetting(what="factor", typed=1.25, true=1.0)], price_kg=0.5)


def _stand_in() -> machine.StandInCost:
    """Three parts of the time at 2 m/s and one at 4, 3 typed: 12 parts metered over 10 driven."""
    return machine.stand_in_speed_cost(100, 3, [2, 4], hours=[3, 1], area_ha=50, price_kg=0.5)


_COST = {
    "dose_ratio": 0.96, "sown_kg_ha": 96, "error_kg_ha": -4, "error_kg": -200, "area_shown_ha": 60, "area_error_ha": 10,
    "shown_mass_ratio": 1.25, "money": -100, "needed_kg": 5000, "used_kg": 4800, "shown_kg": 6000, "left_error_kg": -1200,
    "counter_ratio": 1.26,
}  # fmt: skip
_SETTINGS = (
    *_by_hand(
        "dose_ratio", "0.8 x 1.2 x 1.05",
        lambda: machine.dose_ratio(
            typed_factor_kg_rev=1.25, true_factor_kg_rev=1.0, typed_width_m=12, true_width_m=10, distance_ratio=1.05
        ),
        {"": 1.008},
    ),
    *_by_hand("wrong_setting_cost", "0.8 x 1.2 over 50 ha", _wrong, _COST),
    *_by_hand("wrong_settings", "1.25 typed for 1.0", _table, {
        "0.0.typed": 1.25, "0.0.true": 1.0, "0.1.dose_ratio": 0.8, "0.1.sown_kg_ha": 80, "0.1.error_kg_ha": -20, "0.1.error_kg": -1000,
        "0.1.area_shown_ha": 50, "0.1.shown_mass_ratio": 1.25, "0.1.money": -500, "0.1.needed_kg": 5000, "0.1.used_kg": 4000,
        "0.1.shown_kg": 5000, "0.1.left_error_kg": -1000, "0.1.counter_ratio": 1.0,
    }),
    *_by_hand("stand_in_dose", "5 typed, 6 driven", lambda: machine.stand_in_dose(120, 5, 6), {"": 100}),
    *_by_hand("stand_in_speed_cost", "three hours at 2, one at 4, 3 typed", _stand_in, {
        "dose_kg_ha.0": 150, "dose_kg_ha.1": 75, "ground_share.0": 0.6, "ground_share.1": 0.4, "dose_ratio": 1.2, "low_kg_ha": 75,
        "high_kg_ha": 150, "outside_share": 1.0, "counter_ratio": 1.2, "shown_mass_ratio": 1.0, "error_kg": 1000, "misplaced_kg": 1500,
        "money": 500,
    }),
)  # fmt: skip


def _widths() -> machine.ThreeWidths:
    return machine.three_widths(true_m=10, rate_m=9, guidance_m=9.6, area_ha=48, rate_kg_ha=100, row_spacing_m=0.25)


_WIDTHS = (
    *_by_hand("pass_overlap", "10 less 9.6", lambda: machine.pass_overlap(10, 9.6), {"": 0.4}),
    *_by_hand("three_widths", "10 true, 9 for the rate, 9.6 for guidance", _widths, {
        "dose_ratio": 0.9, "field_ratio": 0.9375, "counter_ratio": 0.9375, "overlap_m": 0.4, "twice_ha": 2.0, "extra_kg": -300,
        "rows_off": 1.6, "pairs.0.difference_m": -1, "pairs.0.ratio": 0.9, "pairs.1.difference_m": -0.4, "pairs.1.ratio": 0.96,
        "pairs.2.difference_m": -0.6, "pairs.2.ratio": 0.9375,
    }),
    *_by_hand(
        "three_widths", "12 for guidance", lambda: machine.three_widths(true_m=10, guidance_m=12, area_ha=48),
        {"skip_m": 2, "skipped_ha": 8},
    ),
)  # fmt: skip

_LOAD = math.sqrt((0.01**2 + 0.01 * 0.03 + 0.03**2) / 3)
_GROUND = math.sqrt((0.02**2 + 0.02 * 0.05 + 0.05**2) / 3)
_RUN = math.sqrt(0.01**2 + 1 / (6 * 500**2) + 0.001**2)


def _run(longer: float, load: CartLoad, ground: Ground) -> machine.WheelRun:
    return machine.WheelRun(distance_m=100 * math.exp(longer), pulses=500, load=load, ground=ground)


def _pulse() -> machine.PulseDistance:
    """One run, half full in the yard, asked for full on tilled ground: the value of the run, all three spreads in its sd."""
    return machine.pulse_distance([_run(0.0, "half", "yard")], "full", "tilled", typed_pulse_m=0.21, run_cv=0.01)


_PULSE_SD = math.sqrt(_RUN**2 + (_LOAD / 2) ** 2 + _GROUND**2)


def _loads() -> machine.PulseDistance:
    """Full and empty in the yard, 1 % apart either way, by runs as good as exact but for the prior, which shrinks the effect."""
    runs = [_run(0.01, "full", "yard"), _run(-0.01, "empty", "yard")]
    return machine.pulse_distance(runs, "full", "yard", tape_sd_m=0.0, run_cv=0.01)


_EACH = 0.01**2 + 1 / (6 * 500**2)
_SHRUNK = 0.02 * _LOAD**2 / (_LOAD**2 + 2 * _EACH)


def _states() -> tuple[tuple[str, str, int, Est], ...]:
    return machine.pulse_by_state([_run(0.0, "half", "yard")])


def _tilled() -> machine.PulseDistance:
    """The same for yard and tilled ground, half full."""
    runs = [_run(0.0, "half", "yard"), _run(0.02, "half", "tilled")]
    return machine.pulse_distance(runs, "half", "tilled", tape_sd_m=0.0, run_cv=0.01)


_SHRUNK_GROUND = 0.02 * _GROUND**2 / (_GROUND**2 + 2 * _EACH)
_GROUND_SD = math.sqrt(1 / (1 / _GROUND**2 + 1 / (2 * _EACH)))

_WHEELS = (
    *_by_hand("wheel_slip", "50 m free, 45 m pulling", lambda: machine.wheel_slip(50, 45), {"": 0.1}),
    *_by_hand("pulse_distance", "the yard's value on tilled ground", _pulse, {
        "pulse_m.value": 0.2, "pulse_m.sd": 0.2 * _PULSE_SD, "dose_ratio.value": 1.05, "dose_ratio.sd": 1.05 * _PULSE_SD, "low_m": 0.2,
        "high_m": 0.2, "load_effect.sd": _LOAD, "ground_effect.sd": _GROUND,
    }),
    *_by_hand("pulse_distance", "full and empty 2 % apart, held to the usual size", _loads, {
        "load_effect.value": math.exp(_SHRUNK) - 1, "pulse_m.value": 0.2 * math.exp(_SHRUNK / 2), "runs_here": 1,
    }),
    *_by_hand("pulse_distance", "yard and tilled 2 % apart, held to the usual size", _tilled, {
        "ground_effect.value": math.exp(_SHRUNK_GROUND) - 1, "ground_effect.sd": math.exp(_SHRUNK_GROUND) * _GROUND_SD,
    }),
    *_by_hand(
        "pulse_by_state", "one run of 100 m and 500 pulses", _states,
        {"0.2": 1, "0.3.value": 0.2, "0.3.sd": 0.2 * math.sqrt(0.005**2 + 1 / (6 * 500**2) + 0.001**2)},
    ),
    *_by_hand("speed_trust", "GNSS", lambda: machine.speed_trust("gnss"), {"lag_s": 1.0}),
    *_by_hand("speed_trust", "a wheel", lambda: machine.speed_trust("wheel"), {"sd": math.hypot(_LOAD, _GROUND)}),
    *_by_hand(
        "start_lag", "2 m/s, 10 m, 5 starts, 1 s", lambda: machine.start_lag(2, 10, 5, lag_s=1.0, rate_kg_ha=100, area_ha=2),
        {"distance_m": 2, "area_ha": 0.01, "short_kg": 1.0, "share": 0.005},
    ),
)  # fmt: skip


def _turn() -> machine.TurnProfile:
    """Rows at -2, 0 and 2 m on a radius of 10 m: 10/8, 1, 10/12."""
    return machine.turn_profile(10, 2.0, 3, angle_rad=2.0, rate_kg_ha=100)


def _shut() -> machine.ShutRuns:
    return machine.shut_runs([5, 5], [1, 0], rate_kg_ha=100, area_ha=20, every_passes=2)


_ACROSS = (
    *_by_hand("turn_shift", "100 kg/ha, 20 m, 2 rad", lambda: machine.turn_shift(100, 20, 2.0), {"": 1.0}),
    *_by_hand("tightest_radius", "10 m, 25 %", lambda: machine.tightest_radius(10, 0.25), {"": 25}),
    *_by_hand("turn_profile", "three rows on 10 m", _turn, {
        "offset_m.0": -2, "offset_m.2": 2, "dose_ratio.0": 1.25, "dose_ratio.1": 1.0, "dose_ratio.2": 10 / 12, "inner": 1.25,
        "outer": 10 / 12, "outside_rows": 2, "outside_share": 2 / 3, "mean_ground": 1.0, "mean_rows": (1.25 + 1 + 10 / 12) / 3,
        "area_ha": 0.012, "put_kg": 1.2, "too_much_kg": 0.08, "too_little_kg": 0.08,
    }),
    *_by_hand("sibling_dose", "one of eight", lambda: machine.sibling_dose(8, 1), {"": 8 / 7}),
    *_by_hand("shut_runs", "one of five on one of two heads, each second pass", _shut, {
        "rows_shut": 1, "rows_changed": 4, "row_ratio.0": 1.25, "row_ratio.1": 1.0, "shut_share": 0.05, "changed_share": 0.2,
        "put_ratio": 1.0, "shut_ha": 1.0, "changed_ha": 4.0, "extra_kg": 100, "missed_kg": 100, "spread_kg_ha.0": 125,
        "spread_kg_ha.1": 100,
    }),
    *_by_hand("row_area", "a row of 0.25 m over 800 m", lambda: machine.row_area(1, 0.25, 800), {"": 0.02}),
)  # fmt: skip

INDEPENDENT: tuple[Independent, ...] = (*_FACTORS, *_SEGMENTS, *_WINDOWS, *_BINS, *_SETTINGS, *_WIDTHS, *_WHEELS, *_ACROSS)
