"""A delimited log as a trail: columns understood, confirmed or remembered; every row kept, repaired or set aside with its reason."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.base.errors import ColumnError, CrsError, EvenstandError, Fault, FileError, InputError, UnitError
from evenstand.formats.angles import DEGREES_MINUTES, LETTERED, degrees_column, from_run_together, writing_of
from evenstand.formats.assembling import STATES
from evenstand.formats.columns import ColumnGuess, ColumnUse, Question
from evenstand.formats.instants import milliseconds
from evenstand.formats.layouts import Layout, layout_of
from evenstand.formats.overriding import recipe_as_told
from evenstand.formats.proposing import Sample, propose_from
from evenstand.formats.recipes import Proposal, Recipe, load_recipe
from evenstand.formats.rows import build_trail
from evenstand.formats.states import OFF, WORDS, true_words
from evenstand.formats.times import HALVES, RUN_CLOCK, start_ms
from evenstand.formats.timing import offset_in
from evenstand.formats.zones import check_zone
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import Trail

if TYPE_CHECKING:
    import polars as pl

__all__ = ["ColumnGuess", "ColumnUse", "Proposal", "Question", "Recipe", "load_recipe", "propose", "read", "write_trail_csv"]

SAMPLE_ROWS = 10_000
ABSENT = ("", "na", "nan", "n/a", "null", "none", "nil", "-", "--", "#n/a", "#value!", "?")
PACKED_DATES = {6: r"^%[dmy]%[dmy]%[dmy] ", 8: r"^%[dmY]%[dmY]%[dmY] "}
SENTINELS = (-9999.0, -999.0, -99999.0)


Faults = list[tuple[type[EvenstandError], Fault]]


@dataclass(slots=True)
class Table:
    """Cells of the columns used, in file order: numbers (nan = empty) or text; bad: rows whose cell is neither empty nor understood."""

    number: dict[str, FloatArray] = field(default_factory=dict)
    text: dict[str, list[str | None]] = field(default_factory=dict)
    bad: dict[str, IntArray] = field(default_factory=dict)


def propose(
    path: str | Path,
    *,
    crs: str | None = None,
    start: str | None = None,
    zone: str | None = None,
    columns: Sequence[ColumnUse] = (),
) -> Proposal:
    """What a file's columns are taken for, why, how sure that is, and what must be asked.

    Parameters
    ----------
    path : str or Path
        The file. [-]
    crs, start, zone : str or None
        Answers already known: coordinate system, start of the log (ISO), offset from UTC. [-]
    columns : sequence of ColumnUse
        What a person says some columns are. [-]

    Returns
    -------
    Proposal
        Its `recipe` can be saved and used next time. [-]

    Raises
    ------
    FileError
        If the file is no delimited text.
    ColumnError
        If it has no usable header.
    """
    path = Path(path)
    layout = layout_of(path)
    return propose_from(layout, _sample(layout), path.name, crs=crs, start=start, zone=zone, told=columns)


def read(
    path: Path,
    *,
    recipe: Recipe | str | Path | None = None,
    crs: str | None = None,
    start: str | None = None,
    zone: str | None = None,
    truncated_ok: bool = False,
    columns: Sequence[ColumnUse] = (),
) -> Trail:
    """Read delimited text; see `evenstand.trail.read_trail`, whose door sends other kinds elsewhere."""
    layout = layout_of(path)
    known, layout, notes = understood(
        layout, path, truncation(layout, path.name, truncated_ok), recipe=recipe, crs=crs, start=start, zone=zone, columns=columns
    )
    return build_trail(path.name, layout, known, table_of(layout, known), notes)


def understood(
    layout: Layout, path: Path, faults: Faults, *, recipe: Recipe | str | Path | None, crs: str | None, start: str | None, zone: str | None,
    columns: Sequence[ColumnUse] = (),
) -> tuple[Recipe, Layout, list[str]]:  # fmt: skip
    """What the columns of a log are, by the recipe or by its first rows; the layout, as the recipe may know the decimal mark; notes.

    Raises
    ------
    EvenstandError
        With all that hinders reading, `faults` found before included.
    """
    known = load_recipe(recipe) if isinstance(recipe, str | Path) else recipe
    notes = list(layout.notes)
    if known is None:
        proposal = propose_from(layout, _sample(layout), path.name, crs=crs, start=start, zone=zone, told=columns)
        faults += [(_error_of(q), Fault(where=_where(path, q.column), what=q.text, cure=q.cure)) for q in proposal.questions if q.blocking]
        notes += [f"{q.text}. {q.cure}" for q in proposal.questions if not q.blocking]
        notes += [f"'{g.use.name}' is left out: {g.why}." for g in proposal.columns if g.sure == "unsure" and not _questioned(proposal, g)]
        known = proposal.recipe
        if known.crs and not crs:
            notes.append(f"The positions are taken in {known.crs}, which the lines above the header name.")
    else:
        known = recipe_as_told(known, columns, layout.header, path.name) if columns else known
        faults += _missing(known, layout, path.name)
        known = replace(known, crs=crs or known.crs, start=start or known.start, zone=zone or known.zone)
        layout = replace(layout, decimal=known.decimal or layout.decimal)
        if not faults:
            faults += _contradicted(known, layout, path.name)
        notes += _undated(known)
    faults += _answers(known)
    if faults:
        raise _gathered(faults)
    found = offset_in(known, lambda: _sample(layout), zone or "")
    return (replace(known, zone=found[0]), layout, [*notes, *found[1]]) if found else (known, layout, notes)


def _where(path: Path, column: str) -> str:
    return f"{path.name}, column {column}" if column else path.name


def _questioned(proposal: Proposal, guess: ColumnGuess) -> bool:
    return any(q.column == guess.use.name for q in proposal.questions)


def _error_of(question: Question) -> type[EvenstandError]:
    kinds: dict[str, type[EvenstandError]] = {"crs": CrsError, "unit": UnitError}
    return kinds.get(question.kind, ColumnError)


def _gathered(faults: Faults) -> EvenstandError:
    """All faults in one error, of their own kind if they share one."""
    kinds = {kind for kind, _ in faults}
    kind = kinds.pop() if len(kinds) == 1 else FileError
    return kind([fault for _, fault in faults])


def truncation(layout: Layout, name: str, allowed: bool) -> Faults:
    """The fault of a file that breaks off within its last row, unless that is allowed."""
    if allowed or not layout.ends_open or layout.rows == 0 or layout.fields[-1] >= len(layout.header):
        return []
    line = int(layout.line[-1])
    return [breaks_off(name, line, int(layout.fields[-1]), len(layout.header))]


def breaks_off(name: str, line: int, fields: int, want: int) -> tuple[type[EvenstandError], Fault]:
    """The fault of a last row without all its fields and its line end."""
    text = f"the file breaks off within line {line}: {fields} of {want} fields and no line end"
    cure = "Copy it again from the machine; or allow it, and that row is set aside (--truncated-ok)."
    return FileError, Fault(where=name, what=text, cure=cure)


def _missing(recipe: Recipe, layout: Layout, name: str) -> Faults:
    have = ", ".join(layout.header)
    return [
        (ColumnError, Fault(where=name, what=f"the column '{c.name}' that the recipe names is missing", cure=f"The file has: {have}."))
        for c in recipe.columns
        if c.name not in layout.header and c.role not in ("extra", "ignore")
    ]


def _contradicted(recipe: Recipe, layout: Layout, name: str) -> Faults:
    """Needed roles the recipe lacks."""
    roles = {c.role for c in recipe.columns}
    out: Faults = []
    if not ({"lon", "lat"} <= roles or {"east", "north"} <= roles):
        out.append(
            (ColumnError, Fault(where=name, what="the recipe names no position columns", cure="Give lon and lat, or east and north."))
        )
    if not roles & {"time", "clock"}:
        out.append((ColumnError, Fault(where=name, what="the recipe names no time column", cure="Give one column the role time.")))
    if {"east", "north"} <= roles and not recipe.crs:
        out.append(
            (CrsError, Fault(where=name, what="the recipe has projected positions and no crs", cure="Give crs, for example EPSG:32615."))
        )
    return out


def _undated(recipe: Recipe) -> list[str]:
    """What is said of times that lack their day or their offset, where a recipe and what was told do not give it."""
    use = (*recipe.use("time"), *recipe.use("clock"))[:1]
    if use and use[0].unit in ("s", "ms", "clock") and not recipe.start:
        text = f"'{use[0].name}' says no day; times are counted from 1970-01-01 until it is given"
        return [f"{text}. Give --start, for example 2027-05-04T08:12:00-06:00."]
    if use and use[0].unit in ("text", "days") and not recipe.zone and "%z" not in recipe.time_form and not recipe.time_form.endswith("Z"):
        text = f"'{use[0].name}' does not say its offset from UTC; it is taken as UTC until it is given"
        return [f"{text}. Give --zone, for example -06:00."]
    return []


def _answers(recipe: Recipe) -> Faults:
    """Faults in what was answered: coordinate system, offset, start."""
    out: Faults = []
    checks: tuple[tuple[type[EvenstandError], Callable[[], object]], ...] = (
        (CrsError, lambda: _check_crs(recipe)),
        (InputError, lambda: check_zone(recipe.zone)),
        (InputError, lambda: recipe.start and start_ms(recipe.start, recipe.zone)),
    )
    for kind, check in checks:
        try:
            check()
        except EvenstandError as error:
            out += [(kind, fault) for fault in error.faults]
    return out


def _check_crs(recipe: Recipe) -> None:
    if not recipe.crs:
        return
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        system = CRS.from_user_input(recipe.crs)
    except CRSError as error:
        raise CrsError(f"'{recipe.crs}' is no coordinate system", where="crs", cure="Use a code such as EPSG:32615.") from error
    if recipe.use("lat") and not system.is_geographic:
        raise CrsError(
            f"the positions are degrees but {recipe.crs} is projected", where="crs", cure="Leave it out, or give a geographic system."
        )


# cells


def _scan(layout: Layout, rows: int | None = None) -> pl.LazyFrame:
    """All columns as text, one frame row a record, nothing inferred."""
    import polars as pl

    first = int(layout.line[0]) if layout.line.size else 1
    return pl.scan_csv(
        _with_whole_first_record(layout, first), has_header=False, skip_lines=first - 1, separator=layout.delimiter,
        schema=dict.fromkeys([f"c{i}" for i in range(_widest(layout))], pl.String),
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


def _sample(layout: Layout) -> Sample:
    """The first rows: all columns as numbers, text on demand."""
    import polars as pl

    frame = _collected(_scan(layout, SAMPLE_ROWS), layout)
    label = dict(zip(layout.header, _labels(layout), strict=True))
    named = pl.sum_horizontal([(pl.col(c).str.strip_chars() == name).fill_null(False).cast(pl.Int32) for name, c in label.items()])
    frame = frame.filter(named < max(2, len(label) // 2))  # not the header again
    if any(layout.units):
        pairs = zip(label.values(), layout.units, strict=True)
        under = [(pl.col(c).str.strip_chars("[]() ").fill_null("") == u).cast(pl.Int32) for c, u in pairs]
        frame = frame.filter(pl.sum_horizontal(under) < len(label))  # nor its units
    first = frame.head(50)
    lower = frame.lazy().select(pl.all().str.strip_chars().str.to_lowercase()).collect()
    numbers = frame.lazy().select([_number(pl.col(c), layout.decimal).alias(c) for c in label.values()]).collect()

    def words(name: str) -> set[str]:
        return set(lower[label[name]].to_list()) - {"", None}

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
    frame = _collected(_scan(layout).select(list(dict.fromkeys(label[c.name] for c in used))), layout)
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
    """Cells as 1 and 0, and those that are neither empty nor a state."""
    one, zero = ((cells == digit).fill_null(False) for digit in "10")
    values = np.where(one.to_numpy(), float("1" in true), float("0" in true))
    rest = (~(one | zero)).arg_true().to_numpy()
    values[rest] = np.nan
    bad = rest
    if rest.size:
        words = cells.gather(rest).str.strip_chars().str.to_lowercase()
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
    frame = _collected(_scan(layout, SAMPLE_ROWS).select(pl.col(labels).str.strip_chars().str.to_lowercase()), layout)
    return {name: frame[name].unique().drop_nulls().to_list() for name in labels}


def time_form(layout: Layout, recipe: Recipe) -> str:
    """The recipe's form of times, with a colon in the offset if the first record has one there."""
    form, use = recipe.time_form, recipe.use("time", "clock")
    if not form.endswith("%z") or use[0].name not in layout.header:
        return form
    cell = _collected(_scan(layout, 1), layout)[_labels(layout)[layout.header.index(use[0].name)]][0]
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


