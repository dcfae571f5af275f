"""`evenstand window`: air, meter and speed windows for typed values or a job; what it refuses."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

METERS = (
    "--rate",
    "121 kg/ha",
    "--also",
    "map=75 kg/ha",
    "--speed",
    "7.6 km/h",
    "--width",
    "16.256 m",
    "--factor",
    "A=1.25,B=1.52",
    "--meter-range",
    "4-60 rpm",
)
PROVEN = ("--fan", "4300 rpm", "--proven-rate", "196 kg/ha", "--proven-speed", "7.6 km/h")
SEA, HILL = ("--proven-height", "0 m", "--proven-temperature", "15 °C"), ("--height", "1000 m", "--temperature", "8.501 °C")


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    """The command; what it prints with every gap as one space, since lines wrap anywhere."""
    ran = subprocess.run([sys.executable, "-m", "evenstand", "window", *arguments], capture_output=True, text=True, timeout=120)
    ran.stdout = " ".join(ran.stdout.split())
    return ran


def data(*arguments: str) -> dict:
    ran = run(*arguments, "--json")
    assert ran.returncode in (0, 1), ran.stderr
    return json.loads(ran.stdout)


def test_nothing_proven_is_no_number_and_no_failure():
    ran = run("wheat", *METERS)
    assert ran.returncode == 0
    assert "Cannot tell: no fan speed is proven" in ran.stdout
    assert "puff test" in ran.stdout
    fan = data("wheat", *METERS)["fan"]
    assert fan["state"] == "cannot-tell"
    assert fan["rev_s"] is fan["alarm_low_rev_s"] is None


def test_up_a_thousand_metres_from_the_sea():
    """ISO 2533: 1.2250 / 1.11166 = 1.102, so 4,300 rpm become 4,738."""
    found = data("wheat", *METERS, *PROVEN, *SEA, *HILL)
    assert found["fan"]["rev_s"] * 60 == pytest.approx(4300 * 1.2250 / 1.11166, abs=1)
    assert found["fan"]["alarm_low_rev_s"] / found["fan"]["rev_s"] == pytest.approx(0.94)
    assert found["fan"]["alarm_high_rev_s"] / found["fan"]["rev_s"] == pytest.approx(1.08)
    assert found["fan"]["air_mass_ratio"] == pytest.approx(1 / 1.102, abs=1e-4)
    assert found["fan"]["mattered"][0]["name"] == "air density"
    assert found["load_kg_s"] == pytest.approx(196 * 7.6 / 3.6 * 16.256 / 1e4)
    assert found["state"] == "holds"


def test_meters_by_hand():
    """121 kg/ha x 2.111 m/s x 16.256 m = 0.4152 kg/s, over 1.25 kg/turn 19.9 rpm; 4 rpm is 1.5 km/h, 60 rpm 22.9 km/h."""
    seed = data("wheat", *METERS)["meters"][0]
    assert seed["shaft_turns_s"] * 60 == pytest.approx(19.93, abs=0.01)
    assert seed["speed_low_m_s"] * 3.6 == pytest.approx(1.525, abs=0.001)
    assert seed["speed_high_m_s"] * 3.6 == pytest.approx(22.88, abs=0.01)
    assert seed["state"] == "holds"


def test_a_speed_outside_a_meters_window_does_not_hold_and_says_so():
    ran = run("canola", "--rate", "5 kg/ha", "--speed", "2 km/h", "--width", "16.256 m", "--factor", "0.132", "--meter-range", "4-60 rpm")
    assert ran.returncode == 1
    assert "Does not hold" in ran.stdout
    assert "another speed, roller, gear or rate" in ran.stdout


def test_a_fan_set_outside_its_alarms_and_a_deep_sag_do_not_hold():
    assert run("wheat", *METERS, *PROVEN, "--fan-set", "4000 rpm").returncode == 1
    assert run("wheat", *METERS, *PROVEN, "--fan-set", "4250 rpm").returncode == 0
    sag = run("--fan-set", "4300", "--at-lift", "3300")
    assert sag.returncode == 1
    assert "check hydraulic flow and priority" in sag.stdout
    assert run("--fan-set", "4300", "--at-lift", "3300", "--cold").returncode == 0
    assert run("--puff", "2.5", "--silent", "2").returncode == 1


def test_too_much_load_is_doubtful_and_no_failure():
    ran = run("wheat", *METERS, "--fan", "4300", "--proven-rate", "80 kg/ha", "--proven-speed", "7.6 km/h")
    assert ran.returncode == 0
    assert "Doubtful" in ran.stdout
    assert "prove the fan again" in ran.stdout


def test_a_second_proven_speed_closes_the_window():
    wide = data("wheat", *METERS, "--fan", "4300", "--proven-rate", "160", "--proven-speed", "7.6")["fan"]
    own = data(
        "wheat", *METERS, "--fan", "4300", "--proven-rate", "160", "--proven-speed", "7.6", "--second-fan", "3800", "--second-rate", "66"
    )["fan"]
    assert own["high_rev_s"] - own["low_rev_s"] < 1e-9 < wide["high_rev_s"] - wide["low_rev_s"]
    refused = run(*METERS, "--fan", "4300", "--proven-rate", "160", "--proven-speed", "7.6", "--second-fan", "4800", "--second-rate", "66")
    assert (refused.returncode, "More load cannot ask for less air" in refused.stderr) == (2, True)


def test_opinions_are_weak_and_say_so():
    ran = run("wheat", *METERS, *HILL, "--lines", "8", "--bore", "64 mm", "--grain", "4 mm", "--grain-density", "1350 kg/m³")
    assert "weak, no setting" in ran.stdout
    assert "weak opinion" in ran.stdout
    assert len(data("wheat", *METERS, *HILL, "--lines", "8", "--bore", "64 mm", "--grain", "4 mm")["opinions"]) == 2


def test_units_make_no_difference():
    si = data("wheat", *METERS, *PROVEN, *SEA, *HILL)
    us = data(
        "wheat", "--units", "us", "--rate", "107.953", "--also", "map=66.913", "--speed", "4.72242", "--width", "53.3333", "--factor", "A=2.75578,B=3.35102",
        "--meter-range", "4-60 rpm", "--fan", "4300", "--proven-rate", "174.866", "--proven-speed", "4.72242", "--proven-height", "0",
        "--proven-temperature", "59", "--height", "3280.84", "--temperature", "47.3018",
    )  # fmt: skip
    assert us["fan"]["rev_s"] == pytest.approx(si["fan"]["rev_s"], rel=1e-4)
    assert us["meters"][1]["shaft_turns_s"] == pytest.approx(si["meters"][1]["shaft_turns_s"], rel=1e-4)


def test_a_job_of_a_book_needs_no_typing(tmp_path):
    from evenstand.desk.demo import build_book

    build_book(tmp_path / "book")
    found = data("--book", str(tmp_path / "book"), "--job", "home-wheat")
    assert found["fan"]["proven_rev_s"] == pytest.approx(found["fan"]["rev_s"], rel=0.3)
    assert {m["state"] for m in found["meters"]} <= {"holds", "does-not-hold", "cannot-tell"}
    assert found["meters"]
    text = run("--book", str(tmp_path / "book"), "--job", "home-wheat").stdout
    assert text.startswith("Fan ")
    assert "Ground speed" in text


@pytest.mark.parametrize(
    ("arguments", "where"),
    [
        (["--fan", "4300 bar"], "fan"),
        (["--fan", "-4300"], "proven_rev_s"),
        (["--height", "12 psi"], "height"),
        (["--temperature", "300 °C", "--height", "100 m"], "temperature_c"),
        (["--height", "20000 m", "--temperature", "5"], "height_m"),
        (["--split", "150 %"], "split"),
        (["--lines", "0"], "lines"),
        (["--grain", "0"], "grain"),
        (["--at-lift", "3000"], "steady"),
        (["--puff", "soon"], "puff"),
        (["--meter-range", "60-4 rpm", "--rate", "121", "--factor", "1.25", "--width", "16", "--speed", "7"], "rev"),
        (["--job", "nothing"], "--book"),
        (["--pressure", "29.9 inHg"], "pressure"),
    ],
)
def test_wrong_input_is_refused_by_name(arguments, where):
    ran = run(*arguments)
    assert ran.returncode == 2, ran.stdout
    assert where in ran.stderr
    assert "Traceback" not in ran.stderr
