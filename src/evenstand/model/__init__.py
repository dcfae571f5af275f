"""The data types: frozen, keyword-only, metric. No files, no SQL, no formulas."""

from evenstand.model.finding import STATES, Cost, Finding, Place, State, Step
from evenstand.model.job import Ask, Job
from evenstand.model.loads import Fill, HowKnown, Load, LoadKind
from evenstand.model.outfit import Bin, Head, Meter, Outfit, Run, Section, Stream, Widths
from evenstand.model.place import Boundary, Drive, Frame, Hazard, Polygon, Ring
from evenstand.model.plan import BinPlan, CardLine, Plan, RowLimit, Stop
from evenstand.model.product import Lot, MeterFactor, Product
from evenstand.model.reading import Event, Reading
from evenstand.model.trail import FLAGS, SetAside, Trail

__all__ = [
    "FLAGS", "STATES", "Ask", "Bin", "BinPlan", "Boundary", "CardLine", "Cost", "Drive", "Event", "Fill", "Finding", "Frame", "Hazard",
    "Head", "HowKnown", "Job", "Load", "LoadKind", "Lot", "Meter", "MeterFactor", "Outfit", "Place", "Plan", "Polygon", "Product",
    "Reading", "Ring", "RowLimit", "Run", "Section", "SetAside", "State", "Step", "Stop", "Stream", "Trail", "Widths",
]  # fmt: skip
