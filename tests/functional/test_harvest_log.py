"""A real machine log nobody here made: reader, distance check and coverage against figures measured independently.

Source: University of Minnesota Precision Agriculture Center, distributed as gartner.corn in the R package agridat, CC BY-SA 3.0. The file
is not part of the project; only totals stand here. Figures measured independently with NumPy, pyproj and Shapely.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

pytestmark = pytest.mark.outside_data
FEET_12_ROWS_M = 9.144


@pytest.fixture(scope="module")
def log() -> Path:
    folder = os.environ.get("EVENSTAND_OUTSIDE_DATA")
    path = Path(folder or "nowhere") / "minnesota-harvest-log.txt"
    if not path.exists():
        pytest.skip("NOT RUN HERE: the public data set gartner.corn (folder in EVENSTAND_OUTSIDE_DATA)")
    return path


@pytest.fixture(scope="module")
def trail(log):
    from evenstand.trail import read_trail

    return read_trail(log, start="2011-11-05T12:38:03-06:00")


def test_every_record_is_accounted_for_and_two_are_out_of_time_order(trail):
    assert trail.rows == 4949
    assert trail.kept + len(trail.repaired) + len(trail.set_aside) == 4949
    odd = [r for r in (*trail.repaired, *trail.set_aside) if "order" in r.reason]
    assert len(odd) == 2


def test_logged_distance_times_width_is_27_37_hectares(trail):
    assert np.nansum(trail.step_m) * FEET_12_ROWS_M / 1e4 == pytest.approx(27.3716, rel=1e-3)


def test_the_logged_distance_is_0_7_per_cent_short_of_the_positions(trail):
    """Steps in file order with 0 < dt <= 4 s and under 15 m; on the ellipsoid 1.00768, in the field's own frame the same."""
    dt = np.diff(trail.t_ms) / 1000
    moved = np.hypot(*np.diff(trail.xy_m, axis=0).T)
    use = (dt > 0) & (dt <= 4) & (moved < 15)
    ratio = float(moved[use].sum() / trail.step_m[1:][use].sum())
    assert ratio == pytest.approx(1.00768, abs=5e-4)


def test_the_strips_cover_26_60_hectares_with_2_per_cent_twice(trail):
    from evenstand.base.estimate import Est
    from evenstand.model import Outfit, Widths
    from evenstand.trail.covering import flat_ended_m2

    outfit = Outfit(key="h", name="harvester", widths=Widths(true_m=Est(value=FEET_12_ROWS_M)))
    assert flat_ended_m2(trail, outfit) / 1e4 == pytest.approx(26.6016, rel=1e-3)
