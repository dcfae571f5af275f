"""Runs and heads that lost flow, seen against their siblings at the same moment.

A flow sensor tells flow or no flow, misses a sighting now and then, may take dust for seed, and says nothing about kilograms. So one
missing sighting says nothing; a run that stays away from some moment on, while its siblings are seen, says a lot. A whole head is named
when its runs went together. The start lies between the last sighting and the first missed one, give or take the drop-outs.

One detector serves the day's check (`run_losses`, one stretch for each run) and the trail's facts (`run_faults`, heads put together,
every stretch). It is the one that `make bench-faults` measures.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenstand.model.outfit import Outfit
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import BoolArray, Trail
from evenstand.trail.passes import PassFacts, pass_of_row
from evenstand.trail.stepping import Steps, steps_of

SURE = 18.0  # log-likelihood before a run is called plugged: some hundred looks at 64 runs
START_DROP = 4.5  # log-likelihood by which a start may be worse than the best and still be possible
LAG_S = 10.0  # flow through the hose is late by some seconds
MOST_SHARE = 0.5  # more runs than this missing together is the fan, a bin or a master valve, not runs
LEAST_SEEN = 0.4  # of the runs whose sections are on; a head of two may be dead, a switch that stays on names nobody
SEEN_FLOOR, SEEN_TOP = 0.5, 0.999
GHOST = 0.02
RARE = 0.1
LEAST_ROWS = 30
NEAR_ROWS = 12
TOGETHER_S = 30.0
TOGETHER_SHARE = 0.8
MOST_EPISODES = 4

NOT_SEEN = "Plugged runs cannot be seen in this log: it has no column of flow at the runs."


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLoss:
    """A run that stopped being seen while its siblings were.

    run: number; head: letter, "" unknown; since_s: likeliest start; earliest_s, latest_s: the start lies between [s from the first
    row]; until_s: last row looked at, or when it came back [s]; strength: log-likelihood against a clear run [-];
    seen, looked: how often it was seen after the start, and how often its siblings were [rows]; back: whether it was seen again.
    """

    run: int
    head: str
    since_s: float
    earliest_s: float
    latest_s: float
    until_s: float
    strength: float
    seen: int
    looked: int
    back: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFault:
    """Flow lost at one run or one whole head.

    run: number, None for a head; head: letter, "" not known; runs: the runs concerned; last_seen_ms, first_missed_ms: the start
    lies between them, last_seen_ms None if it was never seen; last_seen_s, first_missed_s: the same from the trail's first row [s];
    until_ms: seen again from then, None if not seen again; since_pass: number of the pass it began in; rows: rows it was missed in;
    area_ha: ground those runs did not sow, not-a-number without a row spacing [ha]; siblings: against what it was held; strength:
    log-likelihood [-]; earliest_s, latest_s: the start lies between, drop-outs and the way through the hose allowed for [s].
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
    earliest_s: float = 0.0
    latest_s: float = 0.0


def run_losses(trail: Trail, outfit: Outfit | None = None, *, most: int = 1) -> tuple[RunLoss, ...]:
    """Runs that stopped being seen, from the sensors in a trail.

    Parameters
    ----------
    trail : Trail
        With `run_present`; without it nothing can be told. [-]
    outfit : Outfit or None
        To know each run's head, and which are shut. [-]
    most : int
        How many stretches of one run are told, the clearest first. [-]

    Returns
    -------
    tuple of RunLoss
        By run number, then by start; empty without sensors or losses. [see the class]

    References
    ----------
    definition: a run against its siblings on the same head.

    Range: any trail; one with fewer than 30 rows tells nothing.
    """
    if trail.run_present is None or not trail.runs or trail.n < LEAST_ROWS:
        return ()
    heads = {r.number: r.head for r in outfit.runs} if outfit is not None else {}
    shut = {r.number for r in outfit.runs if r.shut} if outfit is not None else set()
    t_s = (trail.t_ms - trail.t_ms[0]) / 1000.0
    present, expected = trail.run_present, expected_flow(trail, outfit)
    out: list[RunLoss] = []
    clear = _clear_share(present, expected)
    for j, number in enumerate(trail.runs):
        rows = np.flatnonzero(expected[:, j])
        if number in shut or rows.size < LEAST_ROWS:
            continue
        out += _losses(number, heads.get(number, ""), t_s[rows], present[rows, j], clear, most)
    return tuple(out)


