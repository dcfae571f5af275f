"""The truck: which loads a job still wants, stop by stop, and from which lot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenstand.base.units import Profile
from evenstand.desk.loads import rough
from evenstand.desk.nexts import done_ha_of, done_pass_of
from evenstand.desk.planning import job_inputs
from evenstand.model import Plan

if TYPE_CHECKING:
    from evenstand.book import Book


@dataclass(frozen=True, slots=True, kw_only=True)
class TruckStop:
    """One stop. when: after which pass, and the latest; loads: (bin, product, lot, mass) in the order of the bins. [text]"""

    when: str
    loads: tuple[tuple[str, str, str, str], ...]
    total_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TruckRun:
    """What the truck must bring to a job. note: what is missing to say it, "" where nothing is."""

    job: str
    title: str
    stops: tuple[TruckStop, ...]
    totals: tuple[tuple[str, str], ...]
    note: str


def truck_run(book: Book, job: str, *, profile: Profile | None = None) -> TruckRun:
    """The stops of a job that are still ahead.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    job : str
        Its key. [-]
    profile : str or None
        Units of the sentences; those of the book where not given. [-]

    Raises
    ------
    MissingError
        If there is no such job.
    """
    from evenstand.expect import plan_for

    units = profile or book.profile
    inputs = job_inputs(book, job)
    plan = plan_for(inputs)
    done = done_ha_of(book, job)
    at = done_pass_of(plan, done) or 0
    products = {b.bin: b.product for b in plan.bins}
    lots = {a.product: a.lot for a in inputs.job.asks}
    ahead = [(f"after pass {s.after_pass}, no later than pass {s.latest_pass}", s.add_kg) for s in plan.stops if s.after_pass > at]
    first = _first_fill(plan) if done is None else {}
    stops, totals = [], dict[str, float]()
    for when, adds in ([("before the first pass", first)] if first else []) + ahead:
        rows = []
        for letter, mass in sorted(adds.items()):
            if mass <= 0:
                continue
            product = products.get(letter, "")
            name = inputs.products[product].name if product in inputs.products else product
            lot = next((x.label or x.key for x in inputs.lots.values() if x.key == lots.get(product)), "")
            rows.append((letter, name, lot, rough(mass, units)))
            totals[name] = totals.get(name, 0.0) + mass
        if rows:
            stops.append(TruckStop(when=when, loads=tuple(rows), total_kg=sum(m for m in adds.values() if m > 0)))
    return TruckRun(
        job=job,
        title=f"{inputs.job.crop.capitalize()}{f', {plan.field_name}' if plan.field_name else ''}",
        stops=tuple(stops),
        totals=tuple((name, rough(mass, units)) for name, mass in totals.items()),
        note="" if stops else _missing(plan, done),
    )


def _first_fill(plan: Plan) -> dict[str, float]:
    """What the bins start with: full, or all that the job takes; empty where a size or a need is not known. [kg]"""
    known = {b.bin: min(b.full_kg.value, b.need_kg) for b in plan.bins if b.full_kg is not None and b.need_kg is not None}
    return known if len(known) == len(plan.bins) else {}


def _missing(plan: Plan, done: float | None) -> str:
    if plan.stops:
        return "No stop is ahead any more."
    if done is not None and plan.area_ha is not None and done >= plan.area_ha:
        return "All of it is sown."
    return "Stops need the field's outline, the bins' sizes and the rates."
