"""What past days teach: how much each thing really moves when nothing is wrong, and whether it has begun to wander.

Every checked day leaves, for each thing that could be wrong and was not found so, what it seems to have been off by and how well that was
read. Over days this gives a scale for each: 1 where it moves as much as is usual, 2 where twice that. The next check takes the scales
as an input; nothing is kept here.

Who keeps them writes `seen_plain(day_seen(...))` once for each day checked, as plain numbers, and gives the rows back in order of days to
`updated_scales` (for the next check), `watch_days` (a sum for each thing) and `wandering` (the sentence when a sum has passed its limit).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from evenstand.base.errors import InputError, require_range
from evenstand.base.estimate import Est
from evenstand.base.units import rounded
from evenstand.check.causes import usual, words
from evenstand.check.masses import BinDay
from evenstand.check.relations import Relation, label
from evenstand.check.sizing import whole_sizes
from evenstand.check.verdicts import USUAL_OVERLAP, Verdict, size_hypotheses
from evenstand.model import Finding, Reading
from evenstand.solve.scales import Scale, learned_scale, learned_spread
from evenstand.solve.sequential import Cusum, cusum, cusum_limit

MOVING = ("factor", "distance", "width")
RUN_DAYS = 100.0
LAST_DAYS = 60
"""Days of history that still teach: an instrument that was mended or a season that changed is forgotten after as many. [days]"""
LEAST_DAYS = 4
"""Days on which a thing must have been seen before a sentence is made of it: before that a single day's check speaks. [days]"""
_KNOWN_SD = 3.0  # a day on which a thing was read this many times worse than it usually moves teaches nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class DaySeen:
    """What one checked day leaves for the next. gains: what each thing was off by, as (share, sd by the readings alone), by name such as
    "factor:A" or "distance"; instruments: errors of readings over their stated sds, by instrument [sd]."""

    gains: Mapping[str, tuple[float, float]]
    instruments: Mapping[str, tuple[float, ...]]


def seen_plain(seen: DaySeen) -> dict[str, Any]:
    """A day as plain numbers, to be kept as JSON: {"gains": {name: [share, sd]}, "instruments": {name: [z, ...]}}.

    Parameters
    ----------
    seen : DaySeen
        From `day_seen`. [-]

    References
    ----------
    definition: the same numbers, written so that JSON can hold them.
    """
    return {
        "gains": {k: [float(v), float(sd)] for k, (v, sd) in sorted(seen.gains.items())},
        "instruments": {k: [float(z) for z in v] for k, v in sorted(seen.instruments.items())},
    }


def seen_from_plain(row: Mapping[str, Any]) -> DaySeen:
    """A day back from plain numbers, as `seen_plain` wrote it.

    Parameters
    ----------
    row : mapping
        "gains" and "instruments"; either may be missing, what else is there is passed over. [-]

    Returns
    -------
    DaySeen
        The same day. [-]

    Raises
    ------
    InputError
        If a number is missing, is none, or a standard deviation is not above 0.

    References
    ----------
    definition: the inverse of `seen_plain`.
    """
    gains, instruments = row.get("gains") or {}, row.get("instruments") or {}
    try:
        kept = {str(k): (float(v[0]), float(v[1])) for k, v in gains.items()}
        errors = {str(k): tuple(float(z) for z in v) for k, v in instruments.items()}
    except (AttributeError, IndexError, KeyError, TypeError, ValueError) as error:
        raise InputError("a kept day is not written as numbers", where="gains, instruments", cure="Check that day again.") from error
    if not all(math.isfinite(v) and math.isfinite(sd) and sd > 0 for v, sd in kept.values()):
        raise InputError("a kept day has a size that is no number", where="gains", limit="finite, sd above 0", cure="Check that day again.")
    return DaySeen(gains=kept, instruments=errors)


