"""How far an instrument really spreads, over what is said of it: learned from what it was off by before."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import InputError, require_range

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How far an instrument's errors really spread, over what is stated. value: factor on the stated standard deviation [-]; sd: its
    own standard deviation [-]; low, high: 95 % interval [-]; n: residuals behind it; set_aside: weight taken from residuals that lie
    far out, as a number of them [-]."""

    value: float
    sd: float
    low: float
    high: float
    n: int
    set_aside: float


def learned_scale(residuals: Sequence[float] | FloatArray, *, prior_dof: float = 6.0, prior_scale: float = 1.0, far: float = 3.0) -> Scale:
    """Factor on an instrument's stated standard deviation, learned from its past residuals.

    The variance has a scaled inverse chi-square prior around what is stated, worth `prior_dof` residuals; a residual further out than
    `far` of the scale itself counts for less (it was more likely a fault than the instrument), by the weight (far s / |z|)^2.

    Parameters
    ----------
    residuals : array (n,)
        Past errors over their stated standard deviations; not-a-number is passed over. [sd]
    prior_dof : float
        How many residuals the statement is worth. [-]
    prior_scale : float
        Scale expected before any residual. [-]
    far : float
        From where on a residual counts for less. [sd]

    Returns
    -------
    Scale
        1 with a wide interval without residuals. [-]

    Raises
    ------
    RangeError
        If a setting is not above 0.

    References
    ----------
    definition: posterior of a normal variance with a scaled inverse chi-square prior. common-practice: weight of what lies far out.

    Examples
    --------
    Twelve residuals twice as wide as stated:

    >>> round(learned_scale([2.0, -2.0] * 6).value, 3)
    1.732
    """
    require_range("prior_dof", prior_dof, 0, 1e6, low_open=True)
    require_range("prior_scale", prior_scale, 0, 1e3, low_open=True)
    require_range("far", far, 1.5, math.inf)
    z = np.asarray(residuals, dtype=np.float64)
    if z.ndim != 1:
        raise InputError(f"has shape {z.shape}", where="residuals", limit="one row")
    z = z[np.isfinite(z)]
    from scipy.special import chdtri

    squared = prior_scale**2
    weight = np.ones(z.size)
    for _ in range(200):
        beyond = np.abs(z) > far * math.sqrt(squared)
        weight = np.ones(z.size)
        weight[beyond] = far * far * squared / z[beyond] ** 2
        new = (prior_dof * prior_scale**2 + float(weight @ z**2)) / (prior_dof + float(weight.sum()))
        done = abs(new - squared) <= 1e-12 * squared
        squared = new
        if done:
            break
    dof = prior_dof + float(weight.sum())
    value = math.sqrt(squared)
    return Scale(
        value=value,
        sd=value / math.sqrt(2 * dof),
        low=value * math.sqrt(dof / float(chdtri(dof, 0.025))),
        high=value * math.sqrt(dof / float(chdtri(dof, 0.975))),
        n=int(z.size),
        set_aside=float((1 - weight).sum()),
    )


def learned_spread(
    values: Sequence[float] | FloatArray,
    sds: Sequence[float] | FloatArray,
    *,
    usual: float,
    prior_dof: float = 6.0,
    fault_share: float = 0.05,
    fault_width: float = 8.0,
) -> Scale:
    """Factor on the usual spread of something that is seen through errors of its own: how much a meter really moves from day to day.

    Each value is the thing itself, of mean 0 and unknown spread, plus a reading error of known standard deviation. The spread has a
    scaled inverse chi-square prior around `usual`; a small share of the values may be faults, `fault_width` times wider. Its posterior
    is summed on a grid, so no number of values is too small.

    Parameters
    ----------
    values : array (n,)
        What was seen on past days; not-a-number is passed over. [any]
    sds : array (n,)
        Standard deviation of each by its readings alone. [as the values]
    usual : float
        Spread expected before any day. [as the values]
    prior_dof : float
        How many days the expectation is worth. [-]
    fault_share : float
        Share of the days on which something was wrong that nobody found. [-]
    fault_width : float
        How much wider such values lie, over usual. [-]

    Returns
    -------
    Scale
        Factor on `usual`: root mean square of the posterior, and its interval; set_aside: how many values are likelier faults. [-]

    Raises
    ------
    InputError
        If values and sds do not pair up.
    RangeError
        If a setting is outside its range.

    References
    ----------
    definition: posterior of the spread between days in a normal model with known errors. common-practice: share and width of faults.
    """
    require_range("usual", usual, 0, low_open=True)
    require_range("prior_dof", prior_dof, 0, 1e6, low_open=True)
    require_range("fault_share", fault_share, 0, 0.5)
    require_range("fault_width", fault_width, 1.0, math.inf)
    v, s = np.asarray(values, dtype=np.float64), np.asarray(sds, dtype=np.float64)
    if v.ndim != 1 or v.shape != s.shape:
        raise InputError(f"{v.shape} values and {s.shape} sds do not pair up", where="values, sds", limit="one row of each")
    keep = np.isfinite(v) & np.isfinite(s)
    v, s = v[keep], s[keep]
    scale = np.exp(np.linspace(math.log(0.05), math.log(20.0), 1201))
    spread = usual * scale
    log_p = -prior_dof * np.log(scale) - prior_dof / (2 * scale**2)
    near = _normal(v[:, None], s[:, None] ** 2 + spread**2)
    far = _normal(v[:, None], s[:, None] ** 2 + (fault_width * usual) ** 2 + spread**2)
    log_p = log_p + np.log((1 - fault_share) * near + fault_share * far + 1e-300).sum(axis=0)
    p = np.exp(log_p - log_p.max())
    p /= p.sum()
    value = math.sqrt(float(p @ scale**2))
    low, high = np.interp([0.025, 0.975], np.cumsum(p), scale)
    bad = (fault_share * far / ((1 - fault_share) * near + fault_share * far + 1e-300)) @ p if v.size else np.zeros(0)
    return Scale(
        value=value,
        sd=math.sqrt(max(float(p @ (scale - float(p @ scale)) ** 2), 0.0)),
        low=float(low),
        high=float(high),
        n=int(v.size),
        set_aside=float(bad.sum()),
    )


def _normal(x: FloatArray, variance: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * x**2 / variance) / np.sqrt(2 * math.pi * variance), dtype=np.float64)
