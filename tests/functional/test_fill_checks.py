"""The fill check with a book: what is on record is offered, half the numbers will do, and earlier fills sharpen the answer."""

from __future__ import annotations

import dataclasses
import re

import pytest
from fastapi.testclient import TestClient

from evenstand.base.clock import SystemClock
from evenstand.base.errors import MissingError
from evenstand.book import Book, JobReading
from evenstand.desk.demo import build_book
from evenstand.desk.fill_bins import bin_now, bins_now
from evenstand.desk.filling import FillSaid, answer_fill, keep_check, total_text
from evenstand.model import Fill, Job
from evenstand.web.site import create_app

C = "eighty-wheat|C"


@pytest.fixture
def folder(tmp_path):
    build_book(tmp_path / "book")
    return tmp_path / "book"


@pytest.fixture
def site(folder):
    with TestClient(create_app(folder), base_url="http://127.0.0.1") as client:
        client.headers["Origin"] = "http://127.0.0.1"
        yield client


def now_of(folder, key=C):
    with Book.open(folder) as book:
        return bin_now(book, key)


def test_the_last_fill_is_offered_and_the_counter_joins_the_ones_before(folder):
    now = now_of(folder)
    assert (now.put_kg, now.before_kg, now.counter_ha, now.fills) == (970.0, 300.0, 24.9, 3)
    assert [(t.area_ha, t.put_kg, t.level_kg) for t in now.earlier] == [(13.2, 1850.0, 250.0), (pytest.approx(11.7), 1500.0, 300.0)]


def test_two_numbers_are_enough_where_the_book_knows_the_rest(folder):
    now = now_of(folder)
    found = answer_fill(now, FillSaid(area_ha=9.0, look="light"))
    # 300 + 970 - 120 = 1,150 kg over 9 ha at 121 kg/ha = 1,089 kg
    assert "1\u202f150 kg went out" in found.finding.claim
    assert found.total.fills == 3
    # 0 + 1850 + 1500 + 970 - 120 = 4,200 kg over 33.9 ha at 121 kg/ha = 4,101.9 kg
    assert found.total.change == pytest.approx(4200 / 4101.9 - 1, rel=1e-6)
    assert any("low-level light comes on at 120 kg" in t for t in found.taken)


def test_the_counter_now_does_as_well_as_the_area_since(folder):
    now = now_of(folder)
    by_counter = answer_fill(now, FillSaid(counter_ha=33.9, look="light"))
    assert by_counter.area_ha == pytest.approx(9.0)
    with pytest.raises(MissingError, match="stands before the fill"):
        answer_fill(now, FillSaid(counter_ha=20.0, look="light"))


def test_the_total_is_sharper_than_the_fill_and_says_how_many_more(folder):
    now = now_of(folder)
    together = answer_fill(now, FillSaid(area_ha=9.0, look="light")).total
    alone = answer_fill(dataclasses.replace(now, earlier=()), FillSaid(area_ha=9.0, look="light")).total
    assert together.sd < alone.sd
    assert together.more is not None
    assert together.more > 0
    assert f"{together.more} more fills like these until 2 % can be seen" in total_text(together)
    weighed = answer_fill(None, FillSaid(area_ha=33, put_kg=4100, put_how="ticket", left_kg=140, left_how="weighed", dose_kg_ha=120))
    assert weighed.total.more == 0
    assert "An error of 2 % can be seen." in total_text(weighed.total)


def test_what_is_missing_is_named_with_the_way_to_get_it(folder):
    with pytest.raises(MissingError) as told:
        answer_fill(None, FillSaid())
    assert {f.where for f in told.value.faults} == {"area", "put", "left", "dose"}
    assert all(f.cure for f in told.value.faults)
    unfilled = now_of(folder, "home-wheat|D")
    with pytest.raises(MissingError) as put:
        answer_fill(unfilled, FillSaid(area_ha=20, look="light"))
    assert [f.where for f in put.value.faults] == ["put"]


