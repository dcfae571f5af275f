"""Fertilizers on their way into the ground: what they carry, which kind they are, and their order by salt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from evenstand.reference import figure, figures, table

Where = Literal["seed-row", "side-band", "mid-row"]
WHERES: tuple[Where, ...] = ("seed-row", "side-band", "mid-row")
SINGLE = ("N", "P2O5", "K2O", "S")
_SAME = 0.05  # two analyses this close, relative, are one product


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A fertilizer on its way into the ground.

    rate_kg_ha: of the product [kg/ha]; analysis: shares as N, P2O5, K2O, S [-]; placement: where its stream ends, None if not known;
    distance_m: from the seed, for a band [m]; form: "urea", "ammonia" or "other"; "" is told from the analysis; spread_m: width of its
    band, for a band away from the seed [m]; rows_per_band: rows that one such band serves, 2 for a mid-row band between two rows [-].
    """

    product: str
    rate_kg_ha: float
    analysis: Mapping[str, float]
    placement: Where | None
    distance_m: float | None = None
    form: str = ""
    spread_m: float | None = None
    rows_per_band: int = 1


def nitrogen_form(analysis: Mapping[str, float]) -> str:
    """Whether a product is urea, ammonia, or neither, told from its analysis.

    Parameters
    ----------
    analysis : mapping of str to float
        Shares as N, P2O5, K2O, S. [-]

    Returns
    -------
    str
        "urea" (also where urea is the only thing a product as rich in nitrogen can be), "ammonia" or "other". [-]
    """
    nitrogen = analysis.get("N", 0.0)
    richest_solid = figure("fertilizers", "urea", "analysis", "N").value
    if nitrogen > richest_solid * (1 + _SAME):
        return "ammonia"
    alone = all(share <= 0 for nutrient, share in analysis.items() if nutrient != "N")
    return "urea" if alone and nitrogen >= richest_solid * (1 - _SAME) else "other"


def salt_order(products: Sequence[str]) -> tuple[tuple[str, float], ...]:
    """Products by salt index, the most hurtful at equal mass first.

    Parameters
    ----------
    products : sequence of str
        Keys of the table of fertilizers; those without an index are left out. [-]

    Returns
    -------
    tuple of (str, float)
        Key and salt index, sodium nitrate being 100. An order, no limit. [-]

    References
    ----------
    salt-index: J. J. Mortvedt, 2001, as quoted by a manufacturer; sodium nitrate = 100.
    """
    found = [(key, figures("fertilizers", key, "salt_index")) for key in dict.fromkeys(products)]
    return tuple(sorted(((key, f[0].value) for key, f in found if f), key=lambda pair: -pair[1]))


def amount_of(nutrient: str, products: Sequence[Placed]) -> float:
    """Of a nutrient, or of a sum of nutrients, in a set of products. [kg/ha]"""
    return sum(p.rate_kg_ha * share_of(nutrient, p) for p in products)


def share_of(nutrient: str, p: Placed) -> float:
    """Share of a product that counts for a line. Elemental sulphur is no salt: only sulphur beside other nutrients counts. [-]"""
    if nutrient == "N+K2O":
        return p.analysis.get("N", 0.0) + p.analysis.get("K2O", 0.0)
    if nutrient == "urea-N":
        return p.analysis.get("N", 0.0) if form_of(p) == "urea" else 0.0
    if nutrient == "S" and all(p.analysis.get(n, 0.0) <= 0 for n in SINGLE if n != "S"):
        return 0.0
    return p.analysis.get(nutrient, 0.0)


def form_of(p: Placed) -> str:
    return p.form or nitrogen_form(p.analysis)


def reference_key(analysis: Mapping[str, float]) -> str:
    """The product of the table of fertilizers that an analysis is close to.

    Parameters
    ----------
    analysis : mapping of str to float
        Shares as N, P2O5, K2O, S. [-]

    Returns
    -------
    str
        Its key, "" if none is close. [-]
    """
    for key, entry in table("fertilizers").items():
        nutrients = entry["analysis"]
        printed = {n: figure("fertilizers", key, "analysis", n).value for n in nutrients}
        close = all(abs(analysis.get(n, 0.0) - share) <= _SAME * share for n, share in printed.items())
        if close and all(n in nutrients for n, share in analysis.items() if share > 0):
            return str(key)
    return ""
