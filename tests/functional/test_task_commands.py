"""`evenstand trail tasks` and `prepare`, and what is told of task data: as typed in a terminal."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from tests.made_tasks import machine_log, tasks_made

from evenstand.desk.demo import build_book
from evenstand.formats.iso11783.entities import read_task_data
from evenstand.formats.iso11783.folders import task_files
from evenstand.formats.iso11783.grids import read_grid
from evenstand.formats.iso11783.guidance import fields_of

JOB = "home-wheat"


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("farm") / "book"
    build_book(folder)
    return folder


@pytest.fixture
def book(farm: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(farm, tmp_path / "book"))


def trail(*arguments: object, fails: bool = False) -> str:
    from evenstand.cli.trail import command

    ran = CliRunner().invoke(command, [str(a) for a in arguments], standalone_mode=False)
    if fails:
        assert ran.exception is not None
        return str(ran.exception)
    assert ran.exception is None, ran.exception
    return ran.output


def test_task_data_is_told_in_a_few_lines(tmp_path: Path) -> None:
    text = trail("tasks", tasks_made(tmp_path / "set", kind=1))
    assert "sow" in text
    assert "map of type 1, 2 x 3 cells: wheat 90 kg/ha to 134 kg/ha" in text
    assert "straight, by two points" in text


def test_layers_of_task_data_are_written_for_other_tools(tmp_path: Path) -> None:
    out = {n: tmp_path / f"{n}.geojson" for n in ("outlines", "lines", "rates")}
    trail("tasks", tasks_made(tmp_path / "set"), *(a for n, p in out.items() for a in (f"--{n}", p)))
    found = {n: json.loads(p.read_text())["features"] for n, p in out.items()}
    assert found["outlines"][0]["geometry"]["type"] == "Polygon"
    assert found["lines"][0]["properties"]["width_m"] == 16.15
    assert {f["properties"]["wheat (kg/ha)"] for f in found["rates"]} == {90.0, 112.0, 134.5}


@pytest.mark.parametrize(("name", "says"), [("none.zip", "no such file"), ("log.csv", "no task data")])
def test_what_is_no_task_data_is_refused(tmp_path: Path, name: str, says: str) -> None:
    (tmp_path / "log.csv").write_text("a,b\n1,2\n")
    assert says in trail("tasks", tmp_path / name, fails=True)


@pytest.mark.parametrize("version", ["3", "4"])
@pytest.mark.parametrize("kind", ["1", "2"])
def test_a_job_goes_to_the_machine_with_its_lines_and_rates_and_comes_back(book: Path, tmp_path: Path, version: str, kind: str) -> None:
    out = tmp_path / "job.zip"
    told = json.loads(trail("prepare", out, "--book", book, "--job", JOB, "--grid", kind, "--version", version, "--cell", "20 m", "--json"))
    with task_files(out) as files:
        data = read_task_data(files)
        grid, field = read_grid(files, data.tasks[0]), fields_of(data, "job")[0]
    assert grid is not None
    assert [data.products[layer.product] for layer in grid.layers] == told["products"]
    assert sorted({line.kind for line in field.lines}) == ["AB", "curve"]
    assert {line.width_m for line in field.lines} == {16.15}
    inside = grid.rates[:, :, 0] > 0
    cell_ha = 20 * 20 / 1e4
    assert inside.sum() * cell_ha == pytest.approx(field.area_m2 / 1e4, rel=0.12)  # cells that touch the edge are in
    assert np.unique(grid.rates[:, :, 0]).tolist() == [0.0, 121.0]
    trail("tasks", out)


def test_rates_of_a_map_are_laid_into_the_cells(book: Path, tmp_path: Path) -> None:
    plain = tmp_path / "plain.zip"
    trail("prepare", plain, "--book", book, "--job", JOB, "--cell", "20 m")
    areas = tmp_path / "outline.geojson"
    trail("tasks", plain, "--outlines", areas)
    ring = np.array(json.loads(areas.read_text())["features"][0]["geometry"]["coordinates"][0])
    west, middle = float(ring[:, 0].min()), float(ring[:, 0].mean())
    south, north = float(ring[:, 1].min()), float(ring[:, 1].max())
    half = [[west, south], [middle, south], [middle, north], [west, north], [west, south]]
    zones = {"type": "Feature", "properties": {"rate (lb/ac)": 100.0}, "geometry": {"type": "Polygon", "coordinates": [half]}}
    (tmp_path / "zones.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [zones]}))
    out = tmp_path / "mapped.zip"
    said = ("--rates", tmp_path / "zones.geojson", "--product", "Wheat seed", "--cell", "20 m")
    text = trail("prepare", out, "--book", book, "--job", JOB, *said)
    assert "lie in no area of zones.geojson" in " ".join(text.split())
    with task_files(out) as files:
        grid = read_grid(files, read_task_data(files).tasks[0])
    assert grid is not None
    assert np.unique(grid.rates[:, :, 0]).tolist() == pytest.approx([0.0, 112.09, 121.0], abs=0.01)
    back = tmp_path / "back.zip"  # a map of task data is a map too
    trail("prepare", back, "--book", book, "--job", JOB, "--rates", out, "--rate-column", "Wheat seed (kg/ha)", "--product", "Wheat seed",
          "--cell", "20 m")  # fmt: skip
    with task_files(back) as files:
        again = read_grid(files, read_task_data(files).tasks[0])
    assert again is not None
    assert (np.abs(again.rates - grid.rates) < 0.006).all()


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--rates", "{here}/z.geojson"], "for which product"),
        (["--rates", "{here}/z.geojson", "--product", "oats"], "no product 'oats'"),
        (["--rates", "{here}/z.geojson", "--product", "Wheat seed"], "which column is the rate"),
        (["--rates", "{here}/z.geojson", "--product", "Wheat seed", "--rate-column", "dose"], "unit of 'dose'"),
        (["--cell", "0.2 m"], "no side of a cell"),
    ],
)
def test_a_map_that_does_not_say_enough_is_asked_about(book: Path, tmp_path: Path, more: list[str], says: str) -> None:
    square = [[-106.49, 51.31], [-106.48, 51.31], [-106.48, 51.32], [-106.49, 51.31]]
    zone = {"type": "Feature", "properties": {"dose": 3.0}, "geometry": {"type": "Polygon", "coordinates": [square]}}
    (tmp_path / "z.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [zone]}))
    assert says in trail("prepare", tmp_path / "x.zip", "--book", book, "--job", JOB, *(a.format(here=tmp_path) for a in more), fails=True)


def test_parts_told_once_are_known_in_the_next_task_of_the_machine(book: Path, tmp_path: Path) -> None:
    first = machine_log(tmp_path / "first")
    trail("read", first, "--book", book, "--job", JOB, "--column", "DET-3=bin A")
    other = '<TSK A="TSK-7" B="Elsewhere" G="4"><TLG A="TLG00001" C="1"/></TSK>'
    second = machine_log(tmp_path / "second", rows=7, tasks=other)
    told = json.loads(trail("read", second, "--book", book, "--job", JOB, "--json"))
    assert told["bins"] == ["A"] or "A" in told["bins"]
    assert "B" not in told["bins"]


def test_a_recipe_has_a_name_and_forgets_when_one_log_began(tmp_path: Path) -> None:
    path, recipe = tmp_path / "log.csv", tmp_path / "yellow.toml"
    path.write_text("sec,lon,lat\n" + "".join(f"{i},-105.0,{51 + i * 2e-5:.7f}\n" for i in range(40)))
    trail("read", path, "--start", "2027-05-04T08:00:00Z", "--save-recipe", recipe, "--recipe-name", "yellow seeder")
    text = recipe.read_text()
    assert 'name = "yellow seeder"' in text
    assert "start" not in text
    assert "counted from 1970-01-01" in " ".join(trail("read", path, "--recipe", recipe).split())


def test_the_command_lists_both() -> None:
    said = trail("--help")
    assert "tasks" in said
    assert "prepare" in said
