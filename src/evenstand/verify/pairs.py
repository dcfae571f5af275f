"""A (public function, source) pair: what a source prints, and what our function says to it.

The tolerance is half the last digit printed, read off the printed text itself: "183" is 183 +- 0.5, "7.7" is
7.7 +- 0.05. A known misprint or short-cut is a *trap*: our value must differ from the print, by exactly the known gap.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from evenstand.base.errors import Fault, InputError

Kind = Literal["formula", "table", "unit"]
Compute = Callable[[], float]

_PRINTED = re.compile(r"^-?(?:\d+(?:\.\d+)?|\.\d+)$")
_ROUNDING = 1e-9  # floating-point dust beside a value, relative


def printed_value(text: str) -> float:
    """The number a source prints, e.g. '183', '7.7', '-28'.

    Raises
    ------
    InputError
        If the text is not a plain decimal number.
    """
    if not _PRINTED.match(text):
        raise InputError(f"'{text}' is no printed number", where="published", cure="Write digits and a point only, such as 16.0.")
    return float(text)


def half_last_digit(text: str) -> float:
    """Half of one unit in the last digit printed: '183' gives 0.5, '7.70' gives 0.005. [unit of the text]"""
    printed_value(text)
    return 0.5 * 10.0 ** -len(text.partition(".")[2])


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One public function held against one case of one source.

    function: "agronomy.seeding_rate". case: the inputs, in words. published: the number as printed; cells: for a table,
    (label, printed, compute) for each value, instead of published and compute. compute: our value, in the printed unit; it must
    look the function up when called (`lambda: agronomy.seeding_rate(...)`). source: key in sources.toml. where: page or table.
    half_digits: the tolerance in half last digits, 1 unless `why` says what else. exact: tolerance 0, for counts and looked-up cells.
    trap: the printed number is known to be wrong. Then either gap: published = ours * (1 + gap) within the printed digits (a
    short-cut), or instead: what the case must give (a misprint); why: what went wrong.
    """

    function: str
    case: str
    unit: str
    source: str
    where: str
    published: str = ""
    compute: Compute | None = None
    cells: tuple[tuple[str, str, Compute], ...] = ()
    kind: Kind = "formula"
    half_digits: float = 1.0
    exact: bool = False
    trap: bool = False
    gap: float | None = None
    instead: str = ""
    why: str = ""

    def __post_init__(self) -> None:
        faults = []
        if bool(self.cells) == (self.compute is not None):
            faults.append("give either published and compute, or cells")
        if self.trap and (self.gap is None) == (not self.instead):
            faults.append("a trap needs either gap or instead")
        if self.trap and self.cells:
            faults.append("a trap is a single printed number")
        if not self.trap and (self.gap is not None or self.instead):
            faults.append("gap and instead belong to traps")
        if (self.half_digits != 1.0 or self.trap) and not self.why:
            faults.append("a wider tolerance or a trap needs its reason in why")
        if faults:
            raise InputError([Fault(where=f"{self.function}: {self.case}", what=fault) for fault in faults])

    def rows(self) -> tuple[tuple[str, str, Compute], ...]:
        """All values of the pair as (label, printed, compute)."""
        if self.compute is None:
            return self.cells
        return (("", self.published, self.compute),)

    def tolerance(self, printed: str) -> float:
        """How far our value may lie from a printed one. [unit of the pair]"""
        dust = _ROUNDING * max(1.0, abs(printed_value(printed)))
        return dust if self.exact else self.half_digits * half_last_digit(printed) + dust


@dataclass(frozen=True, slots=True, kw_only=True)
class Independent:
    """A function held against something that is no published figure: an inverse, a second library, a closed form.

    how: which of these. compute: returns (ours, other), which must agree within `tolerance` (relative, or absolute near zero).
    It never counts as a published pair.
    """

    function: str
    case: str
    how: str
    compute: Callable[[], tuple[float, float]]
    tolerance: float = 1e-9

    def holds(self) -> bool:
        """Whether the two numbers agree."""
        ours, other = self.compute()
        return abs(ours - other) <= self.tolerance * max(1.0, abs(other))
