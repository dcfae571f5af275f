"""Means, spreads, intervals and fitted lines: published statistics put through the functions that make them."""

from __future__ import annotations

import math
from collections.abc import Callable

from evenstand import agronomy, check, machine, tally
from evenstand.base.units import SHORT_TON_KG, from_metric, to_metric
from evenstand.verify.on_tally import NORRIS, emergence, nine_plots_values
from evenstand.verify.pairs import Independent, Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]


def _interval(function: str, cells: Cells) -> Pair:
    """A published interval put through a function: nine values, mean 4.35, standard error 0.266, at 50 %."""
    return Pair(
        function=function, case="50 % interval of nine values, mean 4.35, standard error 0.266", unit="as the data", cells=cells,
        source="ufl-on-farm-trials", where="confidence interval of nine plots, 8 degrees of freedom",
    )  # fmt: skip


def _spread(function: str, cv: Callable[[], float]) -> Pair:
    """A published coefficient of variation put through a function."""
    return Pair(
        function=function, case="coefficient of variation of fifty values, divisor n - 1", published="28.16422", unit="%",
        compute=lambda: 100 * cv(), source="seedcalc", where="example of the germination-time spread",
    )  # fmt: skip


def _kernels(values: list[float], confidence: float = 0.95) -> agronomy.KernelWeight:
    """The values as masses of thousand-kernel replicates."""
    return agronomy.kernel_weight(values, seeds=1000, confidence=confidence)


def _runs(values: list[float], confidence: float = 0.95) -> machine.WheelCalibration:
    """The values as metres a pulse, counted so long that whole pulses do not matter, judged by themselves alone."""
    pulses = 1e9
    return machine.wheel_calibration(
        [value * pulses for value in values], [pulses] * len(values), tape_sd_m=0.0, prior_dof=0.0, confidence=confidence
    )


def _catches(values: list[float]) -> tally.CatchTest:
    return tally.catch_test(values, 1, prior_dof=0)


_MEANS = (
    _interval(
        "agronomy.kernel_weight",
        (
            ("mean", "4.35", lambda: _kernels(nine_plots_values(), 0.5).tkw_g),
            ("low", "4.16", lambda: _kernels(nine_plots_values(), 0.5).low),
            ("high", "4.54", lambda: _kernels(nine_plots_values(), 0.5).high),
        ),
    ),
    _interval(
        "machine.wheel_calibration",
        (
            ("mean", "4.35", lambda: _runs(nine_plots_values(), 0.5).pulse_m),
            ("its inverse", "4.35", lambda: 1 / _runs(nine_plots_values(), 0.5).pulses_m),
            ("standard error", "0.266", lambda: _runs(nine_plots_values(), 0.5).sd),
            ("low", "4.16", lambda: _runs(nine_plots_values(), 0.5).low),
            ("high", "4.54", lambda: _runs(nine_plots_values(), 0.5).high),
        ),
    ),
    _interval(
        "tally.catch_test",
        (
            ("mean", "4.35", lambda: _catches(nine_plots_values()).factor_kg_rev),
            ("standard error", "0.266", lambda: _catches(nine_plots_values()).sd),
        ),
    ),
    _spread("agronomy.kernel_weight", lambda: _kernels(emergence()).cv),
    _spread("agronomy.stand_from_counts", lambda: agronomy.stand_from_counts(emergence(), 1.0).cv),
    _spread("machine.wheel_calibration", lambda: _runs(emergence()).cv),
    _spread("tally.catch_test", lambda: _catches(emergence()).cv),
)


def _ozone() -> tuple[float, float, float, float]:
    """The certified line as a bin: metres of x are turns, y what is missing from 2,000; (start, its sd, slope, its sd)."""
    points = sorted((x, y) for y, x in NORRIS)
    steps, before = [tally.BalanceStep(turns=0)], 0.0
    for x, y in points:
        steps.append(tally.BalanceStep(turns=x - before, level_kg=2000 - y, level_sd_kg=0.884796396144373))
        before = x
    prior = tally.BalancePrior(mass_kg=2000, mass_sd_kg=1e4, factor_kg_rev=1, factor_sd=1e2)
    found = tally.balance(steps, prior, q_factor=0.0)
    return 2000 - float(found.mass_kg[0]), float(found.mass_sd[0]), float(found.factor_kg_rev[-1]), float(found.factor_sd[-1])


_LINES = (
    Pair(
        function="tally.balance",
        case="36 readings of ozone as looks into a bin that empties by the slope, no drift",
        unit="as the data",
        cells=(
            ("start", "-0.2623231", lambda: _ozone()[0]),
            ("sd of the start", "0.232818", lambda: _ozone()[1]),
            ("slope", "1.0021168", lambda: _ozone()[2]),
            ("sd of the slope", "0.000429797", lambda: _ozone()[3]),
        ),
        source="nist-strd",
        where="Norris, certified values, to the digits that a vague prior leaves",
    ),
)


