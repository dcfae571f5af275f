"""The local site: who may talk to it, forms that keep what was typed, history, and every component from its examples."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from starlette.testclient import TestClient

from evenstand.base.clock import FixedClock
from evenstand.formats.nmea import checksum
from evenstand.web.site import create_app


@pytest.fixture
def empty(tmp_path):
    """A site on a folder that holds nothing yet."""
    with TestClient(create_app(tmp_path / "book"), base_url="http://127.0.0.1") as client:
        yield client


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """A site on the demo farm."""
    from evenstand.desk.demo import MORNING, build_book
    from evenstand.verify import run

    folder = tmp_path_factory.mktemp("site") / "book"
    build_book(folder)
    app = create_app(folder, clock=FixedClock(MORNING), verification=lambda: run().to_dict())
    with TestClient(app, base_url="http://127.0.0.1") as client:
        yield client


def test_a_foreign_host_and_a_foreign_form_are_refused(farm):
    assert farm.get("/", headers={"host": "evil.example"}).status_code == 421
    assert farm.post("/units", data={"units": "us"}, headers={"origin": "http://evil.example"}).status_code == 403
    assert farm.post("/units", data={"units": "us"}, headers={"origin": "null"}).status_code == 403
    assert farm.post("/units", data={"units": "us"}, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert farm.get("/").headers["content-security-policy"].startswith("default-src 'self'")


def test_a_form_longer_than_its_page_takes_is_refused_before_it_is_read(farm):
    log = {"content-length": str(513 * 2**20), "content-type": "multipart/form-data; boundary=x"}
    assert farm.post("/after/trail", headers=log, content=b"x").status_code == 413
    assert farm.post("/machine/outline", headers={**log, "content-length": str(65 * 2**20)}, content=b"x").status_code == 413
    assert farm.post("/units", data={"units": "si", "back": "/" * (2**20 + 1)}).status_code == 413
    assert farm.post("/units", content=(part for part in [b"units=si"])).status_code == 411


def test_a_method_or_a_form_that_a_page_does_not_take_is_told_on_a_page(farm):
    assert "takes no such form" in farm.post("/before").text
    answer = farm.post("/units", data={"other": "1"})
    assert answer.status_code == 422
    assert "not complete" in answer.text


def test_an_empty_book_leads_to_the_first_page_and_ten_values_to_a_card(empty):
    first = empty.get("/")
    assert first.url.path == "/start"
    assert first.text.count("<input") - first.text.count('type="hidden"') <= 10
    card = empty.post(
        "/start",
        data={
            "outfit": "Own drill",
            "rows": "40",
            "spacing": "300 mm",
            "speed": "8",
            "bins": "A=5, B=3",
            "crop": "barley",
            "rate": "110",
            "area": "50",
        },
    )
    assert card.status_code == 200
    assert card.url.path.endswith("/card")
    assert "12.00 m" in card.text
    assert "Needs product per turn of the meter" in card.text
    assert empty.get("/").url.path == "/"


def test_half_of_the_numbers_is_enough(empty):
    card = empty.post("/start", data={"crop": "wheat", "rate": "120"})
    assert card.status_code == 200
    assert "120 kg/ha" in card.text


def test_what_was_typed_stays_and_the_fault_is_tied_to_its_field(empty):
    page = empty.post("/start", data={"rows": "many", "crop": "wheat", "width": "12 kg"})
    assert page.status_code == 422
    assert 'value="many"' in page.text
    assert 'aria-invalid="true"' in page.text
    assert 'href="#f-rows"' in page.text
    assert 'href="#f-width"' in page.text


def test_typed_text_is_escaped(empty):
    page = empty.post("/start", data={"rows": "<script>alert(1)</script>"})
    assert "<script>alert" not in page.text


def test_a_value_is_tried_without_being_stored(farm):
    tried = farm.get("/before/home-wheat", params={"rate:wheat": "60"})
    assert "60 kg/ha" in tried.text
    assert "121 kg/ha" in farm.get("/before/home-wheat").text
    wrong = farm.get("/before/home-wheat", params={"speed": "fast"})
    assert "has no number" in wrong.text


def test_every_number_that_is_computed_opens_its_working(farm):
    card = farm.get("/before/home-wheat/card").text
    assert card.count("Show the working") >= 6
    assert "rate_kg_ha * speed_m_s * width_m" in card
    assert "capacity_m3 * density_kg_m3 * fill_share" in card
    plan = farm.get("/before/home-wheat").text
    assert plan.count("Show the working") == card.count("Show the working")
    fill = farm.get("/at-the-fill", params={"area": "33", "put": "4000", "before": "100", "left": "130", "dose": "120"}).text
    assert "100 + 4000 - 130" in fill
    assert "120.30303" in fill  # (100 + 4000 - 130) / 33
    catch = farm.post("/at-the-fill/catch", data={"turns": "4", "masses": "5.20; 5.24", "tare": "0.18"}).text
    assert "Catch 2: 5.240 kg less 0.180 kg of bag, over 4 turns: 1.265 kg/turn." in catch


def test_a_working_stands_only_beside_the_value_it_gives(farm):
    from evenstand.book import Book
    from evenstand.desk.planning import job_inputs
    from evenstand.expect import plan_for
    from evenstand.expect.lines import line, shown
    from evenstand.machine import field_capacity

    with Book.open(farm.app.state.site.folder) as book:
        card = plan_for(job_inputs(book, "home-wheat")).card
    worked = [c for c in card if c.working is not None]
    assert len(worked) >= 30
    for c in worked:
        assert c.working.result == pytest.approx(c.value, rel=1e-6, abs=1e-12)
    shows = shown(field_capacity, speed_m_s=2.0, width_m=10.0, efficiency=1.0)
    assert line("a", "time", "A", "capacity", 7.2, shows=shows).working is not None
    assert line("a", "time", "A", "capacity", 7.3, shows=shows).working is None


def test_units_change_what_is_shown_and_not_what_is_stored(farm):
    farm.post("/units", data={"units": "prairie", "back": "/before/home-wheat/card"})
    assert "lb/ac" in farm.get("/before/home-wheat/card").text
    farm.post("/units", data={"units": "si"})
    assert "121 kg/ha" in farm.get("/before/home-wheat/card").text
    assert farm.post("/units", data={"units": "si", "back": "//evil.example"}, follow_redirects=False).headers["location"] == "/"


def test_the_fill_check_answers_in_one_sentence_in_the_readers_units(farm):
    page = farm.get("/at-the-fill", params={"area": "33", "put": "4000", "left": "30", "left_how": "light", "dose": "120"})
    assert 'class="sentence"' in page.text
    assert farm.get("/at-the-fill", params={"area": "-3", "put": "4000", "left": "0", "dose": "120"}).text.count("summary") >= 1


def test_while_typing_an_empty_field_is_no_fault_and_a_wrong_one_is(farm):
    asked = farm.get("/at-the-fill", params={"area": "33"}).text
    assert "is missing" in asked
    typing = farm.get("/at-the-fill", params={"area": "33", "live": "1"}).text
    assert "is missing" not in typing
    assert 'value="33"' in typing
    assert "has no number" in farm.get("/at-the-fill", params={"area": "x", "live": "1"}).text


def test_a_fill_is_kept_shown_and_undone_by_a_change_of_its_own(farm):
    import re

    page = farm.post("/at-the-fill/entry", data={"where": "home-wheat|D", "put": "4 100", "how": "ticket", "area": "0"})
    assert page.status_code == 200
    assert "Kept" in page.text
    history = farm.get("/proof/history").text
    assert "home-wheat-d" in history
    change = re.search(r'name="change" value="(\d+)"', history).group(1)
    undone = farm.post("/proof/undo", data={"change": change})
    assert undone.status_code == 200
    assert "undone on the page" in undone.text
    again = farm.post("/proof/undo", data={"change": change})
    assert again.status_code == 422


def test_a_fill_that_cannot_be_is_refused_and_nothing_is_kept(farm):
    before = farm.get("/proof/history").text.count('class="change"')
    page = farm.post("/at-the-fill/entry", data={"where": "home-wheat|D", "put": "-4", "how": "ticket"})
    assert page.status_code == 422
    assert 'value="-4"' in page.text
    assert 'href="#f-put"' in page.text
    assert farm.get("/proof/history").text.count('class="change"') == before


def test_the_history_comes_a_page_at_a_time_newest_first(farm):
    from evenstand.web.pages import proof

    for i in range(proof.A_PAGE):
        farm.post("/units", data={"units": "si" if i % 2 else "us"}, follow_redirects=False)
    first = farm.get("/proof/history").text
    assert first.count('class="change"') == proof.A_PAGE
    import re

    older = farm.get(re.search(r'href="(/proof/history\?before=\d+)"', first).group(1)).text
    assert older.count('class="change"') >= 1
    ids = [int(i) for i in re.findall(r'name="change" value="(\d+)"', first + older)]
    assert ids == sorted(ids, reverse=True)
    assert len(set(ids)) == len(ids)
    farm.post("/units", data={"units": "si"})


def test_a_step_is_put_off_until_tomorrow_and_taken_up_again(farm):
    import html
    import re

    home = farm.get("/").text
    assert re.search(r'<a href="/before/[^"]+">[^<]+</a>\. ', home), "every step says whose job it is"
    key = html.unescape(re.search(r'name="key" value="([^"]+)"', home).group(1))
    what = html.unescape(re.search(r'name="what" value="([^"]+)"', home).group(1))
    steps = home.count('<li class="step">')
    put_off = farm.post("/next/put-off", data={"key": key, "what": what}).text
    assert put_off.count('<li class="step">') == steps - 1
    assert "<h2>Put off</h2>" in put_off
    assert "Comes back on" in put_off
    site = farm.app.state.site
    today, site.clock = site.clock, FixedClock(datetime(2027, 5, 31, 12, tzinfo=UTC))
    later = farm.get("/").text
    site.clock = today
    assert "<h2>Put off</h2>" not in later, "it comes back by itself"
    again = farm.post("/next/reopen", data={"key": key}).text
    assert again.count('<li class="step">') == steps
    assert "<h2>Put off</h2>" not in again


def test_a_catch_becomes_the_factor_in_force(farm):
    page = farm.post("/at-the-fill/catch", data={"where": "dogleg-pea|D", "turns": "4", "masses": "5.20; 5.24", "tare": "0.18"})
    assert page.status_code == 200
    assert "Kept for bin D" in page.text
    assert "1.260 kg/turn" in farm.get("/before/dogleg-pea/card").text


def test_an_outline_is_read_and_a_wrong_one_told(farm, tmp_path):
    square = '{"type":"Feature","properties":{"name":"North"},"geometry":{"type":"Polygon","coordinates":[[[-105,51],[-104.99,51],[-104.99,51.008],[-105,51.008],[-105,51]]]}}'
    page = farm.post("/machine/outline", files={"file": ("north.geojson", square)})
    assert page.status_code == 200
    assert "North" in page.text
    wrong = farm.post("/machine/outline", files={"file": ("north.geojson", square[:60])})
    assert wrong.status_code == 422
    assert "north.geojson" in wrong.text
    assert str(tmp_path) not in wrong.text


def test_sheets_come_as_one_zip(farm):
    import io
    import zipfile

    answer = farm.get("/before/home-wheat/sheets")
    names = zipfile.ZipFile(io.BytesIO(answer.content)).namelist()
    assert {"cab-sheet.pdf", "value-card.pdf", "fill-slip.pdf", "catch-card.pdf", "run-map.pdf", "pocket-page.html"} <= set(names)


def test_the_proof_page_shows_the_verification_as_computed_now(farm):
    page = farm.get("/proof").text
    assert "Agronomy:" in page
    assert "seeding rate" in page
    assert "DISAGREES" not in page


def test_a_page_that_is_not_there_says_so(farm):
    page = farm.get("/nowhere")
    assert page.status_code == 404
    assert "No such page" in page.text


def test_every_macro_has_an_example_and_every_example_renders(farm):
    import re
    from importlib.resources import files

    from evenstand.web.examples import EXAMPLES

    macros = set(re.findall(r"{% macro (\w+)\(", files("evenstand.web").joinpath("templates/parts.html").read_text()))
    assert {e.macro for e in EXAMPLES} == macros
    page = farm.get("/-/components").text
    assert page.count('<section id="x-') == len(EXAMPLES)
    for section in page.split('<section id="x-')[1:]:
        body = section.partition("</h2>")[2].partition("</section>")[0]
        assert len(re.sub(r"<[^>]+>|\s", "", body)) >= 3, section[:80]
    for text in ("Cannot be told yet", "Does not hold", "Doubtful", "Holds", "not known", "Not kept yet", "120 kg/ha"):
        assert text in page


# what plan and card ask for


def test_what_the_card_asks_of_a_job_is_typed_kept_and_on_the_card(farm):
    page = farm.get("/before/dogleg-pea/facts")
    assert page.status_code == 200
    assert "Type it with the job" in farm.get("/before/dogleg-pea/card").text or "workable" in farm.get("/before/dogleg-pea/card").text
    kept = farm.post(
        "/before/dogleg-pea/facts",
        data={"workable": "70 %", "start_on": "2027-05-03", "weather.relative_humidity": "0.5", "step_kg_ha:pea": "3"},
    )
    assert "Kept." in kept.text
    card = farm.get("/before/dogleg-pea/card").text
    assert "Asked of a workable day" in card
    assert "3 kg/ha" in card
    wrong = farm.post("/before/dogleg-pea/facts", data={"workable": "200 %", "day_hours": "soon"})
    assert wrong.status_code == 422
    assert 'value="soon"' in wrong.text


def test_what_the_card_asks_of_an_outfit_is_typed_and_a_wrong_head_told(farm):
    assert "a flag test" in farm.get("/before/eighty-wheat/card").text
    kept = farm.post(
        "/machine/B",
        data={"flag.on_m": "8.2", "flag.off_m": "11", "flag.speed_m_s": "7 km/h", "stand_in_m_s": "6.5", "caught": "A=0.60, B=0.55"},
    )
    assert "Kept." in kept.text
    assert "Now 8.20 m" in kept.text
    assert "flag test of 2027-05-09" in farm.get("/before/eighty-wheat/card").text
    wrong = farm.post("/machine/B", data={"caught": "Z=1"})
    assert wrong.status_code == 422
    assert "no head" in wrong.text
    far = farm.post("/machine/B", data={"fan_turns_s": "90000"})
    assert far.status_code == 422
    assert "out of range" in far.text


def test_sentences_and_errors_follow_the_units_of_the_book(farm):
    farm.post("/units", data={"units": "prairie", "back": "/"})
    try:
        plan = farm.get("/before/home-wheat").text
        assert "52.99 ft for a tool of" in plan
        assert "16.15 m" not in plan
        assert "107 lb/ac" in farm.get("/before/home-wheat", params={"speed": "fast"}).text
    finally:
        farm.post("/units", data={"units": "si", "back": "/"})


# trails


@pytest.fixture(scope="module")
def logged(tmp_path_factory):
    """A site on the demo farm, and a machine's log of a short simulated day."""
    from evenstand.desk.demo import MORNING, build_book
    from evenstand.desk.planning import job_inputs
    from evenstand.expect import plan_for
    from evenstand.formats.delimited import write_trail_csv
    from evenstand.simulate import parse_fault, simulate_day

    folder = tmp_path_factory.mktemp("trails") / "book"
    build_book(folder)
    app = create_app(folder, clock=FixedClock(MORNING))
    with TestClient(app, base_url="http://127.0.0.1") as client:
        with app.state.site.book() as book:
            inputs = job_inputs(book, "home-wheat")
        day = simulate_day(inputs.outfit, plan_for(inputs), inputs.boundary, seed=5, faults=(parse_fault("run=37"),), max_area_ha=12.0)
        log = folder.parent / "day.csv"
        write_trail_csv(day.trail, log)
        yield client, log.read_bytes()


