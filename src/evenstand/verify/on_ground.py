"""Turns, outlines, drives and covered ground: one open test value, else closed forms and a second library."""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from evenstand import field, trail
from evenstand.base.estimate import Est
from evenstand.model import Boundary, Drive, Frame, Outfit, Trail, Widths
from evenstand.verify.pairs import Independent, Pair

PAIRS: tuple[Pair, ...] = (
    Pair(
        function="field.dubins_length",
        case="from (0, 0) heading 0 to (5, 0) heading 3, radius 1",
        published="8.2725",
        unit="m",
        compute=lambda: field.dubins_length((0, 0, 0), (5, 0, 3), 1.0),
        source="dubins-open-test",
        where="first test",
    ),
)

_FRAME = Frame(lon_deg=-105.0, lat_deg=50.0)
_CORNERS = ((-105.002, 49.998), (-104.998, 49.998), (-104.998, 50.002), (-105.002, 50.002))


def _square() -> Boundary:
    """100 m by 100 m."""
    return field.boundary_from_rings([(0, 0), (100, 0), (100, 100), (0, 100)], frame=_FRAME, name="square")


def _ten_passes() -> Drive:
    """Ten passes of 100 m at 2 m/s, north and south."""
    return field.plan_passes(_square(), 10.0, headland_rounds=0, direction_deg=0.0, turn_radius_m=8.0, speed_m_s=2.0)


def _slanted_passes() -> Drive:
    """The same square along a direction of 90 degrees, with one round."""
    return field.plan_passes(_square(), 10.0, headland_rounds=1, direction_deg=90.0, turn_radius_m=4.0, speed_m_s=2.0)


def _line_length(drive: Drive) -> float:
    return float(np.hypot(*np.diff(drive.xy_m, axis=0).T).sum())


def _nine_turns() -> float:
    """Ten passes, and nine turns between neighbours as the shortest paths of three pieces have them."""
    return 10 * 100 + 9 * field.shortest_turn((0, 0, math.pi / 2), (10, 0, -math.pi / 2), 8.0).length_m


def _read_square() -> Boundary:
    """A small square in degrees, written to a file and read back."""
    ring = [list(corner) for corner in (*_CORNERS, _CORNERS[0])]
    feature = {"type": "Feature", "properties": {}, "geometry": {"type": "Polygon", "coordinates": [ring]}}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "square.geojson"
        path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), encoding="utf-8")
        return field.read_boundary(path)


def _geodesic_area() -> float:
    from pyproj import Geod

    longitudes, latitudes = [c[0] for c in _CORNERS], [c[1] for c in _CORNERS]
    return abs(float(Geod(ellps="WGS84").polygon_area_perimeter(longitudes, latitudes)[0]))


def _geodesic_side() -> float:
    from pyproj import Geod

    return float(Geod(ellps="WGS84").inv(*_CORNERS[0], *_CORNERS[3])[2])


def _ring_digest(boundary: Boundary) -> float:
    """Distances of all corners from the middle of the frame, weighted by their place in the ring. [m]"""
    return sum((i + 1) * math.hypot(x, y) for i, (x, y) in enumerate(boundary.polygons[0].outside[:4]))


def _corner_digest() -> float:
    """The same from geodesics: all four corners lie nearly equally far from the middle."""
    from pyproj import Geod

    geod = Geod(ellps="WGS84")
    found = {corner: float(geod.inv(-105.0, 50.0, *corner)[2]) for corner in _CORNERS}
    south, north = found[_CORNERS[0]], found[_CORNERS[2]]
    return _order_free(south, north)


def _order_free(south: float, north: float) -> float:
    # the two southern corners stand first in a ring that runs counter-clockwise from the south-west
    return 1 * south + 2 * south + 3 * north + 4 * north


_SUMMED = 2.0**-52 * (80 + 8) * 2000  # 80 nodes, 2,000 m² in double precision [m²]


