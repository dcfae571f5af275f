"""Nutrients and the products that carry them."""

from __future__ import annotations

import re
from collections.abc import Mapping

from evenstand.base.errors import InputError, require_range
from evenstand.base.worked import worked
from evenstand.reference import figure, table


@worked(formula="nutrient_kg_ha / fraction", source="definition")
def product_for_nutrient(nutrient_kg_ha: float, fraction: float) -> float:
    """Product that carries a wanted rate of a nutrient.

    Parameters
    ----------
    nutrient_kg_ha : float
        Nutrient wanted. [kg/ha]
    fraction : float
        Share of the product that is the nutrient, 0 < fraction <= 1. [-]

    Returns
    -------
    float
        Product. [kg/ha]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    70 kg N/ha as urea:

    >>> round(product_for_nutrient(70, 0.46), 1)
    152.2
    """
    require_range("nutrient_kg_ha", nutrient_kg_ha, 0, unit="kg/ha")
    require_range("fraction", fraction, 0, 1, low_open=True)
    return nutrient_kg_ha / fraction


@worked(formula="product_kg_ha * fraction", source="definition")
def nutrient_in_product(product_kg_ha: float, fraction: float) -> float:
    """Nutrient that a rate of a product carries.

    Parameters
    ----------
    product_kg_ha : float
        Product. [kg/ha]
    fraction : float
        Share of the product that is the nutrient, 0 <= fraction <= 1. [-]

    Returns
    -------
    float
        Nutrient. [kg/ha]

    Raises
    ------
    RangeError
        If an argument is outside its range.
    """
    require_range("product_kg_ha", product_kg_ha, 0, unit="kg/ha")
    require_range("fraction", fraction, 0, 1)
    return product_kg_ha * fraction


def nutrients_supplied(rates_kg_ha: Mapping[str, float], analyses: Mapping[str, Mapping[str, float]]) -> dict[str, float]:
    """All nutrients that a set of products supplies together.

    Parameters
    ----------
    rates_kg_ha : mapping of str to float
        Rate of each product. [kg/ha]
    analyses : mapping of str to mapping of str to float
        For each product, share of each nutrient. [-]

    Returns
    -------
    dict of str to float
        Each nutrient that any of the products carries, in alphabetical order. [kg/ha]

    Raises
    ------
    InputError
        Naming every product without an analysis.
    RangeError
        If a rate or a share is outside its range, or shares of one product add up to more than 1.

    References
    ----------
    definition: nutrient = product x share, summed over products.
    """
    unknown = [name for name in rates_kg_ha if name not in analyses]
    if unknown:
        raise InputError(f"no analysis of {', '.join(unknown)}", where="analyses", cure="Give the share of each nutrient from the label.")
    supplied: dict[str, float] = {}
    for name, rate in rates_kg_ha.items():
        require_range(f"fractions of {name}, together", sum(analyses[name].values()), 0, 1 + 1e-9)
        for nutrient, fraction in analyses[name].items():
            supplied[nutrient] = supplied.get(nutrient, 0.0) + nutrient_in_product(rate, fraction)
    return dict(sorted(supplied.items()))


def molar_mass(formula: str) -> float:
    """Molar mass of a simple compound such as K2SO4.

    Parameters
    ----------
    formula : str
        Elements H, N, O, Mg, P, S, Cl, K, Ca with whole numbers, no brackets. [-]

    Returns
    -------
    float
        Mass. [g/mol]

    Raises
    ------
    InputError
        If the formula is not understood.

    References
    ----------
    atomic-weights: abridged standard weights, from memory, confirmed by virginia-spes-201, Table 1a, and wisconsin-sps-343, appendix.
    """
    return sum(figure("oxides", "atomic_weights", element).value * n for element, n in _atoms(formula).items())


def nutrient_factor(have: str, want: str) -> float:
    """Factor that turns a mass given as one compound or element into another that shares its nutrient.

    Parameters
    ----------
    have : str
        What the mass is given as, such as "P2O5". [-]
    want : str
        What it shall be given as, such as "P". [-]

    Returns
    -------
    float
        mass as `want` = mass as `have` * factor. [-]

    Raises
    ------
    InputError
        If the two share no nutrient, or more than one.

    References
    ----------
    definition: ratio of molar masses per atom of the nutrient both hold; atomic-weights: as `molar_mass`.

    Examples
    --------
    >>> round(nutrient_factor("P2O5", "P"), 4)
    0.4364
    """
    a, b = _atoms(have), _atoms(want)
    shared = [element for element in a if element in b and element not in {"O", "H"}]
    if len(shared) != 1:
        what = "share no nutrient" if not shared else f"share {' and '.join(shared)}"
        raise InputError(f"{have} and {want} {what}", where="have, want", limit="exactly one in common")
    return molar_mass(want) / b[shared[0]] * a[shared[0]] / molar_mass(have)


def _atoms(formula: str) -> dict[str, int]:
    """Atoms of each element."""
    parts = re.findall(r"([A-Z][a-z]?)(\d*)", formula)
    known = table("oxides")["atomic_weights"]
    if not parts or "".join(e + n for e, n in parts) != formula or any(e not in known for e, _ in parts):
        raise InputError(f"'{formula}' is not understood", where="formula", cure="Write it like K2SO4.")
    atoms: dict[str, int] = {}
    for element, number in parts:
        atoms[element] = atoms.get(element, 0) + int(number or 1)
    return atoms
