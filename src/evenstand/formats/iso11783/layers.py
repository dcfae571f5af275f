"""What task data says of places, as layers: outlines of fields, guidance lines, rate maps as areas of one rate."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.base.errors import FileError
from evenstand.formats.iso11783.entities import TaskData, read_task_data
from evenstand.formats.iso11783.folders import TaskFiles, task_files
from evenstand.formats.iso11783.grids import RateGrid, read_grid
from evenstand.formats.iso11783.guidance import FieldInfo, GuidanceLine, fields_of

if TYPE_CHECKING:
    from evenstand.formats.vector import Layer

FIELDS, LINES, RATES = "fields", "lines", "rates"
MOST_CELLS = 2_000_000
MOST_RATES = 1000
SHOWN_M = 100.0
"""Length at which a line by one point and a heading is drawn. [m]"""
DEGREE_M = 111_320.0


def task_layer_names(path: Path) -> tuple[str, ...]:
    """The layers that task data has: "fields", "lines", and "rates", one a task that has a map ("rates TSK-2" where several have one)."""
    with task_files(path) as files:
        data = read_task_data(files)
        return _names(data, files)


def _names(data: TaskData, files: TaskFiles) -> tuple[str, ...]:
    fields = fields_of(data, files.name)
    mapped = [t.key for t in data.tasks if t.element.all("GRD")]
    rates = [RATES] if len(mapped) == 1 else [f"{RATES} {key}" for key in mapped]
    return (
        *([FIELDS] if any(f.polygons for f in fields) else []),
        *([LINES] if any(f.lines for f in fields) else []),
        *rates,
    )


def task_layer(path: Path, layer: str | None) -> Layer:
    """One layer of task data, in degrees; the outlines of fields where none is named.

    Raises
    ------
    FileError
        If it is no task data, or has no such layer.
    """
    from evenstand.formats.vector import Layer

    with task_files(path) as files:
        data = read_task_data(files)
        names = _names(data, files)
        wanted = layer or FIELDS
        if wanted not in names:
            have = ", ".join(names) or "no outline, no guidance line and no rate map"
            raise FileError(f"the task data has no layer '{wanted}'", where=files.name, limit=f"it has: {have}", cure="Name one of these.")
        if wanted in (FIELDS, LINES):
            make = _field_rows if wanted == FIELDS else _line_rows
            shapes, attributes = make(fields_of(data, files.name))
        else:
            key = wanted.removeprefix(RATES).strip()
            task = next(t for t in data.tasks if t.element.all("GRD") and key in ("", t.key))
            grid = read_grid(files, task)
            assert grid is not None
            shapes, attributes = _rate_rows(grid, data, files.name)
        digest = files.hash()
    geometries = np.empty(len(shapes), dtype=object)
    geometries[:] = shapes
    return Layer(
        source=path.name, name=wanted, crs="EPSG:4326", geometries=geometries, attributes=attributes, is_geojson=False, file_hash=digest
    )


def _field_rows(fields: tuple[FieldInfo, ...]) -> tuple[list[Any], dict[str, tuple[Any, ...]]]:
    from shapely import MultiPolygon, Polygon

    rows = [f for f in fields if f.polygons]
    shapes = []
    for field in rows:
        parts = [Polygon(rings[0], list(rings[1:])) for rings in field.polygons if rings and all(len(r) >= 3 for r in rings)]
        shapes.append(parts[0] if len(parts) == 1 else MultiPolygon(parts))
    return shapes, {"name": tuple(f.name or f.key for f in rows), "key": tuple(f.key for f in rows)}


def _line_rows(fields: tuple[FieldInfo, ...]) -> tuple[list[Any], dict[str, tuple[Any, ...]]]:
    from shapely import LineString

    rows = [(f, line) for f in fields for line in f.lines]
    return [LineString(drawn(line)) for _, line in rows], {
        "name": tuple(line.name for _, line in rows),
        "field": tuple(f.name or f.key for f, _ in rows),
        "kind": tuple(line.kind for _, line in rows),
        "heading_deg": tuple(line.heading_deg for _, line in rows),
        "width_m": tuple(line.width_m for _, line in rows),
    }


def drawn(line: GuidanceLine) -> Any:
    """The points of a guidance line; a line by one point and a heading runs on from it, a circle goes round. (n, 2) [deg]"""
    points = line.lonlat_deg
    if points.shape[0] == 0:
        raise FileError(f"the guidance line '{line.name[:40]}' has no point", where="task data", cure="Export it again.")
    lon, lat = points[0]
    east = DEGREE_M * max(math.cos(math.radians(lat)), 1e-6)
    if line.kind == "pivot" and line.radius_mm:
        turn = np.radians(np.arange(0, 361, 5))
        radius = line.radius_mm / 1e3
        return np.column_stack([lon + radius * np.sin(turn) / east, lat + radius * np.cos(turn) / DEGREE_M])
    if points.shape[0] > 1:
        return points
    heading = math.radians(line.heading_deg or 0.0)
    return np.array([[lon, lat], [lon + SHOWN_M * math.sin(heading) / east, lat + SHOWN_M * math.cos(heading) / DEGREE_M]])


def _rate_rows(grid: RateGrid, data: TaskData, where: str) -> tuple[list[Any], dict[str, tuple[Any, ...]]]:
    """Areas of one rate of every product, from runs of like cells."""
    from shapely import box, union_all

    rows, columns, layers = grid.rates.shape
    corner = np.array(
        [grid.west_deg, grid.south_deg, grid.west_deg + columns * grid.cell_east_deg, grid.south_deg + rows * grid.cell_north_deg]
    )
    if not bool((np.abs(corner) <= [180, 90, 180, 90]).all()) or min(grid.cell_east_deg, grid.cell_north_deg) <= 0:
        raise FileError("its map lies nowhere on earth", where=where, limit="180 degrees east, 90 north", cure="Export it again.")
    if rows * columns > MOST_CELLS:
        raise FileError(f"{rows} x {columns} cells", where=where, limit=f"at most {MOST_CELLS:,}", cure="Export a coarser grid.")
    flat = np.nan_to_num(grid.rates, nan=-1.0).reshape(-1, layers)
    rates, codes = np.unique(flat, axis=0, return_inverse=True)
    if rates.shape[0] > MOST_RATES:
        raise FileError(f"{rates.shape[0]} different rates", where=where, limit=f"at most {MOST_RATES}", cure="Export fewer steps.")
    codes = codes.reshape(rows, columns)
    pieces: dict[int, list[Any]] = {}
    for r in range(rows):
        edges = np.flatnonzero(np.diff(codes[r], prepend=-1, append=-1))
        for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            south, west = grid.south_deg + r * grid.cell_north_deg, grid.west_deg + a * grid.cell_east_deg
            pieces.setdefault(int(codes[r, a]), []).append(
                box(west, south, grid.west_deg + b * grid.cell_east_deg, grid.south_deg + (r + 1) * grid.cell_north_deg)
            )
    kept = [c for c in sorted(pieces) if (rates[c] > 0).any()]
    names = [rate_name(layer.product, layer.unit, k, data.products) for k, layer in enumerate(grid.layers)]
    attributes: dict[str, tuple[Any, ...]] = {
        "name": tuple(", ".join(_said(v, grid.layers[k].unit) for k, v in enumerate(rates[c])) for c in kept)
    }
    attributes |= {name: tuple(None if rates[c, k] < 0 else float(rates[c, k]) for c in kept) for k, name in enumerate(names)}
    return [union_all(pieces[c]) for c in kept], attributes


def _said(rate: float, unit: str) -> str:
    return "none" if rate < 0 else f"{rate:g} {unit}".strip()


def rate_name(product: str, unit: str, number: int, products: dict[str, str]) -> str:
    """The name of a rate's column, such as "wheat (kg/ha)". [-]"""
    name = products.get(product, product) or f"rate {number + 1}"
    return f"{name} ({unit})" if unit else name
