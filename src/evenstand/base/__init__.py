"""Errors, units, worked formulas, estimates and the clock. Knows nothing else of the project."""
