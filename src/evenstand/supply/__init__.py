"""Supply along a drive: which bin carries what, after which passes to fill; and what came, went and is owed."""

from evenstand.supply.movements import InBin, Sown
from evenstand.supply.orders import Owed, Shortfall, owed, shortfall
from evenstand.supply.splitting import LoadBalance, load_balance
from evenstand.supply.stops import Stops, plan_stops

__all__ = ["InBin", "LoadBalance", "Owed", "Shortfall", "Sown", "Stops", "load_balance", "owed", "plan_stops", "shortfall"]
