"""A very large delimited log to Parquet in little memory: block by block, interruptible at any moment, and resumed by the same call.

Beside the file to be written stands a folder of parts. Each block's rows go there as one file, written, forced to disk and then named;
`state.json` says which blocks are done and what must be remembered for the next. Once all blocks are judged their rows are put in time
order, a stretch at a time, and become one Parquet file; then the folder goes.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from evenstand.base.errors import EvenstandError, FileError, LockedError
from evenstand.formats.blocks import HELD_ROWS, MOST_LISTED, Carried, Reading, clock_of, cut, head_bytes, take, uses_of
from evenstand.formats.cells import table_of
from evenstand.formats.clocks import Clock
from evenstand.formats.columns import ColumnUse
from evenstand.formats.delimited import Faults, breaks_off, understood
from evenstand.formats.layouts import CHUNK, Layout, laid_out, lines_at, shape_of, write_plain
from evenstand.formats.merging import Assembler, Slice, Sorted, slices_of
from evenstand.formats.ordering import BACKWARDS_SHARE
from evenstand.formats.parquet import SCHEMA, frame_of, head_of
from evenstand.formats.recipes import Recipe
from evenstand.formats.rows import MOST_TEXTS, Ledger, enough, frame_over, judged, most_fields
from evenstand.model.trail import SetAside, Trail

if TYPE_CHECKING:
    import polars as pl

BLOCK_BYTES = 32 << 20
"""Text of one block. [byte]"""
VERSION = 1
HEAD_HASHED = 4096
ALLOCATOR = "_RJEM_MALLOC_CONF"
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Streamed:
    """What became of a very large log: `account` is a trail without rows that holds the frame, the counts, the lists and the notes;
    points: rows written; start_ms, end_ms: first and last time [ms]; sections: how many; blocks, resumed: blocks of the file, and how
    many of them an earlier call had done."""

    account: Trail
    points: int
    start_ms: int | None
    end_ms: int | None
    sections: int
    blocks: int
    resumed: int


def parts_of(out: Path) -> Path:
    """The folder of parts beside a file to be written."""
    return out.with_name(out.name + ".parts")


def stream_log(
    path: str | Path,
    out: str | Path,
    *,
    recipe: Recipe | str | Path | None = None,
    crs: str | None = None,
    start: str | None = None,
    zone: str | None = None,
    truncated_ok: bool = False,
    columns: Sequence[ColumnUse] = (),
    block_bytes: int = BLOCK_BYTES,
    held_rows: int = HELD_ROWS,
    progress: Progress | None = None,
) -> Streamed:
    """Read a delimited log block by block and write it as Parquet; call it again to go on where an earlier call was stopped.

    The result is that of `read_trail` and `write_trail_parquet`, but for what needs all rows in memory: repeats and stuttering clocks
    are looked for among the last `held_rows` rows (a repeat of a row farther back is found where it has to be moved, unless that row's
    time was mended), at most
    `MOST_LISTED` rows repaired and set aside are listed one by one, and a median of more than 100,000 different speeds is good to 1 part
    in 4,000.

    Parameters
    ----------
    path : str or Path
        The log. [-]
    out : str or Path
        The Parquet file to write; parts stand in a folder beside it until it is whole. [-]
    recipe, crs, start, zone, truncated_ok, columns
        As for `read_trail`. [-]
    block_bytes : int
        Text of one block. [byte]
    held_rows : int
        Rows remembered across the edge of a block. [-]
    progress : callable or None
        Told what is being done and how much of it is. [-, 0 to 1]

    Returns
    -------
    Streamed
        The accounts of the trail written. [-]

    Raises
    ------
    FileError, ColumnError, CrsError, UnitError
        As for `read_trail`; also if the log changes while it is read.
    LockedError
        If another process writes the same file.
    """
    path, out = Path(path), Path(out)
    tell = progress or _silent
    if "polars" not in sys.modules:  # its allocator reads this once, the last word counts: what is free goes back at once
        os.environ[ALLOCATOR] = f"{os.environ.get(ALLOCATOR, '')},dirty_decay_ms:0,muzzy_decay_ms:0".lstrip(",")
    with _folder(parts_of(out)) as folder:
        work = _Work(path, out, folder, tell, block_bytes, held_rows)
        work.open({"recipe": recipe, "crs": crs, "start": start, "zone": zone, "columns": columns}, truncated_ok)
        work.read_blocks()
        if not work.backwards and work.carried.late > BACKWARDS_SHARE * work.carried.settled:
            work.start_anew(backwards=True)
            work.read_blocks()
        with _damage_named(parts_of(out)):
            return work.finish()


@contextmanager
def _damage_named(folder: Path) -> Iterator[None]:
    """A part that cannot be read any more is an error of ours that says what to do."""
    from polars.exceptions import PolarsError

    try:
        yield
    except PolarsError as error:
        raise FileError(
            f"a part written by an earlier call is damaged ({str(error)[:120]})", where=folder.name, cure="Start again: it is read anew."
        ) from error


def _silent(what: str, share: float) -> None:
    """Tell nobody."""


@contextmanager
def _folder(folder: Path) -> Iterator[Path]:
    """The folder of parts, held by one process; it goes once all is done or the log is refused, and stays if the work was stopped."""
    from filelock import FileLock, Timeout

    folder.mkdir(exist_ok=True)
    lock = FileLock(folder / "lock", timeout=0)
    try:
        lock.acquire()
    except Timeout as error:
        raise LockedError("another process writes this file", where=str(folder), cure="Let it finish, or stop it.") from error
    over = False
    try:
        yield folder
        over = True
    except EvenstandError:  # the log is refused: nothing of it is of use
        over = True
        raise
    finally:
        lock.release()
        if over:
            shutil.rmtree(folder, ignore_errors=True)


class _Work:
    """One log on its way."""

    def __init__(self, path: Path, out: Path, folder: Path, tell: Progress, block_bytes: int, held_rows: int) -> None:
        self.path, self.out, self.folder, self.tell = path, out, folder, tell
        self.block_bytes, self.held_rows = block_bytes, held_rows
        self.backwards = False
        self.resumed = 0
        self.blocks: list[dict[str, Any]] = []

    # what the file is -------------------------------------------------------------------------------------------------

    def open(self, said: dict[str, Any], truncated_ok: bool) -> None:
        """Understand the file, or find that an earlier call has, and that nothing changed since."""
        if not self.path.is_file():
            shape_of(self.path)  # says what is wrong
        self.stat = _stat(self.path)
        self.tell("looking through the file", 0.0)
        self.shape = shape_of(self.path)
        self.source = self.path
        if self.shape.to_plain:
            self.source = self.folder / f"plain-{self.shape.file_hash[:16]}.txt"
            if not self.source.exists():
                _write_whole(self.source, lambda file: write_plain(self.path, self.shape, file))
        self.size = self.source.stat().st_size
        self.quotes, line, tail = _looked_through(self.source)
        head = laid_out(self.shape, head_bytes(self.source, self.quotes), self.path.name, quotes=self.quotes)
        recipe, head, self.notes = understood(head, self.path, self._broken(head, line, tail, truncated_ok), **said)
        self.reading = self._reading(head, recipe)
        self.settings = _hash_of(
            [VERSION, recipe.to_dict(), self.block_bytes, self.held_rows, self.shape.file_hash, head.decimal, self.quotes, truncated_ok]
        )
        known = _loaded(self.folder / "state.json")
        if not (known and known["settings"] == self.settings and self._resume(known)):
            self.start_anew()

    def _broken(self, head: Layout, line: int, tail: bytes, allowed: bool) -> Faults:
        """The fault of a last row that breaks off."""
        fields = _fields(tail, head.delimiter.encode(), self.quotes)
        whole = allowed or not tail or fields >= len(head.header)
        return [] if whole else [breaks_off(self.path.name, line, fields, len(head.header))]

    def _reading(self, head: Layout, recipe: Recipe) -> Reading:
        most = most_fields(head, ~head.blank)
        shrink = 1.0
        if recipe.use("lat"):
            ledger = Ledger(head.line.size)
            ledger.keep[head.blank] = False
            _, place, _ = judged(head, recipe, table_of(head, recipe), ledger, Clock(), most)
            shrink = float(np.cos(np.radians(np.median(place[ledger.keep, 1])))) if ledger.keep.any() else 1.0
        return Reading(
            name=self.path.name, head=head, recipe=recipe, most_fields=most, shrink=shrink, backwards=self.backwards,
            held_rows=self.held_rows,
        )  # fmt: skip

    def start_anew(self, *, backwards: bool = False) -> None:
        """Forget whatever an earlier call has left."""
        for part in self.folder.iterdir():
            if part.suffix in (".parquet", ".json", ".writing"):
                part.unlink()
        self.blocks, self.resumed, self.backwards = [], 0, backwards
        self.reading = replace(self.reading, backwards=backwards)
        self.carried = self._first()
        self._save()

    def _first(self) -> Carried:
        """Before the first block: right after the header."""
        line = int(self.reading.head.line[0])
        source = self.reading.head.source
        offset = 0
        for _ in range(line - 1):
            offset = bytes(source).index(b"\n", offset) + 1 if isinstance(source, bytes) else 0
        return Carried(offset=offset, line=line)

    def _resume(self, known: dict[str, Any]) -> bool:
        """Go on after the blocks an earlier call has done; whether they are those of this file."""
        import polars as pl
        from polars.exceptions import PolarsError

        with self.source.open("rb") as file:
            for block in known["blocks"]:
                there = all((self.folder / s["part"]).exists() for s in block["slices"])
                if not there or _head_hash(file, block["offset"], block["head_bytes"]) != block["head"]:
                    return False
        tables: dict[str, Any] = {}
        for name in ("held", "pending"):
            stored = known["tables"].get(name)
            try:
                tables[name] = pl.read_parquet(self.folder / stored) if stored else None
            except (PolarsError, OSError):
                return False
        try:
            self.carried = Carried(**known["carried"], **tables)
        except TypeError:  # written by a release that remembered other things
            return False
        self.blocks, self.backwards, self.resumed = known["blocks"], known["backwards"], len(known["blocks"])
        self.reading = replace(self.reading, backwards=self.backwards)
        return True

    # its blocks -------------------------------------------------------------------------------------------------------

    def read_blocks(self) -> None:
        """Judge the blocks that are not done yet."""
        with self.source.open("rb") as file:
            while self.carried.offset < self.size:
                self.tell("reading", self.carried.offset / self.size)
                self._read_block(file)
        if _stat(self.path) != self.stat:
            raise FileError("the log changed while it was read", where=self.path.name, cure="Wait until it is whole, then start again.")
        left = self.carried.settled
        enough(self.path.name, self.carried.rows, left, Counter(self.carried.kinds))

    def _read_block(self, file: BinaryIO) -> None:
        offset = self.carried.offset
        block, last = cut(file, offset, self.block_bytes, self.quotes)
        head = block[:HEAD_HASHED]
        done = {"offset": offset, "head_bytes": len(head), "head": hashlib.sha256(head).hexdigest(), "slices": []}
        frame = take(self.reading, self.carried, block, last=last)
        if frame is not None:
            part = f"block-{len(self.blocks):06d}.parquet"
            _write_frame(frame, self.folder / part)
            done["slices"] = [asdict(s) for s in slices_of(part, frame)]
        self.blocks.append(done)
        self._save()

    def _save(self) -> None:
        """Write down what is done; whoever reads it finds this state or the one before."""
        number = len(self.blocks)
        tables = {}
        for name, table in (("held", self.carried.held), ("pending", self.carried.pending)):
            if table is not None and table.height:
                tables[name] = f"{name}-{number:06d}.parquet"
                _write_frame(table, self.folder / tables[name])
        carried = {k: getattr(self.carried, k) for k in Carried.__slots__ if k not in ("held", "pending")}
        state = {
            "version": VERSION, "settings": self.settings, "backwards": self.backwards, "blocks": self.blocks, "tables": tables,
            "carried": carried,
        }  # fmt: skip
        text = json.dumps(state).encode()
        _write_whole(self.folder / "state.json", lambda file: file.write(text))
        for old in (*self.folder.glob("held-*"), *self.folder.glob("pending-*")):
            if old.name not in tables.values():
                old.unlink()

    # the trail --------------------------------------------------------------------------------------------------------

    def finish(self) -> Streamed:
        """Put the rows in time order and write the trail."""
        import polars as pl

        for old in self.folder.glob("done-*"):
            old.unlink()
        carried, recipe = self.carried, self.reading.recipe
        west, east, south, north = carried.span
        slices = [Slice(**s) for block in self.blocks for s in block["slices"]]
        rows = Sorted(
            self.folder, slices, carried, recipe, self.path.name, frame_over(west, east, south, north), uses_of(recipe, self.reading.head)
        )
        self.tell("putting rows in time order", 0.0)
        whole = rows.survey()
        kinds = Counter(carried.kinds) + Counter({"repeats a line far before it": whole.repeated})
        enough(self.path.name, carried.rows, whole.rows, kinds)
        assembler = Assembler(rows, whole)
        points, sections = 0, 0
        parts: list[Path] = []
        bins: tuple[str, ...] = ()
        runs: tuple[int, ...] = ()
        for table, following in rows.stretches():
            self.tell("writing", points / max(1, whole.rows))
            trail = assembler.trail(table, following)
            parts.append(self.folder / f"done-{len(parts):06d}.parquet")
            frame_of(trail).write_parquet(parts[-1], compression="zstd")
            points += trail.n
            sections = 0 if trail.sections is None else int(trail.sections.shape[1])
            bins, runs = trail.bins, trail.runs
        account = self._account(rows, assembler, bins, runs)
        self.tell("joining the parts", 1.0)
        joined = self.folder / "whole.parquet"
        pl.scan_parquet(parts).sink_parquet(
            joined, compression="zstd", metadata={SCHEMA: json.dumps(head_of(account), ensure_ascii=False)}, maintain_order=True
        )
        _settle(joined, self.out)
        return Streamed(
            account=account, points=points, start_ms=assembler.start_ms, end_ms=assembler.end_ms, sections=sections,
            blocks=len(self.blocks), resumed=self.resumed,
        )  # fmt: skip

    def _account(self, rows: Sorted, assembler: Assembler, bins: tuple[str, ...], runs: tuple[int, ...]) -> Trail:
        carried = self.carried
        aside_rows = carried.aside_rows + rows.repeated
        aside = sorted([*((int(a), b) for a, b in carried.aside), *rows.dropped])[:MOST_LISTED]
        texts = self._texts(sorted([a for a, _ in (*aside, *assembler.repaired)])[:MOST_TEXTS])
        notes = [*self.notes, *clock_of(carried).notes(), *assembler.notes(self.backwards)]
        return Trail(
            frame=rows.frame,
            t_ms=np.zeros(0, dtype=np.int64),
            xy_m=np.zeros((0, 2)),
            bins=bins,
            runs=runs,
            rows=carried.rows,
            kept=carried.rows - aside_rows - assembler.repaired_rows,
            repaired=tuple(SetAside(line=a, reason=b, text=texts.get(a, "")) for a, b in assembler.repaired),
            set_aside=tuple(SetAside(line=a, reason=b, text=texts.get(a, "")) for a, b in aside),
            repaired_unlisted=assembler.repaired_rows - len(assembler.repaired),
            set_aside_unlisted=aside_rows - len(aside),
            notes=tuple(notes),
            file_hash=self.shape.file_hash,
        )

    def _texts(self, lines: list[int]) -> dict[int, str]:
        return lines_at(replace(self.reading.head, source=self.source), lines)


def _write_frame(frame: pl.DataFrame, path: Path) -> None:
    from evenstand.formats.merging import SLICE_ROWS

    scratch = path.with_name(f"{path.name}.writing")
    frame.write_parquet(scratch, compression="zstd", compression_level=1, statistics=False, row_group_size=SLICE_ROWS)
    _settle(scratch, path)


def _write_whole(path: Path, write: Callable[[BinaryIO], Any]) -> None:
    """Write a file that is there whole or not at all."""
    scratch = path.with_name(f"{path.name}.writing")
    with scratch.open("wb") as file:
        write(file)
    _settle(scratch, path)


def _settle(scratch: Path, path: Path) -> None:
    """Force a file to disk, then give it its name."""
    with scratch.open("rb+") as file:
        os.fsync(file.fileno())
    scratch.replace(path)
    if hasattr(os, "O_DIRECTORY"):
        folder = os.open(path.parent, os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _loaded(path: Path) -> dict[str, Any] | None:
    """What an earlier call wrote down; None if it is damaged or of another version."""
    try:
        state: dict[str, Any] = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return None
    return state if state.get("version") == VERSION else None


def _stat(path: Path) -> list[int]:
    found = path.stat()
    return [found.st_size, found.st_mtime_ns]


def _hash_of(parts: list[Any]) -> str:
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def _head_hash(file: BinaryIO, offset: int, size: int) -> str:
    file.seek(offset)
    return hashlib.sha256(file.read(size)).hexdigest()


def _looked_through(source: Path) -> tuple[bool, int, bytes]:
    """Whether quotation marks hold cells together, the number of the last line, and its bytes if no line end follows them."""
    marks = ends = 0
    tail = b""
    with source.open("rb") as file:
        while chunk := file.read(CHUNK):
            marks += chunk.count(b'"')
            ends += chunk.count(b"\n")
            tail = (tail + chunk) if b"\n" not in chunk else chunk[chunk.rfind(b"\n") + 1 :]
            tail = tail[-CHUNK:]
    return marks % 2 == 0, ends + 1, tail


def _fields(tail: bytes, delimiter: bytes, quotes: bool) -> int:
    """Fields of a last line."""
    pieces = tail.split(b'"')[::2] if quotes else [tail]
    return 1 + sum(piece.count(delimiter) for piece in pieces)
