"""A log taken block by block at record ends: each block's rows judged as the whole-file reader judges them, with what must be remembered
from the rows before."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from evenstand.base.errors import FileError
from evenstand.formats.assembling import STATES
from evenstand.formats.cells import SAMPLE_ROWS, Table, table_of
from evenstand.formats.clocks import Clock
from evenstand.formats.columns import ColumnUse
from evenstand.formats.layouts import Layout, lines_at, records_of
from evenstand.formats.nonrows import better_reason, refuse_other_header
from evenstand.formats.ordering import mend, stretches
from evenstand.formats.recipes import Recipe
from evenstand.formats.rows import MOST_TEXTS, Ledger, degrees_of_place, judged, kind_of_reason, repeats
from evenstand.model.place import FloatArray

if TYPE_CHECKING:
    import polars as pl

HELD_ROWS = 4096
"""Rows remembered to find repeats and stuttering clocks across the edge of a block. [-]"""
MOST_LISTED = 10_000
"""Rows set aside, and rows repaired, that are listed one by one; more are counted. [-]"""
MOST_KINDS = 1000
LONGEST_BLOCKS = 4
MOVED, MENDED = 1, 2
EMPTY, UNREAD = -1, -2


@dataclass(slots=True)
class Carried:
    """What is remembered from one block to the next; all of it can be written as JSON but `held` and `pending`, which are tables.

    offset: where the next block begins [byte]; line: number of its first line; rows: records so far; latest_ms: latest time of a settled
    row; clock: what `Clock` remembers; late,
    settled: rows out of order, rows settled; open_run: late rows at the end that were moved; aside: first rows set aside;
    span: west, east, south, north [deg]; known: of each state column the first known cell as time, line and state; silent: empty cells
    of each; widths: lengths of packed sections.
    """

    offset: int
    line: int
    rows: int = 0
    blank: int = 0
    clock: dict[str, Any] = field(default_factory=dict)
    latest_ms: float | None = None
    late: int = 0
    settled: int = 0
    moved: int = 0
    open_run: int = 0
    aside_rows: int = 0
    aside: list[tuple[int, str]] = field(default_factory=list)
    kinds: dict[str, int] = field(default_factory=dict)
    span: list[float] = field(default_factory=list)
    known: dict[str, tuple[float, int, int]] = field(default_factory=dict)
    silent: dict[str, int] = field(default_factory=dict)
    widths: dict[str, int] = field(default_factory=dict)
    held: pl.DataFrame | None = None
    pending: pl.DataFrame | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What holds for all blocks of a file: its name, the layout of its first rows, the recipe, the most fields a row may have, whether
    it runs backwards, and how many rows are remembered."""

    name: str
    head: Layout
    recipe: Recipe
    most_fields: int
    shrink: float
    backwards: bool = False
    held_rows: int = HELD_ROWS


def head_bytes(source: Path, quotes: bool) -> bytes:
    """The first records of a file, enough to understand it: `SAMPLE_ROWS` and some, or all."""
    size = 1 << 20
    with source.open("rb") as file:
        while True:
            block, last = cut(file, 0, size, quotes)
            if last or block.count(b"\n") > 2 * SAMPLE_ROWS:
                return block
            size *= 2


def cut(file: BinaryIO, offset: int, size: int, quotes: bool) -> tuple[bytes, bool]:
    """About `size` bytes from `offset`, cut off at a record's end; whether they are the last.

    Raises
    ------
    FileError
        If a record is longer than some blocks.
    """
    file.seek(offset)
    block = file.read(size + 1)
    most = LONGEST_BLOCKS * max(size, 1 << 20)
    while len(block) > size:
        end = _record_end(block[:size] if size < len(block) else block, quotes)
        if end:
            return block[:end], False
        more = file.read(size)
        if not more:
            return block, True
        block += more
        size = len(block) - 1
        if size > most:
            raise FileError(
                f"no line end in {size / 1e6:,.0f} MB from byte {offset:,}",
                where=Path(file.name).name,
                cure="Perhaps a quotation mark is not closed; export the log again.",
            )
    return block, True


def _record_end(block: bytes, quotes: bool) -> int:
    """Index after the last line end outside quotation marks; 0 if there is none."""
    at = block.rfind(b"\n")
    if not quotes or at < 0:
        return at + 1
    odd = block.count(b'"', 0, at) % 2
    while odd and at >= 0:
        before = block.rfind(b"\n", 0, at)
        odd = (odd + block.count(b'"', max(before, 0), at)) % 2
        at = before
    return at + 1


def block_layout(reading: Reading, block: bytes) -> Layout:
    """The records of a block; lines counted from 1."""
    line, fields, blank, ends_open, _ = records_of(block, reading.head.delimiter, reading.head.quotes)
    return replace(reading.head, source=block, line=line, fields=fields, blank=blank, ends_open=ends_open)


