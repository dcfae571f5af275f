"""From plants wanted to kilograms sown, and back."""

from __future__ import annotations

from typing import Literal

from evenstand.base.errors import InputError, RangeError, require_range
from evenstand.base.worked import worked

Method = Literal["included", "product", "points"]
METHODS: tuple[Method, ...] = ("included", "product", "points")


@worked(formula="1 - mortality", source="canola-council-2010", where="survival already counts seeds that do not germinate")
def survival_included(mortality: float) -> float:
    """Survival where mortality already counts the seeds that do not germinate.

    Parameters
    ----------
    mortality : float
        Share of all seeds sown that give no plant. [-]

    Returns
    -------
    float
        Share of seeds sown that become plants. [-]

    Raises
    ------
    RangeError
        Unless 0 <= mortality < 1.
    """
    require_range("mortality", mortality, 0, 1, high_open=True)
    return 1 - mortality


@worked(formula="germination * (1 - mortality)", source="manitoba-seeding-qa", where="flax example")
def survival_product(germination: float, mortality: float) -> float:
    """Survival where mortality is a share of the seeds that germinate.

    Parameters
    ----------
    germination : float
        Germination of the lot. [-]
    mortality : float
        Share of germinating seeds that give no plant. [-]

    Returns
    -------
    float
        Share of seeds sown that become plants. [-]

    Raises
    ------
    RangeError
        Unless 0 < germination <= 1 and 0 <= mortality < 1.
    """
    require_range("germination", germination, 0, 1, low_open=True)
    require_range("mortality", mortality, 0, 1, high_open=True)
    return germination * (1 - mortality)


@worked(formula="germination - mortality", source="grainews-cereal-rates", where="points taken off the germination")
def survival_points(germination: float, mortality: float) -> float:
    """Survival where mortality is points taken off the germination.

    Parameters
    ----------
    germination : float
        Germination of the lot. [-]
    mortality : float
        Points taken off, as a share of all seeds sown. [-]

    Returns
    -------
    float
        Share of seeds sown that become plants. [-]

    Raises
    ------
    RangeError
        If nothing would be left, or an argument is outside 0 to 1.
    """
    require_range("germination", germination, 0, 1, low_open=True)
    require_range("mortality", mortality, 0, 1, high_open=True)
    if mortality >= germination:
        raise RangeError(
            f"{mortality:g} takes off all of the germination {germination:g}", where="mortality", limit="mortality < germination"
        )
    return germination - mortality


def survival(germination: float, mortality: float, *, method: Method) -> float:
    """Share of seeds sown that become plants; publishers combine the two losses in three ways.

    Parameters
    ----------
    germination : float
        Germination of the lot; not used by "included". [-]
    mortality : float
        Loss in the field, meant as the method says. [-]
    method : str
        "included": mortality already counts seeds that do not germinate; "product": mortality is a share of those that
        germinate; "points": mortality is points taken off the germination. [-]

    Returns
    -------
    float
        Survival. [-]

    Raises
    ------
    RangeError
        If an argument is outside its range, or nothing would survive.
    InputError
        If the method is none of the three.

    Examples
    --------
    >>> round(survival(0.88, 0.40, method="product"), 3)
    0.528
    """
    if method == "included":
        require_range("germination", germination, 0, 1, low_open=True)
        return survival_included(mortality)
    if method == "product":
        return survival_product(germination, mortality)
    if method == "points":
        return survival_points(germination, mortality)
    raise InputError(f"'{method}' is no way to combine losses", where="method", cure=f"Use {', '.join(METHODS)}.")


