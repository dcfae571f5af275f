"""What is to be expected for a job."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from evenstand.base.estimate import Est
from evenstand.base.units import QUANTITIES
from evenstand.base.worked import Working
from evenstand.model.place import Drive

LineState = Literal["known", "typed", "needs"]
LineRole = Literal["set", "alarm", "expect", "limit", "know"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine:
    """One line of the value card: a value, or what it still needs and how to get it.

    group: "job", "time", "bin", "travel", "width", "fan", "head", "stand", "row", "keep"; bin: letter or "".
    role: "set" is typed into the cab, "alarm" is a limit typed there, "expect" is what to see, "limit" must not be passed, "know" the
    rest.
    quantity: key of base.units.QUANTITIES; value, sd, low, high in its metric unit; None where not known. text: the answer of a line
    that is no number, such as a roller's name. needs: what is missing, in words; how: how to get it; basis, source: how the value is
    known and from where, a key of the sources where there is one; stale: what makes the value stale; stale_now: why it already is;
    more: what else is to be known, in sentences, for whoever opens the working; over: a limit that
    is passed; set_by: who set it; yours: what the owner's display
    calls it, free text; working: the calculation laid open, if there is one.
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
    role: LineRole = "know"
    sd: float | None = None
    source: str = ""
    text: str = ""
    stale_now: str = ""
    more: tuple[str, ...] = ()
    over: bool = False

    @property
    def unit(self) -> str:
        """The metric unit of value, sd, low and high; "" for a text. [-]"""
        return "" if self.text and self.value is None else QUANTITIES[self.quantity].metric


@dataclass(frozen=True, slots=True, kw_only=True)
class BinPlan:
    """One bin in the plan. Rates kg/ha, masses kg, speeds turns/s, areas ha; None where not known.

    shaft: what the meter should turn at the working speed; standing_kg_turn: product per turn with the spread that a standing catch
    has to agree with [kg/turn]; rate_low/high_kg_ha: what it doses evenly at that speed; second_rate_kg_ha: its part of the rate the cab
    can switch to; share: its part of the product over the job [-]; in_turn: it carries the whole rate while it is on, after or before the
    product's other bins; how: how the product per turn is known, in words; stale_now: why it no longer holds; sources: all of its
    sources, best first, stale ones named.
    """

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
    shaft: Est | None = None
    standing_kg_turn: Est | None = None
    rate_low_kg_ha: float | None = None
    rate_high_kg_ha: float | None = None
    second_rate_kg_ha: float | None = None
    share: float = 1.0
    in_turn: bool = False
    how: str = ""
    stale_now: str = ""
    sources: tuple[str, ...] = ()


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
    """Fertilizer in one place in the soil against its guideline. asked and limit as nutrient [kg/ha]; limit None: not published for this
    case; high_kg_ha: upper end of a printed range [kg/ha]; placement: "seed-row", "side-band", "mid-row"; state: "within", "over",
    "not-published", "cannot-tell"; source: key; changes: what one product alone would have to come down to, in words."""

    nutrient: str
    asked_kg_ha: float
    limit_kg_ha: float | None
    sbu: float | None
    guideline: str
    note: str
    ok: bool | None
    placement: str = "seed-row"
    state: str = ""
    source: str = ""
    high_kg_ha: float | None = None
    changes: tuple[str, ...] = ()


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
