"""The rows of many part files in time order, a stretch at a time, and what a trail needs to know of all of them."""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from evenstand.base.errors import FileError
from evenstand.formats.assembling import (
    SILENT_SHARE,
    STATES,
    assembled,
    empty_state,
    restart_note,
    silent_note,
    unpacked,
    unread_sections,
    unread_state,
)
from evenstand.formats.blocks import EMPTY, MOST_LISTED, MOVED, UNREAD, Carried
from evenstand.formats.columns import ColumnUse
from evenstand.formats.ordering import (
    BACKWARDS,
    COARSE_SHARE,
    SPREAD,
    gap_limit_s,
    jump_note,
    jumpers,
    leap_limit_m_s,
    spread_over,
    steps_of_rows,
)
from evenstand.formats.recipes import Recipe
from evenstand.formats.rows import degrees_of_place, metres_in, place_notes, repeats
from evenstand.formats.tallies import Tally
from evenstand.model.place import FloatArray, Frame, IntArray
from evenstand.model.trail import FLAGS, Trail

if TYPE_CHECKING:
    import polars as pl

SLICE_ROWS = 16_384
"""Rows of a part read at once. [-]"""
STRETCH_ROWS = 131_072
"""Rows handled at once. [-]"""
MOST_OPEN = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class Slice:
    """A run of rows in a part file, with its first and last time. [ms]"""

    part: str
    offset: int
    rows: int
    first_ms: float
    last_ms: float


def slices_of(part: str, frame: pl.DataFrame) -> list[Slice]:
    """The slices of a part whose rows are in time order."""
    t = frame["t"].to_numpy()
    ends = [(a, min(a + SLICE_ROWS, t.size)) for a in range(0, t.size, SLICE_ROWS)]
    return [Slice(part=part, offset=a, rows=b - a, first_ms=float(t[a]), last_ms=float(t[b - 1])) for a, b in ends]


def in_time_order(folder: Path, slices: list[Slice], name: str, columns: list[str] | None = None) -> Iterator[pl.DataFrame]:
    """All rows in time order, those of one time by their lines and never in two stretches.

    Raises
    ------
    FileError
        If so many parts hold the same time that they cannot be open together.
    """
    import polars as pl

    waiting = [(s.first_ms, i, s) for i, s in enumerate(slices)]
    heapq.heapify(waiting)
    opened: list[tuple[float, pl.DataFrame]] = []
    ready: list[pl.DataFrame] = []
    while waiting or opened:
        upto = min((last for last, _ in opened), default=np.inf)
        while waiting and waiting[0][0] <= upto:
            _, _, s = heapq.heappop(waiting)
            table = pl.scan_parquet(folder / s.part).slice(s.offset, s.rows)
            opened.append((s.last_ms, (table if columns is None else table.select(columns)).collect()))
            upto = min(upto, s.last_ms)
            if len(opened) > MOST_OPEN:
                raise FileError(
                    "its rows are so far out of time order that they cannot be sorted in little memory",
                    where=name,
                    limit=f"one time in at most {MOST_OPEN} stretches of {SLICE_ROWS:,} rows",
                    cure="Sort the log by its time column first.",
                )
        taken, opened = _taken(opened, upto)
        ready.append(taken)
        if sum(f.height for f in ready) >= STRETCH_ROWS:
            yield pl.concat(ready, rechunk=True)
            ready = []
    if ready:
        yield pl.concat(ready, rechunk=True)


def _taken(opened: list[tuple[float, pl.DataFrame]], upto: float) -> tuple[pl.DataFrame, list[tuple[float, pl.DataFrame]]]:
    """The rows up to a time, sorted, and what is left of the open slices."""
    import polars as pl

    taken, left = [], []
    for last, table in opened:
        n = int(np.searchsorted(table["t"].to_numpy(), upto, side="right"))
        taken.append(table[:n])
        if n < table.height:
            left.append((last, table[n:]))
    return (taken[0] if len(taken) == 1 else pl.concat(taken).sort("t", "line")), left


@dataclass(slots=True)
class Whole:
    """What is known of all rows together. usual_ms: the usual time from one reading of the clock to the next, where rows share them;
    repeated: rows that repeat one far before them."""

    rows: int = 0
    spread: bool = False
    usual_ms: float = 1000.0
    usual_s: float = 1.0
    usual_m_s: float = 0.0
    repeated: int = 0


