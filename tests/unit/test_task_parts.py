"""Bins and sections of task data: proposed, told otherwise, remembered; rates by volume; logs too long to be read whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.made_tasks import MACHINE, machine_log, tasks_made

from evenstand.base.errors import ColumnError, FileError
from evenstand.formats.iso11783 import logged
from evenstand.formats.iso11783.layers import task_layer, task_layer_names
from evenstand.formats.opening import propose_columns
from evenstand.formats.overriding import told_uses
from evenstand.trail import read_trail


def test_a_bin_has_its_letter_from_the_machine_not_from_the_log(tmp_path: Path) -> None:
    trail = read_trail(machine_log(tmp_path))
    assert trail.bins == ("B",)  # the front bin logs nothing, and is A all the same
    assert np.asarray(trail.echoed_kg_ha)[0].tolist() == [90.0]
    assert any("Bin B is DET-3" in n and "middle" in n and "urea" in n for n in trail.notes)


def test_parts_are_proposed_with_why_and_how_sure(tmp_path: Path) -> None:
    proposal = propose_columns(machine_log(tmp_path))
    assert proposal is not None
    found = {g.use.name: (g.use.role, g.use.bin, g.use.number, g.sure) for g in proposal.columns}
    assert found == {
        "DET-2": ("bin", "A", 0, "sure"), "DET-3": ("bin", "B", 0, "sure"), "DET-4": ("bin", "C", 0, "sure"),
        "DET-5": ("section", "", 1, "likely"), "DET-6": ("section", "", 2, "likely"),
    }  # fmt: skip
    why = {g.use.name: g.why for g in proposal.columns}
    assert "logs no rate" in why["DET-2"]
    assert "where it stands is not said" in why["DET-5"]


def test_parts_are_told_otherwise_and_remembered(tmp_path: Path) -> None:
    machine_log(tmp_path / "set")
    told = ["DET-3=bin A", "DET-5=section 2", "DET-6=section 1"]
    trail = read_trail(tmp_path / "set", columns=told)
    assert trail.bins == ("A",)
    assert np.asarray(trail.sections)[0].tolist() == [False, True]
    proposal = propose_columns(tmp_path / "set", columns=told_uses(told))
    assert proposal is not None
    assert {g.use.name: g.use.role for g in proposal.columns}["DET-2"] == "ignore"  # it was A
    proposal.recipe.save(tmp_path / "machine.toml")
    again = read_trail(tmp_path / "set", recipe=tmp_path / "machine.toml")
    assert again.bins == ("A",)
    assert np.asarray(again.sections).tolist() == np.asarray(trail.sections).tolist()


@pytest.mark.parametrize(("told", "says"), [("DET-9=bin A", "no column 'DET-9'"), ("DET-3=speed km/h", "a bin or a section")])
def test_what_no_part_can_be_is_refused(tmp_path: Path, told: str, says: str) -> None:
    with pytest.raises(ColumnError, match=says):
        read_trail(machine_log(tmp_path), columns=[told])


def test_rates_by_volume_are_never_silent(tmp_path: Path) -> None:
    trail = read_trail(machine_log(tmp_path))
    assert trail.extra["echoed_l_ha:C"][0] == 85.0
    assert any("logged by volume" in n and "--density 'C=1.28 kg/L'" in n for n in trail.notes)


def test_with_a_density_rates_by_volume_are_rates_by_mass(tmp_path: Path) -> None:
    trail = read_trail(machine_log(tmp_path), density_kg_m3={"C": 1280.0})
    assert trail.bins == ("B", "C")
    assert np.asarray(trail.echoed_kg_ha)[0].tolist() == pytest.approx([90.0, 85.0 * 1.28])
    assert trail.extra["echoed_l_ha:C"][0] == 85.0
    assert any("made mass with 1.28 kg/L" in n for n in trail.notes)


def test_a_log_too_long_to_be_read_whole_is_refused_before_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    machine_log(tmp_path, rows=50)
    monkeypatch.setattr(logged, "MOST_CELLS", 500)
    with pytest.raises(FileError, match="too much to be read whole"):
        read_trail(tmp_path)
    monkeypatch.setattr(logged, "MOST_LOG_BYTES", 100)
    with pytest.raises(FileError, match="bytes of time logs"):
        read_trail(tmp_path)


def test_one_machine_is_known_again_in_another_task_and_another_is_not(tmp_path: Path) -> None:
    one = logged.machine_in(machine_log(tmp_path / "a"))
    tasks = '<TSK A="TSK-7" B="Elsewhere" G="4"><TLG A="TLG00001" C="1"/></TSK>'
    assert logged.machine_in(machine_log(tmp_path / "b", tasks=tasks)) == one
    assert logged.machine_in(machine_log(tmp_path / "c", machine=MACHINE.replace("liquid", "fourth"))) != one


def test_task_data_is_layers_of_outlines_lines_and_rates(tmp_path: Path) -> None:
    made = tasks_made(tmp_path / "set")
    assert task_layer_names(made) == ("fields", "lines", "rates")
    fields, lines, rates = (task_layer(made, n) for n in ("fields", "lines", "rates"))
    assert fields.attributes["name"] == ("South",)
    assert lines.attributes["kind"] == ("AB",)
    assert lines.geometries[0].coords[:] == [(-105.0, 50.0), (-104.99, 50.0)]
    area = {r: round(g.area * 1e6, 6) for r, g in zip(rates.attributes["wheat (kg/ha)"], rates.geometries, strict=True)}
    assert area == {90.0: 2.0, 112.0: 2.0, 134.5: 1.0}
    with pytest.raises(FileError, match="no layer 'other'"):
        task_layer(made, "other")


def test_an_outline_is_read_from_task_data_as_from_any_file(tmp_path: Path) -> None:
    from evenstand.field import read_boundary

    boundary = read_boundary(tasks_made(tmp_path / "set"))
    assert boundary.name == "South"
    assert boundary.area_ha == pytest.approx(39.9, abs=0.3)
