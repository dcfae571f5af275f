"""Catch tests and row distributions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenstand.base.errors import RangeError
from evenstand.tally import catch_test, factor_from_shown, row_distribution


def test_one_catch_has_the_prior_band_not_an_infinite_one():
    c = catch_test([5.03], 4)
    assert c.factor_kg_rev == pytest.approx(1.2575)
    assert 0.03 < (c.high - c.low) / 2 / c.factor_kg_rev < 0.04
    assert c.odd is None


def test_two_catches_are_not_judged_by_their_own_two_values_alone():
    """A plain t interval on two values 1 % apart is -+6.4 %; with the usual repeatability it is a quarter of that."""
    c = catch_test([5.00, 5.05], 4)
    from scipy.stats import t

    plain = t.ppf(0.975, 1) * np.std([1.25, 1.2625], ddof=1) / math.sqrt(2)
    assert (c.high - c.low) / 2 < plain / 2.5


def test_many_catches_follow_the_data():
    """Against SciPy's t interval on 40 values: the prior is worth six degrees of freedom only."""
    from scipy.stats import t

    rng = np.random.default_rng(3)
    masses = 5 * (1 + 0.03 * rng.standard_normal(40))
    c = catch_test(masses, 4)
    plain = t.ppf(0.975, 39) * np.std(masses / 4, ddof=1) / math.sqrt(40)
    assert (c.high - c.low) / 2 == pytest.approx(plain, rel=0.12)


def test_a_coarse_scale_asks_for_a_longer_catch_and_says_how_long():
    coarse = catch_test([0.40], 3, scale_division_kg=0.05, prior_cv=0.005)
    assert coarse.catches_needed > 1
    assert coarse.longer_turns is not None
    longer = catch_test([0.40 * coarse.longer_turns / 3], coarse.longer_turns, scale_division_kg=0.05, prior_cv=0.005)
    assert longer.catches_needed == 1


def test_half_the_segments_give_half_the_mass():
    whole, half = catch_test([5.0], 4), catch_test([2.5], 4, share=0.5)
    assert half.factor_kg_rev == pytest.approx(whole.factor_kg_rev)


@pytest.mark.parametrize(
    ("masses", "turns", "kwargs"),
    [([], 4, {}), ([0.1], 4, {"tare_kg": 0.2}), ([5], 0, {}), ([5], 4, {"share": 1.2}), ([math.nan], 4, {}), ([-1], 4, {})],
)
def test_a_catch_that_cannot_be_is_refused(masses, turns, kwargs):
    with pytest.raises(RangeError):
        catch_test(masses, turns, **kwargs)


@given(st.floats(0.05, 20), st.floats(1, 400), st.floats(0.1, 10))
def test_scaling_mass_scales_the_factor_and_its_band(mass, turns, times):
    a, b = catch_test([mass], turns), catch_test([mass * times], turns)
    assert b.factor_kg_rev == pytest.approx(a.factor_kg_rev * times)
    assert b.high - b.low == pytest.approx((a.high - a.low) * times, rel=1e-6)


def test_intervals_cover_what_they_say():
    """2,000 simulated single catches at the prior's own spread: a 95 % band covers at least 95 % (Student's tail makes it cautious)."""
    rng = np.random.default_rng(11)
    inside = 0
    for _ in range(2000):
        c = catch_test([5 * (1 + 0.015 * rng.standard_normal())], 4)
        inside += c.low <= 1.25 <= c.high
    assert 0.95 <= inside / 2000 <= 0.995


def test_the_shown_mass_gives_the_new_factor():
    assert factor_from_shown(1.25, 50, 53) == pytest.approx(1.325)
    with pytest.raises(RangeError):
        factor_from_shown(1.25, 0, 53)


def test_the_divisor_of_a_row_distribution_is_stated():
    """Twelve rows: n - 1 against n differ by sqrt(12/11), 4.4 % (by definition)."""
    caught = [98, 103, 101, 95, 106, 99, 100, 97, 104, 102, 96, 99]
    a, b = row_distribution(caught), row_distribution(caught, ddof=0)
    assert a.cv / b.cv == pytest.approx(math.sqrt(12 / 11))
    assert (a.divisor, b.divisor) == ("n - 1", "n")
    assert a.worst_row == 5


def test_several_tests_are_averaged_row_by_row():
    assert row_distribution([[90, 100, 110], [110, 100, 90]]).cv == pytest.approx(0)
    with pytest.raises(RangeError, match="3 rows"):
        row_distribution([1, 2])
    with pytest.raises(RangeError):
        row_distribution([1, -2, 3])
