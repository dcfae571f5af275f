"""Every formula that stands beside a function holds in its units: put through pint, its result has the dimensions that are documented."""

from __future__ import annotations

import ast
import inspect
import math
import re
from collections.abc import Callable, Mapping
from typing import Any

import pint
import pytest
from tests.docs.test_docstrings import FUNCTIONS, entries, sections
from tests.property.test_unit_properties import REGISTRY, WORDS

from evenstand.base.worked import Worked

COUNTED = {
    "rev": "1", "kernel": "1", "kernels": "1", "test": "1", "run": "1", "bu": "1", "any": "1", "year": "year", "100 kg": "kg", "points": "1",
    "mol": "mol", "K": "kelvin", "kW-h": "kilowatt_hour", "g": "g",
}  # fmt: skip
EMPIRICAL = "an empirical fit: its numbers carry the units of what was fitted"
HELD: Mapping[str, str] = {
    "machine.standard_pressure": EMPIRICAL,
    "machine.standard_temperature": EMPIRICAL,
    "machine.air_viscosity": EMPIRICAL,
    "machine.air_density": "the gas constants stand in it as plain numbers",
    "machine.saturation_pressure": EMPIRICAL,
    "machine.floating_by_drag": "the acceleration of gravity stands in it as a plain number",
    "machine.average_diesel": EMPIRICAL,
    "machine.diesel_d497_4": EMPIRICAL,
    "machine.diesel_d497_7": EMPIRICAL,
    "machine.draft_force": EMPIRICAL,
    "machine.repair_to_date": EMPIRICAL,
    "machine.capital_recovery": "an interest a year and a number of years, as the textbook form has them",
    "machine.geopotential_height": "adds the earth's radius as a plain number of metres",
    "machine.fluid_flow": "flow in whatever unit it is given; the density of water stands in it as a plain number",
    "machine.water_factor": "the density of water stands in it as a plain number",
    "agronomy.content_per_bushel": "a bushel here is a mass agreed per bushel, kg per bushel against kg",
}
"""Formulas whose plain numbers carry units of their own, and why. [-]"""

CASES = [(name, function) for name, function in FUNCTIONS if isinstance(getattr(function, "worked", None), Worked) and name not in HELD]


def unit(text: str) -> pint.Quantity:
    """A documented unit as a quantity of one."""
    first, *below = text.partition(" or ")[0].replace("Pa s", "pascal*second").replace("100 kg", "kg").split("/")
    words = []
    for part in (first, *below):
        for piece in part.split("*"):
            words.append(f"({COUNTED.get(piece.strip(), WORDS.get(piece.strip(), piece.strip()))})")
    return REGISTRY.parse_expression("/".join(words)) * REGISTRY.Quantity(1.0)


def documented(section: str) -> dict[str, str]:
    """Name to unit, of the entries of a docstring's section."""
    found = {}
    for name, body in entries(section).items():
        units = re.findall(r"\[([^\]]+)\]", body)
        if units:
            found[name] = units[-1]
    return found


def through_pint(formula: str, values: Mapping[str, Any]) -> Any:
    """A formula with quantities in place of its names."""
    functions: dict[str, Callable[..., Any]] = {
        "sqrt": lambda x: x**0.5, "exp": _plain(math.exp), "log": _plain(math.log), "log10": _plain(math.log10), "sin": _plain(math.sin),
        "cos": _plain(math.cos), "tan": _plain(math.tan), "asin": _plain(math.asin), "acos": _plain(math.acos), "atan": _plain(math.atan),
        "min": min, "max": max, "abs": abs, "pi": math.pi,
    }  # fmt: skip
    tree = ast.parse(formula, mode="eval")
    assert all(not isinstance(node, ast.Attribute | ast.Subscript | ast.Lambda) for node in ast.walk(tree))
    return eval(compile(tree, formula, "eval"), {"__builtins__": {}}, functions | dict(values))


def _plain(function: Callable[[float], float]) -> Callable[[Any], float]:
    """A function of pure numbers: a quantity with a dimension is refused."""
    return lambda x: function(x.to("").magnitude if isinstance(x, pint.Quantity) else x)


@pytest.mark.parametrize(("name", "function"), CASES, ids=[name for name, _ in CASES])
def test_the_formula_holds_in_the_units_of_its_names(name: str, function: Callable[..., Any]) -> None:
    parts = sections(function.__doc__ or "")
    units = documented(parts["Parameters"])
    names = {n.id for n in ast.walk(ast.parse(function.worked.formula)) if isinstance(n, ast.Name)}  # type: ignore[attr-defined]
    parameters = [p for p in inspect.signature(function).parameters if p in names]
    values = {p: (0.31 + 0.07 * place) * unit(units[p]) for place, p in enumerate(parameters)}
    result = through_pint(function.worked.formula, values)  # type: ignore[attr-defined]
    want = unit(re.findall(r"\[([^\]]+)\]", parts["Returns"])[-1])
    got = result if isinstance(result, pint.Quantity) else REGISTRY.Quantity(result, "")
    assert got.dimensionality == want.dimensionality, f"{got.to_base_units():~} is no {want.to_base_units():~}"


def test_most_formulas_are_put_through() -> None:
    assert len(CASES) >= 50
    assert set(HELD) <= {name for name, _ in FUNCTIONS}
