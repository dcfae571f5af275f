"""A small map of a trail, to find the place of what the pass strips show: passes, ground not sown, ground sown again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from evenstand.base.units import Profile, shown
from evenstand.drawing.field_plan import MARGIN, _north, _scale_bar, _Sheet, _thin
from evenstand.drawing.shapes import Area, Drawing, Line, Point, Polyline, Rect, Shape, Text
from evenstand.model import Trail
from evenstand.model.place import FloatArray
from evenstand.trail import PassFacts

if TYPE_CHECKING:
    from evenstand.trail.outlines import DeadLine, Located, MapFacts, Patches

EVERY = 5
MOST_PATCHES = 60
LEFT_OUT = " Ground not sown and ground sown again are left out: the log is very long. They are in the figures."
LEAST_M = 1.5  # as `trail.outlines` asks of ground sown again
WORDS = {
    "skipped": "not sown",
    "twice": "sown again, more than {width} wide",
    "dead": "a run or head without flow",
    "no-data": "nothing recorded",
    "stop": "stop",
}


def trail_map(
    trail: Trail,
    passes: Sequence[PassFacts],
    found: MapFacts,
    *,
    width: float = 720.0,
    max_height: float = 700.0,
    profile: Profile = "si",
    name: str = "the field",
) -> Drawing:
    """The passes of a trail on the ground, north up.

    Parameters
    ----------
    trail : Trail
        Positions. [m]
    passes : sequence of PassFacts
        Every fifth is drawn heavier and numbered, as in the pass strips. [-]
    found : MapFacts
        Outline, ground not sown and sown again, stretches sown without flow. [m]
    width, max_height : float
        Size it may take. [drawing units]
    profile : str
        Units of the scale bar and the texts. [-]
    name : str
        For the title. [-]

    Returns
    -------
    Drawing
        Ink and hatch only; the words for the signs stand below. [drawing units]
    """
    rings, patches, dead = found.rings, found.patches, found.dead
    sheet, height = _fit(trail, passes, rings, width, max_height)
    shapes: list[Shape] = _outline(rings, sheet)
    kinds: list[str] = []
    for kind, some in (("skipped", patches.skipped), ("twice", patches.twice)):
        shapes += [_patch(kind, p, sheet, profile) for p in some[:MOST_PATCHES]]
        kinds += [kind] if some else []
    for p in passes:
        xy = trail.xy_m[p.first_row : p.last_row + 1]
        marked = p.number % EVERY == 0
        line = _points(xy, sheet)
        if len(line) > 1:
            shapes.append(Polyline(role="pass-marked" if marked else "pass", points=line, title=f"Pass {p.number}"))
    shapes += [Polyline(role="entry", points=_points(d.xy_m, sheet), title=_dead(d)) for d in dead if len(d.xy_m) > 1]
    kinds += ["dead"] if dead else []
    for kind, marks in _marks(trail, passes, sheet):
        shapes += marks
        kinds += [kind] if kind not in kinds else []
    shapes += [_number(trail, p, sheet) for p in passes if p.number % EVERY == 0 and p.length_m * sheet.scale >= 60]
    shapes += _north(width)
    shapes += _key(kinds, height, profile)
    shapes += _scale_bar(sheet, height, profile)
    return Drawing(
        width=width,
        height=height + 26.0 * len(kinds) + (8.0 if kinds else 0.0),
        shapes=tuple(shapes),
        title=f"Map of {name}",
        description=_words(passes, patches, dead, profile) + ("" if found.whole else LEFT_OUT),
    )


def _fit(trail: Trail, passes: Sequence[PassFacts], rings: Sequence[FloatArray], width: float, max_height: float) -> tuple[_Sheet, float]:
    rows = [trail.xy_m[p.first_row : p.last_row + 1] for p in passes] or [trail.xy_m]
    xy = np.vstack([*rows, *rings])
    (left, bottom), (right, top) = xy.min(axis=0), xy.max(axis=0)
    wide, high = max(right - left, 1.0), max(top - bottom, 1.0)
    scale = min((width - 2 * MARGIN) / wide, (max_height - 2 * MARGIN - 30) / high)
    sheet = _Sheet(float(left), float(top), float(scale), float((width - wide * scale) / 2), MARGIN)
    return sheet, float(high * scale + 2 * MARGIN + 26)


def _points(xy: FloatArray, sheet: _Sheet) -> tuple[Point, ...]:
    return _thin(tuple(sheet.at(x, y) for x, y in xy.tolist()))


def _outline(rings: Sequence[FloatArray], sheet: _Sheet) -> list[Shape]:
    """The field with its holes as one outline each."""
    out: list[Shape] = []
    for ring in rings:
        x, y = ring[:, 0], ring[:, 1]
        solid = float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum()) > 0
        out.append(Area(role="boundary" if solid else "hole", rings=(sheet.ring([(a, b) for a, b in ring.tolist()]),)))
    return out


def _patch(kind: str, shape: object, sheet: _Sheet, profile: Profile) -> Shape:
    outlines = [shape.exterior, *shape.interiors]  # type: ignore[attr-defined]
    rings = tuple(_thin(sheet.ring([(x, y) for x, y in r.coords])) for r in outlines)
    title = f"{_named(kind, profile, first=True)}, {shown(shape.area / 1e4, 'area', profile)}"  # type: ignore[attr-defined]
    return Area(role="exception" if kind == "skipped" else "exception-light", rings=rings, title=title)


def _dead(line: DeadLine) -> str:
    return f"Run {line.run} without flow" if line.run is not None else f"Head {line.head} without flow"


def _marks(trail: Trail, passes: Sequence[PassFacts], sheet: _Sheet) -> list[tuple[str, list[Shape]]]:
    """Stops and stretches without rows, where they are."""
    out: list[tuple[str, list[Shape]]] = []
    for p in passes:
        xy = trail.xy_m[p.first_row : p.last_row + 1]
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        for e in p.exceptions:
            if e.kind not in ("stop", "no-data"):
                continue
            a, b = (sheet.at(float(np.interp(s, along, xy[:, 0])), float(np.interp(s, along, xy[:, 1]))) for s in (e.from_m, e.to_m))
            title = f"Pass {p.number}, {e.note}"
            if e.kind == "stop":
                out.append(("stop", [Rect(role="stop", corner=(a[0] - 4, a[1] - 4), width=8, height=8, title=title)]))
            else:
                out.append(("no-data", [Line(role="unknown", start=a, end=b, title=title)]))
    return out


def _number(trail: Trail, p: PassFacts, sheet: _Sheet) -> Shape:
    """The number of a pass, set into it near its beginning."""
    xy = trail.xy_m[p.first_row : p.last_row + 1]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    s = min(0.3 * p.length_m, 34.0 / sheet.scale)
    x, y = sheet.at(float(np.interp(s, along, xy[:, 0])), float(np.interp(s, along, xy[:, 1])))
    return Text(role="label-strong", at=(x, y + 6), text=str(p.number), anchor="middle", halo=True)


def _named(kind: str, profile: Profile, *, first: bool = False) -> str:
    """The word of a kind of place, in the reader's units; first: it begins a sentence."""
    word = WORDS[kind].format(width=shown(LEAST_M, "width", profile))
    return word[:1].upper() + word[1:] if first else word


