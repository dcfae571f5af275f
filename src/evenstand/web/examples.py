"""Examples of every piece: shown on /-/components and used as fixtures. All values are invented."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from markupsafe import Markup

from evenstand.base.estimate import Est
from evenstand.base.worked import Working
from evenstand.book import StepState
from evenstand.book.history import Entry
from evenstand.desk.cards import laid_out, wanted
from evenstand.model import STATES, CardLine, Cost, Finding, Step
from evenstand.web.columns import ROLE_CHOICES, ColumnLine
from evenstand.web.forms import Field, Typed
from evenstand.web.pages.proof import Change


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """One example: the macro in parts.html, a name, and what it is called with; row, item: it stands in a table or in a list."""

    macro: str
    name: str
    args: tuple[Any, ...] = ()
    kwargs: dict[str, Any] = field(default_factory=dict)
    row: bool = False
    item: bool = False


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
_TEXT = CardLine(
    key="roller:A",
    group="bin",
    label="Roller and setting",
    quantity="count",
    state="typed",
    bin="A",
    text="coarse",
    basis="typed",
    source="typed",
    stale_now="Caught with the medium roller",
)
_PART = laid_out((_BAND, replace(_BAND, key="catch:C", bin="C", value=6.0, low=5.8, high=6.2)))[-1]
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
    Field(name="look", label="What the bin looks like", kind="chips", choices=(("light", "Light just came on"), ("", "I type it"))),
)
_ONE = Typed(fields=_FIELDS[1:2], profile="si", values={"put": "4 000"})
_OTHER_STEP = replace(_STEP, key="fill:B", do="Fill after pass 16, no later than pass 22.", cost_of_waiting=Cost(), where="North, wheat")
_PUT_OFF = StepState(key="catch:B", state="deferred", until="2027-05-10", note="Catch test on bin B with peas.")
_COLUMN = ColumnLine(
    number=1, name="rate_a", examples="120, 121", role="echoed", unit="kg/ha", bin="A", why="name and unit", sure="Likely", members=1,
    binned=True,
)  # fmt: skip
_COLUMNS = ColumnLine(
    number=2, name="run_1 to run_64", examples="1", role="run", unit="", bin="", why="name, and only 0 / 1", sure="Sure", members=64,
    binned=False,
)  # fmt: skip
_CHANGE = Change(
    id=7,
    at="2027-05-09T12:00:00Z",
    who="Ann",
    why="word of the display",
    entries=(
        Entry(
            id=7, number=70, at="2027-05-09T12:00:00Z", who="Ann", why="word of the display", undoes=None, kind="Lot", key="wheat-1",
            table="lots", row=("wheat-1",), field="germination", before=0.95, after=0.96,
        ),
    ),
)  # fmt: skip
_SVG = Markup(
    '<svg class="drawing" viewBox="0 0 200 40" role="img" aria-label="One pass">'
    + '<line class="r-strip" x1="10" y1="20" x2="190" y2="20"/></svg>'
)
_FAULTY = Typed(fields=_FIELDS, profile="si", values={"area": "x"}, faults={"area": "Hectares since the last fill: 'x' has no number."})

EXAMPLES: tuple[Example, ...] = (
    Example(macro="num", name="a number with its band", args=(120.0, "rate"), kwargs={"low": 117.0, "high": 123.0}),
    Example(macro="num", name="a number not known", args=(None, "rate")),
    Example(macro="working", name="the working of a number", args=(_WORKING, "meter speed")),
    Example(macro="working_lines", name="its lines alone", args=(_WORKING,)),
    Example(macro="workings", name="several workings with remarks", args=((_WORKING,), ("Overlap may take 0 to 3 % more.",), "a sum")),
    Example(macro="card_row", name="a line of the value card", args=(_KNOWN,), row=True),
    Example(macro="card_table", name="lines of the value card", args=((_KNOWN, _BAND, _NEEDS), "Bin A, wheat")),
    Example(macro="card_figure", name="the answer of a line", args=(_BAND,)),
    Example(macro="card_figure", name="an answer that is a text, and stale", args=(_TEXT,)),
    Example(macro="card_working", name="where numbers come from", args=((_KNOWN, _BAND),)),
    Example(macro="card_bins", name="bins side by side", args=(_PART, {"A": "Wheat", "C": "Urea"})),
    Example(macro="card_part", name="a part of the value card", args=(_PART, {"A": "Wheat", "C": "Urea"})),
    Example(macro="wanted", name="what is still needed", args=(wanted((_NEEDS,)),)),
    *(Example(macro="state_word", name=f"the word for a state: {s}", args=(s,)) for s in STATES),
    *(Example(macro="finding", name=f"a finding: {f.state}", args=(f,)) for f in _FINDINGS),
    Example(macro="evidence", name="the working of a finding", args=(_FINDINGS[1],)),
    Example(macro="holding", name="what holds", args=((_FINDINGS[0],),)),
    Example(macro="step", name="a line of the Next list", args=(_OTHER_STEP,), item=True),
    Example(macro="steps", name="the Next list", args=((_STEP,),), kwargs={"deferrable": False}),
    Example(macro="put_off", name="what was put off", args=((_PUT_OFF,),)),
    Example(
        macro="answer",
        name="an answer in one sentence",
        args=("2 % light, inside what one ticket can tell.", "holds", "between 6 % light and 2 % heavy"),
    ),
    Example(macro="kept", name="what has just been kept", args=("Kept: 4 000 kg into bin D.",)),
    Example(macro="error_summary", name="what was wrong with a form", args=(_FAULTY,)),
    Example(macro="field", name="one field", args=(_FIELDS[1], _ONE)),
    Example(macro="fields", name="fields of a form", args=(_FAULTY,)),
    Example(macro="column", name="a column of a log", args=(_COLUMN, ROLE_CHOICES)),
    Example(macro="column", name="a family of columns", args=(_COLUMNS, ROLE_CHOICES)),
    Example(macro="change", name="a change in the history", args=(_CHANGE,)),
    Example(macro="empty", name="nothing here yet", args=("No loads yet.", "/shed", "Enter the first load")),
    Example(macro="contents", name="what is on a page", args=((("x-1", "Numbers"), ("x-2", "Not known")),)),
    Example(macro="submenu", name="pages of a moment", args=((("/-/components", "Components"), ("/proof", "Proof")), "Example of a menu")),
    Example(macro="figure", name="a picture", args=(_SVG, "One pass, as long as it was driven.", "example-picture")),
    Example(macro="table", name="a table", args=("Loads", ("Product", "Mass"), (("Wheat", "4.00 t"), ("Urea", "8.20 t")), (1,))),
    Example(
        macro="table",
        name="a table that becomes blocks on a phone",
        args=("Lots", ("Lot", "Product", "Kernel mass", "Treatment"), (("spring", "Wheat", "38.0 g/1000", "untreated"),), (2,)),
    ),
)
