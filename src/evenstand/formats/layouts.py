"""How a delimited file is laid out: bytes to text, delimiter, header, records with their line numbers. Nothing is understood here."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from evenstand.base.errors import ColumnError, FileError
from evenstand.model.place import IntArray

CHUNK = 1 << 18  # what a pass over a file holds at once stays in the processor's cache
HEAD = 1 << 18
DELIMITERS = (",", ";", "\t", "|")
MAGIC: tuple[tuple[bytes, str, str], ...] = (
    (b"PK\x03\x04", "a zip archive or a spreadsheet workbook", "Unpack it, or save the sheet as CSV."),
    (b"\x1f\x8b", "a gzip archive", "Unpack it first."),
    (b"%PDF", "a PDF", "Ask for the log as CSV."),
    (b"SQLite format 3", "a database (GeoPackage or other SQLite)", "Export the log's table as CSV."),
    (b"\xd0\xcf\x11\xe0", "an old binary spreadsheet", "Save it as CSV."),
    (b"\x89PNG", "a picture", "Give the log itself."),
    (b"\xff\xd8\xff", "a picture", "Give the log itself."),
    (b"\x00\x00\x27\x0a", "a Shapefile", "Export the points as CSV."),
)
RULE = re.compile(r"^[\s\-=_+|;,]*[-=_]{3}[\s\-=_+|;,]*$")
"""A line drawn under the names."""
THOUSANDS = {
    ",": re.compile(r"(?<![\d.,])(-?\d{1,3}(?:\.\d{3})+)(?=,\d|[^\d.,]|$)"),
    ".": re.compile(r"(?<![\d.,])(-?\d{1,3}(?:,\d{3})+)(?=\.\d|[^\d.,]|$)"),
}
"""Numbers with marks between their thousands, by the decimal mark."""
_SURELY = {
    ",": re.compile(r"^-?\d{1,3}((\.\d{3})+,\d+|(\.\d{3}){2,})$"),
    ".": re.compile(r"^-?\d{1,3}((,\d{3})+\.\d+|(,\d{3}){2,})$"),
}
NUMBER = re.compile(r"^[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A file's layout.

    source: path, or the text in UTF-8 where it had to be changed; header: names in order; header_line: its number, lines from 1;
    units: the words of a unit row under the header, "" where none; first_record: index of the first data record;
    line: (records,) line number of each data record; fields: (records,) its number of fields; blank: (records,) whether it is empty;
    ends_open: the last record has no line end; preamble: lines before the header; notes.
    """

    source: Path | bytes
    encoding: str
    delimiter: str
    decimal: str
    header: tuple[str, ...]
    header_line: int
    units: tuple[str, ...]
    skip_records: int
    line: IntArray
    fields: IntArray
    blank: np.ndarray[tuple[int], np.dtype[np.bool_]]
    ends_open: bool
    quotes: bool
    file_hash: str
    preamble: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def rows(self) -> int:
        """Data records, empty lines not counted."""
        return int((~self.blank).sum())


