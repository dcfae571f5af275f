"""What the ground received where passes lie over each other, and across the tool in turns."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from evenstand.machine.across import outer_dose, turn_dose
from evenstand.model.outfit import Outfit
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import Trail
from evenstand.trail.cells import CellMap, DoseArray
from evenstand.trail.compiled import jit
from evenstand.trail.passes import pass_of_row, passes_of
from evenstand.trail.stepping import Steps, runs_of
from evenstand.trail.strips import section_edges, tool_path

CLASSES = (0.0, 0.5, 0.9, 1.1, 1.5, 1.9, 2.1, 3.0, math.inf)
SQUARE_M = 25.0
MOST_SPOTS = 20
LEAST_SPOT_M2 = 10.0
EVEN = 0.10
LEAST_BEND_M = 5.0
LEAST_TURN_M = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseClass:
    """Ground by dose, as a ratio of the dose most of the ground had in one pass: from low up to, not with, high [-]; once_m2: sown once;
    again_m2: sown two times or more [m²]. high None: no upper end."""

    low: float
    high: float | None
    once_m2: float
    again_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A square of 25 m with ground sown again. x_m, y_m: middle of that ground in the trail's frame [m]; lon_deg, lat_deg: the same on
    WGS 84 [deg]; area_m2: of it [m²]; times: most often; first_pass: that sowed most of it first, None between passes; dose_kg_ha: mean
    on it, by bin, as the controller reported [kg/ha]."""

    x_m: float
    y_m: float
    lon_deg: float
    lat_deg: float
    area_m2: float
    times: int
    first_pass: int | None
    dose_kg_ha: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnDose:
    """A stretch sown in a bend. pass_number; first_row, last_row of the trail; length_m along the tool's middle [m]; radius_m:
    tightest [m]; inner, outer: dose over the dose asked at the ends of the tool there; inner None: that end stood still or ran
    backwards [-]; area_m2: ground of the stretch [m²]."""

    pass_number: int | None
    first_row: int
    last_row: int
    length_m: float
    radius_m: float
    inner: float | None
    outer: float
    area_m2: float


def dose_classes(cells: CellMap, dose_kg_ha: DoseArray, *, usual_kg_ha: float | None) -> tuple[DoseClass, ...]:
    """Ground by dose, apart for ground sown once and ground sown again.

    Parameters
    ----------
    cells : CellMap
        How often each cell was sown. [-]
    dose_kg_ha : array (rows, columns)
        What each cell received in all. [kg/ha]
    usual_kg_ha : float or None
        The dose of one pass; None: nothing was reported. [kg/ha]

    Returns
    -------
    tuple of DoseClass
        Empty where no usual dose is known. [m²]
    """
    if not usual_kg_ha:
        return ()
    edges = np.array(CLASSES[1:-1]) * usual_kg_ha
    once, again = _classes(cells.count, dose_kg_ha, edges)
    return tuple(
        DoseClass(low=a, high=None if math.isinf(b) else b, once_m2=float(m) * cells.cell_m2, again_m2=float(n) * cells.cell_m2)
        for a, b, m, n in zip(CLASSES[:-1], CLASSES[1:], once, again, strict=True)
    )


