"""Ground of each pass as a shape, and the way of each run that was without flow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from evenstand.model.outfit import Outfit
from evenstand.model.place import Boundary, FloatArray, Frame
from evenstand.model.trail import Trail
from evenstand.trail.covering import GRID_M, boundary_rings, ground_of, strip_shapes
from evenstand.trail.passes import PassFacts
from evenstand.trail.runs import RunFault
from evenstand.trail.stepping import Steps, runs_of, steps_of
from evenstand.trail.strips import Strips, section_edges, strips_of, tool_path

MOST_STEPS = 200_000

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True, kw_only=True)
class PassGround:
    """Ground of one pass, 0 for what was sown between passes: its shape in the trail's frame and its area [m²]."""

    number: int
    shape: BaseGeometry
    area_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DeadLine:
    """One stretch sown while a run or head was without flow. run: None for a whole head; xy_m (k,2) in the trail's frame [m]; start_ms,
    end_ms UTC."""

    run: int | None
    head: str
    xy_m: FloatArray
    start_ms: int
    end_ms: int


def pass_grounds(strips: Strips, passes: tuple[PassFacts, ...]) -> tuple[PassGround, ...]:
    """Ground of every pass, what lies over itself counted once.

    Parameters
    ----------
    strips : Strips
        Of the trail. [m]
    passes : tuple of PassFacts
        Its passes. [-]

    Returns
    -------
    tuple of PassGround
        In the order driven; ground between passes last. [m²]
    """
    import shapely

    from evenstand.trail.places import strips_at

    rows = int(strips.row.max()) + 1 if strips.row.size else 0
    left = np.ones(rows, dtype=np.bool_)
    out = []
    for p in passes:
        mine = np.zeros(rows, dtype=np.bool_)
        mine[p.first_row : p.last_row] = True
        left[p.first_row : p.last_row] = False
        out.append((p.number, mine))
    found = []
    for number, mine in (*out, (0, left)):
        some = strips_at(strips, mine) if rows else strips
        if some.steps:
            shape = shapely.union_all(strip_shapes(some), grid_size=GRID_M)
            found.append(PassGround(number=number, shape=shape, area_m2=float(shape.area)))
    return tuple(found)


def dead_lines(trail: Trail, outfit: Outfit, steps: Steps, faults: tuple[RunFault, ...]) -> tuple[DeadLine, ...]:
    """Where runs and heads without flow went: along their own way across the tool where that is known, else along the tool's middle.

    Parameters
    ----------
    trail : Trail
        The trail. [-]
    outfit : Outfit
        Its runs with their places across the tool, where known. [m]
    steps : Steps
        Steps of the trail. [-]
    faults : tuple of RunFault
        What was without flow. [-]
    """
    if not faults:
        return ()
    edges, _ = section_edges(trail, outfit)
    path = tool_path(trail, outfit, steps, float(edges[:, 1].max() - edges[:, 0].min()))
    across = {r.number: r.offset_m for r in outfit.runs}
    out = []
    work = np.concatenate([path.joined & steps.sowing[path.row[:-1]], [False]])
    t = trail.t_ms[path.row]
    for fault in faults:
        until = fault.until_ms if fault.until_ms is not None else int(trail.t_ms[-1])
        mine = [across[r] for r in ((fault.run,) if fault.run is not None else fault.runs) if r in across]
        offset = float(np.mean(mine)) if mine else 0.0
        for a, z in zip(*(v.tolist() for v in runs_of(work & (t >= fault.first_missed_ms) & (t < until))), strict=True):
            i = slice(a, z + 1)  # the step after the last node is sown too
            way = path.xy[i] + offset * path.right[i]
            out.append(DeadLine(run=fault.run, head=fault.head, xy_m=way, start_ms=int(t[a]), end_ms=int(t[min(z, t.size - 1)])))
    return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Patches:
    """Ground wide enough to walk to, as polygons in the trail's frame: skipped inside the field, twice sown again."""

    skipped: tuple[BaseGeometry, ...]
    twice: tuple[BaseGeometry, ...]