def _token(text):
    import re

    return re.search(r'name="token" value="([^"]+)"', text).group(1)


def test_a_log_is_read_after_its_columns_were_confirmed_and_the_next_one_at_once(logged):
    site, log = logged
    shown = site.post("/after/trail", data={"job": "home-wheat"}, files={"file": ("day.csv", log)})
    assert shown.status_code == 200
    assert "What each column is taken for" in shown.text
    assert "<legend>speed_m_s</legend>" in shown.text
    assert "run_1 to run_64" in shown.text
    assert "day.csv" not in site.get("/after").text, "nothing is kept before it is confirmed"
    read = site.post("/after/trail/columns", data={"token": _token(shown.text), "job": "home-wheat"})
    assert read.url.path == "/after/trail/home-wheat-day"
    assert "confirmed and remembered" in read.text
    assert '<p class="claim">Run 37' in read.text
    assert "<svg" in read.text
    following = site.post("/after/trail", data={"job": "dogleg-pea"}, files={"file": ("next.csv", log + b"\n")})
    assert following.url.path == "/after/trail/dogleg-pea-next"
    assert "read as they were confirmed before" in following.text
    assert site.get("/after").text.count('href="/after/trail/') == 2


def test_a_column_left_out_stays_out_and_a_wrong_unit_is_told_with_what_was_typed(logged):
    site, log = logged
    page = site.post("/after/trail", data={"job": "home-wheat", "again": "yes"}, files={"file": ("wrong.csv", log)})
    assert "What each column is taken for" in page.text, "columns are shown again when asked for"
    names = [part.partition("<")[0] for part in page.text.split("<legend>")[1:]]
    speed, fan = names.index("speed_m_s"), names.index("fan_turns_s")
    form = {"token": _token(page.text), "job": "home-wheat", f"role-{fan}": "ignore", f"unit-{fan}": ""}
    wrong = site.post("/after/trail/columns", data={**form, f"role-{speed}": "speed", f"unit-{speed}": "kg"})
    assert wrong.status_code == 422
    assert "no unit of speed" in wrong.text
    assert f'id="unit-{speed}" name="unit-{speed}" value="kg"' in wrong.text
    right = site.post("/after/trail/columns", data={**form, f"unit-{speed}": "m/s"})
    assert right.status_code == 200
    key = right.url.path.rpartition("/")[2]
    with site.app.state.site.book() as book:
        assert book.trail(key).fan_turns_s is None
        assert book.trail(key).speed_m_s is not None
    gone = site.post("/after/trail/columns", data={"token": form["token"], "job": "home-wheat"})
    assert gone.status_code == 422
    assert "no longer here" in gone.text


