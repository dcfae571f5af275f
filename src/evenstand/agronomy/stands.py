"""Plants on the ground: along a row, in a hoop, and what a set of counts is worth."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenstand.agronomy.scatter import INTERVALS, Interval, counts_for_precision, negative_binomial_interval, quasi_poisson_interval
from evenstand.base.errors import InputError, require_range
from evenstand.base.estimate import Est
from evenstand.base.worked import worked


@worked(formula="seeds_m2 * row_spacing_m", source="iowa-agron-212", where="seeds per foot of row")
def seeds_per_metre(seeds_m2: float, row_spacing_m: float) -> float:
    """Seeds (or plants) in a metre of row.

    Parameters
    ----------
    seeds_m2 : float
        Seeds or plants. [1/m²]
    row_spacing_m : float
        Distance between rows. [m]

    Returns
    -------
    float
        Along the row. [1/m]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    >>> round(seeds_per_metre(250, 0.20))
    50
    """
    require_range("seeds_m2", seeds_m2, 0, unit="1/m²")
    require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    return seeds_m2 * row_spacing_m


@worked(formula="plants_m / row_spacing_m", source="canola-council-2014", where="plants per metre of row")
def stand_from_row(plants_m: float, row_spacing_m: float) -> float:
    """Plants (or seeds) per square metre from a count along the row.

    Parameters
    ----------
    plants_m : float
        Plants in a metre of row. [1/m]
    row_spacing_m : float
        Distance between rows. [m]

    Returns
    -------
    float
        Stand. [1/m²]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    >>> round(stand_from_row(25, 0.25))
    100
    """
    require_range("plants_m", plants_m, 0, unit="1/m")
    require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    return plants_m / row_spacing_m


@worked(formula="pi * diameter_m ** 2 / 4", source="definition")
def hoop_area(diameter_m: float) -> float:
    """Ground inside a round hoop.

    Parameters
    ----------
    diameter_m : float
        Inside diameter. [m]

    Returns
    -------
    float
        Area. [m²]

    Raises
    ------
    RangeError
        Unless diameter_m is above zero.
    """
    require_range("diameter_m", diameter_m, 0, low_open=True, unit="m")
    return math.pi * diameter_m**2 / 4


@worked(formula="girth_m ** 2 / (4 * pi)", source="definition")
def hoop_area_from_girth(girth_m: float) -> float:
    """Ground inside a hoop bent from a piece of hose or cable of known length.

    Parameters
    ----------
    girth_m : float
        Length round the inside. [m]

    Returns
    -------
    float
        Area. [m²]

    Raises
    ------
    RangeError
        Unless girth_m is above zero.
    """
    require_range("girth_m", girth_m, 0, low_open=True, unit="m")
    return girth_m**2 / (4 * math.pi)


@worked(formula="area_m2 / row_spacing_m", source="definition")
def row_length_for_area(area_m2: float, row_spacing_m: float) -> float:
    """Length of one row that stands for an area.

    Parameters
    ----------
    area_m2 : float
        Area, such as a thousandth of an acre. [m²]
    row_spacing_m : float
        Distance between rows. [m]

    Returns
    -------
    float
        Length. [m]

    Raises
    ------
    RangeError
        Unless both are above zero.
    """
    require_range("area_m2", area_m2, 0, low_open=True, unit="m²")
    require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    return area_m2 / row_spacing_m


@worked(formula="mass_kg / (rows * row_length_m * row_spacing_m) * 1e4", source="definition")
def rate_from_row_catch(mass_kg: float, row_length_m: float, row_spacing_m: float, rows: int = 1) -> float:
    """Rate from what was caught from one or more rows over a measured length.

    Parameters
    ----------
    mass_kg : float
        Caught from all those rows together. [kg]
    row_length_m : float
        Length driven. [m]
    row_spacing_m : float
        Distance between rows. [m]
    rows : int
        Rows caught. [-]

    Returns
    -------
    float
        Rate. [kg/ha]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("mass_kg", mass_kg, 0, unit="kg")
    require_range("row_length_m", row_length_m, 0, low_open=True, unit="m")
    require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    require_range("rows", rows, 1)
    return mass_kg / (rows * row_length_m * row_spacing_m) * 1e4


