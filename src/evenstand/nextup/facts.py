"""A snapshot of one job that the rules read; nothing in it changes while they run."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from evenstand.base.units import Profile, shown
from evenstand.model import BinPlan, Cost, Fill, Finding, Job, Lot, MeterFactor, Outfit, Plan, Product


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """One job as it stands.

    done_ha: sown so far [ha]; done_pass: last pass finished, None if not known; today: local date; left_ha_other: hectares of other
    jobs still waiting for the same outfit [ha]; day_ha: hectares on a workable day, None if not known [ha]; profile: units for the texts.
    """

    job: Job
    plan: Plan
    outfit: Outfit | None = None
    products: dict[str, Product] = field(default_factory=dict)
    lots: dict[str, Lot] = field(default_factory=dict)
    factors: tuple[MeterFactor, ...] = ()
    fills: tuple[Fill, ...] = ()
    findings: tuple[Finding, ...] = ()
    done_ha: float | None = None
    done_pass: int | None = None
    today: date | None = None
    left_ha_other: float = 0.0
    day_ha: float | None = None
    profile: Profile = "si"

    @property
    def where(self) -> str:
        """How a person calls the job."""
        return ", ".join(t for t in (self.job.crop.capitalize(), self.plan.field_name) if t)

    @property
    def finished(self) -> bool:
        """Whether nothing is left to sow."""
        return self.left_ha is not None and self.left_ha <= 0

    @property
    def left_ha(self) -> float | None:
        """What is left of this job. [ha]"""
        return None if self.plan.area_ha is None else max(0.0, self.plan.area_ha - (self.done_ha or 0.0))

    def product_name(self, key: str) -> str:
        """The product as the owner calls it."""
        return self.products[key].name if key in self.products else key

    def price_kg(self, key: str) -> float | None:
        """Money per kilogram, None where no price is known. [1/kg]"""
        return self.products[key].price_kg if key in self.products else None

    def text(self, value: float | None, quantity: str) -> str:
        """A number in the reader's units."""
        return shown(value, quantity, self.profile)

    def until_next_chance_ha(self, b: BinPlan) -> float | None:
        """Hectares until a bin is open again anyway: one fill, or what is left of the job if that is less. [ha]"""
        fill = b.ha_per_fill.value if b.ha_per_fill else None
        choices = [v for v in (fill, self.left_ha) if v is not None]
        return min(choices) if choices else None


def cost(facts: Facts, share: float | None, bins: Iterable[BinPlan]) -> Cost:
    """What waiting until the next chance costs: |dose error| x rate x hectares, summed over bins, and its price.

    Parameters
    ----------
    share : float or None
        Dose error as a share; None where it is not known. [-]
    bins : iterable of BinPlan
        The bins it touches. [kg/ha]

    Returns
    -------
    Cost
        money only where every bin's product has a price; kg and ha otherwise; all None where nothing can be said. [kg, ha, money]
    """
    kg, money, most_ha, priced = 0.0, 0.0, 0.0, True
    touched = list(bins)
    for b in touched:
        ha = facts.until_next_chance_ha(b)
        if ha is None:
            return Cost(text="Hectares until the next chance are not known.")
        most_ha = max(most_ha, ha)
        if share is None:
            continue
        mass = abs(share) * b.rate_kg_ha * ha
        kg += mass
        price = facts.price_kg(b.product)
        priced = priced and price is not None
        money += mass * (price or 0.0)
    if not touched:
        return Cost()
    if facts.finished:
        return Cost(kg=0.0, ha=0.0, money=0.0 if priced else None, text="The job is finished: nothing more is at stake on it.")
    if share is None:
        return Cost(ha=most_ha, text=f"{facts.text(most_ha, 'area')} sown with a dose nobody has checked.")
    text = f"{facts.text(kg, 'mass')} misplaced over {facts.text(most_ha, 'area')}"
    text += f", worth {money:,.0f} at your prices." if priced else "; no price is known."
    return Cost(kg=kg, ha=most_ha, money=money if priced else None, text=text)
