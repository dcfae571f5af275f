"""Sections and work states that never change when they should: one section on through the turns, one off while its neighbours work,
or a tool the log calls at work through every half turn.

Only the logged state is judged. Whether a shut-off follows its state, no log tells.
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from evenstand.base.estimate import Est
from evenstand.base.units import shown
from evenstand.model.place import FloatArray
from evenstand.model.trail import BoolArray
from evenstand.trail.faults import Answer, Look, TrailFault, Unseen, clock, lifts, limit, numbered
from evenstand.trail.passes import PassFacts
from evenstand.trail.stepping import runs_of

LATE_S = 5.0
TURN_SHARE = 0.8
PASS_SHARE = 0.9
PASS_M = 30.0
HALF_TURN_DEG = 150.0
TURN_WAY_M = 150.0
HEADING_M = (15.0, 40.0)
IDLE_S = (12.0, 180.0)
IDLE_WAY_M = 15.0
NO_FLOW = 0.05
COARSE_ROWS = 3
LEAST_MOVES = 60
STATE_ONLY = "That product fell or failed to fall there: a state is what the controller wrote, not what an opener did."


def section_on(look: Look) -> tuple[Answer, ...]:
    """A section on through the turns while the others are off.

    Parameters
    ----------
    look : Look
        With three sections or more. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Share of the turns it was on in. [%]

    References
    ----------
    definition: section states in the stretches in which the others are off or the tool is up.
    """
    sections = look.trail.sections
    assert sections is not None
    if sections.shape[1] < 3:
        return (
            Unseen(
                kind="section-on", needs=("3 sections",), says="A section that stays on cannot be seen in this log: it has fewer than 3."
            ),
        )
    count = sections.sum(axis=1)
    up = count <= max(1, sections.shape[1] // 4)
    if look.trail.lifted is not None:
        up |= look.trail.lifted
    turns = _turns(look, up)
    if len(turns) < limit("section-turns"):
        return (
            Unseen(
                kind="section-on", needs=("3 turns",), says="A section that stays on cannot be seen in this log: it has fewer than 3 turns."
            ),
        )
    out: list[Answer] = []
    on = np.array([sections[a:b].mean(axis=0) >= TURN_SHARE for a, b in turns])  # (turns, sections)
    for k in range(sections.shape[1]):
        others = np.delete(on, k, axis=1).mean(axis=1)
        mine = on[:, k] & (others <= 0.25)
        stretch = _lasting(mine)
        if stretch is not None and int(mine[stretch[0] : stretch[1]].sum()) >= limit("section-turns"):
            out.append(_on_fault(look, k, turns, mine, stretch))
    return tuple(out)


def _turns(look: Look, up: BoolArray) -> list[tuple[int, int]]:
    """Stretches with the tool up between two stretches of work, their late ends taken off, moving and 5 s long at least."""
    begin, end = runs_of(up)
    late = math.ceil(LATE_S / look.usual_s)
    out = []
    for a, b in zip(begin.tolist(), end.tolist(), strict=True):
        if a == 0 or b == look.trail.n:
            continue
        low, high = a + late, b - late
        if high > low and float(look.along_m[b] - look.along_m[a]) > 5.0:
            out.append((low, high))
    return out


def _lasting(mine: BoolArray) -> tuple[int, int] | None:
    """The stretch in which most are true: first, one past the last."""
    if not mine.any():
        return None
    gain = np.where(mine, 1.0, -2.0)
    total = np.concatenate([[0.0], np.cumsum(gain)])
    least = np.minimum.accumulate(total)
    stop = int(np.argmax(total - least))
    return int(np.argmin(total[: stop + 1])), stop


def _on_fault(look: Look, k: int, turns: list[tuple[int, int]], mine: BoolArray, stretch: tuple[int, int]) -> TrailFault:
    first, last = turns[stretch[0]][0], turns[stretch[1] - 1][1]
    count, of = int(mine[stretch[0] : stretch[1]].sum()), stretch[1] - stretch[0]
    share, sd = _share(count, of)
    metres = sum(
        float(look.along_m[b] - look.along_m[a])
        for (a, b), m in zip(turns[stretch[0] : stretch[1]], mine[stretch[0] : stretch[1]], strict=True)
        if m
    )
    width = _section_width(look, k)
    area = metres * width / 1e4 if width is not None else None
    extra = f", {shown(area, 'area', look.profile)} that may have been sown twice" if area is not None else ""
    before = float(look.t_s[turns[stretch[0] - 1][0]]) if stretch[0] > 0 else 0.0
    return TrailFault(
        kind="section-on",
        cause=f"section:{k + 1}",
        claim=f"Section {k + 1} stayed on through {count} of {of} turns since {clock(look.t_s[first])}{extra}.",
        since_s=float(look.t_s[first]),
        since_low_s=before,
        since_high_s=float(look.t_s[first]),
        until_s=None if stretch[1] == len(turns) else float(look.t_s[last]),
        first_row=first,
        last_row=last,
        passes=look.passes_between(first, last),
        size=Est(value=100 * share, sd=100 * sd, basis="measured", source=f"{of} turns"),
        size_unit="%",
        strength=float(count),
        evidence=(f"on for {100 * TURN_SHARE:.0f} % or more of each of those turns, the other sections off",),
        columns=("sections", *(("lift",) if look.trail.lifted is not None else ())),
        worth_stopping=True,
        confirm_by=f"Lift at the headland and look under section {k + 1}; try its switch.",
        not_claimed=STATE_ONLY,
        area_ha=area,
    )


def _share(count: int, of: int) -> tuple[float, float]:
    """A share with the sd of a share, Laplace's rule at the ends. [-]"""
    p = (count + 1) / (of + 2)
    return count / of, math.sqrt(p * (1 - p) / of)


