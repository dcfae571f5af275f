"""All families together, most urgent first."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable

from evenstand.model import Step
from evenstand.nextup.dating import dating_steps
from evenstand.nextup.doubting import doubting_steps
from evenstand.nextup.facts import Facts
from evenstand.nextup.filling import filling_steps
from evenstand.nextup.hauling import hauling_steps
from evenstand.nextup.keeping import keeping_steps
from evenstand.nextup.proving import proving_steps
from evenstand.nextup.readying import readying_steps
from evenstand.nextup.resowing import resowing_steps
from evenstand.nextup.setting import setting_steps

FAMILIES = (
    doubting_steps,
    resowing_steps,
    keeping_steps,
    proving_steps,
    readying_steps,
    setting_steps,
    filling_steps,
    hauling_steps,
    dating_steps,
)


def next_steps(facts: Facts) -> tuple[Step, ...]:
    """The ruled list of one job.

    Parameters
    ----------
    facts : Facts
        A snapshot. [metric]

    Returns
    -------
    tuple of Step
        Highest rank first; among equals the larger stake, then the key, so that the same facts give the same list. [-]
    """
    steps: dict[str, Step] = {}
    for family in FAMILIES:
        for step in family(facts):
            steps.setdefault(step.key, dataclasses.replace(step, job=facts.job.key, where=facts.where))

    return in_order(steps.values())


def in_order(steps: Iterable[Step]) -> tuple[Step, ...]:
    """Most urgent first: by rank, then by what is at stake, then by key. [-]"""

    def order(step: Step) -> tuple[float, float, str]:
        stake = step.cost_of_waiting.money if step.cost_of_waiting.money is not None else (step.cost_of_waiting.kg or 0.0)
        return -step.rank, -stake, step.key

    return tuple(sorted(steps, key=order))
