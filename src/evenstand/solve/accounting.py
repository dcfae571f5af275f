"""How well sets of causes explain a residual: evidence, misfit and sizes, of many sets at once.

Everything happens on whitened rows, as in `explaining`. Sizes are integrated over their usual spread, so a set that needs an unusual size,
or more causes than it must, pays for it. All sets of one call have as many members, so one stack of small matrices serves them all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
_AT_ONCE = 2_000_000  # numbers in the largest stack that is made at one time


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypotheses:
    """What might be wrong, on whitened rows.

    signatures (k, q): effect of a unit of each cause [sd per unit]; log_odds (q,): natural logarithm of each cause's prior odds;
    size_mean, size_sd (q,): what size is usual; an infinite sd leaves the size free [unit of each]; sign (q,): 1 or -1 where only
    that sign is possible, 0 for both; group (q,): at most one member of a group enters a set; -1 for none; side (q,): log-likelihood
    ratio of evidence that is no row, None for none; extra (q,): log-evidence asked beyond the limit before this cause is believed,
    None for none; alone (q,): True for a cause that speaks only where nothing else explains, and so never stands in for another; None
    for none.
    """

    signatures: FloatArray
    log_odds: FloatArray
    size_mean: FloatArray
    size_sd: FloatArray
    sign: FloatArray
    group: npt.NDArray[np.int64]
    side: FloatArray | None = None
    extra: FloatArray | None = None
    alone: npt.NDArray[np.bool_] | None = None

    @property
    def q(self) -> int:
        """Number of causes."""
        return int(self.signatures.shape[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """A one-sided bias that is always there: its whitened direction (k,) and the values it may take (s,), each with a weight (s,)."""

    direction: FloatArray
    values: FloatArray
    weights: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """One set of causes and how well it explains the rows.

    members: positions of the causes, in the order they were found; sizes, size_sds: of each [unit of each]; log_evidence: with
    prior odds and sizes weighed in; fit: squared misfit at the best sizes, priors of size counted in [-].
    """

    members: tuple[int, ...]
    sizes: tuple[float, ...]
    size_sds: tuple[float, ...]
    log_evidence: float
    fit: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Accounts:
    """Accounts of many sets, one a row; fields as in `Account`: members, sizes, size_sds (b, m), log_evidence, fit (b,)."""

    members: IntArray
    sizes: FloatArray
    size_sds: FloatArray
    log_evidence: FloatArray
    fit: FloatArray

    def account(self, row: int) -> Account:
        """One of them.

        Parameters
        ----------
        row : int
            Which. [-]
        """
        return Account(
            members=tuple(int(j) for j in self.members[row]),
            sizes=tuple(float(v) for v in self.sizes[row]),
            size_sds=tuple(float(v) for v in self.size_sds[row]),
            log_evidence=float(self.log_evidence[row]),
            fit=float(self.fit[row]),
        )

    def best(self, most: int) -> list[Account]:
        """Those of the largest evidence, largest first; sets whose sizes cannot be told from one another never count.

        Parameters
        ----------
        most : int
            How many. [-]
        """
        order = np.argsort(-self.log_evidence, kind="stable")
        return [self.account(int(row)) for row in order[:most] if math.isfinite(self.log_evidence[row])]


def account_for(residual: FloatArray, causes: Hypotheses, members: Sequence[int], shift: Shift | None = None) -> Account:
    """Evidence, misfit and sizes of one set of causes.

    Parameters
    ----------
    residual : array (k,)
        Whitened. [sd]
    causes : Hypotheses
        What might be wrong. [see the class]
    members : sequence of int
        Which causes are at work. [-]
    shift : Shift or None
        A bias that is always there, of unknown size within its band. [see the class]
    """
    return accounts_for(residual, causes, [tuple(members)], shift).account(0)


def accounts_for(residual: FloatArray, causes: Hypotheses, sets: Sequence[Sequence[int]], shift: Shift | None = None) -> Accounts:
    """Evidence, misfit and sizes of many sets of causes, all of one length.

    Parameters
    ----------
    residual : array (k,)
        Whitened. [sd]
    causes : Hypotheses
        What might be wrong. [see the class]
    sets : sequence of sequences of int
        Which causes are at work in each. [-]
    shift : Shift or None
        A bias that is always there, of unknown size within its band. [see the class]
    """
    b = len(sets)
    index = np.array([list(s) for s in sets], dtype=np.int64).reshape(b, len(sets[0]) if b else 1)
    values = shift.values if shift is not None else np.zeros(1)
    weights = shift.weights if shift is not None else np.ones(1)
    r = residual[:, None] - (np.outer(shift.direction, values) if shift is not None else 0.0)
    at_once = max(1, _AT_ONCE // max(r.size, 1))
    parts = [_stack(r, causes, index[i : i + at_once], weights) for i in range(0, b, at_once)] or [_stack(r, causes, index, weights)]
    return Accounts(
        members=index,
        sizes=np.concatenate([p[0] for p in parts]),
        size_sds=np.concatenate([p[1] for p in parts]),
        log_evidence=np.concatenate([p[2] for p in parts]),
        fit=np.concatenate([p[3] for p in parts]),
    )


def _stack(
    r: FloatArray, causes: Hypotheses, index: IntArray, weights: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Sizes (b, m), their sds (b, m), log evidence (b,) and fit (b,) of sets, r (k, s) being the residual at each value of the shift."""
    b, m = index.shape
    blame = -2 * np.log(weights / weights.max())
    if m == 0:
        misfit = np.broadcast_to(np.einsum("ks,ks->s", r, r), (b, r.shape[1]))
        return np.zeros((b, 0)), np.zeros((b, 0)), _log_sum(-0.5 * misfit, weights), np.asarray(np.min(misfit + blame, axis=1))
    f = np.ascontiguousarray(causes.signatures.T[index].transpose(0, 2, 1))
    mean, sd, sign = causes.size_mean[index], causes.size_sd[index], causes.sign[index]
    free = ~np.isfinite(sd)
    precision = np.where(free, 0.0, 1.0 / np.where(free, 1.0, sd) ** 2)
    start = np.where(free, 0.0, mean)
    gram = f.transpose(0, 2, 1) @ f
    normal = gram + precision[:, :, None] * np.eye(m)
    told = ~_degenerate(normal)
    inverse = np.linalg.inv(np.where(told[:, None, None], normal, np.eye(m)))
    at = inverse @ (f.transpose(0, 2, 1) @ r + (precision * start)[:, :, None])
    misfit = np.square(r - f @ at).sum(axis=1) + np.einsum("bm,bms->bs", precision, np.square(at - start[:, :, None]))
    size_sd = np.sqrt(np.maximum(np.diagonal(inverse, axis1=1, axis2=2), 0.0))
    logdet = np.linalg.slogdet(np.where(told[:, None, None], normal, np.eye(m)))[1]
    prior = _free_size_cost(gram, free, told, r.shape[0]) - 2 * np.log(np.where(free, 1.0, sd)).sum(axis=1)
    known = 0.5 * prior - 0.5 * logdet + causes.log_odds[index].sum(axis=1)
    side = np.zeros(b) if causes.side is None else causes.side[index].sum(axis=1)
    log_p = -0.5 * misfit + (known + side)[:, None] + _one_sided(at, size_sd, sign, mean, sd)
    misfit = misfit - 2 * side[:, None]
    top = np.argmax(log_p + np.log(weights), axis=1)
    sizes = np.take_along_axis(at, top[:, None, None], axis=2)[:, :, 0]
    evidence, fit = _log_sum(log_p, weights), np.min(misfit + blame, axis=1)
    return (
        np.where(told[:, None], sizes, 0.0),
        np.where(told[:, None], _with_shift(size_sd, at, log_p, weights), math.inf),
        np.where(told, evidence, -math.inf),
        np.where(told, fit, math.inf),
    )


