"""Every public calculation function says what its parameters are and in which unit."""

from __future__ import annotations

import importlib
import importlib.util
import inspect
import re
from collections.abc import Callable
from typing import Any

import pytest

PACKAGES = ("agronomy", "machine", "field", "supply", "tally", "trail", "check")
UNIT = re.compile(r"\[[^\]]+\]")


def _public() -> list[tuple[str, Any]]:
    found = []
    for package in PACKAGES:
        if importlib.util.find_spec(f"evenstand.{package}") is None:
            continue  # not written yet
        module = importlib.import_module(f"evenstand.{package}")
        found += [(f"{package}.{name}", getattr(module, name)) for name in getattr(module, "__all__", [])]
    return found


PUBLIC = _public()
FUNCTIONS = [(name, thing) for name, thing in PUBLIC if inspect.isfunction(thing)]
CLASSES = [(name, thing) for name, thing in PUBLIC if inspect.isclass(thing)]


def sections(docstring: str) -> dict[str, str]:
    """Texts of a numpy docstring by their headings; the text before the first under ''."""
    parts = re.split(r"^([A-Z][A-Za-z ]+)\n-{3,}\n", inspect.cleandoc(docstring), flags=re.MULTILINE)
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def entries(section: str) -> dict[str, str]:
    """Name to description of each entry; one line may describe several names."""
    found = {}
    for block in re.split(r"^(?=\S)", section, flags=re.MULTILINE):
        head, _, body = block.partition("\n")
        for name in head.partition(":")[0].split(","):
            if name.strip():
                found[name.strip().lstrip("*")] = body
    return found


def faults(function: Callable[..., Any]) -> list[str]:
    """What the docstring of a function lacks."""
    text = function.__doc__ or ""
    parts = sections(text)
    documented = entries(parts.get("Parameters", ""))
    lacking = []
    if not parts[""].strip().partition("\n")[0].endswith((".", "?")):
        lacking.append("no first sentence")
    for name in inspect.signature(function).parameters:
        if name not in documented:
            lacking.append(f"{name} is not described")
        elif not UNIT.search(documented[name]):
            lacking.append(f"{name} has no [unit]")
    if "Returns" in parts and not UNIT.search(parts["Returns"]):
        lacking.append("what it returns has no [unit]")
    if re.search(r"\braise \w+Error|require_range\(", inspect.getsource(function)) and "Raises" not in parts:
        lacking.append("it raises without saying so")
    return lacking


@pytest.mark.parametrize(("name", "function"), FUNCTIONS, ids=[name for name, _ in FUNCTIONS])
def test_a_public_function_describes_its_parameters_with_units(name: str, function: Callable[..., Any]) -> None:
    assert faults(function) == [], name


@pytest.mark.parametrize(("name", "kind"), CLASSES, ids=[name for name, _ in CLASSES])
def test_a_public_class_says_what_it_is(name: str, kind: type) -> None:
    text = (kind.__doc__ or "").strip()
    assert text, name
    assert not text.startswith(f"{kind.__name__}("), f"{name} has only the docstring a dataclass makes"


def test_the_check_sees_a_missing_unit() -> None:
    def speed(width_m: float, factor: float) -> float:
        """Give a speed.

        Parameters
        ----------
        width_m : float
            Width. [m]
        factor : float
            Factor.

        Returns
        -------
        float
            Speed. [m/s]
        """
        return width_m * factor

    assert faults(speed) == ["factor has no [unit]"]


def test_there_is_something_to_check() -> None:
    assert len(FUNCTIONS) >= 30