def _ratio(asked: float, seen: float, name: str) -> float:
    """Ratio of the slip of that name."""
    return next(slip.ratio for slip in check.typing_slip(asked, seen, sd=0.01) if slip.name == name)


_SLIPS = (
    Pair(
        function="check.typing_slip",
        case="lb/ac typed for kg/ha: 120 asked, 134.5 seen",
        published="1.1209",
        unit="-",
        compute=lambda: _ratio(120, 134.5, "lb/ac and kg/ha"),
        source="canadian-agronomist",
        where="factor",
    ),
    Pair(
        function="check.typing_slip",
        case="a bushel of flax set for one of canola: bushels a tonne of canola, from those of flax and the slip's ratio",
        published="44.0920",
        unit="bu/t",
        compute=lambda: 39.3680 * _ratio(120, 134.5, "56 and 50 lb/bu"),
        half_digits=6,
        why="printed to four decimals but rounded to three before",
        source="grains-council-1999",
        where="bushels per tonne",
    ),
    Pair(
        function="check.typing_slip",
        case="kg/ha typed for lb/ac: 120 asked, 107 seen",
        published="0.89",
        unit="-",
        compute=lambda: _ratio(120, 107, "lb/ac and kg/ha"),
        source="sk-agriculture-2014",
        where="factor",
    ),
    Pair(
        function="check.typing_slip",
        case="P2O5 for P and back: 40 asked, 91.7 seen; 100 asked, 43.6 seen",
        unit="-",
        cells=(
            ("P2O5 over P", "2.2914", lambda: _ratio(40, 91.7, "P and P₂O₅")),
            ("P over P2O5", "0.4364", lambda: _ratio(100, 43.6, "P and P₂O₅")),
        ),
        half_digits=2,
        why="one factor is the reciprocal of another that was rounded first",
        source="ifa-conversion",
        where="conversion factors",
    ),
)

PAIRS: tuple[Pair, ...] = (*_MEANS, *_LINES, *_SLIPS)


INDEPENDENT: tuple[Independent, ...] = (
    Independent(
        function="agronomy.kernel_weight",
        case="variance by (n sum x² - (sum x)²) / (n (n - 1)), as seed-testing rules write it",
        how="second formula",
        compute=lambda: (_kernels([3.1, 3.3, 3.2, 3.6]).cv, _by_sums([3.1, 3.3, 3.2, 3.6])),
    ),
    Independent(
        function="agronomy.stand_from_counts",
        case="one count of 10: exact Poisson interval by chi-square",
        how="second formula",
        compute=lambda: (agronomy.stand_from_counts([10], 1.0).high, _poisson_high(10)),
    ),
    Independent(
        function="check.typing_slip",
        case="three slips that match 120 asked, 134.5 seen: their weights are shares of one",
        how="closed form",
        compute=lambda: (sum(slip.weight for slip in _three_slips()), 1.0),
    ),
    Independent(
        function="check.typing_slip",
        case="the same: distances in logarithms, each against the first",
        how="closed form",
        compute=lambda: (sum(slip.z for slip in _three_slips()) / _three_slips()[0].z, _distances()),
    ),
    Independent(
        function="check.typing_slip",
        case="the same: kg/ha over lb/ac, pounds of canola over pounds of corn, tonnes over short tons",
        how="definition",
        compute=lambda: (
            _digest([slip.ratio for slip in _three_slips()]),
            _digest([to_metric(1, "rate", "lb/ac"), 56 / 50, 1e3 / SHORT_TON_KG]),
        ),
    ),
    Independent(
        function="units.from_metric",
        case="an acre is the international one: the US survey acre is 4 parts in a million larger",
        how="definition",
        compute=lambda: (from_metric(1, "area", "ac"), 1e4 / (43_560 * (1200 / 3937) ** 2) * (1200 / 3937 / 0.3048) ** 2),
        tolerance=1e-12,
    ),
)


def _three_slips() -> tuple[check.Slip, ...]:
    return check.typing_slip(120, 134.5, sd=0.01)


def _distances() -> float:
    """Sum of the logarithmic distances of all slips from what was seen, over that of the first."""
    apart = [abs(math.log(134.5 / 120 / ratio)) for ratio in (to_metric(1, "rate", "lb/ac"), 56 / 50, 1e3 / SHORT_TON_KG)]
    return sum(apart) / apart[0]


def _digest(ratios: list[float]) -> float:
    """Three numbers in one that notices each of them."""
    return ratios[0] + 2 * ratios[1] + 4 * ratios[2]


def _by_sums(values: list[float]) -> float:
    n, total, squares = len(values), sum(values), sum(value * value for value in values)
    return math.sqrt((n * squares - total * total) / (n * (n - 1))) / (total / n)


def _poisson_high(counted: int) -> float:
    from scipy.stats import chi2

    return float(chi2.ppf(0.975, 2 * counted + 2) / 2)
