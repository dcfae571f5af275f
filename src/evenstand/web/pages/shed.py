"""The shed: products, lots, loads."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

from fastapi import APIRouter, Request, Response

from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, shown
from evenstand.desk.recording import add_load, add_lot
from evenstand.model import HowKnown, Load, LoadKind, Lot, Product
from evenstand.web.forms import Field, Typed
from evenstand.web.pages.filling import HOW
from evenstand.web.site import site_of

router = APIRouter()

KINDS = (
    ("delivery", "Delivery, with ticket"),
    ("yard", "Into a yard bin"),
    ("truck", "Into a truck box"),
    ("left-over", "Left over"),
    ("return", "Taken back"),
)
assert {k for k, _ in KINDS} < set(get_args(LoadKind))


def load_fields(products: Sequence[Product]) -> tuple[Field, ...]:
    """Fields of a load."""
    return (
        Field(name="kind", label="What happened", choices=KINDS),
        Field(
            name="product", label="Product", choices=tuple((p.key, p.name) for p in products) or (("", "no product yet"),), required=True
        ),
        Field(name="mass", label="Mass", quantity="load", hint="Empty if it is not known."),
        Field(name="how", label="How it is known", choices=HOW),
        Field(name="ticket", label="Ticket number"),
    )


def lot_fields(products: Sequence[Product]) -> tuple[Field, ...]:
    """Fields of a lot."""
    return (
        Field(
            name="lot_product",
            label="Product",
            choices=tuple((p.key, p.name) for p in products) or (("", "no product yet"),),
            required=True,
        ),
        Field(name="label", label="Lot, as on its tag", required=True),
        Field(name="tkw", label="Mass of a thousand kernels, as sown", quantity="kernel"),
        Field(name="germination", label="Germination", quantity="share", hint="95 % or 0.95"),
        Field(name="density", label="Bulk density", quantity="density"),
        Field(name="treatment", label="Treatment"),
        Field(name="treated", label="Treated on", kind="date"),
        Field(
            name="label_hours",
            label="Hours its label gives until it must be sown",
            quantity="time",
            hint="Off the label; nothing is filled in.",
        ),
    )


def _part_of(load: Load, all_loads: Sequence[Load], kinds: dict[str, str]) -> str:
    """The load this one came out of, as a person calls it."""
    whole = next((x for x in all_loads if x.key == load.part_of), None)
    if whole is None:
        return load.part_of
    return f"{kinds.get(whole.kind, whole.kind).partition(',')[0]}{f', ticket {whole.ticket}' if whole.ticket else ''}"


def _page(request: Request, loads: Typed | None = None, lots: Typed | None = None, kept: str = "") -> Response:
    site = site_of(request)
    with site.book() as book:
        products, all_lots, all_loads = book.all(Product), book.all(Lot), book.all(Load)
        profile: Profile = book.profile
    loads = loads or Typed(fields=load_fields(products), profile=profile)
    lots = lots or Typed(fields=lot_fields(products), profile=profile)
    names = {p.key: p.name for p in products}
    kinds = dict(KINDS) | {"fill": "Into the outfit"}
    labels = {x.key: x.label or x.key for x in all_lots}
    load_rows = [
        (
            kinds.get(x.kind, x.kind),
            names.get(x.product, x.product),
            shown(x.mass_kg, "load", profile) + (f" ± {shown(x.sd_kg, 'mass', profile)}" if x.sd_kg else ""),
            labels.get(x.lot, x.lot),
            x.ticket,
            _part_of(x, all_loads, kinds),
        )
        for x in all_loads
    ]
    lot_rows = [
        (
            x.label or x.key,
            names.get(x.product, x.product),
            shown(x.tkw_g.value if x.tkw_g else None, "kernel", profile),
            shown(x.germination.value if x.germination else None, "share", profile),
            shown(x.density_kg_m3.value if x.density_kg_m3 else None, "density", profile),
            x.treatment or "untreated",
        )
        for x in all_lots
    ]
    status = 200 if loads.ok and lots.ok else 422
    return site.page(request, "shed.html", status=status, loads=loads, lots=lots, load_rows=load_rows, lot_rows=lot_rows, kept=kept)


@router.get("/shed")
def shed(request: Request) -> Response:
    """Loads and lots."""
    return _page(request)


@router.post("/shed/load")
async def load(request: Request) -> Response:
    """Keep a load."""
    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        typed = Typed.of(load_fields(book.all(Product)), form, book.profile)
        product, mass = typed.text("product"), typed.number("mass")
        kind: LoadKind = next((k for k in get_args(LoadKind) if k == typed.values.get("kind")), "delivery")
        how: HowKnown = next((h for h in get_args(HowKnown) if h == typed.values.get("how")), "ticket")
        if typed.ok:
            try:
                add_load(book, kind=kind, product=product, mass_kg=mass, how=how, ticket=typed.text("ticket"), clock=site.clock)
                return _page(request, kept=f"Kept: {dict(KINDS).get(kind, kind)}, {shown(mass, 'load', book.profile)}.")
            except EvenstandError as error:
                typed.blame(error)
    return _page(request, loads=typed)


@router.post("/shed/lot")
async def lot(request: Request) -> Response:
    """Keep a lot."""
    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        typed = Typed.of(lot_fields(book.all(Product)), form, book.profile)
        product, label = typed.text("lot_product"), typed.text("label")
        tkw, germination, density = typed.number("tkw"), typed.number("germination"), typed.number("density")
        hours = typed.number("label_hours")
        if typed.ok:
            try:
                add_lot(
                    book,
                    product=product,
                    label=label,
                    tkw_g=tkw,
                    germination=germination,
                    density_kg_m3=density,
                    treatment=typed.text("treatment"),
                    treated_at=typed.text("treated"),
                    sow_within_h=hours,
                )
                return _page(request, kept=f"Kept: lot {label}.")
            except EvenstandError as error:
                typed.blame(error)
    return _page(request, lots=typed)
