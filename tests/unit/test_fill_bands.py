"""The fill check's bands against simulated fills, by way of knowing, and the running total against simulated totals."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from benchmarks.fill_bands import WAYS, held, more_rows, shot

from evenstand.check import FillTaken, fill_check, fill_series
from evenstand.check.fills import _reach

FILLS = 250


@pytest.mark.parametrize("way", sorted(WAYS))
def test_a_band_holds_what_went_out_and_the_interval_the_error(way: str) -> None:
    """250 seeded fills a way, right and wrong ones: within four standard deviations of 95 % (the bench runs 2,000 to 93 to 97 %)."""
    slack = 4 * math.sqrt(0.95 * 0.05 / FILLS)
    good = [held(shot(7_000_000 + k, way, "nominal", wrong=False)) for k in range(FILLS)]
    bad = [held(shot(7_000_000 + k, way, "nominal", wrong=True)) for k in range(FILLS)]
    assert abs(sum(g[0] for g in good) / FILLS - 0.95) < slack
    assert abs(sum(b[1] for b in bad) / FILLS - 0.95) < slack
    assert sum(g[2] == "does-not-hold" for g in good) <= 4


@pytest.mark.parametrize(("sd", "half"), [(0.01, 0.0), (0.0, 0.02), (0.01, 0.01), (0.005, 0.02), (0.02, 0.005), (0.003, 0.04)])
def test_the_reach_is_the_quantile_of_a_normal_and_an_even_error_together(sd: float, half: float) -> None:
    """Oracle: the distribution function of the sum, integrated by SciPy."""
    from scipy.integrate import quad
    from scipy.stats import norm

    reach = _reach(sd, half)
    if half == 0 or sd == 0:
        inside = 2 * norm.cdf(reach / sd) - 1 if half == 0 else min(reach / half, 1.0)
    else:
        inside = quad(lambda u: norm.cdf((reach - u) / sd) - norm.cdf((-reach - u) / sd), -half, half, epsabs=1e-12)[0] / (2 * half)
    assert inside == pytest.approx(0.95, abs=2.1e-3)


def test_the_fills_still_needed_are_those_that_a_simulation_needs() -> None:
    rows = {r["way"]: r for r in more_rows(3, runs=20_000)}
    assert rows["brim"]["more"] is None, "one density is behind all of them"
    assert rows["brim"]["sd_after_40"] > 0.03
    for way in ("truck-scale", "pads", "share", "conveyor"):
        row = rows[way]
        assert row["more"] >= 1
        assert row["sd_then"] <= row["goal"] * 1.02, "so many more and 2 % stands at two standard deviations"
        assert row["sd_before"] > row["goal"] * 0.98, "one fewer and it does not yet"


def test_fills_to_the_brim_do_not_average_their_density_out() -> None:
    def total(how: str) -> float:
        fills = [FillTaken(area_ha=33, put_kg=4000, put_sd_kg=160, level_kg=200, level_sd_kg=20, how=how) for _ in range(9)]
        return fill_series(fills, 120, dose_sd=0.0).sd

    assert total("pads") == pytest.approx(total("brim") / 3, rel=0.02)


def test_the_running_total_gets_sharper_with_every_fill() -> None:
    fills = [FillTaken(area_ha=33, put_kg=4000, put_sd_kg=40, level_kg=200, level_sd_kg=60) for _ in range(8)]
    spreads = [sd for _, sd in fill_series(fills, 120, dose_sd=0.004).each]
    assert all(later < sooner for sooner, later in pairwise(spreads))
    assert spreads[-1] < spreads[0] / 3


def test_an_overlap_band_widens_by_less_than_its_own_width() -> None:
    found = fill_check(33, 4000, 0, 120, put_sd_kg=8, level_sd_kg=30, dose_sd=0.01, overlap=(0, 0.03))
    plain = fill_check(33, 4000, 0, 120, put_sd_kg=8, level_sd_kg=30, dose_sd=0.01, overlap=(0, 0))
    wide, narrow = found.high - found.low, plain.high - plain.low
    assert narrow < wide < narrow + 0.03
