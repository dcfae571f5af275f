"""The shift note: where it stopped, what is in the bins, what is in force and was changed, what is in doubt, what to mind."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock, iso
from evenstand.base.units import Profile, shown
from evenstand.desk.bins_left import left_in_bin
from evenstand.desk.changes import ChangeLine, change_lines, changes_of
from evenstand.desk.checking import check_job, typed_values
from evenstand.desk.nexts import done_ha_of, done_pass_of
from evenstand.desk.planning import job_inputs
from evenstand.model import BinPlan, Fill, Finding, Outfit, Plan, Reading, State

if TYPE_CHECKING:
    from evenstand.book import Book, Entry, Handover

SHIFT_H = 24
"""How far back a note looks where no shift was handed over before. [h]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftBin:
    """A bin at the end of the shift. left_kg, sd_kg: by the tally, None where it cannot be told [kg]; lasts_ha: at the rate [ha]; how:
    what it rests on."""

    bin: str
    product: str
    rate_kg_ha: float
    left_kg: float | None
    sd_kg: float | None
    lasts_ha: float | None
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftNote:
    """One page for the next one at the wheel. done_ha, left_ha: sown, still to sow [ha]; done_pass, next_pass: by the plan's line, None
    without one; stop: the next fill in words; in_force: (what, value); changed: since `since`; doubts: what does not hold, is doubtful, or
    could be settled; shut: runs; hazards: of the field; said: what was said when it was handed over last, by whom; calls: kept since."""

    job: str
    crop: str
    field: str
    outfit: str
    at: str
    since: str
    done_ha: float | None
    left_ha: float | None
    done_pass: int | None
    next_pass: int | None
    last_read: str
    stop: str
    bins: tuple[ShiftBin, ...]
    in_force: tuple[tuple[str, str], ...]
    changed: tuple[ChangeLine, ...]
    doubts: tuple[Finding, ...]
    shut: tuple[int, ...]
    hazards: tuple[str, ...]
    said: str
    said_by: str
    said_at: str
    calls: tuple[str, ...] = ()


def doubt_lines(note: ShiftNote) -> tuple[tuple[State, str, str], ...]:
    """The open doubts as (state, claim, what would settle it): what does not hold one by one, then what cannot be told yet, gathered by
    the reading that would settle it, so that one errand stands once. [text]

    Parameters
    ----------
    note : ShiftNote
        From `shift_note`. [-]
    """
    out: list[tuple[State, str, str]] = [
        (f.state, f.claim, (f.settle_by or f.confirm_by).rstrip(".")) for f in note.doubts if f.state != "cannot-tell"
    ]
    errands: dict[str, list[str]] = {}
    for f in (f for f in note.doubts if f.state == "cannot-tell"):
        subject = f.claim.partition(" cannot be told")[0].rstrip(".,")
        errands.setdefault(f.settle_by.rstrip("."), []).append(subject)
    for settle, subjects in errands.items():
        named = list(dict.fromkeys(subjects))
        listed = named[0] if len(named) == 1 else "; ".join(named)
        out.append(("cannot-tell", f"{listed[:1].upper()}{listed[1:]}.", settle))
    return tuple(out)


def shift_note(book: Book, job: str, *, clock: Clock, since: str = "", profile: Profile | None = None) -> ShiftNote:
    """The note of a job as it stands.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    job : str
        Its key. [-]
    clock : Clock
        When it is made. [UTC]
    since : str
        What changed after this moment; "": since the shift was handed over last, else the last `SHIFT_H` hours. [ISO 8601]
    profile : str or None
        Units of the sentences; those of the book where not given. [-]

    Raises
    ------
    MissingError
        If there is no such job.
    """
    from evenstand.book import JobReading
    from evenstand.expect import plan_for

    units = profile or book.profile
    inputs = job_inputs(book, job)
    plan = plan_for(inputs)
    outfit = inputs.outfit or Outfit(key="", name="the outfit")
    latest = {r.reading.quantity: r.reading for r in book.all(JobReading, job=job)}
    fills = book.all(Fill, job=job)
    done = done_ha_of(book, job)
    done_pass = done_pass_of(plan, done)
    last = last_handover(book, job)
    begin = since or (last.at if last else iso(clock.now() - timedelta(hours=SHIFT_H)))
    names = {p.key: p.name for p in inputs.products.values()}
    all_changes = changes_of(book, job, outfit.key)
    made = {e.id for e in all_changes if e.kind == "Job" and e.table == "jobs" and e.field == "*"}
    changes = [
        e for e in all_changes if e.at > begin and e.id not in made and _is_value(e, {*names, *(lot.key for lot in inputs.lots.values())})
    ]
    passes = int(plan.drive.pass_lengths_m().size) if plan.drive is not None else None
    boundary = inputs.boundary
    bins = tuple(_bin(b, fills, latest, done, names) for b in plan.bins)
    return ShiftNote(
        job=job,
        crop=inputs.job.crop,
        field=plan.field_name,
        outfit=outfit.name,
        at=iso(clock.now()),
        since=begin,
        done_ha=done,
        left_ha=None if plan.area_ha is None else max(0.0, plan.area_ha - (done or 0.0)),
        done_pass=done_pass,
        next_pass=_next_pass(done_pass, passes) if plan.area_ha is None or (done or 0.0) < plan.area_ha else None,
        last_read=_last_read(latest, fills),
        stop=_stop(plan, done_pass, done, bins, units),
        bins=bins,
        in_force=_in_force(outfit, plan, typed_values(outfit, plan, inputs.factors, latest), units),
        changed=change_lines(changes, profile=units, products=names),
        doubts=tuple(f for f in check_job(book, job, profile=units) if f.state != "holds" and (f.state != "cannot-tell" or f.settle_by)),
        shut=tuple(sorted(r.number for r in outfit.runs if r.shut)),
        hazards=tuple(f"{h.kind}: {h.note}" if h.note else h.kind for h in boundary.hazards) if boundary is not None else (),
        said=last.note if last else "",
        said_by=last.by if last else "",
        said_at=last.at if last else "",
        calls=_calls(book, job, begin),
    )


