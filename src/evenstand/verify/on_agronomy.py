"""Seeding rates, stands and counts against print. Sources' own units at this edge only."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from evenstand import agronomy
from evenstand.base.units import FOOT_M, INCH_M, from_metric, to_metric
from evenstand.verify.pairs import Independent, Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]


def _rate_lb_ac(plants_ft2: float, tkw_g: float, survival: float) -> float:
    plants = to_metric(plants_ft2, "stand", "plants/ft²")
    return from_metric(agronomy.seeding_rate(plants, tkw_g, survival), "rate", "lb/ac")


def _tkw(seeds_lb: float) -> float:
    return agronomy.tkw_from_seeds_per_kg(seeds_lb / to_metric(1, "mass", "lb"))


def _kentucky_rates() -> Cells:
    """Pounds an acre for seeds/ft² by seeds/lb; the misprinted cell (10 000 by 35) is a trap of its own."""
    printed = {
        10_000: ("", "131"), 12_000: ("127", "109"), 14_000: ("109", "93"), 16_000: ("95", "82"), 18_000: ("85", "73"),
        20_000: ("76", "65"),
    }  # fmt: skip
    return tuple(
        (f"{seeds} seeds/lb, {seeds_ft2} seeds/ft²", text, lambda s=seeds, d=seeds_ft2: _rate_lb_ac(d, _tkw(s), 1.0))
        for seeds, row in printed.items()
        for seeds_ft2, text in zip((35, 30), row, strict=True)
        if text
    )


def _new_zealand_rates() -> Cells:
    printed = {100: ("53", "", "64"), 125: ("66", "73", "80"), 200: ("105", "117", "129"), 300: ("158", "175", "193")}
    return tuple(
        (f"{plants} plants/m², {tkw} g", text, lambda p=plants, t=tkw: agronomy.seeding_rate(p, t, 0.95 * 0.90))
        for plants, row in printed.items()
        for tkw, text in zip((45, 50, 55), row, strict=True)
        if text
    )


_RATES = (
    Pair(
        function="agronomy.seeding_rate",
        case="canola, 10 plants/ft², 4 g, 50 %",
        published="7.7",
        unit="lb/ac",
        compute=lambda: _rate_lb_ac(10, 4, 0.5),
        source="canola-council-2010",
        where="worked example",
    ),
    Pair(
        function="agronomy.seeding_rate",
        case="the constant of its formula: plants/ft² times g over per cent",
        published="9.6",
        unit="lb/ac",
        compute=lambda: _rate_lb_ac(1, 1, 0.01),
        source="canola-council-2010",
        where="formula",
    ),
    Pair(
        function="agronomy.seeding_rate",
        case="canola, 6 plants/ft², 6 g, 50 %",
        published="6.9",
        unit="lb/ac",
        compute=lambda: _rate_lb_ac(6, 6, 0.5),
        source="canola-council-2022",
        where="quiz, first case",
    ),
    Pair(
        function="agronomy.seeding_rate",
        case="spring barley, 300 plants/m², 51.9 g, 85 %",
        published="183",
        unit="kg/ha",
        compute=lambda: agronomy.seeding_rate(300, 51.9, 0.85),
        source="irish-barley",
        where="worked example",
    ),
    Pair(
        function="agronomy.seeding_rate",
        case="cereal, 300 plants/m², 50 g, 85 %",
        published="176",
        unit="kg/ha",
        compute=lambda: agronomy.seeding_rate(300, 50, 0.85),
        source="uk-press-wheat",
        where="worked example",
    ),
    Pair(
        function="agronomy.seeding_rate",
        case="cereal, 150 plants/m², 40 g, 80 %",
        published="75",
        unit="kg/ha",
        compute=lambda: agronomy.seeding_rate(150, 40, 0.80),
        source="australian-seed-laboratory",
        where="worked example",
    ),
    Pair(
        function="agronomy.seeding_rate",
        case="cereals at 95 % germination and 90 % establishment, 11 cells",
        unit="kg/ha",
        cells=_new_zealand_rates(),
        kind="table",
        source="nz-cereal-table",
        where="table, less one misprint",
    ),
    Pair(
        function="agronomy.seeding_rate",
        case="wheat seed sown by seed size, 11 cells",
        unit="lb/ac",
        cells=_kentucky_rates(),
        kind="table",
        source="uky-seed-rate",
        where="table of pounds per acre, less one misprint",
    ),
    Pair(
        function="agronomy.expected_stand",
        case="spring barley, 183 kg/ha, 51.9 g, 85 % (the example read backwards)",
        published="300",
        unit="plants/m²",
        compute=lambda: agronomy.expected_stand(183, 51.9, 0.85),
        source="irish-barley",
        where="worked example",
    ),
    Pair(
        function="agronomy.expected_stand",
        case="cereal, 75 kg/ha, 40 g, 80 % (the example read backwards)",
        published="150",
        unit="plants/m²",
        compute=lambda: agronomy.expected_stand(75, 40, 0.80),
        source="australian-seed-laboratory",
        where="worked example",
    ),
    Pair(
        function="agronomy.survival",
        case="flax, 88 % germination, 40 % mortality, 45 plants/ft², 5 g, by the sheet's own constant 10",
        published="43",
        unit="lb/ac",
        compute=lambda: 45 * 5 * 10 / (100 * agronomy.survival(0.88, 0.40, method="product")),
        source="manitoba-seeding-qa",
        where="flax example",
    ),
    Pair(
        function="agronomy.tkw_from_count",
        case="seeds in a pound for each seed counted in 20 g",
        published="22.68",
        unit="seeds/lb",
        compute=lambda: agronomy.seeds_per_kg(agronomy.tkw_from_count(1, 20)) * to_metric(1, "mass", "lb"),
        source="uky-seed-rate",
        where="seeds per pound from a 20 g sample",
    ),
)

_RATE_TRAPS = (
    Pair(
        function="agronomy.seeding_rate",
        case="pea, 8 plants/ft², 290 g, 95 %",
        published="244",
        unit="lb/ac",
        compute=lambda: _rate_lb_ac(8, 290, 0.95),
        source="sk-pulse-faq-2007",
        where="worked example",
        trap=True,
        gap=10 / 9.603338 - 1,
        why="uses the rounded constant 10 where 9.603 is exact: 4.1 % too much",
    ),
    Pair(
        function="agronomy.seeding_rate",
        case="flax, 45 plants/ft², 5 g, survival 52.8 %",
        published="43",
        unit="lb/ac",
        compute=lambda: _rate_lb_ac(45, 5, 0.528),
        source="manitoba-seeding-qa",
        where="flax example",
        trap=True,
        gap=10 / 9.603338 - 1,
        why="uses the rounded constant 10 where 9.603 is exact: 4.1 % too much",
    ),
    Pair(
        function="agronomy.seeding_rate",
        case="wheat, 35 seeds/ft² of 10 000 seeds/lb",
        published="150",
        unit="lb/ac",
        compute=lambda: _rate_lb_ac(35, _tkw(10_000), 1.0),
        source="uky-seed-rate",
        where="table of pounds per acre, first cell",
        trap=True,
        instead="152.5",
        why="misprint: the other eleven cells follow the formula",
    ),
    Pair(
        function="agronomy.seeding_rate",
        case="cereal, 100 plants/m², 50 g, 95 % and 90 %",
        published="59",
        unit="kg/ha",
        compute=lambda: agronomy.seeding_rate(100, 50, 0.95 * 0.90),
        source="nz-cereal-table",
        where="table, second cell",
        trap=True,
        instead="58.48",
        why="misprint: the other eleven cells follow the formula",
    ),
    Pair(
        function="agronomy.seeds_needed",
        case="250 plants/m² at 75 % emergence",
        published="330",
        unit="seeds/m²",
        compute=lambda: agronomy.seeds_needed(250, 0.75),
        source="alberta-crop-commission",
        where="worked example",
        trap=True,
        instead="333.3",
        why="rounded down to tens in print",
    ),
    Pair(
        function="agronomy.rate_from_row_catch",
        case="18.75 g from 5 runs on 9 inch rows over 100 ft",
        published="5.0",
        unit="lb/ac",
        compute=lambda: from_metric(agronomy.rate_from_row_catch(0.01875, 100 * FOOT_M, 9 * INCH_M, 5), "rate", "lb/ac"),
        source="canola-council-2010",
        where="calibration example",
        trap=True,
        gap=12 / 11.524005 - 1,
        why="uses the rounded constant 12 where 11.524 is exact: 4.1 % too much",
    ),
    Pair(
        function="agronomy.nutrient_in_product",
        case="nitrogen in a US gallon of 30 % solution at 10.8 lb/gal",
        published="3.3",
        unit="lb",
        compute=lambda: agronomy.nutrient_in_product(10.8, 0.30),
        source="ncsu-calibration-2014",
        where="liquid fertilizers",
        trap=True,
        instead="3.24",
        why="rounded up in print; the 32 % line beside it is right",
    ),
)


def _per_foot(seeds_ac: float, row_in: float) -> float:
    seeds_m2 = to_metric(seeds_ac, "stand", "plants/ac")
    return from_metric(agronomy.seeds_per_metre(seeds_m2, row_in * INCH_M), "seeds_row", "seeds/ft")


def _minnesota_plants() -> Cells:
    millions = (0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5)
    printed = {
        6: ("9.2", "10.3", "11.5", "12.6", "13.8", "14.9", "16.1", "17.2"),
        10: ("15.3", "17.2", "19.1", "21.0", "23.0", "24.9", "26.8", "28.7"),
    }
    return tuple(
        (f"{row} in, {million} million/ac", text, lambda m=million, r=row: _per_foot(m * 1e6, r))
        for row, texts in printed.items()
        for million, text in zip(millions, texts, strict=True)
    )


def _kentucky_row_feet() -> Cells:
    """Seeds in a row foot: 35 and 30 seeds/ft² on five row spacings."""
    printed = {4: ("12", "10"), 6: ("18", "15"), 7: ("20", "17"), 8: ("23", "20"), 10: ("29", "25")}

    def seeds(row_in: float, seeds_ft2: float) -> float:
        seeds_m2 = to_metric(seeds_ft2, "seeds_area", "seeds/ft²")
        return from_metric(agronomy.seeds_per_metre(seeds_m2, row_in * INCH_M), "seeds_row", "seeds/ft")

    return tuple(
        (f"{row} in, {density} seeds/ft²", text, lambda r=row, d=density: seeds(r, d))
        for row, texts in printed.items()
        for density, text in zip((35, 30), texts, strict=True)
    )


def _row_length(area: float, area_unit: str, row_in: float, unit: str) -> float:
    area_m2 = to_metric(area, "area", area_unit) * 1e4
    return from_metric(agronomy.row_length_for_area(area_m2, row_in * INCH_M), "width", unit)


def _lengths(printed: dict[float, str], area: float, area_unit: str, unit: str) -> Cells:
    return tuple((f"{row} in rows", text, lambda r=row: _row_length(area, area_unit, r, unit)) for row, text in printed.items())


def _hoop_factor(diameter_in: float) -> float:
    return to_metric(1, "area", "ac") * 1e4 / agronomy.hoop_area(diameter_in * INCH_M)


def _catch_factor(row_in: float) -> float:
    """Grams from one row over 150 ft for each pound an acre."""
    return 1 / from_metric(agronomy.rate_from_row_catch(0.001, 150 * FOOT_M, row_in * INCH_M), "rate", "lb/ac")


_STANDS = (
    Pair(
        function="agronomy.seeds_per_metre",
        case="200 000 seeds/ac on 15 inch rows",
        published="5.74",
        unit="seeds/ft",
        compute=lambda: _per_foot(200_000, 15),
        source="iowa-agron-212",
        where="seeds per foot of row",
    ),
    Pair(
        function="agronomy.stand_from_row",
        case="5 seeds a foot on 15 inch rows",
        published="174240",
        unit="seeds/ac",
        compute=lambda: from_metric(agronomy.stand_from_row(to_metric(5, "seeds_row", "seeds/ft"), 15 * INCH_M), "seeds_area", "seeds/ac"),
        source="iowa-agron-212",
        where="seeds per foot of row",
    ),
    Pair(
        function="agronomy.seeds_per_metre",
        case="plants a foot on 6 and 10 inch rows for 0.8 to 1.5 million an acre, 16 cells",
        unit="plants/ft",
        cells=_minnesota_plants(),
        kind="table",
        source="umn-stand-table",
        where="Table 1",
    ),
    Pair(
        function="agronomy.seeds_per_metre",
        case="seeds a row foot, five row spacings, 10 cells",
        unit="seeds/ft",
        cells=_kentucky_row_feet(),
        kind="table",
        source="uky-seed-rate",
        where="seeds per row foot",
    ),
    Pair(
        function="agronomy.seeds_per_metre",
        case="100 kg/ha of 40 g seed on 20 cm rows",
        published="50",
        unit="seeds/m",
        compute=lambda: agronomy.seeds_per_metre(agronomy.seeds_sown(100, 40), 0.20),
        source="gate-agricultural-engineering",
        where="drill problem",
    ),
    Pair(
        function="agronomy.stand_from_row",
        case="25 plants a metre on 25 cm rows",
        published="100",
        unit="plants/m²",
        compute=lambda: agronomy.stand_from_row(25, 0.25),
        source="canola-council-2014",
        where="worked example",
    ),
    Pair(
        function="agronomy.hoop_area",
        case="hoop of 56 cm inside diameter",
        published="0.25",
        unit="m²",
        compute=lambda: agronomy.hoop_area(0.56),
        source="canola-council-2014",
        where="hoop",
    ),
    Pair(
        function="agronomy.hoop_area_from_girth",
        case="hoop of 177 cm round",
        published="0.25",
        unit="m²",
        compute=lambda: agronomy.hoop_area_from_girth(1.77),
        source="canola-council-2014",
        where="hoop",
    ),
    Pair(
        function="agronomy.hoop_area",
        case="plants an acre for each plant in a hoop of 18 to 36 inches, 7 cells",
        unit="1/ac",
        cells=tuple(
            (f"{d} in", text, partial(_hoop_factor, d))
            for d, text in {18: "24662", 21: "18119", 24: "13872", 27: "10961", 30: "8878", 33: "7337", 36: "6165"}.items()
        ),
        kind="table",
        half_digits=26,
        why="the print takes pi as 3.14, which is 0.05 % off: up to 12.5 in the largest cell",
        source="purdue-hoop-2010",
        where="pp. 108-109",
    ),
    Pair(
        function="agronomy.row_length_for_area",
        case="a thousandth of an acre on 15 to 38 inch rows, 5 cells (feet and inches added up)",
        unit="in",
        cells=_lengths({15: "418", 20: "314", 30: "209", 36: "174", 38: "165"}, 0.001, "ac", "in"),
        kind="table",
        source="utk-row-length",
        where="table",
    ),
    Pair(
        function="agronomy.row_length_for_area",
        case="a thousandth of an acre on 30 and 15 inch rows",
        unit="ft",
        cells=_lengths({30: "17.4", 15: "34.8"}, 0.001, "ac", "ft"),
        kind="table",
        source="kbs-lter-160",
        where="protocol",
    ),
    Pair(
        function="agronomy.row_length_for_area",
        case="1/128 acre on 42 to 48 inch rows, 4 cells",
        unit="ft",
        cells=_lengths({48: "85", 46: "89", 44: "93", 42: "97"}, 1 / 128, "ac", "ft"),
        kind="table",
        source="ncsu-calibration-2014",
        where="row lengths",
    ),
    Pair(
        function="agronomy.row_length_for_area",
        case="a square foot on 4 to 10 inch rows, 5 cells",
        unit="in",
        cells=_lengths({4: "36.0", 6: "24.0", 7: "20.6", 8: "18.0", 10: "14.4"}, 1, "ft2", "in"),
        kind="table",
        source="uky-seed-rate",
        where="inches of row for a square foot",
    ),
    Pair(
        function="agronomy.row_length_for_area",
        case="an acre on 30 inch rows",
        published="17424",
        unit="ft",
        compute=lambda: _row_length(1, "ac", 30, "ft"),
        source="psu-corn-rows",
        where="worked example",
    ),
    Pair(
        function="agronomy.rate_from_row_catch",
        case="grams from one row over 150 ft for each pound an acre, 4 cells",
        unit="g",
        cells=tuple(
            (f"{row} in rows", text, partial(_catch_factor, row)) for row, text in {6: ".78", 7: ".91", 7.5: ".98", 8: "1.04"}.items()
        ),
        kind="table",
        source="uky-row-catch",
        where="table of factors",
    ),
)


def _colorado_needed(mean: float, variance: float, counts: int) -> float:
    # a one-tailed 90 % t is the two-sided 80 % one
    return agronomy.counts_needed(math.sqrt(variance) / mean, counts, confidence=0.80, precision=0.10)


def _nine_plots() -> list[float]:
    """Nine values with mean 4.35 and standard error 0.266, as the manual's example has them."""
    spread = 0.266 * 3 / math.sqrt(60 / 8)
    return [4.35 + spread * step for step in range(-4, 5)]


