"""Does the book hang together: pages, references, files, geometry, and what GIS programs need."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path

from evenstand.base.errors import Fault
from evenstand.book import blobs, tables
from evenstand.book.columns import ALLOWED
from evenstand.book.geopackage import APPLICATION_ID, USER_VERSION, bounds_of
from evenstand.book.shapes import polygons_blob, to_degrees
from evenstand.model import Frame

_DEGREES_APART = 1e-9  # about a tenth of a millimetre on the ground


@dataclass(frozen=True, slots=True, kw_only=True)
class BookCheck:
    """What was looked at, how many of each, and what is wrong. `unnamed`: kept files that no row names; they do no harm."""

    looked_at: dict[str, int]
    faults: tuple[Fault, ...] = ()
    unnamed: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Nothing is wrong."""
        return not self.faults


def check_book(connection: sqlite3.Connection, folder: Path, *, originals: bool = True) -> BookCheck:
    """Look at everything; nothing is changed.

    Parameters
    ----------
    connection : sqlite3.Connection
        To the book. [-]
    folder : Path
        Of the book. [-]
    originals : bool
        Whether the files as they came are there; a bundle may leave them out. [-]
    """
    looked_at: dict[str, int] = {}
    faults = [*_pages(connection), *_references(connection, looked_at), *_listing(connection, looked_at), *_geometry(connection, looked_at)]
    file_faults, unnamed = _files(connection, folder, looked_at, originals)
    return BookCheck(looked_at=looked_at, faults=(*faults, *file_faults), unnamed=unnamed)


def _pages(connection: sqlite3.Connection) -> list[Fault]:
    answers = [row[0] for row in connection.execute("PRAGMA integrity_check")]
    return [] if answers == ["ok"] else [Fault(where="book.gpkg", what=a, cure="Bring the book back from a copy.") for a in answers]


def _references(connection: sqlite3.Connection, looked_at: dict[str, int]) -> list[Fault]:
    looked_at["rows"] = sum(connection.execute(f'SELECT count(*) FROM "{t.name}"').fetchone()[0] for t in tables.metadata.sorted_tables)
    return reference_faults(connection)


def reference_faults(connection: sqlite3.Connection) -> list[Fault]:
    """Each row that names another which is not there, in a sentence."""
    faults = []
    for table, fid, parent, number in connection.execute("PRAGMA foreign_key_check").fetchall():
        columns = [row[3] for row in connection.execute(f'PRAGMA foreign_key_list("{table}")') if row[0] == number]
        known = tables.metadata.tables.get(table)
        names = known.info["key"] if known is not None else ("rowid",)
        shown = connection.execute(f'SELECT {_quoted(names)} FROM "{table}" WHERE rowid = ?', (fid,)).fetchone() or ("?",)
        named = connection.execute(f'SELECT {_quoted(columns)} FROM "{table}" WHERE rowid = ?', (fid,)).fetchone() or ("?",)
        faults.append(
            Fault(
                where=f"{table} '{', '.join(map(str, shown))}', {', '.join(columns)}",
                what=f"names '{', '.join(map(str, named))}', which is not in {parent}",
                cure="Put that in first, or change or remove what names it.",
            )
        )
    return faults


def _quoted(names: tuple[str, ...] | list[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _listing(connection: sqlite3.Connection, looked_at: dict[str, int]) -> list[Fault]:
    """The header numbers, each table in the contents, and no column type that GIS programs would drop."""
    faults = []
    for pragma, wanted in (("application_id", APPLICATION_ID), ("user_version", USER_VERSION)):
        (found,) = connection.execute(f"PRAGMA {pragma}").fetchone()
        if found != wanted:
            faults.append(Fault(where="book.gpkg", what=f"{pragma} is {found}", limit=f"{wanted}", cure="GIS programs will not open it."))
    listed = {row[0] for row in connection.execute("SELECT table_name FROM gpkg_contents")}
    looked_at["tables"] = len(tables.metadata.tables)
    for name in tables.metadata.tables:
        if name not in listed:
            faults.append(Fault(where=name, what="is not listed in gpkg_contents", cure="GIS programs will not see it."))
        for _, column, declared, *_ in connection.execute(f'PRAGMA table_info("{name}")'):
            if declared not in ALLOWED:
                what = f"has the type {declared or 'none'}"
                faults.append(Fault(where=f"{name}, {column}", what=what, cure="GIS programs will drop it."))
    return faults


def _geometry(connection: sqlite3.Connection, looked_at: dict[str, int]) -> list[Fault]:
    """The outline GIS programs see is the one in metres."""
    faults = []
    rows = connection.execute('SELECT "key", frame_lon_deg, frame_lat_deg, frame_height_m, outline_m, geom FROM fields').fetchall()
    looked_at["fields"] = len(rows)
    for key, lon, lat, height, outline, geom in rows:
        drawn = polygons_blob(outline, to_degrees(Frame(lon_deg=lon, lat_deg=lat, height_m=height)))
        wanted, found = (None if blob is None else bounds_of(blob) for blob in (drawn, geom))
        apart = wanted != found and (
            wanted is None or found is None or max(abs(a - b) for a, b in zip(wanted, found, strict=True)) > _DEGREES_APART
        )
        if apart:
            faults.append(Fault(where=f"fields '{key}', geom", what="is not its outline in metres", cure="Put the field in again."))
    return faults


def _files(connection: sqlite3.Connection, folder: Path, looked_at: dict[str, int], originals: bool) -> tuple[list[Fault], tuple[str, ...]]:
    """Each named file is there and is what its name says."""
    named = {f"{blobs.ORIGINALS}/{row[0]}": row[0] for row in connection.execute('SELECT "key" FROM originals') if originals}
    named |= {f"{blobs.TRAILS}/{row[0]}.parquet": row[0] for row in connection.execute("SELECT parquet_hash FROM trails")}
    looked_at["files"] = len(named)
    faults = []
    for path, name in sorted(named.items()):
        file = folder / path
        if not file.is_file():
            faults.append(Fault(where=path, what="is missing", cure="Bring it back from a copy of the folder."))
        elif blobs.sha256_of(file.read_bytes()) != name:
            faults.append(Fault(where=path, what="its content does not match its name", cure="Bring it back from a copy of the folder."))
    found = {f"{d}/{p.name}" for d in (blobs.ORIGINALS, blobs.TRAILS) if (folder / d).is_dir() for p in (folder / d).iterdir()}
    return faults, tuple(sorted(found - named.keys()))
