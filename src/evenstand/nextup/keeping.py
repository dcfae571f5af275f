"""What spoils with the clock: fertilizer in a bin through a damp night, and treated seed past its label's hours."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from evenstand.model import CardLine, Cost, Lot, Step
from evenstand.nextup.facts import Facts, Saying, priced, worth_text


def keeping_steps(facts: Facts) -> Iterator[Step]:
    """One step a bin that should not stand full tonight, and one a treated lot whose hours run out."""
    yield from _damp(facts)
    if not facts.finished:
        yield from _clocks(facts)


def _tonight(facts: Facts) -> bool:
    """Whether the humidity that was typed is of today; one without a day is taken to be."""
    at = facts.job.weather.at
    return not at or facts.today is None or at[:10] == facts.today.isoformat()


def _damp(facts: Facts) -> Iterator[Step]:
    humidity = facts.job.weather.relative_humidity
    if humidity is None or not _tonight(facts):
        return
    for line in facts.plan.card:
        if not line.key.startswith("humid:") or not line.stale_now or line.value is None:
            continue
        for b in facts.plan.bins:
            left = facts.left_kg.get(b.bin)
            if b.product == line.product and left is not None and left.value > 2 * left.sd and left.value > 0:
                yield _empty(facts, b.bin, line, humidity, left.value)


def _empty(facts: Facts, letter: str, line: CardLine, humidity: float, left: float) -> Step:
    say, name = Saying(facts.profile), facts.product_name(line.product)
    worth = priced(facts, {line.product: left})
    text = f"{say(left, 'mass')} may set hard in the bin{worth_text(say, worth)}"
    limit = f"{name[:1].upper()}{name[1:]} takes up water from {say(line.value or 0.0, 'share')} relative humidity"
    day = facts.today.isoformat() if facts.today is not None else ""
    return Step(
        key=f"damp:{facts.job.key}:{letter}:{day}",
        do=f"Empty bin {letter} tonight, or run it out: about {say(left, 'mass')} of {name} are in it.",
        because=f"{limit}; {say(humidity, 'share')} is typed for tonight.",
        cost_of_waiting=Cost(kg=left, money=worth, text=text),
        confirm_by="Look in before the first fill of the morning; enter what is left in the bin.",
        closes_when="the bin is entered empty, a drier night is typed, or somebody says that it is done",
        family="keeping",
        rank=57.0,
        about=f"bin {letter}",
        evidence=(f"limit by {line.basis or 'its source'}",),
        by_word=True,
        stated=say.stated,
    )


def _clocks(facts: Facts) -> Iterator[Step]:
    for product in dict.fromkeys(b.product for b in facts.plan.bins):
        lot = facts.lots.get(product)
        if lot is not None and lot.treated_at and lot.sow_within_h is not None and facts.now is not None:
            step = _clock(facts, product, lot, lot.sow_within_h, facts.now)
            if step is not None:
                yield step


def _clock(facts: Facts, product: str, lot: Lot, hours: float, now: datetime) -> Step | None:
    """A treated lot whose label's hours end before what is left of the job is sown."""
    treated = datetime.fromisoformat(lot.treated_at)
    due = (treated if treated.tzinfo is not None else treated.replace(tzinfo=UTC)) + timedelta(hours=hours)
    pace, left = facts.plan.low_ha_h, facts.left_ha
    if now < due and (pace is None or left is None or now + timedelta(hours=left / pace) <= due):
        return None
    say, name = Saying(facts.profile), facts.product_name(product)
    rate = sum(b.rate_kg_ha for b in facts.plan.bins if b.product == product)
    late_ha = left if now >= due or pace is None or left is None else max(0.0, left - pace * (due - now).total_seconds() / 3600)
    mass = None if late_ha is None else rate * late_ha
    worth = None if mass is None else priced(facts, {product: mass})
    over = now >= due
    do = (
        f"Ask the label before more of treated {name} is sown."
        if over
        else f"Sow treated {name} first: its label's hours end on {say.day(due)} at {say.clock(due)} UTC."
    )
    text = "What its label says of seed past its hours is not known here."
    if mass is not None and late_ha is not None:
        text = f"{say(late_ha, 'area')}, {say(mass, 'mass')}, come after the label's hours{worth_text(say, worth)}"
    return Step(
        key=f"label:{facts.job.key}:{lot.key}:{'over' if over else 'short'}",
        do=do,
        because=f"Lot {lot.label or lot.key} was treated on {lot.treated_at[:10]}; its label gives {say(hours, 'time')}.",
        cost_of_waiting=Cost(kg=mass, ha=late_ha, money=worth, text=text),
        confirm_by="Read the label; sow, or enter another lot.",
        closes_when="it is sown, or another lot is in use",
        family="keeping",
        rank=56.0,
        about=name,
        stated=say.stated,
    )
