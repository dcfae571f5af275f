"""Reading the cited tables: every number comes out with its unit, its source and how far that source was seen."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Literal, cast

from evenstand.base.errors import Fault, InputError, MissingError
from evenstand.base.units import to_metric

Seen = Literal["read", "second-hand", "memory", "practice"]
SEEN: tuple[Seen, ...] = ("practice", "memory", "second-hand", "read")  # from weakest to strongest

_CITATION = ("unit", "source", "where", "seen", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One source. seen: "read", "second-hand" (as quoted by somebody else), "memory" (not read), or "practice" (no source at all)."""

    key: str
    author: str
    title: str
    publisher: str
    year: str
    place: str
    seen: Seen

    def __str__(self) -> str:
        parts = [p for p in (self.author, self.title, self.publisher, self.place, self.year) if p]
        return ", ".join(parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One cited number or range, as printed. low and high are equal for a single number.

    unit: symbol as in `base.units`, or "-"; key: where it stands in its table ("wheat.depth"); unconfirmed: not read by anybody yet.
    """

    key: str
    low: float
    high: float
    unit: str
    source: str
    where: str
    seen: Seen
    note: str = ""

    @property
    def value(self) -> float:
        """The number, or the middle of the range. [unit of the figure]"""
        return (self.low + self.high) / 2

    @property
    def unconfirmed(self) -> bool:
        """Whether the figure was written from memory and must be shown so."""
        return self.seen == "memory"

    def metric(self, quantity: str) -> tuple[float, float]:
        """Low and high in the metric unit of a quantity of `base.units`.

        Parameters
        ----------
        quantity : str
            Key of `QUANTITIES`, such as "depth". [-]

        Returns
        -------
        tuple of float
            (low, high). [metric unit of the quantity]

        Raises
        ------
        UnitError
            If the figure's unit does not measure that quantity.
        """
        return to_metric(self.low, quantity, self.unit), to_metric(self.high, quantity, self.unit)


@cache
def sources() -> Mapping[str, Source]:
    """Every source by its key.

    Raises
    ------
    InputError
        If an entry lacks a field or carries an unknown tag.
    """
    faults, found = [], {}
    for key, entry in _raw("sources").items():
        missing = [name for name in ("author", "title", "publisher", "year", "place", "seen") if name not in entry]
        if missing:
            faults.append(Fault(where=f"sources.toml, {key}", what=f"has no {', '.join(missing)}"))
        elif entry["seen"] not in SEEN:
            faults.append(Fault(where=f"sources.toml, {key}", what=f"'{entry['seen']}' is no tag", limit=", ".join(SEEN)))
        else:
            found[key] = Source(key=key, **{name: entry[name] for name in entry if name in Source.__slots__})
    if faults:
        raise InputError(faults)
    return MappingProxyType(found)


def source(key: str) -> Source:
    """The source of that key.

    Parameters
    ----------
    key : str
        Key in sources.toml. [-]

    Raises
    ------
    MissingError
        If there is no such source.
    """
    try:
        return sources()[key]
    except KeyError:
        raise MissingError(f"no source '{key}'", where="sources.toml", cure="Add it there, once.") from None


@cache
def table(name: str) -> Mapping[str, Any]:
    """A table by its file name without ending, frozen: mappings, tuples and `Figure`s.

    A mapping with `value`, or `low` and `high`, becomes a `Figure`; unit, source, where and seen may stand in the table
    above it. Lists of figures become tuples. Every other number must stand under a unit and a source too.

    Parameters
    ----------
    name : str
        "crops", "fertilizers", "seed_row", "oxides", "grain", "germination", "thresholds" or "practice". [-]

    Raises
    ------
    InputError
        Listing every number without a unit or a known source, or tagged higher than its source.
    """
    faults: list[Fault] = []
    frozen = _freeze(_raw(name), name, {}, faults)
    if faults:
        raise InputError(faults)
    return cast("Mapping[str, Any]", frozen)


def figures(name: str, *path: str) -> tuple[Figure, ...]:
    """All figures at one place of a table, one for each source that gives one.

    Parameters
    ----------
    name : str
        Table. [-]
    *path : str
        Keys down into it, such as "wheat", "depth". [-]

    Returns
    -------
    tuple of Figure
        Empty if the table says nothing there.
    """
    here: Any = table(name)
    for key in path:
        if not isinstance(here, Mapping) or key not in here:
            return ()
        here = here[key]
    if isinstance(here, Figure):
        return (here,)
    return tuple(f for f in here if isinstance(f, Figure)) if isinstance(here, tuple) else ()


def figure(name: str, *path: str) -> Figure:
    """The one figure at a place, the best seen if there are several.

    Raises
    ------
    MissingError
        If the table says nothing there.
    """
    found = figures(name, *path)
    if not found:
        raise MissingError("no figure is known", where=f"{name}: {' '.join(path)}", cure="Give your own value.")
    return max(found, key=lambda f: SEEN.index(f.seen))


def every_figure(name: str) -> Iterator[Figure]:
    """Every figure of a table, in its order."""

    def walk(node: Any) -> Iterator[Figure]:
        if isinstance(node, Figure):
            yield node
        elif isinstance(node, Mapping):
            for child in node.values():
                yield from walk(child)
        elif isinstance(node, tuple):
            for child in node:
                yield from walk(child)

    yield from walk(table(name))


def tables() -> tuple[str, ...]:
    """Names of all tables of figures."""
    files = (entry.name for entry in resources.files(__package__).iterdir())
    return tuple(sorted(name[:-5] for name in files if name.endswith(".toml") and name != "sources.toml"))


def _raw(name: str) -> dict[str, Any]:
    """A TOML file of this package as it stands."""
    path = resources.files(__package__).joinpath(f"{name}.toml")
    if not path.is_file():
        raise MissingError(f"no table '{name}'", where="reference", cure=f"Tables: {', '.join(tables())}.")
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _freeze(node: Any, where: str, inherited: dict[str, str], faults: list[Fault]) -> Any:
    """Mappings read-only, lists as tuples, figures as `Figure`; faults of citation are gathered."""
    if isinstance(node, dict):
        cited = inherited | {key: node[key] for key in _CITATION if key in node}
        if "value" in node or "low" in node or "high" in node:
            return _figure(node, where, cited, faults)
        # a note belongs to its own level only
        passed = {key: text for key, text in cited.items() if key != "note"}
        return MappingProxyType({key: _freeze(child, f"{where}.{key}", passed, faults) for key, child in node.items()})
    if isinstance(node, list):
        return tuple(_freeze(child, where, inherited, faults) for child in node)
    if isinstance(node, int | float) and not isinstance(node, bool):
        faults.extend(_citation_faults(where, inherited))
    return node


def _figure(node: dict[str, Any], where: str, cited: dict[str, str], faults: list[Fault]) -> Figure | None:
    low, high = (node["value"], node["value"]) if "value" in node else (node.get("low"), node.get("high"))
    wrong = _citation_faults(where, cited)
    if not (isinstance(low, int | float) and isinstance(high, int | float) and low <= high):
        wrong.append(Fault(where=where, what="is no number or range", cure="Give value, or low and high."))
    unknown = set(node) - {"value", "low", "high", *_CITATION}
    if unknown:
        wrong.append(Fault(where=where, what=f"carries {', '.join(sorted(unknown))}", limit="value, low, high, " + ", ".join(_CITATION)))
    faults.extend(wrong)
    if wrong:
        return None
    key = where.split(".", 1)[1] if "." in where else where
    return Figure(key=key, low=float(cast("float", low)), high=float(cast("float", high)), **_citation(cited))


def _citation(cited: dict[str, str]) -> dict[str, Any]:
    return {"unit": cited["unit"], "source": cited["source"], "where": cited["where"], "seen": cited["seen"], "note": cited.get("note", "")}


def _citation_faults(where: str, cited: dict[str, str]) -> list[Fault]:
    """What is missing or wrong in the citation of one number."""
    faults = [Fault(where=where, what=f"has no {key}") for key in ("unit", "source", "where", "seen") if key not in cited]
    key, seen = cited.get("source"), cited.get("seen")
    if key is not None and key not in sources():
        faults.append(Fault(where=where, what=f"names the source '{key}'", limit="a key in sources.toml"))
    elif key is not None and seen is not None:
        if seen not in SEEN:
            faults.append(Fault(where=where, what=f"is tagged '{seen}'", limit=", ".join(SEEN)))
        elif SEEN.index(seen) > SEEN.index(sources()[key].seen):
            faults.append(Fault(where=where, what=f"is tagged '{seen}', its source only '{sources()[key].seen}'"))
    return faults
