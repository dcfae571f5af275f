"""Standard deviations, intervals and likelihoods that no source prints, against closed forms and linear algebra."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np

from evenstand import machine, tally
from evenstand.verify.pairs import Independent, Pair

PAIRS: tuple[Pair, ...] = ()

_T2 = 0.95 * math.sqrt(2 / (4 * 0.975 * 0.025))  # 97.5 % quantile of t with 2 degrees of freedom, in closed form
_COUNTS = (520.0, 522.0, 518.0)
_CATCHES = (98.0, 103.0, 101.0)


def _three_runs() -> machine.WheelCalibration:
    """Three runs of 100 m on a perfect tape, judged by themselves alone."""
    return machine.wheel_calibration([100.0] * 3, _COUNTS, tape_sd_m=0.0, prior_dof=0.0)


def _mean_sd(values: tuple[float, ...]) -> tuple[float, float]:
    mean = sum(values) / len(values)
    return mean, math.sqrt(sum((v - mean) ** 2 for v in values) / (len(values) - 1))


def _pulses() -> tuple[float, float]:
    return _mean_sd(tuple(100.0 / count for count in _COUNTS))


def _counting_share() -> float:
    """One run of 520 pulses: start and end lie anywhere in one pulse; the usual spread is half a per cent."""
    counting = (1 / 520 / math.sqrt(6)) ** 2
    return counting / (counting + 0.005**2)


def _looks() -> tally.Balance:
    """4,000 kg in, looked at twice: 2,800 turns lie between the looks, and the factor does not drift."""
    steps = [
        tally.BalanceStep(turns=0, put_kg=4000, put_sd_kg=30, level_kg=4010, level_sd_kg=40),
        tally.BalanceStep(turns=2800, level_kg=480, level_sd_kg=50),
    ]
    prior = tally.BalancePrior(mass_kg=0, mass_sd_kg=10, factor_kg_rev=1.2, factor_sd=0.1)
    return tally.balance(steps, prior, q_factor=0.0)


def _drifting() -> tally.Balance:
    """The same with a drift that is given."""
    steps = [tally.BalanceStep(turns=0, put_kg=4000, put_sd_kg=30), tally.BalanceStep(turns=2800, level_kg=480, level_sd_kg=50)]
    prior = tally.BalancePrior(mass_kg=0, mass_sd_kg=10, factor_kg_rev=1.2, factor_sd=0.1)
    return tally.balance(steps, prior, q_factor=2e-3)


@cache
def _by_least_squares() -> tuple[float, float, float]:
    """(sd of the mass at the end, sd of the factor, log-likelihood) of the same by one least-squares problem and one joint normal."""
    # unknown: mass after the fill, factor. Rows: fill, prior factor, first look, second look
    rows = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 0.0], [1.0, -2800.0]])
    sds = np.array([math.hypot(30, 10), 0.1, 40.0, 50.0])
    values = np.array([4000.0, 1.2, 4010.0, 480.0])
    covariance = np.linalg.inv(rows.T @ np.diag(sds**-2) @ rows)
    end = np.array([1.0, -2800.0])
    prior = np.diag(sds[:2] ** 2)
    joint = rows[2:] @ prior @ rows[2:].T + np.diag(sds[2:] ** 2)
    gap = values[2:] - rows[2:] @ values[:2]
    loglik = -0.5 * (gap @ np.linalg.solve(joint, gap) + np.linalg.slogdet(2 * math.pi * joint)[1])
    return float(math.sqrt(end @ covariance @ end)), float(math.sqrt(covariance[1, 1])), float(loglik)


def _check(
    function: str, case: str, ours: Callable[[], float], other: Callable[[], float], *, how: str = "closed form", tolerance: float = 1e-9
) -> Independent:
    return Independent(function=function, case=case, how=how, tolerance=tolerance, compute=lambda: (float(ours()), float(other())))


_WHEEL, _BALANCE, _HEADS = "machine.wheel_calibration", "tally.balance", "machine.head_balance"

INDEPENDENT: tuple[Independent, ...] = (
    _check(
        "machine.orifice_flow",
        "20 mm out of a wide space, 1,000 Pa",
        lambda: machine.orifice_flow(0.020, 1000, 1.2, coefficient=0.6),
        lambda: 0.6 * math.pi * 0.010**2 * math.sqrt(2 * 1.2 * 1000),
    ),
    _check(_WHEEL, "three runs, sd of their mean", lambda: _three_runs().sd / _pulses()[1], lambda: 1 / math.sqrt(3)),
    _check(_WHEEL, "three runs, spread", lambda: _three_runs().cv * _pulses()[0] / _pulses()[1], lambda: 1.0),
    _check(_WHEEL, "three runs, low end", lambda: (_pulses()[0] - _three_runs().low) / _pulses()[1], lambda: _T2 / math.sqrt(3)),
    _check(_WHEEL, "three runs, high end", lambda: (_three_runs().high - _pulses()[0]) / _pulses()[1], lambda: _T2 / math.sqrt(3)),
    _check(_WHEEL, "three runs, how many", lambda: _three_runs().runs, lambda: 3.0),
    _check(_WHEEL, "one run, share of counting", lambda: machine.wheel_calibration([100.0], [520]).counting_share, _counting_share),
    _check(_HEADS, "share of the second of two heads", lambda: machine.head_balance([7, 6]).share[1], lambda: 0.5),
    _check(_HEADS, "row of the second: 13/12", lambda: machine.head_balance([7, 6]).row_ratio[1], lambda: 13 / 12),
    _check(_HEADS, "one of six shut", lambda: machine.head_balance([7, 6]).when_one_shut[1], lambda: 1 / 5),
    _check("tally.catch_test", "one catch is known as well as usual", lambda: tally.catch_test([5.03], 4).sd, lambda: 0.015 * 5.03 / 4),
    _check("tally.row_distribution", "the odd row, from 1", lambda: tally.row_distribution(_CATCHES).worst_row, lambda: 1.0),
    _check("tally.row_distribution", "the odd row, by how much", lambda: tally.row_distribution(_CATCHES).worst * 302, lambda: -8.0),
    _check(
        _BALANCE, "sd of the mass at the end", lambda: _looks().mass_sd[-1], lambda: _by_least_squares()[0], how="least squares",
        tolerance=1e-6,
    ),
    _check(
        _BALANCE, "sd of the factor", lambda: 100 * _looks().factor_sd[-1], lambda: 100 * _by_least_squares()[1], how="least squares",
        tolerance=1e-6,
    ),
    _check(_BALANCE, "drift, as given", lambda: 1e3 * _drifting().q_factor, lambda: 2.0),
    _check(_BALANCE, "log-likelihood", lambda: _looks().loglik, lambda: _by_least_squares()[2], how="joint normal", tolerance=1e-6),
)  # fmt: skip
