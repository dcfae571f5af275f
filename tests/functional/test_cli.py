"""The command line as a person uses it: text, JSON by its schema, exit codes, designed errors, a quick start."""

from __future__ import annotations

import json
import subprocess
import sys

import jsonschema
import pytest
from click.testing import CliRunner

from evenstand.cli import COMMANDS, cli

ASKED = "62 ha, wheat, 120 kg/ha, 16.3 m, 7.5 km/h"


def run(*args: str):
    """A command through the same door as the terminal, designed errors included."""
    from evenstand.base.errors import EvenstandError

    result = CliRunner().invoke(cli, list(args), standalone_mode=False)
    if result.exception is not None and not isinstance(result.exception, EvenstandError | SystemExit):
        import click

        if not isinstance(result.exception, click.ClickException):
            raise result.exception
    return result


def shell(*args: str, **more):
    return subprocess.run([sys.executable, "-m", "evenstand", *args], capture_output=True, text=True, timeout=120, **more)


def schema(root, name):
    return json.loads((root / "docs" / "schemas" / f"{name}.json").read_text())


def test_help_lists_every_command_and_imports_nothing_heavy():
    code = (
        "import sys\nfrom evenstand.cli import cli\n"
        "try: cli(['--help'], standalone_mode=True)\nexcept SystemExit: pass\n"
        "heavy = {'numpy', 'numba', 'polars', 'fastapi', 'sqlalchemy', 'scipy', 'shapely'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    for name in COMMANDS:
        assert f"  {name} " in done.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(name):
    result = CliRunner().invoke(cli, [name, "--help"])
    assert result.exit_code == 0, result.output
    assert "Usage:" in result.output


@pytest.mark.parametrize(
    ("value", "low", "high"),
    [
        # 7.5 km/h x 16.3 m / 10 = 12.225 ha/h (definition); 62 ha x 120 kg/ha = 7.44 t
        ("in_work_ha_h", 12.2249, 12.2251),
        ("area_ha", 62, 62),
        ("hours_in_work", 62 / 12.225 - 1e-9, 62 / 12.225 + 1e-9),
    ],
)
def test_one_sentence_gives_capacity_hours_and_mass(value, low, high):
    plan = json.loads(run("plan", ASKED, "--json").output)
    assert low <= plan[value] <= high
    assert plan["total_kg"] == {"wheat seed": 7440.0}


def test_every_other_line_says_what_it_needs_and_how_to_get_it(root):
    plan = json.loads(run("plan", ASKED, "--json").output)
    jsonschema.validate(plan, schema(root, "plan"))
    missing = [c for c in plan["card"] if c["state"] == "needs"]
    assert len(missing) >= 8
    assert all(c["needs"] and c["how"] and c["value"] is None for c in missing)
    needs = {n for c in missing for n in c["needs"]}
    assert {"product per turn of the meter", "the bin's size", "the kernel weight", "a proven fan speed"} <= needs


def test_with_what_is_at_hand_meter_speed_window_catch_and_fill_appear(root):
    args = (
        "--factor",
        "1.25",
        "--bins",
        "6.6",
        "--density",
        "0.78 kg/L",
        "--tkw",
        "38",
        "--survival",
        "85%",
        "--meter-range",
        "4-60 rpm",
        "--turns",
        "4",
    )
    plan = json.loads(run("plan", ASKED, *args, "--json").output)
    jsonschema.validate(plan, schema(root, "plan"))
    (b,) = plan["bins"]
    assert b["shaft_turns_s"] * 60 == pytest.approx(120 * 7.5 / 3.6 * 16.3 / 1e4 / 1.25 * 60)  # definition
    assert (b["catch_turns"], b["catch_kg"]) == (4, pytest.approx(5.0))
    assert b["catch_low_kg"] < 5.0 < b["catch_high_kg"]
    assert b["full_kg"]["value"] == pytest.approx(6.6 * 780 * 0.95)
    assert b["ha_per_fill"]["value"] == pytest.approx(6.6 * 780 * 0.95 / 120)
    assert b["speed_low_m_s"] == pytest.approx(4 / 60 * 1.25 / (120 * 16.3 / 1e4))


@pytest.mark.parametrize("profile", ["si", "prairie", "us"])
def test_the_same_values_in_other_units_are_the_same_plan(profile):
    si = json.loads(run("plan", ASKED, "--json").output)
    typed = "153.205 ac, wheat, 107.0615 lb/ac, 53.478 ft, 4.66028 mph"
    other = json.loads(run("plan", typed, "--json", "--units", profile).output)
    for name in ("area_ha", "in_work_ha_h", "width_m", "speed_m_s"):
        assert other[name] == pytest.approx(si[name], rel=1e-4)
    text = run("plan", ASKED, "--units", profile).output
    assert ("153.2 ac" in text) == (profile != "si")


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("plan", "62 ha, wheat, -5 kg/ha"), "0 < rate"),
        (("plan", "62 ha", "wheat", "120 kg/ha", "0 m"), "0 < width"),
        (("plan", "wheat 5 furlongs"), "5 furlongs"),
        (("plan", "--rate", "1,200"), "two ways"),
        (("plan", "--rate", "abc"), "no number"),
        (("plan", "--area", "62 km/h"), "no unit of area"),
        (("plan", "--boundary", "nowhere.geojson"), "nowhere.geojson"),
        (("plan", "--job", "x"), "go together"),
        (("catch", "0.1", "--turns", "4", "--tare", "0.2"), "above the bag"),
        (("catch", "5", "--turns", "0"), "turns"),
        (("next",), "book"),
        (("check",), "--job"),
        (("next", "--book", "nowhere"), "nowhere"),
    ],
)
def test_wrong_input_is_told_with_its_place_and_ends_with_two(args, says):
    done = shell(*args)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_an_error_asked_for_as_json_is_json():
    done = shell("plan", "62 ha, wheat, -5 kg/ha", "--json")
    assert done.returncode == 2
    error = json.loads(done.stdout)
    assert error["error"] == "RangeError"
    assert set(error["faults"][0]) == {"where", "what", "limit", "cure"}


