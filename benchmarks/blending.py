"""The cheapest blend: ours against mixed-integer programs and exhaustive linear programs by HiGHS.

A turn is a batch of fresh targets on a fresh list of products. Ours is timed from the product list to the finished answer with its next
five sets; the peers get their arrays ready-made and give the optimum only. Of the peers the fastest on a batch of its own is timed.
"""

from __future__ import annotations

import dataclasses
import statistics
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from benchmarks.timing import Result, compare, timed
from evenstand.agronomy.blend_parts import BlendLimit, BlendProduct, Need
from evenstand.agronomy.blending import blend
from evenstand.base.errors import InfeasibleError

FloatArray = npt.NDArray[np.float64]
Answer = tuple[float, npt.NDArray[np.bool_]]
NUTRIENTS = ("N", "P2O5", "K2O", "S")
PLACEMENTS = ("seed-row", "side-band")
STRAIGHT = (
    (0.46, 0, 0, 0), (0.11, 0.52, 0, 0), (0, 0, 0.60, 0), (0.21, 0, 0, 0.24), (0.18, 0.46, 0, 0), (0, 0.46, 0, 0),
)  # fmt: skip
WORTH = (1.2, 1.1, 0.8, 0.7)
PRODUCTS, TARGETS, TOLERANCE = 14, 20, 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One need, as ours takes it and as arrays: cost (n,), rows (m, n) x <= most (m,), column p * 2 + placement."""

    needs: dict[str, Need]
    products: list[BlendProduct]
    limits: list[BlendLimit]
    most_products: int
    cost: FloatArray
    rows: FloatArray
    most: FloatArray


def products(rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Six straight fertilizers and eight drawn compounds, with prices near what their nutrients are worth. (n, 4), (n,)"""
    shares = [np.array(s, dtype=np.float64) for s in STRAIGHT]
    while len(shares) < PRODUCTS:
        drawn = np.where(rng.random(4) < 0.65, rng.uniform(0.04, 0.3, 4), 0.0).round(2)
        if 0.25 < drawn.sum() < 0.75:
            shares.append(drawn)
    table = np.array(shares)
    return table, table @ np.array(WORTH) * rng.uniform(0.85, 1.25, PRODUCTS)


def target(rng: np.random.Generator, shares: FloatArray, prices: FloatArray, most_products: int) -> Target:
    """Four least and four most amounts, N and N + K2O in the seed row at most, P2O5 in the seed row at least."""
    low = rng.uniform([50, 15, 10, 5], [110, 40, 40, 20])
    high = low * rng.uniform(1.15, 1.6, 4)
    row_n, row_nk, row_p = rng.uniform(8, 20), rng.uniform(12, 28), rng.uniform(5, 15)
    listed = [
        BlendProduct(
            key=f"product {i:02d}", analysis={k: float(v) for k, v in zip(NUTRIENTS, share, strict=True) if v > 0}, price_kg=float(price),
            placements=PLACEMENTS,
        )
        for i, (share, price) in enumerate(zip(shares, prices, strict=True))
    ]  # fmt: skip
    limits = [
        BlendLimit(key="N in the row", most_kg_ha=row_n, nutrients=("N",), placements=("seed-row",)),
        BlendLimit(key="N and K2O in the row", most_kg_ha=row_nk, nutrients=("N", "K2O"), placements=("seed-row",)),
        BlendLimit(key="P2O5 in the row", least_kg_ha=row_p, nutrients=("P2O5",), placements=("seed-row",)),
    ]
    both = np.repeat(shares, 2, axis=0).T
    row = both * np.tile([1.0, 0.0], len(shares))
    rows = np.vstack([-both, both, row[0], row[0] + row[2], -row[1]])
    return Target(
        needs={k: (float(a), float(b)) for k, a, b in zip(NUTRIENTS, low, high, strict=True)},
        products=listed,
        limits=limits,
        most_products=most_products,
        cost=np.repeat(prices, 2),
        rows=rows,
        most=np.concatenate([-low, high, [row_n, row_nk, -row_p]]),
    )


