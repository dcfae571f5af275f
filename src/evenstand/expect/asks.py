"""The card's lines on the job itself: area, rates, what to bring, how long it takes, the date, what it costs."""

from __future__ import annotations

import math
from datetime import date

from evenstand.base.estimate import Est, propagate
from evenstand.expect.lines import CardFacts, gaps, line, shown
from evenstand.expect.sums import fuel_needed, needed_mass, overlapped_mass, working_cost
from evenstand.machine import day_area, deadline, field_capacity, needed_day_area, work_hours
from evenstand.model import CardLine, Costs
from evenstand.reference import default


def job_lines(f: CardFacts) -> list[CardLine]:
    """Area; rate and mass of each product, without and with what is sown twice."""
    p, job = f.plan, f.job
    edge = default("boundary-area")
    typed = job.area_ha is not None
    area = (
        None
        if p.area_ha is None
        else Est(
            value=p.area_ha,
            sd=0.0 if typed else p.area_ha * edge.value,
            basis="typed" if typed else "outline",
            source="typed" if typed else "boundary file",
        )
    )
    lines = [
        line(
            "area",
            "job",
            "Area",
            "area",
            area,
            ["area"],
            why="" if typed else "How well an outline gives the cropped area: common practice",
            stale="a new outline",
        )
    ]
    for ask in job.asks:
        name = f.name(ask.product)
        lines.append(
            line(
                f"rate:{ask.product}", "job", f"Rate, {name}", "rate", ask.rate_kg_ha, basis="typed", product=ask.product, stale="a new lot"
            )
        )
        total = None if area is None else propagate(needed_mass, rate_kg_ha=ask.rate_kg_ha, area_ha=area)
        lines.append(
            line(
                f"total:{ask.product}",
                "job",
                f"Needed in all, {name}",
                "load",
                total,
                gaps(area=area),
                product=ask.product,
                shows=shown(needed_mass, rate_kg_ha=ask.rate_kg_ha, area_ha=area),
                why="Nothing added for overlap",
                stale="rate, area",
            )
        )
        lines += _with_overlap(f, ask.product, ask.rate_kg_ha)
    if not job.asks:
        lines.append(line("rate", "job", "Rate", "rate", None, ["rate"]))
    return lines


def _with_overlap(f: CardFacts, product: str, rate_kg_ha: float) -> list[CardLine]:
    """What the outfit will take, ground sown twice included: along the planned line where there is one, else by its usual overlap."""
    if f.plan.area_ha is None or f.outfit is None:
        return []
    area, low, high = f.plan.area_ha, f.outfit.overlap_low, f.outfit.overlap_high
    least, middle, most = (overlapped_mass(rate_kg_ha, area, share) for share in (low, (low + high) / 2, high))
    why = f"{low:.0%} to {high:.0%} sown twice, usual for the outfit (common practice)"
    if f.drive is not None and f.plan.width_m is not None:
        driven = float(f.drive.pass_lengths_m().sum()) * f.plan.width_m / 1e4
        why += f". The planned line sows {driven / f.plan.area_ha - 1:+.1%} on the area, no section shut"
    name = f.name(product)
    return [
        line(
            f"order:{product}",
            "job",
            f"With overlap, {name}",
            "load",
            middle,
            low=least,
            high=most,
            product=product,
            shows=shown(overlapped_mass, rate_kg_ha=rate_kg_ha, area_ha=area, overlap=(low + high) / 2),
            basis="common-practice",
            source="common-practice",
            why=why,
            stale="another line or width",
        )
    ]


def time_lines(f: CardFacts) -> list[CardLine]:
    """Area an hour, hours for the job."""
    p = f.plan
    missing = gaps(speed=p.speed_m_s, width=p.width_m)
    share = default("field-efficiency")
    told = f"{share.low:.0%} to {share.high:.0%} of the openers-down pace, as published for seeding"
    middle = None if p.low_ha_h is None or p.high_ha_h is None else (p.low_ha_h + p.high_ha_h) / 2
    hours = work_hours(p.area_ha, middle) if p.area_ha is not None and middle else None
    return [
        line(
            "in-work",
            "time",
            "Area per hour, openers down",
            "capacity",
            p.in_work_ha_h,
            missing,
            why="No stops",
            shows=shown(field_capacity, speed_m_s=p.speed_m_s, width_m=p.width_m, efficiency=1.0),
            stale="another speed or width",
        ),
        line(
            "with-stops",
            "time",
            "Area per hour, with stops",
            "capacity",
            middle,
            missing,
            low=p.low_ha_h,
            high=p.high_ha_h,
            source=share.source,
            shows=shown(field_capacity, speed_m_s=p.speed_m_s, width_m=p.width_m, efficiency=share.value),
            why=told,
            stale="your own pace, once counted",
        ),
        line(
            "hours",
            "time",
            "Hours for the job",
            "time",
            hours,
            [*missing, *gaps(area=p.area_ha)],
            low=p.hours_low,
            high=p.hours_high,
            shows=shown(work_hours, area_ha=p.area_ha, capacity_ha_h=middle),
            source=share.source,
            why="At that pace",
            stale="your own pace, once counted",
        ),
    ]


