"""Air, lines and ammonia against print and against open libraries, in both unit systems."""

from __future__ import annotations

import pytest

from evenstand import machine
from evenstand.base.units import LB_KG, US_GALLON_L
from evenstand.reference import table

_LB_GAL = LB_KG / (US_GALLON_L / 1e3)
_SATURATED = table("liquids")["ammonia"]["saturated"]
AMMONIA = list(zip(*(_SATURATED[name]["rows"] for name in ("temperature", "density", "pressure")), strict=True))


@pytest.mark.parametrize(("fahrenheit", "lb_gal", "psig"), AMMONIA)
def test_ammonia_gives_the_rows_of_its_table(fahrenheit, lb_gal, psig):
    celsius = (fahrenheit - 32) / 1.8
    assert machine.ammonia_density(celsius) / _LB_GAL == pytest.approx(lb_gal, abs=1e-9)
    assert machine.ammonia_pressure(celsius) / 6894.757 - 14.696 == pytest.approx(psig, abs=1e-6)


@pytest.mark.parametrize("celsius", [-33, -30, -20, -11, -3, 2, 7, 13, 18, 24, 30, 35, 37.7])
def test_ammonia_agrees_with_a_second_library_between_its_rows(celsius):
    """The table was computed with CoolProp: this tests the straight lines between its rows, not the table."""
    props = pytest.importorskip("CoolProp.CoolProp", reason="NOT RUN HERE: CoolProp is not installed")
    kelvin = celsius + 273.15
    assert machine.ammonia_density(celsius) == pytest.approx(props.PropsSI("D", "T", kelvin, "Q", 0, "Ammonia"), rel=3e-4)
    assert machine.ammonia_pressure(celsius) == pytest.approx(props.PropsSI("P", "T", kelvin, "Q", 0, "Ammonia"), rel=2e-3)


@pytest.mark.parametrize(("celsius", "pascal", "humidity"), [(-5, 97_000, 0.8), (15, 101_325, 0.0), (25, 90_000, 0.5), (35, 94_000, 0.9)])
def test_air_agrees_with_a_second_library(celsius, pascal, humidity):
    moist = pytest.importorskip("CoolProp.HumidAirProp", reason="NOT RUN HERE: CoolProp is not installed")
    kelvin = celsius + 273.15
    theirs = (1 + moist.HAPropsSI("W", "T", kelvin, "P", pascal, "R", humidity)) / moist.HAPropsSI(
        "V", "T", kelvin, "P", pascal, "R", humidity
    )
    assert machine.air_density(celsius, pascal, humidity) == pytest.approx(theirs, rel=1e-3)


@pytest.mark.parametrize("reynolds", [5e3, 4e4, 1e5, 2e6])
@pytest.mark.parametrize("rough", [1e-5, 1e-4, 5e-3])
def test_friction_is_that_of_the_library_it_was_taken_from(reynolds, rough):
    """A port check against the open library fluids, not an independent source."""
    friction = pytest.importorskip("fluids.friction", reason="NOT RUN HERE: fluids is not installed")
    assert machine.friction_factor(reynolds, rough, method="colebrook") == pytest.approx(friction.Colebrook(reynolds, rough), rel=1e-9)
    assert machine.friction_factor(reynolds, rough, method="haaland") == pytest.approx(friction.Haaland(reynolds, rough), rel=1e-9)
    assert machine.friction_factor(reynolds, rough) == pytest.approx(friction.Swamee_Jain_1976(reynolds, rough), rel=1e-9)
    if reynolds < 2e5:
        assert machine.friction_factor(reynolds, method="blasius") == pytest.approx(friction.Blasius(reynolds), rel=1e-9)


@pytest.mark.parametrize("size", [2e-5, 7e-5, 5e-4, 2e-3, 7e-3])
def test_a_ball_floats_as_in_the_library_the_drag_was_taken_from(size):
    """A port check against the open library fluids."""
    drag = pytest.importorskip("fluids.drag", reason="NOT RUN HERE: fluids is not installed")
    theirs = drag.v_terminal(D=size, rhop=1300.0, rho=1.2, mu=1.8e-5)
    assert machine.terminal_velocity(size, 1300, 1.2, 1.8e-5) == pytest.approx(theirs, rel=1e-6)


def test_air_alone_drops_pressure_as_in_a_general_library():
    """Darcy's equation with fluids' own friction factor."""
    fluids = pytest.importorskip("fluids", reason="NOT RUN HERE: fluids is not installed")
    ours = machine.line_pressure_drop(12, 0.064, 22, 1.15, viscosity_pa_s=1.8e-5, roughness_m=5e-5, friction="colebrook")
    reynolds = fluids.Reynolds(V=22, D=0.064, rho=1.15, mu=1.8e-5)
    factor = fluids.friction_factor(Re=reynolds, eD=5e-5 / 0.064)
    loss = fluids.K_from_f(fd=factor, L=12, D=0.064)
    assert ours.air_pa == pytest.approx(fluids.dP_from_K(loss, rho=1.15, V=22), rel=1e-6)


def test_viscosity_is_that_of_the_standard_atmosphere():
    atmosphere = pytest.importorskip("fluids.atmosphere", reason="NOT RUN HERE: fluids is not installed")
    for height in (0, 600, 2000, 5000):
        celsius = machine.standard_temperature(machine.geopotential_height(height))
        assert machine.air_viscosity(celsius) == pytest.approx(atmosphere.ATMOSPHERE_1976(height).mu, rel=1e-6)


@pytest.mark.parametrize(
    ("flow", "pressure", "power", "ratio", "printed"),
    [
        (6000, 4, 6, 1500 / 2000, (4500, 2.25, 2.53)),  # cfm, inches of water, hp
        (2000, 3.00, 1.0, 1500 / 1300, (2308, 3.99, 1.54)),  # cfm, inches of water, kW
    ],
)
def test_fan_laws_give_two_worked_solutions(flow, pressure, power, ratio, printed):
    point = machine.fan_laws(flow, pressure, power, speed_ratio=ratio)
    assert (round(point.flow), round(point.pressure, 2), round(point.power, 2)) == printed


def test_a_nozzle_of_a_nitrogen_solution_in_both_unit_systems():
    """100 lb N/ac at 3.3 lb/gal, 4 mph, 30 in: 0.61 gal/min; 2.3 L/min."""
    litres = machine.liquid_nutrient_rate(100 * LB_KG / 0.40468564224, 3.3 / 10.8, 10.8 * _LB_GAL)
    flow = machine.liquid_flow(litres, 4 * 0.44704, 30 * 0.0254)
    assert flow / US_GALLON_L == pytest.approx(0.61, abs=0.005)
    assert flow == pytest.approx(2.32, abs=0.01)
