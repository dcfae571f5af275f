"""Bushels and test weight: grain by volume against grain by mass."""

from __future__ import annotations

from evenstand.base.errors import MissingError, require_range
from evenstand.base.units import to_metric
from evenstand.base.worked import worked
from evenstand.reference import Figure, figures, table


@worked(formula="1000 / bushel_kg", source="definition")
def bushels_per_tonne(bushel_kg: float) -> float:
    """Bushels in a tonne.

    Parameters
    ----------
    bushel_kg : float
        Agreed mass of a bushel of that grain. [kg]

    Returns
    -------
    float
        Bushels. [1/t]

    Raises
    ------
    RangeError
        Unless bushel_kg is above zero.
    """
    require_range("bushel_kg", bushel_kg, 0, low_open=True, unit="kg")
    return 1000 / bushel_kg


@worked(formula="content_kg_t * bushel_kg / 1000", source="definition")
def content_per_bushel(content_kg_t: float, bushel_kg: float) -> float:
    """What a bushel of grain takes off the field.

    Parameters
    ----------
    content_kg_t : float
        Nutrient in a tonne of grain. [kg/t]
    bushel_kg : float
        Agreed mass of a bushel of that grain. [kg]

    Returns
    -------
    float
        Nutrient in a bushel. [kg]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("content_kg_t", content_kg_t, 0, 1000, unit="kg/t")
    require_range("bushel_kg", bushel_kg, 0, low_open=True, unit="kg")
    return content_kg_t * bushel_kg / 1000


def bushel_weight(grain: str) -> float:
    """Agreed mass of a bushel.

    Parameters
    ----------
    grain : str
        Kind of grain, such as "wheat" or "canola". [-]

    Returns
    -------
    float
        Mass. [kg]

    Raises
    ------
    MissingError
        If no bushel is agreed for it here.

    References
    ----------
    grains-council-1999: bushels per tonne, from which the agreed pounds follow.
    """
    return to_metric(_of("bushel_weight", grain).value, "mass", "lb")


def grain_test_weight(grain: str, cup_g: float) -> float:
    """Bulk density of grain from what fills the half-litre cup.

    Parameters
    ----------
    grain : str
        Kind of grain, such as "wheat" or "canola". [-]
    cup_g : float
        Grain in the 0.5 litre cup, filled and struck as the method says. [g]

    Returns
    -------
    float
        Test weight as a density; a tenth of it is kilograms per hectolitre. [kg/m³]

    Raises
    ------
    RangeError
        Unless cup_g is above zero and below a kilogram.
    MissingError
        If there is no equation for that grain.

    References
    ----------
    Canadian Grain Commission, test weight: kg/hL = base + slope * grams, by kind of grain.
    """
    require_range("cup_g", cup_g, 0, 1000, low_open=True, unit="g")
    base = _of("test_weight", "base", grain).value
    slope = _of("test_weight", "slope", grain).value
    return to_metric(base + slope * cup_g, "density", "kg/hL")


def _of(*path: str) -> Figure:
    found = figures("grain", *path)
    if not found:
        known = table("grain")[path[0]]
        for key in path[1:-1]:
            known = known[key]
        names = ", ".join(key for key, entry in known.items() if isinstance(entry, Figure))
        raise MissingError(f"nothing is known for '{path[-1]}'", where="grain", cure=f"Known: {names}.")
    return found[0]
