"""Treating: quantities, what is stale afterwards, the label's clock, and how much to treat tonight."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from evenstand.agronomy import (
    TreatTonight,
    added_share,
    coated_tkw,
    granular_dose,
    granular_rate,
    liquid_for_seed,
    plant_before,
    stale_after_treating,
    treat_tonight,
    treated_rate,
    treated_tkw,
    treatment_mix,
)
from evenstand.base.errors import InputError, MissingError, RangeError
from evenstand.base.estimate import Est


def test_a_slurry_is_products_and_water_together() -> None:
    mix = treatment_mix(2500, {"fungicide": 300, "insecticide": 50}, slurry_ml_100kg=500)
    assert mix.water_l == pytest.approx(2500 / 100 * 0.150)
    assert mix.water_l + sum(mix.litres.values()) == pytest.approx(mix.slurry_l)
    assert treatment_mix(2500, {"fungicide": 300}, water_ml_100kg=200).slurry_ml_100kg == 500
    assert treatment_mix(2500, {"fungicide": 300}).water_l == 0


def test_batches_are_of_one_size_and_hold_all_the_seed() -> None:
    mix = treatment_mix(2500, {"fungicide": 300}, batch_kg=900)
    assert (mix.batches, mix.batch_kg) == (3, pytest.approx(2500 / 3))
    assert mix.batches * mix.litres_batch["fungicide"] == pytest.approx(mix.litres["fungicide"])
    assert treatment_mix(2700, {"fungicide": 300}, batch_kg=900).batches == 3


def test_a_hectare_takes_the_dose_of_its_seed() -> None:
    mix = treatment_mix(2500, {"fungicide": 300}, rate_kg_ha=120)
    assert mix.litres_ha is not None
    assert mix.litres_ha["fungicide"] == pytest.approx(0.36)
    assert treatment_mix(2500, {"fungicide": 300}).litres_ha is None


def test_added_mass_needs_the_density_of_every_product() -> None:
    known = treatment_mix(1000, {"a": 300, "b": 100}, water_ml_100kg=100, density_kg_l={"a": 1.1, "b": 1.0})
    assert known.added == pytest.approx((0.33 + 0.1 + 0.1) / 100)
    assert known.treated_kg == pytest.approx(1000 * (1 + known.added))  # type: ignore[operator]
    assert treatment_mix(1000, {"a": 300, "b": 100}, density_kg_l={"a": 1.1}).added is None


def test_the_mix_defers_to_the_label_and_warns_of_the_treaters_flow() -> None:
    note = treatment_mix(1000, {"a": 300}).note
    assert "label" in note
    assert "20 %" in note


@pytest.mark.parametrize(
    ("doses", "more", "error"),
    [
        ({}, {}, MissingError),
        ({"a": 300}, {"water_ml_100kg": 100, "slurry_ml_100kg": 500}, InputError),
        ({"a": 300, "b": 300}, {"slurry_ml_100kg": 500}, InputError),
        ({"a": -1}, {}, RangeError),
        ({"a": 300}, {"batch_kg": 0}, RangeError),
    ],
)
def test_a_recipe_that_cannot_be_is_refused(doses: dict[str, float], more: dict[str, float], error: type[Exception]) -> None:
    with pytest.raises(error):
        treatment_mix(1000, doses, **more)  # type: ignore[arg-type]


def test_added_share_of_bare_and_coating_share_of_coated_are_two_names_of_one_thing() -> None:
    assert treated_tkw(4, 0.25 / 0.75) == pytest.approx(coated_tkw(4, 0.25))
    assert added_share(600, 1.0) == pytest.approx(0.006)
    assert added_share(600, 1.0, 0.0) == 0


def test_what_is_stale_after_treating_and_what_it_is_now() -> None:
    found = {entry.what: entry for entry in stale_after_treating(bare_tkw_g=Est(value=38, sd=0.5), bare_rate_kg_ha=120, added=0.01)}
    assert set(found) == {"product per turn", "kernel weight", "bulk density", "rate"}
    assert found["product per turn"].value is None  # not published: only a catch tells
    assert "catch test" in found["product per turn"].do
    assert found["kernel weight"].value.value == pytest.approx(38.38)  # type: ignore[union-attr]
    assert found["kernel weight"].value.sd == pytest.approx(0.505)  # type: ignore[union-attr]
    assert found["rate"].value.value == pytest.approx(treated_rate(120, 0.01))  # type: ignore[union-attr]
    assert all(entry.value is None for entry in stale_after_treating())


def test_granular_inoculant_by_row_spacing() -> None:
    """Grams on a metre of row are what the label says; narrower rows take more on a hectare."""
    assert granular_rate(0.1, 0.25) == pytest.approx(4)
    assert granular_rate(0.1, 0.125) == pytest.approx(8)
    assert granular_dose(4, 0.25) == pytest.approx(0.1)


def test_the_clock_is_the_labels_and_never_built_in() -> None:
    none = plant_before("2026-05-04T21:00", "2026-05-05T06:00", None, left_kg=100)
    assert (none.state, none.hours_left) == ("cannot-tell", None)
    assert "label" in none.note


@pytest.mark.parametrize(
    ("now", "left_kg", "state", "hours"),
    [
        ("2026-05-05T06:00", 7000.0, "in-time", 15.0), ("2026-05-05T06:00", 7300.0, "short", 15.0), ("2026-05-05T21:00", 0.0, "in-time", 0.0),
        ("2026-05-05T21:30", 10.0, "past", -0.5),
    ],
)  # fmt: skip
def test_time_left_is_weighed_against_what_can_be_sown(now: str, left_kg: float, state: str, hours: float) -> None:
    clock = plant_before("2026-05-04T21:00", now, 24, left_kg=left_kg, rate_kg_ha=120, capacity_ha_h=8, working_share=0.5)
    assert (clock.state, clock.hours_left) == (state, pytest.approx(hours))
    assert clock.due == "2026-05-05T21:00"


def test_without_the_hours_of_work_it_says_it_reckons_round_the_clock() -> None:
    clock = plant_before("2026-05-04T21:00", "2026-05-05T06:00", 24, left_kg=9000, rate_kg_ha=120, capacity_ha_h=8)
    assert clock.sowable_kg == pytest.approx(14400)
    assert "round the clock" in clock.note
    assert plant_before("2026-05-04T21:00", "2026-05-05T06:00", 24).sowable_kg is None


@pytest.mark.parametrize(("treated", "now"), [("yesterday", "2026-05-05T06:00"), ("2026-05-04T21:00", "2026-05-05T06:00+00:00")])
def test_a_time_that_is_not_understood_is_refused(treated: str, now: str) -> None:
    with pytest.raises(InputError):
        plant_before(treated, now, 24)


AREA, RATE = Est(value=50, sd=3), Est(value=120, sd=4)
OVERLAP = (0.02, 0.05)


def tonight(**more: object) -> TreatTonight:
    given: dict[str, object] = {"overlap": OVERLAP, "treated_kg": Est(value=2000, sd=50), "batch_kg": 500}
    return treat_tonight(AREA, RATE, **(given | more))  # type: ignore[arg-type]


def simulated_need(n: int = 400_000, seed: int = 7) -> np.ndarray:
    rng = np.random.default_rng(seed)
    need = rng.normal(50, 3, n) * (1 + rng.uniform(*OVERLAP, n)) * rng.normal(120, 4, n)
    return need - rng.normal(2000, 50, n)


def test_the_need_is_what_a_simulation_gives() -> None:
    need = simulated_need()
    found = tonight(chance_short=0.1).need
    assert found.value == pytest.approx(need.mean(), abs=4 * need.std() / math.sqrt(need.size))
    assert found.sd == pytest.approx(need.std(), rel=0.005)


def test_without_batches_the_amount_is_the_normal_quantile_of_the_two_costs() -> None:
    found = tonight(batch_kg=None, cost_short_kg=3.6, cost_left_kg=0.4)
    assert found.quantile == pytest.approx(0.9)
    assert found.ideal_kg == pytest.approx(norm.ppf(0.9, found.need.value, found.need.sd))
    assert found.choice.treat_kg == pytest.approx(found.ideal_kg)
    assert found.choice.chance_short == pytest.approx(0.1)
    assert found.beside == ()


def test_the_chosen_number_of_batches_is_the_cheapest_in_a_simulation() -> None:
    found = tonight(cost_stop=600, cost_short_kg=0.2, cost_left_kg=0.5)
    need = simulated_need()

    def cost(kg: float) -> float:
        return float(np.mean(600 * (need > kg) + 0.2 * np.maximum(need - kg, 0) + 0.5 * np.maximum(kg - need, 0)))

    costs = {n: cost(500.0 * n) for n in range(20)}
    assert found.choice.batches == min(costs, key=costs.__getitem__)
    assert found.choice.cost == pytest.approx(costs[found.choice.batches], rel=0.02)
    assert found.choice.chance_short == pytest.approx(float(np.mean(need > found.choice.treat_kg)), abs=0.005)
    assert found.choice.left_kg == pytest.approx(float(np.mean(np.maximum(found.choice.treat_kg - need, 0))), rel=0.01)
    assert found.choice.short_kg == pytest.approx(float(np.mean(np.maximum(need - found.choice.treat_kg, 0))), rel=0.1)
    assert found.choice.left_high_kg == pytest.approx(float(np.quantile(found.choice.treat_kg - need, 0.95)), rel=0.02)


def test_a_chance_asked_for_is_kept_with_the_fewest_batches() -> None:
    found = tonight(chance_short=0.1)
    assert found.choice.chance_short <= 0.1
    assert found.beside[0].chance_short > 0.1
    assert found.beside[0].batches == found.choice.batches - 1  # type: ignore[operator]


def test_dearer_stops_treat_more_and_dearer_leftovers_less() -> None:
    amounts = [tonight(batch_kg=None, cost_stop=stop, cost_left_kg=0.4).choice.treat_kg for stop in (50, 200, 800)]
    assert amounts == sorted(amounts)
    amounts = [tonight(batch_kg=None, cost_stop=200, cost_left_kg=left).choice.treat_kg for left in (0.1, 0.4, 1.6)]
    assert amounts == sorted(amounts, reverse=True)


def test_little_left_over_goes_before_the_rest() -> None:
    free = tonight(chance_short=0.01)
    held = tonight(chance_short=0.01, most_left_kg=500)
    assert free.choice.left_high_kg > 500
    assert held.choice.left_high_kg <= 500
    assert held.choice.treat_kg < free.choice.treat_kg
    assert "likelier" in held.note
    loose = tonight(batch_kg=None, chance_short=0.01, most_left_kg=500)
    assert loose.choice.left_high_kg == pytest.approx(500)


def test_enough_treated_already_means_none_and_the_rest_must_not_be_fed() -> None:
    found = tonight(treated_kg=9000, chance_short=0.05)
    assert (found.choice.batches, found.choice.treat_kg, found.enough) == (0, 0, True)
    assert "must not be fed" in found.note
    assert not tonight(chance_short=0.05).enough


def test_without_uncertainty_it_is_arithmetic() -> None:
    found = treat_tonight(40, 100, treated_kg=1000, batch_kg=400, cost_stop=300, cost_left_kg=0.5)
    assert found.choice.batches == 8  # 3000 kg: seven and a half batches
    assert (found.choice.chance_short, found.choice.left_kg) == (0, pytest.approx(200))
    assert treat_tonight(40, 100, batch_kg=400, chance_short=0.2).choice.batches == 10
    assert treat_tonight(40, 100, cost_short_kg=1, cost_left_kg=1).choice.treat_kg == pytest.approx(4000)


def test_many_small_batches_come_to_the_same_as_any_amount() -> None:
    fine = tonight(batch_kg=1.0, chance_short=0.1)
    assert fine.choice.treat_kg == pytest.approx(fine.ideal_kg, abs=1.0)


@pytest.mark.parametrize("costs", [{}, {"cost_stop": 300}, {"cost_left_kg": 0.4}, {"cost_short_kg": 1.0}])
def test_costs_are_never_made_up(costs: dict[str, float]) -> None:
    with pytest.raises(MissingError, match="running short"):
        tonight(**costs)


@pytest.mark.parametrize(
    "wrong",
    [{"overlap": (0.1, 0.05)}, {"batch_kg": 0}, {"chance_short": 0.0}, {"cost_stop": -1.0}, {"confidence": 1.0}, {"most_left_kg": -1.0}],
)
def test_numbers_out_of_range_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(RangeError):
        tonight(**({"chance_short": 0.1} | wrong))


def test_millilitres_on_a_hundred_kilograms() -> None:
    assert liquid_for_seed(325, 1000) == pytest.approx(3.25)
    with pytest.raises(RangeError):
        liquid_for_seed(-1, 1000)
