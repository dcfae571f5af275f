"""What every command prints with --json keeps to its schema, in any units; and no schema describes a command that is not there."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys

import jsonschema
import pytest
from tests.made_tasks import machine_log, tasks_made

from evenstand.cli import COMMANDS
from evenstand.desk.demo import build_book

JOB = "home-wheat"
PLAN = "62 ha, wheat, 120 kg/ha, 16.3 m, 7.5 km/h"
CALL = ("--area-counter", "66 ha", "--boundary", "62 ha", "--rate", "120 kg/ha", "--rate-seen", "134.5 kg/ha", "--dead-runs", "17-24")
LOG = "time,longitude,latitude,speed_kmh,rate_kg_ha\n" + "".join(
    f"2027-05-09T12:00:{s:02d}Z,{-103.5 + s * 3e-5:.6f},52.5,7.5,121\n" for s in range(60)
)
WINDOW = ("--rate", "121 kg/ha", "--also", "map=75", "--speed", "7.6 km/h", "--width", "16.256 m", "--factor", "1.25 kg/turn",
          "--meter-range", "4-60 rpm")  # fmt: skip
AIR = ("--proven-height", "300 m", "--proven-temperature", "10 °C", "--height", "1000 m", "--temperature", "25 °C", "--lines", "8",
       "--bore", "64 mm", "--grain", "4 mm", "--at-lift", "3800 rpm")  # fmt: skip
FIELD = {
    "type": "Feature",
    "properties": {"name": "North"},
    "geometry": {
        "type": "Polygon",
        "coordinates": [[[-103.5, 52.5], [-103.49, 52.5], [-103.49, 52.505], [-103.5, 52.505], [-103.5, 52.5]]],
    },
}
ROW = ("--bin", "A: side-band", "--bin", "B: seed-row or side-band", "--limit", "seed-row N <= 15 kg/ha")
TWO_FILLS = ("--fill", "29 ha; 4000 kg; -", "--fill", "31 ha; 4000 kg; 450 kg")

STAND = (
    *("51", "45", "60", "48", "56", "--hoop", "56 cm", "--crop", "barley", "--days-late", "12", "--wanted", "250 plants/m²"),
    *(
        "--rate",
        "120 kg/ha",
        "--proven",
        "117 kg/ha ± 2",
        "--tkw",
        "38 g/1000 ± 0.5 g/1000",
        "--survival",
        "85 % ± 5 %",
        "--moisture",
        "dry",
    ),
    *("--depth", "31 mm; left; rank 1; track", "--depth", "40 mm; right; rank 2; between", "--depth", "30 mm; left; rank 2; between"),
    *("--depth", "41 mm; right; rank 1; track", "--depth", "32 mm; left; rank 1; between", "--depth", "39 mm; right; rank 2; track"),
    *("--shallowest", "38 mm", "--deepest", "50 mm", "--turn", "3 mm", "--row-fertilizer", "20 kg/ha", "--row-limit", "22 kg/ha"),
    *("--days-since", "20", "--days-to-emerge", "12", "--volunteers", "5 plants/m²"),
)

# schema -> arguments; {book}, {here} are filled in
CASES = {
    "plan": ["plan", PLAN],
    "plan of a job": ["plan", "--book", "{book}", "--job", JOB],
    "plan of nothing": ["plan"],
    "card": ["card", PLAN],
    "card of a job": ["card", "--book", "{book}", "--job", JOB],
    "sheet": ["sheet", PLAN, "--only", "value-card", "--out", "{here}/sheets"],
    "fill": ["fill", "--area", "29.6 ha", "--put", "4000 kg", "--left", "400 kg", "--dose", "121 kg/ha"],
    "fill of two": ["fill", "--dose", "121 kg/ha", *TWO_FILLS, "--left-how", "light"],
    "fill with a book": ["fill", "--book", "{book}", "--job", "eighty-wheat", "--bin", "C", "--area", "9 ha", "--looks", "light"],
    "fill that does not hold": [
        "fill",
        "--area",
        "20 ha",
        "--put",
        "4000 kg",
        "--left",
        "0 kg",
        "--left-how",
        "empty",
        "--dose",
        "121 kg/ha",
    ],
    "catch": ["catch", "5.21 kg", "--turns", "4", "--tare", "0.18 kg"],
    "catch of two": ["catch", "5.21 kg", "5.3 kg", "--turns", "4", "--expected", "1.25 kg/turn"],
    "catch kept": ["catch", "5.2 kg", "5.3 kg", "--turns", "4", "--book", "{book}", "--job", JOB, "--bin", "D"],
    "call": ["call", *CALL, "--put", "4000 kg", "--left", "900 kg", "--width-typed", "16.0 m", "--rows", "64", "--spacing", "254 mm"],
    "call about nothing": ["call"],
    "call kept": ["call", *CALL, "--caller", "Kim", "--keep", "{here}/kim.json", "--book", "{book}", "--job", JOB],
    "call listed": ["call", "--list", "--book", "{book}"],
    "window": ["window", "wheat", *WINDOW, "--fan", "4300 rpm", "--proven-rate", "196 kg/ha", "--proven-speed", "7.6 km/h"],
    "window in other air": ["window", "wheat", *WINDOW, "--fan", "4300 rpm", *AIR, "--puff", "2.5 s", "--fan-set", "4300 rpm"],
    "window of nothing": ["window"],
    "window of a job": ["window", "--book", "{book}", "--job", JOB, "--height", "600 m", "--temperature", "15 °C"],
    "check": ["check", "--book", "{book}", "--job", "eighty-wheat"],
    "next": ["next", "--book", "{book}"],
    "tally": ["tally", "--book", "{book}"],
    "stand": ["stand", "25", "28", "22", "26", "--row", "1 m", "--spacing", "25 cm"],
    "stand of one count": ["stand", "60", "--hoop-round", "177 cm"],
    "stand of nothing found": ["stand", "0", "0", "--hoop", "56 cm", "--crop", "canola"],
    "stand by the wheel": ["stand", "--wheel", "24 m", "--wheel", "26 m", "--spacing", "30 cm", "--crop", "wheat"],
    "stand with all": ["stand", *STAND],
    "blend": ["blend", "--need", "N=80,P2O5=30", "--product", "urea=610/t; stock 5 t", "--product", "map=820/t", "--area", "62 ha", *ROW],
    "blend that cannot be": ["blend", "--need", "N=80,P2O5=30", "--product", "urea=610/t", "--product", "map=820/t", "--max-products", "1"],
    "blend that is given": ["blend", "--given", "uan=150", "--product", "uan; N 28 %; liquid", "--need", "N=80"],
    "drill": ["drill", "--seed", "7"],
    "drill answered": ["drill", "--seed", "7", "--count", "2", "--answer", "width", "--answer", "cannot-tell"],
    "drill told": ["drill", "--seed", "3", "--faults", "2", "--tell"],
    "drill of lessons": ["drill", "--lesson", "list"],
    "drill printed": ["drill", "--seed", "3", "--out", "{here}/drill.pdf"],
    "verify": ["verify"],
    "demo": ["demo", "--seed", "3", "--fault", "factor:D=6", "--fault", "run=37"],
    "demo without a fault": ["demo", "--seed", "3"],
    "trail-read": ["trail", "read", "{here}/log.csv"],
    "trail-read into a book": ["trail", "read", "{here}/log.csv", "--book", "{book}", "--job", JOB],
    "trail-report": ["trail", "report", "{here}/log.csv", "--outfit-width", "16.3 m"],
    "trail-export": ["trail", "export", "{here}/log.csv", "{here}/log.parquet"],
    "trail-read of task data": ["trail", "read", "{here}/machine", "--column", "DET-3=bin A", "--density", "C=1.28 kg/L"],
    "trail-tasks": ["trail", "tasks", "{here}/tasks", "--rates", "{here}/rates.geojson"],
    "trail-prepare": ["trail", "prepare", "{here}/prepared.zip", "--book", "{book}", "--job", JOB, "--cell", "40 m"],
    "book-new": ["book", "new", "{here}/new", "--width", "16.3 m", "--crop", "wheat", "--rate", "120 kg/ha", "--no-sheets"],
    "book-show": ["book", "show", "{book}"],
    "book-history": ["book", "history", "{book}", "--limit", "0"],
    "book-check": ["book", "check", "{book}"],
    "book-dump": ["book", "dump", "{book}"],
    "book-publish": ["book", "publish", "{book}", "{here}/copy.gpkg"],
    "book-field": ["book", "field", "{book}", "{here}/field.geojson", "--job", JOB],
    "book-proofs": ["book", "proofs", "{book}", "--outfit", "A", "--found", "width=16.26 m", "--found", "lid:A=leaks", "--by", "Kim"],
    "book-shift": ["book", "shift", "{book}", "--job", "eighty-wheat", "--out", "{here}/shift.pdf"],
    "book-loads": ["book", "loads", "{book}", "--job", JOB, "--out", "{here}/shed.pdf"],
    "book-fill": ["book", "fill", "{book}", "--job", JOB, "--bin", "D", "--put", "4000", "--how", "pads", "--minutes", "12.5"],
    "book-fill of loads": ["book", "fill", "{book}", "--loads"],
    "book-since": ["book", "since", "{book}", "--job", "eighty-wheat"],
    "book-bundle": ["book", "bundle", "{book}", "{here}/b.zip", "--without-names"],
    "book-undo": ["book", "undo", "{book}", "2"],
    "error": ["plan", "--rate", "-5", "--speed", "7 kg"],
    "error without a book": ["next"],
}
UNITS_TOO = {
    "drill",
    "drill answered",
    "blend",
    "plan",
    "card",
    "window",
    "fill",
    "catch",
    "call",
    "check",
    "next",
    "tally",
    "demo",
    "trail-report",
    "stand",
    "book-loads",
}
RUNS = [(case, profile) for case in CASES for profile in (["", "prairie", "us"] if case in UNITS_TOO else [""])]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shapes") / "book"
    build_book(folder)
    return folder


def schema_of(case: str, root) -> dict:
    names = {path.stem for path in (root / "docs" / "schemas").glob("*.json")}
    return json.loads((root / "docs" / "schemas" / f"{next(n for n in [case, case.split()[0]] if n in names)}.json").read_text())


def output(arguments: list[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "evenstand", *arguments, "--json"], capture_output=True, text=True, timeout=120, stdin=subprocess.DEVNULL
    )


@pytest.mark.parametrize(("case", "profile"), RUNS, ids=[f"{c} {p}".strip() for c, p in RUNS])
def test_json_keeps_to_its_schema(made, tmp_path, root, case, profile):
    book = tmp_path / "book"
    shutil.copytree(made, book)
    (tmp_path / "log.csv").write_text(LOG)
    (tmp_path / "field.geojson").write_text(json.dumps(FIELD))
    tasks_made(tmp_path / "tasks")
    machine_log(tmp_path / "machine")
    ran = output([a.format(book=book, here=tmp_path) for a in CASES[case]] + (["--units", profile] if profile else []))
    assert ran.returncode == 2 if case.startswith("error") else ran.returncode in (0, 1), ran.stderr

    def refuse(name):  # a strict reader knows no NaN and no Infinity
        raise AssertionError(name)

    jsonschema.Draft202012Validator(schema_of(case, root)).validate(json.loads(ran.stdout, parse_constant=refuse))


def test_every_schema_is_sound_has_a_case_here_and_refuses_another_commands_output(root):
    for path in (root / "docs" / "schemas").glob("*.json"):
        schema = json.loads(path.read_text())
        jsonschema.Draft202012Validator.check_schema(schema)
        assert path.stem in CASES or path.stem == "book-merge", path.stem  # merge needs a pocket page: see the tests of `book`
        assert not jsonschema.Draft202012Validator(schema).is_valid([{"what": "ever"}] if path.stem == "book-history" else {"what": "ever"})


def test_every_command_with_json_has_a_schema(root):
    from evenstand.cli import cli

    names = {path.stem for path in (root / "docs" / "schemas").glob("*.json")}
    for name in COMMANDS:
        command = cli.get_command(None, name)
        parts = {f"{name}-{n}": c for n, c in command.commands.items()} if hasattr(command, "commands") else {name: command}
        for full, part in parts.items():
            if any("--json" in option.opts for option in part.params):
                assert full in names, f"docs/schemas/{full}.json is missing"


@pytest.mark.parametrize(
    ("arguments", "where", "metric"),
    [
        # by hand: 107 lb/ac x 0.45359237 kg / 0.40468564224 ha = 119.93 kg/ha
        (["plan", "wheat", "--rate", "107 lb/ac", "--area", "100 ac"], ("total_kg", "wheat seed"), 107 * 100 * 0.45359237),
        (["plan", "wheat", "--rate", "107 lb/ac", "--area", "100 ac"], ("area_ha",), 100 * 0.40468564224),
        (["plan", "wheat", "--speed", "5 mph"], ("speed_m_s",), 5 * 0.44704),
        (["plan", "wheat", "--width", "53.5 ft"], ("width_m",), 53.5 * 0.3048),
        # by hand: 5 mph x 53.5 ft = 2.2352 m/s x 16.3068 m x 0.36 = 13.1216 ha/h
        (["plan", "wheat", "--width", "53.5 ft", "--speed", "5 mph"], ("in_work_ha_h",), 5 * 0.44704 * 53.5 * 0.3048 * 0.36),
    ],
)
@pytest.mark.parametrize("profile", ["prairie", "us", "si"])
def test_units_with_their_name_are_read_the_same_in_every_profile(arguments, where, metric, profile):
    value = json.loads(output([*arguments, "--units", profile]).stdout)
    for name in where:
        value = value[name]
    assert value == pytest.approx(metric, rel=1e-9)


def test_bare_numbers_are_read_in_the_profiles_own_units_and_shown_in_them():
    """107 lb/ac, 153 ac, 53.5 ft, 4.7 mph: what a prairie farm types."""
    typed = ["--rate", "107", "--area", "153", "--width", "53.5", "--speed", "4.7"]
    for profile in ("prairie", "us"):
        plan = json.loads(output(["plan", "wheat", *typed, "--units", profile]).stdout)
        assert plan["bins"][0]["rate_kg_ha"] == pytest.approx(119.93, abs=0.005)
        assert (plan["area_ha"], plan["width_m"]) == (pytest.approx(61.917, abs=0.0005), pytest.approx(16.3068))
        text = subprocess.run(
            [sys.executable, "-m", "evenstand", "plan", "wheat", *typed, "--units", profile], capture_output=True, text=True, timeout=60
        ).stdout
        for shown in ("107 lb/ac", "153.0 ac", "53.5", "4.7 mph"):
            assert shown in text
        assert "kg" not in text.split("Still needed")[0]


def test_a_book_is_read_and_shown_in_its_own_units_unless_others_are_asked_for(made, tmp_path):
    folder = tmp_path / "prairie"
    answers = ("--units", "prairie", "--width", "53.5", "--speed", "4.7", "--crop", "wheat", "--rate", "107", "--area", "153")
    assert output(["book", "new", str(folder), *answers, "--no-sheets"]).returncode == 0

    def text(*arguments: str) -> str:
        return subprocess.run([sys.executable, "-m", "evenstand", *arguments], capture_output=True, text=True, timeout=60).stdout

    assert "107 lb/ac" in text("plan", "--book", str(folder))  # the only job need not be named
    assert "120 kg/ha" in text("plan", "--book", str(folder), "--units", "si")
