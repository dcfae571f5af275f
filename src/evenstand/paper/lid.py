"""The run map for inside the cart's lid: the picture, and the same as a table."""

from __future__ import annotations

from typing import Any

from evenstand.desk.sheets import SheetContext
from evenstand.drawing import paper_svg, run_map
from evenstand.model import Head, Outfit

CAUTION = "Fan off and pressure gone before a hose or lid is opened; never under a raised tool that is not locked."

BLANK_ROWS = 9


def map_data(context: SheetContext) -> dict[str, Any]:
    """The texts of the run map.

    Parameters
    ----------
    context : SheetContext
        With the outfit; its runs where they are known. [-]

    Returns
    -------
    dict
        For the template `run_map`. [text]
    """
    from evenstand.paper.wording import heading

    outfit = context.outfit or Outfit(key="", name="the outfit")
    picture = run_map(outfit)
    top = heading(context, "Run map")
    return {
        "head": {**top, "about": outfit.name, "outfit": "inside the cart's lid"},
        "picture": paper_svg(picture),
        "picture_alt": picture.description,
        "heads": [_head(outfit, head) for head in outfit.heads] if outfit.runs else [],
        "blank_rows": 0 if outfit.runs else BLANK_ROWS,
        "balance": _balance(outfit),
        "caution": CAUTION,
    }


def _head(outfit: Outfit, head: Head) -> dict[str, str]:
    mine = sorted((run for run in outfit.runs if run.head == head.letter), key=lambda run: run.outlet)
    stream = next((s for s in outfit.streams if s.key == head.stream), None)
    sensors = [str(run.sensor) for run in mine if run.sensor is not None]
    return {
        "letter": head.letter,
        "stream": (stream.label or stream.key) if stream else "not known",
        "segment": str(head.segment) if head.segment is not None else "not known",
        "openers": ", ".join(str(run.number) for run in mine),
        "sensors": ", ".join(sensors) or "none",
        "shut": ", ".join(str(run.number) for run in mine if run.shut),
    }


def _balance(outfit: Outfit) -> str:
    """A sentence where heads of one stream differ in outlets: their segments must match. [text]"""
    for stream in dict.fromkeys(head.stream for head in outfit.heads):
        counts = {head.letter: head.outlets for head in outfit.heads if head.stream == stream}
        if len(set(counts.values())) > 1:
            listed = ", ".join(f"{letter} {count}" for letter, count in counts.items())
            return (
                f"Heads have unlike numbers of outlets ({listed}): each needs a meter segment to match, "
                "or its rows get more or less than the others."
            )
    return ""
