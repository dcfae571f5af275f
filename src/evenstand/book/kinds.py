"""Which type is kept in which tables."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Table

from evenstand.base.errors import BookError
from evenstand.book import records, tables
from evenstand.model import (
    Ask,
    Bin,
    Boundary,
    Fill,
    Hazard,
    Head,
    Job,
    Load,
    Lot,
    MeterFactor,
    Order,
    Outfit,
    Polygon,
    Product,
    PulseTest,
    Reading,
    Run,
    Section,
    Stream,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A field of several values and the table of its items. item: a dataclass, `float`, `str`, or `tuple` for a pair of metres."""

    field: str
    table: Table
    item: type
    parts: tuple[Part, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A type a book keeps, its table and the tables of its parts."""

    type: type
    table: Table
    parts: tuple[Part, ...] = ()

    @property
    def name(self) -> str:
        """What history calls it."""
        return self.type.__name__

    def tables(self) -> Iterator[Table]:
        """Its tables, owners before parts."""
        yield self.table
        yield from _tables(self.parts)


def _tables(parts: tuple[Part, ...]) -> Iterator[Table]:
    for part in parts:
        yield part.table
        yield from _tables(part.parts)


def _part(field: str, table: Table, item: type, *parts: Part) -> Part:
    return Part(field=field, table=table, item=item, parts=parts)


def _kind(kept: type, table: Table, *parts: Part) -> Kind:
    return Kind(type=kept, table=table, parts=parts)


_ALL = (
    _kind(records.Farm, tables.farm),
    _kind(records.Setting, tables.settings),
    _kind(Product, tables.products, _part("analysis", tables.product_nutrients, float)),
    _kind(Lot, tables.lots),
    _kind(
        Outfit,
        tables.outfits,
        _part("bins", tables.outfit_bins, Bin),
        _part("streams", tables.outfit_streams, Stream),
        _part("heads", tables.outfit_heads, Head),
        _part("runs", tables.outfit_runs, Run),
        _part("sections", tables.outfit_sections, Section),
        _part("sensor_streams", tables.outfit_sensor_streams, str),
        _part("pulses", tables.outfit_pulses, PulseTest),
    ),
    _kind(MeterFactor, tables.meter_factors),
    _kind(records.CardRemark, tables.card_remarks),
    _kind(
        Boundary,
        tables.fields,
        _part("obstacles", tables.field_obstacles, Polygon),
        _part("entries", tables.field_entries, tuple),
        _part("fill_points", tables.field_fill_points, tuple),
        _part("hazards", tables.field_hazards, Hazard),
        _part("repairs", tables.field_repairs, str),
    ),
    _kind(
        Job,
        tables.jobs,
        _part("asks", tables.job_asks, Ask, _part("bins", tables.job_ask_bins, str)),
        _part("extra", tables.job_extra, str),
    ),
    _kind(Order, tables.orders),
    _kind(Load, tables.loads),
    _kind(Fill, tables.fills),
    _kind(records.JobReading, tables.readings, _part("derived_from", tables.reading_sources, str)),
    _kind(records.JobEvent, tables.job_events),
    _kind(records.CatchRecord, tables.catch_tests, _part("masses_kg", tables.catch_masses, float)),
    _kind(
        records.CallNote,
        tables.call_notes,
        _part("readings", tables.call_readings, Reading, _part("derived_from", tables.call_reading_sources, str)),
        _part("causes", tables.call_causes, str),
    ),
    _kind(records.StepState, tables.step_states),
    _kind(records.ProofRecord, tables.proofs),
    _kind(records.Handover, tables.handovers),
    _kind(records.Original, tables.originals),
    _kind(records.TrailRecord, tables.trails),
    _kind(records.ImportedEntry, tables.imported_entries),
)
KINDS: dict[type, Kind] = {kind.type: kind for kind in _ALL}
BY_NAME: dict[str, Kind] = {kind.name: kind for kind in _ALL}


def kind_of(kept: type | str) -> Kind:
    """The kind of a type, or of the name of one.

    Raises
    ------
    BookError
        If a book keeps no such type.
    """
    found = BY_NAME.get(kept) if isinstance(kept, str) else KINDS.get(kept)
    if found is None:
        name = kept if isinstance(kept, str) else kept.__name__
        raise BookError(f"a book keeps no {name}", where="book", cure=f"It keeps {', '.join(sorted(BY_NAME))}.")
    return found


def key_of(thing: Any) -> str:
    """The key under which a book keeps a thing.

    Most carry it themselves; a meter factor is known by outfit, bin, product, lot, setting and time, a card remark by
    outfit and line, joined by bars; a farm is "farm".
    """
    kind = kind_of(type(thing))
    if isinstance(thing, records.Farm):
        return "farm"
    if isinstance(thing, records.Original):
        return thing.hash
    made = kind.table.info.get("made_key")
    return joined_key(tuple(str(getattr(thing, name)) for name in made)) if made else str(thing.key)


def joined_key(key: str | tuple[str, ...]) -> str:
    """A key of several values as the book writes it."""
    return key if isinstance(key, str) else "|".join(key)
