"""A linear smoother for two states in closed 2 x 2 form: Kalman filter forward, disturbance smoother backward.

The backward pass is that of de Jong (1989), equal to Rauch, Tung and Striebel's where theirs exists; it inverts no covariance, so
states known exactly are no special case, and it gives for free how well one jump at any place would explain the observations.
Long series run compiled (numba), short ones as plain Python: the same function either way.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import RangeError

FloatArray = npt.NDArray[np.float64]
COMPILE_FROM = 400
"""Steps from which compiling pays; below, plain Python is done before a compiler has started. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Smoothed:
    """mean (n, 2) and cov (n, 2, 2): of the states after each step, with all that is known by the end; filtered, filtered_cov: with what
    was known by then; innovation (n,) and its variance (n,): not-a-number where nothing was observed; loglik: of all observations.

    jump, jump_var (n,): the one addition to the first state at that step that would explain the observations best, and its variance;
    slip, slip_var (n,): the same for an error of that observation. jump / sqrt(jump_var) is the likelihood-ratio statistic.
    Not-a-number where nothing later was observed.
    """

    mean: FloatArray
    cov: FloatArray
    filtered: FloatArray
    filtered_cov: FloatArray
    innovation: FloatArray
    variance: FloatArray
    loglik: float
    jump: FloatArray
    jump_var: FloatArray
    slip: FloatArray
    slip_var: FloatArray


def smooth(
    start: FloatArray,
    start_cov: FloatArray,
    transition: FloatArray,
    shift: FloatArray,
    noise: FloatArray,
    observed: FloatArray,
    observed_var: FloatArray,
    *,
    compiled: bool | None = None,
) -> Smoothed:
    """Smooth x[k] = T[k] x[k-1] + shift[k] + w, observed y[k] = x[k][0] + v.

    Parameters
    ----------
    start : array, shape (2,)
        Mean before the first step. [any]
    start_cov : array, shape (2, 2)
        Its covariance; zeros for states known exactly. [any]
    transition : array, shape (n, 2, 2)
        T of each step. [-]
    shift : array, shape (n, 2)
        Known addition of each step. [any]
    noise : array, shape (n, 2, 2)
        Covariance of w of each step. [any]
    observed : array, shape (n,)
        Observation of the first state after each step; not-a-number: none. [any]
    observed_var : array, shape (n,)
        Variance of v, above 0 where something was observed. [any]
    compiled : bool or None
        Run compiled; None: from `COMPILE_FROM` steps on. [-]

    Returns
    -------
    Smoothed
        For every step. [any]

    Raises
    ------
    RangeError
        If the shapes do not fit together, or an observation has no variance.

    References
    ----------
    P. de Jong, Smoothing and interpolation with the state-space model, Journal of the American Statistical Association 84, 1989; H. E.
    Rauch, F. Tung, C. T. Striebel, Maximum likelihood estimates of linear dynamic systems, AIAA Journal 3, 1965 (both from memory). Held
    against an independent library's smoother.
    """
    n = observed.shape[0]
    if transition.shape != (n, 2, 2) or shift.shape != (n, 2) or noise.shape != (n, 2, 2) or observed_var.shape != (n,):
        raise RangeError("the arrays do not have one entry for each step", where="transition, shift, noise", cure="Give n of each.")
    arrays = (start, start_cov, transition, shift, noise, observed, observed_var)
    floats = tuple(np.ascontiguousarray(a, dtype=np.float64) for a in arrays)
    run = _compiled() if (n >= COMPILE_FROM if compiled is None else compiled) else _pass
    *found, loglik, bad = run(*floats)
    if bad:
        raise RangeError("an observation has no variance above 0", where="observed_var", cure="Say how well it is known.")
    mean, cov, after, after_cov, innovation, variance, jump, jump_var, slip, slip_var = found
    return Smoothed(
        mean=mean,
        cov=cov,
        filtered=after,
        filtered_cov=after_cov,
        innovation=innovation,
        variance=variance,
        loglik=float(loglik),
        jump=jump,
        jump_var=jump_var,
        slip=slip,
        slip_var=slip_var,
    )


@cache
def _compiled() -> Callable[..., tuple[Any, ...]]:
    """The same pass, compiled. It runs on one thread."""
    from numba import njit

    run: Callable[..., tuple[Any, ...]] = njit(cache=True)(_pass)
    return run