def layout_of(path: Path) -> Layout:
    """Find a delimited file's layout.

    Parameters
    ----------
    path : Path
        The file. [-]

    Returns
    -------
    Layout
        Where things are. [-]

    Raises
    ------
    FileError
        If it is missing, empty, binary, or something else than delimited text.
    ColumnError
        If there is no header, or names occur twice.
    """
    shape = shape_of(path)
    return laid_out(shape, plain_bytes(path, shape) if shape.to_plain else path, path.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """What the first bytes of a file show, and its hash. at: index of the header line; extra: lines of units under it; bom: length of
    the byte order mark; thousands: marks between thousands are taken out; to_plain: the text has to be changed before it can be taken
    apart."""

    encoding: str
    bom: int
    delimiter: str
    decimal: str
    at: int
    extra: int
    header: tuple[str, ...]
    units: tuple[str, ...]
    preamble: tuple[str, ...]
    to_plain: bool
    file_hash: str
    thousands: bool = False

    @property
    def separator(self) -> str:
        """The delimiter once the text is plain."""
        return "\t" if self.delimiter == " " else self.delimiter


def shape_of(path: Path) -> Shape:
    """Look at a file's first bytes, and once through it for its hash and encoding; errors as for `layout_of`."""
    head, digest, ascii_only = _head(path)
    _refuse_other_kinds(path, head)
    encoding, bom = _encoding(path, head, ascii_only)
    text = head[len(bom) :].decode(encoding, errors="ignore")
    lines = text.splitlines()[:400]
    if not any(line.strip() for line in lines):
        raise FileError("the file holds nothing but blank lines", where=path.name, cure="Export the log again.")
    delimiter, decimal, at = _shape(lines, path.name)
    header = _split(lines[at], delimiter)
    if delimiter != " ":
        while header and header[-1] == "":
            header.pop()
    units, extra = _unit_row(lines, at, delimiter, len(header))
    only_returns = "\n" not in text and "\r" in text
    cells = [c for line in lines[at + 1 + extra :] for c in _split(line, delimiter)]
    decimal = decimal if any(_SURELY[decimal].match(c) for c in cells) else "," if any(_SURELY[","].match(c) for c in cells) else decimal
    thousands = any(_SURELY[decimal].match(c) for c in cells)
    return Shape(
        encoding=encoding, bom=len(bom), delimiter=delimiter, decimal=decimal, at=at, extra=extra, header=tuple(header), units=units,
        preamble=tuple(lines[:at]), thousands=thousands, file_hash=digest,
        to_plain=encoding != "utf-8" or bool(bom) or delimiter == " " or only_returns or thousands,
    )  # fmt: skip


def laid_out(shape: Shape, source: Path | bytes, name: str, *, quotes: bool | None = None) -> Layout:
    """The records of a text under a known header; quotes: whether quotation marks hold cells together, None to find it."""
    notes: list[str] = []
    if shape.to_plain:
        notes.append(f"Read as {_named(shape.encoding)}." if shape.encoding != "utf-8" else "Text brought into plain form before reading.")
    line, fields, blank, ends_open, quoted = records_of(source, shape.separator, quotes)
    skip = int(np.searchsorted(line, shape.at + 1)) + 1 + shape.extra
    _refuse_doubles(list(shape.header), name)
    if line[skip:].size == 0 or bool(blank[skip:].all()):
        raise FileError("there is a header but no row under it", where=name, cure="Export the log again; it may have been cut short.")
    if shape.thousands:
        notes.append(f"The marks between the thousands ({'.' if shape.decimal == ',' else ','}) are no decimal marks: they are taken out.")
    if shape.at:
        notes.append(f"{shape.at} line{'s' if shape.at > 1 else ''} before the header skipped.")
    return Layout(
        source=source, encoding=shape.encoding, delimiter=shape.separator, decimal=shape.decimal, header=shape.header,
        header_line=shape.at + 1, units=shape.units, skip_records=skip, line=line[skip:], fields=fields[skip:], blank=blank[skip:],
        ends_open=ends_open, quotes=quoted, file_hash=shape.file_hash, preamble=shape.preamble, notes=tuple(notes),
    )  # fmt: skip


def _named(encoding: str) -> str:
    return {"cp1252": "Latin-1 (Windows-1252)", "utf-16-le": "UTF-16", "utf-16-be": "UTF-16"}.get(encoding, encoding)


def _head(path: Path) -> tuple[bytes, str, bool]:
    """First bytes, the hash of the whole file, and whether all of it is ASCII."""
    if not path.exists():
        raise FileError("there is no such file", where=str(path), cure="Check the name and the folder.")
    if path.is_dir():
        raise FileError("this is a folder", where=str(path), cure="Give one file.")
    digest = hashlib.sha256()
    head, ascii_only = b"", True
    with path.open("rb") as file:
        while chunk := file.read(CHUNK):
            head = head or chunk[:HEAD]
            ascii_only = ascii_only and chunk.isascii()
            digest.update(chunk)
    if not head:
        raise FileError("the file is empty (0 bytes)", where=path.name, cure="Export the log again.")
    return head, digest.hexdigest(), ascii_only


def _refuse_other_kinds(path: Path, head: bytes) -> None:
    for magic, what, cure in MAGIC:
        if head.startswith(magic):
            raise FileError(f"this is {what}, not delimited text", where=path.name, cure=cure)
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")[:64]
    if start.startswith(b"<"):
        raise FileError("this is XML (a KML, GPX or ISO 11783 file?), not delimited text", where=path.name, cure="Export the log as CSV.")
    if start.startswith((b"{", b"[{", b"[\n", b"[\r")):
        raise FileError("this is JSON (perhaps GeoJSON), not delimited text", where=path.name, cure="Export the log as CSV.")
    if start.startswith((b"$GP", b"$GN")):
        raise FileError("this is a stream of NMEA sentences, not a table", where=path.name, cure="Export the log as CSV with a header.")


def _encoding(path: Path, head: bytes, ascii_only: bool) -> tuple[str, bytes]:
    """Encoding and byte order mark; UTF-8 only if the whole file is."""
    for bom, name in ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):
        if head.startswith(bom):
            return name, bom
    zeros = np.frombuffer(head[:4096], dtype=np.uint8) == 0
    if zeros.any():
        even, odd = (float(half.mean()) if half.size else 0.0 for half in (zeros[::2], zeros[1::2]))
        if odd > 0.7 and even < 0.05:
            return "utf-16-le", b""
        if even > 0.7 and odd < 0.05:
            return "utf-16-be", b""
        raise FileError("this is binary data, not text", where=path.name, cure="Export the log as CSV.")
    controls = np.isin(
        np.frombuffer(head[:65536], dtype=np.uint8), np.array([*range(1, 9), *range(14, 27), *range(28, 32)], dtype=np.uint8)
    )
    if controls.mean() > 0.02:
        raise FileError("this is binary data, not text", where=path.name, cure="Export the log as CSV.")
    if ascii_only:
        return "utf-8", b""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with path.open("rb") as file:
            while chunk := file.read(CHUNK):
                decoder.decode(chunk)
            decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "cp1252", b""
    return "utf-8", b""


