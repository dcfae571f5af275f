"""Depth of seed by rank, wing and wheel track: what is off, and what to set."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from evenstand.base.errors import InputError, require_range
from evenstand.base.units import Profile, shown

_FACTORS = ("wing", "rank", "track")


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthReading:
    """One seed dug up. depth_m below the surface [m]; rank of its opener, counted from the front; wing: "left", "centre", "right", or the
    owner's word; in_track: behind a wheel; each None or "" where it was not noted."""

    depth_m: float
    rank: int | None = None
    wing: str = ""
    in_track: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthEffect:
    """How one wing, rank or the wheel tracks lie against the others of their kind, the rest of what was noted allowed for.

    factor: "wing", "rank" or "track"; level: which; difference_m: deeper is above zero [m], with sd [m] and the interval low_m to
    high_m [m], joint over all levels looked at; n readings there; told: the interval leaves nought out; turns: of the setting, deeper
    above zero, None unless the owner has typed what a turn gives.
    """

    factor: str
    level: str
    difference_m: float
    sd_m: float
    low_m: float
    high_m: float
    n: int
    told: bool
    turns: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthReport:
    """Depth as dug. n readings; mean_m with its interval low_m to high_m [m]; sd_m from seed to seed [m], rest_sd_m of it once wing, rank
    and track are allowed for [m]; share_in: in the window [-], with the exact interval share_low to share_high; shallow and deep: shares
    outside it [-]; window_m: low and high [m]; effects; advice: sentences in metric units, what to set first; cannot_tell: why not more."""

    n: int
    mean_m: float
    low_m: float
    high_m: float
    sd_m: float
    rest_sd_m: float
    share_in: float | None
    share_low: float | None
    share_high: float | None
    shallow: float | None
    deep: float | None
    window_m: tuple[float, float] | None
    effects: tuple[DepthEffect, ...] = ()
    advice: tuple[str, ...] = ()
    cannot_tell: tuple[str, ...] = field(default=())


def depth_report(
    readings: Sequence[DepthReading],
    *,
    window_m: tuple[float, float] | None = None,
    confidence: float = 0.95,
    m_per_turn: float | None = None,
    worth_m: float = 0.0,
    profile: Profile = "si",
) -> DepthReport:
    """Mean, spread and share in the window of dug seed, and which wing or rank is off by how much.

    Parameters
    ----------
    readings : sequence of DepthReading
        Two or more. [m]
    window_m : (float, float) or None
        Shallowest and deepest wanted. [m]
    confidence : float
        Of all intervals; those of the effects hold together. [-]
    m_per_turn : float or None
        Depth that one turn of the setting gives, only if the owner has measured it on this tool. [m/turn]
    worth_m : float
        Differences below this are left alone, however sure. [m]
    profile : str
        Units of the sentences: "si", "prairie" or "us". [-]

    Returns
    -------
    DepthReport
        Effects come from one least-squares fit of wing, rank and track together; where they were not dug crosswise so that the readings
        cannot part them, it says so and gives none. [m]

    Raises
    ------
    InputError
        With fewer than two readings.
    RangeError
        If a depth is negative, or an argument outside its range.

    References
    ----------
    ufl-on-farm-trials: the t interval of a mean, nine plots.
    Least squares with sum-to-nought contrasts; joint intervals after Bonferroni: standard statistics, from memory.

    Examples
    --------
    >>> left = [DepthReading(depth_m=d / 1000, wing="left") for d in (31, 29, 33, 30)]
    >>> right = [DepthReading(depth_m=d / 1000, wing="right") for d in (40, 39, 41, 38)]
    >>> report = depth_report(left + right, window_m=(0.038, 0.050))
    >>> print(report.advice[0])
    The left wing is 9 mm shallower than the right wing (6 mm to 11 mm): level it.
    """
    from scipy.special import stdtrit

    if len(readings) < 2:
        raise InputError(f"{len(readings)} reading(s)", where="readings", limit="two or more", cure="Dig at least two seeds, better ten.")
    _check(readings, window_m, confidence, m_per_turn, worth_m)
    depths = np.array([r.depth_m for r in readings])
    n, mean, sd = len(readings), float(depths.mean()), float(depths.std(ddof=1))
    half = float(stdtrit(n - 1, (1 + confidence) / 2)) * sd / math.sqrt(n)
    effects, rest_sd, gaps = _effects(readings, depths, confidence, m_per_turn)
    share = _shares(depths, window_m, confidence)
    report = DepthReport(
        n=n, mean_m=mean, low_m=max(0.0, mean - half), high_m=mean + half, sd_m=sd, rest_sd_m=rest_sd, window_m=window_m,
        effects=effects, cannot_tell=gaps,
        share_in=share[0], share_low=share[1], share_high=share[2], shallow=share[3], deep=share[4],
    )  # fmt: skip
    advice = depth_advice(report, worth_m=worth_m, profile=profile)
    values = {name: getattr(report, name) for name in DepthReport.__slots__}
    return DepthReport(**(values | {"advice": advice}))


