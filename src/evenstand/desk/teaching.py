"""What drills have in common, wherever they are shown: the score over several, and what an echo repeats, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from evenstand.desk.drill_marks import Marked

_REPEATED = {
    "W": "typed width", "V": "counted distance", "F": "typed product per turn", "turns": "turns",
    "rate": "typed rate", "entered": "fills as entered",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """Over several drills. points of `of`; full: drills that were all right; streak: all right in a row up to the last; best: ever."""

    points: int
    of: int
    drills: int
    full: int
    streak: int
    best: int


def score(marked: Sequence[Marked]) -> Score:
    """The score over several drills, in the order they were done.

    Parameters
    ----------
    marked : sequence of Marked
        From `drill_marks.mark`. [-]
    """
    streak = best = 0
    for m in marked:
        streak = streak + 1 if m.full else 0
        best = max(best, streak)
    return Score(
        points=sum(m.points for m in marked), of=sum(m.of for m in marked), drills=len(marked), full=sum(m.full for m in marked),
        streak=streak, best=best,
    )  # fmt: skip


def repeated(names: Sequence[str]) -> str:
    """What an echo repeats: ("F:D", "turns:D") as "typed product per turn, turns". [text]

    Parameters
    ----------
    names : sequence of str
        `derived_from` of a reading. [-]
    """
    return ", ".join(_REPEATED.get(n.partition(":")[0], n) for n in names)
