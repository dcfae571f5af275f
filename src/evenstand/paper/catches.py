"""The catch card: what to catch, what it should weigh with the bag, and what the result means."""

from __future__ import annotations

from typing import Any

from evenstand.base.units import Profile, profile_unit
from evenstand.desk.sheets import SheetContext
from evenstand.model import BinPlan
from evenstand.paper.wording import bin_name, figures, heading, key

CAUTIONS = (
    "Fan off, drive stopped and locked before hands go near the rollers; turn only on the other person's word.",
    "Treated seed: gloves and mask as its label says; keep what was caught out of feed.",
)


def catch_data(context: SheetContext) -> dict[str, Any]:
    """The texts of the catch card.

    Parameters
    ----------
    context : SheetContext
        Plan with factors where they are known. [kg/turn]

    Returns
    -------
    dict
        For the template `catch_card`. [text]
    """
    profile = context.profile
    return {
        "head": heading(context, "Catch card"),
        "lead": "Roll the meter full first. Weigh the empty bag. A longer catch tells more than a second one.",
        "unit": profile_unit("catch", profile),
        "stale": "; ".join(context.stale.get("", ())),
        "factor_unit": profile_unit("factor", profile),
        "bins": [_bin(context, b) for b in context.plan.bins],
        "shown": "Turns not shown? Catch over a mass the display shows: new factor = old factor × weighed ÷ shown.",
        "cautions": list(CAUTIONS),
    }


def _bin(context: SheetContext, b: BinPlan) -> dict[str, Any]:
    profile = context.profile
    lot = context.lots.get(b.product)
    meter = next((x.meter for x in context.outfit.bins if x.letter == b.bin), None) if context.outfit else None
    roller = ", ".join(dict.fromkeys(part for part in (meter.roller, meter.setting) if part)) if meter else ""
    good = longer = ""
    if b.catch_kg is not None and b.catch_low_kg is not None and b.catch_high_kg is not None:
        low, high = b.catch_low_kg, b.catch_high_kg
        good, longer = _band(low, high, profile), _band(2 * low - b.catch_kg, 2 * high - b.catch_kg, profile)
    how = next(
        (line.how for line in context.plan.card if line.bin == b.bin and line.key.startswith("factor") and line.state == "needs"), ""
    )
    return {
        "name": bin_name(context, b.bin),
        "product": context.product_name(b.product),
        "lot": {"n": (lot.label or lot.key) if lot else None, "u": ""},
        "roller": {"n": roller or None, "u": ""},
        "stale": "; ".join(context.stale.get(b.bin, ())),
        "segments": {"n": f"all {meter.segments}" if meter and meter.segments else None, "u": ""},
        "turns": {"n": f"{b.catch_turns:.0f}" if b.catch_turns else None, "u": ""},
        "expected": key(b.catch_kg, "catch", profile, count=4),
        "good": good,
        "longer": longer,
        "how": how or "this catch makes it.",
    }


def _band(low: float, high: float, profile: Profile) -> str:
    unit = profile_unit("catch", profile)
    return f"{figures(low, 'catch', profile, count=4).removesuffix(unit).strip()} to {figures(high, 'catch', profile, count=4)}"
