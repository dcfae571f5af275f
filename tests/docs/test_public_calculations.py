"""Every public calculation says its units, its source and the place in it, its range, and how to see it worked."""

from __future__ import annotations

import dataclasses
import datetime
import inspect
import math
import re
import types
import typing
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest
from tests.docs.test_docstrings import FUNCTIONS, entries, sections

from evenstand.base.errors import EvenstandError
from evenstand.base.worked import Worked
from evenstand.reference import source, sources

UNITS: tuple[tuple[str, str], ...] = (  # ending of the name (a regular expression) and the units it may carry; the first that fits counts
    (r"(plants|counts|seeds|stand|wanted|least|target)_m2", "1/m² plants/m² seeds/m²"),
    (r"m_per_turn", "m/turn"),
    (r"g_m", "g/m"),
    (r"kg_l", "kg/L"),
    (r"pulses_l", "1/L pulses/L"),
    (r"area_year_ha", "ha/year"),
    (r"day_ha", "ha/d ha/day"),
    (r"(margin|other)_ha", "money/ha"),
    (r"other_h", "h/h"),
    (r"(plants|seeds)_m", "1/m plants/m seeds/m"),
    (r"seeds_kg", "1/kg seeds/kg"),
    (r"seeds_ha|plants_ha", "1/ha seeds/ha plants/ha"),
    (r"(price|cost|money)(_\w+)?_kg", "money/kg"),
    (r"(price|cost|money)(_\w+)?_ha", "money/ha"),
    (r"(price|cost|money|wage)(_\w+)?_h", "money/h"),
    (r"(price|cost|money)(_\w+)?_(l|litre)", "money/L"),
    (r"(price|cost|money)(_\w+)?_t", "money/t"),
    (r"nutrient_kg_ha|product_kg_ha", "kg/ha"),
    (r"pulse_m", "m/pulse"),
    (r"pulses_m", "pulses/m"),
    (r"kg_ha", "kg/ha"),
    (r"kg_m3", "kg/m³"),
    (r"kg_(rev|turn)", "kg/rev kg/turn"),
    (r"kg_s", "kg/s"),
    (r"kg_h", "kg/h"),
    (r"kg_t", "kg/t"),
    (r"kg_kg", "kg/kg -"),
    (r"m_s", "m/s"),
    (r"m3_s", "m³/s"),
    (r"rev_s", "rev/s turns/s"),
    (r"pa_m", "Pa/m"),
    (r"pa_s", "Pa s"),
    (r"pa", "Pa"),
    (r"kw_h", "kWh"),
    (r"kw_m", "kW/m"),
    (r"kw", "kW"),
    (r"l_ha", "L/ha"),
    (r"l_h", "L/h"),
    (r"l_min", "L/min"),
    (r"l_kwh", "L/kWh L/kW-h"),
    (r"(litres|l)_(turn|rev)", "L/rev L/turn"),
    (r"ha_h", "ha/h"),
    (r"ha_day", "ha/d ha/day"),
    (r"hours_day|h_day|hours_per_day", "h/d h/day"),
    (r"ha", "ha"),
    (r"kg", "kg"),
    (r"m2", "m²"),
    (r"m3", "m³"),
    (r"tkw_g|mass_g|masses_g|g", "g g/1000"),
    (r"ml_100kg", "mL/100 kg"),
    (r"(litres|l)", "L"),
    (r"mm", "mm"),
    (r"m", "m"),
    (r"deg", "deg °"),
    (r"rad", "rad"),
    (r"c", "°C"),
    (r"percent", "%"),
    (r"days?", "d day days"),
    (r"seconds|s", "s"),
    (r"hours|h", "h"),
    (r"minutes|min", "min"),
    (r"share|fraction|ratio|cv|efficiency|survival|germination|mortality|confidence|precision|slip|alpha|sbu|coating|humidity", "-"),
    (r"turns?|pulses|flutes|runs|rows|outlets|seeds|counts?|replicates|dof|ddof|rounds", "- turns"),
)
LOOKED_UP = "cells of a published table, named in its References; the arithmetic between them stands there"
NO_WORKING: Mapping[str, str] = {
    "agronomy.replicate_tolerance": LOOKED_UP,
    "agronomy.two_test_tolerance": LOOKED_UP,
    "agronomy.stated_tolerance": LOOKED_UP,
    "agronomy.seed_count_tolerance": LOOKED_UP,
    "agronomy.bushel_weight": LOOKED_UP,
    "agronomy.grain_test_weight": LOOKED_UP,
    "agronomy.molar_mass": LOOKED_UP,
    "agronomy.nutrient_factor": LOOKED_UP,
    "field.dubins_length": "the length of what shortest_turn gives with its pieces",
}
"""Functions that give one number without a formula beside it, and why. [-]"""

