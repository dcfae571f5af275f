"""Looking again and again without crying wolf more often: a cumulative sum from day to day, a falling limit within a day.

A test at 1 in 100 that is made after each of 40 passes alarms on far more than 1 in 100 good days. Two cures stand here. From day to
day a cumulative sum (CUSUM) is watched, whose limit is set by its *run length*: how many good days pass, on average, until it alarms for
nothing. Within a day the limit on a growing statistic starts high and falls with the fourth root of the share of the day that is done, set
so that one budget holds for some hundred looks: early looks find large errors, and the last look loses little.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import require_range

FloatArray = npt.NDArray[np.float64]
SLACK = 0.5
"""Usual slack of a cumulative sum: half of the shift to be found, in standard deviations. [-]"""
_NODES = 60
_POWER = 0.25  # between a limit that is the same all day and one that falls as 1 / sqrt(share)
_FROM_SHARE, _LOOKS, _GRID = 0.02, 300, 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Cusum:
    """up, down (n,): the two sums after each value [sd]; limit [sd]; alarm_at: position of the first value at which either is over the
    limit, None for none; since: position from which that sum has been above 0, so where the change most likely began; side: 1 up,
    -1 down, 0 without an alarm; shift: mean of the values from there to the alarm [sd]."""

    up: FloatArray
    down: FloatArray
    limit: float
    alarm_at: int | None
    since: int | None
    side: int
    shift: float


def cusum(values: Sequence[float] | FloatArray, *, limit: float, slack: float = SLACK) -> Cusum:
    """Two one-sided cumulative sums of standardised values; a value that is not-a-number is passed over.

    Parameters
    ----------
    values : array (n,)
        In order; each has mean 0 and standard deviation 1 when nothing is wrong. [sd]
    limit : float
        From `cusum_limit`. [sd]
    slack : float
        Taken off each value. [sd]

    Returns
    -------
    Cusum
        The sums, and the first alarm. [sd]

    References
    ----------
    definition: S = max(0, S + z - slack), and the same with -z.

    Examples
    --------
    >>> found = cusum([0, 0, 2, 2, 2, 2], limit=4)
    >>> found.alarm_at, found.since, found.side
    (4, 2, 1)
    """
    require_range("limit", limit, 0, low_open=True)
    require_range("slack", slack, 0)
    z = np.asarray(values, dtype=np.float64)
    up, down = np.zeros(z.size), np.zeros(z.size)
    high, low, from_up, from_down = 0.0, 0.0, 0, 0
    alarm: tuple[int, int, int] | None = None
    for k, value in enumerate(z):
        if math.isfinite(value):
            from_up, from_down = from_up if high > 0 else k, from_down if low > 0 else k
            high, low = max(0.0, high + value - slack), max(0.0, low - value - slack)
        up[k], down[k] = high, low
        if alarm is None and max(high, low) > limit:
            alarm = (k, from_up, 1) if high >= low else (k, from_down, -1)
    at, since, side = alarm if alarm is not None else (None, None, 0)
    shift = float(np.nanmean(z[since : at + 1])) if at is not None and since is not None else 0.0
    return Cusum(up=up, down=down, limit=limit, alarm_at=at, since=since, side=side, shift=shift)


def cusum_run_length(limit: float, *, slack: float = SLACK, shift: float = 0.0, two_sided: bool = True) -> float:
    """Mean number of values until a cumulative sum alarms: for nothing with `shift` 0, rightly with another.

    Parameters
    ----------
    limit : float
        Above which it alarms. [sd]
    slack : float
        Taken off each value. [sd]
    shift : float
        True mean of the values. [sd]
    two_sided : bool
        Both sums are watched; the mean rates of their alarms add up. [-]

    Returns
    -------
    float
        Mean run length. [values]

    References
    ----------
    definition: the integral equation of the run length, solved on Gauss-Legendre nodes; held against simulation.
    """
    require_range("limit", limit, 0, low_open=True)
    up = _one_sided_length(limit, slack, shift)
    return 1.0 / (1.0 / up + 1.0 / _one_sided_length(limit, slack, -shift)) if two_sided else up


@cache
def _nodes() -> tuple[FloatArray, FloatArray]:
    x, weight = np.polynomial.legendre.leggauss(_NODES)
    return x, weight


def _one_sided_length(limit: float, slack: float, shift: float) -> float:
    """L(s) = 1 + L(0) P(step <= -s) + integral over 0..limit of L(x) density(x - s) dx, at s = 0; a step is z - slack."""
    from scipy.special import ndtr

    x, weight = _nodes()
    x, weight = (x + 1) * limit / 2, weight * limit / 2
    at = np.append(x, 0.0)
    middle = at + shift - slack
    density = np.exp(-0.5 * (x[None, :] - middle[:, None]) ** 2) / math.sqrt(2 * math.pi) * weight
    system = np.eye(_NODES + 1)
    system[:, :_NODES] -= density
    system[:, _NODES] -= ndtr(-middle)
    return float(np.linalg.solve(system, np.ones(_NODES + 1))[-1])


def cusum_limit(run_length: float, *, slack: float = SLACK, two_sided: bool = True) -> float:
    """Limit at which a cumulative sum runs this long, on average, before it alarms for nothing.

    Parameters
    ----------
    run_length : float
        Mean number of values between false alarms. [values]
    slack : float
        Taken off each value. [sd]
    two_sided : bool
        Both sums are watched. [-]

    Returns
    -------
    float
        The limit. [sd]

    Examples
    --------
    >>> round(cusum_run_length(cusum_limit(100)), 6)
    100.0
    """
    require_range("run_length", run_length, 3.0, 1e5)
    return _limit_for(float(run_length), float(slack), two_sided)


@cache
def _limit_for(run_length: float, slack: float, two_sided: bool) -> float:
    """Sought once for each run length: the same sums are watched day after day."""
    from scipy.optimize import brentq

    def over(limit: float) -> float:
        return math.log(cusum_run_length(limit, slack=slack, two_sided=two_sided) / run_length)

    high = 1.0
    while over(high) < 0:
        high *= 1.5
    return float(brentq(over, 1e-3, high, xtol=1e-12, rtol=1e-14))


@cache
def _end_limit(alpha: float) -> float:
    """c such that |B(t)| / sqrt(t) passes c / t^0.25 anywhere in 0 < t <= 1 with probability alpha.

    In the logarithm of t, B(t) / sqrt(t) is a stationary process that forgets at a constant rate (Ornstein and Uhlenbeck), so one kernel
    carries its density from look to look; what has passed the limit is taken out. Looks before a fiftieth of the day add nothing.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtri

    step = math.log(1 / _FROM_SHARE) / _LOOKS
    x = (np.arange(_GRID) + 0.5) * 8.0 / _GRID  # the two sides are alike: the density is folded at 0
    keep = math.exp(-step / 2)
    from_same = np.exp(-0.5 * (x[:, None] - keep * x[None, :]) ** 2 / (1 - keep**2))
    from_other = np.exp(-0.5 * (x[:, None] + keep * x[None, :]) ** 2 / (1 - keep**2))
    kernel = from_same + from_other
    kernel /= kernel.sum(axis=0)
    share = np.exp(-step * np.arange(_LOOKS, -1, -1))
    start = np.exp(-0.5 * x**2)

    def passed(c: float) -> float:
        density = start / start.sum()
        for limit in c * share ** (_POWER - 0.5):
            density = kernel @ density * np.clip((limit - x) / (x[1] - x[0]) + 0.5, 0.0, 1.0)
        return 1.0 - float(density.sum())

    least = float(ndtri(1 - alpha / 2))
    return float(brentq(lambda c: math.log(passed(c) / alpha), least, least + 2.5, xtol=1e-6))


