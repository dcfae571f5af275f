"""Air: density, pressure by height, fan laws, and the published saltation correlations with their ranges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from evenstand.base.errors import InputError, require_range
from evenstand.base.worked import worked

GRAVITY = 9.80665
_GAS = 287.05287
_VAPOUR_GAS = 461.523
_LAPSE = 0.0065
_T0 = 288.15
_P0 = 101_325.0


@worked(formula="101325 * (1 - 0.0065 * height_m / 288.15) ** 5.255877", source="iso-2533", where="troposphere, geopotential height")
def standard_pressure(height_m: float) -> float:
    """Air pressure of the standard atmosphere, for a place whose barometer is not known.

    Parameters
    ----------
    height_m : float
        Geopotential height above sea level, -500 to 11,000. [m]

    Returns
    -------
    float
        Pressure. [Pa]

    Raises
    ------
    RangeError
        Outside the troposphere.
    """
    require_range("height_m", height_m, -500, 11_000, unit="m")
    return _P0 * (1 - _LAPSE * height_m / _T0) ** 5.255877


def saturation_pressure(temperature_c: float) -> float:
    """Vapour pressure of water over water, by the Magnus form.

    Parameters
    ----------
    temperature_c : float
        Air temperature, -45 to 60. [°C]

    Returns
    -------
    float
        Pressure. [Pa]

    References
    ----------
    Magnus form with 611.2 Pa, 17.62, 243.12 °C (WMO No. 8; from memory, not read here). Good to 0.3 % in the range.
    """
    require_range("temperature_c", temperature_c, -45, 60, unit="°C")
    return 611.2 * math.exp(17.62 * temperature_c / (243.12 + temperature_c))


def air_density(temperature_c: float, pressure_pa: float, relative_humidity: float = 0) -> float:
    """Density of moist air as a mixture of two ideal gases.

    Parameters
    ----------
    temperature_c : float
        Air temperature, -45 to 60. [°C]
    pressure_pa : float
        Air pressure at the fan's inlet, not reduced to sea level, 30,000 to 120,000. [Pa]
    relative_humidity : float
        Share of saturation, 0 to 1. [-]

    Returns
    -------
    float
        Density. [kg/m³]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    >>> round(air_density(15, 101325), 4)
    1.225
    """
    require_range("pressure_pa", pressure_pa, 30_000, 120_000, unit="Pa")
    require_range("relative_humidity", relative_humidity, 0, 1)
    vapour = relative_humidity * saturation_pressure(temperature_c)
    kelvin = temperature_c + 273.15
    return (pressure_pa - vapour) / (_GAS * kelvin) + vapour / (_VAPOUR_GAS * kelvin)


@dataclass(frozen=True, slots=True, kw_only=True)
class FanPoint:
    """A fan at another speed and density. flow [same unit as given], pressure [same], power [same]."""

    flow: float
    pressure: float
    power: float


def fan_laws(flow: float, pressure: float, power: float, *, speed_ratio: float, density_ratio: float = 1.0) -> FanPoint:
    """Flow, pressure and power of the same fan on the same ducts at another speed: flow as N, pressure as N² ρ, power as N³ ρ.

    Parameters
    ----------
    flow, pressure, power : float
        At the known point, any unit. [any]
    speed_ratio : float
        New speed over old. [-]
    density_ratio : float
        New air density over old. [-]

    Returns
    -------
    FanPoint
        At the new point, in the units given. [as given]

    Raises
    ------
    RangeError
        If a ratio is not above 0.

    References
    ----------
    Fan laws as quoted in a trade journal on process heating (second-hand).
    """
    require_range("speed_ratio", speed_ratio, 0, 10, low_open=True)
    require_range("density_ratio", density_ratio, 0, 10, low_open=True)
    return FanPoint(
        flow=flow * speed_ratio, pressure=pressure * speed_ratio**2 * density_ratio, power=power * speed_ratio**3 * density_ratio
    )


class WeakBand(float):
    """A speed with the range its correlation was made for. `warning` says what lies outside; "" if nothing does. [m/s]"""

    warning: str

    def __new__(cls, value: float, warning: str = "") -> WeakBand:
        made = super().__new__(cls, value)
        made.warning = warning
        return made


def saltation_velocity(
    solids_kg_s: float, particle_m: float, gas_kg_m3: float, bore_m: float, *, method: Literal["rizk"] = "rizk"
) -> WeakBand:
    """Air speed below which product drops out in a level pipe, by a published correlation.

    Parameters
    ----------
    solids_kg_s : float
        Mass flow of product in this pipe. [kg/s]
    particle_m : float
        Particle diameter. [m]
    gas_kg_m3 : float
        Air density. [kg/m³]
    bore_m : float
        Inside diameter. [m]
    method : str
        "rizk" (1973): loading = 10^-(1440 d + 1.96) Froude^(1100 d + 2.5). [-]

    Returns
    -------
    WeakBand
        Air speed; its `warning` is not empty for particles above 0.2 mm, which means for every seed and prill: never set a fan by it. [m/s]

    Raises
    ------
    RangeError
        If an argument is not above 0.
    InputError
        For an unknown method.

    References
    ----------
    Rizk 1973 as in Rhodes, Introduction to Particle Technology, and in the documentation of the open library `fluids`; stated error
    54 %, best below 0.2 mm (second-hand).
    """
    if method != "rizk":
        raise InputError(f"'{method}' is no method", where="method", cure="Use rizk.")
    for name, value in (("solids_kg_s", solids_kg_s), ("particle_m", particle_m), ("gas_kg_m3", gas_kg_m3), ("bore_m", bore_m)):
        require_range(name, value, 0, math.inf, low_open=True, high_open=True)
    alpha, beta = 1440 * particle_m + 1.96, 1100 * particle_m + 2.5
    area = math.pi / 4 * bore_m**2
    # solids / (gas U area) = 10^-alpha (U / sqrt(g D))^beta, solved for U
    grouped = solids_kg_s * 10**alpha * (GRAVITY * bore_m) ** (beta / 2) / (gas_kg_m3 * area)
    speed = grouped ** (1 / (1 + beta))
    warning = ""
    if particle_m > 2e-4:
        warning = f"{particle_m * 1e3:g} mm is outside the range this correlation was made for (up to 0.2 mm): a weak opinion, no setting."
    return WeakBand(speed, warning)
