"""Pass strips: each pass unrolled as one line, what is not as it should be in ink and hatch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from evenstand.base.units import Profile, shown
from evenstand.drawing.shapes import Drawing, Line, Rect, Shape, Text

MarkKind = Literal["skipped", "twice", "run-dead", "off-rate", "lifted", "sections-off", "no-data", "stop"]
WORDS: dict[MarkKind, str] = {
    "skipped": "not sown",
    "twice": "sown twice",
    "run-dead": "a run without flow",
    "off-rate": "rate off, as the controller reported",
    "lifted": "counted while lifted",
    "sections-off": "a part of the tool shut off",
    "no-data": "nothing recorded",
    "stop": "stop",
}
PITCH = 19.0
LEFT, RIGHT = 58.0, 104.0
NARROW = 480.0
NARROW_LEFT, NARROW_RIGHT = 36.0, 82.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One stretch or spot of a pass. from_m, to_m along the pass [m]; note: what is seen there, in words."""

    kind: MarkKind
    from_m: float
    to_m: float
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One pass: number, length [m], and its marks."""

    number: int
    length_m: float
    marks: tuple[Mark, ...] = ()


def pass_strips(
    strips: Sequence[Strip],
    *,
    width: float = 720.0,
    profile: Profile = "si",
    name: str = "the field",
    longest_m: float | None = None,
    key: Sequence[MarkKind] | None = None,
) -> Drawing:
    """All passes from the first to the last, each one line as long as the pass.

    Parameters
    ----------
    strips : sequence of Strip
        In the order driven. [m]
    width : float
        Width of the drawing. [drawing units]
    profile : str
        Units of lengths. [-]
    name : str
        For the title. [-]
    longest_m : float or None
        Length that fills the width; None: the longest of these, so that parts of one drawing share a scale. [m]
    key : sequence of str or None
        Signs to explain below; None: those that occur. [-]

    Returns
    -------
    Drawing
        A plain line is a pass as it should be; hatch is sown twice or off; a gap is not sown; dots are not recorded.
    """
    longest = longest_m or max((s.length_m for s in strips), default=1.0) or 1.0
    lead = 10 if key == () else 16
    left, right = (LEFT, RIGHT) if width >= NARROW else (NARROW_LEFT, NARROW_RIGHT)
    scale = (width - left - right) / longest
    shapes: list[Shape] = []
    for row, strip in enumerate(strips):
        shapes += _strip(strip, row * PITCH + lead, left, scale, profile)
    height = len(strips) * PITCH + (0 if key == () else 24)  # parts of one drawing follow each other at the usual pitch
    kinds = [kind for kind in WORDS if any(mark.kind == kind for strip in strips for mark in strip.marks)]
    explained = kinds if key is None else list(key)
    for i, kind in enumerate(explained):
        y = height + 10 + i * 24
        shapes += _mark(kind, left, y, 44.0, "")
        shapes.append(Text(role="label", at=(left + 56, y + 5), text=WORDS[kind]))
    return Drawing(
        width=width,
        height=height + len(explained) * 24 + (10 if explained else 0),
        shapes=tuple(shapes),
        title=f"Pass strips of {name}",
        description=_words(strips, kinds),
    )


def _strip(strip: Strip, y: float, left: float, scale: float, profile: Profile) -> list[Shape]:
    end = left + strip.length_m * scale
    shapes: list[Shape] = [Text(role="label", at=(left - 8, y + 5), text=str(strip.number), anchor="end")]
    shapes.append(Text(role="label-quiet", at=(end + 8, y + 5), text=shown(strip.length_m, "distance", profile)))
    at = 0.0
    for gap in sorted((m for m in strip.marks if m.kind in {"skipped", "no-data"}), key=lambda m: m.from_m):
        if gap.from_m > at:
            shapes.append(Line(role="strip", start=(left + at * scale, y), end=(left + gap.from_m * scale, y)))
        at = max(at, gap.to_m)
    if at < strip.length_m:
        shapes.append(Line(role="strip", start=(left + at * scale, y), end=(end, y), title=f"Pass {strip.number}"))
    for mark in strip.marks:
        low, high = (shown(m, "distance", profile) for m in (mark.from_m, mark.to_m))
        note = f"Pass {strip.number}, {WORDS[mark.kind]}, {low} to {high}. {mark.note}".strip()
        shapes += _mark(mark.kind, left + mark.from_m * scale, y, max(3.0, (mark.to_m - mark.from_m) * scale), note)
    return shapes


def _mark(kind: MarkKind, x: float, y: float, length: float, title: str) -> list[Shape]:
    """The sign of a kind, told apart by shape and not by colour."""
    if kind == "skipped":
        return [
            Line(role="strip", start=(x, y - 7), end=(x, y + 7), title=title),
            Line(role="strip", start=(x + length, y - 7), end=(x + length, y + 7)),
        ]
    if kind == "no-data":
        return [Line(role="unknown", start=(x, y), end=(x + length, y), title=title)]
    if kind == "twice":
        return [Rect(role="exception", corner=(x, y - 6), width=length, height=12, title=title)]
    if kind == "off-rate":
        return [Rect(role="exception-light", corner=(x, y - 6), width=length, height=12, title=title)]
    if kind == "run-dead":
        return [Rect(role="opener", corner=(x, y - 6), width=length, height=5, title=title)]
    if kind == "lifted":
        return [Line(role="headland", start=(x, y - 5), end=(x + length, y - 5), title=title)]
    if kind == "sections-off":
        return [Line(role="headland", start=(x, y + 6), end=(x + length, y + 6), title=title)]
    return [Rect(role="stop", corner=(x - 4, y - 6), width=8, height=12, title=title)]


def _words(strips: Sequence[Strip], kinds: Sequence[MarkKind]) -> str:
    if not strips:
        return "No passes."
    text = f"{len(strips)} passes."
    for kind in kinds:
        where = [str(s.number) for s in strips if any(m.kind == kind for m in s.marks)]
        text += f" {WORDS[kind].capitalize()} on pass{'es' if len(where) > 1 else ''} {', '.join(where)}."
    return text if kinds else text + " Nothing to note."
