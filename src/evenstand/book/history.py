"""History: when, who, why, and each value before and after; and taking a change back by a new one."""

from __future__ import annotations

import base64
import dataclasses
import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, and_, delete, insert, select, update

from evenstand.base.errors import ConflictError, Fault
from evenstand.book import tables
from evenstand.book.kinds import BY_NAME, Kind
from evenstand.book.mapping import Row, RowKey, Rows

WHOLE_ROW = "*"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One change of one value. id: number of the change it belongs to, as `Book.undo` takes it; number: its own; undoes: number of
    the change it took back.

    kind, key: the thing; table, row: the row, by its natural key; field: the column, "*" for a whole row that came or went;
    before, after: the values as plain data, None where there was or is none.
    """

    id: int
    number: int
    at: str
    who: str
    why: str
    undoes: int | None
    kind: str
    key: str
    table: str
    row: tuple[Any, ...]
    field: str
    before: Any
    after: Any

    def to_dict(self) -> dict[str, Any]:
        """The entry as plain data; bytes as base64."""
        values = {field.name: getattr(self, field.name) for field in dataclasses.fields(self)}
        for name in ("before", "after"):
            text = to_json(values[name])
            values[name] = None if text is None else json.loads(text)
        return {**values, "row": list(self.row), "what": self.what}

    @property
    def what(self) -> str:
        """What changed, for a list: the thing, its part, the field."""
        part = "" if self.row == (self.key,) else f", {'/'.join(map(str, self.row[1:]))}"
        return f"{self.kind} {self.key}{part}" + ("" if self.field == WHOLE_ROW else f", {self.field}")

    @property
    def before_text(self) -> str:
        """The value before, for a list."""
        return in_short(self.before)

    @property
    def after_text(self) -> str:
        """The value after, for a list."""
        return in_short(self.after)


def to_json(value: Any) -> str | None:
    """A value, or a whole row, as JSON; bytes become base64."""
    if value is None:
        return None
    return json.dumps(value, ensure_ascii=False, sort_keys=True, default=_bytes_as_text)


def _bytes_as_text(value: Any) -> Any:
    if isinstance(value, bytes):
        return {"base64": base64.b64encode(value).decode()}
    raise TypeError(f"{value!r} has no JSON form")


def from_json(text: str | None) -> Any:
    """The value of `to_json`."""
    return None if text is None else json.loads(text, object_hook=_text_as_bytes)


def _text_as_bytes(value: dict[str, Any]) -> Any:
    return base64.b64decode(value["base64"]) if set(value) == {"base64"} else value


def historic_columns(table: Table) -> list[str]:
    """The columns whose values are history: all but the row's number and what is made from the rest."""
    return [c.name for c in table.c if c.name not in tables.NEVER_IN_HISTORY]


# writing ------------------------------------------------------------------------------------------------------------
class Recorder:
    """Applies changes of rows and writes one history row for each value that changes."""

    def __init__(self, connection: Connection, change: int) -> None:
        self._connection = connection
        self.change = change
        self.whys: list[str] = []
        self.broken = False
        self.entries = 0
        self.touched: set[str] = set()
        self.things: set[tuple[str, str]] = set()

    def apply(self, kind: Kind, key: str, before: Rows, after: Rows) -> bool:
        """Turn the rows `before` into the rows `after`; True if any value changed."""
        count = self.entries
        ordered = list(kind.tables())
        for table in reversed(ordered):
            for row_key in before.get(table.name, {}).keys() - after.get(table.name, {}).keys():
                self.delete(kind.name, key, table, row_key, before[table.name][row_key])
        for table in ordered:
            for row_key, row in after.get(table.name, {}).items():
                old = before.get(table.name, {}).get(row_key)
                if old is None:
                    self.insert(kind.name, key, table, row_key, row)
                else:
                    self.update(kind.name, key, table, row_key, old, row)
        return self.entries > count

    def insert(self, kind: str, key: str, table: Table, row_key: RowKey, row: Row) -> None:
        """Add a row."""
        self._connection.execute(insert(table).values(row))
        self._note(kind, key, table, row_key, WHOLE_ROW, None, row)

    def delete(self, kind: str, key: str, table: Table, row_key: RowKey, row: Row) -> None:
        """Take a row away."""
        self._connection.execute(delete(table).where(by_key(table, row_key)))
        self._note(kind, key, table, row_key, WHOLE_ROW, row, None)

    def update(self, kind: str, key: str, table: Table, row_key: RowKey, old: Row, new: Row) -> None:
        """Change the values that differ."""
        changed = {name: value for name, value in new.items() if old[name] != value}
        if not changed:
            return
        self._connection.execute(update(table).where(by_key(table, row_key)).values(changed))
        for name, value in changed.items():
            self._note(kind, key, table, row_key, name, old[name], value)

    def _note(self, kind: str, key: str, table: Table, row_key: RowKey, field: str, before: Any, after: Any) -> None:
        self.entries += 1
        self.touched.add(table.name)
        self.things.add((kind, key))
        self._connection.execute(
            insert(tables.history).values(
                change=self.change, kind=kind, key=key, table_name=table.name, row_key=json.dumps(row_key, ensure_ascii=False),
                field=field, before=to_json(before), after=to_json(after),
            )
        )  # fmt: skip


