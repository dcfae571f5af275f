"""A machine's log into the book, and what it says in figures and pass strips."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenstand.base.clock import Clock
from evenstand.base.errors import EvenstandError, MissingError
from evenstand.model import Boundary, Job, Outfit, Trail

if TYPE_CHECKING:
    from evenstand.book import Book, TrailRecord
    from evenstand.formats.delimited import Proposal, Recipe
    from evenstand.trail import PassFacts, TrailFacts
    from evenstand.trail.runs import RunFault

REMEMBERED = "log-columns:"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure of a trail: label, quantity of its unit, value [metric], how it is known."""

    label: str
    quantity: str
    value: float | None
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailStory:
    """A trail as a person reads it. passes, run_faults: from `trail.facts`."""

    key: str
    name: str
    job: str
    figures: tuple[Figure, ...]
    passes: tuple[PassFacts, ...]
    set_aside: tuple[tuple[int, str, str], ...]
    notes: tuple[str, ...]
    run_faults: tuple[RunFault, ...] = ()


def propose_columns(path: Path, *, crs: str | None = None, start: str | None = None, zone: str | None = None) -> Proposal:
    """What each column of a log is taken for, with the questions that are open.

    Parameters
    ----------
    path : Path
        The log. [-]
    crs, start, zone : str or None
        Answers already given: coordinate system, ISO start of a log in seconds, offset of its clock from UTC. [-]
    """
    from evenstand.formats.delimited import propose

    return propose(path, crs=crs, start=start, zone=zone)


def says_itself(path: Path) -> bool:
    """Whether a file needs no person to say what its columns are: task data, receiver sentences, layers of a GIS, our own binary form."""
    from evenstand.formats.opening import kind_of

    return kind_of(path) != "delimited"


def _has_columns(path: Path) -> bool:
    """Whether there is something a person can say of a file's columns or parts, to be remembered."""
    from evenstand.formats.opening import kind_of

    return kind_of(path) in ("delimited", "task-data")


def densities_of_job(book: Book, job: str) -> dict[str, float]:
    """Density of what is in each bin of a job, by its letter: of the lot, else of the product; bins without one are left out. [kg/m³]"""
    from evenstand.model import Lot, Product

    found = next((j for j in book.all(Job) if j.key == job), None)
    lots, products = {x.key: x for x in book.all(Lot)}, {p.key: p for p in book.all(Product)}
    out: dict[str, float] = {}
    for ask in found.asks if found is not None else ():
        for thing in (lots.get(ask.lot), products.get(ask.product)):
            density = thing.density_kg_m3 if thing is not None else None
            if density is not None and density.value:
                out |= {letter: density.value for letter in ask.bins if letter not in out}
    return out


def _remembered_as(path: Path) -> str:
    """The name under which the columns of logs with this header, or the parts of this machine, are remembered."""
    import hashlib

    from evenstand.formats.layouts import shape_of
    from evenstand.formats.opening import kind_of

    if kind_of(path) == "task-data":
        from evenstand.formats.iso11783.logged import machine_in

        return REMEMBERED + machine_in(path)[:24]
    header = "\x1f".join(shape_of(path).header)
    return REMEMBERED + hashlib.sha256(header.encode()).hexdigest()[:24]


def remembered_recipe(book: Book, path: Path) -> Recipe | None:
    """What a person once confirmed the columns of logs with this header, or the parts of this machine, to be; None if nobody has.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    path : Path
        The log. [-]
    """
    import json

    from evenstand.book import Setting
    from evenstand.formats.recipes import recipe_from

    try:
        known = book.get(Setting, _remembered_as(path))
        return None if known is None else recipe_from(json.loads(known.value), "the columns remembered")
    except (EvenstandError, ValueError):  # no delimited text, or remembered by a version that knew other roles: ask again
        return None


def remember_recipe(book: Book, path: Path, recipe: Recipe) -> None:
    """Use these columns for every log with the same header from now on. The start of this one log is not remembered."""
    import json
    from dataclasses import replace

    from evenstand.book import Setting

    text = json.dumps(replace(recipe, start="").to_dict(), ensure_ascii=False, sort_keys=True)
    book.put(Setting(key=_remembered_as(path), value=text), why=f"columns of {path.name} confirmed")


