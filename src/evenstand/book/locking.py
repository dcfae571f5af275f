"""One writer: an operating-system lock on `.lock`, and beside it who holds it since when."""

from __future__ import annotations

import contextlib
import json
import os
import socket
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from evenstand.base.errors import BookError, LockedError

LOCK = ".lock"
HOLDER = ".lock.json"
WAIT_S = 0.5
"""A reader that hands over what it worked out holds the lock for a moment: a writer waits so long before it is refused. [s]"""


class WriterLock:
    """Held from `acquire` to `release`; the system frees it when the process dies, however it dies."""

    def __init__(self, folder: Path, *, who: str, at: str) -> None:
        self._folder = folder
        self._holder = {"who": who, "pid": os.getpid(), "host": socket.gethostname(), "since": at}
        self._lock = FileLock(str(folder / LOCK), timeout=0, thread_local=False)

    def acquire(self, *, wait_s: float = WAIT_S) -> None:
        """Take the lock and write who holds it.

        Parameters
        ----------
        wait_s : float
            How long to wait for one who holds it. [s]

        Raises
        ------
        LockedError
            If another writer holds it, saying who and since when.
        BookError
            If the folder cannot be written.
        """
        try:
            self._lock.acquire(timeout=wait_s)
            (self._folder / HOLDER).write_text(json.dumps(self._holder, ensure_ascii=False), encoding="utf-8")
        except Timeout:
            raise LockedError(
                f"is being written by {_told(read_holder(self._folder))}", where=str(self._folder),
                cure="Close it there, or open it for reading only.",
            ) from None  # fmt: skip
        except OSError as error:
            self._lock.release()
            raise BookError(
                f"cannot be written ({error.strerror or error})", where=str(self._folder),
                cure="Open it for reading only, or give yourself the right to write there.",
            ) from None  # fmt: skip

    def release(self) -> None:
        """Give the lock back."""
        if self._lock.is_locked:
            with contextlib.suppress(OSError):
                (self._folder / HOLDER).unlink()
            self._lock.release()


def read_holder(folder: Path) -> dict[str, Any]:
    """Who wrote last that they hold the lock; empty if nobody has or it cannot be read."""
    try:
        holder = json.loads((folder / HOLDER).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return holder if isinstance(holder, dict) else {}


def _told(holder: dict[str, Any]) -> str:
    if not holder:
        return "another process"
    who = holder.get("who") or "somebody"
    return f"{who} (process {holder.get('pid', '?')} on {holder.get('host', '?')}, since {holder.get('since', '?')})"
