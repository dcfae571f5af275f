"""What a machine recorded: reading it, the ground it covered, and the facts the checks need."""

from evenstand.trail.covering import Coverage, coverage
from evenstand.trail.reading import read_trail

__all__ = ["Coverage", "coverage", "read_trail"]
