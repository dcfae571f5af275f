"""The simulator is right by itself: with nothing wrong its readings obey the identities, and it conserves mass."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

from evenstand.desk.demo_farm import demo_farm
from evenstand.model import Boundary, Frame, Polygon
from evenstand.simulate import SimulationError, simulate_day
from evenstand.simulate.driving import serpentine
from simulated import FACTORS, RATES, logged, on_paper, plan_of, read

EXACT = 1e-9


@pytest.fixture(scope="module")
def still():
    return simulate_day(logged(), plan_of(logged(), 20.0), seed=1, world="still", optional="all")


@pytest.fixture(scope="module")
def nominal():
    return simulate_day(logged(), plan_of(logged(), 40.0), seed=2, optional="all")


def test_with_nothing_wrong_the_true_dose_is_the_rate_asked_times_typed_over_true_width(still) -> None:
    for ratio in still.truth.dose_ratio.values():
        assert ratio == pytest.approx(still.typed["W"] / still.truth.width_m, rel=EXACT)


def test_with_nothing_wrong_the_area_shown_is_the_area_driven_times_typed_over_true_width(still) -> None:
    shown = read(still)["area_counter"]
    assert shown / still.truth.driven_ha == pytest.approx(still.typed["W"] / still.truth.width_m, rel=EXACT)
    assert shown == pytest.approx(read(still)["distance_shown"] * still.typed["W"] / 1e4, rel=EXACT)


def test_with_nothing_wrong_every_mass_agrees(still) -> None:
    seen = read(still)
    for a in RATES:
        assert seen[f"shown_mass:{a}"] == pytest.approx(still.truth.sown_kg[a], rel=EXACT)
        assert seen[f"shown_mass:{a}"] == pytest.approx(seen[f"turns:{a}"] * FACTORS[a], rel=EXACT)
        assert seen[f"entered:{a}"] == pytest.approx(still.truth.put_kg[a], rel=EXACT)
        assert seen[f"left_shown:{a}"] == pytest.approx(still.truth.left_kg[a], rel=1e-6)
        assert seen[f"put:{a}"] == seen[f"delivered:{a}"] == pytest.approx(still.truth.put_kg[a], rel=EXACT)
        assert seen[f"catch_factor:{a}"] == pytest.approx(still.truth.factors[a], rel=EXACT) == FACTORS[a]


def test_with_nothing_wrong_tapes_and_fixes_read_the_truth(still) -> None:
    seen = read(still)
    assert seen["distance_taped"] == pytest.approx(1.0, rel=EXACT)
    assert seen["distance_gnss"] == pytest.approx(seen["distance_shown"], rel=EXACT)
    assert seen["width_tape"] == pytest.approx(still.truth.width_m, rel=EXACT)
    assert seen["boundary_area"] == pytest.approx(still.truth.field_ha, rel=EXACT)


def test_counter_over_boundary_is_the_width_ratio_times_one_plus_overlap(still) -> None:
    seen = read(still)
    expected = still.typed["W"] / still.truth.width_m * (1 + still.truth.overlap)
    assert seen["area_counter"] / seen["boundary_area"] == pytest.approx(expected, rel=EXACT)


def test_what_was_put_in_is_sown_or_left(nominal) -> None:
    for a in RATES:
        assert nominal.truth.put_kg[a] == pytest.approx(nominal.truth.sown_kg[a] + nominal.truth.left_kg[a], rel=1e-9)
        assert nominal.truth.left_kg[a] >= 0


def test_the_same_seed_gives_the_same_day() -> None:
    one, two = (simulate_day(logged(), plan_of(logged(), 8.0), seed=5, world="rough", faults=["run=37"]) for _ in range(2))
    assert one.readings == two.readings
    assert one.fills == two.fills
    assert one.events == two.events
    assert one.truth == two.truth
    for name in ("t_ms", "xy_m", "speed_m_s", "sections", "revs", "run_present", "fan_turns_s", "step_m", "area_ha"):
        assert np.array_equal(getattr(one.trail, name), getattr(two.trail, name)), name


def test_another_seed_gives_another_day() -> None:
    one, two = (simulate_day(logged(), plan_of(logged(), 8.0), seed=s) for s in (5, 6))
    assert one.truth.factors != two.truth.factors
    assert not np.array_equal(one.trail.xy_m[:100], two.trail.xy_m[:100])


def test_the_log_is_whole_and_runs_forward(nominal) -> None:
    trail = nominal.trail
    assert trail.n == trail.rows == trail.kept
    assert (np.diff(trail.t_ms) == 1000).all()
    assert trail.bins == tuple(RATES)
    assert trail.revs.shape == trail.asked_kg_ha.shape == trail.echoed_kg_ha.shape == (trail.n, 3)
    assert trail.sections.shape == (trail.n, 8)
    assert trail.run_present.shape == (trail.n, 64)
    assert (np.diff(trail.revs, axis=0) >= 0).all()
    assert (np.diff(trail.area_ha) >= 0).all()
    assert (trail.step_m >= 0).all()


def test_the_log_ends_on_the_counter_and_its_sections_give_the_distance_sown(nominal) -> None:
    trail, seen = nominal.trail, read(nominal)
    assert trail.area_ha[-1] == pytest.approx(seen["area_counter"], abs=0.06)
    step = np.hypot(*np.diff(trail.xy_m, axis=0).T)
    sown = (step * trail.sections[1:].mean(axis=1)).sum()
    assert sown == pytest.approx(nominal.truth.distance_m, rel=0.01)


def test_the_display_reads_the_target_however_far_the_truth_is() -> None:
    day = simulate_day(logged(), plan_of(logged(), 10.0), seed=3, faults=["factor:D=12"])
    working = ~day.trail.lifted
    assert (day.trail.echoed_kg_ha[working, 2] == RATES["D"]).mean() > 0.95
    assert day.truth.dose_ratio["D"] > 1.1


def test_the_fan_sags_when_the_tool_is_lifted(nominal) -> None:
    trail = nominal.trail
    lift = np.flatnonzero(~trail.lifted[:-1] & trail.lifted[1:]) + 1
    steady = np.median(trail.fan_turns_s[~trail.lifted])
    assert np.median(trail.fan_turns_s[lift]) < steady - 2


def test_a_clear_run_is_seen_nearly_always_while_its_section_works(nominal) -> None:
    working = nominal.trail.sections[:, 0]
    steady = working & np.roll(working, 6)
    assert nominal.trail.run_present[steady, :8].mean() > 0.995


def test_sections_only_work_with_the_tool_down(nominal) -> None:
    assert not nominal.trail.sections[nominal.trail.lifted].any()


def test_the_low_light_comes_on_near_its_level(nominal) -> None:
    lights = [e for e in nominal.events if e.kind == "low-light"]
    assert lights
    for event in lights:
        known = logged().bin(event.bin).low_light_kg
        assert (event.value, event.sd) == (known.value, known.sd)


def test_the_paper_outfit_leaves_positions_and_hand_readings_only() -> None:
    rates = {"A": 75.0, "C": 121.0}
    day = simulate_day(on_paper(), plan_of(on_paper(), 20.0, rates=rates), seed=1, optional="none")
    assert day.trail.revs is None
    assert day.trail.sections is None
    assert day.trail.run_present is None
    assert {r.quantity.split(":")[0] for r in day.readings} == {"area_counter", "typed_rate", "put", "level"}


def test_echoes_name_what_they_repeat_and_witnesses_nothing(nominal) -> None:
    of = {r.quantity: r.derived_from for r in nominal.readings}
    assert of["area_counter"] == ("W", "V")
    assert of["shown_mass:D"] == ("F:D", "turns:D")
    assert of["rate_shown:D"] == ("F:D", "turns:D", "W", "V")
    witnesses = ("put:D", "level:D", "delivered:D", "boundary_area", "width_tape", "distance_taped", "catch_factor:D", "distance_gnss")
    assert all(of[w] == () for w in witnesses)


def test_a_distance_from_the_fixes_that_feed_the_speed_is_no_witness() -> None:
    outfit = replace(logged(), speed_source="gnss")
    day = simulate_day(outfit, plan_of(outfit, 10.0), seed=4, world="still", faults=["distance=5"], optional="all")
    gnss = next(r for r in day.readings if r.quantity == "distance_gnss")
    assert gnss.derived_from == ("V",)
    assert gnss.value == pytest.approx(read(day)["distance_shown"], rel=EXACT)


def _wedge(side: float = 600.0) -> Boundary:
    ring = ((0.0, 0.0), (side, 0.0), (side, side), (0.0, side / 2), (0.0, 0.0))
    return Boundary(
        key="w",
        name="wedge",
        frame=Frame(lon_deg=-106, lat_deg=51),
        polygons=(Polygon(outside=ring),),
        area_m2=0.75 * side**2,
        geodesic_m2=0.75 * side**2,
    )


def test_section_control_saves_overlap_on_a_slanted_edge() -> None:
    field, width = _wedge(), 16.0
    line = serpentine(36.0, width, 13.0)  # the whole square: the upper left corner is not field
    without = replace(logged(), sections=())
    with_, plain = (simulate_day(o, plan_of(o, 27.0, drive=line), field, seed=1) for o in (logged(), without))
    assert with_.truth.driven_ha == pytest.approx(field.area_ha, rel=0.05)
    assert plain.truth.driven_ha > 1.25 * with_.truth.driven_ha
    assert plain.truth.overlap > with_.truth.overlap


@pytest.mark.parametrize("field", ["home", "dogleg", "pole"])
def test_a_plan_without_a_line_is_driven_to_and_fro_over_its_own_field(field: str) -> None:
    boundary = demo_farm().boundary(field)
    truth = simulate_day(logged(), plan_of(logged(), boundary.area_ha), boundary, seed=1).truth
    assert truth.covered_ha == pytest.approx(boundary.area_ha, rel=0.01)
    assert truth.field_ha == pytest.approx(boundary.area_ha)
    assert 0.0 < truth.overlap < 0.08


def test_the_machine_also_stands_for_other_reasons_than_filling() -> None:
    days = [simulate_day(logged(), plan_of(logged(), 20.0), seed=s, world="rough", step_s=10.0) for s in range(6)]
    stood = [int((np.diff(np.concatenate([[0], d.trail.speed_m_s < 0.15]).astype(int)) == 1).sum()) for d in days]
    filled = [len({f.at for f in d.fills if f.area_ha > 0}) for d in days]
    assert sum(stood) > sum(filled) + 2


def test_a_day_can_be_cut_short() -> None:
    whole, part = (simulate_day(logged(), plan_of(logged(), 30.0), seed=1, max_area_ha=m) for m in (None, 10.0))
    assert part.truth.driven_ha == pytest.approx(10.0, rel=0.02)
    assert part.trail.n < whole.trail.n
    assert part.truth.since_s == {}


def test_the_rough_world_is_rougher_than_the_nominal_one() -> None:
    spread = {}
    for world in ("nominal", "rough"):
        days = [simulate_day(logged(), plan_of(logged(), 6.0), seed=s, world=world) for s in range(12)]
        spread[world] = np.std([d.truth.dose_ratio["D"] for d in days])
    assert spread["rough"] > 1.2 * spread["nominal"]


@pytest.mark.parametrize("field", ["home", "pole"])
def test_a_frame_and_an_outline_are_taken_from_the_field(field: str) -> None:
    boundary = demo_farm().boundary(field)
    line = serpentine(boundary.area_ha, 16.0, 13.0)
    day = simulate_day(logged(), plan_of(logged(), boundary.area_ha, drive=line), boundary, seed=1, max_area_ha=15.0)
    assert day.trail.frame == boundary.frame


def test_faulty_arguments_are_refused_with_their_cure() -> None:
    plan = plan_of(logged(), 10.0)
    with pytest.raises(SimulationError, match=r"Worlds: still, nominal, rough"):
        simulate_day(logged(), plan, seed=1, world="calm")
    with pytest.raises(SimulationError, match=r"step_s: 0 s"):
        simulate_day(logged(), plan, seed=1, step_s=0)
    with pytest.raises(SimulationError, match=r"at least one bin"):
        simulate_day(logged(), replace(plan, bins=()), seed=1)
    with pytest.raises(SimulationError, match=r"Give an area"):
        simulate_day(logged(), replace(plan, area_ha=None), seed=1)
    with pytest.raises(SimulationError, match=r"does not go into a bin of 4780 kg"):
        simulate_day(logged(), plan, seed=1, faults=["fill-missed:D=9000"])


def test_sixty_hectares_at_one_hertz_take_well_under_a_second() -> None:
    plan, times = plan_of(logged(), 60.0), []
    for seed in range(3):
        start = time.process_time()
        simulate_day(logged(), plan, seed=seed)
        times.append(time.process_time() - start)
    assert min(times) < 0.7
