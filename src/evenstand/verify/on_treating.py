"""Treating, waiting, tonight's batches and keeping dry: little is published, so most of it is held against closed forms."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache, partial

import numpy as np

from evenstand import agronomy
from evenstand.base.estimate import Est
from evenstand.verify.pairs import Independent, Pair

PAIRS: tuple[Pair, ...] = (
    Pair(
        function="agronomy.critical_humidity",
        case="urea",
        published="70",
        unit="%",
        compute=lambda: 100 * agronomy.critical_humidity("urea")[0].value,
        exact=True,
        source="ipni-storage-2013",
        where="as excerpted",
    ),
    Pair(
        function="agronomy.keeps_overnight",
        case="relative humidity above which urea is said not to keep, by halving the interval",
        published="70",
        unit="%",
        compute=lambda: 100 * _threshold("urea"),
        half_digits=0.01,
        why="a threshold that is looked up: only the halving is uncertain",
        source="ipni-storage-2013",
        where="as excerpted",
    ),
)


def _threshold(product: str) -> float:
    """Lowest humidity at which an hour counts as above the critical value. [-]"""
    low, high = 0.0, 1.0
    while high - low > 1e-6:
        middle = (low + high) / 2
        above = agronomy.keeps_overnight(product, [middle]).hours_above or 0
        low, high = (low, middle) if above >= 1 else (middle, high)
    return high


def _mix() -> agronomy.TreatmentMix:
    """2000 kg in four batches: 300 and 50 mL of two products in 600 mL of slurry on 100 kg; 120 kg/ha."""
    return agronomy.treatment_mix(
        2000, {"a": 300, "b": 50}, slurry_ml_100kg=600, batch_kg=600, rate_kg_ha=120, density_kg_l={"a": 1.1, "b": 1.2}
    )


def _sums() -> dict[str, tuple[float, float]]:
    """Every number of the mix, and what it must be."""
    m = _mix()
    hectare = m.litres_ha or {}
    return {
        "seed": (m.seed_kg, 2000.0),
        "batches": (m.batches, 4),
        "batches hold all the seed": (m.batches * m.batch_kg, 2000.0),
        "first product": (m.litres["a"], 6.0),
        "second product": (m.litres["b"], 1.0),
        "first product in a batch": (m.litres_batch["a"], 1.5),
        "second product in a batch": (m.litres_batch["b"], 0.25),
        "water fills the slurry": (m.water_l, 12.0 - 7.0),
        "water in a batch": (m.water_batch_l, 1.25),
        "slurry": (m.slurry_l, 12.0),
        "slurry in a batch": (m.slurry_batch_l, 3.0),
        "slurry on 100 kg": (m.slurry_ml_100kg, 600.0),
        "first product on a hectare": (hectare.get("a", math.nan), 0.36),
        "second product on a hectare": (hectare.get("b", math.nan), 0.06),
        "added mass": (m.added or math.nan, (0.3 * 1.1 + 0.05 * 1.2 + 0.25) / 100),
        "treated mass": (m.treated_kg or math.nan, 2000 + 6 * 1.1 + 1.2 + 5),
    }


def _tonight(**more: float | None) -> agronomy.TreatTonight:
    """50 +- 3 ha at 120 +- 4 kg/ha, 2 to 5 % sown twice, 2000 +- 50 kg treated; a kilogram left costs 0.4, a kilogram short 3.6."""
    given: dict[str, float | None] = {"batch_kg": 500, "cost_short_kg": 3.6, "cost_left_kg": 0.4}
    return agronomy.treat_tonight(
        Est(value=50, sd=3),
        Est(value=120, sd=4),
        overlap=(0.02, 0.05),
        treated_kg=Est(value=2000, sd=50),
        **(given | more),  # type: ignore[arg-type]
    )


_MEAN = 50 * 1.035 * 120 - 2000
_SD = math.sqrt((50**2 + 3**2) * (1.035**2 + 0.03**2 / 12) * (120**2 + 4**2) - (50 * 1.035 * 120) ** 2 + 50**2)


@cache
def _normal(kg: float) -> tuple[float, float, float]:
    """Chance of running short, kilograms short and left, by numerical integration over a normal demand."""
    from scipy.integrate import quad
    from scipy.stats import norm

    demand = norm(_MEAN, _SD)
    low, high = _MEAN - 12 * _SD, _MEAN + 12 * _SD
    short = quad(lambda d: (d - kg) * demand.pdf(d), kg, high, limit=200)[0]
    left = quad(lambda d: (kg - d) * demand.pdf(d), low, kg, limit=200)[0]
    return float(demand.sf(kg)), float(short), float(left)


@cache
def _ppf(share: float) -> float:
    from scipy.stats import norm

    return float(norm(_MEAN, _SD).ppf(share))


def _cost(kg: float) -> float:
    _, short, left = _normal(kg)
    return 3.6 * short + 0.4 * left


@cache
def _cheapest_batches() -> float:
    return 500.0 * min(range(40), key=lambda n: _cost(500.0 * n))


def _stop_cost() -> tuple[float, float]:
    """At the cheapest amount a stop's marginal chance pays for a marginal kilogram left: 300 f(q) = 0.4 F(q)."""
    from scipy.stats import norm

    found = _tonight(cost_stop=300, cost_short_kg=None, batch_kg=None)
    demand = norm(_MEAN, _SD)
    return 300 * float(demand.pdf(found.ideal_kg)), 0.4 * float(demand.cdf(found.ideal_kg))


