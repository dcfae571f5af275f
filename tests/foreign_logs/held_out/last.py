"""Write the third round of held-out logs: `python tests/foreign_logs/held_out/last.py [FOLDER]`. Made after the reader had been mended on
the first ten; docs/trails.md tells how it did on these at first sight."""

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).parent.parent))

from drive import Bin, drive
from make import ACRE, FOOT, KMH, LB_AC, MPH, Log, around, at, lines, number, projected, run_together

HERE = Path(__file__).parent


def camel(folder):
    """English names run together as programmers write them, epoch seconds, degrees and minutes run together with a sign, sections as a mask."""
    rows = drive(seed=301, rows=210, bins=[Bin(110, 0.31), Bin(45, 0.2)], sections=5, runs=4, width_m=13.7, bearing_deg=-75, speed_m_s=2.3)
    when, place = at(datetime(2024, 5, 17, 3, 11, 0, tzinfo=UTC)), around(-106.9127, 52.1118)
    log = Log("camel", camel.__doc__, rows, when, place)
    log.col("unixTime", lambda r, i: str(int(when(r).timestamp())), "time", unit="epoch s")
    log.col("gpsLat", lambda r, i: run_together(place(r)[1], 6, 2), "lat", unit="ddmm.m")
    log.col("gpsLon", lambda r, i: "-" + run_together(place(r)[0], 6, 3), "lon", unit="ddmm.m")
    log.col("groundSpeedMps", lambda r, i: number(r.speed_m_s, 2), "speed", unit="m/s")
    log.col("courseOverGround", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("implementDown", lambda r, i: "true" if r.work else "false", ["work", "lifted"])
    log.col("sectionMask", lambda r, i: str(sum(1 << k for k, s in enumerate(r.sections) if s)), "sections")
    for b in range(2):
        log.col(f"bin{b + 1}TargetKgHa", lambda r, i, b=b: number(r.asked[b], 1), "asked", unit="kg/ha", bin=str(b + 1))
        log.col(f"bin{b + 1}ActualKgHa", lambda r, i, b=b: number(r.echoed[b], 1), "echoed", unit="kg/ha", bin=str(b + 1))
        log.col(f"bin{b + 1}MeterRevs", lambda r, i, b=b: number(r.turns[b], 2), "turns", unit="turns", bin=str(b + 1))
        log.col(f"bin{b + 1}LevelKg", lambda r, i, b=b: number(r.left_kg[b], 0), "extra")
    for k in range(4):
        log.col(f"rowFlow{k + 1}", lambda r, i, k=k: "1" if r.runs[k] else "0", "run", number=k + 1)
    log.col("fanRpm", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("fixType", lambda r, i: "4", ["fix", "extra"])
    log.col("numSats", lambda r, i: str(r.satellites), "extra")
    log.save(folder, (lines([log.header()], ",", "\n") + lines(log.cells(), ",", "\n")).encode(), answers={})


def ledger(folder):
    """A sheet a person kept: two lines of remarks, sentences for names, twelve-hour clock without seconds' zone, acres, half the cells quoted,
    a line of means at the end."""
    zone = ZoneInfo("America/Edmonton")
    rows = drive(seed=302, rows=150, dt=2.0, bins=[Bin(95, 0.3)], sections=2, width_m=16.8, bearing_deg=2, speed_m_s=2.2, length_m=220)
    when, place = at(datetime(2024, 5, 21, 12, 58, 40, tzinfo=zone), zone), around(-111.2201, 51.8873)
    log = Log("ledger", ledger.__doc__, rows, when, place)
    log.col("Date", lambda r, i: when(r).strftime("%B %d, %Y"), "date", unit="month d, y local")
    log.col("Time of day", lambda r, i: when(r).strftime("%I:%M:%S %p"), ["clock", "time"], unit="local am/pm")
    log.col("Longitude (decimal degrees)", lambda r, i: number(place(r)[0], 7), "lon", unit="deg")
    log.col("Latitude (decimal degrees)", lambda r, i: number(place(r)[1], 7), "lat", unit="deg")
    log.col("Speed over ground (miles per hour)", lambda r, i: number(r.speed_m_s * MPH, 2), "speed", unit="mph")
    log.col("Distance since last row (feet)", lambda r, i: number(r.step_m * FOOT, 2), "step", unit="ft")
    log.col("Acres seeded so far", lambda r, i: number(r.area_m2 * ACRE, 3), ["area", "extra"], unit="ac")
    log.col("Drill lifted?", lambda r, i: "No" if r.work else "Yes", "lifted")
    log.col("Left half on?", lambda r, i: "Yes" if r.sections[0] else "No", ["section", "extra"])
    log.col("Right half on?", lambda r, i: "Yes" if r.sections[1] else "No", ["section", "extra"])
    log.col("Target seed rate (pounds per acre)", lambda r, i: number(r.asked[0] * LB_AC, 1), "asked", unit="lb/ac", bin="any")
    log.col("Actual seed rate (pounds per acre)", lambda r, i: number(r.echoed[0] * LB_AC, 1), "echoed", unit="lb/ac", bin="any")
    log.col("Fan speed (revolutions per minute)", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Seconds since last row", lambda r, i: "2", ["interval", "extra"], unit="s")
    log.col("Remarks", lambda r, i: "soft spot, went round" if i == 60 else "", "extra")
    quoted = [[f'"{c}"' if "," in c or " " in c else c for c in r] for r in log.cells()]
    mean = ["Average", "", "", "", number(sum(r.speed_m_s for r in rows) / len(rows) * MPH, 2), *[""] * 10]
    text = "Seeding notes\r\nkept by hand\r\n" + lines([log.header()], ",") + lines(quoted, ",") + lines([mean], ",")
    log.save(folder, text.encode("utf-8"), not_rows=["means at the end"], open_=["zone"], answers={"zone": "America/Edmonton"})


def gauge(folder):
    """Winter sowing in the south, projected metres of another zone, local times with the offset in a column of its own, bars, metric and decimal commas."""
    zone = ZoneInfo("Australia/Perth")
    rows = drive(
        seed=303,
        rows=170,
        bins=[Bin(75, 0.3), Bin(80, 0.4), Bin(2, 0.02)],
        sections=3,
        width_m=18.3,
        bearing_deg=45,
        speed_m_s=2.6,
        length_m=240,
    )
    when = at(datetime(2024, 6, 11, 6, 44, 12, tzinfo=zone), zone)
    place, grid = projected("EPSG:32750", 117.3308, -32.0217)
    log = Log("gauge", gauge.__doc__, rows, when, place)
    log.col("DateTime", lambda r, i: when(r).strftime("%d/%m/%Y %H:%M:%S"), "time", unit="d/m/y local", must_ask="date order")
    log.col("UTC offset", lambda r, i: "+8", "extra")
    log.col("UTM E", lambda r, i: number(grid(r)[0], 2, True), "east", unit="m")
    log.col("UTM N", lambda r, i: number(grid(r)[1], 2, True), "north", unit="m")
    log.col("Spd", lambda r, i: number(r.speed_m_s * KMH, 1, True), "speed", unit="km/h")
    log.col("Hdg", lambda r, i: number(r.heading_deg, 0), "heading", unit="deg")
    log.col("Bar state", lambda r, i: "Down" if r.work else "Up", ["work", "lifted"])
    for k in range(3):
        log.col(f"Wing{k + 1}", lambda r, i, k=k: "On" if r.sections[k] else "Off", ["section", "extra"], number=k + 1)
    for b in range(3):
        log.col(f"Box{b + 1} tgt kg/ha", lambda r, i, b=b: number(r.asked[b], 1, True), "asked", unit="kg/ha", bin=str(b + 1))
        log.col(f"Box{b + 1} act kg/ha", lambda r, i, b=b: number(r.echoed[b], 1, True), "echoed", unit="kg/ha", bin=str(b + 1))
    log.col("Total kg/min", lambda r, i: number(60 * sum(r.mass_rate), 1, True), ["mass_rate", "extra"], unit="kg/min")
    log.col("Ha", lambda r, i: number(r.area_m2 / 1e4, 3, True), "area", unit="ha")
    log.col("Fan", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    text = lines([log.header()], "|", "\n") + lines(log.cells(), "|", "\n")
    log.save(folder, text.encode(), open_=["crs", "zone", "date order"], answers={"zone": "Australia/Perth", "crs": "EPSG:32750", "date_order": "dmy"},
             crs="EPSG:32750", ending="txt")  # fmt: skip


def sender(folder):
    """A radio sender: no clock but milliseconds since it was switched on, degrees times ten million as whole numbers, speed in centimetres a second."""
    rows = drive(seed=304, rows=260, dt=0.5, bins=[Bin(100, 0.3)], sections=1, width_m=9.0, bearing_deg=15, speed_m_s=2.2, length_m=110)
    start = datetime(2024, 5, 9, 17, 0, 0, tzinfo=UTC)
    when, place = at(start + timedelta(seconds=812.25)), around(-97.5512, 46.9127)
    log = Log("sender", sender.__doc__, rows, when, place)
    log.col("uptime_ms", lambda r, i: number(812_250 + r.t_s * 1000, 0), "time", unit="ms since start")
    log.col("lat_e7", lambda r, i: str(round(place(r)[1] * 1e7)), "lat", unit="deg e7")
    log.col("lon_e7", lambda r, i: str(round(place(r)[0] * 1e7)), "lon", unit="deg e7")
    log.col("vel_cm_s", lambda r, i: number(r.speed_m_s * 100, 0), "speed", unit="cm/s")
    log.col("hdg_deg", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("work", lambda r, i: "1" if r.work else "0", "work")
    log.col("hz_fan", lambda r, i: number(r.fan_rpm / 60, 1), "fan", unit="1/s")
    log.col("rssi", lambda r, i: str(-70 - i % 7), "extra")
    log.save(
        folder,
        (lines([log.header()], ";", "\n") + lines(log.cells(), ";", "\n")).encode(),
        open_=["start"],
        answers={"start": start.isoformat()},
    )


SHAPES = (camel, ledger, gauge, sender)

if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    target.mkdir(parents=True, exist_ok=True)
    for shape in SHAPES:
        shape(target)
