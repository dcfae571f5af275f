"""Each fault moves the readings it should by the stated ratio, and nothing else."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from evenstand.simulate import FAULT_KINDS, Day, FaultSpec, SimulationError, parse_fault, simulate_day
from evenstand.simulate.recording import FLOW_LAG_S
from simulated import RATES, logged, on_paper, plan_of, read

AREA_HA = 24.0
TRUTHS = ("driven_ha", "distance_m", "covered_ha", "field_ha", "overlap", "width_m")


@cache
def day(*faults: str, world: str = "still", seed: int = 8) -> Day:
    return simulate_day(
        logged(), plan_of(logged(), AREA_HA), seed=seed, world=world, faults=faults, optional="all", level_how="weighed", fill_how="tote"
    )


def moved(fault: str, world: str = "still") -> dict[str, float]:
    """Ratio of each reading with the fault to the same without it, where it is not 1."""
    with_, without = read(day(fault, world=world)), read(day(world=world))
    assert set(with_) == set(without)
    return {q: v / without[q] for q, v in with_.items() if without[q] and abs(v / without[q] - 1) > 1e-7}


def bare(ratios: dict[str, float], *dropped: str) -> dict[str, float]:
    return {q: v for q, v in ratios.items() if not q.startswith(dropped)}


def test_a_factor_fault_shows_in_scales_and_catches_of_that_bin_alone() -> None:
    seen = moved("factor:D=6")
    assert seen.pop("catch_factor:D") == pytest.approx(1.06)
    assert set(seen) <= {f"{q}:D" for q in ("put", "delivered", "entered", "level", "left_shown")}
    one = day("factor:D=6").truth
    assert one.sown_kg["D"] / day().truth.sown_kg["D"] == pytest.approx(1.06)
    assert one.sown_kg["A"] == pytest.approx(day().truth.sown_kg["A"])
    assert read(day("factor:D=6"))["shown_mass:D"] / one.sown_kg["D"] == pytest.approx(1 / 1.06)


def test_a_distance_fault_moves_area_distance_turns_and_dose_and_leaves_the_fixes_alone() -> None:
    seen = bare(moved("distance=4"), "put", "delivered", "entered", "level", "left_shown")
    for quantity in ("area_counter", "distance_shown", "distance_taped", *(f"{q}:{a}" for q in ("turns", "shown_mass") for a in RATES)):
        assert seen.pop(quantity) == pytest.approx(1.04), quantity
    assert seen == {}
    for a in RATES:
        assert day("distance=4").truth.dose_ratio[a] / day().truth.dose_ratio[a] == pytest.approx(1.04)


def test_a_width_fault_moves_area_turns_and_dose_but_no_distance() -> None:
    ratio = (logged().width_m + 0.8) / logged().widths.rate_m
    seen = bare(moved("width=0.8"), "put", "delivered", "entered", "level", "left_shown")
    for quantity in ("area_counter", *(f"{q}:{a}" for q in ("turns", "shown_mass") for a in RATES)):
        assert seen.pop(quantity) == pytest.approx(ratio), quantity
    assert seen == {}
    one = day("width=0.8")
    assert one.typed["W"] - one.truth.width_m == pytest.approx(0.8)
    assert one.truth.dose_ratio["C"] == pytest.approx(one.typed["W"] / one.truth.width_m)


def test_a_slip_moves_the_rate_in_force_and_everything_that_follows_it() -> None:
    seen = bare(moved("slip:C=1.121"), "put", "delivered", "entered", "level", "left_shown")
    for quantity in ("typed_rate:C", "rate_shown:C", "turns:C", "shown_mass:C"):
        assert seen.pop(quantity) == pytest.approx(1.121), quantity
    assert seen == {}
    assert day("slip:C=1.121").typed["rate:C"] == pytest.approx(75 * 1.121)
    assert day("slip:C=1.121").truth.dose_ratio["C"] / day().truth.dose_ratio["C"] == pytest.approx(1.121)


def test_a_missed_fill_is_in_the_truth_and_the_truck_scale_but_in_no_entry() -> None:
    one = day("fill-missed:D=1900")
    seen = read(one)
    assert seen["delivered:D"] == pytest.approx(one.truth.put_kg["D"])
    assert one.truth.put_kg["D"] - seen["put:D"] == pytest.approx(1900)
    assert one.truth.put_kg["D"] - seen["entered:D"] == pytest.approx(1900)
    assert sum(f.put_kg for f in one.fills if f.bin == "D") == pytest.approx(seen["put:D"])
    assert one.truth.put_kg["D"] == pytest.approx(one.truth.sown_kg["D"] + one.truth.left_kg["D"])
    assert bare(moved("fill-missed:D=1900"), *(f"{q}:D" for q in ("put", "delivered", "entered", "level", "left_shown"))) == {}


def test_a_doubled_fill_stands_twice_in_the_entries_and_went_in_once() -> None:
    one = day("fill-doubled:A=1200")
    seen = read(one)
    assert seen["put:A"] - one.truth.put_kg["A"] == pytest.approx(1200)
    assert seen["entered:A"] - seen["delivered:A"] == pytest.approx(1200)
    twins = [f for f in one.fills if f.bin == "A" and f.put_kg == pytest.approx(1200)]
    assert len(twins) == 2
    assert len({f.key for f in one.fills}) == len(one.fills)


@pytest.mark.parametrize("kg", [200.0, 1900.0, 4300.0])
@pytest.mark.parametrize("kind", ["fill-missed", "fill-doubled"])
def test_a_fill_that_goes_wrong_finds_room_whatever_its_size(kind: str, kg: float) -> None:
    small = simulate_day(logged(), plan_of(logged(), 6.0), seed=3, world="still", faults=[f"{kind}:D={kg}"])
    gap = small.truth.put_kg["D"] - read(small).get("put:D", 0.0)
    assert gap == pytest.approx(kg if kind == "fill-missed" else -kg)


@pytest.mark.parametrize("world", ["still", "nominal", "rough"])
def test_a_plugged_run_goes_dark_from_its_moment_and_its_siblings_do_not(world: str) -> None:
    one = day("run=37", world=world)
    trail = one.trail
    second = (trail.t_ms - trail.t_ms[0]) / 1000
    column, section = trail.runs.index(37), 4
    on = trail.sections[:, section]
    steady = on & np.roll(on, 8)
    after = steady & (second > one.truth.since_s["run:37"] + FLOW_LAG_S + 2)
    before = steady & (second < one.truth.since_s["run:37"])
    assert after.sum() > 100
    assert trail.run_present[after, column].mean() < 0.02
    assert trail.run_present[before, column].mean() > 0.98
    assert trail.run_present[after, column + 1].mean() > 0.98
    assert one.truth.sown_kg == pytest.approx(day(world=world).truth.sown_kg)
    assert one.truth.since_pass["run:37"] >= 1


def test_a_plugged_run_moves_no_reading() -> None:
    assert moved("run=37", world="nominal") == {}


def test_a_plugged_head_darkens_all_its_runs_and_costs_its_share_of_product_once_it_has_backed_up() -> None:
    one = day("head=C")
    trail = one.trail
    late = ((trail.t_ms - trail.t_ms[0]) / 1000 > one.truth.since_s["head:C"]) & trail.sections.all(axis=1)
    mine = [i for i, n in enumerate(trail.runs) if 17 <= n <= 24]
    assert not trail.run_present[np.ix_(late, mine)].any()
    assert trail.run_present[late][:, :16].all()
    without = day().truth.sown_kg
    assert one.truth.sown_kg["D"] < without["D"]
    assert one.truth.sown_kg["D"] > 0.875 * without["D"]
    assert one.truth.sown_kg["A"] == pytest.approx(without["A"])  # its stream is another one


def test_in_a_noisy_world_a_fault_still_moves_its_readings_by_nearly_its_ratio_and_no_other_noise() -> None:
    seen = moved("factor:D=6", world="nominal")
    assert seen["catch_factor:D"] == pytest.approx(1.06)
    for quantity in ("distance_gnss", "width_tape", "boundary_area", "put:A", "catch_factor:A"):
        assert seen.get(quantity, 1.0) == pytest.approx(1.0, abs=2e-3), quantity
    shown, truth = read(day("factor:D=6", world="nominal"))["shown_mass:D"], day("factor:D=6", world="nominal").truth
    assert truth.factors["D"] / day(world="nominal").truth.factors["D"] == pytest.approx(1.06, rel=2e-3)
    assert truth.sown_kg["D"] / shown == pytest.approx(truth.factors["D"] / 1.20, rel=1e-3)


def test_two_faults_multiply() -> None:
    one = day("factor:D=6", "distance=-3")
    assert one.truth.dose_ratio["D"] / day().truth.dose_ratio["D"] == pytest.approx(1.06 * 0.97)
    assert one.truth.dose_ratio["A"] / day().truth.dose_ratio["A"] == pytest.approx(0.97)


def test_the_ground_driven_outfit_sows_by_the_same_ratios() -> None:
    plan = plan_of(on_paper(), 15.0, rates={"C": 75.0})
    plain = simulate_day(on_paper(), plan, seed=1, world="still")
    wrong = simulate_day(on_paper(), plan, seed=1, world="still", faults=["distance=4", "factor:C=5"])
    assert wrong.truth.dose_ratio["C"] / plain.truth.dose_ratio["C"] == pytest.approx(1.04 * 1.05)
    assert read(wrong)["area_counter"] / read(plain)["area_counter"] == pytest.approx(1.04)


@pytest.mark.parametrize(
    ("text", "kind", "where", "size"),
    [
        ("factor:A=6", "factor", "A", 6.0),
        ("factor:A=-6.5%", "factor", "A", -6.5),
        ("distance=4 %", "distance", "", 4.0),
        ("width=-0.25m", "width", "", -0.25),
        ("fill-missed:D=1900kg", "fill-missed", "D", 1900.0),
        (" fill-doubled:D = 500 ", "fill-doubled", "D", 500.0),
        ("slip:C=1.121", "slip", "C", 1.121),
        ("lid:B=-8", "lid", "B", -8.0),
        ("bridge:A=60%", "bridge", "A", 60.0),
        ("run=037", "run", "37", 0.0),
        ("head=C", "head", "C", 0.0),
    ],
)
def test_a_fault_is_read_from_its_text(text: str, kind: str, where: str, size: float) -> None:
    spec = parse_fault(text)
    assert spec == FaultSpec(kind=kind, where=where, size=size)
    assert parse_fault(str(spec)) == spec


def test_every_kind_of_fault_has_a_unit_and_a_meaning() -> None:
    assert set(FAULT_KINDS) == {"factor", "distance", "width", "fill-missed", "fill-doubled", "slip", "lid", "bridge", "run", "head"}
    assert all(unit and meaning for _, unit, meaning in FAULT_KINDS.values())


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("factr:A=6", "no kind of fault. Kinds: factor"),
        ("factor=6", "write it as factor:BIN=%"),
        ("distance:A=6", "write it as distance=%"),
        ("distance", "write it as distance=%"),
        ("distance=", "write it as distance=%"),
        ("slip:A=zero", "'zero' is no number"),
        ("slip:A=0", "outside 0.05 to 20"),
        ("distance=nan", "outside -50 to 100"),
        ("fill-missed:A=-5", "outside 0 to 50000"),
        ("run=x", "no run number"),
    ],
)
def test_a_fault_that_cannot_be_read_says_how_to_write_it(text: str, says: str) -> None:
    with pytest.raises(SimulationError) as caught:
        parse_fault(text)
    assert says in str(caught.value)
    assert text.strip().split("=")[0].split(":")[0] in str(caught.value)


def test_all_faults_that_do_not_fit_the_outfit_are_named_at_once() -> None:
    with pytest.raises(SimulationError) as caught:
        simulate_day(logged(), plan_of(logged(), 5.0), seed=1, faults=["factor:Q=3", "run=99", "head=Z", "distance=1", "distance=2"])
    for part in ("bin Q is not in the plan", "no such run (64 runs)", "no such head", "distance is given more than once"):
        assert part in str(caught.value)
