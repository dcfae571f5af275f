"""Write the second round of held-out logs: `python tests/foreign_logs/held_out/more.py [FOLDER]`. Made after the reader had been mended on
the first four; docs/trails.md tells how it did on these at first sight. They carry traps: a speed wanted beside the speed driven, a wheel's
speed beside the receiver's, an angle in radians, an area that is left, a language the reader has no words for."""

import math
import sys
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).parent.parent))

from drive import Bin, drive
from make import ACRE, KMH, LB, LB_AC, MPH, Log, around, at, lines, number, projected

HERE = Path(__file__).parent


def workshop(folder):
    """Names glued together with their units, seconds of the week, a height in per cent, a wanted speed."""
    rows = drive(
        seed=201, rows=180, bins=[Bin(90, 0.3), Bin(130, 0.45)], sections=4, width_m=15.0, bearing_deg=33, speed_m_s=2.4, length_m=170
    )
    start = datetime(2024, 5, 12, 0, 0, 0, tzinfo=UTC)
    begin = 220_323.0
    place = around(-101.4423, 48.3387)
    when = at(datetime.fromtimestamp(start.timestamp() + begin, UTC))
    log = Log("workshop", workshop.__doc__, rows, when, place)
    log.col("WeekSec", lambda r, i: number(begin + r.t_s, 1), "time", unit="s since start")
    log.col("LatDeg", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    log.col("LonDeg", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    log.col("AltM", lambda r, i: number(r.altitude_m, 2), "extra")
    log.col("SpdKph", lambda r, i: number(r.speed_m_s * KMH, 2), "speed", unit="km/h")
    log.col("TgtSpdKph", lambda r, i: "8.5", "extra")
    log.col("HdgDeg", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("HitchPct", lambda r, i: "4" if r.work else "83", "extra")
    for k in range(4):
        log.col(f"Boom{k + 1}", lambda r, i, k=k: "1" if r.sections[k] else "0", "section", number=k + 1)
    for b in range(2):
        log.col(f"Cmd{b + 1}_lbac", lambda r, i, b=b: number(r.asked[b] * LB_AC, 1), "asked", unit="lb/ac", bin=str(b + 1))
        log.col(f"Fbk{b + 1}_lbac", lambda r, i, b=b: number(r.echoed[b] * LB_AC, 1), ["echoed", "extra"], unit="lb/ac", bin=str(b + 1))
    log.col("FanRpm", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("EngRpm", lambda r, i: number(r.engine_rpm, 0), "extra")
    log.col("XTrack_m", lambda r, i: number((r.hdop - 0.7) / 10, 3), "extra")
    log.save(
        folder,
        (lines([log.header()], ",", "\n") + lines(log.cells(), ",", "\n")).encode(),
        open_=["start"],
        answers={"start": start.isoformat()},
    )


def fahrtenbuch(folder):
    """German words that the twelve do not use, a wheel's speed 6 % above the receiver's, UTC, an area in square metres."""
    rows = drive(seed=202, rows=160, bins=[Bin(165, 0.4)], sections=3, width_m=6.0, bearing_deg=-52, speed_m_s=2.7)
    when, place = at(datetime(2024, 10, 2, 9, 41, 17, tzinfo=UTC)), around(13.4417, 53.1229)
    log = Log("fahrtenbuch", fahrtenbuch.__doc__, rows, when, place)
    log.col("Zeitstempel (UTC)", lambda r, i: when(r).strftime("%d.%m.%Y %H:%M:%S"), "time", unit="d.m.y utc")
    log.col("geogr. Länge", lambda r, i: number(place(r)[0], 7, True), "lon", unit="deg")
    log.col("geogr. Breite", lambda r, i: number(place(r)[1], 7, True), "lat", unit="deg")
    log.col("Höhe ü. NN (m)", lambda r, i: number(r.altitude_m, 1, True), "extra")
    log.col("Fahrgeschwindigkeit (km/h)", lambda r, i: number(r.speed_m_s * KMH, 1, True), "speed", unit="km/h")
    log.col("Radgeschwindigkeit (km/h)", lambda r, i: number(r.speed_m_s * KMH * 1.06, 1, True), ["speed", "extra"], unit="km/h")
    log.col("Ausrichtung (°)", lambda r, i: number(r.heading_deg, 0), ["heading", "extra"], unit="deg")
    log.col("Säschiene unten", lambda r, i: "ja" if r.work else "nein", ["work", "lifted"])
    for k in range(3):
        log.col(f"Abschn. {k + 1}", lambda r, i, k=k: "ja" if r.sections[k] else "nein", "section", number=k + 1)
    log.col("bearb. Fläche (m²)", lambda r, i: number(r.area_m2, 0), "area", unit="m2")
    log.col("Saatstärke Soll (kg/ha)", lambda r, i: number(r.asked[0], 0), "asked", unit="kg/ha", bin="any")
    log.col("Saatstärke Ist (kg/ha)", lambda r, i: number(r.echoed[0], 1, True), "echoed", unit="kg/ha", bin="any")
    log.col("Gebläse Upm", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Luftdruck (hPa)", lambda r, i: "1013", "extra")
    log.save(folder, (lines([log.header()], ";") + lines(log.cells(), ";")).encode("utf-8-sig"), answers={})


def journal(folder):
    """French, a column of its own for the unit of the rates, states with accents, cuts instead of sections, hours with letters left out."""
    zone = ZoneInfo("Europe/Paris")
    rows = drive(seed=203, rows=140, bins=[Bin(120, 0.36)], sections=3, width_m=4.5, bearing_deg=101, speed_m_s=2.5)
    when, place = at(datetime(2024, 4, 23, 16, 20, 0, tzinfo=zone), zone), around(3.0127, 49.5511)
    log = Log("journal", journal.__doc__, rows, when, place)
    log.col("horodatage", lambda r, i: when(r).strftime("%d/%m/%Y %H:%M:%S"), "time", unit="d/m/y local")
    log.col("lat.", lambda r, i: number(place(r)[1], 8, True), "lat", unit="deg")
    log.col("long.", lambda r, i: number(place(r)[0], 8, True), "lon", unit="deg")
    log.col("vitesse GPS", lambda r, i: number(r.speed_m_s * KMH, 1, True), "speed", unit="km/h")
    log.col("cap GPS", lambda r, i: number(r.heading_deg, 1, True), "heading", unit="deg")
    log.col("attelage", lambda r, i: "abaissé" if r.work else "relevé", ["work", "lifted"])
    for k in range(3):
        log.col(f"coupure {k + 1}", lambda r, i, k=k: "marche" if r.sections[k] else "arrêt", ["section", "extra"], number=k + 1)
    log.col("quantité demandée", lambda r, i: number(r.asked[0], 0), ["asked", "extra"], unit="kg/ha", bin="any", must_ask="unit")
    log.col("quantité appliquée", lambda r, i: number(r.echoed[0], 1, True), ["echoed", "extra"], unit="kg/ha", bin="any", must_ask="unit")
    log.col("unité", lambda r, i: "kg/ha", "extra")
    log.save(
        folder,
        (lines([log.header()], "\t") + lines(log.cells(), "\t")).encode(),
        open_=["zone"],
        answers={"zone": "Europe/Paris"},
        ending="txt",
    )


def bench(folder):
    """Single letters, milliseconds since a start, projected metres, an angle in radians, rates without a unit."""
    rows = drive(seed=204, rows=300, dt=0.5, bins=[Bin(100, 0.3)], sections=4, bearing_deg=12, speed_m_s=2.0, length_m=90)
    start = datetime(2024, 5, 20, 13, 0, 0, tzinfo=UTC)
    when = at(start)
    place, grid = projected("EPSG:32614", -99.9127, 49.2208)
    log = Log("bench", bench.__doc__, rows, when, place)
    log.col("t_ms", lambda r, i: number(r.t_s * 1000, 0), "time", unit="ms since start")
    log.col("E", lambda r, i: number(grid(r)[0], 3), "east", unit="m")
    log.col("N", lambda r, i: number(grid(r)[1], 3), "north", unit="m")
    log.col("v", lambda r, i: number(r.speed_m_s, 3), "speed", unit="m/s")
    log.col("psi", lambda r, i: number(math.radians(r.heading_deg), 4), "extra")
    log.col("w", lambda r, i: "1" if r.work else "0", ["work", "extra"])
    for k in range(4):
        log.col(f"s{k + 1}", lambda r, i, k=k: "1" if r.sections[k] else "0", ["section", "extra"], number=k + 1)
    log.col("r_set", lambda r, i: number(r.asked[0], 1), ["asked", "extra"], unit="kg/ha", bin="any", must_ask="unit")
    log.col("r_now", lambda r, i: number(r.echoed[0], 1), ["echoed", "extra"], unit="kg/ha", bin="any", must_ask="unit")
    table = [log.header(), *log.cells()]
    text = "".join(" ".join(c.rjust(12) for c in r) + "\n" for r in table)
    log.save(
        folder,
        text.encode(),
        open_=["start", "crs"],
        answers={"start": start.isoformat(), "crs": "EPSG:32614"},
        crs="EPSG:32614",
        ending="txt",
    )


def office(folder):
    """A sheet of mixed things: two speeds, an area that is left, kilograms so far, rate and target by product, degrees called x and y."""
    zone = ZoneInfo("America/Winnipeg")
    rows = drive(
        seed=205, rows=200, bins=[Bin(85, 0.3), Bin(120, 0.4)], sections=1, width_m=12.2, bearing_deg=91, speed_m_s=2.2, length_m=200
    )
    when, place = at(datetime(2024, 5, 23, 19, 2, 44, tzinfo=zone), zone), around(-98.0223, 49.6117)
    log = Log("office", office.__doc__, rows, when, place)
    log.col("Logged at (local)", lambda r, i: when(r).strftime("%Y/%m/%d %I:%M:%S %p"), "time", unit="local am/pm")
    log.col("X", lambda r, i: number(place(r)[0], 8), ["lon", "east"], unit="deg")
    log.col("Y", lambda r, i: number(place(r)[1], 8), ["lat", "north"], unit="deg")
    log.col("Wheel speed (mph)", lambda r, i: number(r.speed_m_s * MPH * 1.09, 1), ["speed", "extra"], unit="mph")
    log.col("Planned speed (mph)", lambda r, i: "5.0", "extra")
    log.col("Area left (ac)", lambda r, i: number(160 - r.area_m2 * ACRE, 2), "extra")
    log.col("Area done (ac)", lambda r, i: number(r.area_m2 * ACRE, 2), "area", unit="ac")
    for b, what in enumerate(("Seed", "Fert")):
        log.col(f"{what} rate (lb/ac)", lambda r, i, b=b: number(r.echoed[b] * LB_AC, 1), "echoed", unit="lb/ac", bin=str(b + 1))
        log.col(f"{what} target (lb/ac)", lambda r, i, b=b: number(r.asked[b] * LB_AC, 0), "asked", unit="lb/ac", bin=str(b + 1))
        log.col(f"{what} so far (lb)", lambda r, i, b=b: number((2500 - r.left_kg[b]) * LB, 0), "extra")
    log.col("In ground", lambda r, i: "Y" if r.work else "N", ["work", "extra"])
    text = lines([log.header()], ",") + lines(log.cells(), ",")
    log.save(folder, text.encode(), open_=["zone", "crs"], answers={"zone": "America/Winnipeg", "crs": "EPSG:4326"}, crs="EPSG:4326")


def cuaderno(folder):
    """Spanish, a language the reader has no words for."""
    zone = ZoneInfo("America/Argentina/Cordoba")
    rows = drive(seed=206, rows=150, bins=[Bin(95, 0.3)], sections=2, width_m=9.0, bearing_deg=66, speed_m_s=2.3)
    when, place = at(datetime(2024, 7, 19, 10, 5, 9, tzinfo=zone), zone), around(-63.1128, -32.4401)
    log = Log("cuaderno", cuaderno.__doc__, rows, when, place)
    log.col("Fecha", lambda r, i: when(r).strftime("%d-%m-%Y"), ["date", "extra"], unit="d-m-y local")
    log.col("Hora", lambda r, i: when(r).strftime("%H:%M:%S"), ["clock", "extra"], unit="local")
    log.col("Latitud", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    log.col("Longitud", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    log.col("Velocidad (km/h)", lambda r, i: number(r.speed_m_s * KMH, 1), "speed", unit="km/h")
    log.col("Rumbo", lambda r, i: number(r.heading_deg, 0), ["heading", "extra"], unit="deg")
    log.col("Sembrando", lambda r, i: "si" if r.work else "no", ["work", "extra"])
    log.col("Dosis objetivo (kg/ha)", lambda r, i: number(r.asked[0], 0), ["asked", "extra"], unit="kg/ha", bin="any")
    log.col("Dosis aplicada (kg/ha)", lambda r, i: number(r.echoed[0], 1), ["echoed", "extra"], unit="kg/ha", bin="any")
    log.col("Superficie (ha)", lambda r, i: number(r.area_m2 / 1e4, 3), ["area", "extra"], unit="ha")
    log.save(folder, (lines([log.header()], ";") + lines(log.cells(), ";")).encode(), open_=["zone"], answers={"zone": "-03:00"})


SHAPES = (workshop, fahrtenbuch, journal, bench, office, cuaderno)

if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    target.mkdir(parents=True, exist_ok=True)
    for shape in SHAPES:
        shape(target)
