"""How sharp the checks are: every number that a function of the public calculation API gives is made 1 % too large, one at a time."""

from __future__ import annotations

import dataclasses
import functools
import importlib
import importlib.util
import inspect
import math
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from evenstand.verify.pairs import Independent, Pair
from evenstand.verify.running import collect, run_independent, run_pair

FACTOR = 1.01
PUBLIC: Mapping[str, tuple[str, ...]] = {
    "agronomy": (
        "survival", "seeding_rate", "expected_stand", "seeds_per_metre", "stand_from_counts", "seedbed_utilisation", "seed_row_limit",
        "product_for_nutrient", "blend",
    ),
    "machine": (
        "meter_speed", "meter_rate", "speed_window", "field_capacity", "wheel_calibration", "pulse_spacing", "turn_dose", "head_balance",
        "transport_lag", "orifice_flow", "air_density", "saltation_velocity", "line_pressure_drop", "air_window",
    ),
    "tally": ("catch_test", "factor_from_shown", "row_distribution", "balance"),
    "field": ("read_boundary", "plan_passes", "turn_length", "dubins_length"),
    "supply": ("plan_stops",),
    "trail": ("read_trail", "coverage"),
    "check": ("reconcile", "reconcile_linear", "fill_check", "typing_slip"),
}  # fmt: skip

LABELS = frozenset({"names", "classes", "suspects", "rivals"})
"""Fields that hold names, or places in a list in place of names: a place 1 % too large is no wrong number but no place. [-]"""

