"""Bundles from strangers, and bundles that go to one: nothing harmful gets in, no name gets out, numbers stay, the answer comes back."""

from __future__ import annotations

import hashlib
import json
import random
import re
import sqlite3
import zipfile
from dataclasses import replace

import pytest
from click.testing import CliRunner
from test_bundle import everything_in

from evenstand.base.clock import FixedClock
from evenstand.base.errors import BookError, EvenstandError, FileError, VersionError
from evenstand.book import Book, CallNote, Farm, Handover, ProofRecord
from evenstand.cli.call import command as call
from evenstand.desk.checking import check_job
from evenstand.desk.demo import JOB, MORNING, build_book
from evenstand.desk.loads import shed
from evenstand.desk.ordering import add_order
from evenstand.desk.shifts import hand_over
from evenstand.model import Boundary, Fill, Job, Load, Lot, Order, Outfit


def clock() -> FixedClock:
    made = FixedClock(MORNING)
    made.advance(hours=10)
    return made


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    folder = tmp_path_factory.mktemp("strangers") / "book"
    build_book(folder)
    with Book.open(folder, write=True, who="Wilhelmina Quist", clock=clock()) as opened:
        opened.put(Farm(name="Quist Brothers Farming", profile="si"))
        field = opened.get(Boundary, "home")
        opened.put(replace(field, name="Widow Harrigan quarter"), why="as everybody calls it, says Harrigan")
        opened.put(replace(opened.get(Load, "ticket-4107"), ticket="ZX-99107", note="driver was Thaddeus"))
        opened.put(replace(opened.get(Lot, "wheat-1"), label="Brandenquist bin seven"))
        hand_over(opened, JOB, note="mind the culvert at Abernathy", by="Oswin Trelawney", clock=clock())
        add_order(opened, product="urea", quantity_kg=30_000, supplier="Moosehaven Co-op", note="ask for Ludmila", clock=clock())
        opened.put(
            CallNote(
                key="call-1",
                at="2027-05-09T21:00",
                caller="Ignatius",
                job=JOB,
                asked="Ignatius says",
                advice="tell Ludmila",
                note="x Ignatius",
            )
        )
        opened.put(ProofRecord(key="proof-1", outfit="A", item="width", value=16.27, by="Ottoline", note="with Thaddeus"))
    return folder


@pytest.fixture(scope="module")
def bundles(book, tmp_path_factory):
    folder = tmp_path_factory.mktemp("bundles")
    with Book.open(book) as opened:
        opened.write_bundle(folder / "full.zip")
        opened.write_bundle(folder / "bare.zip", without_names=True)
    return folder


# what goes out ----------------------------------------------------------------------------------------------------------
def names_in(opened: Book) -> set[str]:
    """Everything in a book that names somebody or something of the farm."""
    texts = [opened.farm, *(b.name for b in opened.all(Boundary)), *(o.name for o in opened.all(Outfit))]
    texts += [x.label for x in opened.all(Lot)] + [x.ticket for x in opened.all(Load)] + [x.note for x in opened.all(Load)]
    texts += [o.supplier for o in opened.all(Order)] + [o.note for o in opened.all(Order)] + [j.notes for j in opened.all(Job)]
    texts += [t for c in opened.all(CallNote) for t in (c.caller, c.asked, c.advice, c.note)]
    texts += [t for h in opened.all(Handover) for t in (h.by, h.note)] + [t for p in opened.all(ProofRecord) for t in (p.by, p.note)]
    texts += [e.who for e in opened.history()]
    texts += [h.note for b in opened.all(Boundary) for h in b.hazards]
    people = {w for t in texts for w in re.findall(r"\b[A-Z][a-z]{6,}\b", t)}
    return {t for t in texts if len(t) >= 6} | people


ORDINARY = {"Outfit", "Overhead", "Invented", "Culvert"}  # kinds of hazards and words of the demo farm


