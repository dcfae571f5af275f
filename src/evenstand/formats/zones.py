"""Local times and UTC: offsets such as -06:00, and named zones with their daylight saving."""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np

from evenstand.base.errors import InputError
from evenstand.model.place import FloatArray

_OFFSET = re.compile(r"^([+-])(\d{1,2}):?(\d{2})$")
_NAME = re.compile(r"^[A-Za-z]+(?:[/_+-][A-Za-z0-9_+-]+)+$")
NO_OFFSET = ("", "Z", "UTC")


def zone_offset_ms(zone: str, *, where: str = "zone") -> int:
    """Offset from UTC of "-06:00", "+0930" or "Z". [ms]

    Raises
    ------
    InputError
        If it is no offset.
    """
    if zone in NO_OFFSET:
        return 0
    m = _OFFSET.match(zone)
    if m is None or int(m[2]) > 14 or int(m[3]) > 59:
        cure = "Write it as -06:00, or name a zone such as America/Regina."
        raise InputError(f"'{zone}' is no offset from UTC", where=where, cure=cure)
    return (1 if m[1] == "+" else -1) * (int(m[2]) * 60 + int(m[3])) * 60_000


def is_named(zone: str) -> bool:
    """Whether a zone is a name, such as Europe/Vienna, whose offset changes with the season. [-]"""
    return bool(_NAME.match(zone)) and zone not in NO_OFFSET


@lru_cache(maxsize=64)
def _exists(zone: str) -> bool:
    import polars as pl

    try:
        pl.Series([0]).cast(pl.Datetime("ms")).dt.replace_time_zone(zone)
    except pl.exceptions.PolarsError:
        return False
    return True


def check_zone(zone: str, *, where: str = "zone") -> None:
    """Raise `InputError` if a zone is neither an offset nor the name of one."""
    if not is_named(zone):
        zone_offset_ms(zone, where=where)
    elif not _exists(zone):
        raise InputError(f"'{zone}' is no offset from UTC, and no zone has that name", where=where, cure="Write it as -06:00.")


def utc_ms(local_ms: FloatArray, zone: str) -> FloatArray:
    """UTC of local times; of an hour that comes twice the first is taken, and one that was skipped is read by the offset before it. [ms]

    Parameters
    ----------
    local_ms : array (n,)
        Local times, as if they were UTC; not-a-number stays so. [ms]
    zone : str
        An offset or the name of a zone. [-]

    Raises
    ------
    InputError
        If it is neither.
    """
    if not is_named(zone):
        return np.asarray(local_ms - zone_offset_ms(zone))
    check_zone(zone)
    return np.asarray(local_ms - _offsets(local_ms, zone, "earliest"))


def comes_twice(local_ms: FloatArray, zone: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which local times come twice in a named zone, as its clocks are put back. [-]"""
    if not is_named(zone):
        return np.zeros(local_ms.size, dtype=np.bool_)
    return np.asarray(_offsets(local_ms, zone, "earliest") != _offsets(local_ms, zone, "latest"))


def _offsets(local_ms: FloatArray, zone: str, which: str) -> FloatArray:
    """Offset of each local time. [ms]"""
    import polars as pl

    good = np.isfinite(local_ms) & (np.abs(local_ms) < 4e12)
    whole = np.where(good, local_ms, 0.0).astype(np.int64)
    times = pl.Series(whole).cast(pl.Datetime("ms"))
    zoned = times.dt.replace_time_zone(zone, ambiguous=which, non_existent="null")  # type: ignore[arg-type]
    utc = zoned.dt.convert_time_zone("UTC").dt.replace_time_zone(None).cast(pl.Int64)
    offset = (pl.Series(whole) - utc).to_numpy().astype(np.float64)
    missing = np.flatnonzero(~np.isfinite(offset))
    if missing.size:  # a local time that clocks skip: by the offset of an hour before
        offset[missing] = _offsets(local_ms[missing] - 3_600_000.0, zone, which)
    return offset
