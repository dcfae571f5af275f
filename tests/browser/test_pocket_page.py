"""The pocket page in a real Chromium, opened from a file: four taps, storage refused, scripts off, nothing asked from outside."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import sheet_farm
from evenstand.base.units import Profile
from evenstand.desk.pocketing import decode
from evenstand.desk.sheets import SheetContext
from evenstand.paper import pocket_page

pytestmark = pytest.mark.browser
PHONE = {"width": 390, "height": 844}
_REFUSE = "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('refused', 'SecurityError'); } });"


def _context(profile: Profile) -> SheetContext:
    return SheetContext(
        farm="Stonefield Farm", job=sheet_farm.job(), plan=sheet_farm.plan(), outfit=sheet_farm.outfit(), products=sheet_farm.products(),
        lots=sheet_farm.lots(), boundary=sheet_farm.boundary(), profile=profile, made_at="2027-05-04T06:10:00.000Z", who="K. Berg",
    )  # fmt: skip


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The page in each profile, and one of five typed values, as file addresses."""
    folder = tmp_path_factory.mktemp("pocket page")
    pages = {profile: pocket_page(_context(profile)) for profile in ("si", "prairie", "us")}
    pages["bare"] = pocket_page(SheetContext(farm="", job=sheet_farm.job(), plan=sheet_farm.bare_plan()))
    out = {}
    for name, text in pages.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
        out[name] = (folder / f"{name}.html").as_uri()
    return out


class Opened:
    """An open page with everything it asked for and every error it met."""

    def __init__(self, chromium: Any, address: str, **how: Any) -> None:
        refuse = how.pop("refuse_storage", False)
        self.context = chromium.new_context(viewport=PHONE, **how)
        if refuse:
            self.context.add_init_script(_REFUSE)
        self.page = self.context.new_page()
        self.asked: list[str] = []
        self.errors: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", lambda message: self.errors.append(message.text) if message.type == "error" else None)
        self.page.goto(address)
        self.address = address


@pytest.fixture
def opened(chromium: Any) -> Iterator[Any]:
    """Opens pages and afterwards holds each to: no error, and nothing asked but the file itself and what is inside it."""
    pages: list[Opened] = []

    def open_page(address: str, **how: Any) -> Any:
        pages.append(Opened(chromium, address, **how))
        return pages[-1].page

    yield open_page
    for opened_page in pages:
        outside = [url for url in opened_page.asked if url != opened_page.address and not url.startswith(("data:", "blob:file:"))]
        opened_page.context.close()
        assert outside == []
        assert opened_page.errors == []


def test_a_fill_check_takes_four_taps(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["si"])
    taps = 0
    for selector, text in (
        ("#fill .chips label:has-text('Wheat')", ""),
        ("#fill-area", "22.7"),
        ("#fill-put", "4000"),
        ("#fill-level", "1250"),
    ):
        page.click(selector)
        taps += 1
        if text:
            page.keyboard.type(text)
    assert taps == 4
    answer = page.inner_text("#fill [data-answer]")
    assert answer.startswith("D: Cannot be told yet")
    assert "2\u202f750 kg went out" in answer
    assert "Run the bin down to the low-level light" in answer


def test_the_running_total_goes_over_the_fills_kept_on_the_phone(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["si"])
    for area, words in (("27.8", "This fill alone"), ("28.1", "Over 2 fills on this phone"), ("27.9", "Over 3 fills on this phone")):
        page.fill("#fill-area", area)
        page.fill("#fill-put", "4350" if area != "28.1" else "4360")
        page.click("#fill [data-quick] button:has-text('light')")
        assert words in page.inner_text("#fill [data-answer]")
        page.click("#fill [data-keep]")
    page.fill("#fill-area", "28.4")  # the same fill a little further on is no new one
    page.fill("#fill-level", "100")
    assert "Over 3 fills on this phone" in page.inner_text("#fill [data-answer]")
    page.reload()
    page.fill("#fill-area", "20")
    page.fill("#fill-put", "3000")
    page.fill("#fill-level", "100")
    answer = page.inner_text("#fill [data-answer]")
    assert "Over 4 fills on this phone" in answer
    assert "2 % can be seen" in answer


