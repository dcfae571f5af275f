"""Catch tests, rows, lines and mass balances against print and certified values."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from evenstand import tally
from evenstand.base.estimate import Est
from evenstand.verify.pairs import Independent, Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]

# NIST StRD, SiRstv: five instruments (as rows), five readings of each (as tests).
_SIRSTV = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403), (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811), (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)  # fmt: skip
# NIST StRD, AtmWtAg: the digits behind 107.868 of 24 readings with each of two instruments.
_ATMWTAG = (
    (1568, 1465, 1572, 1785, 1446, 1903, 1526, 1494, 1616, 1587, 1519, 1486, 1419, 1569, 1508, 1672, 1385, 1518, 1662, 1424, 1360, 1333,
     1610, 1477),
    (1079, 1344, 1513, 1197, 1604, 1385, 1642, 1365, 1151, 1082, 1517, 1448, 1198, 1482, 1334, 1609, 1101, 1512, 1469, 1360, 1254, 1261,
     1450, 1368),
)  # fmt: skip
# NIST StRD, Norris: (y, x), calibration of ozone monitors.
NORRIS = (
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5), (668.5, 666.3), (998.5, 996.3),
    (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4), (0.1, 0.6), (778.1, 775.5), (668.8, 666.9), (339.3, 338.0),
    (448.9, 447.5), (10.8, 11.6), (557.7, 556.0), (228.3, 228.1), (998.0, 995.8), (888.8, 887.6), (119.6, 120.2), (0.3, 0.3),
    (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2), (998.5, 999.0), (778.9, 779.0), (10.2, 11.1), (117.6, 118.3),
    (228.9, 229.2), (668.4, 669.1), (449.2, 448.9), (0.2, 0.5),
)  # fmt: skip
_PEARSON_X = (0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4)
_PEARSON_Y = (5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5)
_YORK_X = (1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0)
_YORK_Y = (1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0)


def _rows(groups: tuple[tuple[float, ...], ...]) -> tally.Distribution:
    """Groups as rows, repeats as tests."""
    return tally.row_distribution(np.array(groups).T)


def _row_f(groups: tuple[tuple[float, ...], ...]) -> float:
    return _rows(groups).row_f or math.nan


def _silver() -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(107.868 + digits * 1e-7 for digits in instrument) for instrument in _ATMWTAG)


def _norris() -> tally.CalibrationLine:
    return tally.calibration_line([x for _, x in NORRIS], [y for y, _ in NORRIS], 0.0, 1.0)


def _york() -> tally.CalibrationLine:
    return tally.calibration_line(_PEARSON_X, _PEARSON_Y, [w**-0.5 for w in _YORK_X], [w**-0.5 for w in _YORK_Y])


def nine_plots_values() -> list[float]:
    """Nine values with mean 4.35 and standard error 0.266."""
    half = 0.266 * 3  # eight squared distances over eight degrees of freedom
    return [4.35 + half, 4.35 - half] * 4 + [4.35]


def _nine_plots() -> tally.CatchTest:
    """One turn, no prior: the plain t interval at 50 %."""
    return tally.catch_test(nine_plots_values(), 1, prior_dof=0, confidence=0.5)


def emergence() -> list[float]:
    """Days of fifty seeds from their cumulative count 0 2 4 15 25 38 45 50 50 50."""
    cumulative = (0, 2, 4, 15, 25, 38, 45, 50, 50, 50)
    new = (b - a for a, b in zip((0, *cumulative[:-1]), cumulative, strict=True))
    return [float(day) for day, count in enumerate(new, 1) for _ in range(count)]


PAIRS: tuple[Pair, ...] = (
    Pair(
        function="tally.row_distribution",
        case="coefficient of variation of fifty values, divisor n - 1",
        published="28.16422",
        unit="%",
        compute=lambda: 100 * tally.row_distribution(emergence()).cv,
        source="seedcalc",
        where="example of the germination-time spread",
    ),
    Pair(
        function="tally.row_distribution",
        case="rows against tests: certified F of two data sets",
        unit="-",
        cells=(
            ("SiRstv", "1.18046237440", lambda: _row_f(_SIRSTV)),
            ("AtmWtAg", "15.94673", lambda: _row_f(_silver())),
        ),
        source="nist-strd",
        where="certified F statistic; AtmWtAg to the digits that ten-digit readings carry in double precision",
    ),
    Pair(
        function="tally.calibration_line",
        case="ozone monitors, 36 points, y uncertain only",
        unit="as the data",
        cells=(
            ("start", "-0.262323073774", lambda: _norris().start),
            ("slope", "1.00211681802045", lambda: _norris().slope),
            ("sd of the start", "0.232818234301", lambda: _norris().start_sd * _norris().scatter),
            ("sd of the slope", "0.000429796848200", lambda: _norris().slope_sd * _norris().scatter),
            ("residual sd", "0.884796396144", lambda: _norris().scatter),
        ),
        source="nist-strd",
        where="Norris, certified values",
    ),
    Pair(
        function="tally.calibration_line",
        case="ten points uncertain both ways",
        unit="as the data",
        cells=(
            ("start", "5.47991022403", lambda: _york().start),
            ("slope", "-0.48053340745", lambda: _york().slope),
            ("sd of the start", "0.294971", lambda: _york().start_sd),
            ("sd of the slope", "0.057985", lambda: _york().slope_sd),
        ),
        source="york-pearson",
        where="result of Williamson; standard deviations as in a public test of another project",
    ),
    Pair(
        function="tally.catch_test",
        case="plain 50 % t interval of nine values, mean 4.35, standard error 0.266",
        unit="as the data",
        cells=(("low", "4.16", lambda: _nine_plots().low), ("high", "4.54", lambda: _nine_plots().high)),
        source="ufl-on-farm-trials",
        where="confidence interval of nine plots",
    ),
)


def _three_looks() -> tally.Balance:
    """No drift, vague start: the factor is the weighted line through three looks."""
    looks = ((1000.0, 2770.0), (2000.0, 1480.0), (3000.0, 260.0))
    steps = [tally.BalanceStep(turns=1000, level_kg=kg, level_sd_kg=20) for _, kg in looks]
    return tally.balance(steps, tally.BalancePrior(mass_kg=4000, mass_sd_kg=1e6, factor_kg_rev=1.2, factor_sd=1e3), q_factor=0.0)


def _line_of_looks() -> tally.CalibrationLine:
    return tally.calibration_line([1000, 2000, 3000], [2770, 1480, 260], 0.0, 20.0)


def _bad_fill() -> tally.BadTicket:
    """Every look exact to 1 kg, 1.25 kg a turn, and 1,900 kg written down that never went in."""
    steps, mass = [], 0.0
    for k in range(6):
        mass += 4000
        steps.append(tally.BalanceStep(turns=0, put_kg=4000 + (1900 if k == 3 else 0), put_sd_kg=5))
        for _ in range(2):
            mass -= 1250
            steps.append(tally.BalanceStep(turns=1000, level_kg=mass, level_sd_kg=1))
    prior = tally.BalancePrior(mass_kg=0, mass_sd_kg=1, factor_kg_rev=1.25, factor_sd=0.05)
    return tally.balance(steps, prior, q_factor=1e-8).bad_tickets[0]


def _two_tests() -> tally.Distribution:
    return tally.row_distribution(np.array([[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]]))


def _f_tail() -> float:
    from scipy.stats import f

    return float(f.sf(_row_f(_SIRSTV), 4, 20))


def _bag() -> tally.CatchBand:
    return tally.expected_catch(Est(value=1.25), 4, tare_kg=0.18)


def _independent(function: str, case: str, ours: Callable[[], float], other: Callable[[], float], tolerance: float = 1e-9) -> Independent:
    return Independent(
        function=function, case=case, how="closed form", compute=lambda: (float(ours()), float(other())), tolerance=tolerance
    )  # fmt: skip


INDEPENDENT: tuple[Independent, ...] = (
    _independent(
        "tally.balance", "no drift: minus the slope of a line", lambda: _three_looks().factor_kg_rev[-1],
        lambda: -_line_of_looks().slope, 1e-6,
    ),
    _independent("tally.balance", "its standard deviation", lambda: _three_looks().factor_sd[-1], lambda: _line_of_looks().slope_sd, 1e-5),
    _independent("tally.balance", "a doubled entry: its step", lambda: _bad_fill().step, lambda: 9),
    _independent("tally.balance", "a doubled entry: its size", lambda: _bad_fill().size_kg, lambda: -1900, 1e-2),
    _independent("tally.balance", "a doubled entry: size over sd", lambda: _bad_fill().z, lambda: _bad_fill().size_kg / _bad_fill().sd_kg),
    _independent("tally.row_distribution", "probability of F, by SciPy", lambda: _rows(_SIRSTV).row_p or math.nan, _f_tail),
    _independent("tally.row_distribution", "tests counted", lambda: _two_tests().tests, lambda: 2),
    _independent(
        "tally.row_distribution", "flow from test to test", lambda: _two_tests().flow_cv or math.nan,
        lambda: math.sqrt(4.5) / 7.5,
    ),
    _independent(
        "tally.split_ticket", "the sum is the ticket where the ticket is exact",
        lambda: tally.split_ticket(Est(value=19840), [Est(value=7000, sd=300), Est(value=12000, sd=500)]).total.value, lambda: 19840,
    ),
    _independent("tally.expected_catch", "factor times turns and the bag", lambda: _bag().expected_kg, lambda: 5.18),
    _independent("tally.field_dose", "4,000 kg less 400 over 30 ha", lambda: tally.field_dose(0, 4000, 400, 30), lambda: 120),
    _independent("tally.factor_from_dose", "5 % heavy with all else right", lambda: tally.factor_from_dose(1.25, 126, 120), lambda: 1.3125),
)  # fmt: skip