def as_text(cell: str) -> str:
    """A text that a spreadsheet shows and does not calculate: an apostrophe before =, +, -, @ or a control character at its start.

    >>> as_text("=1+1"), as_text("moisture"), as_text("-")
    ("'=1+1", 'moisture', "'-")
    """
    return f"'{cell}" if cell.lstrip()[:1] in ("=", "+", "-", "@") or cell[:1] in ("\t", "\r", "\n") else cell


def write_trail_csv(trail: Trail, path: str | Path) -> None:
    """Write a trail in our own plain layout: comma, point, UTC times, degrees, one header line with units in the names.

    Parameters
    ----------
    trail : Trail
        The trail. [-]
    path : str or Path
        Where to. Absent columns are left out, absent cells left empty. [-]
    """
    import polars as pl
    from pyproj import Transformer

    lon, lat = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True).transform(trail.xy_m[:, 0], trail.xy_m[:, 1])
    data: dict[str, Any] = {
        "time_utc": pl.from_epoch(pl.Series(trail.t_ms), time_unit="ms").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ"),
        "lon_deg": np.round(lon, 10),
        "lat_deg": np.round(lat, 10),
    }
    for name, values, digits in (
        ("speed_m_s", trail.speed_m_s, 5),
        ("step_m", trail.step_m, 5),
        ("area_ha", trail.area_ha, 7),
        ("fan_turns_s", trail.fan_turns_s, 5),
        ("mass_rate_kg_s", trail.mass_rate_kg_s, 6),
    ):
        if values is not None:
            data[name] = np.round(values, digits)
    if trail.lifted is not None:
        data["lifted"] = trail.lifted.astype(np.int8)
    for stem, grid in (("turns_{}", trail.revs), ("asked_{}_kg_ha", trail.asked_kg_ha), ("echoed_{}_kg_ha", trail.echoed_kg_ha)):
        if grid is not None:
            data |= {stem.format(b): np.round(grid[:, i], 6) for i, b in enumerate(trail.bins)}
    if trail.sections is not None:
        data |= {f"section_{i + 1}": trail.sections[:, i].astype(np.int8) for i in range(trail.sections.shape[1])}
    if trail.run_present is not None:
        data |= {f"run_{r}": trail.run_present[:, i].astype(np.int8) for i, r in enumerate(trail.runs)}
    data |= {name: values for name, values in ((as_text(n), v) for n, v in trail.extra.items()) if name not in data}
    frame = pl.DataFrame(data)
    frame.with_columns(pl.col(pl.Float64).fill_nan(None)).write_csv(Path(path), float_scientific=False)
