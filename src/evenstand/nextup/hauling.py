"""The truck: when it must stand at the field, with what, and whether that much is there."""

from __future__ import annotations

from collections.abc import Iterator

from evenstand.model import Cost, Step, Stop
from evenstand.nextup.facts import Facts, Saying, priced, worth_text
from evenstand.nextup.filling import by_clock, next_stop, urgency


def hauling_steps(facts: Facts) -> Iterator[Step]:
    """Load the truck for the next fill, once sowing has begun; and what is short for the rest of the job."""
    if facts.finished:
        return
    stop = next_stop(facts)
    if facts.begun and stop is not None and not _on_truck(facts):
        yield _truck(facts, stop)
    yield from _short(facts)


def _on_truck(facts: Facts) -> bool:
    """Whether a truck was loaded for this job since the last fill."""
    last = max((f.at for f in facts.fills), default="")
    return any(t.at > last for t in facts.trucks)


def _by_product(facts: Facts, stop: Stop) -> dict[str, float]:
    out: dict[str, float] = {}
    for b in facts.plan.bins:
        if stop.add_kg.get(b.bin, 0.0) > 0:
            out[b.product] = out.get(b.product, 0.0) + stop.add_kg[b.bin]
    return out


def _truck(facts: Facts, stop: Stop) -> Step:
    say = Saying(facts.profile)
    masses = _by_product(facts, stop)
    what = ", ".join(f"{say(kg, 'mass')} {facts.product_name(p)}" for p, kg in masses.items())
    due = facts.clock_at_ha(stop.at_ha)
    clock = by_clock(facts, due, say)
    return Step(
        key=f"truck:{facts.job.key}:{stop.after_pass}",
        do=f"Have the truck at the field for the fill after pass {say.count(stop.after_pass)}: {what}.",
        because=clock or "No pace or no hour of the last reading is known: say when by the passes.",
        cost_of_waiting=_standing(facts, say),
        confirm_by="Enter the truck's load, or the fill.",
        closes_when="a truck loaded for this job is entered, or the fill is",
        family="hauling",
        rank=29.0 + urgency(facts, due),
        about="truck",
        stated=say.stated,
    )


def _standing(facts: Facts, say: Saying) -> Cost:
    """An hour of an outfit that waits for its truck."""
    pace = facts.plan.low_ha_h
    if pace is None:
        return Cost(text="An outfit that waits for its truck sows nothing.")
    ha = pace if facts.left_ha is None else min(pace, facts.left_ha)
    wage = facts.outfit.costs.wage_h if facts.outfit is not None else None
    paid = f", and {say.money(wage)} of wages at your figure" if wage is not None else ""
    return Cost(ha=ha, money=wage, text=f"Each hour it is late, {say(ha, 'area')} are not sown{paid}.")


def _short(facts: Facts) -> Iterator[Step]:
    """A product of which less is on hand than the rest of the job takes."""
    left = facts.left_ha
    if left is None:
        return
    for product in dict.fromkeys(b.product for b in facts.plan.bins):
        have = facts.stock_kg.get(product)
        if have is None:
            continue
        mine = [b for b in facts.plan.bins if b.product == product]
        if any(b.bin not in facts.left_kg for b in mine) and facts.begun:
            continue  # what is in a bin cannot be told: nothing is called short on a guess
        rate = sum(b.rate_kg_ha * (b.share if b.in_turn else 1.0) for b in mine)
        inside = sum(facts.left_kg[b.bin].value for b in mine if b.bin in facts.left_kg)
        short = rate * left - max(0.0, have) - inside
        if short <= 0 or rate <= 0:
            continue
        say, name = Saying(facts.profile), facts.product_name(product)
        worth = priced(facts, {product: short})
        ha = min(left, short / rate)
        need = f"{say(left, 'area')} left at {say(rate, 'rate')} take {say(rate * left, 'mass')}"
        yield Step(
            key=f"short:{facts.job.key}:{product}",
            do=f"Get {say(short, 'mass')} more {name} for the rest of this job.",
            because=f"{need}; {say(max(0.0, have) + inside, 'mass')} are on hand.",
            cost_of_waiting=Cost(kg=short, ha=ha, money=worth, text=f"{say(ha, 'area')} of this job get no {name}{worth_text(say, worth)}"),
            confirm_by="Enter the delivery.",
            closes_when="deliveries cover what is left to sow",
            family="hauling",
            rank=38.0,
            about=f"stock of {name}",
            stated=say.stated,
        )
