"""Home is Next: a ruled list. With an empty book it is the first page, from nothing to an own value card."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.clock import iso
from evenstand.base.units import PROFILES
from evenstand.desk.nexts import next_list
from evenstand.model import Job
from evenstand.web.naming import job_names
from evenstand.web.site import site_of

router = APIRouter()
DONE_SHOWN = 5
"""How many of the lines that somebody called done stand on the page, newest first; all are in history."""


def _quarter(now: datetime) -> str:
    """The quarter of an hour: what is due by the clock moves on by itself, and need not be worked out for every look."""
    return f"{now:%Y-%m-%d %H}:{now.minute // 15}"


@router.get("/")
def home(request: Request) -> Response:
    """The Next list, or the way in where the book is empty."""
    from evenstand.book import StepState

    site = site_of(request)
    today = site.clock.now().date()
    with site.book() as book:
        jobs = book.all(Job)
        if not jobs:
            return RedirectResponse("/start", status_code=303)
        steps = site.once(("next", _quarter(site.clock.now())), lambda: next_list(book, clock=site.clock))
        states = book.all(StepState)
        names = job_names(book)
    put_off = [s for s in states if s.state == "deferred" and s.until[:10] > today.isoformat()]
    done = sorted((s for s in states if s.state == "closed"), key=lambda s: s.at, reverse=True)[:DONE_SHOWN]
    ordered = sorted(jobs, key=lambda j: (j.finish_by or "9999", j.key))
    return site.page(request, "next.html", steps=steps, jobs=ordered, names=names, put_off=put_off, done=done)


@router.post("/next/put-off")
def put_off(request: Request, key: Annotated[str, Form()], what: Annotated[str, Form()] = "") -> Response:
    """Put a step off until tomorrow; it comes back by itself."""
    from evenstand.book import StepState

    site = site_of(request)
    now = site.clock.now()
    until = (now.date() + timedelta(days=1)).isoformat()
    with site.book() as book:
        book.put(
            StepState(key=key[:200], state="deferred", at=iso(now), until=until, by=site.who, note=what[:300]), why="put off until tomorrow"
        )
    return RedirectResponse("/", status_code=303)


@router.post("/next/done")
def done(request: Request, key: Annotated[str, Form()], what: Annotated[str, Form()] = "") -> Response:
    """Somebody says that a step is done which nothing that is entered can show; other facts open it again."""
    from evenstand.book import StepState

    site = site_of(request)
    with site.book() as book:
        state = StepState(key=key[:200], state="closed", at=iso(site.clock.now()), by=site.who, note=what[:300])
        book.put(state, why="done, by word")
    return RedirectResponse("/", status_code=303)


@router.post("/next/reopen")
def reopen(request: Request, key: Annotated[str, Form()]) -> Response:
    """Take a step that was put off up again."""
    from dataclasses import replace

    from evenstand.book import StepState

    site = site_of(request)
    with site.book() as book:
        known = book.get(StepState, key)
        if known is not None:
            book.put(replace(known, state="open", at=iso(site.clock.now()), until=""), why="taken up again")
    return RedirectResponse("/", status_code=303)


@router.post("/units")
def units(request: Request, units: Annotated[str, Form()], back: Annotated[str, Form()] = "/") -> Response:
    """Show the book in other units; the numbers stay what they are."""
    from evenstand.book import Farm

    if units in PROFILES:
        with site_of(request).book() as book:
            book.put(Farm(name=book.farm, profile=units), why="units shown")
    safe = back.startswith("/") and not back.startswith("//") and "\\" not in back
    return RedirectResponse(back if safe else "/", status_code=303)
