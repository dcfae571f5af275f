"""Headland rounds: rings at half a width, one and a half widths ... inside the outline and around what is left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from evenstand.base.errors import GeometryError
from evenstand.model.place import FloatArray

_ARC_PIECES = 8  # straight pieces in a quarter of a circle
_SLIVER = 0.05  # widths: what is thinner is not driven for
_DUST_M = 1e-3
_CORNER = 0.4  # squares of the width: a corner of the line with more than this in it is driven out, not rounded


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """One ring to drive. xy_m (n, 2), first place = last [m]; number: 1 is the outermost; is_outside: False around a hole."""

    xy_m: FloatArray
    number: int
    is_outside: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Headland:
    """rounds; interiors: what is left for passes, shapely polygons; deepest: most rounds anywhere; notes in sentences."""

    rounds: tuple[Round, ...]
    interiors: tuple[Any, ...]
    deepest: int
    notes: tuple[str, ...]


def headland(sown: Any, width_m: float, rounds: int, radius_m: float | None) -> Headland:
    """Lay headland rounds into a field.

    Parameters
    ----------
    sown : shapely Polygon or MultiPolygon
        What is to be sown. [m]
    width_m : float
        Width of the tool. [m]
    rounds : int
        How many. [-]
    radius_m : float or None
        Turning radius to which corners are rounded; None leaves them square. [m]

    Returns
    -------
    Headland
        Rounds at (k - 0.5) widths, and what lies inside of them. [m]

    Raises
    ------
    GeometryError
        If the field is nowhere as wide as the tool.
    """
    check_wide_enough(sown, width_m)
    if rounds == 0:
        return Headland(rounds=(), interiors=tuple(_polygons(sown)), deepest=0, notes=())
    found: list[Round] = []
    interiors: list[Any] = []
    thin_m2 = 0.0
    waiting = [(part, 1) for part in _polygons(sown)]
    while waiting:
        part, number = waiting.pop(0)
        if number > rounds:
            interiors.append(part)
            continue
        line = shapely.buffer(part, -width_m / 2, quad_segs=_ARC_PIECES, join_style="round")
        if line.is_empty:
            thin_m2 += _take_narrow(part, number, interiors)
            continue
        found += _rings(line, number, width_m, radius_m)
        thin_m2 += sum(_take_narrow(neck, number, interiors) for neck in _necks(part, line, width_m))
        inner = shapely.buffer(part, -width_m, quad_segs=_ARC_PIECES, join_style="round")
        waiting += [(p, number + 1) for p in _polygons(inner) if not shapely.buffer(p, -_SLIVER * width_m).is_empty]
    return Headland(
        rounds=tuple(found),
        interiors=tuple(interiors),
        deepest=max(r.number for r in found),
        notes=_notes(found, rounds, thin_m2, radius_m),
    )


def check_wide_enough(sown: Any, width_m: float) -> None:
    """Refuse a field that is nowhere as wide as the tool.

    Raises
    ------
    GeometryError
        Naming the widest place.
    """
    if not shapely.buffer(sown, -width_m / 2 * (1 - 1e-6)).is_empty:
        return
    widest = 2 * max(float(shapely.length(shapely.maximum_inscribed_circle(p, tolerance=0.05))) for p in _polygons(sown))
    raise GeometryError(
        f"the field is nowhere wider than {widest:.1f} m",
        where="width_m",
        limit=f"the tool is {width_m:g} m wide",
        cure="Check the width and the outline's coordinate system, or sow it with a narrower tool.",
    )


def _take_narrow(part: Any, number: int, interiors: list[Any]) -> float:
    """Sow what is too narrow for another round by straight passes, if it lies inside sown ground; the area given up. [m²]"""
    if number > 1:
        interiors.append(part)
        return 0.0
    return float(shapely.area(part))


def _necks(part: Any, line: Any, width_m: float) -> list[Any]:
    """Places of a part that a round along `line` does not reach: narrower than the tool."""
    reached = shapely.buffer(line, width_m / 2 * (1 + 1e-6), join_style="mitre", mitre_limit=5.0)
    rest = shapely.difference(part, reached)
    opened = shapely.buffer(shapely.buffer(rest, -_SLIVER * width_m), _SLIVER * width_m)
    return _polygons(opened)


def _rings(line: Any, number: int, width_m: float, radius_m: float | None) -> list[Round]:
    rings = []
    for polygon in _polygons(_rounded(line, radius_m, width_m)):
        rings.append(Round(xy_m=shapely.get_coordinates(polygon.exterior), number=number, is_outside=True))
        rings += [Round(xy_m=shapely.get_coordinates(hole), number=number, is_outside=False) for hole in polygon.interiors]
    return [r for r in rings if shapely.length(shapely.LineString(r.xy_m)) > width_m / 2]


def _rounded(line: Any, radius_m: float | None, width_m: float) -> Any:
    """Corners rounded to the radius, but for those where that would leave much unsown: there one drives out and swings."""
    if radius_m is None:
        return line
    opened = shapely.buffer(shapely.buffer(line, -radius_m, quad_segs=_ARC_PIECES), radius_m, quad_segs=_ARC_PIECES)
    beyond = shapely.difference(line, shapely.buffer(opened, _DUST_M))  # else slivers of rounding join the corners to one piece
    cut = [p for p in _polygons(beyond) if shapely.area(p) > _CORNER * width_m**2]
    if not cut:
        return opened
    return shapely.union_all([opened, *shapely.buffer(cut, 2 * _DUST_M, join_style="mitre")]).intersection(line)


def _notes(found: list[Round], rounds: int, thin_m2: float, radius_m: float | None) -> tuple[str, ...]:
    notes = []
    deepest = max(r.number for r in found)
    if deepest < rounds:
        notes.append(f"Only {deepest} of {rounds} headland rounds fit.")
    if thin_m2 > 1:
        notes.append(f"{thin_m2 / 1e4:.3f} ha lies in places narrower than the tool and stays unsown.")
    if radius_m is not None:
        tight = sum(_sharpest_turn(r.xy_m, radius_m) for r in found)
        if tight:
            notes.append(f"{tight} of {len(found)} headland rounds have bends tighter than {radius_m:g} m: lift and swing there.")
    return tuple(notes)


def _sharpest_turn(xy: FloatArray, radius_m: float) -> bool:
    """Whether a ring bends more than 30 degrees within a quarter radius anywhere: tighter than a wheel track can follow. [-]"""
    step = np.diff(xy, axis=0)
    lengths = np.hypot(step[:, 0], step[:, 1])
    headings = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    bend = np.abs(np.diff(headings, append=headings[0] + _winding(headings)))
    reach = (lengths + np.roll(lengths, -1)) / 2
    return bool(((bend > np.pi / 6) | ((bend > np.pi / 36) & (bend * radius_m > 1.3 * reach))).any())


def _winding(headings: FloatArray) -> float:
    """The whole turn of a ring, with its sign. [rad]"""
    return 2 * np.pi * float(np.sign(headings[-1] - headings[0])) if len(headings) > 1 else 0.0


def _polygons(shape: Any) -> list[Any]:
    return [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and not p.is_empty]
