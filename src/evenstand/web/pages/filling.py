"""At the fill: fill check, catch test, fill entry."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

from fastapi import APIRouter, Request, Response

from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, shown
from evenstand.desk.planning import plan_job
from evenstand.desk.recording import record_catch, record_fill
from evenstand.model import Bin, Fill, Finding, HowKnown, Job, Outfit
from evenstand.reference import fill_sd
from evenstand.web.forms import Field, Typed
from evenstand.web.site import Site, site_of

router = APIRouter()

HOW = (
    ("ticket", "Ticket, truck scale"),
    ("pads", "Weigh pads"),
    ("cart-scale", "Cart's own scale, parked level"),
    ("tote", "Totes, counted"),
    ("brim", "Filled to the brim"),
    ("conveyor", "Minutes of conveyor"),
    ("glance", "A glance"),
)
assert {h for h, _ in HOW} <= set(get_args(HowKnown))
LEFT = (("glance", "A glance"), ("low-light", "Low-level light just came on"), ("cart-scale", "Weighed"), ("emptied", "Emptied"))


def _jobs(site: Site) -> tuple[Sequence[Job], dict[str, Outfit]]:
    with site.book() as book:
        return book.all(Job), {o.key: o for o in book.all(Outfit)}


def _bins(jobs: Sequence[Job], outfits: dict[str, Outfit]) -> tuple[tuple[str, str], ...]:
    """Every job's bins as choices 'job|bin'."""
    return tuple(
        (f"{j.key}|{b.letter}", f"{j.crop}: bin {b.letter}{f' {b.label}' if b.label else ''}") for j in jobs for b in _of(j, outfits)
    )


def _of(job: Job, outfits: dict[str, Outfit]) -> tuple[Bin, ...]:
    return outfits[job.outfit].bins if job.outfit in outfits else ()


def check_fields() -> tuple[Field, ...]:
    """Fields of the fill check, in the order a person meets them."""
    return (
        Field(name="area", label="Area since the last fill", quantity="area", required=True),
        Field(name="put", label="What was put in last time", quantity="mass", required=True),
        Field(name="how", label="How that is known", choices=HOW),
        Field(name="before", label="What was still in before that", quantity="mass", hint="Empty bin: 0."),
        Field(name="left", label="What is in now", quantity="mass", required=True),
        Field(name="left_how", label="How that is known", choices=LEFT),
        Field(name="dose", label="Rate asked", quantity="rate", required=True),
    )


def fill_answer(typed: Typed) -> Finding | None:
    """The one sentence, or None while a field is missing or wrong."""
    from evenstand.check import fill_check

    area, put, left, dose = (typed.number(n) for n in ("area", "put", "left", "dose"))
    before = typed.number("before") or 0.0
    if not typed.ok or area is None or put is None or left is None or dose is None:
        return None
    put_sd = fill_sd(typed.values.get("how") or "ticket", put)
    full = put + before
    left_sd = {"glance": 0.10 * full, "low-light": 0.01 * full, "cart-scale": 0.01 * max(left, 1.0), "emptied": 0.005 * full}
    try:
        return fill_check(
            area,
            put,
            left,
            dose,
            level_before_kg=before,
            put_sd_kg=put_sd,
            level_sd_kg=left_sd[typed.values.get("left_how") or "glance"],
            profile=typed.profile,
        )
    except EvenstandError as error:
        typed.blame(error)
        return None


@router.get("/at-the-fill")
def check(request: Request) -> Response:
    """The fill check: the daily act."""
    site = site_of(request)
    typed = Typed.of(check_fields(), request.query_params, site.profile())
    found = fill_answer(typed) if request.query_params else None
    if request.query_params and found is None and "live" in request.query_params:
        typed.faults.clear()
    return site.page(request, "fill_check.html", typed=typed, found=found)


