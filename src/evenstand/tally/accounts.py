"""The account of one product: what came, what went into the outfit, what is left, what nobody can account for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.model import Fill, Load


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """A product's account. delivered, put, left, open: masses [kg], None where nothing says so; *_sd: standard deviations [kg];
    open: delivered less put less left over; z: open over its sd, None if it cannot be said; unknown: loads without a mass."""

    product: str
    delivered_kg: float | None
    delivered_sd_kg: float
    put_kg: float
    put_sd_kg: float
    left_kg: float
    left_sd_kg: float
    open_kg: float | None
    open_sd_kg: float | None
    z: float | None
    unknown: tuple[str, ...]

    @property
    def meaning(self) -> str:
        """What the open mass means, in a sentence."""
        if self.open_kg is None or self.z is None:
            return "Nothing delivered is on record with a mass: it cannot be told."
        if self.unknown:
            return f"{len(self.unknown)} load(s) without a mass: what is open may lie there."
        if abs(self.z) <= 2:
            return "Agrees, as far as the ways of weighing can tell."
        if self.open_kg > 0:
            return "More came than went in or is left: a fill not entered, a spill, or product still on the truck."
        return "More went in than came: a load not entered, or a fill entered twice."


def account(product: str, loads: Sequence[Load], fills: Sequence[Fill]) -> Account:
    """Delivered = put in + left over + open, with what each weighing can tell.

    A fill that was made by share of a ticket repeats that ticket's error; it is taken as its own weighing, which makes the open mass look
    less certain than it is, never more.

    Parameters
    ----------
    product : str
        Key of the product. [-]
    loads : sequence of Load
        Deliveries, left-overs and returns count; yard and truck moves only pass product on; parts of a load do not count again. [kg]
    fills : sequence of Fill
        Into any bin. [kg]

    Returns
    -------
    Account
        Masses with standard deviations. [kg]
    """
    mine = [x for x in loads if x.product == product and not x.part_of]
    into = [f for f in fills if f.product == product]
    delivered = [x for x in mine if x.kind == "delivery"]
    over = [x for x in loads if x.product == product and x.kind in {"left-over", "return"}]
    known = [x for x in delivered if x.mass_kg is not None]
    came, came_sd = _sum(known)
    left, left_sd = _sum([x for x in over if x.mass_kg is not None])
    put, put_sd = sum(f.put_kg for f in into), math.sqrt(sum(f.put_sd_kg**2 for f in into))
    unknown = tuple(x.key for x in (*delivered, *over) if x.mass_kg is None)
    sd = math.sqrt(came_sd**2 + put_sd**2 + left_sd**2)
    rest = came - put - left if known else None
    return Account(
        product=product,
        delivered_kg=came if known else None,
        delivered_sd_kg=came_sd,
        put_kg=put,
        put_sd_kg=put_sd,
        left_kg=left,
        left_sd_kg=left_sd,
        open_kg=rest,
        open_sd_kg=sd if known else None,
        z=rest / sd if rest is not None and sd > 0 else None,
        unknown=unknown,
    )


def _sum(loads: Sequence[Load]) -> tuple[float, float]:
    """Total mass and its standard deviation. [kg]"""
    return sum(x.mass_kg or 0.0 for x in loads), math.sqrt(sum((x.sd_kg or 0.0) ** 2 for x in loads))
