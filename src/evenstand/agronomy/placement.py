"""A whole placement judged: which fertilizer ends where, what lies beside the seed, and what a guideline says of it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from evenstand.agronomy.bands import NutrientLine, RateChange, RowState, band_line, refusals
from evenstand.agronomy.row_rules import Case, Limit, needs_spread, remarks, word_key
from evenstand.agronomy.salts import SINGLE, WHERES, Placed, amount_of, reference_key, salt_order, share_of
from evenstand.agronomy.seed_row import guideline_name, guidelines, opener_utilisation, published_nutrients, row_dose, seed_row_limit
from evenstand.base.errors import InputError, MissingError, require_range
from evenstand.base.units import shown
from evenstand.reference import figure, table

__all__ = ["NutrientLine", "PlacementVerdict", "RateChange", "judge_placement"]

_WORST: tuple[RowState, ...] = ("within", "not-published", "cannot-tell", "over")
_DUST = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementVerdict:
    """A whole placement against one guideline.

    state: the worst of the lines, "within" if nothing goes into the ground that a line could judge; refused: sentences on what must not
    be done at all; sbu_low, sbu_high: seedbed utilisation, equal when the spread is measured, None where not known [-]; usual_spread:
    whether it is only an opener's usual range; notes: what else to know.
    """

    guideline: str
    publisher: str
    state: RowState
    lines: tuple[NutrientLine, ...]
    refused: tuple[str, ...]
    sbu_low: float | None
    sbu_high: float | None
    usual_spread: bool
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Question:
    """What stays the same over all nutrients of one placement."""

    guideline: str
    crop: str
    texture: str
    moisture: str
    opener: str
    row_spacing_m: float | None
    sbu: tuple[float, float] | None
    usual: bool
    own: Mapping[str, float]
    missing: tuple[str, ...] = field(default=())


def judge_placement(
    products: Sequence[Placed],
    *,
    guideline: str,
    crop: str,
    texture: str = "",
    spread_m: float | None = None,
    row_spacing_m: float | None = None,
    opener: str = "",
    moisture: str = "good",
    usual_spread: bool = False,
    own_limits_kg_ha: Mapping[str, float] | None = None,
) -> PlacementVerdict:
    """Judge all fertilizers of a job by where they end in the soil.

    What ends in the seed row, and what ends nobody knows where, counts beside the seed; side band and mid row are counted apart. All
    sources of a nutrient are added. Publishers are never mixed. Ammonia in the seed row is refused whatever the guideline.

    Parameters
    ----------
    products : sequence of Placed
        Fertilizers with their rates and places. [kg/ha]
    guideline : str
        Key from `guidelines()`; "" if none is named: then only your own limits are used. [-]
    crop, texture, moisture : str
        As in `seed_row_limit`; "" for a texture that is not known. [-]
    spread_m : float or None
        Measured width of the band of seed and fertilizer an opener leaves. [m]
    row_spacing_m : float or None
        Distance between rows. [m]
    opener : str
        Kind of opener. [-]
    usual_spread : bool
        Where the spread was not measured, answer over the opener's usual range: over its wide end is over, anything else stays
        "cannot-tell". [-]
    own_limits_kg_ha : mapping of str to float or None
        Limits you looked up yourself, by nutrient; each is used in place of the guideline's, and named as yours. [kg/ha]

    Returns
    -------
    PlacementVerdict
        One line for each nutrient and place. [kg/ha]

    Raises
    ------
    InputError
        If a word is unknown.
    RangeError
        If a rate, share, spread or spacing is outside its range.

    References
    ----------
    Henry, for the Saskatchewan canola growers, 1996: at equal nitrogen, urea, ammonium sulphate and their mixture did the same harm.
    Canola Council of Canada, 7 February 2011: twice the row spacing, twice the nitrogen in the row.

    Examples
    --------
    75 kg/ha of 11-52-0 with wheat, a 25 mm spread on 254 mm rows:

    >>> v = judge_placement([Placed(product="MAP", rate_kg_ha=75, analysis={"N": 0.11, "P2O5": 0.52}, placement="seed-row")],
    ...     guideline="manitoba", crop="wheat", texture="medium", spread_m=0.025, row_spacing_m=0.254)
    >>> [(line.nutrient, round(line.asked_kg_ha, 2), line.state) for line in v.lines]
    [('N', 8.25, 'within'), ('P2O5', 39.0, 'not-published')]
    """
    _check(products, guideline, spread_m, row_spacing_m, own_limits_kg_ha or {})
    sbu, usual, missing = _utilisation(spread_m, row_spacing_m, opener, usual_spread=usual_spread)
    question = _Question(
        guideline=guideline,
        crop=crop,
        texture=texture,
        moisture=moisture,
        opener=opener,
        row_spacing_m=row_spacing_m,
        sbu=sbu,
        usual=usual,
        own=own_limits_kg_ha or {},
        missing=missing,
    )
    there = [p for p in products if p.rate_kg_ha > 0 and sum(p.analysis.values()) > 0]
    in_row = [p for p in there if p.placement in {"seed-row", None}]
    lines = [_seed_row_line(n, in_row, question) for n in _lines_for(in_row, question)]
    for place in WHERES[1:]:
        banded = [p for p in there if p.placement == place]
        lines += [band_line(n, place, banded, row_spacing_m) for n in SINGLE if amount_of(n, banded) > 0]
    refused = refusals(there)
    states = [line.state for line in lines] + (["over"] if refused else [])
    return PlacementVerdict(
        guideline=guideline,
        publisher=guideline_name(guideline) if guideline else "",
        state=max(states, key=_WORST.index, default="within"),
        lines=tuple(lines),
        refused=refused,
        sbu_low=sbu[0] if sbu else None,
        sbu_high=sbu[1] if sbu else None,
        usual_spread=usual,
        notes=tuple(_notes(in_row, question)),
    )


def _check(
    products: Sequence[Placed], guideline: str, spread_m: float | None, row_spacing_m: float | None, own: Mapping[str, float]
) -> None:
    """Words and ranges that no later function looks at."""
    if guideline and guideline not in guidelines():
        raise InputError(f"'{guideline}' is no guideline", where="guideline", cure=f"Known: {', '.join(guidelines())}.")
    for p in products:
        require_range(f"rate of {p.product}", p.rate_kg_ha, 0, unit="kg/ha")
        require_range(f"analysis of {p.product}, together", sum(p.analysis.values()), 0, 1 + _DUST)
        if p.placement not in {None, *WHERES}:
            raise InputError(f"'{p.placement}' is no place", where=p.product, cure=f"Use {', '.join(WHERES)}.")
        require_range(f"rows per band of {p.product}", p.rows_per_band, 1)
        if p.spread_m is not None:
            widest = None if row_spacing_m is None else row_spacing_m * p.rows_per_band
            require_range(f"spread of {p.product}", p.spread_m, 0, widest, low_open=True, unit="m")
        if p.distance_m is not None:
            require_range(f"distance of {p.product} from the seed", p.distance_m, 0, unit="m")
    if row_spacing_m is not None:
        require_range("row_spacing_m", row_spacing_m, 0, low_open=True, unit="m")
    if spread_m is not None:
        require_range("spread_m", spread_m, 0, row_spacing_m, low_open=True, unit="m")
    for nutrient, limit in own.items():
        require_range(f"your own limit of {nutrient}", limit, 0, unit="kg/ha")


def _utilisation(
    spread_m: float | None, row_spacing_m: float | None, opener: str, *, usual_spread: bool
) -> tuple[tuple[float, float] | None, bool, tuple[str, ...]]:
    """Seedbed utilisation low and high, whether it is only the usual one, and what is missing. [-]"""
    if spread_m is not None and row_spacing_m is not None:
        return (spread_m / row_spacing_m,) * 2, False, ()
    missing = tuple(name for name, value in (("the spread of an opener", spread_m), ("the row spacing", row_spacing_m)) if value is None)
    if usual_spread and spread_m is None:
        try:
            usual = opener_utilisation(opener)
        except MissingError:
            return None, False, missing
        return (usual.low, usual.high), True, missing
    return None, False, missing


def _lines_for(in_row: Sequence[Placed], q: _Question) -> Iterator[str]:
    """Nutrients to have a line: those present; urea N and N + K2O where the guideline knows them, or you gave a limit."""
    published = published_nutrients(q.guideline, q.crop) if q.guideline else ()
    for nutrient in ("N", "urea-N", "P2O5", "K2O", "S", "N+K2O"):
        wanted = nutrient in SINGLE or nutrient in published or nutrient in q.own
        covered = nutrient in {"N", "K2O"} and "N+K2O" in (*published, *q.own) and nutrient not in (*published, *q.own)
        if wanted and not covered and amount_of(nutrient, in_row) > 0:
            yield nutrient


def _seed_row_line(nutrient: str, in_row: Sequence[Placed], q: _Question) -> NutrientLine:
    """One nutrient beside the seed. [kg/ha]"""
    asked = amount_of(nutrient, in_row)
    low, high, needs = _limits(nutrient, q)
    ranged = q.usual and nutrient not in q.own
    state = _state(asked, low, high, needs, ranged=ranged)
    carriers = [p for p in in_row if share_of(nutrient, p) > 0]
    notes = [low.note] if low else []
    unsure = [p.product for p in carriers if p.placement is None]
    if unsure:
        notes.append(f"Where {', '.join(unsure)} ends is not known: counted beside the seed.")
        needs = (*needs, "where each stream ends")
        sure = amount_of(nutrient, [p for p in carriers if p.placement])
        state = "cannot-tell" if state == "over" and sure <= _ceiling(high) else state
    covered = _with_phosphate(nutrient, in_row, low, q) if state == "over" else ()
    if covered:
        others = amount_of(nutrient, [p for p in carriers if p not in covered])
        state = "within" if others <= _DUST else "cannot-tell"
        own = f"{shown(amount_of(nutrient, covered), 'rate')} of it comes with the phosphate, whose own limit is as such a product"
        notes.append(f"{own}: not counted twice." if state == "within" else f"{own}; whether it counts here too is not published.")
    if low and low.high_kg_ha and low.kg_ha is not None and low.kg_ha < asked <= low.high_kg_ha:
        notes.append("What is asked lies between the ends of the printed range.")
    if ranged and low:
        notes.append(f"The spread was not measured: the limit is for the usual range of a {q.opener} opener.")
        if low.kg_ha is not None and asked <= low.kg_ha:
            notes.append("What is asked is within it even at the narrow end.")
    notes += _together(nutrient, in_row, q)
    limit = low.kg_ha if low else None
    return NutrientLine(
        nutrient=nutrient,
        placement="seed-row",
        asked_kg_ha=asked,
        asked_kg_m=row_dose(asked, q.row_spacing_m) if q.row_spacing_m else None,
        limit_kg_ha=limit,
        high_kg_ha=high.kg_ha if ranged and high else low.high_kg_ha if low else None,
        printed_sbu=low.printed_sbu if low else None,
        state=state,
        needs=needs,
        policy=low.policy if low else "",
        source=low.source if low else "",
        note=" ".join(n for n in notes if n),
        changes=_changes(nutrient, carriers, asked, limit) if limit is not None and not covered else (),
        scale=limit / asked if limit is not None and not covered else None,
        sbu=q.sbu[0] if q.sbu else None,
    )


def _with_phosphate(nutrient: str, in_row: Sequence[Placed], limit: Limit | None, q: _Question) -> tuple[Placed, ...]:
    """Ammonium phosphates whose nitrogen makes the difference between within and over, where the set limits phosphate in this case."""
    if nutrient != "N" or limit is None or q.usual:
        return ()
    phosphates = tuple(p for p in in_row if share_of("N", p) > 0 and share_of("P2O5", p) > share_of("N", p))
    own = _limits("P2O5", q)[0]
    others = amount_of("N", [p for p in in_row if p not in phosphates])
    return phosphates if own is not None and own.kg_ha is not None and others <= _ceiling(limit) else ()


def _state(asked: float, low: Limit | None, high: Limit | None, needs: tuple[str, ...], *, ranged: bool) -> RowState:
    """State of one line. Over an opener's usual range only "over" can be told: above the limit of its wide end."""
    if low is None or high is None:
        return "cannot-tell"
    if ranged:
        if low.kg_ha is None and high.kg_ha is None:
            return "not-published"
        return "over" if asked > _ceiling(high) else "cannot-tell"
    if low.kg_ha is None:
        return "cannot-tell" if needs else "not-published"
    if asked <= _ceiling(low):
        return "within"
    return "not-published" if low.found_safe else "over"


