"""The card's lines on bins and meters: what to type, what the shaft should show, what a catch should weigh, when to be warned."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from evenstand.base.estimate import Est
from evenstand.base.units import rounded
from evenstand.expect.bins import catch_share, density_of, is_small
from evenstand.expect.lines import CardFacts, gaps, line, sentences, shown
from evenstand.expect.sums import caught_mass, low_bin_mass
from evenstand.machine import (
    ProductBin,
    area_per_fill,
    bin_mass,
    bins_together,
    meter_rate,
    meter_speed,
    pulse_spacing,
    seed_pulses,
    setting_steps,
    smallest_rate,
    window_speed,
)
from evenstand.model import Bin, BinPlan, CardLine
from evenstand.reference import default

UNKNOWN = (
    ("factor", "Product per turn", "factor", ("factor",), "set"),
    ("shaft", "Meter speed to expect", "shaft", ("factor",), "expect"),
    ("window", "Speeds it can follow", "speed", ("factor", "meter-range"), "expect"),
    ("catch", "Expected catch", "catch", ("factor",), "expect"),
    ("full", "Full bin holds", "mass", ("capacity", "density"), "know"),
    ("lasts", "Full bin lasts", "area", ("capacity", "density"), "know"),
    ("low-alarm", "Low-bin alarm at", "mass", ("capacity", "outline"), "alarm"),
)


def bin_lines(f: CardFacts) -> list[CardLine]:
    """All lines of all bins in use, and of bins that carry one product; the bare list of needs where no bin is planned."""
    if not f.plan.bins:
        return [line(key, "bin", label, quantity, None, needs, role=role) for key, label, quantity, needs, role in UNKNOWN]  # type: ignore[arg-type]
    out: list[CardLine] = []
    for b in f.plan.bins:
        own = f.bin(b.bin)
        for part in (_typed, _turning, _seeing, _holding, _alarms):
            out += part(f, b, own)
    return [*out, *_shared(f)]


def _of(b: BinPlan, key: str, label: str, quantity: str, value: float | Est | None, missing: Sequence[str] = (), **more: Any) -> CardLine:
    return line(f"{key}:{b.bin}", "bin", label, quantity, value, missing, bin=b.bin, product=b.product, **more)


def _typed(f: CardFacts, b: BinPlan, own: Bin | None) -> list[CardLine]:
    """What is typed for a bin: rates, one step of them, product per turn, roller."""
    ask = next((a for a in f.job.asks if a.product == b.product), None)
    whole = "" if b.share == 1.0 else f"{b.share:.0%} of the product's rate" if not b.in_turn else "The whole rate while this bin is on"
    lines = [
        _of(
            b,
            "bin-rate",
            f"Rate, {f.name(b.product)}",
            "rate",
            b.rate_kg_ha,
            role="set",
            basis="typed",
            why=whole,
            stale="another job or lot",
        )
    ]
    if b.second_rate_kg_ha is not None:
        apart = b.second_rate_kg_ha / b.rate_kg_ha - 1
        why = f"{apart:+.0%} on the main rate. Left on by mistake it is this much off"
        lines.append(
            _of(b, "bin-rate-2", "Second rate", "rate", b.second_rate_kg_ha, role="set", basis="typed", why=why, stale="main rate")
        )
    if ask is not None:
        lines.append(_step(f, b, ask.step_kg_ha))
    factor = b.factor_kg_turn
    lines.append(
        _of(
            b,
            "factor",
            "Product per turn",
            "factor",
            factor,
            ["factor"],
            role="set",
            basis=b.how or (factor.basis if factor else ""),
            source=factor.source if factor and factor.source else b.how,
            why="Actual equals target only proves that the motor followed this",
            stale="new lot, treatment, roller, gear, a leaking lid, damp product",
            stale_now=b.stale_now,
            more=b.sources,
        )
    )
    words = ", ".join(dict.fromkeys(t for t in (own.meter.roller, own.meter.setting) if t)) if own else ""
    lines.append(
        _of(b, "roller", "Roller and setting", "count", None, ["roller"], role="set", text=words, basis="typed", stale="another product")
    )
    return lines


def _step(f: CardFacts, b: BinPlan, step_kg_ha: float | None) -> CardLine:
    """What one press of the rate key and one count of the product per turn do to the dose."""
    why = ""
    if b.factor_kg_turn is not None:
        count = 10.0**-3
        moved = setting_steps(b.rate_kg_ha, factor=(b.factor_kg_turn.value, count))[0]
        why = f"One count of product per turn ({count:g} kg/turn) moves the dose {abs(moved.share):.1%}"
    if step_kg_ha is None:
        return _of(b, "step", "One step of the rate key", "rate", None, ["rate-step"], role="set", why=why)
    pressed = setting_steps(b.rate_kg_ha, rate_step_kg_ha=step_kg_ha * b.rate_kg_ha / max(_whole(f, b), 1e-9))[0]
    why = sentences([f"One press is {abs(pressed.share):.1%} of the rate", why])
    return _of(
        b, "step", "One step of the rate key", "rate", pressed.change_kg_ha, role="set", basis="typed", why=why, stale="another rate"
    )


def _whole(f: CardFacts, b: BinPlan) -> float:
    """The product's whole rate. [kg/ha]"""
    return next((a.rate_kg_ha for a in f.job.asks if a.product == b.product), b.rate_kg_ha)