class Sorted:
    """The rows of a log in time order, as often as they are needed."""

    def __init__(self, folder: Path, slices: list[Slice], carried: Carried, recipe: Recipe, name: str, frame: Frame, uses: list[ColumnUse]):
        self.folder, self.slices, self.carried, self.recipe, self.name, self.frame = folder, slices, carried, recipe, name, frame
        self.uses = uses
        self.dropped: list[tuple[int, str]] = []
        self.repeated = 0

    def stretches(self, columns: list[str] | None = None) -> Iterator[tuple[pl.DataFrame, float | None]]:
        """Stretches of rows, each with the first time of the next; rows that repeat one far before them are taken out and kept in
        `dropped` and `repeated`."""
        self.dropped, self.repeated = [], 0
        if self.carried.moved:
            columns = None
        before: pl.DataFrame | None = None
        for table in in_time_order(self.folder, self.slices, self.name, columns):
            table = self._without_repeats(table)
            if before is not None:
                yield before, float(table["t"][0])
            before = table
        if before is not None:
            yield before, None

    def _without_repeats(self, table: pl.DataFrame) -> pl.DataFrame:
        import polars as pl

        if not self.carried.moved:
            return table
        code = table["code"].to_numpy()
        if not (code == MOVED).any():
            return table
        values = [table[c].to_numpy() for c in table.columns if c.startswith("v")]
        values = [np.where(v < 0, np.nan, v) if v.dtype == np.int8 else v for v in values]
        place = np.column_stack([table["a"].to_numpy(), table["b"].to_numpy()])
        second, first = repeats(table["t"].to_numpy(), place, values)
        there = code[second] == MOVED
        second, first = second[there], first[there]
        line = table["line"].to_numpy()
        self.repeated += second.size
        self.dropped += [(int(a), f"repeats line {b}") for a, b in zip(line[second], line[first], strict=True)]
        self.dropped = sorted(self.dropped)[:MOST_LISTED]
        keep = np.ones(table.height, dtype=np.bool_)
        keep[second] = False
        return table.filter(pl.Series(keep))

    def survey(self) -> Whole:
        """What is known of all rows together; a second time through where rows share their times."""
        whole = Whole()
        same, gaps = 0, Tally()
        seconds, speeds = Tally(), Tally()
        last: tuple[FloatArray, FloatArray] | None = None
        for table, following in self.stretches(["line", "t", "a", "b", "code"]):
            t = table["t"].to_numpy()
            step = np.diff(t, append=t[-1:] if following is None else following)
            whole.rows += t.size
            same += int((step == 0).sum()) - (following is None)
            gaps.add(step[step > 0])
            last = self._add_steps(whole, table, following, seconds, speeds, last)
        whole.repeated = self.repeated
        if whole.rows > 1 and same / (whole.rows - 1) > COARSE_SHARE:
            whole.spread, whole.usual_ms = True, gaps.median(1000.0)
            seconds, speeds, last = Tally(), Tally(), None
            for table, following in self.stretches(["line", "t", "a", "b", "code"]):
                last = self._add_steps(whole, table, following, seconds, speeds, last)
        whole.usual_s, whole.usual_m_s = seconds.median(1.0), speeds.median(0.0)
        return whole

    def _add_steps(self, whole: Whole, table: pl.DataFrame, following: float | None, seconds: Tally, speeds: Tally, last: Any) -> Any:
        t, xy = self.times(whole, table, following), self.places(table)
        dt, speed = steps_of_rows(*_after(last, t, xy))
        seconds.add(dt[dt > 0])
        speeds.add(speed[speed > 0.2])
        return t[-1:], xy[-1:]

    def times(self, whole: Whole, table: pl.DataFrame, following: float | None) -> IntArray:
        """Times of a stretch, spread over those shared. [ms]"""
        t = table["t"].to_numpy()
        return np.rint(spread_over(t, following, whole.usual_ms) if whole.spread else t).astype(np.int64)

    def places(self, table: pl.DataFrame) -> FloatArray:
        """Positions of a stretch in the frame. [m]"""
        lon, lat = degrees_of_place(np.column_stack([table["a"].to_numpy(), table["b"].to_numpy()]), self.recipe, self.name)
        return metres_in(self.frame, lon, lat)


def _after(last: tuple[Any, Any] | None, t: IntArray, xy: FloatArray) -> tuple[IntArray, FloatArray]:
    """A stretch with the row before it."""
    return (t, xy) if last is None else (np.concatenate([last[0], t]), np.concatenate([last[1], xy]))


