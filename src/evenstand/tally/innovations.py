"""Whether looks into a bin came out as they were expected to: each alone, all together, and one after the other."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.tally.masses import ALARM

FloatArray = npt.NDArray[np.float64]
_ODD = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class InnovationTest:
    """n: looks; chi2: sum of their squares [-], p: probability of one as large [-]; worst: the largest of them [sd], worst_step: where,
    from 0, None without looks; limit: beyond which one alone alarms [sd]; mean_z: their mean over its own spread [sd]; lag: correlation
    of each with the one before [-], lag_z: over its spread [sd]; holds: whether none of the four alarms, one time in a thousand for
    nothing."""

    n: int
    chi2: float
    p: float
    worst: float
    worst_step: int | None
    limit: float
    mean_z: float
    lag: float
    lag_z: float
    holds: bool


def look_limit(looks: int) -> float:
    """How far one of several looks may lie from what was expected, one false alarm in a thousand for all of them. [sd]

    Parameters
    ----------
    looks : int
        How many, 1 or more. [-]
    """
    from scipy.special import ndtri

    return float(ndtri(1 - ALARM / (2 * max(looks, 1))))


def innovation_test(z: FloatArray) -> InnovationTest:
    """Test standardised innovations: if the model is right they are independent, of mean 0 and spread 1.

    Range: any length; without a look it holds.

    Parameters
    ----------
    z : array (n,)
        In order; not-a-number where nobody looked. [sd]

    Returns
    -------
    InnovationTest
        Each alone, all together (too wide a spread), their mean (a steady error), and one after the other. [-]

    References
    ----------
    definition: sum of squares is chi-square of n; the mean times root n and the lag-one correlation times root n are standard normal.
    """
    from scipy.special import chdtrc, ndtri

    steps = np.flatnonzero(~np.isnan(z))
    seen = z[steps]
    n = int(seen.size)
    if n == 0:
        return InnovationTest(
            n=0, chi2=0.0, p=1.0, worst=0.0, worst_step=None, limit=look_limit(1), mean_z=0.0, lag=0.0, lag_z=0.0, holds=True
        )
    chi2 = float(seen @ seen)
    worst = int(np.argmax(np.abs(seen)))
    lag_sum = float(seen[1:] @ seen[:-1])
    lag = lag_sum / chi2 if chi2 > 0 else 0.0
    lag_z = lag_sum / math.sqrt(n - 1) if n > 1 else 0.0
    p, mean_z, limit = float(chdtrc(n, chi2)), float(seen.sum() / math.sqrt(n)), look_limit(n)
    far = float(ndtri(1 - _ODD / 8))  # four tests share the budget
    # products of normal numbers have longer tails than normal ones: one sd more for the last
    holds = p > _ODD / 4 and abs(seen[worst]) <= limit and abs(mean_z) <= far and abs(lag_z) <= far + 1.0
    return InnovationTest(
        n=n, chi2=chi2, p=p, worst=float(seen[worst]), worst_step=int(steps[worst]), limit=limit, mean_z=mean_z, lag=lag, lag_z=lag_z,
        holds=bool(holds),
    )  # fmt: skip