def _section_width(look: Look, k: int) -> float | None:
    sections = look.outfit.sections
    if look.trail.sections is None or len(sections) != look.trail.sections.shape[1]:
        return None
    return abs(sections[k].right_m - sections[k].left_m)


def section_off(look: Look) -> tuple[Answer, ...]:
    """A section off over whole passes while all the others work.

    Parameters
    ----------
    look : Look
        With three sections or more. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Share of the passes it was off in. [%]

    References
    ----------
    definition: section states over the way on which every other section is on.
    """
    sections = look.trail.sections
    assert sections is not None
    if sections.shape[1] < 3:
        return (
            Unseen(
                kind="section-off", needs=("3 sections",), says="A section that stays off cannot be seen in this log: it has fewer than 3."
            ),
        )
    sown = np.where(look.steps.whole, look.steps.length_m, 0.0)
    if look.trail.lifted is not None:
        sown = np.where(look.trail.lifted[:-1], 0.0, sown)
    out: list[Answer] = []
    for k in range(sections.shape[1]):
        rest: BoolArray = np.asarray(np.delete(sections, k, axis=1)[:-1].all(axis=1))
        judged, off = _passes_off(look, k, rest, sown)
        stretch = _lasting(off)
        if stretch is not None and int(off[stretch[0] : stretch[1]].sum()) >= limit("section-passes"):
            out.append(
                _off_fault(
                    look,
                    k,
                    [judged[i] for i in range(*stretch)],
                    judged[stretch[0] - 1] if stretch[0] else None,
                    stretch[1] == off.size,
                    sown,
                )
            )
    return tuple(out)


def _passes_off(look: Look, k: int, rest: BoolArray, sown: FloatArray) -> tuple[list[PassFacts], BoolArray]:
    """Passes with enough way on which every other section is on, and whether this one was off on most of it."""
    assert look.trail.sections is not None
    mine = look.trail.sections[:-1, k]
    judged, off = [], []
    for p in look.passes:
        rows = slice(p.first_row, p.last_row)
        way = float(sown[rows][rest[rows]].sum())
        if way >= PASS_M:
            judged.append(p)
            off.append(float(sown[rows][rest[rows] & ~mine[rows]].sum()) >= PASS_SHARE * way)
    return judged, np.array(off, dtype=np.bool_)


