"""Turns of a machine that goes forward only and cannot turn tighter than a radius."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from evenstand.base.errors import require_range
from evenstand.base.worked import worked
from evenstand.model.place import FloatArray

Pose = tuple[float, float, float]
"""x, y and heading: counter-clockwise from the x axis. [m, m, rad]"""

_TURN = 2 * math.pi
_DUST = 1e-9


@worked(
    formula="radius_m * (3 * pi - 4 * asin(0.5 + min(spacing_m, 2 * radius_m) / (4 * radius_m))) + max(spacing_m - 2 * radius_m, 0)",
    source="bochtis-vougioukas-2008",
    where="turn between neighbouring tracks",
)
def turn_length(spacing_m: float, radius_m: float) -> float:
    """Length of the turn from the end of one pass into a parallel pass driven the other way.

    Passes at least two radii apart take half a circle with a straight piece in it; nearer ones a bulb, whose two outward
    arcs make the room.

    Parameters
    ----------
    spacing_m : float
        Distance between the two passes, 0 <= spacing_m. [m]
    radius_m : float
        Smallest turning radius of the tool's middle, 0 < radius_m. [m]

    Returns
    -------
    float
        Length from pass end to pass start, abreast of each other: the shortest forward path. [m]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    References
    ----------
    Bochtis and Vougioukas, Minimising the non-working distance travelled by machines operating in a headland field pattern,
    Biosystems Engineering 101 (2008) 1-12: the formula from memory, not read there; it equals the shortest of the six
    kinds of path in `dubins_length`, which the tests check.

    Examples
    --------
    18 m apart: (pi - 2) * 8 + 18 = 27.13 m at 8 m radius, but 61.96 m at 12 m radius, where a bulb is needed.

    >>> round(turn_length(18, 8), 2), round(turn_length(18, 12), 2)
    (27.13, 61.96)
    """
    require_range("spacing_m", spacing_m, 0, 1e6, unit="m")
    require_range("radius_m", radius_m, 0, 1e6, low_open=True, unit="m")
    share = 0.5 + min(spacing_m, 2 * radius_m) / (4 * radius_m)
    return radius_m * (3 * math.pi - 4 * math.asin(share)) + max(spacing_m - 2 * radius_m, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """A path of three pieces. word: "LSL", "RSR", "LSR", "RSL", "RLR" or "LRL" (left, straight, right); pieces in radians of arc, the
    straight one in radii [rad]; length_m [m]."""

    word: str
    pieces: tuple[float, float, float]
    radius_m: float

    @property
    def length_m(self) -> float:
        """Whole length. [m]"""
        return sum(self.pieces) * self.radius_m


def dubins_length(start: Pose, end: Pose, radius_m: float) -> float:
    """Length of the shortest forward path from one pose to another.

    Parameters
    ----------
    start, end : (x, y, heading)
        Place, and heading counter-clockwise from the x axis. [m, m, rad]
    radius_m : float
        Smallest turning radius, 0 < radius_m. [m]

    Returns
    -------
    float
        Length. [m]

    Raises
    ------
    RangeError
        If the radius is not positive, or a pose holds something that is no number.

    References
    ----------
    Dubins, On curves of minimal length with a constraint on average curvature, American Journal of Mathematics 79 (1957)
    497-516 (from memory); forms of the six words after Shkel and Lumelsky, Robotics and Autonomous Systems 34 (2001) 179-202
    (abstract and introduction read). dubins-open-test: length of the path in its first test.

    Examples
    --------
    >>> round(dubins_length((0, 0, 0), (5, 0, 3), 1.0), 4)
    8.2725
    """
    return shortest_turn(start, end, radius_m).length_m


def shortest_turn(start: Pose, end: Pose, radius_m: float) -> Turn:
    """The shortest of the six kinds of path; the first in the order LSL RSR LSR RSL RLR LRL where two are equal.

    Parameters
    ----------
    start, end : (x, y, heading)
        Place, and heading counter-clockwise from the x axis. [m, m, rad]
    radius_m : float
        Smallest turning radius, 0 < radius_m. [m]

    Returns
    -------
    Turn
        Its word and pieces. [rad, m]

    Raises
    ------
    RangeError
        As for `dubins_length`.

    References
    ----------
    dubins-open-test: length of the path in its first test; forms of the six words as in `dubins_length`.
    """
    require_range("radius_m", radius_m, 0, 1e6, low_open=True, unit="m")
    for name, pose in (("start", start), ("end", end)):
        for value in pose:
            require_range(name, value, -1e9, 1e9)
    best: Turn | None = None
    for word, pieces in _words(start, end, radius_m):
        turn = Turn(word=word, pieces=pieces, radius_m=radius_m)
        if best is None or turn.length_m < best.length_m - _DUST:
            best = turn
    assert best is not None  # LSL and RSR always exist
    return best


def dubins_path(start: Pose, end: Pose, radius_m: float, *, step_m: float = 1.0) -> FloatArray:
    """Points along the shortest forward path, both ends included.

    Parameters
    ----------
    start, end : (x, y, heading)
        Place, and heading counter-clockwise from the x axis. [m, m, rad]
    radius_m : float
        Smallest turning radius, 0 < radius_m. [m]
    step_m : float
        Largest distance between points on arcs; straight pieces have their ends only. [m]

    Returns
    -------
    ndarray (n, 2)
        Places. [m]

    Raises
    ------
    RangeError
        As for `dubins_length`, or if the step is not positive.

    References
    ----------
    dubins-open-test: length of the path in its first test; forms of the six words as in `dubins_length`.
    """
    require_range("step_m", step_m, 0, None, low_open=True, unit="m")
    turn = shortest_turn(start, end, radius_m)
    x, y, heading = start
    rows = [np.array([[x, y]])]
    for letter, amount in zip(turn.word, turn.pieces, strict=True):
        if amount <= _DUST:
            continue
        piece = _straight(x, y, heading, amount * radius_m) if letter == "S" else _arc(x, y, heading, letter, amount, radius_m, step_m)
        rows.append(piece)
        x, y = piece[-1]
        heading += {"L": amount, "R": -amount, "S": 0.0}[letter]
    path = np.vstack(rows)
    path[-1] = end[:2]
    return path


def _straight(x: float, y: float, heading: float, length: float) -> FloatArray:
    return np.array([[x + length * math.cos(heading), y + length * math.sin(heading)]])


def _arc(x: float, y: float, heading: float, letter: str, angle: float, radius: float, step: float) -> FloatArray:
    side = 1.0 if letter == "L" else -1.0
    turned = np.linspace(0.0, angle, max(2, math.ceil(angle * radius / step) + 1))[1:]
    course = heading + side * turned
    return np.column_stack(
        [x + side * radius * (np.sin(course) - math.sin(heading)), y - side * radius * (np.cos(course) - math.cos(heading))]
    )


def _words(start: Pose, end: Pose, radius: float) -> Iterator[tuple[str, tuple[float, float, float]]]:
    """Those of the six words that exist between two poses, with their pieces. [rad]"""
    dx, dy = (end[0] - start[0]) / radius, (end[1] - start[1]) / radius
    d, bearing = math.hypot(dx, dy), math.atan2(dy, dx)
    a, b = _positive(start[2] - bearing), _positive(end[2] - bearing)
    for word, solve in _SOLVERS:
        pieces = solve(d, a, b)
        if pieces is not None:
            yield word, pieces


Pieces = tuple[float, float, float] | None


def _positive(angle: float) -> float:
    """An angle from 0 to a whole turn; what is a whole turn but for rounding is none. [rad]"""
    angle %= _TURN
    return 0.0 if _TURN - angle < _DUST else angle


def _lsl(d: float, a: float, b: float) -> Pieces:
    square = 2 + d * d - 2 * math.cos(a - b) + 2 * d * (math.sin(a) - math.sin(b))
    if square < -_DUST:
        return None
    course = math.atan2(math.cos(b) - math.cos(a), d + math.sin(a) - math.sin(b))
    return _positive(course - a), math.sqrt(max(square, 0.0)), _positive(b - course)


def _lsr(d: float, a: float, b: float) -> Pieces:
    square = -2 + d * d + 2 * math.cos(a - b) + 2 * d * (math.sin(a) + math.sin(b))
    if square < -_DUST:
        return None
    straight = math.sqrt(max(square, 0.0))
    course = math.atan2(-math.cos(a) - math.cos(b), d + math.sin(a) + math.sin(b)) - math.atan2(-2.0, straight)
    return _positive(course - a), straight, _positive(course - b)


def _lrl(d: float, a: float, b: float) -> Pieces:
    cosine = (6 - d * d + 2 * math.cos(a - b) + 2 * d * (math.sin(b) - math.sin(a))) / 8
    if abs(cosine) > 1:
        return None
    middle = _TURN - math.acos(cosine)
    first = _positive(-a - math.atan2(math.cos(a) - math.cos(b), d + math.sin(a) - math.sin(b)) + middle / 2)
    return first, middle, _positive(b - a - first + middle)


def _mirrored(solve: Callable[[float, float, float], Pieces]) -> Callable[[float, float, float], Pieces]:
    """The same word with left and right exchanged: the world seen in a mirror along the line from start to end."""
    return lambda d, a, b: solve(d, -a, -b)


_SOLVERS: tuple[tuple[str, Callable[[float, float, float], Pieces]], ...] = (
    ("LSL", _lsl),
    ("RSR", _mirrored(_lsl)),
    ("LSR", _lsr),
    ("RSL", _mirrored(_lsr)),
    ("RLR", _mirrored(_lrl)),
    ("LRL", _lrl),
)