def test_brim_full_needs_no_mass(folder):
    unfilled = now_of(folder, "home-wheat|D")
    found = answer_fill(unfilled, FillSaid(area_ha=20, put_how="brim", look="half"))
    assert found.put_kg == pytest.approx(unfilled.full_kg)
    assert found.left_kg == pytest.approx(unfilled.full_kg / 2)


def test_a_bin_run_empty_is_not_nought(folder):
    found = answer_fill(now_of(folder), FillSaid(area_ha=9.0, look="empty"))
    assert found.left_kg > 0
    assert any("common practice" in t for t in found.taken)


def test_a_bin_with_nothing_in_it_is_answered(site):
    page = site.get("/at-the-fill", params={"where": "home-wheat|D", "area": "3", "put": "0", "left": "0"})
    assert page.status_code == 200
    assert "0 kg went out" in page.text


def test_bins_of_one_product_are_checked_together(folder):
    with Book.open(folder, write=True, who="test") as book:
        job = next(j for j in book.all(Job) if j.key == "eighty-wheat")
        asks = tuple(dataclasses.replace(a, bins=("B", "C")) if a.product == "wheat" else a for a in job.asks)
        book.put(dataclasses.replace(job, asks=asks))
        book.put(Fill(
            key="b1", outfit="B", bin="B", product="wheat", job="eighty-wheat", at="2027-05-03T13:06:00.000Z", put_kg=1000, put_sd_kg=5, area_ha=0.0,
            level_before_kg=0.0, level_before_sd_kg=0.0,
        ))  # fmt: skip
        found = {b.key: b for b in bins_now(book, "eighty-wheat")}
        both = found["eighty-wheat|B+C"]
        assert both.dose_kg_ha == pytest.approx(121)
        assert found["eighty-wheat|B"].dose_kg_ha + found["eighty-wheat|C"].dose_kg_ha == pytest.approx(121)
        assert both.put_kg == 1850 + 1500 + 970 + 1000
        answer = answer_fill(both, FillSaid(counter_ha=40.0, left_kg=480, left_how="weighed"))
        assert answer.finding.claim.startswith("Wheat seed")
        assert answer.area_ha == 40.0
        book.put(dataclasses.replace(job, asks=tuple(dataclasses.replace(a, in_turn=True) if a.product == "wheat" else a for a in asks)))
        turned = {b.key: b for b in bins_now(book, "eighty-wheat")}
        assert set(turned) == {"eighty-wheat|A", "eighty-wheat|B+C"}
        assert turned["eighty-wheat|B+C"].dose_kg_ha == pytest.approx(121)


def test_what_was_typed_is_kept_once_and_becomes_the_next_checks_record(folder):
    with Book.open(folder, write=True, who="test") as book:
        now = bin_now(book, "home-wheat|D")
        said = FillSaid(area_ha=20.0, counter_ha=20.0, put_kg=4100, put_how="ticket", look="light")
        kept = keep_check(book, now, said, answer_fill(now, said), clock=SystemClock())
        assert kept == ("the fill", "the level", "the area counter")
        (fill,) = book.all(Fill, job="home-wheat")
        assert (fill.put_kg, fill.area_ha, fill.how) == (4100, 0.0, "ticket")
        then = bin_now(book, "home-wheat|D")
        again = keep_check(book, then, said, answer_fill(then, said), clock=SystemClock())
        assert again == ("the level", "the area counter")
        assert len(book.all(Fill, job="home-wheat")) == 1
        assert {r.reading.quantity for r in book.all(JobReading, job="home-wheat")} == {"level:D", "area_counter"}


def test_the_page_offers_the_bin_that_was_filled_last(site):
    page = site.get("/at-the-fill").text
    assert re.search(r'value="eighty-wheat\|C" checked', page)
    assert "970 kg in" in page
    found = site.get("/at-the-fill", params={"where": C, "area": "9", "look": "light"}).text
    assert re.search(r'class="sentence" data-say>Bin C [^<]+went out; [^<]+ to [^<]+ was to be expected\.</p>', found)
    assert "Over 3 fills together" in found


