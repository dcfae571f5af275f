"""A delimited log as a trail: columns understood, confirmed or remembered; every row kept, repaired or set aside with its reason."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.base.errors import ColumnError, CrsError, EvenstandError, Fault, FileError, InputError, UnitError
from evenstand.formats.angles import DEGREES_MINUTES, LETTERED, degrees_column, from_run_together
from evenstand.formats.columns import ColumnGuess, ColumnUse, Question
from evenstand.formats.layouts import Layout, layout_of
from evenstand.formats.proposing import Sample, propose_from
from evenstand.formats.recipes import Proposal, Recipe, load_recipe
from evenstand.formats.rows import build_trail
from evenstand.formats.times import start_ms, zone_offset_ms
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import Trail

if TYPE_CHECKING:
    import polars as pl

__all__ = ["ColumnGuess", "ColumnUse", "Proposal", "Question", "Recipe", "load_recipe", "propose", "read", "write_trail_csv"]

SAMPLE_ROWS = 10_000
ABSENT = ("", "na", "nan", "n/a", "null", "none", "nil", "-", "--", "#n/a", "#value!", "?")
SENTINELS = (-9999.0, -999.0, -99999.0)


@dataclass(slots=True)
class Table:
    """Cells of the columns used, in file order: numbers (nan = empty) or text; bad: rows whose cell is neither empty nor understood."""

    number: dict[str, FloatArray] = field(default_factory=dict)
    text: dict[str, list[str | None]] = field(default_factory=dict)
    bad: dict[str, IntArray] = field(default_factory=dict)


def propose(path: str | Path, *, crs: str | None = None, start: str | None = None, zone: str | None = None) -> Proposal:
    """What a file's columns are taken for, why, how sure that is, and what must be asked.

    Parameters
    ----------
    path : str or Path
        The file. [-]
    crs, start, zone : str or None
        Answers already known: coordinate system, start of the log (ISO), offset from UTC. [-]

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
    return propose_from(layout, _sample(layout), path.name, crs=crs, start=start, zone=zone)


def read(
    path: Path,
    *,
    recipe: Recipe | str | Path | None = None,
    crs: str | None = None,
    start: str | None = None,
    zone: str | None = None,
    truncated_ok: bool = False,
) -> Trail:
    """Read a log; see `evenstand.trail.read_trail`."""
    if path.is_file():
        with path.open("rb") as file:
            if file.read(4) == b"PAR1":
                from evenstand.formats.parquet import read_trail_parquet

                return read_trail_parquet(path)
    known = load_recipe(recipe) if isinstance(recipe, str | Path) else recipe
    layout = layout_of(path)
    faults = _truncation(layout, path.name, truncated_ok)
    notes = list(layout.notes)
    if known is None:
        proposal = propose_from(layout, _sample(layout), path.name, crs=crs, start=start, zone=zone)
        faults += [(_error_of(q), Fault(where=_where(path, q.column), what=q.text, cure=q.cure)) for q in proposal.questions if q.blocking]
        notes += [f"{q.text}. {q.cure}" for q in proposal.questions if not q.blocking]
        notes += [f"'{g.use.name}' is left out: {g.why}." for g in proposal.columns if g.sure == "unsure" and not _questioned(proposal, g)]
        known = proposal.recipe
    else:
        faults += _missing(known, layout, path.name)
        known = replace(known, crs=crs or known.crs, start=start or known.start, zone=zone or known.zone)
        layout = replace(layout, decimal=known.decimal or layout.decimal)
        if not faults:
            faults += _contradicted(known, layout, path.name)
    faults += _answers(known)
    if faults:
        raise _gathered(faults)
    table = _table(layout, known)
    return build_trail(path.name, layout, known, table, notes)


def _where(path: Path, column: str) -> str:
    return f"{path.name}, column {column}" if column else path.name


def _questioned(proposal: Proposal, guess: ColumnGuess) -> bool:
    return any(q.column == guess.use.name for q in proposal.questions)


