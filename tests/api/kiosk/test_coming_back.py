"""A finished job is found, searched, changed, tagged and removed; its coupon is read; a drawer is passed on by link."""

import io
import json
import re

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import expect

from tests.api.kiosk.test_accessibility import _faults, _narrow
from tests.api.kiosk.test_workbench import _draft, _settled, bench

__all__ = ["bench"]

pytestmark = pytest.mark.service

_BOX = {"kind": "box", "size": [34, 30, 15]}
_SPEC = {
    "spec": "1",
    "name": "sewing box",
    "drawers": [{"name": "upper", "width": 215, "depth": 130, "height": 40}],
    "items": [
        {"name": "thimbles", "shape": _BOX, "count": 2, "group": "tools"},
        {"name": "spare needles", "shape": _BOX, "group": "x"},
    ],
    "layout": {"share": "group"},
    "grid": {"clearance": 0.35},
    "printer": {"bed": [220, 220, 220], "nozzle": 0.4, "layer": 0.2},
    "material": {"name": "PLA"},
}


@pytest.fixture(scope="module")
def job(browser, url):
    """The id of a job that has been built, tagged."""
    request = browser.new_context().request
    made = request.post(f"{url}/v1/jobs", data=_SPEC).json()["id"]
    while request.get(f"{url}/v1/jobs/{made}", headers={"Prefer": "wait=30"}).json()["state"] != "succeeded":
        pass
    request.patch(f"{url}/v1/jobs/{made}", data={"tags": ["hobby"]})
    return made


def test_a_thing_is_seen_in_the_model_of_its_drawer(visit, job):
    page = visit(path=f"/#job={job}")
    canvas = page.locator("#stage canvas[data-drawn]")
    page.fill("#find-piece", "needle")
    expect(canvas).to_have_attribute("data-lit", "1")
    expect(page.locator("#view-piece")).to_contain_text("spare needles")
    page.tap("#look-above")
    canvas.tap()
    expect(page.locator("#view-piece")).not_to_contain_text("; ")
    expect(page.locator("#view-piece")).to_contain_text(re.compile("[TA-Z][0-9]"))
    page.tap("#take-apart")
    assert 0.5 < float(canvas.get_attribute("data-reach")) < 1.0


def test_a_finished_job_is_changed_and_what_is_printed_is_used_again(visit, job):
    page = visit(path=f"/#job={job}")
    page.tap("#tab-map")
    expect(page.locator("#panel .groups li")).to_have_text(["tools", "x"])
    expect(page.locator("#panel .tray.tinted")).to_have_count(2)
    page.fill("#find-item", "needle")
    expect(page.locator("#panel .tray.lit")).to_have_count(1)
    expect(page.locator("#item-places")).to_contain_text("spare needles")
    page.tap("#change-job")
    page.wait_for_selector("#rows")
    _settled(page)
    draft = _draft(page)
    assert draft["previous"] == {"job": job, "name": "sewing box"}
    assert draft["rest"] == {"grid": {"clearance": 0.35}}  # kept, although the page has no field for it
    assert page.locator("#change-new").inner_text() == "0"
    stay = int(page.locator("#change-kept").inner_text())
    assert stay >= 3  # a tile and two trays at least
    page.tap("#remove-1")
    _settled(page)
    assert page.locator("#change-retired").inner_text() == "1"
    assert int(page.locator("#change-kept").inner_text()) == stay - 1
    page.fill("#own-name", "pin cushion")
    for index, size in enumerate(("60", "60", "20")):
        page.fill(f"#own-size-{index}", size)
    page.tap("#own-add")
    _settled(page)
    assert page.locator("#change-new").inner_text() == "1"
    assert _faults(page) == []
    page.tap("#go-printer")
    page.check("#with-calendar")
    page.select_option("#printers", "2")
    page.fill("#weekdays-from", "")
    page.fill("#spools", "320; 900")
    page.fill("#weekdays-from", "18:00")
    page.tap("#calendar legend >> nth=0")
    assert _faults(page) == []
    page.tap("#go-make")
    expect(page.locator("#make-changes")).to_contain_text("To print: 1")
    with page.expect_request(lambda request: request.method == "POST" and request.url.endswith("/v1/jobs")) as sent:
        page.tap("#submit")
    spec = sent.value.post_data_json
    assert spec["previous"]["manifest"] == "1"
    assert spec["material"]["left"] == [320, 900]
    assert [printer["name"] for printer in spec["schedule"]["printers"]] == ["1", "2"]
    assert spec["schedule"]["attended"][0]["start"] == "18:00"
    page.wait_for_selector("#tab-runs", timeout=120_000)
    page.tap("#tab-runs")
    expect(page.locator("#remaining")).to_contain_text("Still to print: 1 run")
    expect(page.locator("#finish")).to_contain_text("Everything is printed by")
    expect(page.locator(".run p[id^=when-]").first).to_contain_text(re.compile("[0-9]{4}.* to .*, [12]"))


