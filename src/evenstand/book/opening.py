"""Opening the file of a book: what may be wrong with it is found before anything is read or written."""

from __future__ import annotations

import os
import sqlite3
import struct
from pathlib import Path

from evenstand.base.errors import BookError, VersionError
from evenstand.book.geopackage import APPLICATION_ID, register_functions
from evenstand.book.tables import SCHEMA

FILE = "book.gpkg"
JOURNAL = "book.gpkg-journal"
_MAGIC = b"SQLite format 3\0"
_QUICK_CHECK_UP_TO_BYTES = 64_000_000
_FROM_A_COPY = "Bring the book back from a copy of its folder."


def book_folder(folder: Path) -> Path:
    """The folder of a book, given itself or the file in it.

    Raises
    ------
    BookError
        If there is no folder, or no book in it.
    """
    if folder.name == FILE and folder.is_file():
        folder = folder.parent
    if not folder.exists():
        raise BookError("there is no such folder", where=str(folder), cure="Make a book with 'evenstand book new FOLDER'.")
    if not folder.is_dir():
        raise BookError("is a file, not the folder of a book", where=str(folder), cure="Name the folder that holds book.gpkg.")
    if not (folder / FILE).is_file():
        raise BookError("holds no book", where=str(folder), cure="Make one with 'evenstand book new FOLDER'.")
    return folder


def check_header(path: Path) -> None:
    """Refuse a file that is empty, cut short or of another kind, by its first hundred bytes.

    Raises
    ------
    BookError
        If it is no GeoPackage.
    VersionError
        If it is shorter than it says.
    """
    try:
        with open(path, "rb") as file:
            head = file.read(100)
    except OSError as error:
        raise BookError(f"cannot be read ({error.strerror})", where=str(path), cure="Give yourself the right to read it.") from None
    if not head:
        raise VersionError("is empty", where=str(path), cure=_FROM_A_COPY)
    if not head.startswith(_MAGIC[: len(head)]):
        raise BookError("is no book: it is not an SQLite file", where=str(path), cure="Name the folder of a book.")
    if len(head) < 100:
        raise VersionError(f"is cut short: {len(head)} bytes are left", where=str(path), cure=_FROM_A_COPY)
    (application_id,) = struct.unpack_from(">I", head, 68)
    if application_id != APPLICATION_ID:
        raise BookError("is no book: it is an SQLite file of another kind", where=str(path), cure="Name the folder of a book.")
    _check_length(path, head)


def _check_length(path: Path, head: bytes) -> None:
    if path.with_name(JOURNAL).exists():
        return  # an interrupted write is rolled back on opening, and may change the length
    (page,) = struct.unpack_from(">H", head, 16)
    page = 65536 if page == 1 else page
    (pages,) = struct.unpack_from(">I", head, 28)
    says, has = page * pages, path.stat().st_size
    if struct.unpack_from(">I", head, 24) == struct.unpack_from(">I", head, 92) and has < says:
        raise VersionError(f"is cut short: {has} of {says} bytes are left", where=str(path), cure=_FROM_A_COPY)


def connect(path: Path, *, write: bool) -> sqlite3.Connection:
    """A connection with the rules of a book: foreign keys on, rollback journal, every commit flushed to the disk.

    A reader may roll back an interrupted write, where it has the right, but changes nothing else.

    Raises
    ------
    BookError
        If the file cannot be opened, or an interrupted write cannot be rolled back for lack of rights.
    """
    effective = os.access in os.supports_effective_ids
    writable = all(os.access(place, os.W_OK, effective_ids=effective) for place in (path, path.parent))
    if write and not writable:
        cure = "Open it for reading only, or give yourself the right."
        raise BookError("cannot be written: it is read-only for you", where=str(path), cure=cure)
    if not writable and path.with_name(JOURNAL).exists():
        raise BookError(
            "a write was interrupted and cannot be rolled back without the right to write", where=str(path.parent),
            cure="Open it once where it can be written.",
        )  # fmt: skip
    uri = f"{path.resolve().as_uri()}?mode={'rw' if writable else 'ro'}"
    try:
        connection = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False, timeout=10.0)
    except sqlite3.Error as error:
        raise BookError(f"cannot be opened ({error})", where=str(path), cure=_FROM_A_COPY) from None
    try:
        prepare(connection, write=write)
    except sqlite3.Error as error:
        connection.close()
        raise damaged(path, str(error)) from None
    return connection


def prepare(connection: sqlite3.Connection, *, write: bool) -> None:
    """Set the rules of a book on a connection."""
    register_functions(connection)
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA trusted_schema = ON")  # the triggers of a spatial index call our functions
    if write:
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("PRAGMA synchronous = FULL")
    else:
        connection.execute("PRAGMA query_only = ON")


def check_content(connection: sqlite3.Connection, path: Path) -> int:
    """The schema of the book behind a connection.

    Raises
    ------
    BookError
        If it is a GeoPackage that is no book.
    VersionError
        If it is damaged, or of a newer release.
    """
    try:
        if path.stat().st_size <= _QUICK_CHECK_UP_TO_BYTES:
            (answer,) = connection.execute("PRAGMA quick_check(1)").fetchone()
            if answer != "ok":
                raise damaged(path, answer)
        if not connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'book_schema'").fetchone():
            raise BookError("is a GeoPackage, but no book", where=str(path), cure="Name the folder of a book; open this one in a GIS.")
        schema, release = connection.execute('SELECT "schema", release FROM book_schema ORDER BY "schema" DESC LIMIT 1').fetchone()
    except (sqlite3.Error, TypeError) as error:
        raise damaged(path, str(error)) from None
    if schema > SCHEMA:
        raise VersionError(
            f"was written by a newer release, {release} (schema {schema}; this release knows {SCHEMA})", where=str(path),
            cure="Install that release or a later one; nothing was changed.",
        )  # fmt: skip
    return int(schema)


def damaged(path: Path, told: str) -> VersionError:
    """The error for a file whose content does not hang together."""
    return VersionError(f"is damaged ({told.splitlines()[0] if told else 'unreadable'})", where=str(path), cure=_FROM_A_COPY)
