"""How plants are scattered: more evenly than chance, at random, or patchy; and what that makes of a mean."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from evenstand.base.errors import InputError, require_range

if TYPE_CHECKING:
    import numpy as np

Interval = Literal["t", "poisson", "quasi-poisson", "negative-binomial"]
INTERVALS: tuple[Interval, ...] = ("t", "poisson", "quasi-poisson", "negative-binomial")
Scatter = Literal["patchy", "random", "even", "cannot-tell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dispersion:
    """Index of dispersion of counts: variance over mean, 1 for random scatter [-]; p_patchy: chance of one as large under random scatter,
    p_even: of one as small [-]; verdict at 5 % on either side: "patchy", "random", "even", or "cannot-tell" with fewer than two counts
    or none found."""

    index: float
    p_patchy: float
    p_even: float
    verdict: Scatter


def dispersion_of(counts: Sequence[float]) -> Dispersion:
    """Whether plants stand patchy, at random, or more evenly than chance would have it.

    Parameters
    ----------
    counts : sequence of float, shape (n,)
        Plants on equal areas. [-]

    Returns
    -------
    Dispersion
        (n - 1) times the index follows chi-square with n - 1 degrees of freedom under random scatter. [-]

    Raises
    ------
    RangeError
        If a count is negative.

    References
    ----------
    definition: variance over mean of the counts.
    Standard statistics, from memory.

    Examples
    --------
    >>> dispersion_of([5, 60, 8, 72, 4, 66]).verdict
    'patchy'
    """
    from scipy.special import chdtr, chdtrc

    found = _array(counts)
    if found.size < 2 or float(found.sum()) == 0:
        return Dispersion(index=math.nan, p_patchy=math.nan, p_even=math.nan, verdict="cannot-tell")
    n = int(found.size)
    index = float(found.var(ddof=1)) / float(found.mean())
    p_patchy, p_even = float(chdtrc(n - 1, (n - 1) * index)), float(chdtr(n - 1, (n - 1) * index))
    verdict: Scatter = "patchy" if p_patchy < 0.05 else "even" if p_even < 0.05 else "random"
    return Dispersion(index=index, p_patchy=p_patchy, p_even=p_even, verdict=verdict)


def quasi_poisson_interval(counts: Sequence[float], *, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of the mean count whose variance is in proportion to it, on the logarithmic scale.

    The dispersion is taken from the counts but never below 1, so that it is no tighter than for random scatter; t with n - 1 degrees
    of freedom. Both bounds stay above zero.

    Parameters
    ----------
    counts : sequence of float, shape (n,)
        Plants on equal areas, two or more, not all of them none. [-]
    confidence : float
        Two-sided, 0 < confidence < 1. [-]

    Returns
    -------
    tuple of float
        (low, high) of the mean count. [-]

    Raises
    ------
    InputError
        With fewer than two counts, or none found.
    RangeError
        If a count is negative, or the confidence outside its range.

    References
    ----------
    definition: variance in proportion to the mean.
    Standard statistics (quasi-likelihood), from memory.
    """
    from scipy.special import stdtrit

    found = _checked(counts, confidence)
    n, total, mean = int(found.size), float(found.sum()), float(found.mean())
    dispersion = max(1.0, float(found.var(ddof=1)) / mean)
    half = float(stdtrit(n - 1, (1 + confidence) / 2)) * math.sqrt(dispersion / total)
    return mean * math.exp(-half), mean * math.exp(half)


def negative_binomial_interval(counts: Sequence[float], *, confidence: float = 0.95) -> tuple[float, float]:
    """Interval of the mean count of a patchy stand by the profile likelihood of the negative binomial.

    Parameters
    ----------
    counts : sequence of float, shape (n,)
        Plants on equal areas, two or more, not all of them none. [-]
    confidence : float
        Two-sided, 0 < confidence < 1. [-]

    Returns
    -------
    tuple of float
        (low, high) of the mean count; the drop of the deviance is held against t² with n - 1 degrees of freedom, wider than chi-square
        for few counts. [-]

    Raises
    ------
    InputError
        With fewer than two counts, or none found.
    RangeError
        If a count is negative, or the confidence outside its range.

    References
    ----------
    definition: the means whose profile likelihood is near enough to the best.
    Standard statistics (profile likelihood), from memory.
    """
    from scipy.optimize import brentq
    from scipy.special import stdtrit

    found = _checked(counts, confidence)
    n, mean = int(found.size), float(found.mean())
    allowed = float(stdtrit(n - 1, (1 + confidence) / 2)) ** 2
    best = _profile(found, mean)

    def excess(log_mean: float) -> float:
        return 2 * (best - _profile(found, math.exp(log_mean))) - allowed

    centre = math.log(mean)

    def edge(sign: int) -> float:
        step = 0.5
        while excess(centre + sign * step) < 0:
            step *= 2
            if step > 50:  # a likelihood that flattens out: no bound on this side
                return 0.0 if sign < 0 else math.inf
        return math.exp(brentq(excess, centre, centre + sign * step))

    return edge(-1), edge(1)


def counts_for_precision(cv: float, *, confidence: float = 0.95, precision: float = 0.1) -> int:
    """Counts in all so that t times cv over the root of their number comes to the precision; t is that of so many counts.

    The published rule (`counts_needed`) keeps the t of the counts made so far, which asks for far too many after two or three.

    Working: least n with t(n - 1) x cv <= precision x sqrt(n).

    Parameters
    ----------
    cv : float
        Coefficient of variation from place to place. [-]
    confidence : float
        Two-sided, 0 < confidence < 1. [-]
    precision : float
        Share of the mean, above zero. [-]

    Returns
    -------
    int
        Counts, two or more. [-]

    Raises
    ------
    RangeError
        If an argument is outside its range, or more than a million counts would be needed.

    References
    ----------
    missouri-nr3110: n = (t CV / E)², with the t of n itself.

    Examples
    --------
    >>> counts_for_precision(0.2)
    18
    """
    from scipy.special import stdtrit

    require_range("cv", cv, 0, math.inf, high_open=True)
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    require_range("precision", precision, 0, low_open=True)

    def enough(n: int) -> bool:
        return float(stdtrit(n - 1, (1 + confidence) / 2)) * cv <= precision * math.sqrt(n)

    low, high = 1, 2
    while not enough(high):
        low, high = high, 2 * high
        require_range("counts needed", high, 2, 2 * 1e6)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _profile(found: np.ndarray, mean: float) -> float:
    """Log-likelihood at a mean, the best over the clumping; terms without either left out."""
    from scipy.optimize import minimize_scalar
    from scipy.special import gammaln

    def minus(log_k: float) -> float:
        k = math.exp(log_k)
        ascent = gammaln(found + k) - gammaln(k) + k * math.log(k / (k + mean)) + found * math.log(mean / (k + mean))
        return -float(ascent.sum())

    found_best = minimize_scalar(minus, bounds=(math.log(0.05) - 2, math.log(1e6)), method="bounded")
    return -min(float(found_best.fun), minus(math.log(1e6)))


def _checked(counts: Sequence[float], confidence: float) -> np.ndarray:
    found = _array(counts)
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    if found.size < 2 or float(found.sum()) == 0:
        raise InputError("no spread to go by", where="counts", limit="two or more, and some plants", cure="Count more places.")
    return found


def _array(counts: Sequence[float]) -> np.ndarray:
    import numpy as np

    found = np.asarray(counts, dtype=float).ravel()
    for count in found:
        require_range("counts", float(count), 0, math.inf, high_open=True)
    return found
