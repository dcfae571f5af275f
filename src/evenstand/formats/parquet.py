"""A trail as Parquet: one documented schema with a version; absent is null and never 0."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.base.errors import FileError, VersionError
from evenstand.model.place import Frame
from evenstand.model.trail import SetAside, Trail

if TYPE_CHECKING:
    import polars as pl

SCHEMA = "evenstand-trail"
VERSION = 1
MOST_MS = 4.1e12  # the year 2099
_STATE = re.compile(r"(section|run)_[0-9]+")
UNLISTED = ("repaired_unlisted", "set_aside_unlisted")
SINGLES = ("speed_m_s", "area_ha", "step_m", "mass_rate_kg_s", "fan_turns_s")


def trail_bytes(trail: Trail) -> bytes:
    """A trail as Parquet. Columns: t_ms (int64, UTC), x_m, y_m in the frame named in the metadata, and what the trail has of
    speed_m_s, area_ha, step_m, mass_rate_kg_s, fan_turns_s, lifted, flags, section_N, run_N, turns_BIN, asked_kg_ha_BIN, echoed_kg_ha_BIN
    and extra:NAME. Columns the trail lacks are not written; absent cells are null.

    Parameters
    ----------
    trail : Trail
        The trail. [-]

    Returns
    -------
    bytes
        The file's content, the same for the same trail. [-]
    """
    out = io.BytesIO()
    frame_of(trail).write_parquet(out, compression="zstd", metadata={SCHEMA: json.dumps(head_of(trail), ensure_ascii=False)})
    return out.getvalue()


def frame_of(trail: Trail) -> pl.DataFrame:
    """The columns of the schema; absent cells are null."""
    import polars as pl

    data: dict[str, Any] = {"t_ms": trail.t_ms, "x_m": trail.xy_m[:, 0], "y_m": trail.xy_m[:, 1]}
    data |= {name: getattr(trail, name) for name in SINGLES if getattr(trail, name) is not None}
    if trail.lifted is not None:
        data["lifted"] = trail.lifted
    if trail.flags is not None:
        data["flags"] = trail.flags
    if trail.sections is not None:
        data |= {f"section_{i + 1}": trail.sections[:, i] for i in range(trail.sections.shape[1])}
    if trail.run_present is not None:
        data |= {f"run_{r}": trail.run_present[:, i] for i, r in enumerate(trail.runs)}
    for stem, grid in (("turns", trail.revs), ("asked_kg_ha", trail.asked_kg_ha), ("echoed_kg_ha", trail.echoed_kg_ha)):
        if grid is not None:
            data |= {f"{stem}_{b}": grid[:, i] for i, b in enumerate(trail.bins)}
    data |= {f"extra:{name}": values for name, values in trail.extra.items()}
    return pl.DataFrame(data).with_columns(pl.col(pl.Float64).fill_nan(None))


def write_trail_parquet(trail: Trail, path: str | Path) -> None:
    """Write a trail as Parquet, in the form of `trail_bytes`.

    Parameters
    ----------
    trail : Trail
        The trail. [-]
    path : str or Path
        Where to. [-]
    """
    Path(path).write_bytes(trail_bytes(trail))


def head_of(trail: Trail) -> dict[str, Any]:
    """What the metadata says of a trail; rows that were counted and not listed are said only where there are any."""

    def listed(rows: tuple[SetAside, ...]) -> list[list[Any]]:
        return [[r.line, r.reason, r.text] for r in rows]

    unlisted = {n: getattr(trail, n) for n in UNLISTED if getattr(trail, n)}
    return {
        "version": VERSION,
        "frame": {
            "lon_deg": trail.frame.lon_deg,
            "lat_deg": trail.frame.lat_deg,
            "height_m": trail.frame.height_m,
            "proj": trail.frame.proj,
        },
        "bins": list(trail.bins),
        "runs": list(trail.runs),
        "rows": trail.rows,
        "kept": trail.kept,
        "repaired": listed(trail.repaired),
        "set_aside": listed(trail.set_aside),
        "notes": list(trail.notes),
        "file_hash": trail.file_hash,
        **unlisted,
    }


def read_trail_parquet(path: str | Path) -> Trail:
    """Read a trail that `write_trail_parquet` wrote; errors as in `trail_of`.

    Parameters
    ----------
    path : str or Path
        The file. [-]
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise FileError(f"cannot be read ({error.strerror})", where=path.name, cure="Check the name.") from error
    return trail_of(data, path.name)


