"""Ways of counting, how plants are scattered, survival achieved, depth by wing and rank, keep or reseed, and why a stand is thin."""

from __future__ import annotations

import dataclasses
import math
import random

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from evenstand import agronomy
from evenstand.base.errors import InputError, RangeError
from evenstand.base.estimate import Est
from evenstand.base.units import to_metric

# counting -----------------------------------------------------------------------------------------------------------


def test_three_ways_of_counting_one_field_give_one_stand() -> None:
    """80 plants/m² on 25 cm rows: 20 a metre of row; 150 plants over 7.5 m; 19.7 in a hoop of 56 cm."""
    row = agronomy.stand_from_counts([20, 20, 20], agronomy.row_sample_area(1, 0.25))
    wheel = agronomy.stand_from_wheel([7.5, 7.5], 0.25, plants=150)
    hoop = agronomy.stand_from_counts([80 * agronomy.hoop_area(0.56)], agronomy.hoop_area(0.56))
    assert row.plants_m2 == pytest.approx(80)
    assert wheel.plants_m2 == pytest.approx(80)
    assert hoop.plants_m2 == pytest.approx(80)


def test_one_wheel_distance_has_the_exact_interval_of_random_scatter() -> None:
    stand = agronomy.stand_from_wheel([7.5], 0.25, plants=150)
    area = 7.5 * 0.25
    assert stand.low == pytest.approx(stats.gamma.ppf(0.025, 150) / area)
    assert stand.high == pytest.approx(stats.gamma.ppf(0.975, 150) / area)
    assert stand.sd == pytest.approx(math.sqrt(150) / area)
    assert stand.method == "poisson"
    assert "more places" in stand.note


def test_the_published_number_of_plants_is_counted_unless_told_otherwise() -> None:
    assert agronomy.wheel_plants() == 150
    assert agronomy.stand_from_wheel([7.5, 7.4], 0.25).plants_m2 == pytest.approx(
        agronomy.stand_from_wheel([7.5, 7.4], 0.25, plants=150).plants_m2
    )


def test_how_many_places_others_say_to_count() -> None:
    assert (agronomy.places_to_count("hoop").least, agronomy.places_to_count("hoop").most) == (5, None)
    assert agronomy.places_to_count("row").source == "utk-row-length"
    wheel = agronomy.places_to_count("wheel", to_metric(40, "area", "ac"))  # one to 5 to 10 acres
    assert (wheel.least, wheel.most) == (4, 8)
    with pytest.raises(InputError, match="area"):
        agronomy.places_to_count("wheel")
    with pytest.raises(InputError, match="hoop, row or wheel"):
        agronomy.places_to_count("drone")


def test_distances_that_vary_more_than_chance_are_patchy_and_widen_the_interval() -> None:
    even, patchy = agronomy.stand_from_wheel([7.4, 7.5, 7.6], 0.25), agronomy.stand_from_wheel([5.0, 7.5, 10.0], 0.25)
    assert patchy.plants_m2 == pytest.approx(even.plants_m2)
    assert patchy.patchy
    assert not even.patchy
    assert patchy.high - patchy.low > even.high - even.low
    assert patchy.counts_needed > even.counts_needed


@pytest.mark.parametrize(
    ("distances", "options", "error"),
    [
        ([], {}, InputError),
        ([0.0], {}, RangeError),
        ([-3.0], {}, RangeError),
        ([math.inf], {}, RangeError),
        ([7.5], {"plants": 1}, RangeError),
        ([7.5], {"rows": 0}, RangeError),
        ([7.5], {"confidence": 1}, RangeError),
    ],
)
def test_distances_that_cannot_be_are_refused(distances, options, error) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(error):
        agronomy.stand_from_wheel(distances, 0.25, **options)


