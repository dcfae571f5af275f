"""Answers to drills: read as they are typed, and marked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import InputError
from evenstand.check.causes import described
from evenstand.desk.drills import CANNOT, OF_BIN, Drill, Slot, Solution


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """An answer marked. right: faults named; of: faults there were; wrong: causes named that were not there and that the readings
    do not leave open; points: right less wrong, never below 0; lines: sentences."""

    answers: tuple[str, ...]
    right: int
    of: int
    wrong: int
    points: int
    lines: tuple[str, ...]

    @property
    def full(self) -> bool:
        """All of it right."""
        return self.points == self.of


def read_answer(drill: Drill, text: str) -> tuple[str, ...]:
    """Causes out of what was typed: "factor:D", "width, slip:A", "run 37", "cannot-tell".

    Parameters
    ----------
    drill : Drill
        For its choices. [-]
    text : str
        As typed; several with commas. [-]

    Raises
    ------
    InputError
        Naming what is no choice, and the choices.
    """
    out = []
    for piece in (p for p in re.split(r"[,;]| and ", text) if p.strip()):
        out.append(_cause(drill, piece.strip()))
    if not out:
        raise InputError("nothing is answered", where="answer", cure=_listed(drill))
    return tuple(dict.fromkeys(out))


def _cause(drill: Drill, piece: str) -> str:
    found = re.fullmatch(
        r"([a-z-]+?)(?:\s*[:= ]\s*([A-Za-z0-9]+))?", piece.lower().replace("cannot tell", CANNOT).replace("nobody", CANNOT)
    )
    kind, where = (found.group(1), (found.group(2) or "").upper()) if found else ("", "")
    if kind in OF_BIN and not where and len(drill.bins) == 1:
        where = drill.bins[0]
    cause = f"{kind}:{where}" if where else kind
    known = {c for c, _ in drill.choices}
    number = kind == "run" and where.isdigit()
    letter = kind == "head" and len(where) == 1
    if (cause in known and kind not in ("run", "head")) or number or letter:
        return cause
    what = f"'{piece}' wants a {'number' if kind == 'run' else 'letter'}" if kind in ("run", "head") else f"'{piece}' is no choice here"
    raise InputError(what, where="answer", cure=_listed(drill))


def _listed(drill: Drill) -> str:
    names = [f"{c}:NUMBER" if c == "run" else f"{c}:LETTER" if c == "head" else c for c, _ in drill.choices]
    return f"Choose from {', '.join(names)}."


def mark(drill: Drill, solution: Solution, answers: Sequence[str]) -> Marked:
    """Mark an answer. Any cause of a class that the readings cannot part counts; "cannot-tell" counts where nobody could.

    Parameters
    ----------
    drill : Drill
        The question. [-]
    solution : Solution
        Its answer. [-]
    answers : sequence of str
        From `read_answer`. [-]
    """
    given = set(answers)
    right = [bool(given & set(slot.accepted)) for slot in solution.slots]
    open_to_all = {c for slot in solution.slots for c in slot.accepted}
    wrong = sorted(given - open_to_all)
    lines = [_slot_line(slot, ok) for slot, ok in zip(solution.slots, right, strict=True)]
    lines += [f"Not so: {'that nobody could tell' if c == CANNOT else described(c)}. {_why_not(c, solution)}" for c in wrong]
    points = max(0, sum(right) - len(wrong))
    return Marked(answers=tuple(answers), right=sum(right), of=len(right), wrong=len(wrong), points=points, lines=tuple(lines))


def _slot_line(slot: Slot, ok: bool) -> str:
    word = "Right" if ok else "Missed"
    what = f"{described(slot.truth)}{_place(slot.truth)}: {slot.size}"
    if not slot.told:
        return (
            f"{word}: {what}. Nobody could tell it from these six, and saying so is the right answer. What would show it: {slot.settle_by}."
        )
    others = [c for c in slot.accepted if c != slot.truth]
    if not others:
        return f"{word}: {what}."
    alike = "; or ".join(f"{described(c)}{_place(c)}" for c in others)
    settle = f" What would part them: {slot.settle_by}." if slot.settle_by else ""
    return f"{word}: {what}. These six cannot tell it from: {alike}; each of them counts.{settle}"


def _place(cause: str) -> str:
    kind, _, where = cause.partition(":")
    return f" ({kind} {where})" if kind in ("run", "head") and where else ""


def _why_not(cause: str, solution: Solution) -> str:
    if cause == CANNOT:
        return "The six readings do tell it."
    if all(not slot.told for slot in solution.slots):
        return "Nothing among the six is further off than on any good day: no reading accuses it."
    return "No two of the six readings are apart in a way that needs it."
