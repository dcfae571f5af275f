"""What is to be expected for a job."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from evenstand.base.estimate import Est
from evenstand.base.worked import Working
from evenstand.model.place import Drive

LineState = Literal["known", "typed", "needs"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine:
    """One line of the value card: a value, or what it still needs and how to get it.

    group: "job", "time", "bin", "travel", "width", "fan", "alarm", "stand", "row"; bin: letter or "".
    quantity: key of base.units.QUANTITIES; value, low, high in its metric unit; None where not known.
    needs: what is missing, in words; how: how to get it; stale: what makes the value stale; set_by: who set it.
    yours: what the owner's display calls it, free text. working: the calculation laid open, if there is one.
    """

    key: str
    group: str
    label: str
    quantity: str
    state: LineState
    value: float | None = None
    low: float | None = None
    high: float | None = None
    bin: str = ""
    product: str = ""
    basis: str = ""
    why: str = ""
    needs: tuple[str, ...] = ()
    how: str = ""
    stale: str = ""
    set_by: str = ""
    yours: str = ""
    working: Working | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BinPlan:
    """One bin in the plan. Rates kg/ha, masses kg, speeds turns/s, areas ha; None where not known."""

    bin: str
    product: str
    rate_kg_ha: float
    factor_kg_turn: Est | None = None
    shaft_turns_s: float | None = None
    speed_low_m_s: float | None = None
    speed_high_m_s: float | None = None
    full_kg: Est | None = None
    ha_per_fill: Est | None = None
    need_kg: float | None = None
    catch_turns: float | None = None
    catch_kg: float | None = None
    catch_low_kg: float | None = None
    catch_high_kg: float | None = None
    stream: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A stop to fill, after a pass. latest_pass: the last after which it may be; left_kg: what is in each bin then [kg];
    add_kg: what to put in [kg]; at_ha and at_h: hectares and working hours since the
    start, no hours while no speed is known."""

    after_pass: int
    latest_pass: int
    at_ha: float
    at_h: float | None
    left_kg: dict[str, float]
    add_kg: dict[str, float]
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RowLimit:
    """Fertilizer in the seed row against its guideline. asked and limit as nutrient [kg/ha]; limit None: not published for this case."""

    nutrient: str
    asked_kg_ha: float
    limit_kg_ha: float | None
    sbu: float | None
    guideline: str
    note: str
    ok: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is to be expected: bins, windows, the line to drive, stops, the card. input_hash names what it was made from.

    area_ha [ha]; in_work_ha_h, low/high_ha_h at the stated efficiency range [ha/h]; hours_* [h]; speed_m_s [m/s]; width_m [m];
    proof: how good each optimised part is ("stops proven least", gap).
    """

    job: str
    crop: str
    outfit: str
    field_name: str
    area_ha: float | None
    width_m: float | None
    speed_m_s: float | None
    in_work_ha_h: float | None
    efficiency_low: float | None
    efficiency_high: float | None
    low_ha_h: float | None
    high_ha_h: float | None
    hours_in_work: float | None
    hours_low: float | None
    hours_high: float | None
    bins: tuple[BinPlan, ...] = ()
    total_kg: dict[str, float] = field(default_factory=dict)
    drive: Drive | None = None
    stops: tuple[Stop, ...] = ()
    row_limits: tuple[RowLimit, ...] = ()
    card: tuple[CardLine, ...] = ()
    cautions: tuple[str, ...] = ()
    proof: dict[str, str] = field(default_factory=dict)
    input_hash: str = ""
