"""After the field: the trail, its pass strips, the tally, the check."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.errors import EvenstandError
from evenstand.base.units import shown
from evenstand.desk.checking import READINGS, check_job, keep_readings, tally_rows
from evenstand.desk.logs import job_trails, propose_columns, read_log, trail_story
from evenstand.model import Finding, Job
from evenstand.web.forms import Field, Typed
from evenstand.web.site import Site, site_of

if TYPE_CHECKING:
    from starlette.datastructures import UploadFile

router = APIRouter()

MAX_UPLOAD = 512 * 1024 * 1024


def _jobs(site: Site) -> tuple[tuple[str, str], ...]:
    with site.book() as book:
        return tuple((j.key, f"{j.crop}, {j.field_key or 'no outline'}") for j in book.all(Job))


def trail_fields(jobs: tuple[tuple[str, str], ...]) -> tuple[Field, ...]:
    """Fields of a trail upload."""
    return (
        Field(name="job", label="Job", choices=jobs or (("", "no job yet"),), required=True),
        Field(name="file", label="The machine's log", kind="file", hint="A text file with a header line."),
        Field(name="crs", label="Coordinate system", hint="Only where positions are not degrees."),
    )


@router.get("/after")
def after(request: Request) -> Response:
    """Trails in the book, and the way to read one."""
    site = site_of(request)
    return _trails(request, Typed(fields=trail_fields(_jobs(site)), profile=site.profile()))


def _trails(request: Request, typed: Typed) -> Response:
    site = site_of(request)
    with site.book() as book:
        trails = job_trails(book)
    return site.page(request, "after.html", status=200 if typed.ok else 422, typed=typed, trails=trails, proposal=None)


@router.post("/after/trail")
async def upload(request: Request) -> Response:
    """Show what each column is taken for, or read the log once that is confirmed."""
    import tempfile

    site = site_of(request)
    form = await request.form()
    typed = Typed.of(trail_fields(_jobs(site)), form, site.profile())
    file: UploadFile | None = form.get("file")  # type: ignore[assignment]
    job = typed.text("job")
    if file is None or not getattr(file, "filename", ""):
        typed.faults["file"] = "Choose a file."
        return _trails(request, typed)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / Path(file.filename or "log").name
        size = 0
        with path.open("wb") as out:
            while chunk := await file.read(1 << 20):
                size += len(chunk)
                if size > MAX_UPLOAD:
                    typed.faults["file"] = f"{file.filename}: over {MAX_UPLOAD // 2**20} MB. Read it with: evenstand trail read FILE."
                    return _trails(request, typed)
                out.write(chunk)
        await file.close()
        try:
            proposal = propose_columns(path)
            if form.get("confirmed") != "yes":
                rows = [(c.use.name, c.use.role or "left out", c.use.unit, c.why, c.sure) for c in proposal.columns]
                return site.page(request, "after_columns.html", typed=typed, proposal=proposal, rows=rows, name=path.name)
            with site.book() as book:
                record = read_log(book, job, path, crs=typed.text("crs") or None, clock=site.clock)
        except EvenstandError as error:
            typed.faults["file"] = str(error).replace(f"{folder}/", "")
            return _trails(request, typed)
    return RedirectResponse(f"/after/trail/{record.key}", status_code=303)


@router.get("/after/trail/{key}")
def trail(request: Request, key: str) -> Response:
    """One trail: what it says in figures, and its passes as strips."""
    from markupsafe import Markup

    from evenstand.drawing import page_svg, strips_of_passes

    site = site_of(request)
    with site.book() as book:
        story = trail_story(book, key)
    svg = (
        Markup(page_svg(strips_of_passes(story.passes, profile=site.profile(), name=story.name))) if story.passes else None
    )  # our own writer escapes all text
    units = site.profile()
    rows = [
        (
            p.number,
            shown(p.length_m, "distance", units),
            shown(p.speed_m_s, "speed", units),
            f"{(p.end_s - p.start_s) / 60:.1f} min",
            "; ".join(e.note or e.kind for e in p.exceptions) or "nothing",
        )
        for p in story.passes
    ]
    return site.page(request, "trail.html", story=story, svg=svg, rows=rows)


def reading_fields(jobs: tuple[tuple[str, str], ...]) -> tuple[Field, ...]:
    """Fields for the readings a person has at the end of a field."""
    rows = [
        Field(name="job", label="Job", choices=jobs or (("", "no job yet"),), required=True),
        Field(name="bin", label="Bin, for bin readings"),
    ]
    rows += [Field(name=r.key, label=r.label, quantity=r.unit, hint=r.hint) for r in READINGS]
    return tuple(rows)


@router.get("/after/check")
def check(request: Request) -> Response:
    """What holds, what does not, what cannot be told yet."""
    site = site_of(request)
    jobs = _jobs(site)
    typed = Typed.of(reading_fields(jobs), request.query_params, site.profile())
    job = typed.values.get("job") or (jobs[0][0] if jobs else "")
    typed.values["job"] = job
    findings: tuple[Finding, ...] = ()
    if job:
        with site.book() as book:
            findings = check_job(book, job)
    return site.page(request, "check.html", typed=typed, findings=findings, job=job)


@router.post("/after/check")
async def enter(request: Request) -> Response:
    """Keep readings and check again."""
    site = site_of(request)
    typed = Typed.of(reading_fields(_jobs(site)), await request.form(), site.profile())
    job, letter = typed.text("job"), typed.text("bin").upper()
    values = {r.key: typed.number(r.key) for r in READINGS}
    if typed.ok:
        try:
            with site.book() as book:
                keep_readings(book, job=job, bin=letter, values={k: v for k, v in values.items() if v is not None}, clock=site.clock)
            return RedirectResponse(f"/after/check?job={job}", status_code=303)
        except EvenstandError as error:
            typed.blame(error)
    return site.page(request, "check.html", status=422, typed=typed, findings=(), job=job)


@router.get("/after/tally")
def tally(request: Request) -> Response:
    """What went where, by product."""
    site = site_of(request)
    with site.book() as book:
        rows = tally_rows(book)
    return site.page(request, "tally.html", rows=rows)
