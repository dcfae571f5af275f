"""A day in the field, from plan to readings, with the truth kept apart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from evenstand.model import Boundary, Drive, Event, Fill, Frame, HowKnown, Outfit, Plan, Reading, Trail
from evenstand.model.place import FloatArray
from evenstand.simulate import driving, metering, reading, recording
from evenstand.simulate.faults import FaultSet, FaultSpec, SimulationError, gather
from evenstand.simulate.worlds import WORLDS, Dice, World

USUAL_SPEED_M_S = 2.1
USUAL_RADIUS_M = 12.0
START_MS = 1_809_864_000_000  # 2027-05-09T12:00:00Z
NOWHERE = Frame(lon_deg=-105.5, lat_deg=51.2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What really was, by bin where there is a letter.

    faults: those put in; factors: product out of the bin over turns, mean of the day [kg/turn]; width_m: of the tool [m];
    distance_ratio: machine metres per true metre, mean of the day [-]; overlap: driven over field area, less one [-];
    put_kg, sown_kg, left_kg: mass put in, out of the bin, left [kg]; dose_kg_ha: out of the bin over the area driven [kg/ha];
    dose_ratio: dose over rate asked [-]; driven_ha: true distance x true width at work [ha]; covered_ha: ground under the
    tool at least once [ha]; field_ha: what was to be sown [ha]; distance_m: true, full width equivalent [m]; since_s,
    since_pass: when a run or head plugged, by its cause name.
    """

    faults: tuple[FaultSpec, ...]
    factors: dict[str, float]
    width_m: float
    distance_ratio: float
    overlap: float
    put_kg: dict[str, float]
    sown_kg: dict[str, float]
    left_kg: dict[str, float]
    dose_kg_ha: dict[str, float]
    dose_ratio: dict[str, float]
    driven_ha: float
    covered_ha: float
    field_ha: float
    distance_m: float
    since_s: dict[str, float] = field(default_factory=dict)
    since_pass: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """What a day leaves behind. trail: the log; readings: at the end of the day; fills: as entered; events: at the bins;
    typed: values in force on the display: "F:A" [kg/turn], "rate:A" [kg/ha], "W" [m], "guidance" [m]; truth: for scoring only."""

    trail: Trail
    readings: tuple[Reading, ...]
    fills: tuple[Fill, ...]
    events: tuple[Event, ...]
    typed: dict[str, float]
    truth: Truth
    seed: int
    world: str


