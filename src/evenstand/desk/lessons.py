"""Lessons: one page for each number of a cab. The words stand in `lesson_data/lessons.toml`."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

from evenstand.base.errors import MissingError

LessonNature = Literal["witness", "echo", "both"]
NATURES: Mapping[str, str] = MappingProxyType(
    {
        "witness": "a witness: it knows something by itself",
        "echo": "an echo: it repeats what was typed and counted",
        "both": "part witness, part echo: see what it is made of",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sum:
    """A sum anybody can do again. text: what it is about; formula: plain arithmetic; result: as printed; unit: of the result."""

    text: str
    formula: str
    result: str
    unit: str

    @property
    def said(self) -> str:
        """The sum as it is written on paper. [text]"""
        signs = self.formula.replace("*", "×").replace(" / ", " ÷ ").replace(" - ", " − ").replace("1e4", "10,000")
        return f"{signs} = {self.result} {self.unit}".strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """What one number is. made_of: what goes into it; proves, never: what it shows and what it must not be taken for; check: how to
    check it; first: what to look at first when it is off."""

    key: str
    title: str
    nature: LessonNature
    short: str
    made_of: tuple[str, ...]
    proves: tuple[str, ...]
    never: tuple[str, ...]
    check: tuple[str, ...]
    sum: Sum
    first: str

    @property
    def kind(self) -> str:
        """Witness or echo, in words. [text]"""
        return NATURES[self.nature]


@cache
def lessons() -> Mapping[str, Lesson]:
    """All lessons by key, in the order they are taught. [-]"""
    text = files("evenstand.desk").joinpath("lesson_data", "lessons.toml").read_text(encoding="utf-8")
    made = {key: _lesson(key, row) for key, row in tomllib.loads(text).items()}
    return MappingProxyType(made)


def _lesson(key: str, row: Mapping[str, Any]) -> Lesson:
    return Lesson(
        key=key, title=row["title"], nature=row["nature"], short=row["short"], made_of=tuple(row["made_of"]), proves=tuple(row["proves"]),
        never=tuple(row["never"]), check=tuple(row["check"]), sum=Sum(**row["sum"]), first=row["first"],
    )  # fmt: skip


def lesson(key: str) -> Lesson:
    """One lesson.

    Parameters
    ----------
    key : str
        Such as "area-counter". [-]

    Raises
    ------
    MissingError
        Listing the lessons there are.
    """
    known = lessons()
    if key not in known:
        raise MissingError(f"no lesson '{key}'", where="lesson", cure=f"Lessons: {', '.join(known)}.")
    return known[key]