def test_the_index_of_dispersion_tells_patchy_random_and_even() -> None:
    assert agronomy.dispersion_of([5, 60, 8, 72, 4, 66]).verdict == "patchy"
    assert agronomy.dispersion_of([38, 35, 47, 30, 37, 33]).verdict == "random"
    assert agronomy.dispersion_of([40, 40, 41, 40, 39, 40]).verdict == "even"
    assert agronomy.dispersion_of([40]).verdict == "cannot-tell"
    assert agronomy.dispersion_of([0, 0]).verdict == "cannot-tell"
    found = agronomy.dispersion_of([38, 35, 47, 30, 37, 33])
    assert found.p_patchy == pytest.approx(stats.chi2.sf(5 * found.index, 5))
    assert found.p_patchy + found.p_even == pytest.approx(1)


def test_the_negative_binomial_interval_is_the_profile_of_a_statistics_library() -> None:
    """At both bounds twice the loss of log-likelihood, clumping fitted anew, is t² with n - 1 degrees of freedom."""
    counts = np.array([12, 30, 7, 22, 41, 16, 9, 27])
    low, high = agronomy.negative_binomial_interval(counts.tolist())
    allowed = stats.t.ppf(0.975, 7) ** 2

    def best(mean: float) -> float:
        spread = np.geomspace(0.2, 500, 4000)[:, None]
        return float(stats.nbinom.logpmf(counts[None, :], spread, spread / (spread + mean)).sum(axis=1).max())

    for bound in (low, high):
        assert 2 * (best(counts.mean()) - best(bound)) == pytest.approx(allowed, rel=2e-3)


def test_the_quasi_poisson_interval_is_that_of_a_statistics_library() -> None:
    counts = [12, 30, 7, 22, 41, 16, 9, 27]
    fit = sm.GLM(counts, np.ones(8), family=sm.families.Poisson()).fit(scale="X2")
    half = stats.t.ppf(0.975, 7) * float(fit.bse[0])
    low, high = agronomy.quasi_poisson_interval(counts)
    assert (low, high) == (pytest.approx(math.exp(fit.params[0] - half)), pytest.approx(math.exp(fit.params[0] + half)))


@pytest.mark.parametrize("clumping", [5.0, 40.0, 1e9])
def test_intervals_of_five_patchy_counts_hold_as_often_as_they_say(clumping: float) -> None:
    draw = np.random.default_rng(11)
    places = draw.poisson(draw.gamma(clumping, 30 / clumping, (2000, 5)) if clumping < 1e8 else np.full((2000, 5), 30.0))
    bounds = [agronomy.quasi_poisson_interval(row) for row in places.tolist()]
    held = sum(low <= 30 <= high for low, high in bounds) / 2000
    assert held >= 0.93


def test_an_interval_of_choice_keeps_the_stand_and_names_itself() -> None:
    counts = [12, 30, 7, 22, 41, 16]
    plain = agronomy.stand_from_counts(counts, 0.25)
    for interval in ("quasi-poisson", "negative-binomial", "poisson"):
        other = agronomy.stand_from_counts(counts, 0.25, interval=interval)  # type: ignore[arg-type]
        assert other.plants_m2 == plain.plants_m2
        assert other.method == interval
        assert 0 < other.low < other.plants_m2 < other.high
    with pytest.raises(InputError, match="quasi-poisson"):
        agronomy.stand_from_counts(counts, 0.25, interval="normal")  # type: ignore[arg-type]


def test_a_stand_knows_its_sd_and_the_counts_still_to_make() -> None:
    stand = agronomy.stand_from_counts([40, 70, 55, 62], 0.25)
    assert stand.est.value == stand.plants_m2
    assert stand.est.sd == pytest.approx(np.std([40, 70, 55, 62], ddof=1) / 2 / 0.25)
    assert stand.counts_still_needed == stand.counts_needed - 4
    assert agronomy.stand_from_counts([50, 51, 49, 50, 50], 0.25).counts_still_needed == 0


def test_the_counts_for_a_precision_are_the_fewest_that_reach_it() -> None:
    for cv in (0.05, 0.2, 0.6, 3.0):
        n = agronomy.counts_for_precision(cv)
        assert stats.t.ppf(0.975, n - 1) * cv / math.sqrt(n) <= 0.1
        if n > 2:
            assert stats.t.ppf(0.975, n - 2) * cv / math.sqrt(n - 1) > 0.1
    assert agronomy.counts_for_precision(0.0) == 2
    with pytest.raises(RangeError, match="counts needed"):
        agronomy.counts_for_precision(500.0)


