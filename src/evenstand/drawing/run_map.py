"""The run map: openers numbered from the left as seen from the seat, heads lettered, what is shut and what is watched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.drawing.shapes import Circle, Drawing, Line, Rect, Shape, Text
from evenstand.drawing.tokens import Role
from evenstand.model import Head, Outfit, Run

HEAD_W, HEAD_H = 40.0, 34.0
OPENER_R = 13.0
SIDE = 26.0
TOP = 40.0
LEVEL = 46.0
HOSE_SPACE = 64.0


@dataclass(frozen=True, slots=True)
class _Opener:
    """One opener with every run that ends in it."""

    number: int
    x: float
    y: float
    runs: tuple[Run, ...]

    @property
    def shut(self) -> bool:
        return all(run.shut for run in self.runs)


def run_map(outfit: Outfit, *, width: float = 1060.0) -> Drawing:
    """Openers in their ranks, the heads of the first stream above and of the second below them, one line for each hose.

    Parameters
    ----------
    outfit : Outfit
        With `runs`, `heads` and `streams`; what is not known is not drawn. [m]
    width : float
        Width of the drawing. [drawing units]

    Returns
    -------
    Drawing
        Left in the picture is left as seen from the seat, the front rank uppermost. A shut run is hatched and crossed; a number
        under an opener is its sensor's. Without runs the drawing says so.
    """
    if not outfit.runs:
        return _nothing(outfit, width)
    levels = _levels(outfit)
    above, below = levels[0::2], levels[1::2]
    openers, lowest = _openers(outfit, width, TOP + LEVEL * len(above) + HOSE_SPACE)
    heads = _heads(outfit, openers, levels, lowest + HOSE_SPACE + HEAD_H / 2)
    bottom = lowest + (HOSE_SPACE + LEVEL * len(below) if below else 0.0) + 12
    shapes: list[Shape] = [
        Text(role="label-strong", at=(SIDE, 18), text="LEFT"),
        Text(role="label-strong", at=(width - SIDE, 18), text="RIGHT", anchor="end"),
        Text(role="label", at=(width / 2, 18), text="as seen from the seat, looking forward: the front rank is uppermost", anchor="middle"),
    ]
    shapes += _hoses(openers, heads)
    shapes += _ranks(openers, width)
    shapes += [shape for opener in openers for shape in _opener(opener)]
    for letter, (x, y) in heads.items():
        shapes += _head(letter, x, y, _second(outfit, letter, levels))
    shapes += _key(outfit, levels, bottom)
    return Drawing(
        width=width,
        height=bottom + 26 * _key_rows(outfit, levels) + 8,
        shapes=tuple(shapes),
        title=f"Run map of {outfit.name}",
        description=_words(outfit),
    )


def _nothing(outfit: Outfit, width: float) -> Drawing:
    text = "No runs are written down yet: walk from each head to its openers and note them."
    return Drawing(
        width=width,
        height=60,
        shapes=(Text(role="label", at=(SIDE, 36), text=text),),
        title=f"Run map of {outfit.name}",
        description=text,
    )


def _levels(outfit: Outfit) -> list[str | None]:
    """Streams in the order of the outfit, those that heads name; one level when none is named."""
    used = [head.stream for head in outfit.heads]
    ordered: list[str | None] = [s.key for s in outfit.streams if s.key in used]
    rest = [s for s in dict.fromkeys(used) if s not in ordered]
    return [*ordered, *rest] or [None]


def _openers(outfit: Outfit, width: float, top: float) -> tuple[list[_Opener], float]:
    """Places of openers; neighbours too close for their numbers stand on further lines below their rank."""
    by_number: dict[int, list[Run]] = {}
    for run in outfit.runs:
        by_number.setdefault(run.number, []).append(run)
    offsets = [runs[0].offset_m for runs in by_number.values()]
    span = max(max(offsets) - min(offsets), 0.1)
    scale = (width - 2 * SIDE - 2 * OPENER_R) / span
    ranks = sorted({run.rank for run in outfit.runs})
    pitch = 2 * OPENER_R + 30.0
    rows: list[tuple[int, float]] = []  # rank, last x used on that line
    line_of: dict[int, int] = {}
    places: dict[int, float] = {}
    for rank in ranks:
        lines: list[float] = []
        members = sorted((n for n, r in by_number.items() if r[0].rank == rank), key=lambda n: by_number[n][0].offset_m)
        for number in members:
            x = SIDE + OPENER_R + (by_number[number][0].offset_m - min(offsets)) * scale
            line = next((i for i, last in enumerate(lines) if x - last >= 2 * OPENER_R + 3), len(lines))
            if line == len(lines):
                lines.append(x)
            lines[line] = x
            line_of[number] = len(rows) + line
            places[number] = x
        rows += [(rank, last) for last in lines]
    openers = [_Opener(number, places[number], top + line_of[number] * pitch, tuple(runs)) for number, runs in sorted(by_number.items())]
    return openers, top + len(rows) * pitch + 4


def _heads(outfit: Outfit, openers: Sequence[_Opener], levels: Sequence[str | None], first_below: float) -> dict[str, tuple[float, float]]:
    """Each head over or under the middle of its own openers, streams taking turns; pushed aside where two would touch."""
    stream = {head.letter: head.stream for head in outfit.heads}
    letters = list(dict.fromkeys([*stream, *(run.head for run in outfit.runs)]))
    places: dict[str, tuple[float, float]] = {}
    for index, level in enumerate(levels):
        row = []
        for letter in letters:
            mine = [o.x for o in openers if any(run.head == letter for run in o.runs)]
            if stream.get(letter, levels[0]) == level and mine:
                row.append((sum(mine) / len(mine), letter))
        last = -1e9
        for x, letter in sorted(row):
            x = max(x, last + HEAD_W + 8)
            step = LEVEL * (index // 2)
            places[letter] = (x, first_below + step if index % 2 else TOP + HEAD_H / 2 + step)
            last = x
    return places


def _second(outfit: Outfit, letter: str, levels: Sequence[str | None]) -> bool:
    head: Head | None = next((h for h in outfit.heads if h.letter == letter), None)
    return head is not None and head.stream in levels[1::2]


def _hoses(openers: Sequence[_Opener], heads: dict[str, tuple[float, float]]) -> list[Shape]:
    shapes: list[Shape] = []
    for opener in openers:
        for run in opener.runs:
            if run.head not in heads:
                continue
            x, y = heads[run.head]
            below = y > opener.y
            side = -1 if below else 1
            role: Role = "hose-second" if below else "hose"
            title = f"Head {run.head}, outlet {run.outlet}, opener {run.number}"
            shapes.append(Line(role=role, start=(x, y + side * HEAD_H / 2), end=(opener.x, opener.y - side * OPENER_R), title=title))
    return shapes


def _ranks(openers: Sequence[_Opener], width: float) -> list[Shape]:
    lines = sorted({o.y for o in openers})
    return [Line(role="tool", start=(SIDE / 2, y), end=(width - SIDE / 2, y)) for y in lines]


def _opener(opener: _Opener) -> list[Shape]:
    letters = ", ".join(f"head {run.head} outlet {run.outlet}" for run in opener.runs)
    title = f"Opener {opener.number}: {letters}{', shut' if opener.shut else ''}"
    shapes = _circle(opener.x, opener.y, title, shut=opener.shut)
    shapes.append(Text(role="label", at=(opener.x, opener.y + 5.5), text=str(opener.number), anchor="middle", halo=opener.shut))
    sensors = [run.sensor for run in opener.runs if run.sensor is not None]
    if sensors:
        x, y = opener.x, opener.y + OPENER_R + 12.0
        text = "/".join(str(s) for s in sensors)
        wide = 9.0 * len(text) + 8
        shapes.append(Rect(role="sensor", corner=(x - wide / 2, y - 9), width=wide, height=17, round=4, title=f"Sensor {text}"))
        shapes.append(Text(role="label", at=(x, y + 5), text=text, anchor="middle"))
    return shapes


def _circle(x: float, y: float, title: str, *, shut: bool) -> list[Shape]:
    """The sign of an opener; a shut one is hatched and crossed."""
    shapes: list[Shape] = [Circle(role="run-open", centre=(x, y), radius=OPENER_R, title=title)]
    if shut:
        r = OPENER_R * 0.95
        shapes += [
            Circle(role="run-shut", centre=(x, y), radius=OPENER_R),
            Line(role="boundary", start=(x - r, y - r), end=(x + r, y + r)),
            Line(role="boundary", start=(x - r, y + r), end=(x + r, y - r)),
        ]
    return shapes


def _head(letter: str, x: float, y: float, second: bool) -> list[Shape]:
    role: Role = "head-second" if second else "head"
    corner = (x - HEAD_W / 2, y - HEAD_H / 2)
    return [
        Rect(role=role, corner=corner, width=HEAD_W, height=HEAD_H, round=6, title=f"Head {letter}"),
        Text(role="label-strong", at=(x, y + 6), text=letter, anchor="middle"),
    ]


def _key_rows(outfit: Outfit, levels: Sequence[str | None]) -> int:
    return len(levels) + int(any(run.shut or run.sensor is not None for run in outfit.runs))


def _stream_words(outfit: Outfit, key: str | None) -> str:
    stream = next((s for s in outfit.streams if s.key == key), None)
    if stream is None:
        return "hoses whose stream is not written down"
    end = {"seed-row": "ends in the seed row", "side-band": "ends in the side band", "mid-row": "ends between the rows"}
    where = end.get(stream.placement or "", "where it ends is not known: dig one opener")
    name = stream.label or stream.key
    return f"{name if 'stream' in name.lower() else f'stream {name}'}: {where}"


def _key(outfit: Outfit, levels: Sequence[str | None], bottom: float) -> list[Shape]:
    shapes: list[Shape] = []
    for index, level in enumerate(levels):
        y = bottom + 12 + 26 * index
        role: Role = "hose-second" if index % 2 else "hose"
        shapes.append(Line(role=role, start=(SIDE, y), end=(SIDE + 40, y)))
        letters = ", ".join(h.letter for h in outfit.heads if h.stream == level)
        shapes.append(
            Text(role="label", at=(SIDE + 52, y + 5), text=f"{_stream_words(outfit, level)}" + (f" (heads {letters})" if letters else ""))
        )
    y = bottom + 14 + 26 * len(levels)
    x = SIDE + 12
    if any(run.shut for run in outfit.runs):
        shapes += _circle(x, y, "", shut=True)
        shapes.append(Text(role="label", at=(x + 40, y + 5), text="shut"))
        x += 130
    if any(run.sensor is not None for run in outfit.runs):
        shapes.append(Rect(role="sensor", corner=(x - 12, y - 9), width=26, height=17, round=4))
        shapes.append(Text(role="label", at=(x + 40, y + 5), text="number the run sensor shows in the cab"))
    return shapes


def _words(outfit: Outfit) -> str:
    """The map in sentences, for those who cannot see it."""
    parts = [f"{len({r.number for r in outfit.runs})} openers, numbered from the left as seen from the seat."]
    for head in outfit.heads:
        mine = sorted(run.number for run in outfit.runs if run.head == head.letter)
        parts.append(f"Head {head.letter}: openers {', '.join(map(str, mine))}.")
    shut = sorted({run.number for run in outfit.runs if run.shut})
    parts.append(f"Shut: {', '.join(map(str, shut))}." if shut else "None is shut.")
    return " ".join(parts)
