"""Rate and stand together, with how well they are known and what that hangs on most."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from evenstand.agronomy.rates import Method, expected_stand, seeding_rate, seeds_sown, survival
from evenstand.base.errors import MissingError, require_range
from evenstand.base.estimate import Est, propagate
from evenstand.base.worked import worked

_WORDS = {
    "tkw_g": "the kernel weight",
    "survival": "the survival",
    "germination": "the germination",
    "mortality": "the loss in the field",
    "rate_kg_ha": "the rate really sown",
}


@worked(formula="rate_kg_ha / density_kg_m3", source="definition")
def volume_rate(rate_kg_ha: float, density_kg_m3: float) -> float:
    """Volume of seed sown per hectare; as bushels an acre at the edge, where the bushel weight is the density.

    Parameters
    ----------
    rate_kg_ha : float
        Seed sown. [kg/ha]
    density_kg_m3 : float
        Bulk density, from a test weight. [kg/m³]

    Returns
    -------
    float
        Volume. [m³/ha]

    Raises
    ------
    RangeError
        Unless both are above zero.

    Examples
    --------
    >>> from evenstand.base.units import from_metric, to_metric
    >>> sixty_pounds = to_metric(60, "density", "lb/bu (US)")
    >>> round(from_metric(volume_rate(to_metric(120, "rate", "lb/ac"), sixty_pounds), "volume_rate", "bu (US)/ac"), 6)
    2.0
    """
    require_range("rate_kg_ha", rate_kg_ha, 0, low_open=True, unit="kg/ha")
    require_range("density_kg_m3", density_kg_m3, 0, low_open=True, unit="kg/m³")
    return rate_kg_ha / density_kg_m3


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One input's part in an uncertainty: its name, the same in words, its share of the variance [-], and the sd that it alone makes
    [unit of the result]."""

    name: str
    words: str
    share: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SeedingPlan:
    """A rate and the stand it gives.

    rate_kg_ha [kg/ha]: with a stand wanted, the rate for it, sd saying how far off the right rate may be; with a rate given, that one and
    how well it is proven. seeds_m2 [seeds/m²] sown at the central rate; stand [plants/m²] at it, with everything that is not known
    for certain in its sd; seeds_m [seeds/m] of row, None without a row spacing; volume_m3_ha [m³/ha], None without a bulk density.
    survival [-] and tkw_g [g] as used. contributions: to the variance of the stand, largest first; most: the largest in words, "" where
    nothing varies; wanted_m2: stand asked for [plants/m²]; note: what was left out of the sd, in words.
    """

    rate_kg_ha: Est
    seeds_m2: Est
    stand: Est
    seeds_m: Est | None
    volume_m3_ha: Est | None
    survival: Est
    tkw_g: Est
    contributions: tuple[Contribution, ...]
    most: str
    wanted_m2: float | None
    note: str = ""


def survival_estimate(germination: Est, mortality: Est, *, method: Method) -> Est:
    """Survival with its sd, from germination and loss combined in the publisher's way.

    Parameters
    ----------
    germination : Est
        Of the lot. [-]
    mortality : Est
        Loss in the field, meant as the method says. [-]
    method : str
        "included", "product" or "points", as in `survival`. [-]

    Returns
    -------
    Est
        Survival; a germination that the method does not use adds nothing to its sd. [-]

    Raises
    ------
    RangeError
        If an argument is outside its range, or nothing would survive.
    InputError
        If the method is none of the three.

    Examples
    --------
    >>> s = survival_estimate(Est(value=0.88, sd=0.02), Est(value=0.40, sd=0.05), method="product")
    >>> round(s.value, 3), round(s.sd, 4)
    (0.528, 0.0456)
    """
    return propagate(survival, germination=germination, mortality=mortality, method=method)


def contributions(function: Callable[..., float], values: Mapping[str, Est | float | str]) -> tuple[Contribution, ...]:
    """What each uncertain input alone adds to the variance of a result, largest first.

    Range: that of the function called; it raises for itself.

    Parameters
    ----------
    function : callable
        Called with keywords only; returns one number. [any]
    values : mapping of name to Est or number
        Its arguments; independent of one another. [each in its own unit]

    Returns
    -------
    tuple of Contribution
        Shares add up to one; empty where nothing varies. [-]
    """
    central: dict[str, Any] = {name: value.value if isinstance(value, Est) else value for name, value in values.items()}
    alone = {
        name: propagate(function, **{**central, name: value}).sd
        for name, value in values.items()
        if isinstance(value, Est) and value.sd > 0
    }
    total = sum(sd**2 for sd in alone.values())
    if total == 0:
        return ()
    found = [Contribution(name=name, words=_WORDS.get(name, name), share=sd**2 / total, sd=sd) for name, sd in alone.items()]
    return tuple(sorted(found, key=lambda c: -c.share))


