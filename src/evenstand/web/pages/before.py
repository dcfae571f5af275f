"""Before the field: jobs, the plan with live recalculation, the value card, the plan as a drawing."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.clock import iso
from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, shown_value
from evenstand.desk.cards import Part, laid_out, wanted, warned
from evenstand.desk.particulars import change_job, change_price
from evenstand.desk.planning import job_inputs
from evenstand.desk.proofs import card_with_proofs, proof_lines
from evenstand.desk.recording import new_job, remark_card
from evenstand.expect import PlanInputs, plan_for
from evenstand.expect.lines import GROUPS
from evenstand.model import Boundary, Job, Outfit, Plan, Product
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import day, job_name
from evenstand.web.site import site_of

router = APIRouter()

PLAN_FIRST = ("job", "time")  # groups that a plan tells before those of the card


@router.get("/before")
def jobs(request: Request) -> Response:
    """All jobs of the book."""
    site = site_of(request)
    with site.book() as book:
        all_jobs = sorted(book.all(Job), key=lambda j: (j.finish_by or "9999", j.key))
        fields = {b.key: b for b in book.all(Boundary)}
        outfits = {o.key: o for o in book.all(Outfit)}
    return site.page(request, "jobs.html", jobs=all_jobs, fields=fields, outfits=outfits)


def _job_fields(outfits: Sequence[Outfit], fields: Sequence[Boundary], products: Sequence[Product]) -> tuple[Field, ...]:
    none = ("", "not known yet")
    choices = (none, *((p.key, p.name) for p in products))
    rows: list[Field] = [
        Field(name="crop", label="Crop", required=True),
        Field(name="outfit", label="Outfit", choices=tuple((o.key, o.name) for o in outfits) or (none,)),
        Field(name="field", label="Field", choices=(none, *((b.key, b.name) for b in fields))),
        Field(name="area", label="Area, if there is no outline", quantity="area"),
        Field(name="target", label="Plants wanted", quantity="stand"),
        Field(name="survival", label="Share of seeds that become plants", hint="85 % or 0.85", quantity="share"),
        Field(name="depth", label="Depth", quantity="depth"),
        Field(name="texture", label="Soil", choices=(none, ("light", "light"), ("medium", "medium"), ("heavy", "heavy"))),
        Field(name="finish", label="To be finished by", kind="date"),
    ]
    for i in (1, 2, 3, 4):
        rows.append(Field(name=f"product{i}", label=f"Product {i}", choices=choices))
        rows.append(Field(name=f"rate{i}", label=f"Rate of product {i}", quantity="rate"))
    return tuple(rows)


@router.get("/before/new")
def new(request: Request) -> Response:
    """An empty job form."""
    site = site_of(request)
    with site.book() as book:
        spec = _job_fields(book.all(Outfit), book.all(Boundary), book.all(Product))
        typed = Typed(fields=spec, profile=book.profile)
    return site.page(request, "job_new.html", typed=typed)


@router.post("/before/new")
async def make(request: Request) -> Response:
    """Keep a new job, or show what is wrong with it."""
    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        typed = Typed.of(_job_fields(book.all(Outfit), book.all(Boundary), book.all(Product)), form, book.profile)
        asks = [(typed.text(f"product{i}"), typed.number(f"rate{i}")) for i in (1, 2, 3, 4)]
        crop = typed.text("crop")
        area, target, survival = typed.number("area"), typed.number("target"), typed.number("survival")
        depth = typed.number("depth")
        if typed.ok:
            try:
                job = new_job(
                    book,
                    crop=crop,
                    outfit=typed.text("outfit"),
                    field_key=typed.text("field"),
                    area_ha=area,
                    target_plants_m2=target,
                    survival=survival,
                    depth_m=depth,
                    texture=typed.text("texture"),
                    finish_by=typed.text("finish"),
                    asks=asks,
                    clock=site.clock,
                )
                return RedirectResponse(f"/before/{job.key}", status_code=303)
            except EvenstandError as error:
                typed.blame(error)
    return site.page(request, "job_new.html", status=422, typed=typed)


def _live_fields(inputs: PlanInputs, profile: Profile) -> tuple[Field, ...]:
    own = _own_values(inputs, profile)

    def entry(name: str, label: str, quantity: str, hint: str = "") -> Field:
        return Field(name=name, label=label, quantity=quantity, hint=hint or (f"Now {own[name]}." if name in own else "Not known yet."))

    along = "Now along the longest edge." if inputs.job.direction_deg is None else f"Now {inputs.job.direction_deg:g}."
    return (
        *(entry(f"rate:{a.product}", f"Rate, {_name(inputs, a.product)}", "rate") for a in inputs.job.asks),
        entry("speed", "Working speed", "speed"),
        entry("area", "Area", "area"),
        entry("target", "Plants wanted", "stand"),
        entry("rounds", "Headland rounds", "count"),
        entry("direction", "Direction of passes, degrees from north", "count", along),
    )


def _own_values(inputs: PlanInputs, profile: Profile) -> dict[str, str]:
    """The job's own values as texts, shown beside the fields that would replace them."""
    job = inputs.job
    area = job.area_ha if job.area_ha is not None else (inputs.boundary.area_ha if inputs.boundary else None)
    speed = job.speed_m_s if job.speed_m_s is not None else (inputs.outfit.speed_m_s if inputs.outfit else None)
    rows: list[tuple[str, float | None, str]] = [
        ("area", area, "area"),
        ("speed", speed, "speed"),
        ("target", job.target_plants_m2, "stand"),
        ("rounds", float(job.headland_rounds), "count"),
        *((f"rate:{a.product}", a.rate_kg_ha, "rate") for a in job.asks),
    ]
    return {name: shown_value(value, quantity, profile) for name, value, quantity in rows if value is not None}