def _turning(f: CardFacts, b: BinPlan, own: Bin | None) -> list[CardLine]:
    """What the shaft shows, and what rates and speeds it can follow."""
    speed, feeding, factor = f.plan.speed_m_s, f.feeding_m(b), b.factor_kg_turn
    shows = shown(meter_speed, rate_kg_ha=b.rate_kg_ha, speed_m_s=speed, width_m=feeding, factor_kg_rev=factor)
    missing = gaps(factor=factor, speed=speed, width=feeding)
    lines = [
        _of(
            b,
            "shaft",
            "Meter speed to expect",
            "shaft",
            b.shaft,
            missing,
            role="expect",
            shows=shows,
            why="At the working speed; off it, ask why before the catch does",
            stale="another rate, speed, width or lot",
        )
    ]
    least, most = (own.meter.steady_low_turns_s, own.meter.steady_high_turns_s) if own else (None, None)
    needs = gaps(factor=factor, meter_range=most if least is not None else None, width=feeding)
    mean_turns = None if least is None or most is None else (least + most) / 2
    at_speed = shown(window_speed, rate_kg_ha=b.rate_kg_ha, width_m=feeding, factor_kg_rev=factor, rev_s=mean_turns)
    at_rate = shown(meter_rate, rev_s=mean_turns, speed_m_s=speed, width_m=feeding, factor_kg_rev=factor)
    middle = None if b.speed_low_m_s is None or b.speed_high_m_s is None else (b.speed_low_m_s + b.speed_high_m_s) / 2
    lines.append(
        _of(
            b,
            "window",
            "Speeds it can follow",
            "speed",
            middle,
            needs,
            role="expect",
            shows=at_speed,
            low=b.speed_low_m_s,
            high=b.speed_high_m_s,
            why="At this rate. Outside, the meter cannot follow or doses in pulses",
            stale="another rate, roller or lot",
        )
    )
    span = None if b.rate_low_kg_ha is None or b.rate_high_kg_ha is None else (b.rate_low_kg_ha + b.rate_high_kg_ha) / 2
    least_shows = (
        shown(smallest_rate, speed_m_s=speed, width_m=feeding, factor_kg_rev=factor, min_rev_s=least) if b.rate_low_kg_ha else None
    )
    outside = b.rate_low_kg_ha is not None and b.rate_high_kg_ha is not None and not b.rate_low_kg_ha <= b.rate_kg_ha <= b.rate_high_kg_ha
    lines.append(
        _of(
            b,
            "rates",
            "Rates it can dose",
            "rate",
            span,
            [*needs, *gaps(speed=speed)],
            role="limit",
            shows=at_rate,
            low=b.rate_low_kg_ha,
            high=b.rate_high_kg_ha,
            why="The asked rate lies outside: another roller or gear" if outside else "At the working speed",
            stale="another speed, roller or lot",
        )
    )
    lines.append(
        _of(
            b,
            "least",
            "Smallest rate",
            "rate",
            b.rate_low_kg_ha,
            [*needs, *gaps(speed=speed)],
            role="limit",
            shows=least_shows,
            sd=b.rate_low_kg_ha * factor.relative_sd if b.rate_low_kg_ha is not None and factor is not None else None,
            why="Below it the shaft turns too slowly: finer roller, fewer segments, or faster",
            stale="another speed, roller or lot",
        )
    )
    return lines


