"""What makes an SQLite file a GeoPackage: its header numbers, its system tables, its geometry blobs and its functions.

After OGC 12-128r18, GeoPackage Encoding Standard 1.4: application id "GPKG", user version 10400, each table listed
in `gpkg_contents` (clauses 1.1.1 and 1.1.3), geometry as "GP" header, envelope and WKB (clause 2.1.3).
"""

from __future__ import annotations

import math
import sqlite3
import struct
from collections.abc import Iterable
from typing import Any

APPLICATION_ID = 1196444487  # "GPKG"
USER_VERSION = 10400
WGS84 = 4326
_POINT_WKB = 1
_EMPTY = 0b10000
_LITTLE_ENDIAN_WITH_ENVELOPE = 0b011
_ENVELOPE_DOUBLES = {0: 0, 1: 4, 2: 6, 3: 6, 4: 8}

_WGS84_WKT = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
    'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,'
    'AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],AUTHORITY["EPSG","4326"]]'
)

SYSTEM_TABLES = """
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL,
  z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
"""

_SYSTEMS: tuple[tuple[str, int, str, int, str, str], ...] = (
    ("Undefined Cartesian SRS", -1, "NONE", -1, "undefined", "undefined Cartesian coordinate reference system"),
    ("Undefined geographic SRS", 0, "NONE", 0, "undefined", "undefined geographic coordinate reference system"),
    ("WGS 84 geodetic", WGS84, "EPSG", WGS84, _WGS84_WKT, "longitude/latitude coordinates in decimal degrees on the WGS 84 ellipsoid"),
)


def lay_out(connection: sqlite3.Connection) -> None:
    """Give an empty file the header numbers and system tables of a GeoPackage."""
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {USER_VERSION}")
    for statement in SYSTEM_TABLES.split(";"):
        if statement.strip():
            connection.execute(statement)
    connection.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?,?,?,?,?,?)", _SYSTEMS)


def register_table(connection: sqlite3.Connection, name: str, *, description: str, at: str, geometry: str = "") -> None:
    """List a table in the contents, as features when it has a geometry column `geom` of that kind."""
    connection.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id) VALUES (?,?,?,?,?,?)",
        (name, "features" if geometry else "attributes", name, description, at, WGS84 if geometry else None),
    )
    if geometry:
        connection.execute("INSERT INTO gpkg_geometry_columns VALUES (?,'geom',?,?,0,0)", (name, geometry, WGS84))


def touch_tables(connection: sqlite3.Connection, names: Iterable[str], at: str) -> None:
    """Note in the contents when tables changed last, and the extent of those with a geometry."""
    for name in sorted(names):
        connection.execute("UPDATE gpkg_contents SET last_change = ? WHERE table_name = ?", (at, name))
        if connection.execute("SELECT 1 FROM gpkg_geometry_columns WHERE table_name = ?", (name,)).fetchone():
            connection.execute(
                f"UPDATE gpkg_contents SET (min_x, min_y, max_x, max_y) = (SELECT min(ST_MinX(geom)), min(ST_MinY(geom)), "
                f'max(ST_MaxX(geom)), max(ST_MaxY(geom)) FROM "{name}") WHERE table_name = ?',
                (name,),
            )


def geometry_blob(wkb: bytes, bounds: tuple[float, float, float, float] | None, srs_id: int = WGS84) -> bytes:
    """A geometry as a GeoPackage keeps it.

    Parameters
    ----------
    wkb : bytes
        Little-endian WKB. [-]
    bounds : tuple of four floats, or None for an empty geometry
        min x, min y, max x, max y. [degrees for WGS 84]
    srs_id : int
        Key in `gpkg_spatial_ref_sys`. [-]
    """
    if bounds is None:
        return b"GP" + struct.pack("<BBi", 0, 1 | _EMPTY, srs_id) + wkb
    min_x, min_y, max_x, max_y = bounds
    return b"GP" + struct.pack("<BBi4d", 0, _LITTLE_ENDIAN_WITH_ENVELOPE, srs_id, min_x, max_x, min_y, max_y) + wkb


def wkb_of(blob: bytes) -> bytes:
    """The WKB behind the header of a GeoPackage geometry; `ValueError` if there is no such header."""
    if blob[:2] != b"GP" or len(blob) < 8:
        raise ValueError("no GeoPackage geometry")
    return blob[8 + 8 * _ENVELOPE_DOUBLES[(blob[3] >> 1) & 0b111] :]


def bounds_of(blob: bytes) -> tuple[float, float, float, float] | None:
    """min x, min y, max x, max y of a GeoPackage geometry; None if it is empty."""
    if blob[3] & _EMPTY:
        return None
    order = "<" if blob[3] & 1 else ">"
    if (blob[3] >> 1) & 0b111:
        min_x, max_x, min_y, max_y = struct.unpack_from(f"{order}4d", blob, 8)
        return min_x, min_y, max_x, max_y
    return _scanned_bounds(wkb_of(blob))


def _scanned_bounds(wkb: bytes) -> tuple[float, float, float, float] | None:
    """Bounds where a writer has left the envelope out, as GIS programs do for points."""
    order = "<" if wkb[0] else ">"
    (kind,) = struct.unpack_from(f"{order}I", wkb, 1)
    if kind % 1000 == _POINT_WKB:
        x, y = struct.unpack_from(f"{order}2d", wkb, 5)
        return None if math.isnan(x) else (x, y, x, y)
    import shapely

    shape = shapely.from_wkb(wkb)
    if shape.is_empty:
        return None
    min_x, min_y, max_x, max_y = shape.bounds
    return min_x, min_y, max_x, max_y


def register_functions(connection: sqlite3.Connection) -> None:
    """Make ST_IsEmpty, ST_MinX and friends known to a connection.

    The spatial index that GIS programs add to a layer keeps itself by triggers which call these; without them each
    later change of that layer would fail.
    """

    def bound(position: int) -> Any:
        def of(blob: bytes | None) -> float | None:
            limits = None if blob is None else bounds_of(blob)
            return None if limits is None else limits[position]

        return of

    def is_empty(blob: bytes | None) -> int | None:
        return None if blob is None else int(bounds_of(blob) is None)

    for position, name in enumerate(("ST_MinX", "ST_MinY", "ST_MaxX", "ST_MaxY")):
        connection.create_function(name, 1, bound(position), deterministic=True)
    connection.create_function("ST_IsEmpty", 1, is_empty, deterministic=True)
