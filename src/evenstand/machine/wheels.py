"""Distance per pulse by load and soil, slip, where the speed comes from, and what a move from yard to field does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import Fault, MissingError, RangeError, require_range
from evenstand.base.estimate import Est
from evenstand.base.worked import worked
from evenstand.machine.delays import lag_distance
from evenstand.machine.factors import usual_sd
from evenstand.machine.travel import wheel_calibration
from evenstand.reference import default

CartLoad = Literal["full", "half", "empty"]
Ground = Literal["yard", "stubble", "tilled"]
_LOADS: dict[str, float] = {"full": 0.5, "half": 0.0, "empty": -0.5}
_GROUNDS: tuple[Ground, ...] = ("yard", "stubble", "tilled")


@worked(
    formula="(unloaded_m - loaded_m) / unloaded_m",
    source="arizona-machinery",
    where="wheel slip: no-load less loaded advance per turn, over no-load",
)
def wheel_slip(unloaded_m: float, loaded_m: float) -> float:
    """Slip of a driving wheel: how much less it advances in a turn when it pulls.

    Parameters
    ----------
    unloaded_m : float
        Distance in the same number of wheel turns without load, on the same ground. [m]
    loaded_m : float
        Distance in these turns with the tool in the ground. [m]

    Returns
    -------
    float
        Slip; negative for a dragged wheel, which turns less than it rolls. [-]

    Raises
    ------
    RangeError
        If a distance is not above 0.

    References
    ----------
    Agricultural Machinery Management, University of Arizona: S = (An - Al) / An.

    Examples
    --------
    >>> round(wheel_slip(50.0, 45.0), 3)
    0.1
    """
    require_range("unloaded_m", unloaded_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("loaded_m", loaded_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    return (unloaded_m - loaded_m) / unloaded_m


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelRun:
    """One run over a taped distance. distance_m: taped [m]; pulses: counted [-]; load: "full", "half", "empty"; ground: "yard",
    "stubble", "tilled"."""

    distance_m: float
    pulses: float
    load: CartLoad
    ground: Ground


@dataclass(frozen=True, slots=True, kw_only=True)
class PulseDistance:
    """Distance per pulse for one load and ground.

    pulse_m: value and sd [m/pulse]; load, ground: asked for; runs_here: runs made in just that state; load_effect: full over empty, less
    one [-]; ground_effect: that ground over the yard, less one; yard: 0 [-]; measured: which effects were measured, the rest being the
    usual size with either sign: "load", "ground"; low_m, high_m: least and most over all states that were run [m/pulse]; why: in words;
    dose_ratio: true dose / asked while the typed value is in force, None without one [-].
    """

    pulse_m: Est
    load: CartLoad
    ground: Ground
    runs_here: int
    load_effect: Est
    ground_effect: Est
    measured: tuple[str, ...]
    low_m: float
    high_m: float
    why: str
    dose_ratio: Est | None = None


def pulse_distance(
    runs: Sequence[WheelRun],
    load: CartLoad,
    ground: Ground,
    *,
    typed_pulse_m: float | None = None,
    tape_sd_m: float | None = None,
    run_cv: float | None = None,
) -> PulseDistance:
    """Distance per pulse for the load and ground asked, from runs in any.

    The logarithm of the distance per pulse is taken as a level, plus an effect of the load (half lies between full and empty), plus one
    of the ground. Effects that no run shows are not known: they keep their usual size as standard deviation, with either sign, so that a
    value from the yard is wider in the field.

    Parameters
    ----------
    runs : sequence of WheelRun
        Calibration runs. [m, pulses]
    load : str
        "full", "half" or "empty": asked for. [-]
    ground : str
        "yard", "stubble" or "tilled": asked for. [-]
    typed_pulse_m : float or None
        Value in force on the display. [m/pulse]
    tape_sd_m : float or None
        Standard deviation of the tape and of stopping on the mark; None: the usual one. [m]
    run_cv : float or None
        Usual repeatability of a run, relative; None: that of common practice. [-]

    Returns
    -------
    PulseDistance
        Value, effects, and what the typed value does. [units in the field names]

    Raises
    ------
    MissingError
        If there is no run.
    RangeError
        If a distance or count is not above 0, or a load or ground is not known.

    References
    ----------
    Definition: least squares on logarithms, effects held by their usual size. Load 1 to 3 %, yard to tilled soil 2 to 5 %: common-practice,
    table practice, wheel-loaded-to-empty and wheel-yard-to-field.

    Examples
    --------
    One run half full in the yard: on tilled soil the same value, but known to 3.6 % only.

    >>> p = pulse_distance([WheelRun(distance_m=100.0, pulses=520, load="half", ground="yard")], "half", "tilled")
    >>> round(p.pulse_m.value, 4), round(p.pulse_m.relative_sd, 3), p.runs_here
    (0.1923, 0.036, 0)
    """
    _check(runs, load, ground)
    tape_sd_m = default("tape").value if tape_sd_m is None else tape_sd_m
    run_cv = default("wheel-run").value if run_cv is None else run_cv
    require_range("run_cv", run_cv, 0.0, 1.0, low_open=True)
    require_range("tape_sd_m", tape_sd_m, 0.0, math.inf, high_open=True, unit="m")
    mean, cov = _fit(runs, tape_sd_m, run_cv)
    asked = _state(load, ground)
    log_value, log_sd = float(asked @ mean), math.sqrt(float(asked @ cov @ asked))
    value = math.exp(log_value)
    each = [r.distance_m / r.pulses for r in runs]
    here = sum(r.load == load and r.ground == ground for r in runs)
    measured = tuple(name for name, seen in (("load", _load_seen(runs)), ("ground", _ground_seen(runs, ground))) if seen)
    ratio = None
    if typed_pulse_m is not None:
        require_range("typed_pulse_m", typed_pulse_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
        ratio = Est(value=typed_pulse_m / value, sd=typed_pulse_m / value * log_sd, basis="computed", source="distance per pulse")
    return PulseDistance(
        pulse_m=Est(value=value, sd=value * log_sd, basis="measured" if here else "computed", source="taped runs"),
        load=load,
        ground=ground,
        runs_here=here,
        load_effect=_effect(mean[1], cov[1, 1]),
        ground_effect=_effect(0.0, 0.0) if ground == "yard" else _effect(mean[_GROUNDS.index(ground) + 1], _ground_variance(cov, ground)),
        measured=measured,
        low_m=min(each),
        high_m=max(each),
        why=_why(here, measured, load, ground),
        dose_ratio=ratio,
    )


def _state(load: str, ground: str) -> npt.NDArray[np.float64]:
    """Level, load, stubble, tilled. [-]"""
    return np.array([1.0, _LOADS[load], float(ground == "stubble"), float(ground == "tilled")])


def _fit(runs: Sequence[WheelRun], tape_sd_m: float, run_cv: float) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Level and effects with their covariance: least squares on the logarithms, the effects held to their usual size."""
    design = np.array([_state(r.load, r.ground) for r in runs])
    seen = np.array([math.log(r.distance_m / r.pulses) for r in runs])
    counting = np.array([1 / r.pulses / math.sqrt(6) for r in runs])  # start and end uniform over one pulse each
    taping = np.array([tape_sd_m / r.distance_m for r in runs])
    noise = run_cv**2 + counting**2 + taping**2
    usual = np.array([0.0, usual_sd("wheel-loaded-to-empty"), usual_sd("wheel-yard-to-field"), usual_sd("wheel-yard-to-field")])
    prior = np.diag([0.0, *(1 / usual[1:] ** 2)])  # the level itself is free
    precision = design.T @ (design / noise[:, None]) + prior
    cov = np.linalg.inv(precision)
    return cov @ (design.T @ (seen / noise)), cov


