"""What past days teach: how much each thing really moves when nothing is wrong, and whether it has begun to wander.

Every checked day leaves, for each thing that could be wrong and was not found so, what it seems to have been off by and how well that was
read. Over days this gives a scale for each: 1 where it moves as much as is usual, 2 where twice that. The next check takes the scales
as an input; nothing is kept here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenstand.base.errors import require_range
from evenstand.check.causes import usual
from evenstand.check.masses import BinDay
from evenstand.check.relations import Relation, label
from evenstand.check.sizing import whole_sizes
from evenstand.check.verdicts import USUAL_OVERLAP, Verdict, size_hypotheses
from evenstand.model import Reading
from evenstand.solve.scales import Scale, learned_scale, learned_spread
from evenstand.solve.sequential import Cusum, cusum, cusum_limit

MOVING = ("factor", "distance", "width")
RUN_DAYS = 100.0
_KNOWN_SD = 3.0  # a day on which a thing was read this many times worse than it usually moves teaches nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class DaySeen:
    """What one checked day leaves for the next. gains: what each thing was off by, as (share, sd by the readings alone), by name such as
    "factor:A" or "distance"; instruments: errors of readings over their stated sds, by instrument [sd]."""

    gains: Mapping[str, tuple[float, float]]
    instruments: Mapping[str, tuple[float, ...]]


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


def watch_days(days: Sequence[DaySeen], *, scales: Mapping[str, float] | None = None, run_days: float = RUN_DAYS) -> dict[str, Cusum]:
    """Whether anything has begun to wander from day to day, too little for any single day to show.

    Range: scales above 0; run_days so that over all that is watched it is 3 to 100,000 days.

    Parameters
    ----------
    days : sequence of DaySeen
        In order. [-]
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
