"""The fan: nothing without a proven speed; with one, its window, its verdicts and its readings."""

from __future__ import annotations

import pytest

from evenstand import machine
from evenstand.base.errors import InputError, RangeError

RPM = 1 / 60
LOADS = {"proven_solids_kg_s": 0.66, "solids_kg_s": 0.66}


def test_without_a_proven_speed_there_is_no_number_but_the_test_to_do():
    window = machine.air_window(None, solids_kg_s=0.6, density_kg_m3=1.2, product="wheat")
    assert window.state == "cannot-tell"
    speeds = (window.rev_s, window.low_rev_s, window.high_rev_s, window.alarm_low_rev_s, window.alarm_high_rev_s, window.proven_rev_s)
    assert speeds == (None,) * 6
    assert "puff test" in window.claim
    assert window.missing[0].startswith("a proven fan speed")
    assert window.working == ()


def test_under_the_proven_conditions_the_setting_is_the_proven_speed_with_the_usual_alarms():
    window = machine.air_window(4300 * RPM, **LOADS, proven_density_kg_m3=1.15, density_kg_m3=1.15)
    assert window.state == "holds"
    assert [window.low_rev_s, window.rev_s, window.high_rev_s] == pytest.approx([4300 * RPM] * 3)
    assert window.alarm_low_rev_s == pytest.approx(4300 * 0.94 * RPM)
    assert window.alarm_high_rev_s == pytest.approx(4300 * 1.08 * RPM)
    assert window.missing == ()


def test_own_alarm_limits_win():
    window = machine.air_window(70, **LOADS, alarm_below=0.1, alarm_above=0.2)
    assert (window.alarm_low_rev_s, window.alarm_high_rev_s) == (pytest.approx(63), pytest.approx(84))


def test_a_thousand_metres_up_the_fan_moves_a_tenth_less_air_and_is_asked_for_a_tenth_more_speed():
    """ISO 2533 as tabulated: 1.2250 / 1.11166 = 1.102."""
    up = machine.geopotential_height(1000)
    here = machine.air_density(15, 101_325)
    there = machine.air_density(machine.standard_temperature(up), machine.standard_pressure(up))
    window = machine.air_window(4300 * RPM, **LOADS, proven_density_kg_m3=here, density_kg_m3=there)
    assert 1 / window.air_mass_ratio == pytest.approx(1.2250 / 1.11166, abs=5e-5)
    assert window.rev_s * 60 == pytest.approx(4300 * 1.102, abs=2)
    assert window.low_rev_s * 60 == pytest.approx(4300 * 1.102**0.5, abs=2)
    # fan laws: at the speed asked for, volume is up by 1.102 and mass is what it was
    flow = machine.fan_laws(1.0, 1.0, 1.0, speed_ratio=window.rev_s / (4300 * RPM)).flow
    assert flow * window.air_mass_ratio == pytest.approx(1.0)


def test_denser_air_is_not_slowed_down_below_the_drag_that_was_proven():
    window = machine.air_window(70, **LOADS, proven_density_kg_m3=1.0, density_kg_m3=1.21)
    assert window.rev_s == pytest.approx(70 / 1.1)  # density times speed squared kept
    assert window.rev_s > 70 / 1.21


@pytest.mark.parametrize(("then", "now", "state"), [(0.66, 1.0, "holds"), (0.66, 1.2, "doubtful"), (0.66, 0.3, "doubtful")])
def test_too_far_from_the_proven_load_asks_for_another_proof(then, now, state):
    window = machine.air_window(70, proven_solids_kg_s=then, solids_kg_s=now)
    assert window.state == state
    assert ("prove the fan again" in " ".join(window.notes)) == (state == "doubtful")


def test_too_thin_air_asks_for_another_proof():
    window = machine.air_window(70, **LOADS, proven_density_kg_m3=1.25, density_kg_m3=0.95)
    assert window.state == "doubtful"
    assert "Air density" in window.notes[0]


def test_a_load_that_is_not_known_is_not_invented():
    window = machine.air_window(70, solids_kg_s=0.6)
    assert (window.state, window.load_ratio, window.rev_s) == ("doubtful", None, pytest.approx(70))
    assert any("load it was proven with" in text for text in window.missing)
    assert [i.name for i in window.mattered] == []


def test_air_that_is_not_known_is_named_but_does_not_spoil_the_answer():
    window = machine.air_window(70, **LOADS, density_kg_m3=1.1)
    assert (window.state, window.density_ratio, window.air_mass_ratio) == ("holds", None, None)
    assert [text for text in window.missing if "air it was proven in" in text]


def test_another_product_is_compared_by_its_published_floating_speed_or_not_at_all():
    heavier = machine.air_window(70, **LOADS, proven_product="wheat", product="pea")
    assert heavier.lift_ratio == pytest.approx(14.85 / ((8.03 + 10.54) / 2))
    assert heavier.state == "doubtful"
    unknown = machine.air_window(70, **LOADS, proven_product="wheat", product="quinoa")
    assert (unknown.lift_ratio, unknown.state) == (None, "doubtful")
    assert "quinoa" in unknown.band.text
    same = machine.air_window(70, **LOADS, proven_product="Wheat seed", product="wheat")
    assert (same.lift_ratio, same.state) == (1.0, "holds")
    measured = machine.air_window(70, **LOADS, proven_lift_m_s=8.0, lift_m_s=8.8)
    assert measured.rev_s > 70
    assert measured.mattered[0].name == "product"


