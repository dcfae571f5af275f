"""Data reconciliation: the most probable values that satisfy linear balances, and whether the measurements can be believed.

Measured values y with covariance V; true values obey A x = 0. Unmeasured values are projected out: with P A_u = 0 the
reduced balances are G = P A_m, and the residual r = G y has covariance H = G V G'. The global test is r' H^-1 r on rank(H)
degrees of freedom: the *rank*, not the number of balances written down, so a balance written twice adds nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import Fault, InputError
from evenstand.solve.explaining import Explanation, explain, flat_hypotheses, same_direction, whitener

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Name = str | int  # as given; the position, counted from 0, where no names are given
ReconciledState = Literal["holds", "doubtful", "does not hold", "cannot be told yet"]

ALPHA = 0.05
STRICT_ALPHA = 0.01
_RANK_TOLERANCE = 1e-10


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciliation:
    """Reconciled values and how well the measurements agree.

    values (n,) reconciled, not-a-number where nothing tells them [unit of each]; sds (n,) their standard deviations, infinite
    where unobservable [unit of each]; chi2 [-] on dof degrees of freedom; p: chance of a chi2 at least this large when all is
    well, not-a-number without redundancy [-]; z (n,) measurement tests, not-a-number where a measurement cannot be tested [-];
    suspects: for each error found, the class it belongs to, likeliest first; sizes and size_sds: of the first of each class;
    classes: groups that these relations can never tell apart; observable (n,): the value is known from the measurements;
    redundant (n,): the measurement can be checked by the others; settle_by: the one reading that would help most;
    names (n,): of the values; state: the verdict in words.
    """

    values: FloatArray
    sds: FloatArray
    chi2: float
    dof: int
    p: float
    z: FloatArray
    suspects: tuple[tuple[Name, ...], ...]
    sizes: tuple[float, ...]
    size_sds: tuple[float, ...]
    classes: tuple[tuple[Name, ...], ...]
    observable: BoolArray
    redundant: BoolArray
    settle_by: str
    names: tuple[Name, ...]
    state: ReconciledState


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduced:
    """Balances with the unmeasured values projected out.

    rows (k, measured): independent reduced balances, G [per unit of each]; residual (k,): G y; covariance (k, k): H;
    measured (n,): which values were measured; inverse (k, k): pseudo-inverse of H; rank: of H; contradiction: exactly known
    values that break an exact balance.
    """

    rows: FloatArray
    residual: FloatArray
    covariance: FloatArray
    inverse: FloatArray
    measured: BoolArray
    rank: int
    contradiction: bool


def chi2_tail(chi2: float, dof: int) -> float:
    """Chance that chi-square on `dof` degrees of freedom is at least `chi2`; not-a-number for none. [-]

    Parameters
    ----------
    chi2 : float
        Sum of squared standardised residuals. [-]
    dof : int
        Degrees of freedom. [-]
    """
    if dof <= 0:
        return math.nan
    if math.isinf(chi2):
        return 0.0
    from scipy.special import chdtrc

    return float(chdtrc(dof, chi2))


def verdict(p: float, dof: int) -> ReconciledState:
    """The global test in words.

    Parameters
    ----------
    p : float
        Chance of a worse agreement when all is well. [-]
    dof : int
        Degrees of freedom; none: nothing can be told. [-]
    """
    if dof <= 0 or math.isnan(p):
        return "cannot be told yet"
    if p < STRICT_ALPHA:
        return "does not hold"
    return "doubtful" if p < ALPHA else "holds"


def covariance_of(sds: FloatArray, cov: FloatArray | None, measured: BoolArray) -> FloatArray:
    """Covariance of the measured values, (measured, measured). [product of units]

    Parameters
    ----------
    sds : array (n,)
        Standard deviations, used when `cov` is not given. [unit of each]
    cov : array (n, n) or None
        Full covariance; rows of unmeasured values are left out. [product of units]
    measured : array (n,) of bool
        Which values were measured. [-]

    Raises
    ------
    InputError
        If an sd is negative or missing, or `cov` is no covariance.
    """
    if cov is None:
        part = sds[measured]
        bad = [Fault(where=f"sds[{i}]", what=f"{sds[i]:g} is no standard deviation", limit="0 <= sd") for i in _bad_sds(sds, measured)]
        if bad:
            raise InputError(bad)
        return np.diag(part**2)
    full = cov[np.ix_(measured, measured)]
    if not np.all(np.isfinite(full)) or not np.allclose(full, full.T, rtol=1e-9, atol=0):
        raise InputError("must be finite and symmetric", where="cov", cure="Give the covariance of all measured values.")
    if full.size and np.linalg.eigvalsh(full).min() < -1e-9 * max(float(np.abs(np.diag(full)).max()), 1e-300):
        raise InputError("has a negative variance in some direction", where="cov", cure="Correct the correlations.")
    return np.asarray(full, dtype=np.float64)


def _bad_sds(sds: FloatArray, measured: BoolArray) -> list[int]:
    return [int(i) for i in np.flatnonzero(measured) if not (np.isfinite(sds[i]) and sds[i] >= 0)]


def reduce_balances(balances: FloatArray, measured_values: FloatArray, measured: BoolArray, covariance: FloatArray) -> Reduced:
    """Project the unmeasured values out of the balances and keep independent rows only.

    Parameters
    ----------
    balances : array (m, n)
        One balance a row, sum to zero. [per unit of each]
    measured_values : array (n,)
        Values; those not measured are ignored. [unit of each]
    measured : array (n,) of bool
        Which were measured. [-]
    covariance : array (measured, measured)
        Of the measured values. [product of units]

    Returns
    -------
    Reduced
        Reduced balances, residual, its covariance and rank. [see the class]
    """
    lengths = np.linalg.norm(balances, axis=1)
    scaled = balances / np.where(lengths > 0, lengths, 1.0)[:, None]
    projection = _left_null(scaled[:, ~measured])
    reduced = projection.T @ scaled[:, measured]
    # columns are scaled by their spread first: the rank must not hang on whether one stream is in grams and another in tonnes
    spread = np.sqrt(np.diag(covariance)) if covariance.size else np.zeros(0)
    weight = np.where(spread > 0, spread, 1.0)
    beside = float(np.linalg.norm(scaled[:, measured] * weight)) if measured.any() else 0.0
    rows = _independent_rows(reduced * weight, beside) / weight
    y = measured_values[measured]
    residual = rows @ y
    h = rows @ covariance @ rows.T
    inverse, rank, null = _symmetric_inverse(h)
    size = np.abs(rows) @ np.abs(y) + 1e-300
    stray = null.T @ residual if null.size else np.zeros(0)
    contradiction = bool(np.any(np.abs(stray) > 1e-9 * float(size.max()))) if stray.size else False
    return Reduced(rows=rows, residual=residual, covariance=h, inverse=inverse, measured=measured, rank=rank, contradiction=contradiction)


def _left_null(matrix: FloatArray) -> FloatArray:
    """Orthonormal columns P with P' matrix = 0."""
    m = matrix.shape[0]
    if matrix.shape[1] == 0:
        return np.eye(m)
    u, s, _ = np.linalg.svd(matrix, full_matrices=True)
    rank = int(np.sum(s > _RANK_TOLERANCE * max(1.0, float(s.max(initial=0.0)))))
    return np.asarray(u[:, rank:], dtype=np.float64)