FILES = "reads or writes a file; what it gives is what the file says"
NO_CALCULATION: Mapping[str, str] = {
    "field.list_areas": FILES,
    "field.read_areas": FILES,
    "trail.read_trail": FILES,
}
"""Functions that calculate nothing, and why. Those that give text only are left out by themselves. [-]"""
CARRIES = ("source", "sources", "seen", "references", "published", "citations")
"""Fields by which a result names its own source. [-]"""


def unit_named(name: str) -> tuple[str, ...]:
    """Units that a parameter of that name may carry; empty if its name says nothing of a unit."""
    for ending, units in UNITS:
        if re.fullmatch(rf"(?:\w*_)?(?:{ending})", name):
            return (units,) if units in {"Pa s", "mL/100 kg"} else tuple(units.split())
    return ()


def is_numeric(annotation: str) -> bool:
    """Whether a parameter is a number or numbers, by its annotation."""
    return any(kind in annotation for kind in ("float", "int", "FloatArray", "NDArray")) and "Mapping" not in annotation


def numeric(function: Callable[..., Any]) -> list[str]:
    return [p.name for p in inspect.signature(function).parameters.values() if is_numeric(str(p.annotation))]


def note_of(function: Callable[..., Any]) -> Worked | None:
    found = getattr(function, "worked", None)
    return found if isinstance(found, Worked) else None


def wrong_units(function: Callable[..., Any]) -> list[str]:
    """Parameters whose documented unit is not the one their name carries."""
    documented = entries(sections(function.__doc__ or "").get("Parameters", ""))
    wrong = []
    for name in numeric(function):
        given = re.findall(r"\[([^\]]+)\]", documented.get(name, ""))
        allowed = unit_named(name)
        if given and allowed and given[-1] not in allowed:
            wrong.append(f"{name} [{given[-1]}], its name says {' or '.join(allowed)}")
    return wrong


def sources_named(text: str) -> set[str]:
    """Keys of the sources that a text names: by key, author, title or publisher."""
    plain = " ".join(text.split()).casefold()
    found = set()
    for key, entry in sources().items():
        surnames = [part.split()[-1] for part in re.split(r",| and ", entry.author) if part.split() and part.split()[-1] != "others"]
        short = re.split(r"[,:(\]]", entry.title.strip("["))[0].strip()
        names = [key, *surnames[:1], entry.title.strip("[]"), entry.publisher, *([short] if len(short) > 8 else [])]
        names += [f"`{key.partition('-')[0]}`"]
        for name in (n for n in names if len(n) >= 4):
            if re.search(rf"(?<![\w`-]){re.escape(name.casefold())}(?![\w`-])", plain):
                found.add(key)
    return found


def is_text(kind: Any) -> bool:
    """Whether a result is words only."""
    args = [arg for arg in typing.get_args(kind) if arg not in {Ellipsis, type(None)}]
    return (
        kind in {str, bool, None, type(None), datetime.date}
        or typing.get_origin(kind) is typing.Literal
        or (bool(args) and all(map(is_text, args)))
    )


def carries_source(kind: Any) -> bool:
    """Whether a result names its source in a field of its own, or is made of results that do."""
    if dataclasses.is_dataclass(kind):
        return any(part.name in CARRIES for part in dataclasses.fields(kind))
    args = [arg for arg in typing.get_args(kind) if arg not in {Ellipsis, type(None), str, bool}]
    return bool(args) and all(map(carries_source, args))


