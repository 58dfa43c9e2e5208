"""Things of other shapes than boxes, and how they are handled: what the form's fields make of the spec."""

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.service


def _items(sent):
    return {item["name"]: item for item in sent[-1]["items"]}


def test_shapes_and_handling_go_into_the_plan(visit, measure):
    page = visit()
    measure(page, height="120")
    page.tap("#next")
    sent = []
    page.on("request", lambda request: request.url.endswith("/v1/plans") and sent.append(request.post_data_json))
    for kind, name, sizes, rods in (
        ("tapered", "funnel", ("60", "8", "70"), None),
        ("bundle", "skewers", ("3", "200"), "20"),
        ("coil", "lead", ("4", "1000", "90"), None),
        ("box", "socks", ("100", "80", "50"), None),
        ("cylinder", "bowl", ("110", "45"), None),
    ):
        page.check(f"#own-{kind}")
        page.fill("#own-name", name)
        for index, size in enumerate(sizes):
            page.fill(f"#own-size-{index}", size)
        if rods:
            page.fill("#own-rods", rods)
        page.tap("#own-add")
    page.tap("#thing-3")
    page.check("#soft-3")
    page.fill("#fill-3", "70")
    page.fill("#pressed-3", "30")
    expect(page.locator("#nest-3")).to_have_count(0)  # what is soft does not nest
    page.tap("#thing-4")
    page.fill("#nest-4", "15")
    page.tap("#more-4")
    page.tap("#thing-1")
    page.select_option("#pose-1", "flat")
    expect(page.locator("#rods-1")).to_have_value("20")
    page.wait_for_selector(".plan-drawing :text('lead')")
    page.wait_for_function("() => document.querySelector('#plan-sum, #sum-time')")
    expect(page.locator("#thing-4")).to_contain_text("110 \u00d7 45")
    page.wait_for_timeout(1_000)  # the last change is sent after a pause
    items = _items(sent)
    assert items["funnel"]["shape"] == {"kind": "tapered", "diameter": 60, "end_diameter": 8, "length": 70}
    assert items["skewers"]["shape"] == {"kind": "bundle", "diameter": 3, "length": 200, "rods": 20}
    assert items["skewers"]["pose"] == "flat"
    assert items["lead"]["shape"] == {"kind": "coil", "cable": 4, "length": 1000, "diameter": 90}
    assert items["socks"]["soft"] == {"fill": 0.7, "height": 30}
    assert (items["bowl"]["nest"], items["bowl"]["count"]) == (15, 2)


def test_what_is_wrong_with_the_handling_is_shown_beside_its_field(visit, measure):
    page = visit()
    measure(page)
    page.tap("#next")
    page.fill("#own-name", "cup")
    page.check("#own-cylinder")
    page.fill("#own-size-0", "70")
    page.fill("#own-size-1", "60")
    page.tap("#own-add")
    page.tap("#thing-0")
    page.fill("#nest-0", "80")  # more than its height
    expect(page.locator("#nest-0 ~ .fault")).to_be_visible()
