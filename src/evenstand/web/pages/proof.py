"""Proof: formulas against published figures, and the history of every value as a list."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.web.site import site_of

router = APIRouter()


@router.get("/proof")
def proof(request: Request) -> Response:
    """The verification table, computed now."""
    site = site_of(request)
    report = site.verification() if site.verification is not None else {"checks": [], "counts": {}}
    return site.page(request, "proof.html", report=report)


@router.get("/proof/history")
def history(request: Request) -> Response:
    """Every change, newest first."""
    site = site_of(request)
    with site.book() as book:
        changes = list(book.history())[-300:][::-1]
    return site.page(request, "history.html", changes=changes)


@router.post("/proof/undo")
def undo(request: Request, change: Annotated[int, Form()]) -> Response:
    """Undo a change by a new one; refused with both values where the row has moved since."""
    with site_of(request).book() as book:
        book.undo(change, why="undone on the page")
    return RedirectResponse("/proof/history", status_code=303)
