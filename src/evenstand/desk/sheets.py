"""What the sheets of one job are made from: the facts of the book, or of a few typed words, gathered for paper and pocket."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from evenstand.base.units import Profile, from_metric, profile_unit, to_metric
from evenstand.desk.proofs import card_with_proofs
from evenstand.model import BinPlan, Boundary, Job, Lot, Outfit, Plan, Product
from evenstand.nextup.commissioning import Line

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.desk.planning import Said

TABLE_ROWS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetContext:
    """Everything a sheet may print. lots: by product key, the lot to be sown; made_at: ISO time; who: who had it made; stale:
    by bin letter, proofs of its dose that are due again or outside their band, in words; "" for those of all bins."""

    farm: str
    job: Job
    plan: Plan
    outfit: Outfit | None = None
    products: dict[str, Product] = field(default_factory=dict)
    lots: dict[str, Lot] = field(default_factory=dict)
    boundary: Boundary | None = None
    profile: Profile = "si"
    made_at: str = ""
    who: str = ""
    stale: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def product_name(self, key: str) -> str:
        """The product's name, or its key where nothing more is known. [-]"""
        return self.products[key].name if key in self.products else key


@dataclass(frozen=True, slots=True, kw_only=True)
class UseRow:
    """One row of the fill slip's table. area_ha: sown since the fill [ha]; used_kg: gone by then [kg]; left_kg: of a full bin [kg]."""

    area_ha: float
    used_kg: float
    left_kg: float | None


def use_table(bins: tuple[BinPlan, ...], profile: Profile = "si", *, rows: int = TABLE_ROWS) -> dict[str, tuple[UseRow, ...]]:
    """What should have gone, and what a full bin should still hold, at round areas since the fill.

    Parameters
    ----------
    bins : tuple of BinPlan
        With their rates; full mass where known. [kg/ha, kg]
    profile : str
        The areas are round numbers in this profile's unit. [-]
    rows : int
        How many at most. [-]

    Returns
    -------
    dict
        By bin letter, the same areas for all bins, up to where the bin that lasts longest is empty, but no further than three fills
        of the one that is empty first; without any bin size as many steps of 5 hectares or 10 acres as asked. Below zero is not
        printed: an empty bin ends its column. [ha, kg]
    """
    unit = profile_unit("area", profile)
    lasting = [b.ha_per_fill.value for b in bins if b.ha_per_fill is not None]
    longest = min(max(lasting), 3 * min(lasting)) if lasting else None
    if longest is None:
        step = 5.0 if unit == "ha" else 10.0
        count = rows
    else:
        shown_longest = from_metric(longest, "area", unit)
        step = _round_step(shown_longest / rows)
        count = max(1, math.ceil(shown_longest / step - 1e-9))
    table: dict[str, tuple[UseRow, ...]] = {}
    for b in bins:
        out = []
        for i in range(1, count + 1):
            area = to_metric(i * step, "area", unit)
            used = b.rate_kg_ha * area
            left = None if b.full_kg is None else b.full_kg.value - used
            if left is not None and left < 0:
                break
            out.append(UseRow(area_ha=area, used_kg=used, left_kg=left))
        table[b.bin] = tuple(out)
    return table


def _round_step(raw: float) -> float:
    """The next 1, 2, 2.5 or 5 times a power of ten. [unit of raw]"""
    power = 10.0 ** math.floor(math.log10(raw))
    return next(s * power for s in (1.0, 2.0, 2.5, 5.0, 10.0) if s * power >= raw * (1 - 1e-9))


def book_context(book: Book, job_key: str, *, profile: Profile, made_at: str, who: str, farm: str = "") -> SheetContext:
    """The context of a job in a book.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    job_key : str
        Which job. [-]
    made_at : str
        ISO time to print. [UTC]
    farm : str
        The farm's name, where the book does not tell it. [-]

    Raises
    ------
    MissingError
        If the book has no such job.
    """
    from evenstand.desk.planning import job_inputs
    from evenstand.expect import plan_for

    inputs = job_inputs(book, job_key, now=made_at)
    lines = _proofs(book, inputs.outfit, made_at)
    plan = plan_for(inputs)
    return SheetContext(
        farm=farm or book.farm,
        job=inputs.job,
        plan=_with_remarks(book, inputs.job.outfit, dataclasses.replace(plan, card=card_with_proofs(plan.card, lines))),
        stale=_stale(lines),
        outfit=inputs.outfit,
        products=dict(inputs.products),
        lots=dict(inputs.lots),
        boundary=inputs.boundary,
        profile=profile,
        made_at=made_at,
        who=who,
    )