def simulate_day(
    outfit: Outfit, plan: Plan, boundary: Boundary | None = None, *, seed: int, faults: Iterable[FaultSpec | str] = (),
    world: str = "nominal", step_s: float = 1.0, max_area_ha: float | None = None,
    fill_how: HowKnown | None = None, level_how: reading.LevelHow | None = None,
    optional: reading.Optional = "sometimes", start_ms: int = START_MS,
) -> Day:  # fmt: skip
    """A day of an outfit that follows a plan.

    Parameters
    ----------
    outfit : Outfit
        As it is hitched; its best known width is the true width, give or take what a tape misses. [-]
    plan : Plan
        Rates, typed factors and full bins by bin; its line to drive, or none: then passes to and fro
        over the field, or over a plain rectangle of its area. [-]
    boundary : Boundary or None
        The field: sections shut outside it, and its area is what was to be sown. [-]
    seed : int
        The same seed gives the same day; each part of the day draws from a stream of its own, so that a fault
        changes only what it acts on. [-]
    faults : iterable of FaultSpec or str
        What is wrong; text is read by `parse_fault`. [-]
    world : str
        "still" (no errors at all), "nominal" or "rough". [-]
    step_s : float
        Time between rows of the log. [s]
    max_area_ha : float or None
        Stop after this much, counted by the spacing of the passes. [ha]
    fill_how, level_how : str or None
        How fills and last levels are known; None leaves it to chance. [-]
    optional : str
        Whether witnesses that are not always there are: "sometimes", "all" or "none". [-]
    start_ms : int
        Start of the day, UTC. [ms since 1970]

    Returns
    -------
    Day
        Log, readings, fills, events, typed values, and the truth. [-]

    Raises
    ------
    SimulationError
        If the plan has no bin or no extent, a fault does not fit the outfit, or an argument is outside its range.
    """
    conditions = _world(world, step_s, max_area_ha)
    dice = Dice(seed)
    letters = tuple(b.bin for b in plan.bins)
    wrongs = gather(faults, outfit, letters)
    width = _true_width(outfit, plan, conditions, dice)
    typed_width = _typed_width(outfit, width, wrongs)
    aimed = plan.drive or _own_line(outfit, plan, boundary, width, max_area_ha)
    speed = plan.speed_m_s or outfit.speed_m_s or USUAL_SPEED_M_S
    path = driving.follow(aimed, outfit, boundary, width_m=width, speed_m_s=speed, max_area_ha=max_area_ha, world=conditions, dice=dice)
    plug_cells = _plug_cells(path, wrongs, dice)
    bins = metering.set_up(plan.bins, outfit, wrongs, conditions, dice)
    heads = {h: plug_cells[f"head:{h}"] for h in wrongs.heads}
    metered = metering.meter(path, bins, outfit, wrongs, typed_width_m=typed_width, head_cells=heads, world=conditions, dice=dice)
    clock = recording.timeline(path, metered, conditions, dice)
    since = {cause: clock.at_cell(cell) for cause, cell in plug_cells.items()}
    frame = boundary.frame if boundary is not None else NOWHERE
    trail = recording.record(
        path, metered, clock, bins, outfit, frame=frame, typed_width_m=typed_width, plugged=_plugged_runs(outfit, since), start_ms=start_ms,
        step_s=step_s, world=conditions, dice=dice,
    )  # fmt: skip
    truth = _truth(path, metered, bins, wrongs, width, boundary, plug_cells, since, conditions)
    sheet = reading.Sheet(
        outfit=outfit, job=plan.job, bins=bins, metered=metered, clock=clock,
        area_at_ha=np.concatenate([[0.0], np.cumsum(metered.counted_m * path.share)]) * typed_width / 1e4,
        typed_width_m=typed_width, true_width_m=width, counted_m=truth.distance_m * truth.distance_ratio, driven_m=truth.distance_m,
        ratio=truth.distance_ratio, field_ha=truth.field_ha, start_ms=start_ms, world=conditions, dice=dice,
    )  # fmt: skip
    fills, events = reading.fills_and_events(sheet, fill_how)
    return Day(
        trail=trail, readings=reading.readings(sheet, fills, level_how=level_how, optional=optional), fills=fills, events=events,
        typed=_typed(bins, typed_width, aimed.width_m), truth=truth, seed=seed, world=world,
    )  # fmt: skip


def _world(world: str, step_s: float, max_area_ha: float | None) -> World:
    if world not in WORLDS:
        raise SimulationError(f"world: {world!r} is not known. Worlds: {', '.join(WORLDS)}.")
    if not 0.1 <= step_s <= 60:
        raise SimulationError(f"step_s: {step_s:g} s is outside 0.1 to 60 s.")
    if max_area_ha is not None and not max_area_ha > 0:
        raise SimulationError(f"max_area_ha: {max_area_ha:g} ha is not above 0.")
    return WORLDS[world]


def _true_width(outfit: Outfit, plan: Plan, world: World, dice: Dice) -> float:
    """The best known width, and what a tape may have missed."""
    known = outfit.width_m or plan.width_m
    if not known:
        raise SimulationError("outfit: no width is known. Give a width, or rows and row spacing.")
    if not plan.bins:
        raise SimulationError("plan: it asks for no product. Give at least one bin with a rate.")
    return known + float(np.clip(dice.of("width").normal(), -2, 2)) * world.width_sd_m


