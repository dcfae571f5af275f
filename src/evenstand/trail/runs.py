"""Runs and heads that lost flow, seen against their siblings at the same moment.

A flow sensor tells flow or no flow, misses a sighting now and then, and says nothing about kilograms. A run is reported when it stays
away while its siblings on the same head are seen; a head when its runs stay away together while the other heads of its stream are seen.
The start lies between the last sighting and the first missed one: the log knows no better.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from evenstand.model.outfit import Outfit
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import BoolArray, Trail
from evenstand.trail.passes import PassFacts, pass_of_row
from evenstand.trail.stepping import Steps, at_work_rows, steps_of

MISSED_WHEN_DEAD = 0.95
LEAST_MISS, MOST_MISS = 0.002, 0.2
ENOUGH = 16.0  # log-likelihood: a chance of about one in a million for each run, so that 64 runs a day give no false alarm a season
LEAST_ROWS = 12
SETTLE_S = 8.0
HEAD_SHARE = 0.8
SIBLINGS = 0.5
MOST_EPISODES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFault:
    """Flow lost at one run or one whole head.

    run: number, None for a head; head: letter, "" not known; runs: the runs concerned; last_seen_ms, first_missed_ms: the start
    lies between them, last_seen_ms None if it was never seen; last_seen_s, first_missed_s: the same from the trail's first row [s];
    until_ms: seen again from then, None if not seen again; since_pass: number of the pass it began in; rows: rows it was missed in;
    area_ha: ground those runs did not sow [ha]; siblings: against what it was held; strength: log-likelihood [-].
    """

    run: int | None
    head: str
    runs: tuple[int, ...]
    last_seen_ms: int | None
    first_missed_ms: int
    last_seen_s: float | None
    first_missed_s: float
    until_ms: int | None
    since_pass: int | None
    rows: int
    area_ha: float
    siblings: str
    strength: float


@dataclass(frozen=True, slots=True)
class _Look:
    """What is held against what: flow seen (n,m), rows in which it could be expected (n,m), steps sown [m]."""

    present: BoolArray
    expected: BoolArray
    trail: Trail
    sown_m: FloatArray
    passes: tuple[PassFacts, ...]
    row_m: float


NOT_SEEN = "Plugged runs cannot be seen in this log: it has no column of flow at the runs."


def run_faults(trail: Trail, outfit: Outfit, *, passes: tuple[PassFacts, ...] = (), steps: Steps | None = None) -> tuple[RunFault, ...]:
    """Runs and heads that lost flow.

    Parameters
    ----------
    trail : Trail
        With `run_present` (n, runs); without it nothing can be seen, and the answer is empty (see `NOT_SEEN`). [-]
    outfit : Outfit
        Which run hangs on which head and section, which are shut, row spacing. [-]
    passes : tuple of PassFacts
        For the number of the pass. [-]
    steps : Steps or None
        Steps of the trail, if they are at hand. [-]

    Returns
    -------
    tuple of RunFault
        Heads first, then runs by number. [-]

    References
    ----------
    definition: a run against its siblings on the same head, over the same rows of the log.
    """
    if trail.run_present is None or not trail.runs or trail.n < LEAST_ROWS:
        return ()
    steps = steps or steps_of(trail)
    sown = np.concatenate([np.where(steps.sowing, steps.length_m, 0.0), [0.0]])
    row_m = outfit.row_spacing_m or ((outfit.width_m or math.nan) / (outfit.rows or len(trail.runs)))
    shut = {r.number for r in outfit.runs if r.shut}
    columns = np.array([j for j, number in enumerate(trail.runs) if number not in shut], dtype=np.int64)
    if columns.size == 0:
        return ()
    look = _Look(trail.run_present, _at_work(trail, outfit, steps), trail, sown, passes, row_m)
    heads = _heads(trail, outfit, columns)
    found: list[RunFault] = []
    dead: dict[str, BoolArray] = {}
    if len(heads) > 1:
        for letter, members in heads.items():
            others = np.setdiff1d(_same_stream(outfit, heads, letter), members)
            faults, missing = _head_faults(look, letter, members, others)
            found += faults
            dead[letter] = missing
    for letter, members in heads.items():
        found += _member_faults(look, letter, members, dead.get(letter))
    return tuple(found)


def _at_work(trail: Trail, outfit: Outfit, steps: Steps) -> BoolArray:
    """Where flow could be expected at each run: its section on, and for long enough that flow had time to reach the opener."""
    work, _ = at_work_rows(trail)
    usual = float(np.median(steps.dt_s)) if steps.dt_s.size else 1.0
    late = max(1, math.ceil(SETTLE_S / max(usual, 0.05)))
    whole = _steady(work, late)
    out = np.repeat(whole[:, None], len(trail.runs), axis=1)
    if trail.sections is not None and len(outfit.sections) == trail.sections.shape[1] and outfit.runs:
        offset = {r.number: r.offset_m for r in outfit.runs}
        steady = [_steady(trail.sections[:, k], late) for k in range(trail.sections.shape[1])]
        for j, number in enumerate(trail.runs):
            k = next(
                (i for i, s in enumerate(outfit.sections) if number in offset and s.left_m - 1e-6 <= offset[number] <= s.right_m + 1e-6),
                None,
            )
            if k is not None:
                out[:, j] &= steady[k]
    return out


def _steady(on: BoolArray, rows: int) -> BoolArray:
    """On now, for so many rows before, and on the next row."""
    total = np.concatenate([[0], np.cumsum(on)])
    index = np.arange(on.size)
    low = np.maximum(index - rows, 0)
    return np.asarray((total[index + 1] - total[low] == rows + 1) & np.concatenate([on[1:], [False]]))


def _heads(trail: Trail, outfit: Outfit, columns: IntArray) -> dict[str, IntArray]:
    """Columns of each head; all in one where heads are not known."""
    of_run = {r.number: r.head for r in outfit.runs}
    out: dict[str, list[int]] = {}
    for j in columns.tolist():
        out.setdefault(of_run.get(trail.runs[j], ""), []).append(j)
    return {letter: np.array(out[letter], dtype=np.int64) for letter in sorted(out)}


def _same_stream(outfit: Outfit, heads: dict[str, IntArray], letter: str) -> IntArray:
    stream = {h.letter: h.stream for h in outfit.heads}
    return np.concatenate([c for other, c in heads.items() if stream.get(other) == stream.get(letter)])


def _head_faults(look: _Look, letter: str, members: IntArray, others: IntArray) -> tuple[list[RunFault], BoolArray]:
    """Stretches in which most runs of a head were away while those of other heads were seen, and the rows of those stretches."""
    missing = np.zeros(look.trail.n, dtype=np.bool_)
    if members.size < 2 or others.size == 0 or not letter:
        return [], missing
    due = look.expected[:, members].all(axis=1) & (_share(look, others) >= SIBLINGS)
    rows = np.flatnonzero(due)
    away = look.present[rows][:, members].mean(axis=1) <= 1 - HEAD_SHARE
    faults = []
    for start, stop, strength in _episodes(away, _usual_miss(look.present[rows][:, others])):
        faults.append(_fault(look, None, letter, members, rows, ~away, start, stop, strength, "the other heads of its stream"))
        until = rows[stop] if stop < rows.size else look.trail.n
        missing[rows[start] : until] = True
    return faults, missing


def _member_faults(look: _Look, letter: str, members: IntArray, head_dead: BoolArray | None) -> list[RunFault]:
    """Single runs against their siblings on the head."""
    if members.size < 2:
        return []
    seen = look.present[:, members]
    due_all = look.expected[:, members]
    total = (seen & due_all).sum(axis=1)
    due_count = due_all.sum(axis=1)
    usual = _usual_miss(np.where(due_all, seen, True))
    out = []
    for k, j in enumerate(members.tolist()):
        others_due = due_count - due_all[:, k]
        others_seen = total - (seen[:, k] & due_all[:, k])
        due = due_all[:, k] & (others_due > 0) & (others_seen >= SIBLINGS * others_due)
        if head_dead is not None:
            due &= ~head_dead
        rows = np.flatnonzero(due)
        if rows.size < LEAST_ROWS:
            continue
        away = ~seen[rows, k]
        against = f"the other runs of head {letter}" if letter else "the other runs"
        for start, stop, strength in _episodes(away, usual):
            out.append(_fault(look, look.trail.runs[j], letter, np.array([j]), rows, ~away, start, stop, strength, against))
    return out


def _share(look: _Look, columns: IntArray) -> FloatArray:
    """Share of these runs seen, of those due. [-]"""
    due = look.expected[:, columns]
    count = due.sum(axis=1)
    seen = (look.present[:, columns] & due).sum(axis=1)
    return np.asarray(np.where(count > 0, seen / np.maximum(count, 1), 0.0))


def _usual_miss(seen: BoolArray) -> float:
    """How often a healthy run is missed by its sensor: the middle of all. [-]"""
    rate = 1.0 - seen.mean(axis=0) if seen.size else np.array([LEAST_MISS])
    return float(np.clip(np.median(rate), LEAST_MISS, MOST_MISS))


def _episodes(away: BoolArray, usual: float) -> list[tuple[int, int, float]]:
    """Stretches (first, one past the last, strength) in which a run stayed away, the strongest kept apart one by one."""
    miss = math.log(MISSED_WHEN_DEAD / usual)
    hit = math.log((1 - MISSED_WHEN_DEAD) / (1 - usual))
    gain = np.where(away, miss, hit)
    out: list[tuple[int, int, float]] = []
    spans = [(0, away.size)]
    while spans and len(out) < MOST_EPISODES:
        low, high = spans.pop()
        if high - low < LEAST_ROWS:
            continue
        start, stop, strength = _strongest(gain[low:high])
        if strength < ENOUGH or int(away[low + start : low + stop].sum()) < LEAST_ROWS:
            continue
        out.append((low + start, low + stop, strength))
        spans += [(low, low + start), (low + stop, high)]
    return sorted(out)


def _strongest(gain: FloatArray) -> tuple[int, int, float]:
    """The stretch of greatest sum."""
    total = np.concatenate([[0.0], np.cumsum(gain)])
    least = np.minimum.accumulate(total)
    stop = int(np.argmax(total - least))
    start = int(np.argmin(total[: stop + 1]))
    return start, stop, float(total[stop] - total[start])


def _fault(
    look: _Look,
    run: int | None,
    head: str,
    columns: IntArray,
    rows: IntArray,
    seen: BoolArray,
    start: int,
    stop: int,
    strength: float,
    siblings: str,
) -> RunFault:
    """One stretch as a fault; sightings just before the start bound it."""
    t, origin = look.trail.t_ms, int(look.trail.t_ms[0])
    before = np.flatnonzero(seen[:start])
    last_seen = int(t[rows[before[-1]]]) if before.size else None
    end_row = int(rows[stop]) if stop < rows.size else None
    first_row = int(rows[start])
    until_row = end_row if end_row is not None else look.trail.n
    metres = float(look.sown_m[first_row:until_row].sum())
    return RunFault(
        run=run,
        head=head,
        runs=tuple(look.trail.runs[j] for j in columns.tolist()),
        last_seen_ms=last_seen,
        first_missed_ms=int(t[first_row]),
        last_seen_s=None if last_seen is None else (last_seen - origin) / 1e3,
        first_missed_s=(int(t[first_row]) - origin) / 1e3,
        until_ms=None if end_row is None else int(t[end_row]),
        since_pass=pass_of_row(look.passes, first_row),
        rows=int((~seen[start:stop]).sum()),
        area_ha=metres * look.row_m * columns.size / 1e4,
        siblings=siblings,
        strength=strength,
    )