def _split(line: str, delimiter: str) -> list[str]:
    if delimiter == " ":
        return line.split()
    try:
        return [cell.strip() for cell in next(csv.reader([line.rstrip("\r\n")], delimiter=delimiter), [])]
    except csv.Error:  # a cell longer than any log's
        return [cell.strip() for cell in line.split(delimiter)]


def _numeric(cell: str) -> bool:
    return bool(NUMBER.match(cell.strip()))


def _shape(lines: list[str], name: str) -> tuple[str, str, int]:
    """Delimiter, decimal mark and the index of the header line."""
    best: tuple[float, str, int] | None = None
    for delimiter in (*DELIMITERS, " "):
        counts = [len(_split(line, delimiter)) if line.strip() else 0 for line in lines]
        usual, times = Counter(c for c in counts if c > 1).most_common(1)[0] if any(c > 1 for c in counts) else (1, 0)
        if usual < 2:
            continue
        share = times / max(1, sum(c > 0 for c in counts))
        score = share * min(usual, 12) ** 0.5 - (0.6 if delimiter == " " else 0.0)
        if best is None or score > best[0] + 1e-9:
            best = (score, delimiter, usual)
    if best is None or best[0] < 0.6:
        raise FileError(
            "no delimiter splits the lines into the same number of fields",
            where=name,
            limit="comma, semicolon, tab, bar or spaces",
            cure="Export the log as CSV.",
        )
    _, delimiter, usual = best
    rows = [_split(line, delimiter) for line in lines]
    at = _header_at(rows, usual, name)
    cells = [c for row in rows[at + 1 : at + 60] for c in row]
    commas = sum(bool(re.match(r"^[-+]?\d+,\d+$", c)) for c in cells)
    points = sum(bool(re.match(r"^[-+]?\d+\.\d+$", c)) for c in cells)
    return delimiter, ("," if commas > points else "."), at


def _header_at(rows: list[list[str]], usual: int, name: str) -> int:
    """The first full-width line of words that numbers follow."""
    for i, row in enumerate(rows):
        filled = [c for c in row if c]
        if not (abs(len(row) - usual) <= 1 and len(filled) >= max(2, 0.6 * usual)):
            continue
        if sum(_numeric(c) for c in filled) > 0.2 * len(filled):
            raise ColumnError(
                "there is no header: the first full line already holds numbers",
                where=f"{name}, line {i + 1}",
                cure="Put a line with the columns' names on top of the file.",
            )
        return i
    raise ColumnError("no line looks like a header", where=name, cure="Put a line with the columns' names on top of the file.")


def _unit_row(lines: list[str], at: int, delimiter: str, width: int) -> tuple[tuple[str, ...], int]:
    """Units in a row of their own under the header, if there is one, and how many lines of units, and of dashes, lie under it."""
    if at + 1 < len(lines) and RULE.match(lines[at + 1]):
        units, more = _unit_row(lines, at + 1, delimiter, width)
        return units, more + 1
    if at + 1 >= len(lines) or not lines[at + 1].strip():
        return ("",) * width, 0
    row = _split(lines[at + 1], delimiter)
    filled = [c for c in row if c]
    wordy = filled and not any(_numeric(c) or re.search(r"\d{2}:\d{2}|\d{4}-\d{2}", c) for c in filled)
    if not wordy or abs(len(row) - width) > 1:
        return ("",) * width, 0
    if sum(len(c) <= 10 and bool(re.match(r"^[\[(]?[\w°%µ/²³. :^-]*[\])]?$", c)) for c in filled) < len(filled):
        return ("",) * width, 0
    return tuple(c.strip("[]() ") for c in (row + [""] * width)[:width]), 1


def _refuse_doubles(header: list[str], name: str) -> None:
    doubled = [c for c, n in Counter(header).items() if n > 1 and c]
    if doubled:
        raise ColumnError(
            f"the column name{'s' if len(doubled) > 1 else ''} {', '.join(repr(c) for c in doubled)} occur more than once",
            where=f"{name}, header",
            cure="Give every column its own name.",
        )


