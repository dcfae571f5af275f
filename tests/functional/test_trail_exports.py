"""Exports other tools open: GeoParquet, GeoTIFF, GeoPackage with strips and runs; and reports on a job's logs by part."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import polars as pl
import pytest
import shapely
from click.testing import CliRunner

from evenstand.base.errors import InputError, MissingError, RangeError
from evenstand.formats.delimited import write_trail_csv
from evenstand.formats.geoparquet import write_trail_geoparquet
from evenstand.formats.gislayers import write_trail_gpkg
from evenstand.model import Frame, Trail
from evenstand.trail import read_trail
from made_trails import passes_trail, tool

HOME = Frame(lon_deg=-106.483, lat_deg=51.317)  # of the demo farm's home quarter
WIDTH = ("--outfit-width", "10 m")


def invoke(*words: str) -> tuple[int, str]:
    from evenstand.cli.trail import command

    result = CliRunner().invoke(command, list(words), standalone_mode=False)
    if result.exception:
        raise result.exception
    return result.return_value, result.output


def logged() -> Trail:
    """Ten passes of 10 m on 9 m, bin A at 120 kg/ha, run 4 dead from pass 6 on."""
    trail = passes_trail(spacing_m=9.0)
    seen = np.ones((trail.n, 8), dtype=bool)
    seen[300:, 3] = False
    return replace(
        trail, t_ms=trail.t_ms + 1_800_000_000_000, bins=("A",), echoed_kg_ha=np.full((trail.n, 1), 120.0), run_present=seen,
        runs=tuple(range(1, 9)), speed_m_s=np.full(trail.n, 2.0),
    )  # fmt: skip


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "day.csv"
    write_trail_csv(logged(), path)
    return path


def test_geoparquet_keeps_to_its_specification(tmp_path):
    trail = logged()
    trail = replace(trail, speed_m_s=np.where(np.arange(trail.n) == 5, np.nan, trail.speed_m_s))
    path = tmp_path / "out.geoparquet"
    write_trail_geoparquet(trail, path)
    geo = json.loads(pl.read_parquet_metadata(path)["geo"])
    assert (geo["version"], geo["primary_column"]) == ("1.1.0", "geometry")
    column = geo["columns"]["geometry"]
    assert (column["encoding"], column["geometry_types"]) == ("WKB", ["Point"])
    assert column["crs"]["id"] == {"authority": "OGC", "code": "CRS84"}
    frame = pl.read_parquet(path)
    points = shapely.from_wkb(frame["geometry"].to_numpy())
    assert column["bbox"] == pytest.approx(shapely.total_bounds(points).tolist())
    assert frame["speed_m_s"][5] is None
    assert frame["time_utc"].dt.timestamp("ms").to_list() == trail.t_ms.tolist()


@pytest.mark.parametrize("form", ["geoparquet", "gpkg"])
def test_what_is_written_for_a_gis_is_read_again(tmp_path, form):
    trail, path = logged(), tmp_path / f"out.{form}"
    if form == "gpkg":
        code, _ = 0, write_trail_csv(trail, tmp_path / "in.csv")
        code, _ = invoke("export", str(tmp_path / "in.csv"), str(path), *WIDTH)
        assert code == 0
    else:
        write_trail_geoparquet(trail, path)
    again = read_trail(path)
    assert again.n == trail.n
    assert again.t_ms.tolist() == trail.t_ms.tolist()
    assert again.speed_m_s == pytest.approx(trail.speed_m_s)
    assert again.echoed_kg_ha[:, 0] == pytest.approx(trail.echoed_kg_ha[:, 0])
    assert np.diff(again.xy_m, axis=0) == pytest.approx(np.diff(trail.xy_m, axis=0), abs=0.02)
    if form == "geoparquet":
        assert again.run_present.tolist() == trail.run_present.tolist()


def test_a_geopackage_has_the_ground_of_each_pass_and_the_dead_runs(log, tmp_path):
    import pyogrio
    from pyogrio import raw

    out = tmp_path / "out.gpkg"
    assert invoke("export", str(log), str(out), *WIDTH)[0] == 0
    assert [row[0] for row in pyogrio.list_layers(out)] == ["rows", "passes", "strips", "runs"]
    meta, _, shapes, (number, area) = raw.read(out, layer="strips")
    assert meta["crs"] == "EPSG:4326"
    assert number.tolist() == list(range(1, 11))
    assert area == pytest.approx(1000.0, rel=1e-3)
    assert all(shapely.is_valid(shapely.from_wkb(shapes)))
    _, _, lines, fields = raw.read(out, layer="runs")
    assert fields[0].tolist() == [4] * 5  # on passes 6 to 10, turns left out
    assert shapely.from_wkb(lines[0]).geom_type == "LineString"


def test_the_layers_of_nothing_more_are_as_before(tmp_path):
    import pyogrio

    write_trail_gpkg(passes_trail(), tmp_path / "bare.gpkg")
    assert [row[0] for row in pyogrio.list_layers(tmp_path / "bare.gpkg")] == ["rows"]


def test_a_geotiff_holds_how_often_who_first_and_the_dose(log, tmp_path):
    rasterio = pytest.importorskip("rasterio", reason="NOT RUN HERE: needs rasterio (pip install 'evenstand[raster]')")
    from pyproj import Transformer

    out = tmp_path / "out.tif"
    assert invoke("export", str(log), str(out), *WIDTH, "--cell", "0.25 m")[0] == 0
    trail = read_trail(log)
    with rasterio.open(out) as file:
        assert file.descriptions == ("count", "first_row", "first_s", "dose_A_kg_ha")
        assert file.res == (0.25, 0.25)
        count, first, seconds, dose = file.read()
        change = Transformer.from_crs(trail.frame.proj, file.crs.to_wkt(), always_xy=True)
        x, y = change.transform(trail.xy_m[20, 0], trail.xy_m[20, 1])
        assert (x, y) == pytest.approx(tuple(trail.xy_m[20]), abs=1e-3)
        r, c = file.index(x + 0.01, y + 0.01)
    assert (count == 1).sum() * 0.0625 == pytest.approx(9100 - 900, rel=5e-3)
    assert (count == 2).sum() * 0.0625 == pytest.approx(900, rel=2e-2)
    assert np.isnan(first[np.isnan(count)]).all()
    assert first[r, c] in (19, 20)
    assert seconds[r, c] == pytest.approx(first[r, c])
    assert set(np.unique(dose[count == 2]).tolist()) == {240.0}


def test_without_rasterio_the_extra_is_named(log, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "rasterio", None)
    with pytest.raises(MissingError, match=r"evenstand\[raster\]"):
        invoke("export", str(log), str(tmp_path / "out.tif"), *WIDTH)


def test_a_geotiff_needs_a_width_and_cells_that_are_not_too_many(log, tmp_path):
    pytest.importorskip("rasterio", reason="NOT RUN HERE: needs rasterio (pip install 'evenstand[raster]')")
    with pytest.raises(InputError, match="--outfit-width"):
        invoke("export", str(log), str(tmp_path / "out.tif"))
    from evenstand.trail.places import upright_cells

    with pytest.raises(RangeError, match="too many cells"):
        upright_cells(passes_trail(length_m=3000.0, step_m=20.0), tool(10.0), cell_m=0.05)


# reports by part


def report(root: Path, *words: str) -> dict:
    code, text = invoke("report", *words, "--json")
    assert code == 0
    data = json.loads(text)
    jsonschema.Draft202012Validator(json.loads((root / "docs" / "schemas" / "trail-report.json").read_text())).validate(data)
    return data


def test_a_report_has_parts_that_add_up_and_says_who_sowed_a_place(root, log, tmp_path):
    trail = logged()
    ring = [[0, -5], [40, -5], [40, 105], [0, 105], [0, -5]]
    lonlat = degrees(trail, np.array(ring, dtype=float))
    zone = {"type": "Feature", "properties": {"name": "West"}, "geometry": {"type": "Polygon", "coordinates": [lonlat.tolist()]}}
    (tmp_path / "zones.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [zone]}))
    lon, lat = degrees(trail, np.array([[9.0, 50.0]]))[0]
    data = report(root, str(log), *WIDTH, "--zones", str(tmp_path / "zones.geojson"), "--day-zone=-06:00", f"--at={lon},{lat}", "--check")
    places = data["places"]
    assert [p["name"] for p in places["zones"]] == ["West", "elsewhere"]
    for division in ("days", "zones", "passes"):
        assert sum(p["covered_m2"] for p in places[division]) == pytest.approx(places["whole"]["covered_m2"])
        assert sum(p["mass_kg"]["A"] for p in places[division]) == pytest.approx(places["whole"]["mass_kg"]["A"], rel=1e-5)
    assert places["whole"]["mass_kg"]["A"] == pytest.approx(120 * 1.0, rel=5e-3)  # ten passes of 0.1 ha
    assert places["asked"][0]["sown"]["pass_number"] == 1
    assert places["asked"][0]["sown"]["times"] == 2
    check = data["coverage"]["check"]
    assert check["agree"] and check["usual"]
    _, text = invoke("report", str(log), *WIDTH, f"--at={lon},{lat}", "--check", "--zones", str(tmp_path / "zones.geojson"))
    assert "sown first by pass 1" in text
    assert "agree" in text
    assert "West" in text


def test_places_can_be_left_out(root, log):
    assert report(root, str(log), *WIDTH, "--no-places")["places"] is None


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "what to report on"),
        (("{log}",), "--outfit-width"),
        (("{log}", *WIDTH, "--at", "here"), "no place"),
        (("{log}", *WIDTH, "--hitch", "90 m"), "no drawbar"),
        (("{log}", *WIDTH, "--day-zone", "noon"), "time zone"),
        (("--job", "x"), "belongs to a book"),
        (("{log}", "--job", "x", "--book", "b"), "both a file and a job"),
    ],
)
def test_what_is_missing_or_wrong_is_said(log, words, says):
    with pytest.raises(InputError, match=says):
        invoke("report", *(w.format(log=log) for w in words))


def degrees(trail: Trail, xy: np.ndarray) -> np.ndarray:
    from pyproj import Transformer

    return np.column_stack(Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True).transform(xy[:, 0], xy[:, 1]))


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """A book with the job home-wheat and a log of it."""
    from evenstand.desk.demo import build_book

    folder = tmp_path_factory.mktemp("job") / "book"
    build_book(folder)
    trail = replace(logged(), frame=HOME)
    path = folder.parent / "first.csv"
    write_trail_csv(trail, path)
    assert invoke("read", str(path), "--book", str(folder), "--job", "home-wheat")[0] == 0
    return folder


def test_a_report_on_a_job_takes_its_logs_outfit_and_field(root, book, tmp_path):
    one = report(root, "home-wheat", "--book", str(book), "--no-places")
    other = report(root, "--job", "home-wheat", "--book", str(book), "--no-places")
    assert one == other
    assert one["job"] == "home-wheat"
    assert one["logs"] == ["first.csv"]
    assert one["coverage"]["width_m"] > 10
    late = replace(logged(), frame=HOME)
    late = replace(late, t_ms=late.t_ms + 86_400_000, xy_m=late.xy_m + np.array([200.0, 0.0]))
    path = tmp_path / "second.csv"
    write_trail_csv(late, path)
    assert invoke("read", str(path), "--book", str(book), "--job", "home-wheat")[0] == 0
    both = report(root, "home-wheat", "--book", str(book), "--day-zone=-06:00")
    assert both["logs"] == ["first.csv", "second.csv"]
    assert both["rows"] == 2 * one["rows"]
    assert both["coverage"]["covered_m2"] == pytest.approx(2 * one["coverage"]["covered_m2"], rel=1e-3)
    assert [d["name"] for d in both["places"]["days"]] == ["2027-01-15", "2027-01-16"]


def test_a_log_kept_twice_under_two_names_is_refused_with_both(book, tmp_path):
    trail = replace(logged(), frame=HOME)
    path = tmp_path / "again.csv"
    write_trail_csv(replace(trail, speed_m_s=trail.speed_m_s * 1.01), path)
    assert invoke("read", str(path), "--book", str(book), "--job", "home-wheat")[0] == 0
    with pytest.raises(InputError, match="begins before"):
        invoke("report", "home-wheat", "--book", str(book))
    assert invoke("report", "home-wheat", "--book", str(book), "--trail", "home-wheat-again", "--no-places")[0] == 0
    with pytest.raises(MissingError, match="no trail 'none'"):
        invoke("report", "home-wheat", "--book", str(book), "--trail", "none")
    with pytest.raises(MissingError, match="no job 'nowhere'"):
        invoke("report", "nowhere", "--book", str(book))