def test_no_name_of_the_book_is_in_any_byte_of_a_bundle_without_names(book, bundles):
    with Book.open(book) as opened:
        names = {n for n in names_in(opened) if n not in ORDINARY}
    own = {"Quist Brothers Farming", "Widow Harrigan quarter", "ZX-99107", "Brandenquist bin seven", "Moosehaven Co-op", "Oswin Trelawney"}
    assert own <= names
    full, bare = everything_in(bundles / "full.zip"), everything_in(bundles / "bare.zip")
    assert all(n.lower() in full for n in own)  # so that the search is known to find them
    for person in (
        "harrigan",
        "quist",
        "trelawney",
        "ludmila",
        "ignatius",
        "thaddeus",
        "ottoline",
        "abernathy",
        "moosehaven",
        "wilhelmina",
    ):
        assert person not in bare, person
    told = {"demo farm (invented)", "demo"}  # words of our own that stand in the program as well
    left = {n for n in names if n.lower() in bare and n.lower() not in told}
    assert left <= {n for n in left if _is_ours(n)}, left


def _is_ours(name: str) -> bool:
    """Words that the program itself writes, whatever the farm is called."""
    return name.lower() in {"demonstration", "command", "fertilizer", "delivery"}


# what the specialist reads ----------------------------------------------------------------------------------------------
def numbers(opened: Book, job: str) -> list[tuple[str, object]]:
    found = [(f.state, tuple(f.suspects), None if f.size is None else round(f.size.value, 9)) for f in check_job(opened, job)]
    masses = [(p.key, [round(x.span.value_kg, 3) for x in (*p.stock, *p.fields)], p.owed_kg) for p in shed(opened, profile="si").products]
    return [("check", found), ("shed", masses)]


def test_the_specialist_reads_the_same_numbers_out_of_either_bundle(book, bundles):
    with Book.open(book) as opened:
        here = {j.key: numbers(opened, j.key) for j in opened.all(Job)}
        crops = {j.key: (j.crop, j.area_ha, tuple(a.rate_kg_ha for a in j.asks)) for j in opened.all(Job)}
    with Book.open(bundles / "full.zip") as there:
        assert {j.key: numbers(there, j.key) for j in there.all(Job)} == here
    with Book.open(bundles / "bare.zip") as bare:
        same = {
            key: next(j.key for j in bare.all(Job) if (j.crop, j.area_ha, tuple(a.rate_kg_ha for a in j.asks)) == what)
            for key, what in crops.items()
        }
        assert {key: numbers(bare, same[key]) for key in crops} == here


def test_the_specialists_answer_comes_back_as_a_kept_call(book, bundles, tmp_path):
    import shutil

    shutil.copytree(book, tmp_path / "farm")
    with Book.open(bundles / "bare.zip") as bare:
        worst = [f for j in bare.all(Job) for f in check_job(bare, j.key) if f.state in ("does-not-hold", "doubtful")]
    note = "; ".join(f.claim for f in worst) or "all that can be told holds"
    answer = tmp_path / "answer.json"
    ran = CliRunner().invoke(call, ["--caller", "support desk", "--note", note, "--keep", str(answer)], standalone_mode=False)
    assert ran.exception is None and answer.exists()
    ran = CliRunner().invoke(call, ["--attach", str(answer), "--book", str(tmp_path / "farm"), "--job", JOB], standalone_mode=False)
    assert ran.exception is None
    with Book.open(tmp_path / "farm") as opened:
        kept = next(c for c in opened.all(CallNote) if c.caller == "support desk")
        assert kept.note == note and kept.job == JOB
        assert opened.history()[0].kind == "CallNote" or any(e.kind == "CallNote" for e in opened.history())