def plain_bytes(path: Path, shape: Shape) -> bytes:
    """The file as UTF-8 with line feeds, runs of spaces as one tab."""
    out = io.BytesIO()
    write_plain(path, shape, out)
    return out.getvalue()


def write_plain(path: Path, shape: Shape, out: BinaryIO) -> None:
    """Write the file as UTF-8 with line feeds, runs of spaces as one tab; read in parts."""
    with path.open("rb") as raw:
        raw.seek(shape.bom)
        with io.TextIOWrapper(raw, encoding=shape.encoding, errors="replace", newline=None) as file:
            if shape.delimiter == " ":
                for line in file:
                    out.write("\t".join(line.split()).encode() + b"\n")
            elif shape.thousands:
                mark, between = THOUSANDS[shape.decimal], "." if shape.decimal == "," else ","
                for line in file:
                    out.write(mark.sub(lambda hit: hit[1].replace(between, ""), line).encode())
            else:
                while text := file.read(CHUNK):
                    out.write(text.encode())


def records_of(
    source: Path | bytes, delimiter: str, quotes: bool | None = None
) -> tuple[IntArray, IntArray, np.ndarray[tuple[int], np.dtype[np.bool_]], bool, bool]:
    """Line number, number of fields and emptiness of every record, whether the last is open, and whether quotes hold cells together:
    they may hold delimiters and line ends, unless one of them is never closed."""
    for quoted in (True, False) if quotes is None else (quotes,):
        ends, fields, filled, breaks, odd, last_open = _scan(source, delimiter, quoted)
        if not odd:
            break
    line = np.concatenate([[1], 1 + np.cumsum(1 + breaks)[:-1]]) if ends.size else np.zeros(0, dtype=np.int64)
    return line.astype(np.int64), fields, ~filled, last_open, quoted


def _scan(
    source: Path | bytes, delimiter: str, quotes: bool
) -> tuple[IntArray, IntArray, np.ndarray[tuple[int], np.dtype[np.bool_]], IntArray, bool, bool]:
    """One pass over the bytes: where records end, fields, whether anything is in them, line ends inside quotes."""
    ends, delims, solid, inner = [], [], [], []
    parity, place, d_total, i_total, filled, last = 0, 0, 0, 0, False, 10
    mark = ord(delimiter)
    stream = io.BytesIO(source) if isinstance(source, bytes) else source.open("rb")
    with stream:
        while chunk := stream.read(CHUNK):
            a = np.frombuffer(chunk, dtype=np.uint8)
            feed, delim, within = a == 10, a == mark, np.zeros(0, dtype=np.int64)
            q = a == 34
            if quotes and (parity or q.any()):
                inside = (np.cumsum(q, dtype=np.uint8) + np.uint8(parity)) & 1  # counts may run over: only odd or even matters
                parity = int(inside[-1])
                outside = inside == 0
                within = np.flatnonzero(feed & ~outside)
                feed, delim = feed & outside, delim & outside
            at = np.flatnonzero(feed)
            d = np.flatnonzero(delim)
            begin = np.concatenate([[0], at + 1])
            begin = begin[begin < a.size]
            some = (a[begin] > 32) & (a[begin] != mark) & ~q[begin]
            if not some.all():  # not every record shows it in its first byte
                some = np.logical_or.reduceat((a > 32) & (a != mark) & ~q, begin)
            some[0] |= filled
            filled = bool(some[-1]) and (at.size == 0 or at[-1] + 1 < a.size)
            ends.append(at + place)
            delims.append(np.searchsorted(d, at) + d_total)
            inner.append(np.searchsorted(within, at) + i_total)
            solid.append(some[: at.size])
            d_total, i_total, place, last = d_total + d.size, i_total + within.size, place + a.size, int(a[-1])
    last_open = last != 10
    if last_open:
        ends.append(np.array([place]))
        delims.append(np.array([d_total]))
        solid.append(np.array([filled]))
        inner.append(np.array([i_total]))
    if not ends:
        ends, delims, solid, inner = ([np.zeros(0, dtype=np.int64)] for _ in range(4))
    d_all, i_all = (np.diff(np.concatenate([[0], *v])) for v in (delims, inner))
    return np.concatenate(ends), d_all + 1, np.concatenate(solid).astype(np.bool_), i_all, bool(parity), last_open


def lines_at(layout: Layout, numbers: list[int]) -> dict[int, str]:
    """The text of some lines, at most 160 characters each."""
    wanted = set(numbers)
    if not wanted:
        return {}
    out: dict[int, str] = {}
    last = max(wanted)
    stream = io.BytesIO(layout.source) if isinstance(layout.source, bytes) else layout.source.open("rb")
    with stream:
        for i, raw in enumerate(stream, start=1):
            if i in wanted:
                out[i] = raw.decode("utf-8", errors="replace").rstrip("\r\n")[:160]
            if i >= last:
                break
    return out
