"""The first page: from nothing to an own value card, with at most ten values."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.errors import EvenstandError
from evenstand.desk.books import keep_answers
from evenstand.web.forms import Field, Typed
from evenstand.web.site import site_of

router = APIRouter()


def start_fields() -> tuple[Field, ...]:
    """The ten values. What is not known stays empty."""
    return (
        Field(name="outfit", label="What you call the outfit", hint="Drill and cart, in your own words."),
        Field(name="rows", label="Number of openers", quantity="count"),
        Field(name="spacing", label="Row spacing", quantity="spacing"),
        Field(name="width", label="Width, if you know it better", quantity="width"),
        Field(name="speed", label="Working speed", quantity="speed"),
        Field(name="bins", label="Bins, front to rear", hint="Letter and size: A=6.2, B=4.6. Letters alone will do.", width="long"),
        Field(name="crop", label="Crop"),
        Field(name="rate", label="Rate", quantity="rate"),
        Field(name="area", label="Area", quantity="area"),
        Field(name="factor", label="Product per turn of the meter", quantity="factor", hint="Only if you have caught it."),
    )


@router.get("/start")
def start(request: Request) -> Response:
    """Ten empty fields."""
    site = site_of(request)
    return site.page(request, "start.html", typed=Typed(fields=start_fields(), profile=site.profile()))


@router.post("/start")
async def keep(request: Request) -> Response:
    """Keep what is known and go to the value card."""
    site = site_of(request)
    form = await request.form()  # before the book is held: others may want it while a slow line sends
    with site.book() as book:
        typed = Typed.of(start_fields(), form, book.profile)
        try:
            job = keep_answers(book, typed.values, clock=site.clock)
            return RedirectResponse(f"/before/{job.key}/card", status_code=303)
        except EvenstandError as error:
            typed.blame(error)
    return site.page(request, "start.html", status=422, typed=typed)
