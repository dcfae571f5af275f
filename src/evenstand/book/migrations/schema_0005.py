"""Schema 5: orders, and what loads say of them: which order a delivery belongs to, which share of a ticket went to which field."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from sqlalchemy import Column, Double, ForeignKey, Integer, Text, UniqueConstraint

from evenstand.book.columns import Moment
from evenstand.book.geopackage import register_table

if TYPE_CHECKING:
    import sqlite3

    from alembic.operations import Operations

_REFERS = {"order": "orders", "job": "jobs"}


def upgrade(operations: Operations, at: str) -> None:
    """Add a table, and columns to the loads; nothing that is there is changed, and what older rows do not know stays empty."""
    operations.create_table(
        "orders",
        Column("fid", Integer, primary_key=True),
        _text("key"),
        _refers("product", "products.key"),
        Column("quantity_kg", Double, nullable=False),
        Column("price_kg", Double),
        _text("supplier"),
        _refers("lot", "lots.key", null=True),
        _text("ordered_at"),
        _text("wanted_by"),
        Column("closed_at", Moment),
        _text("note"),
        UniqueConstraint("key"),
        sqlite_autoincrement=True,
    )
    for name, target in _REFERS.items():  # written out: the toolkit adds no references to a table that is there
        operations.execute(f'ALTER TABLE loads ADD COLUMN "{name}" TEXT REFERENCES {target} ("key") DEFERRABLE INITIALLY DEFERRED')
    for name in ("share", "share_sd"):
        operations.add_column("loads", Column(name, Double))
    operations.add_column("loads", Column("note", Text, nullable=False, server_default=""))
    driver = cast("sqlite3.Connection", operations.get_bind().connection.driver_connection)
    register_table(driver, "orders", description="Product that was ordered", at=at)


def _text(name: str) -> Column[Any]:
    return Column(name, Text, nullable=False)


def _refers(name: str, target: str, *, null: bool = False) -> Column[Any]:
    return Column(name, Text, ForeignKey(target, deferrable=True, initially="DEFERRED"), nullable=null)