def trail_of(data: bytes, where: str) -> Trail:
    """The trail in a Parquet file's content.

    Parameters
    ----------
    data : bytes
        As `trail_bytes` gave it. [-]
    where : str
        Name of the file, for errors. [-]

    Returns
    -------
    Trail
        As it was written. [-]

    Raises
    ------
    FileError
        If the file is damaged or no trail of ours.
    VersionError
        If it was written by a newer release.
    """
    head = _head_of_file(data, where)
    return _trail(table_in(data, where), head, where)


def read_account(path: Path) -> tuple[Trail, int, int | None, int | None]:
    """What a trail of any length says of itself, its rows not read; errors as in `trail_of`.

    Parameters
    ----------
    path : Path
        The file. [-]

    Returns
    -------
    Trail
        Its frame, counts, lists, notes and columns, with no row. [-]
    int
        How many rows it has. [-]
    int, int
        Its first and last time; None without rows. [ms]
    """
    import polars as pl

    head = _head_of_file(path, path.name)
    with _damage_named(path.name):
        rows = pl.scan_parquet(path)
        count = int(rows.select(pl.len()).collect().item())
        ends = [rows.slice(at, 1).collect() for at in (0, count - 1)] if count else []
        account = _trail(rows.head(0).collect(), head, path.name)
    for end in ends:
        _refuse_columns(end, path.name)
    first, last = (int(end["t_ms"][0]) for end in ends) if ends else (None, None)
    return account, count, first, last


def _head_of_file(source: Path | bytes, where: str) -> dict[str, Any]:
    text = metadata_of(source, where).get(SCHEMA)
    if text is None:
        raise FileError("this Parquet file is no trail written by Evenstand", where=where, cure="Export the log as CSV and read that.")
    return _head_in(text, where)


def metadata_of(source: Path | bytes, where: str) -> dict[str, str]:
    """The words a Parquet file carries beside its columns.

    Raises
    ------
    FileError
        If it is damaged.
    """
    import polars as pl

    with _damage_named(where):
        return pl.read_parquet_metadata(io.BytesIO(source) if isinstance(source, bytes) else source)


def table_in(source: Path | bytes, where: str) -> pl.DataFrame:
    """The columns of a Parquet file; errors as for `metadata_of`."""
    import polars as pl

    with _damage_named(where):
        return pl.read_parquet(io.BytesIO(source) if isinstance(source, bytes) else source)


def rows_in(source: Path, where: str) -> int:
    """How many rows a Parquet file says it has, none of them read; errors as for `metadata_of`. [-]"""
    import polars as pl

    with _damage_named(where):
        return int(pl.scan_parquet(source).select(pl.len()).collect().item())


@contextmanager
def _damage_named(where: str) -> Iterator[None]:
    """Whatever the reader of Parquet raises on a damaged file, its panics too, is an error of the file."""
    from polars.exceptions import PanicException, PolarsError

    try:
        yield
    except (PolarsError, PanicException, OSError, ValueError, OverflowError) as error:
        raise FileError("the Parquet file is damaged or cut short", where=where, cure="Copy it again, or read the original log.") from error


def _broken(where: str, what: str) -> FileError:
    return FileError(f"the Parquet file is damaged: {what}", where=where, cure="Copy it again, or read the original log.")


def _head_in(text: str, where: str) -> dict[str, Any]:
    """The accounts in the metadata, each part of its kind.

    Raises
    ------
    FileError
        Naming the part that is missing or of another kind.
    VersionError
        If a newer release wrote them.
    """
    try:
        head = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _broken(where, "its metadata is no JSON") from error
    version = head.get("version") if isinstance(head, dict) else None
    if not isinstance(version, int) or not _is_count(version):
        raise _broken(where, "its metadata names no version")
    if version > VERSION:
        raise VersionError(f"schema version {version}", where=where, limit=f"up to {VERSION}", cure="Update Evenstand to read it.")
    place = head.get("frame")
    fits = {
        "frame": isinstance(place, dict)
        and all(_is_number(place.get(k), most) for k, most in (("lon_deg", 180.0), ("lat_deg", 90.0), ("height_m", 20_000.0))),
        "bins": _is_list(head.get("bins"), lambda v: isinstance(v, str)),
        "runs": _is_list(head.get("runs"), _is_count),
        "notes": _is_list(head.get("notes"), lambda v: isinstance(v, str)),
        "file_hash": isinstance(head.get("file_hash"), str),
        **{k: _is_count(head.get(k)) for k in ("rows", "kept")},
        **{k: _is_count(head.get(k, 0)) for k in UNLISTED},
        **{k: _is_list(head.get(k), _is_row) for k in ("repaired", "set_aside")},
    }
    wrong = [name for name, good in fits.items() if not good]
    if wrong:
        raise _broken(where, f"its metadata says nothing we understand of {', '.join(wrong)}")
    others = len(head["repaired"]) + len(head["set_aside"]) + sum(head.get(k, 0) for k in UNLISTED)
    if head["kept"] + others != head["rows"]:
        raise _broken(where, f"{head['kept']} rows kept and {others} repaired or set aside are not the {head['rows']} rows read")
    return dict(head)


