"""Stops to fill: worked by hand, against full enumeration, against interval programs, and what cannot be done."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from evenstand.base.errors import InfeasibleError, RangeError
from evenstand.supply import capacities, plan_stops


def season(passes: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Use of three products, five bins, densities, costs: the road end is cheap, the far end dear. All invented."""
    rng = np.random.default_rng(seed)
    area = 1.44 * rng.uniform(0.8, 1.2, passes)
    zone = 1 + 0.25 * np.sin(np.arange(passes) / 9)[:, None] * np.array([0.2, 0.6, 1.0])
    use = area[:, None] * np.array([110.0, 60.0, 180.0]) * zone
    cost = np.where(np.arange(passes) % 2 == 1, 4.0, 11.0) + rng.uniform(0, 6, passes)
    return use, np.array([2.1, 4.2, 4.6, 6.3, 1.4]), np.array([770.0, 950.0, 740.0]), cost


def feasible(use: np.ndarray, held: np.ndarray, stops: tuple[int, ...]) -> bool:
    edges = [0, *stops, len(use)]
    return all(bool((use[a:b].sum(axis=0) <= held * (1 + 1e-9)).all()) for a, b in itertools.pairwise(edges))


def surjections(bins: int, products: int) -> list[tuple[int, ...]]:
    return [a for a in itertools.product(range(products), repeat=bins) if len(set(a)) == products]


def interval_program(use: np.ndarray, held: np.ndarray, cost: np.ndarray) -> float:
    """Least cost by a linear program: between a fill and the first pass it does not last for, there must be a stop.

    Its rows are intervals, so that its corners are whole numbers: an independent proof of the least cost.
    """
    from scipy.optimize import linprog
    from scipy.sparse import lil_matrix

    total = np.vstack([np.zeros(use.shape[1]), np.cumsum(use, axis=0)])
    rows = []
    for i in range(len(use)):
        over = [j for j in range(i + 1, len(use) + 1) if bool((total[j] - total[i] > held * (1 + 1e-9)).any())]
        if not over:
            break
        if over[0] == i + 1:
            return math.inf
        rows.append((i, over[0]))
    if not rows:
        return 0.0
    matrix = lil_matrix((len(rows), len(use) - 1))
    for k, (i, j) in enumerate(rows):
        matrix[k, i : j - 1] = 1
    answer = linprog(cost[: len(use) - 1], A_ub=-matrix.tocsr(), b_ub=-np.ones(len(rows)), bounds=(0, 1), method="highs")
    return float(answer.fun) if answer.success else math.inf


def test_ten_passes_of_400_kg_from_a_bin_of_1500_kg_take_three_stops() -> None:
    stops = plan_stops([[400.0]] * 10, [2.0], [750.0], 1.0)
    assert len(stops.after_pass) == 3
    assert stops.cost == 3
    assert stops.optimal
    assert stops.full_kg == pytest.approx([1500])
    assert stops.least_left_kg == pytest.approx([300])


