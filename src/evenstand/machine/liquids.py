"""Liquid products: flow and rate, water as a stand-in for heavier fluids, orifices, flow pulses and tank gauges."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenstand.base.errors import require_range
from evenstand.base.worked import worked
from evenstand.reference import figure


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


@worked(
    formula="rate_l_ha * speed_m_s * width_m * 60 / 10000 / outlets", source="definition", where="volume per time = rate x area per time"
)
def liquid_flow(rate_l_ha: float, speed_m_s: float, width_m: float, *, outlets: int = 1) -> float:
    """Flow of the whole tool, or of each of its outlets.

    Parameters
    ----------
    rate_l_ha : float
        Volume wanted per area. [L/ha]
    speed_m_s : float
        Ground speed. [m/s]
    width_m : float
        Width fed. [m]
    outlets : int
        Outlets that share it evenly; 1: the whole tool. [-]

    Returns
    -------
    float
        Flow. [L/min]

    Raises
    ------
    RangeError
        If an argument is below 0, or there is no outlet.

    Examples
    --------
    60 L/ha at 7.6 km/h over 16.256 m: 12.35 L/min, 0.193 L/min at each of 64 openers.

    >>> round(liquid_flow(60, 7.6 / 3.6, 16.256), 2), round(liquid_flow(60, 7.6 / 3.6, 16.256, outlets=64), 3)
    (12.35, 0.193)
    """
    for name, value in (("rate_l_ha", rate_l_ha), ("speed_m_s", speed_m_s), ("width_m", width_m)):
        require_range(name, value, 0, math.inf, high_open=True)
    require_range("outlets", outlets, 1)
    return rate_l_ha * speed_m_s * width_m * 60 / 10000 / outlets


@worked(formula="flow_l_min * 10000 / (60 * speed_m_s * width_m)", source="definition", where="rate = volume per time / area per time")
def liquid_rate(flow_l_min: float, speed_m_s: float, width_m: float) -> float:
    """Rate that a flow makes.

    Parameters
    ----------
    flow_l_min : float
        Flow into that width. [L/min]
    speed_m_s : float
        Ground speed. [m/s]
    width_m : float
        Width fed. [m]

    Returns
    -------
    float
        Rate. [L/ha]

    Raises
    ------
    RangeError
        If the flow is below 0, or speed or width is not above 0.
    """
    require_range("flow_l_min", flow_l_min, 0, math.inf, high_open=True, unit="L/min")
    require_range("speed_m_s", speed_m_s, 0, math.inf, low_open=True, high_open=True, unit="m/s")
    require_range("width_m", width_m, 0, math.inf, low_open=True, high_open=True, unit="m")
    return flow_l_min * 10000 / (60 * speed_m_s * width_m)


@worked(formula="water_flow / sqrt(density_kg_m3 / 999.3)", source="unl-solutions-2016", where="square root of the specific gravity")
def fluid_flow(water_flow: float, density_kg_m3: float) -> float:
    """What an orifice that was tested on water gives of another fluid at the same pressure.

    Parameters
    ----------
    water_flow : float
        Flow, or rate, on water. [L/min or L/ha]
    density_kg_m3 : float
        Density of the fluid. [kg/m³]

    Returns
    -------
    float
        Flow, or rate, of the fluid. [as given]

    Raises
    ------
    RangeError
        If the flow is below 0 or the density not above 0.
    """
    require_range("water_flow", water_flow, 0, math.inf, high_open=True)
    require_range("density_kg_m3", density_kg_m3, 0, 3000, low_open=True, unit="kg/m³")
    return water_flow / math.sqrt(density_kg_m3 / 999.3)


@worked(
    formula="sqrt(4 * flow_l_min / 60000 / (pi * coefficient) * sqrt(density_kg_m3 / (2 * pressure_drop_pa)))",
    source="fluids-flow-meter",
    where="ISO 5167-2:2003, solved for a small opening out of a wide space",
)
def liquid_orifice_bore(flow_l_min: float, pressure_drop_pa: float, density_kg_m3: float, *, coefficient: float) -> float:
    """Bore of a round opening that passes a flow of liquid at a pressure; then take the next size on your maker's table.

    Parameters
    ----------
    flow_l_min : float
        Flow wanted through one opening. [L/min]
    pressure_drop_pa : float
        Pressure before less after it. [Pa]
    density_kg_m3 : float
        Density of the liquid; no boiling on the way, so not for ammonia. [kg/m³]
    coefficient : float
        Coefficient of discharge; it depends on the edge and is not guessed here. [-]

    Returns
    -------
    float
        Diameter. [m]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    >>> round(liquid_orifice_bore(0.193, 140_000, 1279, coefficient=0.65) * 1000, 2)
    0.65
    """
    require_range("flow_l_min", flow_l_min, 0, math.inf, low_open=True, high_open=True, unit="L/min")
    require_range("pressure_drop_pa", pressure_drop_pa, 0, math.inf, low_open=True, high_open=True, unit="Pa")
    require_range("density_kg_m3", density_kg_m3, 0, 3000, low_open=True, unit="kg/m³")
    require_range("coefficient", coefficient, 0, 1, low_open=True)
    return math.sqrt(4 * flow_l_min / 60000 / (math.pi * coefficient) * math.sqrt(density_kg_m3 / (2 * pressure_drop_pa)))


@worked(formula="pressure_pa * flow_ratio ** 2", source="definition", where="flow of an opening as the root of its pressure")
def pressure_for_flow(pressure_pa: float, flow_ratio: float) -> float:
    """Pressure over the same openings at another flow: twice the flow takes four times the pressure.

    Parameters
    ----------
    pressure_pa : float
        Pressure drop over the openings at the known flow. [Pa]
    flow_ratio : float
        New flow over known flow; with speed and rate both changed, their product. [-]

    Returns
    -------
    float
        Pressure drop. [Pa]

    Raises
    ------
    RangeError
        If an argument is below 0.
    """
    require_range("pressure_pa", pressure_pa, 0, math.inf, high_open=True, unit="Pa")
    require_range("flow_ratio", flow_ratio, 0, math.inf, high_open=True)
    return pressure_pa * flow_ratio**2


@worked(formula="nutrient_kg_ha / (fraction * density_kg_m3 / 1000)", source="definition", where="mass of product over its density")
def liquid_nutrient_rate(nutrient_kg_ha: float, fraction: float, density_kg_m3: float) -> float:
    """Litres per hectare that carry a mass of nutrient; with fraction 1, of the product itself.

    Parameters
    ----------
    nutrient_kg_ha : float
        Nutrient wanted. [kg/ha]
    fraction : float
        Nutrient per product, by mass. [-]
    density_kg_m3 : float
        Density of the liquid. [kg/m³]

    Returns
    -------
    float
        Rate. [L/ha]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    100 kg N/ha from 32 % solution at 1.33 kg/L:

    >>> round(liquid_nutrient_rate(100, 0.32, 1330))
    235
    """
    require_range("nutrient_kg_ha", nutrient_kg_ha, 0, math.inf, high_open=True, unit="kg/ha")
    require_range("fraction", fraction, 0, 1, low_open=True)
    require_range("density_kg_m3", density_kg_m3, 0, 3000, low_open=True, unit="kg/m³")
    return nutrient_kg_ha / (fraction * density_kg_m3 / 1000)


@worked(formula="density_kg_m3 / 1000 * fraction", source="definition")
def nutrient_per_litre(density_kg_m3: float, fraction: float) -> float:
    """Nutrient in a litre of a liquid.

    Parameters
    ----------
    density_kg_m3 : float
        Density of the liquid. [kg/m³]
    fraction : float
        Nutrient per product, by mass. [-]

    Returns
    -------
    float
        Nutrient. [kg/L]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("density_kg_m3", density_kg_m3, 0, 3000, low_open=True, unit="kg/m³")
    require_range("fraction", fraction, 0, 1)
    return density_kg_m3 / 1000 * fraction


