"""Meters that turn without the level falling: a bridge, a lump, an empty bin. Needs a level that was weighed.

A level that is computed from the turns falls with every turn whatever the product does. Such a column is known by its being too good: it
follows the turns to its last digit.
"""

from __future__ import annotations

import re

import numpy as np

from evenstand.base.estimate import Est
from evenstand.model.place import FloatArray
from evenstand.model.trail import Trail
from evenstand.trail.faults import Answer, Look, TrailFault, Unseen, clock, limit, robust_sd
from evenstand.trail.runs import strongest

LEVEL_NAME = re.compile(
    r"^(?:level|weight|left|content|bin level|bin weight)[ _:]*([A-Z])\b|^bin[ _]*([A-Z])[ _:]*(?:level|weight|left)\b", re.IGNORECASE
)
PARTS = (60, 40, 25, 15)
LEAST_PARTS = 8
LEAST_ROWS = 240
STANDS_OUT = 4.0
ECHO_SHARE = 0.0015
REFILL_SHARE = 0.05
MOST_TURNS = 1.5


def level_columns(trail: Trail) -> dict[str, FloatArray]:
    """The level columns by bin letter, among those kept under their own names ("level A", "weight_A", "bin A level"). [as in the log]

    Parameters
    ----------
    trail : Trail
        n rows. [-]
    """
    out: dict[str, FloatArray] = {}
    for name, values in trail.extra.items():
        match = LEVEL_NAME.match(name.strip())
        if match is not None:
            out.setdefault((match.group(1) or match.group(2)).upper(), values)
    return out


def no_fall(look: Look) -> tuple[Answer, ...]:
    """Turns of a meter that the level of its bin does not follow.

    Parameters
    ----------
    look : Look
        With meter turns and a weighed level, in a column kept under its own name. [-]

    Returns
    -------
    tuple of TrailFault or Unseen
        Fall that is missing, as a share of what those turns should have taken. [%]

    References
    ----------
    definition: fall of the level by parts of equal turns, against the day's usual fall for a turn.
    """
    assert look.trail.revs is not None
    levels = level_columns(look.trail)
    mine = [(i, letter) for i, letter in enumerate(look.trail.bins) if letter in levels]
    if not mine:
        says = "Turns without a fall of the level cannot be seen in this log: it has no level of a bin."
        return (Unseen(kind="no-fall", needs=("level of a bin",), says=says),)
    out: list[Answer] = []
    for i, letter in mine:
        out += _of_bin(look, letter, levels[letter], look.trail.revs[:, i])
    return tuple(out)


