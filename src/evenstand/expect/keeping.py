"""The card's lines on treated seed and on products that draw water: until when to sow, what is stale, at what humidity bins cake."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from evenstand.agronomy import critical_humidity, keeps_overnight, plant_before, stale_after_treating
from evenstand.agronomy.salts import reference_key
from evenstand.expect.lines import CardFacts, line, sentences
from evenstand.model import BinPlan, CardLine, Lot


def keeping_lines(f: CardFacts) -> list[CardLine]:
    """Clocks and stale values of treated lots."""
    out: list[CardLine] = []
    for product in dict.fromkeys(a.product for a in f.job.asks):
        lot = f.lots.get(product)
        if lot is not None and lot.treatment:
            out += [_clock(f, product, lot), _stale(f, product, lot)]
    humidity = f.job.weather.relative_humidity
    for product in dict.fromkeys(a.product for a in f.job.asks):
        if f.kind(product) == "fertilizer":
            out.append(_humid(f, product, humidity))
    return out


TAKES_UP = "takes up water from"


def _humid(f: CardFacts, product: str, humidity: float | None) -> CardLine:
    """At what relative humidity the product takes up water, and whether it keeps at the one typed."""
    label = f"{f.name(product)} {TAKES_UP}"
    known = f.products.get(product)
    key = (product if critical_humidity(product) else reference_key(known.analysis) if known else "") or product
    found = keeps_overnight(key, humidity)
    if found.critical is None:
        return line(
            f"humid:{product}",
            "keep",
            label,
            "share",
            None,
            ["its critical relative humidity"],
            role="limit",
            product=product,
            how="Ask the supplier and type it; until then keep lids shut overnight.",
        )
    typed = humidity is not None
    return line(
        f"humid:{product}",
        "keep",
        label,
        "share",
        found.critical,
        low=found.critical,
        high=found.critical_high,
        role="limit",
        product=product,
        basis=found.seen,
        source=found.source,
        why=sentences([found.sentence if typed else "No humidity is typed for the night: read the forecast", found.note]),
        stale="coating, blend",
        stale_now="Empty or run this bin out tonight" if found.empty and typed else "",
    )


def moment_of(text: str) -> datetime | None:
    """An ISO day or moment, in UTC where it names no zone; None for what is none."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)


def _clock(f: CardFacts, product: str, lot: Lot) -> CardLine:
    """Until when the label lets treated seed be sown."""
    label = f"Sow {f.name(product)} before"
    begun = moment_of(lot.treated_at) if lot.treated_at else None
    if lot.sow_within_h is None or begun is None:
        missing = [m for m, v in (("label-hours", lot.sow_within_h), ("treated-at", begun)) if v is None]
        return line(f"clock:{product}", "keep", label, "time", None, missing, role="limit", product=product)
    due = begun + timedelta(hours=lot.sow_within_h)
    day_only = len(lot.treated_at) <= 10
    text = f"{due:%Y-%m-%d}" if day_only else f"{due:%Y-%m-%d %H:%M} UTC"
    now = moment_of(f.now) if f.now else None
    why = f"Treated {lot.treated_at[:10]}, {lot.sow_within_h:g} h by its label as typed"
    stale_now = ""
    left = lot.sow_within_h
    if now is not None and now >= begun:
        pace = f.plan.low_ha_h
        found = plant_before(
            begun.isoformat(),
            now.isoformat(),
            lot.sow_within_h,
            left_kg=f.plan.total_kg.get(product),
            rate_kg_ha=next((a.rate_kg_ha for a in f.job.asks if a.product == product), None),
            capacity_ha_h=pace,
            working_share=f.job.day_hours / 24 if f.job.day_hours else None,
        )
        left = found.hours_left if found.hours_left is not None else left
        why = sentences([why, found.note])
        stale_now = {"past": "Past the label's hours: ask the label before it is sown", "short": "It cannot all be sown in time"}.get(
            found.state, ""
        )
    return line(
        f"clock:{product}",
        "keep",
        label,
        "time",
        left,
        role="limit",
        product=product,
        basis="typed",
        source="label, as typed",
        text=text,
        why=why,
        stale="every hour",
        stale_now=stale_now,
        sd=0.0,
    )


def _stale(f: CardFacts, product: str, lot: Lot) -> CardLine:
    """What treating has made stale, and whether it was measured since."""
    found = stale_after_treating()
    since = _caught_since(f, [b for b in f.plan.bins if b.product == product], lot)
    what = ", ".join(s.what for s in found)
    why = sentences(
        [f"Once treated, measure anew: {what}", "Caught since: product per turn" if since else "No catch since treating is on record"]
    )
    return line(
        f"treated:{product}",
        "keep",
        f"Stale by treating, {f.name(product)}",
        "count",
        text="caught anew" if since else "catch anew",
        role="know",
        product=product,
        basis="typed",
        source="label, as typed",
        why=why,
        stale_now="" if since else "Catch the treated seed before it is sown",
    )


def _caught_since(f: CardFacts, bins: list[BinPlan], lot: Lot) -> bool:
    begun = moment_of(lot.treated_at) if lot.treated_at else None
    mine = [x for x in f.factors if x.lot == lot.key and x.how in {"catch", "crank", "shown-mass"} and x.bin in {b.bin for b in bins}]
    return any(begun is None or ((at := moment_of(x.at)) is not None and at >= begun) for x in mine)
