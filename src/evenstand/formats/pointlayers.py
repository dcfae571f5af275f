"""A log kept as a vector layer: points, or strips as polygons, with their attributes as columns."""

from __future__ import annotations

import csv
import json
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from evenstand.base.errors import CrsError, FileError
from evenstand.formats.columns import ColumnUse
from evenstand.formats.parquet import metadata_of, rows_in, table_in
from evenstand.formats.recipes import Proposal, Recipe
from evenstand.formats.vector import Layer, file_hash, layer_names, read_layer
from evenstand.model.trail import Trail

SUFFIXES = (".gpkg", ".shp", ".geojson", ".json", ".geojsonl", ".fgb", ".parquet", ".geoparquet", ".zip", ".gml", ".kml", ".tab", ".mif")
AREA = "strip_area_m2"
MOST_ROWS = 1_000_000
"""Most rows of a GeoParquet file: it is read whole. [-]"""
DEGREES = ("longitude", "latitude")
METRES = ("easting", "northing")


@contextmanager
def as_table(path: Path, *, layer: str | None = None) -> Iterator[tuple[Path, str | None, Layer]]:
    """The layer as delimited text in a folder that is gone afterwards, with its coordinate system (None: degrees)."""
    found = _geoparquet(path) if _is_parquet(path) else read_layer(path, layer=layer or _own_rows(path))
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder) / (path.name or "layer")
        crs = _write(found, table)
        yield table, crs, found


def _own_rows(path: Path) -> str | None:
    """The layer of rows in a GeoPackage that we wrote beside its passes and strips; None where it is another's."""
    from evenstand.formats.gislayers import LAYERS

    if path.suffix.lower() != ".gpkg" or not path.is_file():
        return None
    names = layer_names(path)
    return LAYERS[0] if len(names) > 1 and names[0] == LAYERS[0] and set(names) <= set(LAYERS) else None


def _is_parquet(path: Path) -> bool:
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(4) == b"PAR1"


def _geoparquet(path: Path) -> Layer:
    """A GeoParquet file as a layer: its primary geometry column as well-known binary, its coordinate system as PROJJSON.

    Raises
    ------
    FileError
        If it has no `geo` metadata, or its geometries are not well-known binary.
    """
    import polars as pl
    import shapely

    told = metadata_of(path, path.name).get("geo")
    try:
        geo = json.loads(told) if told else None
    except (ValueError, RecursionError) as error:
        raise FileError(f"its geo metadata is no JSON ({str(error)[:120]})", where=path.name, cure="Export it again.") from error
    if not isinstance(geo, dict):
        raise FileError(
            "it is Parquet, but neither a trail of ours nor GeoParquet", where=path.name, cure="Export the log as GeoParquet or CSV."
        )
    name = geo.get("primary_column", "geometry")
    columns_told = geo.get("columns")
    column = columns_told.get(name) if isinstance(columns_told, dict) and isinstance(name, str) else None
    if not isinstance(column, dict):
        raise FileError("its geo metadata names no geometry column", where=path.name, cure="Export it again.")
    rows = rows_in(path, path.name)
    if rows > MOST_ROWS:
        cure = "Export it as delimited text: that is read in blocks."
        raise FileError(f"it holds {rows:,} rows", where=path.name, limit=f"at most {MOST_ROWS:,}", cure=cure)
    frame = table_in(path, path.name)
    if column.get("encoding") != "WKB" or name not in frame.columns:
        raise FileError(
            f"its geometries are '{column.get('encoding')}'", where=path.name, limit="WKB", cure="Export it with WKB geometries."
        )
    system = column.get("crs", "OGC:CRS84")
    try:
        shapes = np.asarray(shapely.force_2d(shapely.from_wkb(frame[name].to_numpy(), on_invalid="raise")), dtype=object)
    except (shapely.errors.ShapelyError, TypeError) as error:
        raise FileError(f"a geometry is damaged ({error})", where=path.name, cure="Export it again.") from error
    others = [c for c in frame.columns if c != name and frame[c].dtype.is_nested() is False and frame[c].dtype != pl.Binary]
    columns = {c: _moments(frame[c]) if frame[c].dtype == pl.Datetime else frame[c] for c in others}
    return Layer(
        source=path.name,
        name=name,
        crs=json.dumps(system) if isinstance(system, dict) else None if system is None else str(system),
        geometries=shapes,
        attributes={c: tuple(v.to_list()) for c, v in columns.items()},
        is_geojson=False,
        file_hash=file_hash(path),
    )


