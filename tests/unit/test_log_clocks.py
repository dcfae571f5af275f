"""Clocks of logs: local against UTC, an hour that comes twice, midnight, hours off, dates and clocks run together."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from evenstand.base.errors import ColumnError, InputError
from evenstand.formats.delimited import propose
from evenstand.formats.times import order_of
from evenstand.formats.timing import far_from_sun, offset_of, spoken, zone_text
from evenstand.formats.zones import check_zone, comes_twice, utc_ms
from evenstand.trail import read_trail
from made_trails import write_log

ROWS = 240
STEP_S = 10


def driven(begin: datetime, written, *, header: str = "time", lon: float = 10.0, lat: float = 50.0, step_s: float = STEP_S) -> list[str]:
    """A way to the north at 2 m/s; `written(utc)` writes the cells of its times."""
    rows = []
    for i in range(ROWS):
        at = begin + timedelta(seconds=i * step_s)
        rows.append(f"{written(at)},{lon:.7f},{lat + i * step_s * 2.0 / 111_229:.9f},7.2")
    return [f"{header},lon,lat,speed (km/h)", *rows]


def local(zone: str, form: str = "%Y-%m-%d %H:%M:%S"):
    return lambda at: at.astimezone(ZoneInfo(zone)).strftime(form)


def assert_even(trail, begin: datetime) -> None:
    """All rows there, in their order, at even times from the beginning."""
    assert (trail.n, trail.kept, len(trail.repaired)) == (ROWS, ROWS, 0)
    assert np.array_equal(trail.t_ms, int(begin.timestamp() * 1000) + np.arange(ROWS) * STEP_S * 1000)
    assert np.all(np.diff(trail.xy_m[:, 1]) > 0)


AUTUMN = datetime(2024, 10, 27, 0, 40, 0, tzinfo=UTC)  # the clocks of Vienna go back at 01:00 UTC
SPRING = datetime(2024, 3, 31, 0, 45, 0, tzinfo=UTC)


def test_an_hour_that_comes_twice_loses_no_row_in_a_named_zone(tmp_path):
    trail = read_trail(write_log(tmp_path / "a.csv", driven(AUTUMN, local("Europe/Vienna"))), zone="Europe/Vienna")
    assert_even(trail, AUTUMN)
    assert any("comes twice, the second time from line 122 on" in note for note in trail.notes)


def test_an_hour_that_comes_twice_is_seen_by_the_way_under_an_offset(tmp_path):
    trail = read_trail(write_log(tmp_path / "a.csv", driven(AUTUMN, local("Europe/Vienna"))), zone="+02:00")
    assert_even(trail, AUTUMN)
    assert any("line 122 the clock goes back an hour" in note and "daylight saving ends" in note for note in trail.notes)


def test_the_hour_goes_on_past_its_end(tmp_path):
    late = AUTUMN + timedelta(minutes=60)  # begins at 02:40 the second time, ends after 03:00
    trail = read_trail(write_log(tmp_path / "a.csv", driven(late, local("Europe/Vienna"))), zone="Europe/Vienna")
    assert_even(trail, late)
    assert any("is the second of the two" in note for note in trail.notes)
    both = AUTUMN + timedelta(minutes=10)
    lines = driven(both, local("Europe/Vienna"), step_s=20)  # from 02:50 over 02:00 again to past 03:00
    trail = read_trail(write_log(tmp_path / "b.csv", lines), zone="Europe/Vienna")
    assert np.array_equal(trail.t_ms, int(both.timestamp() * 1000) + np.arange(ROWS) * 20_000)


@pytest.mark.parametrize("zone", ["+01:00", "Europe/Vienna"])
def test_an_hour_that_is_left_out_is_no_gap(tmp_path, zone):
    trail = read_trail(write_log(tmp_path / "a.csv", driven(SPRING, local("Europe/Vienna"))), zone=zone)
    assert_even(trail, SPRING)


def test_a_date_that_is_not_turned_at_midnight_is_put_right(tmp_path):
    begin = datetime(2024, 5, 14, 23, 45, 0, tzinfo=UTC)
    lines = driven(begin, lambda at: f"2024-05-14,{at:%H:%M:%S}", header="date,clock")
    trail = read_trail(write_log(tmp_path / "a.csv", lines), zone="+00:00")
    assert_even(trail, begin)
    assert any("its date was not turned at midnight" in note for note in trail.notes)


def test_a_local_day_beside_a_utc_clock_is_asked_about_and_turns_once(tmp_path):
    begin = datetime(2024, 5, 14, 23, 45, 0, tzinfo=UTC)  # the local day turns six hours later
    path = write_log(tmp_path / "a.csv", driven(begin, lambda at: f"2024-05-14,{at:%H:%M:%S}", header="date,utc"))
    assert_even(read_trail(path), begin)
    assert any("the day in UTC or the local one" in q.text for q in propose(path).questions)
    path = write_log(tmp_path / "b.csv", driven(begin, lambda at: f"{at:%Y-%m-%d,%H:%M:%S}", header="utc date,utc time"))
    assert_even(read_trail(path), begin)
    assert propose(path).questions == ()


def test_a_stop_of_an_hour_is_left_as_it_is(tmp_path):
    begin = datetime(2024, 5, 14, 12, 0, 0, tzinfo=UTC)
    lines = driven(begin, lambda at: (at + timedelta(hours=1) * (at >= begin + timedelta(minutes=20))).strftime("%Y-%m-%d %H:%M:%S"))
    stopped = lines[:121] + [lines[121].replace(lines[121].split(",")[2], lines[120].split(",")[2]), *lines[122:]]
    trail = read_trail(write_log(tmp_path / "a.csv", stopped), zone="+00:00")
    assert trail.t_ms[-1] - trail.t_ms[0] == ((ROWS - 1) * STEP_S + 3600) * 1000


def test_a_utc_clock_beside_a_local_date_and_clock_settles_the_offset(tmp_path):
    begin = datetime(2024, 5, 15, 5, 40, 0, tzinfo=UTC)  # over midnight, six hours behind
    behind = timedelta(hours=6)
    lines = driven(
        begin, lambda at: f"{at - behind:%Y-%m-%d},{at - behind:%H:%M:%S},{at:%H:%M:%S}", header="date,clock,gps utc", lon=-105.0
    )
    path = write_log(tmp_path / "a.csv", lines)
    trail = read_trail(path)
    assert_even(trail, begin)
    assert propose(path).questions == ()
    assert any("6 h behind of UTC" in note or "6 h behind" in note for note in trail.notes)
    assert not any("hours off" in note for note in trail.notes)
    again = read_trail(path, recipe=propose(path).recipe)
    assert np.array_equal(again.t_ms, trail.t_ms)


def test_a_clock_that_no_place_keeps_is_called_off_and_utc_believed(tmp_path):
    begin = datetime(2024, 5, 15, 5, 40, 0, tzinfo=UTC)
    off = timedelta(hours=7)
    lines = driven(begin, lambda at: f"{at + off:%Y-%m-%d},{at + off:%H:%M:%S},{at:%H:%M:%S}", header="date,clock,utc", lon=10.0)
    trail = read_trail(write_log(tmp_path / "a.csv", lines), zone="+02:00")
    assert_even(trail, begin)
    assert any("hours off" in note for note in trail.notes)
    assert any("not the zone +02:00" in note for note in trail.notes)


def test_a_clock_off_by_hours_is_moved_to_the_start_that_is_told(tmp_path):
    begin = datetime(2024, 5, 14, 12, 0, 0, tzinfo=UTC)
    path = write_log(tmp_path / "a.csv", driven(begin, lambda at: (at - timedelta(hours=5)).strftime("%Y-%m-%dT%H:%M:%SZ")))
    trail = read_trail(path, start="2024-05-14T12:00:30Z")  # told to the minute or so
    assert_even(trail, begin)
    assert any("5 h behind the start that was told" in note for note in trail.notes)
    with pytest.raises(InputError, match="whole quarters"):
        read_trail(path, start="2024-05-14T12:08:00Z")


def test_a_field_day_that_is_told_is_held_against_the_log(tmp_path):
    begin = datetime(2024, 5, 14, 12, 0, 0, tzinfo=UTC)
    path = write_log(tmp_path / "a.csv", driven(begin, lambda at: at.strftime("%Y-%m-%dT%H:%M:%SZ")))
    assert read_trail(path, start="2024-05-14").notes == read_trail(path).notes
    trail = read_trail(path, start="2024-05-13")
    assert_even(trail, begin)
    assert any("begins 1 day(s) after 2024-05-13" in note for note in trail.notes)


@pytest.mark.parametrize(
    ("start", "zone"),
    [
        ("2024-05-14T23:45:00-06:00", ""),
        ("2024-05-14T23:45:00", "-06:00"),
        ("2024-05-15T05:45:00Z", "-06:00"),
        ("2024-05-14", "America/Regina"),
    ],
)
def test_a_clock_without_a_date_takes_the_day_of_the_start(tmp_path, start, zone):
    begin = datetime(2024, 5, 15, 5, 45, 0, tzinfo=UTC)
    lines = driven(begin, local("America/Regina", "%I:%M:%S %p"), header="clock", lon=-105.0)
    trail = read_trail(write_log(tmp_path / "a.csv", lines), start=start, zone=zone or None)
    assert_even(trail, begin)
    assert any("passes midnight 1 time" in note for note in trail.notes)


@pytest.mark.parametrize(
    ("header", "form"),
    [
        ("time", "%d-%b-%y %I:%M:%S %p"), ("time", '"%B %d, %Y %H:%M:%S"'), ("date,clock", "%d/%b/%Y,%H:%M:%S"), ("observed", "%Y-%m-%d %H:%M:%S"),
        ("date,utc clock", "%Y%m%d,%H%M%S"), ("time", "%Y/%m/%d %I:%M:%S %p"), ("fecha,hora", "%d.%m.%Y,%H:%M:%S"),
    ],
)  # fmt: skip
def test_more_ways_to_write_times(tmp_path, header, form):
    begin = datetime(2024, 5, 14, 8, 45, 0, tzinfo=UTC)
    assert_even(read_trail(write_log(tmp_path / "a.csv", driven(begin, lambda at: at.strftime(form), header=header))), begin)


def test_zeros_that_a_sheet_took_away_are_put_back(tmp_path):
    begin = datetime(2024, 5, 7, 9, 45, 0, tzinfo=UTC)
    lines = driven(begin, lambda at: f"{int(at.strftime('%d%m%Y'))},{int(at.strftime('%H%M%S'))}", header="date (ddmmyyyy),utc clock")
    assert_even(read_trail(write_log(tmp_path / "a.csv", lines)), begin)


def test_day_numbers_of_a_sheet_are_local_times(tmp_path):
    begin = datetime(2024, 5, 7, 15, 45, 0, tzinfo=UTC)
    zero = datetime(1899, 12, 30, 6, tzinfo=UTC)  # six hours behind
    path = write_log(tmp_path / "a.csv", driven(begin, lambda at: f"{(at - zero) / timedelta(days=1):.9f}"))
    assert any("offset from UTC" in q.text for q in propose(path).questions)
    trail = read_trail(path, zone="-06:00")
    assert np.abs(trail.t_ms - int(begin.timestamp() * 1000) - np.arange(ROWS) * STEP_S * 1000).max() <= 1


def test_a_date_run_together_that_can_be_two_days_is_asked_for(tmp_path):
    begin = datetime(2024, 5, 14, 9, 45, 0, tzinfo=UTC)
    path = write_log(tmp_path / "a.csv", driven(begin, lambda at: at.strftime("%d%m%y,%H%M%S"), header="date,utc clock"))
    with pytest.raises(ColumnError, match="2024-05-14 or 2014-05-24"):
        read_trail(path)
    assert {q.options for q in propose(path).questions} == {("%d%m%y %H%M%S", "%y%m%d %H%M%S")}


def test_the_unit_of_a_date_says_its_order(tmp_path):
    begin = datetime(2024, 5, 6, 9, 45, 0, tzinfo=UTC)
    for unit, form in (("dd/mm/yyyy", "%d/%m/%Y"), ("mm/dd/yyyy", "%m/%d/%Y")):
        lines = driven(begin, lambda at, form=form: at.strftime(form + ",%H:%M:%S"), header=f"date ({unit}),clock")
        assert_even(read_trail(write_log(tmp_path / f"{form[1]}.csv", lines)), begin)
    assert [order_of(p) for p in ("TT.MM.JJJJ", "jj/mm/aa", "YYYY-MM-DD", "km/h", "hh:mm:ss")] == ["dmy", "dmy", "ymd", "", ""]


def test_zones_by_name_and_by_offset():
    noon = np.array([datetime(2024, 7, 1, 12, tzinfo=UTC).timestamp() * 1000, np.nan])
    for zone in ("+02:00", "Europe/Vienna"):
        moved = utc_ms(noon, zone)
        assert noon[0] - moved[0] == 7_200_000
        assert np.isnan(moved[1])
    twice = np.array([datetime(2024, 10, 27, h, 30, tzinfo=UTC).timestamp() * 1000 for h in (1, 2, 3)])
    assert comes_twice(twice, "Europe/Vienna").tolist() == [False, True, False]
    assert not comes_twice(twice, "+02:00").any()
    for bad in ("Nowhere/Land", "6", "noon"):
        with pytest.raises(InputError, match="no offset"):
            check_zone(bad)


def test_offsets_between_clocks():
    utc = np.arange(100.0) * 7 + 80_000
    assert offset_of(utc + 5.5 * 3600 + 3, utc) == 5.5 * 3600
    assert offset_of((utc - 6 * 3600) % 86_400, utc % 86_400) == -6 * 3600
    assert offset_of(utc + 400, utc) is None  # no quarter of an hour
    assert offset_of(utc * 1.5, utc) is None  # not steady
    assert offset_of(None, utc) is None
    assert (zone_text(-9.5 * 3600), spoken(-9.5 * 3600), spoken(3600.0)) == ("-09:30", "9.5 h behind", "1 h ahead")
    assert far_from_sun(7 * 3600, 10.0)
    assert not far_from_sun(-6 * 3600, -105.0)
