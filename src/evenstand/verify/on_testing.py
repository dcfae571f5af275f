"""Germination tests and grain against print."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from evenstand import agronomy
from evenstand.base.units import from_metric, to_metric
from evenstand.verify.pairs import Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]


def _texts(line: str) -> list[str]:
    """Printed numbers of a row."""
    return line.split()


def _replicates() -> Cells:
    averages = range(99, 70, -1)
    four = _texts("5 6 7 8 9 10 10 11 11 12 12 13 13 14 14 14 15 15 15 16 16 16 17 17 17 17 17 18 18")
    two = _texts("6 6 7 8 8 9 9 9 10 10 11 11 11 11 12 12 12 13 13 13 13 13 14 14 14 14 14")

    def allowed(average: float, replicates: int) -> float:
        found = agronomy.replicate_tolerance(average, replicates=replicates)
        return math.nan if found is None else found

    cells = [(f"average {a}, 4", text, lambda a=a: allowed(a, 4)) for a, text in zip(averages, four, strict=True)]
    cells += [(f"average {a}, 2", text, lambda a=a: allowed(a, 2)) for a, text in zip(range(97, 70, -1), two, strict=True)]
    return (*cells, ("average 15, 4 (mirror of 86)", "14", lambda: allowed(15, 4)))


def _bands(printed: dict[str, str], allowed: Callable[[float], float | None]) -> Cells:
    """Both ends of every band."""
    cells = []
    for band, text in printed.items():
        for end in dict.fromkeys(band.split("-")):
            cells.append((f"{band} %, at {end}", text, lambda e=int(end): math.nan if (t := allowed(e)) is None else t))
    return tuple(cells)


_TWO_TESTS = {
    "99": "2", "97-98": "3", "94-96": "4", "91-93": "5", "87-90": "6", "82-86": "7", "76-81": "8", "70-75": "9", "60-69": "10",
    "51-59": "11", "2": "2", "3-4": "3", "5-7": "4", "8-10": "5", "11-14": "6", "15-19": "7", "20-25": "8", "26-31": "9", "32-41": "10",
    "42-50": "11",
}  # fmt: skip
_STATED = {
    "99-100": "2", "97-98": "3", "94-96": "4", "91-93": "5", "87-90": "6", "82-86": "7", "76-81": "8", "69-75": "9", "65-68": "10",
}  # fmt: skip
_SEED_COUNTS = _texts("2 4 6 8 9 11 12 13 14 16 17 18 20 21 22 23 24 25 27 28 29 30 32 33 34 35 37 38 39 41 42")


def _seeds_allowed(stated: int) -> float:
    return float(agronomy.seed_count_tolerance(stated))


_GERMINATION = (
    Pair(
        function="agronomy.replicate_tolerance",
        case="range between 100-seed replicates, averages 99 to 71",
        unit="%",
        cells=_replicates(),
        kind="table",
        exact=True,
        source="7cfr-201",
        where="201.55",
    ),
    Pair(
        function="agronomy.two_test_tolerance",
        case="two tests of 400 seeds, both ends of 20 bands",
        unit="%",
        cells=_bands(_TWO_TESTS, lambda mean: agronomy.two_test_tolerance(mean)),
        kind="table",
        exact=True,
        source="louisiana-seed-139",
        where="section 139",
    ),
    Pair(
        function="agronomy.stated_tolerance",
        case="limits of variation, both ends of 9 bands",
        unit="%",
        cells=_bands(_STATED, lambda stated: agronomy.stated_tolerance(stated)),
        kind="table",
        exact=True,
        source="uk-seed-regulations",
        where="germination",
    ),
    Pair(
        function="agronomy.seed_count_tolerance",
        case="seeds allowed for 0 to 30 stated",
        unit="seeds",
        cells=tuple((f"{n} stated", text, partial(_seeds_allowed, n)) for n, text in enumerate(_SEED_COUNTS)),
        kind="table",
        exact=True,
        source="7cfr-201",
        where="201.65",
    ),
    Pair(
        function="agronomy.seed_count_tolerance",
        case="the formula printed beside the table, X + 1 + 1.96 sqrt X, at 20 seeds",
        published="29.77",
        unit="seeds",
        compute=lambda: float(agronomy.seed_count_tolerance(20)),
        source="7cfr-201",
        where="201.65, formula",
        trap=True,
        instead="29",
        why="the formula gives 29.77, the table 29: the table counts",
    ),
)


def _bushels(grain: str) -> float:
    return agronomy.bushels_per_tonne(agronomy.bushel_weight(grain))


def _pounds_a_bushel() -> Cells:
    """Content of a bushel from that of a tonne, low and high ends where both are printed."""
    rows = {
        ("winter wheat", 60): "19.1 1.15 20.9 1.25 9.1 0.55 10.4 0.63 5.78 0.35 6.22 0.37 1.33 0.08",
        ("barley", 48): "17.3 0.83 23.1 1.11 5.21 0.25 8.33 0.40 4.79 0.23 7.22 0.35 1.67 0.08",
        ("oat", 32): "7.5 0.25 5.83 0.19 6.25 0.20 2.08 0.067",
        ("corn", 56): "11.5 0.65 17.7 1.0 6.6 0.37 7.9 0.44 4.6 0.26 5.2 0.30",
        ("soybean", 60): "62.3 3.7 66.7 4.0 13.3 0.80 14.7 0.88 23.0 1.38 23.3 1.40",
        ("canola", 50): "40.0 2.0 44.4 2.2 22.2 1.11 26.7 1.33 11.1 0.56 13.3 0.67 6.67 0.33",
    }
    return tuple(
        (
            f"{grain}, {kg_t} kg/t",
            text,
            lambda k=float(kg_t), lb=lb: from_metric(agronomy.content_per_bushel(k, to_metric(lb, "mass", "lb")), "mass", "lb"),
        )
        for (grain, lb), cells in rows.items()
        for kg_t, text in zip(_texts(cells)[::2], _texts(cells)[1::2], strict=True)
    )


_GRAIN = (
    Pair(
        function="agronomy.bushels_per_tonne",
        case="seven bushel weights",
        unit="bu/t",
        cells=tuple(
            (grain, text, partial(_bushels, grain))
            for grain, text in {
                "wheat": "36.7440", "barley": "45.9300", "flax": "39.3680", "canola": "44.0920", "oat": "64.8420", "triticale": "42.3960",
                "sunflower": "73.4870",
            }.items()
        ),
        kind="table",
        half_digits=12,
        why="printed to four decimals but rounded to three before: up to 0.0005 off the exact pound",
        source="grains-council-1999",
        where="bushels per tonne",
    ),
    Pair(
        function="agronomy.content_per_bushel",
        case="nutrients removed with six grains, kg/t against lb/bu",
        unit="lb/bu",
        cells=_pounds_a_bushel(),
        kind="table",
        half_digits=2,
        why="both columns are rounded, the first to three figures at best",
        source="ontario-removal-2025",
        where="Table 1, oat at the 32 lb its columns imply; less nitrogen of oat and sulphur of soybean, whose columns do not agree",
    ),
)  # fmt: skip

PAIRS: tuple[Pair, ...] = (*_GERMINATION, *_GRAIN)
