"""Mutated files: every reader answers with a trail or with one of our errors, and soon; nothing else ever comes out.

`EVENSTAND_FUZZ` sets how many mutations a reader gets (400 by default; `make stress` runs 20,000).
"""

from __future__ import annotations

import os
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from tests.made_tasks import tasks_made
from tests.made_trails import log_lines, passes_trail
from tests.unit.test_nmea import moments
from tests.unit.test_task_data import HEADER, write_set

from evenstand.base.errors import EvenstandError
from evenstand.model import Trail
from evenstand.trail import read_trail

ROUNDS = int(os.environ.get("EVENSTAND_FUZZ", "400"))
pytestmark = pytest.mark.timeout(300 + ROUNDS // 5)
WORDS = (b"", b"\0", b"\xff\xfe", b"-1", b"1e309", b"nan", b"65535", b"99999999999999999999", b"<!DOCTYPE a>", b"&a;", b'"', b"'", b",,,,", b"\r", b"\n",
         b"=1+1", b"../../x", b"4294967295", b"\xc3", b"0" * 400, b"*00", b"$")  # fmt: skip


def mutated(data: bytes, rng: random.Random) -> bytes:
    """A file with one to four changes: bytes flipped, pieces cut, doubled, moved, or replaced by hostile words."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        a = rng.randrange(len(out) + 1)
        b = min(len(out), a + rng.choice((1, 1, 2, 4, 8, 40, 400)))
        kind = rng.randrange(6)
        if kind == 0 and a < len(out):
            out[a] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del out[a:b]
        elif kind == 2:
            out[a:a] = out[a:b]
        elif kind == 3:
            out[a:b] = rng.choice(WORDS)
        elif kind == 4:
            del out[a:]
        else:
            c = rng.randrange(len(out) + 1)
            out[c:c] = out[a:b]
    return bytes(out)


def hold(path: Path, **options: object) -> bool:
    """Read, and say whether a trail came out; any error but ours fails the test."""
    try:
        trail = read_trail(path, **options)  # type: ignore[arg-type]
    except EvenstandError:
        return False
    assert isinstance(trail, Trail)
    assert trail.kept + trail.repaired_rows + trail.set_aside_rows == trail.rows
    assert np.isfinite(trail.xy_m).all()
    return True


def driven(n: int) -> bytes:
    """A time log of a machine that moves north, its rate changing now and then."""
    from evenstand.formats.iso11783.markup import parse
    from evenstand.formats.iso11783.timelog import LogRecords, encode, read_header

    header = read_header(parse(HEADER, "h"), "h")
    row = np.arange(0, n, 3)
    position = {"A": 50.0 + np.arange(n) * 2e-5, "B": np.full(n, -105.0), "D": np.full(n, 4.0)}
    time = 1_747_731_600_000 + np.arange(n, dtype=np.int64) * 1000
    log = LogRecords(header=header, time_ms=time, position=position, value_row=row, value_index=row * 0, value=6700 + row, left_over=0)
    return encode(header, log)


def run(data: bytes, place: Callable[[bytes], Path], seed: int, *, least: int = 1, share: int = 1, **options: object) -> None:
    """Read mutations of a file; share: by how many files of one reader the mutations are shared."""
    rng = random.Random(seed)
    rounds = -(-ROUNDS // share)
    read = sum(hold(place(mutated(data, rng)), **options) for _ in range(rounds))
    assert hold(place(data), **options)
    assert least <= read < rounds


def test_delimited_text(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    run("\n".join(log_lines(40)).encode() + b"\n", lambda data: (path.write_bytes(data), path)[1], 1)


def test_nmea_sentences(tmp_path: Path) -> None:
    path = tmp_path / "log.nmea"
    run("\r\n".join(moments(20)).encode() + b"\r\n", lambda data: (path.write_bytes(data), path)[1], 2)


@pytest.mark.parametrize("name", ["TaskData.xml", "tlg00001.XML", "TLG00001.bin"])
def test_task_data(tmp_path: Path, name: str) -> None:
    write_set(tmp_path, header=HEADER, records=driven(14))
    run((tmp_path / name).read_bytes(), lambda data: ((tmp_path / name).write_bytes(data), tmp_path)[1], 3, truncated_ok=True)


def test_zipped_task_data(tmp_path: Path) -> None:
    folder = tmp_path / "set"
    folder.mkdir()
    write_set(folder)
    archive = tmp_path / "set.zip"
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as out:
        for p in sorted(folder.iterdir()):
            out.write(p, f"TASKDATA/{p.name}")
    run(archive.read_bytes(), lambda data: (archive.write_bytes(data), archive)[1], 4, least=0)  # a checksum guards every member


def rows_layer(path: Path, driver: str, rows: int = 30) -> bytes:
    """The rows of a straight log as points with times, speeds and rates."""
    from pyogrio import raw
    from shapely import points, to_wkb

    north = 51 + np.arange(rows) * 2.0 / 111_259.0
    times = [f"2027-05-04T14:{i // 60:02d}:{i % 60:02d}Z" for i in range(rows)]
    columns = [np.array(times, dtype=object), np.full(rows, 7.2), np.full(rows, 120.0)]
    names = ["time", "speed_kmh", "appl_kgha"] if driver == "ESRI Shapefile" else ["time", "speed (km/h)", "rate applied A (kg/ha)"]
    wkb = to_wkb(points(np.full(rows, -105.0), north))
    raw.write(path, wkb, columns, names, geometry_type="Point", crs="EPSG:4326", driver=driver, layer="rows")
    return path.read_bytes()


def hold_outline(path: Path) -> bool:
    """Read an outline, and say whether one came out; any error but ours fails the test."""
    from evenstand.field import read_boundary

    try:
        boundary = read_boundary(path, field=1)
    except EvenstandError:
        return False
    assert boundary.area_m2 > 0
    return True


def run_outlines(data: bytes, place: Callable[[bytes], Path], seed: int) -> None:
    rng = random.Random(seed)
    rounds = -(-ROUNDS // 3)
    read = sum(hold_outline(place(mutated(data, rng))) for _ in range(rounds))
    assert hold_outline(place(data))
    assert 0 < read < rounds


@pytest.mark.parametrize("part", [".shp", ".shx", ".dbf", ".prj"])
def test_shapefiles(tmp_path: Path, part: str) -> None:
    path = tmp_path / "rows.shp"
    rows_layer(path, "ESRI Shapefile")
    target = path.with_suffix(part)
    run(target.read_bytes(), lambda mutant: (target.write_bytes(mutant), path)[1], 10, share=4, zone="UTC")


@pytest.mark.parametrize(("name", "driver"), [("field.geojson", "GeoJSON"), ("field.gpkg", "GPKG"), ("field.shp", "ESRI Shapefile")])
def test_outlines_of_fields(tmp_path: Path, name: str, driver: str) -> None:
    """The reader of boundaries: two areas, one with a hole, one in two parts."""
    from pyogrio import raw
    from shapely import MultiPolygon, Polygon, box, to_wkb

    field = Polygon(
        [(-105, 51), (-104.99, 51), (-104.991, 51.008), (-105, 51.007)], [[(-104.998, 51.002), (-104.997, 51.002), (-104.997, 51.003)]]
    )
    parts = MultiPolygon([box(-104.98, 51, -104.975, 51.004), box(-104.974, 51, -104.97, 51.004)])
    path = tmp_path / name
    names = [np.array(["north", "south"], dtype=object)]
    shapes = to_wkb(np.array([MultiPolygon([field]), parts]))
    raw.write(path, shapes, names, ["name"], geometry_type="MultiPolygon", crs="EPSG:4326", driver=driver, layer="fields")
    run_outlines(path.read_bytes(), lambda mutant: (path.write_bytes(mutant), path)[1], 11)


@pytest.mark.parametrize("name", ["TASKDATA.XML", "GRD00001.BIN"])
def test_outlines_lines_and_maps_of_task_data(tmp_path: Path, name: str) -> None:
    from evenstand.formats.iso11783.layers import task_layer, task_layer_names

    made = tasks_made(tmp_path / "set")
    target = next(p for p in made.iterdir() if p.name.upper() == name)
    whole = target.read_bytes()

    def look(data: bytes) -> int:
        target.write_bytes(data)
        try:
            return sum(len(task_layer(made, layer).geometries) > 0 for layer in task_layer_names(made))
        except EvenstandError:
            return 0

    rng = random.Random(12)
    rounds = -(-ROUNDS // 2)
    read = sum(look(mutated(whole, rng)) > 0 for _ in range(rounds))
    assert look(whole) == 3
    assert 0 < read <= rounds  # any byte of a map is some rate


@pytest.mark.parametrize(("name", "driver"), [("rows.geojson", "GeoJSON"), ("rows.gpkg", "GPKG"), ("rows.fgb", "FlatGeobuf")])
def test_vector_layers(tmp_path: Path, name: str, driver: str) -> None:
    path = tmp_path / name
    data = rows_layer(path, driver)
    run(data, lambda mutant: (path.write_bytes(mutant), path)[1], 5)


def test_geoparquet(tmp_path: Path) -> None:
    import json

    import polars as pl
    from shapely import points, to_wkb

    rows = 30
    times = [f"2027-05-04T14:{i // 60:02d}:{i % 60:02d}Z" for i in range(rows)]
    wkb = list(to_wkb(points(np.full(rows, -105.0), 51 + np.arange(rows) * 2.0 / 111_259.0)))
    geo = {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": {"encoding": "WKB", "geometry_types": ["Point"]}}}
    path = tmp_path / "rows.parquet"
    frame = pl.DataFrame({"time": times, "speed (km/h)": [7.2] * rows, "geometry": wkb})
    frame.write_parquet(path, metadata={"geo": json.dumps(geo)}, compression="uncompressed")
    run(path.read_bytes(), lambda mutant: (path.write_bytes(mutant), path)[1], 6)


@pytest.mark.parametrize("compression", ["zstd", "uncompressed"])
def test_our_parquet(tmp_path: Path, compression: str) -> None:
    import json

    from evenstand.formats.parquet import SCHEMA, frame_of, head_of

    trail = passes_trail(passes=3)
    path = tmp_path / "trail.parquet"
    frame_of(trail).write_parquet(path, compression=compression, metadata={SCHEMA: json.dumps(head_of(trail))})
    run(path.read_bytes(), lambda mutant: (path.write_bytes(mutant), path)[1], 7)


def test_our_parquet_with_other_words_in_its_metadata(tmp_path: Path) -> None:
    """The metadata is text that anybody can write: every part of it missing, of another kind, or absurd."""
    import copy
    import json

    from evenstand.formats.parquet import SCHEMA, frame_of, head_of

    trail = passes_trail(passes=3)
    rng = random.Random(8)
    path = tmp_path / "trail.parquet"
    whole = json.loads(json.dumps(head_of(trail)))
    odd = (None, -1, 1e300, "x", [], {}, [[]], [None], True, [["a", 1, 2]], {"lon_deg": "x"}, 10**30)
    read = 0
    for _ in range(min(ROUNDS, 3000)):
        head = copy.deepcopy(whole)
        for _ in range(rng.randint(1, 3)):
            part = head["frame"] if rng.random() < 0.3 and isinstance(head.get("frame"), dict) else head
            key = rng.choice(sorted(whole["frame"] if part is not head else whole))
            if rng.random() < 0.3:
                part.pop(key, None)
            else:
                part[key] = rng.choice(odd)
        frame_of(trail).write_parquet(path, metadata={SCHEMA: json.dumps(head)})
        read += hold(path)
    assert 0 < read < ROUNDS


def test_our_parquet_with_other_columns(tmp_path: Path) -> None:
    """Columns missing, of another type, or with nulls where there can be none."""
    import json

    import polars as pl

    from evenstand.formats.parquet import SCHEMA, frame_of, head_of

    trail = passes_trail(passes=2)
    path = tmp_path / "trail.parquet"
    whole = frame_of(trail)
    types = (pl.String, pl.Float32, pl.Boolean, pl.Int8, pl.List(pl.Float64))
    rng = random.Random(9)
    read = 0
    for _ in range(min(ROUNDS, 1000)):
        frame = whole
        name = rng.choice(whole.columns)
        kind = rng.randrange(4)
        if kind == 0:
            frame = frame.drop(name)
        elif kind == 1:
            frame = frame.with_columns(pl.lit(None).alias(name))
        elif kind == 2:
            frame = frame.with_columns(pl.when(pl.int_range(pl.len()) == 7).then(None).otherwise(pl.col(name)).alias(name))
        else:
            frame = frame.with_columns(pl.lit(None, dtype=rng.choice(types)).alias(name))
        frame = (
            frame.rename({whole.columns[-1]: rng.choice(("section_x", "section_1", "extra:", "turns_"))})
            if rng.random() < 0.2 and whole.columns[-1] in frame.columns
            else frame
        )
        frame.write_parquet(path, metadata={SCHEMA: json.dumps(head_of(trail))})
        read += hold(path)
    assert 0 < read < ROUNDS
