"""A person who has just installed it: the commands of the README word for word, half the numbers known, the fields a farm really has."""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

EVENSTAND = [sys.executable, "-m", "evenstand"]
LOG = "time,longitude,latitude,speed_kmh,rate_kg_ha\n" + "".join(
    f"2027-05-09T12:00:{s:02d}Z,{-103.5 + s * 3e-5:.6f},52.5,7.5,121\n" for s in range(60)
)
STAYS_OPEN = {"serve"}  # tried elsewhere: it runs until it is stopped


def run(*arguments: object, cwd: Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    home = cwd / "home"
    home.mkdir(exist_ok=True)
    env = {**os.environ, "HOME": str(home)}
    return subprocess.run([*EVENSTAND, *map(str, arguments)], capture_output=True, text=True, timeout=180, cwd=cwd, env=env, input=typed)


def readme_commands(root: Path) -> list[list[str]]:
    """Every line of the README that begins with `evenstand`, without the explanation behind two or more spaces."""
    lines = re.findall(r"^evenstand (.*)$", (root / "README.md").read_text(encoding="utf-8"), flags=re.M)
    return [shlex.split(re.split(r"\s{2,}", line)[0]) for line in lines]


def test_the_commands_of_the_readme_work_one_after_the_other(root, tmp_path):
    where = tmp_path / "a folder with spaces"
    where.mkdir()
    (where / "LOG.csv").write_text(LOG)
    field = {"type": "Polygon", "coordinates": [ring(-103.5, 52.5, 0.01, 0.005)]}
    (where / "FIELD.geojson").write_text(json.dumps({"type": "Feature", "properties": {"name": "Home"}, "geometry": field}))
    commands = readme_commands(root)
    assert len(commands) >= 10
    job, outfit = "JOB", "OUTFIT"
    for command in commands:
        if command[0] in STAYS_OPEN:
            continue
        arguments = [{"JOB": job, "OUTFIT": outfit}.get(word, word) for word in command]
        typed = "our drill\n64\n10 in\n\nA 6.2 seed, B 4.6 urea\n\nwheat\n120, urea 150\n\n\n" if command[:2] == ["book", "new"] else ""
        ran = run(*arguments, cwd=where, typed=typed)
        assert ran.returncode == 0, (command, ran.stdout, ran.stderr)
        assert ran.stdout.strip(), command
        assert "Traceback" not in ran.stderr
        if command[:2] == ["book", "new"]:
            shown = json.loads(run("book", "show", "my-farm", "--json", cwd=where).stdout)["jobs"][0]
            job, outfit = shown["key"], shown["outfit"]
    assert {path.name for path in (where / "sheets").iterdir()} >= {"cab-sheet.pdf", "value-card.pdf", "pocket-page.html"}


def test_every_option_the_readme_names_exists(root):
    """The README may not promise an option that a command does not have."""
    from evenstand.cli import cli

    for command in readme_commands(root):
        part, *rest = command
        found = cli.get_command(None, part)
        if hasattr(found, "commands"):
            found = found.commands[rest[0]]
        known = {name for option in found.params for name in option.opts}
        assert {word for word in rest if word.startswith("--")} <= known, command


@pytest.mark.slow
def test_the_demo_fills_its_folder_says_where_and_replaces_only_its_own(tmp_path):
    where = tmp_path / "a folder with spaces"
    where.mkdir()
    ran = run("demo", cwd=where)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    out = where / "demo-out"
    for name in ("farm-for-gis.gpkg", "sheets-a4/cab-sheet.pdf", "sheets-letter/value-card.pdf", "pictures/plan.svg", "book/book.gpkg"):
        assert (out / name).stat().st_size > 1000
        assert name in ran.stdout or name.startswith("book")
    assert "factor:D: found" in ran.stdout
    assert "run:37: found" in ran.stdout
    assert list((where / "home").iterdir()) == []  # nothing is left in the home folder
    other = where / "mine"
    other.mkdir()
    (other / "letter.txt").write_text("dear")
    refused = run("demo", "--out", other, cwd=where)
    assert (refused.returncode, (other / "letter.txt").read_text()) == (2, "dear")


def test_a_simulated_day_writes_nothing_and_is_the_same_twice(tmp_path):
    first = run("demo", "--seed", "5", "--fault", "distance=4", "--json", cwd=tmp_path)
    again = run("demo", "--seed", "5", "--fault", "distance=4", "--json", cwd=tmp_path)
    assert (first.returncode, first.stdout) == (0, again.stdout)
    assert [p.name for p in tmp_path.iterdir()] == ["home"]
    assert list((tmp_path / "home").iterdir()) == []


# half of the numbers ------------------------------------------------------------------------------------------------
HALF = {
    "nothing": (),
    "a rate": ("--rate", "120"),
    "an area": ("--area", "62"),
    "a width and no speed": ("--width", "16.3"),
    "a factor and no rate": ("--factor", "1.25"),
    "bins and no density": ("--bins", "A=6.2,B=4.6", "--rate", "120"),
    "a density and no bins": ("--density", "780", "--rate", "120"),
    "rows and no spacing": ("--rows", "64"),
    "a spacing and no rows": ("--spacing", "254"),
    "plants wanted and no kernel weight": ("--target", "270"),
    "a crop nobody knows": ("--crop", "snørfgrass 🌱", "--rate", "120"),
    "a very long name": ("--crop", "wheat " * 400, "--rate", "120"),
    "everything small": ("--area", "0.06", "--rate", "0.5", "--width", "1", "--speed", "1"),
    "everything large": ("--area", "5000", "--rate", "900", "--width", "36", "--speed", "25"),
}


@pytest.mark.parametrize("name", HALF)
def test_whoever_knows_half_gets_a_card_that_says_what_the_rest_needs(tmp_path, name):
    for command in ("plan", "card"):
        ran = run(command, *HALF[name], "--json", cwd=tmp_path)
        assert ran.returncode == 0, ran.stderr
        lines = json.loads(ran.stdout)["card"]
        assert all(line["how"] and line["needs"] for line in lines if line["state"] == "needs")
        assert run(command, *HALF[name], cwd=tmp_path).returncode == 0


@pytest.mark.parametrize("name", ["nothing", "a crop nobody knows", "a very long name"])
def test_sheets_are_made_from_little_and_from_odd_names(tmp_path, name):
    ran = run("sheet", *HALF[name], "--out", "out", cwd=tmp_path)
    assert ran.returncode == 0, ran.stderr
    assert (tmp_path / "out" / "value-card.pdf").read_bytes().startswith(b"%PDF")


def test_a_book_of_which_nothing_is_known_answers_every_question(tmp_path):
    assert run("book", "new", "farm", "--crop", "wheat", "--no-sheets", cwd=tmp_path).returncode == 0
    for command in ("plan", "card", "check", "next", "tally"):
        ran = run(command, "--book", "farm", cwd=tmp_path)
        assert ran.returncode == 0, (command, ran.stderr)
        assert ran.stdout.strip()
    ran = run("sheet", "--book", "farm", cwd=tmp_path)
    assert ran.returncode == 0, ran.stderr


def test_an_empty_book_says_how_to_begin(tmp_path):
    assert run("book", "new", "farm", "--empty", cwd=tmp_path).returncode == 0
    assert "evenstand serve" in run("next", "--book", "farm", cwd=tmp_path).stdout
    ran = run("card", "--book", "farm", cwd=tmp_path)
    assert ran.returncode == 2
    assert "no job yet" in ran.stderr
    assert "evenstand serve" in ran.stderr


# fields as they are -------------------------------------------------------------------------------------------------
def ring(x: float, y: float, width: float, height: float) -> list[list[float]]:
    return [[x, y], [x + width, y], [x + width, y + height], [x, y + height], [x, y]]


FIELDS = {
    "two holes": ("Polygon", [ring(-103.5, 52.5, 0.01, 0.005), ring(-103.497, 52.501, 0.001, 0.001), ring(-103.494, 52.502, 0.001, 0.001)]),
    "two parts": ("MultiPolygon", [[ring(-103.5, 52.5, 0.004, 0.005)], [ring(-103.494, 52.5, 0.004, 0.005)]]),
    "a strip narrower than the tool": ("Polygon", [ring(-103.5, 52.5, 0.01, 0.0001)]),
    "a hole in nearly all of it": ("Polygon", [ring(-103.5, 52.5, 0.01, 0.005), ring(-103.4998, 52.5001, 0.0096, 0.0048)]),
    "points twice and thrice": ("Polygon", [[p for p in ring(-103.5, 52.5, 0.01, 0.005) for _ in range(3)]]),
}


@pytest.mark.parametrize("name", FIELDS)
def test_a_field_of_an_odd_shape_is_planned_or_refused_in_words(tmp_path, name):
    kind, coordinates = FIELDS[name]
    field = {"type": "Feature", "properties": {"name": "Odd ½"}, "geometry": {"type": kind, "coordinates": coordinates}}
    (tmp_path / "odd field.geojson").write_text(json.dumps(field))
    given = ("--boundary", "odd field.geojson", "--bins", "6.6", "--density", "780")
    ran = run("plan", "wheat 120 kg/ha 16.3 m 7.5 km/h", *given, "--json", cwd=tmp_path)
    assert "Traceback" not in ran.stderr
    if ran.returncode == 2:
        (fault, *_) = json.loads(ran.stdout)["faults"]
        assert fault["what"]
        assert fault["cure"]
    else:
        assert ran.returncode == 0
        plan = json.loads(ran.stdout)
        assert 0 < plan["area_ha"] < 40
        assert plan["total_kg"]["wheat seed"] == pytest.approx(120 * plan["area_ha"])


def test_a_log_of_one_place_has_no_pass_and_is_said_so(tmp_path):
    rows = "".join(f"2027-05-09T12:00:{s:02d}Z,-103.5,52.5,0,0\n" for s in range(60))
    (tmp_path / "standing.csv").write_text("time,longitude,latitude,speed_kmh,rate_kg_ha\n" + rows)
    ran = run("trail", "report", "standing.csv", "--outfit-width", "16.3 m", "--json", cwd=tmp_path)
    assert "Traceback" not in ran.stderr
    assert ran.returncode in (0, 2)
    if ran.returncode == 0:
        assert json.loads(ran.stdout)["coverage"]["covered_m2"] == 0
