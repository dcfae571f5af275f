"""Orders: what was ordered, what came of it, what is still owed."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter, Request, Response

from evenstand.base.errors import EvenstandError
from evenstand.base.units import Profile, shown
from evenstand.desk.loads import shed
from evenstand.desk.ordering import add_order, close_order
from evenstand.model import Product
from evenstand.web.forms import Field, Typed
from evenstand.web.site import site_of

router = APIRouter()


def order_fields(products: Sequence[Product]) -> tuple[Field, ...]:
    """Fields of an order."""
    return (
        Field(
            name="product", label="Product", choices=tuple((p.key, p.name) for p in products) or (("", "no product yet"),), required=True
        ),
        Field(name="quantity", label="Ordered", quantity="load", required=True),
        Field(name="supplier", label="From whom"),
        Field(name="wanted_by", label="Must be there by", kind="date"),
    )


def _page(request: Request, typed: Typed | None = None, kept: str = "") -> Response:
    site = site_of(request)
    with site.book() as book:
        profile: Profile = book.profile
        products = book.all(Product)
        made = site.once(("shed", profile), lambda: shed(book, profile=profile))
    typed = typed or Typed(fields=order_fields(products), profile=profile)
    return site.page(request, "orders.html", status=200 if typed.ok else 422, made=made, typed=typed, kept=kept)


@router.get("/shed/orders")
def orders(request: Request) -> Response:
    """All orders, those still owed first."""
    return _page(request)


@router.post("/shed/orders")
async def keep(request: Request) -> Response:
    """Keep an order."""
    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        typed = Typed.of(order_fields(book.all(Product)), form, book.profile)
        product, quantity = typed.text("product"), typed.number("quantity")
        if quantity is None and "quantity" not in typed.faults:
            typed.faults["quantity"] = "Ordered is needed."
        if typed.ok and quantity is not None:
            try:
                add_order(
                    book, product=product, quantity_kg=quantity, supplier=typed.text("supplier")[:200], wanted_by=typed.text("wanted_by"),
                    clock=site.clock,
                )  # fmt: skip
                site.forget()
                return _page(request, kept=f"Kept: an order of {shown(quantity, 'load', book.profile)}.")
            except EvenstandError as error:
                typed.blame(error)
    return _page(request, typed)


@router.post("/shed/orders/close")
async def close(request: Request) -> Response:
    """Say that no more is to come of an order."""
    site = site_of(request)
    form = await request.form()
    with site.book() as book:
        close_order(book, str(form.get("order", "")), clock=site.clock)
    site.forget()
    return _page(request, kept="Kept: no more is to come of it.")
