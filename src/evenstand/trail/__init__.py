"""What a machine recorded: reading it, the ground it covered, and the facts the checks need."""

from evenstand.trail.covering import Coverage, coverage
from evenstand.trail.detecting import trail_faults
from evenstand.trail.facts import TrailFacts, trail_facts
from evenstand.trail.faults import Clear, TrailFault, TrailFaults, Unseen
from evenstand.trail.passes import PassException, PassFacts, RowToRow, passes_of, row_to_row
from evenstand.trail.reading import read_trail
from evenstand.trail.runs import RunFault, run_faults
from evenstand.trail.timeuse import TimeUse, WorkRate, start_stop_distance

__all__ = [
    "Clear", "Coverage", "PassException", "PassFacts", "RowToRow", "RunFault", "TimeUse", "TrailFacts", "TrailFault", "TrailFaults",
    "Unseen", "WorkRate", "coverage", "passes_of", "read_trail", "row_to_row", "run_faults", "start_stop_distance", "trail_facts",
    "trail_faults",
]  # fmt: skip
