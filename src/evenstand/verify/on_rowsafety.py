"""Guidelines for fertilizer with the seed, publisher by publisher, and whole placements."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from evenstand import agronomy
from evenstand.base.units import INCH_M, from_metric, to_metric
from evenstand.verify.pairs import Independent, Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]


def _limit(
    guideline: str, crop: str, nutrient: str, *, sbu: float = 1 / 6, rows_in: float | None = None, unit: str = "lb/ac", **more: str
) -> agronomy.Limit:
    """A limit with both ends turned into a printed unit. [unit]"""
    rows = None if rows_in is None else rows_in * INCH_M
    found = agronomy.seed_row_limit(guideline, crop, "medium", sbu, nutrient=nutrient, row_spacing_m=rows, **more)
    low = math.nan if found.kg_ha is None else from_metric(found.kg_ha, "rate", unit)
    high = math.nan if found.high_kg_ha is None else from_metric(found.high_kg_ha, "rate", unit)
    return agronomy.Limit(kg_ha=low, printed_sbu=found.printed_sbu, policy=found.policy, source=found.source, note="", high_kg_ha=high)


def _low(*args: str, **more: object) -> float:
    return _limit(*args, **more).kg_ha or 0.0  # type: ignore[arg-type]


def _high(*args: str, **more: object) -> float:
    return _limit(*args, **more).high_kg_ha or math.nan  # type: ignore[arg-type]


def _ends(low: str, high: str, *args: str, **more: object) -> Cells:
    """Both ends of a printed range."""
    label = ", ".join(args[1:])
    return (f"{label}, low", low, partial(_low, *args, **more)), (f"{label}, high", high, partial(_high, *args, **more))


_OPENERS = {
    "knife": ("5", "10"), "disc": ("7", "10"), "hoe": ("12", "15"), "spoon": ("15", "30"), "small-sweep": ("25", "40"),
    "large-sweep": ("40", "60"), "discer": ("50", "70"),
}  # fmt: skip
_SALTS = {
    "potash": "116.2", "ammonium-nitrate": "104", "ammonium-sulphate": "88.3", "urea": "74.4", "ammonia": "47.1",
    "potassium-sulphate": "42.6", "dap": "29.2", "map": "26.7", "tsp": "10.1", "ssp": "7.8",
}  # fmt: skip


def _blend(crop: str, nutrient: str, share: float) -> float:
    """Product of the blend that brings the limit of a nutrient. [lb/ac]"""
    return _low("saskatchewan-greenhouse-1995", crop, nutrient) / share


def _usual(opener: str, end: str) -> float:
    return 100 * float(getattr(agronomy.opener_utilisation(opener), end))


def _rank(product: str) -> float:
    order = [key for key, _ in agronomy.salt_order(sorted(_SALTS))]
    return float(order.index(product) + 1)


def _index(product: str) -> float:
    return dict(agronomy.salt_order(sorted(_SALTS)))[product]


PAIRS: tuple[Pair, ...] = (
    Pair(
        function="agronomy.seed_row_limit",
        case="P2O5 with canola, 1 inch knives on 9 inch rows, both ends of the printed range",
        unit="lb/ac",
        cells=_ends("20", "25", "canola-council", "canola", "P2O5", sbu=1 / 9),
        kind="table",
        exact=True,
        source="canola-council-p",
        where="seed-placed phosphate, 2011 and 2013",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="P2O5 with canola in kilograms, both ends",
        unit="kg/ha",
        cells=_ends("22", "28", "canadian-agronomist", "canola", "P2O5", unit="kg/ha"),
        source="canadian-agronomist",
        where="seed-placed phosphate with canola",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="urea N and N + K2O in western Canada, N in North Dakota on 17 and 100 % of the ground",
        unit="lb/ac",
        cells=(
            ("urea N", "25", partial(_low, "western-canada-1995", "wheat", "urea-N")),
            ("N + K2O", "40", partial(_low, "western-canada-1995", "wheat", "N+K2O")),
            *_ends("20", "30", "north-dakota-1995", "wheat", "N", sbu=1 / 6),
            *_ends("80", "100", "north-dakota-1995", "barley", "N", sbu=1.0),
        ),
        kind="table",
        exact=True,
        source="potash-phosphate-1995",
        where="release of 25 March 1995",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="corn and sunflower in 30 inch rows, soybean in 6 inch and in wide rows, dry bean, 7 cells",
        unit="lb/ac",
        cells=(
            ("corn, N + K2O", "10", partial(_low, "ndsu-2002", "corn", "N+K2O", rows_in=30)),
            ("sunflower, N + K2O", "10", partial(_low, "ndsu-2002", "sunflower", "N+K2O", rows_in=30)),
            ("corn, urea", "0", partial(_low, "ndsu-2002", "corn", "urea-N", rows_in=30)),
            ("soybean, N", "10", partial(_low, "ndsu-2002", "soybean", "N", rows_in=6)),
            ("soybean, urea", "0", partial(_low, "ndsu-2002", "soybean", "urea-N", rows_in=6)),
            ("soybean in wide rows", "0", partial(_low, "ndsu-2002", "soybean", "N", rows_in=30)),
            ("dry bean in wide rows", "0", partial(_low, "ndsu-2002", "dry bean", "P2O5", rows_in=30)),
        ),
        kind="table",
        exact=True,
        source="ndsu-2002",
        where="2 May 2002",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="soybean by row spacing: P2O5 in rows of 15 inches and less, nothing in wider ones",
        unit="lb/ac",
        cells=(
            ("10 inch rows", "10", partial(_low, "manitoba", "soybean", "P2O5", rows_in=10)),
            ("15 inch rows", "10", partial(_low, "manitoba", "soybean", "P2O5", rows_in=15)),
            ("30 inch rows", "0", partial(_low, "manitoba", "soybean", "P2O5", rows_in=30)),
        ),
        kind="table",
        exact=True,
        source="manitoba-soybean-row",
        where="seed-placed fertilizer with soybean",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="a dry, warm or windy seedbed: share of the urea nitrogen that is left",
        published="50",
        unit="%",
        compute=lambda: (
            100
            * (agronomy.seed_row_limit("manitoba", "wheat", "heavy", 0.5, moisture="dry").kg_ha or math.nan)
            / (agronomy.seed_row_limit("manitoba", "wheat", "heavy", 0.5).kg_ha or math.nan)
        ),
        exact=True,
        source="manitoba-urea-toxicity",
        where="cut by 50 %",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="P2O5 with soybean in 15 inch bands",
        published="10",
        unit="lb/ac",
        compute=partial(_low, "manitoba-press-2019", "soybean", "P2O5", rows_in=15),
        exact=True,
        source="manitoba-press-2019",
        where="guide, as quoted",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="sulphur as ammonium sulphate with canola, about 15 % of the ground, both ends",
        unit="kg/ha",
        cells=_ends("20", "30", "saskatchewan-sulphur-2011", "canola", "S", sbu=0.15, unit="kg/ha"),
        kind="table",
        exact=True,
        source="fatteicher-schoenau-2011",
        where="emergence lost above this",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="the blend found safe, from its limits of N, P2O5 and K2O and its analysis of 18-18-20-0",
        unit="lb/ac",
        cells=tuple(
            (f"{crop}, from {nutrient}", printed, partial(_blend, crop, nutrient, share))
            for crop, printed in (("canola", "50"), ("pea", "50"), ("wheat", "100"))
            for nutrient, share in (("N", 0.18), ("P2O5", 0.18), ("K2O", 0.20))
        ),
        kind="table",
        exact=True,
        source="henry-1996",
        where="18-18-20-0, five soils",
    ),
    Pair(
        function="agronomy.seed_row_limit",
        case="nitrogen with cereals through narrow double discs, both ends",
        unit="lb/ac",
        cells=_ends("20", "25", "double-disc-cereals", "wheat", "N", sbu=0.08, opener="double-disc"),
        kind="table",
        exact=True,
        source="opener-sbu",
        where="the old limit for double discs",
    ),
    Pair(
        function="agronomy.opener_utilisation",
        case="usual seedbed utilisation of seven openers, both ends, 14 cells",
        unit="%",
        cells=tuple(
            (f"{opener}, {end}", printed, partial(_usual, opener, end))
            for opener, ends in _OPENERS.items()
            for end, printed in zip(("low", "high"), ends, strict=True)
        ),
        kind="table",
        exact=True,
        source="opener-sbu",
        where="seedbed utilisation by opener",
    ),
    Pair(
        function="agronomy.row_dose",
        case="nitrogen in the row when rows are twice as far apart, as a multiple",
        published="2",
        unit="-",
        compute=lambda: agronomy.row_dose(50.0, 0.508) / agronomy.row_dose(50.0, 0.254),
        exact=True,
        source="canola-council-2011",
        where="double the row, double the nitrogen in the row",
    ),
    Pair(
        function="agronomy.cut_limit",
        case="what is left of a rate on coarse soil, dry and moist, and at half the stand loss",
        unit="%",
        cells=(
            ("coarse, dry: cut 20", "80", lambda: agronomy.cut_limit(100, "coarse", "dry").kg_ha or math.nan),
            ("coarse, moist: cut 40", "60", lambda: agronomy.cut_limit(100, "coarse", "good").kg_ha or math.nan),
            ("5 % stand loss: half", "50", lambda: agronomy.cut_limit(100, "medium", "good", stand_loss=0.05).kg_ha or math.nan),
        ),
        kind="table",
        exact=True,
        source="sd-dry-soil",
        where="cuts from the tables",
    ),
    Pair(
        function="agronomy.salt_order",
        case="ten fertilizers by salt index: their places in the printed order",
        unit="-",
        cells=tuple((key, str(place), partial(_rank, key)) for place, key in enumerate(_SALTS, start=1)),
        kind="table",
        exact=True,
        source="salt-index",
        where="order of the printed values",
    ),
    Pair(
        function="agronomy.salt_order",
        case="salt index of ten fertilizers, sodium nitrate being 100",
        unit="-",
        cells=tuple((key, printed, partial(_index, key)) for key, printed in _SALTS.items()),
        kind="table",
        exact=True,
        source="salt-index",
        where="printed values",
    ),
    Pair(
        function="units.to_metric",
        case="80 lb of product an acre at 1200 a short ton, in money an acre",
        published="48",
        unit="$/ac",
        compute=lambda: from_metric(
            to_metric(80, "rate", "lb/ac") * 1200 / to_metric(1, "mass", "ton (short)"),
            "price_area",
            "/ac",
        ),
        kind="unit",
        source="ndsu-2008-phosphate",
        where="15 May 2008",
    ),
)


def _verdict(**more: object) -> agronomy.PlacementVerdict:
    """Urea and ammonium sulphate beside wheat, urea in a band. SBU 33 %: 30 lb N an acre."""
    given: dict[str, object] = {
        "guideline": "manitoba", "crop": "wheat", "texture": "medium", "spread_m": 2 * INCH_M, "row_spacing_m": 6 * INCH_M,
    }  # fmt: skip
    products = (
        agronomy.Placed(product="urea", rate_kg_ha=50.0, analysis={"N": 0.46}, placement="seed-row"),
        agronomy.Placed(product="sulphate", rate_kg_ha=100.0, analysis={"N": 0.21, "S": 0.24}, placement="seed-row"),
        agronomy.Placed(
            product="banded", rate_kg_ha=150.0, analysis={"N": 0.46}, placement="mid-row", distance_m=0.08, spread_m=0.03, rows_per_band=2
        ),
    )
    return agronomy.judge_placement(products, **(given | more))  # type: ignore[arg-type]


def _line(nutrient: str = "N", place: str = "seed-row", /, **more: object) -> agronomy.NutrientLine:
    return next(line for line in _verdict(**more).lines if line.nutrient == nutrient and line.placement == place)


_POUND = to_metric(1.0, "rate", "lb/ac")
_OPENER: dict[str, object] = {"spread_m": None, "opener": "spoon", "usual_spread": True}
_CANOLA: dict[str, object] = {"guideline": "saskatchewan-sulphur-2011", "crop": "canola", "spread_m": 0.15 * 6 * INCH_M}

INDEPENDENT: tuple[Independent, ...] = (
    Independent(
        function="agronomy.judge_placement",
        case="all nitrogen beside the seed: 50 x 0.46 + 100 x 0.21",
        how="closed form",
        compute=lambda: (_line().asked_kg_ha, 44.0),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="on a metre of row: 10 000 m² a hectare hold 10 000 / spacing metres",
        how="closed form",
        compute=lambda: (_line().asked_kg_m or math.nan, 44.0 / (10_000 / (6 * INCH_M))),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="limit of the table at 33 %",
        how="closed form",
        compute=lambda: (_line().limit_kg_ha or math.nan, 30 * _POUND),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="the printed seedbed utilisation",
        how="closed form",
        compute=lambda: (_line().printed_sbu or math.nan, 0.33),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="all nitrogen scaled is the limit",
        how="inverse",
        compute=lambda: ((_line().scale or math.nan) * 44.0, 30 * _POUND),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="with the changed rate of the first product the nitrogen is the limit",
        how="inverse",
        compute=lambda: ((_line().changes[0].rate_kg_ha or math.nan) * 0.46 + 21.0, 30 * _POUND),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="change of the first product",
        how="closed form",
        compute=lambda: (_line().changes[0].change_kg_ha or math.nan, (30 * _POUND - 21.0) / 0.46 - 50.0),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="with the changed rate of the second product the nitrogen is the limit",
        how="inverse",
        compute=lambda: ((_line().changes[1].rate_kg_ha or math.nan) * 0.21 + 23.0, 30 * _POUND),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="change of the second product",
        how="closed form",
        compute=lambda: (_line().changes[1].change_kg_ha or math.nan, (30 * _POUND - 23.0) / 0.21 - 100.0),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="sulphur beside the seed, and on a metre of row",
        how="closed form",
        compute=lambda: (_line("S").asked_kg_ha + 1e6 * (_line("S").asked_kg_m or math.nan), 24.0 + 100 * 24.0 * 6 * INCH_M),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="nitrogen in the band is counted apart, and on a metre of row",
        how="closed form",
        compute=lambda: (
            _line("N", "mid-row").asked_kg_ha + 1e6 * (_line("N", "mid-row").asked_kg_m or math.nan),
            69.0 + 100 * 69.0 * 12 * INCH_M,
        ),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="share of the ground of each line",
        how="closed form",
        compute=lambda: (
            sum(f * (line.sbu or math.nan) for f, line in zip((1, 10, 100), _verdict().lines, strict=True)),
            11 / 3 + 100 * 0.03 / (12 * INCH_M),
        ),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="seedbed utilisation, low and high the same when measured",
        how="closed form",
        compute=lambda: ((_verdict().sbu_low or math.nan) + 3 * (_verdict().sbu_high or math.nan), 4 / 3),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="not measured: limits at both ends of a spoon's usual 15 to 30 %",
        how="closed form",
        compute=lambda: (
            (_line(**_OPENER).limit_kg_ha or math.nan) + 3 * (_line(**_OPENER).high_kg_ha or math.nan),
            (15 + 3 * 25) * _POUND,
        ),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="both ends of a printed range of sulphur",
        how="closed form",
        compute=lambda: ((_line("S", **_CANOLA).limit_kg_ha or math.nan) + 3 * (_line("S", **_CANOLA).high_kg_ha or math.nan), 20 + 3 * 30),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="sulphur: the printed seedbed utilisation",
        how="closed form",
        compute=lambda: (_line("S", **_CANOLA).printed_sbu or math.nan, 0.15),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="sulphur: scaled, it is the limit",
        how="inverse",
        compute=lambda: (24.0 * (_line("S", **_CANOLA).scale or math.nan), 20.0),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="sulphur: with the changed rate it is the limit",
        how="inverse",
        compute=lambda: (0.24 * (_line("S", **_CANOLA).changes[0].rate_kg_ha or math.nan), 20.0),
    ),
    Independent(
        function="agronomy.judge_placement",
        case="sulphur: the change",
        how="closed form",
        compute=lambda: (_line("S", **_CANOLA).changes[0].change_kg_ha or math.nan, 20.0 / 0.24 - 100.0),
    ),
    Independent(
        function="agronomy.row_dose",
        case="all metres of row in a hectare together hold the rate",
        how="inverse",
        compute=lambda: (agronomy.row_dose(22.4, 0.254) * 10_000 / 0.254, 22.4),
    ),
)
