"""A straight line through readings that are uncertain both ways: weighed against shown, mass against turns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import InfeasibleError, RangeError

ROUNDS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationLine:
    """y = start + slope x. slope, start; their sds from the stated uncertainties; cov: of both; chi2: weighted squares left over,
    dof: n - 2; scatter: sqrt(chi2 / dof), above 1 where the points lie further
    off than stated; scaled sds are sd times that. [units of x and y]"""

    slope: float
    slope_sd: float
    start: float
    start_sd: float
    cov: float
    chi2: float
    dof: int

    @property
    def scatter(self) -> float:
        """Size of the misfit against what was stated; not-a-number for two points. [-]"""
        return math.sqrt(self.chi2 / self.dof) if self.dof else math.nan


def calibration_line(
    x: Sequence[float] | npt.NDArray[np.float64],
    y: Sequence[float] | npt.NDArray[np.float64],
    x_sd: Sequence[float] | npt.NDArray[np.float64] | float,
    y_sd: Sequence[float] | npt.NDArray[np.float64] | float,
) -> CalibrationLine:
    """Best straight line with uncertainties in both directions (York's iteration).

    With cumulative turns and weighed mass the slope is the product per turn and the start what was metered before the first
    count; with shown and weighed mass the slope is the true over the typed product per turn, and a start off zero points at one
    missed fill or a tare, not at the meter.

    Parameters
    ----------
    x : array_like, shape (n,)
        First reading, such as turns or mass shown. [any]
    y : array_like, shape (n,)
        Second reading, such as mass weighed. [any]
    x_sd, y_sd : array_like, shape (n,), or float
        Their standard deviations; x_sd may be 0, y_sd may not. [as x and y]

    Returns
    -------
    CalibrationLine
        Slope and start with standard deviations. [units of x and y]

    Raises
    ------
    RangeError
        For fewer than two points, points above one another only, or a y_sd that is not above 0.
    InfeasibleError
        If the iteration does not settle.

    References
    ----------
    D. York, Least-squares fitting of a straight line, Canadian Journal of Physics 44, 1966 (from memory); held against the literature's
    results for Pearson's data with York's weights, and a certified straight line.
    """
    px, py = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if px.shape != py.shape or px.ndim != 1 or px.size < 2:
        raise RangeError(f"{px.size} and {py.size} readings do not make a line", where="x, y", limit="2 pairs or more", cure="Give pairs.")
    sx, sy = np.broadcast_to(np.asarray(x_sd, dtype=float), px.shape), np.broadcast_to(np.asarray(y_sd, dtype=float), py.shape)
    if not (np.isfinite(px).all() and np.isfinite(py).all() and (sx >= 0).all() and (sy > 0).all()):
        raise RangeError("a reading is no number, or has no standard deviation", where="x_sd, y_sd", limit="0 <= x_sd, 0 < y_sd")
    if np.ptp(px) == 0:
        raise RangeError("all x are the same", where="x", cure="Read again further on.")
    slope = float(np.polyfit(px - px.mean(), py, 1)[0])
    for _ in range(ROUNDS):
        new = _step(px, py, sx, sy, slope)
        done = abs(new - slope) <= 1e-15 * max(1.0, abs(new))
        slope = new
        if done:
            break
    else:
        if not math.isclose(new, _step(px, py, sx, sy, new), rel_tol=1e-9):
            raise InfeasibleError("the line does not settle", where="x, y", cure="Look for a reading that is far off.")
    return _line(px, py, sx, sy, slope)


def _weights(sx: npt.NDArray[np.float64], sy: npt.NDArray[np.float64], slope: float) -> npt.NDArray[np.float64]:
    return np.asarray(1 / (sy**2 + slope**2 * sx**2))


def _step(
    x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], sx: npt.NDArray[np.float64], sy: npt.NDArray[np.float64], slope: float
) -> float:
    """The next slope: each point is moved to where on the line it most likely lies."""
    w = _weights(sx, sy, slope)
    u, v = x - np.average(x, weights=w), y - np.average(y, weights=w)
    moved = w * (sy**2 * u + slope * sx**2 * v)
    return float((w * moved * v).sum() / (w * moved * u).sum())


def _line(
    x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], sx: npt.NDArray[np.float64], sy: npt.NDArray[np.float64], slope: float
) -> CalibrationLine:
    w = _weights(sx, sy, slope)
    mid_x, mid_y = float(np.average(x, weights=w)), float(np.average(y, weights=w))
    start = mid_y - slope * mid_x
    moved = mid_x + w * (sy**2 * (x - mid_x) + slope * sx**2 * (y - mid_y))
    centre = float(np.average(moved, weights=w))
    slope_var = 1 / float((w * (moved - centre) ** 2).sum())
    return CalibrationLine(
        slope=slope,
        slope_sd=math.sqrt(slope_var),
        start=start,
        start_sd=math.sqrt(1 / float(w.sum()) + centre**2 * slope_var),
        cov=-centre * slope_var,
        chi2=float((w * (y - slope * x - start) ** 2).sum()),
        dof=x.size - 2,
    )
