"""Accessibility of the page: touch, keyboard, screen reader, screen sizes, dark theme, units."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

pytestmark = pytest.mark.service

#: A screen on a stand, one on a wall, a phone.
SCREENS = [(1280, 800), (1080, 1920), (390, 844)]

#: Least side of what a finger is to hit, in CSS px (WCAG 2.2, 2.5.5, level AAA: 44).
_FINGER = 44


def _faults(page):
    rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    results = Axe().run(page, options={"runOnly": rules, "resultTypes": ["violations"]})
    return [
        (violation["id"], [node["target"] for node in violation["nodes"]])
        for violation in results.response["violations"]
    ]


def _narrow(page):
    return page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


@pytest.mark.parametrize(("screen", "theme"), [*((size, "light") for size in SCREENS), (SCREENS[0], "dark")])
def test_each_step_has_no_axe_violations_and_fits_the_screen(visit, measure, screen, theme):
    page = visit(width=screen[0], height=screen[1], color_scheme=theme)
    assert _faults(page) == []
    measure(page)
    page.wait_for_selector("#sum-time")
    page.locator("summary:visible").first.tap()
    page.tap("#add-obstacle")
    page.wait_for_selector("[aria-invalid]")
    assert _faults(page) == []
    for _ in range(3):
        assert _narrow(page)
        small = page.evaluate(
            """least => [...document.querySelectorAll("button, input, select, summary")].filter(one => one.offsetParent)
            .map(one => [one.id || one.textContent, (one.closest("label.check") ?? one).getBoundingClientRect()])
            .filter(([, box]) => Math.min(box.width, box.height) < least).map(([name]) => name)""",
            _FINGER,
        )
        assert small == []
        page.evaluate("document.querySelector('#previous, #next').scrollIntoView()")
        page.locator("#steps button[aria-current] >> xpath=../following-sibling::li[1]/button").tap()
        if page.locator("#add-battery-aa:visible").count():
            page.tap("#add-battery-aa")
            page.tap("#thing-0")
            page.wait_for_selector("#count-0")
        assert _faults(page) == []
    assert _narrow(page)


def test_results_have_no_axe_violations(small):
    page = small(width=390, height=844)
    page.tap("#submit")
    page.wait_for_selector("#tab-view", timeout=120_000)
    for tab in ("view", "runs", "map", "files"):
        page.tap(f"#tab-{tab}")
        page.wait_for_timeout(300)
        assert _faults(page) == []
        assert _narrow(page)
    page.tap("#jobs")
    page.wait_for_selector("#jobs-list")
    assert _faults(page) == []


def test_a_job_can_be_built_with_the_keyboard_alone(visit):
    page = visit()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.focus("#width-0-0")
    page.keyboard.type("130")
    page.focus("#depth-0-0")
    page.keyboard.type("130")
    page.focus("#height-0")
    page.keyboard.type("60")
    page.wait_for_selector("#plan-bed-200")
    page.focus("#plan-bed-200")
    page.keyboard.press("Enter")
    page.wait_for_selector("#plan-sum")
    page.focus("#go-things")
    page.keyboard.press("Enter")
    page.focus("#add-battery-aa")
    page.keyboard.press("Space")
    page.wait_for_selector("#count-of-0")
    page.focus("#go-make")
    page.keyboard.press("Enter")
    page.wait_for_selector("#submit:enabled")
    page.focus("#submit")
    page.keyboard.press("Enter")
    page.wait_for_selector("#tab-view", timeout=120_000)
    page.focus("#tab-view")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.id") == "tab-runs"


def test_changes_are_announced_to_screen_readers(visit, measure):
    page = visit()
    measure(page)
    page.tap("#next")
    page.tap("#add-battery-aa")
    page.wait_for_selector("#spoken:has-text('added')", state="attached")


def test_inches_are_accepted_and_shown(visit, measure):
    page = visit()
    page.tap("#unit-in")
    measure(page, "12 1/4", "16.5", "2 3/4")
    page.wait_for_selector("figcaption:has-text('12.25 in')")
    page.tap("#unit-mm")
    # 12 1/4 in is 311.15 mm: the inch is 25.4 mm exactly
    assert page.input_value("#width-0-0") in {"311.1", "311.2"}
    page.wait_for_selector("figcaption:has-text('mm')")
    page.fill("#width-0-0", "31.1 cm")
    page.wait_for_selector("figcaption:has-text('311 mm')")


def test_several_drawers_and_an_obstacle(visit, measure):
    page = visit()
    measure(page)
    page.tap("#add-drawer")
    page.fill("#name-1", "below")
    for field, text in (("width-1-0", "300"), ("depth-1-0", "300"), ("height-1", "80")):
        page.fill(f"#{field}", text)
    page.locator("summary:visible").first.tap()
    page.tap("#add-obstacle")
    for side, text in (("x", "0"), ("y", "250"), ("w", "60"), ("d", "50")):
        page.fill(f"#obstacle-1-0-{side}", text)
    page.wait_for_selector("figcaption:has-text('below')")
    assert page.locator(".plan-drawing").count() == 2
    page.tap("#drop-drawer")
    expect(page.locator(".plan-drawing")).to_have_count(1)


def test_starting_over_asks_for_confirmation(visit, measure):
    page = visit()
    measure(page)
    page.tap("#again")
    page.tap("dialog button:has-text('Keep my entries')")
    assert page.input_value("#width-0-0") == "342"
    page.tap("#again")
    page.tap("dialog button.danger")
    expect(page.locator("#width-0-0")).to_have_value("")


def test_the_page_asks_for_the_bed_before_it_plans(visit, measure):
    page = visit()
    measure(page, bed=160)
    page.wait_for_selector("#plan-sum")
    page.tap("#go-printer")
    assert [page.input_value(f"#bed-{axis}") for axis in range(3)] == ["160", "160", "160"]
    expect(page.locator("#bed-size-160")).to_have_attribute("aria-pressed", "true")
    page.tap("#unit-in")
    page.tap("#bed-size-250")
    # 250 mm are 9.843 in: the inch is 25.4 mm exactly
    assert page.input_value("#bed-2") == "9.843"
    page.fill("#bed-2", "")
    page.wait_for_selector("#plan-bed-300")
