"""The cab sheet: what to set, where to stop, what to mind, when to stop and phone."""

from __future__ import annotations

from typing import Any

from evenstand.base.units import profile_unit, restated, shown
from evenstand.desk.cards import warned
from evenstand.desk.sheets import SheetContext
from evenstand.drawing import field_plan, paper_svg
from evenstand.model import BinPlan, CardLine, Stop
from evenstand.paper.wording import bin_name, figures, heading, key, maybe, span

_MOST_WARNINGS = 2
LIMIT_KEYS = ("low-alarm", "off-alarm", "fan-low", "fan-high")


def cab_data(context: SheetContext) -> dict[str, Any]:
    """The texts of the cab sheet.

    Parameters
    ----------
    context : SheetContext
        Job, plan and outline. [metric]

    Returns
    -------
    dict
        For the template `cab_sheet`; None stands for a line to write on. [text]
    """
    profile, plan = context.profile, context.plan
    picture = None
    if context.boundary is not None:
        picture = field_plan(
            context.boundary, plan.drive, plan.stops, width=720, max_height=540 if profile == "si" else 440, profile=profile
        )
    return {
        "head": heading(context, "Cab sheet"),
        "facts": _facts(context),
        "speed": maybe(plan.speed_m_s, "speed", profile) or "working speed",
        "bins": [_bin(context, b) for b in plan.bins],
        "needs": _needs(context),
        "area_unit": profile_unit("area", profile),
        "stops": [_stop(context, i, s) for i, s in enumerate(plan.stops, start=1)],
        "stops_need": _stops_need(context),
        "proof": plan.proof.get("stops", "").rstrip(".").capitalize() + "." if plan.stops and "stops" in plan.proof else "",
        "limits": _limits(context),
        "plan_heading": f"The field: {plan.field_name}" if plan.field_name else "The field",
        "picture": paper_svg(picture) if picture else None,
        "picture_alt": picture.description if picture else "",
        "picture_need": "give the field's outline as a file, or draw it here.",
        "lines": _lines(context),
        "hazards": hazards_of(context),
        "depth": key(context.job.depth_m, "depth", profile),
        "cautions": _halves([*_first(context), *plan.cautions, "Labels, manuals and local codes come first."]) if plan.cautions else [],
    }


def _first(context: SheetContext) -> list[str]:
    """The gravest of what the value card puts first: limits that are passed and values that no longer hold. [text]"""
    return [restated(text, context.profile) for text in warned(context.plan.card)[:_MOST_WARNINGS]]


def hazards_of(context: SheetContext) -> list[dict[str, str]]:
    """Hazards as they are listed; the kind is left out where the note says it already. [text]"""
    hazards = context.boundary.hazards if context.boundary else ()
    return [{"kind": "" if h.kind.lower() in h.note.lower() else h.kind, "note": h.note or h.kind} for h in hazards]


def _halves(sentences: list[str]) -> list[list[str]]:
    """Two columns of about the same length. [text]"""
    total, half, cut = sum(map(len, sentences)), 0, 0
    while cut < len(sentences) and half < total / 2:
        half += len(sentences[cut])
        cut += 1
    return [sentences[:cut], sentences[cut:]]


def _facts(context: SheetContext) -> list[dict[str, Any]]:
    plan, profile = context.plan, context.profile
    hours: dict[str, str | None] = {"n": None, "u": "h"}
    if plan.hours_low is not None and plan.hours_high is not None:
        hours["n"] = span(plan.hours_low, plan.hours_high, "time", profile).removesuffix(" h")
    pace = ""
    if plan.low_ha_h is not None and plan.high_ha_h is not None:
        pace = f"{span(plan.low_ha_h, plan.high_ha_h, 'capacity', profile)}, stops in"
    fan = next((line.value for line in plan.card if line.key == "fan"), None)
    return [
        {"label": "Area", "value": key(plan.area_ha, "area", profile, count=3), "note": ""},
        {"label": "Width", "value": key(plan.width_m, "width", profile), "note": ""},
        {"label": "Speed", "value": key(plan.speed_m_s, "speed", profile), "note": ""},
        {"label": "Fan", "value": key(fan, "fan", profile), "note": ""},
        {"label": "Time", "value": hours, "note": pace},
    ]


