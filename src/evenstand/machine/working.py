"""Time, days and dates: what a day gives, how many days there are, and whether the work is done by the date."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from evenstand.base.errors import require_range
from evenstand.base.estimate import Est
from evenstand.base.worked import worked
from evenstand.machine.travel import field_capacity, field_efficiency, work_hours
from evenstand.machine.workdays import FloatArray, reach_by, require_share

_NODES = 41  # equally likely values of the area a day gives
_EARLY, _LATE = 0.1, 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldTimes:
    """Hours of a field by what they go into.

    work_h: openers down at full width [h]; turning_h, filling_h, moving_h, waiting_h: None not known [h]; total_h: of those known [h];
    efficiency: work over total; an upper bound while something is missing [-]; capacity_ha_h: cropped hectares over the total
    [ha/h]; missing: what is not known.
    """

    work_h: float
    turning_h: float | None
    filling_h: float | None
    moving_h: float | None
    waiting_h: float | None
    total_h: float
    efficiency: float
    capacity_ha_h: float
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Deadline:
    """Hectares left against a date.

    area_left_ha [ha]; day_ha: a workable day gives [ha/d]; days_left: calendar days to the date, that day included [d]; days_expected:
    workable ones among them [d]; days_needed: whole workable days needed [d]; needed_day_ha: what a workable day would have to give, None
    with no day left [ha/d]; short_day_ha: that less day_ha: above 0 short, below 0 to spare, None with no day left [ha/d]; undone_ha: left
    on the date if days come as expected [ha]; chance: of being done by the date [-]; early_day, middle_day, late_day: calendar day, today
    being 1, by which it is done with a chance of 10, 50 and 90 %, None beyond the days looked at [d]; note.
    """

    area_left_ha: float
    day_ha: float
    days_left: int
    days_expected: float
    days_needed: int
    needed_day_ha: float | None
    short_day_ha: float | None
    undone_ha: float
    chance: float
    early_day: int | None
    middle_day: int | None
    late_day: int | None
    note: str = ""


def field_times(
    area_ha: float,
    speed_m_s: float,
    width_m: float,
    *,
    overlap: float = 0.0,
    turning_h: float | None = None,
    filling_h: float | None = None,
    moving_h: float | None = None,
    waiting_h: float | None = None,
) -> FieldTimes:
    """Field efficiency from times, not from a table.

    Parameters
    ----------
    area_ha : float
        Cropped area. [ha]
    speed_m_s : float
        Speed in work. [m/s]
    width_m : float
        Working width. [m]
    overlap : float
        Share sown twice; driven area is (1 + overlap) times the cropped. [-]
    turning_h, filling_h, moving_h, waiting_h : float or None
        Turns and headland ends, fills with the way to them, moves between fields, clearing and waiting; None: not known, and said so. [h]

    Returns
    -------
    FieldTimes
        Hours, efficiency and capacity. [units in the field names]

    Raises
    ------
    RangeError
        If an area, speed, width or time is out of range.
    """
    require_range("area_ha", area_ha, 0, math.inf, low_open=True, high_open=True, unit="ha")
    require_range("overlap", overlap, 0, 1, high_open=True)
    lost = {"turning_h": turning_h, "filling_h": filling_h, "moving_h": moving_h, "waiting_h": waiting_h}
    for name, hours in lost.items():
        if hours is not None:
            require_range(name, hours, 0, math.inf, high_open=True, unit="h")
    work = work_hours(area_ha * (1 + overlap), field_capacity(speed_m_s, width_m, 1.0))
    known = sum(hours for hours in lost.values() if hours is not None)
    return FieldTimes(
        work_h=work,
        turning_h=turning_h,
        filling_h=filling_h,
        moving_h=moving_h,
        waiting_h=waiting_h,
        total_h=work + known,
        efficiency=field_efficiency(work, known),
        capacity_ha_h=area_ha / (work + known),
        missing=tuple(name.removesuffix("_h") for name, hours in lost.items() if hours is None),
    )


@worked(formula="capacity_ha_h * hours_day", source="definition")
def day_area(capacity_ha_h: float, hours_day: float) -> float:
    """Hectares of a workable day.

    Parameters
    ----------
    capacity_ha_h : float
        Effective capacity. [ha/h]
    hours_day : float
        Hours worked, 24 at most. [h/d]

    Returns
    -------
    float
        Area. [ha/d]

    Raises
    ------
    RangeError
        If the capacity is below 0 or the day has no or more than 24 hours.
    """
    require_range("capacity_ha_h", capacity_ha_h, 0, math.inf, high_open=True, unit="ha/h")
    require_range("hours_day", hours_day, 0, 24, low_open=True, unit="h")
    return capacity_ha_h * hours_day


@worked(formula="area_ha / days", source="isu-a3-25-2014", where="area a day must give")
def needed_day_area(area_ha: float, days: float) -> float:
    """Hectares a workable day has to give.

    Parameters
    ----------
    area_ha : float
        Area left. [ha]
    days : float
        Workable days. [d]

    Returns
    -------
    float
        Area. [ha/d]

    Raises
    ------
    RangeError
        If the area is below 0 or the days are not above 0.
    """
    require_range("area_ha", area_ha, 0, math.inf, high_open=True, unit="ha")
    require_range("days", days, 0, math.inf, low_open=True, high_open=True, unit="d")
    return area_ha / days


@worked(formula="days * share", source="definition")
def suitable_days(days: float, share: float) -> float:
    """Workable days to expect.

    Parameters
    ----------
    days : float
        Calendar days. [d]
    share : float
        Share of days on which the work can be done. [-]

    Returns
    -------
    float
        Days. [d]

    Raises
    ------
    RangeError
        If the days are below 0 or the share is outside 0 to 1.
    """
    require_range("days", days, 0, math.inf, high_open=True, unit="d")
    require_range("share", share, 0, 1)
    return days * share


def deadline(
    area_left_ha: float, day_ha: Est | float, days_left: int, share: float, *, year_sd: float = 0.0, look_days: int = 400
) -> Deadline:
    """Hectares left per workable day against a date, and the chance to be done by it.

    Parameters
    ----------
    area_left_ha : float
        Area left. [ha]
    day_ha : Est or float
        What a workable day gives, with its sd from day to day's plan, not its luck. [ha/d]
    days_left : int
        Calendar days to the date, today and that day included; 0 once it has passed. [d]
    share : float
        Share of days on which the work can be done: typed, or of a published place chosen by name. [-]
    year_sd : float
        How that share differs between years; 0 leaves the luck of single days only, which is too sure. [-]
    look_days : int
        How far ahead to look for the day it is done. [d]

    Returns
    -------
    Deadline
        Days needed, hectares a day short or to spare, the chance, and early, middle and late day. [units in the field names]

    Raises
    ------
    RangeError
        If a number is out of range.

    Examples
    --------
    600 ha left, 60 ha a workable day, 14 days at 50 %: 26 ha a day short.

    >>> round(deadline(600, 60, 14, 0.5).short_day_ha, 1)
    25.7
    """
    day = day_ha if isinstance(day_ha, Est) else Est(value=float(day_ha))
    require_range("area_left_ha", area_left_ha, 0, math.inf, high_open=True, unit="ha")
    require_range("day_ha", day.value, 0, math.inf, low_open=True, high_open=True, unit="ha/d")
    require_range("days_left", days_left, 0, 3650, unit="d")
    require_range("look_days", look_days, 1, 3650, unit="d")
    require_share(share, year_sd)
    expected = suitable_days(days_left, share)
    needed = needed_day_area(area_left_ha, expected) if expected > 0 else None
    done = _done_by(area_left_ha, day, share, year_sd, max(look_days, int(days_left)))
    return Deadline(
        area_left_ha=area_left_ha,
        day_ha=day.value,
        days_left=int(days_left),
        days_expected=expected,
        days_needed=_whole_days(area_left_ha, day.value),
        needed_day_ha=needed,
        short_day_ha=None if needed is None else needed - day.value,
        undone_ha=max(area_left_ha - expected * day.value, 0.0),
        chance=float(done[int(days_left)]),
        early_day=_first(done, _EARLY),
        middle_day=_first(done, 0.5),
        late_day=_first(done, _LATE),
        note="" if year_sd > 0 else "Single days by luck only: years differ more than that, so the chance looks surer than it is.",
    )


def _whole_days(area_ha: float, day_ha: float) -> int:
    return math.ceil(area_ha / day_ha - 1e-9)


def _done_by(area_ha: float, day: Est, share: float, year_sd: float, look_days: int) -> FloatArray:
    """Chance of being done by the end of each calendar day, 0 to look_days."""
    days = np.arange(look_days + 1)
    needed: dict[int, float] = {}
    for value in _likely(day):
        whole = _whole_days(area_ha, value)
        needed[whole] = needed.get(whole, 0.0) + 1.0
    total = sum(needed.values())
    out = np.zeros(days.shape)
    for whole, weight in needed.items():
        out += weight / total * reach_by(whole, days, share, year_sd)
    return out


def _likely(day: Est) -> list[float]:
    """Equally likely values of a positive quantity: log-normal with that mean and sd."""
    if day.sd == 0:
        return [day.value]
    from scipy.special import ndtri

    sigma = math.sqrt(math.log1p((day.sd / day.value) ** 2))
    middle = math.log(day.value) - sigma**2 / 2
    return [math.exp(middle + sigma * float(ndtri((i + 0.5) / _NODES))) for i in range(_NODES)]


def _first(done: FloatArray, chance: float) -> int | None:
    reached = np.flatnonzero(done >= chance - 1e-12)
    return int(reached[0]) if reached.size else None


def days_until(today: date, by: date) -> int:
    """Calendar days from today to a date, both counted; 0 once it has passed.

    Working: by - today + 1 days; 0 once past.

    Parameters
    ----------
    today, by : date
        First and last day. [-]

    Returns
    -------
    int
        Days. [d]

    References
    ----------
    definition: difference of two dates, both counted.
    """
    return max((by - today).days + 1, 0)


def day_date(today: date, day: int | None) -> date | None:
    """The date of a calendar day counted from today.

    Parameters
    ----------
    today : date
        Day 1. [-]
    day : int or None
        As in `Deadline`; 0 stands for today, there is nothing left to do. [d]

    Returns
    -------
    date or None
        None where no day is known. [-]
    """
    return None if day is None else today + timedelta(days=max(day - 1, 0))
