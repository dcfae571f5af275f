"""The trails of a job taken together, with what is known of its outfit, field and products."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenstand.base.errors import MissingError
from evenstand.model import Boundary, Job, Outfit, Product, Trail

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.trail import Coverage, TrailFacts
    from evenstand.trail.doses import TurnDose
    from evenstand.trail.places import Places


@dataclass(frozen=True, slots=True, kw_only=True)
class JobTrail:
    """All trails of a job as one. names: of the logs; products: name by bin letter, as the job asks for; farm: of the book."""

    farm: str
    job: Job
    trail: Trail
    outfit: Outfit
    boundary: Boundary | None
    names: tuple[str, ...]
    products: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldRecord:
    """What was sown, as a log or a job's logs tell it. name: of the logs; field, crop, season, farm: words for the head, "" where not
    known; job: key, None for a log by itself."""

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
    return JobTrail(
        farm=book.farm,
        job=found,
        trail=joined([book.trail(r.key) for r in chosen], names),
        outfit=outfit,
        boundary=book.get(Boundary, found.field_key) if found.field_key else None,
        names=names,
        products=_products(book, found, outfit),
    )


def field_record(book: Book, job: str, *, trails: Sequence[str] = (), day_zone: str = "UTC") -> FieldRecord:
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
    """
    from evenstand.trail import coverage, trail_facts
    from evenstand.trail.doses import turns_of
    from evenstand.trail.places import places_of
    from evenstand.trail.stepping import steps_of

    one = job_trail(book, job, trails=trails)
    covered = coverage(one.trail, one.outfit, one.boundary, check=True)
    return FieldRecord(
        name=", ".join(one.names),
        trail=one.trail,
        outfit=one.outfit,
        boundary=one.boundary,
        facts=trail_facts(one.trail, one.outfit, covered=covered),
        covered=covered,
        places=places_of(one.trail, one.outfit, one.boundary, day_zone=day_zone, products=one.products),
        turns=turns_of(one.trail, one.outfit, steps_of(one.trail)),
        products=one.products,
        job=one.job.key,
        field=one.boundary.name if one.boundary is not None else "",
        crop=f"{one.job.crop} {one.job.variety}".strip(),
        season=str(one.job.season or ""),
        farm=one.farm,
    )


def _products(book: Book, job: Job, outfit: Outfit) -> dict[str, str]:
    """Product by bin letter: as the job settles it, or the only one for the only bin."""
    names = {p.key: p.name or p.key for p in book.all(Product)}
    out = {letter: names.get(ask.product, ask.product) for ask in job.asks for letter in ask.bins}
    if not out and len(job.asks) == 1 and len(outfit.bins) == 1:
        out[outfit.bins[0].letter] = names.get(job.asks[0].product, job.asks[0].product)
    return out
