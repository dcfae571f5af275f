"""Every formula that stands beside a function as text gives what the function gives."""

from __future__ import annotations

import importlib
import inspect
import math
import random
import warnings
from pathlib import Path

import pytest

import evenstand
from evenstand.base.errors import EvenstandError
from evenstand.base.worked import WORKED, evaluate, working
from evenstand.reference import sources

WANTED, TRIES = 25, 20_000


def _load_all_that_use_it() -> None:
    """Import every module of the project whose text holds a worked formula."""
    root = Path(evenstand.__file__).parent
    for path in sorted(root.rglob("*.py")):
        if "\n@worked(" in path.read_text(encoding="utf-8"):
            importlib.import_module(".".join(("evenstand", *path.relative_to(root).with_suffix("").parts)))


_load_all_that_use_it()
ALL = sorted(key for key in WORKED if key.startswith("evenstand."))


def _draw(rng: random.Random, parameter: inspect.Parameter) -> float:
    """A number for one parameter: a share, a whole number, or anything over six decades."""
    if str(parameter.annotation) in {"int", "<class 'int'>"}:
        return rng.randint(1, 40)
    return rng.random() if rng.random() < 0.5 else 10 ** rng.uniform(-3, 3)


def _is_number(parameter: inspect.Parameter) -> bool:
    return any(kind in str(parameter.annotation) for kind in ("float", "int"))


@pytest.mark.parametrize("key", ALL)
def test_the_formula_gives_what_the_function_gives(key: str) -> None:
    function, note = WORKED[key]
    parameters = [p for p in inspect.signature(function).parameters.values() if _is_number(p)]
    rng = random.Random(key)
    agreed = 0
    for _ in range(TRIES):
        values = {p.name: _draw(rng, p) for p in parameters}
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                got = float(function(**values))
        except (EvenstandError, Warning):
            continue  # outside the function's range
        assert math.isclose(got, evaluate(note.formula, values), rel_tol=1e-9, abs_tol=1e-12), (key, values)
        agreed += 1
        if agreed == WANTED:
            break
    assert agreed == WANTED, f"{key}: only {agreed} of {TRIES} random inputs lie within its range"


@pytest.mark.parametrize("key", ALL)
def test_the_formula_names_a_known_source(key: str) -> None:
    assert WORKED[key][1].source in sources()


def test_there_are_worked_formulas_to_test() -> None:
    assert "evenstand.agronomy.rates.seeding_rate" in ALL
    assert len(ALL) >= 20


def test_the_working_of_a_seeding_rate_shows_its_numbers() -> None:
    function, _ = WORKED["evenstand.agronomy.rates.seeding_rate"]
    laid_open = working(function, plants_m2=300, tkw_g=51.9, survival=0.85)
    assert laid_open.substituted == "300 * 51.9 / 0.850 / 100"
    assert round(laid_open.result) == 183
