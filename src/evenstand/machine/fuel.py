"""Diesel of drawing a tool: published forms kept apart by edition, each with how well it was read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from evenstand.base.errors import RangeError, require_range
from evenstand.base.units import ACRE_M2, US_GALLON_L
from evenstand.base.worked import worked
from evenstand.machine.powering import HORSEPOWER_KW
from evenstand.reference import figure, source

Edition = Literal["d497-4", "d497-7", "us-rounded", "average"]
EDITIONS: tuple[Edition, ...] = ("d497-4", "d497-7", "us-rounded", "average")

_L_KWH_PER_GAL_HPH = US_GALLON_L / HORSEPOWER_KW


@dataclass(frozen=True, slots=True, kw_only=True)
class FuelUse:
    """Diesel of the work by one edition.

    edition; l_h: while working [L/h]; l_ha: per hectare [L/ha]; low_l_ha, high_l_ha: within the published range of field figures
    [L/ha]; source; seen; note.
    """

    edition: Edition
    l_h: float
    l_ha: float
    low_l_ha: float
    high_l_ha: float
    source: str
    seen: str
    note: str


@worked(formula="(2.64 * load + 3.91 - 0.203 * sqrt(738 * load + 173)) * load", source="d497-4-diesel", where="Q / P_pto")
def diesel_d497_4(load: float) -> float:
    """Diesel per rated PTO power, edition D497.4.

    Parameters
    ----------
    load : float
        PTO power needed over the rated, 0 to 1. [-]

    Returns
    -------
    float
        Use. [L/h per kW]

    Raises
    ------
    RangeError
        If the load is outside 0 to 1.
    """
    require_range("load", load, 0, 1)
    return (2.64 * load + 3.91 - 0.203 * math.sqrt(738 * load + 173)) * load


@worked(
    formula="(0.22 * load + 0.096) * (1 - (throttle - 1) * (0.45 * load - 0.877))",
    source="d497-7-diesel",
    where="Q / P_pto, full and part throttle",
)
def diesel_d497_7(load: float, *, throttle: float = 1.0) -> float:
    """Diesel per rated PTO power, edition D497.7: 13 to 25 % below D497.4 over most loads, so never mix the two.

    Parameters
    ----------
    load : float
        PTO power needed over the rated, 0 to 1. [-]
    throttle : float
        Engine speed over the rated, 0.5 to 1. [-]

    Returns
    -------
    float
        Use. [L/h per kW]

    Raises
    ------
    RangeError
        If the load or the throttle is outside its range.
    """
    require_range("load", load, 0, 1)
    require_range("throttle", throttle, 0.5, 1)
    return (0.22 * load + 0.096) * (1 - (throttle - 1) * (0.45 * load - 0.877))


def diesel_us_rounded(load: float) -> float:
    """Diesel per rated PTO power by the form in US units, whose rounded coefficients give 0.6 % less than the older edition.

    Working: (0.52 X + 0.77 - 0.04 sqrt(738 X + 173)) X, in L/kWh for gal/hp-h.

    Parameters
    ----------
    load : float
        PTO power needed over the rated, 0 to 1. [-]

    Returns
    -------
    float
        Use. [L/h per kW]

    Raises
    ------
    RangeError
        If the load is outside 0 to 1.

    References
    ----------
    Michigan State University Extension, Tractor Fuel Use: gal/hp-h = 0.52 X + 0.77 - 0.04 sqrt(738 X + 173).
    """
    require_range("load", load, 0, 1)
    return (0.52 * load + 0.77 - 0.04 * math.sqrt(738 * load + 173)) * load * _L_KWH_PER_GAL_HPH


@worked(formula="0.223 * rated_pto_kw", source="grisso-442-073", where="average over a year's work")
def average_diesel(rated_pto_kw: float) -> float:
    """Diesel of an hour of average work over a year.

    Parameters
    ----------
    rated_pto_kw : float
        Rated PTO power. [kW]

    Returns
    -------
    float
        Use. [L/h]

    Raises
    ------
    RangeError
        If the power is below 0.
    """
    require_range("rated_pto_kw", rated_pto_kw, 0, math.inf, high_open=True, unit="kW")
    return 0.223 * rated_pto_kw


def fuel_use(
    pto_kw: float, rated_pto_kw: float, capacity_ha_h: float, *, edition: Edition = "d497-4", throttle: float = 1.0, other_h: float = 0.0,
    other_load: float = 0.0,
) -> FuelUse:  # fmt: skip
    """Diesel per hour and per hectare, by one edition, within the published range of field figures.

    Parameters
    ----------
    pto_kw : float
        PTO power needed in work, see `power_need`; not used by "average". [kW]
    rated_pto_kw : float
        Rated PTO power. [kW]
    capacity_ha_h : float
        Hectares an hour. Effective capacity counts every hour at the load of work; capacity in work goes with other_h. [ha/h]
    edition : str
        "d497-4", "d497-7", "us-rounded" or "average". [-]
    throttle : float
        Engine speed over the rated; only "d497-7" knows it. [-]
    other_h : float
        Hours of turning, filling and waiting for each hour of work, where capacity_ha_h counts work only. [h/h]
    other_load : float
        Load in those hours. [-]

    Returns
    -------
    FuelUse
        Use with its range. [units in the field names]

    Raises
    ------
    RangeError
        If the tractor cannot give the power, or a number is out of range.
    """
    require_range("rated_pto_kw", rated_pto_kw, 0, math.inf, low_open=True, high_open=True, unit="kW")
    require_range("pto_kw", pto_kw, 0, rated_pto_kw, unit="kW")
    require_range("capacity_ha_h", capacity_ha_h, 0, math.inf, low_open=True, high_open=True, unit="ha/h")
    require_range("other_h", other_h, 0, math.inf, high_open=True, unit="h")
    work = _per_kw(edition, pto_kw / rated_pto_kw, throttle) * rated_pto_kw
    besides = _per_kw(edition, other_load, throttle) * rated_pto_kw if other_h > 0 else 0.0
    use = (work + other_h * besides) / capacity_ha_h
    spread = figure("machines", "fuel", "field-range").value
    key = {"d497-4": "d497-4-diesel", "d497-7": "d497-7-diesel", "us-rounded": "msu-tractor-fuel", "average": "grisso-442-073"}[edition]
    return FuelUse(
        edition=edition,
        l_h=work,
        l_ha=use,
        low_l_ha=use * (1 - spread),
        high_l_ha=use * (1 + spread),
        source=key,
        seen=source(key).seen,
        note=f"Fields differ by {spread:.0%} either way; your own litres over hectares are better than any form.",
    )


def _per_kw(edition: Edition, load: float, throttle: float) -> float:
    if edition == "d497-7":
        return diesel_d497_7(load, throttle=throttle)
    if throttle != 1.0:
        raise RangeError(f"{throttle:g} is part throttle", where="throttle", limit="1 but for d497-7", cure="Use that edition for it.")
    if edition == "d497-4":
        return diesel_d497_4(load)
    if edition == "us-rounded":
        return diesel_us_rounded(load)
    if edition == "average":
        return average_diesel(1.0)
    raise RangeError(f"'{edition}' is no edition", where="edition", limit=", ".join(EDITIONS), cure="Choose one.")


@dataclass(frozen=True, slots=True, kw_only=True)
class FuelFigure:
    """A published use of diesel, for comparison. key; l_ha [L/ha]; where; source; seen."""

    key: str
    l_ha: float
    where: str
    source: str
    seen: str


def published_fuel() -> tuple[FuelFigure, ...]:
    """Published diesel per hectare of seeding and planting, to hold one's own beside.

    Returns
    -------
    tuple of FuelFigure
        Each with its source. [L/ha]
    """
    keys = ("planting", "no-till-system", "ammonia-applicator")
    found = [(key, figure("machines", "fuel", key)) for key in keys]
    return tuple(
        FuelFigure(key=key, l_ha=f.value * US_GALLON_L / (ACRE_M2 / 1e4), where=f.where, source=f.source, seen=f.seen) for key, f in found
    )
