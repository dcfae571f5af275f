"""A trail as a Parquet file that explains itself: columns for the points, and the rest as JSON in the file's metadata."""

from __future__ import annotations

import dataclasses
import io
import json
from typing import Any

import numpy as np

from evenstand.model import Frame, SetAside, Trail

_KEY = "evenstand:trail"
_PLAIN = ("speed_m_s", "area_ha", "step_m", "mass_rate_kg_s", "fan_turns_s", "lifted", "flags")
_WIDE = ("sections", "revs", "asked_kg_ha", "echoed_kg_ha", "run_present")


def trail_bytes(trail: Trail) -> bytes:
    """A trail as Parquet; absent columns are absent, cells that are no number stay so."""
    import polars as pl

    columns: dict[str, Any] = {"t_ms": trail.t_ms, "x_m": trail.xy_m[:, 0], "y_m": trail.xy_m[:, 1]}
    for name in _PLAIN:
        values = getattr(trail, name)
        if values is not None:
            columns[name] = values
    wide: dict[str, int] = {}
    for name in _WIDE:
        values = getattr(trail, name)
        if values is not None:
            wide[name] = values.shape[1]
            columns.update({f"{name}:{i}": np.ascontiguousarray(values[:, i]) for i in range(values.shape[1])})
    columns.update({f"extra:{name}": values for name, values in trail.extra.items()})
    about = {
        "frame": dataclasses.asdict(trail.frame),
        "wide": wide,
        "extra": list(trail.extra),
        "bins": trail.bins,
        "runs": trail.runs,
        "rows": trail.rows,
        "kept": trail.kept,
        "repaired": [dataclasses.asdict(r) for r in trail.repaired],
        "set_aside": [dataclasses.asdict(r) for r in trail.set_aside],
        "notes": trail.notes,
        "file_hash": trail.file_hash,
    }
    out = io.BytesIO()
    frame = pl.DataFrame({name: np.ascontiguousarray(values) for name, values in columns.items()})
    frame.write_parquet(out, compression="zstd", metadata={_KEY: json.dumps(about, ensure_ascii=False)})
    return out.getvalue()


def trail_of(data: bytes) -> Trail:
    """The trail of `trail_bytes`, its arrays read-only."""
    import polars as pl

    about = json.loads(pl.read_parquet_metadata(io.BytesIO(data))[_KEY])
    table = pl.read_parquet(io.BytesIO(data))

    def column(name: str) -> Any:
        return _locked(table[name].to_numpy())

    values: dict[str, Any] = {name: column(name) for name in _PLAIN if name in table.columns}
    for name, count in about["wide"].items():
        dtype = np.bool_ if name in {"sections", "run_present"} else np.float64
        stacked = np.column_stack([column(f"{name}:{i}") for i in range(count)]) if count else np.empty((table.height, 0))
        values[name] = _locked(stacked.astype(dtype))
    return Trail(
        frame=Frame(**about["frame"]),
        t_ms=column("t_ms"),
        xy_m=_locked(np.column_stack([column("x_m"), column("y_m")])),
        bins=tuple(about["bins"]),
        runs=tuple(about["runs"]),
        rows=about["rows"],
        kept=about["kept"],
        repaired=tuple(SetAside(**r) for r in about["repaired"]),
        set_aside=tuple(SetAside(**r) for r in about["set_aside"]),
        notes=tuple(about["notes"]),
        file_hash=about["file_hash"],
        extra={name: column(f"extra:{name}") for name in about["extra"]},
        **values,
    )


def _locked(array: Any) -> Any:
    copy = np.array(array)
    copy.setflags(write=False)
    return copy
