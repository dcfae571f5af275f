"""The cells of a delimited log: scanned once, columns as numbers, states, degrees and times, with what could not be read counted."""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.base.errors import FileError
from evenstand.formats.angles import DEGREES_MINUTES, LETTERED, degrees_column, from_run_together, writing_of
from evenstand.formats.assembling import STATES
from evenstand.formats.columns import ColumnUse
from evenstand.formats.instants import milliseconds
from evenstand.formats.layouts import Layout
from evenstand.formats.proposing import Sample
from evenstand.formats.recipes import Recipe
from evenstand.formats.states import OFF, WORDS, true_words
from evenstand.formats.times import HALVES, RUN_CLOCK
from evenstand.model.place import FloatArray, IntArray

if TYPE_CHECKING:
    import polars as pl

SAMPLE_ROWS = 10_000
ABSENT = ("", "na", "nan", "n/a", "null", "none", "nil", "-", "--", "#n/a", "#value!", "?")
PACKED_DATES = {6: r"^%[dmy]%[dmy]%[dmy] ", 8: r"^%[dmY]%[dmY]%[dmY] "}
SENTINELS = (-9999.0, -999.0, -99999.0)


@dataclass(slots=True)
class Table:
    """Cells of the columns used, in file order: numbers (nan = empty) or text; bad: rows whose cell is neither empty nor understood."""

    number: dict[str, FloatArray] = field(default_factory=dict)
    text: dict[str, list[str | None]] = field(default_factory=dict)
    bad: dict[str, IntArray] = field(default_factory=dict)


def _scan(layout: Layout, rows: int | None = None, kinds: Mapping[str, Any] | None = None) -> pl.LazyFrame:
    """All columns as text but those of other kinds, one frame row a record, nothing inferred."""
    import polars as pl

    first = int(layout.line[0]) if layout.line.size else 1
    return pl.scan_csv(
        _with_whole_first_record(layout, first), has_header=False, skip_lines=first - 1, separator=layout.delimiter,
        schema=dict.fromkeys([f"c{i}" for i in range(_widest(layout))], pl.String) | dict(kinds or {}),
        truncate_ragged_lines=True, quote_char='"' if layout.quotes else None, n_rows=rows, encoding="utf8", raise_if_empty=False,
    )  # fmt: skip


def _widest(layout: Layout) -> int:
    """Fields of the first record, or of the header if that has more: the reader of tables takes no more than the first record has."""
    return max(len(layout.header), int(layout.fields[0]) if layout.fields.size else 0)


def _with_whole_first_record(layout: Layout, first: int) -> Path | bytes:
    """The source; where its first record is short, with the missing fields added to it, as the reader counts columns there."""
    short = len(layout.header) - int(layout.fields[0]) if layout.fields.size else 0
    if short <= 0:
        return layout.source
    data = layout.source if isinstance(layout.source, bytes) else layout.source.read_bytes()
    lines = data.split(b"\n")
    body = lines[first - 1].rstrip(b"\r")
    lines[first - 1] = body + layout.delimiter.encode() * short + lines[first - 1][len(body) :]
    return b"\n".join(lines)


def _collected(frame: pl.LazyFrame, layout: Layout) -> pl.DataFrame:
    """The frame's rows; what the reader of tables refuses is an error of the file.

    Raises
    ------
    FileError
        If the text cannot be taken apart.
    """
    from polars.exceptions import PolarsError

    try:
        return frame.collect()
    except PolarsError as error:
        name = layout.source.name if isinstance(layout.source, Path) else "file"
        text = str(error).split(chr(10))[0][:160]
        raise FileError(f"its records cannot be taken apart ({text})", where=name, cure="Export the log again.") from error


def _labels(layout: Layout) -> list[str]:
    return [f"c{i}" for i in range(len(layout.header))]


def _beginning(layout: Layout, rows: int) -> Layout:
    """The layout with the text of so many records in place of a longer file: the reader of tables takes large bites of a file."""
    if isinstance(layout.source, bytes) or layout.line.size <= rows:
        return layout
    with layout.source.open("rb") as file:
        text = b"".join(itertools.islice(file, int(layout.line[rows]) - 1))
    return replace(layout, source=text)