def take(reading: Reading, carried: Carried, block: bytes, *, last: bool) -> pl.DataFrame | None:
    """Judge a block and give the rows that are settled, in time order; None if there are none. `carried` moves on.

    Columns: line; t, a, b: time [ms] and position as in the file; v0, v1 ...: metric numbers of the recipe's other columns, states as 1,
    0, -1 (empty), -2 (not understood); packed: sections as text; why: reasons of repair so far; code: MOVED, MENDED or 0.
    """
    import polars as pl

    layout = block_layout(reading, block)
    rows = _judged_rows(reading, carried, layout) if layout.line.size else None
    carried.offset += len(block)
    carried.line += block.count(b"\n")
    parts = [f for f in (carried.pending, rows) if f is not None and f.height]
    carried.pending = None
    if not parts:
        return None
    return _settled(reading, carried, pl.concat(parts, rechunk=True), last=last)


def _judged_rows(reading: Reading, carried: Carried, layout: Layout) -> pl.DataFrame:
    import polars as pl

    lines = layout.line + (carried.line - 1)
    if bool(layout.blank.all()):
        carried.blank += int(layout.blank.sum())
        return pl.DataFrame()
    table = table_of(layout, reading.recipe, head=reading.head)
    ledger = Ledger(layout.line.size)
    ledger.keep[layout.blank] = False
    clock = clock_of(carried)
    t, place, values = judged(replace(layout, line=lines), reading.recipe, table, ledger, clock, reading.most_fields)
    carried.clock = asdict(clock)
    named = {f"v{i}": _state_codes(u, v, table) if u.role in STATES else v for i, (u, v) in enumerate(values.items())}
    data: dict[str, Any] = {"line": lines, "t": t, "a": place[:, 0], "b": place[:, 1], **named}
    packed = reading.recipe.use("sections")
    if packed and packed[0].name in table.text:
        data["packed"] = pl.Series(table.text[packed[0].name], dtype=pl.String)
    frame = pl.DataFrame(data)
    _repeated(carried, frame, ledger)
    ledger.settle()
    why: list[str | None] = [None] * layout.line.size
    for row, reasons in ledger.mended.items():
        why[row] = "; ".join(reasons)
    _reasons_by_text(reading, layout, ledger, lines)
    _account(carried, layout, ledger, lines)
    frame = frame.with_columns(pl.Series("why", why, dtype=pl.String), pl.lit(0, dtype=pl.UInt8).alias("code"), pl.col("t").alias("t0"))
    return frame.filter(pl.Series(ledger.keep))


def clock_of(carried: Carried) -> Clock:
    """What the log's clock has done so far."""
    said: dict[str, Any] = {name: tuple(value) if name == "last" and value else value for name, value in carried.clock.items()}
    return Clock(**said)


def _state_codes(use: ColumnUse, values: FloatArray, table: Table) -> Any:
    out = np.where(np.isfinite(values), values, EMPTY).astype(np.int8)
    out[table.bad[use.name]] = UNREAD
    return out


def _repeated(carried: Carried, frame: pl.DataFrame, ledger: Ledger) -> None:
    """Set aside the rows that repeat an earlier one of this block or of the rows held."""
    kept = np.flatnonzero(ledger.keep)
    names = [c for c in frame.columns if c.startswith("v")]
    earlier = [f for f in (carried.held, carried.pending) if f is not None and f.height]

    def joined(name: str, old: str) -> Any:
        return np.concatenate([*(f[old].to_numpy() for f in earlier), frame[name].to_numpy()[kept]])

    t, a, b, line = joined("t", "t0"), joined("a", "a"), joined("b", "b"), joined("line", "line")
    values = [_equal_states(joined(n, n)) for n in names]
    second, first = repeats(t, np.column_stack([a, b]), values)
    before = t.size - kept.size
    new = second >= before
    ledger.set_aside(kept[second[new] - before], [f"repeats line {line[i]}" for i in first[new]])


def _equal_states(values: Any) -> Any:
    """States that are not known are equal to one another."""
    return np.where(values < 0, np.nan, values) if values.dtype == np.int8 else values


def _reasons_by_text(reading: Reading, layout: Layout, ledger: Ledger, lines: Any) -> None:
    """Say more plainly why the first rows of a block were set aside where their text shows it; refuse another header."""
    texts = lines_at(layout, [int(layout.line[row]) for row in sorted(ledger.aside)[:MOST_TEXTS]])
    for row in sorted(ledger.aside)[:MOST_TEXTS]:
        text = texts.get(int(layout.line[row]), "")
        refuse_other_header(text, layout.header, layout.delimiter, reading.name, int(lines[row]))
        ledger.aside[row] = better_reason(ledger.aside[row], text, layout.header, layout.delimiter, layout.units)


def _account(carried: Carried, layout: Layout, ledger: Ledger, lines: Any) -> None:
    carried.rows += layout.rows
    carried.blank += int(layout.blank.sum())
    carried.aside_rows += len(ledger.aside)
    kinds = Counter(carried.kinds)
    for row, reason in sorted(ledger.aside.items()):
        if len(carried.aside) < MOST_LISTED:
            carried.aside.append((int(lines[row]), reason))
        kind = kind_of_reason(reason)
        if kind in kinds or len(kinds) < MOST_KINDS:
            kinds[kind] += 1
    carried.kinds = dict(kinds)


