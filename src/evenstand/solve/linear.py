"""One small linear program: minimise cost x, with rows x <= most and x >= 0."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import RangeError
from evenstand.solve.simplex import ENDLESS, IMPOSSIBLE, OPTIMAL, kernel

FloatArray = npt.NDArray[np.float64]
State = Literal["optimal", "impossible", "endless", "stuck"]
_STATES: dict[int, State] = {OPTIMAL: "optimal", IMPOSSIBLE: "impossible", ENDLESS: "endless"}


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearAnswer:
    """state: "optimal"; "impossible": no x keeps the rows; "endless": the cost falls without end; "stuck": rounding got in the way.

    x (n,): columns, empty unless optimal; value: cost x; multipliers (m,): what one unit more of each row's limit takes off the cost,
    0 or more; where impossible: weights of the rows whose sum no x can keep; residual: most that a row is broken by, relative;
    gap: cost x against its bound from the multipliers, relative; with reduced costs of 0 or more it proves the optimum.
    """

    state: State
    x: FloatArray
    value: float
    multipliers: FloatArray
    residual: float
    gap: float


def solve_linear(cost: npt.ArrayLike, rows: npt.ArrayLike, most: npt.ArrayLike, *, compiled: bool = False) -> LinearAnswer:
    """Minimise a linear cost under rows, by the simplex method.

    Parameters
    ----------
    cost : array_like (n,)
        Cost of each column, of any sign. [any]
    rows : array_like (m, n)
        Coefficients. [any]
    most : array_like (m,)
        Limit of each row; a least is a most with all signs turned. [any]
    compiled : bool
        Run the compiled functions. [-]

    Returns
    -------
    LinearAnswer
        With its certificate. [see the class]

    Raises
    ------
    RangeError
        If shapes do not match, or a number is not finite.

    Examples
    --------
    >>> answer = solve_linear([2.0, 3.0], [[-1.0, -1.0], [-1.0, -3.0]], [-4.0, -6.0])
    >>> answer.value
    9.0
    """
    c, a, b = (np.asarray(v, dtype=np.float64) for v in (cost, rows, most))
    if c.ndim != 1 or a.shape != (b.shape[0] if b.ndim == 1 else -1, c.shape[0]):
        raise RangeError(f"shapes {c.shape}, {a.shape}, {b.shape}", where="cost, rows, most", limit="(n,), (m, n), (m,)")
    if not (np.isfinite(c).all() and np.isfinite(a).all() and np.isfinite(b).all()):
        raise RangeError("a number is not finite", where="cost, rows, most", cure="Leave out rows without a limit.")
    m, n = a.shape
    across = _scale(np.abs(a), 1)
    down = _scale(np.abs(a) / across[:, None], 0)
    height, price = _top(b / across), _top(c / down)
    t = np.zeros((m + 2, n + 1))
    t[:m, :n], t[:m, n] = a / across[:, None] / down, b / across / height
    first = bool((c >= 0).all())  # a cost that is nowhere negative can lead the dual walk; another waits until the rows are kept
    t[m if first else m + 1, :n] = c / down / price
    basis, outer = np.arange(n, n + m), np.arange(n)
    run = kernel(compiled=compiled)
    state, proof = run.dual(t, m, n, basis, outer, np.inf)
    if state == OPTIMAL and not first:
        state = run.primal(t, m, n, basis, outer)
    y = np.zeros(m)
    if state in (OPTIMAL, IMPOSSIBLE):
        source = proof if state == IMPOSSIBLE else m if first else m + 1
        run.read_multipliers(t, m, n, basis, outer, source, y)
    if state != OPTIMAL:
        empty = np.zeros(0)
        return LinearAnswer(
            state=_STATES.get(state, "stuck"), x=empty, value=np.nan, multipliers=y / across, residual=np.nan, gap=np.nan
        )  # fmt: skip
    x = np.zeros(n)
    run.read_columns(t, m, n, basis, np.arange(n), x)
    x *= height / down
    y *= price / across
    value = float(c @ x)
    over = a @ x - b
    size = np.abs(a) @ x + np.abs(b) + across * height
    return LinearAnswer(
        state="optimal",
        x=x,
        value=value,
        multipliers=y,
        residual=float(np.max(np.maximum(over, 0.0) / size, initial=0.0)),
        gap=abs(value + float(y @ b)) / max(float(np.abs(c) @ x), 1e-12),
    )


def _scale(sizes: FloatArray, axis: int) -> FloatArray:
    """Largest size along an axis, 1 where all are zero."""
    top = sizes.max(axis=axis, initial=0.0)
    return np.asarray(np.where(top > 0, top, 1.0), dtype=np.float64)


def _top(values: FloatArray) -> float:
    return float(np.abs(values).max(initial=0.0)) or 1.0
