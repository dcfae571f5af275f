"""What is left in a bin, what was truly sown, and the true product per turn, from fills, hectares and looks."""

from __future__ import annotations

import math
from collections.abc import Sequence

from evenstand.base.errors import require_range
from evenstand.base.estimate import Est, propagate
from evenstand.base.worked import worked
from evenstand.reference.figures import figure


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


def product_ratio(ratios: Sequence[Est]) -> Est:
    """The field-against-standing ratio of a product, learned from all lots of it so far: 1 with its usual spread before any.

    Parameters
    ----------
    ratios : sequence of Est
        From `learned_ratio`, one for each lot and setting. [-]

    Returns
    -------
    Est
        Ratio to use on the next standing catch; its sd is of the next lot, so it never falls below what lots differ by. [-]

    Raises
    ------
    RangeError
        If a ratio is not above 0.

    References
    ----------
    definition: normal mean with a normal prior; the spread of lots about it is taken as half of the usual one. common-practice: the prior.

    Examples
    --------
    >>> round(product_ratio([]).value, 3), round(product_ratio([]).sd, 3)
    (1.0, 0.02)
    """
    usual = figure("practice", "defaults", "factor-field-against-standing").value
    for i, r in enumerate(ratios, 1):
        require_range(f"ratio {i}", r.value, 0, math.inf, low_open=True, high_open=True)
    between = usual / 2
    common = usual**2 - between**2  # of the product; the rest is of each lot
    precision, weighed = 1 / common, 1 / common
    for r in ratios:
        w = 1 / (r.sd**2 + between**2)
        precision, weighed = precision + w, weighed + w * r.value
    return Est(value=weighed / precision, sd=math.sqrt(1 / precision + between**2), basis="computed", source="field against standing")


def field_factor(standing: Est | None, *, ratio: Est | None = None, other_lots: Sequence[Est] = (), typed: Est | None = None) -> Est | None:
    """What is believed of the product per turn in the field before a lot has run, from the best that is known.

    Parameters
    ----------
    standing : Est or None
        A catch of this lot and setting, standing. [kg/turn]
    ratio : Est or None
        Field over standing of the product, from `product_ratio`; None: before any was learned. [-]
    other_lots : sequence of Est
        Field factors of other lots at the same setting; their mean serves without a catch, with what lots differ by. [kg/turn]
    typed : Est or None
        What is typed, where nothing better is known: as good as another lot's. [kg/turn]

    Returns
    -------
    Est or None
        Product per turn; None if nothing is known: catch it. [kg/turn]

    References
    ----------
    definition: standing x ratio, relative variances add up. common-practice: how far lots differ.
    """
    if standing is not None:
        learned = ratio or product_ratio([])

        def field(*, standing: float, ratio: float) -> float:
            return standing * ratio

        return propagate(field, standing=standing, ratio=learned)
    lots = figure("practice", "defaults", "factor-between-lots").value
    if other_lots:
        mean = sum(e.value for e in other_lots) / len(other_lots)
        own = sum(e.sd**2 for e in other_lots) / len(other_lots) ** 2
        return Est(
            value=mean,
            sd=math.hypot(lots * mean * math.sqrt(1 + 1 / len(other_lots)), math.sqrt(own)),
            basis="computed",
            source="other lots",
        )
    return (
        None if typed is None else Est(value=typed.value, sd=math.hypot(lots * typed.value, typed.sd), basis="typed", source=typed.source)
    )
