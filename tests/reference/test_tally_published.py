"""Published and certified cases of tally, named after their source; and its smoother against an independent library."""

from __future__ import annotations

import math
import re
from importlib import resources

import numpy as np
import pytest

from evenstand import tally
from evenstand.solve.repeats import mean_of_repeats, student_t
from evenstand.solve.smoother import COMPILE_FROM, smooth


def _nist(folder: str, name: str, first: int) -> tuple[str, np.ndarray]:
    """Text and data rows of a NIST StRD file in the SciPy wheel; the wheel of some distributions leaves its tests out."""
    path = resources.files("scipy.stats") / "tests" / "data" / folder / name
    if not path.is_file():
        pytest.skip("NOT RUN HERE: this SciPy was installed without its test data")
    text = path.read_text(encoding="utf-8")
    rows = [line.split() for line in text.splitlines()[first - 1 :] if len(line.split()) == 2]
    return text, np.array(rows, dtype=float)


@pytest.mark.parametrize(("name", "first", "rel"), [("SiRstv.dat", 61, 1e-10), ("AtmWtAg.dat", 61, 1e-7), ("SmLs01.dat", 61, 1e-10)])
def test_nist_analysis_of_variance_between_rows_and_tests(name: str, first: int, rel: float) -> None:
    """Certified F; AtmWtAg shares seven leading digits, so double precision carries its F to about 1e-8."""
    text, data = _nist("nist_anova", name, first)
    certified = float(re.search(r"Between \w+ +\d+ +\S+ +\S+ +(\S+)", text).group(1))  # type: ignore[union-attr]
    groups = [data[data[:, 0] == g, 1] for g in np.unique(data[:, 0])]
    found = tally.row_distribution(np.array(groups).T)
    assert found.row_f == pytest.approx(certified, rel=rel)
    assert found.tests == groups[0].size


def test_nist_norris_straight_line() -> None:
    text, data = _nist("nist_linregress", "Norris.dat", 61)
    certified = [float(x) for x in re.search(r"B0 +(\S+) +(\S+)\s+B1 +(\S+) +(\S+)", text).groups()]  # type: ignore[union-attr]
    line = tally.calibration_line(data[:, 1], data[:, 0], 0.0, 1.0)
    ours = [line.start, line.start_sd * line.scatter, line.slope, line.slope_sd * line.scatter]
    assert ours == pytest.approx(certified, rel=1e-10)
    assert line.scatter == pytest.approx(0.884796396144373, rel=1e-10)
    assert line.dof == 34


def test_york_1966_pearsons_data_with_yorks_weights() -> None:
    """Literature results: Williamson -0.48053340745 and 5.47991022403, Reed 5.47991022723, Lybanon 5.47991025."""
    x = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
    y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
    wx = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0])
    wy = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500.0])
    line = tally.calibration_line(x, y, wx**-0.5, wy**-0.5)
    assert line.start == pytest.approx(5.47991022403, abs=5e-12)
    assert line.slope == pytest.approx(-0.48053340745, abs=5e-12)
    assert line.start_sd == pytest.approx(0.294971, abs=5e-7)
    assert line.slope_sd == pytest.approx(0.057985, abs=5e-7)
    back = tally.calibration_line(y, x, wy**-0.5, wx**-0.5)
    assert 1 / back.slope == pytest.approx(line.slope, rel=1e-9)  # the line does not care which way round it is fitted


