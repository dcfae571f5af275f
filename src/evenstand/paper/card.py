"""The value card: every value and alarm of one outfit and crop, or what it still needs."""

from __future__ import annotations

from typing import Any

from evenstand.desk.sheets import SheetContext
from evenstand.model import CardLine
from evenstand.paper.wording import GROUPS, card_value, heading, needs_text


def card_data(context: SheetContext) -> dict[str, Any]:
    """The texts of the value card; every line of the plan's card is on it.

    Parameters
    ----------
    context : SheetContext
        Job and plan. [metric]

    Returns
    -------
    dict
        For the template `value_card`. [text]
    """
    lines = context.plan.card
    known = {name for name, _ in GROUPS}
    groups = [(name, title) for name, title in GROUPS if any(line.group == name for line in lines)]
    told: set[str] = set()
    groups += [(name, name.capitalize()) for name in dict.fromkeys(line.group for line in lines) if name not in known]
    return {
        "head": heading(context, "Value card"),
        "lead": "Write down what your own display calls each value, and who set it. A value that is stale is set and checked anew.",
        "groups": [
            {"name": title, "lines": [_line(context, line, told) for line in lines if line.group == name]} for name, title in groups
        ],
        "blank_lead": "Values of your own:",
    }


def _line(context: SheetContext, line: CardLine, told: set[str]) -> dict[str, Any]:
    profile = context.profile
    value, band = card_value(line, profile)
    return {
        "bin": line.bin,
        "label": line.label,
        "product": _said_once(line, context),
        "value": value,
        "band": band,
        "yours": line.yours,
        "set_by": line.set_by,
        "needs": needs_text(line, told) if value["n"] is None else "",
        "why": _sentence(line.why) + ("" if line.basis != "common-practice" or "ommon practice" in line.why else " Common practice."),
        "stale": line.stale.rstrip("."),
    }


def _sentence(text: str) -> str:
    text = text.strip()
    return f"{text[:1].upper()}{text[1:].rstrip('.')}." if text else ""


def _said_once(line: CardLine, context: SheetContext) -> str:
    """The product's name below a line that does not name it already."""
    name = context.product_name(line.product) if line.product in context.products and not line.bin else ""
    return "" if name in line.label else name
