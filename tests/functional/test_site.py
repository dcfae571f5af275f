"""The local site: who may talk to it, forms that keep what was typed, history, and every component from its examples."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from evenstand.base.clock import FixedClock
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


def test_units_change_what_is_shown_and_not_what_is_stored(farm):
    farm.post("/units", data={"units": "prairie", "back": "/before/home-wheat/card"})
    assert "lb/ac" in farm.get("/before/home-wheat/card").text
    farm.post("/units", data={"units": "si"})
    assert "121 kg/ha" in farm.get("/before/home-wheat/card").text
    assert farm.post("/units", data={"units": "si", "back": "//evil.example"}, follow_redirects=False).headers["location"] == "/"


def test_the_fill_check_answers_in_one_sentence_in_the_readers_units(farm):
    page = farm.get("/at-the-fill", params={"area": "33", "put": "4000", "left": "30", "left_how": "low-light", "dose": "120"})
    assert 'class="sentence"' in page.text
    assert farm.get("/at-the-fill", params={"area": "-3", "put": "4000", "left": "0", "dose": "120"}).text.count("summary") >= 1


def test_a_fill_is_kept_shown_and_undone_by_a_change_of_its_own(farm):
    page = farm.post("/at-the-fill/entry", data={"where": "home-wheat|D", "put": "4 100", "how": "ticket", "area": "0"})
    assert page.status_code == 200
    assert "Kept" in page.text
    history = farm.get("/proof/history").text
    assert "home-wheat-d" in history
    import re

    change = re.search(r'name="change" value="(\d+)"', history).group(1)
    undone = farm.post("/proof/undo", data={"change": change})
    assert undone.status_code == 200
    assert "undone on the page" in undone.text
    again = farm.post("/proof/undo", data={"change": change})
    assert again.status_code == 422


def test_a_fill_that_cannot_be_is_refused_and_nothing_is_kept(farm):
    before = farm.get("/proof/history").text.count("<tr>")
    page = farm.post("/at-the-fill/entry", data={"where": "home-wheat|D", "put": "-4", "how": "ticket"})
    assert page.status_code == 422
    assert farm.get("/proof/history").text.count("<tr>") == before


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
    assert "agronomy.seeding_rate" in page
    assert "DISAGREES" not in page


def test_a_page_that_is_not_there_says_so(farm):
    page = farm.get("/nowhere")
    assert page.status_code == 404
    assert "No such page" in page.text


def test_every_component_renders_each_of_its_examples(farm):
    from evenstand.web.examples import EXAMPLES

    page = farm.get("/-/components").text
    assert page.count('<section id="x-') == len(EXAMPLES)
    assert {e.macro for e in EXAMPLES} >= {
        "num",
        "card_table",
        "finding",
        "steps",
        "answer",
        "error_summary",
        "fields",
        "empty",
        "table",
        "working",
    }
    for text in ("Cannot be told yet", "Does not hold", "Doubtful", "Holds", "not known", "Not kept yet", "120 kg/ha"):
        assert text in page
