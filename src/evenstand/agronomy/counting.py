"""Ways of counting plants: along rows, in a hoop, and so many plants over a measured distance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenstand.agronomy.scatter import counts_for_precision
from evenstand.agronomy.stands import Stand
from evenstand.base.errors import InputError, require_range
from evenstand.base.worked import worked
from evenstand.reference import figure


@worked(formula="length_m * row_spacing_m * rows", source="definition")
def row_sample_area(length_m: float, row_spacing_m: float, rows: int = 1) -> float:
    """Ground that a length of row stands for.

    Parameters
    ----------
    length_m : float
        Length counted along each row. [m]
    row_spacing_m : float
        Distance between rows. [m]
    rows : int
        Rows counted side by side. [-]

    Returns
    -------
    float
        Area of one count. [m²]

    Raises
    ------
    RangeError
        Unless all are above zero.

    Examples
    --------
    >>> row_sample_area(1, 0.25, 2)
    0.5
    """
    require_range("length_m", length_m, 0, low_open=True, unit="m")
    require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    require_range("rows", rows, 1)
    return length_m * row_spacing_m * rows


def wheel_plants() -> int:
    """Plants to count over one measured distance, as published for the wheel method.

    Working: a figure that is looked up.

    Returns
    -------
    int
        Plants. [-]

    References
    ----------
    illinois-stand-count: the wheel method, count 150 plants.
    """
    return round(figure("stands", "wheel", "plants").value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """How many places a publisher says to count, least to most [-]; source: its key; where: place in it, and for what."""

    least: int
    most: int | None
    source: str
    where: str


def places_to_count(method: str, area_ha: float | None = None) -> Places:
    """How many places others say to count, before any count is made; afterwards `Stand.counts_needed` knows better.

    Parameters
    ----------
    method : str
        "hoop", "row" or "wheel". [-]
    area_ha : float or None
        Area of an even field; needed for the wheel, which is published as one count to so many acres. [ha]

    Returns
    -------
    Places
        most is None where only a least number is published. [-]

    Raises
    ------
    InputError
        If the method is none of these, or the wheel's area is not given.
    RangeError
        If the area is not above zero.

    References
    ----------
    Purdue University (hoop), University of Tennessee (rows), University of Illinois (wheel).

    Examples
    --------
    >>> places_to_count("wheel", 16.2).least, places_to_count("wheel", 16.2).most
    (5, 9)
    """
    if method == "wheel":
        if area_ha is None:
            raise InputError("no area", where="area_ha", cure="Give the area: the wheel is published as one count to so many acres.")
        require_range("area_ha", area_ha, 0, low_open=True, unit="ha")
        each = figure("stands", "wheel", "area")
        small, large = each.metric("area")
        return Places(
            least=math.ceil(area_ha / large), most=math.ceil(area_ha / small), source=each.source, where=f"{each.where}. {each.note}"
        )
    names = {"hoop": "hoop", "row": "rows"}
    if method not in names:
        raise InputError(f"'{method}' is no way of counting", where="method", cure="Use hoop, row or wheel.")
    found = figure("stands", "places", names[method])
    return Places(least=round(found.value), most=None, source=found.source, where=found.where)


def stand_from_wheel(
    distances_m: Sequence[float],
    row_spacing_m: float,
    *,
    plants: int | None = None,
    rows: int = 1,
    confidence: float = 0.95,
    precision: float = 0.1,
) -> Stand:
    """Stand from the distance over which a fixed number of plants was counted, with a measuring wheel or tape.

    Parameters
    ----------
    distances_m : sequence of float, shape (n,)
        Along the row from a plant that is not counted to the last one counted, at each place. [m]
    row_spacing_m : float
        Distance between rows. [m]
    plants : int or None
        Plants counted at each place; the published number without it. [-]
    rows : int
        Rows counted side by side over that distance. [-]
    confidence : float
        Of the two-sided interval, 0 < confidence < 1. [-]
    precision : float
        Half width wanted, as a share of the stand. [-]

    Returns
    -------
    Stand
        All plants over all ground; with one distance the exact interval for plants scattered at random (gamma), with more the spread of
        the distances, never taken as tighter than random scatter, on the logarithmic scale. [plants/m²]

    Raises
    ------
    InputError
        Without distances.
    RangeError
        If an argument is outside its range.

    References
    ----------
    University of Illinois, corn stand count by the wheel method (150 plants). The intervals are standard statistics, from memory.

    Examples
    --------
    >>> round(stand_from_wheel([30.0, 31.0, 29.0], 0.25).plants_m2, 1)
    20.0
    """
    at = np.asarray(distances_m, dtype=float).ravel()
    k = wheel_plants() if plants is None else plants
    if at.size == 0:
        raise InputError("no distances", where="distances_m", limit="one or more", cure="Measure the distance of the plants counted.")
    for distance in at:
        require_range("distances_m", float(distance), 0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("plants", k, 2)
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    require_range("precision", precision, 0, low_open=True)
    area = row_sample_area(float(at.sum()), row_spacing_m, rows)
    return _one_distance(k, area, confidence, precision) if at.size == 1 else _distances(at, k, area, confidence, precision)


def _one_distance(plants: int, area: float, confidence: float, precision: float) -> Stand:
    """The exact interval of one distance under random scatter. [plants/m²]"""
    from scipy.special import gammaincinv, ndtri

    tail = (1 - confidence) / 2
    needed = math.ceil((float(ndtri(1 - tail)) / precision) ** 2 / plants)
    return Stand(
        plants_m2=plants / area, low=float(gammaincinv(plants, tail)) / area, high=float(gammaincinv(plants, 1 - tail)) / area,
        cv=math.nan, n=1, counts_needed=max(needed, 2), dispersion=math.nan, p_random=math.nan, patchy=False, method="poisson",
        sd=math.sqrt(plants) / area,
        note="No spread to judge unevenness by: the interval holds for plants scattered at random. Measure more places.",
    )  # fmt: skip


def _distances(at: np.ndarray, plants: int, area: float, confidence: float, precision: float) -> Stand:
    """Several distances: their spread against that of random scatter, whose cv is one over the root of the plants. [plants/m²]"""
    from scipy.special import chdtrc, stdtrit

    n = int(at.size)
    cv = float(at.std(ddof=1)) / float(at.mean())
    dispersion = plants * cv**2
    share = math.sqrt(max(1.0, dispersion) / plants / n)
    half = float(stdtrit(n - 1, (1 + confidence) / 2)) * share
    p_random = float(chdtrc(n - 1, (n - 1) * dispersion))
    stand = plants * n / area
    return Stand(
        plants_m2=stand, low=stand * math.exp(-half), high=stand * math.exp(half), cv=cv, n=n,
        counts_needed=counts_for_precision(share * math.sqrt(n), confidence=confidence, precision=precision),
        dispersion=dispersion, p_random=p_random, patchy=p_random < 0.05, method="quasi-poisson", sd=stand * share,
        note="The plants stand more unevenly than chance would have it: look for a reason before the mean." if p_random < 0.05 else "",
    )  # fmt: skip