@pytest.mark.parametrize("counts", [[], [4], [0, 0]])
def test_an_interval_of_the_spread_wants_a_spread(counts: list[float]) -> None:
    for bounds in (agronomy.quasi_poisson_interval, agronomy.negative_binomial_interval):
        with pytest.raises(InputError, match="spread"):
            bounds(counts)


# survival achieved --------------------------------------------------------------------------------------------------


def test_survival_is_plants_over_seeds_with_both_errors() -> None:
    got = agronomy.survival_achieved(Est(value=210, sd=12), Est(value=280, sd=8))
    assert got.survival.value == pytest.approx(0.75)
    assert got.survival.sd == pytest.approx(0.75 * math.hypot(12 / 210, 8 / 280), rel=1e-3)
    assert not got.above_seeds


def test_more_plants_than_seeds_is_a_finding() -> None:
    got = agronomy.survival_achieved(Est(value=330, sd=8), Est(value=280, sd=5))
    assert got.above_seeds
    assert "volunteers" in got.note
    assert got.survival.value > 1
    assert not agronomy.survival_achieved(Est(value=285, sd=20), Est(value=280, sd=5)).above_seeds


def past(field: str, *values: float, sd: float = 0.03) -> list[agronomy.FieldSurvival]:
    return [agronomy.FieldSurvival(field=field, season=2020 + i, survival=Est(value=v, sd=sd)) for i, v in enumerate(values)]


PRIOR = Est(value=0.80, sd=0.06)


def test_without_a_result_the_prior_speaks() -> None:
    planned = agronomy.next_survival([], "home", PRIOR)
    assert planned.survival.value == pytest.approx(0.80)
    assert planned.survival.sd == pytest.approx(0.06 * math.sqrt(2))  # the crop's mean and the spread around it
    assert (planned.own, planned.others, planned.own_weight) == (0, 0, 0.0)


def test_own_seasons_update_the_prior_as_a_normal_mean_does() -> None:
    half = 0.5 * 0.06**2
    precision = 1 / (0.06**2 + half) + 2 / (half + 0.03**2)
    planned = agronomy.next_survival(past("home", 0.70, 0.74), "home", PRIOR, field_share=0.5)
    assert planned.survival.value == pytest.approx((0.80 / (0.06**2 + half) + 1.44 / (half + 0.03**2)) / precision)
    assert planned.survival.sd == pytest.approx(math.sqrt(1 / precision + half))
    assert planned.spread_basis == PRIOR.basis


def test_the_spread_over_fields_leaves_counting_errors_out() -> None:
    """Equal errors: the variance of the values less that of one count."""
    values = (0.60, 0.70, 0.80, 0.75)
    spread = agronomy.survival_spread(past("a", *values))
    assert spread == pytest.approx(math.sqrt(np.var(values, ddof=1) - 0.03**2))
    assert agronomy.survival_spread(past("a", 0.70, 0.71, 0.70)) == 0
    assert agronomy.survival_spread(past("a", 0.70, 0.71)) is None


def test_the_spread_is_found_again_in_simulated_seasons() -> None:
    rng = random.Random(5)
    found = [
        agronomy.survival_spread(
            [
                agronomy.FieldSurvival(field=str(i), season=1, survival=Est(value=rng.gauss(0.75, math.hypot(0.08, 0.04)), sd=0.04))
                for i in range(12)
            ]
        )
        for _ in range(300)
    ]
    assert np.mean([f**2 for f in found if f is not None]) == pytest.approx(0.08**2, rel=0.08)


def test_a_field_that_does_worse_is_planned_worse_than_its_neighbours() -> None:
    results = past("home", 0.62, 0.60, 0.64) + past("north", 0.80, 0.82) + past("south", 0.78, 0.84)
    home, new = agronomy.next_survival(results, "home", PRIOR), agronomy.next_survival(results, "new", PRIOR)
    assert home.survival.value < new.survival.value - 0.05
    assert 0.5 < home.own_weight < 1
    assert home.spread_basis == "past results and prior"
    assert new.survival.sd > home.survival.sd


def test_three_seasons_alike_do_not_make_the_fourth_certain() -> None:
    """The prior's variance counts as four results: (4 x 0.06² + 2 x 0) / 6."""
    planned = agronomy.next_survival(past("a", 0.70, 0.70, 0.70), "b", PRIOR)
    spread = 0.06 * math.sqrt(4 / 6)
    assert planned.spread_sd == pytest.approx(spread)
    mean = 1 / (1 / 0.06**2 + 3 / (spread**2 + 0.03**2))
    assert planned.survival.sd == pytest.approx(math.sqrt(mean + spread**2))
    many = agronomy.next_survival(past("a", *[0.70] * 40), "b", PRIOR)
    assert many.spread_sd < 0.02


def test_the_prior_of_a_crop_is_the_middle_of_what_is_published() -> None:
    assert agronomy.survival_prior("canola").value == pytest.approx((0.40 + 0.75) / 2)
    assert agronomy.survival_prior("canola").sd == pytest.approx(0.35 / 4)
    assert agronomy.survival_prior("winter wheat").sd > 0
    with pytest.raises(InputError, match="quinoa"):
        agronomy.survival_prior("quinoa")
    with pytest.raises(RangeError):
        agronomy.next_survival([], "home", Est(value=1.2, sd=0.1))


# depth --------------------------------------------------------------------------------------------------------------


def dug(depths_mm: list[float], **tags) -> list[agronomy.DepthReading]:  # type: ignore[no-untyped-def]
    return [agronomy.DepthReading(depth_m=d / 1000, **tags) for d in depths_mm]


def test_a_shallow_wing_is_found_with_its_interval_and_said() -> None:
    left, right = [31, 29, 33, 30, 32], [40, 39, 41, 38, 42]
    report = agronomy.depth_report(dug(left, wing="left") + dug(right, wing="right"), window_m=(0.038, 0.050), m_per_turn=0.003)
    by_left = next(e for e in report.effects if e.level == "left")
    result = stats.ttest_ind(left, right)
    interval = result.confidence_interval(0.95)
    assert by_left.difference_m * 1000 == pytest.approx(np.mean(left) - np.mean(right))
    assert (by_left.low_m * 1000, by_left.high_m * 1000) == (pytest.approx(interval.low), pytest.approx(interval.high))
    assert by_left.turns == pytest.approx(3)
    assert (
        report.advice[0]
        == "The left wing is 9 mm shallower than the right wing (7 mm to 11 mm): level it, about 3.0 turns deeper by what you typed a turn gives."
    )
    assert report.share_in == pytest.approx(0.5)


def test_turns_are_said_only_when_typed() -> None:
    report = agronomy.depth_report(dug([31, 29, 33], wing="left") + dug([40, 39, 41], wing="right"))
    assert all(e.turns is None for e in report.effects)
    assert "turn" not in report.advice[0]
    assert report.share_in is None


def test_rank_wing_and_track_are_fitted_together() -> None:
    """A made-up tool without scatter but for a pattern that sums to nought: the effects come back as they were put in."""
    rng = np.random.default_rng(2)
    readings = []
    for rank, wing, track in [(r, w, t) for r in (1, 2, 3) for w in ("left", "centre", "right") for t in (True, False)] * 4:
        depth = 40 + {1: 0, 2: -6, 3: 0}[rank] + {"left": 4, "centre": 0, "right": 0}[wing] + (-5 if track else 0) + rng.normal(0, 1)
        readings.append(agronomy.DepthReading(depth_m=depth / 1000, rank=rank, wing=wing, in_track=track))
    report = agronomy.depth_report(readings, window_m=(0.03, 0.05))
    effects = {(e.factor, e.level): e for e in report.effects}
    assert effects[("rank", "2")].difference_m == pytest.approx(-0.006, abs=0.001)
    assert effects[("wing", "left")].difference_m == pytest.approx(0.004, abs=0.001)
    assert effects[("track", "track")].difference_m == pytest.approx(-0.005, abs=0.001)
    assert report.rest_sd_m == pytest.approx(0.001, rel=0.3)
    said = " ".join(report.advice)
    for words in (
        "Rank 2 is 6 mm shallower than the others",
        "The left wing is 4 mm deeper",
        "Seed behind the wheels lies 5 mm shallower than seed between them",
    ):
        assert words in said


def test_scatter_alone_gives_no_advice_nineteen_times_in_twenty() -> None:
    rng = np.random.default_rng(4)
    wrong = 0
    for _ in range(300):
        readings = [
            agronomy.DepthReading(depth_m=float(rng.normal(0.04, 0.004)), rank=i % 4, wing=("left", "centre", "right")[i % 3])
            for i in range(24)
        ]
        wrong += bool(agronomy.depth_report(readings).advice)
    assert wrong <= 300 * 0.08


def test_wing_and_rank_that_were_not_dug_crosswise_are_not_parted() -> None:
    report = agronomy.depth_report(dug([31, 29, 33], wing="left", rank=1) + dug([40, 39, 41], wing="right", rank=2))
    assert report.effects == ()
    assert "crosswise" in report.cannot_tell[0]


def test_a_tag_that_is_sometimes_missing_is_left_out_and_said() -> None:
    report = agronomy.depth_report(dug([31, 29], wing="left") + dug([40, 39], wing=""))
    assert report.effects == ()
    assert "wing was not noted" in report.cannot_tell[0]


def test_too_few_readings_for_the_parts_are_said() -> None:
    report = agronomy.depth_report(dug([31], wing="left") + dug([40], wing="right"))
    assert "Too few" in report.cannot_tell[0]


def test_a_tool_that_runs_shallow_as_a_whole_is_said() -> None:
    report = agronomy.depth_report(dug([20, 21, 19, 22, 18, 20]), window_m=(0.038, 0.050))
    assert report.advice == ("The tool as a whole is shallow: its mean lies 24 mm above the middle of the window. Set all of it deeper.",)
    assert (report.shallow, report.deep, report.share_in, report.share_low) == (1.0, 0.0, 0.0, 0.0)
    deep = agronomy.depth_report(dug([70, 71, 69]), window_m=(0.038, 0.050), profile="prairie")
    assert "deep" in deep.advice[0]
    assert "in below" in deep.advice[0]


def test_small_differences_are_left_alone_when_told_so() -> None:
    readings = dug([31, 29, 33, 30], wing="left") + dug([40, 39, 41, 38], wing="right")
    assert agronomy.depth_report(readings, worth_m=0.02).advice == ()


@pytest.mark.parametrize(
    ("readings", "options", "error"),
    [
        (dug([30]), {}, InputError),
        (dug([30, -2]), {}, RangeError),
        (dug([30, 31]), {"window_m": (0.05, 0.03)}, RangeError),
        (dug([30, 31]), {"m_per_turn": 0}, RangeError),
        (dug([30, 31]), {"confidence": 0}, RangeError),
    ],
)
def test_depths_that_cannot_be_are_refused(readings, options, error) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(error):
        agronomy.depth_report(readings, **options)


# keep or reseed -----------------------------------------------------------------------------------------------------


def counted(plants_ft2: float, spread: float = 0.0) -> agronomy.Stand:
    value, half = to_metric(plants_ft2, "stand", "plants/ft²"), to_metric(spread, "stand", "plants/ft²")
    base = agronomy.stand_from_counts([50, 52, 48], 0.25)
    return dataclasses.replace(base, plants_m2=value, low=value - half, high=value + half)


@pytest.mark.parametrize(
    ("plants", "penn", "potential", "minnesota", "dakota"),
    [
        (33, "keep", (1.0, 1.0), "keep", "keep"),
        (29, "keep", (1.0, 1.0), "keep", "keep"),  # between two bands of full yield
        (21.5, "weigh", (0.90, 1.0), "keep", "keep"),  # between two bands: both
        (20, "weigh", (0.90, 0.95), "keep", "keep"),
        (16, "weigh", (0.75, 0.80), "keep", "keep"),
        (14.5, "weigh", (0.60, 0.80), "not-published", "weigh"),
        (13, "weigh", (0.60, 0.70), "not-published", "weigh"),
        (10, "reseed", (None, None), "not-published", "weigh"),
        (6, "reseed", (None, None), "not-published", "reseed"),
    ],
)
def test_each_publisher_says_its_own_of_wheat(plants, penn, potential, minnesota, dakota) -> None:  # type: ignore[no-untyped-def]
    said = {a.source: a for a in agronomy.keep_or_reseed("wheat", counted(plants)).advice}
    assert said["psu-wheat-stand"].verdict == penn
    assert (said["psu-wheat-stand"].potential_low, said["psu-wheat-stand"].potential_high) == potential
    assert said["umn-stand-2021"].verdict == minnesota
    assert said["ndsu-small-grains"].verdict == dakota


def test_counts_that_leave_two_answers_open_cannot_tell() -> None:
    (advice,) = agronomy.keep_or_reseed("wheat", counted(12, 3), publisher="ndsu").advice
    assert advice.verdict == "cannot-tell"
    assert (advice.at_low, advice.at_stand, advice.at_high) == ("weigh", "weigh", "keep")
    assert "count more" in advice.words


def test_kansas_reckons_in_shares_of_the_stand_wanted() -> None:
    wanted = to_metric(25, "stand", "plants/ft²")
    for share, verdict in ((0.6, "keep"), (0.45, "not-published"), (0.3, "reseed")):
        (advice,) = agronomy.keep_or_reseed("winter wheat", counted(25 * share), publisher="ksu", wanted_m2=wanted).advice
        assert advice.verdict == verdict
    (advice,) = agronomy.keep_or_reseed("winter wheat", counted(20), publisher="ksu").advice
    assert advice.verdict == "cannot-tell"
    assert "what was wanted" in advice.words


def test_canola_documents_stay_apart() -> None:
    said = {a.source: a for a in agronomy.keep_or_reseed("canola", counted(2.5)).advice}
    assert set(said) == {"canola-council-encyclopedia", "canola-council-press", "canola-council-fall"}
    assert all(a.verdict == "weigh" for a in said.values())
    assert "beat a late reseeding" in said["canola-council-encyclopedia"].words
    ideal = {a.source: a.verdict for a in agronomy.keep_or_reseed("canola", counted(9)).advice}
    assert ideal == {"canola-council-encyclopedia": "not-published", "canola-council-press": "not-published", "canola-council-fall": "keep"}


def test_a_crop_nobody_speaks_of_is_said_to_be_unpublished() -> None:
    found = agronomy.keep_or_reseed("lentil", counted(9))
    assert found.advice == ()
    assert "Not published for lentil" in found.note
    with pytest.raises(InputError, match="psu"):
        agronomy.keep_or_reseed("wheat", counted(9), publisher="neighbour")
    with pytest.raises(RangeError):
        agronomy.keep_or_reseed("wheat", counted(9), wanted_m2=0)


def test_a_late_reseeding_has_its_own_source_beside() -> None:
    found = agronomy.keep_or_reseed("barley", counted(9), days_late=10)
    assert found.late is not None
    assert found.late.source == "ndsu-small-grains"
    assert found.late.loss == pytest.approx(0.17)
    assert "own prices" in found.note


# a thin stand -------------------------------------------------------------------------------------------------------

EXPECTED = Est(value=250, sd=12)


def thin(**seedbed) -> agronomy.ThinStand:  # type: ignore[no-untyped-def]
    stand = agronomy.stand_from_counts([38, 41, 36, 40, 37, 39, 40, 36], 0.25)
    return agronomy.weigh_thin_stand(EXPECTED, stand, agronomy.Seedbed(**seedbed))


def test_a_stand_as_expected_has_nothing_to_explain() -> None:
    stand = agronomy.stand_from_counts([61, 64, 60, 63, 62, 59], 0.25)
    found = agronomy.weigh_thin_stand(EXPECTED, stand)
    assert found.state == "holds"
    assert found.causes == ()
    assert "two faults" in found.not_claimed


def test_too_few_counts_cannot_tell_whether_it_is_thin() -> None:
    found = agronomy.weigh_thin_stand(EXPECTED, agronomy.stand_from_counts([40, 60, 55], 0.25))
    assert found.state == "cannot-tell"
    assert found.settle_by.startswith("Count ")
    assert found.causes == ()


def test_nothing_read_blames_nothing_and_names_the_next_reading() -> None:
    found = thin()
    assert found.state == "cannot-tell"
    assert found.told == ""
    assert sum(c.share for c in found.causes) == pytest.approx(1)
    assert [c.share for c in found.causes] == sorted((c.share for c in found.causes), reverse=True)
    assert all(c.share == pytest.approx(c.prior) for c in found.causes)
    assert next(c for c in found.causes if c.cause == "rate").share < 0.1
    assert "meter" in found.not_claimed
    assert found.settle_by


def test_a_proven_rate_that_is_short_is_named_and_one_that_is_right_is_cleared() -> None:
    short = thin(
        asked_rate_kg_ha=120,
        proven_rate_kg_ha=Est(value=76, sd=2),
        moisture="good",
        days_since=25,
        days_to_emerge=12,
        row_fertilizer_kg_ha=0,
    )
    assert short.causes[0].cause == "rate"
    assert "alone would explain it" in short.causes[0].evidence
    right = thin(asked_rate_kg_ha=120, proven_rate_kg_ha=Est(value=119, sd=2))
    assert right.causes[-1].cause == "rate"
    assert "as asked" in right.causes[-1].evidence
    part = thin(asked_rate_kg_ha=120, proven_rate_kg_ha=Est(value=112, sd=1))
    assert "explains a part" in next(c for c in part.causes if c.cause == "rate").evidence


def test_a_dry_seedbed_stands_out_when_the_rest_is_cleared() -> None:
    good = agronomy.depth_report(dug([40, 42, 41, 43, 39, 40, 41, 44, 42, 40]), window_m=(0.038, 0.050))
    found = thin(
        moisture="dry", depth=good, days_since=25, days_to_emerge=12, row_fertilizer_kg_ha=5, row_limit_kg_ha=22,
        asked_rate_kg_ha=120, proven_rate_kg_ha=Est(value=119, sd=2),
    )  # fmt: skip
    assert (found.state, found.told) == ("does-not-hold", "moisture")
    assert found.causes[0].share > 0.5
    assert "a dry seedbed" in found.claim
    assert found.settle_by == found.causes[0].settle_by


def test_two_causes_alike_are_not_told_apart() -> None:
    off = agronomy.depth_report(dug([20, 22, 41, 23, 60, 25]), window_m=(0.038, 0.050))
    found = thin(moisture="dry", depth=off)
    assert found.state == "cannot-tell"
    assert {c.cause for c in found.causes[:2]} == {"depth", "moisture"}
    assert found.settle_by in {c.settle_by for c in found.causes[:2]}


def test_seed_still_coming_and_fertilizer_above_its_limit_speak_up() -> None:
    early = next(c for c in thin(days_since=8, days_to_emerge=14).causes if c.cause == "early")
    assert early.share > early.prior
    over = next(c for c in thin(row_fertilizer_kg_ha=40, row_limit_kg_ha=22).causes if c.cause == "fertilizer")
    assert over.share > over.prior
    unknown = next(c for c in thin(row_fertilizer_kg_ha=40).causes if c.cause == "fertilizer")
    assert not unknown.read
    middling = next(c for c in thin(row_fertilizer_kg_ha=15, row_limit_kg_ha=22).causes if c.cause == "fertilizer")
    assert middling.read
    assert middling.share == pytest.approx(middling.prior)


def test_volunteers_make_a_stand_thinner_not_thicker() -> None:
    assert thin(volunteers_m2=20).missing.value > thin().missing.value


@pytest.mark.parametrize("seedbed", [{"moisture": "soggy"}, {"days_since": -1}, {"volunteers_m2": -1}, {"asked_rate_kg_ha": 0}])
def test_a_seedbed_that_cannot_be_is_refused(seedbed) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError):
        thin(**seedbed)
