"""One bin of the plan: meter speed, window, what it holds, how far it lasts, what a catch should weigh."""

from __future__ import annotations

import math

from evenstand.base.errors import RangeError
from evenstand.base.estimate import Est, propagate
from evenstand.machine import area_per_fill, bin_mass, displacement_factor, meter_speed, speed_window
from evenstand.model import Bin, BinPlan, Lot, MeterFactor, Product
from evenstand.reference import default

SMALL_SEED_KG_TURN = 0.3  # below this a meter carries a fine roller: a catch of small seed


def density_of(product: Product | None, lot: Lot | None) -> Est | None:
    """Bulk density: the lot's own where it was measured, else the product's. [kg/m³]"""
    if lot is not None and lot.density_kg_m3 is not None:
        return lot.density_kg_m3
    return product.density_kg_m3 if product is not None else None


def factor_of(bin_: Bin, product: Product | None, lot: Lot | None, factors: tuple[MeterFactor, ...]) -> tuple[Est | None, str]:
    """Product per turn of a bin's meter and how it is known. [kg/turn]

    The newest factor for this bin and product wins, one for the same lot before any other; without one, displacement times
    density, marked as an estimate to be replaced by a catch.
    """
    mine = [f for f in factors if f.bin == bin_.letter and (product is None or f.product == product.key)]
    same_lot = [f for f in mine if lot is not None and f.lot == lot.key]
    if same_lot or mine:
        chosen = max(same_lot or mine, key=lambda f: f.at)
        note = "" if same_lot or lot is None or not chosen.lot else f", caught with another lot ({chosen.lot})"
        return chosen.kg_turn, f"{chosen.how}{note}"
    density = density_of(product, lot)
    if bin_.meter.litres_turn is not None and density is not None:
        est = propagate(displacement_factor, litres_turn=bin_.meter.litres_turn, density_kg_m3=density, fill=_usual("meter-fill"))
        return est, "displacement x density, an estimate: catch before use"
    return None, ""


def _usual(name: str) -> Est:
    """A range of common practice as an estimate: all of it equally likely, so sd = (high - low) / sqrt(12)."""
    usual = default(name)
    return Est(value=usual.value, sd=(usual.high - usual.low) / math.sqrt(12), basis="common-practice", source=usual.source)


def catch_turns_for(factor_kg_turn: float, *, small: bool = False) -> float:
    """Whole turns that give a catch worth weighing: about 5 kg, about 2 kg of small seed. [turns]"""
    aim = default("catch-mass-small-seed" if small else "catch-mass").value
    raw = aim / factor_kg_turn
    for step in (1, 2, 5, 10, 20, 25, 50, 100):
        if raw <= step * 10:
            return max(1.0, float(math.ceil(raw / step) * step))
    return float(math.ceil(raw / 100) * 100)


def plan_bin(
    bin_: Bin,
    product_key: str,
    rate_kg_ha: float,
    *,
    product: Product | None,
    lot: Lot | None,
    factors: tuple[MeterFactor, ...],
    speed_m_s: float | None,
    width_m: float | None,
    need_kg: float | None,
    turns: float | None = None,
) -> BinPlan:
    """Everything that follows for one bin; what does not follow stays None.

    Parameters
    ----------
    rate_kg_ha : float
        What this bin shall put down, its share if two bins share a product. [kg/ha]
    speed_m_s, width_m : float or None
        Working speed [m/s] and width [m].
    need_kg : float or None
        What the whole job takes from this bin. [kg]
    turns : float or None
        Turns of the catch; a handy number where not given. [turns]

    Raises
    ------
    RangeError
        For a rate, speed or width that is not above zero.
    """
    if rate_kg_ha <= 0:
        raise RangeError(f"{rate_kg_ha:g} kg/ha", where=f"rate of {product_key}", limit="0 < rate", cure="Correct the rate.")
    factor, _ = factor_of(bin_, product, lot, factors)
    feeding = bin_.meter.feeding_m or width_m
    shaft = low = high = None
    if factor is not None and speed_m_s is not None and feeding is not None:
        shaft = meter_speed(rate_kg_ha, speed_m_s, feeding, factor.value)
    least, most = bin_.meter.steady_low_turns_s, bin_.meter.steady_high_turns_s
    if factor is not None and feeding is not None and least is not None and most is not None:
        low, high = speed_window(rate_kg_ha, feeding, factor.value, least, most)
    density = density_of(product, lot)
    full = ha = None
    if bin_.capacity_m3 is not None and density is not None:
        share = Est(value=bin_.fill_share, sd=0.02, basis="common-practice", source="common-practice")
        full = propagate(bin_mass, capacity_m3=bin_.capacity_m3, density_kg_m3=density, fill_share=share)
        ha = propagate(area_per_fill, mass_kg=full, rate_kg_ha=rate_kg_ha)
    catch = catch_low = catch_high = None
    if factor is not None:
        turns = turns or catch_turns_for(factor.value, small=factor.value < SMALL_SEED_KG_TURN)
        catch = factor.value * turns
        spread = 1.96 * math.hypot(default("catch-free-flowing").high, factor.relative_sd)
        catch_low, catch_high = catch * (1 - spread), catch * (1 + spread)
    return BinPlan(
        bin=bin_.letter,
        product=product_key,
        rate_kg_ha=rate_kg_ha,
        factor_kg_turn=factor,
        shaft_turns_s=shaft,
        speed_low_m_s=low,
        speed_high_m_s=high,
        full_kg=full,
        ha_per_fill=ha,
        need_kg=need_kg,
        catch_turns=turns if factor is not None else None,
        catch_kg=catch,
        catch_low_kg=catch_low,
        catch_high_kg=catch_high,
        stream=bin_.stream,
    )
