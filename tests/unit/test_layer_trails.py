"""Logs kept as vector layers: the same log as points in five forms, and as strips, gives the same trail as its text."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import polars as pl
import pyogrio
import pytest
import shapely
from pyproj import CRS

from evenstand.base.errors import FileError
from evenstand.model import Trail
from evenstand.trail import read_trail

ROWS = 40
LON = -105.0 + np.arange(ROWS) * 2e-5
LAT = np.full(ROWS, 50.2)
SPEED = np.round(7.2 + 0.1 * np.sin(np.arange(ROWS)), 2)
RATE = np.round(118 + np.cos(np.arange(ROWS)), 1)
TIMES = [f"2026-05-12T14:{k // 60:02d}:{k % 60:02d}Z" for k in range(ROWS)]
COLUMNS = {"time": np.array(TIMES, dtype=object), "speed_km_h": SPEED, "echoed_kg_ha_A": RATE}


def as_text(folder: Path) -> Path:
    path = folder / "log.csv"
    rows = [f"{TIMES[k]},{float(LON[k])!r},{float(LAT[k])!r},{SPEED[k]},{RATE[k]}" for k in range(ROWS)]
    path.write_text("\n".join(["time,longitude,latitude,speed_km_h,echoed_kg_ha_A", *rows]) + "\n", encoding="utf-8")
    return path


def as_layer(folder: Path, suffix: str, *, crs: str = "EPSG:4326", shapes: np.ndarray | None = None) -> Path:
    path = folder / f"log{suffix}"
    points = shapely.points(LON, LAT) if shapes is None else shapes
    names = [n[:10] for n in COLUMNS] if suffix == ".shp" else list(COLUMNS)
    driver = {".gpkg": "GPKG", ".shp": "ESRI Shapefile", ".geojson": "GeoJSON", ".fgb": "FlatGeobuf"}[suffix]
    more = {"layer_options": {"SPATIAL_INDEX": "NO"}} if suffix == ".fgb" else {}  # an index sorts the rows by place
    pyogrio.raw.write(
        path, shapely.to_wkb(points), list(COLUMNS.values()), names, geometry_type=points[0].geom_type, crs=crs, driver=driver, **more
    )
    return path


def as_geoparquet(folder: Path, *, encoding: str = "WKB") -> Path:
    path = folder / "log.parquet"
    geo = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": {"encoding": encoding, "geometry_types": ["Point"],
           "crs": json.loads(CRS.from_epsg(4326).to_json())}}}  # fmt: skip
    data = {**COLUMNS, "geometry": list(shapely.to_wkb(shapely.points(LON, LAT)))}
    pl.DataFrame(data).write_parquet(path, metadata={"geo": json.dumps(geo)})
    return path


def same(a: Trail, b: Trail, *, metres: float = 1e-3) -> None:
    assert a.t_ms.tolist() == b.t_ms.tolist()
    assert np.abs(a.xy_m - b.xy_m).max() < metres
    assert np.asarray(a.speed_m_s) == pytest.approx(np.asarray(b.speed_m_s))


@pytest.mark.parametrize("suffix", [".gpkg", ".shp", ".geojson", ".fgb"])
def test_points_give_the_same_trail_as_text(tmp_path: Path, suffix: str) -> None:
    want = read_trail(as_text(tmp_path))
    got = read_trail(as_layer(tmp_path, suffix))
    same(got, want, metres=0.02)
    assert got.rows == got.kept == ROWS


def test_geoparquet_gives_the_same_trail_as_text(tmp_path: Path) -> None:
    want = read_trail(as_text(tmp_path))
    got = read_trail(as_geoparquet(tmp_path))
    same(got, want)
    assert np.asarray(got.echoed_kg_ha) == pytest.approx(np.asarray(want.echoed_kg_ha))


def test_a_projected_layer_brings_its_own_coordinate_system(tmp_path: Path) -> None:
    from pyproj import Transformer

    x, y = Transformer.from_crs("EPSG:4326", "EPSG:32613", always_xy=True).transform(LON, LAT)
    path = as_layer(tmp_path, ".gpkg", crs="EPSG:32613", shapes=shapely.points(x, y))
    same(read_trail(path), read_trail(as_text(tmp_path)))


def test_strips_give_their_middles_and_areas(tmp_path: Path) -> None:
    from pyproj import Transformer

    x, y = Transformer.from_crs("EPSG:4326", "EPSG:32613", always_xy=True).transform(LON, LAT)
    strips = shapely.box(x - 0.7, y - 8, x + 0.7, y + 8)
    trail = read_trail(as_layer(tmp_path, ".gpkg", crs="EPSG:32613", shapes=strips))
    same(trail, read_trail(as_text(tmp_path)))
    assert trail.extra["strip_area_m2"] == pytest.approx(1.4 * 16)


def test_lines_are_no_log(tmp_path: Path) -> None:
    lines = np.array([shapely.LineString([(a, 50.2), (a + 1e-5, 50.2)]) for a in LON], dtype=object)
    with pytest.raises(FileError, match="points, or strips"):
        read_trail(as_layer(tmp_path, ".geojson", shapes=lines))


def test_parquet_of_somebody_else_is_named(tmp_path: Path) -> None:
    path = tmp_path / "x.parquet"
    pl.DataFrame({"a": [1, 2]}).write_parquet(path)
    with pytest.raises(FileError):
        read_trail(path)
    with pytest.raises(FileError, match="limit|WKB"):
        read_trail(as_geoparquet(tmp_path, encoding="point"))


def test_a_geoparquet_file_of_too_many_rows_is_refused_before_it_is_read(tmp_path, monkeypatch):
    from tests.made_trails import passes_trail

    from evenstand.formats import pointlayers
    from evenstand.formats.geoparquet import write_trail_geoparquet

    write_trail_geoparquet(passes_trail(passes=2), tmp_path / "t.geoparquet")
    monkeypatch.setattr(pointlayers, "MOST_ROWS", 10)
    with pytest.raises(FileError, match="at most 10"):
        read_trail(tmp_path / "t.geoparquet")
