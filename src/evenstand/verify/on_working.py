"""Hours, days and dates against print; closed forms and second libraries beside them."""

from __future__ import annotations

import math
from datetime import date
from functools import partial

from evenstand import machine
from evenstand.base.estimate import Est
from evenstand.base.units import ACRE_M2
from evenstand.verify.on_runs import each
from evenstand.verify.pairs import Independent, Pair

_HA_AC = ACRE_M2 / 1e4


def _icar() -> machine.FieldTimes:
    """5 km/h over 20 m for 9.25 h of work, 0.75 h lost."""
    return machine.field_times(92.5, 5 / 3.6, 20, turning_h=0.25, filling_h=0.3, moving_h=0.15, waiting_h=0.05)


_DAYS = (
    Pair(
        function="machine.needed_day_area",
        case="1,600 ac in 8.3 suitable days",
        published="192.8",
        unit="ac/day",
        compute=lambda: machine.needed_day_area(1600 * _HA_AC, 8.3) / _HA_AC,
        source="isu-a3-25-2014",
        where="sizing example",
    ),
    Pair(
        function="machine.day_area",
        case="ten hours at 24.5 and at 15 ha/h",
        unit="ha",
        cells=(("27.4 m", "245", lambda: machine.day_area(24.5, 10)), ("18.3 m", "150", lambda: machine.day_area(15, 10))),
        source="wa-bar-width",
        where="hectares in ten hours",
    ),
    Pair(
        function="machine.suitable_days",
        case="48 % of the 41 days from 10 April to 20 May",
        published="20",
        unit="d",
        compute=lambda: machine.suitable_days(41, 0.48),
        source="illinois-days-2010",
        where="mean of 1980 to 2010",
    ),
    Pair(
        function="machine.yearly_days",
        case="mean less one standard deviation: reached in how many years of six",
        published="5",
        unit="years",
        compute=lambda: 6 * machine.yearly_days([18.0, 22.0]).rule_share,
        source="illinois-hinton",
        where="definition of the days available, the standard error taken as that of a year",
    ),
    Pair(
        function="machine.yearly_days",
        case="days reached with a share of 85 %: in how many years of twenty",
        published="17",
        unit="years",
        compute=lambda: sum(d >= machine.yearly_days(range(20, 40), sure_share=0.85).sure for d in range(20, 40)),
        exact=True,
        source="oklahoma-machine-days",
        where="design level",
    ),
    Pair(
        function="machine.field_times",
        case="5 km/h over 20 m, 0.75 h lost in 10 h",
        published="92.5",
        unit="%",
        compute=lambda: 100 * _icar().efficiency,
        source="icar-machinery-lesson-6",
        where="worked example",
    ),
)


def _by_binomial() -> float:
    from scipy.stats import binom

    return float(binom.sf(7, 14, 0.5))


def _by_beta_binomial(needed: int, days: int, share: float, year_sd: float) -> float:
    from scipy.stats import betabinom

    size = share * (1 - share) / year_sd**2 - 1
    return float(betabinom.sf(needed - 1, days, share * size, (1 - share) * size))


def _first_day(chance: float) -> float:
    """First day on which ten workable days have come with that chance, looked for with SciPy."""
    return next(d for d in range(10, 400) if _by_beta_binomial(10, d, 0.5, 0.13) >= chance - 1e-9)


def _date() -> machine.Deadline:
    return machine.deadline(600.0, 60.0, 14, 0.5, year_sd=0.13)


def _series() -> machine.YearlyDays:
    return machine.yearly_days([12.0, 20.0, 9.0, 15.0, 24.0, 16.0], period_days=41.0)


def _spread_again(y: machine.YearlyDays) -> float:
    from scipy.stats import betabinom

    assert y.share is not None
    assert y.year_sd is not None
    size = y.share * (1 - y.share) / y.year_sd**2 - 1
    return float(betabinom.std(41, y.share * size, (1 - y.share) * size))


