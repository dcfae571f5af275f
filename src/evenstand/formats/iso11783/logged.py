"""A task's time logs as a trail: which value of which device element is speed, section, rate or counter."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from string import ascii_uppercase

import numpy as np

from evenstand.base.errors import FileError
from evenstand.formats.columns import ColumnUse
from evenstand.formats.delimited import Table
from evenstand.formats.iso11783.entities import KINDS, DeviceElement, TaskData, TaskInfo, read_task_data
from evenstand.formats.iso11783.folders import TaskFiles, task_files
from evenstand.formats.iso11783.markup import parse
from evenstand.formats.iso11783.timelog import LogRecords, decode, read_header
from evenstand.formats.layouts import Layout
from evenstand.formats.recipes import Recipe
from evenstand.formats.rows import build_trail
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import Trail

QUARTER_MS = 900_000
EMPTY: IntArray = np.zeros(0, dtype=np.int64)
SINGLE = {116: ("area", "ha", 1e-4), 117: ("distance", "m", 1e-3), 397: ("speed", "m/s", 1e-3)}
"""Values of the whole machine: total area in m², effective distance in mm, actual speed in mm/s."""
RATES = {6: ("asked", 0.01), 7: ("echoed", 0.01)}
"""Mass per area, set and actual, in mg/m²: 0.01 kg/ha a count."""
VOLUMES = {1: ("asked", 1e-4), 2: ("echoed", 1e-4)}
"""Volume per area, set and actual, 0.01 mm³/m²: 0.0001 L/ha a count."""
WORK = 141
CONDENSED = range(161, 177)
OFFSET_Y = 135
MOST_EXTRA = 120


@dataclass(slots=True)
class Columns:
    """Columns under construction: numbers by name, and what each is."""

    number: dict[str, FloatArray] = field(default_factory=dict)
    uses: list[ColumnUse] = field(default_factory=list)

    def add(self, name: str, role: str, values: FloatArray, *, unit: str = "", bin: str = "", number: int = 0) -> None:
        """Add a column under a name of its own."""
        base, k = name, 2
        while name in self.number:
            name, k = f"{base} {k}", k + 1
        self.number[name] = values
        self.uses.append(ColumnUse(name=name, role=role, unit=unit, bin=bin, number=number))


def read_trail_task_data(path: Path, *, task: str | None = None, zone: str | None = None, truncated_ok: bool = False) -> Trail:
    """Read the time logs of one task.

    Parameters
    ----------
    path : Path
        Folder, TASKDATA.XML or zip archive. [-]
    task : str or None
        Key or name of the task; needed where several hold logs. [-]
    zone : str or None
        Offset from UTC of the logged times, where the log does not carry UTC as well. [-]
    truncated_ok : bool
        Set a broken last record aside instead of refusing. [-]

    Returns
    -------
    Trail
        In time order; rows are records of the logs, counted from 1. [-]

    Raises
    ------
    FileError
        If it is no task data, damaged, or holds no usable log.
    """
    with task_files(path) as files:
        data = read_task_data(files)
        chosen = data.task(task, files.name)
        notes = [f"Task {chosen.key} '{chosen.name}', version {data.version}, {len(chosen.logs)} time log(s)."]
        logs = [_log(files, name, truncated_ok, notes) for name in chosen.logs]
        digest = files.hash()
    columns = Columns()
    zone = _clock(columns, logs, zone, notes)
    _place(columns, logs)
    _values(columns, logs, data, chosen, notes)
    n = columns.number["time"].size
    layout = Layout(
        source=b"", encoding="binary", delimiter="", decimal=".", header=tuple(columns.number), header_line=0, units=(), skip_records=0,
        line=np.arange(1, n + 1), fields=np.full(n, len(columns.number)), blank=np.zeros(n, dtype=np.bool_), ends_open=False,
        quotes=False, file_hash=digest,
    )  # fmt: skip
    table = Table(number=columns.number, bad=dict.fromkeys(columns.number, EMPTY))
    recipe = Recipe(name="task data", columns=tuple(columns.uses), zone=zone)
    return build_trail(path.name, layout, recipe, table, notes)


def _log(files: TaskFiles, name: str, truncated_ok: bool, notes: list[str]) -> LogRecords:
    where = f"{files.name}, {name}"
    records = decode(
        read_header(parse(files.read(f"{name}.XML"), f"{where}.XML"), f"{where}.XML"), files.read(f"{name}.BIN"), f"{where}.BIN"
    )
    if records.left_over:
        text = f"{records.left_over} bytes of a broken last record after {records.n} whole ones"
        if not truncated_ok:
            raise FileError(
                text, where=f"{where}.BIN", cure="Copy it again from the machine; or allow it, to leave them out (--truncated-ok)."
            )
        notes.append(f"{name}: {text}; left out.")
    if not records.header.binary and not records.header.fixed:
        raise FileError("the log carries no positions", where=where, cure="Export a log with positions.")
    return records


def _joined(parts: Iterable[FloatArray | IntArray]) -> FloatArray:
    return np.concatenate([np.asarray(p, dtype=np.float64) for p in parts])


def _clock(columns: Columns, logs: list[LogRecords], zone: str | None, notes: list[str]) -> str:
    """The time column; the offset from UTC is read off records that carry both clocks. Gives the zone still to be applied."""
    local = _joined(r.time_ms for r in logs)
    offset = _offset_ms(logs)
    if offset is not None:
        columns.add("time", "time", local - offset, unit="epoch_ms")
        notes.append(f"The log carries UTC too: its clock runs {offset / 3.6e6:+g} h from it.")
        return ""
    from evenstand.formats.times import zone_offset_ms

    shift = zone_offset_ms(zone) if zone else 0
    columns.add("time", "time", local - shift, unit="epoch_ms")
    if not zone:
        notes.append("The log's times carry no zone and are taken as UTC. Give the offset with --zone if the machine's clock is local.")
    return ""


def _offset_ms(logs: list[LogRecords]) -> int | None:
    """Offset of the logged clock from the UTC it also carries, to a quarter of an hour. [ms]"""
    from evenstand.formats.iso11783.timelog import DAY_MS, EPOCH_MS

    gaps = []
    for r in logs:
        if "H" in r.header.binary and "I" in r.header.binary:
            good = r.position["I"] > 0
            gaps.append((r.time_ms - (EPOCH_MS + r.position["I"] * DAY_MS + r.position["H"]))[good])
    found = _joined(gaps) if gaps else np.zeros(0)
    return round(float(np.median(found)) / QUARTER_MS) * QUARTER_MS if found.size else None


def _place(columns: Columns, logs: list[LogRecords]) -> None:
    none = {r.n: np.full(r.n, np.nan) for r in logs}
    columns.add("longitude", "lon", _joined(r.position.get("B", none[r.n]) for r in logs), unit="deg")
    columns.add("latitude", "lat", _joined(r.position.get("A", none[r.n]) for r in logs), unit="deg")
    if any("D" in r.position for r in logs):
        status = _joined(r.position.get("D", none[r.n]) for r in logs)
        columns.add("position status", "fix", np.where(status == 14, 0, np.where(status == 15, np.nan, status)))
    for letter, name in (("C", "height_m"), ("F", "hdop"), ("G", "satellites")):
        if any(letter in r.header.binary for r in logs):
            columns.add(name, "extra", _joined(r.position.get(letter, none[r.n]) for r in logs))


def _held(logs: list[LogRecords], ddi: int, key: str) -> FloatArray:
    """A value at every record: only changes are logged, so the last one holds, within a log. Not a number before the first. [raw]"""
    parts = []
    for r in logs:
        out = np.full(r.n, np.nan)
        for index, (number, element) in enumerate(r.header.values):
            if (number, element) == (ddi, key):
                mine = r.value_index == index
                out[r.value_row[mine]] = r.value[mine]
                if index in r.header.constant:
                    out[0] = out[0] if np.isfinite(out[0]) else r.header.constant[index]
        seen = np.maximum.accumulate(np.where(np.isfinite(out), np.arange(r.n), -1))
        parts.append(np.where(seen >= 0, out[np.maximum(seen, 0)], np.nan) if r.n else out)
    return _joined(parts)


def _values(columns: Columns, logs: list[LogRecords], data: TaskData, task: TaskInfo, notes: list[str]) -> None:
    """Every logged value, each under the role its number and its element give it."""
    pairs = list(dict.fromkeys(pair for r in logs for pair in r.header.values))
    parts = {key: data.elements.get(key) or _stranger(key) for _, key in pairs}
    bins = _bins(pairs, parts, task, notes)
    sections = _sections(pairs, parts)
    used: set[tuple[int, str]] = set()
    for ddi, key in pairs:
        raw = _held(logs, ddi, key)
        part = parts[key]
        if ddi in SINGLE and (ddi, "") not in used and part.kind in (1, 2, 7):
            role, unit, scale = SINGLE[ddi]
            columns.add(role, role, raw * scale, unit=unit)
            used.add((ddi, ""))
        elif ddi in RATES and key in bins:
            role, scale = RATES[ddi]
            columns.add(f"{role} {bins[key]}", role, raw * scale, unit="kg/ha", bin=bins[key])
        elif ddi in VOLUMES and key in bins:
            role, scale = VOLUMES[ddi]
            columns.add(f"{role}_l_ha:{bins[key]}", "extra", raw * scale)
        elif ddi == WORK and key in sections:
            columns.add(f"section {sections[key]}", "section", _on(raw), number=sections[key])
        elif ddi == WORK and part.kind in (1, 2) and (WORK, "") not in used:
            columns.add("work", "work", _on(raw))
            used.add((WORK, ""))
        elif ddi in CONDENSED and not sections:
            _condensed(columns, raw, ddi)
        elif len(columns.number) < MOST_EXTRA:
            _extra(columns, raw, ddi, part)


def _stranger(key: str) -> DeviceElement:
    return DeviceElement(key=key, kind=0, name="", number=0, device="", parent="")


def _on(raw: FloatArray) -> FloatArray:
    """Work state: 1 on, 0 off, error and not installed unknown. [-]"""
    return np.where(raw == 1, 1.0, np.where(raw == 0, 0.0, np.nan))


def _condensed(columns: Columns, raw: FloatArray, ddi: int) -> None:
    """Sixteen sections in one number, two bits each, the leftmost lowest; those never installed are left out."""
    whole = np.where(np.isfinite(raw), raw, -1).astype(np.int64) & 0xFFFFFFFF
    for k in range(16):
        bits = (whole >> (2 * k)) & 3
        state = np.where(np.isfinite(raw) & (bits < 2), bits.astype(np.float64), np.nan)
        if np.isfinite(state).any():
            number = (ddi - CONDENSED.start) * 16 + k + 1
            columns.add(f"section {number}", "section", state, number=number)


def _bins(pairs: list[tuple[int, str]], parts: dict[str, DeviceElement], task: TaskInfo, notes: list[str]) -> dict[str, str]:
    """Letters of the elements that carry rates: bins before functions and devices, in the order of their numbers."""
    keys = {key for ddi, key in pairs if ddi in RATES or ddi in VOLUMES}
    if any(parts[k].kind == 3 for k in keys):
        keys = {k for k in keys if parts[k].kind == 3}
    order = sorted((k for k in keys if parts[k].kind in (0, 1, 2, 3)), key=lambda k: (parts[k].device, parts[k].number, k))
    letters = dict(zip(order, ascii_uppercase, strict=False))
    for key, letter in letters.items():
        part, product = parts[key], task.products.get(key, "")
        name = f" '{part.name}'" if part.name else ""
        notes.append(f"Bin {letter} is {KINDS.get(part.kind, 'element')} {key}{name}{f', {product}' if product else ''}.")
    return letters


def _sections(pairs: list[tuple[int, str]], parts: dict[str, DeviceElement]) -> dict[str, int]:
    """Numbers of the elements that carry a section's state, from the left: by their place across the tool, else by their numbers."""
    keys = list(dict.fromkeys(key for ddi, key in pairs if ddi == WORK and parts[key].kind == 4))
    placed = all(OFFSET_Y in parts[k].properties for k in keys)
    order = sorted(keys, key=lambda k: (parts[k].properties[OFFSET_Y] if placed else parts[k].number, k))
    return {key: i + 1 for i, key in enumerate(order)}


def _extra(columns: Columns, raw: FloatArray, ddi: int, part: DeviceElement) -> None:
    """A value used for nothing yet, under its own name and in the unit its device shows it in."""
    shown = part.presentations.get(ddi)
    name = part.names.get(ddi) or f"value {ddi:04X}"
    label = f"{name}, {part.key}"
    if shown is None:
        columns.add(label, "extra", raw)
    else:
        columns.add(f"{label}, {shown.unit}" if shown.unit else label, "extra", (raw + shown.offset) * shown.scale)
