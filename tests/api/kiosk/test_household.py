"""The page's list of drawers, its search, and the page of a drawer, in a real browser before a real service."""

import pytest
from playwright.sync_api import expect

from api.command.server import listening
from tests.api.kiosk.test_accessibility import _faults, _narrow
from tests.jobs.household.printed_jobs import TOP, add_job, record
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.job_service import JobService
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.print_events import PrintRecords
from worker.spec.requests.household import DrawerRequest, ThingRequest

pytestmark = pytest.mark.service

_BOX = {"kind": "box", "size": [60, 30, 15]}
_LONG = "drawer of a very long name that does not fit a phone: screws, nuts, washers"


@pytest.fixture(scope="module")
def live_settings(tmp_path_factory):
    """Settings of a service without workers: its jobs are ended by hand."""
    return Settings.read(data_dir=tmp_path_factory.mktemp("household"), port=0, open_loopback="always")


@pytest.fixture(scope="module")
def url(live_settings):
    with listening(live_settings) as address:
        yield address


@pytest.fixture(scope="module")
def ids(live_settings):
    """A household: a drawer of which all but a tray is in place, one that is not laid out, and more than a page."""
    database = open_database(live_settings.database)
    with JobService.open(live_settings) as job_service:
        household, records, blobs = job_service.household, JobRecords(database), ObjectStore.open(live_settings)
        top = household.drawers.create("local", DrawerRequest(**TOP, place="in the hall", note="sticks a little"))
        stamps, wax = (
            household.things.create("local", ThingRequest(name=name, shape=_BOX, count=count, drawer=top.id))
            for name, count in (("stamps", 2), ("sealing wax", 1))
        )
        household.things.create("local", ThingRequest(name="ladder", place="behind the door"))
        spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [{"id": top.id}]}
        job = add_job(records, blobs, household.resolve(spec, None))
        for run in job.manifest.runs:
            record(PrintRecords(database), household, job, "placed", run=run.number)
        held = household.contents(top.id, None)
        tray = next(place for place in held.places if place.part.kind == "tray")
        household.pieces.remove(tray.piece.id, None)
        low = household.drawers.create("local", DrawerRequest(**{**TOP, "name": _LONG}))
        household.things.create("local", ThingRequest(name="washers", drawer=low.id))
        for number in range(51):
            household.drawers.create("local", DrawerRequest(**{**TOP, "name": f"box {number}"}))
    database.dispose()
    return {"top": top.id, "low": low.id, "stamps": stamps.id, "wax": wax.id, "mark": tray.part.mark}


def test_the_list_has_every_drawer_page_by_page_and_leads_to_each(visit, ids):
    page = visit()
    page.tap("#drawers")
    page.wait_for_selector("#drawer-list")
    assert page.url.endswith("#drawers")
    assert page.locator("#steps").is_hidden()
    assert page.locator("#drawer-list li").count() == 50
    page.tap("#more-drawers")
    expect(page.locator("#drawer-list li")).to_have_count(53)
    assert page.locator("#more-drawers").count() == 0
    assert page.locator(f"#drawer-{ids['low']}").inner_text().endswith("not laid out yet")
    page.tap(f"#drawer-{ids['top']}")
    page.wait_for_selector("#drawer-contents")
    assert page.locator("#h-household").inner_text() == "top drawer"
    assert page.locator("#drawer-place").inner_text() == "in the hall"
    page.go_back()
    page.wait_for_selector("#drawer-list")
    page.tap("#to-planner")
    expect(page.locator("#width-0-0")).to_be_visible()
    assert page.locator("#household").is_hidden()


def test_the_page_of_a_drawer_shows_contents_and_state(visit, ids):
    page = visit(f"/#drawer={ids['top']}")
    rows = page.wait_for_selector("#drawer-contents").query_selector_all("tbody tr")
    states = {row.query_selector("th").inner_text(): row.inner_text() for row in rows}
    assert states[ids["mark"]].endswith("not in place")
    assert sum(text.endswith("not in place") for text in states.values()) == 1
    assert page.locator("#drawer-missing").inner_text() == "1 place has no piece yet."
    assert "cells free" in page.locator("#drawer-floor").inner_text()
    assert page.locator("#drawer-things li").all_inner_texts() == ["sealing wax", "2 \N{MULTIPLICATION SIGN} stamps"]
    page.wait_for_function("document.querySelector('#drawer-map').naturalWidth > 0")
    assert page.get_attribute("#drawer-map", "alt") == "Map of top drawer"


