"""A bundle for the specialist: whole, read-only, held against its manifest; without names, none is left anywhere in it."""

from __future__ import annotations

import base64
import json
import re
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing
from dataclasses import replace
from io import BytesIO

import pytest
from starlette.testclient import TestClient

from book_samples import put_all
from book_things import BOUNDARY, CALL, CATCH, FRAME, JOB, OUTFIT, READING, clock, trail
from evenstand.base.errors import BookError, FileError, VersionError
from evenstand.base.estimate import Est
from evenstand.book import Book, CardRemark, Farm, Handover, ImportedEntry, JobReading, ProofRecord, Setting, StepState, TrailRecord
from evenstand.desk.demo import build_book
from evenstand.model import Boundary, Fill, Hazard, Job, Load, Order, Outfit, SetAside
from evenstand.web.site import create_app

SECRETS = (
    "Querida", "Oleander", "Zimri", "Tessellate", "306-555-0143", "NW-17-22-9", "SlowBrook", "quagmire", "Uncle", "Fennimore", "TK-88231",
    "zimri-seeder", "slowbrook", "home-of-fennimore", "secretlog", "Halcyon",
    "Marmalade",
)  # fmt: skip


def named_book(folder) -> None:
    """Names in every place where people put them, and in history where they were once and are no more."""
    with Book.create(folder, farm="Querida Oleander Farm", who="Zimri Tessellate", clock=clock()) as book:
        put_all(book)
        field = replace(
            BOUNDARY, key="home-of-fennimore", name="Home of Fennimore",
            hazards=(Hazard(kind="line", x_m=1.0, y_m=2.0, note="call Uncle Halcyon 306-555-0143"),),
        )  # fmt: skip
        book.put(field, why="Zimri drew it with Halcyon")
        outfit = replace(OUTFIT, key="zimri-seeder", name="SlowBrook seeder", pulse_m=Est(value=0.19, sd=0.01, source="told by Halcyon"))
        book.put(outfit)
        job = replace(
            JOB, key="wheat-home-of-fennimore", field_key=field.key, outfit=outfit.key, notes="ask Halcyon at 306-555-0143",
            extra={"legal land description": "NW-17-22-9", "land": "stubble"},
        )  # fmt: skip
        book.put(job)
        book.put(replace(job, extra={"legal land description": "", "land": "stubble"}, notes=""), why="quagmire near SlowBrook")
        book.put(JobReading(key="wheat-home-of-fennimore-r", job=job.key, reading=READING, by="Tessellate", note="Halcyon read it"))
        book.put(replace(CATCH, key="zimri-seeder-c", outfit=outfit.key, by="Zimri", note="with Uncle"))
        book.put(
            replace(CALL, key="zimri-call", caller="Fennimore 306-555-0143", asked="Uncle asks", advice="tell Halcyon", note="quagmire")
        )
        book.put(CardRemark(outfit=outfit.key, line="rate:B", yours="what Zimri calls it", set_by="Zimri Tessellate"))
        book.put(Order(key="wheat-marmalade", product="wheat", quantity_kg=9e4, supplier="Marmalade Supply", note="ask Halcyon"))
        book.put(
            Load(
                order="wheat-marmalade",
                job=job.key,
                note="Marmalade Supply brought it",
                key="l-fennimore",
                kind="delivery",
                product="wheat",
                mass_kg=900.0,
                sd_kg=9.0,
                ticket="TK-88231",
                from_key="Oleander yard",
                to_key="Uncle",
            )
        )
        book.put(
            ProofRecord(key="p-zimri", outfit=outfit.key, item="width", value=16.2, by="Zimri", text="Halcyon's tape", note="quagmire")
        )
        book.put(Handover(key="h-zimri", job=job.key, by="Tessellate", note="306-555-0143"))
        book.put(StepState(key="catch:wheat-home-of-fennimore:B", state="open", by="Zimri", note="ask Uncle"))
        book.put(ImportedEntry(key="ab", kind="fill", source="Halcyon-phone.txt"))
        book.put(Setting(key="contact", value="306-555-0143"))
        spoken = replace(
            trail(), rows=trail().rows - 1, notes=("driven by Halcyon",), set_aside=(SetAside(line=4, reason="no fix", text="Halcyon,1,2"),)
        )
        book.put_trail(
            spoken, key="fennimore-day", job=job.key, outfit=outfit.key, name="secretlog-Zimri.csv", original=b"operator\nHalcyon\n"
        )
        book.put(Farm(name="Oleander and Daughters", profile="si"))