def _free_size_cost(gram: FloatArray, free: npt.NDArray[np.bool_], told: npt.NDArray[np.bool_], rows: int) -> FloatArray:
    """A size of no usual spread costs as a prior worth one row does: half the logarithm of the rows, whatever its neighbours."""
    if not free.any():
        return np.zeros(gram.shape[0])
    both = free[:, :, None] & free[:, None, :] & told[:, None, None]
    logdet = np.linalg.slogdet(np.where(both, gram, np.eye(gram.shape[1])))[1]
    return np.asarray(logdet - free.sum(axis=1) * math.log(max(rows, 2)), dtype=np.float64)


def _degenerate(normal: FloatArray) -> npt.NDArray[np.bool_]:
    """Whether sizes of a set cannot be told from one another at all, (b,)."""
    scale = np.sqrt(np.diagonal(normal, axis1=1, axis2=2))
    dark = ~np.all(scale > 0, axis=1)
    scale = np.where(dark[:, None], 1.0, scale)
    least = np.linalg.eigvalsh(normal / (scale[:, :, None] * scale[:, None, :]))[:, 0]
    return np.asarray(dark | (least < 1e-9))


def _one_sided(at: FloatArray, sd: FloatArray, sign: FloatArray, mean: FloatArray, prior_sd: FloatArray) -> FloatArray:
    """Correction for causes of one sign: share of the sizes with that sign, after and before the data, (b, s)."""
    total = np.zeros((at.shape[0], at.shape[2]))
    if not np.any(sign):
        return total
    from scipy.special import log_ndtr

    row, j = np.nonzero(sign)
    s, spread = sign[row, j], prior_sd[row, j]
    after = log_ndtr(s[:, None] * at[row, j] / np.maximum(sd[row, j], 1e-300)[:, None])
    finite = np.isfinite(spread)
    before = np.where(finite, log_ndtr(s * mean[row, j] / np.where(finite, spread, 1.0)), math.log(0.5))
    np.add.at(total, row, after - before[:, None])
    return total


def _with_shift(sd: FloatArray, at: FloatArray, log_p: FloatArray, weights: FloatArray) -> FloatArray:
    """Spread of the sizes, the unknown shift counted in, (b, m)."""
    if at.shape[2] == 1:
        return sd
    lp = log_p + np.log(weights)
    p = np.exp(lp - lp.max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    middle = np.einsum("bms,bs->bm", at, p)
    return np.asarray(np.sqrt(sd**2 + np.einsum("bms,bs->bm", np.square(at - middle[:, :, None]), p)), dtype=np.float64)


def _log_sum(log_p: FloatArray, weights: FloatArray) -> FloatArray:
    """Logarithm of the weighted mean of exp(log_p) over the shift, (b,)."""
    top = log_p.max(axis=1, initial=-math.inf)
    return np.asarray(top + np.log((np.exp(log_p - top[:, None]) * weights).sum(axis=1)), dtype=np.float64)
