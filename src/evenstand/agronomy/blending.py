"""The cheapest products for a need, within bins, streams and limits; which limits conflict where there is none."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING

from evenstand.agronomy.blend_parts import (
    Binding,
    Blend,
    BlendLimit,
    BlendProduct,
    BlendProof,
    FreeBin,
    Need,
    RunnerUp,
    check_parts,
)
from evenstand.base.errors import Fault, InfeasibleError, MissingError, RangeError

if TYPE_CHECKING:
    from evenstand.agronomy.blend_rows import Element, Layout
    from evenstand.solve.subsets import SetAnswer

TIE_RULE = "equally cheap: fewer products first, then less mass (in the seed row it counts a thousandth more), then by name"
_DUST = 1e-9


def blend(
    needs: Mapping[str, Need],
    products: Sequence[BlendProduct],
    *,
    max_products: int,
    limits: Sequence[BlendLimit] = (),
    bins: Sequence[FreeBin] | None = None,
    next_best: int | None = None,
    compiled: bool | None = None,
) -> Blend:
    """The cheapest blend that meets a need with few products, and the next best sets of products.

    The answer is exact: every set of at most `max_products` is worked out, or ruled out by the dual prices of another one. What lies on
    the yard is used before anything is bought, as far as that is cheaper: it counts at `stock_price_kg`, 0 unless given. With no price at
    all the blend is the one with the least mass to buy. A set is listed only if its blend is cheaper than what any smaller set within it
    can do, so that each of its products earns its place. Within a set, of equally cheap blends that of least mass is taken.

    Parameters
    ----------
    needs : mapping of str to float or (float or None, float or None)
        For each nutrient the least, or (least, most). [kg/ha]
    products : sequence of BlendProduct
        What may be used, 50 at most. [see the class]
    max_products : int
        Different products in the blend at most. [-]
    limits : sequence of BlendLimit
        Limits on sums over products and placements, such as nitrogen in the seed row. [kg/ha]
    bins : sequence of FreeBin or None
        Free bins and tanks; each takes one product for one stream. None: not limited. [-]
    next_best : int or None
        How many further sets to give; None: five. [-]
    compiled : bool or None
        Run the search compiled; None: if it is long. [-]

    Returns
    -------
    Blend
        Rates, cost, what is supplied, what binds, the next best sets and the proof. [see the class]

    Raises
    ------
    InfeasibleError
        If no blend keeps all limits. Its faults are a smallest conflict: without any one of them there is a blend.
    InputError, RangeError
        If a part is wrong; all faults are named.
    MissingError
        If some products have a price and others none.

    References
    ----------
    definition: a linear programme for every set of products, its bound from the dual prices.

    Examples
    --------
    80 kg N/ha from urea, or from ammonium sulphate at two thirds of its price:

    >>> urea = BlendProduct(key="urea", analysis={"N": 0.46}, price_kg=0.60)
    >>> sulphate = BlendProduct(key="ammonium sulphate", analysis={"N": 0.21, "S": 0.24}, price_kg=0.40)
    >>> best = blend({"N": 80}, [urea, sulphate], max_products=1)
    >>> round(best.rates_kg_ha["urea"], 1), round(best.cost_ha, 2)
    (173.9, 104.35)
    """
    from evenstand.agronomy.blend_rows import lay_out
    from evenstand.solve.subsets import KEEP, cheapest_sets

    check_parts(needs, products, limits, bins)
    if max_products < 1:
        raise RangeError(f"{max_products} products", where="max_products", limit="1 <= max_products", cure="Allow one or more.")
    if next_best is not None and next_best < 0:
        raise RangeError(f"{next_best} further sets", where="next_best", limit="0 <= next_best")
    priced = _priced(products)
    layout = lay_out(needs, products, limits, bins, priced=priced)
    answer = cheapest_sets(layout.problem, most_groups=max_products, keep=KEEP if next_best is None else next_best + 1, compiled=compiled)
    if not answer.sets:
        raise InfeasibleError(
            [_fault(e) for e in conflict(needs, products, max_products=max_products, limits=limits, bins=bins, compiled=compiled)]
        )
    return _blend(layout, answer, priced)


def conflict(
    needs: Mapping[str, Need],
    products: Sequence[BlendProduct],
    *,
    max_products: int,
    limits: Sequence[BlendLimit] = (),
    bins: Sequence[FreeBin] | None = None,
    compiled: bool | None = None,
) -> tuple[Element, ...]:
    """A smallest set of limits that no blend can keep together: give up any one of them and there is a blend.

    Working: the elements it gives are the answer; drop any one and `blend` finds a blend.

    Range: as for `blend`; what lies outside raises the same errors.

    Parameters
    ----------
    needs, products, max_products, limits, bins, compiled
        As for `blend`. [see there]

    Returns
    -------
    tuple of Element
        Empty if all limits can be kept. [-]

    References
    ----------
    definition: an irreducible set of limits, by leaving out one after the other.
    """
    from evenstand.agronomy.blend_rows import elements, lay_out
    from evenstand.solve.subsets import cheapest_sets

    def possible(kept: Collection[Element]) -> bool:
        layout = lay_out(needs, products, limits, bins, priced=False, only=kept)
        most = max_products if any(e.kind == "max_products" for e in kept) else len(products)
        return bool(cheapest_sets(layout.problem, most_groups=most, first_only=True, compiled=compiled).sets)

    kept = list(elements(needs, products, max_products, limits, bins))
    if possible(kept):
        return ()
    for element in tuple(kept):
        without = [e for e in kept if e is not element]
        if not possible(without):
            kept = without
    return tuple(kept)


def _fault(e: Element) -> Fault:
    """A limit of a conflict in words."""
    side = "at least" if e.side == "least" else "at most"
    cures = {
        "need": "Ask for less of it, or allow more.",
        "limit": "Move product to another placement, or choose another product.",
        "available": "Get more of it, or list another product.",
        "dose": "Take another meter roller, or leave the product out.",
        "bins": "Free a bin, or change the stream it feeds.",
        "max_products": "Allow one product more.",
    }
    number = f"{e.value:g}" if e.kind in ("bins", "max_products") else f"{e.value:g} kg/ha"
    return Fault(
        where=e.name, what="cannot be kept together with the other limits named here", limit=f"{side} {number}", cure=cures[e.kind]
    )


def _priced(products: Sequence[BlendProduct]) -> bool:
    """Whether the blend is by price."""
    without = [p.key for p in products if p.price_kg is None and not p.only_stock]
    if all(p.price_kg is None for p in products) and not any(p.stock_price_kg for p in products):
        return False
    if without:
        raise MissingError(
            f"no price of {', '.join(without)}",
            where="price_kg",
            cure="Give every price, or none for a blend of least mass; or say with available_kg_ha that there is only the stock.",
        )
    return True


def _blend(layout: Layout, answer: SetAnswer, priced: bool) -> Blend:
    placed = [_placed(layout, x) for x in answer.columns.tolist()]
    totals = [{key: sum(by_place.values()) for key, by_place in one.items()} for one in placed]
    best = totals[0]
    by_key = {p.key: p for p in layout.products}
    stock = {key: min(rate, by_key[key].stock_kg_ha) for key, rate in best.items() if by_key[key].stock_kg_ha > 0}
    supplied = {nutrient: 0.0 for e in layout.rows if e.kind == "need" for nutrient in (e.key,)}
    for key, rate in best.items():
        for nutrient, share in by_key[key].analysis.items():
            supplied[nutrient] = supplied.get(nutrient, 0.0) + rate * share
    value = float(answer.values[0])
    runners = [
        RunnerUp(
            rates_kg_ha=totals[k],
            placed_kg_ha=placed[k],
            cost_ha=float(answer.values[k]) if priced else None,
            mass_kg_ha=sum(totals[k].values()),
            more_ha=max(float(answer.values[k]) - value, 0.0),
        )
        for k in range(1, len(placed))
    ]
    return Blend(
        rates_kg_ha=best,
        cost_ha=value if priced else None,
        supplied=dict(sorted(supplied.items())),
        binding=_binding(layout, answer),
        runners_up=tuple(runners),
        proof=BlendProof(
            optimal=answer.proven,
            verified=answer.verified,
            bound=answer.bound,
            sets=answer.within,
            worked_out=answer.worked_out,
            ruled_out=answer.within - answer.worked_out,
            tie_rule=TIE_RULE,
        ),
        placed_kg_ha=placed[0],
        stock_kg_ha=stock,
        bought_kg_ha={key: rate - stock.get(key, 0.0) for key, rate in best.items()},
        mass_kg_ha=sum(best.values()),
        objective="cost" if priced else "mass",
    )


def _placed(layout: Layout, x: Sequence[float]) -> dict[str, dict[str, float]]:
    """Product -> placement -> rate of what is used, by the first product's name. [kg/ha]"""
    dust = _DUST * max(max(x, default=0.0), 1.0)
    out: dict[str, dict[str, float]] = {}
    for j, rate in enumerate(x):
        if rate > dust:
            p, place = layout.columns[j]
            out.setdefault(layout.products[p].key, {})[place] = rate
    return out


