"""How a tool on a drawbar follows its hitch: it cuts corners, on the curve known as the tractrix."""

from __future__ import annotations

import math

import numpy as np

from evenstand.base.errors import require_range
from evenstand.model.place import FloatArray, IntArray


def towed(hitch_m: FloatArray, length_m: float, first: IntArray, facing: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where a towed tool is and which way it faces while its hitch is pulled along a line of straight pieces.

    On each piece the angle between drawbar and way shrinks by tan(angle/2) -> tan(angle/2) exp(-piece/length), which is exact.

    Parameters
    ----------
    hitch_m : array (n, 2)
        Places of the hitch in the order driven. [m]
    length_m : float
        From the hitch back to the tool's middle, where its wheels and openers neither slide nor steer. [m]
    first : array (k,)
        First place of every stretch driven without a break, ascending from 0. [-]
    facing : array (n, 2)
        Unit vectors; at the first place of a stretch the tool faces so. [-]

    Returns
    -------
    (array (n, 2), array (n, 2))
        The tool's middle [m] and unit vectors from it to the hitch [-].

    Raises
    ------
    RangeError
        If the length is not above 0 and at most 40 m.

    References
    ----------
    The tractrix is the line of a load drawn on a rod whose other end moves straight on. On a circle of radius R the tool ends up on a
    circle of radius sqrt(R² - length²).
    """
    require_range("length_m", length_m, 0.0, 40.0, low_open=True, unit="m")
    n = hitch_m.shape[0]
    begins = np.zeros(n, dtype=np.bool_)
    begins[first] = True
    x, y = hitch_m[:, 0].tolist(), hitch_m[:, 1].tolist()
    fx, fy = facing[:, 0].tolist(), facing[:, 1].tolist()
    out: list[tuple[float, float]] = []
    ux, uy = 0.0, 1.0
    for i, new in enumerate(begins.tolist()):
        if new:
            ux, uy = fx[i], fy[i]
        else:
            ux, uy = _pulled(ux, uy, x[i] - x[i - 1], y[i] - y[i - 1], length_m)
        out.append((ux, uy))
    face = np.array(out, dtype=np.float64).reshape(-1, 2)
    return hitch_m - length_m * face, face


def _pulled(ux: float, uy: float, dx: float, dy: float, length_m: float) -> tuple[float, float]:
    """The drawbar's direction after its hitch moved straight on by (dx, dy)."""
    move = math.hypot(dx, dy)
    if move == 0.0:
        return ux, uy
    ex, ey = dx / move, dy / move
    angle = math.atan2(ex * uy - ey * ux, ex * ux + ey * uy)
    if abs(angle) > math.pi - 1e-9:  # pushed straight back: nothing says to which side it would fold
        return ux, uy
    angle = 2.0 * math.atan(math.tan(angle / 2.0) * math.exp(-move / length_m))
    c, s = math.cos(angle), math.sin(angle)
    return ex * c - ey * s, ex * s + ey * c
