"""Unit conversions against print. Counted apart: they say nothing about the formulas."""

from __future__ import annotations

from evenstand.base.units import INCH_M, from_metric, to_metric
from evenstand.verify.pairs import Pair


def _cubic_inches(bushel: str) -> float:
    return to_metric(1, "volume", bushel) / INCH_M**3


PAIRS: tuple[Pair, ...] = (
    Pair(
        function="units.from_metric",
        case="1 kg/ha in lb/ac",
        published="0.89",
        unit="lb/ac",
        compute=lambda: from_metric(1, "rate", "lb/ac"),
        kind="unit",
        source="sk-agriculture-2014",
        where="formula",
    ),
    Pair(
        function="units.to_metric",
        case="1 lb/ac in kg/ha",
        published="1.1209",
        unit="kg/ha",
        compute=lambda: to_metric(1, "rate", "lb/ac"),
        kind="unit",
        source="canadian-agronomist",
        where="factor",
    ),
    Pair(
        function="units.from_metric",
        case="1 kg/ha in lb/ac",
        published="0.9822",
        unit="lb/ac",
        compute=lambda: from_metric(1, "rate", "lb/ac"),
        kind="unit",
        source="ifa-conversion",
        where="conversion factors",
        trap=True,
        instead="0.8922",
        why="misprint: two digits swapped",
    ),
    Pair(
        function="units.to_metric",
        case="bushels, 4 values",
        unit="in³, L",
        cells=(
            ("US, in³", "2150.42", lambda: _cubic_inches("bu (US)")),
            ("US, L", "35.23907", lambda: to_metric(1, "volume", "bu (US)") * 1e3),
            ("imperial, in³", "2219.36", lambda: _cubic_inches("bu (imp)")),
            ("imperial, L", "36.36872", lambda: to_metric(1, "volume", "bu (imp)") * 1e3),
        ),
        kind="unit",
        source="bushel-volumes",
        where="bushel",
    ),
    Pair(
        function="units.to_metric",
        case="imperial bushel in hectolitres; pounds in it for kilograms a hectolitre",
        unit="hL, kg/hL",
        cells=(
            ("hL", "0.3637", lambda: to_metric(1, "volume", "bu (imp)") * 10),
            ("kg/hL for 1 lb/bu", "1.247", lambda: to_metric(1, "density", "lb/bu (imp)") / 10),
        ),
        kind="unit",
        source="grain-commission-test-weight",
        where="constants",
    ),
    Pair(
        function="units.from_metric",
        case="45 faba bean plants/m² an acre, thousands",
        published="182",
        unit="1000/ac",
        compute=lambda: from_metric(45, "stand", "plants/ac") / 1e3,
        kind="unit",
        source="mpsg-2020",
        where="Bean Report",
    ),
    Pair(
        function="units.from_metric",
        case="plants/m² for one plant/ft², as a rule in the head",
        published="10",
        unit="plants/m²",
        compute=lambda: to_metric(1, "stand", "plants/ft²"),
        kind="unit",
        source="canola-council-2014",
        where="rule: plants/ft² are a tenth of plants/m²",
        trap=True,
        gap=10 / 10.763910417 - 1,
        why="a rule for the head: it reads 7.6 % too many plants a square foot",
    ),
    Pair(
        function="units.from_metric",
        case="80 pea plants/m² an acre, thousands",
        published="350",
        unit="1000/ac",
        compute=lambda: from_metric(80, "stand", "plants/ac") / 1e3,
        kind="unit",
        source="mpsg-pea",
        where="80 to 90 plants/m² printed as 350 to 400 thousand an acre",
        trap=True,
        instead="323.7",
        why="80 to 90 plants/m² are 324 to 364 thousand an acre",
    ),
    Pair(
        function="units.to_metric",
        case="375 plants a square yard of wheat, to tens",
        published="450",
        unit="plants/m²",
        compute=lambda: 375 / 9 * to_metric(1, "stand", "plants/ft²"),
        kind="unit",
        half_digits=10,
        why="rounded to tens in print",
        source="uky-aen-81",
        where="stand",
    ),
)
