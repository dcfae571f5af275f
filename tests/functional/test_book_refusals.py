"""What is no book, is damaged, locked or read-only is refused in words, with exit code 2, and the rows stay as they were."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from book_samples import put_all
from book_things import WHEAT, clock
from evenstand.base.errors import BookError, LockedError, VersionError
from evenstand.book import Book
from evenstand.model import Product

EVENSTAND = [sys.executable, "-m", "evenstand", "book"]


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    folder = tmp_path_factory.mktemp("full") / "book"
    with Book.create(folder, farm="Willow Bend", clock=clock()) as book:
        put_all(book)
    return folder


@pytest.fixture
def copy(full, tmp_path):
    shutil.copytree(full, tmp_path / "book")
    return tmp_path / "book"


def run(*arguments: object, **kwargs: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*EVENSTAND, *map(str, arguments)], capture_output=True, text=True, timeout=120, **kwargs)


def dump(folder: Path) -> dict[str, list[list[object]]]:
    with Book.open(folder) as book:
        return book.dump()


def empty_file(path: Path) -> None:
    path.write_bytes(b"")


def a_few_bytes(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:60])


def cut_by_a_page(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-4096])


def cut_in_half(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def text_file(path: Path) -> None:
    path.write_text("Dear reader, this is no book at all. " * 20)


def plain_sqlite(path: Path) -> None:
    path.unlink()
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("CREATE TABLE x (y)")
        raw.commit()


def overwritten_pages(path: Path) -> None:
    data = bytearray(path.read_bytes())
    for page in range(2, len(data) // 4096, 3):
        data[page * 4096 : page * 4096 + 600] = b"\xa5" * 600
    path.write_bytes(bytes(data))


def garbled_schema(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[100:400] = b"\x00" * 300
    path.write_bytes(bytes(data))


DAMAGE = [
    (empty_file, VersionError, "is empty"),
    (a_few_bytes, VersionError, "is cut short: 60 bytes are left"),
    (cut_by_a_page, VersionError, "is cut short"),
    (cut_in_half, VersionError, "is cut short"),
    (text_file, BookError, "not an SQLite file"),
    (plain_sqlite, BookError, "an SQLite file of another kind"),
    (overwritten_pages, VersionError, "is damaged"),
    (garbled_schema, VersionError, "is damaged"),
]


@pytest.mark.parametrize(("damage", "error", "said"), DAMAGE, ids=[d[0].__name__ for d in DAMAGE])
@pytest.mark.parametrize("write", [False, True])
def test_a_damaged_file_is_refused_and_left_alone(copy, damage, error, said, write):
    damage(copy / "book.gpkg")
    as_it_was = (copy / "book.gpkg").read_bytes()
    with pytest.raises(error, match=said) as caught:
        Book.open(copy, write=write, clock=clock())
    assert caught.value.exit_code == 2
    assert caught.value.faults[0].cure
    assert (copy / "book.gpkg").read_bytes() == as_it_was
    with pytest.raises(BookError):  # the lock was given back: it is the damage that is told again
        Book.open(copy, write=True, clock=clock())


@pytest.mark.slow
@pytest.mark.parametrize("damage", [empty_file, cut_in_half, text_file, overwritten_pages], ids=lambda d: d.__name__)
def test_the_command_says_what_is_wrong_and_exits_with_two(copy, damage):
    damage(copy / "book.gpkg")
    ran = run("show", copy)
    assert ran.returncode == 2
    assert ran.stdout == ""
    assert "Traceback" not in ran.stderr
    assert "book.gpkg: is" in ran.stderr
    ran = run("show", copy, "--json")
    assert (ran.returncode, json.loads(ran.stdout)["faults"][0]["where"]) == (2, str(copy / "book.gpkg"))


@pytest.mark.parametrize("damage", [d[0] for d in DAMAGE], ids=lambda d: d.__name__)
def test_making_a_book_never_writes_over_a_file_that_is_there(copy, damage):
    damage(copy / "book.gpkg")
    as_it_was = (copy / "book.gpkg").read_bytes()
    with pytest.raises(BookError, match="there is a book already"):
        Book.create(copy, farm="F", clock=clock())
    assert (copy / "book.gpkg").read_bytes() == as_it_was


def test_an_empty_folder_a_missing_one_and_a_file_are_told_apart(tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").write_text("x")
    for name, said in (("empty", "holds no book"), ("missing", "there is no such folder"), ("file", "is a file, not the folder of a book")):
        with pytest.raises(BookError, match=said):
            Book.open(tmp_path / name)
    assert list((tmp_path / "empty").iterdir()) == []
    with pytest.raises(BookError, match="is a file"):
        Book.create(tmp_path / "file", farm="F")


def test_the_file_itself_may_be_named_instead_of_its_folder(copy):
    with Book.open(copy / "book.gpkg") as book:
        assert book.folder == copy


def test_a_folder_with_a_space_and_signs_in_its_name_works(tmp_path):
    folder = tmp_path / "our book #1 50% ?x"
    with Book.create(folder, farm="F", clock=clock()) as book:
        book.put(WHEAT)
    with Book.open(folder) as book:
        assert book.all(Product) == (WHEAT,)


def test_a_half_made_book_is_no_book_and_is_made_anew(tmp_path):
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / ".part-book.gpkg").write_bytes(b"SQLite format 3\0 and then the power went")
    with pytest.raises(BookError, match="holds no book"):
        Book.open(tmp_path / "b")
    with Book.create(tmp_path / "b", farm="F", clock=clock()) as book:
        assert book.check().ok


# one writer ---------------------------------------------------------------------------------------------------------
def test_a_second_writer_is_told_who_writes_since_when_and_a_reader_is_let_in(copy):
    before = dump(copy)
    with Book.open(copy, write=True, who="Robin", clock=clock()):
        with pytest.raises(LockedError) as caught:
            Book.open(copy, write=True, who="Kim", clock=clock())
        said = str(caught.value)
        assert f"Robin (process {os.getpid()} on " in said
        assert "since 2027-05-04T12:00:00.000Z" in said
        with Book.open(copy) as reader:
            assert reader.get(Product, "wheat") == WHEAT
        with pytest.raises(BookError):
            Book.create(copy, farm="F", clock=clock())
    Book.open(copy, write=True, who="Kim", clock=clock()).close()
    assert dump(copy) == before
    assert not (copy / ".lock.json").exists()


HOLD = (
    "import sys; from evenstand.book import Book\n"
    "book = Book.open(sys.argv[1], write=True, who='Robin'); print('held', flush=True); sys.stdin.read()"
)


@contextmanager
def other_writer(folder: Path):
    """Another process that holds the book for writing."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:  # fmt: skip
        assert process.stdout.readline() == "held\n"
        try:
            yield process
        finally:
            process.stdin.close()
            process.wait(30)


