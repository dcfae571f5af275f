"""Kill `evenstand trail read LOG --book BOOK --job JOB` again and again: `python killing_import.py FOLDER KILLS SEED`, one line of JSON a kill.

This process imports what it can and forks a light child for each import and for each look, so that no thread is alive when it forks.
Every log differs from the ones before; they take turns in the forms we read, and half of them go the way the site takes, with the columns
confirmed. A child is killed at a random moment of the time an import takes; then another looks at the book.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import signal
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy  # noqa: F401
import polars  # noqa: F401
import pyproj  # noqa: F401

from book_things import JOB, put_field_work
from evenstand.base.clock import SystemClock
from evenstand.book import Book, Original, TrailRecord
from evenstand.cli.trail import command
from evenstand.desk import logs
from evenstand.formats import delimited, gislayers, opening, parquet
from evenstand.model import Trail
from made_trails import log_lines

ROWS = 3500
LONGEST_WRITE_S = 0.03
TOLD = ["--column", "DET-2=bin A"]


def in_child(work: Callable[[], object]) -> int:
    """Fork; the child works and leaves. Gives its number."""
    child = os.fork()
    if child:
        return child
    code = 3
    with contextlib.suppress(BaseException):
        work()
        code = 0
    os._exit(code)


def kind_of_log(number: int) -> str:
    """The form of a log."""
    return KINDS[number // 2 % len(KINDS)]


def log(folder: Path, number: int) -> Path:
    """A log like no other, in its form; made by a child, so that no thread is left here."""
    path = folder / f"log-{number}.{kind_of_log(number)}"
    _, status = os.waitpid(in_child(lambda: FORMS[kind_of_log(number)](path, number)), 0)
    assert status == 0, f"the log {path.name} was not made"
    return path


def as_csv(path: Path, number: int) -> None:
    """Delimited text, its header like no other; one in three has rows to repair and to set aside."""
    head, *rows = log_lines(ROWS, rate=100.0 + number)
    lines = [f"{head},moisture of sample {number}", *(f"{row},{12 + i % 5}" for i, row in enumerate(rows))]
    if number % 3 == 0:
        lines[50] = lines[50].replace(",7.2,", ",fast,")
        lines[60] = lines[60].replace(",7.2,", ",-1,")
    path.write_text("\n".join(lines) + "\n")


def as_trail(path: Path, number: int) -> Trail:
    """The same rows as a trail."""
    text = path.with_suffix(".text")
    text.write_text("\n".join(log_lines(ROWS, rate=100.0 + number)) + "\n")
    trail = delimited.read(text)
    text.unlink()
    return trail


def as_task_data(path: Path, number: int) -> None:
    """A zip archive of task data, of a machine like no other."""
    from evenstand.formats.iso11783 import writing

    files = writing.task_data_files(writing.TaskSet(name=f"task {number}", trail=as_trail(path, number)))
    files["TASKDATA.XML"] = files["TASKDATA.XML"].replace(b"air seeder", f"air seeder {number}".encode())
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)


def as_sentences(path: Path, number: int) -> None:
    """Sentences of a receiver."""

    def sentence(body: str) -> str:
        total = 0
        for c in body.encode():
            total ^= c
        return f"${body}*{total:02X}"

    with path.open("w") as out:
        for k in range(ROWS):
            clock, north = f"{12 + k // 3600:02d}{k // 60 % 60:02d}{k % 60:02d}.00", 30 + number / 100 + k * 0.001
            out.write(sentence(f"GNGGA,{clock},50{north:08.5f},N,10500.6000,W,4,17,0.7,572.1,M,-20.0,M,,") + "\r\n")
            out.write(sentence(f"GNRMC,{clock},A,50{north:08.5f},N,10500.6000,W,4.10,0.0,120526,,,A") + "\r\n")


FORMS: dict[str, Callable[[Path, int], None]] = {
    "csv": as_csv,
    "zip": as_task_data,
    "gpkg": lambda path, number: gislayers.write_trail_gpkg(as_trail(path, number), path),
    "nmea": as_sentences,
    "parquet": lambda path, number: parquet.write_trail_parquet(as_trail(path, number), path),
}
KINDS = tuple(FORMS)


def read(path: Path, book: Path, number: int) -> None:
    """The command, or the site's way. The zone is told or the columns are confirmed, so that what these are is remembered too."""
    if number // 10 % 2:
        recipe = getattr(opening.propose_columns(path), "recipe", None)
        with Book.open(book, write=True, who="site") as opened:
            logs.read_log(opened, JOB.key, path, recipe=recipe, confirmed=True, clock=SystemClock())
        return
    with contextlib.redirect_stdout(io.StringIO()):
        command.main(
            ["read", str(path), "--book", str(book), "--job", JOB.key, *(["--zone", "+00:00"] if path.suffix != ".zip" else TOLD)],
            standalone_mode=False,
        )


