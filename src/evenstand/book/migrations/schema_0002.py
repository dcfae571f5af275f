"""Schema 2: telephone calls, the names an owner's display gives to values, the fan's proven speed, the low light's hectares."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from sqlalchemy import Column, Double, ForeignKey, ForeignKeyConstraint, Integer, Text, UniqueConstraint

from evenstand.book.columns import Moment
from evenstand.book.geopackage import register_table

if TYPE_CHECKING:
    import sqlite3

    from alembic.operations import Operations

_NEW = {
    "card_remarks": "What the owner's display calls a line of the value card",
    "call_notes": "Telephone calls",
    "call_readings": "Numbers read out on the telephone",
    "call_reading_sources": "What a number read out repeats",
    "call_causes": "Likely causes named on the telephone",
}


def upgrade(operations: Operations, at: str) -> None:
    """Add tables and columns; nothing that is there is changed."""
    operations.add_column("fills", Column("low_light_at_ha", Double))
    for name, kind in (("fan_turns_s", Double), ("fan_turns_s_sd", Double), ("fan_turns_s_basis", Text), ("fan_turns_s_source", Text)):
        operations.add_column("outfits", Column(name, kind))
    operations.add_column("outfits", Column("hitch_m", Double))
    _create(
        operations, "card_remarks",
        _text("key"), _refers("outfit", "outfits.key", null=False), _text("line"), _text("yours"), _text("set_by"), _at(),
        UniqueConstraint("key"),
    )  # fmt: skip
    _create(
        operations, "call_notes",
        _text("key"), _at(), _text("caller"), _refers("outfit", "outfits.key"), _refers("job", "jobs.key"), _text("asked"),
        _text("advice"), _text("note"), UniqueConstraint("key"),
    )  # fmt: skip
    _create(
        operations, "call_readings",
        _refers("call_note", "call_notes.key", null=False), _whole("position"), _text("quantity"), _number("value"), _number("sd"), _at(),
        _text("instrument"), UniqueConstraint("call_note", "position"),
    )  # fmt: skip
    _create(
        operations, "call_reading_sources",
        _text("call_note"), _whole("reading"), _whole("position"), _text("value"),
        ForeignKeyConstraint(
            ["call_note", "reading"], ["call_readings.call_note", "call_readings.position"], deferrable=True, initially="DEFERRED"
        ),
        UniqueConstraint("call_note", "reading", "position"),
    )  # fmt: skip
    _create(
        operations, "call_causes",
        _refers("call_note", "call_notes.key", null=False), _whole("position"), _text("value"), UniqueConstraint("call_note", "position"),
    )  # fmt: skip
    driver = cast("sqlite3.Connection", operations.get_bind().connection.driver_connection)
    for name, about in _NEW.items():
        register_table(driver, name, description=about, at=at)


def _create(operations: Operations, name: str, *parts: Any) -> None:
    operations.create_table(name, Column("fid", Integer, primary_key=True), *parts, sqlite_autoincrement=True)


def _text(name: str) -> Column[Any]:
    return Column(name, Text, nullable=False)


def _whole(name: str) -> Column[Any]:
    return Column(name, Integer, nullable=False)


def _number(name: str) -> Column[Any]:
    return Column(name, Double, nullable=False)


def _at() -> Column[Any]:
    return Column("at", Moment)


def _refers(name: str, target: str, *, null: bool = True) -> Column[Any]:
    return Column(name, Text, ForeignKey(target, deferrable=True, initially="DEFERRED"), nullable=null)
