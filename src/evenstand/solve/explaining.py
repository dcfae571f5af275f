"""Which few causes explain a residual: generalised likelihood ratio, serial elimination, and the best small set by evidence.

Everything happens on *whitened* rows: r = L^-1 residual has unit covariance when nothing is wrong, and a cause of size s adds
f s, with f its whitened signature. Two causes whose signatures point the same way can never be told apart; two that explain the
rows nearly equally well cannot be told apart today. Both make one class.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from evenstand.solve.accounting import Account, Hypotheses, Shift, account_for, accounts_for

FloatArray = npt.NDArray[np.float64]

SAME_COSINE = 0.95
SAME_CHI2 = 3.84  # 95 % point of chi-square on one degree of freedom
_OUT_OF_SIZE = 12.0  # a cause in the same direction drops out only if the size it would need is unheard of


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """The best account, the account of nothing being wrong, and for each member of the best the class it belongs to."""

    best: Account
    nothing: Account
    classes: tuple[tuple[int, ...], ...] = ()
    runners_up: tuple[Account, ...] = field(default=())


def whitener(covariance: FloatArray) -> FloatArray:
    """Matrix T with T covariance T' = identity on its range. [one per unit of each row]

    Parameters
    ----------
    covariance : array (k, k)
        Symmetric, no negative variance. [product of units]
    """
    if covariance.size == 0:
        return np.zeros((0, 0))
    scale = np.sqrt(np.diag(covariance))
    scale = np.where(scale > 0, scale, 1.0)
    values, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    keep = values > 1e-12 * max(float(values.max()), 1e-300)
    return np.asarray((vectors[:, keep] / np.sqrt(values[keep])).T / scale, dtype=np.float64)


def cosines(signatures: FloatArray) -> FloatArray:
    """Absolute cosine between every two signatures; 0 where one of them shows nothing. [-]

    Parameters
    ----------
    signatures : array (k, q)
        Whitened effects. [sd per unit]
    """
    lengths = np.linalg.norm(signatures, axis=0)
    unit = np.divide(
        signatures, lengths, out=np.zeros_like(signatures), where=lengths > 1e-9 * max(float(lengths.max(initial=0.0)), 1e-300)
    )
    return np.asarray(np.abs(unit.T @ unit), dtype=np.float64)


def same_direction(signatures: FloatArray, *, limit: float = SAME_COSINE) -> tuple[tuple[int, ...], ...]:
    """Groups of causes whose signatures point the same way, single ones included; causes that show nothing are left out.

    Parameters
    ----------
    signatures : array (k, q)
        Whitened effects. [sd per unit]
    limit : float
        Absolute cosine above which two are one. [-]
    """
    table = cosines(signatures)
    left = [j for j in range(signatures.shape[1]) if table[j, j] > 0.5]
    groups = []
    while left:
        group = [left.pop(0)]
        for j in list(left):
            if any(table[i, j] > limit for i in group):
                group.append(j)
                left.remove(j)
        groups.append(tuple(group))
    return tuple(groups)


def glr(residual: FloatArray, signatures: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Generalised likelihood ratio of each cause alone, and its best size.

    Parameters
    ----------
    residual : array (k,)
        Whitened. [sd]
    signatures : array (k, q)
        Whitened effects. [sd per unit]

    Returns
    -------
    (statistic (q,), size (q,))
        Statistic: how much the squared misfit falls; 0 for a cause that shows nothing. [-, unit of each]
    """
    power = np.einsum("ij,ij->j", signatures, signatures)
    seen = power > 1e-18 * max(float(power.max(initial=0.0)), 1e-300)
    along = signatures.T @ residual
    size = np.divide(along, power, out=np.zeros_like(along), where=seen)
    return size * along, size


def sidak_limit(tests: int, alpha: float = 0.05) -> float:
    """Chi-square limit on one degree of freedom for the largest of several tests at one overall false-alarm share. [-]

    Parameters
    ----------
    tests : int
        How many are looked at together. [-]
    alpha : float
        Overall share of false alarms. [-]
    """
    from scipy.special import chdtri

    each = 1.0 - (1.0 - alpha) ** (1.0 / max(tests, 1))
    return float(chdtri(1, each))


def serial_elimination(residual: FloatArray, signatures: FloatArray, *, alpha: float = 0.05, most: int | None = None) -> tuple[int, ...]:
    """Name the largest ratio, take its measurement out by leaving its size free, and look again until none stands out.

    Parameters
    ----------
    residual : array (k,)
        Whitened. [sd]
    signatures : array (k, q)
        Whitened effects. [sd per unit]
    alpha : float
        False-alarm share of each look, over all causes together. [-]
    most : int or None
        Stop after this many. [-]

    Returns
    -------
    tuple of int
        Positions of the causes, in the order they were found. [-]
    """
    limit = sidak_limit(signatures.shape[1], alpha)
    left, rows = residual.copy(), signatures.copy()
    found: list[int] = []
    original = np.einsum("ij,ij->j", signatures, signatures)
    while most is None or len(found) < most:
        statistic, _ = glr(left, rows)
        power = np.einsum("ij,ij->j", rows, rows)
        statistic[power < 1e-9 * original] = 0.0
        statistic[found] = 0.0
        j = int(np.argmax(statistic)) if statistic.size else 0
        if statistic.size == 0 or statistic[j] <= limit:
            break
        found.append(j)
        direction = rows[:, j] / np.linalg.norm(rows[:, j])
        left = left - direction * (direction @ left)
        rows = rows - np.outer(direction, direction @ rows)
    return tuple(found)


