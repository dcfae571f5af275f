"""Ours and its peer, turn by turn, on fresh inputs; worst and median."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
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
    off and the referee was asked; worst_seed: seed of the turn with the worst ratio; cpu_ratio: as ratio, of the processor time both took,
    which neighbours on a shared machine disturb less; memory_mb: what each adds at its peak, or the peak of a whole process, measured in
    processes of their own; cold_s: the first call in a fresh process, loading included, once [s]; hard: inputs on which something went
    badly, in words.
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
    worst_seed: int = 0
    cpu_ratio: float | None = None
    ours_memory_mb: float | None = None
    peer_memory_mb: float | None = None
    ours_cold_s: float | None = None
    peer_cold_s: float | None = None
    hard: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """As plain data."""
        return asdict(self)


def timed(function: Callable[[], float]) -> tuple[float, float, float]:
    """Seconds by the clock, seconds of the processor (of processes waited for, too), and the answer."""
    begin, worked = time.perf_counter(), _worked_s()
    answer = function()
    return time.perf_counter() - begin, _worked_s() - worked, answer


def _worked_s() -> float:
    """Processor time of this process and of those it waited for. [s]"""
    now = os.times()
    return now.user + now.system + now.children_user + now.children_system


def first_call_s(setting: str, call: str) -> float | None:
    """Seconds of a call in a fresh process, imports it makes included; None where it fails. setting: what is made ready before the clock
    runs; both Python. [s]"""
    code = f"import time\n{setting}\nbegin = time.perf_counter()\n{call}\nprint(time.perf_counter() - begin)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    return float(done.stdout.split()[-1]) if done.returncode == 0 and done.stdout else None


def peak_of_call_mb(setting: str, call: str) -> float | None:
    """What a call adds to the memory of a process that is ready for it; None where the system does not tell. [MB]"""
    code = (
        "import ctypes; from pathlib import Path\n"
        "read = lambda key: int(Path('/proc/self/status').read_text().split(key)[1].split()[0])\n"
        f"{setting}\n"
        "ctypes.CDLL(None).malloc_trim(0); Path('/proc/self/clear_refs').write_text('5'); before = read('VmRSS:')\n"
        f"{call}\nprint((read('VmHWM:') - before) / 1024)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    return float(done.stdout.split()[-1]) if done.returncode == 0 and done.stdout else None


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
    cold: tuple[float | None, float | None] = (None, None),
) -> Result:
    """Alternate ours and the peer on fresh, seeded inputs; who goes first changes from turn to turn."""
    turns = max(turns, LEAST_TURNS)
    ours_s, peer_s, apart, off, hard = [], [], [], [], []
    worked = [0.0, 0.0]
    for turn in range(turns):
        case = make(seed + turn)
        order = (ours, theirs) if turn % 2 == 0 else (theirs, ours)
        got = {f is ours: timed(lambda f=f, case=case: f(case)) for f in order}  # type: ignore[misc]
        ours_s.append(got[True][0])
        peer_s.append(got[False][0])
        worked = [worked[0] + got[True][1], worked[1] + got[False][1]]
        difference = _apart(got[True][2], got[False][2])
        if difference > tolerance and referee is not None:
            off.append(seed + turn)
            hard.append(f"seed {seed + turn}: the peer is off by {difference:.1e}; held against its union on a grid")
            difference = _apart(got[True][2], referee(case))
        if difference > tolerance:
            hard.append(f"seed {seed + turn}: ours is off by {difference:.1e}")
        apart.append(difference)
    mid, other = statistics.median(ours_s), statistics.median(peer_s)
    ratios = [p / o for p, o in zip(peer_s, ours_s, strict=True)]
    hard += [f"seed {seed + k}: slower than the peer, ratio {r:.2f}" for k, r in enumerate(ratios) if r < 1.0]
    return Result(
        name=name,
        peer=peer,
        ours_s=mid,
        peer_s=other,
        ratio=other / mid,
        ratio_min=min(ratios),
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
        worst_seed=seed + ratios.index(min(ratios)),
        cpu_ratio=worked[1] / worked[0] if worked[0] > 0 else None,
        hard=tuple(hard),
        ours_cold_s=cold[0],
        peer_cold_s=cold[1],
        ours_memory_mb=memory[0],
        peer_memory_mb=memory[1],
    )


def _apart(one: float, other: float) -> float:
    return abs(one - other) / max(abs(other), 1e-12)
