"""The Next list of a book: one snapshot a job, the rules, and what the owner has put off or says is done."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from evenstand import __version__
from evenstand.base.clock import Clock
from evenstand.base.estimate import Est
from evenstand.base.units import Profile
from evenstand.desk.bins_left import left_in_bin
from evenstand.desk.planning import job_inputs
from evenstand.expect import plan_for
from evenstand.model import Ask, Boundary, CardLine, Fill, Finding, Job, Load, Order, Plan, Product, Step
from evenstand.nextup import Facts, PaperFacts, StockFacts, accounting_steps, in_order, next_steps, ordering_steps
from evenstand.nextup.unproven import OpenItem
from evenstand.reference import default
from evenstand.supply import owed
from evenstand.tally import account

if TYPE_CHECKING:
    from evenstand.book import Book, View


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanBrief:
    """What the rules need of a plan: all but the line to drive, of which only the hectares of each pass are kept [ha], and of the card
    the lines that say what to set and what is stale."""

    plan: Plan
    pass_ha: tuple[float, ...] = ()


def done_ha_of(book: Book | View, job_key: str) -> float | None:
    """Hectares sown so far, by the newest area reading of the job, else by the newest fill that carries one. [ha]"""
    return read_last(book).get(job_key, ("", None))[1]


def done_pass_of(plan: Plan, done_ha: float | None) -> int | None:
    """The last pass of the plan that the hectares sown cover. [pass]"""
    if plan.drive is None or plan.width_m is None:
        return None
    return _passes_done((plan.drive.pass_lengths_m() * plan.width_m / 1e4).tolist(), done_ha)


def _passes_done(pass_ha: Iterable[float], done_ha: float | None) -> int | None:
    import numpy as np

    sown = np.cumsum(tuple(pass_ha))
    return None if done_ha is None or not sown.size else int(np.searchsorted(sown, done_ha + 1e-9))


def read_last(book: Book | View) -> dict[str, tuple[str, float]]:
    """When the hectares of each job were read last, and how many they were; jobs without a reading are left out. [ISO, ha]"""
    from evenstand.book import JobReading

    newest: dict[str, tuple[str, float]] = {}
    areas = [(r.job, (r.reading.at, r.reading.value)) for r in book.all(JobReading) if r.reading.quantity == "area_counter"]
    areas += [(f.job, (f.at, f.area_ha)) for f in book.all(Fill) if f.area_ha is not None]
    for job, one in areas:
        newest[job] = max(newest.get(job, one), one)
    return newest


def done_of(book: Book | View) -> dict[str, float | None]:
    """Hectares sown so far of every job, read in one go. [ha]"""
    read = read_last(book)
    return {j.key: read[j.key][1] if j.key in read else None for j in book.all(Job)}


def plan_brief(view: View, job_key: str, *, drive: bool = True) -> PlanBrief:
    """The plan of a job as the rules need it, kept by the hash of its inputs.

    Parameters
    ----------
    view : View
        Of the book. [-]
    job_key : str
        Which job. [-]
    drive : bool
        With the stops along the line to drive; a finished job needs none. [-]
    """
    inputs = replace(job_inputs(view, job_key), drive=drive)
    made_from = hashlib.sha256(f"{__version__} {inputs.hash()}".encode()).hexdigest()
    kept: PlanBrief | None = view.memo.get(("brief", made_from)) or view.remembered(PlanBrief, made_from)
    if kept is None:
        plan = plan_for(inputs)
        passes = () if plan.drive is None or plan.width_m is None else tuple((plan.drive.pass_lengths_m() * plan.width_m / 1e4).tolist())
        card = tuple(replace(x, working=None) for x in plan.card if _matters(x))
        kept = PlanBrief(plan=replace(plan, drive=None, card=card), pass_ha=passes)
        view.remember(kept, input_hash=made_from, about=job_key)
    view.memo["brief", made_from] = kept
    return kept


def _matters(line: CardLine) -> bool:
    return (line.role == "alarm" and bool(line.bin)) or line.group == "keep" or bool(line.stale_now)


def job_facts(
    book: Book | View, job_key: str, *, clock: Clock, findings: tuple[Finding, ...] | None = None, profile: Profile | None = None
) -> Facts:
    """A snapshot of one job. Findings are computed from the job's readings where they are not handed in. [metric]"""
    from evenstand.book import JobReading, View
    from evenstand.desk.checking import check_job

    view = book if isinstance(book, View) else View(book)
    inputs = job_inputs(view, job_key)
    at, done = _read(view).get(job_key, ("", None))
    area = _area_of(view, inputs.job)
    over = area is not None and done is not None and done >= area
    brief = plan_brief(view, job_key, drive=not over)
    plan, now = brief.plan, clock.now()
    fills = view.all(Fill, job=job_key)
    latest = {r.reading.quantity: r.reading for r in view.all(JobReading, job=job_key)}
    left = {b.bin: left_in_bin(b, fills, latest, done) for b in plan.bins}
    hours = inputs.job.day_hours or default("workday-hours").value
    day = plan.low_ha_h * hours * (inputs.job.workable or 1.0) if plan.low_ha_h else None
    return Facts(
        job=inputs.job,
        plan=plan,
        outfit=inputs.outfit,
        products=inputs.products,
        lots=inputs.lots,
        factors=inputs.factors,
        fills=fills,
        findings=check_job(view, job_key, profile=profile) if findings is None else findings,
        done_ha=done,
        done_at=at,
        done_pass=_passes_done(brief.pass_ha, done),
        today=now.date(),
        now=now,
        left_ha_other=_left_elsewhere(view, inputs.job),
        day_ha=day,
        left_kg={b: Est(value=v[0], sd=v[1] or 0.0, basis="computed", source=v[2]) for b, v in left.items() if v[0] is not None},
        held=_held_before(view, inputs.job),
        stock_kg=stock_of(view),
        trucks=view.all(Load, kind="truck", job=job_key),
        proofs=None if over or inputs.outfit is None else _proofs(view, inputs.outfit.key, clock),
        profile=profile or view.profile,
    )


