"""How a run is scored: exactly one of right alone, right in a class, wrong, silent, cannot tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from evenstand.model import Finding

Score = Literal["right alone", "right in class", "wrong", "silent", "cannot tell"]
SCORES: tuple[Score, ...] = ("right alone", "right in class", "wrong", "silent", "cannot tell")
TOLD_Z = 4.3  # an ideal test with a false alarm in 300 days finds an error of this many standard deviations nine times in ten


def named_sets(findings: Sequence[Finding]) -> list[tuple[str, ...]]:
    """Every set of causes that a finding accuses; what only could hide is no accusation."""
    return [group for f in findings if f.state in ("doubtful", "does-not-hold") for group in f.suspects]


def score(findings: Sequence[Finding], truth: str) -> Score:
    """One run with one fault. A named set without the truth makes the run wrong, even beside the right one."""
    named = named_sets(findings)
    if any(truth not in group for group in named):
        return "wrong"
    if named:
        return "right alone" if all(len(group) == 1 for group in named) else "right in class"
    unsure = any(truth in group for f in findings if f.state == "cannot-tell" for group in f.suspects)
    return "cannot tell" if unsure else "silent"


def wilson(hits: int, n: int, z: float = 1.96) -> tuple[float, float]:
    """Wilson interval of a share."""
    if n == 0:
        return 0.0, 1.0
    p, d = hits / n, 1 + z * z / n
    middle = (p + z * z / (2 * n)) / d
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / d
    return max(0.0, middle - half), min(1.0, middle + half)
