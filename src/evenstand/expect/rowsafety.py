"""Fertilizer in the seed row against the guideline that is named; nothing is said where none is published."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from evenstand.agronomy import seed_row_limit, seedbed_utilisation
from evenstand.model import BinPlan, Job, Outfit, Product, RowLimit

NUTRIENTS = ("N", "P2O5")


def row_limits(job: Job, outfit: Outfit | None, bins: Sequence[BinPlan], products: Mapping[str, Product]) -> tuple[RowLimit, ...]:
    """One line a nutrient that ends in the seed row.

    Nutrients of all fertilizers in seed-row streams are added up; bins whose stream's end is not known count as seed row, so that
    nothing unsafe is waved through, and the note says so.

    Returns
    -------
    tuple of RowLimit
        limit_kg_ha None: not published for this case, or not enough is known; `note` says which. [kg/ha]
    """
    ends = {s.key: s.placement for s in outfit.streams} if outfit else {}
    in_row = [b for b in bins if ends.get(b.stream or "") in {"seed-row", None} and _is_fertilizer(b, products)]
    unsure = any(ends.get(b.stream or "") is None for b in in_row)
    sbu = None
    if outfit and outfit.spread_m and outfit.row_spacing_m:
        sbu = seedbed_utilisation(outfit.spread_m, outfit.row_spacing_m)
    lines = []
    for nutrient in NUTRIENTS:
        asked = sum(b.rate_kg_ha * products[b.product].analysis.get(nutrient, 0.0) for b in in_row)
        if asked > 0:
            lines.append(_line(job, nutrient, asked, sbu, unsure=unsure))
    return tuple(lines)


def _is_fertilizer(b: BinPlan, products: Mapping[str, Product]) -> bool:
    return b.product in products and products[b.product].kind == "fertilizer"


def _line(job: Job, nutrient: str, asked: float, sbu: float | None, *, unsure: bool) -> RowLimit:
    """One nutrient's line. [kg/ha]"""
    tail = " Where a stream ends is not known: counted as seed row." if unsure else ""
    if not job.guideline or not job.texture or sbu is None:
        gaps = [w for w, v in (("a guideline", job.guideline), ("soil texture", job.texture), ("spread and row spacing", sbu)) if not v]
        note = f"Cannot be judged without {', '.join(gaps)}.{tail}"
        return RowLimit(nutrient=nutrient, asked_kg_ha=asked, limit_kg_ha=None, sbu=sbu, guideline=job.guideline, note=note, ok=None)
    limit = seed_row_limit(job.guideline, job.crop, job.texture, sbu, nutrient=nutrient, moisture=job.moisture or "good")
    note = " ".join(f"{t[:1].upper()}{t[1:]}" for t in (limit.note, limit.policy) if t) + tail
    ok = None if limit.kg_ha is None else asked <= limit.kg_ha
    return RowLimit(
        nutrient=nutrient, asked_kg_ha=asked, limit_kg_ha=limit.kg_ha, sbu=sbu, guideline=job.guideline, note=note.strip(), ok=ok
    )
