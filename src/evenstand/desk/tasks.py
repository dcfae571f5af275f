"""A job as task data for the machine: outline, guidance lines as planned, products, and a map of the rates asked for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.base.errors import InputError, MissingError
from evenstand.model import Boundary, Drive, Job, Product
from evenstand.model.place import FloatArray, Frame

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.formats.iso11783.grids import RateGrid
    from evenstand.formats.iso11783.guidance import FieldInfo, GuidanceLine
    from evenstand.formats.iso11783.writing import TaskSet

SET_MASS = 6
MOST_CELLS = 4_000_000
NEAR_M = 0.02
HEADLAND, PASS = 0, 1
CELL_M = (1.0, 100.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """Task data of a job, to be written. what: all of it; notes: what was left out and why, and what to check. [text]"""

    what: TaskSet
    notes: tuple[str, ...]


def job_task(
    book: Book,
    job: str,
    *,
    rates: Path | None = None,
    column: str | None = None,
    product: str | None = None,
    cell_m: float = 10.0,
    kind: int = 2,
    version: int = 4,
    now: str = "",
) -> Prepared:
    """What the machine is given for a job.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    job : str
        Its key. [-]
    rates : Path or None
        Areas with a rate each, for one product; without them the rates asked for hold everywhere. [-]
    column, product : str or None
        Which column of that file is the rate, with its unit in its name; for which product of the job. Needed where there are several. [-]
    cell_m : float
        Side of a cell of the map. [m]
    kind : int
        Type of the grid: 1 zone codes, 2 the rates themselves. [-]
    version : int
        Of the task data, 3 or 4. [-]
    now : str
        ISO time of the plan. [-]

    Raises
    ------
    MissingError
        If the job has no outline or asks for nothing.
    InputError
        If the rates cannot be understood, or there would be too many cells.
    """
    from evenstand.desk.planning import plan_job
    from evenstand.formats.iso11783.writing import TaskSet

    kept = next((j for j in book.all(Job) if j.key == job), None)
    outline = book.get(Boundary, kept.field_key) if kept is not None and kept.field_key else None
    if kept is None or outline is None:
        raise MissingError("the job has no outline", where=job, cure="Take one in: evenstand book field FOLDER FILE --job JOB.")
    if not kept.asks:
        raise MissingError("the job asks for nothing", where=job, cure="Say what is to be sown: evenstand book job.")
    if not CELL_M[0] <= cell_m <= CELL_M[1]:
        raise InputError(
            f"{cell_m:g} m is no side of a cell", where="--cell", limit=f"{CELL_M[0]:g} to {CELL_M[1]:g} m", cure="Such as 10 m."
        )
    notes: list[str] = []
    drive = plan_job(book, job, now=now).drive
    lines = lines_of(drive, outline.frame, notes)
    names = {p.key: p.name or p.key for p in book.all(Product)}
    products = tuple(names.get(a.product, a.product) for a in kept.asks)
    asked = [a.rate_kg_ha for a in kept.asks]
    grid = _grid(outline, asked, rates, _which(products, product, rates), column, cell_m, notes)
    field = _field(outline, lines)
    name = " ".join(t for t in (kept.crop, outline.name or outline.key) if t)
    return Prepared(
        what=TaskSet(name=name or job, products=products, field=field, grid=grid, grid_kind=kind, version=version), notes=tuple(notes)
    )


def _which(products: tuple[str, ...], product: str | None, rates: Path | None) -> int:
    """Which of the job's products the rates are for."""
    if product is None:
        if rates is not None and len(products) > 1:
            have = ", ".join(products)
            raise InputError("for which product the rates are is not said", where="--product", limit=have, cure="Name one of them.")
        return 0
    found = [k for k, name in enumerate(products) if name.lower() == product.lower()]
    if len(found) != 1:
        raise InputError(f"the job has no product '{product}'", where="--product", limit=", ".join(products), cure="Name one of them.")
    return found[0]


