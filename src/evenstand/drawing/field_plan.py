"""A field as it will be driven: outline, what to leave out, passes, where to stop, what to mind."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from evenstand.base.units import Profile, shown
from evenstand.drawing.shapes import Area, Circle, Drawing, Line, Point, Polyline, Rect, Shape, Text
from evenstand.model import Boundary, Drive, Stop

MARGIN = 34.0
KEY_ROW = 26.0
LABEL_EVERY = 5
SIGN_APART = 29.0
_SCALE_STEPS = {
    "si": ((50.0, "50 m"), (100.0, "100 m"), (200.0, "200 m"), (500.0, "500 m"), (1000.0, "1 km")),
    "feet": (
        (60.96, "200 ft"),
        (152.4, "500 ft"),
        (304.8, "1,000 ft"),
        (402.336, "¼ mile"),
        (804.672, "½ mile"),
        (1609.344, "1 mile"),
    ),
}


@dataclass(frozen=True, slots=True)
class _Sheet:
    """From metres in the field's frame to drawing units: north up, y down."""

    left_m: float
    top_m: float
    scale: float
    x0: float
    y0: float

    def at(self, x_m: float, y_m: float) -> Point:
        return self.x0 + (x_m - self.left_m) * self.scale, self.y0 + (self.top_m - y_m) * self.scale

    def ring(self, ring: Sequence[tuple[float, float]]) -> tuple[Point, ...]:
        return tuple(self.at(x, y) for x, y in ring)


def field_plan(
    boundary: Boundary,
    drive: Drive | None = None,
    stops: Sequence[Stop] = (),
    *,
    width: float = 720.0,
    max_height: float = 760.0,
    profile: Profile = "si",
    with_key: bool = True,
) -> Drawing:
    """The plan of a field, north up.

    Parameters
    ----------
    boundary : Boundary
        Outline with holes, obstacles, entries, fill points and hazards. [m in its frame]
    drive : Drive or None
        Passes to draw; every fifth is drawn heavier and numbered. [m in the same frame]
    stops : sequence of Stop
        Drawn at the end of the pass after which they come, numbered in order. [-]
    width, max_height : float
        Size it may take. [drawing units]
    profile : str
        Units of the scale bar and the texts. [-]
    with_key : bool
        Whether the words for the signs stand below. [-]

    Returns
    -------
    Drawing
        With a description that says in words what the picture shows. [drawing units]
    """
    sheet, height = _fit(boundary, drive, width, max_height)
    shapes: list[Shape] = [
        Area(role="boundary", rings=(sheet.ring(polygon.outside),), title=f"Outline of {boundary.name}") for polygon in boundary.polygons
    ]
    if drive is not None:
        shapes += _passes(drive, sheet)
    shapes += _left_out(boundary, sheet)
    shapes += _edges(boundary, sheet)
    places = _Places(width, height)
    if drive is not None:
        shapes += _pass_labels(drive, sheet)
        shapes += _stops(drive, stops, sheet, places)
        shapes += _start(drive, sheet, places)
    shapes += _points(boundary, sheet, places)
    shapes += _north(width)
    key_height = 0.0
    if with_key:
        rows = list(_key(boundary, drive, stops, width, height))
        shapes += rows
        key_height = max((r.at[1] for r in rows if isinstance(r, Text)), default=height) - height + 14
    shapes += _scale_bar(sheet, height, profile)
    return Drawing(
        width=width,
        height=height + key_height,
        shapes=tuple(shapes),
        title=f"Plan of {boundary.name}",
        description=_words(boundary, drive, stops, profile),
    )


def _fit(boundary: Boundary, drive: Drive | None, width: float, max_height: float) -> tuple[_Sheet, float]:
    corners = [np.asarray(p.outside, dtype=float) for p in boundary.polygons]
    corners += [np.array([(h.x_m, h.y_m)]) for h in boundary.hazards]
    corners += [np.asarray(group, dtype=float) for group in (boundary.entries, boundary.fill_points) if group]
    xy = np.vstack(corners)
    (left, bottom), (right, top) = xy.min(axis=0), xy.max(axis=0)
    wide, high = max(right - left, 1.0), max(top - bottom, 1.0)
    scale = min((width - 2 * MARGIN) / wide, (max_height - 2 * MARGIN - 30) / high)
    x0 = (width - wide * scale) / 2
    return _Sheet(float(left), float(top), float(scale), float(x0), MARGIN), float(high * scale + 2 * MARGIN + 26)


