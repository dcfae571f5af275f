"""Write the twelve foreign logs and their truth files again: `python tests/foreign_logs/make.py [FOLDER]`.

Each log is the same kind of day in another clothing: an outfit that nobody owns, on a field that is nowhere, written down the
way some machine, telephone, survey receiver or spreadsheet might. They were made from the wording of the wish alone, before the
reader was looked at, and they are not to be changed to suit it. NAME.toml beside a log says what each of its columns is.
"""

import sys
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).parent))

from drive import Bin, drive, to_lonlat

HERE = Path(__file__).parent
KMH, MPH, KNOT, FOOT, ACRE, LB_AC, LB = 3.6, 1 / 0.44704, 3600 / 1852, 1 / 0.3048, 1 / 4046.8564224, 1 / 1.12085115, 1 / 0.45359237


def toml_value(v):
    """A value as TOML writes it."""
    if isinstance(v, bool):
        return "true" if v else "false"
    if isinstance(v, (int, float)):
        return repr(v)
    if isinstance(v, (list, tuple)):
        return "[" + ", ".join(toml_value(x) for x in v) + "]"
    return '"' + str(v).replace("\\", "\\\\").replace('"', '\\"') + '"'


def truth_text(truth):
    """The truth file of a log."""
    lines = [f"# {' '.join(truth.pop('about').split())}"]
    columns, points, answers = truth.pop("column"), truth.pop("point"), truth.pop("answers")
    lines += [f"{k} = {toml_value(v)}" for k, v in truth.items()]
    if answers:
        lines += ["", "[answers]", *(f"{k} = {toml_value(v)}" for k, v in answers.items())]
    for c in columns:
        lines += ["", "[[column]]", *(f"{k} = {toml_value(v)}" for k, v in c.items())]
    for p in points:
        lines += ["", "[[point]]", *(f"{k} = {toml_value(v)}" for k, v in p.items())]
    return "\n".join(lines) + "\n"


def number(value, digits, comma=False):
    """A number with so many decimals, with a decimal comma if wanted."""
    text = f"{value:.{digits}f}"
    return text.replace(".", ",") if comma else text


