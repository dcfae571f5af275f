"""The clock is handed in, so that calculations and tests never ask the machine what time it is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """Anything that knows the time in UTC."""

    def now(self) -> datetime:
        """The time now, with its zone (UTC)."""


class SystemClock:
    """The machine's clock."""

    def now(self) -> datetime:
        """The time now. [UTC]"""
        return datetime.now(UTC)


class FixedClock:
    """A clock for tests, demos and replays: it moves only when told to."""

    def __init__(self, at: datetime) -> None:
        self._at = at

    def now(self) -> datetime:
        """The time it was set to. [UTC]"""
        return self._at

    def advance(self, **kwargs: float) -> None:
        """Move by a `timedelta` given in its own keywords."""
        self._at += timedelta(**kwargs)


def iso(at: datetime) -> str:
    """A time as ISO 8601 in UTC with milliseconds, e.g. 2027-05-04T11:20:00.000Z."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.") + f"{at.microsecond // 1000:03d}Z"
