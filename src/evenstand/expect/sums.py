"""Small sums of the card that no other part has, each with its formula, so that every number opens its working."""

from __future__ import annotations

import math

from evenstand.base.errors import require_range
from evenstand.base.worked import worked


def _not_negative(**values: float) -> None:
    for name, value in values.items():
        require_range(name, value, 0.0, math.inf, high_open=True)


@worked(formula="rate_kg_ha * area_ha", source="definition")
def needed_mass(rate_kg_ha: float, area_ha: float) -> float:
    """Product a job takes with nothing sown twice.

    Parameters
    ----------
    rate_kg_ha : float
        Rate. [kg/ha]
    area_ha : float
        Area. [ha]

    Returns
    -------
    float
        Mass. [kg]

    Raises
    ------
    RangeError
        If an argument is negative.
    """
    _not_negative(rate_kg_ha=rate_kg_ha, area_ha=area_ha)
    return rate_kg_ha * area_ha


@worked(formula="rate_kg_ha * area_ha * (1 + overlap)", source="definition")
def overlapped_mass(rate_kg_ha: float, area_ha: float, overlap: float) -> float:
    """Product a job takes with a share of the ground sown twice.

    Parameters
    ----------
    rate_kg_ha : float
        Rate. [kg/ha]
    area_ha : float
        Area of the field. [ha]
    overlap : float
        Share sown twice. [-]

    Returns
    -------
    float
        Mass. [kg]

    Raises
    ------
    RangeError
        If an argument is negative.
    """
    _not_negative(rate_kg_ha=rate_kg_ha, area_ha=area_ha, overlap=overlap)
    return rate_kg_ha * area_ha * (1 + overlap)


@worked(formula="rate_kg_ha * round_ha * margin", source="common-practice", where="one longest round, and a margin")
def low_bin_mass(rate_kg_ha: float, round_ha: float, margin: float) -> float:
    """Mass at which a low-bin alarm has to come so that the longest round can still be driven.

    Parameters
    ----------
    rate_kg_ha : float
        Rate of that bin. [kg/ha]
    round_ha : float
        Ground of the longest pass there and back. [ha]
    margin : float
        How much more than that. [-]

    Returns
    -------
    float
        Mass. [kg]

    Raises
    ------
    RangeError
        If an argument is negative.
    """
    _not_negative(rate_kg_ha=rate_kg_ha, round_ha=round_ha, margin=margin)
    return rate_kg_ha * round_ha * margin


@worked(formula="turns * factor_kg_turn", source="definition")
def caught_mass(turns: float, factor_kg_turn: float) -> float:
    """What a catch should weigh, without its bag.

    Parameters
    ----------
    turns : float
        Turns caught. [turns]
    factor_kg_turn : float
        Product per turn of all segments. [kg/turn]

    Returns
    -------
    float
        Mass. [kg]

    Raises
    ------
    RangeError
        If an argument is negative.
    """
    _not_negative(turns=turns, factor_kg_turn=factor_kg_turn)
    return turns * factor_kg_turn


@worked(formula="rate_kg_ha * speed_m_s * width_m / 10000 / parts", source="definition")
def shared_flow(rate_kg_ha: float, speed_m_s: float, width_m: float, parts: float) -> float:
    """Product through each of so many primaries or runs, shared out evenly.

    Parameters
    ----------
    rate_kg_ha : float
        Rate of all products that share them. [kg/ha]
    speed_m_s : float
        Ground speed. [m/s]
    width_m : float
        Working width. [m]
    parts : float
        Primaries or runs. [-]

    Returns
    -------
    float
        Mass flow. [kg/s]

    Raises
    ------
    RangeError
        If an argument is negative, or there is no part.
    """
    _not_negative(rate_kg_ha=rate_kg_ha, speed_m_s=speed_m_s, width_m=width_m)
    require_range("parts", parts, 1)
    return rate_kg_ha * speed_m_s * width_m / 1e4 / parts


@worked(formula="area_ha * fuel_l_ha", source="definition")
def fuel_needed(area_ha: float, fuel_l_ha: float) -> float:
    """Fuel a job takes.

    Parameters
    ----------
    area_ha : float
        Area. [ha]
    fuel_l_ha : float
        Fuel on each hectare. [L/ha]

    Returns
    -------
    float
        Fuel. [L]

    Raises
    ------
    RangeError
        If an argument is negative.
    """
    _not_negative(area_ha=area_ha, fuel_l_ha=fuel_l_ha)
    return area_ha * fuel_l_ha


@worked(formula="fuel_l_ha * fuel_price_l + wage_h / capacity_ha_h", source="definition")
def working_cost(fuel_l_ha: float, fuel_price_l: float, wage_h: float, capacity_ha_h: float) -> float:
    """Fuel and wages of a hectare.

    Parameters
    ----------
    fuel_l_ha : float
        Fuel. [L/ha]
    fuel_price_l : float
        Its price. [money/L]
    wage_h : float
        Wages of all who work with the outfit. [money/h]
    capacity_ha_h : float
        Area an hour with stops. [ha/h]

    Returns
    -------
    float
        Cost. [money/ha]

    Raises
    ------
    RangeError
        If an argument is negative, or nothing is done in an hour.
    """
    _not_negative(fuel_l_ha=fuel_l_ha, fuel_price_l=fuel_price_l, wage_h=wage_h)
    require_range("capacity_ha_h", capacity_ha_h, 0.0, math.inf, low_open=True, high_open=True)
    return fuel_l_ha * fuel_price_l + wage_h / capacity_ha_h


@worked(formula="rev_s * (1 + share)", source="common-practice", where="alarm as a share of the setting")
def alarm_speed(rev_s: float, share: float) -> float:
    """Speed at which an alarm comes.

    Parameters
    ----------
    rev_s : float
        Setting. [rev/s]
    share : float
        Above it, or below where it is negative. [-]

    Returns
    -------
    float
        Speed. [rev/s]

    Raises
    ------
    RangeError
        If the setting is negative or the share is not above -1.
    """
    _not_negative(rev_s=rev_s)
    require_range("share", share, -1, 10, low_open=True)
    return rev_s * (1 + share)
