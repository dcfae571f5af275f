"""Least squares over flows that cannot be below zero and must balance: how much went which way, and how sure that is.

Minimise sum (((rows x) - seen) / sds)^2 subject to balances x = 0 and x >= 0. The active set is Lawson and Hanson's; on the flows
that are above zero the answer is then solved again in the null space of the balances, so that these hold to rounding. Intervals
follow the misfit: the values for which it rises by no more than the chi-square point of one degree of freedom, whatever the other
flows do. A flow that nothing tells has an interval as wide as the balances leave it, and an even share as its value.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import Fault, InputError
from evenstand.solve.reconciling import chi2_tail

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_EVEN = 1e-3  # pull to an even share where nothing tells, against what is seen: too weak to be felt elsewhere
_HEAVY = 1e4  # weight of a balance against the sharpest reading while the active set is sought
_ZERO = 1e-7
_ROUNDS = 60
_WIDE = 50.0  # an sd beyond this times the largest number seen is no knowledge


@dataclass(frozen=True, slots=True, kw_only=True)
class Portions:
    """Flows that balance. values (n,), sds (n,): of each, infinite where nothing tells it; chi2 on dof degrees of freedom: the misfit;
    p: chance of one at least as large when all is well, not-a-number without redundancy; z (k,): what is left over of each reading,
    over the sd it has when all is well, 0 where it cannot be checked; above (n,): which flows are above zero. [unit of the readings]"""

    values: FloatArray
    sds: FloatArray
    chi2: float
    dof: int
    p: float
    z: FloatArray
    above: BoolArray
    covariance: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Problem:
    """rows, seen: whitened; balances; even: rows of the weak pull; typical: size of the numbers."""

    rows: FloatArray
    seen: FloatArray
    balances: FloatArray
    typical: float

    @property
    def n(self) -> int:
        return int(self.rows.shape[1])


def portion_out(balances: npt.ArrayLike, rows: npt.ArrayLike, seen: npt.ArrayLike, sds: npt.ArrayLike) -> Portions:
    """The likeliest flows that balance and are not below zero.

    Parameters
    ----------
    balances : array_like (m, n)
        One row for each place: what flows in counts 1, what flows out -1. [-]
    rows : array_like (k, n)
        Which flows each reading adds up. [-]
    seen : array_like (k,)
        The readings. [any]
    sds : array_like (k,)
        Their standard deviations, above 0. [as seen]

    Returns
    -------
    Portions
        With covariance and misfit. [as seen]

    Raises
    ------
    InputError
        If shapes do not match, or a number is not finite, or an sd is not above 0.

    References
    ----------
    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, 1974, chapter 23 (from memory): non-negative least squares; held
    against all active sets tried one by one in the tests.

    Examples
    --------
    20 t came; two fills were judged 9 and 12 t; what did each take if nothing else left and nothing remains?

    >>> made = portion_out([[1, -1, -1]], [[1, 0, 0], [0, 1, 0], [0, 0, 1]], [20.0, 9.0, 12.0], [0.05, 0.9, 1.2])
    >>> [round(float(v), 2) for v in made.values]
    [20.0, 8.64, 11.36]
    """
    problem, sd = _checked(balances, rows, seen, sds)
    above = _active_set(problem)
    x = _polished(problem, above)
    return _told(problem, x, x > _ZERO * problem.typical, sd)


def portion_interval(
    balances: npt.ArrayLike, rows: npt.ArrayLike, seen: npt.ArrayLike, sds: npt.ArrayLike, of: npt.ArrayLike, *, rise: float = 3.8414588
) -> tuple[float, float]:
    """Bounds of a sum of flows: where the misfit rises by `rise`, the other flows giving way as they can.

    Parameters
    ----------
    balances, rows, seen, sds : array_like
        As for `portion_out`. [as there]
    of : array_like (n,)
        Which flows are added up. [-]
    rise : float
        Rise of the misfit at the bounds; 3.84 is 95 % of chi-square on one degree of freedom. [-]

    Returns
    -------
    (float, float)
        Lowest and highest; infinite above where nothing holds it. [as seen]

    Raises
    ------
    InputError
        As for `portion_out`.
    """
    problem, sd = _checked(balances, rows, seen, sds)
    total = np.asarray(of, dtype=float)
    x = _polished(problem, _active_set(problem))
    made = _told(problem, x, x > _ZERO * problem.typical, sd)
    middle = float(total @ x)
    spread = math.sqrt(max(float(total @ made.covariance @ total), 0.0))
    reach = math.sqrt(rise)
    if bool(made.above.all()) and spread < _WIDE * problem.typical:
        step = made.covariance @ total / max(spread, 1e-300) * reach
        if bool((x - np.abs(step) >= 0).all()):
            return middle - reach * spread, middle + reach * spread
    least, most = made.chi2, made.chi2 + rise
    return _bound(problem, total, middle, spread, most, -1, least), _bound(problem, total, middle, spread, most, 1, least)


def _checked(balances: npt.ArrayLike, rows: npt.ArrayLike, seen: npt.ArrayLike, sds: npt.ArrayLike) -> tuple[_Problem, FloatArray]:
    a, y, sd = np.atleast_2d(np.asarray(rows, dtype=float)), np.asarray(seen, dtype=float), np.asarray(sds, dtype=float)
    e = np.asarray(balances, dtype=float)
    e = e.reshape(-1, a.shape[1]) if e.size == 0 else np.atleast_2d(e)
    faults = []
    if a.shape != (y.size, a.shape[1]) or y.shape != sd.shape or e.shape[1] != a.shape[1]:
        faults.append(Fault(where="rows", what=f"{a.shape} rows, {y.shape} readings, {sd.shape} sds and {e.shape} balances do not match"))
    elif not (np.isfinite(a).all() and np.isfinite(y).all() and np.isfinite(e).all()):
        faults.append(Fault(where="seen", what="a number is not finite", cure="Leave unknown readings out."))
    elif not ((sd > 0) & np.isfinite(sd)).all():
        faults.append(Fault(where="sds", what="a standard deviation is not above 0", limit="0 < sd", cure="Say how well it is known."))
    if faults:
        raise InputError(faults)
    typical = max(float(np.abs(y).max(initial=0.0)), float(sd.max(initial=0.0)), 1e-12)
    return _Problem(rows=a / sd[:, None], seen=y / sd, balances=e, typical=typical), sd


def _stacked(problem: _Problem, extra: FloatArray | None = None, value: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Readings, the weak pull, and balances (with `extra` x = value among them) as heavy rows."""
    n = problem.n
    heavy = _HEAVY * max(float(np.abs(problem.rows).max(initial=0.0)), 1.0 / problem.typical)
    parts = [problem.rows, _EVEN / problem.typical * np.eye(n), heavy * problem.balances]
    right = [problem.seen, np.zeros(n), np.zeros(len(problem.balances))]
    if extra is not None:
        parts.append(heavy * extra[None, :])
        right.append(np.array([heavy * value]))
    return np.vstack(parts), np.concatenate(right)