def _independent_rows(matrix: FloatArray, size: float) -> FloatArray:
    """As many orthonormal rows as the matrix has rank beside `size`, spanning the same space: what is left of a projection is dust."""
    if matrix.size == 0:
        return np.zeros((0, matrix.shape[1]))
    _, s, vt = np.linalg.svd(matrix, full_matrices=False)
    rank = int(np.sum(s > _RANK_TOLERANCE * size)) if size > 0 else 0
    return np.asarray(vt[:rank], dtype=np.float64)


def _symmetric_inverse(h: FloatArray) -> tuple[FloatArray, int, FloatArray]:
    """Pseudo-inverse, rank and null directions of a covariance."""
    if h.size == 0:
        return np.zeros_like(h), 0, np.zeros((0, 0))
    values, vectors = np.linalg.eigh((h + h.T) / 2)
    keep = values > 1e-12 * max(float(values.max()), 1e-300)
    if not values.max() > 0:
        keep[:] = False
    good = vectors[:, keep]
    return (good / values[keep]) @ good.T, int(keep.sum()), vectors[:, ~keep]


def solve_values(
    balances: FloatArray, y: FloatArray, covariance: FloatArray, reduced: Reduced
) -> tuple[FloatArray, FloatArray, BoolArray, BoolArray, FloatArray]:
    """Reconciled values, their sds, which are observable, which redundant, and the measurement tests.

    Parameters
    ----------
    balances : array (m, n)
        One balance a row. [per unit of each]
    y : array (n,)
        Measured values. [unit of each]
    covariance : array (measured, measured)
        Of the measured values. [product of units]
    reduced : Reduced
        From `reduce_balances`. [see the class]
    """
    n, measured = y.shape[0], reduced.measured
    gain = covariance @ reduced.rows.T @ reduced.inverse
    change = gain @ reduced.residual
    change_cov = gain @ reduced.rows @ covariance
    after = covariance - change_cov
    values, sds = np.full(n, np.nan), np.full(n, np.inf)
    values[measured] = y[measured] - change
    sds[measured] = np.sqrt(np.maximum(np.diag(after), 0.0))
    observable, redundant, z = measured.copy(), np.zeros(n, dtype=bool), np.full(n, np.nan)
    spread = np.sqrt(np.maximum(np.diag(change_cov), 0.0))
    own = np.sqrt(np.diag(covariance)) if covariance.size else np.zeros(0)
    testable = spread > 1e-6 * np.where(own > 0, own, np.inf)
    index = np.flatnonzero(measured)
    z[index[testable]] = change[testable] / spread[testable]
    redundant[index[testable]] = True
    if not measured.all():
        _fill_unmeasured(balances, values, sds, observable, after, measured)
    return values, sds, observable, redundant, z