def depth_advice(report: DepthReport, *, worth_m: float = 0.0, profile: Profile = "si") -> tuple[str, ...]:
    """What to set, in sentences, the largest first.

    Parameters
    ----------
    report : DepthReport
        From `depth_report`. [-]
    worth_m : float
        Differences below this are left alone. [m]
    profile : str
        Units of the sentences: "si", "prairie" or "us". [-]

    Returns
    -------
    tuple of str
        Empty where nothing is off, or nothing can be told. [text]
    """
    told = [e for e in report.effects if e.told and abs(e.difference_m) >= worth_m]
    kept: list[DepthEffect] = []
    for effect in sorted(told, key=lambda e: (-abs(e.difference_m), _off(e, report))):
        levels = [e for e in report.effects if e.factor == effect.factor]
        if len(levels) == 2 and any(k.factor == effect.factor for k in kept):
            continue  # of two, one against the other is said once
        kept.append(effect)
    lines = [_sentence(effect, report, profile) for effect in kept]
    return (*lines, *_whole_tool(report, profile))


def _off(effect: DepthEffect, report: DepthReport) -> float:
    """Of two mirrored levels, the one that is further from the window comes first; without a window the shallow one."""
    if report.window_m is None:
        return effect.difference_m
    middle = sum(report.window_m) / 2
    return -abs(report.mean_m + effect.difference_m / 2 - middle)


def _sentence(effect: DepthEffect, report: DepthReport, profile: Profile) -> str:
    others = [e for e in report.effects if e.factor == effect.factor and e.level != effect.level]
    size, low, high = (
        shown(x, "depth", profile)
        for x in (abs(effect.difference_m), min(abs(effect.low_m), abs(effect.high_m)), max(abs(effect.low_m), abs(effect.high_m)))
    )
    way = "shallower" if effect.difference_m < 0 else "deeper"
    against = f"than {_name(effect.factor, others[0].level)}" if len(others) == 1 else "than the others"
    act = {"wing": "level it", "rank": "set its depth", "track": "look at the down force behind the wheels"}[effect.factor]
    turn = ""
    if effect.turns is not None:
        turn = f", about {abs(effect.turns):.1f} turns {'deeper' if effect.turns > 0 else 'shallower'} by what you typed a turn gives"
    verb = "lies" if effect.factor == "track" else "is"
    name = _name(effect.factor, effect.level)
    return f"{name[0].upper()}{name[1:]} {verb} {size} {way} {against} ({low} to {high}): {act}{turn}."


def _name(factor: str, level: str) -> str:
    if factor == "rank":
        return f"rank {level}"
    if factor == "track":
        return "seed behind the wheels" if level == "track" else "seed between them"
    return f"the {level} wing" if level in {"left", "right"} else f"the {level}"


def _whole_tool(report: DepthReport, profile: Profile) -> tuple[str, ...]:
    """Whether the tool as a whole runs outside the window."""
    if report.window_m is None:
        return ()
    low, high = report.window_m
    by = shown(abs(report.mean_m - (low + high) / 2), "depth", profile)
    if report.high_m < low:
        return (f"The tool as a whole is shallow: its mean lies {by} above the middle of the window. Set all of it deeper.",)
    if report.low_m > high:
        return (f"The tool as a whole is deep: its mean lies {by} below the middle of the window. Set all of it shallower.",)
    return ()


