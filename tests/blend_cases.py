"""Random blends, and the same question as a mixed-integer program for SciPy: the oracle of the search."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from evenstand.agronomy import BlendLimit, BlendProduct, FreeBin

NUTRIENTS = ("N", "P2O5", "K2O", "S")


@dataclass(frozen=True)
class Case:
    """What `blend` is called with."""

    needs: dict
    products: list
    max_products: int
    limits: list
    bins: list | None = None
    marks: frozenset = field(default_factory=frozenset)

    def call(self, function, **more):
        return function(self.needs, self.products, max_products=self.max_products, limits=self.limits, bins=self.bins, **more)


def random_case(seed: int) -> Case:
    """Few products of plain numbers, so that equal prices and equal analyses come up; stock, caps, smallest doses and bins now and then."""
    rng = np.random.default_rng([seed, 20])
    n = int(rng.integers(3, 11))
    marks = set()
    products = []
    single = rng.random() < 0.6  # an outfit whose fertilizer all goes with the seed
    scale = 0.25 if single else 1.0
    for i in range(n):
        if i and rng.random() < 0.12:
            twin = products[int(rng.integers(0, i))]
            products.append(BlendProduct(key=f"p{i}", analysis=dict(twin.analysis), price_kg=twin.price_kg, placements=twin.placements))
            marks.add("twins")
            continue
        shares = np.where(rng.random(4) < 0.45, rng.integers(5, 50, 4) / 100, 0.0)
        shares[int(rng.integers(0, 4))] += 0.1
        if shares.sum() > 0.95:
            shares = (shares / shares.sum() * 0.9).round(2)
        places = [("seed-row",), ("side-band",), ("seed-row", "side-band"), ("seed-row", "mid-row")][
            0 if single else int(rng.choice([1, 2, 2, 3]))
        ]
        extra = {}
        if rng.random() < 0.15:
            extra["stock_kg_ha"] = float(rng.integers(5, 120))
            marks.add("stock")
        if rng.random() < 0.15:
            extra["available_kg_ha"] = float(rng.integers(40, 200))
        if rng.random() < 0.15:
            extra["least_kg_ha"] = float(rng.integers(10, 60))
            marks.add("dose")
        analysis = {k: float(s) for k, s in zip(NUTRIENTS, shares, strict=True) if s > 0}
        price = float(rng.integers(0, 25)) / 10 if rng.random() < 0.5 else float(rng.uniform(0.2, 2))
        products.append(BlendProduct(key=f"p{i}", analysis=analysis, price_kg=price, placements=places, **extra))
    needs = {}
    for k in NUTRIENTS:
        carried = sum(k in p.analysis for p in products) > 0
        if rng.random() < (0.7 if carried else 0.1):
            low = round(float(rng.integers(0, 70)) * scale)
            needs[k] = low if rng.random() < 0.5 else (low, low if rng.random() < 0.1 else low + float(rng.integers(20, 120)))

    def least(k):
        return needs[k][0] if isinstance(needs.get(k), tuple) else needs.get(k, 0.0)

    limits = []
    row = {"placements": ("seed-row",)}
    if rng.random() < 0.9:
        most = least("N") + float(rng.integers(0, 6)) if single else float(rng.integers(1, 14))
        limits.append(BlendLimit(key="row N", most_kg_ha=most, nutrients=("N",), **row))
    if rng.random() < 0.5:
        most = least("N") + least("K2O") + float(rng.integers(3, 16)) if single else float(rng.integers(6, 25))
        limits.append(BlendLimit(key="row N+K2O", most_kg_ha=most, nutrients=("N", "K2O"), **row))
    if rng.random() < 0.95:
        limits.append(
            BlendLimit(
                key="row P2O5",
                least_kg_ha=least("P2O5") * float(rng.choice([0.6, 1.0, 1.0])) + float(rng.integers(2, 12)),
                nutrients=("P2O5",),
                **row,
            )
        )
    if rng.random() < 0.15:
        limits.append(BlendLimit(key="row mass", most_kg_ha=float(rng.integers(50, 250)), **row))
    bins = None
    if rng.random() < 0.25:
        feeds = [("seed-row",), ("side-band",), ("seed-row", "side-band"), ("side-band", "mid-row"), ("mid-row",)]
        bins = [FreeBin(key="ABCDE"[k], feeds=feeds[int(rng.integers(0, 5))]) for k in range(int(rng.integers(2, 6)))]
        if not single:
            marks.add("bins")
        else:
            bins = None
    return Case(needs, products, int(rng.choice([1, 2, 3, 3, 4, 4, 5, 5])), limits, bins, frozenset(marks))


def rows_of(case: Case):
    """Columns as (product, placement), and rows a x <= b, each from the definitions and not from the search's own arrays."""
    columns = [(p, q) for p in case.products for q in p.placements]
    rows, most = [], []
    for nutrient, need in case.needs.items():
        low, high = need if isinstance(need, tuple) else (need, None)
        share = [p.analysis.get(nutrient, 0.0) for p, _ in columns]
        if low:
            rows.append([-s for s in share])
            most.append(-low)
        if high is not None:
            rows.append(share)
            most.append(high)
    for limit in case.limits:
        weight = []
        for p, q in columns:
            counts = (not limit.placements or q in limit.placements) and (not limit.products or p.key in limit.products)
            weight.append((sum(p.analysis.get(k, 0.0) for k in limit.nutrients) if limit.nutrients else 1.0) if counts else 0.0)
        if limit.most_kg_ha is not None:
            rows.append(weight)
            most.append(limit.most_kg_ha)
        if limit.least_kg_ha:
            rows.append([-w for w in weight])
            most.append(-limit.least_kg_ha)
    for p in case.products:
        if p.available_kg_ha is not None:
            rows.append([float(r is p) for r, _ in columns])
            most.append(p.available_kg_ha)
    return columns, np.array(rows).reshape(len(rows), len(columns)), np.array(most)


