"""Files kept by their sha256 beside the database: written, flushed to the disk and renamed before a row names them."""

from __future__ import annotations

import contextlib
import hashlib
import os
from pathlib import Path

from evenstand.base.errors import BookError

ORIGINALS = "originals"
TRAILS = "trails"
UNFINISHED = ".part-"


def sha256_of(data: bytes) -> str:
    """The name of a file in the book. [hex]"""
    return hashlib.sha256(data).hexdigest()


def store_blob(folder: Path, data: bytes, *, suffix: str = "") -> str:
    """Keep bytes under their hash; returns the hash. The same bytes are kept once."""
    name = sha256_of(data)
    target = folder / f"{name}{suffix}"
    if target.is_file() and target.stat().st_size == len(data) and sha256_of(target.read_bytes()) == name:
        return name
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)
    write_through(target, data)
    return name


def write_through(target: Path, data: bytes) -> None:
    """Write beside the target, flush to the disk, rename, and flush the folder: the name never means half a file.

    Raises
    ------
    BookError
        If the disk is full or cannot be written.
    """
    part = target.with_name(f"{UNFINISHED}{os.getpid()}-{target.name}")
    try:
        with open(part, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, target)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink()
        told = error.strerror or str(error)
        raise BookError(f"cannot be written ({told})", where=str(target), cure="Free space or pick another disk.") from None
    sync_folder(target.parent)


def sync_folder(folder: Path) -> None:
    """Flush a folder's list of names to the disk, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def read_blob(path: Path, name: str) -> bytes:
    """The bytes of a kept file.

    Raises
    ------
    BookError
        If it is gone or is not what its name says.
    """
    try:
        data = path.read_bytes()
    except OSError:
        raise BookError("a file the book names is missing", where=str(path), cure="Bring it back from a copy of the folder.") from None
    if sha256_of(data) != name:
        raise BookError("its content does not match its name", where=str(path), cure="Bring it back from a copy of the folder.")
    return data
