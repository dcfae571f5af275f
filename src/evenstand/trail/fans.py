"""The fan: how far it sags when the tool is lifted or lowered, and whether its steady speed moved.

A fan that drops for some seconds while product is still in the hoses lets it settle there. The speed says nothing about air speed in a
hose: the same turns move less air through a leak or past a plug.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.estimate import Est
from evenstand.base.units import shown
from evenstand.model.place import FloatArray
from evenstand.reference.practice import default
from evenstand.trail.faults import Answer, Look, TrailFault, Unseen, change_point, clock, lifts, limit, middles, numbered, robust_sd

BEFORE_S = 30.0
AFTER_S = 30.0
SETTLED_S = 30.0
LEAST_ROWS = 10
LEVEL_FLOOR = 0.004
COLUMNS = ("fan speed",)
NOT_AIR = "Air speed in the hoses, or that a hose plugged: the same turns move less air past a leak or a plug."


@dataclass(frozen=True, slots=True)
class _Sag:
    """Fan speed about many lifts or lowerings: seconds after, the middle profile, the deepest dip of each [turns/s], time that it surely
    stayed below in the middle of all [s]."""

    seconds: FloatArray
    middle: FloatArray
    dips: FloatArray
    below_s: float
    steady: float


def fan_sag(look: Look) -> tuple[Answer, ...]:
    """Fan speed that drops when the tool is lifted or lowered, for longer than product takes to leave the hoses.

    Parameters
    ----------
    look : Look
        With the fan's speed, and the lift or the sections. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        The fall of the speed below its steady value in the middle of all lifts. [rpm]

    References
    ----------
    definition: middle profile of the fan's speed over the seconds after each lift; how long it stays low is counted from the first
    to the last of low rows that follow one another, so a single low row says nothing of a duration.
    """
    events = {"lift": [a for a, _ in lifts(look)], "lower": [b for _, b in lifts(look)]}
    least = int(limit("fan-events"))
    if len(events["lift"]) < least:
        return (
            Unseen(
                kind="fan-sag",
                needs=(f"{least} lifts",),
                says=f"Fan sag at lift cannot be seen in this log: it has fewer than {least} lifts.",
            ),
        )
    out: list[Answer] = []
    profiles = {what: _profile(look, rows, lowered=what == "lower") for what, rows in events.items()}
    if all(sag is None for sag in profiles.values()):
        return (
            Unseen(
                kind="fan-sag", needs=("fan speed",), says="Fan sag at lift cannot be seen in this log: too few speeds about the lifts."
            ),
        )
    for what, rows in events.items():
        sag = profiles[what]
        if sag is not None and sag.below_s >= limit("fan-sag-time"):
            out.append(_sag_fault(look, what, rows, sag))
    if not out and look.usual_s > limit("fan-sag-time"):
        return (_too_coarse(look),)
    return tuple(out)


def _too_coarse(look: Look) -> Unseen:
    """Rows farther apart than a sag must last: one that is over between two rows is not seen."""
    least, apart = limit("fan-sag-time"), look.usual_s
    return Unseen(
        kind="fan-sag",
        needs=(f"rows {least:.0f} s apart or closer",),
        says=f"Fan sag at lift shorter than about {2 * apart:.0f} s cannot be seen in this log: its rows are {apart:.0f} s apart.",
    )


def _profile(look: Look, rows: list[int], *, lowered: bool) -> _Sag | None:
    """The middle of all profiles, each less the steady speed of its neighbouring stretch at work."""
    fan = look.trail.fan_turns_s
    assert fan is not None
    seconds = np.arange(0.0, AFTER_S, max(1.0, look.usual_s))
    at_work = fan[look.work & np.isfinite(fan)]
    steady = float(np.median(at_work)) if at_work.size else float("nan")
    allowed = default("fan-alarm-low").value * steady
    profiles, stays = [], []
    for row in rows:
        t0 = look.t_s[row]
        from_s, to_s = (t0 + SETTLED_S, t0 + SETTLED_S + BEFORE_S) if lowered else (t0 - BEFORE_S, t0)
        near = fan[look.row_at(from_s) : max(look.row_at(to_s), look.row_at(from_s) + 1)]
        base = float(np.nanmedian(near)) if np.isfinite(near).sum() >= 3 else steady
        end = look.row_at(t0 + AFTER_S) + 1
        here = np.isfinite(fan[row:end])
        if here.sum() >= 3:
            line = np.interp(seconds, (look.t_s[row:end] - t0)[here], fan[row:end][here], right=np.nan)
            profiles.append(line - base)
            stays.append(_stay((look.t_s[row:end])[here], fan[row:end][here] < base - allowed, 2 * look.usual_s))
    if len(profiles) < int(limit("fan-events")) or not np.isfinite(steady) or steady <= 0:
        return None
    table = np.array(profiles)
    middle = middles(table)
    if not np.isfinite(middle).any():
        return None
    deepest = int(np.nanargmin(middle))
    return _Sag(seconds, middle, table[:, deepest], float(np.median(stays)), steady)


def _stay(t_s: FloatArray, low: npt.NDArray[np.bool_], most_s: float) -> float:
    """Longest time between low rows that follow one another, no two of them farther apart than `most_s`; 0 for a single one. [s]"""
    best = stay = 0.0
    for step, both in zip(np.diff(t_s), low[1:] & low[:-1], strict=True):
        stay = stay + float(step) if both and step <= most_s else 0.0
        best = max(best, stay)
    return best


def _sag_fault(look: Look, what: str, rows: list[int], sag: _Sag) -> TrailFault:
    size = -float(np.nanmedian(sag.dips)) * 60
    sd = 60 * max(1.2533 * robust_sd(sag.dips) / np.sqrt(sag.dips.size), 1.0 / 60)
    fall = shown(size / 60, "fan", look.profile)
    word = "lift" if what == "lift" else "lower"
    low = 100 * default("fan-alarm-low").value
    return TrailFault(
        kind="fan-sag",
        cause="fan",
        claim=(
            f"The fan sags {fall} when you {word}, and stays more than {low:.0f} % low for about {sag.below_s:.0f} s: "
            "check hydraulic flow and priority."
        ),
        since_s=float(look.t_s[rows[0]]),
        since_low_s=0.0,
        since_high_s=float(look.t_s[rows[0]]),
        until_s=None,
        first_row=rows[0],
        last_row=rows[-1],
        passes=look.passes_between(rows[0], rows[-1]),
        size=Est(value=size, sd=sd, basis="measured", source=f"{sag.dips.size} {word}s"),
        size_unit="rpm",
        strength=sag.below_s / limit("fan-sag-time"),
        evidence=(
            f"middle of {sag.dips.size} times, against {shown(sag.steady, 'fan', look.profile)} at work",
            f"deepest {sag.seconds[int(np.nanargmin(sag.middle))]:.0f} s after; product is in the hoses for some 4 to 8 s more",
        ),
        columns=(*COLUMNS, *look.work_columns),
        worth_stopping=True,
        confirm_by="Watch the fan's speed through two lifts; then the puff test: product out of every opener within about 3 s.",
        not_claimed=NOT_AIR,
    )


def fan_droop(look: Look) -> tuple[Answer, ...]:
    """Steady fan speed that moved within the day, or lies off the proven speed.

    Parameters
    ----------
    look : Look
        With the fan's speed; the proven speed if it is known. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Change of the steady speed. [%]

    References
    ----------
    definition: change of the level of the passes' middle speeds, by likelihood over every pass it may begin at.
    """
    levels, owners = _levels(look)
    if levels.size < 4:
        return (Unseen(kind="fan-droop", needs=("4 passes",), says="Fan droop cannot be seen in this log: it has fewer than 4 passes."),)
    out: list[Answer] = []
    found = change_point(np.log(levels), sd_floor=LEVEL_FLOOR)
    if found is not None and abs(found[1]) >= limit("fan-droop") and found[3] >= limit("fan-droop-z"):
        out.append(_droop_fault(look, levels, owners, found))
    proven = look.outfit.fan_turns_s
    if not out and proven is not None and proven.value > 0:
        out += _off_proven(look, levels, owners, proven)
    return tuple(out)


def _levels(look: Look) -> tuple[FloatArray, list[int]]:
    """Middle speed of each pass, the half minute after lowering left out, and which pass. [turns/s]"""
    fan = look.trail.fan_turns_s
    assert fan is not None
    values, owners = [], []
    for i, p in enumerate(look.passes):
        rows = np.arange(p.first_row, p.last_row)
        rows = rows[(look.t_s[rows] >= p.start_s + SETTLED_S) & look.work[rows] & np.isfinite(fan[rows])]
        if rows.size >= LEAST_ROWS and float(np.median(fan[rows])) > 0:
            values.append(float(np.median(fan[rows])))
            owners.append(i)
    return np.array(values), owners


def _droop_fault(look: Look, levels: FloatArray, owners: list[int], found: tuple[int, float, float, float]) -> TrailFault:
    at, change, sd, z = found
    share = float(np.expm1(change))
    first, before = look.passes[owners[at]], look.passes[owners[at - 1]]
    was, now = float(np.median(levels[:at])), float(np.median(levels[at:]))
    lower = share < 0
    edge = default("fan-alarm-low").value if lower else default("fan-alarm-high").value
    since = numbered([first.number])
    return TrailFault(
        kind="fan-droop",
        cause="fan",
        claim=(
            f"The fan runs {abs(100 * share):.1f} % {'slower' if lower else 'faster'} since {since}: {shown(now, 'fan', look.profile)} "
            f"against {shown(was, 'fan', look.profile)} before."
        ),
        since_s=first.start_s,
        since_low_s=before.start_s,
        since_high_s=first.end_s,
        until_s=None,
        first_row=first.first_row,
        last_row=look.passes[owners[-1]].last_row,
        passes=look.passes_between(first.first_row, look.passes[owners[-1]].last_row),
        size=Est(value=100 * share, sd=100 * float(np.hypot(sd, LEVEL_FLOOR)), basis="measured", source=f"{levels.size} passes"),
        size_unit="%",
        strength=z,
        evidence=(f"middle speed of {at} passes before and {levels.size - at} after", f"{z:.0f} times the scatter between passes"),
        columns=COLUMNS,
        worth_stopping=abs(share) >= edge,
        confirm_by="Read the fan's speed steady at work and compare it with the proven speed; look at oil, belt or setting.",
        not_claimed=NOT_AIR,
    )


def _off_proven(look: Look, levels: FloatArray, owners: list[int], proven: Est) -> list[Answer]:
    """The whole day off the proven speed by more than its alarm."""
    share = float(np.median(levels)) / proven.value - 1
    sd = float(np.hypot(proven.relative_sd, LEVEL_FLOOR))
    low, high = default("fan-alarm-low").value, default("fan-alarm-high").value
    if not (share < -low - sd or share > high + sd):
        return []
    now = shown(float(np.median(levels)), "fan", look.profile)
    first, last = look.passes[owners[0]], look.passes[owners[-1]]
    return [
        TrailFault(
            kind="fan-droop",
            cause="fan",
            claim=(
                f"The fan ran at {now} all day, {abs(100 * share):.0f} % {'below' if share < 0 else 'above'} its proven "
                f"{shown(proven.value, 'fan', look.profile)}."
            ),
            since_s=first.start_s,
            since_low_s=0.0,
            since_high_s=first.end_s,
            until_s=None,
            first_row=first.first_row,
            last_row=last.last_row,
            passes=look.passes_between(first.first_row, last.last_row),
            size=Est(value=100 * share, sd=100 * sd, basis="measured", source="against the proven speed"),
            size_unit="%",
            strength=abs(share) / max(sd, 1e-9),
            evidence=(f"middle of {levels.size} passes, {clock(first.start_s)} to {clock(last.end_s)}",),
            columns=COLUMNS,
            worth_stopping=True,
            confirm_by="Ask whether another speed was proven for this product; else the puff test before going on.",
            not_claimed=NOT_AIR,
        )
    ]