def _settled(reading: Reading, carried: Carried, frame: pl.DataFrame, *, last: bool) -> pl.DataFrame | None:
    """Rows out of time order judged; those whose judgement needs rows that follow are left pending."""
    import polars as pl

    rows = frame["t"].to_numpy()
    latest = -np.inf if carried.latest_ms is None else carried.latest_ms
    late = rows < np.maximum.accumulate(np.concatenate([[latest], rows]))[1:]
    if reading.backwards:
        late[:] = False
    begin, end = stretches(late)
    size = rows.size
    if begin and end[-1] == size and not last and size - begin[-1] + (carried.open_run if begin[-1] == 0 else 0) <= 50:
        size = begin.pop()
        end.pop()
        carried.pending = frame[size:]
        frame = frame[:size]
        late = late[:size]
    if not size:
        return None
    if begin:
        frame = _mended(reading, carried, frame, begin, end, late)
    carried.open_run = (size - begin[-1] + (carried.open_run if begin[-1] == 0 else 0)) if begin and end[-1] == size else 0
    carried.late += int(late.sum())
    carried.settled += size
    carried.latest_ms = max(latest, float(np.max(frame["t0"].to_numpy())))
    earlier = [carried.held] if carried.held is not None else []
    carried.held = pl.concat([*earlier, frame.drop("why", "code")]).tail(reading.held_rows).rechunk()
    frame = frame.sort("t", maintain_order=True)
    _notice(reading, carried, frame)
    return frame.drop("t0")


def _mended(reading: Reading, carried: Carried, frame: pl.DataFrame, begin: list[int], end: list[int], late: Any) -> pl.DataFrame:
    import polars as pl

    held = carried.held.height if carried.held is not None else 0
    latest = -np.inf if carried.latest_ms is None else carried.latest_ms

    def joined(name: str) -> Any:
        own = frame[name].to_numpy()
        return own.copy() if carried.held is None else np.concatenate([carried.held[name].to_numpy(), own])

    t = joined("t")
    xy = np.column_stack([joined("a") * reading.shrink, joined("b")])
    code = frame["code"].to_numpy().copy()
    why = frame["why"].to_list()
    running = np.maximum.accumulate(np.concatenate([[latest], frame["t0"].to_numpy()]))
    for a, b in zip(begin, end, strict=True):
        before = float(running[a])
        after = float(t[held + b]) if b < frame.height else before + float(np.median(np.diff(t)))
        moved, reasons = mend(t, xy, held + a, held + b, before, after, longer=a == 0 and carried.open_run > 0)
        code[a:b] = MOVED if moved else MENDED
        carried.moved += moved * (b - a)
        for row, reason in zip(range(a, b), reasons, strict=True):
            why[row] = reason if why[row] is None else f"{why[row]}; {reason}"
    return frame.with_columns(pl.Series("t", t[held:]), pl.Series("code", code), pl.Series("why", why, dtype=pl.String))


def _notice(reading: Reading, carried: Carried, frame: pl.DataFrame) -> None:
    """Where the trail lies, the first known states, how often states are empty, the lengths of packed sections."""
    place = np.column_stack([frame["a"].to_numpy(), frame["b"].to_numpy()])
    lon, lat = degrees_of_place(place, reading.recipe, reading.name)
    west, east, south, north = carried.span or [np.inf, -np.inf, np.inf, -np.inf]
    carried.span = [
        min(west, float(lon.min())), max(east, float(lon.max())), min(south, float(lat.min())), max(north, float(lat.max()))
    ]  # fmt: skip
    for name in (c for c in frame.columns if c.startswith("v") and frame[c].dtype.is_integer()):
        codes = frame[name].to_numpy()
        carried.silent[name] = carried.silent.get(name, 0) + int((codes == EMPTY).sum())
        there = np.flatnonzero(codes >= 0)
        if there.size:
            first = (float(frame["t"][int(there[0])]), int(frame["line"][int(there[0])]), int(codes[there[0]]))
            earlier = carried.known.get(name)
            carried.known[name] = first if earlier is None or first[:2] < (earlier[0], earlier[1]) else earlier
    if "packed" in frame.columns:
        widths = Counter(carried.widths)
        widths.update({str(k): int(n) for k, n in frame["packed"].fill_null("").str.len_chars().value_counts().iter_rows()})
        carried.widths = dict(widths.most_common(MOST_KINDS))


def uses_of(recipe: Recipe, layout: Layout) -> list[ColumnUse]:
    """The recipe's columns that become v0, v1 ... in the tables of `take`."""
    others = ("ignore", "sections", "time", "clock", "date", "lat", "lon", "east", "north", "fix", "hemisphere")
    return [u for u in recipe.columns if u.name in layout.header and u.role not in others]