@worked(formula="density_kg_m3 / 1000 / pulses_l", source="definition", where="mass of a pulse = density / pulses per volume")
def pulse_mass(pulses_l: float, density_kg_m3: float) -> float:
    """Product per pulse of a flow meter: the factor of a liquid stream, in the place that product per turn has for a meter.

    Parameters
    ----------
    pulses_l : float
        Pulses per litre, by catching a measured volume. [1/L]
    density_kg_m3 : float
        Density of the liquid as it flows; warm ammonia is lighter than cold. [kg/m³]

    Returns
    -------
    float
        Factor for `meter_speed` and `meter_rate`, with pulses a second in place of turns a second. [kg/pulse]

    Raises
    ------
    RangeError
        If an argument is not above 0.

    Examples
    --------
    >>> round(pulse_mass(700, 1279) * 1000, 3)
    1.827
    """
    require_range("pulses_l", pulses_l, 0, math.inf, low_open=True, high_open=True)
    require_range("density_kg_m3", density_kg_m3, 0, 3000, low_open=True, unit="kg/m³")
    return density_kg_m3 / 1000 / pulses_l


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeStep:
    """What one step of a tank gauge is worth.

    step_kg: mass of a step [kg]; step_ha: area it feeds [ha]; difference_sd_kg, difference_sd_ha: one standard deviation of the use
    read as a difference of two readings; area_for_check_ha: ground to cover before the use is known to the share asked for [ha].
    """

    step_kg: float
    step_ha: float
    difference_sd_kg: float
    difference_sd_ha: float
    area_for_check_ha: float