def _pass(x0, p0, tr, shift, noise, obs, obs_var):  # type: ignore[no-untyped-def]
    """Filter and smoother written out, no matrix is ever formed; every array of `smooth` in its order, the likelihood, and whether an
    observation had no variance."""
    n = obs.shape[0]
    mean, cov = np.empty((n, 2)), np.empty((n, 2, 2))
    after, after_cov = np.empty((n, 2)), np.empty((n, 2, 2))
    innovation, variance = np.full(n, np.nan), np.full(n, np.nan)
    jump, jump_var = np.full(n, np.nan), np.full(n, np.nan)
    slip, slip_var = np.full(n, np.nan), np.full(n, np.nan)
    loglik, bad = 0.0, False
    m, c, a, b, d = x0[0], x0[1], p0[0, 0], p0[0, 1], p0[1, 1]  # covariance [[a, b], [b, d]]
    for k in range(n):
        t00, t01, t10, t11 = tr[k, 0, 0], tr[k, 0, 1], tr[k, 1, 0], tr[k, 1, 1]
        m, c = t00 * m + t01 * c + shift[k, 0], t10 * m + t11 * c + shift[k, 1]
        u0, u1 = t00 * a + t01 * b, t00 * b + t01 * d
        v0, v1 = t10 * a + t11 * b, t10 * b + t11 * d
        a, b, d = u0 * t00 + u1 * t01 + noise[k, 0, 0], u0 * t10 + u1 * t11 + noise[k, 0, 1], v0 * t10 + v1 * t11 + noise[k, 1, 1]
        mean[k, 0], mean[k, 1] = m, c  # what was expected waits where the smoothed states will stand: less memory to touch
        cov[k, 0, 0], cov[k, 0, 1], cov[k, 1, 1] = a, b, d
        if obs[k] == obs[k]:
            bad = bad or not obs_var[k] > 0.0
            s, e = a + obs_var[k], obs[k] - m
            s = s if s > 0.0 else 1.0
            innovation[k], variance[k] = e, s
            g0, g1 = a / s, b / s
            m, c = m + g0 * e, c + g1 * e
            a, b, d = obs_var[k] * g0, obs_var[k] * g1, d - g1 * b
            loglik -= 0.5 * (math.log(2.0 * math.pi * s) + e * e / s)
        after[k, 0], after[k, 1] = m, c
        after_cov[k, 0, 0], after_cov[k, 0, 1], after_cov[k, 1, 0], after_cov[k, 1, 1] = a, b, b, d
    r0, r1, n00, n01, n11 = 0.0, 0.0, 0.0, 0.0, 0.0  # weighted sum of later innovations, and its covariance
    for k in range(n - 1, -1, -1):
        if k < n - 1:  # back through the next step's transition
            t00, t01, t10, t11 = tr[k + 1, 0, 0], tr[k + 1, 0, 1], tr[k + 1, 1, 0], tr[k + 1, 1, 1]
            r0, r1 = t00 * r0 + t10 * r1, t01 * r0 + t11 * r1
            u0, u1 = t00 * n00 + t10 * n01, t00 * n01 + t10 * n11
            v0, v1 = t01 * n00 + t11 * n01, t01 * n01 + t11 * n11
            n00, n01, n11 = u0 * t00 + u1 * t10, u0 * t01 + u1 * t11, v0 * t01 + v1 * t11
        a, b, d = cov[k, 0, 0], cov[k, 0, 1], cov[k, 1, 1]
        if obs[k] == obs[k]:
            s, e = variance[k], innovation[k]
            g0, g1 = a / s, b / s
            weight = 1.0 / s + g0 * (n00 * g0 + n01 * g1) + g1 * (n01 * g0 + n11 * g1)
            slip[k], slip_var[k] = (e / s - g0 * r0 - g1 * r1) / weight, 1.0 / weight
            h0 = obs_var[k] / s  # 1 - gain of the first state
            r0, r1 = e / s + h0 * r0 - g1 * r1, r1
            m00 = 1.0 / s + h0 * h0 * n00 - 2.0 * h0 * g1 * n01 + g1 * g1 * n11
            n00, n01 = m00, h0 * n01 - g1 * n11
        if n00 > 0.0:
            jump[k], jump_var[k] = r0 / n00, 1.0 / n00
        mean[k, 0], mean[k, 1] = mean[k, 0] + a * r0 + b * r1, mean[k, 1] + b * r0 + d * r1
        w00, w01, w10, w11 = a * n00 + b * n01, a * n01 + b * n11, b * n00 + d * n01, b * n01 + d * n11
        cov[k, 0, 0] = a - (w00 * a + w01 * b)
        cov[k, 0, 1] = b - (w00 * b + w01 * d)
        cov[k, 1, 0] = cov[k, 0, 1]
        cov[k, 1, 1] = d - (w10 * b + w11 * d)
    return mean, cov, after, after_cov, innovation, variance, jump, jump_var, slip, slip_var, loglik, bad
