"""Counters that grow while the tool is up, or stand still while it works: hectares counted in turns, meters turning in the air."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from evenstand.base.estimate import Est
from evenstand.base.units import shown
from evenstand.model.place import FloatArray
from evenstand.model.trail import BoolArray
from evenstand.reference.practice import default
from evenstand.trail.faults import Answer, Look, TrailFault, Unseen, lifts, limit, numbered
from evenstand.trail.passes import PassFacts

LATE_S = 5.0
LEAST_SHARE = 0.25
STILL_SHARE = 0.02
PASS_M = 60.0


@dataclass(frozen=True, slots=True)
class _Lifted:
    """Growth of a counter in each stretch up: the whole of it, and its middle, where no lag of a state reaches."""

    stretch: list[tuple[int, int]]
    whole: FloatArray
    middle: FloatArray
    expected: FloatArray


def counted_lifted(look: Look) -> tuple[Answer, ...]:
    """Area counted while the tool was up or all its sections off.

    Parameters
    ----------
    look : Look
        With the machine's area counter, and the lift or the sections. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Area counted in the turns. [ha]

    References
    ----------
    definition: growth of the counter between rows with the tool up.
    """
    area = look.trail.area_ha
    assert area is not None
    seen = _growth_up(look, area)
    if isinstance(seen, str):
        return (_too_few("counted-lifted", "Counting while lifted", seen),)
    mine = _grew(seen)
    total = _grown(area)
    low, high = float(seen.middle[mine].sum()), float(seen.whole[mine].sum())
    if mine.sum() < limit("counted-turns") or high < limit("counted-share") * total:
        return ()
    share = high / total if total > 0 else 0.0
    fields = _fields(look, seen, mine)
    return (
        TrailFault(
            kind="counted-lifted",
            cause="counting",
            claim=(
                f"About {shown(high, 'area', look.profile)} counted while turning, {100 * share:.1f} % of the counter; the openers were up."
            ),
            size=Est(value=high, sd=max((high - low) / 3.92, 0.001), basis="measured", source=f"{int(mine.sum())} turns"),
            size_unit="ha",
            strength=float(mine.sum()),
            evidence=(
                f"the counter grew in {int(mine.sum())} of {mine.size} stretches with the tool up",
                f"{shown(low, 'area', look.profile)} of it more than {LATE_S:.0f} s after a lift and before a lowering",
            ),
            columns=("area counter", *look.work_columns),
            worth_stopping=share >= default("stop-for-seed").low,
            confirm_by="Lift, drive ten metres and watch the area counter and the meters.",
            not_claimed="That product was sown there, unless the meters turned too.",
            area_ha=high,
            **fields,
        ),
    )


def metered_lifted(look: Look) -> tuple[Answer, ...]:
    """Meters that turn while the tool is up or all its sections off.

    Parameters
    ----------
    look : Look
        With meter turns, and the lift or the sections. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Turns with the tool up, by bin. [turns]

    References
    ----------
    definition: growth of the turns between rows with the tool up.
    """
    revs = look.trail.revs
    assert revs is not None
    out: list[Answer] = []
    for i, letter in enumerate(look.trail.bins):
        seen = _growth_up(look, revs[:, i])
        if isinstance(seen, str):
            return (_too_few("metered-lifted", "Meters turning while lifted", seen),)
        mine = _grew(seen)
        total = _grown(revs[:, i])
        low, high = float(seen.middle[mine].sum()), float(seen.whole[mine].sum())
        if mine.sum() < limit("counted-turns") or high < limit("counted-share") * total:
            continue
        share = high / total if total > 0 else 0.0
        out.append(
            TrailFault(
                kind="metered-lifted",
                cause=f"meter:{letter}",
                claim=(
                    f"The meter of bin {letter} turned {high:.0f} turns while the tool was up, {100 * share:.1f} % of the day's: "
                    "product lies on the turns."
                ),
                size=Est(value=high, sd=max((high - low) / 3.92, 0.01), basis="measured", source=f"{int(mine.sum())} turns of the machine"),
                size_unit="turns",
                strength=float(mine.sum()),
                evidence=(f"it turned in {int(mine.sum())} of {mine.size} stretches with the tool up",),
                columns=("meter turns", *look.work_columns),
                worth_stopping=True,
                confirm_by="Lift, drive ten metres and watch the shaft; then look behind the openers on the headland.",
                not_claimed="A mass: turns times the typed product per turn is an echo.",
                **_fields(look, seen, mine),
            )
        )
    return tuple(out)


def uncounted_work(look: Look) -> tuple[Answer, ...]:
    """An area counter that stands still over whole passes.

    Parameters
    ----------
    look : Look
        With the machine's area counter, the tool's width, and the lift or the sections. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Area driven at work and not counted. [ha]

    References
    ----------
    definition: growth of the counter over a pass against distance times width.
    """
    area, width = look.trail.area_ha, look.outfit.width_m
    assert area is not None
    if width is None:
        return (
            Unseen(
                kind="uncounted-work",
                needs=("the tool's width",),
                says="Work that was not counted cannot be sized: the tool's width is not known.",
            ),
        )
    still: list[PassFacts] = []
    for p in look.passes:
        if p.length_m < PASS_M or (p.off_share or 0.0) > 0.5:
            continue
        growth = area[p.last_row] - area[p.first_row]
        if math.isfinite(growth) and 0 <= growth < STILL_SHARE * p.length_m * width / 1e4:
            still.append(p)
    if len(still) < limit("uncounted-passes"):
        return ()
    missed = sum(p.length_m * (1 - (p.off_share or 0.0)) for p in still) * width / 1e4
    first, last = still[0], still[-1]
    return (
        TrailFault(
            kind="uncounted-work",
            cause="counting",
            claim=(
                f"The area counter stood still over {numbered(p.number for p in still)}: about "
                f"{shown(missed, 'area', look.profile)} driven and not counted."
            ),
            since_s=first.start_s,
            since_low_s=look.passes[first.number - 2].start_s if first.number > 1 else 0.0,
            since_high_s=first.end_s,
            until_s=None if last is look.passes[-1] else last.end_s,
            first_row=first.first_row,
            last_row=last.last_row,
            passes=tuple(p.number for p in still),
            size=Est(value=missed, sd=0.02 * missed, basis="computed", source="distance times width"),
            size_unit="ha",
            strength=float(len(still)),
            evidence=(f"{len(still)} passes of {PASS_M:.0f} m or more with less than {100 * STILL_SHARE:.0f} % of their area counted",),
            columns=("area counter", "positions", *look.work_columns),
            worth_stopping=True,
            confirm_by="Stop and look whether the meters turn; then the work switch.",
            not_claimed="That nothing was sown there: the counter may have been paused by hand.",
            area_ha=missed,
        ),
    )


def _too_few(kind: str, what: str, why: str) -> Unseen:
    return Unseen(kind=kind, needs=(why,), says=f"{what} cannot be seen in this log: it has too few {why}.")


def _growth_up(look: Look, counter: FloatArray) -> _Lifted | str:
    """Growth of a counter in every stretch up, and what it would be had the tool worked there; a word for what is lacking."""
    late = math.ceil(LATE_S / look.usual_s)
    stretch = [(a, b) for a, b in lifts(look) if b - a > 2 * late and look.along_m[b] - look.along_m[a] > 5.0]
    if len(stretch) < limit("counted-turns"):
        return "turns"
    good = np.isfinite(counter)
    if good.sum() < 2:
        return "numbers in the counter"
    full = np.interp(np.arange(counter.size), np.flatnonzero(good), counter[good])
    step = np.maximum(np.diff(full), 0.0)
    grown = np.concatenate([[0.0], np.cumsum(step)])
    work_m = float(look.steps.length_m[look.steps.sowing].sum())
    rate = float(step[look.steps.sowing].sum()) / work_m if work_m > 0 else 0.0
    whole = np.array([grown[b] - grown[a] for a, b in stretch])
    middle = np.array([grown[b - late] - grown[a + late] for a, b in stretch])
    expected = np.array([rate * (look.along_m[b - late] - look.along_m[a + late]) for a, b in stretch])
    return _Lifted(stretch, whole, middle, expected)


def _grew(seen: _Lifted) -> BoolArray:
    """Stretches in whose middle the counter grew by a good part of what work would have counted."""
    out: BoolArray = (seen.middle > 0) & (seen.middle >= LEAST_SHARE * seen.expected)
    return out


def _grown(counter: FloatArray) -> float:
    good = counter[np.isfinite(counter)]
    step = np.diff(good)
    return float(step[step > 0].sum())


def _fields(look: Look, seen: _Lifted, mine: BoolArray) -> dict[str, Any]:
    """Since when, where."""
    at = np.flatnonzero(mine)
    first, last = seen.stretch[int(at[0])], seen.stretch[int(at[-1])]
    before = seen.stretch[int(at[0]) - 1] if at[0] > 0 else None
    return {
        "since_s": float(look.t_s[first[0]]),
        "since_low_s": float(look.t_s[before[0]]) if before is not None else 0.0,
        "since_high_s": float(look.t_s[first[1]]),
        "until_s": None if int(at[-1]) == mine.size - 1 else float(look.t_s[last[1]]),
        "first_row": first[0],
        "last_row": last[1],
        "passes": look.passes_between(first[0], last[1]),
    }
