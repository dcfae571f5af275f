"""Every error the project raises on purpose.

    EvenstandError
    ├── InputError              what was given is wrong; exit code 2
    │   ├── RangeError          a number outside its range
    │   ├── UnitError           an unknown unit, or a unit of another quantity
    │   ├── FileError           a file that cannot be read as what it claims to be
    │   │   ├── ColumnError     a column that is missing, doubled or not understood
    │   │   └── CrsError        positions whose coordinate system is unknown or unfit
    │   ├── GeometryError       an outline that is no field
    │   └── MissingError        something is needed that is not known yet
    ├── BookError               the book refuses; exit code 2
    │   ├── LockedError         another process writes
    │   ├── ConflictError       the row has moved since it was read
    │   └── VersionError        a book from a newer release, or damaged
    └── InfeasibleError         no answer exists; names the limits that conflict

Each says where, what, the limit, and what to do. A file's faults are gathered before the error is raised.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is wrong.

    where: the file, row, field or argument. what: the value found and what is wrong with it.
    limit: the bound or the kind expected ("" if the text says it). cure: what to do.
    """

    where: str
    what: str
    limit: str = ""
    cure: str = ""

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        if self.limit:
            text += f" ({self.limit})"
        text = text.rstrip(".") + "."
        return f"{text} {self.cure}" if self.cure else text

    def to_dict(self) -> dict[str, str]:
        """The fault as plain data."""
        return {"where": self.where, "what": self.what, "limit": self.limit, "cure": self.cure}


class EvenstandError(Exception):
    """An error with one or more faults. `str()` gives one line a fault."""

    exit_code = 2

    def __init__(self, what: str | Sequence[Fault], *, where: str = "", limit: str = "", cure: str = "") -> None:
        if isinstance(what, str):
            self.faults: tuple[Fault, ...] = (Fault(where=where, what=what, limit=limit, cure=cure),)
        else:
            self.faults = tuple(what)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def to_dict(self) -> dict[str, object]:
        """The one error shape of command, JSON and page."""
        return {"error": type(self).__name__, "faults": [fault.to_dict() for fault in self.faults]}


class InputError(EvenstandError):
    """What was given is wrong."""


class RangeError(InputError, ValueError):
    """A number outside its range."""


class UnitError(InputError, ValueError):
    """An unknown unit, or one that measures something else."""


class FileError(InputError):
    """A file that cannot be read as what it claims to be."""


class ColumnError(FileError):
    """A column that is missing, doubled or not understood."""


class CrsError(FileError):
    """Positions whose coordinate system is unknown, or unfit for areas and distances."""


class GeometryError(InputError):
    """An outline that is no field."""


class MissingError(InputError):
    """Something is needed that is not known yet."""


class BookError(EvenstandError):
    """The book refuses."""


class LockedError(BookError):
    """Another process holds the book for writing."""


class ConflictError(BookError):
    """The row has changed since it was read."""


class VersionError(BookError):
    """A book of a newer release, or one that is damaged."""


class InfeasibleError(EvenstandError):
    """No answer exists; the faults name the limits that conflict."""


def require_range(
    name: str,
    value: float,
    low: float | None = None,
    high: float | None = None,
    *,
    low_open: bool = False,
    high_open: bool = False,
    unit: str = "",
) -> None:
    """Raise `RangeError` unless `value` is a number within low..high.

    Parameters
    ----------
    name : str
        Name of the argument, as the caller wrote it. [-]
    value : float
        The number to check; not-a-number never passes. [unit]
    low, high : float or None
        Bounds, included unless the matching `_open` is set. [unit]
    low_open, high_open : bool
        Exclude the bound itself. [-]
    unit : str
        Shown behind the value. [-]

    Raises
    ------
    RangeError
        Naming the argument, its value and the range.
    """
    below = low is not None and (value <= low if low_open else value < low)
    above = high is not None and (value >= high if high_open else value > high)
    if value == value and not below and not above:  # not-a-number differs from itself
        return
    shown = f"{value:g} {unit}".rstrip()
    left = "" if low is None else f"{low:g} {'<' if low_open else '<='} "
    right = "" if high is None else f" {'<' if high_open else '<='} {high:g}"
    raise RangeError(f"{shown} is out of range", where=name, limit=f"{left}{name}{right}", cure="Correct the value.")
