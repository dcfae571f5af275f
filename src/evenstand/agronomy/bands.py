"""Nutrients in a band away from the seed, and ammonia wherever it goes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from evenstand.agronomy.salts import Placed, Where, amount_of, form_of, share_of
from evenstand.agronomy.seed_row import row_dose
from evenstand.base.units import shown
from evenstand.reference import figures, table

RowState = Literal["within", "over", "not-published", "cannot-tell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RateChange:
    """What would bring a nutrient to its limit by one product alone, the others unchanged: the product's rate then, None if even
    without it the rest is over [kg/ha]; change_kg_ha: that less the rate asked [kg/ha]."""

    product: str
    rate_kg_ha: float | None
    change_kg_ha: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NutrientLine:
    """One nutrient in one place.

    asked_kg_ha: of all products there together [kg/ha]; asked_kg_m: on a metre of row, or of the band, None without a row spacing [kg/m];
    sbu: share of the ground it lies on, the narrowest of its bands, None without a spread [-]; limit_kg_ha:
    None where there is none for the case [kg/ha]; high_kg_ha: upper end of a printed range, or the limit at the wide end of an opener's
    usual spread [kg/ha]; state: "within", "over", "not-published", "cannot-tell"; needs: what is missing; changes: one a product;
    scale: by what all products there would be multiplied to meet the limit, None without a limit [-].
    """

    nutrient: str
    placement: Where
    asked_kg_ha: float
    asked_kg_m: float | None
    limit_kg_ha: float | None
    high_kg_ha: float | None
    printed_sbu: float | None
    state: RowState
    needs: tuple[str, ...]
    policy: str
    source: str
    note: str
    changes: tuple[RateChange, ...] = ()
    scale: float | None = None
    sbu: float | None = None


def band_line(nutrient: str, place: Where, banded: Sequence[Placed], row_spacing_m: float | None) -> NutrientLine:
    """One nutrient in a band away from the seed, for which no guideline is held. [kg/ha]"""
    asked = amount_of(nutrient, banded)
    carriers = [p for p in banded if share_of(nutrient, p) > 0]
    unknown = [p.product for p in carriers if p.distance_m is None]
    typed = [f"{p.product} {shown(p.distance_m, 'depth')} from the seed" for p in carriers if p.distance_m is not None]
    note = "No guideline for a band away from the seed is held here."
    if typed:
        note += f" As typed: {', '.join(typed)}."
    ammonia, near = _ammonia_band(carriers)
    state: RowState = "over" if near else "not-published"
    return NutrientLine(
        nutrient=nutrient,
        placement=place,
        asked_kg_ha=asked,
        asked_kg_m=sum(row_dose(amount_of(nutrient, [p]), row_spacing_m * p.rows_per_band) for p in carriers) if row_spacing_m else None,
        sbu=_narrowest(carriers, row_spacing_m),
        limit_kg_ha=None,
        high_kg_ha=None,
        printed_sbu=None,
        state=state,
        needs=tuple(f"the distance of {name} from the seed" for name in unknown),
        policy="not published for this case",
        source="",
        note=f"{note} {ammonia}".strip(),
    )


def _narrowest(carriers: Sequence[Placed], row_spacing_m: float | None) -> float | None:
    """Share of the ground of the narrowest band; None unless all are known. [-]"""
    shares = [p.spread_m / (row_spacing_m * p.rows_per_band) for p in carriers if p.spread_m is not None and row_spacing_m]
    return min(shares) if shares and len(shares) == len(carriers) else None


def _ammonia_band(carriers: Sequence[Placed]) -> tuple[str, bool]:
    """What is published on the distance of ammonia from the seed, and whether what was typed is nearer than any of it."""
    ammonia = [p for p in carriers if form_of(p) == "ammonia"]
    if not ammonia:
        return "", False
    published = figures("seed_row", "ammonia", "from_seed")
    said = "; ".join(f"{f.low:g} to {f.high:g} {f.unit} ({f.where})" for f in published)
    nearest = min(f.metric("depth")[0] for f in published)
    near = [p.product for p in ammonia if p.distance_m is not None and p.distance_m < nearest]
    tail = f" {', '.join(near)} is nearer than that." if near else ""
    return f"Ammonia, as published: {said}; more in dry or coarse soil, and check with a spade.{tail}", bool(near)


def refusals(there: Sequence[Placed]) -> tuple[str, ...]:
    """Ammonia that ends, or may end, in the seed row."""
    rule = table("seed_row")["ammonia"]
    found = []
    for p in there:
        if form_of(p) == "ammonia" and p.placement in {"seed-row", None}:
            unknown = "" if p.placement else " Where its stream ends is not known."
            found.append(f"{p.product}: {rule['text']}{unknown} (source: {rule['source']})")
    return tuple(found)