def _runs(drive: Drive) -> Iterator[tuple[int, int, np.ndarray]]:
    """Stretches of the line with one kind and one pass: (kind, pass number, points). A stretch begins where the last one ended."""
    change = np.flatnonzero((np.diff(drive.kind) != 0) | (np.diff(drive.pass_id) != 0)) + 1
    bounds = [0, *change.tolist(), len(drive.kind)]
    for begin, end in pairwise(bounds):
        first = begin - 1 if begin and drive.pass_id[begin] == 0 else begin
        yield int(drive.kind[begin]), int(drive.pass_id[begin]), drive.xy_m[first : min(end + (drive.pass_id[begin] == 0), len(drive.xy_m))]


def _passes(drive: Drive, sheet: _Sheet) -> list[Shape]:
    shapes: list[Shape] = []
    for kind, number, xy in _runs(drive):
        points = _thin(tuple(sheet.at(float(x), float(y)) for x, y in xy))
        if len(points) < 2:
            continue
        name = Drive.KINDS[kind]
        if name == "sow-headland":
            shapes.append(Polyline(role="headland", points=points, title=f"Pass {number}, headland"))
        elif name == "sow-pass":
            marked = number % LABEL_EVERY == 0
            shapes.append(Polyline(role="pass-marked" if marked else "pass", points=points, title=f"Pass {number}"))
        else:
            shapes.append(Polyline(role="turn", points=points))
    return shapes


def _thin(points: tuple[Point, ...]) -> tuple[Point, ...]:
    """Without points closer than half a unit to the last one kept; ends stay."""
    kept = [points[0]]
    for point in points[1:-1]:
        if math.dist(point, kept[-1]) >= 0.5:
            kept.append(point)
    return (*kept, points[-1]) if len(points) > 1 else points


def _left_out(boundary: Boundary, sheet: _Sheet) -> list[Shape]:
    holes = [Area(role="hole", rings=(sheet.ring(h),), title="Not sown") for p in boundary.polygons for h in p.holes]
    return [*holes, *(Area(role="obstacle", rings=(sheet.ring(o.outside),), title="Obstacle, keep out") for o in boundary.obstacles)]


def _edges(boundary: Boundary, sheet: _Sheet) -> list[Shape]:
    """The outline again on top of the passes, as an open line."""
    return [Polyline(role="boundary", points=sheet.ring(p.outside)) for p in boundary.polygons]


class _Places:
    """Places already taken by signs, so that the next one is set beside them with a line to its spot."""

    def __init__(self, width: float, height: float) -> None:
        self._taken: list[Point] = []
        self._width, self._height = width, height

    def _free(self, place: Point, *, moved: bool) -> bool:
        inside = not moved or (16 < place[0] < self._width - 44 and 18 < place[1] < self._height - 46)
        # a sign that gives way stays clear of the north arrow and the scale bar
        return inside and all(math.dist(place, other) >= SIGN_APART for other in self._taken)

    def find(self, spot: Point) -> tuple[Point, list[Shape]]:
        """Where the sign goes, and the line to its spot if it had to give way."""
        for reach in (0.0, 32.0, 64.0, 96.0):
            for turn in range(8 if reach else 1):
                angle = math.pi / 4 * (turn + 1)
                place = spot[0] + reach * math.cos(angle), spot[1] + reach * math.sin(angle)
                if self._free(place, moved=reach > 0):
                    self._taken.append(place)
                    return place, [Line(role="scale", start=spot, end=place)] if reach else []
        self._taken.append(spot)
        return spot, []


