"""The machine: outfits, run map; fields and their outlines."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.errors import EvenstandError, MissingError
from evenstand.desk.recording import import_outline
from evenstand.model import Boundary, Outfit
from evenstand.web.forms import Field, Typed
from evenstand.web.site import site_of

if TYPE_CHECKING:
    from starlette.datastructures import UploadFile

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
    import tempfile

    site = site_of(request)
    form = await request.form()
    typed = Typed.of(outline_fields(), form, site.profile())
    upload: UploadFile | None = form.get("file")  # type: ignore[assignment]
    if upload is None or not getattr(upload, "filename", ""):
        typed.faults["file"] = "Choose a file."
        return _page(request, typed)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / Path(upload.filename or "upload").name
        data = await upload.read(MAX_UPLOAD + 1)
        await upload.close()
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


@router.get("/machine/{key}")
def outfit(request: Request, key: str) -> Response:
    """One outfit with its run map as seen from the seat."""
    from markupsafe import Markup

    from evenstand.drawing import page_svg, run_map

    site = site_of(request)
    with site.book() as book:
        found = next((o for o in book.all(Outfit) if o.key == key), None)
    if found is None:
        raise MissingError(f"no outfit '{key}'", where="outfit", cure="Choose one on The machine.")
    svg = Markup(page_svg(run_map(found))) if found.runs else None  # our own writer escapes all text
    return site.page(request, "outfit.html", outfit=found, svg=svg)
