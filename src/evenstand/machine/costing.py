"""What a hectare costs: fuel, labour, owning and repairs, from what is typed; custom rates only beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenstand.base.errors import require_range
from evenstand.base.units import ACRE_M2
from evenstand.base.worked import worked
from evenstand.reference import figure, figures, table


@dataclass(frozen=True, slots=True, kw_only=True)
class HectareCost:
    """Cost of a hectare by its parts; None where something is not known.

    fuel, labour, owning, repair, other: [money/ha]; total: of the parts known [money/ha]; complete: whether all are; missing: what to
    type, in words; weak: parts that rest on a form nobody has read.
    """

    fuel: float | None
    labour: float | None
    owning: float | None
    repair: float | None
    other: float | None
    total: float
    complete: bool
    missing: tuple[str, ...]
    weak: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CustomRate:
    """What others are paid for the work. key; name; mean_ha; low_ha, high_ha: range as printed, None without one [USD/ha];
    source; seen."""

    key: str
    name: str
    mean_ha: float
    low_ha: float | None
    high_ha: float | None
    source: str
    seen: str


@worked(
    formula="interest * (1 + interest)**years / ((1 + interest)**years - 1)",
    source="definition",
    where="level yearly payment that repays one unit with interest",
)
def capital_recovery(interest: float, years: float) -> float:
    """Level yearly payment for each unit of capital; without interest it is 1 / years.

    Parameters
    ----------
    interest : float
        Rate of interest a year, 0 to 1. [1/year]
    years : float
        Years of ownership. [year]

    Returns
    -------
    float
        Factor. [1/year]

    Raises
    ------
    RangeError
        If the interest is outside 0 to 1 or the years are not from 0.05 to 100.

    Examples
    --------
    >>> round(capital_recovery(0.08, 15), 5)
    0.11683
    """
    require_range("interest", interest, 0, 1)
    require_range("years", years, 0.05, 100, unit="years")
    return 1 / years if interest == 0 else -interest / math.expm1(-years * math.log1p(interest))


@worked(formula="list_price * share", source="isu-a3-29", where="salvage value")
def salvage_value(list_price: float, share: float) -> float:
    """What a machine is still worth at the end.

    Parameters
    ----------
    list_price : float
        List price of a like machine new. [money]
    share : float
        Share of it that is left. [-]

    Returns
    -------
    float
        Value. [money]

    Raises
    ------
    RangeError
        If the price is below 0 or the share outside 0 to 1.
    """
    require_range("list_price", list_price, 0, math.inf, high_open=True)
    require_range("share", share, 0, 1)
    return list_price * share


def owning_cost(price: float, salvage: float, interest: float, years: float) -> float:
    """Yearly cost of owning: what is used up by capital recovery, and interest on what is left at the end.

    Parameters
    ----------
    price : float
        Paid. [money]
    salvage : float
        Worth at the end. [money]
    interest : float
        Rate of interest a year. [1/year]
    years : float
        Years of ownership. [year]

    Returns
    -------
    float
        Cost without taxes, insurance and housing. [money/year]

    Raises
    ------
    RangeError
        If the price is below 0, the salvage is above it, or interest or years are out of range.

    Examples
    --------
    >>> round(owning_cost(130_000, 34_500, 0.08, 15))
    13917
    """
    require_range("price", price, 0, math.inf, high_open=True)
    require_range("salvage", salvage, 0, price)
    return capital_recovery(interest, years) * (price - salvage) + interest * salvage


@worked(formula="rf1 * list_price * (hours / 1000)**rf2", source="ep496-repair", where="form not read: unconfirmed")
def repair_to_date(list_price: float, hours: float, rf1: float, rf2: float) -> float:
    """Accumulated repair cost of a machine. The form is from memory; the factors as transcribed: unconfirmed, for a first plan only.

    Parameters
    ----------
    list_price : float
        List price. [money]
    hours : float
        Accumulated hours of use. [h]
    rf1, rf2 : float
        Repair factors. [-]

    Returns
    -------
    float
        Cost in the money of the list price. [money]

    Raises
    ------
    RangeError
        If an argument is below 0.
    """
    for name, value in (("list_price", list_price), ("hours", hours), ("rf1", rf1), ("rf2", rf2)):
        require_range(name, value, 0, math.inf, high_open=True)
    return rf1 * list_price * math.pow(hours / 1000, rf2)


def repair_of_year(list_price: float, hours_before: float, hours_year: float, *, machine: str = "planter-drill") -> float:
    """Repair cost of a year from accumulated hours: unconfirmed, see `repair_to_date`; your own bills are better.

    Parameters
    ----------
    list_price : float
        List price. [money]
    hours_before : float
        Accumulated hours at its start. [h]
    hours_year : float
        Hours of the year. [h]
    machine : str
        "planter-drill" or "field-cultivator". [-]

    Returns
    -------
    float
        Cost. [money/year]

    Raises
    ------
    RangeError
        If a number is below 0.
    MissingError
        If no factors are known for that machine.
    """
    require_range("hours_year", hours_year, 0, math.inf, high_open=True, unit="h")
    rf1, rf2 = (figure("machines", "repair", machine, key).value for key in ("rf1", "rf2"))
    return repair_to_date(list_price, hours_before + hours_year, rf1, rf2) - repair_to_date(list_price, hours_before, rf1, rf2)


def hectare_cost(
    area_year_ha: float | None = None,
    *,
    capacity_ha_h: float | None = None,
    fuel_l_ha: float | None = None,
    fuel_price_l: float | None = None,
    wage_h: float | None = None,
    owning_year: float | None = None,
    repair_year: float | None = None,
    repair_unconfirmed: bool = False,
    other_ha: float | None = 0.0,
) -> HectareCost:
    """Cost of a hectare from what is known; every price is typed.

    Parameters
    ----------
    area_year_ha : float or None
        Hectares the outfit does in a year. [ha/year]
    capacity_ha_h : float or None
        Effective capacity, all hours counted. [ha/h]
    fuel_l_ha : float or None
        Fuel. [L/ha]
    fuel_price_l : float or None
        Its price. [money/L]
    wage_h : float or None
        Wages of all who work with the outfit. [money/h]
    owning_year : float or None
        See `owning_cost`, with taxes, insurance and housing added. [money/year]
    repair_year : float or None
        Repairs. [money/year]
    repair_unconfirmed : bool
        Whether repair_year comes from `repair_of_year`. [-]
    other_ha : float or None
        Anything else; 0 for nothing. [money/ha]

    Returns
    -------
    HectareCost
        Parts, total and what is missing. [money/ha]

    Raises
    ------
    RangeError
        If a number is below 0, or capacity or area is not above 0.

    References
    ----------
    definition: money a year over hectares a year, money an hour over hectares an hour, litres times price.
    """
    for name, value in (("area_year_ha", area_year_ha), ("capacity_ha_h", capacity_ha_h)):
        if value is not None:
            require_range(name, value, 0, math.inf, low_open=True, high_open=True)
    given = {"fuel_l_ha": fuel_l_ha, "fuel_price_l": fuel_price_l, "wage_h": wage_h, "owning_year": owning_year, "repair_year": repair_year}
    for name, value in (*given.items(), ("other_ha", other_ha)):
        if value is not None:
            require_range(name, value, 0, math.inf, high_open=True)
    fuel, labour = _times(fuel_l_ha, fuel_price_l), _over(wage_h, capacity_ha_h)
    owning, repair = _over(owning_year, area_year_ha), _over(repair_year, area_year_ha)
    parts = (fuel, labour, owning, repair, other_ha)
    words = {
        "fuel use": fuel_l_ha, "price of fuel": fuel_price_l, "wage": wage_h, "capacity": capacity_ha_h, "cost of owning": owning_year,
        "repairs of a year": repair_year, "hectares of a year": area_year_ha, "other costs": other_ha,
    }  # fmt: skip
    return HectareCost(
        fuel=fuel,
        labour=labour,
        owning=owning,
        repair=repair,
        other=other_ha,
        total=sum(part for part in parts if part is not None),
        complete=all(part is not None for part in parts),
        missing=tuple(word for word, value in words.items() if value is None),
        weak=("repair",) if repair_unconfirmed and repair is not None else (),
    )


def _times(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a * b


def _over(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else a / b


def custom_rates() -> tuple[CustomRate, ...]:
    """Published custom rates of drilling and planting: a comparison, in the money and of the year they name.

    Returns
    -------
    tuple of CustomRate
        Each with its source. [USD/ha]
    """
    found = []
    for key, entry in table("machines")["custom"].items():
        if isinstance(entry, str):
            continue
        mean, spread = figure("machines", "custom", key, "mean"), figures("machines", "custom", key, "range")
        found.append(
            CustomRate(
                key=key,
                name=entry["name"],
                mean_ha=_per_ha(mean.value),
                low_ha=_per_ha(spread[0].low) if spread else None,
                high_ha=_per_ha(spread[0].high) if spread else None,
                source=mean.source,
                seen=mean.seen,
            )
        )
    return tuple(found)


def _per_ha(per_acre: float) -> float:
    return per_acre / (ACRE_M2 / 1e4)
