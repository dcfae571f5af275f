"""What a person or a machine has read, with its provenance, and events in time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

EventKind = Literal["fill", "low-light", "run-empty", "weighed", "level", "turns", "start", "stop"]
Nature = Literal["witness", "echo"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened at a bin. value and sd: kilograms, or turns for "turns"; at_s: seconds from the start of the job."""

    at_s: float
    bin: str
    kind: EventKind
    value: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One number that was read. quantity: a key of the table in `docs/nomenclature.md`, with the bin behind a colon where it has one.

    value, sd: in the quantity's metric unit. derived_from: the typed values and sensors it repeats ("F:A", "W", "V", "turns:A");
    empty for a witness that knows something by itself. at: ISO time or "".
    """

    quantity: str
    value: float
    sd: float
    at: str = ""
    instrument: str = ""
    derived_from: tuple[str, ...] = ()

    @property
    def nature(self) -> Nature:
        """A witness knows something by itself; an echo repeats typed values and shared sensors."""
        return "echo" if self.derived_from else "witness"
