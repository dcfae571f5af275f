"""Which part of a machine is which bin and which section: by the task data itself, confirmed or told otherwise, and remembered."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_uppercase

from evenstand.base.errors import ColumnError, Fault
from evenstand.formats.columns import ColumnGuess, ColumnUse, Sure
from evenstand.formats.iso11783.entities import KINDS, DeviceElement, TaskData, TaskInfo
from evenstand.formats.overriding import key_of, recipe_as_told
from evenstand.formats.recipes import Recipe

RATES = (6, 7)
"""Mass per area, set and actual."""
VOLUMES = (1, 2)
"""Volume per area, set and actual."""
WORK = 141
OFFSET_Y = 135
BIN, SECTION = 3, 4
Pairs = Sequence[tuple[int, str]]
"""Data dictionary numbers and the elements that log them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """bins: letter by element; sections: number by element, from the left; names: what is said of each bin, by element."""

    bins: dict[str, str]
    sections: dict[str, int]
    names: dict[str, str]


def part_of(data: TaskData, key: str) -> DeviceElement:
    """An element, or a stand-in for one that no device names."""
    found = data.elements.get(key)
    return found or DeviceElement(key=key, kind=0, name="", number=0, device="", parent="")


def part_guesses(data: TaskData, task: TaskInfo, pairs: Pairs) -> tuple[ColumnGuess, ...]:
    """What each bin and section element of the task data is taken for, why, and how sure that is.

    Bins have their letters from all bin elements of the machine, not from those of one log: a bin is the same in every task.

    Parameters
    ----------
    data, task
        As read. [-]
    pairs : sequence of (int, str)
        What the task's logs hold. [-]
    """
    out = [_guess(key, "bin", sure, why, bin=letter) for key, letter, sure, why in _bins(data, task, pairs)]
    return (*out, *(_guess(key, "section", sure, why, number=n) for key, n, sure, why in _sections(data, pairs)))


def _guess(key: str, role: str, sure: Sure, why: str, *, bin: str = "", number: int = 0) -> ColumnGuess:
    return ColumnGuess(use=ColumnUse(name=key, role=role, bin=bin, number=number), sure=sure, why=why)


def _bins(data: TaskData, task: TaskInfo, pairs: Pairs) -> list[tuple[str, str, Sure, str]]:
    """Bin elements; where none of them logs a rate, the functions and devices that do."""
    logged = {key for ddi, key in pairs if ddi in (*RATES, *VOLUMES)}
    keys = {k for k, e in data.elements.items() if e.kind == BIN}
    sure: Sure = "sure"
    if not logged & keys:
        keys, sure = {k for k in logged if part_of(data, k).kind in (0, 1, 2)}, "likely"
    order = sorted(keys, key=lambda k: (part_of(data, k).device, part_of(data, k).number, k))
    out: list[tuple[str, str, Sure, str]] = []
    for key, letter in zip(order, ascii_uppercase, strict=False):
        part, product = part_of(data, key), task.products.get(key, "")
        kind = KINDS.get(part.kind, "element")
        name = f"{kind} number {part.number}" + (f", '{part.name}'" if part.name else "") + (f", {product}" if product else "")
        idle = "" if key in logged else "; logs no rate in this task"
        out.append((key, letter, sure, (name if part.kind == BIN else f"{name}: no bin element logs a rate, this one does") + idle))
    return out


def _sections(data: TaskData, pairs: Pairs) -> list[tuple[str, int, Sure, str]]:
    """Section elements that log their state, from the left: by their place across the tool, else by their numbers."""
    keys = list(dict.fromkeys(key for ddi, key in pairs if ddi == WORK and part_of(data, key).kind == SECTION))
    offsets = [part_of(data, k).properties.get(OFFSET_Y) for k in keys]
    places = [o for o in offsets if o is not None]
    placed = len(places) == len(keys) == len(set(places))
    order = sorted(keys, key=lambda k: (part_of(data, k).properties[OFFSET_Y] if placed else part_of(data, k).number, k))
    out: list[tuple[str, int, Sure, str]] = []
    for n, key in enumerate(order, start=1):
        part = part_of(data, key)
        why = (
            f"{part.properties[OFFSET_Y] / 1e3:+.2f} m across the tool"
            if placed
            else f"its number {part.number}; where it stands is not said"
        )
        out.append((key, n, "sure" if placed else "likely", f"'{part.name}', {why}" if part.name else why))
    return out


def settled_parts(guesses: Sequence[ColumnGuess], recipe: Recipe | None, told: Sequence[ColumnUse], where: str) -> tuple[Parts, Recipe]:
    """Bins and sections by the guesses, by a recipe where there is one, and by what was told last; and that as a recipe.

    Raises
    ------
    ColumnError
        If something is told that is no bin and no section, or of an element that is not there.
    """
    wrong = [u for u in told if u.role not in ("bin", "section", "ignore")]
    if wrong:
        cure = "Say which bin, which section, or that it is not read: 'DET-2=bin B', 'DET-5=section 3', 'DET-7=ignore'."
        what = "a part of a machine is a bin or a section"
        raise ColumnError([Fault(where=f"{where}, {u.name}", what=f"'{u.role}': {what}", cure=cure) for u in wrong])
    known = {u.name: u for u in recipe.columns} if recipe is not None else {}
    taken = {key_of(u) for u in known.values()} - {None}
    uses = [known.get(g.use.name, g.use) for g in guesses if g.use.name in known or key_of(g.use) not in taken]
    found = Recipe(name=recipe.name if recipe is not None and recipe.name else "task data", columns=tuple(uses))
    if told:
        found = recipe_as_told(found, told, [g.use.name for g in guesses], where)
    why = {g.use.name: g.why for g in guesses}
    return Parts(
        bins={u.name: u.bin for u in found.columns if u.role == "bin"},
        sections={u.name: u.number for u in found.columns if u.role == "section"},
        names={u.name: why.get(u.name, "") for u in found.columns if u.role == "bin"},
    ), found


def machine_of(data: TaskData) -> str:
    """What stays the same from task to task of one machine: its devices, their parts and what these are. [hash]"""
    told = [f"{d.get('A')}|{d.get('D')}|{d.get('F')}" for d in data.root.all("DVC")]
    told += [f"{e.key}|{e.device}|{e.kind}|{e.number}|{e.name}" for e in sorted(data.elements.values(), key=lambda e: e.key)]
    return hashlib.sha256("\x1f".join(told).encode()).hexdigest()
