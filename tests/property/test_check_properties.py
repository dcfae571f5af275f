"""Laws that reconciliation, the fill check and the slip finder keep for any numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand.check import fill_check, reconcile_linear, typing_slip

SETTINGS = settings(max_examples=60, deadline=None, derandomize=True)


@st.composite
def networks(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A random network: whole-number balances, positive values, some of them not measured."""
    n, m = draw(st.integers(2, 7)), draw(st.integers(1, 4))
    a = np.array(draw(st.lists(st.lists(st.sampled_from([-1.0, 0.0, 1.0]), min_size=n, max_size=n), min_size=m, max_size=m)))
    y = np.array(draw(st.lists(st.floats(1, 1000), min_size=n, max_size=n)))
    sd = np.array(draw(st.lists(st.floats(0.1, 20), min_size=n, max_size=n)))
    hidden = np.array(draw(st.lists(st.booleans(), min_size=n, max_size=n)))
    y[hidden & (np.arange(n) > 0)] = np.nan
    return a, y, sd


@SETTINGS
@given(networks())
def test_reconciled_values_satisfy_every_balance_they_can(network: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    a, y, sd = network
    found = reconcile_linear(a, y, sd)
    known = np.isfinite(found.values)
    closed = ~np.any(a[:, ~known] != 0, axis=1) if (~known).any() else np.ones(a.shape[0], dtype=bool)
    assert np.abs(a[closed][:, known] @ found.values[known]).max(initial=0.0) < 1e-6 * 1000


@SETTINGS
@given(networks())
def test_a_second_reconciliation_changes_nothing(network: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    a, y, sd = network
    first = reconcile_linear(a, y, sd)
    again = reconcile_linear(a, np.where(np.isfinite(y), first.values, np.nan), sd)
    assert again.chi2 == pytest.approx(0.0, abs=1e-6)


@SETTINGS
@given(networks(), st.integers(0, 3))
def test_repeating_balances_changes_neither_chi_square_nor_its_degrees(
    network: tuple[np.ndarray, np.ndarray, np.ndarray], which: int
) -> None:
    a, y, sd = network
    once = reconcile_linear(a, y, sd)
    more = reconcile_linear(np.vstack([a, 3 * a[which % a.shape[0]], a.sum(axis=0)]), y, sd)
    assert more.dof == once.dof
    assert more.chi2 == pytest.approx(once.chi2, rel=1e-6, abs=1e-8)


@SETTINGS
@given(networks())
def test_reconciled_values_are_never_less_well_known(network: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    a, y, sd = network
    found = reconcile_linear(a, y, sd)
    measured = np.isfinite(y)
    assert (found.sds[measured] <= sd[measured] * (1 + 1e-9)).all()
    assert found.dof <= np.linalg.matrix_rank(a)


masses = st.floats(500, 10_000)


@SETTINGS
@given(masses, st.floats(5, 60), st.floats(0, 200), st.floats(0, 500), st.floats(0.5, 4))
def test_worse_knowledge_never_makes_a_fill_check_surer(put: float, area: float, put_sd: float, level_sd: float, more: float) -> None:
    order = {"holds": 0, "cannot-tell": 0, "doubtful": 1, "does-not-hold": 2}
    a = fill_check(area, put, 0, 100, put_sd_kg=put_sd, level_sd_kg=level_sd)
    b = fill_check(area, put, 0, 100, put_sd_kg=put_sd * (1 + more), level_sd_kg=level_sd * (1 + more))
    assert order[b.state] <= order[a.state]


@SETTINGS
@given(masses, st.floats(5, 60), st.floats(1, 200))
def test_a_fill_check_does_not_depend_on_the_unit_of_mass(put: float, area: float, sd: float) -> None:
    a = fill_check(area, put, 0, 100, put_sd_kg=sd, level_sd_kg=sd)
    b = fill_check(area, put * 1000, 0, 100_000, put_sd_kg=sd * 1000, level_sd_kg=sd * 1000)
    assert a.state == b.state
    assert a.size is not None
    assert b.size is not None
    assert a.size.value == pytest.approx(b.size.value, abs=1e-9)


@SETTINGS
@given(st.floats(1, 1000), st.floats(0.02, 50), st.floats(0.0005, 0.05))
def test_slips_are_ranked_within_two_sds_and_their_weights_add_up(asked: float, ratio: float, sd: float) -> None:
    found = typing_slip(asked, asked * ratio, sd=sd)
    assert all(s.z <= 2 for s in found)
    assert [s.weight for s in found] == sorted((s.weight for s in found), reverse=True)
    if found:
        assert sum(s.weight for s in found) == pytest.approx(1)


@SETTINGS
@given(st.integers(10, 9999), st.randoms(use_true_random=False))
def test_two_digits_exchanged_are_found(number: int, random: object) -> None:
    digits = list(str(number))
    digits[-1], digits[-2] = digits[-2], digits[-1]
    other = int("".join(digits))
    if other in (number, 0) or other < 10:
        return
    assert (other - number) % 9 == 0
    assert any(s.kind == "digits" for s in typing_slip(number, other, sd=0.0))
