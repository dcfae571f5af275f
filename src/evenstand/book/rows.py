"""Reading the rows of things, and comparing them with what somebody wants to put in their place."""

from __future__ import annotations

import hashlib
import sqlite3
from collections import defaultdict
from typing import Any

from sqlalchemy import Connection, Table, func, select, tuple_

from evenstand.base.errors import BookError, ConflictError, Fault
from evenstand.book import tables
from evenstand.book.history import historic_columns, in_short
from evenstand.book.kinds import Kind
from evenstand.book.mapping import Row, RowKey, Rows, thing_of


def read_rows(connection: Connection, kind: Kind, key: str) -> Rows:
    """The rows of a thing and its parts, without what is not history."""
    rows: Rows = {}
    for table in kind.tables():
        names = historic_columns(table)
        found = connection.execute(select(*(table.c[n] for n in names)).where(table.c[table.info["key"][0]] == key)).mappings()
        rows[table.name] = {tuple(r[n] for n in table.info["key"]): dict(r) for r in found}
    return rows


def read_things(connection: Connection, kind: Kind, *conditions: Any) -> list[Any]:
    """The things whose rows meet the conditions, in order of time where they have one, then of key."""
    table = kind.table
    order = [table.c[n] for n in ("at", "key") if n in table.c]
    own = [dict(r) for r in connection.execute(select(table).where(*conditions).order_by(*order)).mappings()]
    if not own:
        return []
    keys = [row["key"] for row in own] if conditions else None
    parts = {t.name: _grouped(connection, t, keys) for t in kind.tables() if t is not table}
    return [thing_of(kind, row, parts) for row in own]


def _grouped(connection: Connection, table: Table, keys: list[str] | None) -> dict[RowKey, list[Row]]:
    """The rows of a table of parts by the key of what they belong to, in order."""
    link = table.info["link"]
    query = select(table).order_by(table.c[table.info["key"][0]], table.c.position if "position" in table.c else table.c.fid)
    groups: dict[RowKey, list[Row]] = defaultdict(list)
    if keys is not None and len(keys) <= 500:  # SQLite limits how many values one statement takes
        query = query.where(tuple_(table.c[link[0]]).in_([(k,) for k in keys]))
    for row in connection.execute(query).mappings():
        groups[tuple(row[n] for n in link)].append(dict(row))
    return groups


def version_of(connection: Connection, kind: Kind, key: str) -> int:
    """The number of the last change of a thing; 0 if it is not there."""
    if connection.execute(select(kind.table.c.fid).where(kind.table.c.key == key)).scalar() is None:
        return 0
    h = tables.history
    return int(connection.execute(select(func.max(h.c.change)).where(h.c.kind == kind.name, h.c.key == key)).scalar() or 0)


def outdated(kind: Kind, key: str, expected: int, found: int, before: Rows, after: Rows) -> ConflictError:
    """Both values of each field in which a thing made from an older version differs from the book's."""
    where = f"{kind.name} '{key}'"
    faults = []
    for table, rows in after.items():
        for row_key in rows.keys() | before[table].keys():
            yours, there = rows.get(row_key, {}), before[table].get(row_key, {})
            for name in sorted(yours.keys() | there.keys()):
                if yours.get(name) != there.get(name):
                    place = f"{where}, {table} {'/'.join(map(str, row_key))}, {name}"
                    told = f"yours is {in_short(yours.get(name))}, the book has {in_short(there.get(name))}"
                    faults.append(Fault(where=place, what=told))
    said = Fault(where=where, what=f"version {expected} was expected, the book has {found}", cure="Read it again and make the change anew.")
    return ConflictError([said, *faults])


def condition(table: Table, name: str, value: Any) -> Any:
    """That a field has a value; "" and None are both not known where the column may be empty."""
    column = table.info.get("names", {}).get(name, name)
    if column not in table.c:
        raise BookError(f"{table.name} has no {name}", where="book", cure=f"It has {', '.join(historic_columns(table))}.")
    chosen = table.c[column]
    return chosen.is_(None) if value is None or (value == "" and chosen.nullable) else chosen == value


def sorted_rows(raw: sqlite3.Connection, name: str) -> list[list[Any]]:
    """The rows of a table in a fixed order; bytes as their sha256."""
    found = raw.execute(f'SELECT * FROM "{name}"')
    rows = [[f"sha256:{hashlib.sha256(v).hexdigest()}" if isinstance(v, bytes) else v for v in row] for row in found]
    return sorted(rows, key=repr)
