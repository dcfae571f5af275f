"""The door from vector files to fields: which area, in which coordinates, mended how, and what is refused."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from evenstand.base.errors import EvenstandError, Fault, FileError, GeometryError
from evenstand.field.frames import from_frame
from evenstand.field.outlines import (
    NOTED_GAP,
    add_obstacles,
    areas_only,
    boundary_from_shape,
    frame_and_projection,
    geodesic_area_of_degrees,
    size_fault,
    slug,
    sown_shape,
    unwrapped,
)
from evenstand.field.systems import System, system_of, to_degrees
from evenstand.model import Boundary, Frame, Hazard, Polygon
from evenstand.model.place import FloatArray

if TYPE_CHECKING:
    from evenstand.formats.vector import Layer

Path = str | os.PathLike[str]

_NAME_COLUMNS = ("name", "field_name", "fieldname", "field", "title", "label", "areaname", "description", "key", "id")
_LISTED = 40
_KINDS = {"Point": "point", "MultiPoint": "point", "LineString": "line", "MultiLineString": "line", "LinearRing": "line"}
_ROLES = ("obstacle", "entry", "fill-point", "hazard")


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """One area of a layer, before it is taken for a field. number: from 1, in the order of the file; area_m2 on the ellipsoid [m²];
    attributes: what the file says of it; fault: why it is no field, or None."""

    number: int
    name: str
    area_m2: float
    attributes: dict[str, Any]
    fault: Fault | None = None

    def __str__(self) -> str:
        size = (
            f"{self.area_m2 / 1e4:,.0f} ha"
            if self.area_m2 >= 1e7
            else f"{self.area_m2 / 1e4:.2f} ha"
            if self.area_m2 >= 100
            else f"{self.area_m2:.3g} m²"
        )
        return f"{self.number}: {self.name} ({size})"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Source:
    """A layer with its areas in degrees (or local metres); shapes in the order of areas, rows: theirs in the layer."""

    layer: Layer
    system: System
    areas: tuple[Area, ...]
    shapes: tuple[Any, ...]
    rows: tuple[int, ...]
    extras: tuple[tuple[str, Any, dict[str, Any]], ...]
    notes: tuple[str, ...]


def read_boundary(
    path: Path, *, layer: str | None = None, field: int | str | None = None, crs: str | None = None, height_m: float = 0.0
) -> Boundary:
    """Read one field from a vector file: GeoJSON, Shapefile, GeoPackage, or what else GDAL reads, zipped or plain.

    Parameters
    ----------
    path : str or path
        A file on this machine. [-]
    layer : str or None
        Name of the layer, where there are several. [-]
    field : int, str or None
        Which area, where there are several: its number in the list, from 1, or the text of one of its attributes. [-]
    crs : str or None
        The coordinate system, where the file states none or a wrong one: a code such as "EPSG:26913", or "local" for metres of
        a plan with no place on earth. [-]
    height_m : float
        Height of the ground above the ellipsoid; areas and distances are then those on the ground. [m]

    Returns
    -------
    Boundary
        In its own frame; `repairs` says what was mended, dropped or doubted. [m, m²]

    Raises
    ------
    FileError
        If the file is missing, empty, cut off, mislabelled or too large, or has several layers and none was named.
    CrsError
        If its coordinate system is not known or cannot be right; the message says what the numbers look like.
    GeometryError
        If there is no area, if there are several and none was named (they are listed), or if the area is no field: larger than
        5,000 ha or smaller than 0.05 ha.

    References
    ----------
    geographiclib-tests: areas on the ellipsoid, test_Planimeter0 and 15, are met; definition: planar areas in the field's own
    transverse Mercator.
    """
    source = _source(path, layer, crs)
    area = _pick(source, field)
    return _boundary(source, area, height_m)


def read_areas(
    path: Path,
    *,
    layer: str | None = None,
    fields: Sequence[int | str] | None = None,
    crs: str | None = None,
    height_m: float = 0.0,
) -> tuple[Boundary, ...]:
    """Read all fields of a layer, each in its own frame: a whole farm at once.

    Parameters
    ----------
    path, layer, crs, height_m
        As for `read_boundary`. [m]
    fields : sequence of int or str, or None
        Which areas, each as for `read_boundary`; None: all. [-]

    Returns
    -------
    tuple of Boundary
        In the order of the file; keys are unique. [m, m²]

    Raises
    ------
    FileError, CrsError, GeometryError
        As for `read_boundary`; all unfit areas are named at once.
    """
    source = _source(path, layer, crs)
    areas = source.areas if fields is None else tuple(_pick(source, one) for one in fields)
    found: list[Boundary] = []
    faults: list[Fault] = []
    taken: set[str] = set()
    for area in areas:
        try:
            boundary = _boundary(source, area, height_m)
        except EvenstandError as error:
            faults += error.faults
            continue
        key = boundary.key if boundary.key not in taken else f"{boundary.key}-{area.number}"
        taken.add(key)
        found.append(replace(boundary, key=key))
    if faults:
        raise GeometryError(_shortened(faults, "Leave them out by naming the fields you want with fields=."))
    return tuple(found)


def list_areas(path: Path, *, layer: str | None = None, crs: str | None = None) -> tuple[Area, ...]:
    """The areas of a layer with number, name and size, fit or not.

    Parameters
    ----------
    path, layer, crs
        As for `read_boundary`. [-]

    Returns
    -------
    tuple of Area
        In the order of the file. [m²]
    """
    return _source(path, layer, crs).areas


def boundary_geojson(boundaries: Boundary | Iterable[Boundary]) -> str:
    """Fields as GeoJSON text (RFC 7946): WGS 84, longitude first, outside rings counter-clockwise, places to 0.1 mm.

    Parameters
    ----------
    boundaries : Boundary or several
        Fields; obstacles, entries, fill points and hazards become features with a `role`. [-]

    Returns
    -------
    str
        The text. `read_boundary` and `read_areas` read it back. [deg]
    """
    each = [boundaries] if isinstance(boundaries, Boundary) else list(boundaries)
    features = [feature for boundary in each for feature in _features(boundary)]
    return json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False, indent=1) + "\n"


def write_boundary(path: Path, boundaries: Boundary | Iterable[Boundary]) -> str:
    """Write fields as a GeoJSON file; the file appears whole or not at all.

    Parameters
    ----------
    path : str or path
        Where to. [-]
    boundaries : Boundary or several
        What. [-]

    Returns
    -------
    str
        The text that was written. [deg]
    """
    from evenstand.formats.vector import write_text

    text = boundary_geojson(boundaries)
    write_text(path, text)
    return text


def _source(path: Path, layer_name: str | None, crs: str | None) -> _Source:
    from evenstand.formats.vector import read_layer

    layer = read_layer(path, layer=layer_name)
    rows = _area_rows(layer)
    coordinates = shapely.get_coordinates([layer.geometries[i] for i in rows])
    system = system_of(layer.crs, crs, coordinates, where=layer.source, is_geojson=layer.is_geojson)
    shapes = tuple(_in_degrees(layer.geometries[i], system, layer.source) for i in rows)
    names = _names(layer, rows)
    areas = tuple(
        _area(n, name, shape, layer, row, system) for n, (name, shape, row) in enumerate(zip(names, shapes, rows, strict=True), 1)
    )
    notes = (*layer.notes, *system.notes, *_left_out(layer, rows))
    return _Source(layer=layer, system=system, areas=areas, shapes=shapes, rows=tuple(rows), extras=_extras(layer, system), notes=notes)


def _area_rows(layer: Layer) -> list[int]:
    """Rows of the layer that hold an area and are no obstacle. [-]"""
    roles = layer.attributes.get("role", ())
    rows = []
    for i, geometry in enumerate(layer.geometries):
        if geometry is None or geometry.is_empty or (roles and roles[i] in _ROLES):
            continue
        if not areas_only(geometry).is_empty:
            rows.append(i)
    if not rows:
        raise GeometryError(
            f"there is no area in this layer ({_kinds(layer)})",
            where=f"{layer.source}, layer {layer.name}",
            cure="Give a layer with the field's outline as a closed area.",
        )
    return rows


def _kinds(layer: Layer) -> str:
    counts: dict[str, int] = {}
    for geometry in layer.geometries:
        kind = "empty geometry" if geometry is None or geometry.is_empty else _KINDS.get(geometry.geom_type, "other shape")
        counts[kind] = counts.get(kind, 0) + 1
    return ", ".join(f"{n} {kind}{'s' if n > 1 and kind[-1] != 'y' else ''}" for kind, n in counts.items()) or "no rows"


def _left_out(layer: Layer, rows: list[int]) -> tuple[str, ...]:
    roles = layer.attributes.get("role", ())
    empty = sum(g is None or g.is_empty for g in layer.geometries)
    known = sum(role in _ROLES for role in roles)
    other = len(layer.geometries) - len(rows) - empty - known
    notes = []
    if empty:
        notes.append(f"{empty} of {len(layer.geometries)} rows have no geometry and were left out.")
    if other:
        notes.append(f"{other} lines or points are no areas and were left out.")
    return tuple(notes)


def _in_degrees(geometry: Any, system: System, where: str) -> Any:
    if system.is_local:
        return areas_only(geometry)

    def convert(xy: FloatArray) -> FloatArray:
        return to_degrees(system, xy, where)

    return areas_only(shapely.transform(geometry, convert))


def _names(layer: Layer, rows: list[int]) -> list[str]:
    """A name for each area: of the column that looks most like one, else the layer's own name and a number. [-]"""
    lower = {key.lower(): key for key in layer.attributes}
    columns = [lower[name] for name in _NAME_COLUMNS if name in lower]
    columns += [key for key, values in layer.attributes.items() if key not in columns and any(isinstance(v, str) and v for v in values)]
    for column in columns:
        values = [layer.attributes[column][i] for i in rows]
        if all(v is not None and str(v).strip() for v in values):
            return [str(v).strip() for v in values]
    return [layer.name] if len(rows) == 1 else [f"{layer.name} {n}" for n in range(1, len(rows) + 1)]


