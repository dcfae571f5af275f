"""Capacity, calibration, liquids and air against print."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from evenstand import machine, tally
from evenstand.base.units import ACRE_M2, FOOT_M, INCH_M, LB_KG, MILE_M, US_GALLON_L, from_metric, to_metric
from evenstand.machine.air import SaltationMethod
from evenstand.verify.pairs import Independent, Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]
_LB_GAL = LB_KG / (US_GALLON_L / 1e3)


def _feet_for(area_m2: float, row_in: float) -> float:
    return machine.distance_for_area(area_m2 / 1e4, row_in * INCH_M) / FOOT_M


def _factor_of(lb_gal: float) -> float:
    return machine.water_factor(lb_gal * _LB_GAL)


def _acres_an_hour(width_ft: float, mph: float, efficiency: float) -> float:
    return from_metric(machine.field_capacity(to_metric(mph, "speed", "mph"), width_ft * FOOT_M, efficiency), "capacity", "ac/h")


def _capacities(rows: tuple[tuple[float, float, float, str], ...]) -> Cells:
    return tuple((f"{w:g} ft, {v:g} mph, {e:g}", text, partial(_acres_an_hour, w, v, e)) for w, v, e, text in rows)


_CAPACITY = (
    Pair(
        function="machine.field_capacity",
        case="13 machines by width, speed and efficiency",
        unit="ac/h",
        cells=_capacities(
            (
                (40, 6, 0.70, "20.4"), (60, 6, 0.68, "29.7"), (80, 6, 0.68, "39.6"), (60, 12, 0.68, "59.3"), (80, 12, 0.68, "79.1"),
                (15, 5, 0.63, "5.7"), (20, 6, 0.63, "9.2"), (30, 6, 0.60, "13.1"), (36, 5, 0.60, "13.1"), (45, 5, 0.60, "16.4"),
                (15 * 2.5, 6, 0.65, "17.7"), (17 * 2.5, 6, 0.63, "19.5"), (23 * 2.5, 5, 0.63, "22.0"),
            )
        ),
        kind="table",
        source="isu-a3-24",
        where="examples of the sheet",
    ),
    Pair(
        function="machine.field_capacity",
        case="4 machines by width, speed and efficiency",
        unit="ac/h",
        cells=_capacities(((50, 6, 0.70, "25.5"), (9 * 2.5, 5, 0.65, "8.9"), (13 * 2.5, 5, 0.65, "12.8"), (17 * 2.5, 5, 0.63, "16.2"))),
        kind="table",
        source="isu-pm-696-2001",
        where="examples of the sheet",
    ),
    Pair(
        function="machine.field_capacity",
        case="30 ft at 5 mph, three efficiencies",
        unit="ac/h",
        cells=_capacities(((30, 5, 1.0, "18.2"), (30, 5, 0.8, "14.5"), (30, 5, 0.6, "10.9"))),
        kind="table",
        source="progressive-forage-capacity",
        where="example",
    ),
    Pair(
        function="machine.field_capacity",
        case="5 km/h over 20 m without and with 7.5 % lost",
        unit="ha/h",
        cells=(
            ("theoretical", "10", lambda: machine.field_capacity(5 / 3.6, 20, 1.0)),
            ("effective", "9.25", lambda: machine.field_capacity(5 / 3.6, 20, 0.925)),
        ),
        source="icar-machinery-lesson-6",
        where="worked example",
    ),
    Pair(
        function="machine.needed_capacity",
        case="1,600 ac in 8.3 suitable days of 14 h",
        published="13.8",
        unit="ac/h",
        compute=lambda: machine.needed_capacity(1600, 8.3, 14),
        source="isu-a3-25-2014",
        where="sizing example",
    ),
    Pair(
        function="machine.field_capacity",
        case="2.7 m at 4.5 km/h, 72 %",
        published="0.875",
        unit="ha/h",
        compute=lambda: machine.field_capacity(4.5 / 3.6, 2.7, 0.72),
        source="gate-agricultural-engineering",
        where="solution",
    ),
    Pair(
        function="machine.work_hours",
        case="15 ha at 0.875 ha/h",
        published="17.14",
        unit="h",
        compute=lambda: machine.work_hours(15, 0.875),
        source="gate-agricultural-engineering",
        where="solution",
    ),
    Pair(
        function="machine.work_hours",
        case="60 ac at 30 ac/h are the two hours gained",
        published="2",
        unit="h",
        compute=lambda: machine.work_hours(60, 30),
        source="lazarus-bulk-fill",
        where="as quoted in the farm press",
    ),
    Pair(
        function="machine.field_efficiency",
        case="0.75 h lost in 10 h",
        published="92.5",
        unit="%",
        compute=lambda: 100 * machine.field_efficiency(9.25, 0.75),
        source="icar-machinery-lesson-6",
        where="worked example",
    ),
)  # fmt: skip

_CALIBRATION = (
    Pair(
        function="machine.wheel_turns",
        case="50 ft on a wheel that rolls 60 in",
        published="10",
        unit="turns",
        compute=lambda: machine.wheel_turns(50 * FOOT_M, 60 * INCH_M),
        source="uky-drill-calibration",
        where="wheel turns",
    ),
    Pair(
        function="machine.distance_for_area",
        case="1/20 ac with 24 openers on 7.5 in",
        published="145.2",
        unit="ft",
        compute=lambda: machine.distance_for_area(ACRE_M2 / 20 / 1e4, 24 * 7.5 * INCH_M) / FOOT_M,
        source="southeast-drill-calibration",
        where="worked example",
    ),
    Pair(
        function="machine.distance_for_area",
        case="1/128 ac on 48, 46, 44 and 42 in rows",
        unit="ft",
        cells=tuple(
            (f"{inches} in", text, partial(_feet_for, ACRE_M2 / 128, inches))
            for inches, text in ((48, "85"), (46, "89"), (44, "93"), (42, "97"))
        ),
        kind="table",
        source="ncsu-calibration-2014",
        where="table of row lengths",
    ),
    Pair(
        function="machine.turns_for_area",
        case="100 ft² of one 7.5 in row with a wheel of 8 ft",
        published="20",
        unit="turns",
        compute=lambda: machine.turns_for_area(100 * FOOT_M**2 / 1e4, 8 * FOOT_M, 7.5 * INCH_M),
        source="soil-health-drill-sheet",
        where="area of one row",
    ),
    Pair(
        function="machine.caught_rate",
        case="18.75 g from 5 runs on 9 in over 100 ft, by the short-cut of twelve",
        published="5.0",
        unit="lb/ac",
        compute=lambda: from_metric(machine.caught_rate(0.01875, 100 * FOOT_M, 5 * 9 * INCH_M), "rate", "lb/ac"),
        source="canola-council-2010",
        where="catch formula with 12 for 11.524",
        trap=True,
        gap=12 / 11.5239 - 1,
        why="the factor 12 rounds 11.524 up by 4.1 %",
    ),
)

_LIQUIDS = (
    Pair(
        function="machine.water_factor",
        case="13 fluids by density in lb per US gallon",
        unit="-",
        cells=tuple(
            (f"{lb} lb/gal", text, partial(_factor_of, lb))
            for lb, text in (
                (6.6, ".89"), (7.0, ".92"), (8.0, ".98"), (8.34, "1.00"), (9.0, "1.04"), (10.0, "1.10"), (10.65, "1.13"), (11.0, "1.15"),
                (11.06, "1.15"), (11.4, "1.17"), (11.5, "1.17"), (11.6, "1.18"), (12.0, "1.20"),
            )
        ),
        kind="table",
        half_digits=2.0,
        why="the sheet rounds the specific gravity to two digits before it takes the root",
        source="unl-solutions-2016",
        where="conversion table",
    ),
    Pair(
        function="machine.water_factor",
        case="14 and 16 lb per US gallon",
        unit="-",
        cells=tuple(
            (f"{lb} lb/gal", text, partial(_factor_of, lb)) for lb, text in ((14, "1.30"), (16, "1.39"))
        ),
        kind="table",
        source="uga-sumner-solutions",
        where="conversion table",
    ),
    Pair(
        function="machine.nozzle_flow",
        case="30.3 gal/ac at 4 mph on 30 in",
        published="0.61",
        unit="gal/min",
        compute=lambda: machine.nozzle_flow(30.3 * US_GALLON_L / (ACRE_M2 / 1e4), 4 * MILE_M / 3600, 30 * INCH_M) / US_GALLON_L,
        source="extension-nozzle-flow",
        where="worked example",
    ),
)  # fmt: skip


def _standard_density(height_m: float) -> float:
    height = machine.geopotential_height(height_m)
    return machine.air_density(machine.standard_temperature(height), machine.standard_pressure(height))


def _saltation(method: SaltationMethod, **given: float) -> float:
    return machine.saltation_velocity(1.0, 1e-3, 1.2, 0.1, method=method, **given)


_CORRELATIONS: tuple[tuple[SaltationMethod, str, dict[str, float]], ...] = (
    ("matsumoto-1974", "19.583617317317895", {"particle_kg_m3": 1000.0, "terminal_m_s": 5.24}),
    ("matsumoto-1975", "18.04523091703009", {"particle_kg_m3": 1000.0, "terminal_m_s": 5.24}),
    ("matsumoto-1977", "16.64284834446686", {"particle_kg_m3": 1000.0, "terminal_m_s": 5.24}),
    ("schade", "13.697415809497912", {"particle_kg_m3": 1000.0}),
    ("weber", "15.227445436331474", {"terminal_m_s": 4.0}),
    ("geldart-ling", "7.467495862402707", {"viscosity_pa_s": 2e-5}),
)


_AIR = (
    Pair(
        function="machine.air_density",
        case="standard atmosphere from 0 to 5,000 m, 9 heights",
        unit="kg/m³",
        cells=tuple(
            (f"{h} m", text, partial(_standard_density, h))
            for h, text in (
                (0, "1.2250"), (300, "1.19011"), (500, "1.16727"), (600, "1.15598"), (700, "1.14478"), (1000, "1.11166"), (1500, "1.05810"),
                (2000, "1.00655"), (5000, "0.73643"),
            )
        ),
        kind="table",
        source="iso-2533",
        where="density by height",
    ),
    Pair(
        function="machine.standard_pressure",
        case="standard atmosphere at 5,000 m off a map",
        published="54048.29",
        unit="Pa",
        compute=lambda: machine.standard_pressure(machine.geopotential_height(5000)),
        source="iso-2533",
        where="example of the library's documentation",
    ),
    Pair(
        function="machine.orifice_flow",
        case="22.2 mm in a 73.9 mm duct, 1 kPa, 1.1646 kg/m³",
        published="0.01120390943807026",
        unit="kg/s",
        compute=lambda: machine.orifice_flow(0.0222, 1000, 1.1646, coefficient=0.5988, duct_m=0.0739, expansibility=0.9975),
        source="fluids-flow-meter",
        where="flow_meter_discharge, example; a check of the port",
    ),
    Pair(
        function="machine.saltation_velocity",
        case="900 kg/h of 0.1 mm sand in 78 mm",
        published="9.88",
        unit="m/s",
        compute=lambda: machine.saltation_velocity(0.25, 1e-4, 1.2, 0.078),
        source="rhodes-rizk",
        where="Rizk's example",
    ),
    Pair(
        function="machine.saltation_velocity",
        case="1 kg/s of 1 mm grains in 100 mm, six correlations",
        unit="m/s",
        cells=tuple((method, text, partial(_saltation, method, **given)) for method, text, given in _CORRELATIONS),
        source="fluids-saltation",
        where="examples of the documentation; a check of the port",
    ),
)  # fmt: skip

PAIRS: tuple[Pair, ...] = (*_CAPACITY, *_CALIBRATION, *_LIQUIDS, *_AIR)

_ROWS = (98.0, 103.0, 101.0, 95.0, 106.0, 99.0, 100.0, 97.0, 104.0, 102.0, 96.0, 99.0)


def _numpy_cv() -> float:
    import numpy as np

    return float(np.std(_ROWS, ddof=1) / np.mean(_ROWS))


def _t_half_width() -> float:
    from scipy.stats import t

    return float(t.ppf(0.975, 6) * 0.015 * 5.03 / 4)


def _free_jet() -> float:
    import math

    return math.pi * 0.01**2 * math.sqrt(1200)


def _two_exact_looks() -> tally.Balance:
    """4,000 kg in, then 500 kg after 2,800 turns: 1.25 kg/turn by hand."""
    steps = [
        tally.BalanceStep(turns=0, put_kg=4000, level_kg=4000, level_sd_kg=1e-6),
        tally.BalanceStep(turns=2800, level_kg=500, level_sd_kg=1e-6),
    ]
    return tally.balance(steps, tally.BalancePrior(mass_kg=0, mass_sd_kg=1, factor_kg_rev=1.2, factor_sd=0.1), q_factor=0.0)


def _by_hand(
    function: str, case: str, ours: Callable[[], float], other: float | Callable[[], float], *, tolerance: float = 1e-9
) -> Independent:
    """A closed form or a second library beside our value."""
    return Independent(
        function=function, case=case, how="closed form", tolerance=tolerance,
        compute=lambda: (float(ours()), float(other() if callable(other) else other)),
    )  # fmt: skip


INDEPENDENT: tuple[Independent, ...] = (
    Independent(
        function="machine.air_density",
        case="20 °C, 94 kPa, 50 % humidity",
        how="second library: CoolProp 8.0 gives 1.112245, psychrolib 2.5 1.111847 kg/m³, as computed with both",
        compute=lambda: (machine.air_density(20, 94_000, 0.5), 1.112245),
        tolerance=5e-4,
    ),
    _by_hand("machine.fan_laws", "three quarters of the speed", lambda: machine.fan_laws(6000, 4, 6, speed_ratio=0.75).power, 6 * 27 / 64),
    _by_hand(
        "machine.orifice_flow", "no duct: area x sqrt(2 rho dp)", lambda: machine.orifice_flow(0.02, 500, 1.2, coefficient=1.0), _free_jet
    ),
    _by_hand("machine.meter_speed", "121 kg/ha x 2 m/s x 16 m = 0.3872 kg/s", lambda: machine.meter_speed(121, 2, 16, 1.25), 0.3872 / 1.25),
    _by_hand("machine.meter_rate", "the way back", lambda: machine.meter_rate(0.3872 / 1.25, 2, 16, 1.25), 121),
    _by_hand("machine.speed_window", "high end by hand", lambda: machine.speed_window(125, 16, 1.25, 0.1, 1.0)[1], 6.25),
    _by_hand("machine.speed_window", "low end by hand", lambda: machine.speed_window(125, 16, 1.25, 0.1, 1.0)[0], 0.625),
    _by_hand("machine.turn_dose", "inner end: 25 / (25 - 8.15)", lambda: machine.turn_dose(25, 16.3)[0], 25 / 16.85),
    _by_hand("machine.turn_dose", "outer end: 25 / (25 + 8.15)", lambda: machine.turn_dose(25, 16.3)[1], 25 / 33.15),
    _by_hand("machine.head_balance", "7 and 6 outlets: 7/6 - 1", lambda: machine.head_balance([7, 6]).worst, 1 / 6),
    _by_hand("machine.head_balance", "share of the first of two heads", lambda: machine.head_balance([7, 6]).share[0], 0.5),
    _by_hand("machine.head_balance", "row of the first: 13/14", lambda: machine.head_balance([7, 6]).row_ratio[0], 13 / 14),
    _by_hand("machine.head_balance", "one of seven shut", lambda: machine.head_balance([7, 6]).when_one_shut[0], 1 / 6),
    _by_hand("machine.transport_lag", "16 m at 25 m/s x 0.8", lambda: machine.transport_lag(16, 25), 0.8),
    _by_hand(
        "machine.pulse_spacing",
        "7.6 km/h, 7.8 rpm, 24 flutes",
        lambda: machine.pulse_spacing(7.6 / 3.6, 7.8 / 60, 24),
        7.6 / 3.6 / (0.13 * 24),
    ),
    _by_hand("machine.wheel_calibration", "100 m over 520 pulses", lambda: machine.wheel_calibration([100.0], [520]).pulse_m, 100 / 520),
    _by_hand("machine.wheel_calibration", "its inverse", lambda: machine.wheel_calibration([100.0], [520]).pulses_m, 5.2),
    _by_hand("tally.catch_test", "(5.21 - 0.18) / 4", lambda: tally.catch_test([5.21], 4, tare_kg=0.18).factor_kg_rev, 1.2575),
    _by_hand("tally.catch_test", "spread of one catch is the prior", lambda: tally.catch_test([5.21], 4).cv, 0.015),
    _by_hand("tally.catch_test", "catches for 2 %", lambda: tally.catch_test([5.21], 4).catches_needed, 3),
    _by_hand("tally.catch_test", "upper end by SciPy's t", lambda: tally.catch_test([5.03], 4).high - 5.03 / 4, _t_half_width),
    _by_hand("tally.catch_test", "lower end by SciPy's t", lambda: 5.03 / 4 - tally.catch_test([5.03], 4).low, _t_half_width),
    _by_hand("tally.row_distribution", "NumPy, divisor n - 1", lambda: tally.row_distribution(_ROWS).cv, _numpy_cv),
    _by_hand("tally.row_distribution", "mean of twelve", lambda: tally.row_distribution(_ROWS).mean, 100.0),
    _by_hand("tally.row_distribution", "106 less 95 over 100", lambda: tally.row_distribution(_ROWS).range, 0.11),
    _by_hand("tally.factor_from_shown", "1.25 x 53 / 50", lambda: tally.factor_from_shown(1.25, 50, 53), 1.325),
    _by_hand("tally.balance", "factor from two exact looks", lambda: _two_exact_looks().factor_kg_rev[-1], 1.25, tolerance=1e-6),
    _by_hand("tally.balance", "mass at the second look", lambda: _two_exact_looks().mass_kg[-1], 500.0, tolerance=1e-6),
)
