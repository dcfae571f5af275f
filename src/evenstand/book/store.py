"""The book: one farm's season in a folder. One writer, many readers; every change is history."""

from __future__ import annotations

import contextlib
import sqlite3
import tempfile
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from sqlalchemy import Connection, insert, select, update
from sqlalchemy.exc import DBAPIError

from evenstand.base.clock import Clock, SystemClock, iso
from evenstand.base.errors import BookError, EvenstandError, InputError
from evenstand.base.units import Profile, check_profile
from evenstand.book import blobs, tables
from evenstand.book.bundling import Bundled, Manifest, is_bundle, unpack_bundle, write_bundle
from evenstand.book.checking import BookCheck, check_book, reference_faults
from evenstand.book.derived import from_text, to_text
from evenstand.book.geopackage import touch_tables
from evenstand.book.history import Entry, Recorder, by_key, kinds_of_things, read_entries, take_back
from evenstand.book.kinds import joined_key, key_of, kind_of
from evenstand.book.locking import WAIT_S, WriterLock
from evenstand.book.making import engine_on, make_folder, write_new
from evenstand.book.mapping import rows_of
from evenstand.book.migrating import keep_copy, run_steps
from evenstand.book.opening import FILE, book_folder, check_content, check_header, connect
from evenstand.book.publishing import Published, publish_copy
from evenstand.book.records import Farm, Original, TrailRecord
from evenstand.book.rows import condition, outdated, read_rows, read_things, sorted_rows, version_of
from evenstand.book.shapes import point_blob, polygons_blob, to_degrees
from evenstand.formats.parquet import trail_bytes, trail_of
from evenstand.model import Boundary, Plan, Trail

T = TypeVar("T")


