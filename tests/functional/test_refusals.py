"""Wrong input through the command line: the designed error with place, limit and cure, exit code 2, no traceback, the book's rows as before."""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest

from evenstand.book import Book
from evenstand.desk.demo import build_book

EVENSTAND = [sys.executable, "-m", "evenstand"]
JOB = "home-wheat"

LOG = "time,longitude,latitude,speed_kmh,rate_kg_ha\n" + "".join(
    f"2027-05-09T12:00:{s:02d}Z,{-103.5 + s * 3e-5:.6f},52.5,7.5,121\n" for s in range(60)
)
SQUARE = [[-103.5, 52.5], [-103.49, 52.5], [-103.49, 52.505], [-103.5, 52.505], [-103.5, 52.5]]
BOW_TIE = [[-103.5, 52.5], [-103.49, 52.505], [-103.49, 52.5], [-103.5, 52.505], [-103.5, 52.5]]


def outline(ring: list[list[float]], kind: str = "Polygon") -> str:
    coordinates = [ring] if kind == "Polygon" else ring
    geometry = {"type": kind, "coordinates": coordinates}
    feature = {"type": "Feature", "properties": {"name": "North"}, "geometry": geometry}
    return json.dumps({"type": "FeatureCollection", "features": [feature]})


def run(*arguments: object, cwd: Path | None = None, **more: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*EVENSTAND, *map(str, arguments)], capture_output=True, text=True, timeout=120, cwd=cwd, stdin=subprocess.DEVNULL, **more
    )


def dump(folder: Path) -> dict[str, list[list[object]]]:
    """Every row but those of what was worked out and can be worked out again: a reader may leave some more of it."""
    with Book.open(folder) as book:
        return {name: rows for name, rows in book.dump().items() if name != "derived"}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made") / "book"
    build_book(folder)
    return folder, dump(folder)


@pytest.fixture
def book(made, tmp_path):
    """A demo book of one's own; whatever the test did, its rows are the same afterwards."""
    folder, rows = made
    own = tmp_path / "own book"
    shutil.copytree(folder, own)
    yield own
    assert dump(own) == rows


def refused(ran: subprocess.CompletedProcess[str], *says: str) -> None:
    assert ran.returncode == 2, ran.stdout + ran.stderr
    assert "Traceback" not in ran.stderr
    assert "Traceback" not in ran.stdout
    for text in says:
        assert text in ran.stderr, ran.stderr


# files --------------------------------------------------------------------------------------------------------------
LOGS = {
    "a missing column": (LOG.replace("longitude", "remark"), ("log.csv", "longitude")),
    "two columns of one name": (LOG.replace("longitude", "latitude"), ("log.csv", "latitude")),
    "a last row that breaks off": (LOG[:-20], ("log.csv", "line 61", "--truncated-ok")),
    "nothing in it": ("", ("log.csv", "empty")),
    "a header and no rows": (LOG.split("\n")[0] + "\n", ("log.csv", "row")),
    "projected numbers and no coordinate system": (
        "time,easting,northing\n" + "".join(f"2027-05-09T12:00:{s:02d}Z,{466000 + 2 * s},{5816000}\n" for s in range(60)),
        ("log.csv", "coordinate system", "EPSG"),
    ),
    "a unit that its own column denies": (LOG.replace("speed_kmh", "speed [m/s]"), ("speed [m/s]", "km/h", "recipe")),
    "bytes of another kind": ("\x00\x01PK\x03" * 200, ("log.csv",)),
}


@pytest.mark.parametrize("name", LOGS)
def test_a_log_that_cannot_be_read_is_refused_and_the_book_keeps_its_rows(book, tmp_path, name):
    text, says = LOGS[name]
    (tmp_path / "log.csv").write_bytes(text.encode("latin-1"))
    refused(run("trail", "read", tmp_path / "log.csv", "--book", book, "--job", JOB), *says)


@pytest.mark.parametrize("name", ["a missing column", "nothing in it", "projected numbers and no coordinate system"])
def test_a_report_on_such_a_log_is_refused_the_same_way(tmp_path, name):
    text, says = LOGS[name]
    (tmp_path / "log.csv").write_text(text)
    refused(run("trail", "report", tmp_path / "log.csv", "--outfit-width", "16.3 m"), *says[:1])


@pytest.mark.parametrize("width", ["-16.3 m", "0", "nan", "16.3 kg", "900 m", "wide"])
def test_a_report_by_a_width_no_tool_has_is_refused(tmp_path, width):
    (tmp_path / "log.csv").write_text(LOG)
    refused(run("trail", "report", tmp_path / "log.csv", "--outfit-width", width), "width")


