"""Turns: closed forms, the six words one by one, and paths that end where they should."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from evenstand.base.errors import RangeError
from evenstand.field import dubins_length, dubins_path, shortest_turn, turn_length
from evenstand.field.turning import _words

UP, DOWN = math.pi / 2, -math.pi / 2


def follow(pose: tuple[float, float, float], word: str, pieces: tuple[float, float, float], radius: float) -> tuple[float, float, float]:
    """Drive a word piece by piece, by the plainest geometry: turn about a centre, or go straight."""
    x, y, heading = pose
    for letter, amount in zip(word, pieces, strict=True):
        if letter == "S":
            x, y = x + amount * radius * math.cos(heading), y + amount * radius * math.sin(heading)
            continue
        side = 1 if letter == "L" else -1
        centre_x, centre_y = x - side * radius * math.sin(heading), y + side * radius * math.cos(heading)
        heading += side * amount
        x, y = centre_x + side * radius * math.sin(heading), centre_y - side * radius * math.cos(heading)
    return x, y, heading


def poses(n: int) -> list[tuple[tuple[float, float, float], tuple[float, float, float], float]]:
    rng = np.random.default_rng(11)
    rows = rng.uniform([-30, -30, 0, -30, -30, 0, 1], [30, 30, 7, 30, 30, 7, 15], (n, 7))
    return [(tuple(r[:3]), tuple(r[3:6]), float(r[6])) for r in rows]


def test_every_word_that_is_offered_ends_at_the_wanted_pose() -> None:
    seen = set()
    for start, end, radius in poses(1500):
        for word, pieces in _words(start, end, radius):
            x, y, heading = follow(start, word, pieces, radius)
            assert math.hypot(x - end[0], y - end[1]) < 1e-6, word
            assert abs(math.remainder(heading - end[2], 2 * math.pi)) < 1e-6, word
            assert min(pieces) >= 0
            seen.add(word)
    assert seen == {"LSL", "RSR", "LSR", "RSL", "RLR", "LRL"}


def test_the_shortest_of_the_offered_words_is_chosen() -> None:
    for start, end, radius in poses(300):
        lengths = [sum(pieces) * radius for _, pieces in _words(start, end, radius)]
        assert dubins_length(start, end, radius) == pytest.approx(min(lengths), rel=1e-12)


def test_no_path_of_three_pieces_from_a_fine_grid_is_shorter() -> None:
    """A blunt search over first and second pieces, the third being solved for, never beats the closed forms."""
    start, radius = (0.0, 0.0, 0.0), 1.0
    arcs = np.linspace(0, 2 * math.pi, 60)
    rng = np.random.default_rng(5)
    reached = 0
    for _ in range(6):
        end = (float(rng.uniform(-3, 3)), float(rng.uniform(-3, 3)), float(rng.uniform(0, 6)))
        best = math.inf
        for word in ("LRL", "RLR"):
            for first, second in itertools.product(arcs, arcs):
                x, y, heading = follow(start, word, (first, second, 0.0), radius)
                third = (end[2] - heading) * (1 if word[2] == "L" else -1) % (2 * math.pi)
                x, y, _ = follow(start, word, (first, second, third), radius)
                if math.hypot(x - end[0], y - end[1]) < 0.05:
                    best = min(best, first + second + third)
        reached += best < math.inf
        assert dubins_length(start, end, radius) <= best + 0.15
    assert reached >= 4


@pytest.mark.parametrize("radius", [8.0, 12.0, 15.0])
@pytest.mark.parametrize("spacing", [0.0, 9.0, 12.0, 16.0, 18.0, 24.0, 27.0, 30.0, 36.0])
def test_the_turn_between_passes_is_the_shortest_of_the_six_words(radius: float, spacing: float) -> None:
    assert turn_length(spacing, radius) == pytest.approx(dubins_length((0, 0, UP), (spacing, 0, DOWN), radius), abs=1e-9)


@pytest.mark.parametrize(("radius", "length"), [(8, 27.13), (12, 61.96), (15, 85.73)])
def test_the_turn_at_18_m_has_the_lengths_worked_by_hand(radius: float, length: float) -> None:
    assert turn_length(18, radius) == pytest.approx(length, abs=0.005)


def test_a_wide_turn_is_half_a_circle_and_a_straight() -> None:
    assert turn_length(40, 8) == pytest.approx((math.pi - 2) * 8 + 40)
    assert shortest_turn((0, 0, UP), (40, 0, DOWN), 8).word == "RSR"
    assert shortest_turn((0, 0, UP), (9, 0, DOWN), 8).word in {"LRL", "RLR"}


def test_a_path_begins_and_ends_at_its_poses_and_has_the_length_of_its_turn() -> None:
    for start, end, radius in poses(200):
        path = dubins_path(start, end, radius, step_m=0.05)
        assert path[0] == pytest.approx(start[:2])
        assert path[-1] == pytest.approx(end[:2])
        driven = np.hypot(*np.diff(path, axis=0).T).sum()
        assert driven == pytest.approx(dubins_length(start, end, radius), rel=1e-3)


def test_a_path_nowhere_bends_tighter_than_its_radius() -> None:
    for start, end, radius in poses(60):
        path = dubins_path(start, end, radius, step_m=radius / 20)
        steps = np.diff(path, axis=0)
        headings = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
        lengths = np.hypot(steps[:, 0], steps[:, 1])
        bend = np.abs(np.diff(headings)) / np.maximum((lengths[1:] + lengths[:-1]) / 2, 1e-9)
        assert bend[(lengths[1:] > 1e-6) & (lengths[:-1] > 1e-6)].max(initial=0.0) < 2.3 / radius


def test_a_pose_reached_already_needs_no_path() -> None:
    assert dubins_length((3, 4, 1), (3, 4, 1), 10) == 0
    assert dubins_length((0, 0, 0), (7, 0, 0), 10) == pytest.approx(7)
    assert len(dubins_path((3, 4, 1), (3, 4, 1), 10)) == 1


def test_a_pose_just_behind_needs_a_whole_loop() -> None:
    assert dubins_length((0, 0, 0), (-1e-6, 0, 0), 10) == pytest.approx(2 * math.pi * 10, rel=1e-3)


@pytest.mark.parametrize(("spacing", "radius"), [(-1, 8), (18, 0), (18, -3), (math.nan, 8), (18, math.inf)])
def test_impossible_turns_are_refused(spacing: float, radius: float) -> None:
    with pytest.raises(RangeError, match=r"spacing_m|radius_m"):
        turn_length(spacing, radius)


def test_a_pose_that_is_no_number_is_refused() -> None:
    with pytest.raises(RangeError, match="end"):
        dubins_length((0, 0, 0), (math.nan, 0, 0), 5)
    with pytest.raises(RangeError, match="step_m"):
        dubins_path((0, 0, 0), (5, 0, 0), 5, step_m=0)
