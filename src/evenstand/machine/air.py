"""Air: density, pressure by height, fan laws, flow through an opening, and the published saltation correlations with their ranges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

from evenstand.base.errors import InputError, MissingError, require_range
from evenstand.base.worked import worked

GRAVITY = 9.80665
_GAS = 287.05287
_VAPOUR_GAS = 461.523
_EARTH_M = 6_356_766.0

SaltationMethod = Literal[
    "rizk", "matsumoto-1974", "matsumoto-1975", "matsumoto-1977", "schade", "weber", "geldart-ling"
]  # fmt: skip


@worked(formula="101325 * (1 - 0.0065 * height_m / 288.15) ** 5.2558761", source="iso-2533", where="troposphere, geopotential height")
def standard_pressure(height_m: float) -> float:
    """Air pressure of the standard atmosphere, for a place whose barometer is not known.

    Parameters
    ----------
    height_m : float
        Geopotential height above sea level, -500 to 11,000; up to 3000 m a height off a map differs by less than 0.05 %. [m]

    Returns
    -------
    float
        Pressure. [Pa]

    Raises
    ------
    RangeError
        Outside the troposphere.

    Examples
    --------
    >>> round(standard_pressure(600))
    94322
    """
    require_range("height_m", height_m, -500, 11_000, unit="m")
    return float(101_325 * (1 - 0.0065 * height_m / 288.15) ** 5.2558761)


@worked(formula="15 - 0.0065 * height_m", source="iso-2533", where="troposphere, geopotential height")
def standard_temperature(height_m: float) -> float:
    """Air temperature of the standard atmosphere; a place to start, no forecast.

    Parameters
    ----------
    height_m : float
        Geopotential height above sea level, -500 to 11,000. [m]

    Returns
    -------
    float
        Temperature. [°C]

    Raises
    ------
    RangeError
        Outside the troposphere.
    """
    require_range("height_m", height_m, -500, 11_000, unit="m")
    return 15 - 0.0065 * height_m


@worked(formula="6356766 * height_m / (6356766 + height_m)", source="iso-2533", where="geopotential from geometric height")
def geopotential_height(height_m: float) -> float:
    """Geopotential height of a place from its height off a map.

    Parameters
    ----------
    height_m : float
        Geometric height above sea level, -500 to 11,000. [m]

    Returns
    -------
    float
        Geopotential height. [m]

    Raises
    ------
    RangeError
        Outside the range.
    """
    require_range("height_m", height_m, -500, 11_000, unit="m")
    return _EARTH_M * height_m / (_EARTH_M + height_m)


@worked(formula="611.2 * exp(17.62 * temperature_c / (243.12 + temperature_c))", source="wmo-8-magnus", where="Magnus form, over water")
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

    Raises
    ------
    RangeError
        Outside the range.

    References
    ----------
    Magnus form with 611.2 Pa, 17.62, 243.12 °C (World Meteorological Organization, WMO-No. 8; from memory, not read here). Held
    against an independent property library.
    """
    require_range("temperature_c", temperature_c, -45, 60, unit="°C")
    return 611.2 * math.exp(17.62 * temperature_c / (243.12 + temperature_c))