OUTLINES = {
    "nothing in it": ("field.geojson", "", ("field.geojson", "empty")),
    "no coordinate system": ("field.csv", f'WKT,name\n"POLYGON(({",".join(f"{x} {y}" for x, y in SQUARE)}))",North\n', ("degrees", "EPSG:4326")),
    "cut short": ("field.geojson", outline(SQUARE)[:150], ("field.geojson",)),
    "a line, no area": ("field.geojson", outline(SQUARE, "LineString"), ("no area",)),
    "a country": ("field.geojson", outline([[-104, 50], [-100, 50], [-100, 53], [-104, 53], [-104, 50]]), ("ha",)),
    "a speck": ("field.geojson", outline([[-103.5, 52.5], [-103.49999, 52.5], [-103.49999, 52.50001], [-103.5, 52.5]]), ("ha",)),
    "text of another kind": ("field.geojson", "Dear reader, this is no field.", ("field.geojson",)),
}  # fmt: skip


@pytest.mark.parametrize("name", OUTLINES)
def test_an_outline_that_is_no_field_is_refused_and_the_book_keeps_its_rows(book, tmp_path, name):
    file, text, says = OUTLINES[name]
    (tmp_path / file).write_text(text)
    refused(run("book", "field", book, tmp_path / file, "--job", JOB), *says)
    refused(run("plan", "wheat", "120 kg/ha", "--boundary", tmp_path / file), *says)


def test_a_self_crossing_outline_is_mended_and_said(made, tmp_path):
    """Repaired and said, not refused: the two triangles are a field with a waist."""
    own = tmp_path / "book"
    shutil.copytree(made[0], own)
    (tmp_path / "field.geojson").write_text(outline(BOW_TIE))
    ran = run("book", "field", own, tmp_path / "field.geojson", "--json")
    assert ran.returncode == 0, ran.stderr
    field = json.loads(ran.stdout)
    assert 18.5 < field["area_ha"] < 19.5  # two triangles of a quarter of 679 m x 556 m each
    assert any("mended (self-intersection)" in note and "Look at it" in note for note in field["repairs"])


def test_a_log_and_an_outline_that_can_be_read_do_go_in(made, tmp_path):
    """The refusals above are refusals of what is wrong with the file, not of the command."""
    own = tmp_path / "book"
    shutil.copytree(made[0], own)
    (tmp_path / "log.csv").write_text(LOG)
    (tmp_path / "field.geojson").write_text(outline(SQUARE))
    ran = run("trail", "read", tmp_path / "log.csv", "--book", own, "--job", JOB, "--json")
    assert ran.returncode == 0, ran.stderr
    kept = json.loads(ran.stdout)["record"]
    again = run("trail", "read", tmp_path / "log.csv", "--book", own, "--job", JOB, "--json")
    assert json.loads(again.stdout)["record"] == kept  # the same file twice is one log
    ran = run("book", "field", own, tmp_path / "field.geojson", "--job", JOB, "--json")
    field = json.loads(ran.stdout)
    assert 37.5 < field["area_ha"] < 38.5  # 0.01 degrees x 0.005 degrees at 52.5 N: 679 m x 556 m
    plan = json.loads(run("plan", "--book", own, "--job", JOB, "--json").stdout)
    assert plan["field_name"] == "North"


# numbers ------------------------------------------------------------------------------------------------------------
PLAN = ("plan", "62 ha, wheat, 120 kg/ha, 16.3 m, 7.5 km/h")
NUMBERS = [
    (("plan", "62 ha, wheat, -120 kg/ha"), ("rate", "-120")),
    (("plan", "wheat", "--rate", "nan"), ("rate", "nan")),
    (("plan", "wheat", "--rate", "120 km/h"), ("rate", "no unit of rate", "kg/ha")),
    (("plan", "wheat", "--rate", "1e400"), ("rate", "digits")),
    ((*PLAN, "--factor", "1e-308"), ("factor", "digits")),
    ((*PLAN, "--rows", "1e400"), ("rows",)),
    ((*PLAN, "--also", "=5"), ("also", "urea=150")),
    ((*PLAN, "--survival", "120 %"), ("survival", "100 %")),
    ((*PLAN, "--boundary", "9" * 400), ("name",)),
    (("fill", "--area", "-3", "--put", "4000", "--left", "400", "--dose", "121"), ("--area", "above 0")),
    (("fill", "--area", "29", "--put", "-4000", "--left", "400", "--dose", "121"), ("--put", "0 or more")),
    (("fill", "--area", "29 kg", "--put", "4000 ha", "--left", "400", "--dose", "121"), ("--area", "--put")),
    (("fill",), ("--area", "--put", "--left", "--dose")),
    (("fill", "--dose", "121", "--fill", "29 ha, 4000 kg"), ("--fill", "AREA; PUT; LEFT")),
    (("catch", "0.1", "--turns", "4", "--tare", "0.2"), ("above the bag",)),
    (("catch", "5", "--turns", "-4"), ("turns",)),
    (("catch", "5 ha", "--turns", "4"), ("catch 1", "no unit")),
    (("catch", "5", "--turns", "4", "--expected", "0"), ("expected",)),
    (("call", "--rate", "-120"), ("--rate", "above 0")),
    (("call", "--rate", "120 ha", "--boundary", "62 kg"), ("--rate", "--boundary")),
    (("call", "--boundary", "1e308"), ("--boundary",)),
    (("demo", "--seed", "1", "--fault", "factor:Q=5"), ("bin Q",)),
    (("demo", "--seed", "1", "--fault", "gremlin=5"), ("gremlin",)),
    (("demo", "--seed", "1", "--world", "hot"), ("hot",)),
    (("sheet", "--rate", "-120 kg/ha"), ("rate",)),
    (("card", "--rate", "120 kg/m"), ("rate",)),
]


