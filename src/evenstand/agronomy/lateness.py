"""Seeding late: how the rate is raised and what a day costs, by the publisher that says so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from evenstand.agronomy.crops import find_crop
from evenstand.base.errors import InputError, require_range
from evenstand.reference import Figure, table


@dataclass(frozen=True, slots=True, kw_only=True)
class LateSeeding:
    """Seeding some days after the optimum, by one publisher.

    day_on_day_m2: seeds raised by a share of the day before, always_of_first_m2: by a share of the first rate [seeds/m²]; the source does
    not say which it means, so both are given, and they part slowly. cap_m2: most it allows [seeds/m²]; capped: whether the cap cuts in
    on either. loss: share of the yield lost by then, counted straight [-], loss_day_on_day: the same compounded [-]; both None where
    nothing is published for the crop. source: its key; note: what it leaves open, in words.
    """

    publisher: str
    source: str
    days_late: float
    day_on_day_m2: float | None
    always_of_first_m2: float | None
    cap_m2: float | None
    capped: bool
    loss: float | None
    loss_day_on_day: float | None
    note: str


def late_publishers() -> tuple[str, ...]:
    """Publishers of figures on late seeding.

    Returns
    -------
    tuple of str
        Their keys. [-]
    """
    return tuple(table("lateness"))


def late_seeding(crop: str, days_late: float, seeds_m2: float | None = None, *, publisher: str = "ndsu") -> LateSeeding:
    """Rate and loss when a crop goes in late.

    Parameters
    ----------
    crop : str
        As `find_crop` takes it. [-]
    days_late : float
        Days after the optimum of that publisher. [d]
    seeds_m2 : float or None
        Seeds that would be sown in time. [seeds/m²]
    publisher : str
        Key from `late_publishers()`. [-]

    Returns
    -------
    LateSeeding
        None for whatever that publisher does not give for the crop. [seeds/m², -]

    Raises
    ------
    InputError
        If the publisher is unknown.
    RangeError
        If days_late is negative or seeds_m2 is not above zero.

    References
    ----------
    North Dakota State University Extension, small grains: wheat 1.5, barley 1.7, oats 1.2 % of the yield a day; 1 % more seed a
    day up to 1.6 million seeds an acre.

    Examples
    --------
    >>> late = late_seeding("wheat", 10, 300)
    >>> round(late.always_of_first_m2, 1), round(late.day_on_day_m2, 1), round(late.loss, 3)
    (330.0, 331.4, 0.15)
    """
    require_range("days_late", days_late, 0, unit="d")
    sheet = _sheet(publisher)
    key = find_crop(crop)
    losses = sheet.get("loss", {})
    rate = losses.get(key) if key else None
    day = rate.value if isinstance(rate, Figure) else None
    raised = sheet.get("raise") if day is not None else None
    linear = compound = cap = None
    if seeds_m2 is not None:
        require_range("seeds_m2", seeds_m2, 0, low_open=True, unit="seeds/m²")
        if isinstance(raised, Figure):
            linear, compound = seeds_m2 * (1 + raised.value * days_late), seeds_m2 * (1 + raised.value) ** days_late
            cap = max(sheet["cap"].metric("seeds_area")[0], seeds_m2)
    return LateSeeding(
        publisher=sheet["publisher"],
        source=sheet["source"],
        days_late=days_late,
        day_on_day_m2=None if compound is None or cap is None else min(compound, cap),
        always_of_first_m2=None if linear is None or cap is None else min(linear, cap),
        cap_m2=None if cap is None else sheet["cap"].metric("seeds_area")[0],
        capped=bool(cap is not None and compound is not None and compound > cap),
        loss=None if day is None else min(1.0, day * days_late),
        loss_day_on_day=None if day is None else 1 - (1 - day) ** days_late,
        note=_note(crop, sheet, day, cap, seeds_m2),
    )


def start_dates(publisher: str = "ndsu") -> tuple[tuple[str, str], ...]:
    """When seeding should start, in the publisher's own places and weeks.

    Parameters
    ----------
    publisher : str
        Key from `late_publishers()`. [-]

    Returns
    -------
    tuple of (str, str)
        Place or crop, and when; empty where none was read. [-]

    Raises
    ------
    InputError
        If the publisher is unknown.
    """
    return tuple((row["place"], row["when"]) for row in _sheet(publisher).get("start", ()))


def _sheet(publisher: str) -> Mapping[str, Any]:
    if publisher not in late_publishers():
        raise InputError(f"'{publisher}' is no publisher on late seeding", where="publisher", cure=f"Use {', '.join(late_publishers())}.")
    sheet: Mapping[str, Any] = table("lateness")[publisher]
    return sheet


def _note(crop: str, sheet: Mapping[str, Any], day: float | None, cap: float | None, seeds_m2: float | None) -> str:
    """What the publisher leaves open, in words."""
    if day is None:
        return f"Not published for {crop} by {sheet['publisher']}, as far as it was read."
    if cap is not None and seeds_m2 is not None and seeds_m2 >= cap:
        return "The rate in time is at or above the publisher's cap already: it says to raise it no further."
    return (
        "The source does not say whether a day's raise or loss counts of the first figure or of the day before: both are given. "
        "It dates the optimum by region; a loss counts from there."
    )
