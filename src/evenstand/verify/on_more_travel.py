"""Wheel turns, areas, capacity and liquids: further figures for functions that have some already."""

from __future__ import annotations

import math
from collections.abc import Callable

from evenstand import machine
from evenstand.base.units import FOOT_M, LB_KG, US_GALLON_L, from_metric, to_metric
from evenstand.verify.pairs import Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]
_LB_GAL = LB_KG / (US_GALLON_L / 1e3)


def _acres_an_hour(mph: float, width_ft: float) -> float:
    return from_metric(machine.field_capacity(to_metric(mph, "speed", "mph"), width_ft * FOOT_M, 1.0), "capacity", "ac/h")


_WHEELS = (
    Pair(
        function="machine.rolled_distance",
        case="turns over 100 ft = 100 / (3.14 x diameter in ft): feet a turn for each foot of diameter",
        published="3.14",
        unit="ft",
        compute=lambda: machine.rolled_distance(FOOT_M) / FOOT_M,
        source="umd-drill-2019",
        where="turns of the wheel",
    ),
    Pair(
        function="machine.turns_for_area",
        case="the constant in the rule turns for 1/25 ha = constant / (pi x diameter x width)",
        published="400",
        unit="-",
        compute=lambda: machine.turns_for_area(0.04, machine.rolled_distance(1.2), 3.0) * math.pi * 1.2 * 3.0,
        exact=True,
        source="lecture-drill-turns",
        where="calibration",
    ),
    Pair(
        function="machine.distance_for_area",
        case="0.1 ha with five openers at 150 mm",
        published="1333.33",
        unit="m",
        compute=lambda: machine.distance_for_area(0.1, 5 * 0.150),
        source="drill-turns-solution",
        where="solution",
    ),
    Pair(
        function="machine.turns_for_area",
        case="0.1 ha with five openers at 150 mm and a wheel of 1,200 mm",
        published="354",
        unit="turns",
        compute=lambda: machine.turns_for_area(0.1, machine.rolled_distance(1.2), 5 * 0.150),
        source="drill-turns-solution",
        where="solution",
    ),
)

_OPENERS, _WHEEL_M = 9, 0.5
_ROLLER = {"factor_kg_rev": _OPENERS * 0.0068, "width_m": _OPENERS * 0.20}


def _rate_by_speed() -> float:
    """The same drill as a meter that turns once for two turns of the wheel, at 1.5 m/s."""
    wheel_rev_s = 1.5 / machine.rolled_distance(_WHEEL_M)
    return machine.meter_rate(wheel_rev_s / 2, 1.5, **_ROLLER)


_PRINTED_OPTION = "chosen from printed options that are up to 0.1 % off"
_DRILL = (
    Pair(
        function="machine.ground_drive_rate",
        case="9 rows at 20 cm, wheel 0.5 m, two turns of it for one of the roller, 6.8 g a turn and roller",
        published="108.32",
        unit="kg/ha",
        compute=lambda: machine.ground_drive_rate(gear_ratio=0.5, rolled_m=machine.rolled_distance(_WHEEL_M), **_ROLLER),
        half_digits=20,
        why=_PRINTED_OPTION,
        source="exam-drill-problems",
        where="drill of nine rows",
    ),
    Pair(
        function="machine.meter_rate",
        case="the same drill as a meter at 1.5 m/s",
        published="108.32",
        unit="kg/ha",
        compute=_rate_by_speed,
        half_digits=20,
        why=_PRINTED_OPTION,
        source="exam-drill-problems",
        where="drill of nine rows",
    ),
)

_CAPACITY = (
    Pair(
        function="machine.field_capacity",
        case="the constant in the rule ac/h = mph x ft x efficiency / constant",
        published="8.25",
        unit="-",
        compute=lambda: 1 / _acres_an_hour(1, 1),
        exact=True,
        source="uky-aen73-1991",
        where="effective field capacity",
    ),
    Pair(
        function="machine.field_capacity",
        case="the constant in equation 15.1, ha/h = km/h x m x efficiency / constant",
        published="10",
        unit="-",
        compute=lambda: 1 / machine.field_capacity(1 / 3.6, 1, 1.0),
        exact=True,
        source="srivastava-2006",
        where="equation 15.1",
    ),
    Pair(
        function="machine.field_capacity",
        case="9 m at 5 km/h, 95 %",
        published="4.28",
        unit="ha/h",
        compute=lambda: machine.field_capacity(5 / 3.6, 9, 0.95),
        source="capacity-lecture",
        where="worked example",
    ),
    Pair(
        function="machine.work_hours",
        case="120 ha at 3 ha/h",
        published="40",
        unit="h",
        compute=lambda: machine.work_hours(120, 3),
        source="nsw-work-rate",
        where="work rate",
    ),
)


def _five_gallons_of_water() -> float:
    """Pounds of five gallons of water, from five gallons of solution and its factor."""
    return 53.4 / machine.water_factor(53.4 / 5 * _LB_GAL) ** 2


_LIQUIDS = (
    Pair(
        function="machine.water_factor",
        case="a fluid of 8.0 lb a US gallon",
        published=".88",
        unit="-",
        compute=lambda: machine.water_factor(8.0 * _LB_GAL),
        source="liquid-table-copy",
        where="line of 8.0 lb/gal",
        trap=True,
        instead="0.98",
        why="misprint: the root of 0.96 is 0.98",
    ),
    Pair(
        function="machine.water_factor",
        case="five gallons of water, where five of solution weigh 53.4 lb and its specific gravity is 1.28",
        published="42.7",
        unit="lb",
        compute=_five_gallons_of_water,
        source="fluid-weighing-page",
        where="weights of five gallons",
        trap=True,
        instead="41.7",
        why="misprint: 42.7 lb would make the specific gravity 1.25, and the page itself prints 1.28",
    ),
)  # fmt: skip

PAIRS: tuple[Pair, ...] = (*_WHEELS, *_DRILL, *_CAPACITY, *_LIQUIDS)
