"""A blend as rows and columns: one column for each product in each placement, one row for each side of each need and limit."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import numpy.typing as npt

from evenstand.agronomy.blend_parts import FORMS, PLACEMENTS, BlendLimit, BlendProduct, FreeBin, Need, need_range
from evenstand.solve.subsets import SetProblem

_IN_ROW = 1 / 1000  # of two blends of the same cost and mass, the one with less in the seed row is taken
ElementKind = Literal["need", "limit", "available", "dose", "bins", "max_products"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """One limit that may take part in a conflict, or bind.

    kind: what it is; key: nutrient, limit, product or streams it is about; side: "least" or "most"; value: [kg/ha, or a count].
    """

    kind: ElementKind
    key: str
    side: Literal["least", "most"]
    value: float

    @property
    def name(self) -> str:
        """How it is called in messages. [-]"""
        texts = {
            "need": f"{self.key}, {self.side}",
            "limit": f"{self.key}, {self.side}",
            "available": f"{self.key}, what there is",
            "dose": f"{self.key}, smallest dose",
            "bins": f"bins for {self.key}",
            "max_products": "max_products",
        }
        return texts[self.kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A blend's parts in their fixed order: products by name, placements as listed. columns: (product, placement) of each column."""

    products: tuple[BlendProduct, ...]
    columns: tuple[tuple[int, str], ...]
    rows: tuple[Element, ...]
    counts: tuple[Element, ...]
    problem: SetProblem


def elements(
    needs: Mapping[str, Need],
    products: Sequence[BlendProduct],
    max_products: int,
    limits: Sequence[BlendLimit],
    bins: Sequence[FreeBin] | None,
) -> tuple[Element, ...]:
    """Everything that limits a blend, what a reader can least do about last.

    Parameters
    ----------
    needs, products, max_products, limits, bins
        As given to `blend`. [-]

    Returns
    -------
    tuple of Element
        In the order in which a conflict is searched: the first ones are given up first. [-]
    """
    doses = [Element(kind="dose", key=p.key, side="least", value=p.least_kg_ha) for p in products if p.least_kg_ha > 0]
    have = [Element(kind="available", key=p.key, side="most", value=p.available_kg_ha) for p in products if p.available_kg_ha is not None]
    rows = _row_elements(needs, limits)
    counts = [e for e, _ in _bin_counts(_columns(products), products, bins)]
    return (*doses, *have, *rows, *counts, Element(kind="max_products", key="", side="most", value=float(max_products)))


def lay_out(
    needs: Mapping[str, Need],
    products: Sequence[BlendProduct],
    limits: Sequence[BlendLimit],
    bins: Sequence[FreeBin] | None,
    *,
    priced: bool,
    only: Collection[Element] | None = None,
) -> Layout:
    """Rows and columns of a blend.

    Parameters
    ----------
    needs, products, limits, bins
        As given to `blend`. [-]
    priced : bool
        By price; else every kilogram bought costs one. [-]
    only : collection of Element or None
        Limits in force; None: all. [-]

    Returns
    -------
    Layout
        With the problem for `solve.subsets`. [-]
    """
    listed = tuple(sorted(products, key=lambda p: p.key))
    columns = _columns(listed)
    n, g = len(columns), len(listed)
    rows = [e for e in _row_elements(needs, limits) if only is None or e in only]
    owner = np.array([p for p, _ in columns])
    matrix = _weights(rows, limits, listed, columns, owner)
    sign = np.array([1.0 if row.side == "most" else -1.0 for row in rows])
    matrix *= sign[:, None]
    most = sign * np.array([row.value for row in rows])
    amounts = np.array([_amounts(product, priced=priced, only=only) for product in listed], dtype=np.float64)
    cap, stock, extra, cost, floor = amounts.T
    counts = [(e, c) for e, c in _bin_counts(columns, listed, bins) if only is None or e in only]
    problem = SetProblem(
        rows=matrix,
        most=most,
        cost=cost[owner],
        second=np.array([1.0 + (_IN_ROW if place == "seed-row" else 0.0) for _, place in columns]),
        first=np.searchsorted(owner, np.arange(g + 1)).astype(np.int64),
        cap=cap.copy(),
        stock=stock.copy(),
        extra=extra.copy(),
        floor=floor[owner],
        counted=np.array([c for _, c in counts], dtype=np.bool_).reshape(len(counts), n),
        places=np.array([e.value for e, _ in counts], dtype=np.int64),
    )
    return Layout(products=listed, columns=tuple(columns), rows=tuple(rows), counts=tuple(e for e, _ in counts), problem=problem)


