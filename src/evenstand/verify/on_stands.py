"""Crops, lots, lateness, depth and survival: printed tables read back in their own units, and closed forms for what no source prints."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from evenstand import agronomy
from evenstand.base.estimate import Est
from evenstand.base.units import from_metric, to_metric
from evenstand.verify.pairs import Independent, Pair

Cells = tuple[tuple[str, str, Callable[[], float]], ...]


_KINDS = {"depth_m": "depth", "soil_temperature_c": "temperature", "plants_m2": "stand", "seeds_m2": "seeds_area"}


def _end(ranges: tuple[agronomy.CropRange, ...], source: str, high: bool, unit: str, where: str = "") -> float:
    """One end of a publisher's range, in the unit it was printed in."""
    found = [r for r in ranges if r.source == source and r.where.startswith(where)]
    return from_metric(found[0].high if high else found[0].low, _KINDS[found[0].quantity], unit)


def _ends(ask: Callable[[str], tuple[agronomy.CropRange, ...]], source: str, unit: str, printed: dict[str, str]) -> Cells:
    """Both ends of every crop's range; one number stands for both."""
    cells = []
    for crop, text in printed.items():
        low, _, high = text.partition("-")
        cells.append((f"{crop}, low", low, lambda c=crop: _end(ask(c), source, False, unit)))
        cells.append((f"{crop}, high", high or low, lambda c=crop: _end(ask(c), source, True, unit)))
    return tuple(cells)


def _stands(crop: str) -> tuple[agronomy.CropRange, ...]:
    return agronomy.crop_ranges(crop, "plants_m2")


_DEPTHS = {
    "pea": "1.2-3.2", "lentil": "1-3", "chickpea": "1.5-2.5", "faba bean": "2-3", "dry bean": "2-2.5", "soybean": "0.75-1.5",
    "canola": "0.5-1", "flax": "1-1.5", "mustard": "0.5-1", "wheat": "1.5-2.5", "winter wheat": "0.5-1", "barley": "1.5-1.75",
    "oats": "0.75-1.25", "corn": "1.5-2",
}  # fmt: skip
_TEMPERATURES = {
    "pea": "5", "lentil": "5", "dry bean": "10", "soybean": "10", "canola": "2", "mustard": "2", "flax": "3-4", "wheat": "4-5",
    "barley": "4-5",
}  # fmt: skip
_TARGETS = {"wheat": "23-28", "barley": "22-25", "oat": "18-23", "flax": "37-56", "pea": "7-9"}
_TARGETS_AC = {"dry bean": "85000-100000", "soybean": "180000-210000", "corn": "26000-30000", "sunflower": "18000-22000"}


def _kansas() -> Cells:
    printed = {"below": ("675", "900"), "20 to": ("900", "1125"), "above": ("1125", "1350"), "irrigated": ("1350", "1800")}
    return tuple(
        (
            f"{where}, {'high' if high else 'low'}",
            text,
            lambda w=where, h=high: _end(agronomy.crop_ranges("winter-wheat", "seeds_m2"), "ksu-eupdate-1535", h, "seeds/ac", w) / 1000,
        )
        for where, texts in printed.items()
        for high, text in zip((False, True), texts, strict=True)
    )


def _counted(plants_ft2: float) -> agronomy.Stand:
    """A stand of so many plants a square foot, without spread: only the stand itself is asked about."""
    plants = to_metric(plants_ft2, "stand", "plants/ft²")
    return agronomy.Stand(
        plants_m2=plants, low=plants, high=plants, cv=0.0, n=1, counts_needed=1, dispersion=math.nan, p_random=math.nan, patchy=False,
        method="poisson",
    )  # fmt: skip


def _potential(plants_ft2: float, high: bool) -> float:
    advice = agronomy.keep_or_reseed("wheat", _counted(plants_ft2), publisher="psu").advice[0]
    found = advice.potential_high if high else advice.potential_low
    return math.nan if found is None else 100 * found


