"""Seeding rates, rows and stands: rules that are printed as a constant, examples read the other way, and further short-cuts."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import partial

from evenstand import agronomy
from evenstand.base.units import ACRE_M2, FOOT_M, INCH_M, from_metric, to_metric
from evenstand.verify.pairs import Independent, Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]
PER_ACRE = ACRE_M2


def _rule(function: str, case: str, published: str, compute: Callable[[], float], source: str, where: str, unit: str = "-") -> Pair:
    """A rule whose constant is printed: our function must give that constant exactly."""
    return Pair(
        function=function, case=f"the factor in the rule {case}", published=published, unit=unit, compute=compute, source=source,
        where=where, exact=True,
    )  # fmt: skip


_RULES = (
    _rule(
        "agronomy.seeding_rate", "kg/ha = factor x plants/m² x g / survival in per cent", "1",
        lambda: agronomy.seeding_rate(1, 1, 0.01), "sk-agriculture-2014", "formula",
    ),
    _rule(
        "agronomy.seeding_rate", "kg/ha = factor x plants/m² / (seeds/kg x germination in per cent)", "1000000",
        lambda: agronomy.seeding_rate(1, agronomy.tkw_from_seeds_per_kg(200), 0.01) * 200, "bcg-canola", "formula",
    ),
    _rule(
        "agronomy.seeding_rate", "lb/ac = factor x plants/ac / (1 - loss) / (seeds/lb x germination)", "1",
        lambda: _lb_ac_by_count(1e6, 0.15, 12_000, 0.95) / (1e6 / (1 - 0.15) / (12_000 * 0.95)), "ndsu-rates", "formula",
    ),
    _rule(
        "agronomy.rate_from_row_catch", "kg/ha = factor x grams from 10 m of one row / row spacing in m", "1",
        lambda: agronomy.rate_from_row_catch(0.001, 10, 1), "grain-sa-2018", "p. 39",
    ),
    _rule(
        "agronomy.stand_from_row", "plants/ft² = factor x plants in 3 ft of row / row spacing in inches", "4",
        lambda: from_metric(agronomy.stand_from_row(1 / (3 * FOOT_M), INCH_M), "stand", "plants/ft²"), "uky-id-125", "rule",
    ),
)  # fmt: skip


def _lb_ac_by_count(plants_ac: float, loss: float, seeds_lb: float, germination: float) -> float:
    tkw = agronomy.tkw_from_seeds_per_kg(seeds_lb / to_metric(1, "mass", "lb"))
    live = agronomy.survival(germination, loss, method="product")
    return from_metric(agronomy.seeding_rate(plants_ac / PER_ACRE, tkw, live), "rate", "lb/ac")


def _kentucky_sown() -> Cells:
    """Pounds an acre from seeds sown: the sheet counts seeds, not plants."""
    printed = {
        12_000: ("127", "109"), 14_000: ("109", "93"), 16_000: ("95", "82"), 18_000: ("85", "73"), 20_000: ("76", "65"),
    }  # fmt: skip
    return tuple(
        (f"{seeds} seeds/lb, {density} seeds/ft²", text, partial(_sown_lb_ac, density, seeds))
        for seeds, row in printed.items()
        for density, text in zip((35, 30), row, strict=True)
    )


def _sown_lb_ac(seeds_ft2: float, seeds_lb: float) -> float:
    tkw = agronomy.tkw_from_seeds_per_kg(seeds_lb / to_metric(1, "mass", "lb"))
    return from_metric(agronomy.seed_mass_rate(to_metric(seeds_ft2, "seeds_area", "seeds/ft²"), tkw), "rate", "lb/ac")


def _new_zealand_stands() -> Cells:
    """The plants behind every printed rate, at 95 % germination and 90 % establishment."""
    printed = {45: (("100", 53), ("125", 66), ("200", 105), ("300", 158)), 55: (("100", 64), ("125", 80), ("200", 129), ("300", 193))}
    return tuple(
        (f"{rate} kg/ha of {tkw} g", plants, partial(agronomy.expected_stand, rate, tkw, 0.95 * 0.90))
        for tkw, row in printed.items()
        for plants, rate in row
    )


_CASES = (
    Pair(
        function="agronomy.seed_mass_rate",
        case="wheat seed sown by seed size, 10 cells",
        unit="lb/ac",
        cells=_kentucky_sown(),
        kind="table",
        source="uky-seed-rate",
        where="table of pounds per acre, rows without a misprint",
    ),
    Pair(
        function="agronomy.expected_stand",
        case="cereals at 95 % and 90 %, 8 cells read backwards",
        unit="plants/m²",
        cells=_new_zealand_stands(),
        kind="table",
        half_digits=2.2,
        why="its rates are whole kilograms, which is up to 1 plant/m²",
        source="nz-cereal-table",
        where="table, columns 45 and 55 g",
    ),
    Pair(
        function="agronomy.seeds_needed",
        case="6,000 plants/ha at 75 %",
        published="8000",
        unit="seeds/ha",
        compute=lambda: agronomy.seeds_needed(0.6, 0.75) * 1e4,
        source="exam-drill-problems",
        where="drill of four rows a metre apart",
    ),
    Pair(
        function="agronomy.stand_from_row",
        case="1.7 plants a foot on 30 inch rows, 'approximately'",
        published="30000",
        unit="plants/ac",
        compute=lambda: from_metric(agronomy.stand_from_row(1.7 / FOOT_M, 30 * INCH_M), "stand", "plants/ac"),
        half_digits=1000,
        why="rounded to thousands in print",
        source="psu-corn-rows",
        where="worked example",
    ),
    Pair(
        function="agronomy.stand_from_counts",
        case="13 plants in a hoop of 24 inches",
        published="180336",
        unit="plants/ac",
        compute=lambda: agronomy.stand_from_counts([13], agronomy.hoop_area(24 * INCH_M)).plants_m2 * PER_ACRE,
        half_digits=190,
        why="the print takes pi as 3.14, which is 0.05 % off",
        source="purdue-hoop-2010",
        where="worked example",
    ),
    Pair(
        function="agronomy.hoop_area",
        case="hoop of 19 inches",
        published="2",
        unit="ft²",
        compute=lambda: agronomy.hoop_area(19 * INCH_M) / FOOT_M**2,
        source="canola-council-2014",
        where="hoop",
    ),
    Pair(
        function="agronomy.hoop_area_from_girth",
        case="hoop of 60 inches round",
        published="2",
        unit="ft²",
        compute=lambda: agronomy.hoop_area_from_girth(60 * INCH_M) / FOOT_M**2,
        source="canola-council-2014",
        where="hoop",
    ),
)

_TRAPS = (
    Pair(
        function="agronomy.expected_stand",
        case="300 seeds/m² at 70 %, printed as 220 to 230",
        published="220",
        unit="plants/m²",
        compute=lambda: agronomy.expected_stand(agronomy.seed_mass_rate(300, 40), 40, 0.70),
        source="alberta-second-page",
        where="worked example, its lower figure",
        trap=True,
        instead="210",
        why="300 seeds at 70 % are 210 plants; the print has 220 to 230",
    ),
)

PAIRS: tuple[Pair, ...] = (*_RULES, *_CASES, *_TRAPS)

INDEPENDENT: tuple[Independent, ...] = (
    Independent(
        function="agronomy.seeds_sown",
        case="seeds of a rate, and the rate of those seeds",
        how="inverse",
        compute=lambda: (agronomy.seed_mass_rate(agronomy.seeds_sown(117.0, 38.0), 38.0), 117.0),
    ),
    Independent(
        function="agronomy.seed_row_limit",
        case="wider rows never allow more, against a sentence in print that has it the wrong way round",
        how="order",
        compute=lambda: (float(_limits_fall()), 1.0),
    ),
)


def _limits_fall() -> bool:
    """Whether the limit falls or stays as rows grow wider at the same spread."""
    found = [
        agronomy.seed_row_limit("manitoba", "canola", "light", agronomy.seedbed_utilisation(3 * INCH_M, row * INCH_M)).kg_ha
        for row in (6, 9, 12)
    ]
    return all(a is not None and b is not None and a >= b for a, b in itertools.pairwise(found))