def _area(number: int, name: str, shape: Any, layer: Layer, row: int, system: System) -> Area:
    size = float(shapely.area(shape)) if system.is_local else abs(geodesic_area_of_degrees(_unwrapped_shape(shape)))
    label = f"{layer.source}, {name}" if name != layer.name else layer.source
    return Area(
        number=number,
        name=name,
        area_m2=size,
        attributes={key: values[row] for key, values in layer.attributes.items()},
        fault=size_fault(size / 1e4, label) if shapely.is_valid(shape) else None,
    )


def _unwrapped_shape(shape: Any) -> Any:
    return shapely.transform(shape, unwrapped)


def _pick(source: _Source, field: int | str | None) -> Area:
    areas, where = source.areas, source.layer.source
    if field is None:
        if len(areas) == 1:
            return areas[0]
        raise GeometryError(
            f"there are {len(areas)} areas: {_listing(areas)}", where=where, cure="Name one with field=, by number or name."
        )
    match = _matching(areas, field)
    if len(match) == 1:
        return match[0]
    if match:
        raise GeometryError(f"{len(match)} areas match {field!r}: {_listing(match)}", where=where, cure="Give the number.")
    raise GeometryError(
        f"no area matches {field!r}", where=where, limit=f"areas: {_listing(areas)}", cure="Give a number or a name of the list."
    )


