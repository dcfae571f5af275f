"""Ground and product by place and time: days, zones, parts of the field, bins, products, passes; and who sowed a place first.

All figures stand on one map of cells, each cell belonging to the row of the trail that sowed it first. So the parts of a division (all
days, all passes, all zones with what lies elsewhere) add up to the whole, cell for cell. Bins and products lie over one another: their
kilograms add up, their ground does not. Kilograms are rates as the controller reported them, on the ground driven over.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenstand.base.errors import MissingError, RangeError
from evenstand.model.outfit import Outfit
from evenstand.model.place import Boundary, FloatArray, IntArray, Polygon
from evenstand.model.trail import BoolArray, Trail
from evenstand.trail.bounds import usual_cell
from evenstand.trail.cells import CellMap, CellTotals, DoseArray, cells_of
from evenstand.trail.covering import boundary_rings
from evenstand.trail.days import days_of
from evenstand.trail.doses import DoseClass, Spot, dose_classes, spots_of
from evenstand.trail.labels import ELSEWHERE, OUTSIDE, LabelArray, LabelSums, Part, by_label, by_row, labels_of
from evenstand.trail.passes import PassFacts, passes_of
from evenstand.trail.stepping import steps_of
from evenstand.trail.strips import Strips, strips_of

MAP_CELLS = 25_000_000
BETWEEN = "between passes"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sowing:
    """Who sowed a place first and when. row of the trail; t_ms UTC; pass_number: None between passes; times: how often in all."""

    row: int
    t_ms: int
    pass_number: int | None
    times: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Ground and product of a trail by part. days, zones, parts, passes: divisions of the whole, each adding up to it; bins, products:
    kilograms add up; repeats: dose on ground sown once and again, by bin; spots: squares where most was sown again; map: the cells."""

    whole: Part
    days: tuple[Part, ...]
    zones: tuple[Part, ...]
    parts: tuple[Part, ...]
    passes: tuple[Part, ...]
    bins: tuple[Part, ...]
    products: tuple[Part, ...]
    repeats: dict[str, tuple[DoseClass, ...]]
    spots: tuple[Spot, ...]
    map: CellMap | None
    notes: tuple[str, ...] = ()


