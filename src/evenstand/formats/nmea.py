"""NMEA 0183 sentences of a receiver: positions, time, speed; every sentence's checksum is held."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from evenstand.base.errors import FileError
from evenstand.formats.cells import Table
from evenstand.formats.columns import ColumnUse
from evenstand.formats.layouts import Layout
from evenstand.formats.recipes import Recipe
from evenstand.formats.rows import build_trail
from evenstand.formats.times import start_ms
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import Trail

SENTENCE = re.compile(rb"^\s*[$!]([A-Z]{2}[A-Z0-9]{3}|P[A-Z0-9]+),([^*\r\n]*)(?:\*([0-9A-Fa-f]{2}))?\s*$")
DAY_MS = 86_400_000
KNOT_M_S = 1852 / 3600
EMPTY: IntArray = np.zeros(0, dtype=np.int64)
COLUMNS = ("lat", "lon", "speed", "heading", "fix", "hdop", "satellites", "height_m")
LONGEST_LINE = 1 << 12
MOST_MOMENTS = 1_000_000
"""Most moments, and most sentences set aside, of one file: some 600 bytes of memory each. [-]"""


@dataclass(slots=True)
class Moment:
    """What the sentences of one time of day say; line: of the first of them."""

    clock_ms: float
    line: int
    day_ms: float | None = None
    values: dict[str, float] = field(default_factory=dict)


def looks_like_nmea(head: bytes) -> bool:
    """Whether the first lines of a file are sentences of this standard."""
    lines = [line for line in head.splitlines()[:12] if line.strip()]
    return bool(lines) and sum(bool(SENTENCE.match(line)) for line in lines) * 2 > len(lines)


def checksum(body: bytes) -> int:
    """All characters between the dollar sign and the star, combined by exclusive or. [-]"""
    total = 0
    for byte in body:
        total ^= byte
    return total


def degrees(text: str, side: str) -> float:
    """Degrees from the standard's degrees and minutes; south and west negative. Not a number where empty or malformed. [deg]"""
    point = text.find(".") if "." in text else len(text)
    try:
        value = float(text[: point - 2]) + float(text[point - 2 :]) / 60
    except ValueError:
        return float("nan")
    return -value if side in ("S", "W") else value


def read_trail_nmea(path: Path, *, start: str | None = None) -> Trail:
    """Read a file of sentences: one row a moment, from all sentences that carry its time.

    Parameters
    ----------
    path : Path
        The file. [-]
    start : str or None
        ISO date of the first sentence, where none of them (RMC, ZDA) gives one. [-]

    Returns
    -------
    Trail
        Positions of the antenna; speed and heading where given. [-]

    Raises
    ------
    FileError
        If it holds no positions, or no date is known.
    """
    digest = hashlib.sha256()
    moments: list[Moment] = []
    broken: list[tuple[int, str]] = []
    other = 0
    with path.open("rb") as file:
        number = 0
        while line := file.readline(LONGEST_LINE):
            number += 1
            digest.update(line)
            if not line.strip():
                continue
            reason = _take(line, number, moments)
            if reason == "other":
                other += 1
            elif reason:
                broken.append((number, reason))
            if len(moments) > MOST_MOMENTS or len(broken) > MOST_MOMENTS:
                limit = f"at most {MOST_MOMENTS:,} moments, and as many sentences set aside"
                raise FileError("the file holds too much to be read whole", where=path.name, limit=limit, cure="Split it by days.")
    if not moments:
        raise FileError("no sentence with a position and a time (GGA, RMC, GLL)", where=path.name, cure="Record GGA and RMC sentences.")
    notes = [f"NMEA 0183: {len(moments)} moments; {other} sentences of other kinds passed over."]
    if not any("speed" in m.values for m in moments):
        notes.append("No sentence gives a speed: it is not known from the receiver.")
    return _trail(path, moments, broken, _days(moments, start, path.name, notes), notes, digest.hexdigest())


def _take(line: bytes, number: int, moments: list[Moment]) -> str:
    """Read one line into the moments. Gives "" if used, "other" for a kind not needed, else why it is set aside."""
    match = SENTENCE.match(line)
    if match is None:
        return "is no sentence of this standard"
    name, body, given = match.group(1), match.group(2), match.group(3)
    if given is not None:
        own = checksum(name + b"," + body)
        if own != int(given, 16):
            return f"its checksum is {given.decode().upper()}, its text gives {own:02X}"
    kind = name[-3:].decode()
    fields = [f.strip() for f in body.decode("ascii", errors="replace").split(",")]
    readers = {"GGA": _gga, "RMC": _rmc, "GLL": _gll, "VTG": _vtg, "ZDA": _zda}
    if kind not in readers:
        return "other"
    if given is None:
        return "carries no checksum"
    try:
        return readers[kind](fields, number, moments)
    except (ValueError, IndexError):
        return "a field is missing or no number"


def _at(clock: str, number: int, moments: list[Moment]) -> Moment:
    """The moment of a time of day: the last one, or a new one."""
    if len(clock) < 6:
        raise ValueError(clock)
    ms = (int(clock[:2]) * 3600 + int(clock[2:4]) * 60 + float(clock[4:])) * 1e3
    if not 0 <= ms < DAY_MS + 1000:
        raise ValueError(clock)
    if not moments or moments[-1].clock_ms != ms:
        moments.append(Moment(clock_ms=ms, line=number))
    return moments[-1]