def _ceiling(limit: Limit | None) -> float:
    """A limit with room for rounding; boundless where there is none. [kg/ha]"""
    return (limit.kg_ha if limit and limit.kg_ha is not None else math.inf) * (1 + _DUST)


def _limits(nutrient: str, q: _Question) -> tuple[Limit | None, Limit | None, tuple[str, ...]]:
    """Limits at the low and the high end of the seedbed utilisation, and what is missing to look one up. [kg/ha]"""
    if nutrient in q.own:
        own = Limit(kg_ha=q.own[nutrient], printed_sbu=None, policy="a limit you looked up", source="", note="")
        return own, own, ()
    if not q.guideline:
        return None, None, ("a guideline, or a limit you looked up",)
    sheet = table("seed_row")[q.guideline]
    needs_soil = "textures" in sheet and not q.texture
    by_spread = needs_spread(sheet, sheet["crops"].get(word_key(q.crop)))
    if (q.sbu is None and by_spread) or needs_soil:
        return None, None, (*q.missing, *(("the soil texture",) if needs_soil else ()))
    low, high = (
        seed_row_limit(
            q.guideline,
            q.crop,
            q.texture,
            sbu,
            nutrient=nutrient,
            moisture=q.moisture,
            row_spacing_m=q.row_spacing_m,
            opener=q.opener,
        )
        for sbu in (q.sbu or (1.0, 1.0))  # of no account where the set does not go by it
    )
    by_rows = q.row_spacing_m is None and any("give the row spacing" in limit.note for limit in (low, high))
    return low, high, q.missing if q.usual else ("the row spacing",) if by_rows else ()


