"""The log a day leaves: positions with their noise, and what the machine writes down about itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenstand.model import Frame, Outfit, Run, Trail
from evenstand.model.place import FloatArray
from evenstand.model.trail import BoolArray
from evenstand.simulate.driving import Path, pass_ends
from evenstand.simulate.metering import BinSetup, Metered
from evenstand.simulate.worlds import Dice, World

FLOW_LAG_S = 4.0
FAN_USUAL_TURNS_S = 68.0
FAN_SAG_TURNS_S = 6.5
FAN_SAG_FOR_S = 5.0
FAN_LOAD_TURNS_S = 1.6
DISPLAY_SNAP = 0.03
PULSE_M = 0.2
IDLE_S = (120.0, 2400.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """When each node of the path is reached and left [s], shape (n+1,); a stop lies between the two."""

    arrive_s: FloatArray
    leave_s: FloatArray

    def at_cell(self, cell: int) -> float:
        """When a cell is entered, before any stop there. [s]"""
        return float(self.arrive_s[cell])


def timeline(path: Path, metered: Metered, world: World, dice: Dice) -> Timeline:
    """Clock of the day: cells at their speed, 12 to 25 minutes for each stop to fill, and other stops between passes."""
    moving = np.concatenate([[0.0], np.cumsum(path.length_m / path.speed_m_s)])
    halt = np.zeros(moving.size)
    roll = dice.of("stops")
    for cell in sorted({p.cell for p in metered.puts if p.cell > 0}):
        halt[cell] = roll.uniform(720, 1500)
    idle = dice.of("idle")
    _, ends = pass_ends(path.pass_id)
    for _ in range(int(idle.poisson(world.idle_per_h * moving[-1] / 3600))):
        halt[int(idle.choice(ends))] += idle.uniform(IDLE_S[0], IDLE_S[1])
    waited = np.cumsum(halt)
    return Timeline(arrive_s=moving + waited - halt, leave_s=moving + waited)


def record(
    path: Path, metered: Metered, clock: Timeline, bins: tuple[BinSetup, ...], outfit: Outfit, *, frame: Frame, typed_width_m: float,
    plugged: dict[int, float], start_ms: int, step_s: float, world: World, dice: Dice,
) -> Trail:  # fmt: skip
    """Sample the day into a trail; an outfit with ground drive leaves positions and speed only."""
    t = np.arange(0.0, clock.leave_s[-1], step_s)
    knots = np.ravel(np.column_stack([clock.arrive_s, clock.leave_s]))
    twice = np.repeat(np.arange(clock.arrive_s.size), 2)
    along = np.interp(t, knots, twice.astype(np.float64))
    node = np.searchsorted(clock.arrive_s, t, side="right") - 1
    stopped = t < clock.leave_s[node]
    cell = np.clip(np.floor(along).astype(np.int64), 0, path.length_m.size - 1)
    nodes = np.arange(clock.arrive_s.size, dtype=np.float64)

    def running(values: FloatArray) -> FloatArray:
        out: FloatArray = np.interp(along, nodes, np.concatenate([[0.0], np.cumsum(values)]))
        return out

    xy = np.column_stack([np.interp(along, nodes, path.xy_m[:, i]) for i in (0, 1)])
    xy = xy + outfit.antenna_ahead_m * path.heading[cell] + _fix_noise(t.size, step_s, world, dice)
    down = path.down[cell] & ~stopped
    speed = np.where(stopped, 0.0, path.speed_m_s[cell])
    seen_speed = np.maximum(0.0, speed + dice.of("speed noise").normal(0, 0.03 * world.error, t.size))
    common = {
        "frame": frame, "t_ms": (start_ms + np.round(t * 1000)).astype(np.int64), "xy_m": xy,
        "speed_m_s": np.round(seen_speed, 2) if world.rounded else seen_speed, "rows": t.size, "kept": t.size,
    }  # fmt: skip
    if outfit.drive == "ground":
        return Trail(**common, notes=("positions only: this outfit writes no log of its own",))
    sections = path.sections[cell] & down[:, None]
    working = path.share[cell] * down
    pulse = (outfit.pulse_m.value if outfit.pulse_m is not None else PULSE_M) if world.rounded else 0.0
    counted = running(metered.counted_m)
    step = np.diff(np.floor(counted / pulse) * pulse if pulse else counted, prepend=0.0)
    area = running(metered.counted_m * path.share) * typed_width_m / 1e4
    revs = np.column_stack([running(metered.turns[:, i]) for i in range(len(bins))])
    asked = np.where(down[:, None], np.array([b.rate_kg_ha for b in bins])[None, :], 0.0)
    late = round(world.latency_s / step_s)
    runs = sensed_runs(outfit)
    return Trail(
        **common,
        sections=_late(sections, late) if sections.shape[1] else None,
        lifted=_late(~down, late),
        revs=np.round(revs, 2) if world.rounded else revs,
        asked_kg_ha=asked,
        echoed_kg_ha=_echo(asked, world, dice),
        area_ha=np.floor(area * 1000) / 1000 if world.rounded else area,
        step_m=step,
        run_present=_presence(runs, outfit, sections, down, t, plugged, step_s, world, dice) if runs else None,
        fan_turns_s=_fan(down, working, outfit, step_s, world, dice),
        bins=tuple(b.letter for b in bins),
        runs=tuple(r.number for r in runs),
    )


def sensed_runs(outfit: Outfit) -> tuple[Run, ...]:
    """Runs whose sensor is written down: those that have one, on a stream that is watched, and are not shut."""
    stream = {h.letter: h.stream for h in outfit.heads}
    watched = outfit.sensor_streams
    return tuple(r for r in outfit.runs if r.sensor is not None and not r.shut and (not watched or stream.get(r.head) in (None, *watched)))


def _fix_noise(n: int, step_s: float, world: World, dice: Dice) -> FloatArray:
    slow = np.column_stack([dice.lasting(f"fix {axis}", n, world.gnss_slow_s / step_s, world.gnss_slow_sd_m) for axis in "xy"])
    if world.gnss_scale_m == 0:
        return slow
    out: FloatArray = slow + world.gnss_scale_m * dice.of("fix").standard_t(world.gnss_freedom, (n, 2))
    return out


def _late(values: BoolArray, rows: int) -> BoolArray:
    if rows <= 0:
        return values
    return np.concatenate([np.repeat(values[:1], rows, axis=0), values[:-rows]])


def _echo(asked: FloatArray, world: World, dice: Dice) -> FloatArray:
    """The rate the display shows: it reads the target whenever it is near it, which the motor always is."""
    if world.error == 0:
        return asked.copy()
    seen = asked * (1 + dice.of("motor").normal(0, 0.012, asked.shape))
    snapped = np.where(np.abs(seen - asked) <= DISPLAY_SNAP * asked, asked, seen)
    out: FloatArray = np.round(snapped, 1).astype(np.float64)
    return out


def _presence(
    runs: tuple[Run, ...],
    outfit: Outfit,
    sections: BoolArray,
    down: BoolArray,
    t: FloatArray,
    plugged: dict[int, float],
    step_s: float,
    world: World,
    dice: Dice,
) -> BoolArray:
    """Flow seen at each sensor: late by the way through the hose, blind for a moment now and then, dust taken for seed."""
    lag = round(FLOW_LAG_S / step_s) if world.error else 0
    flow = np.empty((t.size, len(runs)), dtype=np.bool_)
    for j, run in enumerate(runs):
        mine = [k for k, s in enumerate(outfit.sections) if min(s.left_m, s.right_m) <= run.offset_m <= max(s.left_m, s.right_m)]
        flow[:, j] = sections[:, mine[0]] if mine and sections.shape[1] else down
        if run.number in plugged:
            flow[t >= plugged[run.number], j] = False
    flow = _late(flow, lag)
    if world.sensor_drop == 0:
        return flow
    chance = dice.of("sensors").random(flow.shape, dtype=np.float32)
    out: BoolArray = np.where(flow, chance >= world.sensor_drop, chance < world.sensor_ghost)
    return out


def _fan(down: BoolArray, working: FloatArray, outfit: Outfit, step_s: float, world: World, dice: Dice) -> FloatArray:
    """Fan speed: a little lower under load, and a sag for some seconds when the tool is lifted. [turns/s]"""
    usual = outfit.fan_turns_s.value if outfit.fan_turns_s is not None else FAN_USUAL_TURNS_S
    lift = np.flatnonzero(down[:-1] & ~down[1:]) + 1
    last = np.full(down.size, -1e9)
    last[lift] = lift
    since = (np.arange(down.size) - np.maximum.accumulate(last)) * step_s
    sag = FAN_SAG_TURNS_S * np.exp(-since / FAN_SAG_FOR_S) * ~down
    fan: FloatArray = usual + FAN_LOAD_TURNS_S * (1 - working) - sag + dice.of("fan").normal(0, 1, down.size) * world.fan_sd_turns_s
    if world.rounded:
        fan = np.round(fan, 2)
    return fan
