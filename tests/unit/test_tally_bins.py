"""The season of a bin: masses, factors by lot and setting, learned levels, run-out, and whether the looks fit."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from benchmarks.tally_seasons import bin_season, judged

from evenstand.base.errors import RangeError
from evenstand.base.estimate import Est
from evenstand.tally import BinPrior, BinStep, bins, field_factor, innovation_test, product_ratio, run_out, run_out_of, tally_bin

TYPED = Est(value=1.2, sd=0.06)


def season(*, lots: tuple[float, ...] = (1.25, 1.19), fills: int = 14, light: float = 190.0, fresh: float = 0.0, seed: int = 1):
    """Weighed fills, sown down to the low-level light and a little on; the lot changes half way. Steps, and what is left."""
    rng, mass, steps = np.random.default_rng(seed), 0.0, []

    def sow(kg: float, f: float, since: float) -> float:
        parts = np.full(400, kg / 400)
        return float((parts / (f * (1 + fresh * np.exp(-(since + np.cumsum(parts)) / 1000.0)))).sum())

    for k in range(fills):
        which = k * len(lots) // fills
        name = f"lot {max(0, k - 1) * len(lots) // fills}"
        if k:
            f = lots[int(name[-1])]
            kg = mass - light
            steps.append(BinStep(turns=sow(kg, f, 0.0), event="low-light", level_sd_kg=8.0, meter=name))
            steps.append(BinStep(turns=sow(40.0, f, kg), meter=name))
            mass = light - 40.0
        put = 4000.0 + float(rng.uniform(-200, 200))
        mass += put
        steps.append(BinStep(turns=0.0, put_kg=put + float(rng.normal(0, 8)), put_sd_kg=8.0, meter=f"lot {which}"))
    f = lots[-1]
    steps.append(BinStep(turns=sow(1500.0, f, 0.0), meter=f"lot {len(lots) - 1}"))
    return steps, mass - 1500.0


def prior(**factors: Est) -> BinPrior:
    return BinPrior(mass_kg=0.0, mass_sd_kg=5.0, factors=factors or {"lot 0": TYPED, "lot 1": TYPED})


def test_the_smoothing_is_the_least_squares_answer_of_the_whole_season_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Oracle: every unknown (start, factors, levels, settling, filling, each fill's error, each drift and wobble) in one normal posterior."""
    drift, wobble = 0.004, 0.003
    monkeypatch.setattr(bins, "DRIFTS", (drift,))
    monkeypatch.setattr(bins, "WOBBLES", (wobble,))
    steps, _ = season(fills=5)
    steps[4] = replace(steps[4], put_sd_kg=6.0, put_shared_kg=60.0)
    steps.append(BinStep(turns=0.0, level_kg=2700.0, level_sd_kg=40.0, meter="lot 1"))
    told, before = tally_bin(steps, prior()), prior()
    names = ["lot 0", "lot 1", "filling", "settling", "light", "rest"]
    q = drift * 1.2 / math.sqrt(float(np.median([s.put_kg for s in steps if s.put_kg])) / 1.2)
    blocks = [np.diag([25.0]), np.diag([0.06**2, 0.06**2, 1.0, 0.012**2, before.light_kg.sd**2, before.rest_kg.sd**2])]
    for s in steps:
        t = s.turns
        walk = q**2 * np.array([[t**3 / 3, -(t**2) / 2], [-(t**2) / 2, t]]) if t else np.zeros((2, 2))
        blocks.append(walk + np.diag([s.put_sd_kg**2 + (wobble * 1.2 * t) ** 2, 0.0]))
    size = sum(b.shape[0] for b in blocks)
    cov, at = np.zeros((size, size)), 0
    for b in blocks:
        cov[at : at + len(b), at : at + len(b)] = b
        at += len(b)
    mass, d, mean_mass = np.zeros(size), np.zeros(size), 0.0
    mass[0], since, used, rows, seen, noise = 1.0, None, "lot 0", [], [], []
    settled = bins_settled(steps)
    masses, factors, means = [], [], []
    for k, s in enumerate(steps):
        if s.turns > 0 and s.meter != used:
            d, used = np.zeros(size), s.meter
        new = mass - s.turns * d
        new[1 + names.index(used)] -= s.turns
        if since is not None:
            new[1 + names.index("settling")] -= settled * (math.exp(-since / settled) - math.exp(-(since + s.turns) / settled))
            since += s.turns
        new[1 + names.index("filling")] += s.put_shared_kg
        new[7 + 2 * k] += 1.0
        d = d.copy()
        d[8 + 2 * k] += 1.0
        mean_mass += s.put_kg - 1.2 * s.turns
        mass, since = new, 0.0 if s.put_kg else since
        if s.event or s.level_kg is not None:
            row = mass.copy()
            if s.event:
                row[1 + names.index("light")] -= 1.0
            rows.append(row)
            seen.append((before.light_kg.value if s.event else s.level_kg) - mean_mass)
            noise.append(s.level_sd_kg**2)
        base = np.zeros(size)
        base[1 + names.index(used)] = 1.0
        masses.append(mass)
        factors.append(base + d)
        means.append(mean_mass)
    h = np.array(rows)
    gain = cov @ h.T @ np.linalg.inv(h @ cov @ h.T + np.diag(noise))
    post, post_cov = gain @ np.array(seen), cov - gain @ h @ cov
    for found, found_sd, unit, mid in (
        (told.mass_kg, told.mass_sd, np.array(masses), np.array(means)),
        (told.factor_kg_rev, told.factor_sd, np.array(factors), np.full(len(steps), 1.2)),
    ):
        assert found == pytest.approx(mid + unit @ post, rel=1e-9, abs=1e-9)
        assert found_sd == pytest.approx(np.sqrt(np.einsum("ki,ij,kj->k", unit, post_cov, unit)), rel=1e-6)
    assert told.light.value == pytest.approx(before.light_kg.value + post[1 + names.index("light")], rel=1e-9)
    assert told.light.sd == pytest.approx(math.sqrt(post_cov[5, 5]), rel=1e-9)
    turns = np.array([s.turns if s.meter == "lot 0" else 0.0 for s in steps])
    fresh = np.zeros(size)
    since = None
    for s in steps:
        if since is not None:
            if s.meter == "lot 0":
                fresh[4] += settled * (math.exp(-since / settled) - math.exp(-(since + s.turns) / settled))
            since += s.turns
        since = 0.0 if s.put_kg else since
    mean_row = (turns @ np.array(factors) + fresh) / turns.sum()
    assert told.factors["lot 0"].value == pytest.approx(1.2 + mean_row @ post, rel=1e-9)
    assert told.factors["lot 0"].sd == pytest.approx(math.sqrt(mean_row @ post_cov @ mean_row), rel=1e-5)