def _two_strips(*, boundary: bool = False) -> trail.Coverage:
    """Two runs of 100 m, 10 m wide and 9 m apart: 1,900 m² covered, 100 m² twice."""
    up = [(5.0, 5.0 * i) for i in range(21)]
    down = [(14.0, 100.0 - 5.0 * i) for i in range(21)]
    log = Trail(
        frame=_FRAME,
        t_ms=np.r_[np.arange(21), np.arange(21) + 100].astype(np.int64) * 1000,
        xy_m=np.array(up + down),
        lifted=np.zeros(42, dtype=bool),
    )
    tape = Est(value=10.0, basis="measured", source="tape")
    outfit = Outfit(key="outfit", name="outfit", widths=Widths(true_m=tape))
    return trail.coverage(log, outfit, _square() if boundary else None, method="shapes", ends="flat", fastest_m_s=6.0)


def _read_log() -> Trail:
    """Six rows a second apart, due north at 7.2 km/h, written to a file and read back."""
    rows = "".join(f"2027-05-04T11:20:0{i}Z,{50 + i * 2e-5:.7f},-105.0,7.2\n" for i in range(6))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_text("time,latitude,longitude,speed km/h\n" + rows, encoding="utf-8")
        return trail.read_trail(path)


def _northward() -> float:
    """Length of those five steps on the ellipsoid. [m]"""
    from pyproj import Geod

    return float(Geod(ellps="WGS84").inv(-105.0, 50.0, -105.0, 50.0001)[2])


def _each(
    function: str, how: str, case: str, make: Callable[[], Any], *values: tuple[str, Callable[[Any], float], float | Callable[[], float]],
    tolerance: float = 1e-9,
) -> tuple[Independent, ...]:  # fmt: skip
    """One check for each value of a result."""

    def both(get: Callable[[Any], float], other: float | Callable[[], float]) -> tuple[float, float]:
        return float(get(make())), float(other() if callable(other) else other)

    return tuple(
        Independent(function=function, case=f"{case}: {name}", how=how, tolerance=tolerance, compute=partial(both, get, other))
        for name, get, other in values
    )