def _largest_of(n: int) -> float:
    """Expected largest of n standard normal values by its quantiles."""
    import numpy as np
    from scipy.special import ndtri

    u = (np.arange(200_000) + 0.5) / 200_000
    return float(ndtri(u ** (1 / n)).mean())


_PLACES: dict[str, dict[str, float]] = {
    "illinois-central": {"share": 20 / 41, "days": 41, "mean_days": 20, "least_days": 9.2, "most_days": 31.7, "years": 31},
    "iowa-spring": {"share": 35 / 77, "days": 77, "mean_days": 35, "least_days": 20, "most_days": 60, "years": 56},
    "iowa-north-west": {"share": 8.3 / 14, "days": 14, "mean_days": 4.0 + 4.3},
    "nebraska-spring": {"share": 49.5 / 84, "days": 12 * 7, "mean_days": 49.5, "least_days": 35.9, "most_days": 66.6, "years": 26},
    "illinois-spring-day": {"share": 0.5},
    "missouri-old": {"share": 0.3},
    "missouri-new": {"share": 0.6},
}


def _year_sd(key: str) -> float:
    """Range over twice the expected largest of so many normal years, less the luck of days, as a share of the period."""
    p = _PLACES[key]
    sd = (p["most_days"] - p["least_days"]) / (2 * _largest_of(int(p["years"])))
    n, share = p["days"], p["share"]
    return math.sqrt((sd**2 - n * share * (1 - share)) / (n * (n - 1)))


def _by_many_days() -> float:
    """The chance with the area of a day log-normal, by 2,000 equally likely values and SciPy."""
    import numpy as np
    from scipy.stats import betabinom, lognorm

    sigma = math.sqrt(math.log1p(0.2**2))
    day = lognorm.ppf((np.arange(2000) + 0.5) / 2000, sigma, scale=60.0 * math.exp(-(sigma**2) / 2))
    needed = np.ceil(600.0 / day)
    size = 0.25 / 0.13**2 - 1
    return float(betabinom.sf(needed - 1, 24, size / 2, size / 2).mean())


PAIRS: tuple[Pair, ...] = _DAYS