def bins_settled(steps: list[BinStep]) -> float:
    return 0.25 * float(np.median([s.put_kg for s in steps if s.put_kg])) / 1.2


def test_factors_of_both_lots_and_the_light_are_learned_from_weighed_fills_and_the_light_alone() -> None:
    steps, left = season()
    t = tally_bin(steps, prior())
    assert t.factors["lot 0"].value == pytest.approx(1.25, abs=0.006)
    assert t.factors["lot 1"].value == pytest.approx(1.19, abs=0.006)
    assert t.factors["lot 0"].sd < 0.01
    assert abs(t.light.value - 190) < 2 * t.light.sd < 80
    assert abs(t.left.value - left) < 2 * t.left.sd
    assert t.bad_tickets == ()
    assert t.test.holds


def test_a_lot_that_comes_back_is_known_from_before() -> None:
    steps, _ = season(lots=(1.25, 1.19, 1.25))
    same = [replace(s, meter="lot 0" if s.meter == "lot 2" else s.meter) for s in steps]
    back = tally_bin(same, prior())
    anew = tally_bin(steps, prior(**{f"lot {k}": TYPED for k in range(3)}))
    assert back.factors["lot 0"].sd < 0.9 * anew.factors["lot 0"].sd


def test_what_a_fresh_fill_gives_more_is_learned_where_looks_split_the_fill() -> None:
    rng, f, mass, steps = np.random.default_rng(3), 1.25, 0.0, []
    for _ in range(30):
        steps.append(BinStep(turns=0.0, put_kg=4000.0, put_sd_kg=4.0, meter="lot 0"))
        mass += 4000.0
        for turns in (300.0, 600.0, 1200.0):
            since = sum(s.turns for s in steps[::-1][: next(i for i, s in enumerate(steps[::-1]) if s.put_kg)])
            settled = 0.25 * 4000 / 1.2
            mass -= f * turns + 0.03 * f * settled * (math.exp(-since / settled) - math.exp(-(since + turns) / settled))
            steps.append(BinStep(turns=turns, level_kg=mass + float(rng.normal(0, 3)), level_sd_kg=3.0, meter="lot 0"))
        steps.append(BinStep(turns=0.0, meter="lot 0"))
    t = tally_bin(steps, prior(**{"lot 0": TYPED}))
    assert t.settling.value == pytest.approx(0.03, abs=0.01)
    assert t.settling.value > 3 * t.settling.sd


def test_a_fill_left_out_is_named_with_its_size_and_what_else_it_might_be() -> None:
    steps, left = season()
    k = next(i for i, s in enumerate(steps) if s.put_kg and i > 8)
    lost = steps[k].put_kg
    t = tally_bin([*steps[:k], *steps[k + 1 :]], prior())
    (bad,) = t.bad_tickets
    assert bad.kind in ("unrecorded", "fill")
    assert abs(bad.size_kg - lost) < 3 * bad.sd_kg < 0.2 * lost
    assert abs(t.left.value - left) < 3 * t.left.sd
    assert not tally_bin(steps, prior()).bad_tickets


def test_a_look_off_by_a_tonne_is_taken_out_and_the_rest_stands() -> None:
    steps, left = season()
    steps.insert(
        9, BinStep(turns=0.0, level_kg=float(tally_bin(steps, prior()).mass_kg[8]) + 1000.0, level_sd_kg=50.0, meter=steps[8].meter)
    )
    t = tally_bin(steps, prior())
    assert [(b.kind, b.step) for b in t.bad_tickets] == [("level", 9)]
    assert t.bad_tickets[0].size_kg == pytest.approx(1000, abs=3 * t.bad_tickets[0].sd_kg)
    assert abs(t.left.value - left) < 3 * t.left.sd


def test_fills_to_the_brim_share_their_density_and_say_so() -> None:
    steps, _ = season()
    own = [replace(s, put_sd_kg=120.0) if s.put_kg else s for s in steps]
    shared = [replace(s, put_sd_kg=8.0, put_shared_kg=120.0) if s.put_kg else s for s in steps]
    apart, together = tally_bin(own, prior()).factors["lot 0"].sd, tally_bin(shared, prior()).factors["lot 0"].sd
    assert together > 1.5 * apart


@pytest.mark.parametrize("world", ["nominal"])
def test_intervals_hold_over_seeded_seasons(world: str) -> None:
    """80 seasons, seven quantities: together between 91 and 99.5 % (the bench runs 2,000)."""
    seasons = [judged((5_000_000 + k, world)) for k in range(80)]
    errors = [e for s in seasons for e in s["errors"].values() if e is not None]
    held = np.mean([abs(e) <= 1.96 for e in errors])
    assert 0.91 < held < 0.995
    assert len(errors) > 450
    assert not any(s["alarm"] for s in seasons if not s["missed"])
    assert sum(s["named"] for s in seasons) >= 15