def patches_of(
    grounds: tuple[PassGround, ...], rings: Sequence[FloatArray] = (), *, least_m: float = 1.5, least_m2: float = 20.0
) -> Patches:
    """Where ground was skipped or sown again, without slivers along the passes.

    Parameters
    ----------
    grounds : tuple of PassGround
        Ground of each pass. [m]
    rings : sequence of array (k, 2)
        The field's rings, ground on the left; empty: nothing is known to be skipped. [m]
    least_m : float
        Narrower strips are left out. [m]
    least_m2 : float
        Smaller patches are left out. [m²]

    Returns
    -------
    Patches
        The largest first. [m²]
    """
    import shapely

    shapes = np.array([g.shape for g in grounds], dtype=object)
    tree = shapely.STRtree(shapes)
    one, other = tree.query(shapes, predicate="intersects")
    common = shapely.intersection(shapes[one[one < other]], shapes[other[one < other]], grid_size=GRID_M)
    twice = shapely.union_all(common[shapely.area(common) > least_m2], grid_size=GRID_M)
    skipped: BaseGeometry = shapely.Polygon()
    if len(rings):
        covered = shapely.union_all(shapes, grid_size=GRID_M)
        skipped = shapely.difference(ground_of(list(rings)), covered, grid_size=GRID_M)
    return Patches(skipped=_wide(skipped, least_m, least_m2), twice=_wide(twice, least_m, least_m2))


def _wide(shape: BaseGeometry, least_m: float, least_m2: float) -> tuple[BaseGeometry, ...]:
    """Parts of a shape that are wide and large enough, the largest first."""
    import shapely

    half = least_m / 2
    opened = shapely.buffer(shapely.buffer(shape, -half, join_style="mitre"), half, join_style="mitre")
    parts = [p for p in shapely.get_parts(opened) if p.geom_type == "Polygon" and p.area >= least_m2]
    return tuple(sorted(parts, key=lambda p: -p.area))


@dataclass(frozen=True, slots=True, kw_only=True)
class MapFacts:
    """What a map of a trail shows. rings: the field's outline in the trail's frame [m]; patches: ground skipped and sown again; dead:
    stretches sown without flow; whole: False where patches were left out of a very long log."""

    rings: tuple[FloatArray, ...]
    patches: Patches
    dead: tuple[DeadLine, ...]
    whole: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Located:
    """One patch as a line of a table. kind: "skipped" or "twice"; lon_deg, lat_deg: a place inside it on WGS 84 [deg]; area_m2 [m²]."""

    kind: str
    lon_deg: float
    lat_deg: float
    area_m2: float


def map_facts(
    trail: Trail, outfit: Outfit, boundary: Boundary | None, passes: tuple[PassFacts, ...], faults: tuple[RunFault, ...]
) -> MapFacts:
    """What there is to find on a map of a trail.

    Parameters
    ----------
    trail : Trail
        The trail. [-]
    outfit : Outfit
        Its width, sections and runs. [m]
    boundary : Boundary or None
        The field. [m]
    passes : tuple of PassFacts
        Of the trail. [-]
    faults : tuple of RunFault
        What was without flow. [-]
    """
    steps = steps_of(trail)
    rings = tuple(boundary_rings(boundary, trail.frame)) if boundary is not None else ()
    strips = strips_of(trail, outfit, steps)
    whole = strips.steps <= MOST_STEPS
    grounds = pass_grounds(strips, passes) if whole else ()
    patches = patches_of(grounds, rings) if grounds else Patches(skipped=(), twice=())
    return MapFacts(rings=rings, patches=patches, dead=dead_lines(trail, outfit, steps, faults), whole=whole)


def located(patches: Patches, frame: Frame, *, most: int = 20) -> tuple[Located, ...]:
    """The largest patches with their places, as a table beside the map.

    Parameters
    ----------
    patches : Patches
        In that frame. [m]
    frame : Frame
        The trail's. [-]
    most : int
        How many at most. [-]
    """
    from pyproj import Transformer

    back = Transformer.from_crs(frame.proj, "EPSG:4326", always_xy=True)
    out = []
    for kind, some in (("skipped", patches.skipped), ("twice", patches.twice)):
        for p in some[:most]:
            spot = p.representative_point()
            lon, lat = back.transform(spot.x, spot.y)
            out.append(Located(kind=kind, lon_deg=float(lon), lat_deg=float(lat), area_m2=float(p.area)))
    return tuple(sorted(out, key=lambda one: -one.area_m2)[:most])
