"""Task data against an independent open library, the npm package isoxml: what we write it reads the same, and the reverse."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.made_trails import passes_trail

from evenstand.formats.iso11783.entities import read_task_data
from evenstand.formats.iso11783.folders import task_files
from evenstand.formats.iso11783.grids import RateGrid, RateLayer, read_grid
from evenstand.formats.iso11783.guidance import FieldInfo, GuidanceLine, fields_of
from evenstand.formats.iso11783.writing import TaskSet, log_of, write_task_data

JS = Path(__file__).resolve().parent.parent / "js"
pytestmark = pytest.mark.skipif(
    shutil.which("node") is None or not (JS / "node_modules" / "isoxml").is_dir(),
    reason="NOT RUN HERE: needs Node.js and the npm package isoxml (make test installs it where npm is)",
)


def run(*arguments: object) -> str:
    done = subprocess.run(["node", *map(str, arguments)], cwd=JS, capture_output=True, text=True, timeout=120, check=True)
    return done.stdout


@pytest.mark.parametrize("version", [3, 4])
@pytest.mark.parametrize("kind", [1, 2])
def test_the_independent_reader_finds_what_was_written(tmp_path: Path, version: int, kind: int) -> None:
    base = passes_trail(passes=3)
    rate = np.round(100 + 10 * np.sin(np.arange(base.n) / 7), 2).reshape(-1, 1)
    trail = replace(base, t_ms=base.t_ms + 1_778_571_000_000, asked_kg_ha=rate, bins=("A",))
    rates = np.array([[[112.0], [112.0], [0.0]], [[90.0], [134.5], [112.0]]])
    layers = (RateLayer(ddi=6, unit="kg/ha", product="PDT-1"),)
    grid = RateGrid(south_deg=50.0, west_deg=-105.0, cell_north_deg=1e-4, cell_east_deg=1.5e-4, rates=rates, layers=layers)
    line = GuidanceLine(name="west", kind="AB", lonlat_deg=np.array([[-105.0, 50.0], [-105.0, 50.01]]), heading_deg=0.0, width_m=16.15)
    ring = np.array([[-105.0, 50.0], [-104.99, 50.0], [-104.99, 50.01], [-105.0, 50.0]])
    field = FieldInfo(key="PFD-1", name="South", area_m2=400_000, polygons=((ring,),), lines=(line,))
    path = tmp_path / "set.zip"
    write_task_data(TaskSet(name="sow", products=("wheat",), field=field, grid=grid, grid_kind=kind, trail=trail, version=version), path)
    found: dict[str, Any] = json.loads(run("read_task_data.cjs", path))
    assert found["warnings"] == []
    assert found["version"] == version
    task = found["tasks"][0]
    assert task["logs"][0]["errors"] == []
    records = task["logs"][0]["records"]
    header, log = log_of(trail)
    assert [r["t_ms"] for r in records] == trail.t_ms.tolist()
    assert np.array([r["north"] for r in records]) == pytest.approx(log.position["A"], abs=0.51e-7)
    assert np.array([r["east"] for r in records]) == pytest.approx(log.position["B"], abs=0.51e-7)
    ours = [
        (int(row), "{:04X}_{}".format(*header.values[i]), int(v))
        for row, i, v in zip(log.value_row, log.value_index, log.value, strict=True)
    ]
    theirs = [(k, key, v) for k, r in enumerate(records) for key, v in r["values"].items()]
    assert sorted(theirs) == sorted(ours)
    assert len(ours) > 10
    cells = task["grids"][0]
    if kind == 2:
        assert bytes(cells["bytes"]).hex() == "c02b0000c02b000000000000282300008a340000c02b0000"
    else:
        zones = {z["code"]: z["values"][0][1] for z in task["zones"]}
        assert [zones[c] for c in cells["bytes"]] == [11200, 11200, 0, 9000, 13450, 11200]
    if version == 4:
        assert found["fields"][0]["lines"][0]["points"] == [[-105, 50], [-105, 50.01]]


@pytest.mark.parametrize("version", [3, 4])
def test_what_the_independent_library_writes_is_read_the_same(tmp_path: Path, version: int) -> None:
    path = tmp_path / "theirs.zip"
    run("write_task_data.cjs", version, path)
    with task_files(path) as files:
        data = read_task_data(files)
        task = data.tasks[0]
        grid = read_grid(files, task)
        field = fields_of(data, "theirs")[0]
    assert data.version == version
    assert (task.name, data.fields[task.field_key], list(data.products.values())) == ("Sow north", "North quarter", ["wheat seed"])
    assert grid is not None
    assert grid.rates[:, :, 0].tolist() == [[112.0, 112.0, 0.0], [90.0, 134.5, 112.0]]
    assert (grid.south_deg, grid.west_deg, grid.cell_north_deg, grid.cell_east_deg) == (50.5, -104.25, 0.0002, 0.0003)
    assert grid.outside == (5.0,)
    assert field.polygons[0][0].tolist() == [[-104.25, 50.5], [-104.24, 50.5], [-104.24, 50.51], [-104.25, 50.5]]
    if version == 4:
        assert [(line.name, line.kind, line.width_m) for line in field.lines] == [("west curve", "curve", 16.15)]
        assert field.lines[0].lonlat_deg.tolist() == [[-104.25, 50.5], [-104.2495, 50.505], [-104.25, 50.51]]


@pytest.mark.parametrize("kind", [1, 2])
def test_what_a_job_is_prepared_with_is_found_by_the_independent_reader(tmp_path: Path, kind: int) -> None:
    from evenstand.book import Book
    from evenstand.desk.demo import build_book
    from evenstand.desk.tasks import job_task

    build_book(tmp_path / "book")
    with Book.open(tmp_path / "book") as book:
        made = job_task(book, "home-wheat", cell_m=25.0, kind=kind).what
    path = tmp_path / "job.zip"
    write_task_data(made, path)
    found: dict[str, Any] = json.loads(run("read_task_data.cjs", path))
    assert found["warnings"] == []
    assert made.field is not None
    assert made.grid is not None
    lines = found["fields"][0]["lines"]
    assert len(lines) == len(made.field.lines) >= 3
    for theirs, ours in zip(lines, made.field.lines, strict=True):
        assert np.array(theirs["points"]) == pytest.approx(ours.lonlat_deg, abs=1e-9)
    whole = np.rint(made.grid.rates * 100).astype(np.int64)
    cells = found["tasks"][0]["grids"][0]["bytes"]
    if kind == 2:
        assert np.frombuffer(bytes(cells), dtype="<i4").tolist() == whole.ravel().tolist()
    else:
        zones = {z["code"]: [v[1] for v in z["values"]] for z in found["tasks"][0]["zones"]}
        assert [zones[c] for c in cells] == whole.reshape(-1, whole.shape[2]).tolist()


def test_what_the_independent_library_writes_is_layers_of_places(tmp_path: Path) -> None:
    from evenstand.formats.iso11783.layers import task_layer, task_layer_names

    path = tmp_path / "theirs.zip"
    run("write_task_data.cjs", 4, path)
    assert task_layer_names(path) == ("fields", "lines", "rates")
    assert task_layer(path, "lines").geometries[0].coords[:] == [(-104.25, 50.5), (-104.2495, 50.505), (-104.25, 50.51)]
    assert sorted(task_layer(path, "rates").attributes["wheat seed (kg/ha)"]) == [90.0, 112.0, 134.5]