def by_mixed_integers(case: Case):
    """Cost of the cheapest blend by HiGHS, or None where there is none.

    Columns: rates; bought of each product; a binary for each product, and for each column; a binary for each column in each bin. HiGHS keeps
    rows to 1e-7 and binaries to 1e-6 only, so the cost is worked out again by its linear program with the binaries held.
    """
    columns, rows, most = rows_of(case)
    n, g = len(columns), len(case.products)
    bins = case.bins or []
    owner = np.array([case.products.index(p) for p, _ in columns])
    # no cheapest blend needs more of a column than covers every least on its own, or its smallest dose
    with np.errstate(divide="ignore", invalid="ignore"):
        alone = np.where(rows < 0, most[:, None] / np.where(rows < 0, rows, 1.0), 0.0)
    floor = np.array([p.least_kg_ha for p, _ in columns])
    big = alone.sum(axis=0, initial=0.0) + floor + 1.0
    total = n + g + g + n + n * len(bins)
    z, y, s = n + g, n + 2 * g, n + 2 * g + n
    a, high = [], []

    def add(entries, top):
        row = np.zeros(total)
        for at, value in entries:
            row[at] += value
        a.append(row)
        high.append(top)

    for row, b in zip(rows, most, strict=True):
        add(enumerate(row), b)
    for j in range(n):
        add([(j, 1.0), (y + j, -big[j])], 0.0)
        add([(y + j, 1.0), (z + owner[j], -1.0)], 0.0)
        if floor[j] > 0:
            add([(j, -1.0), (y + j, floor[j])], 0.0)
        if case.bins is not None:
            add([(y + j, 1.0), *[(s + j * len(bins) + k, -1.0) for k in range(len(bins))]], 0.0)
    for k, one in enumerate(bins):
        add([(s + j * len(bins) + k, 1.0) for j in range(n)], 1.0)
        for j, (p, q) in enumerate(columns):
            if q not in one.feeds or p.form != one.form:
                add([(s + j * len(bins) + k, 1.0)], 0.0)
    for p, product in enumerate(case.products):
        add([(j, 1.0) for j in range(n) if owner[j] == p] + [(n + p, -1.0)], product.stock_kg_ha)
    add([(z + p, 1.0) for p in range(g)], case.max_products)
    cost = np.zeros(total)
    cost[n : n + g] = [p.price_kg for p in case.products]
    whole = np.concatenate([np.zeros(n + g), np.ones(total - n - g)])
    upper = np.concatenate([np.full(n + g, np.inf), np.ones(total - n - g)])
    found = milp(
        cost,
        constraints=LinearConstraint(np.array(a), -np.inf, high),
        integrality=whole,
        bounds=Bounds(0, upper),
        options={"mip_rel_gap": 0.0},
    )
    assert found.status in (0, 2), found.message
    if found.status == 2:
        return None
    held = np.round(found.x[n + g :])
    bounds = [(0, None)] * (n + g) + [(v, v) for v in held]
    tight = {"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10}
    again = linprog(cost, A_ub=np.array(a), b_ub=high, bounds=bounds, method="highs-ds", options=tight)
    assert again.status == 0, again.message
    return float(again.fun)
