"""The machine: outfits, run map; fields and their outlines."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.errors import EvenstandError, MissingError
from evenstand.base.units import Profile, shown
from evenstand.desk.particulars import by_letter, change_outfit
from evenstand.desk.recording import import_outline
from evenstand.model import Boundary, Outfit
from evenstand.web.forms import Field, Typed
from evenstand.web.guarding import file_name
from evenstand.web.site import site_of

if TYPE_CHECKING:
    from starlette.datastructures import FormData, UploadFile

    from evenstand.book import Book

router = APIRouter()

MAX_UPLOAD = 64 * 1024 * 1024


@router.get("/machine")
def machine(request: Request) -> Response:
    """Outfits and fields."""
    return _page(request, Typed(fields=outline_fields(), profile=site_of(request).profile()))


def outline_fields() -> tuple[Field, ...]:
    """Fields of an outline upload."""
    return (
        Field(name="file", label="Boundary file", kind="file", hint="GeoJSON, GeoPackage, or a Shapefile as zip."),
        Field(name="field", label="Which field of the file", hint="Only where it holds several."),
        Field(name="crs", label="Coordinate system", hint="Only where the file names none, such as EPSG:4326."),
    )


def _page(request: Request, typed: Typed) -> Response:
    site = site_of(request)
    with site.book() as book:
        outfits, fields = book.all(Outfit), book.all(Boundary)
    return site.page(request, "machine.html", status=200 if typed.ok else 422, outfits=outfits, fields=fields, typed=typed)


@router.post("/machine/outline")
async def outline(request: Request) -> Response:
    """Read a boundary file and keep the field."""
    async with request.form() as form:  # whatever was uploaded is let go of, also where it is not wanted
        return await _taken(request, form)


async def _taken(request: Request, form: FormData) -> Response:
    """The outline of a form, read and kept."""
    import tempfile

    site = site_of(request)
    typed = Typed.of(outline_fields(), form, site.profile())
    upload: UploadFile | None = form.get("file")  # type: ignore[assignment]
    if upload is None or not getattr(upload, "filename", ""):
        typed.faults["file"] = "Choose a file."
        return _page(request, typed)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / file_name(upload.filename or "", "upload")
        data = await upload.read(MAX_UPLOAD + 1)
        if len(data) > MAX_UPLOAD:
            typed.faults["file"] = f"{upload.filename}: more than {MAX_UPLOAD // 2**20} MB is no field's outline. Cut out the one field."
            return _page(request, typed)
        path.write_bytes(data)
        try:
            with site.book() as book:
                import_outline(book, path, field=typed.text("field") or None, crs=typed.text("crs") or None)
        except EvenstandError as error:
            for fault in error.faults:
                typed.faults["crs" if "oordinate" in str(fault) else "file"] = str(fault).replace(f"{folder}/", "")
            return _page(request, typed)
    return RedirectResponse("/machine", status_code=303)


def outfit_fields(found: Outfit, profile: Profile) -> tuple[Field, ...]:
    """What the value card asks of an outfit; each field says what is known now."""

    def now(value: float | None, quantity: str) -> str:
        return "Not known yet." if value is None else f"Now {shown(value, quantity, profile)}."

    proof, flag, costs = found.fan_proof, found.flag, found.costs
    fan = found.fan_turns_s.value if found.fan_turns_s else None
    rows = [
        ("fan_turns_s", "Fan speed that passed the puff test", "fan", fan),
        ("fan_proof.temperature_c", "Air temperature then", "temperature", proof.temperature_c),
        ("fan_proof.height_m", "Height of the place above the sea", "distance", proof.height_m),
        ("fan_proof.relative_humidity", "Relative humidity then", "share", proof.relative_humidity),
        ("fan_proof.load_kg_s", "Product through all lines then", "mass_flow", proof.load_kg_s),
        ("flag.on_m", "Flag to first seed", "width", flag.on_m.value if flag.on_m else None),
        ("flag.off_m", "Flag to last seed", "width", flag.off_m.value if flag.off_m else None),
        ("flag.speed_m_s", "Speed of the flag test", "speed", flag.speed_m_s),
        ("stand_in_m_s", "Stand-in speed typed", "speed", found.stand_in_m_s),
        ("pulse_m", "Distance per pulse", "pulse", found.pulse_m.value if found.pulse_m else None),
        ("costs.fuel_l_ha", "Fuel", "liquid_area", costs.fuel_l_ha),
        ("costs.fuel_price_l", "Price of a litre of fuel", "money", costs.fuel_price_l),
        ("costs.wage_h", "Wages an hour of all who work with it", "money", costs.wage_h),
        *(
            (f"flutes:{b.letter}", f"Pockets around the roller, bin {b.letter}", "count", float(b.meter.flutes) if b.meter.flutes else None)
            for b in found.bins
        ),
    ]
    crop = Field(name="fan_proof.crop", label="Crop that ran then", hint=f"Now {proof.crop}." if proof.crop else "Not known yet.")
    caught = ", ".join(f"{h.letter}={shown(h.caught_kg, 'catch', profile)}" for h in found.heads if h.caught_kg is not None)
    heads = Field(
        name="caught", label="Caught under each head over the same turns", hint=f"Now {caught}." if caught else "Such as A=0.60, B=0.59."
    )
    asked = (Field(name=n, label=label, quantity=q, hint=now(v, q)) for n, label, q, v in rows)
    return (*asked, crop, heads, *_geometry_fields(found, profile))


def _geometry_fields(found: Outfit, profile: Profile) -> tuple[Field, ...]:
    """Where antenna and hitch sit, so that the ground of a log lies where the openers were."""
    ahead = f"Now {shown(found.antenna_ahead_m, 'width', profile)}." if found.antenna_ahead_m else "Now taken as right above the openers."
    hitch = f"Now {shown(found.hitch_m, 'width', profile)}." if found.hitch_m else "Now the tool is taken to follow the antenna's way."
    return (
        Field(
            name="antenna_ahead_m", label="Openers forward to the antenna", quantity="width",
            hint=f"From the middle rank of openers straight forward to the antenna, all in line; minus if it is behind. {ahead}",
        ),
        Field(
            name="hitch_m", label="Openers forward to the hitch", quantity="width",
            hint=f"Only of a tool on a drawbar: from the middle rank to the pin it is drawn by. It cuts corners. 0: no drawbar. {hitch}",
        ),
    )  # fmt: skip


@router.get("/machine/{key}")
def outfit(request: Request, key: str) -> Response:
    """One outfit with its run map as seen from the seat, and what the card still asks of it."""
    return _outfit_page(request, key)


@router.post("/machine/{key}")
async def change(request: Request, key: str) -> Response:
    """Keep what is typed about an outfit."""
    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        found = _the(book, key)
        typed = Typed.of(outfit_fields(found, book.profile), form, book.profile)
        values: dict[str, float | str | None] = {
            f.name: typed.number(f.name) if f.quantity else typed.text(f.name) for f in typed.fields if f.name != "caught"
        }
        try:
            values |= {f"caught_kg:{b}": v for b, v in by_letter(typed.text("caught"), "catch", book.profile, where="caught").items()}
            if typed.ok:
                change_outfit(book, key, values, clock=site.clock)
                return _outfit_page(request, key, kept="Kept. The value card follows it.")
        except EvenstandError as error:
            typed.blame(error)
    return _outfit_page(request, key, typed=typed)


def _the(book: Book, key: str) -> Outfit:
    found = next((o for o in book.all(Outfit) if o.key == key), None)
    if found is None:
        raise MissingError(f"no outfit '{key}'", where="outfit", cure="Choose one on The machine.")
    return found


def _outfit_page(request: Request, key: str, *, typed: Typed | None = None, kept: str = "") -> Response:
    from markupsafe import Markup

    from evenstand.drawing import page_svg, run_map

    site = site_of(request)
    with site.book() as book:
        found, profile = _the(book, key), book.profile
    svg = Markup(page_svg(run_map(found))) if found.runs else None  # our own writer escapes all text
    form = typed or Typed(fields=outfit_fields(found, profile), profile=profile)
    return site.page(request, "outfit.html", status=200 if form.ok else 422, outfit=found, svg=svg, typed=form, kept=kept)
