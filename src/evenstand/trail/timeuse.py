"""How the time was used, by a stated set of rules, and what that gave in hectares an hour against the plan and a published range.

The rules stand in docs/trails.md, their figures in trail_faults.toml. Sowing, turning, standing, moving and missing add up to the time
from the first row to the last; standing is filling and idle where the log or the field tells them apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenstand.base.errors import require_range
from evenstand.machine.delays import lag_distance
from evenstand.machine.travel import field_capacity
from evenstand.model.outfit import Outfit
from evenstand.model.place import Boundary, FloatArray
from evenstand.model.plan import Plan
from evenstand.model.trail import BoolArray, Trail
from evenstand.reference.practice import default
from evenstand.trail.faults import rule
from evenstand.trail.levels import level_columns
from evenstand.trail.stepping import Steps, at_work_rows, runs_of

RISE_SHARE = 0.05
BY_LEVEL, BY_PLACE, BY_LENGTH = "a level that rises", "a fill point near by", "the length of the stand alone"


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeUse:
    """Seconds by what was done. sowing: at work and moving; turning: up and moving between two stretches at work, no longer than 120 s;
    standing: slower than 0.3 m/s; moving: other movement; missing: no rows. [s] stops: stands of a minute or more. Of standing: filling_s,
    and idle_s, the rest of it; fills: how many; filling_by: what told them from other stands."""

    sowing_s: float
    turning_s: float
    standing_s: float
    moving_s: float
    missing_s: float
    stops: int
    filling_s: float = 0.0
    idle_s: float = 0.0
    fills: int = 0
    filling_by: str = ""

    @property
    def total_s(self) -> float:
        """All of it. [s]"""
        return self.sowing_s + self.turning_s + self.standing_s + self.moving_s + self.missing_s


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkRate:
    """Hectares an hour. area_ha: sown, by area_by ("ground covered" once or more, or "distance times width") [ha]; field_h: from the first
    row at work to the last, rows missing left out; missing_h: those left out [h]; at_work_ha_h: while sowing; over_all_ha_h: over field_h;
    in_theory_ha_h: width times mean speed at work [ha/h]; efficiency: over_all over in_theory [-]; published_low, published_high: the
    published range and its source [-]; plan_low, plan_high: efficiency the plan took [-]; plan_low_ha_h, plan_high_ha_h: what it made of
    it, None without a plan [ha/h]."""

    area_ha: float
    area_by: str
    field_h: float
    missing_h: float
    at_work_ha_h: float
    over_all_ha_h: float
    in_theory_ha_h: float
    efficiency: float
    published_low: float
    published_high: float
    published_source: str
    plan_low: float | None = None
    plan_high: float | None = None
    plan_low_ha_h: float | None = None
    plan_high_ha_h: float | None = None

    @property
    def against_published(self) -> str:
        """ "below", "within" or "above" the published range. [-]"""
        return _against(self.efficiency, self.published_low, self.published_high)

    @property
    def against_plan(self) -> str:
        """ "below", "within" or "above" what the plan took; "" without a plan. [-]"""
        if self.plan_low_ha_h is None or self.plan_high_ha_h is None:
            return ""
        return _against(self.over_all_ha_h, self.plan_low_ha_h, self.plan_high_ha_h)


def _against(value: float, low: float, high: float) -> str:
    return "below" if value < low else "above" if value > high else "within"


def time_use(trail: Trail, steps: Steps, boundary: Boundary | None = None) -> TimeUse:
    """How the time was used, by the rules of docs/trails.md.

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    steps : Steps
        Its steps. [-]
    boundary : Boundary or None
        With fill points, to know a fill by its place. [m]

    Returns
    -------
    TimeUse
        Seconds; they add up to the time from the first row to the last. [s]

    References
    ----------
    definition: sums of the times between rows, each step in one state.
    """
    dt = np.maximum(steps.dt_s, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = np.where(dt > 0, steps.length_m / np.where(dt > 0, dt, 1.0), 0.0)
    slow = rule("standing-speed")
    pause = ~steps.whole & (dt > steps.limits.gap_s) & (speed < slow)  # switched off while it stood
    standing = (steps.whole & (speed < slow)) | pause
    missing = ~steps.whole & ~pause
    sowing = steps.sowing & ~standing
    turning = _turning(steps, dt, standing) & ~standing & ~missing
    moving = ~sowing & ~turning & ~standing & ~missing
    stands = [(a, b) for a, b in zip(*(v.tolist() for v in runs_of(standing)), strict=True)]
    lasts = [float(dt[a:b].sum()) for a, b in stands]
    fills, by = _fills(trail, boundary, stands, lasts)
    filling = float(sum(lasts[i] for i in fills))
    parts = [float(dt[m].sum()) for m in (sowing, turning, standing, moving, missing)]
    return TimeUse(
        sowing_s=parts[0],
        turning_s=parts[1],
        standing_s=parts[2],
        moving_s=parts[3],
        missing_s=parts[4],
        stops=sum(s >= rule("stop-shortest") for s in lasts),
        filling_s=filling,
        idle_s=parts[2] - filling,
        fills=len(fills),
        filling_by=by,
    )


def _turning(steps: Steps, dt: FloatArray, standing: BoolArray) -> BoolArray:
    """Steps off work between two stretches at work that took no longer than a turn, without a stop in them."""
    out = np.zeros(dt.size, dtype=np.bool_)
    for a, b in zip(*(v.tolist() for v in runs_of(~steps.sowing)), strict=True):
        inside = a > 0 and b < dt.size
        stood = float(dt[a:b][standing[a:b]].sum())
        if inside and float(dt[a:b].sum()) <= rule("turn-longest") and stood < rule("stop-shortest"):
            out[a:b] = True
    return out


def _fills(trail: Trail, boundary: Boundary | None, stands: Sequence[tuple[int, int]], lasts: Sequence[float]) -> tuple[list[int], str]:
    """Which stands were fills, and what told: a level that rises, a fill point near by, or their length alone."""
    levels = list(level_columns(trail).values())
    points = _fill_points(trail, boundary)
    shortest = 60 * rule("fill-shortest")
    if levels or points.size:
        chosen = []
        for i, (a, b) in enumerate(stands):
            near = points.size and float(np.hypot(*(points - trail.xy_m[a]).T).min()) <= rule("fill-near")
            if lasts[i] >= shortest and (near or any(_rises(level, a, b) for level in levels)):
                chosen.append(i)
        return chosen, " or ".join([BY_LEVEL] * bool(levels) + [BY_PLACE] * bool(points.size))
    work, basis = at_work_rows(trail)
    told = not basis.startswith("every row")
    length = 60 * rule("fill-by-length")
    chosen = [i for i, (a, b) in enumerate(stands) if lasts[i] >= length and (not told or not work[a : b + 1].all())]
    return chosen, BY_LENGTH


def _fill_points(trail: Trail, boundary: Boundary | None) -> FloatArray:
    """Fill points in the trail's own frame. (k, 2) [m]"""
    points = np.array(boundary.fill_points if boundary is not None else (), dtype=np.float64).reshape(-1, 2)
    if boundary is None or not points.size or boundary.frame == trail.frame:
        return points
    from pyproj import Transformer

    change = Transformer.from_crs(boundary.frame.proj, trail.frame.proj, always_xy=True)
    return np.column_stack(change.transform(points[:, 0], points[:, 1]))


