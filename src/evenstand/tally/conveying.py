"""Mass put in by the time a conveyor ran: its delivery from fills that were weighed, and what minutes at it give."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import RangeError, require_range
from evenstand.base.estimate import Est
from evenstand.reference import fill_sd
from evenstand.solve.repeats import mean_of_repeats

_LONGEST_S = 6 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ConveyorRun:
    """A run of the conveyor whose product was weighed. seconds it ran [s]; put_kg, put_sd_kg weighed [kg]."""

    seconds: float
    put_kg: float
    put_sd_kg: float


def conveyor_delivery(runs: Sequence[ConveyorRun]) -> Est:
    """Delivery of a conveyor from runs that were weighed, with the spread to be expected of the *next* run.

    How evenly a conveyor delivers is believed to be as in common practice at first, and learned from the runs as they come in.

    Parameters
    ----------
    runs : sequence of ConveyorRun
        At least one, of one product. [s, kg]

    Returns
    -------
    Est
        Delivery; its sd is that of a single run to come, not that of the mean. [kg/s]

    Raises
    ------
    RangeError
        Without a run, or if a time or a mass is not above 0.

    References
    ----------
    definition: mass over time; a new value's variance is that of one value and that of the mean together.
    """
    if not runs:
        raise RangeError("no weighed run of the conveyor is given", where="runs", cure="Weigh one load and note the minutes.")
    for run in runs:
        require_range("minutes", run.seconds, 0, _LONGEST_S, low_open=True, unit="s")
        require_range("put", run.put_kg, 0, math.inf, low_open=True, high_open=True, unit="kg")
    each = [run.put_kg / run.seconds for run in runs]
    weighing = math.sqrt(sum((run.put_sd_kg / run.seconds) ** 2 for run in runs) / len(runs))
    found = mean_of_repeats(each, prior_cv=fill_sd("conveyor", 1.0), own_sd=weighing)
    return Est(value=found.mean, sd=math.hypot(found.sd_each, found.sd), basis="measured", source="weighed conveyor runs")


def conveyor_mass(seconds: float, delivery: Est) -> Est:
    """What a conveyor put in while it ran.

    Parameters
    ----------
    seconds : float
        It ran. [s]
    delivery : Est
        As learned, or as typed; a typed one without a spread is held to be as good as common practice says. [kg/s]

    Returns
    -------
    Est
        Mass with its standard deviation. [kg]

    Raises
    ------
    RangeError
        If the time or the delivery is not above 0, or it ran longer than six hours.

    References
    ----------
    definition: delivery times time.
    """
    require_range("minutes", seconds, 0, _LONGEST_S, low_open=True, unit="s")
    require_range("delivery", delivery.value, 0, math.inf, low_open=True, high_open=True, unit="kg/s")
    mass = delivery.value * seconds
    sd = delivery.sd * seconds if delivery.sd > 0 else fill_sd("conveyor", mass)
    return Est(value=mass, sd=sd, basis="computed", source="conveyor's time")
