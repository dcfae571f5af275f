"""The shed: products, lots, loads; where tickets went, what should still lie there, what does not agree; the sheet for shed and truck."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

from fastapi import APIRouter, Request, Response

from evenstand.base.clock import iso
from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, shown
from evenstand.desk.loads import Shed
from evenstand.desk.loads import shed as shed_of
from evenstand.desk.recording import add_load, add_lot
from evenstand.model import HowKnown, Load, LoadKind, Lot, Order, Product
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import job_choices
from evenstand.web.pages.filling import HOW
from evenstand.web.site import Site, site_of

router = APIRouter()

KINDS = (
    ("delivery", "Delivery, with ticket"),
    ("yard", "Into a yard bin"),
    ("truck", "Into a truck box"),
    ("left-over", "Left over"),
    ("return", "Taken back"),
)
assert {k for k, _ in KINDS} < set(get_args(LoadKind))
Choices = tuple[tuple[str, str], ...]
NONE: Choices = (("", "not said"),)


def load_fields(products: Sequence[Product], lots: Choices = (), wholes: Choices = (), orders: Choices = ()) -> tuple[Field, ...]:
    """Fields of a load; those that have nothing to choose from are left out."""
    more = (
        Field(name="load_lot", label="Lot", choices=(*NONE, *lots)),
        Field(name="part_of", label="Taken out of", choices=(*NONE, *wholes), hint="For a truck box, a part or a left-over of a ticket."),
        Field(name="share", label="Share of that load, by eye", quantity="share", hint="Where nobody weighed it: 40 % or 0.4."),
        Field(name="order", label="Order it belongs to", choices=(*NONE, *orders)),
    )
    kept = {"load_lot": bool(lots), "part_of": bool(wholes), "share": bool(wholes), "order": bool(orders)}
    return (
        Field(name="kind", label="What happened", choices=KINDS),
        Field(
            name="product", label="Product", choices=tuple((p.key, p.name) for p in products) or (("", "no product yet"),), required=True
        ),
        Field(name="mass", label="Mass", quantity="load", hint="Empty if it is not known. Nothing left over: 0."),
        Field(name="how", label="How it is known", choices=HOW),
        Field(name="ticket", label="Ticket number"),
        *(f for f in more if kept[f.name]),
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
    return load.part_of if whole is None else _called(whole, kinds)


def _called(load: Load, kinds: dict[str, str]) -> str:
    return f"{kinds.get(load.kind, load.kind).partition(',')[0]}{f', ticket {load.ticket}' if load.ticket else ''}"


def _fields_of(site: Site) -> tuple[Field, ...]:
    """The load form with what the book can offer to choose from."""
    with site.book() as book:
        products, loads = book.all(Product), book.all(Load)
        names, kinds = {p.key: p.name for p in products}, dict(KINDS)
        lots = tuple((x.key, f"{names.get(x.product, x.product)}: {x.label or x.key}") for x in book.all(Lot))
        wholes = tuple(
            (x.key, f"{_called(x, kinds)}: {names.get(x.product, x.product)}, {x.at[:10]}")
            for x in sorted(loads, key=lambda x: x.at, reverse=True)
            if x.kind in ("delivery", "truck")
        )
        orders = tuple((o.key, f"{names.get(o.product, o.product)}, {o.ordered_at[:10]}") for o in book.all(Order) if not o.closed_at)
    return load_fields(products, lots, wholes, orders)


def _made(site: Site) -> Shed:
    with site.book() as book:
        profile: Profile = book.profile
        return site.once(("shed", profile), lambda: shed_of(book, profile=profile))


def _page(request: Request, loads: Typed | None = None, lots: Typed | None = None, kept: str = "") -> Response:
    site = site_of(request)
    with site.book() as book:
        products, all_lots, all_loads = book.all(Product), book.all(Lot), book.all(Load)
        profile: Profile = book.profile
        jobs = job_choices(book)
    loads = loads or Typed(fields=_fields_of(site), profile=profile)
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
    return site.page(
        request, "shed.html", status=status, made=_made(site), jobs=jobs, loads=loads, lots=lots, load_rows=load_rows, lot_rows=lot_rows,
        kept=kept,
    )  # fmt: skip


@router.get("/shed")
def shed(request: Request) -> Response:
    """Loads and lots."""
    return _page(request)


@router.get("/shed/sheet.pdf")
def printed(request: Request) -> Response:
    """The shed and truck sheet, with the stops of a job."""
    from evenstand.desk.truck import truck_run
    from evenstand.paper.shed import shed_pdf

    site = site_of(request)
    made = _made(site)
    with site.book() as book:
        known = {key for key, _ in job_choices(book)}
        wanted = request.query_params.get("job", "")
        run = truck_run(book, wanted, profile=book.profile) if wanted in known else None
        content = shed_pdf(made, run, farm=book.farm, made_at=iso(site.clock.now()), profile=book.profile)
    return Response(content, media_type="application/pdf", headers={"Content-Disposition": 'inline; filename="shed-and-truck.pdf"'})


@router.post("/shed/load")
async def load(request: Request) -> Response:
    """Keep a load."""
    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        typed = Typed.of(_fields_of(site), form, book.profile)
        offered = {f.name for f in typed.fields}

        def said(name: str) -> str:
            """A choice that the form offered, "" for anything else."""
            value = typed.values.get(name, "") if name in offered else ""
            field = next((f for f in typed.fields if f.name == name), None)
            return value if field is not None and any(value == key for key, _ in field.choices) else ""

        product, mass = typed.text("product"), typed.number("mass")
        share = typed.number("share") if "share" in offered else None
        kind: LoadKind = next((k for k in get_args(LoadKind) if k == typed.values.get("kind")), "delivery")
        how: HowKnown = next((h for h in get_args(HowKnown) if h == typed.values.get("how")), "ticket")
        if typed.ok:
            try:
                add_load(
                    book, kind=kind, product=product, mass_kg=mass, how=how, ticket=typed.text("ticket"), lot=said("load_lot"),
                    part_of=said("part_of"), order=said("order") if kind == "delivery" else "", share=share if said("part_of") else None,
                    clock=site.clock,
                )  # fmt: skip
                site.forget()
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
                site.forget()
                return _page(request, kept=f"Kept: lot {label}.")
            except EvenstandError as error:
                typed.blame(error)
    return _page(request, lots=typed)
