"""The search over sets of groups of columns, on top of the small simplex: plain loops, as Python or compiled.

A *cut* is what the multipliers of a solved program say about other sets: (mask, bound, core). No set within `mask` costs less than `bound`;
where a core is known it reaches that bound by itself, so that any larger set within the mask that holds it is no better.
"""
# mypy: disable-error-code="no-untyped-def,no-untyped-call"

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np

from evenstand.solve import simplex
from evenstand.solve.simplex import (
    FREE,
    IMPOSSIBLE,
    OFF,
    OPTIMAL,
    STUCK,
    TIE,
    dual,
    lay_out,
    priced_out,
    primal,
    read_columns,
    read_multipliers,
)

FLOORED, KEPT = simplex.FLOORED, simplex.KEPT
SMALLEST = simplex.SMALLEST
MOST_CUTS = 4096


def settle(data, members, size, cutoff, work, best_state):
    """Best value of some groups under floors and counts, by branching on columns that break them. Returns (state, value).

    best_state receives which columns stay off or at their floor.
    """
    first, floor, counted, most = data[4], data[8], data[9], data[10]
    t, basis, outer, colid, rowid, x, _, stack, now = work
    best, lightest, found = np.inf, np.inf, IMPOSSIBLE
    depth = 1
    for k in range(size):
        for j in range(first[members[k]], first[members[k] + 1]):
            stack[0, j] = FREE
    while depth > 0:
        depth -= 1
        for k in range(size):
            for j in range(first[members[k]], first[members[k] + 1]):
                now[j] = stack[depth, j]
        rows, cols = lay_out(data, members, size, now, t, basis, outer, colid, rowid)
        status, _ = dual(t, rows, cols, basis, outer, min(cutoff, best + TIE * max(abs(best), 1e-3)) if found == OPTIMAL else cutoff)
        if status == STUCK:
            return STUCK, np.inf
        if status != OPTIMAL:
            continue
        z = -t[rows, cols]
        if primal(t, rows, cols, basis, outer) == STUCK:
            return STUCK, np.inf
        mass = -t[rows + 1, cols]
        if found == OPTIMAL:  # the pair of costs bounds what can be had below, in this order
            near = TIE * max(abs(best), 1e-3)
            if z > best + near or (z >= best - near and mass >= lightest * (1.0 - 1e-9)):
                continue
        for k in range(size):
            for j in range(first[members[k]], first[members[k] + 1]):
                x[j] = 0.0
        read_columns(t, rows, cols, basis, colid, x)
        low = -1
        for k in range(size):
            for j in range(first[members[k]], first[members[k] + 1]):
                if now[j] != FLOORED and floor[j] > 0.0 and SMALLEST < x[j] < floor[j] - SMALLEST:
                    low = j
        if depth + size * 3 + 2 >= stack.shape[0]:
            return STUCK, np.inf
        if low >= 0:
            for turn in range(2):
                if turn == 0 and now[low] == KEPT:
                    continue
                for k in range(size):
                    for j in range(first[members[k]], first[members[k] + 1]):
                        stack[depth, j] = now[j]
                stack[depth, low] = OFF if turn == 0 else FLOORED
                depth += 1
            continue
        crowded = -1
        for g in range(most.shape[0]):
            used = 0
            for k in range(size):
                for j in range(first[members[k]], first[members[k] + 1]):
                    if counted[g, j] and x[j] > SMALLEST:
                        used += 1
            if used > most[g]:
                crowded = g
                break
        if crowded < 0:
            best, lightest, found = z, mass, OPTIMAL
            for k in range(size):
                for j in range(first[members[k]], first[members[k] + 1]):
                    best_state[j] = now[j]
                    if x[j] <= SMALLEST and now[j] != FLOORED:
                        best_state[j] = OFF
                    elif floor[j] > 0.0:
                        best_state[j] = FLOORED
            continue
        for k in range(size):  # one of those used must go: the first to go has all before it kept
            for j in range(first[members[k]], first[members[k] + 1]):
                if not counted[crowded, j] or x[j] <= SMALLEST:
                    continue
                if now[j] != KEPT and now[j] != FLOORED:
                    for q in range(size):
                        for i in range(first[members[q]], first[members[q] + 1]):
                            stack[depth, i] = now[i]
                    stack[depth, j] = OFF
                    depth += 1
                    now[j] = FLOORED if floor[j] > 0.0 else KEPT
    return found, best


