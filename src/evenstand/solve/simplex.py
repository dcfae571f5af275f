"""Small dense linear programs by the dual simplex method.

All functions here are plain loops over arrays. They run as Python, or compiled (numba): the same functions either way, see `kernel`.

A tableau `t` holds `rows` + 2 rows and `cols` + 1 columns: coefficients of the variables outside the basis, right-hand sides in the last
column, reduced costs in row `rows`, those of a second cost in row `rows` + 1. Variables have numbers: columns from 0, then slacks.
Costs of the first row are never negative, so the slacks are a dual feasible basis and no first phase is needed; the dual objective
only rises, and the walk stops as soon as it passes a cut-off. The second cost is then minimised on the face that the first left.
"""
# mypy: disable-error-code="no-untyped-def,no-untyped-call"

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from types import FunctionType, SimpleNamespace
from typing import Any
from zlib import crc32

import numpy as np

OPTIMAL, IMPOSSIBLE, TOO_DEAR, ENDLESS, STUCK = 0, 1, 2, 3, 4
FREE, OFF, FLOORED, KEPT = 0, 1, 2, 3
FEASIBLE = 1e-10  # how far below zero a scaled right-hand side may lie
PIVOT = 1e-9  # smallest entry to divide by
PRICE = 1e-11  # reduced costs nearer to zero are zero
TIE = 1e-10  # values this near, relative, are equal
SMALLEST = 5e-9  # scaled values below are zero: a column that is not used
GREEDY_STEPS = 60  # steps by the steepest rule before Bland's, which cannot cycle
MOST_STEPS = 5000


def pivot(t, rows, cols, r, c, basis, outer):
    """Exchange basic variable r for outer variable c."""
    p = 1.0 / t[r, c]
    for j in range(cols + 1):
        t[r, j] *= p
    t[r, c] = p
    for i in range(rows + 2):
        f = t[i, c]
        if i != r and f != 0.0:
            for j in range(cols + 1):
                t[i, j] -= f * t[r, j]
            t[i, c] = -f * p
    basis[r], outer[c] = outer[c], basis[r]


def dual(t, rows, cols, basis, outer, cutoff):
    """Dual simplex from a dual feasible tableau. Returns (state, row that proves that there is nothing, or -1)."""
    for step in range(MOST_STEPS):
        if -t[rows, cols] > cutoff:
            return TOO_DEAR, -1
        r, worst = -1, -FEASIBLE
        for i in range(rows):
            b = t[i, cols]
            if step < GREEDY_STEPS:
                if b < worst:
                    r, worst = i, b
            elif b < -FEASIBLE and (r < 0 or basis[i] < basis[r]):
                r = i
        if r < 0:
            return OPTIMAL, -1
        c, best = -1, 0.0
        for j in range(cols):
            a = -t[r, j]
            if a > PIVOT:
                ratio = max(t[rows, j], 0.0) / a
                if c < 0 or ratio < best * (1.0 - 1e-12):
                    c, best = j, ratio
                elif ratio <= best * (1.0 + 1e-12):
                    better = a > -t[r, c] if step < GREEDY_STEPS else outer[j] < outer[c]
                    if better:
                        c, best = j, ratio
        if c < 0:
            return IMPOSSIBLE, r
        pivot(t, rows, cols, r, c, basis, outer)
    return STUCK, -1


def primal(t, rows, cols, basis, outer):
    """Primal simplex on the second cost, over columns whose first reduced cost is zero. Returns the state."""
    for step in range(MOST_STEPS):
        c, least = -1, -PRICE
        for j in range(cols):
            if t[rows, j] <= PRICE and t[rows + 1, j] < -PRICE:
                if step < GREEDY_STEPS:
                    if t[rows + 1, j] < least:
                        c, least = j, t[rows + 1, j]
                elif c < 0 or outer[j] < outer[c]:
                    c = j
        if c < 0:
            return OPTIMAL
        r, best = -1, 0.0
        for i in range(rows):
            a = t[i, c]
            if a > PIVOT:
                ratio = max(t[i, cols], 0.0) / a
                if r < 0 or ratio < best or (ratio == best and basis[i] < basis[r]):
                    r, best = i, ratio
        if r < 0:
            return ENDLESS
        pivot(t, rows, cols, r, c, basis, outer)
    return STUCK