def catch_fields(bins: tuple[tuple[str, str], ...]) -> tuple[Field, ...]:
    """Fields of the catch test."""
    return (
        Field(name="where", label="Bin", choices=(("", "no job: just work it out"), *bins)),
        Field(name="turns", label="Turns of the meter", quantity="count", required=True),
        Field(
            name="masses", label="Each catch, with its bag", hint="One number a catch, with a semicolon between: 5.21; 5.17", required=True
        ),
        Field(name="tare", label="The empty bag", quantity="catch"),
        Field(name="division", label="Smallest step of the scale", quantity="catch"),
        Field(name="share", label="Share of the meter caught", hint="All segments: 100 %. Two of eight: 25 %.", quantity="share"),
    )


@router.get("/at-the-fill/catch")
def catch(request: Request) -> Response:
    """An empty catch test."""
    site = site_of(request)
    jobs, outfits = _jobs(site)
    return site.page(
        request, "catch.html", typed=Typed(fields=catch_fields(_bins(jobs, outfits)), profile=site.profile()), result=None, kept=""
    )


@router.post("/at-the-fill/catch")
async def caught(request: Request) -> Response:
    """Work a catch out; with a bin chosen, keep it as the factor in force."""
    import numpy as np

    from evenstand.tally import catch_test

    site = site_of(request)
    jobs, outfits = _jobs(site)
    typed = Typed.of(catch_fields(_bins(jobs, outfits)), await request.form(), site.profile())
    turns, tare, division = typed.number("turns"), typed.number("tare") or 0.0, typed.number("division") or 0.0
    share = typed.number("share")
    masses = _masses(typed)
    result, kept = None, ""
    if typed.ok and turns is not None and masses:
        try:
            result = catch_test(np.array(masses), turns, share=share or 1.0, tare_kg=tare, scale_division_kg=division)
            job_key, _, letter = typed.values.get("where", "").partition("|")
            if letter:
                with site.book() as book:
                    job = next(j for j in jobs if j.key == job_key)
                    product = next((b.product for b in plan_job(book, job_key).bins if b.bin == letter), "")
                    record_catch(
                        book,
                        outfit=job.outfit,
                        bin=letter,
                        product=product,
                        masses_kg=masses,
                        turns=turns,
                        share=share or 1.0,
                        tare_kg=tare,
                        scale_division_kg=division,
                        clock=site.clock,
                    )
                kept = f"Kept for bin {letter}: the plan and the card use it from now on."
        except EvenstandError as error:
            typed.blame(error)
    return site.page(request, "catch.html", status=200 if typed.ok else 422, typed=typed, result=result, kept=kept)


def _masses(typed: Typed) -> list[float]:
    """'5.21; 5.17' as kilograms. [kg]"""
    from evenstand.base.errors import UnitError
    from evenstand.base.units import read_quantity

    text = typed.text("masses")
    out = []
    for piece in (p for p in text.split(";") if p.strip()):
        try:
            out.append(read_quantity(piece, "catch", typed.profile, where="masses"))
        except UnitError as error:
            typed.faults["masses"] = str(error)
    return out


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
    jobs, outfits = _jobs(site)
    typed = Typed(fields=entry_fields(_bins(jobs, outfits)), profile=site.profile())
    return _entry_page(request, typed, kept="")


@router.post("/at-the-fill/entry")
async def enter(request: Request) -> Response:
    """Keep a fill."""
    site = site_of(request)
    jobs, outfits = _jobs(site)
    typed = Typed.of(entry_fields(_bins(jobs, outfits)), await request.form(), site.profile())
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
    units: Profile = site.profile()
    rows = [
        (
            f.at.replace("T", " ")[:16],
            f.job,
            f.bin,
            shown(f.put_kg, "mass", units),
            f"± {shown(f.put_sd_kg, 'mass', units)}",
            shown(f.area_ha, "area", units),
        )
        for f in fills
    ]
    return site.page(request, "fill_entry.html", status=200 if typed.ok else 422, typed=typed, rows=rows, kept=kept)
