"""Job + outfit + lots -> plan. Orchestrates only."""

from __future__ import annotations

import dataclasses
import hashlib
from dataclasses import dataclass, field

from evenstand.base.errors import RangeError, require_range
from evenstand.expect.bins import density_of, plan_bin
from evenstand.expect.card import value_card
from evenstand.expect.cautions import cautions_for
from evenstand.expect.driving import drive_for, longest_round_ha, stops_for
from evenstand.expect.lines import CardFacts
from evenstand.expect.placing import place
from evenstand.expect.rowsafety import placement_verdict, row_limits
from evenstand.expect.widths import true_width
from evenstand.machine import field_capacity
from evenstand.model import Ask, Bin, BinPlan, Boundary, Job, Lot, Meter, MeterFactor, Outfit, Plan, Product
from evenstand.reference import default


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanInputs:
    """All a plan is made from. lots: by product key, the lot that will be sown; turns: of the catch, None for a handy number; now: the
    moment it is made for, as ISO text, for clocks and dates; it is no part of the hash."""

    job: Job
    outfit: Outfit | None = None
    products: dict[str, Product] = field(default_factory=dict)
    lots: dict[str, Lot] = field(default_factory=dict)
    factors: tuple[MeterFactor, ...] = ()
    boundary: Boundary | None = None
    turns: float | None = None
    drive: bool = True
    now: str = field(default="", repr=False)

    def hash(self) -> str:
        """A hash of every input, so that a stored result can be recognised as still valid. [-]"""
        return hashlib.sha256(repr(self).encode()).hexdigest()[:16]


def plan_for(inputs: PlanInputs) -> Plan:
    """What is to be expected for a job, as far as the inputs carry.

    Parameters
    ----------
    inputs : PlanInputs
        As much or as little as is known. [metric]

    Returns
    -------
    Plan
        Unknown values are None, and the card says what each still needs. [metric]

    Raises
    ------
    RangeError
        For a number that cannot be (zero width, negative rate).
    InfeasibleError
        If products do not fit the bins and streams.
    """
    job, outfit, boundary = inputs.job, inputs.outfit, inputs.boundary
    _check(job, outfit)
    area = job.area_ha if job.area_ha is not None else (boundary.area_ha if boundary else None)
    width = outfit.width_m if outfit else None
    speed = job.speed_m_s or (outfit.speed_m_s if outfit else None)
    plan = _time_part(job, outfit, boundary, area, width, speed)
    bins, placed = _bin_part(inputs, area, width, speed)
    verdict = placement_verdict(job, outfit, bins, inputs.products)
    plan = dataclasses.replace(
        plan,
        bins=bins,
        total_kg={a.product: a.rate_kg_ha * area for a in job.asks} if area is not None else {},
        row_limits=row_limits(verdict, job, outfit, inputs.products),
        input_hash=inputs.hash(),
        proof=placed,
    )
    round_ha = None
    if boundary is not None and width is not None and inputs.drive:
        drive = drive_for(job, outfit, boundary, width, speed)
        stops, proof = stops_for(plan, drive, outfit, width)
        round_ha = longest_round_ha(drive, width)
        plan = dataclasses.replace(plan, drive=drive, stops=stops, proof={**placed, **proof})
    facts = CardFacts(
        job=job,
        outfit=outfit,
        plan=plan,
        products=inputs.products,
        lots=inputs.lots,
        factors=inputs.factors,
        drive=plan.drive,
        longest_round_ha=round_ha,
        now=inputs.now,
    )
    return dataclasses.replace(plan, card=value_card(facts, verdict), cautions=cautions_for(plan, inputs.products, inputs.lots, boundary))


def _check(job: Job, outfit: Outfit | None) -> None:
    """Refuse what cannot be, before anything is computed."""
    if job.area_ha is not None:
        require_range("area", job.area_ha, 0, 1e5, low_open=True, unit="ha")
    for ask in job.asks:
        require_range(f"rate of {ask.product}", ask.rate_kg_ha, 0, 5000, low_open=True, unit="kg/ha")
    if outfit and outfit.width_m is not None:
        require_range("width", outfit.width_m, 0, 60, low_open=True, unit="m")
    speed = job.speed_m_s or (outfit.speed_m_s if outfit else None)
    if speed is not None:
        require_range("speed", speed, 0, 10, low_open=True, unit="m/s")
    if job.survival is not None and not 0 < job.survival <= 1:
        raise RangeError(f"{job.survival:g} is no share", where="survival", limit="0 < survival <= 1", cure="Type 85 % as 0.85 or 85 %.")


