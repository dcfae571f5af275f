"""A printed figure in metric units: the unit a source prints in, and ours beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from evenstand.base.units import (
    ACRE_M2,
    FOOT_M,
    INCH_M,
    LB_KG,
    MILE_M,
    QUANTITIES,
    SHORT_TON_KG,
    US_GALLON_L,
    to_metric,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MetricUnit:
    """Where a printed unit leads: metric value = value * factor + offset [unit]."""

    unit: str
    factor: float = 1.0
    offset: float = 0.0

    def of(self, value: float) -> float:
        """A number in the printed unit as a metric number. [metric unit]"""
        return value * self.factor + self.offset


_HA = ACRE_M2 / 1e4
_GRAVITY_LB_N = 9.80665 * LB_KG  # newtons in a pound of force
_HORSEPOWER_W = 550 * FOOT_M * _GRAVITY_LB_N  # a horsepower is 550 foot-pounds a second


def _to(unit: str, factor: float) -> MetricUnit:
    return MetricUnit(unit=unit, factor=factor)


CONVERTED: Mapping[str, MetricUnit] = {
    # what stands on an area
    "lb/ac": _to("kg/ha", LB_KG / _HA),
    "gal/ac": _to("L/ha", US_GALLON_L / _HA),
    "plants/ac": _to("plants/m²", 1 / ACRE_M2),
    "plants/ft²": _to("plants/m²", FOOT_M**-2),
    "seeds/ac": _to("seeds/m²", 1 / ACRE_M2),
    "seeds/ft²": _to("seeds/m²", FOOT_M**-2),
    "1/ac": _to("1/ha", 1 / _HA),
    "1000/ac": _to("1/m²", 1e3 / ACRE_M2),
    "1000 seeds/ac": _to("seeds/m²", 1e3 / ACRE_M2),
    "ac": _to("ha", _HA),
    "ac/h": _to("ha/h", _HA),
    "ac/day": _to("ha/day", _HA),
    "ft²": _to("m²", FOOT_M**2),
    "/ac": _to("/ha", 1 / _HA),
    "$/ac": _to("$/ha", 1 / _HA),
    # along a row
    "plants/ft": _to("plants/m", 1 / FOOT_M),
    "seeds/ft": _to("seeds/m", 1 / FOOT_M),
    "ft": _to("m", FOOT_M),
    "in": _to("m", INCH_M),
    "mi": _to("m", MILE_M),
    # speeds
    "mph": _to("m/s", MILE_M / 3600),
    "km/h": _to("m/s", 1 / 3.6),
    "m/min": _to("m/s", 1 / 60),
    "ft/min": _to("m/s", FOOT_M / 60),
    "ft/s": _to("m/s", FOOT_M),
    "rpm": _to("turns/s", 1 / 60),
    # masses and volumes
    "lb": _to("kg", LB_KG),
    "ton (short)": _to("kg", SHORT_TON_KG),
    "g": _to("kg", 1e-3),
    "t": _to("kg", 1e3),
    "gal": _to("L", US_GALLON_L),
    "gal/min": _to("L/min", US_GALLON_L),
    "cfm": _to("m³/s", FOOT_M**3 / 60),
    "seeds/lb": _to("seeds/kg", 1 / LB_KG),
    "lb/bu": _to("kg/bu", LB_KG),
    "lb/gal": _to("kg/L", LB_KG / US_GALLON_L),
    "lb N/gal": _to("kg N/L", LB_KG / US_GALLON_L),
    "lb/ft³": _to("kg/m³", LB_KG / FOOT_M**3),
    "kg/L": _to("kg/m³", 1e3),
    "kg/hL": _to("kg/m³", 10.0),
    # pressure, power, fuel
    "inH2O": _to("Pa", QUANTITIES["pressure"].units["inH2O"].factor),
    "psi": _to("Pa", QUANTITIES["pressure"].units["psi"].factor),
    "psig": _to("Pa (gauge)", QUANTITIES["pressure"].units["psi"].factor),
    "kPa": _to("Pa", 1e3),
    "hp": _to("kW", _HORSEPOWER_W / 1e3),
    "lbf": _to("N", _GRAVITY_LB_N),
    "gal/h": _to("L/h", US_GALLON_L),
    "gal/hp-h": _to("L/kWh", US_GALLON_L / (_HORSEPOWER_W / 1e3)),
    "°F": MetricUnit(unit="°C", factor=5 / 9, offset=to_metric(0, "temperature", "°F")),
}
"""Every unit that is printed but not metric, or not the metric unit we keep. [-]"""

OWN: frozenset[str] = frozenset([
    "-", "%", "g/1000", "kg", "kg/ha", "kg/t", "kg/m³", "kg/s", "kg/turn", "g/mol", "m", "m²", "m³", "m/s", "m/pulse", "mm",
    "ha", "ha/h", "ha/day", "h", "d", "s", "L", "L/ha", "L/h", "L/min", "L/kWh", "Pa", "N", "N/m", "W", "kW", "kW/m", "°C",
    "plants/m²", "seeds/m²", "plants/m", "seeds/m", "seeds/kg", "1/m²", "1/ha", "turns", "turns/s", "rev/s", "t/ha", "bu/t",
    "counts", "seeds", "deg", "rad", "$", "$/ha", "as the data", "cfm, inches of water, hp and kW", "in³, L", "hL, kg/hL",
    "seeds/ha", "plants/ha", "1e-5 Pa s", "USD", "years", "plants",
])  # fmt: skip
"""Units that stay as they are printed. [-]"""


def metric_unit(unit: str) -> MetricUnit:
    """The metric unit a printed unit leads to; itself where it is metric already, or no unit at all.

    Parameters
    ----------
    unit : str
        As in `Pair.unit`. [-]

    Returns
    -------
    MetricUnit
        With the factor (and offset) that leads there. [-]
    """
    return CONVERTED.get(unit, MetricUnit(unit=unit))


def known_unit(unit: str) -> bool:
    """Whether a unit is converted here, or metric already; every unit of a pair must be one of both."""
    return unit in CONVERTED or unit in OWN


def figure_text(value: float | None, tolerance: float) -> str:
    """A number with one digit more than its print was exact to; '-' for none. [text]"""
    if value is None or not math.isfinite(value):
        return "-"
    decimals = 0 if tolerance >= 10 else min(12, max(0, -math.floor(math.log10(tolerance)))) if tolerance > 0 else 12
    text = f"{value:,.{decimals}f}"
    if float(text.replace(",", "")) == 0:
        text = text.lstrip("-")
    return text.replace(",", "\u202f")
