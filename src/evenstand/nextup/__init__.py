"""What to do next: one file per family of rules, each from facts to steps, pure."""

from evenstand.nextup.accounting import PaperFacts, accounting_steps
from evenstand.nextup.facts import Facts
from evenstand.nextup.ordering import StockFacts, ordering_steps
from evenstand.nextup.ranking import in_order, next_steps

__all__ = ["Facts", "PaperFacts", "StockFacts", "accounting_steps", "in_order", "next_steps", "ordering_steps"]