def _name(inputs: PlanInputs, key: str) -> str:
    return inputs.products[key].name if key in inputs.products else key


def _tried(inputs: PlanInputs, typed: Typed) -> PlanInputs:
    """The inputs with what the reader is trying out; nothing is stored."""
    job = inputs.job
    changes: dict[str, object] = {}
    for name, attribute in (("area", "area_ha"), ("speed", "speed_m_s"), ("target", "target_plants_m2"), ("direction", "direction_deg")):
        value = typed.number(name)
        if value is not None:
            changes[attribute] = value
    rounds = typed.number("rounds")
    if rounds is not None:
        changes["headland_rounds"] = max(0, min(6, round(rounds)))
    asks = []
    for ask in job.asks:
        value = typed.number(f"rate:{ask.product}")
        asks.append(ask if value is None else dataclasses.replace(ask, rate_kg_ha=value))
    return dataclasses.replace(inputs, job=dataclasses.replace(job, asks=tuple(asks), **changes))  # type: ignore[arg-type]


@router.get("/before/{key}")
def plan(request: Request, key: str) -> Response:
    """The plan of a job; values in the address are tried out and recalculated, not stored."""
    site = site_of(request)
    with site.book() as book:
        inputs = job_inputs(book, key, now=iso(site.clock.now()))
        profile = book.profile
    typed = Typed.of(_live_fields(inputs, profile), request.query_params, profile)
    found: Plan | None = None
    try:
        tried = _tried(inputs, typed)
        if typed.ok:
            found = plan_for(tried)
    except EvenstandError as error:
        typed.blame(error)
    if "live" in request.query_params:
        typed.quiet()
    tried_out = any(typed.values.values())
    name = job_name(inputs.job, {inputs.boundary.key: inputs.boundary} if inputs.boundary else {})
    return site.page(
        request, "plan.html", inputs=inputs, plan=found, typed=typed, groups=_by_group(found) if found else (), heads=_heads(inputs, found),
        missing=wanted(found.card) if found else (),
        warnings=warned(found.card) if found else (), tried=tried_out, name=name,
    )  # fmt: skip


def _by_group(plan: Plan) -> list[tuple[str, str, tuple[Part, ...]]]:
    """Groups that hold known lines, with their parts: job and time first, then as on the card."""
    out = []
    for key, title in sorted(GROUPS, key=lambda g: g[0] not in PLAN_FIRST):
        lines = [c for c in plan.card if c.group == key and c.state != "needs"]
        if lines:
            out.append((key, title, laid_out(lines)))
    return out


def _heads(inputs: PlanInputs, plan: Plan | None) -> dict[str, str]:
    """What stands over the column of each bin: its product."""
    return {b.bin: _name(inputs, b.product) for b in plan.bins} if plan else {}


@router.get("/before/{key}/card")
def card(request: Request, key: str) -> Response:
    """The value card, with what the owner's display calls each line."""
    from evenstand.book import CardRemark

    site = site_of(request)
    with site.book() as book:
        inputs = job_inputs(book, key, now=iso(site.clock.now()))
        found = plan_for(inputs)
        if inputs.outfit is not None:
            found = dataclasses.replace(found, card=card_with_proofs(found.card, proof_lines(book, inputs.outfit.key, clock=site.clock)))
        remarks = {r.line: r for r in book.all(CardRemark) if r.outfit == inputs.job.outfit}
    parts = laid_out(found.card, keep=lambda line: line.state != "needs")
    return site.page(
        request,
        "card.html",
        inputs=inputs,
        plan=found,
        card=parts,
        heads=_heads(inputs, found),
        missing=wanted(found.card),
        warnings=warned(found.card),
        remarks=remarks,
    )


@router.post("/before/{key}/card")
def remark(request: Request, key: str, line: Annotated[str, Form()], yours: Annotated[str, Form()] = "") -> Response:
    """Keep what the owner's display calls a line."""
    site = site_of(request)
    with site.book() as book:
        inputs = job_inputs(book, key, now=iso(site.clock.now()))
        remark_card(book, outfit=inputs.job.outfit, line=line, yours=yours, clock=site.clock)
    return RedirectResponse(f"/before/{key}/card", status_code=303)


