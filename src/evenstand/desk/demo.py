"""The demo: the invented farm as a book, a planned job, a simulated day with faults read back from its log, and what the checks say."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock, FixedClock, iso
from evenstand.base.errors import InputError
from evenstand.desk.demo_farm import DemoFarm, demo_farm
from evenstand.model import Boundary, Fill, Finding, Load, Plan, Step, Trail

if TYPE_CHECKING:
    from evenstand.book import Book, TrailRecord
    from evenstand.simulate import Day

JOB = "home-wheat"
FAULTS = ("factor:D=6", "run=37")
SEED = 2
MORNING = datetime(2027, 5, 9, 12, 0, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What the demo did. day: simulated, its truth for the ending only; trail: as read back from the written log; findings, steps: what
    the book says of it; expected: cause -> whether it was found."""

    farm: DemoFarm
    plan: Plan
    day: Day
    trail: Trail
    record: TrailRecord
    findings: tuple[Finding, ...]
    steps: tuple[Step, ...]
    found: dict[str, bool]

    @property
    def as_told(self) -> bool:
        """Whether every fault that was put in is named, and nothing that was not."""
        return all(self.found.values())


def build_book(folder: Path, *, clock: Clock | None = None) -> None:
    """Write the demo farm into a new book.

    Parameters
    ----------
    folder : Path
        Must not hold a book yet. [-]
    clock : Clock or None
        The demo's own morning where not given. [UTC]
    """
    from evenstand.book import Book, JobReading

    farm = demo_farm()
    clock = clock or FixedClock(MORNING)
    with Book.create(folder, farm=farm.name, profile="si", who="demo", clock=clock) as book, book.batch("demo farm, invented"):
        for kind in (farm.products, farm.lots, farm.outfits, farm.factors, farm.boundaries, farm.jobs, farm.loads, farm.fills):
            for thing in kind:
                book.put(thing)
        for job, readings in farm.hand_readings.items():
            for i, reading in enumerate(readings, 1):
                book.put(JobReading(key=f"{job}-hand-{i}", job=job, reading=reading, by="demo"))


def live_through(folder: Path, *, log: Path, seed: int = SEED, faults: tuple[str, ...] = FAULTS) -> Story:
    """Plan the wheat job, simulate its day with faults, write the log, read it back into the book, check, and list what to do next.

    Parameters
    ----------
    folder : Path
        The demo book. [-]
    log : Path
        Where the machine's log is written. [-]
    seed : int
        The same seed gives the same day. [-]
    faults : tuple of str
        As `evenstand demo --fault` takes them. [-]
    """
    from evenstand.book import Book
    from evenstand.desk.logs import read_log
    from evenstand.desk.nexts import job_facts
    from evenstand.desk.planning import plan_job
    from evenstand.formats.delimited import write_trail_csv
    from evenstand.nextup import next_steps
    from evenstand.simulate import SimulationError, simulate_day

    farm = demo_farm()
    clock = FixedClock(MORNING)
    with Book.open(folder, write=True, who="demo", clock=clock) as book:
        plan = plan_job(book, JOB)
        outfit = farm.outfit(plan.outfit)
        boundary = next(b for b in book.all(Boundary) if b.name == plan.field_name)
        try:
            day = simulate_day(outfit, plan, boundary, seed=seed, faults=faults, optional="all", start_ms=int(MORNING.timestamp() * 1000))
        except SimulationError as error:
            raise InputError(str(error), where="fault") from None
        write_trail_csv(day.trail, log)
        clock.advance(hours=11)
        record = read_log(book, JOB, log, clock=clock)
        _keep_day(book, day, clock)
        _keep_loads(book, plan, day)
        trail = book.trail(record.key)
        facts = job_facts(book, JOB, clock=clock)
        return Story(
            farm=farm,
            plan=plan,
            day=day,
            trail=trail,
            record=record,
            findings=facts.findings,
            steps=next_steps(facts),
            found=_found(faults, facts.findings),
        )


def _keep_day(book: Book, day: Day, clock: Clock) -> None:
    """Fills, events and the readings at the end of the day, as somebody would have entered them."""
    from evenstand.book import JobEvent, JobReading

    at = iso(clock.now())
    with book.batch("the day's fills and readings"):
        for i, fill in enumerate(day.fills, 1):
            book.put(dataclasses.replace(fill, key=f"{JOB}-day-{i}", job=JOB, load=""))
        for i, event in enumerate(day.events, 1):
            book.put(JobEvent(key=f"{JOB}-event-{i}", job=JOB, event=event, at=at))
        for i, reading in enumerate(day.readings, 1):
            book.put(JobReading(key=f"{JOB}-reading-{i}", job=JOB, reading=dataclasses.replace(reading, at=reading.at or at), by="demo"))


def _keep_loads(book: Book, plan: Plan, day: Day) -> None:
    """What came for the day by truck scale, for products whose deliveries on record do not cover what was put in."""
    delivered = {r.quantity.partition(":")[2]: r for r in day.readings if r.quantity.startswith("delivered:")}
    loads, fills = book.all(Load), book.all(Fill)
    for b in plan.bins:
        came = sum(x.mass_kg or 0.0 for x in loads if x.product == b.product and x.kind == "delivery")
        put = sum(f.put_kg for f in fills if f.product == b.product)
        if b.bin in delivered and came < put:
            read = delivered[b.bin]
            load = Load(
                key=f"{JOB}-day-{b.bin.lower()}",
                kind="delivery",
                product=b.product,
                mass_kg=read.value,
                sd_kg=read.sd,
                how="truck-scale",
                at=read.at,
            )
            book.put(load, why="the day's deliveries")


def _found(faults: tuple[str, ...], findings: tuple[Finding, ...]) -> dict[str, bool]:
    """Whether each cause put in stands in a first set of suspects of something that does not hold."""
    named = {c for f in findings if f.state == "does-not-hold" and f.suspects for c in f.suspects[0]}
    causes = [_cause(f) for f in faults]
    return {c: c in named for c in causes}


def _cause(fault: str) -> str:
    """'run=37' is the cause 'run:37'; 'factor:D=6' is 'factor:D'."""
    kind, _, size = fault.partition("=")
    return f"{kind}:{size}" if kind in {"run", "head"} else kind