def _fill_unmeasured(
    balances: FloatArray, values: FloatArray, sds: FloatArray, observable: BoolArray, after: FloatArray, measured: BoolArray
) -> None:
    """Write the values of what was not measured, where the balances give them."""
    part = balances[:, ~measured]
    lengths = np.linalg.norm(part, axis=0)
    scaled = part / np.where(lengths > 0, lengths, 1.0)
    back = -np.linalg.pinv(scaled, rcond=_RANK_TOLERANCE) @ balances[:, measured]
    back /= np.where(lengths > 0, lengths, 1.0)[:, None]
    _, s, vt = np.linalg.svd(scaled, full_matrices=True)
    rank = int(np.sum(s > _RANK_TOLERANCE * max(1.0, float(s.max(initial=0.0)))))
    free = np.linalg.norm(vt[rank:], axis=0) if rank < vt.shape[0] else np.zeros(part.shape[1])
    known = free < 1e-8
    index = np.flatnonzero(~measured)
    values[index[known]] = (back @ values[measured])[known]
    sds[index[known]] = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", back, after, back), 0.0))[known]
    observable[index] = known


def check_arrays(
    balances: object, measured: object, sds: object, cov: object
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray | None]:
    """The arguments as arrays of matching shapes.

    Parameters
    ----------
    balances, measured, sds, cov : array-like
        As given to `reconcile_linear`. [-]

    Raises
    ------
    InputError
        Naming every argument whose shape does not fit.
    """
    a = np.atleast_2d(np.asarray(balances, dtype=np.float64))
    y, s = np.asarray(measured, dtype=np.float64), np.asarray(sds, dtype=np.float64)
    n = y.shape[0] if y.ndim == 1 else -1
    faults = []
    if y.ndim != 1:
        faults.append(Fault(where="measured", what=f"has shape {y.shape}", limit="one row of n values"))
    if a.ndim != 2 or a.shape[1] != n:
        faults.append(Fault(where="balances", what=f"has shape {a.shape}", limit=f"(m, {n})", cure="Give one column for each value."))
    elif not np.all(np.isfinite(a)):
        faults.append(Fault(where="balances", what="holds something that is no number"))
    if s.shape != y.shape:
        faults.append(Fault(where="sds", what=f"has shape {s.shape}", limit=f"({n},)"))
    c = None if cov is None else np.asarray(cov, dtype=np.float64)
    if c is not None and c.shape != (n, n):
        faults.append(Fault(where="cov", what=f"has shape {c.shape}", limit=f"({n}, {n})"))
    if np.any(np.isinf(y)):
        faults.append(Fault(where="measured", what="holds an infinite value", cure="Use not-a-number for what was not measured."))
    if faults:
        raise InputError(faults)
    return a, y, s, c