@worked(formula="plants_m2 * tkw_g / survival / 100", source="sk-agriculture-2014", where="as quoted in the farm press")
def seeding_rate(plants_m2: float, tkw_g: float, survival: float) -> float:
    """Seed mass to sow per hectare for a target stand.

    Parameters
    ----------
    plants_m2 : float
        Established plants wanted. [1/m²]
    tkw_g : float
        Mass of a thousand kernels, as sown. [g]
    survival : float
        Share of seeds sown that become plants, 0 < survival <= 1. [-]

    Returns
    -------
    float
        Seeding rate. [kg/ha]

    Raises
    ------
    RangeError
        If an argument is outside its range; the message names it, its value and the range.

    Examples
    --------
    300 plants/m², 51.9 g, 85 %: 300 * 51.9 / 0.85 / 100 = 183 kg/ha.

    >>> round(seeding_rate(300, 51.9, 0.85))
    183
    """
    require_range("plants_m2", plants_m2, 0, low_open=True, unit="plants/m²")
    require_range("tkw_g", tkw_g, 0, low_open=True, unit="g")
    require_range("survival", survival, 0, 1, low_open=True)
    return plants_m2 * tkw_g / survival / 100


@worked(formula="rate_kg_ha * survival * 100 / tkw_g", source="sk-agriculture-2014", where="solved for the plants")
def expected_stand(rate_kg_ha: float, tkw_g: float, survival: float) -> float:
    """Plants to expect from a seeding rate.

    Parameters
    ----------
    rate_kg_ha : float
        Seed sown. [kg/ha]
    tkw_g : float
        Mass of a thousand kernels, as sown. [g]
    survival : float
        Share of seeds sown that become plants, 0 < survival <= 1. [-]

    Returns
    -------
    float
        Stand. [plants/m²]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    >>> round(expected_stand(183, 51.9, 0.85))
    300
    """
    require_range("rate_kg_ha", rate_kg_ha, 0, low_open=True, unit="kg/ha")
    require_range("tkw_g", tkw_g, 0, low_open=True, unit="g")
    require_range("survival", survival, 0, 1, low_open=True)
    return rate_kg_ha * survival * 100 / tkw_g


@worked(formula="plants_m2 / survival", source="definition")
def seeds_needed(plants_m2: float, survival: float) -> float:
    """Seeds to sow per square metre for a stand.

    Parameters
    ----------
    plants_m2 : float
        Established plants wanted. [1/m²]
    survival : float
        Share of seeds sown that become plants, 0 < survival <= 1. [-]

    Returns
    -------
    float
        Seeds. [1/m²]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("plants_m2", plants_m2, 0, low_open=True, unit="plants/m²")
    require_range("survival", survival, 0, 1, low_open=True)
    return plants_m2 / survival


@worked(formula="seeds_m2 * tkw_g / 100", source="definition")
def seed_mass_rate(seeds_m2: float, tkw_g: float) -> float:
    """Seed mass per hectare from seeds per square metre.

    Parameters
    ----------
    seeds_m2 : float
        Seeds sown. [1/m²]
    tkw_g : float
        Mass of a thousand kernels, as sown. [g]

    Returns
    -------
    float
        Seeding rate. [kg/ha]

    Raises
    ------
    RangeError
        If an argument is not above zero.
    """
    require_range("seeds_m2", seeds_m2, 0, low_open=True, unit="seeds/m²")
    require_range("tkw_g", tkw_g, 0, low_open=True, unit="g")
    return seeds_m2 * tkw_g / 100


@worked(formula="rate_kg_ha * 100 / tkw_g", source="definition")
def seeds_sown(rate_kg_ha: float, tkw_g: float) -> float:
    """Seeds per square metre in a seeding rate.

    Parameters
    ----------
    rate_kg_ha : float
        Seed sown. [kg/ha]
    tkw_g : float
        Mass of a thousand kernels, as sown. [g]

    Returns
    -------
    float
        Seeds. [1/m²]

    Raises
    ------
    RangeError
        If an argument is not above zero.
    """
    require_range("rate_kg_ha", rate_kg_ha, 0, low_open=True, unit="kg/ha")
    require_range("tkw_g", tkw_g, 0, low_open=True, unit="g")
    return rate_kg_ha * 100 / tkw_g
