"""A screen in a shop whose service asks for a key."""

import pytest

pytestmark = pytest.mark.service


def test_the_page_asks_for_a_key_until_one_is_taken_and_keeps_it(visit, measure, locked):
    base, key = locked
    page = visit(base=base, ready=False)
    page.wait_for_selector("#key")
    page.fill("#key", "dw_nobody_nothing")
    page.tap("dialog button.main")
    page.wait_for_selector("#key >> visible=true")
    page.fill("#key", key)
    page.check("#key-device")
    page.tap("dialog button.main")
    page.wait_for_selector("html[data-ready]")
    measure(page, "130", "130", "60")
    page.wait_for_selector("#plan-sum")
    page.tap("#go-make")
    page.tap("#submit")
    page.wait_for_selector("#tab-files", timeout=120_000)
    page.tap("#tab-files")
    with page.expect_download():
        page.locator("[id='file-bundle.zip']").tap()
    page.reload()
    page.wait_for_selector("#tab-files", timeout=60_000)
    assert key not in page.content()