def _error_of(question: Question) -> type[EvenstandError]:
    kinds: dict[str, type[EvenstandError]] = {"crs": CrsError, "unit": UnitError}
    return kinds.get(question.kind, ColumnError)


def _gathered(faults: list[tuple[type[EvenstandError], Fault]]) -> EvenstandError:
    """All faults in one error, of their own kind if they share one."""
    kinds = {kind for kind, _ in faults}
    kind = kinds.pop() if len(kinds) == 1 else FileError
    return kind([fault for _, fault in faults])


def _truncation(layout: Layout, name: str, allowed: bool) -> list[tuple[type[EvenstandError], Fault]]:
    if allowed or not layout.ends_open or layout.rows == 0 or layout.fields[-1] >= len(layout.header):
        return []
    line = int(layout.line[-1])
    text = f"the file breaks off within line {line}: {layout.fields[-1]} of {len(layout.header)} fields and no line end"
    return [
        (
            FileError,
            Fault(where=name, what=text, cure="Copy it again from the machine; or allow it, and that row is set aside (--truncated-ok)."),
        )
    ]


def _missing(recipe: Recipe, layout: Layout, name: str) -> list[tuple[type[EvenstandError], Fault]]:
    have = ", ".join(layout.header)
    return [
        (ColumnError, Fault(where=name, what=f"the column '{c.name}' that the recipe names is missing", cure=f"The file has: {have}."))
        for c in recipe.columns
        if c.name not in layout.header and c.role not in ("extra", "ignore")
    ]


def _contradicted(recipe: Recipe, layout: Layout, name: str) -> list[tuple[type[EvenstandError], Fault]]:
    """Needed roles the recipe lacks."""
    roles = {c.role for c in recipe.columns}
    out: list[tuple[type[EvenstandError], Fault]] = []
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


def _answers(recipe: Recipe) -> list[tuple[type[EvenstandError], Fault]]:
    """Faults in what was answered: coordinate system, offset, start."""
    out: list[tuple[type[EvenstandError], Fault]] = []
    checks: tuple[tuple[type[EvenstandError], Callable[[], object]], ...] = (
        (CrsError, lambda: _check_crs(recipe)),
        (InputError, lambda: zone_offset_ms(recipe.zone)),
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
        schema=dict.fromkeys(_labels(layout), pl.String),
        truncate_ragged_lines=True, quote_char='"' if layout.quotes else None, n_rows=rows, encoding="utf8", raise_if_empty=False,
    )  # fmt: skip


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


def _unread(text: Any, decimal: str) -> Any:
    """Rows whose cell is neither empty nor a number."""
    plain = text.str.strip_chars()
    empty = plain.is_null() | plain.str.to_lowercase().is_in(list(ABSENT))
    number = plain.str.replace(",", ".", literal=True) if decimal == "," else plain
    import polars as pl

    return (~empty & number.cast(pl.Float64, strict=False).is_null()).alias("bad")


def _as_floats(series: pl.Series) -> FloatArray:
    out: FloatArray = series.to_numpy(writable=True).astype(np.float64, copy=False)
    return out


