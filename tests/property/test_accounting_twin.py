"""Many sets of causes at once give what one set at a time gives, by a slow and plain twin; nothing of the answer changes."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand.solve.accounting import Hypotheses, Shift, account_for, accounts_for

FloatArray = npt.NDArray[np.float64]


def plain(r: FloatArray, causes: Hypotheses, members: tuple[int, ...], shift: Shift | None) -> tuple[float, float]:
    """(log evidence, fit) of one set, straight from the definition: each value of the shift by itself, sizes by least squares."""
    values, weights = (np.zeros(1), np.ones(1)) if shift is None else (shift.values, shift.weights)
    evidence, fits = [], []
    for value, weight in zip(values, weights, strict=True):
        left = r - (0.0 if shift is None else shift.direction * value)
        rows, wanted, log_p = [causes.signatures[:, members]], [left], 0.0
        for i, j in enumerate(members):
            if math.isfinite(causes.size_sd[j]):  # a usual size is one more row
                rows.append(np.eye(len(members))[[i]] / causes.size_sd[j])
                wanted.append(np.array([causes.size_mean[j] / causes.size_sd[j]]))
                log_p -= math.log(causes.size_sd[j])
        design, target = np.vstack(rows), np.concatenate(wanted)
        at = np.linalg.lstsq(design, target, rcond=None)[0] if members else np.zeros(0)
        misfit = float(((target - design @ at) ** 2).sum())
        if members:
            normal = design.T @ design
            sd = np.sqrt(np.diag(np.linalg.inv(normal)))
            log_p -= 0.5 * math.log(np.linalg.det(normal))
            free = [i for i, j in enumerate(members) if not math.isfinite(causes.size_sd[j])]
            if free:
                f = causes.signatures[:, [members[i] for i in free]]
                log_p += 0.5 * (math.log(np.linalg.det(f.T @ f)) - len(free) * math.log(max(r.size, 2)))
            log_p += float(sum(causes.log_odds[j] for j in members))
            for i, j in enumerate(members):
                if causes.sign[j]:
                    after = 0.5 * math.erfc(-causes.sign[j] * at[i] / sd[i] / math.sqrt(2))
                    usual = causes.sign[j] * causes.size_mean[j] / causes.size_sd[j]
                    before = 0.5 * math.erfc(-usual / math.sqrt(2)) if math.isfinite(causes.size_sd[j]) else 0.5
                    log_p += math.log(after / before)
        side = 0.0 if causes.side is None else float(sum(causes.side[j] for j in members))
        evidence.append(-0.5 * misfit + log_p + side + math.log(weight))
        fits.append(misfit - 2 * side - 2 * math.log(weight / weights.max()))
    top = max(evidence)
    return top + math.log(sum(math.exp(e - top) for e in evidence)), min(fits)


def made(seed: int) -> tuple[FloatArray, Hypotheses, Shift | None]:
    rng = np.random.default_rng(seed)
    k, q = int(rng.integers(4, 9)), int(rng.integers(3, 7))
    sd = np.where(rng.random(q) < 0.3, np.inf, rng.uniform(0.2, 2.0, q))
    causes = Hypotheses(
        signatures=rng.normal(size=(k, q)) * 3, log_odds=rng.normal(size=q), size_mean=np.where(np.isfinite(sd), rng.uniform(0, 1, q), 0.0),
        size_sd=sd, sign=rng.choice([0.0, 1.0], q), group=np.full(q, -1, dtype=np.int64), side=rng.normal(size=q),
    )  # fmt: skip
    weights = rng.uniform(0.1, 1, 5)
    shift = Shift(direction=rng.normal(size=k), values=np.linspace(0, 1, 5), weights=weights / weights.sum()) if seed % 2 else None
    residual = causes.signatures[:, 0] * 1.5 + rng.normal(size=k)
    return residual, causes, shift


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 3))
def test_sets_at_once_are_sets_one_by_one(seed: int, size: int) -> None:
    residual, causes, shift = made(seed)
    rng = np.random.default_rng([seed, 1])
    sets = [tuple(int(j) for j in rng.choice(causes.q, size, replace=False)) for _ in range(6)]
    found = accounts_for(residual, causes, sets, shift)
    for row, members in enumerate(sets):
        evidence, fit = plain(residual, causes, members, shift)
        assert found.log_evidence[row] == pytest.approx(evidence, rel=1e-6, abs=1e-6)
        assert found.fit[row] == pytest.approx(fit, rel=1e-6, abs=1e-6)
        assert found.account(row) == account_for(residual, causes, members, shift)


def test_sets_that_cannot_be_told_apart_never_come_first() -> None:
    residual, causes, _ = made(2)
    twins = Hypotheses(
        signatures=np.column_stack([causes.signatures[:, 0]] * 3), log_odds=np.zeros(3), size_mean=np.zeros(3), size_sd=np.full(3, np.inf),
        sign=np.zeros(3), group=np.full(3, -1, dtype=np.int64),
    )  # fmt: skip
    found = accounts_for(residual, twins, [(0, 1), (1, 2)])
    assert found.best(2) == []
    assert np.isinf(found.size_sds).all()
    assert accounts_for(residual, twins, []).best(3) == []
