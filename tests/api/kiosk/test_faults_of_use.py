"""Faults that users met, each with what it takes to meet it."""

import json

import pytest
from playwright.sync_api import expect

from tests.api.kiosk.test_accessibility import _faults

pytestmark = pytest.mark.service


def _with_things(page, count=10):
    page.tap("#go-things")
    page.wait_for_selector("#matches button")
    for index in range(count):
        page.locator("#matches button").nth(index).tap()
    expect(page.locator("#rows > li")).to_have_count(count)


def test_starting_over_in_inches_sends_no_bed_of_256_inches(visit, measure):
    page = visit()
    page.tap("#unit-in")
    measure(page, "12", "16", "3")
    page.tap("#again")
    page.tap("dialog button.danger")
    expect(page.locator("#unit-in")).to_have_attribute("aria-checked", "true")
    sent = []
    page.on("request", lambda request: request.url.endswith("/v1/plans") and sent.append(request.post_data_json))
    measure(page, "12", "16", "3")
    page.wait_for_selector("#sum-time")
    # the bed of the button is 220 mm, 8.661 in: an inch is 25.4 mm exactly
    assert {tuple(spec["printer"]["bed"]) for spec in sent} == {("8.661 in",) * 3}


def test_a_fault_in_another_step_is_shown_where_the_parts_are_built_and_leads_to_its_field(visit, measure):
    page = visit()
    measure(page)
    page.wait_for_selector("#sum-time")
    page.tap("#go-printer")
    page.fill("#nozzle", "wide")
    page.tap("#go-make")
    page.tap("#submit")
    expect(page.locator("#general")).to_contain_text("Printer")
    expect(page.locator("#submit")).to_be_enabled()
    page.tap("#to-nozzle")
    expect(page.locator("#nozzle")).to_be_focused()
    expect(page.locator("#nozzle ~ .fault")).to_be_visible()


def test_a_plan_is_requested_again_until_the_service_answers(visit, measure):
    page = visit()
    measure(page)
    page.wait_for_selector("#sum-time")
    page.context.set_offline(True)
    page.fill("#height-0", "65")
    expect(page.locator("#plan-state")).to_contain_text("No connection")
    page.context.set_offline(False)
    page.wait_for_selector("#plan-state", state="detached")
    page.wait_for_selector("figcaption:has-text('65 mm')")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_is_selected_can_be_read_under_the_pointer(visit, measure, scheme):
    page = visit(color_scheme=scheme)
    measure(page)
    page.hover("#unit-mm")
    assert _faults(page) == []
    page.hover("#drawer-0")
    assert _faults(page) == []


def test_a_draft_of_any_content_opens_the_page(visit):
    for stored in (
        {"drawers": [{}], "things": [{}]},
        {"unit": "in", "drawers": [{"name": "a", "width": None}], "things": "x", "bed": 7},
        {"drawers": [{"obstacles": [None], "trays": [{"tray": {}}]}], "things": [{"kind": "standard"}]},
    ):
        page = visit()
        page.evaluate("text => localStorage.setItem('drawerwright.draft', text)", json.dumps(stored))
        page.reload()
        page.wait_for_selector("html[data-ready]")
        page.tap("#go-things")
        page.tap("#go-measure")
        expect(page.locator("#width-0-0")).to_be_visible()


def test_back_from_a_job_shows_the_steps_and_no_job(small):
    page = small()
    page.tap("#submit")
    page.wait_for_selector("#tab-view", timeout=120_000)
    page.go_back()
    page.wait_for_selector("#submit")
    page.wait_for_timeout(1500)  # longer than the pause between two questions about the job
    assert page.locator("#tab-view").count() == 0
    assert page.locator("#plan").is_visible()
    page.go_forward()
    page.wait_for_selector("#tab-view", timeout=60_000)


def test_a_wrong_key_is_refused_in_words(visit, locked):
    base, _ = locked
    page = visit(base=base, ready=False)
    page.wait_for_selector("#key")
    assert page.locator("#key-refused").count() == 0
    page.fill("#key", "dw_nobody_nothing")
    page.tap("dialog button.main")
    expect(page.locator("#key-refused")).to_contain_text("does not accept this key")


def test_two_tabs_share_one_draft(visit, measure):
    page = visit()
    measure(page)
    other = page.context.new_page()
    other.goto(page.url)
    other.wait_for_selector("html[data-ready]")
    expect(other.locator("#width-0-0")).to_have_value("342")
    page.fill("#width-0-0", "350")
    expect(other.locator("#width-0-0")).to_have_value("350")
    other.fill("#height-0", "61")
    expect(page.locator("#height-0")).to_have_value("61")
    assert page.input_value("#width-0-0") == "350"


