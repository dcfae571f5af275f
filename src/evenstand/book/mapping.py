"""Rows <-> model. A field is a column of the same name; an estimate is four; a tuple or mapping is the rows of a table of its own.

`tables.py` is the contract: a field without a column, or a column without a field, is an error and a test finds it.
"""

from __future__ import annotations

import dataclasses
import math
import types
import typing
from collections.abc import Hashable, Iterable, Mapping
from functools import cache
from typing import Any

from sqlalchemy import Boolean, Double, Integer, LargeBinary, Table

from evenstand.base.errors import Fault, InputError
from evenstand.base.estimate import Est
from evenstand.book.columns import Moment, moment
from evenstand.book.kinds import Kind, Part, key_of
from evenstand.book.shapes import outline_bytes, polygons_of
from evenstand.book.tables import metadata
from evenstand.model import Polygon

Row = dict[str, Any]
RowKey = tuple[Any, ...]
Rows = dict[str, dict[RowKey, Row]]
"""Rows by table name and natural key; owners stand before their parts."""
PartRows = Mapping[str, Mapping[RowKey, list[Row]]]
"""Rows of parts in order, by table name and the key of what they belong to."""


@cache
def _hints(kept: Hashable) -> dict[str, Any]:
    return typing.get_type_hints(kept)


def _plain(hint: Any) -> Any:
    """The type within an optional one."""
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union:
        return next(a for a in typing.get_args(hint) if a is not type(None))
    return hint


# model -> rows ------------------------------------------------------------------------------------------------------
def rows_of(kind: Kind, thing: Any) -> Rows:
    """All rows that stand for a thing.

    Raises
    ------
    InputError
        With every fault: a value of the wrong type, a number that is none, a time that is none, the same letter twice.
    """
    faults: list[Fault] = []
    key = key_of(thing)
    where = f"{kind.name} '{key}'"
    if not key:
        faults.append(Fault(where=kind.name, what="its key is empty", cure="Give it a key."))
    rows: Rows = {table.name: {} for table in kind.tables()}
    row: Row = {"key": key}
    _encode(thing, kind.table, kind.parts, row, where, faults)
    rows[kind.table.name][_row_key(kind.table, row)] = row
    _encode_parts(thing, kind.parts, kind.table, row, rows, where, faults)
    if faults:
        raise InputError(faults)
    return rows


def _encode_parts(thing: Any, parts: tuple[Part, ...], owner: Table, owner_row: Row, rows: Rows, where: str, faults: list[Fault]) -> None:
    flat = [getattr(thing, name) for name in owner.info.get("flat", ())]
    link = _row_key(owner, owner_row)
    for part in parts:
        holder = next(h for h in (thing, *flat) if hasattr(h, part.field))
        values = getattr(holder, part.field)
        for position, item in enumerate(values.items() if isinstance(values, Mapping) else values):
            here = f"{where}, {part.field} {position + 1}"
            row: Row = dict(zip(part.table.info["link"], link, strict=True))
            if "position" in part.table.c:
                row["position"] = position
            _encode_item(item, part, row, here, faults)
            key = _row_key(part.table, row)
            if key in rows[part.table.name]:
                faults.append(Fault(where=where, what=f"{part.field} has {key[-1]} twice", cure="Give each its own."))
            rows[part.table.name][key] = row
            _encode_parts(item, part.parts, part.table, row, rows, here, faults)


def _encode_item(item: Any, part: Part, row: Row, where: str, faults: list[Fault]) -> None:
    columns = part.table.c
    if part.item is tuple:
        row["x_m"], row["y_m"] = (_checked(v, columns[n], where, faults) for n, v in zip(("x_m", "y_m"), item, strict=True))
    elif part.item is Polygon:
        row["outline_m"] = _checked((item,), columns["outline_m"], where, faults)
    elif dataclasses.is_dataclass(part.item):
        _encode(item, part.table, part.parts, row, where, faults)
    elif "name" in columns:
        row["name"], row["value"] = (_checked(v, columns[n], where, faults) for n, v in zip(("name", "value"), item, strict=True))
    else:
        row["value"] = _checked(item, columns["value"], where, faults)


def _encode(thing: Any, table: Table, parts: tuple[Part, ...], row: Row, where: str, faults: list[Fault], prefix: str = "") -> None:
    """Fill `row` with the fields of `thing` that are not parts."""
    apart = {part.field for part in parts}
    kept: type = type(thing)
    for name, hint in _hints(kept).items():
        if name in apart or typing.get_origin(hint) is typing.ClassVar:
            continue
        value, plain = getattr(thing, name), _plain(hint)
        if plain is Est:
            _encode_est(value, table, prefix + name, row, where, faults)
        elif dataclasses.is_dataclass(plain):
            inner = "" if name in table.info.get("flat", ()) else f"{prefix}{name}_"
            _encode(value, table, parts, row, where, faults, inner)
        else:
            column = _column(table, prefix + name)
            row[column] = _checked(value, table.c[column], f"{where}, {prefix}{name}", faults)


def _encode_est(est: Est | None, table: Table, name: str, row: Row, where: str, faults: list[Fault]) -> None:
    if est is None and not table.c[name].nullable:
        faults.append(Fault(where=f"{where}, {name}", what="is missing", cure="Give a value."))
    values = (None,) * 4 if est is None else (est.value, est.sd, est.basis, est.source)
    for suffix, value in zip(("", "_sd", "_basis", "_source"), values, strict=True):
        row[name + suffix] = None if est is None else _checked(value, table.c[name + suffix], f"{where}, {name}", faults)