def read_log(
    book: Book,
    job: str,
    path: Path,
    *,
    crs: str | None = None,
    recipe: Recipe | None = None,
    confirmed: bool = False,
    trail: Trail | None = None,
    clock: Clock,
) -> TrailRecord:
    """Read a log and keep it with its original.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    job : str
        Whose log it is. [-]
    path : Path
        The log. [-]
    crs : str or None
        Coordinate system of positions that are not degrees. [-]
    recipe : Recipe or None
        What its columns are; remembered or found where not given. [-]
    confirmed : bool
        A person has looked at the recipe: it is remembered for logs with the same header, and a log read before is read anew. [-]
    trail : Trail or None
        The log as it was read just now; it is read here where not given. [-]
    clock : Clock
        For the record. [UTC]

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
    trail = trail or read_trail(path, recipe=recipe or remembered_recipe(book, path), crs=crs, density_kg_m3=densities_of_job(book, job))
    with as_one_file(path) as original, book.batch():  # columns remembered and trail are kept together or not at all
        if recipe is not None and confirmed and _has_columns(path):
            remember_recipe(book, path, recipe)
        return _kept(book, jobs[job], trail, original, free_key=free_key, slug=slug, anew=confirmed)


@contextmanager
def as_one_file(path: Path) -> Iterator[Path]:
    """The log as one file: itself, or the zip archive of a folder of task data, the same bytes for the same folder."""
    if not path.is_dir():
        yield path
        return
    with tempfile.TemporaryDirectory() as folder:
        packed = Path(folder) / f"{path.name or 'taskdata'}.zip"
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for part in sorted(p for p in path.rglob("*") if p.is_file() and not p.is_symlink()):
                name = zipfile.ZipInfo(part.relative_to(path).as_posix(), (1980, 1, 1, 0, 0, 0))
                archive.writestr(name, part.read_bytes(), zipfile.ZIP_DEFLATED)
        yield packed


def _kept(book: Book, job: Job, trail: Trail, path: Path, *, free_key: Any, slug: Any, anew: bool) -> TrailRecord:
    """The record; the same file read twice changes nothing, unless it is to be read anew."""
    from evenstand.book import TrailRecord
    from evenstand.book.blobs import sha256_of

    digest = sha256_of(path.read_bytes())
    for known in book.all(TrailRecord, job=job.key):
        if known.original_hash == digest and not anew:
            return known
        if known.original_hash == digest:
            return book.put_trail(
                trail, key=known.key, job=job.key, outfit=job.outfit, name=path.name, original=path, why=f"log {path.name} read anew"
            )
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


def figures_of(trail: Trail, facts: TrailFacts) -> tuple[Figure, ...]:
    """A trail in figures, each with how it is known; what the log cannot tell is left to the notes. [metric]"""
    found: list[Figure] = []

    def add(label: str, quantity: str, value: float | None, how: str) -> None:
        if value is not None:
            found.append(Figure(label=label, quantity=quantity, value=value, how=how))

    cover = facts.coverage
    if cover is not None:
        add("Sown at least once", "area", cover.covered_m2 / 1e4, "Strips of the tool's width along the positions.")
        add("Sown twice or more", "area", cover.twice_m2 / 1e4, "The same.")
        add(
            "Not sown inside the outline",
            "area",
            None if cover.skipped_m2 is None else cover.skipped_m2 / 1e4,
            "Outline less what was covered.",
        )
    add("Area by the machine's counter", "area", facts.area_shown_ha, "Repeats the typed width and the machine's distance.")
    add("Driven with openers down", "distance", facts.distance_gnss_m.value if facts.distance_gnss_m else None, "By positions.")
    add("The same by the machine", "distance", facts.distance_shown_m.value if facts.distance_shown_m else None, "As the machine counted.")
    add("Mean speed at work", "speed", facts.speed_m_s, "Distance over time.")
    add(
        "Distance between neighbouring passes",
        "width",
        facts.row_to_row.distance_m.value if facts.row_to_row else None,
        "The guidance width.",
    )
    use, rate_of_work = facts.time_use, facts.work_rate
    rule = "By a stated rule on speed and openers."
    add("Sowing", "time", use.sowing_s / 3600, rule)
    add("Turning", "time", use.turning_s / 3600, rule)
    add("Filling", "time", use.filling_s / 3600 if use.fills else None, f"Known by {use.filling_by}.")
    add("Standing otherwise" if use.fills else "Standing", "time", use.idle_s / 3600, rule)
    if rate_of_work is not None:
        low, high = 100 * rate_of_work.published_low, 100 * rate_of_work.published_high
        add("Area an hour at work", "capacity", rate_of_work.at_work_ha_h, f"By {rate_of_work.area_by}.")
        add(
            "Area an hour over all",
            "capacity",
            rate_of_work.over_all_ha_h,
            f"Field efficiency {100 * rate_of_work.efficiency:.0f} %, {rate_of_work.against_published} the published "
            f"{low:.0f} to {high:.0f} %.",
        )
    for rate in facts.rates:
        add(f"Bin {rate.bin}, rate reported", "rate", rate.reported_kg_ha, "As the controller reported: an echo.")
    return tuple(found)


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
    trail, facts, _, _ = facts_of(book, record)
    return TrailStory(
        key=record.key,
        name=record.name or record.key,
        job=record.job,
        figures=figures_of(trail, facts),
        passes=facts.passes,
        set_aside=tuple((r.line, r.reason, r.text) for r in (*trail.set_aside, *trail.repaired)[:50]),
        notes=(*trail.notes, *facts.cannot_see),
        run_faults=facts.run_faults,
    )