def _seeing(f: CardFacts, b: BinPlan, own: Bin | None) -> list[CardLine]:
    """What a catch should weigh; pulses of small seed in the row."""
    turns = f"{b.catch_turns:.0f} turns" if b.catch_turns else "n turns"
    repeats = catch_share(f.products.get(b.product), f.lots.get(b.product), b.factor_kg_turn)
    lines = [
        _of(
            b,
            "catch",
            f"Catch, {turns}",
            "catch",
            b.catch_kg,
            ["factor"],
            role="expect",
            low=b.catch_low_kg,
            high=b.catch_high_kg,
            why=f"Product only, without the bag. Outside: catch longer, then find out why. Repeats to {repeats:.1%} (common practice)"
            if b.catch_kg is not None
            else "",
            shows=shown(caught_mass, turns=b.catch_turns, factor_kg_turn=b.factor_kg_turn),
            source="common-practice" if b.catch_kg is not None else "",
            stale="new lot, treatment, roller",
        )
    ]
    if f.kind(b.product) == "seed" and (is_small(b.factor_kg_turn) or (own and own.meter.flutes)):
        lines.append(_pulses(f, b, own))
    return lines


def _pulses(f: CardFacts, b: BinPlan, own: Bin | None) -> CardLine:
    speed, shaft, flutes = f.plan.speed_m_s, b.shaft_turns_s, own.meter.flutes if own else None
    lot, spacing = f.lots.get(b.product), f.outfit.row_spacing_m if f.outfit else None
    tkw = lot.tkw_g.value if lot and lot.tkw_g else None
    missing = gaps(speed=speed, factor=b.factor_kg_turn, flutes=flutes)
    if speed is None or shaft is None or flutes is None:
        return _of(b, "pulses", "Between two pulses of the roller", "width", None, missing or ["width"])
    value = pulse_spacing(speed, shaft, flutes)
    why = "The hoses smear it; how far, no reading shows: dig"
    if tkw and spacing:
        found = seed_pulses(b.rate_kg_ha, speed, shaft, flutes, tkw_g=tkw, row_spacing_m=spacing)
        lump = (
            f"{rounded(found.seeds_pulse, 0)} seeds to a row with each pulse" if found.lumpy else "under two seeds to a row with each pulse"
        )
        why = f"{lump}, before the hoses smear it: dig and look"
    sd = value * b.factor_kg_turn.relative_sd if b.factor_kg_turn else 0.0
    shows = shown(pulse_spacing, speed_m_s=speed, rev_s=shaft, flutes=flutes)
    return _of(
        b,
        "pulses",
        "Between two pulses of the roller",
        "width",
        value,
        role="expect",
        sd=sd,
        shows=shows,
        why=why,
        stale="another roller or rate",
    )


def _holding(f: CardFacts, b: BinPlan, own: Bin | None) -> list[CardLine]:
    """What a full bin holds and how far it lasts."""
    density = density_of(f.products.get(b.product), f.lots.get(b.product))
    missing = gaps(capacity=own.capacity_m3 if own else None, density=density)
    share = own.fill_share if own else None
    holds = shown(bin_mass, capacity_m3=own.capacity_m3 if own else None, density_kg_m3=density, fill_share=share)
    lasts = shown(area_per_fill, mass_kg=b.full_kg, rate_kg_ha=b.rate_kg_ha)
    return [
        _of(
            b,
            "full",
            "Full bin holds",
            "mass",
            b.full_kg,
            missing,
            shows=holds,
            why=f"Filled to {share:.0%}" if share else "",
            stale="new lot",
        ),
        _of(b, "lasts", "Full bin lasts", "area", b.ha_per_fill, missing, role="expect", shows=lasts, stale="new lot or rate"),
    ]


