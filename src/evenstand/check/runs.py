"""Plugged runs and heads: flow seen at a run's sensor, relative to its siblings at the same moment.

A sensor says flow or no flow; it drops out for a moment now and then, and dust may look like seed. So one missing sighting says
nothing; a run that is missing from some moment on, while its siblings are seen, says a lot. The moment lies between the last
good sighting and the first missing one, give or take the drop-outs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.units import Profile, shown
from evenstand.model import Finding, Outfit, Place, Trail

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_SURE = 18.0  # log-likelihood before a run is called plugged: some hundred looks at 64 runs
_START_DROP = 4.5  # log-likelihood by which a start may be worse than the best and still be possible
_LAG_S = 10.0  # flow through the hose is late by some seconds
_MOST_SHARE = 0.5  # more runs than this missing together is the fan, a bin or a master valve, not runs
_SEEN_FLOOR, _SEEN_TOP = 0.5, 0.999
_GHOST = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLoss:
    """A run that stopped being seen while its siblings were.

    run: number; head: letter, "" unknown; since_s: likeliest start; earliest_s, latest_s: the start lies between [s from the first
    row]; until_s: last row looked at, or when it came back [s]; strength: log-likelihood against a clear run [-];
    seen, looked: how often it was seen after the start, and how often its siblings were [rows].
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


def run_losses(trail: Trail, outfit: Outfit | None = None) -> tuple[RunLoss, ...]:
    """Runs that stopped being seen, from the sensors in a trail.

    Parameters
    ----------
    trail : Trail
        With `run_present`; without it nothing can be told. [-]
    outfit : Outfit or None
        To know each run's head, and which are shut. [-]

    Returns
    -------
    tuple of RunLoss
        By run number; empty without sensors or losses. [see the class]

    References
    ----------
    definition: a run against its siblings on the same head.
    """
    if trail.run_present is None or not trail.runs or trail.n < 30:
        return ()
    heads = {r.number: r.head for r in outfit.runs} if outfit is not None else {}
    shut = {r.number for r in outfit.runs if r.shut} if outfit is not None else set()
    t_s = (trail.t_ms - trail.t_ms[0]) / 1000.0
    present, expected = trail.run_present, expected_flow(trail, outfit)
    out = []
    clear = _clear_share(present, expected)
    for j, number in enumerate(trail.runs):
        rows = np.flatnonzero(expected[:, j])
        if number in shut or rows.size < 30:
            continue
        loss = _loss(number, heads.get(number, ""), t_s[rows], present[rows, j], clear)
        if loss is not None:
            out.append(loss)
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
    whole: BoolArray = np.asarray(present.mean(axis=1) > _MOST_SHARE)
    out = np.zeros((n, m), dtype=bool)
    offsets = {r.number: r.offset_m for r in outfit.runs} if outfit is not None else {}
    sections = outfit.sections if outfit is not None and trail.sections is not None else ()
    late = _settled(trail, n)
    for j, number in enumerate(trail.runs):
        k = next((i for i, s in enumerate(sections) if number in offsets and s.left_m <= offsets[number] <= s.right_m), None)
        if k is not None and trail.sections is not None and trail.sections.shape[1] > k:
            out[:, j] = _steady(trail.sections[:, k], late)
        else:
            out[:, j] = whole
    lifted = trail.lifted
    if lifted is not None:
        out &= _steady(~lifted, late)[:, None]
    seen = whole if not len(sections) else np.asarray(present.any(axis=1))
    return np.asarray(out & seen[:, None], dtype=bool)


def _settled(trail: Trail, n: int) -> int:
    """Rows that flow may be late by."""
    step = float(np.median(np.diff(trail.t_ms))) / 1000.0 if n > 1 else 1.0
    return max(1, math.ceil(_LAG_S / max(step, 0.05)))


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
    return float(np.clip(np.median(shares) if shares.size else 0.99, _SEEN_FLOOR, _SEEN_TOP))


