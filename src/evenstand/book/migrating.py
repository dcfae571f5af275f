"""Bringing a book of an older release forward: a copy is kept, then numbered steps run in one transaction."""

from __future__ import annotations

import importlib
from pathlib import Path

from sqlalchemy import Connection

from evenstand import __version__
from evenstand.book.blobs import sync_folder, write_through
from evenstand.book.opening import FILE
from evenstand.book.tables import SCHEMA

KEPT = "kept"


def keep_copy(folder: Path, schema: int, at: str) -> Path:
    """A copy of the book as it is, under `kept/`; returns its path. The caller holds the lock and no transaction is open."""
    kept = folder / KEPT
    kept.mkdir(exist_ok=True)
    sync_folder(folder)
    target = kept / f"book-schema-{schema}-{at[:19].replace(':', '')}Z.gpkg"
    write_through(target, (folder / FILE).read_bytes())
    return target


def run_steps(connection: Connection, *, start: int, at: str, end: int = SCHEMA) -> None:
    """Run the migrations after `start` up to `end` on an open transaction, and note each in the book.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Within a transaction; a failure leaves the book as it was. [-]
    start, end : int
        Schema the book has, and schema it shall have. [-]
    at : str
        Time of the migration. [ISO 8601]
    """
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext

    operations = Operations(MigrationContext.configure(connection))
    for schema in range(start + 1, end + 1):
        step = importlib.import_module(f"evenstand.book.migrations.schema_{schema:04d}")
        step.upgrade(operations, at)
        connection.exec_driver_sql('INSERT INTO book_schema ("schema", at, release) VALUES (?, ?, ?)', (schema, at, __version__))
