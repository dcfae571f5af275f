"""The fill check on a phone: how many taps from the open page to the answer.

A tap is one touch of the screen: on a choice, into a field, on a button. Digits typed on the keypad that a field opens, and moving the page,
are not counted.
"""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser
PHONE = {"width": 390, "height": 844}
MOST_TAPS = 4


class Hand:
    """Touches the screen and counts."""

    def __init__(self, page):
        self.page, self.taps = page, 0

    def tap(self, selector, text=""):
        self.page.tap(selector)
        self.taps += 1
        if text:
            self.page.keyboard.type(text)

    def chip(self, text):
        self.tap(f".chip:has-text('{text}')")


@pytest.fixture
def phone(chromium, address):
    contexts = []

    def opened(**how):
        contexts.append(chromium.new_context(viewport=PHONE, has_touch=True, **how))
        page = contexts[-1].new_page()
        page.goto(address + "/at-the-fill?job=eighty-wheat")
        return Hand(page)

    yield opened
    for context in contexts:
        context.close()


def test_with_a_fill_on_record_two_taps_do(phone):
    hand = phone()
    hand.tap("#f-area", "9")
    hand.chip("Light just came on")
    hand.page.wait_for_selector("#result .sentence")
    assert "went out" in hand.page.inner_text("#result .sentence")
    assert hand.taps == 2


def test_another_bin_with_nothing_on_record_takes_four(phone):
    hand = phone()
    hand.chip("A MAP")
    hand.tap("#f-area", "20")
    hand.tap("#f-put", "1800")
    hand.chip("Light just came on")
    hand.page.locator("#result .sentence", has_text="Bin A").wait_for()
    assert hand.taps <= MOST_TAPS


def test_with_scripts_off_four_taps_do(phone):
    hand = phone(java_script_enabled=False)
    hand.chip("C Wheat")
    hand.tap("#f-area", "9")
    hand.chip("Light just came on")
    hand.tap("button:has-text('Check')")
    sentence = hand.page.inner_text("#result .sentence")
    assert sentence.count(".") == 1, "one sentence"
    assert " to " in sentence, "with its band"
    assert hand.taps <= MOST_TAPS


def test_the_answer_stands_in_sight_when_the_last_tap_is_done(phone):
    hand = phone()
    hand.tap("#f-area", "9")
    hand.chip("Light just came on")
    hand.page.wait_for_selector("#result .sentence")
    hand.page.wait_for_function("document.querySelector('#result .sentence').getBoundingClientRect().bottom <= innerHeight")
    assert hand.page.locator("#result .sentence").bounding_box()["y"] >= 0


def test_what_is_kept_is_kept_with_scripts_on(phone):
    hand = phone()
    hand.tap("#f-area", "9")
    hand.chip("Light just came on")
    hand.page.wait_for_selector("#result .sentence")
    hand.tap("button:has-text('Keep it in the book')")
    hand.page.wait_for_selector(".kept")
    assert "the level" in hand.page.inner_text(".kept")