def test_an_independent_orthogonal_fit_gives_the_same_line() -> None:
    """Outside reference: SciPy's orthogonal distance regression, on seeded lines whose sds differ from point to point in both directions."""
    odr = pytest.importorskip("scipy.odr", reason="NOT RUN HERE: this SciPy has no orthogonal distance regression")
    for seed in range(6):
        rng = np.random.default_rng(seed)
        n = 12
        truth = np.sort(rng.uniform(0, 50, n))
        x_sd, y_sd = rng.uniform(0.05, 1.0, n), rng.uniform(0.05, 1.0, n)
        x, y = truth + x_sd * rng.normal(size=n), 3 + (0.4 + 0.3 * seed) * truth + y_sd * rng.normal(size=n)
        fit = odr.ODR(odr.RealData(x, y, sx=x_sd, sy=y_sd), odr.unilinear, beta0=[1.0, 1.0], sstol=1e-15, partol=1e-15, maxit=500).run()
        line = tally.calibration_line(x, y, x_sd, y_sd)
        assert (line.slope, line.start) == (pytest.approx(fit.beta[0], rel=1e-6), pytest.approx(fit.beta[1], rel=1e-5, abs=1e-6))
        assert line.chi2 == pytest.approx(fit.sum_square, rel=1e-7)


def test_florida_on_farm_manual_plain_t_interval() -> None:
    """Nine values, mean 4.35, standard error 0.266, 50 %: 4.16 to 4.54, t 0.706."""
    sd = 0.266 * 3
    result = tally.catch_test([4.35 - sd, 4.35 + sd] * 4 + [4.35], 1, prior_dof=0, confidence=0.5)
    assert (result.low, result.high) == (pytest.approx(4.16, abs=0.005), pytest.approx(4.54, abs=0.005))
    assert student_t(0.75, 8) == pytest.approx(0.706, abs=0.0005)


def test_seedcalc_coefficient_of_variation_is_28_16422_per_cent() -> None:
    cumulative = np.array([0, 2, 4, 15, 25, 38, 45, 50, 50, 50])
    days = np.repeat(np.arange(1, 11), np.diff(cumulative, prepend=0)).astype(float)
    assert days.mean() == pytest.approx(5.42)
    assert 100 * tally.row_distribution(days).cv == pytest.approx(28.16422, abs=5e-6)


def test_twelve_catches_differ_by_4_4_per_cent_between_n_and_n_less_one() -> None:
    rows = np.linspace(0.9, 1.1, 12)
    ratio = tally.row_distribution(rows).cv / tally.row_distribution(rows, ddof=0).cv
    assert ratio == pytest.approx(1.044, abs=0.0005)


def test_a_plain_t_interval_agrees_with_scipy() -> None:
    from scipy import stats

    x = [5.02, 5.11, 4.97, 5.05]
    ours = mean_of_repeats(x, prior_cv=0.01, prior_dof=0, confidence=0.9)
    low, high = stats.t.interval(0.9, 3, loc=np.mean(x), scale=stats.sem(x))
    assert (ours.low, ours.high) == (pytest.approx(low), pytest.approx(high))


@pytest.mark.parametrize("compiled", [False, True])
def test_statsmodels_smooths_a_long_season_to_1e_12(compiled: bool) -> None:
    """700 steps with fills and looks, seeded: states, covariances and likelihood, plain and compiled."""
    ks = pytest.importorskip("statsmodels.tsa.statespace.kalman_smoother", reason="NOT RUN HERE: statsmodels is not installed")
    rng, n = np.random.default_rng(20), 700
    assert n > COMPILE_FROM
    turns = rng.uniform(40, 60, n)
    fills = np.where(np.arange(n) % 60 == 0, 1500.0, 0.0)
    factor = 0.5 * np.exp(np.cumsum(rng.normal(0, 5e-4, n)))
    mass = 1500 + np.cumsum(fills - factor * turns)
    seen = np.where(np.arange(n) % 30 == 29, mass + rng.normal(0, 8, n), np.nan)
    transition = np.tile(np.eye(2), (n, 1, 1))
    transition[:, 0, 1] = -turns
    shift = np.column_stack([fills, np.zeros(n)])
    noise = np.tile(np.diag([0.01, 6.25e-8]), (n, 1, 1))
    start, start_cov = np.array([1500.0, 0.5]), np.diag([25.0, 2.5e-3])
    ours = smooth(start, start_cov, transition, shift, noise, seen, np.full(n, 64.0), compiled=compiled)

    model = ks.KalmanSmoother(k_endog=1, k_states=2, k_posdef=2)
    model.bind(np.asfortranarray(seen[None, :]))
    model["design"] = np.array([[1.0, 0.0]])
    model["obs_cov"], model["selection"], model["state_cov"] = np.array([[64.0]]), np.eye(2), noise[0]
    model["transition"] = np.moveaxis(np.concatenate([transition[1:], np.eye(2)[None]]), 0, 2)
    model["state_intercept"] = np.concatenate([shift[1:], np.zeros((1, 2))]).T
    model.initialize_known(transition[0] @ start + shift[0], transition[0] @ start_cov @ transition[0].T + noise[0])
    theirs = model.smooth()
    for state in (0, 1):
        want = theirs.smoothed_state[state]
        assert np.abs(ours.mean[:, state] - want).max() <= 1e-12 * np.abs(want).max()
    want_cov = np.moveaxis(theirs.smoothed_state_cov, 2, 0)
    first_cov = np.moveaxis(theirs.predicted_state_cov, 2, 0)[:-1]  # what the subtraction starts from sets what can be kept
    assert (np.abs(ours.cov - want_cov) <= 1e-12 * np.abs(first_cov).max(axis=0)).all()
    assert ours.loglik == pytest.approx(theirs.llf, rel=1e-12)


