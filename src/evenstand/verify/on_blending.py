"""Blends against printed arithmetic, and every number of a blend against the same question worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from evenstand import agronomy
from evenstand.agronomy import Blend, BlendLimit, BlendProduct
from evenstand.base.units import from_metric, to_metric
from evenstand.verify.pairs import Independent, Pair


def _alone(need: str, wanted: float, **analysis: float) -> Blend:
    """One product for one nutrient, by mass."""
    return agronomy.blend({need: wanted}, [BlendProduct(key="second", analysis=analysis)], max_products=1)


def _given(rate_kg_ha: float, price_kg: float | None = None, **analysis: float) -> agronomy.BlendSupply:
    product = BlendProduct(key="second", analysis=analysis, price_kg=price_kg)
    return agronomy.blend_supplies({"second": rate_kg_ha}, [product])


def _lb_ac(blend: Blend) -> float:
    return from_metric(blend.rates_kg_ha["second"], "rate", "lb/ac")


def _money_ac() -> float:
    """80 lb of product an acre at 1200 a short ton."""
    price = 1200 / to_metric(1, "mass", "ton (short)")
    cost = _given(to_metric(80, "rate", "lb/ac"), price, N=0.11, P2O5=0.52).cost_ha
    return from_metric(cost or 0.0, "price_area", "/ac")


PAIRS: tuple[Pair, ...] = (
    Pair(
        function="agronomy.blend",
        case="80 kg N from 21 % ammonium sulphate; the phosphate of 800 kg of 6-10-4 from 45 % superphosphate",
        unit="kg",
        cells=(
            ("ammonium sulphate", "380.95", lambda: _alone("N", 80, N=0.21).rates_kg_ha["second"]),
            ("superphosphate", "177.78", lambda: _alone("P2O5", 0.10 * 800, P2O5=0.45).rates_kg_ha["second"]),
        ),
        source="calculating-agriculture",
        where="pp. 112 and 183",
    ),
    Pair(
        function="agronomy.blend",
        case="70 lb N an acre as urea",
        published="152",
        unit="lb/ac",
        compute=lambda: _lb_ac(_alone("N", to_metric(70, "rate", "lb/ac"), N=0.46)),
        source="hultgreen-2007",
        where="wide-spread openers",
    ),
    Pair(
        function="agronomy.blend",
        case="11.25 lb N from 31 %, 3.75 lb N from 46 %",
        unit="lb",
        cells=(
            ("from 31 %", "36.3", lambda: _alone("N", 11.25, N=0.31).rates_kg_ha["second"]),
            ("from 46 %", "8.2", lambda: _alone("N", 3.75, N=0.46).rates_kg_ha["second"]),
        ),
        source="fertilizer-course-slides",
        where="worked examples",
    ),
    Pair(
        function="agronomy.blend",
        case="60 kg P2O5 from 18-46-0: product",
        published="130.4",
        unit="kg/ha",
        compute=lambda: _alone("P2O5", 60, N=0.18, P2O5=0.46).rates_kg_ha["second"],
        source="two-nutrient-example",
        where="worked example",
    ),
    Pair(
        function="agronomy.blend",
        case="60 kg P2O5 from 18-46-0: nitrogen that comes with it",
        published="23.47",
        unit="kg/ha",
        compute=lambda: _alone("P2O5", 60, N=0.18, P2O5=0.46).supplied["N"],
        half_digits=2,
        why="printed from the product rounded to 130.4",
        source="two-nutrient-example",
        where="worked example",
    ),
    Pair(
        function="agronomy.blend_supplies",
        case="80 lb of 11-52-0 an acre at 1200 a short ton, money an acre",
        published="48",
        unit="/ac",
        compute=_money_ac,
        source="ndsu-2008-phosphate",
        where="15 May 2008",
    ),
    Pair(
        function="agronomy.blend_supplies",
        case="40 kg of a 60 % salt",
        published="24",
        unit="kg",
        compute=lambda: _given(40, K2O=0.60).supplied["K2O"],
        source="calculating-agriculture",
        where="p. 112",
    ),
    Pair(
        function="agronomy.blend_supplies",
        case="a bag of 50 lb of 35-0-0",
        published="17.5",
        unit="lb",
        compute=lambda: _given(50, N=0.35).supplied["N"],
        source="fertilizer-course-slides",
        where="worked examples",
    ),
)

# 80 N and 30 P2O5, 20 of it in the row, from 46-0-0 with 100 kg on the yard, and 11-52-0
_SECOND = 30 / 0.52
_FIRST = (80 - 0.11 * _SECOND) / 0.46
_ALONE = 80 / 0.11
_COST = 0.6 * (_FIRST - 100) + 0.8 * _SECOND


def _question() -> Blend:
    """By hand: all P2O5 is from the second product, the rest of the nitrogen from the first, 100 kg of which are paid."""
    products = [
        BlendProduct(key="first", analysis={"N": 0.46}, price_kg=0.6, stock_kg_ha=100),
        BlendProduct(key="second", analysis={"N": 0.11, "P2O5": 0.52}, price_kg=0.8, placements=("seed-row", "side-band")),
    ]
    row = BlendLimit(key="row P2O5", least_kg_ha=20, nutrients=("P2O5",), placements=("seed-row",))
    return agronomy.blend({"N": 80, "P2O5": 30}, products, max_products=2, limits=[row])


def _bound(side: str, key: str, what: str) -> float:
    found = next(b for b in _question().binding if (b.side, b.key) == (side, key))
    return found.limit if what == "limit" else found.price


_BY_HAND: tuple[tuple[str, Callable[[], float], float], ...] = (
    ("rate of the first", lambda: _question().rates_kg_ha["first"], _FIRST),
    ("rate of the second", lambda: _question().rates_kg_ha["second"], _SECOND),
    ("cost", lambda: _question().cost_ha or 0.0, _COST),
    ("N supplied", lambda: _question().supplied["N"], 80.0),
    ("P2O5 supplied", lambda: _question().supplied["P2O5"], 30.0),
    ("limit of N", partial(_bound, "least", "N", "limit"), 80.0),
    ("price of N: 1/0.46 kg of the first", partial(_bound, "least", "N", "price"), 0.6 / 0.46),
    ("limit of P2O5", partial(_bound, "least", "P2O5", "limit"), 30.0),
    (
        "price of P2O5: the second, less the nitrogen it brings",
        partial(_bound, "least", "P2O5", "price"),
        0.8 / 0.52 - 0.11 / 0.52 * 0.6 / 0.46,
    ),
    ("limit in the row", partial(_bound, "least", "row P2O5", "limit"), 20.0),
    ("limit of the stock", partial(_bound, "most", "first, stock", "limit"), 100.0),
    ("price of the stock", partial(_bound, "most", "first, stock", "price"), 0.6),
    ("next best: the second alone", lambda: _question().runners_up[0].rates_kg_ha["second"], _ALONE),
    ("next best, in the row", lambda: _question().runners_up[0].placed_kg_ha["second"]["seed-row"], 20 / 0.52),
    ("next best, in the band", lambda: _question().runners_up[0].placed_kg_ha["second"]["side-band"], _ALONE - 20 / 0.52),
    ("next best, cost", lambda: _question().runners_up[0].cost_ha or 0.0, 0.8 * _ALONE),
    ("next best, mass", lambda: _question().runners_up[0].mass_kg_ha, _ALONE),
    ("next best, dearer by", lambda: _question().runners_up[0].more_ha, 0.8 * _ALONE - _COST),
    ("bound is the cost", lambda: _question().proof.bound, _COST),
    ("sets of one or two", lambda: float(_question().proof.sets), 3.0),
    ("sets worked out, and ruled out", lambda: float(_question().proof.worked_out + _question().proof.ruled_out), 3.0),
    ("placed, first", lambda: _question().placed_kg_ha["first"]["side-band"], _FIRST),
    ("placed, second in the row", lambda: _question().placed_kg_ha["second"]["seed-row"], 20 / 0.52),
    ("placed, second in the band", lambda: _question().placed_kg_ha["second"]["side-band"], 10 / 0.52),
    ("from the yard", lambda: _question().stock_kg_ha["first"], 100.0),
    ("to buy, first", lambda: _question().bought_kg_ha["first"], _FIRST - 100),
    ("to buy, second", lambda: _question().bought_kg_ha["second"], _SECOND),
    ("mass", lambda: _question().mass_kg_ha, _FIRST + _SECOND),
    ("price of N by mass: 1/0.46 kg of product", lambda: _alone("N", 80, N=0.46).binding[0].price, 1 / 0.46),
    ("17-7-0, 2000 lb: the first of 3-20-0 and 36-0-0", lambda: _compound("second"), 700.0),
    ("17-7-0, 2000 lb: the second of 3-20-0 and 36-0-0", lambda: _compound("first"), (340 - 0.03 * 700) / 0.36),
)


def _compound(product: str) -> float:
    """2000 lb of 17-7-0: 340 N, 140 P2O5; the rest is filler."""
    products = [BlendProduct(key="first", analysis={"N": 0.36}), BlendProduct(key="second", analysis={"N": 0.03, "P2O5": 0.20})]
    return agronomy.blend({"N": (340, 340), "P2O5": (140, 140)}, products, max_products=2).rates_kg_ha[product]


def _pair_of(ours: Callable[[], float], other: float) -> tuple[float, float]:
    return float(ours()), other


INDEPENDENT: tuple[Independent, ...] = tuple(
    Independent(function="agronomy.blend", case=case, how="closed form", compute=partial(_pair_of, ours, other))
    for case, ours, other in _BY_HAND
)
