"""The columns of a log as a form: each with what it is taken for; families of runs and sections in one line; what is confirmed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from evenstand.formats.columns import BINNED, NUMBERED, ROLES
from evenstand.formats.recipes import recipe_from

if TYPE_CHECKING:
    from evenstand.formats.delimited import ColumnGuess, Proposal, Recipe

FAMILY = 3  # so many numbered columns in a row are one line
ROLE_CHOICES = tuple((role, "left out" if role == "ignore" else text) for role, text in ROLES.items())
SURE = {"sure": "Sure", "likely": "Likely", "unsure": "Not sure"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnLine:
    """One line of the form. name: of the column, or "run_1 to run_64"; examples: of its first rows; role, unit, bin: chosen now;
    why, sure: of the proposal; members: how many columns the line stands for; binned: whether a bin's letter is asked for."""

    number: int
    name: str
    examples: str
    role: str
    unit: str
    bin: str
    why: str
    sure: str
    members: int
    binned: bool


def column_lines(proposal: Proposal, typed: Mapping[str, str]) -> list[ColumnLine]:
    """The form's lines; what was typed wins over what was proposed.

    Parameters
    ----------
    proposal : Proposal
        What the columns are taken for. [-]
    typed : mapping
        The form as sent, empty at first. [-]
    """
    return [_line(i, group, typed) for i, group in enumerate(_groups(proposal))]


def _groups(proposal: Proposal) -> list[tuple[ColumnGuess, ...]]:
    """Columns one by one, but long runs of numbered ones together."""
    out: list[list[ColumnGuess]] = []
    for guess in proposal.columns:
        same = out and out[-1][-1].use.role == guess.use.role and out[-1][-1].sure == guess.sure
        if same and guess.use.role in NUMBERED:
            out[-1].append(guess)
        else:
            out.append([guess])
    return [part for group in out for part in ([tuple(group)] if len(group) >= FAMILY else [(g,) for g in group])]


def _line(i: int, group: tuple[ColumnGuess, ...], typed: Mapping[str, str]) -> ColumnLine:
    first, last = group[0], group[-1]
    use = first.use
    proposed = "ignore" if first.sure == "unsure" else use.role
    why = first.why if first.sure != "unsure" or use.role == "ignore" else f"perhaps {ROLES[use.role]}: {first.why}"
    return ColumnLine(
        number=i,
        name=use.name if len(group) == 1 else f"{use.name} to {last.use.name}",
        examples=", ".join(first.examples[:2]),
        role=typed.get(f"role-{i}", proposed),
        unit=typed.get(f"unit-{i}", use.unit),
        bin=typed.get(f"bin-{i}", use.bin),
        why=why,
        sure=SURE[first.sure],
        members=len(group),
        binned=use.role in BINNED or first.sure == "unsure",
    )


def confirmed_recipe(proposal: Proposal, typed: Mapping[str, str], *, crs: str, start: str, zone: str) -> Recipe:
    """The recipe as a person confirmed it.

    Parameters
    ----------
    proposal : Proposal
        What the columns were taken for. [-]
    typed : mapping
        The form as sent. [-]
    crs, start, zone : str
        Answers beside the columns; "" leaves the proposal's. [-]

    Raises
    ------
    ColumnError
        For a role or unit we do not know; all such columns are named.
    """
    rows: list[dict[str, Any]] = []
    for line, group in zip(column_lines(proposal, typed), _groups(proposal), strict=True):
        if line.role == "ignore":
            continue
        for guess in group:
            number = guess.use.number if line.role == guess.use.role or line.role in NUMBERED else 0
            bin_ = line.bin.upper() if line.role in BINNED else ""
            rows.append({"name": guess.use.name, "role": line.role, "unit": line.unit, "bin": bin_, "number": number})
    data = {**proposal.recipe.to_dict(), "column": rows}
    data |= {k: v for k, v in (("crs", crs), ("start", start), ("zone", zone)) if v}
    return recipe_from(data, proposal.file)
