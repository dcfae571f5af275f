"""Counts on the ground and tolerances of tests."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from evenstand import agronomy
from evenstand.base.errors import InputError, RangeError


def test_the_interval_is_the_t_interval_of_a_statistics_library() -> None:
    counts = [61, 55, 70, 58, 66]
    stand = agronomy.stand_from_counts(counts, 0.25, confidence=0.9)
    low, high = stats.t.interval(0.9, df=4, loc=np.mean(counts), scale=stats.sem(counts))
    assert (stand.low, stand.high) == (pytest.approx(low / 0.25), pytest.approx(high / 0.25))
    assert stand.method == "t"
    assert stand.n == 5


def test_the_counts_needed_make_the_interval_as_narrow_as_asked_at_that_spread() -> None:
    counts = [40, 70, 55, 62, 48, 51]
    stand = agronomy.stand_from_counts(counts, 0.25, precision=0.1)
    t = stats.t.ppf(0.975, df=5)
    assert stand.counts_needed == math.ceil((t * stand.cv / 0.1) ** 2)
    assert t * stand.cv / math.sqrt(stand.counts_needed) <= 0.1


def test_patchy_stands_are_told_from_random_scatter() -> None:
    patchy = agronomy.stand_from_counts([5, 60, 8, 72, 4, 66], 0.25)
    even = agronomy.stand_from_counts([38, 35, 41, 30, 37, 33], 0.25)
    assert patchy.patchy
    assert "unevenly" in patchy.note
    assert not even.patchy
    assert even.note == ""
    assert patchy.p_random == pytest.approx(stats.chi2.sf(5 * patchy.dispersion, 5))


def test_one_count_gets_the_exact_poisson_interval_and_says_so() -> None:
    stand = agronomy.stand_from_counts([60], 0.25)
    assert stand.method == "poisson"
    assert stand.low == pytest.approx(stats.chi2.ppf(0.025, 120) / 2 / 0.25)
    assert stand.high == pytest.approx(stats.chi2.ppf(0.975, 122) / 2 / 0.25)
    assert math.isnan(stand.cv)
    assert "Count more places" in stand.note
    assert stand.counts_needed >= 2


def test_counts_that_are_all_alike_do_not_make_a_certain_stand() -> None:
    stand = agronomy.stand_from_counts([20, 20, 20], 0.25)
    assert stand.low < stand.plants_m2 < stand.high
    assert stand.method == "poisson"
    assert stand.cv == 0


def test_nothing_found_still_has_an_upper_bound() -> None:
    stand = agronomy.stand_from_counts([0, 0, 0, 0], 0.25)
    assert (stand.plants_m2, stand.low) == (0, 0)
    assert stand.high == pytest.approx(-math.log(0.025))  # over one square metre in all


def test_a_bound_never_falls_below_zero() -> None:
    assert agronomy.stand_from_counts([0, 0, 9], 0.25).low == 0


@pytest.mark.parametrize(
    ("counts", "area", "options", "error"),
    [
        ([], 0.25, {}, InputError),
        ([5, -1], 0.25, {}, RangeError),
        ([5, math.nan], 0.25, {}, RangeError),
        ([5, math.inf], 0.25, {}, RangeError),
        ([5, 6], 0.0, {}, RangeError),
        ([5, 6], 0.25, {"confidence": 1.0}, RangeError),
        ([5, 6], 0.25, {"confidence": 0.0}, RangeError),
        ([5, 6], 0.25, {"precision": 0.0}, RangeError),
    ],
)
def test_wrong_counts_are_refused(counts, area, options, error) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(error):
        agronomy.stand_from_counts(counts, area, **options)


def test_counts_needed_from_a_spread_wants_two_counts() -> None:
    with pytest.raises(RangeError):
        agronomy.counts_needed(0.2, 1)


def test_half_the_precision_wants_four_times_the_counts() -> None:
    assert agronomy.counts_needed(0.2, 10, precision=0.05) == pytest.approx(4 * agronomy.counts_needed(0.2, 10, precision=0.1))


def test_emergence_over_ten_days_has_a_mean_and_a_spread() -> None:
    spread = agronomy.emergence_spread([6, 7, 8, 9, 10], [0, 10, 30, 40, 40])
    days = np.repeat([7, 8, 9], [10, 20, 10])
    assert spread.mean_days == pytest.approx(days.mean())
    assert spread.sd_days == pytest.approx(days.std(ddof=1))
    assert spread.emerged == 40


@pytest.mark.parametrize(
    ("days", "standing", "complaint"),
    [
        ([1, 2], [1], "2 days and 1 counts"),
        ([], [], "0 days"),
        ([1, 1], [1, 2], "do not rise"),
        ([1, 2], [5, 3], "fewer"),
        ([1, 2], [0, 1], "two or more"),
        ([0], [5], "day 0"),
    ],
)
def test_counts_over_time_that_make_no_sense_are_refused(days, standing, complaint: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match=complaint):
        agronomy.emergence_spread(days, standing)


def test_the_mirror_of_the_replicate_table_serves_low_averages() -> None:
    for average in range(71, 98):
        for replicates in (2, 4):
            mirrored = agronomy.replicate_tolerance(101 - average, replicates=replicates)
            assert mirrored == agronomy.replicate_tolerance(average, replicates=replicates)


def test_averages_whose_row_was_not_read_have_no_tolerance() -> None:
    assert agronomy.replicate_tolerance(60) is None
    assert agronomy.replicate_tolerance(100) is None
    assert agronomy.replicate_tolerance(99, replicates=2) is None


def test_the_replicate_table_lies_within_one_of_its_formula() -> None:
    """Miles' formula q sqrt(p (1 - p) / n) as quoted by da Silva 2020; q from the studentised range."""
    for replicates in (2, 4):
        q = stats.studentized_range.ppf(0.975, replicates, math.inf)
        for average in range(71, 98):
            tolerance = agronomy.replicate_tolerance(average, replicates=replicates)
            assert tolerance is not None
            assert abs(tolerance - 100 * q * math.sqrt(average / 100 * (1 - average / 100) / 100)) <= 1