def _stop_quantile() -> tuple[float, float]:
    from scipy.stats import norm

    found = _tonight(cost_stop=300, cost_short_kg=None, batch_kg=None)
    return found.quantile, float(norm(_MEAN, _SD).cdf(found.ideal_kg))


def _of_choice(which: int | None = None) -> agronomy.TreatChoice:
    found = _tonight()
    return found.choice if which is None else found.beside[which]


def _part(which: int | None, part: str, other: Callable[[], float]) -> tuple[float, float]:
    """One number of a choice, and what it must be."""
    return float(getattr(_of_choice(which), part)), float(other())


def _sum(name: str) -> tuple[float, float]:
    return _sums()[name]


def _choice_checks() -> tuple[Independent, ...]:
    """The choice and the two beside it, each number against integration or the batch it stands for."""
    checks = []
    for which, name, step in ((None, "the choice", 0), (0, "one batch less", -1), (1, "one batch more", 1)):

        def kg(step: int = step) -> float:
            return _cheapest_batches() + 500.0 * step

        wanted = {
            "treat_kg": kg,
            "batches": lambda kg=kg: kg() / 500.0,
            "chance_short": lambda kg=kg: _normal(kg())[0],
            "short_kg": lambda kg=kg: _normal(kg())[1],
            "left_kg": lambda kg=kg: _normal(kg())[2],
            "left_high_kg": lambda kg=kg: max(kg() - _ppf(0.05), 0.0),
            "cost": lambda kg=kg: _cost(kg()),
        }
        checks += [
            Independent(
                function="agronomy.treat_tonight",
                case=f"{name}: {part}",
                how="numerical integration",
                compute=partial(_part, which, part, other),
                tolerance=1e-6,
            )
            for part, other in wanted.items()
        ]
    return tuple(checks)


def _humid(hours: tuple[float, ...] = (0.5, 0.66, 0.71, 0.74, 0.69)) -> agronomy.Keeping:
    return agronomy.keeps_overnight("urea", hours)


def _clock() -> agronomy.TreatClock:
    return agronomy.plant_before(
        "2026-05-04T21:00", "2026-05-05T06:00", 24, left_kg=9000, rate_kg_ha=120, capacity_ha_h=8, working_share=0.5
    )


def _stale(which: int) -> tuple[float, float]:
    """Value and standard deviation of the new kernel weight (1) or rate (3)."""
    found = agronomy.stale_after_treating(bare_tkw_g=Est(value=40, sd=0.8), bare_rate_kg_ha=120, added=Est(value=0.02, sd=0.005))
    value = found[which].value or Est(value=math.nan)
    return value.value, value.sd


