"""Where and when a bin runs low or empty, with an interval: one bin, several on one product together, or one after the other."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from evenstand.base.errors import RangeError, require_range
from evenstand.base.estimate import Est
from evenstand.model import Drive
from evenstand.tally.bins import BinTally

BinUse = Literal["together", "in-turn"]
What = Literal["light", "rest", "nothing"]
EDGES = (0.025, 0.5, 0.975)
_MOST_TURNS = 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOut:
    """Where something happens. ha, low_ha, high_ha: from now, middle and 95 % interval, by the area counter; None: not before the meter has
    made a thousand million turns [ha]; hours, low_h, high_h: of work from now, None without a pace [h]; bin: the one it happens in, as
    its position among those given; share: probability that it is that one [-]."""

    ha: float
    low_ha: float
    high_ha: float | None
    hours: float | None = None
    low_h: float | None = None
    high_h: float | None = None
    bin: int = 0
    share: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DrivePlace:
    """A place on a planned drive. pass_id: number of the pass from 1 [-]; along_m: from its start [m]; left_m: to its end [m]; beyond: the
    drive is over before."""

    pass_id: int
    along_m: float
    left_m: float
    beyond: bool = False


def run_out(tally: BinTally, turn_rate: float, *, what: What = "rest", pace_ha_h: Est | None = None, event_sd_kg: float = 10.0) -> RunOut:
    """Hectares, by the area counter, until a bin comes down to its low-level light, runs empty, or holds nothing at all.

    Parameters
    ----------
    tally : BinTally
        From `tally_bin`. [-]
    turn_rate : float
        Turns of the meter shaft in a hectare of the counter: rate in force over typed factor. [turns/ha]
    what : str
        "light", "rest" (runs empty, with what stays on slopes and in corners) or "nothing". [-]
    pace_ha_h : Est or None
        Hectares in an hour with stops. [ha/h]
    event_sd_kg : float
        How well the event repeats. [kg]

    Returns
    -------
    RunOut
        0 where it has happened already. [ha, h]

    Raises
    ------
    RangeError
        If the turns or the pace are not above 0.

    References
    ----------
    definition: probability that mass less level is below 0 after so many turns, mass and factor known jointly; its 2.5, 50 and 97.5 %.
    """
    return _by_edges(lambda turns: tally.below(turns, what, event_sd_kg=event_sd_kg), turn_rate, pace_ha_h)


def run_out_of(
    tallies: Sequence[BinTally],
    turn_rate: Sequence[float],
    *,
    use: BinUse = "together",
    what: What = "rest",
    pace_ha_h: Est | None = None,
    event_sd_kg: float = 10.0,
) -> RunOut:
    """The same for several bins on one product.

    Together, each meter makes its own turns in every hectare, and it is asked when the *first* bin is there: from then on the rate is
    short. In turn, one bin carries the whole rate until it is empty, then the next: it is asked when the *last* one is there.

    Parameters
    ----------
    tallies : sequence of BinTally
        Of each bin; in turn: in the order in which they run. [-]
    turn_rate : sequence of float
        Turns of each meter in a hectare while it runs. [turns/ha]
    use : str
        "together" or "in-turn". [-]
    what : str
        As for `run_out`. [-]
    pace_ha_h : Est or None
        Hectares in an hour with stops. [ha/h]
    event_sd_kg : float
        How well the event repeats. [kg]

    Returns
    -------
    RunOut
        Of the first bin (together) or the last one (in turn). [ha, h]

    Raises
    ------
    RangeError
        If bins and turns do not pair up, or a number is not above 0.

    References
    ----------
    definition: together, the bins' masses are known independently: P(first by h) = 1 - product of (1 - P of each); in turn, hectares add
    up and so do their variances.
    """
    if not tallies or len(tallies) != len(turn_rate):
        raise RangeError(f"{len(tallies)} bins and {len(turn_rate)} speeds do not pair up", where="turn_rate", limit="one for each bin")
    if use == "in-turn":
        each = [run_out(t, u, what=what, event_sd_kg=event_sd_kg) for t, u in zip(tallies, turn_rate, strict=True)]
        if any(e.high_ha is None for e in each):
            raise RangeError("a bin does not run out", where="tallies", cure="Look for a meter that does not turn.")
        middle = sum(e.ha for e in each)
        low = middle - math.sqrt(sum((e.ha - e.low_ha) ** 2 for e in each))
        high = middle + math.sqrt(sum(((e.high_ha or 0.0) - e.ha) ** 2 for e in each))
        return _with_pace(middle, max(low, 0.0), high, pace_ha_h, bin=len(each) - 1)
    for u in turn_rate:
        require_range("turn_rate", u, 0, math.inf, low_open=True, high_open=True, unit="turns/ha")

    def each_by(ha: float) -> list[float]:
        return [t.below(ha * u, what, event_sd_kg=event_sd_kg) for t, u in zip(tallies, turn_rate, strict=True)]

    found = _by_edges(lambda ha: 1 - math.prod(1 - p for p in each_by(ha)), 1.0, pace_ha_h)
    shares = _first_shares(each_by, found)
    first = int(np.argmax(shares))
    return RunOut(
        ha=found.ha, low_ha=found.low_ha, high_ha=found.high_ha, hours=found.hours, low_h=found.low_h, high_h=found.high_h, bin=first,
        share=shares[first],
    )  # fmt: skip


def _first_shares(each_by: Callable[[float], list[float]], found: RunOut) -> list[float]:
    """Probability of each bin to be the first, by small steps over the interval and a little beyond. [-]"""
    top = found.high_ha if found.high_ha is not None else 2 * max(found.ha, 1.0)
    grid = np.linspace(max(0.0, found.low_ha - 0.5 * (top - found.low_ha)), top + 0.5 * (top - found.low_ha) + 1e-9, 200)
    p = np.array([each_by(float(h)) for h in grid])
    others = np.stack([np.prod(1 - np.delete(p, i, axis=1), axis=1) for i in range(p.shape[1])], axis=1)
    start = p[0] * others[0]
    first = start + (np.diff(p, axis=0) * (others[1:] + others[:-1]) / 2).sum(axis=0)
    total = float(first.sum())
    return [float(x / total) if total > 0 else 1.0 / p.shape[1] for x in first]


def _by_edges(below: Callable[[float], float], turn_rate: float, pace: Est | None) -> RunOut:
    require_range("turn_rate", turn_rate, 0, math.inf, low_open=True, high_open=True, unit="turns/ha")
    low, middle, high = (_turns_at(below, p) for p in EDGES)
    if low is None or middle is None:
        raise RangeError("it does not run out", where="tally", limit="a factor that is surely above 0", cure="Catch the meter.")
    return _with_pace(middle / turn_rate, low / turn_rate, None if high is None else high / turn_rate, pace)


def _turns_at(below: Callable[[float], float], p: float) -> float | None:
    """Turns after which the probability first reaches p; None if it never does."""
    from scipy.optimize import brentq

    if below(0.0) >= p:
        return 0.0
    high = 1.0
    while below(high) < p:
        high *= 2.0
        if high > _MOST_TURNS:
            return None
    return float(brentq(lambda u: below(u) - p, high / 2 if high > 1 else 0.0, high, xtol=1e-9, rtol=1e-12))


def _with_pace(ha: float, low: float, high: float | None, pace: Est | None, *, bin: int = 0) -> RunOut:
    """Hours beside hectares: the doubt about the pace is a share, so it adds up with that of the hectares on a scale of ratios."""
    if pace is None:
        return RunOut(ha=ha, low_ha=low, high_ha=high, bin=bin)
    require_range("pace_ha_h", pace.value, 0, math.inf, low_open=True, high_open=True, unit="ha/h")
    own = 1.96 * pace.relative_sd
    hours = ha / pace.value

    def edge(other: float, sign: float) -> float:
        if ha <= 0 or other <= 0:
            return other / pace.value
        return hours * math.exp(sign * math.hypot(math.log(other / ha), own))

    return RunOut(
        ha=ha, low_ha=low, high_ha=high, hours=hours, low_h=edge(low, -1.0), high_h=None if high is None else edge(high, 1.0), bin=bin
    )


def place_at(drive: Drive, area_ha: float, *, counted: float = 1.0) -> DrivePlace:
    """Where on a planned drive an area is reached: which pass, and how far along it.

    Parameters
    ----------
    drive : Drive
        The line to drive. [m]
    area_ha : float
        From its start, by the area counter. [ha]
    counted : float
        What the counter shows for a hectare driven over with the openers down: 1 where width and distance are right. [-]

    Returns
    -------
    DrivePlace
        The last pass's end where the drive is over before. [m]

    Raises
    ------
    RangeError
        If the area is below 0, `counted` not above it, or the drive has no pass.

    References
    ----------
    definition: area = length with the openers down x spacing of the passes.
    """
    require_range("area_ha", area_ha, 0, math.inf, high_open=True, unit="ha")
    require_range("counted", counted, 0, 10.0, low_open=True)
    lengths = drive.pass_lengths_m()
    order = [int(k) for k in dict.fromkeys(drive.pass_id[drive.pass_id > 0].tolist())]
    if not order:
        raise RangeError("the drive has no pass", where="drive", cure="Plan it again.")
    goal = area_ha * 1e4 / (drive.width_m * counted)
    done = 0.0
    for k in order:
        length = float(lengths[k - 1])
        if goal <= done + length + 1e-9:
            return DrivePlace(pass_id=k, along_m=max(goal - done, 0.0), left_m=max(done + length - goal, 0.0))
        done += length
    return DrivePlace(pass_id=order[-1], along_m=float(lengths[order[-1] - 1]), left_m=0.0, beyond=True)