def _is_value(entry: Entry, products: set[str]) -> bool:
    """Whether an entry is a value in force of this job (its products and lots by key), not a thing that came new beside it."""
    if entry.field != "*":
        return entry.kind not in ("Product", "Lot") or entry.key in products
    row = entry.after if isinstance(entry.after, dict) else entry.before if isinstance(entry.before, dict) else {}
    return (
        entry.kind in ("MeterFactor", "CatchRecord") and entry.table in ("meter_factors", "catch_tests") and row.get("product") in products
    )


def last_handover(book: Book, job: str) -> Handover | None:
    """When the job was handed over last; None if never."""
    from evenstand.book import Handover

    found = book.all(Handover, job=job)
    return found[-1] if found else None


def hand_over(book: Book, job: str, *, note: str = "", by: str = "", clock: Clock) -> Handover:
    """Keep that a shift is handed over: the next note tells what changed after this.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    job : str
        Its key. [-]
    note, by : str
        What the next one should know; who hands over. [-]
    clock : Clock
        When. [UTC]

    Raises
    ------
    MissingError
        If there is no such job.
    """
    from evenstand.book import Handover
    from evenstand.desk.recording import free_key, slug

    job_inputs(book, job)
    at = iso(clock.now())
    made = Handover(key=free_key(book, Handover, slug(f"{job} {at}")), job=job, at=at, by=by.strip(), note=note.strip())
    book.put(made, why="shift handed over")
    return made


def _next_pass(done: int | None, passes: int | None) -> int | None:
    return None if done is None or passes is None or done >= passes else done + 1


def _last_read(latest: dict[str, Reading], fills: tuple[Fill, ...]) -> str:
    """When the hectares were read last."""
    times = [f.at for f in fills if f.area_ha is not None]
    if "area_counter" in latest:
        times.append(latest["area_counter"].at)
    return max(times, default="")


def _calls(book: Book, job: str, begin: str) -> tuple[str, ...]:
    """Calls about the job since the last hand-over. [text]"""
    from evenstand.desk.calls import calls_of

    return tuple(
        f"{c.caller or 'somebody'}, {c.at[:10]} {c.at[11:16]} UTC: {'; '.join(part for part in (c.asked, c.note) if part) or 'no numbers'}"
        for c in calls_of(book, job=job)
        if c.at > begin
    )


def _stop(plan: Plan, done_pass: int | None, done: float | None, bins: tuple[ShiftBin, ...], profile: Profile) -> str:
    """The next fill in words; and what runs out before it."""
    if not plan.stops:
        return ""
    ahead = next((s for s in plan.stops if s.after_pass > (done_pass or 0)), None)
    if ahead is None:
        text = "No fill is planned any more."
        left = None if plan.area_ha is None else plan.area_ha - (done or 0.0)
        when = "before the field is done"
    else:
        adds = ", ".join(f"{b} {shown(10.0 * round(v / 10.0), 'mass', profile)}" for b, v in sorted(ahead.add_kg.items()) if v > 0)
        text = f"Fill after pass {ahead.after_pass}, no later than pass {ahead.latest_pass}: {adds}."
        left, when = ahead.at_ha - (done or 0.0), "before that stop"
    short = [b for b in bins if b.lasts_ha is not None and left is not None and b.lasts_ha < left]
    for b in sorted(short, key=lambda b: b.lasts_ha or 0.0):
        text += f" Bin {b.bin} is good for {shown(b.lasts_ha, 'area', profile)} only: it runs out {when}."
    return text


def _bin(b: BinPlan, fills: tuple[Fill, ...], latest: dict[str, Reading], done: float | None, names: dict[str, str]) -> ShiftBin:
    """What should be left: the newest look at the bin, less rate times hectares since."""
    left, sd, how = left_in_bin(b, fills, latest, done)
    lasts = None if left is None or b.rate_kg_ha <= 0 else max(0.0, left) / b.rate_kg_ha
    return ShiftBin(
        bin=b.bin, product=names.get(b.product, b.product), rate_kg_ha=b.rate_kg_ha, left_kg=left, sd_kg=sd, lasts_ha=lasts, how=how
    )


def _in_force(outfit: Outfit, plan: Plan, typed: dict[str, float], profile: Profile) -> tuple[tuple[str, str], ...]:
    out = []
    for b in plan.bins:
        out.append((f"Bin {b.bin}, rate", shown(typed.get(f"rate:{b.bin}", b.rate_kg_ha), "rate", profile)))
        out.append((f"Bin {b.bin}, product per turn", shown(typed.get(f"F:{b.bin}"), "factor", profile)))
    out.append(("Width typed for the rate", shown(typed.get("W"), "width", profile)))
    out.append(("Distance per pulse", shown(outfit.pulse_m.value if outfit.pulse_m else None, "pulse", profile)))
    out.append(("Fan speed that passed the puff test", shown(outfit.fan_turns_s.value if outfit.fan_turns_s else None, "fan", profile)))
    if outfit.stand_in_m_s is not None:
        out.append(("Stand-in speed (look that it is off)", shown(outfit.stand_in_m_s, "speed", profile)))
    return tuple(out)
