"""What holds for any plan of stops."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand.base.errors import InfeasibleError
from evenstand.supply import Stops, plan_stops


@st.composite
def works(draw: st.DrawFn) -> dict[str, object]:
    passes, products = draw(st.integers(1, 18)), draw(st.integers(1, 3))
    bins = draw(st.integers(products, 4))
    mass = st.floats(0, 900)
    use = draw(st.lists(st.lists(mass, min_size=products, max_size=products), min_size=passes, max_size=passes))
    return {
        "use_kg": use,
        "bins_m3": draw(st.lists(st.floats(0.5, 6), min_size=bins, max_size=bins)),
        "density_kg_m3": draw(st.lists(st.floats(500, 1100), min_size=products, max_size=products)),
        "stop_cost": draw(st.lists(st.floats(0, 20), min_size=passes, max_size=passes)),
    }


def planned(work: dict[str, object], **more: object) -> Stops | None:
    try:
        return plan_stops(**work, **more)  # type: ignore[arg-type]
    except InfeasibleError:
        return None


@given(works())
@settings(max_examples=120, deadline=None, derandomize=True)
def test_no_bin_ever_runs_out_and_mass_in_is_mass_sown_and_left(work: dict[str, object]) -> None:
    plan = planned(work)
    use = np.array(work["use_kg"])
    if plan is None:
        density, volumes = np.array(work["density_kg_m3"]), np.array(work["bins_m3"])
        assert use.max() > 0
        # with one product nothing else competes: then a single pass must really exceed all bins together
        assert use.shape[1] > 1 or use.max() > volumes.sum() * density[0] * (1 - 1e-6)
        return
    assigned = np.array(plan.assignment)
    held = np.array([plan.full_kg[assigned == p].sum() for p in range(use.shape[1])])
    for a, b in itertools.pairwise([0, *plan.after_pass, len(use)]):
        assert bool((use[a:b].sum(axis=0) <= held * (1 + 1e-6) + 1e-6).all())
    assert bool((plan.left_kg >= 0).all())
    assert plan.full_kg.sum() + plan.add_kg.sum() == pytest.approx(use.sum() + plan.left_kg[-1].sum(), rel=1e-6, abs=1e-3)
    assert list(plan.after_pass) == sorted(set(plan.after_pass))
    assert all(1 <= j < len(use) for j in plan.after_pass)


@given(works())
@settings(max_examples=80, deadline=None, derandomize=True)
def test_larger_bins_never_cost_more_and_a_reserve_never_less(work: dict[str, object]) -> None:
    plan = planned(work)
    if plan is None:
        return
    larger = planned({**work, "bins_m3": [1.3 * float(v) for v in work["bins_m3"]]})  # type: ignore[attr-defined]
    assert larger is not None
    assert larger.cost <= plan.cost + 1e-9
    spare = planned(work, reserve=0.15)
    assert spare is None or spare.cost >= plan.cost - 1e-9


@given(works())
@settings(max_examples=60, deadline=None, derandomize=True)
def test_no_single_stop_can_be_left_out_of_a_plan_with_real_costs(work: dict[str, object]) -> None:
    work["stop_cost"] = [1.0 + float(c) for c in work["stop_cost"]]  # type: ignore[attr-defined]
    plan = planned(work)
    if plan is None:
        return
    use = np.array(work["use_kg"])
    assigned = np.array(plan.assignment)
    held = np.array([plan.full_kg[assigned == p].sum() for p in range(use.shape[1])])
    for out in plan.after_pass:
        edges = [0, *(s for s in plan.after_pass if s != out), len(use)]
        assert any(bool((use[a:b].sum(axis=0) > held).any()) for a, b in itertools.pairwise(edges))
