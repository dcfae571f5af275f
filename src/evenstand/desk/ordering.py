"""Orders as a person keeps them: what was ordered, and when no more is to come."""

from __future__ import annotations

import dataclasses
from datetime import date
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock, iso
from evenstand.base.errors import InputError, MissingError, require_range
from evenstand.desk.recording import free_key, slug
from evenstand.model import Order

if TYPE_CHECKING:
    from evenstand.book import Book


def add_order(
    book: Book,
    *,
    product: str,
    quantity_kg: float,
    clock: Clock,
    price_kg: float | None = None,
    supplier: str = "",
    lot: str = "",
    ordered_at: str = "",
    wanted_by: str = "",
    note: str = "",
) -> Order:
    """Keep an order.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    product, lot : str
        Keys; the lot only where it was settled. [-]
    quantity_kg : float
        Ordered. [kg]
    clock : Clock
        Tells when it was ordered, where `ordered_at` does not. [UTC]
    price_kg : float or None
        Agreed, money per kilogram; None where none was. [1/kg]
    supplier, note : str
        In the owner's words. [-]
    ordered_at : str
        ISO moment or day. [-]
    wanted_by : str
        ISO day on which it must be there, "" where none was set. [-]

    Raises
    ------
    RangeError
        If quantity or price is outside its range.
    InputError
        If a date is none, or the product is not in the book.
    """
    require_range("quantity", quantity_kg, 0, 10_000_000, low_open=True, unit="kg")
    if price_kg is not None:
        require_range("price", price_kg, 0, 1000, low_open=True)
    if wanted_by:
        try:
            wanted_by = date.fromisoformat(wanted_by).isoformat()
        except ValueError:
            raise InputError(f"'{wanted_by}' is no day", where="wanted_by", cure="Write it as 2027-05-10.") from None
    at = ordered_at or iso(clock.now())
    order = Order(
        key=free_key(book, Order, slug(f"order {product} {at[:10]}")),
        product=product,
        quantity_kg=quantity_kg,
        price_kg=price_kg,
        supplier=supplier.strip(),
        lot=lot,
        ordered_at=at,
        wanted_by=wanted_by,
        note=note.strip(),
    )
    book.put(order, why="new order")
    return order


def close_order(book: Book, key: str, *, clock: Clock) -> Order:
    """Say that no more is to come of an order; what is still owed of it is owed no more. Undo takes it back.

    Raises
    ------
    MissingError
        If there is no such order.
    """
    known = book.get(Order, key)
    if known is None:
        raise MissingError(f"there is no order '{key}'", where="order", cure="Look at 'evenstand book show'.")
    closed = dataclasses.replace(known, closed_at=iso(clock.now()))
    book.put(closed, why="nothing more to come of the order")
    return closed
