"""The file of a book is a GeoPackage: after OGC 12-128r18, GeoPackage Encoding Standard, version 1.4."""

from __future__ import annotations

import dataclasses
import shutil
import sqlite3
import struct
import subprocess
from contextlib import closing
from pathlib import Path

import pytest

from book_samples import put_all
from book_things import BOUNDARY, FRAME, JOB, put_field_work, square
from book_things import clock as sample_clock
from evenstand.book import Book
from evenstand.book.columns import ALLOWED
from evenstand.book.geopackage import bounds_of, geometry_blob, register_functions, wkb_of
from evenstand.book.tables import SYSTEM_TABLES, metadata
from evenstand.model import Boundary, Hazard, Outfit, Polygon

SYSTEM_PYTHON = "/usr/bin/python3"
VALIDATOR = [SYSTEM_PYTHON, "-m", "osgeo_utils.samples.validate_gpkg"]


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    """A closed book with one of everything."""
    folder = tmp_path_factory.mktemp("full") / "book"
    with Book.create(folder, farm="Willow Bend", clock=sample_clock()) as book:
        put_all(book)
    return folder


def validated(path: Path) -> str:
    """What GDAL's validator says; "" is nothing wrong."""
    if not Path(SYSTEM_PYTHON).exists() or subprocess.run([SYSTEM_PYTHON, "-c", "import osgeo_utils"], capture_output=True).returncode:
        pytest.skip("NOT RUN HERE: GDAL's GeoPackage validator (Debian package python3-gdal) is not installed")
    ran = subprocess.run([*VALIDATOR, str(path)], capture_output=True, text=True, timeout=60)
    return "" if ran.returncode == 0 else ran.stdout + ran.stderr


def test_gdal_validator_accepts_an_empty_book(tmp_path):
    Book.create(tmp_path / "b", farm="F", clock=sample_clock()).close()
    assert validated(tmp_path / "b" / "book.gpkg") == ""


def test_gdal_validator_accepts_a_full_book(full):
    assert validated(full / "book.gpkg") == ""


def test_gdal_validator_refuses_a_book_whose_geometry_is_declared_as_blob(full, tmp_path):
    """Shows that the validator can fail: a geometry column declared BLOB breaks requirement 25."""
    shutil.copy(full / "book.gpkg", tmp_path / "x.gpkg")
    with closing(sqlite3.connect(tmp_path / "x.gpkg")) as raw:
        raw.execute("PRAGMA writable_schema = ON")
        raw.execute("UPDATE sqlite_master SET sql = replace(sql, 'MULTIPOLYGON', 'BLOB') WHERE name = 'fields'")
        raw.commit()
    assert validated(tmp_path / "x.gpkg") != ""


def test_header_numbers_and_journal_are_those_of_a_closed_geopackage(full):
    head = (full / "book.gpkg").read_bytes()[:100]
    assert struct.unpack_from(">I", head, 68) == (1196444487,)
    assert struct.unpack_from(">I", head, 60) == (10400,)
    assert (head[18], head[19]) == (1, 1)  # rollback journal, not write-ahead log
    assert not (full / "book.gpkg-journal").exists()
    assert not (full / "book.gpkg-wal").exists()


def test_every_column_has_a_type_that_gis_programs_keep(full):
    with closing(sqlite3.connect(full / "book.gpkg")) as raw:
        for table in metadata.tables:
            for _, name, declared, *_ in raw.execute(f'PRAGMA table_info("{table}")'):
                assert declared in ALLOWED, f"{table}.{name} is {declared}"


def test_no_column_is_a_varchar_or_a_single_precision_float():
    from sqlalchemy import Float, String

    for table in metadata.tables.values():
        for column in table.c:
            assert type(column.type) not in {String, Float}, f"{table.name}.{column.name}"