def _moments(times: Any) -> Any:
    """Times as text; those with a zone as UTC, marked so."""
    if times.dtype.time_zone is None:
        return times.dt.strftime("%Y-%m-%dT%H:%M:%S%.3f")
    return times.dt.convert_time_zone("UTC").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ")


def _write(found: Layer, table: Path) -> str | None:
    """Write one row a feature; positions first, under names no attribute has. Gives the coordinate system, None for degrees."""
    import shapely

    kinds = {g.geom_type for g in found.geometries if g is not None}
    if not kinds <= {"Point", "MultiPoint", "Polygon", "MultiPolygon"} or not kinds:
        what = ", ".join(sorted(kinds)) or "no geometry"
        raise FileError(
            f"the layer holds {what}", where=found.source, limit="points, or strips as polygons", cure="Export the log as points."
        )
    degrees = found.is_geojson or _is_geographic(found)
    names = DEGREES if degrees else METRES
    attributes = {k: v for k, v in found.attributes.items() if k.lower() not in {*DEGREES, *METRES, "lon", "lat", AREA}}
    try:
        middle = shapely.centroid(found.geometries)
        x, y = shapely.get_x(middle), shapely.get_y(middle)
        area = None if degrees or not kinds & {"Polygon", "MultiPolygon"} else shapely.area(found.geometries)
    except shapely.errors.ShapelyError as error:
        raise FileError(f"a geometry is damaged ({error})", where=found.source, cure="Export the layer again.") from error
    with table.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow([*names, *([AREA] if area is not None else []), *attributes])
        for i in range(len(found.geometries)):
            place = [_number(x[i]), _number(y[i]), *([_number(area[i])] if area is not None else [])]
            rows.writerow([*place, *(_cell(v[i]) for v in attributes.values())])
    return None if degrees else found.crs


def _is_geographic(found: Layer) -> bool:
    """Whether a layer's coordinate system is one of degrees.

    Raises
    ------
    CrsError
        If it is none we know.
    """
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if not found.crs:
        return False
    try:
        return bool(CRS.from_user_input(found.crs).is_geographic)
    except CRSError as error:
        cure = "Export the layer again, in a system with an EPSG code."
        raise CrsError(f"its coordinate system is not understood ({str(found.crs)[:80]})", where=found.source, cure=cure) from error


def _number(value: float) -> str:
    return "" if not np.isfinite(value) else repr(float(value))


def _cell(value: Any) -> str:
    if value is None or (isinstance(value, float) and not np.isfinite(value)):
        return ""
    if isinstance(value, np.datetime64):
        return "" if np.isnat(value) else str(value)
    return str(value.item() if isinstance(value, np.generic) else value)


def read_trail_layer(
    path: Path,
    *,
    recipe: Recipe | str | Path | None = None,
    crs: str | None = None,
    start: str | None = None,
    zone: str | None = None,
    columns: Sequence[ColumnUse] = (),
) -> Trail:
    """Read a log kept as a vector layer.

    Parameters
    ----------
    path : Path
        GeoPackage, Shapefile, GeoJSON, FlatGeobuf or GeoParquet; plain or zipped. [-]
    recipe, crs, start, zone, columns
        As for delimited text; the layer's own coordinate system is used where none is told. [-]

    Raises
    ------
    FileError, ColumnError, CrsError, UnitError
        As for delimited text.
    """
    from evenstand.formats.delimited import read

    with as_table(path) as (table, own, found):
        trail = read(table, recipe=recipe, crs=crs or own, start=start, zone=zone, columns=columns)
    notes = [f"Layer '{found.name}' of {found.source}: each row a feature, counted from line 2.", *found.notes, *trail.notes]
    return replace(trail, notes=tuple(notes), file_hash=found.file_hash)


def propose_layer(
    path: Path, *, crs: str | None = None, start: str | None = None, zone: str | None = None, columns: Sequence[ColumnUse] = ()
) -> Proposal:
    """What the attributes of a layer are taken for; see `evenstand.formats.delimited.propose`."""
    from evenstand.formats.delimited import propose

    with as_table(path) as (table, own, _):
        return replace(propose(table, crs=crs or own, start=start, zone=zone, columns=columns), file=path.name)