INDEPENDENT: tuple[Independent, ...] = (
    *each(
        "machine.days_until",
        "21 May to 31 May",
        lambda: machine.days_until(date(2027, 5, 21), date(2027, 5, 31)),
        ("days", float, 11),
    ),
    *each(
        "machine.field_times",
        "92.5 ha at 5 km/h over 20 m with 0.75 h lost",
        _icar,
        ("capacity", lambda t: t.capacity_ha_h, 9.25),
        ("work", lambda t: t.work_h, 9.25),
        ("all", lambda t: t.total_h, 10.0),
        ("turning", lambda t: t.turning_h, 0.25),
        ("filling", lambda t: t.filling_h, 0.3),
        ("moving", lambda t: t.moving_h, 0.15),
        ("waiting", lambda t: t.waiting_h, 0.05),
    ),
    *each("machine.day_area", "the way back", lambda: machine.day_area(machine.needed_capacity(120, 1, 12), 12), ("area", float, 120.0)),
    *each(
        "machine.chance_of_days",
        "8 of 14 days at 50 %",
        lambda: machine.chance_of_days(8, 14, 0.5),
        ("binomial", float, _by_binomial),
        how="second library (SciPy)",
    ),
    *each(
        "machine.chance_of_days",
        "20 of 41 days, years differ by 13 points",
        lambda: machine.chance_of_days(20, 41, 20 / 41, year_sd=0.13),
        ("beta-binomial", float, lambda: _by_beta_binomial(20, 41, 20 / 41, 0.13)),
        how="second library (SciPy)",
    ),
    *each(
        "machine.deadline",
        "600 ha at 60 ha a day, 14 days at 50 %, years differ by 13 points",
        _date,
        ("workable days to expect", lambda d: d.days_expected, 7.0),
        ("days needed", lambda d: d.days_needed, 10),
        ("needed a day", lambda d: d.needed_day_ha, 600 / 7),
        ("short", lambda d: d.short_day_ha, 600 / 7 - 60),
        ("left over", lambda d: d.undone_ha, 180.0),
        ("chance by SciPy", lambda d: d.chance, lambda: _by_beta_binomial(10, 14, 0.5, 0.13)),
        ("early day by SciPy", lambda d: d.early_day, lambda: _first_day(0.1)),
        ("middle day by SciPy", lambda d: d.middle_day, lambda: _first_day(0.5)),
        ("late day by SciPy", lambda d: d.late_day, lambda: _first_day(0.9)),
        ("area", lambda d: d.area_left_ha, 600.0),
        ("area of a day", lambda d: d.day_ha, 60.0),
        ("days left", lambda d: d.days_left, 14),
    ),
    *each(
        "machine.deadline",
        "a day gives 60 ha, give or take 12: chance summed over equally likely days",
        lambda: machine.deadline(600.0, Est(value=60.0, sd=12.0), 24, 0.5, year_sd=0.13),
        ("chance", lambda d: d.chance, lambda: _by_many_days()),
        how="second library (SciPy)",
        tolerance=0.01,
    ),
    *each(
        "machine.yearly_days",
        "six years of 41 days",
        _series,
        ("years", lambda y: y.years, 6),
        ("mean", lambda y: y.mean, 16.0),
        ("sd", lambda y: y.sd, math.sqrt((16 + 16 + 49 + 1 + 64 + 0) / 5)),
        ("least", lambda y: y.least, 9.0),
        ("most", lambda y: y.most, 24.0),
        ("reached in five of six", lambda y: y.sure, 12.0),
        ("share wanted", lambda y: y.sure_share, 5 / 6),
        ("rule", lambda y: y.rule, 16 - math.sqrt(146 / 5)),
        ("share of the rule by the error function", lambda y: y.rule_share, 0.5 * (1 + math.erf(1 / math.sqrt(2)))),
        ("share of days", lambda y: y.share, 16 / 41),
        ("spread of the share: a beta-binomial of SciPy with it spreads as seen", _spread_again, math.sqrt(146 / 5)),
    ),
    *each(
        "machine.sd_from_extremes",
        "22.5 days between the extremes of 31 years",
        lambda: machine.sd_from_extremes(9.2, 31.7, 31),
        ("sd", float, lambda: 22.5 / (2 * _largest_of(31))),
        how="second way: mean of the quantiles of the largest",
        tolerance=1e-4,
    ),
    *each(
        "machine.year_spread",
        "5.4 days of 41",
        lambda: machine.year_spread(5.4, 41, 0.5),
        ("share", float, math.sqrt((5.4**2 - 41 / 4) / (41 * 40))),
    ),
    *each(
        "machine.published_share",
        "central Illinois, 10 April to 20 May",
        lambda: machine.published_share("illinois-central"),
        ("share", lambda p: p.share, 20 / 41),
        ("days", lambda p: p.days, 41),
        ("mean", lambda p: p.mean_days, 20),
        ("least", lambda p: p.least_days, 9.2),
        ("most", lambda p: p.most_days, 31.7),
        ("years", lambda p: p.years, 31),
        ("how years differ", lambda p: p.year_sd, lambda: _year_sd("illinois-central")),
        tolerance=1e-4,
    ),
    *each(
        "machine.workday_places",
        "as printed",
        lambda: machine.workday_places(),
        *(
            (f"{key}, {name}", lambda p, key=key, name=name: getattr(p[key], name), value)
            for key, values in _PLACES.items()
            for name, value in values.items()
        ),
        *(
            (f"{key}, how years differ", lambda p, key=key: p[key].year_sd, partial(_year_sd, key))
            for key, values in _PLACES.items()
            if "years" in values
        ),
        tolerance=1e-4,
    ),
)