def _read(view: View) -> Mapping[str, tuple[str, float]]:
    if "read" not in view.memo:
        view.memo["read"] = read_last(view)
    found: Mapping[str, tuple[str, float]] = view.memo["read"]
    return found


def _area_of(view: View, job: Job) -> float | None:
    """Of the job, else of its outline. [ha]"""
    if job.area_ha is not None or not job.field_key:
        return job.area_ha
    outline = view.get(Boundary, job.field_key)
    return outline.area_ha if outline is not None else None


def _left_of(view: View, job: Job) -> float:
    """What is left to sow of a job; nothing where its area is not known. [ha]"""
    return max(0.0, (_area_of(view, job) or 0.0) - (_read(view).get(job.key, ("", 0.0))[1]))


def _left_elsewhere(view: View, job: Job) -> float:
    """What the same outfit has to finish by the same day on other fields. [ha]"""
    if not job.finish_by or not job.outfit:
        return 0.0
    mine = view.all(Job, outfit=job.outfit)
    return sum(_left_of(view, j) for j in mine if j.key != job.key and j.finish_by and j.finish_by <= job.finish_by)


def _held_before(view: View, job: Job) -> dict[str, str]:
    """What each bin of the outfit held last, by fills of other jobs: product by bin."""
    others = sorted((f for f in view.all(Fill, outfit=job.outfit) if f.job != job.key), key=lambda f: (f.at, f.key)) if job.outfit else ()
    return {f.bin: f.product for f in others}


def stock_of(view: View) -> dict[str, float]:
    """What came of each product and is in no bin yet, with what was left over and is still there. Where more went into bins than came, some
    delivery is not on record, and nothing is said. [kg]"""
    if "stock" not in view.memo:
        loads, fills = view.all(Load), view.all(Fill)
        out = {}
        for product in dict.fromkeys(x.product for x in loads):
            found = account(product, loads, fills)
            kept = sum(x.mass_kg or 0.0 for x in loads if x.product == product and x.kind == "left-over")
            gone = sum(x.mass_kg or 0.0 for x in loads if x.product == product and x.kind == "return" and x.part_of)
            if found.open_kg is not None and not found.unknown and found.open_kg >= -2 * (found.open_sd_kg or 0.0):
                out[product] = max(0.0, found.open_kg) + max(0.0, kept - gone)
        view.memo["stock"] = out
    stock: dict[str, float] = view.memo["stock"]
    return stock


