"""A tool on a drawbar against closed forms: the circle of radius sqrt(R² - L²), the tractrix of a straight pull, and its ground."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from evenstand.base.errors import RangeError
from evenstand.trail import coverage
from evenstand.trail.stepping import steps_of
from evenstand.trail.strips import strips_of
from evenstand.trail.towing import towed
from made_trails import tool, trail_of

BEGIN = np.zeros(1, dtype=np.int64)


def circle(radius: float, rounds: float, step: float = 0.2) -> np.ndarray:
    angle = np.arange(0, rounds * 2 * np.pi, step / radius)
    return radius * np.column_stack([np.cos(angle), np.sin(angle)])


@pytest.mark.parametrize(("radius", "length"), [(20.0, 8.0), (30.0, 10.0), (12.0, 11.0), (100.0, 9.5)])
def test_on_a_circle_the_tool_settles_on_a_smaller_one(radius, length):
    hitch = circle(radius, 1 + 6 * length / radius)
    place, face = towed(hitch, length, BEGIN, np.tile([0.0, 1.0], (len(hitch), 1)))
    late = np.hypot(*place[-len(hitch) // 10 :].T)
    assert late == pytest.approx(math.sqrt(radius**2 - length**2), rel=2e-3)
    assert np.hypot(*face.T) == pytest.approx(1.0)
    assert np.hypot(*(hitch - place).T) == pytest.approx(length)


@pytest.mark.parametrize("pieces", [1, 7, 200])
def test_a_straight_pull_is_the_tractrix_whatever_the_steps(pieces):
    """Drawn at a right angle to begin with: y = L / cosh(s / L), x = s - L tanh(s / L)."""
    length, way = 6.0, 15.0
    hitch = np.column_stack([np.linspace(0, way, pieces + 1), np.zeros(pieces + 1)])
    place, _ = towed(hitch, length, BEGIN, np.tile([0.0, -1.0], (pieces + 1, 1)))
    assert place[-1] == pytest.approx([way - length * math.tanh(way / length), length / math.cosh(way / length)])


def test_a_new_stretch_begins_anew_and_a_halt_changes_nothing():
    hitch = np.array([[0.0, 0], [0, 5], [0, 5], [50, 50], [51, 50]])
    facing = np.tile([0.0, 1.0], (5, 1))
    facing[3] = (1.0, 0.0)
    place, face = towed(hitch, 4.0, np.array([0, 3]), facing)
    assert place == pytest.approx(np.array([[0, -4], [0, 1], [0, 1], [46, 50], [47, 50]], dtype=float))
    assert face[1] == pytest.approx(face[2])


@pytest.mark.parametrize("length", [0.0, -3.0, 41.0, math.nan])
def test_a_length_that_is_none_is_refused(length):
    with pytest.raises(RangeError, match="length_m"):
        towed(np.zeros((2, 2)), length, BEGIN, np.ones((2, 2)))


def test_the_ground_of_a_towed_tool_lies_inside_the_circle_driven():
    """Two rounds on 30 m with 10 m of drawbar: the ring that is covered has the radius sqrt(900 - 100) of the tool's middle."""
    radius, length, width = 30.0, 10.0, 6.0
    trail = trail_of(circle(radius, 3.0, 1.0), dt_s=0.5)
    plain = replace(tool(width), antenna_ahead_m=length)
    drawn = replace(plain, hitch_m=length)
    late = np.arange(trail.n) > 2 * trail.n // 3
    one = replace(trail, lifted=~late)
    middle = {}
    for name, outfit in (("plain", plain), ("drawn", drawn)):
        strips = strips_of(one, outfit, steps_of(one))
        middle[name] = float(np.median(np.hypot(*((strips.left + strips.right) / 2).T)))
    assert middle["drawn"] == pytest.approx(math.sqrt(radius**2 - length**2), rel=2e-3)
    assert middle["plain"] == pytest.approx(radius, rel=2e-2)
    ring = math.pi * ((middle["drawn"] + width / 2) ** 2 - (middle["drawn"] - width / 2) ** 2)
    assert coverage(one, drawn).covered_m2 == pytest.approx(ring, rel=0.01)


def test_without_a_hitch_nothing_changes_and_on_a_straight_line_the_hitch_changes_nothing():
    line = trail_of(np.column_stack([np.zeros(80), np.arange(80) * 1.0]))
    plain = replace(tool(8.0), antenna_ahead_m=9.0)
    one, other = (strips_of(line, o, steps_of(line)) for o in (plain, replace(plain, hitch_m=6.0)))
    assert other.left == pytest.approx(one.left)
    assert other.right == pytest.approx(one.right)
    assert strips_of(line, replace(plain, hitch_m=None), steps_of(line)).left == pytest.approx(one.left)


def test_a_tool_pushed_back_is_taken_along_the_way_driven():
    there = np.column_stack([np.zeros(30), np.arange(30) * 1.0])
    xy = np.concatenate([there, there[-2:-12:-1], there[-10:]])
    trail = trail_of(xy)
    covered = coverage(trail, replace(tool(5.0), antenna_ahead_m=6.0, hitch_m=6.0))
    assert covered.covered_m2 == pytest.approx(5.0 * 29, rel=0.02)
