"""Plugged runs and heads by their sensors, relative to their siblings."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from evenstand.check import run_findings, run_losses
from evenstand.check.runs import into_day
from evenstand.desk.days import run_part
from evenstand.desk.demo_farm import demo_farm
from evenstand.model import Frame, Outfit, Trail

OUTFIT: Outfit = demo_farm().outfit("A")
N = 1200
FRAME = Frame(lon_deg=-106.0, lat_deg=51.0)


def trail(present: npt.NDArray[np.bool_], *, lifted: npt.NDArray[np.bool_] | None = None) -> Trail:
    n = present.shape[0]
    return Trail(
        frame=FRAME,
        t_ms=np.arange(n, dtype=np.int64) * 1000,
        xy_m=np.column_stack([np.zeros(n), 2.1 * np.arange(n)]),
        run_present=present,
        lifted=lifted,
        runs=tuple(range(1, present.shape[1] + 1)),
        rows=n,
        kept=n,
    )


def clear(seed: int = 1, drop: float = 0.001) -> npt.NDArray[np.bool_]:
    return np.random.default_rng(seed).random((N, 64)) > drop


def test_all_clear_is_no_loss() -> None:
    assert run_losses(trail(clear()), OUTFIT) == ()
    assert [f.state for f in run_part(OUTFIT, trail(clear()))] == ["holds"]


@pytest.mark.parametrize("drop", [0.001, 0.02, 0.10])
def test_a_plugged_run_is_named_exactly_and_its_start_lies_within_the_evidence(drop: float) -> None:
    present = clear(drop=drop)
    present[700:, 36] = False
    losses = run_losses(trail(present), OUTFIT)
    assert [loss.run for loss in losses] == [37]
    assert losses[0].head == "E"
    assert losses[0].earliest_s <= 700 <= losses[0].latest_s
    assert losses[0].latest_s - losses[0].earliest_s < 60


@pytest.mark.parametrize(
    ("from_s", "to_s", "said"),
    [
        (8942.0, 8964.0, "about 2:29 h into the day"),
        (8942.0, None, "about 2:29 h into the day"),
        (8940.0, 13500.0, "between about 2:29 h and 3:45 h into the day"),
        (8965.0, 8975.0, "about 2:30 h into the day"),
        (0.0, 0.0, "about 0:00 h into the day"),
    ],
)
def test_a_time_is_said_as_one_moment_where_its_ends_are_less_than_a_minute_apart(from_s: float, to_s: float | None, said: str) -> None:
    assert into_day(from_s, to_s) == said


def test_a_start_is_said_by_the_clock_not_in_bare_seconds() -> None:
    present = clear()
    present[700:, 36] = False
    said = next(f for f in run_part(OUTFIT, trail(present)) if f.state == "does-not-hold")
    began = said.evidence[1]
    assert began.startswith("began about 0:1")
    assert "into the day; the last good sighting and the first sure miss are" in began
    assert said.low is not None
    assert said.high is not None
    assert f"{said.high - said.low:.0f} s apart" in began


def test_dust_on_a_dead_sensor_does_not_hide_the_plug() -> None:
    present = clear()
    present[600:, 4] = np.random.default_rng(3).random(N - 600) < 0.01
    losses = run_losses(trail(present), OUTFIT)
    assert [loss.run for loss in losses] == [5]
    assert losses[0].earliest_s <= 600 <= losses[0].latest_s


def test_a_run_that_comes_back_has_an_end() -> None:
    present = clear()
    present[300:600, 10] = False
    losses = run_losses(trail(present), OUTFIT)
    assert [loss.run for loss in losses] == [11]
    assert losses[0].since_s == pytest.approx(300, abs=3)
    assert losses[0].until_s == pytest.approx(599, abs=3)


def test_short_drop_outs_are_no_plug() -> None:
    present = clear()
    present[300:303, 10] = False
    present[800:803, 10] = False
    assert run_losses(trail(present), OUTFIT) == ()


def test_all_runs_missing_together_is_no_plug() -> None:
    present = clear()
    present[400:500, :] = False
    assert run_losses(trail(present), OUTFIT) == ()


def test_lifted_openers_are_not_looked_at() -> None:
    present, lifted = clear(), np.zeros(N, dtype=bool)
    lifted[500:600] = True
    present[500:600, :] = False
    present[505:598, 20] = False
    assert run_losses(trail(present, lifted=lifted), OUTFIT) == ()


def test_a_whole_head_is_one_finding_worth_stopping_for() -> None:
    present = clear()
    present[500:, 16:24] = False
    shown = trail(present)
    found = run_findings(run_losses(shown, OUTFIT), OUTFIT, shown)
    assert [f.suspects for f in found] == [(("head:C",),)]
    assert found[0].worth_stopping is True
    assert found[0].place.runs == tuple(range(17, 25))
    assert "2.03 m wide" in found[0].claim
    assert found[0].low is not None
    assert found[0].high is not None
    assert found[0].low <= 500 <= found[0].high


def test_two_runs_of_a_head_are_two_runs() -> None:
    present = clear()
    present[500:, 16] = False
    present[800:, 17] = False
    shown = trail(present)
    found = run_findings(run_losses(shown, OUTFIT), OUTFIT, shown)
    assert {f.suspects[0][0] for f in found} == {"run:17", "run:18"}
    assert all(f.worth_stopping is False for f in found)


def test_one_row_is_never_to_be_sown_again_and_the_mass_is_unchanged() -> None:
    present = clear()
    present[100:, 36] = False
    shown = trail(present)
    found = run_findings(run_losses(shown, OUTFIT), OUTFIT, shown)[0]
    assert "do not sow it again" in found.claim
    assert "14 % more" in found.claim
    assert "kg/ha" in found.not_claimed
    assert found.place.area_ha == pytest.approx(1100 * 2.1 * 0.254 / 1e4, rel=0.02)


def test_without_sensors_a_plug_cannot_be_told() -> None:
    bare = Trail(frame=FRAME, t_ms=np.arange(100, dtype=np.int64), xy_m=np.zeros((100, 2)))
    assert run_losses(bare, OUTFIT) == ()
    assert [f.state for f in run_part(OUTFIT, bare)] == ["cannot-tell"]
    assert [f.state for f in run_part(OUTFIT, None)] == ["cannot-tell"]


def test_a_missed_area_stands_in_the_readers_units_and_only_where_the_row_spacing_is_known() -> None:
    import dataclasses

    from evenstand.desk.days import demo_day

    day, _, outfit, _ = demo_day(3, ["run=37"])
    losses = run_losses(day.trail, outfit)
    (metric,) = run_findings(losses, outfit, day.trail)
    (acres,) = run_findings(losses, outfit, day.trail, profile="prairie")
    (bare,) = run_findings(losses, dataclasses.replace(outfit, row_spacing_m=None), day.trail)
    assert " ha of one row" in metric.claim
    assert " ac of one row" in acres.claim
    assert " ha" not in acres.claim
    assert bare.place.area_ha is None
    assert "of one row" not in bare.claim