def _bin(context: SheetContext, b: BinPlan) -> dict[str, Any]:
    profile = context.profile
    window = ""
    if b.speed_low_m_s is not None and b.speed_high_m_s is not None:
        window = span(b.speed_low_m_s, b.speed_high_m_s, "speed", profile)
    notes = []
    name = bin_name(context, b.bin)
    if name != b.bin:
        notes.append(name.removeprefix(b.bin).strip() + " bin")
    lot = context.lots.get(b.product)
    if lot is not None and (lot.label or lot.key):
        notes.append(f"lot {lot.label or lot.key}")
    if b.need_kg is not None:
        notes.append(f"{figures(b.need_kg, 'mass', profile)} in all")
    return {
        "letter": b.bin,
        "product": context.product_name(b.product),
        "note": ", ".join(notes),
        "rate": key(b.rate_kg_ha, "rate", profile),
        "factor": key(b.factor_kg_turn.value if b.factor_kg_turn else None, "factor", profile),
        "shaft": key(b.shaft_turns_s, "shaft", profile),
        "lasts": key(b.ha_per_fill.value if b.ha_per_fill else None, "area", profile, count=3),
        "full": f"holds {figures(b.full_kg.value, 'mass', profile)}" if b.full_kg else "",
        "window": window,
    }


def _needs(context: SheetContext) -> list[str]:
    """What the blank places in the table of bins wait for, once each."""
    found: dict[tuple[str, str], list[str]] = {}
    for line in context.plan.card:
        if line.state == "needs" and line.bin and line.key.startswith(("factor", "full")):
            bins = found.setdefault(("; ".join(line.needs), line.how), [])
            if line.bin not in bins:
                bins.append(line.bin)
    return [f"{what}, bin {' and '.join(bins)}. {how}" for (what, how), bins in found.items()]


def _stop(context: SheetContext, number: int, stop: Stop) -> dict[str, Any]:
    profile = context.profile
    by = f"by pass {stop.after_pass}"
    if stop.latest_pass > stop.after_pass:
        by += f", no later than {stop.latest_pass}"
    return {
        "number": str(number),
        "by": by,
        "note": stop.note,
        "at": figures(stop.at_ha, "area", profile),
        "hours": f"after {shown(stop.at_h, 'time', profile)}" if stop.at_h is not None else "",
        "left": [f"{letter}  {figures(kg, 'mass', profile)}" for letter, kg in stop.left_kg.items()],
        "add": [f"{letter}  {figures(kg, 'mass', profile)}" for letter, kg in stop.add_kg.items() if kg > 0] or ["nothing"],
    }


def _stops_need(context: SheetContext) -> str:
    """Why no stop is planned: the plan's own words, or what it would need."""
    plan = context.plan
    if "stops" in plan.proof:
        return plan.proof["stops"]
    if plan.drive is None:
        return "Not planned: needs the field's outline, bin sizes and bulk densities. Write down where you filled:"
    return "One fill is enough for this field. Write down where you filled all the same:"


def _limits(context: SheetContext) -> list[dict[str, Any]]:
    out = []
    for line in context.plan.card:
        if line.group == "alarm" or line.key.startswith(LIMIT_KEYS):
            out.append({"label": _limit_label(line), "value": _limit(line, context)})
    out.append({"label": "Several runs of a head without flow", "value": {"n": "at once", "u": ""}})
    return out if len(out) % 2 == 0 else [*out, {"label": "Shaft not at its expected speed", "value": {"n": "look why", "u": ""}}]


def _limit(line: CardLine, context: SheetContext) -> dict[str, str | None]:
    known = line.state != "needs"
    count = 2 if line.quantity == "mass" else None
    return key(line.value if known else None, line.quantity, context.profile, count=count)


def _limit_label(line: CardLine) -> str:
    return f"{line.bin}  {line.label}" if line.bin else line.label


def _lines(context: SheetContext) -> list[str]:
    drive, profile = context.plan.drive, context.profile
    if drive is None:
        return []
    rounds = drive.headland_rounds
    headland = f", {rounds} headland round{'' if rounds == 1 else 's'}" if rounds else ""
    spacing = shown(drive.width_m, "width", profile)
    line = f"Line at {drive.direction_deg:.0f}° from north, passes {spacing} apart, {drive.passes} in all{headland}."
    return [line, *(restated(note, profile) for note in drive.notes)]