def test_where_it_runs_out_is_a_third_sooner_with_a_third_less_in_it() -> None:
    steps, left = season()
    t = tally_bin(steps, prior())
    out = run_out(t, 120.0, pace_ha_h=Est(value=9.0, sd=0.5))
    assert out.low_ha < out.ha < out.high_ha
    assert out.ha == pytest.approx((left - 60) / 1.19 / 120, abs=1.0)
    assert out.hours == pytest.approx(out.ha / 9.0)
    assert (out.high_h - out.hours) / out.hours > (out.high_ha - out.ha) / out.ha
    assert run_out(t, 120.0, what="light").ha < out.ha < run_out(t, 120.0, what="nothing").ha
    assert run_out(t, 240.0).ha == pytest.approx(out.ha / 2)
    assert t.left_after(0.0).value == pytest.approx(t.left.value)
    assert t.below(0.0) < 0.025 < t.below(out.high_ha * 120)


def test_a_bin_that_is_empty_already_runs_out_at_once() -> None:
    steps = [BinStep(turns=0.0, put_kg=1000.0, put_sd_kg=5.0), BinStep(turns=1000 / 1.2), BinStep(turns=0.0, event="run-empty")]
    t = tally_bin(steps, BinPrior(mass_kg=0, mass_sd_kg=5, factors={"": TYPED}))
    out = run_out(t, 100.0)
    assert out.ha < 0.4
    assert out.low_ha == 0.0


def test_two_bins_together_run_short_when_the_first_is_empty_and_in_turn_when_the_last_is() -> None:
    full = tally_bin(season()[0], prior())
    low = tally_bin([*season()[0], BinStep(turns=800.0, meter="lot 1")], prior())
    both = run_out_of([full, low], [60.0, 60.0])
    assert (both.bin, both.share > 0.99) == (1, True)
    assert both.ha == pytest.approx(run_out(low, 60.0).ha, rel=1e-3)
    turn = run_out_of([full, low], [120.0, 120.0], use="in-turn", pace_ha_h=Est(value=9.0, sd=0.5))
    assert turn.ha == pytest.approx(run_out(full, 120.0).ha + run_out(low, 120.0).ha)
    assert turn.high_ha - turn.ha < (run_out(full, 120.0).high_ha - run_out(full, 120.0).ha) * 2
    equal = run_out_of([full, full], [60.0, 60.0])
    assert equal.ha < run_out(full, 60.0).ha, "the first of two alike is sooner than either"
    assert equal.share == pytest.approx(0.5, abs=0.01)


def test_two_bins_together_against_a_simulation() -> None:
    t = tally_bin(season()[0], prior())
    rng = np.random.default_rng(4)
    m = rng.choice(len(t.ends), p=[e.weight for e in t.ends], size=(2, 40_000))
    rest = t.rest.value + math.sqrt(12) * t.rest.sd * (rng.random((2, 40_000)) - 0.5)
    reach = []
    for i in range(2):
        draws = np.stack([rng.multivariate_normal(e.mean[:2], e.cov[:2, :2], size=40_000) for e in t.ends])[m[i], np.arange(40_000)]
        reach.append((draws[:, 0] - rest[i] + rng.normal(0, 10, 40_000)) / draws[:, 1] / 60.0)
    first = np.minimum(*reach)
    found = run_out_of([t, t], [60.0, 60.0])
    assert [found.low_ha, found.ha, found.high_ha] == pytest.approx(np.quantile(first, [0.025, 0.5, 0.975]), rel=0.02)


@pytest.mark.parametrize(
    ("steps", "where"),
    [
        ([], "steps"),
        ([BinStep(turns=-1.0)], "step 1"),
        ([BinStep(turns=math.nan)], "step 1"),
        ([BinStep(turns=1.0, put_kg=-5.0)], "step 1"),
        ([BinStep(turns=1.0, put_kg=math.inf)], "step 1"),
        ([BinStep(turns=1.0), BinStep(turns=1.0, level_kg=5.0, level_sd_kg=0.0)], "step 2"),
        ([BinStep(turns=1.0, level_kg=5.0, event="low-light")], "step 1"),
        ([BinStep(turns=1.0, meter="unknown")], "meter 'unknown'"),
    ],
)
def test_what_is_no_season_is_refused_where_it_is_wrong(steps: list[BinStep], where: str) -> None:
    with pytest.raises(RangeError) as caught:
        tally_bin(steps, BinPrior(mass_kg=0, mass_sd_kg=5, factors={"": TYPED}))
    assert where in [f.where for f in caught.value.faults]