def _changes(nutrient: str, carriers: Sequence[Placed], asked: float, limit: float) -> tuple[RateChange, ...]:
    """For each product, the rate that alone would bring the nutrient to its limit. [kg/ha]"""
    changes = []
    for p in carriers:
        share = share_of(nutrient, p)
        rate = (limit - (asked - p.rate_kg_ha * share)) / share
        possible = rate >= -_DUST
        changes.append(
            RateChange(
                product=p.product,
                rate_kg_ha=max(rate, 0.0) if possible else None,
                change_kg_ha=max(rate, 0.0) - p.rate_kg_ha if possible else None,
            )
        )
    return tuple(changes)


def _together(nutrient: str, in_row: Sequence[Placed], q: _Question) -> list[str]:
    """What the guideline says of this nutrient beside another one. [-]"""
    if not q.guideline:
        return []
    sheet: Mapping[str, Any] = table("seed_row")[q.guideline]
    group = sheet["crops"].get(word_key(q.crop))
    present = [n for n in SINGLE if amount_of(n, in_row) > 0]
    said = remarks(sheet, Case(crop=q.crop, group=group, nutrient=nutrient, sbu=1.0, moisture=q.moisture), present)
    if "rule_of_blends" in sheet and len(in_row) > 1:
        said.append(str(sheet["rule_of_blends"]))
    return said


