"""Guidelines that are lists of rules: which one holds for a case, and how to quote those that do not."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from evenstand.base.errors import InputError, require_range
from evenstand.base.units import from_metric, shown_value, to_metric
from evenstand.reference import Figure, table

HALF_POINT = 0.5 + 1e-9  # of a per cent: what rounds to a printed seedbed utilisation
HALF_PRINTED = 0.5 + 1e-9  # of the unit in which row spacings are printed
NOT_PUBLISHED = "not published for this case"
EVERY = "every"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """What a guideline allows with the seed.

    kg_ha: of the nutrient, None where it says nothing for the case [kg/ha]; printed_sbu: the seedbed utilisation whose figure was
    taken [-]; policy: how the case was matched to the print, in words; source: its key; note: what else the guideline says, and where
    there is no figure, what is published and for which case; high_kg_ha: upper end where a range is printed, kg_ha being its lower
    end [kg/ha]; found_safe: a trial found this safe and tried no more, so that above it nothing is known.
    """

    kg_ha: float | None
    printed_sbu: float | None
    policy: str
    source: str
    note: str
    high_kg_ha: float | None = None
    found_safe: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What is asked of a guideline. sbu [-]; row_spacing_m None where not known [m]; group: the crop as the set groups it."""

    crop: str
    group: str | None
    nutrient: str
    sbu: float
    moisture: str
    row_spacing_m: float | None = None
    opener: str = ""


def word_key(text: str) -> str:
    """A word as the tables write it: "Winter wheat" is "winter-wheat". [-]"""
    return "-".join(text.lower().replace("_", " ").replace("-", " ").split())


def needs_spread(sheet: Mapping[str, Any], group: str | None) -> bool:
    """Whether a set asks for the seedbed utilisation with a crop at all. [-]"""
    rules = [r for r in sheet.get("rules", ()) if group in r["crops"]]
    return "textures" in sheet or any(key in r for r in rules for key in ("sbu", "spread", "least_sbu"))


def nothing(source: str, note: str) -> Limit:
    """No figure, with what there is to say instead."""
    return Limit(kg_ha=None, printed_sbu=None, policy=NOT_PUBLISHED, source=source, note=note)


def from_rules(sheet: Mapping[str, Any], case: Case) -> Limit:
    """The first rule of a set that holds for the case; else nothing, with every rule for the crop and nutrient quoted. [kg/ha]"""
    rules = sorted((r for r in sheet.get("rules", ()) if _concerns(r, case)), key=lambda r: r["nutrient"] == "urea-N" != case.nutrient)
    for rule in rules:
        misses, policies = _conditions(rule, case)
        if not misses:
            return _answer(rule, case, policies, _remarks(sheet, case))
    for rule in rules:
        missing = [m for m in _conditions(rule, case)[0] if m.startswith("give ")]
        if missing:
            return nothing(rule["source"], " ".join([*(quote(r) for r in rules), f"To use it, {', '.join(missing)}."]))
    told = [t for t in sheet.get("told", ()) if _is_told(t, case)]
    if not rules and not told:
        return nothing("", f"{sheet['name']} publishes nothing here on {case.nutrient} with {case.crop}.")
    why = [f"Not this case: {', '.join(_conditions(r, case)[0])}." for r in rules[-1:]]
    key = rules[0]["source"] if rules else told[0]["source"]
    return nothing(key, " ".join([*(quote(r) for r in rules), *why, *(tell(t) for t in told)]))


def remarks(sheet: Mapping[str, Any], case: Case, present: Sequence[str]) -> list[str]:
    """What a set says of nutrients that lie in the row together. [-]"""
    return [
        tell(t)
        for t in sheet.get("told", ())
        if "together" in t and case.group in t["crops"] and all(n in present for n in t["together"]) and case.nutrient in t["nutrients"]
    ]


def nutrients_of(sheet: Mapping[str, Any], group: str | None) -> tuple[str, ...]:
    """Nutrients for which a set of rules has a rule for a crop. [-]"""
    return tuple(dict.fromkeys(r["nutrient"] for r in sheet.get("rules", ()) if group in r["crops"]))


def tell(told: Mapping[str, Any]) -> str:
    """A saying with its figures set in. [-]"""
    return str(told["text"]).format(*(as_printed(f) for f in told["figures"]))


def limit_of(rule: Mapping[str, Any]) -> tuple[float, float]:
    """Low and high end of what a rule allows. [kg/ha]"""
    if "product" in rule:
        low, high = rule["product"].metric("rate")
        share = rule["share"].value
        return low * share, high * share
    low, high = rule["limit"].metric("rate")
    return low, high