def _key(kinds: Sequence[str], top: float, profile: Profile) -> list[Shape]:
    """The signs that occur, each with its word."""
    out: list[Shape] = []
    for i, kind in enumerate(kinds):
        x, y = MARGIN, top + 14 + 26.0 * i
        if kind in ("skipped", "twice"):
            out.append(Rect(role="exception" if kind == "skipped" else "exception-light", corner=(x, y - 8), width=26, height=16))
        elif kind == "stop":
            out.append(Rect(role="stop", corner=(x + 9, y - 4), width=8, height=8))
        else:
            out.append(Line(role="entry" if kind == "dead" else "unknown", start=(x, y), end=(x + 26, y)))
        out.append(Text(role="label", at=(x + 36, y + 5), text=_named(kind, profile)))
    return out


def _words(passes: Sequence[PassFacts], patches: Patches, dead: Sequence[DeadLine], profile: Profile) -> str:
    text = [f"{len(passes)} passes, north up, every fifth heavier and numbered."]
    for kind, some in (("skipped", patches.skipped), ("twice", patches.twice)):
        if some:
            area = shown(sum(p.area for p in some) / 1e4, "area", profile)
            where = "1 place" if len(some) == 1 else f"{len(some)} places"
            text.append(f"{_named(kind, profile, first=True)}: {where}, {area}.")
    text += [f"{what}." for what in dict.fromkeys(_dead(d) for d in dead)]
    return " ".join(text)


def place_rows(places: Sequence[Located], profile: Profile) -> list[tuple[str, str, str]]:
    """The patches of a map as a table: what, where, how much. [text]"""
    return [(_named(p.kind, profile), f"{p.lon_deg:.5f}, {p.lat_deg:.5f}", shown(p.area_m2 / 1e4, "area", profile)) for p in places]
