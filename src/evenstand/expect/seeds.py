"""The card's lines on seed: stand with its interval, seeds to find, depth and soil temperature as published, numbers that look doubtful."""

from __future__ import annotations

from evenstand.agronomy import (
    CropRange,
    depth_windows,
    doubtful_numbers,
    expected_stand,
    find_crop,
    seeding_plan,
    seeding_rate,
    seeds_per_metre,
    seeds_sown,
    soil_temperatures,
)
from evenstand.base.estimate import Est
from evenstand.expect.lines import CardFacts, gaps, line, shown
from evenstand.model import Ask, CardLine
from evenstand.reference import default

LOT = "new lot"
HALF_MM = 5e-4  # a depth typed in whole millimetres may stand for half a one more or less [m]


def seed_ask(f: CardFacts) -> Ask | None:
    """The job's seed: the first product that is one, or of which nothing is known. [kg/ha]"""
    return next((a for a in f.job.asks if f.kind(a.product) == "seed"), None)


def seed_lines(f: CardFacts) -> list[CardLine]:
    """Stand and seeds where seed is asked for; depth and temperature by crop; doubts."""
    ask = seed_ask(f)
    return [*(_stand(f, ask) if ask is not None else []), *_published(f), *(_doubts(f, ask) if ask is not None else [])]


def _stand(f: CardFacts, ask: Ask) -> list[CardLine]:
    job, lot = f.job, f.lots.get(ask.product)
    tkw = lot.tkw_g if lot else None
    spacing = f.outfit.row_spacing_m if f.outfit else None
    survival = None if job.survival is None else Est(value=job.survival, sd=job.survival_sd or 0.0, basis="typed", source="typed")
    rate = _rate(f, ask)
    need_stand, need_row = gaps(tkw=tkw, survival=survival), gaps(tkw=tkw, spacing=spacing)
    plan = seeding_plan(tkw, survival or Est(value=1.0), rate_kg_ha=rate, row_spacing_m=spacing) if tkw is not None else None
    known = plan is not None and survival is not None
    why = ""
    if plan is not None and known:
        why = f"Hangs most on {plan.most}" if plan.most else ""
        if plan.note:
            why = f"{why}. {plan.note}" if why else plan.note
    lines = [
        line(
            "stand",
            "stand",
            "Plants to expect",
            "stand",
            plan.stand if plan and known else None,
            need_stand,
            role="expect",
            product=ask.product,
            why=why,
            shows=shown(expected_stand, rate_kg_ha=ask.rate_kg_ha, tkw_g=tkw, survival=survival),
            stale="new lot, new count",
        ),
        line(
            "seeds",
            "stand",
            "Seeds sown",
            "seeds_area",
            plan.seeds_m2 if plan else None,
            ["tkw"],
            product=ask.product,
            shows=shown(seeds_sown, rate_kg_ha=ask.rate_kg_ha, tkw_g=tkw),
            stale=LOT,
        ),
        line(
            "seeds-row",
            "stand",
            "Seeds to find in a row",
            "seeds_row",
            plan.seeds_m if plan else None,
            need_row,
            role="expect",
            product=ask.product,
            shows=shown(seeds_per_metre, seeds_m2=plan.seeds_m2 if plan else None, row_spacing_m=spacing),
            why="Dig and count",
            stale=LOT,
        ),
    ]
    if job.target_plants_m2:
        wanted = (
            seeding_plan(tkw, survival, plants_m2=job.target_plants_m2).rate_kg_ha if tkw is not None and survival is not None else None
        )
        off = "" if wanted is None else f"Asked: {ask.rate_kg_ha / wanted.value - 1:+.1%} on it"
        lines.append(
            line(
                "rate-for-target",
                "stand",
                f"Rate for {job.target_plants_m2:.0f} plants/m²",
                "rate",
                wanted,
                need_stand,
                product=ask.product,
                shows=shown(seeding_rate, plants_m2=job.target_plants_m2, tkw_g=tkw, survival=survival),
                why=off,
                stale=LOT,
            )
        )
    return lines


def _rate(f: CardFacts, ask: Ask) -> Est:
    """The rate as well as it is proven: as well as the product per turn is known, else as typed. [kg/ha]"""
    known = [b.factor_kg_turn.relative_sd for b in f.plan.bins if b.product == ask.product and b.factor_kg_turn is not None]
    sd = max(known) if known else default("factor-between-lots").high
    return Est(value=ask.rate_kg_ha, sd=sd * ask.rate_kg_ha, basis="typed", source="typed")


def _published(f: CardFacts) -> list[CardLine]:
    """Depth and lowest soil temperature, each publisher for itself; nothing where none was read."""
    crop = f.job.crop
    if not crop:
        return []
    out: list[CardLine] = []
    for key, label, quantity, found in (
        ("depth", "Depth", "depth", depth_windows(crop)),
        ("soil", "Soil at seed depth at least", "temperature", soil_temperatures(crop)),
    ):
        own = f.job.depth_m if key == "depth" else f.job.weather.soil_temperature_c
        if not found:
            known = "no published figure has been read" if find_crop(crop) else "the crop is none of those with published figures"
            out.append(
                line(
                    key,
                    "stand",
                    label,
                    quantity,
                    own,
                    [f"a published figure: {known} for {crop}"],
                    role="limit",
                    basis="typed",
                    how="Ask your agronomist, or use your own.",
                )
            )
            continue
        for i, r in enumerate(found, 1):
            out.append(_one(key if i == 1 else f"{key}:{i}", label, quantity, r, own))
    if f.job.depth_m is not None:
        out.append(
            line(
                "depth-asked", "stand", "Depth asked for", "depth", f.job.depth_m, role="set", basis="typed", stale="another field, dry top"
            )
        )
    return out


def _one(key: str, label: str, quantity: str, r: CropRange, own: float | None) -> CardLine:
    middle = (r.low + r.high) / 2
    told = f"{r.publisher}, {r.where}" if r.where else r.publisher
    label = f"{label}, {r.publisher.partition(',')[0]}"
    if own is not None and key.startswith("depth"):
        told += ". Asked for: inside" if r.low - HALF_MM <= own <= r.high + HALF_MM else ". Asked for: outside it"
    if own is not None and key.startswith("soil"):
        told += f". Read today: {own:.0f} °C, {'warm enough' if own >= r.high else 'at the lowest' if own >= r.low else 'too cold by it'}"
    return line(key, "stand", label, quantity, middle, low=r.low, high=r.high, role="limit", basis=r.seen, source=r.source, why=told)


def _doubts(f: CardFacts, ask: Ask) -> list[CardLine]:
    """Typed numbers outside all that is published for the crop."""
    lot = f.lots.get(ask.product)
    if not f.job.crop or find_crop(f.job.crop) is None:
        return []
    found = doubtful_numbers(
        f.job.crop,
        plants_m2=f.job.target_plants_m2,
        tkw_g=lot.tkw_g.value if lot and lot.tkw_g else None,
        survival=f.job.survival,
        depth_m=f.job.depth_m,
        rate_kg_ha=ask.rate_kg_ha,
    )
    return [
        line(
            f"doubt:{d.quantity}",
            "stand",
            "Look again",
            "count",
            role="limit",
            text="doubtful",
            basis="computed",
            source=d.nearest.source,
            why=d.text,
        )
        for d in found.doubts
    ]
