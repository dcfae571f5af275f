"""A field's own flat frame, its outline, and a line to drive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
Ring = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Transverse Mercator centred on the field, scale 1 at ground height. lon/lat of its middle in degrees (WGS 84);
    height_m above the ellipsoid [m]; `proj` is the PROJ text of the frame."""

    lon_deg: float
    lat_deg: float
    height_m: float = 0.0

    @property
    def proj(self) -> str:
        """PROJ definition; the sphere of the ellipsoid is raised by the height through the scale factor."""
        scale = 1.0 + self.height_m / 6_371_000.0
        return (
            f"+proj=tmerc +lat_0={self.lat_deg:.9f} +lon_0={self.lon_deg:.9f} +k={scale:.10f} +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Polygon:
    """One outline with its holes, in metres of the field's frame; rings closed, outside counter-clockwise. [m]"""

    outside: Ring
    holes: tuple[Ring, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """Something to mind on a field: kind ("line", "culvert", "soft", "gate", "pole", ...), place in the frame [m], a note."""

    kind: str
    note: str
    x_m: float
    y_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Boundary:
    """A field. polygons: usually one; holes are not sown. obstacles: kept out, inside the outline. area_m2: planar, in the
    frame, holes and obstacles taken off; geodesic_m2: on the ellipsoid. [m²]
    entries: gates; fill_points: where the truck stands [m]. repairs: what was mended when read, in sentences."""

    key: str
    name: str
    frame: Frame
    polygons: tuple[Polygon, ...]
    area_m2: float
    geodesic_m2: float
    obstacles: tuple[Polygon, ...] = ()
    entries: tuple[tuple[float, float], ...] = ()
    fill_points: tuple[tuple[float, float], ...] = ()
    hazards: tuple[Hazard, ...] = ()
    crs: str = "EPSG:4326"
    file_hash: str = ""
    repairs: tuple[str, ...] = ()

    @property
    def area_ha(self) -> float:
        """Planar area. [ha]"""
        return self.area_m2 / 1e4


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """A line to drive, in order. xy_m (n,2) in the frame [m]; station_m (n,) along the line [m]; t_s (n,) from the start [s];
    kind (n,) codes of `KINDS`; pass_id (n,) number of the pass from 1, 0 between passes. width_m: spacing of passes [m];
    direction_deg: of the parallel passes, clockwise from the frame's north [deg]; headland_rounds: how many."""

    xy_m: FloatArray
    station_m: FloatArray
    t_s: FloatArray
    kind: IntArray
    pass_id: IntArray
    width_m: float
    direction_deg: float
    headland_rounds: int
    passes: int
    notes: tuple[str, ...] = ()

    KINDS: ClassVar[tuple[str, ...]] = ("sow-headland", "sow-pass", "turn", "move")

    def pass_lengths_m(self) -> FloatArray:
        """Length driven with openers down in each pass, shape (passes,). [m]"""
        step = np.hypot(np.diff(self.xy_m[:, 0]), np.diff(self.xy_m[:, 1]))
        inside = (self.pass_id[1:] == self.pass_id[:-1]) & (self.pass_id[1:] > 0)
        return np.bincount(self.pass_id[1:][inside] - 1, weights=step[inside], minlength=self.passes).astype(np.float64)