def test_less_of_the_fans_air_asks_for_more_speed():
    window = machine.air_window(70, **LOADS, proven_split=0.5, split=0.4)
    assert window.rev_s == pytest.approx(70 * 0.5 / 0.4)
    assert window.mattered[0].name == "split"


def test_the_working_says_what_mattered_first_and_lays_the_numbers_open():
    window = machine.air_window(70, proven_solids_kg_s=0.5, solids_kg_s=0.6, proven_density_kg_m3=1.2, density_kg_m3=1.0)
    assert [i.name for i in window.mattered] == ["air density", "load"]
    product = 1.0
    for influence in window.mattered:
        product *= influence.factor
    assert window.rev_s == pytest.approx(70 * product)
    assert window.working[0] == machine.scaled_fan_speed.worked.formula
    assert "0.833" in window.working[1]
    assert window.working[2].endswith("rpm")


def test_the_published_band_stays_an_opinion():
    text = machine.air_window(70, **LOADS, product="pea", proven_product="pea").band.text
    assert "Published band, weak" in text
    assert "14.85" in text


def test_a_fan_set_outside_its_alarms_or_too_slow_a_fan_does_not_hold():
    window = machine.air_window(70, **LOADS, set_rev_s=64)
    assert (window.state, "outside" in window.claim) == ("does-not-hold", True)
    assert machine.air_window(70, **LOADS, set_rev_s=69).state == "holds"
    slow = machine.air_window(70, proven_solids_kg_s=0.5, solids_kg_s=0.7, max_rev_s=71)
    assert (slow.state, "at most" in slow.claim) == ("does-not-hold", True)


def test_two_proven_speeds_give_the_outfits_own_exponent_and_close_the_window():
    own = machine.own_load_exponent(4300, 0.66, 3800, 0.27)
    assert own == pytest.approx(0.138, abs=0.001)
    window = machine.air_window(4300 * RPM, proven_solids_kg_s=0.66, solids_kg_s=0.5, load_exponent=own)
    assert window.low_rev_s == pytest.approx(window.rev_s)
    assert window.rev_s < window.proven_rev_s
    with pytest.raises(RangeError):
        machine.own_load_exponent(4300, 0.66, 4200, 0.65)
    with pytest.raises(RangeError):
        machine.air_window(70, **LOADS, load_exponent=1.2)


@pytest.mark.parametrize(
    "wrong",
    [
        {"proven_rev_s": 0}, {"proven_rev_s": -5}, {"proven_rev_s": float("nan")}, {"solids_kg_s": 0}, {"proven_solids_kg_s": -1},
        {"density_kg_m3": 0}, {"split": 0}, {"proven_split": 1.2}, {"alarm_below": 1.0}, {"alarm_above": 0}, {"set_rev_s": -1},
        {"max_rev_s": 0}, {"lift_m_s": 0},
    ],
)  # fmt: skip
def test_impossible_inputs_are_refused_by_name(wrong):
    given = {"proven_rev_s": 70, **LOADS, **wrong}
    with pytest.raises(RangeError, match=next(iter(wrong))):
        machine.air_window(given.pop("proven_rev_s"), **given)


def test_a_puff_out_of_all_openers_in_time_proves_the_speed():
    good = machine.puff_test(2.5, rev_s=4300 * RPM)
    assert good.state == "holds"
    assert good.claim.endswith("at 4\u202f300 rpm: proven for this load, product and air.")
    slow = machine.puff_test(4)
    assert (slow.state, slow.suspects[0]) == ("doubtful", ("fan",))
    silent = machine.puff_test(2, silent=1)
    assert (silent.state, silent.suspects[0]) == ("does-not-hold", ("run",))
    assert "Shut the fan" in silent.settle_by
    with pytest.raises(RangeError):
        machine.puff_test(-1)


def test_the_usual_droop_holds_and_a_sag_at_lift_names_the_hydraulics():
    usual = machine.fan_droop(4300 * RPM, loaded_rev_s=4150 * RPM)
    assert (usual.state, "150 rpm" in usual.claim) == ("holds", True)
    sag = machine.fan_droop(4300 * RPM, lifted_rev_s=3800 * RPM)
    assert sag.state == "doubtful"
    assert "Sags 500 rpm when you lift" in sag.claim
    assert "hydraulic flow and priority" in sag.claim
    deep = machine.fan_droop(4300 * RPM, lifted_rev_s=3300 * RPM)
    assert deep.state == "does-not-hold"
    loaded = machine.fan_droop(4300 * RPM, loaded_rev_s=3900 * RPM)
    assert (loaded.state, "set it again with product flowing" in loaded.claim) == ("does-not-hold", True)
    slightly = machine.fan_droop(4300 * RPM, loaded_rev_s=4060 * RPM)
    assert slightly.state == "doubtful"


def test_cold_oil_softens_the_verdict_and_says_to_read_again():
    cold = machine.fan_droop(4300 * RPM, lifted_rev_s=3300 * RPM, cold_oil=True)
    assert cold.state == "doubtful"
    assert "dawn" in cold.claim
    with pytest.raises(InputError):
        machine.fan_droop(4300 * RPM)
    with pytest.raises(RangeError):
        machine.fan_droop(0, loaded_rev_s=1)