def test_a_count_that_is_no_number_never_becomes_nan(visit, measure):
    page = visit()
    measure(page)
    _with_things(page, 1)
    page.tap("#thing-0")
    page.fill("#count-0", "abc")
    page.wait_for_selector("#count-0[aria-invalid]")
    page.tap("#more-0")
    expect(page.locator("#count-of-0")).to_have_text("1")
    page.tap("#more-0")
    expect(page.locator("#count-of-0")).to_have_text("2")


@pytest.mark.parametrize("size", [(390, 844), (1080, 1920), (1440, 900), (700, 1600)])
def test_the_whole_drawer_is_in_the_3d_view(small, size):
    page = small()
    page.tap("#submit")
    page.wait_for_selector("#stage canvas[data-drawn]", timeout=120_000)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.wait_for_timeout(400)
    # 1 is the edge of the picture
    assert 0.5 < float(page.get_attribute("#stage canvas", "data-reach")) < 1.0


def test_forced_colours_show_what_is_selected(visit, measure):
    page = visit(forced_colors="active")
    measure(page)
    chosen, other = (
        page.evaluate("id => getComputedStyle(document.getElementById(id)).backgroundColor", key)
        for key in ("unit-mm", "unit-in")
    )
    assert chosen != other
    assert _faults(page) == []


def test_the_focus_goes_to_the_next_thing_when_one_is_removed(visit, measure):
    page = visit()
    measure(page)
    _with_things(page, 3)
    page.focus("#remove-1")
    page.keyboard.press("Enter")
    expect(page.locator("#remove-1")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#remove-0")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#search")).to_be_focused()
    page.tap("#go-measure")
    page.locator("summary:visible").first.tap()
    page.tap("#add-obstacle")
    page.focus("#remove-obstacle-0")
    page.keyboard.press("Enter")
    expect(page.locator("#add-obstacle")).to_be_focused()


def test_ten_things_take_few_tab_stops(visit, measure):
    page = visit()
    measure(page)
    _with_things(page, 10)
    stops = page.evaluate(
        """() => [...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex]")]
            .filter((node) => node.tabIndex >= 0 && !node.disabled && node.getClientRects().length).length"""
    )
    assert stops <= 45
    page.focus("#thing-0")
    page.keyboard.press("ArrowDown")
    expect(page.locator("#thing-1")).to_be_focused()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(page.locator("#more-1")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#count-of-1")).to_have_text("2")


def test_a_tick_can_be_taken_back_and_what_was_recorded_stays_in_the_list(small):
    page = small()
    page.tap("#submit")
    page.wait_for_selector("#tab-runs", timeout=120_000)
    page.tap("#tab-runs")
    page.wait_for_selector(".run")
    number = page.locator(".run").first.get_attribute("id").removeprefix("run-")
    page.tap(f"#printed-{number}")
    page.tap(f"#take-back-{number}")
    page.wait_for_selector(f"#printed-{number}")
    page.tap(f"#printed-{number}")
    page.tap("#tab-files")  # leaving the list records the tick at once
    page.tap("#tab-runs")
    expect(page.locator(f"#recorded-{number}")).to_contain_text("Printed")
    page.tap(f"#withdraw-{number}")
    page.context.set_offline(True)
    page.tap(f"#printed-{number}")
    expect(page.locator(f"#drop-{number}")).to_be_visible(timeout=10_000)  # it waits on this device
    page.context.set_offline(False)
    expect(page.locator(f"#recorded-{number}")).to_contain_text("Printed")
    page.tap(f"#withdraw-{number}")
    page.tap(f"#details-{number}")
    page.locator(f"#run-{number} details input[type=number]").first.fill("1")
    page.fill(f"#details-{number}-note", "came loose")
    page.tap(f"#details-{number}-record")
    expect(page.locator(f"#recorded-{number}")).to_contain_text("Failed: ")
    expect(page.locator(f"#recorded-{number}")).to_contain_text("came loose")
    page.tap(f"#withdraw-{number}")
    page.tap(f"#printed-{number}")
    page.tap("#tab-files")
    page.tap("#tab-runs")
    page.tap(f"#again-{number}")
    page.wait_for_selector(".run:not(.recorded):not(.ticked)")
