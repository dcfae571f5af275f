"""Numbers nobody means: nothing in the bin, below nothing, no number at all, one fill, half of them missing. Each is refused with its place,
or answered without inventing anything."""

from __future__ import annotations

import math
from typing import Any

import pytest

from evenstand.base.errors import EvenstandError
from evenstand.base.estimate import Est
from evenstand.check import FillTaken, fill_check, fill_series
from evenstand.model import Fill, Load
from evenstand.tally import (
    BalancePrior,
    BalanceStep,
    account,
    balance,
    calibration_line,
    catch_test,
    expected_catch,
    factor_from_shown,
    learned_ratio,
    row_distribution,
    split_ticket,
    turns_for_catch,
)

NAN, INF = math.nan, math.inf
GOOD: dict[str, Any] = {"put_sd_kg": 10.0, "level_sd_kg": 20.0}


@pytest.mark.parametrize("bad", [NAN, INF, -1.0])
@pytest.mark.parametrize("place", range(4))
def test_the_fill_check_refuses_what_is_no_number_and_names_it(place: int, bad: float) -> None:
    numbers = [30.0, 3700.0, 100.0, 120.0]
    numbers[place] = bad
    with pytest.raises(EvenstandError) as caught:
        fill_check(*numbers, **GOOD)
    assert ("area_ha", "put_kg", "level_kg", "dose_kg_ha")[place] in str(caught.value)


@pytest.mark.parametrize("name", ["put_sd_kg", "level_sd_kg", "level_before_sd_kg", "dose_sd", "level_before_kg"])
@pytest.mark.parametrize("bad", [NAN, INF, -1.0])
def test_the_fill_check_refuses_a_spread_that_is_none(name: str, bad: float) -> None:
    with pytest.raises(EvenstandError, match=name):
        fill_check(30.0, 3700.0, 100.0, 120.0, **{**GOOD, name: bad})


def test_an_empty_bin_that_was_never_filled_is_no_division_by_nothing() -> None:
    found = fill_check(0.001, 0.0, 0.0, 120.0, put_sd_kg=0.0, level_sd_kg=5.0)
    assert found.state == "cannot-tell"
    with pytest.raises(EvenstandError, match="area_ha"):
        fill_check(0.0, 0.0, 0.0, 120.0, put_sd_kg=0.0, level_sd_kg=5.0)


def test_one_fill_and_nothing_known_of_it_says_so_and_half_the_levels_missing_cost_nothing_at_the_end() -> None:
    one = fill_series([FillTaken(area_ha=30, put_kg=3700, put_sd_kg=3700, level_kg=100, level_sd_kg=500)], 120)
    assert one.finding.state == "cannot-tell"
    assert one.odd is None
    fills = [FillTaken(area_ha=30, put_kg=3600, put_sd_kg=7, level_kg=100 if k % 2 else None, level_sd_kg=20) for k in range(8)]
    whole = [FillTaken(area_ha=30, put_kg=3600, put_sd_kg=7, level_kg=100, level_sd_kg=20) for _ in range(8)]
    half, full = fill_series(fills, 120, level_before_kg=100), fill_series(whole, 120, level_before_kg=100)
    assert (half.ratio, half.sd) == (full.ratio, full.sd)
    assert len(half.each) == 4


@pytest.mark.parametrize("bad", [NAN, INF, -1.0])
def test_a_running_total_refuses_one_bad_fill_among_good_ones(bad: float) -> None:
    fills = [FillTaken(area_ha=30, put_kg=3600, put_sd_kg=7, level_kg=100, level_sd_kg=20) for _ in range(3)]
    fills[1] = FillTaken(area_ha=30, put_kg=bad, put_sd_kg=7, level_kg=100, level_sd_kg=20)
    with pytest.raises(EvenstandError, match="put_kg"):
        fill_series(fills, 120)