def expected_flow(trail: Trail, outfit: Outfit | None) -> BoolArray:
    """Where flow is to be expected at each run, shape (n, runs): most siblings of its section are seen there. [-]

    Parameters
    ----------
    trail : Trail
        With `run_present`. [-]
    outfit : Outfit or None
        Sections and offsets of the runs. [-]
    """
    assert trail.run_present is not None
    present = trail.run_present
    n, m = present.shape
    whole: BoolArray = np.asarray(present.mean(axis=1) > MOST_SHARE)
    out = np.zeros((n, m), dtype=bool)
    offsets = {r.number: r.offset_m for r in outfit.runs} if outfit is not None else {}
    sections = outfit.sections if outfit is not None and trail.sections is not None else ()
    late = _settled(trail, n)
    steady: dict[int, BoolArray] = {}
    for j, number in enumerate(trail.runs):
        k = next((i for i, s in enumerate(sections) if number in offsets and s.left_m <= offsets[number] <= s.right_m), None)
        if k is not None and trail.sections is not None and trail.sections.shape[1] > k:
            if k not in steady:
                steady[k] = _steady(_beside(trail.sections, k), late)
            out[:, j] = steady[k]
        else:
            out[:, j] = whole
    lifted = trail.lifted
    if lifted is not None:
        out &= _steady(~lifted, late)[:, None]
    if not len(sections):
        return np.asarray(out & whole[:, None], dtype=bool)
    shut = {r.number for r in outfit.runs if r.shut} if outfit is not None else set()
    open_runs = np.array([number not in shut for number in trail.runs])
    due = out & open_runs[None, :]
    seen = (present & due).sum(axis=1) >= LEAST_SEEN * np.maximum(due.sum(axis=1), 1)
    return np.asarray(out & seen[:, None], dtype=bool)


def _beside(sections: BoolArray, k: int) -> BoolArray:
    """Section k on, and the sections beside it: at a slanted end a state that hangs would else be taken for lost flow.

    A neighbour that is off nearly always does not count.
    """
    mine = sections[:, k]
    out = mine
    for j in (k - 1, k + 1):
        if 0 <= j < sections.shape[1] and float(sections[mine, j].mean() if mine.any() else 0.0) > RARE:
            out = out & sections[:, j]
    return np.asarray(out)


def _settled(trail: Trail, n: int) -> int:
    """Rows that flow may be late by."""
    step = float(np.median(np.diff(trail.t_ms))) / 1000.0 if n > 1 else 1.0
    return max(1, math.ceil(LAG_S / max(step, 0.05)))


def _steady(on: BoolArray, rows: int) -> BoolArray:
    """On now and for so many rows before; on at least one row after."""
    total = np.cumsum(np.concatenate([[0], on.astype(np.int64)]))
    index = np.arange(on.size)
    low = np.maximum(index - rows, 0)
    whole = total[index + 1] - total[low] == index + 1 - low
    after = np.concatenate([on[1:], [False]])
    return np.asarray(whole & after, dtype=bool)


def _clear_share(present: BoolArray, expected: BoolArray) -> float:
    """How often a clear run is seen when flow is expected: the middle of all runs."""
    looked = expected.sum(axis=0)
    seen = (present & expected).sum(axis=0)
    shares = seen[looked > 0] / looked[looked > 0]
    return float(np.clip(np.median(shares) if shares.size else 0.99, SEEN_FLOOR, SEEN_TOP))


