"""Positions that leap: farther than a machine can move, or sideways within a pass without coming back."""

from __future__ import annotations

import math

import numpy as np

from evenstand.base.estimate import Est
from evenstand.base.units import shown
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import FLAGS, BoolArray
from evenstand.trail.faults import Answer, Look, TrailFault, Unseen, clock, limit, numbered, robust_sd
from evenstand.trail.passes import PassFacts

HALF = 5
SIDE_ROWS = 2 * HALF
SIDE_WAY_M = 6.0
STRAIGHT_RAD = math.radians(12.0)
STEADY_SD_M = 0.02
USUAL_AHEAD_M = 12.0  # where it is not known: the longest of the outfits we know
SWING = 1.5
USUAL_CROOKED = 1.5
MOST_CROOKED = 0.08  # of a leap: where the way itself bends and wavers more than that, no leap can be told
AT_ONCE = 0.5
MOST_ASTRAY = 5
STAYS = 0.7
NEAR_ROWS = 12
LEAST_ROWS = 40
NOT_TOOL = "That the tool moved: the fix did. Ground covered and row to row are off by as much there."


def position_jumps(look: Look) -> tuple[Answer, ...]:
    """Positions that leap while the tool is at work.

    Parameters
    ----------
    look : Look
        With positions; leaps flagged when the file was read count too. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Length of the largest leap. [m]

    References
    ----------
    definition: steps longer than a machine can move, and sideways steps that stay, against the day's own sideways unrest.
    """
    if look.trail.n < LEAST_ROWS or not look.passes:
        return (
            Unseen(
                kind="position-jumps",
                needs=("one pass of 40 rows",),
                says="Position jumps cannot be seen in this log: it has no pass of 40 rows.",
            ),
        )
    leaps = _leaps(look)
    side_rows, side_m, unrest = _sideways(look)
    rows = np.concatenate([leaps, side_rows])
    sizes = np.concatenate([look.steps.length_m[leaps], side_m])
    if rows.size == 0:
        return ()
    order = np.argsort(rows)
    rows, sizes = rows[order], sizes[order]
    keep = np.concatenate([[True], np.diff(rows) > NEAR_ROWS])
    starts = np.flatnonzero(keep)
    sizes = np.maximum.reduceat(sizes, starts)
    rows = rows[starts]
    return (_fault(look, rows, sizes, unrest),)


def _leaps(look: Look) -> IntArray:
    """Steps at work that are too long for their time, flagged or not, after which the fixes stay away. One bad fix and back is left out of
    the ground covered and no fault by itself; several are. A gap of rows is no leap."""
    length, dt = look.steps.length_m, look.steps.dt_s
    reach = np.maximum(look.steps.limits.fastest_m_s * np.maximum(dt, look.usual_s), 1.0)
    far = (length > reach) & (dt <= look.steps.limits.gap_s)
    if look.trail.flags is not None:
        flagged = (look.trail.flags[1:] & FLAGS["jump"]) > 0
        far |= flagged & (dt <= look.steps.limits.gap_s)
    far &= look.work[:-1] & look.work[1:]
    rows = np.flatnonzero(far)
    rows = rows[(rows >= SIDE_ROWS - 1) & (rows < look.trail.n - SIDE_ROWS - 1)]
    whole = np.concatenate([[0], np.cumsum(look.steps.whole & ~far)])
    alone = (whole[rows] - whole[rows - SIDE_ROWS + 1] == SIDE_ROWS - 1) & (whole[rows + SIDE_ROWS] - whole[rows + 1] == SIDE_ROWS - 1)
    lone = rows[alone]
    lone = lone[_about(look.trail.xy_m, lone)[2] < STRAIGHT_RAD]
    stay = lone[_stays(look.trail.xy_m, lone, length[lone])]
    back = rows[far[np.minimum(rows + 1, far.size - 1)]]
    back = back[np.hypot(*(look.trail.xy_m[back + 2] - look.trail.xy_m[back]).T) <= 2 * reach[back]]
    return np.sort(np.concatenate([stay, back])) if back.size >= MOST_ASTRAY else stay


def _stays(xy: FloatArray, rows: IntArray, length: FloatArray) -> BoolArray:
    """Whether the middle of the fixes after a leap lies off the way before it by most of the leap."""
    if rows.size == 0:
        return np.zeros(0, dtype=np.bool_)
    window = np.lib.stride_tricks.sliding_window_view(xy, HALF, axis=0)
    earlier, before, after = (np.median(window[rows + shift], axis=2) for shift in (1 - 2 * HALF, 1 - HALF, 1))
    return np.asarray(np.hypot(*(after - 2 * before + earlier).T) >= STAYS * length)


