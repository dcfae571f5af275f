"""Machines that drills are drawn on: wide and narrow, one bin and four, motors and ground drive, with run sensors and without."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from evenstand.desk.days import demo_plan
from evenstand.desk.demo_farm import DemoFarm
from evenstand.model import Outfit, Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillOutfit:
    """A machine with a job. told: what is said of it beside the readings."""

    kind: str
    outfit: Outfit
    plan: Plan
    told: str


# kind, how often, outfit of the demo farm
_KINDS = (("wide", 4, "A"), ("ground", 3, "B"), ("one-bin", 2, "A"), ("narrow", 2, "B"))
_TOLD = {
    "wide": "Motors turn the meters; run sensors on the seed stream.",
    "ground": "Ground drive: the wheel turns the meters, the display knows the rate that is set and the hectares. No run sensors.",
    "one-bin": "One bin, a motor turns its meter. No run sensors.",
    "narrow": "Motors turn the meters. No run sensors.",
}


def drill_outfit(farm: DemoFarm, seed: int, dice: random.Random) -> DrillOutfit:
    """The machine of a drill: its kind by the seed alone, its job by the dice of the draw.

    Parameters
    ----------
    farm : DemoFarm
        Its outfits and jobs. [-]
    seed : int
        Of the drill. [-]
    dice : random.Random
        Of the draw. [-]
    """
    kind, _, key = random.Random(f"which {seed}").choices(_KINDS, [w for _, w, _ in _KINDS])[0]
    outfit = farm.outfit(key)
    plan = demo_plan(farm, dice.choice([j.key for j in farm.jobs if j.outfit == key]))
    if kind == "one-bin":
        seed_bin = next(b for b in plan.bins if farm.product(b.product).kind == "seed")
        plan = replace(plan, bins=(seed_bin,))
        outfit = replace(_silent(outfit), bins=(outfit.bin(seed_bin.bin),))
    if kind == "narrow":
        outfit = replace(_silent(outfit), drive=farm.outfit("A").drive)
    return DrillOutfit(kind=kind, outfit=outfit, plan=plan, told=_TOLD[kind])


def _silent(outfit: Outfit) -> Outfit:
    """The same without run sensors."""
    return replace(outfit, runs=tuple(replace(r, sensor=None) for r in outfit.runs), sensor_streams=())