def _losses(number: int, head: str, t_s: FloatArray, seen: BoolArray, clear: float, most: int) -> list[RunLoss]:
    """The clearest stretches in which a run is not seen, by their start."""
    gain = np.where(seen, math.log(GHOST / clear), math.log((1 - GHOST) / (1 - clear)))
    gain = np.clip(gain, -8.0, 4.0)
    spans = [(0, gain.size)]
    out: list[RunLoss] = []
    while spans and len(out) < most:
        low, high = spans.pop(0)
        start, stop, strength = strongest(gain[low:high])
        if strength < SURE:
            continue
        out.append(_loss(number, head, t_s, seen, gain, (low, low + start, low + stop), strength))
        spans = sorted([*spans, (low, low + start), (low + stop, high)], key=lambda s: s[0] - s[1])
    return sorted(out, key=lambda loss: loss.since_s)


def _loss(
    number: int, head: str, t_s: FloatArray, seen: BoolArray, gain: FloatArray, where: tuple[int, int, int], strength: float
) -> RunLoss:
    """One stretch, the span it was sought in beginning at `where[0]`, with the starts that are possible too."""
    low, start, stop = where
    tail = np.cumsum(gain[low:stop][::-1])[::-1]
    possible = low + np.flatnonzero(tail >= tail[start - low] - START_DROP)
    near = possible[(possible >= _first_near(possible, start)) & (possible <= _last_near(possible, start))]
    earliest = float(t_s[max(int(near[0]) - 1, 0)])
    return RunLoss(
        run=number,
        head=head,
        since_s=float(t_s[start]),
        earliest_s=max(0.0, earliest - LAG_S),
        latest_s=float(t_s[int(near[-1])]),
        until_s=float(t_s[stop - 1]),
        strength=strength,
        seen=int(seen[start:stop].sum()),
        looked=stop - start,
        back=bool(seen[stop:].sum() >= 3),
    )


def strongest(gain: FloatArray) -> tuple[int, int, float]:
    """The stretch of greatest sum: first, one past the last, its sum. [-]

    Parameters
    ----------
    gain : (n,) array
        What each row says for a fault, negative against it. [-]
    """
    total = np.concatenate([[0.0], np.cumsum(gain)])
    least = np.minimum.accumulate(total)
    stop = int(np.argmax(total - least))
    start = int(np.argmin(total[: stop + 1]))
    return start, stop, float(total[stop] - total[start])


def _first_near(possible: IntArray, start: int) -> int:
    """First of the unbroken block of possible starts around the best, gaps of a few rows allowed."""
    first = start
    for i in possible[possible < start][::-1]:
        if first - i > NEAR_ROWS:
            break
        first = int(i)
    return first


def _last_near(possible: IntArray, start: int) -> int:
    last = start
    for i in possible[possible > start]:
        if i - last > NEAR_ROWS:
            break
        last = int(i)
    return last


def whole_heads(
    losses: Sequence[RunLoss], outfit: Outfit | None, trail: Trail | None = None
) -> tuple[list[tuple[str, list[RunLoss]]], list[RunLoss]]:
    """Losses put together where a whole head went: (heads with their losses, the single runs that remain).

    Parameters
    ----------
    losses : sequence of RunLoss
        From `run_losses`. [-]
    outfit : Outfit or None
        Which runs hang on which head. [-]
    trail : Trail or None
        Which runs are watched. [-]

    Returns
    -------
    (list, list)
        By head letter. [-]
    """
    by_head: dict[str, list[RunLoss]] = {}
    for loss in losses:
        by_head.setdefault(loss.head, []).append(loss)
    heads, single = [], []
    for head, group in sorted(by_head.items()):
        if head and len(group) >= max(3, math.ceil(TOGETHER_SHARE * _watched(outfit, trail, head))) and _together(group):
            heads.append((head, group))
        else:
            single += group
    return heads, single


def _watched(outfit: Outfit | None, trail: Trail | None, head: str) -> int:
    if outfit is None:
        return 10**6
    numbers = set(trail.runs) if trail is not None and trail.runs else {r.number for r in outfit.runs}
    return sum(1 for r in outfit.runs if r.head == head and r.number in numbers and not r.shut)


