"""What is made is what was shown: the parts of a finished job and their places are those of the plan on the page."""

import json

import pytest
from playwright.sync_api import expect

from tests.api.kiosk.test_accessibility import _faults
from tests.api.kiosk.test_workbench import _move_scissors, _settled, _trays, bench

__all__ = ["bench"]

pytestmark = pytest.mark.service


def _places(document):
    """Return what stands where in each drawer: mark, name, cell and turn of each placement, and the things in it."""
    return [
        {
            (place["mark"], place["name"], str(place["at"]), place["turn"]): sorted(
                (held["item"], held["count"], str(held["at"])) for held in drawer["contents"] if held["placement"] == n
            )
            for n, place in enumerate(drawer["placements"])
        }
        for drawer in document["drawers"]
    ]


def _parts(document):
    return {part["mark"]: (part["quantity"], part["shape"]) for part in document["parts"]}


@pytest.fixture
def answers():
    """Give a function that gathers the plans of a page: what was asked for, and the answer."""

    def gather(page):
        made = []
        page.on(
            "response",
            lambda response: (
                made.append((response.request.post_data_json, response.json()))
                if response.url.endswith("/v1/plans") and response.ok
                else None
            ),
        )
        return made

    return gather


def _make(page, url):
    """Make the parts of the plan on show; return the body of the job and its manifest."""
    page.tap("#go-make")
    page.wait_for_selector("#submit:enabled")
    with page.expect_request(lambda request: request.method == "POST" and request.url.endswith("/v1/jobs")) as sent:
        page.tap("#submit")
    page.wait_for_selector("#tab-view", timeout=120_000)
    job = page.url.partition("#job=")[2]
    return sent.value.post_data_json, json.loads(page.request.get(f"{url}/v1/jobs/{job}/manifest").body())


def test_a_job_is_the_plan_after_moves_pins_and_undo(bench, url, answers):
    page = bench()
    made = answers(page)
    page.tap("#more-7")
    _settled(page)  # it continues the plan before
    grown = _trays(page)
    _move_scissors(page)
    page.mouse.up()
    _settled(page)
    page.keyboard.press("Control+z")
    _settled(page)
    assert _trays(page) == grown  # the plan before, not another one of the same draft
    page.keyboard.press("Control+Shift+z")
    _settled(page)
    moved = _trays(page)
    assert moved != grown
    body, manifest = _make(page, url)
    plan = next(answer for request, answer in reversed(made) if request == body)
    assert _places(manifest) == _places(plan)
    assert _parts(manifest) == _parts(plan)
    page.tap("#change-job")
    page.wait_for_selector("#rows")
    _settled(page)
    assert _trays(page) == moved


def test_a_job_is_the_plan_that_continues_another(bench, url, answers):
    page = bench()
    made = answers(page)
    page.tap("#more-0")
    _settled(page)
    page.tap("#more-1")
    _settled(page)
    body, manifest = _make(page, url)
    assert "previous" in body
    plan = next(answer for request, answer in reversed(made) if request == body)
    assert _places(manifest) == _places(plan)
    assert _parts(manifest) == _parts(plan)


def test_a_better_plan_is_offered_and_never_put_in_place_of_the_one_on_show(bench, url):
    page = bench()
    _settled(page)

    def sooner(route):
        """Answer as the service does, but for the time: half of it, if this is the longer search."""
        answer = route.fetch()
        document = answer.json()
        if route.request.post_data_json["layout"]["effort"] == "normal":
            document["work"]["seconds"] /= 2
        route.fulfill(response=answer, json=document)

    page.route("**/v1/plans", sooner)
    page.tap("#go-make")
    page.wait_for_selector("#submit:enabled")
    before = page.locator("#sum-time").inner_text()
    page.tap("#search-longer")
    expect(page.locator("#search-state")).to_contain_text("Searching")
    page.wait_for_selector("#make-offer", timeout=60_000)
    assert page.locator("#sum-time").inner_text() == before
    assert _faults(page) == []
    page.tap("#make-offer-take")
    expect(page.locator("#sum-time")).not_to_have_text(before)
    page.tap("#make-offer-take")  # now that of the former plan
    expect(page.locator("#sum-time")).to_have_text(before)
    page.tap("#make-offer-take")
    body, manifest = _make(page, url)
    assert body["layout"]["effort"] == "normal"
    assert manifest["drawers"]


def test_a_plan_that_was_not_seen_is_not_made(bench):
    page = bench()
    _settled(page)
    page.tap("#go-make")
    page.wait_for_selector("#submit:enabled")
    page.route("**/v1/plans", lambda route: route.abort())
    page.keyboard.press("Control+z")  # the example drawer is taken back: nothing is measured
    expect(page.locator("#submit")).to_be_disabled()
    page.keyboard.press("Control+Shift+z")
    page.wait_for_selector("#submit:enabled")  # remembered
    page.tap("#go-things")
    page.tap("#more-0")
    page.tap("#go-make")
    page.wait_for_selector("#submit:enabled")  # a press says what is wrong
    page.tap("#submit")
    expect(page.locator("#connection")).to_be_visible()
    page.unroute("**/v1/plans")
    page.tap("#submit")
    expect(page.locator("#spoken")).to_contain_text("Look at the new one")
    assert "#job" not in page.url