def look(book: Path, path: Path) -> dict[str, object]:
    """What the book holds of a log, and what is wrong with it."""
    with Book.open(book, write=True, who="looker") as opened:  # raises LockedError if the lock were not free
        raw = opened._raw
        records = opened.all(TrailRecord)
        own = [r for r in records if r.name == path.name]
        trails = {r.key: opened.trail(r.key) for r in own}
        return {
            "kind": path.suffix[1:],
            "there": len(own),
            "whole": all(t.n == r.points and t.rows == ROWS == t.kept + t.repaired_rows + t.set_aside_rows for r, t in ((r, trails[r.key]) for r in own)),
            "original": all(opened.original(r.original_hash) == path.read_bytes() for r in own),
            "records": len(records),
            "originals": len(opened.all(Original)),
            "remembered": raw.execute("SELECT count(*) FROM settings WHERE key LIKE 'log-columns:%'").fetchone()[0],
            "integrity": [r[0] for r in raw.execute("PRAGMA integrity_check")],
            "references": raw.execute("PRAGMA foreign_key_check").fetchall(),
            "faults": [str(f) for f in opened.check().faults],
        }  # fmt: skip


def looked(book: Path, path: Path) -> dict[str, object]:
    """`look` in a child of its own."""
    read_end, write_end = os.pipe()

    def work() -> None:
        with os.fdopen(write_end, "w") as out:
            json.dump(look(book, path), out)

    child = in_child(work)
    os.close(write_end)
    with os.fdopen(read_end) as told:
        text = told.read()
    os.waitpid(child, 0)
    return json.loads(text) if text else {"error": "the look failed"}


def main(folder: Path, kills: int, seed: int) -> None:
    """Make the book, time some imports, then kill and look."""
    rng = random.Random(seed)
    book = folder / "book"
    os.waitpid(in_child(lambda: made(book)), 0)
    took = []
    for number in range(3):
        path = log(folder, number)
        start = time.perf_counter()
        _, status = os.waitpid(in_child(lambda path=path, number=number: read(path, book, number)), 0)
        took.append(time.perf_counter() - start)
        assert status == 0, "an import that nobody killed failed"
    longest = sorted(took)[1] * 1.15
    for number in range(3, 3 + kills):
        path = log(folder, number)
        child = in_child(lambda path=path, number=number: read(path, book, number))
        if number % 5 == 4:
            os.waitid(os.P_PID, child, os.WEXITED | os.WNOWAIT)  # this one is let through
        elif number % 2:
            time.sleep(rng.uniform(0.0, longest))
        else:
            wait_for_writing(book, longest)
            time.sleep(rng.uniform(0.0, LONGEST_WRITE_S))
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        state = looked(book, path)
        ended = os.WIFEXITED(status) and os.WEXITSTATUS(status)
        print(json.dumps({"number": number, "killed": os.WIFSIGNALED(status), "ended": ended, **state}), flush=True)
        path.unlink()


def wait_for_writing(book: Path, longest: float) -> None:
    """Until the book is being written to: a file of the trail or a journal stands there."""
    end = time.perf_counter() + 2 * longest
    while time.perf_counter() < end and not ((book / "book.gpkg-journal").exists() or any((book / "trails").glob(".part-*"))):
        time.sleep(0.0005)


def made(book: Path) -> None:
    """A book with a job."""
    with Book.create(book, farm="Kill", who="maker") as opened:
        put_field_work(opened)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
