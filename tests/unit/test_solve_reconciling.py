"""Reconciliation by rank, with exact, shared and missing measurements."""

from __future__ import annotations

import math

import numpy as np
import pytest

from evenstand.base.errors import InputError
from evenstand.solve.accounting import account_for
from evenstand.solve.explaining import explain, flat_hypotheses, glr, same_direction, serial_elimination, sidak_limit, whitener
from evenstand.solve.reconciling import chi2_tail, reconcile_linear, verdict

NAN = math.nan


def test_two_scales_share_their_difference_by_their_variances() -> None:
    found = reconcile_linear([[1, -1]], [100, 106], [1, 2])
    assert found.values == pytest.approx([101.2, 101.2])
    assert found.sds == pytest.approx([math.sqrt(0.8)] * 2)
    assert found.chi2 == pytest.approx(36 / 5)


def test_a_balance_written_twice_adds_no_redundancy() -> None:
    once = reconcile_linear([[1, -1]], [100, 103], [1, 1])
    twice = reconcile_linear([[1, -1], [2, -2], [-1, 1]], [100, 103], [1, 1])
    assert (once.dof, twice.dof) == (1, 1)
    assert twice.chi2 == pytest.approx(once.chi2)


def test_the_dust_of_a_projection_is_no_redundancy() -> None:
    found = reconcile_linear([[-1, -1], [-3, -3], [-1, -1]], [1, NAN], [1, 1])
    assert (found.dof, found.chi2) == (0, 0.0)
    assert found.values == pytest.approx([1, -1])


def test_without_redundancy_nothing_is_told() -> None:
    found = reconcile_linear([[1, -1, -1]], [10, NAN, 4], [1, 1, 1])
    assert (found.chi2, found.dof, found.state, found.suspects) == (0.0, 0, "cannot be told yet", ())
    assert math.isnan(found.p)
    assert found.values == pytest.approx([10, 6, 4])
    assert found.sds[1] == pytest.approx(math.sqrt(2))
    assert found.settle_by == "1"


def test_a_value_nothing_determines_stays_unknown() -> None:
    found = reconcile_linear([[1, -1, -1, 0]], [10, NAN, NAN, 3], [1, 1, 1, 1])
    assert list(found.observable) == [True, False, False, True]
    assert np.isnan(found.values[1:3]).all()
    assert np.isinf(found.sds[1:3]).all()


def test_unmeasured_values_are_projected_out_and_the_rest_still_checks() -> None:
    found = reconcile_linear([[1, -1, 0], [0, 1, -1]], [10, NAN, 12], [1, 1, 1])
    assert (found.dof, found.chi2) == (1, pytest.approx(2.0))
    assert found.values == pytest.approx([11, 11, 11])


def test_an_infinite_sd_counts_as_not_measured() -> None:
    found = reconcile_linear([[1, -1]], [10, 50], [1, math.inf])
    assert (found.dof, found.values[1]) == (0, pytest.approx(10))


def test_an_exactly_known_value_does_not_move() -> None:
    found = reconcile_linear([[1, -1]], [10, 12], [0, 1])
    assert found.values == pytest.approx([10, 10])
    assert found.chi2 == pytest.approx(4)


def test_exact_values_that_break_an_exact_balance_do_not_hold() -> None:
    found = reconcile_linear([[1, -1]], [10, 11], [0, 0])
    assert (found.state, found.chi2, found.p) == ("does not hold", math.inf, 0.0)


def test_a_shared_error_is_no_disagreement() -> None:
    apart = reconcile_linear([[1, -1]], [100, 100.5], [5, 5])
    shared = reconcile_linear([[1, -1]], [100, 100.5], [5, 5], cov=[[25, 24.99], [24.99, 25]])
    assert shared.chi2 > 100 * apart.chi2


def test_units_do_not_change_what_can_be_told() -> None:
    in_tonnes = reconcile_linear([[1, -1, 0], [0, 1000, -1]], [1.0, 1.2, 1100], [0.01, 0.02, 20])
    in_kilograms = reconcile_linear([[1, -1, 0], [0, 1, -1]], [1000, 1200, 1100], [10, 20, 20])
    assert in_tonnes.chi2 == pytest.approx(in_kilograms.chi2)
    assert in_tonnes.dof == in_kilograms.dof


@pytest.mark.parametrize(
    ("balances", "measured", "sds", "where"),
    [
        ([[1, -1, 0]], [1, 2], [1, 1], "balances"),
        ([[1, -1]], [1, 2], [1], "sds"),
        ([[1, -1]], [1, 2], [1, -1], "sds"),
        ([[1, -1]], [1, math.inf], [1, 1], "measured"),
    ],
)
def test_wrong_arguments_are_named(balances: list[list[float]], measured: list[float], sds: list[float], where: str) -> None:
    with pytest.raises(InputError) as caught:
        reconcile_linear(balances, measured, sds)
    assert where in str(caught.value)


def test_a_covariance_that_is_none_is_refused() -> None:
    with pytest.raises(InputError, match="negative variance"):
        reconcile_linear([[1, -1]], [1, 2], [1, 1], cov=[[1, 2], [2, 1]])


def test_the_global_test_in_words() -> None:
    assert [verdict(p, 3) for p in (0.5, 0.03, 0.001)] == ["holds", "doubtful", "does not hold"]
    assert verdict(0.5, 0) == "cannot be told yet"
    assert math.isnan(chi2_tail(3.0, 0))


def test_whitening_gives_unit_covariance() -> None:
    covariance = np.array([[4.0, 1.0], [1.0, 9.0]])
    t = whitener(covariance)
    assert t @ covariance @ t.T == pytest.approx(np.eye(2))


def test_serial_elimination_finds_two_errors_one_after_the_other() -> None:
    found = serial_elimination(np.array([8.0, 0.1, -6.0, 0.2]), np.eye(4))
    assert found == (0, 2)


def test_the_ratio_of_a_cause_that_shows_nothing_is_zero() -> None:
    statistic, size = glr(np.array([3.0, 0.0]), np.array([[1.0, 0.0], [0.0, 0.0]]))
    assert statistic == pytest.approx([9.0, 0.0])
    assert size == pytest.approx([3.0, 0.0])


def test_the_limit_for_many_looks_is_the_sidak_limit() -> None:
    """Closed form: 1 - (1 - 0.05)^(1/1) is the 95 % point, 3.841."""
    assert sidak_limit(1, 0.05) == pytest.approx(3.841459, abs=1e-6)
    assert sidak_limit(28, 0.05) > 9


def test_causes_in_the_same_direction_are_one_class() -> None:
    signatures = np.array([[1.0, 2.0, 0.0], [0.0, 0.1, 1.0]])
    assert same_direction(signatures) == ((0, 1), (2,))


def test_two_causes_that_explain_the_same_are_reported_together() -> None:
    signatures = np.array([[1.0, 1.0], [1.0, 1.0001]])
    found = explain(np.array([5.0, 5.0]), flat_hypotheses(signatures), gain=0.0)
    assert len(found.best.members) == 1
    assert set(found.classes[0]) == {0, 1}


def test_an_account_of_twins_is_never_the_best() -> None:
    twins = flat_hypotheses(np.array([[1.0, 1.0], [0.0, 0.0]]))
    assert account_for(np.array([5.0, 0.0]), twins, (0, 1)).log_evidence == -math.inf
