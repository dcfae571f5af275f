"""At the fill: fill entry, and the bins there are to choose from."""

from __future__ import annotations

from typing import get_args

from fastapi import APIRouter, Request, Response

from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, shown, shown_value
from evenstand.desk.fill_entry import enter_fill, kept_words
from evenstand.desk.fill_sources import LoadChoice, load_choices, read_minutes
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


FOLDED = ("load", "light_at", "minutes", "delivery")


def load_field(loads: tuple[LoadChoice, ...]) -> tuple[Field, ...]:
    """The field for the load a fill came out of; none where the book knows no load with something left."""
    if not loads:
        return ()
    choices = (("", "Not said"), *((c.key, c.text) for c in loads))
    hint = "So the shed can tell what is left on each truck, and the bin knows its lot."
    return (Field(name="load", label="Out of which load", choices=choices, hint=hint, width="wide"),)


def entry_fields(bins: tuple[tuple[str, str], ...], loads: tuple[LoadChoice, ...] = ()) -> tuple[Field, ...]:
    """Fields of a fill entry."""
    return (
        Field(name="where", label="Bin", choices=bins or (("", "no job yet"),), required=True),
        Field(name="put", label="What went in", quantity="mass", hint="Or the minutes the conveyor ran, below."),
        Field(name="how", label="How that is known", choices=HOW),
        Field(name="area", label="Area counter now", quantity="area"),
        Field(name="before", label="What was still in", quantity="mass"),
        *load_field(loads),
        Field(
            name="light_at", label="Counter when the low-level light came on", quantity="area",
            hint="Before this fill. One such look tells more of the meter than a glance at every fill.",
        ),
        Field(name="minutes", label="Minutes the conveyor ran", hint="Beside a weighed mass: its delivery is learned for next time."),
        Field(name="delivery", label="What it delivers", quantity="mass_flow", hint="Empty: as learned from weighed fills."),
    )  # fmt: skip


def minutes_of(typed: Typed) -> float | None:
    """The minutes typed, as seconds; a fault beside the field where it is no time. [s]"""
    try:
        return read_minutes(typed.text("minutes"))
    except EvenstandError as error:
        typed.blame(error)
        return None


def _fields(site: Site) -> tuple[Field, ...]:
    with site.book() as book:
        loads = load_choices(book)
    return entry_fields(bin_choices(site), loads)


@router.get("/at-the-fill/entry")
def entry(request: Request) -> Response:
    """An empty fill entry, and the fills so far."""
    site = site_of(request)
    typed = Typed(fields=_fields(site), profile=site.profile())
    return _entry_page(request, typed, kept="")


@router.post("/at-the-fill/entry")
async def enter(request: Request) -> Response:
    """Keep a fill."""
    site = site_of(request)
    typed = Typed.of(_fields(site), await request.form(), site.profile())
    put, area, before, light_at, delivery = (typed.number(n) for n in ("put", "area", "before", "light_at", "delivery"))
    ran_s, how = minutes_of(typed), _how(typed)
    job, _, letter = typed.text("where").partition("|")
    kept = ""
    if typed.ok:
        try:
            with site.book() as book:
                fill = enter_fill(
                    book, job=job, bin=letter, put_kg=put, how=how, area_ha=area, level_before_kg=before, load=typed.values.get("load", ""),
                    low_light_at_ha=light_at, ran_s=ran_s, delivery_kg_s=delivery, clock=site.clock,
                )  # fmt: skip
            kept = f"Kept: {kept_words(fill, profile=site.profile())}."
            typed = Typed(fields=_fields(site), profile=site.profile())
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
    return site.page(
        request, "fill_entry.html", status=200 if typed.ok else 422, typed=typed, rows=rows, kept=kept,
        first=[f for f in typed.fields if f.name not in FOLDED], folded=[f for f in typed.fields if f.name in FOLDED],
        fold_open=any(typed.values.get(n) or n in typed.faults for n in FOLDED),
    )  # fmt: skip
