"""Whether two results of a germination test may differ as they do: official tolerance tables."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenstand.base.errors import InputError, RangeError, require_range
from evenstand.base.estimate import Est
from evenstand.reference import figure, table


def replicate_tolerance(average_percent: float, *, replicates: int = 4) -> float | None:
    """Largest range allowed between replicates of 100 seeds in one germination test.

    Parameters
    ----------
    average_percent : float
        Average of the replicates; rounded to a whole per cent. [%]
    replicates : int
        2 or 4. [-]

    Returns
    -------
    float or None
        Largest allowed range; None where the table (as far as it was read: averages of 71 and above, and their mirror of 30 and
        below) has no entry. [%]

    Raises
    ------
    RangeError
        If the average is outside 0 to 100.
    InputError
        If replicates is neither 2 nor 4.

    References
    ----------
    United States Department of Agriculture, Federal Seed Act regulations, 7 CFR 201.55. Symmetric about 50: an average of 15
    is read at 86.
    """
    require_range("average_percent", average_percent, 0, 100, unit="%")
    if replicates not in (2, 4):
        raise InputError(f"{replicates} replicates", where="replicates", limit="2 or 4")
    rows = table("germination")["replicates"]
    average = _whole(average_percent)
    average = 101 - average if average <= 50 else average
    try:
        cell = rows["four" if replicates == 4 else "two"][rows["average"].index(average)]
    except ValueError:
        return None
    return None if isinstance(cell, str) else float(cell)


def two_test_tolerance(mean_percent: float, *, seeds: int = 400) -> float | None:
    """Largest difference allowed between two germination tests of the same lot.

    Parameters
    ----------
    mean_percent : float
        Mean of the two tests; rounded to a whole per cent. [%]
    seeds : int
        Seeds in each test, 200 or 400. [-]

    Returns
    -------
    float or None
        Largest allowed difference; None for means the table does not cover (0, 1 and 100). [%]

    Raises
    ------
    RangeError
        If the mean is outside 0 to 100.
    InputError
        If seeds is neither 200 nor 400.

    References
    ----------
    louisiana-seed-139: Louisiana Administrative Code 7:XIII section 139, from the Federal Seed Act.
    """
    require_range("mean_percent", mean_percent, 0, 100, unit="%")
    if seeds not in (200, 400):
        raise InputError(f"{seeds} seeds", where="seeds", limit="200 or 400")
    mean = _whole(mean_percent)
    mean = 101 - mean if mean <= 50 else mean
    if mean > 99:
        return None
    base = _banded("two_tests", mean)
    return None if base is None else base + (figure("germination", "two_tests", "small_sample").value if seeds == 200 else 0.0)


def stated_tolerance(stated_percent: float) -> float | None:
    """How far a check test may fall below a stated germination under United Kingdom seed regulations.

    Parameters
    ----------
    stated_percent : float
        Germination stated; rounded to a whole per cent. [%]

    Returns
    -------
    float or None
        Limit of variation; None below 65, where none is printed. [%]

    Raises
    ------
    RangeError
        If the value is outside 0 to 100.

    References
    ----------
    uk-seed-regulations: SSI 2005/328 Schedule 7; SR 2009/383 Schedule 9.
    """
    require_range("stated_percent", stated_percent, 0, 100, unit="%")
    return _banded("stated", _whole(stated_percent))


def seed_count_tolerance(stated: int) -> int:
    """How many seeds of a kind may be found where a number is stated.

    Parameters
    ----------
    stated : int
        Seeds stated, 0 to 30. [-]

    Returns
    -------
    int
        Seeds allowed. [-]

    Raises
    ------
    RangeError
        Above 30, where the table ends.

    References
    ----------
    7cfr-201: Federal Seed Act regulations, 7 CFR 201.65. The formula printed beside the table does not round to it everywhere:
    the table counts.
    """
    allowed = table("germination")["counts"]["allowed"]
    require_range("stated", stated, 0, len(allowed) - 1)
    if stated != int(stated):
        raise RangeError(f"{stated} is no whole number", where="stated")
    return int(allowed[int(stated)])


@dataclass(frozen=True, slots=True, kw_only=True)
class GerminationTest:
    """A germination test. germination with the sd of its sampling [-]; low, high: exact binomial interval [-]; seeds tested in all;
    spread_percent: largest less smallest replicate, None with one [%]; allowed_percent: what the published table allows, None where
    it has no entry [%]; within: whether the replicates agree as the table wants, None where it cannot say; overspread: replicates vary
    more than counting seeds explains (index of dispersion, below 5 %), None with one; note: what to mind."""

    germination: Est
    low: float
    high: float
    seeds: int
    spread_percent: float | None
    allowed_percent: float | None
    within: bool | None
    overspread: bool | None
    note: str = ""


def germination_test(germinated: Sequence[int], *, seeds: int = 100, confidence: float = 0.95) -> GerminationTest:
    """Germination of a lot from the replicates of one test, with its sampling error and the published verdict on the replicates.

    Parameters
    ----------
    germinated : sequence of int, shape (n,)
        Normal seedlings in each replicate, one replicate or more. [-]
    seeds : int
        Seeds in each replicate; the table is for 100. [-]
    confidence : float
        Of the interval, 0 < confidence < 1. [-]

    Returns
    -------
    GerminationTest
        The sd is that of a binomial share, widened where the replicates vary more than that; where all or none germinated,
        one seed of each kind is added to keep the sd above nothing. [-]

    Raises
    ------
    InputError
        Without replicates, or with more seedlings than seeds.
    RangeError
        If a count is negative, or seeds or confidence are outside their range.

    References
    ----------
    United States Department of Agriculture, Federal Seed Act regulations, 7 CFR 201.55 (tolerance). The binomial sd, the exact interval
    and the index of dispersion are standard statistics, from memory.

    Examples
    --------
    >>> test = germination_test([92, 95, 90, 94])
    >>> round(test.germination.value, 4), round(test.germination.sd, 4), test.within
    (0.9275, 0.013, True)
    """
    from scipy.special import betaincinv, chdtrc

    _check_replicates(germinated, seeds)
    require_range("confidence", confidence, 0, 1, low_open=True, high_open=True)
    n, total, grown = len(germinated), len(germinated) * seeds, sum(germinated)
    share, tail = grown / total, (1 - confidence) / 2
    soft = share if 0 < grown < total else (grown + 1) / (total + 2)
    variance, overspread = soft * (1 - soft) / total, None
    if n > 1 and 0 < grown < total:
        index = sum((g - grown / n) ** 2 for g in germinated) / (n - 1) / (seeds * share * (1 - share))
        overspread = bool(chdtrc(n - 1, (n - 1) * index) < 0.05)
        variance *= max(1.0, index) if overspread else 1.0
    spread = 100 * (max(germinated) - min(germinated)) / seeds if n > 1 else None
    allowed = replicate_tolerance(100 * share, replicates=n) if seeds == 100 and n in (2, 4) else None
    within = None if allowed is None or spread is None else spread <= allowed
    return GerminationTest(
        germination=Est(value=share, sd=math.sqrt(variance), basis="measured", source="germination test"),
        low=float(betaincinv(grown, total - grown + 1, tail)) if grown else 0.0,
        high=float(betaincinv(grown + 1, total - grown, 1 - tail)) if grown < total else 1.0,
        seeds=total,
        spread_percent=spread,
        allowed_percent=allowed,
        within=within,
        overspread=overspread,
        note=_test_note(within, n, seeds),
    )


def _check_replicates(germinated: Sequence[int], seeds: int) -> None:
    require_range("seeds", seeds, 1)
    if len(germinated) == 0:
        raise InputError("no replicates", where="germinated", limit="one or more", cure="Give the seedlings of each replicate.")
    for count in germinated:
        require_range("germinated", count, 0)
        if count > seeds or count != int(count):
            raise InputError(f"{count:g} seedlings of {seeds} seeds", where="germinated", cure="Give whole seedlings, no more than seeds.")


def _test_note(within: bool | None, n: int, seeds: int) -> str:
    """What to mind about a test, in words."""
    if within is False:
        return "The replicates differ more than the published table allows: test again."
    if within is None and n > 1:
        why = "is for 2 or 4 replicates of 100 seeds" if seeds != 100 or n not in (2, 4) else "was not read for this average"
        return f"No published verdict on the replicates: the table {why}."
    return "" if within else "One replicate: nothing to judge its evenness by."


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoTests:
    """Two tests of one lot. germination of both together [-]; difference_percent between them [%]; allowed_percent by the published
    table, None where it has no entry [%]; agree: None where the table cannot say; note: what to mind."""

    germination: Est
    difference_percent: float
    allowed_percent: float | None
    agree: bool | None
    note: str = ""


def two_germination_tests(first: GerminationTest, second: GerminationTest) -> TwoTests:
    """Two germination tests of the same lot held against one another and put together.

    Parameters
    ----------
    first : GerminationTest
        From `germination_test`. [-]
    second : GerminationTest
        Of the same lot. [-]

    Returns
    -------
    TwoTests
        The mean by seeds tested; where the tests differ more than allowed, half their difference goes into its sd. [-]

    References
    ----------
    Louisiana Administrative Code 7:XIII section 139, from the Federal Seed Act.
    """
    a, b, seeds = first.germination, second.germination, first.seeds + second.seeds
    value = (a.value * first.seeds + b.value * second.seeds) / seeds
    sd = math.hypot(a.sd * first.seeds, b.sd * second.seeds) / seeds
    difference = 100 * abs(a.value - b.value)
    fewer = min(first.seeds, second.seeds)
    allowed = two_test_tolerance(100 * (a.value + b.value) / 2, seeds=fewer) if fewer in (200, 400) else None
    agree = None if allowed is None else difference <= allowed
    if agree is False:
        sd = math.hypot(sd, abs(a.value - b.value) / 2)
    notes = {
        True: "",
        False: "The two tests differ more than the published table allows: one of them, or the sample, is wrong. Have a third made.",
        None: "No published verdict: the table is for tests of 200 or 400 seeds, and for means of 2 to 99 %.",
    }
    return TwoTests(
        germination=Est(value=value, sd=sd, basis="measured", source="two germination tests"),
        difference_percent=difference, allowed_percent=allowed, agree=agree, note=notes[agree],
    )  # fmt: skip


def _whole(percent: float) -> int:
    """To a whole per cent, halves upwards. [%]"""
    return math.floor(percent + 0.5)


def _banded(name: str, percent: int) -> float | None:
    """The value of the band a whole per cent falls in; None below the lowest. [%]"""
    bands = table("germination")[name]
    for start, tolerance in zip(bands["from"], bands["tolerance"], strict=True):
        if percent >= start:
            return float(tolerance)
    return None
