"""All detectors of a trail in one table: what each is called, which columns it needs, and one function that runs them.

Where a column is missing the answer is "cannot be seen in this log", with the columns that would show it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from evenstand.base.estimate import Est
from evenstand.base.units import Profile, shown
from evenstand.model.outfit import Outfit
from evenstand.model.place import FloatArray
from evenstand.model.trail import Trail
from evenstand.trail.counting import counted_lifted, metered_lifted, uncounted_work
from evenstand.trail.fans import fan_droop, fan_sag
from evenstand.trail.faults import Answer, Clear, Look, TrailFault, TrailFaults, Unseen, clock, look_at
from evenstand.trail.fixes import position_jumps
from evenstand.trail.lanes import guidance_width, lane_gap
from evenstand.trail.levels import no_fall
from evenstand.trail.passes import PassFacts
from evenstand.trail.runs import RunFault, run_faults
from evenstand.trail.speeds import distance_drift, distance_scale, speed_frozen
from evenstand.trail.stepping import Steps
from evenstand.trail.stuck import section_off, section_on, work_stuck

NO_STATE = {
    "lost-flow": "Runs without flow cannot be told from a lifted tool in this log: its work state does not follow the lift.",
    "uncounted-work": "Work that was not counted cannot be told from a turn in this log: its work state does not follow the lift.",
}
NO_MASS = "Flow of so many kilograms: a sensor says flow or no flow."


@dataclass(frozen=True, slots=True, kw_only=True)
class Detector:
    """A detector. title: what it looks for; needs: groups of columns, one of each group is enough; find: the function."""

    kind: str
    title: str
    needs: tuple[tuple[str, ...], ...]
    find: Callable[[Look], tuple[Answer, ...]]


def lost_flow(look: Look) -> tuple[Answer, ...]:
    """Runs and heads without flow, as faults of the trail.

    Parameters
    ----------
    look : Look
        With flow at the runs. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Runs without flow. [runs]

    References
    ----------
    definition: a run against its siblings on the same head.
    """
    found = run_faults(look.trail, look.outfit, passes=look.passes, steps=look.steps)
    return tuple(_of_run(look, f) for f in found)


def _of_run(look: Look, fault: RunFault) -> TrailFault:
    whole = fault.run is None
    first = look.row_at(fault.first_missed_s)
    last = look.trail.n - 1 if fault.until_ms is None else look.row_at((fault.until_ms - int(look.trail.t_ms[0])) / 1e3)
    area = fault.area_ha if fault.area_ha == fault.area_ha else None
    ground = f", {shown(area, 'area', look.profile)} so far" if area is not None else ""
    what = f"Head {fault.head}" if whole else f"Run {fault.run}" + (f", head {fault.head}," if fault.head else "")
    return TrailFault(
        kind="lost-flow",
        cause=f"head:{fault.head}" if whole else f"run:{fault.run}",
        claim=f"{what} is without flow since {clock(fault.first_missed_s)}{ground}.",
        since_s=fault.first_missed_s,
        since_low_s=fault.earliest_s,
        since_high_s=fault.latest_s,
        until_s=None if fault.until_ms is None else (fault.until_ms - int(look.trail.t_ms[0])) / 1e3,
        first_row=first,
        last_row=last,
        passes=look.passes_between(first, last),
        size=Est(value=float(len(fault.runs)), sd=0.0, basis="measured", source="flow at the runs"),
        size_unit="runs",
        strength=fault.strength,
        evidence=(f"missed in {fault.rows} rows while {fault.siblings} were seen",),
        columns=("flow at the runs", *look.work_columns),
        worth_stopping=whole,
        confirm_by=f"Stop the fan, then look into head {fault.head}."
        if whole
        else f"Stop the fan, then pull the hose of run {fault.run} and look.",
        not_claimed=NO_MASS,
        runs=fault.runs,
        area_ha=area,
    )


WORK = ("lift", "sections")
DETECTORS: tuple[Detector, ...] = (
    Detector(kind="lost-flow", title="runs and heads without flow", needs=(("flow at the runs",),), find=lost_flow),
    Detector(kind="fan-sag", title="fan sag at lift and lowering", needs=(("fan speed",), WORK), find=fan_sag),
    Detector(kind="fan-droop", title="steady fan speed that moved", needs=(("fan speed",),), find=fan_droop),
    Detector(kind="speed-frozen", title="frozen or stand-in speed", needs=(("distance", "speed"),), find=speed_frozen),
    Detector(kind="distance-scale", title="distance against positions", needs=(("distance", "speed"),), find=distance_scale),
    Detector(kind="distance-drift", title="distance count that changed in the day", needs=(("distance", "speed"),), find=distance_drift),
    Detector(kind="guidance-width", title="row to row against the width typed for guidance", needs=(), find=guidance_width),
    Detector(kind="lane-gap", title="row to row against the tool's width", needs=(), find=lane_gap),
    Detector(kind="counted-lifted", title="area counted while lifted", needs=(("area counter",), WORK), find=counted_lifted),
    Detector(kind="metered-lifted", title="meters turning while lifted", needs=(("meter turns",), WORK), find=metered_lifted),
    Detector(kind="uncounted-work", title="work that was not counted", needs=(("area counter",), WORK), find=uncounted_work),
    Detector(kind="section-on", title="a section that stays on", needs=(("sections",),), find=section_on),
    Detector(kind="section-off", title="a section that stays off", needs=(("sections",),), find=section_off),
    Detector(kind="work-stuck", title="a work state that does not follow the lift", needs=(WORK,), find=work_stuck),
    Detector(kind="no-fall", title="turns without a fall of the level", needs=(("meter turns",),), find=no_fall),
    Detector(kind="position-jumps", title="position jumps", needs=(), find=position_jumps),
)


def columns_of(trail: Trail) -> frozenset[str]:
    """The columns a trail has, by the names the detectors use. [-]

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    """
    have = {
        "speed": _told(trail.speed_m_s),
        "distance": _told(trail.step_m),
        "area counter": _told(trail.area_ha),
        "sections": trail.sections is not None and trail.sections.shape[1] > 0,
        "lift": trail.lifted is not None,
        "meter turns": _told(trail.revs) and bool(trail.bins),
        "flow at the runs": trail.run_present is not None and bool(trail.runs),
        "fan speed": _told(trail.fan_turns_s),
    }
    return frozenset(name for name, there in have.items() if there)


def _told(values: FloatArray | None) -> bool:
    """Whether a column is there and holds numbers."""
    return values is not None and int(np.isfinite(values).sum()) >= 2


def trail_faults(
    trail: Trail,
    outfit: Outfit,
    *,
    steps: Steps | None = None,
    passes: tuple[PassFacts, ...] | None = None,
    kinds: tuple[str, ...] | None = None,
    profile: Profile = "si",
) -> TrailFaults:
    """Run every detector on a trail.

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    outfit : Outfit
        Width, sections, runs, proven fan speed, typed guidance width, as far as known. [-]
    steps : Steps or None
        Steps of the trail, if they are at hand. [-]
    passes : tuple of PassFacts or None
        Its passes, if they are at hand. [-]
    kinds : tuple of str or None
        Only these detectors. [-]
    profile : str
        Units of the sentences. [-]

    Returns
    -------
    TrailFaults
        What is wrong, what is worth stopping for first; what was looked for and not found; what this log cannot show. [-]
    """
    have = columns_of(trail)
    found: list[TrailFault] = []
    clear: list[Clear] = []
    unseen: list[Unseen] = []
    look = look_at(trail, outfit, steps=steps, passes=passes, profile=profile) if trail.n >= 2 else None
    for detector in DETECTORS:
        if kinds is not None and detector.kind not in kinds:
            continue
        lacking = [group for group in detector.needs if not have & set(group)]
        if lacking or look is None:
            unseen.append(_lacks(detector, lacking))
            continue
        answers = detector.find(look)
        faults = [a for a in answers if isinstance(a, TrailFault)]
        blind = [a for a in answers if isinstance(a, Unseen)]
        found += faults
        unseen += blind
        if not faults and not blind:
            used = tuple(next(c for c in group if c in have) for group in detector.needs)
            clear.append(Clear(kind=detector.kind, title=detector.title, columns=("positions", *used)))
    if any(f.kind == "work-stuck" for f in found):  # what then looks like it follows from the state, and is not told twice
        for kind in {f.kind for f in found} & set(NO_STATE):
            unseen.append(Unseen(kind=kind, needs=("a work state that follows the lift",), says=NO_STATE[kind]))
        found = [f for f in found if f.kind not in NO_STATE]
    return TrailFaults(
        found=tuple(sorted(found, key=lambda f: (not f.worth_stopping, f.since_s))), clear=tuple(clear), unseen=tuple(unseen)
    )


def _lacks(detector: Detector, lacking: list[tuple[str, ...]]) -> Unseen:
    needs = tuple(" or ".join(group) for group in lacking) or ("two rows",)
    title = detector.title[:1].upper() + detector.title[1:]
    return Unseen(kind=detector.kind, needs=needs, says=f"{title}: cannot be seen in this log; it has no {' and no '.join(needs)}.")
