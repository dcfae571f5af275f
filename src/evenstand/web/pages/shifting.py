"""The shift note, and what changed since something last held."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.errors import EvenstandError
from evenstand.desk.shifts import doubt_lines, hand_over, shift_note
from evenstand.desk.since import SinceHeld, since_held
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import job_choices, job_names
from evenstand.web.site import Site, site_of

router = APIRouter()


def said_fields() -> tuple[Field, ...]:
    """Fields of a hand-over."""
    return (
        Field(name="note", label="What the next one should know", kind="area", hint="Soft spots, noises, whom to call."),
        Field(name="by", label="Who hands over"),
    )


def _chosen(site: Site, request: Request) -> tuple[str, tuple[tuple[str, str], ...]]:
    with site.book() as book:
        jobs = job_choices(book)
    wanted = request.query_params.get("job", "")
    return (wanted if wanted in {k for k, _ in jobs} else jobs[0][0] if jobs else ""), jobs


@router.get("/after/shift")
def shift(request: Request) -> Response:
    """The note of a job."""
    from evenstand.paper.shift import STATES, bin_text, stopped

    site = site_of(request)
    job, jobs = _chosen(site, request)
    note = None
    with site.book() as book:
        profile, names = book.profile, job_names(book)
        if job:
            note = site.once(("shift", job, profile), lambda: shift_note(book, job, clock=site.clock))
    return site.page(
        request,
        "shift.html",
        job=job,
        jobs=jobs,
        name=names.get(job, ""),
        note=note,
        stopped=stopped,
        bin_text=bin_text,
        states=STATES,
        doubt_lines=doubt_lines,
        typed=Typed(fields=said_fields(), profile=profile),
        kept="Handed over: the next note counts from here." if request.query_params.get("kept") else "",
    )


@router.get("/after/shift.pdf")
def printed(request: Request) -> Response:
    """The note on one page."""
    from evenstand.paper.shift import note_pdf

    site = site_of(request)
    job, _ = _chosen(site, request)
    with site.book() as book:
        content = note_pdf(shift_note(book, job, clock=site.clock), farm=book.farm, profile=book.profile)
    return Response(content, media_type="application/pdf", headers={"Content-Disposition": 'inline; filename="shift-note.pdf"'})


@router.post("/after/shift")
async def over(request: Request) -> Response:
    """Keep that the shift is handed over."""
    site = site_of(request)
    form = await request.form()
    job = str(form.get("job", ""))
    with site.book() as book:
        typed = Typed.of(said_fields(), form, book.profile)
        hand_over(book, job, note=typed.values.get("note", "")[:2000], by=typed.values.get("by", "")[:80], clock=site.clock)
    return RedirectResponse(f"/after/shift?job={job}&kept=1", status_code=303)


@router.get("/after/since")
def since(request: Request) -> Response:
    """What changed since it last held."""
    site = site_of(request)
    job, jobs = _chosen(site, request)
    fault = ""
    found: tuple[SinceHeld, ...] = ()
    with site.book() as book:
        names = job_names(book)
        try:
            found = site.once(("since", job, book.profile), lambda: since_held(book, job)) if job else ()
        except EvenstandError as error:
            fault = "; ".join(str(f) for f in error.faults)
    return site.page(request, "since.html", job=job, jobs=jobs, name=names.get(job, ""), found=found, fault=fault)
