"""The Next list of a book: one snapshot a job, the rules, and what the owner has put off."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock
from evenstand.base.units import Profile
from evenstand.desk.planning import job_inputs
from evenstand.expect import plan_for
from evenstand.model import Fill, Finding, Job, Plan, Step
from evenstand.nextup import Facts, next_steps
from evenstand.reference import default

if TYPE_CHECKING:
    from evenstand.book import Book


def done_ha_of(book: Book, job_key: str) -> float | None:
    """Hectares sown so far, by the newest area reading of the job, else by the newest fill that carries one. [ha]"""
    from evenstand.book import JobReading

    areas = [(r.reading.at, r.reading.value) for r in book.all(JobReading, job=job_key) if r.reading.quantity == "area_counter"]
    areas += [(f.at, f.area_ha) for f in book.all(Fill, job=job_key) if f.area_ha is not None]
    return max(areas)[1] if areas else None


def done_pass_of(plan: Plan, done_ha: float | None) -> int | None:
    """The last pass of the plan that the hectares sown cover. [pass]"""
    if plan.drive is None or done_ha is None or plan.width_m is None:
        return None
    import numpy as np

    sown = np.cumsum(plan.drive.pass_lengths_m()) * plan.width_m / 1e4
    return int(np.searchsorted(sown, done_ha + 1e-9))


def done_of(book: Book) -> dict[str, float | None]:
    """Hectares sown so far of every job, read in one go. [ha]"""
    from evenstand.book import JobReading

    newest: dict[str, tuple[str, float]] = {}
    areas = [(r.job, (r.reading.at, r.reading.value)) for r in book.all(JobReading) if r.reading.quantity == "area_counter"]
    areas += [(f.job, (f.at, f.area_ha)) for f in book.all(Fill) if f.area_ha is not None]
    for job, one in areas:
        newest[job] = max(newest.get(job, one), one)
    return {j.key: newest[j.key][1] if j.key in newest else None for j in book.all(Job)}


def job_facts(
    book: Book,
    job_key: str,
    *,
    clock: Clock,
    findings: tuple[Finding, ...] | None = None,
    profile: Profile | None = None,
    done_by_job: Mapping[str, float | None] | None = None,
) -> Facts:
    """A snapshot of one job. Findings are computed from the job's readings, and hectares read, where they are not handed in. [metric]"""
    from evenstand.desk.checking import check_job

    inputs = job_inputs(book, job_key)
    plan = plan_for(inputs)
    sown = done_of(book) if done_by_job is None else done_by_job
    done = sown.get(job_key)
    waiting = [j for j in book.all(Job) if j.outfit == inputs.job.outfit and j.key != job_key and j.finish_by == inputs.job.finish_by]
    left_other = sum(j.area_ha or 0.0 for j in waiting if sown.get(j.key) is None)
    day = plan.low_ha_h * default("workday-hours").value if plan.low_ha_h else None
    return Facts(
        job=inputs.job,
        plan=plan,
        outfit=inputs.outfit,
        products=inputs.products,
        lots=inputs.lots,
        factors=inputs.factors,
        fills=tuple(book.all(Fill, job=job_key)),
        findings=check_job(book, job_key, profile=profile) if findings is None else findings,
        done_ha=done,
        done_pass=done_pass_of(plan, done),
        today=clock.now().date(),
        left_ha_other=left_other,
        day_ha=day,
        profile=profile or book.profile,
    )


def current_jobs(book: Book, done_by_job: Mapping[str, float | None] | None = None) -> tuple[Job, ...]:
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


def next_list(book: Book, *, clock: Clock, job_key: str = "", profile: Profile | None = None) -> tuple[Step, ...]:
    """The ruled list over one job or the whole book.

    Parameters
    ----------
    book : Book
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
        Most urgent first; a step put off comes back on its day; an outfit's own proof stands once. [-]
    """
    from evenstand.book import StepState

    put_off = {s.key: s for s in book.all(StepState) if s.state == "deferred"}
    today = clock.now().date()
    steps: dict[str, Step] = {}
    done = done_of(book)
    for job in current_jobs(book, done) if not job_key else [j for j in book.all(Job) if j.key == job_key]:
        for step in next_steps(job_facts(book, job.key, clock=clock, profile=profile, done_by_job=done)):
            until = put_off[step.key].until if step.key in put_off else ""
            if until and date.fromisoformat(until[:10]) > today:
                continue
            steps.setdefault(step.key, step)
    return tuple(sorted(steps.values(), key=lambda s: (-s.rank, s.key)))