def _matching(areas: tuple[Area, ...], field: int | str) -> tuple[Area, ...]:
    """Areas of that name, else with that attribute, else of that number."""
    text = str(field).strip()
    if isinstance(field, str):
        tests: tuple[Callable[[Area], bool], ...] = (
            lambda a: a.name == text,
            lambda a: a.name.lower() == text.lower(),
            lambda a: any(isinstance(v, str) and v.strip().lower() == text.lower() for v in a.attributes.values()),
        )
        for test in tests:
            if found := tuple(a for a in areas if test(a)):
                return found
    return tuple(a for a in areas if text == str(a.number))


def _listing(areas: Sequence[Area]) -> str:
    text = "; ".join(str(a) for a in areas[:_LISTED])
    return text if len(areas) <= _LISTED else f"{text}; and {len(areas) - _LISTED} more"


def _shortened(faults: list[Fault], cure: str) -> list[Fault]:
    if len(faults) <= _LISTED:
        return [*faults[:-1], replace(faults[-1], cure=f"{faults[-1].cure} {cure}".strip())]
    return [*faults[:_LISTED], Fault(where="", what=f"and {len(faults) - _LISTED} more areas are unfit", cure=cure)]


def _boundary(source: _Source, area: Area, height_m: float) -> Boundary:
    if area.fault:
        raise GeometryError([area.fault])
    shape, system = source.shapes[area.number - 1], source.system
    label = f"{source.layer.source}, {area.name}"
    notes = source.notes
    in_metres: Callable[[FloatArray], FloatArray] = np.asarray
    frame = Frame(lon_deg=0.0, lat_deg=0.0)
    if not system.is_local:
        frame, in_metres = frame_and_projection([shape], label, height_m)
        notes = (*notes, *_map_area_note(source, area))
    boundary = boundary_from_shape(
        shapely.transform(shape, in_metres),
        frame,
        key=slug(area.name),
        name=area.name,
        crs=system.label,
        file_hash=source.layer.file_hash,
        repairs=notes,
    )
    return _with_extras(boundary, source, in_metres)