def _loss(number: int, head: str, t_s: FloatArray, seen: BoolArray, clear: float) -> RunLoss | None:
    """The likeliest moment from which a run is not seen any more, if there is one."""
    gain = np.where(seen, math.log(_GHOST / clear), math.log((1 - _GHOST) / (1 - clear)))
    gain = np.clip(gain, -8.0, 4.0)
    after = np.concatenate([np.cumsum(gain[::-1])[::-1], [0.0]])
    # the run may be cleared again: the best stretch, not only the best tail
    best_end, best, start, end = 0, 0.0, -1, -1
    run_sum, run_start = 0.0, 0
    for i, g in enumerate(gain) if after.max() < _SURE else ():
        if run_sum <= 0:
            run_sum, run_start = 0.0, i
        run_sum += g
        if run_sum > best:
            best, start, best_end = run_sum, run_start, i
    if start >= 0 and best >= _SURE:
        end = best_end
    elif after.max() >= _SURE:
        start, end = int(np.argmax(after)), seen.size - 1
        best = float(after[start])
    else:
        return None
    tail = np.cumsum(gain[: end + 1][::-1])[::-1]
    possible = np.flatnonzero(tail >= tail[start] - _START_DROP)
    near = possible[(possible >= _first_near(possible, start)) & (possible <= _last_near(possible, start))]
    earliest = float(t_s[max(int(near[0]) - 1, 0)])
    return RunLoss(
        run=number,
        head=head,
        since_s=float(t_s[start]),
        earliest_s=max(0.0, earliest - _LAG_S),
        latest_s=float(t_s[int(near[-1])]),
        until_s=float(t_s[end]),
        strength=best,
        seen=int(seen[start : end + 1].sum()),
        looked=end + 1 - start,
    )


def _first_near(possible: npt.NDArray[np.int64], start: int) -> int:
    """First of the unbroken block of possible starts around the best, gaps of a few rows allowed."""
    first = start
    for i in possible[possible < start][::-1]:
        if first - i > 12:
            break
        first = int(i)
    return first


def _last_near(possible: npt.NDArray[np.int64], start: int) -> int:
    last = start
    for i in possible[possible > start]:
        if i - last > 12:
            break
        last = int(i)
    return last


def run_findings(
    losses: Sequence[RunLoss], outfit: Outfit | None, trail: Trail | None = None, *, profile: Profile = "si"
) -> tuple[Finding, ...]:
    """A finding for each plugged run, or for a whole head when all its watched runs went together.

    Parameters
    ----------
    losses : sequence of RunLoss
        From `run_losses`, or from facts of a trail. [-]
    outfit : Outfit or None
        Which runs hang on which head, and where. [-]
    trail : Trail or None
        For the area that was missed; none is told where the row spacing is not known. [-]
    profile : str
        Units of the sentences. [-]

    Returns
    -------
    tuple of Finding
        state "does-not-hold"; low and high bound the start. [s]

    References
    ----------
    definition: ground missed = distance x row spacing of the runs that went.
    """
    by_head: dict[str, list[RunLoss]] = {}
    for loss in losses:
        by_head.setdefault(loss.head, []).append(loss)
    out: list[Finding] = []
    for head, group in sorted(by_head.items()):
        watched = _watched(outfit, trail, head)
        if head and len(group) >= max(3, math.ceil(0.8 * watched)) and _together(group):
            out.append(_head_finding(head, group, outfit, trail, profile))
        else:
            out += [_run_finding(loss, outfit, trail, profile) for loss in group]
    return tuple(out)


def _watched(outfit: Outfit | None, trail: Trail | None, head: str) -> int:
    if outfit is None:
        return 10**6
    numbers = set(trail.runs) if trail is not None and trail.runs else {r.number for r in outfit.runs}
    return sum(1 for r in outfit.runs if r.head == head and r.number in numbers and not r.shut)


def _together(group: Sequence[RunLoss]) -> bool:
    """Whether one moment lies within the evidence of most of the group."""
    middle = float(np.median([g.since_s for g in group]))
    return sum(g.earliest_s - 30 <= middle <= g.latest_s + 30 for g in group) >= 0.8 * len(group)


