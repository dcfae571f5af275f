"""`evenstand book`: make, show, history, undo, check, publish, dump and merge, on a temporary book."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from book_samples import put_all
from book_things import JOB, clock
from evenstand.base.errors import BookError, InputError
from evenstand.book import Book, CallNote, CatchRecord, ImportedEntry, JobReading
from evenstand.cli.book import command
from evenstand.desk.books import new_book
from evenstand.desk.planning import job_inputs
from evenstand.desk.pocketing import encode
from evenstand.model import Fill, Job, MeterFactor, Outfit


def run(*arguments: object, typed: str | None = None, code: int = 0):
    """The command as `evenstand` calls it; a designed error comes out as itself."""
    result = CliRunner().invoke(command, [str(a) for a in arguments], input=typed, standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    assert result.return_value == code, result.output
    return result


@pytest.fixture
def folder(tmp_path):
    with Book.create(tmp_path / "our farm", farm="Willow Bend", profile="prairie", who="Kim", clock=clock()) as book:
        put_all(book)
    return tmp_path / "our farm"


# new ----------------------------------------------------------------------------------------------------------------
def test_new_from_options_makes_a_book_with_value_card_and_fill_slip(tmp_path):
    result = run(
        "new", tmp_path / "mine", "--outfit", "Drill", "--rows", 64, "--spacing", "254 mm", "--speed", 7.6, "--bins", "A=6.2 seed,B=4.6 urea",
        "--crop", "wheat", "--rate", "120, urea 150", "--area", 62, "--who", "Kim",
    )  # fmt: skip
    assert "Outfit Drill: width 16.26 m, 2 bins." in result.stdout
    for name in ("value-card.pdf", "fill-slip.pdf", "pocket-page.html"):
        assert str(tmp_path / "mine" / "sheets" / name) in result.stdout
        assert (tmp_path / "mine" / "sheets" / name).stat().st_size > 1000
    assert (tmp_path / "mine" / "sheets" / "value-card.pdf").read_bytes().startswith(b"%PDF")
    with Book.open(tmp_path / "mine") as book:
        assert (book.farm, book.profile) == ("mine", "si")
        assert {e.who for e in book.history()} == {"Kim"}
        assert book.get(Outfit, "drill").rows == 64
        assert book.check().ok


def test_new_asks_ten_values_at_most_and_enter_means_not_known(tmp_path):
    typed = "\n".join(["Drill", "39", "12 in", "4.5", "A 120 bu (US) seed", "ground", "canola", "5", "160", "0.3"]) + "\n"
    result = run("new", tmp_path / "mine", "--units", "us", "--farm", "Sand Hill", "--no-sheets", typed=typed)
    assert result.stderr.count(": ") >= 10
    with Book.open(tmp_path / "mine") as book:
        assert (book.farm, book.profile) == ("Sand Hill", "us")
        (outfit,), (job,), (factor,) = book.all(Outfit), book.all(Job), book.all(MeterFactor)
    assert (outfit.drive, outfit.rows, outfit.row_spacing_m) == ("ground", 39, pytest.approx(12 * 0.0254))
    assert outfit.widths.rate_m is None  # not asked where rows and spacing tell it
    assert job.area_ha == pytest.approx(160 * 0.40468564224)
    assert factor.kg_turn.value == pytest.approx(0.3 * 0.45359237)


def test_new_with_enter_alone_leaves_all_unknown(tmp_path):
    run("new", tmp_path / "mine", "--no-sheets", typed="\n" * 10)
    with Book.open(tmp_path / "mine") as book:
        assert book.all(Outfit) == ()
        assert book.check().ok


def test_a_wrong_answer_is_asked_again_and_only_that(tmp_path):
    typed = "Drill\n39\n305\nfast\n\n\n\n\n\n\n7.0\n"
    result = run("new", tmp_path / "mine", "--no-sheets", typed=typed)
    assert "speed: 'fast' has no number" in result.stderr
    assert result.stderr.count("Working speed") == 2
    assert result.stderr.count("Number of openers") == 1
    with Book.open(tmp_path / "mine") as book:
        assert book.all(Outfit)[0].speed_m_s == pytest.approx(7 / 3.6)


def test_wrong_options_are_told_all_at_once_and_no_folder_is_made(tmp_path):
    with pytest.raises(InputError) as caught:
        run("new", tmp_path / "mine", "--rows", "x", "--rate", "-1", "--bins", "tank")
    assert [f.where for f in caught.value.faults] == ["rows", "bins", "rate"]
    assert not (tmp_path / "mine").exists()


def test_wrong_answers_with_no_one_to_ask_again_are_an_error(tmp_path):
    with pytest.raises(InputError, match="has no number"):
        run("new", tmp_path / "mine", typed="Drill\nmany\n" + "\n" * 9)
    assert not (tmp_path / "mine").exists()


def test_new_never_overwrites_and_asks_nothing_first(folder):
    with pytest.raises(BookError, match="there is a book already"):
        run("new", folder)


def test_new_as_json_says_what_was_made(tmp_path):
    result = run("new", tmp_path / "mine", "--width", "16.3", "--crop", "wheat", "--rate", "120", "--json")
    told = json.loads(result.stdout)
    assert told["first"]["outfit"]["widths"]["rate_m"] == 16.3
    assert told["first"]["outfit"]["rows"] is None
    assert len(told["sheets"]) == 3
    assert told["trouble"] == ""


# looking ------------------------------------------------------------------------------------------------------------
def test_show_lists_what_is_in_the_book_in_its_units(folder):
    text = run("show", folder).stdout
    assert text.startswith("Willow Bend (units prairie)")
    assert "big-drill  Big drill  53.33 ft  2 bins" in text
    assert "north  North quarter  166.9 ac" in text
    assert "wheat 107 lb/ac" in text
    assert "1 fills" in text


def test_show_as_json_has_metric_values(folder):
    held = json.loads(run("show", folder, "--json").stdout)
    assert held["outfits"][0]["width_m"] == 16.256
    assert held["fields"][0]["area_ha"] == pytest.approx(67.529111)
    assert held["jobs"][0]["asks"][1]["bins"] == ["B", "A"]
    assert held["counts"]["call notes"] == 1


def test_history_shows_who_what_before_and_after_and_undo_takes_it_back(folder):
    with Book.open(folder, write=True, who="Robin", clock=clock()) as book:
        import dataclasses

        book.put(dataclasses.replace(JOB, depth_m=0.05), why="drier on top")
    text = run("history", folder, "--type", "Job", "--limit", 1).stdout
    assert "Robin" in text
    assert "Job wheat-north, depth_m" in text
    assert "0.04 -> 0.05  (drier on top)" in text
    entry = json.loads(run("history", folder, "--key", JOB.key, "--json").stdout)[-1]
    assert (entry["before"], entry["after"], entry["who"]) == (0.04, 0.05, "Robin")
    told = run("undo", folder, entry["id"], "--who", "Kim", "--why", "rained").stdout
    assert f"Change {entry['id']} is taken back by change {entry['id'] + 1}: 1 value." in told
    with Book.open(folder) as book:
        assert book.get(Job, JOB.key) == JOB
        assert (book.history()[-1].who, book.history()[-1].why) == ("Kim", "rained")


def test_history_of_everything_is_cut_to_the_latest_and_says_so(folder):
    assert run("history", folder, "--limit", 3).stdout.startswith("The latest 3 of ")
    assert len(json.loads(run("history", folder, "--limit", 0, "--json").stdout)) > 50


def test_check_says_nothing_is_wrong_and_exits_with_one_when_something_is(folder):
    assert "Nothing is wrong." in run("check", folder).stdout
    (original,) = (folder / "originals").iterdir()
    original.write_bytes(b"changed")
    result = run("check", folder, code=1)
    assert "its content does not match its name" in result.stdout
    assert json.loads(run("check", folder, "--json", code=1).stdout)["ok"] is False


def test_publish_writes_a_copy_and_lists_its_layers(folder, tmp_path):
    assert "job_areas" in run("publish", folder, tmp_path / "out.gpkg").stdout
    told = json.loads(run("publish", folder, tmp_path / "out.gpkg", "--json").stdout)
    assert told["layers"]["fields"] == 1
    assert told["size_bytes"] == (tmp_path / "out.gpkg").stat().st_size


def test_dump_is_the_same_twice_and_changes_with_a_row(folder):
    first = json.loads(run("dump", folder, "--json").stdout)
    assert json.loads(run("dump", folder, "--json").stdout) == first
    with Book.open(folder, write=True, clock=clock()) as book:
        book.remove(Fill, "fill-1")
    second = json.loads(run("dump", folder, "--json").stdout)
    changed = {name for name in first if first[name] != second[name]}
    assert changed == {"fills", "history", "changes"}
    assert "fills: " not in run("dump", folder).stdout


# merge --------------------------------------------------------------------------------------------------------------
NOON = 3_863_520  # minutes from the beginning of 2020 to some day in May 2027


@pytest.fixture
def planned(tmp_path):
    """A small book with one job whose bins are settled, and the mark of its plan."""
    first = new_book(
        tmp_path / "b", farm="F", clock=clock(),
        answers={"width": "16.3", "bins": "A 6.2 seed, B 4.6 urea", "crop": "wheat", "rate": "120, urea 150", "area": "62"},
    )  # fmt: skip
    with Book.open(tmp_path / "b") as book:
        mark = job_inputs(book, first.job.key).hash()[:3]
    return tmp_path / "b", first.job.key, mark


def test_merge_takes_a_code_in_once(planned):
    folder, job, mark = planned
    values = {"area_since_ha": 12.5, "put_kg": 4200.0, "level_kg": 300.0, "level_before_kg": 200.0, "counter_ha": 30.5}
    code = encode("fill", values, minutes=NOON, nonce=7, bin="A", mark=mark, how=("pads", "glance"))
    assert "Taken in: 1 fill" in run("merge", folder, code).stdout
    with Book.open(folder) as book:
        (fill,) = book.all(Fill, job=job)
        before = book.dump()
        readings = {r.reading.quantity: r.reading for r in book.all(JobReading, job=job)}
        (kept,) = book.all(ImportedEntry)
    assert (fill.bin, fill.put_kg, fill.how, fill.area_ha, fill.level_before_kg) == ("A", 4200.0, "pads", 18.0, 200.0)
    assert (fill.product, fill.put_sd_kg > 0) == ("wheat-seed", True)
    assert (readings["level:A"].value, readings["level:A"].nature) == (300.0, "witness")
    assert (readings["area_counter"].value, readings["area_counter"].nature) == (30.5, "echo")
    assert kept.kind == "fill"
    assert "Nothing new." in run("merge", folder, code).stdout
    with Book.open(folder) as book:
        assert book.dump() == before


def test_merge_takes_every_kind_of_entry_from_a_file_as_one_change(planned, tmp_path):
    folder, job, mark = planned
    codes = [
        encode("fill", {"put_kg": 4000.0}, minutes=NOON, nonce=1, bin="A", mark=mark, how=("ticket", "")),
        encode("catch", {"turns": 4.0, "tare_kg": 0.2, "mass_kg": 5.2, "mass_2_kg": 5.21}, minutes=NOON + 5, nonce=2, bin="B", mark=mark),
        encode("distance", {"taped_m": 100.0, "pulses": 519.0, "shown_m": 101.5}, minutes=NOON + 9, nonce=3, mark=mark),
        encode("slip", {"asked": 120.0, "seen": 134.5}, minutes=NOON + 12, nonce=4, mark=mark),
    ]
    (tmp_path / "entries.txt").write_text("From the pocket page\n" + "\n".join(codes) + "\n", encoding="utf-8")
    told = json.loads(run("merge", folder, tmp_path / "entries.txt", "--json").stdout)
    assert [t["kind"] for t in told["taken"]] == ["fill", "catch", "distance", "slip"]
    with Book.open(folder, write=True, clock=clock()) as book:
        (catch,) = book.all(CatchRecord)
        assert (catch.masses_kg, catch.turns, catch.tare_kg, catch.product) == ((5.2, 5.21), 4.0, 0.2, "urea")
        (factor,) = book.all(MeterFactor)
        assert factor.kg_turn.value == pytest.approx((5.2 + 5.21) / 2 / 4 - 0.2 / 4)
        readings = {r.reading.quantity: r.reading.value for r in book.all(JobReading, job=job)}
        assert readings == {"distance_taped": pytest.approx(1.015), "pulse_m": pytest.approx(100 / 519)}
        assert book.all(CallNote)[0].asked == "asked for 120, seen 134.5"
        assert {e.source for e in book.all(ImportedEntry)} == {"entries.txt"}
        book.undo(told["change"])
        assert (book.all(Fill), book.all(CatchRecord), book.all(ImportedEntry), book.all(JobReading)) == ((), (), (), ())


def test_merge_with_one_wrong_entry_takes_none_and_names_it(planned):
    folder, _, mark = planned
    good = encode("fill", {"put_kg": 4000.0}, minutes=NOON, nonce=1, bin="A", mark=mark)
    wrong = encode("fill", {"put_kg": 4000.0}, minutes=NOON + 1, nonce=2, bin="F", mark=mark)
    with Book.open(folder) as book:
        before = book.dump()
    with pytest.raises(InputError, match="no bin 'F'"):
        run("merge", folder, good, wrong)
    with pytest.raises(InputError, match="checksum"):
        run("merge", folder, good[:5] + ("A" if good[5] != "A" else "B") + good[6:])
    with Book.open(folder) as book:
        assert book.dump() == before


def test_merge_asks_for_the_job_where_the_page_fits_none_of_several(planned):
    folder, job, mark = planned
    import dataclasses

    with Book.open(folder, write=True, clock=clock()) as book:
        book.put(dataclasses.replace(book.get(Job, job), key="other", area_ha=10.0))
    strange = f"{(int(mark, 16) + 1) % 4096:03x}"
    code = encode("fill", {"put_kg": 4000.0}, minutes=NOON, nonce=1, bin="A", mark=strange)
    with pytest.raises(InputError, match=f"another book.*other, {job}"):
        run("merge", folder, code)
    run("merge", folder, code, "--job", "other")
    with Book.open(folder) as book:
        assert [f.job for f in book.all(Fill)] == ["other"]


def test_merge_reads_codes_from_standard_input(planned):
    folder, _, mark = planned
    code = encode("fill", {"put_kg": 4000.0}, minutes=NOON, nonce=1, bin="A", mark=mark)
    assert "1 fill" in run("merge", folder, "-", typed=f"please add {code}\n").stdout


# JSON ---------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", ["new", "show", "history", "undo", "check", "publish", "dump", "merge"])
def test_json_keeps_to_its_schema(name, planned, folder, tmp_path, root):
    import jsonschema

    code = encode("fill", {"put_kg": 4000.0}, minutes=NOON, nonce=1, bin="A", mark=planned[2])
    with Book.open(folder, write=True, clock=clock()) as book:
        change = book.remove(Fill, "fill-1")
    arguments = {
        "new": ("new", tmp_path / "n", "--width", "16.3", "--rows", "64", "--spacing", "200", "--crop", "pea", "--rate", "200"),
        "show": ("show", folder),
        "history": ("history", folder, "--limit", "0"),
        "undo": ("undo", folder, change),
        "check": ("check", folder),
        "publish": ("publish", folder, tmp_path / "x.gpkg"),
        "dump": ("dump", folder),
        "merge": ("merge", planned[0], code),
    }[name]
    schema = json.loads((root / "docs" / "schemas" / f"book-{name}.json").read_text(encoding="utf-8"))
    data = json.loads(run(*arguments, "--json").stdout)
    jsonschema.validate(data, schema)
    assert data
