"""A trail as Parquet: one documented schema with a version; absent is null and never 0."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import numpy as np

from evenstand.base.errors import FileError, VersionError
from evenstand.model.place import Frame
from evenstand.model.trail import SetAside, Trail

SCHEMA = "evenstand-trail"
VERSION = 1
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
    frame = pl.DataFrame(data).with_columns(pl.col(pl.Float64).fill_nan(None))
    out = io.BytesIO()
    frame.write_parquet(out, compression="zstd", metadata={SCHEMA: json.dumps(_head(trail), ensure_ascii=False)})
    return out.getvalue()


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


def _head(trail: Trail) -> dict[str, Any]:
    def listed(rows: tuple[SetAside, ...]) -> list[list[Any]]:
        return [[r.line, r.reason, r.text] for r in rows]

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
    import polars as pl
    from polars.exceptions import PolarsError

    try:
        text = pl.read_parquet_metadata(io.BytesIO(data)).get(SCHEMA)
        frame = pl.read_parquet(io.BytesIO(data)) if text else pl.DataFrame()
    except (PolarsError, OSError) as error:
        raise FileError("the Parquet file is damaged or cut short", where=where, cure="Copy it again, or read the original log.") from error
    if text is None:
        raise FileError("this Parquet file is no trail written by Evenstand", where=where, cure="Export the log as CSV and read that.")
    head = json.loads(text)
    if head["version"] > VERSION:
        raise VersionError(f"schema version {head['version']}", where=where, limit=f"up to {VERSION}", cure="Update Evenstand to read it.")
    return _trail(frame, head)


def _trail(frame: Any, head: dict[str, Any]) -> Trail:
    columns = set(frame.columns)

    def floats(name: str) -> Any:
        return _fixed(frame[name].cast(float).fill_null(float("nan")).to_numpy().astype(np.float64))

    def bools(names: list[str]) -> Any:
        return _fixed(np.column_stack([frame[n].to_numpy().astype(np.bool_) for n in names])) if names else None

    def grid(stem: str) -> Any:
        names = [f"{stem}_{b}" for b in head["bins"]]
        return _fixed(np.column_stack([floats(n) for n in names])) if names and set(names) <= columns else None

    sections = sorted((c for c in columns if c.startswith("section_")), key=lambda c: int(c.split("_")[1]))
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
        notes=tuple(head["notes"]),
        file_hash=head["file_hash"],
        extra={c.removeprefix("extra:"): floats(c) for c in frame.columns if c.startswith("extra:")},
        **{name: floats(name) for name in SINGLES if name in columns},
    )


def _fixed(array: Any) -> Any:
    array.flags.writeable = False
    return array