def _about(xy: FloatArray, i: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Of the steps from row i to i+1: direction across the way about them (m, 2), how far it moves aside there [m], and how much it turns
    there, infinite where it hardly moves [rad].

    Everything from middles of five rows, so that one bad fix turns no direction. Where a machine turns about, an antenna ahead swings
    far: that is no leap.
    """
    window = np.lib.stride_tricks.sliding_window_view(xy, HALF, axis=0)
    shifts = (1 - 2 * HALF, 1 - HALF, 1, 1 + HALF)
    means = [window[i + shift].mean(axis=2) for shift in shifts]
    way = means[1] - means[0] + means[3] - means[2]
    size = np.hypot(way[:, 0], way[:, 1])
    ahead = way / np.where(size > 0, size, 1.0)[:, None]
    side = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    # middles along and aside of that line, so that one bad fix turns nothing and it does not matter how the field lies
    along, aside = ([np.median((window[i + shift] * axis[:, :, None]).sum(axis=1), axis=1) for shift in shifts] for axis in (ahead, side))
    one, other = along[1] - along[0], along[3] - along[2]
    moves = (one > SIDE_WAY_M / 3) & (other > SIDE_WAY_M / 3)
    run = np.where(moves, one + other, 1.0)
    tilt = (aside[1] - aside[0] + aside[3] - aside[2]) / run
    moved = (aside[2] + aside[3] - aside[0] - aside[1] - tilt * (along[2] + along[3] - along[0] - along[1])) / 2
    bend = np.abs(np.arctan2(aside[3] - aside[2], other) - np.arctan2(aside[1] - aside[0], one))
    return side, moved, np.where(moves, bend, np.inf)


def _sideways(look: Look) -> tuple[IntArray, FloatArray, float]:
    """Steps at which the way moves aside and stays there: rows and sizes [m]; and the day's own sideways unrest. [m]"""
    parts = [_aside(look, p) for p in look.passes]
    where = np.concatenate([part[0] for part in parts])
    moved, step, swing, crooked = (np.concatenate([part[i] for part in parts]) for i in (1, 2, 3, 4))
    if moved.size < LEAST_ROWS:
        return np.zeros(0, dtype=np.int64), np.zeros(0), STEADY_SD_M
    unrest = max(robust_sd(moved), STEADY_SD_M)
    least = max(limit("shift-least"), limit("shift-z") * unrest)
    # the move must happen in one step, not over the whole window
    size = np.where(np.sign(step) == np.sign(moved), np.minimum(np.abs(moved), np.abs(step)), 0.0)
    bent = np.maximum(crooked - USUAL_CROOKED * float(np.median(crooked)), 0.0) / MOST_CROOKED  # more than the day's own wavering
    hit = (np.abs(moved) >= least + swing + bent) & (size >= max(limit("shift-least"), AT_ONCE * least))
    return where[hit], np.abs(moved[hit]), unrest


def _aside(look: Look, p: PassFacts) -> tuple[IntArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """How far the way moves aside at each step of a pass, on straight ground: rows, moves of the middles about it, its own, what an antenna
    ahead of the axle may swing there, and how far the rows about it lie off two lines. [m]"""
    k = SIDE_ROWS
    rows = np.arange(p.first_row, p.last_row + 1)
    xy = look.trail.xy_m[rows]
    if rows.size < 2 * k + 2:
        none = np.zeros(0)
        return np.zeros(0, dtype=np.int64), none, none, none, none
    i = np.arange(k - 1, rows.size - k - 1)  # the step from row i to i+1
    side, moved, bend = _about(xy, i)
    straight = bend < STRAIGHT_RAD
    late = look.steps.dt_s[rows[:-1]] > look.steps.limits.gap_s
    whole = np.convolve(late, np.ones(2 * k - 1), mode="valid")[: i.size] == 0
    use = straight & whole
    step_side = ((xy[i + 1] - xy[i]) * side).sum(axis=1)
    crooked = np.maximum(_crooked(xy, i[use], side[use], 1 - k), _crooked(xy, i[use], side[use], 1))
    swing = SWING * max(look.outfit.antenna_ahead_m, USUAL_AHEAD_M) * bend[use]
    return rows[i[use]], moved[use], step_side[use], swing, crooked


def _crooked(xy: FloatArray, i: IntArray, side: FloatArray, shift: int) -> FloatArray:
    """How far the ten rows from i + shift lie off a line of their own, by the middle distance. [m]"""
    if i.size == 0:
        return np.zeros(0)
    window = np.lib.stride_tricks.sliding_window_view(xy, SIDE_ROWS, axis=0)[i + shift]
    aside = (window * side[:, :, None]).sum(axis=1)
    along = (window * np.column_stack([-side[:, 1], side[:, 0]])[:, :, None]).sum(axis=1)
    along = along - along.mean(axis=1, keepdims=True)
    way = np.maximum((along**2).sum(axis=1, keepdims=True), 1e-9)
    off = aside - np.median(aside, axis=1, keepdims=True) - along * ((aside * along).sum(axis=1, keepdims=True) / way)
    return np.asarray(1.4826 * np.median(np.abs(off - np.median(off, axis=1, keepdims=True)), axis=1))


def _fault(look: Look, rows: IntArray, sizes: FloatArray, unrest: float) -> TrailFault:
    first, last = int(rows[0]), int(rows[-1])
    top = int(np.argmax(sizes))
    passes = tuple(p.number for p in look.passes if ((rows >= p.first_row) & (rows <= p.last_row)).any())
    count = f"{rows.size} times" if rows.size > 1 else "once"
    return TrailFault(
        kind="position-jumps",
        cause="fixes",
        claim=f"Positions leap {count} at work, by up to {shown(float(sizes[top]), 'width', look.profile)}, in {numbered(passes)}.",
        since_s=float(look.t_s[first]),
        since_low_s=float(look.t_s[first]),
        since_high_s=float(look.t_s[first + 1]),
        until_s=float(look.t_s[last]) if rows.size > 1 else None,
        first_row=first,
        last_row=last + 1,
        passes=passes,
        size=Est(value=float(sizes[top]), sd=max(0.05, 0.03 * float(sizes[top]), 1.5 * unrest), basis="measured", source="positions"),
        size_unit="m",
        strength=float(sizes[top]) / limit("shift-least"),
        evidence=tuple(
            f"{shown(float(s), 'width', look.profile)}, {clock(float(look.t_s[int(r)]))}"
            for r, s in list(zip(rows, sizes, strict=True))[:5]
        ),
        columns=("positions",),
        worth_stopping=False,
        confirm_by="Look at the fix quality of those minutes, and whether the correction signal changed.",
        not_claimed=NOT_TOOL,
    )
