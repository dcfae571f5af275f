"""The workings of a plan's card beyond those the card brings along: the same functions called again, shown only where they agree."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from evenstand.agronomy import seeds_per_metre, seeds_sown
from evenstand.base.estimate import Est
from evenstand.base.worked import Working, working
from evenstand.expect import PlanInputs
from evenstand.expect.bins import density_of
from evenstand.machine import area_per_fill, bin_mass, field_capacity
from evenstand.model import CardLine, Plan
from evenstand.tally.remaining import field_dose, used_mass


def with_workings(plan: Plan, inputs: PlanInputs) -> Plan:
    """The plan with a working on every line of its card that one worked function gives.

    A working is attached only if its result is the line's value, so that what is shown is how the value came about.

    Parameters
    ----------
    plan : Plan
        As computed. [metric]
    inputs : PlanInputs
        What it was computed from. [metric]
    """
    lines = tuple(line if line.working is not None or line.value is None else _with_working(line, plan, inputs) for line in plan.card)
    return replace(plan, card=lines)


def _with_working(line: CardLine, plan: Plan, inputs: PlanInputs) -> CardLine:
    shows = _working_of(line, plan, inputs)
    agrees = shows is not None and line.value is not None and math.isclose(shows.result, line.value, rel_tol=1e-6)
    return replace(line, working=shows) if agrees else line


def _working_of(line: CardLine, plan: Plan, inputs: PlanInputs) -> Working | None:
    kind, _, _ = line.key.partition(":")
    if kind == "with-stops":
        low, high = plan.efficiency_low, plan.efficiency_high
        middle = None if low is None or high is None else (low + high) / 2
        return _shown(field_capacity, speed_m_s=plan.speed_m_s, width_m=plan.width_m, efficiency=middle)
    if kind in ("full", "lasts"):
        return _filling(kind, line, plan, inputs)
    if kind in ("seeds", "seeds-row"):
        return _seeds(kind, plan, inputs)
    return None


def _filling(kind: str, line: CardLine, plan: Plan, inputs: PlanInputs) -> Working | None:
    found = next((b for b in plan.bins if b.bin == line.bin), None)
    own = next((b for b in inputs.outfit.bins if b.letter == line.bin), None) if inputs.outfit else None
    if found is None or own is None:
        return None
    if kind == "lasts":
        return _shown(area_per_fill, mass_kg=_value(found.full_kg), rate_kg_ha=found.rate_kg_ha)
    density = density_of(inputs.products.get(found.product), inputs.lots.get(found.product))
    return _shown(bin_mass, capacity_m3=_value(own.capacity_m3), density_kg_m3=_value(density), fill_share=own.fill_share)


def _seeds(kind: str, plan: Plan, inputs: PlanInputs) -> Working | None:
    for ask in inputs.job.asks:
        lot = inputs.lots.get(ask.product)
        if lot is None or lot.tkw_g is None:
            continue
        sown = _shown(seeds_sown, rate_kg_ha=ask.rate_kg_ha, tkw_g=lot.tkw_g.value)
        if kind == "seeds" or sown is None:
            return sown
        spacing = inputs.outfit.row_spacing_m if inputs.outfit else None
        return _shown(seeds_per_metre, seeds_m2=sown.result, row_spacing_m=spacing)
    return None


def _value(estimate: Est | None) -> float | None:
    return None if estimate is None else estimate.value


def _shown(function: Callable[..., float], **values: float | None) -> Working | None:
    known = {k: v for k, v in values.items() if v is not None}
    return working(function, **known) if len(known) == len(values) else None


def fill_workings(*, area_ha: float, before_kg: float, put_kg: float, left_kg: float) -> tuple[Working, ...]:
    """How the fill check comes to what went out and to the dose.

    Parameters
    ----------
    area_ha : float
        Sown since the fill. [ha]
    before_kg, put_kg, left_kg : float
        In the bin before the fill, put in, in it now. [kg]
    """
    return (
        working(used_mass, before_kg=before_kg, put_kg=put_kg, left_kg=left_kg),
        working(field_dose, before_kg=before_kg, put_kg=put_kg, left_kg=left_kg, area_ha=area_ha),
    )