INDEPENDENT: tuple[Independent, ...] = (
    Independent(
        function="agronomy.critical_humidity",
        case="both values held for urea, the lower first",
        how="closed form",
        compute=lambda: (float(np.dot([f.low + f.high for f in agronomy.critical_humidity("urea")], [1, 100])), 1.40 + 144),
    ),
    *(Independent(function="agronomy.treatment_mix", case=name, how="closed form", compute=partial(_sum, name)) for name in _sums()),
    Independent(
        function="agronomy.liquid_for_seed",
        case="batches add up to the whole",
        how="inverse",
        compute=lambda: (sum(agronomy.liquid_for_seed(325, kg) for kg in (500, 500, 250)), 325 * 12.5 / 1000),
    ),
    Independent(
        function="agronomy.added_share",
        case="400 mL at 1.1 kg/L on 100 kg, a quarter of it stays",
        how="closed form",
        compute=lambda: (agronomy.added_share(400, 1.1, 0.25), 0.0011),
    ),
    Independent(
        function="agronomy.treated_tkw",
        case="a coating that is 25 to 45 % of the coated seed: 1 / (1 - share)",
        how="second function",
        compute=lambda: (agronomy.treated_tkw(4.0, 0.45 / 0.55), agronomy.coated_tkw(4.0, 0.45)),
    ),
    Independent(
        function="agronomy.treated_rate",
        case="as many seeds a square metre as bare",
        how="inverse",
        compute=lambda: (agronomy.treated_rate(120, 0.03) / agronomy.treated_tkw(40, 0.03), 120 / 40),
    ),
    Independent(
        function="agronomy.granular_rate",
        case="0.1 g on each of the 10 000 / spacing metres",
        how="closed form",
        compute=lambda: (agronomy.granular_rate(0.1, 0.25), 4.0),
    ),
    Independent(
        function="agronomy.granular_dose",
        case="and back",
        how="inverse",
        compute=lambda: (agronomy.granular_dose(agronomy.granular_rate(0.1, 0.254), 0.254), 0.1),
    ),
    Independent(
        function="agronomy.stale_after_treating",
        case="kernel weight of treated seed",
        how="closed form",
        compute=lambda: (_stale(1)[0], 40.8),
    ),
    Independent(
        function="agronomy.stale_after_treating",
        case="its standard deviation",
        how="closed form",
        compute=lambda: (_stale(1)[1], math.hypot(0.8 * 1.02, 40 * 0.005)),
    ),
    Independent(
        function="agronomy.stale_after_treating",
        case="rate of treated seed",
        how="closed form",
        compute=lambda: (_stale(3)[0], 122.4),
    ),
    Independent(
        function="agronomy.stale_after_treating",
        case="its standard deviation",
        how="closed form",
        compute=lambda: (_stale(3)[1], 120 * 0.005),
    ),
    Independent(
        function="agronomy.plant_before",
        case="24 hours less the nine gone by",
        how="closed form",
        compute=lambda: (_clock().hours_left or math.nan, 15.0),
    ),
    Independent(
        function="agronomy.plant_before",
        case="sown until then: half of 15 h at 8 ha/h and 120 kg/ha",
        how="closed form",
        compute=lambda: (_clock().sowable_kg or math.nan, 7200.0),
    ),
    Independent(
        function="agronomy.plant_before",
        case="left over then",
        how="closed form",
        compute=lambda: (_clock().late_kg or math.nan, 1800.0),
    ),
    Independent(
        function="agronomy.treat_tonight",
        case="mean of what is to be treated",
        how="closed form",
        compute=lambda: (_tonight().need.value, _MEAN),
    ),
    Independent(
        function="agronomy.treat_tonight",
        case="its standard deviation: product of independent factors",
        how="closed form",
        compute=lambda: (_tonight().need.sd, _SD),
    ),
    Independent(
        function="agronomy.treat_tonight",
        case="quantile of the two costs",
        how="closed form",
        compute=lambda: (_tonight().quantile, 0.9),
    ),
    Independent(
        function="agronomy.treat_tonight",
        case="ideal amount: normal quantile",
        how="second library",
        compute=lambda: (_tonight().ideal_kg, _ppf(0.9)),
    ),
    Independent(
        function="agronomy.treat_tonight",
        case="cost of a stop: marginal costs are equal at the cheapest amount",
        how="closed form",
        compute=_stop_cost,
        tolerance=1e-3,
    ),
    Independent(
        function="agronomy.treat_tonight",
        case="cost of a stop: quantile of the cheapest amount",
        how="second library",
        compute=_stop_quantile,
    ),
    *_choice_checks(),
    Independent(
        function="agronomy.keeps_overnight",
        case="hours at or above 70 %, counted, and the first of them",
        how="closed form",
        compute=lambda: (100.0 * (_humid().hours_above or 0) + (_humid().first_hour or 0), 202.0),
    ),
    Independent(
        function="agronomy.keeps_overnight",
        case="hours within the margin of 5 points below, and hours in all",
        how="closed form",
        compute=lambda: (100.0 * (_humid().hours_near or 0) + (_humid().hours or 0), 205.0),
    ),
    Independent(
        function="agronomy.keeps_overnight",
        case="lowest and highest critical value, and the highest humidity",
        how="closed form",
        compute=lambda: (
            float(np.dot([_humid().critical or 0, _humid().critical_high or 0, _humid().highest or 0], [1, 100, 10_000])),
            0.70 + 72 + 7400,
        ),
    ),
    Independent(
        function="agronomy.keeps_overnight",
        case="lowest critical value",
        how="closed form",
        compute=lambda: (_humid().critical or math.nan, 0.70),
    ),
    Independent(
        function="agronomy.keeps_overnight",
        case="highest critical value of a product",
        how="closed form",
        compute=lambda: (_humid().critical_high or math.nan, 0.72),
    ),
)
