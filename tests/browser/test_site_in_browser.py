"""The site in a real browser: accessibility, keyboard, scripts off, phone width, no request leaves the machine."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser

PAGES = (
    "/", "/start", "/before", "/before/new", "/before/{job}", "/before/{job}/card", "/before/{job}/drawing", "/at-the-fill", "/at-the-fill/catch",
    "/at-the-fill/entry", "/after", "/after/check", "/after/tally", "/machine", "/machine/{outfit}", "/shed", "/proof", "/proof/history",
    "/-/components",
)  # fmt: skip
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@pytest.fixture(scope="module")
def keys(demo_book):
    from evenstand.book import Book
    from evenstand.model import Job, Outfit

    # the server holds the book for writing; reading beside it is allowed
    with Book.open(demo_book) as book:
        job = next(j for j in book.all(Job) if j.field_key)
        return {"job": job.key, "outfit": book.all(Outfit)[0].key}


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("width", [390, 1280])
def test_a_page_has_no_violations_fits_its_width_and_stays_at_home(chromium, address, axe_source, keys, path, width):
    context = chromium.new_context(viewport={"width": width, "height": 844})
    page = context.new_page()
    outside, problems = [], []
    page.on("request", lambda r: outside.append(r.url) if not r.url.startswith((address, "data:")) else None)
    page.on("console", lambda m: problems.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: problems.append(str(e)))
    answer = page.goto(address + path.format(**keys))
    assert answer.status == 200
    assert page.locator("h1").count() == 1
    assert page.locator("main").count() == 1
    page.evaluate(axe_source)
    result = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)
    assert [(v["id"], [n["target"] for n in v["nodes"]][:3]) for v in result["violations"]] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert outside == []
    assert problems == []
    context.close()


def test_the_keyboard_reaches_the_menu_the_page_and_the_button(chromium, address):
    page = chromium.new_page()
    page.goto(address + "/at-the-fill")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    seen = []
    for _ in range(12):
        page.keyboard.press("Tab")
        seen.append(page.evaluate("document.activeElement.name || document.activeElement.textContent.trim()"))
    assert seen[:3] == ["Fill check", "Catch test", "Enter a fill"]
    assert "area" in seen
    assert "Check" in seen
    page.close()


def test_the_fill_check_answers_while_typing_and_old_answers_are_dropped(chromium, address):
    page = chromium.new_page()
    page.goto(address + "/at-the-fill")
    for name, value in (("area", "33"), ("put", "4000"), ("left", "0"), ("dose", "120")):
        page.fill(f"#f-{name}", value)
    page.wait_for_selector("#result .answer")
    assert "%" in page.inner_text("#result .sentence")
    page.close()


def test_with_scripts_off_the_fill_check_and_the_first_page_work(chromium, address):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address + "/at-the-fill")
    for name, value in (("area", "33"), ("put", "4000"), ("left", "0"), ("dose", "120")):
        page.fill(f"#f-{name}", value)
    page.click("button:has-text('Check')")
    assert "%" in page.inner_text(".sentence")
    page.goto(address + "/start")
    page.fill("#f-outfit", "Own drill")
    page.fill("#f-rows", "40")
    page.fill("#f-spacing", "300 mm")
    page.fill("#f-speed", "8")
    page.fill("#f-bins", "A=5, B=3")
    page.fill("#f-crop", "barley")
    page.fill("#f-rate", "110")
    page.click("button:has-text('Make my card')")
    assert page.url.endswith("/card")
    text = page.inner_text("main")
    assert "12.00 m" in text
    assert "Needs product per turn of the meter" in text
    context.close()


def test_a_page_prints_without_its_menu(chromium, address, keys):
    page = chromium.new_page()
    page.goto(address + f"/before/{keys['job']}/card")
    page.emulate_media(media="print")
    assert not page.is_visible("nav")
    assert page.is_visible("table.card >> nth=0")
    page.close()
