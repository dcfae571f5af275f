"""What the readings say, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from evenstand.base.estimate import Est

State = Literal["holds", "doubtful", "does-not-hold", "cannot-tell"]
STATES: tuple[State, ...] = ("holds", "doubtful", "does-not-hold", "cannot-tell")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where and since when: pass, seconds from the start, frame metres; None where not known."""

    since_pass: int | None = None
    since_s: float | None = None
    until_s: float | None = None
    area_ha: float | None = None
    runs: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One claim about the numbers.

    claim: a plain sentence; suspects: sets of causes that would each explain it, likeliest first, every set a class that the
    readings cannot split further; size: of the first suspect, as a share (0.05 is
    5 %) or in kg for fills; size_unit "%", "kg", "m" or "ratio";
    settle_by: the one reading that would settle it; worth_stopping: None where not judged; not_claimed: what this must not be taken for.
    """

    claim: str
    state: State
    suspects: tuple[tuple[str, ...], ...] = ()
    size: Est | None = None
    size_unit: str = "%"
    place: Place = field(default_factory=Place)
    evidence: tuple[str, ...] = ()
    settle_by: str = ""
    worth_stopping: bool | None = None
    confirm_by: str = ""
    not_claimed: str = ""
    about: str = ""
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What waiting costs: kilograms and hectares at stake, money where a price is known, else None."""

    kg: float | None = None
    ha: float | None = None
    money: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """A number that stands in the text of a step: its quantity in `base.units`, "clock" for minutes since midnight UTC, "day" for a
    day by its ordinal, "count" for a whole number, "money" for an amount at the owner's prices; value metric."""

    quantity: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One line of the Next list. key: stable, so that it closes and reopens; rank: higher is more urgent; job: its key, and where:
    how a person calls it; by_word: nothing that is entered shows that it is done, so that somebody says so; stated: the numbers in its
    texts that were computed or shown in other units."""

    key: str
    do: str
    because: str
    cost_of_waiting: Cost
    confirm_by: str
    closes_when: str
    family: str
    rank: float = 0.0
    about: str = ""
    evidence: tuple[str, ...] = ()
    job: str = ""
    where: str = ""
    by_word: bool = False
    stated: tuple[Stated, ...] = ()
