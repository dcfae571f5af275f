"""The site in a real browser: accessibility, keyboard, scripts off, phone width, no request leaves the machine."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser

PAGES = (
    "/", "/start", "/before", "/before/new", "/before/{job}", "/before/{job}/card", "/before/{job}/facts", "/before/{job}/blend",
    "/before/{job}/drawing", "/at-the-fill", "/at-the-fill/catch",
    "/at-the-fill/entry", "/at-the-fill?where=eighty-wheat%7CC&area=9&look=light", "/at-the-fill?where=none&area=33&put=4000&left=0&dose=120",
    "/at-the-fill?area=x&put=-4", "/at-the-fill/catch?where=home-wheat%7CD&tare=0.18&masses=6.2", "/at-the-fill/turns?area=0.1&rolled=4.92&width=11.9",
    "/at-the-fill/rows?catches=100+104+96+130", "/machine/{outfit}/proving", "/after", "/after/trail/{trail}", "/after/check", "/after/tally", "/after/stand", "/machine", "/machine/{outfit}",
    "/machine/{outfit}/today", "/shed", "/shed/treat", "/shed/bins", "/proof", "/proof/history", "/-/components",
    "/before/{job}/blend?need:N=77&need:P2O5=39&need:S=10-20", "/before/{job}/blend?need:P2O5=400&most=1",
    "/after/stand?job={job}&counts=40+43+39+45+42+38&size=1&depth=31;left%0A29;left%0A33;left%0A40;right%0A39;right%0A41;right&shallowest=38&deepest=50",
    "/machine/{outfit}/today?temperature=25&fan_set=4400&puff=2.5&under_load=4350&at_lift=3900", "/shed/treat?job={job}&area=40&batch=500&chance=10",
    "/shed/bins?humidity=60+70+84&first=20&bin:A:A=urea&bin:A:C=map",
    "/proof/drill?seed=7", "/proof/drill?seed=7&answer1=distance", "/proof/drill?seed=3&faults=2", "/proof/lessons",
    "/proof/lessons/width", "/machine/{outfit}/proving", "/after/shift", "/after/since", "/after/calls", "/shed/orders",
    "/at-the-fill?where=eighty-wheat%7CC&light_at=34&minutes=4&delivery=240", "/at-the-fill?where=eighty-wheat%7CC&minutes=soon",
)  # fmt: skip
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


TRAIL = "home-wheat-day"


@pytest.fixture(scope="module", autouse=True)
def log(address, demo_book, tmp_path_factory):
    """A short day's log, read through the site's two-step form, so that the trail pages have something to show."""
    import re

    import httpx2

    from evenstand.book import Book
    from evenstand.desk.planning import job_inputs
    from evenstand.expect import plan_for
    from evenstand.formats.delimited import write_trail_csv
    from evenstand.simulate import parse_fault, simulate_day

    with Book.open(demo_book) as book:
        inputs = job_inputs(book, "home-wheat")
    day = simulate_day(inputs.outfit, plan_for(inputs), inputs.boundary, seed=5, faults=(parse_fault("run=37"),), max_area_ha=8.0)
    path = tmp_path_factory.mktemp("log") / "day.csv"
    write_trail_csv(day.trail, path)
    with httpx2.Client(base_url=address, follow_redirects=True, timeout=60, trust_env=False) as site:
        page = site.post("/after/trail", data={"job": "home-wheat"}, files={"file": ("day.csv", path.read_bytes())})
        token = re.search(r'name="token" value="([^"]+)"', page.text).group(1)
        assert site.post("/after/trail/columns", data={"token": token, "job": "home-wheat"}).url.path == f"/after/trail/{TRAIL}"
    return path


@pytest.fixture(scope="module")
def keys(demo_book):
    from evenstand.book import Book
    from evenstand.model import Job, Outfit

    # the server holds the book for writing; reading beside it is allowed
    with Book.open(demo_book) as book:
        job = next(j for j in book.all(Job) if j.field_key)
        return {"job": job.key, "outfit": book.all(Outfit)[0].key, "trail": TRAIL}


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
    for _ in range(16):
        page.keyboard.press("Tab")
        seen.append(page.evaluate("document.activeElement.name || document.activeElement.textContent.trim()"))
    assert seen[:3] == ["Fill check", "Catch test", "No turns shown"]
    assert "area" in seen
    assert "Check" in seen
    page.close()


def test_the_fill_check_answers_while_typing_and_says_so_to_a_screen_reader(chromium, address):
    page = chromium.new_page()
    page.goto(address + "/at-the-fill")
    page.fill("#f-area", "33")
    page.wait_for_timeout(500)
    assert not page.is_visible("#summary"), "fields not yet reached are no faults"
    page.check("input[name=where][value=none]", force=True)
    page.click("details.more > summary")
    for name, value in (("put", "4000"), ("left", "0"), ("dose", "120")):
        page.fill(f"#f-{name}", value)
    page.wait_for_selector("#result .answer")
    sentence = page.inner_text("#result .sentence")
    assert "went out" in sentence
    assert page.text_content("form + [role=status]").strip() == sentence
    assert page.evaluate("document.activeElement.id") == "f-dose", "the answer takes nobody's place"
    page.close()


def test_the_plan_follows_fast_typing_and_an_old_answer_that_comes_late_is_dropped(chromium, address, keys):
    page = chromium.new_page()
    page.goto(address + f"/before/{keys['job']}")
    page.click("#try summary")
    rate = page.locator("#try input[name^='rate:']").first
    held = []

    def slow_first(route):
        if not held:
            held.append(route)  # the first question is answered last
        else:
            route.continue_()

    page.evaluate(
        "() => { window.AbortController = class { signal = undefined; abort() {} }; }"
    )  # an old question cannot even be called back
    page.route("**/*live=1*", slow_first)
    rate.fill("50")
    page.wait_for_timeout(450)
    assert len(held) == 1
    rate.fill("60")
    page.locator("#result", has_text="60 kg/ha").wait_for()
    assert page.get_attribute("#result", "aria-busy") is None
    held[0].continue_()
    page.wait_for_timeout(600)
    text = page.inner_text("#result")
    assert "60 kg/ha" in text
    assert "50 kg/ha" not in text
    assert "60" in page.evaluate("location.search")
    assert "live" not in page.evaluate("location.search")
    assert "Nothing is stored" in page.inner_text("#try")
    page.unroute("**/*live=1*")
    rate.fill("")
    rate.type("1234", delay=20)
    page.locator("#result", has_text="1\u202f234 kg/ha").wait_for()
    page.close()


def test_the_plan_can_be_tried_with_scripts_off(chromium, address, keys):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address + f"/before/{keys['job']}")
    page.click("#try summary")
    page.locator("#try input[name^='rate:']").first.fill("60")
    page.click("button:has-text('Work it out')")
    assert "60 kg/ha" in page.inner_text("#result")
    assert page.locator("#try").get_attribute("open") is not None
    assert page.locator("#try input[name^='rate:']").first.input_value() == "60"
    context.close()


def test_a_refused_form_puts_the_reader_before_what_is_wrong_and_keeps_what_was_typed(chromium, address):
    page = chromium.new_page()
    page.goto(address + "/at-the-fill/entry")
    page.fill("#f-put", "lots")
    page.click("button:has-text('Keep this fill')")
    page.locator("#summary:focus").wait_for()
    assert page.input_value("#f-put") == "lots"
    described = page.get_attribute("#f-put", "aria-describedby")
    assert "no number" in page.inner_text(f"#{described.split()[-1]}")
    page.click("#summary a")
    assert page.evaluate("document.activeElement.id") == "f-put"
    page.close()


def test_a_log_goes_through_two_steps_with_scripts_off(chromium, address, log):
    context = chromium.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(address + "/after")
    page.select_option("#f-job", "dogleg-pea")
    page.select_option("#f-again", "yes")
    page.set_input_files("#f-file", log)
    page.click("button:has-text('Look at it')")
    assert page.inner_text("h1") == "What each column is taken for"
    wide = page.evaluate(
        "[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > 390).map(e => e.outerHTML.slice(0, 120))"
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= 390, wide
    assert page.locator("fieldset").count() < 30, "families of runs and sections are one line"
    page.click("button:has-text('Yes, read it so')")
    assert "/after/trail/dogleg-pea-day" in page.url
    assert "remembered" in page.inner_text("[role=status]")
    context.close()


def test_the_page_of_columns_has_no_violations(chromium, address, axe_source, log):
    page = chromium.new_page()
    page.goto(address + "/after")
    page.select_option("#f-again", "yes")
    page.set_input_files("#f-file", log)
    page.click("button:has-text('Look at it')")
    page.evaluate(axe_source)
    result = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)
    assert [(v["id"], [n["target"] for n in v["nodes"]][:3]) for v in result["violations"]] == []
    page.close()


def test_a_refused_form_has_no_violations(chromium, address, axe_source):
    page = chromium.new_page()
    page.goto(address + "/shed")
    page.fill("#f-tkw", "heavy")
    page.click("button:has-text('Keep this lot')")
    page.locator("#summary:focus").wait_for()
    page.evaluate(axe_source)
    result = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)
    assert [(v["id"], [n["target"] for n in v["nodes"]][:3]) for v in result["violations"]] == []
    page.close()


def test_a_wide_table_becomes_one_block_a_row_on_a_phone_and_stays_a_table(chromium, address):
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    page.goto(address + "/before")
    cell = page.locator("table.stack td").first
    assert page.evaluate("e => getComputedStyle(e, '::before').content", cell.element_handle()) == '"Field"'
    assert page.get_by_role("table").count() == 1
    assert page.get_by_role("rowheader").count() == 5
    assert page.get_by_role("columnheader", include_hidden=True).count() == 5
    page.close()


def test_a_step_is_put_off_and_taken_up_again_by_keyboard(chromium, address):
    page = chromium.new_page()
    page.goto(address + "/")
    before = page.locator(".step").count()
    page.locator(".step button").first.focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator(".step").count() == before - 1
    page.locator("button:has-text('Take it up again')").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator(".step").count() == before
    page.close()


def test_with_scripts_off_the_fill_check_and_the_first_page_work(chromium, address):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address + "/at-the-fill")
    page.check("input[name=where][value=none]", force=True)
    page.click("details.more > summary")
    for name, value in (("area", "33"), ("put", "4000"), ("left", "0"), ("dose", "120")):
        page.fill(f"#f-{name}", value)
    page.click("button:has-text('Check')")
    assert "kg went out" in page.inner_text(".sentence")
    assert "%" in page.inner_text(".answer .band")
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


def test_with_scripts_off_a_question_is_answered_and_a_fault_leads_to_its_field(chromium, address):
    context = chromium.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(address + "/after/stand")
    for name, value in (("counts", "25 28 22 26"), ("size", "1 m"), ("spacing", "250")):
        page.fill(f"#f-{name}", value)
    page.click("button:has-text('Work it out')")
    assert page.inner_text(".sentence").startswith("101 plants/m²")
    assert page.input_value("#f-counts") == "25 28 22 26"
    page.goto(address + "/shed/treat")
    page.click("button:has-text('Work it out')")
    page.click("#summary a:has-text('Left to sow')")
    assert page.url.endswith("#f-area")
    context.close()


def test_what_is_folded_away_opens_by_keyboard_and_stays_open_with_what_was_typed(chromium, address):
    page = chromium.new_page()
    page.goto(address + "/shed/treat")
    assert not page.is_visible("#f-label_hours")
    page.locator("summary", has_text="The label's clock").focus()
    page.keyboard.press("Enter")
    page.fill("#f-label_hours", "48")
    page.fill("#f-area", "40")
    page.fill("#f-chance", "10")
    page.locator("#f-chance").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert "Treat" in page.inner_text(".sentence")
    assert page.is_visible("#f-label_hours")
    assert page.input_value("#f-label_hours") == "48"
    assert not page.is_visible("#f-cost_stop"), "what nobody typed in stays folded"
    page.close()


def test_a_page_prints_without_its_menu(chromium, address, keys):
    page = chromium.new_page()
    page.goto(address + f"/before/{keys['job']}/card")
    page.emulate_media(media="print")
    assert not page.is_visible("nav")
    assert page.is_visible("table.card >> nth=0")
    page.close()
