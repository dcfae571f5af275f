"""The line to drive, and where to fill along it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from evenstand.base.errors import InfeasibleError
from evenstand.model import Boundary, Drive, Job, Outfit, Plan, Stop
from evenstand.reference import default

SURE = 1.28  # standard deviations: nine times in ten a bin holds at least that much (normal distribution)


def spacing_of(outfit: Outfit | None, width_m: float) -> float:
    """Distance between passes: the width typed for guidance where it is known, else the true width. [m]"""
    return outfit.widths.guidance_m if outfit is not None and outfit.widths.guidance_m else width_m


def drive_for(job: Job, outfit: Outfit | None, boundary: Boundary, width_m: float, speed_m_s: float | None) -> Drive:
    """The drive of a job: its own direction if it has one, else along the longest edge; passes at the guidance's spacing.

    Its notes say what that spacing sows twice or leaves between the passes of a tool of the true width.
    """
    from evenstand.field import plan_passes

    spacing = spacing_of(outfit, width_m)
    drive = plan_passes(
        boundary,
        spacing,
        direction_deg=job.direction_deg,
        headland_rounds=job.headland_rounds,
        turn_radius_m=outfit.turn_radius_m if outfit else None,
        speed_m_s=speed_m_s,
    )
    return replace(drive, notes=(*_spacing_note(width_m, spacing), *drive.notes))


def _spacing_note(width_m: float, spacing_m: float) -> tuple[str, ...]:
    """What guidance narrower or wider than the tool does, in one sentence."""
    apart = width_m - spacing_m
    if round(abs(apart) * 1000) == 0:
        return ()
    tail = f"{abs(apart) * 1000:.0f} mm of every pass, {abs(apart) / width_m:.1%} of the ground"
    if apart > 0:
        return (f"Guidance at {spacing_m:.2f} m for a tool of {width_m:.2f} m: {tail}, is sown twice by the spacing alone.",)
    return (f"Guidance at {spacing_m:.2f} m for a tool of {width_m:.2f} m: {tail}, stays unsown between passes.",)


def longest_round_ha(drive: Drive, width_m: float) -> float:
    """Area of the longest pass there and back. [ha]"""
    lengths = drive.pass_lengths_m()
    return 2 * float(lengths.max()) * width_m / 1e4 if lengths.size else 0.0


def stops_for(plan: Plan, drive: Drive, outfit: Outfit | None, width_m: float) -> tuple[tuple[Stop, ...], dict[str, str]]:
    """Stops to fill along the drive: fewest, each planned where most is left on arrival, with the latest pass it may wait for.

    Returns
    -------
    tuple
        (stops, proof texts). No stops are planned while a bin's full mass is not known; the proof text says so. [kg, ha, h]
    """
    from evenstand.supply import plan_stops

    bins = [b for b in plan.bins if b.full_kg is not None]
    if not bins or len(bins) != len(plan.bins):
        missing = ", ".join(b.bin for b in plan.bins if b.full_kg is None) or "all"
        return (), {"stops": f"Not planned: what a full bin holds is not known for bin {missing}."}
    pass_ha = drive.pass_lengths_m() * width_m / 1e4
    use = np.outer(pass_ha, [b.rate_kg_ha * (b.share if b.in_turn else 1.0) for b in bins])  # in turn: shared out over the job
    full = np.array([b.full_kg.value for b in bins if b.full_kg is not None])
    safe = np.array([b.full_kg.value - SURE * b.full_kg.sd for b in bins if b.full_kg is not None])
    # each bin is one "product" of density 1 here: the placing is settled, only the stops are sought
    try:
        found = plan_stops(
            use,
            safe,
            np.ones(len(bins)),
            np.ones(len(pass_ha)),
            streams={i: (i,) for i in range(len(bins))},
        )
    except InfeasibleError as error:
        return (), {"stops": f"No stops fit: {error}"}
    return _stops(found.after_pass, found.latest_pass, use, full, pass_ha, drive, [b.bin for b in bins], plan), {
        "stops": "Fewest stops, proven." if found.optimal else "A good set of stops, not proven fewest."
    }


def _stops(
    after: tuple[int, ...],
    latest: tuple[int, ...],
    use: np.ndarray,
    full: np.ndarray,
    pass_ha: np.ndarray,
    drive: Drive,
    letters: list[str],
    plan: Plan,
) -> tuple[Stop, ...]:
    """Turn pass numbers into what a driver reads. [kg, ha, h]"""
    done_ha = np.cumsum(pass_ha)
    stop_h = default("fill-minutes").value / 60
    spare = default("last-fill").value
    ends_s = np.array([drive.t_s[drive.pass_id == k + 1].max(initial=0.0) for k in range(drive.passes)])
    stops = []
    begin = 0
    for i, (a, last) in enumerate(zip(after, latest, strict=True)):
        used = use[begin:a].sum(axis=0)
        following = after[i + 1] if i + 1 < len(after) else len(pass_ha)
        ahead = use[a:following].sum(axis=0)
        left = full - used
        add = np.minimum(used, np.maximum(0.0, ahead * spare - left)) if i + 1 == len(after) else used
        stops.append(
            Stop(
                after_pass=a,
                latest_pass=last,
                at_ha=float(done_ha[a - 1]),
                at_h=float(ends_s[a - 1]) / 3600 + i * stop_h if np.isfinite(ends_s[a - 1]) else None,
                left_kg={k: float(v) for k, v in zip(letters, left, strict=True)},
                add_kg={k: float(v) for k, v in zip(letters, add, strict=True)},
                note=f"Last fill: only what the rest of the field takes, and {spare - 1:.0%}." if i + 1 == len(after) else "",
            )
        )
        begin = a
    return tuple(stops)
