"""Mutated files: every reader answers with a trail or with one of our errors, and soon; nothing else ever comes out.

`EVENSTAND_FUZZ` sets how many mutations a reader gets (400 by default; `make stress` runs 20,000).
"""

from __future__ import annotations

import os
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from tests.made_trails import log_lines
from tests.unit.test_nmea import moments
from tests.unit.test_task_data import HEADER, write_set

from evenstand.base.errors import EvenstandError
from evenstand.model import Trail
from evenstand.trail import read_trail

ROUNDS = int(os.environ.get("EVENSTAND_FUZZ", "400"))
pytestmark = pytest.mark.timeout(300 + ROUNDS // 5)
WORDS = (b"", b"\0", b"\xff\xfe", b"-1", b"1e309", b"nan", b"65535", b"99999999999999999999", b"<!DOCTYPE a>", b"&a;", b'"', b"'", b",,,,", b"\r", b"\n",
         b"=1+1", b"../../x", b"4294967295", b"\xc3", b"0" * 400, b"*00", b"$")  # fmt: skip


def mutated(data: bytes, rng: random.Random) -> bytes:
    """A file with one to four changes: bytes flipped, pieces cut, doubled, moved, or replaced by hostile words."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        a = rng.randrange(len(out) + 1)
        b = min(len(out), a + rng.choice((1, 1, 2, 4, 8, 40, 400)))
        kind = rng.randrange(6)
        if kind == 0 and a < len(out):
            out[a] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del out[a:b]
        elif kind == 2:
            out[a:a] = out[a:b]
        elif kind == 3:
            out[a:b] = rng.choice(WORDS)
        elif kind == 4:
            del out[a:]
        else:
            c = rng.randrange(len(out) + 1)
            out[c:c] = out[a:b]
    return bytes(out)


def hold(path: Path, **options: object) -> bool:
    """Read, and say whether a trail came out; any error but ours fails the test."""
    try:
        trail = read_trail(path, **options)  # type: ignore[arg-type]
    except EvenstandError:
        return False
    assert isinstance(trail, Trail)
    assert trail.kept + len(trail.repaired) + len(trail.set_aside) == trail.rows
    assert np.isfinite(trail.xy_m).all()
    return True


def driven(n: int) -> bytes:
    """A time log of a machine that moves north, its rate changing now and then."""
    from evenstand.formats.iso11783.markup import parse
    from evenstand.formats.iso11783.timelog import LogRecords, encode, read_header

    header = read_header(parse(HEADER, "h"), "h")
    row = np.arange(0, n, 3)
    position = {"A": 50.0 + np.arange(n) * 2e-5, "B": np.full(n, -105.0), "D": np.full(n, 4.0)}
    time = 1_747_731_600_000 + np.arange(n, dtype=np.int64) * 1000
    log = LogRecords(header=header, time_ms=time, position=position, value_row=row, value_index=row * 0, value=6700 + row, left_over=0)
    return encode(header, log)


def run(data: bytes, place: Callable[[bytes], Path], seed: int, *, least: int = 1, **options: object) -> None:
    rng = random.Random(seed)
    read = sum(hold(place(mutated(data, rng)), **options) for _ in range(ROUNDS))
    assert hold(place(data), **options)
    assert least <= read < ROUNDS


def test_delimited_text(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    run("\n".join(log_lines(40)).encode() + b"\n", lambda data: (path.write_bytes(data), path)[1], 1)


def test_nmea_sentences(tmp_path: Path) -> None:
    path = tmp_path / "log.nmea"
    run("\r\n".join(moments(20)).encode() + b"\r\n", lambda data: (path.write_bytes(data), path)[1], 2)


@pytest.mark.parametrize("name", ["TaskData.xml", "tlg00001.XML", "TLG00001.bin"])
def test_task_data(tmp_path: Path, name: str) -> None:
    write_set(tmp_path, header=HEADER, records=driven(14))
    run((tmp_path / name).read_bytes(), lambda data: ((tmp_path / name).write_bytes(data), tmp_path)[1], 3, truncated_ok=True)


def test_zipped_task_data(tmp_path: Path) -> None:
    folder = tmp_path / "set"
    folder.mkdir()
    write_set(folder)
    archive = tmp_path / "set.zip"
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as out:
        for p in sorted(folder.iterdir()):
            out.write(p, f"TASKDATA/{p.name}")
    run(archive.read_bytes(), lambda data: (archive.write_bytes(data), archive)[1], 4, least=0)  # a checksum guards every member
