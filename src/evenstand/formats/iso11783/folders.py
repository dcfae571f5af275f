"""Where task data lies: a folder, the TASKDATA.XML in it, or a zip archive; names in any case."""

from __future__ import annotations

import hashlib
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO

from evenstand.base.errors import Fault, FileError
from evenstand.formats.archives import MOST_BYTES, MOST_MEMBERS, check_members, files_in

MAIN = "TASKDATA.XML"
CHUNK = 1 << 20
BROKEN = (zipfile.BadZipFile, EOFError, OSError, NotImplementedError, RuntimeError, ValueError, zlib.error)
"""What the archive library raises on damaged or hostile archives."""


@dataclass(slots=True)
class TaskFiles:
    """The files beside one TASKDATA.XML, found by name whatever its case. name: what was opened, for errors."""

    name: str
    members: dict[str, Path | zipfile.ZipInfo]
    archive: zipfile.ZipFile | None = None
    read_bytes: int = 0

    def has(self, name: str) -> bool:
        """Whether there is a file of that name, in any case."""
        return name.upper() in self.members

    def read(self, name: str) -> bytes:
        """The bytes of a file.

        Raises
        ------
        FileError
            If it is not there, is cut off, or the whole grows past what one archive may hold.
        """
        member = self.members.get(name.upper())
        if member is None:
            raise FileError(f"{name} is named but not there", where=self.name, cure="Copy the whole folder, with all its files.")
        try:
            text = self._bytes(member)
        except BROKEN as error:
            raise FileError(f"{name} cannot be read ({error})", where=self.name, cure="Copy it again from the machine.") from error
        self.read_bytes += len(text)
        return text

    def size(self, name: str) -> int:
        """Bytes of a file as its folder or archive says, 0 where it is not there; one that unpacks to more is refused later. [byte]"""
        member = self.members.get(name.upper())
        return 0 if member is None else member.stat().st_size if isinstance(member, Path) else member.file_size

    def _bytes(self, member: Path | zipfile.ZipInfo) -> bytes:
        if isinstance(member, Path):
            if member.stat().st_size > MOST_BYTES:
                told = f"{member.name} holds {member.stat().st_size / 1e6:,.0f} MB"
                raise FileError(told, where=self.name, limit=f"at most {MOST_BYTES / 1e6:,.0f} MB", cure="Export fewer tasks at a time.")
            return member.read_bytes()
        assert self.archive is not None
        with self.archive.open(member) as source:
            left = MOST_BYTES - self.read_bytes
            text = source.read(left + 1)
        if len(text) > left:
            raise FileError(
                "unpacks to more than it says", where=self.name, limit=f"at most {MOST_BYTES / 1e6:,.0f} MB", cure="Do not trust this file."
            )
        return text

    def hash(self) -> str:
        """A hash over the names and bytes of all files, the order of the folder not counting. [-]"""
        digest = hashlib.sha256()
        for name in sorted(self.members):
            digest.update(name.encode() + b"\0")
            for chunk in self._chunks(self.members[name]):
                digest.update(chunk)
            digest.update(b"\0")
        return digest.hexdigest()

    def _chunks(self, member: Path | zipfile.ZipInfo) -> Iterator[bytes]:
        """The bytes of a file, some at a time."""
        left = MOST_BYTES
        try:
            with self._opened(member) as source:
                while chunk := source.read(CHUNK):
                    left -= len(chunk)
                    if left < 0 and not isinstance(member, Path):
                        raise FileError("unpacks to more than it says", where=self.name, cure="Do not trust this file.")
                    yield chunk
        except BROKEN as error:
            raise FileError(f"a file in it cannot be read ({error})", where=self.name, cure="Copy it again from the machine.") from error

    def _opened(self, member: Path | zipfile.ZipInfo) -> IO[bytes]:
        if isinstance(member, Path):
            return member.open("rb")
        assert self.archive is not None
        return self.archive.open(member)


@contextmanager
def task_files(path: Path) -> Iterator[TaskFiles]:
    """Open task data.

    Parameters
    ----------
    path : Path
        The folder, the TASKDATA.XML itself, or a zip archive that holds one such folder. [-]

    Raises
    ------
    FileError
        If there is no task data, or more than one set.
    """
    if path.is_file() and zipfile.is_zipfile(path):
        try:
            archive = zipfile.ZipFile(path)
        except BROKEN as error:
            raise FileError(f"the archive is damaged or cut off ({error})", where=path.name, cure="Copy it again.") from error
        with archive:
            yield TaskFiles(name=path.name, members=_in_archive(path, archive), archive=archive)
        return
    folder = path if path.is_dir() else path.parent
    if not folder.is_dir():
        raise FileError("there is no such file or folder", where=str(path), cure="Check the name.")
    yield TaskFiles(name=path.name or str(path), members=_in_folder(folder, path.name))


def is_task_data(path: Path) -> bool:
    """Whether a path looks like task data: such a folder, such a file, or an archive with such a file in it."""
    if path.is_dir():
        return any(p.name.upper() == MAIN for p in path.iterdir()) or any(p.name.upper() == "TASKDATA" for p in path.iterdir())
    if path.name.upper() == MAIN:
        return True
    if not path.is_file() or not _begins_as_archive(path) or not zipfile.is_zipfile(path):
        return False
    try:
        with zipfile.ZipFile(path) as archive:
            return any(PurePosixPath(m.filename.replace("\\", "/")).name.upper() == MAIN for m in archive.infolist()[: MOST_MEMBERS + 1])
    except BROKEN:
        return False


def _begins_as_archive(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(2) == b"PK"


def _in_folder(folder: Path, name: str) -> dict[str, Path | zipfile.ZipInfo]:
    here = {p.name.upper(): p for p in sorted(folder.iterdir()) if p.is_file() and not p.is_symlink()}
    if MAIN not in here:
        below = [p for p in sorted(folder.iterdir()) if p.is_dir() and p.name.upper() == "TASKDATA"]
        if below:
            return _in_folder(below[0], name)
        raise FileError(f"there is no {MAIN}", where=name or str(folder), cure="Give the folder that holds it, with all its files.")
    return dict(here)


def _in_archive(path: Path, archive: zipfile.ZipFile) -> dict[str, Path | zipfile.ZipInfo]:
    members = files_in(archive)
    check_members(path, members)
    by_folder: dict[PurePosixPath, dict[str, Path | zipfile.ZipInfo]] = {}
    for member in members:
        place = PurePosixPath(member.filename.replace("\\", "/"))
        by_folder.setdefault(place.parent, {})[place.name.upper()] = member
    sets = [folder for folder, files in by_folder.items() if MAIN in files]
    if not sets:
        raise FileError(f"there is no {MAIN} in it", where=path.name, cure="Zip the folder that holds it, with all its files.")
    if len(sets) > 1:
        names = ", ".join(str(s) for s in sets[:8])
        raise FileError(
            [Fault(where=path.name, what=f"{len(sets)} sets of task data ({names})", cure="Give one of these folders by itself.")]
        )
    return by_folder[sets[0]]
