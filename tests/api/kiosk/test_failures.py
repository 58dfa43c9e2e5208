"""The page with invalid entries, lost connections, missing jobs and an idle screen."""

import re

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.service


def test_an_invalid_reading_is_shown_beside_its_field_which_gets_the_focus(visit, measure):
    page = visit()
    measure(page, depth="42o")
    fault = page.wait_for_selector("#depth-0-0[aria-invalid=true] ~ .fault")
    assert "42o" not in page.locator("#plan-body").inner_text()
    described = page.get_attribute("#depth-0-0", "aria-describedby")
    assert fault.get_attribute("id") == described
    page.tap("#next")
    assert page.evaluate("document.activeElement.id") == "depth-0-0"
    page.fill("#depth-0-0", "460")
    page.wait_for_selector("#plan-sum")
    assert page.locator(".fault").count() == 0


def test_an_item_without_a_place_is_named(visit, measure):
    page = visit()
    measure(page)
    page.tap("#next")
    page.fill("#own-name", "spirit level")
    for index, size in enumerate(("600", "50", "25")):
        page.fill(f"#own-size-{index}", size)
    page.tap("#own-add")
    page.wait_for_selector("#plan-body .problems :text('spirit level')")


def test_a_lost_connection_is_shown_and_loses_nothing(small):
    page = small()
    page.tap("#submit")
    page.wait_for_url(re.compile("#job="))
    page.context.set_offline(True)
    page.wait_for_timeout(100)
    if page.locator("#tab-view").count() == 0:  # a fast machine has finished by now
        page.wait_for_selector("#connection:visible")
    page.context.set_offline(False)
    page.wait_for_selector("#tab-view", timeout=120_000)
    page.wait_for_selector("#connection", state="hidden")


def test_entries_survive_without_a_connection_and_the_job_is_submitted_later(small):
    page = small()
    page.context.set_offline(True)
    page.tap("#submit")
    expect(page.locator("#connection")).to_be_visible()
    page.context.set_offline(False)  # it is tried again without another press
    page.wait_for_selector("#tab-view", timeout=120_000)


def test_a_reload_restores_the_job_and_the_draft(small):
    page = small()
    page.tap("#submit")
    page.wait_for_url(re.compile("#job="))
    page.reload()
    page.wait_for_selector("#tab-view", timeout=120_000)
    page.tap("#go-measure")
    assert page.input_value("#width-0-0") == "130"


def test_a_missing_job_is_reported(visit):
    page = visit("/#job=0123456789abcdefghjkmnpqrs")
    page.wait_for_selector("#make .problems")
    page.tap("#new-job")
    page.wait_for_selector("#submit")


def test_a_shared_screen_returns_to_its_start(visit, measure):
    page = visit("/?idle=5")
    page.clock.install()
    page.reload()
    page.wait_for_selector("html[data-ready]")
    measure(page)
    page.clock.fast_forward("04:35")
    page.wait_for_selector("#still-here")
    page.tap("#still-here")
    assert page.input_value("#width-0-0") == "342"
    page.clock.fast_forward("04:35")
    page.wait_for_selector("#still-here")
    page.clock.run_for(31_000)
    page.wait_for_selector("#dialog", state="hidden")
    expect(page.locator("#width-0-0")).to_have_value("")