def _put(values: dict[str, float], key: str, text: str, scale: float = 1.0) -> None:
    if text:
        values[key] = float(text) * scale


def _gga(f: list[str], number: int, moments: list[Moment]) -> str:
    quality = float(f[5])
    lat, lon = degrees(f[1], f[2]), degrees(f[3], f[4])
    values = _at(f[0], number, moments).values
    values |= {"lat": lat, "lon": lon, "fix": quality}
    _put(values, "satellites", f[6])
    _put(values, "hdop", f[7])
    _put(values, "height_m", f[8])
    return ""


def _rmc(f: list[str], number: int, moments: list[Moment]) -> str:
    moment = _at(f[0], number, moments)
    values = moment.values
    values.setdefault("lat", degrees(f[2], f[3]))
    values.setdefault("lon", degrees(f[4], f[5]))
    values.setdefault("fix", 1.0 if f[1] == "A" else 0.0)
    _put(values, "speed", f[6], KNOT_M_S)
    _put(values, "heading", f[7])
    if len(f[8]) == 6:
        year = int(f[8][4:])
        moment.day_ms = float(start_ms(f"{2000 + year if year < 80 else 1900 + year}-{f[8][2:4]}-{f[8][:2]}", "Z"))
    return ""


def _gll(f: list[str], number: int, moments: list[Moment]) -> str:
    values = _at(f[4], number, moments).values
    values.setdefault("lat", degrees(f[0], f[1]))
    values.setdefault("lon", degrees(f[2], f[3]))
    values.setdefault("fix", 1.0 if f[5] == "A" else 0.0)
    return ""


def _vtg(f: list[str], number: int, moments: list[Moment]) -> str:
    """Speed and heading carry no time of their own: they belong to the moment before."""
    if not moments:
        return "speed before the first position"
    _put(moments[-1].values, "heading", f[0])
    _put(moments[-1].values, "speed", f[6], 1 / 3.6)
    return ""


def _zda(f: list[str], number: int, moments: list[Moment]) -> str:
    _at(f[0], number, moments).day_ms = float(start_ms(f"{f[3]}-{f[2]}-{f[1]}", "Z"))
    return ""


def _days(moments: list[Moment], start: str | None, name: str, notes: list[str]) -> FloatArray:
    """The day of each moment: the last date said, one more after midnight; before the first date, counted back from it. [Unix ms]"""
    clock = np.array([m.clock_ms for m in moments])
    passed = np.concatenate([[0], np.cumsum(np.diff(clock) < -DAY_MS / 2)]).astype(np.float64) * DAY_MS
    base = np.array([np.nan if m.day_ms is None else m.day_ms for m in moments]) - passed
    known = np.flatnonzero(np.isfinite(base))
    if known.size:
        return np.asarray(np.full(clock.size, float(np.median(base[known]))) + passed)
    if start is None:
        raise FileError("no sentence gives the date", where=name, cure="Give the day with --start, such as 2026-05-12.")
    notes.append("No sentence gives the date: it is taken from what was told.")
    begin = start_ms(start, "Z")
    return np.asarray(passed + begin - begin % DAY_MS)


def _trail(path: Path, moments: list[Moment], broken: list[tuple[int, str]], days: FloatArray, notes: list[str], digest: str) -> Trail:
    good = [i for i, m in enumerate(moments) if "lat" in m.values]
    if len(good) < len(moments):
        notes.append(f"{len(moments) - len(good)} moments without a position are passed over.")
    n = len(good) + len(broken)
    nan = np.full(len(broken), np.nan)
    columns = {"time": np.concatenate([np.array([days[i] + moments[i].clock_ms for i in good]), nan])}
    units = {"speed": "m/s", "lat": "deg", "lon": "deg"}
    uses = [ColumnUse(name="time", role="time", unit="epoch_ms")]
    for name in COLUMNS:
        values = np.array([moments[i].values.get(name, np.nan) for i in good])
        if np.isfinite(values).any():
            columns[name] = np.concatenate([values, nan])
            role = name if name in ("lat", "lon", "speed", "heading", "fix") else "extra"
            uses.append(ColumnUse(name=name, role=role, unit=units.get(name, "")))
    line = np.array([moments[i].line for i in good] + [at for at, _ in broken], dtype=np.int64)
    layout = Layout(
        source=path, encoding="ascii", delimiter=",", decimal=".", header=tuple(columns), header_line=0, units=(), skip_records=0,
        line=line, fields=np.full(n, len(columns)), blank=np.zeros(n, dtype=np.bool_), ends_open=False, quotes=False, file_hash=digest,
    )  # fmt: skip
    table = Table(number=columns, bad=dict.fromkeys(columns, EMPTY))
    aside = {len(good) + k: reason for k, (_, reason) in enumerate(broken)}
    return build_trail(path.name, layout, Recipe(name="NMEA 0183", columns=tuple(uses), zone="Z"), table, notes, aside=aside)