def _of_bin(look: Look, letter: str, level: FloatArray, revs: FloatArray) -> list[Answer]:
    finest = _parts(level, revs, PARTS[0])
    if finest is None:
        return [_blind(letter, "more turns", "follows its meter cannot be seen in this log: too few rows with both")]
    pace = finest[1] / finest[2]
    if _usual(pace) <= 0:
        return [_blind(letter, "a level that falls", "follows its meter cannot be seen in this log: it never falls")]
    if robust_sd(pace) / _usual(pace) < ECHO_SHARE:
        return [
            _blind(
                letter, "a weighed level", "is true cannot be seen in this log: it repeats the turns to the last digit, so it is computed"
            )
        ]
    parts = next((p for n in PARTS if (p := _parts(level, revs, n)) is not None and _clear(p)), None)
    if parts is None:
        return [_blind(letter, "more turns", "follows its meter cannot be seen in this log: it sways by more than these turns take")]
    row, fall, turns = parts
    usual = _usual(fall / turns)
    expected = usual * turns
    sd = max(robust_sd(fall - expected), 1e-9)
    missing = (expected - fall) / sd - limit("level-share") * expected / (2 * sd)
    missing = np.minimum(missing, (expected / sd))
    start, stop, _ = strongest(missing)
    if stop <= start:
        return []
    lost = float((expected - fall)[start:stop].sum())
    due = float(expected[start:stop].sum())
    z = lost / (sd * np.sqrt(stop - start))
    if z < limit("level-deficit") or lost < limit("level-share") * due or stop - start < 2:
        return []
    first, last = int(row[start]), int(row[stop])
    return [
        TrailFault(
            kind="no-fall",
            cause=f"bridge:{letter}",
            claim=(
                f"The meter of bin {letter} turned {turns[start:stop].sum():.0f} turns from {clock(look.t_s[first])}, and its level fell "
                f"{100 * lost / due:.0f} % less than it should: product may not fall."
            ),
            since_s=float(look.t_s[first]),
            since_low_s=float(look.t_s[int(row[max(start - 2, 0)])]),
            since_high_s=float(look.t_s[int(row[min(start + 2, stop)])]),
            until_s=None if stop >= fall.size - 1 else float(look.t_s[last]),
            first_row=first,
            last_row=last,
            passes=look.passes_between(first, last),
            size=Est(value=100 * lost / due, sd=100 * sd * float(np.sqrt(stop - start)) / due, basis="measured", source="level and turns"),
            size_unit="%",
            strength=float(z),
            evidence=(f"{stop - start} parts of about {np.median(turns):.0f} turns; usual fall {usual:.3g} a turn",),
            columns=("meter turns", "level of a bin"),
            worth_stopping=True,
            confirm_by=f"Stop the fan, lock out, and look into bin {letter} before anybody reaches in.",
            not_claimed="Ground left unsown without times: what was in the hoses went on for some seconds.",
        )
    ]


def _blind(letter: str, need: str, what: str) -> Unseen:
    return Unseen(kind="no-fall", needs=(f"{need} of bin {letter}",), says=f"Whether the level of bin {letter} {what}.")


def _clear(parts: tuple[FloatArray, FloatArray, FloatArray]) -> bool:
    """Whether the fall of a usual part stands well out of the level's own unrest."""
    _, fall, turns = parts
    mean = float(fall.sum() / turns.sum())
    return mean > 0 and mean * float(np.median(turns)) >= STANDS_OUT * robust_sd(fall - mean * turns)


def _usual(per_turn: FloatArray) -> float:
    """The fall a turn takes where nothing hinders it: the middle of the parts that fall at half the best tenth's pace or faster."""
    good = float(np.percentile(per_turn, 90))
    return float(np.median(per_turn[per_turn >= 0.5 * good])) if good > 0 else 0.0


def _parts(level: FloatArray, revs: FloatArray, count: int) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """So many parts of equal turns: first row of each (and the last one's end), fall of the level, turns. Fills within a part are left
    out; None with fewer rows or parts."""
    at = np.flatnonzero(np.isfinite(level) & np.isfinite(revs))
    if at.size < LEAST_ROWS:
        return None
    grown = np.concatenate([[0.0], np.cumsum(np.maximum(np.diff(revs[at]), 0.0))])
    if grown[-1] <= 0:
        return None
    cuts = np.unique(np.searchsorted(grown, np.linspace(0, grown[-1], count + 1)).clip(0, at.size - 1))
    if cuts.size < count // 2:
        return None
    top = float(np.max(level[at]) - np.min(level[at]))
    # a level is the middle of a few rows about the cut, so that the cells' unrest weighs less
    held = np.array([np.median(level[at[max(0, c - 5) : c + 6]]) for c in cuts])
    fall, turns = -np.diff(held), np.diff(grown[cuts])
    # a part with a fill in it, or with rows missing in it, says nothing
    keep = (fall > -REFILL_SHARE * top) & (turns > 0) & (turns < MOST_TURNS * float(np.median(turns)))
    if keep.sum() < LEAST_PARTS:
        return None
    row = at[cuts]
    return np.concatenate([row[:-1][keep], row[-1:]]).astype(np.float64), fall[keep], turns[keep]
