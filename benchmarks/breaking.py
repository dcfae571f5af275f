"""Trails with one thing wrong, for the bench: a simulated day's log altered in the columns the fault would move, and no others.

The detectors never see this module. Sizes and moments are drawn here; the truth goes to the scoring only.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from evenstand.model import Head, Outfit, Run, Section, Trail

Floats = npt.NDArray[np.float64]
Roll = np.random.Generator
PULSE_M = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """A trail with a fault. cause: as detectors call it; also: causes that follow from it and may be named too; size in the detector's own
    unit, None where it has no single true value; drawn: what the size found nine times in ten is asked over; onset_s, None if all day;
    clean: figures of the ideal tests, of a clean day only."""

    trail: Trail
    cause: str
    size: float | None
    drawn: float
    onset_s: float | None = None
    also: tuple[str, ...] = ()
    clean: dict[str, float] = dataclasses.field(default_factory=dict)


def seconds(trail: Trail) -> Floats:
    """Seconds from the first row."""
    out: Floats = (trail.t_ms - trail.t_ms[0]) / 1e3
    return out


def at_work(trail: Trail) -> npt.NDArray[np.bool_]:
    """Rows with openers down and a section on."""
    up = trail.lifted if trail.lifted is not None else np.zeros(trail.n, dtype=bool)
    on = trail.sections.any(axis=1) if trail.sections is not None else np.ones(trail.n, dtype=bool)
    return np.asarray(~up & on)


def onset(trail: Trail, roll: Roll, low: float = 0.1, high: float = 0.6) -> int:
    """A row at work somewhere in the first part of the day."""
    rows = np.flatnonzero(at_work(trail))
    return int(rows[int(rows.size * roll.uniform(low, high))])


def driven(trail: Trail) -> Floats:
    """Way between rows, first 0; nothing a machine could not move."""
    step = np.concatenate([[0.0], np.hypot(*np.diff(trail.xy_m, axis=0).T)])
    out: Floats = np.where(step < 6.0, step, 0.0)
    return out


def signed(roll: Roll, low: float, high: float) -> float:
    """A size of either sign."""
    return float(roll.uniform(low, high)) * float(roll.choice([-1.0, 1.0]))


def scaled_count(trail: Trail, factor: Floats) -> Trail:
    """The distance count times a factor a row, and the area and turns that follow from it."""

    def follow(counter: Floats) -> Floats:
        growth = np.diff(counter, axis=0, prepend=counter[:1])
        return np.cumsum(growth * (factor if counter.ndim == 1 else factor[:, None]), axis=0) + counter[:1]

    assert trail.step_m is not None
    total = np.cumsum(trail.step_m * factor)
    return dataclasses.replace(
        trail,
        step_m=np.diff(np.floor(total / PULSE_M) * PULSE_M, prepend=0.0),
        area_ha=None if trail.area_ha is None else np.floor(follow(trail.area_ha) * 1000) / 1000,
        revs=None if trail.revs is None else np.round(follow(trail.revs), 2),
    )


def fan_sag(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """A dip after every lift, 250 to 1500 rpm deep."""
    assert trail.fan_turns_s is not None
    depth, decay = roll.uniform(250, 1500) / 60, roll.uniform(4, 10)
    work, t = at_work(trail), seconds(trail)
    lift = np.concatenate([[False], work[:-1] & ~work[1:]])
    since = t - np.maximum.accumulate(np.where(lift, t, -1e9))
    dip = depth * np.exp(-since / decay) * np.exp(roll.normal(0, 0.1, t.size))
    return Broken(
        trail=dataclasses.replace(trail, fan_turns_s=np.round(np.maximum(trail.fan_turns_s - dip, 5.0), 2)),
        cause="fan",
        size=None,
        drawn=depth * 60,
    )


def fan_droop(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """Slower from some moment on, by 1 to 15 %."""
    assert trail.fan_turns_s is not None
    share, row = float(roll.uniform(0.01, 0.15)), onset(trail, roll)
    fan = trail.fan_turns_s.copy()
    fan[row:] *= 1 - share
    return Broken(
        trail=dataclasses.replace(trail, fan_turns_s=np.round(fan, 2)),
        cause="fan",
        size=-100 * share,
        drawn=share,
        onset_s=float(seconds(trail)[row]),
    )


def speed_frozen(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """A stand-in speed from some moment on, up to 25 % off the usual; distance, area and turns follow it."""
    assert trail.speed_m_s is not None
    assert trail.step_m is not None
    row, work = onset(trail, roll), at_work(trail)
    usual = float(np.mean(trail.speed_m_s[work]))
    share = signed(roll, 0.01, 0.25)
    held = usual * (1 + share)
    speed = trail.speed_m_s.copy()
    speed[row:] = round(held, 2)
    dt = np.diff(seconds(trail), prepend=seconds(trail)[0])
    factor = np.ones(trail.n)
    moving = trail.step_m > 0
    factor[row:] = np.where(moving[row:], held * dt[row:] / np.maximum(trail.step_m[row:], 0.05), 1.0)
    broken = dataclasses.replace(scaled_count(trail, factor), speed_m_s=speed)
    return Broken(trail=broken, cause="distance", size=None, drawn=abs(share), onset_s=float(seconds(trail)[row]))


def distance_drift(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """A count that is 1 to 15 % longer or shorter from some moment on."""
    share, row = signed(roll, 0.01, 0.15), onset(trail, roll, 0.2, 0.7)
    factor = np.ones(trail.n)
    factor[row:] += share
    return Broken(
        trail=scaled_count(trail, factor), cause="distance", size=100 * share, drawn=abs(share), onset_s=float(seconds(trail)[row])
    )


def counted_lifted(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """The area counter goes on through the turns, from some moment on."""
    assert trail.area_ha is not None
    row, width = onset(trail, roll), outfit.widths.rate_m or 1.0
    extra = np.where(~at_work(trail), driven(trail), 0.0) * width / 1e4
    extra[:row] = 0.0
    area = np.floor((trail.area_ha + np.cumsum(extra)) * 1000) / 1000
    return Broken(
        trail=dataclasses.replace(trail, area_ha=area),
        cause="counting",
        size=float(extra.sum()),
        drawn=float(extra.sum()),
        onset_s=float(seconds(trail)[row]),
    )


def metered_lifted(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """A meter that goes on through the turns, from some moment on."""
    assert trail.revs is not None
    row, i = onset(trail, roll), int(roll.integers(len(trail.bins)))
    work, way = at_work(trail), driven(trail)
    per_m = float(trail.revs[-1, i] - trail.revs[0, i]) / float(way[work].sum())
    extra = np.where(~work, way, 0.0) * per_m
    extra[:row] = 0.0
    revs = trail.revs.copy()
    revs[:, i] = np.round(revs[:, i] + np.cumsum(extra), 2)
    return Broken(
        trail=dataclasses.replace(trail, revs=revs),
        cause=f"meter:{trail.bins[i]}",
        size=float(extra.sum()),
        drawn=float(extra.sum()),
        onset_s=float(seconds(trail)[row]),
    )


def uncounted_work(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """An area counter that stands still for a tenth to a third of the day."""
    assert trail.area_ha is not None
    row = onset(trail, roll)
    end = min(trail.n, row + int(trail.n * roll.uniform(0.1, 0.33)))
    growth = np.diff(trail.area_ha, prepend=trail.area_ha[0])
    missed = float(growth[row:end].sum())
    growth[row:end] = 0.0
    return Broken(
        trail=dataclasses.replace(trail, area_ha=np.round(trail.area_ha[0] + np.cumsum(growth), 3)),
        cause="counting",
        size=None,
        drawn=missed,
        onset_s=float(seconds(trail)[row]),
    )


def section_on(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """A section on through all turns, from some moment on."""
    assert trail.sections is not None
    row, k = onset(trail, roll), int(roll.integers(trail.sections.shape[1]))
    sections = trail.sections.copy()
    sections[row:, k] = True
    return Broken(
        trail=dataclasses.replace(trail, sections=sections),
        cause=f"section:{k + 1}",
        size=None,
        drawn=1.0,
        onset_s=float(seconds(trail)[row]),
    )


def section_off(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """A section off from some moment on, its runs without flow."""
    assert trail.sections is not None
    row, k = onset(trail, roll), int(roll.integers(trail.sections.shape[1]))
    sections = trail.sections.copy()
    sections[row:, k] = False
    part = outfit.sections[k]
    offset = {r.number: r.offset_m for r in outfit.runs}
    present = trail.run_present
    if present is not None:
        mine = [j for j, number in enumerate(trail.runs) if part.left_m <= offset[number] <= part.right_m]
        present = present.copy()
        present[row + 6 :, mine] = False
    return Broken(
        trail=dataclasses.replace(trail, sections=sections, run_present=present),
        cause=f"section:{k + 1}",
        size=None,
        drawn=1.0,
        onset_s=float(seconds(trail)[row]),
    )


def work_stuck(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """A work switch that stays on all day: lift and sections never change."""
    sections = None if trail.sections is None else np.ones_like(trail.sections)
    lifted = None if trail.lifted is None else np.zeros_like(trail.lifted)
    return Broken(trail=dataclasses.replace(trail, sections=sections, lifted=lifted), cause="work-state", size=None, drawn=1.0)


def weighed_level(trail: Trail, roll: Roll, i: int, falls: Floats | None = None) -> Trail:
    """The log with a weighed level of one bin: turns taken off, fills put in, cells that sway and settle."""
    assert trail.revs is not None
    taken = np.diff(trail.revs[:, i], prepend=trail.revs[0, i]) * (falls if falls is not None else 1.0)
    used = np.cumsum(taken) * float(roll.uniform(0.6, 1.5))
    full = max(float(used[-1]) / float(roll.uniform(1.2, 2.5)), 1.0)
    level = full - used % full
    sway = np.convolve(roll.normal(0, 0.006 * full, trail.n + 4), np.ones(5) / 5, mode="valid")
    slow = 0.004 * full * np.sin(np.arange(trail.n) / trail.n * 2 * math.pi + roll.uniform(0, 6))
    return dataclasses.replace(
        trail, extra={**trail.extra, f"level {trail.bins[i]}": np.round(level + sway + slow, 0 if full > 500 else 1)}
    )


def no_fall(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """A bin that bridges: for a twentieth to a fifth of the day 40 to 100 % of the fall is missing."""
    assert trail.revs is not None
    i, row = int(roll.integers(len(trail.bins))), onset(trail, roll)
    end, share = min(trail.n, row + int(trail.n * roll.uniform(0.05, 0.2))), float(roll.uniform(0.4, 1.0))
    falls = np.ones(trail.n)
    falls[row:end] = 1 - share
    return Broken(
        trail=weighed_level(trail, roll, i, falls),
        cause=f"bridge:{trail.bins[i]}",
        size=None,
        drawn=share,
        onset_s=float(seconds(trail)[row]),
    )


def run_stretch(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """One run without flow for 5 to 180 s of work, then back."""
    assert trail.run_present is not None
    i, row = int(roll.integers(len(trail.runs))), onset(trail, roll)
    lasts = float(roll.uniform(5, 180))
    work = np.flatnonzero(at_work(trail))
    mine = work[work >= row][: round(lasts)]
    present = trail.run_present.copy()
    present[mine, i] = False
    return Broken(
        trail=dataclasses.replace(trail, run_present=present),
        cause=f"run:{trail.runs[i]}",
        size=None,
        drawn=lasts,
        onset_s=float(seconds(trail)[mine[0]]),
    )


def position_jumps(trail: Trail, outfit: Outfit, roll: Roll) -> Broken:
    """A sideways leap of the fix by 0.3 to 5 m in the middle of a pass, back after some minutes."""
    work = at_work(trail)
    steady = np.convolve(work, np.ones(61), mode="same") > 60.5
    rows = np.flatnonzero(steady)
    row = int(rows[int(rows.size * roll.uniform(0.1, 0.9))])
    size = float(roll.uniform(0.3, 5.0))
    end = min(trail.n, row + int(roll.uniform(60, 600)))
    ahead = trail.xy_m[row + 5] - trail.xy_m[row - 5]
    side = np.array([ahead[1], -ahead[0]]) / float(np.hypot(*ahead))
    xy = trail.xy_m.copy()
    xy[row:end] += size * float(roll.choice([-1.0, 1.0])) * side
    return Broken(trail=dataclasses.replace(trail, xy_m=xy), cause="fixes", size=size, drawn=size, onset_s=float(seconds(trail)[row]))


BREAKERS: dict[str, Callable[[Trail, Outfit, Roll], Broken]] = {
    "fan-sag": fan_sag, "fan-droop": fan_droop, "speed-frozen": speed_frozen, "distance-drift": distance_drift,
    "counted-lifted": counted_lifted, "metered-lifted": metered_lifted, "uncounted-work": uncounted_work, "section-on": section_on,
    "section-off": section_off, "run-stretch": run_stretch, "work-stuck": work_stuck, "no-fall": no_fall, "position-jumps": position_jumps,
}  # fmt: skip


def made_outfit(plain: Outfit, roll: Roll) -> Outfit:
    """An outfit of other width, heads, sections, speed and fan, its bins and streams kept. Its sensors are on the seed stream."""
    heads, outlets = int(roll.integers(4, 10)), int(roll.integers(6, 10))
    spacing = float(roll.choice([0.19, 0.254, 0.305]))
    rows = heads * outlets
    width = rows * spacing
    cuts = np.linspace(-width / 2, width / 2, heads + 1)
    letters = "ABCDEFGHJK"
    runs = tuple(
        Run(number=i + 1, head=letters[i // outlets], outlet=i % outlets + 1, offset_m=(i + 0.5) * spacing - width / 2, sensor=i + 1)
        for i in range(rows)
    )
    seed_stream = plain.sensor_streams[0] if plain.sensor_streams else None
    typed = dataclasses.replace(
        plain.widths, true_m=dataclasses.replace(plain.widths.true_m, value=width) if plain.widths.true_m is not None else None,
        rate_m=round(width, 2), guidance_m=round(width - float(roll.uniform(0.0, 0.15)), 2),
    )  # fmt: skip
    fan = plain.fan_turns_s
    return dataclasses.replace(
        plain, rows=rows, row_spacing_m=spacing, runs=runs, widths=typed,
        heads=tuple(Head(letter=letters[h], outlets=outlets, stream=seed_stream) for h in range(heads)),
        sections=tuple(Section(number=k + 1, left_m=float(cuts[k]), right_m=float(cuts[k + 1])) for k in range(heads)),
        speed_m_s=float(roll.uniform(1.6, 2.8)), antenna_ahead_m=float(roll.uniform(0.0, 12.0)),
        fan_turns_s=None if fan is None else dataclasses.replace(fan, value=float(roll.uniform(55, 80))),
    )  # fmt: skip


def with_gaps(trail: Trail, roll: Roll) -> Trail:
    """Rows lost for 1 to 15 minutes three times, and fixes lost for some rows here and there."""
    keep = np.ones(trail.n, dtype=bool)
    for _ in range(3):
        a = int(roll.integers(trail.n))
        keep[a : a + int(roll.uniform(60, 900))] = False
    for _ in range(10):
        a = int(roll.integers(trail.n))
        keep[a : a + int(roll.integers(2, 12))] = False
    return rows_of(trail, keep)


def rows_of(trail: Trail, keep: npt.NDArray[Any] | slice) -> Trail:
    """Some rows of a trail."""
    whole = {f.name: getattr(trail, f.name) for f in dataclasses.fields(trail)}
    arrays = {name: value[keep] for name, value in whole.items() if isinstance(value, np.ndarray)}
    extra = {name: value[keep] for name, value in trail.extra.items()}
    n = int(arrays["t_ms"].size)
    return dataclasses.replace(trail, **arrays, extra=extra, rows=n, kept=n)
