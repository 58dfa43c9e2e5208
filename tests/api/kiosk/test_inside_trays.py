"""Inside a tray: dividers in mm, and things that go from one compartment or tray to another."""

import pytest
from playwright.sync_api import expect

from tests.api.kiosk.test_accessibility import _faults, _narrow
from tests.api.kiosk.test_workbench import _draft, _middle, _settled, bench

__all__ = ["bench"]

pytestmark = pytest.mark.service

#: Pitch of the grid, gap of a tray on each side and its wall, mm: two cells are 84 - 0.5 - 2.4 mm wide inside.
_INNER = 2 * 42 - 2 * 0.25 - 2 * 1.2


@pytest.fixture
def own_tray(bench):
    """Return a function that opens the example with an empty tray of two cells selected, and a divider in it."""

    def go(**options):
        page = bench(**options)
        if not page.locator("#add-tray").is_visible():
            page.tap("#sheet")
        page.tap("#add-tray")
        _settled(page)
        page.tap("#wider")
        _settled(page)
        page.tap("#divide-x")
        _settled(page)
        page.wait_for_selector("#divider-0")
        return page

    return go


def _dividers(page):
    return next(t["tray"]["dividers"] for t in _draft(page)["drawers"][0]["trays"] if t["tray"]["name"][:4] == "Tray")


def _at(page):
    return _dividers(page)[0]["at"]


def test_a_divider_is_moved_by_mouse_keyboard_and_number(own_tray):
    page = own_tray()
    assert _at(page) == pytest.approx(_INNER / 2, abs=0.01)
    knob = page.locator("#divider-0 circle").bounding_box()
    drawing = page.locator("#inside .inside-floor").bounding_box()
    scale = (drawing["width"] - 4) / _INNER
    x, y = knob["x"] + knob["width"] / 2, knob["y"] + knob["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 10 * scale, y)
    page.mouse.move(x - (_INNER / 6 + 1) * scale, y)  # 1 mm from a third, to which it snaps
    expect(page.locator("#divider-lengths")).to_contain_text("mm to its left")
    page.mouse.up()
    _settled(page)
    assert _at(page) == pytest.approx(_INNER / 3, abs=0.01)
    assert page.locator("#divider-0").get_attribute("aria-valuenow") == str(_at(page))
    page.keyboard.press("ArrowRight")
    assert _at(page) == pytest.approx(_INNER / 3 + 1, abs=0.01)
    page.keyboard.press("PageUp")
    assert _at(page) == pytest.approx(_INNER / 3 + 11, abs=0.01)
    page.keyboard.press("End")
    assert _at(page) == pytest.approx(float(page.locator("#divider-0").get_attribute("aria-valuemax")))
    page.fill("#divider-at", "25")
    page.keyboard.press("Tab")
    assert _at(page) == 25
    _settled(page)
    assert page.locator("#general").is_hidden()
    page.focus("#divider-0")
    page.keyboard.press("Delete")
    _settled(page)
    assert _dividers(page) == []


def test_a_divider_is_dragged_by_touch_on_a_phone(own_tray):
    page = own_tray(width=390, height=844)
    page.locator("#inside").scroll_into_view_if_needed()
    knob = page.locator("#divider-0 circle").bounding_box()
    x, y = knob["x"] + knob["width"] / 2, knob["y"] + knob["height"] / 2
    assert page.locator("#divider-0 .slider-reach").bounding_box()["height"] >= 44
    before, scrolled = _at(page), page.evaluate("document.querySelector('#plan').scrollTop")
    touch = page.context.new_cdp_session(page)
    touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for by in (10, 25, 40):
        touch.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [{"x": x + by, "y": y + by}]})
    assert page.evaluate("document.querySelector('#plan').scrollTop") == scrolled
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    _settled(page)
    assert _at(page) > before + 5
    assert _narrow(page)


def _holds(page):
    """Return the trays that hold each thing by name, and their compartments."""
    draft = _draft(page)
    names = {thing["key"]: thing["name"] for thing in draft["things"]}
    return {
        (names[held["thing"]], tray["tray"]["name"]): held["compartment"]
        for tray in draft["drawers"][0]["trays"]
        for held in tray["hold"]
    }


def test_a_thing_goes_to_another_tray_by_mouse_and_to_a_compartment_by_keyboard(own_tray):
    page = own_tray(height=1700)
    own = next(tray["tray"]["name"] for tray in _draft(page)["drawers"][0]["trays"] if "Tray" in tray["tray"]["name"])
    page.evaluate("document.querySelector('#plan').scrollTop = 0")
    x, y, _ = _middle(page, "hole punch")
    page.mouse.click(x, y)
    page.wait_for_selector(".held")
    chip = page.locator(".held[aria-label*='hole punch']").bounding_box()
    x, y, box = _middle(page, own)
    page.mouse.move(chip["x"] + chip["width"] / 2, chip["y"] + chip["height"] / 2)
    page.mouse.down()
    page.mouse.move(x, y)
    page.mouse.move(box["x"] + box["width"] * 0.8, y)
    expect(page.locator(".carried")).to_be_visible()
    page.mouse.up()
    _settled(page)
    assert _holds(page)["hole punch", own] == [1, 0]
    # a punch of 112 mm does not fit into 41 mm: the service says so
    expect(page.locator("#plan-body .problems")).to_contain_text("hole punch")
    page.keyboard.press("Control+z")
    _settled(page)
    assert ("hole punch", own) not in _holds(page)
    x, y, _ = _middle(page, "eraser")
    page.mouse.click(x, y)
    page.locator(".held[aria-label*='eraser']").focus()
    page.keyboard.press("Enter")
    assert _faults(page) == []
    page.select_option("#move-to", label=page.locator("#move-to option").filter(has_text=own).last.inner_text())
    page.focus("#move-there")
    page.keyboard.press("Enter")
    _settled(page)
    assert _holds(page)["eraser", own] == [1, 0]
    expect(page.locator("[data-tray][aria-label*='eraser'][aria-label*='2 by 1']")).to_have_count(1)


def test_a_tray_gets_text_labels_and_magnets_with_their_caution(own_tray):
    page = own_tray()
    page.locator(".tray-panel summary").tap()
    page.fill("#tray-height", "40")
    page.fill("#tray-text", "odds")
    page.check("#tray-ledge")
    page.fill("#tray-label-1", "ends")
    page.check("#tray-magnets")
    expect(page.locator(".tray-panel .warnings")).to_contain_text("swallowed")
    _settled(page)
    tray = next(tray["tray"] for tray in _draft(page)["drawers"][0]["trays"] if tray["tray"]["text"])
    assert tray["text"]["text"] == "odds"
    assert tray["labels"] == [None, "ends"]
    assert tray["magnets"] == {"diameter": 6, "depth": 2}
    assert page.locator("#general").is_hidden()
    assert _faults(page) == []