def cut_limit(kg_ha: float, texture: str, moisture: str, *, stand_loss: float | None = None, guideline: str = "south-dakota") -> Limit:
    """Cut a rate that you looked up in a sheet by that publisher's own rules for coarse soil, dry soil and a smaller loss of stand.

    Parameters
    ----------
    kg_ha : float
        Rate of its table, for fine or medium soil. [kg/ha]
    texture : str
        "light" or "coarse"; anything else is fine or medium. [-]
    moisture : str
        "excellent", "good" or "dry". [-]
    stand_loss : float or None
        Share of the stand that may be lost, the table's own by default; half of it halves the rate. [-]
    guideline : str
        Key of a set with such rules. [-]

    Returns
    -------
    Limit
        kg_ha None for a stand loss without a rule. [kg/ha]

    Raises
    ------
    InputError
        If the set has no such rules.
    RangeError
        If the rate is below 0.

    Examples
    --------
    20 kg/ha on coarse, moist soil:

    >>> cut_limit(20, "coarse", "good").kg_ha
    12.0
    """
    require_range("kg_ha", kg_ha, 0, unit="kg/ha")
    sheet = table("seed_row").get(guideline, {})
    if "cuts" not in sheet:
        raise InputError(f"'{guideline}' has no rules to cut a rate", where="guideline", cure="Use south-dakota.")
    cuts: Mapping[str, Figure] = sheet["cuts"]
    said, share = [], 1.0
    if texture in {"light", "coarse", "sand", "sandy loam", "sandy-loam"}:
        cut = cuts["coarse_dry" if moisture == "dry" else "coarse_moist"]
        share *= 1 - cut.value
        said.append(f"cut by {100 * cut.value:g} % for coarse, {'dry' if moisture == 'dry' else 'moist'} soil")
    source = cuts["coarse_dry"].source
    if stand_loss is not None and not math.isclose(stand_loss, cuts["table_loss"].value):
        if not math.isclose(stand_loss, cuts["halved_loss"].value):
            stated = " and ".join(f"{100 * cuts[name].value:g}" for name in ("table_loss", "halved_loss"))
            return nothing(source, f"It states rules for losses of {stated} % of the stand.")
        share *= 1 - cuts["half_loss"].value
        said.append("halved for half the stand loss")
    note = f"{', '.join(said).capitalize()}." if said else ""
    return Limit(kg_ha=kg_ha * share, printed_sbu=None, policy="a rate you looked up", source=source, note=note)


def _answer(rule: Mapping[str, Any], case: Case, policies: Sequence[str], remarks: Sequence[str]) -> Limit:
    low, high = limit_of(rule)
    policy = list(policies)
    if high > low:
        policy.append(f"the lower end of the printed {as_printed(rule['limit'])} is taken: our policy")
    if case.nutrient == "N" and rule["nutrient"] == "urea-N":
        policy.append("its figure is for nitrogen from urea")
    if not any(condition in rule for condition in ("sbu", "spread", "row_spacing", "openers")):
        policy.append("spread and rows are not stated: no condition could be tested")
    if "moistures" not in rule and low > 0:
        policy.append("moisture not stated")
    printed = rule["sbu"].value / 100 if "sbu" in rule else None
    note = " ".join([rule.get("note", ""), *remarks]).strip()
    return Limit(
        kg_ha=low,
        printed_sbu=printed,
        policy="; ".join(policy),
        source=rule["source"],
        note=note,
        high_kg_ha=high if high > low else None,
        found_safe="product" in rule,
    )


def _concerns(rule: Mapping[str, Any], case: Case) -> bool:
    """Whether a rule is for the crop and the nutrient at all."""
    of_urea = case.nutrient == "N" and rule["nutrient"] == "urea-N"
    return case.group in rule["crops"] and (rule["nutrient"] in {case.nutrient, EVERY} or of_urea)


def _is_told(told: Mapping[str, Any], case: Case) -> bool:
    unlisted = EVERY in told["crops"] and case.group is None
    return "together" not in told and case.nutrient in told["nutrients"] and (unlisted or case.group in told["crops"])


def _remarks(sheet: Mapping[str, Any], case: Case) -> list[str]:
    """Other sayings of a set on the same crop and nutrient, behind an answer. [-]"""
    return [tell(t) for t in sheet.get("told", ()) if _is_told(t, case) and EVERY not in t["crops"]]


