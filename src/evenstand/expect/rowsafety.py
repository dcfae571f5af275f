"""Fertilizer by where it ends in the soil, against the guideline that is named; nothing is said where none is published."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from evenstand.agronomy import Placed, judge_placement, openers, seedbed_utilisation
from evenstand.agronomy.placement import NutrientLine, PlacementVerdict
from evenstand.expect.lines import CardFacts, gaps, line, sentences, shown
from evenstand.model import BinPlan, CardLine, Job, Outfit, Product, RowLimit
from evenstand.model.outfit import Placement


def placement_verdict(job: Job, outfit: Outfit | None, bins: Sequence[BinPlan], products: Mapping[str, Product]) -> PlacementVerdict:
    """All fertilizers of a job, each where its stream ends, judged by the guideline named in the job.

    What ends in a stream whose end is not known counts beside the seed, so that nothing unsafe is waved through.

    Parameters
    ----------
    job, outfit, bins, products
        As planned; a bin that is on in turn counts with its whole rate. [kg/ha]

    Returns
    -------
    PlacementVerdict
        One line for each nutrient and place. [kg/ha]
    """
    ends = {s.key: s.placement for s in outfit.streams} if outfit else {}
    placed: dict[tuple[str, Placement | None], float] = {}
    for b in bins:
        if b.product in products and products[b.product].kind == "fertilizer":
            key = (b.product, ends.get(b.stream or ""))
            placed[key] = max(placed.get(key, 0.0), b.rate_kg_ha) if b.in_turn else placed.get(key, 0.0) + b.rate_kg_ha
    things = [
        Placed(product=name, rate_kg_ha=rate, analysis=products[name].analysis, placement=where, form=_form(products[name]))
        for (name, where), rate in placed.items()
    ]
    return judge_placement(
        things,
        guideline=job.guideline,
        crop=job.crop,
        texture=job.texture,
        spread_m=outfit.spread_m if outfit else None,
        row_spacing_m=outfit.row_spacing_m if outfit else None,
        opener=next((o for o in openers() if outfit and o in outfit.opener.lower()), ""),
        moisture=job.moisture or "good",
    )


def _form(product: Product) -> str:
    return "ammonia" if product.form == "ammonia" else ""


def row_limits(verdict: PlacementVerdict, job: Job, outfit: Outfit | None, products: Mapping[str, Product]) -> tuple[RowLimit, ...]:
    """The verdict's lines as the plan keeps them.

    Returns
    -------
    tuple of RowLimit
        limit_kg_ha None: not published for this case, or not enough is known; `note` says which. [kg/ha]
    """
    sbu = seedbed_utilisation(outfit.spread_m, outfit.row_spacing_m) if outfit and outfit.spread_m and outfit.row_spacing_m else None
    return tuple(_kept(x, job, sbu, products) for x in verdict.lines)


def _kept(x: NutrientLine, job: Job, sbu: float | None, products: Mapping[str, Product]) -> RowLimit:
    needs = f"Cannot be judged without {', '.join(x.needs)}" if x.needs else ""
    note = sentences(f"{t[:1].upper()}{t[1:]}" for t in (needs, x.note, x.policy) if t)
    changes = [
        f"{products[c.product].name if c.product in products else c.product}: at most {c.rate_kg_ha:.0f} kg/ha by itself"
        for c in x.changes
        if c.rate_kg_ha is not None and c.change_kg_ha is not None and c.change_kg_ha < 0
    ]
    return RowLimit(
        nutrient=x.nutrient,
        asked_kg_ha=x.asked_kg_ha,
        limit_kg_ha=x.limit_kg_ha,
        sbu=sbu,
        guideline=job.guideline,
        note=note,
        ok={"within": True, "over": False}.get(x.state),
        placement=x.placement,
        state=x.state,
        source=x.source,
        high_kg_ha=x.high_kg_ha,
        changes=tuple(changes),
    )


def row_lines(f: CardFacts, verdict: PlacementVerdict) -> list[CardLine]:
    """Seedbed utilisation, one line a nutrient and place, and what must not be done at all."""
    spread, spacing = (f.outfit.spread_m, f.outfit.row_spacing_m) if f.outfit else (None, None)
    sbu = seedbed_utilisation(spread, spacing) if spread and spacing else None
    lines = [
        line(
            "sbu",
            "row",
            "Seedbed utilisation",
            "share",
            sbu,
            gaps(spread=spread, spacing=spacing),
            shows=shown(seedbed_utilisation, spread_m=spread, row_spacing_m=spacing),
            why="Share of the ground that seed and fertilizer share",
            stale="new openers",
        )
    ]
    lines += [
        line(f"refused:{i}", "row", "Not allowed", "count", role="limit", text="do not", basis="computed", source="definition", why=text)
        for i, text in enumerate(verdict.refused, 1)
    ]
    return lines + [_limit_line(x, verdict.publisher) for x in f.plan.row_limits]


def _limit_line(limit: RowLimit, publisher: str) -> CardLine:
    """The limit of one nutrient in one place; the asked amount stands in `why`. [kg/ha]"""
    place = limit.placement.replace("-", " ") or "seed row"
    key = f"row:{limit.nutrient}" if limit.placement in {"", "seed-row"} else f"row:{limit.nutrient}:{limit.placement}"
    label = f"Most {limit.nutrient}, {place}"
    word = {True: "within", False: "OVER the limit"}.get(limit.ok) if limit.ok is not None else ""
    why = sentences(
        [
            f"Asked: {limit.asked_kg_ha:.1f} kg/ha{f', {word}' if word else ''}",
            *limit.changes,
            publisher if limit.limit_kg_ha is not None else "",
            limit.note,
        ]
    )
    if limit.limit_kg_ha is None and limit.state == "within":
        return line(
            key,
            "row",
            f"{limit.nutrient}, {place}",
            "rate",
            limit.asked_kg_ha,
            role="expect",
            basis="computed",
            why=sentences([limit.note or "Away from the seed"]),
            stale="another rate",
        )
    if limit.limit_kg_ha is None:
        what = "what the note names" if limit.state == "cannot-tell" else "a published limit for this case"
        return line(
            key,
            "row",
            label,
            "rate",
            None,
            [what],
            role="limit",
            why=why,
            how="Ask the publisher of the guideline, or keep it away from the seed.",
        )
    high = limit.high_kg_ha if limit.high_kg_ha and limit.high_kg_ha > limit.limit_kg_ha else None
    return line(
        key,
        "row",
        label,
        "rate",
        limit.limit_kg_ha,
        role="limit",
        low=limit.limit_kg_ha if high else None,
        high=high,
        basis=limit.guideline or "your own",
        source=limit.source or limit.guideline,
        why=why,
        over=limit.ok is False,
        stale="moisture, opener, crop",
    )
