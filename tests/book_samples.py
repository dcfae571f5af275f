"""One of everything a book keeps, with every field filled, and a book of an older schema."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from book_things import (
    AT,
    BOUNDARY,
    CALL,
    CATCH,
    DELIVERY,
    FACTOR,
    FILL,
    FRAME,
    JOB,
    LATER,
    LOT,
    ORDER,
    OUTFIT,
    READING,
    TRUCK,
    UREA,
    WHEAT,
    trail,
)
from evenstand.book import (
    CardRemark,
    Farm,
    Handover,
    ImportedEntry,
    JobEvent,
    JobReading,
    Original,
    ProofRecord,
    Setting,
    StepState,
    TrailRecord,
    blobs,
)
from evenstand.book.geopackage import lay_out
from evenstand.book.making import engine_on
from evenstand.book.migrating import run_steps
from evenstand.book.opening import FILE
from evenstand.formats.parquet import trail_bytes
from evenstand.model import Event

ORIGINAL_BYTES = b"t,lon,lat\n1,2,3\n"
ORIGINAL_HASH = blobs.sha256_of(ORIGINAL_BYTES)
TRAIL_BYTES = trail_bytes(trail())
TRAIL_HASH = blobs.sha256_of(TRAIL_BYTES)

THINGS: tuple[Any, ...] = (
    Farm(name="Willow Bend", profile="prairie"),
    Setting(key="recipe:1", value='{"time": "t"}'),
    WHEAT,
    UREA,
    LOT,
    OUTFIT,
    FACTOR,
    CardRemark(outfit="big-drill", line="rate:B", yours="Tank 2 target", set_by="Kim", at=AT),
    BOUNDARY,
    JOB,
    ORDER,
    DELIVERY,
    TRUCK,
    FILL,
    JobReading(key="r-1", job="wheat-north", reading=READING, by="Kim", note="at the gate"),
    JobEvent(key="e-1", job="wheat-north", event=Event(at_s=12.5, bin="B", kind="low-light", value=150.0, sd=30.0), at=AT, by="Kim"),
    CATCH,
    CALL,
    StepState(key="catch:B", state="deferred", at=AT, until=LATER, by="Kim", note="after lunch"),
    ProofRecord(
        key="p-1", outfit="big-drill", item="width", value=16.256, low=16.2, high=16.31, text="two tapes", phase="as-delivered", at=AT,
        by="Kim", note="level yard",
    ),
    Handover(key="h-1", job="wheat-north", at=AT, by="Kim", note="wet spot at the gate"),
    Original(hash=ORIGINAL_HASH, name="log.csv", size_bytes=16, at=AT),
    TrailRecord(
        key="t-1", parquet_hash=TRAIL_HASH, frame=FRAME, name="log.csv", job="wheat-north", outfit="big-drill", at=AT, until=LATER,
        points=3, rows=5, kept=3, repaired=1, set_aside=1, original_hash=ORIGINAL_HASH, note="two passes",
    ),
    ImportedEntry(key="0a1b2c", kind="fill", source="code", at=AT),
)  # fmt: skip
"""In an order in which each names only what stands before it."""


def put_all(book: Any) -> None:
    """Put one of everything in, and the files they name."""
    blobs.store_blob(book.folder / blobs.ORIGINALS, ORIGINAL_BYTES)
    blobs.store_blob(book.folder / blobs.TRAILS, TRAIL_BYTES, suffix=".parquet")
    with book.batch("samples"):
        for thing in THINGS:
            book.put(thing)


def old_book(folder: Path, schema: int = 1) -> Path:
    """A small book as an older schema wrote it, filled with plain SQL."""
    folder.mkdir(parents=True, exist_ok=True)
    with closing(sqlite3.connect(folder / FILE, isolation_level=None, check_same_thread=False)) as raw:
        lay_out(raw)
        engine = engine_on(raw, write=True)
        with engine.begin() as connection:
            run_steps(connection, start=0, end=schema, at="2026-03-01T08:00:00.000Z")
        for statement in _old_rows():
            raw.execute(statement)
        engine.dispose()
    return folder


def _old_rows() -> Iterator[str]:
    yield "INSERT INTO farm (key, name, profile) VALUES ('farm', 'Old Place', 'us')"
    yield "INSERT INTO products (key, name, kind, crop, form) VALUES ('wheat', 'Wheat', 'seed', 'wheat', '')"
    yield (
        "INSERT INTO outfits (key, name, drive, speed_source, opener, rows, row_spacing_m, antenna_ahead_m, overlap_low, overlap_high) "
        "VALUES ('drill', 'Drill', 'motor', 'gnss', '', 39, 0.305, 0, 0.01, 0.04)"
    )
    yield (
        "INSERT INTO outfit_bins (outfit, position, letter, label, place, fill_share, meter_roller, meter_setting, has_scale) "
        "VALUES ('drill', 0, 'A', '', 'front', 0.95, '', '', 1)"
    )
    yield "INSERT INTO changes (at, who, why) VALUES ('2026-03-01T08:05:00.000Z', 'Kim', 'first fill')"
    yield (
        "INSERT INTO fills (key, outfit, bin, product, at, put_kg, put_sd_kg, how) "
        "VALUES ('f1', 'drill', 'A', 'wheat', '2026-03-01T08:05:00.000Z', 4000, 40, 'pads')"
    )
    after = {
        "key": "f1", "outfit": "drill", "bin": "A", "product": "wheat", "lot": None, "job": None, "at": "2026-03-01T08:05:00.000Z",
        "put_kg": 4000.0, "put_sd_kg": 40.0, "how": "pads", "area_ha": None, "level_before_kg": None, "level_before_sd_kg": None,
        "load": None,
    }  # fmt: skip
    yield (
        "INSERT INTO history (change, kind, key, table_name, row_key, field, before, after) "
        f"VALUES (1, 'Fill', 'f1', 'fills', '[\"f1\"]', '*', NULL, '{json.dumps(after)}')"
    )
