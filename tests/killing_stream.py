"""Kill the reading of a log in blocks again and again: `python killing_stream.py FOLDER KILLS SEED`, one line of JSON a kill.

This process imports what it needs and forks a child for each reading, so that no thread is alive when it forks. A child is killed at a
random moment of the time that is left to be read; after one to three kills one goes on to the end, and its bytes are compared.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import sys
import time
from pathlib import Path

import polars  # noqa: F401
import pyproj  # noqa: F401

from evenstand.formats.streaming import parts_of, stream_log
from hard_logs import mixed
from killing_import import in_child

ROWS = 6000
BLOCK_BYTES = 40_000


def main(folder: Path, kills: int, seed: int) -> None:
    """Read twice unkilled, then kill and go on."""
    rng = random.Random(seed)
    log, straight, out = folder / "log.csv", folder / "straight.parquet", folder / "out.parquet"
    log.write_text("\n".join(mixed(ROWS)) + "\n")
    longest = min(unkilled(log, straight) for _ in range(2))
    blocks = log.stat().st_size / BLOCK_BYTES
    wanted = digest(straight)
    left = rng.randint(1, 3)
    for kill in range(kills):
        read = len(list(parts_of(out).glob("block-*.parquet")))
        child = in_child(lambda: stream_log(log, out, block_bytes=BLOCK_BYTES))
        time.sleep(rng.uniform(0.0, longest * max(0.2, 1.0 - read / blocks)))  # of the time that is left
        done, status = os.waitpid(child, os.WNOHANG)
        if not done:
            os.kill(child, signal.SIGKILL)
            _, status = os.waitpid(child, 0)
        state = {
            "kill": kill, "killed": os.WIFSIGNALED(status), "failed": os.WIFEXITED(status) and os.WEXITSTATUS(status) != 0,
            "parts": len(list(parts_of(out).glob("block-*.parquet"))), "whole": digest(out) in ("", wanted), "there": out.exists(),
        }  # fmt: skip
        left -= 1
        if out.exists() or left <= 0:
            _, status = os.waitpid(in_child(lambda: stream_log(log, out, block_bytes=BLOCK_BYTES)), 0)
            state |= {"ended": status == 0, "same": digest(out) == wanted, "left": parts_of(out).exists()}
            out.unlink()
            left = rng.randint(1, 3)
        print(json.dumps(state), flush=True)


def unkilled(log: Path, out: Path) -> float:
    """How long a whole reading takes. [s]"""
    out.unlink(missing_ok=True)
    start = time.perf_counter()
    os.waitpid(in_child(lambda: stream_log(log, out, block_bytes=BLOCK_BYTES)), 0)
    return time.perf_counter() - start


def digest(path: Path) -> str:
    """The hash of a file; "" if there is none."""
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.exists() else ""


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
