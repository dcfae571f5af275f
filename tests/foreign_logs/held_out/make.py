"""Write the four held-out logs and their truths: `python tests/foreign_logs/held_out/make.py [FOLDER]`. They were made after the reader had
been brought to read the twelve, to see how it does with shapes it was not made on; docs/trails.md tells how it did at first sight."""

import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).parent.parent))

from drive import Bin, drive
from make import ACRE, FOOT, KMH, LB_AC, MPH, Log, around, at, lines, number, projected, quoted

HERE = Path(__file__).parent


def tableau(folder):
    """A French sheet: day numbers of a spreadsheet, a national projection in metres, seed and fertilizer instead of bins, oui and non."""
    zone = ZoneInfo("Europe/Paris")
    rows = drive(seed=101, rows=170, bins=[Bin(140, 0.36), Bin(75, 0.4)], sections=4, width_m=4.0, bearing_deg=75, speed_m_s=2.8)
    when = at(datetime(2024, 10, 16, 9, 31, 4, tzinfo=zone), zone)
    place, grid = projected("EPSG:2154", 1.9031, 48.0127)
    log = Log("tableau", tableau.__doc__, rows, when, place)

    def serial(r):
        t = when(r).replace(tzinfo=None) - datetime(1899, 12, 30)
        return number(t.days + (t.seconds + t.microseconds / 1e6) / 86400, 8, True)

    log.col("N°", lambda r, i: str(i + 1), "extra")
    log.col("Date et heure", lambda r, i: serial(r), "time", unit="days of a spreadsheet, local")
    log.col("X (m)", lambda r, i: number(grid(r)[0], 3, True), "east", unit="m")
    log.col("Y (m)", lambda r, i: number(grid(r)[1], 3, True), "north", unit="m")
    log.col("Vitesse d'avancement (km/h)", lambda r, i: number(r.speed_m_s * KMH, 1, True), "speed", unit="km/h")
    log.col("Semoir au travail", lambda r, i: "oui" if r.work else "non", "work")
    for k in range(4):
        log.col(f"Tronçon {k + 1}", lambda r, i, k=k: "oui" if r.sections[k] else "non", "section", number=k + 1)
    for b, what in enumerate(("Semence", "Engrais")):
        log.col(f"{what} : dose voulue (kg/ha)", lambda r, i, b=b: number(r.asked[b], 0, True), "asked", unit="kg/ha", bin=str(b + 1))
        log.col(f"{what} : dose mesurée (kg/ha)", lambda r, i, b=b: number(r.echoed[b], 1, True), "echoed", unit="kg/ha", bin=str(b + 1))
        log.col(f"{what} : tours doseur", lambda r, i, b=b: number(r.turns[b], 1, True), "turns", unit="turns", bin=str(b + 1))
    log.col("Surface cumulée (ha)", lambda r, i: number(r.area_m2 / 1e4, 3, True), "area", unit="ha")
    log.col("Distance cumulée (m)", lambda r, i: number(r.distance_m, 1, True), "distance", unit="m")
    log.col("Ventilateur (tr/min)", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Dépression (mbar)", lambda r, i: number(41.0 + 0.01 * i, 1, True), "extra")
    text = lines([quoted(log.header())], ";") + lines(log.cells(), ";")
    log.save(folder, text.encode("cp1252"), open_=["crs", "zone"], answers={"zone": "Europe/Paris", "crs": "EPSG:2154"}, crs="EPSG:2154")


def seconds_written(value, signs):
    """Degrees, minutes and seconds with the letter of the hemisphere at the end."""
    v = abs(value)
    d, m = int(v), int((v - int(v)) * 60)
    return f"{d}°{m:02d}'{(v - d - m / 60) * 3600:07.4f}\"{signs[0] if value >= 0 else signs[1]}"


def pole(folder):
    """A survey receiver: degrees, minutes and seconds, times with an offset that is no whole hour, over midnight, remarks before the header."""
    zone = timezone(timedelta(hours=9, minutes=30))
    rows = drive(seed=102, rows=130, dt=2.0, bins=[Bin(70, 0.3)], sections=2, width_m=18.0, bearing_deg=140, speed_m_s=2.4, length_m=260)
    when, place = at(datetime(2024, 6, 3, 23, 58, 30, tzinfo=zone), zone), around(138.4021, -33.7712)
    log = Log("pole", pole.__doc__, rows, when, place)
    log.col("Pt", lambda r, i: f"P{i + 1:04d}", "extra")
    log.col("Observed", lambda r, i: when(r).isoformat(timespec="milliseconds"), "time", unit="iso with offset")
    log.col("Lat(S)", lambda r, i: seconds_written(place(r)[1], "NS"), "lat", unit="deg min")
    log.col("Lon(E)", lambda r, i: seconds_written(place(r)[0], "EW"), "lon", unit="deg min")
    log.col("Ht(m)", lambda r, i: number(r.altitude_m, 3), "extra")
    log.col("Sol", lambda r, i: "FIXED", "extra")
    log.col("Sigma H", lambda r, i: number(r.hdop / 60, 3), "extra")
    log.col("SOG m/s", lambda r, i: number(r.speed_m_s, 2), "speed", unit="m/s")
    log.col("True course", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("Seeder raised?", lambda r, i: "no" if r.work else "yes", "lifted")
    log.col("Urea kg per ha", lambda r, i: number(r.echoed[0], 1), ["echoed", "extra"], unit="kg/ha", bin="any")
    text = (
        "Job,Back paddock\nReceiver,rover 2\n\n"
        + lines([log.header()], ",", "\n")
        + lines([[f'"{c.replace(chr(34), chr(34) * 2)}"' if '"' in c else c for c in r] for r in log.cells()], ",", "\n")
    )
    log.save(folder, text.encode())


def pocket(folder):
    """A telephone: seconds since 1970 with a fraction, metres a second glued to the name, a marker in words of its own."""
    rows = drive(seed=103, rows=90, dt=3.0, bins=[], sections=1, width_m=9.1, bearing_deg=200, speed_m_s=1.9, length_m=180, noise_m=0.02)
    when, place = at(datetime(2024, 5, 2, 20, 14, 9, 500000, tzinfo=UTC)), around(-110.7743, 52.4409)
    log = Log("pocket", pocket.__doc__, rows, when, place)
    log.col("timestamp", lambda r, i: f"{when(r).timestamp():.3f}", "time", unit="epoch s")
    log.col("latitude", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    log.col("longitude", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    log.col("altitude_m", lambda r, i: number(r.altitude_m, 1), "extra")
    log.col("accuracy_m", lambda r, i: number(3 + r.hdop, 1), "extra")
    log.col("speed_mps", lambda r, i: number(r.speed_m_s, 2), "speed", unit="m/s")
    log.col("bearing_deg", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("battery_pct", lambda r, i: str(88 - i // 30), "extra")
    log.col("provider", lambda r, i: "gps", "extra")
    log.col("marker", lambda r, i: "drill in" if r.work else "drill out", ["work", "lifted", "extra"])
    log.save(folder, (lines([log.header()], ",", "\n") + lines(log.cells(), ",", "\n")).encode(), answers={})


def panel(folder):
    """A control panel: UTF-16 the other way round, months as words, a clock put ahead as daylight saving begins, sections as a hexadecimal
    number, SP and PV for asked and reported, units under the names, the header again after each start."""
    zone = ZoneInfo("America/Denver")
    rows = drive(seed=104, rows=220, bins=[Bin(60, 0.3), Bin(110, 0.45)], sections=6, runs=8, width_m=12.2, bearing_deg=-20, speed_m_s=2.1)
    when, place = at(datetime(2024, 3, 10, 8, 58, 5, tzinfo=UTC), zone), around(-103.1127, 40.2218)
    log = Log("panel", panel.__doc__, rows, when, place)
    units = []

    def col(name, below, cell, role, **truth):
        units.append(below)
        log.col(name, cell, role, **truth)

    col("DATE", "", lambda r, i: when(r).strftime("%d-%b-%y"), "date", unit="d-mon-y local")
    col("TIME", "", lambda r, i: when(r).strftime("%I:%M:%S %p"), ["clock", "time"], unit="local am/pm")
    col("LNG", "deg", lambda r, i: number(place(r)[0], 7), "lon", unit="deg")
    col("LTD", "deg", lambda r, i: number(place(r)[1], 7), "lat", unit="deg")
    col("GND SPD", "mi/h", lambda r, i: number(r.speed_m_s * MPH, 1), "speed", unit="mph")
    col(
        "SEC MASK",
        "hex",
        lambda r, i: f"0x{sum(1 << k for k, s in enumerate(r.sections) if s):02X}",
        "sections",
        unit="bits in hexadecimal",
    )
    for b in range(2):
        col(f"B{b + 1} SP", "lb/ac", lambda r, i, b=b: number(r.asked[b] * LB_AC, 0), ["asked", "extra"], unit="lb/ac", bin=str(b + 1))
        col(f"B{b + 1} PV", "lb/ac", lambda r, i, b=b: number(r.echoed[b] * LB_AC, 1), ["echoed", "extra"], unit="lb/ac", bin=str(b + 1))
    for k in range(8):
        col(f"BLK {k + 1:02d}", "", lambda r, i, k=k: "FLOW" if r.runs[k] else "BLOCKED", "run", number=k + 1)
    col("AC TOT", "ac", lambda r, i: number(r.area_m2 * ACRE, 2), "area", unit="ac")
    col("FT TOT", "ft", lambda r, i: number(r.distance_m * FOOT, 0), "distance", unit="ft")
    col("FAN", "r/min", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    cells = log.cells()
    text = lines([log.header(), units], "\t") + lines(cells[:75], "\t") + lines([log.header(), units], "\t") + lines(cells[75:], "\t")
    log.save(folder, b"\xfe\xff" + text.encode("utf-16-be"), not_rows=["row of units", "header again", "row of units again"], open_=["zone"],
             answers={"zone": "America/Denver"}, ending="txt")  # fmt: skip


SHAPES = (tableau, pole, pocket, panel)

if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    target.mkdir(parents=True, exist_ok=True)
    for shape in SHAPES:
        shape(target)
