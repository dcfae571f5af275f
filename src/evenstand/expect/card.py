"""The value card: every value and alarm limit for one outfit and crop, each with why and what makes it stale.

A line that cannot be computed says what it still needs and how to get it; nothing is filled in from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from evenstand.agronomy import expected_stand, seedbed_utilisation, seeding_rate, seeds_per_metre
from evenstand.base.worked import Working, working
from evenstand.expect.bins import density_of
from evenstand.expect.needs import need
from evenstand.machine import field_capacity, meter_speed
from evenstand.model import Bin, BinPlan, CardLine, Job, Lot, Outfit, Plan, Product, RowLimit
from evenstand.reference import default


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFacts:
    """What the card is written from: the job, the outfit, the plan so far, products and lots by key, the longest round. [ha]"""

    job: Job
    outfit: Outfit | None
    plan: Plan
    products: dict[str, Product]
    lots: dict[str, Lot]
    factor_basis: dict[str, str]
    longest_round_ha: float | None = None


def value_card(facts: CardFacts) -> tuple[CardLine, ...]:
    """All lines in the order they are typed: job, time, widths, travel, each bin, fan, alarms, stand, seed row. [metric]"""
    lines: list[CardLine] = []
    for part in (_job, _time, _width, _travel, _bins, _fan, _stand, _row):
        lines += part(facts)
    return tuple(lines)


def _line(
    key: str,
    group: str,
    label: str,
    quantity: str,
    value: float | None,
    missing: Sequence[str] = (),
    *,
    low: float | None = None,
    high: float | None = None,
    bin: str = "",
    product: str = "",
    basis: str = "computed",
    why: str = "",
    stale: str = "",
    shows: Working | None = None,
    set_by: str = "",
) -> CardLine:
    """A known line, or one that says what it needs."""
    if value is None:
        needs, how = need(*missing)
        return CardLine(
            key=key, group=group, label=label, quantity=quantity, state="needs", bin=bin, product=product, needs=needs, how=how, why=why
        )
    state = "typed" if basis == "typed" else "known"
    return CardLine(
        key=key,
        group=group,
        label=label,
        quantity=quantity,
        state="typed" if state == "typed" else "known",
        value=value,
        low=low,
        high=high,
        bin=bin,
        product=product,
        basis=basis,
        why=why,
        stale=stale,
        working=shows,
        set_by=set_by,
    )


def _shown(function: Callable[..., float], **values: float | None) -> Working | None:
    """The working of a formula when all its inputs are known."""
    known = {k: v for k, v in values.items() if v is not None}
    return working(function, **known) if len(known) == len(values) else None


def _job(f: CardFacts) -> list[CardLine]:
    p = f.plan
    lines = [
        _line("area", "job", "Area", "area", p.area_ha, ["area"], basis="typed" if f.job.area_ha else "outline", stale="a new outline")
    ]
    for ask in f.job.asks:
        total = p.total_kg.get(ask.product)
        name = _name(f, ask.product)
        lines.append(
            _line(
                f"rate:{ask.product}", "job", f"Rate, {name}", "rate", ask.rate_kg_ha, basis="typed", product=ask.product, stale="a new lot"
            )
        )
        why = "Rate x area; nothing added for overlap."
        missing = ["area"] if p.area_ha is None else []
        lines.append(_line(f"total:{ask.product}", "job", f"Needed in all, {name}", "load", total, missing, product=ask.product, why=why))
    if not f.job.asks:
        lines.append(_line("rate", "job", "Rate", "rate", None, ["rate"]))
    return lines


def _time(f: CardFacts) -> list[CardLine]:
    p = f.plan
    gaps = [k for k, v in (("speed", p.speed_m_s), ("width", p.width_m)) if v is None]
    shows = _shown(field_capacity, speed_m_s=p.speed_m_s, width_m=p.width_m, efficiency=1.0)
    share = (
        ""
        if p.efficiency_low is None or p.efficiency_high is None
        else f"{p.efficiency_low:.0%} to {p.efficiency_high:.0%}, as published for seeding"
    )
    middle = None if p.low_ha_h is None or p.high_ha_h is None else (p.low_ha_h + p.high_ha_h) / 2
    hours = None if p.hours_low is None or p.hours_high is None else (p.hours_low + p.hours_high) / 2
    more = [*gaps, *(["area"] if p.area_ha is None else [])]
    return [
        _line(
            "in-work", "time", "Area per hour, openers down", "capacity", p.in_work_ha_h, gaps, shows=shows, why="Openers down, no stops."
        ),
        _line(
            "with-stops",
            "time",
            "Area per hour, with stops",
            "capacity",
            middle,
            gaps,
            low=p.low_ha_h,
            high=p.high_ha_h,
            why=f"Field efficiency {share}: turns, fills, moving.",
        ),
        _line(
            "hours",
            "time",
            "Hours for the job",
            "time",
            hours,
            more,
            low=p.hours_low,
            high=p.hours_high,
            why=f"At field efficiency {share}.",
        ),
    ]


def _width(f: CardFacts) -> list[CardLine]:
    o, p = f.outfit, f.plan
    w = o.widths if o else None
    taped = w.true_m.value if w and w.true_m else None
    by_rows = o.rows * o.row_spacing_m if o and o.rows and o.row_spacing_m else None
    true = taped or by_rows
    basis = "taped" if taped else "openers x spacing"
    expected = true or p.width_m
    return [
        _line("width-true", "width", "True width", "width", true, ["tape"], basis=basis, stale="openers shut, added or moved"),
        _line(
            "width-rate",
            "width",
            "Width to type for the rate",
            "width",
            expected,
            ["tape"],
            basis=basis if true else "typed",
            why="The true width. One opener wrong is one row's share of every kilogram.",
            stale="openers shut, added or moved",
        ),
        _line(
            "width-guidance",
            "width",
            "Width to type for guidance",
            "width",
            w.guidance_m if w and w.guidance_m else expected,
            ["guidance-width"],
            basis="typed" if w and w.guidance_m else basis,
            why="True width less the overlap you want between passes.",
            stale="a new overlap wanted",
        ),
    ]


def _travel(f: CardFacts) -> list[CardLine]:
    o, p = f.outfit, f.plan
    pulse = o.pulse_m if o else None
    windows = [b for b in p.bins if b.speed_low_m_s is not None and b.speed_high_m_s is not None]
    low = max((b.speed_low_m_s for b in windows if b.speed_low_m_s is not None), default=None)
    high = min((b.speed_high_m_s for b in windows if b.speed_high_m_s is not None), default=None)
    return [
        _line(
            "speed",
            "travel",
            "Working speed",
            "speed",
            p.speed_m_s,
            ["speed"],
            low=low,
            high=high,
            basis="typed",
            why="The range is what all meters can follow." if windows else "",
            stale="another rate or roller",
        ),
        _line(
            "pulse",
            "travel",
            "Distance per pulse",
            "pulse",
            pulse.value if pulse else None,
            ["pulse"],
            basis=pulse.basis if pulse else "",
            why="One per cent long sows one per cent heavy, everywhere.",
            stale="tyre, load, soil state, wheel moved",
        ),
        _line(
            "stand-in",
            "travel",
            "Stand-in speed, if the sensor fails",
            "speed",
            p.speed_m_s,
            ["speed"],
            basis="typed",
            why="Left on by mistake, the dose follows your speed the wrong way: check that it is off.",
            stale="another working speed",
        ),
    ]


def _bins(f: CardFacts) -> list[CardLine]:
    lines: list[CardLine] = []
    for b in f.plan.bins:
        lines += _one_bin(f, b)
    if not f.plan.bins:
        for key, label, quantity, gaps in (
            ("factor", "Product per turn of the meter", "factor", ["factor"]),
            ("shaft", "Meter speed to expect", "shaft", ["factor"]),
            ("window", "Speed window", "speed", ["factor", "meter-range"]),
            ("catch", "Expected catch", "catch", ["factor"]),
            ("full", "Bin full", "mass", ["capacity", "density"]),
            ("lasts", "Hectares per fill", "area", ["capacity", "density"]),
            ("low-alarm", "Low-bin alarm", "mass", ["capacity", "outline"]),
        ):
            lines.append(_line(key, "bin", label, quantity, None, gaps))
    return lines


def _one_bin(f: CardFacts, b: BinPlan) -> list[CardLine]:
    p = f.plan
    bin_ = _bin(f.outfit, b.bin)
    product = f.products.get(b.product)
    lot = f.lots.get(b.product)
    name = _name(f, b.product)
    feeding = (bin_.meter.feeding_m if bin_ else None) or p.width_m
    factor = b.factor_kg_turn.value if b.factor_kg_turn else None
    shaft_gaps = [k for k, v in (("factor", factor), ("speed", p.speed_m_s), ("width", feeding)) if v is None]
    density = density_of(product, lot)
    full_gaps = [k for k, v in (("capacity", bin_.capacity_m3 if bin_ else None), ("density", density)) if v is None]
    window_gaps = [k for k, v in (("factor", factor), ("meter-range", bin_.meter.steady_high_turns_s if bin_ else None)) if v is None]
    shows = None
    if b.shaft_turns_s is not None:
        shows = _shown(meter_speed, rate_kg_ha=b.rate_kg_ha, speed_m_s=p.speed_m_s, width_m=feeding, factor_kg_rev=factor)
    middle = None if b.speed_low_m_s is None or b.speed_high_m_s is None else (b.speed_low_m_s + b.speed_high_m_s) / 2
    turns = f"{b.catch_turns:.0f} turns" if b.catch_turns else "n turns"
    basis = f.factor_basis.get(b.bin, "")
    alarm, alarm_gaps = low_alarm(b, f.longest_round_ha)

    def line(
        key: str,
        label: str,
        quantity: str,
        value: float | None,
        missing: Sequence[str] = (),
        *,
        low: float | None = None,
        high: float | None = None,
        why: str = "",
        stale: str = "",
        basis: str = "computed",
        shows: Working | None = None,
    ) -> CardLine:
        return _line(
            f"{key}:{b.bin}",
            "bin",
            label,
            quantity,
            value,
            missing,
            low=low,
            high=high,
            bin=b.bin,
            product=b.product,
            basis=basis,
            why=why,
            stale=stale,
            shows=shows,
        )

    ends = b.factor_kg_turn.interval() if b.factor_kg_turn else (None, None)
    full = b.full_kg.interval() if b.full_kg else (None, None)
    lasts = b.ha_per_fill.interval() if b.ha_per_fill else (None, None)
    off = default("stop-for-fertilizer" if product and product.kind == "fertilizer" else "stop-for-seed").high
    return [
        line("bin-rate", f"Rate, {name}", "rate", b.rate_kg_ha, basis="typed", stale="another job or lot"),
        line(
            "factor",
            "Product per turn",
            "factor",
            factor,
            ["factor"],
            low=ends[0],
            high=ends[1],
            basis=basis,
            why="Actual equals target only proves that the motor followed this number.",
            stale="new lot, treatment, roller, gear, a leaking lid, damp product",
        ),
        line("shaft", "Meter speed to expect", "shaft", b.shaft_turns_s, shaft_gaps, why="At the working speed.", shows=shows),
        line(
            "window",
            "Speed window",
            "speed",
            middle,
            window_gaps,
            low=b.speed_low_m_s,
            high=b.speed_high_m_s,
            why="Outside it the meter cannot follow, or doses in pulses.",
            stale="another rate, roller or lot",
        ),
        line(
            "catch",
            f"Catch, {turns}",
            "catch",
            b.catch_kg,
            ["factor"],
            low=b.catch_low_kg,
            high=b.catch_high_kg,
            why="Product only: take the bag off. Outside the band: catch longer, then find out why.",
        ),
        line(
            "full", "Full bin holds", "mass", b.full_kg.value if b.full_kg else None, full_gaps, low=full[0], high=full[1], stale="new lot"
        ),
        line(
            "lasts",
            "Full bin lasts",
            "area",
            b.ha_per_fill.value if b.ha_per_fill else None,
            full_gaps,
            low=lasts[0],
            high=lasts[1],
            stale="new lot or rate",
        ),
        line(
            "low-alarm", "Low-bin alarm at", "mass", alarm, alarm_gaps, why="One longest round and a quarter more.", stale="another field"
        ),
        line("off-alarm", "Rate-off alarm at", "share", off, basis="common-practice", why="Common practice: worth stopping for."),
    ]


def low_alarm(b: BinPlan, longest_round_ha: float | None) -> tuple[float | None, list[str]]:
    """Mass at which the low-bin alarm should come: one longest pass there and back, and a quarter more. [kg]"""
    if longest_round_ha is None:
        return None, ["outline"]
    return b.rate_kg_ha * longest_round_ha * default("low-bin-margin").value, []


def _fan(f: CardFacts) -> list[CardLine]:
    fan = f.outfit.fan_turns_s if f.outfit else None
    value = fan.value if fan else None
    below, above = default("fan-alarm-low").value, default("fan-alarm-high").value
    low = value * (1 - below) if value else None
    high = value * (1 + above) if value else None
    why = "Proven on this outfit with product flowing; no speed is guessed here."
    return [
        _line(
            "fan",
            "fan",
            "Fan speed, proven",
            "fan",
            value,
            ["fan"],
            basis=fan.basis if fan else "",
            why=why,
            stale="other load, height, hoses",
        ),
        _line(
            "fan-low",
            "fan",
            "Fan alarm, low",
            "fan",
            low,
            ["fan"],
            basis="common-practice",
            why=f"{below:.0%} below the proven speed (common practice).",
        ),
        _line(
            "fan-high",
            "fan",
            "Fan alarm, high",
            "fan",
            high,
            ["fan"],
            basis="common-practice",
            why=f"{above:.0%} above the proven speed (common practice).",
        ),
    ]


def _stand(f: CardFacts) -> list[CardLine]:
    job = f.job
    ask = next((a for a in job.asks if f.products.get(a.product) is None or f.products[a.product].kind == "seed"), None)
    if ask is None:
        return []
    lot = f.lots.get(ask.product)
    tkw = lot.tkw_g.value if lot and lot.tkw_g else None
    spacing = f.outfit.row_spacing_m if f.outfit else None
    seeds = ask.rate_kg_ha * 100 / tkw if tkw else None
    gaps = [k for k, v in (("tkw", tkw), ("survival", job.survival)) if v is None]
    stand = expected_stand(ask.rate_kg_ha, tkw, job.survival) if tkw and job.survival else None
    shows = _shown(expected_stand, rate_kg_ha=ask.rate_kg_ha, tkw_g=tkw, survival=job.survival)
    row_gaps = [k for k, v in (("tkw", tkw), ("spacing", spacing)) if v is None]
    per_m = seeds_per_metre(seeds, spacing) if seeds and spacing else None
    lines = [
        _line("stand", "stand", "Plants to expect", "stand", stand, gaps, shows=shows, stale="new lot, new count", product=ask.product),
        _line("seeds", "stand", "Seeds sown", "seeds_area", seeds, ["tkw"], product=ask.product, stale="new lot"),
        _line(
            "seeds-row",
            "stand",
            "Seeds to find in a row",
            "seeds_row",
            per_m,
            row_gaps,
            product=ask.product,
            why="Dig and count.",
            stale="new lot",
        ),
    ]
    if job.target_plants_m2:
        rate = seeding_rate(job.target_plants_m2, tkw, job.survival) if tkw and job.survival else None
        shows = _shown(seeding_rate, plants_m2=job.target_plants_m2, tkw_g=tkw, survival=job.survival)
        lines.append(
            _line(
                "rate-for-target",
                "stand",
                "Rate for the stand wanted",
                "rate",
                rate,
                gaps,
                shows=shows,
                product=ask.product,
                stale="new lot",
            )
        )
    return lines


def _row(f: CardFacts) -> list[CardLine]:
    o = f.outfit
    spread, spacing = (o.spread_m, o.row_spacing_m) if o else (None, None)
    gaps = [k for k, v in (("spread", spread), ("spacing", spacing)) if v is None]
    sbu = seedbed_utilisation(spread, spacing) if spread and spacing else None
    shows = _shown(seedbed_utilisation, spread_m=spread, row_spacing_m=spacing)
    why = "Share of the ground that seed and fertilizer are spread over."
    lines = [_line("sbu", "row", "Seedbed utilisation", "share", sbu, gaps, shows=shows, why=why, stale="new openers")]
    for limit in f.plan.row_limits:
        lines.append(_limit_line(limit))
    return lines


def _limit_line(limit: RowLimit) -> CardLine:
    """The limit of one nutrient in the seed row; the asked amount stands in `why`. [kg/ha]"""
    label = f"Most {limit.nutrient} in the seed row"
    why = f"Asked: {limit.asked_kg_ha:.1f} kg/ha. {limit.note}".strip()
    if limit.limit_kg_ha is None:
        return CardLine(
            key=f"row:{limit.nutrient}",
            group="row",
            label=label,
            quantity="rate",
            state="needs",
            why=why,
            needs=("a published limit for this case",),
            how="Ask the publisher of the guideline, or band it away from the seed.",
        )
    return CardLine(
        key=f"row:{limit.nutrient}",
        group="row",
        label=label,
        quantity="rate",
        state="known",
        value=limit.limit_kg_ha,
        basis=limit.guideline,
        why=why,
        stale="moisture, opener, crop",
    )


def _bin(outfit: Outfit | None, letter: str) -> Bin | None:
    return next((b for b in outfit.bins if b.letter == letter), None) if outfit else None


def _name(f: CardFacts, key: str) -> str:
    return f.products[key].name if key in f.products else key
