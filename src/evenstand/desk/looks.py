"""What is known of one bin over a day: looks and fills in order of what the machine says it has sown, and stops nobody explains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from evenstand.check import BinDay, Look, PutIn
from evenstand.model import Event, Fill, Outfit, Reading, Trail

FloatArray = npt.NDArray[np.float64]

_STOP_S = 480.0  # a stop at least this long could have been a fill
_STILL_M_S = 0.25
_AREA_SLACK_HA = 0.02
_TRAIL_DISTANCE_SD = 0.004
_MIN_SOWN_M = 500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How the machine's own mass of one bin grew. area_ha (n,), t_s (n,), machine_kg (n,), all rising; by: what it repeats."""

    area_ha: FloatArray
    t_s: FloatArray
    machine_kg: FloatArray
    by: tuple[str, ...]

    def at_area(self, area_ha: float) -> float:
        """Machine mass when the area counter stood at `area_ha`. [kg]"""
        return float(np.interp(area_ha, self.area_ha, self.machine_kg))

    def at_time(self, second: float) -> float:
        """Machine mass at a second from the start. [kg]"""
        return float(np.interp(second, self.t_s, self.machine_kg))

    def end(self) -> float:
        """Machine mass at the end. [kg]"""
        return float(self.machine_kg[-1])


def bin_day(
    bin: str,
    rate_kg_ha: float,
    readings: Sequence[Reading],
    fills: Sequence[Fill],
    events: Sequence[Event] = (),
    typed: Mapping[str, float] | None = None,
    trail: Trail | None = None,
) -> BinDay | None:
    """Looks and fills of one bin in order of what the machine says it has sown; None if no level or no area is known.

    Parameters
    ----------
    bin : str
        Letter. [-]
    rate_kg_ha : float
        Rate asked; the rate in force is taken from `typed` or the readings where known. [kg/ha]
    readings : sequence of Reading
        At the end of the day. [metric]
    fills, events : sequences
        As entered; what happened at the bins. [kg]
    typed : mapping or None
        Values in force. [metric]
    trail : Trail or None
        For turns and stops between fills. [-]
    """
    known = {r.quantity: r for r in readings}
    course = course_of(bin, rate_kg_ha, known, typed or {}, trail)
    level = known.get(f"level:{bin}")
    if course is None:
        return None
    mine = sorted((f for f in fills if f.bin == bin), key=lambda f: (f.area_ha or 0.0, f.at))
    start_ms = int(trail.t_ms[0]) if trail is not None and trail.n else None
    looks = [*_looks_at_fills(mine, course, start_ms), *_light_looks(bin, events, course)]
    puts = _puts(mine, course, start_ms)
    if not puts and f"put:{bin}" in known:
        put = known[f"put:{bin}"]
        puts = [PutIn(machine_kg=0.0, put_kg=put.value, put_sd_kg=put.sd, how=put.instrument or "ticket")]
    looks += _last_look(level, looks, puts, course)
    looks = [k for k in looks if k.machine_kg > 1e-6]
    if not looks or not puts:
        return None
    first = next((f for f in mine if (f.area_ha or 0.0) <= _AREA_SLACK_HA and f.level_before_kg is not None), None)
    stops = unexplained_stops(trail, fills, start_ms) if trail is not None else ()
    return BinDay(
        bin=bin,
        looks=tuple(looks),
        puts=tuple(puts),
        start_kg=(first.level_before_kg or 0.0) if first is not None else 0.0,
        start_sd_kg=(first.level_before_sd_kg or 0.0) if first is not None else 0.0,
        by=course.by,
        stops_s=stops,
        stops_known=trail is not None and trail.n > 60,
    )


def course_of(bin: str, rate_kg_ha: float, known: Mapping[str, Reading], typed: Mapping[str, float], trail: Trail | None) -> Course | None:
    """The machine's mass over the day: from recorded turns, else the mass shown spread over the area counter, else rate times area.

    Parameters
    ----------
    bin : str
        Letter. [-]
    rate_kg_ha : float
        Rate asked. [kg/ha]
    known : mapping
        Readings by quantity. [metric]
    typed : mapping
        Values in force. [metric]
    trail : Trail or None
        With turns and the area counter, where it has them. [-]
    """
    factor = typed.get(f"F:{bin}")
    by = (f"F:{bin}", f"turns:{bin}")
    if trail is not None and trail.revs is not None and trail.area_ha is not None and bin in trail.bins and factor:
        revs = trail.revs[:, trail.bins.index(bin)]
        good = np.isfinite(revs) & np.isfinite(trail.area_ha)
        if good.sum() > 2:
            t = (trail.t_ms[good] - trail.t_ms[0]) / 1000.0
            return Course(area_ha=_rising(trail.area_ha[good]), t_s=t, machine_kg=_rising(revs[good] - revs[good][0]) * factor, by=by)
    counter, shown = known.get("area_counter"), known.get(f"shown_mass:{bin}")
    if counter is None:
        return None
    in_force = typed.get(f"rate:{bin}") or (known[f"typed_rate:{bin}"].value if f"typed_rate:{bin}" in known else None)
    mass = shown.value if shown is not None else (in_force or rate_kg_ha) * counter.value
    repeats = by if shown is not None else ((f"rate:{bin}", "W", "V") if in_force else (f"asked:{bin}", "W", "V"))
    end_s = (trail.t_ms[-1] - trail.t_ms[0]) / 1000.0 if trail is not None and trail.n > 1 else 1.0
    return Course(area_ha=np.array([0.0, counter.value]), t_s=np.array([0.0, float(end_s)]), machine_kg=np.array([0.0, mass]), by=repeats)


