"""Home is Next: a ruled list. With an empty book it is the first page, from nothing to an own value card."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.units import PROFILES
from evenstand.desk.nexts import next_list
from evenstand.model import Job
from evenstand.web.site import site_of

router = APIRouter()


@router.get("/")
def home(request: Request) -> Response:
    """The Next list, or the way in where the book is empty."""
    site = site_of(request)
    with site.book() as book:
        jobs = book.all(Job)
        if not jobs:
            return RedirectResponse("/start", status_code=303)
        steps = next_list(book, clock=site.clock)
    return site.page(request, "next.html", steps=steps, jobs=jobs)


@router.post("/units")
def units(request: Request, units: Annotated[str, Form()], back: Annotated[str, Form()] = "/") -> Response:
    """Show the book in other units; the numbers stay what they are."""
    from evenstand.book import Farm

    if units in PROFILES:
        with site_of(request).book() as book:
            book.put(Farm(name=book.farm, profile=units), why="units shown")
    return RedirectResponse(back if back.startswith("/") and not back.startswith("//") else "/", status_code=303)
