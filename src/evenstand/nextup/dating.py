"""Deadlines in hectares per workable day."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from evenstand.model import Cost, Step
from evenstand.nextup.facts import Facts, Saying


def dating_steps(facts: Facts) -> Iterator[Step]:
    """One step if what is left does not fit the days to the date, by how many hectares a day."""
    if not facts.job.finish_by or facts.today is None or facts.left_ha is None or facts.left_ha <= 0:
        return
    say = Saying(facts.profile)
    days = (date.fromisoformat(facts.job.finish_by) - facts.today).days + 1
    left = facts.left_ha + facts.left_ha_other
    needed = left / days if days > 0 else left
    if days > 0 and facts.day_ha is not None and needed <= facts.day_ha:
        return
    if days <= 0:
        do = f"The date {facts.job.finish_by} has passed with {say(left, 'area')} left."
    else:
        do = f"{say(needed, 'area')} a day are needed to finish by {facts.job.finish_by}."
        if facts.day_ha is not None:
            do += f" That is {say(needed - facts.day_ha, 'area')} a day more than this outfit does."
    yield Step(
        key=f"date:{facts.job.key}",
        do=do,
        because=_because(facts, left, max(days, 0), say),
        cost_of_waiting=_late(facts, left, days, say),
        confirm_by="Enter what was sown today.",
        closes_when="the hectares left fit the days left",
        family="dating",
        rank=33.0,
        about="date",
        stated=say.stated,
    )


def _because(facts: Facts, left: float, days: int, say: Saying) -> str:
    other, wet = "", "not counting days too wet"
    if facts.left_ha_other > 0:
        other = f", {say(facts.left_ha_other, 'area')} of them on other fields of this outfit with no later date"
    if facts.job.workable is not None:
        wet = f"work possible on {say(facts.job.workable, 'share')} of the days"
    if days == 0:
        return f"{say(left, 'area')} left{other}."
    return f"{say(left, 'area')} left{other}, {say.count(days)} {'day' if days == 1 else 'days'}, {wet}."


def _late(facts: Facts, left: float, days: int, say: Saying) -> Cost:
    """What will not be sown by the date, and what one more lost day adds to it."""
    if days <= 0:
        return Cost(ha=left, text=f"{say(left, 'area')} are sown after the date.")
    if facts.day_ha is None:
        return Cost(ha=left, text="What this outfit does in a day is not known: give its width and speed.")
    late = max(0.0, left - days * facts.day_ha)
    return Cost(ha=late, text=f"{say(late, 'area')} would be sown after the date; each day lost adds {say(facts.day_ha, 'area')}.")
