"""A snapshot of one job that the rules read; nothing in it changes while they run."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from evenstand.base.estimate import Est
from evenstand.base.units import Profile, shown
from evenstand.model import BinPlan, Cost, Fill, Finding, Job, Load, Lot, MeterFactor, Outfit, Plan, Product, Stated
from evenstand.nextup.unproven import OpenItem


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """One job as it stands.

    done_ha: sown so far [ha], done_at: when that was read, ISO; done_pass: last pass finished, None if not known; today: local date,
    now: the moment, UTC; left_ha_other: hectares of other jobs the same outfit must finish by the same day [ha]; day_ha: hectares on a
    workable day, None if not known [ha]; left_kg: what is left in each bin, where that can be told [kg]; held: what each bin held before
    this job, by product key; stock_kg: what came of each product and is in no bin yet, where that can be told [kg]; trucks: loads on a
    truck for this job; proofs: what is open on the outfit, None where nobody looked; profile: units for the texts.
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
    done_at: str = ""
    done_pass: int | None = None
    today: date | None = None
    now: datetime | None = None
    left_ha_other: float = 0.0
    day_ha: float | None = None
    left_kg: Mapping[str, Est] = field(default_factory=dict)
    held: Mapping[str, str] = field(default_factory=dict)
    stock_kg: Mapping[str, float] = field(default_factory=dict)
    trucks: tuple[Load, ...] = ()
    proofs: tuple[OpenItem, ...] | None = None
    profile: Profile = "si"

    @property
    def where(self) -> str:
        """How a person calls the job."""
        return ", ".join(t for t in (self.job.crop.capitalize(), self.plan.field_name) if t)

    @property
    def begun(self) -> bool:
        """Whether any of it is sown."""
        return bool(self.done_ha)

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

    def one_pass_ha(self) -> float | None:
        """A usual pass, by the planned stops: what is sown until somebody sees that a bin is empty. [ha]"""
        stop = next((s for s in self.plan.stops if s.after_pass > 0 and s.at_ha > 0), None)
        return None if stop is None else stop.at_ha / stop.after_pass

    def clock_at_ha(self, at_ha: float) -> tuple[datetime, datetime] | None:
        """Between which moments so many hectares will be sown, from the last reading of the hectares on; None where no pace or no time of a
        reading is known. [UTC]"""
        slow, fast = self.plan.low_ha_h, self.plan.high_ha_h or self.plan.low_ha_h
        if not self.done_at or not slow or not fast:
            return None
        begun, ahead = datetime.fromisoformat(self.done_at), max(0.0, at_ha - (self.done_ha or 0.0))
        return begun + timedelta(hours=ahead / fast), begun + timedelta(hours=ahead / slow)


class Saying:
    """Puts numbers into sentences in the reader's units and remembers which."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self._stated: list[Stated] = []

    def __call__(self, value: float, quantity: str) -> str:
        """The number with its unit."""
        self._stated.append(Stated(quantity=quantity, value=value))
        return shown(value, quantity, self._profile)

    def count(self, value: int) -> str:
        """A whole number."""
        self._stated.append(Stated(quantity="count", value=float(value)))
        return str(value)

    def money(self, value: float) -> str:
        """An amount at the owner's prices."""
        self._stated.append(Stated(quantity="money", value=value))
        return f"{value:,.0f}"

    def clock(self, at: datetime) -> str:
        """A time of day."""
        self._stated.append(Stated(quantity="clock", value=float(at.hour * 60 + at.minute)))
        return f"{at:%H:%M}"

    def day(self, at: date) -> str:
        """A day."""
        self._stated.append(Stated(quantity="day", value=float(at.toordinal())))
        return f"{at:%Y-%m-%d}"

    @property
    def stated(self) -> tuple[Stated, ...]:
        """The numbers said so far."""
        return tuple(dict.fromkeys(self._stated))


def cost(
    facts: Facts,
    share: float | None,
    bins: Iterable[BinPlan],
    *,
    usual: bool = False,
    say: Saying | None = None,
    over_ha: float | None = None,
    lost: str = "misplaced",
) -> Cost:
    """What waiting until the next chance costs: |dose error| x rate x hectares, summed over bins, and its price.

    Parameters
    ----------
    share : float or None
        Dose error as a share; None where it is not known. [-]
    bins : iterable of BinPlan
        The bins it touches. [kg/ha]
    usual : bool
        The share is how far off it usually is while nobody has measured it, and the sentence says so. [-]
    say : Saying or None
        Remembers what was said. [-]
    over_ha : float or None
        Hectares until the next chance, where it is not the next fill. [ha]
    lost : str
        What becomes of the product, in words. [-]

    Returns
    -------
    Cost
        money only where every bin's product has a price; kg and ha otherwise; all None where nothing can be said. [kg, ha, money]
    """
    kg, money, most_ha, priced = 0.0, 0.0, 0.0, True
    say = say or Saying(facts.profile)
    touched = list(bins)
    for b in touched:
        ha = over_ha if over_ha is not None else facts.until_next_chance_ha(b)
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
        return Cost(ha=most_ha, text=f"{say(most_ha, 'area')} sown before anybody has looked.")
    lead = f"If off by the usual {say(abs(share), 'share')}: " if usual else ""
    text = f"{lead}{say(kg, 'mass')} {lost} over {say(most_ha, 'area')}"
    text += worth_text(say, money if priced else None)
    return Cost(kg=kg, ha=most_ha, money=money if priced else None, text=text)


def worth_text(say: Saying, worth: float | None) -> str:
    """', worth 154 at your prices.', or that no price is known. [text]"""
    return f", worth {say.money(worth)} at your prices." if worth is not None else "; no price is known."


def priced(facts: Facts, masses_kg: Mapping[str, float]) -> float | None:
    """What masses of products are worth; None where one has no price. [money]"""
    prices = {p: facts.price_kg(p) for p in masses_kg}
    known = {p: v for p, v in prices.items() if v is not None}
    return sum(masses_kg[p] * v for p, v in known.items()) if len(known) == len(prices) and masses_kg else None