@pytest.mark.parametrize(("arguments", "says"), NUMBERS, ids=lambda a: " ".join(a)[:60] if isinstance(a, tuple) else "")
def test_a_number_that_cannot_be_is_told_by_its_name(tmp_path, arguments, says):
    refused(run(*arguments, cwd=tmp_path), *says)
    assert list(tmp_path.iterdir()) == []


IN_A_BOOK = [
    (("plan", "--job", "nowhere"), ("nowhere", JOB)),
    (("card", "--job", "nowhere"), ("nowhere", JOB)),
    (("card",), ("--job", JOB)),
    (("sheet", "--job", "nowhere"), ("nowhere", JOB)),
    (("sheet", "--job", JOB, "--only", "poster"), ("poster",)),
    (("check", "--job", "nowhere"), ("nowhere", JOB)),
    (("check",), ("--job", JOB)),
    (("next", "--job", "nowhere"), ("nowhere", JOB)),
    (("check", "--job", JOB, "--read", "mood=5"), ("mood", "area_counter")),
    (("check", "--job", JOB, "--read", "area_counter=-5"), ("area_counter", "0")),
    (("check", "--job", JOB, "--read", "area_counter=nan"), ("area_counter",)),
    (("check", "--job", JOB, "--read", "area_counter=5 kg"), ("area_counter",)),
    (("check", "--job", JOB, "--read", "put:Z=500"), ("bin 'Z'",)),
    (("check", "--job", JOB, "--read", "put=500"), ("bin",)),
    (("check", "--job", JOB, "--read", "area_counter=36", "--read", "width_tape=0"), ("width_tape",)),
    (("catch", "5.2", "--turns", "4", "--job", JOB), ("--bin",)),
    (("catch", "5.2", "--turns", "4", "--job", JOB, "--bin", "Z"), ("bin 'Z'",)),
    (("catch", "-5.2 kg", "--turns", "4", "--job", JOB, "--bin", "D"), ()),
    (("catch", "5.2", "--turns", "4", "--job", "nowhere", "--bin", "D"), ("nowhere",)),
]


@pytest.mark.parametrize(("arguments", "says"), IN_A_BOOK, ids=lambda a: " ".join(a)[:60] if isinstance(a, tuple) else "")
def test_what_a_book_does_not_have_or_cannot_take_is_refused_and_its_rows_stay(book, tmp_path, arguments, says):
    refused(run(*arguments, "--book", book, cwd=tmp_path), *says)


OF_THE_BOOK = [
    (("new",), ("there is a book already",)),
    (("undo", "999"), ("no change 999", "history")),
    (("undo", "9" * 30), ("CHANGE", "range")),
    (("merge", "EV-NONSENSE"), ("EV-", "copy the list")),
    (("merge", ""), ()),
    (("merge", "x" * 5000), ()),
    (("publish", "/nowhere/at/all.gpkg"), ("/nowhere/at",)),
    (("history", "--type", "Unicorn"), ("Unicorn",)),
    (("field", "missing.geojson"), ("missing.geojson",)),
]


@pytest.mark.parametrize(("arguments", "says"), OF_THE_BOOK, ids=lambda a: " ".join(a)[:60] if isinstance(a, tuple) else "")
def test_a_book_command_that_cannot_be_done_is_refused_and_the_rows_stay(book, arguments, says):
    name, *more = arguments
    refused(run("book", name, book, *more), *says)


