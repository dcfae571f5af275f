"""What a person says a column is: over what it seems to be, on its own, in a recipe; and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pyproj import Transformer
from tests.made_trails import log_lines

from evenstand.base.errors import ColumnError, EvenstandError, InputError
from evenstand.formats.opening import propose_columns
from evenstand.formats.overriding import told_uses
from evenstand.formats.parquet import read_trail_parquet, write_trail_parquet
from evenstand.formats.recipes import load_recipe
from evenstand.formats.streaming import stream_log
from evenstand.trail import read_trail


def log(tmp_path: Path, head: str, rows: list[str]) -> Path:
    path = tmp_path / "log.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def moving(cells: str, n: int = 40) -> list[str]:
    """Rows of a machine that goes north at 2 m a second."""
    return [f"2027-05-04T14:00:{i:02d}Z,-105.0,{51 + i * 2.0 / 111_259.0:.9f},{cells.format(i=i)}" for i in range(n)]


@pytest.mark.parametrize(
    ("text", "use"),
    [
        ("Setpt=asked kg/ha B", ("Setpt", "asked", "kg/ha", "B", 0)),
        ("Setpt = asked lb/ac bin c", ("Setpt", "asked", "lb/ac", "C", 0)),
        ("a=b=speed km/h", ("a=b", "speed", "km/h", "", 0)),
        ("S3=section 3", ("S3", "section", "", "", 3)),
        ("Lon W=lon deg west", ("Lon W", "lon", "deg west", "", 0)),
        ("DET-2=bin b", ("DET-2", "bin", "", "B", 0)),
        ("n=ignore", ("n", "ignore", "", "", 0)),
        ("acres=area acres", ("acres", "area", "ac", "", 0)),
    ],
)
def test_a_line_says_what_a_column_is(text: str, use: tuple[str, str, str, str, int]) -> None:
    found = told_uses([text])[0]
    assert (found.name, found.role, found.unit, found.bin, found.number) == use


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("Setpt", "does not say"), ("=asked", "does not say"), ("x=wizard", "nothing a column can be"), ("x=section", "which section"),
        ("x=bin", "which bin"), ("x=speed stone", "no unit of speed"), ("x=lat deg west", "no way to write degrees"),
        ("x=heading km/h", "says nothing of"),
    ],
)  # fmt: skip
def test_what_says_nothing_is_refused_with_a_cure(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        told_uses([text])


def test_all_that_is_wrong_is_said_at_once() -> None:
    with pytest.raises(InputError) as caught:
        told_uses(["x=wizard", "y", "z=area", "z=speed"])
    assert len(caught.value.faults) == 3


def test_a_unit_that_the_name_has_wrong_is_put_right(tmp_path: Path) -> None:
    path = log(tmp_path, "time,lon,lat,speed_mph", moving("7.2"))
    with pytest.raises(EvenstandError, match="says mph"):
        read_trail(path)
    trail = read_trail(path, columns=["speed_mph=speed km/h"])
    assert np.asarray(trail.speed_m_s) == pytest.approx(2.0)


def test_a_unit_that_nobody_says_comes_from_the_positions_or_is_asked_for(tmp_path: Path) -> None:
    path = log(tmp_path, "time,lon,lat,wheel,mystery", moving("2.0,77"))
    assert np.asarray(read_trail(path, columns=["wheel=speed"]).speed_m_s) == pytest.approx(2.0)
    with pytest.raises(EvenstandError, match="'mystery' has no unit"):
        read_trail(path, columns=["mystery=area"])


def test_what_is_told_takes_the_place_of_what_was_guessed(tmp_path: Path) -> None:
    path = log(tmp_path, "time,lon,lat,rate applied A (kg/ha),other (kg/ha)", moving("120,{i}"))
    assert np.asarray(read_trail(path).echoed_kg_ha)[0, 0] == 120
    told = read_trail(path, columns=["other (kg/ha)=echoed kg/ha A"])
    assert np.asarray(told.echoed_kg_ha)[:, 0].tolist() == list(range(40))
    assert "rate applied A (kg/ha)" in told.extra


def test_columns_that_are_not_there_are_named_with_those_that_are(tmp_path: Path) -> None:
    path = log(tmp_path, "time,lon,lat,a", moving("1"))
    with pytest.raises(ColumnError, match=r"no column 'b'.*time, lon, lat, a"):
        read_trail(path, columns=["b=extra"])


def test_a_column_is_no_bin(tmp_path: Path) -> None:
    path = log(tmp_path, "time,lon,lat,a", moving("1"))
    with pytest.raises(ColumnError, match="a column is no bin"):
        read_trail(path, columns=["a=bin A"])


@pytest.mark.parametrize(("lat", "lon", "told"), [
    ("33.{:04d}", "70.5", ["Lat S=lat deg south", "Lon W=lon deg west"]),
    ("33 {:07.4f}", "70 30.0", ["Lat S=lat dms south", "Lon W=lon dms west"]),
    ("33{:07.4f}", "7030.0", ["Lat S=lat ddmm south", "Lon W=lon ddmm west"]),
])  # fmt: skip
def test_degrees_without_a_sign_lie_where_they_are_told_to(tmp_path: Path, lat: str, lon: str, told: list[str]) -> None:
    cells = [lat.format(500 + i) if "d" in lat else lat.format(30 + i * 0.001) for i in range(40)]
    path = log(tmp_path, "time,Lat S,Lon W", [f"2027-05-04T14:00:{i:02d}Z,{c},{lon}" for i, c in enumerate(cells)])
    with pytest.raises(EvenstandError):
        read_trail(path)
    trail = read_trail(path, columns=told)
    x, y = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True).transform(*trail.xy_m[0])
    assert x == pytest.approx(-70.5, abs=1e-6)
    assert -33.6 < y < -33.0


def test_a_name_that_says_west_over_numbers_without_a_sign_is_never_taken_for_east(tmp_path: Path) -> None:
    path = log(tmp_path, "time,West long.,North lat.", [f"2027-05-04T14:00:{i:02d}Z,105.0,{51 + i * 2e-5:.7f}" for i in range(40)])
    with pytest.raises(EvenstandError, match=r"--column 'West long.=lon deg west'"):
        read_trail(path)


def test_what_was_told_is_remembered_in_a_recipe_and_can_be_told_anew(tmp_path: Path) -> None:
    path = log(tmp_path, "time,lon,lat,speed_mph,x", moving("7.2,120"))
    columns = told_uses(["speed_mph=speed km/h", "x=asked kg/ha B"])
    proposal = propose_columns(path, columns=columns)
    assert proposal is not None
    assert proposal.ready
    assert {g.use.name: g.why.startswith("as told") for g in proposal.columns if g.use.name in ("speed_mph", "x")} == {
        "speed_mph": True,
        "x": True,
    }
    proposal.recipe.save(tmp_path / "r.toml")
    again = read_trail(path, recipe=load_recipe(tmp_path / "r.toml"))
    assert again.bins == ("B",)
    anew = read_trail(path, recipe=tmp_path / "r.toml", columns=["x=echoed kg/ha A"])
    assert anew.bins == ("A",)
    assert anew.asked_kg_ha is None


def test_a_log_in_blocks_is_told_the_same(tmp_path: Path) -> None:
    path = log(tmp_path, "time,lon,lat,speed_mph", moving("7.2", 59))
    stream_log(path, tmp_path / "o.parquet", block_bytes=600, columns=told_uses(["speed_mph=speed km/h"]))
    assert np.asarray(read_trail_parquet(tmp_path / "o.parquet").speed_m_s) == pytest.approx(2.0)


def test_a_log_that_says_itself_what_its_columns_are_cannot_be_told(tmp_path: Path) -> None:

    path = tmp_path / "log.csv"
    path.write_text("\n".join(log_lines(30)) + "\n")
    write_trail_parquet(read_trail(path), tmp_path / "t.parquet")
    with pytest.raises(InputError, match="says itself"):
        read_trail(tmp_path / "t.parquet", columns=["x=extra"])


# what the fifth round of foreign logs brought up


@pytest.mark.parametrize(
    ("tail", "hour"), [(" UTC", 14), (" GMT-3", 17), (" GMT+02:00", 12), (" -03:00", 17), (" Z", 14)]
)  # fmt: skip
def test_an_offset_behind_every_time_is_understood(tmp_path: Path, tail: str, hour: int) -> None:
    rows = [f"04/21/2027 14:00:{i:02d}{tail},-60.5,{-33 + i * 2e-5:.7f}" for i in range(40)]
    trail = read_trail(log(tmp_path, "time,lon,lat", rows))
    assert int(trail.t_ms[0]) // 3_600_000 % 24 == hour
    assert not any("offset" in n for n in trail.notes)


def test_letters_behind_every_time_that_name_no_offset_are_asked_for(tmp_path: Path) -> None:
    rows = [f"04/21/2027 14:00:{i:02d} CST,-60.5,{-33 + i * 2e-5:.7f}" for i in range(40)]
    path = log(tmp_path, "time,lon,lat", rows)
    assert any("offset from UTC" in n for n in read_trail(path).notes)
    assert int(read_trail(path, zone="-06:00").t_ms[0]) // 3_600_000 % 24 == 20


@pytest.mark.parametrize("half", ["p", "pm", "PM", "p.m.", " pm", " P"])
def test_halves_of_a_day_in_their_several_writings(tmp_path: Path, half: str) -> None:
    rows = [f"04/21/2027 02:00:{i:02d}{half},-60.5,{-33 + i * 2e-5:.7f}" for i in range(40)]
    assert int(read_trail(log(tmp_path, "time,lon,lat", rows), zone="+00:00").t_ms[0]) // 3_600_000 % 24 == 14


def test_marks_between_thousands_are_taken_out_and_that_is_said(tmp_path: Path) -> None:
    rows = [f"2027-05-04T14:00:{i:02d}Z;395.993,{10 + i};5.897.999,{13 + i};4.151;1.250,{i % 10}" for i in range(40)]
    trail = read_trail(log(tmp_path, "time;east (m);north (m);fan (rpm);note", rows), crs="EPSG:25833")
    assert np.asarray(trail.fan_turns_s) == pytest.approx(4151 / 60)
    assert trail.extra["note"][3] == pytest.approx(1250.3)
    assert any("thousands" in n for n in trail.notes)


def test_decimal_commas_alone_are_no_thousands(tmp_path: Path) -> None:
    rows = [f"2027-05-04T14:00:{i:02d}Z;-105,123{i:02d};51,0{i:02d}12;7,200" for i in range(40)]
    trail = read_trail(log(tmp_path, "time;lon;lat;depth", rows))
    assert trail.extra["depth"][0] == pytest.approx(7.2)
    assert not any("thousands" in n for n in trail.notes)


def test_days_run_together_are_never_taken_for_seconds(tmp_path: Path) -> None:
    rows = [f"20270504,{47_000 + i},-105.0,{51 + i * 2e-5:.7f}" for i in range(40)]
    path = log(tmp_path, "date_utc,second_of_day,lon,lat", rows)
    proposal = propose_columns(path)
    assert proposal is not None
    assert {g.use.name: g.use.role for g in proposal.columns}["date_utc"] != "time"
    assert any("midnight of the day in 'date_utc'" in q.cure for q in proposal.questions)
    trail = read_trail(path, start="2027-05-04T00:00:00Z")
    assert int(trail.t_ms[0]) == 1_809_388_800_000 + 47_000_000


def test_a_file_with_its_newest_row_first_is_looked_at_the_right_way_round(tmp_path: Path) -> None:
    rows = list(reversed(moving("{i}.0,0.0,7.2")))
    proposal = propose_columns(log(tmp_path, "time,lon,lat,hectares,course,speed", rows))
    assert proposal is not None
    assert {g.use.name: g.use.role for g in proposal.columns} == {
        "time": "time", "lon": "lon", "lat": "lat", "hectares": "area", "course": "heading", "speed": "speed"
    }  # fmt: skip


def test_a_line_drawn_under_the_names_is_no_row(tmp_path: Path) -> None:
    path = tmp_path / "log.txt"
    rows = [f"2027-05-04T14:00:{i:02d}Z  -105.0  {51 + i * 2e-5:.7f}  7.2" for i in range(40)]
    path.write_text("time lon lat speed\n-------- ------- ------ -----\n(utc) (deg) (deg) (km/h)\n" + "\n".join(rows) + "\n")
    trail = read_trail(path)
    assert (trail.rows, trail.kept) == (40, 40)


def test_headland_is_a_place_and_no_state_of_the_tool(tmp_path: Path) -> None:
    rows = moving("{i}", 60)
    path = log(
        tmp_path,
        "time,lon,lat,applied rate A (kg/ha),headland",
        [r.rsplit(",", 1)[0] + f",{120 * (i % 20 > 4)},{int(i % 20 <= 4)}" for i, r in enumerate(rows)],
    )
    proposal = propose_columns(path)
    assert proposal is not None
    assert {g.use.name: g.use.role for g in proposal.columns}["headland"] in ("extra", "ignore")


def test_two_columns_that_say_when_are_asked_about(tmp_path: Path) -> None:
    rows = [f"2027-05-04 14:00:{i:02d},2027-05-04 13:59:{i:02d},-105.0,{51 + i * 2e-5:.7f}" for i in range(40)]
    proposal = propose_columns(log(tmp_path, "stamp one,stamp two,lon,lat", rows))
    assert proposal is not None
    assert any("both say when" in q.text for q in proposal.questions)