def gauge_step(
    capacity_l: float, density_kg_m3: float, rate_kg_ha: float, *, step: float | None = None, precision: float = 0.05
) -> GaugeStep:
    """How coarse a tank gauge is, in kilograms and hectares: when a look at it says something.

    Parameters
    ----------
    capacity_l : float
        What the tank holds at 100 % of its gauge. [L]
    density_kg_m3 : float
        Density of the liquid. [kg/m³]
    rate_kg_ha : float
        Rate. [kg/ha]
    step : float or None
        Reading step as a share of the tank; None: common practice, 5 %. [-]
    precision : float
        How well the use is to be known, one standard deviation as a share of it. [-]

    Returns
    -------
    GaugeStep
        Kilograms and hectares. [units in the field names]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    A tank of 3,785 L of ammonia at 617 kg/m³ and 100 kg/ha: 5 % are 117 kg or 1.2 ha; only after 9.5 ha is the use known to 5 %.

    >>> g = gauge_step(3785, 617, 100)
    >>> round(g.step_kg), round(g.step_ha, 1), round(g.area_for_check_ha, 1)
    (117, 1.2, 9.5)

    References
    ----------
    A definition: a reading rounded to steps lies anywhere within half a step, sd = step / sqrt(12); a difference of two has
    sd = step / sqrt(6). The step of 5 %: common practice.
    """
    require_range("capacity_l", capacity_l, 0, 1e6, low_open=True, unit="L")
    require_range("density_kg_m3", density_kg_m3, 0, 3000, low_open=True, unit="kg/m³")
    require_range("rate_kg_ha", rate_kg_ha, 0, math.inf, low_open=True, high_open=True, unit="kg/ha")
    share = figure("liquids", "gauge", "step").value if step is None else step
    require_range("step", share, 0, 1, low_open=True)
    require_range("precision", precision, 0, 1, low_open=True)
    step_kg = share * capacity_l * density_kg_m3 / 1000
    spread = step_kg / math.sqrt(6)
    return GaugeStep(
        step_kg=step_kg,
        step_ha=step_kg / rate_kg_ha,
        difference_sd_kg=spread,
        difference_sd_ha=spread / rate_kg_ha,
        area_for_check_ha=spread / precision / rate_kg_ha,
    )