Path = tuple[str | int, ...]
Caught = Literal["published", "independent", "missed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One number of one function made too large. field: "" for the result itself, else its name; caught: by which kind of check."""

    function: str
    field: str
    caught: Caught


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharpness:
    """All mutants; untouched: functions that no check calls at all, so that none of their numbers is tried."""

    mutants: tuple[Mutant, ...]
    untouched: tuple[str, ...]

    def share(self, *kinds: Caught) -> float:
        """Share of mutants caught by these kinds of checks; untouched functions count as one missed number each. [-]"""
        of = len(self.mutants) + len(self.untouched)
        return sum(m.caught in kinds for m in self.mutants) / of if of else math.nan

    @property
    def only_independent(self) -> tuple[str, ...]:
        """Functions none of whose numbers is caught by a published figure, but some by an independent check."""
        published = {m.function for m in self.mutants if m.caught == "published"}
        return tuple(dict.fromkeys(m.function for m in self.mutants if m.caught == "independent" and m.function not in published))

    def to_dict(self) -> dict[str, object]:
        """Plain data for JSON."""
        return {
            "factor": FACTOR,
            "fields": len(self.mutants) + len(self.untouched),
            "share": self.share("published", "independent"),
            "share_published": self.share("published"),
            "only_independent": list(self.only_independent),
            "untouched": list(self.untouched),
            "mutants": [{"function": m.function, "field": m.field, "caught": m.caught} for m in self.mutants],
        }


def public_functions() -> dict[str, Callable[..., Any]]:
    """Those functions of the public calculation API that exist, as "package.name"."""
    found: dict[str, Callable[..., Any]] = {}
    for package, names in PUBLIC.items():
        if importlib.util.find_spec(f"evenstand.{package}") is None:
            continue
        loaded = importlib.import_module(f"evenstand.{package}")
        found |= {f"{package}.{name}": getattr(loaded, name) for name in names if callable(getattr(loaded, name, None))}
    return found


def mutate(pairs: tuple[Pair, ...] | None = None, independent: tuple[Independent, ...] | None = None) -> Sharpness:
    """Make every number too large, one at a time, and see which check turns red.

    Parameters
    ----------
    pairs : tuple of Pair or None
        Published cases; all by default. Traps and conversions count too. [-]
    independent : tuple of Independent or None
        Independent checks; all by default. [-]

    Returns
    -------
    Sharpness
        One mutant for each number. [-]
    """
    if pairs is None or independent is None:
        all_pairs, all_independent = collect()
        pairs = all_pairs if pairs is None else pairs
        independent = all_independent if independent is None else independent
    mutants: list[Mutant] = []
    untouched: list[str] = []
    functions = public_functions()
    seen = _observe(functions, pairs, independent)
    for name, function in functions.items():
        if not seen[name].paths:
            untouched.append(name)
        for path in seen[name].paths:
            caught = _caught(function, path, seen[name])
            mutants.append(Mutant(function=name, field=".".join(str(step) for step in path), caught=caught))
    return Sharpness(mutants=tuple(mutants), untouched=tuple(untouched))


@dataclass(slots=True)
class _Seen:
    """What one function did while the checks ran: the numbers it gave, and the checks that called it."""

    paths: dict[Path, None] = field(default_factory=dict)
    pairs: list[Pair] = field(default_factory=list)
    independent: list[Independent] = field(default_factory=list)
    calls: int = 0


def _caught(function: Callable[..., Any], path: Path, seen: _Seen) -> Caught:
    """Which kind of check turns red with one number too large."""
    with _replaced({function: _spoiled(function, path)}):
        if any(not run_pair(pair).ok for pair in seen.pairs):
            return "published"
        return "independent" if any(not run_independent(check) for check in seen.independent) else "missed"


def _observe(
    functions: Mapping[str, Callable[..., Any]], pairs: tuple[Pair, ...], independent: tuple[Independent, ...]
) -> dict[str, _Seen]:
    """Run all checks once and note what each function gives and who calls it."""
    seen = {name: _Seen() for name in functions}

    def watched(function: Callable[..., Any], note: _Seen) -> Callable[..., Any]:
        @functools.wraps(function)
        def wrapper(*args: Any, **kwargs: Any) -> Any:
            note.calls += 1
            result = function(*args, **kwargs)
            note.paths.update(dict.fromkeys(_numbers(result)))
            return result

        return wrapper

    def callers(run: Callable[[], object]) -> list[_Seen]:
        before = {name: note.calls for name, note in seen.items()}
        run()
        return [note for name, note in seen.items() if note.calls > before[name]]

    with _replaced({function: watched(function, seen[name]) for name, function in functions.items()}):
        for pair in pairs:
            for note in callers(functools.partial(run_pair, pair)):
                note.pairs.append(pair)
        for check in independent:
            for note in callers(functools.partial(run_independent, check)):
                note.independent.append(check)
    return seen


def _numbers(result: Any, path: Path = ()) -> Iterator[Path]:
    """Places of the numbers in a result that 1 % would change."""
    if _is_number(result):
        if math.isfinite(result) and result != 0:
            yield path
    elif isinstance(result, np.ndarray):
        if result.dtype.kind in "fiu" and np.any(np.isfinite(result) & (result != 0)):
            yield path
    elif dataclasses.is_dataclass(result):
        for part in dataclasses.fields(result):
            if part.name not in LABELS:
                yield from _numbers(getattr(result, part.name), (*path, part.name))
    elif isinstance(result, Mapping):
        for key, value in result.items():
            yield from _numbers(value, (*path, str(key)))
    elif isinstance(result, tuple | list) and not isinstance(result, str):
        if len(result) > 4 and all(_is_number(entry) for entry in result):
            yield path  # a long row of numbers is one thing
        else:
            for index, value in enumerate(result[:4]):
                yield from _numbers(value, (*path, index))


def _spoiled(function: Callable[..., Any], path: Path) -> Callable[..., Any]:
    """The function with one number made too large."""

    @functools.wraps(function)
    def spoiled(*args: Any, **kwargs: Any) -> Any:
        return _enlarged(function(*args, **kwargs), path)

    return spoiled


def _enlarged(result: Any, path: Path) -> Any:
    """The result with the number at the path made too large; unchanged if this result has none there."""
    if not path:
        if _is_number(result) or isinstance(result, np.ndarray):
            return result * FACTOR
        if isinstance(result, tuple | list) and result and all(_is_number(entry) for entry in result):
            return type(result)(entry * FACTOR for entry in result)
        return result
    step, rest = path[0], path[1:]
    if dataclasses.is_dataclass(result) and not isinstance(result, type) and isinstance(step, str) and hasattr(result, step):
        copy = object.__new__(type(result))
        for part in dataclasses.fields(result):
            value = getattr(result, part.name)
            object.__setattr__(copy, part.name, _enlarged(value, rest) if part.name == step else value)
        return copy
    if isinstance(result, Mapping):
        return {key: _enlarged(value, rest) if str(key) == step else value for key, value in result.items()}
    if isinstance(result, tuple | list) and isinstance(step, int) and step < len(result):
        entries = [_enlarged(value, rest) if index == step else value for index, value in enumerate(result)]
        return type(result)(*entries) if hasattr(result, "_fields") else type(result)(entries)
    return result


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float | np.integer | np.floating) and not isinstance(value, bool | np.bool_)


@contextmanager
def _replaced(stand_ins: Mapping[Callable[..., Any], Callable[..., Any]]) -> Iterator[None]:
    """Put stand-ins wherever a module of the project holds these functions by name, and take them back."""
    places = [
        (module, name, held)
        for key, module in list(sys.modules.items())
        if key.startswith("evenstand.") and module is not None
        for name, held in list(vars(module).items())
        if inspect.isfunction(held) and held in stand_ins
    ]
    try:
        for module, name, held in places:
            setattr(module, name, stand_ins[held])
        yield
    finally:
        for module, name, held in places:
            setattr(module, name, held)
