"""At the fill: the fill check, the daily act. The use case is `desk.filling`; what the book knows is offered, what is typed comes first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from evenstand.base.errors import EvenstandError, MissingError
from evenstand.base.units import Profile, shown
from evenstand.base.worked import Working
from evenstand.desk.fill_bins import BinNow, bins_now
from evenstand.desk.fill_sources import LoadChoice, load_choices
from evenstand.desk.filling import FillAnswer, FillSaid, answer_fill, keep_check, total_text
from evenstand.desk.workings import fill_workings
from evenstand.web.asking import bounded
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import job_choices
from evenstand.web.pages.filling import HOW, load_field, minutes_of
from evenstand.web.site import Site, site_of

if TYPE_CHECKING:
    from collections.abc import Mapping

router = APIRouter()

ON_RECORD = ("", "On record")
LEFT_HOW = (("glance", "A glance"), ("weighed", "Weighed"), ("light", "Low-level light"), ("empty", "Run empty"))
AREA_FROM = (("counter", "A counter that counts ground sown twice"), ("new", "A counter of new ground only, or the field"))
NO_BIN = ("none", "No bin: type all")
LOOKS = (
    ("light", "Light just came on"), ("empty", "Run empty"), ("quarter", "¼"), ("half", "½"), ("three-quarters", "¾"), ("", "I type it"),
)  # fmt: skip
OTHER_JOBS = 8
OPENS = ("left", "before", "dose", "light_at", "minutes", "delivery", "load")
"""Fields that keep the fold open once something stands in them."""


def fields_for(bins: tuple[BinNow, ...], profile: Profile, loads: tuple[LoadChoice, ...] = ()) -> tuple[Field, ...]:
    """Fields of the fill check, in the order a person meets them; none depends on the bin, so that choosing one needs no new page."""
    where = (*((b.key, _chip(b, profile)) for b in bins), NO_BIN)
    known = "Empty: as the book has it." if bins else ""
    return (
        Field(name="where", label="Bin", kind="chips", choices=where),
        Field(name="area", label="Area since that fill", quantity="area"),
        Field(name="counter", label="or the counter now", quantity="area"),
        Field(name="put", label="What went in at it", quantity="mass", hint=known),
        Field(name="how", label="How that is known", choices=(ON_RECORD, *HOW)),
        Field(name="look", label="What the bin looks like", kind="chips", choices=LOOKS),
        Field(name="left", label="What is in it now", quantity="mass", hint="Only if you know better."),
        Field(name="left_how", label="Known by", choices=LEFT_HOW),
        Field(name="before", label="What was in it before that fill", quantity="mass", hint=known or "Empty: nothing was in."),
        Field(name="dose", label="Rate asked", quantity="rate", hint="Empty: as the job asks." if bins else ""),
        Field(name="area_from", label="The area is from", choices=AREA_FROM),
        Field(
            name="light_at", label="Counter when the low-level light came on", quantity="area",
            hint="Instead of area and look, if it came on earlier than now.",
        ),
        Field(name="minutes", label="Minutes the conveyor ran", hint="Instead of a weight."),
        Field(name="delivery", label="What it delivers", quantity="mass_flow", hint=_delivery_hint(bins, profile)),
        *load_field(loads),
    )  # fmt: skip


def _delivery_hint(bins: tuple[BinNow, ...], profile: Profile) -> str:
    """What is learned of the conveyor, by product."""
    known = {b.name: shown(b.conveyor.value, "mass_flow", profile) for b in bins if b.conveyor is not None}
    learned = "; ".join(f"{name} {rate}" for name, rate in known.items())
    return f"Empty: as learned, {learned}." if learned else "Learned once a weighed fill has its minutes."


FOLDED = ("left", "left_how", "before", "dose", "area_from", "light_at", "minutes", "delivery", "load")


def _chip(b: BinNow, profile: Profile) -> str:
    put = "" if b.put_kg is None else f", {shown(b.put_kg, 'mass', profile)} in"
    return f"{' + '.join(b.letters)} {b.name}{put if len(b.letters) == 1 else ', together'}"


def _asked(site: Site, data: Mapping[str, object], job: str) -> tuple[Typed, tuple[BinNow, ...], BinNow | None, str]:
    """The form as sent, the bins of the job, the chosen one, the job; a page just opened offers the bin filled last."""
    with site.book() as book:
        jobs, profile = job_choices(book), book.profile
        where = str(data.get("where", ""))
        own = where.partition("|")[0]
        keys = [k for k, _ in jobs]
        job = next((k for k in (own, job, *keys[:1]) if k in keys), "")
        bins = site.once(("bins now", job, profile), lambda: bins_now(book, job)) if job else ()
        loads = load_choices(book, products=[b.product for b in bins], profile=profile) if bins else ()
    fresh = not (set(data) - {"job"})
    if fresh and bins:
        newest = max(bins, key=lambda b: (b.put_at if len(b.letters) == 1 else "", -bins.index(b)))
        where = newest.key
    chosen = next((b for b in bins if b.key == where), None)
    typed = Typed.of(fields_for(bins, profile, loads), data, profile)
    typed.values["where"] = chosen.key if chosen is not None else where or NO_BIN[0]
    bounded(typed)
    return typed, bins, chosen, job


def said_of(typed: Typed) -> FillSaid:
    """What was typed, in metric."""
    numbers = {name: typed.number(name) for name in ("area", "counter", "put", "left", "before", "dose", "light_at", "delivery")}
    return FillSaid(
        area_ha=numbers["area"], counter_ha=numbers["counter"], put_kg=numbers["put"], put_how=typed.values.get("how", ""),
        before_kg=numbers["before"], look=typed.values.get("look", ""), left_kg=numbers["left"],
        left_how=typed.values.get("left_how") or "glance", dose_kg_ha=numbers["dose"],
        new_ground_only=typed.values.get("area_from") == "new", light_at_ha=numbers["light_at"], ran_s=minutes_of(typed),
        delivery_kg_s=numbers["delivery"], load=typed.values.get("load", ""),
    )  # fmt: skip


def _answer(typed: Typed, chosen: BinNow | None) -> FillAnswer | None:
    """The answer, or None while a number is missing or wrong; each fault beside its field."""
    said = said_of(typed)
    if not typed.ok:
        return None
    try:
        return answer_fill(chosen, said, profile=typed.profile)
    except MissingError as error:
        for fault in error.faults:
            label = next((f.label for f in typed.fields if f.name == fault.where), "")
            limit = f" {fault.limit}." if fault.limit else ""
            typed.faults[fault.where] = f"{label}: {fault.what}.{limit} {fault.cure}".strip()
    except EvenstandError as error:
        typed.blame(error)
    return None


@router.get("/at-the-fill")
def check(request: Request) -> Response:
    """The fill check: the daily act."""
    site = site_of(request)
    typed, _, chosen, job = _asked(site, request.query_params, request.query_params.get("job", ""))
    asked = bool(set(request.query_params) - {"job", "where"})
    found = _answer(typed, chosen) if asked else None
    if not asked:
        typed.faults.clear()
    if "live" in request.query_params:
        _quiet(typed)
    return _page(request, typed, chosen, job, found)


def _quiet(typed: Typed) -> None:
    """While somebody is still typing, what is not there yet is no fault."""
    typed.faults = {k: v for k, v in typed.faults.items() if not k or typed.values.get(k)}


@router.post("/at-the-fill/keep")
async def keep(request: Request) -> Response:
    """Keep what was typed for a check: the fill if the book had it not, the level, the counter."""
    site = site_of(request)
    typed, _, chosen, job = _asked(site, await request.form(), "")
    found = _answer(typed, chosen)
    if chosen is None and typed.ok:
        typed.faults["where"] = "Bin: no bin is chosen. Without one there is no place to keep it."
    kept: tuple[str, ...] = ()
    if found is not None and chosen is not None:
        try:
            with site.book() as book:
                kept = keep_check(book, chosen, said_of(typed), found, clock=site.clock)
            site.forget()
        except EvenstandError as error:
            typed.blame(error)
    said = f"Kept: {', '.join(kept)}." if kept else ""
    return _page(request, typed, chosen, job, found, kept=said)


def _page(request: Request, typed: Typed, chosen: BinNow | None, job: str, found: FillAnswer | None, *, kept: str = "") -> Response:
    site = site_of(request)
    with site.book() as book:
        others = [(k, n) for k, n in job_choices(book) if k != job][:OTHER_JOBS]
        name = dict(job_choices(book)).get(job, "")
    shows, notes = _shows(found)
    return site.page(
        request, "fill_check.html", status=422 if kept == "" and request.method == "POST" and not typed.ok else 200, typed=typed,
        fields={f.name: f for f in typed.fields}, folded=[f for f in typed.fields if f.name in FOLDED],
        fold_open=chosen is None or any(typed.values.get(n) or n in typed.faults for n in OPENS),
        found=found.finding if found else None, taken=found.taken if found else (), total=total_text(found.total) if found else "",
        shows=shows, notes=notes, chosen=chosen, others=others, job_name=name, kept=kept,
    )  # fmt: skip


def _shows(found: FillAnswer | None) -> tuple[tuple[Working, ...], tuple[str, ...]]:
    """The sums behind the sentence, and what makes it as sure or unsure as it is."""
    if found is None:
        return (), ()
    notes = [f"{e[:1].upper()}{e[1:]}." for e in found.finding.evidence]
    claimed = found.finding.not_claimed
    notes += [f"Not claimed: {claimed[:1].lower()}{claimed[1:]}"] if claimed else []
    shows = fill_workings(area_ha=found.area_ha, before_kg=found.before_kg, put_kg=found.put_kg, left_kg=found.left_kg)
    return shows, tuple(notes)