class Log:
    """A log being written: its columns, each with the way a cell is written and what the column truly is."""

    def __init__(self, name, about, rows, when, place):
        self.name, self.about, self.rows, self.when, self.place = name, about, rows, when, place
        self.columns = []

    def col(self, name, cell, role, **truth):
        """Add a column: `cell(row, i)` writes its cell."""
        self.columns.append((name, cell, {"name": name, "role": role, **truth}))
        return self

    def header(self):
        """The names."""
        return [c[0] for c in self.columns]

    def cells(self):
        """The cells of all rows."""
        return [[c[1](r, i) for c in self.columns] for i, r in enumerate(self.rows)]

    def save(self, folder, data, *, not_rows=(), open_=(), answers=None, crs="", speed_known=True, ending="csv"):
        """Write the log and its truth."""
        (folder / f"{self.name}.{ending}").write_bytes(data)
        points = []
        for i in sorted({0, 1, len(self.rows) // 3, len(self.rows) // 2, len(self.rows) - 1}):
            r = self.rows[i]
            lon, lat = self.place(r)
            points.append(
                {
                    "row": i,
                    "utc": self.when(r).astimezone(UTC).isoformat(),
                    "lon": round(lon, 9),
                    "lat": round(lat, 9),
                    "speed_m_s": round(r.speed_m_s, 4),
                    "in_work": r.work,
                }
            )
        truth = {
            "about": self.about,
            "log": f"{self.name}.{ending}",
            "rows": len(self.rows),
            "not_rows": list(not_rows),
            "open": list(open_),
            "crs": crs,
        }
        truth |= {"column": [c[2] for c in self.columns], "point": points, "answers": answers or {}}
        (folder / f"{self.name}.toml").write_text(truth_text(truth), encoding="utf-8", newline="\n")


def at(start, zone=UTC):
    """The time of a row, for a drive begun at a moment."""
    return lambda r: (start + timedelta(seconds=r.t_s)).astimezone(zone)


def around(lon0, lat0):
    """The place of a row, for a field whose corner lies there."""
    return lambda r: to_lonlat(lon0, lat0, r.x_m, r.y_m)


def lines(rows, sep, end="\r\n", tail=""):
    """Rows of cells as text."""
    return "".join(sep.join(r) + tail + end for r in rows)


def quoted(cells):
    """Cells in quotes."""
    return ['"' + c.replace('"', '""') + '"' for c in cells]


def north_comma(folder):
    """UTF-8 with a byte order mark, commas, English and metric, ISO times with Z, a column for each section."""
    rows = drive(seed=1, rows=240, bins=[Bin(118, 0.31), Bin(62, 0.27)], sections=8)
    when, place = at(datetime(2024, 5, 14, 12, 12, 3, tzinfo=UTC)), around(-104.3712, 50.2103)
    log = Log("north_comma", north_comma.__doc__, rows, when, place)
    log.col("Time (UTC)", lambda r, i: when(r).strftime("%Y-%m-%dT%H:%M:%SZ"), "time", unit="iso utc")
    log.col("Longitude (deg)", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    log.col("Latitude (deg)", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    log.col("Speed (km/h)", lambda r, i: number(r.speed_m_s * KMH, 2), "speed", unit="km/h")
    log.col("Heading (deg)", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("Implement lifted", lambda r, i: "0" if r.work else "1", "lifted")
    for k in range(8):
        log.col(f"Section {k + 1}", lambda r, i, k=k: "1" if r.sections[k] else "0", "section", number=k + 1)
    for b, letter in enumerate("AB"):
        log.col(f"Target rate {letter} (kg/ha)", lambda r, i, b=b: number(r.asked[b], 1), "asked", unit="kg/ha", bin=letter)
        log.col(f"Applied rate {letter} (kg/ha)", lambda r, i, b=b: number(r.echoed[b], 1), "echoed", unit="kg/ha", bin=letter)
    for b, letter in enumerate("AB"):
        log.col(f"Meter {letter} turns", lambda r, i, b=b: number(r.turns[b], 2), "turns", unit="turns", bin=letter)
    log.col("Fan speed (rpm)", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Fix quality", lambda r, i: "4", "fix")
    log.col("Satellites", lambda r, i: str(r.satellites), "extra")
    log.col("Operator", lambda r, i: "second shift", "extra")
    log.save(folder, (lines([log.header()], ",") + lines(log.cells(), ",")).encode("utf-8-sig"))


def elbe_semicolon(folder):
    """Windows-1252, semicolons, decimal commas, German, lines before the header, trailing semicolons, a line of sums at the end."""
    zone = ZoneInfo("Europe/Berlin")
    rows = drive(seed=2, rows=200, bins=[Bin(172, 0.4)], sections=6, width_m=6.0, bearing_deg=63, speed_m_s=2.9)
    when, place = at(datetime(2024, 4, 17, 6, 12, 3, tzinfo=zone), zone), around(11.9234, 52.3117)
    log = Log("elbe_semicolon", elbe_semicolon.__doc__, rows, when, place)
    log.col("Lfd. Nr.", lambda r, i: str(i + 1), "extra")
    log.col("Datum", lambda r, i: when(r).strftime("%d.%m.%Y"), "date", unit="d.m.y local")
    log.col("Uhrzeit", lambda r, i: when(r).strftime("%H:%M:%S"), "clock", unit="local")
    log.col("Länge", lambda r, i: number(place(r)[0], 7, True), "lon", unit="deg")
    log.col("Breite", lambda r, i: number(place(r)[1], 7, True), "lat", unit="deg")
    log.col("Geschw. [km/h]", lambda r, i: number(r.speed_m_s * KMH, 1, True), "speed", unit="km/h")
    log.col("Kurs [°]", lambda r, i: number(r.heading_deg, 1, True), "heading", unit="deg")
    log.col("Arbeitsstellung", lambda r, i: "ein" if r.work else "aus", "work")
    for k in range(6):
        log.col(f"Teilbr. {k + 1}", lambda r, i, k=k: "ein" if r.sections[k] else "aus", "section", number=k + 1)
    log.col("Fläche [ha]", lambda r, i: number(r.area_m2 / 1e4, 4, True), "area", unit="ha")
    log.col("Sollmenge 1 [kg/ha]", lambda r, i: number(r.asked[0], 0, True), "asked", unit="kg/ha", bin="1")
    log.col("Istmenge 1 [kg/ha]", lambda r, i: number(r.echoed[0], 1, True), "echoed", unit="kg/ha", bin="1")
    log.col("Restmenge 1 [kg]", lambda r, i: number(r.left_kg[0], 1, True), "extra")
    log.col("Gebläse [U/min]", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Motordrehzahl [U/min]", lambda r, i: number(r.engine_rpm, 0), "extra")
    log.col("Bemerkung", lambda r, i: "Stein; abgestiegen".replace(";", ",") if i == 77 else "", "extra")
    top = "Auftragsprotokoll;\r\nSchlag;Hinter dem Damm;\r\nMaschine;Drillkombination 6 m;\r\nErstellt;17.04.2024 11:40;\r\n\r\n"
    body = lines([log.header()], ";", tail=";") + lines(log.cells(), ";", tail=";")
    total = ["Summe", *[""] * 13, number(rows[-1].area_m2 / 1e4, 4, True), *[""] * 6]
    log.save(
        folder,
        (top + body + lines([total], ";", tail=";")).encode("cp1252"),
        not_rows=["total at the end"],
        open_=["zone"],
        answers={"zone": "Europe/Berlin"},
    )


def loire_tab(folder):
    """UTF-16, tabs, decimal commas, French, a row of units under the names, sections as one word, empty cells, a date two ways round but for its unit."""
    zone = ZoneInfo("Europe/Paris")
    rows = drive(seed=3, rows=180, bins=[Bin(155, 0.36), Bin(90, 0.41)], sections=8, width_m=8.0, bearing_deg=-28, speed_m_s=2.6)
    when, place = at(datetime(2024, 10, 8, 14, 2, 11, tzinfo=zone), zone), around(0.6127, 47.1502)
    log = Log("loire_tab", loire_tab.__doc__, rows, when, place)
    units = []

    def col(name, below, cell, role, **truth):
        units.append(below)
        log.col(name, cell, role, **truth)

    col("Date", "jj/mm/aaaa", lambda r, i: when(r).strftime("%d/%m/%Y"), "date", unit="d/m/y local")
    col("Heure", "hh:mm:ss", lambda r, i: when(r).strftime("%H:%M:%S"), "clock", unit="local")
    col("Longitude", "°", lambda r, i: number(place(r)[0], 8, True), "lon", unit="deg")
    col("Latitude", "°", lambda r, i: number(place(r)[1], 8, True), "lat", unit="deg")
    col("Vitesse", "km/h", lambda r, i: number(r.speed_m_s * KMH, 2, True), "speed", unit="km/h")
    col("Cap", "°", lambda r, i: number(r.heading_deg, 1, True), "heading", unit="deg")
    col("Position outil", "", lambda r, i: "baissé" if r.work else "relevé", ["lifted", "work"])
    col("Tronçons", "", lambda r, i: "".join("1" if s else "0" for s in r.sections), "sections")
    for b in range(2):
        col(f"Dose consigne {b + 1}", "kg/ha", lambda r, i, b=b: number(r.asked[b], 1, True), "asked", unit="kg/ha", bin=str(b + 1))
        col(
            f"Dose réelle {b + 1}",
            "kg/ha",
            lambda r, i, b=b: number(r.echoed[b], 1, True) if (i + b) % 23 else "",
            "echoed",
            unit="kg/ha",
            bin=str(b + 1),
        )
    col("Débit massique", "kg/min", lambda r, i: number(60 * sum(r.mass_rate), 2, True), "mass_rate", unit="kg/min")
    col("Surface", "ha", lambda r, i: number(r.area_m2 / 1e4, 3, True), "area", unit="ha")
    col("Régime turbine", "tr/min", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    col("Température", "°C", lambda r, i: number(r.warm_c, 1, True) if i % 9 else "", "extra")
    text = lines([log.header()], "\t") + lines([units], "\t") + lines(log.cells(), "\t")
    log.save(
        folder,
        b"\xff\xfe" + text.encode("utf-16-le"),
        not_rows=["row of units"],
        open_=["zone"],
        answers={"zone": "Europe/Paris"},
        ending="txt",
    )


def prairie_quoted(folder):
    """Everything in quotes, commas, US units in the names, date and twelve-hour clock in one cell, across noon."""
    zone = ZoneInfo("America/Chicago")
    rows = drive(
        seed=4, rows=300, bins=[Bin(105, 0.3), Bin(140, 0.5)], sections=4, width_m=18.3, length_m=200, bearing_deg=1.5, speed_m_s=2.3
    )
    when, place = at(datetime(2024, 5, 14, 11, 57, 31, tzinfo=zone), zone), around(-99.4187, 47.0614)
    log = Log("prairie_quoted", prairie_quoted.__doc__, rows, when, place)

    def clock(t):
        return f"{t.month}/{t.day}/{t.year} {(t.hour - 1) % 12 + 1}:{t:%M:%S} {'AM' if t.hour < 12 else 'PM'}"

    log.col("Date/Time", lambda r, i: clock(when(r)), "time", unit="m/d/y local am/pm")
    log.col("Lon", lambda r, i: number(place(r)[0], 7), "lon", unit="deg")
    log.col("Lat", lambda r, i: number(place(r)[1], 7), "lat", unit="deg")
    log.col("Spd mph", lambda r, i: number(r.speed_m_s * MPH, 2), "speed", unit="mph")
    log.col("Hdg", lambda r, i: number(r.heading_deg, 0), "heading", unit="deg")
    log.col("Acres", lambda r, i: number(r.area_m2 * ACRE, 3), "area", unit="ac")
    log.col("Trip ft", lambda r, i: number(r.distance_m * FOOT, 1), "distance", unit="ft")
    log.col("Impl", lambda r, i: "DOWN" if r.work else "UP", ["lifted", "work"])
    for b in range(2):
        log.col(f"Tgt lb/ac Tank {b + 1}", lambda r, i, b=b: number(r.asked[b] * LB_AC, 1), "asked", unit="lb/ac", bin=str(b + 1))
        log.col(f"Act lb/ac Tank {b + 1}", lambda r, i, b=b: number(r.echoed[b] * LB_AC, 1), "echoed", unit="lb/ac", bin=str(b + 1))
    log.col("Fan RPM", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Eng RPM", lambda r, i: number(r.engine_rpm, 0), "extra")
    log.col("Elev ft", lambda r, i: number(r.altitude_m * FOOT, 1), "extra")
    text = lines([quoted(log.header())], ",") + lines([quoted(c) for c in log.cells()], ",")
    log.save(folder, text.encode(), open_=["zone"], answers={"zone": "America/Chicago"})


def projected(code, lon0, lat0):
    """The place of a row in degrees, and a function that gives its projected east and north."""
    from pyproj import Transformer

    to = Transformer.from_crs("EPSG:4326", code, always_xy=True)
    place = around(lon0, lat0)
    return place, lambda r: to.transform(*place(r))


def grid_pipe(folder):
    """Bars with blanks round them, remarks before the header, seconds since a start, projected metres, no unit anywhere, a total line."""
    rows = drive(seed=5, rows=160, bins=[Bin(118, 0.31), Bin(62, 0.27), Bin(5, 0.05)], sections=6, bearing_deg=-6)
    start = datetime(2024, 5, 14, 15, 30, 0, tzinfo=UTC)
    when = at(start)
    place, grid = projected("EPSG:32613", -104.8801, 51.3306)
    log = Log("grid_pipe", grid_pipe.__doc__, rows, when, place)
    log.col("Sec", lambda r, i: number(r.t_s, 1), "time", unit="s since start")
    log.col("Easting", lambda r, i: number(grid(r)[0], 3), "east", unit="m")
    log.col("Northing", lambda r, i: number(grid(r)[1], 3), "north", unit="m")
    log.col("Speed", lambda r, i: number(r.speed_m_s, 3), "speed", unit="m/s")
    log.col("Step", lambda r, i: number(r.step_m, 3), "step", unit="m")
    log.col("Lifted", lambda r, i: "N" if r.work else "Y", "lifted")
    for k in range(6):
        log.col(f"S{k + 1}", lambda r, i, k=k: "Y" if r.sections[k] else "N", "section", number=k + 1)
    for b, letter in enumerate("ABC"):
        log.col(f"Turns {letter}", lambda r, i, b=b: number(r.turns[b], 3), "turns", unit="turns", bin=letter)
    log.col("Fan", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Pass", lambda r, i: str(r.pass_number), "extra")
    top = "# drive recorder, free text\n# field: Long Slough east\n# grid: WGS 84 / UTM zone 13N\n"
    total = [
        "TOTAL",
        *[""] * 3,
        number(sum(r.step_m for r in rows), 1),
        *[""] * 7,
        *[number(rows[-1].turns[b], 1) for b in range(3)],
        "",
        "",
    ]
    body = "".join(" | ".join(c) + "\n" for c in [log.header(), *log.cells(), total])
    log.save(
        folder,
        (top + body).encode(),
        not_rows=["total at the end"],
        open_=["start", "crs"],
        answers={"start": start.isoformat(), "crs": "EPSG:32613"},
        crs="EPSG:32613",
        ending="txt",
    )


def run_together(value, digits, width):
    """Degrees and minutes run together, without sign."""
    v = abs(value)
    d = int(v)
    m = round((v - d) * 60, digits)
    if m >= 60:
        d, m = d + 1, m - 60
    return f"{d:0{width}d}{m:0{digits + 3}.{digits}f}"


def mast_spaces(folder):
    """Runs of blanks in fixed columns, degrees and minutes run together with hemispheres apart, speed in knots, day and clock run together in UTC."""
    rows = drive(seed=6, rows=150, bins=[Bin(118, 0.31)], sections=1, bearing_deg=40)
    when, place = at(datetime(2024, 5, 14, 12, 12, 3, tzinfo=UTC)), around(-104.6405, 49.8127)
    log = Log("mast_spaces", mast_spaces.__doc__, rows, when, place)
    log.col("UTC_DATE", lambda r, i: when(r).strftime("%d%m%y"), "date", unit="ddmmyy utc")
    log.col("UTC_TIME", lambda r, i: when(r).strftime("%H%M%S.00"), "clock", unit="hhmmss utc")
    log.col("LAT", lambda r, i: run_together(place(r)[1], 6, 2), "lat", unit="ddmm.m")
    log.col("NS", lambda r, i: "N", ["lat", "extra"])
    log.col("LON", lambda r, i: run_together(place(r)[0], 6, 3), "lon", unit="ddmm.m")
    log.col("EW", lambda r, i: "W", ["lon", "extra"])
    log.col("KNOTS", lambda r, i: number(r.speed_m_s * KNOT, 2), "speed", unit="kn")
    log.col("COG", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("FIX", lambda r, i: "4" if i % 41 else "5", "fix")
    log.col("SATS", lambda r, i: str(r.satellites), "extra")
    log.col("HDOP", lambda r, i: number(r.hdop, 1), "extra")
    log.col("WORK", lambda r, i: "1" if r.work else "0", "work")
    log.col("SET_KGHA", lambda r, i: number(r.asked[0], 1), "asked", unit="kg/ha", bin="any")
    log.col("NOW_KGHA", lambda r, i: number(r.echoed[0], 1), "echoed", unit="kg/ha", bin="any")
    table = [log.header(), *log.cells()]
    widths = [max(len(r[k]) for r in table) for k in range(len(table[0]))]
    text = "".join("  ".join(c.rjust(w) for c, w in zip(r, widths, strict=True)) + "\n" for r in table)
    log.save(folder, text.encode("ascii"), open_=["date order"], answers={"date_order": "dmy"}, ending="txt")


def minutes_written(value, signs):
    """Degrees and minutes written out with the letter of the hemisphere."""
    v = abs(value)
    return f"{int(v)}° {(v - int(v)) * 60:.6f}' {signs[0] if value >= 0 else signs[1]}"


def minutes_text(folder):
    """Degrees and minutes written out, a local date and clock over midnight beside a UTC time, remarks with commas and quotes in quotes."""
    zone = timezone(timedelta(hours=-6))
    rows = drive(seed=7, rows=210, dt=2.0, bins=[Bin(118, 0.31), Bin(62, 0.27)], sections=2, length_m=220, bearing_deg=88)
    when, place = at(datetime(2024, 5, 15, 5, 57, 12, tzinfo=UTC)), around(-105.1033, 50.5511)
    log = Log("minutes_text", minutes_text.__doc__, rows, when, place)

    def note(i):
        return {30: '"stone, stopped, ""big"" one"', 31: '"stone, gone"', 120: "wind, turned"}.get(i, "").replace(
            "wind, turned", '"wind, turned"'
        )

    log.col("Record", lambda r, i: str(4001 + i), "extra")
    log.col("Local Date", lambda r, i: when(r).astimezone(zone).strftime("%Y-%m-%d"), ["date", "extra"], unit="local")
    log.col("Local Time", lambda r, i: when(r).astimezone(zone).strftime("%H:%M:%S"), ["clock", "extra"], unit="local")
    log.col("UTC Date Time", lambda r, i: when(r).strftime("%Y-%m-%d %H:%M:%S"), "time", unit="utc")
    log.col("Latitude", lambda r, i: minutes_written(place(r)[1], "NS"), "lat", unit="deg min")
    log.col("Longitude", lambda r, i: minutes_written(place(r)[0], "EW"), "lon", unit="deg min")
    log.col("Ground Speed km/h", lambda r, i: number(r.speed_m_s * KMH, 1), "speed", unit="km/h")
    log.col("Track", lambda r, i: number(r.heading_deg, 0), "heading", unit="deg")
    log.col("Work State", lambda r, i: "Working" if r.work else "Transport", "work")
    log.col("Total Area ha", lambda r, i: number(r.area_m2 / 1e4, 3), "area", unit="ha")
    for b in range(2):
        log.col(f"Bin {b + 1} Set kg/ha", lambda r, i, b=b: number(r.asked[b], 1), "asked", unit="kg/ha", bin=str(b + 1))
        log.col(f"Bin {b + 1} Actual kg/ha", lambda r, i, b=b: number(r.echoed[b], 1), "echoed", unit="kg/ha", bin=str(b + 1))
    log.col("Note", lambda r, i: note(i), "extra")
    log.save(folder, (lines([log.header()], ",", "\n") + lines(log.cells(), ",", "\n")).encode())


def epoch_bits(folder):
    """Short programmer's names, milliseconds since 1970, sections as a bit number, area in square metres, a step of time, rates without a unit."""
    rows = drive(seed=8, rows=400, dt=0.5, bins=[Bin(118, 0.31), Bin(62, 0.27)], sections=8, length_m=120, bearing_deg=121)
    when, place = at(datetime(2024, 5, 14, 18, 40, 0, 250000, tzinfo=UTC)), around(142.0733, -35.4411)
    log = Log("epoch_bits", epoch_bits.__doc__, rows, when, place)
    log.col("ts_ms", lambda r, i: str(round(when(r).timestamp() * 1000)), "time", unit="epoch ms")
    log.col("lat", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    log.col("lon", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    log.col("v_ms", lambda r, i: number(r.speed_m_s, 3), "speed", unit="m/s")
    log.col("hdg", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col(
        "sec_bits",
        lambda r, i: str(sum(1 << k for k, s in enumerate(r.sections) if s)),
        "sections",
        unit="bit number, lowest bit is section 1",
    )
    log.col("area_m2", lambda r, i: number(r.area_m2, 1), "area", unit="m2")
    log.col("dist_m", lambda r, i: number(r.distance_m, 2), "distance", unit="m")
    log.col("dt_s", lambda r, i: number(0.5, 2), "interval", unit="s")
    for b, letter in enumerate("ab"):
        log.col(f"rate_set_{letter}", lambda r, i, b=b: number(r.asked[b], 1), "asked", unit="kg/ha", bin=letter.upper(), must_ask="unit")
        log.col(f"rate_act_{letter}", lambda r, i, b=b: number(r.echoed[b], 1), "echoed", unit="kg/ha", bin=letter.upper(), must_ask="unit")
    log.col("fan_hz", lambda r, i: number(r.fan_rpm / 60, 2), "fan", unit="1/s")
    log.col("hdop", lambda r, i: number(r.hdop, 1), "extra")
    log.save(folder, (lines([log.header()], ";", "\n") + lines(log.cells(), ";", "\n")).encode())


def feet_tab(folder):
    """Tabs, projected US survey feet, speed, distance and rates without a unit, month and day two ways round, tenths of seconds."""
    zone = ZoneInfo("America/Chicago")
    rows = drive(seed=9, rows=320, dt=0.4, bins=[Bin(95, 0.3)], sections=10, length_m=90, bearing_deg=2, speed_m_s=2.4)
    when = at(datetime(2024, 5, 6, 6, 12, 3, 400000, tzinfo=zone), zone)
    place, grid = projected("EPSG:3455", -98.2217, 43.7719)
    log = Log("feet_tab", feet_tab.__doc__, rows, when, place)
    log.col("TIMESTAMP", lambda r, i: when(r).strftime("%m/%d/%Y %H:%M:%S.%f")[:-5], "time", unit="m/d/y local", must_ask="date order")
    log.col("X_FT", lambda r, i: number(grid(r)[0], 2), "east", unit="us-ft")
    log.col("Y_FT", lambda r, i: number(grid(r)[1], 2), "north", unit="us-ft")
    log.col("SPEED", lambda r, i: number(r.speed_m_s * MPH, 2), "speed", unit="mph")
    log.col("COURSE", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    for k in range(10):
        log.col(f"SWATH_{k + 1}", lambda r, i, k=k: "1" if r.sections[k] else "0", "section", number=k + 1)
    log.col("TGT_RATE_1", lambda r, i: number(r.asked[0] * LB_AC, 1), "asked", unit="lb/ac", bin="1", must_ask="unit")
    log.col("APPL_RATE_1", lambda r, i: number(r.echoed[0] * LB_AC, 1), "echoed", unit="lb/ac", bin="1", must_ask="unit")
    log.col("DIST", lambda r, i: number(r.distance_m * FOOT, 1), "distance", unit="ft")
    log.col("TANK_1_LB", lambda r, i: number(r.left_kg[0] * LB, 0), "extra")
    log.col("PASS_NO", lambda r, i: str(r.pass_number), "extra")
    text = lines([log.header()], "\t", "\n") + lines(log.cells(), "\t", "\n")
    log.save(
        folder,
        text.encode(),
        open_=["crs", "zone", "date order"],
        answers={"zone": "America/Chicago", "crs": "EPSG:3455", "date_order": "mdy"},
        crs="EPSG:3455",
        ending="tsv",
    )


def twice_hour(folder):
    """The hour that comes twice at the end of daylight saving, short German names without umlauts, sections as one word, a wheel counter."""
    zone = ZoneInfo("Europe/Vienna")
    rows = drive(
        seed=10,
        rows=250,
        dt=5.0,
        bins=[Bin(165, 0.4), Bin(80, 0.33)],
        sections=6,
        width_m=6.0,
        length_m=420,
        bearing_deg=-41,
        speed_m_s=2.5,
        passes=16,
    )
    when, place = at(datetime(2024, 10, 27, 0, 51, 5, tzinfo=UTC), zone), around(16.2051, 48.4423)
    log = Log("twice_hour", twice_hour.__doc__, rows, when, place)
    log.col("Zeit", lambda r, i: when(r).strftime("%d.%m.%Y %H:%M:%S"), "time", unit="d.m.y local")
    log.col("Laenge", lambda r, i: number(place(r)[0], 7, True), "lon", unit="deg")
    log.col("Breite", lambda r, i: number(place(r)[1], 7, True), "lat", unit="deg")
    log.col("v", lambda r, i: number(r.speed_m_s * KMH, 2, True), "speed", unit="km/h")
    log.col("Richtung", lambda r, i: number(r.heading_deg, 0), "heading", unit="deg")
    log.col("ausgehoben", lambda r, i: "0" if r.work else "1", "lifted")
    log.col("Teilbreiten", lambda r, i: "".join("1" if s else "0" for s in r.sections), "sections")
    log.col("Radweg", lambda r, i: number(r.distance_m * 1.004, 1, True), "distance", unit="m")
    for b in range(2):
        log.col(f"Dosierer {b + 1} Umdr.", lambda r, i, b=b: number(r.turns[b], 2, True), "turns", unit="turns", bin=str(b + 1))
    for b in range(2):
        log.col(f"Soll {b + 1} kg/ha", lambda r, i, b=b: number(r.asked[b], 1, True), "asked", unit="kg/ha", bin=str(b + 1))
        log.col(f"Ist {b + 1} kg/ha", lambda r, i, b=b: number(r.echoed[b], 1, True), "echoed", unit="kg/ha", bin=str(b + 1))
    log.col("Geblaesedrehzahl", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Tankdruck mbar", lambda r, i: number(38 + 0.002 * (r.fan_rpm - 4150), 1, True), "extra")
    text = lines([log.header()], ";", "\n") + lines(log.cells(), ";", "\n")
    log.save(folder, text.encode(), open_=["zone"], answers={"zone": "Europe/Vienna"})


def clock_off(folder):
    """Small letters, mixed units, flow at the runs; the outfit's clock is five hours ahead, the receiver's UTC is right."""
    rows = drive(
        seed=11, rows=220, bins=[Bin(178, 0.36)], sections=3, runs=12, width_m=4.0, length_m=150, bearing_deg=12, speed_m_s=2.7, bad_run=6
    )
    when, place = at(datetime(2024, 9, 18, 8, 5, 11, tzinfo=UTC)), around(-1.2044, 52.0833)
    log = Log("clock_off", clock_off.__doc__, rows, when, place)
    wrong = timedelta(hours=1 + 5)
    log.col("date", lambda r, i: (when(r) + wrong).strftime("%Y-%m-%d"), "date", unit="local")
    log.col("clock", lambda r, i: (when(r) + wrong).strftime("%H:%M:%S"), ["clock", "extra"], unit="local, five hours off")
    log.col("gps_utc", lambda r, i: when(r).strftime("%H:%M:%S"), "clock", unit="utc")
    log.col("lon", lambda r, i: number(place(r)[0], 8), "lon", unit="deg")
    log.col("lat", lambda r, i: number(place(r)[1], 8), "lat", unit="deg")
    log.col("speed_mph", lambda r, i: number(r.speed_m_s * MPH, 2), "speed", unit="mph")
    log.col("course", lambda r, i: number(r.heading_deg, 1), "heading", unit="deg")
    log.col("implement_up", lambda r, i: "false" if r.work else "true", "lifted")
    for k in range(12):
        log.col(f"row_flow_{k + 1}", lambda r, i, k=k: "1" if r.runs[k] else "0", "run", number=k + 1)
    log.col("seed_set_kg_ha", lambda r, i: number(r.asked[0], 1), "asked", unit="kg/ha", bin="any")
    log.col("seed_act_kg_ha", lambda r, i: number(r.echoed[0], 1), "echoed", unit="kg/ha", bin="any")
    log.col("depth_set_mm", lambda r, i: "40", "extra")
    log.col("depth_mm", lambda r, i: number(40 + 1.5 * (r.hdop - 0.7) * 10 - 1, 0), "extra")
    log.col("xte_cm", lambda r, i: number((r.warm_c - 11.4) * 6, 1), "extra")
    log.col("area_ac", lambda r, i: number(r.area_m2 * ACRE, 3), "area", unit="ac")
    log.save(folder, (lines([log.header()], ",", "\n") + lines(log.cells(), ",", "\n")).encode(), answers={"zone": "Europe/London"})


def night_bare(folder):
    """A clock without a day, over midnight; the name says km/h and the numbers are mph; trailing commas, the header again in the middle, a total."""
    zone = ZoneInfo("America/Regina")
    rows = drive(
        seed=12,
        rows=260,
        dt=2.0,
        bins=[Bin(88, 0.3), Bin(112, 0.44)],
        sections=6,
        width_m=12.2,
        length_m=210,
        bearing_deg=90,
        speed_m_s=2.5,
    )
    when, place = at(datetime(2024, 5, 14, 23, 56, 48, tzinfo=zone), zone), around(-103.6512, 50.0127)
    log = Log("night_bare", night_bare.__doc__, rows, when, place)
    log.col(
        "Clock",
        lambda r, i: (lambda t: f"{(t.hour - 1) % 12 + 1}:{t:%M:%S} {'AM' if t.hour < 12 else 'PM'}")(when(r)),
        ["clock", "time"],
        unit="local am/pm",
    )
    log.col("Long.", lambda r, i: number(place(r)[0], 7), "lon", unit="deg")
    log.col("Lat.", lambda r, i: number(place(r)[1], 7), "lat", unit="deg")
    log.col("GS (km/h)", lambda r, i: number(r.speed_m_s * MPH, 2), "speed", unit="mph", must_ask="unit")
    log.col("Hitch", lambda r, i: "Lowered" if r.work else "Raised", ["lifted", "work"])
    for k in range(6):
        log.col(f"Sw{k + 1}", lambda r, i, k=k: "On" if r.sections[k] else "Off", "section", number=k + 1)
    for b in range(2):
        log.col(f"Tank {b + 1} Set lbs/ac", lambda r, i, b=b: number(r.asked[b] * LB_AC, 1), "asked", unit="lb/ac", bin=str(b + 1))
        log.col(f"Tank {b + 1} Act lbs/ac", lambda r, i, b=b: number(r.echoed[b] * LB_AC, 1), "echoed", unit="lb/ac", bin=str(b + 1))
    log.col("lbs/min", lambda r, i: number(60 * sum(r.mass_rate) * LB, 1), "mass_rate", unit="lb/min")
    log.col("Fan", lambda r, i: number(r.fan_rpm, 0), "fan", unit="rpm")
    log.col("Temp °F", lambda r, i: number(r.warm_c * 1.8 + 32, 0), "extra")
    cells = log.cells()
    top = "Night log,,\r\nField,Alkali flat,\r\nDay,2024-05-14,\r\n,,\r\n"
    body = (
        lines([log.header()], ",", tail=",")
        + lines(cells[:140], ",", tail=",")
        + lines([log.header()], ",", tail=",")
        + lines(cells[140:], ",", tail=",")
    )
    total = ["Total", *[""] * (len(log.columns) - 1)]
    total[15] = number(sum(sum(r.mass_rate) * 2 for r in rows) * LB, 0)
    log.save(
        folder,
        (top + body + lines([total], ",", tail=",")).encode("cp1252"),
        not_rows=["header again", "total at the end"],
        open_=["start", "zone", "unit of speed"],
        answers={"start": "2024-05-14T23:56:48", "zone": "America/Regina", "speed": "mph"},
    )


SHAPES = (
    north_comma,
    elbe_semicolon,
    loire_tab,
    prairie_quoted,
    grid_pipe,
    mast_spaces,
    minutes_text,
    epoch_bits,
    feet_tab,
    twice_hour,
    clock_off,
    night_bare,
)

if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    target.mkdir(parents=True, exist_ok=True)
    for shape in SHAPES:
        shape(target)
