"""Guidance lines and outlines of fields, both ways: straight lines by two points or a point and a heading, and curves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from evenstand.base.errors import FileError
from evenstand.formats.iso11783.entities import TaskData
from evenstand.formats.iso11783.markup import Element
from evenstand.model.place import FloatArray

LineKind = Literal["AB", "A", "curve", "pivot", "spiral"]
KINDS: dict[str, LineKind] = {"1": "AB", "2": "A", "3": "curve", "4": "pivot", "5": "spiral"}
CODES = {kind: code for code, kind in KINDS.items()}
LINE_OF_GUIDANCE = "5"
MOST_DIGITS = 12
POINT = {"A": "6", "B": "7", "middle": "9", "centre": "8"}


@dataclass(frozen=True, slots=True, kw_only=True)
class GuidanceLine:
    """A line to drive along: name, kind, its points (n, 2) as longitude and latitude [deg], heading of a line by one point, clockwise
    from north [deg], radius of a circle [mm as written], and the working width it was made for [m], None where not said."""

    name: str
    kind: LineKind
    lonlat_deg: FloatArray
    heading_deg: float | None = None
    radius_mm: int | None = None
    width_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldInfo:
    """A field of task data: key, name, stated area [m²], outlines as lists of rings (first the outside), and its guidance lines."""

    key: str
    name: str
    area_m2: float
    polygons: tuple[tuple[FloatArray, ...], ...] = ()
    lines: tuple[GuidanceLine, ...] = ()


def fields_of(data: TaskData, where: str) -> tuple[FieldInfo, ...]:
    """All fields with their outlines and guidance lines.

    Raises
    ------
    FileError
        If a point is no place on earth.
    """
    return tuple(_field(p, where) for p in data.root.all("PFD"))


def _field(part: Element, where: str) -> FieldInfo:
    where = f"{where}, {part.get('A')}"
    shapes = [p for p in part.all("PLN") if p.get("A") == "1"]
    polygons = tuple(
        tuple(_points(r, where) for r in sorted(p.all("LSG"), key=lambda r: r.get("A")) if r.get("A") in ("1", "2")) for p in shapes
    )
    lines = [_line(g, where) for group in part.all("GGP") for g in group.all("GPN")]
    lines += [_bare(r, where) for r in part.all("LSG") if r.get("A") == LINE_OF_GUIDANCE]
    area = part.get("D")
    return FieldInfo(key=part.get("A"), name=part.get("C"), area_m2=float(_count(area) or 0), polygons=polygons, lines=tuple(lines))


def _line(pattern: Element, where: str) -> GuidanceLine:
    ways = pattern.all("LSG")
    kind = KINDS.get(pattern.get("C"))
    if kind is None or not ways:
        raise FileError(
            f"the guidance pattern '{pattern.get('B')[:40]}' has no known type or no line", where=where, cure="Export it again."
        )
    heading, radius, width = pattern.get("G"), pattern.get("H"), ways[0].get("C")
    return GuidanceLine(
        name=pattern.get("B"),
        kind=kind,
        lonlat_deg=_points(ways[0], where),
        heading_deg=_heading(heading, where),
        radius_mm=_count(radius),
        width_m=_metres(width),
    )


def _count(text: str) -> int | None:
    """A whole number of at most twelve digits, None where it is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS else None


def _metres(millimetres: str) -> float | None:
    count = _count(millimetres)
    return None if count is None else count / 1e3


def _heading(text: str, where: str) -> float | None:
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = np.nan
    if not -360.0 <= value <= 360.0:
        raise FileError(f"the heading '{text[:20]}' is no angle", where=where, limit="0 to 360 degrees", cure="Export it again.")
    return value


def _bare(way: Element, where: str) -> GuidanceLine:
    """A guidance line of version 3, which has no patterns: two points are a straight line, more a curve."""
    points = _points(way, where)
    width = way.get("C")
    return GuidanceLine(
        name=way.get("B"),
        kind="AB" if points.shape[0] == 2 else "curve",
        lonlat_deg=points,
        width_m=_metres(width),
    )


def _points(way: Element, where: str) -> FloatArray:
    try:
        out = np.array([(float(p.get("D")), float(p.get("C"))) for p in way.all("PNT")], dtype=np.float64).reshape(-1, 2)
    except ValueError as error:
        raise FileError("a point has no number for north or east", where=where, cure="Export it again.") from error
    if not np.isfinite(out).all() or (np.abs(out) > (180.0, 90.0)).any():
        raise FileError("a point is no place on earth", where=where, limit="180 degrees east, 90 north", cure="Export it again.")
    return out


def add_field(root: Element, field: FieldInfo, *, version: int) -> None:
    """Add a field with its outlines and guidance lines, in the form of the version."""
    part = root.add("PFD", A=field.key, C=field.name, D=round(field.area_m2))
    for rings in field.polygons:
        shape = part.add("PLN", A=1, C=round(field.area_m2))
        for k, ring in enumerate(rings):
            _way(shape, ring, kind="1" if k == 0 else "2", points=["2"] * ring.shape[0])
    if version < 4:
        for line in field.lines:
            _way(
                part, line.lonlat_deg, kind=LINE_OF_GUIDANCE, points=["2"] * line.lonlat_deg.shape[0], name=line.name, width_m=line.width_m
            )
        return
    if field.lines:
        group = part.add("GGP", A="GGP-1", B=field.name)
        for k, line in enumerate(field.lines, start=1):
            heading = None if line.heading_deg is None else f"{line.heading_deg:.9g}"
            pattern = group.add("GPN", A=f"GPN-{k}", B=line.name, C=CODES[line.kind], G=heading, H=line.radius_mm)
            _way(pattern, line.lonlat_deg, kind=LINE_OF_GUIDANCE, points=_roles(line), width_m=line.width_m)


def _roles(line: GuidanceLine) -> list[str]:
    n = line.lonlat_deg.shape[0]
    if line.kind == "pivot":
        return [POINT["centre"], *[POINT["A"], POINT["B"]][: n - 1]]
    return [POINT["A"], *[POINT["middle"]] * (n - 2), POINT["B"]][:n]


def _way(parent: Element, lonlat: FloatArray, *, kind: str, points: list[str], name: str = "", width_m: float | None = None) -> None:
    way = parent.add("LSG", A=kind, B=name or None, C=None if width_m is None else round(width_m * 1e3))
    for (lon, lat), role in zip(lonlat.tolist(), points, strict=True):
        way.add("PNT", A=role, C=f"{lat:.9f}", D=f"{lon:.9f}")
