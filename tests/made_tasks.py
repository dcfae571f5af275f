"""Task data made for tests: a field with its outline, a guidance line and a map of rates; a log of a machine with bins and sections."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from evenstand.formats.iso11783.grids import RateGrid, RateLayer
from evenstand.formats.iso11783.guidance import FieldInfo, GuidanceLine
from evenstand.formats.iso11783.markup import parse
from evenstand.formats.iso11783.timelog import LogRecords, encode, read_header
from evenstand.formats.iso11783.writing import TaskSet, write_task_data

RATES = np.array([[[112.0], [90.0], [0.0]], [[90.0], [134.5], [112.0]]])
RING = np.array([[-105.0, 50.0], [-104.99, 50.0], [-104.99, 50.01], [-105.0, 50.0]])


def tasks_made(folder: Path, *, version: int = 4, kind: int = 2) -> Path:
    """Task data with an outline, a guidance line and a map of rates."""
    line = GuidanceLine(name="west", kind="AB", lonlat_deg=RING[:2], heading_deg=90.0, width_m=16.15)
    layers = (RateLayer(ddi=6, unit="kg/ha", product="PDT-1"),)
    grid = RateGrid(south_deg=50.0, west_deg=-105.0, cell_north_deg=1e-3, cell_east_deg=1e-3, rates=RATES, layers=layers)
    field = FieldInfo(key="PFD-1", name="South", area_m2=400_000, polygons=((RING,),), lines=(line,))
    write_task_data(TaskSet(name="sow", products=("wheat",), field=field, grid=grid, grid_kind=kind, version=version), folder)
    return folder


MACHINE = """<DVC A="DVC-1" B="seeder" C="1" D="A000000000000000" F="31000000000000" G="FF000000006E65">
<DET A="DET-1" B="1" C="1" D="seeder" E="0" F="0"/><DET A="DET-2" B="2" C="3" D="front" E="1" F="1"/>
<DET A="DET-3" B="3" C="3" D="middle" E="2" F="1"/><DET A="DET-4" B="4" C="3" D="liquid" E="3" F="1"/>
<DET A="DET-5" B="5" C="4" D="left" E="1" F="1"/><DET A="DET-6" B="6" C="4" D="right" E="2" F="1"/></DVC>"""
LOGGED = (
    '<TIM A="" D="4"><PTN A="" B=""/><DLV A="0007" B="" C="DET-3"/><DLV A="0002" B="" C="DET-4"/><DLV A="008D" B="" C="DET-5"/>'
    '<DLV A="008D" B="" C="DET-6"/></TIM>'
)


def machine_log(folder: Path, *, machine: str = MACHINE, rows: int = 4, tasks: str = "") -> Path:
    """A log of a machine with three bins, of which the second logs a mass, the third a volume, and two sections."""
    folder.mkdir(parents=True, exist_ok=True)
    header = read_header(parse(LOGGED.encode(), "h"), "h")
    row = np.repeat(np.arange(rows), 4)
    value = np.tile([9000, 850_000, 1, 0], rows)
    log = LogRecords(
        header=header, time_ms=1_747_731_600_000 + np.arange(rows, dtype=np.int64) * 1000,
        position={"A": 50.0 + np.arange(rows) * 2e-5, "B": np.full(rows, -105.0)}, value_row=row, value_index=np.tile(np.arange(4), rows),
        value=value, left_over=0,
    )  # fmt: skip
    tasks = tasks or '<TSK A="TSK-1" B="North" G="4"><PAN A="PDT-1" E="DET-3"/><TLG A="TLG00001" C="1"/></TSK>'
    text = f"""<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="x" DataTransferOrigin="2">
<PDT A="PDT-1" B="urea"/>{machine}{tasks}</ISO11783_TaskData>"""
    (folder / "TASKDATA.XML").write_text(text, encoding="utf-8")
    (folder / "TLG00001.XML").write_text(LOGGED, encoding="utf-8")
    (folder / "TLG00001.BIN").write_bytes(encode(header, log))
    return folder
