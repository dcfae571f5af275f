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

FloatArray = npt.NDArray[np.float64]

SAME_COSINE = 0.95
SAME_CHI2 = 3.84  # 95 % point of chi-square on one degree of freedom
_OUT_OF_SIZE = 12.0  # a cause in the same direction drops out only if the size it would need is unheard of


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypotheses:
    """What might be wrong, on whitened rows.

    signatures (k, q): effect of a unit of each cause [sd per unit]; log_odds (q,): natural logarithm of each cause's prior odds;
    size_mean, size_sd (q,): what size is usual; an infinite sd leaves the size free [unit of each]; sign (q,): 1 or -1 where only
    that sign is possible, 0 for both; group (q,): at most one member of a group enters a set; -1 for none; side (q,): log-likelihood
    ratio of evidence that is no row, None for none.
    """

    signatures: FloatArray
    log_odds: FloatArray
    size_mean: FloatArray
    size_sd: FloatArray
    sign: FloatArray
    group: npt.NDArray[np.int64]
    side: FloatArray | None = None

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


def account_for(residual: FloatArray, causes: Hypotheses, members: Sequence[int], shift: Shift | None = None) -> Account:
    """Evidence, misfit and sizes of one set of causes.

    Sizes are integrated over their usual spread, so a set that needs an unusual size, or more causes than it must, pays for it.

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
    index = list(members)
    f, mean, sd = causes.signatures[:, index], causes.size_mean[index], causes.size_sd[index]
    free = ~np.isfinite(sd)
    with np.errstate(divide="ignore"):
        precision = np.where(free, 0.0, 1.0 / np.where(free, 1.0, sd) ** 2)
    start = np.where(free, 0.0, mean)
    values = shift.values if shift is not None else np.zeros(1)
    weights = shift.weights if shift is not None else np.ones(1)
    r = residual[:, None] - (np.outer(shift.direction, values) if shift is not None else 0.0)
    if not index:
        misfit = np.einsum("ij,ij->j", r, r)
        return Account(
            members=(),
            sizes=(),
            size_sds=(),
            log_evidence=_log_sum(-0.5 * misfit, weights),
            fit=float(np.min(misfit - 2 * np.log(weights / weights.max()))),
        )
    normal = f.T @ f + np.diag(precision)
    if _degenerate(normal):
        return _impossible(index)
    inverse = np.linalg.inv(normal)
    at = inverse @ (f.T @ r + (precision * start)[:, None])
    misfit = np.einsum("ij,ij->j", r - f @ at, r - f @ at) + precision @ (at - start[:, None]) ** 2
    size_sd = np.sqrt(np.maximum(np.diag(inverse), 0.0))
    _, logdet = np.linalg.slogdet(normal)
    prior = _free_size_cost(f[:, free], residual.shape[0]) - 2 * float(np.sum(np.log(sd[~free])))
    log_p = -0.5 * misfit - 0.5 * logdet + 0.5 * prior + float(causes.log_odds[index].sum())
    log_p = log_p + _one_sided(at, size_sd, causes.sign[index], mean, sd)
    side = 0.0 if causes.side is None else float(causes.side[index].sum())
    log_p, misfit = log_p + side, misfit - 2 * side
    blame = -2 * np.log(weights / weights.max())
    best = int(np.argmin(misfit + blame))
    top = int(np.argmax(log_p + np.log(weights)))
    return Account(
        members=tuple(index),
        sizes=tuple(float(v) for v in at[:, top]),
        size_sds=tuple(float(v) for v in _with_shift(size_sd, at, log_p, weights)),
        log_evidence=_log_sum(log_p, weights),
        fit=float(misfit[best] + blame[best]),
    )


def _free_size_cost(f: FloatArray, rows: int) -> float:
    """A size of no usual spread costs as a prior worth one row does: half the logarithm of the rows, whatever its neighbours."""
    if f.shape[1] == 0:
        return 0.0
    logdet = float(np.linalg.slogdet(f.T @ f)[1])
    return logdet - int(f.shape[1]) * math.log(max(rows, 2))


def _degenerate(normal: FloatArray) -> bool:
    """Whether sizes of a set cannot be told from one another at all."""
    scale = np.sqrt(np.diag(normal))
    if not np.all(scale > 0):
        return True
    return bool(np.linalg.eigvalsh(normal / np.outer(scale, scale))[0] < 1e-9)


def _impossible(index: Sequence[int]) -> Account:
    """An account that is never the best: its members are one and the same to these rows."""
    nothing, unknown = (0.0,) * len(index), (math.inf,) * len(index)
    return Account(members=tuple(index), sizes=nothing, size_sds=unknown, log_evidence=-math.inf, fit=math.inf)


def _one_sided(at: FloatArray, sd: FloatArray, sign: FloatArray, mean: FloatArray, prior_sd: FloatArray) -> FloatArray:
    """Correction for causes of one sign: share of the sizes with that sign, after and before the data."""
    total = np.zeros(at.shape[1])
    if not np.any(sign):
        return total
    from scipy.special import log_ndtr

    for j in np.flatnonzero(sign):
        after = log_ndtr(sign[j] * at[j] / max(float(sd[j]), 1e-300))
        before = log_ndtr(sign[j] * mean[j] / prior_sd[j]) if np.isfinite(prior_sd[j]) else math.log(0.5)
        total += after - before
    return total


def _with_shift(sd: FloatArray, at: FloatArray, log_p: FloatArray, weights: FloatArray) -> FloatArray:
    """Spread of the sizes, the unknown shift counted in."""
    if at.shape[1] == 1:
        return sd
    p = np.exp(log_p + np.log(weights) - np.max(log_p + np.log(weights)))
    p /= p.sum()
    middle = at @ p
    return np.asarray(np.sqrt(sd**2 + ((at - middle[:, None]) ** 2) @ p), dtype=np.float64)


def _log_sum(log_p: FloatArray, weights: FloatArray) -> float:
    top = float(np.max(log_p))
    return top + math.log(float(np.sum(np.exp(log_p - top) * weights)))


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
    for size in range(1, most + 1):
        further = gain if next_gain is None else next_gain
        need = max(best.log_evidence + (further if best.members else gain), nothing.log_evidence + gain + (size - 1) * further)
        seen: dict[frozenset[int], Account] = {}
        for account in level:
            for j in range(causes.q):
                key = frozenset((*account.members, j))
                if len(key) < size or key in seen or _clash(causes, account.members, j):
                    continue
                seen[key] = account_for(residual, causes, (*account.members, j), shift)
        possible = (a for a in seen.values() if math.isfinite(a.log_evidence))
        level = sorted(possible, key=lambda a: -a.log_evidence)[:beam]
        if not level or level[0].log_evidence < need:
            if size == 1 and level:  # a pair may explain what no single cause can
                continue
            break
        best, ranked = level[0], level
    classes = tuple(_class_of(residual, causes, best, j, shift) for j in best.members)
    return Explanation(best=best, nothing=nothing, classes=classes, runners_up=tuple(a for a in ranked if a is not best))


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
    for j in range(causes.q):
        if j == member or j in others or _clash(causes, others, j):
            continue
        rival = account_for(residual, causes, (*others, j), shift)
        if not math.isfinite(rival.log_evidence):
            continue
        size = rival.sizes[-1]
        if causes.sign[j] and size * causes.sign[j] <= 0:
            continue
        worse = rival.fit - best.fit
        if worse < SAME_CHI2 or (table[j] > SAME_COSINE and worse < _OUT_OF_SIZE):
            found.append((rival.log_evidence, j))
    return tuple(j for _, j in sorted(found, key=lambda pair: -pair[0]))


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
