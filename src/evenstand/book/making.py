"""A new book: the file is made beside its place and renamed, so that there is a whole book or none."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path

from sqlalchemy import Connection, Engine, StaticPool, create_engine, event, insert
from sqlalchemy.exc import DBAPIError

from evenstand import __version__
from evenstand.base.errors import BookError
from evenstand.book import blobs, tables
from evenstand.book.geopackage import lay_out, register_table
from evenstand.book.opening import FILE, prepare

_NEW = ".part-book.gpkg"


def make_folder(path: Path) -> None:
    """Make the folder of a book, if it is not there."""
    if path.exists() and not path.is_dir():
        raise BookError("is a file", where=str(path), cure="Name a folder for the book.")
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BookError(f"cannot be made ({error.strerror})", where=str(path), cure="Pick another folder.") from None


def write_new(folder: Path, at: str) -> None:
    """Write an empty book beside its place and rename it, so that there is a whole book or none."""
    part = folder / _NEW
    try:
        part.unlink(missing_ok=True)
        with contextlib.closing(sqlite3.connect(part, isolation_level=None, check_same_thread=False)) as raw:
            prepare(raw, write=True)
            raw.execute("BEGIN")
            lay_out(raw)
            raw.execute("COMMIT")
            engine = engine_on(raw, write=True)
            with engine.begin() as connection:
                tables.metadata.create_all(connection)
                for table in tables.metadata.sorted_tables:
                    register_table(raw, table.name, description=table.info["about"], at=at, geometry=table.info["geometry"])
                connection.execute(insert(tables.book_schema).values(schema=tables.SCHEMA, at=at, release=__version__))
            engine.dispose()
        os.replace(part, folder / FILE)
        blobs.sync_folder(folder)
    except (OSError, sqlite3.Error, DBAPIError) as error:
        raise BookError(f"no book can be written there ({error})", where=str(folder), cure="Pick a folder that can be written.") from None


def engine_on(raw: sqlite3.Connection, *, write: bool) -> Engine:
    """SQLAlchemy on one connection; a writer takes the write lock of the file as a transaction begins, never half way."""
    engine = create_engine("sqlite://", creator=lambda: raw, poolclass=StaticPool)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine
