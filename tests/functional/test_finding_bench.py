"""The bench of faults, its own machinery: the fit, the ideal test, two faults, looks through the day. Small samples; the bars are the bench's."""

from __future__ import annotations

import math

import numpy as np
import pytest
from benchmarks.faults import one_run
from benchmarks.hardships import QuietRun, day_until, kaplan_meier, pair_run, quiet_run, quiet_table, quiet_tasks, really_off, score_pair
from benchmarks.plain_days import BINS, plain_day
from benchmarks.power import BUDGET_Z, Trial, check_plain, ideal, ideal_nine, nine_in_ten, power_cell, rows_of, scaled_inverse, trial
from benchmarks.seasons import coverage, season
from scipy import stats

from evenstand.desk.days import demo_day
from evenstand.model import Finding


def test_a_logistic_fit_finds_the_size_that_is_found_nine_times_in_ten() -> None:
    rng = np.random.default_rng(1)
    size = rng.uniform(0.01, 0.15, 4000)
    chance = 1 / (1 + np.exp(-6 * np.log(size / 0.05)))
    fit = nine_in_ten(size, rng.random(4000) < chance)
    true = 0.05 * 9 ** (1 / 6)
    assert fit.size == pytest.approx(true, rel=0.03)
    assert fit.low is not None
    assert fit.high is not None
    assert fit.low < true < fit.high


def test_a_fit_without_foot_or_top_says_nothing() -> None:
    size = np.linspace(0.01, 0.15, 60)
    assert nine_in_ten(size, np.ones(60, dtype=bool)).size is None
    assert nine_in_ten(size, np.zeros(60, dtype=bool)).size is None
    assert nine_in_ten(size, size > 0.145).size is None, "beyond the sizes tried"


def test_the_ideal_test_knows_the_true_covariance() -> None:
    """Its standard deviation from moving each noise a little equals that of the residuals over many redrawn days."""
    seed, faults = 42, {"distance": 0.05}
    day = plain_day(seed, "tape", "nominal", faults)
    _, sd = ideal(seed, day, lambda noise: plain_day(seed, "tape", "nominal", faults, fixed=noise))
    rng, rows = np.random.default_rng(2), []
    for _ in range(1500):
        noise = {k: float(rng.normal()) for k in day.noise}
        rows.append(rows_of(plain_day(seed, "tape", "nominal", faults, fixed=noise))[0])
    _, signatures, variants, _ = rows_of(day)
    f, covariance = signatures[:, variants.index("distance")], np.cov(np.array(rows).T)
    assert sd == pytest.approx((f @ scaled_inverse(covariance) @ f) ** -0.5, rel=0.1)


def test_the_ideal_nine_in_ten_is_the_budget_plus_1_28_standard_deviations() -> None:
    def one(sd: float) -> Trial:
        return Trial(
            kind="factor", cause="factor:A", reading_set="all", world="nominal", size=0.05, real=0.05, score="silent", ideal=False,
            ideal_sd=sd, sized=None, named=(), seconds=0.0,
        )  # fmt: skip

    assert ideal_nine([one(0.01)] * 5) == pytest.approx((BUDGET_Z + stats.norm.isf(0.1)) * 0.01, rel=1e-6)
    assert ideal_nine([one(0.01)] * 5 + [one(math.inf)] * 5) is None
    assert stats.norm.sf(BUDGET_Z) * 2 == pytest.approx(0.003, rel=0.01)


def test_a_large_fault_is_found_by_the_check_and_by_the_ideal_test() -> None:
    runs = [trial((900 + i, "width", "tape", "nominal", None)) for i in range(22)]
    large = [r for r in runs if abs(r.size) > 0.03]
    assert len(large) > 4
    assert all(r.ideal and r.score.startswith("right") for r in large)
    assert power_cell(runs)["verdict"] in ("within", "all found")


def test_no_reading_that_could_tell_means_that_no_test_could() -> None:
    runs = [trial((950 + i, "width", "three", "nominal", None)) for i in range(4)]
    assert power_cell(runs)["verdict"] == "no test could"
    told = [trial((970 + i, "slip", "tape", "nominal", None)) for i in range(3)]
    assert power_cell(told)["verdict"] == "too few days"
    assert all(r.score in ("silent", "cannot tell") for r in runs)


def test_a_plain_day_is_its_seed_and_its_noise_and_its_bins_balance() -> None:
    assert plain_day(5, "all").readings == plain_day(5, "all").readings
    assert plain_day(5, "all").readings != plain_day(6, "all").readings
    day = plain_day(5, "all", faults={"factor:A": 0.1})
    assert day.real["factor:A"] == pytest.approx(0.1, abs=0.06)
    assert all(r.value > 0 for r in day.readings)
    clean = plain_day(5, "all")
    assert {r.quantity: r.value for r in clean.readings}["distance_taped"] == {r.quantity: r.value for r in day.readings}["distance_taped"]
    assert set(day.asked) == set(BINS)


def test_the_truth_of_a_plain_day_is_never_shown_to_the_check() -> None:
    """The check gets readings, fills, what is typed and asked; the same day with another truth written in is checked alike."""
    from dataclasses import replace

    day = plain_day(8, "log", faults={"factor:D": 0.1})
    assert check_plain(day).findings == check_plain(replace(day, real={}, variant="", ills=("?",), noise={})).findings


