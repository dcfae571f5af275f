"""The cheapest few groups of columns that together keep all rows: an exact search over sets of groups.

A group stands for something that is chosen or not (its columns are ways to use it), at most so many groups may be used, and each column
may be switched off, held at a floor, or counted against a number of places. Every set of groups is either worked out or ruled out by the
multipliers of another program; see `set_search.search`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import RangeError
from evenstand.solve.set_search import is_compiled, set_kernel
from evenstand.solve.simplex import FEASIBLE, OPTIMAL

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
COMPILE_FROM = 1_000_000
"""Sets of groups from which compiling pays; below, plain Python is done before a compiler has started. [-]"""
KEEP = 6
"""Sets that are given: the best and the next five. [-]"""
WIDE = 40
"""Sets below a set from which one program over all their columns is solved first. [-]"""
MOST_SOLVED = 3_000_000
"""Programs after which the search stops and says so. [-]"""
_AGREES = 1e-9
_DUST = 1e-11


@dataclass(frozen=True, slots=True, kw_only=True)
class SetProblem:
    """Minimise cost x, rows x <= most, x >= 0, with few groups used. m rows, n columns in g groups, k counts.

    rows (m, n), most (m,), cost (n,) of 0 or more, second (n,): a cost that breaks ties within a set. first (g + 1,): where each group's
    columns begin, columns standing group by group. cap (g,): most of a group, infinite for none. stock (g,): how much of a group costs
    `cost`, -1 where all of it does; extra (g,): what each unit beyond the stock costs more, 0 or more, -1 where there is none to be had.
    floor (n,): a column is 0 or at least this, 0 for none. counted (k, n): which columns take a place, places (k,): how many there are.
    """

    rows: FloatArray
    most: FloatArray
    cost: FloatArray
    second: FloatArray
    first: IntArray
    cap: FloatArray
    stock: FloatArray
    extra: FloatArray
    floor: FloatArray
    counted: npt.NDArray[np.bool_]
    places: IntArray

    @property
    def groups(self) -> int:
        """Number of groups."""
        return len(self.cap)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAnswer:
    """The cheapest sets, best first; each is cheaper than every smaller set within it. s sets.

    sets: positions of the groups of each; columns (s, n); values (s,): cost; row_prices (s, m), cap_prices (s, g), stock_prices (s, g),
    floor_prices (s, n): what one unit more of each limit takes off the cost, as long as the set stays. proven: every set was worked out
    or ruled out. verified: rows and prices of all answers were worked out again. bound: no set costs less. within: number of sets
    looked for; worked_out: of them solved one by one; programs: all linear programs solved.
    """

    sets: tuple[tuple[int, ...], ...]
    columns: FloatArray
    values: FloatArray
    row_prices: FloatArray
    cap_prices: FloatArray
    stock_prices: FloatArray
    floor_prices: FloatArray
    proven: bool
    verified: bool
    bound: float
    within: int
    worked_out: int
    programs: int


def number_of_sets(groups: int, most_groups: int) -> int:
    """Sets of one group or more, at most so many. [-]

    Parameters
    ----------
    groups : int
        To choose from. [-]
    most_groups : int
        In a set. [-]
    """
    return sum(math.comb(groups, k) for k in range(1, min(groups, most_groups) + 1))


def cheapest_sets(
    problem: SetProblem,
    *,
    most_groups: int,
    keep: int = KEEP,
    first_only: bool = False,
    compiled: bool | None = None,
    most_solved: int = MOST_SOLVED,
) -> SetAnswer:
    """The cheapest sets of groups, exactly.

    Parameters
    ----------
    problem : SetProblem
        Costs, rows and groups. [see the class]
    most_groups : int
        Groups used at most, 1 or more. [-]
    keep : int
        How many sets to give. [-]
    first_only : bool
        Stop at the first set that keeps the rows: is there any? [-]
    compiled : bool or None
        Run compiled; None: if there are many sets, or it is compiled already. [-]
    most_solved : int
        Programs after which to stop unproven. [-]

    Returns
    -------
    SetAnswer
        Without sets if none keeps the rows; with the one empty set if nothing is needed. [see the class]

    Raises
    ------
    RangeError
        If most_groups is below 1, or the search stopped before it found anything.
    """
    if most_groups < 1:
        raise RangeError(f"{most_groups} groups", where="most_groups", limit="1 <= most_groups")
    g, n, m = problem.groups, problem.rows.shape[1], problem.rows.shape[0]
    most_groups = min(most_groups, g)
    within = number_of_sets(g, most_groups)
    across = np.abs(problem.rows).max(axis=1, initial=0.0)
    across[across == 0] = 1.0
    height = float(np.abs(problem.most / across).max(initial=0.0)) or 1.0
    price = float(max(problem.cost.max(initial=0.0), problem.extra.max(initial=0.0))) or 1.0
    most = problem.most / across / height
    if bool((most >= -FEASIBLE).all()):
        return _answer(problem, [()], np.zeros((1, n)), np.zeros((1, m + 2 * g + n)), proven=True, within=within, worked=0, programs=0)
    data = _scaled(problem, most, across, height, price)
    run = _kernel(within, compiled)
    found, masks, _, columns, prices, programs, worked, state = run.search(
        data, most_groups, 1 if first_only else keep, first_only, WIDE, most_solved
    )
    if state != OPTIMAL and not found:
        raise RangeError(
            f"no answer after {programs} programs", where="products", limit=f"{within} sets", cure="Shorten the list, or allow fewer."
        )
    sets = [_positions(mask) for mask in masks[:found].tolist()]
    weights = np.concatenate([price / across, np.full(2 * g + n, price)])
    proven = state == OPTIMAL and not first_only
    return _answer(
        problem, sets, columns[:found] * height, prices[:found, : m + 2 * g + n] * weights,
        proven=proven, within=within, worked=worked, programs=programs,
    )  # fmt: skip


def _scaled(problem: SetProblem, most: FloatArray, across: FloatArray, height: float, price: float) -> tuple[Any, ...]:
    """What the search takes: scaled, and each array of the one kind the compiled search is made for."""
    floats = (
        problem.rows / across[:, None], most, problem.cost / price, problem.second, problem.cap / height,
        np.where(problem.stock < 0, -1.0, problem.stock / height), np.where(problem.extra < 0, -1.0, problem.extra / price),
        problem.floor / height,
    )  # fmt: skip
    rows, most, cost, second, cap, stock, extra, floor = (np.ascontiguousarray(v, dtype=np.float64) for v in floats)
    first, places = (np.ascontiguousarray(v, dtype=np.int64) for v in (problem.first, problem.places))
    counted = np.ascontiguousarray(problem.counted, dtype=np.bool_)
    return rows, most, cost, second, first, cap, stock, extra, floor, counted, places, int(bool((floor > 0).any()))


def _positions(mask: int) -> tuple[int, ...]:
    """Positions of the bits of a mask."""
    out = []
    while mask:
        low = mask & -mask
        out.append(low.bit_length() - 1)
        mask ^= low
    return tuple(out)


def _kernel(within: int, compiled: bool | None) -> SimpleNamespace:
    return set_kernel(compiled=(within >= COMPILE_FROM or is_compiled()) if compiled is None else compiled)


def _answer(
    problem: SetProblem,
    sets: list[tuple[int, ...]],
    x: FloatArray,
    prices: FloatArray,
    *,
    proven: bool,
    within: int,
    worked: int,
    programs: int,
) -> SetAnswer:
    m, g = problem.rows.shape[0], problem.groups
    starts = problem.first[:-1]
    x = np.where(x > _DUST * x.max(axis=1, initial=0.0, keepdims=True), x, 0.0)
    total = np.add.reduceat(x, starts, axis=1) if len(sets) else np.zeros((0, g))
    beyond = np.where(problem.stock < 0, 0.0, np.maximum(total - np.maximum(problem.stock, 0.0), 0.0))
    values = x @ problem.cost + beyond @ np.maximum(problem.extra, 0.0)
    by_row, by_cap = prices[:, :m], prices[:, m : m + g]
    by_stock, by_floor = prices[:, m + g : m + 2 * g], prices[:, m + 2 * g :]
    return SetAnswer(
        sets=tuple(sets),
        columns=x,
        values=values,
        row_prices=by_row,
        cap_prices=by_cap,
        stock_prices=by_stock,
        floor_prices=by_floor,
        proven=proven,
        verified=_verified(problem, x, values, by_row, by_cap, by_stock, by_floor),
        bound=(float(values[0]) if proven else 0.0) if len(sets) else math.inf,
        within=within,
        worked_out=worked,
        programs=programs,
    )


def _verified(
    problem: SetProblem, x: FloatArray, values: FloatArray, row: FloatArray, cap: FloatArray, stock: FloatArray, floor: FloatArray
) -> bool:
    """Whether every row is kept, every price is 0 or more and prices nothing used below its cost, and value and bound agree."""
    sizes = np.abs(problem.rows)
    top = float(x.max(initial=0.0))
    room = _AGREES * (x @ sizes.T + np.abs(problem.most) + sizes.max(axis=1, initial=0.0) * top)
    if not bool((x @ problem.rows.T - problem.most <= room).all()):
        return False
    if min(row.min(initial=0.0), cap.min(initial=0.0), stock.min(initial=0.0)) < 0:
        return False
    scale = float(max(problem.cost.max(initial=0.0), problem.extra.max(initial=0.0))) or 1.0
    owner = np.repeat(np.arange(problem.groups), np.diff(problem.first))
    reduced = problem.cost + row @ problem.rows + (cap + stock)[:, owner] - floor
    if not bool((np.abs(np.where(x > _AGREES * top, reduced, 0.0)) <= 1e-8 * scale).all()):
        return False
    limited = np.where(np.isfinite(problem.cap), problem.cap, 0.0)
    bound = floor @ problem.floor - row @ problem.most - cap @ limited - stock @ np.maximum(problem.stock, 0.0)
    return bool((np.abs(values - bound) <= _AGREES * np.maximum(np.abs(values), scale * 1e-3)).all())