def test_the_light_button_tells_more_than_the_eye(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["si"])
    page.fill("#fill-area", "27.8")  # 4,170 kg of urea at 150 kg/ha
    page.fill("#fill-put", "4350")
    page.click("#fill [data-quick] button:has-text('light')")
    assert page.input_value("#fill-level") == "180"
    assert page.inner_text("#fill [data-answer] strong") == "A: Holds"
    page.fill("#fill-area", "23.5")
    answer = page.inner_text("#fill [data-answer]")
    assert "A: Does not hold" in answer
    assert "more than the area asks for" in answer
    assert page.get_attribute("#fill [data-answer]", "data-state") == "does-not-hold"


def test_enter_goes_to_the_next_field(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["si"])
    page.focus("#fill-area")
    page.keyboard.type("29,6")
    page.keyboard.press("Enter")
    page.keyboard.type("4000")
    page.keyboard.press("Enter")
    page.keyboard.type("400")
    assert page.input_value("#fill-level") == "400"
    assert "went out" in page.inner_text("#fill [data-answer]")


def test_prairie_units_are_read_and_kept_in_metric(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["prairie"])
    page.click("#fill .chips label:has-text('Wheat')")
    page.fill("#fill-area", "73.1")
    page.fill("#fill-put", "4000")
    page.fill("#fill-level", "400")
    page.click("#fill summary")
    page.fill("#fill-counter", "240.5")
    page.click("#fill [data-keep]")
    (entry,) = decode(page.input_value("#kept-text"))
    assert entry.values.keys() == {"area_since_ha", "put_kg", "level_kg", "counter_ha"}
    assert entry.values["counter_ha"] == pytest.approx(240.5 * 0.40468564224, rel=1e-5)
    assert entry.values["area_since_ha"] == pytest.approx(73.1 * 0.40468564224, rel=1e-5)
    assert entry.values["put_kg"] == 4000
    assert (entry.kind, entry.bin, entry.mark, entry.how) == ("fill", "D", "5f2", ("ticket", "glance"))


def test_numbers_that_can_be_read_two_ways_are_asked_again(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["si"])
    page.fill("#fill-put", "1,200")
    assert "two ways" in page.inner_text("#fill-put-e")
    assert page.get_attribute("#fill-put", "aria-invalid") == "true"
    page.fill("#fill-put", "twelve")
    assert "number" in page.inner_text("#fill-put-e")
    page.fill("#fill-put", "1200")
    assert page.inner_text("#fill-put-e") == ""
    page.fill("#fill-area", "10")
    page.fill("#fill-level", "9000")
    assert "was a fill left out?" in page.inner_text("#fill-level-e")
    assert page.is_disabled("#fill [data-keep]")


def test_catch_distance_and_slip_answer_and_are_kept(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["si"])
    page.click("#catch .chips label:has-text('Wheat')")
    assert page.input_value("#catch-turns") == "10"
    page.fill("#catch-tare", "0.18")
    page.fill("#catch-mass", "12.70")
    assert page.inner_text("#catch [data-answer] strong") == "D: 1.252 kg/turn, good"
    page.fill("#catch-mass", "12.20")
    assert "catch longer" in page.inner_text("#catch [data-answer] strong")
    page.fill("#catch-mass", "9.0")
    assert "find out why" in page.inner_text("#catch [data-answer] strong")
    page.click("#catch [data-keep]")
    page.fill("#distance-taped", "100")
    page.fill("#distance-shown", "104")
    assert "Counts 4.0 % too long" in page.inner_text("#distance [data-answer]")
    assert "About 4.0 % too much of everything is sown" in page.inner_text("#distance [data-answer]")
    page.click("#distance [data-keep]")
    page.fill("#slip-asked", "120")
    page.fill("#slip-seen", "134.5")
    assert "lb/ac typed where kg/ha was meant." in page.inner_text("#slip [data-answer] strong")
    page.click("#slip [data-keep]")
    entries = {entry.kind: entry for entry in decode(page.input_value("#kept-text"))}
    assert entries["catch"].values == {"turns": 10.0, "tare_kg": 0.18, "mass_kg": 9.0}
    assert entries["distance"].values == {"taped_m": 100.0, "shown_m": 104.0}
    assert entries["slip"].values == {"asked": 120.0, "seen": 134.5}


