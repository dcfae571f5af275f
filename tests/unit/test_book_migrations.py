"""A book of an older schema is brought forward with a copy kept; one of a newer release is refused; nothing is half done."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import replace

import pytest

from book_samples import THINGS, old_book
from book_things import CALL, OUTFIT, clock
from evenstand.base.errors import InputError, LockedError, VersionError
from evenstand.book import Book, CallNote, ProofRecord, key_of
from evenstand.book import tables as book_tables
from evenstand.model import Bin, Fill, Load, Order, Outfit, Product


def columns(raw: sqlite3.Connection) -> dict[str, set[tuple[object, ...]]]:
    """Name, type, not null and key of each column, and what it refers to, by table."""
    names = [r[0] for r in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'") if not r[0].startswith("sqlite_")]
    found: dict[str, set[tuple[object, ...]]] = {}
    for name in names:
        found[name] = {row[1:4] + row[5:] for row in raw.execute(f'PRAGMA table_info("{name}")')}
        found[name] |= {("refers", *row[2:]) for row in raw.execute(f'PRAGMA foreign_key_list("{name}")')}
        for _, index, unique, *_ in raw.execute(f'PRAGMA index_list("{name}")'):
            found[name].add(("index", unique, tuple(r[2] for r in raw.execute(f'PRAGMA index_info("{index}")'))))
    return found


def test_a_book_brought_forward_has_the_tables_of_a_new_one(tmp_path):
    old_book(tmp_path / "old")
    Book.open(tmp_path / "old", write=True, clock=clock()).close()
    Book.create(tmp_path / "new", farm="F", clock=clock()).close()
    with closing(sqlite3.connect(tmp_path / "old" / "book.gpkg")) as old, closing(sqlite3.connect(tmp_path / "new" / "book.gpkg")) as new:
        assert columns(old) == columns(new)
        listed = "SELECT table_name, data_type, description, srs_id FROM gpkg_contents ORDER BY table_name"
        assert old.execute(listed).fetchall() == new.execute(listed).fetchall()
        deferred = "SELECT count(*) FROM sqlite_master WHERE sql LIKE '%DEFERRABLE INITIALLY DEFERRED%'"
        assert old.execute(deferred).fetchone() == new.execute(deferred).fetchone()


def test_schema_one_lacks_what_schema_two_brought(tmp_path):
    """So that the migration is known to do something."""
    old_book(tmp_path / "old")
    with closing(sqlite3.connect(tmp_path / "old" / "book.gpkg")) as raw:
        found = columns(raw)
    assert set(book_tables.metadata.tables) - set(found) == {
        "card_remarks",
        "call_notes",
        "call_readings",
        "call_reading_sources",
        "call_causes",
        "outfit_pulses",
        "proofs",
        "handovers",
        "orders",
    }
    assert "low_light_at_ha" not in {c[0] for c in found["fills"]}


@pytest.mark.parametrize("write", [True, False])
def test_an_older_book_keeps_its_content_and_takes_new_things(tmp_path, write):
    old_book(tmp_path / "old")
    with Book.open(tmp_path / "old", write=write, clock=clock()) as book:
        assert (book.farm, book.profile) == ("Old Place", "us")
        assert book.all(Product) == (Product(key="wheat", name="Wheat", kind="seed", crop="wheat"),)
        assert book.get(Outfit, "drill").bins == (Bin(letter="A", position="front", has_scale=True),)
        assert book.get(Outfit, "drill").fan_turns_s is None
        assert book.get(Fill, "f1").low_light_at_ha is None
        assert book.check().ok
        schemas = book.dump()["book_schema"]
    assert [row[1] for row in schemas] == [1, 2, 3, 4, 5]
    with Book.open(tmp_path / "old", write=True, clock=clock()) as book:
        for thing in THINGS:
            if type(thing).__name__ not in {"Farm", "Original", "TrailRecord"}:
                book.put(thing)
                assert book.get(type(thing), key_of(thing)) == thing
        assert book.get(CallNote, "call-1") == CALL
        assert book.get(Outfit, "big-drill") == OUTFIT
        assert book.check().ok


def test_an_old_change_can_be_undone_after_the_table_got_new_columns(tmp_path):
    old_book(tmp_path / "old")
    with Book.open(tmp_path / "old", write=True, clock=clock()) as book:
        back = book.undo(1)
        assert book.all(Fill) == ()
        book.undo(back)
        assert book.get(Fill, "f1").put_kg == 4000.0


def test_a_copy_of_the_older_book_is_kept(tmp_path):
    old_book(tmp_path / "old")
    as_it_was = (tmp_path / "old" / "book.gpkg").read_bytes()
    Book.open(tmp_path / "old", clock=clock()).close()
    (kept,) = (tmp_path / "old" / "kept").iterdir()
    assert kept.name == "book-schema-1-2027-05-04T120000Z.gpkg"
    assert kept.read_bytes() == as_it_was
    Book.open(tmp_path / "old", write=True, clock=clock()).close()
    assert len(list((tmp_path / "old" / "kept").iterdir())) == 1


def test_a_migration_that_fails_leaves_the_book_as_it_was(tmp_path, monkeypatch):
    from evenstand.book.migrations import schema_0002

    old_book(tmp_path / "old")
    as_it_was = (tmp_path / "old" / "book.gpkg").read_bytes()
    real = schema_0002.upgrade

    def stops(operations, at):
        real(operations, at)
        raise RuntimeError("the power went")

    monkeypatch.setattr(schema_0002, "upgrade", stops)
    with pytest.raises(RuntimeError, match="the power went"):
        Book.open(tmp_path / "old", write=True, clock=clock())
    assert (tmp_path / "old" / "book.gpkg").read_bytes() == as_it_was
    monkeypatch.undo()
    with Book.open(tmp_path / "old", write=True, clock=clock()) as book:
        assert book.farm == "Old Place"


@pytest.mark.parametrize("write", [True, False])
def test_a_book_of_a_newer_release_is_refused_and_unchanged(tmp_path, write):
    Book.create(tmp_path / "b", farm="F", clock=clock()).close()
    with closing(sqlite3.connect(tmp_path / "b" / "book.gpkg")) as raw:
        raw.execute("INSERT INTO book_schema (schema, at, release) VALUES (99, '2031-01-01T00:00:00.000Z', '7.0')")
        raw.commit()
    as_it_was = (tmp_path / "b" / "book.gpkg").read_bytes()
    with pytest.raises(VersionError, match=r"newer release, 7.0 \(schema 99; this release knows 5\).*Install that release") as caught:
        Book.open(tmp_path / "b", write=write, clock=clock())
    assert caught.value.exit_code == 2
    assert (tmp_path / "b" / "book.gpkg").read_bytes() == as_it_was
    assert not (tmp_path / "b" / ".lock.json").exists()


def test_an_older_book_that_somebody_writes_is_not_migrated_under_them(tmp_path):
    from evenstand.book.locking import WriterLock

    old_book(tmp_path / "old")
    held = WriterLock(tmp_path / "old", who="Robin", at="2027-05-04T09:00:00.000Z")
    held.acquire()
    try:
        with pytest.raises(LockedError, match="Robin"):
            Book.open(tmp_path / "old", clock=clock())
    finally:
        held.release()


def test_alembic_is_imported_only_to_migrate(tmp_path):
    code = (
        "import sys; from evenstand.book import Book\n"
        "with Book.create(sys.argv[1], farm='F') as b: b.put_original(b'x', name='n')\n"
        "Book.open(sys.argv[1]).close(); assert 'alembic' not in sys.modules; print('clean')"
    )
    ran = subprocess.run([sys.executable, "-c", code, str(tmp_path / "b")], capture_output=True, text=True)
    assert ran.stdout.strip() == "clean", ran.stderr


def test_the_gdal_validator_accepts_a_book_brought_forward(tmp_path):
    from test_book_geopackage import validated

    old_book(tmp_path / "old")
    Book.open(tmp_path / "old", write=True, clock=clock()).close()
    assert validated(tmp_path / "old" / "book.gpkg") == ""


def test_a_book_of_schema_two_is_brought_forward_and_what_it_never_knew_stays_unknown(tmp_path):
    old_book(tmp_path / "old", schema=2)
    with Book.open(tmp_path / "old", write=True, clock=clock()) as book:
        drill = book.get(Outfit, "drill")
        assert drill.fan_proof.crop == "" and drill.fan_proof.temperature_c is None
        assert drill.flag.on_m is None and drill.pulses == () and drill.stand_in_m_s is None
        assert drill.bins[0].meter.flutes is None
        book.put(OUTFIT)
        assert book.get(Outfit, "big-drill").pulses == OUTFIT.pulses
        assert book.check().ok
        assert [row[1] for row in book.dump()["book_schema"]] == [1, 2, 3, 4, 5]


def test_a_book_of_schema_four_keeps_its_loads_and_takes_orders(tmp_path):
    old_book(tmp_path / "old", schema=4)
    with closing(sqlite3.connect(tmp_path / "old" / "book.gpkg", isolation_level=None)) as raw:
        raw.execute(
            "INSERT INTO loads (key, kind, product, mass_kg, sd_kg, how, from_key, to_key, ticket, at) "
            "VALUES ('del', 'delivery', 'wheat', 20000, 40, 'truck-scale', '', 'yard', '11', '2026-03-01T07:00:00.000Z')"
        )
        raw.execute(
            "INSERT INTO proofs (key, outfit, item, value, text, phase, by, note) VALUES ('p', 'drill', 'width', 11.9, '', 'as-found', '', '')"
        )
    with Book.open(tmp_path / "old", write=True, clock=clock()) as book:
        load = book.get(Load, "del")
        assert load == Load(
            key="del", kind="delivery", product="wheat", mass_kg=20000.0, sd_kg=40.0, how="truck-scale", to_key="yard", ticket="11",
            at="2026-03-01T07:00:00.000Z",
        )  # fmt: skip
        assert (load.order, load.job, load.share, load.share_sd, load.note) == ("", "", None, None, "")
        assert book.get(ProofRecord, "p").value == 11.9
        assert book.all(Order) == ()
        order = Order(key="o", product="wheat", quantity_kg=50_000.0, wanted_by="2026-04-20")
        book.put(order)
        change = book.put(replace(load, order="o", share=0.5, share_sd=0.1))
        assert book.get(Load, "del").order == "o"
        assert {e.field for e in book.history(Load, "del")} == {"order", "share", "share_sd"}
        book.undo(change)
        assert book.get(Load, "del") == load
        assert book.get(Order, "o") == order
        assert book.check().ok
        assert [row[1] for row in book.dump()["book_schema"]] == [1, 2, 3, 4, 5]


def test_a_delivery_that_names_no_order_of_the_book_is_refused(tmp_path):
    with Book.create(tmp_path / "b", farm="F", clock=clock()) as book:
        book.put(Product(key="wheat", name="Wheat", kind="seed"))
        with pytest.raises(InputError, match="'nowhere', which is not in orders"):
            book.put(Load(key="d", kind="delivery", product="wheat", mass_kg=1.0, order="nowhere"))
        assert book.all(Load) == ()
