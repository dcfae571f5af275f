"""Friction of a fluid in a round pipe, and the viscosity of air."""

from __future__ import annotations

import math
from typing import Literal, get_args

from evenstand.base.errors import InputError, require_range
from evenstand.base.worked import worked

FrictionMethod = Literal["blasius", "swamee-jain", "haaland", "colebrook"]
_LAMINAR = 2300.0


@worked(
    formula="1.458e-6 * (temperature_c + 273.15) ** 1.5 / (temperature_c + 273.15 + 110.4)", source="iso-2533", where="Sutherland's form"
)
def air_viscosity(temperature_c: float) -> float:
    """Dynamic viscosity of air; pressure and moisture hardly matter.

    Parameters
    ----------
    temperature_c : float
        Air temperature, -60 to 100. [°C]

    Returns
    -------
    float
        Viscosity. [Pa s]

    Raises
    ------
    RangeError
        Outside the range.

    Examples
    --------
    >>> f"{air_viscosity(15):.4g}"
    '1.789e-05'
    """
    require_range("temperature_c", temperature_c, -60, 100, unit="°C")
    return float(1.458e-6 * (temperature_c + 273.15) ** 1.5 / (temperature_c + 273.15 + 110.4))


@worked(formula="0.3164 / reynolds ** 0.25", source="fluids-friction", where="Blasius")
def blasius_friction(reynolds: float) -> float:
    """Darcy friction factor of a smooth pipe, made for 2,300 to 200,000, computed from 100 up. [-]

    Raises
    ------
    RangeError
        Outside the range.
    """
    require_range("reynolds", reynolds, 100, 2e5)
    return float(0.3164 / reynolds**0.25)


@worked(
    formula="0.25 / log10((6.97 / reynolds) ** 0.9 + relative_roughness / 3.7) ** 2", source="fluids-friction", where="Swamee and Jain 1976"
)
def swamee_jain_friction(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor of a rough pipe, explicit, made for 5,000 to 1e8, roughness to 0.05 of the bore. [-]

    Raises
    ------
    RangeError
        Outside the range.
    """
    require_range("reynolds", reynolds, 100, 1e8)
    require_range("relative_roughness", relative_roughness, 0, 0.05)
    return float(0.25 / math.log10((6.97 / reynolds) ** 0.9 + relative_roughness / 3.7) ** 2)


@worked(
    formula="1 / (1.8 * log10((relative_roughness / 3.7) ** 1.11 + 6.9 / reynolds)) ** 2", source="fluids-friction", where="Haaland 1983"
)
def haaland_friction(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor of a rough pipe, explicit, made for 4,000 to 1e8, roughness to 0.05 of the bore. [-]

    Raises
    ------
    RangeError
        Outside the range.
    """
    require_range("reynolds", reynolds, 100, 1e8)
    require_range("relative_roughness", relative_roughness, 0, 0.05)
    return float(1 / (1.8 * math.log10((relative_roughness / 3.7) ** 1.11 + 6.9 / reynolds)) ** 2)


def _colebrook(reynolds: float, relative_roughness: float) -> float:
    """The implicit form, repeated until it stands still. [-]"""
    root = 1 / math.sqrt(haaland_friction(reynolds, relative_roughness))
    for _ in range(60):
        new = -2 * math.log10(relative_roughness / 3.7 + 2.51 * root / reynolds)
        if abs(new - root) < 1e-14 * root:
            break
        root = new
    return 1 / root**2


def friction_factor(reynolds: float, relative_roughness: float = 0.0, *, method: FrictionMethod = "swamee-jain") -> float:
    """Darcy friction factor of a round pipe; below a Reynolds number of 2,300 it is 64 / Re whatever the method.

    Parameters
    ----------
    reynolds : float
        Density times speed times bore over viscosity, up to 1e8. [-]
    relative_roughness : float
        Height of the roughness over the bore, 0 to 0.05; "blasius" is for smooth pipes only. [-]
    method : str
        "blasius", "swamee-jain", "haaland" or "colebrook". [-]

    Returns
    -------
    float
        Factor f in drop = f * length / bore * density * speed² / 2. [-]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    InputError
        For an unknown method, or Blasius on a rough pipe.

    Examples
    --------
    >>> round(friction_factor(1e5, 1e-4, method="colebrook"), 6)
    0.018514

    References
    ----------
    Blasius, Swamee and Jain 1976, Haaland 1983, Colebrook 1939, as in the documentation of the open library `fluids`.
    """
    if method not in get_args(FrictionMethod):
        raise InputError(f"'{method}' is no method", where="method", cure=f"Use {', '.join(get_args(FrictionMethod))}.")
    require_range("reynolds", reynolds, 0, 1e8, low_open=True)
    require_range("relative_roughness", relative_roughness, 0, 0.05)
    if reynolds < _LAMINAR:
        return 64 / reynolds
    if method == "blasius":
        if relative_roughness > 0:
            raise InputError("Blasius is for smooth pipes", where="method", cure="Use swamee-jain, or no roughness.")
        return blasius_friction(reynolds)
    if method == "swamee-jain":
        return swamee_jain_friction(reynolds, relative_roughness)
    if method == "haaland":
        return haaland_friction(reynolds, relative_roughness)
    return _colebrook(reynolds, relative_roughness)
