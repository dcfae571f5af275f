"""Cited figures and their sources, frozen."""

from evenstand.reference.figures import SEEN, Figure, Seen, Source, every_figure, figure, figures, source, sources, table, tables
from evenstand.reference.practice import default, fault_odds, fill_sd

__all__ = [
    "SEEN", "Figure", "Seen", "Source", "default", "every_figure", "fault_odds", "figure", "figures", "fill_sd", "source", "sources",
    "table", "tables",
]  # fmt: skip