def _nonnegative(matrix: FloatArray, right: FloatArray) -> FloatArray:
    from scipy.optimize import nnls

    try:
        return np.asarray(nnls(matrix, right, maxiter=50 * matrix.shape[1])[0])
    except RuntimeError:  # cycling on a degenerate corner: the bounded-variable method takes over
        from scipy.optimize import lsq_linear

        bounded = lsq_linear(matrix, right, bounds=(0.0, np.inf), method="bvls", tol=1e-14).x
        return np.asarray(np.maximum(bounded, 0.0), dtype=float)


def _active_set(problem: _Problem) -> BoolArray:
    return np.asarray(_nonnegative(*_stacked(problem)) > _ZERO * problem.typical)


def _null_space(matrix: FloatArray, n: int) -> FloatArray:
    """Orthonormal columns that the balances leave free."""
    if not matrix.size:
        return np.eye(n)
    _, s, vt = np.linalg.svd(matrix)
    rank = int((s > 1e-9 * max(float(s.max(initial=0.0)), 1.0)).sum())
    return np.asarray(vt[rank:].T)


def _polished(problem: _Problem, above: BoolArray) -> FloatArray:
    """The answer on the flows above zero, balances held to rounding; a flow that would fall below zero is shut and it is done again."""
    above = above.copy()
    pull = _EVEN / problem.typical
    for _ in range(problem.n + 1):
        x = np.zeros(problem.n)
        free = _null_space(problem.balances[:, above], int(above.sum()))
        if free.size:
            matrix = np.vstack([problem.rows[:, above] @ free, pull * free])
            x[above] = free @ np.linalg.lstsq(matrix, np.concatenate([problem.seen, np.zeros(len(free))]), rcond=None)[0]
        if bool((x >= -_ZERO * problem.typical).all()):
            break
        above[int(np.argmin(x))] = False
    return np.asarray(np.maximum(x, 0.0))