# what comes in ----------------------------------------------------------------------------------------------------------
def rewritten(path, target, change) -> None:
    """A bundle with its book changed, and a manifest that agrees with it: only the content is wrong."""
    with zipfile.ZipFile(path) as old:
        files = {e.filename: old.read(e) for e in old.infolist()}
    files["book.gpkg"] = change(files["book.gpkg"])
    manifest = json.loads(files["manifest.json"])
    for entry in manifest["files"]:
        data = files[entry["name"]]
        entry["bytes"], entry["sha256"] = len(data), hashlib.sha256(data).hexdigest()
    files["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(target, "w") as new:
        for name, data in files.items():
            new.writestr(name, data)


def in_sql(tmp_path, *statements):
    def change(data: bytes) -> bytes:
        path = tmp_path / "work.gpkg"
        path.write_bytes(data)
        db = sqlite3.connect(path)
        for sql in statements:
            db.execute(sql)
        db.commit()
        db.close()
        return path.read_bytes()

    return change


def test_a_book_inside_that_is_no_book_is_refused_in_words(bundles, tmp_path):
    for name, content in (("noise", b"SQLite format 3\0" + bytes(range(256)) * 20), ("empty", b""), ("text", b"hello")):
        rewritten(bundles / "full.zip", tmp_path / f"{name}.zip", lambda _, content=content: content)
        with pytest.raises(EvenstandError) as caught:
            Book.open(tmp_path / f"{name}.zip")
        assert caught.value.faults[0].what


def test_a_book_of_another_schema_inside_is_refused_or_read_but_never_changed(bundles, tmp_path):
    rewritten(bundles / "full.zip", tmp_path / "newer.zip", in_sql(tmp_path, 'UPDATE book_schema SET "schema" = 999'))
    before = (tmp_path / "newer.zip").read_bytes()
    with pytest.raises((VersionError, BookError), match=r"newer|999|release"):
        Book.open(tmp_path / "newer.zip")
    assert (tmp_path / "newer.zip").read_bytes() == before
    rewritten(bundles / "full.zip", tmp_path / "torn.zip", in_sql(tmp_path, "DROP TABLE fills"))
    with pytest.raises(EvenstandError):
        with Book.open(tmp_path / "torn.zip") as opened:
            opened.all(Fill)


def test_triggers_and_views_that_somebody_put_in_do_nothing(bundles, tmp_path):
    trick = "CREATE TRIGGER evil AFTER INSERT ON history BEGIN DELETE FROM jobs; END"
    rewritten(bundles / "full.zip", tmp_path / "trick.zip", in_sql(tmp_path, trick, "CREATE VIEW rest AS SELECT * FROM jobs"))
    with Book.open(tmp_path / "trick.zip") as opened:
        assert len(opened.all(Job)) == 5
        with pytest.raises(EvenstandError):
            opened.put(Farm(name="x", profile="si"))
        assert len(opened.all(Job)) == 5


def test_zip_tricks_are_refused(bundles, tmp_path):
    def archive(name, *entries):
        with zipfile.ZipFile(tmp_path / name, "w", zipfile.ZIP_DEFLATED) as made:
            for entry, data in entries:
                made.writestr(entry, data)
        return tmp_path / name

    link = zipfile.ZipInfo("book.gpkg")
    link.external_attr = 0o120777 << 16
    for path in (
        archive("absolute.zip", ("/etc/evil", b"x")),
        archive("drive.zip", ("C:/evil", b"x")),
        archive("back.zip", ("..\\evil", b"x")),
        archive("link.zip", (link, b"/etc/passwd")),
        archive("many.zip", *((f"trails/{n}.parquet", b"") for n in range(1200))),
    ):
        with pytest.raises(FileError):
            Book.open(path)
    big = tmp_path / "big.zip"
    with zipfile.ZipFile(big, "w", zipfile.ZIP_DEFLATED) as made, made.open("book.gpkg", "w", force_zip64=True) as sink:
        for _ in range(600):
            sink.write(bytes(1 << 20))
    with pytest.raises(FileError, match="unpacks to"):
        Book.open(big)


def test_a_bundle_cut_or_flipped_anywhere_is_refused_and_never_half_read(bundles, tmp_path):
    whole = (bundles / "full.zip").read_bytes()
    dice = random.Random(5)
    for n in range(25):
        data = bytearray(whole)
        if n % 2:
            data = data[: dice.randrange(4, len(whole))]
        else:
            for _ in range(3):
                data[dice.randrange(60, len(whole))] ^= 1 << dice.randrange(8)
        path = tmp_path / "cut.zip"
        path.write_bytes(bytes(data))
        assert what_opening_says(path) in ("whole", "refused"), n


def what_opening_says(path) -> str:
    """ "whole": all of it is there; "refused": in words; never half of it, never a bare error."""
    try:
        with Book.open(path) as opened:
            return "whole" if len(opened.all(Job)) == 5 else "half"
    except EvenstandError as error:
        return "refused" if error.faults[0].what else "wordless"