def _penn() -> Cells:
    printed = {32: ("100", "100"), 25: ("100", "100"), 20: ("90", "95"), 16: ("75", "80"), 13: ("60", "70")}
    return tuple(
        (f"{stand} plants/ft², {'high' if high else 'low'}", text, partial(_potential, stand, high))
        for stand, texts in printed.items()
        for high, text in zip((False, True), texts, strict=True)
    )


def _loss(crop: str, publisher: str) -> float:
    found = agronomy.late_seeding(crop, 1, publisher=publisher).loss
    return math.nan if found is None else 100 * found


def _raised(days: float) -> float:
    found = agronomy.late_seeding("wheat", days, 100.0).always_of_first_m2
    return math.nan if found is None else found - 100


def _cap() -> float:
    found = agronomy.late_seeding("wheat", 400, 300.0).day_on_day_m2
    return math.nan if found is None else from_metric(found, "seeds_area", "seeds/ac") / 1e6


def _as_readings(mean: float, sd: float, n: int, wing: str) -> list[agronomy.DepthReading]:
    """An even number of readings with exactly that mean and sd; in hundredths, so that they lie in the soil."""
    step = sd * math.sqrt((n - 1) / n)
    return [agronomy.DepthReading(depth_m=(mean + (step if i % 2 else -step)) / 100, wing=wing) for i in range(n)]


def _two_samples(confidence: float = 0.80) -> agronomy.DepthEffect:
    """The two samples of a printed t test as two wings: their difference is the pooled two-sample t."""
    readings = _as_readings(21.88, 4.81, 16, "left") + _as_readings(22.67, 4.21, 12, "right")
    return agronomy.depth_report(readings, confidence=confidence).effects[1]


def _nine() -> agronomy.DepthReport:
    """Nine readings with mean 4.35 and standard error 0.266, in tenths."""
    spread = 0.266 * 3 / math.sqrt(60 / 8)
    return agronomy.depth_report([agronomy.DepthReading(depth_m=(4.35 + spread * i) / 10) for i in range(-4, 5)], confidence=0.5)


