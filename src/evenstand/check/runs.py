"""Plugged runs and heads in sentences: what was lost, where, since when, and what that is worth.

They are found by `evenstand.trail.runs`; `RunLoss` and `run_losses` are its names.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from evenstand.base.units import Profile, shown
from evenstand.model import Finding, Outfit, Place, Trail
from evenstand.trail.faults import clock
from evenstand.trail.runs import RunLoss, run_losses, whole_heads

__all__ = ["RunLoss", "run_findings", "run_losses"]


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
    heads, single = whole_heads(losses, outfit, trail)
    found = [(group[0].head, _head_finding(head, group, outfit, trail, profile)) for head, group in heads]
    found += [(loss.head, _run_finding(loss, outfit, trail, profile)) for loss in single]
    return tuple(finding for _, finding in sorted(found, key=lambda f: f[0]))


def _missed_ha(trail: Trail | None, since_s: float, until_s: float, width_m: float) -> float | None:
    """Area that runs of that width did not sow. [ha]"""
    if trail is None or trail.n < 2:
        return None
    t = (trail.t_ms - trail.t_ms[0]) / 1000.0
    step = np.hypot(np.diff(trail.xy_m[:, 0]), np.diff(trail.xy_m[:, 1]))
    down = ~trail.lifted[1:] if trail.lifted is not None else np.ones(step.size, dtype=bool)
    inside = (t[1:] >= since_s) & (t[1:] <= until_s) & down
    return float(step[inside].sum()) * width_m / 1e4


def into_day(from_s: float, to_s: float | None = None) -> str:
    """A moment of the day, or a stretch of it, counted from its start; one moment where the ends are less than a minute apart. [-]

    Parameters
    ----------
    from_s, to_s : float
        Seconds since the start; `to_s` None for a moment. [s]
    """
    end_s = from_s if to_s is None else to_s
    if end_s - from_s < 60:
        return f"about {_h_mm((from_s + end_s) / 2)} into the day"
    return f"between about {_h_mm(from_s)} and {_h_mm(end_s)} into the day"


def _h_mm(second: float) -> str:
    minutes = round(second / 60)
    return f"{minutes // 60}:{minutes % 60:02d} h"


def _began(earliest_s: float, latest_s: float) -> str:
    """What is known of a start: last good sighting to first miss."""
    apart = f"the last good sighting and the first sure miss are {latest_s - earliest_s:.0f} s apart"
    return f"began {into_day(earliest_s, latest_s)}; {apart}"


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
        claim=f"Run {loss.run}{where} is plugged since {clock(loss.since_s)}.{share}{missed}",
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
        _began(loss.earliest_s, loss.latest_s),
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
        claim=f"Head {head} is dead: {len(group)} runs{wide}{missed}, since {clock(since)}. Worth sowing again.",
        state="does-not-hold",
        suspects=((f"head:{head}",),),
        place=Place(since_s=since, until_s=until, area_ha=area, runs=numbers),
        evidence=(
            f"runs {numbers[0]} to {numbers[-1]} went missing together, the other heads did not",
            _began(earliest, latest),
        ),
        settle_by=f"look into head {head} and its primary hose",
        worth_stopping=True,
        confirm_by=f"Stop the fan, then look into head {head} and its primary; dig behind two of its openers.",
        not_claimed="That the fan caused it, without the fan's speed; that the mass shows it: it may only after some minutes.",
        about=f"head {head}",
        low=earliest,
        high=latest,
    )