def test_the_coupon_is_read_and_the_job_built_with_its_clearance(visit, job):
    page = visit(path=f"/#job={job}")
    page.tap("#tab-runs")
    expect(page.locator("#clearance-hint")).to_contain_text("Print the coupon first")
    page.tap("#printed-1")
    page.wait_for_selector("#clearance-record")
    page.tap("#clearance-record")
    assert page.evaluate("document.activeElement.id") == "clearance"
    page.fill("#clearance", "0,25")
    page.tap("#clearance-record")
    expect(page.locator("#clearance-now")).to_contain_text("0.25 mm")
    assert _faults(page) == []
    with page.expect_response(
        lambda answer: answer.request.method == "POST" and answer.url.endswith("/v1/jobs")
    ) as sent:
        page.tap("#refit")
    assert json.loads(sent.value.request.post_data)["grid"]["clearance"] == 0.25
    page.wait_for_function(f"location.hash === '#job={sent.value.json()['id']}'")


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
def test_jobs_are_searched_tagged_and_removed(visit, url, job, width, scheme):
    page = visit(width=width, color_scheme=scheme)
    gone = page.request.post(f"{url}/v1/jobs", data={**_SPEC, "name": f"to be removed {width}"}).json()["id"]
    page.request.delete(f"{url}/v1/jobs/{gone}")
    page.request.get(f"{url}/v1/jobs/{gone}", headers={"Prefer": "wait=30"})
    page.tap("#jobs")
    page.wait_for_selector(f"#open-{job}")
    page.fill("#jobs-tag", "hobby")
    expect(page.locator("#jobs-list > li")).to_have_count(1)
    page.fill("#jobs-tag", "")
    page.fill("#jobs-name", f"removed {width}")
    expect(page.locator("#jobs-list > li")).to_have_count(1)
    page.tap(f"#tags-{gone}")
    page.fill("#tags", "old, #worn")
    page.tap("dialog button.main")
    expect(page.locator(f"#open-{gone}")).to_contain_text("#old · #worn")
    assert _faults(page) == []
    assert _narrow(page)
    page.tap(f"#remove-job-{gone}")
    page.tap("dialog button.danger")
    expect(page.locator("#no-jobs")).to_be_visible()
    assert page.request.get(f"{url}/v1/jobs/{gone}").status == 404
    page.fill("#jobs-name", "")
    page.fill("#jobs-to", "2020-01-01")
    expect(page.locator("#no-jobs")).to_have_text("No job matches.")
    page.go_back()
    expect(page.locator("#width-0-0")).to_be_visible()


def test_progress_comes_as_events_and_by_asking_where_there_is_no_stream(visit, url):
    for stream in (True, False):
        page = visit()
        requests = []
        page.on("request", lambda sent, requests=requests: "/v1/jobs/" in sent.url and requests.append(sent.url))
        if not stream:
            page.route("**/events", lambda route: route.fulfill(status=200, body="", content_type="text/plain"))
        spec = {**_SPEC, "name": f"stream {stream}", "coupon": False}
        made = page.request.post(f"{url}/v1/jobs", data=spec).json()["id"]
        page.goto(f"{url}/#job={made}")
        page.wait_for_selector("#tab-view", timeout=120_000)
        plain = [address for address in requests if address.endswith(made)]
        assert bool(plain) is not stream


def test_a_drawer_is_shared_by_link_and_code(bench, visit):
    page = bench()
    before = _draft(page)
    page.tap("#share-spec")
    page.wait_for_selector("#share-qr")
    link = page.input_value("#share-link")
    assert _faults(page) == []
    picture = page.locator("#share-qr").screenshot()
    read = zxingcpp.read_barcodes(np.asarray(Image.open(io.BytesIO(picture)).convert("L")))
    assert [code.text for code in read] == [link]
    page.tap("dialog button:has-text('Close')")
    other = visit(path=link.removeprefix(page.url.rstrip("/")))
    _settled(other)
    after = _draft(other)
    assert [thing["name"] for thing in after["things"]] == [thing["name"] for thing in before["things"]]
    assert other.url.endswith("/")
    other.goto(f"{other.url}#spec=AAAA")
    expect(other.locator("dialog")).to_contain_text("does not hold a drawer")


def test_kinds_are_kept_together_and_apart_by_taps(bench):
    page = bench()
    page.tap("#grouping")
    for row in (0, 1):
        page.tap(f"#pick-{row}")
    assert _faults(page) == []
    page.tap("#keep-together")
    _settled(page)
    assert {thing["group"] for thing in _draft(page)["things"][:2]} == {"scissors, glue stick"}
    page.tap("#pick-7")
    page.tap("#keep-apart")
    _settled(page)
    draft = _draft(page)
    assert (draft["share"], draft["things"][7]["group"]) == ("group", "hole punch")
    alone = page.locator("[data-tray][aria-label*='hole punch']")
    assert alone.count() == 1
    assert "," not in alone.get_attribute("aria-label").partition(", Column")[0]
    page.tap("#undo")
    _settled(page)
    assert _draft(page)["share"] == "like"
    page.focus("#pick-0")
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.focus("#keep-beside")
    page.keyboard.press("Enter")
    _settled(page)
    assert _draft(page)["things"][1]["near"] == "t1"
    assert page.locator("#general").is_hidden()


def test_long_things_lie_in_lanes_and_a_drawer_can_do_without_a_floor(bench):
    page = bench()
    page.tap("#go-measure")
    page.locator("#step-measure summary").tap()
    page.check("#bare-0")
    _settled(page)
    assert page.locator(".panel").count() >= 1
    assert page.locator(".lane text").count() >= 1
    page.tap("#undo")
    _settled(page)
    page.tap("#go-things")
    page.tap("#thing-2")
    page.select_option("#storage-2", "lane")
    _settled(page)
    expect(page.locator(".lane")).to_contain_text("pencil")
    assert page.locator("#general").is_hidden()
    assert _faults(page) == []


def test_the_example_is_offered_on_a_phone(visit):
    page = visit(width=390, height=844)
    expect(page.locator("#example-first")).to_be_in_viewport()
    assert _faults(page) == []
    page.tap("#example-first")
    expect(page.locator("#width-0-0")).to_have_value("412")
    expect(page.locator("#welcome")).to_have_count(0)
