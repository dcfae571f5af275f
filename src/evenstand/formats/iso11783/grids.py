"""Rate maps of a task: a grid of zone codes (type 1) or of rates (type 2), both ways."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenstand.base.errors import FileError, InputError, RangeError
from evenstand.formats.iso11783.entities import TaskInfo, ddi_of
from evenstand.formats.iso11783.folders import TaskFiles
from evenstand.formats.iso11783.markup import Element
from evenstand.model.place import FloatArray

COUNT = {1: ("L/ha", 1e-4), 2: ("L/ha", 1e-4), 6: ("kg/ha", 0.01), 7: ("kg/ha", 0.01), 11: ("1/m²", 0.001), 12: ("1/m²", 0.001)}
"""What one count of a rate is worth, by data dictionary number."""
MOST_CELLS = 50_000_000
MOST_ZONES = 255


@dataclass(frozen=True, slots=True, kw_only=True)
class RateLayer:
    """One rate of a grid: data dictionary number, its unit, the product it is for, the device element it goes to."""

    ddi: int
    unit: str
    product: str = ""
    element: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RateGrid:
    """A rate map. south_deg, west_deg: its corner [deg]; cell_north_deg, cell_east_deg: size of a cell [deg];
    rates (rows, columns, layers): row 0 the south one, columns from the west, not a number where none is given [unit of the layer];
    layers; outside: the rate of each layer outside the field, None where not said."""

    south_deg: float
    west_deg: float
    cell_north_deg: float
    cell_east_deg: float
    rates: FloatArray
    layers: tuple[RateLayer, ...]
    outside: tuple[float, ...] | None = None


def read_grid(files: TaskFiles, task: TaskInfo) -> RateGrid | None:
    """The rate map of a task, or None where it has none.

    Raises
    ------
    FileError
        If its file is missing, of another size than rows and columns say, or names a zone that is not there.
    """
    grids = task.element.all("GRD")
    if not grids:
        return None
    grid, where = grids[0], f"{files.name}, {grids[0].get('G')}"
    columns, rows = _count(grid, "E", where), _count(grid, "F", where)
    if rows * columns > MOST_CELLS:
        raise FileError(f"{rows} x {columns} cells", where=where, limit=f"at most {MOST_CELLS:,}", cure="Export a coarser grid.")
    raw = files.read(f"{grid.get('G')}.BIN")
    zones = {_count(z, "A", where): z.all("PDV") for z in task.element.all("TZN")}
    rates, shown = (_coded if grid.get("I") == "1" else _direct)(grid, raw, rows, columns, zones, where)
    out = task.element.get("J")
    outside = tuple(_rate(p, where) for p in zones.get(int(out), ())) if out.isdigit() else None
    return RateGrid(
        south_deg=_real(grid, "A", where),
        west_deg=_real(grid, "B", where),
        cell_north_deg=_real(grid, "C", where),
        cell_east_deg=_real(grid, "D", where),
        rates=rates,
        layers=tuple(_layer(p, where) for p in shown),
        outside=outside or None,
    )


def _coded(
    grid: Element, raw: bytes, rows: int, columns: int, zones: dict[int, list[Element]], where: str
) -> tuple[FloatArray, list[Element]]:
    """Rates of a grid of zone codes, one byte a cell."""
    _size(raw, rows * columns, where)
    codes = np.frombuffer(raw, dtype=np.uint8).reshape(rows, columns)
    used = sorted(set(codes.ravel().tolist()))
    unknown = [c for c in used if c not in zones and c != 0]
    if unknown:
        raise FileError(f"cells carry zone codes {unknown[:8]} that the task does not define", where=where, cure="Export it again.")
    first = next((zones[c] for c in used if zones.get(c)), [])
    table = np.full((256, len(first)), np.nan)
    for code in used:
        for k, p in enumerate(zones.get(code, [])[: len(first)]):
            table[code, k] = _rate(p, where)
    return table[codes], first


def _direct(
    grid: Element, raw: bytes, rows: int, columns: int, zones: dict[int, list[Element]], where: str
) -> tuple[FloatArray, list[Element]]:
    """Rates of a grid that carries them itself, four bytes a rate."""
    code = grid.get("J")
    shown = zones.get(int(code), []) if code.isdigit() else []
    if not shown:
        raise FileError("the zone that says what the cells mean is missing", where=where, cure="Export it again.")
    _size(raw, rows * columns * 4 * len(shown), where)
    whole = np.frombuffer(raw, dtype="<i4").reshape(rows, columns, len(shown))
    counts = np.array([COUNT.get(ddi_of(p.get("A"), where), ("", 1.0))[1] for p in shown])
    return whole * counts, shown


def _size(raw: bytes, want: int, where: str) -> None:
    if len(raw) != want:
        raise FileError(
            f"{len(raw)} bytes where rows and columns need {want}", where=where, cure="Copy it again; header and grid must match."
        )


def _rate(value: Element, where: str) -> float:
    try:
        return int(value.get("B")) * COUNT.get(ddi_of(value.get("A"), where), ("", 1.0))[1]
    except ValueError as error:
        raise FileError(f"'{value.get('B')[:20]}' is no whole number", where=where, cure="Export it again.") from error


def _layer(value: Element, where: str) -> RateLayer:
    ddi = ddi_of(value.get("A"), where)
    return RateLayer(ddi=ddi, unit=COUNT.get(ddi, ("", 1.0))[0], product=value.get("C"), element=value.get("D"))


def _real(grid: Element, letter: str, where: str) -> float:
    try:
        return float(grid.get(letter))
    except ValueError as error:
        raise FileError(f"<{grid.tag}> {letter} is '{grid.get(letter)[:20]}', no number", where=where, cure="Export it again.") from error


def _count(grid: Element, letter: str, where: str) -> int:
    value = _real(grid, letter, where)
    if value < 0 or value != int(value):
        raise FileError(f"<{grid.tag}> {letter} is '{grid.get(letter)[:20]}', no count", where=where, cure="Export it again.")
    return int(value)


def write_grid(task: Element, grid: RateGrid, *, kind: int, name: str = "GRD00001") -> bytes:
    """Add a rate map to a task element; gives the bytes of its file.

    Parameters
    ----------
    task : Element
        The task; zones are added too, and the codes outside the field and without a position. [-]
    grid : RateGrid
        The map. [unit of each layer]
    kind : int
        1: zone codes (at most 254 different rates); 2: the rates themselves. [-]
    name : str
        Name of its file without ending. [-]

    Raises
    ------
    RangeError
        If a rate is negative, too large for four bytes, or there are too many for type 1.
    """
    rows, columns, layers = grid.rates.shape
    counts = np.array([COUNT.get(layer.ddi, ("", 1.0))[1] for layer in grid.layers])
    whole = np.rint(np.nan_to_num(grid.rates, nan=0.0) / counts).astype(np.int64)
    if whole.size and (whole.min() < 0 or whole.max() >= 2**31):
        raise RangeError(
            "a rate is below 0 or too large to be written", where="rates", limit="0 to 2^31 - 1 counts", cure="Correct the rates."
        )
    outside = grid.outside or tuple(0.0 for _ in grid.layers)
    task.attributes |= {"I": "0", "J": "0"}
    _zone(task, 0, grid.layers, np.rint(np.array(outside) / counts).astype(np.int64))
    if kind == 1:
        flat, codes = np.unique(whole.reshape(-1, layers), axis=0, return_inverse=True)
        if flat.shape[0] >= MOST_ZONES:
            raise RangeError(
                f"{flat.shape[0]} different rates",
                where="rates",
                limit=f"at most {MOST_ZONES - 1} zones",
                cure="Write type 2, or fewer steps.",
            )
        for k, rates in enumerate(flat, start=1):
            _zone(task, k, grid.layers, rates)
        task.attributes["H"] = "0"
        data = (codes.ravel() + 1).astype(np.uint8).tobytes()
    elif kind == 2:
        _zone(task, 1, grid.layers, np.zeros(layers, dtype=np.int64))
        task.attributes["H"] = "1"
        data = whole.astype("<i4").tobytes()
    else:
        raise InputError(f"there is no grid of type {kind}", where="kind", limit="1 or 2")
    task.add(
        "GRD", A=f"{grid.south_deg:.9f}", B=f"{grid.west_deg:.9f}", C=repr(grid.cell_north_deg), D=repr(grid.cell_east_deg), E=columns,
        F=rows, G=name, H=len(data), I=kind, J=1 if kind == 2 else None,
    )  # fmt: skip
    return data


def _zone(task: Element, code: int, layers: tuple[RateLayer, ...], counts: np.ndarray[tuple[int], np.dtype[np.int64]]) -> None:
    zone = task.add("TZN", A=code, B="outside the field" if code == 0 else f"zone {code}")
    for layer, count in zip(layers, counts.tolist(), strict=True):
        zone.add("PDV", A=f"{layer.ddi:04X}", B=count, C=layer.product or None, D=layer.element or None)