def test_where_is_something(visit, ids):
    page = visit("/#drawers")
    page.fill("#where-name", "where is the staps")
    page.tap("#where-search")
    first = page.locator("#where-matches ul li").first
    expect(first).to_contain_text("Stamps: in top drawer in the hall, tray T")
    first.locator("button").tap()
    page.wait_for_selector("#drawer-contents")
    assert page.url.endswith(f"#drawer={ids['top']}&thing={ids['stamps']}")
    marked = page.locator("#drawer-contents tr[aria-current=true]")
    assert marked.count() == 1
    assert "2 \N{MULTIPLICATION SIGN} stamps" in marked.inner_text()
    page.tap("#all-drawers")
    page.wait_for_selector("#where-name")
    page.fill("#where-name", "ladder")
    page.tap("#where-search")
    expect(page.locator("#where-matches ul")).to_contain_text("Ladder: behind the door.")
    page.fill("#where-name", "xylophone <b>")
    page.tap("#where-search")
    expect(page.locator("#no-match")).to_have_text("Nothing matches xylophone <b>.")
    page.wait_for_selector("#spoken:has-text('Nothing matches')", state="attached")


def test_a_drawer_without_a_layout_and_one_that_is_not_there(visit, ids):
    page = visit(f"/#drawer={ids['low']}")
    expect(page.locator("#drawer-pieces")).to_have_text("not laid out yet")
    assert page.locator("#drawer-things li").all_inner_texts() == ["washers"]
    assert page.locator("#drawer-map").count() == 0
    missing = visit(f"/#drawer={'0' * 26}")
    expect(missing.locator("#household-body [role=alert]")).to_contain_text("The household has no such drawer.")
    missing.tap("#all-drawers")
    missing.wait_for_selector("#drawer-list")


def test_a_lost_connection_is_shown_and_can_be_tried_again(visit, ids):
    page = visit("/#drawers")
    page.wait_for_selector("#drawer-list")
    page.context.set_offline(True)
    page.tap(
        f"#drawer-{ids['low']}" if page.locator(f"#drawer-{ids['low']}").count() else "#drawer-list button >> nth=0"
    )
    expect(page.locator("#household-body [role=alert]")).to_have_text("No connection to the service.")
    page.context.set_offline(False)
    page.tap("#try-again")
    page.wait_for_selector("#drawer-pieces")


def test_the_code_on_a_drawer_works_with_a_key(visit, live_settings, ids):
    database = open_database(live_settings.database)
    with JobService.open(live_settings) as job_service:
        key, token = job_service.keys.create("screen", ["kiosk"])
        drawer = job_service.household.drawers.create(key.id, DrawerRequest(**{**TOP, "name": "of the key"}))
    database.dispose()
    with listening(live_settings.model_copy(update={"open_loopback": "never"})) as locked:
        page = visit(f"/#drawer={drawer.id}", base=locked, ready=False)
        page.fill("#key", token.get_secret_value())
        page.tap("dialog button.main")
        page.wait_for_selector("html[data-ready]")
        expect(page.locator("#h-household")).to_have_text("of the key")
        page.tap("#all-drawers")
        expect(page.locator("#drawer-list li")).to_have_count(1)  # those of other keys are not listed
        page.evaluate(f"window.location.hash = 'drawer={ids['top']}'")
        expect(page.locator("#household-body [role=alert]")).to_contain_text("no such drawer")


def test_drawers_are_reached_with_the_keyboard_alone(visit, ids):
    page = visit()
    page.focus("#drawers")
    page.keyboard.press("Enter")
    page.wait_for_selector("#where-name")
    assert page.evaluate("document.activeElement.id") == "main"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "where-name"
    page.keyboard.type("wax")
    page.keyboard.press("Enter")
    page.wait_for_selector("#where-matches ul")
    for _ in range(2):
        page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id").startswith(f"show-{ids['wax']}")
    page.keyboard.press("Enter")
    page.wait_for_selector("#drawer-contents tr.marked")
    assert page.evaluate("document.activeElement.id") == "main"


@pytest.mark.parametrize(("width", "theme"), [(390, "light"), (390, "dark"), (1080, "light"), (1080, "dark")])
def test_neither_page_has_axe_violations_and_both_fit_the_screen(visit, ids, width, theme, tmp_path):
    page = visit("/#drawers", width=width, height=844, color_scheme=theme)
    page.fill("#where-name", "stamps")
    page.tap("#where-search")
    page.wait_for_selector("#where-matches ul")
    assert _faults(page) == []
    assert _narrow(page)
    page.screenshot(path=tmp_path / f"list-{width}-{theme}.png", full_page=False)
    page.evaluate(f"window.location.hash = 'drawer={ids['top']}&thing={ids['stamps']}'")
    page.wait_for_selector("#drawer-contents")
    page.wait_for_function("document.querySelector('#drawer-map').complete")
    assert _faults(page) == []
    assert _narrow(page)
    small = page.evaluate(
        """() => [...document.querySelectorAll("#household button, #household input")]
        .filter((node) => node.offsetParent)
        .filter((node) => Math.min(node.getBoundingClientRect().width, node.getBoundingClientRect().height) < 44)
        .map((node) => node.id)"""
    )
    assert small == []
    page.screenshot(path=tmp_path / f"drawer-{width}-{theme}.png", full_page=True)
