"""What a print took and weighed corrects the estimates on the page."""

import pytest
from playwright.sync_api import expect

from tests.api.kiosk.test_accessibility import _faults, _narrow
from tests.api.kiosk.test_workbench import _draft

pytestmark = pytest.mark.service


@pytest.mark.parametrize("width", [1280, 390])
def test_a_print_corrects_the_estimates_until_it_is_taken_out(small, width):
    page = small(width=width)
    page.tap("#submit")
    page.wait_for_selector("#tab-runs", timeout=120_000)
    page.tap("#tab-runs")
    page.tap("#details-1")
    page.fill("#details-1-hours", "2,5")
    page.tap("#details-1-record")
    page.tap("#calibrate-1")
    assert page.input_value("#calibrate-1-hours") == "2.5"  # as it was recorded
    page.fill("#calibrate-1-grams", "heavy")
    page.tap("#calibrate-1-use")
    expect(page.locator("#calibrate-1-grams")).to_be_focused()
    page.fill("#calibrate-1-grams", "41.5")
    assert _faults(page) == []
    assert _narrow(page)
    page.tap("#calibrate-1-use")
    expect(page.locator("#spoken")).to_have_text("Estimates follow 2 measured values now.")
    time, filament = _draft(page)["rest"]["printing"]["calibration"]
    assert (time["of"], time["actual"]) == ("time", 9000)
    assert (filament["of"], filament["actual"]) == ("filament", 41.5)
    page.tap("#new-job")
    page.tap("#go-printer")
    with page.expect_response("**/v1/plans"):
        page.tap("#calibrations summary")
        page.tap("#uncalibrate-0")
    expect(page.locator("#uncalibrate-0")).to_be_focused()
    assert [entry["of"] for entry in _draft(page)["rest"]["printing"]["calibration"]] == ["filament"]
    page.tap("#again")
    page.tap("#dialog button:last-child")
    page.wait_for_selector("#width-0-0")
    assert _draft(page)["rest"] == {"printing": {"calibration": [filament]}}  # it is about the printer
