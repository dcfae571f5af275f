"""The mean of a few repeats, judged by what was seen and by how well such repeats usually agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import RangeError, require_range


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeats:
    """mean and sd of the mean [unit of the values]; low, high: interval; sd_each: spread of one value, prior and data together;
    cv: sd_each / mean [-]; dof: degrees of freedom of sd_each; t: quantile used; seen_sd: spread of the data alone, None for one
    value; odd: probability of a spread as wide as seen if the prior were right, None for one value or without a prior [-]."""

    mean: float
    sd: float
    low: float
    high: float
    sd_each: float
    cv: float
    dof: float
    t: float
    n: int
    seen_sd: float | None
    odd: float | None


def student_t(probability: float, dof: float) -> float:
    """Quantile of Student's t distribution.

    Parameters
    ----------
    probability : float
        Cumulative probability, between 0 and 1. [-]
    dof : float
        Degrees of freedom, above 0; infinite gives the normal distribution. [-]

    Returns
    -------
    float
        The quantile. [-]
    """
    from scipy.special import ndtri, stdtrit

    return float(ndtri(probability) if math.isinf(dof) else stdtrit(dof, probability))


def pooled_variance(values: npt.NDArray[np.float64], prior_variance: float, prior_dof: float) -> tuple[float, float]:
    """Variance of one value from a prior and the data: the mean of a scaled inverse chi-square posterior's scale.

    Parameters
    ----------
    values : ndarray, shape (n,)
        The repeats. [any]
    prior_variance : float
        Variance expected of one value. [unit squared]
    prior_dof : float
        How many degrees of freedom the expectation is worth; 0 for none. [-]

    Returns
    -------
    tuple of float
        (variance, degrees of freedom): (prior_dof prior + sum of squares) / (prior_dof + n - 1). [unit squared, -]
    """
    dof = prior_dof + values.size - 1
    squares = float(((values - values.mean()) ** 2).sum())
    return (prior_dof * prior_variance + squares) / dof, dof


def mean_of_repeats(
    values: Sequence[float] | npt.NDArray[np.float64],
    *,
    prior_cv: float,
    own_sd: float = 0.0,
    shared_sd: float = 0.0,
    prior_dof: float = 6.0,
    confidence: float = 0.95,
) -> Repeats:
    """Mean of one or more repeats with an interval that is neither nonsense at n = 2 nor blind to the data at n = 20.

    The variance of one value has a scaled inverse chi-square prior (scale prior_cv mean, plus own_sd), so the mean has Student's t
    with prior_dof + n - 1 degrees of freedom. An error common to all values does not shrink with n; it enters the interval by
    the Welch-Satterthwaite rule.

    Parameters
    ----------
    values : array_like, shape (n,)
        The repeats, n >= 1. [any]
    prior_cv : float
        Usual repeatability, relative to the mean. [-]
    own_sd : float
        Reading error of each value by itself, such as a scale's division. [unit of the values]
    shared_sd : float
        Error common to all values, such as the tape or the tare. [unit of the values]
    prior_dof : float
        Degrees of freedom the prior is worth; 0 gives the plain t interval and needs n >= 2. [-]
    confidence : float
        Of the interval, two-sided. [-]

    Returns
    -------
    Repeats
        Mean, standard deviation, interval and spread. [unit of the values]

    Raises
    ------
    RangeError
        If there is no value, or only one without a prior, or an argument is outside its range.
    """
    x = np.asarray(values, dtype=float)
    if x.ndim != 1 or x.size == 0 or not np.isfinite(x).all():
        raise RangeError("the repeats are no list of numbers", where="values", cure="Give at least one number.")
    require_range("prior_cv", prior_cv, 0.0, 1.0)
    require_range("own_sd", own_sd, 0.0, math.inf, high_open=True)
    require_range("shared_sd", shared_sd, 0.0, math.inf, high_open=True)
    require_range("prior_dof", prior_dof, 0.0, math.inf, high_open=True)
    require_range("confidence", confidence, 0.0, 1.0, low_open=True, high_open=True)
    if prior_dof + x.size - 1 <= 0:
        raise RangeError("one value says nothing of its own spread", where="prior_dof", cure="Repeat, or trust a usual repeatability.")
    mean = float(x.mean())
    prior_variance = (prior_cv * mean) ** 2 + own_sd**2
    variance, dof = pooled_variance(x, prior_variance, prior_dof)
    of_mean = variance / x.size
    total = of_mean + shared_sd**2
    effective = dof if shared_sd == 0 or of_mean == 0 else dof * (total / of_mean) ** 2
    t = student_t(0.5 + confidence / 2, effective)
    sd = math.sqrt(total)
    return Repeats(
        mean=mean,
        sd=sd,
        low=mean - t * sd,
        high=mean + t * sd,
        sd_each=math.sqrt(variance),
        cv=math.sqrt(variance) / abs(mean) if mean else math.inf,
        dof=dof,
        t=t,
        n=x.size,
        seen_sd=float(x.std(ddof=1)) if x.size > 1 else None,
        odd=_odd(x, prior_variance, prior_dof),
    )


def _odd(x: npt.NDArray[np.float64], prior_variance: float, prior_dof: float) -> float | None:
    """Probability of a spread as wide as this one if the prior holds: an F test, the prior being worth `prior_dof`. [-]"""
    if x.size < 2 or prior_dof == 0 or prior_variance == 0:
        return None
    from scipy.special import fdtrc

    return float(fdtrc(x.size - 1, prior_dof, float(x.var(ddof=1)) / prior_variance))