def explain(
    residual: FloatArray,
    causes: Hypotheses,
    *,
    shift: Shift | None = None,
    most: int = 3,
    beam: int = 12,
    gain: float = 2.0,
    next_gain: float | None = None,
) -> Explanation:
    """The smallest set of causes that explains the rows, by a beam search over sets.

    Parameters
    ----------
    residual : array (k,)
        Whitened. [sd]
    causes : Hypotheses
        What might be wrong. [see the class]
    shift : Shift or None
        A bias that is always there. [see the class]
    most : int
        Largest set looked at. [-]
    beam : int
        How many sets of each size are carried on. [-]
    gain : float
        Log-evidence the first cause must add before it is believed. [-]
    next_gain : float or None
        The same for each further cause; None: `gain`. [-]

    Returns
    -------
    Explanation
        Best account, its classes, and the runners-up of the same size. [see the class]
    """
    nothing = account_for(residual, causes, (), shift)
    best, level, ranked = nothing, [nothing], [nothing]
    further = gain if next_gain is None else next_gain
    for size in range(1, most + 1):
        level = _next_level(residual, causes, level, size, beam, shift)
        if not level or level[0].log_evidence < max(
            best.log_evidence + further if best.members else -math.inf,
            nothing.log_evidence + gain + _extra(causes, level[0].members) + (size - 1) * further,
        ):
            if size == 1 and level:  # a pair may explain what no single cause can
                continue
            break
        best, ranked = level[0], level
    classes = tuple(_class_of(residual, causes, best, j, shift) for j in best.members)
    return Explanation(best=best, nothing=nothing, classes=classes, runners_up=tuple(a for a in ranked if a is not best))


def _extra(causes: Hypotheses, members: Sequence[int]) -> float:
    """What the least doubted member of a set asks for beyond the limit."""
    return 0.0 if causes.extra is None else float(min(causes.extra[j] for j in members))


def _next_level(
    residual: FloatArray, causes: Hypotheses, level: Sequence[Account], size: int, beam: int, shift: Shift | None
) -> list[Account]:
    """The best sets of one cause more than those of a level."""
    seen: dict[frozenset[int], tuple[int, ...]] = {}
    for account in level:
        for j in range(causes.q):
            key = frozenset((*account.members, j))
            if len(key) == size and key not in seen and not _clash(causes, account.members, j):
                seen[key] = (*account.members, j)
    return accounts_for(residual, causes, list(seen.values()), shift).best(beam)


def _clash(causes: Hypotheses, members: Sequence[int], j: int) -> bool:
    return causes.group[j] >= 0 and any(causes.group[i] == causes.group[j] for i in members)


def _class_of(residual: FloatArray, causes: Hypotheses, best: Account, member: int, shift: Shift | None) -> tuple[int, ...]:
    """The causes that could stand in for one member of the best account: same direction, or a misfit not clearly worse."""
    others = tuple(i for i in best.members if i != member)
    rows = causes.signatures
    if others:  # what is left for a cause to explain once the others are free to change their size
        basis, _ = np.linalg.qr(rows[:, list(others)])
        rows = rows - basis @ (basis.T @ rows)
    table = cosines(np.column_stack([rows[:, member], rows]))[0, 1:]
    found: list[tuple[float, int]] = [(math.inf, member)]
    own = _unusual(causes, best)
    rivals = [j for j in range(causes.q) if j != member and j not in others and not _clash(causes, others, j)]
    tried = accounts_for(residual, causes, [(*others, j) for j in rivals], shift)
    for row, j in enumerate(rivals):
        if not math.isfinite(tried.log_evidence[row]):
            continue
        if causes.alone is not None and causes.alone[j]:
            continue
        if causes.sign[j] and tried.sizes[row, -1] * causes.sign[j] <= 0:
            continue
        worse, unusual = float(tried.fit[row]) - best.fit, _unusual(causes, tried.account(row))
        by_rows = worse - unusual + own  # which of two sizes is more usual is no reading: it ranks a class and does not make it smaller
        if worse < SAME_CHI2 or (by_rows < SAME_CHI2 and unusual < _OUT_OF_SIZE) or (table[j] > SAME_COSINE and worse < _OUT_OF_SIZE):
            found.append((float(tried.log_evidence[row]), j))
    return tuple(j for _, j in sorted(found, key=lambda pair: -pair[0]))


def _unusual(causes: Hypotheses, account: Account) -> float:
    """How far the sizes of an account are from what is usual. [sd squared]"""
    return float(
        sum(
            ((size - causes.size_mean[j]) / causes.size_sd[j]) ** 2
            for j, size in zip(account.members, account.sizes, strict=True)
            if math.isfinite(causes.size_sd[j])
        )
    )


def flat_hypotheses(signatures: FloatArray, *, odds: float = 0.02) -> Hypotheses:
    """Causes of free size and equal prior odds, for a network where any measurement may be wrong.

    Parameters
    ----------
    signatures : array (k, q)
        Whitened effects. [sd per unit]
    odds : float
        Prior odds of each cause. [-]
    """
    q = signatures.shape[1]
    return Hypotheses(
        signatures=signatures,
        log_odds=np.full(q, math.log(odds)),
        size_mean=np.zeros(q),
        size_sd=np.full(q, np.inf),
        sign=np.zeros(q),
        group=np.full(q, -1, dtype=np.int64),
    )
