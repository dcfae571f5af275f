"""Every unit of every quantity against pint, there and back, and the acre we mean."""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenstand.base.units import ACRE_M2, PROFILES, QUANTITIES, from_metric, profile_unit, read_quantity, shown_value, to_metric

REGISTRY = pint.UnitRegistry()
# Where pint's word for a unit is not the symbol. Things that are counted (turns, plants, seeds, pulses, money) have no dimension.
WORDS = {
    "ha": "hectare", "m2": "meter**2", "m3": "meter**3", "m²": "meter**2", "m³": "meter**3", "ft²": "foot**2", "ft³": "foot**3",
    "ft2": "foot**2", "ft3": "foot**3", "L": "liter", "mL": "milliliter", "hL": "hectoliter", "t": "metric_ton", "lb": "pound",
    "in": "inch", "mi": "mile", "yd": "yard", "mph": "mile/hour", "kn": "knot", "bu (US)": "bushel", "bu (imp)": "UK_bushel", "gal (US)": "gallon",
    "gal (imp)": "imperial_gallon", "ton (short)": "short_ton", "rpm": "1/minute", "h": "hour", "d": "day", "days": "day", "day": "day",
    "s": "second", "min": "minute", "°C": "degC", "°F": "degF", "%": "0.01", "-": "1", "": "1", "1000": "1000", "turn": "1", "turns": "1",
    "plants": "1", "seeds": "1", "pulse": "1", "pulses": "1", "money": "1", "hp": "horsepower", "kWh": "kilowatt_hour", "deg": "degree",
    "inH2O": "inch_H2O", "kg": "kg", "g": "g", "m": "m", "cm": "cm", "mm": "mm", "km": "km", "ft": "ft", "Pa": "Pa", "kPa": "kPa",
    "hPa": "hPa", "psi": "psi", "kW": "kW", "W": "W", "N": "N", "kN": "kN", "1": "1", "lbf": "lbf",
    # the international acre by its definition; pint's own acre is the US survey acre (below)
    "ac": "(4840*yard**2)",
}  # fmt: skip
TOLERANCE = {"inH2O": 1e-6, "psi": 1e-7}  # written with six and seven figures; inches of water by the conventional density
quick = settings(max_examples=150, deadline=None, derandomize=True)
UNITS = [(quantity, symbol) for quantity, entry in sorted(QUANTITIES.items()) for symbol in entry.units]


def expression(symbol: str) -> str:
    """A unit as pint reads it; what stands behind a stroke divides."""
    first, *below = symbol.split("/")
    words = [f"({WORDS[part.strip()]})" for part in (first, *below)]
    return "/".join(words)


def by_pint(value: float, symbol: str, metric: str) -> float:
    if symbol in {"°C", "°F"}:
        return float(REGISTRY.Quantity(value, WORDS[symbol]).to(WORDS[metric]).magnitude)
    return float((value * REGISTRY.parse_expression(expression(symbol)) / REGISTRY.parse_expression(expression(metric))).to("").magnitude)


@pytest.mark.parametrize(("quantity", "symbol"), UNITS, ids=[f"{q} in {s or 'number'}" for q, s in UNITS])
def test_pint_gives_the_same_metric_number(quantity: str, symbol: str) -> None:
    metric = "g" if quantity == "kernel" else QUANTITIES[quantity].metric
    theirs = by_pint(37.0, "g" if symbol == "g/1000" else symbol, metric)
    assert to_metric(37.0, quantity, symbol) == pytest.approx(theirs, rel=TOLERANCE.get(symbol, 1e-9))


@quick
@given(st.sampled_from(UNITS), st.floats(-1e9, 1e9, allow_nan=False))
def test_there_and_back_is_the_same_number(unit: tuple[str, str], value: float) -> None:
    quantity, symbol = unit
    assert math.isclose(from_metric(to_metric(value, quantity, symbol), quantity, symbol), value, rel_tol=1e-12, abs_tol=1e-12)


@quick
@given(st.sampled_from(UNITS), st.sampled_from(UNITS), st.floats(1e-3, 1e6))
def test_through_a_third_unit_is_the_same_number(unit: tuple[str, str], other: tuple[str, str], value: float) -> None:
    quantity, symbol = unit
    symbols = list(QUANTITIES[quantity].units)
    between = symbols[len(other[1]) % len(symbols)]
    through = to_metric(from_metric(to_metric(value, quantity, symbol), quantity, between), quantity, between)
    assert math.isclose(through, to_metric(value, quantity, symbol), rel_tol=1e-12, abs_tol=1e-9)


@quick
@given(st.sampled_from(UNITS), st.floats(-1e6, 1e6), st.floats(1e-3, 1e6))
def test_a_larger_number_is_more_in_every_unit(unit: tuple[str, str], value: float, more: float) -> None:
    assert to_metric(value + more, *unit) > to_metric(value, *unit)


@quick
@given(st.sampled_from(sorted(QUANTITIES)), st.sampled_from(PROFILES), st.floats(1, 9999))
def test_what_is_typed_without_a_unit_is_read_in_the_unit_that_is_shown(quantity: str, profile: str, value: float) -> None:
    symbol = profile_unit(quantity, profile)  # type: ignore[arg-type]
    if symbol.startswith("/"):
        return  # a price carries its own currency
    typed = f"{value:.3f}"
    assert read_quantity(typed, quantity, profile) == pytest.approx(to_metric(float(typed), quantity, symbol))  # type: ignore[arg-type]
    assert shown_value(to_metric(float(typed), quantity, symbol), quantity, profile)  # type: ignore[arg-type]


def test_our_acre_is_the_international_one_and_not_the_survey_acre() -> None:
    international = REGISTRY.parse_expression("4840*yard**2").to("m**2").magnitude
    survey = REGISTRY.parse_expression("acre").to("m**2").magnitude
    assert pytest.approx(international, rel=1e-15) == ACRE_M2 == 4046.8564224
    assert survey / ACRE_M2 - 1 == pytest.approx(4e-6, rel=1e-3)
    # on a township (23,040 acres) that is 0.04 ha: less than the width of a fence line, but not nothing
    assert 23_040 * (survey - ACRE_M2) / 1e4 == pytest.approx(0.0373, abs=1e-3)


def test_bushels_gallons_and_tons_of_two_countries_are_kept_apart() -> None:
    assert to_metric(1, "volume", "bu (imp)") / to_metric(1, "volume", "bu (US)") == pytest.approx(1.0321, abs=1e-4)
    assert to_metric(1, "liquid", "gal (imp)") / to_metric(1, "liquid", "gal (US)") == pytest.approx(1.20095, abs=1e-5)
    assert to_metric(1, "load", "t") / to_metric(1, "load", "ton (short)") == pytest.approx(1.10231, abs=1e-5)
