"""Fills that come due, by pass and by clock, and the check that belongs to them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from evenstand.model import BinPlan, Cost, Fill, Step, Stop
from evenstand.nextup.facts import Facts, Saying, cost, worth_text
from evenstand.reference import default

SOON = timedelta(hours=1)


def filling_steps(facts: Facts) -> Iterator[Step]:
    """The next planned fill, and the fill check that belongs to the last one."""
    stop = next_stop(facts)
    if stop is not None:
        yield _fill(facts, stop)
    last = unchecked_fill(facts)
    if last is not None and not facts.finished:
        yield _check(facts, last)


def next_stop(facts: Facts) -> Stop | None:
    """The next planned fill; None where none is planned any more. [pass]"""
    return next((s for s in facts.plan.stops if s.after_pass > (facts.done_pass or 0)), None)


def urgency(facts: Facts, due: tuple[datetime, datetime] | None) -> float:
    """How much a thing due between two moments gains in rank: nothing until an hour before, much once it is due. [-]"""
    if due is None or facts.now is None or _stopped(facts):
        return 0.0
    return 45.0 if facts.now >= due[1] else 30.0 if facts.now >= due[0] - SOON else 0.0


def by_clock(facts: Facts, due: tuple[datetime, datetime] | None, say: Saying) -> str:
    """'by the clock between 10:05 and 10:25 UTC', or that it has passed; "" where no pace is known. [text]"""
    if due is None:
        return ""
    if _stopped(facts):
        return f"Nothing was entered since {facts.done_at[:10]}: the clock starts again with the next reading."
    late = facts.now is not None and facts.now > due[1]
    lead = "By the clock it was due" if late else "By the clock"
    tail = f", and nothing was entered since {say.clock(datetime.fromisoformat(facts.done_at))}" if late else ""
    early, end = say.clock(due[0]), say.clock(due[1])
    return f"{lead} between {early} and {end} UTC{tail}." if early != end else f"{lead} at {early} UTC{tail}."


def _stopped(facts: Facts) -> bool:
    """Whether a night lies between the last reading and now: an outfit that stands has no clock."""
    return facts.now is not None and bool(facts.done_at) and facts.done_at[:10] < facts.now.date().isoformat()


def _fill(facts: Facts, stop: Stop) -> Step:
    say = Saying(facts.profile)
    adds = ", ".join(f"{b} {say(v, 'mass')}" for b, v in sorted(stop.add_kg.items()) if v > 0)
    rates = {b.bin: b.rate_kg_ha for b in facts.plan.bins}
    least = min(stop.left_kg, key=lambda k: stop.left_kg[k] / rates.get(k, 1.0)) if stop.left_kg else ""  # by the ground it lasts for
    due = facts.clock_at_ha(stop.at_ha)
    why = f"Least left then: bin {least}, {say(stop.left_kg[least], 'mass')}." if least else "A bin runs low then."
    clock = by_clock(facts, due, say)
    return Step(
        key=f"fill:{facts.job.key}:{stop.after_pass}",
        do=f"Fill after pass {say.count(stop.after_pass)}, no later than pass {say.count(stop.latest_pass)}: {adds}.",
        because=f"{why} {clock}".strip(),
        cost_of_waiting=_empty(facts, stop, [b for b in facts.plan.bins if b.bin == least], say),
        confirm_by="Enter what went in, and do the fill check.",
        closes_when="the fill is entered",
        family="filling",
        rank=30.0 + urgency(facts, due),
        about="fills",
        evidence=_read(facts, say),
        stated=say.stated,
    )


def _read(facts: Facts, say: Saying) -> tuple[str, ...]:
    """What the place of a fill rests on."""
    if facts.done_ha is None:
        return ("nothing sown yet, by the book",)
    at = f", read at {say.clock(datetime.fromisoformat(facts.done_at))} UTC" if facts.done_at else ""
    return (f"{say(facts.done_ha, 'area')} sown{at}",)


def _empty(facts: Facts, stop: Stop, bins: list[BinPlan], say: Saying) -> Cost:
    """One pass with an empty bin, which is when it is seen: all of its rate is missing on it."""
    one_pass = facts.one_pass_ha()
    if not bins or one_pass is None:
        return Cost(text="A bin that runs empty sows nothing until somebody sees it.")
    found = cost(facts, 1.0, bins, say=say, over_ha=one_pass)
    what = f"{say(found.kg or 0.0, 'mass')} of {facts.product_name(bins[0].product)} over {say(one_pass, 'area')}"
    text = f"After pass {say.count(stop.latest_pass)} each pass lacks {what}{worth_text(say, found.money)}"
    return Cost(kg=found.kg, ha=found.ha, money=found.money, text=text)


def unchecked_fill(facts: Facts) -> Fill | None:
    """The last fill, while no hectares were read after it: a fill can be checked only once some of it is sown. None where it was."""
    if not facts.fills or any(f.about.startswith("fill") for f in facts.findings):
        return None
    last = max(facts.fills, key=lambda f: (f.at, f.key))
    return None if facts.done_at and last.at and facts.done_at > last.at else last


def _check(facts: Facts, last: Fill) -> Step:
    say = Saying(facts.profile)
    bins = [b for b in facts.plan.bins if b.bin == last.bin]
    usual = default("factor-in-a-day").high
    return Step(
        key=f"fill-check:{facts.job.key}:{last.key}",
        do=f"Do the fill check for the last fill, bin {last.bin}.",
        because="Hectares, what went in and what is left are the only witnesses of the dose that every outfit has.",
        cost_of_waiting=cost(facts, usual, bins, usual=True, say=say),
        confirm_by="Three numbers, one sentence back.",
        closes_when="hectares are read after the fill",
        family="filling",
        rank=28.0,
        about="fill check",
        evidence=(f"{say(last.put_kg, 'mass')} put into bin {last.bin}, known by {last.how.replace('-', ' ')}",),
        stated=say.stated,
    )