def comes_before(mask, z, mass, size, other, other_z, other_mass, other_size):
    """Whether one set stands before another: cheaper, else fewer groups, else the lower second cost, else first in the list."""
    near = TIE * max(abs(z), abs(other_z), 1e-3)
    if abs(z - other_z) > near:
        return z < other_z
    if size != other_size:
        return size < other_size
    if abs(mass - other_mass) > 1e-9 * max(abs(mass), abs(other_mass), 1e-3):
        return mass < other_mass
    apart = mask ^ other
    return (mask & (apart & -apart)) != 0


def near(z):
    """How far apart equal values may lie."""
    return TIE * max(abs(z), 1e-3)


def members_of(mask, groups, members):
    """Positions of the groups in a mask; how many."""
    size = 0
    for k in range(groups):
        if mask >> k & 1:
            members[size] = k
            size += 1
    return size


def used_groups(first, members, size, x):
    """Mask of the groups with a column in use."""
    used = 0
    for k in range(size):
        for j in range(first[members[k]], first[members[k] + 1]):
            if x[j] > SMALLEST:
                used |= 1 << members[k]
    return used


def solve_set(data, members, size, state, work, limit):
    """Program of some groups. Returns (status, row of the proof, rows, cols); x of the work is filled where it is optimal."""
    t, basis, outer, colid, rowid, x = work[:6]
    rows, cols = lay_out(data, members, size, state, t, basis, outer, colid, rowid)
    status, r = dual(t, rows, cols, basis, outer, limit)
    if status == OPTIMAL:
        x[:] = 0.0
        read_columns(t, rows, cols, basis, colid, x)
    return status, r, rows, cols


def add_cut(data, chosen, status, r, rows, cols, members, size, work, plain, cuts, masks, bounds, cores):
    """Note what the program just solved says about other sets. Returns the new number of cuts."""
    if cuts == masks.shape[0]:
        return cuts
    t, basis, outer, x, y = work[0], work[1], work[2], work[5], work[6]
    impossible = status == IMPOSSIBLE
    read_multipliers(t, rows, cols, basis, outer, r if impossible else rows, y)
    masks[cuts] = priced_out(data, chosen, y, not impossible)
    bounds[cuts] = np.inf if impossible else -t[rows, cols]
    cores[cuts] = used_groups(data[4], members, size, x) if status == OPTIMAL and plain else -1
    return cuts + 1


def ruled_out(here, reach, head, whole, limit, cuts, masks, bounds, cores):
    """Which sets need no look: 1 this one, 2 also all below it, 3 also all that follow beside it; 0 none. 4: only those below it.

    here: the set; reach: with all groups that may join below; head: without its last group; whole: head with all groups that follow.
    """
    skip_here, skip_below = False, False
    for k in range(cuts):
        if here & ~masks[k]:
            continue
        dear, core = bounds[k] > limit, cores[k]
        if dear or (core >= 0 and core & ~here == 0 and core != here):
            skip_here = True
        if reach & ~masks[k] == 0 and (dear or (core >= 0 and core & ~here == 0)):
            skip_below = True
            if whole & ~masks[k] == 0 and (dear or (core >= 0 and core & ~head == 0)):
                return 3
    if skip_below:
        return 2 if skip_here else 4
    return 1 if skip_here else 0


def many_below(deeper, left, wide):
    """Whether more than `wide` sets lie below a set that may take `deeper` more of `left` groups."""
    sets, term = 0, 1
    for k in range(1, min(deeper, left) + 1):
        term = term * (left - k + 1) // k
        sets += term
        if sets > wide:
            return True
    return False


def earns_its_place(data, members, size, z, plain, free, work, fewer, trial):
    """Whether a set is cheaper than what each set of one group less can do. Returns (status, yes or no, programs solved)."""
    if size == 1:
        return OPTIMAL, True, 0
    for q in range(size):
        small = 0
        for k in range(size):
            if k != q:
                fewer[small] = members[k]
                small += 1
        if plain:
            status, _, _, _ = solve_set(data, fewer, small, free, work, z + near(z))
        else:
            status, _ = settle(data, fewer, small, z + near(z), work, trial)
        if status == STUCK:
            return STUCK, False, q + 1
        if status == OPTIMAL:
            return OPTIMAL, False, q + 1
    return OPTIMAL, True, size