def _table(layout: Layout, recipe: Recipe) -> Table:
    """Only the recipe's columns, read lazily: numbers never pass through Python."""
    import polars as pl

    from evenstand.formats.states import OFF, WORDS, true_words

    label = dict(zip(layout.header, _labels(layout), strict=True))
    used = [c for c in recipe.columns if c.name in label and c.role != "ignore"]
    exprs: list[Any] = []
    lifts = [c for c in used if c.role == "lifted"]
    words = _words(layout, [label[c.name] for c in lifts])
    for i, use in enumerate(used):
        text = pl.col(label[use.name])
        if use.role in ("section", "run", "work", "lifted"):
            word = text.str.strip_chars().str.to_lowercase()
            seen = words.get(label[use.name], ())
            true = true_words(use.role, seen)
            value = pl.when(word.is_in(list(true))).then(1.0).when(word.is_in(list((WORDS | OFF) - true))).then(0.0).otherwise(None)
            bad = value.is_null() & word.is_not_null() & ~word.is_in(list(ABSENT))
            exprs += [value.alias(f"v{i}"), bad.alias(f"b{i}")]
        elif use.role in ("sections", "date") or (use.role in ("time", "clock") and use.unit in ("text", "clock")):
            exprs.append(text.str.strip_chars().alias(f"v{i}"))
        elif use.role in ("lat", "lon") and use.unit == LETTERED:
            value = degrees_column(text)
            empty = text.is_null() | text.str.strip_chars().str.to_lowercase().is_in(list(ABSENT))
            exprs += [value.alias(f"v{i}"), (value.is_null() & ~empty).alias(f"b{i}")]
        elif use.role in ("lat", "lon") and use.unit == DEGREES_MINUTES:
            exprs += [from_run_together(_number(text, layout.decimal)).alias(f"v{i}"), _unread(text, layout.decimal).alias(f"b{i}")]
        else:
            exprs += [_number(text, layout.decimal).alias(f"v{i}"), _unread(text, layout.decimal).alias(f"b{i}")]
    frame = _collected(_scan(layout).select(exprs), layout)
    if frame.height != layout.line.size:
        raise FileError(
            f"{layout.line.size} records by their line ends but {frame.height} by their quotes",
            where=str(layout.source if isinstance(layout.source, Path) else "file"),
            cure="A quotation mark is probably not closed; export the log again.",
        )
    table = Table()
    for i, use in enumerate(used):
        series = frame[f"v{i}"]
        if series.dtype == pl.String:
            table.text[use.name] = _time_cells(series, frame, used, use, recipe, table)
        else:
            table.number[use.name] = _as_floats(series)
            table.bad[use.name] = np.flatnonzero(frame[f"b{i}"].to_numpy())
    return table


def _words(layout: Layout, labels: list[str]) -> dict[str, list[str]]:
    """The different words of some columns, in lower case."""
    import polars as pl

    if not labels:
        return {}
    frame = _collected(_scan(layout, SAMPLE_ROWS).select(pl.col(labels).str.strip_chars().str.to_lowercase()), layout)
    return {name: frame[name].unique().drop_nulls().to_list() for name in labels}


def _time_cells(
    series: pl.Series, frame: pl.DataFrame, used: list[ColumnUse], use: ColumnUse, recipe: Recipe, table: Table
) -> list[str | None]:
    """Text cells; times are turned to milliseconds at once, so that no list of texts is made for them."""
    import polars as pl

    if use.role not in ("time", "clock"):
        return series.to_list() if use.role == "sections" else []
    dated = [i for i, u in enumerate(used) if u.role == "date"]
    if use.unit == "clock":
        full = "2000-01-01 " + series.str.replace(",", ".", literal=True)
        at = full.str.to_datetime("%Y-%m-%d %H:%M:%S%.f", time_unit="ms", strict=False)
    else:
        form = recipe.time_form
        if dated:
            series = frame[f"v{dated[0]}"] + " " + series
        if form.endswith("%z") and series.head(1).str.contains(r":\d{2}$")[0]:
            form = form[:-2] + "%:z"
        at = series.str.replace(",", ".", literal=True).str.to_datetime(form, time_unit="ms", strict=False)
    ms = at.cast(pl.Int64)
    empty = series.is_null() | (series == "")
    table.number[use.name] = _as_floats(ms.cast(pl.Float64))
    table.bad[use.name] = (ms.is_null() & ~empty).arg_true().to_numpy().astype(np.int64)
    return []


# our own layout


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
    data |= {name: values for name, values in trail.extra.items() if name not in data}
    frame = pl.DataFrame(data)
    frame.with_columns(pl.col(pl.Float64).fill_nan(None)).write_csv(Path(path), float_scientific=False)
