"""Repeated looks on one budget, and scales learned from past residuals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from evenstand.base.errors import InputError, RangeError
from evenstand.solve.scales import learned_scale
from evenstand.solve.sequential import cusum, cusum_limit, cusum_run_length, evidence_for_look, often_looked_limit


def run_lengths(rng: np.random.Generator, limit: float, shift: float, runs: int = 4000, most: int = 3000) -> np.ndarray:
    """Run lengths by simulation, all runs side by side."""
    up, down, length = np.zeros(runs), np.zeros(runs), np.full(runs, most)
    left = np.ones(runs, dtype=bool)
    for k in range(1, most + 1):
        z = rng.normal(shift, 1, runs)
        up, down = np.maximum(0, up + z - 0.5), np.maximum(0, down - z - 0.5)
        now = left & (np.maximum(up, down) > limit)
        length[now] = k
        left &= ~now
        if not left.any():
            break
    return length


@pytest.mark.parametrize(("limit", "shift"), [(2.0, 0.0), (3.3, 0.0), (3.3, 1.0)])
def test_the_run_length_is_what_simulation_gives(limit: float, shift: float) -> None:
    seen = run_lengths(np.random.default_rng(11), limit, shift)
    assert cusum_run_length(limit, shift=shift) == pytest.approx(seen.mean(), abs=4.5 * seen.std() / math.sqrt(seen.size) + 0.02)


def test_a_limit_for_a_hundred_good_days_runs_a_hundred_good_days() -> None:
    limit = cusum_limit(100)
    assert cusum_run_length(limit) == pytest.approx(100, rel=1e-9)
    assert cusum_run_length(limit, two_sided=False) == pytest.approx(200, rel=1e-9)
    assert cusum_run_length(limit, shift=1.0) < 8


def test_a_limit_without_a_sum_is_a_plain_test_of_each_value() -> None:
    """With a limit near 0 each value alarms by itself: one in 1 / P(|z| > slack)."""
    assert cusum_run_length(1e-9) == pytest.approx(1 / (2 * stats.norm.sf(0.5)), rel=1e-6)


def test_the_sum_says_when_the_change_began_and_how_large_it_is() -> None:
    rng, limit = np.random.default_rng(5), cusum_limit(300)
    found = [cusum(np.concatenate([rng.normal(0, 1, 40), rng.normal(-2, 1, 20)]), limit=limit) for _ in range(60)]
    late = [f for f in found if f.alarm_at is not None and f.alarm_at >= 40]
    assert len(late) >= 48, "some false alarms before are part of the bargain"
    assert all(f.side == -1 and (f.alarm_at or 99) <= 50 for f in late)
    assert abs(np.median([(f.since or 0) - 40 for f in late])) <= 2
    assert np.median([f.shift for f in late]) == pytest.approx(-2, abs=0.5)


def test_a_missing_value_changes_nothing_and_a_bad_limit_is_refused() -> None:
    whole, gap = cusum([1.0, 2.0, 0.5], limit=9), cusum([1.0, math.nan, 2.0, 0.5], limit=9)
    assert gap.up[-1] == pytest.approx(whole.up[-1])
    assert gap.alarm_at is None
    with pytest.raises(RangeError, match="limit"):
        cusum([1.0], limit=0)
    with pytest.raises(RangeError, match="run_length"):
        cusum_limit(1)


@pytest.mark.parametrize("looks", [1, 5, 40, 200])
def test_a_day_keeps_its_budget_however_often_one_looks(looks: int) -> None:
    """Sums of independent steps looked at at even shares; at 1 in 100 a plain test after each of 40 looks alarms far more often."""
    rng, days, alpha = np.random.default_rng(3), 30_000, 0.01
    share = np.arange(1, looks + 1) / looks
    z = np.cumsum(rng.normal(size=(days, looks)) / math.sqrt(looks), axis=1) / np.sqrt(share)
    limit = np.array([often_looked_limit(s, alpha) for s in share])
    alarms = (np.abs(z) > limit).any(axis=1).mean()
    assert alarms <= alpha * 1.15
    if looks == 200:
        assert alarms > 0.7 * alpha, "all of the budget is used"
    if looks == 40:
        plain = (np.abs(z) > stats.norm.isf(alpha / 2)).any(axis=1).mean()
        assert plain > 5 * alpha


def test_the_only_look_of_a_day_pays_nothing_and_an_early_look_pays_most() -> None:
    extra = [evidence_for_look(s, 0.003) for s in (0.1, 0.5, 1.0)]
    assert evidence_for_look(None, 0.003) == 0.0
    assert extra[0] > extra[1] > extra[2] > 0
    assert 0.5 < extra[2] < 1.6
    assert extra[0] < 15, "a large error must show in the morning"
    with pytest.raises(RangeError, match="share"):
        evidence_for_look(0.0, 0.003)


def test_a_scale_is_the_posterior_of_a_normal_variance() -> None:
    """Independent: the posterior of the variance written out on a grid, its harmonic middle and quantiles."""
    z = np.array([0.4, -1.9, 2.2, -0.7, 1.6, 2.8, -2.4])
    found = learned_scale(z, prior_dof=6, far=50)
    v = np.exp(np.linspace(math.log(0.05), math.log(60), 60_001))
    log_p = stats.invgamma.logpdf(v, 3, scale=3) + stats.norm.logpdf(z[:, None], 0, np.sqrt(v)).sum(axis=0)
    p = np.exp(log_p - log_p.max()) * v  # equal steps of log v
    p /= p.sum()
    assert found.value**2 == pytest.approx(1 / float((p / v).sum()), rel=1e-6)
    below = np.interp([0.025, 0.975], np.cumsum(p), np.sqrt(v))
    assert (found.low, found.high) == (pytest.approx(below[0], rel=1e-3), pytest.approx(below[1], rel=1e-3))


def test_a_scale_moves_from_what_is_stated_to_what_is_seen() -> None:
    rng = np.random.default_rng(2)
    values = [learned_scale(rng.normal(0, 2, n)).value for n in (0, 50, 2000)]
    assert values[0] == 1.0
    assert 1.5 < values[1] < 2.3
    assert values[2] == pytest.approx(2, rel=0.05)


def test_one_fault_in_the_history_does_not_teach_that_the_instrument_is_bad() -> None:
    rng = np.random.default_rng(4)
    z = rng.normal(0, 1, 20)
    with_fault = learned_scale([*z, 25.0])
    assert with_fault.value < 1.3 * learned_scale(z).value
    assert with_fault.set_aside > 0.9
    assert learned_scale([*z, math.nan]).n == 20


def test_residuals_of_another_shape_and_a_prior_of_nothing_are_refused() -> None:
    with pytest.raises(InputError, match="residuals"):
        learned_scale(np.zeros((2, 2)))
    with pytest.raises(RangeError, match="prior_dof"):
        learned_scale([1.0], prior_dof=0)