def updated_scales(history: Iterable[DaySeen | Mapping[str, Any]], *, last: int = LAST_DAYS) -> dict[str, Scale]:
    """Scale of each thing that moves and of each instrument, from all that past days have left.

    Parameters
    ----------
    history : iterable of DaySeen or mapping
        One for each day checked, oldest first; mappings as `seen_plain` writes them. [-]
    last : int
        Days that still count, from the newest back. [days]

    Returns
    -------
    dict
        By instrument ("truck-scale") and by kind ("factor"); `scale_values` of it goes into the next check. Empty without history. [-]

    Raises
    ------
    InputError
        If a kept day is no day.
    RangeError
        If `last` is below 1.

    References
    ----------
    definition: as `learned_scales`.
    """
    require_range("last", last, 1, unit="days")
    return learned_scales(_days(history)[-last:])


def scale_values(scales: Mapping[str, Scale]) -> dict[str, float]:
    """The factors alone, as `check_readings(scales=...)` takes them: within what it can take.

    Parameters
    ----------
    scales : mapping
        From `updated_scales`. [-]

    References
    ----------
    definition: the value of each, held to 0.05 to 20.
    """
    return {name: min(max(s.value, 0.05), 20.0) for name, s in scales.items()}


def _days(history: Iterable[DaySeen | Mapping[str, Any]]) -> list[DaySeen]:
    return [d if isinstance(d, DaySeen) else seen_from_plain(d) for d in history]


def day_seen(verdict: Verdict, readings: Sequence[Reading] = (), *, overlap: tuple[float, float] = USUAL_OVERLAP) -> DaySeen:
    """What a checked day teaches. Things that were found wrong are left out: a fault says nothing of good days.

    Range: overlap shares of 0 or more.

    Parameters
    ----------
    verdict : Verdict
        From `judge`. [-]
    readings : sequence of Reading
        Those that were checked, for their instruments. [metric]
    overlap : (float, float)
        Band used in the check. [share]

    Returns
    -------
    DaySeen
        Gains and instruments' errors. [-]

    References
    ----------
    definition: each gain with all found causes left free; measurement test of each reading.
    """
    system, best = verdict.system, verdict.explanation.best.members
    free = size_hypotheses(system)
    named = {name for f in verdict.found for name in f.cause_class}
    gains = {}
    for j, variant in enumerate(system.variants):
        name = label(variant)
        kind = name.partition(":")[0]
        if kind not in MOVING or name in named or j in best:
            continue
        sizes, sds = whole_sizes(system, free, (*best, j), overlap)
        if math.isfinite(sds[-1]) and 0 < sds[-1] <= _KNOWN_SD * usual(kind):
            gains[name] = (sizes[-1], sds[-1])
    by: dict[str, list[float]] = {}
    instrument = {r.quantity: r.instrument for r in readings if r.instrument and r.sd > 0 and r.nature == "witness"}
    if not named:
        for quantity, z in _leftover(verdict, set(instrument)).items():
            if quantity in instrument:
                by.setdefault(instrument[quantity], []).append(z)
    return DaySeen(gains=gains, instruments={k: tuple(v) for k, v in by.items()})


def _leftover(verdict: Verdict, witnesses: set[str]) -> dict[str, float]:
    """Measurement test of each reading: what reconciliation moved it by over how far that may usually be. [sd]

    Only relations between witnesses alone serve: what is typed or copied cannot be off by itself, and where a meter, the distance or the
    overlap takes part, their change would be taken for the instrument's.
    """
    system = verdict.system
    pure = np.array([not r.overlap and not r.gains and all(q in witnesses for q, _ in r.terms) for r in system.relations], dtype=bool)
    if not pure.any():
        return {}
    rows, covariance = system.rows[pure], system.covariance[np.ix_(pure, pure)]
    gain = system.own @ rows.T @ np.linalg.pinv(covariance, rcond=1e-12, hermitian=True)
    moved, spread = gain @ system.residual[pure], np.sqrt(np.maximum(np.diag(gain @ covariance @ gain.T), 0.0))
    own = np.sqrt(np.diag(system.own))
    return {
        q: float(moved[i] / spread[i])
        for i, q in enumerate(system.quantities)
        if own[i] > 0 and spread[i] > 0.5 * own[i]  # what hardly moves is not checked by the others
    }


