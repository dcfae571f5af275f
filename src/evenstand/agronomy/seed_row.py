"""Fertilizer beside the seed: how much of the ground the seed row takes, and what a guideline allows there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from evenstand.agronomy.row_rules import HALF_POINT, Case, Limit, from_rules, nothing, nutrients_of, word_key
from evenstand.base.errors import InputError, MissingError, require_range
from evenstand.base.units import to_metric
from evenstand.base.worked import worked
from evenstand.reference import Figure, figure, table

Moisture = Literal["excellent", "good", "dry"]
MOISTURES: tuple[Moisture, ...] = ("excellent", "good", "dry")
NUTRIENTS = ("N", "urea-N", "P2O5", "K2O", "S", "N+K2O")

__all__ = [
    "MOISTURES", "NUTRIENTS", "Limit", "guideline_name", "guidelines", "opener_kind", "opener_utilisation", "openers",
    "published_nutrients", "row_dose", "seed_row_limit", "seedbed_utilisation",
]  # fmt: skip


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


@worked(formula="rate_kg_ha * row_spacing_m / 10000", source="definition")
def row_dose(rate_kg_ha: float, row_spacing_m: float) -> float:
    """What lies along a metre of row. The same rate on rows twice as far apart lays down twice as much.

    Parameters
    ----------
    rate_kg_ha : float
        Of a product or a nutrient. [kg/ha]
    row_spacing_m : float
        Distance between rows. [m]

    Returns
    -------
    float
        Mass on a metre of row. [kg/m]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    22.4 kg/ha on rows of 254 mm is 0.57 g on a metre:

    >>> round(1000 * row_dose(22.4, 0.254), 2)
    0.57
    """
    require_range("rate_kg_ha", rate_kg_ha, 0, unit="kg/ha")
    require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    return rate_kg_ha * row_spacing_m / 10000


def openers() -> tuple[str, ...]:
    """Kinds of opener whose usual seedbed utilisation is known.

    Returns
    -------
    tuple of str
        Their keys. [-]
    """
    return tuple(key for key, entry in table("seed_row")["opener_sbu"].items() if isinstance(entry, Figure))


def opener_kind(text: str) -> str:
    """The kind of opener that a description names.

    Parameters
    ----------
    text : str
        As the owner says it, such as "Double disc, 1 inch". [-]

    Returns
    -------
    str
        One of `openers()`, or "double-disc", or "" if none is named. [-]
    """
    said = word_key(text)
    return next((kind for kind in ("double-disc", *sorted(openers(), key=len, reverse=True)) if kind in said), "")


def opener_utilisation(opener: str) -> Figure:
    """Usual seedbed utilisation of a kind of opener: a range to start from, until the spread is measured.

    Parameters
    ----------
    opener : str
        One of `openers()`; a double disc counts as a disc. [-]

    Returns
    -------
    Figure
        Range with its source, which is second-hand. [-]

    Raises
    ------
    MissingError
        If no range is known; it says how to measure.

    Examples
    --------
    >>> hoe = opener_utilisation("hoe")
    >>> hoe.low, hoe.high
    (0.12, 0.15)
    """
    key = "disc" if opener_kind(opener) == "double-disc" else opener_kind(opener)
    if not key:
        raise MissingError(
            f"no usual seedbed utilisation of '{opener}'",
            where="opener",
            limit=", ".join(openers()),
            cure="Measure the spread: dig across a row and tape the band of seed and fertilizer.",
        )
    return figure("seed_row", "opener_sbu", key)


def guidelines() -> tuple[str, ...]:
    """Guidelines there are.

    Returns
    -------
    tuple of str
        Their keys. [-]
    """
    return tuple(key for key, entry in table("seed_row").items() if isinstance(entry, Mapping) and "crops" in entry)


def guideline_name(guideline: str) -> str:
    """Whose guideline it is, in words.

    Parameters
    ----------
    guideline : str
        Key from `guidelines()`. [-]

    Returns
    -------
    str
        The publisher. [-]

    Raises
    ------
    InputError
        If there is no such guideline.
    """
    return str(_sheet(guideline)["name"])


def published_nutrients(guideline: str, crop: str) -> tuple[str, ...]:
    """Nutrients for which a guideline has any figure with a crop, whatever the case.

    Parameters
    ----------
    guideline : str
        Key from `guidelines()`. [-]
    crop : str
        Crop. [-]

    Returns
    -------
    tuple of str
        Of `NUTRIENTS`; "every" where it refuses all fertilizer. [-]

    Raises
    ------
    InputError
        If there is no such guideline.
    """
    sheet = _sheet(guideline)
    group = sheet["crops"].get(word_key(crop))
    if "N" not in sheet:
        return nutrients_of(sheet, group)
    tables = [("N", group in sheet["N"]), ("P2O5", isinstance(sheet["P2O5"].get(group), Figure))]
    return tuple(nutrient for nutrient, there in tables if there)


def seed_row_limit(
    guideline: str,
    crop: str,
    texture: str,
    sbu: float,
    *,
    nutrient: str = "N",
    moisture: str = "good",
    row_spacing_m: float | None = None,
    opener: str = "",
) -> Limit:
    """Most of a nutrient that a guideline allows in the seed row.

    Within half a point of a printed seedbed utilisation it is that one (16.67 is "17"). Otherwise the next lower printed one is taken:
    that is our policy and is said so. Below the lowest printed one there is no figure. Where a range is printed its lower end is the
    limit. Outside of a guideline's own conditions the answer is None, and the note tells what is published and for which case.
    Publishers are never mixed.

    Parameters
    ----------
    guideline : str
        Key from `guidelines()`, such as "manitoba". [-]
    crop : str
        Crop, such as "wheat", "canola", "pea". [-]
    texture : str
        Soil as the guideline says it: "light", "medium" or "heavy", or a soil word such as "clay loam". Guidelines that know no
        difference between soils take any word. [-]
    sbu : float
        Seedbed utilisation, 0 < sbu <= 1. [-]
    nutrient : str
        "N" (all of it; most tables mean urea), "urea-N" where a publisher treats urea apart, "P2O5" (as monoammonium phosphate),
        "K2O", "S" (as ammonium sulphate) or "N+K2O". [-]
    moisture : str
        "excellent", "good" or "dry" (dry, warm or windy seedbed). [-]
    row_spacing_m : float or None
        Distance between rows, for guidelines that go by it. [m]
    opener : str
        Kind of opener, for guidelines that go by it, such as "double-disc". [-]

    Returns
    -------
    Limit
        With kg_ha None where nothing is published, or not read, for the case. [kg/ha]

    Raises
    ------
    InputError
        If the guideline, texture, nutrient or moisture is unknown.
    RangeError
        If sbu or row_spacing_m is outside its range.

    References
    ----------
    Manitoba Agriculture (J. Heard): Guidelines for safely applying fertilizer with seed; A second opinion please; Safe rates of
    seed-placed phosphorus, Table 1. The sources of the other sets stand beside each figure in reference/seed_row.toml.

    Examples
    --------
    >>> limit = seed_row_limit("manitoba", "wheat", "medium", 1 / 6)
    >>> round(limit.kg_ha, 1), limit.printed_sbu
    (22.4, 0.17)
    >>> print(seed_row_limit("ndsu-2002", "corn", "medium", 0.05, nutrient="N+K2O", row_spacing_m=0.56).note)
    Published: 10 lb/ac (11.2 kg/ha) N+K2O with corn or sunflower, rows of 30 in (762 mm). Not this case: rows are 22.0 in apart.
    """
    require_range("sbu", sbu, 0, 1, low_open=True)
    if row_spacing_m is not None:
        require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    sheet = _sheet(guideline)
    for name, given, known in (("nutrient", nutrient, NUTRIENTS), ("moisture", moisture, MOISTURES)):
        if given not in known:
            raise InputError(f"'{given}' is not known", where=name, cure=f"Use {', '.join(known)}.")
    case = Case(
        crop=crop,
        group=sheet["crops"].get(word_key(crop)),
        nutrient=nutrient,
        sbu=sbu,
        moisture=moisture,
        row_spacing_m=row_spacing_m,
        opener=opener_kind(opener) or word_key(opener),
    )
    if "textures" not in sheet:
        return from_rules(sheet, case)
    return _by_soil(sheet, case, _word(sheet["textures"], texture, "texture"))


def _by_soil(sheet: Mapping[str, Any], case: Case, soil: str) -> Limit:
    """A set that is a table by soil and seedbed utilisation."""
    refused = _wide_rows(sheet, case)
    if refused is not None:
        return refused
    if case.nutrient == "P2O5":
        return _phosphate(sheet, case)
    if case.nutrient in {"N", "urea-N"}:
        return _nitrogen(sheet, case.group, case.crop, soil, case.sbu, case.moisture, case.opener)
    return nothing("", f"{sheet['name']} prints nothing on {case.nutrient} here.")


def _wide_rows(sheet: Mapping[str, Any], case: Case) -> Limit | None:
    """Crops for which nothing goes with the seed in wide rows. [kg/ha]"""
    widest = sheet["wide_rows"].get(case.group)
    if case.row_spacing_m is None or not isinstance(widest, Figure) or case.row_spacing_m <= widest.metric("spacing")[0] + 1e-9:
        return None
    note = f"No fertilizer with the seed in rows wider than {widest.low:g} {widest.unit}."
    return Limit(kg_ha=0.0, printed_sbu=None, policy="", source=widest.source, note=note)


def _nitrogen(sheet: Mapping[str, Any], group: str | None, crop: str, soil: str, sbu: float, moisture: str, opener: str) -> Limit:
    """Urea nitrogen from a table by texture and seedbed utilisation."""
    refusal: Figure = sheet["no_urea"]
    if opener == "double-disc" and soil == "light":
        return Limit(
            kg_ha=refusal.metric("rate")[0], printed_sbu=None, policy="", source=refusal.source, note=f"{refusal.where.capitalize()}."
        )
    rows = sheet["N"].get(group) if group else None
    if rows is None:
        return nothing("", f"The guideline prints no nitrogen rates for {crop}.")
    points = 100 * sbu
    at = max((i for i, printed in enumerate(rows["sbu"]) if points >= printed - HALF_POINT), default=None)
    if at is None:
        return nothing(rows["source"], f"Its lowest printed seedbed utilisation is {rows['sbu'][0]} %; this is {points:.1f} %.")
    printed, cell = rows["sbu"][at], rows[soil][at]
    if isinstance(cell, str):
        return nothing(
            rows["source"], f"The sheet's figure for {soil} soil at {printed} % has not been read here: look it up in the sheet."
        )
    policy = "" if abs(points - printed) <= HALF_POINT else f"taken at the next lower printed seedbed utilisation, {printed} %: our policy"
    rate = to_metric(float(cell), "rate", rows["unit"])
    note = rows["note"]
    if moisture == "dry":
        rate *= sheet["dry"].value
        note += " Halved for a dry, warm or windy seedbed, as the guideline's publisher says."
    return Limit(kg_ha=rate, printed_sbu=printed / 100, policy=policy, source=rows["source"], note=note)


def _phosphate(sheet: Mapping[str, Any], case: Case) -> Limit:
    """Phosphate from a list by crop, which holds for one spread and a narrow range of row spacings."""
    rows, crop, sbu, moisture = sheet["P2O5"], case.crop, case.sbu, case.moisture
    cell = rows.get(case.group) if case.group else None
    by_rows = sheet["narrow_rows"].get(case.group)
    if isinstance(by_rows, Figure) and case.row_spacing_m is not None and moisture != "dry":  # wider rows were refused before
        limit = by_rows.metric("rate")[0]
        note = f"{by_rows.where.capitalize()}."
        return Limit(kg_ha=limit, printed_sbu=None, policy="moisture not stated", source=by_rows.source, note=note)
    if not isinstance(cell, Figure):
        return nothing(rows["source"], f"The guideline prints no phosphate rate for {crop}.")
    basis_low = rows["spread"].value / rows["row_spacing"].high
    basis_high = rows["spread"].value / rows["row_spacing"].low
    if moisture == "dry":
        return nothing(rows["source"], "The list holds for good to excellent moisture; it gives no rule for a dry seedbed.")
    if 100 * sbu < 100 * basis_low - HALF_POINT:
        return nothing(rows["source"], f"The list holds from a seedbed utilisation of {100 * basis_low:.0f} %; this is {100 * sbu:.1f} %.")
    policy = ""
    if 100 * sbu > 100 * basis_high + HALF_POINT:
        policy = f"taken from the list's own spread and rows ({100 * basis_low:.0f} to {100 * basis_high:.0f} %): our policy"
    note = " ".join(text for text in (rows["note"], cell.note) if text)
    return Limit(kg_ha=cell.metric("rate")[0], printed_sbu=None, policy=policy, source=rows["source"], note=note)


def _sheet(guideline: str) -> Mapping[str, Any]:
    if guideline not in guidelines():
        raise InputError(f"'{guideline}' is no guideline", where="guideline", cure=f"Known: {', '.join(guidelines())}.")
    sheet: Mapping[str, Any] = table("seed_row")[guideline]
    return sheet


def _word(known: Mapping[str, str], text: str, where: str) -> str:
    if word_key(text) not in known:
        raise InputError(f"'{text}' is not known", where=where, cure=f"Use {', '.join(known)}.")
    return known[word_key(text)]
