"""A copy of a book without what names people, places and the farm: every value, the history, and the names of files.

What is replaced is found in two ways. Columns that hold names get a number in their place ("person 2", "field 1"), the same for the same
name throughout. What those columns held, now or at any time in history, is then looked for as whole words in every other text and
replaced there too. Free notes cannot be read by a program, so they are left out whole.
"""

from __future__ import annotations

import contextlib
import json
import re
import sqlite3
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from sqlalchemy import Table, Text
from sqlalchemy.dialects import sqlite

from evenstand.book import blobs, tables
from evenstand.book.geopackage import touch_tables
from evenstand.book.kinds import BY_NAME
from evenstand.book.shapes import point_blob, polygons_blob, to_degrees
from evenstand.model import Frame
from evenstand.reference.figures import sources

PEOPLE = {
    ("changes", "who"),
    ("readings", "by"),
    ("job_events", "by"),
    ("catch_tests", "by"),
    ("step_states", "by"),
    ("card_remarks", "set_by"),
    ("call_notes", "caller"),
    ("proofs", "by"),
    ("handovers", "by"),
}
NAMED = {
    ("farm", "name"): "farm",
    ("fields", "name"): "field",
    ("outfits", "name"): "outfit",
    ("originals", "name"): "file",
    ("trails", "name"): "file",
    ("imported_entries", "source"): "source",
    ("loads", "ticket"): "ticket",
    ("loads", "from_key"): "place",
    ("loads", "to_key"): "place",
    ("job_extra", "value"): "fact",
    ("lots", "label"): "lot",
    ("orders", "supplier"): "supplier",
}
NOTES = {
    ("jobs", "notes"),
    ("readings", "note"),
    ("catch_tests", "note"),
    ("call_notes", "note"),
    ("call_notes", "asked"),
    ("call_notes", "advice"),
    ("step_states", "note"),
    ("trails", "note"),
    ("field_hazards", "note"),
    ("proofs", "note"),
    ("proofs", "text"),
    ("handovers", "note"),
    ("fields", "file_hash"),
    ("orders", "note"),
    ("loads", "note"),
}
REKEYED = (
    "fields",
    "jobs",
    "outfits",
    "lots",
    "orders",
    "loads",
    "fills",
    "readings",
    "job_events",
    "catch_tests",
    "call_notes",
    "trails",
    "proofs",
    "handovers",
)
LEFT_OUT = "left out"
_OWN_REASONS = frozenset(
    {
        "",
        "catch test",
        "demo farm, invented",
        "field of the job",
        "fill",
        "first values",
        "load",
        "new book",
        "new job",
        "done, by word",
        "new lot",
        "new order",
        "nothing more to come of the order",
        "put off until tomorrow",
        "reading",
        "readings",
        "taken up again",
        "the day's deliveries",
        "the day's fills and readings",
        "typed on the job",
        "typed on the outfit",
        "undone on the page",
        "units shown",
        "word of the display",
        "proof",
        "shift handed over",
    }
)
_OWN_SOURCES = frozenset({"", "typed", "typed on the site", "catch test", "tape", "computed", "check", "definition", "demo farm", "plan"})
_FIXED = frozenset(
    {
        "kind",
        "how",
        "crop",
        "quantity",
        "profile",
        "drive",
        "speed_source",
        "state",
        "phase",
        "item",
        "instrument",
        "texture",
        "moisture",
        "guideline",
        "form",
        "soil",
        "load",
        "placement",
        "line",
        "table_name",
        "field",
        "opener",
        "letter",
        "stream",
        "head",
    }
)
_KEY_LEAST, _PERSON_LEAST, _NAME_LEAST = 4, 3, 4


