"""Schema 4: what was measured when an outfit was proven, and when a shift was handed over."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from sqlalchemy import Column, Double, ForeignKey, Integer, Text, UniqueConstraint

from evenstand.book.columns import Moment
from evenstand.book.geopackage import register_table

if TYPE_CHECKING:
    import sqlite3

    from alembic.operations import Operations

_NEW = {"proofs": "What was measured when an outfit was proven", "handovers": "When a shift was handed over, and what was said"}


def upgrade(operations: Operations, at: str) -> None:
    """Add two tables; nothing that is there is changed."""
    _create(
        operations,
        "proofs",
        _text("key"),
        _refers("outfit", "outfits.key"),
        _text("item"),
        Column("value", Double),
        Column("low", Double),
        Column("high", Double),
        _text("text"),
        _text("phase"),
        Column("at", Moment),
        _text("by"),
        _text("note"),
        UniqueConstraint("key"),
    )
    _create(
        operations,
        "handovers",
        _text("key"),
        _refers("job", "jobs.key"),
        Column("at", Moment),
        _text("by"),
        _text("note"),
        UniqueConstraint("key"),
    )
    driver = cast("sqlite3.Connection", operations.get_bind().connection.driver_connection)
    for name, about in _NEW.items():
        register_table(driver, name, description=about, at=at)


def _create(operations: Operations, name: str, *parts: Any) -> None:
    operations.create_table(name, Column("fid", Integer, primary_key=True), *parts, sqlite_autoincrement=True)


def _text(name: str) -> Column[Any]:
    return Column(name, Text, nullable=False)


def _refers(name: str, target: str) -> Column[Any]:
    return Column(name, Text, ForeignKey(target, deferrable=True, initially="DEFERRED"), nullable=False)