def counts_needed(cv: float, counts: int, *, confidence: float = 0.95, precision: float = 0.1) -> float:
    """Counts needed so that the mean is known within a share of itself: (t cv / precision)².

    Working: (t(counts - 1) x cv / precision)².

    Parameters
    ----------
    cv : float
        Coefficient of variation of the counts made so far. [-]
    counts : int
        Counts made so far, two or more: t has one less degree of freedom. [-]
    confidence : float
        Two-sided, 0 < confidence < 1. [-]
    precision : float
        Share of the mean, above zero. [-]

    Returns
    -------
    float
        Counts, not rounded. [-]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    References
    ----------
    University of Missouri Extension, NR3110: n = (t CV / E)².
    """
    from scipy.special import stdtrit

    require_range("cv", cv, 0)
    require_range("counts", counts, 2)
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    require_range("precision", precision, 0, low_open=True)
    return (float(stdtrit(counts - 1, (1 + confidence) / 2)) * cv / precision) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """A stand from counts.

    plants_m2 with its interval low to high [plants/m²]; cv of the counts [-], not a number for one count or none found; n counts;
    counts_needed: counts for the precision asked, at this unevenness; dispersion: variance over mean of the counts, 1 for plants
    scattered at random [-]; p_random: chance that random scatter alone varies this much [-]; patchy: p_random below 5 %;
    method: how the interval was made: "t", "quasi-poisson" or "negative-binomial" from the spread of the counts, "poisson" where there
    is no spread to go by; note: what to mind; sd: of the mean [plants/m²]; est: stand and sd together [plants/m²].
    """

    plants_m2: float
    low: float
    high: float
    cv: float
    n: int
    counts_needed: int
    dispersion: float
    p_random: float
    patchy: bool
    method: Interval
    note: str = ""
    sd: float = 0.0

    @property
    def est(self) -> Est:
        """The stand with its sd. [plants/m²]"""
        return Est(value=self.plants_m2, sd=self.sd, basis="measured", source=f"{self.n} count(s)")

    @property
    def counts_still_needed(self) -> int:
        """Counts to make beside those made. [-]"""
        return max(0, self.counts_needed - self.n)


def stand_from_counts(
    counts: Sequence[float],
    sample_area_m2: float,
    *,
    confidence: float = 0.95,
    precision: float = 0.1,
    interval: Interval = "t",
) -> Stand:
    """Stand and its interval from counts on equal areas.

    Parameters
    ----------
    counts : sequence of float, shape (n,)
        Plants counted at each place, one or more places. [-]
    sample_area_m2 : float
        Ground of one count, e.g. a hoop or length of row times row spacing. [m²]
    confidence : float
        Of the two-sided interval, 0 < confidence < 1. [-]
    precision : float
        Half width wanted, as a share of the stand. [-]
    interval : str
        "t"; or, for few or small counts and patchy stands, "quasi-poisson" (never tighter than random scatter, never below zero)
        or "negative-binomial" (profile likelihood); or "poisson", for plants scattered at random. [-]

    Returns
    -------
    Stand
        With that interval; where the counts show no spread (one count, all alike, none found) the exact Poisson interval of the
        total instead, which knows of no unevenness. [plants/m²]

    Raises
    ------
    InputError
        If there are no counts, or the interval is none of these.
    RangeError
        If a count is negative or another argument outside its range.

    References
    ----------
    University of Missouri Extension, NR3110 (t interval and number of samples). The Poisson interval and the index of dispersion
    are standard statistics, from memory.

    Examples
    --------
    >>> stand = stand_from_counts([61, 55, 70, 58, 66], 0.25)
    >>> round(stand.plants_m2), stand.method
    (248, 't')
    """
    found = np.asarray(counts, dtype=float).ravel()
    if found.size == 0:
        raise InputError("no counts", where="counts", limit="one or more", cure="Count at least one place, better five.")
    for count in found:
        require_range("counts", float(count), 0, math.inf, high_open=True)
    require_range("sample_area_m2", sample_area_m2, 0, low_open=True, unit="m²")
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    require_range("precision", precision, 0, low_open=True)
    if interval not in INTERVALS:
        raise InputError(f"'{interval}' is no interval", where="interval", cure=f"Use {', '.join(INTERVALS)}.")
    if interval == "poisson" or found.size == 1 or float(found.std(ddof=1)) == 0.0:
        return _stand_without_spread(found, sample_area_m2, confidence, precision)
    stand = _stand_with_spread(found, sample_area_m2, confidence, precision)
    if interval == "t":
        return stand
    bounds = quasi_poisson_interval if interval == "quasi-poisson" else negative_binomial_interval
    low, high = bounds([float(count) for count in found], confidence=confidence)
    sd = stand.sd * max(1.0, stand.dispersion**-0.5)  # never below that of random scatter
    cv = stand.cv * max(1.0, stand.dispersion**-0.5)
    needed = counts_for_precision(cv, confidence=confidence, precision=precision)
    return dataclasses.replace(stand, low=low / sample_area_m2, high=high / sample_area_m2, method=interval, sd=sd, counts_needed=needed)


