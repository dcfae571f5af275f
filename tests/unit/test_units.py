"""Units: definitions, text, profiles."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenstand.base.errors import UnitError
from evenstand.base.units import (
    ACRE_M2,
    QUANTITIES,
    check_profile,
    from_metric,
    profile_unit,
    read_quantity,
    recognise,
    rounded,
    shown,
    to_metric,
)


@pytest.mark.parametrize(
    ("value", "quantity", "symbol", "metric"),
    [
        # definitions: international pound, yard, acre; Winchester bushel 2150.42 in3; gallon 231 in3
        (1, "mass", "lb", 0.45359237),
        (1, "area", "ac", 0.40468564224),
        (1, "rate", "lb/ac", 0.45359237 / 0.40468564224),
        (1, "speed", "mph", 0.44704),
        (1, "width", "ft", 0.3048),
        (1, "volume", "bu (US)", 2150.42 * 0.0254**3),
        (1, "volume", "gal (US)", 231 * 0.0254**3),
        (1, "liquid", "gal (imp)", 4.54609),
        (212, "temperature", "°F", 100.0),
        (60, "shaft", "rpm", 1.0),
    ],
)
def test_a_unit_has_its_defined_size(value, quantity, symbol, metric):
    assert to_metric(value, quantity, symbol) == pytest.approx(metric, rel=1e-12)


def test_pint_agrees_once_it_goes_through_metres():
    """pint's acre is the US survey acre, so areas go through yards; everything else at 1e-9. Source: pint's registry."""
    import pint

    u = pint.UnitRegistry()
    assert (1 * u.pound).to("kg").magnitude == pytest.approx(to_metric(1, "mass", "lb"), rel=1e-9)
    assert (4840 * u.yard**2).to("m^2").magnitude == pytest.approx(ACRE_M2, rel=1e-9)
    assert (1 * u.acre).to("m^2").magnitude == pytest.approx(ACRE_M2, rel=5e-6)
    assert (1 * u.acre).to("m^2").magnitude != pytest.approx(ACRE_M2, rel=1e-6)
    assert (1 * u.pound / u.foot**3).to("kg/m^3").magnitude == pytest.approx(to_metric(1, "density", "lb/ft³"), rel=1e-9)
    assert (1 * u.mile / u.hour).to("m/s").magnitude == pytest.approx(to_metric(1, "speed", "mph"), rel=1e-9)


@given(st.sampled_from(sorted(QUANTITIES)), st.floats(-1e6, 1e6))
def test_every_unit_goes_there_and_back(quantity, value):
    for symbol in QUANTITIES[quantity].units:
        back = from_metric(to_metric(value, quantity, symbol), quantity, symbol)
        assert math.isclose(back, value, rel_tol=1e-12, abs_tol=1e-9)


@pytest.mark.parametrize("profile", ["si", "prairie", "us"])
def test_every_quantity_has_a_unit_in_every_profile(profile):
    for name, quantity in QUANTITIES.items():
        assert profile_unit(name, profile) in quantity.units


@pytest.mark.parametrize(
    ("text", "quantity", "profile", "metric"),
    [
        ("120", "rate", "si", 120.0),
        ("120", "rate", "prairie", 134.50),
        ("107 lb/ac", "rate", "si", 119.93),
        ("16,3 m", "width", "si", 16.3),
        ("1 200 kg", "mass", "si", 1200.0),
        ("7.5kph", "speed", "si", 7.5 / 3.6),
        ("0.78 kg/L", "density", "si", 780.0),
        ("-5 °C", "temperature", "si", -5.0),
    ],
)
def test_typed_text_becomes_metric(text, quantity, profile, metric):
    assert read_quantity(text, quantity, profile) == pytest.approx(metric, rel=1e-4)


@pytest.mark.parametrize("text", ["1,200", "", "abc", "12 parsec", "5 bu", "3 gal", "2 ton"])
def test_text_with_two_meanings_or_none_is_refused(text):
    with pytest.raises(UnitError):
        read_quantity(text, "volume" if "bu" in text or "gal" in text else "load")


def test_a_refused_unit_says_what_to_use_instead():
    with pytest.raises(UnitError, match=r"bu \(US\) or bu \(imp\)"):
        read_quantity("5 bu", "volume")


def test_a_unit_tells_the_quantity():
    candidates = ("area", "rate", "speed", "width")
    assert recognise("62 ha", candidates) == ("area", 62.0)
    assert recognise("7.5 km/h", candidates) == ("speed", pytest.approx(7.5 / 3.6))
    assert recognise("wheat", candidates) is None
    assert recognise("16.3", candidates) is None


def test_numbers_are_rounded_as_they_are_read():
    assert shown(120.0, "rate") == "120 kg/ha"
    assert shown(5.04, "rate") == "5.04 kg/ha"
    assert shown(None, "rate") == "not known"
    assert rounded(12345.6) == "12\u202f346"
    assert rounded(-0.0001, 2) == "0.00"
    assert rounded(float("nan")) == "not known"


def test_an_unknown_profile_lists_the_known_ones():
    with pytest.raises(UnitError, match="si, prairie, us"):
        check_profile("metric")
