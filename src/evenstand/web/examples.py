"""Examples of every piece: shown on /-/components and used as fixtures. All values are invented."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from evenstand.base.estimate import Est
from evenstand.base.worked import Working
from evenstand.model import CardLine, Cost, Finding, Step
from evenstand.web.forms import Field, Typed


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """One example: the macro in parts.html, a name, and what it is called with."""

    macro: str
    name: str
    args: tuple[Any, ...] = ()
    kwargs: dict[str, Any] = field(default_factory=dict)


_WORKING = Working(
    name="meter_speed",
    formula="rate_kg_ha * speed_m_s * width_m / 10000 / factor_kg_rev",
    inputs=(("rate_kg_ha", 120.0),),
    substituted="120 * 2.08 * 16.3 / 10000 / 1.25",
    result=0.32600,
    source="definition",
    where="",
)
_KNOWN = CardLine(
    key="shaft:A",
    group="bin",
    label="Meter speed to expect",
    quantity="shaft",
    state="known",
    value=0.326,
    bin="A",
    why="At the working speed.",
    stale="another rate",
    working=_WORKING,
)
_BAND = CardLine(
    key="catch:A",
    group="bin",
    label="Catch, 4 turns",
    quantity="catch",
    state="known",
    value=5.0,
    low=4.83,
    high=5.17,
    bin="A",
    why="Product only: take the bag off.",
)
_NEEDS = CardLine(
    key="fan",
    group="fan",
    label="Fan speed, proven",
    quantity="fan",
    state="needs",
    needs=("a proven fan speed",),
    how="With product flowing at the highest rate, find the speed at which every opener blows evenly.",
)
_FINDINGS = (
    Finding(claim="Bin A put down 1 % more than asked, inside the 4 % that these readings can tell.", state="holds", about="bin A"),
    Finding(
        claim="Bin A gives 6 % more per turn than typed.",
        state="does-not-hold",
        suspects=(("factor:A",), ("fill-missed:A",)),
        size=Est(value=0.06, sd=0.01),
        settle_by="Catch bin A again.",
        worth_stopping=True,
        evidence=("Fills against hectares: +6 %.",),
        not_claimed="that the kilograms sown are right because actual equals target",
        about="bin A",
    ),
    Finding(
        claim="One fill judged by eye cannot show 2 %.",
        state="cannot-tell",
        settle_by="Run bin A to its low-level light, or weigh a fill.",
        worth_stopping=None,
        about="fill check",
    ),
    Finding(
        claim="The area counter reads 3 % above the outline.", state="doubtful", suspects=(("overlap", "width", "distance"),), about="area"
    ),
)
_STEP = Step(
    key="catch:A",
    do="Catch test on bin A with wheat.",
    because="The last catch was with another lot, and lots differ.",
    cost_of_waiting=Cost(kg=180, ha=40, money=72, text="180 kg misplaced over 40 ha, worth 72 at your prices."),
    confirm_by="Enter the weight.",
    closes_when="a catch with the lot in use is entered",
    family="proving",
)
_FIELDS = (
    Field(name="area", label="Hectares since the last fill", quantity="area", required=True),
    Field(name="put", label="What went in", quantity="mass", hint="From the ticket, the scale or the tote.", required=True),
    Field(name="how", label="How that is known", choices=(("ticket", "Ticket"), ("glance", "A glance"))),
    Field(name="note", label="Note", kind="area"),
)
_CLEAN = Typed(fields=_FIELDS, profile="si", values={"area": "33"})
_FAULTY = Typed(fields=_FIELDS, profile="si", values={"area": "x"}, faults={"area": "Hectares since the last fill: 'x' has no number."})

EXAMPLES: tuple[Example, ...] = (
    Example(macro="num", name="a number with its band", args=(120.0, "rate"), kwargs={"low": 117.0, "high": 123.0}),
    Example(macro="num", name="a number not known", args=(None, "rate")),
    Example(macro="working", name="the working of a number", args=(_WORKING,)),
    Example(macro="card_table", name="lines of the value card", args=((_KNOWN, _BAND, _NEEDS), "Bin A, wheat")),
    *(Example(macro="finding", name=f"a finding: {f.state}", args=(f,)) for f in _FINDINGS),
    Example(macro="steps", name="a line of the Next list", args=((_STEP,),)),
    Example(
        macro="answer",
        name="an answer in one sentence",
        args=("2 % light, inside what one ticket can tell.", "holds", "between 6 % light and 2 % heavy"),
    ),
    Example(macro="error_summary", name="what was wrong with a form", args=(_FAULTY,)),
    Example(macro="fields", name="fields of a form", args=(_CLEAN,)),
    Example(macro="empty", name="nothing here yet", args=("No loads yet.", "/shed", "Enter the first load")),
    Example(macro="table", name="a table", args=("Loads", ("Product", "Mass"), (("Wheat", "4.00 t"), ("Urea", "8.20 t")), (1,))),
)