@pytest.mark.slow
def test_a_command_that_would_write_beside_another_process_exits_with_two(copy):
    before = dump(copy)
    with other_writer(copy) as process:
        ran = run("undo", copy, "1")
        assert ran.returncode == 2
        assert f"is being written by Robin (process {process.pid} on " in ran.stderr
        assert run("show", copy).returncode == 0
    assert dump(copy) == before


@pytest.mark.slow
def test_the_lock_of_a_process_that_was_killed_is_free_at_once(copy):
    with other_writer(copy) as process:
        process.kill()
        process.wait(30)
        assert json.loads((copy / ".lock.json").read_text())["who"] == "Robin"  # left behind, and no lock
        with Book.open(copy, write=True, who="Kim", clock=clock()) as book:
            assert json.loads((copy / ".lock.json").read_text())["who"] == "Kim"
            book.put(WHEAT)


def test_an_unreadable_note_of_the_holder_does_not_hide_the_lock(copy):
    with Book.open(copy, write=True, clock=clock()):
        (copy / ".lock.json").write_text("not json")
        with pytest.raises(LockedError, match="by another process"):
            Book.open(copy, write=True, clock=clock())


def test_another_program_that_holds_the_file_is_told_and_nothing_is_lost(copy, monkeypatch):
    """A GIS that edits the book itself takes SQLite's own lock, not ours."""
    before = dump(copy)
    with closing(sqlite3.connect(copy / "book.gpkg", isolation_level=None)) as gis, Book.open(copy, write=True, clock=clock()) as book:
        book._raw.execute("PRAGMA busy_timeout = 50")
        gis.execute("BEGIN IMMEDIATE")
        with pytest.raises(BookError, match="another program holds the file"):
            book.put(Product(key="new", name="new", kind="seed"))
        gis.execute("ROLLBACK")
        assert book.put(Product(key="new", name="new", kind="seed")) > 0
        book.remove(Product, "new")
    after = dump(copy)
    assert after["products"] == before["products"]


