"""Files from strangers as logs: archives, markup and cells that would do harm."""

from __future__ import annotations

import csv
import stat
import zipfile
from pathlib import Path

import numpy as np
import pytest
from tests.made_trails import log_lines, trail_of
from tests.unit.test_task_data import HEADER, write_set

from evenstand.base.errors import EvenstandError, FileError
from evenstand.formats import archives
from evenstand.formats.delimited import as_text, write_trail_csv
from evenstand.trail import read_trail


def packed(path: Path, members: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, data in members.items():
            out.writestr(name, data)
    return path


@pytest.fixture
def members(tmp_path: Path) -> dict[str, bytes]:
    """A set of task data as files of an archive."""
    folder = tmp_path / "set"
    folder.mkdir()
    write_set(folder)
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def test_the_set_itself_is_read(tmp_path, members):
    assert read_trail(packed(tmp_path / "set.zip", members)).n > 0


@pytest.mark.parametrize("name", ["../TLG00009.bin", "/tmp/TLG00009.bin", "C:\\TLG00009.bin", "a/../../TLG00009.bin", "..\\TLG00009.bin"])
def test_a_name_that_leads_out_of_the_archive_is_refused(tmp_path, members, name):
    archive = packed(tmp_path / "set.zip", {**members, name: b"x"})
    with pytest.raises(FileError, match="leads out of"):
        read_trail(archive)
    assert not (tmp_path / "TLG00009.bin").exists() and not (tmp_path.parent / "TLG00009.bin").exists()


def test_an_archive_that_unpacks_to_too_much_is_refused(tmp_path, members, monkeypatch):
    monkeypatch.setattr(archives, "MOST_BYTES", 1_000_000)
    monkeypatch.setattr("evenstand.formats.iso11783.folders.MOST_BYTES", 1_000_000, raising=False)
    archive = packed(tmp_path / "set.zip", {**members, "TLG00009.bin": bytes(5_000_000)})
    assert archive.stat().st_size < 100_000
    with pytest.raises(FileError, match="unpacks to"):
        read_trail(archive)


def test_a_link_in_an_archive_is_refused(tmp_path, members):
    archive = packed(tmp_path / "set.zip", members)
    link = zipfile.ZipInfo("TLG00009.bin")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(archive, "a") as out:
        out.writestr(link, "/etc/passwd")
    with pytest.raises(FileError, match="link to another file"):
        read_trail(archive)


BOMB = b"".join(b'<!ENTITY l%d "%s">' % (k, b"&l%d;" % (k - 1) * 10 if k else b"lol") for k in range(10))
OUTSIDE = b'<!ENTITY l9 SYSTEM "file:///etc/passwd">'


@pytest.mark.parametrize("entities", [BOMB, OUTSIDE])
@pytest.mark.parametrize("name", ["TaskData.xml", "tlg00001.XML"])
def test_entities_in_task_data_are_refused(tmp_path, name, entities):
    write_set(tmp_path, header=HEADER)
    target = next(p for p in tmp_path.iterdir() if p.name.lower() == name.lower())
    text = target.read_bytes()
    start = text.index(b"?>") + 2 if text.startswith(b"<?xml") else 0
    target.write_bytes(text[:start] + b"<!DOCTYPE a [" + entities + b"]>" + text[start:].replace(b'A="', b'A="&l9;', 1))
    with pytest.raises(EvenstandError) as told:
        read_trail(tmp_path)
    assert "root:" not in str(told.value)


@pytest.mark.parametrize("entities", [BOMB, OUTSIDE])
@pytest.mark.parametrize(
    ("name", "body"),
    [
        ("log.kml", b'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>&l9;</name><Point><coordinates>-105,51</coordinates></Point></Placemark></Document></kml>'),
        ("log.gml", b'<a:c xmlns:a="urn:a" xmlns:gml="http://www.opengis.net/gml"><gml:featureMember><a:p><a:name>&l9;</a:name><gml:Point><gml:pos>51 -105</gml:pos></gml:Point></a:p></gml:featureMember></a:c>'),
    ],
)  # fmt: skip
def test_entities_in_layers_are_refused(tmp_path, name, body, entities):
    path = tmp_path / name
    path.write_bytes(b'<?xml version="1.0"?><!DOCTYPE a [' + entities + b"]>" + body)
    with pytest.raises(FileError, match="entities"):
        read_trail(path)


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@sum(a1)", " =1+1", "\t=moist", "=cmd|' /c calc'!a1"])
def test_a_name_that_a_spreadsheet_would_calculate_is_written_as_text(tmp_path, name):
    lines = log_lines()
    quoted = '"' + name.replace('"', '""') + '"'
    path = tmp_path / "log.csv"
    path.write_text("\n".join([f"{lines[0]},{quoted}", *(f"{line},{i}" for i, line in enumerate(lines[1:]))]) + "\n")
    trail = read_trail(path)
    assert name.strip() in trail.extra
    write_trail_csv(trail, tmp_path / "out.csv")
    with (tmp_path / "out.csv").open(newline="") as file:
        head, *rows = csv.reader(file)
    assert as_text(name.strip()) in head
    assert not any(cell.lstrip()[:1] in tuple("=+-@\t\r") for cell in head if cell)
    for row in rows:
        for cell in row:
            assert cell == "" or (cell[0] not in "=+@" and (cell[0] != "-" or float(cell) <= 0))
    assert read_trail(tmp_path / "out.csv").n == trail.n


def test_cells_of_a_log_that_are_formulas_are_never_numbers(tmp_path):
    lines = log_lines()
    lines[7] = lines[7].replace(",7.2,", ",=1+1,")
    lines[9] = lines[9].replace(",7.2,", ",=7.2,")
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n")
    trail = read_trail(path)
    assert [r.line for r in trail.repaired] == [8, 10]
    assert np.isnan(trail.speed_m_s[[6, 8]]).all()


def test_a_name_of_ours_is_not_taken_by_a_column_of_the_log(tmp_path):
    trail = trail_of(np.column_stack([np.zeros(5), np.arange(5.0)]), extra={"lon_deg": np.full(5, 7.0), "=x": np.full(5, 8.0)})
    write_trail_csv(trail, tmp_path / "out.csv")
    head = (tmp_path / "out.csv").read_text().splitlines()[0].split(",")
    assert head.count("lon_deg") == 1
    assert "'=x" in head
