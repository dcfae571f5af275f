"""After the field: the trail, its pass strips, the tally, the check."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.errors import EvenstandError
from evenstand.base.units import shown
from evenstand.desk.checking import READINGS, check_job, keep_readings, tally_rows
from evenstand.desk.logs import Figure, figures_of, job_trails, propose_columns, read_log, remembered_recipe, says_itself
from evenstand.desk.tallies import bin_lines, product_lines, product_rows
from evenstand.desk.tallies import bin_rows as bin_tallies
from evenstand.desk.trail_lines import odd_lines, other_notes
from evenstand.desk.trail_parts import bin_rows, part_rows, repeat_lines, time_rows, turn_lines
from evenstand.desk.trails import TrailView, trail_view
from evenstand.model import Finding, Outfit
from evenstand.web.columns import ROLE_CHOICES, column_lines, confirmed_recipe
from evenstand.web.forms import Field, Typed
from evenstand.web.guarding import MIB, UPLOADS
from evenstand.web.naming import job_choices, job_names, numbers
from evenstand.web.site import Site, site_of

if TYPE_CHECKING:
    from starlette.datastructures import FormData, UploadFile

    from evenstand.base.units import Profile
    from evenstand.drawing.shapes import Drawing
    from evenstand.trail import PassFacts

router = APIRouter()

MAX_UPLOAD = UPLOADS["/after/trail"]
COLUMNS_SAID = {
    "known": "Its columns were read as they were confirmed before.",
    "kept": "Its columns are confirmed and remembered: the next log with the same header is read the same way.",
    "given": "Kept. Its rows, its file and its history are as before.",
}
WIDE, NARROW = 720.0, 344.0
STATE_ORDER = ("does-not-hold", "doubtful", "cannot-tell")


def _jobs(site: Site) -> tuple[tuple[str, str], ...]:
    with site.book() as book:
        return job_choices(book)


_HINT = f"Text with a header line, zipped task data (ISO 11783-10), NMEA 0183, or points for a GIS; at most {MAX_UPLOAD // MIB} MB."


def trail_fields(jobs: tuple[tuple[str, str], ...]) -> tuple[Field, ...]:
    """Fields of a trail upload."""
    return (
        Field(name="job", label="Job", choices=jobs or (("", "no job yet"),), required=True),
        Field(
            name="file", label="The machine's log", kind="file", hint=_HINT,
            required=True,
        ),
        Field(name="crs", label="Coordinate system", hint="Only where positions are not degrees, such as EPSG:32613."),
        Field(
            name="again", label="Columns", choices=(("", "as confirmed before, if this kind of log is known"), ("yes", "show them again")),
        ),
    )  # fmt: skip


def answer_fields() -> tuple[Field, ...]:
    """What a log may not say by itself."""
    return (
        Field(name="crs", label="Coordinate system", hint="Only where positions are not degrees, such as EPSG:32613."),
        Field(name="zone", label="Its clock's offset from UTC", hint="Only where times carry none, such as -06:00."),
        Field(name="start", label="When it began", hint="Only where times are seconds, such as 2027-05-09T06:00."),
    )


@router.get("/after")
def after(request: Request) -> Response:
    """Trails in the book, and the way to read one."""
    site = site_of(request)
    return _trails(request, Typed(fields=trail_fields(_jobs(site)), profile=site.profile()))


def _trails(request: Request, typed: Typed) -> Response:
    site = site_of(request)
    with site.book() as book:
        trails, names = job_trails(book), job_names(book)
    return site.page(request, "after.html", status=200 if typed.ok else 422, typed=typed, trails=trails, names=names)


@router.post("/after/trail")
async def upload(request: Request) -> Response:
    """Take a log in: read it where its columns were confirmed before, else show what each column is taken for."""
    async with request.form() as form:  # whatever was uploaded is let go of, also where it is not wanted
        return await _taken(request, form)


async def _taken(request: Request, form: FormData) -> Response:
    """The log of a form, kept aside and looked at."""
    site = site_of(request)
    typed = Typed.of(trail_fields(_jobs(site)), form, site.profile())
    typed.fields = [f for f in typed.fields if f.name != "file"]
    job = typed.text("job")
    typed.fields = trail_fields(_jobs(site))
    file: UploadFile | None = form.get("file")  # type: ignore[assignment]
    if file is None or not getattr(file, "filename", ""):
        typed.faults["file"] = "Choose the machine's log."
    if not typed.ok or file is None:
        return _trails(request, typed)
    token, path = site.stage(file.filename or "log")
    with path.open("wb") as out:
        while chunk := await file.read(MIB):
            out.write(chunk)
    try:
        with site.book() as book:
            known = None if typed.values.get("again") else remembered_recipe(book, path)
            if known is not None or says_itself(path):
                record = read_log(book, job, path, crs=typed.text("crs") or None, recipe=known, clock=site.clock)
                site.unstage(token)
                return RedirectResponse(f"/after/trail/{record.key}?columns=known", status_code=303)
        return _columns(request, token, path, {"job": job, "crs": typed.text("crs")}, ())
    except EvenstandError as error:
        site.unstage(token)
        typed.faults["file"] = _told(error, path)
        return _trails(request, typed)


def _told(error: EvenstandError, path: Path) -> str:
    """The faults of a file, without the folder it waited in."""
    return str(error).replace(f"{path.parent}/", "")


@router.post("/after/trail/columns")
async def confirm(request: Request) -> Response:
    """Read the log with the columns as a person confirmed them, and remember them."""
    site = site_of(request)
    form = await request.form()
    typed = {k: v.strip() for k, v in form.items() if isinstance(v, str)}
    token = typed.get("token", "")
    path = site.staged(token)
    if path is None:
        gone = Typed.of(trail_fields(_jobs(site)), form, site.profile())
        gone.faults["file"] = "The file is no longer here. Choose it once more."
        return _trails(request, gone)
    try:
        answers = {k: typed.get(k, "") for k in ("crs", "start", "zone")}
        proposal = propose_columns(path, **{k: v or None for k, v in answers.items()})
        recipe = confirmed_recipe(proposal, typed, **answers)
        with site.book() as book:
            record = read_log(book, typed.get("job", ""), path, crs=answers["crs"] or None, recipe=recipe, confirmed=True, clock=site.clock)
    except EvenstandError as error:
        return _columns(request, token, path, typed, tuple(str(f).replace(f"{path.parent}/", "") for f in error.faults))
    site.unstage(token)
    return RedirectResponse(f"/after/trail/{record.key}?columns=kept", status_code=303)


def _columns(request: Request, token: str, path: Path, typed: Mapping[str, str], faults: tuple[str, ...]) -> Response:
    """What each column is taken for, to be confirmed."""
    site = site_of(request)
    proposal = propose_columns(path, crs=typed.get("crs") or None)
    answers = Typed.of(answer_fields(), typed, site.profile())
    if faults:
        answers.faults = {"": " ".join(faults)}
    with site.book() as book:
        job = job_names(book).get(typed.get("job", ""), "")
    return site.page(
        request, "after_columns.html", status=422 if faults else 200, proposal=proposal, lines=column_lines(proposal, typed), token=token,
        name=path.name, typed=answers, job_key=typed.get("job", ""), job=job, roles=ROLE_CHOICES,
    )  # fmt: skip


@router.get("/after/trail/{key}")
def trail(request: Request, key: str) -> Response:
    """One trail: what its detectors say, its passes as strips, a map, and what it says in figures."""
    from evenstand.desk.trail_places import place_lines

    site = site_of(request)
    units = site.profile()
    with site.book() as book:
        view = site.once(("trail", key, units), lambda: trail_view(book, key, profile=units))
        names, jobs = job_names(book), job_choices(book)
        ground = site.once(("trail-map", key, units), lambda: _map_of(view, units))
    passes = view.facts.passes
    job = view.record.job if view.job is not None else ""
    rows = [
        (
            p.number,
            shown(p.length_m, "distance", units),
            shown(p.speed_m_s, "speed", units),
            shown((p.end_s - p.start_s) / 3600, "time", symbol="min"),
            _seen(p),
        )
        for p in passes
    ]
    likely = next((j for o in view.place.others for j in o.jobs), "")
    owner = Typed(fields=(Field(name="job", label="Whose log it is", choices=(("", "no job: set it aside"), *jobs)),), profile=units)
    owner.values["job"] = likely or ("" if view.place.elsewhere else job)
    trail_ = view.trail
    return site.page(
        request, "trail.html", key=key, name=view.record.name or key, job_key=job, job=names.get(job, job),
        place=place_lines(view.place, names), new_field=bool(view.place.others) and not likely, owner=owner, lines=view.lines,
        strange=odd_lines(view.trail, view.facts, profile=units),
        svg=_strips_of(view, units), ground=ground, rows=rows, odd=_odd(passes), figures=_figures_of(view),
        time=time_rows(view.facts, profile=units),
        rows_note=f"{trail_.rows} rows read: {trail_.kept} kept, {trail_.repaired_rows} repaired, {trail_.set_aside_rows} set aside.",
        set_aside=tuple((r.line, r.reason, r.text) for r in (*trail_.set_aside, *trail_.repaired)[:50]),
        notes=other_notes((*trail_.notes, *view.facts.cannot_see)), columns=COLUMNS_SAID.get(request.query_params.get("columns", ""), ""),
    )  # fmt: skip


def _figures_of(view: TrailView) -> list[Figure]:
    """Figures without those of time, which have a table of their own."""
    return [f for f in figures_of(view.trail, view.facts) if f.quantity not in ("time", "capacity")]


def _both(wide: Drawing, narrow: Drawing, key: str) -> str:
    """A picture drawn for a wide page and again for a phone; one of them is shown."""
    from markupsafe import Markup

    from evenstand.drawing import page_svg

    # our own writer escapes all text
    return Markup(
        f'<div class="on-wide">{page_svg(wide, key=key)}</div><div class="on-narrow">{page_svg(narrow, key=f"{key}-narrow")}</div>'
    )


def _strips_of(view: TrailView, units: Profile) -> str | None:
    from evenstand.drawing import strips_of_passes

    passes = view.facts.passes
    if not passes:
        return None
    name = view.record.name or view.record.key
    wide, narrow = (strips_of_passes(passes, profile=units, name=name, width=w) for w in (WIDE, NARROW))
    return _both(wide, narrow, "strips-drawn")


def _map_of(view: TrailView, units: Profile) -> tuple[str, str, list[tuple[str, str, str]]] | None:
    """The map of a trail as a picture, in words and as a table; None where nothing was sown."""
    from evenstand.drawing import place_rows, trail_map
    from evenstand.trail.outlines import located, map_facts

    facts, name = view.facts, view.record.name or view.record.key
    if not facts.passes:
        return None
    found = map_facts(view.trail, view.outfit, view.boundary, facts.passes, facts.run_faults)
    wide, narrow = (
        trail_map(view.trail, facts.passes, found, width=w, max_height=h, profile=units, name=name)
        for w, h in ((WIDE, 700.0), (NARROW, 520.0))
    )
    return _both(wide, narrow, "trail-map"), wide.description, place_rows(located(found.patches, view.trail.frame), units)


@router.get("/after/trail/{key}/parts")
def parts(request: Request, key: str) -> Response:
    """What went where: by day, part of the field, bin and product; ground sown again, and turns."""
    from evenstand.desk.trails import log_record

    site = site_of(request)
    units = site.profile()
    with site.book() as book:
        record = site.once(("trail-record", key, units), lambda: log_record(book, key, profile=units))
        name = job_names(book).get(record.job or "", "")
    places = record.places
    return site.page(
        request, "trail_parts.html", key=key, name=record.name, job=name, job_key=record.job or "",
        days=part_rows(places.days, profile=units) if places else [],
        fields=part_rows(places.parts, profile=units) if places and len(places.parts) > 1 else [],
        bins=bin_rows(places, record.facts, record.products, profile=units) if places else [],
        again=repeat_lines(places, profile=units) if places else [], turns=turn_lines(record.turns, profile=units),
        notes=(*record.notes, *(places.notes if places else ())),
    )  # fmt: skip


@router.post("/after/trail/{key}/job")
async def give(request: Request, key: str) -> Response:
    """Give a log to another job, or to none."""
    from evenstand.desk.trail_places import give_trail

    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        give_trail(book, key, str(form.get("job", "")))
    return RedirectResponse(f"/after/trail/{key}?columns=given", status_code=303)


@router.get("/after/trail/{key}/record.pdf")
def record(request: Request, key: str) -> Response:
    """The field record of one trail as a PDF."""
    from evenstand.base.clock import iso
    from evenstand.desk.trails import log_record
    from evenstand.paper import record_pdf

    site = site_of(request)
    units = site.profile()
    with site.book() as book:
        found = site.once(("trail-record", key, units), lambda: log_record(book, key, profile=units))
    content = record_pdf(found, profile=units, made_at=iso(site.clock.now()))
    return Response(content, media_type="application/pdf", headers={"Content-Disposition": 'inline; filename="field-record.pdf"'})


def _seen(p: PassFacts) -> str:
    """What was seen on a pass, each once."""
    return "; ".join(dict.fromkeys(e.note or e.kind for e in p.exceptions)) or "–"


def _odd(passes: tuple[PassFacts, ...]) -> list[tuple[str, int, str]]:
    """What was not as it should be, each with the passes it was seen on: (what, how many, which)."""
    found: dict[str, list[int]] = {}
    for p in passes:
        for note in dict.fromkeys(("stood" if e.kind == "stop" else e.note or e.kind) for e in p.exceptions):
            label = "a part of the tool shut off" if note.startswith("section") else note
            if p.number not in found.setdefault(label, []):
                found[label].append(p.number)
    return [(f"{what[:1].upper()}{what[1:]}", len(at), numbers(at)) for what, at in sorted(found.items(), key=lambda kv: -len(kv[1]))]


def reading_fields(jobs: tuple[tuple[str, str], ...], bins: tuple[str, ...]) -> tuple[Field, ...]:
    """Fields for the readings a person has at the end of a field: of the whole outfit first, then of one bin."""
    whole = [Field(name=r.key, label=r.label, quantity=r.unit, hint=r.hint) for r in READINGS if not r.of_bin]
    of_bin = [Field(name=r.key, label=r.label, quantity=r.unit, hint=r.hint) for r in READINGS if r.of_bin]
    choices = (("", "no bin reading"), *((b, f"Bin {b}") for b in bins)) if bins else ()
    return (
        Field(name="job", label="Job", choices=jobs or (("", "no job yet"),), required=True),
        *whole,
        Field(name="bin", label="Bin, for what follows", choices=choices),
        *of_bin,
    )


def _bins_of(site: Site, job: str) -> tuple[str, ...]:
    from evenstand.model import Job

    with site.book() as book:
        found = book.get(Job, job) if job else None
        outfit = book.get(Outfit, found.outfit) if found is not None and found.outfit else None
    return tuple(b.letter for b in outfit.bins) if outfit else ()


@router.get("/after/check")
def check(request: Request) -> Response:
    """What holds, what does not, what cannot be told yet."""
    site = site_of(request)
    jobs = _jobs(site)
    job = request.query_params.get("job") or (jobs[0][0] if jobs else "")
    typed = Typed.of(reading_fields(jobs, _bins_of(site, job)), request.query_params, site.profile())
    typed.values["job"] = job
    return _check_page(request, typed, job, jobs, kept=request.query_params.get("kept", ""))


def _check_page(request: Request, typed: Typed, job: str, jobs: tuple[tuple[str, str], ...], *, kept: str = "") -> Response:
    site = site_of(request)
    findings: tuple[Finding, ...] = ()
    if job:
        with site.book() as book:
            findings = site.once(("check", job, book.profile), lambda: check_job(book, job))
    open_ = [f for state in STATE_ORDER for f in findings if f.state == state]
    counts = [sum(f.state == s for f in findings) for s in STATE_ORDER]
    holding = [f for f in findings if f.state == "holds"]
    return site.page(
        request, "check.html", status=200 if typed.ok else 422, typed=typed, open=open_, holding=holding,
        counts=counts, job=job, jobs=jobs, name=dict(jobs).get(job, job), kept="The readings are kept." if kept else "",
    )  # fmt: skip


@router.post("/after/check")
async def enter(request: Request) -> Response:
    """Keep readings and check again."""
    from urllib.parse import urlencode

    site = site_of(request)
    form = await request.form()
    jobs = _jobs(site)
    job = str(form.get("job", ""))
    typed = Typed.of(reading_fields(jobs, _bins_of(site, job)), form, site.profile())
    typed.text("job")
    letter = typed.text("bin").upper()
    values = {r.key: typed.number(r.key) for r in READINGS}
    if typed.ok and all(v is None for v in values.values()):
        typed.faults[""] = "Nothing was typed in. One reading is enough."
    if typed.ok and not letter:
        typed.faults |= {r.key: f"{r.label} belongs to a bin: choose which." for r in READINGS if r.of_bin and values[r.key] is not None}
    if typed.ok:
        try:
            with site.book() as book:
                keep_readings(book, job=job, bin=letter, values={k: v for k, v in values.items() if v is not None}, clock=site.clock)
            return RedirectResponse(f"/after/check?{urlencode({'job': job, 'kept': 'yes'})}", status_code=303)
        except EvenstandError as error:
            typed.blame(error)
    return _check_page(request, typed, job if job in dict(jobs) else "", jobs)


@router.get("/after/tally")
def tally(request: Request) -> Response:
    """What went where, by product."""
    site = site_of(request)
    with site.book() as book:
        rows, bins = tally_rows(book), site.once(("bin-tallies",), lambda: bin_tallies(book))
    units = site.profile()
    lines = [(b, bin_lines(b, units)) for b in bins]
    return site.page(request, "tally.html", rows=rows, bins=lines, together=product_lines(product_rows(bins), units))
