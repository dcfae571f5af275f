"""Values as they stand on a sheet: number and unit, a range, or what is still needed. Never a nought for an unknown."""

from __future__ import annotations

import math
from typing import Any

from evenstand.base.units import Profile, from_metric, profile_unit, rounded, shown, shown_value, unit_of
from evenstand.desk.sheets import SheetContext
from evenstand.model import CardLine

SPANS = frozenset({"window", "rates", "shared-rates", "with-stops", "hours", "depth", "soil"})
"""Kinds of lines whose answer is a range: speeds, rates, hours, published depths."""


def figures(value: float, quantity: str, profile: Profile, *, count: int = 3) -> str:
    """Number and unit with no more figures than the amount is good for: 4,360 kg, 29.1 ha. [text]"""
    return f"{_figures(value, quantity, profile, count)} {profile_unit(quantity, profile)}"


def _figures(value: float, quantity: str, profile: Profile, count: int) -> str:
    number = from_metric(value, quantity, profile_unit(quantity, profile))
    size = 0 if number == 0 else math.floor(math.log10(abs(number)))
    places = count - 1 - size
    return rounded(round(number, places), max(0, places))


def key(value: float | None, quantity: str, profile: Profile, *, count: int | None = None) -> dict[str, str | None]:
    """A key number and its unit apart; number None for a line to write on. count: significant figures, else as usual. [text]"""
    unit = profile_unit(quantity, profile)
    if value is None:
        return {"n": None, "u": unit}
    return {"n": _figures(value, quantity, profile, count) if count else shown_value(value, quantity, profile), "u": unit}


def maybe(value: float | None, quantity: str, profile: Profile) -> str | None:
    """Number and unit, or None for a line to write on. [text]"""
    return None if value is None else shown(value, quantity, profile)


def span(low: float, high: float, quantity: str, profile: Profile) -> str:
    """'6.5 to 8.5 km/h'. [text]"""
    return f"{shown_value(low, quantity, profile)} to {shown(high, quantity, profile)}"


def is_span(line: CardLine) -> bool:
    """Whether a line's answer is a window or a span, so that its middle says nothing. [-]"""
    return line.key.partition(":")[0] in SPANS


def card_value(line: CardLine, profile: Profile) -> tuple[dict[str, str | None], str]:
    """A line's key number with its unit, and its band in words; a window or a span of time is its own number. [text]"""
    if line.text and line.state != "needs":
        return {"n": line.text, "u": ""}, ""
    missing = line.state == "needs" or (line.value is None and line.low is None)
    value = key(None if missing else line.value, line.quantity, profile)
    if missing or line.low is None or line.high is None or not line.low < line.high:
        return value, ""
    text = span(line.low, line.high, line.quantity, profile)
    if line.value is not None and not is_span(line):
        return value, text
    return {"n": text.removesuffix(value["u"] or "").strip(), "u": value["u"]}, ""


def spread(line: CardLine, profile: Profile) -> str:
    """The standard deviation of a line with its unit, to two figures. [text]"""
    unit = unit_of(line.quantity, profile_unit(line.quantity, profile))
    value = (line.sd or 0.0) / unit.factor
    places = 0 if value == 0 else max(0, 1 - math.floor(math.log10(abs(value))))
    return f"{rounded(value, min(places, 6))} {unit.symbol}".strip()


def needs_text(line: CardLine, told: set[str] | None = None) -> str:
    """'product per turn. Catch test: ...', to stand behind the word Needs; how to get it only the first time it is told. [text]"""
    what = "; ".join(line.needs) or "a value"
    if told is not None:
        if line.how in told:
            return f"{what}: as above."
        told.add(line.how)
    return f"{what}. {line.how}".strip()


def heading(context: SheetContext, title: str) -> dict[str, Any]:
    """What stands at the head and foot of every sheet. [text]"""
    plan, job = context.plan, context.job
    place = plan.field_name or (job.field_key if job.field_key else "")
    crop = f"{job.crop}{f' {job.variety}' if job.variety else ''}"
    about = [part for part in (place, crop, str(job.season) if job.season else "") if part]
    outfit = context.outfit.name if context.outfit else plan.outfit
    made = context.made_at[:16].replace("T", " ") + " UTC" if context.made_at else ""
    foot = [part for part in (context.farm, f"made {made}" if made else "", f"by {context.who}" if context.who else "") if part]
    return {
        "title": title,
        "about": " · ".join(about) or "a job as typed",
        "outfit": outfit,
        "foot": " · ".join(foot),
        "mark": f"plan {plan.input_hash[:8]}" if plan.input_hash else "",
        "lang": "en",
    }


def bin_name(context: SheetContext, letter: str) -> str:
    """'D rear': the letter and the owner's own label. [text]"""
    if context.outfit is not None:
        for b in context.outfit.bins:
            if b.letter == letter:
                own = b.label or b.position
                return f"{letter} {own}".strip()
    return letter
