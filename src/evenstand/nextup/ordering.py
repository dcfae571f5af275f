"""Orders still owed that come too late, and products that nobody has ordered enough of: over the whole book."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date

from evenstand.base.units import Profile
from evenstand.model import Cost, Job, Order, Product, Step
from evenstand.nextup.facts import Saying


@dataclass(frozen=True, slots=True, kw_only=True)
class StockFacts:
    """What is ordered, owed, on hand and needed. owed_kg: still to come, by order key [kg]; on_hand_kg: in yard, trucks and bins, by
    product, where that can be told [kg]; need_kg: what each job still takes, by job key and product [kg]; today: local date."""

    orders: tuple[Order, ...] = ()
    owed_kg: Mapping[str, float] = field(default_factory=dict)
    on_hand_kg: Mapping[str, float] = field(default_factory=dict)
    jobs: tuple[Job, ...] = ()
    need_kg: Mapping[tuple[str, str], float] = field(default_factory=dict)
    products: Mapping[str, Product] = field(default_factory=dict)
    today: date | None = None
    profile: Profile = "si"


def ordering_steps(stock: StockFacts) -> Iterator[Step]:
    """One step an order that is past its day, or that comes after the first day on which it is missed."""
    for order in sorted(stock.orders, key=lambda o: (o.wanted_by or "9999", o.key)):
        owed = stock.owed_kg.get(order.key, 0.0)
        if owed > 0 and stock.today is not None and order.wanted_by:
            step = _late(stock, order, owed, stock.today)
            if step is not None:
                yield step


def first_missed(stock: StockFacts, product: str) -> tuple[Job | None, float]:
    """The first job, by its start and then by its last day, for which what is on hand does not last; and how much is short in all. [kg]"""
    have = stock.on_hand_kg.get(product)
    if have is None:
        return None, 0.0
    first: Job | None = None
    short = 0.0
    for job in sorted(stock.jobs, key=lambda j: (j.start_on or j.finish_by or "9999", j.key)):
        need = stock.need_kg.get((job.key, product), 0.0)
        if need <= 0:
            continue
        missing = max(0.0, need - max(0.0, have))
        have -= need
        short += missing
        if missing > 0 and first is None:
            first = job
    return first, short


def _late(stock: StockFacts, order: Order, owed: float, today: date) -> Step | None:
    job, short = first_missed(stock, order.product)
    over = (today - date.fromisoformat(order.wanted_by)).days
    begins = (job.start_on or job.finish_by) if job is not None else ""
    after = bool(begins) and order.wanted_by > begins
    if over <= 0 and not after:
        return None
    say = Saying(stock.profile)
    name = stock.products[order.product].name if order.product in stock.products else order.product
    of = f" of {order.supplier}" if order.supplier else ""
    missing = min(owed, short) if job is not None else 0.0
    worth = _worth(stock, order, missing)
    if over > 0:
        do = f"Ask for {say(owed, 'mass')} of {name}{of}: {say.count(over)} {'day' if over == 1 else 'days'} past its day."
    else:
        do = f"Have {say(owed, 'mass')} of {name}{of} come sooner, or sow another field first."
    because = f"Ordered {say(order.quantity_kg, 'mass')}, wanted by {order.wanted_by}."
    if job is not None and missing > 0:
        because += f" {job.crop.capitalize()} from {begins} on is short of {say(missing, 'mass')} without it." if begins else ""
    rate = next((a.rate_kg_ha for a in job.asks if a.product == order.product), 0.0) if job is not None else 0.0
    ha = missing / rate if rate > 0 else None
    return Step(
        key=f"order:{order.key}:{'over' if over > 0 else 'late'}",
        do=do,
        because=because,
        cost_of_waiting=_cost(missing, ha, worth, name, "the order's price" if order.price_kg is not None else "your prices", say),
        confirm_by="Enter the delivery on its order, or close the order.",
        closes_when="it is delivered, its day is moved, or the order is closed",
        family="ordering",
        rank=44.0 if missing > 0 else 27.0,
        about=name,
        job=job.key if job is not None else "",
        where=job.crop.capitalize() if job is not None else "",
        stated=say.stated,
    )


def _worth(stock: StockFacts, order: Order, mass_kg: float) -> float | None:
    product = stock.products.get(order.product)
    price = order.price_kg if order.price_kg is not None else product.price_kg if product is not None else None
    return None if price is None else price * mass_kg


def _cost(missing: float, ha: float | None, worth: float | None, name: str, prices: str, say: Saying) -> Cost:
    if missing <= 0:
        return Cost(kg=0.0, text="Nothing that is planned waits for it yet.")
    where = f" over {say(ha, 'area')}" if ha is not None else ""
    tail = f", worth {say.money(worth)} at {prices}." if worth is not None else "; no price is known."
    return Cost(kg=missing, ha=ha, money=worth, text=f"{say(missing, 'mass')} of {name}{where} cannot be sown{tail}")