def test_a_bin_without_a_factor_is_not_judged(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["si"])
    page.click("#catch .chips label:has-text('MAP')")
    assert page.input_value("#catch-turns") == ""
    page.fill("#catch-turns", "10")
    page.fill("#catch-tare", "0")
    page.fill("#catch-mass", "15.1")
    answer = page.inner_text("#catch [data-answer]")
    assert "1.510 kg/turn, catch longer" in answer
    assert "No value was known before" in answer


def test_entries_are_there_again_and_can_be_taken_out(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["us"])
    page.fill("#slip-asked", "120")
    page.fill("#slip-seen", "60")
    page.click("#slip [data-keep]")
    page.reload()
    assert page.locator("#kept-list li").count() == 1
    assert "Kept on this phone" in page.inner_text("#kept-where")
    page.click("#kept-list button")
    assert page.locator("#kept-list li").count() == 0
    assert page.input_value("#kept-text") == ""


def test_with_storage_refused_the_text_is_still_there(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["si"], refuse_storage=True)
    assert "copy the text before you close the page" in page.inner_text("#kept-where")
    page.fill("#slip-asked", "120")
    page.fill("#slip-seen", "134.5")
    page.click("#slip [data-keep]")
    assert len(decode(page.input_value("#kept-text"))) == 1


def test_the_list_can_be_saved_and_the_file_is_read_back(opened: Any, files: dict[str, str], tmp_path: Path) -> None:
    page = opened(files["si"], accept_downloads=True)
    for seen in ("134.5", "60", "240"):
        page.fill("#slip-asked", "120")
        page.fill("#slip-seen", seen)
        page.click("#slip [data-keep]")
    with page.expect_download() as waiting:
        page.click("#kept-file")
    path = tmp_path / "entries.txt"
    waiting.value.save_as(path)
    assert sorted(entry.values["seen"] for entry in decode(path.read_text(encoding="utf-8"))) == [60.0, 134.5, 240.0]


def test_with_scripts_off_it_is_a_readable_sheet(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["si"], java_script_enabled=False)
    text = page.inner_text("body")
    assert "Scripts are off" in text
    assert "left before + put in − level now = gone" in text
    for words in (
        "121 kg/ha",
        "1.250 kg/turn",
        "12.12 to 12.88 kg",
        "by pass 14, no later than 16",
        "overhead line",
        "Shut the fan before any lid is opened.",
    ):
        assert words in text
    assert page.locator("form:visible").count() == 0


def test_what_is_not_known_is_said_and_never_nought(opened: Any, files: dict[str, str]) -> None:
    page = opened(files["bare"])
    text = page.inner_text("#numbers")
    assert "needs a catch test" in text
    assert "not known yet" in text
    assert "None" not in text
    assert page.locator("#fill [data-quick] button").count() == 0


@pytest.mark.parametrize("name", ["si", "bare"])
def test_nothing_runs_off_a_small_phone(opened: Any, files: dict[str, str], name: str) -> None:
    page = opened(files[name])
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    for box in page.locator("nav a, button:visible, input:not([type=radio]):visible, select:visible").all():
        size = box.bounding_box()
        assert size is not None
        assert size["height"] >= 44


def test_axe_finds_nothing(opened: Any, files: dict[str, str], axe_source: str) -> None:
    page = opened(files["si"], bypass_csp=True)
    page.fill("#slip-asked", "120")
    page.fill("#slip-seen", "134.5")
    page.click("#slip [data-keep]")
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    page.evaluate(axe_source)
    found = page.evaluate("axe.run({ runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] })")
    assert len(found["passes"]) > 20
    assert [(v["id"], v["nodes"][0]["html"]) for v in found["violations"]] == []