def _told(problem: _Problem, x: FloatArray, above: BoolArray, sd: FloatArray) -> Portions:
    n = problem.n
    residual = problem.seen - problem.rows @ x
    covariance, hat = np.zeros((n, n)), np.zeros(len(problem.seen))
    free = _null_space(problem.balances[:, above], int(above.sum()))
    rank = 0
    if free.size:
        a = problem.rows[:, above] @ free
        rank = int(np.linalg.matrix_rank(a, tol=1e-9 * max(1.0, float(np.abs(a).max(initial=0.0)))))
        inverse = np.linalg.pinv(a.T @ a + (_EVEN / problem.typical) ** 2 * np.eye(free.shape[1]), hermitian=True)
        covariance[np.ix_(above, above)] = free @ inverse @ free.T
        hat = np.einsum("ij,jk,ik->i", a, inverse, a)
    spread = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    chi2, dof = float(residual @ residual), int(len(problem.seen) - rank)
    left = np.maximum(1.0 - hat, 0.0)
    z = np.where(left > 1e-6, residual / np.sqrt(np.maximum(left, 1e-6)), 0.0)
    return Portions(
        values=x,
        sds=np.where(spread > _WIDE * problem.typical, np.inf, spread),
        chi2=chi2,
        dof=dof,
        p=chi2_tail(chi2, dof),
        z=z,
        above=above,
        covariance=covariance,
    )


def _misfit_at(problem: _Problem, total: FloatArray, value: float) -> float:
    """The least misfit with a sum of flows held; infinite where that cannot be."""
    x = _nonnegative(*_stacked(problem, total, value))
    off = max(float(np.abs(problem.balances @ x).max(initial=0.0)), abs(float(total @ x) - value))
    if off > 1e-3 * problem.typical:
        return math.inf
    residual = problem.seen - problem.rows @ x
    return float(residual @ residual)


def _bound(problem: _Problem, total: FloatArray, middle: float, spread: float, most: float, side: int, least: float) -> float:
    """Where the misfit crosses `most`, going out from the middle. The root of its rise is nearly a straight line: a secant finds it."""
    reach = math.sqrt(most - least)
    step = max(min(reach * spread, _WIDE * problem.typical), 1e-6 * problem.typical)
    inside, outside = 0.0, math.inf  # steps known to lie on either side of the crossing
    for _ in range(_ROUNDS):
        if side < 0:
            step = min(step, middle)
        rise = _misfit_at(problem, total, middle + side * step) - least
        root = math.sqrt(rise) if math.isfinite(rise) and rise > 0 else rise if not math.isfinite(rise) else 0.0
        if math.isfinite(root) and abs(root - reach) <= 2e-3 * reach:
            return middle + side * step
        if root < reach:
            inside = step
            if side < 0 and step >= middle:
                return 0.0
            if step > _WIDE * problem.typical:
                return math.inf
        else:
            outside = step
        if outside - inside <= 1e-4 * outside:
            break
        guess = step * reach / root if math.isfinite(root) and root > 0.1 * reach else 0.0
        between = 0.5 * (inside + outside) if math.isfinite(outside) else 3.0 * step
        step = guess if inside < guess < outside else between
    return middle + side * inside