@worked(
    formula="dry_pa / (287.05287 * (temperature_c + 273.15)) + vapour_pa / (461.523 * (temperature_c + 273.15))",
    source="iso-2533",
    where="ideal gas with the constant of dry air, and the same for vapour",
)
def mixture_density(dry_pa: float, vapour_pa: float, temperature_c: float) -> float:
    """Density of two ideal gases, dry air and vapour, each at its own part of the pressure. [kg/m³]

    Raises
    ------
    RangeError
        If a pressure is below 0 or the temperature outside -45 to 60 °C.
    """
    require_range("dry_pa", dry_pa, 0, 120_000, unit="Pa")
    require_range("vapour_pa", vapour_pa, 0, 120_000, unit="Pa")
    require_range("temperature_c", temperature_c, -45, 60, unit="°C")
    kelvin = temperature_c + 273.15
    return dry_pa / (_GAS * kelvin) + vapour_pa / (_VAPOUR_GAS * kelvin)


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
    require_range("temperature_c", temperature_c, -45, 60, unit="°C")
    require_range("pressure_pa", pressure_pa, 30_000, 120_000, unit="Pa")
    require_range("relative_humidity", relative_humidity, 0, 1)
    vapour = relative_humidity * saturation_pressure(temperature_c)
    return mixture_density(pressure_pa - vapour, vapour, temperature_c)


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

    Examples
    --------
    Ten per cent more speed: 10 % more air, 21 % more pressure, a third more power.

    >>> point = fan_laws(1.0, 1.0, 1.0, speed_ratio=1.1)
    >>> round(point.flow, 2), round(point.pressure, 2), round(point.power, 2)
    (1.1, 1.21, 1.33)

    References
    ----------
    Fan laws as quoted in a trade journal on process heating (second-hand).
    """
    require_range("speed_ratio", speed_ratio, 0, 10, low_open=True)
    require_range("density_ratio", density_ratio, 0, 10, low_open=True)
    return FanPoint(
        flow=flow * speed_ratio, pressure=pressure * speed_ratio**2 * density_ratio, power=power * speed_ratio**3 * density_ratio
    )


@worked(
    formula="pi / 4 * bore_m ** 2 * coefficient * expansibility * sqrt(2 * gas_kg_m3 * pressure_drop_pa / (1 - (bore_m / duct_m) ** 4))",
    source="fluids-flow-meter",
    where="ISO 5167-2:2003; out of a wide space the bracket is 1",
)
def orifice_flow(
    bore_m: float,
    pressure_drop_pa: float,
    gas_kg_m3: float,
    *,
    coefficient: float,
    duct_m: float | None = None,
    expansibility: float = 1.0,
) -> float:
    """Air that passes a round opening: an orifice in a duct, or a leak at a lid.

    Parameters
    ----------
    bore_m : float
        Diameter of the opening; for another shape, of a circle of its area. [m]
    pressure_drop_pa : float
        Pressure before less after it. [Pa]
    gas_kg_m3 : float
        Air density before it. [kg/m³]
    coefficient : float
        Coefficient of discharge; it depends on the edge and is not guessed here. [-]
    duct_m : float or None
        Inside diameter of the duct the opening sits in; None: out of a wide space. [m]
    expansibility : float
        Factor for the gas growing thinner on its way, 1 for small drops. [-]

    Returns
    -------
    float
        Mass flow. [kg/s]

    Raises
    ------
    RangeError
        If an argument is outside its range, or the opening is not smaller than the duct.

    Examples
    --------
    >>> round(orifice_flow(0.0222, 1000, 1.1646, coefficient=0.5988, duct_m=0.0739, expansibility=0.9975), 6)
    0.011204

    References
    ----------
    ISO 5167-2:2003, mass flow from the differential pressure, as in the documentation of the open library `fluids` (read there).
    """
    require_range("bore_m", bore_m, 0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("pressure_drop_pa", pressure_drop_pa, 0, math.inf, high_open=True, unit="Pa")
    require_range("gas_kg_m3", gas_kg_m3, 0, math.inf, low_open=True, high_open=True, unit="kg/m³")
    require_range("coefficient", coefficient, 0, 1, low_open=True)
    require_range("expansibility", expansibility, 0, 1, low_open=True)
    if duct_m is not None:
        require_range("duct_m", duct_m, bore_m, math.inf, low_open=True, high_open=True, unit="m")
    beta = 0.0 if duct_m is None else bore_m / duct_m
    area = math.pi / 4 * bore_m**2
    return area * coefficient * expansibility * math.sqrt(2 * gas_kg_m3 * pressure_drop_pa / (1 - beta**4))


class WeakBand(float):
    """A speed with the range its correlation was made for. `warning` says what is weak about it; "" if nothing is known. [m/s]"""

    warning: str

    def __new__(cls, value: float, warning: str = "") -> WeakBand:
        made = super().__new__(cls, value)
        made.warning = warning
        return made


def saltation_velocity(
    solids_kg_s: float,
    particle_m: float,
    gas_kg_m3: float,
    bore_m: float,
    *,
    method: SaltationMethod = "rizk",
    particle_kg_m3: float | None = None,
    terminal_m_s: float | None = None,
    viscosity_pa_s: float | None = None,
) -> WeakBand:
    """Air speed below which product drops out in a level pipe, by a published correlation.

    The correlations differ by a factor of two and more on seed and prills; they are an opinion behind a fan speed that was proven on the
    machine, never a setting by themselves.

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
        "rizk" (1973); "matsumoto-1974", "matsumoto-1975", "matsumoto-1977", "schade" (1987): need the particle's density; the Matsumotos
        also its terminal velocity; "weber" (1981): terminal velocity; "geldart-ling": viscosity. [-]
    particle_kg_m3 : float or None
        Density of the particle itself, not of the heap. [kg/m³]
    terminal_m_s : float or None
        Speed at which the particle floats in rising air. [m/s]
    viscosity_pa_s : float or None
        Of the air. [Pa s]

    Returns
    -------
    WeakBand
        Air speed; its `warning` says the range stated for the correlation and whether this lies outside. [m/s]

    Raises
    ------
    RangeError
        If an argument is not above 0.
    MissingError
        If the method needs something that was not given.
    InputError
        For an unknown method.

    Examples
    --------
    900 kg/h of 0.1 mm sand in a 78 mm pipe:

    >>> round(saltation_velocity(0.25, 100e-6, 1.2, 0.078, method="rizk"), 2)
    9.88

    References
    ----------
    Equations as in the documentation of the open library `fluids`, chapter saltation, which names Rizk 1973, Matsumoto et al. 1974, 1975
    and 1977, Schade 1987, Weber 1981, Geldart and Ling. Rizk's stated error is 54 %, best below 0.2 mm (second-hand).
    """
    if method not in get_args(SaltationMethod):
        raise InputError(f"'{method}' is no method", where="method", cure=f"Use {', '.join(get_args(SaltationMethod))}.")
    for name, value in (("solids_kg_s", solids_kg_s), ("particle_m", particle_m), ("gas_kg_m3", gas_kg_m3), ("bore_m", bore_m)):
        require_range(name, value, 0, math.inf, low_open=True, high_open=True)
    needs = {"particle_kg_m3": particle_kg_m3, "terminal_m_s": terminal_m_s, "viscosity_pa_s": viscosity_pa_s}
    given = {name: _needed(method, name, needs[name]) for name in _NEEDS[method]}
    speed = solids_kg_s / (gas_kg_m3 * math.pi / 4 * bore_m**2)  # loading times air speed
    root = math.sqrt(GRAVITY * bore_m)
    if method == "rizk":
        found = _rizk(speed, particle_m, root)
    elif method == "schade":
        found = (speed**0.11 * (bore_m / particle_m) ** 0.025 * (given["particle_kg_m3"] / gas_kg_m3) ** 0.34 * root) ** (1 / 1.11)
    elif method == "weber":
        lift = 7 + 8 / 3 * min(given["terminal_m_s"], 3.0)
        found = (lift * (particle_m / bore_m) ** 0.1 * root * speed**0.25) ** (1 / 1.25)
    elif method == "geldart-ling":
        found = _geldart_ling(solids_kg_s, gas_kg_m3, bore_m, given["viscosity_pa_s"])
    else:
        density = given["particle_kg_m3"] / gas_kg_m3
        floating = given["terminal_m_s"] / math.sqrt(GRAVITY * particle_m) / 10
        found = _matsumoto(method, speed, density, floating, 10 * root, particle_m / bore_m)
    return WeakBand(found, _saltation_warning(method, particle_m))


_NEEDS: dict[str, tuple[str, ...]] = {
    "rizk": (),
    "schade": ("particle_kg_m3",),
    "weber": ("terminal_m_s",),
    "geldart-ling": ("viscosity_pa_s",),
    "matsumoto-1974": ("particle_kg_m3", "terminal_m_s"),
    "matsumoto-1975": ("particle_kg_m3", "terminal_m_s"),
    "matsumoto-1977": ("particle_kg_m3", "terminal_m_s"),
}


def _needed(method: str, name: str, value: float | None) -> float:
    if value is None:
        raise MissingError(f"{method} needs it", where=name, cure="Give it, or use the method rizk.")
    require_range(name, value, 0, math.inf, low_open=True, high_open=True)
    return value


def _rizk(speed: float, particle_m: float, root: float) -> float:
    """loading = 10^-(1440 d + 1.96) Fr^(1100 d + 2.5). [m/s]"""
    alpha, beta = 1440 * particle_m + 1.96, 1100 * particle_m + 2.5
    return float((speed * 10**alpha * root**beta) ** (1 / (1 + beta)))


def _matsumoto(method: str, speed: float, density: float, floating: float, root: float, fineness: float) -> float:
    """loading = factor Fr^power, each edition with its own; the 1977 one has a form for fine particles. [m/s]"""
    if method == "matsumoto-1974":
        factor, power = 0.448 * density**0.5 * floating**-1.75, 3.0
    elif method == "matsumoto-1975":
        factor, power = 1.11 * density**0.55 * floating**-2.3, 3.0
    elif fineness > 1.39 * density**-0.74:
        factor, power = 0.373 * density**1.06 * floating**-3.7, 3.61
    else:
        factor, power = 5560 * fineness**1.43, 4.0
    return float((speed / factor * root**power) ** (1 / (1 + power)))


def _geldart_ling(solids_kg_s: float, gas_kg_m3: float, bore_m: float, viscosity_pa_s: float) -> float:
    flux = solids_kg_s / (math.pi / 4 * bore_m**2)
    common = viscosity_pa_s**0.055 * gas_kg_m3**-0.42
    if flux / bore_m <= 47_000:
        return float(1.5 * flux**0.465 * bore_m**-0.01 * common)
    return float(8.7 * flux**0.302 * bore_m**0.153 * common)


def _saltation_warning(method: str, particle_m: float) -> str:
    size = f"{particle_m * 1e3:g} mm"
    if method == "rizk":
        if particle_m > 2e-4:
            return f"{size} is outside the range this correlation was made for (up to 0.2 mm): a weak opinion, no setting."
        return ""
    if method in {"matsumoto-1974", "matsumoto-1975"}:
        return f"{size} is below the 0.3 mm it was made for." if particle_m < 3e-4 else "Said to run high; an opinion, no setting."
    return "No range is stated where it was read; an opinion, no setting."