def lines_of(drive: Drive | None, frame: Frame, notes: list[str]) -> tuple[GuidanceLine, ...]:
    """The lines a drive was planned along: one straight line that all passes are parallel to, and each headland round as a curve.

    Parameters
    ----------
    drive : Drive or None
        As planned. [m]
    frame : Frame
        Of its metres. [-]
    notes : list of str
        What is said of it is added. [text]
    """
    from evenstand.formats.iso11783.guidance import GuidanceLine

    if drive is None:
        notes.append("No drive is planned: the job needs an outfit with a width. No guidance line is written.")
        return ()
    out: list[GuidanceLine] = []
    rounds = 0
    for number in range(1, drive.passes + 1):
        mine = drive.pass_id == number
        xy, code = drive.xy_m[mine], int(drive.kind[mine][0]) if mine.any() else -1
        if code == PASS and not any(line.kind == "AB" for line in out) and xy.shape[0] > 1:
            ends = _degrees(frame, xy[[0, -1]])
            across = np.degrees(np.arctan2((ends[1, 0] - ends[0, 0]) * np.cos(np.radians(ends[0, 1])), ends[1, 1] - ends[0, 1])) % 360.0
            out.append(GuidanceLine(name="passes", kind="AB", lonlat_deg=ends, heading_deg=float(across), width_m=drive.width_m))
        elif code == HEADLAND and xy.shape[0] > 2:
            rounds += 1
            out.append(
                GuidanceLine(name=f"headland {rounds}", kind="curve", lonlat_deg=_degrees(frame, _thinned(xy)), width_m=drive.width_m)
            )
    notes.append(f"Passes are {drive.width_m:.2f} m apart: the line carries that width. Compare it with what is typed for guidance.")
    return tuple(out)


def _thinned(xy: FloatArray) -> FloatArray:
    """Fewer points, none farther than two centimetres from the way."""
    from shapely import LineString

    return np.asarray(LineString(xy).simplify(NEAR_M).coords)


def _degrees(frame: Frame, xy: FloatArray) -> FloatArray:
    from evenstand.field.frames import from_frame

    return np.column_stack(from_frame(frame, xy))


def _field(outline: Boundary, lines: tuple[GuidanceLine, ...]) -> FieldInfo:
    from evenstand.formats.iso11783.guidance import FieldInfo

    polygons = tuple(tuple(_degrees(outline.frame, np.asarray(r)) for r in (p.outside, *p.holes)) for p in outline.polygons)
    return FieldInfo(key="PFD-1", name=outline.name or outline.key, area_m2=outline.geodesic_m2, polygons=polygons, lines=lines)


def _grid(
    outline: Boundary, asked: list[float], rates: Path | None, which: int, column: str | None, cell_m: float, notes: list[str]
) -> RateGrid:
    """A map of the rates asked for, cells within the outline or touching it; outside of it none."""
    import shapely

    from evenstand.formats.iso11783.grids import RateGrid, RateLayer

    rings = [[_degrees(outline.frame, np.asarray(r)) for r in (p.outside, *p.holes)] for p in outline.polygons]
    shape = shapely.union_all([shapely.Polygon(r[0], r[1:]) for r in rings])
    west, south, east, north = shape.bounds
    metre = _degrees(outline.frame, np.array([[0.0, 0.0], [cell_m, 0.0], [0.0, cell_m]]))
    step_east, step_north = float(metre[1, 0] - metre[0, 0]), float(metre[2, 1] - metre[0, 1])
    columns, rows = int(np.ceil((east - west) / step_east)), int(np.ceil((north - south) / step_north))
    if rows * columns * len(asked) > MOST_CELLS:
        raise InputError(f"{rows} x {columns} cells", where="--cell", limit=f"at most {MOST_CELLS // len(asked):,}", cure="Larger cells.")
    x: FloatArray = west + (np.arange(columns, dtype=np.float64) + 0.5) * step_east
    y: FloatArray = south + (np.arange(rows, dtype=np.float64) + 0.5) * step_north
    near = shape.buffer(max(step_east, step_north) * 0.71)
    shapely.prepare(near)
    inside = np.asarray(shapely.contains_xy(near, *np.meshgrid(x, y)), dtype=np.bool_)
    out = np.where(inside[:, :, None], np.array(asked)[None, None, :], 0.0)
    if rates is not None:
        out[:, :, which] = _mapped(rates, column, x, y, inside, asked[which], notes)
    layers = tuple(RateLayer(ddi=SET_MASS, unit="kg/ha", product=f"PDT-{k + 1}") for k in range(len(asked)))
    return RateGrid(
        south_deg=south, west_deg=west, cell_north_deg=step_north, cell_east_deg=step_east, rates=out, layers=layers,
        outside=tuple(0.0 for _ in asked),
    )  # fmt: skip


