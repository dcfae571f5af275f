"""A trail as GeoParquet 1.1: its rows as points with their readings as columns, for tools that read that open form."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from evenstand.model.trail import Trail

GEO_VERSION = "1.1.0"
GEOMETRY = "geometry"


def write_trail_geoparquet(trail: Trail, path: str | Path) -> None:
    """Write the rows of a trail as points, longitude and latitude on WGS 84.

    Parameters
    ----------
    trail : Trail
        The trail. Absent columns are left out, absent cells are null. [-]
    path : str or Path
        Where to; an existing file is replaced. [-]
    """
    import polars as pl
    import shapely
    from pyproj import CRS, Transformer

    lon, lat = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True).transform(trail.xy_m[:, 0], trail.xy_m[:, 1])
    lon, lat = np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)
    data: dict[str, Any] = {"time_utc": pl.Series(trail.t_ms).cast(pl.Datetime("ms", "UTC"))}
    data |= _readings(trail)
    data[GEOMETRY] = pl.Series(list(shapely.to_wkb(shapely.points(lon, lat), byte_order=1)), dtype=pl.Binary)
    column: dict[str, Any] = {"encoding": "WKB", "geometry_types": ["Point"], "crs": CRS.from_user_input("OGC:CRS84").to_json_dict()}
    if trail.n:
        column["bbox"] = [float(lon.min()), float(lat.min()), float(lon.max()), float(lat.max())]
    geo = {"version": GEO_VERSION, "primary_column": GEOMETRY, "columns": {GEOMETRY: column}}
    frame = pl.DataFrame(data).with_columns(pl.col(pl.Float64).fill_nan(None))
    frame.write_parquet(Path(path), compression="zstd", metadata={"geo": json.dumps(geo, ensure_ascii=False)})


def _readings(trail: Trail) -> dict[str, Any]:
    """Columns by the names our plain layout has, so that they are known again when read."""
    names = ("speed_m_s", "step_m", "area_ha", "fan_turns_s", "mass_rate_kg_s")
    out: dict[str, Any] = {n: getattr(trail, n) for n in names if getattr(trail, n) is not None}
    if trail.lifted is not None:
        out["lifted"] = trail.lifted.astype(np.int8)
    for stem, grid in (("turns_{}", trail.revs), ("asked_{}_kg_ha", trail.asked_kg_ha), ("echoed_{}_kg_ha", trail.echoed_kg_ha)):
        if grid is not None:
            out |= {stem.format(b): grid[:, i] for i, b in enumerate(trail.bins)}
    if trail.sections is not None:
        out |= {f"section_{i + 1}": trail.sections[:, i].astype(np.int8) for i in range(trail.sections.shape[1])}
    if trail.run_present is not None:
        out |= {f"run_{r}": trail.run_present[:, i].astype(np.int8) for i, r in enumerate(trail.runs)}
    return out | {name: values for name, values in trail.extra.items() if name not in (*out, "time_utc", GEOMETRY)}
