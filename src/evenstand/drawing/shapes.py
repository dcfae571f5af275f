"""Shapes with roles: what a picture is made of, before anyone decides how it is written down.

Coordinates are drawing units, x to the right, y down. A drawing is laid out at 4 units a millimetre of paper and one unit a
pixel of a page, so that text of 15.5 units prints at 11 points.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from evenstand.drawing.tokens import Role

UNITS_MM = 4.0
Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line from one point to another."""

    role: Role
    start: Point
    end: Point
    title: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Polyline:
    """An open line through points."""

    role: Role
    points: tuple[Point, ...]
    title: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """A filled outline; rings after the first are holes."""

    role: Role
    rings: tuple[tuple[Point, ...], ...]
    title: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rect:
    """An upright rectangle by its upper left corner."""

    role: Role
    corner: Point
    width: float
    height: float
    round: float = 0.0
    title: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A circle."""

    role: Role
    centre: Point
    radius: float
    title: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One line of text; `at` is on the baseline. halo: a paper-white edge, so that it reads on top of lines."""

    role: Role
    at: Point
    text: str
    anchor: Anchor = "start"
    turn_deg: float = 0.0
    halo: bool = False
    title: str = ""


Shape = Line | Polyline | Area | Rect | Circle | Text


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A picture: its size in drawing units, its shapes from back to front, and its words for those who cannot see it.

    title: what it is; description: what it shows, in sentences; numbers that the picture shows stand in a table beside it.
    """

    width: float
    height: float
    shapes: tuple[Shape, ...]
    title: str
    description: str
