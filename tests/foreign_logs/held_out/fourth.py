"""Write the fourth round of held-out logs: `python tests/foreign_logs/held_out/fourth.py [FOLDER]`. Made after the reader had been mended on
the first fourteen; docs/trails.md tells how it did on these at first sight."""

import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).parent.parent))

from drive import Bin, drive
from make import FOOT, KMH, LB_AC, Log, around, at, lines, number, projected

HERE = Path(__file__).parent


def translated(folder):
    """English as a translator's table would have it, dots in the date, semicolons, working position in words."""
    zone = ZoneInfo("Europe/Warsaw")
    rows = drive(seed=401, rows=180, bins=[Bin(160, 0.4), Bin(90, 0.38)], sections=4, width_m=6.0, bearing_deg=29, speed_m_s=2.8)
    when, place = at(datetime(2024, 9, 24, 15, 2, 33, tzinfo=zone), zone), around(18.3312, 52.6617)
    log = Log("translated", translated.__doc__, rows, when, place)
    log.col("Record time", lambda r, i: when(r).strftime("%d.%m.%Y %H:%M:%S"), "time", unit="d.m.y local")
    log.col("Lat (WGS84)", lambda r, i: number(place(r)[1], 8, True), "lat", unit="deg")
    log.col("Lon (WGS84)", lambda r, i: number(place(r)[0], 8, True), "lon", unit="deg")
    log.col("Velocity [km/h]", lambda r, i: number(r.speed_m_s * KMH, 1, True), "speed", unit="km/h")
    log.col("Driving direction [deg]", lambda r, i: number(r.heading_deg, 0), "heading", unit="deg")
    log.col("Working position", lambda r, i: "lowered" if r.work else "raised", ["work", "lifted"])
    for k in range(4):
        log.col(f"Part width {k + 1}", lambda r, i, k=k: "on" if r.sections[k] else "off", ["section", "extra"], number=k + 1)
    for b in range(2):
        log.col(f"Hopper {b + 1} setpoint [kg/ha]", lambda r, i, b=b: number(r.asked[b], 1, True), "asked", unit="kg/ha", bin=str(b + 1))
        log.col(f"Hopper {b + 1} measured [kg/ha]", lambda r, i, b=b: number(r.echoed[b], 1, True), "echoed", unit="kg/ha", bin=str(b + 1))
        log.col(f"Hopper {b + 1} fill level [kg]", lambda r, i, b=b: number(r.left_kg[b], 0), "extra")
    log.col("Worked hectares", lambda r, i: number(r.area_m2 / 1e4, 3, True), "area", unit="ha")
    log.col("Blower [1/min]", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Soil temperature [°C]", lambda r, i: number(r.warm_c, 1, True), "extra")
    log.save(
        folder, (lines([log.header()], ";") + lines(log.cells(), ";")).encode("cp1252"), open_=["zone"], answers={"zone": "Europe/Warsaw"}
    )


def carnet(folder):
    """French cut short in capitals, without accents, tabs, date and hour in one."""
    zone = ZoneInfo("Europe/Paris")
    rows = drive(seed=402, rows=150, bins=[Bin(130, 0.36)], sections=3, width_m=3.0, bearing_deg=150, speed_m_s=2.4)
    when, place = at(datetime(2024, 3, 19, 9, 14, 0, tzinfo=zone), zone), around(-0.3312, 46.2217)
    log = Log("carnet", carnet.__doc__, rows, when, place)
    log.col("DATE_H", lambda r, i: when(r).strftime("%d/%m/%Y %H:%M:%S"), "time", unit="d/m/y local")
    log.col("LATI", lambda r, i: number(place(r)[1], 7), "lat", unit="deg")
    log.col("LONGI", lambda r, i: number(place(r)[0], 7), "lon", unit="deg")
    log.col("VIT_KMH", lambda r, i: number(r.speed_m_s * KMH, 2), "speed", unit="km/h")
    log.col("CAP_DEG", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("RELEV", lambda r, i: "0" if r.work else "1", "lifted")
    for k in range(3):
        log.col(f"TR{k + 1}", lambda r, i, k=k: "1" if r.sections[k] else "0", ["section", "extra"], number=k + 1)
    log.col("CONS_KGHA", lambda r, i: number(r.asked[0], 0), ["asked", "extra"], unit="kg/ha", bin="any")
    log.col("MES_KGHA", lambda r, i: number(r.echoed[0], 1), ["echoed", "extra"], unit="kg/ha", bin="any")
    log.col("SURF_HA", lambda r, i: number(r.area_m2 / 1e4, 4), "area", unit="ha")
    log.col("VENT_TRMIN", lambda r, i: number(r.fan_rpm, 0), ["fan", "extra"], unit="rpm")
    log.save(
        folder,
        (lines([log.header()], "\t", "\n") + lines(log.cells(), "\t", "\n")).encode(),
        open_=["zone"],
        answers={"zone": "Europe/Paris"},
        ending="tsv",
    )


def stake(folder):
    """Northing before easting in US survey feet, feet a second, an odometer that began elsewhere, twelve-hour clock and date apart."""
    zone = ZoneInfo("America/Chicago")
    rows = drive(seed=403, rows=190, bins=[Bin(100, 0.3)], sections=1, width_m=12.2, bearing_deg=0.5, speed_m_s=2.3, length_m=160)
    when = at(datetime(2024, 5, 28, 15, 31, 7, tzinfo=zone), zone)
    place, grid = projected("EPSG:26852", -98.7712, 41.1127)
    log = Log("stake", stake.__doc__, rows, when, place)
    log.col("Date", lambda r, i: when(r).strftime("%m/%d/%Y"), "date", unit="m/d/y local")
    log.col("Time", lambda r, i: when(r).strftime("%I:%M:%S %p"), ["clock", "time"], unit="local am/pm")
    log.col("Northing (US ft)", lambda r, i: number(grid(r)[1], 3), "north", unit="us-ft")
    log.col("Easting (US ft)", lambda r, i: number(grid(r)[0], 3), "east", unit="us-ft")
    log.col("Ground speed (ft/s)", lambda r, i: number(r.speed_m_s * FOOT, 2), "speed", unit="ft/s")
    log.col("Bearing", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("Lift", lambda r, i: "down" if r.work else "up", ["lifted", "work"])
    log.col("Rate setpoint (lbs/ac)", lambda r, i: number(r.asked[0] * LB_AC, 1), "asked", unit="lb/ac", bin="any")
    log.col("Rate sensor (lbs/ac)", lambda r, i: number(r.echoed[0] * LB_AC, 1), ["echoed", "extra"], unit="lb/ac", bin="any")
    log.col("Odometer (ft)", lambda r, i: number(r.distance_m * FOOT + 90_000, 1), "distance", unit="ft")
    log.col("Fan tach", lambda r, i: number(r.fan_rpm, 0), ["fan", "extra"], unit="rpm")
    log.col("Elevation (US ft)", lambda r, i: number(r.altitude_m * FOOT, 2), "extra")
    log.save(folder, (lines([log.header()], ",") + lines(log.cells(), ",")).encode(), open_=["crs", "zone"],
             answers={"zone": "America/Chicago", "crs": "EPSG:26852"}, crs="EPSG:26852")  # fmt: skip


def kiste(folder):
    """German as a programmer writes it, ISO times with an offset, sections as bits, the unit at the end of each name."""
    zone = timezone(timedelta(hours=2))
    rows = drive(seed=404, rows=200, dt=0.5, bins=[Bin(150, 0.4)], sections=6, width_m=6.0, bearing_deg=-110, speed_m_s=2.6, length_m=100)
    when, place = at(datetime(2024, 9, 30, 7, 48, 0, tzinfo=UTC), zone), around(14.1117, 48.0922)
    log = Log("kiste", kiste.__doc__, rows, when, place)
    log.col("zeit_iso", lambda r, i: when(r).isoformat(timespec="milliseconds"), "time", unit="iso with offset")
    log.col("breite_grad", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    log.col("laenge_grad", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    log.col("geschw_m_s", lambda r, i: number(r.speed_m_s, 3), "speed", unit="m/s")
    log.col("kurs_grad", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("in_arbeit", lambda r, i: "1" if r.work else "0", "work")
    log.col("soll_kg_ha", lambda r, i: number(r.asked[0], 1), "asked", unit="kg/ha", bin="any")
    log.col("ist_kg_ha", lambda r, i: number(r.echoed[0], 1), "echoed", unit="kg/ha", bin="any")
    log.col("dosierer_umdr", lambda r, i: number(r.turns[0], 3), "turns", unit="turns", bin="any")
    log.col("teilbreiten_bits", lambda r, i: str(sum(1 << k for k, s in enumerate(r.sections) if s)), "sections")
    log.col("weg_m", lambda r, i: number(r.distance_m, 2), "distance", unit="m")
    log.col("flaeche_ha", lambda r, i: number(r.area_m2 / 1e4, 5), "area", unit="ha")
    log.col("geblaese_1_min", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("hydr_druck_bar", lambda r, i: "145", "extra")
    log.save(folder, (lines([log.header()], ",", "\n") + lines(log.cells(), ",", "\n")).encode(), answers={})


SHAPES = (translated, carnet, stake, kiste)

if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    target.mkdir(parents=True, exist_ok=True)
    for shape in SHAPES:
        shape(target)
