"""What columns are taken for: names, units, and what their own numbers say; asked where they do not say it."""

from __future__ import annotations

import numpy as np
import pytest

from evenstand.base.errors import ColumnError, CrsError, FileError, InputError, UnitError
from evenstand.formats.columns import factor_of, tidy_unit, understand_name
from evenstand.formats.delimited import Recipe, load_recipe, propose, write_trail_csv
from evenstand.formats.times import start_ms, zone_offset_ms
from evenstand.trail import read_trail
from made_trails import log_lines, passes_trail, write_log


@pytest.mark.parametrize(
    ("header", "role", "unit", "bin_", "number"),
    [
        ("Latitude", "lat", "", "", 0),
        ("GPS Longitude [deg]", "lon", "deg", "", 0),
        ("speed_m_s", "speed", "m/s", "", 0),
        ("Ground Speed (mph)", "speed", "mph", "", 0),
        ("speedKmh", "speed", "km/h", "", 0),
        ("Target Rate A (lb/ac)", "asked", "lb/ac", "A", 0),
        ("applied_rate_bin_2_kg_ha", "echoed", "kg/ha", "B", 0),
        ("turns_C", "turns", "", "C", 0),
        ("Section 12 state", "section", "", "", 12),
        ("run_37", "run", "", "", 37),
        ("fan rpm", "fan", "rpm", "", 0),
        ("Acres", "area", "ac", "", 0),
        ("mass_rate_kg_s", "mass_rate", "kg/s", "", 0),
        ("dist", "step", "", "", 0),
        ("moisture (%)", "extra", "%", "", 0),
        ("time_utc", "time", "utc", "", 0),
    ],
)
def test_names_say_what_a_column_is(header, role, unit, bin_, number):
    named = understand_name(header)
    assert (named.role, named.unit, named.bin, named.number) == (role, unit, bin_, number)


@pytest.mark.parametrize(
    ("text", "unit"), [("Km/h", "km/h"), ("LBS / ACRE", "lb/ac"), ("°", "deg"), ("kg per ha", "kg/ha"), ("kg ha-1", "kgha-1")]
)
def test_units_are_tidied_or_left_alone(text, unit):
    assert tidy_unit(text) == unit or tidy_unit(text) == text


def test_factors_come_from_the_one_converter():
    assert factor_of("mass_rate", "lb/s") == pytest.approx(0.45359237)
    assert factor_of("mass_rate", "t/h") == pytest.approx(1000 / 3600)
    assert factor_of("step", "in") == pytest.approx(0.0254)
    assert factor_of("echoed", "lb/ac") == pytest.approx(1.12085, rel=1e-5)
    with pytest.raises(UnitError):
        factor_of("speed", "kg")


def renamed(old: str, new: str, lines: list[str] | None = None) -> list[str]:
    lines = lines or log_lines()
    return [lines[0].replace(old, new), *lines[1:]]


@pytest.mark.parametrize(("unit", "per_m_s"), [("km/h", 3.6), ("mph", 2.236936), ("m/s", 1.0), ("ft/min", 196.8504)])
def test_a_speed_without_a_unit_gets_it_from_the_positions(tmp_path, unit, per_m_s):
    path = write_log(tmp_path / "a.csv", renamed("speed (km/h)", "speed", log_lines(speed=2.0 * per_m_s)))
    guess = next(g for g in propose(path).columns if g.use.name == "speed")
    assert (guess.use.unit, guess.sure) == (unit, "likely")
    assert np.allclose(read_trail(path).speed_m_s, 2.0, rtol=1e-4)


def test_a_unit_that_contradicts_the_positions_is_refused(tmp_path):
    path = write_log(tmp_path / "a.csv", renamed("km/h", "mph"))
    with pytest.raises(UnitError, match="says mph, but against the positions its numbers are km/h"):
        read_trail(path)


def test_a_speed_that_is_only_wrong_is_no_question_of_units(tmp_path):
    trail = read_trail(write_log(tmp_path / "a.csv", log_lines(speed=6.0)))  # a stand-in speed left on, 17 % off
    assert np.allclose(trail.speed_m_s, 6.0 / 3.6)


def test_a_rate_without_a_unit_is_left_out_and_asked_for(tmp_path):
    path = write_log(tmp_path / "a.csv", renamed("rate applied A (kg/ha)", "rate applied A"))
    proposal = propose(path)
    assert proposal.ready
    assert [q.column for q in proposal.questions] == ["rate applied A"]
    trail = read_trail(path)
    assert trail.echoed_kg_ha is None
    assert any("has no unit" in note for note in trail.notes)


def test_missing_positions_and_times_are_named_together(tmp_path):
    lines = [",".join(line.split(",")[3:]) for line in log_lines()]
    with pytest.raises(ColumnError) as caught:
        read_trail(write_log(tmp_path / "a.csv", lines))
    assert len(caught.value.faults) == 2
    assert "no position column" in str(caught.value)
    assert "no time column" in str(caught.value)


