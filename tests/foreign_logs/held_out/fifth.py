"""Write the fifth round of held-out logs: `python tests/foreign_logs/held_out/fifth.py [FOLDER]`. Made from the wording of the wish alone, after the
reader had been mended on the first eighteen; docs/trails.md tells how it did on these at first sight."""

import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).parent.parent))

from drive import Bin, drive
from make import ACRE, FOOT, KMH, LB_AC, MPH, Log, around, at, lines, number, projected, quoted

HERE = Path(__file__).parent


def thousands(value, digits):
    """A number with dots between the thousands and a decimal comma."""
    return f"{value:,.{digits}f}".replace(",", "_").replace(".", ",").replace("_", ".")


def taccuino(folder):
    """Italian, decimal comma, semicolons, date and hour apart."""
    zone = ZoneInfo("Europe/Rome")
    rows = drive(seed=501, rows=160, bins=[Bin(180, 0.4)], sections=1, width_m=4.0, bearing_deg=62, speed_m_s=2.2)
    when, place = at(datetime(2024, 10, 29, 8, 12, 40, tzinfo=zone), zone), around(11.2201, 44.6713)
    log = Log("taccuino", taccuino.__doc__, rows, when, place)
    log.col("Data", lambda r, i: when(r).strftime("%d/%m/%Y"), "date", unit="d/m/y local")
    log.col("Ora", lambda r, i: when(r).strftime("%H:%M:%S"), ["clock", "time"], unit="local")
    log.col("Latitudine", lambda r, i: number(place(r)[1], 8, True), "lat", unit="deg")
    log.col("Longitudine", lambda r, i: number(place(r)[0], 8, True), "lon", unit="deg")
    log.col("Velocità (km/h)", lambda r, i: number(r.speed_m_s * KMH, 1, True), "speed", unit="km/h")
    log.col("Direzione (°)", lambda r, i: number(r.heading_deg, 0), "heading", unit="deg")
    log.col("Seminatrice abbassata", lambda r, i: "sì" if r.work else "no", ["work", "lifted"])
    log.col("Dose impostata (kg/ha)", lambda r, i: number(r.asked[0], 0), "asked", unit="kg/ha", bin="any")
    log.col("Dose effettiva (kg/ha)", lambda r, i: number(r.echoed[0], 1, True), "echoed", unit="kg/ha", bin="any")
    log.col("Superficie lavorata (ha)", lambda r, i: number(r.area_m2 / 1e4, 3, True), "area", unit="ha")
    log.col("Giri ventola (giri/min)", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Temp. aria (°C)", lambda r, i: number(r.warm_c, 1, True), "extra")
    log.save(folder, (lines([log.header()], ";") + lines(log.cells(), ";")).encode(), open_=["zone"], answers={"zone": "Europe/Rome"})


def zweisprachig(folder):
    """Every name in two languages with a stroke between, units in square brackets, a title above."""
    zone = ZoneInfo("Europe/Zurich")
    rows = drive(seed=502, rows=170, bins=[Bin(140, 0.4), Bin(60, 0.3)], sections=4, width_m=6.0, bearing_deg=-48, speed_m_s=2.6)
    when, place = at(datetime(2024, 9, 19, 10, 5, 0, tzinfo=zone), zone), around(7.5512, 47.0133)
    log = Log("zweisprachig", zweisprachig.__doc__, rows, when, place)
    log.col("Zeit / Heure", lambda r, i: when(r).strftime("%d.%m.%Y %H:%M:%S"), "time", unit="d.m.y local")
    log.col("Länge / Longitude [°]", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    log.col("Breite / Latitude [°]", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    log.col("Geschwindigkeit / Vitesse [km/h]", lambda r, i: number(r.speed_m_s * KMH, 1), "speed", unit="km/h")
    log.col("Fahrtrichtung / Cap [°]", lambda r, i: number(r.heading_deg, 0), "heading", unit="deg")
    log.col("Arbeitsstellung / Position de travail", lambda r, i: "1" if r.work else "0", ["work", "lifted"])
    for k in range(4):
        log.col(f"Teilbreite / Tronçon {k + 1}", lambda r, i, k=k: "1" if r.sections[k] else "0", "section", number=k + 1)
    for b in range(2):
        log.col(f"Soll / Consigne {b + 1} [kg/ha]", lambda r, i, b=b: number(r.asked[b], 0), "asked", unit="kg/ha", bin=str(b + 1))
        log.col(f"Ist / Mesuré {b + 1} [kg/ha]", lambda r, i, b=b: number(r.echoed[b], 1), "echoed", unit="kg/ha", bin=str(b + 1))
    log.col("Gebläse / Ventilateur [U/min]", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Höhe / Altitude [m]", lambda r, i: number(r.altitude_m, 1), "extra")
    text = "Protokoll / Protocole 2024\r\n\r\n" + lines([log.header()], "\t") + lines(log.cells(), "\t")
    log.save(folder, text.encode(), open_=["zone"], answers={"zone": "Europe/Zurich"}, ending="txt")


def kataster(folder):
    """Projected metres with dots between the thousands and a decimal comma, units in a row of their own, two header rows above it."""
    zone = ZoneInfo("Europe/Berlin")
    rows = drive(seed=503, rows=180, bins=[Bin(155, 0.4)], sections=3, width_m=9.0, bearing_deg=11, speed_m_s=3.0)
    when = at(datetime(2024, 4, 2, 13, 40, 10, tzinfo=zone), zone)
    place, grid = projected("EPSG:25833", 13.4422, 53.2211)
    log = Log("kataster", kataster.__doc__, rows, when, place)
    units = []

    def col(name, below, cell, role, **truth):
        units.append(below)
        log.col(name, cell, role, **truth)

    col("Uhrzeit", "hh:mm:ss", lambda r, i: when(r).strftime("%H:%M:%S"), ["clock", "time"], unit="local")
    col("Datum", "TT.MM.JJJJ", lambda r, i: when(r).strftime("%d.%m.%Y"), "date", unit="d.m.y local")
    col("Rechtswert", "m", lambda r, i: thousands(grid(r)[0], 2), "east", unit="m")
    col("Hochwert", "m", lambda r, i: thousands(grid(r)[1], 2), "north", unit="m")
    col("Tempo", "km/h", lambda r, i: number(r.speed_m_s * KMH, 1, True), "speed", unit="km/h")
    col("Maschine", "", lambda r, i: "unten" if r.work else "oben", ["work", "lifted"])
    for k, side in enumerate(("links", "Mitte", "rechts")):
        col(f"TB {side}", "", lambda r, i, k=k: "ein" if r.sections[k] else "aus", ["section", "extra"])
    col("Sollmenge", "kg/ha", lambda r, i: number(r.asked[0], 1, True), "asked", unit="kg/ha", bin="any")
    col("Istmenge", "kg/ha", lambda r, i: number(r.echoed[0], 1, True), "echoed", unit="kg/ha", bin="any")
    col("Dosierwelle", "U", lambda r, i: thousands(r.turns[0] + 1200, 2), ["turns", "extra"], unit="turns", bin="any")
    col("Fläche", "ha", lambda r, i: number(r.area_m2 / 1e4, 3, True), "area", unit="ha")
    col("Wegstrecke", "m", lambda r, i: thousands(r.distance_m, 1), "distance", unit="m")
    col("Gebläse", "1/min", lambda r, i: thousands(r.fan_rpm, 0), "fan", unit="rpm")
    text = "Aufzeichnung;Drillen\r\nSchlag;Am Kataster 4\r\n" + lines([log.header(), units], ";") + lines(log.cells(), ";")
    log.save(folder, text.encode("cp1252"), not_rows=["row of units"], open_=["crs", "zone"],
             answers={"zone": "Europe/Berlin", "crs": "EPSG:25833"}, crs="EPSG:25833")  # fmt: skip


def halves(folder):
    """Degrees and minutes in columns of their own, the hemisphere only in the name, knots."""
    rows = drive(seed=504, rows=150, dt=2.0, bins=[Bin(70, 0.3)], sections=1, width_m=12.0, bearing_deg=-130, speed_m_s=2.4, length_m=200)
    when, place = at(datetime(2024, 5, 30, 22, 10, 2, tzinfo=UTC)), around(138.9233, -34.0512)
    log = Log("halves", halves.__doc__, rows, when, place)
    log.col("Fix time UTC", lambda r, i: when(r).strftime("%Y-%m-%d %H:%M:%S"), "time", unit="utc")
    log.col("S deg min", lambda r, i: f"{int(-place(r)[1])} {(-place(r)[1] % 1) * 60:09.6f}", "lat", unit="deg min", told="lat dms south")
    log.col("E deg min", lambda r, i: f"{int(place(r)[0])} {(place(r)[0] % 1) * 60:09.6f}", "lon", unit="deg min", told="lon dms")
    log.col("SOG kt", lambda r, i: number(r.speed_m_s * 3600 / 1852, 2), "speed", unit="kn")
    log.col("COG true", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("Quality", lambda r, i: "4", ["fix", "extra"])
    log.col("Seeding", lambda r, i: "Y" if r.work else "N", ["work", "extra"])
    log.col("Target kg/ha", lambda r, i: number(r.asked[0], 0), "asked", unit="kg/ha", bin="any")
    log.col("Actual kg/ha", lambda r, i: number(r.echoed[0], 1), "echoed", unit="kg/ha", bin="any")
    log.col("Bin kg left", lambda r, i: number(r.left_kg[0], 0), "extra")
    log.save(folder, (lines([log.header()], ",", "\n") + lines(log.cells(), ",", "\n")).encode(), answers={})


def grades(folder):
    """Imperial, products by their names and grades in place of bins, acres an hour, a column that is always empty."""
    zone = ZoneInfo("America/Winnipeg")
    rows = drive(seed=505, rows=200, bins=[Bin(130, 0.35), Bin(90, 0.4)], sections=5, width_m=18.3, bearing_deg=88, speed_m_s=2.2)
    when, place = at(datetime(2024, 5, 16, 16, 4, 11, tzinfo=zone), zone), around(-99.9122, 50.3412)
    log = Log("grades", grades.__doc__, rows, when, place)
    log.col("Logged", lambda r, i: when(r).strftime("%m/%d/%y %H:%M:%S"), "time", unit="m/d/y local")
    log.col("Latitude", lambda r, i: number(place(r)[1], 7), "lat", unit="deg")
    log.col("Longitude", lambda r, i: number(place(r)[0], 7), "lon", unit="deg")
    log.col("Mph", lambda r, i: number(r.speed_m_s * MPH, 1), "speed", unit="mph")
    log.col("Acres/hr", lambda r, i: number(r.speed_m_s * 18.3 * 3600 * ACRE, 1), "extra")
    log.col("Acres", lambda r, i: number(r.area_m2 * ACRE, 3), "area", unit="ac")
    for b, what in enumerate(("Wheat", "11-52-0")):
        log.col(f"{what} target lb/ac", lambda r, i, b=b: number(r.asked[b] * LB_AC, 0), "asked", unit="lb/ac", bin="any")
        log.col(f"{what} applied lb/ac", lambda r, i, b=b: number(r.echoed[b] * LB_AC, 1), "echoed", unit="lb/ac", bin="any")
        log.col(f"{what} lb left", lambda r, i, b=b: number(r.left_kg[b] / 0.45359237, 0), "extra")
    for k in range(5):
        log.col(f"Sec {k + 1}", lambda r, i, k=k: "On" if r.sections[k] else "Off", "section", number=k + 1)
    log.col("Tool", lambda r, i: "Down" if r.work else "Up", ["work", "lifted", "extra"])
    log.col("Alarm", lambda r, i: "", "extra")
    log.col("Fan (RPM)", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.save(folder, (lines([log.header()], ",") + lines(log.cells(), ",")).encode(), open_=["zone"], answers={"zone": "America/Winnipeg"})


def dotted(folder):
    """A telemetry dump: dots between the words of a name, bins counted from nought, true and false, null where nothing is known."""
    rows = drive(seed=506, rows=210, dt=0.5, bins=[Bin(120, 0.3), Bin(55, 0.3), Bin(3, 0.02)], sections=4, runs=6, width_m=12.2, bearing_deg=130,
                 speed_m_s=2.1)  # fmt: skip
    when, place = at(datetime(2024, 5, 11, 1, 59, 59, tzinfo=UTC)), around(-106.0233, 52.1144)
    log = Log("dotted", dotted.__doc__, rows, when, place)
    log.col("meta.ts", lambda r, i: str(int(when(r).timestamp() * 1000)), "time", unit="epoch ms")
    log.col("pos.lat", lambda r, i: number(place(r)[1], 9), "lat", unit="deg")
    log.col("pos.lon", lambda r, i: number(place(r)[0], 9), "lon", unit="deg")
    log.col("pos.alt", lambda r, i: number(r.altitude_m, 2), "extra")
    log.col("motion.speed", lambda r, i: number(r.speed_m_s, 3), "speed", unit="m/s")
    log.col("motion.heading", lambda r, i: number(r.heading_deg, 2), "heading", unit="deg")
    log.col("tool.lowered", lambda r, i: "true" if r.work else "false", ["work", "lifted"])
    for k in range(4):
        log.col(f"tool.section.{k + 1}.on", lambda r, i, k=k: "true" if r.sections[k] else "false", "section", number=k + 1)
    for b in range(3):
        log.col(f"bin.{b + 1}.rate.set", lambda r, i, b=b: number(r.asked[b], 2), ["asked", "extra"], unit="kg/ha", bin=str(b + 1))
        log.col(f"bin.{b + 1}.rate.actual", lambda r, i, b=b: number(r.echoed[b], 2) if i % 17 else "null", ["echoed", "extra"], unit="kg/ha",
                bin=str(b + 1))  # fmt: skip
        log.col(f"bin.{b + 1}.meter.revolutions", lambda r, i, b=b: number(r.turns[b], 3), "turns", unit="turns", bin=str(b + 1))
    for k in range(6):
        log.col(f"run.{k + 1}.flow", lambda r, i, k=k: "true" if r.runs[k] else "false", "run", number=k + 1)
    log.col("fan.speed", lambda r, i: number(r.fan_rpm, 1), "fan", unit="rpm")
    log.col("engine.speed", lambda r, i: number(r.engine_rpm, 0), "extra")
    log.save(folder, (lines([log.header()], ",", "\n") + lines(log.cells(), ",", "\n")).encode(), answers={})


def newest(folder):
    """A table saved from a screen: the newest row first, every cell in quotes, a number before the rows."""
    zone = ZoneInfo("America/Edmonton")
    rows = drive(seed=507, rows=140, bins=[Bin(95, 0.3)], sections=2, width_m=15.0, bearing_deg=45, speed_m_s=2.5, length_m=170)
    when, place = at(datetime(2024, 5, 9, 19, 20, 0, tzinfo=zone), zone), around(-112.4411, 51.7722)
    log = Log("newest", newest.__doc__, rows, when, place)
    log.col("#", lambda r, i: str(len(rows) - i), "extra")
    log.col("Date/time (local)", lambda r, i: when(r).strftime("%Y-%m-%d %H:%M:%S"), "time", unit="ymd local")
    log.col("Lat", lambda r, i: number(place(r)[1], 7), "lat", unit="deg")
    log.col("Long", lambda r, i: number(place(r)[0], 7), "lon", unit="deg")
    log.col("Speed, km/h", lambda r, i: number(r.speed_m_s * KMH, 1), "speed", unit="km/h")
    log.col("Direction", lambda r, i: number(r.heading_deg, 0), ["heading", "extra"], unit="deg")
    log.col("Ground engaged", lambda r, i: "Yes" if r.work else "No", ["work", "lifted", "extra"])
    log.col("Setpoint, kg/ha", lambda r, i: number(r.asked[0], 0), "asked", unit="kg/ha", bin="any")
    log.col("Measured, kg/ha", lambda r, i: number(r.echoed[0], 0), "echoed", unit="kg/ha", bin="any")
    log.col("Hectares", lambda r, i: number(r.area_m2 / 1e4, 2), "area", unit="ha")
    text = lines([quoted(log.header())], ",") + lines([quoted(c) for c in reversed(log.cells())], ",")
    log.save(folder, text.encode(), open_=["zone"], answers={"zone": "America/Edmonton"})


def liquid(folder):
    """Seed by mass, a liquid by volume and a count of seeds: only the mass is a rate of a bin."""
    zone = ZoneInfo("Europe/Paris")
    rows = drive(seed=508, rows=170, bins=[Bin(110, 0.35), Bin(85, 0.4)], sections=2, width_m=6.0, bearing_deg=-9, speed_m_s=2.3)
    when, place = at(datetime(2024, 3, 27, 15, 0, 1, tzinfo=zone), zone), around(2.7021, 48.4103)
    log = Log("liquid", liquid.__doc__, rows, when, place)
    log.col("date", lambda r, i: when(r).strftime("%Y-%m-%d"), "date", unit="ymd local")
    log.col("heure locale", lambda r, i: when(r).strftime("%H:%M:%S"), ["clock", "time"], unit="local")
    log.col("latitude", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    log.col("longitude", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    log.col("vitesse d'avancement [m/s]", lambda r, i: number(r.speed_m_s, 2), "speed", unit="m/s")
    log.col("outil en terre", lambda r, i: "oui" if r.work else "non", ["work", "lifted", "extra"])
    log.col("semence consigne [kg/ha]", lambda r, i: number(r.asked[0], 1), "asked", unit="kg/ha", bin="any")
    log.col("semence réel [kg/ha]", lambda r, i: number(r.echoed[0], 1), "echoed", unit="kg/ha", bin="any")
    log.col("engrais liquide consigne [L/ha]", lambda r, i: number(r.asked[1], 0), "extra")
    log.col("engrais liquide réel [L/ha]", lambda r, i: number(r.echoed[1], 1), "extra")
    log.col("densité [grains/m²]", lambda r, i: number(r.echoed[0] * 2.4, 0), "extra")
    log.col("pression [bar]", lambda r, i: number(2.1 + 0.01 * (i % 9), 2), "extra")
    log.col("surface [ha]", lambda r, i: number(r.area_m2 / 1e4, 4), "area", unit="ha")
    log.save(folder, (lines([log.header()], ";") + lines(log.cells(), ";")).encode(), open_=["zone"], answers={"zone": "Europe/Paris"})


def daybook(folder):
    """Twelve-hour clock with a letter, the date only above the header, feet a minute, sections drawn as crosses and dashes."""
    zone = ZoneInfo("America/Chicago")
    rows = drive(seed=509, rows=150, dt=2.0, bins=[Bin(100, 0.3)], sections=6, width_m=12.2, bearing_deg=170, speed_m_s=2.2, length_m=230)
    when, place = at(datetime(2024, 4, 29, 11, 58, 0, tzinfo=zone), zone), around(-97.2101, 43.9011)
    log = Log("daybook", daybook.__doc__, rows, when, place)
    log.col("Clock", lambda r, i: when(r).strftime("%I:%M:%S") + when(r).strftime("%p").lower()[0], ["clock", "time"], unit="local am/pm")
    log.col("West long.", lambda r, i: number(-place(r)[0], 7), "lon", unit="deg", must_ask=True, told="lon deg west")
    log.col("North lat.", lambda r, i: number(place(r)[1], 7), "lat", unit="deg")
    log.col("Ft/min", lambda r, i: number(r.speed_m_s * FOOT * 60, 0), "speed", unit="ft/min")
    log.col("Sections L-R", lambda r, i: "".join("x" if s else "-" for s in r.sections), ["sections", "extra"])
    log.col("Lb/ac wanted", lambda r, i: number(r.asked[0] * LB_AC, 0), ["asked", "extra"], unit="lb/ac", bin="any")
    log.col("Lb/ac got", lambda r, i: number(r.echoed[0] * LB_AC, 1), ["echoed", "extra"], unit="lb/ac", bin="any")
    log.col("Meter turns", lambda r, i: number(r.turns[0], 2), "turns", unit="turns", bin="any")
    log.col("Fan rpm", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    text = "Date: April 29, 2024\nQuarter: NE 14\n\n" + lines([log.header()], "\t", "\n") + lines(log.cells(), "\t", "\n")
    log.save(folder, text.encode(), open_=["start"], answers={"start": "2024-04-29", "zone": "America/Chicago"}, ending="tsv")


def mislabelled(folder):
    """A name that says miles an hour over numbers that are kilometres an hour, and a unit of area that was left from an older display."""
    zone = timezone(timedelta(hours=-6))
    rows = drive(seed=510, rows=180, bins=[Bin(88, 0.3)], sections=3, width_m=10.0, bearing_deg=33, speed_m_s=2.5)
    when, place = at(datetime(2024, 5, 21, 17, 31, 0, tzinfo=UTC), zone), around(-103.3022, 51.2201)
    log = Log("mislabelled", mislabelled.__doc__, rows, when, place)
    log.col("time", lambda r, i: when(r).isoformat(), "time", unit="iso with offset")
    log.col("lat", lambda r, i: number(place(r)[1], 7), "lat", unit="deg")
    log.col("lon", lambda r, i: number(place(r)[0], 7), "lon", unit="deg")
    log.col("speed_mph", lambda r, i: number(r.speed_m_s * KMH, 1), "speed", unit="km/h", must_ask=True)
    log.col("course_deg", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("raised", lambda r, i: "0" if r.work else "1", "lifted")
    for k in range(3):
        log.col(f"gate_{k + 1}", lambda r, i, k=k: "1" if r.sections[k] else "0", ["section", "extra"], number=k + 1)
    log.col("set_kgha", lambda r, i: number(r.asked[0], 0), "asked", unit="kg/ha", bin="any")
    log.col("act_kgha", lambda r, i: number(r.echoed[0], 1), "echoed", unit="kg/ha", bin="any")
    log.col("dist_total_m", lambda r, i: number(r.distance_m, 1), "distance", unit="m")
    log.col("dist_step_m", lambda r, i: number(r.step_m, 2), "step", unit="m")
    log.save(folder, (lines([log.header()], ",", "\n") + lines(log.cells(), ",", "\n")).encode(), open_=["unit of speed"], answers={})


def wahlweise(folder):
    """German in capitals without dots over its letters, seconds since midnight beside a date run together, degrees times ten million."""
    rows = drive(
        seed=511, rows=190, dt=0.2, bins=[Bin(165, 0.4), Bin(45, 0.3)], sections=8, width_m=6.0, bearing_deg=-60, speed_m_s=3.1, length_m=90
    )
    when, place = at(datetime(2024, 9, 25, 13, 5, 7, tzinfo=UTC)), around(10.1144, 54.2011)
    log = Log("wahlweise", wahlweise.__doc__, rows, when, place)

    def second(r):
        t = when(r)
        return number(t.hour * 3600 + t.minute * 60 + t.second + t.microsecond / 1e6, 1)

    log.col("DATUM_UTC", lambda r, i: when(r).strftime("%Y%m%d"), "date", unit="yyyymmdd utc")
    log.col("SEKUNDE_TAG_UTC", lambda r, i: second(r), ["clock", "time", "extra"], unit="s of day")
    log.col("BREITE_1E7", lambda r, i: str(round(place(r)[1] * 1e7)), "lat", unit="deg e7")
    log.col("LAENGE_1E7", lambda r, i: str(round(place(r)[0] * 1e7)), "lon", unit="deg e7")
    log.col("GESCHW_MM_S", lambda r, i: number(r.speed_m_s * 1000, 0), ["speed", "extra"], unit="mm/s")
    log.col("KURS_GRAD", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("AUSGEHOBEN", lambda r, i: "0" if r.work else "1", "lifted")
    log.col("TEILBREITEN_HEX", lambda r, i: f"{sum(1 << k for k, s in enumerate(r.sections) if s):02X}", ["sections", "extra"])
    for b in range(2):
        log.col(f"SOLL_{b + 1}_KG_HA", lambda r, i, b=b: number(r.asked[b], 1), "asked", unit="kg/ha", bin=str(b + 1))
        log.col(f"IST_{b + 1}_KG_HA", lambda r, i, b=b: number(r.echoed[b], 1), "echoed", unit="kg/ha", bin=str(b + 1))
        log.col(f"UMDR_{b + 1}", lambda r, i, b=b: number(r.turns[b], 3), "turns", unit="turns", bin=str(b + 1))
    log.col("GEBLAESE_UPM", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.save(
        folder,
        (lines([log.header()], ";", "\n") + lines(log.cells(), ";", "\n")).encode(),
        open_=["start"],
        answers={"start": "2024-09-25T00:00:00Z"},
    )


def padded(folder):
    """Columns held in line by spaces, a line of dashes under the names, units in brackets below, no heading, a local clock with its offset beside it."""
    zone = timezone(timedelta(hours=10))
    rows = drive(
        seed=512, rows=140, bins=[Bin(60, 0.3), Bin(70, 0.3)], sections=2, width_m=18.3, bearing_deg=101, speed_m_s=2.4, length_m=210
    )
    when, place = at(datetime(2024, 5, 17, 20, 45, 30, tzinfo=UTC), zone), around(146.2205, -35.3312)
    log = Log("padded", padded.__doc__, rows, when, place)
    units = []

    def col(name, below, cell, role, **truth):
        units.append(below)
        log.col(name, cell, role, **truth)

    col("Date", "(d-m-y)", lambda r, i: when(r).strftime("%d-%m-%Y"), "date", unit="d-m-y local")
    col("Local", "(h:m:s)", lambda r, i: when(r).strftime("%H:%M:%S"), ["clock", "time"], unit="local")
    col("Offset", "(h)", lambda r, i: "+10:00", "extra")
    col("Lat", "(deg)", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    col("Lon", "(deg)", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    col("Vel", "(km/h)", lambda r, i: number(r.speed_m_s * KMH, 2), "speed", unit="km/h")
    col("InGround", "(1/0)", lambda r, i: "1" if r.work else "0", ["work", "extra"])
    col("SeedSet", "(kg/ha)", lambda r, i: number(r.asked[0], 1), "asked", unit="kg/ha", bin="any")
    col("SeedNow", "(kg/ha)", lambda r, i: number(r.echoed[0], 1), ["echoed", "extra"], unit="kg/ha", bin="any")
    col("FertSet", "(kg/ha)", lambda r, i: number(r.asked[1], 1), "asked", unit="kg/ha", bin="any")
    col("FertNow", "(kg/ha)", lambda r, i: number(r.echoed[1], 1), ["echoed", "extra"], unit="kg/ha", bin="any")
    col("Trip", "(km)", lambda r, i: number(r.distance_m / 1000, 4), "distance", unit="km")
    col("Fan", "(rev/s)", lambda r, i: number(r.fan_rpm / 60, 2), "fan", unit="1/s")
    wide = [12, 10, 8, 14, 14, 8, 10, 9, 9, 9, 9, 9, 9]

    def line(cells):
        return "".join(c.rjust(w) for c, w in zip(cells, wide, strict=True)) + "\n"

    text = line(log.header()) + line(["-" * (w - 2) for w in wide]) + line(units) + "".join(line(c) for c in log.cells())
    log.save(folder, text.encode(), not_rows=["row of units"], open_=["zone"], answers={"zone": "+10:00"}, ending="txt")


def registro(folder):
    """Spanish words and English ones mixed, a semicolon at the end of each line, local time with the zone's letters, dose by product."""
    zone = timezone(timedelta(hours=-3))
    rows = drive(seed=513, rows=160, bins=[Bin(105, 0.3), Bin(50, 0.3)], sections=3, width_m=9.1, bearing_deg=-20, speed_m_s=2.3)
    when, place = at(datetime(2024, 6, 21, 12, 15, 0, tzinfo=UTC), zone), around(-60.5512, -33.9012)
    log = Log("registro", registro.__doc__, rows, when, place)
    log.col("Fecha y hora", lambda r, i: when(r).strftime("%d/%m/%Y %H:%M:%S") + " GMT-3", "time", unit="d/m/y with offset")
    log.col("Lat", lambda r, i: number(place(r)[1], 7, True), "lat", unit="deg")
    log.col("Lon", lambda r, i: number(place(r)[0], 7, True), "lon", unit="deg")
    log.col("Vel. (km/h)", lambda r, i: number(r.speed_m_s * KMH, 1, True), "speed", unit="km/h")
    log.col("Rumbo (°)", lambda r, i: number(r.heading_deg, 0), "heading", unit="deg")
    log.col("Estado", lambda r, i: "trabajando" if r.work else "levantada", ["work", "lifted", "extra"])
    for k in range(3):
        log.col(f"Sección {k + 1}", lambda r, i, k=k: "1" if r.sections[k] else "0", "section", number=k + 1)
    for b, what in enumerate(("Semilla", "Fertilizante")):
        log.col(f"{what} target (kg/ha)", lambda r, i, b=b: number(r.asked[b], 0), "asked", unit="kg/ha", bin="any")
        log.col(f"{what} real (kg/ha)", lambda r, i, b=b: number(r.echoed[b], 1, True), "echoed", unit="kg/ha", bin="any")
    log.col("Área (ha)", lambda r, i: number(r.area_m2 / 1e4, 3, True), "area", unit="ha")
    log.col("Turbina (rpm)", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.save(folder, (lines([log.header()], ";", tail=";") + lines(log.cells(), ";", tail=";")).encode("cp1252"), answers={})


def decoys(folder):
    """Names that say less, or more, than they hold: rates of the plan beside the set one, speeds of the wind and the fan, distances to the edge."""
    rows = drive(seed=514, rows=200, bins=[Bin(125, 0.35)], sections=2, width_m=12.0, bearing_deg=25, speed_m_s=2.7)
    when, place = at(datetime(2024, 5, 6, 15, 42, 9, tzinfo=UTC)), around(-101.7733, 49.4055)
    log = Log("decoys", decoys.__doc__, rows, when, place)
    log.col("Received (UTC)", lambda r, i: (when(r) + timedelta(seconds=4)).strftime("%Y-%m-%d %H:%M:%S"), ["extra", "time"], unit="utc")
    log.col("Measured (UTC)", lambda r, i: when(r).strftime("%Y-%m-%d %H:%M:%S"), ["time", "extra"], unit="utc")
    log.col("Base latitude", lambda r, i: "49.4000000", "extra")
    log.col("Base longitude", lambda r, i: "-101.7700000", "extra")
    log.col("Latitude", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    log.col("Longitude", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    log.col("Wind speed (km/h)", lambda r, i: number(14 + (i % 13) * 0.7, 1), "extra")
    log.col("Wind direction (deg)", lambda r, i: number(270 + i % 21, 0), "extra")
    log.col("Ground speed (km/h)", lambda r, i: number(r.speed_m_s * KMH, 2), "speed", unit="km/h")
    log.col("Max speed (km/h)", lambda r, i: "12.0", "extra")
    log.col("Distance to edge (m)", lambda r, i: number(abs(70 - (r.y_m % 140)), 1), "extra")
    log.col("Field area (ha)", lambda r, i: "41.2", "extra")
    log.col("Planned rate (kg/ha)", lambda r, i: "120.0", ["extra", "asked"], unit="kg/ha", bin="any")
    log.col("Set rate (kg/ha)", lambda r, i: number(r.asked[0], 1), ["asked", "extra"], unit="kg/ha", bin="any")
    log.col("Reported rate (kg/ha)", lambda r, i: number(r.echoed[0], 1), "echoed", unit="kg/ha", bin="any")
    log.col("Mean rate today (kg/ha)", lambda r, i: number(124 + 0.001 * i, 2), "extra")
    log.col("Rate error (kg/ha)", lambda r, i: number(r.echoed[0] - r.asked[0], 1), "extra")
    log.col("Hydraulic motor (rpm)", lambda r, i: number(r.fan_rpm * 0.8, 0), "extra")
    log.col("Fan (rpm)", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Fan alarm low (rpm)", lambda r, i: "3800", "extra")
    log.col("Headland", lambda r, i: "0" if r.work else "1", ["extra"])
    log.col("Sown", lambda r, i: "1" if r.work else "0", ["work", "extra"])
    log.save(folder, (lines([log.header()], ",", "\n") + lines(log.cells(), ",", "\n")).encode(), answers={})


SHAPES = (
    taccuino,
    zweisprachig,
    kataster,
    halves,
    grades,
    dotted,
    newest,
    liquid,
    daybook,
    mislabelled,
    wahlweise,
    padded,
    registro,
    decoys,
)

if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    target.mkdir(parents=True, exist_ok=True)
    for shape in SHAPES:
        shape(target)
