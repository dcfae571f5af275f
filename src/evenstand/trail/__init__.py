"""What a machine recorded: reading it, the ground it covered, and the facts the checks need.

Each name is fetched from its module when it is first asked for, so that who wants covered ground need not load the detectors of faults.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
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

_HOMES = {
    "covering": ("Coverage", "coverage"),
    "detecting": ("trail_faults",),
    "facts": ("TrailFacts", "trail_facts"),
    "faults": ("Clear", "TrailFault", "TrailFaults", "Unseen"),
    "passes": ("PassException", "PassFacts", "RowToRow", "passes_of", "row_to_row"),
    "reading": ("read_trail",),
    "runs": ("RunFault", "run_faults"),
    "timeuse": ("TimeUse", "WorkRate", "start_stop_distance"),
}


def __getattr__(name: str) -> Any:
    for home, names in _HOMES.items():
        if name in names:
            value = globals()[name] = getattr(import_module(f"{__name__}.{home}"), name)
            return value
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
