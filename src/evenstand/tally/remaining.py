"""What is left in a bin, what was truly sown, and the true product per turn, from fills, hectares and looks."""

from __future__ import annotations

import math

from evenstand.base.errors import require_range
from evenstand.base.estimate import Est, propagate
from evenstand.base.worked import worked


def _finite(**masses_kg: float) -> None:
    for name, mass in masses_kg.items():
        require_range(name, mass, -math.inf, math.inf, low_open=True, high_open=True, unit="kg")


@worked(formula="before_kg + put_kg - left_kg", source="definition", where="mass balance of a bin")
def used_mass(before_kg: float, put_kg: float, left_kg: float) -> float:
    """Product that left a bin.

    Parameters
    ----------
    before_kg : float
        In the bin at the start. [kg]
    put_kg : float
        Put in since. [kg]
    left_kg : float
        In the bin now. [kg]

    Returns
    -------
    float
        Used; below 0 where the looks and fills contradict each other. [kg]

    Raises
    ------
    RangeError
        If a mass is no finite number; a mass below 0 is let through, for a look may be off.
    """
    _finite(before_kg=before_kg, put_kg=put_kg, left_kg=left_kg)
    return before_kg + put_kg - left_kg


@worked(formula="(before_kg + put_kg - left_kg) / area_ha", source="definition", where="dose = mass / area")
def field_dose(before_kg: float, put_kg: float, left_kg: float, area_ha: float) -> float:
    """True dose: what left the bin over the ground it went on.

    Parameters
    ----------
    before_kg : float
        In the bin at the start. [kg]
    put_kg : float
        Put in since. [kg]
    left_kg : float
        In the bin now. [kg]
    area_ha : float
        Ground sown, by something that does not repeat the typed width or the machine's distance. [ha]

    Returns
    -------
    float
        Dose. [kg/ha]

    Raises
    ------
    RangeError
        If the area is not above 0, or a mass is no finite number.
    """
    _finite(before_kg=before_kg, put_kg=put_kg, left_kg=left_kg)
    require_range("area_ha", area_ha, 0, math.inf, low_open=True, high_open=True, unit="ha")
    return (before_kg + put_kg - left_kg) / area_ha


@worked(formula="before_kg + put_kg - dose_kg_ha * area_ha", source="definition", where="mass balance of a bin")
def remaining_mass(before_kg: float, put_kg: float, dose_kg_ha: float, area_ha: float) -> float:
    """What should be left in a bin after an area.

    Parameters
    ----------
    before_kg : float
        In the bin at the start. [kg]
    put_kg : float
        Put in since. [kg]
    dose_kg_ha : float
        True dose, not the one shown. [kg/ha]
    area_ha : float
        Ground sown. [ha]

    Returns
    -------
    float
        Mass left; below 0 where the bin should have run empty. [kg]

    Raises
    ------
    RangeError
        If dose or area is below 0, or a mass is no finite number.
    """
    _finite(before_kg=before_kg, put_kg=put_kg)
    require_range("dose_kg_ha", dose_kg_ha, 0, math.inf, high_open=True, unit="kg/ha")
    require_range("area_ha", area_ha, 0, math.inf, high_open=True, unit="ha")
    return before_kg + put_kg - dose_kg_ha * area_ha


@worked(formula="used_kg / turns", source="definition")
def factor_from_turns(used_kg: float, turns: float) -> float:
    """True product per turn in the field, from what left the bin and the turns counted.

    Parameters
    ----------
    used_kg : float
        Product that left the bin. [kg]
    turns : float
        Turns of the meter shaft. [turns]

    Returns
    -------
    float
        Product per turn. [kg/turn]

    Raises
    ------
    RangeError
        If the mass is below 0 or the turns are not above it.
    """
    require_range("used_kg", used_kg, 0, math.inf, high_open=True, unit="kg")
    require_range("turns", turns, 0, math.inf, low_open=True, high_open=True, unit="turns")
    return used_kg / turns


@worked(
    formula="typed_factor_kg_rev * dose_kg_ha / asked_kg_ha * width_ratio / distance_ratio",
    source="definition",
    where="dose / asked = (f / F) (W / w) (V / v)",
)
def factor_from_dose(
    typed_factor_kg_rev: float, dose_kg_ha: float, asked_kg_ha: float, width_ratio: float = 1.0, distance_ratio: float = 1.0
) -> float:
    """True product per turn in the field where turns cannot be read, from the true dose and the dose asked.

    Parameters
    ----------
    typed_factor_kg_rev : float
        Product per turn as typed. [kg/turn]
    dose_kg_ha : float
        True dose. [kg/ha]
    asked_kg_ha : float
        Rate in force. [kg/ha]
    width_ratio : float
        True width over typed width. [-]
    distance_ratio : float
        The machine's distance over the true distance. [-]

    Returns
    -------
    float
        Product per turn. [kg/turn]

    Raises
    ------
    RangeError
        If an argument is not above 0.
    """
    given = (
        ("typed_factor_kg_rev", typed_factor_kg_rev),
        ("dose_kg_ha", dose_kg_ha),
        ("asked_kg_ha", asked_kg_ha),
        ("width_ratio", width_ratio),
        ("distance_ratio", distance_ratio),
    )
    for name, value in given:
        require_range(name, value, 0, math.inf, low_open=True, high_open=True)
    return typed_factor_kg_rev * dose_kg_ha / asked_kg_ha * width_ratio / distance_ratio


def learned_ratio(standing: Est, field: Est) -> Est:
    """How the field differs from a standing catch of the same product: the ratio to keep and use on the next standing catch.

    Parameters
    ----------
    standing : Est
        Product per turn by a catch, standing. [kg/turn]
    field : Est
        Product per turn in the field, by weighed fills and turns. [kg/turn]

    Returns
    -------
    Est
        field / standing, with its standard deviation. [-]

    Raises
    ------
    RangeError
        If a factor is not above 0.

    References
    ----------
    definition: ratio of two measured factors; relative variances add up.
    """
    require_range("standing", standing.value, 0, math.inf, low_open=True, high_open=True, unit="kg/turn")
    require_range("field", field.value, 0, math.inf, low_open=True, high_open=True, unit="kg/turn")

    def ratio(*, field: float, standing: float) -> float:
        return field / standing

    return propagate(ratio, field=field, standing=standing)