def places_of(
    trail: Trail,
    outfit: Outfit,
    boundary: Boundary | None = None,
    *,
    zones: Sequence[Boundary] = (),
    day_zone: str = "UTC",
    products: Mapping[str, str] | None = None,
    width_m: float | None = None,
    cell_m: float | None = None,
) -> Places:
    """Ground and product of a trail by day, zone, part of the field, pass, bin and product.

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    outfit : Outfit
        Width, sections, antenna. [-]
    boundary : Boundary or None
        The field; its outlines are the parts. [-]
    zones : sequence of Boundary
        Zones by name; where two overlap the earlier one has the ground. [-]
    day_zone : str
        Whose midnight ends a day: an offset such as "-06:00", "UTC", or a zone's name. [-]
    products : mapping or None
        Product of each bin letter. [-]
    width_m : float or None
        Width to use in place of the outfit's. [m]
    cell_m : float or None
        Side of a cell; None: 0.25 m, larger for a large field. [m]

    Returns
    -------
    Places
        Areas [m²] and kilograms [kg].

    Raises
    ------
    MissingError
        If no width is known.
    RangeError
        If the day's zone is none.
    GeometryError
        If a boundary is of another place.
    """
    steps = steps_of(trail)
    strips = strips_of(trail, outfit, steps, width_m=width_m)
    rings = [np.concatenate(boundary_rings(b, trail.frame)) for b in (*([boundary] if boundary else []), *zones)]
    reach = np.concatenate(rings) if rings else None
    side = cell_m if cell_m is not None else usual_cell(strips, most=MAP_CELLS, reach_m=reach)
    cells = cells_of(strips, cell_m=side, keep=True, reach_m=reach).map
    day_names, day = days_of(trail, day_zone)
    if cells is None:
        return _nothing(boundary, zones)
    rates, notes = _rates(trail, steps.sowing)
    laid = np.zeros(trail.n, dtype=np.int64)
    laid[: cells.laid.size] = cells.laid
    new, again = by_row(cells.first, cells.count, trail.n)
    fields, of_part = labels_of(cells, trail, _outlines(boundary))
    zone_names, of_zone = labels_of(cells, trail, [(z.name or z.key, z) for z in zones])
    passes = passes_of(trail, steps)
    of_pass = _pass_of_rows(passes, trail.n)
    rows = _Rows(laid, new, again, {b: np.nan_to_num(r) for b, r in rates.items()}, cells.cell_m2)
    inside = of_part if boundary is not None else None
    by_zone = LabelSums(cells, of_zone, inside, len(zone_names))
    by_part = LabelSums(cells, of_part, inside, len(fields))
    repeats: dict[str, tuple[DoseClass, ...]] = {}
    bins: list[Part] = []
    heaps: dict[str, DoseArray] = {}
    for letter, rate in rates.items():
        part, doses = _bin(letter, rate, strips, cells, inside)
        by_zone.weigh(letter, doses)
        by_part.weigh(letter, doses)
        bins.append(part)
        repeats[letter] = dose_classes(cells, doses, usual_kg_ha=_usual(rate, laid))
        heaps[letter] = doses
    whole = rows.part("whole", "whole", np.ones(trail.n, dtype=np.bool_))
    skipped = None if boundary is None else float(by_part.skipped[1:].sum()) * cells.cell_m2
    return Places(
        whole=replace(whole, skipped_m2=skipped),
        days=tuple(rows.part("day", name, day == i) for i, name in enumerate(day_names) if laid[day == i].any()),
        zones=by_zone.parts("zone", (ELSEWHERE, *zone_names)) if zones else (),
        parts=by_part.parts("part", (OUTSIDE, *fields)) if boundary is not None else (),
        passes=_passes(rows, passes, of_pass),
        bins=tuple(bins),
        products=_products(rates, dict(products or {}), strips, cells, {b.name: b for b in bins}, inside),
        repeats=repeats,
        spots=spots_of(cells, heaps, trail, of_pass),
        map=cells,
        notes=notes,
    )


def upright_cells(trail: Trail, outfit: Outfit, *, cell_m: float) -> tuple[CellMap, dict[str, DoseArray]]:
    """Cells with their rows along x, and what each received of every bin, for a map file.

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    outfit : Outfit
        Width, sections, antenna. [-]
    cell_m : float
        Side of a cell. [m]

    Returns
    -------
    (CellMap, dict)
        By bin letter the dose as the controller reported. [kg/ha]

    Raises
    ------
    MissingError
        If no width is known, or nothing was sown.
    RangeError
        If the map would hold more than 25 million cells.
    """
    steps = steps_of(trail)
    strips = strips_of(trail, outfit, steps)
    least = usual_cell(strips, most=MAP_CELLS)
    if cell_m < least:
        raise RangeError(f"{cell_m:g} m makes too many cells", where="cell_m", limit=f"{least:g} m or more here", cure="Take that.")
    cells = cells_of(strips, cell_m=cell_m, keep=True, upright=True).map
    if cells is None:
        raise MissingError("nothing was sown in this log", where="trail", cure="Look at its lift and section columns.")
    rates, _ = _rates(trail, steps.sowing)
    return cells, {letter: _bin(letter, rate, strips, cells, None)[1] for letter, rate in rates.items()}


