"""At the fill: fill entry, and the bins there are to choose from."""

from __future__ import annotations

from typing import get_args

from fastapi import APIRouter, Request, Response

from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, shown, shown_value
from evenstand.desk.recording import record_fill
from evenstand.model import Bin, Fill, HowKnown, Job, Outfit
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import job_choices, job_names, moment
from evenstand.web.site import Site, site_of

router = APIRouter()

HOW = (
    ("ticket", "Ticket, truck scale"),
    ("share", "Share of a ticket"),
    ("pads", "Weigh pads"),
    ("cart-scale", "Cart's own scale, parked level"),
    ("tote", "Totes, counted"),
    ("brim", "Filled to the brim"),
    ("conveyor", "Minutes of conveyor"),
    ("glance", "A glance"),
)
assert {h for h, _ in HOW} <= set(get_args(HowKnown))


def bin_choices(site: Site) -> tuple[tuple[str, str], ...]:
    """Every job's bins as choices 'job|bin', jobs begun first."""
    with site.book() as book:
        jobs, outfits, names = {j.key: j for j in book.all(Job)}, {o.key: o for o in book.all(Outfit)}, dict(job_choices(book))
    return tuple((f"{key}|{b.letter}", f"Bin {b.letter}: {names[key]}") for key in names for b in _of(jobs[key], outfits))


def _of(job: Job, outfits: dict[str, Outfit]) -> tuple[Bin, ...]:
    return outfits[job.outfit].bins if job.outfit in outfits else ()


def entry_fields(bins: tuple[tuple[str, str], ...]) -> tuple[Field, ...]:
    """Fields of a fill entry."""
    return (
        Field(name="where", label="Bin", choices=bins or (("", "no job yet"),), required=True),
        Field(name="put", label="What went in", quantity="mass", required=True),
        Field(name="how", label="How that is known", choices=HOW),
        Field(name="area", label="Area counter now", quantity="area"),
        Field(name="before", label="What was still in", quantity="mass"),
    )


@router.get("/at-the-fill/entry")
def entry(request: Request) -> Response:
    """An empty fill entry, and the fills so far."""
    site = site_of(request)
    typed = Typed(fields=entry_fields(bin_choices(site)), profile=site.profile())
    return _entry_page(request, typed, kept="")


@router.post("/at-the-fill/entry")
async def enter(request: Request) -> Response:
    """Keep a fill."""
    site = site_of(request)
    typed = Typed.of(entry_fields(bin_choices(site)), await request.form(), site.profile())
    put, area, before = typed.number("put"), typed.number("area"), typed.number("before")
    job, _, letter = typed.text("where").partition("|")
    kept = ""
    if typed.ok and put is not None:
        try:
            with site.book() as book:
                fill = record_fill(
                    book, job=job, bin=letter, put_kg=put, how=_how(typed), area_ha=area, level_before_kg=before, clock=site.clock
                )
            kept = f"Kept: {shown(fill.put_kg, 'mass', site.profile())} into bin {letter}."
            typed.values.clear()
        except EvenstandError as error:
            typed.blame(error)
    return _entry_page(request, typed, kept=kept)


def _how(typed: Typed) -> HowKnown:
    value = typed.values.get("how") or "ticket"
    for how in get_args(HowKnown):
        if value == how:
            return how  # type: ignore[no-any-return]
    typed.faults["how"] = f"'{value}' is no way of knowing."
    return "ticket"


def _entry_page(request: Request, typed: Typed, *, kept: str) -> Response:
    site = site_of(request)
    with site.book() as book:
        fills = sorted(book.all(Fill), key=lambda f: f.at, reverse=True)[:40]
        names = job_names(book)
    units: Profile = site.profile()
    rows = [
        (
            f"{shown(f.put_kg, 'mass', units)} ± {shown_value(f.put_sd_kg, 'mass', units)}",
            f.bin,
            names.get(f.job, f.job),
            moment(f.at),
            shown(f.area_ha, "area", units),
        )
        for f in fills
    ]
    return site.page(request, "fill_entry.html", status=200 if typed.ok else 422, typed=typed, rows=rows, kept=kept)
