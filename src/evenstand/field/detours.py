"""Ways from one pass to the next: a turn, or a way round what must not be driven over."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
import shapely

from evenstand.field.turning import Pose, dubins_path
from evenstand.model.place import FloatArray

_MOST_CORNERS = 70  # of the ground, for finding ways round


@dataclass(slots=True, kw_only=True)
class Ground:
    """Where the machine may drive. allowed: the outline without holes and obstacles; kept_off: the same, half a width inside.

    The web of ways between its corners is made when a detour is first needed.
    """

    allowed: Any
    kept_off: Any
    width_m: float
    radius_m: float
    _corners: FloatArray | None = field(default=None, init=False)
    _ways: FloatArray | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        shapely.prepare(self.allowed)

    def way(self, start: Pose, end: Pose, *, may_detour: bool) -> FloatArray:
        """Points from pose to pose, ends included, shape (n, 2): the shortest turn, or a detour where that leaves the ground. [m]"""
        step = self.radius_m * math.pi / 18
        path = dubins_path(start, end, self.radius_m, step_m=step)
        if not may_detour or self.is_on(path):
            return path
        corners = self._detour(np.array(start[:2]), np.array(end[:2]))
        if len(corners) == 0:
            return path
        poses = [start, *_through(np.vstack([start[:2], corners, end[:2]])), end]
        around = np.vstack([dubins_path(a, b, self.radius_m, step_m=step) for a, b in pairwise(poses)])
        return around if self.outside_m(around) < self.outside_m(path) else path

    def is_on(self, path: FloatArray) -> bool:
        """Whether a path stays on the ground, but for a decimetre. [-]"""
        return self.outside_m(path) <= 0.1

    def outside_m(self, path: FloatArray) -> float:
        """How far a path strays from the ground at most. [m]"""
        points = np.asarray(shapely.points(path), dtype=object)
        away = points[~shapely.covers(self.allowed, points)]
        far = float(shapely.distance(away, self.allowed).max()) if len(away) else 0.0
        crossing = shapely.length(shapely.difference(shapely.LineString(path), self.allowed)) if not len(away) else 0.0
        return max(far, float(crossing) / 2)

    def _detour(self, start: FloatArray, end: FloatArray) -> FloatArray:
        """Corners to drive by, shortest way, shape (n, 2); none if there is no way. [m]"""
        from scipy.sparse.csgraph import dijkstra

        if self._corners is None:
            self._corners = self._ground_corners()
            self._ways = self._seen_lengths(self._corners, self._corners)
        assert self._ways is not None
        n = len(self._corners)
        ends = np.vstack([start, end])
        web = np.zeros((n + 2, n + 2))
        web[:n, :n] = self._ways
        web[n:, :n] = self._seen_lengths(ends, self._corners)
        web[:n, n:] = web[n:, :n].T
        _, before = dijkstra(web, directed=False, indices=n, return_predecessors=True)
        found: list[int] = []
        here = int(before[n + 1])
        while here >= 0 and here != n:
            found.append(here)
            here = int(before[here])
        return self._corners[found[::-1]] if here == n else np.empty((0, 2))

    def _ground_corners(self) -> FloatArray:
        tolerance = self.width_m / 8
        inner = self.kept_off
        while (corners := shapely.get_coordinates(shapely.simplify(inner, tolerance))).shape[0] > _MOST_CORNERS and tolerance < 1e4:
            tolerance *= 1.6
        return np.unique(corners, axis=0)

    def _seen_lengths(self, ones: FloatArray, others: FloatArray) -> FloatArray:
        """Lengths of the straight lines between places that stay on the ground; 0 where none does. [m]"""
        ends = np.stack(np.broadcast_arrays(ones[:, None, :], others[None, :, :]), axis=2)
        lines = shapely.linestrings(ends.reshape(-1, 2, 2))
        clear = shapely.covers(self.allowed, lines)
        return np.where(clear, shapely.length(lines), 0.0).reshape(len(ones), len(others))


def _through(places: FloatArray) -> list[Pose]:
    """Poses at the inner places, each heading between the ways to and from it."""
    poses = []
    for before, here, after in zip(places[:-2], places[1:-1], places[2:], strict=True):
        to, off = (here - before) / max(np.hypot(*(here - before)), 1e-9), (after - here) / max(np.hypot(*(after - here)), 1e-9)
        heading = to + off
        poses.append((float(here[0]), float(here[1]), math.atan2(heading[1], heading[0])))
    return poses