def everything_in(path) -> str:
    """All bytes of all files of a bundle, their names, and what stands in Parquet and base64, as one text."""
    from evenstand.formats.parquet import trail_of

    texts = []
    with zipfile.ZipFile(path) as archive:
        for entry in archive.infolist():
            data = archive.read(entry)
            texts += [entry.filename, data.decode("latin-1"), data.decode("utf-16-le", errors="ignore")]
            texts += [base64.b64decode(m).decode("latin-1") for m in re.findall(rb'"base64": "([A-Za-z0-9+/=]+)"', data)]
            if entry.filename.endswith(".parquet"):
                made = trail_of(data, entry.filename)
                texts.append(repr((made.notes, made.set_aside, made.repaired, made.extra, made.file_hash, made.frame)))
    return "\n".join(texts).lower()


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bundle") / "book"
    named_book(folder)
    return folder


def test_without_names_none_of_them_is_left_anywhere_in_the_file(book, tmp_path):
    with Book.open(book) as opened:
        opened.write_bundle(tmp_path / "full.zip", originals=True)
        opened.write_bundle(tmp_path / "bare.zip", without_names=True)
    full, bare = everything_in(tmp_path / "full.zip"), everything_in(tmp_path / "bare.zip")
    there = [s for s in SECRETS if s.lower() in full]
    assert there == list(SECRETS)  # so that the search is known to find them
    assert [s for s in SECRETS if s.lower() in bare] == []


def test_without_names_the_book_still_hangs_together_and_says_the_same_of_the_machine(book, tmp_path):
    with Book.open(book) as opened:
        opened.write_bundle(tmp_path / "bare.zip", without_names=True)
        rates = sorted((j.crop, a.product, a.rate_kg_ha) for j in opened.all(Job) for a in j.asks)
        masses, entries = sorted(f.put_kg for f in opened.all(Fill)), len(opened.history())
        area = {b.area_m2 for b in opened.all(Boundary)}
        points = opened.trail("fennimore-day").n
    with Book.open(tmp_path / "bare.zip") as bare:
        assert bare.check().ok, bare.check().faults
        assert sorted((j.crop, a.product, a.rate_kg_ha) for j in bare.all(Job) for a in j.asks) == rates
        assert sorted(f.put_kg for f in bare.all(Fill)) == masses
        assert {b.area_m2 for b in bare.all(Boundary)} == area
        assert {o.rows for o in bare.all(Outfit)} == {OUTFIT.rows}
        jobs = {j.key for j in bare.all(Job)}
        assert {r.job for r in bare.all(JobReading)} <= jobs
        assert {t.job for t in bare.all(TrailRecord)} <= jobs
        assert [bare.trail(t.key).n for t in bare.all(TrailRecord) if t.job == "job-2"] == [points]
        (delivery,) = [x for x in bare.all(Load) if x.mass_kg == 900.0]
        (order,) = [x for x in bare.all(Order) if x.quantity_kg == 9e4]
        assert delivery.order == order.key and delivery.job in jobs
        assert order.supplier.startswith("supplier ") and (order.note, delivery.note) == ("", "")
        people = {e.who for e in bare.history()}
        assert people and all(re.fullmatch(r"person \d+", who) for who in people)
        assert len(bare.history()) == entries - 1  # the setting that was no recipe


def test_without_names_fields_are_moved_and_keep_their_shape(book, tmp_path):
    with Book.open(book) as opened:
        opened.write_bundle(tmp_path / "bare.zip", without_names=True)
        before = opened.all(Boundary)[0]
    with Book.open(tmp_path / "bare.zip") as bare:
        after = next(b for b in bare.all(Boundary) if b.area_m2 == before.area_m2)
        frames = [bare.trail(t.key).frame.lon_deg for t in bare.all(TrailRecord)]
    assert before.frame.lon_deg == FRAME.lon_deg
    assert abs(after.frame.lon_deg) < 1e-9
    assert max(map(abs, frames)) < 1e-9
    assert after.polygons == before.polygons


def test_a_bundle_opens_read_only_on_the_command_line_and_as_a_site(book, tmp_path):
    with Book.open(book) as opened:
        opened.write_bundle(tmp_path / "b.zip")
    with pytest.raises(BookError, match="bundle: it opens for reading only"):
        Book.open(tmp_path / "b.zip", write=True)
    ran = subprocess.run(
        [sys.executable, "-m", "evenstand", "book", "show", str(tmp_path / "b.zip")], capture_output=True, text=True, timeout=60
    )
    assert ran.returncode == 0, ran.stderr
    assert "for reading only" in ran.stdout
    build_book(tmp_path / "demo")
    with Book.open(tmp_path / "demo") as opened:
        opened.write_bundle(tmp_path / "b.zip", without_names=True)
    before = (tmp_path / "b.zip").read_bytes()
    with TestClient(create_app(tmp_path / "b.zip", clock=clock()), base_url="http://127.0.0.1") as client:
        for page in ("/", "/before", "/machine", "/shed", "/proof/history", "/after"):
            answer = client.get(page)
            assert answer.status_code == 200, page
            assert "for reading only" in answer.text
        refused = client.post("/units", data={"units": "us", "back": "/"})
        assert refused.status_code == 422
        assert "open for reading only" in refused.text
    assert (tmp_path / "b.zip").read_bytes() == before