def _proofs(view: View, outfit: str, clock: Clock) -> tuple[OpenItem, ...]:
    """What is open on an outfit, looked up once."""
    from evenstand.desk.proofs import open_proofs

    if ("proofs", outfit) not in view.memo:
        view.memo["proofs", outfit] = open_proofs(view.book, outfit, clock=clock)
    found: tuple[OpenItem, ...] = view.memo["proofs", outfit]
    return found


def stock_facts(view: View, *, clock: Clock, profile: Profile) -> StockFacts:
    """Orders, what is owed of them, what is on hand, and what each job still takes. [kg]"""
    orders, loads = view.all(Order), view.all(Load)
    still = owed(orders, loads)
    never = {o.product for o in orders} - {x.product for x in loads}
    jobs = [j for j in view.all(Job) if _left_of(view, j) > 0]
    return StockFacts(
        orders=tuple(o for o in orders if not o.closed_at),
        owed_kg={o.order: o.owed_kg for o in still if o.owed_kg is not None},
        on_hand_kg=stock_of(view) | dict.fromkeys(never, 0.0),
        jobs=tuple(jobs),
        need_kg={(j.key, a.product): max(0.0, a.rate_kg_ha * _left_of(view, j) - _inside(view, j, a)) for j in jobs for a in j.asks},
        products={p.key: p for p in view.all(Product)},
        today=clock.now().date(),
        profile=profile,
    )


def _paper(view: View, said: tuple[Step, ...], *, profile: Profile) -> PaperFacts:
    """What is wrong with tickets and fills; worked out once for a view. [-]"""
    from evenstand.desk.loads import shed_findings

    if ("paper", profile) not in view.memo:
        view.memo["paper", profile] = shed_findings(view, profile=profile)
    return PaperFacts(findings=view.memo["paper", profile], products={p.key: p for p in view.all(Product)}, said=said, profile=profile)


def _inside(view: View, job: Job, ask: Ask) -> float:
    """What went into bins for a job and is not sown yet, at the rate asked. [kg]"""
    put = sum(f.put_kg for f in view.all(Fill, job=job.key) if f.product == ask.product)
    return max(0.0, put - ask.rate_kg_ha * _read(view).get(job.key, ("", 0.0))[1])


def current_jobs(book: Book | View, done_by_job: Mapping[str, float | None] | None = None) -> tuple[Job, ...]:
    """Jobs that matter now: all that were begun, and for each outfit the one to be finished first of those not begun.

    The rest waits: its proofs and fills come up when its turn comes.
    """
    jobs = sorted(book.all(Job), key=lambda j: (j.finish_by or "9999", j.key))
    done = done_of(book) if done_by_job is None else done_by_job
    begun = [j for j in jobs if done.get(j.key) is not None]
    first: dict[str, Job] = {}
    for job in jobs:
        if done.get(job.key) is None:
            first.setdefault(job.outfit, job)
    return (*begun, *first.values())


def next_list(book: Book | View, *, clock: Clock, job_key: str = "", profile: Profile | None = None) -> tuple[Step, ...]:
    """The ruled list over one job or the whole book.

    Parameters
    ----------
    book : Book or View
        Open for reading. [-]
    clock : Clock
        For dates and for steps that were put off. [UTC]
    job_key : str
        One job, or "" for all. [-]
    profile : str or None
        Units of the sentences; those of the book where not given. [-]

    Returns
    -------
    tuple of Step
        Most urgent first; a step put off comes back on its day; an outfit's own proof stands once; a step that closes by word is gone
        while somebody's word stands. [-]
    """
    from evenstand.book import StepState, View

    view = book if isinstance(book, View) else View(book)
    said = {s.key: s for s in view.all(StepState)}
    today = clock.now().date()
    chosen = [j for j in view.all(Job) if j.key == job_key] if job_key else current_jobs(view, done_of(view))
    found = [step for job in chosen for step in next_steps(job_facts(view, job.key, clock=clock, profile=profile))]
    if not job_key:
        found += ordering_steps(stock_facts(view, clock=clock, profile=profile or view.profile))
        found += accounting_steps(_paper(view, tuple(found), profile=profile or view.profile))
    steps: dict[str, Step] = {}
    for step in found:
        state = said.get(step.key)
        if state is not None and state.state == "deferred" and state.until and date.fromisoformat(state.until[:10]) > today:
            continue
        if state is not None and state.state == "closed" and step.by_word:
            continue
        steps.setdefault(step.key, step)
    return in_order(steps.values())
