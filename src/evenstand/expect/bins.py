"""One bin of the plan: meter speed, window, what it holds, how far it lasts, what a catch should weigh."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import RangeError
from evenstand.base.estimate import Est, propagate
from evenstand.machine import (
    FactorChange,
    FactorSource,
    MeterCase,
    RankedFactor,
    area_per_fill,
    bin_mass,
    factor_from_displacement,
    factor_from_record,
    meter_speed,
    pool_factors,
    rate_window,
    speed_window,
)
from evenstand.model import Bin, BinPlan, Lot, MeterFactor, Product
from evenstand.reference import default
from evenstand.tally import expected_catch, turns_for_catch

HANDY = (1, 2, 5, 10, 20, 25, 50, 100)  # steps in which turns are counted aloud


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorChoice:
    """Product per turn of a bin's meter for one product and lot. kg_turn: as it holds in the field, standing: as a standing catch will
    show it, without the bias of standing [kg/turn], both None where nothing is known; how: in words; stale_now: why it no longer
    holds, "" if it does; missing: what to do next; ranked: every source, best first."""

    kg_turn: Est | None = None
    standing: Est | None = None
    how: str = ""
    stale_now: str = ""
    missing: str = ""
    ranked: tuple[RankedFactor, ...] = ()


def density_of(product: Product | None, lot: Lot | None) -> Est | None:
    """Bulk density: the lot's own where it was measured, else the product's. [kg/m³]"""
    if lot is not None and lot.density_kg_m3 is not None:
        return lot.density_kg_m3
    return product.density_kg_m3 if product is not None else None


def factor_of(bin_: Bin, product: Product | None, lot: Lot | None, factors: Sequence[MeterFactor]) -> FactorChoice:
    """Product per turn of a bin's meter and how it is known: all sources ranked, those of another lot or setting set aside.

    Parameters
    ----------
    bin_ : Bin
        Its letter, setting, and displacement where known. [L/turn]
    product, lot : Product and Lot, or None
        What is in it. A treated lot voids what was caught before the day of treating. [-]
    factors : sequence of MeterFactor
        Of this outfit. [kg/turn]

    Returns
    -------
    FactorChoice
        With no source that holds, the newest stale one, widened and said to be stale. [kg/turn]
    """
    case = MeterCase(
        meter=bin_.letter,
        product=product.key if product else "",
        lot=lot.key if lot else "",
        setting=bin_.meter.setting,
    )
    sources: list[FactorSource] = [
        factor_from_record(f) for f in factors if f.bin == bin_.letter and (product is None or f.product == product.key)
    ]
    density = density_of(product, lot)
    if bin_.meter.litres_turn is not None and density is not None:
        own = MeterCase(meter=case.meter, product=case.product, lot=case.lot, setting=case.setting)
        sources.append(factor_from_displacement(own, bin_.meter.litres_turn, density))
    if not sources:
        return FactorChoice()
    changes: tuple[FactorChange, ...] = ()
    if lot is not None and lot.treatment and lot.treated_at:
        changes = (FactorChange(at=lot.treated_at, what=f"treating of lot {lot.label or lot.key}"),)
    weighed = [s for s in sources if s.how != "displacement"]
    pooled = pool_factors(weighed, case, changes=changes)
    if pooled.kg_turn is None and pooled.carried is None:
        pooled = pool_factors(sources, case)
    used = [r.source for r in pooled.ranked if r.state == "used"]
    if pooled.kg_turn is not None and used:
        ways = ", ".join(dict.fromkeys(s.how for s in used))
        how = ways if len(used) == 1 else f"{ways}: {len(used)} of them pooled"
        day = max((s.at[:10] for s in used), default="")
        return FactorChoice(
            kg_turn=pooled.kg_turn,
            standing=_standing(pooled.kg_turn, used),
            how=f"{how}, {day}" if day else how,
            missing=pooled.missing,
            ranked=pooled.ranked,
        )
    stale = next((r for r in pooled.ranked if r.state == "stale"), None)
    return FactorChoice(
        kg_turn=pooled.carried,
        standing=pooled.carried,
        how=f"{stale.source.how}, carried over" if stale else "carried over",
        stale_now=f"{stale.why[:1].upper()}{stale.why[1:]}. {pooled.missing}" if stale else pooled.missing,
        missing=pooled.missing,
        ranked=pooled.ranked,
    )


def _standing(pooled: Est, used: Sequence[FactorSource]) -> Est:
    """The pooled value with the spread that one more standing catch has to agree with. [kg/turn]"""
    shared = min(s.shared_sd for s in used)
    return Est(value=pooled.value, sd=math.sqrt(max(pooled.sd**2 - shared**2, 0.0)), basis=pooled.basis, source=pooled.source)


def is_small(factor: Est | None) -> bool:
    """Whether a meter gives so little a turn that it carries small seed. [-]"""
    return factor is not None and factor.value < default("fine-roller").value


def catch_share(product: Product | None, lot: Lot | None, factor: Est | None) -> float:
    """How well a catch of this product repeats, one standard deviation: common practice by what it is. [-]"""
    if product is not None and product.kind == "fertilizer":
        return default("catch-fertilizer").value
    if is_small(factor) or (lot is not None and lot.treatment):
        return default("catch-treated-or-small").value
    return default("catch-free-flowing").high


def catch_turns_for(factor_kg_turn: float, *, small: bool = False) -> float:
    """Whole turns, a handy number, that give a catch worth weighing: common practice for that mass. [turns]"""
    raw = turns_for_catch(default("catch-mass-small-seed" if small else "catch-mass").value, factor_kg_turn)
    for step in HANDY:
        if raw <= step * 10:
            return max(1.0, float(math.ceil(raw / step) * step))
    return float(math.ceil(raw / HANDY[-1]) * HANDY[-1])


def plan_bin(
    bin_: Bin,
    product_key: str,
    rate_kg_ha: float,
    *,
    product: Product | None,
    lot: Lot | None,
    factors: Sequence[MeterFactor],
    speed_m_s: float | None,
    width_m: float | Est | None,
    need_kg: float | None,
    turns: float | None = None,
    share: float = 1.0,
    in_turn: bool = False,
    second_rate_kg_ha: float | None = None,
) -> BinPlan:
    """Everything that follows for one bin; what does not follow stays None.

    Parameters
    ----------
    rate_kg_ha : float
        What this bin shall put down, its share if two bins share a product. [kg/ha]
    speed_m_s, width_m : float or None
        Working speed [m/s] and width, with its spread where it is known [m].
    need_kg : float or None
        What the whole job takes from this bin. [kg]
    turns : float or None
        Turns of the catch; a handy number where not given. [turns]
    share : float
        Its part of the product over the job. [-]
    in_turn : bool
        It carries the product's whole rate while it is on. [-]
    second_rate_kg_ha : float or None
        What it puts down at the rate the cab can switch to. [kg/ha]

    Raises
    ------
    RangeError
        For a rate, speed or width that is not above zero.
    """
    if rate_kg_ha <= 0:
        raise RangeError(f"{rate_kg_ha:g} kg/ha", where=f"rate of {product_key}", limit="0 < rate", cure="Correct the rate.")
    chosen = factor_of(bin_, product, lot, factors)
    factor = chosen.kg_turn
    feeding: float | Est | None = bin_.meter.feeding_m or width_m
    fed = feeding.value if isinstance(feeding, Est) else feeding
    shaft = None
    if factor is not None and speed_m_s is not None and feeding is not None:
        shaft = propagate(meter_speed, rate_kg_ha=rate_kg_ha, speed_m_s=speed_m_s, width_m=feeding, factor_kg_rev=factor)
    low = high = least_rate = most_rate = None
    least, most = bin_.meter.steady_low_turns_s, bin_.meter.steady_high_turns_s
    if factor is not None and fed is not None and least is not None and most is not None:
        low, high = speed_window(rate_kg_ha, fed, factor.value, least, most)
        if speed_m_s is not None:
            least_rate, most_rate = rate_window(speed_m_s, fed, factor.value, least, most)
    density = density_of(product, lot)
    full = ha = None
    if bin_.capacity_m3 is not None and density is not None:
        full = propagate(bin_mass, capacity_m3=bin_.capacity_m3, density_kg_m3=density, fill_share=_fill_share(bin_))
        ha = propagate(area_per_fill, mass_kg=full, rate_kg_ha=rate_kg_ha)
    catch = None
    if factor is not None and chosen.standing is not None:
        turns = turns or catch_turns_for(factor.value, small=is_small(factor))
        catch = expected_catch(chosen.standing, turns, prior_cv=catch_share(product, lot, factor))
    return BinPlan(
        bin=bin_.letter,
        product=product_key,
        rate_kg_ha=rate_kg_ha,
        factor_kg_turn=factor,
        standing_kg_turn=chosen.standing,
        shaft_turns_s=shaft.value if shaft else None,
        shaft=shaft,
        speed_low_m_s=low,
        speed_high_m_s=high,
        rate_low_kg_ha=least_rate,
        rate_high_kg_ha=most_rate,
        second_rate_kg_ha=second_rate_kg_ha,
        full_kg=full,
        ha_per_fill=ha,
        need_kg=need_kg,
        catch_turns=turns if factor is not None else None,
        catch_kg=catch.product_kg if catch else None,
        catch_low_kg=catch.low_kg if catch else None,
        catch_high_kg=catch.high_kg if catch else None,
        stream=bin_.stream,
        share=share,
        in_turn=in_turn,
        how=chosen.how,
        stale_now=chosen.stale_now or chosen.missing,
        sources=tuple(_told(r) for r in chosen.ranked),
    )


def _told(ranked: RankedFactor) -> str:
    """One source of the product per turn in a sentence: what, when, how much, and whether it holds. [text]"""
    source = ranked.source
    day = f" of {source.at[:10]}" if source.at else ""
    lot = f", lot {source.case.lot}" if source.case.lot else ""
    weight = f", {ranked.weight:.0%} of the value" if ranked.state == "used" and ranked.weight < 1 else ""
    return f"{ranked.state.capitalize()}{weight}: {source.how}{day}{lot}, {source.kg_turn.value:.3f} kg/turn; {ranked.why}."


def _fill_share(bin_: Bin) -> Est:
    """The bin's own share, with the spread that fills usually have. [-]"""
    usual = default("fill-share")
    return Est(value=bin_.fill_share, sd=(usual.high - usual.low) / math.sqrt(12), basis="common-practice", source=usual.source)
