"""Published networks of data reconciliation.

Inputs are second-hand: read as transcribed in an open collection of benchmarks. The textbook's reconciled values are from memory. Values
computed here by another formula are named regression: they hold our code against itself, not against a source.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from benchmarks.streams import MEASURED as STEAM
from benchmarks.streams import SDS as STEAM_SDS
from benchmarks.streams import balances as steam_balances
from scipy.optimize import minimize

from evenstand.check import reconcile_linear

# Narasimhan and Jordache 2000: heat exchanger with bypass
EXCHANGER = np.array([[1, -1, -1, 0, 0, 0], [0, 1, 0, -1, 0, 0], [0, 0, 1, 0, -1, 0], [0, 0, 0, 1, 1, -1]], dtype=float)
EXCHANGER_MEASURED = np.array([101.91, 64.45, 34.65, 64.2, 36.44, 98.88])

# Mitsas, Measurement 43 (2010) 702-707: twelve streams, six balances
MITSAS = np.array(
    [
        [1, -1, -1, -1, 0, 0, 0, 0, 0, 0, 0, 0],
        [0, 1, 0, 0, -1, -1, -1, 0, 0, 0, 0, 0],
        [0, 0, 1, 0, 1, 1, 1, -1, 0, 0, 0, 0],
        [0, 0, 0, 1, 0, 0, 0, 0, -1, -1, 0, 0],
        [0, 0, 0, 0, 0, 0, 0, 1, 1, 0, -1, 0],
        [0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, -1],
    ],
    dtype=float,
)
MITSAS_MEASURED = np.array([100.49, 29.46, 40.41, 30.05, 15.17, 4.98, 9.92, 70.68, 10.03, 19.82, 81.06, 101.57])
MITSAS_SDS = np.array([1, 0.3, 0.4, 0.3, 0.3, 0.1, 0.2, 0.7, 0.3, 0.4, 0.8, 1])
STEAM_Y, STEAM_SD = np.array(STEAM), np.array(STEAM_SDS)

NETWORKS = {
    "heat exchanger": (EXCHANGER, EXCHANGER_MEASURED, np.ones(6)),
    "twelve streams": (MITSAS, MITSAS_MEASURED, MITSAS_SDS),
    "28 streams": (steam_balances(), STEAM_Y, STEAM_SD),
}


def by_pseudo_inverse(
    a: npt.NDArray[np.float64], y: npt.NDArray[np.float64], sd: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], float]:
    """Another way to the same answer: the pseudo-inverse of the whitened balances projects onto what they allow."""
    whitened = a * sd
    change = np.linalg.pinv(whitened) @ (a @ y)
    return y - sd * change, float(change @ change)


def test_the_heat_exchanger_comes_out_as_the_textbook_prints_it_from_memory() -> None:
    """Source: Narasimhan and Jordache 2000 (memory), two decimals."""
    found = reconcile_linear(EXCHANGER, EXCHANGER_MEASURED, np.ones(6))
    assert found.values == pytest.approx([100.22, 64.50, 35.72, 64.50, 35.72, 100.22], abs=0.005)


def test_the_heat_exchanger_holds_on_four_degrees_of_freedom() -> None:
    """Regression: the closed form gives 6.4075, below the 95 % point of chi-square on 4 degrees of freedom."""
    found = reconcile_linear(EXCHANGER, EXCHANGER_MEASURED, np.ones(6))
    assert (found.dof, found.state) == (4, "holds")
    assert found.chi2 == pytest.approx(6.4075, abs=5e-5)
    assert found.p == pytest.approx(0.1707, abs=5e-5)


def test_the_twelve_streams_come_out_as_the_closed_form_says() -> None:
    """Regression (closed form, not printed in the paper): six figures."""
    found = reconcile_linear(MITSAS, MITSAS_MEASURED, MITSAS_SDS)
    exact = [100.582, 29.8012, 40.7095, 30.0714, 14.9972, 4.9608, 9.8432, 70.5107, 10.146, 19.9254, 80.6567, 100.582]
    assert found.values == pytest.approx(exact, rel=5e-6)
    assert (found.dof, found.state) == (6, "holds")
    assert found.chi2 == pytest.approx(3.891347, abs=5e-7)


def test_parallel_streams_can_never_be_told_apart() -> None:
    """Mitsas: streams 5, 6 and 7 run between the same two nodes; their measurement tests are equal (regression: 0.884)."""
    found = reconcile_linear(MITSAS, MITSAS_MEASURED, MITSAS_SDS)
    assert np.abs(found.z[4:7]) == pytest.approx([0.884] * 3, abs=5e-4)
    assert (4, 5, 6) in found.classes


def test_an_error_in_a_parallel_stream_names_its_class_and_a_reading_that_splits_it() -> None:
    wrong = MITSAS_MEASURED.copy()
    wrong[5] += 2.5
    found = reconcile_linear(MITSAS, wrong, MITSAS_SDS)
    assert found.state == "does not hold"
    assert set(found.suspects[0]) == {4, 5, 6}
    assert "measured again" in found.settle_by
    assert found.settle_by.partition(",")[0] in {"4", "5", "6"}


def test_the_steam_network_is_clean() -> None:
    """Regression: chi-square 10.685693 on 11 degrees of freedom (Serth and Heenan's clean data)."""
    found = reconcile_linear(steam_balances(), STEAM_Y, STEAM_SD)
    assert (found.dof, found.state, found.suspects) == (11, "holds", ())
    assert found.chi2 == pytest.approx(10.685693, abs=5e-7)


@pytest.mark.parametrize("name", NETWORKS)
def test_regression_an_independent_pseudo_inverse_gives_the_same_to_1e_9(name: str) -> None:
    a, y, sd = NETWORKS[name]
    found = reconcile_linear(a, y, sd)
    values, chi2 = by_pseudo_inverse(a, y, sd)
    assert found.values == pytest.approx(values, rel=1e-9)
    assert found.chi2 == pytest.approx(chi2, rel=1e-9)
    assert np.abs(a @ found.values).max() < 1e-9 * np.abs(y).max()


@pytest.mark.parametrize("name", NETWORKS)
def test_regression_a_general_optimiser_finds_no_better_values(name: str) -> None:
    a, y, sd = NETWORKS[name]
    found = reconcile_linear(a, y, sd)
    free = np.linalg.svd(a)[2][np.linalg.matrix_rank(a) :].T
    best = minimize(lambda t: float((((y - free @ t) / sd) ** 2).sum()), free.T @ y, method="BFGS")
    assert found.chi2 <= best.fun * (1 + 1e-6)
    assert found.chi2 == pytest.approx(best.fun, rel=1e-4)
