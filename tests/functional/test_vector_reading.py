"""Reading outlines from files: GeoJSON, Shapefile, GeoPackage, zipped or plain; what is refused, with where, what and cure."""

from __future__ import annotations

import json
import math
import shutil
import struct
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio.raw
import pytest
import shapely

from evenstand.base.errors import CrsError, FileError, GeometryError
from evenstand.field import boundary_from_rings, boundary_geojson, from_frame, list_areas, read_areas, read_boundary, write_boundary
from evenstand.formats import archives, vector
from evenstand.model import Boundary, Frame, Hazard

FIELD = [[-104.605, 50.397], [-104.595, 50.397], [-104.595, 50.403], [-104.605, 50.403], [-104.605, 50.397]]
FIELD_HA = 47.46  # 710.8 m x 667.5 m


def polygon(ring: list[list[float]], **properties: Any) -> dict[str, Any]:
    return {"type": "Feature", "properties": properties, "geometry": {"type": "Polygon", "coordinates": [ring]}}


def feature(kind: str, coordinates: Any, **properties: Any) -> dict[str, Any]:
    return {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": coordinates}}


def geojson(path: Path, *features: dict[str, Any], **more: Any) -> Path:
    path.write_text(json.dumps({"type": "FeatureCollection", "features": list(features), **more}), encoding="utf-8")
    return path


def moved(ring: list[list[float]], east: float) -> list[list[float]]:
    return [[x + east, y] for x, y in ring]


def write(
    path: Path, shapes: list[Any], *, crs: str | None = "EPSG:4326", names: list[str] | None = None, layer: str | None = None
) -> Path:
    names = names or [f"field {k}" for k in range(1, len(shapes) + 1)]
    pyogrio.raw.write(
        path,
        np.array([shapely.to_wkb(s) for s in shapes], dtype=object),
        [np.array(names, dtype=object)],
        ["name"],
        geometry_type=shapes[0].geom_type,
        crs=crs or "EPSG:3857",
        layer=layer,
        append=path.exists(),
    )
    if crs is None:
        path.with_suffix(".prj").unlink()
    return path


def in_crs(crs: str) -> Any:
    from pyproj import Transformer

    there = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    return shapely.transform(shapely.Polygon(FIELD), lambda xy: np.column_stack(there.transform(xy[:, 0], xy[:, 1])))


def test_a_geojson_field_is_read_with_name_hash_and_area(tmp_path: Path) -> None:
    boundary = read_boundary(geojson(tmp_path / "north.geojson", polygon(FIELD, name="North quarter")))
    assert boundary.name == "North quarter"
    assert boundary.key == "north-quarter"
    assert boundary.area_ha == pytest.approx(FIELD_HA, abs=0.05)
    assert boundary.area_m2 == pytest.approx(boundary.geodesic_m2, rel=1e-6)
    assert len(boundary.file_hash) == 64
    assert boundary.repairs == ()


@pytest.mark.parametrize("suffix", [".shp", ".gpkg", ".fgb", ".geojson"])
def test_the_same_field_is_read_from_every_format(tmp_path: Path, suffix: str) -> None:
    boundary = read_boundary(write(tmp_path / f"field{suffix}", [shapely.Polygon(FIELD)], names=["North"]))
    assert boundary.name == "North"
    assert boundary.area_ha == pytest.approx(FIELD_HA, abs=0.05)


@pytest.mark.parametrize("crs", ["EPSG:32613", "EPSG:26913", "EPSG:3857", "EPSG:3347", "EPSG:2957", "EPSG:4269"])
def test_the_same_field_is_read_from_every_coordinate_system(tmp_path: Path, crs: str) -> None:
    boundary = read_boundary(write(tmp_path / "field.gpkg", [in_crs(crs)], crs=crs))
    assert boundary.area_ha == pytest.approx(FIELD_HA, abs=0.05)
    assert boundary.crs == crs


def test_feet_are_read_as_feet(tmp_path: Path) -> None:
    shape = in_crs("EPSG:2265")  # North Dakota north, US survey... international feet; far outside its zone, still exact in the large
    boundary = read_boundary(write(tmp_path / "feet.gpkg", [shape], crs="EPSG:2265"))
    assert boundary.area_ha == pytest.approx(FIELD_HA, abs=0.05)


def test_a_web_map_says_how_wrong_its_own_area_is(tmp_path: Path) -> None:
    boundary = read_boundary(write(tmp_path / "web.gpkg", [in_crs("EPSG:3857")], crs="EPSG:3857"))
    (note,) = boundary.repairs
    drawn = FIELD_HA / math.cos(math.radians(50.4)) ** 2
    assert f"would give {drawn:.0f}" in note.replace(f"{drawn:.2f}", f"{drawn:.0f}") or "would give 116" in note
    assert "on the ground it is 47.4" in note


def test_nad27_is_read_with_a_warning_and_never_in_silence(tmp_path: Path) -> None:
    boundary = read_boundary(write(tmp_path / "old.gpkg", [in_crs("EPSG:26713")], crs="EPSG:26713"))
    assert boundary.area_ha == pytest.approx(FIELD_HA, abs=0.05)
    (note,) = boundary.repairs
    assert "NAD27" in note
    assert "Compare a corner" in note


def test_a_missing_coordinate_system_is_asked_for(tmp_path: Path) -> None:
    path = write(tmp_path / "bare.shp", [shapely.Polygon(FIELD)], crs=None)
    with pytest.raises(CrsError, match=r"bare\.shp.*these look like degrees.*crs=\"EPSG:4326\""):
        read_boundary(path)
    boundary = read_boundary(path, crs="EPSG:4326")
    assert boundary.area_ha == pytest.approx(FIELD_HA, abs=0.05)
    assert "EPSG:4326 was used, as you said" in boundary.repairs[0]


def test_metres_without_a_coordinate_system_are_asked_for_as_a_utm_zone(tmp_path: Path) -> None:
    path = write(tmp_path / "bare.shp", [in_crs("EPSG:32613")], crs=None)
    with pytest.raises(CrsError, match=r"look like metres of a UTM zone.*EPSG:32613"):
        read_boundary(path)
    assert read_boundary(path, crs="EPSG:32613").area_ha == pytest.approx(FIELD_HA, abs=0.05)


def test_local_metres_are_taken_only_when_said(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.shp", [shapely.box(0, 0, 800, 800)], crs=None)
    with pytest.raises(CrsError, match=r"local units.*crs=\"local\""):
        read_boundary(path)
    boundary = read_boundary(path, crs="local")
    assert boundary.area_ha == pytest.approx(64)
    assert "no place on earth" in boundary.repairs[0]
    with pytest.raises(GeometryError, match="no place on earth"):
        boundary_geojson(boundary)


def test_metres_called_degrees_are_refused(tmp_path: Path) -> None:
    path = write(tmp_path / "wrong.shp", [in_crs("EPSG:32613")], crs="EPSG:4326")
    with pytest.raises(CrsError, match="counts in degrees, but x runs from"):
        read_boundary(path)


def test_geojson_in_metres_is_refused_by_rfc_7946_until_the_system_is_given(tmp_path: Path) -> None:
    path = geojson(tmp_path / "utm.geojson", polygon([list(p) for p in shapely.get_coordinates(in_crs("EPSG:32613"))]))
    with pytest.raises(CrsError, match="RFC 7946"):
        read_boundary(path)
    assert read_boundary(path, crs="EPSG:32613").area_ha == pytest.approx(FIELD_HA, abs=0.05)


def test_latitude_first_is_recognised(tmp_path: Path) -> None:
    path = geojson(tmp_path / "swapped.geojson", polygon([[y, x] for x, y in FIELD]))
    with pytest.raises(CrsError, match="latitude first"):
        read_boundary(path)


def test_an_old_crs_member_is_followed_and_said(tmp_path: Path) -> None:
    ring = [list(p) for p in shapely.get_coordinates(in_crs("EPSG:32613"))]
    member = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32613"}}
    boundary = read_boundary(geojson(tmp_path / "old.geojson", polygon(ring), crs=member))
    assert boundary.area_ha == pytest.approx(FIELD_HA, abs=0.05)
    assert any("RFC 7946 no longer allows" in note for note in boundary.repairs)


def test_a_crs_that_means_nothing_is_refused(tmp_path: Path) -> None:
    path = geojson(tmp_path / "north.geojson", polygon(FIELD))
    with pytest.raises(CrsError, match="names no coordinate system"):
        read_boundary(path, crs="the usual one")
    with pytest.raises(CrsError, match="neither degrees nor a map projection"):
        read_boundary(path, crs="EPSG:4978")


def test_several_areas_are_listed_and_picked_by_name_number_or_attribute(tmp_path: Path) -> None:
    path = geojson(
        tmp_path / "farm.geojson",
        polygon(FIELD, name="North", owner="Ann"),
        polygon(moved(FIELD, 0.02), name="South", owner="Bob"),
        polygon(moved(FIELD, 0.04), name="7", owner="Bob"),
    )
    with pytest.raises(GeometryError, match=r"there are 3 areas: 1: North \(47\.\d+ ha\); 2: South .*field="):
        read_boundary(path)
    assert read_boundary(path, field="South").name == "South"
    assert read_boundary(path, field="south").name == "South"
    assert read_boundary(path, field=2).name == "South"
    assert read_boundary(path, field="2").name == "South"
    assert read_boundary(path, field="ann").name == "North"
    assert read_boundary(path, field="7").name == "7"
    with pytest.raises(GeometryError, match="2 areas match 'Bob'"):
        read_boundary(path, field="Bob")
    for absent in ("West", 0, 4):
        with pytest.raises(GeometryError, match="no area matches"):
            read_boundary(path, field=absent)


def test_a_whole_farm_is_read_at_once_with_unique_keys(tmp_path: Path) -> None:
    path = geojson(tmp_path / "farm.geojson", *(polygon(moved(FIELD, 0.02 * k), name="Quarter") for k in range(3)))
    farm = read_areas(path)
    assert [b.key for b in farm] == ["quarter", "quarter-2", "quarter-3"]
    assert [a.number for a in list_areas(path)] == [1, 2, 3]
    assert len(read_areas(path, fields=[1, 3])) == 2


def test_all_unfit_areas_of_a_farm_are_named_at_once(tmp_path: Path) -> None:
    speck = [[0, 0], [1e-4, 0], [1e-4, 1e-4], [0, 1e-4], [0, 0]]
    country = [[5, 45], [9, 45], [9, 49], [5, 49], [5, 45]]
    path = geojson(tmp_path / "farm.geojson", polygon(FIELD, name="good"), polygon(speck, name="speck"), polygon(country, name="country"))
    with pytest.raises(GeometryError) as caught:
        read_areas(path)
    text = str(caught.value)
    assert len(caught.value.faults) == 2
    assert "speck: " in text
    assert "too small" in text
    assert "country: " in text
    assert "fields=" in text
    assert [b.name for b in read_areas(path, fields=["good"])] == ["good"]
    assert [bool(a.fault) for a in list_areas(path)] == [False, True, True]


def test_lines_and_points_are_no_area(tmp_path: Path) -> None:
    path = geojson(tmp_path / "track.geojson", feature("LineString", FIELD), feature("Point", FIELD[0]), feature("Point", FIELD[1]))
    with pytest.raises(GeometryError, match=r"there is no area in this layer \(1 line, 2 points\)"):
        read_boundary(path)


def test_lines_beside_an_area_are_left_out_and_counted(tmp_path: Path) -> None:
    path = geojson(
        tmp_path / "mixed.geojson", polygon(FIELD), feature("LineString", FIELD), {"type": "Feature", "properties": {}, "geometry": None}
    )
    boundary = read_boundary(path)
    assert any("1 of 3 rows have no geometry" in note for note in boundary.repairs)
    assert any("1 lines or points are no areas" in note for note in boundary.repairs)


def test_several_layers_are_listed_and_picked(tmp_path: Path) -> None:
    path = write(tmp_path / "farm.gpkg", [shapely.Polygon(FIELD)], layer="fields")
    write(path, [shapely.Point(FIELD[0])], layer="gates")
    with pytest.raises(FileError, match=r"there are 2 layers: fields \(Polygon\); gates \(Point\)\. Name one with layer="):
        read_boundary(path)
    assert read_boundary(path, layer="fields").area_ha == pytest.approx(FIELD_HA, abs=0.05)
    assert vector.layer_names(path) == ("fields", "gates")
    with pytest.raises(GeometryError, match="no area in this layer"):
        read_boundary(path, layer="gates")
    with pytest.raises(FileError, match=r"no layer 'roads' \(layers: fields"):
        read_boundary(path, layer="roads")


def test_a_self_crossing_outline_is_mended_and_said(tmp_path: Path) -> None:
    tie = [FIELD[0], FIELD[2], FIELD[1], FIELD[3], FIELD[0]]
    boundary = read_boundary(geojson(tmp_path / "tie.geojson", polygon(tie, name="Tie")))
    assert boundary.area_ha == pytest.approx(FIELD_HA / 2, abs=0.05)
    assert any("mended (self-intersection)" in note for note in boundary.repairs)


def test_holes_and_parts_are_kept(tmp_path: Path) -> None:
    hole = [[-104.601, 50.399], [-104.599, 50.399], [-104.599, 50.401], [-104.601, 50.401], [-104.601, 50.399]]
    shape = feature("MultiPolygon", [[FIELD, hole], [moved(FIELD, 0.02)]], name="Two with a slough")
    boundary = read_boundary(geojson(tmp_path / "parts.geojson", shape))
    assert [len(p.holes) for p in boundary.polygons] == [1, 0]
    assert boundary.area_ha == pytest.approx(2 * FIELD_HA - 3.163, abs=0.06)


def test_an_unclosed_ring_is_closed(tmp_path: Path) -> None:
    assert read_boundary(geojson(tmp_path / "open.geojson", polygon(FIELD[:-1]))).area_ha == pytest.approx(FIELD_HA, abs=0.05)


def test_heights_are_dropped_and_said(tmp_path: Path) -> None:
    boundary = read_boundary(geojson(tmp_path / "high.geojson", polygon([[x, y, 577.0] for x, y in FIELD])))
    assert "The outline carries heights; they were dropped." in boundary.repairs


def test_an_outline_of_two_hundred_thousand_corners_is_read(tmp_path: Path) -> None:
    angle = np.linspace(0, 2 * np.pi, 200_001)
    ring = np.column_stack([-104.6 + 0.005 * np.cos(angle), 50.4 + 0.003 * np.sin(angle)])
    boundary = read_boundary(write(tmp_path / "fine.gpkg", [shapely.Polygon(ring)]))
    assert boundary.area_ha == pytest.approx(math.pi / 4 * FIELD_HA, rel=0.002)
    assert len(boundary.polygons[0].outside) == 200_001


@pytest.mark.parametrize("content", [b"", b"  \n", b"\x00" * 400])
def test_an_empty_file_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "field.geojson"
    path.write_bytes(content)
    with pytest.raises(FileError, match=r"field\.geojson: the file is empty"):
        read_boundary(path)


def test_a_cut_off_geojson_is_refused_with_its_line(tmp_path: Path) -> None:
    path = geojson(tmp_path / "field.geojson", polygon(FIELD))
    path.write_text(json.dumps(json.loads(path.read_text()), indent=1)[:200])
    with pytest.raises(FileError, match=r"field\.geojson, line \d+, column \d+: the text stops being JSON"):
        read_boundary(path)


def test_a_cut_off_shapefile_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path / "field.shp", [shapely.Polygon(FIELD)])
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(FileError, match=r"field\.shp: the file is cut off"):
        read_boundary(path)


def test_a_cut_off_geopackage_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path / "field.gpkg", [shapely.Polygon(FIELD)])
    path.write_bytes(path.read_bytes()[:9000])
    with pytest.raises(FileError, match=r"field\.gpkg"):
        read_boundary(path)