@dataclass(slots=True)
class Assembler:
    """Stretches of rows made into stretches of a trail, with what must be remembered from one to the next."""

    rows: Sorted
    whole: Whole
    last: tuple[Any, Any] | None = None
    total_m: float | None = None
    restarts: int = 0
    states: dict[str, float] = field(default_factory=dict)
    width: int = 0
    sections: str = ""
    wild: int = 0
    jumps: int = 0
    jump_lines: list[int] = field(default_factory=list)
    low: FloatArray = field(default_factory=lambda: np.full(2, np.inf))
    high: FloatArray = field(default_factory=lambda: np.full(2, -np.inf))
    repaired_rows: int = 0
    repaired: list[tuple[int, str]] = field(default_factory=list)
    start_ms: int | None = None
    end_ms: int | None = None

    def __post_init__(self) -> None:
        carried = self.rows.carried
        self.states = {name: float(known[2]) for name, known in carried.known.items()}
        if carried.widths:
            self.width = int(max(carried.widths, key=lambda w: carried.widths[w]))
            self.sections = "0" * self.width

    @property
    def silent(self) -> dict[str, int]:
        """State columns empty more often than now and then, with how many rows."""
        return {n: k for n, k in self.rows.carried.silent.items() if k > SILENT_SHARE * self.whole.rows}

    def trail(self, table: pl.DataFrame, following: float | None) -> Trail:
        """A stretch as a trail without its accounts."""
        t, xy = self.rows.times(self.whole, table, following), self.rows.places(table)
        why = table["why"].to_list()
        values = {u: table[f"v{i}"].to_numpy().astype(np.float64) for i, u in enumerate(self.rows.uses)}
        states = {u: self._held(f"v{i}", u, values[u], why) for i, u in enumerate(self.rows.uses) if u.role in STATES}
        columns = assembled(values, states, self._steps(values), self._packed(table, why))
        flags = self._flags(t, xy, table)
        self._account(table, why, t, xy)
        return Trail(frame=self.rows.frame, t_ms=t, xy_m=xy, flags=flags, **columns)

    def _held(self, name: str, use: ColumnUse, codes: FloatArray, why: list[str | None]) -> Any:
        known = codes >= 0
        index = np.maximum.accumulate(np.where(known, np.arange(codes.size), -1))
        values = np.where(index >= 0, codes[np.maximum(index, 0)], self.states.get(name, 0.0))
        self.states[name] = float(values[-1])
        for code, reason in ((UNREAD, unread_state(use.name)), (EMPTY, empty_state(use.name))):
            if code == UNREAD or name not in self.silent:
                _add_reason(why, codes == code, reason)
        return values > 0.5

    def _steps(self, values: dict[ColumnUse, FloatArray]) -> FloatArray | None:
        total = next((v for u, v in values.items() if u.role == "distance"), None)
        if total is None or any(u.role == "step" for u in values):
            return None
        step = np.diff(total, prepend=np.nan if self.total_m is None else self.total_m)
        back = step < 0
        self.restarts += int(back.sum())
        step[back] = np.nan
        self.total_m = float(total[-1])
        return step

    def _packed(self, table: pl.DataFrame, why: list[str | None]) -> Any:
        if "packed" not in table.columns:
            return None
        out, bad, self.sections = unpacked([c or "" for c in table["packed"].to_list()], self.width, self.sections)
        _add_reason(why, bad, unread_sections(self.rows.recipe.use("sections")[0].name))
        return out

    def _flags(self, t: IntArray, xy: FloatArray, table: pl.DataFrame) -> IntArray:
        dt, speed = steps_of_rows(*_after(self.last, t, xy))
        first = self.last is None
        wild = np.nan_to_num(speed, nan=0.0) > leap_limit_m_s(self.whole.usual_m_s)
        jumped, self.wild = jumpers(wild, self.wild)
        flags = np.zeros(t.size, dtype=np.int64)
        at = slice(1, None) if first else slice(None)
        flags[at][dt > gap_limit_s(self.whole.usual_s)] |= FLAGS["gap"]
        flags[at][jumped] |= FLAGS["jump"]
        flags[table["code"].to_numpy() > 0] |= FLAGS["reordered"]
        lines = table["line"].to_numpy()[at][jumped].tolist()
        self.jumps += len(lines)
        self.jump_lines += lines[: 5 - len(self.jump_lines)]
        self.last = (t[-1:], xy[-1:])
        return flags

    def _account(self, table: pl.DataFrame, why: list[str | None], t: IntArray, xy: FloatArray) -> None:
        line = table["line"].to_numpy()
        mended = [i for i, reason in enumerate(why) if reason is not None]
        self.repaired_rows += len(mended)
        self.repaired = sorted([*self.repaired, *((int(line[i]), str(why[i])) for i in mended)])[:MOST_LISTED]
        self.low, self.high = np.minimum(self.low, xy.min(axis=0)), np.maximum(self.high, xy.max(axis=0))
        self.start_ms = int(t[0]) if self.start_ms is None else self.start_ms
        self.end_ms = int(t[-1])

    def notes(self, backwards: bool) -> list[str]:
        """What is to be said of the whole trail, once it has gone through."""
        carried, out = self.rows.carried, []
        if backwards:
            out.append(BACKWARDS)
        if self.whole.spread:
            out.append(SPREAD)
        out += place_notes(self.rows.recipe, float((self.high - self.low).max()))
        if self.restarts:
            out.append(restart_note(self.restarts))
        silent = self.silent
        out += [silent_note(u.name, silent[f"v{i}"]) for i, u in enumerate(self.rows.uses) if f"v{i}" in silent]
        if self.jumps:
            out.append(jump_note(self.jumps, self.jump_lines))
        if carried.blank:
            out.append(f"{carried.blank} empty line{'s' if carried.blank > 1 else ''} passed over.")
        return out


def _add_reason(why: list[str | None], rows: Any, reason: str) -> None:
    for i in np.flatnonzero(rows).tolist():
        before = why[i]
        why[i] = reason if before is None else f"{before}; {reason}"