def test_what_is_left_added_and_needed_adds_up() -> None:
    use, bins, density, cost = season(60, 4)
    stops = plan_stops(use, bins, density, cost)
    assigned = np.array(stops.assignment)
    edges = [0, *stops.after_pass, len(use)]
    for k, (a, b) in enumerate(itertools.pairwise(edges)):
        taken = use[a:b].sum(axis=0)
        for product in range(3):
            mine = assigned == product
            assert (stops.full_kg - stops.left_kg[k])[mine].sum() == pytest.approx(taken[product])
    assert stops.add_kg == pytest.approx(stops.full_kg - stops.left_kg[:-1])
    assert stops.least_left_kg == pytest.approx(stops.left_kg.min(axis=0))
    put = stops.full_kg.sum() + stops.add_kg.sum()
    assert put == pytest.approx(use.sum() + stops.left_kg[-1].sum())
    last = stops.left_kg[-2] + stops.last_fill_kg
    for product in range(3):
        assert last[assigned == product].sum() == pytest.approx(use[edges[-2] :, product].sum(), rel=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_the_plan_is_the_best_of_all_sets_of_stops_and_all_choices_of_bins(seed: int) -> None:
    """Twelve passes with heavy rates: every subset of stops and every way to share out the bins is tried."""
    use, bins, density, cost = season(12, seed)
    use, bins = use * 6, bins[:4]
    best = math.inf
    for choice in surjections(4, 3):
        held = np.array([bins[np.array(choice) == p].sum() for p in range(3)]) * density
        for n in range(12):
            for stops in itertools.combinations(range(1, 12), n):
                if feasible(use, held, stops):
                    best = min(best, float(sum(cost[j - 1] for j in stops)))
    assert best < math.inf
    assert plan_stops(use, bins, density, cost).cost == pytest.approx(best)


@pytest.mark.parametrize(("passes", "seed"), [(45, 1), (45, 2), (120, 1)])
def test_interval_programs_prove_the_least_cost(passes: int, seed: int) -> None:
    use, bins, density, cost = season(passes, seed)
    bins = bins[:4]
    proven = min(
        interval_program(use, np.array([bins[np.array(choice) == p].sum() for p in range(3)]) * density, cost)
        for choice in surjections(4, 3)
    )
    stops = plan_stops(use, bins, density, cost)
    assert stops.cost == pytest.approx(proven, rel=1e-9)
    assert stops.bound == stops.cost


def test_one_product_at_equal_costs_takes_as_few_stops_as_driving_on_while_it_lasts() -> None:
    rng = np.random.default_rng(8)
    for _ in range(40):
        use = rng.uniform(100, 500, int(rng.integers(2, 60)))
        held = float(rng.uniform(510, 2500))
        stops, left = 0, held
        for mass in use:
            if mass > left + 1e-9:
                stops, left = stops + 1, held
            left -= mass
        plan = plan_stops(use[:, None], [held / 800], [800.0], 1.0)
        assert len(plan.after_pass) == stops
        assert plan.cost == stops


def test_every_planned_stop_may_wait_until_its_latest_pass_and_no_longer() -> None:
    use, bins, density, cost = season(90, 3)
    stops = plan_stops(use, bins, density, cost)
    held = np.array([bins[np.array(stops.assignment) == p].sum() for p in range(3)]) * density
    fills = [0, *stops.after_pass]
    for begin, after, latest in zip(fills, stops.after_pass, stops.latest_pass, strict=False):
        assert after <= latest
        assert bool((use[begin:latest].sum(axis=0) <= held).all())
        assert latest == len(use) or bool((use[begin : latest + 1].sum(axis=0) > held).any())


def test_among_equally_dear_plans_the_fullest_arrivals_are_taken() -> None:
    use = np.full((10, 1), 400.0)
    plan = plan_stops(use, [2.0], [750.0], 1.0)
    best = max(
        min(1500 - 400 * (b - a) for a, b in itertools.pairwise((0, *stops, 10)))
        for stops in itertools.combinations(range(1, 10), 3)
        if all(b - a <= 3 for a, b in itertools.pairwise((0, *stops, 10)))
    )
    assert plan.least_left_kg[0] == pytest.approx(best)


def test_bins_stay_within_their_streams() -> None:
    use, bins, density, cost = season(60, 2)
    plan = plan_stops(use, bins, density, cost, streams={0: (0, 1), 1: (2,), 2: (3, 4)})
    assert plan.assignment == (0, 0, 1, 2, 2)
    assert plan.cost >= plan_stops(use, bins, density, cost).cost
    same = plan_stops(use, bins, density, cost, streams=[(0, 1), (2,), (3, 4)])
    assert same.assignment == plan.assignment


def test_a_pinned_bin_keeps_its_product() -> None:
    use, bins, density, cost = season(60, 2)
    free = plan_stops(use, bins, density, cost)
    for product in range(3):
        assert plan_stops(use, bins, density, cost, pinned={4: product}).assignment[4] == product
    settled = plan_stops(use, bins, density, cost, pinned=dict(enumerate(free.assignment)))
    assert settled.cost == free.cost
    assert settled.choices_tried == 1


def test_bins_of_one_product_share_its_rate_by_size() -> None:
    plan = plan_stops([[300.0]] * 8, [1.0, 3.0], [800.0], 1.0)
    assert plan.rate_share == pytest.approx([0.25, 0.75])
    assert plan.left_kg[:, 1] == pytest.approx(3 * plan.left_kg[:, 0])


def test_a_product_that_is_not_used_gets_no_bin() -> None:
    plan = plan_stops([[300.0, 0.0]] * 8, [1.0, 1.0], [800.0, 900.0], 1.0)
    assert plan.assignment == (0, 0)
    only = plan_stops([[300.0, 0.0]] * 8, [1.0, 1.0], [800.0, 900.0], 1.0, streams={0: (0,), 1: (1,)})
    assert only.assignment == (0, -1)
    assert only.left_kg[:, 1] == pytest.approx(0)


def test_a_reserve_is_still_there_on_every_arrival() -> None:
    use, bins, density, cost = season(120, 7)
    plain = plan_stops(use, bins, density, cost)
    spare = plan_stops(use, bins, density, cost, reserve=0.1)
    assert spare.cost >= plain.cost
    assert bool((spare.least_left_kg >= 0.1 * spare.full_kg - 1e-6).all())
    one = plan_stops(use, bins, density, cost, reserve=[0.3, 0.0, 0.0])
    seed_bins = np.array(one.assignment) == 0
    assert bool((one.least_left_kg[seed_bins] >= 0.3 * one.full_kg[seed_bins] - 1e-6).all())


def test_a_single_pass_beyond_the_bins_names_product_and_pass() -> None:
    use = np.full((6, 2), 300.0)
    use[3, 1] = 5000.0
    with pytest.raises(InfeasibleError, match=r"urea, pass 4: one pass takes 5,000 kg \(the bins that can carry it hold 1,440 kg\)"):
        plan_stops(use, [1.0, 0.9], [770.0, 1600.0], 1.0, streams={0: (0,), 1: (1,)}, product_names=("wheat", "urea"))


def test_products_that_only_fit_one_at_a_time_are_named_too() -> None:
    use = np.full((4, 2), 900.0)
    with pytest.raises(InfeasibleError, match=r"pass 1: one pass takes 900 kg \(the bins that can carry it hold 800 kg\)"):
        plan_stops(use, [1.0, 1.25], [800.0, 800.0], 1.0)


def test_more_products_than_bins_is_refused() -> None:
    with pytest.raises(InfeasibleError, match="cannot be shared out"):
        plan_stops(np.full((4, 3), 10.0), [1.0, 1.0], [800.0, 800.0, 800.0], 1.0)


def test_a_stream_without_a_bin_is_refused() -> None:
    with pytest.raises(InfeasibleError, match="urea: no bin feeds a stream"):
        plan_stops(np.full((4, 2), 10.0), [1.0, 1.0], [800.0, 800.0], 1.0, streams={1: ()}, product_names=("wheat", "urea"))
    with pytest.raises(InfeasibleError, match="A is pinned to it but does not feed its stream"):
        plan_stops(np.full((4, 2), 10.0), [1.0, 1.0], [800.0, 800.0], 1.0, streams={1: (1,)}, pinned={0: 1}, bin_names=("A", "B"))
    with pytest.raises(InfeasibleError, match="all are pinned to others"):
        plan_stops(np.full((4, 2), 10.0), [1.0, 1.0], [800.0, 800.0], 1.0, pinned={0: 0, 1: 0})


def test_no_stop_is_planned_where_there_is_no_way_to_the_truck() -> None:
    use = np.full((12, 1), 400.0)
    cost = np.where(np.arange(12) % 2 == 1, 1.0, math.inf)
    plan = plan_stops(use, [2.1], [800.0], cost)
    assert all(stop % 2 == 0 for stop in plan.after_pass)
    with pytest.raises(InfeasibleError, match="no stop can be made in time"):
        plan_stops(use, [2.1], [800.0], math.inf)


def test_a_field_that_the_bins_last_for_needs_no_stop() -> None:
    plan = plan_stops([[100.0]] * 5, [2.0], [800.0], 3.0)
    assert plan.after_pass == ()
    assert plan.cost == 0
    assert plan.left_kg == pytest.approx(np.array([[1100.0]]))
    assert plan.last_fill_kg == pytest.approx([500])


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"use_kg": [[-1.0]]}, "use_kg, pass 1"),
        ({"use_kg": [[math.nan]]}, "use_kg, pass 1"),
        ({"use_kg": []}, "use_kg"),
        ({"bins_m3": [0.0]}, "bins_m3"),
        ({"bins_m3": [[1.0]]}, "bins_m3"),
        ({"density_kg_m3": [800.0, 900.0]}, "density_kg_m3"),
        ({"stop_cost": -1.0}, "stop_cost"),
        ({"stop_cost": [1.0, 2.0, 3.0]}, "stop_cost"),
        ({"reserve": 1.0}, "reserve"),
        ({"streams": {0: (5,)}}, "bin that does not exist"),
        ({"streams": {3: (0,)}}, "product 3 does not exist"),
        ({"pinned": {2: 0}}, "pinned"),
        ({"product_names": ("a", "b")}, "product_names"),
        ({"bin_names": ("a", "b")}, "bin_names"),
    ],
)
def test_arguments_out_of_range_are_named(change: dict[str, object], what: str) -> None:
    given: dict[str, object] = {"use_kg": [[400.0]] * 1, "bins_m3": [2.0], "density_kg_m3": [750.0], "stop_cost": 1.0}
    with pytest.raises(RangeError, match=what):
        plan_stops(**(given | change))  # type: ignore[arg-type]


def test_too_many_ways_to_share_out_the_bins_are_refused_with_a_cure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(capacities, "MOST_CHOICES", 5_000)
    with pytest.raises(RangeError, match="Pin some bins"):
        plan_stops(np.full((3, 6), 1.0), np.linspace(1, 2, 12) ** 2, np.full(6, 800.0), 1.0)


def test_a_cost_so_small_that_a_sum_swallows_it_changes_no_plan() -> None:
    """1 + 1e-38 is 1: two ways to add the same stops then tie, and the plan stands all the same."""
    use = [[0.0] * 3] * 4 + [[1.0, 0.0, 0.0]] * 2 + [[424.0, 0.0, 0.0], [0.0] * 3, [1.0, 0.0, 1.0], [0.0, 0.0, 425.0]]
    stops = plan_stops(use, [1.0, 0.5, 0.5], [500.0] * 3, [0.0] * 5 + [1.2e-38, 0.0, 0.0, 1.0, 0.0], reserve=0.15)
    assert (stops.cost, stops.after_pass[-1]) == (pytest.approx(1), 9)  # 425 kg are all that two half bins hold at 15 % reserve
    assert stops.optimal