def _ground_variance(cov: npt.NDArray[np.float64], ground: str) -> float:
    at = _GROUNDS.index(ground) + 1
    return float(cov[at, at])


def _effect(log_value: float, log_variance: float) -> Est:
    ratio = math.exp(float(log_value))
    return Est(value=ratio - 1, sd=ratio * math.sqrt(float(log_variance)), basis="computed", source="taped runs")


def _load_seen(runs: Sequence[WheelRun]) -> bool:
    return any(len({r.load for r in runs if r.ground == g}) > 1 for g in _GROUNDS)


def _ground_seen(runs: Sequence[WheelRun], ground: str) -> bool:
    return any({"yard", ground} <= {r.ground for r in runs if r.load == load} for load in _LOADS) and ground != "yard"


def _why(here: int, measured: tuple[str, ...], load: str, ground: str) -> str:
    if here:
        return f"{here} run{'s' if here > 1 else ''} with the cart {load} on {ground}."
    known = f"; the effect of the {' and the '.join(measured)} was measured" if measured else ""
    return f"No run with the cart {load} on {ground}{known}: drive a taped distance there."


def _check(runs: Sequence[WheelRun], load: str, ground: str) -> None:
    if not runs:
        raise MissingError("no run over a taped distance", where="runs", cure="Drive a taped distance half full and count the pulses.")
    faults = [
        Fault(where=f"run {i + 1}", what=f"{r.distance_m:g} m, {r.pulses:g} pulses, {r.load}, {r.ground}",
              limit="distance and pulses above 0; full, half, empty; yard, stubble, tilled", cure="Correct it or leave the run out.")
        for i, r in enumerate(runs)
        if not (r.distance_m > 0 and r.pulses > 0 and math.isfinite(r.distance_m) and math.isfinite(r.pulses))
        or r.load not in _LOADS or r.ground not in _GROUNDS
    ]  # fmt: skip
    if load not in _LOADS or ground not in _GROUNDS:
        faults.append(Fault(where="asked for", what=f"{load}, {ground}", limit="full, half, empty; yard, stubble, tilled", cure="Choose."))
    if faults:
        raise RangeError(faults)