def _map_area_note(source: _Source, area: Area) -> tuple[str, ...]:
    """Says so when the file's own map gives another area than the ground, as a web map does."""
    if source.system.unit_m == 0.0:
        return ()
    row = source.rows[area.number - 1]
    drawn = float(shapely.area(source.layer.geometries[row])) * source.system.unit_m**2
    if not area.area_m2 or abs(drawn / area.area_m2 - 1) <= NOTED_GAP:
        return ()
    return (
        f"The file's own map ({source.system.label}) would give {drawn / 1e4:.2f} ha; on the ground it is {area.area_m2 / 1e4:.2f} ha.",
    )


def _extras(layer: Layer, system: System) -> tuple[tuple[str, Any, dict[str, Any]], ...]:
    """Features with a role: obstacles, entries, fill points, hazards, in degrees."""
    roles = layer.attributes.get("role", ())
    found = []
    for i, role in enumerate(roles):
        geometry = layer.geometries[i]
        if role not in _ROLES or geometry is None or geometry.is_empty:
            continue
        if not system.is_local:
            geometry = shapely.transform(geometry, lambda xy: to_degrees(system, xy, layer.source))
        found.append((str(role), geometry, {key: values[i] for key, values in layer.attributes.items()}))
    return tuple(found)


def _with_extras(boundary: Boundary, source: _Source, in_metres: Callable[[FloatArray], FloatArray]) -> Boundary:
    """The boundary with those features of a role that name it, or that name no field."""
    for role, geometry, said in source.extras:
        if said.get("field") not in (None, "", boundary.key, boundary.name):
            continue
        try:
            shape = shapely.transform(geometry, in_metres)
        except FileError:
            continue  # nowhere near this field
        if role == "obstacle":
            if shapely.intersects(shape, sown_shape(boundary)):
                boundary = add_obstacles(boundary, [shape])
            continue
        x, y = (float(v) for v in shapely.get_coordinates(shape)[0])
        if role == "entry":
            boundary = replace(boundary, entries=(*boundary.entries, (x, y)))
        elif role == "fill-point":
            boundary = replace(boundary, fill_points=(*boundary.fill_points, (x, y)))
        else:
            hazard = Hazard(kind=str(said.get("kind") or "place"), note=str(said.get("note") or ""), x_m=x, y_m=y)
            boundary = replace(boundary, hazards=(*boundary.hazards, hazard))
    return boundary


def _features(boundary: Boundary) -> list[dict[str, Any]]:
    if boundary.crs == "local":
        raise GeometryError("the field has no place on earth", where=boundary.name, cure="Read its outline with positions first.")
    parts = [_degrees_of(boundary.frame, polygon) for polygon in boundary.polygons]
    geometry = {"type": "Polygon", "coordinates": parts[0]} if len(parts) == 1 else {"type": "MultiPolygon", "coordinates": parts}
    said = {"name": boundary.name, "key": boundary.key, "role": "field", "area_ha": round(boundary.area_ha, 4)}
    features = [_feature(geometry, said)]
    for polygon in boundary.obstacles:
        outline = {"type": "Polygon", "coordinates": _degrees_of(boundary.frame, polygon)}
        features.append(_feature(outline, {"name": "obstacle", "field": boundary.key, "role": "obstacle"}))
    places: list[tuple[str, float, float, dict[str, str]]] = [
        *(("entry", x, y, {}) for x, y in boundary.entries),
        *(("fill-point", x, y, {}) for x, y in boundary.fill_points),
        *(("hazard", h.x_m, h.y_m, {"kind": h.kind, "note": h.note}) for h in boundary.hazards),
    ]
    for role, x, y, more in places:
        position = _lonlat(boundary.frame, np.array([[x, y]]))[0]
        features.append(_feature({"type": "Point", "coordinates": position}, {"name": role, "field": boundary.key, "role": role, **more}))
    return features


def _feature(geometry: dict[str, Any], properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def _degrees_of(frame: Frame, polygon: Polygon) -> list[list[list[float]]]:
    return [_lonlat(frame, np.asarray(ring)) for ring in (polygon.outside, *polygon.holes)]


def _lonlat(frame: Frame, xy_m: FloatArray) -> list[list[float]]:
    lon, lat = from_frame(frame, xy_m)
    return [[round(float(a), 9), round(float(b), 9)] for a, b in zip(lon, lat, strict=True)]
