"""The value card: what to type on the first page, what to see and to know on the second, the reasons behind."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from evenstand.base.units import restated
from evenstand.desk.cards import Part, Row, first_and_rest, flag_of, laid_out, role_of, split_sentences, suffix_of, wanted, warned
from evenstand.desk.sheets import SheetContext
from evenstand.model import CardLine
from evenstand.paper.wording import bin_name, card_value, heading

_ROW_SENTENCES = 4  # of what a guideline says that stand on paper; the site and the JSON have all
MOST_BINS = 4  # columns of bins that a landscape page takes


def card_data(context: SheetContext) -> dict[str, Any]:
    """The texts of the value card; every line of the plan's card is on it.

    Parameters
    ----------
    context : SheetContext
        Job and plan. [metric]

    Returns
    -------
    dict
        For the template `value_card`; None stands for a line to write on. [text]
    """
    card = context.plan.card
    parts = {p.key: p for p in laid_out(card, keep=_printed)}
    typed, rest = parts.get("type"), [p for p in (parts.get("see"), parts.get("mind")) if p is not None]
    return {
        "head": heading(context, "Value card"),
        "lead": "Type these in. Write beside each what your own display calls it, and who set it. What is stale is set and checked anew.",
        "warnings": [restated(text, context.profile) for text in warned(card)],
        "typed_bins": _tables(context, [typed] if typed else []),
        "typed": [_entry(context, row.line) for row in _others(typed)] if typed else [],
        "seen_bins": _tables(context, rest),
        "lists": [
            {"title": p.title, "lines": [_entry(context, row.line) for row in _others(p) if row.line.state != "needs"]} for p in rest
        ],
        "needs": [
            {"what": restated(f"{w.what}. {w.how}".strip(), context.profile), "lines": restated(", ".join(w.lines), context.profile)}
            for w in wanted(card)
        ],
        "notes": [_note(context, row) for row in _rows(parts.values()) if _noted(row)],
        "blank_lead": "Values of your own:",
    }


def _printed(line: CardLine) -> bool:
    """Whether a line stands on paper: the rate of a product stands at its bin already."""
    return not line.key.startswith("rate:") or line.group != "job"


def _noted(row: Row) -> bool:
    """Whether a row has a reason of its own at the end: what is not beside its value already, and more than arithmetic of the job."""
    beside = not row.line.bin and role_of(row.line) in {"set", "alarm"}
    know = role_of(row.line) == "know"
    plain = know and not row.line.bin and row.line.group != "fan"
    return bool(row.said("stale_now") or (not beside and not plain and (row.said("why") or row.said("stale"))))


def _rows(parts: Iterable[Part]) -> list[Row]:
    return [row for part in parts for row in part.rows()]


def _others(part: Part) -> list[Row]:
    return [row for _, rows in part.groups for row in rows]


def _tables(context: SheetContext, parts: Sequence[Part]) -> list[dict[str, Any]]:
    """The rows of bins as tables of at most so many columns."""
    rows = [row for part in parts for row in part.bin_rows]
    bins = sorted({b: product for part in parts for b, product in part.bins}.items())
    out = []
    for start in range(0, len(bins), MOST_BINS):
        some = bins[start : start + MOST_BINS]
        out.append(
            {
                "bins": [
                    {"letter": b, "name": bin_name(context, b).removeprefix(b).strip(), "product": context.product_name(p)} for b, p in some
                ],
                "rows": [_row(context, row, [b for b, _ in some]) for row in rows],
            }
        )
    return out


def _row(context: SheetContext, row: Row, letters: Sequence[str]) -> dict[str, Any]:
    return {
        "label": restated(row.label, context.profile),
        "cells": [_cell(context, row.of(letter), row) for letter in letters],
        "yours": row.said("yours").rstrip("."),
        "set_by": row.said("set_by").rstrip("."),
    }


def _cell(context: SheetContext, line: CardLine | None, row: Row) -> dict[str, Any]:
    """One bin's value; n None: a line to write on, n "": nothing there."""
    if line is None:
        return {"n": "", "u": "", "band": "", "more": "", "flag": ""}
    value, band = card_value(line, context.profile)
    return {**value, "band": band, "more": suffix_of(line, row), "flag": flag_of(line)}


def _entry(context: SheetContext, line: CardLine) -> dict[str, Any]:
    value, band = card_value(line, context.profile)
    return {
        "label": restated(f"{line.bin}  {line.label}" if line.bin else line.label, context.profile),
        "product": _said_once(line, context),
        "value": value,
        "band": band,
        "text": bool(line.text),
        "yours": line.yours,
        "set_by": line.set_by,
        "flag": flag_of(line),
        "why": restated(first_and_rest(line.why)[0], context.profile),
        "after": "" if role_of(line) == "alarm" else line.stale.rstrip("."),
    }


def _note(context: SheetContext, row: Row) -> dict[str, str]:
    """Why, in a sentence, and what makes it stale, of one row; the site and the JSON say the rest."""
    common = " Common practice." if any(x.basis == "common-practice" and "ommon practice" not in x.why for _, x in row.lines) else ""
    said = split_sentences(row.said("why"))
    why = " ".join(said[: _ROW_SENTENCES if row.line.group == "row" else 1])
    label = row.label if len(row.lines) > 1 else f"{row.line.bin} {row.line.label}".strip()
    if row.line.key.partition(":")[0] in {"depth", "soil"}:
        label = label.partition(",")[0]  # the publisher stands in the reason
    return {
        "label": restated(label, context.profile),
        "now": restated(row.said("stale_now").rstrip("."), context.profile),
        "why": restated(f"{why[:1].upper()}{why[1:]}{common}".strip(), context.profile),
        "stale": row.said("stale").rstrip("."),
    }


def _said_once(line: CardLine, context: SheetContext) -> str:
    """The product's name below a line that does not name it already."""
    name = context.product_name(line.product) if line.product in context.products and not line.bin else ""
    return "" if name in line.label else name
