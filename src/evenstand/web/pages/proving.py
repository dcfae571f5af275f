"""Proving an outfit: what must be measured before the first hectare, what was found, what is due again."""

from __future__ import annotations

from typing import get_args

from fastapi import APIRouter, Request, Response

from evenstand.base.clock import iso
from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile
from evenstand.desk.proof_changes import keep_change
from evenstand.desk.proofs import counts, keep_proof, proof_lines, read_found, the_outfit
from evenstand.nextup.commissioning import CAUTIONS, NOTED, STATE_WORDS, Line, Phase
from evenstand.web.forms import Field, Typed
from evenstand.web.site import site_of

router = APIRouter()

PHASES = (("as-found", "As found"), ("as-delivered", "As delivered"))
assert {p for p, _ in PHASES} == set(get_args(Phase))


def proof_fields(lines: tuple[Line, ...], profile: Profile) -> tuple[Field, ...]:
    """Fields of one measurement."""
    order = {"open": 0, "due": 1, "outside": 2, "noted": 3, "inside": 4}
    first = sorted(lines, key=lambda x: order[x.state])
    choices = tuple((x.item.key, f"{x.item.title}: {STATE_WORDS[x.state]}") for x in first)
    return (
        Field(name="item", label="What was measured", choices=choices),
        Field(
            name="found", label="What was found", required=True,
            hint="A number, with its unit if it is another than yours; else words, such as tight, leaks, like for like.",
        ),
        Field(name="phase", label="When", choices=PHASES),
        Field(name="by", label="By whom"),
        Field(name="note", label="Note"),
    )  # fmt: skip


CHANGE = Field(name="changed", label="What changed", kind="chips", choices=tuple((k, t[:1].upper() + t[1:]) for k, t in NOTED.items()))


@router.get("/machine/{key}/proving")
def proving(request: Request, key: str) -> Response:
    """The record of an outfit; an item in the address is chosen in the form."""
    return _page(request, key, item=request.query_params.get("item", ""))


@router.post("/machine/{key}/changed")
async def changed(request: Request, key: str) -> Response:
    """Keep that something changed that no value shows; what rests on it goes stale."""
    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        typed = Typed.of((CHANGE,), form, book.profile)
        try:
            record = keep_change(book, the_outfit(book, key).key, typed.values.get("changed", ""), clock=site.clock)
        except EvenstandError:
            typed.faults["changed"] = "What changed: choose one of the list."
            return _page(request, key, change=typed)
    site.forget()
    return _page(request, key, kept=f"Kept: {record.text}. What rests on it is due again.")


@router.get("/machine/{key}/proving.pdf")
def printed(request: Request, key: str) -> Response:
    """The record to print and sign."""
    from evenstand.paper.commissioning import record_pdf

    site = site_of(request)
    with site.book() as book:
        found = the_outfit(book, key)
        lines = proof_lines(book, key, clock=site.clock)
        content = record_pdf(lines, outfit=found.name, farm=book.farm, made_at=iso(site.clock.now()), profile=book.profile)
    return Response(content, media_type="application/pdf", headers={"Content-Disposition": 'inline; filename="commissioning.pdf"'})


@router.post("/machine/{key}/proving")
async def keep(request: Request, key: str) -> Response:
    """Keep one measurement."""
    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        lines = proof_lines(book, key, clock=site.clock)
        typed = Typed.of(proof_fields(lines, book.profile), form, book.profile)
        item = next((x.item for x in lines if x.item.key == typed.values.get("item")), None)
        found = typed.text("found")
        if item is None:
            typed.faults["item"] = "What was measured: choose it from the list."
        if typed.ok and item is not None:
            try:
                value = read_found(item, found, book.profile)
                phase: Phase = "as-delivered" if typed.values.get("phase") == "as-delivered" else "as-found"
                keep_proof(
                    book, key, item.key, value=value, text="" if item.quantity else found, phase=phase, by=typed.values.get("by", ""),
                    note=typed.values.get("note", ""), clock=site.clock,
                )  # fmt: skip
                return _page(request, key, kept=f"Kept: {item.title}.")
            except EvenstandError as error:
                typed.faults["found"] = "; ".join(str(f) for f in error.faults)
    return _page(request, key, typed=typed)


def _groups(lines: tuple[Line, ...]) -> tuple[tuple[str, str, list[Line]], ...]:
    """What is to be seen to first, then what is not measured yet, then the rest; outside its band before due again."""
    return (
        ("see-to", "To see to", sorted((x for x in lines if x.state in ("outside", "due")), key=lambda x: x.state != "outside")),
        ("open", "Before the first hectare, not measured yet", [x for x in lines if x.state == "open" and x.item.moment == "yard"]),
        ("metres", "In the first metres, not measured yet", [x for x in lines if x.state == "open" and x.item.moment != "yard"]),
        ("done", "Measured", [x for x in lines if x.state in ("inside", "noted")]),
    )


def _page(
    request: Request, key: str, *, typed: Typed | None = None, change: Typed | None = None, kept: str = "", item: str = ""
) -> Response:
    site = site_of(request)
    with site.book() as book:
        found, profile = the_outfit(book, key), book.profile
        lines = proof_lines(book, key, clock=site.clock)
    chosen = {"item": item} if item in {x.item.key for x in lines} else {}
    form = typed or Typed(fields=proof_fields(lines, profile), profile=profile, values=chosen)
    told = change or Typed(fields=(CHANGE,), profile=profile)
    return site.page(
        request, "proving.html", status=200 if form.ok and told.ok else 422, change=told, change_field=CHANGE, outfit=found,
        groups=_groups(lines), counts=counts(lines),
        words=STATE_WORDS, cautions=CAUTIONS, typed=form, kept=kept,
    )  # fmt: skip
