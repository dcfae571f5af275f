"""The value card: every value and alarm limit for one outfit and crop, each with why, working, source, range and what makes it stale.

A line that cannot be computed says what it still needs and how to get it; nothing is filled in from memory. The parts stand in modules
of their own: `meters`, `speeds`, `widths`, `fans`, `heads`, `rowsafety`, `seeds`, `keeping`, `asks`.
"""

from __future__ import annotations

from evenstand.agronomy.placement import PlacementVerdict
from evenstand.expect.asks import cost_lines, deadline_lines, job_lines, time_lines
from evenstand.expect.fans import fan_lines
from evenstand.expect.heads import head_lines
from evenstand.expect.keeping import keeping_lines
from evenstand.expect.lines import GROUPS, CardFacts
from evenstand.expect.meters import bin_lines
from evenstand.expect.rowsafety import row_lines
from evenstand.expect.seeds import seed_lines
from evenstand.expect.speeds import speed_lines
from evenstand.expect.widths import width_lines
from evenstand.model import CardLine


def value_card(facts: CardFacts, verdict: PlacementVerdict) -> tuple[CardLine, ...]:
    """All lines, group by group as they are needed in the cab.

    Parameters
    ----------
    facts : CardFacts
        The job, the outfit and the plan so far. [metric]
    verdict : PlacementVerdict
        Fertilizer by where it ends. [kg/ha]

    Returns
    -------
    tuple of CardLine
        Each known, typed, or with what it needs. [metric]
    """
    lines = [
        *bin_lines(facts),
        *speed_lines(facts),
        *width_lines(facts),
        *fan_lines(facts),
        *head_lines(facts),
        *row_lines(facts, verdict),
        *seed_lines(facts),
        *keeping_lines(facts),
        *job_lines(facts),
        *time_lines(facts),
        *deadline_lines(facts),
        *cost_lines(facts),
    ]
    order = {name: i for i, (name, _) in enumerate(GROUPS)}
    return tuple(sorted(lines, key=lambda x: order[x.group]))