def by_key(table: Table, row_key: Iterable[Any]) -> Any:
    """The condition that picks the row with a natural key."""
    return and_(*(table.c[name] == value for name, value in zip(table.info["key"], row_key, strict=True)))


# taking back --------------------------------------------------------------------------------------------------------
def take_back(connection: Connection, change: int, recorder: Recorder) -> None:
    """Undo each entry of a change, last first, if its row still is as that change left it.

    Raises
    ------
    ConflictError
        If a value has moved since, with the value the change left and the value there is now.
    """
    for entry in reversed(read_entries(connection, change=change)):
        table = tables.metadata.tables[entry.table]
        names = historic_columns(table)
        found = connection.execute(select(*(table.c[n] for n in names)).where(by_key(table, entry.row))).mappings().one_or_none()
        now = None if found is None else dict(found)
        if entry.field == WHOLE_ROW:
            _refuse_if_moved(entry, WHOLE_ROW, entry.after, now)
            if entry.before is None and now is not None:
                recorder.delete(entry.kind, entry.key, table, entry.row, now)
            elif entry.before is not None:
                recorder.insert(entry.kind, entry.key, table, entry.row, entry.before)
        else:
            if now is None:
                raise ConflictError(_moved(entry, entry.field, entry.after, None))
            _refuse_if_moved(entry, entry.field, entry.after, now[entry.field])
            recorder.update(entry.kind, entry.key, table, entry.row, now, {**now, entry.field: entry.before})


def _refuse_if_moved(entry: Entry, field: str, left: Any, now: Any) -> None:
    if isinstance(left, dict) and isinstance(now, dict):
        moved = [n for n in now if n in left and left[n] != now[n]]  # a column a later release added was not there to move
        if moved:
            raise ConflictError([fault for n in moved for fault in _moved(entry, n, left[n], now[n])])
        return
    if left == now:
        return
    raise ConflictError(_moved(entry, field, left, now))


def _moved(entry: Entry, field: str, left: Any, now: Any) -> list[Fault]:
    where = f"{entry.kind} '{entry.key}', {entry.table}" + ("" if field == WHOLE_ROW else f", {field}")
    return [
        Fault(
            where=where,
            what=f"change {entry.id} left {in_short(left)}, now there is {in_short(now)}",
            cure="Undo the later change first, or put in the value you want.",
        )
    ]


def in_short(value: Any, limit: int = 60) -> str:
    """A value as shown in a sentence or a list."""
    if value is None:
        return "nothing"
    if isinstance(value, bytes):
        return f"{len(value)} bytes"
    if isinstance(value, dict):
        value = ", ".join(f"{k} {in_short(v, 24)}" for k, v in value.items() if v not in (None, ""))
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return text if len(text) <= limit else text[: limit - 1] + "…"


# reading ------------------------------------------------------------------------------------------------------------
def read_entries(connection: Connection, *, kind: str = "", key: str | None = None, change: int | None = None) -> list[Entry]:
    """Entries in the order they were made, of all things or of one kind, thing or act."""
    h, c = tables.history, tables.changes
    query = select(h, c.c.at, c.c.who, c.c.why, c.c.undoes).join(c, h.c.change == c.c.fid).order_by(h.c.fid)
    if kind:
        query = query.where(h.c.kind == kind)
    if key is not None:
        query = query.where(h.c.key == key)
    if change is not None:
        query = query.where(h.c.change == change)
    return [
        Entry(
            id=row.change, number=row.fid, at=row.at, who=row.who, why=row.why, undoes=row.undoes, kind=row.kind, key=row.key,
            table=row.table_name, row=tuple(json.loads(row.row_key)), field=row.field,
            before=from_json(row.before), after=from_json(row.after),
        )
        for row in connection.execute(query)
    ]  # fmt: skip


def kinds_of_things(things: Iterable[tuple[str, str]]) -> list[tuple[Kind, str]]:
    """The things touched, with their kinds."""
    return [(BY_NAME[name], key) for name, key in sorted(things)]