def _conditions(rule: Mapping[str, Any], case: Case) -> tuple[list[str], list[str]]:
    """Conditions of a rule that the case misses, and how those it meets were read. [-]"""
    misses: list[str] = []
    policies: list[str] = []
    printed = _printed_sbu(rule)
    if printed is not None:
        points = 100 * case.sbu
        if points < printed[0] - HALF_POINT:
            misses.append(f"seedbed utilisation is {points:.1f} %, below its {printed[0]:.0f} %")
        elif points > printed[1] + HALF_POINT:
            policies.append(f"taken from its own seedbed utilisation, {_percent(printed)}: our policy")
    elif "row_spacing" in rule:
        misses += _row_spacing(rule, case)
    if "least_sbu" in rule and 100 * case.sbu < rule["least_sbu"].value - HALF_POINT:
        misses.append(f"seedbed utilisation is {100 * case.sbu:.1f} %, and it is used from {rule['least_sbu'].value:g} % on: our policy")
    if "openers" in rule and case.opener not in rule["openers"]:
        misses.append(f"opener is {case.opener}, not {_joined(rule['openers'])}" if case.opener else "give the opener")
    dry_allowed = limit_of(rule)[0] == 0
    if case.moisture not in rule.get("moistures", ("excellent", "good")) and not dry_allowed:
        misses.append(f"the seedbed is {case.moisture}, for which it says nothing")
    return misses, policies


def _row_spacing(rule: Mapping[str, Any], case: Case) -> list[str]:
    """Whether the rows are those of the rule, to half of the unit printed. [-]"""
    if case.row_spacing_m is None:
        return ["give the row spacing"]
    spacing: Figure = rule["row_spacing"]
    rows = from_metric(case.row_spacing_m, "spacing", spacing.unit)
    wide_enough = rows >= spacing.low - HALF_PRINTED
    narrow_enough = rows <= spacing.high + HALF_PRINTED or "wider" in rule
    return [] if wide_enough and narrow_enough else [f"rows are {rows:.1f} {spacing.unit} apart"]


def _printed_sbu(rule: Mapping[str, Any]) -> tuple[float, float] | None:
    """Seedbed utilisation for which a rule is printed; None if it states none. [%]"""
    if "sbu" in rule:
        return rule["sbu"].low, rule["sbu"].high
    if "spread" not in rule:
        return None
    spread, rows = rule["spread"].metric("spacing"), rule["row_spacing"].metric("spacing")
    return 100 * spread[0] / rows[1], 100 * spread[1] / rows[0]


def quote(rule: Mapping[str, Any]) -> str:
    """A rule in a sentence: how much, of what, for which case. [-]"""
    amount = f"{as_printed(rule['product'])} of the blend, for its" if "product" in rule else as_printed(rule["limit"])
    amount = "no" if limit_of(rule)[1] == 0 else amount
    nutrient = "fertilizer of any kind" if rule["nutrient"] == EVERY else rule["nutrient"]
    places = []
    if "spread" in rule:
        places.append(f"a {as_printed(rule['spread'])} spread")
    if "row_spacing" in rule:
        places.append(f"rows of {as_printed(rule['row_spacing'])}{' and wider' if 'wider' in rule else ''}")
    if "sbu" in rule:
        places.append(f"{rule['sbu'].value:g} % of the ground")
    if "openers" in rule:
        places.append(f"{_joined(rule['openers'])} openers")
    if "moistures" in rule:
        places.append(f"{_joined(rule['moistures'])} moisture")
    where = f", {', '.join(places)}" if places else ""
    return f"Published: {amount} {nutrient} with {_joined(rule['crops'])}{where}."


def as_printed(figure: Figure) -> str:
    """A figure in the unit it is printed in, and in the other one where it is a rate or a spacing. [text]"""
    other = {"lb/ac": ("rate", "kg/ha"), "kg/ha": ("rate", "lb/ac"), "in": ("spacing", "mm"), "cm": ("spacing", "in")}
    first = _range(figure.low, figure.high, figure.unit)
    if figure.unit not in other:
        return first
    quantity, symbol = other[figure.unit]
    ends = [to_metric(end, quantity, figure.unit) for end in (figure.low, figure.high)]
    low, high = (shown_value(end, quantity, symbol=symbol) for end in ends)
    return f"{first} ({low if low == high else f'{low} to {high}'} {symbol})"


def _range(low: float, high: float, unit: str) -> str:
    return f"{low:g} {unit}" if low == high else f"{low:g} to {high:g} {unit}"


def _percent(printed: tuple[float, float]) -> str:
    low, high = (f"{p:.0f}" for p in printed)
    return f"{low} %" if low == high else f"{low} to {high} %"


def _joined(words: Sequence[str]) -> str:
    return " or ".join(words) if len(words) < 3 else f"{', '.join(words[:-1])} or {words[-1]}"
