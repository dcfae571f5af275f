"""The bins of a job at this moment, as the book knows them: what went in last, what was left, what the counter said."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from evenstand.base.errors import MissingError
from evenstand.base.estimate import Est
from evenstand.check import FillTaken
from evenstand.desk.fill_sources import conveyor_of
from evenstand.model import BinPlan, Fill, Outfit, Product
from evenstand.reference import default

if TYPE_CHECKING:
    from evenstand.book import Book


@dataclass(frozen=True, slots=True, kw_only=True)
class BinNow:
    """A bin, or the bins of one product together, as the book knows them at this moment.

    key: "job|A" or "job|A+C"; job, letters, product: keys; name: of the product; dose_kg_ha asked and dose_sd, how well the product per
    turn is known as a share; put_kg, put_sd_kg, put_how, put_at: the last fill, for several bins all fills of the job, None without one;
    before_kg, before_sd_kg: what was in the bin then; counter_ha: the area counter then; full_kg, light_kg, light_sd_kg: of the bins;
    earlier: intervals before the last fill that the area counter joins to it, with earlier_before_kg in the bin at their start;
    fills: how many went into it so far; conveyor: what the conveyor delivers of the product, learned from weighed fills [kg/s].
    """

    key: str
    job: str
    letters: tuple[str, ...]
    product: str
    name: str
    dose_kg_ha: float
    dose_sd: float
    put_kg: float | None = None
    put_sd_kg: float | None = None
    put_how: str = ""
    put_at: str = ""
    before_kg: float | None = None
    before_sd_kg: float | None = None
    counter_ha: float | None = None
    full_kg: float | None = None
    light_kg: float | None = None
    light_sd_kg: float | None = None
    earlier: tuple[FillTaken, ...] = ()
    earlier_before_kg: float | None = None
    earlier_before_sd_kg: float = 0.0
    fills: int = 0
    conveyor: Est | None = None

    @property
    def label(self) -> str:
        """'A', or 'A and C'. [text]"""
        return " and ".join(self.letters)


def bins_now(book: Book, job: str) -> tuple[BinNow, ...]:
    """Every bin of a job, and the bins of one product together, with what is on record.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    job : str
        Its key. [-]

    Returns
    -------
    tuple of BinNow
        In the order of the letters; bins that carry one product together come as one more, bins that carry it in turn only as one.
        [kg, ha, kg/ha]
    """
    from evenstand.desk.planning import job_inputs
    from evenstand.expect import plan_for

    inputs = job_inputs(book, job)
    plan = plan_for(replace(inputs, drive=False))  # no fill rests on the line to drive
    fills = sorted(book.all(Fill, job=job), key=lambda f: (f.at, f.key))
    out = [_one(job, b, inputs.outfit, inputs.products, fills) for b in plan.bins if not b.in_turn]
    for product in dict.fromkeys(b.product for b in plan.bins):
        same = [b for b in plan.bins if b.product == product]
        if len(same) > 1:
            out.append(_several(job, same, inputs.outfit, inputs.products, fills))
        elif same[0].in_turn:
            out.append(_one(job, same[0], inputs.outfit, inputs.products, fills))
    learned = {p: conveyor_of(book, p) for p in {b.product for b in out}}
    return tuple(replace(b, conveyor=learned[b.product]) for b in out)


def bin_now(book: Book, key: str) -> BinNow:
    """The bin of that key, as `bins_now` gives it.

    Raises
    ------
    MissingError
        Naming the bins there are.
    """
    job, _, letters = key.partition("|")
    found = bins_now(book, job)
    now = next((b for b in found if b.key == key), None)
    if now is None:
        raise MissingError(
            f"no bin '{letters}' in this job", where="where", cure=f"Bins: {', '.join(b.label for b in found) or 'none yet'}."
        )
    return now


def _dose_sd(b: BinPlan) -> float:
    """How far the dose may stand off for no fault: as well as the product per turn is known, never less than its usual course. [-]"""
    usual = default("factor-in-a-day")
    return max(b.factor_kg_turn.relative_sd if b.factor_kg_turn else usual.value, usual.low)


def _one(job: str, b: BinPlan, outfit: Outfit | None, products: dict[str, Product], fills: Sequence[Fill]) -> BinNow:
    own = next((x for x in outfit.bins if x.letter == b.bin), None) if outfit else None
    mine = [f for f in fills if f.bin == b.bin and f.product == b.product]
    last = mine[-1] if mine else None
    joined = _joined(mine)
    light = own.low_light_kg if own else None
    return BinNow(
        key=f"{job}|{b.bin}",
        job=job,
        letters=(b.bin,),
        product=b.product,
        name=products[b.product].name if b.product in products else b.product,
        dose_kg_ha=b.rate_kg_ha,
        dose_sd=_dose_sd(b),
        put_kg=last.put_kg if last else None,
        put_sd_kg=last.put_sd_kg if last else None,
        put_how=last.how if last else "",
        put_at=last.at if last else "",
        before_kg=last.level_before_kg if last else None,
        before_sd_kg=last.level_before_sd_kg if last else None,
        counter_ha=last.area_ha if last else None,
        full_kg=b.full_kg.value if b.full_kg else None,
        light_kg=light.value if light else None,
        light_sd_kg=light.sd if light else None,
        earlier=tuple(t for _, t in joined),
        earlier_before_kg=joined[0][0].level_before_kg if joined else None,
        earlier_before_sd_kg=(joined[0][0].level_before_sd_kg or 0.0) if joined else 0.0,
        fills=len(mine),
    )


def _joined(fills: Sequence[Fill]) -> list[tuple[Fill, FillTaken]]:
    """Intervals between fills, back from the last one as far as the area counter was written down."""
    out: list[tuple[Fill, FillTaken]] = []
    for start, end in reversed(list(pairwise(fills))):
        if start.area_ha is None or end.area_ha is None or end.area_ha <= start.area_ha:
            break
        taken = FillTaken(
            area_ha=end.area_ha - start.area_ha,
            put_kg=start.put_kg,
            put_sd_kg=start.put_sd_kg,
            level_kg=end.level_before_kg,
            level_sd_kg=end.level_before_sd_kg,
            how=start.how,
        )
        out.insert(0, (start, taken))
    return out


def _several(job: str, bins: Sequence[BinPlan], outfit: Outfit | None, products: dict[str, Product], fills: Sequence[Fill]) -> BinNow:
    """Bins of one product taken together: all fills of the job as one interval, since nobody can say which bin fed when."""
    letters = tuple(b.bin for b in bins)
    mine = [f for f in fills if f.bin in letters and f.product == bins[0].product]
    first = {x: next((f for f in mine if f.bin == x), None) for x in letters}
    before = [f.level_before_kg for f in first.values() if f is not None and f.level_before_kg is not None]
    full = [b.full_kg.value for b in bins if b.full_kg]
    own = [x.low_light_kg for x in outfit.bins if x.letter in letters and x.low_light_kg] if outfit else []
    started = [f.area_ha for f in first.values() if f is not None and f.area_ha is not None]
    return BinNow(
        key=f"{job}|{'+'.join(letters)}",
        job=job,
        letters=letters,
        product=bins[0].product,
        name=products[bins[0].product].name if bins[0].product in products else bins[0].product,
        dose_kg_ha=bins[0].rate_kg_ha if bins[0].in_turn else sum(b.rate_kg_ha for b in bins),
        dose_sd=max(_dose_sd(b) for b in bins),
        put_kg=sum(f.put_kg for f in mine) if mine else None,
        put_sd_kg=math.hypot(*(f.put_sd_kg for f in mine)) if mine else None,
        put_how="all" if mine else "",
        put_at=mine[0].at if mine else "",
        before_kg=sum(before) if before else None,
        before_sd_kg=math.hypot(*((f.level_before_sd_kg or 0.0) for f in first.values() if f is not None)) if before else None,
        counter_ha=min(started) if started else None,
        full_kg=sum(full) if len(full) == len(bins) else None,
        light_kg=sum(x.value for x in own) if len(own) == len(bins) else None,
        light_sd_kg=math.hypot(*(x.sd for x in own)) if len(own) == len(bins) else None,
        fills=len(mine),
    )