def _binding(layout: Layout, answer: SetAnswer) -> tuple[Binding, ...]:
    """Rows without slack, with their prices, then caps, stock and smallest doses."""
    import numpy as np

    problem, x = layout.problem, answer.columns[0]
    used, sizes, most = (problem.rows @ x).tolist(), (abs(problem.rows) @ x).tolist(), problem.most.tolist()
    out = [
        Binding(key=e.key, side=e.side, limit=e.value, price=float(answer.row_prices[0, i]))
        for i, e in enumerate(layout.rows)
        if abs(used[i] - most[i]) <= _DUST * max(sizes[i], e.value, _DUST)
    ]
    for k in answer.sets[0]:
        product, total = layout.products[k], float(x[problem.first[k] : problem.first[k + 1]].sum())
        for what, top, price in (
            ("available", problem.cap[k], answer.cap_prices[0, k]),
            ("stock", problem.stock[k], answer.stock_prices[0, k]),
        ):
            if top >= 0 and total >= top - _DUST * max(total, _DUST):  # what is bought comes on top of the stock
                out.append(Binding(key=f"{product.key}, {what}", side="most", limit=float(top), price=float(price)))
    for j in np.flatnonzero((problem.floor > 0) & (x > 0)).tolist():
        if abs(x[j] - problem.floor[j]) <= _DUST * x[j]:
            p, place = layout.columns[j]
            key = f"{layout.products[p].key}, smallest dose, {place}"
            out.append(Binding(key=key, side="least", limit=float(problem.floor[j]), price=float(answer.floor_prices[0, j])))
    return tuple(out)
