"""Supply along a drive: which bin carries what, and after which passes to fill."""

from evenstand.supply.stops import Stops, plan_stops

__all__ = ["Stops", "plan_stops"]
