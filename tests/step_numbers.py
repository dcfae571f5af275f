"""Every number in the text of a step against the facts it was made from: nothing may stand there that is neither a fact nor worked out."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from evenstand.base.units import QUANTITIES, shown
from evenstand.model import Step

NUMBER = re.compile(r"(?<![A-Za-z])\d[\d\u202f,]*(?:\.\d+)?")
CONSTANT = ("a taped 100 m or more",)
"""What is said in the same words whatever the facts are."""


def leaves(thing: Any) -> Iterator[Any]:
    """Every number and text within facts."""
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        for field in dataclasses.fields(thing):
            yield from leaves(getattr(thing, field.name))
    elif isinstance(thing, Mapping):
        for key, value in thing.items():
            yield from leaves(key)
            yield from leaves(value)
    elif isinstance(thing, tuple | list):
        for item in thing:
            yield from leaves(item)
    elif isinstance(thing, str | int | float) and not isinstance(thing, bool):
        yield thing
    elif thing is not None and hasattr(thing, "isoformat"):
        yield thing.isoformat()


def as_shown(quantity: str, value: float, profile: str) -> str:
    """A stated number as it stands in a text."""
    if quantity == "clock":
        return f"{int(value) // 60:02d}:{int(value) % 60:02d}"
    if quantity == "day":
        return date.fromordinal(int(value)).isoformat()
    if quantity == "money":
        return f"{value:,.0f}"
    return str(int(value)) if quantity == "count" else shown(value, quantity, profile)


def strays(facts: Any, step: Step) -> list[str]:
    """Numbers in the texts of a step that are in no text of the facts and were not stated."""
    texts = [t for t in leaves(facts) if isinstance(t, str) and any(c.isdigit() for c in t)]
    days = {t[:10] for t in texts if re.match(r"\d{4}-\d{2}-\d{2}", t)}
    said = [as_shown(s.quantity, s.value, facts.profile) for s in step.stated]
    known = sorted({*texts, *days, *said, *CONSTANT, *(t.rstrip(".") for t in texts)}, key=len, reverse=True)
    out = []
    for text in (step.do, step.because, step.cost_of_waiting.text, step.confirm_by, step.closes_when, *step.evidence):
        rest = text
        for one in known:
            if any(c.isdigit() for c in one):
                rest = re.sub(rf"(?<![\d.,]){re.escape(one[:1].upper())}?{re.escape(one)}(?!\d)", " ", rest, flags=re.IGNORECASE)
        out += [f"{number} in: {text}" for number in NUMBER.findall(rest)]
    return out


def unknown_quantities(step: Step) -> set[str]:
    """Quantities of stated numbers that the units table does not know."""
    return {s.quantity for s in step.stated} - {*QUANTITIES, "clock", "day", "money", "count"}
