"""Proof: formulas against published figures, and the history of every value as a list."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.web.site import site_of

if TYPE_CHECKING:
    from evenstand.book.history import Entry

router = APIRouter()

A_PAGE = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change with all its values. id: as `Book.undo` takes it."""

    id: int
    at: str
    who: str
    why: str
    entries: tuple[Entry, ...]


@router.get("/proof")
def proof(request: Request) -> Response:
    """The verification table, computed now."""
    site = site_of(request)
    make = site.verification
    report: dict[str, Any] = site.once("verification", make) if make is not None else {"checks": [], "counts": {}}
    parts: dict[str, list[dict[str, Any]]] = {}
    for check in report["checks"]:
        parts.setdefault(str(check["function"]).partition(".")[0], []).append(check)
    return site.page(request, "proof.html", report=report, topics=parts)


@router.get("/proof/history")
def history(request: Request, before: int = 0) -> Response:
    """Every change, newest first, a page at a time."""
    site = site_of(request)
    with site.book() as book:
        changes = changes_of(book.history())
    older = [c for c in changes if not before or c.id < before]
    more = older[A_PAGE - 1].id if len(older) > A_PAGE else 0
    return site.page(request, "history.html", changes=older[:A_PAGE], more=more, all=len(changes))


def changes_of(entries: Iterable[Entry]) -> list[Change]:
    """Values gathered by the change they belong to, newest change first."""
    by_id: dict[int, list[Entry]] = {}
    for entry in entries:
        by_id.setdefault(entry.id, []).append(entry)
    return [Change(id=i, at=e[0].at, who=e[0].who, why=e[0].why, entries=tuple(e)) for i, e in sorted(by_id.items(), reverse=True)]


@router.post("/proof/undo")
def undo(request: Request, change: Annotated[int, Form(ge=0, lt=2**63)]) -> Response:
    """Undo a change by a new one; refused with both values where the row has moved since."""
    with site_of(request).book() as book:
        book.undo(change, why="undone on the page")
    return RedirectResponse("/proof/history", status_code=303)