def test_all_wrong_numbers_are_told_at_once():
    done = shell("plan", "--rate", "abc", "--width", "12 kg", "--speed", "1,500")
    assert len(done.stderr.strip().splitlines()) == 3


def test_a_catch_says_good_longer_or_find_out_why():
    assert "Longer" in run("catch", "5.21", "--turns", "4", "--tare", "0.18").output
    assert run("catch", "5.00", "5.01", "4.99", "5.02", "5.00", "4.98", "--turns", "4").output.splitlines()[1].startswith("Good.")
    done = shell("catch", "5.30", "5.31", "5.29", "--turns", "4", "--expected", "1.25")
    assert done.returncode == 1
    assert "Find out why. +6.0%" in done.stdout


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """The demo farm as a book."""
    from evenstand.desk.demo import build_book

    folder = tmp_path_factory.mktemp("farm with a space") / "book"
    build_book(folder)
    return folder


def test_the_plan_of_every_demo_job_is_valid_and_has_passes_and_fills(root, farm):
    from evenstand.book import Book
    from evenstand.model import Job

    with Book.open(farm) as book:
        jobs = [j.key for j in book.all(Job)]
    assert len(jobs) >= 4
    for key in jobs:
        plan = json.loads(run("plan", "--book", str(farm), "--job", key, "--json").output)
        jsonschema.validate(plan, schema(root, "plan"))
        assert plan["drive"]["passes"] > 5
        for stop in plan["stops"]:
            assert stop["after_pass"] <= stop["latest_pass"]
            assert min(stop["left_kg"].values()) >= 0


def test_next_check_and_tally_of_the_demo_farm(root, farm):
    steps = json.loads(run("next", "--book", str(farm), "--json").output)
    jsonschema.validate(steps, schema(root, "next"))
    assert steps["steps"]
    found = json.loads(run("check", "--book", str(farm), "--job", "eighty-wheat", "--json").output)
    jsonschema.validate(found, schema(root, "check"))
    assert found["findings"]
    tally = json.loads(run("tally", "--book", str(farm), "--json").output)
    assert any(p["delivered_kg"] for p in tally["products"])


def test_an_unknown_job_lists_the_jobs_there_are(farm):
    done = shell("plan", "--book", str(farm), "--job", "none")
    assert done.returncode == 2
    assert "home-wheat" in done.stderr


def test_an_error_speaks_the_units_that_were_asked_for(capsys, monkeypatch):
    import sys

    from evenstand.cli import main

    monkeypatch.setattr(sys, "argv", ["evenstand", "plan", "--rate", "heavy", "--units", "prairie"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    told = capsys.readouterr().err
    assert "107 lb/ac" in told
    assert "kg/ha" not in told