PAIRS: tuple[Pair, ...] = (
    Pair(
        function="agronomy.depth_windows", case="depths of 14 crops, both ends", unit="in",
        cells=_ends(lambda crop: agronomy.depth_windows(crop), "sk-depth-2021", "in", _DEPTHS),
        kind="table", exact=True, source="sk-depth-2021", where="list of crops",
    ),
    Pair(
        function="agronomy.soil_temperatures", case="lowest soil temperature of 9 crops", unit="°C",
        cells=_ends(lambda crop: agronomy.soil_temperatures(crop), "sk-soil-temperature-2005", "°C", _TEMPERATURES),
        kind="table", exact=True, source="sk-soil-temperature-2005", where="list of crops",
    ),
    Pair(
        function="agronomy.crop_ranges", case="stands aimed at, 5 crops a square foot and 4 an acre", unit="plants",
        cells=(
            *_ends(_stands, "manitoba-seeding-qa", "plants/ft²", _TARGETS),
            *_ends(_stands, "manitoba-seeding-qa", "plants/ac", _TARGETS_AC),
        ),
        kind="table", exact=True, source="manitoba-seeding-qa", where="table of targets",
    ),
    Pair(
        function="agronomy.crop_ranges", case="winter wheat, thousands of seeds an acre by rainfall, 8 cells", unit="1000 seeds/ac",
        cells=_kansas(), kind="table", exact=True, source="ksu-eupdate-1535", where="seeding rates by rainfall",
    ),
    Pair(
        function="agronomy.keep_or_reseed", case="yield potential of five stands of wheat, both ends", unit="%",
        cells=_penn(),
        kind="table", exact=True, source="psu-wheat-stand", where="table of plants and yield potential",
    ),
    Pair(
        function="agronomy.late_seeding", case="loss a day of three crops, raise a day and its cap", unit="%",
        cells=(
            ("wheat", "1.5", lambda: _loss("wheat", "ndsu")),
            ("barley", "1.7", lambda: _loss("barley", "ndsu")),
            ("oats", "1.2", lambda: _loss("oats", "ndsu")),
            ("raise of the rate", "1", lambda: _raised(1)),
            ("cap, million seeds/ac", "1.6", _cap),
        ),
        kind="table", exact=True, source="ndsu-small-grains", where="timeliness",
    ),
    Pair(
        function="agronomy.late_seeding", case="loss a day of hard red spring wheat", published="1", unit="%",
        compute=lambda: _loss("wheat", "ndsu-2002"), exact=True, source="ndsu-timeliness-2002", where="report of 9 May",
    ),
    Pair(
        function="agronomy.depth_report", case="one-tailed 90 % t of two samples of 16 and 12, the width of the interval over the sd",
        published="1.315", unit="-", compute=lambda: (_two_samples().high_m - _two_samples().difference_m) / _two_samples().sd_m,
        source="colorado-two-samples", where="p. 17, 26 degrees of freedom",
    ),
    Pair(
        function="agronomy.depth_report", case="50 % interval of nine readings, mean 4.35, standard error 0.266", unit="t/ha",
        cells=(("low", "4.16", lambda: 10 * _nine().low_m), ("high", "4.54", lambda: 10 * _nine().high_m)),
        kind="table", source="ufl-on-farm-trials", where="p. 154, 8 degrees of freedom",
    ),
    Pair(
        function="agronomy.depth_report", case="standard error of the difference of two samples, sd 4.81 and 4.21", published="1.76",
        unit="-", compute=lambda: 100 * _two_samples().sd_m, source="colorado-two-samples", where="p. 17", trap=True, instead="1.7436",
        why="its pooled variance weighs by the squares of the degrees of freedom",
    ),
    Pair(
        function="agronomy.depth_report", case="t of two samples, mean 21.88 against 90 % of 22.67", published="0.84", unit="-",
        compute=lambda: (21.88 - 0.9 * 22.67) / (100 * _two_samples().sd_m), source="colorado-two-samples", where="p. 17",
        trap=True, instead="0.8471", why="its pooled variance weighs by the squares of the degrees of freedom",
    ),
)  # fmt: skip

_T2 = 0.95 * math.sqrt(2 / (4 * 0.975 * 0.025))  # 97.5 % quantile of t with 2 degrees of freedom, in closed form
_PRIOR = Est(value=0.80, sd=0.06)


def _check(function: str, case: str, ours: Callable[[], float], other: Callable[[], float], how: str = "closed form") -> Independent:
    return Independent(function=function, case=case, how=how, compute=lambda: (float(ours()), float(other())))


def _mixed() -> agronomy.MixedLot:
    """Equal masses of 30 g and 60 g seed: two seeds of the first for one of the second."""
    first = agronomy.LotPart(
        mass_kg=Est(value=1000), tkw_g=Est(value=30, sd=0.6), germination=Est(value=0.9, sd=0.03), survival=Est(value=0.8)
    )
    second = agronomy.LotPart(mass_kg=Est(value=1000), tkw_g=Est(value=60), germination=Est(value=0.6), survival=Est(value=0.5))
    return agronomy.mix_lots([first, second])


def _plan() -> agronomy.SeedingPlan:
    return agronomy.seeding_plan(Est(value=40), Est(value=0.8, sd=0.04), rate_kg_ha=Est(value=120, sd=3))


def _past(field: str, *values: float) -> list[agronomy.FieldSurvival]:
    return [agronomy.FieldSurvival(field=field, season=2020 + i, survival=Est(value=v, sd=0.03)) for i, v in enumerate(values)]


def _own_two() -> agronomy.NextSurvival:
    """Two seasons of one field and nothing else: fewer than three, so that the prior's spread holds."""
    return agronomy.next_survival(_past("home", 0.70, 0.74), "home", _PRIOR, field_share=0.5)