def test_originals_go_along_only_when_asked_for_and_never_without_names(book, tmp_path):
    with Book.open(book) as opened:
        opened.write_bundle(tmp_path / "plain.zip")
        opened.write_bundle(tmp_path / "whole.zip", originals=True)
        with pytest.raises(BookError, match="cannot be cleared of names"):
            opened.write_bundle(tmp_path / "both.zip", originals=True, without_names=True)
    names = {p: zipfile.ZipFile(tmp_path / f"{p}.zip").namelist() for p in ("plain", "whole")}
    assert not any(n.startswith("originals/") for n in names["plain"])
    assert sum(n.startswith("originals/") for n in names["whole"]) == 2
    for name in names:
        with Book.open(tmp_path / f"{name}.zip") as opened:
            assert opened.check().ok


def changed(path, target, change) -> None:
    """A bundle with one entry changed."""
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(target, "w") as new:
        for entry in old.infolist():
            data = change(entry.filename, old.read(entry))
            if data is not None:
                new.writestr(entry.filename, data)


def test_a_bundle_that_is_not_what_it_says_is_refused(book, tmp_path):
    with Book.open(book) as opened:
        opened.write_bundle(tmp_path / "b.zip")
    changed(tmp_path / "b.zip", tmp_path / "touched.zip", lambda n, d: d[:-1] + b"\0" if n.endswith(".parquet") else d)
    with pytest.raises(BookError, match="is not what the manifest says"):
        Book.open(tmp_path / "touched.zip")
    changed(tmp_path / "b.zip", tmp_path / "less.zip", lambda n, d: None if n == "book.gpkg" else d)
    with pytest.raises(BookError, match="is missing"):
        Book.open(tmp_path / "less.zip")

    def newer(name, data):
        return json.dumps({**json.loads(data), "version": 99}).encode() if name == "manifest.json" else data

    changed(tmp_path / "b.zip", tmp_path / "newer.zip", newer)
    with pytest.raises(VersionError, match="newer release"):
        Book.open(tmp_path / "newer.zip")
    other = BytesIO()
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("holiday.txt", "sun")
    (tmp_path / "other.zip").write_bytes(other.getvalue())
    with pytest.raises(BookError, match="no bundle of a book"):
        Book.open(tmp_path / "other.zip")
    with zipfile.ZipFile(tmp_path / "out.zip", "w") as archive:
        archive.writestr("../book.gpkg", b"x")
    with pytest.raises(FileError, match="leads out"):
        Book.open(tmp_path / "out.zip")
    (tmp_path / "cut.zip").write_bytes((tmp_path / "b.zip").read_bytes()[:500])
    with pytest.raises(FileError, match="damaged"):
        Book.open(tmp_path / "cut.zip")


def test_the_book_itself_is_not_touched_and_a_bundle_that_cannot_be_written_is_told(book, tmp_path):
    before = (book / "book.gpkg").read_bytes()
    with Book.open(book) as opened:
        opened.write_bundle(tmp_path / "b.zip", without_names=True)
        with pytest.raises(BookError, match="cannot be written"):
            opened.write_bundle(tmp_path / "nowhere" / "b.zip")
        with pytest.raises(BookError, match="is a folder"):
            opened.write_bundle(tmp_path)
    assert (book / "book.gpkg").read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["b.zip"]


def test_a_bundle_of_the_same_book_at_the_same_time_is_the_same_file(book, tmp_path):
    with Book.open(book, clock=clock()) as opened:
        for name in ("one", "two"):
            opened.write_bundle(tmp_path / f"{name}.zip", without_names=True)
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


def test_no_free_page_of_the_copy_holds_what_was_replaced(book, tmp_path):
    with Book.open(book) as opened:
        opened.write_bundle(tmp_path / "bare.zip", without_names=True)
    with zipfile.ZipFile(tmp_path / "bare.zip") as archive:
        archive.extract("book.gpkg", tmp_path)
    with closing(sqlite3.connect(tmp_path / "book.gpkg")) as raw:
        assert raw.execute("PRAGMA freelist_count").fetchone() == (0,)
        assert raw.execute("SELECT count(*) FROM derived").fetchone() == (0,)