def test_the_page_keeps_and_says_what(site):
    kept = site.post("/at-the-fill/keep", data={"where": C, "area": "9", "look": "light"})
    assert kept.status_code == 200
    assert "Kept: the level, the area counter." in kept.text
    refused = site.post("/at-the-fill/keep", data={"where": "none", "area": "9", "put": "100", "left": "0", "dose": "10"})
    assert refused.status_code == 422
    assert 'href="#f-where"' in refused.text
    wrong = site.post("/at-the-fill/keep", data={"where": C, "area": "-9", "look": "light"})
    assert wrong.status_code == 422


@pytest.mark.parametrize("profile", ["si", "prairie", "us"])
def test_each_profile_reads_its_own_units(site, profile):
    site.post("/units", data={"units": profile, "back": "/"})
    area = {"si": "9 ha", "prairie": "22.24 ac", "us": "22.24 ac"}[profile]
    bare = area.split()[0]
    one = site.get("/at-the-fill", params={"where": C, "area": area, "look": "light"}).text
    two = site.get("/at-the-fill", params={"where": C, "area": bare, "look": "light"}).text

    def sentence(text):
        return re.search(r"data-say>([^<]+)<", text).group(1)

    assert sentence(one) == sentence(two)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--area", "-3", "--put", "4000", "--left", "400", "--dose", "121"], "--area: -3 cannot be (above 0)"),
        (["--area", "0", "--put", "4000", "--left", "400", "--dose", "121"], "--area: 0 cannot be (above 0)"),
        (["--area", "29", "--put", "4000", "--left", "four", "--dose", "121"], "--left: 'four' has no number"),
        (["--area", "29 kg", "--put", "4000", "--left", "400", "--dose", "121"], "'kg' is no unit of area"),
        (["--area", "1,200", "--put", "4000", "--left", "400", "--dose", "121"], "can be read two ways"),
        (["--put", "4000"], "--area: is missing"),
        (["--job", "eighty-wheat"], "go together"),
        (["--job", "nothing", "--book", "{book}", "--bin", "C"], "no job 'nothing'"),
        (["--job", "eighty-wheat", "--book", "{book}", "--bin", "Q"], "no bin 'Q'"),
        (["--job", "eighty-wheat", "--book", "{book}", "--bin", "C", "--counter", "3", "--looks", "light"], "stands before the fill"),
        (["--job", "eighty-wheat", "--book", "{book}", "--bin", "C"], "the area since the fill is missing"),
    ],
)
def test_the_command_tells_what_is_wrong(folder, options, words):
    from click.testing import CliRunner

    from evenstand.base.errors import EvenstandError
    from evenstand.cli.fill import command

    result = CliRunner().invoke(command, [o.format(book=folder) for o in options])
    assert isinstance(result.exception, EvenstandError)
    assert words in str(result.exception)


def test_the_command_takes_from_the_book_what_is_not_typed(folder):
    from click.testing import CliRunner

    from evenstand.cli.fill import command

    result = CliRunner().invoke(
        command, ["--book", str(folder), "--job", "eighty-wheat", "--bin", "C", "--area", "9 ha", "--looks", "light"]
    )
    assert result.exception is None
    assert "970 kg was put in, known by a share of a ticket, on record." in " ".join(result.output.split())
    assert "Over 3 fills together" in result.output


def test_the_slip_says_how_many_fills_it_takes_by_how_they_are_known(folder):
    from evenstand.desk.sheets import believable, book_context

    with Book.open(folder) as book:
        context = book_context(book, "home-wheat", profile="si", made_at="2027-05-04T06:00:00.000Z", who="")
    told = {(x.bin, x.how): x for x in believable(context)}
    light, eye = told[("D", "weighed in, low-level light")], told[("D", "weighed in, level by eye")]
    assert light.fills < eye.fills
    assert light.share < eye.share
    # by eye: 10 % of a full bin over all that n fills used, against half of 2 %
    used = 1 - 200 / 4777.74
    assert eye.fills == pytest.approx(0.10 / used / 0.01, abs=2)