@pytest.mark.parametrize(
    ("suspects", "expected"),
    [
        ([("width",), ("factor:A",)], "both alone"),
        ([("width", "distance"), ("factor:A",)], "both, in a class"),
        ([("width",)], "one of two"),
        ([("width", "factor:A"), ("width",)], "both, in a class"),
        ([("width",), ("width",)], "one of two"),
        ([("width",), ("slip:A",)], "wrong"),
        ([], "silent"),
    ],
)
def test_the_score_of_two_faults(suspects: list[tuple[str, ...]], expected: str) -> None:
    said = [Finding(claim="c", state="does-not-hold", suspects=(s,)) for s in suspects]
    assert score_pair(said, frozenset({"width", "factor:A"})) == expected


def test_two_faults_that_can_be_told_are_both_found() -> None:
    runs = [pair_run((1000 + i, "all", "nominal")) for i in range(8)]
    told = [r for r in runs if r.told]
    assert len(told) >= 3
    assert sum(r.score.startswith("both") for r in told) >= 0.8 * len(told)


def test_a_hostile_day_says_what_was_ill_and_a_clean_one_is_quiet() -> None:
    runs = [quiet_run((3000 + i, "log", w)) for w in ("nominal", "hostile") for i in range(8)]
    table = quiet_table(runs)
    assert table["nominal"]["alarms"] == 0
    assert any(r.ills for r in runs if r.world == "hostile")
    assert not any(r.ills for r in runs if r.world == "nominal")


def test_a_day_that_the_world_itself_made_bad_is_a_fault_and_no_clean_day() -> None:
    """A seed meter 3 % off, a fertilizer meter 5 %: below that the day is clean, and an alarm on it is a false one."""
    kinds = {"A": "fertilizer", "D": "seed"}
    assert really_off({"factor:A": 0.049, "factor:D": -0.029, "distance": 0.029, "fan": 0.059, "overlap": 0.3}, kinds) == ()
    assert really_off({"factor:A": -0.051, "factor:D": 0.031, "fan": -0.061}, kinds) == ("factor:A", "factor:D", "fan")
    assert really_off({"distance": -0.031, "width": 0.02, "fill-missed:A": 900.0}, kinds) == ("distance",)

    def run(named: tuple[str, ...], off: tuple[str, ...]) -> QuietRun:
        return QuietRun(world="rough", reading_set="log", ills=(), named=named, off=off)

    runs = [
        run((), ()), run(("factor:A|lid:A",), ()), run(("lid:D|factor:D",), ("factor:D",)), run(("factor:A",), ("factor:D",)),
        run(("factor:D", "width"), ("factor:D",)), run((), ("distance",)),
    ]  # fmt: skip
    found = quiet_table(runs)["rough"]
    assert (found["days"], found["alarms"]) == (6, 4)
    assert (found["clean_days"], found["clean_alarms"]) == (2, 1)
    assert (found["off_days"], found["off_found"], found["off_wrong"]) == (4, 1, 2)


def test_clean_rough_days_alarm_no_more_than_three_in_a_hundred() -> None:
    """A sample of the bench: no more alarms than a share of 3 % would exceed once in a thousand."""
    table = quiet_table([quiet_run(task) for task in quiet_tasks(7000, 140, "rough")])["rough"]
    assert table["clean_days"] > 100
    assert table["clean_alarms"] <= stats.binom.ppf(1 - 1e-3, table["clean_days"], 0.03)


def test_stated_intervals_hold_what_really_was() -> None:
    """Small sample of the bench's seasons: no fewer than a share that 95 % would fall below once in ten thousand."""
    errors = [season((9000 + i, "nominal", 0)).given for i in range(24)]
    found = coverage(errors)
    assert found["n"] >= 20
    assert found["share"] >= stats.binom.ppf(1e-4, found["n"], 0.95) / found["n"]
    assert 0.5 < found["spread"] < 1.6, "neither far too wide nor far too narrow"


def test_the_bench_compares_a_size_with_what_really_was_so() -> None:
    runs = [one_run((600_000 + i, "distance", "all", "rough"), step_s=10.0) for i in range(8)]
    errors = [r.size_error_sd for r in runs if r.size_error_sd is not None]
    assert len(errors) >= 4
    assert max(abs(e) for e in errors) < 3


def test_kaplan_and_meier_by_hand() -> None:
    """Five days: found after 1, 2 and 4 looks, never on two that had 2 and 5."""
    median, curve = kaplan_meier([1, 2, 2, 4, 5], [True, True, False, True, False])
    assert curve == [(1, pytest.approx(0.8)), (2, pytest.approx(0.6)), (4, pytest.approx(0.3))]
    assert median == 4
    assert kaplan_meier([3.0], [False]) == (None, [])


def test_half_a_day_knows_nothing_of_the_evening() -> None:
    day, _, _, _ = demo_day(3, [], optional="all")
    end = float((day.trail.t_ms[-1] - day.trail.t_ms[0]) / 1000)
    half = day_until(day, end / 2)
    names = {r.quantity for r in half["readings"]}
    assert not names & {"boundary_area", "delivered:A", "level:A"}
    assert {"area_counter", "width_tape"} <= names
    assert half["trail"].n == pytest.approx(day.trail.n / 2, rel=0.02)
    assert all(e.at_s <= end / 2 for e in half["events"])
    area = next(r.value for r in half["readings"] if r.quantity == "area_counter")
    assert 0.2 * day.trail.area_ha[-1] < area < 0.8 * day.trail.area_ha[-1]