def _points(boundary: Boundary, sheet: _Sheet, places: _Places) -> list[Shape]:
    shapes: list[Shape] = []
    for x_m, y_m in boundary.entries:
        (x, y), leader = places.find(sheet.at(x_m, y_m))
        shapes += [*leader, Rect(role="entry", corner=(x - 9, y - 9), width=18, height=18, title="Gate")]
        shapes.append(Text(role="label-strong", at=(x, y + 6), text="G", anchor="middle"))
    for x_m, y_m in boundary.fill_points:
        (x, y), leader = places.find(sheet.at(x_m, y_m))
        shapes += [*leader, Circle(role="fill-point", centre=(x, y), radius=11, title="Truck stands here")]
        shapes.append(Text(role="label-strong", at=(x, y + 6), text="T", anchor="middle"))
    for number, hazard in enumerate(boundary.hazards, start=1):
        (x, y), leader = places.find(sheet.at(hazard.x_m, hazard.y_m))
        ring = ((x, y - 15), (x + 15, y + 11), (x - 15, y + 11), (x, y - 15))
        shapes += [*leader, Area(role="hazard", rings=(ring,), title=f"Mind {number}: {hazard.kind}, {hazard.note}")]
        shapes.append(Text(role="label-strong", at=(x, y + 8), text=str(number), anchor="middle"))
    return shapes


def _ends(drive: Drive, number: int) -> tuple[np.ndarray, np.ndarray] | None:
    at = np.flatnonzero(drive.pass_id == number)
    return None if at.size == 0 else (drive.xy_m[at[0]], drive.xy_m[at[-1]])


def _pass_labels(drive: Drive, sheet: _Sheet) -> list[Shape]:
    """Numbers of every fifth straight pass, set into the pass near its beginning."""
    shapes: list[Shape] = []
    pass_kind = Drive.KINDS.index("sow-pass")
    for number in range(LABEL_EVERY, drive.passes + 1, LABEL_EVERY):
        at = np.flatnonzero((drive.pass_id == number) & (drive.kind == pass_kind))
        if at.size < 2:
            continue
        (x1, y1), (x2, y2) = sheet.at(*drive.xy_m[at[0]]), sheet.at(*drive.xy_m[at[-1]])
        length = math.hypot(x2 - x1, y2 - y1)
        if length < 60:
            continue
        share = min(0.3, 34 / length)
        x, y = x1 + (x2 - x1) * share, y1 + (y2 - y1) * share
        shapes.append(Text(role="label-strong", at=(x, y + 6), text=str(number), anchor="middle", halo=True))
    return shapes


def _start(drive: Drive, sheet: _Sheet, places: _Places) -> list[Shape]:
    sown = np.flatnonzero(drive.pass_id > 0)
    if sown.size == 0:
        return []
    (x, y), leader = places.find(sheet.at(*drive.xy_m[sown[0]]))
    return [
        *leader,
        Circle(role="entry", centre=(x, y), radius=11, title="Start here"),
        Text(role="label-strong", at=(x, y + 6), text="S", anchor="middle"),
    ]


def _stops(drive: Drive, stops: Sequence[Stop], sheet: _Sheet, places: _Places) -> list[Shape]:
    shapes: list[Shape] = []
    for number, stop in enumerate(stops, start=1):
        ends = _ends(drive, stop.after_pass)
        if ends is None:
            continue
        (x, y), leader = places.find(sheet.at(*ends[1]))
        title = f"Fill {number}: after pass {stop.after_pass}"
        shapes += [*leader, Rect(role="stop", corner=(x - 12, y - 12), width=24, height=24, round=3, title=title)]
        shapes.append(Text(role="label-reversed", at=(x, y + 5.5), text=str(number), anchor="middle"))
    return shapes


def _north(width: float) -> list[Shape]:
    x, y = width - 18, 10.0
    ring = ((x, y), (x + 8, y + 26), (x, y + 20), (x - 8, y + 26), (x, y))
    return [Area(role="north", rings=(ring,), title="North is up"), Text(role="label-strong", at=(x, y + 43), text="N", anchor="middle")]


