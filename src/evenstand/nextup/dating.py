"""Deadlines in hectares per workable day."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from evenstand.model import Cost, Step
from evenstand.nextup.facts import Facts


def dating_steps(facts: Facts) -> Iterator[Step]:
    """One step if what is left does not fit the days to the date, by how many hectares a day."""
    if not facts.job.finish_by or facts.today is None or facts.left_ha is None or facts.left_ha <= 0:
        return
    days = (date.fromisoformat(facts.job.finish_by) - facts.today).days + 1
    left = facts.left_ha + facts.left_ha_other
    if days <= 0:
        do, needed = f"The date {facts.job.finish_by} has passed with {facts.text(left, 'area')} left.", left
    else:
        needed = left / days
        do = f"{facts.text(needed, 'area')} a day are needed to finish by {facts.job.finish_by}."
    if facts.day_ha is not None and needed <= facts.day_ha:
        return
    if facts.day_ha is not None:
        do += f" That is {facts.text(needed - facts.day_ha, 'area')} a day more than this outfit does."
    yield Step(
        key=f"date:{facts.job.key}",
        do=do,
        because=f"{facts.text(left, 'area')} left, {max(days, 0)} days, not counting days too wet.",
        cost_of_waiting=Cost(ha=left, text="Every day lost adds to the hectares a day that are needed."),
        confirm_by="Enter what was sown today.",
        closes_when="the hectares left fit the days left",
        family="dating",
        rank=33.0,
        about="date",
    )
