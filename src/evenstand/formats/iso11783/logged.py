"""A task's time logs as a trail: which value of which device element is speed, section, rate or counter."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from evenstand.base.errors import FileError
from evenstand.formats.cells import Table
from evenstand.formats.columns import ColumnGuess, ColumnUse
from evenstand.formats.iso11783.entities import DeviceElement, TaskData, TaskInfo, read_task_data
from evenstand.formats.iso11783.folders import TaskFiles, task_files
from evenstand.formats.iso11783.markup import parse
from evenstand.formats.iso11783.parts import WORK, Pairs, Parts, machine_of, part_guesses, part_of, settled_parts
from evenstand.formats.iso11783.timelog import LogHeader, LogRecords, count_records, decode, read_header
from evenstand.formats.layouts import Layout
from evenstand.formats.recipes import Proposal, Recipe, load_recipe
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
CONDENSED = range(161, 177)
MOST_EXTRA = 120
POSITIONS = 8
"""Columns besides the values: time, place, status, height, dilution, satellites."""
MOST_LOG_BYTES = 200_000_000
"""Most bytes of a task's time logs. [byte]"""
MOST_CELLS = 16_000_000
"""Most records times columns: some 60 bytes of memory each while a trail is made of them. [-]"""


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


def read_trail_task_data(
    path: Path,
    *,
    task: str | None = None,
    zone: str | None = None,
    truncated_ok: bool = False,
    recipe: Recipe | str | Path | None = None,
    columns: Sequence[ColumnUse] = (),
    density_kg_m3: Mapping[str, float] | None = None,
) -> Trail:
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
    recipe : Recipe, path or None
        Which part of the machine is which bin and which section, remembered from an earlier time. [-]
    columns : sequence of ColumnUse
        The same, told one by one: a name is the key of an element, such as "DET-2". [-]
    density_kg_m3 : mapping or None
        Of the product in each bin, by its letter: rates logged by volume come out by mass. [kg/m³]

    Returns
    -------
    Trail
        In time order; rows are records of the logs, counted from 1. [-]

    Raises
    ------
    FileError
        If it is no task data, damaged, holds no usable log, or one too long to be read whole.
    ColumnError
        If a part of the machine is told to be what it cannot be.
    """
    known = load_recipe(recipe) if isinstance(recipe, str | Path) else recipe
    with task_files(path) as files:
        data = read_task_data(files)
        chosen = data.task(task, files.name)
        notes = [f"Task {chosen.key} '{chosen.name}', version {data.version}, {len(chosen.logs)} time log(s)."]
        headers = _headers(files, chosen)
        pairs = list(dict.fromkeys(pair for h in headers for pair in h.values))
        parts, _ = settled_parts(part_guesses(data, chosen, pairs), known, columns, files.name)
        logs = _logs(files, chosen, headers, truncated_ok, notes)
        digest = files.hash()
    found = Columns()
    zone = _clock(found, logs, zone, notes)
    _place(found, logs)
    _values(found, logs, data, parts, density_kg_m3 or {}, notes)
    n = found.number["time"].size
    layout = Layout(
        source=b"", encoding="binary", delimiter="", decimal=".", header=tuple(found.number), header_line=0, units=(), skip_records=0,
        line=np.arange(1, n + 1), fields=np.full(n, len(found.number)), blank=np.zeros(n, dtype=np.bool_), ends_open=False,
        quotes=False, file_hash=digest,
    )  # fmt: skip
    table = Table(number=found.number, bad=dict.fromkeys(found.number, EMPTY))
    return build_trail(path.name, layout, Recipe(name="task data", columns=tuple(found.uses), zone=zone), table, notes)


def propose_parts(path: Path, *, task: str | None = None, columns: Sequence[ColumnUse] = ()) -> Proposal:
    """What each bin and section of task data is taken for; see `part_guesses`. Its recipe can be saved and used for the next task.

    Raises
    ------
    FileError, ColumnError
        As for `read_trail_task_data`.
    """
    with task_files(path) as files:
        data = read_task_data(files)
        chosen = data.task(task, files.name)
        pairs = list(dict.fromkeys(pair for h in _headers(files, chosen) for pair in h.values))
    guesses = part_guesses(data, chosen, pairs)
    _, recipe = settled_parts(guesses, None, columns, path.name)
    uses = {u.name: u for u in recipe.columns}
    told = {u.name for u in columns}
    shown = tuple(_shown(g, uses.get(g.use.name), told=g.use.name in told) for g in guesses)
    return Proposal(
        file=path.name, rows=0, encoding="task data", delimiter="", decimal=".", header_line=0, columns=shown, questions=(), recipe=recipe
    )


def _shown(guess: ColumnGuess, use: ColumnUse | None, *, told: bool) -> ColumnGuess:
    """A part as it is used; one that another was told to be in place of is not read."""
    if use is None:
        return replace(guess, use=replace(guess.use, role="ignore", bin="", number=0))
    return replace(guess, use=use, sure="sure", why=f"as told; {guess.why}") if told else replace(guess, use=use)


def machine_in(path: Path) -> str:
    """A hash of the machine that task data is of, the same for all its tasks. [hash]"""
    with task_files(path) as files:
        return machine_of(read_task_data(files))


def _headers(files: TaskFiles, task: TaskInfo) -> list[LogHeader]:
    where = f"{files.name}, "
    return [read_header(parse(files.read(f"{n}.XML"), f"{where}{n}.XML"), f"{where}{n}.XML") for n in task.logs]


def _logs(files: TaskFiles, task: TaskInfo, headers: list[LogHeader], truncated_ok: bool, notes: list[str]) -> list[LogRecords]:
    """All logs of a task, none of them begun before it is known that all of them fit into memory."""
    size = sum(files.size(f"{name}.BIN") for name in task.logs)
    _refuse_long(size, MOST_LOG_BYTES, "bytes of time logs", files.name)
    logs, cells = [], 0
    width = POSITIONS + len({pair for h in headers for pair in h.values})
    for name, header in zip(task.logs, headers, strict=True):
        data = files.read(f"{name}.BIN")
        cells += count_records(header, data) * width
        _refuse_long(cells, MOST_CELLS, "cells of records and columns", files.name)
        logs.append(_log(f"{files.name}, {name}.BIN", name, header, data, truncated_ok, notes))
    return logs


def _refuse_long(have: int, most: int, what: str, where: str) -> None:
    """Refuse what would take more memory than a log may."""
    if have > most:
        cure = "Export fewer tasks or days at a time, or the log as delimited text: that is read in blocks, whatever its length."
        raise FileError(f"{have:,} {what}, too much to be read whole", where=where, limit=f"at most {most:,}", cure=cure)


def _log(where: str, name: str, header: LogHeader, data: bytes, truncated_ok: bool, notes: list[str]) -> LogRecords:
    records = decode(header, data, where)
    if records.left_over:
        text = f"{records.left_over} bytes of a broken last record after {records.n} whole ones"
        if not truncated_ok:
            raise FileError(text, where=where, cure="Copy it again from the machine; or allow it, to leave them out (--truncated-ok).")
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


def _values(
    columns: Columns, logs: list[LogRecords], data: TaskData, parts: Parts, density_kg_m3: Mapping[str, float], notes: list[str]
) -> None:
    """Every logged value, each under the role its number and its element give it."""
    pairs = list(dict.fromkeys(pair for r in logs for pair in r.header.values))
    bins, sections = parts.bins, parts.sections
    notes += [f"Bin {letter} is {key}: {parts.names[key]}." for key, letter in bins.items()]
    weighed = {bins[key] for ddi, key in pairs if ddi in RATES and key in bins}
    notes += _volume_notes(pairs, bins, weighed, density_kg_m3)
    used: set[tuple[int, str]] = set()
    for ddi, key in pairs:
        raw = _held(logs, ddi, key)
        part = part_of(data, key)
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
            if bins[key] in density_kg_m3 and bins[key] not in weighed:
                mass = raw * scale * density_kg_m3[bins[key]] / 1e3
                columns.add(f"{role} {bins[key]}", role, mass, unit="kg/ha", bin=bins[key])
        elif ddi == WORK and key in sections:
            columns.add(f"section {sections[key]}", "section", _on(raw), number=sections[key])
        elif ddi == WORK and part.kind in (1, 2) and (WORK, "") not in used:
            columns.add("work", "work", _on(raw))
            used.add((WORK, ""))
        elif ddi in CONDENSED and not sections:
            _condensed(columns, raw, ddi)
        elif len(columns.number) < MOST_EXTRA:
            _extra(columns, raw, ddi, part)


def _volume_notes(pairs: Pairs, bins: dict[str, str], weighed: set[str], density_kg_m3: Mapping[str, float]) -> list[str]:
    """What is said of rates logged by volume."""
    letters = sorted({bins[key] for ddi, key in pairs if ddi in VOLUMES and key in bins} - weighed)
    out = []
    for letter in letters:
        if letter in density_kg_m3:
            out.append(
                f"Bin {letter} is logged by volume: made mass with {density_kg_m3[letter] / 1e3:.3g} kg/L, and kept as volume too, in "
                f"asked_l_ha:{letter} and echoed_l_ha:{letter}."
            )
        else:
            out.append(
                f"Bin {letter} is logged by volume (L/ha) and no density is known: its rates are no rates by mass, they are kept in "
                f"asked_l_ha:{letter} and echoed_l_ha:{letter}. Give it with --density '{letter}=1.28 kg/L', or to the job's lot."
            )
    return out


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


def _extra(columns: Columns, raw: FloatArray, ddi: int, part: DeviceElement) -> None:
    """A value used for nothing yet, under its own name and in the unit its device shows it in."""
    shown = part.presentations.get(ddi)
    name = part.names.get(ddi) or f"value {ddi:04X}"
    label = f"{name}, {part.key}"
    if shown is None:
        columns.add(label, "extra", raw)
    else:
        columns.add(f"{label}, {shown.unit}" if shown.unit else label, "extra", (raw + shown.offset) * shown.scale)