_COLORADO_B = (
    (35.4, 79.1, 30, "10.87"), (30.0, 73.6, 30, "14.06"), (60.1, 270.2, 30, "12.9"), (21.1, 57.3, 45, "21.8"), (38.7, 58.0, 30, "6.7"),
    (27.9, 20.3, 30, "4.5"), (47.8, 248.1, 30, "18.7"), (23.1, 83.6, 30, "27.0"),
)  # fmt: skip

_COUNTS = (
    Pair(
        function="agronomy.counts_needed",
        case="two stands of vegetation, within 10 % at 90 % (one tail)",
        unit="counts",
        cells=(
            ("mean 48.83, variance 188.06, 72 counts", "13.20", lambda: _colorado_needed(48.83, 188.06, 72)),
            ("mean 64.40, variance 134.67, 20 counts", "5.72", lambda: _colorado_needed(64.40, 134.67, 20)),
        ),
        kind="table",
        source="colorado-sampling-a",
        where="Table 5A, p. 52",
    ),
    Pair(
        function="agronomy.counts_needed",
        case="eight stands of vegetation, within 10 % at 90 % (one tail)",
        unit="counts",
        cells=tuple((f"mean {m}, variance {v}, {n} counts", text, partial(_colorado_needed, m, v, n)) for m, v, n, text in _COLORADO_B),
        kind="table",
        half_digits=12,
        why="its means are printed to three figures, so that the answers move by up to 0.06",
        source="colorado-sampling-b",
        where="Table 1, p. 82",
    ),
    Pair(
        function="agronomy.stand_from_counts",
        case="50 % interval of nine plots, mean 4.35, standard error 0.266",
        unit="t/ha",
        cells=(
            ("mean", "4.35", lambda: agronomy.stand_from_counts(_nine_plots(), 1.0, confidence=0.5).plants_m2),
            ("low", "4.16", lambda: agronomy.stand_from_counts(_nine_plots(), 1.0, confidence=0.5).low),
            ("high", "4.54", lambda: agronomy.stand_from_counts(_nine_plots(), 1.0, confidence=0.5).high),
        ),
        kind="table",
        source="ufl-on-farm-trials",
        where="p. 154, 8 degrees of freedom",
    ),
    Pair(
        function="agronomy.emergence_spread",
        case="0 2 4 15 25 38 45 50 50 50 germinated by days 1 to 10, coefficient of variation",
        published="28.16422",
        unit="%",
        compute=lambda: 100 * agronomy.emergence_spread(range(1, 11), (0, 2, 4, 15, 25, 38, 45, 50, 50, 50)).cv,
        source="seedcalc",
        where="example of the germination-time spread",
    ),
)