@pytest.mark.parametrize(
    "call",
    [
        lambda: catch_test([], 4),
        lambda: catch_test([NAN], 4),
        lambda: catch_test([5.0, -1.0], 4),
        lambda: catch_test([0.18], 4, tare_kg=0.18),
        lambda: catch_test([5.0], NAN),
        lambda: catch_test([5.0], 0),
        lambda: catch_test([5.0], 4, share=0),
        lambda: catch_test([5.0], 4, scale_division_kg=-0.1),
        lambda: catch_test([5.0], 4, prior_dof=0),
        lambda: expected_catch(Est(value=1.2), NAN),
        lambda: expected_catch(Est(value=0.0), 4),
        lambda: expected_catch(Est(value=1.2), 4, tare_kg=INF),
        lambda: turns_for_catch(5.0, 0.0),
        lambda: factor_from_shown(1.2, 0.0, 50.0),
        lambda: factor_from_shown(1.2, NAN, 50.0),
        lambda: learned_ratio(Est(value=0.0), Est(value=1.0)),
        lambda: row_distribution([1.0, 2.0]),
        lambda: row_distribution([1.0, NAN, 2.0]),
        lambda: row_distribution([1.0, -2.0, 2.0]),
        lambda: row_distribution([0.0, 0.0, 0.0]),
        lambda: split_ticket(Est(value=1000.0), []),
        lambda: split_ticket(Est(value=1000.0), [Est(value=500.0)]),
        lambda: calibration_line([1.0], [1.0], 0.1, 0.1),
        lambda: calibration_line([1.0, NAN], [1.0, 2.0], 0.1, 0.1),
        lambda: balance([], BalancePrior(mass_kg=0, mass_sd_kg=1, factor_kg_rev=1, factor_sd=0.1)),
        lambda: balance([BalanceStep(turns=NAN)], BalancePrior(mass_kg=0, mass_sd_kg=1, factor_kg_rev=1, factor_sd=0.1)),
        lambda: balance([BalanceStep(turns=1)], BalancePrior(mass_kg=NAN, mass_sd_kg=1, factor_kg_rev=1, factor_sd=0.1)),
    ],
)
def test_what_cannot_be_computed_is_refused_in_words(call: Any) -> None:
    with pytest.raises(EvenstandError) as caught:
        call()
    assert all(fault.where and fault.what for fault in caught.value.faults)


def test_a_balance_with_half_its_looks_missing_is_wider_and_still_right() -> None:
    prior = BalancePrior(mass_kg=4000, mass_sd_kg=10, factor_kg_rev=1.2, factor_sd=0.06)
    looks = [BalanceStep(turns=100, level_kg=4000 - 125.0 * (k + 1), level_sd_kg=20) for k in range(20)]
    half = [s if k % 2 else BalanceStep(turns=100) for k, s in enumerate(looks)]
    few, many = balance(half, prior, q_factor=0.0), balance(looks, prior, q_factor=0.0)
    assert few.factor_sd[-1] > many.factor_sd[-1]
    assert few.factor_kg_rev[-1] == pytest.approx(1.25, abs=2 * few.factor_sd[-1])


def test_a_balance_nobody_looked_at_says_what_was_believed() -> None:
    prior = BalancePrior(mass_kg=4000, mass_sd_kg=10, factor_kg_rev=1.2, factor_sd=0.06)
    b = balance([BalanceStep(turns=100), BalanceStep(turns=0, put_kg=500, put_sd_kg=5)], prior)
    assert b.mass_kg[-1] == pytest.approx(4380)
    assert b.factor_kg_rev[-1] == pytest.approx(1.2)
    assert (b.bad_tickets, b.loglik) == ((), 0.0)


def test_an_account_of_nothing_and_of_unknown_masses_claims_nothing() -> None:
    nothing = account("wheat", [], [])
    assert (nothing.open_kg, nothing.z) == (None, None)
    assert "cannot be told" in nothing.meaning
    loads = [Load(key=f"l{k}", kind="delivery", product="wheat", mass_kg=None if k % 2 else 1000.0, sd_kg=5.0) for k in range(4)]
    half = account("wheat", loads, [Fill(key="f", outfit="a", bin="A", product="wheat", put_kg=2000, put_sd_kg=5)])
    assert half.unknown == ("l1", "l3")
    assert "without a mass" in half.meaning
