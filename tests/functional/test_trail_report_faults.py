"""`evenstand trail report` on a log with faults: what it names, what it looked for, what it cannot see; time and hectares an hour."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner

from evenstand.formats.parquet import write_trail_parquet
from made_trails import passes_trail


def invoke(*words: str) -> tuple[int, str]:
    from evenstand.cli.trail import command

    result = CliRunner().invoke(command, list(words), standalone_mode=False)
    if result.exception:
        raise result.exception
    return result.return_value, result.output


@pytest.fixture
def log(tmp_path: Path) -> str:
    """Twelve passes ten metres apart; the area counter goes on through the turns, and the fan sags at every lift."""
    trail = passes_trail(passes=12, length_m=300.0, turn_rows=30)
    step = np.concatenate([[0.0], np.hypot(*np.diff(trail.xy_m, axis=0).T)])
    up = np.concatenate([[False], ~trail.lifted[:-1] & trail.lifted[1:]])
    since = np.arange(trail.n) - np.maximum.accumulate(np.where(up, np.arange(trail.n), -(10**6)))
    broken = dataclasses.replace(
        trail, area_ha=np.floor(np.cumsum(step) * 10) / 10_000, fan_turns_s=70.0 - 15.0 * np.exp(-since / 8.0), rows=trail.n, kept=trail.n
    )
    path = tmp_path / "day.parquet"
    write_trail_parquet(broken, path)
    return str(path)


def reported(log: str, *more: str) -> dict[str, Any]:
    code, text = invoke("report", log, "--outfit-width", "10 m", "--json", *more)
    assert code == 0
    return dict(json.loads(text))


def test_json_names_the_faults_with_their_evidence_and_keeps_to_its_schema(log: str, root: Path) -> None:
    told = reported(log, "--guidance-width", "9.7 m")
    jsonschema.validate(told, json.loads((root / "docs" / "schemas" / "trail-report.json").read_text()))
    faults = {f["kind"]: f for f in told["faults"]}
    assert set(faults) == {"fan-sag", "counted-lifted", "guidance-width"}
    sag = faults["fan-sag"]
    assert sag["interval"][0] <= sag["size"]["value"] <= sag["interval"][1]
    assert sag["columns"] == ["fan speed", "lift"]
    assert sag["evidence"]
    assert faults["guidance-width"]["size"]["value"] == pytest.approx(0.3, abs=0.01)
    assert {u["kind"] for u in told["unseen"]} >= {"lost-flow", "section-on", "section-off", "no-fall", "speed-frozen"}
    assert {c["kind"] for c in told["looked_for"]} >= {"lane-gap", "position-jumps"}
    kinds = [x["kind"] for part in ("faults", "looked_for", "unseen") for x in told[part]]
    assert len(set(kinds)) == 16


def test_json_has_time_and_hectares_an_hour(log: str) -> None:
    told = reported(log)
    assert told["time"]["filling_s"] + told["time"]["idle_s"] == pytest.approx(told["time"]["standing_s"])
    rate = told["work_rate"]
    assert rate["area_by"] == "ground covered"
    assert 0 < rate["over_all_ha_h"] < rate["at_work_ha_h"]
    assert rate["efficiency"] == pytest.approx(rate["over_all_ha_h"] / rate["in_theory_ha_h"])
    assert rate["against_published"] in ("below", "within", "above")


def test_the_text_says_what_is_wrong_what_was_looked_for_and_what_cannot_be_seen(log: str) -> None:
    _, text = invoke("report", log, "--outfit-width", "10 m")
    flat = " ".join(text.split())
    assert "! The fan sags" in flat
    assert "counted while turning" in flat
    assert "Looked for and not found:" in flat
    assert "Cannot be seen in this log, which has no flow at the runs: runs and heads without flow." in flat
    assert "field efficiency" in flat
    assert flat.count("fan sag at lift") == 0


def test_sizes_come_in_the_readers_units(log: str) -> None:
    _, text = invoke("report", log, "--outfit-width", "10 m", "--units", "prairie")
    flat = " ".join(text.split())
    assert "95 %: " in flat
    line = flat[flat.index("counted while turning") - 20 :][:160]
    assert " ac" in line
    assert " ha" not in line
