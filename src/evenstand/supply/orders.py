"""What was ordered, what came of it, and what is still owed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.estimate import Est
from evenstand.model import Load, Order
from evenstand.reference import fill_sd


@dataclass(frozen=True, slots=True, kw_only=True)
class Owed:
    """One order. delivered_kg, delivered_sd_kg: what came of it, over deliveries with a mass; owed_kg: still to come, 0 once the owner
    closed it or all came, None where a delivery has no mass; over_kg: came beyond what was ordered; unweighed: keys of deliveries without
    a mass; worth: owed times the agreed price [money], None where no price is known. [kg]"""

    order: str
    product: str
    ordered_kg: float
    delivered_kg: float
    delivered_sd_kg: float
    owed_kg: float | None
    over_kg: float
    unweighed: tuple[str, ...]
    worth: float | None
    wanted_by: str
    closed: bool


def owed(orders: Sequence[Order], loads: Sequence[Load]) -> tuple[Owed, ...]:
    """What is still owed of each order, in the order given.

    A delivery belongs to the order it names. One that names none is counted to nobody: nothing is shared out by guess.

    Parameters
    ----------
    orders : sequence of Order
        As they were made. [kg]
    loads : sequence of Load
        Only deliveries that are no part of another load count. [kg]

    Returns
    -------
    tuple of Owed
        One for each order. [kg]

    References
    ----------
    definition: owed = ordered less delivered, not below 0; variances of independent weighings add up.
    """
    return tuple(_owed(order, [x for x in loads if x.kind == "delivery" and x.order == order.key and not x.part_of]) for order in orders)


def _owed(order: Order, came: Sequence[Load]) -> Owed:
    known = [(x.mass_kg, fill_sd(x.how, x.mass_kg) if x.sd_kg is None else x.sd_kg) for x in came if x.mass_kg is not None]
    unweighed = tuple(x.key for x in came if x.mass_kg is None)
    total, sd = sum(m for m, _ in known), math.sqrt(sum(s**2 for _, s in known))
    closed = bool(order.closed_at)
    rest = 0.0 if closed or total >= order.quantity_kg else None if unweighed else order.quantity_kg - total
    return Owed(
        order=order.key,
        product=order.product,
        ordered_kg=order.quantity_kg,
        delivered_kg=total,
        delivered_sd_kg=sd,
        owed_kg=rest,
        over_kg=max(0.0, total - order.quantity_kg),
        unweighed=unweighed,
        worth=None if rest is None or order.price_kg is None else rest * order.price_kg,
        wanted_by=order.wanted_by,
        closed=closed,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortfall:
    """What is missing of what is needed. short_kg: needed less there, below 0 where there is too much [kg]; sd_kg; chance: that it runs
    short before the fields are done [-]; order_kg: what to order so that it runs short once in twenty, 0 where there is enough [kg]."""

    short_kg: float
    sd_kg: float
    chance: float
    order_kg: float


def shortfall(there: Est, needed: Est) -> Shortfall:
    """Whether what is there is enough, and how sure that is.

    Parameters
    ----------
    there : Est
        In yard, trucks and bins, and still owed. [kg]
    needed : Est
        What the fields still take, ground sown twice included. [kg]

    Returns
    -------
    Shortfall
        With the chance of running short. [kg]

    References
    ----------
    definition: difference of two normal quantities; one in twenty lies 1.645 standard deviations above the middle.

    Examples
    --------
    20 t needed, give or take 5 %; 20.5 t there.

    >>> found = shortfall(Est(value=20500, sd=100), Est(value=20000, sd=1000))
    >>> round(found.chance, 2), round(found.order_kg)
    (0.31, 1153)
    """
    short, sd = needed.value - there.value, math.hypot(needed.sd, there.sd)
    chance = 0.5 * (1 + math.erf(short / (sd * math.sqrt(2)))) if sd > 0 else float(short > 0)
    return Shortfall(short_kg=short, sd_kg=sd, chance=chance, order_kg=max(0.0, short + _ONE_IN_TWENTY * sd))


_ONE_IN_TWENTY = 1.6448536