def lay_out(data, members, size, state, t, basis, outer, colid, rowid):
    """Tableau of the columns of some groups. Returns (rows, cols).

    colid: column of the data, or -1 - group for what is added to a group's stock; rowid: row of the data, then one block of each group's
    cap, one of each group's stock, one of each column's floor.
    """
    a, b, cost, second, first, cap, stock, extra, floor = data[:9]
    m0, groups = a.shape[0], cap.shape[0]
    cols, rows = 0, m0
    for k in range(size):
        p = members[k]
        for j in range(first[p], first[p + 1]):
            if state[j] != OFF:
                colid[cols] = j
                cols += 1
        if stock[p] >= 0.0 and extra[p] >= 0.0:
            colid[cols] = -1 - p
            cols += 1
    for i in range(m0):
        rowid[i] = i
    for k in range(size):
        p = members[k]
        if cap[p] < np.inf:
            rowid[rows] = m0 + p
            rows += 1
        if stock[p] >= 0.0:
            rowid[rows] = m0 + groups + p
            rows += 1
        for j in range(first[p], first[p + 1]):
            if state[j] == FLOORED:
                rowid[rows] = m0 + 2 * groups + j
                rows += 1
    for i in range(m0):
        t[i, cols] = b[i]
    for i in range(m0, rows):
        for k in range(cols + 1):
            t[i, k] = 0.0
        one = rowid[i] - m0
        if one < groups:
            t[i, cols] = cap[one]
        elif one < 2 * groups:
            t[i, cols] = stock[one - groups]
        else:
            t[i, cols] = -floor[one - 2 * groups]
    t[rows, cols], t[rows + 1, cols] = 0.0, 0.0
    k, i = 0, m0
    for s in range(size):
        p = members[s]
        start, i0 = k, i
        if cap[p] < np.inf:
            i += 1
        if stock[p] >= 0.0:
            i += 1
        for j in range(first[p], first[p + 1]):
            if state[j] == OFF:
                continue
            for r in range(m0):
                t[r, k] = a[r, j]
            for r in range(i0, i):
                t[r, k] = 1.0
            t[rows, k], t[rows + 1, k] = cost[j], second[j]
            k += 1
        if stock[p] >= 0.0 and extra[p] >= 0.0:
            for r in range(m0):
                t[r, k] = 0.0
            t[i - 1, k] = -1.0
            t[rows, k], t[rows + 1, k] = extra[p], 0.0
            k += 1
        for j in range(first[p], first[p + 1]):
            if state[j] == FLOORED:
                for q in range(start, k):
                    if colid[q] == j:
                        t[i, q] = -1.0
                i += 1
    for i in range(rows):
        basis[i] = cols + i
    for j in range(cols):
        outer[j] = j
    return rows, cols


def read_columns(t, rows, cols, basis, colid, x):
    """Values of the data's columns; x holds zeros before."""
    for i in range(rows):
        if basis[i] < cols:
            j = colid[basis[i]]
            if j >= 0:
                x[j] = max(t[i, cols], 0.0)


def read_multipliers(t, rows, cols, basis, outer, source, y):
    """Multipliers of the tableau's rows from its row `source`; where that is no cost row, its own slack counts once."""
    for i in range(rows):
        y[i] = 0.0
    for j in range(cols):
        if outer[j] >= cols:
            y[outer[j] - cols] = max(t[source, j], 0.0)
    if source < rows and basis[source] >= cols:
        y[basis[source] - cols] = 1.0


def priced_out(data, chosen, y, with_cost):
    """Groups whose columns, at these multipliers, bring nothing: chosen ones (a mask) and all others with no negative reduced cost."""
    a, cost, first = data[0], data[2], data[4]
    m0, groups = a.shape[0], first.shape[0] - 1
    mask = chosen
    for p in range(groups):
        if chosen >> p & 1:
            continue
        fine = True
        for j in range(first[p], first[p + 1]):
            d = cost[j] if with_cost else 0.0
            for i in range(m0):
                if y[i] != 0.0:
                    d += y[i] * a[i, j]
            if d < -PRICE:
                fine = False
                break
        if fine:
            mask |= 1 << p
    return mask


PARTS: tuple[Callable[..., Any], ...] = (pivot, dual, primal, lay_out, read_columns, read_multipliers, priced_out)


def kernel(*, compiled: bool) -> SimpleNamespace:
    """These functions, as they stand or compiled.

    Parameters
    ----------
    compiled : bool
        Compiled: a few seconds the first time on a machine, then a fraction of a second a process. [-]

    Returns
    -------
    SimpleNamespace
        The functions by name. [-]
    """
    if compiled:
        return _compiled()
    return SimpleNamespace(**{part.__name__: part for part in PARTS})


@cache
def _compiled() -> SimpleNamespace:
    return compile_parts(PARTS, dict(globals()))


def compile_parts(
    parts: Sequence[Callable[..., Any]], names: dict[str, Any], *, rests_on: Sequence[Callable[..., Any]] = ()
) -> SimpleNamespace:
    """Compiled copies of functions that call one another; kept on disk where the machine lets us. They run on one thread.

    Parameters
    ----------
    parts : sequence of functions
        Each may call those before it. [-]
    names : dict
        Their global names; the compiled ones are put in their place. [-]
    rests_on : sequence of functions
        Functions of other files that they call: what is kept on disk carries a mark of these too, so that none goes stale. [-]

    Returns
    -------
    SimpleNamespace
        The compiled functions by name. [-]
    """
    from numba import njit

    out = {}
    codes = [part.__code__ for part in (*rests_on, *parts)]
    numbers = sorted({(n, v) for code in codes for n in code.co_names if isinstance(v := names.get(n), int | float)})
    mark = crc32(b"".join(code.co_code + repr((code.co_consts, code.co_names)).encode() for code in codes) + repr(numbers).encode())
    for part in parts:
        assert isinstance(part, FunctionType)
        copy = FunctionType(part.__code__, names, part.__name__)
        copy.__module__, copy.__qualname__ = part.__module__, f"{part.__qualname__}_{mark:08x}"
        try:
            made = njit(cache=True, nogil=True, error_model="numpy")(copy)
        except RuntimeError:  # no place to keep it
            made = njit(nogil=True, error_model="numpy")(copy)
        names[part.__name__] = out[part.__name__] = made
    return SimpleNamespace(**out)
