"""The door to a trail in a file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from evenstand.model.trail import Trail

if TYPE_CHECKING:
    from evenstand.formats.delimited import ColumnUse, Recipe


def read_trail(
    path: str | Path,
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
    """Read what a machine recorded: delimited text of nearly any shape, ISO 11783-10 task data, NMEA 0183 sentences, or our own Parquet.

    Parameters
    ----------
    path : str or Path
        The file. [-]
    recipe : Recipe, path or None
        What each column is, remembered from an earlier time; None: understand the file itself, and ask where unsure. [-]
    crs : str or None
        Coordinate system of the positions, such as "EPSG:32615"; needed for projected numbers. [-]
    start : str or None
        ISO time, with offset, at which a log begins that counts seconds or has no dates. A log with dates whose clock is off by whole
        quarters of an hour is moved to it; a day alone is only compared. [-]
    zone : str or None
        Zone of times that carry no offset: "-06:00", or a name such as "America/Regina". [-]
    task : str or None
        Key or name of the task, in task data where several hold logs. [-]
    truncated_ok : bool
        Set aside a last row that breaks off instead of refusing the file. [-]
    columns : sequence of str or ColumnUse
        What some columns are, whatever they seem to be: "Setpt=asked kg/ha A"; of task data, which part is which bin or section:
        "DET-2=bin B". [-]
    density_kg_m3 : mapping or None
        Of the product in each bin, by its letter: rates that task data logs by volume come out by mass. [kg/m³]

    Returns
    -------
    Trail
        Rows in time order, metric. kept + repaired + set aside = rows read. [-]

    Raises
    ------
    FileError
        If the file is empty, binary, truncated or something else than it claims to be.
    ColumnError
        If a needed column is missing, doubled or not understood.
    CrsError
        If projected positions come without a coordinate system.
    UnitError
        If a column's unit contradicts its own data.
    """
    from evenstand.formats.opening import open_trail

    return open_trail(
        Path(path), recipe=recipe, crs=crs, start=start, zone=zone, task=task, truncated_ok=truncated_ok, columns=columns,
        density_kg_m3=density_kg_m3,
    )  # fmt: skip