def _mapped(path: Path, column: str | None, x: FloatArray, y: FloatArray, inside: Any, asked: float, notes: list[str]) -> FloatArray:
    """Rates of the cells by areas of a file; the rate asked for where no area lies. [kg/ha]"""
    import shapely

    from evenstand.field.systems import system_of, to_degrees
    from evenstand.formats.vector import layer_names, read_layer

    names = layer_names(path)
    layer = read_layer(path, layer="rates" if "rates" in names else None)
    name, factor = _rate_column(layer.attributes, column, path.name)
    system = system_of(layer.crs, None, shapely.get_coordinates(layer.geometries), where=path.name, is_geojson=layer.is_geojson)
    grid = np.meshgrid(x, y)
    out, told = np.where(inside, asked, 0.0), np.zeros(inside.shape, dtype=np.bool_)
    for geometry, value in zip(layer.geometries, layer.attributes[name], strict=True):
        rate = _rate(value, name, path.name)
        if geometry is None or rate is None:
            continue
        shape = shapely.transform(geometry, lambda c: to_degrees(system, c, path.name))
        shapely.prepare(shape)
        hit = shapely.contains_xy(shape, *grid) & inside & ~told
        out[hit], told = rate * factor, told | hit
    missed = int((inside & ~told).sum())
    if not told.any():
        raise InputError("no area of it lies in the job's field", where=path.name, cure="Give the map of this field.")
    if missed:
        notes.append(
            f"{missed} of {int(inside.sum())} cells lie in no area of {path.name}: the rate asked for, {asked:g} kg/ha, holds there."
        )
    return np.asarray(out, dtype=np.float64)


def _rate_column(attributes: dict[str, tuple[Any, ...]], column: str | None, where: str) -> tuple[str, float]:
    """The column of rates and how many kilograms per hectare one of its numbers is."""
    from evenstand.formats.columns import factor_of, understand_name, valid_unit

    numeric = [k for k, v in attributes.items() if any(isinstance(x, (int, float)) and not isinstance(x, bool) for x in v)]
    rated = [k for k in numeric if valid_unit("asked", understand_name(k).unit or "x")]
    have = ", ".join(attributes) or "none"
    if column is not None and column not in attributes:
        raise InputError(f"there is no column '{column}'", where=f"{where}, --rate-column", limit=have, cure="Name one of them.")
    chosen = column or (rated[0] if len(rated) == 1 else None)
    if chosen is None:
        cure = "Name it, with the unit in its name, such as 'rate (kg/ha)'."
        raise InputError("which column is the rate is not clear", where=f"{where}, --rate-column", limit=have, cure=cure)
    unit = understand_name(chosen).unit
    if not unit or not valid_unit("asked", unit):
        cure = "Write it in the column's name, such as 'rate (kg/ha)' or 'rate (lb/ac)'."
        raise InputError(f"the unit of '{chosen}' is not said", where=f"{where}, --rate-column", cure=cure)
    return chosen, factor_of("asked", unit)


def _rate(value: Any, name: str, where: str) -> float | None:
    if value is None or (isinstance(value, float) and not np.isfinite(value)):
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float, np.number)) or value < 0:
        raise InputError(f"'{str(value)[:20]}' is no rate", where=f"{where}, column {name}", limit="0 or more", cure="Correct the map.")
    return float(value)