def sample_of(layout: Layout) -> Sample:
    """The first rows: all columns as numbers, text on demand."""
    import polars as pl

    frame = _collected(_scan(_beginning(layout, SAMPLE_ROWS), SAMPLE_ROWS), layout)
    label = dict(zip(layout.header, _labels(layout), strict=True))
    named = pl.sum_horizontal([(pl.col(c).str.strip_chars() == name).fill_null(False).cast(pl.Int32) for name, c in label.items()])
    frame = frame.filter(named < max(2, len(label) // 2))  # not the header again
    if any(layout.units):
        pairs = zip(label.values(), layout.units, strict=True)
        under = [(pl.col(c).str.strip_chars("[]() ").fill_null("") == u).cast(pl.Int32) for c, u in pairs]
        frame = frame.filter(pl.sum_horizontal(under) < len(label))  # nor its units
    first = frame.head(50)
    numbers = frame.lazy().select([_number(pl.col(c), layout.decimal).alias(c) for c in label.values()]).collect()

    def words(name: str) -> set[str]:
        return set(frame[label[name]].str.strip_chars().str.to_lowercase().unique().to_list()) - {"", None}

    return Sample(
        number={name: _as_floats(numbers[c]) for name, c in label.items()},
        head={name: first[c].to_list() for name, c in label.items()},
        cells=lambda name: frame[label[name]].to_list(),
        words=words,
    )


def _number(text: Any, decimal: str) -> Any:
    import polars as pl

    plain = text.str.strip_chars()
    if decimal == ",":
        plain = plain.str.replace(",", ".", literal=True)
    value = plain.cast(pl.Float64, strict=False)
    return pl.when(value.is_in(list(SENTINELS)) | value.is_infinite()).then(None).otherwise(value).alias("value")


def _as_floats(series: pl.Series) -> FloatArray:
    out: FloatArray = series.to_numpy(writable=True).astype(np.float64, copy=False)
    return out


def table_of(layout: Layout, recipe: Recipe, *, head: Layout | None = None) -> Table:
    """Only the recipe's columns; numbers never pass through Python. head: the first rows of the file this is a part of."""
    label = dict(zip(layout.header, _labels(layout), strict=True))
    used = [c for c in recipe.columns if c.name in label and c.role != "ignore"]
    words = _words(head or layout, [label[c.name] for c in used if c.role == "lifted"])
    form = time_form(head or layout, recipe) if any(c.role in ("time", "clock") for c in used) else ""
    frame = _cells(layout, used, label)
    if frame.height != layout.line.size:
        raise FileError(
            f"{layout.line.size} records by their line ends but {frame.height} by their quotes",
            where=str(layout.source if isinstance(layout.source, Path) else "file"),
            cure="A quotation mark is probably not closed; export the log again.",
        )
    table = Table()
    for use in used:
        cells = frame[label[use.name]]
        if use.role == "sections":
            packed = use.unit in ("bits", "hex")
            table.text[use.name] = (_bits_as_text(cells, use.number, use.unit) if packed else cells.str.strip_chars()).to_list()
        elif use.role == "hemisphere":
            continue
        elif use.role == "date":
            table.text[use.name] = []
        elif use.role in ("time", "clock") and use.unit in ("text", "clock"):
            dates = next((frame[label[u.name]].str.strip_chars() for u in used if u.role == "date"), None)
            table.number[use.name], table.bad[use.name] = _times(cells.str.strip_chars(), dates, use.unit, form)
        elif use.role in STATES:
            table.number[use.name], table.bad[use.name] = _states(cells, true_words(use.role, words.get(label[use.name], ())))
        elif use.role in ("lat", "lon") and writing_of(use.unit)[0] == LETTERED:
            table.number[use.name], table.bad[use.name] = _written_degrees(cells)
        else:
            table.number[use.name], table.bad[use.name] = _numbers(cells, layout.decimal)
            if use.role in ("lat", "lon") and writing_of(use.unit)[0] == DEGREES_MINUTES:
                table.number[use.name] = from_run_together(table.number[use.name])
            if use.role in ("lat", "lon") and writing_of(use.unit)[0] == "e7":
                table.number[use.name] = table.number[use.name] / 1e7
            letter = next((c.name for c in used if c.role == "hemisphere" and c.unit == use.role), None)
            if letter is not None:
                table.number[use.name] = _signed(table.number[use.name], frame[label[letter]])
        if use.role in ("lat", "lon") and writing_of(use.unit)[1]:
            table.number[use.name] = -np.abs(table.number[use.name])
    return table


def _cells(layout: Layout, used: Sequence[ColumnUse], label: Mapping[str, str]) -> pl.DataFrame:
    """The columns used: numbers and states as numbers at once where every cell of all such columns is one or empty, else all as text.

    The reader of tables takes for a number what the cast of a stripped text takes for one, so both ways give the same.
    """
    import polars as pl
    from polars.exceptions import PolarsError

    wanted = list(dict.fromkeys(label[c.name] for c in used))
    kinds: dict[str, Any] = {}
    for use in used:
        if use.role in STATES:
            kinds[label[use.name]] = pl.Int8
        elif layout.decimal == "." and _is_plain_number(use):
            kinds[label[use.name]] = pl.Float64
    if kinds and len(wanted) == len(used):  # no column is used in two ways
        try:
            frame = _scan(layout, kinds=kinds).select(wanted).collect()
        except PolarsError:
            return _collected(_scan(layout).select(wanted), layout)
        if all(frame[c].is_between(0, 1).all() for c, kind in kinds.items() if kind == pl.Int8):
            return frame
    return _collected(_scan(layout).select(wanted), layout)


def _is_plain_number(use: ColumnUse) -> bool:
    """Whether a column's cells are plain numbers, by what it is used for."""
    if use.role in ("sections", "hemisphere", "date") or use.role in STATES:
        return False
    if use.role in ("time", "clock"):
        return use.unit not in ("text", "clock")
    return not (use.role in ("lat", "lon") and writing_of(use.unit)[0] == LETTERED)


def _signed(values: FloatArray, letters: pl.Series) -> FloatArray:
    """Degrees, below 0 where a letter beside them says south or west; none where the letter is missing."""
    low = letters.str.strip_chars().str.to_lowercase().fill_null("")
    below, above = low.is_in(["s", "w"]).to_numpy(), low.is_in(["n", "e"]).to_numpy()
    return np.where(below, -np.abs(values), np.where(above, values, np.nan))


def _numbers(cells: pl.Series, decimal: str) -> tuple[FloatArray, IntArray]:
    """Cells as numbers, and those that are neither empty nor a number. What is plainly a number is not looked at twice."""
    import polars as pl

    found = cells.cast(pl.Float64, strict=False)
    numbers = _as_floats(found)
    if cells.dtype == pl.Float64:
        numbers[np.isinf(numbers) | np.isin(numbers, SENTINELS)] = np.nan
        return numbers, np.zeros(0, dtype=np.int64)
    rest = found.is_null().arg_true().to_numpy()
    bad = rest
    if rest.size:
        text = cells.gather(rest).str.strip_chars()
        empty = (text.is_null() | text.str.to_lowercase().is_in(list(ABSENT))).to_numpy()
        again = _as_floats((text.str.replace(",", ".", literal=True) if decimal == "," else text).cast(pl.Float64, strict=False))
        numbers[rest] = again
        bad = rest[~empty & np.isnan(again)]
    numbers[np.isinf(numbers) | np.isin(numbers, SENTINELS)] = np.nan
    return numbers, bad.astype(np.int64)


def _states(cells: pl.Series, true: set[str]) -> tuple[FloatArray, IntArray]:
    """Cells as 1 and 0, and those that are neither empty nor a state. A 1 or 0 may be written with a sign or zeros before it."""
    import polars as pl

    if cells.dtype == pl.Int8:
        digits = cells.fill_null(2).to_numpy()
        return np.array([float("0" in true), float("1" in true), np.nan])[digits], np.zeros(0, dtype=np.int64)
    one, zero = ((cells == digit).fill_null(False) for digit in "10")
    values = np.where(one.to_numpy(), float("1" in true), float("0" in true))
    rest = (~(one | zero)).arg_true().to_numpy()
    values[rest] = np.nan
    bad = rest
    if rest.size:
        words = cells.gather(rest).str.strip_chars().str.to_lowercase()
        words = words.str.replace(r"^\+?0*([01])$", "$1").str.replace("^-0+$", "0")
        on, off = words.is_in(list(true)).to_numpy(), words.is_in(list((WORDS | OFF) - true)).to_numpy()
        empty = (words.is_null() | words.is_in(list(ABSENT))).to_numpy()
        values[rest] = np.where(on == True, 1.0, np.where(off == True, 0.0, np.nan))  # noqa: E712
        bad = rest[np.isnan(values[rest]) & ~empty]
    return values, bad.astype(np.int64)


def _written_degrees(cells: pl.Series) -> tuple[FloatArray, IntArray]:
    """Degrees written out, and cells that are neither empty nor an angle. [deg]"""
    import polars as pl

    text = pl.col("cell")
    empty = text.is_null() | text.str.strip_chars().str.to_lowercase().is_in(list(ABSENT))
    frame = cells.alias("cell").to_frame().select(degrees_column(text).alias("v"), (degrees_column(text).is_null() & ~empty).alias("b"))
    return _as_floats(frame["v"]), frame["b"].arg_true().to_numpy().astype(np.int64)


def _bits_as_text(cells: pl.Series, count: int, unit: str) -> pl.Series:
    """Numbers as ones and zeros, the lowest bit first; a cell that is no such number is left as it is, to be repaired."""
    import polars as pl

    plain = pl.col("cell").str.strip_chars()
    value = plain.cast(pl.Int64, strict=False)
    if unit == "hex":
        value = plain.str.to_lowercase().str.strip_prefix("0x").str.to_integer(base=16, strict=False)
    fits = (value >= 0) & (value < 2 ** min(count, 62))
    bits = pl.concat_str([(value // 2**k % 2).cast(pl.String) for k in range(max(count, 1))])
    return cells.alias("cell").to_frame().select(pl.when(fits).then(bits).otherwise(plain).alias("bits"))["bits"]


def _words(layout: Layout, labels: list[str]) -> dict[str, list[str]]:
    """The different words of some columns, in lower case."""
    import polars as pl

    if not labels:
        return {}
    frame = _collected(
        _scan(_beginning(layout, SAMPLE_ROWS), SAMPLE_ROWS).select(pl.col(labels).str.strip_chars().str.to_lowercase()), layout
    )
    return {name: frame[name].unique().drop_nulls().to_list() for name in labels}


def time_form(layout: Layout, recipe: Recipe) -> str:
    """The recipe's form of times, with a colon in the offset if the first record has one there."""
    form, use = recipe.time_form, recipe.use("time", "clock")
    if not form.endswith("%z") or use[0].name not in layout.header:
        return form
    cell = _collected(_scan(_beginning(layout, 1), 1), layout)[_labels(layout)[layout.header.index(use[0].name)]][0]
    return form[:-2] + "%:z" if cell and re.search(r":\d{2}$", cell.strip()) else form


def _times(cells: pl.Series, dates: pl.Series | None, unit: str, form: str) -> tuple[FloatArray, IntArray]:
    """Times as milliseconds, and cells that are no time."""
    import polars as pl

    text = _zeros_in_front(cells, 6) if RUN_CLOCK in form else cells
    if unit == "clock":
        text, form = "2000-01-01 " + text, "%Y-%m-%d " + (form or "%H:%M:%S%.f")
    elif dates is not None:
        size = next((n for n, packed in PACKED_DATES.items() if re.match(packed, form)), 0)
        text = _zeros_in_front(dates, size) + " " + text
    if "%p" in form:
        text = text.str.replace(HALVES, " ${1}M${2}")
    ms = milliseconds(text, form)
    empty = text.is_null() | (text == "")
    return _as_floats(ms.cast(pl.Float64)), (ms.is_null() & ~empty).arg_true().to_numpy().astype(np.int64)


def _zeros_in_front(series: pl.Series, size: int) -> pl.Series:
    """Figures run together, with the zeros a spreadsheet took from their front; a length of 0 leaves them as they are."""
    if size == 0:
        return series
    whole = series.str.extract(r"^(\d+)", 1)
    short = (whole.str.len_chars() < size) & whole.is_not_null()
    return series if not short.any() else (whole.str.zfill(size) + series.str.extract(r"^\d+(.*)$", 1)).zip_with(short, series)


# our own layout
