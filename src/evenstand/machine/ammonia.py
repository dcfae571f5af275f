"""Anhydrous ammonia: nitrogen in it, its density and pressure by temperature, and rates by volume."""

from __future__ import annotations

import bisect
import math
from functools import cache

from evenstand.base.errors import require_range
from evenstand.base.units import to_metric
from evenstand.base.worked import worked
from evenstand.reference import figures, table

ATMOSPHERE_PSI = 14.696
AMMONIA_CAUTIONS = (
    "Ammonia burns skin, eyes and lungs and freezes what it touches: only trained people, with the gear and the water that the law and "
    "the supplier's instructions ask for.",
    "Work upwind. Bleed lines before a coupling is opened; treat every closed line as full.",
    "A pressure gauge that reads nothing proves nothing: a blocked gauge and an empty tank look alike.",
)


@cache
def _rows() -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """Temperatures [°C], densities [kg/m³], absolute pressures [Pa] of the cited table."""
    saturated = table("liquids")["ammonia"]["saturated"]
    warm, dense, press = (saturated[name] for name in ("temperature", "density", "pressure"))
    return (
        tuple(to_metric(t, "temperature", warm["unit"]) for t in warm["rows"]),
        tuple(to_metric(d, "density", dense["unit"]) for d in dense["rows"]),
        tuple(to_metric(p + ATMOSPHERE_PSI, "pressure", press["unit"]) for p in press["rows"]),
    )


@worked(formula="low_y + (high_y - low_y) * (x - low_x) / (high_x - low_x)", source="definition", where="straight line through two points")
def straight_line(x: float, low_x: float, low_y: float, high_x: float, high_y: float) -> float:
    """Value on the straight line through two points. [unit of y]

    Raises
    ------
    RangeError
        If the points do not stand from left to right, or a value is not a number.
    """
    require_range("high_x", high_x, low_x, low_open=True)
    for name, value in (("x", x), ("low_y", low_y), ("high_y", high_y)):
        require_range(name, value)
    return low_y + (high_y - low_y) * (x - low_x) / (high_x - low_x)


def _between(xs: tuple[float, ...], ys: tuple[float, ...], x: float) -> float:
    """Straight lines through the points."""
    i = min(max(bisect.bisect_right(xs, x), 1), len(xs) - 1)
    return straight_line(x, xs[i - 1], ys[i - 1], xs[i], ys[i])


def _check(temperature_c: float) -> None:
    warm = _rows()[0]
    require_range("temperature_c", temperature_c, warm[0] - 1e-9, warm[-1] + 1e-9, unit="°C")


def ammonia_density(temperature_c: float) -> float:
    """Density of liquid ammonia in a closed tank, by its temperature.

    Parameters
    ----------
    temperature_c : float
        Temperature of the liquid, -33.3 to 37.8. [°C]

    Returns
    -------
    float
        Density. [kg/m³]

    Raises
    ------
    RangeError
        Outside the table.

    Examples
    --------
    >>> round(ammonia_density(15.56), 1)
    616.9

    References
    ----------
    Ten values from -28 to 100 °F computed with the open property library CoolProp, straight lines between them: within 0.03 % of it
    everywhere. The point -28 °F, 5.69 lb/gal is printed in the appendix of the Wisconsin code.
    """
    _check(temperature_c)
    return _between(_rows()[0], _rows()[1], temperature_c)


def ammonia_pressure(temperature_c: float) -> float:
    """Pressure in a closed tank of liquid ammonia, by its temperature; a gauge shows it less the air's pressure.

    Parameters
    ----------
    temperature_c : float
        Temperature of the liquid, -33.3 to 37.8. [°C]

    Returns
    -------
    float
        Absolute pressure. [Pa]

    Raises
    ------
    RangeError
        Outside the table.

    Examples
    --------
    At 60 °F, 92.9 psi over the air:

    >>> round((ammonia_pressure(15.5556) - 101325) / 6894.757, 1)
    92.9

    References
    ----------
    Ten values from -28 to 100 °F computed with the open property library CoolProp, the logarithm of pressure in straight lines over
    1 / absolute temperature: within 0.2 % of it everywhere.
    """
    _check(temperature_c)
    warm, _, press = _rows()
    inverse = tuple(-1 / (t + 273.15) for t in warm)
    return math.exp(_between(inverse, tuple(math.log(p) for p in press), -1 / (temperature_c + 273.15)))


@worked(formula="nitrogen_kg_ha / fraction", source="ammonia-nitrogen-example", where="nitrogen over its share by mass")
def ammonia_rate(nitrogen_kg_ha: float, *, fraction: float | None = None) -> float:
    """Ammonia that carries a mass of nitrogen.

    Parameters
    ----------
    nitrogen_kg_ha : float
        Nitrogen wanted. [kg/ha]
    fraction : float or None
        Nitrogen per ammonia by mass; None: 0.82, as sold. [-]

    Returns
    -------
    float
        Ammonia. [kg/ha]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    240 lb of nitrogen are in 293 lb of ammonia:

    >>> round(ammonia_rate(240))
    293
    """
    require_range("nitrogen_kg_ha", nitrogen_kg_ha, 0, math.inf, high_open=True, unit="kg/ha")
    share = figures("liquids", "ammonia", "nitrogen")[0].value if fraction is None else fraction
    require_range("fraction", share, 0, 1, low_open=True)
    return nitrogen_kg_ha / share


def ammonia_volume_rate(rate_kg_ha: float, temperature_c: float) -> float:
    """Litres of liquid ammonia that are a mass of it, at the temperature in the tank.

    Parameters
    ----------
    rate_kg_ha : float
        Ammonia. [kg/ha]
    temperature_c : float
        Temperature of the liquid, -33.3 to 37.8. [°C]

    Returns
    -------
    float
        Rate by volume, as liquid without vapour; the flow meter must see no bubbles. [L/ha]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    122 kg/ha at 10 °C are 195 L/ha, at 25 °C 202 L/ha:

    >>> round(ammonia_volume_rate(122, 10)), round(ammonia_volume_rate(122, 25))
    (195, 202)
    """
    require_range("rate_kg_ha", rate_kg_ha, 0, math.inf, high_open=True, unit="kg/ha")
    return rate_kg_ha / ammonia_density(temperature_c) * 1000
