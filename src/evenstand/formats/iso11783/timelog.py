"""The binary time log: a header that says which fields each record carries, then records of changing length, little-endian."""

from __future__ import annotations

from array import array
from dataclasses import dataclass

import numpy as np

from evenstand.base.errors import FileError, RangeError
from evenstand.formats.iso11783.entities import ddi_of
from evenstand.formats.iso11783.markup import Element
from evenstand.model.place import FloatArray, IntArray

DAY_MS = 86_400_000
STRETCH = 1 << 18
"""Cells taken apart at a time. [-]"""
EPOCH_MS = 315_532_800_000
"""1980-01-01 in Unix milliseconds; times of a log count from it. [ms]"""

POSITION = (("A", "<i4", 1e-7), ("B", "<i4", 1e-7), ("C", "<i4", 1e-3), ("D", "u1", 1.0), ("E", "<u2", 0.1), ("F", "<u2", 0.1),
            ("G", "u1", 1.0), ("H", "<u4", 1.0), ("I", "<u2", 1.0))  # fmt: skip
"""Letters of a position, their bytes and the size of one count: north and east in degrees, up in metres, status, two dilutions,
satellites, UTC time of day in milliseconds, UTC day since 1980."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogHeader:
    """What each record carries. binary: letters of the position that stand in the records; fixed: letters with one value for all
    records; values: (data dictionary number, device element) by index; constant: values the header gives itself, by index;
    has_position: whether the header has a position at all."""

    binary: tuple[str, ...]
    fixed: dict[str, float]
    values: tuple[tuple[int, str], ...]
    constant: dict[int, int]
    kind: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRecords:
    """Decoded records: n of them. time_ms (n,): as logged, no zone, Unix milliseconds; position: letter -> (n,) in degrees, metres or
    counts; value_row, value_index, value (m,): which record, which value of the header, the raw number. left_over: bytes of a
    broken last record."""

    header: LogHeader
    time_ms: IntArray
    position: dict[str, FloatArray]
    value_row: IntArray
    value_index: IntArray
    value: IntArray
    left_over: int

    @property
    def n(self) -> int:
        """Number of whole records."""
        return int(self.time_ms.size)


def read_header(root: Element, where: str) -> LogHeader:
    """The header of a time log.

    Raises
    ------
    FileError
        If it is no such header.
    """
    times = [root] if root.tag == "TIM" else root.all("TIM")
    if len(times) != 1:
        raise FileError("is no header of a time log", where=where, cure="Export the log again.")
    time = times[0]
    if time.get("A") != "":
        raise FileError("its start time stands in the header, not in the records", where=where, limit='<TIM A="">', cure="Export it again.")
    places = time.all("PTN")
    place = places[0] if places else Element("PTN")
    letters = [letter for letter, _, _ in POSITION]
    binary = tuple(k for k in letters if k in place.attributes and place.attributes[k] == "")
    fixed = {k: _number(place.attributes[k], where) for k in letters if place.attributes.get(k, "") != ""}
    values = tuple((ddi_of(v.get("A"), where), v.get("C")) for v in time.all("DLV"))
    constant = {i: int(_number(v.get("B"), where)) for i, v in enumerate(time.all("DLV")) if v.get("B") != ""}
    return LogHeader(binary=binary, fixed=fixed, values=values, constant=constant, kind=time.get("D"))


def _number(text: str, where: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise FileError(f"'{text[:20]}' is no number", where=where, cure="Export the log again.") from error


def decode(header: LogHeader, data: bytes, where: str) -> LogRecords:
    """The records of a binary time log.

    Parameters
    ----------
    header : LogHeader
        What each record carries. [-]
    data : bytes
        The binary file. [-]
    where : str
        Its name, for errors. [-]

    Returns
    -------
    LogRecords
        Whole records; bytes of a broken last one are counted, not used. [-]

    Raises
    ------
    FileError
        If a record names a value the header does not have: the log does not belong to the header.
    """
    begin, count, left = _walk(data, _fixed_bytes(header))
    raw = np.frombuffer(data, dtype=np.uint8)
    at = begin.copy()
    ms = _field(raw, at, "<u4")
    days = _field(raw, at + 4, "<u2")
    at = at + 6
    position: dict[str, FloatArray] = {k: np.full(begin.size, v) for k, v in header.fixed.items()}
    for letter, kind, unit in POSITION:
        if letter in header.binary:
            position[letter] = np.asarray(_field(raw, at, kind) * unit, dtype=np.float64)
            at = at + np.dtype(kind).itemsize
    row = np.repeat(np.arange(begin.size), count)
    nth = np.arange(row.size) - np.repeat(np.cumsum(count) - count, count)
    place = np.repeat(at + 1, count) + 5 * nth
    index = _field(raw, place, "u1")
    if index.size and int(index.max()) >= len(header.values):
        bad = int(row[np.argmax(index >= len(header.values))])
        raise FileError(
            f"record {bad + 1} gives value number {int(index.max())}, the header names {len(header.values)}", where=where,
            cure="Header and log do not belong together; export both again.",
        )  # fmt: skip
    return LogRecords(
        header=header,
        time_ms=(EPOCH_MS + days.astype(np.int64) * DAY_MS + ms).astype(np.int64),
        position=position,
        value_row=row,
        value_index=index.astype(np.int64),
        value=_field(raw, place + 1, "<i4").astype(np.int64),
        left_over=left,
    )


def count_records(header: LogHeader, data: bytes) -> int:
    """How many whole records a binary time log holds. [-]"""
    return int(_walk(data, _fixed_bytes(header))[0].size)


def _fixed_bytes(header: LogHeader) -> int:
    """Bytes of a record before the count of its values. [byte]"""
    return 6 + sum(np.dtype(kind).itemsize for letter, kind, _ in POSITION if letter in header.binary)


def _walk(data: bytes, fixed: int) -> tuple[IntArray, IntArray, int]:
    """Where each whole record begins, how many values it has, and the bytes left over."""
    begin, count = array("q"), array("B")
    at, end = 0, len(data)
    while at + fixed < end:
        values = data[at + fixed]
        after = at + fixed + 1 + 5 * values
        if after > end:
            break
        begin.append(at)
        count.append(values)
        at = after
    return np.array(begin, dtype=np.int64), np.array(count, dtype=np.int64), end - at


def _field(raw: np.ndarray[tuple[int], np.dtype[np.uint8]], at: IntArray, kind: str) -> IntArray:
    """Whole numbers at byte positions."""
    size = np.dtype(kind).itemsize
    if at.size == 0:
        return np.zeros(0, dtype=np.int64)
    out = np.empty(at.size, dtype=np.int64)
    for first in range(0, at.size, STRETCH):
        cells = raw[at[first : first + STRETCH, None] + np.arange(size)[None, :]]
        out[first : first + STRETCH] = np.ascontiguousarray(cells).view(np.dtype(kind)).ravel()
    return out


def encode(header: LogHeader, records: LogRecords) -> bytes:
    """The binary file of records; what `decode` reads back identically.

    Raises
    ------
    RangeError
        If a time lies outside what two bytes of days since 1980 can say.
    """
    out = bytearray()
    first = np.searchsorted(records.value_row, np.arange(records.n + 1))
    since = records.time_ms - EPOCH_MS
    if records.n and not (since.min() >= 0 and since.max() < 65_536 * DAY_MS):
        raise RangeError(
            "a time cannot be written in a time log", where="time", limit="1980-01-01 to 2159-06-05", cure="Correct the clock."
        )
    for i in range(records.n):
        out += int(since[i] % DAY_MS).to_bytes(4, "little") + int(since[i] // DAY_MS).to_bytes(2, "little")
        for letter, kind, unit in POSITION:
            if letter in header.binary:
                whole = round(float(records.position[letter][i]) / unit)
                out += np.array([whole]).astype(kind).tobytes()
        a, b = int(first[i]), int(first[i + 1])
        out.append(b - a)
        for k in range(a, b):
            out += bytes([int(records.value_index[k])]) + int(records.value[k]).to_bytes(4, "little", signed=True)
    return bytes(out)