def _alarms(f: CardFacts, b: BinPlan, own: Bin | None) -> list[CardLine]:
    """When the bin runs low, and when the rate is off."""
    stop = default("stop-for-fertilizer" if f.kind(b.product) == "fertilizer" else "stop-for-seed")
    margin = default("low-bin-margin").value
    value = None if f.longest_round_ha is None else low_bin_mass(b.rate_kg_ha, f.longest_round_ha, margin)
    shows = shown(low_bin_mass, rate_kg_ha=b.rate_kg_ha, round_ha=f.longest_round_ha, margin=margin)
    light = own.low_light_kg if own else None
    why = "One longest round and a quarter more (common practice)"
    if light is not None and value is not None and light.value < value:
        why += ". The low-level light comes on later: too late for a whole round"
    return [
        _of(
            b,
            "low-alarm",
            "Low-bin alarm at",
            "mass",
            value,
            ["outline"],
            role="alarm",
            why=why,
            shows=shows,
            stale="another field or rate",
            source="common-practice" if value is not None else "",
        ),
        _of(
            b,
            "off-alarm",
            "Rate-off alarm at",
            "share",
            stop.high,
            role="alarm",
            low=stop.low,
            high=stop.high,
            basis="common-practice",
            source=stop.source,
            why="Worth stopping for (common practice)",
        ),
    ]


def _shared(f: CardFacts) -> list[CardLine]:
    """Products that come from two bins or more: which is empty first, what rates and speeds they reach together."""
    speed, width = f.plan.speed_m_s, f.plan.width_m
    out: list[CardLine] = []
    for ask in f.job.asks:
        mine = [b for b in f.plan.bins if b.product == ask.product]
        if len(mine) < 2:
            continue
        letters = " and ".join(b.bin for b in mine)
        mode = "one after the other" if ask.in_turn else "together"
        label = f"Bins {letters}, {mode}: first empty after"
        known = [b for b in mine if b.factor_kg_turn is not None and b.full_kg is not None]
        if len(known) < len(mine) or speed is None or width is None:
            first = mine[0]
            needs = gaps(
                factor=next((None for b in mine if b.factor_kg_turn is None), 1),
                capacity=next((None for b in mine if b.full_kg is None), 1),
                speed=speed,
                width=width,
            )
            out.append(line(f"shared:{first.product}", "bin", label, "area", None, needs, product=ask.product, role="expect"))
            continue
        out += _together(f, ask.product, ask.rate_kg_ha, mine, label, in_turn=ask.in_turn, speed_m_s=speed, width_m=width)
    return out


def _together(
    f: CardFacts, product: str, rate_kg_ha: float, mine: Sequence[BinPlan], label: str, *, in_turn: bool, speed_m_s: float, width_m: float
) -> list[CardLine]:
    parts = []
    for b in mine:
        own = f.bin(b.bin)
        parts.append(
            ProductBin(
                letter=b.bin,
                factor_kg_rev=b.factor_kg_turn.value if b.factor_kg_turn else 0.0,
                content_kg=b.full_kg.value if b.full_kg else 0.0,
                min_rev_s=own.meter.steady_low_turns_s if own else None,
                max_rev_s=own.meter.steady_high_turns_s if own else None,
                share=None if in_turn else b.share,
            )
        )
    found = bins_together(parts, rate_kg_ha, speed_m_s, width_m, mode="in-turn" if in_turn else "together")
    alone = ", ".join(f"{t.letter} {t.alone_rev_s * 60:.0f} rpm" for t in found.bins)
    why = sentences([f"From full; all are empty after {found.area_ha:.1f} ha. Alone on the whole rate: {alone}", *found.warnings])
    spread = max((b.full_kg.relative_sd for b in mine if b.full_kg), default=0.0)
    lines = [
        line(
            f"shared:{product}",
            "bin",
            label,
            "area",
            found.first_empty_ha,
            role="expect",
            product=product,
            sd=found.first_empty_ha * spread,
            why=f"Bin {found.first_empty}. {why}",
            stale="a fill, another rate",
        )
    ]
    if found.smallest_kg_ha is not None and found.largest_kg_ha is not None:
        middle = (found.smallest_kg_ha + found.largest_kg_ha) / 2
        title = f"Bins {' and '.join(b.bin for b in mine)}: rates they can dose"
        lines.append(
            line(
                f"shared-rates:{product}",
                "bin",
                title,
                "rate",
                middle,
                low=found.smallest_kg_ha,
                high=found.largest_kg_ha,
                role="limit",
                product=product,
                why="Together, at the working speed" if not in_turn else "One at a time, at the working speed",
                stale="another speed",
            )
        )
    return lines