def _rising(values: FloatArray) -> FloatArray:
    return np.asarray(np.maximum.accumulate(values), dtype=np.float64)


def _second(fill: Fill, start_ms: int | None) -> float | None:
    if start_ms is None or not fill.at:
        return None
    return datetime.fromisoformat(fill.at.replace("Z", "+00:00")).timestamp() - start_ms / 1000.0


def _looks_at_fills(mine: Sequence[Fill], course: Course, start_ms: int | None) -> list[Look]:
    """The level seen before each fill; an entry that repeats another's hectares and level is the same look."""
    out, seen = [], set()
    for fill in mine:
        key = (fill.area_ha, fill.level_before_kg)
        if fill.area_ha is None or fill.level_before_kg is None or key in seen:
            continue
        seen.add(key)
        sd = fill.level_before_sd_kg if fill.level_before_sd_kg is not None else 0.1 * max(fill.put_kg, 1.0)
        out.append(
            Look(machine_kg=course.at_area(fill.area_ha), level_kg=fill.level_before_kg, level_sd_kg=sd, at_s=_second(fill, start_ms))
        )
    return out


def _light_looks(bin: str, events: Sequence[Event], course: Course) -> list[Look]:
    lights = [e for e in events if e.bin == bin and e.kind == "low-light"]
    return [
        Look(machine_kg=course.at_time(e.at_s), level_kg=e.value, level_sd_kg=e.sd, light=True, at_s=e.at_s)
        for e in lights
        if len(course.t_s) > 2
    ]


def _puts(mine: Sequence[Fill], course: Course, start_ms: int | None) -> list[PutIn]:
    """Fills on record. An entry with the same mass at the same hectares as an earlier one is marked as a twin."""
    out, seen = [], set()
    for fill in mine:
        key = (round(fill.put_kg, 3), fill.area_ha)
        at = course.at_area(fill.area_ha) if fill.area_ha is not None else 0.0
        out.append(
            PutIn(
                machine_kg=at,
                put_kg=fill.put_kg,
                put_sd_kg=fill.put_sd_kg,
                how=fill.how,
                twin=key in seen and fill.area_ha is not None,
                at_s=_second(fill, start_ms),
            )
        )
        seen.add(key)
    return out


def _last_look(level: Reading | None, looks: Sequence[Look], puts: Sequence[PutIn], course: Course) -> list[Look]:
    """The level at the end; one reckoned on from the low-level light adds nothing to the light itself."""
    if level is None:
        return []
    last_put = max((p.machine_kg for p in puts), default=0.0)
    lit = any(k.light and k.machine_kg >= last_put - 1e-9 for k in looks)
    if level.instrument == "low-light" and lit:
        return []
    return [Look(machine_kg=course.end(), level_kg=level.value, level_sd_kg=level.sd, at_s=float(course.t_s[-1]))]


def unexplained_stops(trail: Trail, fills: Sequence[Fill], start_ms: int | None) -> tuple[tuple[float, float], ...]:
    """Stops long enough for a fill at which no fill is on record, (from, to). [s]

    Parameters
    ----------
    trail : Trail
        Positions, or speed. [-]
    fills : sequence of Fill
        All bins. [-]
    start_ms : int or None
        Time of the first row. [ms]
    """
    if trail.n < 60:
        return ()
    t = (trail.t_ms - trail.t_ms[0]) / 1000.0
    still = trail.speed_m_s < _STILL_M_S if trail.speed_m_s is not None else _still(trail)
    edge = np.flatnonzero(np.diff(np.concatenate([[0], still.astype(np.int8), [0]])))
    filled = _filled_at(fills, start_ms)
    out = []
    for a, z in zip(edge[::2], edge[1::2], strict=True):
        low, high = float(t[a]), float(t[min(z, trail.n - 1)])
        if high - low < _STOP_S or low < 60 or high > t[-1] - 60:
            continue
        if not any(low - 180 <= s <= high + 60 for s in filled):
            out.append((low, high))
    return tuple(out)


def _filled_at(fills: Sequence[Fill], start_ms: int | None) -> list[float]:
    """When something was put in; a second entry of the same fill is no second fill."""
    seen: set[tuple[str, float, float | None]] = set()
    out = []
    for fill in sorted(fills, key=lambda f: f.at):
        key, second = (fill.bin, round(fill.put_kg, 3), fill.area_ha), _second(fill, start_ms)
        if key not in seen and second is not None:
            out.append(second)
        seen.add(key)
    return out


def _still(trail: Trail) -> npt.NDArray[np.bool_]:
    step = np.hypot(np.diff(trail.xy_m[:, 0]), np.diff(trail.xy_m[:, 1]))
    seconds = np.maximum(np.diff(trail.t_ms) / 1000.0, 1e-3)
    return np.concatenate([[False], step / seconds < _STILL_M_S])


def distance_by_trail(outfit: Outfit, trail: Trail | None, readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """The machine's distance against the recorded positions, where those do not feed it and were not read already."""
    if trail is None or trail.step_m is None or outfit.speed_source == "gnss" or any(r.quantity == "distance_gnss" for r in readings):
        return ()
    moved = np.hypot(np.diff(trail.xy_m[:, 0]), np.diff(trail.xy_m[:, 1]))
    counted = trail.step_m[1:]
    use = np.isfinite(moved) & np.isfinite(counted) & (counted > 0)
    if trail.lifted is not None:
        use &= ~trail.lifted[1:] & ~trail.lifted[:-1]
    total = float(moved[use].sum())
    if total < _MIN_SOWN_M:
        return ()
    ratio = float(counted[use].sum()) / total
    return (Reading(quantity="distance_trail", value=ratio, sd=_TRAIL_DISTANCE_SD * ratio, instrument="recorded positions"),)
