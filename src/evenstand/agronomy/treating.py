"""Treating and inoculating seed: quantities from the label's figures, what the seed weighs afterwards, what is stale, and the clock.

No label figure is built in. The label of each product, its order of mixing and its cautions go before anything said here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from evenstand.base.errors import InputError, MissingError, require_range
from evenstand.base.estimate import Est
from evenstand.base.worked import worked
from evenstand.reference import figure


@worked(formula="dose_ml_100kg / 1000 * seed_kg / 100", source="definition", where="millilitres on 100 kg")
def liquid_for_seed(dose_ml_100kg: float, seed_kg: float) -> float:
    """Liquid that a mass of seed takes.

    Parameters
    ----------
    dose_ml_100kg : float
        Label rate. [mL/100 kg]
    seed_kg : float
        Seed to be treated. [kg]

    Returns
    -------
    float
        Liquid. [L]

    Raises
    ------
    RangeError
        If an argument is below 0.

    Examples
    --------
    300 mL on 100 kg, 2500 kg of seed:

    >>> liquid_for_seed(300, 2500)
    7.5
    """
    require_range("dose_ml_100kg", dose_ml_100kg, 0, unit="mL/100 kg")
    require_range("seed_kg", seed_kg, 0, unit="kg")
    return dose_ml_100kg / 1000 * seed_kg / 100


@worked(formula="dose_ml_100kg / 1000 * density_kg_l * dry_share / 100", source="definition")
def added_share(dose_ml_100kg: float, density_kg_l: float, dry_share: float = 1.0) -> float:
    """Mass that a treatment adds to the seed, as a share of the bare seed.

    Parameters
    ----------
    dose_ml_100kg : float
        Of the liquid, product and water together or the product alone. [mL/100 kg]
    density_kg_l : float
        Of that liquid. [kg/L]
    dry_share : float
        Share of its mass that stays once the seed is dry; 1 right after treating. [-]

    Returns
    -------
    float
        Added mass over bare mass. [-]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("dose_ml_100kg", dose_ml_100kg, 0, unit="mL/100 kg")
    require_range("density_kg_l", density_kg_l, 0, low_open=True, unit="kg/L")
    require_range("dry_share", dry_share, 0, 1)
    return dose_ml_100kg / 1000 * density_kg_l * dry_share / 100


@worked(formula="bare_tkw_g * (1 + added)", source="definition", where="added is a share of the bare mass")
def treated_tkw(bare_tkw_g: float, added: float) -> float:
    """Thousand-kernel weight of treated seed from that of bare seed.

    Parameters
    ----------
    bare_tkw_g : float
        Mass of a thousand bare kernels. [g]
    added : float
        Added mass over bare mass, see `added_share`. [-]

    Returns
    -------
    float
        Mass of a thousand treated kernels. [g]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("bare_tkw_g", bare_tkw_g, 0, low_open=True, unit="g")
    require_range("added", added, 0)
    return bare_tkw_g * (1 + added)


@worked(formula="bare_rate_kg_ha * (1 + added)", source="definition", where="the same seeds on a hectare")
def treated_rate(bare_rate_kg_ha: float, added: float) -> float:
    """Rate of treated seed that sows as many seeds as a rate of bare seed.

    Parameters
    ----------
    bare_rate_kg_ha : float
        Rate of bare seed. [kg/ha]
    added : float
        Added mass over bare mass. [-]

    Returns
    -------
    float
        Rate of treated seed. [kg/ha]

    Raises
    ------
    RangeError
        If an argument is below 0.
    """
    require_range("bare_rate_kg_ha", bare_rate_kg_ha, 0, unit="kg/ha")
    require_range("added", added, 0)
    return bare_rate_kg_ha * (1 + added)


@worked(formula="dose_g_m / 1000 * 10000 / row_spacing_m", source="definition", where="a hectare holds 10 000 m² / spacing metres of row")
def granular_rate(dose_g_m: float, row_spacing_m: float) -> float:
    """Granular inoculant a hectare from the label's grams on a metre of row.

    Parameters
    ----------
    dose_g_m : float
        On a metre of row. [g/m]
    row_spacing_m : float
        Distance between rows. [m]

    Returns
    -------
    float
        Inoculant. [kg/ha]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    0.1 g/m on 254 mm rows, and on 178 mm:

    >>> round(granular_rate(0.1, 0.254), 2), round(granular_rate(0.1, 0.178), 2)
    (3.94, 5.62)
    """
    require_range("dose_g_m", dose_g_m, 0, unit="g/m")
    require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    return dose_g_m / 1000 * 10000 / row_spacing_m


@worked(formula="1000 * rate_kg_ha * row_spacing_m / 10000", source="definition")
def granular_dose(rate_kg_ha: float, row_spacing_m: float) -> float:
    """Grams on a metre of row from kilograms a hectare: what to weigh under one opener.

    Parameters
    ----------
    rate_kg_ha : float
        Inoculant. [kg/ha]
    row_spacing_m : float
        Distance between rows. [m]

    Returns
    -------
    float
        On a metre of row. [g/m]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("rate_kg_ha", rate_kg_ha, 0, unit="kg/ha")
    require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    return 1000 * rate_kg_ha * row_spacing_m / 10000