@pytest.mark.parametrize(
    ("answers", "says"),
    [
        (("--rate", "-120", "--crop", "wheat"), ("rate",)),
        (("--rows", "64.5",), ("rows",)),
        (("--speed", "7 kg",), ("speed",)),
        (("--bins", "A=-6",), ("bins",)),
        (("--width", "nan",), ("width",)),
        (("--drive", "horse",), ("drive",)),
        (("--rate", "-1", "--speed", "x", "--width", "y"), ("rate", "speed", "width")),
    ],
    ids=lambda a: " ".join(a)[:40],
)  # fmt: skip
def test_answers_no_outfit_can_have_make_no_book(tmp_path, answers, says):
    refused(run("book", "new", tmp_path / "new", *answers), *says)
    assert not (tmp_path / "new" / "book.gpkg").exists()


# two at once --------------------------------------------------------------------------------------------------------
HOLD = (
    "import sys; from evenstand.book import Book\n"
    "book = Book.open(sys.argv[1], write=True, who='Robin'); print('held', flush=True); sys.stdin.read()"
)


@contextmanager
def held(folder: Path):
    """Another process holds the book for writing."""
    with subprocess.Popen([sys.executable, "-c", HOLD, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline() == "held\n"
        try:
            yield
        finally:
            other.stdin.close()
            other.wait(30)


@pytest.mark.slow
def test_while_another_writes_every_writing_command_is_refused_and_every_reading_one_answers(book, tmp_path):
    (tmp_path / "log.csv").write_text(LOG)
    (tmp_path / "field.geojson").write_text(outline(SQUARE))
    with held(book):
        for writes in (
            ("check", "--book", book, "--job", JOB, "--read", "area_counter=36"),
            ("catch", "5.2", "5.3", "--turns", "4", "--book", book, "--job", JOB, "--bin", "D"),
            ("trail", "read", tmp_path / "log.csv", "--book", book, "--job", JOB),
            ("book", "field", book, tmp_path / "field.geojson"),
            ("book", "undo", book, "1"),
            ("serve", book, "--port", "48707"),
        ):
            refused(run(*writes), "is being written by Robin")
        for reads in (
            ("plan", "--book", book, "--job", JOB),
            ("next", "--book", book),
            ("tally", "--book", book),
            ("book", "show", book),
            ("book", "publish", book, tmp_path / "copy.gpkg"),
        ):
            ran = run(*reads)
            assert ran.returncode == 0, ran.stderr


@pytest.mark.slow
def test_while_the_site_is_open_the_command_line_reads_but_does_not_write(book):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with subprocess.Popen(
        [*EVENSTAND, "serve", str(book), "--port", str(port)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    ) as site:  # fmt: skip
        try:
            assert f"http://127.0.0.1:{port}/" in site.stdout.readline()
            refused(run("check", "--book", book, "--job", JOB, "--read", "area_counter=36"), "is being written by site", str(site.pid))
            assert run("next", "--book", book).returncode == 0
        finally:
            site.terminate()
            site.wait(30)
        assert "Traceback" not in site.stderr.read()


def test_a_taken_port_is_told_and_another_is_named(book):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        refused(run("serve", book, "--port", port), f"port {port} is taken", "--port")


# pipes --------------------------------------------------------------------------------------------------------------
def test_a_reader_that_has_had_enough_is_no_error(made):
    """As with head -1: the pipe is closed while the command still has much to say."""
    with subprocess.Popen(
        [*EVENSTAND, "book", "dump", str(made[0])], stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True
    ) as process:
        process.stdout.readline()
        process.stdout.close()
        said = process.stderr.read()
        assert (process.wait(60), said) == (0, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="NOT RUN HERE: no /dev/full on this system")
def test_a_full_disk_is_told_in_one_line():
    with open("/dev/full", "w") as full:
        ran = subprocess.run([*EVENSTAND, *PLAN], stdout=full, stderr=subprocess.PIPE, text=True, timeout=60)
    assert ran.returncode == 2
    assert "Traceback" not in ran.stderr
    assert len(ran.stderr.strip().splitlines()) == 1


def test_the_text_in_a_pipe_has_no_colour_and_no_progress(made):
    for arguments in (("verify",), ("next", "--book", made[0]), ("demo", "--seed", "1")):
        ran = run(*arguments)
        assert ran.returncode in (0, 1)
        assert "\x1b" not in ran.stdout + ran.stderr
        assert "\r" not in ran.stdout + ran.stderr


def test_an_error_beside_json_is_json_with_where_what_limit_and_cure(book):
    ran = run("check", "--book", book, "--job", JOB, "--read", "area_counter=-5", "--json")
    refused(ran)
    (fault,) = json.loads(ran.stdout)["faults"]
    assert (fault["where"], "-5" in fault["what"]) == ("area_counter", True)
    assert fault["limit"]
    assert fault["cure"]
