"""When to switch at a headland, and what switching at the line costs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from evenstand.base.errors import RangeError, require_range
from evenstand.base.worked import worked
from evenstand.machine.delays import lag_distance
from evenstand.machine.starting import Lag, Switch


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchPoint:
    """Where to switch, and what is lost if it is done at the line instead.

    switch: "on" or "off"; speed_m_s [m/s]; before_m: ground before the line at which to switch [m]; before_s: the same in time [s];
    low_m, high_m: interval of before_m, None while the lag's spread is not known [m]; at_line_m: strip per row skipped (on) or sown into
    the ground of another pass (off) when switched at the line, the meter's ramp counted by half [m]; left_m: mean miss that stays when
    switched in time, from the spread of one start, None if not known [m].
    """

    switch: Switch
    speed_m_s: float
    before_m: float
    before_s: float
    low_m: float | None
    high_m: float | None
    at_line_m: float
    left_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StartStopCost:
    """What switching at the line costs.

    skip_m, double_m: strip per start and per stop [m]; skip_start_ha, double_stop_ha: area of each [ha]; skip_ha, double_ha: of the field
    [ha]; wasted_kg: product laid twice, by product [kg]; double_money: price of it, None unless every product has a price [money];
    skip_money: margin of the ground missed, None without a margin [money]; money: both, None unless both are known [money];
    missing: what is not known.
    """

    skip_m: float
    double_m: float
    skip_start_ha: float
    double_stop_ha: float
    skip_ha: float
    double_ha: float
    wasted_kg: Mapping[str, float]
    double_money: float | None
    skip_money: float | None
    money: float | None
    missing: tuple[str, ...]


@worked(formula="(lag_s + ramp_s / 2) * speed_m_s", source="definition", where="a flow that rises evenly misses half of its rise")
def missed_strip(lag_s: float, speed_m_s: float, *, ramp_s: float = 0.0) -> float:
    """Length of row that gets nothing at a start, the meter's rise to full flow counted by half.

    Parameters
    ----------
    lag_s : float
        From the switch to the first product at the opener. [s]
    speed_m_s : float
        Ground speed. [m/s]
    ramp_s : float
        From the first product to full flow, rising evenly. [s]

    Returns
    -------
    float
        Length. [m]

    Raises
    ------
    RangeError
        If an argument is below 0.
    """
    require_range("ramp_s", ramp_s, 0, math.inf, high_open=True, unit="s")
    return lag_distance(lag_s + ramp_s / 2, speed_m_s)


def switch_point(lag: Lag, speed_m_s: float, *, ramp_s: float = 0.0) -> SwitchPoint:
    """How far before the headland line to switch on coming out, or off going in, so that the product begins or ends at the line.

    Parameters
    ----------
    lag : Lag
        Measured, or the best there is. [s]
    speed_m_s : float
        Speed at which the line is crossed. [m/s]
    ramp_s : float
        From the first product to full flow, or from the first loss to the last product; half of it shifts the middle. [s]

    Returns
    -------
    SwitchPoint
        Distance and time before the line, and what is lost at the line. [units in the field names]

    Raises
    ------
    RangeError
        If the speed is not above 0 or the ramp below 0.
    """
    require_range("speed_m_s", speed_m_s, 0, math.inf, low_open=True, high_open=True, unit="m/s")
    sign = 1.0 if lag.switch == "on" else -1.0
    strip = missed_strip(lag.lag_s, speed_m_s, ramp_s=ramp_s) if sign > 0 else _tail(lag.lag_s, speed_m_s, ramp_s)
    half = sign * ramp_s / 2 * speed_m_s
    return SwitchPoint(
        switch=lag.switch,
        speed_m_s=speed_m_s,
        before_m=strip,
        before_s=strip / speed_m_s,
        low_m=None if lag.low_s is None else max(lag_distance(max(lag.low_s, 0.0), speed_m_s) + half, 0.0),
        high_m=None if lag.high_s is None else max(lag_distance(lag.high_s, speed_m_s) + half, 0.0),
        at_line_m=strip,
        left_m=None if lag.spread_s is None else math.sqrt(2 / math.pi) * lag.spread_s * speed_m_s,
    )


def _tail(lag_s: float, speed_m_s: float, ramp_s: float) -> float:
    """Ground that gets full rate after the switch goes off, if the flow fades evenly over the last ramp_s of the tail. [m]"""
    require_range("ramp_s", ramp_s, 0, 2 * lag_s, unit="s")
    return lag_distance(lag_s - ramp_s / 2, speed_m_s)


def start_stop_cost(
    on: SwitchPoint,
    off: SwitchPoint,
    width_m: float,
    *,
    starts: int,
    stops: int | None = None,
    rates_kg_ha: Mapping[str, float] | None = None,
    prices_kg: Mapping[str, float] | None = None,
    margin_ha: float | None = None,
) -> StartStopCost:
    """Area skipped and sown twice in a field when the switch goes at the line, and its price.

    Parameters
    ----------
    on, off : SwitchPoint
        From `switch_point`. [m]
    width_m : float
        Working width. [m]
    starts : int
        How often the tool starts at a line that another pass borders. [-]
    stops : int or None
        How often it stops; None: as often as it starts. [-]
    rates_kg_ha : mapping of str to float, or None
        Rate of each product. [kg/ha]
    prices_kg : mapping of str to float, or None
        Price of each product. [money/kg]
    margin_ha : float or None
        What a hectare brings, less what a bare one saves; typed, never filled in. [money/ha]

    Returns
    -------
    StartStopCost
        Areas, product and money; money stays None while a price is missing. [units in the field names]

    Raises
    ------
    RangeError
        If a number is below 0 or the two points are not one on and one off.

    References
    ----------
    definition: way from line to seed x width, times how often.
    """
    _switches(on, off)
    require_range("width_m", width_m, 0, math.inf, low_open=True, high_open=True, unit="m")
    ends = starts if stops is None else stops
    for name, count in (("starts", starts), ("stops", ends)):
        require_range(name, count, 0, math.inf, high_open=True)
    skip_each, double_each = on.at_line_m * width_m / 1e4, off.at_line_m * width_m / 1e4
    double = double_each * ends
    wasted = {product: rate * double for product, rate in (rates_kg_ha or {}).items()}
    unpriced = [product for product in wasted if product not in (prices_kg or {})]
    missing = [f"price of {product}" for product in unpriced]
    missing += [] if rates_kg_ha else ["rates of the products"]
    missing += [] if margin_ha is not None else ["margin of a hectare"]
    double_money = sum(mass * (prices_kg or {})[p] for p, mass in wasted.items()) if rates_kg_ha and not unpriced else None
    skip_money = None if margin_ha is None else margin_ha * skip_each * starts
    return StartStopCost(
        skip_m=on.at_line_m,
        double_m=off.at_line_m,
        skip_start_ha=skip_each,
        double_stop_ha=double_each,
        skip_ha=skip_each * starts,
        double_ha=double,
        wasted_kg=wasted,
        double_money=double_money,
        skip_money=skip_money,
        money=None if double_money is None or skip_money is None else double_money + skip_money,
        missing=tuple(missing),
    )


def _switches(on: SwitchPoint, off: SwitchPoint) -> None:
    if (on.switch, off.switch) != ("on", "off"):
        raise RangeError(f"got '{on.switch}' and '{off.switch}'", where="on, off", cure="Give the start first, then the stop.")
