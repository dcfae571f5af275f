"""Cautions where the work can hurt someone: general words, no figures; labels, manuals, local codes and licensed practice rule."""

from __future__ import annotations

from collections.abc import Mapping

from evenstand.model import Boundary, Lot, Plan, Product

ALWAYS = (
    "Shut the fan and let pressure fall before you open a lid.",
    "Engine off, key out, moving parts still before hands go near rollers, shafts or conveyors; keep shields on.",
    "Never under a raised tool that is not locked; never search a hydraulic leak with a hand.",
    "Never enter a bin with product in it.",
)
TREATED = "Treated seed: gloves, mask and the label's own rules; keep left-overs out of feed and food, sweep up spills."
AMMONIA = "Anhydrous ammonia: trained handlers only, water at hand, protection the label and the law ask for; never in the seed row."
LINES = "Overhead lines on this field: look up before you fold, unfold or raise a conveyor; keep the distance your utility asks for."


def cautions_for(plan: Plan, products: Mapping[str, Product], lots: Mapping[str, Lot], boundary: Boundary | None) -> tuple[str, ...]:
    """The cautions that meet this job, the general ones last.

    Parameters
    ----------
    plan, products, lots, boundary
        What the job is made of. [-]

    Returns
    -------
    tuple of str
        Sentences. Your labels, manuals, local codes and licensed people come first. [-]
    """
    used = {b.product for b in plan.bins}
    found = []
    if boundary is not None and any(h.kind == "line" for h in boundary.hazards):
        found.append(LINES)
    if any(lots[k].treatment for k in used if k in lots):
        found.append(TREATED)
    if any(products[k].form == "ammonia" for k in used if k in products):
        found.append(AMMONIA)
    return (*found, *ALWAYS)