INDEPENDENT: tuple[Independent, ...] = (
    Independent(
        function="field.turn_length",
        case="18 m apart at 8 m radius: half a circle with 2 m of straight in it",
        how="closed form",
        compute=lambda: (field.turn_length(18, 8), 8 * math.pi + 2),
    ),
    Independent(
        function="field.turn_length",
        case="18 m apart at 12 m radius: the shortest of the six kinds of path",
        how="second formula",
        compute=lambda: (field.turn_length(18, 12), field.dubins_length((0, 0, math.pi / 2), (18, 0, -math.pi / 2), 12)),
    ),
    *_each(
        "field.plan_passes",
        "closed form",
        "ten passes of 100 m on a square of 1 ha",
        _ten_passes,
        ("metres sown", lambda d: d.pass_lengths_m().sum(), 1000.0),
        ("passes", lambda d: d.passes, 10),
        ("spacing", lambda d: d.width_m, 10.0),
        ("length driven", lambda d: d.station_m[-1], _nine_turns),
        ("time at 2 m/s", lambda d: d.t_s[-1], lambda: _nine_turns() / 2),
        ("numbers of the passes", lambda d: d.pass_id.max() + d.pass_id.sum() / 1e4, 10 + 2 * 55 / 1e4),
        ("the line itself as long as its stations say", lambda d: _line_length(d) / d.station_m[-1], 1.0),
        ("codes of sowing and turning", lambda d: float(np.unique(d.kind) @ (1, 10)), 21),
        tolerance=2e-3,  # arcs are drawn as short straight pieces
    ),
    *_each(
        "field.plan_passes",
        "closed form",
        "passes eastward with one round",
        _slanted_passes,
        ("direction", lambda d: d.direction_deg, 90.0),
        ("rounds", lambda d: d.headland_rounds, 1),
        tolerance=1e-9,
    ),
    *_each(
        "field.read_boundary",
        "second library (pyproj)",
        "a square of 0.004 degrees",
        _read_square,
        ("geodesic area", lambda b: b.geodesic_m2, _geodesic_area),
        ("longitude of its frame", lambda b: b.frame.lon_deg, -105.0),
        ("latitude of its frame", lambda b: b.frame.lat_deg, 50.0),
        tolerance=1e-6,
    ),
    *_each(
        "field.read_boundary",
        "second library (pyproj)",
        "a square of 0.004 degrees, in its flat frame",
        _read_square,
        ("planar area", lambda b: b.area_m2, _geodesic_area),
        ("corners", _ring_digest, _corner_digest),
        ("a side", lambda b: abs(b.polygons[0].outside[3][1] - b.polygons[0].outside[0][1]), _geodesic_side),
        tolerance=1e-5,
    ),
    *_each(
        "trail.read_trail",
        "second library (pyproj, datetime)",
        "six rows due north",
        _read_log,
        ("length", lambda t: t.xy_m[-1, 1] - t.xy_m[0, 1], _northward),
        ("longitude of its frame", lambda t: t.frame.lon_deg, -105.0),
        ("latitude of its frame", lambda t: t.frame.lat_deg, 50.00005),
        ("speed", lambda t: t.speed_m_s.mean(), 2.0),
        ("first time", lambda t: t.t_ms[0] / 1000, datetime(2027, 5, 4, 11, 20, tzinfo=UTC).timestamp()),
        ("rows read", lambda t: t.rows, 6),
        ("rows kept", lambda t: t.kept, 6),
        tolerance=1e-7,
    ),
    *_each(
        "trail.coverage",
        "closed form",
        "two runs of 100 m, 10 m wide, 9 m apart",
        _two_strips,
        ("once or more", lambda c: c.covered_m2, 1900.0),
        ("twice or more", lambda c: c.twice_m2, 100.0),
        ("strips less their union", lambda c: c.repeat_m2, 100.0),
        ("sum of strips", lambda c: c.strips_m2, 2000.0),
        ("width", lambda c: c.width_m, 10.0),
        ("driven", lambda c: c.driven_m, 200.0),
        ("steps", lambda c: c.steps, 40),
        ("gaps", lambda c: c.gaps, 1),
        ("longest gap: 3 s for rows a second apart", lambda c: c.limits.gap_s, 3.0),
        ("fastest step, as asked", lambda c: c.limits.fastest_m_s, 6.0),
        ("usual time between rows", lambda c: c.limits.usual_s, 1.0),
        # 40 rectangles with 1,200 m of edges, joined in 6 rounds, snapping and counting two more, each 0.1 micrometre
        ("what rounding can do, in units of 1e-9 m²", lambda c: 1e9 * c.bounds_m2["covered"], 1e9 * (1e-7 * 8 * 40 * 30 + _SUMMED)),
        ("the same for repeated", lambda c: 1e9 * c.bounds_m2["repeat"], 1e9 * (1e-7 * 8 * 40 * 30 + _SUMMED)),
        # 20 pieces of 1 m by 5 m in common, out of 40 times 40 pairs, joined in 11 rounds
        ("the same for twice", lambda c: 1e9 * c.bounds_m2["twice"], 1e9 * (1e-7 * 13 * 20 * 12 + _SUMMED)),
    ),
    *_each(
        "trail.coverage",
        "closed form",
        "the same on a square of 1 ha",
        partial(_two_strips, boundary=True),
        ("skipped", lambda c: c.skipped_m2, 8100.0),
        (
            "what rounding can do, in units of 1e-9 m²",
            lambda c: 1e9 * c.bounds_m2["skipped"],
            1e9 * (1e-7 * 8 * 40 * 30 + 4e-7 * (4 * 100 + 2 * (19 + 100)) + _SUMMED),
        ),
    ),
)