def learned_scales(days: Sequence[DaySeen]) -> dict[str, Scale]:
    """Scale of each thing that moves ("factor", "distance", "width") and of each instrument, from past days.

    Meters of one outfit are taken together: they are of one make and learn from one another.

    Parameters
    ----------
    days : sequence of DaySeen
        In any order. [-]

    Returns
    -------
    dict
        By kind, and by instrument; what was never seen is left out. [-]

    References
    ----------
    definition: spread between days seen through reading errors; posterior of a variance.
    """
    found: dict[str, Scale] = {}
    for kind in MOVING:
        seen = [g for d in days for name, g in d.gains.items() if name.partition(":")[0] == kind]
        if seen:
            values, sds = zip(*seen, strict=True)
            found[kind] = learned_spread(values, sds, usual=usual(kind))
    for name in sorted({n for d in days for n in d.instruments}):
        found[name] = learned_scale([z for d in days for z in d.instruments.get(name, ())])
    return found


def scaled_relations(relations: Sequence[Relation], scales: Mapping[str, float]) -> tuple[Relation, ...]:
    """Relations with what usually moves made wider or narrower by its scale.

    Range: scales above 0, at most 20.

    Parameters
    ----------
    relations : sequence of Relation
        From `relations_for`. [-]
    scales : mapping
        By kind ("factor") or by name ("factor:A", which goes first). [-]

    Returns
    -------
    tuple of Relation
        The same, other gains. [-]

    References
    ----------
    definition: a usual gain times its scale.
    """
    for name, value in scales.items():
        require_range(f"scale of {name}", value, 0, 20.0, low_open=True)

    def times(gain: str) -> float:
        cause = gain.removeprefix("usual ")
        return scales.get(cause, scales.get(cause.partition(":")[0], 1.0)) if gain.startswith("usual ") else 1.0

    return tuple(replace(r, gains={g: v * times(g) for g, v in r.gains.items()}) for r in relations)


def scaled_readings(readings: Sequence[Reading], scales: Mapping[str, float]) -> tuple[Reading, ...]:
    """Witnesses with their sd times the scale of their instrument. [metric]

    Range: scales above 0.

    Parameters
    ----------
    readings : sequence of Reading
        As read. [metric]
    scales : mapping
        By instrument. [-]

    References
    ----------
    definition: stated standard deviation times its scale.
    """
    return tuple(replace(r, sd=r.sd * scales.get(r.instrument, 1.0)) if r.nature == "witness" else r for r in readings)


def scaled_bin_day(day: BinDay, scales: Mapping[str, float]) -> BinDay:
    """A bin's day with fills and looks as well known as their ways have proven to be.

    Range: scales above 0.

    Parameters
    ----------
    day : BinDay
        Looks and fills. [kg]
    scales : mapping
        By way of filling ("pads"), "low-light" for looks by the light. [-]

    References
    ----------
    definition: stated standard deviation times its scale.
    """
    return replace(
        day,
        puts=tuple(replace(p, put_sd_kg=p.put_sd_kg * scales.get(p.how, 1.0)) for p in day.puts),
        looks=tuple(replace(k, level_sd_kg=k.level_sd_kg * (scales.get("low-light", 1.0) if k.light else 1.0)) for k in day.looks),
    )


def watch_days(
    days: Sequence[DaySeen | Mapping[str, Any]], *, scales: Mapping[str, float] | None = None, run_days: float = RUN_DAYS
) -> dict[str, Cusum]:
    """Whether anything has begun to wander from day to day, too little for any single day to show.

    Range: scales above 0; run_days so that over all that is watched it is 3 to 100,000 days.

    Parameters
    ----------
    days : sequence of DaySeen or mapping
        In order; mappings as `seen_plain` writes them. [-]
    scales : mapping or None
        Learned scales; None: what is usual. [-]
    run_days : float
        Good days between false alarms over all that is watched together. [days]

    Returns
    -------
    dict
        A cumulative sum for each thing, such as "factor:A". [sd]

    References
    ----------
    definition: cumulative sum of standardised gains; false-alarm rates of what is watched together add up.
    """
    days = _days(days)
    names = sorted({n for d in days for n in d.gains})
    if not names:
        return {}
    limit = cusum_limit(run_days * len(names))
    scales = scales or {}
    out = {}
    for name in names:
        kind = name.partition(":")[0]
        spread = usual(kind) * scales.get(name, scales.get(kind, 1.0))
        pairs = [d.gains.get(name, (math.nan, 1.0)) for d in days]
        out[name] = cusum([value / math.hypot(sd, spread) for value, sd in pairs], limit=limit)
    return out