def projected(x: float = 500_000.0) -> list[str]:
    return ["time,easting,northing", *(f"2027-05-04T14:00:{i:02d}Z,{x:.2f},{5_650_000 + 2 * i:.2f}" for i in range(60))]


def test_projected_positions_need_a_coordinate_system(tmp_path):
    path = write_log(tmp_path / "a.csv", projected())
    with pytest.raises(CrsError, match="does not say in which coordinate system"):
        read_trail(path)
    trail = read_trail(path, crs="EPSG:32613")
    assert np.hypot(*np.diff(trail.xy_m, axis=0).T).mean() == pytest.approx(2.0 / 0.9996, rel=1e-5)
    assert trail.frame.lon_deg == pytest.approx(-105.0)


def test_degrees_called_x_and_y_are_asked_for(tmp_path):
    path = write_log(tmp_path / "a.csv", renamed("lon,lat", "x,y"))
    with pytest.raises(CrsError, match="these look like degrees"):
        read_trail(path)
    assert read_trail(path, crs="EPSG:4326").kept == 60


def test_swapped_and_projected_degrees_are_told_apart(tmp_path):
    with pytest.raises(CrsError, match="swapped"):
        read_trail(write_log(tmp_path / "a.csv", renamed("lon,lat", "lat,lon")))
    with pytest.raises(CrsError, match="look projected"):
        read_trail(write_log(tmp_path / "b.csv", renamed("easting,northing", "lon,lat", projected())))
    lines = ["time,lon,lat", *(f"2027-05-04T14:00:{i:02d}Z,10530.5,{5100.0 + i / 1000:.4f}" for i in range(60))]
    with pytest.raises(CrsError, match="degrees and minutes"):
        read_trail(write_log(tmp_path / "c.csv", lines))
    signed = read_trail(write_log(tmp_path / "d.csv", [line.replace("10530.5", "-10530.5") for line in lines]))
    assert (round(signed.frame.lon_deg, 4), round(signed.frame.lat_deg, 3)) == (-105.5083, 51.0)


def test_a_wrong_or_unfit_coordinate_system_is_refused(tmp_path):
    path = write_log(tmp_path / "a.csv", log_lines())
    with pytest.raises(CrsError, match="no coordinate system"):
        read_trail(path, crs="EPSG:99999999")
    with pytest.raises(CrsError, match="projected"):
        read_trail(path, crs="EPSG:32613")


def test_faults_of_every_kind_come_in_one_error(tmp_path):
    lines = projected()
    lines = [lines[0].replace("time", "moment"), *(line.replace("2027-05-04T14:", "minute ") for line in lines[1:])]
    with pytest.raises(FileError) as caught:
        read_trail(write_log(tmp_path / "a.csv", lines))
    assert {type(caught.value)} == {FileError}
    assert len(caught.value.faults) == 2


