"""Kill a writing process again and again: `python killing.py FOLDER KILLS SEED`, one line of JSON a kill.

This process imports everything once and forks a light child for each kill. The child opens the book and puts fills one by one,
and now and then a file; after each change is kept it writes the change's id to a pipe. The parent kills it at a random moment,
reads what was acknowledged, and looks whether the book holds it.
"""

from __future__ import annotations

import contextlib
import dataclasses
import json
import os
import random
import select
import signal
import sqlite3
import sys
import time
from pathlib import Path

from book_things import FILL, put_field_work, trail
from evenstand.book import Book, Original, TrailRecord
from evenstand.model import Fill

LONGEST_S = 0.03  # a change takes about a third of this


def write_until_killed(folder: Path, kill: int, pipe: int) -> None:
    """Put one thing after another, and say so each time it is kept."""
    with Book.open(folder, write=True, who=f"writer {kill}") as book:
        for n in range(1_000_000):
            key = f"{kill}-{n}"
            if n % 7 == 3:
                book.put_original(os.urandom(20_000), name=key)
            elif n % 7 == 5:
                book.put_trail(dataclasses.replace(trail(50 + n), notes=(key,)), key=key, original=key.encode())
            else:
                with book.batch(key):
                    book.put(dataclasses.replace(FILL, key=key, load="", put_kg=float(n)))
                    book.put(dataclasses.replace(FILL, key=f"{key}-twin", load="", put_kg=float(n)))
            os.write(pipe, f"{key}\n".encode())


def killed_once(folder: Path, kill: int, rng: random.Random) -> list[str]:
    """Fork, wait a random time, kill; what had been acknowledged by then."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read_end)
        with contextlib.suppress(BaseException):
            write_until_killed(folder, kill, write_end)
        os._exit(3)
    os.close(write_end)
    heard = b""
    wanted = rng.choice((0, 0, 1, 2, 3, 5, 8, 10))  # how many changes to wait for; none: a moment amid the opening
    while heard.count(b"\n") < wanted and select.select([read_end], [], [], 20)[0]:
        heard += os.read(read_end, 4096)
    time.sleep(rng.uniform(0, LONGEST_S))
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), f"the writer ended by itself with {status}"
    with os.fdopen(read_end, "rb") as acknowledged:
        heard += acknowledged.read()
    return [line.decode() for line in heard.split(b"\n")[:-1]]


def look(folder: Path, kill: int, acknowledged: list[str]) -> dict[str, object]:
    """What is wrong after a kill, if anything."""
    journal = (folder / "book.gpkg-journal").exists()
    start = time.perf_counter()
    with Book.open(folder, write=True, who="looker") as book:  # raises LockedError if the lock were not free
        raw = book._raw
        integrity = [r[0] for r in raw.execute("PRAGMA integrity_check")]
        references = raw.execute("PRAGMA foreign_key_check").fetchall()
        fills = {f.key for f in book.all(Fill)}
        names = {o.name for o in book.all(Original)} | {t.key for t in book.all(TrailRecord)}
        lost = [key for key in acknowledged if key not in fills | names]
        widowed = [key for key in fills if (key.removesuffix("-twin") if key.endswith("-twin") else f"{key}-twin") not in fills]
        own = [key for key in fills | names if key.startswith(f"{kill}-") and not key.endswith("-twin")]
        silent = raw.execute(
            "SELECT count(*) FROM fills WHERE key NOT IN (SELECT key FROM history WHERE kind = 'Fill' AND before IS NULL)"
        ).fetchone()[0]
        files = [str(f) for f in book.check().faults] if kill % 10 == 9 else []
    return {
        "kill": kill, "acknowledged": len(acknowledged), "kept": len(own), "journal": journal, "lost": lost, "integrity": integrity,
        "references": references, "widowed": widowed, "silent": silent, "files": files, "seconds": round(time.perf_counter() - start, 3),
    }  # fmt: skip


def main(folder: Path, kills: int, seed: int) -> None:
    """Make the book, then kill and look."""
    rng = random.Random(seed)
    with Book.create(folder, farm="Kill", who="maker") as book:
        put_field_work(book)
    for kill in range(kills):
        acknowledged = killed_once(folder, kill, rng)
        with contextlib.suppress(sqlite3.Error):
            print(json.dumps(look(folder, kill, acknowledged)), flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
