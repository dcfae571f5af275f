"""How large what was found really is: the fault and the day's usual change of the same thing together.

A meter that was found 6 % heavy gave, on that day, its fault and its usual change at once; nobody can, or needs to, part the two. The
search for causes counts the usual change as noise, which is right for deciding *whether* something is wrong. The size that is said is
of the whole gain: the same rows without that usual change in their covariance, and a usual size wider by it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from evenstand.check.causes import usual
from evenstand.check.relations import System, label, overlap_shift, shared_covariance
from evenstand.solve.accounting import Hypotheses, account_for
from evenstand.solve.explaining import whitener

FloatArray = npt.NDArray[np.float64]
RATIOS = ("factor", "distance", "width", "slip", "lid")  # causes whose size is the natural logarithm of a ratio
_ROUNDS, _FAR = 8, 3.0


def whole_sizes(
    system: System, hypotheses: Hypotheses, members: Sequence[int], overlap: tuple[float, float]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Sizes and standard deviations of the causes found, each with the usual change of the same thing counted in.

    Parameters
    ----------
    system : System
        Relations of the day. [-]
    hypotheses : Hypotheses
        Of the search; their signatures are whitened anew. [-]
    members : sequence of int
        Variants that were found. [-]
    overlap : (float, float)
        Usual band of ground sown twice. [share]

    Returns
    -------
    (sizes, sds)
        In the order of `members`; of `RATIOS` the natural logarithm of the ratio. [unit of each cause]

    References
    ----------
    definition: for rows r = f (s + u) + e with s and u normal, s + u given r is normal; its prior variance is the sum of both.
    """
    names = {f"usual {label(system.variants[j])}" for j in members}
    widths = {n: _usual_spread(system, n) for n in names}
    without = [replace(r, gains={k: v for k, v in r.gains.items() if k not in names}) for r in system.relations]
    covariance = system.covariance - shared_covariance(system.relations) + shared_covariance(without)
    for j in members:
        if system.variants[j].startswith("factor:"):
            covariance = covariance + _of_the_day(system, system.variants[j].partition(":")[2], system.signatures[:, j])
    matrix = whitener(covariance)
    wide = [
        math.hypot(hypotheses.size_sd[j], widths[f"usual {label(system.variants[j])}"]) if np.isfinite(hypotheses.size_sd[j]) else math.inf
        for j in members
    ]
    sds = hypotheses.size_sd.copy()
    sds[list(members)] = wide
    open_size = replace(hypotheses, size_sd=sds)
    ratios = [(i, j) for i, j in enumerate(members) if label(system.variants[j]).partition(":")[0] in RATIOS]
    at = np.zeros(len(members))
    for _ in range(_ROUNDS if ratios else 1):
        residual, signatures = _about(system, ratios, at)
        shift = overlap_shift(system, matrix, *overlap)
        account = account_for(matrix @ residual, replace(open_size, signatures=matrix @ signatures), members, shift)
        new = np.array(account.sizes)
        moved, at = float(np.abs(new - at)[[i for i, _ in ratios]].max()) if ratios else 0.0, np.clip(new, -_FAR, _FAR)
        if moved < 1e-7:
            break
    return account.sizes, account.size_sds


def _about(system: System, ratios: Sequence[tuple[int, int]], at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Residual and signatures of the same day, with masses taken about the sizes so far: a meter of size s takes exp(s) times the mass, not
    1 + s, which at 15 % is a whole per cent too little."""
    residual, signatures = system.residual.copy(), system.signatures.copy()
    mass = np.array([r.scale == "mass" for r in system.relations], dtype=bool)
    for i, j in ratios:
        load, grown = system.signatures[:, j] * mass, math.exp(at[i])
        residual -= load * (grown - 1 - grown * at[i])
        signatures[:, j] += load * (grown - 1)
    return residual, signatures


def _of_the_day(system: System, a: str, load: FloatArray) -> FloatArray:
    """What changes in the covariance when the size is the mean of the day: a change from fill to fill then counts only as far as it
    leaves that mean. With weights w of the intervals, m = load: m (d - w'd) in place of m d. [kg squared]"""
    rows = np.array([r.key.startswith(f"mass:{a}@") for r in system.relations], dtype=bool)
    m = np.where(rows, load, 0.0)
    total = float(m.sum())
    if total <= 0:
        return np.zeros_like(system.covariance)
    between = np.diag(m) @ (np.eye(m.size) - np.outer(np.ones(m.size), m / total))
    variance = usual("factor-interval") ** 2 + usual("counting") ** 2
    return np.asarray(variance * (between @ between.T - np.diag(m**2)), dtype=np.float64)


def _usual_spread(system: System, gain: str) -> float:
    """One standard deviation of a usual gain in units of its cause: what it adds over what a unit of the cause adds. [unit of the cause]"""
    cause = gain.removeprefix("usual ")
    spreads = [
        abs(r.gains[gain] / load)
        for r in system.relations
        if gain in r.gains
        for variant, load in r.loads.items()
        if label(variant) == cause and load
    ]
    return max(spreads, default=0.0)
