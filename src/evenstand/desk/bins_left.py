"""What is left in a bin, as far as what was entered can tell."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from evenstand.model import BinPlan, Fill, Reading
from evenstand.reference import default
from evenstand.tally.remaining import remaining_mass

_SEEN = {"glance": "seen by eye", "weighed": "weighed", "low-light": "by the low-level light"}


def left_in_bin(
    b: BinPlan, fills: Sequence[Fill], latest: Mapping[str, Reading], done_ha: float | None
) -> tuple[float | None, float | None, str]:
    """The newest look into a bin; without one, the last fill less rate times hectares since.

    Parameters
    ----------
    b : BinPlan
        The bin and its rate. [kg/ha]
    fills : sequence of Fill
        Of the job. [kg]
    latest : mapping
        Newest reading by quantity. [metric]
    done_ha : float or None
        Sown so far. [ha]

    Returns
    -------
    tuple
        Mass, its standard deviation, and what it rests on; None where it cannot be told. [kg, kg, text]
    """
    mine = [f for f in fills if f.bin == b.bin and f.area_ha is not None]
    level, counter = latest.get(f"level:{b.bin}"), latest.get("area_counter")
    if level is not None and counter is not None and level.at >= max((f.at for f in mine), default="") and level.at >= counter.at[:16]:
        return level.value, level.sd, _SEEN.get(level.instrument, "read")
    if not mine or done_ha is None:
        return None, None, "no fill with the area counter is on record"
    last = max(mine, key=lambda f: (f.area_ha or 0.0, f.at))
    before = last.level_before_kg or 0.0
    area = max(0.0, done_ha - (last.area_ha or 0.0))
    left = remaining_mass(before, last.put_kg, b.rate_kg_ha, area)
    used = b.rate_kg_ha * area * default("factor-in-a-day").high
    sd = math.sqrt(last.put_sd_kg**2 + (last.level_before_sd_kg or 0.0) ** 2 + used**2)
    how = "last fill less the rate times the area since"
    return max(0.0, left), sd, how if left >= 0 else f"{how}: it should be empty"
