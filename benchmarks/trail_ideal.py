"""What an ideal test could find, for the detectors a simple one can be written for: the bar of the bench.

An ideal test knows what it looks for: the true distances of the day, the numbers of the lanes, the moments of the lifts and the shape of
a sag, the siblings of a run. From clean days it knows how its own figure scatters; at its share of the one budget it speaks beyond so
many standard deviations of that, and a fault 1.28 of them larger is found nine times in ten.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
BUDGET = 0.004  # false alarms a field-day, over all detectors of a trail together
SHARE = BUDGET / 16
TWO_SIDED, ONE_SIDED = 3.66, 3.48  # standard deviations at that share
NINE = 1.2816
SAG_S, SAG_TIME_S, SAG_SHARE = 7.0, 4.0, 0.06
BAR = 1.5
IDEAL_KINDS = ("distance-scale", "guidance-width", "fan-sag", "run-stretch")


def figures_of_day(trail: Any, outfit: Any, *, distance_ratio: float, way: str) -> dict[str, float]:
    """The ideal test's figure on one clean day, by kind: share off, metres, rpm, seconds."""
    out = {"distance-scale": distance_ratio - 1.0}
    sag = _sag(trail)
    if sag is not None:
        out["fan-sag"] = sag
    if way != "planned":  # lanes due north, their numbers known
        lanes = _lanes(trail, float(outfit.widths.guidance_m or outfit.width_m))
        if lanes is not None:
            out["guidance-width"] = lanes
    streak = _streak(trail)
    if streak is not None:
        out["run-stretch"] = streak
    return out


def _work(trail: Any) -> npt.NDArray[np.bool_]:
    up = trail.lifted if trail.lifted is not None else np.zeros(trail.n, dtype=bool)
    on = trail.sections.any(axis=1) if trail.sections is not None else np.ones(trail.n, dtype=bool)
    return np.asarray(~up & on)


def _sag(trail: Any) -> float | None:
    """Depth of a sag of known shape at the known lifts, by least squares. [rpm]"""
    fan = trail.fan_turns_s
    if fan is None:
        return None
    work = _work(trail)
    rows = np.flatnonzero(work[:-1] & ~work[1:]) + 1
    shape = np.exp(-np.arange(20) / SAG_S)
    depth = []
    for row in rows[(rows >= 30) & (rows < trail.n - 20)]:
        fall = np.median(fan[row - 30 : row]) - fan[row : row + 20]
        depth.append(float((fall * shape).sum() / (shape**2).sum()))
    return 60 * float(np.mean(depth)) if len(depth) >= 3 else None


def _lanes(trail: Any, spacing_m: float) -> float | None:
    """Slope of the lanes' places over their numbers, less the spacing aimed at. [m]"""
    work = _work(trail)
    edge = np.flatnonzero(np.diff(work.astype(np.int8)) != 0) + 1
    place = []
    for a, b in zip(np.concatenate([[0], edge]), np.concatenate([edge, [trail.n]]), strict=True):
        xy = trail.xy_m[a:b]
        if work[a] and b - a >= 40 and float(np.ptp(xy[:, 0])) < spacing_m / 2:
            place.append(float(np.mean(xy[10:-10, 0])))
    if len(place) < 4:
        return None
    x = np.array(place)
    number = np.round((x - x[0]) / spacing_m)
    number -= number.mean()
    way = float((number**2).sum())
    return float((number * (x - x.mean())).sum()) / way - spacing_m if way > 0 else None


def _streak(trail: Any) -> float | None:
    """Longest stretch at work in which one run alone was missed, sighted ones of the others about it. [s]"""
    present = trail.run_present
    if present is None or present.shape[1] < 3:
        return None
    every = trail.sections.all(axis=1) if trail.sections is not None else True
    seen = present[_work(trail) & every]
    most = seen.mean(axis=1) > 0.7
    longest = 0
    for missed in (~seen[most]).T:
        edge = np.flatnonzero(np.diff(np.concatenate([[0], missed.astype(np.int8), [0]])))
        if edge.size:
            longest = max(longest, int((edge[1::2] - edge[::2]).max()))
    return float(longest)


def smallest_ideal(days: Sequence[Mapping[str, float]], usual_fan_rpm: float) -> dict[str, dict[str, float | None]]:
    """By kind: sd of the figure on clean days, the smallest size an ideal test finds nine times in ten, and the same for "beyond what is
    worth speaking of" (the limit of the detector) where it has one."""
    out: dict[str, dict[str, float | None]] = {}
    for kind in IDEAL_KINDS:
        values = np.array([d[kind] for d in days if kind in d])
        if values.size < 20:
            continue
        middle, sd = float(values.mean()), float(values.std(ddof=1))
        limit = _limit(kind, usual_fan_rpm)
        if kind == "run-stretch":
            scale = float(np.maximum(values - np.median(values), 0).mean()) * 2  # the tail beyond the middle falls off by e each so many
            smallest = float(np.median(values)) + scale * math.log(0.5 / SHARE)
        else:
            z = ONE_SIDED if kind == "fan-sag" else TWO_SIDED
            smallest = max(middle, 0.0) + (z + NINE) * sd if kind == "fan-sag" else (z + NINE) * sd
        told = max(smallest, limit + NINE * sd) if limit else smallest
        out[kind] = {"days": float(values.size), "sd": sd, "smallest": smallest, "limit": limit or None, "beyond_limit": told}
    return out


def _limit(kind: str, usual_fan_rpm: float) -> float:
    """The size at which the detector begins to speak because it is worth it. [unit of the kind]"""
    from evenstand.trail.faults import limit

    if kind == "fan-sag":
        return SAG_SHARE * usual_fan_rpm * math.exp(SAG_TIME_S / SAG_S)
    return {"distance-scale": limit("distance-scale"), "guidance-width": limit("lane-least")}.get(kind, 0.0)
