"""Fills that come due, by pass."""

from __future__ import annotations

from collections.abc import Iterator

from evenstand.model import Cost, Step
from evenstand.nextup.facts import Facts


def filling_steps(facts: Facts) -> Iterator[Step]:
    """The next planned fill, and the fill check that belongs to it."""
    done = facts.done_pass or 0
    ahead = [s for s in facts.plan.stops if s.after_pass > done]
    if ahead:
        stop = ahead[0]
        least = min(stop.left_kg, key=lambda k: stop.left_kg[k]) if stop.left_kg else ""
        adds = ", ".join(f"{b} {facts.text(v, 'mass')}" for b, v in sorted(stop.add_kg.items()) if v > 0)
        dry, fills = len(ahead), "fill" if len(ahead) == 1 else "fills"
        yield Step(
            key=f"fill:{facts.job.key}:{stop.after_pass}",
            do=f"Fill after pass {stop.after_pass}, no later than pass {stop.latest_pass}: {adds}.",
            because=f"Least left then: bin {least}, {facts.text(stop.left_kg[least], 'mass')}." if least else "A bin runs low then.",
            cost_of_waiting=Cost(text=f"After pass {stop.latest_pass} a bin sows nothing; {dry} {fills} still to come."),
            confirm_by="Enter what went in, and do the fill check.",
            closes_when="the fill is entered",
            family="filling",
            rank=30.0,
            about="fills",
        )
    if facts.fills and not any(f.about.startswith("fill") for f in facts.findings):
        yield Step(
            key=f"fill-check:{facts.job.key}",
            do="Do the fill check for the last fill.",
            because="Hectares, what went in and what is left are the only witnesses of the dose that every outfit has.",
            cost_of_waiting=Cost(),
            confirm_by="Three numbers, one sentence back.",
            closes_when="a fill check is entered",
            family="filling",
            rank=28.0,
            about="fill check",
        )