def _time_part(
    job: Job, outfit: Outfit | None, boundary: Boundary | None, area: float | None, width: float | None, speed: float | None
) -> Plan:
    """Capacity and hours. [ha/h, h]"""
    low, high = default("field-efficiency").low, default("field-efficiency").high
    in_work = field_capacity(speed, width, 1.0) if speed is not None and width is not None else None
    low_ha = in_work * low if in_work else None
    high_ha = in_work * high if in_work else None

    def hours(rate: float | None) -> float | None:
        return area / rate if area is not None and rate else None

    return Plan(
        job=job.key,
        crop=job.crop,
        outfit=outfit.key if outfit else "",
        field_name=boundary.name if boundary else "",
        area_ha=area,
        width_m=width,
        speed_m_s=speed,
        in_work_ha_h=in_work,
        efficiency_low=low,
        efficiency_high=high,
        low_ha_h=low_ha,
        high_ha_h=high_ha,
        hours_in_work=hours(in_work),
        hours_low=hours(high_ha),
        hours_high=hours(low_ha),
    )


def _bin_part(
    inputs: PlanInputs, area: float | None, width: float | None, speed: float | None
) -> tuple[tuple[BinPlan, ...], dict[str, str]]:
    """One BinPlan a bin in use; several bins on one product share its rate by what they hold, so that they run low together.
    With what the sharing out of the bins rests on, where there was a choice."""
    job, outfit = inputs.job, inputs.outfit
    if not job.asks:
        return (), {}
    bins = outfit.bins if outfit and outfit.bins else _stand_in_bins(job.asks, inputs.factors)
    fitted = dataclasses.replace(outfit, bins=bins) if outfit else Outfit(key="", name="the outfit", bins=bins)
    density = {
        a.product: d.value if (d := density_of(inputs.products.get(a.product), inputs.lots.get(a.product))) else None for a in job.asks
    }
    placing = place(job.asks, inputs.products, fitted, density)
    out = []
    for ask in job.asks:
        mine = [b for b in bins if placing.bins.get(b.letter) == ask.product]
        in_turn = ask.in_turn and len(mine) > 1
        for b, share in zip(mine, _shares(mine), strict=True):
            need = ask.rate_kg_ha * area * share if area is not None else None
            part = 1.0 if in_turn else share
            out.append(
                plan_bin(
                    b,
                    ask.product,
                    ask.rate_kg_ha * part,
                    product=inputs.products.get(ask.product),
                    lot=inputs.lots.get(ask.product),
                    factors=inputs.factors,
                    speed_m_s=speed,
                    width_m=true_width(outfit) or width,
                    need_kg=need,
                    turns=inputs.turns,
                    share=share,
                    in_turn=in_turn,
                    second_rate_kg_ha=None if ask.second_rate_kg_ha is None else ask.second_rate_kg_ha * part,
                )
            )
    chosen = any(not a.bins for a in job.asks) and len(job.asks) > 1
    return tuple(sorted(out, key=lambda b: b.bin)), {"bins": placing.why} if chosen else {}


def _shares(bins: list[Bin]) -> list[float]:
    """Each bin's share of a product's rate: by usable volume where all are known, else even. [-]"""
    sizes = [b.capacity_m3.value * b.fill_share if b.capacity_m3 else None for b in bins]
    known = [s for s in sizes if s is not None]
    if len(known) == len(bins) and sum(known) > 0:
        return [s / sum(known) for s in known]
    return [1 / len(bins)] * len(bins)


def _stand_in_bins(asks: tuple[Ask, ...], factors: tuple[MeterFactor, ...]) -> tuple[Bin, ...]:
    """Bins where an outfit's are not known: those the asks name, else A, B, ... one a product; nothing known of their size."""
    named = sorted({letter for a in asks for letter in a.bins})
    spare = [letter for letter in "ABCDEFGH" if letter not in named]
    loose = sum(1 for a in asks if not a.bins)
    return tuple(Bin(letter=letter, meter=Meter()) for letter in sorted([*named, *spare[:loose]]))
