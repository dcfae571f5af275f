"""A bundle: a book closed as one zip file for somebody else to look at. It opens read-only, out of a temporary folder."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sqlite3
import tempfile
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenstand import __version__
from evenstand.base.errors import BookError, Fault, VersionError
from evenstand.book import blobs, tables
from evenstand.book.geopackage import register_functions
from evenstand.book.nameless import strip_names
from evenstand.book.opening import FILE
from evenstand.formats.archives import unpack

MANIFEST = "manifest.json"
FORMAT = "evenstand-bundle"
VERSION = 1
NAMES_GONE = (
    "names of people, the farm, suppliers, fields and outfits, ticket numbers, lots, places of loads, file names and further facts of "
    "jobs are replaced by numbers; notes and typed reasons are left out; fields and trails are moved along their parallel"
)
_ZIP = b"PK\x03\x04"


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a bundle says of itself. files: name, size and sha256 of each file in it; left_out: what it does not hold, in words."""

    release: str
    schema: int
    made_at: str
    without_names: bool
    originals: bool
    left_out: tuple[str, ...]
    files: tuple[dict[str, Any], ...]

    def to_dict(self) -> dict[str, Any]:
        """As it stands in the file."""
        return {
            "format": FORMAT,
            "version": VERSION,
            "release": self.release,
            "schema": self.schema,
            "made_at": self.made_at,
            "without_names": self.without_names,
            "originals": self.originals,
            "left_out": list(self.left_out),
            "files": list(self.files),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Bundled:
    """A bundle that was written: its path, its size [byte], and its manifest."""

    path: Path
    size_bytes: int
    manifest: Manifest


def write_bundle(source: sqlite3.Connection, folder: Path, path: Path, *, at: str, originals: bool, without_names: bool) -> Bundled:
    """Write a bundle beside its place and rename it.

    Parameters
    ----------
    source : sqlite3.Connection
        To the book. [-]
    folder : Path
        Of the book, for its trails and originals. [-]
    path : Path
        Of the bundle; one that is there is replaced when the new one is whole. [-]
    at : str
        Time of writing. [ISO 8601]
    originals : bool
        With the files as they came; never together with `without_names`, for what stands in them is not known. [-]
    without_names : bool
        Names of people, places and files replaced. [-]

    Raises
    ------
    BookError
        If it cannot be written there, or both are asked for.
    """
    if originals and without_names:
        raise BookError("files as they came cannot be cleared of names", where=str(path), cure="Leave --originals or --without-names away.")
    if path.is_dir():
        raise BookError("is a folder", where=str(path), cure="Name a file, such as for-support.zip.")
    part = path.with_name(f".part-{os.getpid()}-{path.name}")
    try:
        with tempfile.TemporaryDirectory(prefix="evenstand-") as work:
            files = _files(source, folder, Path(work), at=at, originals=originals, without_names=without_names)
            manifest = Manifest(
                release=__version__,
                schema=tables.SCHEMA,
                made_at=at,
                without_names=without_names,
                originals=originals,
                left_out=_left_out(originals, without_names),
                files=tuple({"name": n, "bytes": len(d), "sha256": hashlib.sha256(d).hexdigest()} for n, d in sorted(files.items())),
            )
            _zip(part, files, manifest)
        os.replace(part, path)
        blobs.sync_folder(path.resolve().parent)
    except (OSError, sqlite3.Error) as error:
        raise BookError(f"cannot be written ({error})", where=str(path), cure="Pick a folder that exists and can be written.") from None
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return Bundled(path=path, size_bytes=path.stat().st_size, manifest=manifest)


def _left_out(originals: bool, without_names: bool) -> tuple[str, ...]:
    out = ["sheets, copies kept before a new release, and who holds the book"]
    if not originals:
        out.append("files as they came (originals)")
    if without_names:
        out.append(NAMES_GONE)
    return tuple(out)


def _files(source: sqlite3.Connection, folder: Path, work: Path, *, at: str, originals: bool, without_names: bool) -> dict[str, bytes]:
    """All files of the bundle by name."""
    with contextlib.closing(sqlite3.connect(work / FILE, isolation_level=None)) as copy:
        register_functions(copy)
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
        if without_names:
            files = strip_names(copy, folder, at=at)
        else:
            copy.execute("VACUUM")
            kept = [row[0] for row in copy.execute("SELECT DISTINCT parquet_hash FROM trails")]
            files = {f"{blobs.TRAILS}/{h}.parquet": blobs.read_blob(folder / blobs.TRAILS / f"{h}.parquet", h) for h in kept}
        if originals:
            named = [row[0] for row in copy.execute('SELECT "key" FROM originals')]
            files |= {f"{blobs.ORIGINALS}/{h}": blobs.read_blob(folder / blobs.ORIGINALS / h, h) for h in named}
    files[FILE] = (work / FILE).read_bytes()
    return files


def _zip(part: Path, files: dict[str, bytes], manifest: Manifest) -> None:
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(_entry(MANIFEST), json.dumps(manifest.to_dict(), ensure_ascii=False, indent=2))
        for name, data in sorted(files.items()):
            archive.writestr(_entry(name), data)
    with open(part, "rb+") as written:
        os.fsync(written.fileno())


def _entry(name: str) -> zipfile.ZipInfo:
    """Without the machine's own time: the manifest tells when it was made."""
    entry = zipfile.ZipInfo(name)
    entry.compress_type = zipfile.ZIP_DEFLATED
    return entry


# opening ------------------------------------------------------------------------------------------------------------
def is_bundle(path: Path) -> bool:
    """Whether a path is a zip file. [-]"""
    try:
        with open(path, "rb") as file:
            return file.read(4) == _ZIP
    except OSError:
        return False


def unpack_bundle(path: Path, into: Path) -> Manifest:
    """Unpack a bundle and hold every file against its manifest.

    Parameters
    ----------
    path : Path
        Of the bundle. [-]
    into : Path
        An empty folder; the book lies in it afterwards. [-]

    Raises
    ------
    BookError
        If it is no bundle of a book, or a file is not what the manifest says.
    VersionError
        If a newer release wrote it.
    FileError
        If the archive is damaged or holds names that lead out of it.
    """
    unpack(path, into)
    manifest = _read_manifest(path, into / MANIFEST)
    found = {str(p.relative_to(into)).replace(os.sep, "/") for p in into.rglob("*") if p.is_file()} - {MANIFEST}
    stated = {str(f["name"]): str(f["sha256"]) for f in manifest.files}
    faults = [
        Fault(where=f"{path.name}, {n}", what="is not in the manifest", cure="Do not trust this file.") for n in sorted(found - set(stated))
    ]
    for name, sha in sorted(stated.items()):
        if name not in found:
            faults.append(Fault(where=f"{path.name}, {name}", what="is missing", cure="Ask for the bundle again."))
        elif hashlib.sha256((into / name).read_bytes()).hexdigest() != sha:
            faults.append(Fault(where=f"{path.name}, {name}", what="is not what the manifest says", cure="Ask for the bundle again."))
    if FILE not in stated:
        faults.append(Fault(where=path.name, what="holds no book", cure="Make one with: evenstand book bundle FOLDER FILE.zip"))
    if faults:
        raise BookError(faults[:20])
    return manifest


def _read_manifest(path: Path, manifest: Path) -> Manifest:
    try:
        told = json.loads(manifest.read_text(encoding="utf-8"))
        if told["format"] != FORMAT:
            raise ValueError(told["format"])
        version = int(told["version"])
        made = Manifest(
            release=str(told["release"]),
            schema=int(told["schema"]),
            made_at=str(told["made_at"]),
            without_names=bool(told["without_names"]),
            originals=bool(told["originals"]),
            left_out=tuple(map(str, told["left_out"])),
            files=tuple({"name": str(f["name"]), "bytes": int(f["bytes"]), "sha256": str(f["sha256"])} for f in told["files"]),
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        cure = "Make one with: evenstand book bundle FOLDER FILE.zip"
        raise BookError("is a zip file, but no bundle of a book", where=str(path), cure=cure) from error
    if version > VERSION:
        raise VersionError(
            f"was written by a newer release, {made.release} (bundle version {version}; this release knows {VERSION})",
            where=str(path),
            cure="Install that release or a later one.",
        )
    return made
