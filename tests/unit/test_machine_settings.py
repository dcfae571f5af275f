"""Meters, wheels and settings: what is refused, what warns, and the commonest sums."""

from __future__ import annotations

import math

import pytest

from evenstand import machine
from evenstand.base.errors import EvenstandError, InputError, MissingError, RangeError
from evenstand.base.estimate import Est, propagate


@pytest.mark.parametrize(
    "call",
    [
        lambda: machine.meter_speed(-1, 2, 16, 1.25),
        lambda: machine.meter_speed(100, 2, 0, 1.25),
        lambda: machine.meter_speed(100, 2, 16, math.nan),
        lambda: machine.meter_rate(1, 0, 16, 1.25),
        lambda: machine.speed_window(100, 16, 1.25, 1.0, 0.5),
        lambda: machine.speed_window(0, 16, 1.25, 0.1, 0.5),
        lambda: machine.pulse_spacing(2, 0, 24),
        lambda: machine.displacement_factor(1.6, 780, 1.5),
        lambda: machine.field_capacity(2, 16, 1.2),
        lambda: machine.dose_ratio(true_width_m=0),
        lambda: machine.orifice_flow(0.1, 500, 1.2, coefficient=0.6, duct_m=0.1),
        lambda: machine.standard_pressure(20_000),
        lambda: machine.transport_lag(10, 25, slip=1.5),
        lambda: machine.head_balance([]),
        lambda: machine.needed_capacity(100, 5, 25),
        lambda: machine.saltation_velocity(0, 1e-4, 1.2, 0.078),
    ],
)
def test_what_cannot_be_is_refused_with_the_name_of_the_argument(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(RangeError) as caught:
        call()
    assert all(fault.where for fault in caught.value.faults)


def test_a_correlation_says_what_it_still_needs_and_an_unknown_one_what_there_is() -> None:
    with pytest.raises(MissingError, match="schade needs it"):
        machine.saltation_velocity(0.2, 4e-3, 1.2, 0.064, method="schade")
    with pytest.raises(InputError, match="geldart-ling"):
        machine.saltation_velocity(0.2, 4e-3, 1.2, 0.064, method="zenz")  # type: ignore[arg-type]


def test_a_correlation_is_a_number_that_carries_its_warning() -> None:
    fines = machine.saltation_velocity(0.25, 1e-4, 1.2, 0.078)
    assert fines.warning == ""
    assert f"{fines:.2f}" == "9.88"
    assert "0.2 mm" in machine.saltation_velocity(0.25, 4e-3, 1.2, 0.078).warning
    assert (
        "0.3 mm"
        in machine.saltation_velocity(0.25, 1e-4, 1.2, 0.078, method="matsumoto-1974", particle_kg_m3=2600, terminal_m_s=0.6).warning
    )
    assert machine.saltation_velocity(0.25, 4e-3, 1.2, 0.078, method="weber", terminal_m_s=8).warning


def test_wheel_runs_are_checked_one_by_one_and_all_at_once() -> None:
    with pytest.raises(RangeError) as caught:
        machine.wheel_calibration([100.0, -5.0, 100.0], [520, 520, 0])
    assert [f.where for f in caught.value.faults] == ["run 2", "run 3"]
    with pytest.raises(RangeError, match="pair"):
        machine.wheel_calibration([100.0, 100.0], [520])
    with pytest.raises(RangeError):
        machine.wheel_calibration([], [])


def test_a_short_run_of_few_pulses_is_limited_by_counting() -> None:
    short, long_ = machine.wheel_calibration(20.0, [24]), machine.wheel_calibration(150.0, [5 * 150])
    assert short.counting_share > 0.5
    assert long_.counting_share < 0.1
    assert short.sd / short.pulse_m > 2 * long_.sd / long_.pulse_m


def test_a_run_tells_how_far_the_typed_value_is_off() -> None:
    assert machine.wheel_calibration(100.0, [500], typed_pulse_m=0.1923).change == pytest.approx(0.2 / 0.1923)


def test_a_run_covers_the_true_value_as_often_as_it_says() -> None:
    import numpy as np

    rng, inside = np.random.default_rng(8), 0
    for _ in range(1500):
        taped = 100.0
        counts = [float(np.floor(taped * (1 + 0.005 * rng.standard_normal()) / 0.1923 + rng.random())) for _ in range(3)]
        c = machine.wheel_calibration(taped, counts, tape_sd_m=0.0)
        inside += c.low <= 0.1923 <= c.high
    assert 0.94 <= inside / 1500 <= 0.99


def test_uncertainty_runs_from_bin_and_density_to_hectares() -> None:
    mass = propagate(
        machine.bin_mass, capacity_m3=Est(value=6.6, sd=0.066), density_kg_m3=Est(value=780, sd=15.6), fill_share=Est(value=0.95, sd=0.01)
    )
    lasts = propagate(machine.area_per_fill, mass_kg=mass, rate_kg_ha=121.0)
    assert lasts.value == pytest.approx(40.4, abs=0.05)
    assert lasts.relative_sd == pytest.approx(math.sqrt(0.01**2 + 0.02**2 + (0.01 / 0.95) ** 2), rel=1e-3)


def test_seven_and_six_outlets_on_equal_segments_are_17_per_cent_apart_and_a_shut_sibling_gives_a_seventh() -> None:
    b = machine.head_balance([7, 6, 7, 6], flow_kg_s=2.0)
    assert b.worst == pytest.approx(0.167, abs=0.0005)
    assert b.load_kg_s == pytest.approx((0.5, 0.5, 0.5, 0.5))
    assert machine.head_balance([8]).when_one_shut == pytest.approx((1 / 7,))
    assert machine.head_balance([1]).when_one_shut == (math.inf,)


def test_a_wrong_width_costs_money_where_a_price_is_known() -> None:
    cost = machine.wrong_setting_cost(150, 64, typed_width_m=16.0, true_width_m=16.256, price_kg=0.8)
    assert cost.money == pytest.approx(-0.8 * 151.18, abs=0.05)
    assert machine.wrong_setting_cost(150, 64).money is None
    assert issubclass(RangeError, EvenstandError)
