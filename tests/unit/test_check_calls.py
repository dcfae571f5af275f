"""The telephone: causes, the next reading to ask for, and the words to say."""

from __future__ import annotations

import pytest

from evenstand.base.errors import InputError
from evenstand.check.calls import CallReadings, answer_call, level_spread


def test_nothing_read_asks_for_the_rate_first() -> None:
    answer = answer_call(CallReadings())
    assert (answer.likely, answer.ratios) == ((), ())
    assert "rate" in answer.ask
    assert answer.say == ("Nothing to compare yet: two numbers that should agree are needed.",)


def test_lb_ac_typed_for_kg_ha_is_recognised_by_its_ratio() -> None:
    answer = answer_call(CallReadings(asked_kg_ha=120, seen_kg_ha=134.5))
    assert answer.likely == ("slip:A",)
    assert "lb/ac typed where kg/ha was meant." in answer.say[0]
    assert "Certainty from a ratio alone." in answer.never


def test_acres_on_a_counter_accuse_nobody() -> None:
    answer = answer_call(CallReadings(area_counter_ha=153.2, boundary_ha=62))
    assert answer.likely == ()
    assert "Acres where hectares were meant." in answer.say[0]
    assert "unit" in answer.ask


def test_a_width_one_row_too_narrow_is_told_from_rows_times_spacing() -> None:
    answer = answer_call(CallReadings(width_typed_m=16.0, rows=64, spacing_m=0.254))
    assert answer.likely == ("width",)
    assert "16.00 m is typed" in answer.say[0]


def test_light_use_is_a_light_meter_or_a_fill_and_a_reading_to_part_them() -> None:
    answer = answer_call(CallReadings(put_kg=4000, left_kg=900, left_how="light", area_counter_ha=29.6, asked_kg_ha=121, seen_kg_ha=121))
    assert {"factor:A", "fill-missed:A"} <= set(answer.likely)
    assert answer.ask


def test_a_glance_cannot_tell_and_says_what_would() -> None:
    answer = answer_call(CallReadings(put_kg=4000, left_kg=600, left_how="glance", area_counter_ha=29.6, asked_kg_ha=121, seen_kg_ha=121))
    assert answer.likely == ()
    assert any(f.state == "cannot-tell" for f in answer.findings)
    assert "low-level light" in answer.ask or "catch" in answer.ask


def test_a_taped_distance_tells_the_count() -> None:
    answer = answer_call(CallReadings(distance_shown_m=106, distance_taped_m=100))
    assert answer.likely == ("distance",)


def test_a_catch_against_the_factor_typed_tells_the_meter() -> None:
    assert answer_call(CallReadings(factor_kg_turn=1.25, catch_kg_turn=1.12)).likely == ("factor:A",)


def test_a_scale_against_the_mass_shown_tells_the_meter() -> None:
    assert answer_call(CallReadings(shown_kg=3000, weighed_kg=3300)).likely == ("factor:A",)


def test_counter_against_outline_asks_for_the_tape() -> None:
    answer = answer_call(CallReadings(area_counter_ha=75, boundary_ha=62, width_typed_m=16.3, asked_kg_ha=120, seen_kg_ha=120))
    assert {"width", "distance", "overlap"} <= set(answer.likely)
    assert "tape" in answer.ask


def test_dead_runs_lead_to_the_hose_and_never_to_a_rate() -> None:
    answer = answer_call(CallReadings(dead_runs=(37,)))
    assert answer.likely == ("run:37",)
    assert any("Stop the fan" in s for s in answer.say)
    assert any("kg/ha" in s for s in answer.never)


def test_agreeing_numbers_are_no_proof_of_placement() -> None:
    answer = answer_call(CallReadings(asked_kg_ha=120, seen_kg_ha=120))
    assert answer.likely == ()
    assert "swapped streams would not show" in answer.say[1]


def test_a_level_seen_some_other_way_is_refused() -> None:
    assert level_spread("glance", 400, 5000) == 500
    with pytest.raises(InputError, match="no way to see"):
        level_spread("guess", 400, 5000)
