"""What a blend is made of and what comes out: products, limits, bins, the answer. No search here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from evenstand.base.errors import EvenstandError, Fault, InputError, RangeError, require_range

Form: TypeAlias = Literal["granular", "liquid", "ammonia"]
Need: TypeAlias = "float | tuple[float | None, float | None]"
Rates: TypeAlias = "Mapping[str, float | Mapping[str, float]]"

FORMS: tuple[Form, ...] = ("granular", "liquid", "ammonia")
PLACEMENTS: tuple[str, ...] = ("seed-row", "side-band", "mid-row")
MOST_LISTED = 50
"""Longest list of products that is searched. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendProduct:
    """A product that may go into a blend.

    key: its name. analysis: share of each nutrient, on the label's scale [-]. price_kg: of one more kilogram; None: not known [money/kg].
    stock_kg_ha: on the yard, spread over the area [kg/ha]; stock_price_kg: what a kilogram of it counts for, 0 because it is paid
    [money/kg]. available_kg_ha: most that can be had in all, yard included; None: no limit [kg/ha]. least_kg_ha: smallest rate that
    can be dosed in one placement; below it: nothing [kg/ha]. placements: where it may go, of `PLACEMENTS`; ammonia never in the seed row.
    form: "granular", "liquid" or "ammonia". density_kg_l: of a liquid; None: not known [kg/L]. source: where the analysis is known from.
    """

    key: str
    analysis: Mapping[str, float]
    price_kg: float | None = None
    stock_kg_ha: float = 0.0
    stock_price_kg: float = 0.0
    available_kg_ha: float | None = None
    least_kg_ha: float = 0.0
    placements: tuple[str, ...] = ("side-band",)
    form: Form = "granular"
    density_kg_l: float | None = None
    source: str = ""

    @property
    def only_stock(self) -> bool:
        """Whether there is nothing to buy: all that can be had lies on the yard."""
        return self.available_kg_ha is not None and self.available_kg_ha <= self.stock_kg_ha


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendLimit:
    """A limit on a sum over products and placements.

    key: its name, shown where it binds. least_kg_ha, most_kg_ha: the limit; None: open on that side [kg/ha]. nutrients: those added up,
    such as ("N", "K2O"); none: the mass of product. placements, products, forms: those counted; none: all. note: source or reason.
    """

    key: str
    least_kg_ha: float | None = None
    most_kg_ha: float | None = None
    nutrients: tuple[str, ...] = ()
    placements: tuple[str, ...] = ()
    products: tuple[str, ...] = ()
    forms: tuple[str, ...] = ()
    note: str = ""

    def weight(self, product: BlendProduct, placement: str) -> float:
        """How much a kilogram of a product in a placement counts.

        Parameters
        ----------
        product : BlendProduct
            The product. [see the class]
        placement : str
            Where it goes. [-]

        Returns
        -------
        float
            0 where it does not count. [kg/kg]
        """
        left_out = (
            (self.placements and placement not in self.placements)
            or (self.products and product.key not in self.products)
            or (self.forms and product.form not in self.forms)
        )
        if left_out:
            return 0.0
        return math.fsum(product.analysis.get(n, 0.0) for n in self.nutrients) if self.nutrients else 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeBin:
    """A bin or tank that takes one product for one of the streams it can feed. key: its letter; feeds: placements; form: what it holds."""

    key: str
    feeds: tuple[str, ...]
    form: Form = "granular"


@dataclass(frozen=True, slots=True, kw_only=True)
class Binding:
    """A limit that binds.

    key: its name; side: "least" or "most"; limit: its value [kg/ha]; price: what the last kilogram of it costs, as long as the products
    stay the same [money/kg, or kg/kg where the blend is by mass]. Where several limits meet in one point, prices are not the only ones.
    """

    key: str
    side: Literal["least", "most"]
    limit: float
    price: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerUp:
    """The best blend of another set of products.

    rates_kg_ha: of each product; placed_kg_ha: of each in each placement [kg/ha]; cost_ha: None where the blend is by mass [money/ha];
    mass_kg_ha: of all products [kg/ha]; more_ha: what it costs more than the best [money/ha, or kg/ha to be bought].
    """

    rates_kg_ha: Mapping[str, float]
    placed_kg_ha: Mapping[str, Mapping[str, float]]
    cost_ha: float | None
    mass_kg_ha: float
    more_ha: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendProof:
    """How it is known that nothing is cheaper.

    optimal: every set was worked out or ruled out by a bound; verified: limits and dual prices of every blend listed were worked out
    again from the input and agree; bound: no blend costs less [as the cost, or kg/ha to be bought]; sets: sets of products within
    max_products [-]; worked_out: of them, solved one by one [-]; ruled_out: of them, shown to be too dear, impossible or no better by
    the prices of another set [-]; tie_rule: which of equally cheap sets stands first.
    """

    optimal: bool
    verified: bool
    bound: float
    sets: int
    worked_out: int
    ruled_out: int
    tie_rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Blend:
    """The cheapest blend.

    rates_kg_ha: of each product used [kg/ha]; cost_ha: of what is used, the yard at its own price; None where the blend is by mass
    [money/ha]; supplied: each nutrient [kg/ha]; binding: limits that bind; runners_up: the best blend of each of the next sets of
    products; proof: how that is known. placed_kg_ha: of each product in each placement [kg/ha]; stock_kg_ha, bought_kg_ha: taken from
    the yard, and to buy, of each product [kg/ha]; mass_kg_ha: of all products [kg/ha]; objective: "cost", or "mass" without prices.
    """

    rates_kg_ha: Mapping[str, float]
    cost_ha: float | None
    supplied: Mapping[str, float]
    binding: tuple[Binding, ...]
    runners_up: tuple[RunnerUp, ...]
    proof: BlendProof
    placed_kg_ha: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    stock_kg_ha: Mapping[str, float] = field(default_factory=dict)
    bought_kg_ha: Mapping[str, float] = field(default_factory=dict)
    mass_kg_ha: float = 0.0
    objective: Literal["cost", "mass"] = "cost"


