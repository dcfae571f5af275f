"""Whether two results of a germination test may differ as they do: official tolerance tables."""

from __future__ import annotations

import math

from evenstand.base.errors import InputError, RangeError, require_range
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
    Louisiana Administrative Code 7:XIII section 139, from the Federal Seed Act.
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
    SSI 2005/328 Schedule 7; SR 2009/383 Schedule 9.
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
    Federal Seed Act regulations, 7 CFR 201.65. The formula printed beside the table does not round to it everywhere: the table counts.
    """
    allowed = table("germination")["counts"]["allowed"]
    require_range("stated", stated, 0, len(allowed) - 1)
    if stated != int(stated):
        raise RangeError(f"{stated} is no whole number", where="stated")
    return int(allowed[int(stated)])


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