def _off_fault(look: Look, k: int, passes: list[PassFacts], before: PassFacts | None, lasts: bool, sown: FloatArray) -> TrailFault:
    first, last = passes[0], passes[-1]
    assert look.trail.sections is not None
    mine = look.trail.sections[:-1, k]
    metres = sum(float(sown[p.first_row : p.last_row][~mine[p.first_row : p.last_row]].sum()) for p in passes)
    width = _section_width(look, k)
    area = metres * width / 1e4 if width is not None else None
    tail = f", {shown(area, 'area', look.profile)} not sown by it" if area is not None else ""
    share, sd = _share(len(passes), len(passes))
    return TrailFault(
        kind="section-off",
        cause=f"section:{k + 1}",
        claim=f"Section {k + 1} is off while all the others work, in {numbered(p.number for p in passes)}{tail}.",
        since_s=first.start_s,
        since_low_s=before.start_s if before is not None else 0.0,
        since_high_s=first.end_s,
        until_s=None if lasts else last.end_s,
        first_row=first.first_row,
        last_row=last.last_row,
        passes=tuple(p.number for p in passes),
        size=Est(value=100 * share, sd=100 * sd, basis="measured", source=f"{len(passes)} passes"),
        size_unit="%",
        strength=float(len(passes)),
        evidence=(f"off on {100 * PASS_SHARE:.0f} % or more of the way of each of those passes on which all others are on",),
        columns=("sections",),
        worth_stopping=True,
        confirm_by=f"Dig behind section {k + 1}; try its switch. Sow the strips again before the outline is closed.",
        not_claimed=STATE_ONLY,
        area_ha=area,
    )


def work_stuck(look: Look) -> tuple[Answer, ...]:
    """A work state that says "at work" through half turns, or while nothing comes and nothing is counted.

    Parameters
    ----------
    look : Look
        With the lift or the sections; flow at the runs, meter turns and the area counter bear witness where the log has them. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Turns the log calls work, of all turns. [%]

    References
    ----------
    definition: passes driven to and fro with no row up between them; stretches of a turn's length at work without flow, turns or count.
    """
    halves, worked, rows = _half_turns(look)
    idle, by = _idle_stretches(look)
    least = int(limit("turns-at-work"))
    if len(idle) >= least and len(idle) > len(worked):
        ups = len(lifts(look))
        if len(idle) <= 0.5 * ups:
            return ()
        evidence = f"{len(idle)} stretches of a turn's length at work and moving in which {by}"
        return (_stuck(look, len(idle), len(idle) + ups, evidence, "turns", idle[0][0], idle[-1][1]),)
    if halves < least:
        says = f"A stuck work state cannot be seen in this log: it has fewer than {least} half turns."
        return (Unseen(kind="work-stuck", needs=(f"{least} half turns",), says=says),)
    if len(worked) < least or len(worked) < 0.5 * halves:
        return ()
    evidence = f"heading turned by {HALF_TURN_DEG:.0f} degrees or more within {TURN_WAY_M:.0f} m with no row up"
    return (_stuck(look, len(worked), halves, evidence, "half turns", rows[0], rows[-1]),)


def _stuck(look: Look, count: int, of: int, evidence: str, word: str, first: int, last: int) -> TrailFault:
    share, sd = _share(count, of)
    return TrailFault(
        kind="work-stuck",
        cause="work-state",
        claim=f"The log has the tool at work through {count} of {of} {word}: the work switch does not follow the lift.",
        since_s=float(look.t_s[first]),
        since_low_s=0.0,
        since_high_s=float(look.t_s[first]),
        until_s=None,
        first_row=first,
        last_row=last,
        passes=look.passes_between(first, last),
        size=Est(value=100 * share, sd=100 * sd, basis="measured", source=f"{of} {word}"),
        size_unit="%",
        strength=float(count),
        evidence=(evidence,),
        columns=("positions", *look.work_columns),
        worth_stopping=False,
        confirm_by="Lift and watch the work state on the display; look at the switch and its cable.",
        not_claimed="That the openers were down: the log repeats the switch. Area, passes and time at work of this log are too large.",
    )