def _proofs(book: Book, outfit: Outfit | None, made_at: str) -> tuple[Line, ...]:
    """The proofs of the outfit as they stand on the day the sheet is made."""
    from datetime import datetime

    from evenstand.base.clock import FixedClock
    from evenstand.desk.proofs import proof_lines

    if outfit is None or not made_at:
        return ()
    return proof_lines(book, outfit.key, clock=FixedClock(datetime.fromisoformat(made_at.replace("Z", "+00:00"))))


def _stale(lines: tuple[Line, ...]) -> dict[str, tuple[str, ...]]:
    out: dict[str, tuple[str, ...]] = {}
    for x in lines:
        kind, _, letter = x.item.key.partition(":")
        if x.state in ("due", "outside") and kind in ("catch", "roller", "door", "lid", "distance", "width", "typed-width"):
            name = x.item.title.partition(",")[0]
            out[letter] = (*out.get(letter, ()), f"{name}: {x.due or 'outside its band'}")
    return out


def _with_remarks(book: Book, outfit: str, plan: Plan) -> Plan:
    """The plan with what the owner's display calls each line of the card, and who set it."""
    from evenstand.book import CardRemark

    remarks = {remark.line: remark for remark in book.all(CardRemark) if remark.outfit == outfit}
    card = tuple(
        dataclasses.replace(line, yours=remarks[line.key].yours or line.yours, set_by=remarks[line.key].set_by or line.set_by)
        if line.key in remarks
        else line
        for line in plan.card
    )
    return dataclasses.replace(plan, card=card)


def quick_context(said: Said, *, profile: Profile, made_at: str, who: str = "", farm: str = "") -> SheetContext:
    """The context of a plan that was only typed; what is not known stays a line to write on. [metric]"""
    from evenstand.desk.planning import quick_inputs
    from evenstand.expect import plan_for

    inputs = quick_inputs(said, profile)
    return SheetContext(
        farm=farm,
        job=inputs.job,
        plan=plan_for(inputs),
        outfit=inputs.outfit,
        products=dict(inputs.products),
        lots=dict(inputs.lots),
        boundary=inputs.boundary,
        profile=profile,
        made_at=made_at,
        who=who,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Believable:
    """What one look into a bin can tell. how: how put in and level were known; share: smallest difference to believe, 95 % [-]; fills:
    how many such fills together until an error of 2 % can be seen, None if they never show it."""

    bin: str
    how: str
    share: float
    fills: int | None = None


def believable(context: SheetContext) -> tuple[Believable, ...]:
    """The smallest difference between hectares and product that one fill can show, by how put in and level are known.

    Parameters
    ----------
    context : SheetContext
        Bins whose full mass is known; the check is made for a fill that is nearly used up. [kg]

    Returns
    -------
    tuple of Believable
        For each such bin: weighed and looked at by eye, and weighed and run down to the low-level light where it has been learned;
        weighed and a cart scale where there is one. [-]
    """
    from evenstand.check import FillTaken, fill_check
    from evenstand.desk.filling import total_of
    from evenstand.reference import default, fill_sd

    out = []
    for b in context.plan.bins:
        if b.full_kg is None or b.rate_kg_ha <= 0:
            continue
        full = b.full_kg.value
        of_outfit = next((x for x in context.outfit.bins if x.letter == b.bin), None) if context.outfit else None
        left = of_outfit.low_light_kg.value if of_outfit and of_outfit.low_light_kg else default("nearly-empty").value * full
        put_sd = fill_sd("truck-scale", full)
        ways = [("weighed in, level by eye", fill_sd("glance", full, bin_full_kg=full))]
        if of_outfit and of_outfit.low_light_kg:
            ways.append(("weighed in, low-level light", of_outfit.low_light_kg.sd))
        if of_outfit and of_outfit.has_scale:
            ways.append(("weighed in, cart scale", fill_sd("cart-scale", full)))
        dose_sd = b.factor_kg_turn.relative_sd if b.factor_kg_turn else default("factor-in-a-day").value
        for how, level_sd in ways:
            found = fill_check(
                (full - left) / b.rate_kg_ha,
                full,
                left,
                b.rate_kg_ha,
                put_sd_kg=put_sd,
                level_sd_kg=level_sd,
                dose_sd=max(dose_sd, default("factor-in-a-day").low),
            )
            if found.low is not None and found.high is not None:
                share = max(-found.low, found.high)
                one = FillTaken(area_ha=(full - left) / b.rate_kg_ha, put_kg=full, put_sd_kg=put_sd, level_kg=left, level_sd_kg=level_sd)
                more = total_of([one], b.rate_kg_ha, finding=found).more
                out.append(Believable(bin=b.bin, how=how, share=share, fills=None if more is None else 1 + more))
    return tuple(out)