def pulse_by_state(runs: Sequence[WheelRun], *, tape_sd_m: float | None = None) -> tuple[tuple[str, str, int, Est], ...]:
    """Each load and ground that was run, by its own runs alone: the spread between states to be seen.

    Parameters
    ----------
    runs : sequence of WheelRun
        Calibration runs. [m, pulses]
    tape_sd_m : float or None
        Standard deviation of the tape; None: the usual one. [m]

    Returns
    -------
    tuple of (load, ground, runs, Est)
        In the order first met. [m/pulse]

    Raises
    ------
    MissingError
        If there is no run.
    RangeError
        If a run is not as it must be.

    References
    ----------
    Definition: `wheel_calibration` of the runs of each state.
    """
    _check(runs, "half", "yard")
    found = []
    for load, ground in dict.fromkeys((r.load, r.ground) for r in runs):
        mine = [r for r in runs if (r.load, r.ground) == (load, ground)]
        fit = wheel_calibration([r.distance_m for r in mine], [r.pulses for r in mine], tape_sd_m=tape_sd_m)
        found.append((load, ground, len(mine), Est(value=fit.pulse_m, sd=fit.sd, basis="measured", source="taped runs")))
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedTrust:
    """What a speed source is good for. source; witness: what GNSS distance then proves: "distance" or "nothing"; sd: usual spread of the
    speed in steady work, None if it is not known [-]; lag_s: how late it follows at a start, None if not known [s]; why: in words."""

    source: str
    witness: str
    sd: float | None
    lag_s: float | None
    why: str


