"""Plans for the simulator's tests, made by hand from the demo farm's outfits. All numbers invented in the usual ranges."""

from __future__ import annotations

from functools import cache

from evenstand.base.estimate import Est
from evenstand.desk.demo_farm import demo_farm
from evenstand.model import BinPlan, Drive, Outfit, Plan
from evenstand.simulate import Day

RATES = {"A": 150.0, "C": 75.0, "D": 121.0}
FACTORS = {"A": 1.18, "C": 1.52, "D": 1.20}
FULL = {"A": 4360.0, "C": 4150.0, "D": 4780.0}


def plan_of(outfit: Outfit, area_ha: float, *, rates: dict[str, float] | None = None, drive: Drive | None = None) -> Plan:
    """A plan with rates in kg/ha by bin, and nothing worked out but what the simulator needs."""
    rates = RATES if rates is None else rates
    bins = tuple(
        BinPlan(
            bin=a, product=f"product-{a}", rate_kg_ha=r, factor_kg_turn=Est(value=FACTORS[a], sd=0.01), full_kg=Est(value=FULL[a], sd=50.0)
        )
        for a, r in rates.items()
    )
    return Plan(
        job="job", crop="wheat", outfit=outfit.key, field_name="field", area_ha=area_ha, width_m=outfit.width_m, speed_m_s=2.1,
        in_work_ha_h=None, efficiency_low=None, efficiency_high=None, low_ha_h=None, high_ha_h=None, hours_in_work=None,
        hours_low=None, hours_high=None, bins=bins, drive=drive,
    )  # fmt: skip


@cache
def logged() -> Outfit:
    """The outfit with logs, sensors and sections."""
    return demo_farm().outfit("A")


@cache
def on_paper() -> Outfit:
    """The outfit with ground drive and no log."""
    return demo_farm().outfit("B")


def read(day: Day) -> dict[str, float]:
    """The day's readings by quantity."""
    return {r.quantity: r.value for r in day.readings}