def _is_count(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 2**62


def _is_number(value: Any, most: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= most


def _is_list(value: Any, good: Callable[[Any], bool]) -> bool:
    return isinstance(value, list) and all(good(v) for v in value)


def _is_row(value: Any) -> bool:
    return isinstance(value, list) and len(value) == 3 and _is_count(value[0]) and isinstance(value[1], str) and isinstance(value[2], str)


def _refuse_columns(frame: pl.DataFrame, where: str) -> None:
    """Refuse columns of ours that are missing, of another kind, or empty where no cell may be; columns we do not know are passed over.

    Raises
    ------
    FileError
        Naming the first such column.
    """
    import polars as pl

    def wrong(name: str, kind: str) -> FileError:
        return _broken(where, f"column '{name}' {'is missing' if name not in frame.columns else f'is no column of {kind}'}")

    numbers = [c for c in frame.columns if c in (*SINGLES, "flags") or c.startswith(("turns_", "asked_kg_ha_", "echoed_kg_ha_", "extra:"))]
    for name in ("t_ms", "x_m", "y_m", *numbers):
        if name not in frame.columns or not frame[name].dtype.is_numeric():
            raise wrong(name, "numbers")
    for name in (c for c in frame.columns if c == "lifted" or _STATE.fullmatch(c)):
        if frame[name].dtype != pl.Boolean or frame[name].null_count():
            raise wrong(name, "states")
    for name in ("t_ms", "flags"):
        if name in frame.columns and (not frame[name].dtype.is_integer() or frame[name].null_count()):
            raise wrong(name, "whole numbers")
    for name in ("x_m", "y_m"):
        if frame[name].null_count() or not frame[name].is_finite().all():
            raise wrong(name, "positions")
    t = frame["t_ms"]
    if frame.height and (not t.is_sorted() or t[0] < -MOST_MS or t[-1] > MOST_MS):
        raise wrong("t_ms", "times in order")


def _trail(frame: pl.DataFrame, head: dict[str, Any], where: str) -> Trail:
    _refuse_columns(frame, where)
    columns = set(frame.columns)

    def floats(name: str) -> Any:
        return _fixed(frame[name].cast(float).fill_null(float("nan")).to_numpy().astype(np.float64))

    def bools(names: list[str]) -> Any:
        return _fixed(np.column_stack([frame[n].to_numpy().astype(np.bool_) for n in names])) if names else None

    def grid(stem: str) -> Any:
        names = [f"{stem}_{b}" for b in head["bins"]]
        return _fixed(np.column_stack([floats(n) for n in names])) if names and set(names) <= columns else None

    sections = sorted((c for c in columns if c.startswith("section_") and _STATE.fullmatch(c)), key=lambda c: int(c.split("_")[1]))
    runs = [f"run_{r}" for r in head["runs"]]
    place = head["frame"]
    return Trail(
        frame=Frame(lon_deg=place["lon_deg"], lat_deg=place["lat_deg"], height_m=place["height_m"]),
        t_ms=_fixed(frame["t_ms"].to_numpy().astype(np.int64)),
        xy_m=_fixed(np.column_stack([floats("x_m"), floats("y_m")])),
        lifted=_fixed(frame["lifted"].to_numpy().astype(np.bool_)) if "lifted" in columns else None,
        flags=_fixed(frame["flags"].to_numpy().astype(np.int64)) if "flags" in columns else None,
        sections=bools(sections),
        run_present=bools(runs) if runs and set(runs) <= columns else None,
        revs=grid("turns"),
        asked_kg_ha=grid("asked_kg_ha"),
        echoed_kg_ha=grid("echoed_kg_ha"),
        bins=tuple(head["bins"]),
        runs=tuple(head["runs"]),
        rows=head["rows"],
        kept=head["kept"],
        repaired=tuple(SetAside(line=a, reason=b, text=c) for a, b, c in head["repaired"]),
        set_aside=tuple(SetAside(line=a, reason=b, text=c) for a, b, c in head["set_aside"]),
        repaired_unlisted=head.get("repaired_unlisted", 0),
        set_aside_unlisted=head.get("set_aside_unlisted", 0),
        notes=tuple(head["notes"]),
        file_hash=head["file_hash"],
        extra={c.removeprefix("extra:"): floats(c) for c in frame.columns if c.startswith("extra:")},
        **{name: floats(name) for name in SINGLES if name in columns},
    )


def _fixed(array: Any) -> Any:
    array.flags.writeable = False
    return array