def _notes(in_row: Sequence[Placed], q: _Question) -> Iterator[str]:
    """What else to know about what lies beside the seed. [-]"""
    row = table("seed_row")
    if sum(p.analysis.get("N", 0.0) > 0 for p in in_row) > 1:
        yield f"{row['equal_nitrogen']['text']} (source: {row['equal_nitrogen']['source']})"
    if in_row and q.row_spacing_m:
        yield f"{row['doubled_rows']['text']} (source: {row['doubled_rows']['source']})"
    order = row["sensitivity"]["order"]
    if in_row and word_key(q.crop) in order:
        yield f"Crops from most to least sensitive: {', '.join(order)} (source: {row['sensitivity']['source']})."
    known = {key: p.product for p in in_row for key in [reference_key(p.analysis)] if key}
    ranked = salt_order(list(known))
    if len(ranked) > 1:
        said = ", ".join(f"{known[key]} {index:g}" for key, index in ranked)
        source = figure("fertilizers", ranked[0][0], "salt_index").source
        yield f"Salt index, the most hurtful at equal mass first: {said}. An order, no limit (source: {source})."
    elemental = [p.product for p in in_row if p.analysis.get("S", 0.0) > 0 and share_of("S", p) <= 0]
    if elemental:
        yield f"Sulphur of {', '.join(elemental)} is elemental and not counted as a salt."