def who_sowed(places: Places, trail: Trail, xy_m: FloatArray) -> list[Sowing | None]:
    """Who sowed each place first, and when; None where nobody did.

    Parameters
    ----------
    places : Places
        Of this trail. [-]
    trail : Trail
        The trail. [-]
    xy_m : array (k, 2)
        Places in the trail's frame. [m]
    """
    if places.map is None:
        return [None for _ in np.asarray(xy_m).reshape(-1, 2)]
    of_pass = _pass_of_rows(passes_of(trail, steps_of(trail)), trail.n)
    out: list[Sowing | None] = []
    for r, c in zip(*(v.tolist() for v in places.map.cell_of(xy_m)), strict=True):
        row = int(places.map.first[r, c]) if r >= 0 else -1
        if row < 0:
            out.append(None)
            continue
        number = int(of_pass[row])
        out.append(Sowing(row=row, t_ms=int(trail.t_ms[row]), pass_number=number or None, times=int(places.map.count[r, c])))
    return out


# by row of the trail ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Rows:
    """Cells laid by each row, first sown by it, and of those sown again; rates by bin [kg/ha]; area of a cell [m²]."""

    laid: IntArray
    new: IntArray
    again: IntArray
    rates: dict[str, FloatArray]
    cell_m2: float

    def part(self, kind: str, name: str, rows: BoolArray) -> Part:
        laid, new, again = (int(v[rows].sum()) for v in (self.laid, self.new, self.again))
        mass = {b: float((r[rows] * self.laid[rows]).sum()) * self.cell_m2 / 1e4 for b, r in self.rates.items()}
        return Part(
            kind=kind, name=name, sown_m2=laid * self.cell_m2, covered_m2=new * self.cell_m2, twice_m2=again * self.cell_m2,
            repeat_m2=(laid - new) * self.cell_m2, mass_kg=mass,
        )  # fmt: skip


def _rates(trail: Trail, sowing: BoolArray) -> tuple[dict[str, FloatArray], tuple[str, ...]]:
    """Reported rate of each bin in each row, and what to know of it. [kg/ha]"""
    if trail.echoed_kg_ha is None:
        return {}, ("This log reports no rates: no kilograms and no dose can be given.",)
    notes = ["Kilograms and doses are as the controller reported: an echo of the display, on the ground driven over."]
    work = np.flatnonzero(sowing)
    for i, letter in enumerate(trail.bins):
        empty = float(np.isnan(trail.echoed_kg_ha[work, i]).mean()) if work.size else 0.0
        if empty > 0.001:
            notes.append(f"Bin {letter}: no rate is reported in {100 * empty:.1f} % of the rows at work; they count as nothing.")
    return {b: trail.echoed_kg_ha[:, i] for i, b in enumerate(trail.bins)}, tuple(notes)


def _usual(rate: FloatArray, laid: IntArray) -> float | None:
    """The rate most of the ground was sown with: the median over the ground. [kg/ha]"""
    good = np.flatnonzero(np.isfinite(rate) & (rate > 0) & (laid > 0))
    if good.size == 0:
        return None
    order = good[np.argsort(rate[good])]
    total = np.cumsum(laid[order])
    return float(rate[order[int(np.searchsorted(total, total[-1] / 2))]])


def _pass_of_rows(passes: tuple[PassFacts, ...], n: int) -> IntArray:
    """Number of the pass each row begins a step of, 0 between passes."""
    out = np.zeros(n, dtype=np.int64)
    for p in passes:
        out[p.first_row : p.last_row] = p.number
    return out


def _passes(rows: _Rows, passes: tuple[PassFacts, ...], of_pass: IntArray) -> tuple[Part, ...]:
    parts = [rows.part("pass", str(p.number), of_pass == p.number) for p in passes]
    left = rows.part("pass", BETWEEN, of_pass == 0)
    return (*parts, left) if left.sown_m2 > 0 else tuple(parts)


# by bin -----------------------------------------------------------------------------------------------------------