def seeding_plan(
    tkw_g: Est,
    survival: Est,
    *,
    plants_m2: float | None = None,
    rate_kg_ha: Est | None = None,
    rate_sd_share: float = 0.0,
    row_spacing_m: float | None = None,
    density_kg_m3: Est | None = None,
) -> SeedingPlan:
    """Rate for a stand wanted, or stand from a rate given, with standard deviations and what they hang on.

    Parameters
    ----------
    tkw_g : Est
        Mass of a thousand kernels, as sown. [g]
    survival : Est
        Share of seeds sown that become plants. [-]
    plants_m2 : float or None
        Stand wanted; needed without a rate. [plants/m²]
    rate_kg_ha : Est or None
        Rate sown, with how well it is proven; the stand wanted is then only compared with. [kg/ha]
    rate_sd_share : float
        How well the machine holds a rate that is worked out here, one standard deviation as a share of it. [-]
    row_spacing_m : float or None
        Distance between rows. [m]
    density_kg_m3 : Est or None
        Bulk density of the seed. [kg/m³]

    Returns
    -------
    SeedingPlan
        To first order, inputs independent. [metric]

    Raises
    ------
    MissingError
        Without a stand wanted and without a rate.
    RangeError
        If an argument is outside its range.

    Examples
    --------
    >>> plan = seeding_plan(Est(value=38, sd=0.4), Est(value=0.85, sd=0.05), plants_m2=270)
    >>> round(plan.rate_kg_ha.value, 1), round(plan.stand.value), round(plan.stand.sd), plan.most
    (120.7, 270, 16, 'the survival')
    """
    require_range("rate_sd_share", rate_sd_share, 0, 1)
    if rate_kg_ha is None:
        if plants_m2 is None:
            raise MissingError("neither a stand nor a rate is given", where="plants_m2, rate_kg_ha", cure="Give one of the two.")
        wanted = propagate(seeding_rate, plants_m2=plants_m2, tkw_g=tkw_g, survival=survival)
        sown = Est(value=wanted.value, sd=wanted.value * rate_sd_share, basis="computed", source="seeding_rate")
        reported = wanted
    else:
        if plants_m2 is not None:
            require_range("plants_m2", plants_m2, 0, low_open=True, unit="plants/m²")
        sown = reported = rate_kg_ha
    inputs: dict[str, Est | float | str] = {"rate_kg_ha": sown, "tkw_g": tkw_g, "survival": survival}
    stand = propagate(expected_stand, rate_kg_ha=sown, tkw_g=tkw_g, survival=survival)
    seeds = propagate(seeds_sown, rate_kg_ha=sown, tkw_g=tkw_g)
    parts = contributions(expected_stand, inputs)
    certain = [_WORDS[name] for name, value in inputs.items() if isinstance(value, Est) and value.sd == 0]
    return SeedingPlan(
        rate_kg_ha=reported,
        seeds_m2=seeds,
        stand=stand,
        seeds_m=_along(seeds, row_spacing_m),
        volume_m3_ha=propagate(volume_rate, rate_kg_ha=sown, density_kg_m3=density_kg_m3) if density_kg_m3 else None,
        survival=survival,
        tkw_g=tkw_g,
        contributions=parts,
        most=parts[0].words if parts else "",
        wanted_m2=plants_m2,
        note=f"Taken as certain, for want of a spread: {', '.join(certain)}." if certain else "",
    )


def _along(seeds_m2: Est, row_spacing_m: float | None) -> Est | None:
    """Seeds along a metre of row. [seeds/m]"""
    if row_spacing_m is None:
        return None
    require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    return Est(value=seeds_m2.value * row_spacing_m, sd=seeds_m2.sd * row_spacing_m, basis="computed", source="seeds_per_metre")


def chance_of_stand(plan: SeedingPlan, least_m2: float) -> float:
    """How likely the stand comes to at least so many plants, taking its spread as normal.

    Working: (1 + erf((stand - least) / sd / sqrt 2)) / 2.

    Parameters
    ----------
    plan : SeedingPlan
        From `seeding_plan`. [-]
    least_m2 : float
        Fewest plants that will do. [plants/m²]

    Returns
    -------
    float
        Chance; 0 or 1 where nothing varies. [-]

    Raises
    ------
    RangeError
        If least_m2 is below zero.

    References
    ----------
    definition: tail of a normal spread about the stand expected.
    """
    require_range("least_m2", least_m2, 0, unit="plants/m²")
    gap = plan.stand.value - least_m2
    if plan.stand.sd == 0:
        return float(gap >= 0)
    return 0.5 * (1 + math.erf(gap / plan.stand.sd / math.sqrt(2)))
