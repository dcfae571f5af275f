"""The trails of a job taken together, with what is known of its outfit, field and products."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenstand.base.errors import MissingError
from evenstand.model import Boundary, Job, Outfit, Plan, Product, Trail

if TYPE_CHECKING:
    from evenstand.base.units import Profile
    from evenstand.book import Book, TrailRecord
    from evenstand.desk.trail_lines import FaultLines
    from evenstand.desk.trail_places import TrailPlace
    from evenstand.trail import Coverage, TrailFacts
    from evenstand.trail.doses import TurnDose
    from evenstand.trail.places import Places


@dataclass(frozen=True, slots=True, kw_only=True)
class JobTrail:
    """All trails of a job as one. names: of the logs; products: name by bin letter, as the job asks for; farm: of the book; boundary: of
    its field, None where there is none or the logs were not driven in it; place: where they lie; plan: of the job, None where too little is
    known for one."""

    farm: str
    job: Job
    trail: Trail
    outfit: Outfit
    boundary: Boundary | None
    names: tuple[str, ...]
    products: dict[str, str]
    place: TrailPlace
    plan: Plan | None = None

    @property
    def notes(self) -> tuple[str, ...]:
        """What to know and do where the logs were not driven in the job's field. [text]"""
        from evenstand.desk.trail_places import place_lines

        return place_lines(self.place, {})


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailView:
    """A kept log with all that is shown of it. job: None where it belongs to none; boundary: of the job's field, None where there is none
    or the log was not driven in it; lines: what the detectors say; place: where it lies."""

    record: TrailRecord
    job: Job | None
    trail: Trail
    outfit: Outfit
    boundary: Boundary | None
    facts: TrailFacts
    lines: FaultLines
    place: TrailPlace


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldRecord:
    """What was sown, as a log or a job's logs tell it. name: of the logs; field, crop, season, farm: words for the head, "" where not
    known; job: key, None for a log by itself; notes: what to know of where it lies."""

    name: str
    trail: Trail
    outfit: Outfit
    boundary: Boundary | None
    facts: TrailFacts
    covered: Coverage
    places: Places | None
    turns: tuple[TurnDose, ...]
    products: dict[str, str]
    job: str | None = None
    field: str = ""
    crop: str = ""
    season: str = ""
    farm: str = ""
    notes: tuple[str, ...] = ()


def trail_view(book: Book, key: str, *, profile: Profile = "si") -> TrailView:
    """A kept log with its facts, what its detectors say, and where it lies.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    key : str
        Of the log. [-]
    profile : str
        Units of the sentences. [-]

    Raises
    ------
    MissingError
        If there is no such log, or its outfit is not known.
    """
    from evenstand.desk.trail_lines import fault_lines
    from evenstand.desk.trail_places import trail_place
    from evenstand.trail import coverage, trail_facts

    record = _record(book, key)
    trail = book.trail(key)
    job = book.get(Job, record.job) if record.job else None
    outfit = _outfit(book, record)
    place = trail_place(book, trail, job)
    boundary = book.get(Boundary, job.field_key) if job is not None and job.field_key and not place.elsewhere else None
    covered = coverage(trail, outfit, boundary)
    plan = _plan(book, job) if job is not None else None
    facts = trail_facts(trail, outfit, boundary, covered=covered, plan=plan, profile=profile)
    lines = fault_lines(facts.faults, trail, profile=profile)
    return TrailView(record=record, job=job, trail=trail, outfit=outfit, boundary=boundary, facts=facts, lines=lines, place=place)


def _plan(book: Book, job: Job) -> Plan | None:
    """What was planned, to hold hectares an hour against; None where too little is known for a plan."""
    from evenstand.base.errors import EvenstandError
    from evenstand.desk.planning import plan_job

    try:
        return plan_job(book, job.key)
    except EvenstandError:
        return None


def _record(book: Book, key: str) -> TrailRecord:
    from evenstand.book import TrailRecord

    record = book.get(TrailRecord, key)
    if record is None:
        raise MissingError(f"no trail '{key}'", where="trail", cure="Choose one on After the field.")
    return record


def _outfit(book: Book, record: TrailRecord) -> Outfit:
    outfit = book.get(Outfit, record.outfit) if record.outfit else None
    if outfit is None:
        raise MissingError("no outfit is known for this trail", where=record.key, cure="Give the job an outfit: its width is needed.")
    return outfit


