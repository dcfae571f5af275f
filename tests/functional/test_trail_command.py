"""`evenstand trail`: read, report and export without a book."""

from __future__ import annotations

import json
import subprocess
import sys

import jsonschema
import polars as pl
import pytest
from click.testing import CliRunner

from evenstand.formats.delimited import write_trail_csv
from made_trails import log_lines, passes_trail, write_log


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "evenstand", "trail", *words], capture_output=True, text=True, check=False)


def invoke(*words: str) -> tuple[int, str]:
    from evenstand.cli.trail import command

    result = CliRunner().invoke(command, list(words), standalone_mode=False)
    if result.exception:
        raise result.exception
    return result.return_value, result.output


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "day.csv"
    write_trail_csv(passes_trail(), path)
    return path


def schema(root, name: str) -> dict:
    return json.loads((root / "docs" / "schemas" / f"trail-{name}.json").read_text())


def test_read_says_what_the_columns_are_and_that_the_rows_add_up(tmp_path):
    lines = log_lines()
    lines[7] = lines[7].replace(",7.2,", ",-1,")
    code, text = invoke("read", str(write_log(tmp_path / "a.csv", lines)))
    assert code == 0
    assert "reported" in text or "rate the display reports" in text
    assert "60 rows read = 59 kept + 0 repaired + 1 set aside." in text
    assert "line 8" in text


def test_read_as_json_holds_to_its_schema(root, log, tmp_path):
    for words in ((), ("--save-recipe", str(tmp_path / "r.toml")), ("--recipe", str(tmp_path / "r.toml"))):
        code, text = invoke("read", str(log), "--json", *words)
        assert code == 0
        data = json.loads(text)
        jsonschema.validate(data, schema(root, "read"))
        assert data["rows"] == data["kept"] + len(data["repaired"]) + len(data["set_aside"])


def test_report_as_json_holds_to_its_schema_and_to_the_ground(root, log):
    code, text = invoke("report", str(log), "--outfit-width", "10.5 m", "--json")
    data = json.loads(text)
    jsonschema.validate(data, schema(root, "report"))
    assert code == 0
    assert data["coverage"]["covered_m2"] == pytest.approx(10_050, abs=0.5)
    assert data["coverage"]["twice_m2"] == pytest.approx(450, abs=0.5)
    assert data["distance"]["gnss_m"]["value"] == pytest.approx(1000, abs=0.1)
    assert data["row_to_row"]["distance_m"]["value"] == pytest.approx(10.0, abs=0.01)
    assert len(data["passes"]) == 10


def test_report_speaks_the_profiles_units(log):
    _, metric = invoke("report", str(log), "--outfit-width", "10.5 m")
    _, prairie = invoke("report", str(log), "--outfit-width", "34.45 ft", "--units", "prairie")
    assert "1.01 ha" in metric
    assert "2.5 ac" in prairie
    assert "10 passes" in metric


def test_report_with_a_boundary_gives_skipped_ground(log, tmp_path):
    outline = {
        "type": "Feature", "properties": {"name": "Square"},
        "geometry": {"type": "Polygon", "coordinates": [[[-105.0, 51.0], [-104.9985748, 51.0], [-104.9985748, 51.000899], [-105.0, 51.000899], [-105.0, 51.0]]]},
    }  # fmt: skip
    path = tmp_path / "field.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [outline]}))
    _, text = invoke("report", str(log), "--outfit-width", "9 m", "--boundary", str(path), "--json")
    data = json.loads(text)["coverage"]
    assert data["skipped_m2"] == pytest.approx(1000, abs=60)
    assert set(data["bounds_m2"]) == {"covered", "twice", "repeat", "skipped"}


@pytest.mark.parametrize("suffix", ["parquet", "csv", "gpkg"])
def test_export_writes_what_can_be_read_again(log, tmp_path, suffix):
    out = tmp_path / f"out.{suffix}"
    assert invoke("export", str(log), str(out))[0] == 0
    if suffix == "gpkg":
        import pyogrio

        assert [row[0] for row in pyogrio.list_layers(out)] == ["rows", "passes"]
        assert pyogrio.read_info(out, layer="passes")["features"] == 10
    else:
        _, text = invoke("read", str(out), "--json")
        assert json.loads(text)["rows"] == pl.read_csv(log).height


def test_export_to_an_unknown_form_or_folder_is_refused(log, tmp_path):
    assert run("export", str(log), str(tmp_path / "a.xlsx")).returncode == 2
    assert run("export", str(log), str(tmp_path / "none" / "a.csv")).returncode == 2


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda lines: [line.rsplit(",", 2)[0].replace("lat", "height") for line in lines], "is recognised"),
        (lambda lines: [lines[0].replace("km/h", "mph"), *lines[1:]], "mph"),
        (lambda lines: [lines[0].replace("lon,lat", "easting,northing"), *lines[1:]], "coordinate system"),
        (lambda lines: [], "empty"),
    ],
)
def test_a_faulty_file_ends_with_code_two_and_its_faults(tmp_path, change, says):
    lines = change(log_lines())
    path = tmp_path / "bad.csv"
    path.write_text("\n".join(lines) + "\n" if lines else "")
    result = run("read", str(path))
    assert result.returncode == 2
    assert says in result.stderr
    assert "Traceback" not in result.stderr
    as_json = run("read", str(path), "--json")
    assert as_json.returncode == 2
    assert json.loads(as_json.stdout)["faults"]


def test_a_truncated_file_is_refused_unless_allowed(tmp_path):
    path = tmp_path / "cut.csv"
    path.write_text("\n".join(log_lines())[:-25])
    assert run("read", str(path)).returncode == 2
    assert run("read", str(path), "--truncated-ok").returncode == 0


def test_strict_refuses_a_row_below_zero(tmp_path):
    lines = log_lines()
    lines[7] = lines[7].replace(",120.0", ",-4")
    path = str(write_log(tmp_path / "a.csv", lines))
    assert run("read", path).returncode == 0
    strict = run("read", path, "--strict")
    assert strict.returncode == 2
    assert "line 8" in strict.stderr
    assert "below 0" in strict.stderr


@pytest.mark.parametrize("width", ["900 m", "wide", "-3 m", "0.1 m"])
def test_a_width_that_is_none_is_refused(log, width):
    result = run("report", str(log), "--outfit-width", width)
    assert result.returncode == 2
    assert "Traceback" not in result.stderr


def test_a_folder_of_task_data_is_kept_in_a_book_as_one_file(tmp_path):
    from evenstand.desk.demo import build_book
    from evenstand.trail import read_trail
    from unit.test_task_data import write_set

    build_book(tmp_path / "book")
    folder = tmp_path / "TASKDATA"
    folder.mkdir()
    write_set(folder)
    said = ["read", str(folder), "--book", str(tmp_path / "book"), "--job", "home-wheat", "--json"]
    first, second = run(*said), run(*said)
    assert first.returncode == second.returncode == 0, first.stderr
    key = json.loads(first.stdout)["record"]
    assert json.loads(second.stdout)["record"] == key, "the same folder twice changes nothing"
    originals = list((tmp_path / "book").rglob("*.zip"))
    assert len(originals) <= 1
    assert read_trail(folder).rows == 2