def _amounts(product: BlendProduct, *, priced: bool, only: Collection[Element] | None) -> tuple[float, float, float, float, float]:
    """Cap, stock, price beyond the stock, price, smallest dose; -1 for no stock, or nothing beyond it. See `SetProblem`."""
    cap = np.inf if product.available_kg_ha is None else product.available_kg_ha
    floor = product.least_kg_ha
    if only is not None:
        kinds = {e.kind for e in only if e.key == product.key}
        cap = cap if "available" in kinds else np.inf
        floor = floor if "dose" in kinds else 0.0
    price = (product.price_kg or 0.0) if priced else 1.0
    own = product.stock_price_kg if priced else 0.0
    if product.only_stock:
        return cap, -1.0, -1.0, own, floor
    if product.stock_kg_ha > 0:
        return cap, product.stock_kg_ha, price - own, own, floor
    return cap, -1.0, -1.0, price, floor


def _weights(
    rows: Sequence[Element],
    limits: Sequence[BlendLimit],
    products: Sequence[BlendProduct],
    columns: Sequence[tuple[int, str]],
    owner: npt.NDArray[np.int64],
) -> npt.NDArray[np.float64]:
    """How much a kilogram in each column counts in each row: `BlendLimit.weight`, a nutrient at a time. (rows, columns) [kg/kg]"""
    shares: dict[str, npt.NDArray[np.float64]] = {}

    def share(nutrient: str) -> npt.NDArray[np.float64]:
        if nutrient not in shares:
            shares[nutrient] = np.array([p.analysis.get(nutrient, 0.0) for p in products], dtype=np.float64)[owner]
        return shares[nutrient]

    by_key = {limit.key: limit for limit in limits}
    out = np.zeros((len(rows), len(columns)))
    for i, row in enumerate(rows):
        if row.kind == "need":
            out[i] = share(row.key)
            continue
        limit = by_key[row.key]
        if limit.nutrients:
            for nutrient in limit.nutrients:
                out[i] += share(nutrient)
        else:
            out[i] = 1.0
        if limit.placements:
            out[i] *= np.array([place in limit.placements for _, place in columns])
        if limit.products:
            out[i] *= np.array([p.key in limit.products for p in products])[owner]
        if limit.forms:
            out[i] *= np.array([p.form in limit.forms for p in products])[owner]
    return out


def _columns(products: Sequence[BlendProduct]) -> list[tuple[int, str]]:
    return [(k, place) for k, p in enumerate(products) for place in PLACEMENTS if place in p.placements]


def _row_elements(needs: Mapping[str, Need], limits: Sequence[BlendLimit]) -> list[Element]:
    """A row for each side that is limited; a least of 0 is none."""
    sides = [("need", key, *need_range(need)) for key, need in sorted(needs.items())]
    sides = [("limit", x.key, x.least_kg_ha, x.most_kg_ha) for x in sorted(limits, key=lambda x: x.key)] + sides
    most = [Element(kind=kind, key=key, side="most", value=float(v)) for kind, key, _, v in sides if v is not None]  # type: ignore[arg-type]
    least = [Element(kind=kind, key=key, side="least", value=float(v)) for kind, key, v, _ in sides if v]  # type: ignore[arg-type]
    return most + least


def _bin_counts(
    columns: Sequence[tuple[int, str]], products: Sequence[BlendProduct], bins: Sequence[FreeBin] | None
) -> list[tuple[Element, list[bool]]]:
    """Columns that share bins: as many may be used as there are bins that feed any of their placements.

    By Hall's theorem the columns used can each get a bin of their own if and only if this holds for every group of placements.
    """
    if bins is None:
        return []
    out = []
    for form in FORMS:
        mine = [b for b in bins if b.form == form]
        places = [q for q in PLACEMENTS if any(products[p].form == form and place == q for p, place in columns)]
        for size in range(1, len(places) + 1):
            for group in combinations(places, size):
                counted = [products[p].form == form and place in group for p, place in columns]
                room = sum(any(q in group for q in b.feeds) for b in mine)
                if sum(counted) > room:
                    label = f"{form}, {' or '.join(group)}"
                    out.append((Element(kind="bins", key=label, side="most", value=float(room)), counted))
    return out
