"""The page in other languages, from right to left too, and without the service that served it."""

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from api.command.server import listening
from tests.api.kiosk.test_accessibility import _faults, _narrow

_PAGE = Path(__file__).parents[3] / "api/kiosk/page/language"


def _messages(language):
    return json.loads((_PAGE / f"messages.{language}.json").read_text())


@pytest.mark.parametrize("language", ["de", "ar"])
def test_a_language_has_every_message_with_the_same_values(language):
    english, other = _messages("en"), _messages(language)
    assert {key for key in english if not key.endswith("_one")} <= set(other)
    assert set(other) <= set(english)
    for key, text in other.items():
        assert set(re.findall(r"\{\w+\}", text)) == set(re.findall(r"\{\w+\}", english[key])), key
        assert text.strip()


@pytest.mark.service
@pytest.mark.parametrize(("tag", "width"), [("de-AT", 1280), ("ar", 1280), ("ar", 390)])
def test_the_page_is_in_the_browsers_language(visit, tag, width):
    page = visit(locale=tag, width=width)
    words = _messages(tag[:2])
    assert page.evaluate("document.documentElement.lang") == tag[:2]
    assert page.evaluate("getComputedStyle(document.body).direction") == ("rtl" if tag == "ar" else "ltr")
    page.tap("#example" if width > 700 else "#example-first")
    page.wait_for_selector("#sum-time", state="attached")
    page.tap("#go-things")
    page.wait_for_selector("#rows")
    expect(page.locator("#step-things h2")).to_have_text(words["step_things"])
    page.locator("#rows [data-rove='0,0']").focus()
    page.keyboard.press("ArrowLeft" if tag == "ar" else "ArrowRight")  # to the next column as the text runs
    assert page.evaluate("document.activeElement.id") == "fewer-0"
    assert _faults(page) == []
    assert _narrow(page)
    page.select_option("#language", "en")
    expect(page.locator("#step-measure h2")).to_have_text("Measure")


@pytest.mark.service
def test_numbers_are_written_as_the_language_does(visit, measure):
    page = visit(locale="de")
    page.tap("#unit-in")
    measure(page, "12 1/4", "16.5", "2 3/4")
    # a comma separates the decimals in German (DIN 1333)
    page.wait_for_selector("figcaption:has-text('12,25 in')")


@pytest.mark.service
def test_the_page_opens_without_its_service(visit, live_settings):
    with listening(live_settings) as address:
        page = visit(base=address, service_workers="allow")
        page.wait_for_selector("html[data-offline]")
        page.tap("#example")
        page.wait_for_selector("#sum-time")
        page.wait_for_function("caches.match('/kiosk/main.js').then(Boolean)")
    page.reload()
    page.wait_for_selector("html[data-ready]")
    expect(page.locator("#width-0-0")).to_have_value("412")
    page.fill("#width-0-0", "380")
    expect(page.locator("#plan-state")).to_contain_text("No connection")
