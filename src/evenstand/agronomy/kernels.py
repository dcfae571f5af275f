"""Seeds by weight: thousand-kernel weight, and the same thing as seeds in a kilogram."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenstand.base.errors import InputError, require_range
from evenstand.base.estimate import Est
from evenstand.base.worked import worked
from evenstand.reference import figure


@worked(formula="1e6 / tkw_g", source="definition")
def seeds_per_kg(tkw_g: float) -> float:
    """Seeds in a kilogram.

    Parameters
    ----------
    tkw_g : float
        Mass of a thousand kernels. [g]

    Returns
    -------
    float
        Seeds. [1/kg]

    Raises
    ------
    RangeError
        Unless tkw_g is above zero.
    """
    require_range("tkw_g", tkw_g, 0, low_open=True, unit="g")
    return 1e6 / tkw_g


@worked(formula="1e6 / seeds_kg", source="definition")
def tkw_from_seeds_per_kg(seeds_kg: float) -> float:
    """Thousand-kernel weight from seeds in a kilogram.

    Parameters
    ----------
    seeds_kg : float
        Seeds. [1/kg]

    Returns
    -------
    float
        Mass of a thousand kernels. [g]

    Raises
    ------
    RangeError
        Unless seeds_kg is above zero.
    """
    require_range("seeds_kg", seeds_kg, 0, low_open=True, unit="1/kg")
    return 1e6 / seeds_kg


@worked(formula="1000 * mass_g / seeds", source="definition")
def tkw_from_count(seeds: float, mass_g: float) -> float:
    """Thousand-kernel weight from seeds counted in a weighed sample.

    Parameters
    ----------
    seeds : float
        Seeds counted. [-]
    mass_g : float
        What they weigh. [g]

    Returns
    -------
    float
        Mass of a thousand kernels. [g]

    Raises
    ------
    RangeError
        Unless both are above zero.
    """
    require_range("seeds", seeds, 0, low_open=True)
    require_range("mass_g", mass_g, 0, low_open=True, unit="g")
    return 1000 * mass_g / seeds


@worked(formula="bare_tkw_g / (1 - coating)", source="definition", where="coating is a share of the coated mass")
def coated_tkw(bare_tkw_g: float, coating: float) -> float:
    """Thousand-kernel weight of coated seed from that of bare seed.

    Parameters
    ----------
    bare_tkw_g : float
        Mass of a thousand bare kernels. [g]
    coating : float
        Share of the coated seed's mass that is coating, 0 <= coating < 1. [-]

    Returns
    -------
    float
        Mass of a thousand coated kernels. [g]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("bare_tkw_g", bare_tkw_g, 0, low_open=True, unit="g")
    require_range("coating", coating, 0, 1, high_open=True)
    return bare_tkw_g / (1 - coating)


@worked(formula="coated_tkw_g * (1 - coating)", source="definition", where="coating is a share of the coated mass")
def bare_tkw(coated_tkw_g: float, coating: float) -> float:
    """Thousand-kernel weight of the seed inside a coating.

    Parameters
    ----------
    coated_tkw_g : float
        Mass of a thousand coated kernels. [g]
    coating : float
        Share of the coated seed's mass that is coating, 0 <= coating < 1. [-]

    Returns
    -------
    float
        Mass of a thousand bare kernels. [g]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("coated_tkw_g", coated_tkw_g, 0, low_open=True, unit="g")
    require_range("coating", coating, 0, 1, high_open=True)
    return coated_tkw_g * (1 - coating)


def weighed_sample(seeds: int, mass_g: float, *, kernel_cv: float = 0.0, scale_division_g: float = 0.0, miscounted: float = 0.0) -> Est:
    """Thousand-kernel weight from one counted and weighed sample, with its error.

    Parameters
    ----------
    seeds : int
        Seeds counted. [-]
    mass_g : float
        What they weigh. [g]
    kernel_cv : float
        How much single kernels vary, sd over mean; 0 leaves the sampling error out. [-]
    scale_division_g : float
        Smallest step of the scale; the error of rounding is a step over the root of twelve. [g]
    miscounted : float
        Seeds by which the count may be out, one standard deviation. [-]

    Returns
    -------
    Est
        Mass of a thousand kernels. [g]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    >>> tkw = weighed_sample(500, 19.0, kernel_cv=0.2, scale_division_g=0.1)
    >>> round(tkw.value, 2), round(tkw.sd, 2)
    (38.0, 0.34)
    """
    require_range("kernel_cv", kernel_cv, 0)
    require_range("scale_division_g", scale_division_g, 0, unit="g")
    require_range("miscounted", miscounted, 0)
    value = tkw_from_count(seeds, mass_g)
    share = math.hypot(kernel_cv / math.sqrt(seeds), scale_division_g / math.sqrt(3 * 4) / mass_g, miscounted / seeds)
    return Est(value=value, sd=value * share, basis="measured", source="one counted sample")


@dataclass(frozen=True, slots=True, kw_only=True)
class KernelWeight:
    """tkw_g with its interval low to high [g]; cv of the replicates [-]; n replicates; repeat: whether they vary more than the
    usual limit, which is written from memory and not confirmed; est: the weight with the sd of its mean [g]."""

    tkw_g: float
    low: float
    high: float
    cv: float
    n: int
    repeat: bool

    @property
    def est(self) -> Est:
        """The weight with its sampling error. [g]"""
        return Est(value=self.tkw_g, sd=self.cv * self.tkw_g / math.sqrt(self.n), basis="measured", source="weighed replicates")


def kernel_weight(masses_g: Sequence[float], *, seeds: int = 100, confidence: float = 0.95) -> KernelWeight:
    """Thousand-kernel weight from weighed replicates.

    Parameters
    ----------
    masses_g : sequence of float, shape (n,)
        Masses of replicates of `seeds` kernels, at least two; testing rules ask for eight. [g]
    seeds : int
        Kernels in a replicate. [-]
    confidence : float
        Of the interval, 0 < confidence < 1. [-]

    Returns
    -------
    KernelWeight
        Mean, t interval and variation. [g]

    Raises
    ------
    InputError
        With fewer than two replicates.
    RangeError
        If a mass, the count or the confidence is outside its range.

    References
    ----------
    Association of Official Seed Analysts, Rules for testing seeds, Appendix 4 tutorial, 2001 (n - 1 in the variance).
    """
    from scipy.special import stdtrit

    masses = np.asarray(masses_g, dtype=float)
    if masses.size < 2:
        raise InputError(f"{masses.size} replicate(s)", where="masses_g", limit="two or more", cure="Weigh at least two replicates.")
    for mass in masses:
        require_range("masses_g", float(mass), 0, low_open=True, unit="g")
    require_range("seeds", seeds, 1)
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    mean, sd, n = float(masses.mean()), float(masses.std(ddof=1)), int(masses.size)
    half = float(stdtrit(n - 1, (1 + confidence) / 2)) * sd / math.sqrt(n)
    scale = 1000 / seeds
    limit = figure("germination", "kernel_weight", "cv_limit").value
    return KernelWeight(
        tkw_g=mean * scale, low=(mean - half) * scale, high=(mean + half) * scale, cv=sd / mean, n=n, repeat=sd / mean > limit
    )