def _column(table: Table, name: str) -> str:
    return str(table.info.get("names", {}).get(name, name))


def _row_key(table: Table, row: Row) -> RowKey:
    return tuple(row[name] for name in table.info["key"])


def _checked(value: Any, column: Any, where: str, faults: list[Fault]) -> Any:
    """The value as the column keeps it; what the column cannot keep is a fault, never a change."""
    if hasattr(value, "item") and not isinstance(value, bytes):  # a NumPy number
        value = value.item()
    if value is None or (value == "" and (column.foreign_keys or isinstance(column.type, Moment))):
        if not column.nullable:
            faults.append(Fault(where=where, what="is missing", cure="Give a value."))
        return None
    try:
        return _fitted(value, column.type)
    except InputError as error:
        faults.extend(Fault(where=where, what=f.what, limit=f.limit, cure=f.cure) for f in error.faults)
    except (TypeError, ValueError, OverflowError) as error:
        faults.append(Fault(where=where, what=str(error), cure="Correct the value."))
    return None


def _fitted(value: Any, kind: Any) -> Any:
    if isinstance(kind, Moment):
        return moment(value)
    if isinstance(kind, LargeBinary):
        return outline_bytes(value)
    if isinstance(kind, Boolean):
        return _of_type(value, bool, "yes or no")
    if isinstance(kind, Integer):
        if isinstance(value, bool) or not isinstance(value, int):
            raise TypeError(f"{value!r} is no whole number")
        if abs(value) >= 2**63:
            raise ValueError(f"{value!r} is too large")
        return value
    if isinstance(kind, Double):
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise TypeError(f"{value!r} is no number")
        return float(value)
    text = _of_type(value, str, "text")
    text.encode()  # half a surrogate pair cannot be stored
    if "\0" in text:
        raise ValueError("the text holds a zero character")
    return text


def _of_type(value: Any, wanted: type, called: str) -> Any:
    if not isinstance(value, wanted):
        raise TypeError(f"{value!r} is no {called}")
    return value


def _empty_is_null(column: Any) -> bool:
    return isinstance(column.type, Moment) or (bool(column.foreign_keys) and column.nullable)


_EMPTY_IS_NULL = frozenset((t.name, c.name) for t in metadata.tables.values() for c in t.c if _empty_is_null(c))


# rows -> model ------------------------------------------------------------------------------------------------------
def thing_of(kind: Kind, row: Row, parts: PartRows) -> Any:
    """The thing that rows stand for.

    Parameters
    ----------
    kind : Kind
        Of the thing. [-]
    row : dict
        Its own row. [-]
    parts : mapping of table name to mapping of owner's key to rows
        Rows of its parts in order. [-]
    """
    return _decode(kind.type, kind.table, kind.parts, row, parts)


def _decode(kept: type, table: Table, parts: tuple[Part, ...], row: Row, rows: PartRows, prefix: str = "") -> Any:
    values: dict[str, Any] = {}
    for name, step, detail in _steps(kept, table, parts, prefix):
        if step == "column":
            value = row[detail]
            values[name] = value if value is not None else ("" if (table.name, detail) in _EMPTY_IS_NULL else None)
        elif step == "est":
            values[name] = _decode_est(row, detail)
        elif step == "part":
            values[name] = _decode_part(detail, rows.get(detail.table.name, {}).get(_row_key(table, row), []), rows)
        elif step == "inner":
            inner, own, before = detail
            values[name] = _decode(inner, own, parts, row, rows, before)
        else:
            values[name] = None if row[detail] is None else polygons_of(row[detail])
    return kept(**values)


@cache
def _steps(kept: type, table: Table, parts: tuple[Part, ...], prefix: str) -> tuple[tuple[str, str, Any], ...]:
    """How each field of a type is made from a row, worked out once: its name, the way, and the column, part or inner type."""
    by_field = {part.field: part for part in parts}
    out: list[tuple[str, str, Any]] = []
    for name, hint in _hints(kept).items():
        plain = _plain(hint)
        if typing.get_origin(hint) is typing.ClassVar:
            continue
        if name in by_field:
            out.append((name, "part", by_field[name]))
        elif plain is Est:
            out.append((name, "est", prefix + name))
        elif dataclasses.is_dataclass(plain) and isinstance(plain, type):
            inner = "" if name in table.info.get("flat", ()) else f"{prefix}{name}_"
            out.append((name, "inner", (plain, table, inner)))
        else:
            column = _column(table, prefix + name)
            out.append((name, "outline" if isinstance(table.c[column].type, LargeBinary) else "column", column))
    return tuple(out)


def _decode_part(part: Part, own: Iterable[Row], rows: PartRows) -> Any:
    if part.item is tuple:
        return tuple((row["x_m"], row["y_m"]) for row in own)
    if part.item is Polygon:
        return tuple(polygons_of(row["outline_m"])[0] for row in own)
    if dataclasses.is_dataclass(part.item):
        return tuple(_decode(part.item, part.table, part.parts, row, rows) for row in own)
    if "name" in part.table.c:
        return {row["name"]: row["value"] for row in own}
    return tuple(row["value"] for row in own)


def _decode_est(row: Row, name: str) -> Est | None:
    if row[name] is None:
        return None
    return Est(value=row[name], sd=row[f"{name}_sd"], basis=row[f"{name}_basis"], source=row[f"{name}_source"])