def strip_names(copy: sqlite3.Connection, folder: Path, *, at: str) -> dict[str, bytes]:
    """Take the names out of a copy of a book.

    Parameters
    ----------
    copy : sqlite3.Connection
        To the copy, with the book's own functions; it is changed. [-]
    folder : Path
        Of the book it was copied from, for its trails; not changed. [-]
    at : str
        Time of the copy. [ISO 8601]

    Returns
    -------
    dict
        The trails without names, by their new name in the bundle. [-]
    """
    copy.row_factory = sqlite3.Row
    copy.execute("PRAGMA foreign_keys = OFF")
    copy.execute("BEGIN")
    _drop_the_rest(copy)
    names = _Names(copy)
    files = _trails(copy, folder, names)
    for table in tables.metadata.sorted_tables:
        _clean_table(copy, table, names)
    _clean_history(copy, names)
    _draw_again(copy, at)
    copy.execute("COMMIT")
    copy.execute("VACUUM")
    copy.row_factory = None
    return files


def _drop_the_rest(copy: sqlite3.Connection) -> None:
    """Cached results, settings that are no recipe, and tables that other programs put in."""
    copy.execute("DELETE FROM derived")
    copy.execute("""DELETE FROM settings WHERE "key" NOT LIKE 'recipe:%'""")
    copy.execute("""DELETE FROM history WHERE kind = 'Setting' AND "key" NOT LIKE 'recipe:%'""")
    known = {*tables.metadata.tables, "sqlite_sequence"}
    for name, kind in copy.execute("SELECT name, type FROM sqlite_master WHERE type IN ('table', 'view', 'trigger')").fetchall():
        ours = name in known or (name.startswith(("sqlite_", "gpkg_")) and "ogr" not in name)
        if ours or (kind == "table" and name.startswith("rtree_") and not name.endswith("geom")):
            continue  # an index's shadow tables go with the index
        with contextlib.suppress(sqlite3.OperationalError):
            copy.execute(f'DROP {kind} IF EXISTS "{name}"')
    with contextlib.suppress(sqlite3.OperationalError):
        copy.execute("DELETE FROM gpkg_extensions")
    listed = ", ".join(f"'{n}'" for n in tables.metadata.tables)
    copy.execute(f"DELETE FROM gpkg_contents WHERE table_name NOT IN ({listed})")


