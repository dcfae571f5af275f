"""At the fill: fill check, catch test, fill entry."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, get_args

from fastapi import APIRouter, Request, Response

from evenstand.base.errors import EvenstandError, MissingError
from evenstand.base.units import Profile, shown, shown_value
from evenstand.base.worked import Working
from evenstand.desk.planning import plan_job
from evenstand.desk.recording import record_catch, record_fill
from evenstand.desk.workings import fill_workings
from evenstand.model import Bin, Fill, Finding, HowKnown, Job, Outfit, Product
from evenstand.reference import fill_sd
from evenstand.tally.catching import CatchTest
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import job_choices, job_names, moment
from evenstand.web.site import Site, site_of

if TYPE_CHECKING:
    from evenstand.book import Book

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


def _bins(site: Site) -> tuple[tuple[str, str], ...]:
    """Every job's bins as choices 'job|bin', jobs begun first."""
    with site.book() as book:
        jobs, outfits, names = {j.key: j for j in book.all(Job)}, {o.key: o for o in book.all(Outfit)}, dict(job_choices(book))
    return tuple((f"{key}|{b.letter}", f"Bin {b.letter}: {names[key]}") for key in names for b in _of(jobs[key], outfits))


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
    if "live" in request.query_params:
        typed.quiet()
    shows, notes = _fill_shows(typed, found)
    with site.book() as book:
        last = site.once(("last fills", book.profile), lambda: _last_fills(book, book.profile))
    return site.page(request, "fill_check.html", typed=typed, found=found, shows=shows, notes=notes, last=last)


def _fill_shows(typed: Typed, found: Finding | None) -> tuple[tuple[Working, ...], tuple[str, ...]]:
    """The sums behind the sentence, and what makes it as sure or unsure as it is."""
    if found is None:
        return (), ()
    area, put, left = (typed.number(n) for n in ("area", "put", "left"))
    if area is None or put is None or left is None:
        return (), ()
    notes = [f"{e[:1].upper()}{e[1:]}." for e in found.evidence]
    notes += [f"Not claimed: {found.not_claimed[:1].lower()}{found.not_claimed[1:]}"] if found.not_claimed else []
    return fill_workings(area_ha=area, before_kg=typed.number("before") or 0.0, put_kg=put, left_kg=left), tuple(notes)


def _last_fills(book: Book, profile: Profile) -> list[tuple[str, str]]:
    """The newest fill of each bin, as an address that fills the form in: (address, text)."""
    from urllib.parse import urlencode

    names, jobs, products = job_names(book), {j.key: j for j in book.all(Job)}, {p.key: p.name for p in book.all(Product)}
    newest: dict[tuple[str, str], Fill] = {}
    for fill in sorted(book.all(Fill), key=lambda f: f.at):
        newest[(fill.job, fill.bin)] = fill
    out = []
    for fill in sorted(newest.values(), key=lambda f: f.at, reverse=True)[:6]:
        asked = next((a.rate_kg_ha for a in jobs[fill.job].asks if a.product == fill.product), None) if fill.job in jobs else None
        values = {"put": shown(fill.put_kg, "mass", profile), "how": fill.how if fill.how in dict(HOW) else "ticket"}
        if fill.level_before_kg is not None:
            values["before"] = shown(fill.level_before_kg, "mass", profile)
        if asked is not None:
            values["dose"] = shown(asked, "rate", profile)
        what = f"Bin {fill.bin}, {products.get(fill.product, fill.product)}: {values['put']} on {moment(fill.at)}"
        out.append((f"/at-the-fill?{urlencode({**values, 'live': '1'})}", f"{what}, {names.get(fill.job, fill.job)}"))
    return out


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
    return site.page(
        request, "catch.html", typed=Typed(fields=catch_fields(_bins(site)), profile=site.profile()), result=None, kept="", shows=()
    )


@router.post("/at-the-fill/catch")
async def caught(request: Request) -> Response:
    """Work a catch out; with a bin chosen, keep it as the factor in force."""
    import numpy as np

    from evenstand.tally import catch_test

    site = site_of(request)
    typed = Typed.of(catch_fields(_bins(site)), await request.form(), site.profile())
    turns, tare, division = typed.number("turns"), typed.number("tare") or 0.0, typed.number("division") or 0.0
    share = typed.number("share")
    masses = _masses(typed)
    result, kept = None, ""
    shows: tuple[str, ...] = ()
    if typed.ok and turns is not None and masses:
        try:
            result = catch_test(np.array(masses), turns, share=1.0 if share is None else share, tare_kg=tare, scale_division_kg=division)
            shows = _catch_shows(typed.profile, masses, turns, 1.0 if share is None else share, tare, result)
            job_key, _, letter = typed.values.get("where", "").partition("|")
            if letter:
                with site.book() as book:
                    job = next((j for j in book.all(Job) if j.key == job_key), None)
                    if job is None:
                        raise MissingError(f"no job '{job_key}'", where="where", cure="Choose the bin again.")
                    product = next((b.product for b in plan_job(book, job_key).bins if b.bin == letter), "")
                    record_catch(
                        book,
                        outfit=job.outfit,
                        bin=letter,
                        product=product,
                        masses_kg=masses,
                        turns=turns,
                        share=1.0 if share is None else share,
                        tare_kg=tare,
                        scale_division_kg=division,
                        clock=site.clock,
                    )
                kept = f"Kept for bin {letter}: the plan and the card use it from now on."
        except EvenstandError as error:
            typed.blame(error)
    return site.page(request, "catch.html", status=200 if typed.ok else 422, typed=typed, result=result, kept=kept, shows=shows)


def _catch_shows(
    profile: Profile, masses: Sequence[float], turns: float, share: float, tare_kg: float, result: CatchTest
) -> tuple[str, ...]:
    """Each catch by itself, and where the interval comes from."""
    import numpy as np

    from evenstand.tally import catch_test

    lines = []
    for i, mass in enumerate(masses, 1):
        alone = catch_test(np.array([mass]), turns, share=share, tare_kg=tare_kg).factor_kg_rev
        part = "" if share == 1.0 else f" of {shown(share, 'share', profile)} of the meter"
        bag = f" less {shown(tare_kg, 'catch', profile)} of bag" if tare_kg else ""
        lines.append(f"Catch {i}: {shown(mass, 'catch', profile)}{bag}, over {turns:g} turns{part}: {shown(alone, 'factor', profile)}.")
    lines.append(f"Together: {shown(result.factor_kg_rev, 'factor', profile)}, standard deviation {shown(result.sd, 'factor', profile)}.")
    lines.append(
        f"One catch spreads by {shown(result.cv, 'share', profile)}: what is usual (common practice) until your own catches say otherwise. "
        "The interval is Student's t at 95 %."
    )
    if result.scale_share > 0.05:
        lines.append(f"The scale's smallest step makes {shown(result.scale_share, 'share', profile)} of that variance.")
    return tuple(lines)


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
    typed = Typed(fields=entry_fields(_bins(site)), profile=site.profile())
    return _entry_page(request, typed, kept="")


@router.post("/at-the-fill/entry")
async def enter(request: Request) -> Response:
    """Keep a fill."""
    site = site_of(request)
    typed = Typed.of(entry_fields(_bins(site)), await request.form(), site.profile())
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