def strips_at(strips: Strips, rows: BoolArray) -> Strips:
    """The steps of strips that begin at certain rows of the trail, each a chain of its own.

    Parameters
    ----------
    strips : Strips
        All of them. [m]
    rows : array (n,)
        True for the rows wanted. [-]
    """
    inner = np.ones(strips.left.shape[0], dtype=np.bool_)
    inner[strips.start[1:] - 1] = False
    i = np.flatnonzero(inner & rows[strips.row])
    left, right = (np.stack([side[i], side[i + 1]], axis=1).reshape(-1, 2) for side in (strips.left, strips.right))
    quad = (left[1::2] - right[::2]), (left[::2] - right[1::2])
    area = 0.5 * (quad[0][:, 0] * quad[1][:, 1] - quad[0][:, 1] * quad[1][:, 0])
    return Strips(
        left=left, right=right, start=np.arange(0, 2 * i.size + 1, 2, dtype=np.int64), area_m2=area, row=np.repeat(strips.row[i], 2),
        switching_m2=0.0, steps=int(i.size), notes=strips.notes,
    )  # fmt: skip


def _ground(kind: str, name: str, found: CellTotals, inside: LabelArray | None, mass_kg: dict[str, float]) -> Part:
    """Ground of a bin or product; inside a field also what it left out."""
    skipped = None
    if inside is not None:
        empty = np.zeros(inside.shape, np.uint8)
        skipped = float(by_label(inside, inside, True, empty if found.map is None else found.map.count, int(inside.max()) + 2)[3].sum())
        skipped *= found.cell_m**2
    return Part(
        kind=kind, name=name, sown_m2=found.covered_m2 + found.repeat_m2, covered_m2=found.covered_m2, twice_m2=found.twice_m2,
        repeat_m2=found.repeat_m2, skipped_m2=skipped, mass_kg=mass_kg,
    )  # fmt: skip


def _bin(letter: str, rate: FloatArray, strips: Strips, cells: CellMap, inside: LabelArray | None) -> tuple[Part, DoseArray]:
    """Ground of one bin and its dose in every cell. [kg/ha]"""
    some = strips_at(strips, np.nan_to_num(rate) > 0)
    found = cells_of(some, like=cells, keep=True, rate_kg_ha=rate)
    part = _ground("bin", letter, found, inside, {letter: float(found.mass_kg or 0.0)})
    if found.map is None or found.map.dose_kg_ha is None:
        return part, np.zeros(cells.count.shape, np.float32)
    return part, found.map.dose_kg_ha


def _products(
    rates: dict[str, FloatArray],
    products: dict[str, str],
    strips: Strips,
    cells: CellMap,
    bins: dict[str, Part],
    inside: LabelArray | None,
) -> tuple[Part, ...]:
    """Ground on which any bin of a product gave something, and what its bins gave together."""
    out = []
    for product in dict.fromkeys(products[b] for b in rates if b in products):
        mine = [b for b in rates if products.get(b) == product]
        rows = np.logical_or.reduce([np.nan_to_num(rates[b]) > 0 for b in mine])
        found = cells_of(strips_at(strips, rows), like=cells, keep=inside is not None)
        out.append(_ground("product", product, found, inside, {b: bins[b].mass_kg[b] for b in mine}))
    return tuple(out)


# by place ---------------------------------------------------------------------------------------------------------


def _outlines(boundary: Boundary | None) -> list[tuple[str, Boundary]]:
    """The outlines of a field, each as a boundary of its own."""
    if boundary is None:
        return []
    if len(boundary.polygons) == 1:
        return [(boundary.name or boundary.key, boundary)]

    def alone(p: Polygon) -> Boundary:
        return replace(boundary, polygons=(p,))

    return [(f"{boundary.name or boundary.key} {i + 1}", alone(p)) for i, p in enumerate(boundary.polygons)]


def _nothing(boundary: Boundary | None, zones: Sequence[Boundary]) -> Places:
    """A trail with nothing sown."""
    empty = Part(kind="whole", name="whole", sown_m2=0.0, covered_m2=0.0, twice_m2=0.0, repeat_m2=0.0)
    return Places(
        whole=empty, days=(), zones=(), parts=(), passes=(), bins=(), products=(), repeats={}, spots=(), map=None,
        notes=("Nothing was sown in this log.",),
    )  # fmt: skip
