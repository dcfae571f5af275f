"""A trail as layers a GIS opens: its rows as points and its passes as lines."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from evenstand.model.trail import Trail


def write_trail_gpkg(trail: Trail, path: str | Path, *, passes: tuple[Any, ...] = ()) -> None:
    """Write a trail as a GeoPackage with the layers `rows` (points) and `passes` (lines), longitude and latitude on WGS 84.

    Parameters
    ----------
    trail : Trail
        The trail. Absent columns are left out; absent cells are null. [-]
    path : str or Path
        Where to; an existing file is replaced. [-]
    passes : tuple of PassFacts
        Its passes; none: no such layer. [-]
    """
    import shapely
    from pyogrio import raw
    from pyproj import Transformer

    path = Path(path)
    path.unlink(missing_ok=True)
    lon, lat = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True).transform(trail.xy_m[:, 0], trail.xy_m[:, 1])
    place = np.column_stack([lon, lat])
    names, data, masks = _fields(trail)
    form = {"driver": "GPKG", "crs": "EPSG:4326"}
    raw.write(path, shapely.to_wkb(shapely.points(place)), data, names, field_mask=masks, layer="rows", geometry_type="Point", **form)
    if not passes:
        return
    lines = shapely.to_wkb(np.array([shapely.LineString(place[p.first_row : p.last_row + 1]) for p in passes]))
    table = {
        "number": np.array([p.number for p in passes], dtype=np.int64),
        "length_m": np.array([p.length_m for p in passes]),
        "speed_m_s": np.array([p.speed_m_s for p in passes]),
        "start_ms": np.array([p.start_ms for p in passes], dtype=np.int64),
        "exceptions": np.array(["; ".join(e.note for e in p.exceptions) for p in passes], dtype=object),
    }
    raw.write(path, lines, list(table.values()), list(table), layer="passes", geometry_type="LineString", append=True, **form)


def _fields(trail: Trail) -> tuple[list[str], list[Any], list[Any]]:
    """Names, values and masks of absent cells."""
    out: dict[str, Any] = {"t_ms": trail.t_ms}
    for name in ("speed_m_s", "step_m", "area_ha", "fan_turns_s", "mass_rate_kg_s", "flags"):
        if getattr(trail, name) is not None:
            out[name] = getattr(trail, name)
    if trail.lifted is not None:
        out["lifted"] = trail.lifted.astype(np.int32)
    if trail.sections is not None:
        out["sections_on"] = trail.sections.sum(axis=1).astype(np.int32)
    if trail.run_present is not None:
        out["runs_seen"] = trail.run_present.sum(axis=1).astype(np.int32)
    for stem, grid in (("turns", trail.revs), ("asked_kg_ha", trail.asked_kg_ha), ("echoed_kg_ha", trail.echoed_kg_ha)):
        if grid is not None:
            out |= {f"{stem}_{b}": np.ascontiguousarray(grid[:, i]) for i, b in enumerate(trail.bins)}
    out |= {f"x_{name}": values for name, values in trail.extra.items()}
    masks = [np.isnan(v) if v.dtype.kind == "f" and np.isnan(v).any() else None for v in out.values()]
    return list(out), list(out.values()), masks
