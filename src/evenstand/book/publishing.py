"""A copy for GIS programs: fields, jobs and driven paths as layers, products and outfits as tables."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from evenstand.base.errors import BookError
from evenstand.book.blobs import sync_folder
from evenstand.book.geopackage import register_functions, register_table, touch_tables
from evenstand.book.shapes import shape_blob, to_degrees
from evenstand.model import Trail

LEFT_OUT = (
    "call_reading_sources", "call_readings", "call_causes", "call_notes", "history", "changes", "step_states", "settings", "derived",
    "imported_entries", "book_schema",
)  # fmt: skip

_JOB_AREAS = """
CREATE TABLE job_areas (
  fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, job TEXT NOT NULL, field TEXT NOT NULL, field_name TEXT NOT NULL, crop TEXT NOT NULL,
  variety TEXT NOT NULL, season INTEGER NOT NULL, outfit TEXT, area_ha DOUBLE, rates TEXT, geom MULTIPOLYGON)
"""
_FILL_JOB_AREAS = """
INSERT INTO job_areas (job, field, field_name, crop, variety, season, outfit, area_ha, rates, geom)
SELECT j."key", f."key", f.name, j.crop, j.variety, j.season, j.outfit, coalesce(j.area_ha, f.area_m2 / 10000),
  (SELECT group_concat(line, '; ') FROM (
    SELECT p.name || ' ' || printf('%g', a.rate_kg_ha) || ' kg/ha' AS line FROM job_asks a JOIN products p ON p."key" = a.product
    WHERE a.job = j."key" ORDER BY a.position)), f.geom
FROM jobs j JOIN fields f ON f."key" = j.field_key ORDER BY j."key"
"""
_TRAIL_PATHS = """
CREATE TABLE trail_paths (
  fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, trail TEXT NOT NULL, job TEXT, outfit TEXT, name TEXT NOT NULL, at DATETIME,
  points INTEGER NOT NULL, geom LINESTRING)
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Published:
    """A published copy: its path, its layers with the number of shapes in each, its tables, its size [byte]."""

    path: Path
    layers: dict[str, int]
    tables: dict[str, int]
    size_bytes: int


def publish_copy(source: sqlite3.Connection, path: Path, *, at: str, trail: Callable[[str], Trail]) -> Published:
    """Write the copy beside `path`, flush it, and rename it into place.

    Parameters
    ----------
    source : sqlite3.Connection
        To the book. [-]
    path : Path
        Of the copy; one that is there is replaced when the new one is whole. [-]
    at : str
        Time of publishing. [ISO 8601]
    trail : callable
        Reads a trail by its key. [-]

    Raises
    ------
    BookError
        If it cannot be written there.
    """
    if path.is_dir():
        raise BookError("is a folder", where=str(path), cure="Name a file, such as fields.gpkg.")
    part = path.with_name(f".part-{os.getpid()}-{path.name}")
    try:
        part.unlink(missing_ok=True)
        with contextlib.closing(sqlite3.connect(part, isolation_level=None)) as copy:
            source.backup(copy)
            layers, plain = _reshape(copy, at, trail)
        with open(part, "rb+") as file:
            os.fsync(file.fileno())
        os.replace(part, path)
        sync_folder(path.resolve().parent)
    except (OSError, sqlite3.OperationalError) as error:
        raise BookError(f"cannot be written ({error})", where=str(path), cure="Pick a folder that exists and can be written.") from None
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return Published(path=path, layers=layers, tables=plain, size_bytes=path.stat().st_size)


def _reshape(copy: sqlite3.Connection, at: str, trail: Callable[[str], Trail]) -> tuple[dict[str, int], dict[str, int]]:
    register_functions(copy)
    copy.execute("PRAGMA foreign_keys = OFF")
    copy.execute("BEGIN")
    for name in LEFT_OUT:
        copy.execute(f'DROP TABLE "{name}"')
        copy.execute("DELETE FROM gpkg_contents WHERE table_name = ?", (name,))
        copy.execute("DELETE FROM sqlite_sequence WHERE name = ?", (name,))
    copy.execute(_JOB_AREAS)
    copy.execute(_FILL_JOB_AREAS)
    register_table(copy, "job_areas", description="Jobs on the outline of their field", at=at, geometry="MULTIPOLYGON")
    copy.execute(_TRAIL_PATHS)
    register_table(copy, "trail_paths", description="Where machines went", at=at, geometry="LINESTRING")
    _fill_trail_paths(copy, trail)
    touch_tables(copy, ["job_areas", "trail_paths"], at)
    copy.execute("COMMIT")
    copy.execute("VACUUM")
    counts = {
        name: (kind, copy.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0])
        for name, kind in copy.execute("SELECT table_name, data_type FROM gpkg_contents ORDER BY table_name").fetchall()
    }
    layers = {name: count for name, (kind, count) in counts.items() if kind == "features"}
    return layers, {name: count for name, (kind, count) in counts.items() if kind == "attributes"}


def _fill_trail_paths(copy: sqlite3.Connection, trail: Callable[[str], Trail]) -> None:
    from shapely.geometry import LineString

    rows = copy.execute('SELECT "key", job, outfit, name, at, points FROM trails ORDER BY "key"').fetchall()
    for key, job, outfit, name, at, points in rows:
        path = trail(key)
        geometry = shape_blob(LineString(to_degrees(path.frame)(path.xy_m))) if path.n >= 2 else None
        copy.execute(
            "INSERT INTO trail_paths (trail, job, outfit, name, at, points, geom) VALUES (?,?,?,?,?,?,?)",
            (key, job, outfit, name, at, points, geometry),
        )
