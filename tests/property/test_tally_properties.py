"""Mass in equals mass used and left; splits keep the ticket; catches and balances behave under scaling and order."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand import tally
from evenstand.base.estimate import Est
from evenstand.machine import dose_ratio
from evenstand.solve.repeats import mean_of_repeats
from evenstand.solve.smoother import smooth

quick = settings(deadline=None, derandomize=True)
masses = st.floats(0.1, 30_000)


@quick
@given(masses, masses, st.floats(0, 400), st.floats(0.1, 300))
def test_what_is_put_in_is_used_or_left(before: float, put: float, dose: float, area: float) -> None:
    left = tally.remaining_mass(before, put, dose, area)
    assert tally.used_mass(before, put, left) == pytest.approx(dose * area, abs=1e-6)
    assert tally.field_dose(before, put, left, area) == pytest.approx(dose, abs=1e-6 + 1e-9 * (before + put) / area)


@quick
@given(st.floats(0.05, 3), st.floats(0.8, 1.25), st.floats(0.9, 1.1), st.floats(0.9, 1.1), st.floats(20, 300))
def test_the_true_factor_comes_back_from_the_dose_it_gave(typed: float, off: float, width: float, distance: float, asked: float) -> None:
    true = typed * off
    dose = asked * dose_ratio(
        typed_factor_kg_rev=typed, true_factor_kg_rev=true, typed_width_m=1.0, true_width_m=width, distance_ratio=distance
    )
    assert tally.factor_from_dose(typed, dose, asked, width, distance) == pytest.approx(true, rel=1e-9)


@quick
@given(st.floats(0.05, 3), st.floats(1, 500), st.floats(0.05, 1))
def test_expected_catch_and_catch_test_are_two_ways_of_one_sum(factor: float, turns: float, share: float) -> None:
    band = tally.expected_catch(Est(value=factor), turns, share=share, tare_kg=0.2)
    back = tally.catch_test([band.expected_kg], turns, share=share, tare_kg=0.2)
    assert back.factor_kg_rev == pytest.approx(factor, rel=1e-6)
    assert band.low_kg < band.expected_kg < band.high_kg
    assert tally.turns_for_catch(band.product_kg, factor, share) == pytest.approx(turns, rel=1e-9)


@quick
@given(st.lists(st.floats(500, 9000), min_size=1, max_size=6), st.lists(st.floats(1, 900), min_size=6, max_size=6), st.floats(0.5, 1.5))
def test_a_split_keeps_the_ticket_and_makes_no_fill_less_certain(fills: list[float], sds: list[float], off: float) -> None:
    guesses = [Est(value=f, sd=s) for f, s in zip(fills, sds, strict=False)]
    split = tally.split_ticket(Est(value=sum(fills) * off), guesses)
    assert split.total.value == pytest.approx(sum(fills) * off, rel=1e-9)
    assert split.total.sd == pytest.approx(0, abs=1e-3)
    assert all(p.sd <= g.sd * (1 + 1e-9) for p, g in zip(split.parts, guesses, strict=True))
    assert split.off_kg == pytest.approx(sum(fills) * (off - 1), abs=1e-6)


@quick
@given(st.lists(st.floats(0.9, 1.1), min_size=3, max_size=60), st.floats(0.01, 100), st.randoms(use_true_random=False))
def test_row_order_and_unit_do_not_matter_to_evenness(rows: list[float], times: float, random) -> None:  # type: ignore[no-untyped-def]
    a = tally.row_distribution(rows)
    mixed = [r * times for r in rows]
    random.shuffle(mixed)
    b = tally.row_distribution(mixed)
    assert b.cv == pytest.approx(a.cv, rel=1e-9, abs=1e-12)
    assert b.range == pytest.approx(a.range, rel=1e-9, abs=1e-12)


@quick
@given(st.integers(1, 8), st.integers(0, 2**32 - 1))
def test_more_repeats_of_the_same_spread_narrow_the_interval(n: int, seed: int) -> None:
    x = 5 + 0.05 * np.random.default_rng(seed).standard_normal(n)
    a = mean_of_repeats(x, prior_cv=0.015)
    b = mean_of_repeats(np.tile(x, 4), prior_cv=0.015)
    assert b.mean == pytest.approx(a.mean)
    assert b.high - b.low < a.high - a.low
    assert a.low <= a.mean <= a.high


@settings(quick, max_examples=30)
@given(st.integers(2, 25), st.integers(0, 2**32 - 1))
def test_a_step_cut_in_two_gives_the_same_balance(n: int, seed: int) -> None:
    """Drift is counted by turns, so where nobody looks it does not matter how often a line is written."""
    rng = np.random.default_rng(seed)
    whole, cut, mass = [], [], 3000.0
    for _ in range(n):
        mass += 900 - 1.25 * 700
        level = mass + 20 * rng.standard_normal()
        whole.append(tally.BalanceStep(turns=700, put_kg=900, put_sd_kg=9, level_kg=level, level_sd_kg=20))
        cut += [tally.BalanceStep(turns=300), tally.BalanceStep(turns=400, put_kg=900, put_sd_kg=9, level_kg=level, level_sd_kg=20)]
    prior = tally.BalancePrior(mass_kg=3000, mass_sd_kg=50, factor_kg_rev=1.25, factor_sd=0.05)
    a, b = tally.balance(whole, prior, q_factor=2e-4), tally.balance(cut, prior, q_factor=2e-4)
    assert b.factor_kg_rev[1::2] == pytest.approx(a.factor_kg_rev, rel=1e-3)
    assert b.mass_kg[-1] == pytest.approx(a.mass_kg[-1], abs=1.0)


@settings(quick, max_examples=25)
@given(st.integers(1, 40), st.integers(0, 2**32 - 1))
def test_plain_and_compiled_smoother_are_twins_and_covariances_stay_sound(n: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    transition = np.tile(np.eye(2), (n, 1, 1)) + 0.2 * rng.standard_normal((n, 2, 2))
    root = 0.3 * rng.standard_normal((n, 2, 2))
    noise = root @ np.swapaxes(root, 1, 2)
    seen = np.where(rng.random(n) < 0.6, rng.standard_normal(n), np.nan)
    given_ = (np.zeros(2), np.eye(2), transition, np.zeros((n, 2)), noise, seen, np.full(n, 0.5))
    a, b = smooth(*given_, compiled=False), smooth(*given_, compiled=True)
    for name in ("mean", "cov", "innovation", "jump", "slip_var"):
        assert np.allclose(getattr(a, name), getattr(b, name), rtol=1e-9, atol=1e-12, equal_nan=True)
    assert (np.linalg.eigvalsh(a.cov) > -1e-9 * np.abs(a.cov).max()).all()
    assert (np.diagonal(a.cov, axis1=1, axis2=2) <= np.diagonal(a.filtered_cov, axis1=1, axis2=2) * (1 + 1e-9) + 1e-12).all()


@quick
@given(st.floats(0.5, 2.0), st.floats(-50, 50), st.lists(st.floats(1, 5000), min_size=3, max_size=20, unique=True))
def test_points_on_a_line_give_that_line(slope: float, start: float, x: list[float]) -> None:
    spread = max(x) - min(x)
    if spread < 1:
        return
    line = tally.calibration_line(x, [start + slope * v for v in x], 1.0, 2.0)
    assert line.slope == pytest.approx(slope, rel=1e-6)
    assert line.start == pytest.approx(start, abs=1e-3 * (1 + max(x) / spread))
    assert line.chi2 == pytest.approx(0, abs=1e-6)
    assert math.isfinite(line.start_sd)
