"""Pressure drop of a conveying line, in parts."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenstand.base.errors import InputError, require_range
from evenstand.base.units import to_metric
from evenstand.machine.air import GRAVITY
from evenstand.machine.air_bands import published_air_band
from evenstand.machine.friction import FrictionMethod, air_viscosity, friction_factor
from evenstand.reference import figure


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePressure:
    """Pressure that a line takes, part by part.

    total_pa, and low_pa to high_pa: the error stated for such sums [Pa]; straight_pa, hose_pa, bends_pa: air alone, by friction;
    solids_pa: what product adds to that; air_start_pa, solids_start_pa: bringing air and product to speed; lift_pa: raising both [Pa];
    equivalent_m: length of straight pipe that rubs as much [m]; product_m_s: speed of the product [m/s]; loading: kg of product per kg
    of air; reynolds, friction_factor [-]. warnings: what is weak; range: what the sum is meant for.
    """

    total_pa: float
    low_pa: float
    high_pa: float
    straight_pa: float
    hose_pa: float
    bends_pa: float
    solids_pa: float
    air_start_pa: float
    solids_start_pa: float
    lift_pa: float
    equivalent_m: float
    product_m_s: float
    loading: float
    reynolds: float
    friction_factor: float
    warnings: tuple[str, ...]
    range: str

    @property
    def air_pa(self) -> float:
        """Friction of the air alone. [Pa]"""
        return self.straight_pa + self.hose_pa + self.bends_pa


_RANGE = (
    "Dilute, level conveying in round lines of one bore, with bends as equivalent length. An error of 10 % is stated for such sums "
    "(second-hand); none was tested on seeder hoses. Heads, openers and fan are not in it."
)


def line_pressure_drop(
    length_m: float,
    bore_m: float,
    air_speed_m_s: float,
    gas_kg_m3: float,
    *,
    solids_kg_s: float = 0.0,
    lift_m: float = 0.0,
    bends: float = 0.0,
    hose_m: float = 0.0,
    roughness_m: float = 0.0,
    viscosity_pa_s: float | None = None,
    friction: FrictionMethod | None = None,
    slip: float = 0.8,
    solids_k: float | None = None,
    solids_friction: float | None = None,
    product: str = "",
) -> LinePressure:
    """Pressure drop of a line that carries product in air.

    Friction of the air over straight pipe, hose and bends; friction of the product; start of both; lift. The product's friction is, in
    order: `solids_k` times the loading times the air's; or with `solids_friction` in place of the air's factor, times slip and loading;
    or with neither, the air's friction times slip and loading.

    Parameters
    ----------
    length_m : float
        Straight smooth pipe or tube, without hose. [m]
    bore_m : float
        Inside diameter. [m]
    air_speed_m_s : float
        Mean air speed in it, up to 100. [m/s]
    gas_kg_m3 : float
        Air density in it. [kg/m³]
    solids_kg_s : float
        Product in this line. [kg/s]
    lift_m : float
        Height that product is raised; its pipe belongs to `length_m` too. [m]
    bends : float
        Long bends of 90 degrees; one of 45 counts one half. [-]
    hose_m : float
        Flexible rubber or vinyl hose, counted five times its length. [m]
    roughness_m : float
        Height of the wall's roughness; 0 is smooth. [m]
    viscosity_pa_s : float or None
        Of the air; None: at 15 °C. [Pa s]
    friction : str or None
        Method of `friction_factor`; None: Blasius for a smooth pipe within its range, else Swamee-Jain. [-]
    slip : float
        Speed of the product over that of the air. [-]
    solids_k : float or None
        Your own factor of the K method: drop = drop of air (1 + K loading). [-]
    solids_friction : float or None
        Friction factor of the product in the pipe. [-]
    product : str
        Crop or fertilizer, to hold the air speed against its published floating speed. [-]

    Returns
    -------
    LinePressure
        Total, parts, stated error and warnings. [Pa]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    InputError
        If two ways for the product's friction are given.

    Examples
    --------
    Wheat at 0.08 kg/s through 8 m of tube and 2 m of hose of 64 mm with two bends, air at 25 m/s: 6.0 kPa.

    >>> drop = line_pressure_drop(8, 0.064, 25, 1.2, solids_kg_s=0.08, hose_m=2, bends=2)
    >>> round(drop.total_pa), round(drop.air_pa), round(drop.loading, 2)
    (6016, 3093, 0.83)

    References
    ----------
    Form of the sum: Agarwal 2005, and reference sheets on conveying, both second-hand; their printed term lacks one air speed, which
    the units ask for. Bends, hose and slip: a process-engineering article, second-hand. No printed total was found to test against.
    """
    _check_line(length_m, bore_m, air_speed_m_s, gas_kg_m3, solids_kg_s, lift_m, bends, hose_m, roughness_m)
    require_range("slip", slip, 0, 1, low_open=True)
    if solids_k is not None and solids_friction is not None:
        raise InputError("two ways are given for the product", where="solids_k, solids_friction", cure="Give one of them.")
    for name, value in (("solids_k", solids_k), ("solids_friction", solids_friction)):
        if value is not None:
            require_range(name, value, 0, 100)
    viscosity = air_viscosity(15) if viscosity_pa_s is None else viscosity_pa_s
    require_range("viscosity_pa_s", viscosity, 0, 1e-3, low_open=True, unit="Pa s")
    reynolds = gas_kg_m3 * air_speed_m_s * bore_m / viscosity
    method = friction or ("blasius" if roughness_m == 0 and reynolds <= 2e5 else "swamee-jain")
    factor = friction_factor(reynolds, roughness_m / bore_m, method=method)
    dynamic = gas_kg_m3 * air_speed_m_s**2 / 2
    per_metre = factor / bore_m * dynamic
    hose = hose_m * figure("air", "drop", "hose-times").value
    bend = bends * max(
        figure("air", "drop", "bend-diameters").value * bore_m, to_metric(figure("air", "drop", "bend-length").value, "width", "ft")
    )
    area = math.pi / 4 * bore_m**2
    flux = solids_kg_s / area
    loading = flux / (gas_kg_m3 * air_speed_m_s)
    grain = slip * air_speed_m_s
    air = per_metre * (length_m + hose + bend)
    if solids_k is not None:
        rubbing = air * solids_k * loading
    else:
        rubbing = air * slip * loading * (1.0 if solids_friction is None else solids_friction / factor)
    lifting = GRAVITY * lift_m * (gas_kg_m3 + flux / grain)
    total = air + rubbing + dynamic + flux * grain + lifting
    error = figure("air", "drop", "said-error").value
    return LinePressure(
        total_pa=total, low_pa=total * (1 - error), high_pa=total * (1 + error), straight_pa=per_metre * length_m,
        hose_pa=per_metre * hose, bends_pa=per_metre * bend, solids_pa=rubbing, air_start_pa=dynamic, solids_start_pa=flux * grain,
        lift_pa=lifting, equivalent_m=length_m + hose + bend, product_m_s=grain, loading=loading, reynolds=reynolds,
        friction_factor=factor, warnings=_line_warnings(air_speed_m_s, loading, slip, product), range=_RANGE,
    )  # fmt: skip


def _check_line(*values: float) -> None:
    names = ("length_m", "bore_m", "air_speed_m_s", "gas_kg_m3", "solids_kg_s", "lift_m", "bends", "hose_m", "roughness_m")
    most = (1000.0, 1.0, 100.0, 10.0, 100.0, 100.0, 100.0, 1000.0, 0.05)
    above = {"bore_m", "air_speed_m_s", "gas_kg_m3"}
    for name, value, high in zip(names, values, most, strict=True):
        require_range(name, value, 0, high, low_open=name in above)


def _line_warnings(speed: float, loading: float, slip: float, product: str) -> tuple[str, ...]:
    """What lies outside, or near the edge of, what the sources speak of."""
    told = ["No printed total was found to hold this sum against: a weak figure, no setting."]
    flag, thick = figure("air", "lines", "saltation-flag"), figure("air", "loading", "dilute-limit")
    span = figure("air", "drop", "slip")
    if speed < flag.value:
        told.append(f"{speed:g} m/s is below the {flag.value:g} m/s under which one source expects product to drop out (a flag, no law).")
    if loading > thick.value:
        told.append(f"{loading:.1f} kg of product per kg of air is no longer dilute (above {thick.value:g}).")
    if not span.low <= slip <= span.high:
        told.append(f"A slip of {slip:g} lies outside the published {span.low:g} to {span.high:g}.")
    band = published_air_band(product)
    if band.critical_high_m_s is not None and speed <= band.critical_high_m_s:
        told.append(f"{speed:g} m/s does not clear the floating speed of {band.product}, up to {band.critical_high_m_s:g} m/s.")
    return tuple(told)
