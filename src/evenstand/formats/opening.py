"""Which reader a recorded file goes to, by what is in it, not by its name."""

from __future__ import annotations

from pathlib import Path

from evenstand.formats.recipes import Recipe
from evenstand.model.trail import Trail

HEAD = 4096


def kind_of(path: Path) -> str:
    """What a file is by its contents: "task-data", "parquet", "nmea", else "delimited"."""
    from evenstand.formats.iso11783.folders import is_task_data
    from evenstand.formats.nmea import looks_like_nmea

    if is_task_data(path):
        return "task-data"
    if not path.is_file():
        return "delimited"
    with path.open("rb") as file:
        head = file.read(HEAD)
    if head[:4] == b"PAR1":
        return "parquet"
    return "nmea" if looks_like_nmea(head) else "delimited"


def open_trail(
    path: Path,
    *,
    recipe: Recipe | str | Path | None = None,
    crs: str | None = None,
    start: str | None = None,
    zone: str | None = None,
    task: str | None = None,
    truncated_ok: bool = False,
) -> Trail:
    """Read a recorded file with the reader of its kind; see `evenstand.trail.read_trail`."""
    kind = kind_of(path)
    if kind == "task-data":
        from evenstand.formats.iso11783.logged import read_trail_task_data

        return read_trail_task_data(path, task=task, zone=zone, truncated_ok=truncated_ok)
    if kind == "parquet":
        from evenstand.formats.parquet import read_trail_parquet

        return read_trail_parquet(path)
    if kind == "nmea":
        from evenstand.formats.nmea import read_trail_nmea

        return read_trail_nmea(path, start=start)
    from evenstand.formats.delimited import read

    return read(path, recipe=recipe, crs=crs, start=start, zone=zone, truncated_ok=truncated_ok)