def wandering(
    days: Sequence[DaySeen | Mapping[str, Any]],
    *,
    dates: Sequence[str] = (),
    scales: Mapping[str, float] | None = None,
    run_days: float = RUN_DAYS,
) -> tuple[Finding, ...]:
    """What has begun to wander from day to day, in sentences: too little for any one day's check, too steady for chance.

    Range: scales above 0.

    Parameters
    ----------
    days : sequence of DaySeen or mapping
        One for each day checked, oldest first. [-]
    dates : sequence of str
        What to call each day, such as "2026-05-12"; without, days are counted from the first. [-]
    scales : mapping or None
        As for `watch_days`. [-]
    run_days : float
        As for `watch_days`. [days]

    Returns
    -------
    tuple of Finding
        One for each thing whose sum stands over its limit *now*: a sum that has fallen back says nothing any more. size: weighted mean
        since it began. [share]

    Raises
    ------
    InputError
        If dates and days do not pair up.

    References
    ----------
    definition: as `watch_days`; size by weights 1 / (sd squared + usual spread squared).
    """
    kept = _days(days)
    if dates and len(dates) != len(kept):
        raise InputError(f"{len(dates)} dates for {len(kept)} days", where="dates", limit="one for each day")
    called = [str(d) for d in dates] if dates else [f"day {i}" for i in range(1, len(kept) + 1)]
    out = []
    for name, sums in watch_days(kept, scales=scales, run_days=run_days).items():
        side = 1 if sums.up[-1] >= sums.down[-1] else -1
        path = sums.up if side > 0 else sums.down
        if path[-1] <= sums.limit:
            continue
        since = int(np.flatnonzero(path <= 0)[-1]) + 1 if (path <= 0).any() else 0
        seen = [(i, *kept[i].gains[name]) for i in range(since, len(kept)) if name in kept[i].gains]
        if len(seen) >= LEAST_DAYS:
            out.append(_wanders(name, seen, called))
    return tuple(out)


_MOVES = {
    "factor": ("bin {bin} gives about {size} {side} per turn than is typed", ("more", "less")),
    "distance": ("the machine counts about {size} {side} distance than it drives", ("more", "less")),
    "width": ("about {size} {side} width is typed than the tool has", ("more", "less")),
}


def _wanders(name: str, seen: Sequence[tuple[int, float, float]], called: Sequence[str]) -> Finding:
    kind, _, where = name.partition(":")
    weight = np.array([1 / (sd**2 + usual(kind) ** 2) for _, _, sd in seen])
    mean = float(weight @ np.array([v for _, v, _ in seen]) / weight.sum())
    share, act = math.expm1(mean), words(name).act
    text, sides = _MOVES[kind]
    what = text.format(bin=where, size=f"{rounded(abs(share) * 100, 1)} %", side=sides[0] if share > 0 else sides[1])
    first = called[seen[0][0]]
    return Finding(
        claim=f"Since {first}, on {len(seen)} days, {what}: too little for any one day, too steady for chance.",
        state="doubtful",
        suspects=((name,),),
        size=Est(value=share, sd=float(1 / math.sqrt(weight.sum())), basis="computed", source="sum over days"),
        evidence=tuple(f"{called[i]}: {'+' if v >= 0 else '-'}{rounded(abs(math.expm1(v)) * 100, 1)} %" for i, v, _ in seen),
        settle_by=act,
        worth_stopping=None,
        confirm_by=act,
        not_claimed="That it will go on, nor that any one of these days was wrong.",
        about=f"bin {where}" if where else "machine",
    )
