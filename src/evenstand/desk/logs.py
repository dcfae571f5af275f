"""A machine's log into the book, and what it says in figures and pass strips."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenstand.base.clock import Clock
from evenstand.base.errors import MissingError
from evenstand.model import Boundary, Job, Outfit, Trail

if TYPE_CHECKING:
    from evenstand.book import Book, TrailRecord
    from evenstand.trail.facts import PassFacts, TrailFacts


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure of a trail: label, quantity of its unit, value [metric], how it is known."""

    label: str
    quantity: str
    value: float | None
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailStory:
    """A trail as a person reads it. passes: from `trail.facts`; rows_note: kept, repaired and set aside add up."""

    key: str
    name: str
    job: str
    figures: tuple[Figure, ...]
    passes: tuple[PassFacts, ...]
    rows_note: str
    set_aside: tuple[tuple[int, str, str], ...]
    notes: tuple[str, ...]


def propose_columns(path: Path) -> Any:
    """What each column of a log is taken for, with the questions that are open."""
    from evenstand.formats.delimited import propose

    return propose(path)


def read_log(book: Book, job: str, path: Path, *, crs: str | None = None, recipe: Any = None, clock: Clock) -> TrailRecord:
    """Read a log and keep it with its original.

    Raises
    ------
    MissingError
        If the book has no such job.
    FileError
        With every fault of the file; the book is as before.
    """
    from evenstand.desk.recording import free_key, slug
    from evenstand.trail import read_trail

    jobs = {j.key: j for j in book.all(Job)}
    if job not in jobs:
        raise MissingError(f"no job '{job}'", where="job", cure=f"Jobs: {', '.join(sorted(jobs)) or 'none yet'}.")
    trail = read_trail(path, recipe=recipe, crs=crs)
    return _kept(book, jobs[job], trail, path, free_key=free_key, slug=slug, clock=clock)


def _kept(book: Book, job: Job, trail: Trail, path: Path, *, free_key: Any, slug: Any, clock: Clock) -> TrailRecord:
    """The record; the same file read twice changes nothing."""
    from evenstand.book import TrailRecord
    from evenstand.book.blobs import sha256_of

    digest = sha256_of(path.read_bytes())
    for known in book.all(TrailRecord, job=job.key):
        if known.original_hash == digest:
            return known
    key = free_key(book, TrailRecord, slug(f"{job.key} {path.stem}"))
    return book.put_trail(trail, key=key, job=job.key, outfit=job.outfit, name=path.name, original=path, why=f"log {path.name}")


def job_trails(book: Book) -> tuple[TrailRecord, ...]:
    """All trails of the book."""
    from evenstand.book import TrailRecord

    return book.all(TrailRecord)


def facts_of(book: Book, record: TrailRecord) -> tuple[Trail, TrailFacts, Outfit, Boundary | None]:
    """A trail with its facts, outfit and field."""
    from evenstand.trail.facts import trail_facts

    trail = book.trail(record.key)
    outfit = next((o for o in book.all(Outfit) if o.key == record.outfit), None)
    if outfit is None:
        raise MissingError("no outfit is known for this trail", where=record.key, cure="Give the job an outfit: its width is needed.")
    job = book.get(Job, record.job)
    boundary = book.get(Boundary, job.field_key) if job is not None and job.field_key else None
    return trail, trail_facts(trail, outfit, boundary), outfit, boundary


def trail_story(book: Book, key: str) -> TrailStory:
    """A kept trail in figures and passes.

    Raises
    ------
    MissingError
        If there is no such trail, or its outfit is not known.
    """
    from evenstand.book import TrailRecord

    record = book.get(TrailRecord, key)
    if record is None:
        raise MissingError(f"no trail '{key}'", where="trail", cure="Choose one on After the field.")
    trail, facts, outfit, boundary = facts_of(book, record)
    return TrailStory(
        key=record.key,
        name=record.name or record.key,
        job=record.job,
        figures=figures_of(trail, facts, outfit, boundary),
        passes=facts.passes,
        rows_note=f"{trail.rows} rows read: {trail.kept} kept, {len(trail.repaired)} repaired, {len(trail.set_aside)} set aside.",
        set_aside=tuple((r.line, r.reason, r.text) for r in (*trail.set_aside, *trail.repaired)[:50]),
        notes=trail.notes,
    )