def _idle_stretches(look: Look) -> tuple[list[tuple[int, int]], str]:
    """Stretches of a turn's length at work and moving in which a witness stood still that moves on both sides of it; and which."""
    best: list[tuple[int, int]] = []
    said = ""
    for still, word in _witnesses(look):
        begin, end = runs_of(still & look.work & look.moving)
        found = []
        for a, b in zip(begin.tolist(), end.tolist(), strict=True):
            lasts = float(look.t_s[min(b, look.trail.n - 1)] - look.t_s[a])
            inside = a > 0 and b < look.trail.n and look.work[a - 1] and look.work[b]
            if inside and IDLE_S[0] <= lasts <= IDLE_S[1] and float(look.along_m[b] - look.along_m[a]) >= IDLE_WAY_M:
                found.append((a, b))
        if len(found) > len(best):
            best, said = found, word
    return best, said


def _witnesses(look: Look) -> list[tuple[BoolArray, str]]:
    """Rows in which nothing came or nothing was counted, by each column that tells."""
    trail = look.trail
    out: list[tuple[BoolArray, str]] = []
    if trail.run_present is not None and trail.run_present.shape[1] >= 3:
        out.append((np.asarray(trail.run_present.mean(axis=1) <= NO_FLOW), "no run was seen"))
    if trail.revs is not None and trail.revs.shape[1]:
        out.append((_standing(np.nansum(np.nan_to_num(trail.revs), axis=1)), "no meter turned"))
    if trail.area_ha is not None:
        out.append((_standing(trail.area_ha), "the area counter stood still"))
    return out


def _standing(counter: FloatArray) -> BoolArray:
    """Rows at which a counter has not moved for some rows before and after; none of one that moves in steps as coarse as that."""
    moved = np.concatenate([[False], np.diff(np.nan_to_num(counter)) != 0])
    steps = np.diff(np.flatnonzero(moved))
    if steps.size < LEAST_MOVES or float(np.percentile(steps, 90)) > COARSE_ROWS:
        return np.zeros(counter.size, dtype=np.bool_)
    return np.asarray(np.convolve(moved, np.ones(2 * COARSE_ROWS + 1), mode="same") < 0.5)


def _half_turns(look: Look) -> tuple[int, list[int], list[int]]:
    """Half turns between neighbouring passes; those without a row up, and where they lie."""
    count, worked, rows = 0, [], []
    long = [i for i, p in enumerate(look.passes) if p.length_m >= PASS_M]
    for i, j in itertools.pairwise(long):
        one, other = look.passes[i], look.passes[j]
        turn = abs((_heading(look, other.first_row, 1) - _heading(look, one.last_row, -1) + 180) % 360 - 180)
        way = float(look.along_m[other.first_row] - look.along_m[one.last_row])
        if turn >= HALF_TURN_DEG and way <= TURN_WAY_M:
            count += 1
            if look.work[one.last_row : other.first_row + 1].all():
                worked.append(i)
                rows.append(one.last_row)
    return count, worked, rows


def _heading(look: Look, row: int, step: int) -> float:
    """Direction of the way a little after a row, or before it, clear of the turn itself: a round has no one heading. [deg]"""
    near, far = (look.row_of_way(float(look.along_m[row]) + step * m) for m in HEADING_M)
    move = (look.trail.xy_m[far] - look.trail.xy_m[near]) * step
    return float(np.degrees(np.arctan2(move[0], move[1])))