PAIRS: tuple[Pair, ...] = (*_RATES, *_STANDS, *_COUNTS, *_RATE_TRAPS)


def _digest(stand: agronomy.Stand) -> float:
    """Fields without a published figure in one number; p_random of chi-square 0.8 on 2 degrees of freedom is exp(-0.4)."""
    return stand.n + 10 * stand.cv + 100 * stand.dispersion + 1000 * stand.counts_needed + 1e4 * stand.p_random


INDEPENDENT: tuple[Independent, ...] = (
    Independent(
        function="agronomy.expected_stand",
        case="a stand sown and read back",
        how="inverse",
        compute=lambda: (agronomy.expected_stand(agronomy.seeding_rate(137.0, 41.3, 0.77), 41.3, 0.77), 137.0),
    ),
    Independent(
        function="agronomy.survival",
        case="the product method where nothing dies",
        how="closed form",
        compute=lambda: (agronomy.survival(0.93, 0.0, method="product"), 0.93),
    ),
    Independent(
        function="agronomy.stand_from_counts",
        case="counts 8, 10, 12: t of 2 degrees of freedom has a closed form",
        how="closed form",
        # the 90 % quantile of t with 2 degrees of freedom is (2p - 1) sqrt(2 / (4p(1 - p)))
        compute=lambda: (
            agronomy.stand_from_counts([8, 10, 12], 0.5, confidence=0.8).high,
            (10 + 0.8 * math.sqrt(2 / 0.36) * 2 / math.sqrt(3)) / 0.5,
        ),
    ),
    Independent(
        function="agronomy.stand_from_counts",
        case="counts 8, 10, 12: number, spread, dispersion and counts needed",
        how="closed form",
        compute=lambda: (
            _digest(agronomy.stand_from_counts([8, 10, 12], 0.5, confidence=0.8, precision=0.1)),
            3 + 10 * 0.2 + 100 * 0.4 + 1000 * math.ceil((0.8 * math.sqrt(2 / 0.36) * 0.2 / 0.1) ** 2) + 1e4 * math.exp(-0.4),
        ),
    ),
)