def _by_hand() -> tuple[float, float]:
    """Normal prior, two normal sightings: mean and sd for the next season."""
    half = 0.5 * 0.06**2
    prior, sight = 1 / (0.06**2 + half), 1 / (half + 0.03**2)
    mean = (0.80 * prior + (0.70 + 0.74) * sight) / (prior + 2 * sight)
    return mean, math.sqrt(1 / (prior + 2 * sight) + half)


INDEPENDENT: tuple[Independent, ...] = (
    _check("agronomy.mix_lots", "weight of equal masses of 30 g and 60 g seed", lambda: _mixed().tkw_g.value, lambda: 40.0),
    _check("agronomy.mix_lots", "its sd: the first holds 4/9 of the slope", lambda: _mixed().tkw_g.sd, lambda: 0.6 * (40 / 30) ** 2 / 2),
    _check("agronomy.mixed_share", "germination counts by seeds", lambda: agronomy.mixed_share([1, 1], [30, 60], [0.9, 0.6]), lambda: 0.8),
    _check("agronomy.mixed_tkw", "one lot alone", lambda: agronomy.mixed_tkw([700, 0], [37.5, 20]), lambda: 37.5),
    _check(
        "agronomy.stand_from_counts", "counts 8, 10, 12: sd of the mean", lambda: agronomy.stand_from_counts([8, 10, 12], 0.5).sd,
        lambda: 2 / math.sqrt(3) / 0.5,
    ),
    _check(
        "agronomy.stand_from_counts", "one count of nine: sd of a random scatter", lambda: agronomy.stand_from_counts([9], 0.5).sd,
        lambda: 3 / 0.5,
    ),
    _check(
        "agronomy.quasi_poisson_interval", "counts 0, 10, 20: dispersion 10",
        lambda: agronomy.quasi_poisson_interval([0, 10, 20])[1], lambda: 10 * math.exp(_T2 * math.sqrt(10 / 30)),
    ),
    _check("agronomy.dispersion_of", "counts 8, 10, 12", lambda: agronomy.dispersion_of([8, 10, 12]).p_patchy, lambda: math.exp(-0.4)),
    _check(
        "agronomy.stand_from_wheel", "two plants over 4 m²: chance of two or more at the lower bound",
        lambda: (lambda x: 1 - math.exp(-x) * (1 + x))(4 * agronomy.stand_from_wheel([4.0], 1.0, plants=2).low), lambda: 0.025,
    ),
    _check(
        "agronomy.germination_test", "sd of 360 in 400", lambda: agronomy.germination_test([90, 91, 89, 90]).germination.sd,
        lambda: math.sqrt(0.9 * 0.1 / 400),
    ),
    _check(
        "agronomy.germination_test", "lower bound where all came up", lambda: agronomy.germination_test([100, 100]).low,
        lambda: 0.025 ** (1 / 200),
    ),
    _check(
        "agronomy.seeding_plan", "sd of the stand by parts", lambda: _plan().stand.sd, lambda: 240 * math.hypot(3 / 120, 0.04 / 0.8)
    ),
    _check(
        "agronomy.seeding_plan", "share of the survival in it", lambda: _plan().contributions[0].share, lambda: 4 / 5
    ),
    _check("agronomy.next_survival", "two seasons of one field", lambda: _own_two().survival.value, lambda: _by_hand()[0]),
    _check("agronomy.next_survival", "two seasons of one field, sd", lambda: _own_two().survival.sd, lambda: _by_hand()[1]),
    _check(
        "agronomy.survival_spread", "equal counts: variance of the values less that of counting",
        lambda: agronomy.survival_spread(_past("home", 0.6, 0.7, 0.8)) or math.nan, lambda: math.sqrt(0.1**2 - 0.03**2),
    ),
    _check(
        "agronomy.late_seeding", "ten days, day on day", lambda: agronomy.late_seeding("wheat", 10, 200).day_on_day_m2 or math.nan,
        lambda: 200 * 1.01**10,
    ),
)  # fmt: skip
