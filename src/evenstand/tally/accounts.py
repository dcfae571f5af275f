"""The account of one product: what came, what went into the outfit, what is left, what nobody can account for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.estimate import Est
from evenstand.model import Fill, Load
from evenstand.reference import fill_sd


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """A product's account. delivered, put, left, open: masses [kg], None where nothing says so; *_sd: standard deviations [kg];
    taken_out: of what was put in, taken back out of the bins [kg]; open: delivered less put, plus taken out, less left over;
    z: open over its sd, None if it cannot be said; unknown: loads without a mass.

    bin_open: put less taken out, less sown, less still in the bins: what the bins themselves cannot account for; None unless both are
    given [kg]; bin_z: over its sd [-].
    """

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
    taken_out_kg: float = 0.0
    bin_open_kg: float | None = None
    bin_open_sd_kg: float | None = None
    bin_z: float | None = None

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

    @property
    def bin_meaning(self) -> str:
        """What the mass open in the bins means, in a sentence."""
        if self.bin_open_kg is None or self.bin_z is None:
            return "What was sown and what is in the bins now are needed."
        if abs(self.bin_z) <= 2:
            return "The bins agree with the ground sown, as far as the readings can tell."
        if self.bin_open_kg > 0:
            return "More went in than was sown or is left: sown heavier than thought, or a fill entered twice."
        return "More was sown or is left than went in: sown lighter than thought, or a fill not entered."


def account(product: str, loads: Sequence[Load], fills: Sequence[Fill], *, sown: Est | None = None, in_bins: Est | None = None) -> Account:
    """Delivered = put in - taken back out + left over + open, with what each weighing can tell.

    A load without a stated standard deviation gets the usual one for the way it is known. A fill that was made by share of a ticket repeats
    that ticket's error; it is taken as its own weighing, which makes the open mass look less certain than it is, never more: split the
    ticket first (`split_ticket`) where that matters.

    Parameters
    ----------
    product : str
        Key of the product. [-]
    loads : sequence of Load
        Deliveries, left-overs and returns count; a left-over that came out of a bin ("outfit:bin") is also taken off what was put in. Yard
        and truck moves only pass product on; parts of a delivery, and returns of a left-over, do not count again. [kg]
    fills : sequence of Fill
        Into any bin. [kg]
    sown : Est or None
        Dose times ground sown, by something that is no echo. [kg]
    in_bins : Est or None
        Still in the bins. [kg]

    Returns
    -------
    Account
        Masses with standard deviations. [kg]

    References
    ----------
    definition: mass in = mass out + mass left + mass open; variances of independent weighings add up.
    """
    mine = [x for x in loads if x.product == product]
    into = [f for f in fills if f.product == product]
    delivered = [x for x in mine if x.kind == "delivery" and not x.part_of]
    kept_keys = {x.key for x in mine if x.kind == "left-over"}
    over = [x for x in mine if x.kind in {"left-over", "return"} and x.part_of not in kept_keys]
    known = [x for x in delivered if x.mass_kg is not None]
    came, came_var = _sum(known)
    left, left_var = _sum([x for x in over if ":" not in x.from_key])
    out, out_var = _sum([x for x in over if ":" in x.from_key])
    put, put_var = sum(f.put_kg for f in into), sum(f.put_sd_kg**2 for f in into)
    sd = math.sqrt(came_var + put_var + left_var)  # what came out of a bin is left over as well: it cancels
    rest = came - put - left if known else None
    bins, bins_sd = _bins(put - out, put_var + out_var, sown, in_bins)
    return Account(
        product=product,
        delivered_kg=came if known else None,
        delivered_sd_kg=math.sqrt(came_var),
        put_kg=put,
        put_sd_kg=math.sqrt(put_var),
        left_kg=left + out,
        left_sd_kg=math.sqrt(left_var + out_var),
        open_kg=rest,
        open_sd_kg=sd if known else None,
        z=rest / sd if rest is not None and sd > 0 else None,
        unknown=tuple(x.key for x in (*delivered, *over) if x.mass_kg is None),
        taken_out_kg=out,
        bin_open_kg=bins,
        bin_open_sd_kg=bins_sd,
        bin_z=bins / bins_sd if bins is not None and bins_sd else None,
    )


def _sum(loads: Sequence[Load]) -> tuple[float, float]:
    """Total mass [kg] and its variance [kg²]; loads without a mass are left out."""
    masses = [(x.mass_kg, fill_sd(x.how, x.mass_kg) if x.sd_kg is None else x.sd_kg) for x in loads if x.mass_kg is not None]
    return sum(m for m, _ in masses), sum(s**2 for _, s in masses)


def _bins(net: float, variance: float, sown: Est | None, in_bins: Est | None) -> tuple[float | None, float | None]:
    """What the bins cannot account for, and its standard deviation. [kg]"""
    if sown is None or in_bins is None:
        return None, None
    return net - sown.value - in_bins.value, math.sqrt(variance + sown.sd**2 + in_bins.sd**2)
