"""Pages that ask and answer: fields in groups, and faults of a calculation tied to the fields they speak of, in the page's own words."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fastapi import Request

from evenstand.base.errors import EvenstandError, Fault
from evenstand.base.units import restated_fault, rounded
from evenstand.web.forms import Field, Typed

_OPTION = re.compile(r"--([a-z][a-z-]*)(?: ([A-Z][A-Za-z0-9]*)\b)?")
_TURNS = re.compile(r"(-?\d+(?:\.\d+)?(?:e[-+]?\d+)?) rev/s")
_BARE = re.compile(r"(?<![\w.])(-?\d+(?:\.\d+)?(?:e[-+]?\d+)?)(?![\w.])")
_LONG = 60  # longer than any number or word that a field is for


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Fields of a form that belong together. folded: shut until something is typed in it."""

    title: str
    fields: tuple[Field, ...]
    hint: str = ""
    folded: bool = False

    def open_for(self, typed: Typed) -> bool:
        """Whether it stands open: nothing folds away what was typed or what is wrong. [-]"""
        return not self.folded or any(typed.values.get(f.name) or f.name in typed.faults for f in self.fields)


def all_fields(groups: Sequence[Group]) -> tuple[Field, ...]:
    """All fields in their order. [-]"""
    return tuple(f for g in groups for f in g.fields)


def asked(request: Request, *also: str) -> bool:
    """Whether the form was sent: something stands in the address but what only sets it up. [-]"""
    return bool(set(request.query_params) - set(also))


def bounded(typed: Typed, *, most: int = _LONG, but: Sequence[str] = ()) -> None:
    """Refuse a text that is longer than its field can be for."""
    for f in typed.fields:
        text = typed.values.get(f.name, "")
        limit = 4000 if f.kind == "area" or f.name in but else most
        if len(text) > limit:
            typed.faults[f.name] = f"{f.label}: {len(text)} letters. At most {limit}. Shorten it."
        elif f.choices and text and text not in {value for value, _ in f.choices}:
            typed.faults[f.name] = f"{f.label}: '{text}' is not in the list. Choose again."


def tie(typed: Typed, error: EvenstandError, places: Mapping[str, str], *, but: Sequence[str] = ()) -> None:
    """Faults of a calculation beside the fields they are about, in the reader's units and in the page's words.

    Parameters
    ----------
    typed : Typed
        The form; faults are added. [-]
    error : EvenstandError
        From the calculation. [-]
    places : mapping of str to str
        How a fault's place begins -> field; the first that fits. A field's own name needs no entry, nor does an option of that name. [-]
    but : sequence of str
        Places whose faults the page tells in its own way. [-]
    """
    labels = {f.name: f.label for f in typed.fields}
    for fault in (f for f in error.faults if f.where not in but):
        name = _field_of(fault, places, labels)
        told = _in_rpm(restated_fault(fault, typed.profile))
        said = replace(
            told,
            where=labels.get(name, _worded(told.where, places, labels)),
            what=_worded(told.what, places, labels),
            limit=_worded(told.limit, places, labels),
            cure=_worded(told.cure, places, labels),
        )
        before = typed.faults.get(name)
        typed.faults[name] = f"{before}\n{said}" if before else str(said)


def _in_rpm(fault: Fault) -> Fault:
    """A fault in turns a second as people say it, in turns a minute."""
    if not _TURNS.search(fault.what):
        return fault

    def minute(match: re.Match[str]) -> str:
        return rounded(60 * float(match.group(1)), 0)

    return replace(fault, what=_TURNS.sub(lambda m: f"{minute(m)} rpm", fault.what), limit=_BARE.sub(minute, fault.limit))


def _field_of(fault: Fault, places: Mapping[str, str], labels: Mapping[str, str]) -> str:
    bare = fault.where.lstrip("-").replace("-", "_")
    exact = next((name for name in labels if bare == name or fault.where == labels[name]), "")
    return exact or next((name for start, name in places.items() if fault.where.startswith(start) and name in labels), "")


def _worded(text: str, places: Mapping[str, str], labels: Mapping[str, str]) -> str:
    """Option names as the labels of their fields. [text]"""

    def said(match: re.Match[str]) -> str:
        option, more = match.group(1), match.group(2)
        for key in (f"--{option} {more}" if more else "", f"--{option}"):
            name = places.get(key, key.removeprefix("--").replace("-", "_")) if key else ""
            if name in labels:
                rest = f" {more}" if more and key == f"--{option}" else ""
                return f"“{labels[name]}”{rest}"
        return option.replace("-", " ") + (f" {more}" if more else "")

    return _OPTION.sub(said, text)
