"""What a person says a column is, in one line: "Setpt=asked kg/ha A"; and a proposal or a recipe that holds to it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from evenstand.base.errors import ColumnError, Fault, InputError
from evenstand.formats.angles import is_writing
from evenstand.formats.columns import (
    BINNED,
    NUMBERED,
    PART_ROLES,
    QUANTITY,
    ROLES,
    ColumnGuess,
    ColumnUse,
    Named,
    Question,
    tidy_unit,
    valid_unit,
)
from evenstand.formats.recipes import Recipe

WHERE = "--column"
MEASURED = (*QUANTITY, "mass_rate")
COUNTED = (*NUMBERED, "sections")
WITH_BIN = (*BINNED, "bin")
ALIKE = {"distance": "step", "time": "when", "clock": "when", "lifted": "state", "work": "state"}
"""Roles of which a log has only one."""
SEVERAL = ("extra", "ignore", "hemisphere")
FREE_UNITS = ("time", "clock", "date", "sections", "hemisphere")
HOW = "Write it as NAME=WHAT, with its unit, and its bin's letter or its number: 'Setpt=asked kg/ha A', 'S3=section 3', 'Note=extra'."


def told_uses(texts: Sequence[str]) -> tuple[ColumnUse, ...]:
    """What somebody says some columns are.

    Parameters
    ----------
    texts : sequence of str
        One a column: its name, "=", what it is, and where it needs them a unit and a bin's letter or a number. [-]

    Raises
    ------
    InputError
        With all that cannot be understood, or that is said twice.

    >>> told_uses(["Setpt=asked kg/ha B"])[0].bin, told_uses(["S3=section 3"])[0].number
    ('B', 3)
    """
    uses: list[ColumnUse] = []
    faults: list[Fault] = []
    for text in texts:
        try:
            uses.append(_told(text))
        except InputError as error:
            faults += error.faults
    names = [u.name for u in uses]
    faults += [
        Fault(where=WHERE, what=f"'{n}' is said to be two things", cure="Say it once.") for n in dict.fromkeys(names) if names.count(n) > 1
    ]
    if faults:
        raise InputError(faults)
    return tuple(uses)


def _told(text: str) -> ColumnUse:
    name, mark, rest = text.rpartition("=")
    words = rest.split()
    if not mark or not name.strip() or not words:
        raise InputError(f"'{text}' does not say what a column is", where=WHERE, cure=HOW)
    name, role, words = name.strip(), words[0].lower(), words[1:]
    if role not in ROLES and role not in PART_ROLES:
        raise InputError(f"'{role}' is nothing a column can be", where=f"{WHERE} {name}", limit=", ".join([*ROLES, *PART_ROLES]), cure=HOW)
    bin_, number = "", 0
    if role in WITH_BIN and words and re.fullmatch(r"[A-Za-z]", words[-1]):
        bin_, words = words[-1].upper(), words[:-1]
    if role in COUNTED and words and words[-1].isdigit():
        number, words = int(words[-1]), words[:-1]
    words = [w for w in words if not (w.lower() == "bin" and role in WITH_BIN)]
    unit = " ".join(words)
    unit = unit if role in ("lat", "lon", *FREE_UNITS) else tidy_unit(unit)
    _check(name, role, unit, bin_, number)
    return ColumnUse(name=name, role=role, unit=unit, bin=bin_ or ("A" if role in BINNED else ""), number=number)


def _check(name: str, role: str, unit: str, bin_: str, number: int) -> None:
    where = f"{WHERE} {name}"
    if role == "bin" and not bin_:
        raise InputError("which bin is not said", where=where, cure=f"Give its letter: '{name}=bin B'.")
    if role in NUMBERED and not number:
        raise InputError(f"which {role} is not said", where=where, cure=f"Give its number, from the left: '{name}={role} 3'.")
    if role in ("lat", "lon") and not is_writing(role, unit):
        side = "south" if role == "lat" else "west"
        limit = f"deg, e7, ddmm or dms, with '{side}' behind it where the numbers carry no sign"
        raise InputError(f"'{unit}' is no way to write degrees", where=where, limit=limit, cure=f"Such as '{name}={role} deg {side}'.")
    if role in MEASURED and unit and not valid_unit(role, unit):
        raise InputError(f"'{unit}' is no unit of {ROLES[role]}", where=where, cure="Correct the unit.")
    if unit and role not in (*MEASURED, "lat", "lon", "east", "north", "extra", "turns", *FREE_UNITS):
        raise InputError(f"'{unit}' says nothing of {ROLES[role]}", where=where, cure="Leave it out.")


def key_of(use: ColumnUse | Named) -> tuple[str, str, int] | None:
    """What a log has only one of: a role, with its bin or number; None for roles of which it may have several."""
    if use.role in SEVERAL:
        return None
    return (ALIKE.get(use.role, use.role), use.bin if use.role in WITH_BIN else "", use.number if use.role in NUMBERED else 0)


def named_as_told(named: dict[str, Named], told: Sequence[ColumnUse], where: str) -> dict[str, Named]:
    """Names as if they said what was told; other columns that seemed to be the same are none any more.

    Raises
    ------
    ColumnError
        If a column told of is not there.
    """
    missing = [u.name for u in told if u.name not in named]
    if missing:
        have = ", ".join(named)
        raise ColumnError([Fault(where=where, what=f"there is no column '{n}'", cure=f"The file has: {have}.") for n in missing])
    bins = [u for u in told if u.role in PART_ROLES]
    if bins:
        cure = "Bins are parts of a machine in task data; of a column say turns, asked or echoed, with the bin's letter."
        raise ColumnError([Fault(where=f"{where}, column {u.name}", what="a column is no bin", cure=cure) for u in bins])
    taken = {key_of(u) for u in told} - {None}
    out = {c: n if key_of(n) not in taken else replace(n, role="extra", known=True) for c, n in named.items()}
    for use in told:
        role = "extra" if use.role == "ignore" else use.role
        out[use.name] = Named(role=role, unit=use.unit, bin=use.bin, number=use.number, known=True, words=named[use.name].words)
    return out


def guess_as_told(guess: ColumnGuess, use: ColumnUse, asked: list[Question]) -> ColumnGuess:
    """What a column is, as told; its unit from its own numbers where none was told, else it is asked for."""
    alike = guess.use.role == use.role or (use.role in ("time", "clock") and guess.use.role == "time")
    if use.role in ("time", "clock"):
        if guess.use.role != "time" or any(q.blocking and q.column == use.name for q in asked):
            return guess
        return replace(guess, sure="sure", why=f"as told; {guess.why}")
    unit = use.unit or (guess.use.unit if alike and guess.sure != "unsure" else "")
    settled = bool(use.unit) or (alike and guess.sure != "unsure") or use.role not in (*MEASURED, "lat", "lon", "east", "north", "sections")
    kinds = ("column", "unit", "crs") if settled and use.role not in ("east", "north") else ()
    asked[:] = [q for q in asked if q.column != use.name or q.kind not in kinds]
    if not settled:
        if use.role in MEASURED and not any(q.column == use.name for q in asked):
            asked.append(
                Question(kind="unit", column=use.name, text=f"'{use.name}' has no unit", cure=f"Say it: '{use.name}={use.role} UNIT'.")
            )
        return guess
    number = use.number or guess.use.number if use.role in COUNTED else 0
    seen = f"; {guess.why}" if alike and guess.sure == "sure" else ""
    return ColumnGuess(use=replace(use, unit=unit, number=number), sure="sure", why=f"as told{seen}", examples=guess.examples)


def recipe_as_told(recipe: Recipe, told: Sequence[ColumnUse], header: Sequence[str], where: str) -> Recipe:
    """A recipe with some of its columns told anew.

    Raises
    ------
    ColumnError
        If a column told of is not there.
    """
    missing = [u.name for u in told if u.name not in header]
    if missing:
        have = ", ".join(header)
        raise ColumnError([Fault(where=where, what=f"there is no column '{n}'", cure=f"The file has: {have}.") for n in missing])
    taken = {key_of(u) for u in told} - {None}
    names = {u.name for u in told}
    before = {c.name: c for c in recipe.columns}
    kept = [c for c in recipe.columns if c.name not in names and key_of(c) not in taken]
    anew = [replace(u, unit=u.unit or _unit_before(before.get(u.name), u)) for u in told]
    return replace(recipe, columns=(*kept, *anew))


def _unit_before(before: ColumnUse | None, use: ColumnUse) -> str:
    return before.unit if before is not None and before.role == use.role else ""
