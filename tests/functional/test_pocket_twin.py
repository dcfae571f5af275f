"""The pocket page's script against the Python it repeats: the same answers on seeded inputs, run in node."""

from __future__ import annotations

import json
import math
import random
import shutil
import subprocess
from importlib.resources import files
from typing import Any

import pytest

from evenstand.base.errors import RangeError
from evenstand.base.estimate import Est
from evenstand.base.units import shown
from evenstand.check import FillTaken, fill_check, fill_series, typing_slip
from evenstand.desk.pocketing import KINDS, VALUES, encode
from evenstand.machine import wheel_calibration
from evenstand.paper.pocket import slip_numbers
from evenstand.tally import catch_test

CASES = 2000
_RUN = """
const SUMS = require(process.argv[1]);
const { name, cases } = JSON.parse(require("fs").readFileSync(0, "utf8"));
const out = cases.map((args) => {
  try {
    return SUMS[name](...args);
  } catch (error) {
    if (error instanceof SUMS.OutOfRange) return { refused: error.field };
    throw error;
  }
});
process.stdout.write(JSON.stringify(out));
"""


def in_node(name: str, cases: list[list[Any]]) -> list[Any]:
    """The results of one function of the script on all cases."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("NOT RUN HERE: node")
    script = files("evenstand.paper") / "templates" / "pocket_sums.js"
    made = subprocess.run(
        [node, "-e", _RUN, str(script)], input=json.dumps({"name": name, "cases": cases}), capture_output=True, text=True, check=True
    )
    result: list[Any] = json.loads(made.stdout)
    return result


def close(a: float, b: float, *, rel: float = 1e-9) -> bool:
    """Equal but for the last figures."""
    return math.isclose(a, b, rel_tol=rel, abs_tol=1e-12)


def test_the_running_total_answers_alike() -> None:
    random_ = random.Random(20270507)
    cases = []
    for _ in range(400):
        dose = random_.choice([5.0, 75.0, 121.0, 215.0])
        fills = [
            {
                "areaHa": random_.uniform(5, 40), "putKg": random_.uniform(0, 4000), "putSdKg": random_.choice([0.0, 8.0, 40.0, 400.0]),
                "levelKg": random_.uniform(0, 800), "levelSdKg": random_.choice([0.0, 60.0, 450.0]),
                "how": random_.choice(["ticket", "brim", "pads"]),
            }
            for _ in range(random_.randint(1, 6))
        ]  # fmt: skip
        more = {"levelBeforeKg": random_.choice([0.0, 300.0]), "levelBeforeSdKg": random_.choice([0.0, 60.0])}
        cases.append([fills, dose, more])
    counts = set()
    for (fills, dose, more), there in zip(cases, in_node("fillTotal", cases), strict=True):
        here = fill_series(
            [
                FillTaken(area_ha=f["areaHa"], put_kg=f["putKg"], put_sd_kg=f["putSdKg"], level_kg=f["levelKg"], level_sd_kg=f["levelSdKg"], how=f["how"])
                for f in fills
            ],
            dose, level_before_kg=more["levelBeforeKg"], level_before_sd_kg=more["levelBeforeSdKg"], dose_sd=0.0,
        )  # fmt: skip
        assert close(here.ratio, there["ratio"])
        assert close(here.sd, there["sd"])
        assert here.more_fills == there["more"]
        counts.add(here.more_fills)
    assert 0 in counts
    assert None in counts
    assert len(counts) > 5


def test_brim_fills_alone_never_average_out() -> None:
    fill = {"areaHa": 30.0, "putKg": 3600.0, "putSdKg": 144.0, "levelKg": 200.0, "levelSdKg": 5.0}
    more = {"levelBeforeKg": 0.0, "levelBeforeSdKg": 0.0}
    brim, pads = in_node("fillTotal", [[[{**fill, "how": how}] * 4, 121.0, more] for how in ("brim", "pads")])
    assert brim["more"] is None
    assert pads["more"] is not None
    assert close(brim["sd"] ** 2 - (5 / (121 * 120)) ** 2, (4 * 144 / (121 * 120)) ** 2)
    assert brim["sd"] > 1.9 * pads["sd"]


def test_the_fill_check_answers_alike() -> None:
    random_ = random.Random(20270504)
    cases = []
    for _ in range(CASES):
        dose = random_.choice([5, 75, 121, 150, 215]) * random_.uniform(0.9, 1.1)
        area = random_.uniform(2, 60)
        before = random_.choice([0.0, random_.uniform(0, 800)])
        level = random_.uniform(0, 3000)
        put = max(0.0, dose * area * random_.choice([1, 1, random_.uniform(0.5, 1.5)]) * random_.gauss(1, 0.04) + level - before)
        if random_.random() < 0.05:
            area, put = random_.choice([(0.0, put), (-1.0, put), (area, -5.0), (area, 0.0)])
        more = {
            "levelBeforeKg": before,
            "putSdKg": random_.choice([0.0, random_.uniform(0, 60)]),
            "levelSdKg": random_.choice([0.0, 40.0, random_.uniform(0, 500)]),
            "levelBeforeSdKg": random_.choice([0.0, 50.0]),
            "doseSd": random_.choice([0.0, 0.005, 0.02]),
            "overlap": random_.choice([[0, 0.03], [0, 0], [0.01, 0.08]]),
        }
        cases.append([area, put, level, dose, more])
    states, refused = set(), 0
    for (area, put, level, dose, more), there in zip(cases, in_node("fillCheck", cases), strict=True):
        try:
            here = fill_check(
                area, put, level, dose, level_before_kg=more["levelBeforeKg"], put_sd_kg=more["putSdKg"], level_sd_kg=more["levelSdKg"],
                level_before_sd_kg=more["levelBeforeSdKg"], dose_sd=more["doseSd"], overlap=tuple(more["overlap"]),
            )  # fmt: skip
        except RangeError:
            refused += 1
            assert "refused" in there
            continue
        assert here.size is not None
        assert here.low is not None
        assert here.high is not None
        assert (there["state"], there["worthStopping"]) == (here.state, here.worth_stopping)
        assert close(there["size"], here.size.value)
        assert close(there["sizeSd"], here.size.sd)
        assert close(there["low"], here.low)
        assert close(there["high"], here.high)
        band = f"{shown(max(there['bandLow'], 0), 'mass')} to {shown(there['bandHigh'], 'mass')} was to be expected"
        assert band in here.claim
        assert shown(there["used"], "mass") in here.claim
        states.add(here.state)
    assert states == {"holds", "doubtful", "does-not-hold", "cannot-tell"}
    assert refused > 40


def test_the_catch_test_answers_alike() -> None:
    random_ = random.Random(7)
    cases = []
    for _ in range(CASES):
        factor, turns = random_.choice([0.12, 0.63, 1.25]) * random_.uniform(0.9, 1.1), random_.choice([4.0, 10.0, 50.0])
        tare = random_.choice([0.0, 0.18, 0.5])
        n = random_.randint(1, 4)
        masses = [factor * turns * random_.gauss(1, random_.choice([0.003, 0.03])) + tare for _ in range(n)]
        if random_.random() < 0.03:
            masses[0] = tare * random_.choice([0.5, 1.0])
        expected = random_.choice([None, {"value": factor * random_.choice([1.0, 1.02, 1.2]), "sd": factor * 0.01}])
        cases.append([masses, turns, {"tareKg": tare, "divisionKg": random_.choice([0.0, 0.001, 0.01, 0.1]), "expected": expected}])
    verdicts, refused = set(), 0
    for (masses, turns, more), there in zip(cases, in_node("catchTest", cases), strict=True):
        expected = None if more["expected"] is None else Est(value=more["expected"]["value"], sd=more["expected"]["sd"])
        try:
            here = catch_test(masses, turns, tare_kg=more["tareKg"], scale_division_kg=more["divisionKg"], expected=expected)
        except RangeError:
            refused += 1
            assert there == {"refused": "mass"}
            continue
        assert (there["verdict"], there["needed"]) == (here.verdict, here.catches_needed)
        for name, value in (("factor", here.factor_kg_rev), ("low", here.low), ("high", here.high), ("sd", here.sd), ("cv", here.cv)):
            assert close(there[name], value, rel=1e-8), name
        assert (there["odd"] is None) == (here.odd is None)
        if here.odd is not None:
            assert close(there["odd"], here.odd, rel=1e-6)
        verdicts.add(here.verdict)
    assert verdicts == {"good", "longer", "find out why"}
    assert refused > 20


def test_distance_per_pulse_answers_alike() -> None:
    random_ = random.Random(11)
    cases = []
    for _ in range(CASES):
        n = random_.choice([1, 1, 2, 3])
        taped = [random_.choice([100.0, 150.0, 30.48 * 3]) for _ in range(n)]
        pulses = [round(d * random_.choice([5.19, 0.9, 40]) * random_.gauss(1, 0.004)) for d in taped]
        if random_.random() < 0.03:
            pulses[0] = 0
        cases.append([taped, pulses, {"tapeSdM": random_.choice([0.0, 0.1, 0.5])}])
    refused = 0
    for (taped, pulses, more), there in zip(cases, in_node("wheelCalibration", cases), strict=True):
        try:
            here = wheel_calibration(taped, pulses, tape_sd_m=more["tapeSdM"])
        except RangeError:
            refused += 1
            assert there == {"refused": "pulses"}
            continue
        for name, value in (("pulseM", here.pulse_m), ("sd", here.sd), ("low", here.low), ("high", here.high), ("pulsesM", here.pulses_m)):
            assert close(there[name], value, rel=1e-8), name
    assert refused > 20


def test_the_slip_finder_answers_alike() -> None:
    tables = {rows: slip_numbers(rows) for rows in (None, 39, 64)}
    known = tables[None]["known"]
    random_ = random.Random(13)
    cases = []
    for _ in range(CASES):
        asked = random_.choice([120.0, 121.5, 67.0, 5.0, 1234.0, 16.256, round(random_.uniform(1, 400), random_.randint(0, 3))])
        ratio = random_.choice([row[2] for row in known] + [1.0, 63 / 64, random_.uniform(0.4, 2.5)])
        seen = asked * ratio * random_.gauss(1, 0.001)
        if random_.random() < 0.2 and asked >= 12:
            text = list(f"{asked:g}")
            i, j = random_.sample([k for k, c in enumerate(text) if c.isdigit()], 2)
            text[i], text[j] = text[j], text[i]
            seen = float("".join(text)) or asked
        if random_.random() < 0.02:
            asked = random_.choice([0.0, -3.0])
        cases.append((asked, seen, random_.choice([0.0, 0.005, 0.01, 0.03]), random_.choice([None, 39, 64])))
    kinds, refused = set(), 0
    answers = in_node("typingSlip", [[asked, seen, sd, tables[rows]] for asked, seen, sd, rows in cases])
    for (asked, seen, sd, rows), there in zip(cases, answers, strict=True):
        try:
            here = typing_slip(asked, seen, sd=sd, rows=rows)
        except RangeError:
            refused += 1
            assert there == {"refused": "asked"}
            continue
        assert [(m["kind"], m["name"], m["text"], m["look"]) for m in there] == [(m.kind, m.name, m.text, m.look) for m in here]
        assert all(close(a["weight"], b.weight) and close(a["ratio"], b.ratio) for a, b in zip(there, here, strict=True))
        kinds |= {m.kind for m in here}
    assert kinds == {"unit", "preset", "bushel", "nutrient", "rows", "digits", "decimal"}
    assert refused > 15


def test_a_machine_that_counts_long_shows_more_than_the_tape() -> None:
    there = in_node("distanceRatio", [[100.0, 104.0, {}], [0, 10, {}]])
    assert there[0]["ratio"] == pytest.approx(1.04)
    assert there[0]["sd"] == pytest.approx(1.04 * math.hypot(0.001, 0.3 / 104))
    assert there[1] == {"refused": "taped"}


def test_codes_come_out_alike_letter_for_letter() -> None:
    random_ = random.Random(17)
    cases, here = [], []
    for _ in range(CASES):
        kind = random_.choice(KINDS)
        values: dict[str, float] = {}
        for name in VALUES[kind]:
            draw = random_.random()
            if draw < 0.8:
                values[name] = random_.choice([0.0, 29.6, 4000.0, 0.18, random_.uniform(0, 1), random_.uniform(0, 9e5), 123456.7, 1e-7])
        minutes, nonce = random_.randrange(2**24), random_.randrange(4096)
        mark, letter = f"{random_.randrange(4096):03x}", random_.choice(["", "A", "D", "H"])
        how = (random_.choice(["", "ticket", "glance"]), random_.choice(["", "low-light"]))
        listed = [values.get(name) for name in VALUES[kind]]
        while listed and listed[-1] is None:
            listed.pop()
        cases.append([{"kind": kind, "values": listed, "minutes": minutes, "nonce": nonce, "mark": mark, "bin": letter, "how": list(how)}])
        here.append(encode(kind, values, minutes=minutes, nonce=nonce, bin=letter, mark=mark, how=how))
    assert in_node("encode", cases) == here