def test_missing_and_mistaken_parts_of_a_shapefile_are_named(tmp_path: Path) -> None:
    path = write(tmp_path / "field.shp", [shapely.Polygon(FIELD)])
    with pytest.raises(FileError, match=r"side file of a Shapefile.*Give field\.shp"):
        read_boundary(path.with_suffix(".dbf"))
    path.with_suffix(".shx").unlink()
    with pytest.raises(FileError, match=r"field\.shx is missing"):
        read_boundary(path)


@pytest.mark.parametrize(
    ("name", "head", "what"),
    [
        ("field.geojson", b"SQLite format 3\x00" + b"x" * 90, "ends in .geojson but it is a GeoPackage"),
        ("field.shp", b"PK\x03\x04" + b"x" * 90, "ends in .shp but it is a zip archive"),
        ("field.shp", b"name,x,y\n1,2,3\n", "no Shapefile"),
        ("field.gpkg", b"\x89PNG\r\n" + b"x" * 90, "a PNG picture"),
        ("field.json", b'{"name": "not a map"}', "no 'type'"),
        ("field.json", b"[1, 2, 3]", "no 'type'"),
        ("field.geojson", b'{"type": "Polygon", "coordinates": [[[NaN, 1]]]}', "NaN is no number"),
        ("field.geojson", b"\xff\xfe\x00\x01garbage", "no GeoJSON|stops being JSON"),
        ("field.geojson", b"[" * 100_000, "nested without end|stops being JSON"),
        ("field.xyz", b"just some words", "cannot be read as a vector file"),
        ("field.vrt", b"<OGRVRTDataSource><OGRVRTLayer/></OGRVRTDataSource>", "points to other files"),
        ("field.geojson", b"\n <OGRWFSDataSource><URL>http://localhost/</URL></OGRWFSDataSource>", "points to other files or to a server"),
    ],
)
def test_mislabelled_and_hostile_files_are_refused(tmp_path: Path, name: str, head: bytes, what: str) -> None:
    path = tmp_path / name
    path.write_bytes(head)
    with pytest.raises(FileError, match=what) as caught:
        read_boundary(path)
    assert caught.value.exit_code == 2
    assert all(fault.where for fault in caught.value.faults)


