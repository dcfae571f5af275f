"""A real machine log that nobody here made: the harvest log `gartner.corn` of the R package agridat.

University of Minnesota Precision Agriculture Center, CC BY-SA 3.0. Figures measured independently with NumPy, pyproj and Shapely; the file itself
is no part of the project. Conventions: a step's logged distance is that of the later row; mass is pounds a second times `seconds`;
one section 9.144 m wide (360 inches, 12 rows of 30); steps of 0 < dt <= 4 s under 15 m.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from evenstand.formats.columns import ColumnUse
from evenstand.formats.delimited import Recipe, propose
from evenstand.trail import coverage, read_trail, trail_facts
from evenstand.trail.covering import flat_ended_m2
from made_trails import tool

NAME = "minnesota-harvest-log.txt"
PUBLIC = "the public data set gartner.corn (R package agridat) as " + NAME + " in the folder EVENSTAND_OUTSIDE_DATA"
pytestmark = pytest.mark.outside_data

RECIPE = Recipe(
    name="harvest",
    start="2011-11-05T12:38:03-05:00",
    columns=(
        ColumnUse(name="long", role="lon", unit="deg"),
        ColumnUse(name="lat", role="lat", unit="deg"),
        ColumnUse(name="mass", role="mass_rate", unit="lb/s"),
        ColumnUse(name="time", role="time", unit="s"),
        ColumnUse(name="seconds", role="interval", unit="s"),
        ColumnUse(name="dist", role="step", unit="in"),
        ColumnUse(name="moist", role="extra", unit="%"),
        ColumnUse(name="elev", role="extra", unit="ft"),
    ),
)


@pytest.fixture(scope="module")
def path() -> Path:
    folder = os.environ.get("EVENSTAND_OUTSIDE_DATA", "")
    file = Path(folder) / NAME
    if not folder or not file.is_file():
        pytest.skip(f"NOT RUN HERE: needs {PUBLIC}")
    return file


@pytest.fixture(scope="module")
def trail(path):
    return read_trail(path, recipe=RECIPE)


def test_every_row_is_read_and_the_two_odd_ones_are_reported(trail):
    assert (trail.rows, trail.n) == (4949, 4949)
    assert trail.kept + len(trail.repaired) + len(trail.set_aside) == 4949
    assert [r.line for r in trail.repaired] == [1195, 4354]
    assert all("out of time order" in r.reason for r in trail.repaired)
    assert np.all(np.diff(trail.t_ms) > 0)


def test_the_columns_are_understood_without_a_recipe_or_asked_for(path):
    guesses = {g.use.name: g for g in propose(path).columns}
    assert [(n, guesses[n].use.role) for n in ("long", "lat", "time", "seconds", "dist")] == [
        ("long", "lon"), ("lat", "lat"), ("time", "time"), ("seconds", "interval"), ("dist", "step"),
    ]  # fmt: skip
    assert guesses["dist"].use.unit == "in"  # nobody wrote it anywhere: the positions say so
    assert guesses["mass"].sure == "unsure"  # nothing in the file says pounds a second
    questions = {q.column for q in propose(path).questions}
    assert questions == {"time", "mass"}


def test_totals_are_within_a_tenth_of_a_percent(trail):
    facts = trail_facts(trail, tool(9.144))
    assert float(np.nansum(trail.step_m)) * 9.144 / 1e4 == pytest.approx(27.3716, rel=1e-3)
    assert facts.mass_shown_kg == pytest.approx(232_943, rel=1e-3)


def test_the_distance_ratio_is_within_five_hundredths_of_a_point(trail):
    facts = trail_facts(trail, tool(9.144))
    assert 1 / facts.distance_ratio.value == pytest.approx(1.00768, abs=5e-4)  # on the ellipsoid
    assert facts.distance_ratio.sd < 0.002


def test_covered_ground_by_the_stated_convention_is_within_a_tenth_of_a_percent(trail):
    # 26.6016 ha was measured in UTM zone 15 north, whose scale here is 1.00735 / 1.00768; the trail's own frame has scale 1
    scale = (1.00768 / 1.00735) ** 2
    assert flat_ended_m2(trail, tool(9.144)) / 1e4 == pytest.approx(26.6016 * scale, rel=1e-3)
    assert flat_ended_m2(trail, tool(9.144)) / 1e4 == pytest.approx(26.6016, rel=1e-3)
    assert coverage(trail, tool(9.144)).strips_m2 / 1e4 == pytest.approx(27.18, rel=1e-3)


def test_strips_that_share_their_ends_cover_a_little_more_since_curves_leave_no_wedges(trail):
    covered = coverage(trail, tool(9.144))
    assert covered.steps == 4861
    assert covered.covered_m2 / 1e4 == pytest.approx(26.6016, rel=4e-3)
    assert coverage(trail, tool(9.144), method="outlines").covered_m2 == pytest.approx(covered.covered_m2, rel=1e-8)


def test_row_to_row_is_the_twelve_rows_it_took(trail):
    spacing = trail_facts(trail, tool(9.144)).row_to_row
    assert spacing.distance_m.value == pytest.approx(9.144, abs=0.1)
    assert spacing.neighbours > 30


def test_the_report_says_what_is_odd(path, tmp_path):
    from click.testing import CliRunner

    from evenstand.cli.trail import command

    RECIPE.save(tmp_path / "harvest.toml")
    words = ["report", str(path), "--recipe", str(tmp_path / "harvest.toml"), "--outfit-width", "9.144 m", "--no-places"]
    told = CliRunner().invoke(command, words, standalone_mode=False)
    assert told.exception is None
    text = " ".join(told.output.split())
    assert "The machine's distance is 0.8 % short" in text
    assert "1 row repaired, line 1195: out of time order" in text
    assert "1 row repaired, line 4354: out of time order" in text
    assert "a stand-in speed left on?" not in text  # its positions and counts are some seconds apart, and even out over half a minute
    assert "efficiency" in text


def test_what_the_log_cannot_tell_is_said(trail):
    said = " ".join(trail_facts(trail, tool(9.144)).cannot_see)
    assert "Plugged runs cannot be seen in this log" in said
    assert "When the tool was at work cannot be seen" in said
