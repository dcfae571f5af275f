"""What a machine recorded: reading it, the ground it covered, and the facts the checks need."""

from evenstand.trail.covering import Coverage, coverage
from evenstand.trail.facts import TimeUse, TrailFacts, trail_facts
from evenstand.trail.passes import PassException, PassFacts, RowToRow, passes_of, row_to_row
from evenstand.trail.reading import read_trail
from evenstand.trail.runs import RunFault, run_faults

__all__ = [
    "Coverage", "PassException", "PassFacts", "RowToRow", "RunFault", "TimeUse", "TrailFacts", "coverage", "passes_of", "read_trail",
    "row_to_row", "run_faults", "trail_facts",
]  # fmt: skip