def _rises(level: FloatArray, first: int, last: int) -> bool:
    """Whether a level is higher after a stand than before it by a twentieth of its range."""
    good = level[np.isfinite(level)]
    before, after = level[max(0, first - 5) : first + 1], level[last : last + 6]
    if good.size < 2 or not np.isfinite(before).any() or not np.isfinite(after).any():
        return False
    return float(np.nanmedian(after) - np.nanmedian(before)) > RISE_SHARE * float(good.max() - good.min())


def work_rate(
    trail: Trail, outfit: Outfit, steps: Steps, *, driven_m2: float | None, covered_m2: float | None = None, plan: Plan | None = None
) -> WorkRate | None:
    """Hectares an hour at work and over all, and the field efficiency against the plan and the published range.

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    outfit : Outfit
        Its width. [m]
    steps : Steps
        Steps of the trail. [-]
    driven_m2 : float or None
        Distance times the width that was on. [m²]
    covered_m2 : float or None
        Ground covered once or more, where it is known: overlap then counts as lost. [m²]
    plan : Plan or None
        What was planned. [ha/h]

    Returns
    -------
    WorkRate or None
        None where nothing was sown or no width is known. [ha/h]

    References
    ----------
    definition: area over time; efficiency = effective over theoretical field capacity (width times speed at work).
    """
    width = outfit.width_m
    at = np.flatnonzero(steps.sowing)
    area = covered_m2 if covered_m2 else driven_m2
    if width is None or not at.size or not area:
        return None
    within = slice(int(at[0]), int(at[-1]) + 1)
    dt = np.maximum(steps.dt_s[within], 0.0)
    slow = steps.length_m[within] < rule("standing-speed") * dt
    known = steps.whole[within] | slow
    field_h = float(dt[known].sum()) / 3600
    moving = steps.sowing & (steps.length_m >= rule("standing-speed") * np.maximum(steps.dt_s, 0.0))
    work_s = float(steps.dt_s[moving].sum())
    if work_s <= 0 or field_h <= 0:
        return None
    theory = field_capacity(float(steps.length_m[moving].sum()) / work_s, width, 1.0)
    over_all = area / 1e4 / field_h
    published = default("field-efficiency")
    return WorkRate(
        area_ha=area / 1e4,
        area_by="ground covered" if covered_m2 else "distance times width",
        field_h=field_h,
        missing_h=float(dt[~known].sum()) / 3600,
        at_work_ha_h=area / 1e4 / (work_s / 3600),
        over_all_ha_h=over_all,
        in_theory_ha_h=theory,
        efficiency=over_all / theory,
        published_low=published.low,
        published_high=published.high,
        published_source=published.source,
        plan_low=None if plan is None else plan.efficiency_low,
        plan_high=None if plan is None else plan.efficiency_high,
        plan_low_ha_h=None if plan is None else plan.low_ha_h,
        plan_high_ha_h=None if plan is None else plan.high_ha_h,
    )


def start_stop_distance(speed_m_s: float, *, on_s: float | None = None, off_s: float | None = None) -> tuple[float | None, float | None]:
    """Ground between the switch and the first product, and between the switch and the last, from delays that were measured with flags.

    No log tells these delays: reported rates and section states repeat the controller. Without a measured delay the answer is None.

    Parameters
    ----------
    speed_m_s : float
        Speed at the switch. [m/s]
    on_s : float or None
        Measured from the switch going on to the first product in the ground. [s]
    off_s : float or None
        Measured from the switch going off to the last product in the ground. [s]

    Returns
    -------
    tuple of float or None
        (start, stop): distances, None where the delay was not measured. [m]

    Raises
    ------
    RangeError
        If the speed or a delay is below 0.

    References
    ----------
    definition: way = time x speed.
    """
    require_range("speed_m_s", speed_m_s, 0.0, unit="m/s")
    return (
        None if on_s is None else lag_distance(on_s, speed_m_s),
        None if off_s is None else lag_distance(off_s, speed_m_s),
    )
