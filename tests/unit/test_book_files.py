"""Trails and originals are kept by their hash, written whole before the row that names them, and checked."""

from __future__ import annotations

import dataclasses
import os

import numpy as np
import pytest

from book_samples import put_all
from book_things import FRAME, JOB, clock, put_field_work, trail
from evenstand.base.errors import BookError, InputError
from evenstand.book import Book, Original, TrailRecord, blobs
from evenstand.formats.parquet import trail_bytes, trail_of
from evenstand.model import Trail


@pytest.fixture
def book(tmp_path):
    with Book.create(tmp_path / "book", farm="F", clock=clock()) as made:
        put_field_work(made)
        yield made


def same_trail(a: Trail, b: Trail) -> bool:
    for field in dataclasses.fields(Trail):
        x, y = getattr(a, field.name), getattr(b, field.name)
        if isinstance(x, np.ndarray):
            if not isinstance(y, np.ndarray) or x.dtype != y.dtype or not np.array_equal(x, y, equal_nan=x.dtype.kind == "f"):
                return False
        elif field.name == "extra":
            if x.keys() != y.keys() or not all(np.array_equal(x[k], y[k]) for k in x):
                return False
        elif x != y:
            return False
    return True


def test_a_trail_comes_back_equal_with_absent_columns_absent_and_gaps_as_gaps(book):
    put = trail()
    record = book.put_trail(put, key="t", job=JOB.key, outfit="big-drill", name="day.csv", original=b"raw log")
    found = book.trail("t")
    assert same_trail(found, put)
    assert (found.echoed_kg_ha, found.step_m) == (None, None)
    assert np.isnan(found.speed_m_s[2])
    assert not found.xy_m.flags.writeable
    assert book.get(TrailRecord, "t") == record
    assert (record.points, record.rows, record.kept, record.repaired, record.set_aside) == (6, 9, 6, 1, 2)
    assert (record.at, record.until) == ("2027-05-04T12:00:00.000Z", "2027-05-04T12:00:05.000Z")
    assert book.original(record.original_hash) == b"raw log"


@pytest.mark.parametrize("n", [0, 1])
def test_a_trail_of_no_or_one_point_is_kept(book, n):
    bare = Trail(frame=FRAME, t_ms=np.arange(n), xy_m=np.zeros((n, 2)))
    assert same_trail(trail_of(trail_bytes(bare), "bare"), bare)
    book.put_trail(bare, key="t")
    assert same_trail(book.trail("t"), bare)


def test_the_trail_file_can_be_read_by_anything_that_reads_parquet(book):
    import polars as pl

    record = book.put_trail(trail(), key="t")
    table = pl.read_parquet(book.folder / "trails" / f"{record.parquet_hash}.parquet")
    assert {"t_ms", "x_m", "y_m", "speed_m_s", "section_1", "extra:moist"} <= set(table.columns)
    assert any(name.startswith("turns_") for name in table.columns)
    assert table["y_m"].to_list() == pytest.approx([0.1 * i for i in range(6)])


def test_the_same_original_is_kept_once(book, tmp_path):
    (tmp_path / "log.csv").write_bytes(b"a,b\n")
    first = book.put_original(tmp_path / "log.csv")
    again = book.put_original(b"a,b\n", name="other.csv")
    assert first == again
    assert (first.name, first.size_bytes, first.hash) == ("log.csv", 4, blobs.sha256_of(b"a,b\n"))
    assert book.all(Original) == (first,)
    assert [p.name for p in (book.folder / "originals").iterdir()] == [first.hash]


def test_an_original_that_is_not_there_is_refused(book, tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        book.put_original(tmp_path / "nothing.csv")


def test_a_file_is_flushed_and_named_before_its_row_is_written(book, monkeypatch):
    """The order is write, fsync, rename, fsync of the folder, then the row."""
    done: list[str] = []
    real_fsync, real_replace, real_put = os.fsync, os.replace, Book.put
    monkeypatch.setattr(os, "fsync", lambda handle: (done.append("fsync"), real_fsync(handle))[1])
    monkeypatch.setattr(os, "replace", lambda a, b: (done.append("rename"), real_replace(a, b))[1])
    monkeypatch.setattr(Book, "put", lambda self, thing, **k: (done.append(type(thing).__name__), real_put(self, thing, **k))[1])
    book.put_trail(trail(), key="t", original=b"x")
    meaningful = [d for i, d in enumerate(done) if d != "fsync" or done[i - 1] != "fsync"]
    assert meaningful == ["fsync", "rename", "fsync", "Original", "fsync", "rename", "fsync", "TrailRecord"]


def test_a_full_disk_while_writing_a_file_leaves_no_row_and_no_half_file(book, monkeypatch):
    before = book.dump()

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    (book.folder / "originals").mkdir()
    monkeypatch.setattr(blobs, "sync_folder", lambda folder: None)
    with pytest.raises(BookError, match="No space left on device"):
        book.put_original(b"x" * 1000, name="big")
    assert list((book.folder / "originals").iterdir()) == []
    assert book.dump() == before


def test_a_trail_of_an_unknown_job_leaves_no_row(book):
    before = book.dump()
    with pytest.raises(InputError, match="names 'nowhere', which is not in jobs"):
        book.put_trail(trail(), key="t", job="nowhere", original=b"x")
    assert book.dump() == before


def test_check_finds_a_missing_a_changed_and_an_unnamed_file(tmp_path):
    with Book.create(tmp_path / "b", farm="F", clock=clock()) as book:
        put_all(book)
        book.put_trail(trail(9), key="t-2")
        assert book.check().ok
        (parquet,) = (p for p in (tmp_path / "b" / "trails").iterdir() if p.stem == book.get(TrailRecord, "t-2").parquet_hash)
        parquet.write_bytes(parquet.read_bytes()[:-1] + b"?")
        (original,) = (tmp_path / "b" / "originals").iterdir()
        original.unlink()
        (tmp_path / "b" / "originals" / ".part-1-x").write_bytes(b"half")
        result = book.check()
        assert sorted(f.what for f in result.faults) == ["is missing", "its content does not match its name"]
        assert result.unnamed == ("originals/.part-1-x",)
        with pytest.raises(BookError, match="content does not match its name"):
            book.trail("t-2")
        with pytest.raises(BookError, match="there is no trail 'none'"):
            book.trail("none")
        with pytest.raises(BookError, match="file the book names is missing"):
            book.original(book.all(Original)[0].hash)


def test_check_finds_broken_references_and_a_wrong_outline(tmp_path):
    with Book.create(tmp_path / "b", farm="F", clock=clock()) as book:
        put_all(book)
        raw = book._raw
        raw.execute("PRAGMA foreign_keys = OFF")
        raw.execute("UPDATE job_asks SET product = 'ghost' WHERE position = 1")
        raw.execute("UPDATE fields SET frame_lon_deg = frame_lon_deg + 0.001")
        raw.execute("DELETE FROM gpkg_contents WHERE table_name = 'lots'")
        raw.execute("PRAGMA user_version = 1")
        found = [str(f) for f in book.check().faults]
    assert any("job_asks 'wheat-north, 1', product: names 'ghost', which is not in products" in f for f in found)
    assert any("fields 'north', geom: is not its outline in metres" in f for f in found)
    assert any("lots: is not listed in gpkg_contents" in f for f in found)
    assert any("user_version is 1" in f for f in found)
    assert len(found) == 4