def test_task_data_and_receiver_sentences_say_themselves_what_they_are(logged, tmp_path):
    from evenstand.formats.iso11783.writing import TaskSet, write_task_data

    site, _ = logged
    with site.app.state.site.book() as book:
        trail = book.trail("home-wheat-day")
    write_task_data(TaskSet(name="sow", trail=trail), tmp_path / "task.zip")
    lat, lon = trail.frame.lat_deg, -trail.frame.lon_deg
    bodies = [
        f"GPRMC,1409{k:02d}.00,A,{int(lat):02d}{(lat % 1) * 60 + k * 0.0012:07.4f},N,{int(lon):03d}{(lon % 1) * 60:07.4f},W,4.10,0.0,090527,,,A"
        for k in range(20)
    ]
    sentences = "".join(f"${body}*{checksum(body.encode()):02X}\r\n" for body in bodies)
    for name, data in (("task.zip", (tmp_path / "task.zip").read_bytes()), ("fixes.nmea", sentences.encode())):
        read = site.post("/after/trail", data={"job": "home-wheat"}, files={"file": (name, data)})
        assert read.status_code == 200, read.text[:2000]
        assert read.url.path.startswith("/after/trail/home-wheat-"), read.url
    broken = site.post("/after/trail", data={"job": "home-wheat"}, files={"file": ("cut.zip", (tmp_path / "task.zip").read_bytes()[:900])})
    assert broken.status_code == 422


