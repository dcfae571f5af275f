"""Catch tests, row distribution, and the mass balance of a product over loads, fills, turns and hectares."""

from evenstand.tally.accounts import Account, account
from evenstand.tally.bins import BinTally, tally_bin
from evenstand.tally.catching import CatchBand, CatchTest, catch_test, expected_catch, factor_from_shown, turns_for_catch
from evenstand.tally.conveying import ConveyorRun, conveyor_delivery, conveyor_mass
from evenstand.tally.innovations import InnovationTest, innovation_test
from evenstand.tally.lines import CalibrationLine, calibration_line
from evenstand.tally.masses import BadTicket, Balance, BalancePrior, BalanceStep, balance, steps_from_events
from evenstand.tally.remaining import (
    factor_from_dose,
    factor_from_turns,
    field_dose,
    field_factor,
    learned_ratio,
    product_ratio,
    remaining_mass,
    used_mass,
)
from evenstand.tally.rows import Distribution, row_distribution
from evenstand.tally.run_outs import DrivePlace, RunOut, place_at, run_out, run_out_of
from evenstand.tally.stretches import BinPrior, BinStep
from evenstand.tally.tickets import Split, split_ticket

__all__ = [
    "Account", "BadTicket", "Balance", "BalancePrior", "BalanceStep", "BinPrior", "BinStep", "BinTally", "CalibrationLine", "CatchBand",
    "CatchTest", "ConveyorRun", "Distribution", "DrivePlace", "InnovationTest", "RunOut", "Split", "account", "balance", "calibration_line",
    "catch_test", "conveyor_delivery", "conveyor_mass", "expected_catch", "factor_from_dose", "factor_from_shown", "factor_from_turns",
    "field_dose", "field_factor", "innovation_test", "learned_ratio", "place_at", "product_ratio", "remaining_mass", "row_distribution",
    "run_out", "run_out_of", "split_ticket", "steps_from_events", "tally_bin", "turns_for_catch", "used_mass",
]  # fmt: skip