def test_one_jump_is_what_a_likelihood_ratio_by_brute_force_finds() -> None:
    """An oracle without a filter: the joint normal distribution of all looks, each possible jump fitted by weighted least squares."""
    rng, n = np.random.default_rng(3), 12
    turns = rng.uniform(500, 1500, n)
    put = np.where(np.arange(n) % 3 == 0, 4000.0, 0.0)
    seen = np.where(np.arange(n) % 2 == 1, 2000 + rng.normal(0, 300, n), np.nan)
    transition = np.tile(np.eye(2), (n, 1, 1))
    transition[:, 0, 1] = -turns
    noise = np.zeros((n, 2, 2))
    noise[:, 0, 0], noise[:, 1, 1] = 25.0, 1e-6
    start, start_cov = np.array([0.0, 1.25]), np.diag([100.0, 2.5e-3])
    found = smooth(start, start_cov, transition, np.column_stack([put, np.zeros(n)]), noise, seen, np.full(n, 400.0))

    looks = np.flatnonzero(~np.isnan(seen))
    gain = [np.eye(2)]  # response of x[k] to x[j], built by multiplying transitions
    mean, cov, states = start, start_cov, []
    for k in range(n):
        mean = transition[k] @ mean + np.array([put[k], 0.0])
        cov = transition[k] @ cov @ transition[k].T + noise[k]
        states.append((mean, cov))
        gain.append(transition[k] @ gain[-1])
    full = np.empty((looks.size, looks.size))
    for i, a in enumerate(looks):
        for j, b in enumerate(looks):
            low, high = min(a, b), max(a, b)
            carry = np.eye(2)
            for k in range(low + 1, high + 1):
                carry = transition[k] @ carry
            full[i, j] = (carry @ states[low][1])[0, 0] + (400.0 if a == b else 0.0)
    residual = seen[looks] - np.array([states[k][0][0] for k in looks])
    weight = np.linalg.inv(full)
    assert found.loglik == pytest.approx(
        -0.5 * (residual @ weight @ residual + math.log(np.linalg.det(full)) + looks.size * math.log(2 * math.pi))
    )
    for step in range(looks[-1] + 1):
        signature = (looks >= step).astype(float)  # mass that came in at a step stays in
        var = 1 / (signature @ weight @ signature)
        assert found.jump_var[step] == pytest.approx(var, rel=1e-8)
        assert found.jump[step] == pytest.approx(var * (signature @ weight @ residual), rel=1e-7)
    for i, k in enumerate(looks):
        one = np.eye(looks.size)[i]
        var = 1 / (one @ weight @ one)
        assert found.slip_var[k] == pytest.approx(var, rel=1e-8)
        assert found.slip[k] == pytest.approx(var * (one @ weight @ residual), rel=1e-7)