@jit
def _classes(count, dose, edges):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Cells sown once and again in each class."""
    once, again = np.zeros(edges.size + 1, np.int64), np.zeros(edges.size + 1, np.int64)
    for r in range(count.shape[0]):
        for c in range(count.shape[1]):
            if count[r, c] == 0:
                continue
            k = 0
            while k < edges.size and dose[r, c] >= edges[k]:
                k += 1
            if count[r, c] == 1:
                once[k] += 1
            else:
                again[k] += 1
    return once, again


def spots_of(cells: CellMap, doses_kg_ha: Mapping[str, DoseArray], trail: Trail, of_pass: IntArray) -> tuple[Spot, ...]:
    """The squares in which most ground was sown again, the largest first.

    Parameters
    ----------
    cells : CellMap
        How often and by which row. [-]
    doses_kg_ha : mapping
        By bin letter what each cell received, shape (rows, columns). [kg/ha]
    trail : Trail
        For its frame. [-]
    of_pass : array (n,)
        Pass of each row, 0 between passes. [-]

    Returns
    -------
    tuple of Spot
        At most 20, each with 10 m² or more sown again. [m²]
    """
    from pyproj import Transformer

    block = max(1, round(SQUARE_M / cells.cell_m))
    down, over = (-(-n // block) for n in cells.count.shape)
    squares = _squares(cells.count, block, down, over)
    worst = np.argsort(squares.ravel())[::-1][:MOST_SPOTS]
    back = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True)
    out = []
    for q in worst.tolist():
        r0, c0 = (q // over) * block, (q % over) * block
        if squares.ravel()[q] * cells.cell_m2 < LEAST_SPOT_M2:
            break
        some = np.argwhere(cells.count[r0 : r0 + block, c0 : c0 + block] > 1) + np.array([r0, c0])
        x, y = cells.middle_m(some[:, 0], some[:, 1]).mean(axis=0)
        lon, lat = back.transform(x, y)
        first = of_pass[cells.first[some[:, 0], some[:, 1]]]
        number = int(np.bincount(first).argmax())
        out.append(
            Spot(
                x_m=float(x), y_m=float(y), lon_deg=float(lon), lat_deg=float(lat), area_m2=some.shape[0] * cells.cell_m2,
                times=int(cells.count[some[:, 0], some[:, 1]].max()), first_pass=number or None,
                dose_kg_ha={b: float(d[some[:, 0], some[:, 1]].mean(dtype=np.float64)) for b, d in doses_kg_ha.items()},
            )
        )  # fmt: skip
    return tuple(out)


@jit
def _squares(count, block, down, over):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Cells sown again in each square."""
    out = np.zeros((down, over), np.int64)
    for r in range(count.shape[0]):
        for c in range(count.shape[1]):
            if count[r, c] > 1:
                out[r // block, c // block] += 1
    return out


def turns_of(trail: Trail, outfit: Outfit, steps: Steps, *, width_m: float | None = None) -> tuple[TurnDose, ...]:
    """Bends sown with the openers down in which the ends of the tool get 10 % more or less than asked.

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    outfit : Outfit
        Width; where the antenna sits and how the tool is drawn. [-]
    steps : Steps
        Its steps. [-]
    width_m : float or None
        Width to use in place of the outfit's. [m]

    Returns
    -------
    tuple of TurnDose
        In the order driven. Every opener gets the same product, so the longer its way the thinner. [m, -]

    Raises
    ------
    MissingError
        If no width is known.
    """
    edges, _ = section_edges(trail, outfit, width_m=width_m)
    width = float(edges[:, 1].max() - edges[:, 0].min())
    path = tool_path(trail, outfit, steps, width)
    if path.row.size < 3:
        return ()
    sown = path.joined & steps.sowing[path.row[:-1]]
    length = np.hypot(*np.diff(path.xy, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(length)])
    bend = _bend(path.turn, along, sown, max(LEAST_BEND_M, width / 2))
    passes = passes_of(trail, steps)
    limit = EVEN / ((1 + EVEN) * width / 2)  # the bend at which the inner end gets 10 % more
    out = []
    for a, b in zip(*(v.tolist() for v in runs_of(sown & (np.abs(bend) >= limit))), strict=True):
        if along[b] - along[a] < LEAST_TURN_M:
            continue
        radius = float(1.0 / np.abs(bend[a:b]).max())
        inner, outer = turn_dose(radius, width) if radius > width / 2 else (None, outer_dose(radius, width))
        first, last = int(path.row[a]), int(path.row[b])
        out.append(
            TurnDose(
                pass_number=pass_of_row(passes, (first + last) // 2), first_row=first, last_row=last, length_m=float(along[b] - along[a]),
                radius_m=radius, inner=inner, outer=outer, area_m2=float(length[a:b].sum()) * width,
            )
        )  # fmt: skip
    return tuple(out)


def _bend(turn: FloatArray, along: FloatArray, sown: np.ndarray, over_m: float) -> FloatArray:
    """Turning per metre over so many metres around the middle of each step, within its sown stretch. [rad/m]"""
    out = np.zeros(sown.size)
    for a, b in zip(*(v.tolist() for v in runs_of(sown)), strict=True):
        s, angle = along[a : b + 1], turn[a : b + 1]
        middle = 0.5 * (s[1:] + s[:-1])
        low, high = np.maximum(middle - over_m / 2, s[0]), np.minimum(middle + over_m / 2, s[-1])
        wide = high - low
        enough = wide > 0.5 * over_m
        step = np.interp(high, s, angle) - np.interp(low, s, angle)
        out[a:b] = np.where(enough, step / np.where(enough, wide, 1.0), 0.0)
    return out