def _together(group: Sequence[RunLoss]) -> bool:
    """Whether one moment lies within the evidence of most of the group."""
    middle = float(np.median([g.since_s for g in group]))
    inside = sum(g.earliest_s - TOGETHER_S <= middle <= g.latest_s + TOGETHER_S for g in group)
    return inside >= TOGETHER_SHARE * len(group)


def run_faults(trail: Trail, outfit: Outfit, *, passes: tuple[PassFacts, ...] = (), steps: Steps | None = None) -> tuple[RunFault, ...]:
    """Runs and heads that lost flow, each with where it began and the ground it left out.

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
    definition: ground missed = distance x row spacing of the runs that went.
    """
    losses = run_losses(trail, outfit, most=MOST_EPISODES)
    if not losses:
        return ()
    steps = steps or steps_of(trail)
    clearest: dict[int, RunLoss] = {}
    for loss in losses:
        if loss.run not in clearest or loss.strength > clearest[loss.run].strength:
            clearest[loss.run] = loss
    heads, _ = whole_heads(tuple(clearest.values()), outfit, trail)
    in_heads = [loss for _, group in heads for loss in group]
    expected = expected_flow(trail, outfit)
    found = [_fault(trail, outfit, steps, passes, expected, group, head=head) for head, group in heads]
    rest = [loss for loss in losses if not any(loss is one for one in in_heads)]
    return (*found, *(_fault(trail, outfit, steps, passes, expected, [loss], head=loss.head) for loss in rest))


def _fault(
    trail: Trail,
    outfit: Outfit,
    steps: Steps,
    passes: tuple[PassFacts, ...],
    expected: BoolArray,
    group: Sequence[RunLoss],
    *,
    head: str,
) -> RunFault:
    """Losses of one run, or of the runs of one head, as a fault; sightings just before the start bound it."""
    assert trail.run_present is not None
    column = {number: j for j, number in enumerate(trail.runs)}
    members = np.array(sorted(column[loss.run] for loss in group), dtype=np.int64)
    t_s = (trail.t_ms - trail.t_ms[0]) / 1e3
    since = float(np.median([loss.since_s for loss in group]))
    due = expected[:, members].all(axis=1)
    seen = np.asarray(trail.run_present[:, members].mean(axis=1) > 1 - TOGETHER_SHARE) & due
    first = int(np.searchsorted(t_s, since - 1e-6))
    before = np.flatnonzero(seen[:first])
    last_seen = int(before[-1]) if before.size else None
    back = [loss for loss in group if loss.back]
    end = None
    if len(back) * 2 > len(group):
        ended = float(np.median([loss.until_s for loss in group]))
        after = np.flatnonzero(seen & (t_s > ended))
        end = int(after[0]) if after.size else None
    until = end if end is not None else trail.n
    sown = np.concatenate([np.where(steps.sowing, steps.length_m, 0.0), [0.0]])
    row_m = outfit.row_spacing_m or ((outfit.width_m or math.nan) / (outfit.rows or len(trail.runs)))
    whole = len(group) > 1
    return RunFault(
        run=None if whole else group[0].run,
        head=head,
        runs=tuple(trail.runs[j] for j in members.tolist()),
        last_seen_ms=None if last_seen is None else int(trail.t_ms[last_seen]),
        first_missed_ms=int(trail.t_ms[first]),
        last_seen_s=None if last_seen is None else float(t_s[last_seen]),
        first_missed_s=float(t_s[first]),
        until_ms=None if end is None else int(trail.t_ms[end]),
        since_pass=pass_of_row(passes, first),
        rows=int((due & ~seen)[first:until].sum()),
        area_ha=float(sown[first:until].sum()) * row_m * members.size / 1e4,
        siblings="the other heads" if whole else f"the other runs of head {head}" if head else "the other runs",
        strength=float(np.median([loss.strength for loss in group])),
        earliest_s=min(loss.earliest_s for loss in group),
        latest_s=max(loss.latest_s for loss in group),
    )
