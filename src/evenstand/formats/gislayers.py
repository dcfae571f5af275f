"""A trail as layers a GIS opens: its rows as points and its passes as lines."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from evenstand.model.trail import Trail

LAYERS = ("rows", "passes", "strips", "runs")


def write_trail_gpkg(
    trail: Trail, path: str | Path, *, passes: tuple[Any, ...] = (), grounds: tuple[Any, ...] = (), dead: tuple[Any, ...] = ()
) -> None:
    """Write a trail as a GeoPackage with the layers `rows` (points), `passes` (lines), `strips` (ground of each pass) and `runs` (ways of
    runs and heads without flow), longitude and latitude on WGS 84.

    Parameters
    ----------
    trail : Trail
        The trail. Absent columns are left out; absent cells are null. [-]
    path : str or Path
        Where to; an existing file is replaced. [-]
    passes : tuple of PassFacts
        Its passes; none: no such layer. [-]
    grounds : tuple of PassGround
        Ground of the passes; none: no such layer. [m]
    dead : tuple of DeadLine
        Where runs were without flow; none: no such layer. [m]
    """
    import shapely
    from pyogrio import raw
    from pyproj import Transformer

    path = Path(path)
    path.unlink(missing_ok=True)
    change = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True)

    def degrees(xy: Any) -> Any:
        return np.column_stack(change.transform(xy[:, 0], xy[:, 1]))

    place = degrees(trail.xy_m)
    names, data, masks = _fields(trail)
    form = {"driver": "GPKG", "crs": "EPSG:4326"}
    raw.write(path, shapely.to_wkb(shapely.points(place)), data, names, field_mask=masks, layer="rows", geometry_type="Point", **form)
    if passes:
        _passes(passes, place, path, form)
    if grounds:
        shapes = np.array([shapely.transform(g.shape, degrees) for g in grounds], dtype=object)
        shapes = np.array([g if g.geom_type == "MultiPolygon" else shapely.MultiPolygon([g]) for g in shapes], dtype=object)
        told = {"pass": np.array([g.number for g in grounds], dtype=np.int64), "area_m2": np.array([g.area_m2 for g in grounds])}
        raw.write(
            path, shapely.to_wkb(shapes), list(told.values()), list(told), layer="strips", geometry_type="MultiPolygon", append=True, **form
        )
    if dead:
        ways = np.array([shapely.LineString(degrees(d.xy_m)) for d in dead], dtype=object)
        seen = {
            "run": np.array([-1 if d.run is None else d.run for d in dead], dtype=np.int64),
            "head": np.array([d.head for d in dead], dtype=object),
            "start_ms": np.array([d.start_ms for d in dead], dtype=np.int64),
            "end_ms": np.array([d.end_ms for d in dead], dtype=np.int64),
        }
        mask = [np.array([d.run is None for d in dead]), None, None, None]
        raw.write(
            path, shapely.to_wkb(ways), list(seen.values()), list(seen), field_mask=mask, layer="runs", geometry_type="LineString",
            append=True, **form,
        )  # fmt: skip


def _passes(passes: tuple[Any, ...], place: Any, path: Path, form: dict[str, str]) -> None:
    """The passes as lines."""
    import shapely
    from pyogrio import raw

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
    moments = np.datetime_as_string(trail.t_ms.astype("datetime64[ms]"), unit="ms")
    out: dict[str, Any] = {"time_utc": np.array([f"{m}Z" for m in moments], dtype=object), "t_ms": trail.t_ms}
    for name in ("speed_m_s", "step_m", "area_ha", "fan_turns_s", "mass_rate_kg_s", "flags"):
        if getattr(trail, name) is not None:
            out[name] = getattr(trail, name)
    if trail.lifted is not None:
        out["lifted"] = trail.lifted.astype(np.int32)
    if trail.sections is not None:
        out["sections_on"] = trail.sections.sum(axis=1).astype(np.int32)
    if trail.run_present is not None:
        out["runs_seen"] = trail.run_present.sum(axis=1).astype(np.int32)
    for stem, grid in (("turns_{}", trail.revs), ("asked_{}_kg_ha", trail.asked_kg_ha), ("echoed_{}_kg_ha", trail.echoed_kg_ha)):
        if grid is not None:
            out |= {stem.format(b): np.ascontiguousarray(grid[:, i]) for i, b in enumerate(trail.bins)}
    out |= {f"x_{name}": values for name, values in trail.extra.items()}
    masks = [np.isnan(v) if v.dtype.kind == "f" and np.isnan(v).any() else None for v in out.values()]
    return list(out), list(out.values()), masks
