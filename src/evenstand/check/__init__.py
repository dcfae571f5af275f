"""Whether to believe the numbers: relations between witnesses and echoes, causes, verdicts, slips and the fill check."""

from evenstand.check.checking import Checked, check_readings
from evenstand.check.expecting import relations_for
from evenstand.check.fills import FillSeries, FillTaken, fill_check, fill_series
from evenstand.check.learning import (
    DaySeen,
    day_seen,
    learned_scales,
    scale_values,
    seen_from_plain,
    seen_plain,
    updated_scales,
    wandering,
    watch_days,
)
from evenstand.check.logged import logged_findings, placement_finding, with_log
from evenstand.check.masses import BinDay, Look, PutIn
from evenstand.check.relations import Relation, log_relation
from evenstand.check.runs import RunLoss, run_findings, run_losses
from evenstand.check.slips import Slip, typing_slip
from evenstand.check.verdicts import judge, reconcile
from evenstand.solve.reconciling import Reconciliation, reconcile_linear

__all__ = [
    "BinDay", "Checked", "DaySeen", "FillSeries", "FillTaken", "Look", "PutIn", "Reconciliation", "Relation", "RunLoss", "Slip",
    "check_readings", "day_seen", "fill_check", "fill_series", "judge", "learned_scales", "log_relation", "logged_findings",
    "placement_finding", "reconcile", "reconcile_linear", "relations_for", "run_findings", "run_losses", "scale_values", "seen_from_plain",
    "seen_plain", "typing_slip", "updated_scales", "wandering", "watch_days", "with_log",
]  # fmt: skip
