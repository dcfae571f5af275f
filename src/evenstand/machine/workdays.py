"""Days on which the work can be done: published places, a farm's own series, and the chance of enough of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import MissingError, RangeError, require_range
from evenstand.reference import Figure, figures, table

FloatArray = npt.NDArray[np.float64]

_NO_SPREAD = 1e-4  # years that differ less than that are alike; the beta functions lose their digits below it


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkdayPlace:
    """Days suitable for fieldwork as published for a place.

    key; name: place and part of the year; first, last: "month-day", "" where not stated; days: of that part, None where only a share is
    printed [d]; mean_days, least_days, most_days [d]; years: of record; share: suitable share of days [-]; year_sd: how that
    share differs between years beyond the luck of days, from the extremes, None without them [-]; source, where, seen, note.
    """

    key: str
    name: str
    first: str
    last: str
    days: float | None
    mean_days: float | None
    least_days: float | None
    most_days: float | None
    years: int | None
    share: float
    year_sd: float | None
    source: str
    where: str
    seen: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class YearlyDays:
    """Suitable days of the same weeks over years.

    years: how many; mean, sd: of a year, divisor n - 1 [d]; least, most: [d]; sure: reached or passed in the wanted share of years, by
    sorting [d]; sure_share: that share [-]; rule: mean less one sd, a weak stand-in for it [d]; rule_share: share of years that pass
    `rule` if years are normal [-]; share: mean over the length of the period; year_sd: how the share differs between
    years beyond the luck of days; both None without that length [-].
    """

    years: int
    mean: float
    sd: float
    least: float
    most: float
    sure: float
    sure_share: float
    rule: float
    rule_share: float
    share: float | None
    year_sd: float | None


def workday_places() -> Mapping[str, WorkdayPlace]:
    """Places for which suitable days are published, by key; choose one by name or give your own share.

    Returns
    -------
    mapping of str to WorkdayPlace
        All places. [units in the field names]
    """
    return {key: _place(key) for key in table("workdays")}


def _place(key: str) -> WorkdayPlace:
    entry = table("workdays")[key]
    found = {name: _one(key, name) for name in ("days", "mean", "least", "most", "years", "share")}
    printed, days, mean = found["share"], found["days"], found["mean"]
    if printed is None:
        assert days is not None
        assert mean is not None
    share = printed.value if printed is not None else mean.value / days.value  # type: ignore[union-attr]
    cited = printed or mean
    assert cited is not None
    least, most, years = found["least"], found["most"], found["years"]
    sd = None
    if least is not None and most is not None and years is not None and days is not None:
        sd = year_spread(sd_from_extremes(least.value, most.value, int(years.value)), days.value, share)
    return WorkdayPlace(
        key=key,
        name=entry["name"],
        first=entry.get("first", ""),
        last=entry.get("last", ""),
        days=_value(days),
        mean_days=_value(mean),
        least_days=_value(least),
        most_days=_value(most),
        years=None if years is None else int(years.value),
        share=share,
        year_sd=sd,
        source=cited.source,
        where=cited.where,
        seen=cited.seen,
        note=" ".join(f"{name.capitalize()}: {f.note}" for name, f in found.items() if f is not None and f.note),
    )


def _one(key: str, name: str) -> Figure | None:
    found = figures("workdays", key, name)
    return found[0] if found else None


def _value(figure: Figure | None) -> float | None:
    return None if figure is None else figure.value


def sd_from_extremes(least: float, most: float, n: int) -> float:
    """Standard deviation to expect behind the extremes of n normal values.

    Working: (most - least) / (2 x expected largest of n standard normal values).

    Parameters
    ----------
    least, most : float
        Smallest and largest. [any]
    n : int
        How many values, 2 or more. [-]

    Returns
    -------
    float
        Range over twice the expected largest of n standard normal values. [unit of the values]

    Raises
    ------
    RangeError
        If there are fewer than two values or they are out of order.

    References
    ----------
    definition: expected largest of n standard normal values.
    """
    require_range("n", n, 2, math.inf, high_open=True)
    require_range("most", most, least, math.inf, high_open=True)
    from scipy.integrate import quad
    from scipy.special import ndtr

    half = quad(lambda x: x * n * math.exp(-x * x / 2) / math.sqrt(2 * math.pi) * ndtr(x) ** (n - 1), -8, 8 + math.log(n))[0]
    return float((most - least) / (2 * half))


def year_spread(sd_days: float, days: float, share: float) -> float:
    """How the suitable share differs between years, beyond what the luck of single days does by itself.

    Working: sqrt((sd_days² - days share (1 - share)) / (days (days - 1))); 0 if negative.

    Parameters
    ----------
    sd_days : float
        Standard deviation of the number of suitable days between years. [d]
    days : float
        Length of the period. [d]
    share : float
        Mean share of suitable days. [-]

    Returns
    -------
    float
        Standard deviation of the share, so that a beta-binomial number of days spreads as seen; 0 if luck explains it all. [-]

    Raises
    ------
    RangeError
        If a number is out of range.

    References
    ----------
    definition: variance of a beta-binomial number less that of a binomial one.
    """
    require_range("sd_days", sd_days, 0, math.inf, high_open=True, unit="d")
    require_range("days", days, 1, math.inf, low_open=True, high_open=True, unit="d")
    require_range("share", share, 0, 1)
    luck = days * share * (1 - share)
    return math.sqrt(max(sd_days**2 - luck, 0.0) / (days * (days - 1)))


def yearly_days(days: Sequence[float], *, sure_share: float = 5 / 6, period_days: float | None = None) -> YearlyDays:
    """What a farm's or a service's own series of suitable days says.

    Parameters
    ----------
    days : sequence of float, shape (years,)
        Suitable days of the same weeks in each year. [d]
    sure_share : float
        Share of years in which the wanted number is reached, such as 5 of 6. [-]
    period_days : float or None
        Length of those weeks, for shares. [d]

    Returns
    -------
    YearlyDays
        Mean, spread, extremes, the sure number and the rule of mean less one sd. [d]

    Raises
    ------
    RangeError
        If there are fewer than two years, or a number is below 0 or above the period.

    References
    ----------
    Mean less one standard error as "5 years out of 6": R. Hinton, University of Illinois; the standard error taken as the standard
    deviation of a year. The D497 table of working days was not read.
    """
    x = np.asarray(days, dtype=float)
    if x.ndim != 1 or x.size < 2:
        raise RangeError(f"{x.size} years", where="days", limit="2 or more", cure="One year says nothing of how years differ.")
    for value in x:
        require_range("days", float(value), 0, math.inf if period_days is None else period_days, high_open=period_days is None, unit="d")
    require_range("sure_share", sure_share, 0, 1, low_open=True, high_open=True)
    from scipy.special import ndtr

    mean, sd = float(x.mean()), float(x.std(ddof=1))
    ordered = np.sort(x)[::-1]
    return YearlyDays(
        years=x.size,
        mean=mean,
        sd=sd,
        least=float(x.min()),
        most=float(x.max()),
        sure=float(ordered[min(x.size, math.ceil(sure_share * x.size - 1e-9)) - 1]),
        sure_share=sure_share,
        rule=mean - sd,
        rule_share=float(ndtr(1.0)),
        share=None if period_days is None else mean / period_days,
        year_sd=None if period_days is None else year_spread(sd, period_days, mean / period_days),
    )


def chance_of_days(needed: int, days: int, share: float, *, year_sd: float = 0.0) -> float:
    """Chance of at least so many workable days among the days there are.

    Days are drawn one by one with the same share; a spread between years makes whole years better or worse, which is far more than
    single days do (binomial without it, beta-binomial with it).

    Working: sum of the chances of every number of days from the needed one up.

    Parameters
    ----------
    needed : int
        Workable days needed. [d]
    days : int
        Calendar days. [d]
    share : float
        Share of days on which the work can be done. [-]
    year_sd : float
        Standard deviation of that share between years, below sqrt(share (1 - share)). [-]

    Returns
    -------
    float
        Chance. [-]

    Raises
    ------
    RangeError
        If a number is out of range.

    References
    ----------
    definition: binomial, or beta-binomial, tail.

    Examples
    --------
    Eight of 14 days at 50 %:

    >>> round(chance_of_days(8, 14, 0.5), 3)
    0.395
    """
    require_range("needed", needed, 0, math.inf, high_open=True, unit="d")
    require_range("days", days, 0, math.inf, high_open=True, unit="d")
    require_share(share, year_sd)
    return float(reach_by(int(needed), np.array([int(days)]), share, year_sd)[0])


def require_share(share: float, year_sd: float) -> None:
    """Raise `RangeError` unless share and its spread between years fit each other."""
    require_range("share", share, 0, 1)
    require_range("year_sd", year_sd, 0, math.sqrt(share * (1 - share)), high_open=0 < share < 1)


def reach_by(needed: int, days: npt.NDArray[np.int64], share: float, year_sd: float) -> FloatArray:
    """Chance of at least `needed` workable days among each number of days, ascending."""
    if needed <= 0:
        return np.ones(days.shape)
    if share in (0.0, 1.0):
        return np.where(days * share >= needed, 1.0, 0.0)
    from scipy.special import betaln

    # the chance that the `needed`-th workable day is day n, summed up to each number of days
    n = np.arange(needed, max(int(days.max()), needed) + 1)
    ways = -np.log(n) - betaln(n - needed + 1, needed)  # C(n - 1, needed - 1)
    if year_sd < _NO_SPREAD:
        logs = ways + needed * math.log(share) + (n - needed) * math.log1p(-share)
    else:
        size = share * (1 - share) / year_sd**2 - 1
        a, b = share * size, (1 - share) * size
        logs = ways + betaln(a + needed, b + n - needed) - betaln(a, b)
    total = np.concatenate([[0.0], np.cumsum(np.exp(logs))])
    return np.asarray(np.minimum(total[np.maximum(days - needed + 1, 0)], 1.0))


def published_share(key: str) -> WorkdayPlace:
    """Suitable days of a published place, by its key.

    Parameters
    ----------
    key : str
        As in `workday_places`. [-]

    Returns
    -------
    WorkdayPlace
        Its share and how years differ. [units in the field names]

    Raises
    ------
    MissingError
        Listing the places there are.
    """
    if key not in table("workdays"):
        raise MissingError(f"no place '{key}'", where="workdays", cure=f"Known: {', '.join(table('workdays'))}; or give your own share.")
    return _place(key)