def test_a_file_that_is_no_log_is_refused_with_its_name_and_nothing_waits(logged):
    site, log = logged
    for name, data, word in (
        ("empty.csv", b"", "empty"),
        ("picture.csv", b"\x89PNG1234", "picture"),
        ("cut.csv", log[: len(log) // 2], "breaks off"),
    ):
        page = site.post("/after/trail", data={"job": "home-wheat"}, files={"file": (name, data)})
        if page.status_code == 200:  # columns can be shown of a cut file; reading it is refused
            page = site.post("/after/trail/columns", data={"token": _token(page.text), "job": "home-wheat"})
        assert page.status_code == 422
        assert name in page.text
        assert word in page.text
        assert "/tmp/" not in page.text
    assert site.post("/after/trail", data={"job": "home-wheat"}).status_code == 422


def test_readings_without_a_bin_or_without_a_number_are_told_at_their_field(logged):
    site, _ = logged
    page = site.post("/after/check", data={"job": "home-wheat", "put": "4000"})
    assert page.status_code == 422
    assert 'href="#f-put"' in page.text
    assert 'value="4000"' in page.text
    assert site.post("/after/check", data={"job": "home-wheat"}).status_code == 422
    kept = site.post("/after/check", data={"job": "home-wheat", "area_counter": "12.1", "boundary_area": "12", "width_tape": "16.26"})
    assert kept.status_code == 200
    assert "The readings are kept." in kept.text
    assert "What holds" in kept.text
    assert "factor:" not in kept.text, "causes are said in words"


def test_the_tally_says_what_came_and_where_it_went(logged):
    site, _ = logged
    page = site.get("/after/tally").text
    assert "Not accounted for" in page
    assert "4\u202f320 kg" in page
