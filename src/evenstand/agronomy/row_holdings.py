"""What each guideline for fertilizer with the seed covers, in sentences made from the tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from evenstand.agronomy.row_rules import as_printed, quote, tell
from evenstand.agronomy.seed_row import guideline_name
from evenstand.reference import Figure, table

_SOILS = ("light", "medium", "heavy")


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """One thing a guideline says, and from where. usable: whether a limit can come of it; source: key; seen: "read" or "second-hand"."""

    text: str
    usable: bool
    source: str
    seen: str


def holdings(guideline: str) -> tuple[Holding, ...]:
    """All that is held of a guideline: figures with their conditions, and sayings without.

    Parameters
    ----------
    guideline : str
        Key from `guidelines()`. [-]

    Returns
    -------
    tuple of Holding
        In the order of the table. [-]

    Raises
    ------
    InputError
        If there is no such guideline.
    """
    guideline_name(guideline)  # refuses an unknown one
    sheet: Mapping[str, Any] = table("seed_row")[guideline]
    by_soil = tuple(_by_soil(sheet)) if "N" in sheet else ()
    rules = tuple(
        Holding(text=" ".join(t for t in (quote(r), r.get("note", "")) if t), usable=True, source=r["source"], seen=r["seen"])
        for r in sheet.get("rules", ())
    )
    told = tuple(Holding(text=tell(t), usable=False, source=t["source"], seen=t["seen"]) for t in sheet.get("told", ()))
    return (*by_soil, *rules, *told)


def _by_soil(sheet: Mapping[str, Any]) -> Iterator[Holding]:
    """A set that is a table by soil and seedbed utilisation."""
    for group, rows in sheet["N"].items():
        cells = [cell for soil in _SOILS for cell in rows[soil]]
        read = [cell for cell in cells if not isinstance(cell, str)]
        printed = ", ".join(f"{p:g}" for p in rows["sbu"])
        text = f"Urea N with {group}: {min(read):g} to {max(read):g} {rows['unit']} by {len(_SOILS)} soils at {printed} % of the ground"
        text += f", {len(read)} of {len(cells)} cells." if len(read) < len(cells) else f", all {len(cells)} cells."
        yield Holding(text=text, usable=True, source=rows["source"], seen=rows["seen"])
    rows = sheet["P2O5"]
    amounts = ", ".join(
        f"{name} {f.value:g}" for name, f in rows.items() if isinstance(f, Figure) and name not in {"spread", "row_spacing"}
    )
    geometry = f"{as_printed(rows['spread'])} spread, rows of {as_printed(rows['row_spacing'])}"
    yield Holding(text=f"P2O5 ({geometry}), {rows['unit']}: {amounts}.", usable=True, source=rows["source"], seen=rows["seen"])
    for extra in (sheet["no_urea"], *_figures(sheet["wide_rows"]), *_figures(sheet["narrow_rows"]), sheet["dry"]):
        amount = "" if extra.low == 0 or extra.unit == "-" else f": {as_printed(extra)}"
        where = extra.where[:1].upper() + extra.where[1:]
        yield Holding(text=f"{where}{amount}.", usable=True, source=extra.source, seen=extra.seen)


def _figures(entry: Mapping[str, Any]) -> list[Figure]:
    return [f for f in entry.values() if isinstance(f, Figure)]
