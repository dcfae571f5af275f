"""A job checked in the light of earlier ones: how far meters and instruments of the outfit have really moved and read before.

What past days teach is not kept: it is made again from the readings of each earlier job, and each job's check is kept by the hash of
what it was made from. A job that is put right later teaches anew by itself.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from evenstand import __version__
from evenstand.base.units import Profile, rounded
from evenstand.check import DaySeen, day_seen, scale_values, updated_scales, wandering
from evenstand.check.learning import LAST_DAYS, LEAST_DAYS
from evenstand.desk.planning import job_inputs
from evenstand.model import Fill, Finding, Job, Outfit, Reading
from evenstand.solve.scales import Scale

if TYPE_CHECKING:
    from evenstand.book import View

_ORDER = {"does-not-hold": 0, "doubtful": 1, "cannot-tell": 2, "holds": 3}
_MOVING = {"factor": "Product per turn", "distance": "The distance counted", "width": "The width"}
_INSTRUMENTS = {
    "ticket": "Tickets",
    "truck-scale": "The truck scale",
    "pads": "The weigh pads",
    "cart-scale": "The cart's own scale",
    "weighed": "What was weighed out of a bin",
    "low-light": "The low-level light",
    "outline": "Areas by outline",
    "gnss": "The second receiver",
    "tape": "The tape",
    "glance": "Looks into the bin",
    "tote": "Totes",
    "brim": "Bins filled to the brim",
    "conveyor": "Conveyor time",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class JobCheck:
    """A job's own check: its findings, and what it teaches the next (see `check.DaySeen`; errors of instruments over what is stated).
    share_done: how much of it, or of its first day, was done; None where that cannot be told."""

    findings: tuple[Finding, ...]
    gains: dict[str, tuple[float, float]] = field(default_factory=dict)
    instruments: dict[str, tuple[float, ...]] = field(default_factory=dict)
    share_done: float | None = None

    @property
    def seen(self) -> DaySeen:
        """As the learning takes it."""
        return DaySeen(gains=self.gains, instruments=self.instruments)

    @property
    def teaches(self) -> bool:
        """Whether anything was seen that a later day can use."""
        return bool(self.gains or self.instruments)


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """What stands before a job: one row for each earlier job of the outfit that taught something, oldest first, and its day. scales: how
    far things have moved and read since, over what is usual or stated."""

    rows: tuple[DaySeen, ...] = ()
    days: tuple[str, ...] = ()
    scales: Mapping[str, Scale] = field(default_factory=dict)

    def values(self) -> dict[str, float]:
        """The scales as the check takes them; to three figures, so that a hair's breadth in one field does not make all later ones new."""
        return {name: float(f"{value:.3g}") for name, value in scale_values(self.scales).items()}


def past_from(rows: Sequence[DaySeen], days: Sequence[str]) -> Past:
    """What so many days teach; only the last ones count. [-]"""
    kept = tuple(rows[-LAST_DAYS:])
    return Past(rows=kept, days=tuple(days[-LAST_DAYS:]), scales=updated_scales(kept) if kept else {})


def with_past(view: View, job_key: str, profile: Profile) -> tuple[Finding, ...]:
    """Findings of a job, those that only several days show among them.

    Parameters
    ----------
    view : View
        Of the book. [-]
    job_key : str
        Which job. [-]
    profile : str
        Units of the sentences. [-]
    """
    past = past_of(view, job_key)
    own = job_check(view, job_key, past.values(), profile)
    if own is None:
        return ()
    extra = [*_wanders(past, own, _day(view, job_key)), *spread_findings(past)]
    return tuple(sorted((*own.findings, *extra), key=lambda f: _ORDER[f.state]))


def past_of(view: View, job_key: str) -> Past:
    """What earlier jobs of the same outfit and season have left, by the moment each was read last. [-]"""
    job = job_inputs(view, job_key).job
    if not job.outfit or not _last_read(view).get(job_key, ""):
        return Past()
    return _chain(view, job.outfit, job.season)[job_key]


def _chain(view: View, outfit: str, season: int) -> dict[str, Past]:
    """What stands before every job of an outfit that was read: each checked, oldest first, with what those before it have taught."""
    memo: dict[str, Past] | None = view.memo.get(("chain", outfit, season))
    if memo is not None:
        return memo
    last = _last_read(view)
    ordered = sorted((last[j.key], j.key) for j in view.all(Job, outfit=outfit, season=season) if last.get(j.key))
    out: dict[str, Past] = {}
    rows: list[DaySeen] = []
    days: list[str] = []
    for at, key in ordered:
        out[key] = past_from(rows, days)
        found = job_check(view, key, out[key].values(), view.profile)
        if found is not None and found.teaches:
            rows.append(found.seen)
            days.append(at[:10])
    view.memo["chain", outfit, season] = out
    return out


def _last_read(view: View) -> dict[str, str]:
    """When each job was read last, by readings and fills."""
    known: dict[str, str] | None = view.memo.get("last read")
    if known is None:
        from evenstand.book import JobReading

        known = {}
        for job, at in (*((r.job, r.reading.at) for r in view.all(JobReading)), *((f.job, f.at) for f in view.all(Fill))):
            known[job] = max(known.get(job, ""), at)
        view.memo["last read"] = known
    return known


def _day(view: View, job_key: str) -> str:
    return _last_read(view).get(job_key, "")[:10]