def _stand_with_spread(found: np.ndarray, area: float, confidence: float, precision: float) -> Stand:
    """The t interval, and whether the plants stand patchy. [plants/m²]"""
    from scipy.special import chdtrc, stdtrit

    n, mean, sd = int(found.size), float(found.mean()), float(found.std(ddof=1))
    half = float(stdtrit(n - 1, (1 + confidence) / 2)) * sd / math.sqrt(n)
    dispersion = sd**2 / mean
    p_random = float(chdtrc(n - 1, (n - 1) * dispersion))
    patchy = p_random < 0.05
    return Stand(
        plants_m2=mean / area,
        low=max(0.0, mean - half) / area,
        high=(mean + half) / area,
        cv=sd / mean,
        n=n,
        counts_needed=math.ceil(counts_needed(sd / mean, n, confidence=confidence, precision=precision)),
        dispersion=dispersion,
        p_random=p_random,
        patchy=patchy,
        method="t",
        sd=sd / math.sqrt(n) / area,
        note="The plants stand more unevenly than chance would have it: look for a reason before the mean." if patchy else "",
    )


def _stand_without_spread(found: np.ndarray, area: float, confidence: float, precision: float) -> Stand:
    """The exact Poisson interval of the total counted. [plants/m²]"""
    from scipy.special import chdtrc, gammaincinv, ndtri

    n, total = int(found.size), float(found.sum())
    spread = n > 1 and float(found.std(ddof=1)) > 0
    dispersion = float(found.var(ddof=1)) / (total / n) if spread else (math.nan if n == 1 or total == 0 else 0.0)
    p_random = float(chdtrc(n - 1, (n - 1) * dispersion)) if spread else math.nan
    tail = (1 - confidence) / 2
    low = float(gammaincinv(total, tail)) if total > 0 else 0.0
    high = float(gammaincinv(total + 1, 1 - tail))
    mean = total / n
    needed = math.ceil((float(ndtri(1 - tail)) / precision) ** 2 / mean) if mean > 0 else n + 1
    return Stand(
        plants_m2=mean / area,
        low=low / n / area,
        high=high / n / area,
        cv=float(found.std(ddof=1)) / mean if n > 1 and total > 0 else math.nan,
        n=n,
        counts_needed=max(needed, 2),
        dispersion=dispersion,
        p_random=p_random,
        patchy=p_random < 0.05,
        method="poisson",
        sd=math.sqrt(max(total, 1.0)) / n / area,
        note="" if spread else "No spread to judge unevenness by: the interval holds for plants scattered at random. Count more places.",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class EmergenceSpread:
    """mean_days and sd_days of emergence [d]; cv [-]; emerged: plants counted in the end."""

    mean_days: float
    sd_days: float
    cv: float
    emerged: float


def emergence_spread(days: Sequence[float], cumulative: Sequence[float]) -> EmergenceSpread:
    """When plants came up, and how far apart, from repeated counts at one place.

    Parameters
    ----------
    days : sequence of float, shape (n,)
        Days of the counts, rising. [d]
    cumulative : sequence of float, shape (n,)
        Plants standing at each count, never falling. [-]

    Returns
    -------
    EmergenceSpread
        Count-weighted mean and spread (n - 1). [d]

    Raises
    ------
    InputError
        If the lengths differ, days do not rise, counts fall, or fewer than two plants came up.

    References
    ----------
    seedcalc: count-weighted mean and spread of days, its example.
    """
    at, standing = np.asarray(days, dtype=float), np.asarray(cumulative, dtype=float)
    if at.shape != standing.shape or at.size == 0:
        raise InputError(f"{at.size} days and {standing.size} counts", where="days, cumulative", limit="as many of one as of the other")
    new = np.diff(standing, prepend=0.0)
    if np.any(np.diff(at) <= 0):
        raise InputError("days do not rise", where="days", cure="Put the counts in order of time.")
    if np.any(new < 0):
        raise InputError("plants become fewer", where="cumulative", cure="Give the largest count reached so far at each day.")
    emerged = float(new.sum())
    if emerged < 2:
        raise InputError(f"{emerged:g} plants came up", where="cumulative", limit="two or more")
    mean = float((new * at).sum()) / emerged
    sd = math.sqrt(float((new * (at - mean) ** 2).sum()) / (emerged - 1))
    if mean == 0:
        raise InputError("all came up on day 0", where="days", cure="Count days from seeding.")
    return EmergenceSpread(mean_days=mean, sd_days=sd, cv=sd / mean, emerged=emerged)
