"""Which reader a recorded file goes to, by what is in it, not by its name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from evenstand.base.errors import InputError
from evenstand.formats.columns import ColumnUse
from evenstand.formats.recipes import Proposal, Recipe
from evenstand.model.trail import Trail

HEAD = 4096
MANY_ROWS = 3_000_000
"""Trails with more rows are told of by their accounts alone. [-]"""
LARGE_BYTES = 200_000_000
"""Delimited logs larger than this are read block by block. [byte]"""
LAYERS = (".geojson", ".json", ".geojsonl", ".gml", ".kml", ".zip", ".gpx")


def kind_of(path: Path) -> str:
    """What a file is by its contents: "task-data", "parquet" (ours), "layer", "nmea", else "delimited"."""
    from evenstand.formats.iso11783.folders import is_task_data
    from evenstand.formats.nmea import looks_like_nmea

    if is_task_data(path):
        return "task-data"
    if not path.is_file():
        return "delimited"
    with path.open("rb") as file:
        head = file.read(HEAD)
    if head[:4] == b"PAR1":
        return "parquet" if _is_ours(path) else "layer"
    if head[:16] == b"SQLite format 3\0" or head[:3] == b"fgb" or head[:4] == b"\0\0\x27\n":
        return "layer"
    if path.suffix.lower() in LAYERS and head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] in (b"{", b"<", b"P"):
        return "layer"
    return "nmea" if looks_like_nmea(head) else "delimited"


def is_large(path: Path) -> bool:
    """Whether a file is a delimited log too large to be read whole."""
    return path.is_file() and path.stat().st_size > LARGE_BYTES and kind_of(path) == "delimited"


def has_many_rows(path: Path) -> bool:
    """Whether a file is a trail of ours that holds too many rows to be read just to tell of it."""
    if not path.is_file() or kind_of(path) != "parquet":
        return False
    from evenstand.formats.parquet import read_account

    return read_account(path)[1] > MANY_ROWS


def _is_ours(path: Path) -> bool:
    """Whether a Parquet file is a trail of ours, or one that cannot be told from it because it is damaged."""
    from evenstand.base.errors import FileError
    from evenstand.formats.parquet import SCHEMA, metadata_of

    try:
        told = metadata_of(path, path.name)
    except FileError:
        return True
    return SCHEMA in told or "geo" not in told


def propose_columns(
    path: Path,
    *,
    crs: str | None = None,
    start: str | None = None,
    zone: str | None = None,
    task: str | None = None,
    columns: Sequence[ColumnUse] = (),
) -> Proposal | None:
    """What each column of a file, or each part of a machine in task data, is taken for; None for a kind that says so itself."""
    kind = kind_of(path)
    if kind == "task-data":
        from evenstand.formats.iso11783.logged import propose_parts

        return propose_parts(path, task=task, columns=columns)
    if kind == "layer":
        from evenstand.formats.pointlayers import propose_layer

        return propose_layer(path, crs=crs, start=start, zone=zone, columns=columns)
    if kind != "delimited":
        return None
    from evenstand.formats.delimited import propose

    return propose(path, crs=crs, start=start, zone=zone, columns=columns)


def open_trail(
    path: Path,
    *,
    recipe: Recipe | str | Path | None = None,
    crs: str | None = None,
    start: str | None = None,
    zone: str | None = None,
    task: str | None = None,
    truncated_ok: bool = False,
    columns: Sequence[str | ColumnUse] = (),
    density_kg_m3: Mapping[str, float] | None = None,
) -> Trail:
    """Read a recorded file with the reader of its kind; see `evenstand.trail.read_trail`."""
    from evenstand.formats.overriding import told_uses

    uses = [*(c for c in columns if not isinstance(c, str)), *told_uses([c for c in columns if isinstance(c, str)])]
    kind = kind_of(path)
    if uses and kind in ("parquet", "nmea"):
        raise InputError(
            "nothing can be told of this file's columns", where=path.name, cure="It says itself what each of them is; leave --column out."
        )
    if kind == "task-data":
        from evenstand.formats.iso11783.logged import read_trail_task_data

        return read_trail_task_data(
            path, task=task, zone=zone, truncated_ok=truncated_ok, recipe=recipe, columns=uses, density_kg_m3=density_kg_m3
        )
    if kind == "parquet":
        from evenstand.formats.parquet import read_trail_parquet

        return read_trail_parquet(path)
    if kind == "layer":
        from evenstand.formats.pointlayers import read_trail_layer

        return read_trail_layer(path, recipe=recipe, crs=crs, start=start, zone=zone, columns=uses)
    if kind == "nmea":
        from evenstand.formats.nmea import read_trail_nmea

        return read_trail_nmea(path, start=start)
    from evenstand.formats.delimited import read

    return read(path, recipe=recipe, crs=crs, start=start, zone=zone, truncated_ok=truncated_ok, columns=uses)