def deadline_lines(f: CardFacts) -> list[CardLine]:
    """Hectares a workable day gives, against those the date asks for."""
    job, p = f.job, f.plan
    low, high = p.low_ha_h, p.high_ha_h
    hours, said = (job.day_hours, "as typed") if job.day_hours else (default("workday-hours").value, "common practice")
    day = None
    if low is not None and high is not None:
        spread = (high - low) / math.sqrt(12) * hours
        day = Est(value=day_area((low + high) / 2, hours), sd=spread, basis="computed")
    lines = [
        line(
            "day",
            "time",
            "Done in a workable day",
            "daily",
            day,
            gaps(speed=p.speed_m_s, width=p.width_m),
            why=f"{hours:g} h of sowing ({said})",
            shows=shown(day_area, capacity_ha_h=None if low is None or high is None else (low + high) / 2, hours_day=hours),
            stale="your own days, once counted",
        )
    ]
    if not job.finish_by:
        return lines
    left = _days_left(max(f.now[:10], job.start_on[:10]), job.finish_by)
    missing = gaps(speed=p.speed_m_s, width=p.width_m, area=p.area_ha, start=left, workable=job.workable)
    label = f"Asked of a workable day, to be done by {job.finish_by[:10]}"
    if missing or left is None or day is None or p.area_ha is None or job.workable is None:
        return [*lines, line("deadline", "time", label, "daily", None, missing or ["start"], role="limit")]
    found = deadline(p.area_ha, day, left, job.workable)
    if found.needed_day_ha is None:
        return [*lines, line("deadline", "time", label, "daily", role="limit", text="the date has passed", source="typed", basis="typed")]
    short = found.short_day_ha or 0.0
    why = f"{left} days left, {found.days_expected:.1f} of them workable as typed; " + (
        f"{short:.0f} ha a day short" if short > 0 else "enough for this field"
    )
    why += f"; done by then with a chance of {found.chance:.0%}. {found.note}".rstrip(". ")
    return [
        *lines,
        line(
            "deadline",
            "time",
            label,
            "daily",
            found.needed_day_ha,
            role="limit",
            sd=0.0,
            why=why,
            stale="every day that passes",
            shows=shown(needed_day_area, area_ha=p.area_ha, days=found.days_expected),
        ),
    ]


def _days_left(start: str, end: str) -> int | None:
    """Calendar days from one ISO day to another, both included; None where one is not known. [d]"""
    try:
        return max(0, (date.fromisoformat(end[:10]) - date.fromisoformat(start[:10])).days + 1)
    except ValueError:
        return None


def cost_lines(f: CardFacts) -> list[CardLine]:
    """Fuel for the job, and money a hectare: products, fuel and wages, as far as prices are typed."""
    costs = f.outfit.costs if f.outfit else Costs()
    typed = any(v is not None for v in (costs.fuel_l_ha, costs.fuel_price_l, costs.wage_h))
    prices = {a.product: f.products[a.product].price_kg for a in f.job.asks if a.product in f.products}
    if not typed and not any(p is not None for p in prices.values()):
        return [line("cost", "time", "Cost per hectare", "price_area", None, ["prices"])]
    area, pace = f.plan.area_ha, None if f.plan.low_ha_h is None or f.plan.high_ha_h is None else (f.plan.low_ha_h + f.plan.high_ha_h) / 2
    lines = []
    if costs.fuel_l_ha is not None:
        fuel = None if area is None else fuel_needed(area, costs.fuel_l_ha)
        shows = shown(fuel_needed, area_ha=area, fuel_l_ha=costs.fuel_l_ha)
        lines.append(
            line(
                "fuel",
                "time",
                "Fuel for the job",
                "liquid",
                fuel,
                gaps(area=area),
                shows=shows,
                why="As typed for the outfit",
                stale="depth, soil",
            )
        )
    unpriced = [f.name(a.product) for a in f.job.asks if prices.get(a.product) is None]
    each = [(f.name(a.product), (prices.get(a.product) or 0.0) * a.rate_kg_ha) for a in f.job.asks if prices.get(a.product) is not None]
    lines.append(
        line(
            "cost-products",
            "time",
            "Cost of products",
            "price_area",
            sum(v for _, v in each) if each and not unpriced else None,
            [f"the price of {n}" for n in unpriced] or ["rate"],
            why=f"Rate x price as typed: {', '.join(n for n, _ in each)}" if each else "",
            source="typed",
            how="Type it with the product.",
            stale="prices",
        )
    )
    ends: list[float] = []
    paces = [c for c in (f.plan.high_ha_h, pace, f.plan.low_ha_h) if c is not None]
    if costs.fuel_l_ha is not None and costs.fuel_price_l is not None and costs.wage_h is not None and len(paces) == 3:
        ends = [working_cost(costs.fuel_l_ha, costs.fuel_price_l, costs.wage_h, c) for c in paces]
    missing = [
        m
        for m, v in (("fuel a hectare", costs.fuel_l_ha), ("the price of fuel", costs.fuel_price_l), ("wages an hour", costs.wage_h))
        if v is None
    ]
    lines.append(
        line(
            "cost-work",
            "time",
            "Cost of fuel and wages",
            "price_area",
            ends[1] if ends else None,
            missing or gaps(speed=f.plan.speed_m_s, width=f.plan.width_m),
            low=ends[0] if ends else None,
            high=ends[2] if ends else None,
            how="Type them with the outfit." if missing else "",
            source="typed",
            shows=shown(working_cost, fuel_l_ha=costs.fuel_l_ha, fuel_price_l=costs.fuel_price_l, wage_h=costs.wage_h, capacity_ha_h=pace),
            why="At the pace with stops; owning and repairs are not in it",
            stale="prices, pace",
        )
    )
    return lines
