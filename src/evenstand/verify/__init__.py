"""Holding the formulas against figures that others have published."""

from evenstand.verify.mutation import Mutant, Sharpness, mutate, public_functions
from evenstand.verify.pages import page
from evenstand.verify.pairs import Independent, Pair
from evenstand.verify.running import Check, Report, collect, run

__all__ = ["Check", "Independent", "Mutant", "Pair", "Report", "Sharpness", "collect", "mutate", "page", "public_functions", "run"]
