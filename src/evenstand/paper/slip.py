"""The fill slip: what should be gone at round areas, places to write, and the sum in one line."""

from __future__ import annotations

from typing import Any

from evenstand.base.units import Profile, profile_unit, rounded, shown_value
from evenstand.desk.sheets import SheetContext, believable, use_table
from evenstand.model import BinPlan
from evenstand.paper.wording import figures, heading, key

HOW = "T ticket, S scale, P pads, O tote, B brim-full, C conveyor by time, G by eye"
FILL_ROWS = {1: 10, 2: 7, 3: 4}


def slip_data(context: SheetContext) -> dict[str, Any]:
    """The texts of the fill slip.

    Parameters
    ----------
    context : SheetContext
        Plan with its bins. [kg, kg/ha]

    Returns
    -------
    dict
        For the template `fill_slip`. [text]
    """
    profile, bins = context.profile, context.plan.bins
    table = use_table(bins, profile, rows=12 if profile == "si" else 10)
    area_unit, mass_unit = profile_unit("area", profile), profile_unit("mass", profile)
    areas = sorted({row.area_ha for rows in table.values() for row in rows})
    columns = [area_unit]
    for b in bins:
        columns.append(f"{b.bin} gone")
        if b.full_kg is not None:
            columns.append(f"{b.bin} left")
    rows = []
    for area in areas:
        cells = [_round_area(area, context)]
        for b in bins:
            row = next((r for r in table[b.bin] if abs(r.area_ha - area) < 1e-9), None)
            cells.append(figures(row.used_kg, "mass", profile).removesuffix(mass_unit).strip() if row else "empty")
            if b.full_kg is not None:
                cells.append(
                    figures(row.left_kg, "mass", profile, count=2).removesuffix(mass_unit).strip()
                    if row and row.left_kg is not None
                    else ""
                )
        rows.append(cells)
    full = [f"{b.bin} {context.product_name(b.product)} {figures(b.full_kg.value, 'mass', profile)}" for b in bins if b.full_kg]
    note = f"Masses in {mass_unit}. " + (
        f"A full bin: {'; '.join(full)}. " if full else "What a full bin holds is not known: weigh a fill, or give size and density. "
    )
    return {
        "head": heading(context, "Fill slip"),
        "has_left": bool(full),
        "columns": columns,
        "rows": rows,
        "note": note + "Where the counter leaves out ground sown twice, a little more is gone than this.",
        "fill_rows": FILL_ROWS.get(len(bins), 4),
        "area_unit": area_unit,
        "mass_unit": mass_unit,
        "how": HOW,
        "sums": [_sum(b, profile) for b in bins],
        "believe": [
            {"what": f"{x.bin}, {x.how}", "share": f"{rounded(x.share * 100, 0)} %", "fills": _fills(x.fills)} for x in believable(context)
        ],
    }


def _fills(count: int | None) -> str:
    return "never" if count is None else f"{count} fill{'s' if count > 1 else ''}"


def _sum(b: BinPlan, profile: Profile) -> dict[str, str | None]:
    asked = key(b.rate_kg_ha, "rate", profile)
    return {"letter": b.bin, "asked": asked["n"], "unit": asked["u"]}


def _round_area(area_ha: float, context: SheetContext) -> str:
    text = shown_value(area_ha, "area", context.profile)
    return text.rstrip("0").rstrip(".") if "." in text else text