def _scale_bar(sheet: _Sheet, height: float, profile: Profile) -> list[Shape]:
    steps = _SCALE_STEPS["si" if profile == "si" else "feet"]
    length, label = next((s for s in reversed(steps) if s[0] * sheet.scale <= 190), steps[0])
    x, y, end = MARGIN, height - 14, length * sheet.scale
    ticks = [Line(role="scale", start=(x + d, y - 5), end=(x + d, y + 5)) for d in (0.0, end)]
    return [Line(role="scale", start=(x, y), end=(x + end, y)), *ticks, Text(role="label", at=(x + end + 10, y + 5), text=label)]


def _key(boundary: Boundary, drive: Drive | None, stops: Sequence[Stop], width: float, top: float) -> Iterator[Shape]:
    """The signs that occur, each with its word, in two columns."""
    entries: list[tuple[str, str]] = []
    if drive is not None:
        entries.append(("pass-marked", f"every {LABEL_EVERY}th pass, numbered"))
        if np.any(drive.kind == Drive.KINDS.index("sow-headland")):
            entries.append(("headland", "headland rounds"))
        entries.append(("start", "S  start"))
    if stops:
        entries.append(("stop", "stop to fill, in order"))
    if any(p.holes for p in boundary.polygons):
        entries.append(("hole", "not sown"))
    if boundary.obstacles:
        entries.append(("obstacle", "obstacle, keep out"))
    if boundary.entries:
        entries.append(("entry", "G  gate"))
    if boundary.fill_points:
        entries.append(("fill-point", "T  truck stands"))
    if boundary.hazards:
        entries.append(("hazard", "mind: see the list"))
    columns = 3 if width >= 700 else 2 if width >= 420 else 1
    each = (width - 2 * MARGIN) / columns
    for i, (role, word) in enumerate(entries):
        x = MARGIN + (i % columns) * each
        y = top + 18 + (i // columns) * KEY_ROW
        yield _sign(role, x, y)
        yield Text(role="label", at=(x + 34, y + 5), text=word)


def _sign(role: str, x: float, y: float) -> Shape:
    if role == "pass-marked":
        return Line(role="pass-marked", start=(x, y), end=(x + 26, y))
    if role == "headland":
        return Line(role="headland", start=(x, y), end=(x + 26, y))
    if role in {"fill-point", "start"}:
        return Circle(role="fill-point", centre=(x + 13, y), radius=9)
    if role == "hazard":
        return Area(role="hazard", rings=(((x + 13, y - 11), (x + 25, y + 9), (x + 1, y + 9), (x + 13, y - 11)),))
    if role == "stop":
        return Rect(role="stop", corner=(x + 4, y - 9), width=18, height=18, round=3)
    if role == "entry":
        return Rect(role="entry", corner=(x + 4, y - 9), width=18, height=18)
    if role == "hole":
        return Rect(role="hole", corner=(x, y - 8), width=26, height=16)
    return Rect(role="obstacle", corner=(x, y - 8), width=26, height=16)


def _words(boundary: Boundary, drive: Drive | None, stops: Sequence[Stop], profile: Profile) -> str:
    holes = sum(len(p.holes) for p in boundary.polygons)
    parts = [f"{boundary.name}, {shown(boundary.area_ha, 'area', profile)}, north up."]
    if holes:
        parts.append(f"{holes} {'part' if holes == 1 else 'parts'} inside not sown.")
    if boundary.obstacles:
        parts.append(f"{len(boundary.obstacles)} obstacle{'s' if len(boundary.obstacles) > 1 else ''} to keep out of.")
    if drive is not None:
        parts.append(
            f"{drive.passes} passes {shown(drive.width_m, 'width', profile)} apart, "
            f"direction {drive.direction_deg:.0f} degrees from north, "
            f"{drive.headland_rounds} headland round{'' if drive.headland_rounds == 1 else 's'}."
        )
    parts += [f"Fill {i} after pass {s.after_pass}." for i, s in enumerate(stops, start=1)]
    parts += [f"Mind {i}: {h.kind}, {h.note}." for i, h in enumerate(boundary.hazards, start=1)]
    return " ".join(parts)