def job_check(view: View, job_key: str, scales: Mapping[str, float], profile: Profile) -> JobCheck | None:
    """A job's own check, kept by the hash of all it is made from; None where nothing has been read. The log is opened only where the
    check is made anew. [-]"""
    from evenstand.book import JobEvent, TrailRecord

    inputs = job_inputs(view, job_key)
    readings = readings_now(view, job_key)
    fills, trails = view.all(Fill, job=job_key), view.all(TrailRecord, job=job_key)
    events = tuple(e.event for e in view.all(JobEvent, job=job_key))
    if not readings and not fills and not trails:
        return None
    parts = (
        __version__, profile, inputs.hash(), tuple(readings.values()), fills, events, trails[-1].parquet_hash if trails else "",
        sorted(scales.items()),
    )  # fmt: skip
    made_from = hashlib.sha256(repr(parts).encode()).hexdigest()
    kept = view.memo.get(("check", made_from)) or view.remembered(JobCheck, made_from)
    if kept is None:
        kept = _check(view, job_key, scales, profile)
        view.remember(kept, input_hash=made_from, about=f"{job_key}, {profile}")
    view.memo["check", made_from] = kept
    return kept


def readings_now(view: View, job_key: str) -> dict[str, Reading]:
    """The newest reading of each quantity of a job; the area counter as a later fill carries it, where one does: an older one beside newer
    fills would speak of other ground. [metric]"""
    from evenstand.book import JobReading
    from evenstand.desk.checking import reading_of

    latest = {r.reading.quantity: r.reading for r in view.all(JobReading, job=job_key)}
    counter = latest.get("area_counter")
    if counter is not None:
        later = [(f.at, f.area_ha) for f in view.all(Fill, job=job_key) if f.area_ha is not None and f.at > counter.at]
        at, area = max(later, default=("", counter.value))
        if at and area > counter.value:
            latest["area_counter"] = reading_of("area_counter", area, at=at)
    return latest


def _check(view: View, job_key: str, scales: Mapping[str, float], profile: Profile) -> JobCheck:
    from evenstand.book import JobEvent
    from evenstand.desk.checking import newest_trail, share_done, typed_values
    from evenstand.desk.days import day_and_check
    from evenstand.expect import plan_for

    inputs = job_inputs(view, job_key)
    readings = readings_now(view, job_key)
    fills = view.all(Fill, job=job_key)
    plan = plan_for(replace(inputs, drive=False))  # no reading is checked against the line to drive
    outfit = inputs.outfit or Outfit(key="", name="the outfit")
    share = share_done(plan, readings, fills)
    findings, checked = day_and_check(
        outfit,
        plan,
        readings=tuple(readings.values()),
        fills=fills,
        events=tuple(e.event for e in view.all(JobEvent, job=job_key)),
        typed=typed_values(outfit, plan, inputs.factors, readings),
        trail=newest_trail(view, job_key),
        kinds={b.bin: inputs.products[b.product].kind for b in plan.bins if b.product in inputs.products},
        profile=profile,
        scales=scales,
        share_done=share,
    )
    band = (outfit.overlap_low, outfit.overlap_high)
    seen = day_seen(checked.verdict, tuple(readings.values()), overlap=band)
    errors = {name: tuple(z * scales.get(name, 1.0) for z in zs) for name, zs in seen.instruments.items()}  # over what is stated
    gains = {k: (v, sd) for k, (v, sd) in seen.gains.items()}
    return JobCheck(findings=findings, gains=gains, instruments=errors, share_done=share)


def _wanders(past: Past, own: JobCheck, day: str) -> list[Finding]:
    """What has begun to wander over days. Today is one of them once it is done: a sum that took every look of a day for a day of its own
    would alarm for nothing far too often."""
    with_today = own.teaches and (own.share_done is None or own.share_done >= 1)
    rows = (*past.rows, own.seen) if with_today else past.rows
    days = (*past.days, day) if with_today else past.days
    found = wandering(rows, dates=days, scales=past.values() or None) if rows else ()
    return [replace(f, about=f"{f.about}, over days") for f in found]


def spread_findings(past: Past) -> tuple[Finding, ...]:
    """What reads or moves otherwise than stated, in a sentence each: only where enough days say so and chance does not. [-]"""
    out = []
    for name, scale in sorted(past.scales.items()):
        days = _days_of(name, past.rows)
        if days < LEAST_DAYS or scale.low <= 1.0 <= scale.high:
            continue
        times = f"{rounded(scale.value, 2)} times"
        if name in _MOVING:
            claim = f"{_MOVING[name]} has moved {times} as much as is usual, over {days} earlier fields"
        else:
            claim = f"{_INSTRUMENTS.get(name, name)}: read {times} the stated spread, over {days} earlier fields"
        counts = "counts less" if scale.value > 1 else "counts more"
        out.append(
            Finding(
                claim=f"{claim}; what {'moves' if name in _MOVING else 'it reads'} {counts} here.",
                state="holds",
                worth_stopping=False,
                about=f"spread of {name}",
                evidence=(f"95 % between {rounded(scale.low, 2)} and {rounded(scale.high, 2)} times, {scale.n} readings",),
                not_claimed="That it is off to one side: this is how far it scatters.",
            )
        )
    return tuple(out)


def _days_of(name: str, rows: Sequence[DaySeen]) -> int:
    """On how many days a thing or an instrument was seen."""
    return sum(1 for d in rows if name in d.instruments or any(g.partition(":")[0] == name for g in d.gains))