def _typed_width(outfit: Outfit, width_m: float, faults: FaultSet) -> float:
    if faults.width_m is not None:
        typed = (outfit.width_m or width_m) + faults.width_m
        if typed <= 0.2 * width_m:
            raise SimulationError(
                f"width={faults.width_m:g}: leaves {typed:g} m typed for a tool of {width_m:.2f} m. Choose a smaller slip."
            )
        return typed
    return outfit.widths.rate_m or outfit.width_m or width_m


def _own_line(outfit: Outfit, plan: Plan, boundary: Boundary | None, width_m: float, max_area_ha: float | None) -> Drive:
    """A line for a plan without one: over the field if there is an outline, else over a rectangle of the plan's area."""
    spacing, radius = outfit.widths.guidance_m or plan.width_m or width_m, outfit.turn_radius_m or USUAL_RADIUS_M
    if boundary is not None:
        return driving.across(boundary, spacing, radius)
    area = plan.area_ha or max_area_ha
    if not area:
        raise SimulationError("plan: it has neither a line to drive nor an area. Give an area.")
    return driving.serpentine(area, spacing, radius)


def _plug_cells(path: driving.Path, faults: FaultSet, dice: Dice) -> dict[str, int]:
    """Cell in which each plugged run or head stops giving: somewhere in the middle half of the day, openers down."""
    down = np.flatnonzero(path.share > 0)
    out = {}
    for cause in [f"run:{n}" for n in faults.runs] + [f"head:{h}" for h in faults.heads]:
        out[cause] = int(down[int(down.size * dice.of(f"plug {cause}").uniform(0.2, 0.7))])
    return out


def _plugged_runs(outfit: Outfit, since: dict[str, float]) -> dict[int, float]:
    out: dict[int, float] = {}
    for run in outfit.runs:
        moments = [since[c] for c in (f"run:{run.number}", f"head:{run.head}") if c in since]
        if moments:
            out[run.number] = min(moments)
    return out


def _typed(bins: tuple[metering.BinSetup, ...], width_m: float, guidance_m: float) -> dict[str, float]:
    out = {"W": width_m, "guidance": guidance_m}
    for one in bins:
        out[f"F:{one.letter}"] = one.typed
        out[f"rate:{one.letter}"] = one.rate_kg_ha
    return out


def _truth(
    path: driving.Path, metered: metering.Metered, bins: tuple[metering.BinSetup, ...], faults: FaultSet, width_m: float,
    boundary: Boundary | None, plug_cells: dict[str, int], since: dict[str, float], world: World,
) -> Truth:  # fmt: skip
    at_work: FloatArray = path.length_m * path.share
    distance = float(at_work.sum())
    counted = float((metered.counted_m * path.share).sum())
    driven = distance * width_m
    covered = driving.covered_m2(path, width_m, boundary, world)
    target = boundary.area_m2 if boundary is not None and path.complete else covered
    sown = {b.letter: float(metered.sown_kg[:, i].sum()) for i, b in enumerate(bins)}
    dose = {b.letter: sown[b.letter] / (driven / 1e4) for b in bins}
    return Truth(
        faults=faults.specs,
        factors={b.letter: sown[b.letter] / float(metered.turns[:, i].sum()) for i, b in enumerate(bins)},
        width_m=width_m, distance_ratio=counted / distance, overlap=driven / target - 1,
        put_kg={b.letter: sum(p.kg for p in metered.puts if p.bin == i) for i, b in enumerate(bins)},
        sown_kg=sown, left_kg={b.letter: float(metered.level_kg[i]) for i, b in enumerate(bins)},
        dose_kg_ha=dose, dose_ratio={b.letter: dose[b.letter] / b.asked_kg_ha for b in bins},
        driven_ha=driven / 1e4, covered_ha=covered / 1e4, field_ha=target / 1e4, distance_m=distance,
        since_s=since, since_pass={c: int(path.pass_id[cell]) for c, cell in plug_cells.items()},
    )  # fmt: skip
