"""Hectares an hour, wheel turns, distance per pulse, and the rate from a drill's own catch."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import Fault, RangeError, require_range
from evenstand.base.worked import worked
from evenstand.reference import default
from evenstand.solve.repeats import mean_of_repeats


@worked(
    formula="speed_m_s * width_m * efficiency * 3600 / 10000",
    source="uky-aen73-1991",
    where="effective field capacity, in metric units",
)
def field_capacity(speed_m_s: float, width_m: float, efficiency: float) -> float:
    """Hectares an hour.

    Parameters
    ----------
    speed_m_s : float
        Ground speed in work. [m/s]
    width_m : float
        Working width. [m]
    efficiency : float
        Share of the time spent at that speed and full width, 0 < efficiency <= 1; 1 gives the capacity in work. [-]

    Returns
    -------
    float
        Capacity. [ha/h]

    Raises
    ------
    RangeError
        If speed or width is negative or the efficiency is outside 0 to 1.

    Examples
    --------
    7.6 km/h over 16.256 m without a stop: 12.35 ha/h.

    >>> round(field_capacity(7.6 / 3.6, 16.256, 1.0), 2)
    12.35
    """
    require_range("speed_m_s", speed_m_s, 0.0, math.inf, high_open=True, unit="m/s")
    require_range("width_m", width_m, 0.0, math.inf, high_open=True, unit="m")
    require_range("efficiency", efficiency, 0.0, 1.0, low_open=True)
    return speed_m_s * width_m * efficiency * 0.36


@worked(formula="area_ha / capacity_ha_h", source="definition")
def work_hours(area_ha: float, capacity_ha_h: float) -> float:
    """Hours for an area.

    Parameters
    ----------
    area_ha : float
        Area. [ha]
    capacity_ha_h : float
        Effective capacity. [ha/h]

    Returns
    -------
    float
        Time. [h]

    Raises
    ------
    RangeError
        If the area is negative or the capacity not above 0.
    """
    require_range("area_ha", area_ha, 0.0, math.inf, high_open=True, unit="ha")
    require_range("capacity_ha_h", capacity_ha_h, 0.0, math.inf, low_open=True, high_open=True, unit="ha/h")
    return area_ha / capacity_ha_h


@worked(formula="area_ha / (days * hours_day)", source="isu-a3-25-2014", where="required field capacity")
def needed_capacity(area_ha: float, days: float, hours_day: float) -> float:
    """Hectares an hour that finish an area inside the days there are.

    Parameters
    ----------
    area_ha : float
        Area. [ha]
    days : float
        Days on which the work can be done. [d]
    hours_day : float
        Hours worked on such a day. [h/d]

    Returns
    -------
    float
        Capacity needed. [ha/h]

    Raises
    ------
    RangeError
        If the area is negative, or days or hours are not above 0, or there are more than 24 hours in a day.
    """
    require_range("area_ha", area_ha, 0.0, math.inf, high_open=True, unit="ha")
    require_range("days", days, 0.0, math.inf, low_open=True, high_open=True, unit="d")
    require_range("hours_day", hours_day, 0.0, 24.0, low_open=True, unit="h")
    return area_ha / (days * hours_day)


@worked(formula="working_h / (working_h + lost_h)", source="icar-machinery-lesson-6", where="field efficiency")
def field_efficiency(working_h: float, lost_h: float) -> float:
    """Share of the time that is spent working.

    Parameters
    ----------
    working_h : float
        Time in work at full width. [h]
    lost_h : float
        Time lost to turning, filling, clearing, waiting. [h]

    Returns
    -------
    float
        Field efficiency. [-]

    Raises
    ------
    RangeError
        If the working time is not above 0 or the lost time is negative.
    """
    require_range("working_h", working_h, 0.0, math.inf, low_open=True, high_open=True, unit="h")
    require_range("lost_h", lost_h, 0.0, math.inf, high_open=True, unit="h")
    return working_h / (working_h + lost_h)


@worked(formula="pi * diameter_m", source="definition")
def rolled_distance(diameter_m: float) -> float:
    """Distance a wheel rolls in a turn, by its diameter; measure it loaded where it matters.

    Parameters
    ----------
    diameter_m : float
        Rolling diameter. [m]

    Returns
    -------
    float
        Distance per turn. [m]

    Raises
    ------
    RangeError
        If the diameter is not above 0.
    """
    require_range("diameter_m", diameter_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    return math.pi * diameter_m


@worked(formula="distance_m / rolled_m", source="uky-drill-calibration", where="turns of the drive wheel over a distance")
def wheel_turns(distance_m: float, rolled_m: float) -> float:
    """Turns of a wheel over a distance.

    Parameters
    ----------
    distance_m : float
        Distance. [m]
    rolled_m : float
        Distance per turn. [m]

    Returns
    -------
    float
        Turns. [-]

    Raises
    ------
    RangeError
        If the distance is negative or the distance per turn not above 0.
    """
    require_range("distance_m", distance_m, 0.0, math.inf, high_open=True, unit="m")
    require_range("rolled_m", rolled_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    return distance_m / rolled_m


@worked(formula="area_ha * 10000 / width_m", source="definition")
def distance_for_area(area_ha: float, width_m: float) -> float:
    """Distance to drive for an area, or the row length that stands for it.

    Parameters
    ----------
    area_ha : float
        Area. [ha]
    width_m : float
        Working width, or the row spacing for one row. [m]

    Returns
    -------
    float
        Distance. [m]

    Raises
    ------
    RangeError
        If the area is negative or the width not above 0.
    """
    require_range("area_ha", area_ha, 0.0, math.inf, high_open=True, unit="ha")
    require_range("width_m", width_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    return area_ha * 1e4 / width_m


@worked(formula="area_ha * 10000 / (rolled_m * width_m)", source="definition")
def turns_for_area(area_ha: float, rolled_m: float, width_m: float) -> float:
    """Turns of a drive wheel (or crank geared one to one) for an area: the crank test of a ground-driven meter.

    Parameters
    ----------
    area_ha : float
        Area to be imitated. [ha]
    rolled_m : float
        Distance the wheel rolls in one turn. [m]
    width_m : float
        Width fed. [m]

    Returns
    -------
    float
        Turns. [-]

    Raises
    ------
    RangeError
        If the area is negative, or rolled distance or width is not above 0.

    Examples
    --------
    0.1 ha with a wheel that rolls 4.92 m and 11.895 m: 17.1 turns.

    >>> round(turns_for_area(0.1, 4.92, 11.895), 1)
    17.1
    """
    require_range("area_ha", area_ha, 0.0, math.inf, high_open=True, unit="ha")
    require_range("rolled_m", rolled_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("width_m", width_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    return area_ha * 1e4 / (rolled_m * width_m)


@worked(formula="mass_kg * 10000 / (distance_m * width_m)", source="definition")
def caught_rate(mass_kg: float, distance_m: float, width_m: float) -> float:
    """Rate from what was caught over a distance.

    Parameters
    ----------
    mass_kg : float
        Product caught. [kg]
    distance_m : float
        Distance driven, or turns of the wheel times its rolled distance. [m]
    width_m : float
        Width caught: runs caught times row spacing. [m]

    Returns
    -------
    float
        Rate. [kg/ha]

    Raises
    ------
    RangeError
        If the mass is negative, or distance or width is not above 0.

    Examples
    --------
    18.75 g from five runs 9 in apart over 100 ft is 5.38 kg/ha (4.80 lb/ac).

    >>> round(caught_rate(0.01875, 30.48, 5 * 0.2286), 2)
    5.38
    """
    require_range("mass_kg", mass_kg, 0.0, math.inf, high_open=True, unit="kg")
    require_range("distance_m", distance_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    require_range("width_m", width_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")
    return mass_kg * 1e4 / (distance_m * width_m)


@worked(formula="distance_m / seconds", source="definition")
def timed_speed(distance_m: float, seconds: float) -> float:
    """Speed from a taped distance and a watch.

    Parameters
    ----------
    distance_m : float
        Distance. [m]
    seconds : float
        Time. [s]

    Returns
    -------
    float
        Speed. [m/s]

    Raises
    ------
    RangeError
        If the distance is negative or the time not above 0.
    """
    require_range("distance_m", distance_m, 0.0, math.inf, high_open=True, unit="m")
    require_range("seconds", seconds, 0.0, math.inf, low_open=True, high_open=True, unit="s")
    return distance_m / seconds


@worked(formula="distance_m / speed_m_s", source="definition")
def course_time(distance_m: float, speed_m_s: float) -> float:
    """Seconds over a taped distance at a speed: what the watch should show if the speed on the display is right.

    Parameters
    ----------
    distance_m : float
        Taped distance. [m]
    speed_m_s : float
        Speed shown. [m/s]

    Returns
    -------
    float
        Time. [s]

    Raises
    ------
    RangeError
        If the distance is negative or the speed not above 0.

    Examples
    --------
    100 m at 7.6 km/h:

    >>> round(course_time(100, 7.6 / 3.6), 1)
    47.4
    """
    require_range("distance_m", distance_m, 0.0, math.inf, high_open=True, unit="m")
    require_range("speed_m_s", speed_m_s, 0.0, math.inf, low_open=True, high_open=True, unit="m/s")
    return distance_m / speed_m_s


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelCalibration:
    """Distance per pulse from runs over taped distances.

    pulse_m: distance per pulse [m/pulse]; sd: of that value [m/pulse]; low, high: at `confidence` [m/pulse]; pulses_m: its inverse
    [pulses/m]; cv: spread of the runs, prior included [-]; runs: how many; counting_share: share of the variance that comes from
    counting whole pulses over too short a distance [-]; change: new value over the one typed, None without one [-].
    """

    pulse_m: float
    sd: float
    low: float
    high: float
    pulses_m: float
    cv: float
    runs: int
    counting_share: float
    change: float | None = None


def wheel_calibration(
    distances_m: Sequence[float] | npt.NDArray[np.float64] | float,
    pulses: Sequence[float] | npt.NDArray[np.float64] | float,
    *,
    tape_sd_m: float | None = None,
    prior_cv: float | None = None,
    prior_dof: float = 6.0,
    confidence: float = 0.95,
    typed_pulse_m: float | None = None,
) -> WheelCalibration:
    """Distance per pulse from one or more runs over a taped distance.

    A wheel counts whole pulses: start and end each lose up to one, so short runs carry a counting error of pulse / sqrt(6). One run
    is judged by the usual repeatability; several replace it step by step.

    Parameters
    ----------
    distances_m : array_like of float, shape (n,) or one for all
        Taped distance of each run, half-full bins, on the ground to be sown. [m]
    pulses : array_like of float, shape (n,)
        Pulses counted in each run. [-]
    tape_sd_m : float or None
        Standard deviation of the tape and of stopping on the mark, the same tape for all runs; None: the usual one. [m]
    prior_cv : float or None
        Usual spread between runs, relative; None: that of common practice. [-]
    prior_dof : float
        How many runs' worth the prior spread is trusted. [-]
    confidence : float
        Of the interval. [-]
    typed_pulse_m : float or None
        Value in force on the display, to compare with. [m/pulse]

    Returns
    -------
    WheelCalibration
        Value, standard deviation and interval. [units in the field names]

    Raises
    ------
    RangeError
        If a distance or count is not above 0, or the numbers of runs differ.

    References
    ----------
    Definition: mean of distance over pulses; whole pulses are lost evenly over one pulse at either end. Usual spread between runs and of
    the tape: common-practice, table practice, wheel-run and tape.

    Examples
    --------
    >>> c = wheel_calibration([100.0, 100.0], [519, 521])
    >>> round(c.pulse_m, 4), c.runs
    (0.1923, 2)
    """
    counted = np.atleast_1d(np.asarray(pulses, dtype=float))
    taped = (
        np.broadcast_to(np.atleast_1d(np.asarray(distances_m, dtype=float)), counted.shape)
        if np.ndim(distances_m) == 0
        else np.asarray(distances_m, dtype=float)
    )
    if taped.shape != counted.shape or counted.ndim != 1 or counted.size == 0:
        raise RangeError(
            f"{taped.size} distances and {counted.size} counts do not pair", where="pulses", cure="Give one count for each run."
        )
    faults = [
        Fault(where=f"run {i + 1}", what=f"{d:g} m and {p:g} pulses", limit="both above 0", cure="Leave the run out or correct it.")
        for i, (d, p) in enumerate(zip(taped, counted, strict=True))
        if not (d > 0 and p > 0 and math.isfinite(d) and math.isfinite(p))
    ]
    if faults:
        raise RangeError(faults)
    tape_sd_m = default("tape").value if tape_sd_m is None else tape_sd_m
    prior_cv = default("wheel-run").value if prior_cv is None else prior_cv
    require_range("tape_sd_m", tape_sd_m, 0.0, math.inf, high_open=True, unit="m")
    if typed_pulse_m is not None:
        require_range("typed_pulse_m", typed_pulse_m, 0.0, math.inf, low_open=True, high_open=True, unit="m")

    each = taped / counted
    counting = float(np.mean(each / counted)) / math.sqrt(6.0)  # start and end uniform over one pulse each
    tape = float(np.mean(tape_sd_m / counted))
    result = mean_of_repeats(each, prior_cv=prior_cv, own_sd=counting, shared_sd=tape, prior_dof=prior_dof, confidence=confidence)
    spread = result.sd_each**2
    return WheelCalibration(
        pulse_m=result.mean,
        sd=result.sd,
        low=result.low,
        high=result.high,
        pulses_m=1 / result.mean,
        cv=result.cv,
        runs=counted.size,
        counting_share=min(1.0, counting**2 / spread) if spread > 0 else 0.0,
        change=None if typed_pulse_m is None else result.mean / typed_pulse_m,
    )