def batch(most_products: int, seed: int) -> list[Target]:
    """Fresh products and targets that can be met; what cannot be met is drawn again, outside the clock."""
    rng = np.random.default_rng([seed, most_products, 14])
    found: list[Target] = []
    while len(found) < TARGETS:
        shares, prices = products(rng)
        one = target(rng, shares, prices, most_products)
        try:
            ours(one)
        except InfeasibleError:
            continue
        found.append(one)
    return found


def ours(case: Target) -> float:
    """The best cost, with the next five sets beside it. [money/ha]"""
    best = blend(case.needs, case.products, max_products=case.most_products, limits=case.limits, compiled=True)
    assert best.proof.optimal
    assert best.proof.verified
    return best.cost_ha or 0.0


def most_of_each(case: Target, *, by_column: bool) -> FloatArray:
    """Tight upper bounds from the rows with no negative entry: of each product, or of each of its columns."""
    positive = case.rows[(case.rows >= 0).all(axis=1)]
    limit = case.most[(case.rows >= 0).all(axis=1)]
    with np.errstate(divide="ignore"):
        column = np.min(np.where(positive > 0, limit[:, None] / np.where(positive > 0, positive, 1.0), np.inf), axis=0)
    return column if by_column else column.reshape(-1, 2).max(axis=1)


def mixed_integer(case: Target, *, by_column: bool = False, presolve: bool = True, cover: bool = False) -> Answer:
    """One binary a product, tied to its rate by the tightest bound there is; with cover rows: the bounds of the products used must reach
    each least amount."""
    n, g = len(case.cost), len(case.cost) // 2
    bound = most_of_each(case, by_column=by_column)
    owner = np.repeat(np.eye(g), 2, axis=0)
    tie = np.hstack([np.eye(n), -owner * bound[:, None]]) if by_column else np.hstack([owner.T, -np.diag(bound)])
    count = np.concatenate([np.zeros(n), np.ones(g)])
    rows = [np.hstack([case.rows, np.zeros((len(case.most), g))]), tie, count[None, :]]
    most = [case.most, np.zeros(len(tie)), [case.most_products]]
    if cover:
        least = np.flatnonzero(case.most < 0)
        reach = (-case.rows[least]).reshape(len(least), g, 2).max(axis=2) * most_of_each(case, by_column=False) / -case.most[least][:, None]
        rows.append(np.hstack([np.zeros((len(least), n)), -np.minimum(reach, 1.0)]))
        most.append(np.full(len(least), -1.0))
    found = milp(
        np.concatenate([case.cost, np.zeros(g)]),
        constraints=LinearConstraint(np.vstack(rows), -np.inf, np.concatenate(most)),
        integrality=np.concatenate([np.zeros(n), np.ones(g)]),
        bounds=Bounds(0, np.concatenate([np.full(n, np.inf), np.ones(g)])),
        options={"mip_rel_gap": 0.0, "presolve": presolve},
    )
    return float(found.fun), found.x[n:] > 0.5


def relaxed_first(case: Target) -> Answer:
    """The program without a count first: where it uses few enough products it is the answer, else the mixed-integer program."""
    found = linprog(case.cost, A_ub=case.rows, b_ub=case.most, method="highs-ds")
    used = found.x.reshape(-1, 2).sum(axis=1) > 1e-9
    return (float(found.fun), used) if int(used.sum()) <= case.most_products else mixed_integer(case)


def every_set(case: Target) -> Answer:
    """A linear program for every set that passes a cover test."""
    g = len(case.cost) // 2
    least = np.flatnonzero(case.most < 0)
    carries = (case.rows[least].reshape(len(least), g, 2).min(axis=2) < 0).T
    best, chosen = np.inf, np.zeros(g, dtype=np.bool_)
    for members in combinations(range(g), case.most_products):
        if not carries[list(members)].any(axis=0).all():
            continue
        columns = [2 * p + q for p in members for q in (0, 1)]
        found = linprog(case.cost[columns], A_ub=case.rows[:, columns], b_ub=case.most, method="highs-ds")
        if found.status == 0 and found.fun < best:
            best = float(found.fun)
            chosen = np.isin(np.arange(g), members)
    return best, chosen