class _Names:
    """What stands for what: names by column, keys by table, and the words to look for elsewhere."""

    def __init__(self, copy: sqlite3.Connection) -> None:
        self.people: dict[str, str] = {}
        self.named: dict[tuple[str, str], dict[str, str]] = {}
        self.keys: dict[str, dict[str, str]] = {name: {} for name in REKEYED}
        self.hashes: dict[str, str] = {}
        self.lon0: float | None = None
        self._words: dict[str, str] = {}
        self._known_sources = _OWN_SOURCES | set(sources())
        for table, column, value in _all_values(copy):
            self._learn(table, column, value)
        for kind, before in self.named.items():
            stem = NAMED[kind]
            for value, new in before.items():
                if stem in ("farm", "field", "outfit", "place", "fact", "file", "supplier"):
                    self._look_for(value, new, _NAME_LEAST)
        for table in ("fields", "jobs", "outfits"):
            for old, new in self.keys[table].items():
                self._look_for(old, new, _KEY_LEAST)
        for value, new in self.people.items():
            self._look_for(value, new, _PERSON_LEAST)
            for word in re.findall(r"[^\W\d_]{3,}", value):
                self._look_for(word, new, _PERSON_LEAST)
        ordered = sorted(self._words, key=len, reverse=True)
        self._pattern = re.compile(rf"(?<![^\W_])(?:{'|'.join(map(re.escape, ordered))})(?![^\W_])", re.IGNORECASE) if ordered else None

    def _learn(self, table: str, column: str, value: Any) -> None:
        if column == "frame_lon_deg" and self.lon0 is None and isinstance(value, float):
            self.lon0 = value
        if not isinstance(value, str) or not value:
            return
        if (table, column) in PEOPLE:
            self.people.setdefault(value, f"person {len(self.people) + 1}")
        elif (table, column) in NAMED:
            stem = NAMED[table, column]
            known = self.named.setdefault((table, column), {})
            if value not in known:
                same = next((m[value] for k, m in self.named.items() if NAMED[k] == stem and value in m), None)
                count = len({v for k, m in self.named.items() if NAMED[k] == stem for v in m.values()})
                known[value] = same or ("the farm" if stem == "farm" and not count else f"{stem} {count + 1}")
        elif column == "key" and table in self.keys and len(value) >= _KEY_LEAST:
            self.keys[table].setdefault(value, f"{table.rstrip('s').replace('_', '-')}-{len(self.keys[table]) + 1}")

    def _look_for(self, value: str, new: str, least: int) -> None:
        slug = re.sub(r"[^a-z0-9]+", "-", value.lower()).strip("-")[:40]
        for text in (value, slug, slug.replace("-", " "), slug.replace("-", "_")):
            if len(text) >= least and not text.isdigit():
                self._words.setdefault(text.lower(), new if text == value else new.replace(" ", "-"))

    def swept(self, text: str) -> str:
        """A text with every known name in it replaced."""
        if self._pattern is None or not text:
            return text
        return self._pattern.sub(lambda m: self._words[m.group(0).lower()], text)

    def key(self, table: str, value: str) -> str:
        """A key of a table, or several joined by bars."""
        known = self.keys.get(table, {})
        if value in known:
            return known[value]
        made = tables.metadata.tables[table].info.get("made_key")
        if made and "|" in value:
            parts = zip(made, value.split("|"), strict=False)
            return "|".join(self.column(tables.metadata.tables[table], name, part) for name, part in parts)
        return self.swept(value)

    def column(self, table: Table, name: str, value: Any) -> Any:
        """The value of a column without names."""
        if name == "frame_lon_deg" and isinstance(value, float):
            return value - (self.lon0 or 0.0)
        if not isinstance(value, str) or not value:
            return value
        place = (table.name, name)
        if place in PEOPLE:
            return self.people.get(value, "person")
        if place in NOTES:
            return ""
        if place in NAMED:
            return next((known[value] for known in (self.keys["loads"], self.keys["outfits"]) if value in known), None) or self.named[
                place
            ].get(value, NAMED[place])
        if place == ("changes", "why"):
            return "; ".join(
                part if part in _OWN_REASONS or re.fullmatch(r"undo of change \d+", part) else LEFT_OUT for part in value.split("; ")
            )
        if name.endswith("_source"):
            return value if value in self._known_sources else LEFT_OUT
        if name == "parquet_hash":
            return self.hashes.get(value, value)
        target = _refers_to(table, name)
        if target:
            return self.key(target, value)
        if name in _FIXED or name.endswith(("_basis", "_hash", "_at")):
            return value
        return self.swept(value)


def _refers_to(table: Table, name: str) -> str:
    """The table whose key a column holds, "" for none."""
    if name == "key":
        return table.name
    column = table.c.get(name)
    if column is None or not column.foreign_keys:
        return ""
    aim = next(iter(column.foreign_keys)).column
    return aim.table.name if aim.name == "key" else _refers_to(aim.table, aim.name)


def _all_values(copy: sqlite3.Connection) -> Iterable[tuple[str, str, Any]]:
    """Every value there is and was, with its table and column."""
    for table in tables.metadata.sorted_tables:
        if table.name in ("history", "derived"):
            continue
        for row in copy.execute(f'SELECT * FROM "{table.name}"'):
            yield from ((table.name, name, row[name]) for name in row.keys())  # noqa: SIM118 - a row is no mapping
    for row in copy.execute("SELECT table_name, field, before, after FROM history"):
        for text in (row["before"], row["after"]):
            value = None if text is None else json.loads(text)
            if row["field"] == "*" and isinstance(value, dict):
                yield from ((row["table_name"], name, part) for name, part in value.items())
            else:
                yield row["table_name"], row["field"], value


def _clean_table(copy: sqlite3.Connection, table: Table, names: _Names) -> None:
    if table.name in ("history", "derived", "book_schema"):
        return
    columns = [c.name for c in table.c if _is_text(c) or c.name == "frame_lon_deg"]
    for row in copy.execute(f'SELECT * FROM "{table.name}"').fetchall():
        new = {name: names.column(table, name, row[name]) for name in columns}
        changed = {name: value for name, value in new.items() if value != row[name]}
        if changed:
            sets = ", ".join(f'"{name}" = ?' for name in changed)
            copy.execute(f'UPDATE "{table.name}" SET {sets} WHERE fid = ?', (*changed.values(), row["fid"]))


