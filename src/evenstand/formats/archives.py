"""Zip archives from strangers: nothing is unpacked before its names and sizes have been looked at."""

from __future__ import annotations

import zipfile
import zlib
from pathlib import Path, PurePosixPath

from evenstand.base.errors import Fault, FileError

MOST_BYTES = 512 * 1024 * 1024
"""Most bytes read from one file, or unpacked from one archive. [byte]"""
MOST_MEMBERS = 1000
"""Most files in one archive. [-]"""

_CHUNK = 1 << 20
_ENCRYPTED = 0x1


def unpack(archive: Path, into: Path) -> None:
    """Unpack a zip archive into an empty folder, refusing whatever could do harm.

    Parameters
    ----------
    archive : Path
        The zip file. [-]
    into : Path
        An empty folder. [-]

    Raises
    ------
    FileError
        If the archive is damaged, encrypted, too large (`MOST_BYTES` counted while unpacking, whatever the archive
        says of itself; `MOST_MEMBERS`), or holds a name that leads out of the folder.
    """
    try:
        with zipfile.ZipFile(archive) as opened:
            members = files_in(opened)
            check_members(archive, members)
            left = MOST_BYTES
            for member in members:
                left = _unpack_one(archive, opened, member, into, left)
    except (zipfile.BadZipFile, EOFError, OSError, NotImplementedError, RuntimeError, ValueError, zlib.error) as error:
        raise FileError(
            f"the archive is damaged or cut off ({error})", where=archive.name, cure="Copy or download it again, or unpack it yourself."
        ) from error


def files_in(archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    """The members that are no folders; one without a name counts as a file, and is refused later."""
    return [m for m in archive.infolist() if not m.filename.endswith("/")]


def check_members(archive: Path, members: list[zipfile.ZipInfo]) -> None:
    """Refuse an archive whose names or sizes could do harm, before anything is unpacked."""
    faults = []
    if len(members) > MOST_MEMBERS:
        faults.append(Fault(where=archive.name, what=f"{len(members)} files in the archive", limit=f"at most {MOST_MEMBERS}"))
    stated = sum(m.file_size for m in members)
    if stated > MOST_BYTES:
        faults.append(
            Fault(
                where=archive.name,
                what=f"unpacks to {stated / 1e6:,.0f} MB",
                limit=f"at most {MOST_BYTES / 1e6:,.0f} MB",
                cure="Nothing was unpacked. Export only the layer with the outlines.",
            )
        )
    for member in members:
        if fault := _name_fault(archive, member):
            faults.append(fault)
    if faults:
        raise FileError(faults[:20])


def _name_fault(archive: Path, member: zipfile.ZipInfo) -> Fault | None:
    name = member.filename.replace("\\", "/")
    where = f"{archive.name}, member {member.filename[:80]!r}"
    if not name.strip("./"):
        return Fault(where=where, what="a member without a name", cure="Nothing was unpacked; copy the archive again.")
    if name.startswith("/") or ":" in name or ".." in PurePosixPath(name).parts or "\x00" in name:
        return Fault(
            where=where, what="the name leads out of the archive's own folder", cure="Nothing was unpacked; do not trust this file."
        )
    if member.flag_bits & _ENCRYPTED:
        return Fault(where=where, what="the member is encrypted", cure="Unpack it yourself and give the file inside.")
    if (member.external_attr >> 16) & 0o170000 == 0o120000:
        return Fault(where=where, what="the member is a link to another file", cure="Nothing was unpacked; do not trust this file.")
    return None


def _unpack_one(archive: Path, opened: zipfile.ZipFile, member: zipfile.ZipInfo, into: Path, left: int) -> int:
    """Write one member; the bytes still allowed afterwards. [byte]"""
    target = into.joinpath(*PurePosixPath(member.filename.replace("\\", "/")).parts)
    target.parent.mkdir(parents=True, exist_ok=True)
    with opened.open(member) as source, target.open("wb") as sink:
        while chunk := source.read(_CHUNK):
            left -= len(chunk)
            if left < 0:
                raise FileError(
                    "unpacks to more than it says", where=archive.name, limit=f"at most {MOST_BYTES / 1e6:,.0f} MB",
                    cure="Unpacking was stopped; do not trust this file.",
                )  # fmt: skip
            sink.write(chunk)
    return left