def job_trail(book: Book, job: str, *, trails: Sequence[str] = ()) -> JobTrail:
    """The trails of a job as one.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    job : str
        Which job. [-]
    trails : sequence of str
        Keys of the trails to take; empty: all of the job's. [-]

    Raises
    ------
    MissingError
        If there is no such job or trail, no trail of the job, or no outfit.
    InputError
        If two trails overlap in time.
    """
    from evenstand.book import TrailRecord
    from evenstand.desk.trail_places import trail_place
    from evenstand.trail.joining import joined

    found = book.get(Job, job)
    if found is None:
        raise MissingError(f"no job '{job}'", where="job", cure=f"Jobs: {', '.join(sorted(j.key for j in book.all(Job))) or 'none yet'}.")
    records = {r.key: r for r in book.all(TrailRecord, job=job)}
    unknown = [t for t in trails if t not in records]
    if unknown or not records:
        what = f"the job '{job}' has no trail '{unknown[0]}'" if unknown else f"the job '{job}' has no trail"
        cure = (
            f"Its trails: {', '.join(sorted(records))}." if records else "Keep its log: evenstand trail read LOG --book FOLDER --job JOB."
        )
        raise MissingError(what, where="trail", cure=cure)
    chosen = [records[k] for k in (trails or sorted(records))]
    outfit = book.get(Outfit, next((r.outfit for r in chosen if r.outfit), found.outfit))
    if outfit is None:
        raise MissingError("no outfit is known for this job", where=job, cure="Give the job an outfit: its width is needed.")
    names = tuple(r.name or r.key for r in chosen)
    trail = joined([book.trail(r.key) for r in chosen], names)
    place = trail_place(book, trail, found)
    return JobTrail(
        farm=book.farm,
        job=found,
        trail=trail,
        outfit=outfit,
        boundary=book.get(Boundary, found.field_key) if found.field_key and not place.elsewhere else None,
        names=names,
        place=place,
        plan=_plan(book, found),
        products=_products(book, found, outfit),
    )


def field_record(book: Book, job: str, *, trails: Sequence[str] = (), day_zone: str = "UTC", profile: Profile = "si") -> FieldRecord:
    """The record of a job's logs.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    job : str
        Which job. [-]
    trails : sequence of str
        Keys of the trails to take; empty: all of the job's. [-]
    day_zone : str
        Whose midnight ends a day. [-]
    profile : str
        Units of the sentences about faults. [-]
    """
    one = job_trail(book, job, trails=trails)
    return _as_record(
        one.trail,
        one.outfit,
        one.boundary,
        name=", ".join(one.names),
        products=one.products,
        job=one.job,
        farm=one.farm,
        notes=one.notes,
        plan=one.plan,
        day_zone=day_zone,
        profile=profile,
    )


def log_record(book: Book, key: str, *, day_zone: str = "UTC", profile: Profile = "si") -> FieldRecord:
    """The record of one kept log, whether or not it belongs to a job.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    key : str
        Of the log. [-]
    day_zone : str
        Whose midnight ends a day. [-]
    profile : str
        Units of the sentences about faults. [-]

    Raises
    ------
    MissingError
        If there is no such log, or its outfit is not known.
    """
    record = _record(book, key)
    if record.job and book.get(Job, record.job) is not None:
        return field_record(book, record.job, trails=(key,), day_zone=day_zone, profile=profile)
    return _as_record(
        book.trail(key),
        _outfit(book, record),
        None,
        name=record.name or key,
        products={},
        job=None,
        farm=book.farm,
        notes=("This log belongs to no job.",),
        plan=None,
        day_zone=day_zone,
        profile=profile,
    )


def _as_record(
    trail: Trail,
    outfit: Outfit,
    boundary: Boundary | None,
    *,
    name: str,
    products: dict[str, str],
    job: Job | None,
    farm: str,
    notes: tuple[str, ...],
    plan: Plan | None,
    day_zone: str,
    profile: Profile,
) -> FieldRecord:
    """Facts, ground, parts and turns of a log, worked out for its record."""
    from evenstand.trail import coverage, trail_facts
    from evenstand.trail.doses import turns_of
    from evenstand.trail.places import places_of
    from evenstand.trail.stepping import steps_of

    covered = coverage(trail, outfit, boundary, check=True)
    return FieldRecord(
        name=name,
        trail=trail,
        outfit=outfit,
        boundary=boundary,
        facts=trail_facts(trail, outfit, boundary, covered=covered, plan=plan, profile=profile),
        covered=covered,
        places=places_of(trail, outfit, boundary, day_zone=day_zone, products=products),
        turns=turns_of(trail, outfit, steps_of(trail)),
        products=products,
        job=job.key if job is not None else None,
        field=boundary.name if boundary is not None else "",
        crop=f"{job.crop} {job.variety}".strip() if job is not None else "",
        season=str(job.season or "") if job is not None else "",
        farm=farm,
        notes=notes,
    )


def _products(book: Book, job: Job, outfit: Outfit) -> dict[str, str]:
    """Product by bin letter: as the job settles it, or the only one for the only bin."""
    names = {p.key: p.name or p.key for p in book.all(Product)}
    out = {letter: names.get(ask.product, ask.product) for ask in job.asks for letter in ask.bins}
    if not out and len(job.asks) == 1 and len(outfit.bins) == 1:
        out[outfit.bins[0].letter] = names.get(job.asks[0].product, job.asks[0].product)
    return out