def steps_of(function: Callable[..., Any], seen: set[Any] | None = None) -> set[Callable[..., Any]]:
    """Functions of the project that a function calls by name, and those that they call."""
    seen = set() if seen is None else seen
    plain = inspect.unwrap(function)
    codes = [plain.__code__]
    while codes:
        code = codes.pop()
        codes += [const for const in code.co_consts if isinstance(const, types.CodeType)]
        for name in code.co_names:
            step = plain.__globals__.get(name)
            if inspect.isfunction(step) and step.__module__.startswith("evenstand.") and step not in seen:
                seen.add(step)
                steps_of(step, seen)
    return seen


def named_by_its_steps(function: Callable[..., Any]) -> bool:
    """Whether a calculation is put together from steps that have their formula and source beside them."""
    return any(note_of(step) is not None or "References" in sections(step.__doc__ or "") for step in steps_of(function))


def source_faults(function: Callable[..., Any]) -> list[str]:
    """What is missing of a source that resolves, with a place in it."""
    note = note_of(function)
    if note is not None:
        if note.source not in sources():
            return [f"source '{note.source}' is not in sources.toml"]
        return [] if note.source == "definition" or note.where else [f"no place in '{note.source}'"]
    text = sections(function.__doc__ or "").get("References", "")
    if not text.strip() and (carries_source(returned(function)) or named_by_its_steps(function)):
        return []
    if not text.strip():
        return ["no source: give References, or 'definition' with what is defined"]
    named = sources_named(text)
    if not named:
        return ["its References name no source of sources.toml"]
    return [] if len(text.split()) >= 3 else ["its References name no place in the source"]


def range_faults(function: Callable[..., Any]) -> list[str]:
    """What is missing of a range: a limit that is raised for, or a line that says there is none."""
    text = function.__doc__ or ""
    raises = sections(text).get("Raises", "")
    if not numeric(function) or re.search(r"\w+Error\s+\S", raises) or re.search(r"^\s*Range: ", text, re.MULTILINE):
        return []
    return ["no range: an Error under Raises with its limit, or a line 'Range: ...'"]


def returned(function: Callable[..., Any]) -> Any:
    """Type of what a function gives."""
    try:
        return typing.get_type_hints(function).get("return")
    except (NameError, TypeError):
        return inspect.signature(function).return_annotation


def has_parts(kind: Any) -> bool:
    """Whether a result shows its own parts: a dataclass, several values, an array, a text, or a number with a note beside it."""
    if isinstance(kind, types.UnionType) or typing.get_origin(kind) is typing.Union:
        return all(has_parts(part) for part in typing.get_args(kind) if part is not type(None))
    if dataclasses.is_dataclass(kind) or typing.get_origin(kind) in {tuple, list, dict, np.ndarray, frozenset, Mapping}:
        return True
    return isinstance(kind, type) and kind not in {float, int}


def worked_steps(function: Callable[..., Any]) -> bool:
    """Whether the number comes from steps that are worked each: choosing among them is all that is left."""
    return any(note_of(step) is not None for step in steps_of(function))


def working_faults(name: str, function: Callable[..., Any]) -> list[str]:
    """What is missing of a way to see the calculation worked."""
    if note_of(function) is not None or has_parts(returned(function)) or name in NO_WORKING or worked_steps(function):
        return []
    if re.search(r"^\s*Working: \S", function.__doc__ or "", re.MULTILINE):
        return []
    return ["one number without @worked: give the formula, a result with its parts, or a line 'Working: ...'"]


def looked_up_in_the_records(function: Callable[..., Any]) -> bool:
    """Whether a function takes no number and gives records of the model as they are: an outfit's head, findings on a run map."""
    kind = returned(function)
    kinds = [arg for arg in typing.get_args(kind) if arg not in {Ellipsis, type(None)}] or [kind]
    return not numeric(function) and all(getattr(k, "__module__", "").startswith("evenstand.model") for k in kinds)


CALCULATIONS = [
    (name, function)
    for name, function in FUNCTIONS
    if name not in NO_CALCULATION and not is_text(returned(function)) and not looked_up_in_the_records(function)
]