def test_halves_of_a_per_cent_round_up() -> None:
    assert agronomy.replicate_tolerance(97.5) == agronomy.replicate_tolerance(98)
    assert agronomy.two_test_tolerance(96.5) == agronomy.two_test_tolerance(97)


def test_two_hundred_seeds_allow_two_more() -> None:
    assert agronomy.two_test_tolerance(92, seeds=200) == 7
    assert agronomy.two_test_tolerance(92) == 5


def test_the_two_countries_part_at_69_to_70() -> None:
    assert agronomy.two_test_tolerance(69) == 10
    assert agronomy.stated_tolerance(69) == 9


def test_outside_the_tables_there_is_no_tolerance() -> None:
    assert agronomy.two_test_tolerance(100) is None
    assert agronomy.two_test_tolerance(1) is None
    assert agronomy.stated_tolerance(64) is None


@pytest.mark.parametrize(
    ("call", "error"),
    [
        (lambda: agronomy.replicate_tolerance(101), RangeError),
        (lambda: agronomy.replicate_tolerance(90, replicates=3), InputError),
        (lambda: agronomy.two_test_tolerance(-1), RangeError),
        (lambda: agronomy.two_test_tolerance(90, seeds=300), InputError),
        (lambda: agronomy.stated_tolerance(120), RangeError),
        (lambda: agronomy.seed_count_tolerance(31), RangeError),
        (lambda: agronomy.seed_count_tolerance(-1), RangeError),
        (lambda: agronomy.seed_count_tolerance(2.5), RangeError),  # type: ignore[arg-type]
    ],
)
def test_questions_outside_the_tables_are_refused(call, error) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(error):
        call()


def test_the_formula_printed_beside_the_count_table_does_not_give_it() -> None:
    """7 CFR 201.65: X + 1 + 1.96 sqrt X gives 1.0 for none stated, the table 2; the table counts."""
    assert agronomy.seed_count_tolerance(0) == 2
    formula = [x + 1 + 1.96 * math.sqrt(x) for x in range(31)]
    table = [agronomy.seed_count_tolerance(x) for x in range(31)]
    assert [round(f) for f in formula] != table
    assert all(abs(f - t) <= 1.1 for f, t in zip(formula, table, strict=True))
