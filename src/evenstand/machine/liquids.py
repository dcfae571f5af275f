"""Liquid products: nozzle flow, and water as a stand-in for heavier fluids."""

from __future__ import annotations

import math

from evenstand.base.errors import require_range
from evenstand.base.worked import worked


@worked(formula="rate_l_ha * speed_m_s * spacing_m * 60 / 10000", source="definition", where="volume per time = rate x area per time")
def nozzle_flow(rate_l_ha: float, speed_m_s: float, spacing_m: float) -> float:
    """Flow of one nozzle or orifice.

    Parameters
    ----------
    rate_l_ha : float
        Volume wanted per area. [L/ha]
    speed_m_s : float
        Ground speed. [m/s]
    spacing_m : float
        Distance between nozzles. [m]

    Returns
    -------
    float
        Flow. [L/min]

    Raises
    ------
    RangeError
        If an argument is below 0.
    """
    for name, value in (("rate_l_ha", rate_l_ha), ("speed_m_s", speed_m_s), ("spacing_m", spacing_m)):
        require_range(name, value, 0, math.inf, high_open=True)
    return rate_l_ha * speed_m_s * spacing_m * 60 / 10000


@worked(formula="sqrt(density_kg_m3 / 999.3)", source="unl-solutions-2016", where="square root of the specific gravity, water 8.34 lb/gal")
def water_factor(density_kg_m3: float) -> float:
    """Flow on water that an orifice must have to give a wanted flow of another fluid, over that wanted flow.

    Parameters
    ----------
    density_kg_m3 : float
        Density of the fluid; measure it, published figures for one product differ by 4 %. [kg/m³]

    Returns
    -------
    float
        Factor. [-]

    Raises
    ------
    RangeError
        If the density is not above 0.
    """
    require_range("density_kg_m3", density_kg_m3, 0, 3000, low_open=True, unit="kg/m³")
    return math.sqrt(density_kg_m3 / 999.3)