@router.get("/before/{key}/drawing")
def drawing(request: Request, key: str) -> Response:
    """The plan as a drawing, with its passes and stops as a table."""
    from markupsafe import Markup

    from evenstand.drawing import field_plan, page_svg

    site = site_of(request)
    with site.book() as book:
        inputs = job_inputs(book, key, now=iso(site.clock.now()))
    found = plan_for(inputs)
    svg = None
    if inputs.boundary is not None and found.drive is not None:
        svg = Markup(page_svg(field_plan(inputs.boundary, found.drive, found.stops)))  # our own writer escapes all text
    return site.page(request, "drawing.html", inputs=inputs, plan=found, svg=svg)


@router.get("/before/{key}/sheets")
def sheets(request: Request, key: str) -> Response:
    """All sheets of a job as one zip: PDFs and the pocket page."""
    import io
    import tempfile
    import zipfile
    from pathlib import Path

    from evenstand.desk.sheets import book_context
    from evenstand.paper import write_sheets

    site = site_of(request)
    with site.book() as book:
        context = book_context(book, key, profile=book.profile, made_at=iso(site.clock.now()), who=site.who)
    packed = io.BytesIO()
    with tempfile.TemporaryDirectory() as folder, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in write_sheets(context, Path(folder)):
            archive.write(path, path.name)
    data = packed.getvalue()
    name = f"evenstand-{key}.zip"
    return Response(data, media_type="application/zip", headers={"Content-Disposition": f'attachment; filename="{name}"'})


def _fact_fields(inputs: PlanInputs, profile: Profile) -> tuple[Field, ...]:
    """What the value card asks of a job and its products; each field says what is known now."""
    job, air = inputs.job, inputs.job.weather

    def one(name: str, label: str, quantity: str, value: float | None, hint: str = "") -> Field:
        now = "Not known yet." if value is None else f"Now {shown_value(value, quantity, profile)}."
        return Field(name=name, label=label, quantity=quantity, hint=f"{now} {hint}".strip())

    rows = [
        one("survival", "Share of seeds that become plants", "share", job.survival),
        one("survival_sd", "How far off that may be, one standard deviation", "share", job.survival_sd),
        one("depth_m", "Depth", "depth", job.depth_m),
        Field(
            name="start_on", label="First day of work", kind="date", hint=f"Now {day(job.start_on)}." if job.start_on else "Not known yet."
        ),
        one("day_hours", "Sowing hours of a workable day", "time", job.day_hours),
        one("workable", "Share of days on which work is possible", "share", job.workable, "From your own years."),
        one("weather.temperature_c", "Air temperature", "temperature", air.temperature_c),
        one("weather.relative_humidity", "Relative humidity, now or forecast for the night", "share", air.relative_humidity),
        one("weather.height_m", "Height of the place above the sea", "distance", air.height_m),
        one("weather.soil_temperature_c", "Soil temperature at seed depth", "temperature", air.soil_temperature_c),
    ]
    for ask in job.asks:
        name = _name(inputs, ask.product)
        rows.append(one(f"step_kg_ha:{ask.product}", f"One step of the rate key, {name}", "rate", ask.step_kg_ha))
        rows.append(one(f"second_rate_kg_ha:{ask.product}", f"Second rate, {name}", "rate", ask.second_rate_kg_ha))
        if ask.product in inputs.products:
            rows.append(one(f"price_kg:{ask.product}", f"Price, {name}", "price_mass", inputs.products[ask.product].price_kg))
    return tuple(rows)


def _facts_page(request: Request, key: str, typed: Typed | None = None, kept: str = "") -> Response:
    site = site_of(request)
    with site.book() as book:
        inputs = job_inputs(book, key)
        form = typed or Typed(fields=_fact_fields(inputs, book.profile), profile=book.profile)
    name = job_name(inputs.job, {inputs.boundary.key: inputs.boundary} if inputs.boundary else {})
    return site.page(request, "job_facts.html", status=200 if form.ok else 422, inputs=inputs, typed=form, kept=kept, name=name)


@router.get("/before/{key}/facts")
def facts(request: Request, key: str) -> Response:
    """What can still be typed about a job."""
    return _facts_page(request, key)


@router.post("/before/{key}/facts")
async def keep_facts(request: Request, key: str) -> Response:
    """Keep what is typed about a job and its products."""
    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        inputs = job_inputs(book, key)
        typed = Typed.of(_fact_fields(inputs, book.profile), form, book.profile)
        values: dict[str, float | str | None] = {f.name: typed.number(f.name) if f.quantity else typed.text(f.name) for f in typed.fields}
        if typed.ok:
            try:
                with book.batch("typed on the job"):
                    change_job(book, key, values, clock=site.clock)
                    for name, value in values.items():
                        if name.startswith("price_kg:") and isinstance(value, float):
                            change_price(book, name.partition(":")[2], value)
                return _facts_page(request, key, kept="Kept. Plan and value card follow it.")
            except EvenstandError as error:
                typed.blame(error)
    return _facts_page(request, key, typed=typed)
