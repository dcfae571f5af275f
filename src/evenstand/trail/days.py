"""Local days of a trail."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo

import numpy as np

from evenstand.base.errors import RangeError
from evenstand.model.place import IntArray
from evenstand.model.trail import Trail


def days_of(trail: Trail, day_zone: str) -> tuple[tuple[str, ...], IntArray]:
    """Local days a trail touches, as "2027-05-04" in order, and the day of each row (n,) as an index into them. [-]

    Raises
    ------
    RangeError
        If the zone is no offset and no known name.
    """
    zone = zone_of(day_zone)
    if isinstance(zone, timezone):
        local = trail.t_ms + int(zone.utcoffset(None).total_seconds() * 1000)
    else:  # a named zone changes its offset at most on the hour
        hour, back = np.unique(trail.t_ms // 900_000, return_inverse=True)
        offset = np.array([_offset_ms(zone, int(h) * 900_000) for h in hour], dtype=np.int64)
        local = trail.t_ms + offset[back]
    number, index = np.unique(local // 86_400_000, return_inverse=True)
    names = tuple((datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=int(d))).strftime("%Y-%m-%d") for d in number)
    return names, np.asarray(index, dtype=np.int64).reshape(-1)


def zone_of(text: str) -> tzinfo:
    """A zone from an offset such as "-06:00", from "UTC", or from a name.

    Raises
    ------
    RangeError
        If it is none.
    """
    if text.upper() in ("UTC", "Z"):
        return UTC
    found = re.fullmatch(r"([+-])(\d{1,2})(?::?(\d{2}))?", text)
    if found and int(found[2]) <= 14 and int(found[3] or 0) < 60:
        minutes = 60 * int(found[2]) + int(found[3] or 0)
        return timezone(timedelta(minutes=minutes if found[1] == "+" else -minutes))
    try:
        from zoneinfo import ZoneInfo

        return ZoneInfo(text)
    except (OSError, ValueError, KeyError) as error:
        raise RangeError(
            f"'{text}' is no time zone known here", where="day_zone", limit="an offset such as -06:00, or UTC", cure="Give the offset."
        ) from error


def _offset_ms(zone: tzinfo, t_ms: int) -> int:
    offset = datetime.fromtimestamp(t_ms / 1000, tz=zone).utcoffset()
    return int(offset.total_seconds() * 1000) if offset is not None else 0
