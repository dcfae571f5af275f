"""Telephone calls that were kept: those of the book, and one put into it from its file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, restated
from evenstand.check.calls import likely_text
from evenstand.desk.calls import MOST_BYTES, attach_call, call_from, calls_of
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import job_choices, moment
from evenstand.web.site import site_of

if TYPE_CHECKING:
    from starlette.datastructures import UploadFile

    from evenstand.book import CallNote

router = APIRouter()

NO_JOB = ("", "Not known yet")


def call_fields(jobs: tuple[tuple[str, str], ...]) -> tuple[Field, ...]:
    """Fields for a call that comes in as a file."""
    return (
        Field(name="file", label="The kept call", kind="file", hint="The file that evenstand call wrote with --keep."),
        Field(name="job", label="Whose it was", choices=(NO_JOB, *jobs)),
    )


@router.get("/after/calls")
def calls(request: Request) -> Response:
    """The calls of the book, newest first; with ?job= those of one job."""
    site = site_of(request)
    with site.book() as book:
        jobs = job_choices(book)
    kept = "Kept with the book." if request.query_params.get("kept") else ""
    return _page(request, Typed(fields=call_fields(jobs), profile=site.profile()), kept=kept)


@router.post("/after/calls")
async def attach(request: Request) -> Response:
    """Put a call into the book, from its file."""
    site = site_of(request)
    async with request.form() as form:
        file: UploadFile | None = form.get("file")  # type: ignore[assignment]
        chosen, data = str(form.get("job", "")), b""
        given = file is not None and bool(getattr(file, "filename", ""))
        if given and file is not None:
            data = await file.read(MOST_BYTES + 1)
    with site.book() as book:
        jobs = job_choices(book)
    typed = Typed.of(call_fields(jobs), {"job": chosen}, site.profile())
    job = typed.values.get("job", "")
    if job and job not in dict(jobs):
        typed.faults["job"] = "Whose it was: that job is not in the book. Choose again."
    if not given:
        typed.faults["file"] = "Choose the file of the call."
    elif typed.ok:
        try:
            kept = call_from(data, where="file")
            with site.book() as book:
                attach_call(book, kept, job=job)
            return RedirectResponse("/after/calls?kept=1", status_code=303)
        except EvenstandError as error:
            typed.faults["file"] = " ".join(f"The call {f.what}. {f.cure}".strip() for f in error.faults)
    return _page(request, typed)


def _page(request: Request, typed: Typed, *, kept: str = "") -> Response:
    site = site_of(request)
    wanted = request.query_params.get("job", "")
    with site.book() as book:
        jobs = dict(job_choices(book))
        found = calls_of(book, job=wanted if wanted in jobs else "")
    return site.page(
        request, "calls.html", status=200 if typed.ok else 422, typed=typed, kept=kept,
        calls=[_told(c, jobs, site.profile()) for c in found],
        name=jobs.get(wanted, ""),
    )  # fmt: skip


def _told(call: CallNote, jobs: dict[str, str], profile: Profile) -> dict[str, Any]:
    """A call as the page shows it, in the reader's units but for the note; of a call without a job the outfit stands."""
    return {
        "title": f"{call.caller or 'Somebody'}, {moment(call.at)}", "where": jobs.get(call.job, call.job) or call.outfit,
        "asked": restated(call.asked, profile), "causes": likely_text(call.causes),
        "advice": restated(call.advice, profile), "note": call.note,
    }  # fmt: skip
