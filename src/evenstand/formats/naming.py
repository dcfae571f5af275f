"""What the name of a column says, before any of its numbers are looked at. A name counts only if each of its words is explained."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from evenstand.formats.unitwords import IN_NAMES, TWO_PART, is_unit, tidy_unit, unit_at_end, unit_within
from evenstand.formats.vocabulary import WEAK, abbreviated, meanings, words_of

RATE_UNITS = ("kg/ha", "lb/ac", "g/m2")
FLOW_UNITS = ("kg/s", "lb/s", "g/s", "kg/min", "lb/min", "kg/h", "t/h")
ALONE = {
    "km/h": "speed", "mph": "speed", "kn": "speed", "m/s": "speed", "ft/min": "speed", "ac": "area", "ha": "area",
    **dict.fromkeys(FLOW_UNITS, "mass_rate"),
}  # fmt: skip
"""Roles of columns named by their unit alone."""
AREA_WORDS = dict.fromkeys(("ac", "acre", "acres", "acreage"), "ac") | dict.fromkeys(("ha", "hectare", "hectares", "hectarage"), "ha")
TEN_MILLIONTHS = re.compile(r"[_ ]1?[eE]-?7$")
PRODUCTS = {"seed": "seed", "fertilizer": "fertilizer"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """What the name alone says.

    role: a role; "tool" is a tool's state, up or down, which its words tell; "rate" is asked for or reported, which its numbers tell;
    "extra" is none; clock: "utc" or "local" where the name says so; product: "seed" or "fertilizer" where that stands for a bin;
    known: an extra whose name we know; soft: some of its words are not known or cut short, so that the numbers must bear it out;
    letter: a hemisphere in the name of a longitude or latitude.
    """

    role: str
    unit: str = ""
    bin: str = ""
    number: int = 0
    certain: bool = True
    words: tuple[str, ...] = field(default=())
    clock: str = ""
    product: str = ""
    known: bool = False
    soft: bool = False
    letter: str = ""


@dataclass(frozen=True, slots=True)
class _Rule:
    """A role, the meanings that must each be there, and those that may be. marks: how many letters or numbers may stand with it."""

    role: str
    need: tuple[str, ...]
    may: frozenset[str]
    marks: str = ""


def _rule(role: str, need: str, may: str = "", marks: str = "") -> _Rule:
    return _Rule(role, tuple(need.split()), frozenset(may.split()) | {"filler"}, marks)


_RULES: tuple[_Rule, ...] = (
    _rule("fan", "fan", "spin speed state echoed turns"),
    _rule("section", "section", "state tool", "number"),
    _rule("run", "run", "flowseen state run", "number"),
    _rule("sections", "sections", "state bits tool"),
    _rule("sections", "section state", "bits tool"),
    _rule("sections", "section bits", "state tool"),
    _rule("turns", "turns", "meter bin total seed fertilizer", "bin"),
    _rule("asked", "asked", "rate flow bin seed fertilizer", "bin"),
    _rule("echoed", "echoed", "rate flow bin seed fertilizer", "bin"),
    _rule("rate?", "rate", "bin seed fertilizer", "bin"),
    _rule("mass_rate", "mass flow", "rate echoed total"),
    _rule("mass_rate", "mass rate", "echoed"),
    _rule("mass_rate", "flow", "rate"),
    _rule("mass_rate", "mass", ""),
    _rule("speed", "speed", "ground satellite echoed"),
    _rule("heading", "heading", "satellite ground"),
    _rule("lon", "lon", "satellite east west"),
    _rule("lat", "lat", "satellite north south"),
    _rule("hemisphere", "hemisphere", "lat lon satellite"),
    _rule("east", "east", "grid satellite"),
    _rule("north", "north", "grid satellite"),
    _rule("interval", "interval", "time"),
    _rule("time", "seconds date", "utc local clock"),
    _rule("interval", "seconds", "interval number"),
    _rule("time", "date clock", "satellite utc local"),
    _rule("time", "date time", "satellite utc local clock"),
    _rule("date", "date", "satellite utc local"),
    _rule("clock", "clock", "time satellite utc local"),
    _rule("time", "time", "satellite utc local seconds"),
    _rule("time", "utc", "satellite"),
    _rule("distance", "way total", "ground"),
    _rule("distance", "ground total", "way"),
    _rule("step", "way", "ground number"),
    _rule("area", "area", "total done work"),
    _rule("lifted", "up", "tool state"),
    _rule("work", "work", "tool state down"),
    _rule("work", "down", "tool state"),
    _rule("tool", "tool", "state"),
    _rule("fix", "fix", "satellite type"),
    _rule("fix", "type fix", "satellite"),
    _rule("number", "number", "number"),
)


def understand_name(header: str, unit_word: str = "") -> Named:
    """What a header says: role, unit, bin or number.

    Parameters
    ----------
    header : str
        The column's name. [-]
    unit_word : str
        Unit from a row of its own, "" if there is none. [-]

    Returns
    -------
    Named
        role "extra" where the name says nothing we know. [-]
    """
    bare, unit = _without_brackets(header, unit_word)
    if unit in ("n", "s", "e", "w", "N", "S", "E", "W"):
        pole = _match(words_of(bare), "")
        if pole is not None and pole.role in ("lat", "lon"):
            return replace(pole, words=tuple(words_of(bare)), letter=unit.lower())
    if not unit and (tens := TEN_MILLIONTHS.search(bare)):
        bare, unit = bare[: tens.start()], "e7"
    if not unit:
        bare, unit = unit_within(bare)
    low = words_of(bare)
    found = _match(low, unit)
    if unit == "turns" and found is None:
        found = _match([*low, "turns"], unit)
    if unit:
        return _finished(found or _alone(low, unit), unit, low)
    for k in range(1, len(low) - 2):  # echoed_kg_ha_A
        inner = _match([*low[:k], *low[k + 2 :]], TWO_PART[low[k], low[k + 1]]) if (low[k], low[k + 1]) in TWO_PART else None
        if inner is not None:
            return _finished(inner, TWO_PART[low[k], low[k + 1]], low)
    rest, symbol = unit_at_end(low)
    if symbol and rest:
        inner = _match(rest, symbol)
        if inner is not None:
            return _finished(inner, symbol, low)
        if found is None:
            return _finished(Named(role="extra", known=_known(rest)), symbol, low)
    if found is None and len(low) > 1 and len(low[0]) > 1 and low[0] in IN_NAMES:
        inner = _match(low[1:] if low[1:] != ["total"] and "tot" not in low[1:] else [*low[1:], "dist"], IN_NAMES[low[0]])
        if inner is not None:
            return _finished(inner, IN_NAMES[low[0]], low)
    if symbol and not rest and symbol in ALONE:
        return _finished(_alone([], symbol), symbol, low)
    return _finished(found or Named(role="extra", known=_known(low)), "", low)


def _without_brackets(header: str, unit_word: str) -> tuple[str, str]:
    """The name without its brackets, and the unit that stood in them; brackets that hold no unit are part of the name."""
    unit = unit_word
    bare = header
    for hit in re.finditer(r"[\[(]([^\[\]()]*)[\])]", header):
        inside = hit[1].strip()
        words = words_of(inside)
        if not unit and inside and (is_unit(inside) or not words or not all(meanings(w) or _is_mark(w) for w in words)):
            unit = inside
            bare = bare.replace(hit[0], " ", 1)
        elif unit and is_unit(inside):
            bare = bare.replace(hit[0], " ", 1)
    return bare, tidy_unit(unit)


def _alone(low: list[str], unit: str) -> Named:
    """A column named by its unit and nothing else."""
    role = ALONE.get(unit) if not low else None
    return Named(role=role, certain=role != "mass_rate") if role else Named(role="extra", known=_known(low))


def _known(low: list[str]) -> bool:
    """Whether the name is of something we know and have no use for."""
    return any("other" in m for w in low for m in meanings(w))


def _finished(named: Named, unit: str, low: list[str]) -> Named:
    role, known = named.role, named.known
    if role in ("asked", "echoed") and is_unit(unit) and unit and unit not in RATE_UNITS:
        role = "extra"
    if role == "mass_rate" and unit and is_unit(unit) and unit not in FLOW_UNITS:
        role = "extra"  # so many kilograms, not so many a second
    if role == "speed" and unit == "ms":
        unit = "m/s"
    if role == "fan" and not unit:
        unit = "turns/s" if "hz" in low else "rpm" if "rpm" in low else ""
    if role == "area" and not unit:
        unit = next((AREA_WORDS[w] for w in low if w in AREA_WORDS), "")
    if role in ("time", "clock", "date") and not unit and named.clock == "utc":
        unit = "utc"
    kept = named.bin if role != "extra" else ""
    return replace(named, role=role, unit=unit, bin=kept, words=tuple(low), known=known)


def _is_mark(word: str) -> bool:
    return bool(re.fullmatch(r"[a-h]|\d{1,2}|0\d\d", word))


def _match(low: list[str], unit: str) -> Named | None:
    """The first rule that explains every word; bins and numbers may stand beside some. Where words are cut short or unknown, the first
    rule that explains the others, softly."""
    if low == ["s"] or not low:
        return None
    parts: list[frozenset[str]] = []
    marks: list[str] = []
    soft = False
    on_a_grid = any("grid" in m for w in low for m in meanings(w))
    for k, word in enumerate(low):
        if _is_mark(word) and not (len(low) == 1 or (word == "e" and (k == 0 or on_a_grid))):
            marks.append(word)
            continue
        if word == "s" and k == 0 and len(low) == 2 and low[1].isdigit():
            return Named(role="section", number=int(low[1]), certain=False)
        found = meanings(word)
        if not found:
            short = abbreviated(word)
            found, soft = ((short,) if short else ()), True
        parts += found
    if not parts or any(p <= {"other", "filler"} and "other" in p for p in parts):
        return None
    for rule in _RULES:
        if _explains(rule, parts, marks):
            named = _by_rule(rule, parts, marks, low, unit)
            return replace(named, certain=False, soft=True) if soft else named
    return None


def _explains(rule: _Rule, parts: list[frozenset[str]], marks: list[str]) -> bool:
    if len(marks) > (1 if rule.marks else 0) or (rule.marks == "number" and (len(marks) != 1 or not marks[0].isdigit())):
        return False
    left = list(parts)
    for meaning in rule.need:
        hit = next((p for p in left if meaning in p), None)
        if hit is None:
            return False
        left.remove(hit)
    allowed = rule.may | set(rule.need)
    return all(p & allowed for p in left)


def _by_rule(rule: _Rule, parts: list[frozenset[str]], marks: list[str], low: list[str], unit: str) -> Named:
    clock = "utc" if any("utc" in p for p in parts) else "local" if any("local" in p for p in parts) else ""
    plain_words = [w for w in low if not _is_mark(w)]
    certain = not all(w in WEAK for w in plain_words)
    if rule.marks == "number":
        return Named(role=rule.role, number=int(marks[0]), certain=True)
    if rule.role == "number":
        return Named(role="ignore")
    if rule.role in ("turns", "asked", "echoed", "rate?"):
        return _binned(rule.role, parts, marks, unit, certain)
    letter = next((m[0] for m in ("west", "south") if rule.role in ("lon", "lat") and any(m in p for p in parts)), "")
    return Named(role=rule.role, certain=certain, clock=clock, letter=letter)


def _binned(role: str, parts: list[frozenset[str]], marks: list[str], unit: str, certain: bool) -> Named:
    """A column of one bin. A bin told by a letter is certain; a number is turned into its letter."""
    mark = marks[0] if marks else ""
    letter = mark.upper() if mark.isalpha() else chr(64 + int(mark)) if mark and 1 <= int(mark) <= 26 else ""
    product = next((PRODUCTS[k] for k in PRODUCTS if any(k in p for p in parts)), "")
    backed = bool(mark or product or unit in RATE_UNITS or role == "turns" or any("rate" in p or "bin" in p for p in parts))
    if not certain and not backed:
        return Named(role="extra")
    sure = bool(mark) and mark.isalpha() and role != "rate?"
    return Named(role="rate" if role == "rate?" else role, bin=letter or "A", certain=sure, product="" if mark else product)
