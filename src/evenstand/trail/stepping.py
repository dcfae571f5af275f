"""Steps from one row of a trail to the next: which are whole, and in which the tool was at work."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenstand.base.errors import require_range
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import BoolArray, Trail

LEAST_GAP_S = 3.0
GAP_SHARE = 4.0 / 3.0
FASTEST_M_S = 5.0
FASTEST_SHARE = 2.5
LEAST_JUMP_M = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When two rows still belong to one movement. gap_s: longest time between them [s]; fastest_m_s: fastest a tool at work moves [m/s];
    usual_s: usual time between rows [s]. A jump is what is farther than fastest_m_s allows in the time between, or in the usual time
    where the clock stutters."""

    gap_s: float
    fastest_m_s: float
    usual_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """Steps i to i+1 of a trail of n rows, arrays of shape (n-1,).

    dt_s [s]; length_m [m]; whole: within the limits, so nothing is missing between the rows; sowing: whole and the tool at work,
    by the state of the earlier row; basis: which columns told that the tool was at work; limits: the limits used.
    """

    dt_s: FloatArray
    length_m: FloatArray
    whole: BoolArray
    sowing: BoolArray
    basis: str
    limits: Limits


def limits_of(trail: Trail, *, gap_s: float | None = None, fastest_m_s: float | None = None) -> Limits:
    """The limits that suit a trail: a gap is longer than 3 s and than 4/3 of the usual interval; a jump is faster than 5 m/s and than
    2.5 times the usual speed.

    Parameters
    ----------
    trail : Trail
        The trail. [-]
    gap_s : float or None
        Longest interval between rows that belong together; None chooses. [s]
    fastest_m_s : float or None
        Fastest movement of a tool at work; None chooses. [m/s]

    Returns
    -------
    Limits
        Both limits. [s, m/s]

    Raises
    ------
    RangeError
        If a limit given is not above 0.
    """
    for name, value, unit in (("gap_s", gap_s, "s"), ("fastest_m_s", fastest_m_s, "m/s")):
        if value is not None:
            require_range(name, value, 0.0, low_open=True, unit=unit)
    dt = np.diff(trail.t_ms) / 1e3
    usual_s = float(np.median(dt[dt > 0])) if (dt > 0).any() else 0.0
    if fastest_m_s is None:
        length = _lengths(trail)
        moving = (dt > 0) & (length > 0.05 * dt)
        usual = float(np.median(length[moving] / dt[moving])) if moving.any() else 0.0
        fastest_m_s = max(FASTEST_M_S, FASTEST_SHARE * usual)
    return Limits(gap_s=gap_s if gap_s is not None else max(LEAST_GAP_S, GAP_SHARE * usual_s), fastest_m_s=fastest_m_s, usual_s=usual_s)


def steps_of(trail: Trail, *, limits: Limits | None = None) -> Steps:
    """All steps of a trail.

    Parameters
    ----------
    trail : Trail
        The trail, n rows. [-]
    limits : Limits or None
        What still belongs together; None chooses by `limits_of`. [-]

    Returns
    -------
    Steps
        Arrays of shape (n-1,). [s, m]
    """
    limits = limits or limits_of(trail)
    dt = np.diff(trail.t_ms) / 1e3
    length = _lengths(trail)
    if (dt > 0).any():
        reach = np.maximum(limits.fastest_m_s * np.maximum(dt, limits.usual_s), LEAST_JUMP_M)
        whole = (dt > 0) & (dt <= limits.gap_s + 1e-9) & (length <= reach + 1e-9)
    else:  # a log without usable times: only the distance can tell
        usual = float(np.median(length[length > 0])) if (length > 0).any() else 0.0
        whole = length <= FASTEST_SHARE * usual
    at_work, basis = at_work_rows(trail)
    return Steps(dt_s=dt, length_m=length, whole=whole, sowing=whole & at_work[:-1], basis=basis, limits=limits)


def at_work_rows(trail: Trail) -> tuple[BoolArray, str]:
    """In which rows the tool was at work, shape (n,), and which columns told. [-]"""
    n = trail.n
    if trail.sections is not None and trail.sections.shape[1]:
        on = np.asarray(trail.sections.any(axis=1))
        if trail.lifted is not None:
            return on & ~trail.lifted, "sections and lift"
        return on, "sections"
    if trail.lifted is not None:
        return ~trail.lifted, "lift"
    if trail.echoed_kg_ha is not None and np.isfinite(trail.echoed_kg_ha).any():
        return np.asarray((np.nan_to_num(trail.echoed_kg_ha) > 0).any(axis=1)), "reported rate above 0"
    return np.ones(n, dtype=np.bool_), "every row: no column tells when the tool was at work"


def _lengths(trail: Trail) -> FloatArray:
    step = np.diff(trail.xy_m, axis=0)
    out: FloatArray = np.hypot(step[:, 0], step[:, 1])
    return out


def runs_of(mask: BoolArray) -> tuple[IntArray, IntArray]:
    """First index and one past the last of every stretch of True, shapes (m,). [-]"""
    padded = np.concatenate([[False], mask, [False]]).astype(np.int8)
    change = np.diff(padded)
    return np.flatnonzero(change == 1), np.flatnonzero(change == -1)