def start_order(data, free, work):
    """Groups that the program over all columns uses most first, the others by what they would cost more; a good start cuts more."""
    a, cost, first = data[0], data[2], data[4]
    m0, groups = a.shape[0], first.shape[0] - 1
    order = np.arange(groups)
    t, basis, outer, x, y = work[0], work[1], work[2], work[5], work[6]
    status, _, rows, cols = solve_set(data, order, groups, free, work, np.inf)
    if status != OPTIMAL:
        return order
    read_multipliers(t, rows, cols, basis, outer, rows, y)
    used, least = np.zeros(groups), np.full(groups, np.inf)
    for p in range(groups):
        for j in range(first[p], first[p + 1]):
            d = cost[j]
            for i in range(m0):
                d += y[i] * a[i, j]
            used[p] += (cost[j] + 1e-6) * x[j]
            least[p] = min(least[p], d)
    for i in range(1, groups):
        p, k = order[i], i
        while k > 0:
            q = order[k - 1]
            if used[q] > used[p] or (used[q] == used[p] and least[q] <= least[p]):
                break
            order[k] = q
            k -= 1
        order[k] = p
    return order


def search(data, most_groups, keep, first_only, wide, most_solved):
    """The cheapest sets of groups, each cheaper than every smaller set within it.

    Sets are visited depth first; cuts leave out what cannot be among the best. Returns (count, masks, values, columns,
    multipliers, programs solved, sets worked out, state).
    """
    first = data[4]
    m0, n = data[0].shape
    groups = data[5].shape[0]
    plain = data[10].shape[0] == 0 and data[11] == 0
    tall, broad = m0 + 2 * groups + n + 2, n + groups + 1
    deep = 4 if plain else (3 * most_groups + 2) * (3 * most_groups + 2)
    free, state, trial = np.zeros(n, np.int8), np.zeros(n, np.int8), np.zeros(n, np.int8)
    work = (
        np.empty((tall, broad)), np.empty(tall, np.int64), np.empty(broad, np.int64), np.empty(broad, np.int64), np.empty(tall, np.int64),
        np.zeros(n), np.empty(tall), np.zeros((deep, n), np.int8), np.zeros(n, np.int8),
    )  # fmt: skip
    t, basis, outer, rowid, x, y = work[0], work[1], work[2], work[4], work[5], work[6]
    masks, bounds, cores, cuts = np.empty(MOST_CUTS, np.int64), np.empty(MOST_CUTS), np.empty(MOST_CUTS, np.int64), 0
    top_mask, top_z, top_mass = np.zeros(keep, np.int64), np.full(keep, np.inf), np.full(keep, np.inf)
    top_size, top_x, top_y = np.zeros(keep, np.int64), np.zeros((keep, n)), np.zeros((keep, tall))
    held, price = np.zeros(n), np.zeros(tall)
    count, solved, visited, ended = 0, 0, 0, OPTIMAL
    path, members, fewer = np.zeros(most_groups + 1, np.int64), np.zeros(groups, np.int64), np.zeros(groups, np.int64)
    prefix, later = np.zeros(most_groups + 1, np.int64), np.zeros(groups + 1, np.int64)
    order = start_order(data, free, work)
    for i in range(groups - 1, -1, -1):
        later[i] = later[i + 1] | (1 << order[i])
    depth, path[0] = 0, -1
    while depth >= 0:
        path[depth] += 1
        i = path[depth]
        if i >= groups:
            depth -= 1
            continue
        limit = top_z[keep - 1] + near(top_z[keep - 1]) if count == keep else np.inf
        head = prefix[depth]
        here = head | (1 << order[i])
        reach = here | later[i + 1]
        skip = ruled_out(here, reach, head, head | later[i], limit, cuts, masks, bounds, cores)
        if skip == 3:
            depth -= 1
            continue
        left, deeper = groups - 1 - i, most_groups - depth - 1
        descend = deeper > 0 and left > 0 and skip != 2 and skip != 4
        if descend and many_below(deeper, left, wide):  # one program over all their columns bounds them together
            size = members_of(reach, groups, members)
            status, r, rows, cols = solve_set(data, members, size, free, work, limit)
            solved += 1
            if status == STUCK:
                ended = STUCK
                break
            cuts = add_cut(data, reach, status, r, rows, cols, members, size, work, plain, cuts, masks, bounds, cores)
            if status != OPTIMAL:
                continue
        if descend:
            prefix[depth + 1] = here
            path[depth + 1] = i
            depth += 1
        if skip == 1 or skip == 2:
            continue
        if solved > most_solved:
            ended = STUCK
            break
        size = members_of(here, groups, members)
        status, r, rows, cols = solve_set(data, members, size, free, work, limit)
        visited += 1
        solved += 1
        if status == STUCK:
            ended = STUCK
            break
        cuts = add_cut(data, here, status, r, rows, cols, members, size, work, plain, cuts, masks, bounds, cores)
        if status != OPTIMAL:
            continue
        if not plain:
            state[:] = OFF
            status, _ = settle(data, members, size, limit, work, state)
            if status == OPTIMAL:
                status, r, rows, cols = solve_set(data, members, size, state, work, np.inf)
            solved += 1
            if status == STUCK:
                ended = STUCK
                break
            if status != OPTIMAL:
                continue
        elif used_groups(first, members, size, x) != here:
            continue
        z = -t[rows, cols]
        primal(t, rows, cols, basis, outer)
        mass = -t[rows + 1, cols]
        x[:] = 0.0
        read_columns(t, rows, cols, basis, work[3], x)
        if used_groups(first, members, size, x) != here:
            continue
        last = keep - 1
        if count == keep and not comes_before(here, z, mass, size, top_mask[last], top_z[last], top_mass[last], top_size[last]):
            continue
        held[:] = x
        read_multipliers(t, rows, cols, basis, outer, rows, y)
        price[:] = 0.0
        for k in range(rows):
            price[rowid[k]] = y[k]
        status, good, programs = earns_its_place(data, members, size, z, plain, free, work, fewer, trial)
        solved += programs
        if status == STUCK:
            ended = STUCK
            break
        if not good:
            continue
        place = count if count < keep else last
        while place > 0 and comes_before(
            here, z, mass, size, top_mask[place - 1], top_z[place - 1], top_mass[place - 1], top_size[place - 1]
        ):
            place -= 1
        count = min(count + 1, keep)
        for k in range(count - 1, place, -1):
            top_mask[k], top_z[k], top_mass[k], top_size[k] = top_mask[k - 1], top_z[k - 1], top_mass[k - 1], top_size[k - 1]
            top_x[k, :] = top_x[k - 1, :]
            top_y[k, :] = top_y[k - 1, :]
        top_mask[place], top_z[place], top_mass[place], top_size[place] = here, z, mass, size
        top_x[place, :] = held
        top_y[place, :] = price
        if first_only:
            break
    return count, top_mask, top_z, top_x, top_y, solved, visited, ended


_PARTS: tuple[Callable[..., Any], ...] = (
    settle, comes_before, near, members_of, used_groups, solve_set, add_cut, ruled_out, many_below, earns_its_place, start_order, search,
)  # fmt: skip


def set_kernel(*, compiled: bool) -> SimpleNamespace:
    """The functions of the simplex and of this search, as they stand or compiled.

    Parameters
    ----------
    compiled : bool
        See `simplex.kernel`. [-]

    Returns
    -------
    SimpleNamespace
        The functions by name. [-]
    """
    if compiled:
        return _compiled()
    return SimpleNamespace(**vars(simplex.kernel(compiled=False)), **{part.__name__: part for part in _PARTS})


def is_compiled() -> bool:
    """Whether the search is compiled in this process. [-]"""
    return bool(_compiled.cache_info().currsize)


@cache
def _compiled() -> SimpleNamespace:
    below = vars(simplex.kernel(compiled=True))
    return SimpleNamespace(**below, **vars(simplex.compile_parts(_PARTS, dict(globals()) | below, rests_on=simplex.PARTS)))
