"""The smoother of a bin's mass and product per turn: ours against statsmodels' Kalman smoother on the same season, same matrices.

The peer is timed in two forms and the faster one counts: its usual smoother, and its filter with the smoother told to keep states and their
covariances only. Its model is built and its compiled code loaded before the clock runs, and so is ours.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from benchmarks.timing import Result, compare, timed
from evenstand.solve.smoother import smooth

FloatArray = npt.NDArray[np.float64]
STEPS = 700
TOLERANCE = 1e-12
LEAST_RATIO = 100.0
_WEIGHT = np.column_stack([np.cos(np.arange(STEPS)) / 1e2, np.cos(np.arange(STEPS)) * 1e2]).ravel()


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """A season of one bin as matrices, and the peer's model of it in both forms."""

    start: FloatArray
    start_cov: FloatArray
    transition: FloatArray
    shift: FloatArray
    noise: FloatArray
    seen: FloatArray
    seen_var: FloatArray
    peer: Any
    lean: Any


def season(seed: int) -> Season:
    """Fills every 60 steps, a look every 30, a factor that drifts."""
    from statsmodels.tsa.statespace import kalman_smoother as ks

    rng, n = np.random.default_rng([seed, 20]), STEPS
    turns = rng.uniform(40, 60, n)
    fills = np.where(np.arange(n) % 60 == 0, 1500.0, 0.0)
    factor = 0.5 * np.exp(np.cumsum(rng.normal(0, 5e-4, n)))
    mass = 1500 + np.cumsum(fills - factor * turns)
    seen = np.where(np.arange(n) % 30 == 29, mass + rng.normal(0, 8, n), np.nan)
    transition = np.tile(np.eye(2), (n, 1, 1))
    transition[:, 0, 1] = -turns
    shift = np.column_stack([fills, np.zeros(n)])
    noise = np.tile(np.diag([0.01, 6.25e-8]), (n, 1, 1))
    start, start_cov = np.array([1500.0, 0.5]), np.diag([25.0, 2.5e-3])

    def model(output: int | None) -> Any:
        one = ks.KalmanSmoother(k_endog=1, k_states=2, k_posdef=2)
        one.bind(np.asfortranarray(seen[None, :]))
        one["design"] = np.array([[1.0, 0.0]])
        one["obs_cov"], one["selection"], one["state_cov"] = np.array([[64.0]]), np.eye(2), noise[0]
        one["transition"] = np.moveaxis(np.concatenate([transition[1:], np.eye(2)[None]]), 0, 2)
        one["state_intercept"] = np.concatenate([shift[1:], np.zeros((1, 2))]).T
        one.initialize_known(transition[0] @ start + shift[0], transition[0] @ start_cov @ transition[0].T + noise[0])
        if output is not None:
            one.smoother_output = output
        one.smooth()  # what is built once is built before the clock runs
        return one

    smooth(start, start_cov, transition, shift, noise, seen, np.full(n, 64.0))  # ours too has seen the season once before the clock runs
    lean = model(ks.SMOOTHER_STATE | ks.SMOOTHER_STATE_COV)
    return Season(
        start=start, start_cov=start_cov, transition=transition, shift=shift, noise=noise, seen=seen, seen_var=np.full(n, 64.0),
        peer=model(None), lean=lean,
    )  # fmt: skip


def ours(case: Season) -> float:
    """Likelihood, states and their covariances, and each likeliest jump; the answer compared is a digest of the states."""
    found = smooth(case.start, case.start_cov, case.transition, case.shift, case.noise, case.seen, case.seen_var)
    return _digest(found.mean, found.loglik)


def usual(case: Season) -> float:
    """The peer with its usual output."""
    found = case.peer.smooth()
    return _digest(found.smoothed_state.T, found.llf)


def lean(case: Season) -> float:
    """The peer with states and their covariances only."""
    found = case.lean.smooth()
    return _digest(found.smoothed_state.T, found.llf)


def _digest(states: FloatArray, loglik: float) -> float:
    """One number that moves with every state and the likelihood."""
    return float(_WEIGHT.dot(states.reshape(-1)) + loglik + 1e3)


def results(*, seed: int, turns: int) -> list[Result]:
    """The entry `smoother`; statsmodels is a tool of development, without it there is none."""
    try:
        case = season(seed)
    except ImportError:
        print("smoother: NOT RUN HERE, statsmodels is not installed")
        return []
    ours(case)
    forms: dict[str, Callable[[Season], float]] = {"usual": usual, "lean": lean}
    median = {name: statistics.median(timed(lambda f=f: f(case))[0] for _ in range(3)) for name, f in forms.items()}  # type: ignore[misc]
    best = min(median, key=lambda k: median[k])
    note = f"{STEPS} steps, {STEPS // 30} looks; models built and code compiled before the clock runs; ours also gives every likeliest jump"
    found = compare(
        "smoother", f"statsmodels KalmanSmoother, {best} output", season, ours, forms[best], seed=seed, turns=turns, tolerance=TOLERANCE,
        size=STEPS, note=note,
    )  # fmt: skip
    return [
        replace(found, note=f"{note}; {'at least' if found.ratio_min >= LEAST_RATIO else 'BELOW'} {LEAST_RATIO:.0f} times in every turn")
    ]
