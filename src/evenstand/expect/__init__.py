"""Job + outfit + lots -> plan: rates, windows, drive, loads, value card."""

from evenstand.expect.plan import PlanInputs, plan_for

__all__ = ["PlanInputs", "plan_for"]