def test_every_table_is_listed_in_the_contents_and_nothing_else_is(full):
    with closing(sqlite3.connect(full / "book.gpkg")) as raw:
        listed = dict(raw.execute("SELECT table_name, data_type FROM gpkg_contents"))
        there = {r[0] for r in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")}
        geometry = {r[0] for r in raw.execute("SELECT table_name FROM gpkg_geometry_columns")}
    assert set(listed) == there - set(SYSTEM_TABLES) == set(metadata.tables)
    assert {name for name, kind in listed.items() if kind == "features"} == geometry
    assert geometry == {"fields", "field_obstacles", "field_hazards", "field_entries", "field_fill_points"}


EXPECTED_DTYPES = {
    "TEXT": {"object"},
    "DOUBLE": {"float64"},
    "INTEGER": {"int64", "float64"},
    "BOOLEAN": {"bool", "float64"},
    "BLOB": {"object"},
}


def test_pyogrio_reads_every_layer_with_the_types_that_were_declared(full):
    import pyogrio

    layers = {name for name, _ in pyogrio.list_layers(full / "book.gpkg")}
    assert layers == set(metadata.tables)
    for table in metadata.tables.values():
        meta, _, geometry, columns = pyogrio.raw.read(full / "book.gpkg", layer=table.name)
        wanted = [c.name for c in table.c if c.name not in {"fid", "geom"}]
        assert list(meta["fields"]) == wanted, f"{table.name}: a column was dropped"
        for name, dtype, values in zip(meta["fields"], meta["dtypes"], columns, strict=True):
            declared = table.c[name].type.compile()
            if declared == "DATETIME":
                assert str(dtype).startswith("datetime64"), f"{table.name}.{name} is {dtype}"
            else:
                assert str(dtype) in EXPECTED_DTYPES[declared], f"{table.name}.{name} {declared} is {dtype}"
            assert "float32" not in str(values.dtype)
        if "geom" in table.c:
            assert meta["geometry_type"].upper().replace(" ", "") == table.c.geom.type.kind
            assert meta["crs"] == "EPSG:4326"
            assert len(geometry) == len(columns[0]) > 0


def test_gis_programs_read_the_field_where_it_lies(full):
    import pyogrio
    import shapely
    from pyproj import Geod

    _, _, geometry, columns = pyogrio.raw.read(full / "book.gpkg", layer="fields", columns=["key"])
    field = shapely.from_wkb(geometry[0])
    assert list(columns[0]) == ["north"]
    area, _ = Geod(ellps="WGS84").geometry_area_perimeter(shapely.geometry.polygon.orient(field.geoms[1]))
    scale = (1 + FRAME.height_m / 6_371_000) ** 2  # the frame lies at ground height, the geodesic area on the ellipsoid
    assert abs(area) * scale == pytest.approx(200.0**2, rel=1e-5)
    assert field.contains(shapely.Point(FRAME.lon_deg + 0.001, FRAME.lat_deg + 0.002))


def test_the_contents_know_the_extent_and_the_last_change(full):
    with closing(sqlite3.connect(full / "book.gpkg")) as raw:
        row = raw.execute(
            "SELECT min_x, min_y, max_x, max_y, last_change, srs_id FROM gpkg_contents WHERE table_name = 'fields'"
        ).fetchone()
    assert row[0] < FRAME.lon_deg < row[2]
    assert row[1] < FRAME.lat_deg < row[3]
    assert row[4:] == ("2027-05-04T12:00:00.000Z", 4326)


def test_a_geometry_blob_is_header_envelope_and_wkb():
    blob = geometry_blob(b"\x01wkb", (1.0, 2.0, 3.0, 4.0))
    assert blob[:4] == b"GP\x00\x03"
    assert struct.unpack_from("<i4d", blob, 4) == (4326, 1.0, 3.0, 2.0, 4.0)  # min x, max x, min y, max y
    assert wkb_of(blob) == b"\x01wkb"
    assert bounds_of(blob) == (1.0, 2.0, 3.0, 4.0)


def test_an_empty_geometry_says_so_and_has_no_bounds():
    blob = geometry_blob(b"", None)
    assert blob[3] & 0b10000
    assert bounds_of(blob) is None


def test_a_geometry_without_envelope_is_scanned():
    import shapely

    point = b"GP\x00\x01" + struct.pack("<i", 4326) + shapely.to_wkb(shapely.Point(5, 6))
    line = b"GP\x00\x01" + struct.pack("<i", 4326) + shapely.to_wkb(shapely.LineString([(1, 9), (3, 2)]))
    assert bounds_of(point) == (5, 6, 5, 6)
    assert bounds_of(line) == (1, 2, 3, 9)
    with pytest.raises(ValueError, match="no GeoPackage geometry"):
        wkb_of(b"not one")


def test_a_field_without_outline_has_no_geometry(tmp_path):
    with Book.create(tmp_path / "b", farm="F", clock=sample_clock()) as book:
        bare = dataclasses.replace(BOUNDARY, polygons=(), obstacles=(), entries=(), fill_points=(), hazards=())
        book.put(bare)
        assert book.get(Boundary, "north") == bare
        assert book.check().ok
    assert validated(tmp_path / "b" / "book.gpkg") == ""


# a spatial index that GDAL has added ---------------------------------------------------------------------------------
def gdal_adds_index(folder: Path) -> None:
    """Let GDAL add an R-tree to two layers of a book, as a GIS does on request."""
    if shutil.which("ogrinfo") is None:
        pytest.skip("NOT RUN HERE: ogrinfo (Debian package gdal-bin) is not installed")
    for layer in ("fields", "field_hazards"):
        ran = subprocess.run(
            ["ogrinfo", str(folder / "book.gpkg"), "-sql", f"SELECT CreateSpatialIndex('{layer}', 'geom')"], capture_output=True, text=True
        )
        assert ran.returncode == 0, ran.stderr


def triggers(folder: Path) -> set[str]:
    with closing(sqlite3.connect(folder / "book.gpkg")) as raw:
        return {r[0] for r in raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")}


@pytest.fixture
def indexed(full, tmp_path):
    """A copy of the full book with the index of GDAL on it."""
    folder = tmp_path / "indexed"
    shutil.copytree(full, folder)
    gdal_adds_index(folder)
    assert any(name.startswith("rtree_fields_geom") for name in triggers(folder))
    return folder


def test_a_plain_connection_cannot_write_a_layer_that_gdal_has_indexed(indexed):
    """The trap itself: the triggers call functions that plain SQLite does not have."""
    with closing(sqlite3.connect(indexed / "book.gpkg")) as raw, pytest.raises(sqlite3.OperationalError, match="no such function: ST_"):
        raw.execute("UPDATE fields SET geom = geom")


def test_a_book_writes_a_layer_that_gdal_has_indexed_and_the_index_follows(indexed):
    moved = dataclasses.replace(
        BOUNDARY,
        frame=dataclasses.replace(FRAME, lon_deg=-110.0),
        polygons=(Polygon(outside=square(0.0, 0.0, 500.0)),),
        hazards=(Hazard(kind="pole", note="", x_m=5.0, y_m=5.0), *BOUNDARY.hazards),
    )
    with Book.open(indexed, write=True, clock=sample_clock()) as book:
        change = book.put(moved)
        book.put(dataclasses.replace(moved, key="second"))
        assert book.check().ok
        book.remove(Boundary, "second")
        index = book._raw.execute("SELECT minx, maxx FROM rtree_fields_geom").fetchall()
        assert len(index) == 1
        assert index[0][0] == pytest.approx(-110.0, abs=0.01)
        assert book._raw.execute("SELECT count(*) FROM rtree_field_hazards_geom").fetchone() == (2,)
        book.undo(change)
        assert book.get(Boundary, "north") == BOUNDARY
        assert book._raw.execute("SELECT minx FROM rtree_fields_geom").fetchone()[0] == pytest.approx(FRAME.lon_deg, abs=0.01)
        assert book._raw.execute("SELECT rtreecheck('rtree_fields_geom')").fetchone() == ("ok",)
    assert validated(indexed / "book.gpkg") == ""


def test_gis_programs_find_what_the_book_wrote_by_their_own_index(indexed):
    import pyogrio

    with Book.open(indexed, write=True, clock=sample_clock()) as book:
        book.put(dataclasses.replace(BOUNDARY, frame=dataclasses.replace(FRAME, lon_deg=-110.0)))
    found = pyogrio.raw.read(indexed / "book.gpkg", layer="fields", bbox=(-110.1, 50, -109.9, 51))[2]
    gone = pyogrio.raw.read(indexed / "book.gpkg", layer="fields", bbox=(-104.7, 50, -104.5, 51))[2]
    assert (len(found), len(gone)) == (1, 0)


def test_a_layer_that_gdal_has_written_into_a_book_does_no_harm(full, tmp_path):
    import numpy as np
    import pyogrio
    import shapely

    folder = tmp_path / "visited"
    shutil.copytree(full, folder)
    pyogrio.raw.write(
        folder / "book.gpkg", geometry=np.array([shapely.to_wkb(shapely.Point(1, 2))]), field_data=[np.array(["x"], dtype=object)],
        fields=["note"], layer="visitor", geometry_type="Point", crs="EPSG:4326", driver="GPKG", append=False,
    )  # fmt: skip
    with Book.open(folder, write=True, clock=sample_clock()) as book:
        book.put(dataclasses.replace(JOB, notes="after the visit"))
        assert book.check().ok
        assert "visitor" in book.dump()


# copy-table changes -----------------------------------------------------------------------------------------------
def test_a_copy_table_change_keeps_the_geometry_column(full, tmp_path):
    """Without its types known to SQLAlchemy's reflection, such a change turns the geometry column into NUMERIC."""
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext
    from sqlalchemy import Column, Text

    from evenstand.book.making import engine_on

    shutil.copy(full / "book.gpkg", tmp_path / "x.gpkg")
    with closing(sqlite3.connect(tmp_path / "x.gpkg", isolation_level=None, check_same_thread=False)) as raw:
        register_functions(raw)
        before = {row[1]: row[2] for row in raw.execute("PRAGMA table_info(fields)")}
        engine = engine_on(raw, write=True)
        with engine.begin() as connection:
            operations = Operations(MigrationContext.configure(connection))
            with operations.batch_alter_table("fields", recreate="always") as batch:
                batch.add_column(Column("owner", Text))
        engine.dispose()
    with closing(sqlite3.connect(tmp_path / "x.gpkg")) as raw:
        after = {row[1]: row[2] for row in raw.execute("PRAGMA table_info(fields)")}
    assert after == {**before, "owner": "TEXT"}
    assert after["geom"] == "MULTIPOLYGON"
    assert validated(tmp_path / "x.gpkg") == ""


# the published copy -------------------------------------------------------------------------------------------------
def test_the_published_copy_has_layers_and_leaves_history_at_home(tmp_path):
    import pyogrio
    import shapely

    from book_things import trail

    with Book.create(tmp_path / "b", farm="F", who="Sasha", clock=sample_clock()) as book:
        put_all(book)
        book.put_trail(trail(), key="t-9", job=JOB.key, outfit="big-drill", name="day.csv")
        before = book.dump()
        copy = book.publish(tmp_path / "fields.gpkg")
        assert book.dump() == before
    assert copy.layers["job_areas"] == 1
    assert copy.layers["trail_paths"] == 2
    assert "history" not in copy.tables
    assert "call_notes" not in copy.tables
    assert b"Sasha" not in (tmp_path / "fields.gpkg").read_bytes()
    assert validated(tmp_path / "fields.gpkg") == ""
    meta, _, geometry, columns = pyogrio.raw.read(tmp_path / "fields.gpkg", layer="job_areas")
    row = dict(zip(meta["fields"], (c[0] for c in columns), strict=True))
    assert (row["job"], row["field_name"], row["season"], row["area_ha"]) == (JOB.key, "North quarter", 2027, 62.0)
    assert row["rates"] == "Wheat 120 kg/ha; Urea 46-0-0 150 kg/ha"
    assert shapely.from_wkb(geometry[0]).geom_type == "MultiPolygon"
    _, _, lines, _ = pyogrio.raw.read(tmp_path / "fields.gpkg", layer="trail_paths")
    assert shapely.from_wkb(lines[0]).geom_type == "LineString"
    assert list(tmp_path.glob(".part*")) == []


def test_a_published_copy_replaces_the_older_one_and_is_no_book(tmp_path):
    from evenstand.base.errors import BookError

    with Book.create(tmp_path / "b", farm="F", clock=sample_clock()) as book:
        book.publish(tmp_path / "f.gpkg")
        put_field_work(book)
        assert book.publish(tmp_path / "f.gpkg").layers["fields"] == 1
        with pytest.raises(BookError, match=r"cannot be written"):
            book.publish(tmp_path / "no such folder" / "f.gpkg")
        with pytest.raises(BookError, match="is a folder"):
            book.publish(tmp_path)
    (tmp_path / "copy").mkdir()
    shutil.copy(tmp_path / "f.gpkg", tmp_path / "copy" / "book.gpkg")
    with pytest.raises(BookError, match="is a GeoPackage, but no book"):
        Book.open(tmp_path / "copy")


def test_a_reader_publishes_while_somebody_writes(tmp_path):
    with Book.create(tmp_path / "b", farm="F", clock=sample_clock()) as book:
        put_field_work(book)
        with Book.open(tmp_path / "b") as reader:
            assert reader.publish(tmp_path / "f.gpkg").layers["fields"] == 1
        assert book.get(Outfit, "big-drill") is not None