def often_looked_limit(share: float, alpha: float) -> float:
    """How many standard deviations a growing statistic must reach after a share of the day, however often one looks.

    Range: alpha between 0.0001 and 0.2; share above 0, at most 1.

    Parameters
    ----------
    share : float
        How much of the day's information is in. [-]
    alpha : float
        Chance of a false alarm in the whole day, both sides. [-]

    Returns
    -------
    float
        Limit: highest in the morning, falling with the fourth root of the share. [sd]

    References
    ----------
    definition: |B(t)| / sqrt(t) of a process B of independent steps, against c / t^0.25; c by carrying the density forward. Held
    against simulation.
    """
    require_range("share", share, 0, 1, low_open=True)
    require_range("alpha", alpha, 1e-4, 0.2)
    return _end_limit(alpha) * float(share ** (_POWER - 0.5))


def evidence_for_look(share: float | None, alpha: float) -> float:
    """Log-evidence that a look must show beyond what the one look of a day must; 0 for that one look.

    Parameters
    ----------
    share : float or None
        How much of the day is done at this look; None: there is one look a day only. [-]
    alpha : float
        Budget of false alarms of the whole day. [-]

    Returns
    -------
    float
        (limit of the look squared - limit of a single look squared) / 2. [-]
    """
    if share is None:
        return 0.0
    from scipy.special import ndtri

    return (often_looked_limit(share, alpha) ** 2 - float(ndtri(1 - alpha / 2)) ** 2) / 2
