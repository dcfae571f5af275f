"""Nutrients, grain and germination: further figures for functions that have some already."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from evenstand import agronomy
from evenstand.verify.pairs import Independent, Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]

_PRODUCTS = (
    Pair(
        function="agronomy.nutrient_in_product",
        case="nitrogen in a 50 lb bag of 35-0-0",
        published="17.5",
        unit="lb",
        compute=lambda: agronomy.nutrient_in_product(50, 0.35),
        source="fertilizer-course-slides",
        where="worked problem",
    ),
    Pair(
        function="agronomy.product_for_nutrient",
        case="15,000 ft² at 1 lb N for each thousand, from 21-0-0; two parts of a lawn programme",
        unit="lb",
        cells=(
            ("15 lb N from 21 %", "71", lambda: agronomy.product_for_nutrient(15, 0.21)),
            ("11.25 lb N from 31 %", "36.3", lambda: agronomy.product_for_nutrient(11.25, 0.31)),
            ("3.75 lb N from 46 %", "8.2", lambda: agronomy.product_for_nutrient(3.75, 0.46)),
        ),
        source="fertilizer-course-slides",
        where="worked problems",
    ),
    Pair(
        function="agronomy.molar_mass",
        case="ammonia",
        published="17.031",
        unit="g/mol",
        compute=lambda: agronomy.molar_mass("NH3"),
        source="wisconsin-sps-343",
        where="appendix, molecular weight",
    ),
)

_EQUATIONS = {
    "wheat": ("1.4767", "0.2012"), "durum": ("0.7572", "0.202"), "oat": ("4.3122", "0.1986"), "barley": ("-0.3063", "0.2089"),
    "hulless-barley": ("5.7215", "0.1884"), "rye": ("2.2266", "0.1995"), "canola": ("1.9922", "0.1957"), "flax": ("6.3164", "0.192"),
    "buckwheat": ("0.064", "0.2032"), "corn": ("2.1025", "0.192"), "soybean": ("2.3696", "0.1896"),
    "sunflower-confectionery": ("1.2128", "0.1925"), "sunflower-oil": ("2.2156", "0.194"),
}  # fmt: skip


def _slope(grain: str) -> float:
    """Kilograms a hectolitre for one more gram in the cup."""
    return (agronomy.grain_test_weight(grain, 400) - agronomy.grain_test_weight(grain, 300)) / 100 / 10


def _start(grain: str) -> float:
    """Where the line starts, in kilograms a hectolitre."""
    return agronomy.grain_test_weight(grain, 300) / 10 - 300 * _slope(grain)


def _test_weights() -> Cells:
    return tuple(
        cell
        for grain, (start, slope) in _EQUATIONS.items()
        for cell in ((f"{grain}, start", start, partial(_start, grain)), (f"{grain}, slope", slope, partial(_slope, grain)))
    )


_GRAIN = (
    Pair(
        function="agronomy.grain_test_weight",
        case="kg/hL = start + slope x grams in the half-litre cup, both constants of 13 grains",
        unit="kg/hL",
        cells=_test_weights(),
        kind="table",
        source="grain-commission-test-weight",
        where="equations",
    ),
)

PAIRS: tuple[Pair, ...] = (*_PRODUCTS, *_GRAIN)


def _range_by_formula(average: float) -> float:
    """Range of four replicates by the studentised range, q sqrt(p (1 - p) / 100). [%]"""
    share = average / 100
    return 100 * 3.984 * math.sqrt(share * (1 - share) / 100)


def _largest_gap() -> float:
    """How far the table lies from the formula at most, over all averages it has. [%]"""
    gaps = []
    for average in range(71, 100):
        allowed = agronomy.replicate_tolerance(average)
        gaps.append(math.inf if allowed is None else abs(allowed - round(_range_by_formula(average))))
    return max(gaps)


INDEPENDENT: tuple[Independent, ...] = (
    Independent(
        function="agronomy.replicate_tolerance",
        case="the whole table lies within 1 of q sqrt(p (1 - p) / n) with q of the studentised range",
        how="closed form",
        compute=lambda: (float(_largest_gap() <= 1), 1.0),
    ),
    Independent(
        function="agronomy.product_for_nutrient",
        case="and back again",
        how="inverse",
        compute=lambda: (agronomy.nutrient_in_product(agronomy.product_for_nutrient(73.0, 0.46), 0.46), 73.0),
    ),
)
