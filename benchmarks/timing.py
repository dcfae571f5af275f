"""Ours and its peer, turn by turn, on fresh inputs; worst and median."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

LEAST_TURNS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """One comparison.

    Times are medians [s]; ratio: peer over ours, of the medians; ratio_min: the worst turn; same_result: on every turn ours is within
    `tolerance` of the peer, or, where it is not, of the referee (a slower, surer form of the peer); peer_off: seeds on which the peer was
    off and the referee was asked; memory_mb: what each adds at its peak, measured in processes of their own.
    """

    name: str
    peer: str
    ours_s: float
    peer_s: float
    ratio: float
    ratio_min: float
    same_result: bool
    note: str
    size: int
    turns: int
    seed: int
    ours_worst_s: float
    peer_worst_s: float
    largest_difference: float
    tolerance: float
    peer_off: tuple[int, ...] = ()
    ours_memory_mb: float | None = None
    peer_memory_mb: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """As plain data."""
        return asdict(self)


def timed(function: Callable[[], float]) -> tuple[float, float]:
    """Seconds and the answer."""
    begin = time.perf_counter()
    answer = function()
    return time.perf_counter() - begin, answer


def compare(
    name: str,
    peer: str,
    make: Callable[[int], Any],
    ours: Callable[[Any], float],
    theirs: Callable[[Any], float],
    *,
    seed: int,
    turns: int,
    tolerance: float,
    size: int,
    note: str,
    referee: Callable[[Any], float] | None = None,
    memory: tuple[float | None, float | None] = (None, None),
) -> Result:
    """Alternate ours and the peer on fresh, seeded inputs; who goes first changes from turn to turn."""
    turns = max(turns, LEAST_TURNS)
    ours_s, peer_s, apart, off = [], [], [], []
    for turn in range(turns):
        case = make(seed + turn)
        order = (ours, theirs) if turn % 2 == 0 else (theirs, ours)
        got = {f is ours: timed(lambda f=f, case=case: f(case)) for f in order}  # type: ignore[misc]
        ours_s.append(got[True][0])
        peer_s.append(got[False][0])
        difference = _apart(got[True][1], got[False][1])
        if difference > tolerance and referee is not None:
            off.append(seed + turn)
            difference = _apart(got[True][1], referee(case))
        apart.append(difference)
    mid, other = statistics.median(ours_s), statistics.median(peer_s)
    return Result(
        name=name,
        peer=peer,
        ours_s=mid,
        peer_s=other,
        ratio=other / mid,
        ratio_min=min(p / o for p, o in zip(peer_s, ours_s, strict=True)),
        same_result=max(apart) <= tolerance,
        note=note,
        size=size,
        turns=turns,
        seed=seed,
        ours_worst_s=max(ours_s),
        peer_worst_s=max(peer_s),
        largest_difference=max(apart),
        tolerance=tolerance,
        peer_off=tuple(off),
        ours_memory_mb=memory[0],
        peer_memory_mb=memory[1],
    )


def _apart(one: float, other: float) -> float:
    return abs(one - other) / max(abs(other), 1e-12)