def names_or_numbers(names: Sequence[str], n: int) -> tuple[Name, ...]:
    """The names given, or the positions counted from 0.

    Parameters
    ----------
    names : sequence of str
        May be empty. [-]
    n : int
        How many are wanted. [-]
    """
    if names and len(names) != n:
        raise InputError(f"{len(names)} names for {n} values", where="names")
    return tuple(names) if names else tuple(range(n))


def reconcile_linear(
    balances: npt.ArrayLike,
    measured: npt.ArrayLike,
    sds: npt.ArrayLike,
    *,
    cov: npt.ArrayLike | None = None,
    names: Sequence[str] = (),
    most: int = 5,
) -> Reconciliation:
    """Weighted least squares reconciliation of measurements with linear balances, and where the error is.

    Parameters
    ----------
    balances : array (m, n)
        One balance a row; each row times the true values is zero. Rows may repeat one another. [per unit of each]
    measured : array (n,)
        Measured values; not-a-number for what was not measured. [unit of each]
    sds : array (n,)
        Standard deviations; 0 for what is known exactly, infinite counts as not measured. [unit of each]
    cov : array (n, n) or None
        Covariance of the measurements where errors are shared, instead of `sds`. [product of units]
    names : sequence of str
        Names of the values; positions counted from 0 otherwise. [-]
    most : int
        Largest number of wrong measurements looked for. [-]

    Returns
    -------
    Reconciliation
        Without redundancy chi2 is 0, p not-a-number and the state "cannot be told yet". [see the class]

    Raises
    ------
    InputError
        If shapes do not fit or an sd is negative.

    References
    ----------
    S. Narasimhan and C. Jordache, Data Reconciliation and Gross Error Detection, Gulf Publishing, 2000 (from memory).

    Examples
    --------
    Two scales weighed the same load, 100 and 103 kg, each to 1 kg: 101.5 kg, chi-square 4.5.

    >>> r = reconcile_linear([[1, -1]], [100, 103], [1, 1])
    >>> [float(v) for v in r.values], round(r.chi2, 6)
    ([101.5, 101.5], 4.5)
    """
    a, y, sd, full = check_arrays(balances, measured, sds, cov)
    labels = names_or_numbers(names, y.shape[0])
    known = np.isfinite(y) & ~np.isinf(sd if full is None else np.diag(full))
    covariance = covariance_of(sd, full, known)
    reduced = reduce_balances(a, y, known, covariance)
    values, after, observable, redundant, z = solve_values(a, y, covariance, reduced)
    chi2 = math.inf if reduced.contradiction else float(reduced.residual @ reduced.inverse @ reduced.residual)
    dof = reduced.rank + int(reduced.contradiction)
    p = chi2_tail(chi2, dof)
    state = verdict(p, dof)
    signatures = measurement_signatures(reduced)
    found = None
    if state in ("doubtful", "does not hold") and not reduced.contradiction:
        found = locate(reduced, signatures, most=most)
    suspects, sizes, size_sds = _named(found, known, labels)
    return Reconciliation(
        values=values,
        sds=after,
        chi2=chi2 if dof else 0.0,
        dof=dof,
        p=p,
        z=z,
        suspects=suspects,
        sizes=sizes,
        size_sds=size_sds,
        classes=tuple(tuple(labels[i] for i in np.flatnonzero(known)[list(g)]) for g in same_direction(signatures)),
        observable=observable,
        redundant=redundant,
        settle_by=_settling(a, y, sd, full, known, found, dof, labels),
        names=labels,
        state=state,
    )