@pytest.mark.parametrize(
    ("form", "first_ms"),
    [
        ("2027-05-04T14:{m:02d}:{s:02d}Z", 1_809_439_200_000),
        ("2027-05-04 08:{m:02d}:{s:02d}-06:00", 1_809_439_200_000),
        ("2027/05/04 14:{m:02d}:{s:02d}.500", 1_809_439_200_500),
        ("14.05.2027 14:{m:02d}:{s:02d}", 1_810_303_200_000),
        ("5/14/2027 2:{m:02d}:{s:02d} PM", 1_810_303_200_000),
    ],
)
def test_times_are_read_as_they_are_written(tmp_path, form, first_ms):
    lines = log_lines()
    body = [",".join([form.format(m=i // 60, s=i % 60), *line.split(",")[1:]]) for i, line in enumerate(lines[1:])]
    trail = read_trail(write_log(tmp_path / "a.csv", [lines[0], *body]))
    assert trail.t_ms[0] == first_ms
    assert trail.kept == 60


def test_a_date_that_can_be_read_two_ways_is_asked_for(tmp_path):
    lines = log_lines()
    body = [",".join([f"05/04/2027 14:{i // 60:02d}:{i % 60:02d}", *line.split(",")[1:]]) for i, line in enumerate(lines[1:])]
    with pytest.raises(ColumnError, match="day or month first"):
        read_trail(write_log(tmp_path / "a.csv", [lines[0], *body]))


def test_local_times_take_the_zone_that_is_given(tmp_path):
    lines = [line.replace("Z,", ",") for line in log_lines()]
    path = write_log(tmp_path / "a.csv", lines)
    plain, zoned = read_trail(path), read_trail(path, zone="-06:00")
    assert zoned.t_ms[0] - plain.t_ms[0] == 6 * 3_600_000
    assert any("offset from UTC" in note for note in plain.notes)


@pytest.mark.parametrize(("scale", "unit"), [(1, "epoch"), (1000, "epoch_ms")])
def test_epochs_are_known_by_their_size(tmp_path, scale, unit):
    lines = ["timestamp,lon,lat", *(f"{(1_809_439_200 + i) * scale},-105.0,{51 + i * 1.8e-5:.7f}" for i in range(60))]
    assert read_trail(write_log(tmp_path / "a.csv", lines)).t_ms[0] == 1_809_439_200_000


def test_clock_times_run_over_midnight(tmp_path):
    lines = [
        "time,lon,lat",
        *(
            f"{(86_370 + i) % 86_400 // 3600:02d}:{(86_370 + i) % 3600 // 60:02d}:{(86_370 + i) % 60:02d},-105.0,{51 + i * 1.8e-5:.7f}"
            for i in range(60)
        ),
    ]
    trail = read_trail(write_log(tmp_path / "a.csv", lines), start="2027-05-04T00:00:00Z")
    assert np.all(np.diff(trail.t_ms) == 1000)
    assert any("midnight" in note for note in trail.notes)


def test_numbers_that_may_be_a_clock_are_asked_for(tmp_path):
    stamps = [f"{14 + i // 3600:02d}{i // 60 % 60:02d}{i % 60:02d}" for i in range(200)]
    lines = ["time,lon,lat", *(f"{t},-105.0,{51 + i * 1.8e-5:.7f}" for i, t in enumerate(stamps))]
    with pytest.raises(ColumnError, match="clock time run together"):
        read_trail(write_log(tmp_path / "a.csv", lines))


@pytest.mark.parametrize("bad", ["6", "-6 hours", "+25:00"])
def test_offsets_and_starts_that_make_no_sense_are_refused(bad):
    with pytest.raises(InputError, match="no offset"):
        zone_offset_ms(bad)
    with pytest.raises(InputError, match="no ISO time"):
        start_ms("yesterday", "")
    assert start_ms("2027-05-04T08:00:00", "-06:00") == 1_809_439_200_000


def test_a_recipe_is_remembered_and_reads_the_same(tmp_path):
    path = write_log(tmp_path / "a.csv", log_lines())
    recipe = propose(path).recipe
    for name in ("r.toml", "r.json"):
        recipe.save(tmp_path / name)
        again = load_recipe(tmp_path / name)
        assert again == recipe
        assert np.array_equal(read_trail(path, recipe=tmp_path / name).xy_m, read_trail(path).xy_m)


def test_a_recipe_whose_column_is_missing_names_it_and_what_there_is(tmp_path):
    recipe = propose(write_log(tmp_path / "a.csv", log_lines())).recipe
    other = write_log(tmp_path / "b.csv", renamed("speed (km/h)", "velocity"))
    with pytest.raises(ColumnError, match=r"'speed \(km/h\)' that the recipe names is missing.*velocity"):
        read_trail(other, recipe=recipe)


def test_a_recipe_that_is_none_is_refused(tmp_path):
    path = write_log(tmp_path / "a.csv", log_lines())
    for text in ("not toml [", "evenstand_recipe = 9\n", 'evenstand_recipe = 1\n[[column]]\nname = "a"\nrole = "magic"\n'):
        (tmp_path / "r.toml").write_text(text)
        with pytest.raises(FileError):
            read_trail(path, recipe=tmp_path / "r.toml")
    with pytest.raises(ColumnError, match="no position columns"):
        read_trail(path, recipe=Recipe(name="x", columns=()))


def test_our_own_layout_comes_back_as_it_was(tmp_path):
    trail = passes_trail()
    rng = np.random.default_rng(2)
    full = type(trail)(
        frame=trail.frame, t_ms=trail.t_ms + 1_809_439_200_000, xy_m=trail.xy_m, lifted=trail.lifted,
        speed_m_s=np.round(rng.uniform(1, 3, trail.n), 3), step_m=rng.uniform(1, 3, trail.n), area_ha=np.arange(trail.n) * 0.002,
        sections=rng.random((trail.n, 3)) < 0.9, revs=np.cumsum(rng.random((trail.n, 2)), axis=0), asked_kg_ha=np.full((trail.n, 2), 120.0),
        echoed_kg_ha=np.full((trail.n, 2), 119.5), bins=("D", "A"), run_present=rng.random((trail.n, 4)) < 0.9, runs=(3, 5, 7, 9),
        fan_turns_s=np.full(trail.n, 71.5),
    )  # fmt: skip
    write_trail_csv(full, tmp_path / "t.csv")
    back = read_trail(tmp_path / "t.csv")
    assert (back.rows, back.kept, back.bins, back.runs) == (full.n, full.n, full.bins, full.runs)
    assert back.notes == ()
    assert np.array_equal(back.t_ms, full.t_ms)
    for name in ("speed_m_s", "step_m", "area_ha", "revs", "asked_kg_ha", "echoed_kg_ha", "fan_turns_s"):
        assert np.allclose(getattr(back, name), getattr(full, name), atol=1e-5), name
    for name in ("sections", "run_present", "lifted"):
        assert np.array_equal(getattr(back, name), getattr(full, name)), name
    assert np.allclose(np.diff(back.xy_m, axis=0), np.diff(full.xy_m, axis=0), atol=2e-4)
    assert back.mass_rate_kg_s is None
    assert propose(tmp_path / "t.csv").questions == ()