def speed_trust(source: str) -> SpeedTrust:
    """What a speed source knows, and whether GNSS distance can still be a witness against it.

    Parameters
    ----------
    source : str
        "gnss", "wheel", "radar" or "unknown". [-]

    Returns
    -------
    SpeedTrust
        With the usual spread and lag, both common practice. [units in the field names]

    Raises
    ------
    RangeError
        If the source is none of these.

    Examples
    --------
    >>> speed_trust("gnss").witness, speed_trust("wheel").witness
    ('nothing', 'distance')
    """
    if source == "gnss":
        return SpeedTrust(
            source=source, witness="nothing", sd=None, lag_s=default("gnss-lag").value,
            why="GNSS feeds the speed, so GNSS distance repeats it: only a taped distance can prove it.",
        )  # fmt: skip
    if source == "wheel":
        return SpeedTrust(
            source=source, witness="distance", sd=math.hypot(usual_sd("wheel-yard-to-field"), usual_sd("wheel-loaded-to-empty")), lag_s=0.0,
            why="Distance per pulse changes with load and soil: calibrate half full, in the field. GNSS distance is a witness.",
        )  # fmt: skip
    if source == "radar":
        return SpeedTrust(
            source=source, witness="distance", sd=usual_sd("radar"), lag_s=None,
            why="Moving stubble and crop shift radar speed. GNSS distance is a witness.",
        )  # fmt: skip
    if source == "unknown":
        return SpeedTrust(
            source=source,
            witness="nothing",
            sd=None,
            lag_s=None,
            why="Find out what feeds the speed: until then GNSS distance proves nothing.",
        )
    raise RangeError(f"'{source}'", where="source", limit="gnss, wheel, radar, unknown", cure="Choose one.")


@dataclass(frozen=True, slots=True, kw_only=True)
class StartLag:
    """What a late speed does at starts. distance_m: ground each start leaves short [m]; area_ha: of all starts [ha]; short_kg: product
    missing there [kg], None without a rate; share: of the area given [-], None without one."""

    distance_m: float
    area_ha: float
    short_kg: float | None
    share: float | None


def start_lag(
    speed_m_s: float,
    width_m: float,
    starts: int,
    *,
    lag_s: float | None = None,
    rate_kg_ha: float | None = None,
    area_ha: float | None = None,
) -> StartLag:
    """Ground left short at starts from standing because the speed that drives the meters comes late.

    From standing, the meters run by the speed of a moment ago. However the tool pulls away, the distance they miss is lag x speed reached;
    as much is sown too much where it stops with the openers in.

    Parameters
    ----------
    speed_m_s : float
        Speed reached. [m/s]
    width_m : float
        Working width. [m]
    starts : int
        Starts from standing with the openers in. [-]
    lag_s : float or None
        How late the speed is; None: what is usual of GNSS. [s]
    rate_kg_ha : float or None
        Rate. [kg/ha]
    area_ha : float or None
        Ground sown. [ha]

    Returns
    -------
    StartLag
        Each start and all of them. [units in the field names]

    Raises
    ------
    RangeError
        If an argument is outside its range.

    Examples
    --------
    >>> s = start_lag(7.6 / 3.6, 16.256, 10, lag_s=1.0, rate_kg_ha=121)
    >>> round(s.distance_m, 2), round(s.short_kg, 1)
    (2.11, 4.2)
    """
    require_range("speed_m_s", speed_m_s, 0.0, math.inf, high_open=True, unit="m/s")
    require_range("width_m", width_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("starts", starts, 0)
    late = default("gnss-lag").value if lag_s is None else lag_s
    require_range("lag_s", late, 0.0, math.inf, high_open=True, unit="s")
    distance = lag_distance(late, speed_m_s)
    area = distance * width_m * starts / 1e4
    if rate_kg_ha is not None:
        require_range("rate_kg_ha", rate_kg_ha, 0.0, math.inf, high_open=True, unit="kg/ha")
    if area_ha is not None:
        require_range("area_ha", area_ha, 0.0, math.inf, low_open=True, high_open=True, unit="ha")
    return StartLag(
        distance_m=distance,
        area_ha=area,
        short_kg=None if rate_kg_ha is None else rate_kg_ha * area,
        share=None if area_ha is None else area / area_ha,
    )