def _is_text(column: Any) -> bool:
    return isinstance(column.type, Text) or str(column.type.compile(dialect=sqlite.dialect())) == "TEXT"


def _clean_history(copy: sqlite3.Connection, names: _Names) -> None:
    """Before and after of every change, by the rules of the columns they come from."""
    for row in copy.execute("SELECT * FROM history").fetchall():
        table = tables.metadata.tables[row["table_name"]]
        kind = BY_NAME[row["kind"]].table
        key = names.key(kind.name, row["key"])
        row_key = [names.column(table, name, value) for name, value in zip(table.info["key"], json.loads(row["row_key"]), strict=True)]
        before, after = (_clean_json(row[side], row["field"], table, names) for side in ("before", "after"))
        copy.execute(
            'UPDATE history SET "key" = ?, row_key = ?, before = ?, after = ? WHERE fid = ?',
            (key, json.dumps(row_key, ensure_ascii=False), before, after, row["fid"]),
        )


def _clean_json(text: str | None, field: str, table: Table, names: _Names) -> str | None:
    if text is None:
        return None
    value = json.loads(text)
    if field == "*" and isinstance(value, Mapping):
        value = {name: names.column(table, name, part) for name, part in value.items()}
    else:
        value = names.column(table, field, value)
    return json.dumps(value, ensure_ascii=False, sort_keys=True)


def _trails(copy: sqlite3.Connection, folder: Path, names: _Names) -> dict[str, bytes]:
    """Trails moved along their parallel, without notes and without the rows of the log they came from."""
    import dataclasses

    from evenstand.formats.parquet import trail_bytes, trail_of

    files = {}
    for row in copy.execute("SELECT parquet_hash FROM trails").fetchall():
        old = row["parquet_hash"]
        trail = trail_of(blobs.read_blob(folder / blobs.TRAILS / f"{old}.parquet", old), old)
        frame = Frame(lon_deg=trail.frame.lon_deg - (names.lon0 or 0.0), lat_deg=trail.frame.lat_deg, height_m=trail.frame.height_m)
        bare = dataclasses.replace(
            trail,
            frame=frame,
            notes=(),
            file_hash="",
            extra={names.swept(k): v for k, v in trail.extra.items()},
            repaired=tuple(dataclasses.replace(r, text="", reason=names.swept(r.reason)) for r in trail.repaired),
            set_aside=tuple(dataclasses.replace(r, text="", reason=names.swept(r.reason)) for r in trail.set_aside),
        )
        data = trail_bytes(bare)
        names.hashes[old] = blobs.sha256_of(data)
        files[f"{blobs.TRAILS}/{names.hashes[old]}.parquet"] = data
    return files


def _draw_again(copy: sqlite3.Connection, at: str) -> None:
    """The shapes GIS programs see, from the outlines in metres and the moved frames."""
    frames = {
        row["key"]: Frame(lon_deg=row["frame_lon_deg"], lat_deg=row["frame_lat_deg"], height_m=row["frame_height_m"])
        for row in copy.execute("SELECT * FROM fields")
    }
    drawn = [t for t in tables.metadata.sorted_tables if "geom" in t.c]
    for table in drawn:
        for row in copy.execute(f'SELECT * FROM "{table.name}"').fetchall():
            project = to_degrees(frames[row[table.info["key"][0]]])
            if "outline_m" in table.c:
                blob = polygons_blob(row["outline_m"], project, single=table is not tables.fields)
            else:
                blob = point_blob(row["x_m"], row["y_m"], project)
            copy.execute(f'UPDATE "{table.name}" SET geom = ? WHERE fid = ?', (blob, row["fid"]))
    touch_tables(copy, [t.name for t in drawn], at)
