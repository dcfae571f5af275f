"""What a bin holds, and how far it lasts."""

from __future__ import annotations

from evenstand.base.errors import require_range
from evenstand.base.worked import worked


@worked(formula="capacity_m3 * density_kg_m3 * fill_share", source="definition", where="mass = volume x bulk density")
def bin_mass(capacity_m3: float, density_kg_m3: float, fill_share: float) -> float:
    """Mass in a bin that is filled to a share of its brim volume.

    Parameters
    ----------
    capacity_m3 : float
        Brim-full volume. [m³]
    density_kg_m3 : float
        Loose bulk density of the product. [kg/m³]
    fill_share : float
        Share of the volume a fill reaches, 0 < share <= 1.1 (a heap). [-]

    Returns
    -------
    float
        Mass. [kg]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    6.6 m³ of wheat at 780 kg/m³, filled to 95 %:

    >>> round(bin_mass(6.6, 780, 0.95))
    4891
    """
    require_range("capacity_m3", capacity_m3, 0, 100, low_open=True, unit="m³")
    require_range("density_kg_m3", density_kg_m3, 0, 3000, low_open=True, unit="kg/m³")
    require_range("fill_share", fill_share, 0, 1.1, low_open=True)
    return capacity_m3 * density_kg_m3 * fill_share


@worked(formula="mass_kg / rate_kg_ha", source="definition", where="area = mass / rate")
def area_per_fill(mass_kg: float, rate_kg_ha: float) -> float:
    """Area a mass lasts for, nothing added for overlap.

    Parameters
    ----------
    mass_kg : float
        Mass in the bin. [kg]
    rate_kg_ha : float
        Rate this bin puts down. [kg/ha]

    Returns
    -------
    float
        Area. [ha]

    Raises
    ------
    RangeError
        If the mass is below zero or the rate is not above it.

    Examples
    --------
    >>> round(area_per_fill(4891, 121), 1)
    40.4
    """
    require_range("mass_kg", mass_kg, 0, unit="kg")
    require_range("rate_kg_ha", rate_kg_ha, 0, low_open=True, unit="kg/ha")
    return mass_kg / rate_kg_ha
