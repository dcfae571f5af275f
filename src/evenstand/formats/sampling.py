"""The first rows of a file, as numbers and as text, and how a column is said to be something."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from evenstand.formats.columns import BINNED, NUMBERED, ColumnGuess, ColumnUse, Sure
from evenstand.formats.naming import Named
from evenstand.model.place import FloatArray


@dataclass(slots=True)
class Sample:
    """The first rows of a file. number: every column as numbers; head: the text of some; cells: a column's text; words: its different
    words in lower case; step_m, dt_s, turn_deg: steps between rows and headings, once positions and times are understood."""

    number: dict[str, FloatArray]
    head: dict[str, list[str | None]]
    cells: Callable[[str], list[str | None]]
    words: Callable[[str], set[str]]
    step_m: FloatArray | None = None
    dt_s: FloatArray | None = None
    bearing_deg: FloatArray | None = None
    metre_known: bool = True


def guess_of(column: str, role: str, sure: Sure, why: str, *, unit: str = "", named: Named | None = None) -> ColumnGuess:
    """What a column is taken for; bins and numbers come from its name."""
    bin_, number = (named.bin, named.number) if named and role in (*BINNED, *NUMBERED) else ("", 0)
    return ColumnGuess(use=ColumnUse(name=column, role=role, unit=unit, bin=bin_, number=number), sure=sure, why=why)


def of_role(named: dict[str, Named], *roles: str) -> list[str]:
    """Columns whose names say one of these roles, those with the surer names first."""
    found = [c for c, n in named.items() if n.role in roles]
    return sorted(found, key=lambda c: not named[c].certain)


def finite(sample: Sample, column: str) -> FloatArray:
    """The numbers of a column that are numbers."""
    values = sample.number.get(column, np.zeros(0))
    out: FloatArray = values[np.isfinite(values)]
    return out
