"""A plain machine simulator: an outfit that follows a plan and yields what it would show, record and leave to be read.

It shares nothing but the data types with the code that judges readings: its constants, noise, units and geometry are its own.
"""

from evenstand.simulate.days import Day, Truth, simulate_day
from evenstand.simulate.faults import FAULT_KINDS, FaultSpec, SimulationError, parse_fault
from evenstand.simulate.worlds import WORLDS, World

__all__ = ["FAULT_KINDS", "WORLDS", "Day", "FaultSpec", "SimulationError", "Truth", "World", "parse_fault", "simulate_day"]