def _ids(pairs: list[tuple[str, Any]]) -> list[str]:
    return [name for name, _ in pairs]


@pytest.mark.parametrize(("name", "function"), FUNCTIONS, ids=_ids(FUNCTIONS))
def test_the_units_are_those_the_names_carry(name: str, function: Callable[..., Any]) -> None:
    assert wrong_units(function) == [], name


@pytest.mark.parametrize(("name", "function"), CALCULATIONS, ids=_ids(CALCULATIONS))
def test_a_source_is_named_with_its_place(name: str, function: Callable[..., Any]) -> None:
    assert source_faults(function) == [], name


@pytest.mark.parametrize(("name", "function"), CALCULATIONS, ids=_ids(CALCULATIONS))
def test_a_range_is_stated(name: str, function: Callable[..., Any]) -> None:
    assert range_faults(function) == [], name


@pytest.mark.parametrize(("name", "function"), CALCULATIONS, ids=_ids(CALCULATIONS))
def test_there_is_a_way_to_the_working(name: str, function: Callable[..., Any]) -> None:
    assert working_faults(name, function) == [], name


WORKED_FUNCTIONS = [(name, function) for name, function in FUNCTIONS if note_of(function) is not None]


@pytest.mark.parametrize(("name", "function"), WORKED_FUNCTIONS, ids=_ids(WORKED_FUNCTIONS))
def test_not_a_number_is_refused(name: str, function: Callable[..., Any]) -> None:
    parameters = [p for p in inspect.signature(function).parameters.values() if is_numeric(str(p.annotation))]
    good = {p.name: 0.5 if "float" in str(p.annotation) else 2 for p in parameters}
    for parameter in parameters:
        with pytest.raises(EvenstandError):
            function(**(good | {parameter.name: math.nan}))


def test_the_exceptions_are_few_and_still_needed() -> None:
    known = dict(FUNCTIONS)
    assert set(NO_WORKING) | set(NO_CALCULATION) <= set(known)
    assert len(NO_WORKING) + len(NO_CALCULATION) <= 15
    assert len(CALCULATIONS) >= 120
    assert [name for name in NO_WORKING if note_of(known[name]) is not None or has_parts(returned(known[name]))] == []


def test_no_calculation_leans_on_practice_for_its_formula() -> None:
    tags = {name: source(note.source).seen for name, function in FUNCTIONS if (note := note_of(function)) is not None}
    assert {name: tag for name, tag in tags.items() if tag == "practice"} == {}


def _lacking(width_m: float, speed_m_s: float) -> float:
    """Give a number.

    Parameters
    ----------
    width_m : float
        Width. [ft]
    speed_m_s : float
        Speed. [m/s]

    Returns
    -------
    float
        Area a second. [m²/s]
    """
    return width_m * speed_m_s


def test_the_checks_see_what_is_missing() -> None:
    assert wrong_units(_lacking) == ["width_m [ft], its name says m"]
    assert source_faults(_lacking)
    assert range_faults(_lacking)
    assert working_faults("tests.lacking", _lacking)


@pytest.mark.parametrize(
    ("name", "units"),
    [
        ("rate_kg_ha", ("kg/ha",)),
        ("typed_factor_kg_rev", ("kg/rev", "kg/turn")),
        ("plants_m2", ("1/m²", "plants/m²", "seeds/m²")),
        ("sample_area_m2", ("m²",)),
        ("viscosity_pa_s", ("Pa s",)),
        ("pressure_pa", ("Pa",)),
        ("air_speed_m_s", ("m/s",)),
        ("capacity_ha_h", ("ha/h",)),
        ("prior_cv", ("-",)),
        ("method", ()),
    ],
)
def test_the_unit_in_a_name_is_read(name: str, units: tuple[str, ...]) -> None:
    assert unit_named(name) == units


def test_a_source_is_found_by_its_key_its_author_or_its_title() -> None:
    assert "missouri-nr3110" in sources_named("missouri-nr3110: n = (t CV / E)².")
    assert "srivastava-2006" in sources_named("After Srivastava and others, equation 15.1.")
    assert sources_named("Somebody said so, somewhere.") == set()
