"""A grain in air: the speed at which it floats, and what the correlations say about product dropping out of a level line."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenstand.base.errors import RangeError, require_range
from evenstand.base.worked import worked
from evenstand.machine.air import GRAVITY, SaltationMethod, saltation_velocity


def _sphere_drag(reynolds: float) -> float:
    """Drag coefficient of a smooth sphere: Stokes, then Barati and others (2014), with a straight passage between. [-]"""
    stokes = 24 / reynolds
    if reynolds < 0.01:
        return stokes
    tanh = math.tanh
    barati = (
        5.4856e9 * tanh(4.3774e-9 / reynolds) + 0.0709 * tanh(700.6574 / reynolds) + 0.3894 * tanh(74.1539 / reynolds)
        - 0.1198 * tanh(7429.0843 / reynolds) + 1.7174 * tanh(9.9851 / (reynolds + 2.3384)) + 0.4744
    )  # fmt: skip
    if reynolds >= 0.1:
        return barati
    share = (reynolds - 0.01) / 0.09
    return share * barati + (1 - share) * stokes


@worked(
    formula="sqrt(4 * 9.80665 * particle_m * (particle_kg_m3 - fluid_kg_m3) / (3 * drag * fluid_kg_m3))",
    source="fluids-drag",
    where="weight less lift against drag",
)
def floating_by_drag(particle_m: float, particle_kg_m3: float, fluid_kg_m3: float, drag: float) -> float:
    """Speed at which a ball of a known drag coefficient floats, such as a seed whose coefficient was measured (wheat: 0.85 to 0.96).

    Parameters
    ----------
    particle_m : float
        Diameter; for a seed, of the ball of its volume. [m]
    particle_kg_m3 : float
        Density of the particle itself, above that of the fluid. [kg/m³]
    fluid_kg_m3 : float
        Density of air or liquid. [kg/m³]
    drag : float
        Drag coefficient at that speed. [-]

    Returns
    -------
    float
        Floating speed. [m/s]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("particle_m", particle_m, 0, 0.1, low_open=True, unit="m")
    require_range("fluid_kg_m3", fluid_kg_m3, 0, 5000, low_open=True, unit="kg/m³")
    require_range("particle_kg_m3", particle_kg_m3, fluid_kg_m3, 25_000, low_open=True, unit="kg/m³")
    require_range("drag", drag, 0, math.inf, low_open=True, high_open=True)
    return math.sqrt(4 * GRAVITY * particle_m * (particle_kg_m3 - fluid_kg_m3) / (3 * drag * fluid_kg_m3))


def terminal_velocity(particle_m: float, particle_kg_m3: float, fluid_kg_m3: float, viscosity_pa_s: float) -> float:
    """Speed at which a smooth ball floats in rising fluid; prefer a measured floating speed, seeds are no balls.

    Parameters
    ----------
    particle_m : float
        Diameter, up to 0.1. [m]
    particle_kg_m3 : float
        Density of the particle itself, above that of the fluid. [kg/m³]
    fluid_kg_m3 : float
        Density of air or liquid. [kg/m³]
    viscosity_pa_s : float
        Its viscosity. [Pa s]

    Returns
    -------
    float
        Floating speed. [m/s]

    Raises
    ------
    RangeError
        If an argument is outside its range, or the ball's Reynolds number would pass 200,000.

    Examples
    --------
    A 3 mm prill of 1,320 kg/m³:

    >>> round(terminal_velocity(0.003, 1320, 1.2, 1.8e-5), 1)
    10.2

    References
    ----------
    Stokes; Barati, Salehi Neyshabouri and Ahmadi 2014, as in the documentation of the open library `fluids`. Range: smooth spheres.
    """
    require_range("particle_m", particle_m, 0, 0.1, low_open=True, unit="m")
    require_range("fluid_kg_m3", fluid_kg_m3, 0, 5000, low_open=True, unit="kg/m³")
    require_range("particle_kg_m3", particle_kg_m3, fluid_kg_m3, 25_000, low_open=True, unit="kg/m³")
    require_range("viscosity_pa_s", viscosity_pa_s, 0, 10, low_open=True, unit="Pa s")
    # drag coefficient times Reynolds squared does not know the speed
    pull = 4 * particle_m**3 * fluid_kg_m3 * (particle_kg_m3 - fluid_kg_m3) * GRAVITY / (3 * viscosity_pa_s**2)
    low, high = -40.0, math.log(2e5)
    if _sphere_drag(math.exp(high)) * math.exp(2 * high) < pull:
        raise RangeError("the ball is too large or heavy", where="particle_m", limit="Reynolds number to 200000", cure="Correct the value.")
    for _ in range(200):
        middle = (low + high) / 2
        if _sphere_drag(math.exp(middle)) * math.exp(2 * middle) < pull:
            low = middle
        else:
            high = middle
    return floating_by_drag(particle_m, particle_kg_m3, fluid_kg_m3, _sphere_drag(math.exp((low + high) / 2)))


@dataclass(frozen=True, slots=True, kw_only=True)
class SaltationOpinion:
    """What one correlation says: method, the air speed below which product drops out [m/s], and what is weak about it here."""

    method: str
    speed_m_s: float
    warning: str


def saltation_opinions(
    solids_kg_s: float,
    particle_m: float,
    gas_kg_m3: float,
    bore_m: float,
    *,
    particle_kg_m3: float | None = None,
    terminal_m_s: float | None = None,
    viscosity_pa_s: float | None = None,
) -> tuple[SaltationOpinion, ...]:
    """Every correlation that these figures allow, side by side; how far they part shows how little they settle.

    Parameters
    ----------
    solids_kg_s : float
        Mass flow of product in one line. [kg/s]
    particle_m : float
        Particle diameter. [m]
    gas_kg_m3 : float
        Air density. [kg/m³]
    bore_m : float
        Inside diameter. [m]
    particle_kg_m3 : float or None
        Density of the particle itself. [kg/m³]
    terminal_m_s : float or None
        Floating speed; None: left unknown. [m/s]
    viscosity_pa_s : float or None
        Of the air. [Pa s]

    Returns
    -------
    tuple of SaltationOpinion
        From the lowest speed to the highest. [m/s]

    Raises
    ------
    RangeError
        If an argument is not above 0.

    References
    ----------
    The correlations of `saltation_velocity`, in the documentation of the open library `fluids` (fluids-saltation).
    """
    given = {"particle_kg_m3": particle_kg_m3, "terminal_m_s": terminal_m_s, "viscosity_pa_s": viscosity_pa_s}
    known = {name for name, value in given.items() if value is not None}
    asks: dict[SaltationMethod, set[str]] = {
        "rizk": set(), "schade": {"particle_kg_m3"}, "weber": {"terminal_m_s"}, "geldart-ling": {"viscosity_pa_s"},
        "matsumoto-1974": {"particle_kg_m3", "terminal_m_s"}, "matsumoto-1975": {"particle_kg_m3", "terminal_m_s"},
        "matsumoto-1977": {"particle_kg_m3", "terminal_m_s"},
    }  # fmt: skip
    found = []
    for method, needs in asks.items():
        if needs <= known:
            speed = saltation_velocity(
                solids_kg_s, particle_m, gas_kg_m3, bore_m, method=method, particle_kg_m3=particle_kg_m3,
                terminal_m_s=terminal_m_s, viscosity_pa_s=viscosity_pa_s,
            )  # fmt: skip
            found.append(SaltationOpinion(method=method, speed_m_s=float(speed), warning=speed.warning))
    return tuple(sorted(found, key=lambda opinion: opinion.speed_m_s))
