"""Seed row and nutrients against print."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from evenstand import agronomy
from evenstand.base.units import INCH_M, from_metric, to_metric
from evenstand.verify.pairs import Independent, Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]


def _utilisation(spread_in: float, row_in: float) -> float:
    return 100 * agronomy.seedbed_utilisation(spread_in * INCH_M, row_in * INCH_M)


def _limit_lb_ac(crop: str, texture: str, spread_in: float, row_in: float, *, nutrient: str = "N") -> float:
    sbu = agronomy.seedbed_utilisation(spread_in * INCH_M, row_in * INCH_M)
    limit = agronomy.seed_row_limit("manitoba", crop, texture, sbu, nutrient=nutrient)
    return math.nan if limit.kg_ha is None else from_metric(limit.kg_ha, "rate", "lb/ac")


_GEOMETRIES = ((1, 6), (1, 9), (1, 12), (2, 6), (2, 9), (2, 12), (3, 6), (3, 9), (3, 12))


def _urea_with_cereals() -> Cells:
    """All 27 cells as printed, by spread and row: the look-up knows only the seedbed utilisation."""
    printed = {"light": (10, 0, 0, 20, 15, 10, 30, 20, 15), "medium": (20, 15, 10, 30, 25, 20, 40, 30, 25)}
    printed["heavy"] = (25, 20, 10, 40, 30, 25, 50, 40, 30)
    return tuple(
        (f"{soil}, {spread} in on {row} in", str(lb), lambda t=soil, s=spread, r=row: _limit_lb_ac("wheat", t, s, r))
        for soil, cells in printed.items()
        for (spread, row), lb in zip(_GEOMETRIES, cells, strict=True)
    )


def _urea_with_canola() -> Cells:
    """The eleven cells that were read: light soil, and the first two of medium soil."""
    light = (0, 0, 0, 10, 0, 0, 20, 10, 0)
    cells = [("light", spread, row, lb) for (spread, row), lb in zip(_GEOMETRIES, light, strict=True)]
    cells += [("medium", 1, 6, 0), ("medium", 1, 9, 0)]
    return tuple(
        (f"{soil}, {spread} in on {row} in", str(lb), lambda t=soil, s=spread, r=row: _limit_lb_ac("canola", t, s, r))
        for soil, spread, row, lb in cells
    )


_SEED_ROW = (
    Pair(
        function="agronomy.seedbed_utilisation",
        case="spread of 1, 2, 3 in on 6, 9, 12 in rows, 9 cells",
        unit="%",
        cells=tuple(
            (f"{s} in on {r} in", text, partial(_utilisation, s, r))
            for (s, r), text in zip(_GEOMETRIES, ("17", "11", "8", "33", "22", "17", "50", "33", "25"), strict=True)
        ),
        kind="table",
        source="manitoba-seed-row-n",
        where="table of seedbed utilisation",
    ),
    Pair(
        function="agronomy.seedbed_utilisation",
        case="1 inch band on 6 inch rows",
        published="17",
        unit="%",
        compute=lambda: _utilisation(1, 6),
        source="potash-phosphate-1995",
        where="release of 25 March 1995",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="urea nitrogen with cereal seed, 3 soils by 9 geometries, 27 cells",
        unit="lb/ac",
        cells=_urea_with_cereals(),
        kind="table",
        exact=True,
        source="manitoba-seed-row-n",
        where="table of urea nitrogen with cereal seed",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="urea nitrogen with canola seed, the 11 cells that were read",
        unit="lb/ac",
        cells=_urea_with_canola(),
        kind="table",
        exact=True,
        source="manitoba-seed-row-canola",
        where="table of urea nitrogen with canola seed",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="P2O5 as monoammonium phosphate, 1 inch spread on 6 inch rows, 7 crops",
        unit="lb/ac",
        cells=tuple(
            (crop, text, partial(_limit_lb_ac, crop, "medium", 1, 6, nutrient="P2O5"))
            for crop, text in {
                "wheat": "50", "canola": "20", "pea": "20", "flax": "20", "faba bean": "20", "dry bean": "10", "soybean": "10",
            }.items()
        ),
        kind="table",
        exact=True,
        source="manitoba-seed-row-p",
        where="Table 1, column Manitoba",
    ),
)  # fmt: skip


def _oxides(printed: dict[tuple[str, str], str]) -> Cells:
    return tuple((f"{a} to {b}", text, lambda a=a, b=b: agronomy.nutrient_factor(a, b)) for (a, b), text in printed.items())


_NUTRIENTS = (
    Pair(
        function="agronomy.product_for_nutrient",
        case="70 lb N an acre as urea",
        published="152",
        unit="lb/ac",
        compute=lambda: agronomy.product_for_nutrient(70, 0.46),
        source="hultgreen-2007",
        where="wide-spread openers",
    ),
    Pair(
        function="agronomy.product_for_nutrient",
        case="80 kg N from 21 % ammonium sulphate; 80 kg phosphate from 45 % superphosphate",
        unit="kg",
        cells=(
            ("ammonium sulphate", "380.95", lambda: agronomy.product_for_nutrient(80, 0.21)),
            ("the phosphate of 800 kg of 6-10-4", "177.78", lambda: agronomy.product_for_nutrient(0.10 * 800, 0.45)),
        ),
        source="calculating-agriculture",
        where="pp. 112 and 183",
    ),
    Pair(
        function="agronomy.nutrient_in_product",
        case="40 kg of a 60 % salt",
        published="24",
        unit="kg",
        compute=lambda: agronomy.nutrient_in_product(40, 0.60),
        source="calculating-agriculture",
        where="p. 112",
    ),
    Pair(
        function="agronomy.nutrient_in_product",
        case="nitrogen in a US gallon of 32 % solution at 11.1 lb/gal",
        published="3.6",
        unit="lb",
        compute=lambda: agronomy.nutrient_in_product(11.1, 0.32),
        source="ncsu-calibration-2014",
        where="liquid fertilizers",
    ),
    Pair(
        function="agronomy.nutrient_factor",
        case="oxide factors from atomic weights, 14 cells",
        unit="-",
        cells=_oxides(
            {
                ("P", "P2O5"): "2.2910", ("P2O5", "P"): "0.4365", ("K", "K2O"): "1.2051", ("K2O", "K"): "0.8301", ("KCl", "K"): "0.5244",
                ("KCl", "Cl"): "0.4756", ("K2SO4", "K"): "0.4487", ("K2SO4", "S"): "0.1840", ("SO4", "S"): "0.3339",
                ("S", "SO4"): "2.9963", ("CaSO4", "S"): "0.2350", ("MgO", "Mg"): "0.6032", ("Mg", "MgO"): "1.6578",
                ("N", "NH3"): "1.2158",
            }
        ),
        kind="table",
        half_digits=12,
        why="the print is off its own reciprocals by up to 0.0005: it was made from rounded atomic weights",
        source="virginia-spes-201",
        where="Table 1a",
    ),
    Pair(
        function="agronomy.nutrient_factor",
        case="49.8 % K as K2O",
        published="60",
        unit="%",
        compute=lambda: 49.8 * agronomy.nutrient_factor("K", "K2O"),
        source="virginia-spes-201",
        where="worked example",
    ),
    Pair(
        function="agronomy.nutrient_factor",
        case="phosphate and potash factors, 4 cells",
        unit="-",
        cells=_oxides({("P2O5", "P"): "0.4364", ("P", "P2O5"): "2.2914", ("K2O", "K"): "0.8302", ("K", "K2O"): "1.2046"}),
        kind="table",
        half_digits=2,
        why="one factor is the reciprocal of another that was rounded first",
        source="ifa-conversion",
        where="conversion factors",
    ),
)  # fmt: skip


PAIRS: tuple[Pair, ...] = (*_SEED_ROW, *_NUTRIENTS)
INDEPENDENT: tuple[Independent, ...] = (
    Independent(
        function="agronomy.seed_row_limit",
        case="a dry seedbed allows half",
        how="published rule",
        compute=lambda: (
            agronomy.seed_row_limit("manitoba", "barley", "heavy", 0.5, moisture="dry").kg_ha or math.nan,
            to_metric(25.0, "rate", "lb/ac"),
        ),
    ),
    Independent(
        function="agronomy.seed_row_limit",
        case="the printed seedbed utilisation that was taken, 22.2 % is 22",
        how="closed form",
        compute=lambda: (agronomy.seed_row_limit("manitoba", "barley", "heavy", 2 / 9).printed_sbu or math.nan, 0.22),
    ),
)
