"""How long treated or inoculated seed may wait: the label's hours against the hectares that can still be sown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from evenstand.base.errors import InputError, require_range

ClockState = Literal["in-time", "short", "past", "cannot-tell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TreatClock:
    """How long treated seed may still wait. due: ISO time, "" without a label figure; hours_left: below 0 once past [h];
    sowable_kg: what can be sown until then [kg]; late_kg: what would be left over then [kg]; each None where not known."""

    state: ClockState
    due: str
    hours_left: float | None
    sowable_kg: float | None
    late_kg: float | None
    note: str


def plant_before(
    treated_at: str,
    now: str,
    label_hours: float | None,
    *,
    left_kg: float | None = None,
    rate_kg_ha: float | None = None,
    capacity_ha_h: float | None = None,
    working_share: float | None = None,
) -> TreatClock:
    """The clock of treated or inoculated seed, by the hours typed from its label.

    Parameters
    ----------
    treated_at, now : str
        ISO times, both with or both without a zone. [-]
    label_hours : float or None
        Hours the label allows between treating and planting; None if not typed. [h]
    left_kg : float or None
        Treated seed on hand. [kg]
    rate_kg_ha : float or None
        Its rate. [kg/ha]
    capacity_ha_h : float or None
        Hectares an hour with stops. [ha/h]
    working_share : float or None
        Share of the hours to come in which seeding goes on; None is not known, and the answer is for working round the clock. [-]

    Returns
    -------
    TreatClock
        "past": do not rely on it, ask the label; "short": it cannot all be sown in time; "in-time"; "cannot-tell" without a label
        figure. [h]

    Raises
    ------
    InputError
        If a time is not understood.
    RangeError
        If a number is outside its range.

    References
    ----------
    definition: hours typed from the label less hours gone by; hours of work x capacity x rate.

    Examples
    --------
    >>> c = plant_before("2026-05-04T21:00", "2026-05-05T06:00", 24, left_kg=9000, rate_kg_ha=120, capacity_ha_h=8, working_share=0.5)
    >>> c.hours_left, c.sowable_kg, c.late_kg, c.state
    (15.0, 7200.0, 1800.0, 'short')
    """
    start, here = _time("treated_at", treated_at), _time("now", now)
    if (start.tzinfo is None) != (here.tzinfo is None):
        raise InputError("one time has a zone, the other has none", where="treated_at, now", cure="Give both the same way.")
    if label_hours is None:
        note = "Type the hours that the label allows."
        return TreatClock(state="cannot-tell", due="", hours_left=None, sowable_kg=None, late_kg=None, note=note)
    require_range("label_hours", label_hours, 0, unit="h")
    due = start + timedelta(hours=label_hours)
    left = (due - here) / timedelta(hours=1)
    sowable = late = None
    note = "As typed from the label, which goes before this clock."
    if rate_kg_ha is not None and capacity_ha_h is not None:
        require_range("rate_kg_ha", rate_kg_ha, 0, low_open=True, unit="kg/ha")
        require_range("capacity_ha_h", capacity_ha_h, 0, unit="ha/h")
        if working_share is not None:
            require_range("working_share", working_share, 0, 1)
        else:
            note += " Reckoned as if work went on round the clock."
        sowable = max(left, 0.0) * (1.0 if working_share is None else working_share) * capacity_ha_h * rate_kg_ha
    if left_kg is not None:
        require_range("left_kg", left_kg, 0, unit="kg")
        late = max(left_kg - sowable, 0.0) if sowable is not None else None
    state: ClockState = "past" if left < 0 else "short" if late else "in-time"
    if state == "past":
        note += " Past: sow it only if the label allows, and inoculate again if it says so."
    return TreatClock(state=state, due=due.isoformat(timespec="minutes"), hours_left=left, sowable_kg=sowable, late_kg=late, note=note)


def _time(name: str, text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"'{text}' is no time", where=name, cure="Write it like 2026-05-04T21:00.") from None