@dataclass(frozen=True, slots=True, kw_only=True)
class TreatmentMix:
    """What to measure out.

    seed_kg: in all [kg]; batches: how many, all of the same size; batch_kg: seed in each [kg]; litres, litres_batch: of each product, in
    all and in one batch [L]; water_l, slurry_l, and the same for a batch [L]; slurry_ml_100kg: products and water together
    [mL/100 kg]; litres_ha: of each product on a hectare, None without a rate [L/ha]; added: mass added over bare mass while wet, None
    without densities [-]; treated_kg: seed and liquid together, None without densities [kg]; note: what to mind.
    """

    seed_kg: float
    batches: int
    batch_kg: float
    litres: Mapping[str, float]
    litres_batch: Mapping[str, float]
    water_l: float
    water_batch_l: float
    slurry_l: float
    slurry_batch_l: float
    slurry_ml_100kg: float
    litres_ha: Mapping[str, float] | None
    added: float | None
    treated_kg: float | None
    note: str


def treatment_mix(
    seed_kg: float,
    doses_ml_100kg: Mapping[str, float],
    *,
    water_ml_100kg: float | None = None,
    slurry_ml_100kg: float | None = None,
    batch_kg: float | None = None,
    rate_kg_ha: float | None = None,
    density_kg_l: Mapping[str, float] | None = None,
    water_kg_l: float = 1.0,
) -> TreatmentMix:
    """Quantities for treating a mass of seed, from the figures of the labels.

    Give the water, or the whole slurry that the label wants, or neither where the products go on as they are.

    Parameters
    ----------
    seed_kg : float
        Bare seed. [kg]
    doses_ml_100kg : mapping of str to float
        Label rate of each product. [mL/100 kg]
    water_ml_100kg : float or None
        Water. [mL/100 kg]
    slurry_ml_100kg : float or None
        Products and water together. [mL/100 kg]
    batch_kg : float or None
        Most seed that one batch takes; all batches are made the same size, so that each takes the same measures. [kg]
    rate_kg_ha : float or None
        Seeding rate of bare seed, for the amounts on a hectare. [kg/ha]
    density_kg_l : mapping of str to float or None
        Density of each product, for the mass that is added. [kg/L]
    water_kg_l : float
        Density of the water. [kg/L]

    Returns
    -------
    TreatmentMix
        Litres in all and in a batch. [L]

    Raises
    ------
    InputError
        If both water and slurry are given, or the products alone are more than the slurry.
    RangeError
        If a number is outside its range.

    Examples
    --------
    2500 kg in batches of at most 900 kg, 300 mL of a product in a slurry of 500 mL on 100 kg:

    >>> m = treatment_mix(2500, {"fungicide": 300}, slurry_ml_100kg=500, batch_kg=900)
    >>> m.batches, m.litres["fungicide"], m.litres_batch["fungicide"], m.water_l
    (3, 7.5, 2.5, 5.0)
    """
    require_range("seed_kg", seed_kg, 0, low_open=True, unit="kg")
    water = _water(doses_ml_100kg, water_ml_100kg, slurry_ml_100kg)
    if batch_kg is not None:
        require_range("batch_kg", batch_kg, 0, low_open=True, unit="kg")
    if rate_kg_ha is not None:
        require_range("rate_kg_ha", rate_kg_ha, 0, unit="kg/ha")
    batches = 1 if batch_kg is None else math.ceil(seed_kg / batch_kg - 1e-9)
    size = seed_kg / batches
    slurry = sum(doses_ml_100kg.values()) + water
    added = _added(doses_ml_100kg, water, density_kg_l or {}, water_kg_l)
    flow = figure("treating", "treater", "flow_error")
    note = (
        f"Follow each label for order of mixing, for what may be mixed and for protection. A treater that was not calibrated may be out by "
        f"{100 * flow.value:g} % (source: {flow.source}): catch and weigh its flow."
    )
    return TreatmentMix(
        seed_kg=seed_kg,
        batches=batches,
        batch_kg=size,
        litres={name: liquid_for_seed(dose, seed_kg) for name, dose in doses_ml_100kg.items()},
        litres_batch={name: liquid_for_seed(dose, size) for name, dose in doses_ml_100kg.items()},
        water_l=liquid_for_seed(water, seed_kg),
        water_batch_l=liquid_for_seed(water, size),
        slurry_l=liquid_for_seed(slurry, seed_kg),
        slurry_batch_l=liquid_for_seed(slurry, size),
        slurry_ml_100kg=slurry,
        litres_ha=None if rate_kg_ha is None else {name: liquid_for_seed(dose, rate_kg_ha) for name, dose in doses_ml_100kg.items()},
        added=added,
        treated_kg=None if added is None else seed_kg * (1 + added),
        note=note,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stale:
    """A value that no longer holds once the seed is treated. value: what it is now, as far as it can be told, with its unit."""

    what: str
    why: str
    do: str
    value: Est | None = None
    unit: str = ""


def stale_after_treating(
    *, bare_tkw_g: Est | float | None = None, bare_rate_kg_ha: float | None = None, added: Est | float | None = None
) -> tuple[Stale, ...]:
    """What is stale after treating: product per turn, kernel weight, bulk density, and the rate that sows the same seeds.

    How much more or less a meter gives of treated seed is not published: only a new catch test tells.

    Parameters
    ----------
    bare_tkw_g : Est, float or None
        Mass of a thousand bare kernels. [g]
    bare_rate_kg_ha : float or None
        Rate of bare seed. [kg/ha]
    added : Est, float or None
        Added mass over bare mass; dry, if the seed is sown dry. [-]

    Returns
    -------
    tuple of Stale
        Always the four, with a value where one can be computed. [each its own unit]

    Raises
    ------
    RangeError
        If a number is outside its range.
    """
    from evenstand.base.estimate import propagate

    tkw = rate = None
    if bare_tkw_g is not None and added is not None:
        tkw = propagate(treated_tkw, bare_tkw_g=bare_tkw_g, added=added)
    if bare_rate_kg_ha is not None and added is not None:
        rate = propagate(treated_rate, bare_rate_kg_ha=bare_rate_kg_ha, added=added)
    weigh = "Weigh a thousand kernels as they go into the bin."
    coat = figure("treating", "coating", "share")
    heavier = f"The coat weighs too: of coated legume seed it is {100 * coat.low:g} to {100 * coat.high:g} % (source: {coat.source})."
    return (
        Stale(
            what="product per turn",
            why="Treated seed is heavier, stickier and packs otherwise; how much the flow changes is not published.",
            do="Make a new catch test with the treated seed, once it is dry enough to flow as it will in the field.",
        ),
        Stale(what="kernel weight", why=heavier, do=weigh, value=tkw, unit="g/1000"),
        Stale(what="bulk density", why="A rough or tacky coat packs looser.", do="Weigh a pail of known volume again."),
        Stale(what="rate", why="The same kilograms hold fewer seeds.", do="Type the rate of treated seed.", value=rate, unit="kg/ha"),
    )


def _water(doses: Mapping[str, float], water: float | None, slurry: float | None) -> float:
    """Water to add. [mL/100 kg]"""
    if not doses:
        raise MissingError("no product is given", where="doses_ml_100kg", cure="Type the rate from the label.")
    for name, dose in doses.items():
        require_range(f"dose of {name}", dose, 0, unit="mL/100 kg")
    if water is not None and slurry is not None:
        raise InputError("water and slurry are both given", where="water_ml_100kg, slurry_ml_100kg", cure="Give one of them.")
    if slurry is None:
        require_range("water_ml_100kg", water or 0.0, 0, unit="mL/100 kg")
        return water or 0.0
    products = sum(doses.values())
    if slurry < products:
        raise InputError(
            f"the products alone are {products:g} mL on 100 kg",
            where="slurry_ml_100kg",
            limit=f"the slurry is {slurry:g} mL",
            cure="Read the labels again.",
        )
    return slurry - products


def _added(doses: Mapping[str, float], water: float, density: Mapping[str, float], water_kg_l: float) -> float | None:
    """Mass added while wet over bare mass; None unless every product's density is known. [-]"""
    if any(name not in density for name in doses):
        return None
    return sum(added_share(dose, density[name]) for name, dose in doses.items()) + added_share(water, water_kg_l)