@pytest.mark.parametrize("name", ["http://localhost/a.geojson", "/vsicurl/http://localhost/a.shp", "/vsizip/a.zip/b.shp", "nothing.shp"])
def test_only_files_on_this_machine_are_opened(name: str) -> None:
    with pytest.raises(FileError, match="no such file"):
        read_boundary(name)


def test_a_name_with_a_zero_byte_is_refused() -> None:
    with pytest.raises(FileError, match="zero byte"):
        read_boundary("a\x00.geojson")


def test_a_zipped_shapefile_is_read_from_a_folder_inside(tmp_path: Path) -> None:
    write(tmp_path / "field.shp", [shapely.Polygon(FIELD)], names=["North"])
    with zipfile.ZipFile(tmp_path / "export.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        for part in tmp_path.glob("field.*"):
            packed.write(part, f"some folder/{part.name}")
    boundary = read_boundary(tmp_path / "export.zip")
    assert boundary.name == "North"
    assert boundary.area_ha == pytest.approx(FIELD_HA, abs=0.05)


def test_a_zip_of_two_shapefiles_lists_both(tmp_path: Path) -> None:
    for name in ("east", "west"):
        write(tmp_path / f"{name}.shp", [shapely.Polygon(FIELD)])
    with zipfile.ZipFile(tmp_path / "export.zip", "w") as packed:
        for part in [*tmp_path.glob("east.*"), *tmp_path.glob("west.*")]:
            packed.write(part, part.name)
    with pytest.raises(FileError, match=r"2 layers: east \(Polygon\); west \(Polygon\)"):
        read_boundary(tmp_path / "export.zip")
    assert read_boundary(tmp_path / "export.zip", layer="west").area_ha == pytest.approx(FIELD_HA, abs=0.05)


@pytest.mark.parametrize("name", ["../outside.geojson", "/etc/outside.geojson", "C:\\outside.geojson", "a/../../outside.geojson"])
def test_a_zip_that_leads_out_of_its_folder_is_refused(tmp_path: Path, name: str) -> None:
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as packed:
        packed.writestr(name, "{}")
    with pytest.raises(FileError, match="leads out"):
        read_boundary(tmp_path / "bad.zip")
    assert not (tmp_path / "outside.geojson").exists()
    assert not (tmp_path.parent / "outside.geojson").exists()


def test_a_zip_that_unpacks_to_too_much_is_refused_by_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(archives, "MOST_BYTES", 1_000_000)
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("field.geojson", b" " * 5_000_000)
    with pytest.raises(FileError, match=r"unpacks to 5 MB \(at most 1 MB\)"):
        read_boundary(tmp_path / "bomb.zip")


def test_a_zip_that_lies_about_its_size_is_refused_while_unpacking(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(archives, "MOST_BYTES", 1_000_000)
    path = tmp_path / "liar.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("field.geojson", b" " * 5_000_000)
    data = path.read_bytes()
    path.write_bytes(data.replace(struct.pack("<L", 5_000_000), struct.pack("<L", 1000)))
    with pytest.raises(FileError, match=r"unpacks to|damaged"):
        read_boundary(path)


def test_a_zip_with_too_many_files_or_links_or_nothing_is_refused(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "many.zip", "w") as packed:
        for k in range(1001):
            packed.writestr(f"{k}.txt", "x")
    with pytest.raises(FileError, match="1001 files in the archive"):
        read_boundary(tmp_path / "many.zip")
    link = zipfile.ZipInfo("field.geojson")
    link.external_attr = 0o120777 << 16
    with zipfile.ZipFile(tmp_path / "link.zip", "w") as packed:
        packed.writestr(link, "/etc/passwd")
    with pytest.raises(FileError, match="link to another file"):
        read_boundary(tmp_path / "link.zip")
    with zipfile.ZipFile(tmp_path / "words.zip", "w") as packed:
        packed.writestr("readme.txt", "x")
    with pytest.raises(FileError, match="no vector file inside"):
        read_boundary(tmp_path / "words.zip")


def test_a_damaged_zip_is_refused(tmp_path: Path) -> None:
    write(tmp_path / "field.gpkg", [shapely.Polygon(FIELD)])
    with zipfile.ZipFile(tmp_path / "cut.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.write(tmp_path / "field.gpkg", "field.gpkg")
    data = (tmp_path / "cut.zip").read_bytes()
    (tmp_path / "cut.zip").write_bytes(data[: len(data) // 2])
    with pytest.raises(FileError, match="damaged or cut off"):
        read_boundary(tmp_path / "cut.zip")


def test_a_hostile_file_inside_a_zip_is_refused_too(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "sly.zip", "w") as packed:
        packed.writestr("field.geojson", "<OGRVRTDataSource><SrcDataSource>/etc/passwd</SrcDataSource></OGRVRTDataSource>")
    with pytest.raises(FileError, match="points to other files"):
        read_boundary(tmp_path / "sly.zip")


def test_a_file_that_is_too_large_is_refused_before_it_is_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(vector, "MOST_BYTES", 100)
    with pytest.raises(FileError, match="at most 0 MB"):
        read_boundary(geojson(tmp_path / "large.geojson", polygon(FIELD)))


def test_too_many_rows_or_corners_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = geojson(tmp_path / "farm.geojson", polygon(FIELD), polygon(moved(FIELD, 0.02)))
    monkeypatch.setattr(vector, "MOST_VERTICES", 9)
    with pytest.raises(FileError, match="10 corners"):
        read_boundary(path)
    monkeypatch.setattr(vector, "MOST_FEATURES", 1)
    with pytest.raises(FileError, match="2 rows"):
        read_boundary(path)


def test_names_with_spaces_and_other_letters_are_read(tmp_path: Path) -> None:
    folder = tmp_path / "my farm, Łąka"
    folder.mkdir()
    boundary = read_boundary(geojson(folder / "north quarter.geojson", polygon(FIELD, name="Łąka północna")))
    assert boundary.name == "Łąka północna"
    shutil.copy(folder / "north quarter.geojson", folder / "odd!name.geojson")
    with pytest.raises(FileError, match="exclamation mark"):
        read_boundary(folder / "odd!name.geojson")


def test_the_hash_of_a_shapefile_covers_its_side_files(tmp_path: Path) -> None:
    path = write(tmp_path / "field.shp", [in_crs("EPSG:32613")], crs="EPSG:32613")
    before = vector.file_hash(path)
    path.with_suffix(".prj").write_text("changed")
    assert vector.file_hash(path) != before


def demo() -> Boundary:
    frame = Frame(lon_deg=-104.6, lat_deg=50.4)
    return boundary_from_rings(
        [(-400, -400), (400, -400), (400, 400), (-400, 400)],
        holes=[[(-100, -100), (0, -100), (0, 0), (-100, 0)]],
        obstacles=[[(200, 200), (220, 200), (220, 220), (200, 220)]],
        frame=frame,
        name="Home quarter",
        entries=[(-400, 0)],
        fill_points=[(-390, 10)],
        hazards=[Hazard(kind="line", note="low at the gate", x_m=-395, y_m=5)],
    )


def test_a_field_is_written_and_read_back_to_a_millimetre(tmp_path: Path) -> None:
    field = demo()
    path = tmp_path / "out.geojson"
    text = write_boundary(path, field)
    assert path.read_text(encoding="utf-8") == text
    back = read_boundary(path)
    assert back.name == field.name
    assert back.key == field.key
    assert back.area_m2 == pytest.approx(field.area_m2, abs=0.5)
    assert len(back.obstacles) == 1
    assert (back.hazards[0].kind, back.hazards[0].note) == ("line", "low at the gate")

    def places(boundary: Boundary) -> np.ndarray:  # the frame's middle moves by millimetres: compare on the ground
        xy = [*boundary.polygons[0].outside, *boundary.polygons[0].holes[0], *boundary.entries, *boundary.fill_points]
        return np.column_stack(from_frame(boundary.frame, np.array(xy)))

    assert places(back) == pytest.approx(places(field), abs=1e-8)  # a millimetre


def test_written_geojson_keeps_to_rfc_7946() -> None:
    data = json.loads(boundary_geojson(demo()))
    assert "crs" not in data
    outside, hole = data["features"][0]["geometry"]["coordinates"]
    assert shapely.LinearRing(outside).is_ccw
    assert not shapely.LinearRing(hole).is_ccw
    assert outside[0] == outside[-1]
    assert all(-180 <= x <= 180 and -90 <= y <= 90 for x, y in outside)


def test_two_fields_of_one_file_keep_their_own_obstacles(tmp_path: Path) -> None:
    one = demo()
    frame = Frame(lon_deg=-104.5, lat_deg=50.4)
    two = boundary_from_rings([(0, 0), (300, 0), (300, 300), (0, 300)], frame=frame, name="Other")
    write_boundary(tmp_path / "farm.geojson", [one, two])
    first, second = read_areas(tmp_path / "farm.geojson")
    assert len(first.obstacles) == 1
    assert second.obstacles == ()
    assert second.entries == ()


def test_a_file_that_points_to_a_server_makes_no_request(tmp_path: Path) -> None:
    import threading
    from http.server import BaseHTTPRequestHandler, HTTPServer

    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *_: object) -> None:
            """Keep quiet."""

    server = HTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        link = {"type": "link", "properties": {"href": f"http://127.0.0.1:{server.server_port}/crs", "type": "proj4"}}
        for name in ("field.geojson", "field.txt"):
            with pytest.raises(FileError, match="a link to somewhere else"):
                read_boundary(geojson(tmp_path / name, polygon(FIELD), crs=link))
        lines = tmp_path / "field.geojsonl"
        lines.write_text("\n".join(json.dumps({**polygon(FIELD), "crs": link}) for _ in range(2)))
        with pytest.raises(FileError, match="a link to somewhere else"):
            read_boundary(lines)
    finally:
        server.shutdown()
        server.server_close()
    assert asked == []


def test_geojson_by_lines_is_read(tmp_path: Path) -> None:
    path = tmp_path / "farm.geojsonl"
    path.write_text("\n".join(json.dumps(polygon(moved(FIELD, 0.02 * k), name=f"q{k}")) for k in range(3)))
    assert [b.name for b in read_areas(path)] == ["q0", "q1", "q2"]
    path.write_text(path.read_text()[:-30])
    with pytest.raises(FileError, match="stops being JSON"):
        read_areas(path)


@pytest.mark.parametrize("suffix", [".shp", ".gpkg", ".geojson", ".fgb", ".zip"])
def test_files_damaged_at_random_are_read_or_refused_never_a_crash(tmp_path: Path, suffix: str) -> None:
    whole = tmp_path / "whole"
    whole.mkdir()
    source = write(whole / "field.shp", [shapely.Polygon(FIELD)])
    if suffix == ".zip":
        source = whole / "field.zip"
        with zipfile.ZipFile(source, "w", zipfile.ZIP_DEFLATED) as packed:
            for part in whole.glob("field.*"):
                if part != source:
                    packed.write(part, part.name)
    elif suffix != ".shp":
        source = write(whole / f"field{suffix}", [shapely.Polygon(FIELD)])
    rng = np.random.default_rng(17)
    refused = 0
    for k in range(40):
        folder = tmp_path / f"try{k}"
        shutil.copytree(whole, folder)
        data = bytearray(source.read_bytes())
        for _ in range(int(rng.integers(1, 20))):
            data[int(rng.integers(len(data)))] = int(rng.integers(256))
        if rng.random() < 0.3:
            data = data[: int(rng.integers(1, len(data)))]
        (folder / source.name).write_bytes(data)
        try:
            boundary = read_boundary(folder / source.name)
        except (FileError, GeometryError):
            refused += 1
            continue
        assert boundary.area_m2 > 0
    assert refused > 0