def test_a_writer_takes_the_write_lock_of_the_file_as_it_begins(copy):
    with Book.open(copy, write=True, clock=clock()) as book, book.batch():
        assert book._raw.in_transaction
        other = sqlite3.connect(copy / "book.gpkg", isolation_level=None, timeout=0)
        with closing(other), pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")


def test_the_rules_of_the_connection_are_kept(copy):
    with Book.open(copy, write=True, clock=clock()) as book:
        rules = {name: book._raw.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous", "foreign_keys")}
    assert rules == {"journal_mode": "delete", "synchronous": 2, "foreign_keys": 1}


def test_a_reader_rolls_back_a_write_that_was_interrupted(copy):
    """A process dies with its pages half written and the journal beside them."""
    before = dump(copy)
    code = (
        "import os, sqlite3, sys\n"
        "raw = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "raw.execute('PRAGMA cache_size = 1'); raw.execute('BEGIN IMMEDIATE')\n"
        "raw.execute('UPDATE history SET after = after || hex(zeroblob(3000))')\n"
        "os._exit(9)"
    )
    assert subprocess.run([sys.executable, "-c", code, str(copy / "book.gpkg")]).returncode == 9
    assert (copy / "book.gpkg-journal").stat().st_size > 0
    assert dump(copy) == before
    with Book.open(copy, write=True, clock=clock()) as book:
        assert book.check().ok


# read-only ----------------------------------------------------------------------------------------------------------
@contextmanager
def as_a_person_without_rights(folder: Path):
    """Folder and file read-only; where the tests run as the superuser, as somebody else."""
    superuser = hasattr(os, "geteuid") and os.geteuid() == 0
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
    if superuser:
        os.seteuid(65534)
    try:
        yield
    finally:
        if superuser:
            os.seteuid(0)
        for path in (folder, *folder.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)


@pytest.fixture
def open_to_all(full):
    """A copy of the book where every user can reach it."""
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        os.chmod(name, 0o755)
        shutil.copytree(full, Path(name) / "book")
        yield Path(name) / "book"


@pytest.mark.skipif(sys.platform == "win32", reason="NOT RUN HERE: no Unix permissions on this system")
def test_a_read_only_folder_can_be_read_and_not_written(open_to_all):
    before = dump(open_to_all)
    with as_a_person_without_rights(open_to_all):
        if os.access(open_to_all, os.W_OK, effective_ids=True):
            pytest.skip("NOT RUN HERE: this user may write everywhere")
        with Book.open(open_to_all) as book:
            assert book.dump() == before
            assert book.check().ok
        with pytest.raises(BookError, match=r"cannot be written"):
            Book.open(open_to_all, write=True, clock=clock())
        with pytest.raises(BookError, match=r"cannot be written"):
            Book.create(open_to_all, farm="F", clock=clock())
        with pytest.raises(BookError, match=r"cannot be made"):
            Book.create(open_to_all / "within", farm="F", clock=clock())
    assert dump(open_to_all) == before
    (open_to_all / "book.gpkg-journal").write_bytes(bytes.fromhex("d9d505f920a163d7") + bytes(504))
    with as_a_person_without_rights(open_to_all), pytest.raises(BookError, match="a write was interrupted and cannot be rolled back"):
        Book.open(open_to_all)


def test_a_full_disk_is_told_and_nothing_of_the_change_is_kept(copy):
    before = dump(copy)
    with Book.open(copy, write=True, clock=clock()) as book:
        pages = book._raw.execute("PRAGMA page_count").fetchone()[0]
        book._raw.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(BookError, match="the disk is full"), book.batch():
            for i in range(400):
                book.put(Product(key=f"p{i}", name="x" * 500, kind="seed"))
    assert dump(copy) == before
    with Book.open(copy, write=True, clock=clock()) as book:
        assert book.put(Product(key="after", name="after", kind="seed")) > 0


def test_opening_a_book_is_quick(copy):
    """A page of the site or a command must not wait for it; a regression guard, not a measurement."""
    Book.open(copy).close()
    start = time.perf_counter()
    for _ in range(10):
        with Book.open(copy) as book:
            book.all(Product)
    assert (time.perf_counter() - start) / 10 < 0.5