class Book:
    """An open book. Use it as a context manager; `create` and `open` make one.

    It may be shared by threads: each call is one transaction, and they wait for each other.
    """

    def __init__(self, folder: Path, raw: sqlite3.Connection, *, write: bool, who: str, clock: Clock, lock: WriterLock | None) -> None:
        self.folder = folder
        self.who = who
        self.write = write
        self._clock = clock
        self._raw = raw
        self._lock = lock
        self._guard = threading.RLock()
        self._engine = engine_on(raw, write=write)
        self._connection: Connection | None = self._engine.connect()
        self._recorder: Recorder | None = None
        self._made: dict[tuple[str, str], tuple[str, str]] = {}
        self._unpacked: tempfile.TemporaryDirectory[str] | None = None
        self.bundle: Manifest | None = None
        """What the bundle says of itself that this book was opened from; None for a book in its own folder."""

    # opening and closing ------------------------------------------------------------------------------------------
    @classmethod
    def create(cls, folder: str | Path, *, farm: str, profile: str = "si", who: str = "", clock: Clock | None = None) -> Self:
        """Make an empty book and open it for writing.

        Parameters
        ----------
        folder : str or Path
            Made if it is not there. [-]
        farm : str
            Name of the farm. [-]
        profile : str
            Units it is shown in: "si", "prairie" or "us". [-]
        who : str
            Who writes; stands in history. [-]
        clock : Clock
            Tells the time; the machine's clock if left out. [-]

        Raises
        ------
        BookError
            If there is a book already, or the folder cannot be written.
        """
        clock, path = clock or SystemClock(), Path(folder)
        check_profile(profile)
        if not farm.strip():
            raise InputError("is empty", where="farm", cure="Give the farm a name.")
        make_folder(path)
        lock = WriterLock(path, who=who, at=iso(clock.now()))
        lock.acquire()
        try:
            if (path / FILE).exists():
                raise BookError("there is a book already", where=str(path), cure="Open it, or pick another folder.")
            write_new(path, iso(clock.now()))
            book = cls(path, connect(path / FILE, write=True), write=True, who=who, clock=clock, lock=lock)
        except BaseException:
            lock.release()
            raise
        try:
            book.put(Farm(name=farm.strip(), profile=profile), why="new book")
        except BaseException:
            book.close()
            raise
        return book

    @classmethod
    def open(cls, folder: str | Path, *, write: bool = False, who: str = "", clock: Clock | None = None) -> Self:
        """Open a book.

        Parameters
        ----------
        folder : str or Path
            Of the book; or the file of a bundle, which opens for reading only. [-]
        write : bool
            Take the lock and allow changes. [-]
        who : str
            Who writes; stands in history and in the lock. [-]
        clock : Clock
            Tells the time; the machine's clock if left out. [-]

        Raises
        ------
        LockedError
            If another process writes.
        VersionError
            If the book is of a newer release, or damaged.
        BookError
            If there is no book, or it cannot be opened. A book of an older release is brought forward first, with a copy kept.
        """
        if is_bundle(Path(folder)):
            return cls._open_bundle(Path(folder), write, clock)
        clock, path = clock or SystemClock(), book_folder(Path(folder))
        if write:
            return cls._open_writing(path, who, clock)
        check_header(path / FILE)
        raw = connect(path / FILE, write=False)
        try:
            schema = check_content(raw, path / FILE)
        except BaseException:
            raw.close()
            raise
        if schema < tables.SCHEMA:
            raw.close()
            cls._open_writing(path, who, clock).close()
            raw = connect(path / FILE, write=False)
        return cls(path, raw, write=False, who=who, clock=clock, lock=None)

    @classmethod
    def _open_bundle(cls, path: Path, write: bool, clock: Clock | None) -> Self:
        """A bundle out of a temporary folder, which goes when the book is closed."""
        if write:
            cure = "Ask whoever sent it to make the change in the book itself."
            raise BookError("is a bundle: it opens for reading only", where=str(path), cure=cure)
        unpacked = tempfile.TemporaryDirectory(prefix="evenstand-", ignore_cleanup_errors=True)
        try:
            manifest = unpack_bundle(path, Path(unpacked.name))
            book = cls.open(unpacked.name, clock=clock)
        except BaseException:
            unpacked.cleanup()
            raise
        book._unpacked, book.bundle = unpacked, manifest
        return book

    @classmethod
    def _open_writing(cls, path: Path, who: str, clock: Clock, *, wait_s: float = WAIT_S) -> Self:
        check_header(path / FILE)
        lock = WriterLock(path, who=who, at=iso(clock.now()))
        lock.acquire(wait_s=wait_s)
        raw: sqlite3.Connection | None = None
        try:
            raw = connect(path / FILE, write=True)
            schema = check_content(raw, path / FILE)
            book = cls(path, raw, write=True, who=who, clock=clock, lock=lock)
            if schema < tables.SCHEMA:
                book._migrate(schema)
        except BaseException:
            if raw is not None:
                raw.close()
            lock.release()
            raise
        return book

    def _migrate(self, schema: int) -> None:
        at = iso(self._clock.now())
        keep_copy(self.folder, schema, at)
        with self._transaction() as connection:
            run_steps(connection, start=schema, at=at)

    def close(self) -> None:
        """Close the file and give the lock back; a second time does nothing."""
        with self._guard:
            if self._connection is None:
                return
            self._connection.close()
            self._connection = None
            self._engine.dispose()
            self._raw.close()
            if self._lock is not None:
                self._lock.release()
            if self._made:
                self._hand_over_results()
            if self._unpacked is not None:
                self._unpacked.cleanup()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    # transactions -------------------------------------------------------------------------------------------------
    @contextlib.contextmanager
    def _transaction(self) -> Iterator[Connection]:
        """A transaction, or the one that is open; rolled back if anything is raised."""
        with self._guard:
            connection = self._connection
            if connection is None:
                raise BookError("the book is closed", where=str(self.folder), cure="Open it again.")
            if connection.in_transaction():
                yield connection
                return
            try:
                with connection.begin() as transaction:
                    yield connection
                    self._commit()
                    transaction.commit()
            except (DBAPIError, sqlite3.Error) as error:
                raise _told(error, self.folder) from error

    def _commit(self) -> None:
        """Commit at the file, so that references which lead nowhere can still be named."""
        try:
            if self._raw.in_transaction:
                self._raw.execute("COMMIT")
        except sqlite3.IntegrityError:
            raise InputError(reference_faults(self._raw)) from None

    @contextlib.contextmanager
    def batch(self, why: str = "") -> Iterator[None]:
        """Several changes as one: all or none are kept, and one undo takes them back.

        Parameters
        ----------
        why : str
            Stands in history before the reasons of the single changes. [-]
        """
        with self._changing(why):
            yield

    @contextlib.contextmanager
    def _changing(self, why: str, undoes: int | None = None) -> Iterator[Recorder]:
        if not self.write:
            raise BookError("is open for reading only", where=str(self.folder), cure="Open it for writing.")
        with self._transaction() as connection:
            outer = self._recorder
            if outer is not None:
                _add_reason(outer, why)
                yield outer
                return
            at = iso(self._clock.now())
            change = connection.execute(insert(tables.changes).values(at=at, who=self.who, why=why, undoes=undoes)).inserted_primary_key
            assert change is not None
            recorder = Recorder(connection, int(change[0]))
            _add_reason(recorder, why)
            self._recorder = recorder
            try:
                yield recorder
            finally:
                self._recorder = None
            self._finish(connection, recorder, at)

    def _finish(self, connection: Connection, recorder: Recorder, at: str) -> None:
        if recorder.broken:
            raise BookError("a change within this batch failed half way", where=str(self.folder), cure="Nothing of the batch was kept.")
        changes = tables.changes
        if not recorder.entries:
            connection.execute(changes.delete().where(changes.c.fid == recorder.change))
            return
        connection.execute(update(changes).where(changes.c.fid == recorder.change).values(why="; ".join(recorder.whys)))
        for kind, key in kinds_of_things(recorder.things):
            if kind.type is Boundary:
                self._place_on_map(connection, key)
        if ("Farm", "farm") in recorder.things and connection.execute(select(tables.farm.c.fid)).first() is None:
            raise BookError("a book cannot be without its farm", where=str(self.folder), cure="Change the farm's name instead.")
        touch_tables(self._raw, recorder.touched | {"changes", "history"}, at)

    # things -------------------------------------------------------------------------------------------------------
    def put(self, thing: Any, *, why: str = "", expected: int | None = None) -> int:
        """Keep a thing, new or changed. Returns the number of the change for `undo`, 0 if nothing differed.

        Parameters
        ----------
        thing : Outfit, Product, Lot, MeterFactor, Job, Boundary, Load, Fill, Plan or a record of `evenstand.book.records`
            It replaces the one with the same key; a plan is cache and leaves no history. [-]
        why : str
            Reason, for history. [-]
        expected : int or None
            The `version` it was made from; 0 if there shall be none yet. [-]

        Raises
        ------
        InputError
            With every value that cannot be kept, or that names something the book does not have.
        ConflictError
            If the version is another by now, with both values of each field that differs.
        """
        if isinstance(thing, Plan):
            self._must_write()
            if not thing.input_hash:
                raise InputError("has no input hash", where=f"plan of job '{thing.job}'", cure="Give the hash of what it was made from.")
            self.remember(thing, input_hash=thing.input_hash, about=thing.job)
            return 0
        kind, key = kind_of(type(thing)), key_of(thing)
        after = rows_of(kind, thing)
        with self._changing(why) as recorder, self._transaction() as connection:
            before = read_rows(connection, kind, key)
            if expected is not None and expected != version_of(connection, kind, key):
                raise outdated(kind, key, expected, version_of(connection, kind, key), before, after)
            return recorder.change if _applied(recorder, lambda: recorder.apply(kind, key, before, after)) else 0

    def get(self, kept: type[T], key: str | tuple[str, ...]) -> T | None:
        """The thing of a type with a key; None if there is none.

        Parameters
        ----------
        kept : type
            For example `Outfit`. [-]
        key : str or tuple of str
            As `key_of` gives it; a plan is known by its input hash. [-]
        """
        if kept is Plan:
            return self.remembered(kept, joined_key(key))
        kind = kind_of(kept)
        with self._transaction() as connection:
            found = read_things(connection, kind, kind.table.c.key == joined_key(key))
        return found[0] if found else None

    def all(self, kept: type[T], **where: Any) -> tuple[T, ...]:
        """All things of a type, in order of time where they have one, then of key.

        Parameters
        ----------
        kept : type
            For example `Fill`. [-]
        **where : any
            Values that fields must have, for example `job="north-2027"`. [-]
        """
        kind = kind_of(kept)
        conditions = [condition(kind.table, name, value) for name, value in where.items()]
        with self._transaction() as connection:
            return tuple(read_things(connection, kind, *conditions))

    def remove(self, kept: type, key: str | tuple[str, ...], *, why: str = "") -> int:
        """Take a thing out; history keeps it. Returns the number of the change.

        Raises
        ------
        BookError
            If there is no such thing.
        InputError
            If others name it, naming them.
        """
        kind, text = kind_of(kept), joined_key(key)
        with self._changing(why) as recorder, self._transaction() as connection:
            before = read_rows(connection, kind, text)
            if not before[kind.table.name]:
                raise BookError(f"there is no {kind.name} '{text}'", where=str(self.folder), cure="Look at 'evenstand book show'.")
            _applied(recorder, lambda: recorder.apply(kind, text, before, {}))
            return recorder.change

    def version(self, kept: type, key: str | tuple[str, ...]) -> int:
        """The number of the last change of a thing, 0 if it is not there; for `put(expected=...)`."""
        kind = kind_of(kept)
        with self._transaction() as connection:
            return version_of(connection, kind, joined_key(key))

    @property
    def farm(self) -> str:
        """The name of the farm."""
        return self._settings().name

    @property
    def profile(self) -> Profile:
        """The units it is shown in."""
        return check_profile(self._settings().profile)

    def _settings(self) -> Farm:
        found = self.get(Farm, "farm")
        if found is None:
            raise BookError("has no farm in it", where=str(self.folder), cure="Bring it back from a copy.")
        return found

    # history ------------------------------------------------------------------------------------------------------
    def history(self, kept: type | str | None = None, key: str | tuple[str, ...] | None = None) -> tuple[Entry, ...]:
        """Each change of a value in the order made, of everything, of one type, or of one thing."""
        name = "" if kept is None else kind_of(kept).name
        with self._transaction() as connection:
            return tuple(read_entries(connection, kind=name, key=None if key is None else joined_key(key)))

    def undo(self, change_id: int, *, why: str = "") -> int:
        """Take a change back by a new one. Returns the number of the new one; undoing that does it again.

        Raises
        ------
        ConflictError
            If a value has moved since: with the value the change left and the value there is now.
        BookError
            If there is no such change.
        """
        with self._changing(why or f"undo of change {change_id}", undoes=change_id) as recorder, self._transaction() as connection:
            if not 0 < change_id < 2**63 or not read_entries(connection, change=change_id):
                raise BookError(f"there is no change {change_id}", where=str(self.folder), cure="Look at 'evenstand book history'.")
            _applied(recorder, lambda: take_back(connection, change_id, recorder))
            return recorder.change

    # files --------------------------------------------------------------------------------------------------------
    def put_original(self, source: Path | bytes, *, name: str = "", why: str = "") -> Original:
        """Keep a file as it came, under its hash.

        Parameters
        ----------
        source : Path or bytes
            The file, or its content. [-]
        name : str
            What it was called; the file's own name if left out. [-]

        Raises
        ------
        InputError
            If the file cannot be read.
        """
        self._must_write()
        data, called = _content(source, name)
        key = blobs.store_blob(self.folder / blobs.ORIGINALS, data)
        known = self.get(Original, key)
        if known is not None:
            return known
        self.put(Original(hash=key, name=called, size_bytes=len(data), at=iso(self._clock.now())), why=why)
        return self.get(Original, key) or Original(hash=key, name=called, size_bytes=len(data))

    def original(self, hash: str) -> bytes:
        """The content of a kept file; BookError if it is missing or changed."""
        return blobs.read_blob(self.folder / blobs.ORIGINALS / hash, hash)

    def put_trail(
        self,
        trail: Trail,
        *,
        key: str,
        job: str = "",
        outfit: str = "",
        name: str = "",
        original: Path | bytes | None = None,
        why: str = "",
    ) -> TrailRecord:
        """Keep a trail as a Parquet file, with what it was read from, and the row that names both.

        Parameters
        ----------
        trail : Trail
            As read. [-]
        key, job, outfit, name : str
            Its key, what it belongs to, and what the file was called. [-]
        original : Path, bytes or None
            What it was read from. [-]
        """
        self._must_write()
        with self.batch(why):
            kept = self.put_original(original, name=name).hash if original is not None else ""
            parquet = blobs.store_blob(self.folder / blobs.TRAILS, trail_bytes(trail), suffix=".parquet")
            record = TrailRecord(
                key=key, parquet_hash=parquet, frame=trail.frame, name=name, job=job, outfit=outfit, original_hash=kept, points=trail.n,
                rows=trail.rows, kept=trail.kept, repaired=trail.repaired_rows, set_aside=trail.set_aside_rows,
                at=_moment(trail, 0), until=_moment(trail, -1), note="; ".join(trail.notes),
            )  # fmt: skip
            self.put(record)
        return record

    def trail(self, key: str) -> Trail:
        """A kept trail.

        Raises
        ------
        BookError
            If there is none with that key, or its file is missing or changed.
        """
        record = self.get(TrailRecord, key)
        if record is None:
            raise BookError(f"there is no trail '{key}'", where=str(self.folder), cure="Look at 'evenstand book show'.")
        path = self.folder / blobs.TRAILS / f"{record.parquet_hash}.parquet"
        return trail_of(blobs.read_blob(path, record.parquet_hash), path.name)

    # the whole ----------------------------------------------------------------------------------------------------
    def publish(self, path: str | Path) -> Published:
        """Write a copy for GIS programs; one that is there is replaced once the new one is whole."""
        with self._guard:
            return publish_copy(self._raw, Path(path), at=iso(self._clock.now()), trail=self.trail)

    def write_bundle(self, path: str | Path, *, originals: bool = False, without_names: bool = False) -> Bundled:
        """Write the book as one file for somebody else to look at; arguments as for `bundling.write_bundle`."""
        with self._guard:
            at = iso(self._clock.now())
            return write_bundle(self._raw, self.folder, Path(path), at=at, originals=originals, without_names=without_names)

    def dump(self) -> dict[str, list[list[Any]]]:
        """All rows of all tables, sorted; bytes as their sha256. Two equal dumps are two equal books."""
        with self._transaction():
            names = [r[0] for r in self._raw.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
            return {name: sorted_rows(self._raw, name) for name in names if not name.startswith(("sqlite_", "rtree_"))}

    def check(self) -> BookCheck:
        """Pages, references, files by their hashes, geometry, and what GIS programs need; nothing is changed."""
        with self._transaction():
            return check_book(self._raw, self.folder, originals=self.bundle is None or self.bundle.originals)

    # results that can be made again -------------------------------------------------------------------------------
    def remember(self, result: Any, *, input_hash: str, about: str) -> None:
        """Keep a result that can be made again, by the hash of what it was made from. It is cache: it leaves no history, and a newer one of
        the same type about the same thing takes its place. A book open for reading hands it over when it is closed, if nobody writes then.

        Parameters
        ----------
        result : dataclass
            A tree of dataclasses, tuples, mappings, arrays and plain values. [-]
        input_hash : str
            Of everything it was made from. [-]
        about : str
            What it is about, such as the key of a job. [-]
        """
        kind, body = type(result).__name__, to_text(result)
        if self.write:
            self._store_result(kind, input_hash, about, body)
        elif self.bundle is None:
            self._made[kind, input_hash] = (about, body)

    def remembered(self, kept: type[T], input_hash: str) -> T | None:
        """The result of a type kept under a hash; None where there is none, or it is of another release's shape."""
        with self._transaction() as connection:
            body = connection.execute(select(tables.derived.c.body).where(by_key(tables.derived, (kept.__name__, input_hash)))).scalar()
        if body is None:
            return None
        try:
            result: T = from_text(kept, body)
        except (AttributeError, KeyError, TypeError, ValueError):
            return None
        return result

    # within -------------------------------------------------------------------------------------------------------
    def _must_write(self) -> None:
        if not self.write:
            raise BookError("is open for reading only", where=str(self.folder), cure="Open it for writing.")

    def _place_on_map(self, connection: Connection, key: str) -> None:
        """Make the geometry GIS programs see from the outline in metres."""
        found = read_things(connection, kind_of(Boundary), tables.fields.c.key == key)
        if not found:
            return
        project = to_degrees(found[0].frame)
        for table in kind_of(Boundary).tables():
            if "geom" not in table.c:
                continue
            owner = table.c[table.info["key"][0]]
            for row in connection.execute(select(table).where(owner == key)).mappings().all():
                blob: bytes | None
                if "outline_m" in row:
                    blob = polygons_blob(row["outline_m"], project, single=table is not tables.fields)
                else:
                    blob = point_blob(row["x_m"], row["y_m"], project)
                if blob != row["geom"]:
                    connection.execute(update(table).where(table.c.fid == row["fid"]).values(geom=blob))

    def _store_result(self, kind: str, input_hash: str, about: str, body: str) -> None:
        """In place of what was kept of the same kind about the same thing; only plans are kept side by side."""
        derived, at = tables.derived, iso(self._clock.now())
        row = {"kind": kind, "input_hash": input_hash, "about": about, "made_at": at, "body": body}
        with self._transaction() as connection:
            connection.execute(derived.delete().where(by_key(derived, (kind, input_hash))))
            if kind != Plan.__name__:
                connection.execute(derived.delete().where(derived.c.kind == kind, derived.c.about == about))
            connection.execute(insert(derived).values(row))

    def _hand_over_results(self) -> None:
        """What a reader computed, put in by a writer of a moment; if that cannot be, it is computed again next time."""
        kept, self._made = self._made, {}
        with (
            contextlib.suppress(EvenstandError, OSError, DBAPIError, sqlite3.Error),
            Book._open_writing(self.folder, "a reader that keeps its results", self._clock, wait_s=0.0) as book,
            book._transaction(),
        ):
            for (kind, input_hash), (about, body) in kept.items():
                book._store_result(kind, input_hash, about, body)


# helpers ------------------------------------------------------------------------------------------------------------
def _add_reason(recorder: Recorder, why: str) -> None:
    if why and why not in recorder.whys:
        recorder.whys.append(why)


def _applied(recorder: Recorder, act: Callable[[], T]) -> T:
    """Do it; if it fails half way, nothing of the batch can be kept."""
    try:
        return act()
    except BaseException:
        recorder.broken = True
        raise


def _content(source: Path | bytes, name: str) -> tuple[bytes, str]:
    if isinstance(source, bytes):
        return source, name
    try:
        return Path(source).read_bytes(), name or Path(source).name
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", where=str(source), cure="Check the name and your rights.") from None


def _moment(trail: Trail, position: int) -> str:
    from datetime import UTC, datetime

    return iso(datetime.fromtimestamp(int(trail.t_ms[position]) / 1000, UTC)) if trail.n else ""


def _told(error: DBAPIError | sqlite3.Error, folder: Path) -> BookError:
    """A database error in the book's words."""
    text = str(error.orig if isinstance(error, DBAPIError) else error)
    if "full" in text:
        return BookError("the disk is full", where=str(folder), cure="Free space; nothing of this change was kept.")
    if "locked" in text:
        cure = "Close it there, for example in a GIS, and open a published copy there instead."
        return BookError("another program holds the file", where=str(folder), cure=cure)
    if "readonly" in text or "query_only" in text:
        return BookError("cannot be written: it is read-only", where=str(folder), cure="Open it where it can be written.")
    cure = "Run 'evenstand book check'; bring it back from a copy if that fails."
    return BookError(f"the file cannot be used ({text})", where=str(folder), cure=cure)