def exact(case: Target, chosen: npt.NDArray[np.bool_]) -> float:
    """The cost at the vertex of the chosen products: the mixed-integer search keeps its rows to 1e-7 only. [money/ha]"""
    columns = np.repeat(chosen, 2)
    return float(linprog(case.cost[columns], A_ub=case.rows[:, columns], b_ub=case.most, method="highs-ds").fun)


INTEGER: dict[str, Callable[[Target], Answer]] = {
    "milp, a bound for each product": mixed_integer,
    "milp, a bound for each column": partial(mixed_integer, by_column=True),
    "milp, cover rows": partial(mixed_integer, cover=True),
    "milp, cover rows, without presolve": partial(mixed_integer, cover=True, presolve=False),
    "milp, a bound for each product, without presolve": partial(mixed_integer, presolve=False),
}
OTHERS: dict[str, Callable[[Target], Answer]] = {
    "linear program first, then milp": relaxed_first,
    "a linear program for every set": every_set,
}


def results(*, seed: int, turns: int) -> list[Result]:
    """At most three products; at most four, where the count seldom binds: against the integer programs, and against every peer."""
    plan = (("blend", 3, {**INTEGER, **OTHERS}), ("blend_four", 4, INTEGER), ("blend_four_any_peer", 4, {**INTEGER, **OTHERS}))
    return [_result(name, most, peers, seed=seed, turns=turns) for name, most, peers in plan]


def _result(name: str, most_products: int, peers: dict[str, Callable[[Target], Answer]], *, seed: int, turns: int) -> Result:
    trial = batch(most_products, seed + 1000)
    times = {
        peer: statistics.median(timed(partial(_value, solve, c))[0] for c in (trial[:1] if solve is every_set else trial))
        for peer, solve in peers.items()
    }
    fastest = min(times, key=lambda peer: times[peer])
    mine: list[list[float]] = []
    theirs: list[tuple[Target, Answer]] = []

    def ours_all(cases: list[Target]) -> float:
        mine.append([ours(c) for c in cases])
        return sum(mine[-1])

    def peer_all(cases: list[Target]) -> float:
        answers = [peers[fastest](c) for c in cases]
        theirs.extend(zip(cases, answers, strict=True))
        return sum(value for value, _ in answers)

    found = compare(
        name, f"HiGHS: {fastest}", partial(batch, most_products), ours_all, peer_all, seed=seed, turns=turns, tolerance=TOLERANCE,
        size=TARGETS, note="",
    )  # fmt: skip
    apart = max(_apart(a, case, answer) for a, (case, answer) in zip([a for turn in mine for a in turn], theirs, strict=True))
    tried = "; ".join(f"{peer} {1000 * t:.1f} ms" for peer, t in times.items())
    note = (
        f"{TARGETS} targets a turn, {PRODUCTS} products, 2 placements, at most {most_products} products; every optimum compared; ours "
        f"checks its input and gives the next five sets too, the peer gets ready arrays and gives the optimum; compilation left out; peers "
        f"tried, a target: {tried}"
    )
    return dataclasses.replace(found, note=note, largest_difference=apart, same_result=apart <= TOLERANCE)


def _value(solve: Callable[[Target], Answer], case: Target) -> float:
    return solve(case)[0]


def _apart(a: float, case: Target, answer: Answer) -> float:
    """Relative difference to the peer, or, beyond the tolerance, to the vertex of the products it chose."""
    value, chosen = answer
    apart = abs(a - value) / abs(value)
    return apart if apart <= TOLERANCE else abs(a - exact(case, chosen)) / abs(value)