def _effects(
    readings: Sequence[DepthReading], depths: np.ndarray, confidence: float, m_per_turn: float | None
) -> tuple[tuple[DepthEffect, ...], float, tuple[str, ...]]:
    """Effects of every factor noted on all readings, the spread left, and what cannot be told."""
    from scipy.special import stdtrit

    columns, levels, gaps = _factors(readings)
    spread = float(depths.std(ddof=1))
    if not levels:
        return (), spread, gaps
    design = np.column_stack([np.ones(len(depths)), *(columns[factor] for factor in levels)])
    free = len(depths) - design.shape[1]
    if np.linalg.matrix_rank(design) < design.shape[1]:
        return (), spread, (*gaps, f"{' and '.join(levels)} were not dug crosswise: the readings cannot tell one from the other.")
    if free < 1:
        return (), spread, (*gaps, "Too few readings to tell a wing or rank from the scatter of seeds: dig more.")
    fit, *_ = np.linalg.lstsq(design, depths, rcond=None)
    rest = float(np.sqrt(((depths - design @ fit) ** 2).sum() / free))
    covariance = rest**2 * np.linalg.inv(design.T @ design)
    looked_at = sum(len(names) if len(names) > 2 else 1 for names in levels.values())
    t = float(stdtrit(free, 1 - (1 - confidence) / 2 / looked_at))
    found, start = [], 1
    for factor, names in levels.items():
        size = len(names) - 1
        for i, name in enumerate(names):
            contrast = np.zeros(design.shape[1])
            contrast[start : start + size] = np.eye(size)[i] if i < size else -np.ones(size)
            contrast *= len(names) / size  # against the mean of the others, not of all
            value, sd = float(contrast @ fit), math.sqrt(max(float(contrast @ covariance @ contrast), 0.0))
            found.append(
                DepthEffect(
                    factor=factor,
                    level=name,
                    difference_m=value,
                    sd_m=sd,
                    low_m=value - t * sd,
                    high_m=value + t * sd,
                    n=sum(_level(r, factor) == name for r in readings),
                    told=abs(value) > t * sd,
                    turns=None if m_per_turn is None else -value / m_per_turn,
                )
            )
        start += size
    return tuple(found), rest, gaps


def _factors(readings: Sequence[DepthReading]) -> tuple[dict[str, np.ndarray], dict[str, list[str]], tuple[str, ...]]:
    """Sum-to-nought columns of every factor that was noted throughout and takes two values or more."""
    columns: dict[str, np.ndarray] = {}
    levels: dict[str, list[str]] = {}
    gaps: list[str] = []
    for factor in _FACTORS:
        noted = [_level(r, factor) for r in readings]
        names = sorted({name for name in noted if name})
        if names and "" in noted:
            gaps.append(f"The {factor} was not noted for every reading: it is left out.")
        elif len(names) >= 2:
            size = len(names) - 1
            rows = np.vstack([np.eye(size), -np.ones(size)])
            columns[factor], levels[factor] = np.array([rows[names.index(name)] for name in noted]), names
    return columns, levels, tuple(gaps)


def _level(reading: DepthReading, factor: str) -> str:
    if factor == "rank":
        return "" if reading.rank is None else str(reading.rank)
    if factor == "track":
        return "" if reading.in_track is None else "track" if reading.in_track else "between"
    return reading.wing.strip().lower()


def _shares(
    depths: np.ndarray, window_m: tuple[float, float] | None, confidence: float
) -> tuple[float | None, float | None, float | None, float | None, float | None]:
    """Share in the window with its exact binomial interval, and shares above and below it."""
    from scipy.special import betaincinv

    if window_m is None:
        return None, None, None, None, None
    n, slack = int(depths.size), 1e-9
    shallow, deep = int((depths < window_m[0] - slack).sum()), int((depths > window_m[1] + slack).sum())
    inside, tail = n - shallow - deep, (1 - confidence) / 2
    low = float(betaincinv(inside, n - inside + 1, tail)) if inside else 0.0
    high = float(betaincinv(inside + 1, n - inside, 1 - tail)) if inside < n else 1.0
    return inside / n, low, high, shallow / n, deep / n


def _check(
    readings: Sequence[DepthReading], window_m: tuple[float, float] | None, confidence: float, m_per_turn: float | None, worth_m: float
) -> None:
    for reading in readings:
        require_range("depth_m", reading.depth_m, 0, 1, unit="m")
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    require_range("worth_m", worth_m, 0, unit="m")
    if window_m is not None:
        require_range("window_m", window_m[0], 0, 1, unit="m")
        require_range("window_m", window_m[1], window_m[0], 1, unit="m")
    if m_per_turn is not None:
        require_range("m_per_turn", m_per_turn, 0, low_open=True, unit="m")
