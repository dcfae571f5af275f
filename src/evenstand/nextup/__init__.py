"""What to do next: one file per family of rules, each from facts to steps, pure."""

from evenstand.nextup.facts import Facts
from evenstand.nextup.ranking import next_steps

__all__ = ["Facts", "next_steps"]
