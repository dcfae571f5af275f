"""The data types: frozen, keyword-only, metric. No files, no SQL, no formulas."""

from evenstand.model.finding import STATES, Cost, Finding, Place, State, Stated, Step
from evenstand.model.job import Ask, Job, Weather
from evenstand.model.loads import Fill, HowKnown, Load, LoadKind, Order
from evenstand.model.outfit import Bin, Costs, FanProof, FlagTest, Head, Meter, Outfit, PulseTest, Run, Section, Stream, Widths
from evenstand.model.place import Boundary, Drive, Frame, Hazard, Polygon, Ring
from evenstand.model.plan import BinPlan, CardLine, LineRole, Plan, RowLimit, Stop
from evenstand.model.product import Lot, MeterFactor, Product
from evenstand.model.reading import Event, Reading
from evenstand.model.trail import FLAGS, SetAside, Trail

__all__ = [
    "FLAGS", "STATES", "Ask", "Bin", "BinPlan", "Boundary", "CardLine", "Cost", "Costs", "Drive", "Event", "FanProof", "Fill", "Finding",
    "FlagTest", "Frame", "Hazard", "Head", "HowKnown", "Job", "LineRole", "Load", "LoadKind", "Lot", "Meter", "MeterFactor", "Order",
    "Outfit", "Place", "Plan", "Polygon", "Product", "PulseTest", "Reading", "Ring", "RowLimit", "Run", "Section", "SetAside", "State",
    "Stated", "Step", "Stop", "Stream", "Trail", "Weather", "Widths",
]  # fmt: skip