def need_range(need: Need) -> tuple[float | None, float | None]:
    """Least and most of a need; a single number is a least.

    Parameters
    ----------
    need : float or (float or None, float or None)
        As given to `blend`. [kg/ha]

    Returns
    -------
    (float or None, float or None)
        None: open on that side. [kg/ha]
    """
    if isinstance(need, tuple | list):
        low, high = need
        return low, high
    return need, None


def check_parts(
    needs: Mapping[str, Need], products: Sequence[BlendProduct], limits: Sequence[BlendLimit], bins: Sequence[FreeBin] | None
) -> None:
    """All that is wrong with the parts of a blend, at once.

    Parameters
    ----------
    needs : mapping of str to need
        As given to `blend`. [kg/ha]
    products : sequence of BlendProduct
        The list. [-]
    limits : sequence of BlendLimit
        The limits. [kg/ha]
    bins : sequence of FreeBin or None
        The bins. [-]

    Raises
    ------
    InputError, RangeError
        Naming every fault.
    """
    faults: list[Fault] = []
    if not products:
        faults.append(Fault(where="products", what="there is none", cure="Give one product or more, with its analysis."))
    if len(products) > MOST_LISTED:
        what = f"{len(products)} products"
        faults.append(Fault(where="products", what=what, limit=f"{MOST_LISTED} at most", cure="Leave out those that are out of question."))
    faults += _doubled("products", [p.key for p in products]) + _doubled("limits", [x.key for x in limits])
    faults += _doubled("bins", [b.key for b in bins or ()])
    for product in products[:MOST_LISTED]:
        faults += _product_faults(product)
    for nutrient, need in needs.items():
        faults += _span_faults(f"need of {nutrient}", *need_range(need))
    known = {p.key for p in products}
    for limit in limits:
        faults += _span_faults(limit.key, limit.least_kg_ha, limit.most_kg_ha)
        if limit.least_kg_ha is None and limit.most_kg_ha is None:
            faults.append(Fault(where=limit.key, what="limits nothing", cure="Give least_kg_ha or most_kg_ha."))
        faults += _words(limit.key, limit.placements, PLACEMENTS) + _words(limit.key, limit.forms, FORMS)
        faults += _words(limit.key, limit.products, sorted(known))
    for one in bins or ():
        faults += _words(f"bin {one.key}", one.feeds, PLACEMENTS) + _words(f"bin {one.key}", (one.form,), FORMS)
    if faults:
        raise (RangeError if all(f.limit for f in faults) else InputError)(faults)


def _product_faults(product: BlendProduct) -> list[Fault]:
    name = product.key
    faults = _words(name, product.placements, PLACEMENTS)
    if product.form not in FORMS:
        faults += _words(name, (product.form,), FORMS)
    if not product.placements:
        faults.append(Fault(where=name, what="has no placement", cure=f"Give one or more of {', '.join(PLACEMENTS)}."))
    if product.form == "ammonia" and "seed-row" in product.placements:
        faults.append(Fault(where=name, what="is ammonia", limit="never in the seed row", cure="Give it a band."))
    for nutrient, share in product.analysis.items():
        if not 0.0 <= share <= 1.0:
            faults += _range_fault(f"{name}, share of {nutrient}", share, 0, 1)
    together = math.fsum(product.analysis.values())
    if not faults and together > 1 + 1e-9:
        faults += _range_fault(f"{name}, all shares together", together, 0, 1 + 1e-9)
    for what in ("price_kg", "available_kg_ha", "density_kg_l", "stock_kg_ha", "stock_price_kg", "least_kg_ha"):
        value = getattr(product, what)
        if value is not None and not 0.0 <= value <= 1e6:
            faults += _range_fault(f"{name}, {what}", value, 0, 1e6)
    if product.density_kg_l == 0:
        faults += _range_fault(f"{name}, density_kg_l", product.density_kg_l, 0, 1e6, low_open=True)
    if product.price_kg is not None and product.stock_price_kg > product.price_kg and not faults:
        what = f"its stock counts {product.stock_price_kg:g}, more than one bought"
        faults.append(Fault(where=name, what=what, limit="stock_price_kg <= price_kg", cure="Leave the stock out, or count it lower."))
    return faults


def _span_faults(where: str, low: float | None, high: float | None) -> list[Fault]:
    faults = [f for v in (low, high) if v is not None for f in _range_fault(where, v, 0, 1e6)]
    if not faults and low is not None and high is not None and low > high:
        faults.append(Fault(where=where, what=f"at least {low:g} and at most {high:g}", limit="least <= most", cure="Correct one."))
    return faults


def _range_fault(where: str, value: float, low: float, high: float, *, low_open: bool = False) -> list[Fault]:
    if low < value <= high:
        return []
    try:
        require_range(where, value, low, high, low_open=low_open)
    except EvenstandError as error:
        return list(error.faults)
    return []


def _words(where: str, given: Sequence[str], known: Sequence[str]) -> list[Fault]:
    if all(w in known for w in given):
        return []
    return [Fault(where=where, what=f"'{w}' is not known", cure=f"Use {', '.join(known)}.") for w in given if w not in known]


def _doubled(where: str, keys: Sequence[str]) -> list[Fault]:
    twice = sorted({k for k in keys if keys.count(k) > 1})
    return [Fault(where=where, what=f"'{k}' stands there twice", cure="Give each its own name.") for k in twice]
