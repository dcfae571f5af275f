"""What each witness can tell, and what echoes never add."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from evenstand.base.errors import InputError
from evenstand.check import BinDay, Look, PutIn, Relation, check_readings, judge, log_relation, reconcile, relations_for
from evenstand.check.relations import assemble, gains_of, label
from evenstand.model import Finding, Outfit, Reading

# a machine with known faults: typed F, W, V against true f, w, v; dose/asked = (f/F)(W/w)(V/v)
ASKED, TRUE_HA, WIDTH = 120.0, 60.0, 16.3


def machine(*, factor: float = 1.0, width: float = 1.0, distance: float = 1.0, overlap: float = 0.02) -> dict[str, Reading]:
    """Readings of a day; arguments are f/F, W/w, V/v and the share of ground sown twice."""
    driven = TRUE_HA * (1 + overlap)
    counter = driven * width * distance
    shown = ASKED * counter
    used = shown * factor
    metres = driven * 1e4 / WIDTH
    f, turns = ("F:A",), "turns:A"
    every = [
        Reading(quantity="area_counter", value=counter, sd=0.01, derived_from=("W", "V")),
        Reading(quantity="distance_shown", value=metres * distance, sd=1, derived_from=("V",)),
        Reading(quantity="shown_mass:A", value=shown, sd=1, derived_from=(*f, turns)),
        Reading(quantity="rate_shown:A", value=ASKED, sd=0.1, derived_from=(*f, turns, "W", "V")),
        Reading(quantity="typed_rate:A", value=ASKED, sd=0.05, derived_from=("rate:A",)),
        Reading(quantity="entered:A", value=used + 300, sd=1, derived_from=("entered:A",)),
        Reading(quantity="left_shown:A", value=used + 300 - shown, sd=1, derived_from=(*f, turns, "entered:A")),
        Reading(quantity="put:A", value=used + 300, sd=15, instrument="truck-scale"),
        Reading(quantity="level:A", value=300, sd=10, instrument="weighed"),
        Reading(quantity="boundary_area", value=TRUE_HA, sd=0.4),
        Reading(quantity="distance_gnss", value=metres, sd=30),
        Reading(quantity="width_tape", value=WIDTH, sd=0.015),
        Reading(quantity="distance_taped", value=distance, sd=0.003),
        Reading(quantity="catch_factor:A", value=1.25 * factor, sd=0.012),
    ]
    return {r.quantity: r for r in every}


ECHOES = ("area_counter", "distance_shown", "shown_mass:A", "rate_shown:A", "typed_rate:A", "entered:A", "left_shown:A")
SCALE = ("put:A", "level:A")


def findings(
    readings: dict[str, Reading], *names: str, width: float = 1.0, overlap: tuple[float, float] = (0.01, 0.04)
) -> tuple[Finding, ...]:
    kept = [r for n, r in readings.items() if n in (*ECHOES, *names)]
    return check_readings(kept, asked={"A": ASKED}, typed={"W": WIDTH * width, "F:A": 1.25}, overlap=overlap).findings


def accused(found: tuple[Finding, ...]) -> list[tuple[str, ...]]:
    return [group for f in found if f.state in ("doubtful", "does-not-hold") for group in f.suspects]


def state_of(found: tuple[Finding, ...], about: str) -> set[str]:
    return {f.state for f in found if f.about == about}


def test_a_display_alone_tells_nothing_about_the_machine() -> None:
    """Shown rate equals target whatever is wrong: echoes add no redundancy, so the answer is 'cannot be told yet'."""
    wrong = machine(factor=1.15, width=1.05, distance=0.93)
    found = findings(wrong)
    assert accused(found) == []
    relations, every = relations_for([wrong[n] for n in ECHOES], asked={"A": ASKED})
    told = reconcile(relations, every)
    assert (told.chi2, told.dof, told.state) == (0.0, 0, "cannot be told yet")
    assert math.isnan(told.p)


def test_a_scale_against_the_mass_shown_tells_the_factor_only() -> None:
    found = findings(machine(factor=1.08), *SCALE)
    assert any("factor:A" in group for group in accused(found))
    assert all(not {"width", "distance", "overlap"} & set(group) for group in accused(found))
    for other in ({"width": 1.08}, {"distance": 1.08}):
        assert accused(findings(machine(**other), *SCALE, **({"width": 1.08} if "width" in other else {}))) == []


def test_a_scale_cannot_part_a_light_meter_from_a_missing_fill_but_a_catch_can() -> None:
    light = machine(factor=0.90)
    both = findings(light, *SCALE)
    assert {"factor:A", "fill-missed:A"} <= set(accused(both)[0])
    said = next(f for f in both if f.suspects and f.state != "cannot-tell")
    assert said.settle_by
    assert accused(findings(light, *SCALE, "catch_factor:A")) == [("factor:A",)]


def test_counter_against_outline_tells_width_times_distance_only() -> None:
    found = accused(findings(machine(distance=1.12), "boundary_area"))
    assert set(found[0]) == {"width", "distance", "overlap"}


def test_an_outline_never_accuses_width_or_distance_within_the_usual_overlap() -> None:
    assert accused(findings(machine(overlap=0.035), "boundary_area")) == []


def test_a_counter_below_the_outline_is_no_overlap() -> None:
    found = accused(findings(machine(distance=0.88), "boundary_area"))
    assert set(found[0]) == {"width", "distance"}


def test_a_tape_parts_width_from_distance() -> None:
    assert accused(findings(machine(width=1.06), "boundary_area", "width_tape", width=1.06)) == [("width",)]
    assert accused(findings(machine(distance=1.08), "boundary_area", "width_tape", "distance_taped")) == [("distance",)]


def test_positions_that_feed_the_speed_are_no_witness() -> None:
    wrong = machine(distance=1.10)
    assert accused(findings(wrong, "distance_gnss")) == [("distance",)]
    same = dict(wrong)
    same["distance_gnss"] = Reading(quantity="distance_gnss", value=wrong["distance_shown"].value, sd=30, derived_from=("V",))
    assert accused(findings(same, "distance_gnss")) == []


def test_a_good_day_with_everything_read_holds_throughout() -> None:
    found = findings(machine(), *SCALE, "boundary_area", "width_tape", "distance_taped", "distance_gnss", "catch_factor:A")
    assert {f.state for f in found} == {"holds"}
    assert "dose" not in " ".join(f.claim for f in found)


def test_a_slip_of_the_rate_is_told_by_an_echo_alone() -> None:
    slipped = machine()
    slipped["typed_rate:A"] = Reading(quantity="typed_rate:A", value=134.5, sd=0.05, derived_from=("rate:A",))
    found = findings(slipped)
    said = next(f for f in found if f.state == "does-not-hold")
    assert said.suspects == (("slip:A",),)
    assert said.size is not None
    assert said.size.value == pytest.approx(1.1208, rel=0.005)
    assert "lb/ac typed where kg/ha was meant" in said.claim
    assert said.not_claimed == "Certainty from a ratio alone."


def test_rows_times_spacing_are_a_witness_of_the_width() -> None:
    outfit = Outfit(key="o", name="o", rows=64, row_spacing_m=0.254)
    found = check_readings([], outfit=outfit, typed={"W": 16.0}).findings
    said = next(f for f in found if f.about == "width")
    assert said.suspects == (("width",),)
    assert said.size_unit == "m"
    assert said.size is not None
    assert said.size.value == pytest.approx(16.0 - 16.256, abs=0.01)


def test_believable_and_worth_stopping_for_are_two_thresholds() -> None:
    small = check_readings([], outfit=Outfit(key="o", name="o", rows=64, row_spacing_m=0.254), typed={"W": 16.0}).findings
    large = check_readings([], outfit=Outfit(key="o", name="o", rows=64, row_spacing_m=0.254), typed={"W": 15.0}).findings
    assert [f.worth_stopping for f in (*small, *large)] == [False, True]
    assert "leave" in small[0].claim


def test_two_faults_at_once_are_both_named() -> None:
    found = accused(findings(machine(factor=1.09, distance=1.09), *SCALE, "catch_factor:A", "distance_taped", "distance_gnss"))
    assert sorted(found) == [("distance",), ("factor:A",)]


def days(*, missed: float = 0.0, factor: float = 1.0, doubled: bool = False) -> BinDay:
    """Four fills of 3.6 t, a weighed look before each and at the end; the wrong fill is the third."""
    puts, looks, level = [], [], 0.0
    for i in range(4):
        puts.append(PutIn(machine_kg=3500.0 * i, put_kg=3600.0, put_sd_kg=11))
        if doubled and i == 2:
            puts.append(PutIn(machine_kg=3500.0 * i, put_kg=3600.0, put_sd_kg=11, twin=True))
        level += 3600.0 + (missed if i == 2 else 0.0) - 3500.0 * factor
        looks.append(Look(machine_kg=3500.0 * (i + 1), level_kg=level, level_sd_kg=40))
    return BinDay(bin="A", looks=tuple(looks), puts=tuple(puts))


def test_one_interval_off_by_a_load_is_a_missing_fill_not_the_meter() -> None:
    found = check_readings([], bin_days=[days(missed=3600)]).findings
    said = found[0]
    assert said.suspects == (("fill-missed:A", "bridge:A"),)  # without tickets a bridge in that interval looks the same
    assert said.size is not None
    assert said.size.value == pytest.approx(3600, abs=100)
    assert "not the meter" in said.claim


def test_a_finding_without_a_log_says_no_time_and_one_with_a_log_says_one() -> None:
    def timed(*at_s: float | None) -> str:
        plain = days(missed=3600)
        looks = tuple(dataclasses.replace(k, at_s=t) for k, t in zip(plain.looks, at_s, strict=True))
        return check_readings([], bin_days=[dataclasses.replace(plain, looks=looks)]).findings[0].claim

    assert "into the day" not in timed(None, None, None, None)
    assert "into the day" not in timed(0.0, 0.0, 1.0, 1.0)
    assert " between about 2:30 h and 3:45 h into the day" in timed(4500.0, 9000.0, 13500.0, 18000.0)
    assert " on record about 2:30 h into the day" in timed(4500.0, 9000.0, 9010.0, 18000.0)


def test_every_interval_off_by_the_same_share_is_the_meter() -> None:
    found = check_readings([], bin_days=[days(factor=0.92)]).findings
    assert found[0].suspects == (("factor:A", "lid:A"),)  # without a catch a leak looks the same
    assert found[0].size is not None
    assert found[0].size.value == pytest.approx(-0.08, abs=0.01)


def test_a_leak_is_no_rival_of_a_heavy_meter_and_no_bridge_either() -> None:
    """Air that leaks, and product that does not fall, only make a meter look light."""
    (heavy,) = accused(check_readings([], bin_days=[days(factor=1.08)]).findings)
    assert heavy == ("factor:A",)
    (light,) = accused(check_readings([], bin_days=[days(factor=0.92)]).findings)
    assert "lid:A" in light


def test_an_entry_made_twice_is_found_by_its_twin() -> None:
    found = check_readings([], bin_days=[days(doubled=True)]).findings
    assert found[0].suspects == (("fill-doubled:A",),)


def test_volume_fills_share_the_error_of_the_density() -> None:
    day = days(factor=0.9)
    brim = BinDay(
        bin="A",
        looks=day.looks,
        puts=tuple(PutIn(machine_kg=p.machine_kg, put_kg=p.put_kg, put_sd_kg=0.04 * p.put_kg, how="brim") for p in day.puts),
    )
    found = accused(check_readings([], bin_days=[brim]).findings)
    assert found == [] or "density:A" in found[0]


def test_loads_follow_from_what_a_reading_repeats() -> None:
    reading = Reading(quantity="rate_shown:A", value=1, sd=0.1, derived_from=("F:A", "turns:A", "W", "V"))
    assert gains_of(reading) == {"factor:A": -1.0, "width": 1.0, "distance": 1.0}
    counter = Reading(quantity="area_counter", value=60, sd=0.1, derived_from=("W", "V"))
    shown = Reading(quantity="distance_shown", value=4e4, sd=1, derived_from=("V",))
    assert set(log_relation("k", "a", "t", counter, shown).loads) == {"width"}


def test_readings_that_share_a_gain_are_correlated() -> None:
    a = Reading(quantity="distance_shown", value=1000, sd=1, derived_from=("V",))
    b, c = Reading(quantity="distance_gnss", value=1000, sd=3), Reading(quantity="distance_taped", value=1.0, sd=0.003)
    system = assemble([log_relation("x", "d", "x", a, b), log_relation("y", "d", "y", c, loads={"distance": 1.0})], [a, b, c])
    assert system.covariance[0, 1] > 0
    assert np.linalg.eigvalsh(system.covariance).min() > 0


def test_only_the_causes_asked_for_are_looked_for() -> None:
    wrong = machine(distance=1.12)
    relations, every = relations_for([wrong["area_counter"], wrong["boundary_area"]], asked={"A": ASKED})
    assert reconcile(relations, every, causes=("width",)).suspects == (("width",),)


def test_reconciled_readings_move_towards_each_other() -> None:
    relations, every = relations_for([machine(distance=1.01)[n] for n in ("distance_shown", "distance_gnss")], asked={})
    told = reconcile(relations, every)
    gap = abs(math.log(told.values[0] / told.values[1]))
    assert gap < math.log(1.01)
    assert told.dof == 1


def test_a_reading_that_cannot_be_compared_is_refused_by_name() -> None:
    bad = Reading(quantity="distance_gnss", value=0.0, sd=1)
    relations, every = relations_for([machine()["distance_shown"], bad], asked={})
    with pytest.raises(InputError, match="distance_gnss"):
        judge(relations, every)


def test_a_relation_made_by_hand_serves_as_well() -> None:
    scale = Relation(
        key="s", about="bin A", text="two scales", scale="mass", terms=(("a", 1.0), ("b", -1.0)), loads={"fill-missed:A": -1.0}
    )
    told = reconcile([scale], [Reading(quantity="a", value=1000, sd=5), Reading(quantity="b", value=3000, sd=5)])
    assert told.suspects == (("fill-missed:A",),)
    assert label("fill-missed:A@2") == "fill-missed:A"


def test_the_reading_asked_for_is_the_one_that_is_in_doubt() -> None:
    day = days()
    by_time = BinDay(
        bin="A",
        looks=day.looks,
        puts=tuple(PutIn(machine_kg=p.machine_kg, put_kg=p.put_kg, put_sd_kg=0.07 * p.put_kg, how="conveyor") for p in day.puts),
    )
    by_eye = BinDay(
        bin="A", looks=tuple(Look(machine_kg=k.machine_kg, level_kg=k.level_kg, level_sd_kg=700) for k in day.looks), puts=day.puts
    )
    asked = {}
    for name, one in (("conveyor", by_time), ("glance", by_eye)):
        unsure = next(f for f in check_readings([], bin_days=[one]).findings if f.about == "bin A")
        assert unsure.state == "cannot-tell"
        asked[name] = unsure.settle_by
    assert "weigh the loads" in asked["conveyor"]
    assert "low-level light" in asked["glance"]


def test_what_holds_is_never_said_of_more_than_the_readings_show() -> None:
    """The bound of a 'holds' covers the size that was read and its spread."""
    readings = machine(distance=1.02)
    found = next(f for f in findings(readings, "distance_gnss", "distance_taped") if f.about == "distance")
    assert found.size is not None
    if found.state == "holds":
        assert abs(found.size.value) + 1.645 * found.size.sd <= 0.05 + 1e-9
