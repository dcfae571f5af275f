"""The 28-stream steam-metering network (Serth and Heenan, AIChE Journal 32, 1986) as a bench for naming wrong measurements."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from typing import Any

import numpy as np
import numpy.typing as npt

from evenstand.solve.explaining import serial_elimination, sidak_limit, whitener
from evenstand.solve.reconciling import Reduced, locate, measurement_signatures, reduce_balances

FloatArray = npt.NDArray[np.float64]
_AT_ONCE = 50

MEASURED = (
    0.875, 0.989, 108.426, 107.799, 50.149, 110.327, 2.201, 165.779, 0.821, 51.779, 14.757, 67.183, 107.734, 89.855, 58.554, 23.258,
    31.879, 15.843, 7.92, 10.13, 91.047, 5.555, 2.471, 44.687, 81.656, 82.839, 70.685, 72.913,
)  # fmt: skip
SDS = (
    0.022, 0.025, 2.796, 2.749, 1.332, 2.807, 0.058, 4.101, 0.021, 1.31, 0.372, 1.682, 2.782, 2.297, 1.5, 0.591, 0.818, 0.406, 0.196,
    0.263, 2.183, 0.136, 0.065, 1.166, 2.137, 2.033, 1.77, 1.806,
)  # fmt: skip
_INTO_OUT_OF = (  # of each balance: streams in and out, counted from 1
    ((1, 2, 4), (3,)), ((7, 8), (5, 6, 9)), ((5,), (1, 10)), ((10, 11), (12,)), ((3, 13), (11, 14, 15, 16, 17)), ((6,), (2, 13)),
    ((14, 18), (7, 19, 20, 21)), ((15, 22), (18, 23, 24)), ((12, 16), (22, 25)), ((19, 23, 27), (26,)), ((20, 26, 28), (8,)),
)  # fmt: skip


def balances() -> FloatArray:
    """The 11 balances, (11, 28)."""
    out = np.zeros((len(_INTO_OUT_OF), len(MEASURED)))
    for k, (into, out_of) in enumerate(_INTO_OUT_OF):
        out[k, [i - 1 for i in into]] = 1.0
        out[k, [i - 1 for i in out_of]] = -1.0
    return out


def true_values() -> FloatArray:
    """Values that satisfy the balances, near the published ones: their reconciled values."""
    from evenstand.solve.reconciling import reconcile_linear

    return reconcile_linear(balances(), MEASURED, SDS).values


def measurement_test(reduced: Reduced, covariance: FloatArray, *, alpha: float = 0.05) -> tuple[int, ...]:
    """Measurements whose own adjustment is too large, all at once, at one overall false-alarm share."""
    gain = covariance @ reduced.rows.T @ reduced.inverse
    change, spread = gain @ reduced.residual, np.sqrt(np.maximum(np.diag(gain @ reduced.rows @ covariance), 1e-300))
    limit = np.sqrt(sidak_limit(covariance.shape[0], alpha))
    return tuple(int(i) for i in np.flatnonzero(np.abs(change / spread) > limit))


def _classes_alone(found: Sequence[int]) -> list[tuple[int, ...]]:
    return [(i,) for i in found]


def methods() -> dict[str, Callable[[Reduced, FloatArray, FloatArray], list[tuple[int, ...]]]]:
    """The methods by name: each gives classes of suspects."""

    def ships(reduced: Reduced, _: FloatArray, signatures: FloatArray) -> list[tuple[int, ...]]:
        return list(locate(reduced, signatures).classes)

    def serial(reduced: Reduced, _: FloatArray, signatures: FloatArray) -> list[tuple[int, ...]]:
        residual = whitener(reduced.covariance) @ reduced.residual
        return _classes_alone(serial_elimination(residual, signatures, most=8))

    return {
        "measurement test, Sidak": lambda reduced, covariance, _: _classes_alone(measurement_test(reduced, covariance)),
        "GLR, serial elimination": serial,
        "best small set (ships)": ships,
    }


def outcome(found: Sequence[tuple[int, ...]], truth: frozenset[int]) -> str:
    """right: exactly the true ones, alone; in_set: all of them, some in a class; part: some, none wrong; wrong; silent."""
    if not truth:
        return "wrong" if found else "silent"
    if not found:
        return "silent"
    if any(not truth & set(group) for group in found):
        return "wrong"
    covered = {i for group in found for i in group if i in truth}
    if covered != truth or len(found) < len(truth):
        return "part"
    return "right" if all(len(g) == 1 for g in found) else "in_set"


def stream_cases(task: tuple[int, int, int, int]) -> dict[str, dict[str, int]]:
    """How each method ended on some cases. task: seed, number of errors, number of the first case, cases."""
    seed, errors, first, cases = task
    rng = np.random.default_rng([seed, 28, errors, first])
    a, sds, true = balances(), np.array(SDS), true_values()
    covariance, every = np.diag(sds**2), np.ones(sds.size, dtype=bool)
    counts: dict[str, dict[str, int]] = {m: {} for m in methods()}
    for _ in range(cases):
        y = true + rng.normal(size=sds.size) * sds
        where = rng.choice(sds.size, errors, replace=False)
        y[where] += rng.uniform(4, 20, errors) * rng.choice([-1.0, 1.0], errors) * sds[where]
        reduced = reduce_balances(a, y, every, covariance)
        signatures = measurement_signatures(reduced)
        for name, method in methods().items():
            end = outcome(method(reduced, covariance, signatures), frozenset(int(i) for i in where))
            counts[name][end] = counts[name].get(end, 0) + 1
    return counts


def stream_table(seed: int, cases: int, pool: Executor | None = None) -> list[dict[str, Any]]:
    """Shares of each outcome for 0 to 5 errors and each method; `cases` for each number of errors."""
    tasks = [(seed, errors, first, min(_AT_ONCE, cases - first)) for errors in range(6) for first in range(0, cases, _AT_ONCE)]
    done = list(pool.map(stream_cases, tasks)) if pool is not None else [stream_cases(t) for t in tasks]
    rows = []
    for errors in range(6):
        mine = [d for t, d in zip(tasks, done, strict=True) if t[1] == errors]
        for name in methods():
            total = {k: sum(d[name].get(k, 0) for d in mine) for k in ("right", "in_set", "part", "wrong", "silent")}
            rows.append({"errors": errors, "method": name, "cases": cases} | {k: n / cases for k, n in total.items()})
    return rows
