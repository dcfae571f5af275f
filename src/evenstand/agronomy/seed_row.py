"""Fertilizer beside the seed: how much of the ground the seed row takes, and what a guideline allows there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from evenstand.base.errors import InputError, require_range
from evenstand.base.units import to_metric
from evenstand.base.worked import worked
from evenstand.reference import Figure, table

Moisture = Literal["excellent", "good", "dry"]
MOISTURES: tuple[Moisture, ...] = ("excellent", "good", "dry")
NUTRIENTS = ("N", "P2O5")

_HALF_POINT = 0.5 + 1e-9
_NOT_PUBLISHED = "not published for this case"


@worked(formula="spread_m / row_spacing_m", source="manitoba-seed-row-n", where="seedbed utilisation")
def seedbed_utilisation(spread_m: float, row_spacing_m: float) -> float:
    """Share of the ground that seed and fertilizer share with each other.

    Parameters
    ----------
    spread_m : float
        Width of the band an opener leaves. [m]
    row_spacing_m : float
        Distance between rows; the band is no wider than that. [m]

    Returns
    -------
    float
        Seedbed utilisation. [-]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    A 2 inch spread on 6 inch rows:

    >>> round(seedbed_utilisation(0.0508, 0.1524), 2)
    0.33
    """
    require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    require_range("spread_m", spread_m, 0, row_spacing_m, low_open=True, unit="m")
    return spread_m / row_spacing_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """What a guideline allows with the seed.

    kg_ha: of the nutrient, None where it says nothing for the case [kg/ha]; printed_sbu: the seedbed utilisation whose figure was
    taken [-]; policy: how the case was matched to the print, in words; source: its key; note: what else the guideline says.
    """

    kg_ha: float | None
    printed_sbu: float | None
    policy: str
    source: str
    note: str


def guidelines() -> tuple[str, ...]:
    """Guidelines there are.

    Returns
    -------
    tuple of str
        Their keys. [-]
    """
    return tuple(key for key, entry in table("seed_row").items() if isinstance(entry, Mapping) and "crops" in entry)


def seed_row_limit(guideline: str, crop: str, texture: str, sbu: float, *, nutrient: str = "N", moisture: str = "good") -> Limit:
    """Most of a nutrient that a guideline allows in the seed row.

    Within half a point of a printed seedbed utilisation it is that one (16.67 is "17"). Otherwise the next lower printed one is taken:
    that is our policy and is said so. Below the lowest printed one there is no figure.

    Parameters
    ----------
    guideline : str
        Key from `guidelines()`, such as "manitoba". [-]
    crop : str
        Crop, such as "wheat", "canola", "pea". [-]
    texture : str
        Soil as the guideline says it: "light", "medium" or "heavy", or a soil word such as "clay loam". [-]
    sbu : float
        Seedbed utilisation, 0 < sbu <= 1. [-]
    nutrient : str
        "N" (as urea) or "P2O5" (as monoammonium phosphate). [-]
    moisture : str
        "excellent", "good" or "dry" (dry, warm or windy seedbed). [-]

    Returns
    -------
    Limit
        With kg_ha None where nothing is published, or not read, for the case. [kg/ha]

    Raises
    ------
    InputError
        If the guideline, texture, nutrient or moisture is unknown.
    RangeError
        If sbu is outside its range.

    References
    ----------
    Manitoba Agriculture (J. Heard): Guidelines for safely applying fertilizer with seed; A second opinion please; Safe rates of
    seed-placed phosphorus, Table 1.

    Examples
    --------
    >>> limit = seed_row_limit("manitoba", "wheat", "medium", 1 / 6)
    >>> round(limit.kg_ha, 1), limit.printed_sbu
    (22.4, 0.17)
    """
    require_range("sbu", sbu, 0, 1, low_open=True)
    sheet = _sheet(guideline)
    soil = _word(sheet["textures"], texture, "texture")
    for name, given, known in (("nutrient", nutrient, NUTRIENTS), ("moisture", moisture, MOISTURES)):
        if given not in known:
            raise InputError(f"'{given}' is not known", where=name, cure=f"Use {', '.join(known)}.")
    group = sheet["crops"].get(_key(crop))
    if nutrient == "P2O5":
        return _phosphate(sheet["P2O5"], group, crop, sbu, moisture)
    return _nitrogen(sheet, group, crop, soil, sbu, moisture)


def _nitrogen(sheet: Mapping[str, Any], group: str | None, crop: str, soil: str, sbu: float, moisture: str) -> Limit:
    """Urea nitrogen from a table by texture and seedbed utilisation."""
    rows = sheet["N"].get(group) if group else None
    if rows is None:
        return _nothing("", f"The guideline prints no nitrogen rates for {crop}.")
    points = 100 * sbu
    at = max((i for i, printed in enumerate(rows["sbu"]) if points >= printed - _HALF_POINT), default=None)
    if at is None:
        return _nothing(rows["source"], f"Its lowest printed seedbed utilisation is {rows['sbu'][0]} %; this is {points:.1f} %.")
    printed, cell = rows["sbu"][at], rows[soil][at]
    if isinstance(cell, str):
        return _nothing(
            rows["source"], f"The sheet's figure for {soil} soil at {printed} % has not been read here: look it up in the sheet."
        )
    policy = "" if abs(points - printed) <= _HALF_POINT else f"taken at the next lower printed seedbed utilisation, {printed} %: our policy"
    rate = to_metric(float(cell), "rate", rows["unit"])
    note = rows["note"]
    if moisture == "dry":
        rate *= sheet["dry"].value
        note += " Halved for a dry, warm or windy seedbed, as the guideline's publisher says."
    return Limit(kg_ha=rate, printed_sbu=printed / 100, policy=policy, source=rows["source"], note=note)


def _phosphate(rows: Mapping[str, Any], group: str | None, crop: str, sbu: float, moisture: str) -> Limit:
    """Phosphate from a list by crop, which holds for one spread and a narrow range of row spacings."""
    cell = rows.get(group) if group else None
    if not isinstance(cell, Figure):
        return _nothing(rows["source"], f"The guideline prints no phosphate rate for {crop}.")
    basis_low = rows["spread"].value / rows["row_spacing"].high
    basis_high = rows["spread"].value / rows["row_spacing"].low
    if moisture == "dry":
        return _nothing(rows["source"], "The list holds for good to excellent moisture; it gives no rule for a dry seedbed.")
    if 100 * sbu < 100 * basis_low - _HALF_POINT:
        return _nothing(rows["source"], f"The list holds from a seedbed utilisation of {100 * basis_low:.0f} %; this is {100 * sbu:.1f} %.")
    policy = ""
    if 100 * sbu > 100 * basis_high + _HALF_POINT:
        policy = f"taken from the list's own spread and rows ({100 * basis_low:.0f} to {100 * basis_high:.0f} %): our policy"
    note = " ".join(text for text in (rows["note"], cell.note) if text)
    return Limit(kg_ha=cell.metric("rate")[0], printed_sbu=None, policy=policy, source=rows["source"], note=note)


def _nothing(source: str, note: str) -> Limit:
    return Limit(kg_ha=None, printed_sbu=None, policy=_NOT_PUBLISHED, source=source, note=note)


def _sheet(guideline: str) -> Mapping[str, Any]:
    if guideline not in guidelines():
        raise InputError(f"'{guideline}' is no guideline", where="guideline", cure=f"Known: {', '.join(guidelines())}.")
    sheet: Mapping[str, Any] = table("seed_row")[guideline]
    return sheet


def _key(text: str) -> str:
    return "-".join(text.lower().replace("_", " ").replace("-", " ").split())


def _word(known: Mapping[str, str], text: str, where: str) -> str:
    if _key(text) not in known:
        raise InputError(f"'{text}' is not known", where=where, cure=f"Use {', '.join(known)}.")
    return known[_key(text)]