def test_one_fill_and_no_look_says_what_was_believed() -> None:
    t = tally_bin(
        [BinStep(turns=0.0, put_kg=4000.0, put_sd_kg=40.0), BinStep(turns=1000.0)], BinPrior(mass_kg=0, mass_sd_kg=5, factors={"": TYPED})
    )
    assert t.left.value == pytest.approx(2800.0)
    assert t.left.sd > 60
    assert t.factor.value == pytest.approx(1.2)
    assert t.factor.sd == pytest.approx(0.06, rel=0.1)
    assert (t.test.n, t.test.holds, t.bad_tickets) == (0, True, ())
    assert run_out(t, 100.0).high_ha is not None


def test_half_the_looks_missing_only_widens() -> None:
    steps, left = season()
    kept = [replace(s, event="") if s.event and i % 4 else s for i, s in enumerate(steps)]
    few, whole = tally_bin(kept, prior()), tally_bin(steps, prior())
    assert few.left.sd > whole.left.sd
    assert abs(few.left.value - left) < 3 * few.left.sd


def test_a_bin_that_never_was_filled_is_no_error() -> None:
    t = tally_bin([BinStep(turns=0.0), BinStep(turns=10.0)], BinPrior(mass_kg=0, mass_sd_kg=5, factors={"": TYPED}))
    assert t.left.value == pytest.approx(-12.0)
    assert run_out(t, 100.0).ha == 0.0


def test_the_innovation_tests_keep_their_budget_and_see_what_they_are_for() -> None:
    rng = np.random.default_rng(6)
    false = sum(not innovation_test(rng.standard_normal(20)).holds for _ in range(4000))
    assert false <= 12, "about one in a thousand"
    assert not innovation_test(rng.standard_normal(30) * 2.5).holds, "too wide"
    assert not innovation_test(rng.standard_normal(30) + 1.5).holds, "a steady error"
    assert not innovation_test(np.where(np.arange(30) == 7, 6.0, 0.1)).holds, "one far off"
    assert not innovation_test(np.repeat([1.6, -1.6, 1.6, -1.6], 10)).holds, "one after the other"
    assert innovation_test(np.full(5, np.nan)).n == 0


def test_the_ratio_of_field_to_standing_starts_at_one_and_follows_the_lots() -> None:
    assert product_ratio([]).value == 1.0
    one = product_ratio([Est(value=1.03, sd=0.005)])
    many = product_ratio([Est(value=1.03, sd=0.005)] * 8)
    assert 1.01 < one.value < many.value < 1.03
    assert product_ratio([]).sd > one.sd > many.sd > 0.0099, "another lot may always differ"
    with pytest.raises(RangeError):
        product_ratio([Est(value=0.0)])


def test_what_is_believed_of_a_lot_comes_from_the_best_that_is_known() -> None:
    standing, typed = Est(value=1.2, sd=0.012), Est(value=1.3)
    assert field_factor(standing, ratio=Est(value=1.02, sd=0.01)).value == pytest.approx(1.224)
    assert field_factor(standing).sd / 1.2 == pytest.approx(math.hypot(0.01, 0.02), rel=1e-3)
    other = field_factor(None, other_lots=[standing, Est(value=1.24, sd=0.012)], typed=typed)
    assert other.value == pytest.approx(1.22)
    assert other.sd > 0.05 * 1.22
    assert field_factor(None, typed=typed).value == 1.3
    assert field_factor(None) is None


def test_the_simulated_seasons_do_not_repeat_themselves() -> None:
    assert bin_season(11).steps == bin_season(11).steps
    assert bin_season(11).steps != bin_season(12).steps
    assert bin_season(11, missed=True).missed_kg is not None