def _missed_ha(trail: Trail | None, since_s: float, until_s: float, width_m: float) -> float | None:
    """Area that runs of that width did not sow. [ha]"""
    if trail is None or trail.n < 2:
        return None
    t = (trail.t_ms - trail.t_ms[0]) / 1000.0
    step = np.hypot(np.diff(trail.xy_m[:, 0]), np.diff(trail.xy_m[:, 1]))
    down = ~trail.lifted[1:] if trail.lifted is not None else np.ones(step.size, dtype=bool)
    inside = (t[1:] >= since_s) & (t[1:] <= until_s) & down
    return float(step[inside].sum()) * width_m / 1e4


def _clock(trail: Trail | None, second: float) -> str:
    """Time since the start, for a sentence."""
    minutes = round(second / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min after the start"


def _run_finding(loss: RunLoss, outfit: Outfit | None, trail: Trail | None, profile: Profile) -> Finding:
    run = next((r for r in outfit.runs if r.number == loss.run), None) if outfit is not None else None
    spacing = outfit.row_spacing_m if outfit is not None else None
    where = f", head {run.head}, outlet {run.outlet}" if run is not None else ""
    siblings = sum(1 for r in outfit.runs if r.head == loss.head and not r.shut) if outfit is not None and loss.head else 0
    share = (
        f" Its {siblings - 1} siblings got about {100 / (siblings - 1):.0f} % more; the rate of the whole is unchanged."
        if siblings > 1
        else ""
    )
    area = _missed_ha(trail, loss.since_s, loss.until_s, spacing) if spacing is not None else None
    missed = f" That is {shown(area, 'area', profile)} of one row: neighbours fill in, do not sow it again." if area is not None else ""
    return Finding(
        claim=f"Run {loss.run}{where} is plugged since {_clock(trail, loss.since_s)}.{share}{missed}",
        state="does-not-hold",
        suspects=((f"run:{loss.run}",),),
        place=Place(since_s=loss.since_s, until_s=loss.until_s, area_ha=area, runs=(loss.run,)),
        evidence=_run_evidence(loss),
        settle_by=f"look at the opener and the hose of run {loss.run}",
        worth_stopping=False,
        confirm_by=f"Stop the fan, then open the hose of run {loss.run}; dig behind its opener.",
        not_claimed="Any change of kg/ha, or a start closer than the last good sighting.",
        about=f"run {loss.run}",
        low=loss.earliest_s,
        high=loss.latest_s,
    )


def _run_evidence(loss: RunLoss) -> tuple[str, ...]:
    return (
        f"seen in {loss.seen} of {loss.looked} rows since, while its siblings were seen",
        f"start between {loss.earliest_s:.0f} s (last good sighting) and {loss.latest_s:.0f} s",
    )


def _head_finding(head: str, group: Sequence[RunLoss], outfit: Outfit | None, trail: Trail | None, profile: Profile) -> Finding:
    spacing = outfit.row_spacing_m if outfit is not None else None
    since, until = float(np.median([g.since_s for g in group])), max(g.until_s for g in group)
    earliest, latest = min(g.earliest_s for g in group), max(g.latest_s for g in group)
    width = len(group) * spacing if spacing is not None else None
    area = _missed_ha(trail, since, until, width) if width is not None else None
    wide = f", {shown(width, 'width', profile)} wide" if width is not None else ""
    missed = f", {shown(area, 'area', profile)} so far" if area is not None else ""
    numbers = tuple(sorted(g.run for g in group))
    return Finding(
        claim=f"Head {head} is dead: {len(group)} runs{wide}{missed}, since {_clock(trail, since)}. Worth sowing again.",
        state="does-not-hold",
        suspects=((f"head:{head}",),),
        place=Place(since_s=since, until_s=until, area_ha=area, runs=numbers),
        evidence=(
            f"runs {numbers[0]} to {numbers[-1]} went missing together, the other heads did not",
            f"start between {earliest:.0f} s (last good sighting) and {latest:.0f} s",
        ),
        settle_by=f"look into head {head} and its primary hose",
        worth_stopping=True,
        confirm_by=f"Stop the fan, then look into head {head} and its primary; dig behind two of its openers.",
        not_claimed="That the fan caused it, without the fan's speed; that the mass shows it: it may only after some minutes.",
        about=f"head {head}",
        low=earliest,
        high=latest,
    )
