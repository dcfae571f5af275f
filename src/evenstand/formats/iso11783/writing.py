"""Task data written: fields, products, a rate map, guidance lines and a recorded trail, as a folder or a zip archive."""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from evenstand.base.errors import FileError
from evenstand.formats.iso11783.folders import MAIN
from evenstand.formats.iso11783.grids import RateGrid, write_grid
from evenstand.formats.iso11783.guidance import FieldInfo, add_field
from evenstand.formats.iso11783.markup import Element, text_of
from evenstand.formats.iso11783.timelog import LogHeader, LogRecords, encode
from evenstand.model.place import FloatArray, IntArray
from evenstand.model.trail import Trail

MINOR = {3: "3", 4: "3"}
NONE_NAME = "A000000000000000"
LABELS = {"F": "31000000000000", "G": "FF000000006E65"}
SPEED, AREA, WORK, SET_RATE, ACTUAL_RATE = 397, 116, 141, 6, 7


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskSet:
    """What is to be written. name: of the task; products: names; field, grid, trail: None where there is none; version: 3 or 4."""

    name: str
    products: tuple[str, ...] = ()
    field: FieldInfo | None = None
    grid: RateGrid | None = None
    grid_kind: int = 2
    trail: Trail | None = None
    version: int = 4
    program: str = "Evenstand"
    program_version: str = ""