def measurement_signatures(reduced: Reduced) -> FloatArray:
    """Whitened effect of a bias in each measured value, (k, measured). [sd per unit]

    Parameters
    ----------
    reduced : Reduced
        From `reduce_balances`. [see the class]
    """
    return whitener(reduced.covariance) @ reduced.rows


def locate(reduced: Reduced, signatures: FloatArray, *, most: int = 5) -> Explanation:
    """The smallest set of wrong measurements that explains the residual, each with the class it belongs to.

    Parameters
    ----------
    reduced : Reduced
        From `reduce_balances`. [see the class]
    signatures : array (k, measured)
        From `measurement_signatures`. [sd per unit]
    most : int
        Largest set looked at. [-]
    """
    residual = whitener(reduced.covariance) @ reduced.residual
    return explain(residual, flat_hypotheses(signatures), most=most, beam=8, gain=0.0)


def _named(
    found: Explanation | None, known: BoolArray, labels: tuple[Name, ...]
) -> tuple[tuple[tuple[Name, ...], ...], tuple[float, ...], tuple[float, ...]]:
    """Suspects by name, the surest first, with sizes."""
    if found is None or not found.best.members:
        return (), (), ()
    index = np.flatnonzero(known)
    surest = np.argsort([-abs(s) / max(d, 1e-300) for s, d in zip(found.best.sizes, found.best.size_sds, strict=True)], kind="stable")
    return (
        tuple(tuple(labels[index[j]] for j in found.classes[i]) for i in surest),
        tuple(found.best.sizes[i] for i in surest),
        tuple(found.best.size_sds[i] for i in surest),
    )


def _settling(
    a: FloatArray,
    y: FloatArray,
    sd: FloatArray,
    full: FloatArray | None,
    known: BoolArray,
    found: Explanation | None,
    dof: int,
    labels: tuple[Name, ...],
) -> str:
    """The value to measure (again, by other means) that would split the first class best, or make most values checkable."""
    spread = sd if full is None else np.sqrt(np.diag(full))
    finite = spread[known & (spread > 0)]
    usual = float(np.median(finite)) if finite.size else 1.0
    index = np.flatnonzero(known)
    classes = [] if found is None else [c for c in found.classes if len(c) > 1]
    if dof and not classes:
        return ""
    best, gain = -1, 0.0
    for i in range(y.shape[0]):
        own = float(spread[i]) if known[i] and spread[i] > 0 else usual
        worth = _worth_measuring(a, known, spread, index, i, own, classes[0] if classes else ())
        if worth > gain * (1 + 1e-9):
            best, gain = i, worth
    if best < 0:
        return ""
    return f"{labels[best]}, measured again by other means" if known[best] else str(labels[best])


def _worth_measuring(
    a: FloatArray, known: BoolArray, spread: FloatArray, index: npt.NDArray[np.int64], i: int, own: float, suspects: tuple[int, ...]
) -> float:
    """Separation of the suspects, or the number of checkable values, after one more measurement of value i."""
    m, n = a.shape
    wide = np.zeros((m + 1, n + 1))
    wide[:m, :n] = a
    wide[m, i], wide[m, n] = 1.0, -1.0
    seen = np.append(known, True)
    variance = np.diag(np.append(np.where(known, spread, 0.0)[known], own) ** 2)
    reduced = reduce_balances(wide, np.zeros(n + 1), seen, variance)
    signatures = measurement_signatures(reduced)
    if not suspects:
        return float(np.sum(np.linalg.norm(signatures[:, : index.size], axis=0) > 1e-9))
    part = signatures[:, list(suspects)] * spread[index[list(suspects)]]
    apart = math.inf
    for k in range(1, part.shape[1]):
        lengths = np.linalg.norm(part[:, [0, k]], axis=0)
        cosine = float(part[:, 0] @ part[:, k]) / max(float(lengths.prod()), 1e-300)
        apart = min(apart, lengths[0] ** 2 * (1 - cosine**2))
    return apart if math.isfinite(apart) and apart > 1e-9 else 0.0