def write_task_data(what: TaskSet, path: Path) -> None:
    """Write task data to a new folder, or to a zip archive if the name ends so.

    Raises
    ------
    FileError
        If the folder holds task data already, or cannot be written.
    """
    files = task_data_files(what)
    try:
        if path.suffix.lower() == ".zip":
            with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
                for name, data in files.items():
                    archive.writestr(zipfile.ZipInfo(f"TASKDATA/{name}", (1980, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
            return
        path.mkdir(parents=True, exist_ok=True)
        if any(p.name.upper() == MAIN for p in path.iterdir()):
            raise FileError(f"there is a {MAIN} already", where=str(path), cure="Name a new folder.")
        for name, data in files.items():
            (path / name).write_bytes(data)
    except OSError as error:
        raise FileError(f"cannot be written ({error.strerror})", where=str(path), cure="Check the place.") from error


def task_data_files(what: TaskSet) -> dict[str, bytes]:
    """The files of a task, by name."""
    root = Element("ISO11783_TaskData", {
        "VersionMajor": str(what.version), "VersionMinor": MINOR[what.version], "ManagementSoftwareManufacturer": what.program,
        "ManagementSoftwareVersion": what.program_version, "DataTransferOrigin": "1",
    })  # fmt: skip
    files: dict[str, bytes] = {}
    root.add("CTR", A="CTR-1", B="-")
    root.add("FRM", A="FRM-1", B="-", I="CTR-1")
    for k, name in enumerate(what.products, start=1):
        root.add("PDT", A=f"PDT-{k}", B=name)
    if what.field is not None:
        add_field(root, what.field, version=what.version)
    if what.trail is not None:
        _device(root, what.trail)
    task = root.add("TSK", A="TSK-1", B=what.name, C="CTR-1", D="FRM-1", E=what.field.key if what.field else None, G=4 if what.trail else 1)
    if what.grid is not None:
        files["GRD00001.bin"] = write_grid(task, what.grid, kind=what.grid_kind)
    if what.trail is not None:
        header, records = log_of(what.trail)
        task.add("DAN", A=NONE_NAME, C="DVC-1")
        for k in range(min(len(what.products), len(what.trail.bins))):
            task.add("PAN", A=f"PDT-{k + 1}", E=f"DET-{k + 2}")
        data = encode(header, records)
        task.add("TLG", A="TLG00001", B=len(data), C=1)
        files |= {"TLG00001.xml": text_of(_header_element(header)), "TLG00001.bin": data}
    return {MAIN: text_of(_ordered(root)), **files}


def _ordered(root: Element) -> Element:
    """Children of tasks in one order, as readers of both versions expect."""
    order = {tag: k for k, tag in enumerate(("TZN", "TIM", "DAN", "PAN", "TLG", "GRD", "GAN"))}
    for task in root.all("TSK"):
        task.children.sort(key=lambda c: order.get(c.tag, 99))
    return root


def _device(root: Element, trail: Trail) -> None:
    """The machine: one device, a bin element a bin, a section element a section."""
    device = root.add("DVC", A="DVC-1", B="air seeder", C="1", D=NONE_NAME, F=LABELS["F"], G=LABELS["G"])
    parts = [("DET-1", 1, "air seeder", 0, 0)]
    parts += [(f"DET-{k + 2}", 3, f"bin {b}", k + 1, 1) for k, b in enumerate(trail.bins)]
    parts += [(f"DET-{k}", 4, f"section {n}", n, 1) for n, k in enumerate(_section_keys(trail), start=1)]
    for k, (key, kind, name, number, parent) in enumerate(parts, start=1):
        device.add("DET", A=key, B=k, C=kind, D=name, E=number, F=parent)


def _section_keys(trail: Trail) -> list[int]:
    count = trail.sections.shape[1] if trail.sections is not None else 0
    return [len(trail.bins) + 2 + k for k in range(count)]


def log_of(trail: Trail) -> tuple[LogHeader, LogRecords]:
    """A trail as records of a time log: every value where it changes, absent values never."""
    values: list[tuple[int, str]] = []
    columns: list[FloatArray] = []

    def add(ddi: int, key: str, counts: FloatArray) -> None:
        values.append((ddi, key))
        columns.append(counts)

    if trail.lifted is not None:
        add(WORK, "DET-1", (~trail.lifted).astype(np.float64))
    if trail.speed_m_s is not None:
        add(SPEED, "DET-1", trail.speed_m_s * 1e3)
    if trail.area_ha is not None:
        add(AREA, "DET-1", trail.area_ha * 1e4)
    for grid, ddi in ((trail.asked_kg_ha, SET_RATE), (trail.echoed_kg_ha, ACTUAL_RATE)):
        for k in range(len(trail.bins) if grid is not None else 0):
            add(ddi, f"DET-{k + 2}", np.asarray(grid)[:, k] * 100)
    for k, key in enumerate(_section_keys(trail)):
        add(WORK, f"DET-{key}", np.asarray(trail.sections)[:, k].astype(np.float64))
    row, index, raw = _changes(columns, trail.n)
    lonlat = _degrees(trail)
    header = LogHeader(binary=("A", "B", "D"), fixed={}, values=tuple(values), constant={}, kind="4")
    position = {"A": lonlat[:, 1], "B": lonlat[:, 0], "D": np.ones(trail.n)}
    return header, LogRecords(
        header=header, time_ms=trail.t_ms, position=position, value_row=row, value_index=index, value=raw, left_over=0
    )


def _changes(columns: Sequence[FloatArray], n: int) -> tuple[IntArray, IntArray, IntArray]:
    """Record, value number and count wherever a value differs from the one before."""
    if not columns:
        none = np.zeros(0, dtype=np.int64)
        return none, none, none
    counts = np.column_stack(columns)
    known = np.isfinite(counts)
    whole = np.rint(np.where(known, counts, 0)).astype(np.int64)
    last = np.maximum.accumulate(np.where(known, np.arange(n)[:, None], -1), axis=0)
    before = np.vstack([np.full((1, counts.shape[1]), -1), last[:-1]])
    held = np.where(before >= 0, np.take_along_axis(whole, np.maximum(before, 0), axis=0), 0)
    row, index = np.nonzero(known & ((before < 0) | (whole != held)))
    return row, index, whole[row, index]


def _degrees(trail: Trail) -> FloatArray:
    from pyproj import Transformer

    lon, lat = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True).transform(trail.xy_m[:, 0], trail.xy_m[:, 1])
    return np.column_stack([lon, lat])


def _header_element(header: LogHeader) -> Element:
    time = Element("TIM", {"A": "", "D": header.kind})
    time.add("PTN", **dict.fromkeys(header.binary, ""))
    for ddi, key in header.values:
        time.add("DLV", A=f"{ddi:04X}", B="", C=key)
    return time
